import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import kit
from kit.light.cast import cast_light
from kit.stage.aim import Lens
from kit.stage.places import Limits, describe, evaluate, placement_of
from kit.stage.search import Search, Stand, candidates, search
from kit.wall.occlusion import Obstacle
from kit.wall.raster import exposed
from kit.words import short

HOUSES = Path(__file__).parents[1] / "notebooks" / "houses"
FOOT = 0.3048
WIDE = Lens(throw_ratio=(0.5, 2.0), shift_across=(-1.0, 1.0), shift_up=(-1.0, 1.0))
PLAIN = Lens(throw_ratio=(0.5, 2.0))
MACHINE = kit.Projector(light_output=8000, throw_ratio=1.0, resolution=(1600, 1000))
LAWN = Stand(name="lawn", area=[(-8, 8), (8, 8), (8, 20), (-8, 20)], heights=(0.3, 1.5))
ZONES = ((5, 6, 4), (7, 9, 6), (3, 5, 4))


@pytest.fixture(scope="module")
def brick():
    return kit.load_house(HOUSES / "brick_two_storey.toml")


def framed():
    """A wall behind a sheet with a hole and a step, and a slanting fin."""
    surface = kit.Surface(name="plain", reflectance=0.5)
    sheet = [(-3, 1, 1), (2, 1, 1), (2, 2, 1), (3, 2, 1), (3, 4.5, 1), (-3, 4.5, 1)]
    hole = [(-1, 2, 1), (1, 2, 1), (0, 4, 1)]
    return kit.Facade(
        [
            kit.Patch("wall", [(-4, 0), (4, 0), (4, 5), (-4, 5)], surface),
            kit.Patch("sheet", sheet, surface, holes=[hole]),
            kit.Patch("fin", [(3.5, 0, 0), (3.5, 5, 0), (3.5, 3, 2)], surface),
        ]
    )


def bay_wall(scale=1.0, mirror=1.0):
    """A wall of 8 m x 5 m with a bay to one side and a roof that leans over the door."""
    surface = kit.Surface(name="plain", reflectance=0.5)

    def patch(name, corners):
        return kit.Patch(name, [(mirror * scale * x, scale * y, scale * z) for x, y, z in corners], surface)

    wall = patch("wall", [(-4, 0, 0), (4, 0, 0), (4, 5, 0), (-4, 5, 0)])
    bay = patch("bay", [(1, 0, 1), (3, 0, 1), (3, 3, 1), (1, 3, 1)])
    roof = patch("roof", [(-3, 3, 1), (-1, 3, 1), (-1, 4, 0), (-3, 4, 0)])
    return kit.Facade([wall, *kit.with_returns(bay, 0.0), roof])


def one(facade, lens, position, *, machine=MACHINE, **more):
    return evaluate(facade, machine, lens, [position], **more).isel(candidate=0)


@pytest.mark.analytic
def test_square_on_the_figures_follow_from_the_size_of_the_picture(wall):
    # 8 m x 5 m at 16:10: a picture that just fits, 9 m away, so the throw ratio is 9 / 8.
    found = one(wall(8, 5), WIDE, (1.0, 1.5, 9.0), audience=(0, 2.5, 20.0))
    # The zoom is found by halving 42 times: 1.5 / 2^42.
    assert float(found["throw_ratio"]) == pytest.approx(9 / 8, rel=1e-11)
    assert float(found["shift_across"]) == pytest.approx(-1 / 8, rel=1e-11)
    assert float(found["shift_up"]) == pytest.approx(1 / 5, rel=1e-11)
    # Rounding only, from here on.
    for name, value in {
        "tilt": 0,
        "pan": 0,
        "keystone": 0,
        "depth_range": 0,
        "reached_share": 1,
        "blocked_share": 0,
        "people_share": 0,
        "pixel_share": 1,
        "flux_share": 1,
        "illuminance_median": 1 / 40,
        "illuminance_lowest": 1 / 40,
        "finest_element": 8000 / 1600,
        "coarsest_element": 8000 / 1600,
    }.items():
        assert float(found[name]) == pytest.approx(value, rel=1e-9, abs=1e-9), name
    np.testing.assert_allclose(found["corner_angle"], 90, atol=1e-9)
    # An element 5 mm wide at 20 m, right in front: nowhere does it look larger. The nearest point is off by at most
    # 0.32 m in 20 m, which is 1.3e-4 of the distance.
    assert float(found["pixels_per_degree"]) == pytest.approx(np.radians(1) * 20 / 0.005, rel=3e-4)
    assert bool(found["feasible"])


@pytest.mark.analytic
@pytest.mark.parametrize("panned", [False, True])
def test_corners_of_a_tilted_or_panned_picture_are_those_of_a_trapezoid_worked_out_by_hand(wall, panned):
    # The lens 4 m off the middle, 6 m away, without shift, zoom fixed at 1:1: a picture 1 x 0.625 at unit depth.
    facade = wall(2, 2)
    position = (-4.0, 1.0, 6.0) if panned else (0.0, -3.0, 6.0)
    found = one(facade, Lens(throw_ratio=(1, 1)), position, limits=Limits(reached=None))
    angle = np.arctan(4 / 6)
    assert float(found["pan" if panned else "tilt"]) == pytest.approx(np.degrees(angle), rel=1e-12)
    assert float(found["tilt" if panned else "pan"]) == pytest.approx(0, abs=1e-12)
    along, across = (0.5, 0.3125) if panned else (0.3125, 0.5)
    far, near = (6 * np.tan(angle + sign * np.arctan(along)) for sign in (1, -1))
    # Half the length of each parallel side: across, over the share of the ray that goes straight to the wall.
    wide, narrow = (6 * across / (np.cos(angle) - sign * along * np.sin(angle)) for sign in (1, -1))
    slant = np.degrees(np.arctan((wide - narrow) / (far - near)))
    blunt, sharp = 90 + slant, 90 - slant
    # bottom left, bottom right, top right, top left; the far side is the long one and has the sharp angles.
    expected = [blunt, sharp, sharp, blunt] if panned else [blunt, blunt, sharp, sharp]
    np.testing.assert_allclose(found["corner_angle"], expected, rtol=1e-12)
    assert float(found["keystone"]) == pytest.approx(slant, rel=1e-9)
    # The target, 2 m along the slope, is deeper at one end.
    assert float(found["depth_range"]) == pytest.approx(2 * np.sin(angle), rel=1e-12)


