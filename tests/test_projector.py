import math
from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest

import kit
from kit import reference
from kit.source.beam import zone_gain
from kit.source.projector import TYPICAL_OPTIONS, Factor, usual_zones


def factor(name, low, nominal, high):
    return Factor(name=name, low=low, nominal=nominal, high=high, source="a light meter")


@pytest.mark.analytic
def test_chain_is_a_product_with_its_band():
    # Of lognormals with even bands the product's is known: ln(1.25) = 0.223144 and ln(1.2) = 0.182322 make the root of
    # the sum of squares, 0.288153 (JCGM 101:2008 by draws, to 2% of that).
    projector = kit.Projector(
        light_output=3000, throw_ratio=1.5, chain=[factor("rating", 0.64, 0.8, 1.0), factor("pane", 0.6, 0.72, 0.864)]
    )
    low, nominal, high = projector.transmission()
    assert nominal == pytest.approx(0.576, rel=1e-12)
    assert math.log(nominal / low) == pytest.approx(0.288153, rel=0.02)
    assert math.log(high / nominal) == pytest.approx(0.288153, rel=0.02)


@pytest.mark.analytic
def test_delivered_light_is_the_stated_light_after_its_chain():
    projector = kit.Projector(light_output=3000, throw_ratio=1.5, chain=[factor("pane", 0.8, 0.9, 1.0)])
    # Rounding only.
    assert projector.delivered() == pytest.approx((2400, 2700, 3000), rel=1e-12)
    assert kit.Projector(light_output=3000, throw_ratio=1.5).delivered() == (3000, 3000, 3000)


@pytest.mark.analytic
def test_the_band_is_narrower_than_all_lows_at_once():
    chain = [factor(f"step {i}", 0.81, 0.9, 1.0) for i in range(4)]
    low, nominal, high = kit.Projector(light_output=1, throw_ratio=1, chain=chain).transmission()
    # Four equal factors: the deviation doubles (root of 4), not quadruples; to 2% of it.
    assert math.log(nominal / low) == pytest.approx(2 * math.log(1 / 0.9), rel=0.02)
    assert math.log(high / nominal) == pytest.approx(2 * math.log(1 / 0.9), rel=0.02)


@pytest.mark.analytic
def test_projector_built_in_code_applies_no_loss(wall, straight):
    projector, placement = straight(lumens=4000)
    assert projector.transmission() == (1.0, 1.0, 1.0)
    light = kit.light_map(kit.Scene(facade=wall(), projectors=[(projector, placement)]), 0.1)
    # 4000 lm on 40 m2, evenly; rounding only.
    np.testing.assert_allclose(light["illuminance"], 100.0, rtol=1e-12)


@pytest.mark.analytic
def test_chain_reaches_the_map_once(wall, straight):
    pair = straight(lumens=4000, chain=[factor("rating", 0.8, 0.9, 1.0), factor("pane", 0.7, 0.8, 0.9)])
    light = kit.light_map(kit.Scene(facade=wall(), projectors=[pair]), 0.1)
    # 4000 lm x 0.72 on 40 m2; rounding only.
    np.testing.assert_allclose(light["illuminance"], 72.0, rtol=1e-12)


def test_typical_chain_has_one_factor_of_each_group_with_its_source():
    chain = kit.typical_chain({"picture mode": "brightest"})
    assert [f.name.split(":")[0] for f in chain] == list(TYPICAL_OPTIONS)
    assert "picture mode: brightest" in [f.name for f in chain]
    assert all(f.source.strip() for f in chain)


