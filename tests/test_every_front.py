"""Every panel on every front: pages start without a refusal, speak of their own house, and agree with each other."""

import math
import re
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from panels import FRONTS, as_first_written, decoded, demo, png, text

import kit
import sliders
from sliders.panel import NOTHING

PANELS = {
    "ClassPanel": {"spacing": 0.3},
    "ClothPanel": {"spacing": 0.3},
    "EveningPanel": {"spacing": 0.6, "season": ("2026-11-28", "2026-12-10")},
    "StandPanel": {"spacing": 0.4},
}
ANSWERS = {
    "ClassPanel": (kit.compare, kit.Choice),
    "ClothPanel": (kit.weigh, kit.ClothChoice),
    "EveningPanel": (kit.plan_evening, kit.EveningChoice),
    "StandPanel": (kit.arrange, kit.StandChoice),
}
OWN = kit.Surface(name="our brick", reflectance=0.11)
NAMES = [path.stem for path in FRONTS]


def made(panel, show, **more):
    return getattr(sliders, panel)(show, **PANELS[panel], **more)


pytestmark = pytest.mark.usefixtures("few_draws")


@cache
def panel_of(name, front):
    """A panel that is made once; tests leave it as they found it."""
    return made(name, kit.open_show(FRONTS[NAMES.index(front)]))


@pytest.mark.parametrize("front", NAMES)
@pytest.mark.parametrize("panel", PANELS)
def test_a_page_starts_and_speaks_of_its_own_house(panel, front):
    one, show = panel_of(panel, front), kit.open_show(FRONTS[NAMES.index(front)])
    assert one.parts["message"].value == ""
    assert one.result.choice == ANSWERS[panel][1]().on(show)
    for name in one.pictures:
        assert decoded(png(one, name)).std() > 1.0
    assert not re.search(r"\b(nan|NaN|inf|None|NaT)\b", text(one))
    assert one.result.show.house == show.house
    # In the tables: the main wall's surface, what the cloth covers, the lamps that are lit, each part of the main wall.
    for name in {
        "ClassPanel": lambda: [show.wall.name],
        "ClothPanel": lambda: one.result.covering.patches,
        "EveningPanel": lambda: [lamp.name for lamp in show.lamps or () if lamp.dimming],
        "StandPanel": lambda: show.main_wall,
    }[panel]():
        assert name in one.parts["tables"].value, name


@pytest.mark.parametrize("front", NAMES)
def test_all_four_pages_begin_with_the_same_line(front):
    show = kit.open_show(FRONTS[NAMES.index(front)])
    lines = {panel_of(name, front).parts["first"].value for name in PANELS}
    assert len(lines) == 1
    (line,) = lines
    target = show.target()
    for word in (
        show.house.name[1:], show.wall.name, f"light of the street {kit.words.short(show.full.ambient)} lx",
        f"{abs(show.full.latitude):.1f}°", f"white of {target.white_luminance:g} cd/m²", f"{target.contrast:g}:1",
    ):  # fmt: skip
        assert word in line, word
    for phrase in show.assumed:
        assert phrase.replace("'", "&#x27;") in line, phrase


def status(verdict):
    return verdict.status, verdict.front.lit_share


@pytest.mark.parametrize("front", NAMES)
def test_pages_agree_where_they_start(front):
    """The brightest machine on page 1 is the machine of page 4, in one place, in one light."""
    show = kit.open_show(FRONTS[NAMES.index(front)])
    first, fourth = kit.compare(show, spacing=0.3), kit.arrange(show, spacing=0.3)
    brightest = show.pair.index(show.machine)
    assert status(first.verdicts[brightest]) == status(fourth.verdict)
    second, third = kit.weigh(show, spacing=0.3), kit.plan_evening(show, **PANELS["EveningPanel"])
    machine, place = first.machines[brightest]
    for scene in (second.scene, third.scene, fourth.scene):
        ((other, there),) = scene.projectors
        assert (other, there) == (machine, place)
    assert (first.target, first.show.house) == (second.target, second.show.house) == (third.target, third.show.house)


