"""What all panels share: controls made from declared fields, one answer at a time, words before pictures and tables.

A panel turns a choice into words, pictures and tables; the answer is computed elsewhere. A subclass names the choice,
the function that answers it, and how the answer is shown.
"""

from __future__ import annotations

import html
import math
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import date
from typing import Any, ClassVar

import ipywidgets as widgets
import numpy as np

from kit.errors import InputError
from kit.fields import Day, Flag, Number, OneOf, Spec, Text, specs
from kit.units import edge, metres_per
from kit.views import page
from kit.wall.facade import Facade

CAUTIONS = (
    "Never look into the lens, and let no child do it: read the maker's label on optical risk. Keep the beam out of "
    "drivers' and pilots' eyes and off the neighbours' windows. Outdoors, mains power, stands and housings are matters "
    "of your local code and of a licensed electrician."
)
LABEL = {"description_width": "125px"}
# What a menu holds for None.
NOTHING = "(nothing)"


def layout(width: str = "395px") -> widgets.Layout:
    """Return the layout of a control; a phone is narrower, and shows the right-hand border of a menu."""
    return widgets.Layout(width=width, max_width="calc(100% - 4px)")


def control(spec: Spec, units: str = "m") -> Any:
    """Return the control of a declared field: a slider, a menu, a box to tick or a line for text.

    `spec` (Spec); `units` ({"m", "ft"}): of a length.
    """
    look: dict[str, Any] = {"description": spec.label, "style": LABEL, "layout": layout()}
    if isinstance(spec, OneOf) and len(spec.names()) == 2:
        buttons = widgets.ToggleButtons(options=spec.menu(), **look)
        buttons.style.button_width = "80px"
        return buttons
    if isinstance(spec, OneOf):
        # The library takes None for nothing chosen, and shows nothing.
        return widgets.Dropdown(
            options=[(said, NOTHING if value is None else value) for said, value in spec.menu()], **look
        )
    if isinstance(spec, Flag):
        return widgets.Checkbox(**look)
    if isinstance(spec, Text):
        # Answers when it is finished.
        return widgets.Text(placeholder=spec.example, continuous_update=False, **look)
    if isinstance(spec, Day):
        return widgets.SelectionSlider(options=[(_day(day), day) for day in spec.days()], **look)
    assert isinstance(spec, Number)
    limits = spec.feet if units == "ft" and spec.feet else spec.steps
    assert limits is not None
    low, high, step = limits
    if spec.reading is not None:
        values = low + step * np.arange(round((high - low) / step) + 1)
        return widgets.SelectionSlider(options=[(spec.reading(v), v) for v in values.tolist()], **look)
    unit = edge(spec.unit.split(",")[0], units)[0]
    if unit and not spec.form:
        look["description"] = f"{spec.label} ({'°' if unit == 'degrees' else unit})"
    look |= {"min": low, "max": high, "step": step}
    if spec.whole:
        look |= {name: int(look[name]) for name in ("min", "max", "step")}
        return widgets.IntSlider(readout_format=spec.form or ",d", **look)
    if spec.ratio:
        return widgets.FloatLogSlider(base=10, value=10.0**low, readout_format=spec.form or ".2f", **look)
    digits = max(0, -math.floor(math.log10(step) + 1e-9))
    if round(step, digits) != round(step, 9):
        digits += 1
    return widgets.FloatSlider(value=low, readout_format=spec.form or f",.{digits}f", **look)


def _day(day: str) -> str:
    when = date.fromisoformat(day)
    return f"{when:%a} {when.day} {when:%b %Y}"


def nearest(slider: Any, value: float) -> float:
    """Return the step of a slider that is nearest to `value`: between steps the page would round it by itself."""
    if isinstance(slider, widgets.SelectionSlider):
        values = [option for _, option in slider.options]
        return float(min(values, key=lambda v: abs(v - value)))
    if isinstance(slider, widgets.FloatLogSlider):
        return float(np.clip(value, slider.base**slider.min, slider.base**slider.max))
    steps = round((value - slider.min) / slider.step)
    found = float(np.clip(slider.min + steps * slider.step, slider.min, slider.max))
    return int(found) if isinstance(slider, widgets.IntSlider) else found


