"""What people who stage such shows report, against the verdict with the typical chain.

Common practice, no source. Nothing is tuned: reference reflectances, the typical projector, the low-density
residential ambient level. Each claim has the width of the house, the distance and the lens that it is made for, the
rung on which practice and physics agree, its chance there and by default, and what becomes of it at other widths and
distances. A report is a word such as "good", with room on both sides: that the figures below the verdicts are right is
held by hand, from lumens, area and reflectance.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

import kit
from kit import reference

FOOT = 0.3048
LENS = 0.5


def verdict(
    lumens, width_ft, surface, *, windows=False, height_ft=20.0, target=None, lens=LENS, distance_ft=None, **own
):
    """Judge a flat front `width_ft` wide; from where the picture is as wide, if no distance is given."""
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
    distance = width_ft * lens if distance_ft is None else distance_ft
    place = kit.Placement(position=(0, 0, distance * FOOT), aim=(0, 0, 0))
    scene = kit.Scene(
        facade=kit.Facade(patches),
        projectors=[(replace(kit.typical_projector(lumens, lens), **own), place)],
        ambient=kit.Ambient(vertical_illuminance=reference.value("ambient_levels", "low density walkway minimum")),
        ground_reflectance=reference.value("surfaces", "grass"),
    )
    return kit.judge(kit.light_map(scene, 0.1), target)


# The rung on which what is reported and what is computed agree: a front that is dimmer than a floodlit one is seen well
# where all around is dark, and a show is looked at in passing. Nothing was moved to make it so.
RUNG = kit.rung_target("a dark front floodlit in dark surroundings", "a picture to look at in passing")
# The same white, for a picture that can be followed.
FOLLOWED = kit.rung_target("a dark front floodlit in dark surroundings")
NO, MAY, YES = "not enough", "borderline", "enough"


def told(found, claim, rung):
    print(f"{claim}: chance {found.chance:.2f} on {rung}, {found.status}")
    return found.status, round(10 * found.chance)


# Lumens and surface of a claim; for each width [ft], from half of it: status and tenths on the lowest rung, by default.
CLAIMS = {
    # "8,000 lm on dark brick over 60 ft: not enough." Nor is it at 50 ft; at 40 ft it may be, on the lowest rung.
    (8000, "dark red brick"): {60: (NO, 0, NO, 0), 50: (NO, 0, NO, 0), 40: (MAY, 3, NO, 0)},
    (8000, "red brick"): {60: (NO, 0, NO, 0), 50: (MAY, 2, NO, 0), 40: (MAY, 6, NO, 1)},
    # "With white fabric: good." At 80 ft in eight of ten, on the lowest rung; by default surely to 50 ft.
    (8000, "white fabric"): {80: (MAY, 8, NO, 0), 60: (YES, 10, MAY, 6), 50: (YES, 10, YES, 9)},
    # "3,000 to 4,000 lm on a light house at 40 to 60 ft: good." 4,000 to 50 ft on white, 3,000 to 40 ft; reports are
    # milder.
    (3000, "white siding"): {60: (MAY, 3, NO, 0), 50: (MAY, 8, NO, 0), 40: (YES, 10, MAY, 4)},
    (4000, "white siding"): {80: (NO, 0, NO, 0), 60: (MAY, 7, NO, 0), 50: (YES, 10, MAY, 2), 40: (YES, 10, MAY, 8)},
    (4000, "cream siding"): {60: (MAY, 5, NO, 0), 50: (MAY, 9, NO, 1), 40: (YES, 10, MAY, 6)},
}  # fmt: skip


@pytest.mark.practice
@pytest.mark.parametrize(("claim", "width"), [(claim, width) for claim, found in CLAIMS.items() for width in found])
def test_practice_and_physics_agree_on_the_lowest_rung_with_their_chances(claim, width):
    (lumens, surface), said = claim, f"{claim[0]} lm, {claim[1]}, {width} ft wide, from {width * LENS:g} ft"
    low = told(verdict(lumens, width, surface, target=RUNG), said, "the lowest rung")
    usual = told(verdict(lumens, width, surface), said, "the default one")
    assert (*low, *usual) == CLAIMS[claim][width]


@pytest.mark.practice
def test_a_picture_that_can_be_followed_asks_for_more_than_one_that_is_looked_at_in_passing():
    # "Good" at 40 ft needs no more than 7:1 of 3,000 lm; 4,000 all but surely give 15:1 there too, and 3,000 may.
    found = {lumens: told(verdict(lumens, 40, "white siding", target=FOLLOWED), f"{lumens} lm", "2 cd/m2 and 15:1")
             for lumens in (3000, 4000)}  # fmt: skip
    assert found == {3000: (MAY, 7), 4000: (MAY, 9)}


@pytest.mark.practice
@pytest.mark.parametrize(
    ("lens", "distance", "expected", "criterion"),
    [
        # "A 1:1 lens needs the house's width, a short-throw lens a third to half of it": the picture then just fits.
        (1.0, 40, (YES, 10), ""), (0.5, 20, (YES, 10), ""), (1 / 3, 40 / 3, (YES, 10), ""),
        # Nearer it does not reach the ends of the house, however bright; farther it is spread over more than the house.
        (1.0, 20, (NO, 0), "coverage"), (0.5, 13.4, (NO, 0), "coverage"),
        (1.0, 60, (MAY, 8), "white luminance"), (0.5, 30, (MAY, 8), "white luminance"),
    ],
)  # fmt: skip
def test_a_one_to_one_lens_needs_the_house_width_and_a_short_throw_lens_a_third_to_a_half(
    lens, distance, expected, criterion
):
    found = verdict(4000, 40, "white siding", target=RUNG, lens=lens, distance_ft=distance)
    assert told(found, f"4000 lm, 40 ft wide, lens {lens:.2f}:1 from {distance:.1f} ft", "the lowest rung") == expected
    assert found.front.criterion == criterion


@pytest.mark.practice
def test_the_lenses_of_the_throw_claim_are_those_of_their_classes():
    assert kit.throw_ratio_for(60, 60) == 1.0
    short = reference.row("projector_classes", "short", group="throw")
    ultra = reference.row("projector_classes", "ultra-short", group="throw")
    needed = kit.throw_ratio_for(60, [20, 30])
    # 20 ft takes a lens between the two classes of short lenses, 30 ft one well inside the short class.
    assert ultra.low < needed[0] < short.low < needed[1] < short.high


# "A small machine on windows with shades is good while the brick fails." On the lowest rung the windows pass to 40 ft,
# and up to 30 ft the brick around them does not fail, it is borderline. By default 2,000 lm at 25 ft leave the windows
# borderline, 3,000 lm pass there and are borderline at 30 and 40 ft; the brick fails at all three.
SHADES = {
    (2000, 25): ((YES, 10), (MAY, 2), (MAY, 9), (NO, 0)), (3000, 25): ((YES, 10), (MAY, 6), (YES, 10), (NO, 0)),
    (3000, 30): ((YES, 10), (MAY, 2), (MAY, 9), (NO, 0)), (3000, 40): ((YES, 9), (NO, 0), (MAY, 3), (NO, 0)),
}  # fmt: skip


@pytest.mark.practice
@pytest.mark.parametrize(("lumens", "width"), SHADES)
def test_a_small_machine_does_for_shaded_windows_and_the_brick_around_them_fails_or_is_borderline(lumens, width):
    found = []
    for rung, target in (("the lowest rung", RUNG), ("the default one", None)):
        seen = verdict(lumens, width, "red brick", windows=True, height_ft=14, target=target)
        for name in ("window with white shade", "red brick"):
            said = f"{lumens} lm, {name}, {width} ft wide, from {width * LENS:g} ft"
            found.append(told(seen.surface(name), said, rung))
    assert tuple(found) == SHADES[lumens, width]


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
    """Mean white of a flat front [cd/m2]: delivered lumens on the picture's area (16:10), times reflectance over pi.

    The grass sends back its part of half of that: a long wall's, (2 - pi/2) / 4.
    """
    # A known maker's, standard picture, full power, a laser's first seasons, middle of the zoom, plain pane, clean.
    delivered = lumens * 0.92 * 0.85 * 1.00 * 0.98 * 0.92 * 0.90 * 1.00
    width = width_ft * FOOT
    rho, grass = (reference.value("surfaces", name) for name in (surface, "grass"))
    back = 1.0 + (2.0 - math.pi / 2) / 4 * grass * 0.5 * rho
    return delivered / (width * width * 10 / 16) * rho / math.pi * back


@pytest.mark.analytic
@pytest.mark.parametrize(("lumens", "width", "surface"), CASES)
def test_the_figure_behind_each_report_is_that_of_a_pocket_calculator(lumens, width, surface):
    front = verdict(lumens, width, surface, zones=None).front
    # A flat front square to a lens that does not fall off is lit evenly; rounding only.
    assert front.white_luminance.median == pytest.approx(by_hand(lumens, width, surface), rel=1e-9)


@pytest.mark.analytic
def test_the_corners_cost_what_the_dimmest_fifth_of_the_picture_lacks_to_its_mean():
    """A round lens, 1 / (1 + k r^2)^2, whose nine zones have 0.905 of the middle one: no parabolas, no table."""
    x, y = ((2 * np.indices((400, 400)) + 1) / 400 - 1) / 2 * np.array([1.6, 1.0])[:, None, None]

    def fall(x, y, k):
        return 1.0 / (1.0 + k * (x * x + y * y)) ** 2

    zones = np.meshgrid(1.6 / 3 * np.array([-1, 0, 1]), np.array([-1, 0, 1]) / 3)
    k = brentq(lambda k: fall(*zones, k).mean() - 0.905, 0.0, 1.0)
    light = fall(x, y, k)
    dimmest = np.quantile(light, 0.2) / light.mean()
    fallen, even = (verdict(3000, 60, "white siding", **own).front.shortfall for own in ({}, {"zones": None}))
    # The bowl of the table is a little squarer than a round one, and both are read at pixels.
    assert even / fallen == pytest.approx(dimmest, abs=5e-3)
    assert 0.9 < dimmest < 0.95


@pytest.mark.practice
@pytest.mark.parametrize(("lumens", "width"), [(3000, 60), (4000, 60), (3000, 50)])
def test_wider_light_houses_get_less_than_is_reported_by_the_default_target(lumens, width):
    """Stricter than practice reports, should the reported house be this wide: by 1.4 to 2.1 times, with the corners."""
    result = verdict(lumens, width, "white siding")
    assert result.status == verdict(lumens, width, "white siding", zones=None).status == "not enough"
    even = verdict(lumens, width, "white siding", zones=None).front.shortfall
    assert even == pytest.approx(4.0 / by_hand(lumens, width, "white siding"), rel=1e-9)
    assert 1.4 < result.front.shortfall < 2.1
