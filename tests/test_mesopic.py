import re

import colour
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import kit
from kit import reference
from kit.errors import InputError
from kit.eye.mesopic import WORTH, dim_vision, mesopic_luminance, scotopic_photopic_ratio, white_ratios
from kit.results import text_table
from kit.source.spectra import FINE, Spectrum, ambient_spectrum, light_source, light_source_names
from kit.wall.surface_spectra import surface_spectrum

LUMINANCE = st.floats(1e-6, 1e4)
RATIO = st.floats(0.3, 15.0)

# CIE 191:2010, table of effective luminance against the photometer [%], by S/P ratio: from memory, as the constants of
# the system are, so it holds the kit to what it was and proves no more. No package was found that carries the table.
# Photopic luminance, to which the eye is adapted: 0.01, 0.03, 0.1, 0.3, 1, 3 cd/m2.
CIE_191_LUMINANCES = (0.01, 0.03, 0.1, 0.3, 1.0, 3.0)
CIE_191_PERCENT = {
    0.45: (-55, -34, -21, -13, -6, -2),
    0.65: (-31, -20, -13, -8, -4, -1),
    0.85: (-12, -8, -5, -3, -2, 0),
    1.05: (4, 3, 2, 1, 1, 0),
    1.25: (18, 13, 8, 5, 3, 1),
    1.45: (32, 22, 15, 9, 5, 1),
    1.65: (45, 32, 21, 13, 7, 2),
    1.85: (57, 40, 27, 17, 9, 3),
    2.05: (69, 49, 32, 21, 11, 3),
    2.25: (80, 57, 38, 24, 12, 4),
    2.45: (91, 65, 43, 28, 14, 4),
    2.65: (101, 73, 49, 31, 16, 5),
}


def power(name, function, waves=FINE):
    values = np.broadcast_to(function(np.asarray(waves, float)), np.shape(waves))
    return Spectrum(name=name, wavelengths=tuple(waves), values=tuple(values), origin="parametric", source="a test")


def illuminant(name):
    table = colour.SDS_ILLUMINANTS[name]
    return power(name, lambda waves: np.interp(waves, table.wavelengths, table.values))


def one_line(wavelength):
    return power(f"line at {wavelength} nm", lambda waves: np.where(waves == wavelength, 1.0, 0.0))


def by_iteration(photopic, ratio, rounds=5000):
    """Return L_mes by the procedure of CIE 191: m = 0.5, then round after round; written once more, by L_s."""
    m = np.full(np.broadcast(photopic, ratio).shape, 0.5)
    peak = 683.0 / 1699.0
    scotopic = np.asarray(photopic) * ratio
    for _ in range(rounds):
        mesopic = (m * photopic + (1.0 - m) * scotopic * peak) / (m + (1.0 - m) * peak)
        with np.errstate(divide="ignore"):  # no light that rods see: m = 0
            before, m = m, np.clip(0.7670 + 0.3334 * np.log10(mesopic), 0.0, 1.0)
        if np.abs(m - before).max() < 1e-13:
            return (m * photopic + (1.0 - m) * scotopic * peak) / (m + (1.0 - m) * peak)
    raise AssertionError("no end")


# The S/P ratio


@pytest.mark.published
@pytest.mark.parametrize(
    ("name", "expected"),
    [
        # S. M. Berman, Energy efficiency consequences of scotopic sensitivity, Journal of the Illuminating Engineering
        # Society 21 (1992): incandescent 1.41, daylight 6500 K 2.47. From memory.
        ("A", 1.41),
        ("D65", 2.47),
    ],
)
def test_ratio_of_standard_illuminants(name, expected):
    # One unit of the last digit: sums over other steps and ends of the spectrum differ by that.
    assert scotopic_photopic_ratio(illuminant(name)) == pytest.approx(expected, abs=0.01)


@pytest.mark.published
def test_sodium_light_is_poor_in_what_rods_see():
    # Berman 1992, from memory: high pressure sodium 0.4 (35 W) to 0.62 (50 W).
    assert 0.4 < scotopic_photopic_ratio(ambient_spectrum("sodium street lamp")) < 0.62


