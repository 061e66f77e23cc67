"""How likely each place is enough: the rule of shares of `kit.judge`, for thousands of places by a few draws.

White and contrast at a point are linear in the light that a machine sends there. So all that a draw changes is worked
out once, on one map, and a place is a comparison at each point. The doubt about its lens is that of the map's machine.
"""

from dataclasses import replace

import numpy as np
import xarray as xr

from kit.arrays import Array
from kit.blocks import share_out
from kit.decision.chance import Target, Trials
from kit.eye.light_map import Scene, light_map
from kit.fields import Is
from kit.stage.places import PAIRS, POINTS, beams, lit_points
from kit.wall.occlusion import Occluders
from kit.wall.points import FrontRaster
from kit.words import chances, percent

# All places are tried in few draws, so many leaders in more; of places that are as good, the better in the mean leads.
FEW, LEADERS, MORE, TIE = 32, 32, 256, 1e-3


class Likely:
    """An objective for `kit.search`: the share of the judged front that is good at the confidence that is wanted.

    Parameters
    ----------
    scene : Scene
        With the machine, and its losses, anywhere before the front; light, obstacles and doubt are those of all places.
    target : Target
        The default target if not given.
    points : int
        About as many over the extent of the front, 20 or more.

    Raises
    ------
    InputError
        As `light_map` and `judge`.
    """

    __name__ = "the chance that it is enough"

    def __init__(self, scene: Scene, target: Target | None = None, *, points: float = 300) -> None:
        self.target, self.projector = (
            Is(kind=Target, optional=True).check("target", target) or Target(),
            Is(kind=Scene).check("scene", scene).projectors[0][0],
        )
        left, right, bottom, top = scene.facade.bounds
        self.spacing = float(np.sqrt((right - left) * (top - bottom) / POINTS.check("points", points)))
        self.light = light_map(replace(scene, projectors=scene.projectors[:1]), self.spacing)
        raster = FrontRaster.over(scene.facade, scene.facade.bounds, self.spacing)
        self.judged = Trials(self.light).points.seen
        others = np.setdiff1d(np.flatnonzero(raster.patch >= 0), self.judged)
        self.points = raster.at(np.append(self.judged, others))
        self.occluders = Occluders.of(scene.facade, scene.obstacles)
        self.lines = {draws: self._lines(draws) for draws in (FEW, MORE)}

    def __call__(self, places: xr.Dataset) -> Array:
        """Return what is best of the places of `evaluate`, NaN where one is not feasible; see `shares`."""
        worth = np.full(places.sizes["candidate"], np.nan)
        some = np.flatnonzero(places["feasible"].values)
        if len(some) > LEADERS:
            worth[some] = self._worth(places.isel(candidate=some), FEW)
            some = some[np.argsort(-worth[some], kind="stable")[:LEADERS]]
        best = self._worth(places.isel(candidate=some), MORE)
        # What was tried in few draws leads none that was tried in more.
        worth = np.minimum(worth, best.min(initial=np.inf))
        worth[some] = best
        return worth

    def _worth(self, places: xr.Dataset, draws: int) -> Array:
        found = self.shares(places, draws)
        return self.sure(found) + TIE * found.mean(axis=1)

    def sure(self, shares: Array) -> Array:
        """Return the share that is good in so many of the draws as is wanted, shape (candidate,)."""
        most = shares.shape[1] - int(np.ceil(self.target.confidence * shares.shape[1] - 1e-9))
        return np.asarray(np.partition(shares, most, axis=1)[:, most])

    def words(self, best: xr.Dataset) -> str:
        """Return how likely the best place is enough, in words."""
        found = self.shares(best.expand_dims("candidate"), MORE)
        sure, chance = float(self.sure(found)[0]), float((found >= self.target.least_of(1)).mean())
        return (
            f"; there {percent(sure)} of the front is good enough with {chances(self.target.confidence)}, and "
            f"{percent(self.target.share)} of it with {chances(chance)}"
        )

    def shares(self, places: xr.Dataset, draws: int) -> Array:
        """Return the share of the judged front that is good at each place in each draw, shape (candidate, draw)."""
        white, ground_white, clear, ground_clear, dark, scattered = self.lines[draws]
        result = np.empty((places.sizes["candidate"], draws))
        count, contrast = len(self.judged), self.target.contrast
        usual = float((self.light["landed_share"] * self.light["delivered_light"]).sum())

        def work(part: slice) -> None:
            here = places.isel(candidate=part)
            lumens = here["delivered_light"].values[:, None]
            light = lit_points(self.points, self.occluders, beams(here, self.projector))[2]
            landed = (light @ self.points.area)[:, None]
            light, ground = light[:, :count] * lumens, landed * lumens / usual
            for k in range(draws):
                good = light >= white[k] - ground * ground_white[k]
                keep = 1.0 - contrast * (dark[k] + scattered[k] * landed)
                good &= light * keep >= clear[k] + ground * ground_clear[k]
                result[part, k] = good.mean(axis=1)

        step = max(1, PAIRS // len(self.points.area))
        share_out(work, [slice(start, start + step) for start in range(0, len(result), step)])
        return result

    def _lines(self, draws: int) -> tuple[Array, ...]:
        """Return what a draw asks of the light at each judged point, for white and contrast, and what darkens black."""
        # Without the machine's own light there is left what comes by way of the ground, and around.
        none, twice = (Trials(self.light.assign(landed_share=0.0 * self.light["landed_share"] + k)) for k in (1.0, 2.0))
        none.white = none.black = np.zeros_like(none.white)
        some, more = none.many(draws), self.target.contrast
        scattered = twice.many(draws).dark - some.dark
        white, black, around = none.luminances(some, np.arange(len(self.judged)))
        with np.errstate(divide="ignore", invalid="ignore"):
            gain = (some.gain * self.light["tint"].values[0])[:, none.points.patch] * some.light / np.pi
            lines = self.target.white_luminance / gain, white / gain, (more - 1.0) * around / gain
            return *lines, (more * black - white) / gain, (some.dark - scattered)[:, 0], scattered[:, 0]
