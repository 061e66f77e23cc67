r"""The veil in the viewer's eye: light beside the front that the eye itself spreads over the picture.

A lamp, the moon or the sky above the roof lights the eye; a little of that light is scattered in it and lies over
everything that is looked at, white and black alike. `veiling_luminance` has the relation.
"""

from collections.abc import Iterable
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from kit import reference
from kit.arrays import Array, Point
from kit.errors import InputError
from kit.fields import AGE, POINT, Numbers
from kit.light.ambient import ASIDE, AT_EYE, Ambient
from kit.light.lamps import Lamp, source_illuminance, sources
from kit.sky.site import GLOW, TWILIGHT, Sky
from kit.wall.facade import Facade
from kit.wall.occlusion import hidden_directions
from kit.wall.points import check_in_front, middle
from kit.wall.raster import SAME_PLANE

# Rings and sectors about the line of sight over which the light of the sky is summed: the veil is right within 0.5%.
RINGS, SECTORS = 96, 240


def veiling_luminance(illuminance: ArrayLike, angle: ArrayLike, *, age: float | None = None) -> Array:
    r"""Return the luminance that a glare source spreads over the image in the eye [cd/m2].

    `illuminance` is that at the eye [lx], `angle` lies between source and line of sight, 1 to 30 [deg]; they broadcast.
    `age` is that of the viewer [years].

    Disability glare, :math:`L_v = 10\,(1 + (A/70)^4)\,E / \theta^2`, with the age :math:`A` if it is given: CIE
    146:2002; J. J. Vos, Clin. Exp. Optom. 86 (2003) 363, doi:10.1111/j.1444-0938.2003.tb03080.x.
    """
    theta, light = Numbers(of=ASIDE).check("angle", angle), Numbers(of=AT_EYE).check("illuminance", illuminance)
    factor = reference.value("constants", "disability glare constant")
    if age is not None:
        exponent = reference.value("constants", "glare age exponent")
        factor *= 1.0 + (AGE.check("age", age) / reference.value("constants", "glare age reference")) ** exponent
    return factor * light / theta**2


class Veil(NamedTuple):
    """The veil of sources of light [cd/m2], and their light at the eye from within 1 degree of the line of sight [lx].

    So near the eye sees bright points, for which there is no relation; from beyond 30 degrees the veil is left out.
    """

    luminance: Array
    close: Array


def veil_of(illuminance: ArrayLike, angle: ArrayLike, *, age: float | None = None) -> Veil:
    """Return the veil of each source of an illuminance at the eye [lx] at an angle from the line of sight [deg]."""
    light, theta = np.asarray(illuminance, float), np.asarray(angle, float)
    near = np.clip(theta, ASIDE.low, ASIDE.high)
    veil = np.where(near == theta, veiling_luminance(light, near, age=age), 0.0)
    return Veil(veil, np.where(theta < ASIDE.low, light, 0.0))


def line_of_sight(eye: Point, target: Point) -> tuple[Array, Array]:
    """Return the eye [m] and the unit vector from it to `target`, a point apart from it, each of shape (3,)."""
    here = np.array(POINT.check("eye", eye))
    sight = np.array(POINT.check("target", target)) - here
    length = float(np.linalg.norm(sight))
    if length < SAME_PLANE:
        raise InputError("target", target, "a point apart from the eye")
    return here, sight / length


def angle_from(sight: Array, towards: ArrayLike) -> Array:
    """Return the angle between the line of sight and directions, shape (..., 3) [deg]."""
    ray = np.asarray(towards, float)
    # By the sine too: the cosine alone knows small angles badly.
    return np.asarray(np.degrees(np.arctan2(np.linalg.norm(np.cross(ray, sight), axis=-1), ray @ sight)))


def lamp_at_eye(lamp: Lamp, eye: Point, target: Point) -> tuple[Array, Array]:
    """Return the light of each shining point of a lamp at the eye [lx], and its angle from the line of sight [deg].

    The light is that on a plane across the line from the eye to `target`, 0 from behind the viewer. Whether something
    hides the lamp is not looked at.
    """
    here, sight = line_of_sight(eye, target)
    places = sources(lamp)
    if np.any(np.linalg.norm(places - here, axis=1) < SAME_PLANE):
        raise InputError("eye", eye, f"a point apart from {lamp.name!r}")
    return source_illuminance(lamp, here, sight), angle_from(sight, places - here)


