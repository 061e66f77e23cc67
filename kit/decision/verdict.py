"""The verdict: is it enough, for each patch, each kind of surface and the front as a whole?

A point is good where white is bright enough and the contrast at the eye is high enough, both at once. A part of the
front is enough where so much of its whole area is good, dark and shadowed area counting against it, as `Target.share`
says. How likely that is comes from trying it with everything that is not known drawn at random (`kit.decision.chance`):

- ``enough``: the chance is at least `Target.confidence`,
- ``not enough``: it is at most one minus that,
- ``borderline``: between.

A part of which the picture reaches less than the share fails on ``coverage``, whatever the light.
"""

import math
from collections.abc import Callable
from dataclasses import field
from functools import cached_property, partial
from typing import Any, Literal, get_args

import numpy as np
import xarray as xr

from kit import reference
from kit.decision.chance import Draws, Trials, least, middle_90, sampled
from kit.decision.chance import Target as Target
from kit.errors import InputError
from kit.eye.glare import contrast_at_eye
from kit.fields import Frozen, Number
from kit.light.ambient import ROOMS
from kit.results import Frame, Result, banded, make_frame, pick
from kit.source.projector import Levels
from kit.wall.cloth import NEVER_COVERED
from kit.words import Phrases, band, capital, join, shares, short, the

Status = Literal["enough", "borderline", "not enough"]
say = Phrases(__file__)
STATES: tuple[Status, ...] = get_args(Status)[::-1]  # from the worst
Kind = Literal["patch", "surface", "front"]
Role = Literal["wall", "pane", "other"]
# Our choice: advice is for parts of at least this share of the front.
SMALL = 0.1
BANDED = ("white [cd/m²]", "contrast")
DRAWS = Number(label="draws", low=16, high=1 << 16, whole=True)
NO_WALLS = (*NEVER_COVERED, "roof", "ground")


class Figure(Frozen):
    """The median of one quantity over the lit part, all as given, and its middle 90%."""

    median: float
    low: float
    high: float


def levels_of(figure: Figure | None) -> Levels:
    """Return a figure as low, nominal and high; NaN for none."""
    return (math.nan,) * 3 if figure is None else (figure.low, figure.median, figure.high)


class Remedy(Frozen):
    """What alone would make a part enough, at the confidence that is wanted; None where it cannot.

    Stated lumens of all projectors together, reflectance where it is known exactly, ambient light on the front [lx].
    """

    light_output: float | None
    reflectance: float | None
    ambient_illuminance: float | None

    def sentence(self, units: str = "m") -> str:
        """Return what would mend it, in words; the same in any `units`."""
        # Rounded so that what is said does, too.
        lumens, most, up = self.light_output or 0.0, brightest(), partial(short, to=math.ceil)
        options = [f"{up(lumens)} lumens"] if 0.0 < lumens <= most else []
        if self.reflectance is not None:
            value = math.ceil(100.0 * self.reflectance) / 100.0
            options.append(f"a surface of reflectance {value:.2f}{_like(value, lumens > most)}")
        if self.ambient_illuminance is not None:
            options.append(f"at most {short(self.ambient_illuminance, to=math.floor)} lx of ambient light")
        if most < lumens <= 2.0 * most:
            options.append(f"two machines of {up(lumens / 2.0)} lumens on the same picture")
        beyond = [say("beyond", lumens=up(lumens), most=most)] if lumens > most else []
        if not options:
            return say("nothing") if not beyond else beyond[0]
        return " ".join([*beyond, say("can" if beyond else "would", options=join(options, "or"))])


