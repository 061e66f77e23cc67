"""The light of lamps and LED strings: on any points, and on the front with the front's own shadows.

The law of a point holds beyond about five times the largest length of the lamp's luminous part; nearer, a real lamp
gives less. The front's own depth and obstacles cast shadows, on the ground too. Light by way of the ground counts where
its reflectance is given, as if nothing stood between ground and wall; not that by way of sky, other walls or obstacles.
"""

from collections.abc import Iterable, Sequence
from functools import partial

import numpy as np
from scipy.interpolate import RegularGridInterpolator

from kit.arrays import Array, ArrayLike, Mask
from kit.blocks import Memory
from kit.errors import InputError
from kit.fields import Is, Many
from kit.sky.luminaire import LedString, Luminaire
from kit.wall.occlusion import Obstacle, Occluders, reached
from kit.wall.points import FrontRaster, check_in_front
from kit.wall.raster import SAME_PLANE

Lamp = Luminaire | LedString
LAMPS = Many(label="lamps", of=Is(kind=(Luminaire, LedString)))

# Nodes along a piece of string this long share one shadow [m].
SHADOW_STEP = 1.0
# Up to this many pixels from a node the light is integrated over each pixel, beyond it is that of the pixel's centre,
# which there is less than 0.6% off.
NEAR = 8
# Pairs of node and point that are worked on together stay in the processor's cache.
PAIRS = 1 << 13
UP = (0.0, 1.0, 0.0)
# Light by way of the ground is found at points of the front so far apart, closer near the ground, and interpolated [m].
APART = 0.75

# Maps of lamps at full light are kept, so that a slider for their dimming is quick; large ones would hold memory.
_recent: Memory[Array] = Memory(keep=64, most=1 << 17)


def sources(lamp: Lamp) -> Array:
    """Return the points that shine, shape (n, 3) [m]: one for a luminaire, the nodes of a string."""
    return lamp.nodes() if isinstance(lamp, LedString) else np.array([lamp.position])


def source_illuminance(lamp: Lamp, points: ArrayLike, normals: ArrayLike | None = None) -> Array:
    """Return the illuminance that each shining point of a lamp makes on points, without shadows, shape (..., n) [lx].
    `points`, shape (..., 3) [m], have to be apart from the lamp; `normals`, shape (3,) or (..., 3), are on the lit
    side, not given: facing each shining point.
    """
    at, places = np.asarray(points, float), sources(lamp)
    ray = at[..., None, :] - places
    square = np.vecdot(ray, ray)
    touching = square < SAME_PLANE**2
    if np.any(touching):
        point = at.reshape(-1, 3)[int(touching.any(axis=-1).argmax())]
        raise InputError(f"lamp {lamp.name!r}", tuple(point.tolist()), "a lamp apart from what it lights")
    arrives = 1.0 / square
    if normals is not None:
        arrives *= np.maximum(-np.vecdot(ray, np.asarray(normals, float)[..., None, :]), 0.0) / np.sqrt(square)
    if isinstance(lamp, Luminaire):
        return lamp.intensity(ray / np.sqrt(square)[..., None]) * arrives
    if lamp.facing is not None:
        arrives *= ray @ np.array(lamp.facing) > 0.0
    return lamp.node_intensity * arrives


def lamp_illuminance(lamp: Lamp, points: ArrayLike, normals: ArrayLike) -> Array:
    """Return the sum of `source_illuminance` over a lamp, shape (...) [lx]; for a string meant for few points."""
    return source_illuminance(lamp, points, normals).sum(axis=-1)


