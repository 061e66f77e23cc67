"""Controls made from declared fields, the answer on brightness classes, and its panel at the ends of each control."""

import re
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields, replace

import ipywidgets as widgets
import numpy as np
import pytest
from panels import HOUSES, alternative, as_first_written, decoded, demo, ends, png, shows, text, without_returns

import kit
import sliders
from kit.fields import AMBIENT, DISTANCE, UNITS, Day, Flag, Number, OneOf, Text
from kit.views.drawing import Board, _colours
from kit.views.page import picture
from kit.words import chances
from sliders.panel import NOTHING, control, nearest


@pytest.fixture(scope="module")
def show():
    return demo()


@pytest.fixture
def panel(show):
    return sliders.ClassPanel(show, spacing=0.2)


# Controls


@pytest.mark.parametrize(
    ("spec", "kind", "limits", "shown"),
    [
        (Number(label="tilt", unit="degrees", steps=(-10.0, 25.0, 0.5)), widgets.FloatSlider, (-10, 25, 0.5), ",.1f"),
        (Number(label="light", unit="lm", steps=(500.0, 2e4, 250.0)), widgets.FloatSlider, (500, 2e4, 250), ",.0f"),
        (Number(label="share", steps=(0.0, 1.0, 0.25)), widgets.FloatSlider, (0, 1, 0.25), ",.2f"),
        (Number(label="share", steps=(0.0, 1.0, 0.01), form=".0%"), widgets.FloatSlider, (0, 1, 0.01), ".0%"),
        (Number(label="layers", whole=True, steps=(1.0, 4.0, 1.0)), widgets.IntSlider, (1, 4, 1), ",d"),
        (AMBIENT, widgets.FloatLogSlider, (-2.065, 1.595, 0.02), ".2f"),
        (DISTANCE, widgets.FloatSlider, (3.0, 30.0, 0.1), ",.1f"),
    ],
)
def test_a_number_is_a_slider_with_the_limits_and_the_decimals_of_its_declaration(spec, kind, limits, shown):
    slider = control(spec)
    assert type(slider) is kind
    assert (slider.min, slider.max, slider.step) == limits
    assert slider.readout_format == shown
    assert slider.description.startswith(spec.label)


def test_a_slider_is_labelled_in_the_unit_that_is_shown():
    assert control(DISTANCE, "ft").description == "distance (ft)"
    assert control(DISTANCE, "ft").max == 98.0
    assert control(DISTANCE, "m").description == "distance (m)"
    assert control(AMBIENT).description == "ambient light (lx)"
    assert control(Number(label="tilt", unit="degrees, upwards", steps=(0.0, 9.0, 1.0))).description == "tilt (°)"


def test_names_are_menus_two_of_them_buttons_and_what_is_not_given_has_words():
    menu = control(OneOf(label="colour", options=("red", "green", "blue"), reading=str.upper, optional=True))
    assert type(menu) is widgets.Dropdown
    assert menu.options == (("not given", NOTHING), ("RED", "red"), ("GREEN", "green"), ("BLUE", "blue"))
    assert type(control(UNITS)) is widgets.ToggleButtons
    assert control(UNITS).options == (("feet", "ft"), ("metres", "m"))


def test_flags_texts_days_and_directions_have_controls_of_their_own():
    assert type(control(Flag(label="wet"))) is widgets.Checkbox
    line = control(Text(label="file", example="house.jpg"))
    assert (type(line), line.placeholder, line.continuous_update) == (widgets.Text, "house.jpg", False)
    days = control(Day(label="evening", first="2026-12-30", last="2027-01-02"))
    assert [value for _, value in days.options] == ["2026-12-30", "2026-12-31", "2027-01-01", "2027-01-02"]
    assert days.options[0][0] == "Wed 30 Dec 2026"
    facing = control(Number(label="faces", steps=(0.0, 180.0, 90.0), reading=lambda v: f"{v:.0f} on the compass"))
    assert facing.options == (("0 on the compass", 0.0), ("90 on the compass", 90.0), ("180 on the compass", 180.0))


