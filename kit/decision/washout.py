"""How ambient light washes a picture out: the contrast of each part of a front under many ambient lights at once.

A front has one white and one black, whatever the hour; only the light that is added to both changes. So the projectors
are cast once, and each ambient light costs a sum, a quotient and a median. The figures are those of `kit.judge` on the
same raster.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import xarray as xr
from numpy.typing import ArrayLike
from scipy.optimize import brentq

from kit.arrays import Array, Index, Mask
from kit.blocks import share_out
from kit.decision.chance import judged_points
from kit.decision.verdict import Target, checked_target, judge
from kit.errors import InputError
from kit.eye.contrast import contrast_at_eye, contrast_end
from kit.eye.glare import source_veils
from kit.eye.light_map import Scene, light_map
from kit.fields import DIMMING, Is, Many
from kit.light.ambient import Ambient, source_maps
from kit.quantities import labelled
from kit.sky.luminaire import LedString
from kit.source.projector import LEVELS
from kit.wall.points import FrontRaster
from kit.wall.raster import Grid

# Pairs of ambient light and point that are worked on together stay in the processor's cache.
PAIRS = 1 << 15
WHOLE = "the whole front"
# A picture has begun to wash out when this share of its contrast is gone: our choice.
WASHED = 0.1
DIMMINGS = Many(of=DIMMING, least=1, optional=True, meaning="levels of the curve")


@dataclass(frozen=True, kw_only=True, eq=False)
class LitFront:
    """The points of a front that count, and what the projectors make there.

    `parts`: the whole front first, then each kind of surface; `judged`, shape (n,): index into the raster of the points
    that are judged, lit or not; `lit`, shape (p,): of those that a picture reaches; `runs`: where the points of each
    part are in `lit`; `lit_share`, shape (part,). At the lit points, shape (p,): `white`, `black`: luminance of the
    projectors' white and black [cd/m2]; `reflectance`; `ends`: see `likely_ends`.
    `white_luminance`, shape (part, level): median luminance of white [cd/m2]; NaN where nothing is lit.
    """

    parts: tuple[str, ...]
    raster: FrontRaster
    judged: Index
    lit: Index
    runs: tuple[slice, ...]
    lit_share: Array
    white: Array
    black: Array
    reflectance: Array
    ends: dict[str, tuple[float, Array, int]]
    white_luminance: Array

    def contrast(
        self, count: int, lux: Callable[[slice], ArrayLike], veil: ArrayLike, levels: Sequence[str] = LEVELS
    ) -> Array:
        """Return the median contrast of each part under each of `count` ambient lights, shape (count, part, level).

        `lux` takes a slice of the ambient lights and returns their illuminance on the lit points, which broadcasts to
        shape (slice, p) [lx]; `veil`, shape (count,), is that in the eye [cd/m2]. NaN where nothing of a part is lit.
        """
        result = np.full((count, len(self.parts), len(levels)), np.nan)
        veils = np.broadcast_to(np.asarray(veil, float), (count,))
        step = max(1, PAIRS // max(1, self.lit.size))

        def work(block: slice) -> None:
            around = np.broadcast_to(lux(block), (block.stop - block.start, self.lit.size))
            given = self.white, self.black, self.reflectance / np.pi * around, veils[block, None]
            nominal = contrast_at_eye(*given)
            for k, level in enumerate(levels):
                values = nominal if level == "nominal" else contrast_end(*given, nominal, *self.ends[level])
                for i, run in enumerate(self.runs):
                    if run.stop > run.start:
                        result[block, i, k] = np.median(values[:, run], axis=1)

        share_out(work, [slice(start, min(start + step, count)) for start in range(0, count, step)])
        return result

    def enough_white(self, target: Target) -> Mask:
        """Return where the luminance of white and the coverage are enough, shape (part, level)."""
        found = (self.white_luminance >= target.white_luminance) & (self.lit_share >= 0.5)[:, None]
        # A front that is not reached is at most borderline.
        found[0, LEVELS.index("low")] &= self.lit_share[0] >= 0.8
        return found


def lit_front(scene: Scene, spacing: float) -> LitFront:
    """Return the points of `scene` that count. Its ambient light is left out."""
    Is(kind=Scene).check("scene", scene)
    light = light_map(replace(scene, ambient=Ambient()), spacing)
    points, verdict = judged_points(light), judge(light)
    bright, rho, white, black = (
        light[name].values.ravel()[points.seen]
        for name in ("illuminance", "reflectance", "white_luminance", "black_luminance")
    )
    lit = bright > 0
    before = np.append(0, np.cumsum(lit)).tolist()
    members = (slice(0, lit.size), *(run for _, run in points.surfaces))
    found = (verdict.front, *verdict.surfaces)
    whites = [part.white_luminance for part in found]
    return LitFront(
        parts=(WHOLE, *(name for name, _ in points.surfaces)),
        raster=FrontRaster.on(scene.facade, Grid(x=light["x"].values, y=light["y"].values, spacing=spacing)),
        judged=points.seen, lit=points.seen[lit],
        runs=tuple(slice(before[run.start], before[run.stop]) for run in members),
        lit_share=np.array([part.lit_share for part in found]),
        white=white[lit], black=black[lit], reflectance=rho[lit],
        ends=likely_ends(light, points.patch[lit], rho[lit]),
        white_luminance=np.array([[np.nan] * 3 if w is None else [w.low, w.median, w.high] for w in whites]),
    )  # fmt: skip


def likely_ends(light: xr.Dataset, patch: Index, reflectance: Array) -> dict[str, tuple[float, Array, int]]:
    """Return light and reflectance at points, relative to nominal, and the side they lie on, for the low and high end.

    `patch` and `reflectance` are those of the points of a map from `light_map`.
    """
    light_band, walls = light["light_band"], light["reflectance_band"]
    with np.errstate(divide="ignore", invalid="ignore"):
        ratios = {end: walls.sel(level=end).values[patch] / reflectance for end in ("low", "high")}
    return {
        end: (float(light_band.sel(level=end)), np.where(reflectance > 0, ratios[end], 1.0), sign)
        for end, sign in (("low", -1), ("high", 1))
    }


def string_dimming(
    scene: Scene, *, target: Target | None = None, spacing: float = 0.2, dimmings: Sequence[float] | None = None
) -> xr.Dataset:
    """Return at which dimming level the LED strings of a scene start to wash out the picture.

    The strings are among the lamps of its ambient light; all are driven alike, from whatever level they have. `spacing`
    is the pixel size [m], `dimmings` the levels of the curve, 0 to 1; every twentieth if not given.

    Returns
    -------
    xarray.Dataset
        contrast (dimming, part, level); ambient_illuminance [lx], the mean over the front, and veiling_luminance
        [cd/m2] of the strings (dimming,); most_dimming (part, level), the highest dimming at which the contrast is
        still enough, 1 where it always is, NaN where it is not even with the strings off; first_loss (part,), the
        dimming at which half of the part has lost a tenth of the contrast that it has without strings, NaN where that
        is never.
    """
    target = checked_target(target)
    ambient = Is(kind=Scene).check("scene", scene).ambient
    strings = tuple(lamp.dimmed(1.0) for lamp in ambient.lamps if isinstance(lamp, LedString))
    if not strings:
        raise InputError("lamps", [lamp.name for lamp in ambient.lamps], "at least one kit.LedString")
    chosen = DIMMINGS.check("dimmings", dimmings)
    levels = np.linspace(0.0, 1.0, 21) if chosen is None else np.array(chosen)
    front = lit_front(scene, spacing)
    others = replace(ambient, lamps=tuple(lamp for lamp in ambient.lamps if not isinstance(lamp, LedString)))
    own = Ambient(lamps=strings, eye=ambient.eye, age=ambient.age)
    rest_map, own_map = (source_maps(light, front.raster).sum(axis=0).ravel() for light in (others, own))
    rest_veil, own_veil = (float(source_veils(light, scene.facade)[0].sum()) for light in (others, own))
    rest_lit, own_lit = rest_map[front.lit], own_map[front.lit]

    def contrast(at: Array, names: Sequence[str] = LEVELS) -> Array:
        return front.contrast(
            at.size, lambda block: rest_lit + at[block, None] * own_lit, rest_veil + at * own_veil, names
        )

    def by_points(dimming: float) -> Array:
        around = front.reflectance / np.pi * (rest_lit + dimming * own_lit)
        return contrast_at_eye(front.white, front.black, around, rest_veil + dimming * own_veil)

    # Where there was no end of it, all is lost as soon as there is one.
    before = by_points(0.0)
    endless = ~np.isfinite(before)

    def unwashed(dimming: float, run: slice) -> float:
        after = by_points(dimming)
        kept = np.where(endless, ~np.isfinite(after), after / np.where(endless, 1.0, before))
        return float(np.median(kept[run])) - (1.0 - WASHED)

    def enough(dimming: float, part: int, level: int) -> float:
        return float(contrast(np.array([dimming]), LEVELS[level : level + 1])[0, part, 0]) - target.contrast

    # More light on the wall and in the eye, less contrast: there is one root of each.
    root = partial(brentq, a=0.0, b=1.0, xtol=1e-6)
    off, full = contrast(np.array([0.0, 1.0]))
    most = np.where(full >= target.contrast, 1.0, np.nan)
    for which in np.argwhere((off >= target.contrast) & (full < target.contrast)).tolist():
        most[tuple(which)] = root(enough, args=tuple(which))
    loss = np.full(len(front.parts), np.nan)
    for i, run in enumerate(front.runs):
        if run.stop > run.start and unwashed(1.0, run) < 0.0:
            loss[i] = root(unwashed, args=(run,))
    mean = float(own_map[front.judged].mean())
    maps = {
        "contrast": (("dimming", "part", "level"), contrast(levels)),
        "ambient_illuminance": ("dimming", levels * mean),
        "veiling_luminance": ("dimming", levels * own_veil),
        "most_dimming": (("part", "level"), most),
        "first_loss": ("part", loss),
    }
    coords = {"dimming": levels, "part": list(front.parts), "level": list(LEVELS)}
    found = {name: labelled(name, *given) for name, given in maps.items()}
    return xr.Dataset(found, coords, {"wanted_contrast": target.contrast})
