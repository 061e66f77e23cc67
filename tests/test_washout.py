import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import kit
from kit.decision.verdict import Target
from kit.decision.washout import DRAWS, WHOLE, LitFront
from kit.errors import InputError
from kit.sky.luminaire import LedString, typical_luminaire
from kit.source.projector import Factor

LOSS = Factor(name="rating", low=0.8, nominal=0.9, high=1.0, source="a light meter")
STRING = LedString(
    name="roof line", path=((-3.9, 4.9, 0.1), (3.9, 4.9, 0.1)), spacing=0.1, node_flux=120.0, dimming=0.3
)
EYE = (1.0, 1.6, 10.0)


@pytest.fixture(scope="module")
def scene(wall, straight):
    """Builder of a wall with two surfaces, one of them with gain, under a string and whatever else is given."""

    def build(*, lamps=(STRING,), bright=True, leak=2000.0, scatter=200.0, **ambient):
        left = kit.Surface(name="brick", reflectance=0.2, low=0.15, high=0.3)
        right = kit.Surface(name="screen", reflectance=0.8, low=0.75, high=0.85, gain=1.4)
        half = [[(-4, 0), (0, 0), (0, 5), (-4, 5)], [(0, 0), (4, 0), (4, 5), (0, 5)]]
        patches = [kit.Patch(s.name, o, s) for s, o in zip((left, right), half, strict=True)]
        pair = straight(
            8.0, 5.0, lumens=20000.0 if bright else 2000.0, sequential_contrast=leak, checkerboard_contrast=scatter,
            chain=[LOSS],
        )  # fmt: skip
        around = {"vertical_illuminance": 0.1, "lamps": lamps, "eye": EYE} | ambient
        return kit.Scene(facade=kit.Facade(patches, name="two"), projectors=[pair], ambient=kit.Ambient(**around))

    return build


def dimmed(scene, dimming):
    """The same scene with all its strings dimmed alike."""
    lamps = [replace(v, dimming=dimming) if isinstance(v, LedString) else v for v in scene.ambient.lamps]
    return replace(scene, ambient=replace(scene.ambient, lamps=lamps))


def judged(scene, spacing):
    """Contrast of each part and level, by the map and the verdict."""
    verdict = kit.judge(kit.light_map(scene, spacing), draws=DRAWS)
    return np.array([[p.contrast.low, p.contrast.median, p.contrast.high] for p in (verdict.front, *verdict.surfaces)])


def chances(scene, spacing, wanted, share=0.8):
    """The chance that so much of each part has contrast enough."""
    target = Target(white_luminance=1e-6, contrast=wanted, share=share)
    verdict = kit.judge(kit.light_map(scene, spacing), target, draws=DRAWS)
    return np.array([p.chance for p in (verdict.front, *verdict.surfaces)])


SKY = kit.Site(latitude=41.9, longitude=-87.6, timezone="America/Chicago", facing=180).sky("2026-12-24 00:30")
CASES = {
    "string alone": {"vertical_illuminance": 0.0},
    "no eye": {"eye": None},
    "much around": {
        "lamps": (STRING, replace(STRING, name="second", path=((-3.0, 0.5, 0.3), (3.0, 0.5, 0.3)), dimming=1.0),
                  typical_luminaire("porch light", position=(-1.0, 2.1, 0.4))),
        "glare": (kit.Glare(illuminance=0.3, angle=8.0),), "age": 60.0, "sky": SKY,
    },
}  # fmt: skip


@pytest.mark.property
@pytest.mark.parametrize("case", CASES)
def test_the_curve_is_that_of_the_map_at_each_dimming(scene, case):
    given_scene = scene(**CASES[case])
    result = kit.string_dimming(given_scene, spacing=0.5, dimmings=[0.0, 0.05, 0.4, 1.0])
    assert list(result["part"].values) == [WHOLE, "brick", "screen"]
    for i, dimming in enumerate(result["dimming"].values):
        np.testing.assert_allclose(result["contrast"].values[i], judged(dimmed(given_scene, dimming), 0.5), rtol=1e-9)


@pytest.mark.property
@pytest.mark.parametrize("case", CASES)
def test_contrast_falls_with_dimming(scene, case):
    contrast = kit.string_dimming(scene(**CASES[case]), spacing=0.5)["contrast"].values
    assert contrast.shape == (21, 3, 3)
    assert (np.diff(contrast, axis=0) < 0).all()
    assert (np.diff(contrast, axis=2) >= 0).all()