@pytest.mark.published
@pytest.mark.parametrize(("wavelength", "scotopic", "photopic"), [(507, 1.0, 0.4443), (555, 0.402, 1.0)])
def test_single_lines_have_the_tabulated_efficiencies(wavelength, scotopic, photopic):
    # Tables of the CIE observers 1951 and 1924, four digits.
    expected = 1700.0 / 683.0 * scotopic / photopic
    assert scotopic_photopic_ratio(one_line(wavelength)) == pytest.approx(expected, rel=2e-4)


@pytest.mark.analytic
def test_lights_add_by_their_photopic_parts():
    one, other = one_line(500), one_line(620)
    efficiency = colour.SDS_LEFS["CIE 1924 Photopic Standard Observer"]
    both = power("both", lambda waves: np.where((waves == 500) | (waves == 620), 1.0, 0.0))
    weights = [efficiency[500], efficiency[620]]
    expected = np.average([scotopic_photopic_ratio(line) for line in (one, other)], weights=weights)
    assert scotopic_photopic_ratio(both) == pytest.approx(expected, rel=1e-9)


@pytest.mark.analytic
def test_the_wall_filters_the_light():
    light, brick = ambient_spectrum("daylight"), surface_spectrum(kit.Surface.from_reference("red brick"))
    leaving = power("leaving", lambda waves: light.fine * brick.fine)
    assert scotopic_photopic_ratio(light, brick) == pytest.approx(scotopic_photopic_ratio(leaving), rel=1e-9)
    flat = power("grey", lambda waves: 0.3)
    assert scotopic_photopic_ratio(light, flat) == pytest.approx(scotopic_photopic_ratio(light), rel=1e-12)
    assert scotopic_photopic_ratio(light, brick) < scotopic_photopic_ratio(light)


@pytest.mark.parametrize("name", light_source_names())
def test_white_of_a_projector_is_all_its_channels(name):
    source = light_source(name)
    white = power("white", lambda waves: sum(channel.fine for channel in source.channels))
    ratio = scotopic_photopic_ratio(source)
    assert ratio == pytest.approx(scotopic_photopic_ratio(white), rel=1e-12)
    red, green, blue = (scotopic_photopic_ratio(channel) for channel in source.channels)
    assert red < 1.0 < green < blue
    assert red < ratio < blue


@pytest.mark.property
@given(st.floats(1e-6, 1e6))
def test_the_ratio_does_not_depend_on_the_amount_of_light(times):
    light = ambient_spectrum("warm white led street lamp")
    more = power("more", lambda waves: times * light.on(waves), light.wavelengths)
    assert scotopic_photopic_ratio(more) == pytest.approx(scotopic_photopic_ratio(light), rel=1e-9)


# The mesopic luminance


@pytest.mark.regression
@pytest.mark.parametrize("ratio", CIE_191_PERCENT)
def test_effective_luminance_of_cie_191(ratio):
    change = 100.0 * (mesopic_luminance(CIE_191_LUMINANCES, ratio) / np.array(CIE_191_LUMINANCES) - 1.0)
    # Whole percents; -29.5 and 12.5 stand on the edge of rounding.
    np.testing.assert_allclose(change, CIE_191_PERCENT[ratio], atol=0.53)


@pytest.mark.reference
@pytest.mark.parametrize(("ratio", "expected"), [(0.65, 0.96081), (1.45, 1.0473), (2.05, 1.1060), (2.65, 1.1605)])
def test_luxpy_at_one_candela(ratio, expected):
    # luxpy 1.12.5, get_cie_mesopic_adaptation; at 1 cd/m2 alone, as its sum has S/P in place of L_s. Five digits; it
    # stops when m changes by less than 1e-5.
    assert mesopic_luminance(1.0, ratio) == pytest.approx(expected, rel=6e-5)


@pytest.mark.analytic
def test_the_procedure_of_cie_191_gives_the_same():
    photopic, ratio = np.geomspace(1e-4, 20.0, 201)[:, None], np.linspace(0.3, 15.0, 40)
    np.testing.assert_allclose(mesopic_luminance(photopic, ratio), by_iteration(photopic, ratio), rtol=1e-10)


