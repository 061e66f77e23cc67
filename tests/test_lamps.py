"""Light of lamps and strings, on the front and in the eye. The independent renderer is in `lamp_renderer`."""

import math
from pathlib import Path

import lamp_renderer as renderer
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import kit
from kit import reference
from kit.eye.glare import lamp_glare, sights_to, veil_over
from kit.light.lamps import ground_light, lamp_illuminance, lamp_map
from kit.sky.luminaire import LedString, Luminaire, headlamps, typical_luminaire
from kit.sky.photometric_file import beam, cutoff
from kit.wall.raster import Grid

HOUSE = Path(__file__).parents[1] / "notebooks" / "houses" / "brick_two_storey.toml"
GREY = kit.Surface(name="grey", reflectance=0.5)
# Corners off every round number, so that no edge runs exactly through pixel centres.
WALL = kit.Patch("wall", [(-6.013, 0, 0), (6.021, 0, 0), (6.021, 7.017, 0), (-6.013, 7.017, 0)], GREY)
BAY = kit.with_returns(
    kit.Patch("bay", [(0.811, 0.0, 1.03), (3.207, 0.0, 1.03), (3.207, 3.113, 1.03), (0.811, 3.113, 1.03)], GREY), 0.0
)
EAVES = kit.Patch("eaves", [(-6.3, 5.509, 0.707), (6.3, 5.509, 0.707), (5.2, 8.013, -2.6), (-5.2, 8.013, -2.6)], GREY)
OUT = (0.0, 0.0, 1.0)


def lamp(position=(0, 3, 4), shape=None, **more):
    return Luminaire(**{"name": "lamp", "position": position, "distribution": shape or cutoff(1000)} | more)


def string(path=((-1, 3, 0.02), (1, 3, 0.02)), spacing=0.1, flux=12.0, **more):
    return LedString(name="string", path=path, spacing=spacing, node_flux=flux, **more)


def big_wall(half=20.0):
    return kit.Facade([kit.Patch("wall", [(-half, -half), (half, -half), (half, half), (-half, half)], GREY)])


def rectangle(half, height):
    """Solid angle of a square of half side `half`, seen from `height` above its centre."""
    return 4 * math.asin(half**2 / (half**2 + height**2))


def light_on(front, lamps, grid):
    return lamp_map(kit.FrontRaster.on(front, grid), lamps)


def at_eye(one, eye, target):
    """The veil of a lamp over one point."""
    sights, _ = sights_to(eye, [target])
    return float(veil_over(sights, *lamp_glare(one, eye), kit.Ambient(eye=eye))[0])


# On points


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


# On the front


@pytest.mark.analytic
@pytest.mark.parametrize("height", [1.0, 3.0])
def test_light_on_a_wall_is_the_solid_angle_that_it_fills(height):
    light = light_on(big_wall(10), [lamp((0, 0, height))], Grid.over((-10, 10, -10, 10), 0.05))
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
    together = light_on(front, lamps, grid)
    np.testing.assert_allclose(together, sum(light_on(front, [one], grid) for one in lamps), rtol=1e-9)
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
    light = light_on(front, [lamp((6, 1.0, 1.5))], grid)
    bare = light_on(kit.Facade([WALL]), [lamp((6, 1.0, 1.5))], grid)
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
def test_a_shielded_lamp_leaves_what_is_above_it_dark():
    front = kit.Facade([WALL])
    grid = Grid.over(front.bounds, 0.1)
    light = light_on(front, [lamp((0, 3, 4), shielded=90.0)], grid)
    assert np.nanmax(light[grid.y > 3]) == 0
    assert np.nanmin(light[grid.y < 3]) > 0


