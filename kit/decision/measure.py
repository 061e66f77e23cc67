"""What to measure first, and what a reading changes."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import xarray as xr

from kit.arrays import Array
from kit.bands import normal_draws
from kit.decision.chance import Trials, indices
from kit.decision.verdict import Target, Verdict, judge
from kit.errors import InputError
from kit.eye.light_map import DOUBTS, SPREAD, Scene, light_map, usual
from kit.fields import Declared, Is, Many, Number, OneOf, Text, declared
from kit.light.ambient import ROOMS
from kit.results import Frame, Result, make_frame, pick
from kit.sky.luminaire import LedString
from kit.source.projector import LEVELS, Factor, Levels
from kit.wall.facade import Facade, Surface
from kit.words import Phrases, band, chances

say = Phrases(__file__)
# What can be read, and with what.
WITH = dict.fromkeys(("ambient light", "lamps", "lumens"), "lux meter")
WITH |= {"reflectance": "wall against wall", "picture width": "tape"}
# Points of a part that stand for it where inputs are ranked.
SAMPLE = 300


class Reading(Declared):
    """A reading that takes the place of an assumption: in lx, or the width of a picture in m."""

    thing = "reading"
    of: str = declared(OneOf(label="reading of", options=tuple(WITH)))
    value: float = declared(Number(label="reading", low=0.0))
    against: float | None = declared(
        Number(label="against", above=0.0), default=None,
        meaning="illuminance on the wall [lx], for its reflectance; distance from the lens [m], for lumens and width",
    )  # fmt: skip
    surface: str = declared(Text(label="surface", empty=True), default="", meaning="whose reflectance it is")
    doubt: tuple[float, float] = declared(
        SPREAD, default=None, label="doubt", meaning="low and high over the reading; None: as in doubts.csv"
    )

    def _agree(self, where: str) -> None:
        if self.doubt is None:
            object.__setattr__(self, "doubt", usual(WITH[self.of]))
        if not self.doubt[0] <= 1.0 <= self.doubt[1]:
            raise InputError("reading: doubt", self.doubt, "low and high over the reading: 1 lies between")
        if self.of not in ("ambient light", "lamps") and (self.against is None or not self.value):
            right = f"for {self.of} a value above 0, and what it is read against"
            raise InputError("reading: value, against", (self.value, self.against), right)
        if self.of == "reflectance" and not (self.surface and self.amount < 1.0):
            given = (self.surface, self.value, self.against)
            raise InputError("reading: surface, value, against", given, "a surface that sends back less than it gets")

    @property
    def amount(self) -> float:
        """What is read: illuminance, luminous intensity, reflectance, or picture width over distance."""
        if self.against is None:
            return self.value
        return self.value * self.against**2 if self.of == "lumens" else self.value / self.against


def with_reflectance(front: Facade, name: str, levels: Levels) -> tuple[Facade, Surface]:
    """Return a front with low, nominal and high of a surface's reflectance as read, and the surface as it was."""
    old = pick("reading: surface", name, {one.name: one for one in front.surfaces()})
    new = replace(old, low=levels[0], reflectance=levels[1], high=min(levels[2], 1.0))
    patches = (replace(p, surface=new) if p.surface.name == name else p for p in front.patches)
    return replace(front, patches=tuple(patches)), old