class Panel:
    """Controls, words, pictures and tables that follow a choice.

    A subclass sets `choice_type` and `answer`, and gives `page`.

    `wall_patches` (sequence of str): the patches whose surface the reader may change: the main wall and what
    matches it; `start` (choice_type, optional): what the controls show first, and after a reset; `**given`: what
    else `answer` takes, such as ``spacing``.
    """

    choice_type: ClassVar[type]
    answer: ClassVar[Callable[..., Any]]
    caution: ClassVar[str] = CAUTIONS
    pictures: ClassVar[tuple[str, ...]] = ("picture",)
    live: ClassVar[bool] = True  # follows a slider while it is dragged; otherwise answers when it is let go

    def __init__(self, house: Facade, *, wall_patches: Sequence[str], start: Any = None, **given: Any) -> None:
        self.house = house
        self.given = {"wall_patches": tuple(house.patch(name).name for name in wall_patches), **given}
        self.start = self.choice_type() if start is None else start
        self.fields = self.declarations()
        # A kernel may answer controls on several threads at once.
        self._lock = threading.RLock()
        self._quiet = False
        self._shown: Any = None
        self.result: Any = None
        # Each length has a slider for each unit: one whose range changes while it is shown sends its old value back.
        self.lengths = {
            name: {units: control(spec, units) for units in ("ft", "m")}
            for name, spec in self.fields.items()
            if isinstance(spec, Number) and spec.feet
        }
        self.controls = {
            name: self.lengths[name]["ft"] if name in self.lengths else control(spec)
            for name, spec in self.fields.items()
        }
        self.reset = widgets.Button(description="Reset all", tooltip="Back to the values at the start", icon="undo")
        self.reset.on_click(lambda _: self.show(self.start))
        names = ("message", "words", "caution", *self.pictures, "caption", "tables")
        self.parts = {name: widgets.HTML() for name in names}
        self.parts["caution"].value = page.caution(self.caution)
        for one in (c for name in self.controls for c in self._sliders(name)):
            if not self.live and hasattr(one, "continuous_update"):
                one.continuous_update = False
            one.observe(self._changed, names="value")
        self.show(self.start)

    def declarations(self) -> dict[str, Spec]:
        """Return the declared fields of the choice, which the controls follow."""
        return specs(self.choice_type)

    def page(self, result: Any) -> Iterator[tuple[str, str]]:
        """Yield which part of the page shows what, as HTML, in the order in which the parts are to appear."""
        raise NotImplementedError

    @property
    def choice(self) -> Any:
        """What the controls say now; `InputError` where they say what cannot be."""
        values: dict[str, Any] = {
            name: None if one.value == NOTHING else one.value for name, one in self.controls.items()
        }
        # The slider's own unit is the one it was last given, not the one just asked for.
        for name in self.lengths:
            values[name] *= metres_per(self._unit)
        return self.choice_type(**values)

    def show(self, choice: Any) -> None:
        """Move the controls to `choice` and show it; see `update`."""
        with self._lock:
            with self._silence():
                self._set_lengths(choice)
                for name, one in self.controls.items():
                    if name not in self.lengths:
                        value = getattr(choice, name)
                        number = isinstance(self.fields[name], Number)
                        one.value = nearest(one, value) if number else NOTHING if value is None else value
            self.update(choice)

    def update(self, choice: Any) -> None:
        """Show words, pictures and tables of `choice`: what every control calls.

        A choice that cannot be shown leaves the last page, in grey, and says what is wrong above it.
        """
        with self._lock:
            self._shown = choice
            try:
                result = type(self).answer(self.house, choice, **self.given)
                for part, content in self.page(result):
                    self.parts[part].value = content
            except InputError as error:
                self._refuse(error)
            else:
                self.result = result
                self._say("")

    def _refuse(self, error: InputError) -> None:
        self._shown = None
        self._say(f"<p role='alert'><b>This cannot be shown.</b> {html.escape(str(error))} Below: the last answer.</p>")

    def _say(self, message: str) -> None:
        """Show a message, and the page in grey as long as there is one."""
        if self.parts["message"].value != message:
            self.parts["message"].value = message
            for name in ("words", *self.pictures, "caption", "tables"):
                part = self.parts[name]
                part.add_class("kit-stale") if message else part.remove_class("kit-stale")

    @contextmanager
    def _silence(self) -> Iterator[None]:
        """Move controls without an answer to each."""
        self._quiet = True
        try:
            yield
        finally:
            self._quiet = False

    def _set_lengths(self, choice: Any) -> None:
        """Show the sliders of the chosen unit."""
        self._unit = choice.units
        for name, pair in self.lengths.items():
            for unit, one in pair.items():
                one.layout.display = None if unit == choice.units else "none"
            one = self.controls[name] = pair[choice.units]
            one.value = nearest(one, getattr(choice, name) / metres_per(choice.units))

    def _changed(self, _: Any) -> None:
        with self._lock:
            if self._quiet:
                return
            try:
                choice = self.choice
                if choice.units != self._unit:
                    with self._silence():
                        self._set_lengths(choice)
                    choice = self.choice
            except InputError as error:
                self._refuse(error)
                return
            # Answers that waited for the lock find their change shown already.
            if choice != self._shown:
                self.update(choice)

    def _sliders(self, name: str) -> tuple[Any, ...]:
        """Return the control of a field: for a length, one for each unit."""
        return tuple(self.lengths[name].values()) if name in self.lengths else (self.controls[name],)

    def widget(self) -> widgets.VBox:
        """Return everything in the order in which it is read: words, controls, cautions, pictures, tables."""
        groups = [*(self._sliders(name) for name in self.controls), (self.reset,)]
        half = (len(groups) + 1) // 2
        columns = [widgets.VBox([c for group in part for c in group]) for part in (groups[:half], groups[half:])]
        controls = widgets.HBox(columns, layout=widgets.Layout(flex_flow="row wrap"))
        message, words, *rest = self.parts.values()
        return styled([message, words, controls, *rest])


def styled(parts: Sequence[Any]) -> widgets.VBox:
    """Return parts one below the other, in the style of a panel."""
    box = widgets.VBox([widgets.HTML(page.STYLE, layout=widgets.Layout(display="none")), *parts])
    box.add_class("kit-panel")
    return box