@pytest.mark.analytic
@given(st.floats(0.0, 1e6))
def test_a_ratio_of_one_changes_nothing(luminance):
    assert mesopic_luminance(luminance, 1.0) == luminance


@pytest.mark.analytic
@given(luminance=st.floats(5.01, 1e6), ratio=RATIO)
def test_from_five_candela_up_the_photometer_is_right(luminance, ratio):
    # Four digits of the slope put the end at 5.0017 cd/m2.
    assert mesopic_luminance(luminance, ratio) == pytest.approx(luminance, rel=1e-12)


@pytest.mark.analytic
@given(ratio=RATIO, share=st.floats(0.0, 0.99))
def test_at_the_dark_end_rods_alone_count(ratio, share):
    # m = 0 where L_mes, then L_s, is 10^(-a/b) = 0.005006 cd/m2 or less.
    photopic = share * 0.005 / max(ratio, 1.0)
    assert mesopic_luminance(photopic, ratio) == pytest.approx(photopic * ratio, rel=1e-12)


@pytest.mark.analytic
def test_the_coefficients_reach_the_ends_of_the_range():
    a, b = (reference.value("eye", f"adaptation {name}") for name in ("at 1 cd/m2", "per decade"))
    # Four digits of b: 10^((1 - a) / b) is 4.998 to 5.002.
    assert 10.0 ** ((1.0 - a) / b) == pytest.approx(reference.value("eye", "upper end"), rel=1e-3)
    assert 10.0 ** (-a / b) == pytest.approx(reference.value("eye", "lower end"), rel=2e-3)


@pytest.mark.published
def test_reference_rows_agree_with_the_observers():
    # CIE 1951 scotopic observer: 0.402 at 555 nm.
    assert reference.value("eye", "scotopic efficiency at 555 nm") == pytest.approx(0.402, abs=5e-6)
    assert reference.value("eye", "scotopic efficiency at 555 nm") == 683 / 1699
    row = reference.row("eye", "maximum efficacy of rods over cones")
    assert row.value == colour.constants.CONSTANT_KP_M / colour.constants.CONSTANT_K_M
    assert row.low < row.value < row.high


@pytest.mark.property
@given(LUMINANCE, RATIO)
def test_the_result_solves_the_equation(photopic, ratio):
    mesopic = mesopic_luminance(photopic, ratio)
    m = min(max(0.7670 + 0.3334 * np.log10(mesopic), 0.0), 1.0) if mesopic > 0.0 else 0.0
    peak = 683.0 / 1699.0
    again = photopic * (m + (1.0 - m) * ratio * peak) / (m + (1.0 - m) * peak)
    assert again == pytest.approx(mesopic, rel=1e-10)


@pytest.mark.property
@given(LUMINANCE, RATIO)
def test_the_result_lies_between_cones_and_rods(photopic, ratio):
    low, high = sorted((photopic, photopic * ratio))
    assert low * (1.0 - 1e-12) <= mesopic_luminance(photopic, ratio) <= high * (1.0 + 1e-12)


@pytest.mark.property
@given(LUMINANCE, st.floats(0.3, 7.0), st.floats(1.0 + 1e-6, 2.0))
def test_more_light_and_bluer_light_are_worth_more(photopic, ratio, times):
    here = mesopic_luminance(photopic, ratio)
    assert mesopic_luminance(photopic * times, ratio) > here
    assert mesopic_luminance(photopic, ratio * times) >= here * (1.0 - 1e-12)
    if photopic < 4.99:
        assert mesopic_luminance(photopic, ratio * times + 1e-3) > here


@pytest.mark.property
@given(LUMINANCE, RATIO)
def test_no_jumps(photopic, ratio):
    # Relative slopes are 14 each at most, at a ratio of 0.28; a jump would be 1e-3 or more.
    here = mesopic_luminance(photopic, ratio)
    there = mesopic_luminance(photopic * (1.0 + 1e-6), ratio * (1.0 + 1e-6))
    assert there == pytest.approx(here, rel=1e-4)


