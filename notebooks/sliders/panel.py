"""What all panels share: controls made from declared fields, one answer at a time, words before pictures and tables.

A panel turns a choice into words, pictures and tables; the answer is computed elsewhere. A subclass names the choice,
the function that answers it, and how the answer is shown.
"""

import html
import math
import os
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import date, datetime
from functools import partial
from typing import Any, ClassVar, Literal

import ipywidgets as widgets
import numpy as np

from kit import reference
from kit.answers.scenes import Wanted
from kit.answers.show import Show, open_show
from kit.errors import InputError
from kit.fields import Day, Flag, Is, Number, OneOf, Spec, Text, specs
from kit.files import fingerprint
from kit.units import edge, metres_per
from kit.views import page
from kit.wall.cloth import CLOTH_CAUTION as CLOTH
from kit.words import Phrases
from sliders.settings import load_settings, save_settings, settings_file

say = Phrases(__file__)
CAUTIONS = f"{say('cautions')} {CLOTH}"
LABEL = {"description_width": "125px"}
# What a menu holds for None.
NOTHING = "(nothing)"


def layout(width: str = "395px") -> widgets.Layout:
    """Return the layout of a control; a phone is narrower, and shows the right-hand border of a menu."""
    return widgets.Layout(width=width, max_width="calc(100% - 4px)")


def control(spec: Spec, units: str = "m") -> Any:
    """Return the control of a declared field: a slider, a menu, a box to tick or a line for text."""
    look: dict[str, Any] = {"description": spec.label, "style": LABEL, "layout": layout()}
    if isinstance(spec, OneOf) and len(spec.names()) == 2:
        buttons = widgets.ToggleButtons(options=spec.menu(), **look)
        buttons.style.button_width = "80px"
        return buttons
    if isinstance(spec, OneOf):
        # The library takes None for nothing chosen, and shows nothing.
        options = [(said, NOTHING if value is None else value) for said, value in spec.menu()]
        return widgets.Dropdown(options=options, **look)
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
    log = isinstance(slider, widgets.FloatLogSlider)
    place = math.log(max(value, slider.base**slider.min), slider.base) if log else value
    steps = round((place - slider.min) / slider.step)
    found = float(np.clip(slider.min + steps * slider.step, slider.min, slider.max))
    return int(found) if isinstance(slider, widgets.IntSlider) else slider.base**found if log else found


