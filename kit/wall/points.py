"""Points on the wall: where each is, how it is turned, which patch it is on, how much of the front it stands for.

They come from a raster of the front (`FrontRaster`), or from a sparse sample of it (`WallPoints.sample`).
"""

from collections import defaultdict
from collections.abc import Sequence
from functools import cached_property
from typing import Any, Self

import numpy as np
import shapely

from kit.arrays import Array, ArrayLike, Extent, Index, NDArray, Point
from kit.errors import InputError
from kit.fields import Frozen
from kit.wall.facade import Facade
from kit.wall.raster import SAME_PLANE, Grid, Window, around, exposed, visible


class Planes(Frozen, eq=False):
    """The planes ``normal . X = offset`` in which the visible patches of a front lie, normals towards the audience."""

    members: tuple[tuple[int, ...], ...]  # indices of the patches in each
    normal: Array
    offset: Array
    slope: Array  # (z0, zx, zy) with z = z0 + zx x + zy y
    of_patch: NDArray[np.int16]  # index of each patch's plane, -1 for one that is seen edge-on and one more for no wall

    @classmethod
    def of(cls, facade: Facade) -> Self:
        """Return the planes of a front."""
        groups = defaultdict[tuple[int, ...], list[int]](list)
        for i, patch in enumerate(facade.patches):
            if patch.faces_audience:
                groups[tuple(round(c / SAME_PLANE) for c in patch.depth_plane())].append(i)
        firsts = [facade.patches[members[0]] for members in groups.values()]
        of_patch = np.full(len(facade.patches) + 1, -1, dtype=np.int16)
        for k, members in enumerate(groups.values()):
            of_patch[members] = k
        return cls(
            members=tuple(map(tuple, groups.values())), of_patch=of_patch,
            normal=np.array([p.normal for p in firsts]), offset=np.array([p.offset for p in firsts]),
            slope=np.array([p.depth_plane() for p in firsts]),
        )  # fmt: skip

    def lift(self, patch: NDArray[np.integer[Any]], x: ArrayLike, y: ArrayLike) -> Array:
        """Return the points of the front behind places in elevation, (..., 3) [m]; NaN where `patch` is -1: no wall."""
        across, up = np.asarray(x, float), np.asarray(y, float)
        slope = np.append(self.slope, np.full((1, 3), np.nan), axis=0)[self.of_patch[patch]]
        depth = slope[..., 0] + slope[..., 1] * across + slope[..., 2] * up
        return np.stack(np.broadcast_arrays(across, up, depth), axis=-1)

    def ahead(self, points: ArrayLike) -> Array:
        """Return how far `points`, shape (..., 3), lie in front of each plane, shape (..., plane) [m]."""
        return np.asarray(points, float) @ self.normal.T - self.offset


class WallPoints(Frozen, eq=False):
    """Points of the visible front: position (n, 3) [m], index of the patch, area that each stands for as seen [m2]."""

    planes: Planes
    position: Array  # shape (n, 3) [m]
    patch: Index
    weight: Array  # area of the front that each stands for, as the audience sees it [m2]

    @cached_property
    def plane(self) -> Index:
        """Index of the plane of each, shape (n,)."""
        return self.planes.of_patch[self.patch].astype(np.intp)

    @cached_property
    def normal(self) -> Array:
        """Unit normal at each, shape (n, 3)."""
        return self.planes.normal[self.plane]

    @cached_property
    def area(self) -> Array:
        """Area of wall that each stands for, not foreshortened [m2], shape (n,)."""
        return np.asarray(self.weight / self.normal[:, 2])

    @classmethod
    def sample(cls, facade: Facade, members: Sequence[int], extent: Extent, wanted: float) -> Self:
        """Return about as many visible points of `members` as wanted, each patch with its area; none: `InputError`."""
        shapes = exposed(facade)
        seen = {i: shapes[facade.patches[i].name] for i in members}
        area_of = np.zeros(len(facade.patches))
        area_of[list(members)] = [shape.area for shape in seen.values()]
        if not area_of.sum() > 0:
            names = [facade.patches[i].name for i in members]
            raise InputError("target", names, "patches of which the audience sees some")
        raster = FrontRaster.over(facade, extent, float(np.sqrt(area_of.sum() / wanted)))
        rows, columns = np.nonzero(np.isin(raster.patch, list(members)))
        index = raster.patch[rows, columns].astype(np.intp)
        x, y = raster.grid.x[columns], raster.grid.y[rows]
        # What is so slender that it slips between the points gets one.
        missed = np.array([i for i in members if area_of[i] > 0 and i not in index], dtype=np.intp)
        if missed.size:
            more = [seen[i].representative_point() for i in missed.tolist()]
            index, x, y = np.append(index, missed), np.append(x, [m.x for m in more]), np.append(y, [m.y for m in more])
        # However a patch's edges fall between the points, all of it counts.
        weight = (area_of / np.maximum(np.bincount(index, minlength=len(area_of)), 1))[index]
        return cls(planes=raster.planes, position=raster.planes.lift(index, x, y), patch=index, weight=weight)


