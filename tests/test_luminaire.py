"""Lamps near the house. The independent renderer is in `lamp_renderer`."""

import math
from pathlib import Path

import lamp_renderer as renderer
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import kit
from kit import reference
from kit.eye.glare import veil_luminance
from kit.eye.lamp_glare import eye_illuminance, lamp_veil
from kit.light.lamps import lamp_illuminance, lamp_map
from kit.sky.luminaire import MOST_NODES, LedString, Luminaire, headlamps, typical_luminaire
from kit.sky.photometric_file import Distribution, beam, cutoff, isotropic
from kit.wall.raster import Grid

HOUSE = Path(__file__).parents[1] / "notebooks" / "houses" / "brick_two_storey.toml"
GREY = kit.Surface(name="grey", reflectance=0.5)
# Corners off every round number, so that no edge runs exactly through pixel centres.
WALL = kit.Patch("wall", [(-6.013, 0, 0), (6.021, 0, 0), (6.021, 7.017, 0), (-6.013, 7.017, 0)], GREY)
BAY = kit.with_returns(
    kit.Patch("bay", [(0.811, 0.0, 1.03), (3.207, 0.0, 1.03), (3.207, 3.113, 1.03), (0.811, 3.113, 1.03)], GREY),
    0.0,
)
EAVES = kit.Patch("eaves", [(-6.3, 5.509, 0.707), (6.3, 5.509, 0.707), (5.2, 8.013, -2.6), (-5.2, 8.013, -2.6)], GREY)
OUT = (0.0, 0.0, 1.0)


def lamp(position=(0, 3, 4), shape=None, **more):
    return Luminaire(**{"name": "lamp", "position": position, "distribution": shape or isotropic(1000)} | more)


def string(path=((-1, 3, 0.02), (1, 3, 0.02)), spacing=0.1, flux=12.0, **more):
    return LedString(name="string", path=path, spacing=spacing, node_flux=flux, **more)


def big_wall(half=20.0):
    return kit.Facade([kit.Patch("wall", [(-half, -half), (half, -half), (half, half), (-half, half)], GREY)])


def rectangle(half, height):
    """Solid angle of a square of half side `half`, seen from `height` above its centre."""
    return 4 * math.asin(half**2 / (half**2 + height**2))


# One lamp, one point


@pytest.mark.analytic
@pytest.mark.parametrize("distance", [0.5, 1.0, 7.0])
@pytest.mark.parametrize("degrees", [0.0, 30.0, 60.0, 89.0])
def test_inverse_square_and_cosine(distance, degrees):
    normal = (math.sin(math.radians(degrees)), 0, math.cos(math.radians(degrees)))
    light = lamp_illuminance(lamp((0, 3, distance)), (0, 3, 0), normal)
    expected = 1000 / (4 * math.pi) * math.cos(math.radians(degrees)) / distance**2
    assert light == pytest.approx(expected, rel=1e-9)


@pytest.mark.analytic
def test_a_wall_that_faces_away_gets_nothing_and_shapes_broadcast():
    assert lamp_illuminance(lamp(), (0, 3, 0), (0, 0, -1)) == 0
    points = np.zeros((4, 5, 3))
    points[..., 0], points[..., 1] = np.arange(5), 3
    light = lamp_illuminance(lamp(), points, OUT)
    assert light.shape == (4, 5)
    np.testing.assert_allclose(light[2, 3], 1000 / (4 * math.pi) * 4 / 25**1.5)


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("pan", "tilt", "axis", "c0", "c90"),
    [
        (0, 0, (0, -1, 0), (1, 0, 0), (0, 0, -1)),
        (90, 0, (0, -1, 0), (0, 0, -1), (-1, 0, 0)),  # counter-clockwise as seen from above
        (0, 90, (0, 0, -1), (1, 0, 0), (0, 1, 0)),  # straight at the house
        (180, 90, (0, 0, 1), (-1, 0, 0), (0, 1, 0)),  # at the audience
        (0, 180, (0, 1, 0), (1, 0, 0), (0, 0, 1)),
        (-90, 45, (math.sqrt(0.5), -math.sqrt(0.5), 0), (0, 0, 1), (math.sqrt(0.5), math.sqrt(0.5), 0)),
    ],
)
def test_pan_and_tilt(pan, tilt, axis, c0, c90):
    np.testing.assert_allclose(lamp(pan=pan, tilt=tilt).axes(), (axis, c0, c90), atol=1e-12)


