"""The words of the lessons: read from `lessons.toml`, and filled with the figures that `lessons.py` computes."""

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from string import Formatter
from typing import Any

from pydantic import BaseModel, TypeAdapter, ValidationError

from kit import reference
from kit.errors import InputError
from kit.fields import Declared, Many, Number, Text, declared
from kit.units import length_text
from kit.words import capital

FILE = Path(__file__).with_name("lessons.toml")

WORDS = Text()
# Of each tile: its width and its lightness.
Sizes = tuple[tuple[float, float], ...]


@dataclass(frozen=True, kw_only=True)
class Question(Declared):
    """A question with one right answer."""

    thing = "question"
    text: str = declared(WORDS)
    options: tuple[str, ...] = declared(Many(of=WORDS, least=2))
    right: int = declared(Number(low=0.0, whole=True))
    reasons: tuple[str, ...] = declared(Many(of=WORDS, least=2))

    def __post_init__(self) -> None:
        super().__post_init__()
        if len(self.options) != len(self.reasons) or self.right >= len(self.options):
            raise InputError("question", self.text, "a reason for each option, and a right one among them")

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
    return Question(
        text=text, options=tuple(said for said, _, _ in options), right=right[0],
        reasons=tuple(reason for _, _, reason in options),
    )  # fmt: skip


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


class AskedWords(BaseModel, extra="forbid"):
    """A question: what each option says, from where to where that holds, the reason."""

    text: reference.Text
    options: list[tuple[reference.Text, float | str | tuple[float | str, float | str], reference.Text]]


class LessonWords(BaseModel, extra="forbid"):
    """What a lesson says; a figure is its label, its name and its unit."""

    title: reference.Text
    why: reference.Text
    caution: str = ""
    tiles: list[reference.Text]
    figures: list[tuple[reference.Text, str, str]]
    sentence: reference.Text
    names: dict[str, dict[str, reference.Text]] = {}
    guess: AskedWords
    check: AskedWords


class _Pen(Formatter):
    """Puts the figures of a lesson into its words."""

    def __init__(self, where: str, words: LessonWords, figures: Mapping[str, float]) -> None:
        self.where, self.words, self.figures, self.used = f"{FILE.name}: {where}", words, figures, set[Any]()

    def write(self, text: str) -> str:
        """Return a text with its figures; a figure or a form that is not there: `InputError`."""
        try:
            return self.vformat(text, (), self.figures)
        except (LookupError, ValueError, AttributeError, TypeError, RecursionError):
            raise InputError(self.where, text, f"figures in braces, of {', '.join(self.figures)}") from None

    def figure(self, name: float | str) -> float:
        """Return a figure by its name, and a number as it is."""
        if not isinstance(name, str):
            return name
        if name not in self.figures:
            raise InputError(self.where, name, f"a figure, of {', '.join(self.figures)}")
        self.used.add(name)
        return self.figures[name]

    def ask(self, asked: AskedWords, value: float) -> Question:
        """Return a question of which the right option holds a value."""
        options = []
        for said, holds, reason in asked.options:
            ends = [self.figure(end) for end in (holds if isinstance(holds, tuple) else (holds,))]
            limits = about(ends[0]) if len(ends) == 1 else (ends[0], ends[1])
            options.append((self.write(said), limits, self.write(reason)))
        return sized(self.write(asked.text), value, *options)

    def close(self) -> None:
        """Refuse a figure that no words tell."""
        unused = [name for name in self.figures if name not in self.used]
        if unused:
            raise InputError(self.where, ", ".join(unused), "each figure that is computed somewhere in the words")

    def check_unused_args(self, used_args: Any, args: Any, kwargs: Any) -> None:
        """Note which figures the words tell."""
        self.used |= used_args

    def format_field(self, value: Any, format_spec: str) -> str:
        """Return a figure in its form: a length as people read it, a number by its name, or as Python does."""
        if format_spec == "both":
            return f"{length_text(value, 'm', 0)} ({length_text(value, 'ft', 0)})"
        if format_spec in self.words.names:
            names = self.words.names[format_spec]
            return self.vformat(names.get(f"{value:g}") or names["else"], (value,), self.figures)
        return str(super().format_field(value, format_spec))


def read_words() -> dict[str, LessonWords]:
    """Return the words of each lesson by its name, in the order in which they are read; a wrong file: `InputError`."""
    try:
        return TypeAdapter(dict[str, LessonWords]).validate_python(tomllib.loads(FILE.read_text(encoding="utf-8")))
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        right = {"missing": "all fields of a lesson, this one too", "extra_forbidden": "no such field"}
        where = f"{FILE.name}: {', '.join(map(str, first['loc']))}"
        raise InputError(where, first["input"], right.get(first["type"], first["msg"])) from None
    except (OSError, ValueError) as error:
        raise InputError(FILE.name, str(error), "a TOML file in UTF-8") from None


def put_together(
    name: str,
    words: LessonWords,
    knob: Number,
    figures: Mapping[str, float],
    values: tuple[float, float],
    moved: Callable[[float], tuple[Sizes, Mapping[str, float]]],
) -> Lesson:
    """Return a lesson of its words and figures.

    `values`: what the right options of the guess and of the check hold; `moved`: what comes of a setting: (width,
    lightness) of each tile, and figures.
    """

    def outcome(setting: float) -> Outcome:
        sizes, found = moved(setting)
        pen = _Pen(f"{name}, outcome", words, found)
        if len(words.tiles) != len(sizes):
            raise InputError(f"{pen.where}: tiles", words.tiles, f"words for {len(sizes)} of them")
        result = Outcome(
            tiles=tuple(Tile(pen.write(label), *size) for label, size in zip(words.tiles, sizes, strict=True)),
            figures=tuple((label, pen.figure(figure), unit) for label, figure, unit in words.figures),
            sentence=pen.write(words.sentence),
        )
        pen.close()
        return result

    pen = _Pen(name, words, figures)
    guess, check = pen.ask(words.guess, values[0]), pen.ask(words.check, values[1])
    title, why, caution = (pen.write(text) for text in (words.title, words.why, words.caution))
    pen.close()
    return Lesson(title=title, guess=guess, knob=knob, outcome=outcome, why=why, check=check, caution=caution)
