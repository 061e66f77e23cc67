"""How ambient light washes a picture out: contrast and chance of each part of a front under many ambient lights.

A front has one white and one black, whatever the hour; only the light that is added to both changes. So the projectors
are cast once. What a part stands of a light that comes on top is found once for each draw of what is not known, and any
amount of it is then enough in those draws that stand more. The figures are those of `kit.judge` on the same raster.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cached_property
from math import ceil, floor

import numpy as np
import xarray as xr
from scipy.optimize import brentq

from kit.arrays import Array, ArrayLike, Index, Mask
from kit.blocks import share_out
from kit.decision.chance import Draws, Trials, middle_90, sampled
from kit.decision.verdict import Part, Target, judged
from kit.errors import InputError
from kit.eye.glare import contrast_at_eye
from kit.eye.light_map import Scene, light_map
from kit.fields import DIMMING, Many
from kit.quantities import labelled
from kit.sky.luminaire import LedString
from kit.source.projector import LEVELS
from kit.wall.points import Planes

# Pairs of ambient light and point that are worked on together stay in the processor's cache.
PAIRS = 1 << 15
WHOLE = "the whole front"
# A picture has begun to wash out when this share of its contrast is gone: our choice.
WASHED = 0.1
DIMMINGS = Many(of=DIMMING, least=1, optional=True, meaning="levels of the curve")
# Of what is not known: a season has thousands of moments.
DRAWS = 512


class LitFront:
    """The judged points of a scene, and how its parts stand light that comes and goes: that of the sources `off`.

    `full`, `some`: draws with all light, and without that of `off`; `usual`, `given`: the one draw in which all is as
    given, likewise; `nominal`: white, black and ambient light at each point in the latter, `coming`: what `off` adds
    [cd/m2]; `sample`: some lit points of each part; `position` of the points, shape (point, 3) [m].
    """

    def __init__(self, scene: Scene, spacing: float, target: Target, off: Sequence[str]) -> None:
        self.trials = trials = Trials(light_map(scene, spacing))
        self.target, points = target, trials.points
        rows, columns = np.divmod(points.seen, trials.light.sizes["x"])
        x, y = trials.light["x"].values[columns], trials.light["y"].values[rows]
        self.position = Planes.of(scene.facade).lift(points.patch, x, y)
        self.parts = (WHOLE, *(name for name, _ in points.surfaces))
        self.runs = (slice(0, points.seen.size), *(run for _, run in points.surfaces))
        self.off = np.isin(trials.names, list(off))
        self.full, self.usual = trials.many(DRAWS), trials.draws(np.zeros((len(trials.inputs), 1)))
        self.some, self.given = (self.scaled(draws, np.zeros(len(draws.level))) for draws in (self.full, self.usual))
        self.nominal = tuple(v[0] for v in trials.luminances(self.given, np.arange(points.seen.size)))
        self.coming = trials.around(self.usual, np.arange(points.seen.size))[0] - self.nominal[2]
        self.lit = [np.flatnonzero(trials.white[:, run].any(axis=0)) + run.start for run in self.runs]
        self.sample = np.concatenate([sampled(where) for where in self.lit])

    @cached_property
    def verdict(self) -> tuple[Part, ...]:
        """The verdict on each part with all light."""
        found = judged(self.trials, self.target, DRAWS)
        return found.front, *found.surfaces

    def scaled(self, draws: Draws, amount: Array) -> Draws:
        """Return draws with an amount of the light of the sources `off` in each, in place of all of it."""
        sources, veils = (np.where(self.off, v * amount[:, None], v) for v in (draws.sources, draws.veils))
        return draws._replace(sources=sources, veils=veils)

    def contrast(self, count: int, more: Callable[[slice], ArrayLike]) -> Array:
        """Return the median contrast of each part, all as given, under `count` lights, (count, part); NaN: not lit.

        `more` takes a slice of the lights and returns the luminance that they add, (slice, point) [cd/m2].
        """
        result = np.full((count, len(self.parts)), np.nan)
        white, black, around = self.nominal

        def work(block: slice) -> None:
            values = contrast_at_eye(white, black, around + more(block), 0.0)
            for i, where in enumerate(self.lit):
                if where.size:
                    result[block, i] = np.median(values[:, where], axis=1)

        step = max(1, PAIRS // white.size)
        share_out(work, [slice(start, min(start + step, count)) for start in range(0, count, step)])
        return result

    def banded(self, contrast: Array, more: Callable[[Draws, Draws], Callable[[slice], Array]]) -> Array:
        """Return a contrast, shape (count, part), with its middle 90%, that of a sample of each part: see `middle_90`.

        `more` makes of draws without and with the light of `off` what it is for `contrast`, (slice, draw, `sample`).
        """
        result, pairs = np.stack([contrast] * 3, axis=-1), ((self.given, self.usual), (self.some, self.full))
        light = [(self.trials.luminances(some, self.sample), more(some, full)) for some, full in pairs]
        step = max(1, 8 * PAIRS // (DRAWS * self.sample.size))

        def work(part: slice) -> None:
            found = [contrast_at_eye(*at, added(part)) for at, added in light]
            result[part, :, ::2] *= np.moveaxis(middle_90(found[0], found[1], len(self.parts)), 0, -1)

        share_out(work, [slice(start, start + step) for start in range(0, len(contrast), step)])
        return result

    def levels(self, chance: ArrayLike) -> Mask:
        """Return for each of `LEVELS` whether a chance makes it enough for sure, as likely as not, or at all."""
        found, sure = np.asarray(chance, float)[..., None], self.target.confidence
        return np.concatenate([found >= sure, found >= 0.5, found > 1.0 - sure], axis=-1)


def string_dimming(
    scene: Scene, *, target: Target | None = None, spacing: float = 0.2, dimmings: Sequence[float] | None = None
) -> xr.Dataset:
    """Return at which dimming level the LED strings of a scene start to wash out the picture.

    The strings are among the lamps of its ambient light; all are driven alike, from whatever level they have. `spacing`
    is the pixel size [m], `dimmings` the levels of the curve, 0 to 1; every twentieth if not given.

    Returns
    -------
    xarray.Dataset
        contrast (dimming, part, level); ambient_illuminance [lx] and veiling_luminance [cd/m2] of the strings, means
        over the front (dimming,); most_dimming (part, level), the highest dimming at which so much of the part has
        contrast enough, for sure (low), as likely as not, or perhaps (high): 1 where it always has, NaN where it has
        not even with the strings off; first_loss (part,), the dimming at which half of the part has lost a tenth of the
        contrast that it has without strings, NaN where that is never.
    """
    target = target or Target()
    ambient = scene.ambient
    strings = [lamp.name for lamp in ambient.lamps if isinstance(lamp, LedString)]
    if not strings:
        raise InputError("lamps", [lamp.name for lamp in ambient.lamps], "at least one kit.LedString")
    chosen = DIMMINGS.check("dimmings", dimmings)
    levels = np.linspace(0.0, 1.0, 21) if chosen is None else np.array(chosen)
    lamps = tuple(lamp.dimmed(1.0) if lamp.name in strings else lamp for lamp in ambient.lamps)
    front = LitFront(replace(scene, ambient=replace(ambient, lamps=lamps)), spacing, target, strings)
    trials, (white, black, around) = front.trials, front.nominal
    rooms = trials.room(target, front.some, front.full, front.runs)[1]

    def more(some: Draws, full: Draws) -> Callable[[slice], Array]:
        off, on = (trials.around(draws, front.sample) for draws in (some, full))
        return lambda part: levels[part, None, None] * (on - off)

    # Where there was no end of it, all is lost as soon as there is one.
    before = contrast_at_eye(white, black, around, 0.0)
    endless = ~np.isfinite(before)

    def unwashed(dimming: float, where: Index) -> float:
        after = contrast_at_eye(white, black, around + dimming * front.coming, 0.0)
        kept = np.where(endless, ~np.isfinite(after), after / np.where(endless, 1.0, before))
        return float(np.median(kept[where])) - (1.0 - WASHED)

    most, loss = np.full((len(front.parts), 3), np.nan), np.full(len(front.parts), np.nan)
    for i, where in enumerate(front.lit):
        # Of those draws that stand the least, or as much as half, or the most.
        sure = target.confidence
        found = np.sort(rooms[:, i])[[DRAWS - ceil(sure * DRAWS), DRAWS // 2, DRAWS - 1 - floor((1.0 - sure) * DRAWS)]]
        most[i] = np.where(found == -np.inf, np.nan, np.minimum(found, 1.0))
        # More light on the wall and in the eye, less contrast: there is one root.
        if where.size and unwashed(1.0, where) < 0.0:
            loss[i] = brentq(unwashed, a=0.0, b=1.0, xtol=1e-6, args=(where,))
    contrast = front.contrast(levels.size, lambda part: levels[part, None] * front.coming)
    maps = {
        "contrast": (("dimming", "part", "level"), front.banded(contrast, more)),
        "ambient_illuminance": ("dimming", levels * float(trials.ambient[front.off].sum(axis=0).mean())),
        "veiling_luminance": ("dimming", levels * float(trials.veils[front.off].sum(axis=0).mean())),
        "most_dimming": (("part", "level"), most),
        "first_loss": ("part", loss),
    }
    coords = {"dimming": levels, "part": list(front.parts), "level": list(LEVELS)}
    data = {name: labelled(name, *given) for name, given in maps.items()}
    return xr.Dataset(data, coords, {"wanted_contrast": target.contrast})
