import datetime as dt
import math
import re
import warnings
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st

import kit
from kit.decision.evening import MINUTE, clock_minutes, moment, switching_sentence
from kit.decision.verdict import Target
from kit.decision.washout import DRAWS, WHOLE
from kit.errors import InputError
from kit.light.ambient import WALLS
from kit.results import text_table
from kit.sky.luminaire import LedString, headlamps, typical_luminaire

GREY = kit.Surface(name="grey", reflectance=0.5, low=0.4, high=0.6)
SCREEN = kit.Surface(name="screen", reflectance=0.7, low=0.65, high=0.75, gain=1.5)
EYE = (1.0, 1.6, 11.0)
SPACING = 0.5

PORCH = typical_luminaire("porch light", position=(-2.0, 2.1, 0.6), dimming=0.5)
STREET = typical_luminaire("street lamp", position=(-9.0, 6.0, 14.0))
GUTTER = LedString(
    name="gutter", path=((-3.9, 3.9, 0.15), (3.9, 3.9, 0.15)), spacing=0.1,
    node_flux=12.0, dimming=0.1, facing=(0, 0, 1),
)  # fmt: skip
CAR = headlamps("car", position=(2.0, 14.0), towards=(0.5, 0.0))


def angled():
    """A wall with a bay, whose sides stand at 45 degrees, and a roof that slopes back and is not judged."""
    return kit.Facade(
        [
            kit.Patch("wall", [(-4, 0, 0), (4, 0, 0), (4, 4, 0), (-4, 4, 0)], GREY),
            kit.Patch("bay", [(0, 0, 1), (1, 0, 1), (1, 3, 1), (0, 3, 1)], SCREEN),
            kit.Patch("right side", [(1, 0, 1), (2, 0, 0), (2, 3, 0), (1, 3, 1)], GREY),
            kit.Patch("left side", [(-1, 0, 0), (0, 0, 1), (0, 3, 1), (-1, 3, 0)], SCREEN),
            kit.Patch("roof", [(-4, 4, 0), (4, 4, 0), (3, 6, -2), (-3, 6, -2)], GREY, judged=False),
        ],
        name="angled",
    )


def scene(lumens=4000.0, *, width=9.0, **ambient):
    projector = kit.typical_projector(lumens, 11.0 / width)
    place = kit.Placement(position=(0.5, 0.3, 11.0), aim=(0.5, 0.3, 0.0))
    return kit.Scene(
        facade=angled(), projectors=[(projector, place)], ambient=kit.Ambient(**ambient), ground_reflectance=0.2
    )


def site(**changes):
    return kit.Site(**{"latitude": 41.9, "longitude": -87.6, "timezone": "America/Chicago", "facing": 180.0} | changes)


def run(given_scene, given_site, *dates, **more):
    return kit.evenings(given_scene, given_site, *dates, **{"spacing": SPACING} | more)


FULL = {
    "vertical_illuminance": 0.1, "glare": (kit.Glare(illuminance=0.2, angle=9.0),), "age": 60.0,
    "lamps": (PORCH, STREET, GUTTER), "eye": EYE,
}  # fmt: skip
SCENES = {
    "bare": scene(),
    "all of it": scene(**FULL),
    "no eye": scene(lamps=(PORCH, GUTTER)),
    "a picture that misses some": scene(width=3.0, **FULL),
    "a picture that misses a third": scene(lumens=20000.0, width=6.5, **FULL),
    "little light": scene(lumens=700.0, **FULL),
}
# Full moon on 2026-12-24 at 01:28 UTC, as in almanacs (from memory); it then stands high in the south after midnight.
MOMENTS = ("2026-12-05 12:00", "2026-12-05 16:45", "2026-06-20 21:10", "2026-12-24 00:30", "2026-12-10 02:00")
STATUS = {"not enough": 0, "borderline": 1, "enough": 2}


def at(given_scene, given_site, clock, *, second=False):
    """The same scene under the sky of one moment."""
    sky = given_site.sky_at(given_site.utc(clock, second=second))
    return replace(given_scene, ambient=replace(given_scene.ambient, sky=sky))


def mean_veil(light):
    """The mean veil over the judged points of a map."""
    judged = light["judged"].values[light["patch"].values] & (light["patch"].values >= 0)
    return light["veiling_luminance"].values.sum(axis=0)[judged].mean()


def check_contrast(found, figure):
    np.testing.assert_allclose(found, (figure.low, figure.median, figure.high), rtol=1e-9)


def one_moment(given_scene, given_site, clock, **more):
    date, hour = clock.split(" ")
    return run(given_scene, given_site, date, begin=hour, hours=0.01, **more).isel(date=0, minute=0)


# One moment is one map


@pytest.mark.property
@pytest.mark.parametrize("clock", MOMENTS)
@pytest.mark.parametrize("name", SCENES)
def test_a_moment_is_the_verdict_on_its_map(name, clock):
    given_scene, here = SCENES[name], site()
    result = one_moment(given_scene, here, clock)
    light = kit.light_map(at(given_scene, here, clock), SPACING)
    verdict = kit.judge(light, draws=DRAWS)
    parts = (verdict.front, *verdict.surfaces)
    assert list(result["part"].values) == [WHOLE, *(p.name for p in verdict.surfaces)]
    for i, part in enumerate(parts):
        figure = part.white_luminance
        np.testing.assert_allclose(
            result["white_luminance"].values[i], (figure.low, figure.median, figure.high), rtol=1e-9
        )
        check_contrast(result["contrast"].values[i], part.contrast)
        # The same draws: but for one that lies on the edge, for an evening takes a part's reflectance by its mean.
        assert float(result["chance"][i]) == pytest.approx(part.chance, abs=1.5 / DRAWS)
        assert int(result["status"][i]) == STATUS[part.status]
        assert float(result["lit_share"][i]) == pytest.approx(part.lit_share, rel=1e-12)
    judged = light["judged"].values[light["patch"].values] & (light["patch"].values >= 0)
    # Source by source: the map has those of the scene at that moment, the evening all that there may be.
    assert set(light["source"].values) <= set(result["source"].values)
    for source in light["source"].values:
        one, other = result.sel(source=source), light.sel(source=source)
        assert float(one["ambient_illuminance"]) == pytest.approx(
            other["ambient_illuminance"].values[judged].mean(), rel=1e-9, abs=1e-15
        )
        assert float(one["veiling_luminance"]) == pytest.approx(
            other["veiling_luminance"].values[judged].mean(), rel=1e-9, abs=1e-15
        )


@pytest.mark.property
def test_the_moments_above_are_what_they_are_meant_to_be():
    here = site()
    day, twilight, summer, moonlit, dark = (here.sky(clock) for clock in MOMENTS)
    assert day.twilight() > 1e4
    assert 0.1 < twilight.twilight() < 100
    assert 0.1 < summer.twilight() < 100
    assert moonlit.twilight() < 1e-3
    assert moonlit.moon([(0, 0, 1)])[0] > 0.05
    assert dark.twilight() < 1e-3
    assert dark.moon([(0, 0, 1)])[0] < 1e-3


