"""How ambient light washes a picture out: the contrast of each part of a front under many ambient lights at once.

A front has one white and one black, whatever the hour; only the light that is added to both changes. So the projectors
are cast once, and each ambient light costs a sum, a quotient and a median. The figures are those of `kit.judge` on the
same raster.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

from kit.blocks import share_out
from kit.decision.verdict import Target, checked_target, judge, judged_points
from kit.errors import InputError
from kit.eye.contrast import contrast_at_eye, contrast_end
from kit.eye.glare import ambient_light
from kit.eye.light_map import Scene, light_map
from kit.fields import DIMMING, Is, Many
from kit.light.ambient import Ambient
from kit.quantities import labelled
from kit.sky.luminaire import LedString
from kit.source.projector import LEVELS
from kit.wall.points import FrontRaster
from kit.wall.raster import Grid

Array = NDArray[np.float64]

# Pairs of ambient light and point that are worked on together stay in the processor's cache.
PAIRS = 1 << 15
WHOLE = "the whole front"
# A picture has begun to wash out when this share of its contrast is gone: our choice.
WASHED = 0.1


@dataclass(frozen=True, kw_only=True, eq=False)
class LitFront:
    """The points of a front that count, and what the projectors make there.

    Attributes
    ----------
    parts : tuple of str
        The whole front first, then each kind of surface.
    raster : FrontRaster
    judged : array, shape (n,)
        Index into the raster of the points that are judged, lit or not.
    lit : array, shape (p,)
        The same of those that a picture reaches; the arrays below belong to them.
    runs : tuple of slice
        Where the points of each part are in `lit`.
    lit_share : array, shape (part,)
    white, black, reflectance : array, shape (p,)
        Luminance of the projectors' white and black [cd/m2]; reflectance of the wall.
    light : (float, float)
        Lowest and highest likely light, relative to nominal.
    wall : (array, array), each of shape (p,)
        Lowest and highest likely reflectance, relative to nominal.
    white_luminance : array, shape (part, level)
        Median luminance of white, with its likely band [cd/m2]; NaN where nothing is lit.
    """

    parts: tuple[str, ...]
    raster: FrontRaster
    judged: NDArray[np.intp]
    lit: NDArray[np.intp]
    runs: tuple[slice, ...]
    lit_share: Array
    white: Array
    black: Array
    reflectance: Array
    light: tuple[float, float]
    wall: tuple[Array, Array]
    white_luminance: Array

    def contrast(
        self, count: int, lux: Callable[[slice], ArrayLike], veil: ArrayLike, levels: Sequence[str] = LEVELS
    ) -> Array:
        """Return the median contrast of each part under each of `count` ambient lights.

        Parameters
        ----------
        count : int
        lux : function
            Takes a slice of the ambient lights and returns their illuminance on the lit points, which broadcasts to
            shape (slice, p) [lx].
        veil : array, shape (count,)
            Veiling luminance in the eye [cd/m2].
        levels : sequence of {"low", "nominal", "high"}

        Returns
        -------
        array, shape (count, part, level)
            NaN where nothing of a part is lit.
        """
        result = np.full((count, len(self.parts), len(levels)), np.nan)
        veils = np.broadcast_to(np.asarray(veil, float), (count,))
        step = max(1, PAIRS // max(1, self.lit.size))

        def work(block: slice) -> None:
            around = np.broadcast_to(lux(block), (block.stop - block.start, self.lit.size))
            ambient = self.reflectance / np.pi * around
            veiling = veils[block, None]
            nominal = self.point_contrast(ambient, veiling)
            with np.errstate(divide="ignore", invalid="ignore"):
                for k, level in enumerate(levels):
                    values = nominal
                    if level != "nominal":
                        end, sign = (0, -1) if level == "low" else (1, 1)
                        values = contrast_end(
                            self.white, self.black, ambient, veiling, nominal, self.light[end], self.wall[end], sign
                        )
                    for i, run in enumerate(self.runs):
                        if run.stop > run.start:
                            result[block, i, k] = np.median(values[:, run], axis=1)

        share_out(work, [slice(start, min(start + step, count)) for start in range(0, count, step)])
        return result

    def point_contrast(self, ambient: Array, veil: Array | float) -> Array:
        """Return the nominal contrast of each lit point, shape (..., p).

        `ambient` is the luminance of the wall in ambient light, `veil` that of the veil [cd/m2].
        """
        return contrast_at_eye(self.white, self.black, ambient, veil)

    def enough_white(self, target: Target) -> NDArray[np.bool_]:
        """Return where the luminance of white and the coverage are enough, shape (part, level)."""
        return (self.white_luminance >= target.white_luminance) & (self.lit_share >= 0.5)[:, None]

    def planes(self) -> NDArray[np.int16]:
        """Return the plane of each lit point, shape (p,)."""
        return self.raster.plane.ravel()[self.lit]


def lit_front(scene: Scene, spacing: float) -> LitFront:
    """Return the points of `scene` that count. Its ambient light is left out.

    Raises
    ------
    InputError
        For a scene with sweeps, or one that `light_map` refuses.
    """
    Is(kind=Scene).check("scene", scene)
    light = light_map(replace(scene, ambient=Ambient()), spacing)
    points = judged_points(light)
    verdict = judge(light)
    bright = light["illuminance"].values.ravel()[points.seen] > 0
    lit, patch = points.seen[bright], points.patch[bright]
    before = np.concatenate([[0], np.cumsum(bright)])
    runs = [slice(0, lit.size)]
    runs += [slice(int(before[run.start]), int(before[run.stop])) for _, run in points.surfaces]
    found = (verdict.front, *verdict.surfaces)
    rho = light["reflectance"].values.ravel()[lit]
    with np.errstate(divide="ignore", invalid="ignore"):
        low, high = (
            np.where(rho > 0, light["reflectance_band"].sel(level=end).values[patch] / rho, 1.0)
            for end in ("low", "high")
        )
    band = light["light_band"]
    grid = Grid(x=light["x"].values, y=light["y"].values, spacing=spacing)
    return LitFront(
        parts=(WHOLE, *(name for name, _ in points.surfaces)),
        raster=FrontRaster.on(scene.facade, grid),
        judged=points.seen,
        lit=lit,
        runs=tuple(runs),
        lit_share=np.array([part.lit_share for part in found]),
        white=light["white_luminance"].values.ravel()[lit],
        black=light["black_luminance"].values.ravel()[lit],
        reflectance=rho,
        light=(float(band.sel(level="low")), float(band.sel(level="high"))),
        wall=(low, high),
        white_luminance=np.array(
            [[np.nan] * 3 if (w := part.white_luminance) is None else [w.low, w.median, w.high] for part in found]
        ),
    )


def string_dimming(
    scene: Scene,
    *,
    target: Target | None = None,
    spacing: float = 0.2,
    dimmings: Sequence[float] | None = None,
) -> xr.Dataset:
    """Return at which dimming level the LED strings of a scene start to wash out the picture.

    Parameters
    ----------
    scene : Scene
        With strings among the lamps of its ambient light; all are driven alike, from whatever level they have.
    target : Target, optional
    spacing : float
        Pixel size [m].
    dimmings : array
        Levels of the curve, 0 to 1; every twentieth if not given.

    Returns
    -------
    xarray.Dataset
        contrast (dimming, part, level); ambient_illuminance [lx], the mean over the front, and veiling_luminance
        [cd/m2] of the strings (dimming,); most_dimming (part, level), the highest dimming at which the contrast is
        still enough, 1 where it always is, NaN where it is not even with the strings off; first_loss (part,), the
        dimming at which half of the part has lost a tenth of the contrast that it has without strings, NaN where that
        is never.

    Raises
    ------
    InputError
        For a scene without strings, or dimmings out of range.
    """
    target = checked_target(target)
    Is(kind=Scene).check("scene", scene)
    ambient = scene.ambient
    strings = tuple(lamp for lamp in ambient.lamps if isinstance(lamp, LedString))
    if not strings:
        raise InputError("lamps", [lamp.name for lamp in ambient.lamps], "at least one kit.LedString")
    levels = (
        np.linspace(0.0, 1.0, 21)
        if dimmings is None
        else np.array(Many(of=DIMMING, least=1).check("dimmings", dimmings))
    )
    front = lit_front(scene, spacing)
    others = tuple(lamp for lamp in ambient.lamps if not isinstance(lamp, LedString))
    full = tuple(string.dimmed(1.0) for string in strings)
    rest = ambient_light(replace(ambient, lamps=others), front.raster)
    own = ambient_light(Ambient(lamps=full, eye=ambient.eye, age=ambient.age), front.raster)
    rest_map, own_map = (light["ambient_illuminance"].values.sum(axis=0).ravel() for light in (rest, own))
    rest_veil, own_veil = (float(light["veiling_luminance"].sum()) for light in (rest, own))

    def contrast(at: Array, names: Sequence[str] = LEVELS) -> Array:
        def lux(block: slice) -> Array:
            return rest_map[front.lit] + at[block, None] * own_map[front.lit]

        return front.contrast(at.size, lux, rest_veil + at * own_veil, names)

    def dimming_at(part: int, level: str, value: float) -> float:
        # More light on the wall and in the eye, less contrast: there is one root.
        return float(brentq(lambda d: contrast(np.array([d]), (level,))[0, part, 0] - value, 0.0, 1.0, xtol=1e-6))

    still = (front.reflectance / np.pi * rest_map[front.lit], rest_veil)
    before = front.point_contrast(*still)

    def kept(dimming: float, run: slice) -> float:
        ambient = still[0] + dimming * front.reflectance / np.pi * own_map[front.lit]
        after = front.point_contrast(ambient, rest_veil + dimming * own_veil)
        # Where there was no end of it, all is lost as soon as there is one.
        endless = ~np.isfinite(before)
        share = np.where(endless, ~np.isfinite(after), after / np.where(endless, 1.0, before))
        return float(np.median(share[run]))

    ends = contrast(np.array([0.0, 1.0]))
    most = np.where(ends[1] >= target.contrast, 1.0, np.nan)
    loss = np.full(len(front.parts), np.nan)
    for i, run in enumerate(front.runs):
        for k, name in enumerate(LEVELS):
            if ends[0, i, k] >= target.contrast > ends[1, i, k]:
                most[i, k] = dimming_at(i, name, target.contrast)
        if run.stop > run.start and kept(1.0, run) < 1.0 - WASHED:
            loss[i] = brentq(lambda d, run=run: kept(d, run) - (1.0 - WASHED), 0.0, 1.0, xtol=1e-6)
    return xr.Dataset(
        {
            "contrast": labelled("contrast", ("dimming", "part", "level"), contrast(levels)),
            "ambient_illuminance": labelled(
                "ambient_illuminance", "dimming", levels * float(np.nanmean(own_map[front.judged]))
            ),
            "veiling_luminance": labelled("veiling_luminance", "dimming", levels * own_veil),
            "most_dimming": labelled("most_dimming", ("part", "level"), most),
            "first_loss": labelled("first_loss", "part", loss),
        },
        coords={"dimming": levels, "part": list(front.parts), "level": list(LEVELS)},
        attrs={"wanted_contrast": target.contrast},
    )