@pytest.mark.analytic
def test_what_the_shift_reaches_is_not_tilted_and_what_is_left_is(wall):
    facade = wall(4, 2)
    lens = Lens(throw_ratio=(1, 1), shift_up=(0, 0.5))
    # 8 m away the picture is 5 m high, so the shift reaches 2.5 m up.
    near, far = (one(facade, lens, (0, 1 - up, 8)) for up in (2.4, 3.5))
    assert float(near["tilt"]) == pytest.approx(0, abs=1e-12)
    assert float(near["shift_up"]) == pytest.approx(2.4 / 5, rel=1e-12)
    assert float(far["shift_up"]) == pytest.approx(0.5, rel=1e-12)
    assert float(far["tilt"]) == pytest.approx(np.degrees(np.arctan(3.5 / 8) - np.arctan(2.5 / 8)), rel=1e-12)
    assert float(far["pan"]) == pytest.approx(0, abs=1e-12)
    # Off to the side, without shift across: turned, and shifted up by 2.4 m at 10 m without any tilt.
    aside = one(facade, lens, (6, 1 - 2.4, 8))
    assert float(aside["pan"]) == pytest.approx(-np.degrees(np.arctan(6 / 8)), rel=1e-12)
    assert float(aside["tilt"]) == pytest.approx(0, abs=1e-12)
    assert float(aside["shift_up"]) == pytest.approx(0.24 / 0.625, rel=1e-12)
    # With shift across too, the picture 5 m high at 8 m: a tilt is left, and no turn.
    both = one(facade, Lens(throw_ratio=(1, 1), shift_across=(-1, 1), shift_up=(0, 0.5)), (2, 1 - 3.5, 8))
    assert float(both["pan"]) == pytest.approx(0, abs=1e-12)
    assert float(both["tilt"]) == pytest.approx(float(far["tilt"]), rel=1e-12)
    assert -2 / 8 < float(both["shift_across"]) < 0


@pytest.mark.property
@settings(max_examples=12)
@given(
    st.lists(st.floats(-6, 6), min_size=3, max_size=3),
    st.tuples(st.floats(-0.4, 0.0), st.floats(0.0, 0.4)),
    st.tuples(st.floats(-0.4, 0.3), st.floats(0.3, 0.6)),
    st.floats(0.6, 1.5),
)
def test_the_picture_centre_hits_the_middle_and_the_zoom_is_the_longest_that_covers(place, across, up, long):
    facade = bay_wall()
    position = (place[0], place[1] + 2, place[2] + 9)
    lens = Lens(throw_ratio=(0.4, long), shift_across=across, shift_up=up)
    places = evaluate(facade, MACHINE, lens, [position], points=20)
    projector, placement = placement_of(MACHINE, places, 0)
    centre = kit.Beam.of(projector, placement).on((0, 2.5, 0))
    # Closed form: rounding only.
    assert [centre.across, centre.up] == pytest.approx([0, 0], abs=1e-9)
    assert across[0] - 1e-12 <= projector.lens_shift[0] <= across[1] + 1e-12
    assert up[0] - 1e-12 <= projector.lens_shift[1] <= up[1] + 1e-12
    corners = np.array([corner for patch in facade.patches for corner in patch.outline])

    def covers(lens):
        pair = placement_of(MACHINE, evaluate(facade, MACHINE, lens, [position], points=20), 0)
        return kit.Beam.of(*pair).on(corners).inside(1e-9).all()

    ratio = projector.throw_ratio
    if ratio > 0.4:
        assert covers(Lens(throw_ratio=(ratio, ratio), shift_across=across, shift_up=up))
        assert float(places["reached_share"][0]) == pytest.approx(1, abs=1e-12)
    # A little longer, or at three places further on: not covered any more.
    for longer in [ratio * 1.001, *np.linspace(ratio, long, 4)[1:]]:
        if ratio > 0.4 and ratio * 1.0005 < longer < long:
            assert not covers(Lens(throw_ratio=(longer, longer), shift_across=across, shift_up=up))


@pytest.mark.analytic
@pytest.mark.parametrize("house", ["brick two-storey", "framed"])
def test_illuminance_and_shares_are_those_of_light_map_on_the_same_points(brick, house):
    facade = brick if house == "brick two-storey" else framed()
    machine = kit.Projector(light_output=8000, throw_ratio=1.0, zones=ZONES)
    lens = Lens(throw_ratio=(0.7, 1.3), shift_across=(-0.1, 0.1), shift_up=(0, 0.3))
    # Odd numbers, so that no shadow's edge runs through a point, where rounding would decide.
    positions = [(0.07, 0.5, 9.03), (-6, 1.4, 12.1), (5, 0.3, 18.3), (3, 6, 15.1), (0.1, 0.5, 20), (-9, 0.1, 8.1)]
    places = evaluate(facade, machine, lens, positions, points=4000)
    shapes = exposed(facade)
    areas = np.array([shapes[p.name].area if p.faces_audience else 0.0 for p in facade.patches])
    judged = np.array([p.judged and p.faces_audience for p in facade.patches])
    spacing = float(np.sqrt(areas[judged].sum() / 4000))
    for i in range(len(positions)):
        pair = placement_of(machine, places, i)
        cast = cast_light(facade, (pair,), facade.bounds, spacing)
        at = cast.raster.at(np.append(judged, False)[cast.raster.patch])
        count = np.bincount(at.patch, minlength=len(areas))
        # At this spacing no patch slips between the points, so both look at the same ones.
        assert (count[judged & (areas > 0)] > 0).all()
        light = cast.units[0][np.append(judged, False)[cast.raster.patch]]
        weight = (areas / np.maximum(count, 1))[at.patch]
        reached = kit.Beam.of(*pair).on(at.position).inside()
        lit = light > 0
        found = places.isel(candidate=i)
        # E1 h / d^3 on the same points; shadows by polygons there and by segments here. Rounding only.
        assert float(found["illuminance_median"]) == pytest.approx(np.median(light[lit]), rel=1e-9)
        assert float(found["illuminance_lowest"]) == pytest.approx(light[lit].min(), rel=1e-9)
        part = weight[reached].sum() / weight.sum()
        assert float(found["reached_share"]) == pytest.approx(part, abs=1e-3)
        assert float(found["blocked_share"]) == pytest.approx(1 - weight[lit].sum() / weight[reached].sum(), abs=1e-9)
        assert float(found["flux_share"]) == pytest.approx((light * weight / at.normal[:, 2]).sum(), rel=1e-9)
    assert places["blocked_share"].max() > 0.1
    assert house == "framed" or places["reached_share"].min() < 0.95


@pytest.mark.analytic
def test_many_places_at_once_give_what_each_gives_alone(brick):
    tree = Obstacle(name="tree", area=[(-3, 4), (-1, 4), (-2, 4.5), (-1, 6), (-3, 6)], heights=(0, 5))
    walk = Obstacle(name="walk", area=[(-9, 6), (9, 6), (9, 7), (-9, 7)], heights=(0, 1.8), blocks=False)
    lens = Lens(throw_ratio=(0.7, 1.3), shift_up=(0, 0.3))
    positions = candidates([LAWN], 1500, brick)
    more = {"obstacles": [tree, walk], "audience": (2, 1.6, 15), "points": 150}
    places = evaluate(brick, MACHINE, lens, positions, **more)
    for i in (0, 3, 700, 1111, 1499):
        alone = evaluate(brick, MACHINE, lens, positions[[i]], **more)
        for name, values in alone.items():
            # Rounding only: products of matrices of other sizes.
            np.testing.assert_allclose(places[name][i], values[0], rtol=1e-9, atol=1e-9, err_msg=name)
    assert places["blocked_share"].std() > 0.01
    assert places["people_share"].std() > 0.01


