"""Layers: against closed forms, an angle-resolved solution of the same problem, and a path tracer.

Adding-doubling is that of the package iadpython, after S. A. Prahl, M. J. C. van Gemert and A. J. Welch, Appl. Opt. 32
(1993) 559; those tests are skipped where it is not installed. The path tracer is in `layered_renderer`.
"""

from functools import cache

import layered_renderer as renderer
import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.integrate import dblquad, quad

from kit import reference
from kit.errors import InputError
from kit.wall.layers import (
    Layer,
    diffuse_interface_reflectance,
    gap_layer,
    soaked_sheet,
    stack,
    wet_reflectance,
    wet_sheet,
)

# Rounding in a handful of products and one quotient.
ROUNDING = 1e-12
CLOTH, THIN, LINING = (0.65, 0.30), (0.45, 0.50), (0.04, 0.02)
BRICK, PALE_WALL = (0.20, 0.0), (0.80, 0.0)
FIBRE = reference.value("constants", "refractive index of textile fibres")
MASONRY = reference.value("constants", "refractive index of masonry")
WATER = reference.value("constants", "refractive index of water")
solids = st.floats(1.5, 1.6)  # the band of both


def layer(pair):
    return Layer(reflectance=pair[0], transmittance=pair[1])


def shares(found):
    return np.array(
        [found.reflectance, found.transmittance, found.back_reflectance, found.back_transmittance], dtype=float
    )


@st.composite
def pairs(draw, most=1.0):
    """A reflectance and a transmittance that add up to at most `most`."""
    total, part = draw(st.floats(0.0, most)), draw(st.floats(0.0, 1.0))
    return total * part, total * (1.0 - part)


@st.composite
def lopsided(draw, most=1.0):
    """A layer with two different sides."""
    (r, t), (back_r, back_t) = draw(pairs(most)), draw(pairs(most))
    return Layer(reflectance=r, transmittance=t, back_reflectance=back_r, back_transmittance=back_t)


# ------------------------------------------------------------------------------------------- one over another


@pytest.mark.analytic
@pytest.mark.parametrize(("backing", "reflectance"), [(0.10, 0.6130), (0.15, 0.6202)])
def test_layer_over_backing_by_hand(backing, reflectance):
    # P. Kubelka, J. Opt. Soc. Am. 44 (1954) 330: R = Rf + Tf^2 Rb / (1 - Rf Rb), worked out by hand to four digits.
    found = stack([Layer(reflectance=0.60, transmittance=0.35), Layer(reflectance=backing)])
    assert found.reflectance == pytest.approx(reflectance, abs=0.5e-4)
    assert found.transmittance == 0.0


def kubelka_munk(absorption, scattering, thickness):
    """Reflectance and transmittance of one sheet; P. Kubelka and F. Munk, Z. techn. Phys. 12 (1931) 593."""
    a = 1.0 + absorption / scattering
    b = np.sqrt(a * a - 1.0)
    x = b * scattering * thickness
    base = a * np.sinh(x) + b * np.cosh(x)
    return np.sinh(x) / base, b / base


@pytest.mark.analytic
@given(st.floats(0.001, 5.0), st.floats(0.05, 20.0), st.floats(0.01, 4.0))
def test_two_sheets_are_one_of_twice_the_thickness(absorption, scattering, thickness):
    one = layer(kubelka_munk(absorption, scattering, thickness))
    r, t = kubelka_munk(absorption, scattering, 2.0 * thickness)
    # The closed form loses some digits of a^2 - 1 where absorption is a ten-thousandth of scattering.
    np.testing.assert_allclose(shares(stack([one, one])), [r, t, r, t], rtol=1e-9)


@pytest.mark.analytic
@given(st.floats(0.01, 5.0), st.floats(0.05, 20.0), st.floats(0.05, 4.0))
def test_an_endless_pile(absorption, scattering, thickness):
    pile = layer(kubelka_munk(absorption, scattering, thickness))
    for _ in range(20):
        pile = pile.over(pile)
    a = 1.0 + absorption / scattering
    # A million sheets; b S t of one is at least 0.0015, so what is left of the far end is exp(-3000).
    assert pile.reflectance == pytest.approx(a - np.sqrt(a * a - 1.0), rel=1e-9)
    assert pile.transmittance < 1e-300


def fluxes(layers, front, back):
    """What leaves at the front and at the back: all fluxes between n layers from one linear system."""
    n = len(layers)
    # Unknowns: away from the audience before and behind each layer (0 to n), then the same towards it.
    system, given_light = np.eye(2 * (n + 1)), np.zeros(2 * (n + 1))
    given_light[0], given_light[-1] = front, back
    for i, found in enumerate(layers):
        r, t, back_r, back_t = shares(found)
        towards = n + 1 + i
        system[i + 1, [i, towards + 1]] -= t, back_r
        system[towards, [i, towards + 1]] -= r, back_t
    solved = np.linalg.solve(system, given_light)
    return solved[n + 1], solved[n]