def test_a_value_between_steps_goes_to_the_nearest_one():
    """Else the page rounds it by itself, and the panel disagrees with its own text."""
    assert nearest(control(DISTANCE, "ft"), 39.6) == pytest.approx(39.5)
    assert nearest(control(DISTANCE, "ft"), 200.0) == 98.0
    assert nearest(control(Number(whole=True, steps=(1.0, 4.0, 1.0))), 2.4) == 2
    assert nearest(control(Number(steps=(0.0, 345.0, 15.0), reading=str)), 200.0) == 195.0
    assert nearest(control(AMBIENT), 0.861) == pytest.approx(0.861, rel=1e-4)
    assert nearest(control(AMBIENT), 1e6) == pytest.approx(10**1.595)


@pytest.mark.parametrize("choice", ["Choice", "ClothChoice", "EveningChoice", "StandChoice"])
def test_every_field_of_a_choice_is_declared_and_starts_as_the_show_says(choice, show):
    start = getattr(kit, choice)().on(show)
    for field in fields(start):
        assert field.metadata["spec"].label, field.name
        # Of both machines alike, and only where it is chosen; each may say its own.
        alike = ("wall", "picture_mode", "power_mode", "ageing", "housing_window")
        assert (getattr(start, field.name) is None) == (field.name in alike), field.name


# One answer at a time


def test_a_refusal_keeps_the_last_page_in_grey_and_says_why(panel):
    shown, words = panel.parts["picture"].value, panel.parts["words"].value
    # The picture of a machine this close passes below the judged parts.
    wrong = replace(panel.start, first_distance=1e-3, first_throw_ratio=2.5, first_shift_up=0.5)
    panel.update(wrong)
    assert "This cannot be shown" in panel.parts["message"].value
    assert (panel.parts["picture"].value, panel.parts["words"].value) == (shown, words)
    assert "kit-stale" in panel.parts["words"]._dom_classes
    panel.update(panel.start)
    assert panel.parts["message"].value == ""
    assert "kit-stale" not in panel.parts["words"]._dom_classes


def test_what_a_control_says_goes_through_the_check_of_its_declaration(panel):
    panel.controls["first_throw_ratio"].min = -1.0
    panel.controls["first_throw_ratio"].value = -1.0
    assert "first_throw_ratio = -1.0: expected a number above 0" in panel.parts["message"].value
    panel.reset.click()
    assert panel.parts["message"].value == ""


def test_controls_answered_on_several_threads_do_not_disturb_each_other(panel):
    """Some kernels answer each control on a thread of its own; what is shown last must be what the sliders say."""

    def turn(name, values):
        for value in values:
            panel.controls[name].value = value

    jobs = (
        ("second_light_output", [9000, 12000, 7000, 10000]),
        ("ambient", [1.0, 2.0, 3.0, 4.0]),
        ("district", [f"a floodlit wall in a {kind} district" for kind in ("lit", "bright", "dark", "lit")]),
        ("units", ["m", "ft", "m", "ft"]),
    )
    with ThreadPoolExecutor(max_workers=len(jobs)) as pool:
        for done in [pool.submit(turn, *job) for job in jobs]:
            done.result(timeout=60)
    assert panel.result.choice == panel.choice
    assert "10,000 lm" in panel.parts["words"].value
    assert "ft wide" in panel.parts["words"].value
    assert panel._board.target == panel.result.target


def test_tables_scroll_within_themselves_and_cautions_stand_in_a_box_of_their_own(panel):
    style, *_ = panel.widget().children
    assert re.search(r"\.kit-scroll \{[^}]*overflow-x: auto", style.value)
    assert panel.parts["tables"].value.count("kit-scroll") == 2
    assert panel.parts["caution"].value.startswith("<div class='kit-caution'>")
    assert "kit-scroll" not in panel.parts["caution"].value
    assert "Never look into the lens" in panel.parts["caution"].value


# Pictures