def test_factors_of_a_typical_chain_are_the_rows_that_were_chosen():
    options = {"picture mode": "brightest"}
    chain = kit.typical_chain(options)
    for found, (group, option) in zip(chain, (TYPICAL_OPTIONS | options).items(), strict=True):
        row = reference.row("light_losses", option, group=group, quantity="factor")
        assert (found.name, found.low, found.nominal, found.high) == (
            f"{group}: {option}", row.low, row.value, row.high,
        )  # fmt: skip
    # A typical projector has what it is told, and may be no other machine than asked for.
    projector = kit.typical_projector(4000, 1.5, options=options, resolution=(1280, 800), lens_shift=(0.1, 0.2))
    assert projector.chain == chain != kit.typical_chain()
    assert (projector.resolution, projector.lens_shift) == ((1280, 800), (0.1, 0.2))


@pytest.mark.analytic
def test_the_light_of_a_zoom_follows_it_between_the_rows_of_the_table():
    zoom = kit.typical_projector(4000, (1.0, 2.0), lens_shift=(0.0, 0.0))
    for ratio, option in ((1.0, "wide end of zoom"), (1.5, "middle of zoom"), (2.0, "long end of zoom")):
        row = reference.row("light_losses", option, group="lens")
        lens, shift = (f for f in zoom.at(ratio).chain if f.name.startswith("lens"))
        assert (lens.low, lens.nominal, lens.high) == pytest.approx((row.low, row.value, row.high), rel=1e-12)
        assert (shift.low, shift.nominal, shift.high) == (1.0, 1.0, 1.0)
    light = [zoom.at(ratio).transmission()[1] for ratio in np.linspace(1.0, 2.0, 11)]
    assert np.all(np.diff(light) < 0)
    # A shift of a quarter of a picture costs half of what half a picture costs; more is not known to cost more.
    half = reference.row("light_losses", "half a picture").value
    for across, cost in ((0.25, 0.5 * (1 - half)), (0.5, 1 - half), (0.8, 1 - half)):
        moved = zoom.set_to(1.0, (across, 0.0), zoom=(1.0, 2.0))
        assert moved.transmission()[1] == pytest.approx(zoom.at(1.0).transmission()[1] * (1 - cost), rel=1e-12)
        # Set once more, it is as if it had been set so at once.
        assert zoom.at(1.7).set_to(1.0, (across, 0.0), zoom=(1.0, 2.0)) == moved
    # What has no zoom of the table is left as it was given; so is a ratio that takes another lens.
    plain = kit.Projector(light_output=1, throw_ratio=(1.0, 2.0))
    assert plain.at(1.5).chain == ()
    assert zoom.set_to(3.0, (0.0, 0.0), zoom=(1.0, 2.0)).chain == zoom.chain


def test_a_lamp_ages_faster_than_a_laser_and_nothing_else_differs():
    laser, lamp = (kit.typical_chain(light_source=name) for name in ("three laser", "lamp, brightest white"))
    assert laser == kit.typical_chain()
    assert [a.name for a, b in zip(laser, lamp, strict=True) if a != b] == ["ageing: first seasons"]
    row = reference.row("light_losses", "first seasons", quantity="factor of a lamp")
    assert lamp[list(TYPICAL_OPTIONS).index("ageing")].nominal == row.value < 0.98
    # Where the table has one row for both.
    old = {"ageing": "end of life"}
    assert kit.typical_chain(old, light_source="lamp") == kit.typical_chain(old)


def test_a_panel_that_is_known_brings_its_own_contrast():
    known = kit.typical_projector(4000, 1.5, panel="reflective liquid crystal")
    for field in ("sequential contrast", "checkerboard contrast"):
        row = reference.row("projector_classes", "reflective liquid crystal", group="panel", quantity=field)
        assert getattr(known, field.replace(" ", "_")) == row.value