@pytest.mark.analytic
@given(st.lists(lopsided(most=0.98), min_size=1, max_size=9))
def test_any_stack_solves_the_system_of_all_fluxes(layers):
    r, t = fluxes(layers, 1.0, 0.0)
    back_t, back_r = fluxes(layers, 0.0, 1.0)
    # At least 2% lost in each layer keeps the system's condition below 100.
    np.testing.assert_allclose(shares(stack(layers)), [r, t, back_r, back_t], rtol=0, atol=ROUNDING)


@pytest.mark.analytic
def test_shapes_broadcast():
    bands = Layer(reflectance=[0.6, 0.5, 0.4], transmittance=0.3)
    walls = Layer(reflectance=[[0.1], [0.8]])
    found = stack([bands, walls])
    assert np.shape(found.reflectance) == (2, 3)
    for i, wall in enumerate((0.1, 0.8)):
        for j, cloth in enumerate((0.6, 0.5, 0.4)):
            single = stack([layer((cloth, 0.3)), layer((wall, 0.0))])
            assert np.asarray(found.reflectance)[i, j] == single.reflectance


@pytest.mark.analytic
def test_two_perfect_mirrors_face_to_face():
    mirror = Layer(reflectance=1.0)
    np.testing.assert_array_equal(shares(stack([mirror, mirror])), [1.0, 0.0, 1.0, 0.0])


# ------------------------------------------------------------------------------------------------- invariants


@pytest.mark.property
@given(st.lists(pairs(), min_size=1, max_size=8))
def test_light_passes_a_stack_as_well_either_way(given_pairs):
    found = stack([layer(pair) for pair in given_pairs])
    assert found.transmittance == pytest.approx(found.back_transmittance, rel=1e-9, abs=1e-15)


@pytest.mark.property
@given(st.lists(lopsided(), min_size=1, max_size=8))
def test_no_stack_gives_more_than_it_gets(layers):
    r, t, back_r, back_t = shares(stack(layers))
    assert min(r, t, back_r, back_t) >= 0.0
    assert r + t <= 1.0 + ROUNDING
    assert back_r + back_t <= 1.0 + ROUNDING


@pytest.mark.property
@given(st.lists(st.floats(0.0, 0.999), min_size=1, max_size=8))
def test_layers_that_lose_nothing_lose_nothing_together(reflectances):
    r, t, back_r, back_t = shares(stack([layer((r, 1.0 - r)) for r in reflectances]))
    # Rounding of 1 - R R', which is at least 0.002.
    assert r + t == pytest.approx(1.0, abs=1e-10)
    assert back_r + back_t == pytest.approx(1.0, abs=1e-10)


@pytest.mark.property
@given(lopsided())
def test_before_black_nothing_comes_back_from_behind(front):
    found = stack([front, Layer(reflectance=0.0)])
    assert found.reflectance == front.reflectance
    assert found.transmittance == 0.0


@pytest.mark.property
@given(pairs(), pairs())
def test_order_matters_for_what_comes_back_but_not_for_what_goes_through(one, two):
    there, back = stack([layer(one), layer(two)]), stack([layer(two), layer(one)])
    assert there.transmittance == pytest.approx(back.transmittance, rel=1e-9, abs=1e-15)
    assert there.back_reflectance == pytest.approx(back.reflectance, rel=1e-9, abs=1e-15)


@pytest.mark.analytic
def test_black_lining_belongs_behind_the_cloth():
    there, back = stack([layer(CLOTH), layer(LINING)]), stack([layer(LINING), layer(CLOTH)])
    # By hand: 0.65 + 0.3^2 x 0.04 / (1 - 0.026) and 0.04 + 0.02^2 x 0.65 / (1 - 0.026).
    assert there.reflectance == pytest.approx(0.6536961, abs=1e-7)
    assert back.reflectance == pytest.approx(0.0402669, abs=1e-7)


@pytest.mark.property
@given(lopsided(), lopsided(), lopsided())
def test_it_does_not_matter_which_two_are_joined_first(one, two, three):
    assume(max(np.max(shares(found)) for found in (one, two, three)) < 0.999)
    np.testing.assert_allclose(shares(one.over(two).over(three)), shares(one.over(two.over(three))), atol=1e-10)


@pytest.mark.property
@given(lopsided(), pairs(), pairs())
def test_a_lighter_wall_never_darkens_the_cloth(cloth, one, two):
    dark, light = sorted((one[0], two[0]))
    found = [stack([cloth, Layer(reflectance=wall)]).reflectance for wall in (dark, light)]
    assert found[0] <= found[1] + ROUNDING


# ------------------------------------------------------------------------------------------- adding-doubling

