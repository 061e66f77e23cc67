"""A ladder beside the bar: where each surface lands among published levels, in words a neighbour knows."""

import math
from dataclasses import dataclass

from kit import reference
from kit.decision.verdict import BANDED, Target, Verdict
from kit.results import Frame, Result, banded, make_frame
from kit.source.projector import Levels
from kit.words import capital

WHITE, CONTRAST = "white", "contrast"


def rungs(group: str) -> tuple[reference.Row, ...]:
    """Return the rungs of ``"white"`` [cd/m2] or ``"contrast"``, the lowest first."""
    return tuple(sorted((r for r in reference.table("ladder") if r.group == group), key=lambda r: r.value))


def rung_target(white: str, contrast: str = "a picture that can be followed", **others: float) -> Target:
    """Return the target that rungs of the ladder set, by their names; `others`: share and confidence.

    A level of a lit wall is a mean, and is asked of the picture's white: its mean is that times its average level.
    """
    levels = {"white_luminance": (WHITE, white), "contrast": (CONTRAST, contrast)}
    found = {name: reference.value("ladder", rung, group=group) for name, (group, rung) in levels.items()}
    return Target(**found, **others)


def landing(group: str, low: float, middle: float, high: float) -> str:
    """Return where a figure with its band lands on a ladder, in words; NaN: not lit."""
    if math.isnan(middle):
        return "not lit"
    steps = rungs(group)
    near = min(steps, key=lambda rung: max(rung.value, middle) / max(min(rung.value, middle), 1e-9))
    if low <= near.value <= high:
        return f"like {near.name}"
    below, above = [r.name for r in steps if r.value <= middle], [r.name for r in steps if r.value > middle]
    if below and above:
        return f"between {below[-1]} and {above[0]}"
    less, more = ("dimmer", "brighter") if group == WHITE else ("less", "more")
    return f"{more} than {below[-1]}" if below else f"{less} than {above[0]}"


@dataclass(frozen=True, kw_only=True)
class Ladder(Result):
    """Where each surface of a front lands: `levels` by name, low, nominal and high of white [cd/m2], of contrast."""

    levels: dict[str, tuple[Levels, Levels]]

    def frame(self, units: str = "m") -> Frame:
        """Return a row for each surface: figures, the middle 90%, and words."""
        rows = [
            {"part": name}
            | {key: value for k, of in enumerate(BANDED) for key, value in banded(of, both[k]).items()}
            | {f"{group} is": landing(group, *one) for group, one in zip((WHITE, CONTRAST), both, strict=True)}
            for name, both in self.levels.items()
        ]
        return make_frame(rows, dict.fromkeys(BANDED, "band"), index="part")

    def sentence(self, units: str = "m") -> str:
        """Return where each surface lands, in words."""
        told = [f"{capital(name)}: {landing(WHITE, *white)}." for name, (white, _) in self.levels.items()]
        return f"{' '.join(told)} Of what is floodlit the mean is told: that of a picture is below its white."


def ladder(verdict: Verdict) -> Ladder:
    """Return where each surface of a verdict lands on the ladder of ``reference_data/ladder.csv``."""
    dark: Levels = (math.nan,) * 3
    both = {part.name: (part.white_luminance, part.contrast) for part in verdict.surfaces}
    levels = {name: [dark if f is None else (f.low, f.median, f.high) for f in found] for name, found in both.items()}
    return Ladder(levels={name: (white, contrast) for name, (white, contrast) in levels.items()})