@pytest.mark.property
@given(st.floats(-360, 360), st.floats(-180, 180))
def test_the_axes_are_right_handed_and_each_of_its_planes_is_found(pan, tilt):
    # A table with a value of its own at each of the five directions.
    table = [[1, 2, 0], [1, 3, 0], [1, 4, 0], [1, 5, 0], [1, 2, 0]]
    shape = Distribution(name="x", vertical=[0, 90, 180], horizontal=[0, 90, 180, 270, 360], candela=table)
    turned = lamp(shape=shape, pan=pan, tilt=tilt)
    axis, c0, c90 = turned.axes()
    np.testing.assert_allclose(np.cross(c0, c90), -axis, atol=1e-12)
    light = turned.intensity(np.array([axis, c0, c90, -c0, -c90, -axis]))
    # Rounding of unit vectors to some 1e-8 in the arc cosine near the axis.
    np.testing.assert_allclose(light, [1, 2, 3, 4, 5, 0], atol=1e-5)


@pytest.mark.analytic
def test_a_shield_holds_back_what_leaves_above_its_angle_wherever_the_lamp_is_turned():
    for more in ({}, {"pan": 50, "tilt": 70}):
        shielded = lamp((0, 3, 4), shielded=70.0, **more)
        free = lamp((0, 3, 4), **more)
        angles = np.radians([0, 69.9, 70.1, 90, 180])
        rays = np.stack([np.sin(angles), -np.cos(angles), 0 * angles], axis=1)
        np.testing.assert_allclose(shielded.intensity(rays), free.intensity(rays) * [1, 1, 0, 0, 0])
    front = kit.Facade([WALL])
    grid = Grid.over(front.bounds, 0.1)
    light = lamp_map(front, [lamp((0, 3, 4), shielded=90.0)], grid)
    assert np.nanmax(light[grid.y > 3]) == 0
    assert np.nanmin(light[grid.y < 3]) > 0


@pytest.mark.property
@given(st.floats(0, 1), st.floats(0, 1e5))
def test_light_is_proportional_to_dimming_and_flux(dimming, flux):
    full = lamp(shape=beam(1000, 60), tilt=80)
    dimmed = lamp(shape=beam(1000, 60), tilt=80, dimming=dimming, flux=flux)
    ray = np.array([0, -3, -4]) / 5
    ratio = dimming * flux / full.distribution.flux()
    assert dimmed.intensity(ray) == pytest.approx(full.intensity(ray) * ratio, rel=1e-12)


# The front


@pytest.mark.analytic
@pytest.mark.parametrize("height", [1.0, 3.0])
def test_light_on_a_wall_is_the_solid_angle_that_it_fills(height):
    light = lamp_map(big_wall(10), [lamp((0, 0, height))], Grid.over((-10, 10, -10, 10), 0.05))
    share = rectangle(10, height) / (4 * math.pi)
    # Midpoint rule: (0.05 / 1)^2 / 24 times a curvature of a few; 1e-3 is its order at 1 m.
    assert light.sum() * 0.05**2 == pytest.approx(1000 * share, rel=1e-3)


@pytest.mark.property
@settings(max_examples=15)
@given(st.lists(st.tuples(st.floats(-5, 5), st.floats(0.5, 6), st.floats(1.1, 9)), min_size=1, max_size=3))
def test_lamps_and_strings_add(places):
    front = kit.Facade([WALL, *BAY])
    grid = Grid.over(front.bounds, 0.25)
    lamps = [lamp(place) for place in places] + [string(path=((-1, 5, 0.02), (1, 5, 0.02)))]
    together = lamp_map(front, lamps, grid)
    np.testing.assert_allclose(together, sum(lamp_map(front, [one], grid) for one in lamps), rtol=1e-9)
    assert np.nanmin(together) >= 0