class Part(Frozen):
    """The verdict on one part of the front."""

    name: str
    kind: Kind
    area: float  # as the audience sees it [m2]
    share_of_front: float
    lit_share: float  # that a picture reaches
    passing_share: float  # that meets both criteria, all as given
    white_luminance: Figure | None  # None where nothing is lit
    contrast: Figure | None
    chance: float  # that so much of its whole area is good as the target asks for, 0 to 1
    status: Status
    criterion: str  # "white luminance", "contrast", both with "and", or "coverage": what fails or may fail; or nothing
    shortfall: float  # by which factor the target is missed most, all as given, on the share that is wanted
    role: Role = "wall"
    dark_chance: float = 0.0  # the same chance with no light in the rooms behind
    mend: Callable[[], Remedy | None] = field(default=lambda: None, repr=False, compare=False)

    @cached_property
    def remedy(self) -> Remedy | None:
        """What alone would make it enough; None for what is, for coverage, or where too much sends no light back."""
        hopeless = self.status == "enough" or self.criterion == "coverage" or self.shortfall == np.inf
        return None if hopeless else self.mend()

    def band(self, quantity: Literal["white_luminance", "contrast"]) -> str:
        """Return a figure's median and band as text, for example ``"2.0 (1.4 to 2.8)"``."""
        figure: Figure | None = getattr(self, quantity)
        return "not lit" if figure is None else band(figure.low, figure.median, figure.high)

    def row(self) -> dict[str, Any]:
        """Return the figures as a row of the frame of a `Verdict`."""
        row: dict[str, Any] = {
            "part": "the whole front" if self.kind == "front" else self.name, "share of front": self.share_of_front,
            "lit": self.lit_share, "pass": self.passing_share, "chance": self.chance,
        }  # fmt: skip
        for name, found in zip(BANDED, (self.white_luminance, self.contrast), strict=True):
            row |= banded(name, levels_of(found))
        return row | {"verdict": self.status}


class Verdict(Result):
    """The verdict on a front: as a whole, by kind of surface, by patch.

    ``print(verdict)`` shows the sentence and the table of surfaces.
    """

    target: Target
    front: Part
    surfaces: tuple[Part, ...]
    patches: tuple[Part, ...]
    stated_light_output: float
    hidden: tuple[tuple[str, float], ...] = ()  # what of the pictures each obstacle hides, by name
    recess: float = 0.0  # of black where contrast is missed, the share by way of other walls

    @property
    def status(self) -> Status:
        """Status of the front as a whole."""
        return self.front.status

    @property
    def chance(self) -> float:
        """Chance that the front as a whole is enough, 0 to 1."""
        return self.front.chance

    def surface(self, name: str) -> Part:
        """Return the verdict on one kind of surface; another name: `InputError`."""
        return pick("surface name", name, {part.name: part for part in self.surfaces})

    def patch(self, name: str) -> Part:
        """Return the verdict on one patch; another name: `InputError`."""
        return pick("patch name", name, {part.name: part for part in self.patches})

    def sentence(self, units: str = "m") -> str:
        """Return the verdict in words: the front first, then what passes and what does not, and what mends it."""
        told = [say("coverage" if self.front.criterion == "coverage" else self.status, verdict=self)]
        told += [capital(say("hidden", thing=name, share=share)) for name, share in self.hidden]
        good, doubtful, bad = ([p for p in self.surfaces if p.status == status] for status in reversed(STATES))
        # Every point of the front counts once: where it passes, where it may, where it fails, where no picture is.
        dim = {p.name: p.share_of_front * (p.lit_share - p.passing_share) for p in good}
        areas = (
            sum(p.share_of_front * p.passing_share for p in good),
            *(sum(p.share_of_front * p.lit_share for p in parts) for parts in (doubtful, bad)),
            sum(p.share_of_front * (1.0 - p.lit_share) for p in self.surfaces),
        )
        passes, may, fails, dark = shares((*areas[:2], areas[2] + sum(dim.values()), areas[3]))
        none, most = ("0%", "less than 1%"), max(dim.values(), default=0.0)
        faint = [name for name, share in dim.items() if share > 0.25 * most and fails not in none]
        names = [[p.name for p in parts if p.lit_share] for parts in (good, doubtful, bad)]
        names[2] += [f"the dimmer parts of {the(join(faint))}"] if faint else []
        for words, share, of in zip(("Good", "Borderline", "Not enough"), (passes, may, fails), names, strict=True):
            told += [f"{words} on {share} of it: {join(of)}."] if of else []
        missed = [f"most of {the(p.name)}" for p in self.surfaces if p.lit_share < 0.5]
        if missed or dark not in none:
            told.append(f"No picture on {dark} of it{f': {join(missed)}' if missed else ''}.")
        return " ".join([*told, *self._advice(units)])

    def _advice(self, units: str) -> list[str]:
        """Return what mends the largest part that can be mended and that someone projects on."""
        below = [p for p in self.surfaces if p.status != "enough" and p.criterion != "coverage"]
        walls = [p for p in below if p.role == "wall"]
        if self.status == "enough":
            walls = [p for p in walls if p.share_of_front >= SMALL]
        walls = walls or [p for p in below if p.role == "other" and self.status != "enough"]
        told = []
        if walls:
            largest = sorted(walls, key=lambda p: -p.area)
            part = next((p for p in largest if p.remedy and {*vars(p.remedy).values()} != {None}), largest[0])
            state = "hopeless" if part.shortfall == np.inf else "short" if part.shortfall > 1.0 else "doubtful"
            told = [capital(say(state, part=part)), *([part.remedy.sentence(units)] if part.remedy else [])]
        lit = [p for p in self.surfaces if p.status != "enough" and p.dark_chance > p.chance + 0.05]
        if lit:
            rooms, chance = join([p.name for p in lit]), max(p.dark_chance for p in lit)
            told.append(say("put out", rooms=rooms, chance=chance))
        if self.recess >= SMALL:
            told.append(say("recess", share=self.recess))
        panes = [p.name for p in self.surfaces if p.role == "pane" and p.status != "enough"]
        if panes:
            told.append(say("panes", panes=join(panes)))
        return told

    def frame(self, units: str = "m", *, kind: Literal["surface", "patch"] = "surface") -> Frame:
        """Return the figures, a row for each surface or patch, the whole front last; the same in any `units`."""
        parts = (*(self.surfaces if kind == "surface" else self.patches), self.front)
        formats = dict.fromkeys(("share of front", "lit", "pass", "chance"), ".0%")
        return make_frame([part.row() for part in parts], formats, index="part")


