"""The panel that makes a show file: fronts are typed through its controls, written, and opened again."""

import logging
import os
import re
import shutil
from dataclasses import fields, replace
from pathlib import Path

import ipywidgets as widgets
import numpy as np
import pytest

import kit
import sliders
from sliders.panel import NOTHING

ROOT = Path(__file__).parents[1]
HOUSES = ROOT / "notebooks" / "houses"
SHOWS = [*sorted((ROOT / "tests" / "shows").glob("*.toml")), *sorted(HOUSES.glob("[bdl]*.toml"))]
SIZES = ("left", "bottom", "width", "height")

# What is typed for a front: its parts in the order in which a newcomer adds them, the main wall and the window first.
SPLIT_LEVEL = """
brick half    | our brick             | 0    | 0      | 26   | 19    |
right window  | bare window           | 44   | 3      | 5    | 4     |
siding half   | grey siding           | 26   | 0      | 26 ft| 10    |
garage        | our brick             | 2    | 0      | 20   | 10    | 4
garage door   | white garage door     | 4    | 0      | 16   | 7'    | 4 ft
front door    | white door            | 29   | 0      | 3    | 7     |
left window   | bare window           | 35   | 3      | 5    | 4     |
chimney       | grey stone            | 24,5 | 0      | 3    | 24    | 1 ft 6 in
left roof     | asphalt shingle roof  | 0    | 19     | 26   | 3     |
right roof    | asphalt shingle roof  | 26   | 10     | 26   | 3     |
"""
TOWN_HOUSE = """
upper wall    | white stucco             | 0   | 3.5  | 5,2  | 7,5  |
left, first   | window with white shade  | 0.2 | 4.3  | 1.1  | 1.9  |
lower wall    | our ochre stucco         | 0   | 60 cm| 5,2  | 2.9  |
plinth        | grey stone               | 0   | 0    | 5,2  | 60 cm|
bay           | white stucco             | 1.4 | 3.6  | 2.4  | 5.4  | 70 cm
door          | wood door                | 2.1 | 0.2  | 1    | 2.4  |
right, first  | window with white shade  | 3.9 | 4.3  | 1.1  | 1.9  |
left, second  | window with white shade  | 0.2 | 7.7  | 1.1  | 1.9  |
right, second | window with white shade  | 3.9 | 7.7  | 1.1  | 1.9  |
left, ground  | window with white shade  | 0.4 | 1.1  | 1.1  | 1.9  |
right, ground | window with white shade  | 3.7 | 1.1  | 1.1  | 1.9  |
"""
FARMHOUSE = """
wall          | red siding               | 0   | 0    | 14   | 5.4  |
upper left    | window with white shade  | 0.9 | 3.5  | 1.2  | 1.3  |
roof          | new snow                 | 0   | 5.4  | 14   | 3.6  |
upper right   | window with white shade  | 11.4| 3.5  | 1.2  | 1.3  |
door          | white door               | 6.5 | 0.2  | 1    | 2.1  |
"""


@pytest.fixture
def folder(tmp_path, monkeypatch, caplog):
    """A folder to work in; what a button's action raises is only logged, and fails the test here."""
    monkeypatch.chdir(tmp_path)
    yield tmp_path
    assert [one for one in caplog.records if one.levelno >= logging.WARNING] == []


def put(part, **said):
    for name, value in said.items():
        part.controls[name].value = value


def part(panel, name):
    return next(one for one in panel.parts if one.controls["name"].value == name)


def press(part, words):
    next(button for button in part.buttons if button.description == words).click()


def notes(panel):
    return [words(row.note) for row in (panel.top, *panel.parts) if row.note.value]


def words(one):
    return re.sub(r"<[^>]+>", "", one.value).replace("&#x27;", "'").replace("&quot;", '"')


def missing(*names):
    return " • ".join(f"{name}: still missing" for name in names)


def six(panel):
    """The six measurements."""
    put(panel.parts[0], width="40", height="19 ft", surface="red brick")
    put(panel.parts[1], left="5'6\"", bottom="3", width="4", height="5", surface="bare window")


def type_front(panel, table):
    """Type a front as a newcomer would: two rows are there, one is added for each further part."""
    rows = [[cell.strip() for cell in line.split("|")] for line in table.strip().splitlines()]
    for i, cells in enumerate(rows):
        before = list(panel.parts)
        if i > 1:
            panel.add.click()
        new = panel.parts[i] if i < 2 else next(one for one in panel.parts if one not in before)
        put(new, **dict(zip(("name", "surface", *SIZES, "depth"), cells, strict=True)))
    return {cells[0]: cells[1:] for cells in rows}