def test_a_picture_carries_its_size_and_its_text_in_the_page(panel):
    data = png(panel)
    assert picture(data, 'a "wall" <at> night').startswith(
        '<img class="kit-picture" alt="a &quot;wall&quot; &lt;at&gt; night" width="880" height="640" '
    )
    assert "4,000 lm on the left, 8,000 lm on the right" in alternative(panel)
    with pytest.raises(kit.InputError, match="alt"):
        picture(data, " ")


def test_a_picture_of_a_notebook_carries_its_text_in_the_page(show):
    shown = kit.show(kit.draw_house(show.house), "Front of an invented house")
    assert shown.data.startswith('<img class="kit-figure" alt="Front of an invented house" ')
    assert "base64,iVBORw0KGgo" in shown.data


def test_the_quick_picture_holds_what_was_drawn(panel):
    drawn = np.asarray(panel._board.canvas.buffer_rgba())
    np.testing.assert_array_equal(decoded(png(panel)), drawn[..., :3])
    assert (drawn[..., 3] == 255).all()


@pytest.mark.analytic
def test_an_image_fills_its_axes_the_right_way_up():
    board = Board((4.0, 3.0))
    ax = board.figure.subplots()
    board.keep()
    image = np.full((2, 3, 4), (0, 0, 0, 255), np.uint8)
    image[0, 0] = 255, 0, 0, 255  # left below
    image[1, 2] = 0, 0, 255, 255  # right above
    board.paint([], [(ax, image)])
    drawn, box = np.asarray(board.canvas.buffer_rgba()), ax.get_window_extent()
    corners = {
        "left below": drawn[300 - int(box.y0) - 5, int(box.x0) + 5],
        "right above": drawn[300 - int(box.y1) + 5, int(box.x1) - 5],
        "left above": drawn[300 - int(box.y1) + 5, int(box.x0) + 5],
    }
    assert corners["left below"].tolist() == [255, 0, 0, 255]
    assert corners["right above"].tolist() == [0, 0, 255, 255]
    assert corners["left above"].tolist() == [0, 0, 0, 255]
    # A sixth of the area each, but for the pixel at the edge that stays with the axes.
    red = (drawn == (255, 0, 0, 255)).all(axis=-1).sum()
    assert red == pytest.approx(box.width * box.height / 6, rel=0.03)


def test_drawings_label_their_axes_with_units(show):
    for units in ("ft", "m"):
        ax = kit.draw_house(show.house, units=units)
        assert ax.get_xlabel().endswith(f"({units})")
        assert ax.get_ylabel().endswith(f"({units})")


def test_colour_scale_is_fixed_and_stripes_mark_the_misses(show):
    comparison = kit.compare(show, spacing=0.2)
    dim, bright = comparison.maps
    low, high = (kit.Target(white_luminance=limit, contrast=15) for limit in (0.001, 1000.0))
    plain = _colours(bright, "white_luminance", low)
    # Twice the light of the smaller class has the colours of the larger one: nothing rescales.
    doubled = dim.assign(white_luminance=dim["white_luminance"] * 2.0)
    np.testing.assert_array_equal(_colours(doubled, "white_luminance", low), plain)
    lit = bright["illuminance"].values > 0
    striped = (_colours(bright, "white_luminance", high) != plain).any(axis=-1)
    # Two of eight diagonals carry a stripe.
    assert 0.15 < striped[lit].mean() < 0.3
    assert not (plain[lit] != plain[lit][0]).all()


# Brightness classes


def test_every_control_at_its_ends_gives_a_picture(few_draws, show):
    panel = sliders.ClassPanel(show, spacing=0.4)
    tried = ends(panel, most=4)
    assert len(tried) > 60
    for label, choice in tried[::3]:  # controls in turn, some at one end and some at the other
        shows(panel, label, choice)


