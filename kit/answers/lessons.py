"""Seven short lessons on light, for someone who never heard of a lux.

Each has a guess, something to move, a reason and a question at the end. What is right is computed by the kit, and so is
what is wrong with the other answers; only the words are written here.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.optimize import brentq

from kit.decision.payoff import projector_price
from kit.errors import InputError, number
from kit.eye.ambient import Ambient
from kit.eye.light_map import Scene, light_map
from kit.source.placement import Placement, picture_width, throw_ratio_for, wall_illuminance
from kit.source.projector import Projector
from kit.units import length_text
from kit.wall.cloth import Cloth, Hanging, hang
from kit.wall.facade import Facade, Patch, Surface

# A bare wall, a machine that gives what it states, and a quiet street: one thing at a time.
WIDTH, HEIGHT, DISTANCE, LUMENS, STREET = 12.0, 7.5, 12.0, 4000.0, 1.0
BLACK = 1500.0
BRICK, WHITE = "red brick", "white siding"


@dataclass(frozen=True, kw_only=True)
class Question:
    """A question with one right answer.

    Parameters
    ----------
    text : str
    options : tuple of str
    right : int
        Index of the right one.
    reasons : tuple of str
        For each option: why it is right, or what is wrong with it.
    """

    text: str
    options: tuple[str, ...]
    right: int
    reasons: tuple[str, ...]

    def __post_init__(self) -> None:
        if len(self.options) != len(self.reasons) or not 0 <= self.right < len(self.options):
            raise InputError("question", self.text, "a reason for each option, and a right one among them")

    def answer(self, index: int) -> str:
        """Return what is said to whoever chose an option; an index out of range: `InputError`."""
        if not 0 <= index < len(self.options):
            raise InputError("index", index, f"0 to {len(self.options) - 1}")
        reason = self.reasons[index][:1].upper() + self.reasons[index][1:]
        if index == self.right:
            return f"✓ Right. {reason}"
        return f"✗ Not quite. {reason} The answer is “{self.options[self.right]}”: {self.reasons[self.right]}"


@dataclass(frozen=True, kw_only=True)
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
class Knob:
    """What the reader moves: label, lowest, highest and first value, step, and how it is written."""

    label: str
    low: float
    high: float
    start: float
    step: float
    form: str = ".1f"


@dataclass(frozen=True, kw_only=True)
class Lesson:
    """One idea: guess, move, read why, check."""

    title: str
    guess: Question
    knob: Knob
    outcome: Callable[[float], Outcome]
    why: str
    check: Question


def all_lessons() -> tuple[Lesson, ...]:
    """Return all lessons in the order in which they are read."""
    return (_distance(), _lens(), _brick(), _street(), _eye(), _size(), _cloth())


def lesson(title: str) -> Lesson:
    """Return one lesson by its title; unknown: `InputError` with the titles there are."""
    for one in all_lessons():
        if one.title == title:
            return one
    raise InputError("lesson", title, f"one of {'; '.join(one.title for one in all_lessons())}")


def lightness(luminance: float, white: float) -> float:
    """Return how light a luminance looks beside a white, 0 to 100: CIE 1976 L*, both in cd/m2.

    ISO/CIE 11664-4, as carried by colour-science.
    """
    import colour

    above = number("white", white, above=0.0, unit="cd/m2")
    value = number("luminance", luminance, minimum=0.0, unit="cd/m2")
    return float(colour.colorimetry.lightness_CIE1976(100.0 * value / above, 100.0))


def _projector(lumens: float, ratio: float = 1.0) -> Projector:
    return Projector(
        light_output=lumens, throw_ratio=ratio, resolution=(1920, 1200), lens_shift=(0.0, 0.5),
        sequential_contrast=BLACK,
    )  # fmt: skip


def _lux(lumens: float, distance: float, ratio: float) -> float:
    """Return the light in the middle of a picture on a wall straight ahead [lx]."""
    place = Placement(position=(0.0, 0.0, distance), aim=(0.0, 0.0, 0.0))
    middle = (0.0, 0.4 * distance / ratio / 1.6, 0.0)
    return lumens * float(wall_illuminance(_projector(lumens, ratio), place, middle, (0.0, 0.0, 1.0)))


@cache
def _wall(reflectance: float, lumens: float, street: float, width: float = WIDTH) -> tuple[float, float, float]:
    """Return luminance of white and of black with the street's light [cd/m2], and contrast, on the middle of a wall."""
    surface = Surface(name="wall", reflectance=reflectance)
    half = WIDTH / 2
    outline = ((-half, 0.0, 0.0), (half, 0.0, 0.0), (half, HEIGHT, 0.0), (-half, HEIGHT, 0.0))
    place = Placement(position=(0.0, 0.0, DISTANCE), aim=(0.0, 0.0, 0.0))
    scene = Scene(
        facade=Facade((Patch("wall", outline, surface),)),
        projectors=((_projector(lumens, DISTANCE / width), place),),
        ambient=Ambient(vertical_illuminance=street),
    )
    light = light_map(scene, 0.5, extent=(-1.0, 1.0, 0.5, 1.5))
    ambient = reflectance * street / np.pi
    white, black = (float(light[f"{name}_luminance"].median()) + ambient for name in ("white", "black"))
    return white, black, float(light["contrast"].median())


