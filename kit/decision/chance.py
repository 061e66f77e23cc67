r"""How often is it enough? A map tried with everything that is not known drawn at random, many times over.

A draw changes the light of projector :math:`i` by a factor :math:`F_i`, its black over its white :math:`d_i`, the light
of each source of ambient light by :math:`a_j`, the reflectance :math:`\rho` of each surface. A point is good where both
white and contrast are: with :math:`g` the reflectance, or the gain of a screen,

.. math:: \sum_i F_i E_i \ge \frac{\pi L}{g} - B, \qquad
          \sum_i F_i (E_i - C d_i D_i) - \frac{C - 1}{g} \sum_j a_j (\rho A_j + \pi V_j) \ge (C - 1) B

with :math:`E_i` the light of white at the point, :math:`D_i` that before pictures are blended, :math:`A_j` the ambient
light and :math:`V_j` the veil of each source, :math:`B` the light that the ground sends back. Both lines are linear in
what differs from point to point, so a draw needs no map. On a patch that one projector lights, and ambient light
evenly, the left sides grow with :math:`E` alone: its points are sorted once, and a draw is a search.

What has one cause is drawn once: a loss for all projectors, a surface for all its patches, a lamp for all points.
"""

import math
from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import xarray as xr

from kit.arrays import Array, Index, Mask
from kit.bands import HIGH, LOW, drawn, drawn_share, normal_draws
from kit.errors import InputError
from kit.eye.light_map import DOUBTS
from kit.fields import CONTRAST, SHARE, WHITE_LUMINANCE, Declared, declared
from kit.light.ambient import EVEN, OWN, ROOMS
from kit.results import check_made
from kit.sky.site import GLOW, MOON, TWILIGHT

# Pairs of draw and point that are worked on together stay in the processor's cache.
PAIRS = 1 << 16
# A part's median is followed through the draws by that of so many of its points, an odd number.
SAMPLE = 15


class Target(Declared):
    """What counts as enough.

    White and contrast by default suit a dark district (CIE 94-1993), and the second of the four categories of contrast
    of ANSI/INFOCOMM 3M-2011. The share of the area and the confidence are the user's choice; no source sets them.
    """

    white_luminance: float = declared(WHITE_LUMINANCE, default=4.0)
    contrast: float = declared(CONTRAST, default=15.0)
    share: float = declared(
        SHARE, default=0.8, above=0.0, label="good on", meaning="share of the area that has to be good",
        steps=(0.5, 1.0, 0.05), form=".0%",
    )  # fmt: skip
    confidence: float = declared(
        SHARE, default=0.9, low=0.5, high=0.999, label="how sure", meaning="chance that is wanted: how sure to be",
        steps=(0.5, 0.95, 0.05), form=".0%",
    )  # fmt: skip

    def least_of(self, points: int) -> float:
        """Return how many of so many points have to be good, less a little for rounding."""
        return points * (self.share - 1e-9)


class Points(NamedTuple):
    """The judged points of a map: index into it and of the patch, (n,); where those of surfaces and patches are."""

    seen: Index
    patch: Index
    surfaces: tuple[tuple[str, slice], ...]
    patches: tuple[tuple[int, slice], ...]


def judged_points(light: xr.Dataset) -> Points:
    """Return the points of a map from `light_map` that are judged; none: `InputError`."""
    check_made("light", light, "white_luminance unit_white patch", "kit.light_map")
    data = light.variables
    index = data["patch"].values
    names, surface_names = data["patch_name"].values, data["surface_name"].values
    judged = np.append(data["judged"].values.astype(bool), False)  # the last serves the index -1
    chosen = judged[index]
    if not chosen.any():
        shown = names[np.unique(index[index >= 0])].tolist()
        raise InputError("judged", shown, "at least one visible patch that counts")
    kinds = list(dict.fromkeys(surface_names[np.unique(index[chosen])]))
    kind_of = np.array([kinds.index(n) if n in kinds else -1 for n in surface_names])
    # All points that count in one row, patch by patch and surface by surface, so that each part is a slice.
    rank = np.empty(len(kind_of), np.int16)
    rank[np.argsort(kind_of, kind="stable")] = np.arange(len(kind_of))
    seen = np.flatnonzero(chosen)
    patch = index.ravel()[seen].astype(np.intp)
    order = np.argsort(rank[patch], kind="stable")  # of short integers: by counting
    seen, patch = seen[order], patch[order]
    surfaces = tuple((str(kinds[k]), run) for k, run in _runs(kind_of[patch]))
    return Points(seen=seen, patch=patch, surfaces=surfaces, patches=tuple(_runs(patch)))