@pytest.mark.property
@pytest.mark.parametrize("case", CASES)
def test_most_dimming_reproduces_the_target(scene, case):
    given_scene = scene(**CASES[case])
    wanted = {"string alone": 90.0, "no eye": 110.0, "much around": 20.0}[case]
    result = kit.string_dimming(given_scene, spacing=0.5, target=Target(contrast=wanted))
    most = result["most_dimming"].values
    between = np.argwhere((most > 0) & (most < 1))
    assert len(between)
    for part, level in between:
        # The dimming is found within a ten-thousandth.
        less, more = (
            chances(dimmed(given_scene, most[part, level] * side), 0.5, wanted)[part] for side in (1 - 1e-3, 1 + 1e-3)
        )
        least = (0.9, 0.5, 0.1)[level]
        assert less >= least if level < 2 else less > least
        assert more < least if level < 2 else more <= least
    # What the light may do it need not.
    assert (np.diff(np.where(np.isnan(most), -1.0, most), axis=1) >= 0).all()


def kept(scene, spacing, dimming):
    """Share of its contrast that each point keeps, in the order of parts, by the map."""
    maps = [kit.light_map(dimmed(scene, d), spacing) for d in (0.0, dimming)]
    ratio = maps[1]["contrast"].values / maps[0]["contrast"].values
    names = maps[0]["surface_name"].values[maps[0]["patch"].values]
    return [ratio, *(ratio[names == name] for name in ("brick", "screen"))]


@pytest.mark.property
@pytest.mark.parametrize("case", CASES)
def test_first_loss_takes_a_tenth_from_half_of_the_part(scene, case):
    given_scene = scene(**CASES[case])
    loss = kit.string_dimming(given_scene, spacing=0.5)["first_loss"].values
    for part, dimming in enumerate(loss):
        assert 0 < dimming < 1
        # The dimming is found to 1e-6, and the contrast falls by some hundred times of itself per dimming.
        assert np.median(kept(given_scene, 0.5, dimming)[part]) == pytest.approx(0.9, rel=1e-3)


@pytest.mark.analytic
def test_ends_where_the_target_is_never_or_always_met(scene):
    faint = kit.string_dimming(scene(bright=False, vertical_illuminance=300.0), spacing=0.5)
    assert np.isnan(faint["most_dimming"].values).all()
    weak = replace(STRING, node_flux=1e-4)
    always = kit.string_dimming(scene(lamps=(weak,)), spacing=0.5)
    assert (always["most_dimming"].values == 1.0).all()
    # Not a tenth of the contrast is gone.
    assert np.isnan(always["first_loss"].values).all()
    off = kit.string_dimming(scene(lamps=(replace(STRING, node_flux=0.0),)), spacing=0.5)
    assert np.ptp(off["contrast"].values, axis=0).max() == 0


@pytest.mark.analytic
def test_light_of_the_strings_is_proportional_to_dimming_and_their_own_dimming_does_not_matter(scene):
    porch = typical_luminaire("porch light", position=(-1.0, 2.1, 0.4))
    full, low = (
        kit.string_dimming(scene(lamps=(porch, replace(STRING, dimming=d))), spacing=0.5, dimmings=[0.0, 0.5, 1.0])
        for d in (1.0, 0.0)
    )
    for name in ("contrast", "most_dimming", "first_loss", "ambient_illuminance", "veiling_luminance"):
        np.testing.assert_array_equal(full[name].values, low[name].values)
    for name in ("ambient_illuminance", "veiling_luminance"):
        off, half, all_of_it = full[name].values
        assert off == 0
        assert half == pytest.approx(all_of_it / 2, rel=1e-12)
        assert all_of_it > 0


@pytest.mark.analytic
def test_a_black_without_any_light_is_washed_out_by_any_string(scene):
    """Infinite contrast with the strings off; the dimming for the target is still a number."""
    given_scene = scene(leak=math.inf, scatter=None, vertical_illuminance=0.0, eye=None)
    result = kit.string_dimming(given_scene, spacing=0.5, target=Target(contrast=1000.0))
    assert np.isinf(result["contrast"].values[0]).all()
    most = result["most_dimming"].values
    assert ((most > 0) & (most < 1)).all()
    assert chances(dimmed(given_scene, 0.999 * most[0, 1]), 0.5, 1000.0)[0] >= 0.5
    assert chances(dimmed(given_scene, 1.001 * most[0, 1]), 0.5, 1000.0)[0] < 0.5


