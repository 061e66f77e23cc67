"""The page that decides: what its panel says, draws and lists; what a budget changes, and what it refuses."""

import re

import pytest
from matplotlib.figure import Figure
from panels import demo, png, text

import kit
import sliders
from kit.answers.show import Shortlist
from kit.views.sheet import Sheet
from sliders.deciding import draw_front, draw_lawn, wishes

UNKNOWN = kit.Machine(name="huge", lumens=33000, throw_ratio=(0.8, 1.4), kind="cheap machine with a claim")
OFFICE = kit.Machine(name="office", lumens=6000, throw_ratio=(0.8, 1.4), price=900)


@pytest.fixture(scope="module")
def panel():
    given = {"draws": 64, "points": 40, "shortlist": Shortlist(machines=(OFFICE,))}
    return sliders.DecidePanel(demo(), start=kit.PlanChoice(two=False), **given)


def test_a_budget_changes_the_plan_and_one_below_all_plans_is_refused(panel):
    best = panel.result.winner()
    assert f"plan {best}:" in panel.parts["words"].value
    assert panel.picks.value == (best,)
    cheapest = panel.result.table["cost"].iloc[0]
    panel.controls["budget"].value = 100.0 * (cheapest // 100.0 + 1.0)
    assert panel.result.choice.budget == panel.controls["budget"].value
    assert panel.result.table.loc[panel.result.winner(), "cost"] <= panel.controls["budget"].value
    panel.controls["budget"].value = 100.0
    assert f"expected {cheapest:,.0f} USD or more" in panel.parts["message"].value
    panel.reset.click()
    assert not panel.parts["message"].value
    assert panel.result.winner() == best


def test_another_start_is_searched_anew_and_told(panel):
    panel.controls["start"].value = "21:00"
    assert panel.result.choice.start == "21:00"
    assert wishes(panel.result)["start"].iloc[0] == "21:00"
    panel.reset.click()
    first = wishes(panel.result).iloc[0]
    row = panel.result.table.loc[panel.result.winner()]
    assert [first[name] for name in ("start", "rung", "cost", "chance")] == [
        row[name] for name in ("start", "rung", "cost", "chance")
    ]


def test_marked_plans_are_seen_at_night_with_all_that_they_take(panel):
    box = panel.widget()
    assert panel.picks in box.children
    before = png(panel, "nights")
    some = tuple(panel.result.table.index[:2])
    panel.picks.value = some
    assert png(panel, "nights") != before
    said = re.sub("<[^>]+>", " ", panel.parts["caption"].value)
    for plan in some:
        assert f"Plan {plan} takes" in said
    assert "office 900," in said
    assert "housing 200 (guess)" in said
    panel.picks.value = tuple(panel.result.table.index)  # no more than four at once
    assert panel.parts["caption"].value.count(" takes ") <= 4
    assert "Who wins from which budget on" in text(panel)


def test_without_a_price_the_drawing_has_no_money():
    given = {"draws": 16, "points": 30.0, "budget": 10.0, "shortlist": Shortlist(machines=(UNKNOWN, OFFICE))}
    found = kit.plans(demo(), kit.PlanChoice(two=False), **given)
    ax = draw_front(found, Figure().subplots())
    assert "USD" not in ax.get_xlabel()
    lawn = draw_lawn(found, Figure().subplots())
    fits = {way.machine.name for way in found.searched.ways}
    for label, machine in zip(lawn.get_yticklabels(), (UNKNOWN, OFFICE), strict=True):
        assert label.get_text() == machine.name + ("" if machine.name in fits else " ✗")


def test_the_sheet_is_written_of_the_plans_that_are_looked_at(panel, tmp_path, monkeypatch):
    pytest.importorskip("weasyprint", exc_type=(ImportError, OSError))
    monkeypatch.setattr(panel, "file", tmp_path / "my_show.decide.toml")
    monkeypatch.setattr("kit.views.sheet.LETTERS", (6.0,))
    some = tuple(panel.result.table.index[:2])
    panel.picks.value = some
    (written,) = (one for one in panel.buttons if one.description == "Write the sheet")
    written.click()
    assert "sheet.pdf" in panel.parts["kept"].value
    (folder,) = tmp_path.iterdir()
    assert (folder / "sheet.pdf").read_bytes().startswith(b"%PDF")
    html = (folder / "sheet.html").read_text(encoding="utf-8")
    assert all(panel.result.done(plan, "ft").split("(")[0] in html for plan in some)
    panel.reset.click()


def test_a_sheet_that_cannot_be_written_is_said(panel, tmp_path, monkeypatch):
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setattr(panel, "file", tmp_path / "file" / "my_show.decide.toml")
    monkeypatch.setattr("sliders.panels.decision_sheet", lambda *given, **more: Sheet(html="", paper="A4", masks={}))
    monkeypatch.setattr(Sheet, "pdf", lambda self, paper=None: b"")
    panel.write_sheet()
    assert "folder" in panel.parts["kept"].value
    assert "expected" in panel.parts["kept"].value
