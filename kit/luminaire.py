r"""Lamps near the house: what they put on the front, and what they put in the viewer's eye.

A lamp is a point that sends intensity :math:`I` in each direction. A wall point at distance :math:`r`, with incidence
angle :math:`\beta` to the wall's normal, receives

.. math:: E = I \cos\beta / r^2 .

The law of a point holds beyond about five times the largest length of the lamp's luminous part; nearer, a real lamp
gives less. Light that comes by way of the ground, the sky or other walls is not counted, nor is anything that stands
between lamp and front other than the front's own depth.

How a lamp is turned
--------------------
A lamp with `turn` and `tilt` 0 hangs as it was measured: its axis (:math:`\theta = 0`) points straight down, its C0
half-plane to the right along the front (+x), C90 towards the house (-z). `turn` turns the lamp about the vertical,
counter-clockwise as seen from above; `tilt` then lifts its axis towards its own C90. So ``turn=0, tilt=90`` is a
floodlight that points straight at the house, and ``turn=180, tilt=90`` one that points at the audience.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from kit import reference
from kit.cast import around, check_in_front, outlines, plane_at, planes_of, shade
from kit.errors import InputError, number, numbers, text
from kit.facade import Facade
from kit.glare import line_of_sight, veil_luminance
from kit.photometric_file import Distribution, beam, cutoff, isotropic
from kit.projector import is_many
from kit.raster import SAME_PLANE, Grid, Mask, Window, elevation_rings, visible
from kit.spectra import AMBIENT

Array = NDArray[np.float64]

# More nodes than a long front carries; beyond, the spacing is surely a slip.
MOST_NODES = 10_000
# Nodes along a piece of string this long share one shadow [m].
SHADOW_STEP = 1.0
# Up to this many pixels from a node the light is integrated over each pixel, beyond it is that of the pixel's centre,
# which there is less than 0.6% off.
NEAR = 8
# Pairs of node and point that are worked on together stay in the processor's cache.
PAIRS = 1 << 15


@dataclass(frozen=True, kw_only=True)
class Luminaire:
    """A lamp in its place.

    Parameters
    ----------
    name : str
    position : (float, float, float)
        World axes [m], see `kit.facade`.
    distribution : Distribution
    flux : float, optional
        That leaves the luminaire [lm]. Not given: that of the distribution.
    turn, tilt : float
        See the top of this module [deg].
    dimming : float
        Share of the full light, 0 to 1.
    shielded : float, optional
        Angle from straight down, above which a shield holds all light back [deg]. The shielded light is lost.
    spectrum : str
        One of the names of `kit.spectra.ambient_spectrum`, or empty: unknown.
    """

    name: str
    position: tuple[float, float, float]
    distribution: Distribution
    flux: float | None = None
    turn: float = 0.0
    tilt: float = 0.0
    dimming: float = 1.0
    shielded: float | None = None
    spectrum: str = ""

    def __post_init__(self) -> None:
        where = f"lamp {text('lamp name', self.name)!r}"
        fix = object.__setattr__
        fix(self, "position", numbers(f"{where}: position", self.position, 3, unit="m"))
        if not isinstance(self.distribution, Distribution):
            raise InputError(f"{where}: distribution", self.distribution, "a kit.Distribution")
        if self.flux is not None:
            fix(self, "flux", number(f"{where}: flux", self.flux, minimum=0.0, unit="lm"))
        fix(self, "turn", number(f"{where}: turn", self.turn, minimum=-360.0, maximum=360.0, unit="degrees"))
        fix(self, "tilt", number(f"{where}: tilt", self.tilt, minimum=-180.0, maximum=180.0, unit="degrees"))
        fix(self, "dimming", number(f"{where}: dimming", self.dimming, minimum=0.0, maximum=1.0))
        if self.shielded is not None:
            limit = number(f"{where}: shielded", self.shielded, minimum=0.0, maximum=180.0, unit="degrees")
            fix(self, "shielded", limit)
        if self.spectrum and self.spectrum not in AMBIENT:
            raise InputError(f"{where}: spectrum", self.spectrum, f"one of {', '.join(AMBIENT)}")

    def frame(self) -> tuple[Array, Array, Array]:
        """Return the unit vectors (axis, C0, C90) of the lamp in world axes, each of shape (3,)."""
        turn, tilt = math.radians(self.turn), math.radians(self.tilt)
        down, level = np.array([0.0, -1.0, 0.0]), np.array([-math.sin(turn), 0.0, -math.cos(turn)])
        axis = math.cos(tilt) * down + math.sin(tilt) * level
        return axis, np.array([math.cos(turn), 0.0, -math.sin(turn)]), math.cos(tilt) * level - math.sin(tilt) * down

    def intensity(self, directions: ArrayLike) -> Array:
        """Return the intensity towards unit vectors `directions`, shape (..., 3), in world axes [cd]."""
        towards = np.asarray(directions, float)
        axis, c0, c90 = self.frame()
        theta = np.degrees(np.arccos(np.clip(towards @ axis, -1.0, 1.0)))
        if self.distribution.horizontal.size > 1:
            phi: ArrayLike = np.degrees(np.arctan2(towards @ c90, towards @ c0))
        else:
            phi = 0.0
        result = self.distribution.intensity(theta, phi)
        result *= self.dimming * (1.0 if self.flux is None else self.flux / self.distribution.flux())
        if self.shielded is not None:
            result = np.where(-towards[..., 1] >= math.cos(math.radians(self.shielded)), result, 0.0)
        return result


@dataclass(frozen=True, kw_only=True)
class LedString:
    """A string of light-emitting nodes along a line.

    Parameters
    ----------
    name : str
    path : sequence of (x, y, z)
        Corners of the line [m], two or more: a roof line, a gutter, turns round a tree.
    spacing : float
        Between nodes along the line [m].
    node_flux : float
        Of one node at full white [lm].
    drive : float
        Share of full white, 0 to 1; nodes are dimmed by switching them fast, so light is proportional to it.
    facing : (float, float, float), optional
        Each node lights evenly the half-space about this direction: (0, 0, 1) is away from the house. Not given:
        all round.

    Raises
    ------
    InputError
        For a value out of its domain, or more than `MOST_NODES` nodes.
    """

    name: str
    path: tuple[tuple[float, float, float], ...]
    spacing: float
    node_flux: float
    drive: float = 1.0
    facing: tuple[float, float, float] | None = None

    def __post_init__(self) -> None:
        where = f"string {text('string name', self.name)!r}"
        fix = object.__setattr__
        if not is_many(self.path) or len(self.path) < 2:
            raise InputError(f"{where}: path", self.path, "two or more corners (x, y, z) in metres")
        path = tuple(numbers(f"{where}: path, corner {i}", c, 3, unit="m") for i, c in enumerate(self.path, 1))
        fix(self, "path", path)
        fix(self, "spacing", number(f"{where}: spacing", self.spacing, above=0.0, unit="m"))
        fix(self, "node_flux", number(f"{where}: node_flux", self.node_flux, minimum=0.0, unit="lm"))
        fix(self, "drive", number(f"{where}: drive", self.drive, minimum=0.0, maximum=1.0))
        if self.facing is not None:
            facing = numbers(f"{where}: facing", self.facing, 3)
            if not 1e-6 < math.hypot(*facing) < 1e6:
                raise InputError(f"{where}: facing", self.facing, "a direction (x, y, z) other than (0, 0, 0)")
            fix(self, "facing", facing)
        if not 0.0 < self.length / self.spacing < MOST_NODES - 1:
            raise InputError(
                f"{where}: path, spacing",
                (round(self.length, 3), self.spacing),
                f"a line longer than 0 m with at most {MOST_NODES} nodes",
            )

    @property
    def length(self) -> float:
        """Of the line [m]."""
        return sum(math.dist(*ends) for ends in pairwise(self.path))

    def nodes(self) -> Array:
        """Return the positions of the nodes, shape (n, 3) [m]: the first at the start of the line."""
        corners = np.array(self.path)
        along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(corners, axis=0), axis=1))])
        # A hair of slack, so that 1 m in steps of 0.1 m has 11 nodes.
        at = self.spacing * np.arange(int(along[-1] / self.spacing + 1e-9) + 1)
        return np.stack([np.interp(at, along, corners[:, k]) for k in range(3)], axis=1)

    def flux(self) -> float:
        """Return the light of all nodes at this drive [lm]."""
        return self.node_flux * self.drive * len(self.nodes())

    def _intensity(self) -> float:
        """Of one node where it shines at all [cd]."""
        return self.node_flux * self.drive / ((4.0 if self.facing is None else 2.0) * math.pi)


def typical_luminaire(
    name: str,
    *,
    position: tuple[float, float, float],
    level: str = "nominal",
    called: str | None = None,
    **more: Any,
) -> Luminaire:
    """Return a lamp of ``reference_data/luminaires.csv``.

    Parameters
    ----------
    name : str
        For example ``"street lamp"``.
    position : (float, float, float)
        As in `Luminaire`, as is anything in `more` (`turn`, `tilt`, `dimming`, `shielded`, `spectrum`).
    level : {"low", "nominal", "high"}
        Of the flux.
    called : str, optional
        Name of this one; that of its kind if not given.

    Raises
    ------
    InputError
        For an unknown name or level.
    """
    if level not in ("low", "nominal", "high"):
        raise InputError("level", level, "low, nominal or high")
    shape = _typical_shape(name, level)
    return Luminaire(name=name if called is None else called, position=position, distribution=shape, **more)


def headlamps(
    name: str, *, position: tuple[float, float], towards: tuple[float, float], level: str = "nominal"
) -> tuple[Luminaire, Luminaire]:
    """Return the two headlamps of a car, level and at their usual height.

    Parameters
    ----------
    name : str
        Of the car.
    position, towards : (float, float)
        Of the car's nose, and a point that it drives towards, as (x, z) [m].
    level : {"low", "nominal", "high"}
        Of the flux.

    Raises
    ------
    InputError
        For a car that drives nowhere.
    """
    text("car: name", name)
    x, z = numbers("position", position, 2, unit="m")
    ahead = np.array(numbers("towards", towards, 2, unit="m")) - (x, z)
    length = float(np.hypot(*ahead))
    if length < SAME_PLANE:
        raise InputError("towards", towards, "a point apart from the position")
    turn = math.degrees(math.atan2(-ahead[0], -ahead[1]))
    height, apart = (reference.value("luminaires", "headlamp", quantity=q) for q in ("height", "spacing"))
    aside = 0.5 * apart / length * np.array([ahead[1], -ahead[0]])
    left, right = (
        typical_luminaire(
            "headlamp", called=f"{name}, {side}", position=(float(x + s * aside[0]), height, float(z + s * aside[1])),
            turn=turn, tilt=90.0, level=level,
        )
        for side, s in (("left", 1.0), ("right", -1.0))
    )  # fmt: skip
    return left, right


@cache
def _typical_shape(name: str, level: str) -> Distribution:
    row = reference.row("luminaires", name, group="luminaire", quantity="flux")
    flux = row.value if level == "nominal" else getattr(row, level)
    known = {r.quantity: r.value for r in reference.table("luminaires") if r.name == name and r.group == "luminaire"}
    if "beam angle" in known:
        return beam(flux, known["beam angle"], name=name)
    if "cut-off angle" in known:
        return cutoff(flux, known["cut-off angle"], name=name)
    return isotropic(flux, name=name)


def wall_illuminance(luminaire: Luminaire, points: ArrayLike, normals: ArrayLike) -> Array:
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
        Raster in elevation, see `kit.raster.Grid.over`.

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
            result[lit] += wall_illuminance(lamp, stage.points[lit], stage.normals[stage.shown[lit]])
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


# In the eye


@dataclass(frozen=True, kw_only=True)
class LampVeil:
    """The veil of lamps, and what of their light the relation for it leaves out.

    Parameters
    ----------
    luminance : float
        Of the veil, from all lamps within the relation's angles, 1 to 30 degrees [cd/m2].
    counted, close, wide : float
        Illuminance at the eye [lx]: of the lamps that are counted; of those nearer than that to the line of sight,
        which the eye sees as bright points over the front; of those farther off, whose veil is small.
    """

    luminance: float
    counted: float
    close: float
    wide: float


def eye_illuminance(
    luminaire: Luminaire, eye: tuple[float, float, float], target: tuple[float, float, float]
) -> tuple[float, float]:
    """Return the illuminance that a lamp makes at the eye, and its angle from the line of sight.

    Whether something hides the lamp from the eye is not looked at.

    Parameters
    ----------
    luminaire : Luminaire
    eye, target : (float, float, float)
        Of the viewer, and the point of the front that is looked at [m].

    Returns
    -------
    illuminance : float
        On a plane across the line of sight [lx]; 0 for a lamp behind the viewer.
    angle : float
        Between lamp and line of sight [deg].

    Raises
    ------
    InputError
        For an eye where the lamp or the target is.
    """
    light, angle = _at_eye(luminaire, eye, target)
    return float(light[0]), float(angle[0])


def lamp_veil(
    lamps: Iterable[Luminaire | LedString],
    eye: tuple[float, float, float],
    target: tuple[float, float, float],
    *,
    age: float | None = None,
) -> LampVeil:
    """Return the veil that lamps put over a point of the front, each node of a string being a lamp of its own.

    Parameters
    ----------
    lamps : sequence of Luminaire or LedString
    eye, target : (float, float, float)
        See `eye_illuminance`.
    age : float, optional
        Of the viewer [years].

    References
    ----------
    CIE 146:2002, see `kit.glare.veil_luminance`; valid from 1 to 30 degrees.
    """
    pairs = [_at_eye(lamp, eye, target) for lamp in lamps]
    light = np.concatenate([np.zeros(0), *(pair[0] for pair in pairs)])
    angle = np.concatenate([np.zeros(0), *(pair[1] for pair in pairs)])
    limits = reference.row("constants", "glare angle")
    close, wide = angle < limits.low, angle > limits.high
    counted = ~(close | wide)
    return LampVeil(
        luminance=float(veil_luminance(light[counted], angle[counted], age=age).sum()),
        counted=float(light[counted].sum()),
        close=float(light[close].sum()),
        wide=float(light[wide].sum()),
    )


def _at_eye(lamp: Luminaire | LedString, eye: Any, target: Any) -> tuple[Array, Array]:
    """Return illuminance [lx] and angle [deg] of each point of light, shape (n,)."""
    here, sight = line_of_sight(eye, target)
    if isinstance(lamp, Luminaire):
        where = np.array([lamp.position])
    elif isinstance(lamp, LedString):
        where = lamp.nodes()
    else:
        raise InputError("lamps", lamp, "kit.Luminaire and kit.LedString values")
    ray = here - where
    distance = np.linalg.norm(ray, axis=1)
    if np.any(distance < SAME_PLANE):
        raise InputError("eye", eye, f"a point apart from {lamp.name!r}")
    ray /= distance[:, None]
    cosine = np.clip(-(ray @ sight), -1.0, 1.0)
    if isinstance(lamp, Luminaire):
        intensity: Array = lamp.intensity(ray)
    else:
        shines = np.ones(len(ray), dtype=bool) if lamp.facing is None else ray @ np.array(lamp.facing) > 0
        intensity = lamp._intensity() * shines
    # The angle by way of the sine too: the cosine alone knows small angles badly.
    across = np.linalg.norm(np.cross(ray, sight), axis=1)
    return intensity * np.maximum(cosine, 0.0) / distance**2, np.degrees(np.arctan2(across, cosine))
