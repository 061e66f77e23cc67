"""Light that is there without the projector: on the wall, and as a veil in the viewer's eye.

Sources add linearly. Each gives illuminance over the raster of the front and a veil at the eye: lamps and LED strings
in their places, twilight, moon and sky glow, and what is known only as one even figure.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from threading import Lock

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from kit.errors import InputError, number, numbers
from kit.eye.glare import Glare, angles, hidden, line_of_sight, middle, sky_veil, veil_luminance
from kit.eye.lamp_glare import lamp_veil
from kit.light.lamps import lamp_map
from kit.sky.luminaire import LedString, Luminaire
from kit.sky.site import Sky
from kit.source.projector import is_many, sweep
from kit.wall.facade import Facade
from kit.wall.points import check_in_front, wall_planes
from kit.wall.raster import Grid, visible

Array = NDArray[np.float64]

# Maps of lamps at full light are kept, so that a slider for their drive is quick; large ones would hold memory.
KEPT, KEPT_PIXELS = 64, 1 << 17
EVEN, TWILIGHT, GLOW, MOON = "even light", "twilight", "sky glow", "moon"


@dataclass(frozen=True, kw_only=True)
class Ambient:
    """Ambient light on the front and in the eye.

    Parameters
    ----------
    vertical_illuminance : float or sequence of float
        On the front, evenly, from whatever is not named below [lx], 0 or more. A sequence is a sweep. With nothing
        else given it is the shortcut for all of it: what a light meter against the wall shows.
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

    vertical_illuminance: float | tuple[float, ...] = 0.0
    glare: tuple[Glare, ...] = ()
    age: float | None = None
    lamps: tuple[Luminaire | LedString, ...] = ()
    sky: Sky | None = None
    eye: tuple[float, float, float] | None = None

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
        fix(self, "lamps", check_lamps(self.lamps))
        if self.sky is not None and not (isinstance(self.sky, Sky) and np.ndim(self.sky.positions.sun_elevation) == 0):
            raise InputError("sky", self.sky, "a kit.Sky at one time, as kit.Site.sky returns")
        if self.eye is not None:
            fix(self, "eye", numbers("eye", self.eye, 3, unit="m"))

    def veil(self) -> float:
        """Return the veiling luminance of the sources in `glare` together [cd/m2]."""
        return sum(float(veil_luminance(g.illuminance, g.angle, age=self.age)) for g in self.glare)

    def dimmed(self, share: float) -> Ambient:
        """Return the same with `share` of the even light and of each lamp, 0 to 1; the sky stays as it is."""
        part = number("share", share, minimum=0.0, maximum=1.0)
        even = self.vertical_illuminance
        less = tuple(part * v for v in even) if isinstance(even, tuple) else part * even
        return replace(self, vertical_illuminance=less, lamps=tuple(dim(lamp, part) for lamp in self.lamps))


def check_lamps(lamps: Iterable[Luminaire | LedString]) -> tuple[Luminaire | LedString, ...]:
    """Return lamps as a tuple, or raise `InputError` for another type or a name that comes twice."""
    right = "kit.Luminaire and kit.LedString values"
    if not isinstance(lamps, Iterable):
        raise InputError("lamps", lamps, f"a sequence of {right}")
    result = tuple(lamps)
    names = {EVEN, TWILIGHT, GLOW, MOON}
    for lamp in result:
        if not isinstance(lamp, Luminaire | LedString):
            raise InputError("lamps", lamp, right)
        if lamp.name in names:
            raise InputError("lamps: name", lamp.name, "a name that no other source of light has")
        names.add(lamp.name)
    return result


def dim(lamp: Luminaire | LedString, share: float) -> Luminaire | LedString:
    """Return `lamp` with `share` of its present light, 0 to 1."""
    if isinstance(lamp, Luminaire):
        return replace(lamp, dimming=lamp.dimming * share)
    return replace(lamp, drive=lamp.drive * share)