def test_more_lumens_and_less_ambient_help_and_the_wall_changes_luminance_only(show):
    base = kit.Choice().on(show)

    def brick(choice):
        return kit.compare(show, choice, spacing=0.2).verdicts[1].patch("main wall")

    start = brick(base)
    assert brick(replace(base, second_light_output=16000.0)).white_luminance.median == pytest.approx(
        2 * start.white_luminance.median
    )
    assert brick(replace(base, ambient=0.2)).contrast.median > start.contrast.median
    # A lighter wall gets a little back by way of the ground, in white and in black: contrast falls by some 5% (less
    # where the sky is not hidden by the front), and by more where walls face each other and it sends them more as well.
    cloth = brick(replace(base, wall="white fabric"))
    assert 1.0 < cloth.white_luminance.median / (start.white_luminance.median * 0.68 / 0.15) < 1.002
    assert cloth.contrast.median / start.contrast.median == pytest.approx(0.886, abs=0.005)
    flat = without_returns(show)
    bare, covered = (
        kit.compare(flat, replace(base, wall=wall), spacing=0.2).verdicts[1].patch("main wall").contrast.median
        for wall in (None, "white fabric")
    )
    assert covered / bare == pytest.approx(0.95, abs=0.005)
    # Same picture width from twice the distance with twice the throw ratio, another lens each: as much light.
    names = ("second_distance", "second_throw_ratio")
    far, farther = (brick(replace(base, **{name: k * getattr(base, name) for name in names})) for k in (2, 4))
    assert far.white_luminance.median == pytest.approx(farther.white_luminance.median, rel=0.01)


@pytest.mark.regression
def test_the_first_page_says_what_it_said():
    """As when the page was written, 8,000 lm on the demo house (then brick 0.188, shade 0.63, and 6% less by a lens
    that is as bright in its corners: 1.71 and 6.67)."""
    large = kit.compare(as_first_written()).verdicts[1]
    assert large.surface("red brick").white_luminance.median == pytest.approx(1.818, rel=0.01)
    assert large.surface("window with white shade").white_luminance.median == pytest.approx(7.234, rel=0.01)
    # It was 35.8 before walls lit each other: the porch and the bay are recesses.
    assert large.surface("red brick").contrast.median == pytest.approx(34.8, rel=0.01)


@pytest.mark.regression
def test_the_first_page_says_what_it_says():
    """In the demo show: the picture fits the front, and its lamps give half of the light that was assumed before."""
    large = kit.compare(demo()).verdicts[1]
    assert large.surface("red brick").white_luminance.median == pytest.approx(1.893, rel=0.01)
    # 58.3 before walls lit each other, 56.0 with a lens that is as bright in its corners.
    assert large.surface("red brick").contrast.median == pytest.approx(55.36, rel=0.01)


def test_the_comparison_is_data_with_words_apart(show):
    result = kit.compare(show, spacing=0.2)
    frame = result.frame("ft")
    assert frame.index.get_level_values(0).unique().tolist() == ["4,000 lm", "8,000 lm"]
    large = frame.loc["8,000 lm"]
    assert large.loc["red brick", "white [cd/m²]"] == result.verdicts[1].surface("red brick").white_luminance.median
    assert result.sentence("ft").endswith(result.picture_sentence(1, "ft"))
    assert "48 ft wide" in result.sentence("ft")
    assert "15 m wide" in result.sentence("m")
    assert "8,000 lm" in str(result)


def test_a_white_that_is_enough_and_colours_that_are_not_are_told_apart(show):
    # Stated of one machine, Commercial Integrator: 7,500 lm of white, 1,250 lm of colour.
    weak = kit.Machine(name="weak", lumens=30000, colour_light_output=5000)
    plain = replace(weak, name="plain", colour_light_output=30000)
    result = kit.compare(replace(show, machines=(weak, plain)), spacing=0.3)
    white, colour = ([verdict.front.chance for verdict in pair] for pair in (result.verdicts, result.coloured))
    assert white[0] == pytest.approx(white[1], abs=0.01)
    assert colour[0] < white[0]
    # Rounding only: a machine whose colours add up to its white.
    assert colour[1] == white[1]
    assert "but its colours are not enough" in result.colour_sentence(0)
    assert "give 17% of the light of its white: its white is enough" in result.colour_sentence(0)
    assert "give 100% of the light of its white" in result.colour_sentence(1)
    # What is made to look white on brick is left with less where colours are weak.
    left = [float(result.colour_sentence(i).partition("keeps ")[2].partition("%")[0]) for i in (0, 1)]
    assert left[0] < left[1]
    # The maps have the wall's reflectance in the light of each machine, that of `wall_colour`.
    wall = show.wall
    found = kit.wall_colour(kit.light_source("three laser"), wall).reflectance / wall.reflectance
    three = kit.compare(replace(show, machines=(replace(weak, light_source="three laser"), plain)), spacing=0.3)
    assert abs(found - 1.0) > 0.02
    usual = kit.wall_colour(kit.light_source("laser phosphor"), wall).reflectance / wall.reflectance
    for light, factor in zip(three.maps, (found, usual), strict=True):
        here = light["illuminance"] > 0.0
        # What the ground sends back, which is taken as daylight, falls on white and black alike.
        sent = (light["white_luminance"] - light["black_luminance"]) * np.pi
        got = light["illuminance"] - light["black_illuminance"] + light.attrs["light_from_ground"]
        here &= light["patch"] == show.house.patches.index(show.house.patch("main wall"))
        # Rounding only.
        np.testing.assert_allclose((sent / got).values[here.values], factor * wall.reflectance, rtol=1e-9)


