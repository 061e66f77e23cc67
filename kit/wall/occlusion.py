"""Occlusion: what hides a point of the front from a lens, a lamp, an eye or the moon.

Which points of a raster does a light reach? Shadows are polygons, exact to rounding (`reached`). Which of many points
are hidden from which of many places? Segments are clipped by convex pieces (`Occluders.hidden`). What does a ray meet
first? (`first_met`)
"""

from collections.abc import Iterable, Iterator, Sequence
from functools import cached_property
from typing import Any, Self

import numpy as np
import shapely

from kit.arrays import Array, ArrayLike, Index, Mask
from kit.errors import InputError
from kit.fields import FLAG, LENGTH, NAME, Declared, Frozen, Is, Many, Range, Spec, Vector, declared
from kit.wall.facade import Facade, Patch, Surface
from kit.wall.points import FrontRaster, Planes
from kit.wall.raster import SAME_PLANE, Window, clip, common, picture_rings, within


def reached(
    raster: FrontRaster, light: ArrayLike, picture: Array | None = None, obstacles: Sequence["Obstacle"] = ()
) -> Mask:
    """Return which points of a raster a light reaches past front and obstacles; `picture`: rays to its four corners."""
    source, grid = np.asarray(light, float), raster.grid
    patches = (*raster.facade.patches, *(face for obstacle in obstacles for face in obstacle.faces))
    lit = np.zeros(raster.patch.shape, dtype=bool)
    # The outlines of all patches one after the other, and the index where each starts.
    corners = np.concatenate([p.rings[0] for p in patches])
    starts = np.cumsum([0, *(len(p.rings[0]) for p in patches[:-1])])
    for k, height in enumerate(raster.planes.ahead(source).tolist()):
        normal, offset = raster.planes.normal[k], float(raster.planes.offset[k])
        window: Window | None = raster.windows[k] if height > SAME_PLANE else None
        rings = []
        if window and picture is not None:
            rings = picture_rings(picture, source, normal, offset)
            window = common(grid.window(rings), window) if rings else None
        if window is None:
            continue
        mine: Mask = raster.plane[window] == k
        if rings:
            mine &= grid.inside(rings, window)
        if not mine.any():
            continue
        for i in _casters(corners, starts, source, normal, offset, grid.x[window[1]], grid.y[window[0]]):
            if i not in raster.planes.members[k]:
                shadow = shadow_rings(patches[i], source, normal, offset)
                area = common(window, grid.window(shadow)) if shadow else None
                if area is not None:
                    mine[within(area, window)] &= ~grid.inside(shadow, area)
        lit[window] |= mine
    return lit


def _casters(corners: Array, starts: Index, lens: Array, normal: Array, offset: float, x: Array, y: Array) -> Index:
    """Return the patches that may cast a shadow on places `x`, `y` of the plane ``normal . X = offset``."""
    height = float(normal @ lens) - offset
    above = corners @ normal - offset
    high, low = np.maximum.reduceat(above, starts), np.minimum.reduceat(above, starts)
    # Where every corner lies below the lens, the shadow stays within the box of the corners' images.
    scale = height / np.maximum(height - above, 1e-12 * height)
    landed = (lens + (corners - lens) * scale[:, None])[:, :2]
    least, most = np.minimum.reduceat(landed, starts), np.maximum.reduceat(landed, starts)
    apart = (least[:, 0] > x[-1]) | (most[:, 0] < x[0]) | (least[:, 1] > y[-1]) | (most[:, 1] < y[0])
    apart &= high < height * (1.0 - 1e-6)
    return np.flatnonzero((high > SAME_PLANE) & (low < height) & ~apart)


def shadow_rings(occluder: Patch, lens: Array, normal: Array, offset: float) -> list[Array]:
    """Return the shadow of `occluder` on ``normal . X = offset``: rings (n, 2) in elevation, by the even-odd rule."""
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
            above = corners @ normal - offset
        if len(corners) >= 3:
            rings.append((lens + (corners - lens) * (height / (height - above))[:, None])[:, :2])
    return rings


class Plan(Spec):
    """Three or more corners (x, z) of an area on the ground, in order round it [m]."""

    def _checked(self, field: str, value: Any) -> tuple[tuple[float, ...], ...]:
        if isinstance(value, str) or not getattr(value, "ndim", hasattr(value, "__len__")) or len(value) < 3:
            raise InputError(field, value, "three or more corners (x, z) in metres")
        corners = Many(of=Vector(length=2, of=LENGTH.but(low=-1e9, high=1e9)), least=3).check(field, value)
        shape = shapely.Polygon(corners)
        if not shape.is_valid or not shape.area > 0:
            raise InputError(field, corners, "corners in order round an area, with edges that do not cross")
        return corners


AREA = Plan(label="area", meaning="corners (x, z) of the plan [m]")


