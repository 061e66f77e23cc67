"""Where the light of projectors lands: illuminance per lumen on every visible point, shadows included.

This is the part of a map that geometry alone decides. Lumens, losses, surfaces and ambient light come later, so a
change to one of those need not cast the light anew.
"""

from collections.abc import Iterator, Sequence
from functools import partial
from typing import Any

import numpy as np
import shapely
from scipy.spatial import cKDTree

from kit.arrays import Array, Extent, Mask
from kit.blocks import Memory, in_bands
from kit.errors import InputError
from kit.fields import Frozen
from kit.source.beam import Beam, Landing, zone_table
from kit.source.placement import Placement
from kit.source.projector import Projector
from kit.wall.facade import Facade
from kit.wall.occlusion import Obstacle, Occluders, reached
from kit.wall.points import FrontRaster, Planes, WallPoints, check_in_front
from kit.wall.raster import SAME_PLANE, Grid, exposed

Machines = tuple[tuple[Projector, Placement], ...]
Pairs = Sequence[tuple[Projector, Placement]]


class Cast(Frozen, eq=False):
    """Light of each projector on the front, per lumen."""

    raster: FrontRaster
    beams: tuple[Beam, ...]
    units: Array  # illuminance, shape (projector, y, x) [lx/lm], NaN where there is no wall
    share: Array  # of a projector's light that lands on the visible part of each patch, shape (projector, patch)
    hidden: dict[str, float]  # of what pictures would reach of the judged front, by each obstacle, where it hides any

    def landings(self, among: Mask | bool = True) -> Iterator[tuple[WallPoints, Landing]]:
        """Return, for each projector, those of some points (y, x) that it lights, and how its beam meets them."""
        for beam, unit in zip(self.beams, self.units, strict=True):
            points = self.raster.at((unit > 0.0) & among)
            yield points, beam.on(points.position, points.normal)


# A slider that moves no lens need not cast the light anew; large casts would hold memory.
_recent: Memory[Cast] = Memory(keep=2, most=1 << 20)
_walls: Memory[Any] = Memory(keep=8, most=1)
# Walls that light each other: about so many pieces; after so many bounces a thousandth is left in a white porch.
MANY, BOUNCES, NEAR = 800, 16, 4.0
NINE = np.stack(np.meshgrid([-1 / 3, 0, 1 / 3], [-1 / 3, 0, 1 / 3]), axis=-1).reshape(-1, 2)


def cast_light(
    facade: Facade, projectors: Machines, extent: Extent, spacing: float, obstacles: Sequence[Obstacle] = ()
) -> Cast:
    """Cast the light of `projectors` on the `extent` (left, right, bottom, top) of `facade`, in pixels [m], zones
    applied.
    A lens behind or inside the front, a picture that misses it or that `obstacles` hide, an empty extent: `InputError`.
    """
    lenses = tuple((p.fixed_throw_ratio(), p.resolution, p.lens_shift, p.zones, place) for p, place in projectors)
    grid = Grid.over(extent, spacing)
    things = tuple(thing for thing in obstacles if thing.blocks)
    outlines = tuple((p.outline, p.holes, p.judged) for p in facade.patches)
    key = outlines, lenses, extent, grid.spacing, things
    return _recent.get(key, grid.x.size * grid.y.size, lambda: _cast(facade, projectors, grid, extent, things))


def _cast(facade: Facade, projectors: Machines, grid: Grid, extent: Extent, obstacles: tuple[Obstacle, ...]) -> Cast:
    raster = FrontRaster.on(facade, grid)
    if raster.patch.max() < 0:
        raise InputError("extent", extent, "an extent that shows some of the front")
    beams, units, shares = [], [], []
    for count, (projector, placement) in enumerate(projectors, 1):
        check_in_front(facade, placement.position, f"projector {count}: position", "a lens")
        beams.append(Beam.of(projector, placement))
        units.append(unit_map(raster, beams[-1], obstacles))
        shares.append(landed(units[-1], raster))
        if not shares[-1].any():
            if obstacles and reached(raster, beams[-1].position, beams[-1].corners()).any():
                names = ", ".join(thing.name for thing in obstacles)
                right = f"obstacles that leave some of the picture of projector {count}; these hide all of it"
                raise InputError("obstacles", names, right)
            given = placement.position, placement.aim, projector.lens_shift
            right = "a picture that meets the front; this one misses it"
            raise InputError(f"projector {count}: position, aim, lens_shift", given, right)
    together = units[0][None] if len(units) == 1 else np.array(units)
    judged = np.append([patch.judged for patch in facade.patches], False)[raster.patch]

    def lit(*things: Obstacle) -> int:
        found = [reached(raster, beam.position, beam.corners(), things) for beam in beams]
        return int(np.count_nonzero(np.any(found, axis=0) & judged))

    free = lit() if obstacles else 0
    hides = {thing.name: 1.0 - lit(thing) / free for thing in obstacles} if free else {}
    hidden = {name: share for name, share in hides.items() if share > 0.0}
    return Cast(raster=raster, beams=tuple(beams), units=together, share=np.array(shares), hidden=hidden)