def _runs(keys: Index) -> list[tuple[int, slice]]:
    edges = [0, *(np.flatnonzero(np.diff(keys)) + 1).tolist(), keys.size]
    return [(int(keys[a]), slice(a, b)) for a, b in pairwise(edges)]


def sampled(where: Index) -> Index:
    """Return `SAMPLE` of some points, evenly, one more than once where there are fewer; the first for none."""
    return where[np.linspace(0, where.size - 1, SAMPLE).astype(int)] if where.size else np.zeros(SAMPLE, np.intp)


def middle_90(usual: Array, found: Array, parts: int) -> Array:
    """Return both ends of the middle 90% of the median of each part's sample, over the usual one, (2, ..., part).

    `usual`, (..., 1, point), and `found`, (..., draw, point): as given and as drawn, at `SAMPLE` points of each part.
    """
    mid = SAMPLE // 2
    one, many = (np.partition(v.reshape(*v.shape[:-1], parts, SAMPLE), mid, axis=-1)[..., mid] for v in (usual, found))
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = many / one
    ratio = np.sort(np.where(np.isnan(ratio), 1.0, ratio), axis=-2)
    last = ratio.shape[-2] - 1
    return np.stack([ratio[..., round(LOW * last), :], ratio[..., round(HIGH * last), :]])


class Draws(NamedTuple):
    """One value of everything that is not known in each draw."""

    light: Array  # (draw, projector): factor on the light that is delivered
    dark: Array  # black over white
    level: Array  # (draw,): average picture level
    sources: Array  # (draw, source): factor on ambient light
    veils: Array  # factor on its veil
    even: Array  # (draw,): what comes on top of ambient light evenly [lx]
    wall: Array  # (draw, patch): reflectance
    gain: Array  # for the projectors' light

    def at(self, some: Index) -> "Draws":
        """Return some of the draws."""
        return Draws(*(values[some] for values in self))


class Block(NamedTuple):
    """The judged points of one patch, `size` of them."""

    patch: int
    size: int
    even: Array  # (2, source): ambient light [lx], and pi times veil, that is the same at all points
    uneven: tuple[Index, Index]  # the other sources of each
    # (row, point): ones, white of each projector, black where it differs, and the sources `uneven`; where the white of
    # one projector is all that there is, that alone, in ascending order.
    rows: Array


