"""What all panels share: sliders in feet or metres, one answer at a time, words before pictures before numbers.

A panel turns a choice into words and pictures; the light is computed elsewhere. A subclass names its controls, the
function that computes what they ask for, and how the result is shown.
"""

from __future__ import annotations

import html
import threading
from collections.abc import Iterable, Sequence
from dataclasses import fields
from typing import Any, ClassVar

import ipywidgets as widgets
import numpy as np
import pandas as pd

from kit import reference
from kit.errors import InputError
from kit.eye.ambient import Ambient
from kit.eye.light_map import Scene
from kit.source.placement import Placement
from kit.source.projector import typical_projector
from kit.units import metres_per
from kit.wall.facade import Facade

# The lens stands on the ground in its housing; the picture's lower edge is level with it.
LENS_HEIGHT = 0.3
LENS_SHIFT = (0.0, 0.5)
RESOLUTION = (1920, 1200)

STYLE = {"description_width": "125px"}
WIDTH = "395px"
# Tables of text keep their lines and scroll.
TABLE_STYLE = "style='font-family:monospace; line-height:1.3; white-space:pre; overflow-x:auto'"

CAUTIONS = (
    "Never look into the lens, and let no child do it: read the maker's label on optical risk. Keep the beam "
    "below drivers' and pilots' eyes and off the neighbours' windows. Outdoors, mains power, stands and "
    "housings are matters of your local code and of a licensed electrician."
)


def street_scene(
    house: Facade,
    *,
    light_output: float | tuple[float, ...],
    distance: float,
    throw_ratio: float,
    ambient: float,
    options: dict[str, str] | None = None,
) -> Scene:
    """Return the scene that the panels show: a typical projector on the ground in front of the middle of a house.

    Parameters
    ----------
    house : Facade
    light_output : float or tuple of float
        Stated [lm].
    distance : float
        Lens to the plane of the front wall [m].
    throw_ratio : float
    ambient : float
        Ambient light on the front [lx].
    options : dict
        Losses, as for `typical_projector`.
    """
    left, right, _, _ = house.bounds
    centre = (left + right) / 2.0
    projector = typical_projector(
        light_output, throw_ratio, resolution=RESOLUTION, lens_shift=LENS_SHIFT, options=options
    )
    place = Placement(position=(centre, LENS_HEIGHT, distance), aim=(centre, LENS_HEIGHT, 0.0))
    return Scene(
        facade=house,
        projectors=((projector, place),),
        ambient=Ambient(vertical_illuminance=ambient),
        ground_reflectance=reference.value("surfaces", "grass"),
    )


def _layout() -> widgets.Layout:
    # A phone is narrower; a hair less than all of it keeps the right-hand border of a menu.
    return widgets.Layout(width=WIDTH, max_width="calc(100% - 4px)")


def slider(label: str, low: float, high: float, step: float, form: str) -> Any:
    """Return a slider of plain steps."""
    return widgets.FloatSlider(
        description=label, min=low, max=high, step=step, value=low, readout_format=form,
        style=STYLE, layout=_layout(), continuous_update=True,
    )  # fmt: skip


def count(label: str, low: int, high: int, step: int = 1) -> Any:
    """Return a slider of whole numbers."""
    return widgets.IntSlider(
        description=label, min=low, max=high, step=step, value=high, readout_format=",d",
        style=STYLE, layout=_layout(),
    )  # fmt: skip


def menu(label: str, options: Iterable[str | tuple[str, Any]]) -> Any:
    """Return a menu."""
    return widgets.Dropdown(description=label, options=list(options), style=STYLE, layout=_layout())


def tick(label: str) -> Any:
    """Return a box to tick."""
    return widgets.Checkbox(description=label, style=STYLE, layout=_layout())


def line(label: str, example: str) -> Any:
    """Return a line for text, which answers when it is finished."""
    return widgets.Text(
        description=label, placeholder=example, continuous_update=False,
        style=STYLE, layout=_layout(),
    )  # fmt: skip


def days(label: str, first: str, last: str) -> Any:
    """Return a slider of dates, from `first` to `last`, each as text such as ``"2026-12-05"``."""
    dates = pd.date_range(first, last)
    return widgets.SelectionSlider(
        description=label, options=[(f"{day:%a} {day.day} {day:%b %Y}", f"{day:%Y-%m-%d}") for day in dates],
        style=STYLE, layout=_layout(),
    )  # fmt: skip