def alike(one, other):
    """Whether two fronts are the same but for rounding, corner by corner."""
    assert [p.name for p in one.patches] == [p.name for p in other.patches]
    for a, b in zip(one.patches, other.patches, strict=True):
        assert (a.surface, a.judged, len(a.holes)) == (b.surface, b.judged, len(b.holes))
        for mine, yours in zip(a.rings, b.rings, strict=True):
            np.testing.assert_allclose(mine, yours, rtol=0, atol=1e-9)
    return True


def test_six_measurements_make_a_show_that_the_pages_start_from(folder):
    panel = sliders.MakePanel()
    assert notes(panel) == [
        missing("surface", "width", "height"),
        missing("surface", "left", "bottom", "width", "height"),
    ]
    assert panel.show is None
    assert panel.picture.value == ""
    six(panel)
    assert notes(panel) == []
    panel.write.click()
    assert str(folder / "my_show.toml") in words(panel.said)
    show = kit.open_show()
    assert show.path == folder / "my_show.toml"
    assert show == panel.show
    feet = np.array(show.house.bounds) / 0.3048
    assert feet == pytest.approx([0, 40, 0, 19])
    window = np.array(show.house.patch("window").outline) / 0.3048
    assert (window[0, 0], window[2, 1]) == pytest.approx((5.5, 8.0))
    assert show.main_wall == ("main wall",)
    # What is not said is said to be assumed, in one line; the drawing has its text.
    assert words(panel.assumed) == f"Not said, so assumed: {'; '.join(show.assumed)}."
    assert "main wall of red brick and window of bare window" in panel.picture.value


@pytest.mark.parametrize(
    ("table", "units", "own"),
    [(SPLIT_LEVEL, "ft", "our brick 0.16"), (TOWN_HOUSE, "m", "our ochre stucco 0,4"), (FARMHOUSE, "m", "")],
    ids=["split-level", "town house", "farmhouse"],
)
def test_fronts_are_typed_row_by_row_and_read_again(folder, table, units, own):
    panel = sliders.MakePanel()
    panel.top.controls["units"].value = units
    panel.top.controls["surfaces"].value = own
    typed = type_front(panel, table)
    assert notes(panel) == []
    panel.write.click()
    show = kit.open_show()
    assert show.units == units
    assert {p.name for p in show.house.patches if p.faces_audience} == set(typed)
    metre = {"ft": 0.3048, "m": 1.0}[units]
    for name, (surface, *cells) in typed.items():
        patch = show.house.patch(name)
        assert patch.surface.name == surface
        left, bottom, width, height, forward = (length(cell, metre) for cell in cells)
        corners = [(left, bottom, forward), (left + width, bottom, forward), (left + width, bottom + height, forward)]
        np.testing.assert_allclose(patch.outline[:3], corners, rtol=0, atol=1e-9)
    # Nothing is hidden: windows and doors come after the walls that were added later.
    order = [p.name for p in show.house.patches]
    walls = [name for name, (surface, *_) in typed.items() if "window" not in surface and "door" not in surface]
    assert max(order.index(name) for name in walls) < min(order.index(name) for name in set(typed) - set(walls))


def length(cell, metre):
    """A typed length [m], worked out by hand."""
    units = {"ft": 0.3048, "'": 0.3048, "in": 0.0254, "cm": 0.01, "m": 1.0}
    found = re.findall(r"([\d.,]+) ?([a-z']*)", cell)
    return sum(float(value.replace(",", ".")) * units.get(unit, metre) for value, unit in found)


def test_the_split_level_is_the_one_of_its_file_but_for_its_roofs(folder):
    panel = sliders.MakePanel()
    panel.top.controls["surfaces"].value = "our brick 0.16"
    type_front(panel, SPLIT_LEVEL)
    panel.write.click()
    made, file = kit.open_show(), kit.load_house(ROOT / "tests" / "houses" / "split_level.toml")
    assert made.house.bounds == pytest.approx(file.bounds)
    flat = [p for p in file.patches if "roof" not in p.name and p.faces_audience]
    assert len(flat) == 8
    for patch in flat:
        mine = made.house.patch(patch.name)
        np.testing.assert_allclose(mine.outline, patch.outline, rtol=0, atol=1e-9)
        assert mine.surface == patch.surface, patch.name