# Albedo and optical thickness of isotropic sheets, index-matched, that send back and let through, of diffuse light,
# the shares named.
SHEETS = {
    "0.50, 0.45": (0.9815, 1.408),
    "0.60, 0.35": (0.9880, 2.171),
    "0.65, 0.30": (0.9904, 2.735),
    "0.70, 0.25": (0.9925, 3.512),
    "0.75, 0.15": (0.9899, 5.676),
}


@pytest.fixture(scope="module")
def adding_doubling():
    return pytest.importorskip("iadpython", reason="adding-doubling is checked where iadpython is installed")


def scattering_sheet(package, albedo, thickness):
    """An isotropic sheet with its matrices and its shares of diffuse light."""
    # 4, 8 and 16 angles agree to 1e-6; with more, the package's quadrature loses digits.
    sheet = package.Sample(a=albedo, b=thickness, g=0.0, n=1.0, quad_pts=8)
    r, t = package.simple_layer_matrices(sheet)
    return sheet, r, t, layer(sheet.UX1_and_UXU(r, t)[2:])


@pytest.mark.published
def test_the_adding_doubling_package_finds_published_values(adding_doubling):
    # H. C. van de Hulst, Multiple Light Scattering (1980), albedo 0.9, thickness 2, g = 0.75: R 0.09739, T 0.66096;
    # R. G. Giovanelli, Optica Acta 2 (1955) 153, half-space, albedo 0.9, isotropic, n = 1.5: R 0.2600. Both from
    # memory, as cited by L. Wang, S. L. Jacques and L. Zheng, Comput. Methods Programs Biomed. 47 (1995) 131.
    r, t, _, _ = adding_doubling.Sample(a=0.9, b=2.0, g=0.75, n=1.0, quad_pts=16).rt()
    # The error of 16 angles.
    np.testing.assert_allclose([r, t], [0.09739, 0.66096], rtol=0, atol=2e-5)
    assert adding_doubling.Sample(a=0.9, b=np.inf, n=1.5, quad_pts=16).rt()[0] == pytest.approx(0.2600, abs=1e-4)


@pytest.mark.reference
def test_stack_is_adding_doubling_where_layers_scatter_evenly(adding_doubling):
    sheet = adding_doubling.Sample(n=1.0, quad_pts=8)
    sheet.update_quadrature()
    even = np.ones((8, 8))
    one, two = (0.6, 0.35, 0.3, 0.2), (0.5, 0.1, 0.7, 0.25)
    r, back_r, t, back_t = adding_doubling.add_layers(
        sheet, *(even * one[i] for i in (0, 2, 1, 3)), *(even * two[i] for i in (0, 2, 1, 3))
    )
    theirs = [sheet.twonuw @ matrix @ sheet.twonuw for matrix in (r, t, back_r, back_t)]
    names = ("reflectance", "transmittance", "back_reflectance", "back_transmittance")
    ours = stack([Layer(**dict(zip(names, values, strict=True))) for values in (one, two)])
    # The weights of the package's angles add up to 1 within 1e-11.
    np.testing.assert_allclose(shares(ours), theirs, rtol=0, atol=1e-10)


@pytest.mark.reference
@pytest.mark.parametrize("name", SHEETS)
def test_a_scattering_sheet_before_a_wall_is_exact(adding_doubling, name):
    sheet, r, t, cloth = scattering_sheet(adding_doubling, *SHEETS[name])
    wall, nothing = 0.2 * np.ones_like(r), np.zeros_like(r)
    r, _, _, _ = adding_doubling.add_layers(sheet, r, r, t, t, wall, wall, nothing, nothing)
    # The wall forgets where its light came from, so the cloth's own habits in angle do not matter.
    assert stack([cloth, layer(BRICK)]).reflectance == pytest.approx(sheet.UX1_and_UXU(r, nothing)[2], abs=1e-10)


@pytest.mark.reference
@pytest.mark.parametrize("name", SHEETS)
def test_two_scattering_sheets_against_adding_doubling(adding_doubling, name):
    sheet, r, t, cloth = scattering_sheet(adding_doubling, *SHEETS[name])
    np.testing.assert_allclose(shares(cloth)[:2], [float(x) for x in name.split(",")], rtol=0, atol=2e-4)
    straight_r, straight_t, even_r, even_t = sheet.UX1_and_UXU(r, t)
    r, _, t, _ = adding_doubling.add_layers(sheet, r, r, t, t, r, r, t, t)
    theirs = sheet.UX1_and_UXU(r, t)[2:]
    ours = shares(stack([cloth, cloth]))[:2]
    # Light that has crossed a sheet leans towards the normal and gets through the next one more easily than even light,
    # though not as easily as light square on: two fluxes send back a little too much, and the truth lies between them
    # and a second sheet that meets all its light square on.
    second = Layer(reflectance=straight_r, transmittance=straight_t, back_reflectance=even_r, back_transmittance=even_t)
    square_on = shares(stack([cloth, second]))[:2]
    assert square_on[0] < theirs[0] < ours[0]
    assert ours[1] < theirs[1] < square_on[1]
    # What that is worth: less than a tenth of the doubt about any white cloth's own reflectance.
    rows = [reference.row("cloths", name, quantity="reflectance") for name in reference.names("cloths", "cloth")]
    doubt = min(min(row.high - row.value, row.value - row.low) for row in rows)
    assert ours[0] - theirs[0] < 0.1 * doubt