@pytest.mark.property
@settings(max_examples=10)
@given(
    st.sampled_from(["bare", "all of it", "no eye"]),
    st.datetimes(dt.datetime(2026, 1, 2), dt.datetime(2027, 12, 30)),
    st.floats(-66, 66), st.floats(-179, 179), st.floats(0, 360), st.floats(18, 22), st.floats(0, 0.5),
)  # fmt: skip
def test_random_moments(name, when, latitude, longitude, facing, brightness, view):
    here = site(
        latitude=latitude, longitude=longitude, timezone="UTC", facing=facing, sky_brightness=brightness, sky_view=view,
        ground_reflectance=0.3,
    )  # fmt: skip
    clock = f"{when:%Y-%m-%d %H:%M}"
    result = one_moment(SCENES[name], here, clock, spacing=1.0)
    part = kit.judge(kit.light_map(at(SCENES[name], here, clock), 1.0), draws=DRAWS).front
    check_contrast(result["contrast"].values[0], part.contrast)
    assert float(result["chance"][0]) == pytest.approx(part.chance, abs=1.5 / DRAWS)
    assert int(result["status"][0]) == STATUS[part.status]


@pytest.mark.analytic
def test_the_sky_of_the_scene_gives_way_to_that_of_the_moment():
    here = site()
    noon = at(SCENES["all of it"], here, "2026-06-21 12:00")
    one, other = (one_moment(s, here, "2026-12-24 00:30") for s in (noon, SCENES["all of it"]))
    np.testing.assert_array_equal(one["contrast"], other["contrast"])


@pytest.mark.property
@pytest.mark.parametrize("hour", ["12:00", "16:45", "22:00"])
@pytest.mark.parametrize("black", [False, True])
def test_projectors_without_any_black_and_walls_that_are_black(hour, black):
    """Contrasts that are infinite or 1, under skies with and without light."""
    wall = kit.Surface(name="wall", reflectance=0.0 if black else 0.5)
    front = kit.Facade([kit.Patch("wall", [(-4, 0), (4, 0), (4, 4), (-4, 4)], wall)])
    pair = (kit.Projector(light_output=3000.0, throw_ratio=1.2), SCENES["bare"].projectors[0][1])
    given_scene = kit.Scene(facade=front, projectors=[pair])
    here = site(sky_view=0.0, ground_reflectance=0.2)
    result = one_moment(given_scene, here, f"2026-12-05 {hour}")
    part = kit.judge(kit.light_map(at(given_scene, here, f"2026-12-05 {hour}"), SPACING), draws=DRAWS).front
    check_contrast(result["contrast"].values[0], part.contrast)
    assert int(result["status"][0]) == STATUS[part.status]
    if black:
        np.testing.assert_array_equal(result["contrast"].values[0], 1.0)


@pytest.mark.analytic
def test_a_front_that_sees_neither_sky_nor_ground():
    """The site may say so: nothing of the sky on the wall, all of it in the eye."""
    here = site(sky_view=0.0, ground_reflectance=0.0)
    shaded, usual = (run(SCENES["all of it"], s, "2026-12-05", step=60) for s in (here, site()))
    for source in ("twilight", "sky glow"):
        assert not shaded["ambient_illuminance"].sel(source=source).values.any()
        veil = usual["veiling_luminance"].sel(source=source)
        np.testing.assert_allclose(shaded["veiling_luminance"].sel(source=source), veil, rtol=1e-9)
    assert np.isfinite(shaded["contrast"].values).all()


@pytest.mark.property
@pytest.mark.parametrize("timezone", ["Pacific/Kiritimati", "Pacific/Pago_Pago", "UTC"])
@pytest.mark.parametrize("date", ["1900-01-02", "2099-12-29"])
def test_the_first_and_the_last_evening(timezone, date):
    result = run(DARK, site(timezone=timezone), date, begin="24:00", hours=24, step=120, spacing=1.0)
    check_clock(result, timezone)
    assert np.isfinite(result["contrast"].values).all()


@pytest.mark.property
def test_an_evening_of_a_season_is_that_evening():
    here, given_scene = site(), SCENES["all of it"]
    season = run(given_scene, here, "2026-10-30", "2026-11-03", step=20)
    assert season.sizes["date"] == 5
    for date in season["date"].values:
        one = run(given_scene, here, date, step=20)
        for name in ("status", "earliest", "dark_enough", "passing_minutes", "sunset", "moonrise", "clock"):
            np.testing.assert_array_equal(one[name].values[0], season.sel(date=date)[name].values, err_msg=name)
        np.testing.assert_allclose(one["contrast"].values[0], season.sel(date=date)["contrast"].values, rtol=1e-12)
        plain = run(given_scene, here, date, step=20, banded=False)
        assert np.isnan(plain["contrast"].sel(level=["low", "high"])).all()
        xr.testing.assert_identical(plain.drop_vars("contrast"), one.drop_vars("contrast"))
    third = run(given_scene, here, "2026-10-30", "2026-11-03", every=3, step=120)
    np.testing.assert_array_equal(third["date"].values, np.array(["2026-10-30", "2026-11-02"], "M8[s]"))
    for dates in ((dt.date(2026, 11, 1), dt.datetime(2026, 11, 3)), ("2026-11-01", np.datetime64("2026-11-03"))):
        assert run(given_scene, here, *dates, step=120).sizes["date"] == 3


# When the show can start


def by_minutes(given_scene, given_site, date, target, **more):
    """Earliest start by a sweep of every minute, from the chance alone."""
    result = run(given_scene, given_site, date, step=1, target=target, **more).isel(date=0)
    chance = result["chance"].transpose("minute", "part").values[..., None]
    sure = target.confidence
    holds = np.concatenate([chance >= sure, chance >= 0.5, chance > 1 - sure], axis=-1)
    first = np.where(holds.any(axis=0), result["clock"].values[holds.argmax(axis=0)], np.datetime64("NaT", "s"))
    return first, holds, result


@pytest.mark.property
@pytest.mark.parametrize("step", [5.0, 7.0, 30.0, 2.0])
@pytest.mark.parametrize("name", ["all of it", "little light"])
def test_the_earliest_start_is_that_of_a_sweep_of_every_minute(name, step):
    target = Target(white_luminance=0.8, contrast=3.0 if name == "little light" else 12.0, share=0.6)
    first, _, _ = by_minutes(SCENES[name], site(), "2026-12-05", target, begin="15:00", hours=3.0)
    result = run(SCENES[name], site(), "2026-12-05", begin="15:00", hours=3.0, step=step, target=target).isel(date=0)
    assert not np.isnat(first).all()
    np.testing.assert_array_equal(result["earliest"].values, first)
    low, nominal, high = np.moveaxis(result["earliest"].values, -1, 0)
    there = ~np.isnat(low)
    assert (high[there] <= nominal[there]).all()
    assert (nominal[there] <= low[there]).all()


@pytest.mark.property
def test_the_earliest_start_by_maps_alone():
    here, given_scene, target = site(), SCENES["all of it"], Target(white_luminance=0.5, contrast=5.0, share=0.6)
    found = run(given_scene, here, "2026-12-05", target=target).isel(date=0)["earliest"].values[0]
    for level, least in enumerate((0.9, 0.5, 0.1)):
        scenes = (at(given_scene, here, str(found[level] + k * MINUTE)) for k in (-1, 0))
        before, then = (kit.judge(kit.light_map(s, SPACING), target, draws=DRAWS).chance for s in scenes)
        # Of so many draws one may lie on the edge.
        assert before - 1.5 / DRAWS < least <= then + 1.5 / DRAWS
        assert before < then


