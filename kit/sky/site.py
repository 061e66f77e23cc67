"""Where the house stands and how it faces: the clock of its time zone, and the light of its sky at any time.

Times are given as the clock on the wall shows them and computed in UTC. Time zones are those of the IANA database (RFC
6557), so daylight saving begins and ends as it does there.
"""

import difflib
import zoneinfo
from datetime import date
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from kit import reference
from kit.arrays import Array, ArrayLike, NDArray
from kit.errors import InputError
from kit.fields import FACING, LATITUDE, LONGITUDE, REFLECTANCE, Declared, Is, Number, OneOf, Text, declared
from kit.sky import natural_light
from kit.sky.ephemeris import FIRST, LAST, Positions, in_range, positions

Times = NDArray[np.datetime64]

# The sources of light in the sky, as maps and tables name them.
TWILIGHT, GLOW, MOON = "twilight", "sky glow", "moon"


class TimeZone(Text):
    """The name of a time zone, such as ``"America/Chicago"``."""

    def _checked(self, field: str, value: Any) -> str:
        try:
            if value.startswith(("right/", "posix", "localtime", "Factory")):  # of this machine, or with leap seconds
                raise ValueError
            zoneinfo.ZoneInfo(value)
        except (KeyError, ValueError, TypeError, AttributeError, OSError):
            near = difflib.get_close_matches(str(value).strip().replace(" ", "_"), zoneinfo.available_timezones())
            right = "a name of the IANA time zone database, such as America/Chicago or Europe/Berlin"
            raise InputError(field, value, f"{right}; near: {', '.join(near)}" if near else right) from None
        return value


TIMEZONE = TimeZone(label="time zone")
VIEW = Number(label="share of the sky in view", low=0.0, high=0.5, meaning="share of an even sky's light on the wall")
SKY_TYPE = OneOf(label="evening sky", options=lambda: reference.names("sky", "sky type"), meaning="after ISO 15469")
EXTINCTION = Number(unit="mag per air mass", low=0.0, meaning="extinction of the air; None: clear air near sea level")
SKY_BRIGHTNESS = Number(unit="mag/arcsec2", low=10.0, high=24.0, meaning="of the moonless night; else of a suburb")


class Site(Declared):
    """A place on Earth, the direction in which the front faces, and the sky over it.

    Examples
    --------
    >>> import kit
    >>> site = kit.Site(latitude=42.0, longitude=-88.0, timezone="America/Chicago", facing=180.0)
    >>> sky = site.sky(["2026-12-05 16:45", "2026-12-05 18:30"])  # dusk; night, when the glow of a suburb is left
    >>> sky.twilight().round(4).tolist(), sky.glow().round(4).tolist()  # lx on the front
    ([7.7851, 0.0], [0.0029, 0.0029])
    """

    latitude: float = declared(LATITUDE)
    longitude: float = declared(LONGITUDE)
    timezone: str = declared(TIMEZONE)
    facing: float = declared(FACING)
    sky_brightness: float = declared(SKY_BRIGHTNESS, default=partial(reference.value, "sky", "suburban sky"))
    sky_view: float = declared(VIEW, default=0.5)
    ground_reflectance: float = declared(REFLECTANCE, default=partial(reference.value, "surfaces", "grass"))
    extinction: float | None = declared(EXTINCTION, default=None)
    sky_type: str = declared(SKY_TYPE, default="clear sky")

    def utc(self, clock: Any, *, second: bool = False) -> Times:
        """Return times of the clock on the wall as UTC.

        `clock` is text such as ``"2026-12-05 18:30"``, a datetime, a list of texts or an array of numpy.datetime64, of
        the years 1900 to 2100 and without a zone of its own. Of an hour that comes twice, when daylight saving ends,
        the first is taken, or the `second`; a time that the clock skips when it begins is refused.
        """
        given = clock_times("time", clock)
        index = pd.DatetimeIndex(given.ravel())
        there = index.tz_localize(self.timezone, ambiguous=np.full(index.size, not second), nonexistent="NaT")
        result = there.tz_convert(None).to_numpy().astype("M8[s]").reshape(given.shape)
        if np.isnat(result).any():
            skipped = str(given[np.isnat(result)].flat[0]).replace("T", " ")
            raise InputError("time", skipped, f"a time that the clock of {self.timezone} shows; it skips this one")
        return result

    def clock(self, times: ArrayLike) -> Times:
        """Return UTC times (array of numpy.datetime64) as the clock on the wall shows them."""
        given = np.asarray(times) if hasattr(times, "dtype") else np.zeros(0)
        if given.dtype.kind != "M":
            raise InputError("times", str(times), "UTC times as numpy.datetime64")
        index = pd.DatetimeIndex(given.astype("M8[s]").ravel(), tz="UTC")
        return index.tz_convert(self.timezone).tz_localize(None).to_numpy().astype("M8[s]").reshape(given.shape)

    def sky(self, clock: Any) -> "Sky":
        """Return the sky at a time of the clock, see `utc`."""
        return self.sky_at(self.utc(clock))

    def sky_at(self, times: ArrayLike) -> "Sky":
        """Return the sky at UTC times (array of numpy.datetime64, any shape)."""
        return Sky(site=self, positions=positions(times, latitude=self.latitude, longitude=self.longitude))