class Panel:
    """Controls, words, pictures and tables that follow a choice; a subclass gives name, choice, answer and page.

    `start` is what the controls show first, in place of saved settings; `given` what else `answer` takes.
    """

    name: ClassVar[str]  # of its settings' file
    choice_type: ClassVar[type]
    answer: ClassVar[Callable[..., Any]]
    caution: ClassVar[str] = CAUTIONS
    pictures: ClassVar[tuple[str, ...]] = ("picture",)
    live: ClassVar[bool] = True  # follows a slider while it is dragged; otherwise answers when it is let go

    def __init__(self, show: Show | None = None, *, start: Any = None, **given: Any) -> None:
        self.of = open_show() if show is None else Is(kind=Show).check("show", show)
        self.given = given
        self.start = (self.choice_type() if start is None else start).on(self.of)
        self.fields = self.declarations()
        # A kernel may answer controls on several threads at once.
        self._lock = threading.RLock()
        self._quiet = False
        self._shown: Any = None
        # What a control shows, and what it stands for: between its steps, a value stays as it was given.
        self._exact: dict[str, tuple[Any, Any]] = {}
        self.result: Any = None
        # Each length has a slider for each unit: one whose range changes while it is shown sends its old value back.
        long = {name: spec for name, spec in self.fields.items() if isinstance(spec, Number) and spec.feet}
        self.lengths = {name: {units: control(spec, units) for units in ("ft", "m")} for name, spec in long.items()}
        shown = {name: sliders["ft"] for name, sliders in self.lengths.items()}
        self.controls = {name: shown.get(name) or control(spec) for name, spec in self.fields.items()}
        self.notes = {name: widgets.HTML(layout=widgets.Layout(display="none")) for name in self.fields}
        self.reset = button("As in the show file", "Back to what the show file says", lambda: self.show(self.start))
        self.buttons = (
            button("Fit by moving", "Move the machine so that its picture holds the front", self._fit("distance")),
            button("Fit by zooming", "Set the zoom so that the picture holds the front", self._fit("throw_ratio")),
            self.reset,
            *(() if for_visitors() else (button("Save", "Keep these settings for the next time", self.save),)),
        )
        names = ("message", "first", "words", "caution", *self.pictures, "caption", "tables", "kept")
        self.parts = {name: widgets.HTML() for name in names}
        self.parts["caution"].value = page.caution(self.caution)
        for name in self.controls:
            for one in self._sliders(name):
                if not self.live and hasattr(one, "continuous_update"):
                    one.continuous_update = False
                one.observe(partial(self._changed, name), names="value")
        self.file, self._seen = settings_file(self.of, self.name), ""
        self.show(self.start if start is not None else self._restored())

    def declarations(self) -> dict[str, Spec]:
        """Return the declared fields of the choice, which the controls follow; the wall from those that are known."""
        every, last = specs(self.choice_type), specs(Wanted)
        ordered = {name: every[name] for name in every if name not in last} | last
        known = {name: spec.but(optional=getattr(self.start, name) is None) for name, spec in ordered.items()}
        own = (surface.name for surface in self.of.house.surfaces())
        names = tuple(dict.fromkeys((*own, *reference.names("surfaces"))))
        wall = OneOf(label=known["wall"].label, options=names, optional=True, nothing="as the house is")
        return known | {"wall": wall}

    def page(self, result: Any) -> Iterator[tuple[str, str]]:
        """Yield which part of the page shows what, as HTML, in the order in which the parts are to appear."""
        raise NotImplementedError

    def values(self, choice: Any) -> dict[str, Any]:
        """Return what the controls show for a choice, by their names."""
        return {name: getattr(choice, name) for name in self.fields}

    def made(self, values: dict[str, Any]) -> Any:
        """Return the choice that controls with such values make."""
        return self.choice_type(**values)

    @property
    def choice(self) -> Any:
        """What the controls say now; `InputError` where they say what cannot be."""
        values: dict[str, Any] = {}
        for name, one in self.controls.items():
            shown, exact = self._exact.get(name, (None, None))
            # A page that draws a slider sends its value back, the last digit rounded in its own way.
            same = one.value == shown or (isinstance(shown, float) and math.isclose(one.value, shown, rel_tol=1e-9))
            values[name] = exact if same else None if one.value == NOTHING else one.value
            if not same and name in self.lengths:
                # A slider's own unit is the one it was last given, not the one just asked for.
                values[name] *= metres_per(self._unit)
        return self.made(values)

    def show(self, choice: Any) -> None:
        """Move the controls to `choice` and show it; see `update`."""
        choice = choice.on(self.of)
        with self._lock:
            with self._silence():
                self._set(choice, lengths=False)
                self._set(choice, lengths=True)
            self.update(choice)

    def update(self, choice: Any, name: str = "") -> None:
        """Show words, pictures and tables of `choice`, or what is wrong with it above the last page, in grey."""
        with self._lock, self.busy():
            self._shown = choice
            try:
                result = type(self).answer(self.of, choice, **self.given)
                for part, content in self.page(result):
                    self.parts[part].value = content
            except InputError as error:
                self._refuse(error, name)
            else:
                self.result = result
                self.parts["first"].value = page.assumptions(result.show)
                self._say("")

    def save(self) -> None:
        """Write what the controls say to `file`; a file that another page has changed is replaced the second time."""
        try:
            choice, seen = self.choice, self._seen
            self._seen = fingerprint(self.file)
            self._seen = save_settings(self.file, choice, self.name, seen)
        except InputError as error:
            self._keep(str(error))
        else:
            self._keep(f"Saved in {self.file.name}, {datetime.now():%H:%M:%S}. The page comes back to it.")

    def _restored(self) -> Any:
        """Return the settings that were saved, or those of the show file; what cannot come back is said."""
        self._seen = fingerprint(self.file)
        if not self._seen:
            return self.start
        choice, lost = load_settings(self.file, self.start, self.name)
        while choice != self.start:
            try:
                type(self).answer(self.of, choice, **self.given)
                break
            except InputError as error:  # such as a wall, a lamp or a picture that is gone
                own, lost = {error.field: getattr(self.start, error.field, None)}, (*lost, str(error))
                known = error.field in specs(choice) and own[error.field] != getattr(choice, error.field)
                choice = replace(choice, **own) if known else self.start
        said = "Nothing comes back of" if lost and choice == self.start else "Not as in the show file: back to"
        self._keep(f"{said} the settings in {self.file.name}.", *lost)
        return choice

    def _keep(self, *texts: str) -> None:
        self.parts["kept"].value = f"<div role='status'>{page.paragraphs(*texts)}</div>"

    def _fit(self, how: Literal["distance", "throw_ratio"]) -> Callable[[], None]:
        def fit() -> None:
            try:
                choice = self.of.fitted(self.choice, how)
            except InputError as error:
                self._refuse(error, error.field)
            else:
                self.show(choice)
                self._keep(*self.of.beyond_zoom(choice))

        return fit

    def _refuse(self, error: InputError, name: str) -> None:
        self._shown = None
        last = " Below: the last answer." if self.result else ""
        self._say(f"<b>This cannot be shown.</b> {html.escape(str(error))}{last}", name)

    def _say(self, message: str, name: str = "") -> None:
        """Show a message, also beside a control, and the page in grey as long as there is one."""
        for other, note in self.notes.items():
            said = f"<p aria-hidden='true'>{message}</p>" if message and other == name else ""
            if note.value != said:
                note.value, note.layout.display = said, None if said else "none"
        message = message and f"<p role='alert'>{message}</p>"
        if self.parts["message"].value != message:
            self.parts["message"].value = message
            for part in ("first", "words", *self.pictures, "caption", "tables"):
                one = self.parts[part]
                one.add_class("kit-stale") if message else one.remove_class("kit-stale")

    @contextmanager
    def busy(self) -> Iterator[None]:
        """Tell the page that it is being worked out."""
        self.parts["message"].add_class("kit-busy")
        try:
            yield
        finally:
            self.parts["message"].remove_class("kit-busy")

    @contextmanager
    def _silence(self) -> Iterator[None]:
        """Move controls without an answer to each."""
        self._quiet = True
        try:
            yield
        finally:
            self._quiet = False

    def _set(self, choice: Any, *, lengths: bool) -> None:
        """Move the controls of lengths, in the unit that is chosen, or all others; their limits give way to a value."""
        self._unit = choice.units
        for name, value in self.values(choice).items():
            if (name in self.lengths) != lengths:
                continue
            size = 1.0
            if lengths:
                size = metres_per(choice.units)
                for unit, one in self.lengths[name].items():
                    one.layout.display = None if unit == choice.units else "none"
                self.controls[name] = self.lengths[name][choice.units]
            one = self.controls[name]
            if isinstance(spec := self.fields[name], Number):
                make_room(one, value / size, spec.reading)
                one.value = nearest(one, value / size)
            else:
                wanted = NOTHING if value is None else value
                make_room(one, wanted)
                one.value = wanted
            self._exact[name] = one.value, value

    def _changed(self, name: str, _: Any) -> None:
        with self._lock:
            if self._quiet:
                return
            try:
                self.follow(name)
                choice = self.choice
                if choice.units != self._unit:
                    with self._silence():
                        self._set(choice, lengths=True)
                    choice = self.choice
            except InputError as error:
                self._refuse(error, name)
                return
            # Answers that waited for the lock find their change shown already.
            if choice != self._shown:
                self.update(choice, name)

    def follow(self, name: str) -> None:
        """Move other controls after the one called `name`, where one asks for another."""

    def _sliders(self, name: str) -> tuple[Any, ...]:
        """Return the control of a field: for a length, one for each unit."""
        return tuple(self.lengths[name].values()) if name in self.lengths else (self.controls[name],)

    def widget(self) -> widgets.VBox:
        """Return everything in the order in which it is read: words, controls, cautions, pictures, tables."""
        groups = [(*self._sliders(name), self.notes[name]) for name in self.controls]
        half = (len(groups) + 1) // 2
        columns = [widgets.VBox([c for group in part for c in group]) for part in (groups[:half], groups[half:])]
        rows = [widgets.HBox(found, layout=widgets.Layout(flex_flow="row wrap")) for found in (columns, self.buttons)]
        message, first, words, *rest, kept = self.parts.values()
        return styled([first, message, words, *rows, kept, *rest])


