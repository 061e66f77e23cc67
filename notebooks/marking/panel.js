// A photo to mark: by mouse, by arrow keys and Enter, or by coordinates that are typed. The kit keeps the marks.
function element(name, fields = {}, ...inside) {
  const made = Object.assign(document.createElement(name), fields);
  made.append(...inside);
  return made;
}

// What points may be: the field of the marks that they go to, and how many points and measures that takes.
const KINDS = {
  "a known point of the wall": { field: "known", points: 1, measures: "x; y" },
  "a straight line of the house": { field: "straight", points: 3, measures: "" },
  "a second distance, as a check": { field: "checks", points: 2, measures: "distance" },
  "corners of a part": { field: "parts", points: 3, measures: "how far forward, or empty" },
};

function render({ model, el }) {
  let marks = JSON.parse(model.get("marks"));
  const past = [], [width, height] = marks.size, shown = Math.min(1, 1100 / width);
  const canvas = element("canvas", { tabIndex: 0, className: "kit-marks", width: Math.round(width * shown), height: Math.round(height * shown) });
  canvas.setAttribute("role", "application");
  canvas.setAttribute("aria-label", "Photo to mark. Arrow keys move the cross by a pixel, with Shift by ten; Enter marks a point; Backspace undoes.");
  canvas.style.cssText = "max-width: 100%; cursor: crosshair; touch-action: manipulation";
  const loupe = element("canvas", { width: 160, height: 160 });
  loupe.setAttribute("aria-hidden", "true");
  const where = element("output", { className: "kit-where" });
  where.setAttribute("aria-live", "polite");
  const image = new Image(), pen = canvas.getContext("2d");
  let at = [Math.round(width / 2), Math.round(height / 2)];

  const drawn = () => [
    ...marks.known.map((p, i) => [`known ${i + 1}`, [p.slice(0, 2)]]),
    ...marks.straight.map((line, i) => [`line ${i + 1}`, line]),
    ...marks.checks.map((p, i) => [`check ${i + 1}`, [p.slice(0, 2), p.slice(2, 4)]]),
    ...marks.parts.map(part => [part.name, [...part.corners, part.corners[0]]]),
    ["", marks.points],
  ];
  const draw = () => {
    pen.drawImage(image, 0, 0, canvas.width, canvas.height);
    pen.font = "14px sans-serif";
    for (const [colour, thick] of [["black", 4], ["white", 2]]) {
      Object.assign(pen, { strokeStyle: colour, fillStyle: colour, lineWidth: thick });
      for (const [label, points] of drawn()) {
        pen.beginPath();
        points.forEach(([x, y], i) => (i ? pen.lineTo(x * shown, y * shown) : pen.moveTo(x * shown, y * shown)));
        for (const [x, y] of points) pen.rect(x * shown - 3, y * shown - 3, 6, 6);
        pen.stroke();
        if (points.length) pen[colour === "black" ? "strokeText" : "fillText"](label, points[0][0] * shown + 6, points[0][1] * shown - 6);
      }
    }
    Object.assign(pen, { strokeStyle: "red", lineWidth: 1 });
    pen.beginPath();
    pen.moveTo(at[0] * shown, 0);
    pen.lineTo(at[0] * shown, canvas.height);
    pen.moveTo(0, at[1] * shown);
    pen.lineTo(canvas.width, at[1] * shown);
    pen.stroke();
    const near = loupe.getContext("2d"), scale = image.naturalWidth / width, half = 20 * scale;
    near.imageSmoothingEnabled = false;
    near.fillRect(0, 0, 160, 160);
    near.drawImage(image, at[0] * scale - half, at[1] * scale - half, 2 * half, 2 * half, 0, 0, 160, 160);
    near.strokeStyle = "red";
    near.strokeRect(80, -1, 0, 162);
    near.strokeRect(-1, 80, 162, 0);
    where.value = `The cross: right ${at[0]}, down ${at[1]}. Points marked: ${marks.points.length}.`;
  };
  const keep = changes => {
    if (changes) past.push(marks);
    marks = changes ? { ...marks, ...changes } : past.pop() ?? marks;
    model.set("marks", JSON.stringify(marks));
    model.save_changes();
    draw();
  };
  const clip = (x, y) => [Math.min(width, Math.max(0, x)), Math.min(height, Math.max(0, y))];
  const add = (x, y) => {
    at = clip(x, y);
    keep({ points: [...marks.points, at] });
  };

  canvas.addEventListener("click", event => {
    const box = canvas.getBoundingClientRect();
    const [right, down] = [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height];
    add(Math.round(right * width), Math.round(down * height));
    canvas.focus();
  });
  canvas.addEventListener("keydown", event => {
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (way) {
      at = clip(...at.map((c, i) => c + way[i] * (event.shiftKey ? 10 : 1)));
      draw();
    } else if (event.key === "Enter") add(...at);
    else if (event.key === "Backspace") keep();
    else return;
    event.preventDefault();
    event.stopPropagation();
  });

  const field = (label, hint) => {
    const input = element("input", { placeholder: hint, ariaLabel: label });
    for (const kind of ["keydown", "keyup", "keypress"]) input.addEventListener(kind, event => event.stopPropagation());
    return [input, element("label", {}, `${label} `, input)];
  };
  const select = (label, names) => {
    const menu = element("select", { ariaLabel: label }, ...names.map(name => element("option", { value: name }, name)));
    return [menu, element("label", {}, `${label} `, menu)];
  };
  const button = (words, act) => element("button", { type: "button", textContent: words, onclick: act });
  const row = (...inside) => element("div", { style: "display: flex; flex-wrap: wrap; gap: 8px; margin: 6px 0" }, ...inside);
  const [coordinates, typed] = field("a point: right, down", "812, 340");
  const [name, named] = field("name", "of a part: main wall");
  const [surface, faced] = field("surface", "of a part: red brick");
  const [measures, measured] = field("measures", "");
  const [unit, unitBox] = select("in", ["m", "ft"]);
  const [kind, kindBox] = select("These points are", Object.keys(KINDS));
  const [lens, lensBox] = field("focal length (mm, as on 36 x 24 mm)", "26");
  const hint = () => (measures.placeholder = KINDS[kind.value].measures);
  kind.addEventListener("change", hint);
  hint();
  lens.value = marks.focal ?? "";
  lens.addEventListener("change", () => keep({ focal: lens.value.trim() ? Number(lens.value) : null }));

  const numbers = text => text.split(/[;\s]+/).filter(Boolean).map(word => Number(word.replace(",", ".")));
  const point = () => {
    const [x, y] = coordinates.value.split(/[,;\s]+/).filter(Boolean).map(Number);
    if (!Number.isFinite(x) || !Number.isFinite(y)) return void (where.value = "A point is two numbers: right, down.");
    add(x, y);
    coordinates.value = "";
  };
  coordinates.addEventListener("keydown", event => event.key === "Enter" && point());
  const use = () => {
    const { field, points } = KINDS[kind.value], metres = numbers(measures.value).map(v => v * (unit.value === "ft" ? 0.3048 : 1));
    const needed = { known: 2, straight: 0, checks: 1 }[field] ?? Math.min(1, metres.length);
    const exact = field === "known" || field === "checks";
    if (metres.length !== needed || metres.some(v => !Number.isFinite(v)) || (exact ? marks.points.length !== points : marks.points.length < points))
      return void (where.value = `This takes ${points} points${exact ? "" : " or more"}${needed ? `, and ${KINDS[kind.value].measures}` : ""}; there are ${marks.points.length}.`);
    const made = {
      known: () => [...marks.points[0], ...metres],
      straight: () => marks.points,
      checks: () => [...marks.points.flat(), ...metres],
      parts: () => ({ name: name.value.trim(), surface: surface.value.trim(), corners: marks.points, depth: metres[0] ?? 0 }),
    }[field]();
    keep({ [field]: [...marks[field], made], points: [] });
  };
  el.append(
    row(canvas, loupe), where,
    row(typed, button("Mark this point", point), button("Undo", () => keep())),
    row(kindBox, measured, unitBox, named, faced, button("Use the points", use)), row(lensBox),
  );
  image.onload = draw;
  image.src = model.get("photo");
  model.on("change:marks", () => {
    marks = JSON.parse(model.get("marks"));
    draw();
  });
}

export default { render };
