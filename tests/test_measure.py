"""What to measure first, what a reading changes, and where a surface lands on the ladder."""

import math
from dataclasses import replace
from itertools import pairwise

import pytest

import kit
from kit import reference
from kit.decision.verdict import Ladder, landing, rungs
from kit.fields import specs

CERTAIN = kit.Doubt(**dict.fromkeys(specs(kit.Doubt), (1.0, 1.0)))


@pytest.fixture
def scene(wall, straight):
    """4000 lm of a typical chain on 40 m2 of grey wall under 4 lx, and whatever else is given."""

    def build(doubt=None, ambient=4.0, lamps=(), chain=None, low=0.4, high=0.6, **more):
        pair = straight(8, 5, y=2.5, sequential_contrast=1000.0, chain=kit.typical_chain() if chain is None else chain)
        around = kit.Ambient(vertical_illuminance=ambient, lamps=lamps)
        return kit.Scene(
            facade=wall(low=low, high=high), projectors=[pair], ambient=around, doubt=doubt or kit.Doubt(), **more
        )

    return build


def reading(of, value, against=None, **more):
    return kit.Reading(of=of, value=value, against=against, **more)


@pytest.mark.analytic
def test_what_alone_is_in_doubt_carries_all_of_it(scene):
    only = replace(CERTAIN, even_light=(0.5, 2.0))
    light = kit.light_map(scene(only, chain=[], low=0.5, high=0.5), 0.25)
    # Contrast (E + A) / (E / 1000 + A) at E = 100 lx: as likely as not at A = 4 lx.
    target = kit.Target(white_luminance=1, contrast=104 / 4.1)
    found = kit.measure_first(light, target)
    assert list(found.shares) == ["ambient light"]
    # The spread of such estimates over a thousand draws.
    assert found.shares["ambient light"] == pytest.approx((1.0, 1.0), abs=0.05)
    assert found.chance == pytest.approx(0.5, abs=0.01)
    # Once it is known there is nothing left to doubt.
    assert found.clear == 1.0
    assert "Measure the ambient light first" in found.sentence()
    assert "5 chances in 10" in found.sentence()


@pytest.mark.analytic
def test_two_losses_share_the_doubt_by_the_squares_of_their_bands(scene):
    """White alone asks: its logarithm is a sum of two, each even about its middle."""
    only = replace(CERTAIN, picture_width=(1 / 1.05, 1.05))
    given = scene(only, chain=[kit.Factor(name="rating", low=0.75, nominal=0.9, high=1.08, source="a meter")])
    light = kit.light_map(replace(given, facade=given.facade.cover(
        kit.Surface(name="plain", reflectance=0.5), patches=["wall"]
    )), 0.25)  # fmt: skip
    found = kit.measure_first(light, kit.Target(white_luminance=14, contrast=2))
    parts = math.log(1.2) ** 2, math.log(1.05**2) ** 2
    for name, part in zip(("lumens", "picture width"), parts, strict=True):
        # The spread of such estimates over a thousand draws.
        assert found.shares[name] == pytest.approx((part / sum(parts),) * 2, abs=0.05)
    assert list(found.shares) == ["lumens", "picture width"]


def test_where_no_reading_matters_none_is_asked_for(scene):
    light = kit.light_map(scene(), 0.25)
    hopeless = kit.measure_first(light, kit.Target(white_luminance=1e4))
    assert hopeless.sentence() == "No reading changes the verdict on this front."
    assert len(kit.measure_first(light, surface="plain").frame()) > 2
    certain = kit.measure_first(kit.light_map(scene(CERTAIN, chain=[], low=0.5, high=0.5), 0.25))
    assert certain.frame().index.tolist() == ["nothing"]


@pytest.mark.analytic
def test_each_reading_takes_the_place_of_its_assumption(scene):
    given = scene()
    # Even light; luminous intensity; light from a wall over that on it; distance over width.
    found = kit.with_measurement(given, [reading("ambient light", 3.0)], spacing=0.25).scene
    assert found.ambient.vertical_illuminance == 3.0
    assert found.doubt.even_light == pytest.approx((0.9, 1.1))
    # 80 lx 8 m away, where the picture has 40 square metres: 3200 of 4000 lm.
    ((machine, _),) = kit.with_measurement(given, [reading("lumens", 80.0, 8.0)], spacing=0.25).scene.projectors
    assert machine.transmission() == pytest.approx((0.72, 0.8, 0.88), rel=1e-9)
    (surface,) = kit.with_measurement(
        given, [reading("reflectance", 1.1, 2.0, surface="plain")]
    ).scene.facade.surfaces()
    assert (surface.low, surface.reflectance, surface.high) == pytest.approx((0.55 * 0.85, 0.55, 0.55 * 1.18))
    ((machine, _),) = kit.with_measurement(given, [reading("picture width", 7.5, 8.0)], spacing=0.25).scene.projectors
    assert machine.throw_ratio == pytest.approx(8.0 / 7.5)
    porch = kit.typical_luminaire("porch light", position=(0.0, 2.2, 0.5))
    lit = kit.with_measurement(scene(lamps=[porch]), [reading("lamps", 1.0)], spacing=0.25).scene
    lux = kit.light_map(lit, 0.25)["ambient_illuminance"].sel(source=porch.name)
    assert float(lux.mean()) == pytest.approx(1.0, rel=1e-9)