def ambient_light(ambient: Ambient, facade: Facade, grid: Grid) -> xr.Dataset:
    """Return what each source of ambient light puts on the front and in the eye.

    Parameters
    ----------
    ambient : Ambient
        Without a sweep.
    facade : Facade
    grid : Grid
        Raster in elevation, see `kit.wall.raster.Grid.over`.

    Returns
    -------
    xarray.Dataset
        On (source, y, x), NaN where there is no wall: illuminance [lx]. On (source,): veil_luminance [cd/m2], and
        glare_close [lx], the light at the eye from within 1 degree of the line of sight, for which there is no relation
        and which is seen as bright points over the front. A source that is not there, or off, is 0.

    Raises
    ------
    InputError
        For a sweep; for a lamp or an eye behind or inside the front.

    Notes
    -----
    Lamps and strings are shaded by the front's own depth (`kit.light.lamps.lamp_map`); the moon shines on all that
    faces it. The sky is taken to be equally bright all over.
    """
    for field, value, kind in (("ambient", ambient, Ambient), ("facade", facade, Facade), ("grid", grid, Grid)):
        if not isinstance(value, kind):
            raise InputError(field, value, f"a kit.{kind.__name__}")
    if ambient.eye is not None:
        check_in_front(facade, ambient.eye, "eye", "a viewer")
    if is_many(ambient.vertical_illuminance):
        raise InputError("vertical_illuminance", ambient.vertical_illuminance, "one value")
    shown = visible(facade, grid)
    wall = np.where(shown < 0, np.nan, 1.0)
    names, maps, veils = [EVEN], [float(ambient.vertical_illuminance) * wall], [ambient.veil()]  # type: ignore[arg-type]
    close = [0.0]

    def add(name: str, light: Array, veil: float, near: float = 0.0) -> None:
        names.append(name)
        maps.append(light)
        veils.append(veil)
        close.append(near)

    if ambient.sky is not None:
        sky = ambient.sky
        luminance, twilight, glow = (float(v) for v in (sky.luminance(), sky.twilight(), sky.glow()))
        veil = sky_veils(ambient, facade)
        part = float(sky.twilight_share())
        add(TWILIGHT, twilight * wall, luminance * veil * part)
        add(GLOW, glow * wall, luminance * veil * (1.0 - part))
        normals, plane = wall_planes(facade, shown)
        add(MOON, np.append(sky.moon(normals), np.nan)[plane], *(float(v) for v in moon_veil(ambient, facade, sky)))
    for lamp in ambient.lamps:
        if ambient.eye is None:
            add(lamp.name, lamp_light(facade, lamp, grid), 0.0)
        else:
            found = lamp_veil([lamp], ambient.eye, middle(facade), age=ambient.age)
            add(lamp.name, lamp_light(facade, lamp, grid), found.luminance, found.close)
    return xr.Dataset(
        {
            "illuminance": (("source", "y", "x"), np.array(maps), {"long_name": "ambient illuminance", "units": "lx"}),
            "veil_luminance": ("source", veils, {"long_name": "veiling luminance in the eye", "units": "cd/m2"}),
            "glare_close": ("source", close, {"long_name": "light at the eye from over the front", "units": "lx"}),
        },
        coords={"source": names, "y": grid.y, "x": grid.x},
    )


def sky_veils(ambient: Ambient, facade: Facade) -> float:
    """Return the veil of an even sky per its luminance; 0 without an eye."""
    return 0.0 if ambient.eye is None else _sky_veil(facade, ambient.eye, ambient.age)


@lru_cache(maxsize=8)
def _sky_veil(facade: Facade, eye: tuple[float, float, float], age: float | None) -> float:
    return sky_veil(facade, eye, middle(facade), age=age)


def moon_veil(ambient: Ambient, facade: Facade, sky: Sky) -> tuple[Array, Array]:
    """Return the veil of the moon over the middle of the front [cd/m2], and its light at the eye within 1 degree [lx].

    Each has the shape of the times of `sky`; 0 without an eye, and where the front hides the moon.
    """
    towards = sky.moon_direction()
    light = sky.moon_normal()
    if ambient.eye is None:
        return np.zeros_like(light), np.zeros_like(light)
    _, sight = line_of_sight(ambient.eye, middle(facade))
    cosine = towards @ sight
    angle = np.degrees(np.arctan2(np.linalg.norm(np.cross(towards, sight), axis=-1), cosine))
    light = np.where(hidden(facade, ambient.eye, towards), 0.0, light * np.maximum(cosine, 0.0))
    low, high = angles()
    veil = veil_luminance(light, np.clip(angle, low, high), age=ambient.age)
    return np.where((angle < low) | (angle > high), 0.0, veil), np.where(angle < low, light, 0.0)


_recent: OrderedDict[tuple[object, ...], Array] = OrderedDict()
_recent_lock = Lock()


def lamp_light(facade: Facade, lamp: Luminaire | LedString, grid: Grid) -> Array:
    """Return the illuminance of one lamp on the front as `lamp_map` does, remembered at full light [lx]."""
    share = lamp.dimming if isinstance(lamp, Luminaire) else lamp.drive
    full = replace(lamp, dimming=1.0) if isinstance(lamp, Luminaire) else replace(lamp, drive=1.0)
    key = (tuple((p.outline, p.holes) for p in facade.patches), full, grid.x.tobytes(), grid.y.tobytes())
    with _recent_lock:
        if key in _recent:
            _recent.move_to_end(key)
            return share * _recent[key]
    light = lamp_map(facade, [full], grid)
    if light.size <= KEPT_PIXELS:
        with _recent_lock:
            _recent[key] = light
            while len(_recent) > KEPT:
                _recent.popitem(last=False)
    return share * light
