"""Bands of independent deviations: the rule, and what follows from it."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.bands import in_quadrature
from kit.source.projector import combine

ratios = st.floats(0.05, 20.0)


@pytest.mark.analytic
def test_two_deviations_of_a_tenth_and_a_fifth_by_hand():
    # JCGM 100:2008, 5.1.2: relative deviations add in quadrature; sqrt(ln(1.1)^2 + ln(1.2)^2) = 0.205731.
    high, low = (float(in_quadrature((1.1, 1.2), sign)) for sign in (1, -1))
    # Six digits were written down by hand.
    assert high == pytest.approx(math.exp(0.205731), rel=1e-6)
    assert low == pytest.approx(math.exp(-0.205731), rel=1e-6)


@pytest.mark.property
@given(ratios, ratios)
def test_what_the_rule_makes_of_any_two(one, other):
    high, low = (float(in_quadrature((one, other), sign)) for sign in (1, -1))
    expected = math.exp(math.hypot(math.log(one), math.log(other)))
    # Rounding only.
    assert high == pytest.approx(expected, rel=1e-12)
    assert low == pytest.approx(1 / expected, rel=1e-12)
    # Whichever comes first, and on whichever side of nominal each lies.
    assert float(in_quadrature((other, 1 / one), 1)) == pytest.approx(high, rel=1e-12)
    # No less than the larger alone, no more than both at once.
    larger, both = max(abs(math.log(one)), abs(math.log(other))), abs(math.log(one)) + abs(math.log(other))
    assert larger * (1 - 1e-12) <= math.log(high) <= both * (1 + 1e-12)


@pytest.mark.analytic
def test_one_deviation_stands_for_itself_and_none_changes_nothing():
    assert float(in_quadrature((1.25,), 1)) == pytest.approx(1.25, rel=1e-12)
    assert float(in_quadrature((1.25,), -1)) == pytest.approx(0.8, rel=1e-12)
    assert float(in_quadrature((0.8,), -1)) == pytest.approx(0.8, rel=1e-12)
    assert float(in_quadrature((), 1)) == 1.0
    assert float(in_quadrature((1.0, 1.0), -1)) == 1.0


@pytest.mark.analytic
def test_deviations_of_many_points_broadcast():
    found = in_quadrature((np.array([[1.1], [2.0]]), np.array([1.0, 1.2, 0.5])), 1)
    assert found.shape == (2, 3)
    assert found[1, 2] == pytest.approx(2.0**2**0.5, rel=1e-12)
    assert found[0, 1] == pytest.approx(math.exp(0.205731), rel=1e-6)
    # A generator is read once.
    assert float(in_quadrature((r for r in (1.1, 1.2)), 1)) == pytest.approx(found[0, 1], rel=1e-12)


@pytest.mark.property
@given(st.lists(st.tuples(st.floats(0.1, 1.0), st.floats(1.0, 1.4), st.floats(1.0, 1.3)), max_size=5))
def test_a_product_s_band_lies_about_the_product(given_factors):
    factors = [(nominal * low, nominal, nominal * high) for low, nominal, high in given_factors]
    low, nominal, high = combine(factors)
    assert nominal == pytest.approx(math.prod(f[1] for f in factors), rel=1e-12)
    down = math.sqrt(sum(math.log(f[1] / f[0]) ** 2 for f in factors))
    up = math.sqrt(sum(math.log(f[2] / f[1]) ** 2 for f in factors))
    assert low == pytest.approx(nominal * math.exp(-down), rel=1e-12)
    assert high == pytest.approx(nominal * math.exp(up), rel=1e-12)


@pytest.mark.analytic
def test_one_factor_s_product_is_itself_and_none_is_one():
    assert combine([(0.7, 0.8, 1.1)]) == pytest.approx((0.7, 0.8, 1.1), rel=1e-12)
    assert combine([]) == (1.0, 1.0, 1.0)
    # Four factors alike: nominal to the fourth, the deviation of two of them.
    assert combine([(0.45, 0.5, 0.6)] * 4) == pytest.approx((0.5**4 * 0.9**2, 0.5**4, 0.5**4 * 1.2**2), rel=1e-12)
