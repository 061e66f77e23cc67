"""What people who stage such shows report, against the verdict with default target and typical chain.

Common practice, no source. Nothing is tuned: reference reflectances, the typical projector, the low-density
residential ambient level, a picture as wide as the house. Where the verdict is milder or stricter than what
is reported, the test says so. A report is a word such as "good", with room on both sides: that the figures below the
verdicts are right is held by hand, from lumens, area and reflectance.
"""

import math

import pytest

import kit
from kit import reference

FOOT = 0.3048


def verdict(lumens, width_ft, surface, *, windows=False, height_ft=20.0, target=None):
    """Judge a flat front `width_ft` wide under a picture of the same width from a short-throw lens."""
    half, height = width_ft * FOOT / 2, height_ft * FOOT
    patches = [
        kit.Patch("wall", [(-half, 0), (half, 0), (half, height), (-half, height)], kit.Surface.from_reference(surface))
    ]
    if windows:
        shade = kit.Surface.from_reference("window with white shade")
        patches += [
            kit.Patch(f"window at {x}", [(x - 0.6, 1), (x + 0.6, 1), (x + 0.6, 2.5), (x - 0.6, 2.5)], shade)
            for x in (-2, 2)
        ]
    ratio = 0.5
    place = kit.Placement(position=(0, 0, width_ft * FOOT * ratio), aim=(0, 0, 0))
    scene = kit.Scene(
        facade=kit.Facade(patches),
        projectors=[(kit.typical_projector(lumens, ratio), place)],
        ambient=kit.Ambient(vertical_illuminance=reference.value("ambient_levels", "low density walkway minimum")),
        ground_reflectance=reference.value("surfaces", "grass"),
    )
    return kit.judge(kit.light_map(scene, 0.1), target)


@pytest.mark.practice
def test_a_one_to_one_lens_needs_the_house_width_and_a_short_throw_lens_a_third_to_a_half():
    assert kit.throw_ratio_for(60, 60) == 1.0
    short = reference.row("projector_classes", "short", group="throw")
    ultra = reference.row("projector_classes", "ultra-short", group="throw")
    needed = kit.throw_ratio_for(60, [20, 30])
    # 20 ft takes a lens between the two classes of short lenses, 30 ft one well inside the short class.
    assert ultra.low < needed[0] < short.low < needed[1] < short.high


# The rung on which what is reported and what is computed agree: a front that is dimmer than a floodlit one is seen well
# where all around is dark, and a show is looked at in passing. Nothing was moved to make it so.
RUNG = kit.rung_target("a dark front floodlit in dark surroundings", "a picture to look at in passing")


@pytest.mark.practice
@pytest.mark.parametrize(
    ("lumens", "width", "surface", "tenths"),
    [
        (8000, 60, "dark red brick", 0), (8000, 60, "red brick", 0), (8000, 60, "white fabric", 10),
        (3000, 40, "white siding", 10), (3000, 50, "white siding", 9), (4000, 40, "cream siding", 10),
        (4000, 40, "white siding", 10), (4000, 50, "white siding", 10),
        # Milder in reports: at 60 ft 8 chances in 10, and 3.
        (4000, 60, "white siding", 8), (3000, 60, "white siding", 3),
    ],
)  # fmt: skip
def test_on_the_lowest_rung_practice_and_physics_agree_with_their_chances(lumens, width, surface, tenths):
    low, default = (verdict(lumens, width, surface, target=target).chance for target in (RUNG, None))
    print(f"{lumens} lm, {surface}, {width} ft: chance {low:.2f} on the lowest rung, {default:.2f} on the default one")
    assert round(10 * low) == tenths
    # The default asks for more of both.
    assert default <= low


@pytest.mark.practice
@pytest.mark.parametrize(
    ("lumens", "width", "window", "brick"), [(2000, 25, 10, 2), (3000, 30, 10, 2), (3000, 40, 10, 0)]
)
def test_on_the_lowest_rung_a_small_machine_does_for_shaded_windows(lumens, width, window, brick):
    result = verdict(lumens, width, "red brick", windows=True, height_ft=14, target=RUNG)
    for name, tenths in (("window with white shade", window), ("red brick", brick)):
        print(f"{lumens} lm, {name}, {width} ft: chance {result.surface(name).chance:.2f} on the lowest rung")
        assert round(10 * result.surface(name).chance) == tenths