class Obstacle(Declared):
    """Something in front of the house: a tree, a car; or the people on the walk."""

    thing = "obstacle"
    name: str = declared(NAME)
    area: tuple[tuple[float, float], ...] = declared(AREA)
    heights: tuple[float, float] = declared(Range(label="heights", of=LENGTH, meaning="bottom and top above ground"))
    blocks: bool = declared(FLAG, default=True, meaning="stops light; of people, the share of the beam on them is told")

    def _agree(self, where: str) -> None:
        if self.heights[0] == self.heights[1]:
            raise InputError(f"{where}: heights", self.heights, "a top above the bottom")

    @cached_property
    def faces(self) -> tuple[Patch, ...]:
        """Its bottom, top and sides, black; none where it stops no light."""
        low, high = (tuple((x, y, z) for x, z in self.area) for y in self.heights)
        sides = [(low[i - 1], low[i], high[i], high[i - 1]) for i in range(len(low))]
        black = Surface(name=self.name, reflectance=0.0)
        return tuple(Patch(self.name, face, black) for face in (low, high, *sides)) if self.blocks else ()


OBSTACLES = Many(label="obstacles", of=Is(kind=Obstacle), unique="name")


class Block(Frozen):
    """A convex piece of an obstacle, or, where there is a `plane`, of a patch in it."""

    faces: Array  # planes, shape (face, 4), of a patch through its edges; inside where they are positive
    box: Array
    plane: Array | None = None  # normal, minus offset
    group: int = -1  # its plane among `Planes`, -1 for a patch that is seen edge-on


class Occluders(Frozen, eq=False):
    """All that can stand between two points: the front and the obstacles that stop light, in convex pieces."""

    blocks: tuple[Block, ...]

    @classmethod
    def of(cls, facade: Facade, obstacles: Sequence[Obstacle] = ()) -> Self:
        """Return all that stops light."""
        of_patch = Planes.of(facade).of_patch
        flat = (s for i, p in enumerate(facade.patches) for s in sheets(p, int(of_patch[i])))
        return cls(blocks=(*flat, *(b for o in obstacles if o.blocks for b in blocks(o))))

    def hidden(self, points: Array, plane: Index, places: Array) -> Mask:
        """Return whether something hides each point of the front from each place, shape (place, point).

        Points and places are of shape (n, 3) [m]; the nearer places are to each other, the quicker. `plane` is the
        index of each point's plane (`Planes`), whose own patches hide nothing of it.
        """
        result = np.zeros((len(places), len(points)), dtype=bool)
        if not self.blocks:
            return result
        boxes = np.array([body.box for body in self.blocks])
        near = _may_cross(points, places.min(axis=0), places.max(axis=0), boxes)
        for k in np.flatnonzero(near.any(axis=1)):
            body, which = self.blocks[k], near[k]
            if body.plane is not None:
                here = points @ body.plane[:3] + body.plane[3]
                which = which & (np.abs(here) > SAME_PLANE) & (plane != body.group)
            chosen = np.flatnonzero(which)
            if not chosen.size:
                continue
            at = points[chosen]
            if body.plane is not None:
                here, there = here[chosen], places @ body.plane[:3] + body.plane[3]
                hit = (here > 0) != (there > 0)[:, None]
                # Where the segment meets the plane, the form of an edge is a mean of its values at both ends.
                here, there = np.abs(here), np.abs(there)[:, None]
                for edge in body.faces:
                    hit &= (places @ edge[:3] + edge[3])[:, None] * here + there * (at @ edge[:3] + edge[3]) >= 0
            else:
                start, end = (x @ body.faces[:, :3].T + body.faces[:, 3] for x in (at, places))
                hit = crosses((start[:, i], end[:, [i]]) for i in range(len(body.faces)))
            result[:, chosen] |= hit
        return result


def crosses(forms: Iterable[tuple[Array, Array]]) -> Mask:
    """Return whether a segment runs through a convex body, by its forms, positive inside, at the start and the end."""
    # Clipping by parameter: Cyrus and Beck 1978, doi:10.1016/0097-8493(78)90021-3.
    enter: Array | float = 0.0
    leave: Array | float = 1.0
    with np.errstate(divide="ignore", invalid="ignore"):
        for start, end in forms:
            out, gone = start < 0, end < 0
            at = start / (start - end)
            enter = np.maximum(enter, np.where(out, np.where(gone, 2.0, at), 0.0))
            leave = np.minimum(leave, np.where(gone, np.where(out, -1.0, at), 1.0))
    return np.asarray(enter < leave)


def _may_cross(points: Array, low: Array, high: Array, boxes: Array) -> Mask:
    """Return whether a segment from a point to anywhere between `low` and `high` may meet a box, (box, point)."""

    def forms() -> Iterator[tuple[Array, Array]]:
        for k in range(3):
            below = boxes[:, 0, k, None] - points[:, k] - SAME_PLANE
            above = boxes[:, 1, k, None] - points[:, k] + SAME_PLANE
            yield above, above - (low[k] - points[:, k])
            yield -below, (high[k] - points[:, k]) - below

    return crosses(forms())


