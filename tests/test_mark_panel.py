"""Marks in a photo: on the page by mouse, keyboard and typed numbers; on the disk from each mark on; and the front."""

import base64
import io
import json

import photo_renderer as renderer
import pytest
from PIL import Image
from test_browser import CHROMIUM, sync_playwright

import kit
from marking import MarkPanel

SCRIPT = renderer.PHOTOS.parent / "marking" / "panel.js"
OWN = [kit.Surface(name="our brick", reflectance=0.19, low=0.16, high=0.22, kind="brick")]
SAMPLE = kit.Marks.load(renderer.PHOTOS / "front.json")


@pytest.fixture
def photo(tmp_path):
    path = tmp_path / "front.jpg"
    path.write_bytes((renderer.PHOTOS / "front.jpg").read_bytes())
    return path


def marked(panel, **changes):
    told = json.loads(panel.canvas.marks) | changes
    panel.canvas.marks = json.dumps(told)


def test_marks_are_on_the_disk_at_once_and_come_back(photo):
    panel = MarkPanel(photo, OWN)
    assert not panel.file.exists()
    assert "four points and more" in panel.told.value
    marked(panel, points=[[3.0, 4.0]])
    assert kit.Marks.load(panel.file).points == ((3.0, 4.0),)
    told = json.loads(SAMPLE.text())
    marked(panel, **told)
    assert "Known points come back within" in panel.told.value
    assert "<img" in panel.told.value
    # A kernel that starts anew finds everything.
    again = MarkPanel(photo, OWN)
    assert kit.Marks.parse(again.canvas.marks) == SAMPLE
    assert again.told.value == panel.told.value


def test_what_is_wrong_is_said_and_the_file_keeps_what_was_right(photo):
    panel = MarkPanel(photo, OWN)
    marked(panel, **json.loads(SAMPLE.text()))
    before = panel.file.read_text()
    marked(panel, parts=[{"name": "", "surface": "red brick", "corners": [[1, 2], [3, 4], [5, 2]]}])
    assert "name" in panel.told.value
    assert panel.file.read_text() == before
    wrong = [[*SAMPLE.checks[0][:4], 4.0]]
    marked(panel, parts=json.loads(SAMPLE.text())["parts"], checks=wrong)
    assert "checks 1 = 4.0: expected 4.66" in panel.told.value
    assert "<img" not in panel.told.value


def test_the_front_is_a_show_file_as_soon_as_there_is_one(photo):
    panel = MarkPanel(photo, OWN)
    file = photo.with_suffix(".show.toml")
    marked(panel, **json.loads(SAMPLE.text()) | {"parts": []})
    assert not file.exists()
    marked(panel, **json.loads(SAMPLE.text()))
    house = kit.open_show(file).house
    assert house.bounds == pytest.approx((-6, 6, 0, 6), abs=0.02)
    assert house.patch("wall").surface == OWN[0]


def test_a_page_for_visitors_writes_nothing(photo, monkeypatch):
    monkeypatch.setenv("SERVER_SOFTWARE", "voila")
    panel = MarkPanel(photo)
    marked(panel, points=[[3.0, 4.0]])
    assert sorted(path.name for path in photo.parent.iterdir()) == ["front.jpg"]


def test_the_photo_on_the_page_has_no_exif(photo):
    data = base64.b64decode(MarkPanel(photo).canvas.photo.partition(",")[2])
    assert b"Exif" in photo.read_bytes()
    assert b"Exif" not in data


PAGE = """<div id="here"></div><script type="module">
const listeners = [];
window.state = {photo: %s, marks: %s};
window.model = {
    get: name => window.state[name],
    set: (name, value) => { window.state[name] = value; },
    save_changes: () => {},
    on: (event, act) => listeners.push(act),
};
const script = await import(URL.createObjectURL(new Blob([%s], {type: "text/javascript"})));
script.default.render({model: window.model, el: document.getElementById("here")});
window.ready = true;
</script>"""


@pytest.mark.browser
def test_points_are_marked_by_mouse_by_keyboard_and_by_numbers_and_taken_back():
    buffer = io.BytesIO()
    Image.new("RGB", (800, 600), "grey").save(buffer, "PNG")
    photo = "data:image/png;base64," + base64.b64encode(buffer.getvalue()).decode()
    empty = kit.Marks(size=(800, 600)).text()
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page()
        page.set_content(PAGE % tuple(map(json.dumps, (photo, empty, SCRIPT.read_text(encoding="utf-8")))))
        page.wait_for_function("window.ready")

        def marks():
            return json.loads(page.evaluate("window.state.marks"))

        canvas = page.get_by_role("application")
        canvas.click(position={"x": 120, "y": 80})
        assert marks()["points"] == [[120, 80]]
        for key in ("ArrowRight", "Shift+ArrowDown", "ArrowLeft", "ArrowUp", "Enter"):
            canvas.press(key)
        assert marks()["points"] == [[120, 80], [120, 89]]
        page.get_by_label("a point: right, down").fill("300; 40.5")
        page.get_by_label("a point: right, down").press("Enter")
        assert marks()["points"][2] == [300, 40.5]
        canvas.press("Backspace")
        page.get_by_role("button", name="Undo").click()
        assert marks()["points"] == [[120, 80]]
        # One point and two measures, in feet.
        page.get_by_label("measures").fill("2; 0,5")
        page.get_by_label("in", exact=True).select_option("ft")
        page.get_by_role("button", name="Use the points").click()
        assert marks()["known"] == [[120, 80, pytest.approx(0.6096), pytest.approx(0.1524)]]
        assert marks()["points"] == []
        page.get_by_role("button", name="Use the points").click()
        assert "This takes 1 points, and x; y; there are 0" in page.locator(".kit-where").inner_text()
        page.get_by_label("These points are").select_option("corners of a part")
        for point in ("10, 20", "90, 20", "90, 60"):
            page.get_by_label("a point: right, down").fill(point)
            page.get_by_role("button", name="Mark this point").click()
        page.get_by_label("name").fill("bay")
        page.get_by_label("surface").fill("red brick")
        page.get_by_label("measures").fill("4")
        page.get_by_role("button", name="Use the points").click()
        page.get_by_label("focal length").fill("26")
        page.get_by_label("focal length").press("Tab")
        found = kit.Marks.parse(page.evaluate("window.state.marks"))
        (part,) = found.parts
        assert (part.name, part.surface, part.depth) == ("bay", "red brick", pytest.approx(1.2192))
        assert found.focal == 26.0
        browser.close()