def lamp_veil(lamps: Iterable[Lamp], eye: Point, target: Point, *, age: float | None = None) -> Veil:
    """Return the veil of all lamps over `target`, each node of a string being a lamp of its own."""
    veils = [veil_of(*lamp_at_eye(lamp, eye, target), age=age) for lamp in lamps]
    return Veil(np.sum([v.luminance.sum() for v in veils]), np.sum([v.close.sum() for v in veils]))


@lru_cache(maxsize=8)
def sky_veil(facade: Facade, eye: Point, target: Point, *, age: float | None = None) -> float:
    """Return the veil over `target` of a sky that is equally bright all over, per luminance of that sky.

    The part of the sky counts that is within 1 to 30 degrees of the line of sight, above the horizon and not hidden by
    the front. Trees and houses beside it would hide more.
    """
    _, sight = line_of_sight(eye, target)
    aside = np.cross(sight, (0.0, 1.0, 0.0) if abs(sight[1]) < 0.9 else (1.0, 0.0, 0.0))
    aside /= np.linalg.norm(aside)
    above = np.cross(aside, sight)
    # Rings of equal ratio: each adds about the same to the veil.
    edges = np.geomspace(ASIDE.low, ASIDE.high, RINGS + 1)
    theta = np.sqrt(edges[1:] * edges[:-1])
    phi = 2.0 * np.pi * (np.arange(SECTORS)[:, None] + 0.5) / SECTORS
    sine, cosine = np.sin(np.radians(theta))[:, None, None], np.cos(np.radians(theta))[:, None, None]
    directions = cosine * sight + sine * (np.cos(phi) * aside + np.sin(phi) * above)
    seen = (directions[..., 1] > 0.0) & ~hidden_directions(facade, eye, directions)
    # Per cd/m2: the solid angle of a ring, projected onto a plane across the line of sight.
    ring = np.pi * np.diff(np.sin(np.radians(edges)) ** 2)
    return float(veiling_luminance(ring * seen.mean(axis=1), theta, age=age).sum())


def sky_veils(ambient: Ambient, facade: Facade) -> float:
    """Return the veil of an even sky over the middle of the front, per its luminance; 0 without an eye."""
    return 0.0 if ambient.eye is None else sky_veil(facade, ambient.eye, middle(facade), age=ambient.age)


def moon_veil(ambient: Ambient, facade: Facade, sky: Sky) -> Veil:
    """Return the veil of the moon over the middle of the front, by the times of `sky`; 0 where the front hides it."""
    towards, light = sky.moon_direction(), sky.moon_normal()
    if ambient.eye is None:
        return Veil(np.zeros_like(light), np.zeros_like(light))
    _, sight = line_of_sight(ambient.eye, middle(facade))
    light = light * np.maximum(towards @ sight, 0.0)
    # What is below the horizon, or behind the viewer, sends no light that could be hidden.
    there = np.asarray(light > 0.0)
    hidden = np.zeros(there.shape, dtype=bool)
    hidden[there] = hidden_directions(facade, ambient.eye, towards[there])
    light = np.where(hidden, 0.0, light)
    return veil_of(light, angle_from(sight, towards), age=ambient.age)


def source_veils(ambient: Ambient, facade: Facade) -> Veil:
    """Return the veil of each source of `Ambient.sources`, shape (source,).

    Without an eye only what is known by its light there (`Glare`) counts. An eye behind or inside the front, or where a
    lamp is, is refused.
    """
    eye, age = ambient.eye, ambient.age
    if eye is not None:
        check_in_front(facade, eye, "eye", "a viewer")
    veils: list[Any] = [(sum(veiling_luminance(g.illuminance, g.angle, age=age) for g in ambient.glare), 0.0)]
    if ambient.sky is not None:
        even, luminances = sky_veils(ambient, facade), ambient.sky.luminances()
        veils += [(even * luminances[TWILIGHT], 0.0), (even * luminances[GLOW], 0.0)]
        veils += [moon_veil(ambient, facade, ambient.sky)]
    dark = (0.0, 0.0)
    veils += [dark if eye is None else lamp_veil([one], eye, middle(facade), age=age) for one in ambient.lamps]
    return Veil(*np.array(veils, float).T)