@pytest.mark.analytic
def test_there_is_no_light_where_there_is_no_wall():
    front = kit.Facade([WALL])
    light = light_on(front, [lamp(), string()], Grid.over((-8, 8, -1, 9), 0.25))
    assert np.isnan(light[0, 0])
    assert np.isfinite(light).sum() == pytest.approx(12.034 * 7.017 / 0.25**2, rel=0.05)
    assert not np.nansum(light_on(front, [], Grid.over((-8, 8, -1, 9), 0.25)))


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
    ours = np.nan_to_num(light_on(front, [lamp(position, shape=cutoff(1500))], grid))
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
@pytest.mark.parametrize("off", [1e-6 * 2, 0.001, 0.01, 0.03, 0.3])
@pytest.mark.parametrize("spacing", [0.05, 0.2])
def test_half_the_light_of_a_string_lands_on_a_large_wall(off, spacing):
    one = string(path=((-0.31, 0.17, off), (0.44, 0.29, off)), spacing=0.0377)
    light = light_on(big_wall(20), [one], Grid.over((-20, 20, -20, 20), spacing))
    # What the wall's edge lets by, as if all nodes were at its middle; they are at most 0.5 m off it.
    share = rectangle(20, off) / (4 * math.pi)
    assert share == pytest.approx(0.5, abs=0.01)
    # Beyond the pixels that are integrated, the midpoint rule: 0.375 / 8.5^2 of the h / (8.5 pixels) that lands there.
    assert light.sum() * spacing**2 == pytest.approx(one.flux() * share, rel=1e-3)


@pytest.mark.analytic
def test_hot_spots_are_means_over_the_pixel():
    one = string(path=((0.013, 2.021, 0.02), (0.2, 2.021, 0.02)), spacing=0.07)
    coarse = light_on(kit.Facade([WALL]), [one], Grid.over((-1, 1, 1, 3), 0.1))
    # By brute force: 50 x 50 points in each pixel.
    grid = Grid.over((-1, 1, 1, 3), 0.002)
    points = np.stack([*np.meshgrid(grid.x, grid.y), np.zeros((1000, 1000))], axis=-1)
    fine = sum(lamp_illuminance(lamp(tuple(node), shape=cutoff(12)), points, OUT) for node in one.nodes())
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
    light = light_on(slope, [one], Grid.over(slope.bounds, 0.05))
    share = rectangle(15, 0.03) / (4 * math.pi)
    assert np.nansum(light) * 0.05**2 * math.sqrt(2) == pytest.approx(one.flux() * share, rel=1e-3)


@pytest.mark.analytic
def test_facing_decides_where_a_node_shines():
    grid = Grid.over((-20, 20, -20, 20), 0.1)
    totals = {}
    for facing in (None, (0, 0, 1), (0, 0, -2), (0, -1, 0)):
        light = light_on(big_wall(20), [string(path=((-1, 0.02, 0.05), (1, 0.02, 0.05)), facing=facing)], grid)
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
    lamps = [lamp(tuple(node), shape=cutoff(12)) for node in one.nodes()]
    ours, theirs = light_on(front, [one], grid), light_on(front, lamps, grid)
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
    light = light_on(front, [string(path=((0.5, 1.5, 0.05), (0.7, 1.5, 1.1), (2, 1.5, 1.1)), spacing=0.05)], grid)
    assert light[(x > 0.9) & (x < 3.1) & (y < 3)].min() > 0
    assert light[(x < 0.7) & (x > -1) & (y < 3)].min() > 0
    # Most of these nodes lie beside the bay, behind the plane of its front; the last one lights it.
    light = light_on(front, [string(path=((0.5, 1.5, 0.7), (0.5, 1.5, 1.1)))], grid)
    assert light[(x > 0.9) & (x < 3.1) & (y < 3)].min() > 0


@pytest.mark.analytic
def test_the_shadow_of_a_long_string_is_that_of_its_nodes():
    front = kit.Facade([WALL, *BAY])
    grid = Grid.over(front.bounds, 0.1)
    one = string(path=((-5, 1.5, 1.6), (5.5, 1.5, 1.6)), spacing=0.25)
    lamps = [lamp(tuple(node), shape=cutoff(12)) for node in one.nodes()]
    ours, theirs = light_on(front, [one], grid), light_on(front, lamps, grid)
    # Shadows move by steps of up to half a `SHADOW_STEP`: the light is right in sum, and moved a little at their edges.
    assert np.nansum(ours) == pytest.approx(np.nansum(theirs), rel=5e-3)
    assert np.nanmean(np.abs(ours - theirs)) < 0.02 * np.nanmean(theirs)