# ------------------------------------------------------------------------------------------------ path tracer

# Sheets of 2 km, 1 m apart, seen over the middle metre: 1e-6 of the light escapes by the edges.
WIDE = {"gap": 1.0, "size": 2000.0, "window": 1.0}
STACKS = {
    "cloth over brick": [CLOTH, BRICK],
    "thin cloth over a pale wall": [THIN, PALE_WALL],
    "two cloths": [CLOTH, CLOTH],
    "two cloths over brick": [CLOTH, CLOTH, BRICK],
    "thin cloth over cloth over brick": [THIN, CLOTH, BRICK],
    "cloth over black lining over brick": [CLOTH, LINING, BRICK],
}


@pytest.mark.reference
@pytest.mark.parametrize("behind", [False, True])
@pytest.mark.parametrize("tilt", [0.0, 60.0])
@pytest.mark.parametrize("cloth", [CLOTH, THIN])
def test_the_path_tracers_cloth_is_lambertian(cloth, tilt, behind):
    found, _ = renderer.reflectance([cloth], **WIDE, samples=4, tilt=tilt, behind=behind)
    # Single precision.
    assert found == pytest.approx(cloth[int(behind)], rel=1e-6)


@pytest.mark.reference
@pytest.mark.parametrize("name", STACKS)
def test_stacks_against_the_path_tracer(name):
    sheets = STACKS[name]
    # 2 x 32 x 32 pixels x 128 = 262 144 paths.
    found, error = renderer.reflectance(sheets, **WIDE, samples=128)
    expected = stack([layer(sheet) for sheet in sheets])
    assert error < 1e-3
    # Four standard errors, and the light that escapes.
    assert found == pytest.approx(float(expected.reflectance), abs=4.0 * error + 1e-6)


@pytest.mark.reference
def test_what_passes_two_cloths_against_the_path_tracer():
    found, error = renderer.reflectance([CLOTH, CLOTH], **WIDE, samples=128, behind=True)
    assert error < 1e-3
    assert found == pytest.approx(float(stack([layer(CLOTH)] * 2).transmittance), abs=4.0 * error + 1e-6)


# -------------------------------------------------------------------------------------------------------- gap

GAPS = [(0.1, CLOTH, BRICK), (0.1, CLOTH, PALE_WALL), (0.1, THIN, PALE_WALL)]
GAPS += [(0.3, *rest) for _, *rest in GAPS]


@pytest.mark.published
def test_opposite_faces_of_a_cube():
    # View factor 0.1998, in any text on radiative exchange, such as J. R. Howell, A Catalog of Radiation Configuration
    # Factors, C-11, or F. P. Incropera, Fundamentals of Heat and Mass Transfer (both from memory); 0.199825 in full.
    assert gap_layer(1.0, 1.0, 1.0).transmittance == pytest.approx(0.199825, abs=0.5e-6)


@pytest.mark.analytic
@pytest.mark.parametrize(("gap", "width", "height"), [(1, 1, 1), (0.1, 1, 1), (0.2, 3, 0.5), (5, 10, 2), (10, 1, 1)])
def test_view_factor_is_the_integral_over_both_sheets(gap, width, height):
    # Of the four integrals over two rectangles, two are those of how often a shift (u, v) occurs.
    def seen(v, u):
        return 4.0 * (width - u) * (height - v) * gap**2 / (np.pi * width * height * (u * u + v * v + gap**2) ** 2)

    expected, _ = dblquad(seen, 0.0, width, 0.0, height, epsabs=1e-11, epsrel=1e-10)
    assert gap_layer(gap, width, height).transmittance == pytest.approx(expected, rel=1e-9)


@pytest.mark.property
@given(st.floats(0.001, 3.0), st.floats(0.001, 3.0), st.floats(0.1, 20.0), st.floats(0.1, 20.0))
def test_a_wider_gap_loses_more(one, two, width, height):
    near, far = sorted((one, two))
    through = [float(gap_layer(gap, width, height).transmittance) for gap in (near, far)]
    # Rounding of terms some thousand times as large as their sum.
    assert through[1] <= through[0] + 1e-11 <= 1.0 + 1e-11
    assert gap_layer(near, width, height).reflectance == 0.0
    assert gap_layer(near, height, width).transmittance == pytest.approx(through[0], abs=1e-11)