@pytest.mark.property
@pytest.mark.parametrize("clock", ["2026-12-05 16:45", "2026-12-24 00:30"])
def test_in_fog_a_moment_is_the_map_of_that_moment(clock):
    foggy, here = replace(SCENES["all of it"], visibility=400.0), site()
    result, light = one_moment(foggy, here, clock), kit.light_map(at(foggy, here, clock), SPACING)
    verdict = kit.judge(light, draws=DRAWS)
    for i, part in enumerate((verdict.front, *verdict.surfaces)):
        check_contrast(result["contrast"].values[i], part.contrast)
        assert float(result["chance"][i]) == pytest.approx(part.chance, abs=1.5 / DRAWS)
    judged = light["judged"].values[light["patch"].values] & (light["patch"].values >= 0)
    for source in light["source"].values:
        lux = light.sel(source=source)["ambient_illuminance"].values[judged].mean()
        assert float(result.sel(source=source)["ambient_illuminance"]) == pytest.approx(lux, rel=1e-9, abs=1e-15)


@pytest.mark.property
def test_how_long_it_lasts_by_every_minute():
    # From evening to morning; and an evening on which the moon comes over a front to the east.
    target = Target(white_luminance=1.0, contrast=8.0, share=0.6)
    first, holds, result = by_minutes(SCENES["no eye"], site(), "2026-12-05", target, begin="20:00", hours=12.0)
    assert not np.isnat(first).any()
    lasts = result["passing_minutes"].values
    for index in np.ndindex(first.shape):
        start = int(np.flatnonzero(result["clock"].values == first[index])[0])
        fails = np.flatnonzero(~holds[(slice(start, None), *index)])
        assert lasts[index] == (fails[0] if fails.size else len(holds) - 1 - start)
    assert (lasts < 719).all()
    # In steps, the end is the first step that fails.
    coarse = run(SCENES["no eye"], site(), "2026-12-05", step=10, target=target, begin="20:00", hours=12.0).isel(date=0)
    assert (np.abs(coarse["passing_minutes"].values - lasts) < 10).all()


@pytest.mark.property
def test_the_moon_can_end_a_show():
    target = Target(white_luminance=0.1, contrast=40.0)
    # Without the bay, by whose light on the wall contrast stays below that.
    faint = replace(scene(lumens=150.0), facade=kit.Facade(angled().patches[::4]))
    # The full moon rises over a front to the east, an hour or so after it is dark.
    result = run(faint, site(facing=80.0), "2026-12-25", target=target, begin="17:30", hours=6.0)
    moonlit = result["ambient_illuminance"].sel(source="moon").values[0]
    assert moonlit[-1] > 0.03
    lasts = result["passing_minutes"].values[0, 0, 1]
    assert 0 < lasts < 350
    end = result["earliest"].values[0, 0, 1] + np.timedelta64(int(lasts), "m")
    assert f"From {pd.Timestamp(end):%H:%M} on it falls short again" in kit.start_sentence(result)
    away = run(faint, site(facing=260.0), "2026-12-25", target=target, begin="17:30", hours=6.0)
    assert away["passing_minutes"].values[0, 0, 1] > lasts


# The clock


def check_clock(result, timezone):
    """Every moment by the standard library alone; moments follow each other in real time."""
    utc, clock = result["utc"].values, result["clock"].values
    steps = np.round(result["minute"].values * 60).astype("m8[s]")
    np.testing.assert_array_equal(utc - utc[:, :1], np.broadcast_to(steps, utc.shape))
    for there, shown in zip(utc.ravel(), clock.ravel(), strict=True):
        local = there.item().replace(tzinfo=dt.UTC).astimezone(ZoneInfo(timezone)).replace(tzinfo=None)
        assert np.datetime64(local, "s") == shown


DARK = scene(lumens=2000.0)


@pytest.mark.published
@pytest.mark.parametrize(
    ("timezone", "date", "begin", "hours", "ends"),
    [
        # IANA time zone database. Daylight saving begins on 2026-03-08 and ends on 2026-11-01 at 2:00.
        ("America/Chicago", "2026-03-07", "20:00", 10, "2026-03-08T07:00"),
        ("America/Chicago", "2026-10-31", "20:00", 10, "2026-11-01T05:00"),
        ("America/Chicago", "2026-11-01", "20:00", 10, "2026-11-02T06:00"),
        ("America/Chicago", "2026-03-08", "20:00", 10, "2026-03-09T06:00"),
        ("America/Chicago", "2026-03-08", "00:00", 10, "2026-03-08T11:00"),
        ("Australia/Lord_Howe", "2026-04-04", "20:00", 10, "2026-04-05T05:30"),
        ("Australia/Lord_Howe", "2026-10-03", "20:00", 10, "2026-10-04T06:30"),
        ("America/Sao_Paulo", "2018-11-03", "20:00", 10, "2018-11-04T07:00"),
        ("America/Sao_Paulo", "2026-11-03", "20:00", 10, "2026-11-04T06:00"),
        ("America/Asuncion", "2024-03-23", "20:00", 10, "2024-03-24T05:00"),
        ("Asia/Beirut", "2026-03-28", "20:00", 10, "2026-03-29T07:00"),
        ("America/Chicago", "2026-12-31", "24:00", 2, "2027-01-01T02:00"),
    ],
)
def test_evenings_on_which_the_clock_changes(timezone, date, begin, hours, ends):
    result = run(DARK, site(timezone=timezone), date, begin=begin, hours=hours, step=15, spacing=1.0)
    assert result.sizes["minute"] == hours * 4 + 1
    assert result["clock"].values[0, -1] == np.datetime64(ends)
    check_clock(result, timezone)
    first = np.datetime64(date) + clock_minutes("begin", begin) * MINUTE
    assert result["clock"].values[0, 0] == first


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("timezone", "dates", "begin", "named"),
    [
        ("America/Chicago", ("2026-03-08",), "02:30", "2026-03-08 02:30"),
        ("America/Chicago", ("2026-03-01", "2026-03-20"), "02:30", "2026-03-08 02:30"),
        ("Asia/Beirut", ("2026-03-28",), "24:00", "2026-03-29 00:00"),
        ("Asia/Beirut", ("2026-03-29",), "00:30", "2026-03-29 00:30"),
        ("America/Asuncion", ("2023-10-01",), "00:00", "2023-10-01 00:00"),
        ("Australia/Lord_Howe", ("2026-10-04",), "02:10", "2026-10-04 02:10"),
        ("Pacific/Apia", ("2011-12-28", "2011-12-31"), "15:00", "2011-12-30 15:00"),
    ],
)
def test_an_evening_that_begins_in_a_skipped_hour_is_refused_and_named(timezone, dates, begin, named):
    with pytest.raises(InputError, match=named):
        run(DARK, site(timezone=timezone), *dates, begin=begin, step=60, spacing=1.0)