def judge(light: xr.Dataset, target: Target | None = None, *, draws: int = 2048) -> Verdict:
    """Judge a map from `light_map` against a target, or the default one.

    Parameters
    ----------
    draws : int
        How often it is tried, a power of 2; with the same input the same draws.

    Raises
    ------
    InputError
        For a map that is not one of `light_map`, or of which no part counts.
    """
    target = target or Target()
    if DRAWS.check("draws", draws).bit_count() != 1:
        raise InputError("draws", draws, "a power of 2, such as 512 or 2048")
    return judged(Trials(light), target, draws)


def judged_front(light: xr.Dataset, target: Target, draws: int = 2048) -> Part:
    """Return the verdict of `judge` on the front as a whole alone, which is quicker."""
    return judged(Trials(light), target, draws, parts=False).front


def judged(trials: Trials, target: Target, draws: int, *, parts: bool = True) -> Verdict:
    """Return the verdict of `judge` on a map that is ready to be tried, with its parts or without."""
    light, data = trials.light, trials.light.variables  # quicker than labelled arrays with their coordinates each time
    points, some = trials.points, trials.many(draws)
    white, contrast, illuminance = (
        data[name].values.ravel()[points.seen] for name in ("white_luminance", "contrast", "illuminance")
    )
    lit = illuminance > 0
    missed = lit & (contrast < target.contrast)
    passing = lit & (white >= target.white_luminance) & (contrast >= target.contrast)
    good, stated = trials.good(some, target, alone=True), float(light.attrs["stated_light_output"])
    put_out = some._replace(sources=some.sources * (np.array(trials.names) != ROOMS))
    dark = trials.good(put_out, target) if ROOMS in trials.names else good[:1]
    kinds, rho = data["surface_kind"].values, data["reflectance"].values.ravel()[points.seen]

    surfaces, patches = (points.surfaces, points.patches) if parts else ((), ())
    runs = [slice(0, lit.size), *(run for _, run in surfaces), *(run for _, run in patches)]
    lit_points = [np.flatnonzero(lit[run]) + run.start for run in runs]
    samples = np.concatenate([sampled(here) for here in lit_points])
    both = trials.draws(np.zeros((len(trials.inputs), 1))), some
    usual, drawn = ((at[0], contrast_at_eye(*at, 0.0)) for at in (trials.luminances(draws, samples) for draws in both))
    bands = [middle_90(one, many, len(runs)) for one, many in zip(usual, drawn, strict=True)]
    wanted = {"white luminance": target.white_luminance, "contrast": target.contrast}

    def part(name: str, kind: Kind, member: slice) -> Part:
        k, count, sure = runs.index(member), member.stop - member.start, target.confidence
        here, blocks = lit_points[k], trials.within(member)
        found = (good[:, :, blocks].sum(axis=2) >= target.least_of(count)).mean(axis=1).tolist()
        chance, alone = found[0], dict(zip(wanted, found[1:], strict=True))
        status: Status = "enough" if chance >= sure else "not enough" if chance <= 1.0 - sure else "borderline"
        figures, short = [], {}
        # What is reached on the share that is wanted.
        needed = count - max(1, int(np.ceil(target.share * count - 1e-9 * count)))
        for (of, lowest), values, ends in zip(wanted.items(), (white, contrast), bands, strict=True):
            reached = float(np.partition(values[member], needed)[needed])
            short[of] = lowest / reached if reached else np.inf
            median = float(np.median(values[here])) if here.size else math.nan
            low, high = (median * end for end in ends[:, k].tolist())
            figures.append(Figure(median=median, low=low, high=high) if here.size else None)
        shortfall, criterion, share = max(short.values()), "", here.size / count
        if share < target.share * (1.0 - 1e-9):
            criterion, shortfall = "coverage", target.share / share if share else np.inf
        elif status != "enough":
            failing = [of for of in wanted if alone[of] <= 1.0 - sure]
            missed = [of for of in wanted if short[of] > 1.0]
            criterion = " and ".join(failing or missed or [of for of in wanted if alone[of] < sure] or wanted)
        return Part(
            name=name, kind=kind, area=count * float(light.attrs["spacing"]) ** 2, share_of_front=count / lit.size,
            lit_share=share, passing_share=float(passing[member].sum()) / count, white_luminance=figures[0],
            contrast=figures[1], chance=chance, status=status, criterion=criterion, shortfall=float(shortfall),
            role=_role(str(kinds[points.patch[member.start]]), float(rho[member.start])),
            dark_chance=float((dark[0, :, blocks].sum(axis=1) >= target.least_of(count)).mean()),
            mend=partial(_remedy, trials, some, target, blocks, member, stated),
        )  # fmt: skip

    names = data["patch_name"].values
    return Verdict(
        target=target, front=part(str(light.attrs["front"]), "front", slice(0, lit.size)),
        surfaces=tuple(part(name, "surface", run) for name, run in surfaces),
        patches=tuple(part(str(names[i]), "patch", run) for i, run in sorted(patches)),
        stated_light_output=stated, recess=float(np.median(data["walls_share"].values.ravel()[points.seen[missed]]))
        if "walls_share" in data and missed.any() else 0.0,
        hidden=tuple(zip(data["obstacle"].values.tolist(), data["hidden_share"].values.tolist(), strict=True))
        if "hidden_share" in data else (),
    )  # fmt: skip


