"""Lamps and strings by themselves: how they are turned, shielded and dimmed, and typical ones."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import kit
from kit import reference
from kit.sky.luminaire import MOST_NODES, LedString, Luminaire, headlamps, typical_luminaire
from kit.sky.photometric_file import Distribution, beam, cutoff, isotropic


def lamp(position=(0, 3, 4), shape=None, **more):
    return Luminaire(**{"name": "lamp", "position": position, "distribution": shape or isotropic(1000)} | more)


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
