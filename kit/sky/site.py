"""Where the house stands and how it faces: the clock of its time zone, and the light of its sky at any time.

Times are given as the clock on the wall shows them and computed in UTC. Time zones come by name from the database of
the Internet Assigned Numbers Authority (RFC 6557), so daylight saving begins and ends as it does there.
"""

from __future__ import annotations

import difflib
import zoneinfo
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from kit import reference
from kit.errors import InputError, number
from kit.sky.ephemeris import FIRST, LAST, Positions, positions
from kit.sky.natural_light import horizontal_illuminance, moon_normal, sky_glow_horizontal, vertical_from_horizontal

Array = NDArray[np.float64]
Times = NDArray[np.datetime64]


@dataclass(frozen=True, kw_only=True)
class Site:
    """A place on Earth, the direction in which the front faces, and the sky over it.

    Parameters
    ----------
    latitude, longitude : float
        [deg], north and east positive.
    zone : str
        Name of the time zone, such as ``"America/Chicago"``.
    facing : float
        Direction in which the front faces, from true north clockwise [deg], 0 to 360: 180 is a front to the south.
    sky_brightness : float, optional
        Of the night sky without moon [mag/arcsec2]. Not given: that of a suburb, ``reference_data/sky.csv``.
    sky_view : float
        Share of its light that the wall gets from an even sky, 0 to 0.5, see
        `kit.sky.natural_light.vertical_from_horizontal`.
    ground_reflectance : float, optional
        Of the ground in front, 0 to 1. Not given: grass.
    extinction : float, optional
        Of the air [mag]; see `kit.sky.natural_light.moon_normal`.

    Raises
    ------
    InputError
        For an unknown time zone, with near ones; for a value out of its domain.
    """

    latitude: float
    longitude: float
    zone: str
    facing: float
    sky_brightness: float | None = None
    sky_view: float = 0.5
    ground_reflectance: float | None = None
    extinction: float | None = None

    def __post_init__(self) -> None:
        fix = object.__setattr__
        fix(self, "latitude", number("latitude", self.latitude, minimum=-90.0, maximum=90.0, unit="degrees"))
        unit = "degrees, east positive"
        fix(self, "longitude", number("longitude", self.longitude, minimum=-180.0, maximum=180.0, unit=unit))
        _zone(self.zone)
        unit = "degrees from north, clockwise"
        fix(self, "facing", number("facing", self.facing, minimum=0.0, maximum=360.0, unit=unit))
        if self.sky_brightness is None:
            fix(self, "sky_brightness", reference.value("sky", "suburban sky"))
        number("sky_brightness", self.sky_brightness, unit="mag/arcsec2")
        sky_glow_horizontal(self.sky_brightness)  # type: ignore[arg-type]  # refuses what no sky has
        fix(self, "sky_view", number("sky_view", self.sky_view, minimum=0.0, maximum=0.5))
        if self.ground_reflectance is None:
            fix(self, "ground_reflectance", reference.value("surfaces", "grass"))
        fix(self, "ground_reflectance", number("ground_reflectance", self.ground_reflectance, minimum=0.0, maximum=1.0))
        if self.extinction is not None:
            fix(self, "extinction", number("extinction", self.extinction, minimum=0.0, unit="mag per air mass"))

    def utc(self, clock: Any, *, second: bool = False) -> Times:
        """Return times of the clock on the wall as UTC.

        Parameters
        ----------
        clock : str, datetime, a list of str, or array of numpy.datetime64
            Such as ``"2026-12-05 18:30"``; without a zone of its own. The years 1900 to 2100.
        second : bool
            Of an hour that comes twice, when daylight saving ends, take the second.

        Raises
        ------
        InputError
            For what is no time, and for a time that the clock skips when daylight saving begins.
        """
        given = clock_times("time", clock)
        index = pd.DatetimeIndex(given.ravel())
        try:
            there = index.tz_localize(self.zone, ambiguous=np.full(index.size, not second), nonexistent="NaT")
        except pd.errors.OutOfBoundsDatetime:  # the very ends of the range of the library
            raise InputError("time", str(clock), "a time of the years 1900 to 2100") from None
        result = there.tz_convert("UTC").tz_localize(None).to_numpy().astype("M8[s]").reshape(given.shape)
        if np.isnat(result).any():
            skipped = str(given[np.isnat(result)].flat[0]).replace("T", " ")
            raise InputError("time", skipped, f"a time that the clock of {self.zone} shows; it skips this one")
        return result

    def clock(self, times: ArrayLike) -> Times:
        """Return UTC times (array of numpy.datetime64) as the clock on the wall shows them."""
        given = np.asarray(times)
        if given.dtype.kind != "M":
            raise InputError("times", str(times), "UTC times as numpy.datetime64")
        given = given.astype("M8[s]")
        there = pd.DatetimeIndex(given.ravel()).tz_localize("UTC").tz_convert(self.zone).tz_localize(None)
        return there.to_numpy().astype("M8[s]").reshape(given.shape)

    def sky(self, clock: Any) -> Sky:
        """Return the sky at a time of the clock, see `utc`."""
        return self.sky_at(self.utc(clock))

    def sky_at(self, times: ArrayLike) -> Sky:
        """Return the sky at UTC times (array of numpy.datetime64, any shape)."""
        return Sky(site=self, positions=positions(times, latitude=self.latitude, longitude=self.longitude))


