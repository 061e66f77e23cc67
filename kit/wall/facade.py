"""The front of the house: surfaces, and the planar patches they cover.

World axes, in metres: x to the right as the audience sees the front, y up from the ground line, z towards the audience.
Where two patches lie in one plane, the later one lies on top, as a window drawn on a wall.
"""

from collections.abc import Iterable
from dataclasses import replace
from functools import cache, cached_property
from itertools import islice
from typing import Any, Self

import numpy as np
import shapely

from kit import reference
from kit.arrays import Array, Extent, Point
from kit.errors import InputError
from kit.fields import FLAG, LENGTH, NAME, REFLECTANCE, SHARE, Declared, Is, Many, Number, OneOf, Spec, Vector, declared
from kit.results import pick
from kit.source.projector import is_many
from kit.source.spectra import Spectrum

# What a tape measure resolves: a corner may lie this far off its patch's plane [m].
PLANE_TOLERANCE = 0.01
# Pieces thinner than this are rounding, not wall [m].
THINNEST = 1e-6
# Of an outline, and of holes; an index of patches on a raster has 16 bits.
MOST_CORNERS, MOST_PATCHES = 1000, 30_000

Ring = tuple[Point, ...]
CORNER = Vector(of=Number(unit="m"))


@cache
def kinds() -> tuple[str, ...]:
    """Return the kinds of surface: the groups of ``reference_data/surfaces.csv``."""
    return tuple(dict.fromkeys(row.group for row in reference.table("surfaces")))


class Outline(Spec):
    """Three or more different corners in order, each (x, y, z) or (x, y) [m]."""

    def _checked(self, field: str, value: Any) -> Any:
        corners = tuple(islice(value, MOST_CORNERS + 1)) if is_many(value) else ()
        if not 3 <= len(corners) <= MOST_CORNERS:
            raise InputError(field, value, f"three or more corners, and at most {MOST_CORNERS:,}")
        ring: list[Point] = []
        for i, corner in enumerate(corners, 1):
            if not is_many(corner) or len(corner) not in (2, 3):
                raise InputError(f"{field}, corner {i}", corner, "(x, y, z) or (x, y) in metres")
            point: Point = CORNER.check(f"{field}, corner {i}", (*corner, 0.0)[:3])
            if not ring or ring[-1] != point:
                ring.append(point)
        if len(ring) > 1 and ring[0] == ring[-1]:
            ring.pop()
        if len(ring) < 3:
            raise InputError(field, value, "three or more different corners")
        return tuple(ring)


class Outlines(Outline):
    """Any number of outlines."""

    def _checked(self, field: str, value: Any) -> tuple[Ring, ...]:
        if not is_many(value):
            raise InputError(field, value, "a list of outlines")
        rings = tuple(islice(value, MOST_CORNERS + 1))
        if len(rings) > MOST_CORNERS:
            raise InputError(field, rings, f"at most {MOST_CORNERS:,} outlines")
        return tuple(super(Outlines, self)._checked(f"{field} {i}", ring) for i, ring in enumerate(rings, 1))


SHADE = SHARE.but(label="transmittance", meaning="of a shade: of the light on its back, what comes out of the window")
ROOM = Number(label="light in the room", unit="lx", low=0.0, meaning="on the back of the shade; None: not said")
GAIN = Number(label="gain", above=0.0, meaning="luminance towards the audience over that of a perfect diffuser")
KIND = OneOf(label="kind", options=kinds, empty=True, default="", meaning="what a surface is")


