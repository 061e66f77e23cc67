r"""The veil in the viewer's eye: light beside the front that the eye itself spreads over the picture.

A lamp, the moon or the sky above the roof lights the eye; a little of that light is scattered in it and lies over
everything that is looked at, white and black alike. The relation is that of disability glare, and holds from 1 to 30
degrees from the line of sight:

.. math:: L_v = 10\,(1 + (A/70)^4)\,E / \theta^2 .

References
----------
CIE 146:2002; J. J. Vos, Clin. Exp. Optom. 86 (2003) 363, doi:10.1111/j.1444-0938.2003.tb03080.x. Constants:
``reference_data/constants.csv``.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import xarray as xr
from numpy.typing import ArrayLike, NDArray

from kit import reference
from kit.errors import InputError, numbers
from kit.fields import AGE
from kit.light.ambient import Ambient, glare_angles, source_maps
from kit.light.lamps import Lamp, source_illuminance, sources
from kit.quantities import labelled
from kit.sky.site import GLOW, TWILIGHT, Sky
from kit.wall.facade import Facade
from kit.wall.occlusion import hidden_directions
from kit.wall.points import FrontRaster, check_in_front, middle
from kit.wall.raster import SAME_PLANE

Array = NDArray[np.float64]
Point = tuple[float, float, float]

# Rings and sectors about the line of sight over which the light of the sky is summed: the veil is right within 0.5%.
RINGS, SECTORS = 96, 240


def veiling_luminance(illuminance: ArrayLike, angle: ArrayLike, *, age: float | None = None) -> Array:
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
    low, high = glare_angles()
    if np.any(~((theta >= low) & (theta <= high))):
        raise InputError("angle", angle, f"{low:g} to {high:g} degrees")
    if np.any(~((light >= 0.0) & (light < np.inf))):
        raise InputError("illuminance", illuminance, "0 lx or more")
    factor = reference.value("constants", "disability glare constant")
    if age is not None:
        AGE.check("age", age)
        exponent = reference.value("constants", "glare age exponent")
        factor *= 1.0 + (age / reference.value("constants", "glare age reference")) ** exponent
    return factor * light / theta**2


def _plain(field: str, value: ArrayLike, unit: str) -> Array:
    try:
        return np.asarray(value, float)
    except (ValueError, TypeError):
        raise InputError(field, value, f"numbers in {unit}") from None


@dataclass(frozen=True, kw_only=True)
class Veil:
    """The veil of sources of light, and what of their light the relation for it leaves out.

    Parameters
    ----------
    luminance : float
        Of the veil, from all sources within the relation's angles, 1 to 30 degrees [cd/m2].
    counted, close, wide : float
        Illuminance at the eye [lx]: of the sources that are counted; of those nearer than that to the line of sight,
        which the eye sees as bright points over the front; of those farther off, whose veil is small.
    """

    luminance: float
    counted: float
    close: float
    wide: float


def veil_of(illuminance: ArrayLike, angle: ArrayLike, *, age: float | None = None) -> tuple[Array, Array, Array]:
    """Return the veil of each source within the relation's angles [cd/m2], and which lie too close and too wide."""
    light, theta = np.asarray(illuminance, float), np.asarray(angle, float)
    low, high = glare_angles()
    close, wide = theta < low, theta > high
    veil = veiling_luminance(light, np.clip(theta, low, high), age=age)
    return np.where(close | wide, 0.0, veil), close, wide


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


def angle_from(sight: Array, towards: ArrayLike) -> Array:
    """Return the angle between the line of sight and directions, shape (..., 3) [deg]."""
    ray = np.asarray(towards, float)
    # By the sine too: the cosine alone knows small angles badly.
    return np.asarray(np.degrees(np.arctan2(np.linalg.norm(np.cross(ray, sight), axis=-1), ray @ sight)))


# Lamps


def lamp_at_eye(lamp: Lamp, eye: Point, target: Point) -> tuple[Array, Array]:
    """Return the illuminance that each shining point of a lamp makes at the eye, and its angle from the line of sight.

    Whether something hides the lamp from the eye is not looked at.

    Parameters
    ----------
    lamp : Luminaire or LedString
    eye, target : (float, float, float)
        Of the viewer, and the point of the front that is looked at [m].

    Returns
    -------
    illuminance : array, shape (n,)
        On a plane across the line of sight [lx]; 0 for a point behind the viewer.
    angle : array, shape (n,)
        [deg].

    Raises
    ------
    InputError
        For an eye where the lamp or the target is.
    """
    here, sight = line_of_sight(eye, target)
    places = sources(lamp)
    if np.any(np.linalg.norm(places - here, axis=1) < SAME_PLANE):
        raise InputError("eye", eye, f"a point apart from {lamp.name!r}")
    return source_illuminance(lamp, here, sight), angle_from(sight, places - here)


def lamp_veil(lamps: Iterable[Lamp], eye: Point, target: Point, *, age: float | None = None) -> Veil:
    """Return the veil that lamps put over a point of the front, each node of a string being a lamp of its own.

    Parameters
    ----------
    lamps : sequence of Luminaire or LedString
    eye, target : (float, float, float)
        See `lamp_at_eye`.
    age : float, optional
        Of the viewer [years].
    """
    pairs = [lamp_at_eye(lamp, eye, target) for lamp in lamps]
    light, angle = (np.concatenate([np.zeros(0), *(pair[k] for pair in pairs)]) for k in (0, 1))
    veil, close, wide = veil_of(light, angle, age=age)
    counted = ~(close | wide)
    return Veil(
        luminance=float(veil.sum()),
        counted=float(light[counted].sum()),
        close=float(light[close].sum()),
        wide=float(light[wide].sum()),
    )