@pytest.mark.analytic
def test_a_machine_that_stands_as_evaluated_has_the_figures_that_were_evaluated(brick):
    tree = Obstacle(name="tree", area=[(-3, 4), (-1, 4), (-2, 6)], heights=(0, 5))
    walk = Obstacle(name="walk", area=[(-9, 6), (9, 6), (9, 7), (-9, 7)], heights=(0, 1.8), blocks=False)
    more = {"obstacles": [tree, walk], "audience": (2, 1.6, 15), "target": ["main wall", "bay"], "points": 150}
    lens = Lens(throw_ratio=(0.7, 1.3), shift_up=(0, 0.3), shift_across=(-0.1, 0.1))
    places = evaluate(brick, MACHINE, lens, [(3, 0.5, 12), (-6, 4, 9)], **more)
    for i in range(2):
        found = describe(brick, *placement_of(MACHINE, places, i), **more)
        beyond = {name for name in places if name.startswith("fails_")} | {"feasible", "delivered_light"}
        assert set(places) - set(found) == beyond
        for name, values in found.items():
            # Rounding only.
            np.testing.assert_allclose(values, places[name][i], rtol=1e-9, atol=1e-9, err_msg=name)


@pytest.mark.analytic
def test_a_machine_turned_about_its_axis_or_away_from_the_wall(wall):
    machine = kit.Projector(light_output=1, throw_ratio=1.0, resolution=(1600, 1000))
    upright, rolled, high = (
        describe(wall(4, 4), machine, kit.Placement(position=(0, 2, 8), aim=aim, roll=roll), points=400)
        for aim, roll in [((0, 2, 0), 0), ((0, 2, 0), 90), ((0, 12, 0), 0)]
    )
    # 8 m x 5 m upright, 5 m x 8 m rolled: the wall of 4 m x 4 m fits either way, square.
    for found in (upright, rolled):
        assert float(found["keystone"]) == pytest.approx(0, abs=1e-9)
        assert float(found["reached_share"]) == 1
        assert float(found["pixel_share"]) == pytest.approx(16 / 40, rel=1e-12)
        assert float(found["illuminance_median"]) == pytest.approx(1 / 40, rel=1e-12)
    assert float(high["tilt"]) == pytest.approx(np.degrees(np.arctan(10 / 8)), rel=1e-12)
    assert float(high["reached_share"]) == float(high["illuminance_median"]) == 0
    # Rays 51.3 + 17.4 degrees up still meet the wall's plane; a shorter lens sends its upper ones past it.
    assert np.isfinite(high["keystone"])
    wide = kit.Projector(light_output=1, throw_ratio=0.3, resolution=(1600, 1000))
    past = describe(wall(4, 4), wide, kit.Placement(position=(0, 2, 8), aim=(0, 12, 0)))
    assert float(past["keystone"]) == np.inf
    assert np.isnan(past["corner_angle"]).any()
    with pytest.raises(kit.InputError, match="position"):
        describe(wall(4, 4), machine, kit.Placement(position=(0, 2, -8), aim=(0, 2, 0)))
    with pytest.raises(kit.InputError, match="throw_ratio"):
        describe(
            wall(4, 4),
            kit.Projector(light_output=1, throw_ratio=(1, 2)),
            kit.Placement(position=(0, 2, 8), aim=(0, 2, 0)),
        )


@pytest.mark.analytic
@pytest.mark.parametrize("house", ["brick_two_storey", "light_bungalow"])
def test_the_share_of_light_on_judged_parts_is_that_of_a_fine_map_within_what_the_points_resolve(house):
    facade = kit.load_house(HOUSES / f"{house}.toml")
    left, right, bottom, top = facade.bounds
    lawn = Stand(name="lawn", area=[(left, 8), (right, 8), (right, 20), (left, 20)], heights=(0.3, 1.5))
    drawn, off = np.random.default_rng(4), []
    for position in candidates([lawn], 25, facade):
        aim = (drawn.uniform(left, right), drawn.uniform(bottom, 0.5 * (bottom + top)), 0.0)
        machine = kit.Projector(
            light_output=1, throw_ratio=drawn.uniform(0.7, 1.6), lens_shift=(0, drawn.uniform(0, 0.5))
        )
        pair = machine, kit.Placement(position=tuple(position), aim=aim)
        light = kit.light_map(kit.Scene(facade=facade, projectors=[pair]), 0.02)
        exact = float(light["picture_share"].sel(projector=0).where(light["judged"]).sum())
        off.append([float(describe(facade, *pair, points=n)["flux_share"]) - exact for n in (200, 1000)])
    # 200 points lie 0.65 m apart. Along an edge of the light of 10 m, in a picture of 10 m x 6 m, half of that is 0.05
    # of the light; now and then the edge of a shadow and two of the picture run along rows at once.
    for (few, bound), errors in zip(((0.05, 0.17), (0.013, 0.045)), np.transpose(off), strict=True):
        assert np.sqrt(np.mean(errors**2)) < few
        assert np.abs(errors).max() < bound


@pytest.mark.analytic
def test_no_more_light_lands_than_there_is(wall):
    """A picture wholly on the wall: points that happen to lie dense in it make no light."""
    beams = [
        describe(wall(8, 5), MACHINE, kit.Placement(position=(x, 1.6, 3), aim=(x, 1.6, 0)), points=20)
        for x in np.linspace(-1, 1, 9)
    ]
    shares = [float(found["flux_share"]) for found in beams]
    assert max(shares) == 1.0
    assert min(shares) > 0.5


@pytest.mark.analytic
def test_light_at_a_tilted_and_turned_machine_is_that_of_the_wall_formula(wall):
    facade = wall(8, 5)
    places = evaluate(facade, MACHINE, PLAIN, [(3, -1, 7), (-5, 4, 8)], points=1000)
    for i in range(2):
        pair = placement_of(MACHINE, places, i)
        x, y = (part.ravel() for part in np.meshgrid(np.arange(-3.9, 4, 0.2), np.arange(0.1, 5, 0.2)))
        at = np.stack([x, y, 0 * x], axis=1)
        beam = kit.Beam.of(*pair)
        light = beam.illuminance(at, (0, 0, 1))
        position = np.array(places["position"][i])
        forward, _, _ = pair[1].frame()
        # By hand: E1 h / d^3.
        np.testing.assert_allclose(light, beam.unit_illuminance * position[2] / ((at - position) @ forward) ** 3)
        assert float(places["illuminance_median"][i]) == pytest.approx(np.median(light), rel=1e-9)
        assert float(places["illuminance_lowest"][i]) == pytest.approx(light.min(), rel=1e-9)


