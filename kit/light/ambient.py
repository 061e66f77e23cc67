"""Light that is there without the projector: what it is made of, and what each source puts on the front.

Sources add linearly: lamps and LED strings in their places, twilight, moon and sky glow, and what is known only as one
even figure. What they put into the viewer's eye is in `kit.eye.glare`.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from kit import reference
from kit.arrays import Array, Point
from kit.blocks import Memory
from kit.errors import InputError
from kit.fields import AGE, AMBIENT, PIGMENT, POINT, SHARE, Declared, Is, Many, Number, declared
from kit.light.lamps import LAMPS, Lamp, lamp_map
from kit.sky.site import GLOW, MOON, TWILIGHT, Sky
from kit.wall.occlusion import Obstacle, reached
from kit.wall.points import FrontRaster

EVEN, ROOMS = "even light", "lit rooms"
# What follows the picture: what the eye spreads of it, what comes back from fog or rain, what walls send each other.
PICTURE, FOG, WALLS = OWN = "the picture itself", "fog in the beams", "walls that face each other"
AT_EYE = Number(unit="lx", low=0.0, meaning="illuminance at the eye, on a plane across the line of sight")
# The angles for which the relation of the veil holds.
RANGE = reference.row("eye", "glare angle")
# Of the sky: directions in which it is looked at, and how far away it is [extents of the front].
DIRECTIONS, GOLDEN, FAR = 160, 0.5 * (1.0 + 5.0**0.5), 1e4
_recent: Memory[Array] = Memory(keep=16, most=1 << 17)
ASIDE = Number(unit="degrees", low=RANGE.low, high=RANGE.high, meaning="angle between the source and what is looked at")


class Glare(Declared):
    """A light source in the viewer's field of view."""

    thing = "glare"
    illuminance: float = declared(AT_EYE)
    angle: float = declared(ASIDE)


class Ambient(Declared):
    """Ambient light on the front and in the eye.

    `vertical_illuminance` is even and from whatever is not named otherwise. With nothing else given it is the shortcut
    for all of it: what a light meter against the wall shows. The viewer at `eye` looks at one point of the front after
    the other; without one there is no veil of `lamps` and `sky`. Without an `age` the eye is a young one.
    """

    vertical_illuminance: float = declared(AMBIENT, default=0.0)
    glare: tuple[Glare, ...] = declared(
        Many(of=Is(kind=Glare)), default=(), meaning="known only by its light at the eye"
    )
    age: float | None = declared(AGE, default=None)
    pigment: float = declared(PIGMENT)
    lamps: tuple[Lamp, ...] = declared(LAMPS, unique="name", default=(), meaning="in their places, named apart")
    sky: Sky | None = declared(Is(kind=Sky), default=None, meaning="at one time, from `kit.Site.sky`")
    eye: Point | None = declared(POINT, default=None)

    @property
    def viewer(self) -> "Ambient":
        """The eye alone."""
        return Ambient(eye=self.eye, age=self.age, pigment=self.pigment)

    def _agree(self, where: str) -> None:
        for lamp in self.lamps:
            if lamp.name in (EVEN, ROOMS, *OWN, TWILIGHT, GLOW, MOON):
                raise InputError("lamps: name", lamp.name, "a name that no other source of light has")
        if self.sky is not None and np.ndim(self.sky.positions.sun_elevation):
            raise InputError("sky", self.sky, "a kit.Sky at one time, as kit.Site.sky returns")

    def dimmed(self, share: float) -> "Ambient":
        """Return the same with `share` of the even light and of each lamp, 0 to 1; the sky stays as it is."""
        part = SHARE.check("share", share)
        lamps = tuple(lamp.dimmed(part * lamp.dimming) for lamp in self.lamps)
        return replace(self, vertical_illuminance=part * self.vertical_illuminance, lamps=lamps)

    def sources(self) -> tuple[str, ...]:
        """Return the names of the sources, in the order in which `source_maps` has them."""
        sky = () if self.sky is None else (TWILIGHT, GLOW, MOON)
        return (EVEN, *sky, *(lamp.name for lamp in self.lamps))


def source_maps(
    ambient: Ambient, raster: FrontRaster, ground_reflectance: float = 0.0, obstacles: Sequence[Obstacle] = ()
) -> Array:
    """Return what each source of `Ambient.sources` puts on the front, shape (source, y, x) [lx].

    NaN where there is no wall, but for even light alone, which is one number for all. Lamps, strings and the sky are
    shaded by the front's own depth and by obstacles (`lamp_map`, `sky_seen`); the moon shines on all that faces it.
    """
    if not ambient.lamps and ambient.sky is None:
        return np.broadcast_to(float(ambient.vertical_illuminance), (1, *raster.patch.shape))
    wall = np.where(raster.patch < 0, np.nan, 1.0)
    maps = [ambient.vertical_illuminance * wall]
    if ambient.sky is not None:
        moon = np.append(ambient.sky.moon(raster.planes.normal), np.nan)
        things = tuple(thing for thing in obstacles if thing.blocks)
        seen = _recent.get((*raster.key, things), raster.patch.size, lambda: sky_seen(raster, things))
        maps += [ambient.sky.twilight(seen) * wall, ambient.sky.glow(seen) * wall, moon[raster.plane]]
    maps += [lamp_map(raster, [lamp], ground_reflectance, obstacles) for lamp in ambient.lamps]
    return np.array(maps)


def sky_seen(raster: FrontRaster, obstacles: Sequence[Obstacle] = ()) -> Array:
    """Return the share of an even sky's light that neither obstacles nor the front itself keep from it, (y, x).

    Of the half of the sky before the house, in `DIRECTIONS` directions that are spread evenly, each a light far away.
    """
    k, (left, right, bottom, top) = np.arange(DIRECTIONS) + 0.5, raster.facade.bounds
    up, turn = k / DIRECTIONS, np.pi * np.mod(k * GOLDEN, 1.0)
    level = np.sqrt(1.0 - up * up)
    ways = np.stack([level * np.cos(turn), up, level * np.sin(turn)], axis=1)
    light = np.append(np.maximum(raster.planes.normal @ ways.T, 0.0), np.full((1, DIRECTIONS), np.nan), axis=0)
    far = FAR * max(right - left, top - bottom)
    dark = (~reached(raster, far * way, obstacles=obstacles) for way in ways)
    hidden = sum(mask * light[raster.plane, i] for i, mask in enumerate(dark))
    return np.asarray(1.0 - hidden / light.sum(axis=1)[raster.plane])
