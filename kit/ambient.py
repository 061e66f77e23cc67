"""Light that is there without the projector: on the wall, and as a veil in the viewer's eye."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from kit import reference
from kit.errors import InputError, number
from kit.projector import sweep


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
        low, high = _glare_angles()
        number("glare: angle", self.angle, minimum=low, maximum=high, unit="degrees")


@dataclass(frozen=True, kw_only=True)
class Ambient:
    """Ambient light on the front and in the eye.

    Parameters
    ----------
    vertical_illuminance : float or sequence of float
        On the front, from everything but the projector [lx], 0 or more. A sequence is a sweep.
    glare : sequence of Glare
        Street lamps and the like in the field of view.
    age : float, optional
        Of the viewer [years]; the veil grows with it. Not given: a young eye.
    """

    vertical_illuminance: float | tuple[float, ...] = 0.0
    glare: tuple[Glare, ...] = ()
    age: float | None = None

    def __post_init__(self) -> None:
        fix = object.__setattr__
        fix(
            self,
            "vertical_illuminance",
            sweep("vertical_illuminance", self.vertical_illuminance, minimum=0.0, unit="lx"),
        )
        if not isinstance(self.glare, Iterable):
            raise InputError("glare", self.glare, "a sequence of kit.Glare values")
        fix(self, "glare", tuple(self.glare))
        for source in self.glare:
            if not isinstance(source, Glare):
                raise InputError("glare", source, "kit.Glare values")
        if self.age is not None:
            number("age", self.age, minimum=0.0, maximum=120.0, unit="years")

    def veil(self) -> float:
        """Return the veiling luminance of all glare sources together [cd/m2]."""
        return sum(float(veil_luminance(g.illuminance, g.angle, age=self.age)) for g in self.glare)


def veil_luminance(illuminance: ArrayLike, angle: ArrayLike, *, age: float | None = None) -> NDArray[np.float64]:
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
        For an angle outside the relation's range.

    Notes
    -----
    L = 10 E / theta^2, times 1 + (age / 70)^4 if an age is given.

    References
    ----------
    CIE 146:2002; J. J. Vos, Clin. Exp. Optom. 86 (2003) 363. Constants: ``reference_data/constants.csv``.
    """
    theta = np.asarray(angle, float)
    low, high = _glare_angles()
    if np.any(~((theta >= low) & (theta <= high))):
        raise InputError("angle", angle, f"{low:g} to {high:g} degrees")
    factor = reference.value("constants", "disability glare constant")
    if age is not None:
        exponent = reference.value("constants", "glare age exponent")
        factor *= 1.0 + (age / reference.value("constants", "glare age reference")) ** exponent
    return factor * np.asarray(illuminance, float) / theta**2


def _glare_angles() -> tuple[float, float]:
    row = reference.row("constants", "glare angle")
    return row.low, row.high