def _applied(scene: Scene, of: str, surface: str, levels: Levels) -> tuple[Scene, Levels]:
    """Return the scene with a reading in place of an assumption, and low, nominal and high of that."""
    low, value, high = levels
    sure, around, first = scene.doubt, scene.ambient, scene.projectors[0][0]
    spread = (low / value, high / value) if value else (1.0, 1.0)
    if of == "ambient light":
        was, ends = around.vertical_illuminance, sure.even_light
        around, sure = replace(around, vertical_illuminance=value, sky=None), replace(sure, even_light=spread)
        now = replace(scene, ambient=around, doubt=sure)
    elif of == "lamps":
        trials = Trials(light_map(scene, 0.25))
        was, ends = float(trials.ambient[trials.lamps].sum(axis=0).mean()), sure.lamps
        if not was:
            raise InputError("reading: of", of, "a reading of lamps that light the front of this scene")
        lamps = tuple(
            replace(lamp, node_flux=value / was * lamp.node_flux) if isinstance(lamp, LedString)
            else replace(lamp, flux=value / was * (lamp.distribution.flux() if lamp.flux is None else lamp.flux))
            for lamp in around.lamps
        )  # fmt: skip
        now = replace(scene, ambient=replace(around, lamps=lamps), doubt=replace(sure, lamps=spread))
    elif of == "reflectance":
        front, old = with_reflectance(scene.facade, surface, levels)
        return replace(scene, facade=front), (old.low, old.reflectance, old.high)
    elif of == "picture width":
        was, ends = 1.0 / first.fixed_throw_ratio(), sure.picture_width
        pairs = tuple((replace(machine, throw_ratio=1.0 / value), place) for machine, place in scene.projectors)
        now = replace(scene, projectors=pairs, doubt=replace(sure, picture_width=spread))
    else:
        # Lumens over this make the intensity towards the picture.
        area = first.fixed_throw_ratio() ** -2 / first.aspect
        share = {level: one * area / first.light_output for level, one in zip(LEVELS, levels, strict=True)}
        chain = (Factor(name="as measured", source="a reading", **share),)
        low, nominal, high = (lumens / area for lumens in first.delivered())
        pairs = tuple((replace(machine, chain=chain), place) for machine, place in scene.projectors)
        return replace(scene, projectors=pairs), (low, nominal, high)
    return now, (was * ends[0], was, was * ends[1])


class Measured(Result):
    """Verdicts on a scene as assumed and as measured; `notes` say what contradicts what."""

    scene: Scene
    before: Verdict
    after: Verdict
    notes: tuple[str, ...]

    def frame(self, units: str = "m") -> Frame:
        """Return the figures of both, old above new."""
        import pandas as pd

        tables = [verdict.frame(units) for verdict in (self.before, self.after)]
        return pd.concat(tables, keys=("as assumed", "as measured")).__finalize__(tables[0])

    def sentence(self, units: str = "m") -> str:
        """Return what the readings change, in words."""
        old, new = (f"{chances(v.chance)}, {v.status}" for v in (self.before, self.after))
        return " ".join([f"As assumed: {old}. As measured: {new}.", *self.notes])


def with_measurement(
    scene: Scene, readings: Sequence[Reading], target: Target | None = None, *, spacing: float = 0.1
) -> Measured:
    """Put readings in place of what was assumed, and judge both.

    Readings of one thing are taken together, from the lowest low to the highest high; that they contradict each other,
    or what was assumed, by more than their doubts allow is said. A reading of lumens is that of the first machine and
    holds for all. No reading, or one of what the scene does not have: `InputError`.
    """
    now = scene
    found: dict[tuple[str, str], list[Levels]] = {}
    for one in Many(of=Is(kind=Reading), least=1).check("readings", readings):
        read = one.amount * one.doubt[0], one.amount, one.amount * one.doubt[1]
        found.setdefault((one.of, one.surface), []).append(read)
    notes = []
    for (of, surface), same in found.items():
        lows, middles, highs = np.transpose(same)
        levels = float(lows.min()), float(np.prod(middles) ** (1.0 / len(same))), float(highs.max())
        name = f"{of} of {surface}" if surface else of
        if lows.max() > highs.min():
            notes.append(say("twice", thing=name, read=band(*levels)))
        now, (low, nominal, high) = _applied(now, of, surface, levels)
        if low > levels[2] or high < levels[0]:
            notes.append(say("beyond", thing=name, taken=band(low, nominal, high), read=band(*levels)))
    before, after = (judge(light_map(one, spacing), target) for one in (scene, now))
    return Measured(scene=now, before=before, after=after, notes=tuple(notes))