@pytest.mark.analytic
def test_picture_elements_are_those_of_the_map_from_picture_to_wall_by_differences(wall):
    eye = np.array([1.0, 1.6, 12.0])
    places = evaluate(wall(8, 5), MACHINE, PLAIN, [(3, -1, 7), (-5, 4, 8)], points=1000, audience=eye)
    x, y = (part.ravel() for part in np.meshgrid(np.arange(-3.9, 4, 0.2), np.arange(0.1, 5, 0.2)))
    # The corners count for the size on the wall, and not for what is seen of it.
    x, y, sample = np.append(x, [-4, 4, 4, -4]), np.append(y, [0, 0, 5, 5]), np.s_[: len(x)]
    h = 1e-4
    for i in range(2):
        pair = placement_of(MACHINE, places, i)

        def raster(dx, dy, pair=pair):
            landing = kit.Beam.of(*pair).on(np.stack([x + dx, y + dy, 0 * x], axis=1))
            return np.stack([landing.column, -landing.row], axis=1)

        columns = [(raster(h, 0) - raster(-h, 0)) / (2 * h), (raster(0, h) - raster(0, -h)) / (2 * h)]
        element = np.linalg.inv(np.stack(columns, axis=2))  # metres of wall by element
        sizes = np.linalg.svd(element, compute_uv=False) * 1000
        # Central differences: the error is of the order of (h / distance)^2, here below 1e-8.
        assert float(places["coarsest_element"][i]) == pytest.approx(sizes[:, 0].max(), rel=1e-6)
        assert float(places["finest_element"][i]) == pytest.approx(sizes[:, 1].min(), rel=1e-6)
        view = np.stack([x, y, 0 * x], axis=1) - eye
        distance = np.linalg.norm(view, axis=1)
        view /= distance[:, None]
        flat = np.concatenate([element, np.zeros((len(x), 1, 2))], axis=1)
        turned = (flat - view[:, :, None] * np.einsum("nk,nkj->nj", view, flat)[:, None]) / distance[:, None, None]
        widest = np.degrees(np.linalg.svd(turned, compute_uv=False)[sample, 0].max())
        assert float(places["pixels_per_degree"][i]) == pytest.approx(1 / widest, rel=1e-6)


@pytest.mark.analytic
def test_the_finest_element_of_a_narrow_board_is_at_its_near_end():
    """A board of 8 m x 4 cm, 0.6 m before the wall, has few points of a sparse sample, or one, in its middle."""
    plain = kit.Surface(name="plain", reflectance=0.5)
    wall = kit.Patch("wall", [(-4, 0), (4, 0), (4, 5), (-4, 5)], plain)
    board = kit.Patch("board", [(-4, 3, 0.6), (4, 3, 0.6), (4, 3.04, 0.6), (-4, 3.04, 0.6)], plain)
    machine = kit.Projector(light_output=4000, throw_ratio=0.45, resolution=(1600, 1000))
    place = kit.Placement(position=(3.5, 2.5, 6.0), aim=(0.0, 2.5, 0.0))
    few, many = (describe(kit.Facade([wall, board]), machine, place, points=points) for points in (20, 1e5))
    for name in ("finest_element", "coarsest_element"):
        assert float(few[name]) == pytest.approx(float(many[name]), rel=1e-6)
    # By hand, at the board's right end, 5.4 m before the lens and 0.5 m beside it, and so turned from the axis by that
    # angle and the pan: across, an element of 1 / (0.45 x 1600) covers cos^2 of the turn, and the board's depth over
    # cos^2 of its slant. Up and down the place is half a metre off the axis, which is left out.
    slant, pan = np.arctan(0.5 / 5.4), np.arctan(3.5 / 6.0)
    across = 5.4 * np.cos(slant + pan) ** 2 / np.cos(slant) ** 2 / (0.45 * 1600)
    assert float(few["finest_element"]) == pytest.approx(1e3 * across, rel=0.02)


@pytest.mark.analytic
def test_pixel_share_is_the_quadrangle_in_the_picture_cut_at_its_edges(wall):
    # 4 m x 2.5 m in the middle of a picture of 8 m x 5 m: a quarter. Of a wall four times the picture: all of it.
    lens = Lens(throw_ratio=(1, 1))
    small = one(wall(4, 2.5), lens, (0, 1.25, 8))
    large = one(wall(16, 10), lens, (0, 5, 8))
    assert float(small["pixel_share"]) == pytest.approx(0.25, rel=1e-12)
    assert float(large["pixel_share"]) == pytest.approx(1, rel=1e-12)
    assert bool(small["feasible"])
    assert bool(large["fails_reached"])
    # Wider than the picture, half as high.
    assert float(one(wall(16, 2.5), lens, (0, 1.25, 8))["pixel_share"]) == pytest.approx(0.5, rel=1e-12)


@pytest.mark.analytic
def test_a_box_throws_the_shadow_that_similar_triangles_give(wall):
    # Lens 1 m up, 8 m off. Box 1 m wide, 2 m high, from 2 m to 3 m off the wall: its near face makes the shadow,
    # 8/5 as large: 1.6 m wide, up to 1 + 1.6 = 2.6 m. Its edges fall on edges of the raster of 0.2 m.
    box = Obstacle(name="box", area=[(-0.5, 2), (0.5, 2), (0.5, 3), (-0.5, 3)], heights=(0, 2))
    found = one(wall(8, 5), WIDE, (0, 1, 8), obstacles=[box], points=1000)
    assert float(found["blocked_share"]) == pytest.approx(1.6 * 2.6 / 40, rel=1e-12)
    assert float(found["flux_share"]) == pytest.approx(1 - 1.6 * 2.6 / 40, rel=1e-9)
    # Behind the lens, or beside the beam, it throws none.
    for shift in [(0, 8), (12, 0)]:
        moved = Obstacle(name="box", area=[(x + shift[0], z + shift[1]) for x, z in box.area], heights=(0, 2))
        assert float(one(wall(8, 5), WIDE, (0, 1, 8), obstacles=[moved])["blocked_share"]) == 0


@pytest.mark.analytic
def test_the_notch_of_a_plan_that_is_not_convex_lets_light_through(wall):
    # A U, open to the wall, 3.4 m high; the lens looks over it from 5 m up.
    outer = [(-2, 2), (2, 2), (2, 4), (-2, 4)]
    notched = [(-2, 2), (-1, 2), (-1, 3.9), (1, 3.9), (1, 2), (2, 2), (2, 4), (-2, 4)]
    things = [[Obstacle(name="thing", area=area, heights=(0, 3.4))] for area in (notched, outer)]
    found = [one(wall(8, 5), WIDE, (0, 5, 8), points=1000, obstacles=thing) for thing in things]
    u, box = (float(places["blocked_share"]) for places in found)
    x, y = (part.ravel() for part in np.meshgrid(np.arange(-3.9, 4, 0.2), np.arange(0.1, 5, 0.2)))
    # By marching along each segment from wall to lens.
    s = np.linspace(0, 1, 4001)[:, None]
    xs, ys, zs = x * (1 - s), y + (5 - y) * s, 8 * s
    in_box = (np.abs(xs) <= 2) & (zs >= 2) & (zs <= 4) & (ys <= 3.4)
    in_notch = (np.abs(xs) < 1) & (zs < 3.9)
    # No point's segment only grazes a corner, so the steps of 2 mm miss none.
    assert box == pytest.approx(in_box.any(axis=0).mean(), rel=1e-9)
    assert u == pytest.approx((in_box & ~in_notch).any(axis=0).mean(), rel=1e-9)
    assert 0 < u < box