@pytest.mark.property
@given(st.tuples(st.floats(-4, 4), st.floats(-4, 4), st.floats(0.1, 9)), st.floats(-4, 4), st.floats(-4, 4))
def test_lamp_and_point_can_change_places(place, x, y):
    """A small diffuse lamp lights a small piece of wall as that piece, were it the lamp, would light it."""
    flat = lamp(place, shape=beam(1000, 120), tilt=90)  # looks at the wall
    back = lamp((x, y, 0), shape=beam(1000, 120), pan=180, tilt=90)  # looks away from it
    there = lamp_illuminance(flat, (x, y, 0), OUT)
    # Straight lines over 0.1 degree: 4e-7 of the peak intensity.
    assert there == pytest.approx(lamp_illuminance(back, place, (0, 0, -1)), rel=1e-5, abs=4e-7 * 1000 / place[2] ** 2)


@pytest.mark.analytic
def test_a_bay_casts_its_shadow():
    front = kit.Facade([WALL, *BAY])
    grid = Grid.over(front.bounds, 0.05)
    x, y = np.meshgrid(grid.x, grid.y)
    light = lamp_map(front, [lamp((6, 1.0, 1.5))], grid)
    bare = lamp_map(kit.Facade([WALL]), [lamp((6, 1.0, 1.5))], grid)
    # The ray to a wall point passes z = 1.03 at share 0.47 / 1.5 of its way and enters the bay's right return at
    # x = 3.207 if z is still above 0 there: all points left of the bay at this height lie in its shadow, until the
    # ray over its front meets the wall at 6 - (6 - 0.811) * 1.5 / 0.47, beyond the wall.
    shadow = (x < 0.8) & (np.abs(y - 1) < 0.2)
    assert np.all(light[shadow] == 0)
    assert np.all(bare[shadow] > 0)
    free = x > 3.3
    np.testing.assert_allclose(light[free], bare[free])
    assert np.all(light[(x > 0.9) & (x < 3.1) & (y < 3)] > 0)


@pytest.mark.analytic
def test_there_is_no_light_where_there_is_no_wall():
    front = kit.Facade([WALL])
    light = lamp_map(front, [lamp(), string()], Grid.over((-8, 8, -1, 9), 0.25))
    assert np.isnan(light[0, 0])
    assert np.isfinite(light).sum() == pytest.approx(12.034 * 7.017 / 0.25**2, rel=0.05)
    assert not np.nansum(lamp_map(front, [], Grid.over((-8, 8, -1, 9), 0.25)))


SCENES = {
    "wall": ([WALL], (0.3, 4.1, 2.7)),
    "bay and its shadow": ([WALL, *BAY], (-2.7, 1.9, 1.9)),
    "bay, from beside": ([WALL, *BAY], (5.1, 2.2, 1.6)),
    "bay and eaves": ([WALL, *BAY, EAVES], (-0.4, 4.9, 1.7)),
    "lamp close to the wall, below the eaves": ([WALL, *BAY, EAVES], (-1.3, 2.1, 0.23)),
    "street lamp": ([WALL, *BAY, EAVES], (4.2, 6.3, 10.1)),
}


@pytest.mark.reference
@pytest.mark.parametrize("name", SCENES)
def test_light_of_a_lamp_agrees_with_the_renderer(name):
    patches, position = SCENES[name]
    front = kit.Facade(tuple(patches))
    grid = Grid.over(front.bounds, 0.0237)
    ours = np.nan_to_num(lamp_map(front, [lamp(position, shape=isotropic(1500))], grid))
    half = grid.spacing / 2
    theirs = renderer.illuminance(
        [np.array(p.outline) for p in patches],
        lamp=(position, 1500 / (4 * math.pi)),
        extent=(grid.x[0] - half, grid.x[-1] + half, grid.y[0] - half, grid.y[-1] + half),
        shape=ours.shape,
    )
    both = (ours > 0) & (theirs > 0)
    assert both.mean() > 0.3
    ratios = ours[both] / theirs[both]
    # The renderer computes in single precision; these are the limits that hold for projectors too.
    assert np.median(ratios) == pytest.approx(1.0, abs=0.002)
    assert np.percentile(ratios, [5, 95]) == pytest.approx([1.0, 1.0], abs=0.01)
    # Light and shadow fall on the same points, but for a few exactly on an edge.
    assert ((ours > 0) != (theirs > 0)).mean() < 5e-4