class Doubts(Result):
    """What carries the doubt in a verdict on a part, the most first.

    `shares`: of the variance of the logarithm of the light that would just do: what goes when an input is known, and
    what stays when all else is; `clear`: chance that to know the first makes the verdict a clear yes or no.
    """

    part: str
    shares: dict[str, tuple[float, float]]
    chance: float
    clear: float

    def frame(self, units: str = "m") -> Frame:
        """Return a row for each input."""
        shares = self.shares or {"nothing": (math.nan, math.nan)}
        rows = [{"input": name, "alone": one, "with others": total} for name, (one, total) in shares.items()]
        return make_frame(rows, dict.fromkeys(("alone", "with others"), ".0%"), index="input")

    def sentence(self, units: str = "m") -> str:
        """Return what to measure first, in words."""
        if not self.shares or self.chance in (0.0, 1.0):
            return say("nothing", doubts=self)
        first, (alone, _) = next(iter(self.shares.items()))
        how = next((f" {say(name)}" for name in WITH if first.startswith(name)), "")
        return say("first", first=first, alone=max(0.0, alone), doubts=self, how=how)


def read_together(inputs: Sequence[str], sources: Sequence[str], lamps: Sequence[str]) -> dict[str, list[int]]:
    """Return which inputs one reading tells together, by what is read; `lamps` are some of the `sources` of light."""
    groups: dict[str, list[int]] = {}
    for k, name in enumerate(inputs):
        source = "lamps" if name in lamps else name if name == ROOMS else "ambient light"
        key = "lumens" if name.startswith("loss: ") else source if name in sources else name
        groups.setdefault("contrast of the machine" if name in DOUBTS[:2] else key, []).append(k)
    return groups


def measure_first(light: xr.Dataset, target: Target | None = None, *, surface: str | None = None) -> Doubts:
    """Return how much of the doubt in the verdict on a front, or on one kind of surface, each input carries.

    `light` (xarray.Dataset): from `light_map`. What `judge` refuses, or a surface that is not judged: `InputError`.
    """
    target, trials = target or Target(), Trials(light)
    whole = slice(0, trials.points.seen.size)
    run = whole if surface is None else pick("surface", surface, dict(trials.points.surfaces))
    sample = np.unique(np.linspace(run.start, run.stop - 1, SAMPLE).astype(int))
    last, inputs = math.ceil(target.least_of(sample.size)) - 1, len(trials.inputs)

    def needed(normal: Array) -> Array:
        white, black, around = trials.luminances(trials.draws(normal), sample)
        with np.errstate(divide="ignore", invalid="ignore"):
            room = white - target.contrast * black
            light = np.where(room > 0.0, (target.contrast - 1.0) * around / room, np.inf)
            each = np.maximum(light, target.white_luminance / white)
        return np.asarray(np.log(np.clip(np.partition(each, last, axis=1)[:, last], 1e-6, 1e6)))

    groups = read_together(trials.inputs, trials.names, np.array(trials.names)[trials.lamps].tolist())
    first, total = indices(needed, inputs, list(groups.values()))
    order = [int(k) for k in np.argsort(-total) if total[k] > 1e-6]
    names = list(groups)
    chance, clear = float(np.mean(needed(normal_draws(inputs, 1024)) <= 0.0)), 0.0
    if order:
        mine = groups[names[order[0]]]
        # So many houses of which the first is known, and what is not known of each.
        known, rest = (normal.reshape(inputs, 64, 128) for normal in np.split(normal_draws(2 * inputs, 8192), 2))
        mixed = rest.copy()
        mixed[mine] = known[mine, :, :1]
        each = (needed(mixed.reshape(inputs, -1)).reshape(64, 128) <= 0.0).mean(axis=1)
        clear = float(np.mean((each >= target.confidence) | (each <= 1.0 - target.confidence)))
    part = "this front" if surface is None else f"the {surface}"
    shares = {names[k]: (float(first[k]), float(total[k])) for k in order}
    return Doubts(part=part, shares=shares, chance=chance, clear=clear)