@pytest.mark.analytic
def test_share_of_the_beam_that_meets_people(wall):
    # People 1.8 m tall from 2 m to 4 m off the wall, along all of it; lens 0.5 m up, 8 m off: what lands below
    # 0.5 + 1.3 x 2 = 3.1 m of 5 m has passed through them. Rays lie 0.5 m apart in height, so half a row may be off.
    walk = Obstacle(name="walk", area=[(-9, 2), (9, 2), (9, 4), (-9, 4)], heights=(0, 1.8), blocks=False)
    found = one(wall(8, 5), WIDE, (0, 0.5, 8), obstacles=[walk])
    assert float(found["people_share"]) == pytest.approx(3.1 / 5, abs=0.05)
    assert float(found["blocked_share"]) == 0
    # Behind the lens they meet nothing.
    behind = Obstacle(name="walk", area=[(-9, 9), (9, 9), (9, 11), (-9, 11)], heights=(0, 1.8), blocks=False)
    assert float(one(wall(8, 5), WIDE, (0, 0.5, 8), obstacles=[behind])["people_share"]) == 0


@pytest.mark.analytic
def test_an_obstacle_over_everything_leaves_no_light(wall):
    box = Obstacle(name="tarpaulin", area=[(-20, 3), (20, 3), (20, 4), (-20, 4)], heights=(0, 50))
    found = one(wall(), WIDE, (0, 1, 8), obstacles=[box], limits=Limits(blocked=0.5))
    assert float(found["blocked_share"]) == 1
    assert float(found["illuminance_median"]) == float(found["flux_share"]) == 0
    assert np.isnan(found["coarsest_element"])
    assert bool(found["fails_blocked"])
    assert not bool(found["feasible"])


@pytest.mark.analytic
def test_a_target_narrows_what_is_covered_and_the_light_still_counts_on_the_whole_front():
    facade = bay_wall()
    bay = one(facade, WIDE, (0, 1, 9), target=["bay"])
    # The bay, 2 m x 3 m, stands 1 m off the wall and 8 m from the lens: a picture of 4.8 m x 3 m there.
    assert float(bay["throw_ratio"]) == pytest.approx(8 / 4.8, rel=1e-11)
    assert float(bay["pixel_share"]) == pytest.approx(2 / 4.8, rel=1e-9)
    assert float(bay["illuminance_median"]) == pytest.approx(1 / (4.8 * 3), rel=1e-9)
    # What passes the bay lands on the wall and counts; a fine map knows how much. The points of the front lie 0.45 m
    # apart: along the bay's shadow, 6 m, up to half of that times 1/14.4 per m2, half the time: 0.05.
    places = evaluate(facade, MACHINE, WIDE, [(0, 1, 9)], target=["bay"])
    with pytest.raises(kit.InputError, match="attribute zoom"):
        placement_of(MACHINE, places.drop_attrs(), 0)
    pair = placement_of(MACHINE, places, 0)
    fine = cast_light(facade, (pair,), facade.bounds, 0.02).share.sum()
    assert float(bay["flux_share"]) == pytest.approx(fine, abs=0.05)
    assert float(bay["flux_share"]) > 0.6
    # For the whole front the bay's lower edge decides: from 1 m above it and 8 m off it hides the wall's plane 1/8 m
    # below the ground, 2.625 m from the middle, so the picture is 5.25 m x 8.4 m, from 9 m.
    assert float(one(facade, WIDE, (0, 1, 9))["throw_ratio"]) == pytest.approx(9 / 8.4, rel=1e-11)


@pytest.mark.property
@settings(max_examples=12)
@given(st.lists(st.tuples(st.floats(-6, 6), st.floats(0, 5), st.floats(4, 14)), min_size=1, max_size=4))
def test_a_mirrored_front_has_mirrored_figures(positions):
    lens = Lens(throw_ratio=(0.5, 1.2), shift_across=(-0.1, 0.1), shift_up=(0, 0.2))
    tree = [(-3, 3), (-2, 3), (-2, 3.5), (-3, 4)]
    found = [
        evaluate(
            bay_wall(mirror=sign),
            MACHINE,
            lens,
            # Odd numbers, so that no shadow's edge runs through a row of points, where rounding would decide.
            [(sign * (x + 0.0173), y + 0.0311, z + 0.0127) for x, y, z in positions],
            obstacles=[Obstacle(name="tree", area=[(sign * x, z) for x, z in tree], heights=(0, 4))],
            points=1000,
        )
        for sign in (1, -1)
    ]
    # Rounding only; a point at the edge of a shadow may fall to either side: one of 1000.
    for name in ("throw_ratio", "tilt", "keystone", "pixel_share", "depth_range", "reached_share"):
        np.testing.assert_allclose(found[0][name], found[1][name], rtol=1e-7, atol=1e-9, err_msg=name)
    for name in ("pan", "shift_across"):
        np.testing.assert_allclose(found[0][name], -found[1][name], rtol=1e-7, atol=1e-9, err_msg=name)
    np.testing.assert_allclose(found[0]["blocked_share"], found[1]["blocked_share"], atol=2.1e-3)


@pytest.mark.property
@pytest.mark.parametrize("scale", [0.5, 2.0, 3.0])
def test_all_lengths_times_k(scale):
    # Odd numbers, so that no shadow's edge runs through a point, where rounding would decide.
    positions = np.array([(0.03, 1.07, 7.11), (4.13, 2.17, 9.19), (-5.23, 0.59, 6.29)])
    lens = Lens(throw_ratio=(0.5, 1.2), shift_up=(0, 0.3))
    eye = np.array((2.0, 1.6, 12.0))
    tree = np.array([(-3, 3), (-2, 3), (-2, 3.5), (-3, 4)])
    one_, other = (
        evaluate(
            bay_wall(k),
            MACHINE,
            lens,
            k * positions,
            audience=k * eye,
            obstacles=[Obstacle(name="tree", area=(k * tree).tolist(), heights=(0, 4 * k))],
            points=1000,
        )
        for k in (1.0, scale)
    )
    assert float(one_["blocked_share"].max()) > 0.02
    powers = dict.fromkeys(("illuminance_median", "illuminance_lowest"), -2)
    powers |= dict.fromkeys(("finest_element", "coarsest_element", "depth_range"), 1)
    for name in ("tilt", "pan", "throw_ratio", "keystone", "pixel_share", "flux_share", "pixels_per_degree"):
        powers[name] = 0
    for name, power in powers.items():
        # Rounding only.
        np.testing.assert_allclose(other[name], one_[name] * scale**power, rtol=1e-9, atol=1e-9, err_msg=name)


