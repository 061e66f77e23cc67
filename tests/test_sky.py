import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit import reference
from kit.sky.natural_light import (
    facing_sky,
    horizontal_illuminance,
    moon_normal,
    sky_luminance,
    vertical_from_horizontal,
)

MOUNTAIN = 0.172  # mag for each air mass over Mauna Kea: Krisciunas and Schaefer 1991, from memory
STARLIGHT = reference.value("sky", "starlight")
JOINTS = (-12.0, -5.0, -0.8, 5.0, 20.0)
SHARE = st.floats(0.0, 1.0)
HALF = st.floats(0.0, 0.5)
PHASE = st.floats(0.0, 180.0)

# Janiczek and DeYoung, USNO Circular 171 (1987), from memory; here once more, so that a slip in the table shows:
# log10 E = l0 + l1 x + l2 x^2 + l3 x^3 with x = elevation / 90 degrees.
USNO_171 = {
    (20.0, 90.0): (3.74, 3.97, -4.07, 1.47),
    (5.0, 20.0): (3.05, 13.28, -45.98, 64.33),
    (-0.8, 5.0): (2.88, 22.26, -207.64, 1034.30),
    (-5.0, -0.8): (2.88, 21.81, -258.11, -858.36),
    (-12.0, -5.0): (2.70, 12.17, -431.69, -1899.83),
    (-18.0, -12.0): (13.84, 262.72, 1447.42, 2797.93),
}


def published_piece(ends, elevation):
    x = np.asarray(elevation) / 90.0
    return 10.0 ** sum(c * x**i for i, c in enumerate(USNO_171[ends]))


# Sun and twilight


@pytest.mark.published
@pytest.mark.parametrize(
    ("elevation", "expected", "tolerance"),
    [
        # USNO Circular 171, values of the log-cubic; a joint is blended, which is worth 0.2% at -0.8 and 0.5% at -12.
        (-0.8, 464.0, 0.003),
        (-3.0, 79.0, 0.005),
        (-6.0, 3.41, 0.002),
        (-9.0, 0.116, 0.005),
        (-12.0, 0.00814, 0.006),
        # 0.0007 is given with one digit; the coefficients give 6.45e-4.
        (-18.0, 0.0007, 0.09),
    ],
)
def test_twilight_of_usno_circular_171(elevation, expected, tolerance):
    assert horizontal_illuminance(elevation) == pytest.approx(expected, rel=tolerance)


@pytest.mark.published
def test_twilight_of_the_glossary_of_meteorology():
    # American Meteorological Society, Glossary of Meteorology, "twilight": sunset 585 to 410 lx, end of civil
    # twilight 3.5 to 2, of nautical twilight 0.008, of astronomical twilight 6e-4 lx; the last two have one digit.
    assert 410.0 < horizontal_illuminance(-50.0 / 60.0) < 585.0
    assert 2.0 < horizontal_illuminance(-6.0) < 3.5
    assert horizontal_illuminance(-12.0) == pytest.approx(0.008, abs=0.0005)
    assert horizontal_illuminance(-18.0) == pytest.approx(6e-4, abs=0.5e-4)


@pytest.mark.published
@pytest.mark.parametrize("ends", USNO_171, ids=str)
def test_between_the_joints_the_curve_is_the_published_one(ends):
    inside = np.linspace(ends[0] + 0.11, ends[1] - (0.11 if ends[1] < 90.0 else 0.0), 50)
    np.testing.assert_allclose(horizontal_illuminance(inside), published_piece(ends, inside), rtol=1e-9)


@pytest.mark.parametrize(
    ("joint", "jump"), [(20.0, 1.0021), (5.0, 1.0087), (-0.8, 0.9969), (-5.0, 1.0037), (-12.0, 0.9901)]
)
def test_jumps_of_the_published_pieces_are_as_stated(joint, jump):
    upper = next(ends for ends in USNO_171 if ends[0] == joint)
    lower = next(ends for ends in USNO_171 if ends[1] == joint)
    above, below = published_piece(upper, joint), published_piece(lower, joint)
    assert above / below == pytest.approx(jump, abs=5e-5)
    # The blend goes through the middle.
    assert horizontal_illuminance(joint) == pytest.approx(np.sqrt(above * below), rel=1e-9)