def test_place_facing_and_light_are_written(folder):
    panel = sliders.MakePanel()
    six(panel)
    panel.top.controls["town"].value = "Vienna"
    panel.top.controls["facing"].value = "east"
    panel.top.controls["ambient"].value = "0,5"
    panel.write.click()
    show = kit.open_show()
    assert (show.latitude, show.longitude, show.timezone) == (48.22, 16.33, "Europe/Vienna")
    assert (show.facing, show.ambient) == (90.0, 0.5)
    # What is typed counts as soon as no town is chosen, and is never lost.
    panel.top.controls["latitude"].value, panel.top.controls["longitude"].value = "-33.9", "151,2"
    assert panel.show.latitude == 48.22
    panel.top.controls["town"].value = NOTHING
    assert (panel.show.latitude, panel.show.longitude, panel.show.timezone) == (-33.9, 151.2, None)
    assert "Australia/Sydney" in words(panel.assumed)
    panel.top.controls["longitude"].value = ""
    assert panel.show is None
    assert ["latitude" in note for note in notes(panel)] == [True]
    assert panel.top.controls["latitude"].value == "-33.9"
    panel.top.controls["latitude"].value = "91"
    assert "latitude = '91'" in notes(panel)[0] or "latitude = 91" in notes(panel)[0]


def test_all_mistakes_are_told_by_their_fields_and_the_last_drawing_stays_in_grey(folder):
    panel = sliders.MakePanel()
    six(panel)
    drawing = panel.picture.value
    put(panel.parts[0], width="wide", height="0", name="wall")
    put(panel.parts[1], bottom="1,250")
    panel.top.controls["ambient"].value = "dark"
    panel.top.controls["timezone"].value = "Wien"
    panel.top.controls["surfaces"].value = "our brick 16"
    head, wall, window = notes(panel)
    for field in ("time zone = 'Wien'", "street's light (lx) = 'dark'", "our brick", "0 to 1"):
        assert field in head
    assert "width = 'wide': expected a number such as 5.5, or text such as \"5 ft 6 in\"" in wall
    assert "height = 0.0: expected a number above 0" in wall
    assert "bottom = '1,250'" in window
    wrong = [name for name, one in panel.parts[0].controls.items() if "kit-wrong" in one._dom_classes]
    assert wrong == ["width", "height"]
    assert "kit-wrong" in panel.top.controls["ambient"]._dom_classes
    assert panel.parts[0].controls["width"].value == "wide"
    assert panel.picture.value == drawing
    assert "kit-stale" in panel.picture._dom_classes
    assert "kit-stale" in panel.assumed._dom_classes
    panel.write.click()
    assert "Not written" in words(panel.said)
    assert os.listdir(folder) == []
    six(panel)
    put(panel.parts[1], bottom="3")
    for name in ("ambient", "timezone", "surfaces"):
        panel.top.controls[name].value = ""
    assert notes(panel) == []
    assert "kit-stale" not in panel.picture._dom_classes
    assert [one for one in panel.parts[0].controls.values() if "kit-wrong" in one._dom_classes] == []


def test_a_size_that_no_house_has_is_asked_about_and_may_be_right(folder):
    panel = sliders.MakePanel()
    six(panel)
    put(panel.parts[0], width="400")
    assert "lengths in = 'ft'" in notes(panel)[0]
    panel.top.controls["units_checked"].value = True
    assert notes(panel) == []
    panel.write.click()
    assert sliders.MakePanel().top.controls["units_checked"].value is True


def test_a_part_that_a_later_one_hides_is_moved_down(folder):
    panel = sliders.MakePanel()
    six(panel)
    press(panel.parts[1], "Copy")
    first, window, more = panel.parts
    assert more.controls["name"].value == "window 2"
    assert notes(panel) == [missing("left")]
    put(more, left="20", width="10", height="12", bottom="0", surface="white siding")
    assert notes(panel) == []
    # A window that a wall would hide was meant to lie upon it, whatever the order of typing.
    put(more, left="4")
    assert panel.parts == [first, more, window]
    assert notes(panel) == []
    # What is no window may be hidden by mistake: it is asked.
    put(window, surface="white trim")
    press(more, "Down")
    assert panel.parts == [first, window, more]
    (note,) = notes(panel)
    assert "hidden" in note
    assert "after 'window 2'" in note
    assert "press Down here" in note
    press(window, "Down")
    assert panel.parts == [first, more, window]
    assert notes(panel) == []
    press(window, "Down")
    assert panel.parts == [first, more, window]
    press(more, "Remove")
    assert panel.parts == [first, window]
    assert panel.rows.children == (first.box, window.box)


