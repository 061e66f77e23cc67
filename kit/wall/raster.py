"""Exact masks on the raster: what the audience sees, what the picture reaches, what lies in shadow.

The raster is the front in elevation, as seen from far away along z. A point belongs to a polygon if its pixel's centre
does: no sampling noise, and two polygons that share an edge neither overlap nor leave a gap. A shadow is a polygon too:
an outline, clipped to the slab between the plane behind it and the lens, and projected onto that plane.
"""

import math
from typing import Any, Self

import numpy as np
import shapely

from kit.arrays import Array, Extent, Mask, NDArray
from kit.errors import InputError
from kit.fields import Frozen, Number
from kit.wall.facade import Facade, Patch

Window = tuple[slice, slice]

# Depths closer than this count as one plane [m]; far below a tape measure, far above rounding.
SAME_PLANE = 1e-6
# Largest raster that is not surely a slip of the spacing.
MAX_PIXELS = 40_000_000


class Grid(Frozen):
    """Pixel centres of a raster with square pixels, in metres, both axes ascending."""

    x: Array
    y: Array
    spacing: float

    @classmethod
    def over(cls, extent: Extent, spacing: float) -> Self:
        """Return the grid of pixels of a size over (left, right, bottom, top) [m]; none, or too many: `InputError`."""
        step = Number(above=0.0, unit="m").check("spacing", spacing)
        left, right, bottom, top = extent
        if not (right > left and top > bottom):
            raise InputError("extent", extent, "(left, right, bottom, top) with left < right, bottom < top")
        # A little less, so that 2.1 m / 0.3 m is 7 pixels and not 8: rounding.
        sizes = [(length / step) - 1e-9 for length in (right - left, top - bottom)]
        if max(sizes[0], 1.0) * max(sizes[1], 1.0) > MAX_PIXELS:
            raise InputError("spacing", spacing, f"a spacing that makes at most {MAX_PIXELS} pixels over {extent}")
        across, up = (max(1, math.ceil(size)) for size in sizes)
        x = left + step * (np.arange(across, dtype=np.float64) + 0.5)
        y = bottom + step * (np.arange(up, dtype=np.float64) + 0.5)
        return cls(x=x, y=y, spacing=step)

    def window(self, rings: list[Array]) -> Window:
        """Return the rows and columns that the polygons of `rings` can touch."""
        corners = np.concatenate(rings)
        low, high = corners.min(axis=0), corners.max(axis=0)
        columns = np.searchsorted(self.x, (low[0], high[0]), side="left")
        rows = np.searchsorted(self.y, (low[1], high[1]), side="left")
        return slice(int(rows[0]), int(rows[1])), slice(int(columns[0]), int(columns[1]))

    def inside(self, rings: list[Array], window: Window) -> Mask:
        """Return which pixel centres of `window` lie inside closed rings, shape (n, 2) [m], by the even-odd rule."""
        ys, xs = self.y[window[0]], self.x[window[1]]
        mask = np.zeros((ys.size, xs.size), dtype=bool)
        column = np.arange(xs.size, dtype=np.int16 if xs.size < 1 << 15 else np.int32)
        for ring in rings:
            cuts = np.searchsorted(ys, ring[:, 1]).tolist()
            points = ring.tolist()
            for k, (x2, y2) in enumerate(points):
                first, last = cuts[k - 1], cuts[k]
                if first == last:
                    continue
                x1, y1 = points[k - 1]
                if first > last:
                    first, last = last, first
                crossing = x1 + (ys[first:last] - y1) * ((x2 - x1) / (y2 - y1))
                start = np.searchsorted(xs, crossing).astype(column.dtype)
                # Everything to the right of an edge changes sides.
                near, far = sorted((int(start[0]), int(start[-1])))
                part = mask[first:last, near:]
                if near == far:
                    np.logical_not(part, out=part)
                else:
                    part ^= column[near:] >= start[:, None]
        return mask