@pytest.mark.analytic
@pytest.mark.parametrize("date", ["2026-03-07", "2026-10-31", "2026-12-05"])
def test_the_sentence_says_by_the_clock_when_a_show_ends(date):
    """Also when daylight saving begins or ends between start and end."""
    result = run(scene(lumens=20000.0), site(), date, begin="20:00", hours=12)
    enough = result["chance"].values[0, :, 0] >= 0.5
    assert enough[0]
    fails = int((~enough).argmax())
    assert 0 < fails < enough.size - 1
    shown = pd.Timestamp(result["clock"].values[0, fails])
    assert f"From {shown:%H:%M} on it falls short again" in kit.start_sentence(result)


@pytest.mark.analytic
def test_the_sentence_does_not_end_a_show_that_lasts_when_daylight_saving_begins():
    result = run(scene(lumens=20000.0), site(), "2026-03-07", begin="20:00", hours=7)
    assert (result["status"].values[0, :, 0] == 2).all()
    assert "falls short" not in kit.start_sentence(result)


@pytest.mark.property
def test_the_sentence_does_not_call_a_borderline_evening_not_enough():
    """The verdict is `borderline` from some hour on: it may or may not be enough."""
    given_scene = SCENES["all of it"]
    result = run(given_scene, site(), "2026-12-05", target=Target(contrast=10.0, share=0.6))
    assert (result["status"].values[0, -10:, 0] == 1).all()
    sentence = kit.start_sentence(result)
    assert "not enough at any hour" not in sentence
    assert pd.Timestamp(result["earliest"].values[0, 0, 2]).strftime("%H:%M") in sentence


# Sun and moon


@pytest.mark.published
@pytest.mark.parametrize(
    ("latitude", "longitude", "timezone", "date", "begin", "sunset", "sunrise"),
    [
        # Almanacs and city tables for 2026, from memory, to the minute.
        (41.88, -87.63, "America/Chicago", "2026-12-05", "15:00", "2026-12-05T16:20", None),
        (51.477, 0.0, "Europe/London", "2026-06-21", "15:00", "2026-06-21T21:21", "2026-06-22T04:43"),
        (-33.87, 151.21, "Australia/Sydney", "2026-12-21", "15:00", "2026-12-21T20:05", "2026-12-22T05:41"),
        (35.68, 139.77, "Asia/Tokyo", "2026-12-21", "15:00", "2026-12-21T16:32", "2026-12-22T06:47"),
    ],
)
def test_sunset_and_sunrise_of_almanacs(latitude, longitude, timezone, date, begin, sunset, sunrise):
    here = site(latitude=latitude, longitude=longitude, timezone=timezone)
    result = run(DARK, here, date, begin=begin, hours=16.0, spacing=1.0)
    # Tables round to a minute, and cities are some kilometres wide.
    for name, expected in (("sunset", sunset), ("sunrise", sunrise)):
        if expected is not None:
            assert abs(result[name].values[0] - np.datetime64(expected)) <= np.timedelta64(90, "s")


PLACES = [
    (41.9, -87.6, "America/Chicago", "2026-12-05"), (60.0, 10.0, "Europe/Oslo", "2026-06-10"),
    (-33.9, 151.2, "Australia/Sydney", "2026-12-21"), (0.0, -78.5, "America/Guayaquil", "2026-03-20"),
    (65.5, -18.0, "Atlantic/Reykjavik", "2026-12-22"), (-16.8, 179.9, "Pacific/Fiji", "2026-09-01"),
]  # fmt: skip
EDGE = 0.833  # of the horizon: J. Meeus, Astronomical algorithms (1991), chapter 15, from memory


@pytest.mark.reference
@pytest.mark.parametrize(("latitude", "longitude", "timezone", "date"), PLACES)
def test_sunset_and_sunrise_against_pvlib(latitude, longitude, timezone, date):
    solarposition = pytest.importorskip("pvlib.solarposition")
    here = site(latitude=latitude, longitude=longitude, timezone=timezone)
    result = run(DARK, here, date, begin="12:00", hours=24.0, spacing=1.0)

    def heights(utc):
        index = pd.DatetimeIndex(np.atleast_1d(utc), tz="UTC")
        return solarposition.spa_python(index, latitude, longitude, altitude=0.0, delta_t=None).elevation.to_numpy()

    up = heights(result["utc"].values[0]) >= -EDGE
    for name, sign in (("sunset", 1.0), ("sunrise", -1.0)):
        crossing = (up[:-1] & ~up[1:]) if sign > 0 else (~up[:-1] & up[1:])
        found = result[name].values[0]
        assert np.isnat(found) == (not crossing.any())
        if crossing.any():
            around = here.utc(found) + np.array([-60, 60], "m8[s]")
            before, after = sign * (heights(around) + EDGE)
            assert before > 0 > after


def astropy_moon(utc, latitude, longitude):
    pytest.importorskip("astropy")
    from astropy import units
    from astropy.coordinates import AltAz, EarthLocation, get_body
    from astropy.time import Time
    from astropy.utils import iers
    from astropy.utils.exceptions import AstropyWarning
    from erfa import ErfaWarning

    conf = iers.conf
    with (
        conf.set_temp("auto_download", False),
        conf.set_temp("auto_max_age", None),
        conf.set_temp("iers_degraded_accuracy", "warn"),
        warnings.catch_warnings(),
    ):
        warnings.simplefilter("ignore", AstropyWarning)
        warnings.simplefilter("ignore", ErfaWarning)
        place = EarthLocation(lat=latitude * units.deg, lon=longitude * units.deg, height=0.0 * units.m)
        clock = Time(np.asarray(utc), scale="utc")
        moon = get_body("moon", clock, place, ephemeris="builtin")
        return moon.transform_to(AltAz(obstime=clock, location=place)).alt.deg


@pytest.mark.reference
@pytest.mark.parametrize(("latitude", "longitude", "timezone", "date"), PLACES)
def test_moonrise_and_moonset_against_astropy(latitude, longitude, timezone, date):
    here = site(latitude=latitude, longitude=longitude, timezone=timezone)
    result = run(DARK, here, date, begin="12:00", hours=24.0, spacing=1.0)
    coarse = result["utc"].values[0, ::3]
    up = astropy_moon(coarse, latitude, longitude) >= -EDGE
    for name, sign in (("moonrise", -1.0), ("moonset", 1.0)):
        crossing = (up[:-1] & ~up[1:]) if sign > 0 else (~up[:-1] & up[1:])
        found = result[name].values[0]
        assert np.isnat(found) == (not crossing.any())
        if crossing.any():
            around = here.utc(found) + np.array([-60, 60], "m8[s]")
            before, after = sign * (astropy_moon(around, latitude, longitude) + EDGE)
            assert before > 0 > after


@pytest.mark.property
def test_of_two_sunsets_in_one_evening_the_first_is_told():
    """In autumn the sun sets some minutes earlier each day: twice within 24 hours that begin just before it."""
    first, second = (run(DARK, site(), date)["sunset"].values[0] for date in ("2026-09-20", "2026-09-21"))
    # The clock of the first evening begins less than a minute before its sunset.
    begin = str(first.astype("M8[m]"))[-5:]
    result = run(DARK, site(), "2026-09-20", begin=begin, hours=24.0, step=1.0, spacing=1.0)
    clock = result["clock"].values[0]
    assert clock[0] < first < second < clock[-1]
    # Interpolated between steps of a minute instead of five.
    assert abs(result["sunset"].values[0] - first) <= np.timedelta64(2, "s")