@cache
def exchange(gap):
    """The exchange of light between two squares of side 1 at Gauss-Legendre points: matrix and weights."""
    at, weight = np.polynomial.legendre.leggauss(40 if gap < 0.2 else 24)
    x, y = (values.ravel() / 2.0 for values in np.meshgrid(at, at))
    weights = np.outer(weight, weight).ravel() / 4.0
    apart = (x[:, None] - x) ** 2 + (y[:, None] - y) ** 2 + gap**2
    return gap**2 / (np.pi * apart**2) * weights, weights


@cache
def exact_reflectance(gap, cloth, wall):
    """Mean reflectance of a square sheet before a wall panel, light uneven as it is."""
    kernel, weights = exchange(gap)
    (r, t), (back, _) = cloth, wall
    leaving = np.full(weights.size, t)
    for _ in range(30):  # bounces; each keeps at most r x back, here 0.52: 3e-9 is left
        leaving = t + r * (kernel @ (back * (kernel @ leaving)))
    return r + t * float(weights @ (kernel @ (back * (kernel @ leaving))))


@pytest.mark.reference
@pytest.mark.parametrize(("gap", "cloth", "wall"), GAPS)
def test_exact_exchange_across_a_gap_against_the_path_tracer(gap, cloth, wall):
    found, error = renderer.reflectance([cloth, wall], gap=gap, size=1.0, window=1.0, samples=128)
    assert error < 1e-3
    assert found == pytest.approx(exact_reflectance(gap, cloth, wall), abs=4.0 * error)


@pytest.mark.analytic
@pytest.mark.parametrize(("gap", "cloth", "wall"), GAPS)
def test_gap_layer_is_the_cautious_side_of_exact_exchange(gap, cloth, wall):
    kernel, weights = exchange(gap)
    air = gap_layer(gap, 1.0, 1.0)
    # Gauss-Legendre points resolve the nearer gap to 6e-7.
    assert air.transmittance == pytest.approx(weights @ kernel.sum(axis=1), abs=1e-6)
    exact = exact_reflectance(gap, cloth, wall)
    formula = float(stack([layer(cloth), air, layer(wall)]).reflectance)
    # Light that has crossed gathers in the middle, where the edges are far, so exact exchange loses less than evenly
    # spread light does; but never less than if every crossing were as good as one from the middle.
    middle, _ = dblquad(lambda v, u: 4.0 * gap**2 / (np.pi * (u * u + v * v + gap**2) ** 2), 0, 0.5, 0, 0.5)
    best = float(stack([layer(cloth), Layer(reflectance=0.0, transmittance=middle), layer(wall)]).reflectance)
    assert formula < exact < best


# --------------------------------------------------------------------------------------------------------- wet


def fresnel(index, cosine):
    """Reflectance of unpolarised light from the thinner side."""
    inside = np.sqrt(1.0 - (1.0 - cosine**2) / index**2)
    across = (cosine - index * inside) / (cosine + index * inside)
    along = (index * cosine - inside) / (index * cosine + inside)
    return (across**2 + along**2) / 2.0


@pytest.mark.analytic
@pytest.mark.parametrize("index", [1.00002, 1.001, 1.00299, 1.0031, 1.05, 1.148, WATER, 1.5, FIBRE, MASONRY, 2.4, 10.0])
def test_diffuse_interface_integrates_fresnels_equations(index):
    # With cosine = u^3 the steep end at grazing light is spread out.
    expected, _ = quad(lambda u: 6.0 * u**5 * fresnel(index, u**3), 0.0, 1.0, epsabs=1e-15, epsrel=1e-12, limit=500)
    assert diffuse_interface_reflectance(index) == pytest.approx(expected, rel=1e-9)


@pytest.mark.published
@pytest.mark.parametrize("n", [1.05, 1.148, WATER, 1.5, FIBRE, MASONRY, 2.4, 10.0])
def test_diffuse_interface_is_the_closed_form_of_walsh(n):
    # J. W. T. Walsh, Dept. Sci. Ind. Res. Illum. Res. Tech. Paper 2 (1926), from memory; terms cancel towards 1.
    square = n**4 - 1.0
    expected = 0.5 + (n - 1.0) * (3 * n + 1) / (6 * (n + 1) ** 2)
    expected += n**2 * (n**2 - 1) ** 2 / (n**2 + 1) ** 3 * np.log((n - 1.0) / (n + 1))
    expected += 8 * n**4 * (n**4 + 1) / ((n**2 + 1) * square**2) * np.log(n)
    expected -= 2 * n**3 * (n**2 + 2 * n - 1) / ((n**2 + 1) * square)
    assert diffuse_interface_reflectance(n) == pytest.approx(expected, rel=1e-9)


