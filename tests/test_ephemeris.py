import subprocess
import sys
import warnings
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import InputError
from kit.sky import ephemeris
from kit.sky.ephemeris import positions

ROOT = Path(__file__).parents[1]
LATITUDES = (90.0, 89.9, 40.0, 0.0, -33.0, -90.0)


def utc(text):
    return np.datetime64(text, "us")


def random_times(first, last, count, seed):
    first, last = (np.datetime64(year, "s").astype(np.int64) for year in (first, last))
    return np.sort(np.random.default_rng(seed).integers(first, last, count)).astype("M8[s]")


def direction(elevation, azimuth):
    elevation, azimuth = np.radians(elevation), np.radians(azimuth)
    level = np.cos(elevation)
    return np.stack([level * np.sin(azimuth), level * np.cos(azimuth), np.sin(elevation)], axis=-1)


def apart(first, second):
    """Angle between directions [deg]; azimuths alone say nothing near the zenith."""
    chord = np.linalg.norm(direction(*first) - direction(*second), axis=-1)
    return np.degrees(2.0 * np.arcsin(np.minimum(chord / 2.0, 1.0)))


def sun(found):
    return found.sun_elevation, found.sun_azimuth


def moon(found):
    return found.moon_elevation, found.moon_azimuth


# Published events


@pytest.mark.published
@pytest.mark.parametrize(
    ("time", "latitude", "longitude", "altitude", "azimuth"),
    [
        # Points of greatest eclipse: NASA, Five millennium canon of solar eclipses (Espenak and Meeus), from memory.
        ("2017-08-21T18:25:32", 36.97, -87.67, 63.9, 197.9),
        ("2024-04-08T18:17:20", 25.29, -104.14, 69.8, 149.4),
    ],
)
def test_greatest_eclipse_lines_up_sun_and_moon(time, latitude, longitude, altitude, azimuth):
    found = positions(utc(time), latitude=latitude, longitude=longitude)
    # The place is given to 0.01 degree; without the moon's parallax the two would be up to a degree apart.
    assert apart(sun(found), moon(found)) < 0.02
    assert found.sun_elevation == pytest.approx(altitude, abs=0.1)
    # The canon's azimuth is of the place where the shadow's axis meets the ground, given to a tenth or a degree.
    assert found.sun_azimuth == pytest.approx(azimuth, abs=1.0)
    assert found.moon_phase_angle > 179.9
    assert found.moon_illuminated == pytest.approx(0.0, abs=1e-6)


@pytest.mark.published
def test_total_eclipse_of_the_moon_is_a_full_moon():
    # Greatest eclipse 2018-07-27 20:22 UTC, gamma 0.117: NASA catalogue of lunar eclipses, from memory.
    time = utc("2018-07-27T20:22")
    found = positions(time, latitude=-20.0, longitude=55.0)
    assert found.moon_phase_angle < 0.6
    assert found.moon_illuminated > 0.9999


@pytest.mark.published
@pytest.mark.parametrize(("time", "declination"), [("2026-06-21T08:24", 23.44), ("2026-12-21T20:50", -23.44)])
def test_at_the_poles_the_sun_stands_at_its_declination(time, declination):
    # Solstices of 2026: 06-21 08:24 and 12-21 20:50 UTC (almanacs, from memory); the obliquity is 23.436 degrees.
    for pole in (90.0, -90.0):
        found = positions(utc(time), latitude=pole, longitude=0.0)
        # The sun's own parallax is 0.0024 degree.
        assert found.sun_elevation == pytest.approx(np.sign(pole) * declination, abs=0.008)


@pytest.mark.published
def test_distance_of_the_moon_stays_within_its_known_limits():
    # Centre to centre 356 400 to 406 700 km (Meeus), from memory; the place is up to an Earth's radius nearer, or
    # farther where the moon is below the horizon.
    times = np.arange("2020-01-01", "2030-01-01", np.timedelta64(75, "h"), dtype="M8[h]")
    found = positions(times, latitude=10.0, longitude=0.0)
    assert found.moon_distance.min() > 356_400e3 - 6_379e3
    assert found.moon_distance.max() < 406_750e3 + 6_379e3
    up = found.moon_elevation > 75.0
    assert up.any()
    assert found.moon_distance[up].max() < 406_750e3 - 6_000e3


# Other libraries


@pytest.mark.reference
@pytest.mark.parametrize("years", [("1900", "1990"), ("1990", "2050"), ("2050", "2100")])
def test_sun_against_pvlib(years):
    # NREL's solar position algorithm, stated to 0.0003 degree.
    solarposition = pytest.importorskip("pvlib.solarposition")
    pandas = pytest.importorskip("pandas")
    times = random_times(*years, 100, seed=3)
    for latitude in LATITUDES:
        longitude = -80.0 + latitude
        found = positions(times, latitude=latitude, longitude=longitude)
        index = pandas.DatetimeIndex(times, tz="UTC")
        other = solarposition.spa_python(index, latitude, longitude, altitude=0.0, delta_t=None)
        # Measured: 0.0004 at most. It is the same sky, so anything more would be a mistake.
        assert apart(sun(found), (other.elevation.to_numpy(), other.azimuth.to_numpy())).max() < 0.001