def _remedy(trials: Trials, some: Draws, target: Target, blocks: slice, member: slice, stated: float) -> Remedy:
    """Return the least of each change that makes a part enough, by the draws."""
    patches, draws = [block.patch for block in trials.blocks[blocks]], len(some.level)
    wanted = int(np.ceil(target.confidence * draws - 1e-9 * draws))

    def found(change: Callable[[Draws, float], Draws], low: float, high: float) -> float | None:
        good = lambda amount, which: trials.enough(change(some.at(which), amount), target, blocks)[0]  # noqa: E731
        return least(good, draws, wanted, low, high)

    factor = found(trials.brighter, 1.0, 1e6)
    reflectance = found(lambda now, value: trials.repainted(now, patches, value), 1e-3, 1.0)
    less = found(lambda now, times: trials.dimmed(now, 1.0 / times), 1.0, 1e6)
    lux = trials.ambient[:, member].mean(axis=1)
    own, sky = (float(lux[which].sum()) for which in (trials.dimmable, ~(trials.dimmable | trials.own)))
    return Remedy(
        light_output=None if factor is None else stated * factor,
        reflectance=reflectance,
        ambient_illuminance=None if less is None or not own else own / less + sky,
    )


def brightest() -> float:
    """Return the light output of the brightest class of machine in the reference data [lm]."""
    return max(row.high for row in reference.table("projector_classes") if row.group == "light output")


