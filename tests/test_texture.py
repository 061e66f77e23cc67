import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from kit import reference
from kit.errors import InputError
from kit.eye.pattern_vision import PatternView, contrast_sensitivity, pattern_frame, seen, subtended
from kit.results import text_table
from kit.wall.facade import Surface
from kit.wall.texture import Pattern, behind

INCH = 0.0254
NAMES = reference.names("masonry_patterns")
BRICK = Pattern.with_mean("modular brick", 0.188, 0.40)
VIEW = {"distance": 10.0, "luminance": 5.0, "picture_size": (10.0, 6.0)}
GOOD = {
    "name": "wall",
    "unit_reflectance": 0.2,
    "joint_reflectance": 0.4,
    "course_height": 0.075,
    "joint_height": 0.01,
    "unit_length": 0.215,
    "head_joint": 0.01,
}


def pattern(**change):
    return Pattern(**(GOOD | change))


reflectances = st.floats(0.01, 1.0)
patterns = st.builds(
    pattern,
    unit_reflectance=reflectances,
    joint_reflectance=reflectances,
    course_height=st.floats(0.04, 0.25),
    joint_height=st.floats(0.001, 0.039),
    unit_length=st.floats(0.1, 4.0),
    head_joint=st.floats(0.0, 0.03),
)
luminances = st.floats(0.05, 100.0)
sizes = st.tuples(st.floats(1.0, 30.0), st.floats(1.0, 15.0))


# The pattern itself


@pytest.mark.published
def test_modular_brick_is_three_courses_to_eight_inches():
    # BIA Technical Notes 10 (from memory): face 2 1/4 x 7 5/8 in, three courses 8 in, one unit and joint 8 in.
    # By hand: face 17.15625 in2 of a cell of 8/3 x 8 = 21.33333 in2, so joints take 1 - 0.804199 = 0.195801.
    brick = Pattern.from_reference("modular brick", unit_reflectance=0.2, joint_reflectance=0.4)
    assert 3 * brick.course_height == pytest.approx(8 * INCH, rel=1e-9)
    assert brick.unit_length + brick.head_joint == pytest.approx(8 * INCH, rel=1e-9)
    assert brick.course_height - brick.joint_height == pytest.approx(2.25 * INCH, rel=1e-9)
    assert brick.joint_share == pytest.approx(0.195801, abs=1e-6)  # the digits given
    assert (brick.unit_reflectance, brick.joint_reflectance) == (0.2, 0.4)


@pytest.mark.published
@pytest.mark.parametrize(
    ("name", "share"),
    [
        # Coordinating size 225 x 75 mm over a face of 215 x 65 mm (BS 4729, from memory).
        ("metric brick", 1 - 215 * 65 / (225 * 75)),
        # Twelve courses to the metre, face 240 x 71 mm (DIN 4172, DIN 105, from memory).
        ("normal format brick", 1 - 240 * 71 / (250 * 1000 / 12)),
        # Nominal 8 x 16 in, joints 3/8 in (ASTM C90, from memory).
        ("concrete block", 1 - 7.625 * 15.625 / (8 * 16)),
        ("lap siding 4 in", 0.5 / 4),
        ("lap siding 5 in", 0.5 / 5),
    ],
)
def test_share_of_joints_by_hand(name, share):
    made = Pattern.from_reference(name, unit_reflectance=0.5, joint_reflectance=0.25)
    assert made.joint_share == pytest.approx(share, rel=1e-9)
    assert made.reflectance == pytest.approx(0.5 - 0.25 * share, rel=1e-9)
    assert made.ratio == pytest.approx(2.0, rel=1e-12)


@pytest.mark.analytic
def test_ends_of_ratio_and_contrast():
    same, black = pattern(joint_reflectance=0.2), pattern(joint_reflectance=0.0)
    assert (same.ratio, same.amplitude, black.ratio) == (1.0, 0.0, math.inf)
    none = pattern(unit_reflectance=0.0, joint_reflectance=0.0)
    assert (none.ratio, none.amplitude, none.reflectance) == (1.0, 0.0, 0.0)


