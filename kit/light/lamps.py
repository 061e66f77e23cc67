"""The light of lamps and LED strings: on any points, and on the front with the front's own shadows.

The law of a point holds beyond about five times the largest length of the lamp's luminous part; nearer, a real lamp
gives less. Light that comes by way of the ground, the sky or other walls is not counted, nor is anything that stands
between lamp and front other than the front's own depth.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from kit.errors import InputError
from kit.fields import Is, Many
from kit.memory import Memory
from kit.sky.luminaire import LedString, Luminaire
from kit.wall.occlusion import reached
from kit.wall.points import FrontRaster, check_in_front
from kit.wall.raster import SAME_PLANE, Mask

Array = NDArray[np.float64]
Lamp = Luminaire | LedString
LAMPS = Many(label="lamps", of=Is(kind=(Luminaire, LedString)))

# Nodes along a piece of string this long share one shadow [m].
SHADOW_STEP = 1.0
# Up to this many pixels from a node the light is integrated over each pixel, beyond it is that of the pixel's centre,
# which there is less than 0.6% off.
NEAR = 8
# Pairs of node and point that are worked on together stay in the processor's cache.
PAIRS = 1 << 15

# Maps of lamps at full light are kept, so that a slider for their dimming is quick; large ones would hold memory.
_recent: Memory[Array] = Memory(keep=64, most=1 << 17)


def sources(lamp: Lamp) -> Array:
    """Return the points that shine, shape (n, 3) [m]: one for a luminaire, the nodes of a string."""
    if isinstance(lamp, Luminaire):
        return np.array([lamp.position])
    if isinstance(lamp, LedString):
        return lamp.nodes()
    raise InputError("lamps", lamp, "kit.Luminaire and kit.LedString values")


def source_illuminance(lamp: Lamp, points: ArrayLike, normals: ArrayLike) -> Array:
    """Return the illuminance that each shining point of a lamp makes on points, without shadows, shape (..., n) [lx].

    Parameters
    ----------
    lamp : Luminaire or LedString
    points : array, shape (..., 3)
        [m].
    normals : array, shape (3,) or (..., 3)
        Unit normals on the lit side. What faces away gets nothing. At an eye: the line of sight.

    Raises
    ------
    InputError
        For a point where the lamp is.
    """
    where = np.asarray(points, float)
    flat, facing = where.reshape(-1, 3), np.broadcast_to(np.asarray(normals, float), where.shape).reshape(-1, 3)
    places = sources(lamp)
    ray = flat[:, None] - places
    square = np.einsum("pni,pni->pn", ray, ray)
    if np.any(square < SAME_PLANE**2):
        at = flat[int((square < SAME_PLANE**2).any(axis=1).argmax())]
        raise InputError(f"lamp {lamp.name!r}", tuple(at.tolist()), "a lamp apart from what it lights")
    arrives = np.maximum(-np.einsum("pni,pi->pn", ray, facing), 0.0)
    if isinstance(lamp, Luminaire):
        distance = np.sqrt(square)
        light = lamp.intensity(ray / distance[..., None]) * arrives / (square * distance)
    else:
        light = lamp.node_intensity * arrives / square**1.5
        if lamp.facing is not None:
            light = light * (ray @ np.array(lamp.facing) > 0.0)
    return np.asarray(light).reshape(*where.shape[:-1], len(places))


def lamp_illuminance(lamp: Lamp, points: ArrayLike, normals: ArrayLike) -> Array:
    """Return the illuminance that a lamp makes on points, without shadows, shape (...) [lx]; see `source_illuminance`.

    For a string every node is worked out for every point: meant for few.
    """
    return source_illuminance(lamp, points, normals).sum(axis=-1)


def lamp_map(raster: FrontRaster, lamps: Iterable[Lamp]) -> Array:
    """Return the illuminance that lamps make on the front, with the front's own shadows.

    Parameters
    ----------
    raster : FrontRaster
    lamps : sequence of Luminaire or LedString

    Returns
    -------
    array, shape (y, x)
        [lx]; NaN where there is no wall. A luminaire's light is that at the centre of a pixel; the light of a string,
        which may hang closer to the wall than a pixel is wide, is the mean over the pixel near its nodes.

    Raises
    ------
    InputError
        For a lamp or node behind or inside the front.

    Notes
    -----
    Pieces of string up to `SHADOW_STEP` long cast their shadows from their middle node. Each lamp's map at full light
    is remembered.
    """
    result = np.zeros(raster.patch.shape)
    for lamp in LAMPS.check("lamps", lamps):
        result += lamp.dimming * _full_map(raster, lamp.dimmed(1.0))
    result[raster.patch < 0] = np.nan
    return result


def _full_map(raster: FrontRaster, lamp: Lamp) -> Array:
    grid = raster.grid
    front = tuple((p.outline, p.holes) for p in raster.facade.patches)
    key = (front, lamp, grid.x.tobytes(), grid.y.tobytes())
    return _recent.get(key, raster.patch.size, lambda: _lit_by(raster, lamp))


def _lit_by(raster: FrontRaster, lamp: Lamp) -> Array:
    places = sources(lamp)
    result = np.zeros(raster.patch.shape)
    if isinstance(lamp, Luminaire):
        check_in_front(raster.facade, places, f"lamp {lamp.name!r}: position", "a lamp")
        lit = reached(raster, places[0])
        result[lit] = lamp_illuminance(lamp, raster.points[lit], raster.planes.normal[raster.plane[lit]])
    else:
        check_in_front(raster.facade, places, f"string {lamp.name!r}: path", "a node")
        _add_string(result, raster, lamp, places)
    return result


def _add_string(result: Array, raster: FrontRaster, string: LedString, nodes: Array) -> None:
    """Add the light of a string to `result`, shape (y, x) [lx]."""
    flat, planes = result.reshape(-1), raster.planes
    points, shown = raster.points.reshape(-1, 3), raster.plane.ravel()
    closest = (NEAR * raster.grid.spacing) ** 2
    facing = None if string.facing is None else np.array(string.facing)
    # Consecutive nodes share a shadow while they are near each other and in front of the same planes.
    piece = np.floor(string.spacing * np.arange(len(nodes)) / SHADOW_STEP)
    sides = planes.ahead(nodes) > SAME_PLANE
    change = (np.diff(piece) > 0) | (np.diff(sides, axis=0).any(axis=1))
    for group in np.split(np.arange(len(nodes)), np.flatnonzero(change) + 1):
        mine = nodes[group]
        lit = reached(raster, mine[len(group) // 2])
        where = np.flatnonzero(lit)
        step = max(1, PAIRS // len(group))
        for start in range(0, where.size, step):
            part = where[start : start + step]
            here, plane = points[part], shown[part]
            # The law of `source_illuminance` by matrix products, for many points of few planes.
            height = planes.normal[plane] @ mine.T
            height -= planes.offset[plane][:, None]
            np.maximum(height, 0.0, out=height)
            square = here @ (-2.0 * mine.T)
            square += _dot(here, here)[:, None]
            square += _dot(mine, mine)
            # Near a node this is no more than a stand-in, which `_near` takes back.
            np.maximum(square, closest, out=square)
            if facing is not None:
                height *= (here @ facing)[:, None] > mine @ facing
            root = np.sqrt(square)
            square *= root
            height /= square
            flat[part] += string.node_intensity * height.sum(axis=1)
        flat += string.node_intensity * _near(raster, lit.ravel(), mine, facing, closest)


def _near(raster: FrontRaster, lit: Mask, nodes: Array, facing: Array | None, closest: float) -> Array:
    """Return what the light of nodes of 1 cd, integrated over near pixels, exceeds the stand-in by, shape (pixel,).

    The mean illuminance of a pixel is the solid angle that it fills, seen from the node, over its area.
    """
    grid = raster.grid
    rows, columns = raster.patch.shape
    reach = np.arange(-NEAR, NEAR + 1)
    row = np.rint((nodes[:, 1] - grid.y[0]) / grid.spacing).astype(int)[:, None, None] + reach[:, None]
    column = np.rint((nodes[:, 0] - grid.x[0]) / grid.spacing).astype(int)[:, None, None] + reach
    inside = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
    pixel = np.where(inside, row * columns + column, 0)
    inside &= lit[pixel]
    node, pixel = np.nonzero(inside)[0], pixel[inside]
    ray = raster.points.reshape(-1, 3)[pixel] - nodes[node]
    normal = raster.planes.normal[raster.plane.ravel()[pixel]]
    height = -_dot(ray, normal)
    shines = height > 0.0
    if facing is not None:
        shines &= ray @ facing > 0.0
    pixel, ray, normal, height = pixel[shines], ray[shines], normal[shines], height[shines]
    half = 0.5 * grid.spacing
    across = np.zeros_like(ray)
    upward = np.zeros_like(ray)
    across[:, 0] = upward[:, 1] = half
    across[:, 2] = -half * normal[:, 0] / normal[:, 2]
    upward[:, 2] = -half * normal[:, 1] / normal[:, 2]
    a, b, c, d = ray - across - upward, ray + across - upward, ray + across + upward, ray - across + upward
    mean = (_solid_angle(a, b, c) + _solid_angle(a, c, d)) * normal[:, 2] / grid.spacing**2
    stand_in = height / np.maximum(_dot(ray, ray), closest) ** 1.5
    return np.bincount(pixel, weights=mean - stand_in, minlength=lit.size).astype(np.float64, copy=False)


def _solid_angle(a: Array, b: Array, c: Array) -> Array:
    """Return the solid angle of triangles with corners a, b, c, each of shape (n, 3), seen from the origin [sr].

    A. van Oosterom and J. Strackee, IEEE Trans. Biomed. Eng. 30 (1983) 125, doi:10.1109/TBME.1983.325207.
    """
    top = np.abs(_dot(a, np.cross(b, c)))
    la, lb, lc = (np.sqrt(_dot(v, v)) for v in (a, b, c))
    return 2.0 * np.arctan2(top, la * lb * lc + _dot(a, b) * lc + _dot(a, c) * lb + _dot(b, c) * la)


def _dot(u: Array, v: Array) -> Array:
    return np.einsum("ij,ij->i", u, v)