@pytest.mark.parametrize("front", NAMES)
def test_the_picture_holds_the_front_from_the_start(front):
    """All of what is judged, but for a strip below a lens near the ground: a front of 52 ft is reached, too."""
    show = kit.open_show(FRONTS[NAMES.index(front)])
    if show.distance is not None:
        show = replace(show, distance=None, stands=None)  # this machine cannot be moved away from its window
    for verdict in kit.compare(show, spacing=0.1).verdicts:
        assert verdict.front.lit_share > 0.93, verdict.front.lit_share


@pytest.mark.parametrize("panel", PANELS)
def test_a_surface_of_ones_own_on_the_main_wall_is_in_the_menu_and_is_what_the_house_is(panel):
    show = demo()
    own = replace(show, house=show.house.cover(OWN, patches=show.main_wall))
    one = made(panel, own)
    assert one.controls["wall"].options[:2] == (("as the house is", NOTHING), ("our brick", "our brick"))
    assert one.controls["wall"].value == NOTHING
    assert one.choice.wall is None
    assert "main wall our brick (reflectance 0.11)" in one.parts["first"].value
    # As the house is and our brick are one wall; another surface is another.
    assert ANSWERS[panel][0](own, ANSWERS[panel][1](wall="our brick"), **PANELS[panel]).show.house == own.house
    one.controls["wall"].value = "our brick"
    assert "main wall our brick (reflectance 0.11)" in one.parts["first"].value
    one.controls["wall"].value = "white fabric"
    assert one.result.show.house.patch("main wall").surface.name == "white fabric"
    assert one.result.show.house.patch("bay").surface.name == "white fabric"
    assert "main wall white fabric" in one.parts["first"].value


def test_a_dark_wall_of_ones_own_is_darker_on_the_page_by_its_reflectance():
    show = demo()
    own = replace(show, house=show.house.cover(OWN, patches=show.main_wall))
    both = [kit.compare(s, spacing=0.2) for s in (show, own)]
    # A darker wall gets a little less of its own light back by way of the ground, and has a colour of its own.
    wall = show.house.patches.index(show.house.patch("main wall"))
    before, after = (
        (
            one.verdicts[0].patch("main wall").white_luminance.median * math.pi / rho
            - one.maps[0].attrs["light_from_ground"]
        )
        / float(one.maps[0]["tint"][0, wall])
        for one, rho in zip(both, (0.15, 0.11), strict=True)
    )
    assert after == pytest.approx(before, rel=1e-9)


@pytest.mark.bad_input
@pytest.mark.parametrize("panel", PANELS)
def test_an_unknown_wall_is_one_clear_error(panel):
    answer, choice = ANSWERS[panel]
    with pytest.raises(kit.InputError) as caught:
        answer(demo(), choice(wall="red brik"), **PANELS[panel])
    message = str(caught.value)
    assert message.startswith("wall = 'red brik': expected 'red brick', ")
    assert message.count("expected") == 1
    assert len(message) < 300


@pytest.mark.bad_input
def test_a_front_without_a_wall_takes_no_other():
    windows = kit.Facade(
        [kit.Patch("w", [(-3, 0), (3, 0), (3, 2), (-3, 2)], kit.Surface.from_reference("bare window"))]
    )
    show = kit.Show(house=windows)
    assert kit.compare(show, spacing=0.3).verdicts
    with pytest.raises(kit.InputError, match="wall = 'red brick': expected None for a front that has no wall"):
        kit.compare(show, kit.Choice(wall="red brick"))