@pytest.mark.analytic
def test_a_picture_beside_a_surface_leaves_it_without_figures(scene, straight):
    given_scene = scene()
    pair = straight(3.0, 4.0, x=2.0, lumens=9000.0, sequential_contrast=2000.0, chain=[LOSS])
    half = replace(given_scene, projectors=[pair])
    front = LitFront(half, 0.25, Target(), ["roof line"])
    assert front.verdict[1].lit_share == 0
    assert front.verdict[2].lit_share == pytest.approx(0.6, abs=0.02)
    assert front.verdict[0].lit_share == pytest.approx(0.3, abs=0.01)
    assert front.verdict[1].white_luminance is None
    result = kit.string_dimming(half, spacing=0.25)
    assert np.isnan(result["contrast"].values[:, 1]).all()
    assert np.isnan(result["most_dimming"].values[1]).all()
    assert np.isnan(result["first_loss"].values[1])
    part = kit.judge(kit.light_map(dimmed(half, 0.0), 0.25)).surface("screen")
    assert result["contrast"].values[0, 2, 1] == pytest.approx(part.contrast.median, rel=1e-9)


@pytest.mark.analytic
@pytest.mark.parametrize("flux", [0.0, 12.0])
def test_first_loss_where_contrast_without_strings_is_infinite(scene, flux):
    """Any light takes all of an infinite contrast; a string without light takes nothing."""
    dark = scene(
        leak=math.inf, scatter=None, vertical_illuminance=0.0, eye=None, lamps=(replace(STRING, node_flux=flux),)
    )
    loss = kit.string_dimming(dark, spacing=0.5)["first_loss"].values
    if flux:
        assert (loss < 1e-3).all()
    else:
        assert np.isnan(loss).all()


@pytest.mark.property
@settings(max_examples=12)
@given(
    st.floats(0, 50), st.floats(0, 2), st.floats(0.01, 1.0), st.sampled_from([None, 30.0, 90.0]),
    st.floats(1.1, 500.0),
)  # fmt: skip
def test_random_light_around(scene, even, glare, dimming, age, wanted):
    given_scene = scene(vertical_illuminance=even, glare=(kit.Glare(illuminance=glare, angle=5.0),), age=age)
    result = kit.string_dimming(given_scene, spacing=1.0, dimmings=[dimming], target=Target(contrast=wanted))
    np.testing.assert_allclose(result["contrast"].values[0], judged(dimmed(given_scene, dimming), 1.0), rtol=1e-9)
    most = result["most_dimming"].values
    off, full = (chances(dimmed(given_scene, d), 1.0, wanted) for d in (0.0, 1.0))
    for k, enough in enumerate((lambda c: c >= 0.9, lambda c: c >= 0.5, lambda c: c > 0.1)):
        np.testing.assert_array_equal(np.isnan(most[:, k]), ~enough(off))
        np.testing.assert_array_equal(most[:, k] == 1.0, enough(full))


@pytest.mark.property
def test_blocks_of_many_ambient_lights_are_each_of_them(scene):
    front = LitFront(scene(), 0.5, Target(), ["roof line"])
    added = np.linspace(0.0, 6.0, 700)
    assert 700 * front.nominal[0].size > 1 << 15
    many = front.contrast(700, lambda block: added[block, None])
    for i in (0, 101, 102, 103, 699):
        np.testing.assert_array_equal(many[i], front.contrast(1, lambda _, i=i: added[[i], None])[0])


# Bad input


@pytest.mark.bad_input
@pytest.mark.parametrize(
    "dimmings",
    [[2.0], [-0.1], [math.nan], [[0.1, 0.2]], [0.5, None], [True]],
)  # fmt: skip
def test_dimmings_that_are_none_are_refused(scene, dimmings):
    with pytest.raises(InputError, match="dimmings"):
        kit.string_dimming(scene(), spacing=1.0, dimmings=dimmings)


@pytest.mark.bad_input
@pytest.mark.parametrize("wrong", ["x", 0, 15.0, {}])
def test_a_target_of_another_type_is_refused(scene, wrong):
    with pytest.raises(InputError, match="target"):
        kit.string_dimming(scene(), spacing=1.0, target=wrong)


@pytest.mark.bad_input
@pytest.mark.parametrize("wrong", ["x", None, 5, kit.Ambient()])
def test_a_scene_of_another_type_is_refused(wrong):
    with pytest.raises(InputError, match="scene"):
        kit.string_dimming(wrong)


@pytest.mark.bad_input
def test_scenes_that_have_no_curve_are_refused(scene):
    porch = typical_luminaire("porch light", position=(-1.0, 2.1, 0.4))
    for lamps in ((), (porch,)):
        with pytest.raises(InputError, match="LedString"):
            kit.string_dimming(scene(lamps=lamps))
    inside = replace(STRING, path=((-1.0, 2.0, -0.5), (1.0, 2.0, -0.5)))
    with pytest.raises(InputError, match="roof line"):
        kit.string_dimming(scene(lamps=(inside,)))
