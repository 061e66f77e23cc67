"""The decision sheet: one page for who buys, a second for who makes the pictures; as HTML, and as PDF for A4 or letter.

Nothing here computes light: figures and words are those of the pages; ``sheet.html`` puts them in order.
"""

from __future__ import annotations

import base64
import io
import math
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
from matplotlib.figure import Figure
from scipy.ndimage import distance_transform_edt

import kit
from kit import words
from kit.answers.deciding import Plans
from kit.answers.many import each
from kit.answers.show import SHORTLIST, shortlist_of
from kit.decision.costs import Item, dollars, items, total
from kit.fields import Day, Frozen, Many, Number, OneOf
from kit.files import write_files
from kit.stage.content import KINDS, mask_files
from kit.views.charts import PLAIN

say, _figure = words.Phrases(__file__), partial(Figure, layout="compressed")
DATE, PAPER = Day(label="date"), OneOf(label="paper", options=("A4", "letter"), optional=True)
# Letters in points: the first that bring the first sheet onto one page; columns of a night; a step of pixels; plans.
LETTERS, WIDE, STEP, MOST = (7.0, 6.75, 6.5, 6.25, 6.0, 5.75, 5.5), 400, 4, 4
# What a place on the picture is good for, in greys that a printer keeps apart; last what lies beside the front.
GREYS = (0.0, 0.22, 0.5, 1.0)


class Option(Frozen, eq=False):
    """What may be done: in words, its scene, map and verdict, and all that it takes; None: the price is not known."""

    title: str
    done: str
    scene: kit.Scene
    light: Any
    verdict: kit.Verdict
    takes: tuple[Item, ...] | None


class Sheet(Frozen, eq=False):
    """A decision sheet: `html`, whole in itself, and `masks`, by file what makes it, for who makes the pictures."""

    html: str
    paper: str
    masks: Mapping[str, Callable[[], bytes]]

    def pdf(self, paper: str | None = None) -> bytes:
        """Return both sheets as tagged PDF (PDF/UA-1), the first on one page if small letters can do that."""
        paper = PAPER.check("paper", paper) or self.paper
        try:
            from weasyprint import CSS, HTML
        except (ImportError, OSError):  # the package, or the library that it sets type with
            raise kit.InputError("sheet", "PDF", say("pdf")) from None
        for size in LETTERS:
            style = CSS(string=f"@page {{ size: {paper} }} body {{ font-size: {size}pt !important }}")
            made = HTML(string=self.html).render(stylesheets=[style])
            if "pictures" in made.pages[1].anchors:
                break
        return bytes(made.write_pdf(pdf_variant="pdf/ua-1", pdf_tags=True))

    def save(self, folder: str | Path, *, overwrite: bool = False) -> Path:
        """Write sheet.html, sheet.pdf and the masks, all or none; `overwrite`: also over files of these names."""
        where = Path(folder).absolute()
        files: dict[str, Any] = {"sheet.html": self.html.encode, "sheet.pdf": self.pdf, **self.masks}
        for name in () if overwrite else (name for name in files if (where / name).exists()):
            raise kit.InputError("folder", str(folder), f"one without {name}, or overwrite=True")
        write_files(f"folder {str(folder)!r}", where, files)
        return where