class Surface(Declared):
    """A diffuse surface.

    Notes
    -----
    `low` and `high` are the band of the reflectance, by default none. A `gain` is what a projection screen states, for
    light from the projector, whatever the reflectance; ambient light comes from all sides and gets none. Without it the
    luminance is reflectance x illuminance / pi. The `kind`, a group of ``reference_data/surfaces.csv``, says what may
    be covered, what rain darkens and which colour is likely; empty: unknown.

    Examples
    --------
    >>> import kit
    >>> kit.Surface(name="our brick", reflectance=0.16, low=0.12, high=0.20, kind="brick").high
    0.2
    >>> kit.Surface.from_reference("red brick").luminance_factor
    0.15
    >>> kit.Surface(name="screen", reflectance=0.8, gain=1.2).luminance_factor
    1.2
    """

    thing = "surface"
    name: str = declared(NAME)
    reflectance: float = declared(REFLECTANCE)
    low: float = declared(REFLECTANCE, default=None)
    high: float = declared(REFLECTANCE, default=None)
    gain: float | None = declared(GAIN, default=None)
    kind: str = declared(KIND)
    transmittance: float | None = declared(SHADE, default=None)
    spectrum: Spectrum | None = declared(Is(kind=Spectrum), default=None, meaning="by wavelength; None: by its kind")

    def _agree(self, where: str) -> None:
        for end in ("low", "high"):
            if getattr(self, end) is None:
                object.__setattr__(self, end, self.reflectance)
        if not self.low <= self.reflectance <= self.high:
            band = (self.low, self.reflectance, self.high)
            raise InputError(where, band, "low <= reflectance <= high")
        if self.transmittance and not 0.0 < self.reflectance <= 1.0 - self.transmittance:
            both, right = (self.reflectance, self.transmittance), "a reflectance above 0, together at most 1"
            raise InputError(f"{where}: reflectance, transmittance", both, right)

    @property
    def luminance_factor(self) -> float:
        """Luminance towards the audience over that of a perfect diffuser, for light from the projector."""
        return self.reflectance if self.gain is None else self.gain

    @classmethod
    def from_reference(cls, name: str) -> Self:
        """Return a surface of ``reference_data/surfaces.csv``; an unknown name raises `InputError`."""
        row = reference.row("surfaces", name)
        through = {shade.name: shade.value for shade in reference.table("shades")}.get(row.name)
        return cls(name=name, reflectance=row.value, low=row.low, high=row.high, kind=row.group, transmittance=through)