def sums(values: Array, raster: FrontRaster) -> Array:
    """Return the integral of `values`, per area of wall, over the visible part of each patch, (patch,), by runs."""
    starts, patch = raster.runs
    runs = np.add.reduceat(values.ravel(), starts)
    return np.bincount(patch + 1, weights=runs, minlength=len(raster.pixel_area) + 1)[1:] * raster.pixel_area


def landed(unit: Array, raster: FrontRaster) -> Array:
    """Return the share of a projector's light that lands on each patch; edges between points may count too large."""
    share = sums(unit, raster)
    return share / max(1.0, share.sum())


def blended(cast: Cast) -> tuple[Array, Array]:
    r"""Return `Cast.units` and `Cast.share` where pictures that overlap are faded into each other.

    At a point that projectors :math:`j` reach, the white of projector :math:`i` is kept by :math:`w_i = d_i / \sum_j
    d_j`, with :math:`d = \min(1/2 - |a|, 1/2 - |u|)` the distance to its picture's nearest edge, in shares of its width
    or height. Where one alone reaches the point its weight is 1; where all stand on an edge they share alike: the
    weights add up to 1.
    """
    lit = [unit > 0.0 for unit in cast.units]
    where = np.flatnonzero(np.sum(lit, axis=0) > 1)
    if not where.size:
        return cast.units, cast.share
    points = cast.raster.at(where).position
    weights = np.zeros((len(cast.beams), where.size))
    reach = np.array([mask.ravel()[where] for mask in lit])
    for weight, beam, here in zip(weights, cast.beams, reach, strict=True):
        landing = beam.on(points[here])
        # A point on the very edge may lie outside by rounding.
        weight[here] = np.maximum(0.0, 0.5 - np.maximum(np.abs(landing.across), np.abs(landing.up)))
    total = weights.sum(axis=0)
    weights = np.where(total > 0.0, weights / np.where(total > 0.0, total, 1.0), reach / reach.sum(axis=0))
    units = cast.units.copy()
    units.reshape(len(units), -1)[:, where] *= weights
    return units, np.array([landed(unit, cast.raster) for unit in units])


def unit_map(raster: FrontRaster, beam: Beam, obstacles: Sequence[Obstacle] = ()) -> Array:
    """Return `Beam.illuminance` on a raster, (y, x), with shadows [lx/lm]: on a plane, depth is linear in x and y."""
    from kit.light.kernel import unit_rows

    lit = reached(raster, beam.position, beam.corners(), obstacles)
    slope, lens = raster.planes.slope, beam.position
    # X - lens along an axis, on each plane: how it grows with x and with y, and at (0, 0).
    axes = np.empty((len(slope), 3, 3))
    for k, a in enumerate((beam.forward, beam.right, beam.up)):
        axes[:, k, 0], axes[:, k, 1] = a[0] + a[2] * slope[:, 1], a[1] + a[2] * slope[:, 2]
        axes[:, k, 2] = a[2] * slope[:, 0] - a @ lens
    strength = float(beam.unit_illuminance) * raster.planes.ahead(lens)
    window = np.stack([beam.centre - 0.5 * beam.size, beam.size], axis=1).ravel()
    zones = np.empty((0, 0)) if beam.zones is None else zone_table(beam.zones)
    result = np.empty(lit.shape)
    given = (raster.plane, lit, raster.grid.x, raster.grid.y, axes, strength, window, zones, result)
    in_bands(lambda first, last: unit_rows(first, last, *given), *lit.shape)
    return result


def light_from_walls(
    raster: FrontRaster, beams: Sequence[Beam], lumens: Array, reflectance: Array, obstacles: Sequence[Obstacle]
) -> Array | None:
    """Return the light of full white by way of other walls, (y, x) [lx]; None where no walls face each other."""
    front = raster.key[0], tuple(obstacles)
    # Each piece is diffuse and lit back by what it lights (Goral et al. 1984, doi:10.1145/964965.808601).
    walls = _walls.get(front, 1, partial(pieces, raster.facade, obstacles))
    middle, normal, area, patch, view, occluders = walls
    if not view.any():
        return None
    got = direct = np.zeros(len(area))
    for beam, light in zip(beams, lumens, strict=True):
        seen = partial(occluders.hidden, middle, np.full(len(area), -2), beam.position[None])
        lit = ~_walls.get((*front, beam.position.tobytes()), 1, seen)[0]
        got = direct = direct + light * lit * beam.illuminance(middle, normal)
    for _ in range(BOUNCES):
        got = direct + view @ (reflectance[patch] * got)
    sent, result = reflectance[patch] * got, np.where(raster.patch < 0, np.nan, 0.0)
    for k in np.intersect1d(patch[normal[:, 2] > 0.0], raster.patch):
        here, mine = raster.patch == k, np.flatnonzero(patch == k)
        near, which = cKDTree(middle[mine]).query(raster.points[here], [1, 2, 3, 4])
        light = np.take(view[mine] @ sent, which, mode="clip")
        result[here] = np.average(light, axis=1, weights=1.0 / (near**2 + 1e-12))
    return result