def decision_sheet(
    show: kit.Show | Plans, chosen: Sequence[int] = (), *, date: str, paper: str | None = None, spacing: float = 0.075
) -> Sheet:
    """Return the sheet of a show as it stands, its brightest machine before it; or of plans for it.

    Parameters
    ----------
    show : Show or Plans
        Plans as `kit.plans` returns them.
    chosen : sequence of int
        Numbers of up to four plans, the first is told in full; none: the right one, and those of other budgets.
    date : str
        That the sheet bears, such as ``"2026-12-05"``: what is given makes the sheet, byte for byte.
    paper : {"A4", "letter"}, optional
        Not given: letter where lengths are in feet.
    spacing : float
        Pixel size of the maps [m].

    Raises
    ------
    InputError
        For a date, a paper or a plan that is none, and whatever `arrange` refuses.
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    plans, show = (None, show) if isinstance(show, kit.Show) else (show, show.show)
    day, size = DATE.check("date", date), PAPER.check("paper", paper) or ("letter" if show.units == "ft" else "A4")
    options = [_alone(show, spacing)] if plans is None else _planned(plans, chosen, spacing)
    first, eye, found = options[0], show.full.viewers[0].eye, kit.ladder(options[0].verdict)
    content = kit.content_parts(first.light, first.verdict.target, scene=first.scene, viewer=eye)
    raster = kit.picture_map(first.scene)
    zones = [(k, p, np.nonzero(raster.patch == k)) for k, p in enumerate(content.patches) if p.part is not None]
    kinds = np.array([*(GREYS[KINDS.index(part.kind)] for part in content.patches), GREYS[-1]])[raster.patch]
    kinds[raster.patch != np.roll(raster.patch, 3, (0, 1))] = GREYS[-1]  # lines between parts
    high, left = 2.2 + 0.15 * len(found.levels), 0.03 + 0.007 * min(34, max(map(len, found.levels)))
    margins = {"left": left, "right": 0.92, "bottom": 0.5 / high, "top": 1.0 - 1.4 / high, "wspace": 0.05}
    with matplotlib.rc_context({"font.size": 8.0}):
        front, zoned, steps = _figure((5.4, 2.3)), _figure((10.8, 6.4)), Figure(figsize=(11.0, high))
        kit.draw_house(show.house, front.subplots(), units=show.units).set(title="", xlabel="", ylabel="")
        kit.draw_ladder(found, steps.subplots(1, 2, sharey=True, gridspec_kw=margins))
        _zones(zoned.subplots(), kinds, raster.patch, zones)
        nights, plan = _nights(show, options, plans is not None), _plan(show, first.scene)
        drawn = {"front": front, "nights": nights, "ladder": steps, "map": zoned, "plan": plan}
        shown = {name: _png(figure) for name, figure in drawn.items()}
    room = Environment(loader=FileSystemLoader(Path(__file__).parent), autoescape=True, undefined=StrictUndefined)
    room.globals |= {"say": say, "dollars": dollars, "total": total, "table": kit.reference.table, "words": words}
    html = room.get_template("sheet.html").render(
        date=day, show=show, plans=plans, units=show.units, options=options, ladder=found, content=content, zones=zones,
        colours=_colours(first), doubts=kit.measure_first(first.light, first.verdict.target),
        beam=kit.keep_out(first.scene, walk=show.full.walk), drawn=shown,
    )  # fmt: skip
    masks = mask_files(raster, content.by_patch(), True)
    return Sheet(html=html, paper=size, masks={f"pictures/{name}": make for name, make in masks.items()})


def sheet_row(path: str, out: str, date: str, paper: str | None) -> dict[str, str]:
    """Write the sheet of a show file in a folder of its name; return where."""
    made = decision_sheet(kit.open_show(path), date=date, paper=paper)
    return {"sheet": str(made.save(Path(out) / Path(path).stem, overwrite=True))}


def sheets(path: str | Path, out: str | Path, *, date: str, paper: str | None = None, jobs: int | None = None) -> Any:
    """Write the `decision_sheet` of a show file, or of each one of a folder, in folders of their names in `out`.

    Returns a row for each file: where its sheet is, or what is wrong with it. What is done for this date and paper
    stands beside `out` in ``.jsonl``, and is not done again.
    """
    given = str(Path(out).absolute()), DATE.check("date", date), PAPER.check("paper", paper)
    return each(path, Path(f"{given[0]}.jsonl"), sheet_row, *given, jobs=jobs)


def _alone(show: kit.Show, spacing: float) -> Option:
    made, machine = kit.arrange(show, spacing=spacing), show.machine
    price = kit.projector_price(machine.lumens) if machine.price is None else (machine.price,) * 3
    first = price and Item(name=say("machine", machine=machine), price=price, typed=machine.price is not None)
    costs = dict(shortlist_of(show).costs) if show.path and show.path.with_name(SHORTLIST).is_file() else None
    return Option(
        title=machine.name, done=say("placed", show.units, pair=made.scene.projectors[0]), scene=made.scene,
        light=made.light, verdict=made.verdict, takes=(first, *items("machine", costs)) if first else None,
    )  # fmt: skip


def _planned(plans: Plans, chosen: Sequence[int], spacing: float) -> list[Option]:
    wanted = Many(of=Number(low=1, high=len(plans.table), whole=True), most=MOST).check("chosen", chosen)
    usual, found = dict.fromkeys([plans.winner(), *plans.budgets().index[::-1]]), []
    for k in map(int, wanted or list(usual)[:MOST]):
        light = kit.light_map(scene := plans.scene(k), spacing)
        found.append(Option(
            title=f"plan {k}", done=f"{words.capital(plans.done(k, plans.show.units))}.", scene=scene, light=light,
            verdict=kit.judge(light, plans.target), takes=plans.parts(k),
        ))  # fmt: skip
    return found


def _colours(option: Option) -> list[Any]:
    """Return what each lit surface makes of full colours, in the light that is there."""
    surfaces, found = {surface.name: surface for surface in option.scene.facade.surfaces()}, []
    machine: Any = option.scene.projectors[0][0]
    for part in option.verdict.surfaces:
        surface, white, contrast = surfaces[part.name], part.white_luminance, part.contrast
        if white and contrast and white.median > 0.0:
            lux, black = white.median * math.pi / surface.luminance_factor, 1.0 / max(contrast.median - 1.0, 1.0)
            given = {"colour_share": machine.colour_share[1], "black_share": black, "white_illuminance": lux}
            found.append(kit.wall_colour(kit.light_source(machine.light_source), surface, **given))
    return found


def nights(show: kit.Show, scenes: Sequence[kit.Scene], columns: int) -> Sequence[Any]:
    """Return the house by daylight as it looks at night in each scene, so many pixels across, all by one tone curve."""
    left, right, *_ = bounds = show.house.bounds
    shown, step = kit.daylight_picture(show.house), (right - left) / columns
    lit = ((scene, kit.light_source(str(scene.projectors[0][0].light_source))) for scene in scenes)
    views = [kit.night_view(scene, shown, light, spacing=step, extent=bounds) for scene, light in lit]
    return kit.on_screen(views).images


def _nights(show: kit.Show, options: Sequence[Option], many: bool) -> Figure:
    """Draw the front at night for each option."""
    figure, images = (
        _figure((11.0, 2.0)) if many else _figure((5.4, 2.3)),
        nights(show, [o.scene for o in options], WIDE),
    )
    axes = figure.subplots(1, len(images), squeeze=False)[0]
    for ax, option, image in zip(axes, options, images, strict=True):
        ax.imshow(image)
        ax.set(title=words.capital(option.title), xticks=[], yticks=[])
    return figure


def _plan(show: kit.Show, scene: kit.Scene) -> Figure:
    eyes = [(viewer.name, viewer.eye) for viewer in show.full.viewers]
    ends = [s.box[2, 1] for s in show.full.stands] + [place.position[2] for _, place in scene.projectors]
    reach = 2.0 + max([eye[2] for _, eye in eyes] + ends)
    board = kit.PlanBoard(show.house, units=show.units, grounds=show.grounds(), eyes=eyes, reach=reach, size=(6.0, 3.3))
    board.draw(scene.projectors)
    return board.figure


def _zones(ax: Any, kinds: Any, patch: Any, zones: Any) -> None:
    """Draw the picture as the machine has it: what each place is good for, and the numbers of the parts."""
    ax.imshow(kinds, cmap="gray_r", vmin=0.0, vmax=1.0, interpolation="nearest")
    for k, *_ in zones:
        inside = distance_transform_edt(patch[::STEP, ::STEP] == k)
        y, x = np.unravel_index(inside.argmax(), inside.shape)
        if inside[y, x]:
            ax.text(STEP * x, STEP * y, str(k + 1), ha="center", va="center", fontsize=8, bbox=PLAIN)
    ax.set(xlabel="column", ylabel="row")


def _png(figure: Figure) -> str:
    figure.savefig(made := io.BytesIO(), format="png", dpi=140, metadata={"Software": None})
    return base64.b64encode(made.getvalue()).decode()
