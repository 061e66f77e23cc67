"""The panel that makes a show file without a text editor: the front in rows of measurements, its place, its light."""

from __future__ import annotations

import html
import os
import threading
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import ipywidgets as widgets

from kit.answers.lists import surfaces, towns
from kit.answers.show import MINE, SHOW, Show, open_show, save_show
from kit.blocks import Memory
from kit.errors import InputError
from kit.fields import FLAG, UNITS, OneOf, PathOf, Spec, Text
from kit.files import fingerprint
from kit.toml_file import Reader, parse_length, table
from kit.views import page
from kit.views.drawing import draw_house
from kit.wall.facade import Facade
from kit.wall.house_file import house_parts, read_front
from kit.words import compass, join
from sliders.panel import NOTHING, control, for_visitors, layout, make_room, styled

WAYS = {compass(degrees): float(degrees) for degrees in range(0, 360, 45)}
PLACE, LENGTHS = ("latitude", "longitude", "timezone"), ("left", "bottom", "width", "height", "depth")
TOP: dict[str, Spec] = {
    "name": Text(label="name of the house"), "units": UNITS, "units_checked": FLAG.but(label="unusual sizes are right"),
    "surfaces": Text(label="our own surfaces", example="our brick 0.16; our render 0.4"),
    "town": OneOf(label="town", options=lambda: [*towns().index], optional=True, nothing="none: as typed"),
    "latitude": Text(label="latitude", example="48.2; south: -33.9"),
    "longitude": Text(label="longitude", example="16.4; west: -88"),
    "timezone": Text(label="time zone", example="empty: of the nearest town"),
    "facing": OneOf(label="front faces", options=[*WAYS], optional=True),
    "ambient": Text(label="street's light (lx)", example="empty: not known"),
}  # fmt: skip
SURFACE = OneOf(
    label="surface", options=lambda: [*surfaces().index], optional=True,
    reading=lambda name: f"{surfaces()['kind'][name]}: {name}",
)  # fmt: skip
PART: dict[str, Spec] = {"name": Text(label="part"), "surface": SURFACE}
PART |= {name: Text(label="forward" if name == "depth" else name) for name in LENGTHS}
# Of parts, in no control; rows that a page bears.
KEPT, MOST = ("corners", "thickness", "holes", "judged", "room_light"), 60
NEW: list[dict[str, Any]] = [{"name": "main wall", "rectangle": {"left": 0, "bottom": 0}}, {"name": "window"}]
MORE = {"name": "part"}
STYLE = """<style>.kit-wrong input, .kit-wrong select { outline: 2px solid #b00020; }
.kit-unseen { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%%); } %s</style>"""


def _exact(value: Any, unit: str) -> Any:
    """Return lengths, alone or in lists, as texts that say their unit."""
    if isinstance(value, list):
        return [_exact(item, unit) for item in value]
    return value if isinstance(value, bool | str) else f"{value:.12f} {unit}"