@pytest.mark.practice
def test_4000_lumens_on_a_light_house_of_40_feet_are_all_but_enough_by_the_default_target():
    assert 0.7 < verdict(4000, 40, "white siding").chance < 0.9
    assert verdict(4000, 40, "white siding").front.passing_share == 1.0


@pytest.mark.practice
def test_3000_lumens_on_a_light_house_of_40_feet_are_borderline_and_the_middle_of_the_band_passes():
    result = verdict(3000, 40, "white siding")
    assert result.status == "borderline"
    assert result.front.shortfall < 1.0


CASES = [
    (4000, 40, "white siding"),
    (4000, 40, "cream siding"),
    (3000, 40, "white siding"),
    (3000, 60, "white siding"),
    (4000, 60, "white siding"),
    (3000, 50, "white siding"),
    (8000, 40, "dark red brick"),
    (8000, 60, "red brick"),
    (8000, 60, "white fabric"),
]


def by_hand(lumens, width_ft, surface):
    """White of a flat front [cd/m2]: delivered lumens on the picture's area (16:10), times reflectance over pi.

    The grass sends back its part of half of that: a long wall's, (2 - pi/2) / 4.
    """
    # As stated, standard picture, first seasons, middle of the zoom, plain pane, clean.
    delivered = lumens * 0.90 * 0.85 * 0.93 * 0.92 * 0.90 * 1.00
    width = width_ft * FOOT
    rho, grass = (reference.value("surfaces", name) for name in (surface, "grass"))
    back = 1.0 + (2.0 - math.pi / 2) / 4 * grass * 0.5 * rho
    return delivered / (width * width * 10 / 16) * rho / math.pi * back


@pytest.mark.analytic
@pytest.mark.parametrize(("lumens", "width", "surface"), CASES)
def test_the_figure_behind_each_report_is_that_of_a_pocket_calculator(lumens, width, surface):
    front = verdict(lumens, width, surface).front
    # A flat front square to the lens is lit evenly; rounding only.
    assert front.white_luminance.median == pytest.approx(by_hand(lumens, width, surface), rel=1e-9)


@pytest.mark.practice
@pytest.mark.parametrize(("lumens", "width"), [(3000, 60), (4000, 60), (3000, 50)])
def test_wider_light_houses_get_less_than_is_reported(lumens, width):
    """Stricter than practice reports, should the reported house be this wide: by 1.4 to 2.1 times."""
    result = verdict(lumens, width, "white siding")
    assert result.status == "not enough"
    assert result.front.shortfall == pytest.approx(4.0 / by_hand(lumens, width, "white siding"), rel=1e-9)
    assert 1.4 < result.front.shortfall < 2.1


@pytest.mark.practice
def test_8000_lumens_are_not_enough_on_dark_brick():
    for width in (40, 60):
        result = verdict(8000, width, "dark red brick")
        assert result.status == "not enough"
        assert result.front.criterion == "white luminance"
    assert verdict(8000, 60, "red brick").status == "not enough"


@pytest.mark.practice
def test_8000_lumens_on_white_fabric_are_excellent_at_40_feet_and_pass_at_60():
    at_40 = verdict(8000, 40, "white fabric")
    assert at_40.status == "enough"
    assert at_40.front.white_luminance.low > 2 * at_40.target.white_luminance
    at_60 = verdict(8000, 60, "white fabric")
    assert at_60.front.passing_share > 0.95
    # The low end of the band misses by a twentieth: borderline, not excellent.
    assert at_60.status == "borderline"
    assert at_60.front.white_luminance.low > 0.9 * at_60.target.white_luminance


@pytest.mark.practice
@pytest.mark.parametrize(("lumens", "width", "status"), [(2000, 25, "borderline"), (3000, 30, "enough")])
def test_a_small_projector_works_on_shaded_windows_and_not_on_the_brick_around_them(lumens, width, status):
    # Thin shades reflect half of what dense ones do; the band holds both, so 2,000 lumens do for most shades, not all.
    result = verdict(lumens, width, "red brick", windows=True, height_ft=14)
    assert result.surface("window with white shade").status == status
    assert result.surface("window with white shade").chance > 0.8
    assert result.surface("red brick").status == "not enough"