@pytest.mark.analytic
@pytest.mark.parametrize("joint", [*JOINTS, *(j + w for j in JOINTS for w in (-0.1, 0.1)), -18.0])
def test_light_and_its_slope_are_continuous_at_every_joint(joint):
    step = 1e-6
    before, here, after = np.log(horizontal_illuminance(joint + step * np.array([-1.0, 0.0, 1.0])))
    # The slope is 1.1 per degree at most, so a step moves ln E by 1.1e-6; a jump of the pieces would be 2e-3 or more.
    assert abs(after - here) < 1.2e-6
    assert abs(here - before) < 1.2e-6
    assert (after - here) / step == pytest.approx((here - before) / step, abs=1e-3)


def test_the_ends_of_the_pieces_are_the_joints_tested_here():
    rows = [row for row in reference.table("sky") if (row.group, row.quantity[:9]) == ("daylight", "lower end")]
    ends = sorted(-row.value if row.quantity.endswith(", negative") else row.value for row in rows)
    assert ends == sorted([*JOINTS, -18.0])


@pytest.mark.property
def test_more_sun_is_more_light():
    elevations = np.linspace(-90.0, 90.0, 180_001)
    light = horizontal_illuminance(elevations)
    rises = np.diff(light)
    assert (rises[elevations[1:] > -18.0] > 0.0).all()
    assert (rises >= 0.0).all()
    # Starlight is added, not switched on: above it everywhere, and reached.
    assert light.min() == STARLIGHT
    assert (light[elevations > -25.0] > STARLIGHT).all()


# Wall from ground


@pytest.mark.analytic
def test_a_wall_sees_half_of_a_uniform_sky():
    # A sky of luminance L: pi L on the ground, pi L / 2 on a wall before black ground, pi L before white ground.
    luminance = 3.0
    ground = np.pi * luminance
    assert vertical_from_horizontal(ground, ground_reflectance=0.0) == pytest.approx(ground / 2.0)
    assert vertical_from_horizontal(ground, ground_reflectance=1.0) == pytest.approx(ground)
    # Nothing stands on the ground, though houses hide sky.
    street = vertical_from_horizontal(ground, ground_reflectance=0.5, sky_view=0.1)
    assert street == pytest.approx(ground * (0.1 + 0.5 * 0.5))


@pytest.mark.analytic
def test_houses_across_the_street_hide_sky():
    # A long row of houses up to 45 degrees leaves (1 - sin 45) / 2 of the view: here by summing the strips of sky above
    # it, each with the cosine at which it falls on the wall, of all strips of a hemisphere (whose sum is 2).
    edge = np.radians(45.0)
    profile = (np.arange(20_000) + 0.5) / 20_000 * (np.pi / 2.0 - edge) + edge
    share = np.sum(np.cos(profile)) * (np.pi / 2.0 - edge) / 20_000 / 2.0
    view = (1.0 - np.sin(edge)) / 2.0
    assert share == pytest.approx(view, rel=1e-6)
    assert vertical_from_horizontal(10.0, ground_reflectance=0.0, sky_view=view) == pytest.approx(10.0 * share)


@pytest.mark.reference
@pytest.mark.parametrize("rho", [0.0, 0.1, 0.7])
def test_wall_against_pvlib(rho):
    irradiance = pytest.importorskip("pvlib.irradiance")
    other = irradiance.isotropic(90.0, 120.0) + irradiance.get_ground_diffuse(90.0, 120.0, albedo=rho)
    assert vertical_from_horizontal(120.0, ground_reflectance=rho) == pytest.approx(other, rel=1e-12)


@pytest.mark.published
@pytest.mark.parametrize(
    ("sky", "expected"),
    [
        # CIE S 011 / ISO 15469 standard general skies, gradation a, b and indicatrix c, d, e: from memory.
        ((-1.0, -0.32, 10.0, -3.0, 0.45), (3.0, 1.4, 1.2)),  # 12: CIE clear sky
        ((4.0, -0.7, 0.0, -1.0, 0.0), (0.8, 0.8, 0.8)),  # 1: CIE overcast sky, for which 0.396 of E_h is known
    ],
)
def test_how_far_a_clear_sky_is_from_uniform(sky, expected):
    a, b, c, d, e = sky
    count = 300
    zenith, around = np.meshgrid(
        (np.arange(count) + 0.5) / count * np.pi / 2.0,
        (np.arange(4 * count) + 0.5) / count * np.pi / 2.0,
        indexing="ij",
    )
    solid = np.sin(zenith) * (np.pi / 2.0 / count) ** 2
    from_sun = np.arccos(np.sin(zenith) * np.cos(around))  # the sun on the horizon at azimuth 0
    glow = 1.0 + c * (np.exp(d * from_sun) - np.exp(d * np.pi / 2.0)) + e * np.cos(from_sun) ** 2
    light = (1.0 + a * np.exp(b / np.cos(zenith))) * glow * solid
    ground = np.sum(light * np.cos(zenith))
    uniform = vertical_from_horizontal(ground, ground_reflectance=0.0)
    for facing, ratio in zip((0.0, np.pi / 2.0, np.pi), expected, strict=True):
        wall = np.sum(light * np.maximum(np.sin(zenith) * np.cos(around - facing), 0.0))
        # Stated to one decimal.
        assert wall / uniform == pytest.approx(ratio, abs=0.05)