@pytest.mark.analytic
def test_full_colours_get_their_own_light_and_the_black_of_the_whole(wall, straight):
    # Stated of one machine, Commercial Integrator: 7,500 lm of white, 1,250 lm of colour.
    pairs = [
        straight(lumens=7500, colour_share=1250 / 7500, sequential_contrast=1000, checkerboard_contrast=checkerboard)
        for checkerboard in (None, 200)
    ]
    for machine, place in pairs:
        both = ((machine, place), (machine.coloured(), place))
        white, colour = (kit.light_map(kit.Scene(facade=wall(), projectors=[pair]), 0.5) for pair in both)
        # Rounding only, here and below.
        np.testing.assert_allclose(colour["illuminance"], white["illuminance"] / 6, rtol=1e-12)
        leak, scatter = machine.leak(), machine.scatter()
        black = 7500 / 40 * (leak + scatter * 0.5 / 6)
        np.testing.assert_allclose(colour["black_illuminance"], black, rtol=1e-9)
    assert kit.Projector(light_output=1, throw_ratio=1).coloured().transmission() == (1.0, 1.0, 1.0)


@pytest.mark.published
@pytest.mark.parametrize(
    ("panel", "colour", "white"),
    [
        # AVS Forum, CES 2013, after IDMS 15.4: one machine of three panels, one of a single chip with a wheel.
        ("transmissive liquid crystal", 2950, 2920), ("micromirror single panel", 980, 2840),
        # At least, CanadaOne, Oct 2012: white up to 4.6 times colour.
        ("micromirror single panel", 1, 4.6),
    ],
)  # fmt: skip
def test_colour_light_of_a_panel_holds_what_was_metered(panel, colour, white):
    low, _, high = kit.typical_projector(1, 1, panel=panel).colour_share
    assert low <= colour / white <= high
    # Who does not know the panel has a wider band; lasers of three colours need no white segment.
    unknown, three = kit.typical_projector(1, 1).colour_share, kit.typical_projector(1, 1, light_source="three laser")
    assert unknown[0] <= colour / white + 0.04
    assert unknown[0] < three.colour_share[0]
    assert kit.typical_projector(1, 1, panel=panel, colour_share=0.7).colour_share == (0.7, 0.7, 0.7)


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("options", "named"),
    [({"moon phase": "full"}, "moon phase"), ({"picture mode": "dazzling"}, "dazzling"), ({"dust": 3}, "3")],
)
def test_typical_chain_names_an_unknown_group_or_option_and_the_known_ones(options, named):
    with pytest.raises(kit.InputError, match=named) as caught:
        kit.typical_chain(options)
    known = "picture mode" if "moon phase" in options else {"picture mode": "brightest", "dust": "clean"}
    known = known if isinstance(known, str) else known[next(iter(options))]
    assert known in str(caught.value)


@pytest.mark.analytic
def test_scatter_makes_up_what_the_checkerboard_lacks():
    projector = kit.Projector(light_output=1, throw_ratio=1, sequential_contrast=1500, checkerboard_contrast=200)
    # On a checkerboard half the picture is white; rounding only.
    assert projector.leak() + projector.scatter() / 2 == pytest.approx(1 / 200, rel=1e-12)


@pytest.mark.analytic
def test_black_on_a_checkerboard_measures_as_the_stated_checkerboard_contrast(wall, straight):
    # Measurement: ANSI/INFOCOMM 3M-2011, a checkerboard of 16 zones, so half the picture is white.
    pair = straight(sequential_contrast=1500, checkerboard_contrast=200)
    light = kit.light_map(kit.Scene(facade=wall(), projectors=[pair], average_picture_level=0.5), 0.1)
    ratio = light["illuminance"] / light["black_illuminance"]
    # The picture ends on pixel edges, so its share of the wall is exact; rounding only.
    np.testing.assert_allclose(ratio, 200.0, rtol=1e-9)
    np.testing.assert_allclose(light["contrast"], 200.0, rtol=1e-9)


@pytest.mark.analytic
def test_black_without_a_checkerboard_figure_is_the_leak_alone(wall, straight):
    light = kit.light_map(kit.Scene(facade=wall(), projectors=[straight(sequential_contrast=800)]), 0.1)
    np.testing.assert_allclose(light["illuminance"] / light["black_illuminance"], 800.0, rtol=1e-12)