def test_old_and_new_stand_side_by_side_and_a_good_reading_makes_it_clear(scene):
    target = kit.Target(white_luminance=1.0, contrast=15.0)
    found = kit.with_measurement(scene(), [reading("ambient light", 3.0)], target, spacing=0.25)
    assert 0.1 < found.before.chance < 0.9 < found.after.chance
    assert found.frame().index.get_level_values(0).unique().tolist() == ["as assumed", "as measured"]
    assert found.sentence().startswith("As assumed: ")
    assert "As measured: 9 chances in 10, enough." in found.sentence()
    assert found.notes == ()


@pytest.mark.analytic
def test_readings_that_contradict_each_other_are_both_kept_and_it_is_said(scene):
    two = [reading("ambient light", 4.0), reading("ambient light", 5.6)]
    found = kit.with_measurement(scene(), two, spacing=0.25)
    middle = math.sqrt(4.0 * 5.6)
    assert found.scene.ambient.vertical_illuminance == pytest.approx(middle)
    assert found.scene.doubt.even_light == pytest.approx((3.6 / middle, 6.16 / middle))
    (note,) = found.notes
    assert note == "Readings of ambient light contradict each other; both are kept: 4.7 (3.6 to 6.2)."
    # 4.4 and 5.0 at most and at least: they may be the same.
    agreeing = kit.with_measurement(scene(), [reading("ambient light", 4.0), reading("ambient light", 4.5)])
    assert agreeing.notes == ()


def test_a_reading_beyond_what_was_assumed_is_said(scene):
    found = kit.with_measurement(scene(), [reading("ambient light", 12.0)], spacing=0.25)
    (note,) = found.notes
    assert note.startswith("Ambient light was taken to be 4.0 (2.0 to 8.0); 12 (11 to 13), as read, lies beyond that")


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("given", "named"),
    [
        ({"of": "ambient light", "value": -0.1}, "value"),
        ({"of": "the moon", "value": 1.0}, "of"),
        ({"of": "lumens", "value": 80.0}, "against"),
        ({"of": "lumens", "value": 0.0, "against": 8.0}, "value"),
        ({"of": "picture width", "value": 8.0, "against": 0.0}, "against"),
        ({"of": "reflectance", "value": 1.0, "against": 2.0}, "surface"),
        ({"of": "reflectance", "value": 2.1, "against": 2.0, "surface": "plain"}, "surface"),
        ({"of": "ambient light", "value": 1.0, "doubt": (1.1, 1.2)}, "doubt"),
    ],
)
def test_a_reading_that_cannot_be_is_refused(given, named):
    with pytest.raises(kit.InputError, match=rf"^reading: .*{named}"):
        kit.Reading(**given)


@pytest.mark.bad_input
def test_readings_of_what_the_scene_does_not_have_are_refused(scene):
    for wrong, named in (
        ([], "readings"),
        ([reading("lamps", 1.0)], "lamps"),
        ([reading("reflectance", 1.0, 2.0, surface="gold")], "gold.*plain"),
        ([4.0], "readings"),
    ):
        with pytest.raises(kit.InputError, match=named):
            kit.with_measurement(scene(), wrong, spacing=0.5)
    with pytest.raises(kit.InputError, match=r"surface.*gold"):
        kit.measure_first(kit.light_map(scene(), 0.5), surface="gold")


# The ladder