# Sky and moon


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
    low, high = glare_angles()
    # Rings of equal ratio: each adds about the same to the veil.
    edges = np.geomspace(low, high, RINGS + 1)
    theta = np.sqrt(edges[1:] * edges[:-1])
    phi = 2.0 * np.pi * (np.arange(SECTORS) + 0.5) / SECTORS
    sine, cosine = np.sin(np.radians(theta))[:, None, None], np.cos(np.radians(theta))[:, None, None]
    around = np.cos(phi)[:, None] * aside + np.sin(phi)[:, None] * above
    directions = cosine * sight + sine * around
    seen = (directions[..., 1] > 0.0) & ~hidden_directions(facade, eye, directions)
    # Per cd/m2: the solid angle of a ring, projected onto a plane across the line of sight.
    ring = np.pi * np.diff(np.sin(np.radians(edges)) ** 2)
    return float(veiling_luminance(ring * seen.mean(axis=1), theta, age=age).sum())


def sky_veils(ambient: Ambient, facade: Facade) -> float:
    """Return the veil of an even sky per its luminance; 0 without an eye."""
    return 0.0 if ambient.eye is None else _sky_veil(facade, ambient.eye, ambient.age)


@lru_cache(maxsize=8)
def _sky_veil(facade: Facade, eye: Point, age: float | None) -> float:
    return sky_veil(facade, eye, middle(facade), age=age)


def moon_veil(ambient: Ambient, facade: Facade, sky: Sky) -> tuple[Array, Array]:
    """Return the veil of the moon over the middle of the front [cd/m2], and its light at the eye within 1 degree [lx].

    Each has the shape of the times of `sky`; 0 without an eye, and where the front hides the moon.
    """
    towards, light = sky.moon_direction(), sky.moon_normal()
    if ambient.eye is None:
        return np.zeros_like(light), np.zeros_like(light)
    _, sight = line_of_sight(ambient.eye, middle(facade))
    hidden = hidden_directions(facade, ambient.eye, towards)
    light = np.where(hidden, 0.0, light * np.maximum(towards @ sight, 0.0))
    veil, close, _ = veil_of(light, angle_from(sight, towards), age=ambient.age)
    return veil, np.where(close, light, 0.0)


# All together


def source_veils(ambient: Ambient, facade: Facade) -> tuple[Array, Array]:
    """Return the veil of each source [cd/m2], and its light at the eye from within 1 degree [lx], shape (source,).

    The order is that of `Ambient.sources`. Without an eye only what is known by its light there (`Glare`) counts.

    Raises
    ------
    InputError
        For an eye behind or inside the front, or where a lamp is.
    """
    if ambient.eye is not None:
        check_in_front(facade, ambient.eye, "eye", "a viewer")
    known = sum(float(veiling_luminance(g.illuminance, g.angle, age=ambient.age)) for g in ambient.glare)
    veils, close = [known], [0.0]
    if ambient.sky is not None:
        even = sky_veils(ambient, facade)
        luminances = ambient.sky.luminances()
        moon, near = (float(v) for v in moon_veil(ambient, facade, ambient.sky))
        veils += [even * float(luminances[TWILIGHT]), even * float(luminances[GLOW]), moon]
        close += [0.0, 0.0, near]
    for lamp in ambient.lamps:
        found = None if ambient.eye is None else lamp_veil([lamp], ambient.eye, middle(facade), age=ambient.age)
        veils.append(0.0 if found is None else found.luminance)
        close.append(0.0 if found is None else found.close)
    return np.array(veils, float), np.array(close, float)


def ambient_light(ambient: Ambient, raster: FrontRaster) -> xr.Dataset:
    """Return what each source of ambient light puts on the front and in the eye.

    Parameters
    ----------
    ambient : Ambient
    raster : FrontRaster

    Returns
    -------
    xarray.Dataset
        On (source, y, x), NaN where there is no wall: ambient_illuminance [lx]. On (source,): veiling_luminance
        [cd/m2], and glare_close [lx], the light at the eye from within 1 degree of the line of sight, for which there
        is no relation and which is seen as bright points over the front. A source that is not there, or off, is 0.

    Raises
    ------
    InputError
        For a lamp or an eye behind or inside the front.
    """
    for field, value, kind in (("ambient", ambient, Ambient), ("raster", raster, FrontRaster)):
        if not isinstance(value, kind):
            raise InputError(field, value, f"a kit.{kind.__name__}")
    veils, close = source_veils(ambient, raster.facade)
    return xr.Dataset(
        {
            "ambient_illuminance": labelled("ambient_illuminance", ("source", "y", "x"), source_maps(ambient, raster)),
            "veiling_luminance": labelled("veiling_luminance", "source", veils),
            "glare_close": labelled("glare_close", "source", close),
        },
        coords={
            "source": list(ambient.sources()),
            "y": labelled("y", "y", raster.grid.y),
            "x": labelled("x", "x", raster.grid.x),
        },
    )
