"""Light at the eye in a beam, the ground where an eye meets it, and what goes to the sky."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

import kit
from kit import reference
from kit.results import shown, text_table
from kit.source.projector import Factor
from kit.stage.beam_safety import NEAREST, RAYS, beam_table, keep_out, say, stray_warning

CHAIN = (Factor(name="loss", low=0.5, nominal=0.7, high=0.8, source="made up"),)
PLAIN = kit.Projector(light_output=3000.0, throw_ratio=1.25, resolution=(1600, 1000), chain=CHAIN)


def scene(facade, *pairs):
    return kit.Scene(facade=facade, projectors=pairs)


def square(x=0.0, y=1.0, z=10.0):
    return kit.Placement(position=(x, y, z), aim=(x, y, 0.0))


# Light at the eye


@pytest.mark.analytic
@pytest.mark.parametrize("away", [0.5, 1.0, 7.0, 40.0])
def test_light_on_the_axis_is_delivered_lumens_over_the_picture(away):
    found = beam_table(PLAIN, [away])
    width, height = away / 1.25, away / 1.25 / 1.6
    assert found.picture == pytest.approx((width / away, height / away))
    for level, factor in enumerate((0.5, 0.7, 0.8)):
        assert found.on_axis(away)[level] == pytest.approx(3000.0 * factor / (width * height), rel=1e-12)
    # The corner at depth d is d / cos(beta) away and gets 1 / cos(beta)^3 of the axis at that distance.
    tangent = math.hypot(0.5 / 1.25, 0.5 / 1.25 / 1.6)
    assert found.brightest(away)[1] == pytest.approx(found.on_axis(away)[1] * (1 + tangent**2) ** 1.5, rel=1e-12)


@pytest.mark.property
@settings(max_examples=30)
@given(
    across=st.floats(-0.5, 0.5),
    up=st.floats(-0.5, 0.5),
    away=st.floats(1.0, 9.0),
    shift=st.tuples(st.floats(-0.3, 0.3), st.floats(-0.6, 0.6)),
    ratio=st.floats(0.5, 3.0),
    zones=st.sampled_from(
        [None, ((50, 80, 50), (80, 100, 80), (50, 80, 50)), ((90, 80, 70), (60, 50, 60), (80, 99, 40))]
    ),
)
def test_no_place_in_the_beam_is_brighter_than_the_table_says(wall, across, up, away, shift, ratio, zones):
    projector = kit.Projector(light_output=3000.0, throw_ratio=ratio, lens_shift=shift, zones=zones, chain=CHAIN)
    placement = kit.Placement(position=(0.0, 20.0, 12.0), aim=(0.0, 20.0, 0.0))
    width, height = 1 / ratio, 1 / ratio / projector.aspect
    ray = np.array([(shift[0] + across) * width, (shift[1] + up) * height, -1.0])
    eye = tuple((np.array(placement.position) + away * ray / np.linalg.norm(ray)).tolist())
    towards = np.subtract(placement.position, eye)
    unit = float(kit.Beam.of(projector, placement).illuminance(eye, towards / np.linalg.norm(towards)))
    low, nominal, high = (lumens * unit for lumens in projector.delivered())
    table = beam_table(projector, [away])
    # The table looks at the picture with rays 1/150 of its height apart; between them zones change by less than 1e-3.
    assert nominal <= table.brightest(away)[1] * (1 + 1e-3)
    if zones is None and max(abs(across), abs(up)) < 0.5 - 1e-9:
        cosine = 1 / np.linalg.norm(ray)
        assert nominal == pytest.approx(table.on_axis(away)[1] / cosine**3, rel=1e-9)
        assert (low / nominal, high / nominal) == pytest.approx((0.5 / 0.7, 0.8 / 0.7), rel=1e-9)


@pytest.mark.analytic
def test_comparisons_are_where_the_light_is_as_much():
    found = beam_table(PLAIN, [1.0, 5.0])
    assert found.office == 500.0
    for light in (found.office, 100_000.0):
        assert found.brightest(found.reach(light))[1] == pytest.approx(light)


@pytest.mark.published
def test_sunlight_is_that_of_the_reference_spectra():
    """ASTM G173-03 as carried by pvlib: direct, and global on a plane tilted by 37 degrees; photopic observer."""
    pvlib = pytest.importorskip("pvlib")
    import colour

    spectra = pvlib.spectrum.get_reference_spectra()
    observer = colour.SDS_LEFS["CIE 1924 Photopic Standard Observer"]
    nm = spectra.index.to_numpy()
    eye = np.interp(nm, observer.wavelengths, observer.values, left=0.0, right=0.0)
    direct, whole = (683.0 * np.trapezoid(spectra[name].to_numpy() * eye, nm) for name in ("direct", "global"))
    row = reference.row("exposure", "sunlight")
    # The row is rounded to two digits, its ends to the nearest thousand.
    assert (row.low, row.high) == pytest.approx((direct, whole), abs=600.0)
    assert direct < row.value < whole


def test_rows_of_comparison_and_eye_heights():
    office = reference.row("exposure", "office")
    assert (office.value, office.unit) == (500.0, "lx")
    child, adult = (reference.row("exposure", name, group="eye height") for name in ("child", "adult"))
    assert child.low < child.value < adult.value < adult.high
    assert child.note.startswith("Weak")
    assert adult.note.startswith("Weak")
    assert reference.value("exposure", "assessment distance") == 1.0


# The ground where an eye is in the beam


@pytest.mark.analytic
def test_ground_of_a_level_beam_that_holds_all_eyes(wall):
    """The lens at 1 m, the picture 8 m by 5 m centred on it, 10 m away: eyes at 1 m are in the beam all the way."""
    (area,) = keep_out(scene(wall(), (PLAIN, square())), eye_heights=(1.0, 1.0)).areas
    assert area.nearest == pytest.approx(0.0, abs=1e-12)
    assert area.farthest == pytest.approx(math.hypot(10.0, 4.0))
    assert area.width == pytest.approx(8.0)
    assert area.up_to_wall
    assert area.ground.area == pytest.approx(8.0 * 10.0 / 2)


@pytest.mark.analytic
def test_ground_of_a_beam_that_rises_over_heads(wall):
    """A lens on the ground whose picture starts level with it: eyes are met from where the upper edge passes them."""
    projector = replace(PLAIN, lens_shift=(0.0, 0.5))  # on the wall from y = 0.2 to 5.2
    (area,) = keep_out(scene(wall(), (projector, square(y=0.2))), eye_heights=(1.0, 1.8)).areas
    # The upper edge rises 5 m in 10 m.
    assert area.nearest == pytest.approx(0.8 / 0.5)
    assert area.up_to_wall
    corners = shapely.get_coordinates(area.ground)
    # There the beam is 0.8 m x 1.6 wide.
    assert np.ptp(corners[np.isclose(corners[:, 1], 10.0 - 1.6), 0]) == pytest.approx(1.6 / 1.25)


@pytest.mark.analytic
def test_ground_of_a_high_lens_and_of_a_beam_above_all_eyes(wall):
    high = replace(PLAIN, lens_shift=(0.0, 0.0))
    (above,) = keep_out(scene(wall(8.0, 12.0), (high, square(y=6.0))), eye_heights=(0.8, 1.8), walk=3.0).areas
    # The lower edge comes down from 6 m to 3.5 m.
    assert above.ground.is_empty
    assert (above.nearest, above.farthest, above.width, above.up_to_wall) == (None, None, 0.0, False)
    assert above.clearance == pytest.approx(3.5 + 2.5 * 0.3)
    (low,) = keep_out(scene(wall(8.0, 12.0), (high, square(y=4.0))), eye_heights=(0.8, 1.8), walk=3.0).areas
    # From 4 m down to 1.5 m: below 1.8 m over the last (1.8 - 1.5) / 2.5 of 10 m.
    assert low.nearest == pytest.approx(10.0 - 1.2)
    assert low.up_to_wall


@pytest.mark.property
@settings(max_examples=40)
@given(
    height=st.floats(0.1, 6.0),
    shift=st.tuples(st.floats(-0.3, 0.3), st.floats(-0.6, 0.6)),
    turn=st.floats(-2.0, 2.0),
    rise=st.floats(-1.0, 3.0),
    roll=st.floats(-20.0, 20.0),
    seed=st.integers(0, 2**31),
)
def test_an_eye_is_over_the_ground_if_and_only_if_some_height_of_it_is_in_the_picture(
    wall, height, shift, turn, rise, roll, seed
):
    projector = replace(PLAIN, lens_shift=shift)
    placement = kit.Placement(position=(0.3, height, 10.0), aim=(turn, height + rise, 0.0), roll=roll)
    low, high = 0.8, 1.8
    (area,) = keep_out(scene(wall(30.0, 20.0), (projector, placement)), eye_heights=(low, high)).areas
    rng = np.random.default_rng(seed)
    plan = np.stack([rng.uniform(-9, 9, 400), rng.uniform(0.0, 10.0, 400)], axis=-1)
    heights = np.linspace(low, high, 101)
    points = np.concatenate(
        [np.repeat(plan[:, None], heights.size, axis=1), np.broadcast_to(heights[:, None], (400, heights.size, 1))],
        axis=-1,
    )[..., [0, 2, 1]]
    inside = kit.Beam.of(projector, placement).on(points).inside().any(axis=1)
    over = shapely.intersects_xy(area.ground, plan[:, 0], plan[:, 1])
    assert not np.any(inside & ~over & (ground_distance(area.ground, plan) > 1e-9))
    # Heights 1 cm apart miss only places at the ground's very edge.
    inner = area.ground.buffer(-0.1)
    deep = shapely.intersects_xy(inner, plan[:, 0], plan[:, 1])
    assert not np.any(deep & ~inside)


def ground_distance(ground, plan):
    return shapely.distance(ground, shapely.points(plan))


@pytest.mark.analytic
def test_the_lens_height_that_keeps_the_beam_above_a_walk_does(wall):
    front = wall(8.0, 12.0)
    walk, (low, high) = 4.0, (0.8, 1.8)
    projector, placement = replace(PLAIN, lens_shift=(0.0, 0.5)), square(y=0.4)
    (area,) = keep_out(scene(front, (projector, placement)), eye_heights=(low, high), walk=walk).areas
    assert area.clearance == pytest.approx(0.4)
    # The line from y = 0.4 at the wall through y = 1.8 at 4 m, to 10 m.
    assert area.lens_height == pytest.approx(0.4 + 1.4 * 10.0 / 4.0)
    raised = square(y=area.lens_height)
    down = (0.4 + 2.5 - area.lens_height) / 5.0
    (after,) = keep_out(
        scene(front, (replace(PLAIN, lens_shift=(0.0, down)), raised)), eye_heights=(low, high), walk=walk
    ).areas
    assert after.clearance == pytest.approx(1.8)
    corners = shapely.get_coordinates(after.ground)
    assert corners[:, 1].max() == pytest.approx(walk)  # nearer to the wall it is still low
    (behind,) = keep_out(scene(front, (projector, placement)), walk=12.0).areas
    assert (behind.clearance, behind.lens_height) == (None, None)


def test_eye_heights_not_given_are_those_of_the_table(wall):
    found = keep_out(scene(wall(), (PLAIN, square())))
    assert found.eye_heights == (0.8, 1.8)
    assert found.areas == keep_out(scene(wall(), (PLAIN, square())), eye_heights=(0.8, 1.8)).areas


# To the sky


@pytest.mark.analytic
def test_what_passes_the_roof_is_the_part_of_the_picture_above_it(wall):
    """A picture from y = 0.5 to 5.5 on a wall 4 m high and as wide: 1.5 of 5 m go to the sky."""
    projector = replace(PLAIN, lens_shift=(0.0, 0.5))
    (area,) = keep_out(scene(wall(8.0, 4.0), (projector, square(y=0.5)))).areas
    # One row of rays more or less.
    assert area.sky_share == pytest.approx(0.3, abs=1 / RAYS[1])
    low, high = area.sky_angles
    # The steepest ray goes to the middle of the upper edge.
    assert high == pytest.approx(math.degrees(math.atan(0.5)), abs=0.3)
    assert low == pytest.approx(math.degrees(math.atan(3.5 / math.hypot(10.0, 4.0))), abs=0.3)
    (none,) = keep_out(scene(wall(8.0, 5.5), (projector, square(y=0.5)))).areas
    assert (none.sky_share, none.sky_angles) == (0.0, None)


@pytest.mark.analytic
def test_lens_zones_weigh_what_goes_to_the_sky_and_falling_light_is_none(wall):
    # The upper row reads twice the rest, and the wall ends at the middle of the picture.
    zones = ((2, 2, 2), (1, 1, 1), (1, 1, 1))
    projector = replace(PLAIN, lens_shift=(0.0, 0.5), zones=zones)
    (area,) = keep_out(scene(wall(8.0, 3.0), (projector, square(y=0.5)))).areas

    def gain(y):  # the parabola through the roots of 1, 1 and 1/2, held at the brightest
        return max(1.0 + (math.sqrt(0.5) - 1.0) * (4.5 * y * y + 1.5 * y), math.sqrt(0.5)) ** -2

    above, below = (quad(gain, *ends, points=[sum(ends) / 1.5])[0] for ends in ((0.0, 0.5), (-0.5, 0.0)))
    assert area.sky_share == pytest.approx(above / (above + below), abs=1 / RAYS[1])
    # A high lens that looks down past the sides of a narrow wall sends nothing up.
    down = replace(PLAIN, lens_shift=(0.0, -0.5))
    (falling,) = keep_out(scene(wall(2.0, 9.0), (down, square(y=6.0)))).areas
    assert falling.sky_share == 0.0


# Words


def test_words_say_that_it_is_no_certificate(wall):
    text = beam_table(PLAIN, [1.0, 10.0]).sentence()
    for words in (
        "No safety certificate",
        "no hazard assessment",
        "never look into the lens",
        "62471-5",
        "1 m (3.3 ft) from the lens",
    ):
        assert words in text
    assert "not danger" in text
    assert "group 3 is not for the household" in say("caution")
    assert "maker's label decides" in say("caution")
    # No group is called safe.
    assert "group 2" not in say("caution")
    assert "no group makes a look into it right" in say("caution")
    projector = replace(PLAIN, lens_shift=(0.0, 0.5))
    rising = keep_out(scene(wall(8.0, 4.0), (projector, square(y=0.5)), (projector, square(y=0.5))), walk=3.0)
    assert rising.sentence().count(say("pilots")) == 1
    assert "Laser" in say("pilots")
    assert "pilots" in say("pilots")
    assert rising.sentence().endswith(say("caution"))
    flat = keep_out(scene(wall(), (PLAIN, square(y=2.5))))
    assert say("pilots") not in flat.sentence()


def test_frames_and_sentences_say_what_was_found(wall):
    table = beam_table(PLAIN, [10.0, 1.0])
    frame = table.frame()
    first = frame.iloc[0]
    assert [first[f"{name} [m]"] for name in ("from lens", "picture width", "picture height")] == [10.0, 8.0, 5.0]
    # 3000 x 0.7 / 40 lx on the axis; times (1 + 0.4^2 + 0.25^2)^1.5 in the corner, at this distance.
    assert first["on the axis [lx]"] == pytest.approx(52.5)
    corner = 52.5 * (1 + 0.4**2 + 0.25**2) ** 1.5
    assert first["brightest in the picture [lx]"] == pytest.approx(corner)
    assert first["times an office desk"] == pytest.approx(corner / 500)
    assert shown(frame).iloc[0].tolist() == ["10.0", "8.0", "5.0", "52", "71 (51 to 81)", "0.14"]
    # A figure beside full sun on a wall would invite a look into the lens.
    assert not any("sun" in text for text in (*frame, table.sentence()))
    assert table.frame("ft")["from lens [ft]"].tolist() == pytest.approx([32.8084, 3.28084])
    assert table.sentence("ft").startswith("An eye in the beam gets up to ")
    assert " at 1.0 m and " in table.sentence()
    assert " and " not in beam_table(PLAIN, [2.0]).sentence().split(".")[0]
    assert str(table) == f"{table.sentence()}\n\n{text_table(frame)}"
    projector = replace(PLAIN, lens_shift=(0.0, 0.5))
    found = keep_out(scene(wall(8.0, 4.0), (projector, square(y=0.5))), eye_heights=(1.0, 1.8), walk=3.0)
    assert (
        "in the beam from 1.0 m to 10.8 m from the lens, over ground up to 8.0 m wide, up to the wall"
        in found.sentence()
    )
    # 0.5 + 1.3 / 0.3 = 4.833, told no lower than it has to be.
    assert "with the lens at 4.9 m" in found.sentence()
    assert "3.3 ft and 5.9 ft" in found.sentence("ft")
    row = found.frame().loc["projector 1"]
    assert row["lens height [m]"] == 0.5
    assert row["lens height needed [m]"] == pytest.approx(0.5 + 1.3 / 0.3)
    assert shown(found.frame()).loc["projector 1", "to the sky"] == "30%"
    high = keep_out(scene(wall(8.0, 12.0), (PLAIN, square(y=6.0)), (PLAIN, square(y=7.0))), walk=3.0)
    assert "No eye between 0.8 m and 1.8 m above level ground is in beam 2." in high.sentence()
    assert "the lower edge of beam 1 is 4.2 m up, above all these eyes" in high.sentence()
    assert high.frame("ft")[["eyes in beam from [ft]", "lowest there [°]"]].isna().all(axis=None)


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("past", "sky", "words"),
    [(0.0, 0.0, []), (0.09, 0.09, []), (0.64, 0.37, ["64%", "37% of all to the sky"]), (0.2, 0.0, ["20%"]),
     (0.1, 0.0, ["10%"]), (0.0, 0.1, ["10% of the light"]), (0.3, 0.005, ["30%"]),
     (0.1, 0.5, ["50% of the light", "50% of all"])],
)  # fmt: skip
def test_a_result_warns_of_much_light_past_the_front(past, sky, words):
    said = stray_warning(past, sky)
    assert bool(said) is bool(words)
    for word in words:
        assert word in said
    if said:
        assert said.startswith("Caution: ")
        assert "drivers, pilots and neighbours" in said
        assert ("sky" in said) is (sky >= 0.005)
        assert "sky" not in stray_warning(past, 0.004)


# What is refused


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("projector", "distances", "field"),
    [
        ("bright", [1.0], "projector"),
        (replace(PLAIN, throw_ratio=(1.0, 2.0)), [1.0], "throw_ratio"),
        (PLAIN, [1.0, 0.9 * NEAREST], "distances[1]"),
    ],
)
def test_a_beam_table_names_what_is_wrong(projector, distances, field):
    with pytest.raises(kit.InputError) as caught:
        kit.beam_table(projector, distances)
    assert caught.value.field == field


@pytest.mark.bad_input
def test_what_is_no_scene_is_refused():
    with pytest.raises(kit.InputError, match="scene"):
        kit.keep_out("scene")


@pytest.mark.bad_input
def test_a_beam_that_does_not_go_to_the_wall_is_refused(wall):
    steep = kit.Placement(position=(0, 1, 3), aim=(0, 40, 0))
    with pytest.raises(kit.InputError, match="projector 2: position, aim, lens_shift"):
        keep_out(scene(wall(), (PLAIN, square()), (PLAIN, steep)))
    with pytest.raises(kit.InputError, match="projector 1: position"):
        keep_out(scene(wall(), (PLAIN, kit.Placement(position=(0, 1, -3), aim=(0, 1, -8)))))


@pytest.mark.bad_input
def test_lengths_are_in_metres_or_feet(wall):
    found = keep_out(scene(wall(), (PLAIN, square())))
    table = beam_table(PLAIN, [1.0])
    for words in (found.frame, found.sentence, table.frame, table.sentence):
        with pytest.raises(kit.InputError, match="units"):
            words("yd")
