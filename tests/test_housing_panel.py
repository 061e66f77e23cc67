"""The answer on an evening in a housing, its drawing to scale, and the panel at the ends of each control."""

import re
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.text import Text
from panels import demo, ends, png, shows, text

import kit
import sliders
from kit.housing.window import Pane
from sliders.housing import draw_housing
from sliders.panel import say


@pytest.fixture(scope="module")
def show():
    return demo()


@pytest.fixture(scope="module")
def panel(show):
    return sliders.HousingPanel(show)


def test_every_control_at_its_ends_gives_an_answer(panel):
    tried = ends(panel, most=2)
    assert len(tried) > 18
    for label, choice in tried[::3]:  # controls in turn, some at one end and some at the other
        shows(panel, label, choice)
    panel.reset.click()


def test_the_page_speaks_of_its_house_of_what_mends_it_and_of_every_caution(panel, show):
    assert panel.parts["first"].value.startswith("<div class='kit-first'><p>Brick two-storey")
    said = text(panel)
    assert "a small dehumidifier while the fans rest" in panel.parts["tables"].value
    for caution in say("housing").splitlines():
        assert caution.split(":")[0] in said
    for word in ("lid", "wind", "Mains", "hot", "intake", "insects", "rain", "anchor", "licensed electrician"):
        assert word in panel.parts["caution"].value
    assert not {one.description for one in panel.buttons} & {"Fit by moving", "Fit by zooming"}


def test_temperatures_follow_the_unit(show):
    found = kit.keep_outdoors(show, kit.KeepChoice(temperature=0.0))
    low = found.kept.curves[0, 1].min()
    assert f"from {low:.0f} °C" in found.sentence("m")
    assert f"from {1.8 * low + 32:.0f} °F" in found.sentence("ft")
    assert "°C" not in found.sentence("ft")


def test_what_is_not_chosen_is_as_in_the_show_and_a_machine_with_a_pane_has_it_on_every_page(show):
    choice = kit.KeepChoice().on(show)
    brightest = kit.decision.several.electrical_power(show.machine.lumens)[1]
    assert (choice.power, choice.units) == (brightest, show.units)
    assert choice.flow == pytest.approx(kit.Housing().air_flow)
    # Shut, it keeps the flow that fans would have, for what could mend it.
    assert kit.KeepChoice(air="closed").on(show).flow == choice.flow
    machine = replace(show.machine, pane="acrylic", pane_tilt=10.0, housing_window=None)
    aimed, _ = show.aimed(machine)
    assert aimed.chain[-1].name == "housing window: acrylic, 4 mm, tilted 10 degrees, clean"
    bare, _ = show.aimed(replace(machine, pane=None, housing_window="none"))
    assert aimed.chain[-1].nominal == Pane(glass="acrylic", tilt=10.0).light(bare)[1]
    # What is said of the window as one factor goes before.
    said, _ = show.aimed(replace(machine, housing_window="plain pane"))
    assert "housing window: plain pane" in [one.name for one in said.chain]


def test_the_section_is_to_scale():
    for units, metre in (("m", 1.0), ("ft", 1 / 0.3048)):
        box = kit.Housing(size=(0.7, 0.5, 0.9), duct_diameter=0.15, tilt=20.0)
        ax = draw_housing(box, Figure().subplots(), units=units)
        shapes = [one for one in ax.patches if isinstance(one, Rectangle)]
        extents = [(round(one.get_width() / metre, 6), round(one.get_height() / metre, 6)) for one in shapes]
        assert extents[0] == (0.9, 0.5)
        assert extents.count((0.45, 0.15)) == 2
        (pane,) = [line.get_xydata() / metre for line in ax.lines]
        np.testing.assert_allclose(
            np.ptp(pane, axis=0), 0.25 * np.array([np.sin(np.radians(20)), np.cos(np.radians(20))])
        )
        assert ax.get_aspect() == 1.0
    assert not [one for one in draw_housing(replace(box, air="closed"), Figure().subplots()).patches if one.get_hatch()]


def test_the_chart_has_limits_the_evening_and_large_letters(panel):
    board = panel._board
    warm, damp, _ = board.figure.axes
    assert [line.get_ydata().size for line in (*warm.lines, *damp.lines)] == [288, 288]
    assert np.unique(warm.collections[-1].get_segments()[0][:, 1]) == pytest.approx([41.0])  # 5 °C
    assert np.unique(damp.collections[-1].get_segments()[0][:, 1]) == pytest.approx([80.0])
    assert min(one.get_fontsize() for one in board.figure.findobj(Text) if one.get_text().strip()) >= 8
    assert board.canvas.get_width_height()[0] <= 960


@pytest.mark.bad_input
def test_a_duct_wider_than_the_box_is_refused_in_words_and_the_last_answer_stays(panel):
    shown = png(panel)
    panel.update(replace(panel.start, run_on=5.0))
    changed = png(panel)
    assert changed != shown
    with pytest.raises(kit.InputError, match=r"duct_diameter = 1.0: expected at most the box"):
        replace(panel.start, duct_diameter=1.0)
    panel.reset.click()
    assert png(panel) == shown


def test_an_answer_is_data_with_words_apart(panel):
    found = panel.result
    assert found.frame().index[0] == "as it is"
    assert set(found.frame().columns) == {"low hours outside", "hours outside", "high hours outside", "chance"}
    assert found.load.loc["machine", "power [W]"] == found.choice.power
    assert not re.search(r"\b(nan|inf|None)\b", found.text("ft"))
