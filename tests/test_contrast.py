"""Contrast at the eye: its value, its limits, and its likely band."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.eye.contrast import contrast_at_eye, contrast_end

luminances = st.floats(1e-3, 1e3)
shares = st.floats(0.2, 5.0)


@pytest.mark.analytic
def test_ambient_light_and_veil_are_in_white_and_in_black():
    # (20 + 0.4 + 0.1) / (0.02 + 0.4 + 0.1) by hand.
    assert contrast_at_eye(20.0, 0.02, 0.4, 0.1) == pytest.approx(20.5 / 0.52, rel=1e-12)
    assert contrast_at_eye(20.0, 0.02, 0.1, 0.4) == contrast_at_eye(20.0, 0.02, 0.4, 0.1)
    assert contrast_at_eye(20.0, 0.02, 0.0, 0.0) == pytest.approx(1000.0, rel=1e-12)


@pytest.mark.analytic
def test_the_limits_of_contrast():
    # Nothing at all to see: nothing to tell apart. A black without any light: no end of it.
    assert contrast_at_eye(0.0, 0.0, 0.0, 0.0) == 1.0
    assert contrast_at_eye(5.0, 0.0, 0.0, 0.0) == np.inf
    assert contrast_at_eye(0.0, 0.0, 0.3, 0.0) == 1.0
    # Much light around leaves none; by hand (10 + 1e12) / (0 + 1e12).
    assert contrast_at_eye(10.0, 0.0, 1e12, 0.0) - 1.0 == pytest.approx(1e-11, rel=1e-3)
    # Where there is no wall there is none either.
    assert np.isnan(contrast_at_eye(np.nan, np.nan, np.nan, 0.1))


@pytest.mark.property
@given(luminances, luminances, luminances, luminances)
def test_more_light_around_takes_contrast_and_never_turns_it_over(black, more, ambient, veil):
    white = black + more
    found, with_ambient, with_veil = (
        float(contrast_at_eye(white, black, *rest)) for rest in ((0.0, 0.0), (ambient, 0.0), (0.0, veil))
    )
    assert 1.0 < with_ambient < found
    assert 1.0 < with_veil < found


@pytest.mark.analytic
def test_points_and_skies_broadcast():
    found = contrast_at_eye(np.array([10.0, 20.0]), np.array([0.1, 0.0]), np.array([[0.0], [1.0], [2.0]]), 0.0)
    assert found.shape == (3, 2)
    np.testing.assert_allclose(found, [[100, np.inf], [11 / 1.1, 21], [12 / 2.1, 11]], rtol=1e-12)


# The likely band


def end(light, wall, sign, *, white=20.0, black=0.05, ambient=0.4, veil=0.1):
    given_arrays = (np.array([float(v)]) for v in (white, black, ambient))
    white, black, ambient = given_arrays
    nominal = contrast_at_eye(white, black, ambient, veil)
    return float(contrast_end(white, black, ambient, veil, nominal, light, np.array([float(wall)]), sign)[0])


@pytest.mark.analytic
def test_less_light_leaves_ambient_light_and_veil_as_they_are():
    nominal = 20.5 / 0.55
    assert end(0.8, 1.0, -1) == pytest.approx((16 + 0.5) / (0.04 + 0.5), rel=1e-12)
    assert end(1.3, 1.0, 1) == pytest.approx((26 + 0.5) / (0.065 + 0.5), rel=1e-12)
    assert end(1.0, 1.0, 1) == pytest.approx(nominal, rel=1e-12)


@pytest.mark.analytic
def test_a_darker_wall_dims_picture_and_ambient_light_but_not_the_veil():
    assert end(1.0, 0.7, -1) == pytest.approx((0.7 * 20.4 + 0.1) / (0.7 * 0.45 + 0.1), rel=1e-12)
    assert end(1.0, 1.2, 1) == pytest.approx((1.2 * 20.4 + 0.1) / (1.2 * 0.45 + 0.1), rel=1e-12)
    # Without a veil the wall cancels.
    assert end(1.0, 0.7, -1, veil=0.0) == pytest.approx(20.4 / 0.45, rel=1e-12)
    # With all of the rest a veil, the wall does what the light does.
    assert end(1.0, 0.7, -1, ambient=0.0) == pytest.approx(end(0.7, 1.0, -1, ambient=0.0), rel=1e-12)


@pytest.mark.property
@given(shares, shares, luminances, luminances, st.sampled_from([-1, 1]))
def test_both_deviations_add_in_quadrature(light, wall, ambient, veil, sign):
    nominal = (20 + ambient + veil) / (0.05 + ambient + veil)
    by_light = (20 * light + ambient + veil) / (0.05 * light + ambient + veil) / nominal
    by_wall = (wall * (20 + ambient) + veil) / (wall * (0.05 + ambient) + veil) / nominal
    expected = nominal * math.exp(sign * math.hypot(math.log(by_light), math.log(by_wall)))
    # Rounding; where little is left of the deviations their logarithms lose digits.
    assert end(light, wall, sign, ambient=ambient, veil=veil) == pytest.approx(expected, rel=1e-9)


@pytest.mark.analytic
def test_what_has_no_band():
    """A black without any light around it, a wall that sends nothing back, and one of which nothing is known."""
    assert end(0.8, 0.9, -1, black=0.0, ambient=0.0, veil=0.0) == np.inf
    assert end(0.8, 0.9, 1, black=0.0, ambient=0.0, veil=0.0) == np.inf
    dark = {"white": 0.0, "black": 0.0, "ambient": 0.0}
    for veil in (0.0, 0.3):
        assert end(0.8, 1.0, -1, **dark, veil=veil) == 1.0
    # The reflectance of the high end over one that is next to nothing.
    assert end(1.0, np.inf, 1) == pytest.approx(20.5 / 0.55, rel=1e-12)
    assert np.isnan(end(0.8, 0.9, -1, white=np.nan, black=np.nan))


@pytest.mark.analytic
@pytest.mark.parametrize("wall", [0.0, 1e-6, 0.5])
def test_without_a_veil_the_wall_s_end_leaves_the_contrast_however_dark_it_is(wall):
    white, black, ambient = np.array([20.0]), np.array([0.1]), np.array([0.0])
    nominal = contrast_at_eye(white, black, ambient, 0.0)
    # The wall cancels, and there is no ambient light that the lower light could lose against; rounding only.
    low = contrast_end(white, black, ambient, 0.0, nominal, 0.8, np.array([wall]), -1)
    np.testing.assert_allclose(low, nominal, rtol=1e-12)
