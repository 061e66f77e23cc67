"""Settings of a panel: saved beside the show file, back in a new panel, and never lost or replaced in silence."""

import os
import tomllib
from dataclasses import replace

import pytest
from killed import killed
from panels import HOUSES, demo
from test_every_front import ANSWERS, OWN, PANELS, made, same

import kit
from kit.files import fingerprint
from sliders.settings import save_settings, settings_file

HOUSE = (HOUSES / "brick_two_storey.toml").as_posix()
SHOW = f"""house = "{HOUSE}"

[[lamp]]
name = "porch light"
position = [-5.7, 7, 2]

[[machine]]
name = "ours"
lumens = 5000
"""

pytestmark = pytest.mark.usefixtures("few_draws")


@pytest.fixture
def show(tmp_path, monkeypatch):
    """A show file of one's own in a folder of its own, which is not the current one."""
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    (tmp_path / "my_show.toml").write_text(SHOW, encoding="utf-8")
    return kit.open_show(tmp_path / "my_show.toml")


def button(panel, label):
    found = [one for one in panel.buttons if one.description == label]
    return found[0] if found else None


def saved(show, name="ClassPanel", **changes):
    """A panel whose settings were changed and saved."""
    panel = made(name, show)
    panel.show(replace(panel.start, **changes))
    button(panel, "Save").click()
    assert panel.parts["message"].value == ""
    assert "Saved in " in panel.parts["kept"].value
    return panel


def kept(panel):
    return panel.parts["kept"].value


CHANGED = {
    "ClassPanel": {
        "first_distance": 11.123456789012345,
        "second_light_output": 7250.0,
        "purpose": "a film in full motion",
    },
    "ClothPanel": {"distance": 11.123456789012345, "layers": 2, "wet": True, "cover": "the lower storey", "gap": 0.1},
    "EveningPanel": {"distance": 11.123456789012345, "shaded": ("porch light",), "date": "2026-12-01", "facing": 90.0},
    "StandPanel": {"distance": 11.123456789012345, "side": -1.0, "tilt": 3.0, "shift_up": 0.1, "wall": "white fabric"},
}


@pytest.mark.property
@pytest.mark.parametrize("name", PANELS)
@pytest.mark.parametrize("units", ["ft", "m"])
def test_a_new_panel_comes_back_to_what_was_saved_to_the_bit_and_says_so(show, name, units):
    before = saved(show, name, units=units, **CHANGED[name])
    after = made(name, show)
    assert after.file == before.file == show.path.with_name(f"my_show.{before.name}.toml")
    assert after.choice == before.choice != after.start
    same(before.result, after.result)
    assert f"Not as in the show file: back to the settings in {after.file.name}." in kept(after)
    assert kept(after).count("<p>") == 1
    # In the other unit, it is the same answer still.
    after.controls["units"].value = {"ft": "m", "m": "ft"}[units]
    same(before.result, after.result)
    button(after, "As in the show file").click()
    assert after.choice == after.start == ANSWERS[name][1]().on(show)
    # The file stays until the next save.
    assert made(name, show).choice == before.choice


def test_each_panel_has_a_file_of_its_own(show):
    saved(show)
    assert [bool(kept(made(name, show))) for name in PANELS] == [True, False, False, False]


def test_a_choice_that_is_given_goes_before_what_was_saved(show):
    saved(show, first_light_output=3000.0)
    given = made("ClassPanel", show, start=kit.Choice(first_light_output=6000))
    assert given.choice.first_light_output == 6000
    assert kept(given) == ""


def test_a_wall_as_the_house_is_comes_back_as_that_also_where_a_choice_was_given(show):
    saved(show, wall="white fabric")
    panel = made("ClassPanel", show)
    panel.controls["wall"].value = "(nothing)"
    button(panel, "Save").click()
    assert made("ClassPanel", show).choice.wall is None


