"""What stands in the beam: one shadow in maps, verdicts, parts, masks, the search and the pages."""

from dataclasses import replace
from pathlib import Path

import lamp_renderer as renderer
import numpy as np
import pytest
from fronts import BOUNDS, points_of, random_front
from hypothesis import given, settings
from hypothesis import strategies as st
from panels import without_returns

import kit
from kit.eye.glare import source_veils
from kit.light.ambient import sky_seen
from kit.light.cast import cast_light
from kit.light.lamps import ground_light, lamp_map
from kit.sky.luminaire import Luminaire, typical_luminaire
from kit.sky.photometric_file import cutoff
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


# Between a lamp or the sky and the front


@pytest.mark.analytic
def test_a_hedge_darkens_the_wall_up_to_where_a_street_lamp_looks_over_it(wall):
    """By similar triangles, over the edge of the hedge that is nearer to the wall."""
    front, hedge = wall(8, 5), block("hedge", -90, 90, 3.0, 3.5, 1.8)
    raster = kit.FrontRaster.over(front, front.bounds, 0.05)
    lamp = typical_luminaire("street lamp", position=(0.5, 7.0, 10.5))
    free, found = (lamp_map(raster, [lamp], 0.0, things) for things in ((), (hedge,)))
    # The ray over that edge comes down to 1.8 - 3 (7 - 1.8) / (10.5 - 3), below the ground: nothing is hidden.
    np.testing.assert_array_equal(found, free)
    low = typical_luminaire("street lamp", position=(0.5, 3.0, 10.5))
    free, found = (lamp_map(raster, [low], 0.0, things) for things in ((), (hedge,)))
    edge = 1.8 - 3.0 * (3.0 - 1.8) / (10.5 - 3.0)
    assert edge == pytest.approx(1.32)
    np.testing.assert_array_equal(found, np.where(raster.grid.y[:, None] > edge, free, 0.0))
    # And in a scene, the machine in front of it: contrast rises where the lamp's light is gone; people hide nothing.
    machine = kit.Projector(light_output=4000, throw_ratio=0.3), kit.Placement(position=(0, 2, 2.6), aim=(0, 2, 0))
    scene = kit.Scene(facade=front, projectors=[machine], ambient=kit.Ambient(lamps=(low,)))
    people = replace(hedge, blocks=False)
    bare, shaded, walked = (kit.light_map(replace(scene, obstacles=t), 0.1) for t in ((), (hedge,), (people,)))
    lux = shaded["ambient_illuminance"].sel(source=low.name)
    assert not lux.where(lux["y"] < edge, 0.0).any()
    np.testing.assert_array_equal(walked["ambient_illuminance"], bare["ambient_illuminance"])
    better, low = (shaded["contrast"] > bare["contrast"]).values, (shaded["y"] < edge).values
    np.testing.assert_array_equal(better, np.broadcast_to(low[:, None], better.shape))


@pytest.mark.reference
def test_the_shadow_of_a_car_in_the_light_of_a_lamp_is_that_of_the_renderer(wall):
    """Mitsuba 3, direct light of a point; compared beside the car, which its camera sees in front of the wall."""
    front, car = wall(8.03, 5.02), block("car", 1.51, 3.33, 2.02, 3.61, 1.53)
    raster, where = kit.FrontRaster.over(front, front.bounds, 0.041), (5.2, 3.1, 7.3)
    one = Luminaire(name="lamp", position=where, distribution=cutoff(1500))
    ours = lamp_map(raster, [one], 0.0, [car])
    half, (x, y) = raster.grid.spacing / 2, (raster.grid.x, raster.grid.y)
    theirs = renderer.illuminance(
        [np.array(patch.outline) for patch in (*front.patches, *car.faces)], lamp=(where, 1500 / (4 * np.pi)),
        extent=(x[0] - half, x[-1] + half, y[0] - half, y[-1] + half), shape=ours.shape,
    )  # fmt: skip
    beside = (x < 1.5) & np.isfinite(ours)
    dark = ours[beside] == 0.0
    assert 0.05 < dark.mean() < 0.5
    assert (dark != (theirs[beside] == 0.0)).mean() < 2e-3  # points on the very edge
    both = ~dark & (theirs[beside] > 0.0)
    # The limits that hold for lamps without obstacles: single precision.
    assert np.percentile(ours[beside][both] / theirs[beside][both], [5, 95]) == pytest.approx([1.0, 1.0], abs=0.01)


