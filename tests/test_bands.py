"""Bands of what is worked out from a few inputs: by draws, against closed forms."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.bands import drawn_share, worked_out
from kit.source.projector import combine

ratios = st.floats(0.05, 20.0)


@pytest.mark.analytic
@settings(max_examples=25)
@given(ratios, ratios)
def test_the_band_of_a_product_of_lognormals_is_in_closed_form(one, other):
    # JCGM 101:2008 by draws; of lognormals the logarithms' deviations add as the root of the sum of squares.
    bands = [(min(r, 1 / r), 1.0, max(r, 1 / r)) for r in (one, other)]
    low, nominal, high = combine(bands)
    deviation = math.hypot(math.log(one), math.log(other))
    assert nominal == 1.0
    # Of 2,048 draws by a Sobol sequence the ends of the middle 90% are known to 2% of the deviation.
    assert math.log(high) == pytest.approx(deviation, rel=0.02, abs=1e-12)
    assert -math.log(low) == pytest.approx(deviation, rel=0.02, abs=1e-12)


@pytest.mark.analytic
def test_one_input_stands_for_itself_and_none_is_one():
    assert combine([(0.7, 0.8, 1.1)]) == (0.7, 0.8, 1.1)
    assert combine([]) == (1.0, 1.0, 1.0)
    assert combine([(0.5, 0.5, 0.5)] * 3) == (0.125, 0.125, 0.125)
    # It may fall with the input.
    assert worked_out(lambda r: 1 - r, (0.25, 0.5, 1.0), by=drawn_share) == (0.0, 0.5, 0.75)


@pytest.mark.analytic
def test_the_same_input_gives_the_same_band_and_its_ends_enclose_what_is_as_given():
    # Eight losses that are more likely not there: the product as given, 1, is seldom met.
    factors = [(0.8, 1.0, 1.0)] * 8
    low, nominal, high = combine(factors)
    assert combine(factors) == (low, nominal, high)
    assert low < nominal == high == 1.0
    # Draws by another generator, the same rule.
    z = np.random.default_rng(1).standard_normal((8, 100_000))
    product = np.where(z < 0, 0.8 ** (abs(z) / 1.644854), 1.0).prod(axis=0)
    assert low == pytest.approx(np.quantile(product, 0.05), rel=0.01)


@pytest.mark.analytic
def test_an_input_that_is_known_leaves_the_draws_of_the_others():
    bands = [(0.8, 0.9, 1.0), (0.7, 0.8, 0.85)]
    assert combine([(1.0, 1.0, 1.0), bands[0], (0.5, 0.5, 0.5), bands[1]]) == pytest.approx(
        [0.5 * end for end in combine(bands)], rel=1e-12
    )