def _reflectance(surface: str) -> float:
    return float(Surface.from_reference(surface).reflectance)  # type: ignore[arg-type]


def _nearest(value: float, choices: Sequence[float]) -> int:
    """Return the index of the choice nearest in ratio."""
    return int(np.argmin(np.abs(np.log(np.array(choices) / value))))


def _both(metres: float) -> str:
    return f"{length_text(metres, 'm', 0)} ({length_text(metres, 'ft', 0)})"


def _distance() -> Lesson:
    near, far = _lux(LUMENS, 6.0, 1.0), _lux(LUMENS, 12.0, 1.0)
    thirds = _lux(LUMENS, 18.0, 1.0)

    def outcome(distance: float) -> Outcome:
        width = float(picture_width(distance, 1.0))
        lux = _lux(LUMENS, distance, 1.0)
        return Outcome(
            tiles=(
                Tile(label=f"picture {_both(width)} wide", width=width / 24.0, lightness=lightness(lux, near * 2.25)),
            ),
            figures=(("picture width", width, "m"), ("light on the wall", lux, "lx")),
            sentence=f"{LUMENS:,.0f} lumens from {_both(distance)} away make a picture {_both(width)} wide, with "
            f"{lux:.0f} lux on it.",
        )

    return Lesson(
        title="Light thins out",
        guess=Question(
            text="You move a projector twice as far from the wall and leave the lens alone. How much light does each "
            "hand-sized piece of the picture get now?",
            options=("as much as before", "half as much", "a quarter"),
            right=_nearest(far / near, (1.0, 0.5, 0.25)),
            reasons=(
                "The picture has grown, and the same light is spread over more wall.",
                "The picture is twice as wide, but also twice as high.",
                f"Twice as wide and twice as high is four times the wall: {near:.0f} lux become {far:.0f}.",
            ),
        ),
        knob=Knob(label="distance (m)", low=4.0, high=24.0, start=6.0, step=1.0, form=".0f"),
        outcome=outcome,
        why="A **lumen** is an amount of light, as a litre is an amount of paint. **Lux** says how thick it lies: "
        "lumens on each square metre. The projector pours out the same paint wherever it stands; farther off it has to "
        "cover more wall.",
        check=Question(
            text=f"At 6 m the wall gets {near:.0f} lux. How much at 18 m, three times as far?",
            options=(f"{near / 3:.0f} lux", f"{near / 9:.0f} lux", f"{near / 6:.0f} lux"),
            right=_nearest(thirds, (near / 3, near / 9, near / 6)),
            reasons=(
                "That is a third: it counts the width and forgets the height.",
                "three times as wide and three times as high is nine times the wall.",
                "Width and height multiply, they do not add.",
            ),
        ),
    )