def visible(facade: Facade, grid: Grid) -> NDArray[np.int16]:
    """Return the index of the patch that the audience sees at each pixel, shape (y, x), -1 where there is none."""
    index = np.full((grid.y.size, grid.x.size), -1, dtype=np.int16)
    seen = [(i, p) for i, p in enumerate(facade.patches) if p.faces_audience]
    # From back to front: only patches whose depths overlap in z need comparing point by point.
    nearest, farthest = ({i: end(c[2] for c in p.outline) for i, p in seen} for end in (max, min))
    painted: list[int] = []
    for i, patch in sorted(seen, key=lambda item: round(nearest[item[0]] / SAME_PLANE)):
        rings = [ring[:, :2] for ring in patch.rings]
        window = grid.window(rings)
        mask = grid.inside(rings, window)
        rivals = [k for k in painted if nearest[k] > farthest[i] + SAME_PLANE]
        for k in rivals:
            held = mask & (index[window] == k)
            if held.any():
                # In one plane, what comes later in the list lies on top.
                limit = _depth(patch, grid, window) + (-SAME_PLANE if k > i else SAME_PLANE)
                mask &= ~(held & (_depth(facade.patches[k], grid, window) > limit))
        np.copyto(index[window], np.int16(i), where=mask)
        painted.append(i)
    return index


def exposed(facade: Facade) -> dict[str, Any]:
    """Return what the audience sees of each patch, by name: shapely geometries in x and y [m], the exact `visible`."""
    seen = [(p, p.elevation) for p in facade.patches if p.faces_audience]
    result = {}
    for i, (patch, shape) in enumerate(seen):
        for j, (other, cover) in enumerate(seen):
            if j == i or not shape.intersects(cover):
                continue
            # How far the other patch lies in front is linear in x and y: where it does, it hides this one.
            z0, zx, zy = np.subtract(other.depth_plane(), patch.depth_plane())
            corners = np.insert(shapely.get_coordinates(shapely.box(*cover.bounds))[:-1], 2, 1.0, axis=1)
            margin = -SAME_PLANE if j > i else SAME_PLANE
            nearer = clip(corners, np.array([zx, zy, z0]), margin)
            if len(nearer) >= 3:
                # A whole one is not cut by its own box, which could lose some of it to rounding.
                shape = shape - (cover if nearer is corners else cover & shapely.Polygon(nearer[:, :2]))
        result[patch.name] = shape
    return result


def _depth(patch: Patch, grid: Grid, window: Window) -> Array:
    """Return z of the patch's plane on the points of `window` [m]."""
    z0, zx, zy = patch.depth_plane()
    return (z0 + zy * grid.y[window[0]])[:, None] + zx * grid.x[window[1]]


def picture_rings(directions: Array, lens: Array, normal: Array, offset: float) -> list[Array]:
    """Return the outline, by rays to its corners (4, 3), of a picture on ``normal . X = offset``; empty for none."""
    height = float(normal @ lens) - offset
    # The part of the picture whose rays approach the plane, not nearly parallel to it or away.
    towards = clip(directions, -normal, 1e-6 * float(np.linalg.norm(directions, axis=1).max()))
    if height <= 0 or len(towards) < 3:
        return []
    landed = lens + towards * (height / -(towards @ normal))[:, None]
    return [landed[:, :2]]


def clip(corners: Array, normal: Array, offset: float) -> Array:
    """Return the part of a polygon, shape (n, 3), where ``normal . X >= offset`` (Sutherland-Hodgman)."""
    above = corners @ normal - offset
    if np.all(above >= 0):
        return corners
    result: list[Array] = []
    for i in range(len(corners)):
        here, there = above[i - 1], above[i]
        if (here >= 0) != (there >= 0):
            result.append(corners[i - 1] + (corners[i] - corners[i - 1]) * (here / (here - there)))
        if there >= 0:
            result.append(corners[i])
    return np.array(result).reshape(-1, 3)


def around(windows: list[Window]) -> Window:
    """Return the smallest window that holds all of them."""
    rows, columns = (slice(min(w[k].start for w in windows), max(w[k].stop for w in windows)) for k in (0, 1))
    return rows, columns


def within(area: Window, window: Window) -> Window:
    """Return `area` counted from the corner of `window`."""
    rows, columns = (slice(a.start - w.start, a.stop - w.start) for a, w in zip(area, window, strict=True))
    return rows, columns


def common(one: Window, other: Window) -> Window | None:
    """Return the overlap of two windows, or None."""
    rows = slice(max(one[0].start, other[0].start), min(one[0].stop, other[0].stop))
    columns = slice(max(one[1].start, other[1].start), min(one[1].stop, other[1].stop))
    return (rows, columns) if rows.start < rows.stop and columns.start < columns.stop else None