# What cannot be


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("position", "front"),
    [((0, 2, -3), "wall"), ((0, 2, 0), "wall"), ((9, 2, -0.1), "wall"), ((2, 2, 1), "bay"), ((2, 2, 1.03), "bay")],
)
def test_a_lamp_behind_or_inside_the_house_is_refused(position, front):
    facade = kit.Facade([WALL] if front == "wall" else [WALL, *BAY])
    grid = Grid.over(facade.bounds, 0.5)
    with pytest.raises(kit.InputError, match=r"lamp 'lamp': position.*a lamp in front of the house.*behind"):
        light_on(facade, [lamp(), lamp(position)], grid)
    with pytest.raises(kit.InputError, match=r"string 'string': path.*a node in front of the house.*behind"):
        light_on(facade, [string(path=(position, (-1, 2, 3)))], grid)


@pytest.mark.bad_input
def test_other_things_are_no_lamps():
    front = kit.Facade([WALL])
    with pytest.raises(kit.InputError, match="lamps"):
        light_on(front, ["lamp"], Grid.over(front.bounds, 0.5))
    with pytest.raises(kit.InputError, match="apart from what it lights"):
        lamp_illuminance(lamp((0, 1, 2)), (0, 1, 2), OUT)
    for eye, target in [((0, 1, 9), (0, 1, 9)), ((0, 3, 4), (0, 1, 0))]:
        with pytest.raises(kit.InputError, match="eye"):
            at_eye(lamp(), eye, target)


# In the eye


@pytest.mark.analytic
def test_light_at_the_eye_and_its_direction():
    # The lamp 3 m to the side and 4 m ahead: 5 m off; its shining part is 0.1 m across if nothing is said.
    towards, light, radius = lamp_glare(lamp((3, 1.6, 6)), (0, 1.6, 10))
    np.testing.assert_allclose(towards, [(0.6, 0.0, -0.8)], atol=1e-15)
    assert light == pytest.approx(1000 / (4 * math.pi) / 25, rel=1e-12)
    assert radius == pytest.approx(math.degrees(0.05 / 5.0), rel=1e-4)
    assert lamp_glare(lamp((3, 1.6, 6), size=0.0), (0, 1.6, 10))[2] == 0.0


@pytest.mark.analytic
def test_veil_of_a_string_is_that_of_its_nodes():
    one = string(path=((-3, 4, 0.05), (3, 4, 0.05)), spacing=0.1, dimming=0.4)
    eye, target = (0.5, 1.6, 12), (0, 2, 0)
    lamps = [lamp(tuple(node), shape=cutoff(12), dimming=0.4, size=0.0) for node in one.nodes()]
    ours = at_eye(one, eye, target)
    assert ours == pytest.approx(sum(at_eye(other, eye, target) for other in lamps), rel=1e-9)
    outward = at_eye(string(path=one.path, dimming=0.4, facing=OUT), eye, target)
    assert outward == pytest.approx(2 * ours, rel=1e-9)
    assert at_eye(string(path=one.path, facing=(0, 0, -1)), eye, target) == 0.0


# Typical lamps and cars


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
    light = light_on(front, [typical_luminaire("street lamp", position=(0, 6, 10))], Grid.over(front.bounds, 0.1))
    assert 0.5 <= np.nanmedian(light) <= 5


@pytest.mark.analytic
def test_headlamps_towards_the_house_light_it_and_away_from_it_do_not():
    front = kit.Facade([WALL])
    grid = Grid.over(front.bounds, 0.5)
    at_it = light_on(front, headlamps("car", position=(0, 12), towards=(0, 0)), grid)
    away = light_on(front, headlamps("car", position=(0, 12), towards=(0, 20)), grid)
    assert np.nanmax(at_it) > 1
    assert np.nanmax(away) == 0
    # Each is brightest some 1.3 degrees to the right of straight ahead and 0.9 below: at 12 m, 0.3 and 0.2 m from 0.7 m
    # beside the middle and 0.65 m up; half a pixel off at most. Above the edge of the beam the front stays dark.
    for found, x in zip(headlamps("car", position=(0, 12), towards=(0, 0)), (-0.7, 0.7), strict=True):
        light = np.nan_to_num(light_on(front, [found], grid))
        row, column = np.unravel_index(light.argmax(), light.shape)
        assert abs(grid.x[column] - x - 0.27) <= 0.26
        assert abs(grid.y[row] - 0.65 + 0.19) <= 0.26
        assert light[grid.y > 1.5].max() < 0.1 * light.max()