def _role(kind: str, reflectance: float) -> Role:
    """Return what a surface is to someone who projects on a front."""
    if kind == "window" and reflectance < reference.row("surfaces", "window with closed blinds grey").low:
        return "pane"
    return "other" if kind in NO_WALLS else "wall"


def _like(reflectance: float, hung: bool) -> str:
    """Return the darkest wall covering light enough 19 times in 20, as a phrase; `hung`: and whether fabric is."""
    kinds = ("brick", "siding", "stucco", "fabric", "paint")
    light = [row for row in reference.table("surfaces") if row.group in kinds and row.low >= reflectance]
    if not light:
        return ""
    least = min(light, key=lambda row: row.value)
    fabric = hung and least.group != "fabric" and any(row.group == "fabric" for row in light)
    mind = "mind wind, fire and exits" if fabric or least.group == "fabric" else ""
    more = f"; fabric hung over it does that too: {mind}" if fabric else f"; {mind}" if mind else ""
    return f" (such as {least.name}{more})"


def rungs(group: str) -> tuple[reference.Row, ...]:
    """Return the rungs of ``"white"`` [cd/m2] or ``"contrast"``, the lowest first."""
    return tuple(sorted((r for r in reference.table("ladder") if r.group == group), key=lambda r: r.value))


def rung_target(white: str, contrast: str = "a picture that can be followed", **others: float) -> Target:
    """Return the target that rungs of the ladder set, by their names; `others`: share and confidence.

    A level of a lit wall is a mean, and is asked of the picture's white: its mean is that times its average level.
    """
    levels = {"white_luminance": ("white", white), "contrast": ("contrast", contrast)}
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
    less, more = ("dimmer", "brighter") if group == "white" else ("less", "more")
    return f"{more} than {below[-1]}" if below else f"{less} than {above[0]}"


class Ladder(Result):
    """Where each surface of a front lands: `levels` by name, low, nominal and high of white [cd/m2], of contrast."""

    levels: dict[str, tuple[Levels, Levels]]

    def frame(self, units: str = "m") -> Frame:
        """Return a row for each surface: figures, the middle 90%, and words."""
        rows = [
            {"part": name}
            | {key: value for k, of in enumerate(BANDED) for key, value in banded(of, both[k]).items()}
            | {f"{group} is": landing(group, *one) for group, one in zip(("white", "contrast"), both, strict=True)}
            for name, both in self.levels.items()
        ]
        return make_frame(rows, index="part")

    def sentence(self, units: str = "m") -> str:
        """Return where each surface lands, in words."""
        told = [
            f"{capital(name)}: {landing('white', *white)}"
            + ("." if math.isnan(white[1]) else f"; contrast {landing('contrast', *contrast)}.")
            for name, (white, contrast) in self.levels.items()
        ]
        return f"{' '.join(told)} Of what is floodlit the mean is told: that of a picture is below its white."


def ladder(verdict: Verdict) -> Ladder:
    """Return where each surface of a verdict lands on the ladder of ``reference_data/ladder.csv``."""
    return Ladder(levels={p.name: (levels_of(p.white_luminance), levels_of(p.contrast)) for p in verdict.surfaces})