class Row:
    """Controls of declared fields, and below them what is wrong: of a part of the front, or of all that is none."""

    def __init__(self, fields: Mapping[str, Spec], do: Any, actions: Mapping[str, Callable[[Row], Any]]) -> None:
        # What a file says of a part and no control shows.
        self.fields, self.note, self.kept = fields, widgets.HTML(), dict[str, Any]()
        self.controls = {name: control(spec) for name, spec in fields.items()}
        self.exact: dict[str, tuple[str, str]] = {}  # lengths that were converted, as shown and in full
        for one in self.controls.values():
            one.observe(lambda _: do(), names="value")
        self.buttons = [widgets.Button(description=words, layout=layout("auto")) for words in actions]
        for button, act in zip(self.buttons, actions.values(), strict=True):
            button.on_click(lambda _, act=act: do(partial(act, self)))
        line = widgets.HBox([*self.controls.values(), *self.buttons], layout=widgets.Layout(flex_flow="row wrap"))
        self.box = widgets.VBox([line, self.note], layout=widgets.Layout(border_top="1px solid #8886"))

    def said(self) -> dict[str, Any]:
        """Return what the controls say, lengths in full."""
        found = {n: one.value.strip() if isinstance(one.value, str) else one.value for n, one in self.controls.items()}
        found |= {name: exact for name, (shown, exact) in self.exact.items() if found[name] == shown}
        return {name: value for name, value in found.items() if value not in ("", NOTHING)}

    def put(self, lengths: Mapping[str, Any], old: str, new: str) -> None:
        """Show lengths in `old` units in `new` ones, to a thousandth; what cannot be read stays as it is."""
        for name in (name for name in LENGTHS if name in lengths):
            text = str(lengths[name])
            self.controls[name].value, length = text, parse_length(text, old)
            if length is not None:
                exact = text if text in self.exact.get(name, ()) else _exact(length, old)
                shown = f"{parse_length(exact, new):.3f}".rstrip("0").rstrip(".")
                self.exact[name], self.controls[name].value = (shown, exact), shown

    def content(self) -> dict[str, Any]:
        """Return the table of a part as a file holds it."""
        said = {"name": ""} | self.said()
        sizes = {name: said.pop(name) for name in LENGTHS[:4] if name in said}
        return said | ({} if "corners" in self.kept else {"rectangle": sizes}) | self.kept

    def say(self, mistakes: list[InputError]) -> None:
        """Show mistakes by what the page calls their fields, and mark those."""
        fields = [one.field.rpartition(": ")[2].removeprefix("rectangle, ").partition(",")[0] for one in mistakes]
        lines = []
        for field, one in zip(fields, mistakes, strict=True):
            label = self.fields[field].label if field in self.fields else one.field
            right = f"{one.right}; press Down here" if one.value == "hidden" else one.right
            missing = repr(one.value) == "(missing)"
            lines.append(f"{label}: still missing" if missing else str(InputError(label, one.value, right)))
        self.note.value = f"<p role='status'>{' • '.join(map(html.escape, lines))}</p>" if lines else ""
        for field, one in self.controls.items():
            (one.add_class if field in fields else one.remove_class)("kit-wrong")