class Trials:
    """The judged points of a map from `light_map`, ready to be tried in any number of draws."""

    def __init__(self, light: xr.Dataset) -> None:
        self.points = points = judged_points(light)
        self.light, data = light, {name: variable.values for name, variable in light.variables.items()}
        self.names = [str(name) for name in data["source"]]
        self.doubt = dict(zip(data["input"].tolist(), data["doubt"], strict=True))
        self.losses: dict[str, list[Array]] = {}
        for name, bands in zip(data["step"].tolist(), data["chain"].swapaxes(0, 1), strict=True):
            if (bands != 1.0).any():
                self.losses.setdefault(f"loss: {name.split(':')[0]}", []).append(bands)
        self.bands = data["reflectance_band"].T
        self.surface_names = [f"reflectance of {name}" for name in data["surface_name"]]
        self.gain, self.bounce = data["gain"], data["bounce"]
        self.leak, self.scatter, self.landed = data["leak"], data["scatter"], data["landed_share"]
        self.level = float(light.attrs["average_picture_level"])
        self.own = np.isin(self.names, OWN)
        self.dimmable = np.array([name not in (TWILIGHT, GLOW, MOON, ROOMS, *OWN) for name in self.names])
        self.lamps = self.dimmable & np.array([name != EVEN for name in self.names])
        inputs = [*self.doubt, *self.losses, *dict.fromkeys(self.surface_names)]
        self.inputs = tuple(str(name) for name in inputs)

        def at(name: str) -> Array:
            return np.asarray(data[name].reshape(len(data[name]), -1)[:, points.seen])

        lumens = data["delivered_light"][:, None]
        tinted = lumens * data["tint"][:, points.patch]
        self.white = tinted * at("unit_white")
        self.blended = "unit_black" in data
        self.black = tinted * at("unit_black") if self.blended else self.white
        self.ambient, self.veils = at("ambient_illuminance"), at("veiling_luminance")
        self.blocks = tuple(self._block(k, run) for k, run in points.patches)
        self._many: dict[int, Draws] = {}

    def _block(self, patch: int, run: slice) -> Block:
        here = np.stack([self.ambient[:, run], np.pi * self.veils[:, run]])
        even = (here == here[..., :1]).all(axis=2)
        rows = np.concatenate([self.white[:, run], *([self.black[:, run]] if self.blended else []), here[~even]])
        rows = np.sort(rows, axis=1) if len(rows) == 1 else np.insert(rows, 0, 1.0, axis=0)
        uneven = np.flatnonzero(~even[0]), np.flatnonzero(~even[1])
        return Block(patch, run.stop - run.start, np.where(even, here[..., 0], 0.0), uneven, rows)

    def draws(self, normal: Array) -> Draws:
        """Return the draws of standard normal numbers for each of `inputs`, shape (input, draw)."""
        z = dict(zip(self.inputs, normal, strict=True))
        factor = {name: drawn(z[name], *band) for name, band in self.doubt.items()}
        light = np.repeat(factor["picture width"][:, None] ** -2, len(self.leak), axis=1)
        for name, steps in self.losses.items():
            for bands in steps:
                low, nominal, high = bands.T
                light *= drawn(z[name][:, None], low, nominal, high) / nominal
        sequential, checkerboard, picture, _ = (factor[name][:, None] for name in DOUBTS)
        level = np.minimum(1.0, self.level * picture)
        leak = self.leak / sequential
        both = (0.5 * self.scatter + self.leak) / checkerboard
        scatter = np.where(self.scatter > 0.0, np.maximum(0.0, 2.0 * (both - leak)), 0.0)
        sources = np.stack([factor.get(name, np.ones(len(level))) for name in self.names], axis=1)
        # A picture spreads over itself as its own light and level have it.
        own = np.where(self.own, level / max(self.level, 1e-9) * self._mean(light), sources)
        low, nominal, high = self.bands.T
        wall = drawn_share(np.stack([z[name] for name in self.surface_names], axis=1), low, nominal, high)
        return Draws(
            light=light, dark=leak + scatter * level * self.landed, level=level[:, 0], veils=own,
            sources=np.where(self.own, own * sources, sources),
            even=np.zeros(len(sources)), wall=wall,
            gain=np.where(np.isnan(self.gain), wall, self.gain),
        )  # fmt: skip

    def many(self, draws: int) -> Draws:
        """Return so many draws, a power of 2; the same ones each time, remembered."""
        if draws not in self._many:
            self._many[draws] = self.draws(normal_draws(len(self.inputs), draws))
        return self._many[draws]

    def _mean(self, light: Array) -> Array:
        """Return the mean factor on the light of all projectors, shape (draw, 1)."""
        weight = self.landed * self.light["delivered_light"].values
        return np.asarray(light @ weight / weight.sum())[:, None]

    def brighter(self, some: Draws, times: float) -> Draws:
        """Return the draws with more light of all projectors."""
        sources, veils = (np.where(self.own, times * part, part) for part in (some.sources, some.veils))
        return some._replace(light=times * some.light, sources=sources, veils=veils)

    def dimmed(self, some: Draws, left: float) -> Draws:
        """Return the draws with a share `left` of all ambient light but the sky's, as `Ambient.dimmed` leaves it."""
        sources = some.sources * np.where(self.dimmable, left, 1.0)
        # What is known only by its light at the eye is no lamp that could be dimmed.
        return some._replace(sources=sources, veils=np.where(self.lamps, sources, some.veils))

    def repainted(self, some: Draws, patches: Sequence[int], reflectance: float) -> Draws:
        """Return the draws with another, known reflectance of some patches."""
        wall, gain = some.wall.copy(), some.gain.copy()
        wall[:, patches] = gain[:, patches] = reflectance
        return some._replace(wall=wall, gain=gain)

    def good(self, some: Draws, target: Target, blocks: slice = slice(None), *, alone: bool = False) -> Array:
        """Return how many points of blocks are good, (1, draw, block); `alone`: by white, by contrast too, (3, ...)."""
        chosen, more = self.blocks[blocks], target.contrast - 1.0
        patches = [block.patch for block in chosen]
        wall, gain = some.wall[:, patches], some.gain[:, patches]
        even = np.array([block.even for block in chosen]).swapaxes(0, 1).swapaxes(1, 2)
        rest = wall * (some.sources @ even[0] + some.even[:, None]) + some.veils @ even[1]
        with np.errstate(divide="ignore", invalid="ignore"):
            back = self._bounce(some)
            white = np.pi * target.white_luminance / gain - back
            contrast = more * (back + rest / gain)
            ratio = -more * wall / gain, -more / gain
            keep = some.light * (1.0 - target.contrast * some.dark)
            # One projector: what it takes. A black too bright for the contrast: more light makes it no better.
            ends = white / some.light[:, :1], np.where(keep[:, :1] > 0.0, contrast / keep[:, :1], np.inf)
        black = [some.light, -target.contrast * some.light * some.dark] if self.blended else [keep]
        result = np.empty((3 if alone else 1, len(some.level), len(chosen)))
        for k, block in enumerate(chosen):
            if len(block.rows) == 1:
                bright, clear = (block.size - np.searchsorted(block.rows[0], end[:, k]) for end in ends)
                result[:, :, k] = (np.minimum(bright, clear), bright, clear)[: len(result)]
                continue
            light = np.insert(some.light, 0, -white[:, k], axis=1)
            around = zip(ratio, (some.sources, some.veils), block.uneven, strict=True)
            spoils = [times[:, [k]] * factor[:, which] for times, factor, which in around]
            both = np.concatenate([-contrast[:, [k]], *black, *spoils], axis=1)
            there = both.any(axis=0)  # what is off costs no time
            both, rows = both[:, there], block.rows[there]
            step, ones = max(1, PAIRS // block.size), np.ones(block.size, np.float32)
            for part in (slice(start, start + step) for start in range(0, len(light), step)):
                enough = light[part] @ block.rows[: light.shape[1]] >= 0.0, both[part] @ rows >= 0.0
                for row, found in zip(result[:, part, k], (enough[0] & enough[1], *enough), strict=False):
                    row[:] = found.astype(np.float32) @ ones
        return result

    def within(self, run: slice) -> slice:
        """Return which blocks the points of a part are in."""
        first, last = (sum(own.stop <= end for _, own in self.points.patches) for end in (run.start, run.stop))
        return slice(first, last)

    def enough(self, some: Draws, target: Target, blocks: slice = slice(None), *, alone: bool = False) -> Mask:
        """Return in which draws so much of a part's whole area is good as is wanted, shape (1 or 3, draw): `good`."""
        least = target.least_of(sum(block.size for block in self.blocks[blocks]))
        return np.asarray(self.good(some, target, blocks, alone=alone).sum(axis=2) >= least)

    def room(self, target: Target, none: Draws, one: Draws, runs: Sequence[slice]) -> Array:
        """Return up to which amount of some light parts are enough, and of enough contrast, shape (2, draw, part).

        `none`, `one`: the draws without it, and with an amount of 1. -inf: not even with none, inf: however much.
        """
        every, more = np.arange(self.points.seen.size), target.contrast - 1.0
        sizes = [run.stop - run.start for run in runs]
        last = [size - math.ceil(target.least_of(size)) for size in sizes]
        result, step = np.empty((2, len(none.level), len(runs))), max(1, PAIRS // every.size)
        for part in (np.arange(len(none.level))[start : start + step] for start in range(0, len(none.level), step)):
            white, black, around = self.luminances(none.at(part), every)
            left = white - target.contrast * black - more * around
            takes = more * (self.around(one.at(part), every) - around)
            with np.errstate(divide="ignore", invalid="ignore"):
                clear = np.where(left < 0.0, -np.inf, np.where(takes > 0.0, left / takes, np.inf))
            both = np.where(white < target.white_luminance, -np.inf, clear)
            for i, (run, k) in enumerate(zip(runs, last, strict=True)):
                result[:, part, i] = [np.partition(stands[:, run], k)[:, k] for stands in (both, clear)]
        return result

    def luminances(self, some: Draws, at: Sequence[int] | Index) -> tuple[Array, Array, Array]:
        """Return projected white, projected black, and ambient light with the veil, at points, shape (draw, point)."""
        gain, back = some.gain[:, self.points.patch[at]] / np.pi, self._bounce(some)
        black = (some.light * some.dark) @ self.black[:, at] + back
        return gain * (some.light @ self.white[:, at] + back), gain * black, self.around(some, at)

    def around(self, some: Draws, at: Sequence[int] | Index) -> Array:
        """Return the last of `luminances` alone."""
        light = some.sources @ self.ambient[:, at] + some.even[:, None]
        return np.asarray(some.wall[:, self.points.patch[at]] / np.pi * light + some.veils @ self.veils[:, at])

    def _bounce(self, some: Draws) -> Array:
        """Return the light by way of the ground, shape (draw, 1) [lx]."""
        return np.asarray(some.level * ((some.light @ self.bounce) * some.wall).sum(axis=1))[:, None]


def least(good: Callable[[float, Index], Mask], draws: int, wanted: int, low: float, high: float) -> float | None:
    """Return the smallest amount that is `good` in so many draws, each of which stays so with more; None: none is."""
    still, sure = np.arange(draws), 0
    if np.count_nonzero(good(high, still)) < wanted:
        return None
    while high > low * (1.0 + 1e-6):
        amount = float(np.sqrt(low * high))
        found = good(amount, still)
        count = sure + int(np.count_nonzero(found))
        if count >= wanted:
            high, still = amount, still[found]
        else:
            low, sure, still = amount, count, still[~found]
    return high


def indices(
    function: Callable[[Array], Array], inputs: int, groups: Sequence[Sequence[int]], draws: int = 1024
) -> tuple[Array, Array]:
    """Return first-order and total index of groups of inputs to a function of normal numbers, shape (input, draw).

    A. Saltelli et al., Comput. Phys. Commun. 181 (2010) 259, doi:10.1016/j.cpc.2009.09.018, table 2 (b) and (f). NaN
    for a function that does not vary.
    """
    one, other = np.split(normal_draws(2 * inputs, draws), 2)
    values, others = function(one), function(other)
    middle, spread = np.mean([values, others]), np.var([values, others])
    found = np.empty((2, len(groups)))
    for k, group in enumerate(groups):
        mixed = one.copy()
        mixed[list(group)] = other[list(group)]
        change = function(mixed) - values
        found[:, k] = np.mean((others - middle) * change), 0.5 * np.mean(change**2)
    first, total = found / spread if spread > 0.0 else np.full_like(found, np.nan)
    return first, total