@pytest.mark.bad_input
def test_a_page_that_starts_with_a_refusal_speaks_of_no_last_answer_and_comes_to_one():
    windows = kit.Facade(
        [kit.Patch("w", [(-3, 0), (3, 0), (3, 2), (-3, 2)], kit.Surface.from_reference("bare window"))]
    )
    one = made("ClothPanel", kit.Show(house=windows))
    assert "what to cover" in one.parts["message"].value
    assert "the last answer" not in one.parts["message"].value
    sided = kit.Patch("s", [(3, 0), (9, 0), (9, 2), (3, 2)], kit.Surface.from_reference("red brick"))
    one = made("ClothPanel", kit.Show(house=kit.Facade([*windows.patches, sided])))
    assert one.parts["message"].value == ""
    one.controls["wall"].value = "white siding"
    assert "the last answer" in one.parts["message"].value


@pytest.mark.parametrize("panel", PANELS)
def test_what_is_not_chosen_is_as_the_show_says_and_what_is_chosen_is_not(panel):
    """Another show, another answer, with the same choice: nothing comes from a house that is not this one."""
    answer, choice = ANSWERS[panel]
    for show in (demo(), as_first_written(), kit.open_show(FRONTS[-1])):
        found, start = answer(show, **PANELS[panel]).choice, choice().on(show)
        assert found == start
        told = {"distance": 13.0, "throw_ratio": 1.5, "light_output": 3000.0, "ambient": 3.0, "share": 0.7}
        told |= {"district": "a floodlit wall in a bright district"}
        for name, value in told.items():
            for field in (name, f"first_{name}", f"second_{name}"):
                if hasattr(start, field):
                    other = choice(**{field: value}).on(show)
                    assert other == replace(start, **{field: value})
    dark = replace(demo(), district="a floodlit wall in a bright district", purpose="a picture to look at in passing")
    assert answer(dark, **PANELS[panel]).target == dark.target()
    assert answer(dark, choice(district="a floodlit wall in a dark district"), **PANELS[panel]).target != dark.target()


def test_a_place_that_is_moved_is_no_longer_assumed_and_keeps_its_clock():
    show = kit.Show(house=demo().house)
    start = kit.plan_evening(show, **PANELS["EveningPanel"])
    assert start.show.assumed == show.assumed
    moved = kit.plan_evening(show, kit.EveningChoice(latitude=60.0), **PANELS["EveningPanel"])
    assert moved.show.full.timezone == moved.choice.timezone == start.choice.timezone
    assert moved.show.sentence() == show.sentence().replace("42.0° N", "60.0° N")
    assert {words.partition(":")[0] for words in show.assumed} - {
        words.partition(":")[0] for words in moved.show.assumed
    } == {"place", "time zone"}


# Feet and metres


def maps_of(result):
    for name in ("maps", "views", "light", "tonight"):
        found = getattr(result, name, None)
        if found is not None:
            yield from found if isinstance(found, tuple) else (found,)


def same(one, other):
    """Fail unless two answers hold the same maps, to the bit."""
    pairs = list(zip(maps_of(one), maps_of(other), strict=True))
    assert pairs
    for a, b in pairs:
        assert a.identical(b)
        for name in a.data_vars:
            np.testing.assert_array_equal(a[name].values, b[name].values)


@pytest.mark.property
@pytest.mark.parametrize("front", ["demo_show", "town_house"])
@pytest.mark.parametrize("panel", PANELS)
def test_pressing_feet_or_metres_changes_no_answer(panel, front):
    show = kit.open_show(FRONTS[NAMES.index(front)])
    one = made(panel, show)
    distance = next(name for name in one.lengths if name.endswith("distance"))
    # Between the steps of both sliders.
    for start in (one.start, replace(one.start, **{distance: 11.23456789})):
        one.show(start)
        before, first = one.result, one.parts["first"].value
        for units in ("m", "ft"):
            one.controls["units"].value = units
            assert one.parts["message"].value == ""
            assert one.choice == replace(start, units=units)
            same(before, one.result)
        one.show(start)
        assert one.parts["first"].value == first


# What a slider does not show


