"""Lamps and strings by themselves: how they are turned, shielded and dimmed, and typical ones."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from test_photometric_file import flood, globe, ies, ldt

import kit
from kit import reference
from kit.light.lamps import lamp_illuminance
from kit.sky.luminaire import MOST_NODES, LedString, Luminaire, headlamps, typical_luminaire
from kit.sky.photometric_file import Distribution, beam, cutoff, parse_ies, parse_ldt


def lamp(position=(0, 3, 4), shape=None, **more):
    return Luminaire(**{"name": "lamp", "position": position, "distribution": shape or cutoff(1000)} | more)


def string(path=((-1, 3, 0.02), (1, 3, 0.02)), spacing=0.1, flux=12.0, **more):
    return LedString(name="string", path=path, spacing=spacing, node_flux=flux, **more)


# One lamp


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


def road_light(theta, phi):
    """An invented road lamp, alike left and right: brightest 60 degrees from straight down, ahead (phi 0) [cd]."""
    down, turn = np.radians(theta), np.radians(phi)
    return 2000 * (0.5 + 0.5 * (0.5 * np.cos(down) + math.sqrt(0.75) * np.sin(down) * np.cos(turn))) ** 2


def road_files():
    """The same lamp as both formats have it, with its front where each has its own."""
    v = np.arange(0.0, 181.0, 2.5)
    for horizontal in (np.arange(0.0, 181.0, 5), np.arange(0.0, 360.0, 5)):
        yield parse_ies(ies(v, horizontal, road_light(v, horizontal[:, None]), lumens=-1)), {}
    planes = np.arange(0.0, 360.0, 5)
    stored = (270 + np.arange(0.0, 181.0, 5)) % 360
    yield parse_ldt(ldt(v, planes, road_light(v, stored[:, None] - 90), symmetry=3)), {}
    # Along its own axis, which only its user knows.
    yield parse_ldt(ldt(v, planes, road_light(v, planes[:, None]), symmetry=0)), {"front": 0}
    upright = np.arange(90.0, 271.0, 5)
    yield parse_ies(ies(v, upright, road_light(v, upright[:, None] - 90), lumens=-1)), {}


@pytest.mark.analytic
@pytest.mark.parametrize("which", range(5))
@pytest.mark.parametrize("towards", [(-9.0, 30.0), (3.0, 0.0), (20.0, 14.0)])
def test_a_road_lamp_from_a_file_faces_the_point_that_it_is_said_to_face(which, towards):
    position, point = np.array([-9.0, 6.0, 14.0]), np.array([0.5, 2.0, 0.0])
    front = np.array([towards[0] - position[0], 0.0, towards[1] - position[2]])
    front /= np.linalg.norm(front)

    def on_wall(front):
        ray = point - position
        far = np.linalg.norm(ray)
        theta = math.degrees(math.acos(-ray[1] / far))
        side = math.degrees(math.acos(ray @ front / math.hypot(ray[0], ray[2])))
        return road_light(theta, side) * -ray[2] / far**3

    shape, how = list(road_files())[which]
    placed = lamp(tuple(position), shape=shape, towards=towards, **how)
    found = lamp_illuminance(placed, point, (0.0, 0.0, 1.0))
    # Straight lines between the angles of the file: (2.5 degrees)^2 / 8 and (5 degrees)^2 / 8 = 1e-3 of the square's
    # second derivative, which is some times its value behind the lamp.
    assert found == pytest.approx(on_wall(front), rel=5e-3)
    # A quarter of a turn, either way, is another light by far.
    for turned in (np.array([front[2], 0, -front[0]]), np.array([-front[2], 0, front[0]])):
        assert abs(on_wall(turned) / found - 1) > 0.2


@pytest.mark.analytic
@pytest.mark.parametrize("kind", [2, 3])
def test_a_floodlight_of_type_a_or_b_shines_where_it_faces(kind):
    # Tilted by 90 degrees its beam is level; what the file has above stays above, its right on the right.
    angles = np.arange(-90.0, 91.0, 2.5)
    shape = parse_ies(ies(angles, angles, flood(*globe(kind, angles, angles)), kind=kind, lumens=-1))
    placed = lamp((4, 2, 6), shape=shape, towards=(4, -3), tilt=90)
    for point in ((4.0, 2, 0), (4, 5, 0), (7, 2, 0), (1, 1, 0)):
        ray = np.subtract(point, placed.position)
        far = np.linalg.norm(ray)
        # Looking at the house x is to the right.
        expected = flood(ray[0] / far, ray[1] / far, -ray[2] / far) * 6 / far**3
        assert lamp_illuminance(placed, np.array(point), (0.0, 0.0, 1.0)) == pytest.approx(expected, rel=2e-3)
    lower = lamp((4, 2, 6), shape=shape, towards=(4, -3), tilt=60)
    np.testing.assert_allclose(lower.axes()[0], (0, -0.5, -math.sqrt(0.75)), atol=1e-12)


@pytest.mark.property
@given(st.floats(-360, 360), st.floats(-180, 180), st.floats(0, 360))
def test_towards_is_the_same_turn_as_pan_where_the_front_is_c90(pan, tilt, front):
    angle = math.radians(pan)
    towards = (2 - 5 * math.sin(angle), 4 - 5 * math.cos(angle))
    np.testing.assert_allclose(
        lamp((2, 3, 4), towards=towards, tilt=tilt).axes(), lamp((2, 3, 4), pan=pan, tilt=tilt).axes(), atol=1e-12
    )
    # The C-plane that is named lies where the lamp faces, whatever its tilt.
    axis, c0, c90 = lamp((2, 3, 4), towards=towards, tilt=tilt, front=front).axes()
    ahead = math.cos(math.radians(front)) * c0 + math.sin(math.radians(front)) * c90
    np.testing.assert_allclose(ahead, lamp((2, 3, 4), pan=pan, tilt=tilt).axes()[2], atol=1e-12)
    np.testing.assert_allclose(np.cross(c0, c90), -axis, atol=1e-12)


@pytest.mark.parametrize(("towards", "axis", "sign"), [((-6, 30), 1, 1), ((-6, 0), 1, -1), ((9, 14), 0, 1)])
def test_the_plan_of_a_lamp_reaches_farthest_where_it_faces(towards, axis, sign):
    shape, _ = next(road_files())
    placed = lamp((-6, 6, 14), shape=shape, towards=towards)
    front = kit.open_show().house
    ax = kit.draw_lamp(placed, front)
    assert len(ax.patches) == len(front.patches) + 1
    reach = ax.patches[-1].get_xy() - (-6, 14)
    far = reach[np.linalg.norm(reach, axis=1).argmax()]
    # 4 m to where it faces, in steps of 2 degrees.
    assert sign * far[axis] == pytest.approx(4.0, rel=1e-9)
    # In section, beside it, a lamp that faces the street or the house leans that way, and shines below itself.
    _, side = ax.figure.axes
    assert (side.get_xlabel(), side.get_ylabel()) == ("from the wall (m)", "height (m)")
    reach = side.patches[-1].get_xy() - (14, 6)
    far = reach[np.linalg.norm(reach, axis=1).argmax()]
    assert np.linalg.norm(far) == pytest.approx(4.0, rel=1e-9)
    assert far[1] < 0
    assert axis == 0 or sign * far[0] > 0
    # What goes one way in section is what goes so by all planes about the line of sight: by brute force.
    ways = np.random.default_rng(1).normal(size=(400_000, 3))
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    edges, drawn = np.radians(np.arange(-179, 180, 10)), reach[:180]
    lit, _ = np.histogram(np.arctan2(ways[:, 1], ways[:, 2]), edges, weights=placed.intensity(ways))
    mine, _ = np.histogram(np.arctan2(drawn[:, 1], drawn[:, 0]), edges, weights=np.linalg.norm(drawn, axis=1))
    np.testing.assert_allclose(lit / lit.max(), mine / mine.max(), atol=0.05)
    # A lamp that is put out is drawn as it would shine.
    dark = kit.draw_lamp(placed.dimmed(0.0), front, units="ft")
    np.testing.assert_allclose(dark.patches[-1].get_xy()[:181] * 0.3048, ax.patches[-1].get_xy()[:181], rtol=1e-9)


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"towards": (0, 0), "pan": 0}, r"lamp 'lamp': towards, pan.*one of the two"),
        ({"towards": (0, 4)}, "towards.*apart from"),
        ({"front": 0}, "front.*None without towards"),
        ({"front": 0, "pan": 3}, "front.*None without towards"),
    ],
)
def test_a_lamp_that_faces_nowhere_is_refused(given, words):
    with pytest.raises(kit.InputError, match=words):
        lamp((0, 3, 4), **given)


@pytest.mark.analytic
def test_a_shield_holds_back_what_leaves_above_its_angle_wherever_the_lamp_is_turned():
    for more in ({}, {"pan": 50, "tilt": 70}):
        shielded = lamp((0, 3, 4), shielded=70.0, **more)
        free = lamp((0, 3, 4), **more)
        angles = np.radians([0, 69.9, 70.1, 90, 180])
        rays = np.stack([np.sin(angles), -np.cos(angles), 0 * angles], axis=1)
        np.testing.assert_allclose(shielded.intensity(rays), free.intensity(rays) * [1, 1, 0, 0, 0])


@pytest.mark.property
@given(st.floats(0, 1), st.floats(0, 1e5))
def test_light_is_proportional_to_dimming_and_flux(dimming, flux):
    full = lamp(shape=beam(1000, 60), tilt=80)
    dimmed = lamp(shape=beam(1000, 60), tilt=80, dimming=dimming, flux=flux)
    ray = np.array([0, -3, -4]) / 5
    ratio = dimming * flux / full.distribution.flux()
    assert dimmed.intensity(ray) == pytest.approx(full.intensity(ray) * ratio, rel=1e-12)


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


# What cannot be


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


# Typical lamps


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


# UN R112, class B, dipped beam of one lamp, traffic on the right: degrees to the right, degrees up, at least, at most.
R112 = [
    (-3.43, 0.57, 0, 350), (2.5, 1.0, 0, 1750), (1.15, -0.57, 10100, math.inf), (1.72, -0.86, 10100, math.inf),
    (0.0, -0.86, 5100, math.inf), *((h, v, 0, 625) for h in (-8, -4, -1) for v in (0.2, 1, 2, 4)),
    *((h, v, 0, 625) for h, v in ((1, 0.6), (3, 1.2), (5, 1.8), (8, 3.0))),
]  # fmt: skip


@pytest.mark.published
@pytest.mark.parametrize(("right", "up", "least", "most"), R112)
@pytest.mark.parametrize("level", ["low", "nominal", "high"])
def test_headlamps_pass_the_points_of_un_r112(right, up, least, most, level):
    h, v = math.radians(right), math.radians(up)
    for towards, turn in (((0, -9), 0.0), ((9, 0), -math.pi / 2)):  # towards the house, and along the street
        ray = np.array([math.cos(v) * math.sin(h - turn), math.sin(v), -math.cos(v) * math.cos(h - turn)])
        for found in headlamps("car", position=(0, 0), towards=towards, level=level):
            assert least <= float(found.intensity(ray)) <= most


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