# Strings


@pytest.mark.analytic
def test_nodes_follow_the_line():
    nodes = string(path=((0, 0, 1), (1, 0, 1), (1, 1, 1)), spacing=0.1).nodes()
    assert len(nodes) == 21
    np.testing.assert_allclose(nodes[[0, 10, 15, 20]], [(0, 0, 1), (1, 0, 1), (1, 0.5, 1), (1, 1, 1)], atol=1e-12)
    np.testing.assert_allclose(np.linalg.norm(np.diff(nodes, axis=0), axis=1), 0.1)
    assert string(flux=10, dimming=0.3, spacing=0.5).flux() == pytest.approx(5 * 10 * 0.3)
    # Round a corner the spacing is counted along the line.
    assert len(string(path=((0, 0, 1), (0.25, 0, 1), (0.25, 0.25, 1)), spacing=0.2).nodes()) == 3


@pytest.mark.analytic
@pytest.mark.parametrize("off", [1e-6 * 2, 0.001, 0.01, 0.03, 0.3])
@pytest.mark.parametrize("spacing", [0.05, 0.2])
def test_half_the_light_of_a_string_lands_on_a_large_wall(off, spacing):
    one = string(path=((-0.31, 0.17, off), (0.44, 0.29, off)), spacing=0.0377)
    light = lamp_map(big_wall(20), [one], Grid.over((-20, 20, -20, 20), spacing))
    # What the wall's edge lets by, as if all nodes were at its middle; they are at most 0.5 m off it.
    share = rectangle(20, off) / (4 * math.pi)
    assert share == pytest.approx(0.5, abs=0.01)
    # Beyond the pixels that are integrated, the midpoint rule: 0.375 / 8.5^2 of the h / (8.5 pixels) that lands there.
    assert light.sum() * spacing**2 == pytest.approx(one.flux() * share, rel=1e-3)


@pytest.mark.analytic
def test_hot_spots_are_means_over_the_pixel():
    one = string(path=((0.013, 2.021, 0.02), (0.2, 2.021, 0.02)), spacing=0.07)
    coarse = lamp_map(kit.Facade([WALL]), [one], Grid.over((-1, 1, 1, 3), 0.1))
    # By brute force: 50 x 50 points in each pixel.
    grid = Grid.over((-1, 1, 1, 3), 0.002)
    points = np.stack([*np.meshgrid(grid.x, grid.y), np.zeros((1000, 1000))], axis=-1)
    fine = sum(lamp_illuminance(lamp(tuple(node), shape=isotropic(12)), points, OUT) for node in one.nodes())
    means = fine.reshape(20, 50, 20, 50).mean(axis=(1, 3))
    # 0.6% where pixel centres take over from means, and what 2 mm steps leave of a hot spot 20 mm wide.
    np.testing.assert_allclose(coarse, means, rtol=6e-3)
    assert coarse.max() == pytest.approx(means.max(), rel=1e-3)


@pytest.mark.analytic
def test_a_string_on_a_slope_loses_no_light_either():
    # A plane that leans back by 45 degrees, 30 m wide and 30 m along the slope; the nodes 3 cm off its middle.
    run = 15 / math.sqrt(2)
    slope = kit.Facade(
        [kit.Patch("roof", [(-15, -run, run), (15, -run, run), (15, run, -run), (-15, run, -run)], GREY)]
    )
    off = 0.03 / math.sqrt(2)
    one = string(path=((-0.2, off, off), (0.2, off, off)), spacing=0.1)
    light = lamp_map(slope, [one], Grid.over(slope.bounds, 0.05))
    share = rectangle(15, 0.03) / (4 * math.pi)
    assert np.nansum(light) * 0.05**2 * math.sqrt(2) == pytest.approx(one.flux() * share, rel=1e-3)


