"""What hides a point of the front from a lens, a lamp, an eye or the moon."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from kit.wall.facade import Facade, Patch
from kit.wall.raster import SAME_PLANE, Array, Grid, Mask, Window, clip, common, within


def outlines(facade: Facade) -> tuple[Array, NDArray[np.intp]]:
    """Return the outlines of all patches one after the other, shape (n, 3), and the index where each starts."""
    corners = np.concatenate([p.rings[0] for p in facade.patches])
    return corners, np.cumsum([0, *(len(p.rings[0]) for p in facade.patches[:-1])])


def shade(
    lit: Mask,
    window: Window,
    facade: Facade,
    members: list[int],
    light: Array,
    grid: Grid,
    corners: tuple[Array, NDArray[np.intp]],
) -> None:
    """Take from `lit` the points of one plane that the front's own depth hides from a point of light.

    Parameters
    ----------
    lit : array of bool
        On `window`; changed in place.
    window : (slice, slice)
        Rows and columns of the raster.
    members : list of int
        Patches in the plane, which cast no shadow on it.
    light : array, shape (3,)
        A lens or a lamp, in front of the plane [m].
    corners
        What `outlines` returns for `facade`.
    """
    normal, offset = facade.patches[members[0]].normal, facade.patches[members[0]].offset
    for i in _casters(*corners, light, normal, offset, grid, window):
        if i in members:
            continue
        rings = shadow_rings(facade.patches[i], light, normal, offset)
        area = common(window, grid.window(rings)) if rings else None
        if area is not None:
            lit[within(area, window)] &= ~grid.inside(rings, area)


def _casters(
    corners: Array,
    starts: NDArray[np.intp],
    lens: Array,
    normal: Array,
    offset: float,
    grid: Grid,
    window: Window,
) -> NDArray[np.intp]:
    """Return the patches that may cast a shadow into `window` on the plane ``normal . X = offset``.

    `corners` holds the outlines of all patches one after the other, each from its index in `starts`.
    """
    height = float(normal @ lens) - offset
    above = corners @ normal - offset
    high, low = np.maximum.reduceat(above, starts), np.minimum.reduceat(above, starts)
    # Where every corner lies below the lens, the shadow stays within the box of the corners' images.
    scale = height / np.maximum(height - above, 1e-12 * height)
    landed = (lens + (corners - lens) * scale[:, None])[:, :2]
    least, most = np.minimum.reduceat(landed, starts), np.maximum.reduceat(landed, starts)
    x, y = grid.x[window[1]], grid.y[window[0]]
    apart = (least[:, 0] > x[-1]) | (most[:, 0] < x[0]) | (least[:, 1] > y[-1]) | (most[:, 1] < y[0])
    apart &= high < height * (1.0 - 1e-6)
    return np.flatnonzero((high > SAME_PLANE) & (low < height) & ~apart)


def shadow_rings(occluder: Patch, lens: Array, normal: Array, offset: float) -> list[Array]:
    """Return the shadow of `occluder` on the plane ``normal . X = offset``, in elevation.

    Parameters
    ----------
    occluder : Patch
    lens : array, shape (3,)
        In front of the plane [m].
    normal, offset
        The plane that is lit, normal towards the audience.

    Returns
    -------
    list of array, shape (n, 2)
        Rings in x and y [m], for the even-odd rule; empty if there is no shadow.
    """
    height = float(normal @ lens) - offset
    # At the lens's own height above the plane the shadow goes to infinity.
    limit = height * (1.0 - 1e-6)
    rings = []
    for corners in occluder.rings:
        above = corners @ normal - offset
        if above.max() <= SAME_PLANE or above.min() >= limit:
            continue
        if above.min() < 0 or above.max() > limit:
            corners = clip(clip(corners, normal, offset), -normal, -(offset + limit))
            if len(corners) < 3:
                continue
            above = corners @ normal - offset
        landed = lens + (corners - lens) * (height / (height - above))[:, None]
        rings.append(landed[:, :2])
    return rings


def covers(patch: Patch, points: Array) -> NDArray[np.bool_]:
    """Return which points of the patch's plane, shape (n, 3), lie on the patch."""
    # Seen along the axis that is nearest to its normal, a patch keeps its shape.
    kept = [k for k in range(3) if k != int(np.abs(patch.normal).argmax())]
    outline, *holes = (shapely.Polygon(ring[:, kept]) for ring in patch.rings)
    shape = outline.difference(shapely.union_all(holes))
    return np.asarray(shapely.intersects_xy(shape, points[:, kept[0]], points[:, kept[1]]))


def first_met(facade: Facade, start: Array, end: Array) -> Array:
    """Return where rays from `start` through `end` first meet a patch, as a share of the way to `end`.

    Parameters
    ----------
    start, end : array, shape (n, 3) or (3,)
        They broadcast.

    Returns
    -------
    array, shape (n,)
        Below 1 for a patch in between, above 1 for one beyond `end`, infinite for none.
    """
    start, end = np.broadcast_arrays(np.atleast_2d(start), np.atleast_2d(end))
    ray = end - start
    least = SAME_PLANE / np.linalg.norm(ray, axis=1)
    first = np.full(len(ray), np.inf)
    for patch in facade.patches:
        above = start @ patch.normal - patch.offset
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            share = -above / (ray @ patch.normal)
        ahead = np.flatnonzero((share > least) & (share < first))
        if ahead.size:
            met = ahead[covers(patch, start[ahead] + share[ahead, None] * ray[ahead])]
            first[met] = share[met]
    return first