def _lens() -> Lesson:
    wide, narrow = _lux(LUMENS, 10.0, 0.5), _lux(LUMENS, 10.0, 1.0)
    needed = float(throw_ratio_for(12.0, 9.0))

    def outcome(ratio: float) -> Outcome:
        width, lux = float(picture_width(10.0, ratio)), _lux(LUMENS, 10.0, ratio)
        return Outcome(
            tiles=(
                Tile(
                    label=f"picture {_both(width)} wide", width=min(1.0, width / 24.0), lightness=lightness(lux, 600.0)
                ),
            ),
            figures=(("picture width", width, "m"), ("light on the wall", lux, "lx")),
            sentence=f"From 10 m (33 ft) away a throw ratio of {ratio:.1f} makes a picture {_both(width)} wide, with "
            f"{lux:.0f} lux.",
        )

    return Lesson(
        title="What the lens does",
        guess=Question(
            text="The box says “throw ratio 0.5” instead of 1.0. From the same place, the picture is ...",
            options=(
                "half as wide, and brighter",
                "twice as wide, and half as bright",
                "twice as wide, and much dimmer",
            ),
            right=2 if wide / narrow < 0.4 and picture_width(10.0, 0.5) > picture_width(10.0, 1.0) else 0,
            reasons=(
                "A small throw ratio is a wide lens.",
                "The width is right, but the picture is twice as high too.",
                f"twice as wide and twice as high, it spreads the light over four times the wall: {wide:.0f} instead "
                "of "
                f"{narrow:.0f} lux.",
            ),
        ),
        knob=Knob(label="throw ratio", low=0.4, high=2.0, start=1.0, step=0.1),
        outcome=outcome,
        why="**Throw ratio** is distance divided by picture width. A wide lens (a small number) lets you stand "
        "close. It "
        "does not cost light: only the size of the picture does.",
        check=Question(
            text="You want a picture 12 m wide and can stand 9 m away. Which throw ratio do you need?",
            options=("1.33", "0.75", "1.0"),
            right=_nearest(needed, (4 / 3, 0.75, 1.0)),
            reasons=(
                "That is width over distance, the wrong way round.",
                "9 m divided by 12 m.",
                "From 9 m that makes a picture only 9 m wide.",
            ),
        ),
    )