@pytest.mark.published
def test_polar_night_and_polar_day():
    # Tromso: the sun stays down from late November to mid January, and up from mid May to late July.
    here = site(latitude=69.65, longitude=18.96, timezone="Europe/Oslo")
    bright = scene(lumens=20000.0)
    winter, summer = (
        run(bright, here, date, begin="12:00", hours=24.0, step=10) for date in ("2026-12-21", "2026-06-21")
    )
    for result in (winter, summer):
        assert np.isnat(result["sunset"].values).all()
        assert np.isnat(result["sunrise"].values).all()
    assert winter["sun_elevation"].max() < -0.833
    assert summer["sun_elevation"].min() > 0
    # By noon it is too light, later it is not.
    start = winter["earliest"].values[0, 0, 1]
    assert np.datetime64("2026-12-21T12:00") < start < np.datetime64("2026-12-21T17:00")
    assert np.isnat(summer["earliest"].values).all()
    assert np.isnan(summer["passing_minutes"].values).all()
    assert (summer["status"].values == 0).all()
    told = kit.start_sentence(summer)
    assert "not enough at any hour (the sun does not set" in told
    assert "sun sets" not in told
    assert "(the sun does not rise" in kit.start_sentence(winter)
    assert "-" in text_table(kit.start_frame(summer))


@pytest.mark.property
@pytest.mark.parametrize("latitude", [90.0, -90.0])
def test_a_house_at_a_pole_has_evenings(latitude):
    here = site(latitude=latitude, longitude=0.0, timezone="UTC")
    target = Target(contrast=8.0, share=0.6)
    result = run(SCENES["all of it"], here, "2026-06-21", "2026-06-22", step=60, spacing=1.0, target=target)
    dark = bool((result["sun_elevation"] < 0).all())
    assert dark == (latitude < 0)
    assert np.isnat(result["earliest"].values).all() != dark
    assert kit.start_sentence(result)
    for frame in (kit.start_frame(result), kit.source_frame(result, "2026-06-21 18:00")):
        assert text_table(frame)


@pytest.mark.property
def test_the_moon_behind_the_house_gives_its_front_nothing():
    result = run(SCENES["all of it"], site(facing=0.0), "2026-12-24", begin="00:00", hours=0.5)
    assert (result["moon_elevation"] > 40).all()
    assert (result["moon_illuminated"] > 0.99).all()
    assert not result["ambient_illuminance"].sel(source="moon").values.any()
    # High above the line of sight it is dimmer by far than low over the roof.
    assert 0 < result["veiling_luminance"].sel(source="moon").max() < 5e-4


# The full moon of that evening a good way up, behind a house that faces it with its back: over the roof, for a viewer.
OVER_THE_ROOF = "2026-12-23 18:30"


def moon_behind():
    """The site turned so that the moon then stands straight behind the house, and the moon's height [deg]."""
    found = site().sky(OVER_THE_ROOF).positions
    return site(facing=(float(found.moon_azimuth) + 180.0) % 360.0), float(found.moon_elevation)


@pytest.mark.analytic
def test_the_moon_over_the_roof_veils_the_picture():
    """It lights nothing of the front, and takes contrast all the same: by hand on a flat wall that is lit evenly."""
    here, height = moon_behind()
    wall = kit.Patch("wall", [(-4, 0), (4, 0), (4, 4), (-4, 4)], GREY)
    pair = (
        kit.Projector(light_output=4000.0, throw_ratio=1.0, resolution=(2, 1), sequential_contrast=2000.0),
        kit.Placement(position=(0, 2, 8), aim=(0, 2, 0)),
    )
    flat = kit.Scene(
        facade=kit.Facade([wall]),
        projectors=[pair],
        ground_reflectance=0.0,
        ambient=kit.Ambient(age=60.0, eye=EYE, vertical_illuminance=0.02),
    )
    result = one_moment(flat, here, OVER_THE_ROOF)
    moon = result.sel(source="moon")
    assert float(moon["ambient_illuminance"]) == 0
    # Straight behind the house, seen from an eye that looks at each point of the front in turn.
    towards = np.array([0.0, math.sin(math.radians(height)), -math.cos(math.radians(height))])
    grid = kit.light_map(flat, SPACING)
    x, y = np.meshgrid(grid["x"], grid["y"])
    sight = np.stack([x, y, 0 * x], axis=-1) - EYE
    cosine = sight @ towards / np.linalg.norm(sight, axis=-1)
    angle = np.degrees(np.arccos(cosine))
    light = float(here.sky(OVER_THE_ROOF).moon_normal()) * cosine
    # CIE 146:2002, Vos: 10 / a^3 + (5 / a^2 + 0.05 / a)(1 + (A / 62.5)^4) + 0.00125; rounding only.
    points = light * (10 / angle**3 + (5 / angle**2 + 0.05 / angle) * (1 + (60 / 62.5) ** 4) + 0.00125)
    expected = float(points.mean())
    assert float(moon["veiling_luminance"]) == pytest.approx(expected, rel=1e-9)
    # 4000 lm on 32 m2, and all that the table of sources says, on a wall of 0.5.
    lux = float(result["ambient_illuminance"].sum())
    veil = points + float(result["veiling_luminance"].sum()) - expected
    white, black, around = (0.5 / math.pi * e for e in (125.0, 125.0 / 2000, lux))
    contrast, clear = (np.median((white + around + v) / (black + around + v)) for v in (veil, veil - points))
    # The veil of the sky is small here, and taken as its mean.
    assert result["contrast"].sel(level="nominal").values == pytest.approx(contrast, rel=1e-3)
    # It is no trifle.
    assert clear > 1.1 * contrast


@pytest.mark.property
@pytest.mark.parametrize("name", ["all of it", "a picture that misses some"])
def test_under_a_moon_that_veils_a_moment_is_the_verdict_on_its_map(name):
    (here, _), given_scene = moon_behind(), SCENES[name]
    result = one_moment(given_scene, here, OVER_THE_ROOF)
    light = kit.light_map(at(given_scene, here, OVER_THE_ROOF), SPACING)
    veil = float(result["veiling_luminance"].sel(source="moon"))
    assert veil == pytest.approx(mean_veil(light.sel(source=["moon"])), rel=1e-9)
    assert veil > 1e-4
    verdict = kit.judge(light, draws=DRAWS)
    for i, part in enumerate((verdict.front, *verdict.surfaces)):
        expected = (part.contrast.low, part.contrast.median, part.contrast.high)
        np.testing.assert_allclose(result["contrast"].values[i], expected, rtol=1e-9)
    one = kit.switching(given_scene, here, OVER_THE_ROOF, spacing=SPACING, step=30).sel(change="as it is")
    np.testing.assert_allclose(one["contrast"], result["contrast"].values[0], rtol=1e-9)
    assert float(one["veiling_luminance"]) == pytest.approx(mean_veil(light), rel=1e-9)


# Light that comes and goes


