import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import kit


@pytest.mark.published
@pytest.mark.parametrize(("lux", "angle", "veil"), [(1.0, 10.0, 0.1), (2.0, 1.0, 20.0), (4.5, 30.0, 0.05)])
def test_veil_is_ten_lux_over_the_angle_squared(lux, angle, veil):
    # Relation: J. J. Vos, Clin. Exp. Optom. 86 (2003) 363; CIE 146:2002. 1 to 30 degrees.
    # By hand; rounding only.
    assert kit.veil_luminance(lux, angle) == pytest.approx(veil, rel=1e-12)


@pytest.mark.published
@pytest.mark.parametrize(("age", "factor"), [(0, 1.0), (35, 1.0625), (70, 2.0)])
def test_veil_grows_with_the_fourth_power_of_age(age, factor):
    # Age factor 1 + (age / 70)^4: J. J. Vos, Clin. Exp. Optom. 86 (2003) 363 (the exponent from memory).
    assert kit.veil_luminance(1.0, 10.0, age=age) == pytest.approx(0.1 * factor, rel=1e-12)
    ambient = kit.Ambient(glare=[kit.Glare(illuminance=1.0, angle=10.0)], age=age)
    assert ambient.veil() == pytest.approx(0.1 * factor, rel=1e-12)


@pytest.mark.bad_input
@pytest.mark.parametrize("angle", [0.0, 0.99, 30.01, -5.0, math.nan, math.inf])
def test_veil_is_refused_outside_the_angles_of_its_relation(angle):
    with pytest.raises(kit.InputError, match=r"angle.*1 to 30"):
        kit.veil_luminance(1.0, angle)
    with pytest.raises(kit.InputError, match="angle"):
        kit.Glare(illuminance=1.0, angle=angle)


@pytest.mark.bad_input
def test_one_bad_angle_among_good_ones_is_refused():
    with pytest.raises(kit.InputError, match="angle"):
        kit.veil_luminance(1.0, [5.0, 40.0])


@pytest.mark.analytic
def test_veil_broadcasts():
    result = kit.veil_luminance([1.0, 2.0], [[2.0], [10.0]])
    np.testing.assert_allclose(result, [[2.5, 5.0], [0.1, 0.2]], rtol=1e-12)


lamps = st.lists(st.tuples(st.floats(0, 100), st.floats(1, 30)), max_size=5)


@pytest.mark.property
@given(lamps, st.none() | st.floats(0, 100))
def test_veils_of_several_lamps_add(pairs, age):
    glare = [kit.Glare(illuminance=e, angle=a) for e, a in pairs]
    together = kit.Ambient(glare=glare, age=age).veil()
    one_by_one = math.fsum(kit.Ambient(glare=[g], age=age).veil() for g in glare)
    # Rounding only.
    assert together == pytest.approx(one_by_one, rel=1e-12, abs=0)


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("given_values", "field"),
    [
        ({"vertical_illuminance": -1}, "vertical_illuminance"),
        ({"vertical_illuminance": math.nan}, "vertical_illuminance"),
        ({"vertical_illuminance": []}, "vertical_illuminance"),
        ({"vertical_illuminance": [1, -1]}, r"vertical_illuminance\[1\]"),
        ({"vertical_illuminance": "dim"}, "vertical_illuminance"),
        ({"glare": 3}, "glare"),
        ({"glare": [(1, 10)]}, "glare"),
        ({"age": -1}, "age"),
        ({"age": math.nan}, "age"),
        ({"age": "old"}, "age"),
    ],
)
def test_ambient_refuses_what_cannot_be(given_values, field):
    with pytest.raises(kit.InputError, match=field):
        kit.Ambient(**given_values)


@pytest.mark.bad_input
@pytest.mark.parametrize("lux", [-0.1, math.nan, math.inf, "bright", None])
def test_glare_refuses_what_cannot_be(lux):
    with pytest.raises(kit.InputError, match="illuminance"):
        kit.Glare(illuminance=lux, angle=10)