def _brick() -> Lesson:
    brick, white = _reflectance(BRICK), _reflectance(WHITE)
    on_brick, on_white = _wall(brick, LUMENS, STREET), _wall(white, LUMENS, STREET)
    same = abs(on_brick[2] / on_white[2] - 1.0) < 0.01
    ratio = on_white[0] / on_brick[0]

    def outcome(percent: float) -> Outcome:
        bright, black, contrast = _wall(percent / 100.0, LUMENS, STREET)
        top = on_white[0] / white
        return Outcome(
            tiles=(
                Tile(label="white", width=0.45, lightness=lightness(bright, top)),
                Tile(label="black", width=0.45, lightness=lightness(black, top)),
            ),
            figures=(("luminance of white", bright, "cd/m²"), ("contrast", contrast, ": 1")),
            sentence=f"A wall that sends back {percent:.0f}% of the light shows white at {bright:.1f} cd/m², and a "
            f"contrast of {contrast:.0f}:1.",
        )

    return Lesson(
        title="Why dark brick is a poor screen",
        guess=Question(
            text="The same projector lights white siding and dark brick, with the same street lamp around. On the "
            "brick "
            "the picture is dimmer. And its contrast, bright parts against dark parts?",
            options=("worse on brick", "the same on both", "better on brick, which is dark already"),
            right=1 if same else (0 if on_brick[2] < on_white[2] else 2),
            reasons=(
                f"It is {on_brick[2]:.0f}:1 on brick and {on_white[2]:.0f}:1 on siding.",
                "brick swallows the projector's light and the street's light alike, in the bright parts and in the "
                "dark.",
                "The dark parts are darker, but the bright parts are darker by as much.",
            ),
        ),
        knob=Knob(label="sent back (%)", low=5.0, high=80.0, start=round(100 * brick), step=1.0, form=".0f"),
        outcome=outcome,
        why="How bright a wall looks is its **luminance**, in candela per square metre (cd/m²). It is the light that "
        "falls on the wall times the share that the wall sends back. **Contrast** is white over black, and that "
        "share is "
        "in both: it cancels. So contrast does not tell a good wall from a bad one. Brightness does.",
        check=Question(
            text=f"Red brick sends back {brick:.0%} of the light, white siding {white:.0%}. How much dimmer is the "
            "picture on brick?",
            options=("half as bright", "about a quarter as bright", "a tenth as bright"),
            right=_nearest(ratio, (2.0, 4.0, 10.0)),
            reasons=(
                f"It is less than that: {white:.0%} is {ratio:.1f} times {brick:.0%}.",
                f"{white:.0%} is {ratio:.1f} times {brick:.0%}.",
                f"Not as bad as that: {white:.0%} is {ratio:.1f} times {brick:.0%}.",
            ),
        ),
    )


def _street() -> Lesson:
    grey = 0.5
    level = _lux(LUMENS, DISTANCE, 1.0)
    lamp = level / 10.0
    with_lamp = _wall(grey, LUMENS, lamp)[2]
    halved = _wall(grey, LUMENS, lamp / 2.0)[2] / with_lamp

    def outcome(street: float) -> Outcome:
        bright, black, contrast = _wall(grey, LUMENS, street)
        top = 1.4 * _wall(grey, LUMENS, 0.0)[0]
        return Outcome(
            tiles=(
                Tile(label="white", width=0.45, lightness=lightness(min(bright, top), top)),
                Tile(label="black", width=0.45, lightness=lightness(min(black, top), top)),
            ),
            figures=(("black looks like", black, "cd/m²"), ("contrast", contrast, ": 1")),
            sentence=f"With {street:.1f} lux from the street, contrast is {contrast:.0f}:1.",
        )

    return Lesson(
        title="A projector cannot throw black",
        guess=Question(
            text=f"The projector puts {level:.0f} lux of white on the wall. A street lamp adds {lamp:.1f} lux "
            "everywhere, a tenth. The machine's own contrast is 1500:1. What contrast do you see?",
            options=("1500:1", "about 1000:1", "about 10:1"),
            right=_nearest(with_lamp, (1500.0, 1000.0, 10.0)),
            reasons=(
                "That is in a dark room. Black on your wall is whatever the street puts there.",
                "A little light in the dark parts counts for far more than in the bright ones.",
                f"black is as bright as the lamp makes it, white is eleven times that: {with_lamp:.0f}:1.",
            ),
        ),
        knob=Knob(label="street light (lx)", low=0.0, high=20.0, start=round(lamp, 1), step=0.1),
        outcome=outcome,
        why="Where the picture is black the projector sends (almost) nothing, and you see the wall in the light of the "
        "street. The contrast on the box is measured in a dark room and tells nothing about your front. A lamp "
        "switched "
        "off does.",
        check=Question(
            text=f"A shade halves those {lamp:.1f} lux. What happens to contrast?",
            options=("it nearly doubles", "it rises by a tenth", "it stays"),
            right=_nearest(halved, (2.0, 1.1, 1.0)),
            reasons=(
                f"black gets half as bright and white hardly changes: contrast is {halved:.1f} times what it was.",
                "White loses little, but black loses half.",
                "Black loses half of its light.",
            ),
        ),
    )