def lamp_map(
    raster: FrontRaster, lamps: Iterable[Lamp], ground_reflectance: float = 0.0, obstacles: Sequence[Obstacle] = ()
) -> Array:
    """Return the illuminance that lamps make on the front, with its own shadows, shape (y, x) [lx].

    NaN where there is no wall; a lamp or node behind or inside the front is refused. A luminaire's light is that at the
    centre of a pixel; that of a string is the mean over the pixel near its nodes. Each map at full light is remembered.
    """
    result, things = np.zeros(raster.patch.shape), tuple(obstacles)
    for lamp in LAMPS.check("lamps", lamps):
        full = lamp.dimmed(1.0)
        make = _luminaire_map if isinstance(lamp, Luminaire) else _string_map
        key = *raster.key, full, things
        result += lamp.dimming * _recent.get(key, result.size, partial(make, raster, full, things))
        if ground_reflectance:
            back = _recent.get((*key, "ground"), result.size, partial(ground_light, raster, full, things))
            result += ground_reflectance * lamp.dimming * back
    result[raster.patch < 0] = np.nan
    return result


def ground_light(raster: FrontRaster, lamp: Lamp, obstacles: Sequence[Obstacle] = ()) -> Array:
    """Return the light of a lamp by way of level ground in front of the house, per its reflectance, shape (y, x) [lx].

    The ground is cut into rectangles, each evenly lit and exact in its share of an upright wall's view: a small plane
    square to a rectangle with a corner at its foot, Howell's catalogue, B-4 (from memory). As if the whole front stood
    at z = 0, but with shadows on the ground; what leans back by an angle b sees (1 - sin b) of it.
    """
    places, (left, right, bottom, top) = sources(lamp), raster.facade.bounds
    height = max(0.05, float(np.median(places[:, 1])))
    reach = np.append(0.0, np.geomspace(height / 8.0, max(30.0, 20.0 * height), 28))
    edges = []
    for axis in (0, 2):
        first, last = places[:, axis].min(), places[:, axis].max()
        between = np.linspace(first, last, 2 + int(8.0 * (last - first) / height))
        edges.append(np.unique(np.concatenate([first - reach, between, last + reach])))
    x, z = edges[0], np.unique(np.maximum(edges[1], 0.0))
    middle = np.stack(np.meshgrid(0.5 * (x[1:] + x[:-1]), 0.0, 0.5 * (z[1:] + z[:-1]), indexing="ij"), axis=-1)[:, 0]
    things, nowhere = Occluders.of(raster.facade, obstacles), np.full(len(z) - 1, -2)
    light = (source_illuminance(lamp, row, UP) * ~things.hidden(row, nowhere, places).T for row in middle)
    lit = np.array([row.sum(axis=1) for row in light])
    across = np.linspace(left, right, 2 + int((right - left) / APART))
    up = bottom + (top - bottom) * np.linspace(0.0, 1.0, 2 + int((top - bottom) / APART)) ** 1.5
    y = np.maximum(up, 0.01)[:, None, None, None]
    aside = x[:, None] - across[:, None, None]
    slant = np.hypot(y, z)
    view = np.arctan(aside / y) - y / slant * np.arctan(aside / slant)
    found = (np.diff(np.diff(view, axis=2), axis=3) * lit).sum(axis=(2, 3)) / (2.0 * np.pi)
    spread = RegularGridInterpolator((up, across), found, bounds_error=False, fill_value=None)
    tilt = 1.0 - np.append(raster.planes.normal[:, 1], np.nan)[raster.plane]
    return np.asarray(spread(tuple(np.meshgrid(raster.grid.y, raster.grid.x, indexing="ij"))) * tilt)


def _luminaire_map(raster: FrontRaster, lamp: Luminaire, obstacles: Sequence[Obstacle]) -> Array:
    place = np.array(lamp.position)
    check_in_front(raster.facade, place, f"lamp {lamp.name!r}: position", "a lamp")
    result, lit = np.zeros(raster.patch.shape), reached(raster, place, obstacles=obstacles)
    result[lit] = lamp_illuminance(lamp, raster.points[lit], raster.planes.normal[raster.plane[lit]])
    return result


