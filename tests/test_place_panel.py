"""The named function behind the panel of places, the drawing to scale, and the panel at the ends of each control."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import kit
from kit.source.placement import picture_corners, picture_width
from kit.views.place_panel import ONE, OVERLAP, SIDE_BY_SIDE, STACKED

HOUSES = Path(__file__).parents[1] / "notebooks" / "houses"
WALLS = ("main wall", "bay")


@pytest.fixture(scope="module")
def house():
    return kit.load_house(HOUSES / "brick_two_storey.toml")


@pytest.fixture(scope="module")
def panel(house):
    return kit.PlacePanel(house, wall_patches=WALLS, spacing=0.4)


@pytest.fixture(scope="module")
def start(house):
    return placed(house)


def placed(house, **choice):
    return kit.place(house, kit.PlaceChoice(**choice), wall_patches=WALLS, spacing=0.3)


def test_every_control_at_its_ends_gives_a_drawing_or_a_plain_message(panel):
    tried = []
    for name, values in panel.ranges().items():
        ends = {values[0], values[-1], *(values if len(values) < 5 else ())} - {getattr(panel.start, name)}
        tried += [(f"{name} = {value}", replace(panel.start, **{name: value})) for value in sorted(ends)]
    assert len(tried) > 20
    for label, choice in tried:
        panel.picture.value = b""
        panel.show(choice)
        assert panel.message.value == "", label
        assert bytes(panel.picture.value).startswith(b"\x89PNG"), label
        text = panel.words.value + panel.numbers.value
        assert " nan" not in text.lower(), label
        assert " inf" not in text.lower(), label
    panel.reset.click()


def test_lengths_follow_the_unit_and_keep_their_size(panel):
    panel.show(replace(panel.start, side=1.524, height=1.524))
    assert panel.controls["side"].value == pytest.approx(5.0)
    panel.controls["units"].value = "m"
    assert panel.controls["side"].value == pytest.approx(1.5)
    assert panel.controls["height"].value == pytest.approx(1.5)
    assert panel.choice.side == pytest.approx(1.5)
    panel.reset.click()


@pytest.mark.bad_input
def test_stacked_machines_that_are_tilted_are_answered_in_words(panel):
    shown = panel.picture.value
    panel.show(replace(panel.start, setup=STACKED, tilt=5.0))
    assert "tilt" in panel.message.value
    assert panel.picture.value == shown
    panel.reset.click()
    assert panel.message.value == ""


@pytest.mark.bad_input
@pytest.mark.parametrize(("field", "value"), [("setup", "three"), ("wall", "chocolate"), ("throw_ratio", 0.0)])
def test_a_choice_that_cannot_be_is_named(house, field, value):
    with pytest.raises(kit.InputError):
        placed(house, **{field: value})


def test_two_stacked_are_one_of_twice_the_light_and_side_by_side_cover_more(house, start):
    both = placed(house, setup=STACKED, light_output=4000.0)
    # The second lens stands 0.35 m higher, which moves its light a little on what stands out from the wall.
    assert both.verdict.patch("main wall").white_luminance.median == pytest.approx(
        start.verdict.patch("main wall").white_luminance.median, rel=0.01
    )
    wide = placed(house, setup=SIDE_BY_SIDE, throw_ratio=1.6)
    width = float(picture_width(wide.choice.distance, 1.6))
    corners = [picture_corners(*pair) for pair in wide.scene.projectors]
    overlap = corners[0][1, 0] - corners[1][0, 0]
    assert overlap == pytest.approx(OVERLAP * width)
    assert wide.scene.blend
    assert not both.scene.blend


def test_tilt_raises_the_picture_and_skews_it(house, start):
    tilted = placed(house, tilt=6.0)
    assert float(start.figures["keystone"]) == pytest.approx(0.0, abs=1e-9)
    assert float(tilted.figures["keystone"]) > 1.0
    assert "keystone correction" in tilted.picture_text()
    assert "It is square" in start.picture_text()
    assert picture_corners(*tilted.scene.projectors[0])[0, 1] > picture_corners(*start.scene.projectors[0])[0, 1]


def test_the_comparison_holds_the_same_light_three_ways(start):
    compared = start.compared(start.scene.facade)
    assert [setup.stated_light_output for setup in compared.setups] == [8000.0] * 3
    one, stacked, beside = compared.setups
    assert one.worst_failure.lit_share == 0.0
    assert stacked.worst_failure.lit_share > 0.9
    assert beside.pixels > one.pixels
    assert ONE in (start.choice.setup,)


def test_the_drawing_puts_lens_and_picture_where_they_are(house, start):
    board = kit.PlanBoard(house, units="ft", eyes=[("viewer", (1.0, 1.6, 14.0))])
    picture = board.draw(start.scene.projectors)
    assert picture.startswith(b"\x89PNG")
    artists = board._beams[0]
    projector, placement = start.scene.projectors[0]
    feet = 1 / 0.3048
    np.testing.assert_allclose(
        artists["elevation"].get_xy()[:4], picture_corners(projector, placement)[:, :2] * feet, atol=1e-9
    )
    assert artists["lens"].get_data()[1][0] == pytest.approx(placement.position[2] * feet)
    assert artists["distance"].get_text() == "39.5 ft"
    # Moved, drawn anew, and back: the same picture to the byte.
    moved = replace(placement, position=(1.0, 0.3, 9.0), aim=(1.0, 0.3, 0.0))
    assert board.draw([(projector, moved)]) != picture
    assert board.draw(start.scene.projectors) == picture


def test_a_machine_that_looks_past_the_wall_is_drawn_too(house):
    projector = kit.Projector(light_output=1000, throw_ratio=0.3)
    away = kit.Placement(position=(0.0, 1.0, 8.0), aim=(6.0, 1.0, 6.0))
    assert kit.PlanBoard(house).draw([(projector, away)]).startswith(b"\x89PNG")


def test_the_trade_off_shows_every_feasible_place_and_rings_the_best(house):
    garden = kit.invented_garden(house)
    lens = kit.Lens(throw_ratio=(0.7, 1.3), shift_up=(0.0, 0.3), tilt=(-5, 20))
    found = kit.search(house, kit.typical_projector(8000, (0.7, 1.3)), lens, garden.stands, count=60, points=40)
    ax = kit.draw_tradeoff(found)
    good = found.places["feasible"].values
    np.testing.assert_allclose(ax.collections[0].get_offsets()[:, 0], found.places["coarsest_element"].values[good])
    assert len(ax.collections[1].get_offsets()) == len(found.pareto)


def test_the_invented_garden_suits_other_houses_too():
    front = kit.load_house(HOUSES / "light_bungalow.toml")
    result = kit.place(front, kit.PlaceChoice(wall="cream siding"), wall_patches=(front.patches[0].name,), spacing=0.4)
    assert result.audience.table("ft")
    assert result.keep_out.sentence("m")