def button(label: str, tooltip: str, act: Callable[[], None]) -> widgets.Button:
    """Return a button that does `act`."""
    made = widgets.Button(description=label, tooltip=tooltip, layout=layout("150px"))
    made.on_click(lambda _: act())
    return made


def for_visitors() -> bool:
    """Return whether the page is shown to others without its code: they write no files here."""
    return os.environ.get("SERVER_SOFTWARE", "").startswith("voila")


def make_room(one: Any, value: Any, read: Callable[[Any], str] | None = None) -> None:
    """Widen the limits or the list of a control so that it can show `value`, `read` as words, or come next to it."""
    if isinstance(one, widgets.Dropdown | widgets.SelectionSlider):
        if value not in [option for _, option in one.options]:
            options = [*one.options, ((read or str)(value), value)]
            one.options = sorted(options, key=lambda option: option[1]) if isinstance(value, float) else options
    elif isinstance(one, widgets.FloatLogSlider | widgets.FloatSlider | widgets.IntSlider):
        if isinstance(one, widgets.FloatLogSlider):
            value = math.log10(max(value, 1e-4))  # what the slider reads as nothing
        steps = (value - one.min) / one.step
        one.min = min(one.min, one.min + math.floor(steps) * one.step)
        one.max = max(one.max, one.min + math.ceil(steps - 1e-9) * one.step) if steps > 0 else one.max


def styled(parts: Sequence[Any]) -> widgets.VBox:
    """Return parts one below the other, in the style of a panel."""
    box = widgets.VBox([widgets.HTML(page.STYLE, layout=widgets.Layout(display="none")), *parts])
    box.add_class("kit-panel")
    return box