@pytest.mark.analytic
def test_no_light_is_worth_nothing():
    assert mesopic_luminance(0.0, 2.0) == 0.0


def test_shapes_and_scalars():
    photopic, ratio = np.geomspace(0.01, 10.0, 6).reshape(2, 3, 1), np.array([0.5, 1.0, 2.0, 3.0])
    result = mesopic_luminance(photopic, ratio)
    assert result.shape == (2, 3, 4)
    assert result[1, 2, 0] == mesopic_luminance(photopic[1, 2, 0], 0.5)
    assert mesopic_luminance([], 1.0).shape == (0,)
    assert isinstance(mesopic_luminance(1, 2), float)
    assert isinstance(scotopic_photopic_ratio(light_source("lamp")), float)
    given_array = np.array([1.0, 2.0])
    mesopic_luminance(given_array, 2.0)[0] = 9.0
    assert given_array.tolist() == [1.0, 2.0]


# In words


def test_table_of_typical_whites():
    frame = dim_vision(1.0).frame()
    assert frame["S/P"].to_dict() == white_ratios()
    assert list(frame.columns[1:]) == [f"at {level} cd/m²" for level in ("0.1", "0.3", "1", "3", "5")]
    for column in frame.columns[1:]:
        level = float(column.split()[1])
        np.testing.assert_allclose(frame[column], mesopic_luminance(level, frame["S/P"].values) / level - 1, rtol=1e-12)
    assert (frame["at 5 cd/m²"] == 0).all()
    assert max(map(len, text_table(frame).split("\n"))) <= 120


def test_red_brick_takes_from_what_rods_see():
    ratios = white_ratios()
    for source in ("lamp", "laser phosphor", "three laser"):
        assert 1.0 < ratios[f"red brick, {source}"] < ratios[f"white painted brick, {source}"]


def test_table_of_own_lights():
    lines = text_table(dim_vision(0.3, {"sodium": 0.6, "flat": 1, "moon": 2.05}, luminances=[0.1, 1]).frame()).split(
        "\n"
    )
    assert [line.split() for line in lines[1:]] == [
        ["sodium", "0.60", "-15%", "-4%"],
        ["flat", "1.00", "0%", "0%"],
        ["moon", "2.05", "+32%", "+11%"],
    ]


@pytest.mark.parametrize(
    ("luminance", "start", "says"),
    [
        (300, "At 300 cd/m²", ["light meter is right"]),
        (5.0, "At 5 cd/m²", ["light meter is right"]),
        (4.9, "At 4.9 cd/m²", ["between day and night", "colours fade", "detail blurs"]),
        (0.3, "At 0.3 cd/m²", ["follows the light meter", "practice with light meters and stay as they are"]),
        (0.0051, "At 0.0051 cd/m²", ["between day and night"]),
        (0.005, "At 0.005 cd/m²", ["night vision alone", "colours are gone", "practice with light meters"]),
        (0, "At 0 cd/m²", ["night vision alone"]),
    ],
)
def test_notes(luminance, start, says):
    words = dim_vision(luminance).sentence()
    assert words.endswith(f" {WORTH}")
    words = words.removesuffix(f" {WORTH}")
    assert words.startswith(f"{start} the eye ")
    assert all(part in words for part in says)
    assert words.count(". ") <= 1
    assert words.endswith(".")
    assert not re.search("photopic|scotopic|mesopic|fovea|S/P", words)


# What is refused


@pytest.mark.bad_input
@pytest.mark.parametrize("bad", [{}, [1.0], {"": 1.0}, {3: 1.0}, {"a": 0.2}, {"a": 16.0}, {"a": np.nan}])
def test_bad_lights_are_refused(bad):
    with pytest.raises(InputError, match="light"):
        dim_vision(1.0, bad)


@pytest.mark.bad_input
@pytest.mark.parametrize("bad", [[], [0.0], 1.0, [np.nan]])
def test_bad_luminances_are_refused(bad):
    with pytest.raises(InputError, match="luminances"):
        dim_vision(1.0, {"a": 1.0}, luminances=bad)
    with pytest.raises(InputError, match="luminance"):
        dim_vision(-0.1)