@pytest.mark.parametrize("panel", PANELS)
@pytest.mark.parametrize("units", ["ft", "m"])
def test_a_value_beyond_a_slider_is_shown_and_used_and_not_clipped(panel, units):
    one = made(panel, demo())
    distance, light = (next(name for name in one.fields if name.endswith(end)) for end in ("distance", "light_output"))
    far = replace(one.start, **{distance: 40.0, light: 40_000.0, "units": units})
    one.show(far)
    assert one.parts["message"].value == ""
    assert one.result.choice == one.choice == far
    # To half a step.
    scale, step = {"ft": (0.3048, 0.5), "m": (1.0, 0.1)}[units]
    assert one.controls[distance].value == pytest.approx(40.0 / scale, abs=step / 2)
    assert one.controls[distance].max >= one.controls[distance].value
    assert one.controls[light].value == 40_000
    one.reset.click()
    assert one.choice == one.start


@pytest.mark.parametrize("ambient", [0.0, 100.0, 1000.0])
def test_light_beyond_the_slider_is_shown_as_it_reads(ambient):
    one = made("ClassPanel", demo())
    one.show(replace(one.start, ambient=ambient))
    slider = one.controls["ambient"]
    # To half a step, which is 2.3 %; none reads as none.
    assert float(format(slider.value, slider.readout_format)) == pytest.approx(ambient, rel=0.0233)
    assert slider.min <= np.log10(slider.value) <= slider.max
    assert one.result.choice.ambient == one.choice.ambient == ambient
    # Moved, the slider counts.
    slider.value = 10.0
    assert one.result.choice.ambient == 10.0


def test_a_direction_between_steps_is_read_in_words():
    assert panel_of("EveningPanel", "split_level").controls["facing"].label == "south 200°"


def test_no_control_starts_elsewhere_than_the_show_says():
    for front in NAMES:
        for name in PANELS:
            one = panel_of(name, front)
            assert one.choice == one.start, (name, front)


# Refusals and typed names


@pytest.mark.bad_input
def test_a_refusal_stands_beside_the_control_that_was_touched_and_the_old_words_are_grey():
    one = made("EveningPanel", demo())
    words = one.parts["words"].value
    one.controls["timezone"].value = "America/Chicagoo"
    for name, note in one.notes.items():
        assert ("America/Chicagoo" in note.value) == (name == "timezone"), name
        assert (note.layout.display is None) == (name == "timezone"), name
    assert one.parts["words"].value == words
    for name in ("first", "words", "evening", "season", "caption", "tables"):
        assert "kit-stale" in one.parts[name]._dom_classes, name
    for name in ("message", "caution"):
        assert "kit-stale" not in one.parts[name]._dom_classes, name
    rows = one.widget().children[4].children
    (column,) = [c for c in rows if one.controls["timezone"] in c.children]
    assert column.children.index(one.notes["timezone"]) == column.children.index(one.controls["timezone"]) + 1
    one.controls["timezone"].value = "America/Chicago"
    assert not any(note.value for note in one.notes.values())
    assert "kit-stale" not in one.parts["words"]._dom_classes


def test_the_name_of_a_picture_file_selects_it(tmp_path):
    from PIL import Image

    path = tmp_path / "front.png"
    Image.new("RGB", (40, 30), (0, 0, 255)).save(path)
    one = made("ClothPanel", demo())
    one.controls["file"].value = str(path)
    assert one.controls["picture"].value == one.result.choice.picture == "a picture file"
    assert one.parts["message"].value == ""
    lit = one.result.views[1]["illuminance"].values > 0
    np.testing.assert_allclose(one.result.views[1]["drive"].values[lit], [[0.0, 0.0, 1.0]] * int(lit.sum()))
    # Emptied, it leaves the menu alone.
    one.controls["picture"].value = "all white"
    one.controls["file"].value = ""
    assert one.controls["picture"].value == one.result.choice.picture == "all white"
