"""Where the light lands: illuminance per lumen on every visible point, shadows included.

This is the part of a map that geometry alone decides. Lumens, losses, surfaces and ambient light come later, in
`light.py`, so a change to one of those need not cast the light anew.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass
from functools import cached_property
from threading import Lock
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from kit.blocks import in_blocks
from kit.errors import InputError
from kit.source.placement import Placement, picture_position, picture_window, unit_illuminance, zone_gain
from kit.source.projector import Projector
from kit.wall.facade import Facade
from kit.wall.occlusion import outlines, shade
from kit.wall.points import check_in_front, plane_at, planes_of, wall_points
from kit.wall.raster import Grid, Mask, Window, around, common, elevation_rings, picture_rings, visible, within

Array = NDArray[np.float64]
Block = TypeVar("Block")

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
        window = common(grid.window(picture), around(own))
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
            np.copyto(result[area], light, where=lit[within(area, window)])

        areas = [area for mine in own if (area := common(window, mine)) is not None]
        for i, area in enumerate(areas):
            # A door lies within its wall and is done with it.
            if not any(common(area, other) == area for j, other in enumerate(areas) if j < i or other != area):
                in_blocks(work, area)
    return result