class Patch(Declared, kw_only=False):
    """A planar polygon of the front, with one surface; corners lie in its plane within `PLANE_TOLERANCE`.

    Examples
    --------
    >>> import kit
    >>> brick = kit.Surface.from_reference("red brick")
    >>> wall = kit.Patch("wall", [(0, 0), (8, 0), (8, 3), (0, 3)], brick)
    >>> round(wall.area, 6)
    24.0
    """

    thing = "patch"
    name: str = declared(NAME)
    outline: Ring = declared(Outline(label="outline"), meaning="corners in order, (x, y, z) or (x, y) at z = 0 [m]")
    surface: Surface = declared(Is(kind=Surface))
    holes: tuple[Ring, ...] = declared(Outlines(label="holes"), default=(), meaning="openings, in the same plane")
    judged: bool = declared(FLAG, default=True, label="judged", meaning="whether a verdict counts it")
    room_light: float | None = declared(ROOM, default=None)

    def _agree(self, where: str) -> None:
        rings = {"outline": self.outline} | {f"holes {i}": hole for i, hole in enumerate(self.holes, 1)}
        for field, ring in rings.items():
            off = np.abs(np.array(ring) @ self.normal - self.offset)
            if off.max() > PLANE_TOLERANCE:
                corner = int(off.argmax())
                tell = f"within {PLANE_TOLERANCE * 1000:g} mm (this one is off by {off.max() * 1000:.0f} mm)"
                right = f"corners in one plane {tell}; else split the patch into triangles"
                raise InputError(f"{where}: {field}, corner {corner + 1}", ring[corner], right)
        outline, *openings = self._polygons(self._axes[:2])
        if not outline.is_valid:
            right = "corners in order round the patch, with edges that do not cross"
            raise InputError(f"{where}: outline", self.outline, right)
        if outline.area <= 0:
            raise InputError(f"{where}: outline", self.outline, "corners that enclose an area")
        apart = shapely.STRtree(openings)
        for i, opening in enumerate(openings):
            field, hole = f"{where}: holes {i + 1}", self.holes[i]
            if not opening.is_valid or not outline.covers(opening):
                raise InputError(field, hole, "an uncrossed outline inside the patch")
            # The raster counts edges, and where two holes overlap it would count wall.
            if any(opening.intersection(openings[k]).area > THINNEST for k in apart.query(opening) if k < i):
                raise InputError(field, hole, "a hole that overlaps no other; make one of them")
        if self.area <= 0:
            raise InputError(f"{where}: holes", len(self.holes), "holes that leave some of the patch")
        for field, ring in rings.items():
            # Corners a little off their plane are far off in elevation, where that is seen nearly edge-on.
            if self.faces_audience and not shapely.Polygon([corner[:2] for corner in ring]).is_valid:
                right = "corners exactly in one plane: this patch is seen so nearly edge-on that its edges cross"
                raise InputError(f"{where}: {field}", ring, right)

    @property
    def shines_like(self) -> float:
        """Light on the outside that would look as bright as what comes from the room behind [lx]."""
        return (self.room_light or 0.0) * (self.surface.transmittance or 0.0) / (self.surface.reflectance or 1.0)

    @cached_property
    def _axes(self) -> Array:
        """Rows: two directions in the patch's plane, then its normal, on the side of the audience."""
        corners = np.array(self.outline)
        _, spread, axes = np.linalg.svd(corners - corners.mean(axis=0), full_matrices=True)
        if len(spread) < 2 or spread[1] <= 1e-9 * spread[0]:
            raise InputError(f"patch {self.name!r}: outline", self.outline, "corners that enclose an area")
        if abs(axes[2, 2]) < 1e-9:
            axes[2, 2] = 0.0
        return axes if axes[2, 2] >= 0 else -axes

    @property
    def normal(self) -> Array:
        """Unit normal, shape (3,), towards the audience; either side for a patch that is seen edge-on."""
        return self._axes[2]

    @cached_property
    def offset(self) -> float:
        """Distance of the patch's plane from the origin along its normal [m]."""
        return float(np.mean(self.rings[0] @ self.normal))

    @cached_property
    def rings(self) -> tuple[Array, ...]:
        """Outline and holes as arrays of shape (n, 3) [m]."""
        return tuple(np.array(ring) for ring in (self.outline, *self.holes))

    @property
    def faces_audience(self) -> bool:
        """Whether the audience sees the patch at all, rather than edge-on."""
        return bool(self.normal[2] > 0)

    @cached_property
    def area(self) -> float:
        """Area without the holes [m2]."""
        return float(self.along(self._axes[:2]).area)

    @cached_property
    def elevation(self) -> Any:
        """What the audience sees of the patch were it alone: a shapely geometry in x and y [m], holes cut out."""
        return self.along(np.eye(3)[:2])

    def along(self, axes: Array) -> Any:
        """Return the patch along two axes, shape (2, 3): a shapely geometry [m], holes cut out."""
        outline, *holes = self._polygons(axes)
        return outline.difference(shapely.union_all(holes)) if holes else outline

    def _polygons(self, axes: Array) -> list[Any]:
        return [shapely.Polygon(ring @ axes.T) for ring in self.rings]

    def depth_plane(self) -> tuple[float, float, float]:
        """Return (z0, zx, zy) with z = z0 + zx x + zy y on the patch; only where it faces the audience."""
        nx, ny, nz = self.normal
        return self.offset / nz, -nx / nz, -ny / nz