@pytest.mark.published
def test_the_rungs_are_those_of_their_sources():
    # Half of 3.8 foot-lamberts and 3.8: Estes, Theatre Catalog 1954-55; 4.7 and 7: J. SMPE 18 (1932) 247;
    # 48 cd/m2: ISO 26431-1 (all seen); 4, 6, 12 cd/m2: CIE 94-1993 (from memory); 30 lx on 0.2: IESNA (seen).
    foot_lambert = reference.value("constants", "foot-lambert")
    lamberts = [times * foot_lambert for times in (1.9, 3.8, 4.7, 7)]
    expected = sorted([30 * 0.2 / math.pi, 4, 6, 12, *lamberts, 48])
    # Rounded where they are told.
    assert [rung.value for rung in rungs("white")] == pytest.approx(expected, rel=0.05)
    assert [rung.value for rung in rungs("contrast")] == pytest.approx([7, 15, 50, 80, 1 / 0.003], rel=1e-3)


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("levels", "words"),
    [
        ((0.5, 1.0, 1.5), "dimmer than a dark front floodlit in dark surroundings"),
        ((1.5, 2.2, 3.0), "like a dark front floodlit in dark surroundings"),
        ((7.0, 9.0, 11.0), "between an outdoor cinema as found in 1953 and a floodlit wall in a bright district"),
        ((60.0, 80.0, 99.0), "brighter than the cinema of today"),
        ((0.0, 0.0, 0.0), "dimmer than a dark front floodlit in dark surroundings"),
        ((math.nan,) * 3, "not lit"),
    ],
)
def test_a_figure_lands_where_its_band_reaches_a_rung_or_between_two(levels, words):
    assert landing("white", *levels) == words


@pytest.mark.analytic
def test_a_front_is_told_by_the_ladder_and_a_rung_is_a_target(scene, straight):
    verdict = kit.judge(kit.light_map(scene(), 0.25))
    found = kit.ladder(verdict)
    assert found.frame().loc["plain", "white [cd/m²]"] == verdict.surface("plain").white_luminance.median
    assert found.sentence().startswith("Plain: like a floodlit wall in a bright district; contrast")
    target = kit.rung_target("an outdoor cinema as found in 1953", share=0.7, confidence=0.8)
    assert (target.white_luminance, target.contrast, target.share, target.confidence) == (6.5, 15.0, 0.7, 0.8)
    with pytest.raises(kit.InputError, match="cinema of today"):
        kit.rung_target("the cinema of tomorrow")


def test_the_ladder_is_drawn_with_a_bar_for_each_surface_that_names_itself(scene):
    found = kit.ladder(kit.judge(kit.light_map(scene(), 0.25)))
    first = kit.draw_ladder(found)
    both = first.get_figure().axes
    assert both[0] is first
    for ax, levels, group in zip(both, found.levels["plain"], ("white", "contrast"), strict=True):
        (bar,), (low, nominal, high) = ax.patches, levels
        assert (bar.get_x(), bar.get_width()) == pytest.approx((low, high - low), rel=1e-12)
        assert float(ax.lines[0].get_xdata()[0]) == nominal
        assert [label.get_text() for label in ax.get_yticklabels()] == ["plain"]
        # A line and a name for each rung; names keep apart, by a seventh at least.
        assert [line.get_xdata()[0] for line in ax.lines[1:]] == [rung.value for rung in rungs(group)]
        places = [text.get_position()[0] for text in ax.texts]
        assert len(places) == len(rungs(group))
        assert all(other >= 1.149 * one for one, other in pairwise(places))
        assert ax.get_xscale() == "log"
        assert group in ax.get_xlabel()


def test_a_contrast_without_end_runs_out_of_the_ladder_and_what_is_unlit_is_left_out():
    levels = {"wall": ((1.0, 2.0, 3.0), (40.0, math.inf, math.inf)), "roof": ((math.nan,) * 3, (math.nan,) * 3)}
    found = Ladder(levels=levels)
    _, ax = kit.draw_ladder(found).get_figure().axes
    (bar,) = ax.patches
    assert bar.get_x() == 40.0
    assert bar.get_x() + bar.get_width() > ax.get_xlim()[1]
    assert ax.get_xlim()[1] < 1000
    assert found.sentence().startswith("Wall: like a dark front floodlit in dark surroundings; contrast more than the")
    assert "Roof: not lit." in found.sentence()


@pytest.mark.published
def test_the_stray_light_of_the_best_picture_is_a_contrast_of_333(wall, straight):
    # Stray light at most 0.3% of the screen's brightness: Estes, Theatre Catalog 1954-55, page 280 (seen).
    lit = kit.light_map(
        kit.Scene(
            facade=wall(reflectance=0.5), projectors=[straight(lumens=4000.0)],
            ambient=kit.Ambient(vertical_illuminance=0.3),
        ),
        0.25,
    )  # fmt: skip
    # 100 lx of picture and 0.3 lx of stray light: that of the two together over the stray light.
    assert float(lit["contrast"].min()) == pytest.approx(1 + 1 / 0.003, rel=1e-9)
    assert reference.value("ladder", "the best picture of an outdoor cinema", group="contrast") == pytest.approx(
        1 / 0.003, rel=2e-3
    )