@pytest.mark.published
def test_the_clear_sky_faces_a_wall_as_iso_15469_has_it():
    """CIE sky 12 with the sun on the horizon: 3.0, 1.4 and 1.16 times an even sky; an overcast one .396 E_h, alike."""
    clear = facing_sky(0.0, [0.0, 90.0, 180.0, 270.0, -90.0, 360.0], "clear sky")
    np.testing.assert_allclose(clear, [3.0, 1.4, 1.16, 1.4, 1.4, 3.0], atol=0.05)
    np.testing.assert_allclose(facing_sky([0.0, 40.0, 90.0], 77.0, "overcast sky"), 2 * 0.396, rtol=0.05)
    # Even by definition; the rest is the sum over its cells.
    np.testing.assert_allclose(facing_sky([0.0, 40.0, 90.0], 77.0, "even sky"), 1.0, rtol=1e-3)


@pytest.mark.property
@given(st.floats(-90.0, 90.0), st.floats(0.0, 360.0))
def test_a_directional_sky_fades_into_an_even_one_without_a_step(height, aside):
    found, near = (facing_sky(at, aside, "clear sky") for at in (height, min(height + 0.01, 90.0)))
    assert 0.4 < found < 6.0
    assert abs(found - near) < 0.02
    if height <= -6.0:
        assert found == 1.0
    assert found == pytest.approx(float(facing_sky(height, 360.0 - aside, "clear sky")), rel=1e-9)


@pytest.mark.property
@given(st.floats(0.0, 1e5), SHARE, SHARE, HALF)
def test_a_wall_gets_no_more_than_the_ground(light, rho, other, sky):
    wall = vertical_from_horizontal(light, ground_reflectance=rho, sky_view=sky)
    assert 0.0 <= wall <= light * (1.0 + 1e-12)
    low, high = sorted((rho, other))
    darker = vertical_from_horizontal(light, ground_reflectance=low, sky_view=sky)
    assert darker <= vertical_from_horizontal(light, ground_reflectance=high, sky_view=sky)
    twice = vertical_from_horizontal(2.0 * light, ground_reflectance=rho, sky_view=sky)
    assert twice == pytest.approx(2.0 * wall)


# Moon


def on_ground(*, elevation, **moon):
    """Direct light of the moon on level ground [lx]."""
    return moon_normal(elevation=elevation, **moon) * np.maximum(np.sin(np.radians(elevation)), 0.0)


@pytest.mark.published
@pytest.mark.parametrize(("elevation", "published"), [(90.0, 0.269), (45.0, 0.164), (30.0, 0.098)])
def test_full_moon_on_the_ground_of_urban_and_seidelmann(elevation, published):
    # Explanatory Supplement to the Astronomical Almanac (2013), page 518 [lx]: three digits.
    assert on_ground(elevation=elevation, phase_angle=0.0) == pytest.approx(published, abs=5e-4)


@pytest.mark.published
def test_full_moon_as_the_trade_counted_it():
    # 1/40 foot-candle of 10.764 lx: Theatre Catalog 7 (1948-49) 259; two digits.
    assert on_ground(elevation=90.0, phase_angle=0.0) == pytest.approx(10.764 / 40.0, abs=5e-3)
    # R. L. Estes, Theatre Catalog 12 (1954-55) 278, has "more than 1%" of 3.0 fL (3.426 cd/m2 each) on an outdoor
    # screen. With its mean reflectance of 0.72, that foot-candle makes 0.6% where it falls straight on the screen: the
    # two disagree by 1.7 times, and the kit goes with the foot-candle.
    luminance = 0.72 * moon_normal(elevation=90.0, phase_angle=0.0) / np.pi
    assert luminance / (3.0 * 3.426) == pytest.approx(0.72 / 40.0 / 3.0, rel=0.01)


