"""Sliders for the notebooks. A panel turns a choice into pictures and words; the light is computed elsewhere.

`compare` is the named function behind the sliders: a `Choice` in, a `Comparison` out, no widgets involved.
"""

from __future__ import annotations

import html
import threading
from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import cached_property
from typing import Any

import ipywidgets as widgets
import numpy as np
import xarray as xr

from kit import reference
from kit.ambient import Ambient
from kit.drawing import MapBoard
from kit.errors import InputError
from kit.facade import Facade, Surface
from kit.light import Scene, light_map
from kit.projector import TYPICAL_OPTIONS, typical_projector
from kit.throw import Placement, picture_width
from kit.units import length_text, metres_per
from kit.verdict import Target, Verdict, judge

# The lens stands on the ground in its housing; the picture's lower edge is level with it.
LENS_HEIGHT = 0.3
LENS_SHIFT = (0.0, 0.5)
RESOLUTION = (1920, 1200)

MARKS = {"enough": "✓", "borderline": "~", "not enough": "✗"}

CAUTIONS = (
    "Never look into the lens, and let no child do it: read the maker's label on optical risk. Keep the beam "
    "below drivers' and pilots' eyes and off the neighbours' windows. Outdoors, mains power, stands and "
    "housings are matters of your local code and of a licensed electrician."
)


@dataclass(frozen=True, kw_only=True)
class Choice:
    """What the sliders say. Lengths in metres, whatever unit is shown.

    Parameters
    ----------
    first, second : float
        Stated light output of the two classes [lm].
    distance : float
        Lens to the plane of the front wall [m].
    throw_ratio : float
        Distance / picture width.
    wall : str
        Surface of the main wall, a name of ``reference_data/surfaces.csv``.
    ambient : float
        Ambient light on the front [lx].
    picture_mode, ageing, housing_window : str
        Options of ``reference_data/light_losses.csv``.
    district, purpose : str
        Name the target, see `Target.from_reference`.
    units : {"ft", "m"}
        Shown on axes and in words.
    """

    first: float = 4000.0
    second: float = 8000.0
    distance: float = 12.0396  # 39.5 ft, a step of the slider
    throw_ratio: float = 0.8
    wall: str = "red brick"
    ambient: float = 0.861  # low density walkway minimum, reference_data/ambient_levels.csv
    picture_mode: str = TYPICAL_OPTIONS["picture mode"]
    ageing: str = TYPICAL_OPTIONS["ageing"]
    housing_window: str = TYPICAL_OPTIONS["housing window"]
    district: str = "dark"
    purpose: str = "basic decision making"
    units: str = "ft"


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """Maps and verdicts for the two classes of a `Choice`; judged when first asked, so that pictures come first."""

    choice: Choice
    target: Target
    light: xr.Dataset

    @cached_property
    def verdicts(self) -> tuple[Verdict, Verdict]:
        """The two verdicts."""
        small, large = (judge(light, self.target) for light in self.maps)
        return small, large

    @property
    def maps(self) -> tuple[xr.Dataset, xr.Dataset]:
        """The two maps, each on (y, x)."""
        return self.light.isel(light_output=0), self.light.isel(light_output=1)

    def sentences(self) -> tuple[str, str]:
        """Return the two verdicts in words."""
        return self.verdicts[0].sentence, self.verdicts[1].sentence

    def picture_text(self) -> str:
        """Return what the picture is, in words: its size, what it covers, what is lost beside the front."""
        choice = self.choice
        width = float(picture_width(choice.distance, choice.throw_ratio))
        across, down = RESOLUTION
        lost = 1.0 - float(self.light["picture_share"].sum())
        front = self.verdicts[0].front
        return (
            f"The picture is {length_text(width, choice.units, 0)} wide and "
            f"{length_text(width * down / across, choice.units, 0)} high. It reaches {front.lit_share:.0%} of "
            f"the front; {max(0.0, lost):.0%} of its light goes past the front or falls where nobody sees it."
        )