@pytest.mark.published
@pytest.mark.parametrize(("index", "published"), [(1.5, 0.092), (1.333, 0.066)])
def test_diffuse_interface_published_values(index, published):
    # 0.092 for n = 1.5: D. B. Judd, J. Res. Nat. Bur. Stand. 29 (1942) 329; 0.066 for a calm sea under an even sky:
    # W. V. Burt, J. Meteorol. 11 (1954) 283. Both from memory, to the digits given.
    assert diffuse_interface_reflectance(index) == pytest.approx(published, abs=0.5e-3)


@pytest.mark.property
@given(st.floats(1.0000001, 20.0), st.floats(1.0000001, 20.0))
def test_a_denser_interface_mirrors_more(one, two):
    thin, dense = sorted((one, two))
    assert 0.0 < diffuse_interface_reflectance(thin) <= diffuse_interface_reflectance(dense) + 1e-11 < 1.0


@pytest.mark.property
@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0), st.floats(1.34, 2.0))
def test_wet_is_never_lighter_than_dry_and_keeps_the_order(one, two, solid):
    dark, light = sorted((one, two))
    wet_dark, wet_light = wet_reflectance([dark, light], solid=solid)
    assert 0.0 <= wet_dark <= wet_light + ROUNDING
    assert wet_dark <= dark + ROUNDING
    assert wet_light <= light + ROUNDING


@pytest.mark.analytic
def test_wet_limits_of_white_and_black():
    # A white surface loses only what the film mirrors, ((n - 1) / (n + 1))^2.
    assert wet_reflectance(1.0, solid=MASONRY) == pytest.approx(1.0 - ((WATER - 1.0) / (WATER + 1.0)) ** 2, rel=1e-12)
    assert wet_reflectance(0.0, solid=MASONRY) == 0.0


@pytest.mark.analytic
@given(st.floats(0.05, 0.99), st.floats(1.35, 2.0))
def test_wet_reflectance_counts_every_bounce(dry, solid):
    # The series the closed form sums: light enters, a share p of what the grains send out comes down again.
    rho = {n: quad(lambda u, n=n: 6.0 * u**5 * fresnel(n, u**3), 0, 1, epsabs=1e-13)[0] for n in (WATER, solid)}
    in_water = quad(lambda u: 6.0 * u**5 * fresnel(solid / WATER, u**3), 0, 1, epsabs=1e-13)[0]
    thrown_back = 1.0 - (1.0 - rho[WATER]) / WATER**2
    a = 1.0 - dry
    grains = 1.0 - min(a * ((1.0 - a) / WATER**2 + a * (1.0 - in_water) / (1.0 - rho[solid])), 1.0 - in_water)
    light, out = 1.0 - fresnel(WATER, 1.0), 0.0
    for _ in range(200):  # each keeps less than 0.475 x 0.99
        out += light * grains * (1.0 - thrown_back)
        light *= grains * thrown_back
    assert wet_reflectance(dry, solid=solid) == pytest.approx(min(out, dry), rel=1e-8)


@pytest.mark.analytic
@given(solids)
def test_in_a_wet_surface_that_hardly_absorbs_light_stays_less_long(solid):
    # Light that enters a grain is kept in it by total reflection; water lets it out n^2 times as easily, so a grain
    # that hardly absorbs does so n^2 times less (J. Lekner and M. C. Dorf 1988, limit of weak absorption).
    absorbed = 1e-6
    let_out = (1.0 - diffuse_interface_reflectance(WATER)) / WATER**2
    under_film = float(wet_reflectance(1.0 - absorbed, solid=solid)) / (1.0 - fresnel(WATER, 1.0))
    grains = under_film / (let_out + (1.0 - let_out) * under_film)
    assert (1.0 - grains) / absorbed == pytest.approx(1.0 / WATER**2, rel=1e-5)


@pytest.mark.regression
def test_wet_masonry_over_dry():
    # Kept as it is: no measurement of wet masonry was found to hold it to.
    dry = np.array([0.05, 0.10, 0.15, 0.20, 0.30, 0.40, 0.60, 0.80])
    kept = [0.3933, 0.4504, 0.5797, 0.6523, 0.7408, 0.8006, 0.8877, 0.9482]
    np.testing.assert_allclose(wet_reflectance(dry, solid=MASONRY) / dry, kept, rtol=0, atol=0.5e-4)