@pytest.mark.analytic
def test_scatter_counts_only_light_that_lands_on_the_front(wall, straight):
    # A picture twice as wide as the wall: half of its light is masked black and scatters nothing.
    pair = straight(16.0, 5.0, sequential_contrast=1500, checkerboard_contrast=200)
    light = kit.light_map(kit.Scene(facade=wall(), projectors=[pair], average_picture_level=1.0), 0.1)
    expected = 1 / 1500 + 2 * (1 / 200 - 1 / 1500) * 0.5
    # The wall is half of the picture to the last pixel; rounding only.
    np.testing.assert_allclose(light["black_illuminance"] / light["illuminance"], expected, rtol=1e-9)


def test_a_lens_that_scatters_nothing_has_one_contrast():
    projector = kit.Projector(light_output=1, throw_ratio=1, sequential_contrast=300, checkerboard_contrast=300)
    assert projector.scatter() == 0.0


def test_a_typical_projector_has_the_figures_of_the_tables_and_a_picture_above_its_axis():
    projector = kit.typical_projector(4000, (1.2, 2.0), options={"dust": "clean"})
    assert (projector.light_output, projector.throw_ratio) == (4000, (1.2, 2.0))
    assert (projector.resolution, projector.lens_shift) == ((1920, 1200), (0.0, 0.5))
    for field in ("sequential contrast", "checkerboard contrast"):
        assert getattr(projector, field.replace(" ", "_")) == reference.value(
            "projector_classes", field, group="default"
        )
    assert projector.chain == kit.typical_chain()


@pytest.mark.parametrize(
    ("given", "kept"),
    [(np.array(1.5), 1.5), (np.array([1.2, 2.0]), (1.2, 2.0)), ([1.2, 2], (1.2, 2.0)), (np.float32(1.5), 1.5)],
)
def test_a_throw_ratio_is_one_number_or_the_range_of_a_zoom(given, kept):
    assert kit.Projector(light_output=1, throw_ratio=given).throw_ratio == kept


def test_zoom_is_set_within_its_range():
    zoom = kit.Projector(light_output=3000, throw_ratio=(1.2, 2.0))
    assert zoom.at(1.2).throw_ratio == 1.2
    assert zoom.at(2.0).throw_ratio == 2.0
    with pytest.raises(kit.InputError, match="throw_ratio"):
        zoom.fixed_throw_ratio()


def test_a_lens_without_zoom_is_at_any_throw_ratio_that_it_is_said_to_be():
    lens = kit.Projector(light_output=3000, throw_ratio=1.5, lens_shift=(0.0, 0.5))
    assert lens.fixed_throw_ratio() == 1.5
    assert lens.at(1.8) == kit.Projector(light_output=3000, throw_ratio=1.8, lens_shift=(0.0, 0.5))


@pytest.mark.bad_input
@pytest.mark.parametrize("ratio", [1.19, 2.01, math.nan])
def test_zoom_refuses_what_lies_outside_its_range(ratio):
    with pytest.raises(kit.InputError, match="throw_ratio"):
        kit.Projector(light_output=3000, throw_ratio=(1.2, 2.0)).at(ratio)


@pytest.mark.bad_input
def test_zoom_range_the_wrong_way_round_is_refused():
    with pytest.raises(kit.InputError, match=r"throw_ratio.*\(lowest, highest\)"):
        kit.Projector(light_output=3000, throw_ratio=(2.0, 1.2))


@pytest.mark.bad_input
def test_map_with_a_zoom_that_is_not_set_is_refused(wall):
    zoom = kit.Projector(light_output=3000, throw_ratio=(1.2, 2.0))
    place = kit.Placement(position=(0, 2, 8), aim=(0, 2, 0))
    with pytest.raises(kit.InputError, match="throw_ratio"):
        kit.light_map(kit.Scene(facade=wall(), projectors=[(zoom, place)]))