def compare(house: Facade, choice: Choice, *, wall_patches: tuple[str, ...], spacing: float = 0.075) -> Comparison:
    """Return maps and verdicts for the two classes of `choice`.

    Parameters
    ----------
    house : Facade
    choice : Choice
    wall_patches : tuple of str
        The patches that `choice.wall` covers.
    spacing : float
        Pixel size of the maps [m].

    Raises
    ------
    InputError
        For a choice that makes no picture.
    """
    left, right, _, _ = house.bounds
    centre = (left + right) / 2.0
    projector = typical_projector(
        (choice.first, choice.second),
        choice.throw_ratio,
        resolution=RESOLUTION,
        lens_shift=LENS_SHIFT,
        options={
            "picture mode": choice.picture_mode,
            "ageing": choice.ageing,
            "housing window": choice.housing_window,
        },
    )
    place = Placement(position=(centre, LENS_HEIGHT, choice.distance), aim=(centre, LENS_HEIGHT, 0.0))
    scene = Scene(
        facade=house.cover(Surface.from_reference(choice.wall), patches=wall_patches),
        projectors=((projector, place),),
        ambient=Ambient(vertical_illuminance=choice.ambient),
        ground_reflectance=reference.value("surfaces", "grass"),
    )
    target = Target.from_reference(district=choice.district, purpose=choice.purpose)
    light = light_map(scene, spacing)
    return Comparison(choice=choice, target=target, light=light)


