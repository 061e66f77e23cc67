"""Light that is there without the projector: what it is made of, and what each source puts on the front.

Sources add linearly: lamps and LED strings in their places, twilight, moon and sky glow, and what is known only as one
even figure. What they put into the viewer's eye is in `kit.eye.glare`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kit import reference
from kit.errors import InputError, number
from kit.fields import AGE, AMBIENT, POINT, Is, Many, Number, check_fields, declared
from kit.light.lamps import LAMPS, Lamp, lamp_map
from kit.sky.site import GLOW, MOON, TWILIGHT, Sky
from kit.wall.points import FrontRaster

Array = NDArray[np.float64]

EVEN = "even light"


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

    illuminance: float = declared(Number(label="illuminance at the eye", unit="lx", low=0.0))
    angle: float = declared(Number(label="angle from the line of sight", unit="degrees"))

    def __post_init__(self) -> None:
        check_fields(self, "glare")
        low, high = glare_angles()
        number("glare: angle", self.angle, minimum=low, maximum=high, unit="degrees")


def glare_angles() -> tuple[float, float]:
    """Return the least and the greatest angle for which the relation of the veil holds [deg]."""
    row = reference.row("constants", "glare angle")
    return row.low, row.high


@dataclass(frozen=True, kw_only=True)
class Ambient:
    """Ambient light on the front and in the eye.

    Parameters
    ----------
    vertical_illuminance : float
        On the front, evenly, from whatever is not named below [lx], 0 or more. With nothing else given it is the
        shortcut for all of it: what a light meter against the wall shows.
    glare : sequence of Glare
        Street lamps and the like in the field of view, known only by their light at the eye.
    age : float, optional
        Of the viewer [years]; the veil grows with it. Not given: a young eye.
    lamps : sequence of Luminaire or LedString
        In their places, each with a name of its own.
    sky : Sky, optional
        At one time, from `kit.Site.sky`.
    eye : (float, float, float), optional
        Of the viewer, who looks at the middle of the front [m]. Not given: light on the wall alone, without the veil
        of `lamps` and `sky`.

    Raises
    ------
    InputError
        For a value out of its domain, or a name that comes twice.
    """

    vertical_illuminance: float = declared(AMBIENT, default=0.0)
    glare: tuple[Glare, ...] = declared(Many(of=Is(kind=Glare)), default=())
    age: float | None = declared(AGE, default=None)
    lamps: tuple[Lamp, ...] = declared(LAMPS, unique="name", default=())
    sky: Sky | None = declared(Is(kind=Sky), default=None)
    eye: tuple[float, float, float] | None = declared(POINT, default=None)

    def __post_init__(self) -> None:
        check_fields(self)
        for lamp in self.lamps:
            if lamp.name in (EVEN, TWILIGHT, GLOW, MOON):
                raise InputError("lamps: name", lamp.name, "a name that no other source of light has")
        if self.sky is not None and np.ndim(self.sky.positions.sun_elevation):
            raise InputError("sky", self.sky, "a kit.Sky at one time, as kit.Site.sky returns")

    def dimmed(self, share: float) -> Ambient:
        """Return the same with `share` of the even light and of each lamp, 0 to 1; the sky stays as it is."""
        part = number("share", share, minimum=0.0, maximum=1.0)
        lamps = tuple(lamp.dimmed(part * lamp.dimming) for lamp in self.lamps)
        return replace(self, vertical_illuminance=part * self.vertical_illuminance, lamps=lamps)

    def sources(self) -> tuple[str, ...]:
        """Return the names of the sources, in the order in which `source_maps` has them."""
        sky = () if self.sky is None else (TWILIGHT, GLOW, MOON)
        return (EVEN, *sky, *(lamp.name for lamp in self.lamps))


def source_maps(ambient: Ambient, raster: FrontRaster) -> Array:
    """Return what each source of ambient light puts on the front.

    Parameters
    ----------
    ambient : Ambient
    raster : FrontRaster

    Returns
    -------
    array, shape (source, y, x)
        Illuminance [lx], in the order of `Ambient.sources`; NaN where there is no wall, but for even light alone, which
        is one number for all.

    Raises
    ------
    InputError
        For a lamp behind or inside the front.

    Notes
    -----
    Lamps and strings are shaded by the front's own depth (`lamp_map`); the moon shines on all that faces it. The sky is
    taken to be equally bright all over.
    """
    if not ambient.lamps and ambient.sky is None:
        return np.broadcast_to(float(ambient.vertical_illuminance), (1, *raster.patch.shape))
    wall = np.where(raster.patch < 0, np.nan, 1.0)
    maps = [ambient.vertical_illuminance * wall]
    if ambient.sky is not None:
        moon = np.append(ambient.sky.moon(raster.planes.normal), np.nan)
        maps += [float(ambient.sky.twilight()) * wall, float(ambient.sky.glow()) * wall, moon[raster.plane]]
    maps += [lamp_map(raster, [lamp]) for lamp in ambient.lamps]
    return np.array(maps)
