"""The light of lamps and LED strings on the front, with the front's own shadows."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from kit.errors import InputError
from kit.sky.luminaire import LedString, Luminaire
from kit.wall.facade import Facade
from kit.wall.occlusion import outlines, shade
from kit.wall.points import check_in_front, plane_at, planes_of
from kit.wall.raster import SAME_PLANE, Grid, Mask, Window, around, elevation_rings, visible

Array = NDArray[np.float64]


# Nodes along a piece of string this long share one shadow [m].
SHADOW_STEP = 1.0


# Up to this many pixels from a node the light is integrated over each pixel, beyond it is that of the pixel's centre,
# which there is less than 0.6% off.
NEAR = 8


# Pairs of node and point that are worked on together stay in the processor's cache.
PAIRS = 1 << 15


def lamp_illuminance(luminaire: Luminaire, points: ArrayLike, normals: ArrayLike) -> Array:
    """Return the illuminance that a lamp makes on points of a wall, without shadows [lx].

    Parameters
    ----------
    luminaire : Luminaire
    points : array, shape (..., 3)
        [m].
    normals : array, shape (..., 3)
        Unit normals on the lit side; broadcasts with `points`. What faces away gets nothing.

    Raises
    ------
    InputError
        For a point where the lamp is.
    """
    ray = np.asarray(points, float) - np.asarray(luminaire.position)
    distance = np.linalg.norm(ray, axis=-1, keepdims=True)
    if np.any(distance < SAME_PLANE):
        raise InputError(f"lamp {luminaire.name!r}: position", luminaire.position, "a lamp apart from what it lights")
    ray /= distance
    slant = np.maximum(-(ray * np.asarray(normals, float)).sum(axis=-1), 0.0)
    return luminaire.intensity(ray) * slant / distance[..., 0] ** 2


def lamp_map(facade: Facade, lamps: Iterable[Luminaire | LedString], grid: Grid) -> Array:
    """Return the illuminance that lamps make on the front, with the front's own shadows.

    Parameters
    ----------
    facade : Facade
    lamps : sequence of Luminaire or LedString
    grid : Grid
        Raster in elevation, see `kit.wall.raster.Grid.over`.

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
    Pieces of string up to `SHADOW_STEP` long cast their shadows from their middle node.
    """
    stage = _Stage(facade, grid)
    result = np.zeros(stage.shown.shape)
    for lamp in lamps:
        if isinstance(lamp, Luminaire):
            check_in_front(facade, lamp.position, f"lamp {lamp.name!r}: position", "a lamp")
            lit = stage.reached(np.array(lamp.position))
            result[lit] += lamp_illuminance(lamp, stage.points[lit], stage.normals[stage.shown[lit]])
        elif isinstance(lamp, LedString):
            nodes = lamp.nodes()
            check_in_front(facade, nodes, f"string {lamp.name!r}: path", "a node")
            _add_string(result, stage, lamp, nodes)
        else:
            raise InputError("lamps", lamp, "kit.Luminaire and kit.LedString values")
    result[stage.shown < 0] = np.nan
    return result


class _Stage:
    """The visible front on a raster, ready to be lit by many points."""

    def __init__(self, facade: Facade, grid: Grid) -> None:
        self.facade, self.grid = facade, grid
        self.corners = outlines(facade)
        self.planes = planes_of(facade)
        self.shown = plane_at(self.planes, visible(facade, grid).astype(np.intp) + 1)
        firsts = [facade.patches[members[0]] for members in self.planes]
        self.normals = np.array([p.normal for p in firsts])
        self.offsets = np.array([p.offset for p in firsts])
        # A row for points where there is no wall, which are -1.
        depth = np.array([*(p.depth_plane() for p in firsts), (0.0, 0.0, 0.0)])[self.shown]
        self.points = np.empty((*self.shown.shape, 3))
        self.points[..., 0], self.points[..., 1] = grid.x, grid.y[:, None]
        self.points[..., 2] = depth[..., 0] + depth[..., 1] * grid.x + depth[..., 2] * grid.y[:, None]
        self.windows: list[Window] = [
            around([grid.window(elevation_rings(facade.patches[i])) for i in members]) for members in self.planes
        ]

    def ahead(self, points: Array) -> Array:
        """Return how far `points`, shape (n, 3), lie in front of each plane, shape (n, plane) [m]."""
        return points @ self.normals.T - self.offsets

    def reached(self, point: Array) -> Mask:
        """Return which points of the raster a point of light reaches."""
        lit = np.zeros(self.shown.shape, dtype=bool)
        for k, height in enumerate(self.ahead(point[None])[0]):
            window = self.windows[k]
            mine = self.shown[window] == k
            if height > SAME_PLANE and mine.any():
                shade(mine, window, self.facade, self.planes[k], point, self.grid, self.corners)
                lit[window] |= mine
        return lit


def _add_string(result: Array, stage: _Stage, string: LedString, nodes: Array) -> None:
    """Add the light of a string to `result`, shape (y, x) [lx]."""
    flat = result.reshape(-1)
    points, shown = stage.points.reshape(-1, 3), stage.shown.ravel()
    closest = (NEAR * stage.grid.spacing) ** 2
    facing = None if string.facing is None else np.array(string.facing)
    light = string._intensity()
    # Consecutive nodes share a shadow while they are near each other and in front of the same planes.
    piece = np.floor(string.spacing * np.arange(len(nodes)) / SHADOW_STEP)
    sides = stage.ahead(nodes) > SAME_PLANE
    change = (np.diff(piece) > 0) | (np.diff(sides, axis=0).any(axis=1))
    for group in np.split(np.arange(len(nodes)), np.flatnonzero(change) + 1):
        mine = nodes[group]
        lit = stage.reached(mine[len(group) // 2])
        where = np.flatnonzero(lit)
        step = max(1, PAIRS // len(group))
        for start in range(0, where.size, step):
            part = where[start : start + step]
            here, plane = points[part], shown[part]
            normal = stage.normals[plane]
            height = normal @ mine.T
            height -= stage.offsets[plane][:, None]
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
            flat[part] += light * height.sum(axis=1)
        flat += light * _near(stage, lit.ravel(), mine, facing, closest)


def _near(stage: _Stage, lit: Mask, nodes: Array, facing: Array | None, closest: float) -> Array:
    """Return what the light of nodes of 1 cd, integrated over near pixels, exceeds the stand-in by, shape (pixel,).

    The mean illuminance of a pixel is the solid angle that it fills, seen from the node, over its area.
    """
    grid = stage.grid
    rows, columns = lit.size // grid.x.size, grid.x.size
    reach = np.arange(-NEAR, NEAR + 1)
    row = np.rint((nodes[:, 1] - grid.y[0]) / grid.spacing).astype(int)[:, None, None] + reach[:, None]
    column = np.rint((nodes[:, 0] - grid.x[0]) / grid.spacing).astype(int)[:, None, None] + reach
    inside = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
    pixel = np.where(inside, row * columns + column, 0)
    inside &= lit[pixel]
    node, pixel = np.nonzero(inside)[0], pixel[inside]
    ray = stage.points.reshape(-1, 3)[pixel] - nodes[node]
    normal = stage.normals[stage.shown.ravel()[pixel]]
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

    A. van Oosterom and J. Strackee, IEEE Trans. Biomed. Eng. 30 (1983) 125.
    """
    top = np.abs(_dot(a, np.cross(b, c)))
    la, lb, lc = (np.sqrt(_dot(v, v)) for v in (a, b, c))
    return 2.0 * np.arctan2(top, la * lb * lc + _dot(a, b) * lc + _dot(a, c) * lb + _dot(b, c) * la)


def _dot(u: Array, v: Array) -> Array:
    return np.einsum("ij,ij->i", u, v)
