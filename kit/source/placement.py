r"""Throw: where the lens stands, where it points, how large the picture is, how much light a wall gets.

Derivation of the illuminance on any plane
------------------------------------------
Take a lens that is small against the distance (a pinhole at its centre) and a panel that is evenly lit.
Let :math:`d` be the depth of a point along the lens axis. At depth 1 m the picture has width
:math:`W_1 = 1 / throw ratio` and height :math:`H_1 = W_1 / aspect`, and the plane there is evenly lit with

.. math:: E_1 = \Phi / (W_1 H_1).

A direction at angle :math:`\beta` to the axis meets that plane at distance :math:`1 / \cos\beta`, so its
luminous intensity is :math:`I = E_1 (1/\cos\beta)^2 / \cos\beta = E_1 / \cos^3\beta`. A wall point at
distance :math:`r` in that direction, with incidence angle :math:`\theta` to the wall's normal, receives

.. math:: E = I \cos\theta / r^2 .

With :math:`\cos\beta = d / r` and :math:`\cos\theta = h / r`, where :math:`h` is the perpendicular distance
from lens to the wall's plane, all the distances :math:`r` cancel:

.. math:: E = E_1 \, h / d^3 .

The depth :math:`d` is linear in the wall's x and y, so a whole patch costs a few operations per point.
Lens shift moves the picture inside the same plane at unit depth and changes nothing above.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from kit.errors import InputError, number, numbers
from kit.source.projector import Projector

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Placement:
    """Where a projector stands and where it points.

    Parameters
    ----------
    position : (float, float, float)
        Centre of the lens [m], world axes: x right as the audience sees the front, y up from the ground
        line, z towards the audience.
    aim : (float, float, float)
        Any other point on the lens axis [m]; not the picture's centre, which lens shift moves.
    roll : float
        Turn about the lens axis [deg]; positive turns the picture clockwise for the audience.

    Raises
    ------
    InputError
        If position and aim coincide, or the axis points straight up or down.
    """

    position: tuple[float, float, float]
    aim: tuple[float, float, float]
    roll: float = 0.0

    def __post_init__(self) -> None:
        fix = object.__setattr__
        fix(self, "position", numbers("position", self.position, 3, unit="m"))
        fix(self, "aim", numbers("aim", self.aim, 3, unit="m"))
        fix(self, "roll", number("roll", self.roll, minimum=-360, maximum=360, unit="degrees"))
        axis = np.subtract(self.aim, self.position)
        length = float(np.linalg.norm(axis))
        if length < 1e-6:
            raise InputError("aim", self.aim, f"a point away from position {self.position}")
        if np.hypot(axis[0], axis[2]) < 1e-6 * length:
            raise InputError("aim", self.aim, "a point that is not straight above or below the lens")

    def frame(self) -> tuple[Array, Array, Array]:
        """Return the unit vectors (forward, right, up) of the picture, each of shape (3,)."""
        forward = np.subtract(self.aim, self.position)
        forward = forward / np.linalg.norm(forward)
        right = np.cross(forward, (0.0, 1.0, 0.0))
        right /= np.linalg.norm(right)
        up = np.cross(right, forward)
        turn = np.radians(self.roll)
        return (
            forward,
            np.cos(turn) * right - np.sin(turn) * up,
            np.cos(turn) * up + np.sin(turn) * right,
        )


def picture_width(distance: ArrayLike, throw_ratio: ArrayLike) -> Array:
    """Return the picture's width [m] on a perpendicular wall at `distance` [m]; broadcasts."""
    return np.asarray(distance, float) / np.asarray(throw_ratio, float)


def throw_distance(width: ArrayLike, throw_ratio: ArrayLike) -> Array:
    """Return the distance [m] that makes a picture `width` [m] wide; broadcasts."""
    return np.asarray(width, float) * np.asarray(throw_ratio, float)


def throw_ratio_for(width: ArrayLike, distance: ArrayLike) -> Array:
    """Return the throw ratio that makes a picture `width` [m] wide at `distance` [m]; broadcasts."""
    return np.asarray(distance, float) / np.asarray(width, float)


def picture_window(projector: Projector) -> tuple[float, float, float, float]:
    """Return the picture's limits (left, right, bottom, top) on the plane at unit depth, dimensionless."""
    width = 1.0 / projector.fixed_throw_ratio()
    height = width / projector.aspect
    across, up = projector.lens_shift
    return (across - 0.5) * width, (across + 0.5) * width, (up - 0.5) * height, (up + 0.5) * height


def unit_illuminance(projector: Projector) -> float:
    """Return E1 [lx per lumen] on the perpendicular plane 1 m from the lens."""
    left, right, bottom, top = picture_window(projector)
    return 1.0 / ((right - left) * (top - bottom))