class Facade(Declared, kw_only=False):
    """The patches of one front, at least one of which faces the audience.

    Examples
    --------
    >>> import kit
    >>> brick, paint = (kit.Surface.from_reference(name) for name in ("red brick", "white paint"))
    >>> wall = kit.Patch("wall", [(0, 0), (8, 0), (8, 3), (0, 3)], brick)
    >>> door = kit.Patch("door", [(1, 0), (2, 0), (2, 2), (1, 2)], paint)
    >>> kit.Facade([wall, door]).bounds
    (0.0, 8.0, 0.0, 3.0)
    """

    patches: tuple[Patch, ...] = declared(Many(label="patches", of=Is(kind=Patch), unique="name", most=MOST_PATCHES))
    name: str = declared(NAME, default="house front")

    def _agree(self, where: str) -> None:
        if not any(patch.faces_audience for patch in self.patches):
            names = [patch.name for patch in self.patches]
            raise InputError("patches", names, "at least one patch that faces the audience")

    @property
    def bounds(self) -> Extent:
        """Left, right, bottom and top of what the audience sees [m]."""
        x, y, _ = zip(*(corner for p in self.patches if p.faces_audience for corner in p.outline), strict=True)
        return min(x), max(x), min(y), max(y)

    def patch(self, name: str) -> Patch:
        """Return the patch called `name`, or raise `InputError` with the names there are."""
        return pick("patch name", name, {patch.name: patch for patch in self.patches})

    def surfaces(self) -> tuple[Surface, ...]:
        """Return the surfaces that the audience sees, each name once, in the order of the patches."""
        return tuple({p.surface.name: p.surface for p in self.patches if p.faces_audience}.values())

    def cover(self, surface: Surface, *, patches: Iterable[str]) -> Self:
        """Return this front with the named patches covered by `surface`; one that is not there: `InputError`."""
        chosen = {self.patch(name).name for name in patches}
        mine = tuple(replace(p, surface=surface) if p.name in chosen else p for p in self.patches)
        return replace(self, patches=mine)


def split_at(patch: Patch, height: float) -> tuple[Patch, ...]:
    """Return `patch`, which faces the audience, cut at a `height` above the ground line [m], if it crosses that.

    What lies below comes first, named "..., lower"; the rest keeps the name; pieces beyond the first are numbered.
    """
    level = LENGTH.check("height", height)
    z0, zx, zy = patch.depth_plane()
    shape = patch.elevation
    left, bottom, right, top = shape.bounds
    if not bottom + THINNEST < level < top - THINNEST:
        return (patch,)
    pieces: list[Patch] = []
    for name, low, high in ((f"{patch.name}, lower", bottom, level), (patch.name, level, top)):
        half = shapely.get_parts(shape & shapely.box(left, low, right, high))
        parts = [part for part in half if part.area > THINNEST * part.length]
        if not parts:
            return (patch,)
        for i, part in enumerate(parts, 1):
            rings = (ring.coords[:-1] for ring in (part.exterior, *part.interiors))
            outline, *holes = (tuple((x, y, z0 + zx * x + zy * y) for x, y in ring) for ring in rings)
            pieces.append(replace(patch, name=name if i == 1 else f"{name} {i}", outline=outline, holes=tuple(holes)))
    return tuple(pieces)


def with_returns(patch: Patch, back: float) -> tuple[Patch, ...]:
    """Return `patch`, every corner in front of z = `back` [m], and the faces that close it off backwards to there.

    These are seen edge-on and appear in no map, but they cast shadows: no light leaks behind.
    """
    corners, back = patch.outline, LENGTH.but(low=-1e9).check("back", back)
    if min(corner[2] for corner in corners) < back - 1e-9:
        raise InputError(f"patch {patch.name!r}: back", back, f"at most the depth of the patch ({corners[0][2]:g} m)")
    sides = []
    for i, (start, end) in enumerate(zip(corners, (*corners[1:], corners[0]), strict=True), 1):
        ring = [start, end, (end[0], end[1], back), (start[0], start[1], back)]
        ring = [corner for k, corner in enumerate(ring) if corner != ring[k - 1]]
        if len(ring) > 2:
            sides.append(Patch(f"{patch.name}, return {i}", tuple(ring), patch.surface))
    return (patch, *sides)