def pieces(facade: Facade, obstacles: Sequence[Obstacle] = ()) -> tuple[Any, ...]:
    """Return middle, normal, area and patch of each piece, what each fills of the view of another, what hides them.

    A piece is seen as a disc, from nearer than `NEAR` of its sizes as nine. What is seen edge-on and narrower than half
    a piece, such as a window's returns, is left out, and what hides the middle of a piece hides all of it. So the
    bungalow of the pages gets 7% less below its eaves than by a path tracer, the brick house 20%, the door in its porch
    25%, and its bay lacks the 0.2 lx of a roof that juts out by less than a piece.
    """
    step = float(np.sqrt(sum(p.area * (2 - p.faces_audience) for p in facade.patches) / MANY))
    shown, planes, sides = exposed(facade), Planes.of(facade).of_patch, []
    for index, patch in enumerate(facade.patches):
        ways: tuple[float, ...] = (1.0, -1.0)
        if patch.faces_audience:
            shape, (z0, zx, zy) = shown[patch.name], patch.depth_plane()
            axes, origin, ways = np.array([(1.0, 0.0, zx), (0.0, 1.0, zy)]), np.array([0.0, 0.0, z0]), (1.0,)
        else:
            aside = np.cross(patch.normal, np.eye(3)[np.abs(patch.normal).argmin()])
            axes = np.array([aside, np.cross(patch.normal, aside)]) / np.linalg.norm(aside)
            shape, origin = patch.along(axes), patch.offset * patch.normal
        low, high = np.reshape(shape.bounds if shape.area else np.zeros(4), (2, 2))
        size = (high - low) * np.linalg.norm(axes, axis=1)
        counts = np.maximum(1, np.rint(size / step)).astype(int)
        place = (np.indices(counts).reshape(2, -1).T + 0.5) / counts * (high - low) + low
        place = place[shapely.contains_xy(shape, place)]
        if not len(place) and shape.area:  # too narrow for any
            place = np.array(shape.representative_point().coords)
        if len(place) and (len(ways) == 1 or min(size) > 0.5 * step):
            each = np.full(len(place), shape.area / len(place) / (patch.normal[2] or 1.0))
            which, nine = np.full(len(place), index), NINE * ((high - low) / counts) @ axes
            parts = np.tile(nine, (len(place), 1, 1))
            for way in ways:
                sides.append((place @ axes + origin, np.tile(way * patch.normal, (len(place), 1)), each, which, parts))
    middle, normal, area, patch_of, parts = map(np.concatenate, zip(*sides, strict=True))
    plane, occluders, view = np.where(normal[:, 2] > 0.0, planes[patch_of], -2), Occluders.of(facade, obstacles), []
    for mine, across, *_ in sides:
        ray = middle - mine[:, None]
        seen = filled_by(ray, across[0], normal, area)
        i, k = np.nonzero(np.vecdot(ray, ray) < NEAR**2 * area)
        near = ray[i, k, None] + parts[k]
        seen[i, k] = filled_by(near, across[0], normal[k, None], area[k, None] / len(NINE)).sum(axis=1)
        facing = np.flatnonzero((seen > 1e-9).any(axis=0))
        # A little before its own plane, whose patches hide nothing.
        seen[:, facing] *= ~occluders.hidden(middle[facing], plane[facing], mine + 2.0 * SAME_PLANE * across)
        view.append(seen)
    found = np.concatenate(view)
    # Where faces lie close behind each other, more may seem to be seen than there is.
    return middle, normal, area, patch_of, found / np.maximum(found.sum(axis=1, keepdims=True), 1.0), occluders


def filled_by(ray: Array, across: Array, normal: Array, area: Array) -> Array:
    """Return what discs at the ends of rays, shape (..., 3), fill of the view of a plane of unit normal `across`."""
    square = np.vecdot(ray, ray)
    seen = np.maximum(ray @ across, 0.0) * np.maximum(-np.vecdot(ray, normal), 0.0)
    return np.asarray(seen * area / (np.pi * square * square + area * square + 1e-300))