@pytest.mark.practice
def test_a_one_to_one_lens_needs_the_house_width_and_a_short_throw_lens_20_to_30_feet(wall):
    # Common practice, no source: for a house of 60 feet.
    facade = wall(60 * FOOT, 20 * FOOT)
    distances = np.arange(10, 80, 0.25)
    positions = [(0, 1, d * FOOT) for d in distances]

    def least(ratio):
        lens = Lens(throw_ratio=(ratio, ratio), shift_up=(-1, 1))
        return distances[evaluate(facade, MACHINE, lens, positions)["feasible"].values.argmax()]

    assert least(1.0) == 60
    assert 20 <= least(0.4) <= 30


@pytest.mark.analytic
def test_candidates_are_spread_evenly_inside_stands_and_outside_obstacles(wall):
    car = Obstacle(name="car", area=[(-1, 9), (1, 9), (1, 13), (-1, 13)], heights=(0, 1.4))
    roof = Stand(name="shed roof", area=[(9, 4), (11, 4), (9, 6)], heights=(3, 3))
    found = candidates([LAWN, roof], 2000, wall(), obstacles=[car])
    np.testing.assert_array_equal(found, candidates([LAWN, roof], 2000, wall(), obstacles=[car]))
    ground, top = found[:1000], found[1000:]
    assert found.shape == (2000, 3)
    assert (np.abs(ground[:, 0]) <= 8).all()
    assert ((ground[:, 2] >= 8) & (ground[:, 2] <= 20)).all()
    assert ((ground[:, 1] >= 0.3) & (ground[:, 1] <= 1.5)).all()
    in_car = (np.abs(ground[:, 0]) <= 1) & (np.abs(ground[:, 2] - 11) <= 2) & (ground[:, 1] <= 1.4)
    assert not in_car.any()
    assert (top[:, 1] == 3).all()
    assert (top[:, 0] - 9 + top[:, 2] - 4 <= 2 + 1e-9).all()
    # Halves left and right, near and far (less the car, 11/12 of 8 m2 of 192 m2): random points would scatter by 16.
    assert (ground[:, 0] < 0).sum() == pytest.approx(500, abs=6)
    car_share = 2 * 4 * 1.1 / 1.2
    near = (96 - car_share) / (192 - car_share)  # the car stands wholly in the near half
    assert (ground[:, 2] < 14).sum() == pytest.approx(1000 * near, abs=6)


@pytest.mark.analytic
@pytest.mark.parametrize("objective", ["illuminance", "sharpness", "keystone", "pixels", "mine"])
def test_the_optimiser_is_never_worse_than_the_best_candidate_and_always_the_same(objective):
    facade, lens = bay_wall(), Lens(throw_ratio=(0.8, 1.6), shift_up=(0, 0.4), tilt=(-20, 20), pan=(-20, 20))
    limits = Limits(keystone=8, blocked=0.2)
    worth = {
        "illuminance": lambda d: d["illuminance_median"],
        "sharpness": lambda d: -d["coarsest_element"],
        "keystone": lambda d: -d["keystone"],
        "pixels": lambda d: d["pixel_share"],
        "mine": lambda d: d["flux_share"] - 0.01 * d["keystone"],
    }[objective]
    given_ = worth if objective == "mine" else objective
    first = search(facade, MACHINE, lens, [LAWN], objective=given_, limits=limits, count=150, points=60)
    if objective == "illuminance":
        second = search(facade, MACHINE, lens, [LAWN], objective=given_, limits=limits, count=150, points=60)
        assert first.places.identical(second.places)
        assert first.index == second.index
    start = evaluate(facade, MACHINE, lens, candidates([LAWN], 150, facade), limits=limits, points=60)
    at_start = worth(start).values[start["feasible"].values].max()
    assert bool(first.best["feasible"])
    assert float(worth(first.best)) >= at_start
    # 150 places lie about 1 m apart, so there is something to gain.
    if objective != "keystone":
        assert float(worth(first.best)) > at_start
    x, y, z = first.best["position"].values
    assert -8 <= x <= 8
    assert 0.3 <= y <= 1.5
    assert 8 <= z <= 20


@pytest.mark.analytic
def test_search_finds_the_place_that_can_be_worked_out(wall):
    # A 1:1 lens without tilt and turn in front of 8 m x 5 m: 8 m away, in line, half-way up, and nowhere nearer.
    lens = Lens(throw_ratio=(1, 1), shift_up=(0, 0.5), shift_across=(-0.5, 0.5), tilt=(0, 0), pan=(0, 0))
    stand = Stand(name="drive", area=[(-3, 6), (3, 6), (3, 14), (-3, 14)], heights=(1, 1))
    found = search(wall(8, 5), MACHINE, lens, [stand], count=200, points=60)
    # The optimiser stops within a centimetre.
    assert float(found.best["position"][2]) == pytest.approx(8, abs=0.01)
    assert float(found.best["illuminance_median"]) == pytest.approx(1 / 40, rel=3e-3)
    assert float(found.best["pixel_share"]) == pytest.approx(1, rel=3e-3)
    assert found.best["stand"] == "drive"


@pytest.mark.property
def test_no_place_beats_one_of_the_pareto_set():
    lens = Lens(throw_ratio=(0.8, 1.6), shift_up=(0, 0.2))
    found = search(bay_wall(), MACHINE, lens, [LAWN], count=200, points=60)
    costs = np.stack(
        [-found.places["illuminance_median"], found.places["coarsest_element"], found.places["keystone"]], axis=1
    )
    good = found.places["feasible"].values
    for i in range(len(costs)):
        better = (costs <= costs[i]).all(axis=1) & (costs < costs[i]).any(axis=1) & good
        assert (i in found.pareto) == (good[i] and not better.any()), i
    assert len(found.pareto) > 1


@pytest.mark.analytic
def test_frame_and_sentence_speak_the_units_that_are_asked_for():
    found = search(bay_wall(), MACHINE, WIDE, [LAWN], count=100, points=60)
    assert isinstance(found, Search)
    x, y, z = found.best["position"].values
    element = float(found.best["coarsest_element"])
    for unit, metre, small, inch in (("m", 1.0, "mm", 1.0), ("ft", FOOT, "in", 25.4)):
        assert f"{z / metre:.1f} {unit} from the wall" in found.sentence(unit)
        frame = found.frame(unit)
        assert frame.index.tolist() == ["lawn"] * len(frame)
        assert len(frame) <= 8
        where = [f"{name} [{unit}]" for name in ("to the right", "up", "off the wall")]
        np.testing.assert_allclose(frame[where].iloc[0], np.array((x, y, z)) / metre, rtol=1e-12)
        assert frame[f"largest pixel [{small}]"].iloc[0] == pytest.approx(element / inch, rel=1e-12)
        assert f"{z / metre:.1f}" in found.text(unit).splitlines()[3]
    assert len(found.frame(rows=3)) == 3
    # All of the set, and nothing twice.
    best = found.frame(rows=10_000)
    assert len(best) == len(set(found.pareto) | {found.index})
    lux = 8000 * float(found.best["illuminance_median"])
    assert best["illuminance [lx]"].iloc[0] == pytest.approx(lux, rel=1e-12)
    assert f"8,000 lumens on the wall give {lux:.0f} lx" in found.sentence()
    projector, placement = found.placement
    light = kit.light_map(kit.Scene(facade=bay_wall(), projectors=[(projector, placement)]), 0.1)["illuminance"].values
    # A fine map against 60 points of a light that varies little.
    assert np.median(light[light > 0]) == pytest.approx(lux, rel=0.05)
    with pytest.raises(kit.InputError, match="units"):
        found.frame("yd")


