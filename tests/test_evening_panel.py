"""The named function behind the panel of evenings, its charts, and the panel at the ends of each control."""

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure
from PIL import Image

import kit
from kit.views.evening_panel import COMPASS, evening_picture, season_picture

HOUSES = Path(__file__).parents[1] / "notebooks" / "houses"
WALLS = ("main wall", "bay")
SEASON = ("2026-11-20", "2026-12-10")


@pytest.fixture(scope="module")
def house():
    return kit.load_house(HOUSES / "brick_two_storey.toml")


@pytest.fixture(scope="module")
def panel(house):
    return kit.EveningPanel(house, wall_patches=WALLS, season=SEASON, spacing=0.6)


@pytest.fixture(scope="module")
def start(house):
    return plan(house)


def plan(house, **choice):
    return kit.plan_evening(house, kit.EveningChoice(**choice), wall_patches=WALLS, season=SEASON, spacing=0.5)


def size(picture):
    return Image.open(io.BytesIO(picture)).size


def test_every_control_at_its_ends_gives_pictures_or_a_plain_message(panel):
    tried = []
    for name, values in panel.ranges().items():
        # Long menus hold one kind of thing; their ends stand for all. What is there at the start is drawn anyway.
        ends = {values[0], values[-1], *(values if len(values) < 5 else ())} - {getattr(panel.start, name)}
        tried += [(f"{name} = {value}", replace(panel.start, **{name: value})) for value in sorted(ends)]
    assert len(tried) > 25
    for label, choice in tried:
        panel.picture.value = panel.further[0].value = b""
        panel.show(choice)
        assert panel.message.value == "", label
        assert bytes(panel.picture.value).startswith(b"\x89PNG"), label
        assert bytes(panel.further[0].value).startswith(b"\x89PNG"), label
        text = panel.words.value + panel.numbers.value
        assert " nan" not in text.lower(), label
        assert "inf" not in text.lower(), label
        assert "NaT" not in text, label
    panel.reset.click()


def test_a_control_that_is_moved_changes_words_pictures_and_numbers(panel):
    before = (panel.words.value, panel.picture.value, panel.further[0].value, panel.numbers.value)
    panel.controls["light_output"].value = 4000
    after = (panel.words.value, panel.picture.value, panel.further[0].value, panel.numbers.value)
    assert all(one != other for one, other in zip(before, after, strict=True))
    panel.reset.click()
    assert panel.words.value == before[0]
    assert panel.controls["light_output"].value == 8000


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("field", "value", "named"),
    [("zone", "America/Chicagoo", "America/Chicago"), ("zone", "", "time zone"), ("zone", "../etc", "time zone")],
)
def test_a_wrong_time_zone_keeps_the_last_pictures_and_says_what_would_be_right(panel, field, value, named):
    shown = panel.picture.value
    panel.controls[field].value = value
    assert "This cannot be shown" in panel.message.value
    assert named in panel.message.value
    assert panel.picture.value == shown
    panel.reset.click()
    assert panel.message.value == ""


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("field", "value"),
    [("date", "soon"), ("street_lamp", "broken"), ("night_sky", "green sky"), ("wall", "chocolate"), ("facing", 400.0)],
)
def test_a_choice_that_cannot_be_is_named(house, field, value):
    with pytest.raises(kit.InputError):
        plan(house, **{field: value})


def test_the_charts_show_what_was_computed(start):
    figure = Figure()
    one, two, three = figure.subplots(3)
    kit.draw_evening(start.tonight, one)
    nominal = start.tonight["contrast"].values[0, :, 0, 1]
    drawn = [line for line in one.lines if len(line.get_xdata()) == nominal.size]
    np.testing.assert_array_equal(drawn[0].get_ydata(), nominal)
    first = start.tonight["earliest"].values[0, 0, 1]
    minutes = (first - start.tonight["date"].values[0]) / np.timedelta64(60, "s")
    assert any(np.allclose(line.get_xdata(), minutes) for line in one.lines)

    kit.draw_sources(start.tonight, two)
    shown = {c.get_label(): sum(bar.get_height() for bar in c) for c in two.containers}
    there = start.tonight["illuminance"].max(("date", "minute")) > 0
    assert set(shown) == set(start.tonight["source"].values[there.values])
    # A lamp that is the same all night has bars of its own height.
    lamp = float(start.tonight["illuminance"].sel(source="street lamp")[0, 0])
    bars = next(c for c in two.containers if c.get_label() == "street lamp")
    np.testing.assert_allclose([bar.get_height() for bar in bars], lamp)

    kit.draw_season(start.calendar, three)
    values = three.images[0].get_array()
    np.testing.assert_array_equal(values.T, start.calendar["contrast"].sel(part="the whole front", level="nominal"))


