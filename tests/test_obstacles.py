"""What stands in the beam: one shadow in maps, verdicts, parts, masks, the search and the pages."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from fronts import BOUNDS, points_of, random_front
from hypothesis import given, settings
from hypothesis import strategies as st

import kit
from kit.light.cast import cast_light
from kit.stage.aim import Lens
from kit.stage.content import BESIDE, picture_map, save_masks
from kit.stage.places import Limits, evaluate
from kit.stage.search import search
from kit.wall.occlusion import Obstacle, Occluders, reached

HOUSES = Path(__file__).parents[1] / "notebooks" / "houses"


def block(name, left, right, near, far, top, bottom=0.0, **more):
    area = [(left, near), (right, near), (right, far), (left, far)]
    return Obstacle(name=name, area=area, heights=(bottom, top), **more)


@pytest.fixture(scope="module")
def bungalow():
    # With lit rooms its windows would decide.
    return replace(kit.open_show(HOUSES / "light_bungalow.toml"), rooms_dark=True)


@pytest.fixture(scope="module")
def boxed(wall):
    """A lens 1 m up, 8 m off a wall of 8 m x 5 m; a box before it throws a shadow 1.6 m wide and 2.6 m high."""
    machine = kit.Projector(light_output=4000, throw_ratio=1.0, resolution=(160, 100), lens_shift=(0.0, 0.3))
    place = kit.Placement(position=(0, 1, 8), aim=(0, 1, 0))
    box = block("box", -0.5, 0.5, 2, 3, 2)
    people = block("people", -9, 9, 4, 5, 1.8, blocks=False)
    return kit.Scene(facade=wall(8, 5), projectors=[(machine, place)], obstacles=[box, people])


@pytest.mark.analytic
def test_a_box_throws_the_shadow_that_similar_triangles_give(boxed):
    # Its near face, 5 m from the lens, is thrown 8/5 as large: 1.6 m wide, up to 1 + 1.6 = 2.6 m; edges of the raster.
    light = kit.light_map(boxed, 0.1)
    x, y = np.meshgrid(light["x"], light["y"])
    np.testing.assert_array_equal(light["illuminance"].values == 0.0, (np.abs(x) < 0.8) & (y < 2.6))
    free = kit.light_map(replace(boxed, obstacles=()), 0.1)
    lit = light["illuminance"].values > 0
    np.testing.assert_array_equal(light["illuminance"].values[lit], free["illuminance"].values[lit])
    # People are no wall: they hide nothing. Rounding.
    assert light["obstacle"].values.tolist() == ["box"]
    np.testing.assert_allclose(light["hidden_share"], [1.6 * 2.6 / 40], rtol=1e-12)
    assert "hidden_share" not in free
    front = kit.judge(light).front
    assert front.lit_share == pytest.approx(1 - 1.6 * 2.6 / 40, rel=1e-12)
    assert "10% of what the picture would reach is hidden by the box." in kit.judge(light).sentence()


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_shadows_as_polygons_are_those_of_segments_through_blocks(seed):
    """Two ways to the same answer: polygons on each plane, and segments clipped by convex pieces."""
    rng = np.random.default_rng(seed)
    front, lens = random_front(seed), rng.uniform((-4, 0.3, 4), (4, 5, 9))
    things = [
        Obstacle(
            name=str(k),
            area=rng.uniform((-3, -1), (3, 8)) + rng.uniform(0.2, 1.5) * np.array([(0, 0), (1, 0), (0.6, 1), (0, 1)]),
            heights=(0.0 if k else 1.0, float(rng.uniform(1.1, 4))),
        )
        for k in range(2)
    ]  # fmt: skip
    machine = kit.Projector(light_output=1000, throw_ratio=0.5, resolution=(16, 10))
    pair = machine, kit.Placement(position=lens, aim=(0, 2, 0))
    try:
        raster = cast_light(front, (pair,), BOUNDS, 0.2).raster
    except kit.InputError:
        return  # a lens inside the front
    seen = raster.at(raster.patch >= 0)
    segments = Occluders.of(front, things).hidden(seen.position, seen.plane, lens[None])[0]
    polygons = ~reached(raster, lens, obstacles=things)[raster.patch >= 0]
    before = raster.planes.ahead(lens)[seen.plane] > 1e-3
    # A point on the very edge of a shadow may fall either way.
    assert np.count_nonzero((segments != polygons) & before) <= 2


def test_the_lens_sees_the_obstacle_where_the_map_has_its_shadow(boxed, tmp_path):
    picture, free = picture_map(boxed), picture_map(replace(boxed, obstacles=()))
    assert (free.patch >= 0).all()
    rows, columns = np.nonzero(picture.patch < 0)
    land = points_of(free, columns + 0.5, rows + 0.5)
    assert len(land) > 100
    # The pixels that land on the box are those that would land in its shadow, to their size, 5 cm.
    assert (np.abs(land[:, 0]) < 0.8).all()
    assert (land[:, 1] < 2.6).all()
    assert len(land) * 40 / picture.patch.size == pytest.approx(1.6 * 2.6, abs=2 * 0.05 * (1.6 + 2 * 2.6))
    # The wall's corners are free of it, and a corner in its shadow is not.
    assert not picture.corners["hidden"].any()
    pane = kit.Patch("pane", [(-0.5, 1), (0.5, 1), (0.5, 3), (-0.5, 3)], boxed.facade.patches[0].surface)
    both = replace(boxed, facade=kit.Facade([*boxed.facade.patches, pane]))
    corners = picture_map(both).corners.query("patch == 'pane'")
    assert corners["hidden"].tolist() == [True, True, False, False]
    light, parts = kit.light_map(boxed, 0.1), {"wall": "animation"}
    assert light["patch_name"].values.tolist() == list(parts)
    from PIL import Image

    files = {
        path.stem: np.asarray(Image.open(path)) for path in save_masks(tmp_path, boxed, parts) if path.suffix == ".png"
    }
    np.testing.assert_array_equal(files[BESIDE] > 0, picture.patch < 0)


# On the pages


def test_a_hedge_over_everything_is_one_error_wherever_it_is_met(bungalow):
    hedge = block("tall hedge", -9, 9, 2, 2.5, 8)
    hidden = replace(bungalow, obstacles=(hedge,))
    for answer in (kit.arrange, kit.compare):
        with pytest.raises(kit.InputError, match="these hide all of it") as caught:
            answer(hidden)
        assert (caught.value.field, caught.value.value) == ("obstacles", "tall hedge")
    stands, machine = hidden.full.stands, kit.typical_projector(4000, 0.8)
    for limits in (None, Limits(blocked=None)):
        with pytest.raises(kit.InputError, match="from everywhere these hide all of it") as caught:
            search(bungalow.house, machine, Lens(throw_ratio=(0.6, 1.5)), stands, obstacles=[hedge], limits=limits)
        assert (caught.value.field, caught.value.value) == ("obstacles", "tall hedge")


def test_a_hedge_that_hides_most_is_told_and_such_a_place_is_not_feasible(bungalow):
    hedge = block("hedge", -9, 9, 2, 2.5, 1.7)
    free, found = kit.arrange(bungalow), kit.arrange(replace(bungalow, obstacles=(hedge,)))
    assert free.verdict.chance > 0.5
    share = float(found.light["hidden_share"].sum())
    assert 0.5 < share < 0.75
    assert found.verdict.status == "not enough"
    assert found.verdict.front.lit_share == pytest.approx(1 - share, abs=1e-3)  # the picture reaches all of it
    assert f"{100 * share:.0f}% of what the picture would reach is hidden by the hedge." in found.sentence()
    assert "hidden" not in free.sentence()
    # Other pages have the same shadow.
    verdicts = kit.compare(replace(bungalow, obstacles=(hedge,))).verdicts
    assert all(dict(verdict.hidden)["hedge"] > 0.5 for verdict in verdicts)
    # No part of which less than half is reached carries anything, and no light of it is counted.
    assert found.parts.share("nothing") > free.parts.share("nothing")
    assert float(found.light["picture_share"].sum()) < 0.5 * float(free.light["picture_share"].sum())
    # The machine's own place, as the search sees it: by default most of the target has to be free.
    position = found.scene.projectors[0][1].position
    one = evaluate(
        bungalow.house, found.scene.projectors[0][0], Lens(throw_ratio=(0.8, 0.8), shift_up=(0, 0.5)), [position],
        obstacles=[hedge], limits=Limits(reached=None), points=1000,
    ).isel(candidate=0)  # fmt: skip
    # A row of points of 0.17 m either way.
    assert float(one["blocked_share"]) == pytest.approx(share, abs=0.06)
    assert bool(one["fails_blocked"])
    assert not bool(one["feasible"])


def test_a_tree_in_the_beam_of_the_demo_house(show_of_demo):
    aside = kit.StandChoice(distance=10, side=5)
    found = kit.arrange(show_of_demo, aside)
    free = kit.arrange(replace(show_of_demo, obstacles=()), aside)
    share = float(found.light["hidden_share"].sum())
    assert share > 0.7
    assert f"{100 * share:.0f}% of what the picture would reach is hidden by the tree." in found.sentence()
    assert found.verdict.front.lit_share == pytest.approx(free.verdict.front.lit_share * (1 - share), rel=1e-9)
    assert found.parts.share("animation") < 0.02


@pytest.fixture(scope="module")
def show_of_demo():
    return kit.open_show(HOUSES / "demo_show.toml")


@pytest.mark.bad_input
def test_two_obstacles_of_one_name_are_refused(boxed):
    with pytest.raises(kit.InputError, match="obstacles"):
        replace(boxed, obstacles=[boxed.obstacles[0]] * 2)