def car(**more):
    return kit.Passing(**{"name": "car", "lamps": CAR, "seconds": 6.0, "per_hour": 30.0} | more)


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("begin", "end", "inside", "outside"),
    [
        ("16:00", "23:00", ["16:00", "19:30", "22:59"], ["15:59", "23:00", "00:00"]),
        ("22:00", "02:00", ["22:00", "23:59", "00:00", "01:59"], ["02:00", "21:59", "12:00"]),
        ("00:00", "24:00", ["00:00", "12:00", "23:59"], []),
        ("18:00", "24:00", ["18:00", "23:59"], ["00:00", "17:59"]),
        ("24:00", "02:00", ["00:00", "01:59"], ["23:59", "02:00"]),
        ("18:00", "18:00", ["18:00", "00:00", "17:59"], []),
    ],
)
def test_when_light_can_pass(begin, end, inside, outside):
    event = car(begin=begin, end=end)
    for hours, expected in ((inside, True), (outside, False)):
        for hour in hours:
            assert event.happens(np.array([f"2026-12-05T{hour}"], "M8[s]")).tolist() == [expected], hour


@pytest.mark.analytic
def test_share_of_the_time():
    assert car().share == pytest.approx(0.05, rel=1e-12)
    assert car(per_hour=0.0).share == 0
    assert car(seconds=60.0, per_hour=60.0).share == 1
    with pytest.raises(InputError, match="hour of light"):
        car(seconds=60.1, per_hour=60.0)


@pytest.mark.property
def test_contrast_while_light_passes_is_that_of_a_scene_with_it_on():
    here, given_scene = site(), SCENES["all of it"]
    late = car(begin="21:00", end="00:30")
    sensor = kit.Passing(
        name="sensor", lamps=[typical_luminaire("floodlight", position=(5.0, 3.0, 6.0), pan=60.0, tilt=60.0)],
        seconds=90.0, per_hour=2.0, begin="02:00", end="03:00",
    )  # fmt: skip
    result = run(
        given_scene, here, "2026-12-05", begin="20:00", hours=5.0, step=30, passing=(late, sensor, car(name="any"))
    )
    assert list(result["passing"].values) == ["car", "sensor", "any"]
    np.testing.assert_allclose(result["passing_share"], [0.05, 0.05, 0.05])
    on = replace(given_scene, ambient=replace(given_scene.ambient, lamps=(*given_scene.ambient.lamps, *CAR)))
    expected = run(on, here, "2026-12-05", begin="20:00", hours=5.0, step=30)["contrast"].sel(level="nominal").values[0]
    found = result["contrast_passing"].values[:, 0]
    clock = result["clock"].values[0]
    inside = (clock >= np.datetime64("2026-12-05T21:00")) & (clock < np.datetime64("2026-12-06T00:30"))
    assert inside.sum() == 7
    np.testing.assert_allclose(found[0][inside], expected[inside], rtol=1e-9)
    assert np.isnan(found[0][~inside]).all()
    assert np.isnan(found[1]).all()
    np.testing.assert_allclose(found[2], expected, rtol=1e-9)
    assert (found[2] < result["contrast"].sel(level="nominal").values[0]).all()
    # Without the rest of it nothing changes.
    plain = run(given_scene, here, "2026-12-05", begin="20:00", hours=5.0, step=30)
    np.testing.assert_array_equal(plain["contrast"], result["contrast"])
    assert plain["contrast_passing"].shape == (0, 1, 11, 3)


# Switching off


@pytest.mark.property
@pytest.mark.parametrize("clock", ["2026-12-05 18:00", "2026-12-06 00:40"])
def test_switching_is_what_each_changed_scene_gives(clock):
    here, given_scene = site(), SCENES["all of it"]
    lamps = given_scene.ambient.lamps
    # In its place, dark as it is: the same draws.
    dark, unlit, bare = (lamp.dimmed(0.0) for lamp in (PORCH, STREET, GUTTER))
    result = kit.switching(given_scene, here, clock, shield=55.0, spacing=SPACING, step=20)
    changed = {
        "as it is": lamps,
        "porch light off": (dark, STREET, GUTTER),
        "porch light shaded": (replace(PORCH, shielded=55.0), STREET, GUTTER),
        "street lamp off": (PORCH, unlit, GUTTER),
        "street lamp shaded": (PORCH, replace(STREET, shielded=55.0), GUTTER),
        "gutter off": (PORCH, STREET, bare),
        "gutter at half": (PORCH, STREET, replace(GUTTER, dimming=0.05)),
        "no lamp at all": (dark, unlit, bare),
    }
    assert set(result["change"].values) == set(changed)
    assert result["change"].values[0] == "as it is"
    for name, kept in changed.items():
        other = replace(given_scene, ambient=replace(given_scene.ambient, lamps=kept))
        one = result.sel(change=name)
        light = kit.light_map(at(other, here, clock), SPACING)
        part = kit.judge(light, draws=DRAWS).front
        expected = (part.contrast.low, part.contrast.median, part.contrast.high)
        np.testing.assert_allclose(one["contrast"], expected, rtol=1e-9, err_msg=name)
        assert int(one["status"]) == STATUS[part.status]
        assert float(one["chance"]) == pytest.approx(part.chance, abs=1.5 / DRAWS)
        assert float(one["veiling_luminance"]) == pytest.approx(mean_veil(light), rel=1e-9)
        evening = run(other, here, "2026-12-05", step=20).isel(date=0, part=0)
        np.testing.assert_array_equal(one["earliest"], evening["earliest"], err_msg=name)
    assert kit.switching_frame(result).index.tolist() == list(result["change"].values)


@pytest.mark.property
def test_a_shade_does_not_open_a_tighter_one_and_few_lamps_have_few_changes():
    tight = scene(lamps=(replace(PORCH, shielded=40.0),), eye=EYE)
    result = kit.switching(tight, site(), "2026-12-05 18:00", shield=70.0, spacing=1.0, step=60)
    assert list(result["change"].values) == ["as it is", "porch light off", "porch light shaded"]
    for name in ("contrast", "ambient_illuminance", "veiling_luminance"):
        np.testing.assert_allclose(result[name][0], result[name][2], rtol=1e-12)
    assert result["ambient_illuminance"][1] < result["ambient_illuminance"][0]
    none = kit.switching(scene(), site(), "2026-12-05 18:00", spacing=1.0, step=60)
    assert list(none["change"].values) == ["as it is"]


@pytest.mark.bad_input
def test_a_lamp_may_have_any_name_that_is_its_own():
    """Names of changes are made of names of lamps."""
    lamps = (typical_luminaire("porch light", called="all of them", position=(-2.0, 2.1, 0.6)), GUTTER)
    result = kit.switching(scene(lamps=lamps, eye=EYE), site(), "2026-12-05 18:00", spacing=1.0, step=60)
    assert len(set(result["change"].values)) == result.sizes["change"] == 6
    assert len(kit.switching_frame(result)) == 6


# Texts