CAR = Obstacle(name="car", area=[(-6, 3), (6, 3), (6, 5), (-6, 5)], heights=(0, 2))
WALK = Obstacle(name="walk", area=[(-9, 2), (9, 2), (9, 4), (-9, 4)], heights=(0, 1.8), blocks=False)


@pytest.mark.analytic
def test_the_light_of_a_zoom_falls_as_the_machine_moves_away(wall):
    """The rows for a zoom's ends, 1.0 and 0.79, decide; without them all places in the zoom give alike."""
    lens, positions = Lens(throw_ratio=(1.75, 3.0)), [(0.0, 2.5, z) for z in (14.0, 19.0, 24.0)]
    zoom = replace(kit.typical_projector(8000, (1.75, 3.0), resolution=(1600, 1000)), zones=None)
    found = evaluate(wall(8, 5), zoom, lens, positions)
    np.testing.assert_allclose(found["throw_ratio"], [1.75, 2.375, 3.0], rtol=1e-9)
    np.testing.assert_allclose(found["illuminance_median"], 1 / 40, rtol=1e-9)
    # Wide end, middle and long end, over the middle that the chain has before the zoom is set.
    light = found["delivered_light"].values
    np.testing.assert_allclose(light, zoom.delivered()[1] * np.array([1.0, 0.92, 0.79]) / 0.92, rtol=1e-9)
    for i, lumens in enumerate(light):
        assert placement_of(zoom, found, i)[0].delivered()[1] == pytest.approx(lumens, rel=1e-12)
    stand = Stand(name="lawn", area=[(-0.1, 14), (0.1, 14), (0.1, 24), (-0.1, 24)], heights=(2.45, 2.55))
    best = search(wall(8, 5), zoom, lens, [stand], count=100, points=60).best
    assert float(best["position"][2]) < 14.2
    # A lens that cannot be shifted without loss: half a picture up costs 3%.
    low = evaluate(wall(8, 5), zoom, Lens(throw_ratio=(1.75, 3.0), shift_up=(0.0, 0.5)), [(0.0, 0.0, 14.0)])
    assert float(low["shift_up"][0]) == pytest.approx(0.5, rel=1e-6)
    assert float(low["delivered_light"][0]) == pytest.approx(0.97 * light[0], rel=1e-6)
    # Of two places that are alike but for the shift, the one without is the best for light, and both are told.
    plain, shifted = (
        search(wall(8, 5), zoom, Lens(throw_ratio=(1.75, 3.0), shift_up=(0.0, 0.5)),
               [kit.Stand(name="post", area=((-0.1, 14), (0.1, 14), (0.1, 14.1), (-0.1, 14.1)), heights=heights)],
               count=20, points=60)
        for heights in ((0.0, 2.5), (0.0, 0.1))
    )  # fmt: skip
    assert float(plain.best["shift_up"]) < 0.02
    assert "(its zoom leaves nearly all, its shift nearly all there)" in plain.sentence()
    assert "(its zoom leaves nearly all, its shift 97% there)" in shifted.sentence()


def test_a_place_is_told_from_the_middle_of_the_front():
    siding = kit.Surface.from_reference("white siding")  # x counts from the left corner
    bungalow = kit.Facade([kit.Patch("wall", [(0, 0), (10.5, 0), (10.5, 3.1), (0, 3.1)], siding)])
    stand = Stand(name="lawn", area=[(7.2, 10), (7.3, 10), (7.3, 10.1), (7.2, 10.1)], heights=(1.0, 1.1))
    found = search(bungalow, MACHINE, WIDE, [stand], limits=Limits(reached=0.9), count=20, points=60)
    assert "2.0 m to the right of the middle of the front" in found.sentence()
    assert found.frame()["to the right [m]"].iloc[0] == pytest.approx(2.0, abs=0.06)


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("name", "lens", "limits", "obstacles"),
    [
        ("tilt", Lens(throw_ratio=(0.5, 2), tilt=(0, 1)), Limits(), []),
        ("pan", Lens(throw_ratio=(0.5, 2), pan=(60, 70)), Limits(), []),
        ("reached", Lens(throw_ratio=(3, 4)), Limits(), []),
        ("keystone", Lens(throw_ratio=(0.5, 2)), Limits(keystone=0.2), []),
        ("blocked", WIDE, Limits(blocked=0.01), [CAR]),
        ("focus_depth", WIDE, Limits(focus_depth=0.5), []),
        ("people", WIDE, Limits(people=0.05), [WALK]),
    ],
)
def test_no_place_names_the_limit_that_binds_and_by_how_much(name, lens, limits, obstacles):
    facade = bay_wall()
    with pytest.raises(kit.InputError) as caught:
        search(facade, MACHINE, lens, [LAWN], limits=limits, obstacles=obstacles, count=100, points=60)
    error = caught.value
    assert error.field == f"limits: {name}"
    assert "without this limit alone 100 of 100 places would do" in error.right
    # The value is the best of the candidates, and the miss is its distance from the limit.
    places = evaluate(
        facade,
        MACHINE,
        lens,
        candidates([LAWN], 100, facade, obstacles=obstacles),
        limits=limits,
        obstacles=obstacles,
        points=60,
    )
    assert places[f"fails_{name}"].all()
    variable = {"reached": "reached_share", "blocked": "blocked_share", "people": "people_share"}.get(name, name)
    values = places["depth_range" if name == "focus_depth" else variable].values
    nearest = values.max() if name in ("reached", "pan") else values.min()
    limit = {"tilt": 1, "pan": 60, "reached": 1, "keystone": 0.2, "blocked": 0.01, "focus_depth": 0.5, "people": 0.05}
    unit, size = {"focus_depth": (" m", 1)}.get(name, ("%", 100) if variable.endswith("share") else (" degrees", 1))
    assert f"{short(size * nearest, 3)}{unit}" in error.value
    assert f"{size * limit[name]:g}{unit}" in error.right
    assert f"(off by {short(size * abs(nearest - limit[name]), 3)}{unit})" in error.right


@pytest.mark.bad_input
def test_where_no_single_limit_binds_the_two_that_fail_most_are_named():
    lens = Lens(throw_ratio=(3, 4))
    with pytest.raises(kit.InputError, match="without any single limit either") as caught:
        search(bay_wall(), MACHINE, lens, [LAWN], limits=Limits(focus_depth=0.1), count=50, points=60)
    assert caught.value.field == "limits: reached and focus_depth"
    assert " of the target in the picture and " in caught.value.value
    assert "100% or more (off by " in caught.value.right
    assert "0.1 m or less (off by " in caught.value.right
    # All of it is shown.
    assert "..." not in str(caught.value)
    with pytest.raises(kit.InputError) as feet:
        search(bay_wall(), MACHINE, lens, [LAWN], limits=Limits(focus_depth=0.1), count=50, points=60, units="ft")
    # 0.1 m is 0.3281 ft.
    assert "0.3281 ft or less (off by " in feet.value.right
    place = re.compile(r"nearest at \((.*), (.*), (.*)\) (m|ft);")
    metres, lengths = (place.search(error.right).groups() for error in (caught.value, feet.value))
    assert (metres[3], lengths[3]) == ("m", "ft")
    # Both are rounded to a tenth.
    np.testing.assert_allclose([float(v) * FOOT for v in lengths[:3]], [float(v) for v in metres[:3]], atol=0.066)