def test_a_surface_of_ones_own_is_chosen_and_kept_by_its_name(folder):
    panel = sliders.MakePanel()
    six(panel)
    panel.top.controls["surfaces"].value = "our brick 0.16; our render 0,4"
    assert dict(panel.parts[0].controls["surface"].options)["our render"] == "our render"
    put(panel.parts[0], surface="our brick")
    assert panel.show.house.patch("main wall").surface == kit.Surface(name="our brick", reflectance=0.16, kind="brick")
    # One that is renamed is still the one that was chosen, which is now unknown; typed again, all is well.
    panel.top.controls["surfaces"].value = "our brik 0.16"
    assert "surface = 'our brick'" in notes(panel)[0]
    panel.top.controls["surfaces"].value = "our brick 0.2; our brick 0.3"
    assert "no other surface" in notes(panel)[0]
    panel.top.controls["surfaces"].value = "our brick"
    assert notes(panel) != []
    panel.top.controls["surfaces"].value = "our brick 0.2"
    assert panel.show.house.patch("main wall").surface.reflectance == 0.2


def test_changing_the_unit_shows_other_figures_of_the_same_house(folder):
    panel = sliders.MakePanel()
    six(panel)
    put(panel.parts[1], depth="2 in")
    house = panel.show.house
    typed = [{name: one.value for name, one in row.controls.items()} for row in panel.parts]
    put(panel.parts[0], left="0.x")
    panel.top.controls["units"].value = "m"
    assert panel.parts[0].controls["left"].value == "0.x"  # what cannot be read stays as it was typed
    put(panel.parts[0], left="0")
    assert panel.show.units == "m"
    assert panel.parts[0].controls["width"].value == "12.192"
    assert panel.parts[1].controls["left"].value == "1.676"  # shown to a millimetre
    assert alike(panel.show.house, house)
    for _ in range(20):
        panel.top.controls["units"].value = "ft"
        panel.top.controls["units"].value = "m"
    panel.top.controls["units"].value = "ft"
    assert alike(panel.show.house, house)
    shown = [{name: one.value for name, one in row.controls.items()} for row in panel.parts]
    assert shown == [typed[0] | {"height": "19"}, typed[1] | {"left": "5.5", "depth": "0.167"}]
    # A figure that is typed anew is taken as it is.
    put(panel.parts[1], depth="0.2")
    assert panel.show.house.patch("window").outline[0][2] == pytest.approx(0.2 * 0.3048)


def test_a_file_that_is_there_is_replaced_by_a_second_press_that_names_it(folder):
    panel = sliders.MakePanel()
    six(panel)
    panel.write.click()
    old = (folder / "my_show.toml").read_text()
    put(panel.parts[0], surface="white siding")
    panel.write.click()
    assert "is there already" in words(panel.said)
    assert "lost" not in words(panel.said)
    assert (folder / "my_show.toml").read_text() == old
    assert panel.replace.description == "Replace my_show.toml"
    assert panel.replace.layout.display is None
    # Whatever is changed meanwhile asks again.
    put(panel.parts[0], height="18")
    assert panel.replace.layout.display == "none"
    panel.write.click()
    panel.replace.click()
    assert panel.replace.layout.display == "none"
    assert kit.open_show().house.patch("main wall").surface.name == "white siding"
    # A file that another window changed is told apart.
    (folder / "my_show.toml").write_text(old)
    panel.write.click()
    assert "has not read" in words(panel.said)
    assert (folder / "my_show.toml").read_text() == old