def sheets(patch: Patch, group: int) -> Iterator[Block]:
    """Return the patch as convex pieces."""
    normal = patch.normal
    # Two axes of the plane: the world axis that lies nearest to it, and the one square to that.
    k = int(np.argmin(np.abs(normal)))
    first = np.eye(3)[k] - normal[k] * normal
    first /= np.linalg.norm(first)
    axes = np.array([first, np.cross(normal, first)])
    outline, *holes = (ring @ axes.T for ring in patch.rings)
    for piece in convex(shapely.Polygon(outline, holes)):
        flat = _edges(piece)
        edges = np.column_stack([flat[:, :2] @ axes, flat[:, 2]])
        corners = piece @ axes + patch.offset * normal
        box = np.array([corners.min(axis=0), corners.max(axis=0)])
        yield Block(faces=edges, box=box, plane=np.array([*normal, -patch.offset]), group=group)


def blocks(obstacle: Obstacle) -> Iterator[Block]:
    """Return the obstacle as convex pieces."""
    bottom, top = obstacle.heights
    for piece in convex(shapely.Polygon(obstacle.area)):
        flat = _edges(piece)
        sides = np.column_stack([flat[:, 0], np.zeros(len(flat)), flat[:, 1:]])
        low, high = piece.min(axis=0), piece.max(axis=0)
        faces = np.concatenate([sides, [(0.0, 1.0, 0.0, -bottom), (0.0, -1.0, 0.0, top)]])
        yield Block(faces=faces, box=np.array([(low[0], bottom, low[1]), (high[0], top, high[1])]))


def convex(shape: Any) -> Iterator[Array]:
    """Return the corners, shape (n, 2), of convex pieces of a polygon: the whole of it, or triangles."""
    whole = not shape.interiors and shape.convex_hull.area - shape.area <= 1e-12 * shape.area
    for piece in [shape] if whole else shapely.get_parts(shapely.constrained_delaunay_triangles(shape)):
        yield np.array(shapely.orient_polygons(piece).exterior.coords[:-1])


def _edges(corners: Array) -> Array:
    """Return the lines (a, b, c) of a convex polygon in counter-clockwise order, a x + b y + c >= 0 inside."""
    along = np.roll(corners, -1, axis=0) - corners
    inward = np.column_stack([-along[:, 1], along[:, 0]])
    return np.column_stack([inward, -np.sum(inward * corners, axis=1)])


def covers(patch: Patch, points: Array, *, edge: bool = True) -> Mask:
    """Return which points of the patch's plane, shape (n, 3), lie on the patch; `edge`: whether its edges count."""
    # Seen along the axis that is nearest to its normal, a patch keeps its shape.
    kept = np.delete(np.eye(3), int(np.abs(patch.normal).argmax()), axis=0)
    test = shapely.intersects_xy if edge else shapely.contains_xy
    return np.asarray(test(patch.along(kept), points @ kept.T))


def first_met(facade: Facade, start: Array, end: Array) -> Array:
    """Return where rays from `start` through `end`, (n, 3), first meet a patch, as a share of the way; or infinity."""
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


def hidden_directions(facade: Facade, eye: ArrayLike, directions: ArrayLike) -> Mask:
    """Return which `directions`, unit vectors of shape (..., 3), the front hides from an eye in front of it."""
    ray = np.asarray(directions, float)
    flat, here = ray.reshape(-1, 3), np.asarray(eye, float)
    return np.isfinite(first_met(facade, here, here + flat)).reshape(ray.shape[:-1])


def hidden_corners(patches: Sequence[Patch], points: Array, owner: Index, lens: Array) -> Mask:
    """Return which of `points`, (n, 3), on the patches that `owner` counts, another patch hides from the lens."""
    # Unlike a shadow, what lies upon a corner in its own plane hides it, and a line of sight along an edge is free.
    result = np.zeros(len(points), dtype=bool)
    normals = np.array([p.normal for p in patches])
    for j, patch in enumerate(patches):
        above = points @ patch.normal - patch.offset
        height = float(patch.normal @ lens) - patch.offset
        # A corner may lie a little off its patch's plane, and does not hide itself or what it is joined to.
        off = max(SAME_PLANE, *(float(np.abs(ring @ patch.normal - patch.offset).max()) for ring in patch.rings))
        behind = (above * height < 0) & (np.abs(above) > off)
        beneath = (np.abs(above) <= SAME_PLANE) & (np.abs(normals[owner] @ patch.normal) > 1.0 - 1e-12) & (owner < j)
        candidates = np.flatnonzero(behind | beneath)
        if candidates.size:
            # Where the line of sight meets the patch's plane.
            step = np.where(beneath, 1.0, height / np.where(behind, height - above, 1.0))[candidates, None]
            result[candidates] |= covers(patch, lens + (points[candidates] - lens) * step, edge=False)
    return result