LOST = {
    "unknown field": (("[choice]\n", "[choice]\ncolour = 3\n"), "colour"),
    "wrong version": (("version = 1", "version = 2"), "version"),
    "no version": (("version = 1\n", ""), "version"),
    "another panel": (('panel = "classes"', 'panel = "cloth"'), "panel"),
    "broken TOML": (("[choice]", "[choice] and more"), "line 4"),
    "a slip of TOML": (("[choice]", "[choice"), "line 4"),
    "out of domain": (("first_light_output = 3000", "first_light_output = -3000"), "first_light_output"),
    "no number": (("first_light_output = 3000", 'first_light_output = "bright"'), "first_light_output"),
    "no such name": (('purpose = "a film in full motion"', 'purpose = "cinema"'), "purpose"),
    "a wall that is gone": (('wall = "white fabric"', 'wall = "our brick"'), "wall"),
    "empty": (None, "version"),
    "no text": (b"\xff\xfe\x00", "settings file"),
}


@pytest.mark.bad_input
@pytest.mark.parametrize("case", LOST)
def test_what_cannot_come_back_is_said_and_the_rest_comes_back(show, case):
    change, named = LOST[case]
    told = {"first_light_output": 3000.0, "purpose": "a film in full motion", "wall": "white fabric"}
    file = saved(show, **told).file
    text = file.read_text(encoding="utf-8")
    if isinstance(change, tuple):
        assert change[0] in text
        file.write_text(text.replace(*change), encoding="utf-8")
    else:
        file.write_bytes(change or b"")
    before = file.read_bytes()
    panel = made("ClassPanel", show)
    assert panel.parts["message"].value == ""
    assert panel.result.choice == panel.choice
    # The sentence that settings were read, and one for what is wrong; an empty file lacks three things.
    assert kept(panel).count("<p>") == (4 if case == "empty" else 2)
    assert named in kept(panel)
    assert len(kept(panel)) < 700
    whole = case in ("wrong version", "no version", "another panel", "broken TOML", "empty", "no text")
    for name, value in told.items():
        back = not whole and name != named
        assert getattr(panel.choice, name) == (value if back else getattr(panel.start, name)), name
    assert ("Nothing comes back" in kept(panel)) == whole
    assert ("back to the settings" in kept(panel)) != whole
    assert file.read_bytes() == before


@pytest.mark.bad_input
def test_a_lamp_a_picture_and_a_place_that_are_gone_are_said_one_by_one(show, tmp_path):
    saved(show, "EveningPanel", off=("porch light",), light_output=3000.0)
    other = replace(show, lamps=(replace(show.lamps[0], name="door lamp"),))
    panel = made("EveningPanel", other)
    assert panel.parts["message"].value == ""
    assert (panel.choice.off, panel.choice.light_output) == ((), 3000.0)
    assert "off = &#x27;porch light&#x27;: expected lamps of the show: door lamp" in kept(panel)

    from PIL import Image

    picture = tmp_path / "front.png"
    Image.new("RGB", (4, 3), (0, 0, 255)).save(picture)
    saved(show, "ClothPanel", picture="a picture file", file=str(picture))
    picture.unlink()
    panel = made("ClothPanel", show)
    assert panel.parts["message"].value == ""
    assert panel.choice == panel.start
    assert "front.png" in kept(panel)


@pytest.mark.bad_input
def test_settings_that_would_miss_the_front_are_said_and_those_of_the_show_are_shown(show):
    file = saved(show, "StandPanel").file
    text = file.read_text(encoding="utf-8")
    line = next(line for line in text.splitlines() if line.startswith("side = "))
    file.write_text(text.replace(line, "side = 500"), encoding="utf-8")
    panel = made("StandPanel", show)
    assert panel.parts["message"].value == ""
    assert panel.choice == panel.start
    assert kept(panel).count("<p>") == 2


def test_a_file_that_another_window_has_changed_is_replaced_on_the_second_press_only(show):
    first, second = made("ClassPanel", show), made("ClassPanel", show)
    first.controls["first_light_output"].value = 3000.0
    button(first, "Save").click()
    written = first.file.read_bytes()
    second.controls["first_light_output"].value = 6000.0
    button(second, "Save").click()
    assert "changed meanwhile by another page" in kept(second)
    assert "Save once more to replace it" in kept(second)
    assert first.file.read_bytes() == written
    button(second, "Save").click()
    assert "Saved in" in kept(second)
    assert made("ClassPanel", show).choice.first_light_output == 6000.0
    # And the first window is told in its turn, also where the file is gone by now.
    button(first, "Save").click()
    assert "changed meanwhile" in kept(first)
    first.file.unlink()
    button(first, "Save").click()
    assert "changed meanwhile" in kept(first)
    button(first, "Save").click()
    assert made("ClassPanel", show).choice.first_light_output == 3000.0