@pytest.mark.analytic
def test_texts_tell_what_the_figures_say():
    part = Target(contrast=8.0, share=0.6)
    result = run(SCENES["all of it"], site(), "2026-12-05", "2026-12-08", target=part)
    start = pd.Timestamp(result["earliest"].values[0, 0, 1])
    told = kit.start_sentence(result)
    assert told.startswith(f"Sat 5 Dec 2026: the show can start at {start:%H:%M} (the sun sets at 16:1")
    assert kit.start_sentence(result, dt.date(2026, 12, 6)).startswith("Sun 6 Dec 2026")
    assert " on the screen" in kit.start_sentence(result, part="screen")
    frame = kit.start_frame(result)
    assert len(frame) == 4
    for column, level in (("may start", "high"), ("start", "nominal"), ("surely", "low")):
        np.testing.assert_array_equal(frame[column], result["earliest"].sel(level=level, part=WHOLE))
    np.testing.assert_array_equal(frame["dark from"], result["dark_enough"].sel(level="nominal", part=WHOLE))
    # What gives no light is not told: the moon is below the horizon.
    night = kit.source_frame(run(SCENES["bare"], site(), "2026-12-10", begin="02:00", hours=0.1), "2026-12-10 02:00")
    assert night.index.tolist() == ["sky glow", WALLS, "all"]
    assert len(kit.start_frame(result, every=3)) == 2
    table = kit.source_frame(result, "2026-12-06 17:02")
    assert table.attrs["title"] == "2026-12-06 17:00"
    i, j = moment(result, "2026-12-07 00:31")
    assert (i, str(result["clock"].values[i, j])) == (1, "2026-12-07T00:30:00")
    total = float(result["ambient_illuminance"].isel(date=1, minute=24).sum())
    assert table.loc["all", "on the front [lx]"] == pytest.approx(total, rel=1e-12)
    for part, reason in (("grey", "reaches only"), (WHOLE, "reaches only")):
        assert reason in kit.start_sentence(
            run(SCENES["a picture that misses some"], site(), "2026-12-05", step=60), part=part
        )
    never = run(SCENES["all of it"], site(), "2026-12-05", target=Target(contrast=1e5, share=0.6), step=60)
    assert "Contrast reaches at best" in kit.start_sentence(never)
    dim = run(SCENES["all of it"], site(), "2026-12-05", target=Target(white_luminance=1e5, contrast=8.0, share=0.6))
    # Both are said: that the wall is never bright enough, and from when on contrast would hold.
    dark = pd.Timestamp(dim["dark_enough"].sel(part=WHOLE, level="nominal").item())
    said = kit.start_sentence(dim)
    assert re.search(r"At no hour is it bright enough \(\d+\.\d\d of 100000 cd/m² wanted\)", said)
    assert said.endswith(f"contrast holds from {dark:%H:%M}.")
    target = Target(white_luminance=1e5, contrast=1e5, share=0.6)
    neither = run(SCENES["all of it"], site(), "2026-12-05", target=target, step=60)
    assert kit.start_sentence(neither).endswith("contrast never suffices either.")
    part = kit.evenings(scene(width=6.5), site(), "2026-12-05", spacing=SPACING, step=60)
    share = float(part["lit_share"].sel(part=WHOLE))
    assert 0.5 < share < 0.8
    assert not (part["status"].sel(part=WHOLE) == 2).any()
    assert kit.start_sentence(part).endswith(f"the picture reaches only {share:.0%} of it.")


@pytest.mark.analytic
@pytest.mark.parametrize("latitude", [-78.0, -67.0, -66.0, -30.0, 0.0, 50.0, 66.0, 67.0, 78.0])
@pytest.mark.parametrize("date", ["2026-03-20", "2026-06-21", "2026-12-21"])
def test_a_sun_that_stays_up_or_down_is_told_from_any_moment(latitude, date):
    """Against the whole day, looked at every quarter of an hour."""
    here = site(latitude=latitude, longitude=0.0, timezone="UTC")
    day = here.sky_at(np.datetime64(f"{date}T00:00") + np.arange(0, 24 * 60, 15) * np.timedelta64(1, "m"))
    height = day.positions.sun_elevation
    expected = 1 if height.min() >= -0.833 else -1 if height.max() < -0.833 else 0
    for begin in ("00:00", "09:00", "15:00"):
        result = run(DARK, here, date, begin=begin, hours=2.0, step=60, spacing=1.0)
        assert result["sun_all_day"].values.tolist() == [expected]


def lamps_changed(**changes):
    """What `switching` returns, of changes to (contrast, lux on the front, veil, chance)."""
    names = ["as it is", *(name.replace("_", " ") for name in changes)]
    figures = np.array([(*change, 0.5)[:4] for change in ((25.0, 3.0, 0.1), *changes.values())]).T
    data = {
        name: (
            ("change", "level") if name == "contrast" else ("change",),
            values[:, None] if name == "contrast" else values,
        )
        for name, values in zip(
            ("contrast", "ambient_illuminance", "veiling_luminance", "chance"), figures, strict=True
        )
    }
    return xr.Dataset(data, {"change": names, "level": ["nominal"]}, {"clock": "2026-12-05 17:20:00"})


@pytest.mark.analytic
def test_own_lamps_come_first_and_a_surprise_has_its_reason():
    small = "Porch light off takes more light off the front, but from a small part of it."
    said = switching_sentence(lamps_changed(street_lamp_off=(67.7, 2.5, 0.1), porch_light_off=(26.0, 1.0, 0.1)))
    assert said == (
        "At 17:20 one change of your own lamps buys most: porch light off. It takes contrast from 25.0:1 to 26.0:1. "
        f"Street lamp off would make it 67.7:1, but that lamp is its owner's to change. {small}"
    )
    # None of one's own matters; the veil is the reason.
    said = switching_sentence(lamps_changed(neighbour_off=(67.7, 2.5, 0.01), porch_light_off=(25.1, 1.0, 0.1)))
    assert said.startswith("At 17:20 no lamp of yours changes much: contrast stays near 25:1. Neighbour off would make")
    assert said.endswith("Porch light off takes more light off the front, neighbour off more of what dazzles.")
    # Nothing surprises: the lamp that gives most light is the one to change.
    said = switching_sentence(
        lamps_changed(
            street_lamp_off=(26.0, 2.5, 0.1), porch_light_off=(40.0, 1.0, 0.1), no_lamp_at_all=(80.0, 0.1, 0.0)
        )
    )
    assert said == "At 17:20 one change buys most: porch light off. It takes contrast from 25.0:1 to 40.0:1."
    # What it does to the chance is said where it does something.
    said = switching_sentence(lamps_changed(porch_light_off=(40.0, 1.0, 0.1, 0.83)))
    assert said.endswith("to 40.0:1: 8 chances in 10 that it is enough, where it has 5 chances in 10 now.")
    # A fiftieth more is told.
    assert "buys most" in switching_sentence(lamps_changed(porch_light_off=(25.5, 1.0, 0.1)))
    said = switching_sentence(lamps_changed(porch_light_off=(25.1, 1.0, 0.1)))
    assert said == "At 17:20 no lamp by itself changes much: contrast stays near 25:1."
    assert switching_sentence(lamps_changed()).startswith("No lamp is on")


# Bad input


