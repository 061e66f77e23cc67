"""Contrast at the eye: its value, its limits, and its likely band."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.eye.glare import contrast_at_eye

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
