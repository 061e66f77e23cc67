"""Points on the front: which plane each lies in, where it is in the world, and what stands before it."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from kit.errors import InputError
from kit.wall.facade import Facade
from kit.wall.raster import SAME_PLANE, elevation_rings

Array = NDArray[np.float64]


def planes_of(facade: Facade) -> list[list[int]]:
    """Return the indices of visible patches, grouped by the plane they lie in."""
    groups: dict[tuple[float, ...], list[int]] = {}
    for i, patch in enumerate(facade.patches):
        if patch.faces_audience:
            key = tuple(round(c / SAME_PLANE) for c in patch.depth_plane())
            groups.setdefault(key, []).append(i)
    return list(groups.values())


def plane_at(planes: list[list[int]], slot: NDArray[np.intp]) -> NDArray[np.int16]:
    """Return the index in `planes` of the plane that is visible at each point, -1 where there is no wall."""
    plane_of = np.full(1 + max(map(max, planes)) + 1, -1, dtype=np.int16)
    for k, members in enumerate(planes):
        plane_of[np.array(members) + 1] = k
    return plane_of.take(slot)


def check_in_front(facade: Facade, points: ArrayLike, where: str, what: str) -> None:
    """Raise `InputError` if one of `points`, shape (n, 3), lies behind or inside the front.

    `where` names the field and `what` the thing that is there ("a lens"), for the message.
    """
    given = np.atleast_2d(np.asarray(points, float))
    seen = [p for p in facade.patches if p.faces_audience]
    behind_all = np.logical_and.reduce([given @ p.normal - p.offset <= SAME_PLANE for p in seen])
    if behind_all.any():
        right = f"{what} in front of the house; this one is behind the wall"
        raise InputError(where, tuple(given[behind_all.argmax()].tolist()), right)
    for patch in seen:
        z0, zx, zy = patch.depth_plane()
        candidates = given[z0 + zx * given[:, 0] + zy * given[:, 1] >= given[:, 2]]
        if not len(candidates):
            continue
        outline, *holes = elevation_rings(patch)
        covered = shapely.intersects_xy(shapely.Polygon(outline, holes), candidates[:, :2])
        if covered.any():
            right = f"{what} in front of the house; this one is behind or inside patch {patch.name!r}"
            raise InputError(where, tuple(candidates[covered.argmax()].tolist()), right)


def wall_points(facade: Facade, patch: NDArray[np.integer[Any]], x: Array, y: Array) -> Array:
    """Return the points of the front behind places in elevation, shape (..., 3) [m].

    `patch` is the index of the visible patch at each, -1 where there is no wall, which is NaN; all three broadcast.
    """
    planes = [p.depth_plane() if p.faces_audience else (np.nan,) * 3 for p in facade.patches]
    z0, zx, zy = np.moveaxis(np.array([*planes, (np.nan,) * 3])[patch], -1, 0)
    return np.stack(np.broadcast_arrays(x, y, z0 + zx * x + zy * y), axis=-1)


def wall_planes(facade: Facade, shown: NDArray[np.int16]) -> tuple[Array, NDArray[np.int16]]:
    """Return the normals of the planes of a front, shape (n, 3), and which one each visible point lies in, -1 for none.

    `shown` is the index of the visible patch, -1 where there is no wall.
    """
    planes = planes_of(facade)
    normals = np.array([facade.patches[members[0]].normal for members in planes])
    return normals, plane_at(planes, shown.astype(np.intp) + 1)
