"""Numbers, lists and sentences as people read them: the one place where the kit rounds for words."""

import math
import tomllib
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from string import Formatter
from typing import Any

from kit.units import edge, length_text


def short(value: float, digits: int = 2, to: Callable[[float], int] = round) -> str:
    """Return a figure with so many significant digits, rounded by `to`; without end: "unlimited", no figure: "-"."""
    if not math.isfinite(value):
        return "-" if math.isnan(value) else "unlimited"
    if value == 0:
        return "0"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    rounded = to(round(value * 10.0**places, 6)) / 10.0**places
    # Once more: 9.96 is rounded to 10, which has a digit more in front.
    places = digits - 1 - math.floor(math.log10(abs(rounded)))
    return f"{rounded:,.{max(0, places)}f}"


def plain(value: float, digits: int = 0) -> str:
    """Return a figure with `digits` decimals, never as minus nought."""
    return f"{round(value, digits) + 0.0:,.{digits}f}" if math.isfinite(value) else short(value)


def percent(share: float) -> str:
    """Return a share as a whole percentage; a little that is there is never "0%", nor nearly all "100%"."""
    if not math.isfinite(share):
        return short(share)
    whole = plain(100.0 * share)
    if whole == "0" and share > 0.0:
        return "less than 1%"
    if whole == "100" and share < 1.0:
        return "nearly all"
    return f"{whole}%"


def shares(parts: Sequence[float]) -> list[str]:
    """Return shares of a whole, all of it, as percentages that sum to 100: by the largest remainders; see `percent`."""
    whole = [math.floor(100.0 * part) for part in parts]
    order = sorted(range(len(parts)), key=lambda k: whole[k] - 100.0 * parts[k])
    for k in order[: round(100.0 * sum(parts)) - sum(whole)]:
        whole[k] += 1
    return [percent({0: min(p, 0.004), 100: max(p, 0.996)}.get(n, n / 100)) for n, p in zip(whole, parts, strict=True)]


def band(low: float, middle: float, high: float, digits: int = 2) -> str:
    """Return a figure with its band: ``"2.0 (1.4 to 2.8)"``."""
    return f"{short(middle, digits)} ({short(low, digits)} to {short(high, digits)})"


def join(items: Sequence[str], word: str = "and") -> str:
    """Return items as a list in a sentence: ``"a, b and c"``."""
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} {word} {items[-1]}"


def the(name: str) -> str:
    """Return a name with its article, as in a sentence: "the siding", but "our brick"."""
    return name if name.split(" ")[0].lower() in ("the", "our", "my", "your", "their") else f"the {name}"


def capital(sentence: str) -> str:
    """Return a sentence with its first letter large, the rest as it is."""
    return sentence[:1].upper() + sentence[1:]


def compass(direction: float) -> str:
    """Return a direction from north clockwise [deg] in words: ``"south-west"``."""
    names = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
    return names[round(direction / 45.0) % 8]


def chances(chance: float) -> str:
    """Return a probability in tenths: ``"8 chances in 10"``; never none or all of them."""
    tenths = round(10.0 * chance)
    if tenths in (0, 10):
        return f"{'fewer than 1 chance' if tenths == 0 else 'more than 9 chances'} in 10"
    return f"{tenths} chance{'s' if tenths > 1 else ''} in 10"


def measured(unit: str, units: str, value: float, digits: int = 0) -> str:
    """Return a figure in SI with its unit as `units` have it: ``"258 sq ft"``."""
    sign, size = edge(unit, units)
    return f"{plain(value / size, digits)} {sign}"


class _Speaker(Formatter):
    def __init__(self, units: str) -> None:
        edge("m", units)
        self.ways: dict[str, Callable[..., str]] = {way.__name__: way for way in (short, plain, percent, capital, the)}
        self.ways |= {"compass": compass, "chances": chances, "band": lambda it: band(it.low, it.median, it.high)}
        self.ways["length"] = lambda metres, digits=1: length_text(metres, units, digits)
        self.ways |= {unit: partial(measured, unit, units) for unit in ("m2", "kg", "m/s", "N")}

    def format_field(self, value: Any, format_spec: str) -> str:
        way, *digits = format_spec.split() or [""]
        return self.ways[way](value, *map(int, digits)) if way in self.ways else format(value, format_spec)


class Phrases:
    """The sentences of a room, from a TOML file of its name: ``say("far", units, away=9)`` says one.

    A field in braces may end in how it is said, by a function of this module and its digits: ``{share:percent}``,
    ``{tilt:plain 1}``, ``{part.contrast:band}``; ``{away:length 0}`` is a length in `units`, ``{area:m2}`` an area.
    """

    def __init__(self, room: str) -> None:
        self.told: dict[str, str] = tomllib.loads(Path(room).with_suffix(".toml").read_text(encoding="utf-8"))

    def __call__(self, name: str, units: str = "m", **fields: Any) -> str:
        """Return the sentence called `name`."""
        return _Speaker(units).vformat(self.told[name], (), fields)