@pytest.mark.analytic
def test_facing_decides_where_a_node_shines():
    grid = Grid.over((-20, 20, -20, 20), 0.1)
    totals = {}
    for facing in (None, (0, 0, 1), (0, 0, -2), (0, -1, 0)):
        light = lamp_map(big_wall(20), [string(path=((-1, 0.02, 0.05), (1, 0.02, 0.05)), facing=facing)], grid)
        totals[facing] = light.sum() * 0.01 / (21 * 12)
        if facing == (0, -1, 0):
            assert np.all(light[grid.y > 0.1] == 0)
    whole = rectangle(20, 0.05) / (4 * math.pi)
    assert totals[None] == pytest.approx(whole, rel=1e-3)
    assert totals[(0, 0, 1)] == 0
    assert totals[(0, 0, -2)] == pytest.approx(2 * whole, rel=1e-3)
    # The edge of the half-space runs through pixels, of which only the centre decides.
    assert totals[(0, -1, 0)] == pytest.approx(whole, rel=0.25)


@pytest.mark.analytic
def test_a_string_agrees_with_as_many_lamps():
    front = kit.Facade([WALL, *BAY, EAVES])
    grid = Grid.over(front.bounds, 0.05)
    # Short enough for one shadow, and so far off that a pixel is small.
    one = string(path=((-2.0, 4.0, 1.9), (-1.9, 4.0, 1.9)), spacing=0.05)
    lamps = [lamp(tuple(node), shape=isotropic(12)) for node in one.nodes()]
    ours, theirs = lamp_map(front, [one], grid), lamp_map(front, lamps, grid)
    lit = np.nan_to_num(theirs) > 0
    # Shadows of the middle node differ along their edges.
    assert ((np.nan_to_num(ours) > 0) != lit).mean() < 0.01
    ratio = ours[lit & (ours > 0)] / theirs[lit & (ours > 0)]
    assert np.percentile(ratio, [2, 98]) == pytest.approx([1, 1], abs=1e-3)


@pytest.mark.analytic
def test_a_string_round_a_corner_lights_both_sides():
    front = kit.Facade([WALL, *BAY])
    grid = Grid.over(front.bounds, 0.05)
    x, y = np.meshgrid(grid.x, grid.y)
    light = lamp_map(front, [string(path=((0.5, 1.5, 0.05), (0.7, 1.5, 1.1), (2, 1.5, 1.1)), spacing=0.05)], grid)
    assert light[(x > 0.9) & (x < 3.1) & (y < 3)].min() > 0
    assert light[(x < 0.7) & (x > -1) & (y < 3)].min() > 0
    # Most of these nodes lie beside the bay, behind the plane of its front; the last one lights it.
    light = lamp_map(front, [string(path=((0.5, 1.5, 0.7), (0.5, 1.5, 1.1)))], grid)
    assert light[(x > 0.9) & (x < 3.1) & (y < 3)].min() > 0


@pytest.mark.analytic
def test_the_shadow_of_a_long_string_is_that_of_its_nodes():
    front = kit.Facade([WALL, *BAY])
    grid = Grid.over(front.bounds, 0.1)
    one = string(path=((-5, 1.5, 1.6), (5.5, 1.5, 1.6)), spacing=0.25)
    lamps = [lamp(tuple(node), shape=isotropic(12)) for node in one.nodes()]
    ours, theirs = lamp_map(front, [one], grid), lamp_map(front, lamps, grid)
    # Shadows move by steps of up to half a `SHADOW_STEP`: the light is right in sum, and moved a little at their edges.
    assert np.nansum(ours) == pytest.approx(np.nansum(theirs), rel=5e-3)
    assert np.nanmean(np.abs(ours - theirs)) < 0.02 * np.nanmean(theirs)