@pytest.mark.analytic
def test_half_and_half_is_the_square_wave_with_four_over_pi():
    # Boards whose shadow is half the exposure: fundamental 4/pi times the Michelson contrast.
    wave = pattern(joint_height=0.0375, head_joint=0.0)
    assert wave.amplitude == pytest.approx(4 / math.pi * (wave.ratio - 1) / (wave.ratio + 1), rel=1e-12)
    # A thin light line on black: 2.
    line = pattern(unit_reflectance=0.0, joint_height=1e-6, head_joint=0.0)
    assert line.amplitude == pytest.approx(2.0, rel=1e-6)


@pytest.mark.analytic
@pytest.mark.parametrize(("bed", "head"), [(1, 1), (3, 2), (4, 0), (7, 5)])
@pytest.mark.parametrize(("unit", "joint"), [(0.14, 0.40), (0.6, 0.2)])
def test_amplitude_against_the_transform_of_a_drawn_running_bond(bed, head, unit, joint):
    course, length = 8, 24  # cells: one course, one unit and its head joint
    wall = np.full((2 * course, length), unit)
    wall[:bed], wall[course : course + bed] = joint, joint
    wall[bed:course, :head] = joint
    wall[course + bed :, length // 2 : length // 2 + head] = joint  # half a unit over
    drawn = pattern(
        unit_reflectance=unit,
        joint_reflectance=joint,
        course_height=course,
        joint_height=bed,
        unit_length=length - head,
        head_joint=head,
    )
    terms = np.fft.fft2(wall) / wall.size
    # Row 2 of two courses is one cycle a course. Cells are flat, not points: the series has their sinc besides.
    fundamental = 2 * abs(terms[2, 0]) * np.sinc(1 / course)
    assert drawn.reflectance == pytest.approx(terms[0, 0].real, rel=1e-12)
    assert drawn.amplitude == pytest.approx(fundamental / terms[0, 0].real, rel=1e-12)


@pytest.mark.property
@given(patterns)
def test_bricks_and_mortar_may_change_places(made):
    other = replace(made, unit_reflectance=made.joint_reflectance, joint_reflectance=made.unit_reflectance)
    assert other.ratio == made.ratio
    assert made.reflectance + other.reflectance == pytest.approx(made.unit_reflectance + made.joint_reflectance)


@pytest.mark.property
@given(patterns, st.floats(0.1, 1.0))
def test_a_darker_wall_of_the_same_make_has_the_same_contrast(made, factor):
    dark = replace(
        made, unit_reflectance=made.unit_reflectance * factor, joint_reflectance=made.joint_reflectance * factor
    )
    # Rounding only; it is large against a difference that is itself rounding.
    for field in ("ratio", "amplitude"):
        assert getattr(dark, field) == pytest.approx(getattr(made, field), rel=1e-9, abs=1e-14)


@pytest.mark.property
@given(st.sampled_from(NAMES), st.floats(0.01, 0.99), reflectances)
def test_with_mean_keeps_the_mean(name, unit, joint):
    mean = Pattern.from_reference(name, unit_reflectance=unit, joint_reflectance=joint).reflectance
    made = Pattern.with_mean(name, mean, joint)
    assert made.reflectance == pytest.approx(mean, rel=1e-12)
    assert made.unit_reflectance == pytest.approx(unit, rel=1e-9)


@pytest.mark.bad_input
def test_a_mean_that_no_brick_gives_is_refused():
    with pytest.raises(InputError, match=r"mean_reflectance.*0.157 to 0.961 with joints of 0.8 on 19.6%"):
        Pattern.with_mean("modular brick", 0.1, 0.8)
    with pytest.raises(InputError, match="mean_reflectance"):
        Pattern.with_mean("modular brick", 0.99, 0.2)


# The eye


@pytest.mark.published
def test_least_detectable_contrast_is_that_of_itu_r_bt_2246():
    # Report ITU-R BT.2246-4, figure 31, as reproduced in the documentation of colour-science 0.4.7: 2 / 1.27 over
    # the highest sensitivity, for a picture of 60 degrees at 10 luminances from 0.01 to 100 cd/m2.
    published = [0.0218764, 0.0141848, 0.0095244, 0.0066805, 0.0049246]
    published += [0.0038228, 0.0031188, 0.0026627, 0.0023674, 0.0021814]
    for luminance, least in zip(np.logspace(-2, 2, 10), published, strict=True):

        def blindness(u, luminance=luminance):
            return -float(contrast_sensitivity(u, luminance, 60, 60))

        found = 2 / 1.27 / -minimize_scalar(blindness, bounds=(0.1, 20), method="bounded").fun
        # The documentation cuts the digits after the seventh decimal place.
        assert found == pytest.approx(least, abs=1.1e-7)


@pytest.mark.published
@pytest.mark.parametrize("frequency", [0.3, 2.0, 10.0, 40.0])
@pytest.mark.parametrize("luminance", [0.1, 2.0, 100.0])
def test_sensitivity_is_bartens_formula(frequency, luminance):
    # Barten 1999, chapter 3 (from memory): the formula and the constants of the standard observer, for a square field.
    size = 20.0
    pupil = 5 - 3 * math.tanh(0.4 * math.log10(luminance * size**2 / 40**2))
    trolands = math.pi * pupil**2 / 4 * luminance * (1 - (pupil / 9.7) ** 2 + (pupil / 12.4) ** 4)
    blur = math.hypot(0.5, 0.08 * pupil) / 60
    optics = math.exp(-2 * (math.pi * blur * frequency) ** 2)
    area = 1 / size**2 + 1 / 12**2 + frequency**2 / 15**2
    photons = 1 / (0.03 * 1.2274e6 * trolands)
    neural = 3e-8 / (1 - math.exp(-((frequency / 7) ** 2)))
    expected = optics / 3 / math.sqrt(2 / 0.1 * area * (photons + neural))
    # The same arithmetic in another order.
    assert contrast_sensitivity(frequency, luminance, size, size) == pytest.approx(expected, rel=1e-9)


@pytest.mark.analytic
def test_angles_and_frequency():
    assert subtended(2.0, 1.0) == pytest.approx(90.0, rel=1e-12)
    np.testing.assert_allclose(subtended([1.0, 2.0], [[1.0], [1e6]])[1], np.degrees([1e-6, 2e-6]), rtol=1e-9)
    # 75 mm at 10 m: 0.075 / 10 rad = 0.42972 deg, 2.3271 cycles/deg; the tangent differs by 5e-6.
    assert seen(pattern(), **VIEW).frequency == pytest.approx(2.3271, rel=3e-5)


@pytest.mark.analytic
def test_a_view_holds_together():
    view = seen(BRICK, **VIEW, picture_contrast=50.0)
    assert view.times_threshold == pytest.approx(view.amplitude / view.threshold, rel=1e-12)
    assert (view.visible, view.amplitude, view.hidden_detail) == (True, BRICK.amplitude, BRICK.ratio)
    # By hand: bricks of 0.1364 beside 0.40 are 2.933:1; log(50) / log(2.933) = 3.636.
    assert view.hidden_detail == pytest.approx(2.933, abs=1e-3)
    assert view.steps == pytest.approx(3.636, abs=1e-3)
    assert seen(BRICK, **VIEW).steps is None
    assert seen(BRICK, **VIEW, picture_contrast=1.0).steps == 0.0


@pytest.mark.analytic
@pytest.mark.parametrize("luminance", [0.1, 2.0, 10.0])
def test_the_pattern_vanishes_where_it_is_said_to(luminance):
    view = seen(BRICK, **(VIEW | {"luminance": luminance}), picture_contrast=50.0)
    edge = view.vanishing_distance
    near, far = (
        seen(BRICK, **(VIEW | {"luminance": luminance, "distance": edge * step}), picture_contrast=50.0)
        for step in (1 - 1e-6, 1 + 1e-6)
    )
    assert (near.visible, near.hidden_detail) == (True, BRICK.ratio)
    assert (far.visible, far.hidden_detail, far.steps) == (False, 1.0, math.inf)
    # brentq's own tolerance; the place does not depend on where one stands.
    assert near.vanishing_distance == far.vanishing_distance == edge
    assert near.times_threshold == pytest.approx(1.0, abs=1e-4)


@pytest.mark.analytic
def test_in_the_dark_nothing_is_seen():
    view = seen(BRICK, **(VIEW | {"luminance": 0.0}), picture_contrast=50.0)
    assert (view.threshold, view.times_threshold, view.visible) == (math.inf, 0.0, False)
    assert (view.vanishing_distance, view.hidden_detail, view.steps) == (0.0, 1.0, math.inf)


@pytest.mark.analytic
def test_a_black_joint_hides_all_detail():
    view = seen(pattern(joint_reflectance=0.0), **VIEW, picture_contrast=50.0)
    assert (view.hidden_detail, view.steps) == (math.inf, 0.0)


@pytest.mark.property
@given(patterns, st.floats(1e-3, 1e6), st.floats(0, 1e6), sizes)
def test_a_view_is_made_of_numbers(made, distance, luminance, size):
    view = seen(made, distance=distance, luminance=luminance, picture_size=size, picture_contrast=10.0)
    assert isinstance(view, PatternView)
    values = [getattr(view, field) for field in vars(view) if field != "pattern"]
    assert not any(math.isnan(value) or value < 0 for value in values)
    assert view.visible == (view.times_threshold > 1)


@pytest.mark.property
@given(patterns, luminances, sizes)
def test_beyond_the_best_distance_farther_is_never_better(made, luminance, size):
    assume(made.amplitude > 0)
    distances = made.course_height * np.geomspace(1, 2000, 60)
    views = [
        contrast_sensitivity(
            1 / subtended(made.course_height, d), luminance, subtended(size[0], d), subtended(size[1], d)
        )
        for d in distances
    ]
    best = int(np.argmax(views))
    assert np.all(np.diff(views[best:]) <= 0)
    # and what `seen` says agrees with the order
    near, far = (
        seen(made, distance=distances[i], luminance=luminance, picture_size=size)
        for i in (best, min(best + 10, len(views) - 1))
    )
    assert far.times_threshold <= near.times_threshold
    assert far.vanishing_distance == near.vanishing_distance
    assert far.visible == (distances[min(best + 10, len(views) - 1)] < far.vanishing_distance)


@pytest.mark.property
@given(patterns, st.floats(1.0, 300.0), luminances, sizes)
def test_a_wall_of_one_reflectance_has_no_pattern(made, distance, luminance, size):
    flat = replace(made, joint_reflectance=made.unit_reflectance)
    view = seen(flat, distance=distance, luminance=luminance, picture_size=size, picture_contrast=50.0)
    assert (view.amplitude, view.visible, view.vanishing_distance) == (0.0, False, 0.0)
    assert (view.hidden_detail, view.steps) == (1.0, math.inf)


@pytest.mark.property
@given(patterns, st.floats(5.0, 100.0), luminances, st.floats(1.01, 4.0))
def test_more_light_shows_more_of_the_pattern(made, distance, luminance, factor):
    dim, bright = (
        seen(made, distance=distance, luminance=level, picture_size=(10, 6))
        for level in (luminance, luminance * factor)
    )
    assert bright.times_threshold >= dim.times_threshold
    assert bright.vanishing_distance >= dim.vanishing_distance


# In words


def test_views_side_by_side():
    views = {"bare wall": seen(BRICK, **VIEW, picture_contrast=50.0), "plain": seen(BRICK, **VIEW | {"distance": 1000})}
    frame = pattern_frame(views, "ft")
    assert frame.loc["bare wall", "gone beyond [ft]"] == views["bare wall"].vanishing_distance / 0.3048
    assert frame.loc["bare wall", "shades over the pattern"] == views["bare wall"].steps
    assert [line.split()[-2:] for line in text_table(pattern_frame(views)).split("\n")[1:]] == [
        [f"{views['bare wall'].vanishing_distance:.0f}", "3.6"], [f"{views['plain'].vanishing_distance:.0f}", "-"],
    ]  # fmt: skip


def test_a_view_in_words():
    view = seen(BRICK, **VIEW, picture_contrast=50.0)
    assert view.sentence().startswith("From 10 m the pattern of modular brick is ")
    assert view.sentence("ft").startswith("From 33 ft ")
    assert view.sentence().endswith("below 2.9:1 drowns in it; its contrast leaves 3.6 shades apart.")
    assert seen(BRICK, **VIEW).sentence().endswith("drowns in it.")
    assert seen(pattern(joint_reflectance=0.0), **VIEW).sentence().endswith("All detail of the picture drowns in it.")
    assert "cannot be seen" in seen(BRICK, **VIEW | {"distance": 1000}).sentence()


# Cloth in front


def cloth(backing, front=0.6, through=0.35):
    """Kubelka's layer over a backing (JOSA 44 (1954) 330), the same on both sides."""
    return front + through**2 * backing / (1 - front * backing)


@pytest.mark.published
def test_cloth_over_two_backings():
    # Kubelka 1954: front 0.60, through 0.35 over 0.10 / 0.15 gives 0.6130 / 0.6202.
    covered = behind(pattern(unit_reflectance=0.10, joint_reflectance=0.15), cloth)
    assert covered.unit_reflectance == pytest.approx(0.6130, abs=5e-5)
    assert covered.joint_reflectance == pytest.approx(0.6202, abs=5e-5)
    assert covered.ratio == pytest.approx(0.6202 / 0.6130, abs=2e-4)
    assert covered.joint_share == pattern().joint_share
    assert "layer" in covered.name


@pytest.mark.property
@given(patterns, st.floats(0.05, 0.6), st.floats(0.0, 0.39))
def test_cloth_never_raises_the_contrast(made, front, through):
    # The layer adds the same light to both and passes less of the difference.
    covered = behind(made, lambda backing: cloth(backing, front, through))
    assume(front >= through)  # cloth that sends back more than it lets through
    assert covered.ratio <= made.ratio * (1 + 1e-9)


@pytest.mark.analytic
def test_no_layer_and_a_board_are_the_ends():
    assert behind(BRICK, lambda r: r).ratio == BRICK.ratio
    assert behind(BRICK, lambda r: 0.7).ratio == 1.0
    assert seen(behind(BRICK, lambda r: 0.7), **VIEW).visible is False


# What cannot be


@pytest.mark.bad_input
@pytest.mark.parametrize("joint", [0.075, 0.08])
def test_a_joint_takes_less_than_the_course(joint):
    with pytest.raises(InputError, match=r"pattern 'wall': joint_height.*less than the course height of 0.075 m"):
        pattern(joint_height=joint)


@pytest.mark.bad_input
def test_unknown_patterns_and_reflectances_that_cannot_be_are_refused():
    both = {"unit_reflectance": 0.2, "joint_reflectance": 0.4}
    with pytest.raises(InputError, match=r"'modular brik'.*'modular brick'"):
        Pattern.from_reference("modular brik", **both)
    for name in (None, 3, ""):
        with pytest.raises(InputError, match=r"masonry_patterns|^name = "):
            Pattern.from_reference(name, **both)
    for field in both:
        with pytest.raises(InputError, match=field):
            Pattern.from_reference("concrete block", **both | {field: None})
    with pytest.raises(InputError, match="mean_reflectance"):
        Pattern.with_mean("modular brick", "dark", 0.4)
    with pytest.raises(InputError, match="joint_reflectance"):
        Pattern.with_mean("modular brick", 0.2, 1.4)


@pytest.mark.bad_input
def test_a_layer_that_sends_back_what_cannot_be_is_refused():
    for wrong in (1.2, math.nan, None):
        with pytest.raises(InputError, match="unit_reflectance"):
            behind(BRICK, lambda r, wrong=wrong: wrong)


@pytest.mark.regression
def test_a_surface_has_the_pattern_of_its_kind():
    # Sizes of BIA and ASTM as in masonry_patterns.csv, from memory.
    kinds = {"red brick": "modular brick", "concrete block": "concrete block", "concrete": None, "white siding": None}
    found = {name: Pattern.of(Surface.from_reference(name)) for name in kinds}
    assert {name: one and one.name for name, one in found.items()} == kinds
    # The wall keeps what it reflects, and paint covers brick and mortar alike.
    assert found["red brick"].reflectance == pytest.approx(reference.value("surfaces", "red brick"), rel=1e-12)
    assert Pattern.of(Surface.from_reference("painted brick")).ratio == 1.0