class MakePanel:
    """Rows for the parts of a front, its place and its light: makes ``my_show.toml`` without a text editor.

    Parameters
    ----------
    path : str or Path
        Of the show file; one that is there is opened, and replaced only when that is pressed for.
    """

    def __init__(self, path: str | Path = MINE) -> None:
        self.path, self._lock = Path(PathOf().check("path", path)).absolute(), threading.RLock()
        self._quiet, self._units = True, "ft"
        self.show: Show | None = None  # what the controls say; None: there are mistakes
        self._base: Show | None = None  # what the file said, the file as it was then, and its own surfaces
        self._seen, self._own, self.parts = "", dict[str, Any](), list[Row]()
        self.opened, self.picture, self.assumed, self.said = (widgets.HTML() for _ in range(4))
        self._drawn = Memory[str](keep=4, most=1)  # pictures of the last fronts
        self.top, self.rows, over = Row(TOP, self._do, {}), widgets.VBox(), partial(self._write, overwrite=True)
        end: Any = {"Add a part": self._add, f"Write {self.path.name}": self._write, f"Replace {self.path.name}": over}
        self.end = Row({}, self._do, end)
        self.add, self.write, self.replace = self.end.buttons
        self.write.disabled = for_visitors()
        for told in self._open():
            self._add(None, told, len(self.parts))
        self._quiet = False
        self._do()

    def _open(self) -> list[dict[str, Any]]:
        """Show what the file holds; return its parts, or those of a new one where rows cannot show it."""
        said, parts = dict[str, Any](name="our house", units="ft"), NEW
        try:
            if os.path.lexists(self.path):
                show = open_show(self.path)
                said, tables = house_parts(show.house, show.units)
                content = tomllib.loads(table("", said) + "".join(tables))
                if len(content["patch"]) > MOST:
                    raise InputError("parts", len(content["patch"]), f"at most {MOST}")
                self._base, self._seen, self._units = show, fingerprint(self.path), show.units
                self._own, parts = content.get("surfaces", {}), content["patch"]
                said["surfaces"] = "; ".join(f"{name} {own['reflectance']}" for name, own in self._own.items())
                said |= {k: str(getattr(show, k)) for k in ("ambient", *PLACE) if getattr(show, k) is not None}
                said |= {} if show.facing is None else {"facing": compass(show.facing)}
        except InputError as error:
            anew = "Start anew here, if you like: the file stays as it is until you replace it."
            self.opened.value = page.paragraphs(f"Rows cannot show {self.path.name}. {error}. {anew}")
        for name, value in said.items():
            self.top.controls[name].value = value
        return parts

    def _do(self, action: Callable[[], None] = lambda: None) -> None:
        """Do what a button or a control asks for, and show what comes of it."""
        with self._lock:
            if not self._quiet:
                self._quiet, self.said.value, self.replace.layout.display = True, "", "none"
                try:
                    action()
                    self._update()
                finally:
                    self._quiet = False

    def _add(self, _: Any, told: Mapping[str, Any] = MORE, at: int | None = None) -> None:
        """Add a part, before the first window or door, which a wall would hide; a name that is taken gets a number."""
        every, acts = self.parts, {"Copy": self._copy, "Down": self._down, "Remove": self.parts.remove}
        part = Row(PART, self._do, acts)
        for name, one in part.controls.items():
            one.layout = layout({"name": "230px", "surface": "340px"}.get(name, "130px"))
            one.style.description_width, one.description_allow_html, one.continuous_update = "initial", True, True
        taken, stem = {other.controls["name"].value for other in every}, told["name"].rstrip("0123456789 ")
        names = (told["name"], *(f"{stem} {i}" for i in range(2, len(taken) + 3)))
        part.controls["name"].value = next(name for name in names if name not in taken)
        make_room(part.controls["surface"], told.get("surface", NOTHING))
        part.controls["surface"].value = told.get("surface", NOTHING)
        part.controls["surface"].add_class("kit-surfaces")
        part.put({**told, **told.get("rectangle", {})}, self._units, self._units)
        part.kept = {n: told[n] if n == KEPT[4] else _exact(told[n], self._units) for n in KEPT if n in told}
        for name in LENGTHS[:4] if "corners" in told else ():
            part.controls[name].disabled, part.controls[name].placeholder = True, "by corners"
        kind = surfaces()["kind"]
        late = [kind.get(other.controls["surface"].value) in ("window", "door") for other in every]
        every.insert([*late, True].index(True) if at is None else at, part)

    def _copy(self, part: Row) -> None:
        told = part.content()
        told.get("rectangle", {}).pop("left", None)  # which is what differs
        self._add(part, told, self.parts.index(part) + 1)

    def _down(self, part: Row) -> None:
        at = self.parts.index(part)
        self.parts.insert(at + 1, self.parts.pop(at))

    def _content(self, reader: Reader) -> dict[str, Any]:
        """Return what the controls say as a file holds it."""
        said, own = self.top.said(), dict[str, Any]()
        for words in filter(None, map(str.split, said.pop("surfaces", "").split(";"))):
            name, value = " ".join(words[:-1]), words[-1]
            if name in own:
                reader.wrong(f"surface {name!r}", name, "a name that no other surface has")
            told = self._own.get(name, {})
            same = value == str(told.get("reflectance"))
            own[name] = {k: told[k] for k in told if same or k in ("kind", "gain")} | {"reflectance": value}
        place = {name: said.pop(name) for name in PLACE if name in said}
        if "town" in said:
            place = towns().loc[said.pop("town"), [*PLACE]].to_dict()
        if way := said.pop("facing", ""):
            exact = self._base.facing if self._base else None
            place["facing"] = exact if exact is not None and compass(exact) == way else WAYS[way]
        return said | {"surfaces": own, "place": place, "patch": [part.content() for part in self.parts]}

    def _update(self) -> None:
        """Draw what the controls say, or show what is wrong and leave the last drawing in grey."""
        units, self._units = self._units, self.top.controls["units"].value
        for part in self.parts if units != self._units else ():
            part.put(part.said(), units, self._units)
        for name in PLACE:
            self.top.controls[name].disabled = self.top.controls["town"].value != NOTHING
        self.show, known = None, surfaces()
        for again in (True, False):
            reader = Reader(self.path.name, SHOW)
            content = self._content(reader)
            front, values = read_front(reader, content, SHOW)
            # A window that lies behind its wall was meant to lie upon it.
            behind = {mistake.field for mistake in reader.mistakes if mistake.value == "hidden"}
            upon = [
                part for part in self.parts if f"patch {part.controls['name'].value.strip()!r}" in behind
                and known["kind"].get(part.controls["surface"].value) in ("window", "door")
            ]  # fmt: skip
            if not (again and upon):
                break
            self.parts.sort(key=lambda part: part in upon)
        with reader.noting():
            if front and not reader.mistakes:
                told = dict.fromkeys((*PLACE, "facing")) | values["place"] | {"house": front, "units": self._units}
                told |= {"ambient": values.get("ambient"), "taken": ()}
                if self._base and self._base.ambient != told["ambient"]:
                    told["ambient_band"] = None
                made: Any = replace(self._base, **told) if self._base else Show(**told)
                words, self.show = f"Not said, so assumed: {'; '.join(made.assumed)}.", made
                draw = partial(self._picture, front)
                self.picture.value = self._drawn.get((front, self._units), 1, draw)
                self.assumed.value = page.paragraphs(words)
        rest = reader.mistakes
        for part in self.parts:
            name, box = part.controls["name"].value.strip(), part.controls["surface"]
            mine = [one for one in rest if f"{one.field}:".startswith(f"patch {name!r}:")]
            rest = [one for one in rest if one not in mine]
            part.say(mine)
            chosen = box.value
            for own in content["surfaces"]:
                make_room(box, own)
            box.value = chosen
            shade = known["colour"].get(chosen, "none")
            swatch = f" <span style='background: {shade}; border: 1px solid'>&emsp;</span>"
            for key, one in part.controls.items():  # whose a control is, for those who listen
                whose = f"<span class='kit-unseen'>{html.escape(name)}: </span>"
                one.description = whose + PART[key].label + swatch * (key == "surface")
            for button in part.buttons:
                button.tooltip = f"{button.description} {name}"
        self.top.say(rest)
        self.rows.children = [part.box for part in self.parts]
        for shown in (self.picture, self.assumed):
            (shown.remove_class if self.show else shown.add_class)("kit-stale")

    def _picture(self, front: Facade) -> str:
        what = join([f"{one.name} of {one.surface.name}" for one in front.patches if one.faces_audience])
        return page.show(draw_house(front, units=self._units), f"The front of {front.name} as typed: {what}").data

    def _write(self, _: Row, *, overwrite: bool = False) -> None:
        name, words = self.path.name, "Not written: what is marked is still missing or wrong."
        if self.show and os.path.lexists(self.path) and not overwrite:
            self.replace.layout.display = None
            same = self._base and self._seen == fingerprint(self.path)
            lost = "" if same else " It holds what this page has not read, and that will be lost."
            words = f"{name} is there already.{lost} Press Replace {name} to write over it."
        elif self.show:
            try:
                save_show(self.show, self.path, overwrite=overwrite)
                self._base, self._seen = self.show, fingerprint(self.path)
                words = f"Written: {self.path}. The other pages start from it when they are run again."
            except InputError as error:
                words = f"Not written. {error}"
        self.said.value = f"<p role='alert'>{html.escape(words)}</p>"

    def widget(self) -> widgets.VBox:
        """Return everything in the order in which it is filled in."""
        css = ".kit-surfaces option:nth-child({}) {{ background: {}; color: {}; }}"
        seen = [(i, c, "black" if c[3:] > "7" else "white") for i, c in enumerate(surfaces()["colour"], 2)]
        style = widgets.HTML(STYLE % "".join(css.format(*one) for one in seen), layout=widgets.Layout(display="none"))
        boxes = [self.top.box, self.picture, self.rows, self.end.box]
        return styled([style, self.opened, *boxes, self.said, self.assumed])