@pytest.mark.analytic
def test_pieces_of_the_moon_by_hand():
    # log10 E = -2.58 + 12.58/9 - 42.58/81 + 59.06/729 = -1.62689 at 10 degrees; x = 1/30 at 3: -2.21312.
    for elevation, log in ((10.0, -1.62689), (3.0, -2.21312)):
        straight = 10.0**log / np.sin(np.radians(max(elevation, 6.0)))
        assert moon_normal(elevation=elevation, phase_angle=0.0) == pytest.approx(straight, rel=2e-5)
    # Half moon: 0.00868 x 90 + 2.2e-9 x 6.561e7 = 0.92554.
    half = moon_normal(elevation=50.0, phase_angle=90.0) / moon_normal(elevation=50.0, phase_angle=0.0)
    assert half == pytest.approx(10.0**-0.92554, rel=1e-4)


@pytest.mark.analytic
def test_light_of_the_moon_rises_with_it_and_has_no_steps():
    elevation = np.linspace(0.001, 90.0, 90_000)
    straight = moon_normal(elevation=elevation, phase_angle=0.0)
    assert (np.diff(straight * np.sin(np.radians(elevation))) > 0.0).all()
    # The steepest is at the horizon: 24.27 ln 10 / 90 = 0.62 per degree.
    assert np.abs(np.diff(np.log(straight))).max() < 7e-4
    # The joints, 1.5% and 0.2%, leave a dip of less than 0.1% toward the moon.
    assert (straight > 0.999 * np.maximum.accumulate(straight)).all()


@pytest.mark.published
def test_other_air_is_counted_from_outside_the_atmosphere():
    # Krisciunas and Schaefer, PASP 103:1033 (1991), equations 3 and 8: m = -12.73 at full, I* = 10^-1.536 = 0.029107 fc
    # = 0.31331 lx, and 0.26741 lx through 0.172 mag overhead. Without air nothing is lost.
    assert moon_normal(elevation=90.0, phase_angle=0.0, extinction=0.0) == pytest.approx(0.31331, rel=1e-4)
    assert moon_normal(elevation=90.0, phase_angle=0.0, extinction=0.172) == pytest.approx(0.26741, rel=1e-4)
    # Equation 3: X = (1 - 0.96 x 0.75)^-0.5 = 1.8898 at 30 degrees.
    more = moon_normal(elevation=30.0, phase_angle=0.0, extinction=0.4)
    less = moon_normal(elevation=30.0, phase_angle=0.0, extinction=0.3)
    assert more / less == pytest.approx(10.0 ** (-0.4 * 0.1 * 1.8898), rel=1e-4)
    # The source's own air: 2.5 log10(0.313307 / 0.2691535) = 0.16493 mag; five digits of it.
    for elevation in (30.0, 60.0, 90.0):
        own = moon_normal(elevation=elevation, phase_angle=20.0, extinction=0.16493)
        assert own == pytest.approx(moon_normal(elevation=elevation, phase_angle=20.0), rel=1e-4)


@pytest.mark.published
def test_full_moon_is_as_bright_as_known():
    # 0.32 lx at most on the ground: Kyba et al., How bright is moonlight? Astronomy and Geophysics 58 (2017) 1.31.
    elevations = np.linspace(0.0, 90.0, 91)
    for air in (0.0, MOUNTAIN, None):
        assert on_ground(elevation=elevations, phase_angle=0.0, extinction=air).max() < 0.32
    # The same source: 0.05 to 0.1 lx is typical of a full moon at temperate latitudes in summer, low in the sky.
    assert 0.05 < on_ground(elevation=25.0, phase_angle=3.0) < 0.1
    # A half moon gives about a tenth of a full one: Krisciunas and Schaefer 1991, after Russell 1916.
    half, full = (on_ground(elevation=60.0, phase_angle=phase) for phase in (90.0, 0.0))
    assert half == pytest.approx(0.1 * full, rel=0.2)


def test_a_new_moon_gives_no_light_that_matters():
    new = moon_normal(elevation=90.0, phase_angle=180.0, extinction=0.0)
    assert new < STARLIGHT / 5.0
    assert new < 3e-4 * moon_normal(elevation=90.0, phase_angle=0.0, extinction=0.0)