def test_two_machines_of_the_same_light_are_told_apart_and_a_named_one_by_its_name(show):
    same = kit.compare(show, kit.Choice(first_light_output=8000, first_distance=20), spacing=0.3)
    assert same.titles == ("8,000 lm, first", "8,000 lm, second")
    assert same.machines[0][1].position[2] == 20
    ours = replace(show, machines=(kit.Machine(name="ours", lumens=3000, throw_ratio=1.5),))
    assert kit.compare(ours, kit.Choice(second_light_output=6000), spacing=0.3).titles == (
        "ours (3,000 lm)",
        "6,000 lm",
    )


def test_reset_brings_everything_back(panel):
    start = panel.choice
    assert start == panel.start
    for name, value in (("second_light_output", 12000.0), ("ambient", 5.0), ("wall", "white stucco"), ("units", "m")):
        panel.controls[name].value = value
    assert panel.choice != start
    panel.reset.click()
    assert panel.choice == start
    assert panel.choice.wall is None
    assert panel.controls["wall"].label == "as the house is"
    assert "8,000 lm" in text(panel)


ANSWERS = {
    "compare": "kit.compare(show, spacing=0.3).sentence()",
    "weigh": "kit.weigh(show, spacing=0.3).sentence()",
    "plan_evening": "kit.plan_evening(show, spacing=0.6).sentence()",
    "arrange": "kit.arrange(show, spacing=0.4).sentence()",
}


@pytest.mark.parametrize("answer", ANSWERS)
def test_an_answer_loads_neither_widgets_nor_plots(answer):
    code = f"""
import sys, kit
show = kit.open_show("{HOUSES / "demo_show.toml"}")
assert {ANSWERS[answer]}
print(*(name for name in ("ipywidgets", "IPython", "kit.views", "matplotlib", "colour") if name in sys.modules))
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr
    # colour-science, which computes colours, loads the library of plots by itself where there is one: what a wall gives
    # back of a machine's light is a colour.
    assert done.stdout.split() in ([], ["matplotlib", "colour"])


def test_cards_say_the_chance_and_share_and_confidence_move_it(show):
    panel = sliders.ClassPanel(show, spacing=0.3)
    for verdict in panel.result.verdicts:
        assert f"{verdict.status}, {chances(verdict.chance)}" in panel.parts["words"].value
    panel.controls["district"].value = "a dark front floodlit in dark surroundings"
    panel.controls["second_throw_ratio"].value = 1.4  # a picture that leaves some of the front dark
    dim = panel.result.verdicts[1]
    assert dim.target.white_luminance == 2
    assert 0.5 < dim.front.lit_share < 0.8
    panel.controls["share"].value = 0.5
    panel.controls["confidence"].value = 0.6
    half = panel.result.verdicts[1]
    assert (half.target.share, half.target.confidence) == (0.5, 0.6)
    # Half of a front is good more often than four fifths of it.
    assert half.chance > dim.chance
    assert "at least 50% of it" in panel.parts["words"].value
