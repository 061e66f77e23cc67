"""Seven short lessons on light, for someone who never heard of a lux.

Each has a guess, something to move, a reason and a question at the end. What is right is computed here, and so are all
figures; the words stand in `lessons.toml`. An option that states a size says there from where to where it holds; the
right one is the one that holds what was computed.
"""

import math
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from string import Formatter
from typing import Any

import numpy as np
from scipy.optimize import brentq

from kit.decision.payoff import projector_price
from kit.errors import InputError
from kit.eye.light_map import Scene, light_map
from kit.fields import DISTANCE, LIGHT_OUTPUT, THROW_RATIO, Number
from kit.light.ambient import Ambient
from kit.source.beam import Beam
from kit.source.placement import Placement, picture_width, throw_ratio_for
from kit.source.projector import Projector
from kit.units import length_text
from kit.wall.cloth import Cloth, Hanging, hang
from kit.wall.facade import Facade, Patch, Surface
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


# A bare wall, a machine that gives what it states, and a quiet street: one thing at a time.
WIDTH, HEIGHT, AWAY, LUMENS, STREET = 12.0, 7.5, 12.0, 4000.0, 1.0
BLACK = 1500.0
BRICK, WHITE = "red brick", "white siding"

# Of a lesson: its knob, the figures in its questions, the values that the right options of guess and check hold, and
# what comes of a setting of the knob.
Moved = tuple[Sizes, Mapping[str, float]]
Computed = tuple[Number, Mapping[str, float], tuple[float, float], Callable[[float], Moved]]


def all_lessons() -> tuple[Lesson, ...]:
    """Return all lessons in the order in which they are read."""
    return tuple(put_together(told, *LESSONS[name]()) for name, told in read_words().items())


def lesson(title: str) -> Lesson:
    """Return one lesson by its title; unknown: `InputError` with the titles there are."""
    lessons = {one.title: one for one in all_lessons()}
    if title not in lessons:
        raise InputError("lesson", title, f"one of {'; '.join(lessons)}")
    return lessons[title]


def lightness(luminance: float, white: float) -> float:
    """Return how light a luminance looks beside a white, 0 to 100: CIE 1976 L*, both in cd/m2.

    ISO/CIE 11664-4, as carried by colour-science.
    """
    import colour

    return float(colour.colorimetry.lightness_CIE1976(100.0 * luminance / white, 100.0))


def _machine(lumens: float, distance: float, ratio: float) -> tuple[Projector, Placement]:
    projector = Projector(light_output=lumens, throw_ratio=ratio, lens_shift=(0.0, 0.5), sequential_contrast=BLACK)
    return projector, Placement(position=(0.0, 0.0, distance), aim=(0.0, 0.0, 0.0))


def _lux(lumens: float, distance: float, ratio: float) -> float:
    """Return the light in the middle of a picture on a wall straight ahead [lx]."""
    projector, place = _machine(lumens, distance, ratio)
    middle = (0.0, 0.4 * distance / ratio / projector.aspect, 0.0)
    return lumens * float(Beam.of(projector, place).illuminance(middle, (0.0, 0.0, 1.0)))


@cache
def _wall(reflectance: float, lumens: float, street: float) -> tuple[float, float, float]:
    """Return luminance of white and of black with the street's light [cd/m2], and contrast, on the middle of a wall."""
    surface = Surface(name="wall", reflectance=reflectance)
    half = WIDTH / 2
    outline = ((-half, 0.0, 0.0), (half, 0.0, 0.0), (half, HEIGHT, 0.0), (-half, HEIGHT, 0.0))
    scene = Scene(
        facade=Facade((Patch("wall", outline, surface),)),
        projectors=(_machine(lumens, AWAY, AWAY / WIDTH),),
        ambient=Ambient(vertical_illuminance=street),
    )
    light = light_map(scene, 0.5, extent=(-1.0, 1.0, 0.5, 1.5))
    around = reflectance * street / np.pi
    white, black = (float(light[f"{name}_luminance"].median()) + around for name in ("white", "black"))
    return white, black, float(light["contrast"].median())


def _two(one: float, other: float, top: float) -> Sizes:
    """Return two tiles of so much luminance beside a white of `top` [cd/m2]."""
    return tuple((0.45, lightness(min(value, top), top)) for value in (one, other))


def _wide(width: float, light: float) -> Sizes:
    """Return the tile of a picture of so many metres."""
    return ((min(1.0, width / 24.0), light),)


def _reflectance(surface: str) -> float:
    return float(Surface.from_reference(surface).reflectance)


def _distance() -> Computed:
    near, far, thirds = (_lux(LUMENS, distance, 1.0) for distance in (6.0, 12.0, 18.0))

    def moved(distance: float) -> Moved:
        width, lux = float(picture_width(distance, 1.0)), _lux(LUMENS, distance, 1.0)
        told = {"lumens": LUMENS, "away": distance, "width": width, "lux": lux}
        return _wide(width, lightness(lux, near * 2.25)), told

    figures = {"near": near, "far": far, "third": near / 3, "sixth": near / 6, "ninth": near / 9}
    return DISTANCE.but(default=6.0, steps=(4.0, 24.0, 1.0)), figures, (far / near, thirds), moved