# What cannot be


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("position", "front"),
    [
        ((0, 2, -3), "wall"),
        ((0, 2, 0), "wall"),
        ((9, 2, -0.1), "wall"),
        ((2, 2, 1), "bay"),
        ((2, 2, 1.03), "bay"),
    ],
)
def test_a_lamp_behind_or_inside_the_house_is_refused(position, front):
    facade = kit.Facade([WALL] if front == "wall" else [WALL, *BAY])
    grid = Grid.over(facade.bounds, 0.5)
    with pytest.raises(kit.InputError, match=r"lamp 'lamp': position.*a lamp in front of the house.*behind"):
        lamp_map(facade, [lamp(), lamp(position)], grid)
    with pytest.raises(kit.InputError, match=r"string 'string': path.*a node in front of the house.*behind"):
        lamp_map(facade, [string(path=(position, (-1, 2, 3)))], grid)


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"path": ((0, 0, 1), (0, 0, 1))}, "longer than 0"),
        ({"spacing": 1e-9}, f"at most {MOST_NODES} nodes"),
        ({"facing": (0, 0, 0)}, "facing.*other than"),
    ],
)
def test_a_string_refuses_what_cannot_be(changes, words):
    with pytest.raises(kit.InputError, match=words):
        string(**changes)


@pytest.mark.bad_input
def test_other_things_are_no_lamps():
    front = kit.Facade([WALL])
    with pytest.raises(kit.InputError, match="lamps"):
        lamp_map(front, ["lamp"], Grid.over(front.bounds, 0.5))
    with pytest.raises(kit.InputError, match="lamps"):
        lamp_veil(["lamp"], (0, 1, 9), (0, 1, 0))
    with pytest.raises(kit.InputError, match="apart from what it lights"):
        lamp_illuminance(lamp((0, 1, 2)), (0, 1, 2), OUT)
    for eye, target, field in [
        ((0, 1, 9), (0, 1, 9), "target"),
        ((0, 3, 4), (0, 1, 0), "eye"),
        ((0, 1), (0, 1, 0), "eye"),
        ((0, 1, 9), (0, math.nan, 0), "target"),
    ]:
        with pytest.raises(kit.InputError, match=field):
            eye_illuminance(lamp(), eye, target)


# In the eye


@pytest.mark.analytic
def test_light_at_the_eye_and_its_angle():
    # The lamp 3 m to the side and 4 m ahead: 5 m off, at atan(3/4) from the line of sight.
    light, angle = eye_illuminance(lamp((3, 1.6, 6)), (0, 1.6, 10), (0, 1.6, 0))
    assert angle == pytest.approx(math.degrees(math.atan(0.75)), rel=1e-12)
    assert light == pytest.approx(1000 / (4 * math.pi) / 25 * 0.8, rel=1e-12)
    assert eye_illuminance(lamp((0, 1.6, 14)), (0, 1.6, 10), (0, 1.6, 0)) == (0.0, 180.0)
    _, tiny = eye_illuminance(lamp((1e-7, 1.6, 5)), (0, 1.6, 10), (0, 1.6, 0))
    assert tiny == pytest.approx(math.degrees(1e-7 / 5), rel=1e-6)


@pytest.mark.published
@pytest.mark.parametrize("age", [None, 60])
def test_veil_of_lamps_follows_the_relation_within_its_angles_only(age):
    # Relation for 1 to 30 degrees: CIE 146:2002; J. J. Vos, Clin. Exp. Optom. 86 (2003) 363.
    eye, target = (0, 1.6, 10), (0, 1.6, 0)
    places = {angle: (4 * math.tan(math.radians(angle)), 1.6, 6) for angle in (0.5, 0.99, 1.01, 10, 29.9, 30.1, 60)}
    lights = {angle: eye_illuminance(lamp(place), eye, target)[0] for angle, place in places.items()}
    veil = lamp_veil([lamp(place) for place in places.values()], eye, target, age=age)
    inside = [1.01, 10, 29.9]
    expected = sum(float(veil_luminance(lights[a], a, age=age)) for a in inside)
    assert veil.luminance == pytest.approx(expected, rel=1e-9)
    assert veil.counted == pytest.approx(sum(lights[a] for a in inside), rel=1e-12)
    assert veil.close == pytest.approx(lights[0.5] + lights[0.99], rel=1e-12)
    assert veil.wide == pytest.approx(lights[30.1] + lights[60], rel=1e-12)
    assert lamp_veil([], eye, target).luminance == 0


