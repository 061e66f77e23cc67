"""The words of the lessons: read from `lessons.toml`, and filled with the figures that `lessons.py` computes."""

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from string import Formatter
from typing import Any

from kit.errors import InputError
from kit.fields import Number
from kit.units import length_text
from kit.words import capital

FILE = Path(__file__).with_name("lessons.toml")

# Of each tile: its width and its lightness.
Sizes = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Question:
    """A question: its options, which of them is right, and what is said of each."""

    text: str
    options: tuple[str, ...]
    right: int
    reasons: tuple[str, ...]

    def answer(self, index: int) -> str:
        """Return what is said to whoever chose an option; an index out of range: `InputError`."""
        if not 0 <= index < len(self.options):
            raise InputError("index", index, f"0 to {len(self.options) - 1}")
        reason = capital(self.reasons[index])
        if index == self.right:
            return f"✓ Right. {reason}"
        return f"✗ Not quite. {reason} The answer is “{self.options[self.right]}”: {self.reasons[self.right]}"


def sized(text: str, value: float, *options: tuple[str, tuple[float, float], str]) -> Question:
    """Return a question whose right option is the one that holds a computed value.

    `*options` ((str, (float, float), str)): what it says, from where to where that holds, and the reason. Raises
    `InputError` for a value that no option holds, or several: the words no longer fit the figures.
    """
    right = [i for i, (_, (low, high), _) in enumerate(options) if low <= value <= high]
    if len(right) != 1:
        limits = ", ".join(f"{low:g} to {high:g}" for _, (low, high), _ in options)
        raise InputError(f"question: {text}", value, f"a value within one option, and no other, of {limits}")
    said, _, reasons = zip(*options, strict=True)
    return Question(text, said, right[0], reasons)


def about(value: float, share: float = 0.1) -> tuple[float, float]:
    """Return from where to where "about `value`" holds."""
    return value * (1.0 - share), value * (1.0 + share)


@dataclass(frozen=True)
class Tile:
    """A square of wall as the eye sees it: its width relative to the others, and its lightness, 0 to 100."""

    label: str
    width: float
    lightness: float


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What comes of a setting: tiles to look at, figures (label, value, unit) and a sentence."""

    tiles: tuple[Tile, ...]
    figures: tuple[tuple[str, float, str], ...]
    sentence: str


@dataclass(frozen=True, kw_only=True)
class Lesson:
    """One idea: guess, move, read why, check."""

    title: str
    guess: Question
    knob: Number
    outcome: Callable[[float], Outcome]
    why: str
    check: Question
    caution: str


class Pen(Formatter):
    """Puts figures into words: a length as people read it, a number by its name, or as Python does."""

    def __init__(self, names: Mapping[str, Mapping[str, str]], figures: Mapping[str, float]) -> None:
        self.names, self.figures = names, figures

    def write(self, text: str) -> str:
        """Return a text with its figures."""
        return self.vformat(text, (), self.figures)

    def ask(self, asked: Mapping[str, Any], value: float) -> Question:
        """Return a question of which the right option holds a value."""
        options = []
        for said, holds, reason in asked["options"]:
            ends = [self.figures.get(end, end) for end in (holds if isinstance(holds, list) else [holds])]
            limits = about(ends[0]) if len(ends) == 1 else (ends[0], ends[1])
            options.append((self.write(said), limits, self.write(reason)))
        return sized(self.write(asked["text"]), value, *options)

    def format_field(self, value: Any, format_spec: str) -> str:
        """Return a figure in its form."""
        if format_spec == "both":
            return f"{length_text(value, 'm', 0)} ({length_text(value, 'ft', 0)})"
        if format_spec in self.names:
            names = self.names[format_spec]
            return self.vformat(names.get(f"{value:g}") or names["else"], (value,), self.figures)
        return str(super().format_field(value, format_spec))


def read_words() -> dict[str, dict[str, Any]]:
    """Return the words of each lesson by its name, in the order in which they are read."""
    return tomllib.loads(FILE.read_text(encoding="utf-8"))


def put_together(
    words: Mapping[str, Any],
    knob: Number,
    figures: Mapping[str, float],
    values: tuple[float, float],
    moved: Callable[[float], tuple[Sizes, Mapping[str, float]]],
) -> Lesson:
    """Return a lesson of its words and figures.

    `values`: what the right options of the guess and of the check hold; `moved`: what comes of a setting: (width,
    lightness) of each tile, and figures.
    """
    names = words.get("names", {})

    def outcome(setting: float) -> Outcome:
        sizes, found = moved(setting)
        pen = Pen(names, found)
        return Outcome(
            tiles=tuple(Tile(pen.write(label), *size) for label, size in zip(words["tiles"], sizes, strict=True)),
            figures=tuple((label, found[figure], unit) for label, figure, unit in words["figures"]),
            sentence=pen.write(words["sentence"]),
        )

    pen = Pen(names, figures)
    guess, check = (pen.ask(words[name], value) for name, value in zip(("guess", "check"), values, strict=True))
    title, why, caution = (pen.write(words.get(name, "")) for name in ("title", "why", "caution"))
    return Lesson(title=title, guess=guess, knob=knob, outcome=outcome, why=why, check=check, caution=caution)