@pytest.mark.reference
def test_a_wall_that_faces_a_low_moon_gets_more_than_its_direct_light():
    # Kasten and Young (1989), Applied Optics 28:4735, as carried by pvlib: air mass measured along the sun's rays.
    atmosphere = pytest.importorskip("pvlib.atmosphere")
    for elevation, excess in ((30.0, 0.8), (10.0, 1.0), (5.0, 1.5)):
        mass = float(atmosphere.get_relative_airmass(90.0 - elevation, model="kastenyoung1989"))
        direct = 0.31331 * 10.0 ** (-0.4 * 0.16493 * mass)
        # Stated to one decimal.
        assert moon_normal(elevation=elevation, phase_angle=0.0) / direct == pytest.approx(excess, abs=0.05)


@pytest.mark.property
@given(st.floats(0.5, 90.0), PHASE, PHASE, st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_less_moon_and_thicker_air_give_less_light(elevation, phase, other, air, thicker):
    near, far = sorted((phase, other))
    clear, hazy = sorted((air, thicker))
    full = moon_normal(elevation=elevation, phase_angle=near, extinction=clear)
    assert full >= moon_normal(elevation=elevation, phase_angle=far, extinction=clear)
    assert full >= moon_normal(elevation=elevation, phase_angle=near, extinction=hazy)


# Glow of towns


@pytest.mark.published
def test_sky_luminance_from_magnitudes():
    # L = 10.8e4 x 10^(-0.4 m), in common use with sky quality meters; 16.6 mag/arcsec2 is 2.474e-2 cd/m2.
    assert sky_luminance(16.6) == pytest.approx(2.474e-2, rel=1e-4)
    # Garstang, PASP 98:364 (1986), equation 19: 34.08 exp(20.7233 - 0.92104 m) nanolamberts of 1e-5 / pi cd/m2. Its
    # constant is 0.45% higher than the rounded one.
    magnitudes = np.array([16.0, 19.0, 22.0])
    garstang = 34.08 * np.exp(20.7233 - 0.92104 * magnitudes) * 1e-5 / np.pi
    np.testing.assert_allclose(sky_luminance(magnitudes), garstang, rtol=0.005)


@pytest.mark.analytic
def test_five_magnitudes_are_a_factor_of_a_hundred():
    assert sky_luminance(17.0) / sky_luminance(22.0) == pytest.approx(100.0)


def test_typical_skies_are_in_order_and_the_natural_one_agrees_with_starlight():
    names = ("city sky", "suburban sky", "rural sky", "natural sky")
    rows = [reference.row("sky", name) for name in names]
    assert [row.value for row in rows] == sorted(row.value for row in rows)
    assert all("Weak" in row.note for row in rows[1:3])
    light = np.pi * sky_luminance([row.value for row in rows])
    assert (np.diff(light) < 0.0).all()
    star = reference.row("sky", "starlight")
    assert star.low < light[-1] < star.high
    # Below the light that is left at the end of twilight, or the night would begin with a step.
    assert star.value < horizontal_illuminance(-18.0)


# Shapes

FUNCTIONS = {
    "sun": (horizontal_illuminance, {"elevation": -6.0}),
    "wall": (vertical_from_horizontal, {"horizontal": 3.0, "ground_reflectance": 0.2, "sky_view": 0.4}),
    "normal": (moon_normal, {"elevation": 40.0, "phase_angle": 20.0, "extinction": 0.2}),
    "luminance": (sky_luminance, {"magnitudes": 19.0}),
}


def called(function, values):
    """Call with the first value by position where the function allows it."""
    if function in (horizontal_illuminance, vertical_from_horizontal, sky_luminance):
        first, *others = values
        return function(values[first], **{name: values[name] for name in others})
    return function(**values)


@pytest.mark.parametrize("which", FUNCTIONS)
def test_scalars_and_arrays_of_any_shape(which):
    function, values = FUNCTIONS[which]
    one = called(function, values)
    assert np.ndim(one) == 0
    shape = (len(values), 3, 2)
    for i, name in enumerate(values):
        # Each argument along an axis of its own, and full arrays.
        many = values | {name: np.full((1,) * i + (4,), values[name])}
        assert np.shape(called(function, many)) == (1,) * i + (4,)
        np.testing.assert_allclose(called(function, many), one)
    full = called(function, {name: np.full(shape, value) for name, value in values.items()})
    assert full.shape == shape
    np.testing.assert_allclose(full, one)
    whole = called(function, {name: int(value) for name, value in values.items()})
    assert np.isfinite(whole)
    assert called(function, {name: np.zeros((0,)) for name in values}).shape == (0,)


@pytest.mark.bad_input
def test_arguments_that_could_be_swapped_have_names():
    with pytest.raises(TypeError):
        moon_normal(40.0, 20.0)