def _eye() -> Lesson:
    shares = {lumens: _lux(lumens, DISTANCE, 1.0) for lumens in (2000.0, 4000.0, 16000.0)}
    top = shares[16000.0]
    seen = lightness(shares[4000.0], top) / lightness(shares[2000.0], top)
    twice = 2.0 * lightness(shares[2000.0], top)
    factor = brentq(lambda k: lightness(k * shares[2000.0], top) - twice, 1.0, 50.0)

    def outcome(lumens: float) -> Outcome:
        lux = _lux(lumens, DISTANCE, 1.0)
        base, now = lightness(shares[2000.0], top), lightness(lux, top)
        return Outcome(
            tiles=(
                Tile(label="2,000 lm", width=0.45, lightness=base),
                Tile(label=f"{lumens:,.0f} lm", width=0.45, lightness=now),
            ),
            figures=(("lumens, times 2,000", lumens / 2000.0, "times"), ("looks as light, times", now / base, "times")),
            sentence=f"{lumens / 2000.0:.1f} times the lumens look {now / base:.1f} times as light.",
        )

    return Lesson(
        title="Twice the lumens is not twice as bright",
        guess=Question(
            text="You replace 2,000 lumens by 4,000 on the same wall. To your eye the picture is ...",
            options=("hardly different", "about a third lighter", "twice as light"),
            right=_nearest(seen, (1.05, 4 / 3, 2.0)),
            reasons=(
                f"You would see it: it looks {seen:.2f} times as light.",
                f"it looks {seen:.2f} times as light.",
                "A light meter says so. The eye does not count light, it squeezes it.",
            ),
        ),
        knob=Knob(label="light output (lm)", low=1000.0, high=16000.0, start=4000.0, step=500.0, form=",.0f"),
        outcome=outcome,
        why="Eyes work from starlight to noon, so they squeeze the scale: to look twice as light something needs "
        "several "
        "times the light. (The figure here is the *lightness* that the trade calls L*; others find nearly the same.) "
        "A step from one projector class to the next is a visible step, no more.",
        check=Question(
            text="How many times the lumens of a 2,000 lumen machine does it take to look twice as light?",
            options=("2 times", "5 times", "16 times"),
            right=_nearest(factor, (2.0, 5.0, 16.0)),
            reasons=(
                f"That looks {seen:.2f} times as light.",
                f"about {factor:.1f} times.",
                f"That is more than enough: {factor:.1f} times will do.",
            ),
        ),
    )


def _size() -> Lesson:
    full, half = _lux(LUMENS, DISTANCE, 1.0), _lux(LUMENS, DISTANCE, 2.0)
    shrink = brentq(lambda s: _lux(LUMENS, DISTANCE, 1.0 / s) / full - 2.0, 0.3, 1.0)
    dear = projector_price(2.0 * LUMENS)
    own = projector_price(LUMENS)
    assert dear is not None
    assert own is not None
    costs = (dear[1], own[1], 0.0)

    def outcome(width: float) -> Outcome:
        lux = _lux(LUMENS, DISTANCE, DISTANCE / width)
        worth = LUMENS * lux / full
        price = projector_price(worth)
        money = "more than is listed" if price is None else f"about {price[1]:,.0f} USD"
        return Outcome(
            tiles=(Tile(label=f"{_both(width)} wide", width=width / WIDTH, lightness=lightness(lux, half * 2.25)),),
            figures=(("light on the wall", lux, "lx"), ("as from a full picture of", worth, "lm")),
            sentence=f"A picture {_both(width)} wide is as bright as a full one from {worth:,.0f} lumens, {money}.",
        )

    return Lesson(
        title="A smaller picture beats a dearer machine",
        guess=Question(
            text="You make the picture half as wide and half as high. How many lumens would give the full-size picture "
            "the same brightness?",
            options=("twice as many", "four times as many", "eight times as many"),
            right=_nearest(half / full, (2.0, 4.0, 8.0)),
            reasons=(
                "Half the width and half the height: both count.",
                "a quarter of the wall gets all the light.",
                "Width and height count, depth does not.",
            ),
        ),
        knob=Knob(label="picture width (m)", low=4.0, high=WIDTH, start=WIDTH, step=0.5),
        outcome=outcome,
        why="Light up the porch, the door and the windows instead of the whole front, and a small machine looks like a "
        "big one. Prices here are typical ones, from memory; they rise faster than lumens.",
        check=Question(
            text="A full-size picture from 4,000 lumens is too dim by a factor of two. Which mends it for the least "
            "money?",
            options=(
                "a machine of 8,000 lumens", "a second one of 4,000 lumens",
                f"a picture {shrink:.2f} times as wide",
            ),
            right=int(np.argmin(costs)),
            reasons=(
                f"It works, for about {costs[0]:,.0f} USD.",
                f"It works, for about {costs[1]:,.0f} USD and some trouble to line them up.",
                f"{shrink:.2f} times as wide is half the wall, so twice the light, and it costs nothing.",
            ),
        ),
    )  # fmt: skip