@pytest.mark.reference
@pytest.mark.parametrize(
    ("years", "moon_limit"),
    [
        # Measured: sun 0.003, moon 0.0074.
        (("1990", "2050"), 0.01),
        # Measured: 0.027. PyEphem foresees a slower Earth, astropy stops the clock: 100 s are 0.015 degree of the moon.
        (("2050", "2100"), 0.035),
        (("1900", "1990"), 0.01),
    ],
)
def test_sun_and_moon_against_astropy(years, moon_limit):
    pytest.importorskip("astropy")
    from astropy import units
    from astropy.coordinates import AltAz, EarthLocation, get_body, get_sun
    from astropy.time import Time
    from astropy.utils import iers
    from astropy.utils.exceptions import AstropyWarning
    from erfa import ErfaWarning

    times = random_times(*years, 60, seed=4)
    settings = iers.conf
    with (
        settings.set_temp("auto_download", False),
        settings.set_temp("auto_max_age", None),
        settings.set_temp("iers_degraded_accuracy", "warn"),
        warnings.catch_warnings(),
    ):
        # Future leap seconds, and UT1 beyond the tables that astropy carries, are unknown: it warns and takes none.
        warnings.simplefilter("ignore", AstropyWarning)
        warnings.simplefilter("ignore", ErfaWarning)
        for latitude in LATITUDES:
            longitude = 20.0 - latitude
            found = positions(times, latitude=latitude, longitude=longitude)
            place = EarthLocation(lat=latitude * units.deg, lon=longitude * units.deg, height=0.0 * units.m)
            clock = Time(times, scale="utc")
            frame = AltAz(obstime=clock, location=place)
            other_sun = get_sun(clock).transform_to(frame)
            other_moon = get_body("moon", clock, place, ephemeris="builtin").transform_to(frame)
            # UT1 is up to 0.9 s from UTC, 0.004 degree; nothing else that differs is as large.
            assert apart(sun(found), (other_sun.alt.deg, other_sun.az.deg)).max() < 0.005
            assert apart(moon(found), (other_moon.alt.deg, other_moon.az.deg)).max() < moon_limit
            np.testing.assert_allclose(found.moon_distance, other_moon.distance.to_value(units.m), atol=100e3)
            # From sun and moon as astropy sees them from the place.
            to_moon = other_moon.distance.to_value(units.m)[:, None] * direction(other_moon.alt.deg, other_moon.az.deg)
            au = other_sun.distance.to_value(units.m)[:, None] * direction(other_sun.alt.deg, other_sun.az.deg)
            rest = au - to_moon
            cosine = np.sum(-to_moon * rest, axis=-1) / np.linalg.norm(to_moon, axis=-1) / np.linalg.norm(rest, axis=-1)
            assert np.abs(np.degrees(np.arccos(cosine)) - found.moon_phase_angle).max() < moon_limit


# Interpolation


@pytest.mark.reference
@pytest.mark.parametrize("latitude", LATITUDES)
def test_interpolation_stays_next_to_direct_calls(latitude):
    import ephem

    times = random_times("1900", "2100", 150, seed=5)
    found = positions(times, latitude=latitude, longitude=-75.0)
    observer = ephem.Observer()
    observer.lat, observer.lon, observer.pressure = np.radians(latitude), np.radians(-75.0), 0.0
    for which, body in ((sun, ephem.Sun()), (moon, ephem.Moon())):
        rows = []
        for time in times.tolist():
            observer.date = time
            body.compute(observer)
            rows.append((np.degrees(body.alt), np.degrees(body.az)))
        # Measured: 5e-5 degree.
        assert apart(which(found), np.array(rows).T).max() < 2e-4


def test_a_season_is_computed_by_the_hour(monkeypatch):
    asked = []
    real = ephemeris._vectors
    monkeypatch.setattr(ephemeris, "_vectors", lambda hours, *place: asked.append(hours.size) or real(hours, *place))
    nights = np.datetime64("2026-10-01T00:00") + np.arange(120)[:, None] * np.timedelta64(1, "D")
    times = nights + np.arange(288) * np.timedelta64(5, "m")
    found = positions(times, latitude=40.0, longitude=-75.0)
    assert found.sun_elevation.shape == (120, 288)
    assert asked == [120 * 24 + 5]


