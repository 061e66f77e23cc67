"""Where sun and moon stand over a house, at any time of the years 1900 to 2100 and without a network.

PyEphem computes both from series that it carries, as seen from the ground, the moon's parallax included; one time per
call, so it is called for full hours only. In between, the polynomial through the six nearest differs by less than 0.001
degree.
"""

import numpy as np

from kit.arrays import Array, ArrayLike, NDArray
from kit.errors import InputError
from kit.fields import LATITUDE, LONGITUDE, Frozen

# Limits of what was checked against other libraries; how the Earth will turn is not known much further ahead.
FIRST = np.datetime64("1900-01-01T00:00", "us")
LAST = np.datetime64("2100-01-01T00:00", "us")

HOUR = 3_600_000_000  # in microseconds
HOURS_AROUND = np.arange(-2, 4)
# From powers of a time in hours to the shares of the hours around it: Lagrange's polynomials.
TO_WEIGHTS = np.linalg.inv(np.vander(HOURS_AROUND))
UNIX_EPOCH = 25567.5  # 1970-01-01 00:00 in the day count of PyEphem, which begins on 1899-12-31 at noon


class Positions(Frozen):
    """Sun and moon from one place [deg]: centres, azimuths from true north clockwise; shaped as the times."""

    sun_elevation: Array
    sun_azimuth: Array
    moon_elevation: Array
    moon_azimuth: Array
    moon_phase_angle: Array  # at the moon, between the sun and the place: 0 is full, 180 new
    moon_distance: Array  # to its centre [m]

    @property
    def moon_illuminated(self) -> Array:
        """Share of the moon's disc that is lit, 0 to 1."""
        return (1.0 + np.cos(np.radians(self.moon_phase_angle))) / 2.0


def positions(times: ArrayLike, *, latitude: float, longitude: float) -> Positions:
    """Return where sun and moon stand at UTC `times`, an array of numpy.datetime64, over a place at sea level, without
    refraction; at a pole, north is that of a place beside it; UT1 is taken to be UTC, which is within 0.004 degree.
    """
    try:
        given = np.asarray(times)
    except (TypeError, ValueError):  # rows of different lengths
        given = np.zeros(0)
    if given.dtype.kind != "M" or not in_range(given):
        right = f"UTC times as numpy.datetime64, from {FIRST.astype('M8[D]')} to {LAST.astype('M8[D]')}"
        raise InputError("times", str(times), right)
    microseconds = given.astype("M8[us]").astype(np.int64)
    lat, lon = LATITUDE.check("latitude", latitude), LONGITUDE.check("longitude", longitude)
    hour, rest = np.divmod(microseconds, HOUR)
    hours, index = np.unique(hour.ravel()[:, None] + HOURS_AROUND, return_inverse=True)
    weights = np.vander(rest.ravel() / HOUR, HOURS_AROUND.size) @ TO_WEIGHTS
    vectors = np.einsum("tj,tjbc->tbc", weights, _vectors(hours, lat, lon)[index.reshape(weights.shape)])
    sun, moon = vectors = np.moveaxis(vectors.reshape(*microseconds.shape, 2, 3), -2, 0)
    east, north, up = np.moveaxis(vectors, -1, 0)
    elevation = np.degrees(np.arctan2(up, np.hypot(east, north)))
    # A second modulo: -1e-17 % 360 is 360.
    azimuth = np.degrees(np.arctan2(east, north)) % 360.0 % 360.0
    # By the arc tangent: the cosine alone is blunt near full moon.
    phase = np.arctan2(np.linalg.norm(np.cross(moon, sun), axis=-1), np.vecdot(-moon, sun - moon))
    return Positions(
        sun_elevation=elevation[0], sun_azimuth=azimuth[0], moon_elevation=elevation[1], moon_azimuth=azimuth[1],
        moon_phase_angle=np.degrees(phase), moon_distance=np.linalg.norm(moon, axis=-1),
    )  # fmt: skip


def in_range(times: NDArray[np.datetime64], last: np.datetime64 = LAST) -> bool:
    """Return whether all are times from `FIRST` to `last`."""
    # In years first: a far year does not fit into microseconds.
    year = times.astype("M8[Y]")
    if np.any(np.isnat(times) | (year < FIRST.astype("M8[Y]")) | (year > last.astype("M8[Y]"))):
        return False
    return bool(np.all(times.astype("M8[us]") <= last))


def _vectors(hours: NDArray[np.int64], latitude: float, longitude: float) -> Array:
    """From the place to sun and moon, east, north and up [m]; shape (hours, 2, 3)."""
    import ephem

    observer = ephem.Observer()
    # No elevation, and no pressure, which would add refraction. Bare floats are radians here.
    observer.elevation, observer.pressure = 0.0, 0.0
    observer.lat, observer.lon = np.radians(latitude), np.radians(longitude)
    bodies = ephem.Sun(), ephem.Moon()
    found = np.empty((hours.size, 2, 3))
    for row, hour in zip(found, hours.tolist(), strict=True):
        observer.date = UNIX_EPOCH + hour / 24.0
        for entry, body in zip(row, bodies, strict=True):
            body.compute(observer)
            entry[:] = body.alt, body.az, body.earth_distance
    elevation, azimuth, distance = np.moveaxis(found, -1, 0)
    level = np.cos(elevation)
    unit = np.stack([level * np.sin(azimuth), level * np.cos(azimuth), np.sin(elevation)], axis=-1)
    return unit * (distance * ephem.meters_per_au)[..., None]