def _lens() -> Computed:
    wide, narrow = _lux(LUMENS, 10.0, 0.5), _lux(LUMENS, 10.0, 1.0)
    wider = float(picture_width(10.0, 0.5) / picture_width(10.0, 1.0))

    def moved(ratio: float) -> Moved:
        width, lux = float(picture_width(10.0, ratio)), _lux(LUMENS, 10.0, ratio)
        return _wide(width, lightness(lux, 600.0)), {"ratio": ratio, "width": width, "lux": lux}

    # What becomes wider makes the picture dimmer: one number for both.
    values = wider * wide / narrow, float(throw_ratio_for(12.0, 9.0))
    return THROW_RATIO.but(default=1.0, steps=(0.4, 2.0, 0.1)), {"wide": wide, "narrow": narrow}, values, moved


def _brick() -> Computed:
    brick, white = _reflectance(BRICK), _reflectance(WHITE)
    on_brick, on_white = _wall(brick, LUMENS, STREET), _wall(white, LUMENS, STREET)
    ratio = on_white[0] / on_brick[0]
    part = round(ratio)

    def moved(percent: float) -> Moved:
        bright, black, contrast = _wall(percent / 100.0, LUMENS, STREET)
        told = {"percent": percent, "bright": bright, "contrast": contrast}
        return _two(bright, black, on_white[0] / white), told

    knob = Number(label="sent back (%)", default=round(100 * brick), steps=(5.0, 80.0, 1.0))
    figures = {"brick": brick, "white": white, "on_brick": on_brick[2], "on_white": on_white[2], "ratio": ratio}
    figures |= {"part": part, "least": part - 0.5, "most": part + 0.5}
    return knob, figures, (on_brick[2] / on_white[2], ratio), moved


def _street() -> Computed:
    grey = 0.5
    level = _lux(LUMENS, AWAY, 1.0)
    lamp = level / 10.0
    with_lamp = _wall(grey, LUMENS, lamp)[2]
    halved = _wall(grey, LUMENS, lamp / 2.0)[2] / with_lamp

    def moved(street: float) -> Moved:
        bright, black, contrast = _wall(grey, LUMENS, street)
        told = {"street": street, "black": black, "contrast": contrast}
        return _two(bright, black, 1.4 * _wall(grey, LUMENS, 0.0)[0]), told

    knob = Number(label="street light", unit="lx", default=round(lamp, 1), steps=(0.0, 20.0, 0.1))
    figures = {"level": level, "lamp": lamp, "contrast": with_lamp, "halved": halved}
    return knob, figures, (with_lamp, halved), moved


def _eye() -> Computed:
    base, double, top = (_lux(lumens, AWAY, 1.0) for lumens in (2000.0, 4000.0, 16000.0))
    seen = lightness(double, top) / lightness(base, top)
    twice = 2.0 * lightness(base, top)
    factor = brentq(lambda k: lightness(k * base, top) - twice, 1.0, 50.0)

    def moved(lumens: float) -> Moved:
        lux = _lux(lumens, AWAY, 1.0)
        times = lightness(lux, top) / lightness(base, top)
        return _two(base, lux, top), {"lumens": lumens, "more": lumens / 2000.0, "times": times}

    knob = LIGHT_OUTPUT.but(label="light output", default=4000.0, steps=(1000.0, 16000.0, 500.0))
    return knob, {"seen": seen, "factor": factor}, (seen, factor), moved


def _size() -> Computed:
    full, half = _lux(LUMENS, AWAY, 1.0), _lux(LUMENS, AWAY, 2.0)
    shrink = brentq(lambda s: _lux(LUMENS, AWAY, 1.0 / s) / full - 2.0, 0.3, 1.0)

    def price(lumens: float) -> float:
        found = projector_price(lumens)
        return math.inf if found is None else found[1]

    def moved(width: float) -> Moved:
        lux = _lux(LUMENS, AWAY, AWAY / width)
        worth = LUMENS * lux / full
        told = {"width": width, "lux": lux, "worth": worth, "cost": price(worth)}
        return ((width / WIDTH, lightness(lux, half * 2.25)),), told

    knob = Number(label="picture width", unit="m", default=WIDTH, steps=(4.0, WIDTH, 0.5))
    dear, own = price(2.0 * LUMENS), price(LUMENS)
    figures = {"dear": dear, "own": own, "shrink": shrink}
    return knob, figures, (half / full, float(np.argmin((dear, own, 0.0)))), moved


def _cloth() -> Computed:
    surface, cotton = Surface.from_reference(BRICK), Cloth.from_reference("white cotton")

    def sent_back(layers: int) -> float:
        return float((hang(cotton, surface, Hanging(layers=layers)) if layers else surface).reflectance)

    bare, one, two = (_wall(sent_back(layers), LUMENS, STREET) for layers in (0, 1, 2))
    gain, kept = one[0] / bare[0], one[2] / bare[2]
    less = math.floor(gain)

    def moved(layers: float) -> Moved:
        bright, _, contrast = _wall(sent_back(round(layers)), LUMENS, STREET)
        return _two(bare[0], bright, 1.2 * two[0]), {"layers": round(layers), "bright": bright, "contrast": contrast}

    knob = Number(label="layers of cloth", default=1, whole=True, steps=(0.0, 3.0, 1.0))
    figures = {"gain": gain, "less": less, "more": less + 1, "bare": bare[2], "one": one[2]}
    return knob, figures, (gain, kept), moved


LESSONS: dict[str, Callable[[], Computed]] = {
    "distance": _distance, "lens": _lens, "brick": _brick, "street": _street, "eye": _eye, "size": _size,
    "cloth": _cloth,
}  # fmt: skip