def ambient_slider() -> Any:
    """Return the slider of ambient light, in steps of equal ratio."""
    return widgets.FloatLogSlider(
        description="ambient light (lx)", base=10, min=-2.065, max=1.595, step=0.02, value=0.861,
        readout_format=".2f", style=STYLE, layout=_layout(),
    )  # fmt: skip


def targets(table: str, group: str | None, unit: str) -> list[tuple[str, str]]:
    """Return menu entries of a reference table, each a name with its value and the name alone."""
    return [
        (f"{name} ({reference.value(table, name, group=group):g}{unit})", name)
        for name in reference.names(table, group)
    ]


def target_menus() -> dict[str, Any]:
    """Return the two menus that say what counts as enough."""
    return {
        "district": menu("surroundings", targets("luminance_targets", "district brightness", " cd/m²")),
        "purpose": menu("contrast for", targets("contrast_categories", None, ":1")),
    }


def unit_buttons() -> Any:
    """Return the choice of feet or metres."""
    buttons = widgets.ToggleButtons(
        description="lengths in", options=[("feet", "ft"), ("metres", "m")], style=STYLE,
        layout=_layout(),
    )  # fmt: skip
    buttons.style.button_width = "80px"
    return buttons


def _image() -> Any:
    image = widgets.Image(format="png", layout=widgets.Layout(max_width="100%"))
    image.add_class("kit-picture")
    return image