def test_the_season_is_drawn_on_the_clock_also_when_daylight_saving_ends(start):
    # In the night to 2026-11-01 the clocks of this zone go back from 2:00 to 1:00: the hour shows its second turn.
    season = kit.evenings(
        start.scene, start.site, "2026-10-30", "2026-11-02", begin="22:00", hours=8, step=60.0, spacing=0.5
    )
    ax = Figure().subplots()
    kit.draw_season(season, ax)
    drawn = ax.images[0].get_array().filled(np.nan)
    clock = season["clock"].values
    contrast = season["contrast"].sel(part="the whole front", level="nominal").values
    # Seen the evening of the 31st, 01:00 is the fourth and the fifth moment; 05:00 is the last, and 06:00 never comes.
    assert [str(t)[11:16] for t in clock[1]] == [
        "22:00",
        "23:00",
        "00:00",
        "01:00",
        "01:00",
        "02:00",
        "03:00",
        "04:00",
        "05:00",
    ]
    np.testing.assert_array_equal(drawn[:, 1], [*contrast[1, :3], *contrast[1, 4:], np.nan])
    np.testing.assert_array_equal(drawn[:, 0], contrast[0])


def test_the_drive_is_drawn_with_its_limit(start):
    drive = kit.string_drive(start.scene, target=start.target, spacing=0.5)
    ax = Figure().subplots()
    kit.draw_drive(drive, ax)
    line = next(line for line in ax.lines if line.get_label() == "contrast")
    np.testing.assert_array_equal(line.get_ydata(), drive["contrast"].sel(part="the whole front", level="nominal"))
    most = float(drive["most_drive"].sel(part="the whole front", level="nominal"))
    assert 0.0 < most < 1.0
    assert any(np.allclose(line.get_xdata(), 100 * most) for line in ax.lines)


@pytest.mark.bad_input
def test_charts_refuse_what_they_cannot_draw(start):
    with pytest.raises(kit.InputError, match="two evenings"):
        kit.draw_season(start.tonight)
    with pytest.raises(kit.InputError, match="part"):
        kit.draw_season(start.calendar, part="moat")
    with pytest.raises(kit.InputError, match="part"):
        kit.draw_evening(start.tonight, part="moat")
    with pytest.raises(kit.InputError, match="date"):
        kit.draw_sources(start.tonight, date="2030-01-01")


def test_pictures_have_their_size(start):
    assert size(evening_picture(start)) == (960, 400)
    assert size(season_picture(start)) == (960, 360)


def test_lamps_on_cost_contrast_and_shading_lies_between(house, start):
    def at_eight(result):
        i, j = kit.decision.evening.moment(result.tonight, "2026-12-05 20:00")
        return float(result.tonight["contrast"][i, j, 0, 1])

    off = at_eight(plan(house, porch_light="off"))
    shaded = at_eight(plan(house, porch_light="shaded"))
    assert at_eight(start) <= shaded <= off
    assert at_eight(start) < off
    assert at_eight(plan(house, string_drive=60)) < at_eight(start) < at_eight(plan(house, string_drive=0))


def test_words_name_the_lamp_that_buys_most_and_say_so_when_none_is_on(house, start):
    contrasts = start.lamps["contrast"].sel(level="nominal")
    single = [name for name in start.lamps["change"].values if name not in ("as it is", kit.decision.evening.NO_LAMP)]
    best = max(single, key=lambda name: float(contrasts.sel(change=name)))
    assert best in start.lamp_sentence()
    none = plan(house, street_lamp="off", porch_light="off", string_drive=0)
    assert "No lamp is on" in none.lamp_sentence()


def test_the_red_brick_is_not_mended_by_the_hour(house):
    sentence = plan(house, wall="red brick").sentence
    assert "not enough at any hour" in sentence
    assert "whatever the clock says" in sentence


def test_polar_night_and_polar_day(house):
    night = plan(house, latitude=69.5, longitude=19.0, zone="Europe/Oslo", date="2026-12-05")
    # The sun stays below the horizon; at three in the afternoon it is dark already.
    assert np.isnat(night.tonight["sunset"].values[0])
    assert "can start at 15:00" in night.sentence
    day = kit.plan_evening(
        house,
        kit.EveningChoice(latitude=69.5, longitude=19.0, zone="Europe/Oslo", date="2026-06-20"),
        wall_patches=WALLS, season=("2026-06-10", "2026-06-25"), spacing=0.5,
    )  # fmt: skip
    assert np.isnat(day.tonight["earliest"].values).all()
    assert "not enough at any hour" in day.sentence
    assert evening_picture(day)
    assert season_picture(day)


def test_the_compass_is_in_order():
    assert [name for name, _ in COMPASS][::2] == ["north", "east", "south", "west"]
    assert dict(COMPASS)["south"] == 180.0


def test_the_invented_street_stands_in_front_of_other_houses_too():
    front = kit.load_house(HOUSES / "light_bungalow.toml")
    street = kit.invented_street(front)
    lamps = (street.street_lamp, street.porch_light, street.neighbour, *street.strings)
    grid = kit.wall.raster.Grid.over(front.bounds, 0.3)
    light = kit.ambient_light(kit.Ambient(lamps=lamps, eye=street.eye), front, grid)
    assert (light["illuminance"].max(("y", "x")).values[1:] > 0).all()