@pytest.mark.property
@given(
    st.lists(st.integers(-2_208_988_800, 4_102_444_800), min_size=1, max_size=5),
    st.floats(-90.0, 90.0),
    st.floats(-180.0, 180.0),
)
def test_a_position_does_not_depend_on_what_else_is_asked_for(seconds, latitude, longitude):
    times = np.array(seconds).astype("M8[s]")
    together = positions(times, latitude=latitude, longitude=longitude)
    for field in ("sun_elevation", "moon_elevation", "sun_azimuth", "moon_azimuth", "moon_phase_angle"):
        values = getattr(together, field)
        assert values.shape == times.shape
        assert np.isfinite(values).all()
    assert (np.abs(together.sun_elevation) <= 90.0).all()
    assert ((together.moon_azimuth >= 0.0) & (together.moon_azimuth < 360.0)).all()
    assert ((together.sun_azimuth >= 0.0) & (together.sun_azimuth < 360.0)).all()
    assert ((together.moon_phase_angle >= 0.0) & (together.moon_phase_angle <= 180.0)).all()
    alone = positions(times[0], latitude=latitude, longitude=longitude)
    assert alone.moon_elevation == pytest.approx(together.moon_elevation[0], abs=1e-9)


def test_any_shape_and_unit_of_time():
    one = positions(np.datetime64("2026-10-31T23:00"), latitude=40.0, longitude=-75.0)
    assert np.ndim(one.sun_elevation) == np.ndim(one.moon_illuminated) == 0
    grid = np.full((2, 0, 3), np.datetime64("2026-10-31T23:00"))
    assert positions(grid, latitude=40.0, longitude=-75.0).moon_distance.shape == (2, 0, 3)
    for unit in ("h", "s", "ns"):
        same = positions(np.datetime64("2026-10-31T23", unit), latitude=40.0, longitude=-75.0)
        assert same.moon_azimuth == one.moon_azimuth
    day = positions(np.datetime64("2026-10-31"), latitude=40.0, longitude=-75.0)
    midnight = positions(np.datetime64("2026-10-31T00:00"), latitude=40.0, longitude=-75.0)
    assert day.sun_elevation == midnight.sun_elevation
    ends = positions(np.array(["1900-01-01", "2100-01-01"], "M8[D]"), latitude=40.0, longitude=-75.0)
    assert np.isfinite(ends.sun_elevation).all()


def test_east_and_north_are_where_they_belong():
    # Noon in New York is five hours after noon in Greenwich, and the sun is in the south there, in the north in Sydney.
    noon = positions(utc("2026-12-21T17:00"), latitude=40.0, longitude=-75.0)
    assert noon.sun_azimuth == pytest.approx(180.0, abs=3.0)
    assert noon.sun_elevation == pytest.approx(90.0 - 40.0 - 23.4, abs=0.2)
    sydney = positions(utc("2026-12-21T02:00"), latitude=-33.9, longitude=151.2)
    assert min(sydney.sun_azimuth, 360.0 - sydney.sun_azimuth) < 10.0
    morning = positions(utc("2026-03-20T12:00"), latitude=40.0, longitude=-75.0)
    assert 80.0 < morning.sun_azimuth < 110.0


# Bad input


@pytest.mark.bad_input
@pytest.mark.parametrize(
    "times",
    [
        np.datetime64("NaT", "s"),
        [np.datetime64("2026-01-01"), np.datetime64("NaT", "s")],
        np.datetime64("1899-12-31T23:59:59"),
        np.datetime64("2100-01-01T00:00:01"),
        np.datetime64("2100-06-01"),
        np.datetime64(300_000_000, "Y"),
        np.datetime64(-(2**62), "s"),
        "2026-01-01",
        1_800_000_000,
        3.5,
        datetime(2026, 1, 1),
        None,
        np.timedelta64(3, "h"),
    ],
    ids=str,
)
def test_times_out_of_range_are_refused(times):
    with pytest.raises(InputError, match=r"times = .*1900-01-01 to 2100-01-01"):
        positions(times, latitude=40.0, longitude=0.0)


@pytest.mark.bad_input
@pytest.mark.parametrize(("field", "value"), [("latitude", 90.1), ("longitude", -181.0)])
def test_places_that_are_not_on_earth_are_refused(field, value):
    with pytest.raises(InputError, match=f"^{field} = "):
        positions(utc("2026-01-01"), **{"latitude": 40.0, "longitude": 0.0} | {field: value})


def test_nothing_is_fetched():
    code = """
import sys
def guard(event, args):
    if event.startswith("socket.") and event != "socket.__new__":
        raise RuntimeError(event)
sys.addaudithook(guard)
import numpy as np
from kit.sky.ephemeris import positions
assert "ephem" not in sys.modules
print(float(positions(np.datetime64("2026-10-31T23:00"), latitude=40.0, longitude=-75.0).sun_elevation))
"""
    done = subprocess.run([sys.executable, "-W", "error", "-c", code], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert -25.0 < float(done.stdout) < -10.0