class ClassPanel:
    """Two brightness classes side by side on one front.

    Parameters
    ----------
    house : Facade
    wall_patches : sequence of str
        The patches whose surface the reader may change: the main wall and what matches it.
    start : Choice, optional
        What the sliders show first, and after a reset.
    spacing : float
        Pixel size of the maps [m].
    """

    def __init__(
        self,
        house: Facade,
        *,
        wall_patches: tuple[str, ...],
        start: Choice | None = None,
        spacing: float = 0.075,
    ) -> None:
        self.house = house
        self.wall_patches = tuple(house.patch(name).name for name in wall_patches)
        self.start = start or Choice(wall=house.patch(self.wall_patches[0]).surface.name)
        self.spacing = spacing
        # A kernel may answer controls on several threads at once.
        self._lock = threading.RLock()
        self._quiet = False
        self._board: MapBoard | None = None
        self._shown: Choice | None = None
        self.comparison: Comparison | None = None
        self.controls = self._controls()
        self.reset = widgets.Button(description="Reset all", tooltip="Back to the values at the start", icon="undo")
        self.reset.on_click(lambda _: self.show(self.start))
        self.message = widgets.HTML()
        self.words = widgets.HTML()
        self.picture = widgets.Image(format="png", layout=widgets.Layout(max_width="100%"))
        self.picture.add_class("kit-picture")
        # The picture's text alternative; the image widget itself cannot carry one.
        self.caption = widgets.HTML()
        self.numbers = widgets.HTML()
        for control in {*self.controls.values(), *self.distances.values()}:
            control.observe(self._changed, names="value")
        self.show(self.start)

    def _controls(self) -> dict[str, Any]:
        style = {"description_width": "125px"}
        wide = widgets.Layout(width="395px")

        def slider(label: str, low: float, high: float, step: float, form: str) -> Any:
            return widgets.FloatSlider(
                description=label, min=low, max=high, step=step, value=low, readout_format=form,
                style=style, layout=wide, continuous_update=True,
            )  # fmt: skip

        def lumens(label: str, high: int) -> Any:
            return widgets.IntSlider(
                description=label,
                min=500,
                max=high,
                step=250,
                value=high,
                readout_format=",d",
                style=style,
                layout=wide,
            )

        def menu(label: str, options: Sequence[str | tuple[str, str]]) -> Any:
            return widgets.Dropdown(description=label, options=options, style=style, layout=wide)

        self.distances = {
            "ft": slider("distance (ft)", 10.0, 98.0, 0.5, ".1f"),
            "m": slider("distance (m)", 3.0, 30.0, 0.1, ".1f"),
        }
        for control in self.distances.values():
            control.layout = widgets.Layout(width=wide.width)
        controls = {
            "first": lumens("first class (lm)", 12000),
            "second": lumens("second class (lm)", 20000),
            "distance": self.distances["ft"],
            "throw_ratio": slider("throw ratio", 0.3, 2.5, 0.05, ".2f"),
            "wall": menu("main wall", reference.names("surfaces")),
            "ambient": widgets.FloatLogSlider(
                description="ambient light (lx)",
                base=10,
                min=-2.065,
                max=1.595,
                step=0.02,
                value=0.861,
                readout_format=".2f",
                style=style,
                layout=wide,
            ),
            "picture_mode": menu("picture mode", reference.names("light_losses", "picture mode")),
            "ageing": menu("age of the lamp", reference.names("light_losses", "ageing")),
            "housing_window": menu("housing window", reference.names("light_losses", "housing window")),
            "district": menu("surroundings", _targets("luminance_targets", "district brightness", " cd/m²")),
            "purpose": menu("contrast for", _targets("contrast_categories", None, ":1")),
            "units": widgets.ToggleButtons(
                description="lengths in", options=[("feet", "ft"), ("metres", "m")], style=style, layout=wide
            ),
        }
        controls["units"].style.button_width = "80px"
        return controls

    @property
    def choice(self) -> Choice:
        """What the sliders say now."""
        values = {field.name: self.controls[field.name].value for field in fields(Choice)}
        # The slider's own unit is the one it was last given, not the one just asked for.
        values["distance"] *= metres_per(self._distance_unit)
        return Choice(**values)

    def show(self, choice: Choice) -> None:
        """Show `choice`: move the sliders to it, then words, pictures and numbers.

        A choice that cannot be shown leaves the last picture and says what is wrong above it.
        """
        with self._lock:
            self._quiet = True
            try:
                self._move(choice)
            finally:
                self._quiet = False
            self.update(choice)

    def update(self, choice: Choice) -> None:
        """Show the words, pictures and numbers of `choice`: what every slider calls."""
        with self._lock:
            self._shown = choice
            try:
                self.comparison = compare(self.house, choice, wall_patches=self.wall_patches, spacing=self.spacing)
            except InputError as error:
                self.message.value = f"<p role='alert'><b>This cannot be shown.</b> {html.escape(str(error))}</p>"
                return
            self.message.value = ""
            self._render(self.comparison)

    def _move(self, choice: Choice) -> None:
        self._set_distance(choice)
        for name, control in self.controls.items():
            if name != "distance":
                control.value = getattr(choice, name)

    def _set_distance(self, choice: Choice) -> None:
        """Show the distance slider of the chosen unit.

        There is one for each unit: a slider whose range changes while it is shown sends its old value back.
        """
        self._distance_unit = choice.units
        for unit, control in self.distances.items():
            control.layout.display = None if unit == choice.units else "none"
        control = self.controls["distance"] = self.distances[choice.units]
        steps = round((choice.distance / metres_per(choice.units) - control.min) / control.step)
        control.value = float(np.clip(control.min + steps * control.step, control.min, control.max))

    def _changed(self, _: Any) -> None:
        with self._lock:
            if self._quiet:
                return
            choice = self.choice
            if choice.units != self._distance_unit:
                self._quiet = True
                try:
                    self._set_distance(choice)
                finally:
                    self._quiet = False
                choice = self.choice
            # Answers that waited for the lock find their change shown already.
            if choice != self._shown:
                self.update(choice)

    def _render(self, result: Comparison) -> None:
        choice = result.choice
        board = self._board
        if board is None or board.target != result.target or board.units != choice.units:
            self._board = board = MapBoard(result.target, units=choice.units)
        titles = [f"{lumens:,.0f} lm" for lumens in (choice.first, choice.second)]
        self.picture.value = board.draw(result.maps, titles)
        self.caption.value = (
            f"<p>Luminance of white above, contrast below; {titles[0]} on the left, {titles[1]} on the right. "
            "Stripes mark what misses the target.</p>"
        )
        self.words.value = _words(result)
        self.numbers.value = "".join(_table(verdict) for verdict in result.verdicts)

    def widget(self) -> widgets.VBox:
        """Return everything in the order in which it is read: words, controls, pictures, numbers."""
        keys = list(self.controls)
        shown = [(*self.distances.values(),) if key == "distance" else (self.controls[key],) for key in keys]
        left = widgets.VBox([control for group in shown[:6] for control in group])
        right = widgets.VBox([*(self.controls[key] for key in keys[6:]), self.reset])
        return widgets.VBox(
            [
                self.message,
                self.words,
                widgets.HBox([left, right], layout=widgets.Layout(flex_flow="row wrap")),
                self.picture,
                self.caption,
                self.numbers,
                widgets.HTML(f"<p><b>Caution.</b> {html.escape(CAUTIONS)}</p>"),
            ]
        )

    def ranges(self) -> dict[str, tuple[Any, ...]]:
        """Return for each control its lowest, first and highest value, or all options of a menu."""
        result: dict[str, tuple[Any, ...]] = {}
        for name, control in self.controls.items():
            if isinstance(control, widgets.FloatLogSlider):
                result[name] = (
                    control.base**control.min,
                    getattr(self.start, name),
                    control.base**control.max,
                )
            elif name == "distance":
                metre = metres_per(self._distance_unit)
                result[name] = (control.min * metre, self.start.distance, control.max * metre)
            elif isinstance(control, widgets.FloatSlider | widgets.IntSlider):
                result[name] = (control.min, getattr(self.start, name), control.max)
            else:
                options = control.options
                result[name] = tuple(o[1] if isinstance(o, tuple) else o for o in options)
        return result


