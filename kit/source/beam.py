r"""The beam: a lens in its place, or many lenses at once, and where each of its rays lands.

At the depth d along the lens axis a wall whose plane is h from the lens gets :math:`E = E_1 h / d^3`, with E_1 the
illuminance at unit depth; DEVELOPERS.md derives that, and the size of a picture element.
"""

from functools import cached_property, lru_cache

import numpy as np

from kit.arrays import Array, ArrayLike, Mask
from kit.fields import Frozen, guarded
from kit.source.placement import Placement
from kit.source.projector import Projector

Zones = tuple[tuple[float, ...], ...]

# The picture's corners in its own coordinates: bottom left, bottom right, top right, top left.
CORNERS = np.array([(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)])
CORNERS.flags.writeable = False


class Beam(Frozen, eq=False):
    """A lens in its place; or many of one kind, along leading dimensions "batch" that may be none.

    `position` of the lens [m], and unit vectors of its axis and of the picture across and up, shape (*batch, 3), NaN
    where there is no aim; `centre` and `size` (width, height) of the picture on the plane at unit depth, shape
    (*batch, 2); `resolution`: picture elements across and down; `zones`: readings of the lens, see `zone_gain`.
    """

    position: Array
    forward: Array
    right: Array
    up: Array
    centre: Array
    size: Array
    resolution: tuple[int, int] = (1, 1)
    zones: Zones | None = None

    @classmethod
    @guarded
    def of(cls, projector: Projector, placement: Placement) -> "Beam":
        """Return the beam of one machine; a zoom that is not set raises `InputError`."""
        width = 1.0 / projector.fixed_throw_ratio()
        size = np.array([width, width / projector.aspect])
        forward, right, up = placement.frame()
        return cls(
            position=np.array(placement.position), forward=forward, right=right, up=up,
            centre=np.array(projector.lens_shift) * size, size=size,
            resolution=projector.resolution, zones=projector.zones,
        )  # fmt: skip

    @property
    def unit_illuminance(self) -> Array:
        """Illuminance per lumen on the perpendicular plane 1 m from the lens, shape (*batch,) [lx/lm]."""
        return np.asarray(1.0 / (self.size[..., 0] * self.size[..., 1]))

    def rays(self, across: ArrayLike, up: ArrayLike) -> Array:
        """Return rays, (*batch, ..., 3), axial part 1, through places from -0.5 (left, bottom) to 0.5; broadcasts."""
        a, b = np.broadcast_arrays(np.asarray(across, float), np.asarray(up, float))
        centre, size = (self._spread(part, a.ndim, 1) for part in (self.centre, self.size))
        s, t = (centre[..., k] + size[..., k] * place for k, place in enumerate((a, b)))
        forward, right, upward = (self._spread(axis, a.ndim, 1) for axis in (self.forward, self.right, self.up))
        return np.asarray(forward + s[..., None] * right + t[..., None] * upward)

    def pixel_rays(self, column: ArrayLike, row: ArrayLike) -> Array:
        """Return the rays through places of the raster, in pixels from the picture's top left corner; as `rays`."""
        columns, rows = self.resolution
        return self.rays(np.asarray(column, float) / columns - 0.5, 0.5 - np.asarray(row, float) / rows)

    def corners(self) -> Array:
        """Return the rays to the picture's corners, in the order of `CORNERS`, shape (*batch, 4, 3)."""
        return self.rays(*CORNERS.T)

    def land(self, rays: ArrayLike, normal: ArrayLike, offset: ArrayLike) -> Array:
        """Return where rays meet planes ``normal . X = offset``, (*batch, ..., 3) [m]; NaN where none is ahead."""
        ray, across = np.asarray(rays, float), np.asarray(normal, float)
        lens = self._spread(self.position, ray.ndim - self.position.ndim, 1)
        with np.errstate(divide="ignore", invalid="ignore"):
            depth = (np.asarray(offset, float) - np.sum(across * lens, axis=-1)) / np.sum(across * ray, axis=-1)
        return np.asarray(lens + np.where((depth > 0) & np.isfinite(depth), depth, np.nan)[..., None] * ray)

    def on(self, points: ArrayLike, normals: ArrayLike | None = None) -> "Landing":
        """Return how the beam meets points, shape (..., 3), in world axes [m].

        `normals`, shape (3,) or (..., 3), are those of the wall at each, on the side that is looked at; light and
        picture elements need them.
        """
        where = np.asarray(points, float)
        # One product of matrices for each axis: the lens's own place along it is one more column.
        flat = np.vstack([where.reshape(-1, 3).T, np.ones(where.size // 3)])
        shape = (*self.position.shape[:-1], *where.shape[:-1])

        def along(axis: Array) -> Array:
            vector = axis.reshape(-1, 3)
            start = np.sum(vector * self.position.reshape(-1, 3), axis=1)
            return np.asarray((np.column_stack([vector, -start]) @ flat).reshape(shape))

        depth, s, t = (along(axis) for axis in (self.forward, self.right, self.up))
        with np.errstate(invalid="ignore"):
            depth[~(depth > 0)] = np.nan
        s /= depth
        t /= depth
        facing = None if normals is None else np.broadcast_to(np.asarray(normals, float), where.shape)
        return Landing(beam=self, points=where, normals=facing, depth=depth, s=s, t=t)

    def illuminance(self, points: ArrayLike, normals: ArrayLike) -> Array:
        """Return the illuminance per lumen, without shadows and losses, 0 beside the picture, (*batch, ...) [lx/lm]."""
        return self.on(points, normals).illuminance()

    def gain(self, across: ArrayLike, up: ArrayLike) -> Array | float:
        """Return the lens's illuminance relative to a flat field at places of the picture; 1 without zones."""
        return 1.0 if self.zones is None else zone_gain(self.zones, across, up)

    def _spread(self, values: Array, inner: int, trailing: int = 0) -> Array:
        """Return values on (*batch, *trailing) with `inner` dimensions put after the batch, to broadcast."""
        batch = values.shape[: values.ndim - trailing]
        return values.reshape((*batch, *(1,) * inner, *values.shape[values.ndim - trailing :]))


class Landing(Frozen, eq=False):
    """How a beam meets points: depth along the axis [m], place (s, t) at depth 1; (*batch, ...), NaN behind it."""

    beam: Beam
    points: Array
    normals: Array | None
    depth: Array  # along the lens axis [m]
    s: Array  # place on the plane at unit depth
    t: Array

    @cached_property
    def across(self) -> Array:
        """Place in the picture, from -0.5 (left) to 0.5 (right) inside it."""
        return self._place(self.s, 0)

    @cached_property
    def up(self) -> Array:
        """Place in the picture, from -0.5 (bottom) to 0.5 (top) inside it."""
        return self._place(self.t, 1)

    @cached_property
    def column(self) -> Array:
        """Place on the raster, in pixels from the picture's left edge."""
        return np.asarray((self.across + 0.5) * self.beam.resolution[0])

    @cached_property
    def row(self) -> Array:
        """Place on the raster, in pixels from the picture's top edge."""
        return np.asarray((0.5 - self.up) * self.beam.resolution[1])

    def inside(self, slack: float = 0.0) -> Mask:
        """Return which points lie within the picture, edges included; `slack` widens it, in shares of its size."""
        half = 0.5 * (1.0 + slack)
        with np.errstate(invalid="ignore"):
            return np.asarray((np.abs(self.across) <= half) & (np.abs(self.up) <= half))

    @cached_property
    def height(self) -> Array:
        """Distance of the lens in front of the wall's plane at each point [m]; negative behind it."""
        normals = self._normals()
        return self._along(self.beam.position, normals) - np.sum(normals * self.points, axis=-1)

    def flat_illuminance(self) -> Array:
        """Return E_1 h / d^3 times the lens's own gain [lx/lm], wherever the ray lands and whatever it meets."""
        with np.errstate(invalid="ignore"):
            light = self.height / (self.depth * self.depth * self.depth)
        light *= self.beam._spread(self.beam.unit_illuminance, self.depth.ndim - self.beam.unit_illuminance.ndim)
        if self.beam.zones is not None:
            light *= zone_gain(self.beam.zones, np.nan_to_num(self.across), np.nan_to_num(self.up))
        return light

    def illuminance(self) -> Array:
        """Return the illuminance per lumen [lx/lm]: 0 outside the picture and on a wall lit from behind."""
        return np.where(self.inside() & (self.height > 0), self.flat_illuminance(), 0.0)

    def element(self, eye: ArrayLike | None = None) -> tuple[Array, Array]:
        """Return longest and shortest extent of a picture element on the wall [m], or of its angles at an eye [rad]."""
        # Elements are square at unit depth; on the wall their tilt counts.
        slant, alpha, beta, ss, st, tt = self._stretch
        length = self.beam._spread(self.beam.size[..., 0] / self.beam.resolution[0], self.points.ndim - 1) * self.depth
        area = np.abs(slant)
        if eye is not None:
            view = self.points - np.asarray(eye, float)
            distance = np.linalg.norm(view, axis=-1)
            view = view / distance[..., None]
            # What lies along the line of sight is not seen.
            seen = (np.sum(view * self.points, axis=-1) - self._along(self.beam.position, view)) / self.depth
            u = self._along(self.beam.right, view) + alpha * seen
            v = self._along(self.beam.up, view) + beta * seen
            ss, st, tt = ss - u * u, st - u * v, tt - v * v
            length = length / distance
            area = area * np.abs(np.sum(self._normals() * view, axis=-1))
        with np.errstate(divide="ignore", invalid="ignore"):
            longest = np.sqrt(0.5 * (ss + tt + np.sqrt((ss - tt) ** 2 + 4.0 * (st * st))))
            # By the area: at grazing incidence the difference to the swing would lose digits.
            return longest * length, area / longest * length

    @cached_property
    def _stretch(self) -> tuple[Array, Array, Array, Array, Array, Array]:
        """Depth over height, the slopes alpha and beta, and the map's Gram matrix (ss, st, tt) over depth squared."""
        s, t = self.s, self.t
        with np.errstate(divide="ignore", invalid="ignore"):
            slant = self.depth / self.height
            alpha, beta = (self._along(axis, self._normals()) * slant for axis in (self.beam.right, self.beam.up))
            length = s * s + t * t + 1.0
            along = s + alpha * length
            ss, st, tt = 1.0 + alpha * (s + along), alpha * t + beta * along, 1.0 + beta * (beta * length + t + t)
        return slant, alpha, beta, ss, st, tt

    def _place(self, unit: Array, k: int) -> Array:
        inner = self.points.ndim - 1
        centre, size = (self.beam._spread(part[..., k], inner) for part in (self.beam.centre, self.beam.size))
        return np.asarray((unit - centre) / size)

    def _along(self, axis: Array, vectors: Array) -> Array:
        """Return the part along an axis of the beam, shape (*batch, 3), of vectors at the points, shape (..., 3)."""
        return (axis.reshape(-1, 3) @ vectors.reshape(-1, 3).T).reshape(self.depth.shape)

    def _normals(self) -> Array:
        if self.normals is None:
            raise TypeError("the wall's normals are needed here: beam.on(points, normals)")
        return self.normals


def zone_gain(zones: ArrayLike, across: ArrayLike, up: ArrayLike) -> Array:
    """Return the lens's illuminance relative to a flat field of the same flux: dimensionless, mean 1, by `zones` of
    readings, top row first, at places as of `Beam.rays`. Between the zone centres and beyond, gain^(-1/2) is the
    parabola through the readings in both directions, as of a cosine-fourth lens; nothing is brighter than the
    brightest.
    """
    table = zone_table(tuple(map(tuple, np.asarray(zones, float).tolist())))
    return np.asarray(1.0 / np.maximum(_over_zones(table, across, up), table.min()) ** 2)


@lru_cache(maxsize=32)
def zone_table(zones: Zones) -> Array:
    """Return gain^(-1/2) at the zone centres, bottom row first, for a mean gain of 1; see `zone_gain`."""
    table = np.array(zones)[::-1] ** -0.5
    at, weight = np.polynomial.legendre.leggauss(96)
    gain = np.maximum(_over_zones(table, 0.5 * at, 0.5 * at[:, None]), table.min()) ** -2
    return np.asarray(table * np.sqrt(0.25 * weight @ gain @ weight))


def _over_zones(table: Array, across: ArrayLike, up: ArrayLike) -> Array:
    columns, rows = (
        (place * (4.5 * place - 1.5), 1.0 - 9.0 * place**2, place * (4.5 * place + 1.5))
        for place in (np.asarray(across, float), np.asarray(up, float))
    )
    return np.asarray(sum(table[i, j] * rows[i] * columns[j] for i in range(3) for j in range(3)))