class Sky(Declared):
    """The sky over a site at one time or many; arrays have the shape of the times."""

    site: Site = declared(Is(kind=Site))
    positions: Positions = declared(Is(kind=Positions))

    def twilight(self, seen: ArrayLike = 1.0) -> Array:
        """Return the light of sun and sky on the upright front [lx]; 0 at night: starlight is part of the glow.

        `seen`, which broadcasts, is the share of the sky's light that nothing keeps from a point of the front.
        """
        return self._upright(TWILIGHT, seen)

    def glow(self, seen: ArrayLike = 1.0) -> Array:
        """Return the light of the night sky, the glow of towns included, on the upright front, as `twilight` [lx]."""
        return self._upright(GLOW, seen)

    def luminances(self) -> dict[str, Array]:
        """Return the luminance of the sky by source, `TWILIGHT` and `GLOW`, each the same all over [cd/m2].

        By day the sun itself is spread over it: of use in twilight and at night.
        """
        sun, night = (natural_light.horizontal_illuminance(h) for h in (self.positions.sun_elevation, -90.0))
        glow = natural_light.sky_luminance(self.site.sky_brightness)
        return {TWILIGHT: (sun - night) / np.pi, GLOW: np.broadcast_to(glow, np.shape(sun))}

    def moon(self, normals: ArrayLike) -> Array:
        """Return the light of the moon on walls with unit `normals`, shape (n, 3), as an array (..., n) [lx].

        The axes are those of the front; light by way of the ground counts. With the moon behind the house, its front
        gets nothing: the house's shadow lies there. No other shadows; see `kit.sky.natural_light.moon_normal`.
        """
        towards, walls = self.moon_direction(), np.asarray(normals, float)
        lit = np.where(towards[..., 2:] > 0.0, towards[..., 1:2], 0.0)
        ground = 0.5 * self.site.ground_reflectance * lit * (1.0 - walls[:, 1])
        return self.moon_normal()[..., None] * (np.maximum(towards @ walls.T, 0.0) + ground)

    def moon_normal(self) -> Array:
        """Return the direct light of the moon on a surface that faces it [lx]."""
        moon, phase = self.positions.moon_elevation, self.positions.moon_phase_angle
        return natural_light.moon_normal(elevation=moon, phase_angle=phase, extinction=self.site.extinction)

    def moon_direction(self) -> Array:
        """Return unit vectors towards the moon in the axes of the front, shape (..., 3)."""
        height = np.radians(self.positions.moon_elevation)
        aside = np.radians(self.positions.moon_azimuth - self.site.facing)
        level = np.cos(height)
        # Seen from above, x runs counter-clockwise from the direction in which the front faces, azimuths clockwise.
        return np.stack([-level * np.sin(aside), np.sin(height), level * np.cos(aside)], axis=-1)

    def _upright(self, source: str, seen: ArrayLike) -> Array:
        ground, view, place = self.site.ground_reflectance, self.site.sky_view * np.asarray(seen), self.positions
        light, aside = np.pi * self.luminances()[source], place.sun_azimuth - self.site.facing
        if source == TWILIGHT:
            view = view * natural_light.facing_sky(place.sun_elevation, aside, self.site.sky_type)
        return natural_light.vertical_from_horizontal(light, ground_reflectance=ground, sky_view=view)


def clock_times(field: str, clock: Any) -> Times:
    """Return what a clock shows as numpy.datetime64, or refuse it as `field`: ISO 8601, no zone, years 1900 to 2100."""
    last = LAST - np.timedelta64(1, "D")  # the zone shifts times by less
    texts = [clock] if isinstance(clock, str) else clock if isinstance(clock, list | tuple) else ()
    try:
        written = len(texts) > 0 and all(isinstance(text, str) and text[:4].isdecimal() for text in texts)  # not "now"
        given: Any = pd.to_datetime(clock, format="ISO8601") if written else clock
        if getattr(given, "tzinfo", None) is not None:
            raise ValueError("a zone of its own")
        times = np.asarray(np.datetime64(given, "us") if isinstance(given, date) else given)
        if times.dtype.kind != "M" or not in_range(times, last):
            raise ValueError("no time")
    except (ValueError, TypeError, OverflowError):
        days = f"from {FIRST.astype('M8[D]')} to {LAST.astype('M8[D]')}"
        right = f"a time of the clock such as '2026-12-05 18:30', without a zone, {days}"
        raise InputError(field, str(clock), right) from None
    return times.astype("M8[us]")