@pytest.mark.published
def test_a_wet_dark_wall_keeps_what_its_grains_mirror():
    # Weathered dark wood 0.05 (KLUM 2019), black fibre cement 0.05 to 0.06 (SLUM 2014), black awning 0.02 to 0.03
    # (window engine's data): nothing that is seen dry sends back nothing, and black grains mirror in water too. A model
    # after Lekner and Dorf for a porous solid has 0.57 of dry 0.2 and falls from 0.77 at 0.7; dark walls keep less.
    dry = np.array([0.02, 0.05, 0.06, 0.2])
    share = wet_reflectance(dry, solid=MASONRY) / dry
    assert (share[:3] > 0.3).all()
    assert (share <= 1.0).all()
    # By Fresnel at normal incidence a grain in water mirrors less than on average over all directions.
    assert wet_reflectance(0.05, solid=MASONRY) > 0.5 * ((MASONRY / WATER - 1.0) / (MASONRY / WATER + 1.0)) ** 2


@st.composite
def cloths(draw):
    """Cloth-like: 0.45 to 0.80 back, 0.05 or more through."""
    r = draw(st.floats(0.45, 0.80))
    return layer((r, draw(st.floats(0.05, 1.0 - r))))


@pytest.mark.property
@given(cloths(), solids)
def test_wet_cloth_sends_back_less_and_lets_more_through(cloth, solid):
    wet, soaked = wet_sheet(cloth, solid=solid), soaked_sheet(cloth, solid=solid)
    # For thinner sheets than these the order turns: the two faces of the soaked one's film throw light back.
    assert soaked.reflectance <= wet.reflectance <= cloth.reflectance
    assert wet.transmittance >= cloth.transmittance
    assert soaked.transmittance >= cloth.transmittance


@pytest.mark.property
@given(pairs(), st.floats(1.34, 2.0), st.sampled_from([wet_sheet, soaked_sheet]))
def test_no_wet_sheet_gives_more_than_it_gets(pair, solid, wetted):
    r, t, back_r, back_t = shares(wetted(layer(pair), solid=solid))
    assert min(r, t, back_r, back_t) >= 0.0
    assert r + t <= 1.0 + ROUNDING
    assert back_r + back_t <= 1.0 + ROUNDING


CORNERS = [0.0, 5e-324, 1e-300, 1e-100, 1e-30, 1e-16, 1e-9, 5e-4, 0.3, 1 - 1e-9, 1 - 1e-16, 1.0]


@pytest.mark.property
@pytest.mark.parametrize("wetted", [wet_sheet, soaked_sheet])
def test_wet_sheets_at_the_ends_of_their_range(wetted):
    r, t = np.array([(r, t) for r in CORNERS for t in CORNERS if r + t <= 1.0]).T
    for solid in (WATER + 1e-6, FIBRE, 3.0):
        found = shares(wetted(Layer(reflectance=r, transmittance=t), solid=solid))
        assert np.all(np.isfinite(found) & (found >= 0.0))
        assert np.all(found[:2].sum(axis=0) <= 1.0 + ROUNDING)


def two_flux(r, t):
    """K t and S t of a sheet, by inverting Kubelka and Munk."""
    ratio = (1.0 - r - t) * (1.0 - r + t) / (2.0 * r)
    b = np.sqrt(ratio * (ratio + 2.0))
    scattering = np.arcsinh(b * r / t) / b
    return ratio * scattering, scattering


@pytest.mark.analytic
@given(st.floats(0.45, 0.80), st.floats(-5.0, -0.5), solids)
def test_a_wet_sheet_keeps_its_absorption(r, loss, solid):
    t = 1.0 - r - 10.0**loss
    assume(t > 0.01)
    wet = wet_sheet(layer((r, t)), solid=solid)
    # Seen from behind there is no film.
    absorbing, scattering = two_flux(float(wet.back_reflectance), float(wet.back_transmittance))
    dry_absorbing, dry_scattering = two_flux(r, t)
    assert absorbing == pytest.approx(dry_absorbing, rel=1e-8)
    assert scattering < dry_scattering


@pytest.mark.analytic
@given(st.floats(0.01, 3.0), st.floats(0.1, 2.0), solids)
def test_two_wet_sheets_are_the_wet_double_sheet(ratio, thickness, solid):
    one = layer(kubelka_munk(ratio, 1.0, thickness))
    wet, double = (wet_sheet(sheet, solid=solid) for sheet in (one, stack([one, one])))
    inside = [layer((float(found.back_reflectance), float(found.back_transmittance))) for found in (wet, double)]
    np.testing.assert_allclose(shares(stack([inside[0], inside[0]])), shares(inside[1]), rtol=1e-8)


@pytest.mark.analytic
@given(st.floats(0.01, 5.0), solids)
def test_a_thick_wet_sheet_is_the_wet_pile(ratio, solid):
    a = 1.0 + ratio
    pile = a - np.sqrt(a * a - 1.0)
    # Scattering falls to not less than a fifth: b S t of the wet sheet is 10 or more, exp(-20) from the pile.
    r, t = kubelka_munk(ratio, 1.0, 50.0 / np.sqrt(a * a - 1.0))
    wet = wet_sheet(layer((r, t)), solid=solid)
    assert wet.reflectance == pytest.approx(wet_reflectance(pile, solid=solid), abs=1e-8)
    assert wet_sheet(layer((pile, 0.0)), solid=solid).reflectance == pytest.approx(
        wet_reflectance(pile, solid=solid), rel=1e-9
    )