def _targets(table: str, group: str | None, unit: str) -> list[tuple[str, str]]:
    """Return menu entries, each a name with its value and the name alone."""
    return [
        (f"{name} ({reference.value(table, name, group=group):g}{unit})", name)
        for name in reference.names(table, group)
    ]


def _words(result: Comparison) -> str:
    blocks = "".join(
        "<div style='flex:1 1 360px; border-left:6px solid #444; padding:0 12px; margin:4px 8px 4px 0'>"
        f"<div style='font-size:1.25em'><b>{MARKS[v.status]} {v.stated_light_output:,.0f} lm: {v.status}</b></div>"
        f"<div style='line-height:1.35'>{html.escape(v.sentence)}</div></div>"
        for v in result.verdicts
    )
    target = result.target
    return (
        f"<div class='kit-verdict' style='display:flex; flex-wrap:wrap'>{blocks}</div>"
        f"<p style='line-height:1.35'>{html.escape(result.picture_text())} Wanted: white of "
        f"{target.white_luminance:g} cd/m² and a contrast of {target.contrast:g}:1.</p>"
    )


def _table(verdict: Verdict) -> str:
    head = ("surface", "share", "lit", "passes", "white, cd/m² (likely)", "contrast (likely)", "verdict")
    rows = ""
    for part in (*verdict.surfaces, verdict.front):
        cells = (
            part.name if part.kind == "surface" else "the whole front",
            f"{part.share_of_front:.0%}",
            f"{part.lit_share:.0%}",
            f"{part.passing_share:.0%}",
            part.band("white_luminance"),
            part.band("contrast"),
            f"{MARKS[part.status]} {part.status}",
        )
        rows += (
            "<tr>"
            + "".join(
                f"<td style='padding:0 8px; white-space:nowrap; line-height:1.4'>{html.escape(c)}</td>" for c in cells
            )
            + "</tr>"
        )
    header = "".join(f"<th scope='col' style='padding:0 8px; text-align:left; line-height:1.4'>{h}</th>" for h in head)
    return (
        f"<table class='kit-numbers'><caption style='text-align:left'><b>{verdict.stated_light_output:,.0f} lm</b>"
        f"</caption><thead><tr>{header}</tr></thead><tbody>{rows}</tbody></table>"
    )