@pytest.mark.bad_input
def test_controls_that_cannot_be_are_not_saved_and_do_not_let_another_window_be_overwritten(show):
    first, second = made("StandPanel", show), made("StandPanel", show)
    first.controls["light_output"].value = 3000.0
    button(first, "Save").click()
    written = first.file.read_bytes()
    second.controls["tilt"].value = 5.0
    second.controls["setup"].value = "two, one on the other"
    button(second, "Save").click()
    assert "tilt = 5.0" in kept(second)
    second.controls["tilt"].value = 0.0
    button(second, "Save").click()
    assert "changed meanwhile by another page" in kept(second)
    assert first.file.read_bytes() == written


@pytest.mark.bad_input
def test_a_folder_or_a_link_in_its_place_stays_and_is_said(show):
    panel = made("ClassPanel", show)
    panel.file.mkdir()
    button(panel, "Save").click()
    assert "a file of its own" in kept(panel)
    panel.file.rmdir()
    other = show.path.with_name("other.toml")
    other.write_text("a = 1\n", encoding="utf-8")
    panel.file.symlink_to(other)
    for _ in range(2):
        button(panel, "Save").click()
    assert "a file of its own" in kept(panel)
    assert other.read_text(encoding="utf-8") == "a = 1\n"


@pytest.mark.skipif(not hasattr(os, "fork"), reason="kills a forked process, which is quick")
def test_a_killed_save_leaves_the_old_settings_or_the_new_ones(show):
    file = saved(show, first_light_output=1000.0).file

    def save(turn):
        choice = kit.Choice(first_light_output=1000 + turn % 7).on(show)
        save_settings(file, choice, "classes", fingerprint(file))

    for wait in (0.0, 0.013, 0.05):
        killed(save, wait)
        panel = made("ClassPanel", show)
        assert panel.choice.first_light_output in range(1000, 1007)
        assert kept(panel).count("<p>") == 1
    assert tomllib.loads(file.read_text(encoding="utf-8"))["version"] == 1


def test_a_save_that_fails_leaves_the_old_file_and_nothing_else(show, monkeypatch):
    panel = saved(show, first_light_output=1000.0)
    before = panel.file.read_bytes()

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    panel.controls["first_light_output"].value = 3000.0
    button(panel, "Save").click()
    assert "No space left" in kept(panel)
    assert panel.file.read_bytes() == before
    assert sorted(path.name for path in show.path.parent.iterdir()) == ["here", "my_show.classes.toml", "my_show.toml"]


@pytest.mark.parametrize(("server", "there"), [("voila/0.5", False), ("jupyter", True), ("", True)])
def test_visitors_of_a_page_without_code_save_nothing(show, monkeypatch, server, there):
    monkeypatch.setenv("SERVER_SOFTWARE", server)
    panel = made("ClassPanel", show)
    labels = [one.description for one in panel.buttons]
    assert labels[:3] == ["Fit by moving", "Fit by zooming", "As in the show file"]
    assert labels[3:] == (["Save"] if there else [])


def test_settings_of_the_shipped_show_go_to_the_current_folder(show, tmp_path, monkeypatch):
    here = tmp_path / "here"
    shipped = sorted(path.name for path in HOUSES.iterdir())
    assert saved(demo()).file == here / "demo_show.classes.toml"
    assert made("ClassPanel", kit.open_show()).parts["kept"].value.count("demo_show.classes.toml") == 1
    # However it is called.
    monkeypatch.chdir(HOUSES.parent)
    assert settings_file(kit.open_show("../notebooks/houses/demo_show.toml"), "cloth").parent == HOUSES.parent
    assert sorted(path.name for path in HOUSES.iterdir()) == shipped


def test_a_show_that_is_no_file_has_its_settings_in_the_current_folder(show, tmp_path):
    own = kit.Show(house=demo().house.cover(OWN, patches=["main wall"]))
    panel = saved(own, wall="our brick")
    assert panel.file == tmp_path / "here" / "my_show.classes.toml"
    assert made("ClassPanel", own).choice.wall == "our brick"
    # Another front has no such wall.
    other = made("ClassPanel", kit.Show(house=demo().house))
    assert (other.choice.wall, other.parts["message"].value) == (None, "")
    assert "wall = &#x27;our brick&#x27;" in kept(other)