# Light by way of the ground

FLAT = kit.Patch("wall", [(-4, 0), (4, 0), (4, 5), (-4, 5)], GREY)


@pytest.mark.published
@pytest.mark.parametrize(("position", "rho"), [((1.0, 5.0, 9.0), 0.9), ((-2.0, 2.4, 1.5), 0.3)])
def test_light_by_way_of_the_ground_is_that_of_an_independent_renderer(position, rho):
    """Mitsuba 3's path tracer, lamp to ground to wall: one of its paths more than the light that comes straight."""
    one = Luminaire(name="lamp", position=position, distribution=cutoff(100.0))
    extent, shape = (-4.0, 4.0, 0.0, 5.0), (5, 8)
    raster = kit.FrontRaster.over(kit.Facade([FLAT]), extent, 1.0)
    ground = [(-150.0, 0.0, 0.0), (150.0, 0.0, 0.0), (150.0, 0.0, 150.0), (-150.0, 0.0, 150.0)]
    whole = lamp_map(raster, [one], rho)
    theirs = renderer.by_way_of_the_ground(
        np.array(FLAT.outline), np.array(ground), rho, lamp=(position, 100.0 / (4 * np.pi)), extent=extent, shape=shape
    )
    # Noise of its paths, and up to 3.4% near the ground, where the light changes within `APART`.
    ours = whole - lamp_map(raster, [one])
    np.testing.assert_allclose(ours, theirs, rtol=0.05)
    assert ours.mean() == pytest.approx(theirs.mean(), rel=0.01)


@pytest.mark.analytic
@pytest.mark.parametrize("lean", [0.0, 30.0])
def test_evenly_lit_ground_gives_half_of_its_light_to_an_upright_wall_and_less_to_a_roof(lean):
    """A lamp so high that the ground before the house is lit evenly: (1 - sin b) / 2 of what the ground gets."""
    high = 4.0 * math.tan(math.radians(lean))
    front = kit.Facade([kit.Patch("roof", [(-1, 0, 0), (1, 0, 0), (1, 4, -high), (-1, 4, -high)], GREY)])
    one = Luminaire(name="moon", position=(0.0, 3e4, 20.0), distribution=cutoff(1e9))
    raster = kit.FrontRaster.over(front, (-1.0, 1.0, 0.0, 4.0), 0.5)
    on_ground = 1e9 / (4 * np.pi) / 3e4**2
    # The light of each rectangle is that of its middle: 0.7% less here.
    expected = 0.5 * on_ground * (1.0 - math.sin(math.radians(lean)))
    np.testing.assert_allclose(ground_light(raster, one), expected, rtol=0.01)


@pytest.mark.property
def test_a_string_lights_the_ground_as_its_nodes_do():
    string = LedString(name="eaves", path=((-3.0, 4.0, 0.5), (3.0, 4.0, 0.5)), spacing=2.0, node_flux=40.0)
    raster = kit.FrontRaster.over(kit.Facade([FLAT]), (-4.0, 4.0, 0.0, 5.0), 0.5)
    nodes = [
        Luminaire(name=f"node {i}", position=tuple(at), distribution=cutoff(40.0))
        for i, at in enumerate(string.nodes().tolist())
    ]
    alone = sum(ground_light(raster, node) for node in nodes)
    # Other cells of the ground; a node shines all round, as `IntensityDistribution.uniform` does.
    np.testing.assert_allclose(ground_light(raster, string), alone, rtol=0.02)


@pytest.mark.published
def test_snow_doubles_what_a_street_lamp_gives_a_front():
    """About 99% more by the audit that asked for it, whose lamp and place are not known: by a typical one 18 m away."""
    raster = kit.FrontRaster.over(
        kit.Facade([kit.Patch("wall", [(-6, 0), (6, 0), (6, 6), (-6, 6)], GREY)]), (-6.0, 6.0, 0.0, 6.0), 0.5
    )
    one = typical_luminaire("street lamp", position=(0.0, 7.0, 18.0))
    bare, snow = (lamp_map(raster, [one], rho).mean() for rho in (0.0, 0.9))
    assert snow / bare == pytest.approx(1.99, abs=0.05)
