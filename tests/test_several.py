"""Several projectors: sums, blends, ways to set them up, and their comparison."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import kit
from kit import reference
from kit.decision.several import RACK, STATES, compare_setups, electrical_power, picture_elements, stacked
from kit.light.ambient import Ambient
from kit.light.cast import cast_light
from kit.results import text_table
from kit.words import short

BLACK = {"sequential_contrast": 1000.0, "checkerboard_contrast": 200.0}


def picture_position(projector, placement, points):
    """Across and up in the picture, from -0.5 to 0.5."""
    landing = kit.Beam.of(projector, placement).on(points)
    return np.array([landing.across, landing.up])


def scene(facade, *pairs, **more):
    return kit.Scene(facade=facade, projectors=pairs, **more)


def lit(light, name="illuminance"):
    return light[name].values


def row_of_two(straight, *, overlap=1.0, lumens=(4000.0, 4000.0), **more):
    """Two pictures 4.5 m wide and 5 m high on a wall 8 m wide, which overlap by 1 m over x = 0."""
    width = (8.0 + overlap) / 2
    return tuple(
        straight(width, 5.0, lumens=flux, x=side * (8.0 - width) / 2, **more)
        for side, flux in zip((-1, 1), lumens, strict=True)
    )


# Sums


@pytest.mark.analytic
def test_two_machines_at_one_place_are_one_of_twice_the_light(wall, straight):
    projector, place = straight(9.0, 6.0, lumens=4000.0, **BLACK)
    double = replace(projector, light_output=8000.0)
    around = {"ambient": Ambient(vertical_illuminance=0.7), "ground_reflectance": 0.2}
    two = kit.light_map(scene(wall(), *stacked(projector, place, 2, gap=0.0), **around), 0.1)
    one = kit.light_map(scene(wall(), (double, place), **around), 0.1)
    for name in ("illuminance", "black_illuminance", "white_luminance", "black_luminance", "contrast"):
        np.testing.assert_allclose(lit(two, name), lit(one, name), rtol=1e-12)


@pytest.mark.property
@settings(max_examples=20)
@given(
    count=st.integers(1, 4),
    gap=st.floats(0.0, 0.6),
    roll=st.sampled_from([0.0, 180.0, 90.0, 23.0]),
    shift=st.tuples(st.floats(-0.2, 0.2), st.floats(-0.5, 0.5)),
    ratio=st.floats(0.6, 3.0),
)
def test_stacked_pictures_coincide_on_the_wall(count, gap, roll, shift, ratio):
    projector = kit.Projector(light_output=1000, throw_ratio=ratio, lens_shift=shift)
    place = kit.Placement(position=(1.0, 0.4, 9.0), aim=(1.0, 0.4, 0.0), roll=roll)
    points = np.array([(x, y, 0.0) for x in (-2.0, 0.5, 3.0) for y in (0.0, 1.0, 4.0)])
    pairs = stacked(projector, place, count, gap=gap)
    assert [p.position[1] for _, p in pairs] == pytest.approx([0.4 + i * gap for i in range(count)])
    first = picture_position(*pairs[0], points)
    for pair in pairs[1:]:
        np.testing.assert_allclose(picture_position(*pair, points), first, atol=1e-9)


@pytest.mark.analytic
def test_a_stack_lights_a_flat_wall_count_times_as_much(wall, straight):
    projector, place = straight(8.0, 5.0, **BLACK)
    one, three = (kit.light_map(scene(wall(), *stacked(projector, place, n)), 0.1) for n in (1, 3))
    # The lenses look squarely at the wall from one distance, so each makes the same even picture.
    for name in ("illuminance", "black_illuminance"):
        np.testing.assert_allclose(lit(three, name), 3 * lit(one, name), rtol=1e-9)


# Blends


@pytest.mark.analytic
@pytest.mark.parametrize("overlap", [0.0, 0.5, 1.0, 3.0])
def test_two_equal_pictures_side_by_side_make_a_flat_white(wall, straight, overlap):
    pairs = row_of_two(straight, overlap=overlap)
    light = kit.light_map(scene(wall(), *pairs, blend=True), 0.1)
    # 4000 lm over one picture, everywhere; E = E1 h / d^3 is constant on a wall that is looked at squarely.
    np.testing.assert_allclose(lit(light), 4000.0 / ((8.0 + overlap) / 2 * 5.0), rtol=1e-12)


@pytest.mark.analytic
def test_the_leak_stays_in_the_overlap_and_scatter_follows_the_faded_white(wall, straight):
    pairs = row_of_two(straight, **BLACK)
    light = kit.light_map(scene(wall(), *pairs, blend=True, average_picture_level=0.6), 0.1)
    even = 4000.0 / (4.5 * 5.0)
    # All of a picture lands. Of its 4.5 m, 1 m is faded, by symmetry to half: 4 of 4.5 m stay white.
    scatter = 2 * (1 / 200 - 1 / 1000) * 0.6 * 4.0 / 4.5
    single = even * (1 / 1000 + scatter)
    overlap = np.abs(light["x"].values) < 0.5
    np.testing.assert_allclose(lit(light, "black_illuminance")[:, ~overlap], single, rtol=1e-12)
    np.testing.assert_allclose(lit(light, "black_illuminance")[:, overlap], 2 * single, rtol=1e-12)
    np.testing.assert_allclose(light["contrast"].values[:, overlap], even / (2 * single), rtol=1e-12)


@pytest.mark.analytic
def test_the_blend_is_that_of_a_sum_by_hand(wall):
    """Three machines of different light, roll, zoom and place on a wall with a bay, against a sum over its points."""
    grey = kit.Surface(name="grey", reflectance=0.4)
    front = kit.Facade(
        [
            kit.Patch("wall", [(-4, 0), (4, 0), (4, 5), (-4, 5)], grey),
            *kit.with_returns(kit.Patch("bay", [(1, 0, 1), (3, 0, 1), (3, 3, 1), (1, 3, 1)], grey), 0.0),
        ]
    )
    uneven = ((80, 90, 70), (95, 100, 90), (60, 85, 75))
    machines = (
        (2000.0, 1.6, (-1.5, 1.0, 8.0), (-1.0, 2.0, 0.0), 0.0, None),
        (5000.0, 1.3, (2.5, 2.0, 9.0), (1.0, 2.5, 0.0), 4.0, uneven),
        (3000.0, 2.0, (0.5, 4.0, 7.0), (0.2, 2.0, 0.0), -7.0, None),
    )
    pairs = [
        (
            kit.Projector(light_output=lumens, throw_ratio=ratio, zones=zones, resolution=(1600, 1000), **BLACK),
            kit.Placement(position=position, aim=aim, roll=roll),
        )
        for lumens, ratio, position, aim, roll, zones in machines
    ]
    spacing = 0.16
    light = kit.light_map(scene(front, *pairs, blend=True, average_picture_level=0.5), spacing)
    alone = [kit.light_map(scene(front, (replace(p, checkerboard_contrast=None), q)), spacing) for p, q in pairs]
    units = [lit(one) for one in alone]  # each machine's own light, shadows and zones included
    total, white = np.zeros_like(units[0]), np.zeros_like(units[0])
    weights = []
    patch = light["patch"].values
    for (projector, place), unit in zip(pairs, units, strict=True):
        weight = np.zeros_like(unit)
        for j, y in enumerate(light["y"].values):
            for i, x in enumerate(light["x"].values):
                if unit[j, i] > 0:
                    point = (x, y, 1.0 if front.patches[patch[j, i]].name == "bay" else 0.0)
                    across, up = picture_position(projector, place, point)
                    weight[j, i] = min(0.5 - abs(across), 0.5 - abs(up))
        weights.append(weight)
        total += weight
    kept = [np.where(total > 0, w / np.where(total > 0, total, 1), 0) for w in weights]
    white = sum(k * u for k, u in zip(kept, units, strict=True))
    np.testing.assert_allclose(lit(light), white, rtol=1e-9)
    dark = np.zeros_like(white)
    for k, u, (projector, _) in zip(kept, units, pairs, strict=True):
        used = np.nansum(k * u) * spacing**2 / projector.light_output
        dark += u * (1 / 1000 + 2 * (1 / 200 - 1 / 1000) * 0.5 * used)
    np.testing.assert_allclose(lit(light, "black_illuminance"), dark, rtol=1e-9)
    # All three cases come up: no light, one alone, several.
    reached = np.sum([u > 0 for u in units], axis=0)
    assert {0, 1, 2, 3} == set(np.unique(reached))


@pytest.mark.property
@settings(max_examples=15)
@given(overlap=st.floats(0.1, 6.0), lumens=st.tuples(st.floats(500, 9000), st.floats(500, 9000)))
def test_the_blend_lies_between_the_two_and_takes_as_much_as_it_fades(wall, straight, overlap, lumens):
    pairs = row_of_two(straight, overlap=overlap, lumens=lumens)
    spacing = 0.25
    plain, light = (kit.light_map(scene(wall(), *pairs, blend=blend), spacing) for blend in (False, True))
    each = [lit(kit.light_map(scene(wall(), pair), spacing)) for pair in pairs]
    both = (each[0] > 0) & (each[1] > 0)
    # Alone nothing changes; together the white lies between that of the one and of the other.
    np.testing.assert_array_equal(lit(light)[~both], lit(plain)[~both])
    low, high = np.minimum(*each)[both], np.maximum(*each)[both]
    assert np.all((lit(light)[both] >= low * (1 - 1e-12)) & (lit(light)[both] <= high * (1 + 1e-12)))
    # Flux on the wall is that of the sum less what the masks take; of equal machines they take one whole overlap.
    taken = (lit(plain) - lit(light)).sum() * spacing**2
    assert taken == pytest.approx((each[0] + each[1] - lit(light))[both].sum() * spacing**2, rel=1e-9, abs=1e-9)
    # Where they overlap the weights are mirror images, so half of the light of both is taken.
    assert taken == pytest.approx((each[0] + each[1])[both].sum() / 2 * spacing**2, rel=1e-9, abs=1e-9)
    # The black of what leaks is the same with and without.
    np.testing.assert_array_equal(lit(light, "black_illuminance"), lit(plain, "black_illuminance"))


@pytest.mark.property
def test_a_mirrored_scene_has_the_mirrored_blend(wall, straight):
    pairs = row_of_two(straight, lumens=(3000.0, 5000.0), **BLACK)
    other = row_of_two(straight, lumens=(5000.0, 3000.0), **BLACK)
    one, two = (kit.light_map(scene(wall(), *given, blend=True), 0.1) for given in (pairs, other))
    for name in ("illuminance", "black_illuminance"):
        np.testing.assert_allclose(lit(one, name), lit(two, name)[:, ::-1], rtol=1e-12)


@pytest.mark.property
def test_light_output_scales_a_blend(wall, straight):
    one, four = (
        kit.light_map(scene(wall(), *row_of_two(straight, lumens=(flux, flux), **BLACK), blend=True), 0.2)
        for flux in (1000.0, 4000.0)
    )
    for name in ("illuminance", "black_illuminance"):
        np.testing.assert_allclose(lit(one, name), lit(four, name) / 4, rtol=1e-12)


@pytest.mark.analytic
def test_pictures_that_coincide_share_alike_even_on_their_edges(wall, straight):
    """A pixel centre on the very edge of both pictures, exact in binary, has no distance to share by."""
    front, pair = wall(8.5, 5.0), straight(4.0, 5.0)
    light = kit.light_map(scene(front, pair, pair, blend=True), 0.5)
    single = kit.light_map(scene(front, pair), 0.5)
    edge = light["x"].values == -2.0
    assert np.all(lit(single)[:, edge] > 0)
    assert np.all(picture_position(*pair, (-2.0, 2.5, 0.0))[0] == -0.5)
    np.testing.assert_allclose(lit(light), lit(single), rtol=1e-12)


@pytest.mark.property
def test_one_machine_has_nothing_to_blend_and_pictures_apart_neither(wall, straight):
    pairs = row_of_two(straight, overlap=-1.0, **BLACK)
    for given_pairs in (pairs, pairs[:1]):
        plain, light = (kit.light_map(scene(wall(), *given_pairs, blend=blend), 0.1) for blend in (False, True))
        assert light.identical(plain)


@pytest.mark.analytic
def test_light_sent_back_by_the_ground_follows_the_faded_white(wall, straight):
    more = {"ground_reflectance": 0.5, "average_picture_level": 1.0}
    pairs = row_of_two(straight)
    light = kit.light_map(scene(wall(), *pairs, blend=True, **more), 0.1)
    # No leak, no scatter: all black is what the ground returns of an even wall of 4000 / 22.5 lx.
    exitance = 0.5 * 4000.0 / 22.5
    expected = kit.eye.light_map.BOUNCE * 0.5 * exitance
    np.testing.assert_allclose(lit(light, "black_illuminance"), expected, rtol=1e-12)


# Ways to set them up


# Comparison


@pytest.fixture(scope="module")
def compared(wall, straight):
    around = {"ambient": Ambient(vertical_illuminance=0.5)}
    small, place = straight(8.0, 5.0, **BLACK)
    large = replace(small, light_output=8000.0)
    return compare_setups(
        {
            "two of 4,000 lm, stacked": scene(wall(), *stacked(small, place, 2, gap=0.0), **around),
            "one of 8,000 lm": scene(wall(), (large, place), **around),
            "side by side": scene(wall(), *row_of_two(straight, **BLACK), blend=True, **around),
        },
        spacing=0.1,
    )


@pytest.mark.analytic
def test_setups_have_the_figures_of_their_maps(compared, straight):
    two, one, side = compared.setups
    for a, b in ((two.front.white_luminance, one.front.white_luminance), (two.front.contrast, one.front.contrast)):
        assert (a.median, a.low, a.high) == pytest.approx((b.median, b.low, b.high), rel=1e-12)
    assert two.black == pytest.approx(one.black, rel=1e-12)
    assert (two.count, one.count, side.count) == (2, 1, 2)
    assert [s.stated_light_output for s in compared.setups] == [8000.0] * 3
    assert (one.overlap_share, one.overlap_black, one.single_black) == (0.0, None, None)
    assert (two.overlap_share, two.overlap_black) == (1.0, two.black)
    assert two.single_black == pytest.approx(two.black / 2, rel=1e-12)
    assert side.overlap_share == pytest.approx(1.0 / 8.0)
    assert side.overlap_black == pytest.approx(2 * side.single_black, rel=1e-12)
    # A square picture of 8 m by 5 m is 8:5 elements; every one of them lands.
    (across, down), each = straight(8.0, 5.0)[0].resolution, straight(4.5, 5.0)[0].resolution
    assert one.pixels == pytest.approx(across * down, rel=1e-9)
    assert two.pixels == pytest.approx(2 * across * down, rel=1e-9)
    assert one.coarsest == pytest.approx(8.0 / across, rel=1e-9)
    assert side.pixels == pytest.approx(2 * math.prod(each), rel=1e-9)
    assert side.coarsest == pytest.approx(4.5 / each[0], rel=1e-9)


@pytest.mark.analytic
def test_a_failure_leaves_the_others(compared):
    two, one, side = compared.setups
    dark = one.worst_failure
    assert (dark.status, dark.lit_share, dark.white_luminance, dark.contrast) == ("not enough", 0.0, 0.0, 1.0)
    assert len(two.failures) == len(side.failures) == 2
    half = two.worst_failure
    assert half.lit_share == 1.0
    assert half.white_luminance == pytest.approx(two.front.white_luminance.median / 2, rel=1e-12)
    gone = side.worst_failure
    assert gone.lit_share == pytest.approx(4.5 / 8.0, abs=1e-9)
    assert gone.white_luminance == pytest.approx(side.front.white_luminance.median, rel=1e-12)
    assert all(STATES.index(f.status) >= STATES.index(gone.status) for f in side.failures)
    # Bright as it is, a picture on 56% of the front is not enough where 80% has to be good.
    assert (gone.status, gone.chance) == ("not enough", 0.0)
    assert "56% of the front is still lit, with white" in side.sentence()
    assert "not enough, fewer than 1 chance in 10." in side.sentence()


@pytest.mark.analytic
def test_raised_black_is_compared_at_the_same_points(straight):
    """The overlap falls on a dark door: its black is lower than that of the white wall beside it, and yet doubled."""
    white, dark = (kit.Surface(name=name, reflectance=rho) for name, rho in (("white", 0.7), ("dark", 0.05)))
    wall = kit.Patch("wall", [(-4, 0), (4, 0), (4, 5), (-4, 5)], white)
    front = kit.Facade([wall, kit.Patch("door", [(-0.6, 0), (0.6, 0), (0.6, 5), (-0.6, 5)], dark)])
    (found,) = compare_setups({"both": scene(front, *row_of_two(straight, **BLACK), blend=True)}).setups
    assert found.overlap_black == pytest.approx(2 * found.single_black, rel=1e-9)
    assert found.overlap_black < found.black
    low, high = short(found.single_black), short(found.overlap_black)
    assert f"({high} where pictures overlap; one alone: {low})" in found.sentence()


@pytest.mark.property
def test_the_worst_failure_is_that_of_the_larger_machine(wall, straight):
    small, place = straight(8.0, 5.0, lumens=500.0)
    large = replace(small, light_output=4000.0)
    (found,) = compare_setups({"a": scene(wall(), (small, place), (large, place))}).setups
    assert found.worst_failure.projector == 2
    assert [f.white_luminance for f in found.failures] == pytest.approx(
        [0.5 * 4000 / 40 / math.pi, 0.5 * 500 / 40 / math.pi]
    )


def test_price_and_power_add_up(compared):
    two, one, _ = compared.setups
    assert two.price == pytest.approx([2 * v for v in kit.projector_price(4000.0)])
    assert one.price == pytest.approx(kit.projector_price(8000.0))
    assert two.power == pytest.approx([2 * v for v in electrical_power(4000.0)])


def test_electrical_power_is_that_of_the_classes_and_lies_between_them():
    rows = [row for row in reference.table("projector_classes") if row.group == "power"]
    sizes = [float(row.name.split()[0]) for row in rows]
    assert sizes == sorted(sizes)
    assert all(row.note.startswith("Weak") for row in rows)
    for size, row in zip(sizes, rows, strict=True):
        assert electrical_power(size) == pytest.approx((size / row.high, size / row.value, size / row.low))
    for smaller, larger in pairwise(sizes):
        between = electrical_power(math.sqrt(smaller * larger))[1]
        assert electrical_power(smaller)[1] < between < electrical_power(larger)[1]
        assert between**2 == pytest.approx(electrical_power(smaller)[1] * electrical_power(larger)[1])
    # Below the smallest class each watt gives what it gives there.
    assert electrical_power(500.0)[1] == pytest.approx(500.0 / rows[0].value)
    assert electrical_power(sizes[-1] + 1.0) is None


def test_machines_that_are_not_listed_have_no_price(wall, straight):
    projector, place = straight(8.0, 5.0, lumens=1e5)
    (found,) = compare_setups({"huge": scene(wall(), (projector, place))}).setups
    assert found.price is None
    assert found.power is None
    comparison = compare_setups(
        {"huge": scene(wall(), (projector, place)), "huge again": scene(wall(), (projector, place))}
    )
    frame = comparison.frame()
    assert frame[["price [USD]", "low price [USD]", "electrical power [W]"]].isna().all(axis=None)
    assert "USD" not in comparison.sentence()
    assert "Cheapest" not in comparison.sentence()
    # Weight and wind matter where there are several machines.
    assert RACK not in comparison.sentence()
    # Without leak and ambient light.
    assert "contrast unlimited:1" in comparison.sentence()
    assert "Best contrast where lit: huge and huge again." in comparison.sentence()


def test_frame_and_sentence_say_what_was_found(compared):
    frame, feet = compared.frame(), compared.frame("ft")
    assert frame.index.tolist() == ["two of 4,000 lm, stacked", "one of 8,000 lm", "side by side"]
    for setup, (_, row), (_, other) in zip(compared.setups, frame.iterrows(), feet.iterrows(), strict=True):
        assert row["verdict on the front"] == setup.front.status
        assert row["white [cd/m²]"] == setup.front.white_luminance.median
        assert row["high contrast, plain"] == setup.surfaces[0].contrast.high
        assert row["longest of them [mm]"] == pytest.approx(1e3 * setup.coarsest)
        assert other["longest of them [in]"] == pytest.approx(setup.coarsest / 0.0254)
        assert (row["low price [USD]"], row["price [USD]"], row["high price [USD]"]) == setup.price
        assert row["electrical power [W]"] == setup.power[1]
        assert row["if one fails: contrast"] == setup.worst_failure.contrast
    # As text a setup has a column, for people to look down.
    head, *lines = text_table(frame).splitlines()
    assert " ".join(head.split()) == "two of 4,000 lm, stacked one of 8,000 lm side by side"
    shown = {line[:35].strip(): line[35:].split() for line in lines}
    assert shown["black where pictures overlap [cd/m²]"[:35]][-2] == "-"
    assert shown["lit"] == ["100%"] * 3
    assert compared.sentence().endswith(RACK)
    assert "If it fails, the front is dark." in compared.sentence()
    assert "If one machine fails, 100% of the front is still lit" in compared.sentence()
    assert "Cheapest: two of 4,000 lm, stacked and side by side." in compared.sentence()
    most = "two of 4,000 lm, stacked, one of 8,000 lm and side by side"
    assert f"Most of the front lit: {most}." in compared.sentence()
    assert str(compared) == f"{compared.sentence()}\n\n{text_table(frame)}"
    side = compared.setups[2]
    assert side.sentence() in compared.sentence()


@pytest.fixture(scope="module")
def brick_and_roof():
    grey = kit.Surface(name="grey", reflectance=0.5)
    return kit.Facade(
        [
            kit.Patch("low", [(-4, 0), (4, 0), (4, 2), (-4, 2)], grey),
            kit.Patch("roof", [(-4, 2), (4, 2), (4, 4), (-4, 4)], replace(grey, name="tiles"), judged=False),
        ]
    )


@pytest.fixture(scope="module")
def slanting():
    projector = kit.Projector(light_output=3000, throw_ratio=0.8, resolution=(320, 200))
    return projector, kit.Placement(position=(2.0, 0.5, 6.0), aim=(-1.0, 2.0, 0.0), roll=5.0)


def test_parts_that_nothing_lights_are_told(brick_and_roof, straight):
    """A picture that reaches only what is not judged."""
    comparison = compare_setups({"high": scene(brick_and_roof, straight(4.0, 1.0, y=3.0))})
    (found,) = comparison.setups
    assert (found.black, found.overlap_share, found.overlap_black, found.coarsest) == (0.0, 0.0, None, 0.0)
    assert found.pixels > 0
    assert "No picture reaches what is judged" in comparison.sentence()
    assert np.isnan(comparison.frame()["white [cd/m²]"].iloc[0])


@pytest.mark.analytic
def test_zones_change_light_and_not_the_size_of_picture_elements(wall, straight):
    zones = ((50, 80, 50), (80, 100, 80), (50, 80, 50))
    plain, uneven = (
        picture_elements(cast_light(wall(), (straight(8.0, 5.0, zones=z),), wall().bounds, 0.1)) for z in (None, zones)
    )
    assert plain == pytest.approx(uneven, rel=1e-12)


@pytest.mark.analytic
def test_picture_elements_are_counted_on_all_that_is_seen_and_measured_where_it_is_judged(brick_and_roof, slanting):
    """The elements of a slanting picture that lie on each patch, by where the middle of each lands."""
    front, (projector, place) = brick_and_roof, slanting
    count, longest = picture_elements(cast_light(front, (slanting,), front.bounds, 0.02))
    across, down = projector.resolution
    beam = kit.Beam.of(projector, place)
    column, row = np.meshgrid(np.arange(across) + 0.5, np.arange(down) + 0.5)
    steps = np.array([(0, 0), (0.5, 0), (-0.5, 0), (0, 0.5), (0, -0.5)])
    middle, right, left, below, above = (
        beam.land(beam.pixel_rays(column + i, row + j), (0, 0, 1), 0.0)[..., :2] for i, j in steps
    )
    on = (np.abs(middle[..., 0]) <= 4) & (middle[..., 1] >= 0) & (middle[..., 1] <= 4)
    # Edges of the front cut through elements: of about 300 along them, half a row may be off.
    assert count == pytest.approx(np.count_nonzero(on), rel=0.01)
    low = on & (middle[..., 1] <= 2)
    shape = np.stack([right - left, below - above], axis=-1)[low]
    # Elements are large, so that the largest one lies off the nearest point of the raster by up to half its size.
    assert longest == pytest.approx(np.linalg.svd(shape, compute_uv=False).max(), rel=0.01)


# What is refused

SQUARE = kit.Placement(position=(0, 1, 8), aim=(0, 1, 0))
GOOD = kit.Projector(light_output=3000, throw_ratio=(1.0, 2.0))
FIXED = GOOD.at(1.5)


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"projector": GOOD}, "throw_ratio"),
        ({"placement": kit.Placement(position=(0, 1, 8), aim=(0, 2, 0))}, "aim"),
        ({"placement": kit.Placement(position=(0, 1, 8), aim=(0, 1, 9))}, "aim"),
        ({"placement": kit.Placement(position=(0, 1, -8), aim=(0, 1, -9))}, "position"),
    ],
)
def test_a_stack_names_what_is_wrong(change, field):
    right = {"projector": FIXED, "placement": SQUARE, "count": 2, "gap": 0.3}
    assert len(stacked(**right)) == 2
    with pytest.raises(kit.InputError) as caught:
        stacked(**right | change)
    assert caught.value.field == field


@pytest.mark.bad_input
def test_a_comparison_names_what_is_wrong(wall, straight):
    good = scene(wall(), straight())
    for setups, field in (({}, "setups"), ([good], "setups"), ({"": good}, "setup name"), ({"a": 3}, "setup 'a'")):
        with pytest.raises(kit.InputError) as caught:
            compare_setups(setups)
        assert caught.value.field == field
    with pytest.raises(kit.InputError, match="target"):
        kit.compare_setups({"a": good}, target=4.0)
