"""Seven short lessons on light, for someone who never heard of a lux.

Each has a guess, something to move, a reason and a question at the end. What is right is computed by the kit, and so is
what is wrong with the other answers; only the words are written here. An option that states a size says from where to
where it holds; the right one is the one that holds what was computed.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.optimize import brentq

from kit.decision.payoff import projector_price
from kit.errors import InputError
from kit.eye.light_map import Scene, light_map
from kit.fields import DISTANCE, LIGHT_OUTPUT, THROW_RATIO, Declared, Is, Many, Number, Text, declared
from kit.light.ambient import Ambient
from kit.source.beam import Beam
from kit.source.placement import Placement, picture_width, throw_ratio_for
from kit.source.projector import Projector
from kit.units import length_text
from kit.wall.cloth import Cloth, Hanging, hang
from kit.wall.facade import Facade, Patch, Surface
from kit.words import capital

# A bare wall, a machine that gives what it states, and a quiet street: one thing at a time.
WIDTH, HEIGHT, AWAY, LUMENS, STREET = 12.0, 7.5, 12.0, 4000.0, 1.0
BLACK = 1500.0
BRICK, WHITE = "red brick", "white siding"

WORDS = Text()


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
class Lesson(Declared):
    """One idea: guess, move, read why, check."""

    thing = "lesson"
    title: str = declared(WORDS)
    guess: Question = declared(Is(kind=Question))
    knob: Number = declared(Is(kind=Number))
    outcome: Callable[[float], Outcome]
    why: str = declared(WORDS)
    check: Question = declared(Is(kind=Question))
    caution: str = declared(WORDS.but(empty=True), default="")


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

    above = Number(unit="cd/m²", above=0.0).check("white", white)
    value = Number(unit="cd/m²", low=0.0).check("luminance", luminance)
    return float(colour.colorimetry.lightness_CIE1976(100.0 * value / above, 100.0))


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


def _two(one: float, other: float, top: float, names: tuple[str, str] = ("white", "black")) -> tuple[Tile, Tile]:
    """Return two tiles of so much luminance beside a white of `top` [cd/m2]."""
    first, second = (
        Tile(label=name, width=0.45, lightness=lightness(min(value, top), top))
        for name, value in zip(names, (one, other), strict=True)
    )
    return first, second


def _reflectance(surface: str) -> float:
    return float(Surface.from_reference(surface).reflectance)


def _tile(width: float, light: float) -> Tile:
    return Tile(label=f"picture {_both(width)} wide", width=min(1.0, width / 24.0), lightness=light)


def _both(metres: float) -> str:
    return f"{length_text(metres, 'm', 0)} ({length_text(metres, 'ft', 0)})"


def _distance() -> Lesson:
    near, far, thirds = (_lux(LUMENS, distance, 1.0) for distance in (6.0, 12.0, 18.0))

    def outcome(distance: float) -> Outcome:
        width = float(picture_width(distance, 1.0))
        lux = _lux(LUMENS, distance, 1.0)
        return Outcome(
            tiles=(_tile(width, lightness(lux, near * 2.25)),),
            figures=(("picture width", width, "m"), ("light on the wall", lux, "lx")),
            sentence=f"{LUMENS:,.0f} lumens from {_both(distance)} away make a picture {_both(width)} wide, with "
            f"{lux:.0f} lux on it.",
        )

    return Lesson(
        title="Light thins out",
        guess=sized(
            "You move a projector twice as far from the wall and leave the lens alone. How much light does each "
            "hand-sized piece of the picture get now?",
            far / near,
            ("as much as before", about(1.0), "The picture has grown, and the same light is spread over more wall."),
            ("half as much", about(0.5), "The picture is twice as wide, but also twice as high."),
            (
                "a quarter",
                about(0.25),
                f"Twice as wide and as high, four times the wall: {near:.0f} lux become {far:.0f}.",
            ),
        ),
        knob=DISTANCE.but(default=6.0, steps=(4.0, 24.0, 1.0)),
        outcome=outcome,
        why="A **lumen** is an amount of light, as a litre is an amount of paint. **Lux** says how thick it lies: "
        "lumens on each square metre. The projector pours out the same paint wherever it stands; farther off it has to "
        "cover more wall.",
        caution="Never look into the lens, and let no child do it: light that lies thin on the wall leaves the lens as "
        "a small and very bright spot. Keep it out of the eyes of drivers and pilots.",
        check=sized(
            f"At 6 m the wall gets {near:.0f} lux. How much at 18 m, three times as far?",
            thirds,
            (f"{near / 3:.0f} lux", about(near / 3), "That is a third: it counts the width and forgets the height."),
            (f"{near / 9:.0f} lux", about(near / 9), "three times as wide and as high: nine times the wall."),
            (f"{near / 6:.0f} lux", about(near / 6), "Width and height multiply, they do not add."),
        ),
    )


def _lens() -> Lesson:
    wide, narrow = _lux(LUMENS, 10.0, 0.5), _lux(LUMENS, 10.0, 1.0)
    wider = float(picture_width(10.0, 0.5) / picture_width(10.0, 1.0))

    def outcome(ratio: float) -> Outcome:
        width, lux = float(picture_width(10.0, ratio)), _lux(LUMENS, 10.0, ratio)
        return Outcome(
            tiles=(_tile(width, lightness(lux, 600.0)),),
            figures=(("picture width", width, "m"), ("light on the wall", lux, "lx")),
            sentence=f"From 10 m (33 ft) away a throw ratio of {ratio:.1f} makes a picture {_both(width)} wide, with "
            f"{lux:.0f} lux.",
        )

    return Lesson(
        title="What the lens does",
        guess=sized(
            "The box says “throw ratio 0.5” instead of 1.0. From the same place, the picture is ...",
            # What becomes wider makes the picture dimmer: one number for both.
            wider * wide / narrow,
            ("half as wide, and brighter", about(2.0), "A small throw ratio is a wide lens."),
            ("twice as wide, and half as bright", about(1.0), "The width is right, but it is twice as high too."),
            (
                "twice as wide, and much dimmer",
                about(0.5),
                f"on four times the wall {narrow:.0f} lux become {wide:.0f}.",
            ),
        ),
        knob=THROW_RATIO.but(default=1.0, steps=(0.4, 2.0, 0.1)),
        outcome=outcome,
        why="**Throw ratio** is distance divided by picture width. A wide lens (a small number) lets you stand close. "
        "It does not cost light: only the size of the picture does.",
        check=sized(
            "You want a picture 12 m wide and can stand 9 m away. Which throw ratio do you need?",
            float(throw_ratio_for(12.0, 9.0)),
            ("1.33", about(4 / 3, 0.01), "That is width over distance, the wrong way round."),
            ("0.75", about(0.75, 0.01), "9 m divided by 12 m."),
            ("1.0", about(1.0, 0.01), "From 9 m that makes a picture only 9 m wide."),
        ),
    )


def _brick() -> Lesson:
    brick, white = _reflectance(BRICK), _reflectance(WHITE)
    on_brick, on_white = _wall(brick, LUMENS, STREET), _wall(white, LUMENS, STREET)
    ratio = on_white[0] / on_brick[0]
    parts = {3: "a third", 4: "a quarter", 5: "a fifth", 6: "a sixth"}
    part = round(ratio)
    bright = f"about {parts.get(part, f'1/{part}')} as bright"

    def outcome(percent: float) -> Outcome:
        bright, black, contrast = _wall(percent / 100.0, LUMENS, STREET)
        return Outcome(
            tiles=_two(bright, black, on_white[0] / white),
            figures=(("luminance of white", bright, "cd/m²"), ("contrast", contrast, ": 1")),
            sentence=f"A wall that sends back {percent:.0f}% of the light shows white at {bright:.1f} cd/m², and a "
            f"contrast of {contrast:.0f}:1.",
        )

    return Lesson(
        title="Why dark brick is a poor screen",
        guess=sized(
            "The same projector lights white siding and dark brick, with the same street lamp around. On the brick the "
            "picture is dimmer. And its contrast, bright parts against dark parts?",
            on_brick[2] / on_white[2],
            ("worse on brick", (0.0, 0.9), f"It is {on_brick[2]:.0f}:1 on brick and {on_white[2]:.0f}:1 on siding."),
            ("the same on both", about(1.0, 0.01), "brick swallows the light of projector and street alike."),
            ("better on brick, which is dark already", (1.1, math.inf), "What is dark is darker, what is bright too."),
        ),
        knob=Number(label="sent back (%)", default=round(100 * brick), steps=(5.0, 80.0, 1.0)),
        outcome=outcome,
        why="How bright a wall looks is its **luminance**, in candela per square metre (cd/m²). It is the light that "
        "falls on the wall times the share that the wall sends back. **Contrast** is white over black, and that share "
        "is in both: it cancels. So contrast does not tell a good wall from a bad one. Brightness does.",
        check=sized(
            f"Red brick sends back {brick:.0%} of the light, white siding {white:.0%}. How bright is the picture on "
            "brick, beside the one on siding?",
            ratio,
            ("half as bright", about(2.0), f"It is less than that: {white:.0%} is {ratio:.1f} times {brick:.0%}."),
            (bright, (part - 0.5, part + 0.5), f"{white:.0%} is {ratio:.1f} times {brick:.0%}."),
            ("a tenth as bright", about(10.0), f"Not as bad as that: {white:.0%} is {ratio:.1f} times {brick:.0%}."),
        ),
    )


def _street() -> Lesson:
    grey = 0.5
    level = _lux(LUMENS, AWAY, 1.0)
    lamp = level / 10.0
    with_lamp = _wall(grey, LUMENS, lamp)[2]
    halved = _wall(grey, LUMENS, lamp / 2.0)[2] / with_lamp

    def outcome(street: float) -> Outcome:
        bright, black, contrast = _wall(grey, LUMENS, street)
        return Outcome(
            tiles=_two(bright, black, 1.4 * _wall(grey, LUMENS, 0.0)[0]),
            figures=(("black looks like", black, "cd/m²"), ("contrast", contrast, ": 1")),
            sentence=f"With {street:.1f} lux from the street, contrast is {contrast:.0f}:1.",
        )

    return Lesson(
        title="A projector cannot throw black",
        guess=sized(
            f"The projector puts {level:.0f} lux of white on the wall. A street lamp adds {lamp:.1f} lux everywhere, a "
            "tenth. The machine's own contrast is 1500:1. What contrast do you see?",
            with_lamp,
            ("1500:1", about(1500.0), "That is in a dark room. Black on your wall is whatever the street puts there."),
            ("about 1000:1", about(1000.0, 0.2), "A little light counts for far more in the dark parts."),
            (
                "about 10:1",
                about(10.0, 0.2),
                f"black is what the lamp makes it, white eleven times that: {with_lamp:.0f}:1.",
            ),
        ),
        knob=Number(label="street light", unit="lx", default=round(lamp, 1), steps=(0.0, 20.0, 0.1)),
        outcome=outcome,
        why="Where the picture is black the projector sends (almost) nothing, and you see the wall in the light of the "
        "street. The contrast on the box is measured in a dark room and tells nothing about your front. A lamp "
        "of yours switched off does.",
        caution="Steps, paths and ways out stay lit. A street lamp is the town's to change. A shade must let a lamp's "
        "heat out. Measure with the machine off, and never face its lens.",
        check=sized(
            f"A shade halves those {lamp:.1f} lux. What happens to contrast?",
            halved,
            ("it nearly doubles", (1.7, 2.0), f"black halves, white hardly changes: {halved:.1f} times the contrast."),
            ("it rises by a tenth", about(1.1, 0.05), "White loses little, but black loses half."),
            ("it stays", about(1.0, 0.02), "Black loses half of its light."),
        ),
    )


def _eye() -> Lesson:
    shares = {lumens: _lux(lumens, AWAY, 1.0) for lumens in (2000.0, 4000.0, 16000.0)}
    top, base = shares[16000.0], shares[2000.0]
    seen = lightness(shares[4000.0], top) / lightness(base, top)
    twice = 2.0 * lightness(base, top)
    factor = brentq(lambda k: lightness(k * base, top) - twice, 1.0, 50.0)

    def outcome(lumens: float) -> Outcome:
        lux = _lux(lumens, AWAY, 1.0)
        times = lightness(lux, top) / lightness(base, top)
        return Outcome(
            tiles=_two(base, lux, top, ("2,000 lm", f"{lumens:,.0f} lm")),
            figures=(("lumens, times 2,000", lumens / 2000.0, "times"), ("looks as light, times", times, "times")),
            sentence=f"{lumens / 2000.0:.1f} times the lumens look {times:.1f} times as light.",
        )

    return Lesson(
        title="Twice the lumens is not twice as bright",
        guess=sized(
            "You replace 2,000 lumens by 4,000 on the same wall. To your eye the picture is ...",
            seen,
            ("hardly different", (1.0, 1.1), f"You would see it: it looks {seen:.2f} times as light."),
            ("about a third lighter", about(4 / 3, 0.08), f"it looks {seen:.2f} times as light."),
            ("twice as light", about(2.0), "A light meter says so. The eye does not count light, it squeezes it."),
        ),
        knob=LIGHT_OUTPUT.but(label="light output", default=4000.0, steps=(1000.0, 16000.0, 500.0)),
        outcome=outcome,
        why="Eyes work from starlight to noon, so they squeeze the scale: to look twice as light something needs "
        "several times the light. (The figure here is the *lightness* that the trade calls L*; others find nearly "
        "the same.) A step from one projector class to the next is a visible step, no more.",
        check=sized(
            "How many times the lumens of a 2,000 lumen machine does it take to look twice as light?",
            factor,
            ("2 times", about(2.0), f"That looks {seen:.2f} times as light."),
            ("5 times", about(5.0), f"about {factor:.1f} times."),
            ("16 times", about(16.0), f"That is more than enough: {factor:.1f} times will do."),
        ),
    )


def _size() -> Lesson:
    full, half = _lux(LUMENS, AWAY, 1.0), _lux(LUMENS, AWAY, 2.0)
    shrink = brentq(lambda s: _lux(LUMENS, AWAY, 1.0 / s) / full - 2.0, 0.3, 1.0)

    def price(lumens: float) -> float | None:
        found = projector_price(lumens)
        return None if found is None else found[1]

    dear, own = price(2.0 * LUMENS), price(LUMENS)
    assert dear is not None
    assert own is not None
    costs = (dear, own, 0.0)

    def outcome(width: float) -> Outcome:
        lux = _lux(LUMENS, AWAY, AWAY / width)
        worth = LUMENS * lux / full
        cost = price(worth)
        money = "more than is listed" if cost is None else f"about {cost:,.0f} USD"
        return Outcome(
            tiles=(Tile(label=f"{_both(width)} wide", width=width / WIDTH, lightness=lightness(lux, half * 2.25)),),
            figures=(("light on the wall", lux, "lx"), ("as from a full picture of", worth, "lm")),
            sentence=f"A picture {_both(width)} wide is as bright as a full one from {worth:,.0f} lumens, {money}.",
        )

    return Lesson(
        title="A smaller picture beats a dearer machine",
        guess=sized(
            "You make the picture half as wide and half as high. How many lumens would give the full-size picture the "
            "same brightness?",
            half / full,
            ("twice as many", about(2.0), "Half the width and half the height: both count."),
            ("four times as many", about(4.0), "a quarter of the wall gets all the light."),
            ("eight times as many", about(8.0), "Width and height count, depth does not."),
        ),
        knob=Number(label="picture width", unit="m", default=WIDTH, steps=(4.0, WIDTH, 0.5)),
        outcome=outcome,
        why="Light up the porch, the door and the windows instead of the whole front, and a small machine looks like a "
        "big one. Prices here are typical ones, from memory; they rise faster than lumens.",
        caution="Two machines on one another need a rack that bears their weight, is secured, and leaves vents free.",
        check=Question(
            text="A full-size picture from 4,000 lumens is too dim by a factor of two. Which mends it for the least "
            "money?",
            options=(
                "a machine of 8,000 lumens",
                "a second one of 4,000 lumens",
                f"a picture {shrink:.2f} times as wide",
            ),
            right=int(np.argmin(costs)),
            reasons=(
                f"It works, for about {costs[0]:,.0f} USD.",
                f"It works, for about {costs[1]:,.0f} USD and some trouble to line them up.",
                f"{shrink:.2f} times as wide is half the wall, so twice the light, and it costs nothing.",
            ),
        ),
    )


def _cloth() -> Lesson:
    surface, cotton = Surface.from_reference(BRICK), Cloth.from_reference("white cotton")

    def sent_back(layers: int) -> float:
        return float((hang(cotton, surface, Hanging(layers=layers)) if layers else surface).reflectance)

    bare, one, two = (_wall(sent_back(layers), LUMENS, STREET) for layers in (0, 1, 2))
    gain, kept = one[0] / bare[0], one[2] / bare[2]
    numbers = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
    less = math.floor(gain)
    more = f"between {numbers[less]} and {numbers[less + 1]} times the lumens"

    def outcome(layers: float) -> Outcome:
        bright, _, contrast = _wall(sent_back(round(layers)), LUMENS, STREET)
        name = ("bare brick", "one layer of white cotton", "two layers", "three layers")[round(layers)]
        return Outcome(
            tiles=_two(bare[0], bright, 1.2 * two[0], ("bare brick", name)),
            figures=(("luminance of white", bright, "cd/m²"), ("contrast", contrast, ": 1")),
            sentence=f"{capital(name)}: white of {bright:.1f} cd/m² and a contrast of {contrast:.0f}:1.",
        )

    return Lesson(
        title="What a piece of cloth is worth",
        guess=sized(
            "You hang one layer of white cotton over red brick. The picture gets brighter, as if the projector had ...",
            gain,
            ("a fifth more lumens", about(1.2), f"Much more: white is {gain:.1f} times as bright."),
            (more, (less, less + 1.0), f"white is {gain:.1f} times as bright."),
            ("ten times the lumens", about(10.0, 0.05), f"No cloth gives more than it gets: {gain:.1f} times."),
        ),
        knob=Number(label="layers of cloth", default=1, whole=True, steps=(0.0, 3.0, 1.0)),
        outcome=outcome,
        why="Cloth turns a poor screen into a good one for the price of a few bedsheets. A second layer adds little.",
        caution="Cloth on a house catches wind and can burn: anchoring and fire rating are matters of your local code, "
        "no way out may be covered, and mind the ladder.",
        check=sized(
            "And the contrast against the street lamp, on the cloth?",
            kept,
            ("it falls: cloth reflects the lamp too", (0.0, 0.9), "It reflects the picture as well, by as much."),
            (
                "it stays the same",
                about(1.0, 0.02),
                f"lamp and picture gain alike: {bare[2]:.0f}:1 and {one[2]:.0f}:1.",
            ),
            ("it rises with the brightness", (1.1, math.inf), "White gets brighter, and so does black."),
        ),
    )