@dataclass(frozen=True, kw_only=True)
class Sky:
    """The sky over a site at one time or many; arrays have the shape of the times.

    Parameters
    ----------
    site : Site
    positions : Positions
        Of sun and moon.
    """

    site: Site
    positions: Positions

    def __post_init__(self) -> None:
        if not isinstance(self.site, Site):
            raise InputError("site", self.site, "a kit.Site")
        if not isinstance(self.positions, Positions):
            raise InputError("positions", self.positions, "what kit.sky.ephemeris.positions returns")

    def twilight(self) -> Array:
        """Return the light of sun and sky on the upright front [lx]; 0 when it is night.

        Starlight is not in it: it is part of what `Site.sky_brightness` says.
        """
        return self._upright(self._twilight_on_ground())

    def glow(self) -> Array:
        """Return the light of the night sky, the glow of towns included, on the upright front [lx]."""
        return self._upright(np.broadcast_to(self._glow_on_ground(), np.shape(self.positions.sun_elevation)))

    def luminance(self) -> Array:
        """Return the luminance of the sky without the moon, taken to be the same all over [cd/m2].

        By day the sun itself is spread over it: of use in twilight and at night.
        """
        return (self._twilight_on_ground() + self._glow_on_ground()) / np.pi

    def moon(self, normals: ArrayLike) -> Array:
        """Return the direct light of the moon on walls, without shadows [lx].

        Parameters
        ----------
        normals : array, shape (n, 3)
            Unit normals in the axes of the front, see `kit.facade`.

        Returns
        -------
        array, shape (..., n)
            0 on what faces away: when the moon stands behind the house, its front gets nothing. Light that the air
            scatters, some 0.01 to 0.03 lx under a high full moon, is left out, see `kit.sky.natural_light.moon_normal`.
        """
        return self.moon_normal()[..., None] * np.maximum(self.moon_direction() @ np.asarray(normals, float).T, 0.0)

    def moon_normal(self) -> Array:
        """Return the direct light of the moon on a surface that faces it [lx]."""
        found = self.positions
        return moon_normal(
            elevation=found.moon_elevation, phase_angle=found.moon_phase_angle, extinction=self.site.extinction
        )

    def moon_direction(self) -> Array:
        """Return unit vectors towards the moon in the axes of the front, shape (..., 3)."""
        found = self.positions
        height, aside = np.radians(found.moon_elevation), np.radians(found.moon_azimuth - self.site.facing)
        level = np.cos(height)
        # Seen from above, x runs counter-clockwise from the direction in which the front faces, azimuths clockwise.
        return np.stack([-level * np.sin(aside), np.sin(height), level * np.cos(aside)], axis=-1)

    def twilight_share(self) -> Array:
        """Return the share of sun and twilight in the light of the sky without the moon, 0 to 1."""
        twilight = self._twilight_on_ground()
        return twilight / (twilight + self._glow_on_ground())

    def _twilight_on_ground(self) -> Array:
        return horizontal_illuminance(self.positions.sun_elevation) - horizontal_illuminance(-90.0)

    def _glow_on_ground(self) -> Array:
        return sky_glow_horizontal(self.site.sky_brightness)  # type: ignore[arg-type]

    def _upright(self, horizontal: Array) -> Array:
        return vertical_from_horizontal(
            horizontal,
            ground_reflectance=self.site.ground_reflectance,  # type: ignore[arg-type]
            sky_view=self.site.sky_view,
        )


def _zone(name: Any) -> None:
    try:
        zoneinfo.ZoneInfo(name)
    except (KeyError, ValueError, TypeError, AttributeError, OSError):
        known = zoneinfo.available_timezones()
        near = difflib.get_close_matches(str(name).strip().replace(" ", "_"), known)
        hint = f"; near: {', '.join(near)}" if near else ""
        right = f"a name of the IANA time zone database, such as America/Chicago or Europe/Berlin{hint}"
        raise InputError("time zone", name, right) from None


def clock_times(field: str, clock: Any) -> Times:
    """Return what a clock on the wall shows as numpy.datetime64; `field` names it in the error.

    Text is that of ISO 8601. Numbers, times with a zone of their own, and years outside 1900 to 2100 are refused.
    """
    right = (
        f"a time of the clock such as '2026-12-05 18:30', without a zone, from {FIRST.astype('M8[D]')} to "
        f"{LAST.astype('M8[D]')}"
    )
    try:
        given: Any = clock
        texts = isinstance(clock, list | tuple) and bool(clock) and all(isinstance(item, str) for item in clock)
        if isinstance(clock, str) or texts:
            given = pd.to_datetime(clock, format="ISO8601")
        if getattr(given, "tzinfo", None) is not None:
            raise InputError(field, str(clock), right)
        times = np.asarray(np.datetime64(given, "us") if isinstance(given, date) else given)
        # In years first: a far year does not fit into microseconds.
        years = times.astype("M8[Y]") if times.dtype.kind == "M" else None
    except (ValueError, TypeError, OverflowError):
        raise InputError(field, str(clock), right) from None
    # A day's slack: the zone shifts times by less.
    last = LAST - np.timedelta64(1, "D")
    if years is None or np.any(np.isnat(times) | (years < FIRST.astype("M8[Y]")) | (years > last.astype("M8[Y]"))):
        raise InputError(field, str(clock), right)
    times = times.astype("M8[us]")
    if np.any(times > last):
        raise InputError(field, str(clock), right)
    return times