def _cloth() -> Lesson:
    surface = Surface.from_reference(BRICK)
    cotton = Cloth.from_reference("white cotton")

    def sent_back(layers: int) -> float:
        if layers == 0:
            return _reflectance(BRICK)
        return float(hang(cotton, surface, Hanging(layers=layers)).reflectance)  # type: ignore[arg-type]

    bare, one, two = (_wall(sent_back(n), LUMENS, STREET) for n in (0, 1, 2))
    gain = one[0] / bare[0]
    kept = one[2] / bare[2]

    def outcome(layers: float) -> Outcome:
        bright, _, contrast = _wall(sent_back(round(layers)), LUMENS, STREET)
        top = 1.2 * two[0]
        name = ("bare brick", "one layer of white cotton", "two layers", "three layers")[round(layers)]
        return Outcome(
            tiles=(
                Tile(label="bare brick", width=0.45, lightness=lightness(bare[0], top)),
                Tile(label=name, width=0.45, lightness=lightness(bright, top)),
            ),
            figures=(("luminance of white", bright, "cd/m²"), ("contrast", contrast, ": 1")),
            sentence=f"{name[:1].upper()}{name[1:]}: white of {bright:.1f} cd/m² and a contrast of {contrast:.0f}:1.",
        )

    return Lesson(
        title="What a piece of cloth is worth",
        guess=Question(
            text="You hang one layer of white cotton over red brick. The picture gets brighter, as if the projector "
            "had "
            "...",
            options=("a fifth more lumens", "between three and four times the lumens", "ten times the lumens"),
            right=_nearest(gain, (1.2, 3.5, 10.0)),
            reasons=(
                f"Much more: white is {gain:.1f} times as bright.",
                f"white is {gain:.1f} times as bright.",
                f"No cloth sends back more than it gets: white is {gain:.1f} times as bright.",
            ),
        ),
        knob=Knob(label="layers of cloth", low=0.0, high=3.0, start=1.0, step=1.0, form=".0f"),
        outcome=outcome,
        why="Cloth turns a poor screen into a good one for the price of a few bedsheets. A second layer adds little. "
        "Cloth "
        "on a house catches wind and can burn: anchoring and fire rating are matters of your local code, no way out "
        "may "
        "be covered, and mind the ladder.",
        check=Question(
            text="And the contrast against the street lamp, on the cloth?",
            options=("it falls: cloth reflects the lamp too", "it stays the same", "it rises with the brightness"),
            right=1 if abs(kept - 1.0) < 0.02 else (0 if kept < 1.0 else 2),
            reasons=(
                "Cloth reflects the lamp, and the picture by as much.",
                f"lamp and picture gain alike: {bare[2]:.0f}:1 on brick, {one[2]:.0f}:1 on cloth.",
                "White gets brighter, and so does black.",
            ),
        ),
    )