@pytest.mark.analytic
@pytest.mark.parametrize("lamp_z", [9.0, 4.0])
def test_ground_in_the_shadow_of_a_garden_wall_sends_nothing_up(wall, lamp_z):
    """By brute force: each piece of ground that the lamp lights gets I h / d^3 and gives y z / (pi d^4) of that."""
    front, high = wall(8, 5), block("wall", -900, 900, 5.0, 5.2, 6.0)
    raster = kit.FrontRaster.over(front, front.bounds, 1.0)
    lamp = Luminaire(name="lamp", position=(0.0, 4.0, lamp_z), distribution=cutoff(4 * np.pi))
    x, z = np.meshgrid(np.arange(-40, 40, 0.1) + 0.05, np.arange(0, 50, 0.1) + 0.05)
    # The wall is higher than the lamp: on its side all is lit, beyond nothing.
    lit = (z > 5.2) if lamp_z > 5.0 else (z < 5.0)
    light = np.where(lit, 4.0 / (x**2 + 4.0**2 + (z - lamp_z) ** 2) ** 1.5, 0.0)
    points = raster.points.reshape(-1, 3)
    brute = [0.1**2 * (light * y * z / (np.pi * ((x - at) ** 2 + y * y + z * z) ** 2)).sum() for at, y, _ in points]
    # Rectangles of ground that the edge of the shadow cuts count as their middles, and so do all within.
    np.testing.assert_allclose(ground_light(raster, lamp, (high,)).ravel(), brute, rtol=0.08)


@pytest.mark.analytic
def test_a_hedge_and_eaves_take_of_the_sky_what_the_closed_form_says(wall):
    """An upright wall gets (1 - sin h) of an even sky over a long edge at height h, sin h under one (from memory)."""
    front, hedge = wall(8, 5), block("hedge", -900, 900, 3.0, 3.5, 2.0)
    raster = kit.FrontRaster.over(front, front.bounds, 0.25)
    seen, up = sky_seen(raster, (hedge,)), np.maximum(2.0 - raster.grid.y, 0.0)
    # 160 directions; what looks over the near edge sees over the far one.
    np.testing.assert_allclose(seen, (1.0 - up / np.hypot(up, 3.0))[:, None] * np.ones(seen.shape), atol=0.02)
    assert (sky_seen(raster) == 1.0).all()
    grey = front.patches[0].surface
    eaves = kit.Patch("eaves", [(-900, 5, 0), (-900, 5, 1), (900, 5, 1), (900, 5, 0)], grey)
    below = sky_seen(kit.FrontRaster.over(kit.Facade([*front.patches, eaves]), (-4.0, 4.0, 0.0, 5.0), 0.25))
    down = 5.0 - raster.grid.y
    np.testing.assert_allclose(below, (down / np.hypot(down, 1.0))[:, None] * np.ones(below.shape), atol=0.02)


@pytest.mark.analytic
def test_a_hedge_between_lamp_and_eye_takes_the_veil(wall):
    front, eye = wall(8, 5), (0.0, 1.6, 9.0)
    raster = kit.FrontRaster.over(front, front.bounds, 0.5)
    lamp = Luminaire(name="lamp", position=(2.0, 1.2, 0.5), distribution=cutoff(800))
    ambient = kit.Ambient(lamps=(lamp,), eye=eye)
    hedge, low = (block("hedge", 0.5, 3, 3, 3.5, top) for top in (2.0, 1.0))
    free, hidden, over = (source_veils(ambient, raster, things)[1] for things in ((), (hedge,), (low,)))
    assert free.min() > 0.0
    assert not hidden.any()
    np.testing.assert_array_equal(over, free)


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
    # What its eaves send down on the wall leaves the whole house at even chances; the wall without them is enough.
    wall = without_returns(bungalow)
    bare = replace(wall.house, patches=tuple(p for p in wall.house.patches if p.name != "gutter board"))
    assert kit.arrange(replace(wall, house=bare)).verdict.status == "enough"
    assert free.verdict.chance == pytest.approx(0.54, abs=0.02)
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