@pytest.mark.bad_input
def test_stands_from_which_nothing_can_be_aimed_at_are_told():
    """A wing set back: in front of it, and behind the plane of the front that is to be lit."""
    surface = kit.Surface(name="plain", reflectance=0.5)
    front = kit.Patch("front", [(0, 0, 2), (6, 0, 2), (6, 4, 2), (0, 4, 2)], surface)
    wing = kit.Patch("wing", [(-3, 0, 0), (0, 0, 0), (0, 3, 0), (-3, 3, 0)], surface)
    yard = Stand(name="yard", area=[(-2.5, 0.5), (-0.5, 0.5), (-0.5, 1.5)], heights=(0, 1))
    with pytest.raises(kit.InputError, match="stands = 'behind the plane of the target'"):
        search(kit.Facade([front, wing]), MACHINE, WIDE, [yard], count=20, points=60)


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("area", "right"),
    [
        ([(0, 1), (1, 1)], "three or more corners"),
        ("here", "three or more corners"),
        ([(0, 1), (1, 2), (1, 1), (0, 2)], "do not cross"),
        ([(0, 1), (1, 1), (2, 1)], "round an area"),
        ([(0, 1), (1, 1), (1, np.nan)], "a number from -1e+09 to 1e+09 m"),
    ],
)
def test_a_plan_that_is_none(area, right):
    for kind, where in ((Stand, "stand 'a': area"), (Obstacle, "obstacle 'a': area")):
        with pytest.raises(kit.InputError) as caught:
            kind(name="a", area=area, heights=(0, 1))
        assert caught.value.field.startswith(where)
        assert right in caught.value.right


@pytest.mark.bad_input
def test_an_obstacle_has_a_height():
    with pytest.raises(kit.InputError, match=r"obstacle 'a': heights .* a top above the bottom"):
        Obstacle(name="a", area=[(0, 1), (1, 1), (1, 2)], heights=(1, 1))
    assert Stand(name="a", area=[(0, 1), (1, 1), (1, 2)], heights=(1, 1)).box.tolist() == [[0, 1], [1, 1], [1, 2]]


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("area", "heights", "right"),
    [
        ([(-2, -5), (2, -5), (2, -2), (-2, -2)], (0, 1), "behind the wall"),
        ([(-2, -1), (2, -1), (2, 6), (-2, 6)], (0, 1), "behind"),
        ([(1.5, 0.5), (2.5, 0.5), (2.5, 0.9), (1.5, 0.9)], (0, 1), "inside patch 'bay'"),
        # Its corners stand free; the bay cuts into its edge.
        ([(0.5, 0.5), (3.5, 0.5), (3.5, 6), (0.5, 6)], (0, 1), "inside patch 'bay'"),
        ([(-2.5, 0.4), (-1.5, 0.4), (-1.5, 0.6), (-2.5, 0.6)], (2, 3.2), "inside patch 'roof'"),
    ],
)
def test_a_stand_behind_or_inside_the_front(area, heights, right):
    stand = Stand(name="bed", area=area, heights=heights)
    with pytest.raises(kit.InputError, match="stand 'bed': area") as caught:
        candidates([stand], 10, bay_wall())
    assert right in caught.value.right


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("area", "heights"),
    [
        # On the roof over the door, and on the bay's top, against the wall.
        ([(-2.5, 0.2), (-1.5, 0.2), (-1.5, 0.9), (-2.5, 0.9)], (4.1, 4.5)),
        ([(1.5, 0.2), (2.5, 0.2), (2.5, 0.9), (1.5, 0.9)], (3.1, 3.1)),
    ],
)
def test_a_stand_on_top_of_what_protrudes_is_in_front_of_the_house(area, heights):
    assert candidates([Stand(name="top", area=area, heights=heights)], 10, bay_wall()).shape == (10, 3)


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"positions": [(0, 1)]}, "positions"),
        ({"positions": np.empty((0, 3))}, "positions"),
        ({"positions": "here"}, "positions"),
        ({"positions": [(0, 1, 8), (0, np.nan, 8)]}, r"positions"),
        ({"positions": [(0, 1, -2)]}, "positions"),
        ({"positions": [(2, 1, 0.5)]}, "positions"),
        ({"target": ["garage"]}, "patch name"),
        ({"target": ["bay, return 2"]}, "target"),
    ],
)
def test_evaluate_refuses(change, field):
    arguments = {"positions": [(0, 1, 8)]} | change
    positions = arguments.pop("positions")
    with pytest.raises(kit.InputError, match=field):
        evaluate(bay_wall(), MACHINE, WIDE, positions, **arguments)


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("change", "field"),
    [
        # At least one place in each stand.
        ({"stands": [LAWN, LAWN], "count": 1}, "count"),
        ({"objective": lambda d: 1.0}, "objective"),
        ({"objective": lambda d: np.full(d.sizes["candidate"], np.nan)}, "objective"),
        (
            {"obstacles": [Obstacle(name="hedge", area=[(-9, 7), (9, 7), (9, 21), (-9, 21)], heights=(0, 2))]},
            "stand 'lawn': area",
        ),
    ],
)
def test_search_refuses(change, field):
    arguments = {"stands": [LAWN], "count": 20, "points": 60} | change
    stands = arguments.pop("stands")
    with pytest.raises(kit.InputError, match=field):
        search(bay_wall(), MACHINE, WIDE, stands, **arguments)


@pytest.mark.bad_input
def test_a_place_that_cannot_be_aimed_fails_and_is_not_handed_out():
    surface = kit.Surface(name="plain", reflectance=0.5)
    front = kit.Patch("front", [(0, 0, 2), (6, 0, 2), (6, 4, 2), (0, 4, 2)], surface)
    wing = kit.Patch("wing", [(-3, 0, 0), (0, 0, 0), (0, 3, 0), (-3, 3, 0)], surface)
    # In front of the wing, behind the plane of the front.
    places = evaluate(kit.Facade([front, wing]), MACHINE, WIDE, [(-1, 1, 1), (1, 1, 9)])
    assert places["feasible"].values.tolist() == [False, True]
    assert bool(places["fails_pan"][0])
    assert np.isnan(places["throw_ratio"][0])
    for index in (0, 2, -1):
        with pytest.raises(kit.InputError, match="index"):
            placement_of(MACHINE, places, index)
    assert isinstance(placement_of(MACHINE, places, 1)[1], kit.Placement)