@pytest.mark.analytic
def test_veil_of_a_string_is_that_of_its_nodes():
    one = string(path=((-3, 4, 0.05), (3, 4, 0.05)), spacing=0.1, dimming=0.4)
    eye, target = (0.5, 1.6, 12), (0, 2, 0)
    lamps = [lamp(tuple(node), shape=isotropic(12), dimming=0.4) for node in one.nodes()]
    ours, theirs = lamp_veil([one], eye, target), lamp_veil(lamps, eye, target)
    for field in ("luminance", "counted", "close", "wide"):
        assert getattr(ours, field) == pytest.approx(getattr(theirs, field), rel=1e-9, abs=1e-15)
    outward = lamp_veil([string(path=one.path, dimming=0.4, facing=OUT)], eye, target)
    assert outward.luminance == pytest.approx(2 * ours.luminance, rel=1e-9)
    assert lamp_veil([string(path=one.path, facing=(0, 0, -1))], eye, target).counted == 0


# Typical lamps


@pytest.mark.published
def test_a_typical_street_lamp_lights_a_residential_street_as_the_standard_asks():
    # EN 13201-2:2015: residential streets of class P2 to P6 have a mean of 10 to 2 lx. Lamps 30 m apart on both sides,
    # at the height of the table; the street is 6 m wide and begins below the lamps.
    height = reference.value("luminaires", "street lamp", quantity="height")
    x, z = np.meshgrid(np.arange(0.5, 30), np.arange(0.25, 6, 0.5))
    street = np.stack([x, 0 * x, z], axis=-1)
    lamps = [typical_luminaire("street lamp", position=(15 + 30 * k, height, 0)) for k in range(-4, 5)]
    light = sum(lamp_illuminance(one, street, (0, 1, 0)) for one in lamps)
    assert 2 <= light.mean() <= 10


@pytest.mark.practice
def test_a_typical_street_lamp_makes_some_lux_on_a_front_10_m_away():
    front = kit.load_house(HOUSE)
    light = lamp_map(front, [typical_luminaire("street lamp", position=(0, 6, 10))], Grid.over(front.bounds, 0.1))
    assert 0.5 <= np.nanmedian(light) <= 5


def test_typical_lamps_are_those_of_the_table():
    for name in reference.names("luminaires", "luminaire"):
        row = reference.row("luminaires", name, quantity="flux")
        for level, flux in (("low", row.low), ("nominal", row.value), ("high", row.high)):
            made = typical_luminaire(name, position=(0, 2, 3), level=level, pan=10, dimming=0.5)
            assert made.distribution.flux() == pytest.approx(flux, rel=1e-4)
            assert (made.name, made.pan, made.dimming) == (name, 10, 0.5)
    below, level = np.array([0, -1, 0]), np.array([1.0, 0, 0])
    path = typical_luminaire("path light", position=(0, 0.5, 3))
    assert path.intensity(below) == pytest.approx(cutoff(100, 75).intensity(0))
    assert path.intensity(level) == 0
    assert typical_luminaire("porch light", position=(0, 2, 1)).intensity(-below) == pytest.approx(600 / (4 * math.pi))
    assert typical_luminaire("floodlight", position=(0, 2, 1)).intensity(below) == pytest.approx(
        beam(2000, 110).intensity(0)
    )
    with pytest.raises(kit.InputError, match="street lamp"):
        typical_luminaire("moon", position=(0, 2, 3))
    with pytest.raises(kit.InputError, match="level"):
        typical_luminaire("porch light", position=(0, 2, 3), level="middle")


# Headlamps of a car


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("position", "towards", "left", "ahead"),
    [
        # Seen from above, x to the right and z down the page, towards the audience; left is the driver's.
        ((2, 10), (2, 0), (-1, 0), (0, -1)),  # straight at the house
        ((2, 10), (2, 20), (1, 0), (0, 1)),  # away from it
        ((2, 10), (9, 10), (0, -1), (1, 0)),  # along the street, to the right
        ((2, 10), (-5, 10), (0, 1), (-1, 0)),
        ((0, 0), (3, -4), (-0.8, -0.6), (0.6, -0.8)),
    ],
)
def test_headlamps_by_hand(position, towards, left, ahead):
    one, other = headlamps("car", position=position, towards=towards)
    assert (one.name, other.name) == ("car, left", "car, right")
    # Height 0.65 m and 1.4 m apart: reference_data/luminaires.csv.
    for found, side in ((one, 0.7), (other, -0.7)):
        expected = (position[0] + side * left[0], 0.65, position[1] + side * left[1])
        np.testing.assert_allclose(found.position, expected, atol=1e-12)
        # Level, and both straight ahead.
        np.testing.assert_allclose(found.axes()[0], (ahead[0], 0.0, ahead[1]), atol=1e-12)