def _string_map(raster: FrontRaster, string: LedString, obstacles: Sequence[Obstacle]) -> Array:
    nodes = string.nodes()
    check_in_front(raster.facade, nodes, f"string {string.name!r}: path", "a node")
    planes, points, shown = raster.planes, raster.points.reshape(-1, 3), raster.plane.ravel()
    flat = np.zeros(shown.size)
    closest = (NEAR * raster.grid.spacing) ** 2
    facing = None if string.facing is None else np.array(string.facing)
    # Consecutive nodes share the shadow of the middle one while they are near each other and before the same planes.
    piece = np.floor(string.spacing * np.arange(len(nodes)) / SHADOW_STEP)
    change = (np.diff(piece) > 0) | (np.diff(planes.ahead(nodes) > SAME_PLANE, axis=0).any(axis=1))
    for mine in np.split(nodes, np.flatnonzero(change) + 1):
        lit = reached(raster, mine[len(mine) // 2], obstacles=obstacles).ravel()
        where = np.flatnonzero(lit)
        for part in np.split(where, range(0, where.size, max(1, PAIRS // len(mine)))[1:]):
            # The law of `source_illuminance` by matrix products; near a node a stand-in, which `_near` takes back.
            here, plane = points[part], shown[part]
            square = np.vecdot(here, here)[:, None] - 2.0 * here @ mine.T + np.vecdot(mine, mine)
            square = np.maximum(square, closest)
            height = np.maximum(planes.normal[plane] @ mine.T - planes.offset[plane, None], 0.0)
            if facing is not None:
                height *= (here @ facing)[:, None] > mine @ facing
            flat[part] += (height / (square * np.sqrt(square))).sum(axis=1)
        flat += _near(raster, lit, mine, facing, closest)
    return string.node_intensity * flat.reshape(raster.patch.shape)


def _near(raster: FrontRaster, lit: Mask, nodes: Array, facing: Array | None, closest: float) -> Array:
    """Return by how much light of nodes of 1 cd exceeds the stand-in, as a mean over near pixels, shape (pixel,)."""
    grid, (rows, columns) = raster.grid, raster.patch.shape
    reach = np.arange(-NEAR, NEAR + 1)
    row = np.rint((nodes[:, 1] - grid.y[0]) / grid.spacing).astype(int)[:, None, None] + reach[:, None]
    column = np.rint((nodes[:, 0] - grid.x[0]) / grid.spacing).astype(int)[:, None, None] + reach
    inside = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
    pixel = np.where(inside, row * columns + column, 0)
    inside &= lit[pixel]
    node, pixel = np.nonzero(inside)[0], pixel[inside]
    ray = raster.points.reshape(-1, 3)[pixel] - nodes[node]
    normal = raster.planes.normal[raster.plane.ravel()[pixel]]
    height = -np.vecdot(ray, normal)
    shines = height > 0.0
    if facing is not None:
        shines &= ray @ facing > 0.0
    pixel, ray, normal, height = pixel[shines], ray[shines], normal[shines], height[shines]
    half, none = np.full(height.size, 0.5 * grid.spacing), np.zeros(height.size)
    across = np.stack([half, none, -half * normal[:, 0] / normal[:, 2]], axis=1)
    upward = np.stack([none, half, -half * normal[:, 1] / normal[:, 2]], axis=1)
    a, b, c, d = ray - across - upward, ray + across - upward, ray + across + upward, ray - across + upward
    mean = (_solid_angle(a, b, c) + _solid_angle(a, c, d)) * normal[:, 2] / grid.spacing**2
    stand_in = height / np.maximum(np.vecdot(ray, ray), closest) ** 1.5
    return np.bincount(pixel, weights=mean - stand_in, minlength=lit.size).astype(np.float64, copy=False)


def _solid_angle(a: Array, b: Array, c: Array) -> Array:
    """Return the solid angle of triangles with corners a, b, c, each of shape (n, 3), seen from the origin [sr]."""
    # A. van Oosterom and J. Strackee, IEEE Trans. Biomed. Eng. 30 (1983) 125, doi:10.1109/TBME.1983.325207.
    la, lb, lc = (np.linalg.norm(v, axis=-1) for v in (a, b, c))
    below = la * lb * lc + np.vecdot(a, b) * lc + np.vecdot(a, c) * lb + np.vecdot(b, c) * la
    return 2.0 * np.arctan2(np.abs(np.vecdot(a, np.cross(b, c))), below)
