r"""The veil in the viewer's eye: light beside the front that the eye itself spreads over the picture.

A lamp, the moon or the sky above the roof lights the eye; a little of that light is scattered in it and lies over
everything that is looked at, white and black alike. The relation is that of disability glare, and holds from 1 to 30
degrees from the line of sight:

.. math:: L_v = 10\,(1 + (A/70)^4)\,E / \theta^2 .

References
----------
CIE 146:2002; J. J. Vos, Clin. Exp. Optom. 86 (2003) 363. Constants: ``reference_data/constants.csv``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from kit import reference
from kit.errors import InputError, number, numbers
from kit.wall.facade import Facade
from kit.wall.occlusion import first_met
from kit.wall.raster import SAME_PLANE

Array = NDArray[np.float64]
Point = tuple[float, float, float]

# Rings and sectors about the line of sight over which the light of the sky is summed: the veil is right within 0.5%.
RINGS, SECTORS = 96, 240


@dataclass(frozen=True, kw_only=True)
class Glare:
    """A light source in the viewer's field of view.

    Parameters
    ----------
    illuminance : float
        That it makes at the eye, on a plane across the line of sight [lx].
    angle : float
        Between the source and the front that is looked at [deg], 1 to 30.
    """

    illuminance: float
    angle: float

    def __post_init__(self) -> None:
        number("glare: illuminance", self.illuminance, minimum=0.0, unit="lx")
        low, high = angles()
        number("glare: angle", self.angle, minimum=low, maximum=high, unit="degrees")


def veil_luminance(illuminance: ArrayLike, angle: ArrayLike, *, age: float | None = None) -> Array:
    """Return the luminance that a glare source spreads over the image in the eye [cd/m2].

    Parameters
    ----------
    illuminance : array
        At the eye [lx].
    angle : array
        Between source and line of sight [deg], 1 to 30. Broadcasts with `illuminance`.
    age : float, optional
        Of the viewer [years].

    Raises
    ------
    InputError
        For an angle outside the relation's range, or an illuminance or age that cannot be.

    Notes
    -----
    L = 10 E / theta^2, times 1 + (age / 70)^4 if an age is given.

    References
    ----------
    CIE 146:2002; J. J. Vos, Clin. Exp. Optom. 86 (2003) 363. Constants: ``reference_data/constants.csv``.
    """
    theta, light = _plain("angle", angle, "degrees"), _plain("illuminance", illuminance, "lx")
    low, high = angles()
    if np.any(~((theta >= low) & (theta <= high))):
        raise InputError("angle", angle, f"{low:g} to {high:g} degrees")
    if np.any(~((light >= 0.0) & (light < np.inf))):
        raise InputError("illuminance", illuminance, "0 lx or more")
    factor = reference.value("constants", "disability glare constant")
    if age is not None:
        number("age", age, minimum=0.0, maximum=120.0, unit="years")
        exponent = reference.value("constants", "glare age exponent")
        factor *= 1.0 + (age / reference.value("constants", "glare age reference")) ** exponent
    return factor * light / theta**2


def _plain(field: str, value: ArrayLike, unit: str) -> Array:
    try:
        return np.asarray(value, float)
    except (ValueError, TypeError):
        raise InputError(field, value, f"numbers in {unit}") from None


def angles() -> tuple[float, float]:
    """Return the least and the greatest angle for which the relation holds [deg]."""
    row = reference.row("constants", "glare angle")
    return row.low, row.high


def line_of_sight(eye: Point, target: Point) -> tuple[Array, Array]:
    """Return the eye [m] and the unit vector from it to `target`, each of shape (3,).

    Raises
    ------
    InputError
        For a target where the eye is, or a place that is no three numbers.
    """
    here = np.array(numbers("eye", eye, 3, unit="m"))
    sight = np.array(numbers("target", target, 3, unit="m")) - here
    length = float(np.linalg.norm(sight))
    if length < SAME_PLANE:
        raise InputError("target", target, "a point apart from the eye")
    return here, sight / length


def middle(facade: Facade) -> Point:
    """Return the middle of a front's extent, on the plane z = 0 [m]: what is looked at."""
    left, right, bottom, top = facade.bounds
    return (left + right) / 2.0, (bottom + top) / 2.0, 0.0


def hidden(facade: Facade, eye: Point, directions: ArrayLike) -> NDArray[np.bool_]:
    """Return which `directions`, unit vectors of shape (..., 3), the front hides from an eye in front of it."""
    ray = np.asarray(directions, float)
    flat, here = ray.reshape(-1, 3), np.asarray(eye, float)
    return np.isfinite(first_met(facade, here, here + flat)).reshape(ray.shape[:-1])


def sky_veil(facade: Facade, eye: Point, target: Point, *, age: float | None = None) -> float:
    """Return the veil of a sky that is equally bright all over, per luminance of that sky.

    The part of the sky counts that is within 1 to 30 degrees of the line of sight, above the horizon and not hidden by
    the front. Trees and houses beside it would hide more.

    Parameters
    ----------
    facade : Facade
    eye, target : (float, float, float)
        Of the viewer, and the point of the front that is looked at [m].
    age : float, optional
        Of the viewer [years].
    """
    _, sight = line_of_sight(eye, target)
    aside = np.cross(sight, (0.0, 1.0, 0.0) if abs(sight[1]) < 0.9 else (1.0, 0.0, 0.0))
    aside /= np.linalg.norm(aside)
    above = np.cross(aside, sight)
    low, high = angles()
    # Rings of equal ratio: each adds about the same to the veil.
    edges = np.geomspace(low, high, RINGS + 1)
    theta = np.sqrt(edges[1:] * edges[:-1])
    phi = 2.0 * np.pi * (np.arange(SECTORS) + 0.5) / SECTORS
    sine, cosine = np.sin(np.radians(theta))[:, None, None], np.cos(np.radians(theta))[:, None, None]
    around = np.cos(phi)[:, None] * aside + np.sin(phi)[:, None] * above
    directions = cosine * sight + sine * around
    seen = (directions[..., 1] > 0.0) & ~hidden(facade, eye, directions)
    # Per cd/m2: the solid angle of a ring, projected onto a plane across the line of sight.
    ring = np.pi * np.diff(np.sin(np.radians(edges)) ** 2)
    return float(veil_luminance(ring * seen.mean(axis=1), theta, age=age).sum())