QUICK = {"step": 60.0, "spacing": 1.0}


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("field", "values"),
    [
        (
            "begin",
            ["25:00", "24:01", "5:00", "05:60", "0500", "", "noon", None, 15, "\u00b2\u00b3:00", "-1:00", "05:00:00"],
        ),
        ("spacing", [1e-6]),
        ("target", ["x", 15.0, True]),
        ("passing", [[None], CAR]),
    ],
)
def test_what_evenings_cannot_use_is_refused(field, values):
    for value in values:
        with pytest.raises(InputError):
            kit.evenings(DARK, site(), "2026-12-05", **QUICK | {field: value})


@pytest.mark.bad_input
@pytest.mark.parametrize("wrong", [0, {}, (), ""])
def test_a_target_that_is_none_is_not_taken_for_the_default(wrong):
    with pytest.raises(InputError, match="target"):
        kit.evenings(DARK, site(), "2026-12-05", target=wrong, **QUICK)


@pytest.mark.bad_input
@pytest.mark.parametrize("wrong", ["x", None, 5, kit.Ambient])
def test_scenes_and_sites_of_another_type_are_refused(wrong):
    with pytest.raises(InputError, match="scene"):
        kit.evenings(wrong, site(), "2026-12-05")
    with pytest.raises(InputError, match="site"):
        kit.evenings(DARK, wrong, "2026-12-05")


@pytest.mark.bad_input
@pytest.mark.parametrize("wrong", ["x", None, 5])
def test_switching_refuses_scenes_sites_and_targets_of_another_type(wrong):
    with pytest.raises(InputError, match="scene"):
        kit.switching(wrong, site(), "2026-12-05 18:00")
    with pytest.raises(InputError, match="site"):
        kit.switching(DARK, wrong, "2026-12-05 18:00", **QUICK)
    if wrong is not None:
        with pytest.raises(InputError, match="target"):
            kit.switching(DARK, site(), "2026-12-05 18:00", target=wrong, **QUICK)


@pytest.mark.bad_input
@pytest.mark.parametrize(
    "date",
    [
        None, "", "nonsense", "2026-02-30", "2026-13-01", "1899-12-31", "2100-01-01", math.nan, True, [1], {}, object(),
        dt.time(18), np.datetime64("NaT", "s"), np.datetime64("1000000-01-01"), 1e300, 10**30, b"2026-12-05",
    ],
)  # fmt: skip
def test_what_is_no_date_is_refused(date):
    with pytest.raises(InputError, match="first"):
        kit.evenings(DARK, site(), date, **QUICK)
    if date is not None:
        with pytest.raises(InputError, match="last"):
            kit.evenings(DARK, site(), "2026-12-05", date, **QUICK)


@pytest.mark.bad_input
@pytest.mark.parametrize("date", [5, 20261205, 2026.0, "05.12.2026", "12/05/2026"])
def test_a_date_that_can_be_read_in_two_ways_or_counts_from_1970_is_refused(date):
    with pytest.raises(InputError, match="first"):
        kit.evenings(DARK, site(), date, **QUICK)


@pytest.mark.bad_input
@pytest.mark.parametrize(
    "date", ["2026-12-05T01:00+05:00", dt.datetime(2026, 12, 5, 1, tzinfo=dt.timezone(dt.timedelta(hours=5)))]
)
def test_a_date_with_a_zone_of_its_own_is_refused(date):
    """It would silently be that of Greenwich, the day before."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)
        with pytest.raises(InputError, match="first"):
            kit.evenings(DARK, site(), date, **QUICK)
        with pytest.raises(InputError, match="clock"):
            kit.switching(DARK, site(), date, begin="00:00", hours=24.0, **QUICK)


@pytest.mark.bad_input
def test_reversed_dates_and_too_many_moments_are_refused():
    with pytest.raises(InputError, match="not after"):
        kit.evenings(DARK, site(), "2026-12-05", "2026-12-04")
    with pytest.raises(InputError, match="moments"):
        kit.evenings(DARK, site(), "1950-01-01", "2090-01-01")
    with pytest.raises(InputError, match="moments"):
        kit.evenings(DARK, site(), "2026-01-01", "2026-12-31", step=1 / 60)


@pytest.mark.bad_input
def test_lamps_inside_the_wall_are_refused():
    inside = typical_luminaire("porch light", called="hidden", position=(0.5, 1.0, 0.5))
    with pytest.raises(InputError, match="hidden"):
        kit.evenings(scene(lamps=(inside,)), site(), "2026-12-05", **QUICK)
    with pytest.raises(InputError, match="hidden"):
        kit.evenings(DARK, site(), "2026-12-05", passing=[car(lamps=[inside])], **QUICK)


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("field", "wrong"), [("lamps", [PORCH, PORCH]), ("begin", "25:00"), ("end", "18"), ("end", "24:01")]
)
def test_passing_light_that_cannot_be_is_refused(field, wrong):
    with pytest.raises(InputError, match=f"passing light 'car': {field}"):
        car(**{field: wrong})


@pytest.mark.bad_input
def test_names_that_clash_are_refused():
    same = replace(CAR[0], name="porch light")
    with pytest.raises(InputError, match="porch light"):
        kit.evenings(SCENES["all of it"], site(), "2026-12-05", passing=[car(lamps=[same])], **QUICK)
    with pytest.raises(InputError, match="car"):
        kit.evenings(DARK, site(), "2026-12-05", passing=[car(), car(per_hour=1.0)], **QUICK)


@pytest.fixture(scope="module")
def evening():
    return run(DARK, site(), "2026-12-05", step=60)


@pytest.mark.bad_input
def test_texts_refuse_what_is_not_in_the_result(evening):
    for part in ("roof", None, 5, ""):
        with pytest.raises(InputError, match="part"):
            kit.start_sentence(evening, part=part)
        with pytest.raises(InputError, match="part"):
            kit.start_frame(evening, part=part)
        with pytest.raises(InputError, match="part"):
            kit.switching(DARK, site(), "2026-12-05 18:00", part=part, **QUICK)
    for date in ("2026-12-06", "x", 5, math.nan):
        with pytest.raises(InputError, match="date"):
            kit.start_sentence(evening, date)
    for every in (0, -1, math.nan, "a", None, True):
        with pytest.raises(InputError, match="every"):
            kit.start_frame(evening, every=every)
    for clock in (None, "x", math.nan, 5, "2026-12-05 13:00", "2026-12-06 03:00", "2027-01-01", [1], object(), 1e300):
        with pytest.raises(InputError, match="clock"):
            kit.source_frame(evening, clock)
    for clock in (
        None,
        "x",
        math.nan,
        "2026-12-05 13:00",
        "2026-12-06 03:00",
        [1],
        object(),
        1e300,
        "1800-01-01 20:00",
    ):
        with pytest.raises(InputError):
            kit.switching(DARK, site(), clock, **QUICK)


@pytest.mark.bad_input
@pytest.mark.parametrize("wrong", [None, 5, "x", {}, "map"])
def test_texts_refuse_what_evenings_did_not_return(wrong):
    given_result = kit.light_map(DARK, 1.0) if wrong == "map" else wrong
    for function in (
        kit.start_sentence, kit.start_frame, kit.switching_frame, lambda r: kit.source_frame(r, "2026-12-05 18:00"),
    ):  # fmt: skip
        with pytest.raises(InputError):
            function(given_result)