@pytest.mark.analytic
@given(st.floats(0.05, 0.95), solids)
def test_white_wet_sheets(r, solid):
    dry = layer((r, 1.0 - r))
    mirrored = fresnel(WATER, 1.0)
    let_out = (1.0 - diffuse_interface_reflectance(WATER)) / WATER**2
    # Nothing is absorbed: S t = R / T, and 1 / T of layers in a row, each less 1, add up.
    wet = wet_sheet(dry, solid=solid)
    scattering = r / (1.0 - r) * (1.0 - diffuse_interface_reflectance(WATER)) ** 2
    assert wet.transmittance == pytest.approx((1.0 - mirrored) / (1.0 + scattering), rel=1e-9)
    soaked = soaked_sheet(dry, solid=solid)
    fewer = diffuse_interface_reflectance(solid / WATER) / diffuse_interface_reflectance(solid)
    behind = 1.0 / (r / (1.0 - r) * fewer + 1.0 / let_out)
    through = (1.0 - mirrored) * behind / (1.0 - (1.0 - let_out) * (1.0 - behind))
    assert soaked.transmittance == pytest.approx(through, rel=1e-9)
    for found in (wet, soaked):
        assert found.reflectance + found.transmittance == pytest.approx(1.0 - mirrored, rel=1e-9)


@pytest.mark.analytic
@pytest.mark.parametrize("wetted", [wet_sheet, soaked_sheet])
def test_a_nearly_white_wet_sheet_is_nearly_as_a_white_one(wetted):
    nearly, white = (shares(wetted(layer((0.65, t)), solid=FIBRE)) for t in (0.35 - 1e-8, 0.35))
    # What is lost by way of a goes with its root: K / S = 5e-9 gives a = 1e-4.
    np.testing.assert_allclose(nearly, white, rtol=0, atol=1e-4)


@pytest.mark.analytic
@given(st.floats(0.0, 1.0), solids)
def test_a_sheet_without_scattering_between_two_faces_of_water(t, solid):
    found = soaked_sheet(layer((0.0, t)), solid=solid)
    mirrored = fresnel(WATER, 1.0)
    let_out = (1.0 - diffuse_interface_reflectance(WATER)) / WATER**2
    back = 1.0 - let_out
    bounces = 1.0 / (1.0 - (back * t) ** 2)
    assert found.transmittance == pytest.approx((1.0 - mirrored) * t * let_out * bounces, rel=1e-9, abs=1e-15)
    assert found.reflectance == pytest.approx((1.0 - mirrored) * t * t * back * let_out * bounces, rel=1e-9, abs=1e-15)
    assert wet_sheet(layer((0.0, t)), solid=solid).transmittance == pytest.approx((1.0 - mirrored) * t, abs=1e-15)


# --------------------------------------------------------------------------------------------------- bad input


@pytest.mark.bad_input
@pytest.mark.parametrize("side", ["", "back_"])
def test_a_layer_cannot_give_more_than_it_gets(side):
    with pytest.raises(InputError, match=f"{side}reflectance .* {side}transmittance = 1.1.* at most 1"):
        Layer(**({"reflectance": 0.1} | {f"{side}reflectance": [0.1, 0.7], f"{side}transmittance": 0.4}))


@pytest.mark.bad_input
def test_shapes_that_do_not_fit():
    with pytest.raises(InputError, match=r"layer: reflectance, layer: transmittance .*broadcast"):
        Layer(reflectance=[0.1, 0.2], transmittance=[0.1, 0.2, 0.3])
    with pytest.raises(InputError, match="broadcast"):
        Layer(reflectance=[0.1, 0.2]).over(Layer(reflectance=[0.1, 0.2, 0.3]))


@pytest.mark.bad_input
@pytest.mark.parametrize("layers", [[], None, [layer(CLOTH), 0.2], layer(CLOTH)])
def test_a_stack_of_nothing_or_of_something_else(layers):
    with pytest.raises(InputError, match=r"^layers = .*kit\.Layer"):
        stack(layers)


@pytest.mark.bad_input
@pytest.mark.parametrize("wetted", [wet_sheet, soaked_sheet])
@pytest.mark.parametrize("other", [{"back_reflectance": 0.5}, {"back_transmittance": 0.2}])
def test_a_sheet_with_two_sides_cannot_be_wetted(wetted, other):
    with pytest.raises(InputError, match="alike on both sides"):
        wetted(Layer(reflectance=0.6, transmittance=0.3, **other), solid=FIBRE)
