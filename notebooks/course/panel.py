"""The panel of a lesson: a guess, something to move, a reason, a question. Works with the keyboard alone."""

import html
import re
import threading
from collections.abc import Callable
from functools import cache
from typing import Any

import ipywidgets as widgets
from matplotlib.patches import Rectangle

from course.lessons import Lesson, Outcome, Question, lesson
from kit.errors import InputError
from kit.views.drawing import Board
from kit.views.page import caution, picture
from sliders.panel import control, layout, styled

# Read aloud when it changes, for those who listen.
SPOKEN = "aria-live='polite'"


class LessonPanel:
    """One lesson.

    Parameters
    ----------
    title : str
        Of one of `all_lessons`.
    """

    def __init__(self, title: str) -> None:
        self.lesson: Lesson = lesson(title)
        self._lock = threading.RLock()
        self.guess = Asked(self.lesson.guess, "Guess first", self._guessed)
        self.check = Asked(self.lesson.check, "Check yourself")
        self.knob = control(self.lesson.knob)
        self.knob.value = self.lesson.knob.default
        self.knob.layout = layout("560px")
        self.picture, self.caption = widgets.HTML(), widgets.HTML()
        self.why = widgets.HTML(f"<p class='kit-why'>{_marked(self.lesson.why)}</p>")
        # What can be moved and read comes after the guess.
        self.caution = widgets.HTML(caution(self.lesson.caution) if self.lesson.caution else "")
        self.after = widgets.VBox([self.knob, self.picture, self.caption, self.why, self.caution, *self.check.parts])
        self.after.layout.display = "none"
        self.knob.observe(self._moved, names="value")
        self.show(self.knob.value)

    def show(self, value: float) -> None:
        """Show what comes of a setting: picture and sentence."""
        with self._lock:
            try:
                outcome = self.lesson.outcome(self.lesson.knob.check(self.lesson.knob.label, value))
            except InputError as error:
                self.caption.value = f"<p role='alert'><b>This cannot be shown.</b> {html.escape(str(error))}</p>"
                return
            self.picture.value = picture(lesson_picture(outcome), outcome.sentence)
            self.caption.value = f"<p class='kit-outcome' {SPOKEN}>{html.escape(outcome.sentence)}</p>"

    def _guessed(self) -> None:
        self.after.layout.display = None

    def _moved(self, change: Any) -> None:
        self.show(change["new"])

    def widget(self) -> widgets.VBox:
        """Return the lesson in the order in which it is read."""
        return styled([*self.guess.parts, self.after])


class Asked:
    """A question on the page: its text, a button for each option, and what is said to the one that is chosen.

    Buttons, since the notebook's page takes the arrow keys that a group of round boxes needs.
    """

    def __init__(self, question: Question, heading: str, then: Callable[[], None] | None = None) -> None:
        self.question, self.then = question, then
        head = widgets.HTML(f"<p><b>{heading}.</b> {html.escape(question.text)}</p>")
        wide = widgets.Layout(width="100%", max_width="560px", height="auto", min_height="36px")
        self.buttons = tuple(widgets.Button(layout=wide) for _ in question.options)
        for i, button in enumerate(self.buttons):
            button.style.text_align = "left"
            button.on_click(lambda _, i=i: self.choose(i))
        self.said = widgets.HTML()
        self.parts = (head, *self.buttons, self.said)
        self._mark(None)

    def choose(self, index: int) -> None:
        """Choose an option and say what is to be said."""
        self.said.value = f"<p class='kit-said' {SPOKEN}>{html.escape(self.question.answer(index))}</p>"
        self._mark(index)
        if self.then is not None:
            self.then()

    def _mark(self, chosen: int | None) -> None:
        for i, (button, text) in enumerate(zip(self.buttons, self.question.options, strict=True)):
            button.description = f"{'●' if i == chosen else '○'}  {text}"


def _marked(text: str) -> str:
    """Return text with **bold** and *slanted* words as HTML."""
    safe = html.escape(text)
    safe = re.sub(r"\*\*(.+?)\*\*", r"<b>\1</b>", safe)
    return re.sub(r"\*(.+?)\*", r"<i>\1</i>", safe)


@cache
def _board() -> tuple[Board, Any, Any]:
    """Return what outcomes are drawn on: tiles on the left, figures on the right."""
    board = Board((7.0, 2.4))
    left, right = board.figure.subplots(1, 2, width_ratios=(1, 1.25))
    board.figure.subplots_adjust(left=0.02, right=0.97, bottom=0.06, top=0.94, wspace=0.08)
    for ax in (left, right):
        ax.set(xlim=(0, 1), ylim=(0, 1))
        ax.axis("off")
    left.add_patch(Rectangle((0, 0), 1, 1, facecolor="0.05"))
    board.keep()
    return board, left, right


def lesson_picture(outcome: Outcome) -> bytes:
    """Return the tiles and figures of an outcome as a PNG picture, in greys.

    Tiles are as light as the eye sees them, on a screen that follows sRGB: lightness is nearly even in its codes.
    """
    board, left, right = _board()
    artists: list[Any] = []
    count = len(outcome.tiles)
    for i, tile in enumerate(outcome.tiles):
        middle = (i + 0.5) / count
        width = 0.92 * tile.width if count == 1 else 0.9 * tile.width
        shade = f"{min(1.0, max(0.0, tile.lightness / 100.0)):.3f}"
        low, high = (0.56 - 0.42 * tile.width, 0.84 * tile.width) if count == 1 else (0.2, 0.72)
        box = Rectangle((middle - width / 2, low), width, high, facecolor=shade, edgecolor="0.5", linewidth=0.8)
        artists.append(left.add_patch(box))
        artists.append(left.text(middle, 0.04, tile.label, color="white", ha="center", va="bottom", fontsize=8.5))
    for i, (label, value, unit) in enumerate(outcome.figures):
        y = 0.68 - 0.5 * i
        figure = f"{value:,.0f}" if value >= 20 else f"{value:.1f}"
        artists.append(right.text(0.02, y + 0.16, label, fontsize=11, va="center"))
        artists.append(right.text(0.02, y - 0.06, f"{figure} {unit}", fontsize=19, va="center", fontweight="bold"))
    drawn = board.paint(artists)
    for artist in artists:
        artist.remove()
    return drawn