@pytest.mark.parametrize("path", SHOWS, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_what_a_file_holds_is_opened_and_kept_on_writing(folder, path):
    (folder / "there").mkdir()
    shutil.copytree(ROOT / "tests" / "houses", folder / "houses")
    shutil.copy(HOUSES / "brick_two_storey.toml", folder / "there")
    mine = folder / "there" / "my_show.toml"
    shutil.copy(path, mine)
    before = kit.open_show(mine)
    panel = sliders.MakePanel(mine)
    assert panel.opened.value == ""
    assert notes(panel) == []
    assert alike(panel.show.house, before.house)
    panel.write.click()
    panel.replace.click()
    # Unchanged, it is the same show, by the same house file.
    after = kit.open_show(mine)
    assert same_but_house(after, before)
    assert alike(after.house, before.house)
    assert after.house_file == before.house_file
    # In another unit and with another surface, all else is as it was; the house file is left alone.
    files = {file: file.read_bytes() for file in (folder / "houses").iterdir()}
    panel = sliders.MakePanel(mine)
    panel.top.controls["units"].value = {"ft": "m", "m": "ft"}[before.units]
    name = before.main_wall[0]
    put(part(panel, name), surface="white painted brick")
    panel.write.click()
    panel.replace.click()
    after = kit.open_show(mine)
    assert {file: file.read_bytes() for file in (folder / "houses").iterdir()} == files
    white = kit.Surface.from_reference("white painted brick")
    again = [replace(p, surface=white) if p.name.split(", return")[0] == name else p for p in before.house.patches]
    assert alike(after.house, replace(before.house, patches=tuple(again)))
    assert same_but_house(after, replace(before, units=after.units))


def same_but_house(one, other):
    """Whether two shows say the same of all but the house."""
    for field in fields(one):
        if field.compare and field.name != "house":
            assert near(getattr(one, field.name), getattr(other, field.name)), field.name
    return True


def near(one, other):
    """Whether figures are the same but for rounding."""
    if isinstance(one, tuple):
        return len(one) == len(other) and all(map(near, one, other))
    if hasattr(one, "__dataclass_fields__"):
        return all(near(getattr(one, f.name), getattr(other, f.name)) for f in fields(one))
    return one == other or (isinstance(one, float) and one == pytest.approx(other, abs=1e-9))


KEPT = """
name = "all that rows cannot show"
units = "ft"
ambient = 0.5
surfaces."our brick" = { reflectance = 0.16, low = 0.12, high = 0.2, kind = "brick" }
surfaces."our screen" = { reflectance = 0.7, gain = 1.2, kind = "paint" }
place = { latitude = 47.3, longitude = -122.1, facing = 200, night_sky = "rural sky", ground = "snow" }
target = { district = "bright" }
[[patch]]
name = "wall"
rectangle = { left = 0, bottom = 0, width = 40, height = 20 }
holes = [[[4, 4], [8, 4], [8, 8], [4, 8]]]
surface = "our brick"
[[patch]]
name = "niche"
rectangle = { left = 4, bottom = 4, width = 4, height = 4 }
depth = -1
surface = "our screen"
[[patch]]
name = "gable"
corners = [[0, 20], [40, 20], [20, 28]]
surface = "white siding"
judged = false
[[patch]]
name = "post"
rectangle = { left = 30, bottom = 0, width = 0.5, height = 9 }
depth = 6
thickness = 0.5
surface = "white trim"
[[lamp]]
name = "porch light"
position = [10, 7, 2]
[[machine]]
name = "ours"
lumens = 5000
"""


def test_holes_corners_posts_bands_and_lamps_are_kept(folder):
    (folder / "my_show.toml").write_text(KEPT)
    before = kit.open_show()
    panel = sliders.MakePanel()
    assert panel.top.controls["surfaces"].value == "our brick 0.16; our screen 0.7"
    assert (panel.top.controls["latitude"].value, panel.top.controls["facing"].value) == ("47.3", "south")
    assert part(panel, "gable").controls["width"].disabled
    panel.top.controls["units"].value = "m"
    put(part(panel, "post"), left="9")
    panel.write.click()
    panel.replace.click()
    after = kit.open_show()
    moved = before.house.patch("post").outline[0][0] - 9.0
    for old in before.house.patches:
        new = after.house.patch(old.name)
        assert (new.surface, new.judged, len(new.holes)) == (old.surface, old.judged, len(old.holes))
        shift = [moved, 0, 0] if old.name.startswith("post") else [0, 0, 0]
        for mine, yours in zip(new.rings, old.rings, strict=True):
            np.testing.assert_allclose(mine + shift, yours, rtol=0, atol=1e-9)
    assert near(after.lamps, before.lamps)
    assert near(after.machines, before.machines)
    for name in ("ambient", "latitude", "longitude", "facing", "night_sky", "ground", "district"):
        assert getattr(after, name) == getattr(before, name), name
    # A reflectance that is changed has no band any more; a gain stays.
    panel.top.controls["surfaces"].value = "our brick 0.3; our screen 0.8"
    wall, niche = (panel.show.house.patch(name).surface for name in ("wall", "niche"))
    assert (wall.low, wall.reflectance, wall.high, wall.kind) == (0.3, 0.3, 0.3, "brick")
    assert (niche.reflectance, niche.gain) == (0.8, 1.2)


@pytest.mark.parametrize("text", ["name = ", KEPT.replace("hei", "hie"), "", "\xff", "house = 'no.toml'"])
def test_a_file_that_cannot_be_opened_is_left_alone_until_it_is_replaced(folder, text):
    (folder / "my_show.toml").write_text(text, encoding="latin-1")
    panel = sliders.MakePanel()
    assert "Rows cannot show my_show.toml" in words(panel.opened)
    assert "anew" in words(panel.opened)
    assert [row.controls["name"].value for row in panel.parts] == ["main wall", "window"]
    six(panel)
    panel.write.click()
    assert "will be lost" in words(panel.said)
    assert (folder / "my_show.toml").read_text(encoding="latin-1") == text
    panel.replace.click()
    assert kit.open_show().house.name == "our house"


def test_a_front_of_more_parts_than_rows_can_show_is_left_alone(folder):
    rows = (f'[[patch]]\nname = "{i}"\nsurface = "red brick"\nrectangle = {{ left = {i}, bottom = 0, width = 1, '
            "height = 9 }\n" for i in range(61))  # fmt: skip
    (folder / "my_show.toml").write_text('name = "long"\nunits = "ft"\n' + "".join(rows))
    panel = sliders.MakePanel()
    assert "parts = 61: expected at most 60" in words(panel.opened)
    assert panel.show is None


def test_a_folder_in_place_of_the_file_is_told(folder):
    (folder / "my_show.toml").mkdir()
    panel = sliders.MakePanel()
    six(panel)
    panel.write.click()
    panel.replace.click()
    assert "Not written" in words(panel.said)


@pytest.mark.bad_input
@pytest.mark.parametrize(
    "text", ["", " ", "x" * 500, "9" * 400, "1e999", "-5", "nan", "<b>'\"&", "=;[]{}", "5 apples", "½"]
)
def test_whatever_is_typed_stays_and_is_answered_in_words(folder, text):
    panel = sliders.MakePanel()
    six(panel)
    for row in (panel.top, panel.parts[1]):
        for name, one in row.controls.items():
            if isinstance(one, widgets.Text):
                before = one.value
                one.value = text
                assert one.value == text, name
                panel.top.controls["units"].value = "m"
                panel.write.click()
                assert "<b>'" not in row.note.value
                panel.top.controls["units"].value = "ft"
                one.value = before
    assert notes(panel) == []


def test_every_control_has_words_of_its_own_for_those_who_listen(folder):
    panel = sliders.MakePanel()
    six(panel)
    controls = [one for row in (panel.top, *panel.parts) for one in row.controls.values()]
    spoken = [re.sub(r"<[^>]+>", "", one.description).strip() for one in controls]
    assert len(set(spoken)) == len(spoken) == 24
    assert {"main wall: width", "window: forward"} <= set(spoken)
    buttons = [one for row in panel.parts for one in row.buttons]
    assert {one.tooltip for one in buttons} == {
        f"{words} {name}" for words in ("Copy", "Down", "Remove") for name in ("main wall", "window")
    }
    put(panel.parts[1], name="<door>")
    assert "&lt;door&gt;: </span>left" in panel.parts[1].controls["left"].description


def test_visitors_of_a_page_without_code_write_no_files(folder, monkeypatch):
    monkeypatch.setenv("SERVER_SOFTWARE", "voila/0.5")
    assert sliders.MakePanel().write.disabled
    monkeypatch.delenv("SERVER_SOFTWARE")
    assert not sliders.MakePanel().write.disabled


def test_surfaces_are_offered_by_kind_with_their_colours(folder):
    panel = sliders.MakePanel()
    six(panel)
    known = kit.surfaces()
    options = panel.parts[0].controls["surface"].options
    assert [value for _, value in options[1:]] == list(known.index)
    assert all(label == f"{known.kind[value]}: {value}" for label, value in options[1:])
    style = " ".join(one.value for one in panel.widget().children if isinstance(one, widgets.HTML))
    for i, colour in enumerate(known["colour"], 2):
        assert f"option:nth-child({i}) {{ background: {colour};" in style
    assert f"background: {known.colour['red brick']};" in panel.parts[0].controls["surface"].description


def test_the_table_of_surfaces_shows_their_colours():
    table = kit.report(kit.surfaces(), title="Surfaces").data
    for name, colour in kit.surfaces()["colour"].items():
        assert re.search(rf"<th>{name}</th>.*?background: {colour}\b", table, re.DOTALL), name