@pytest.mark.property
@given(
    st.tuples(st.floats(-50, 50), st.floats(-50, 50)),
    st.floats(0, 2 * math.pi), st.floats(0.01, 100), st.sampled_from(["low", "nominal", "high"]),
)  # fmt: skip
def test_headlamps_are_a_pair_at_right_angles_to_the_way(position, angle, distance, level):
    ahead = np.array([math.sin(angle), math.cos(angle)])
    one, other = headlamps("car", position=position, towards=tuple(np.add(position, distance * ahead)), level=level)
    apart = np.subtract(one.position, other.position)
    assert np.linalg.norm(apart) == pytest.approx(reference.value("luminaires", "headlamp", quantity="spacing"))
    np.testing.assert_allclose(np.add(one.position, other.position)[[0, 2]] / 2, position, atol=1e-9)
    # The point ahead is rounded to 1e-14 of up to 150 m, over 0.01 m at least.
    np.testing.assert_allclose(one.axes()[0][[0, 2]], ahead, atol=1e-9)
    assert abs(apart[[0, 2]] @ ahead) < 1e-9
    # Left of ahead: counter-clockwise as seen from above.
    np.testing.assert_allclose(np.cross((0, 1, 0), (ahead[0], 0, ahead[1])), apart / np.linalg.norm(apart), atol=1e-9)
    row = reference.row("luminaires", "headlamp", quantity="flux")
    flux = row.value if level == "nominal" else getattr(row, level)
    for found in (one, other):
        # 0.5% is what the table of a beam is made to.
        assert found.distribution.flux() == pytest.approx(flux, rel=5e-3)
        assert found.intensity(np.array([ahead[0], 0.0, ahead[1]])) > 0
        assert found.intensity(np.array([-ahead[0], 0.0, -ahead[1]])) == 0


@pytest.mark.analytic
def test_headlamps_towards_the_house_light_it_and_away_from_it_do_not():
    front = kit.Facade([WALL])
    grid = Grid.over(front.bounds, 0.5)
    at_it = lamp_map(front, headlamps("car", position=(0, 12), towards=(0, 0)), grid)
    away = lamp_map(front, headlamps("car", position=(0, 12), towards=(0, 20)), grid)
    assert np.nanmax(at_it) > 1
    assert np.nanmax(away) == 0
    # Each headlamp makes its own brightest spot straight ahead, 0.7 m from the middle; half a pixel off at most.
    for found, x in zip(headlamps("car", position=(0, 12), towards=(0, 0)), (-0.7, 0.7), strict=True):
        light = np.nan_to_num(lamp_map(front, [found], grid))
        row, column = np.unravel_index(light.argmax(), light.shape)
        assert abs(grid.x[column] - x) <= 0.26
        assert abs(grid.y[row] - 0.65) <= 0.26


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("field", "values"),
    [
        ("position", [(1, 2, 3)]),
        ("towards", [(3, 8), (3, 8 + 1e-9), (math.inf, 0)]),
        ("level", ["max"]),
        ("name", [""]),
    ],
)
def test_headlamps_that_cannot_be_are_refused(field, values):
    for value in values:
        with pytest.raises(kit.InputError, match=field):
            headlamps(**{"name": "car", "position": (3, 8), "towards": (0, 0)} | {field: value})


@pytest.mark.analytic
def test_a_typical_lamp_can_be_called_by_a_name_of_its_own():
    usual = typical_luminaire("porch light", position=(0, 2, 1))
    called = typical_luminaire("porch light", position=(0, 2, 1), called="at the back door")
    assert (usual.name, called.name) == ("porch light", "at the back door")
    assert usual.distribution is called.distribution
