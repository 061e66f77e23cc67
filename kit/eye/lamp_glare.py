"""The veil that lamps and LED strings put into the viewer's eye."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit import reference
from kit.errors import InputError
from kit.eye.glare import line_of_sight, veil_luminance
from kit.sky.luminaire import LedString, Luminaire
from kit.wall.raster import SAME_PLANE

Array = NDArray[np.float64]


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
    CIE 146:2002, see `kit.eye.glare.veil_luminance`; valid from 1 to 30 degrees.
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