class FrontRaster(Frozen, eq=False):
    """The visible front on a raster in elevation; `patch` is the index of the patch, -1 where there is no wall."""

    facade: Facade
    grid: Grid
    patch: NDArray[np.int16]
    planes: Planes

    @classmethod
    def over(cls, facade: Facade, extent: Extent, spacing: float) -> Self:
        """Return the raster over `extent` (left, right, bottom, top), with points `spacing` apart [m]."""
        return cls.on(facade, Grid.over(extent, spacing))

    @classmethod
    def on(cls, facade: Facade, grid: Grid) -> Self:
        """Return the front on a grid."""
        return cls(facade=facade, grid=grid, patch=visible(facade, grid), planes=Planes.of(facade))

    @cached_property
    def key(self) -> tuple[Any, bytes, bytes]:
        """What tells it from others: the front's shape and the grid."""
        front = tuple((patch.outline, patch.holes) for patch in self.facade.patches)
        return front, self.grid.x.tobytes(), self.grid.y.tobytes()

    @cached_property
    def plane(self) -> NDArray[np.int16]:
        """Index of the plane at each point, -1 where there is no wall, shape (y, x)."""
        return self.planes.of_patch.take(self.patch, mode="wrap")

    @cached_property
    def windows(self) -> tuple[Window, ...]:
        """Rows and columns that each plane's patches can touch."""
        mine = [self.grid.window([ring[:, :2] for ring in patch.rings]) for patch in self.facade.patches]
        return tuple(around([mine[i] for i in members]) for members in self.planes.members)

    @cached_property
    def points(self) -> Array:
        """World position of each point, shape (y, x, 3) [m]; NaN where there is no wall."""
        return self.planes.lift(self.patch, self.grid.x, self.grid.y[:, None])

    @cached_property
    def pixel_area(self) -> Array:
        """Area of the wall behind one point on each patch [m2], shape (patch,); 0 for patches seen edge-on."""
        return self.grid.spacing**2 / np.array([abs(p.normal[2]) or np.inf for p in self.facade.patches])

    @cached_property
    def runs(self) -> tuple[Index, Index]:
        """Where, read row by row, each run of points on one patch starts, and on which patch it is."""
        flat = self.patch.ravel()
        starts = np.append(0, np.flatnonzero(flat[1:] != flat[:-1]) + 1)
        return starts, flat[starts].astype(np.intp)

    @cached_property
    def seen_area(self) -> float:
        """Area of the visible front, not foreshortened [m2]."""
        starts, patch = self.runs
        lengths = np.diff(np.append(starts, self.patch.size))
        return float((lengths * np.append(self.pixel_area, 0.0)[patch]).sum())

    def at(self, where: Any) -> WallPoints:
        """Return the points that a mask of shape (y, x), or an index into the raster read row by row, picks."""
        flat = np.flatnonzero(where) if np.asarray(where).dtype == bool else np.asarray(where)
        rows, columns = np.divmod(flat, self.grid.x.size)
        patch = self.patch.ravel()[flat].astype(np.intp)
        position = self.planes.lift(patch, self.grid.x[columns], self.grid.y[rows])
        weight = np.full(flat.shape, self.grid.spacing**2)
        return WallPoints(planes=self.planes, position=position, patch=patch, weight=weight)


def middle(facade: Facade) -> Point:
    """Return the middle of a front's extent, on the plane z = 0 [m]: what is looked at."""
    left, right, bottom, top = facade.bounds
    return (left + right) / 2.0, (bottom + top) / 2.0, 0.0


def check_in_front(facade: Facade, points: ArrayLike, where: str, what: str) -> None:
    """Refuse one of `points`, (n, 3), behind or inside the front; `where` and `what` ("a lens") are what is said."""
    given = np.atleast_2d(np.asarray(points, float))
    seen = [p for p in facade.patches if p.faces_audience]
    behind_all = np.logical_and.reduce([given @ p.normal - p.offset <= SAME_PLANE for p in seen])
    if behind_all.any():
        right = f"{what} in front of the house; this one is behind the wall"
        raise InputError(where, tuple(given[behind_all.argmax()].tolist()), right)
    for patch in seen:
        z0, zx, zy = patch.depth_plane()
        candidates = given[z0 + zx * given[:, 0] + zy * given[:, 1] >= given[:, 2]]
        covered = shapely.intersects_xy(patch.elevation, candidates[:, :2])
        if covered.any():
            right = f"{what} in front of the house; this one is behind or inside patch {patch.name!r}"
            raise InputError(where, tuple(candidates[covered.argmax()].tolist()), right)