@pytest.mark.analytic
def test_nine_readings_of_a_map_give_back_the_light_output():
    # Method: ISO 11315-1:1997, nine points at the centres of equal zones, flux = mean illuminance x area.
    zones = [[70, 80, 75], [90, 100, 88], [60, 85, 66]]
    width, height, distance = 5.4, 3.6, 10.0
    projector = kit.Projector(light_output=2500, throw_ratio=distance / width, resolution=(1620, 1080), zones=zones)
    place = kit.Placement(position=(0, 1.85, distance), aim=(0, 1.85, 0))
    outline = [(-2.75, 0), (2.75, 0), (2.75, 3.7), (-2.75, 3.7)]
    front = kit.Facade([kit.Patch("wall", outline, kit.Surface(name="plain", reflectance=0.5))])
    light = kit.light_map(kit.Scene(facade=front, projectors=[(projector, place)]), 0.1)
    # The wall is half a pixel wider than the picture, so the zone centres are pixel centres.
    x, y = np.array([-1.8, 0.0, 1.8]), 1.85 + np.array([1.2, 0.0, -1.2])
    readings = light["illuminance"].sel(x=x, y=y, method="nearest").values
    # Towards the edges the light falls below the nine readings, so they say some 4% more than there is.
    assert readings.mean() * width * height == pytest.approx(2500 * 1.04, rel=0.02)
    np.testing.assert_allclose(readings / readings[1, 1], np.array(zones) / 100.0, rtol=1e-9)


# Corners


@pytest.mark.published
def test_the_corners_of_a_usual_lens_follow_from_what_a_reviewer_measured():
    # Five units: mean over centre 0.83 to 0.98, worst corner 19 to 33% below the centre.
    mean, worst = (reference.row("projector_classes", f"{what} over centre") for what in ("mean", "worst corner"))
    for aspect in (1.0, 1.6, 16 / 9):
        zones = np.array(usual_zones(aspect))
        assert zones.mean() == pytest.approx(mean.value, rel=1e-12)
        # Round: as dim at the same way from the centre, whichever way.
        falls = 1.0 - zones
        assert falls[1, 0] == pytest.approx(falls[0, 1] * aspect**2, rel=1e-12)
        assert falls[0, 0] == pytest.approx(falls[1, 0] + falls[0, 1], rel=1e-12)
        # All corners are alike, so none is as dim as the worst of a real one, nor brighter than the best of those.
        assert worst.value < zones[0, 0] < worst.high
    assert levels_of(mean) == pytest.approx(sample_ends(0.83, 0.905, 0.98, 5), abs=5e-3)
    assert levels_of(worst) == pytest.approx(sample_ends(0.67, 0.74, 0.81, 5), abs=5e-3)


def levels_of(row):
    return row.low, row.value, row.high


def sample_ends(least, middle, greatest, n):
    """The rule of light_losses.csv: the ends of n readings stand at 1/(n + 1) and n/(n + 1); at most 1."""
    further = NormalDist().inv_cdf(0.95) / NormalDist().inv_cdf(n / (n + 1))
    low, high = (middle * (end / middle) ** further for end in (least, greatest))
    return low, middle, min(1.0, high)


def test_a_typical_machine_has_usual_corners_once_and_its_lumens_whole():
    usual = kit.typical_projector(4000, 1.0, resolution=(1600, 1000))
    assert usual.zones == usual_zones(1.6)
    at = (np.arange(200) + 0.5) / 200 - 0.5
    gain = zone_gain(usual.zones, at, at[:, None])
    assert gain.mean() == pytest.approx(1.0, abs=1e-3)
    assert gain.min() < 0.8 < 1.1 < gain.max() < 1.2
    # Measured zones take their place; nothing of it stands in the chain.
    measured = replace(usual, zones=((1, 1, 1),) * 3)
    assert measured.transmission() == usual.transmission()
    np.testing.assert_allclose(zone_gain(measured.zones, at, at[:, None]), 1.0, rtol=1e-12)