class Panel:
    """Controls, words, a picture and numbers that follow a choice.

    A subclass sets `choice_type`, `caution` and `split`, and gives `_controls`, `_compute` and `_render`.

    Parameters
    ----------
    house : Facade
    wall_patches : sequence of str
        The patches whose surface the reader may change: the main wall and what matches it.
    start : choice_type, optional
        What the controls show first, and after a reset; as the house is, if not given.
    spacing : float
        Pixel size of the maps [m].
    """

    choice_type: ClassVar[type]
    caution: ClassVar[str] = CAUTIONS
    split: ClassVar[int]  # so many controls stand in the left column
    pictures: ClassVar[int] = 1
    live: ClassVar[bool] = True  # follows a slider while it is dragged; otherwise answers when it is let go

    def __init__(
        self, house: Facade, *, wall_patches: Sequence[str], start: Any = None, spacing: float = 0.075
    ) -> None:
        self.house = house
        self.wall_patches = tuple(house.patch(name).name for name in wall_patches)
        self.start = start or self.choice_type(wall=house.patch(self.wall_patches[0]).surface.name)
        self.spacing = spacing
        # A kernel may answer controls on several threads at once.
        self._lock = threading.RLock()
        self._quiet = False
        self._shown: Any = None
        self.result: Any = None
        # Each length has a slider for each unit: one whose range changes while it is shown sends its old value back.
        self.lengths: dict[str, dict[str, Any]] = {}
        self.controls = self._controls()
        self.reset = widgets.Button(description="Reset all", tooltip="Back to the values at the start", icon="undo")
        self.reset.on_click(lambda _: self.show(self.start))
        self.message = widgets.HTML()
        self.words = widgets.HTML()
        self.picture, *self.further = [_image() for _ in range(self.pictures)]
        # The picture's text alternative; the image widget itself cannot carry one.
        self.caption = widgets.HTML()
        self.numbers = widgets.HTML(layout=widgets.Layout(overflow="auto"))
        for control in {*self.controls.values(), *(c for pair in self.lengths.values() for c in pair.values())}:
            if not self.live and hasattr(control, "continuous_update"):
                control.continuous_update = False
            control.observe(self._changed, names="value")
        self.show(self.start)

    def _controls(self) -> dict[str, Any]:
        """Return the controls by the name of the choice's field; those of lengths are made by `_length`."""
        raise NotImplementedError

    def _length(
        self, name: str, label: str, feet: tuple[float, float, float], metres: tuple[float, float, float]
    ) -> Any:
        """Return the slider of a length; each unit has its lowest and highest value and its step."""
        self.lengths[name] = {
            unit: slider(f"{label} ({unit})", *limits, ".1f") for unit, limits in (("ft", feet), ("m", metres))
        }
        return self.lengths[name]["ft"]

    def _distance(self) -> Any:
        """Return the slider of the distance from lens to wall."""
        return self._length("distance", "distance", (10.0, 98.0, 0.5), (3.0, 30.0, 0.1))

    def _compute(self, choice: Any) -> Any:
        raise NotImplementedError

    def _render(self, result: Any) -> None:
        raise NotImplementedError

    @property
    def choice(self) -> Any:
        """What the controls say now."""
        values = {field.name: self.controls[field.name].value for field in fields(self.choice_type)}
        # The slider's own unit is the one it was last given, not the one just asked for.
        for name in self.lengths:
            values[name] *= metres_per(self._unit)
        return self.choice_type(**values)

    def show(self, choice: Any) -> None:
        """Show `choice`: move the controls to it, then words, pictures and numbers.

        A choice that cannot be shown leaves the last picture and says what is wrong above it.
        """
        with self._lock:
            self._quiet = True
            try:
                self._set_lengths(choice)
                for name, control in self.controls.items():
                    if name not in self.lengths:
                        control.value = getattr(choice, name)
            finally:
                self._quiet = False
            self.update(choice)

    def update(self, choice: Any) -> None:
        """Show the words, pictures and numbers of `choice`: what every control calls."""
        with self._lock:
            self._shown = choice
            try:
                result = self._compute(choice)
                self._render(result)
            except InputError as error:
                self.message.value = f"<p role='alert'><b>This cannot be shown.</b> {html.escape(str(error))}</p>"
                return
            self.result = result
            self.message.value = ""

    def _set_lengths(self, choice: Any) -> None:
        """Show the sliders of the chosen unit."""
        self._unit = choice.units
        for name, pair in self.lengths.items():
            for unit, control in pair.items():
                control.layout.display = None if unit == choice.units else "none"
            control = self.controls[name] = pair[choice.units]
            steps = round((getattr(choice, name) / metres_per(choice.units) - control.min) / control.step)
            control.value = float(np.clip(control.min + steps * control.step, control.min, control.max))

    def _changed(self, _: Any) -> None:
        with self._lock:
            if self._quiet:
                return
            choice = self.choice
            if choice.units != self._unit:
                self._quiet = True
                try:
                    self._set_lengths(choice)
                finally:
                    self._quiet = False
                choice = self.choice
            # Answers that waited for the lock find their change shown already.
            if choice != self._shown:
                self.update(choice)

    def widget(self) -> widgets.VBox:
        """Return everything in the order in which it is read: words, controls, pictures, numbers."""
        keys = list(self.controls)
        shown = [(*self.lengths[key].values(),) if key in self.lengths else (self.controls[key],) for key in keys]
        left = widgets.VBox([control for group in shown[: self.split] for control in group])
        right = widgets.VBox([*(self.controls[key] for key in keys[self.split :]), self.reset])
        return widgets.VBox(
            [
                self.message,
                self.words,
                widgets.HBox([left, right], layout=widgets.Layout(flex_flow="row wrap")),
                self.picture,
                *self.further,
                self.caption,
                self.numbers,
                widgets.HTML(f"<p><b>Caution.</b> {html.escape(self.caution)}</p>"),
            ]
        )

    def ranges(self) -> dict[str, tuple[Any, ...]]:
        """Return for each control its lowest, first and highest value, or all options; nothing for a free text."""
        result: dict[str, tuple[Any, ...]] = {}
        for name, control in self.controls.items():
            if isinstance(control, widgets.FloatLogSlider):
                result[name] = (
                    control.base**control.min,
                    getattr(self.start, name),
                    control.base**control.max,
                )
            elif name in self.lengths:
                metre = metres_per(self._unit)
                result[name] = (control.min * metre, getattr(self.start, name), control.max * metre)
            elif isinstance(control, widgets.FloatSlider | widgets.IntSlider):
                result[name] = (control.min, getattr(self.start, name), control.max)
            elif isinstance(control, widgets.Checkbox):
                result[name] = (False, True)
            elif hasattr(control, "options"):
                options = control.options
                result[name] = tuple(o[1] if isinstance(o, tuple) else o for o in options)
        return result
