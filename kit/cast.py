"""Where the light lands: illuminance per lumen on every visible point, shadows included.

This is the part of a map that geometry alone decides. Lumens, losses, surfaces and ambient light come later, in
`light.py`, so a change to one of those need not cast the light anew.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property
from threading import Lock
from typing import TypeVar

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from kit.errors import InputError
from kit.facade import Facade
from kit.projector import Projector
from kit.raster import (
    SAME_PLANE,
    Grid,
    Mask,
    Window,
    elevation_rings,
    picture_rings,
    shadow_rings,
    visible,
    wall_points,
)
from kit.throw import Placement, picture_position, picture_window, unit_illuminance, zone_gain

Array = NDArray[np.float64]
Block = TypeVar("Block")

# Rows are worked through in blocks of about this many points, which stay in the processor's cache.
BLOCK = 1 << 16
# The last few casts are kept, so that a slider which moves no lens is quick; large ones would hold memory.
KEPT, KEPT_PIXELS = 2, 1 << 20


@dataclass(frozen=True, kw_only=True)
class Cast:
    """Light of each projector on the front, per lumen.

    Parameters
    ----------
    grid : Grid
    patch : array, shape (y, x)
        Index of the visible patch, -1 where there is no wall.
    slot : array, shape (y, x)
        The same plus one.
    units : tuple of array, shape (y, x)
        For each projector, illuminance [lx/lm]; NaN where there is no wall.
    share : array, shape (projector, patch)
        Of a projector's light that lands on the visible part of each patch.
    pixel_area : array, shape (patch,)
        Of the wall behind one pixel [m2]; 0 for patches seen edge-on.
    """

    grid: Grid
    patch: NDArray[np.int16]
    slot: NDArray[np.intp]
    units: tuple[Array, ...]
    share: Array
    pixel_area: Array

    @cached_property
    def seen_area(self) -> float:
        """Area of the visible front, not foreshortened [m2]."""
        counts = np.bincount(self.slot.ravel(), minlength=len(self.pixel_area) + 1)
        return float(counts[1:] @ self.pixel_area)


_recent: OrderedDict[tuple[object, ...], Cast] = OrderedDict()
_recent_lock = Lock()


def cast_light(
    facade: Facade,
    projectors: tuple[tuple[Projector, Placement], ...],
    extent: tuple[float, float, float, float],
    spacing: float,
) -> Cast:
    """Cast the light of `projectors` on `facade`.

    Parameters
    ----------
    facade : Facade
    projectors : sequence of (Projector, Placement)
        Their zones are applied, their chains and light outputs are not.
    extent : (left, right, bottom, top)
        Part of the front [m].
    spacing : float
        Pixel size [m].

    Raises
    ------
    InputError
        For a lens behind or inside the front, a picture that misses it, or an extent that shows none of it.
    """
    lenses = tuple((p.fixed_throw_ratio(), p.aspect, p.lens_shift, p.zones, place) for p, place in projectors)
    grid = Grid.over(extent, spacing)
    key = (tuple((p.outline, p.holes) for p in facade.patches), lenses, extent, grid.spacing)
    with _recent_lock:
        if key in _recent:
            _recent.move_to_end(key)
            return _recent[key]
    patch = visible(facade, grid)
    if patch.max() < 0:
        raise InputError("extent", extent, "an extent that shows some of the front")
    planes = planes_of(facade)
    slot = patch.astype(np.intp)
    slot += 1
    pixel_area = grid.spacing**2 / np.array([abs(p.normal[2]) or np.inf for p in facade.patches])
    units, shares = [], []
    for count, (projector, placement) in enumerate(projectors, 1):
        check_in_front(facade, placement.position, f"projector {count}: position", "a lens")
        unit = _unit_map(facade, planes, slot, grid, projector, placement)
        landed = _sums(unit, slot, len(facade.patches))
        if not landed.any():
            raise InputError(
                f"projector {count}: position, aim, lens_shift",
                (placement.position, placement.aim, projector.lens_shift),
                "a picture that meets the front; this one misses it",
            )
        units.append(unit)
        shares.append(landed * pixel_area)
    result = Cast(grid=grid, patch=patch, slot=slot, units=tuple(units), share=np.array(shares), pixel_area=pixel_area)
    if patch.size <= KEPT_PIXELS:
        with _recent_lock:
            _recent[key] = result
            while len(_recent) > KEPT:
                _recent.popitem(last=False)
    return result


def _sums(values: Array, slot: NDArray[np.intp], count: int) -> Array:
    """Return the sum of `values` over each patch, shape (count,).

    Along a row a patch is a run of equal slots, so runs are summed first, which is quicker than point by point.
    """
    flat = slot.ravel()
    starts = np.append(0, np.flatnonzero(flat[1:] != flat[:-1]) + 1)
    runs = np.add.reduceat(values.ravel(), starts)
    return np.bincount(flat[starts], weights=runs, minlength=count + 1)[1:].astype(np.float64, copy=False)


def blended(
    facade: Facade, projectors: tuple[tuple[Projector, Placement], ...], cast: Cast
) -> tuple[tuple[Array, ...], Array]:
    r"""Return the light of each projector where pictures that overlap are faded into each other.

    At a wall point that projectors :math:`j` reach, shadows included, the white of projector :math:`i` is kept by

    .. math:: w_i = d_i / \sum_j d_j, \qquad d = \min(1/2 - |a|, 1/2 - |u|),

    with :math:`a` and :math:`u` the position in its own picture, from -1/2 to 1/2 across and up: :math:`d` is the
    distance to the picture's nearest edge, in shares of its width or its height. Where one projector alone reaches the
    point its weight is 1; where all stand on an edge they share alike. The weights at a point add up to 1.

    Parameters
    ----------
    facade : Facade
    projectors : sequence of (Projector, Placement)
        Those that were cast.
    cast : Cast

    Returns
    -------
    units : tuple of array, shape (y, x)
        As `Cast.units`, times the weights.
    share : array, shape (projector, patch)
        As `Cast.share`: what the masks take is the difference.
    """
    lit = [unit > 0.0 for unit in cast.units]
    rows, columns = np.nonzero(np.sum(lit, axis=0) > 1)
    points = wall_points(facade, cast.patch[rows, columns], cast.grid.x[columns], cast.grid.y[rows])
    weights = np.zeros((len(projectors), rows.size))
    reached = np.array([mask[rows, columns] for mask in lit])
    for weight, (projector, placement), here in zip(weights, projectors, reached, strict=True):
        across, up, _ = picture_position(projector, placement, points[here])
        # A point on the very edge may lie outside by rounding.
        weight[here] = np.maximum(0.0, 0.5 - np.maximum(np.abs(across), np.abs(up)))
    total = weights.sum(axis=0)
    weights = np.where(total > 0.0, weights / np.where(total > 0.0, total, 1.0), reached / reached.sum(axis=0))
    units = []
    for unit, weight in zip(cast.units, weights, strict=True):
        faded = unit.copy()
        faded[rows, columns] *= weight
        units.append(faded)
    share = np.array([_sums(unit, cast.slot, len(facade.patches)) * cast.pixel_area for unit in units])
    return tuple(units), share


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


def _unit_map(
    facade: Facade,
    planes: list[list[int]],
    slot: NDArray[np.intp],
    grid: Grid,
    projector: Projector,
    placement: Placement,
) -> Array:
    """Return the illuminance per lumen on the wall, shape (y, x), shadows and zones included.

    `slot` is the index of the visible patch plus one, 0 where there is no wall.
    """
    result = np.zeros(slot.shape)
    np.copyto(result, np.nan, where=slot == 0)
    lens = np.array(placement.position)
    forward, right, up = placement.frame()
    left, right_end, bottom, top = picture_window(projector)
    corners = [(left, bottom), (right_end, bottom), (right_end, top), (left, top)]
    directions = np.array([forward + s * right + t * up for s, t in corners])
    e1 = unit_illuminance(projector)
    corners_of_all = outlines(facade)
    shown = plane_at(planes, slot)
    for k, members in enumerate(planes):
        first = facade.patches[members[0]]
        normal, offset = first.normal, first.offset
        height = float(normal @ lens) - offset
        picture = picture_rings(directions, lens, normal, offset)
        if not picture:
            continue
        own = [grid.window(elevation_rings(facade.patches[i])) for i in members]
        window = _common(grid.window(picture), around(own))
        if window is None:
            continue
        lit: Mask = grid.inside(picture, window)
        lit &= shown[window] == k
        shade(lit, window, facade, members, lens, grid, corners_of_all)

        # X - lens along an axis is linear in x and y on this plane.
        z0, zx, zy = first.depth_plane()

        def linear(axis: Array, area: Window, plane: tuple[float, float, float] = (z0, zx, zy)) -> Array:
            across = (axis[0] + axis[2] * plane[1]) * grid.x[area[1]]
            upward = (axis[1] + axis[2] * plane[2]) * grid.y[area[0]] + (axis[2] * plane[0] - axis @ lens)
            return upward[:, None] + across

        def work(area: Window, lit: Mask = lit, window: Window = window, height: float = height) -> None:
            depth = linear(forward, area)
            light = depth * depth
            light *= depth
            np.divide(e1 * height, light, out=light)
            if projector.zones is not None:
                s = (linear(right, area) / depth - left) / (right_end - left) - 0.5
                t = (linear(up, area) / depth - bottom) / (top - bottom) - 0.5
                light *= zone_gain(projector.zones, s, t)
            np.copyto(result[area], light, where=lit[_within(area, window)])

        areas = [area for mine in own if (area := _common(window, mine)) is not None]
        for i, area in enumerate(areas):
            # A door lies within its wall and is done with it.
            if not any(_common(area, other) == area for j, other in enumerate(areas) if j < i or other != area):
                in_blocks(work, area)
    return result


def in_blocks(work: Callable[[Window], None], area: Window, depth: int = 1) -> None:
    """Call `work` on blocks of rows that stay in the processor's cache, `depth` maps deep.

    The array library lets go of the interpreter while it computes, so two threads share the blocks.
    """
    columns = area[1].stop - area[1].start
    rows = max(1, BLOCK // max(1, columns * depth))
    blocks = [
        (slice(start, min(start + rows, area[0].stop)), area[1]) for start in range(area[0].start, area[0].stop, rows)
    ]
    share_out(work, blocks)


def share_out(work: Callable[[Block], None], blocks: Sequence[Block]) -> None:
    """Call `work` on each block; two threads share them where there are several."""
    if len(blocks) < 4:
        for block in blocks:
            work(block)
    else:
        with ThreadPoolExecutor(max_workers=2) as pool:
            list(pool.map(work, blocks))


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
        area = _common(window, grid.window(rings)) if rings else None
        if area is not None:
            lit[_within(area, window)] &= ~grid.inside(rings, area)


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


def around(windows: list[Window]) -> Window:
    """Return the smallest window that holds all of them."""
    rows, columns = (slice(min(w[k].start for w in windows), max(w[k].stop for w in windows)) for k in (0, 1))
    return rows, columns


def _within(area: Window, window: Window) -> Window:
    """Return `area` counted from the corner of `window`."""
    rows, columns = (slice(a.start - w.start, a.stop - w.start) for a, w in zip(area, window, strict=True))
    return rows, columns


def _common(one: Window, other: Window) -> Window | None:
    """Return the overlap of two windows, or None."""
    rows = slice(max(one[0].start, other[0].start), min(one[0].stop, other[0].stop))
    columns = slice(max(one[1].start, other[1].start), min(one[1].stop, other[1].stop))
    return (rows, columns) if rows.start < rows.stop and columns.start < columns.stop else None