def wall_illuminance(projector: Projector, placement: Placement, points: ArrayLike, normal: ArrayLike) -> Array:
    """Return the illuminance per lumen on wall points, without shadows.

    Parameters
    ----------
    projector, placement
        Its zones are applied, its chain and light output are not.
    points : array, shape (..., 3)
        Points on one plane or on planes of the same `normal` [m].
    normal : array, shape (3,)
        Unit normal of the wall, on the side that is looked at.

    Returns
    -------
    array, shape (...)
        Illuminance [lx/lm]; 0 outside the picture and on a wall lit from behind.
    """
    relative = np.asarray(points, float) - np.asarray(placement.position)
    perpendicular = -(relative @ np.asarray(normal, float))
    across, up, depth = picture_position(projector, placement, points)
    inside = (perpendicular > 0) & (np.abs(across) <= 0.5) & (np.abs(up) <= 0.5)
    safe = np.where(inside, depth, 1.0)
    result = unit_illuminance(projector) * perpendicular / safe**3
    if projector.zones is not None:
        result = result * zone_gain(projector.zones, np.where(inside, across, 0.0), np.where(inside, up, 0.0))
    return np.where(inside, result, 0.0)


def picture_position(projector: Projector, placement: Placement, points: ArrayLike) -> tuple[Array, Array, Array]:
    """Return which point of the picture lands on each wall point.

    Parameters
    ----------
    projector, placement
    points : array, shape (..., 3)
        World axes [m].

    Returns
    -------
    across, up : array, shape (...)
        From -0.5 (left, bottom) to 0.5 (right, top) inside the picture, beyond outside it; NaN behind the lens.
    depth : array, shape (...)
        Along the lens axis [m]; NaN behind the lens.
    """
    relative = np.asarray(points, float) - np.asarray(placement.position)
    forward, right, up = placement.frame()
    depth = relative @ forward
    depth = np.where(depth > 0, depth, np.nan)
    left, right_end, bottom, top = picture_window(projector)
    return (
        ((relative @ right) / depth - left) / (right_end - left) - 0.5,
        ((relative @ up) / depth - bottom) / (top - bottom) - 0.5,
        depth,
    )


def picture_corners(projector: Projector, placement: Placement, *, depth: float = 0.0) -> Array:
    """Return where the picture's corners fall on an upright plane parallel to the front.

    Parameters
    ----------
    projector, placement
    depth : float
        Of the plane in front of the wall [m].

    Returns
    -------
    array, shape (4, 3)
        Bottom left, bottom right, top right, top left as the projector addresses them [m]; NaN for a corner whose ray
        does not meet the plane.
    """
    left, right_end, bottom, top = picture_window(projector)
    forward, right, up = placement.frame()
    across = np.array([left, right_end, right_end, left])[:, None]
    upward = np.array([bottom, bottom, top, top])[:, None]
    rays = forward + across * right + upward * up
    lens = np.asarray(placement.position)
    with np.errstate(divide="ignore", invalid="ignore"):
        length = (depth - lens[2]) / rays[:, 2]
    length = np.where(np.isfinite(length) & (length > 0), length, np.nan)
    return lens + length[:, None] * rays


def zone_gain(zones: ArrayLike, across: ArrayLike, up: ArrayLike) -> Array:
    """Return the lens's illuminance relative to a flat field that carries the same flux.

    The nine readings hold at the zone centres; between them runs a smooth step (3 t^2 - 2 t^3), beyond
    the outer centres the reading stays. Each of the three weights along an axis then has integral 1/3,
    so the picture's mean is the mean of the nine readings, which is how IEC 61947-1 turns them into
    lumens: flux is conserved exactly, and no value leaves the range of the readings.

    Parameters
    ----------
    zones : array, shape (3, 3)
        Readings, top row first, left to right.
    across, up : array
        Position in the picture, from -0.5 (left, bottom) to 0.5 (right, top); they broadcast.

    Returns
    -------
    array
        Dimensionless, mean 1 over the picture.
    """
    readings = np.asarray(zones, float)
    table = readings[::-1] / readings.mean()
    horizontal, vertical = _zone_weights(across), _zone_weights(up)
    return sum(  # type: ignore[return-value]
        table[row, column] * vertical[row] * horizontal[column] for row in range(3) for column in range(3)
    )


def _zone_weights(position: ArrayLike) -> tuple[Array, Array, Array]:
    s = 3.0 * np.asarray(position, float)
    low = np.clip(-s, 0.0, 1.0)
    high = np.clip(s, 0.0, 1.0)
    low = low * low * (3.0 - 2.0 * low)
    high = high * high * (3.0 - 2.0 * high)
    return low, 1.0 - low - high, high
