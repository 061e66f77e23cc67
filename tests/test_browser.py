"""The notebooks in JupyterLab, driven by keyboard in the system's Chromium."""

import io
import json
import os
import re
import shutil
import socket
import statistics
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import nbformat
import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Page, TimeoutError, expect, sync_playwright
from test_notebooks import says_too_little

expect.set_options(timeout=60_000)  # a page that shares a busy machine answers late

pytestmark = pytest.mark.browser

ROOT = Path(__file__).parents[1]
ARTEFACTS = ROOT / "test-artefacts"
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
TOKEN = "local-test-token"
RESET = "As in the show file"
COMMAND = [sys.executable, "-m", "kit", "lab"]
EMPTY = 0.05  # of the middle of a screenshot; a page of text alone has more

# On a machine set up for tests a missing browser is a failure, elsewhere a reason to skip.
if CHROMIUM is None and not os.environ.get("CI"):
    pytest.skip("needs Chromium (Debian: apt-get install chromium)", allow_module_level=True)


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    """Address of a JupyterLab on loopback that serves a copy of the notebooks, and the folder of the copy."""
    folder = tmp_path_factory.mktemp("lab")
    shutil.copytree(ROOT / "notebooks", folder / "notebooks")
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    environment = os.environ | {
        "JUPYTER_CONFIG_DIR": str(folder / "config"),
        "JUPYTER_DATA_DIR": str(folder / "data"),
        "PYTHONPATH": str(ROOT),
    }
    command = [
        *COMMAND, str(folder / "notebooks"), "--no-browser", "--allow-root", "--ip=127.0.0.1",
        f"--port={port}", f"--IdentityProvider.token={TOKEN}",
        # What has run and what came of it is asked of the page's model: cells out of sight are not in the page.
        "--LabApp.expose_app_in_browser=True",
    ]  # fmt: skip
    with (
        (folder / "log.txt").open("w") as log,
        subprocess.Popen(command, stdout=log, stderr=log, env=environment) as server,
    ):
        try:
            address = f"http://127.0.0.1:{port}"
            for _ in range(240):
                try:
                    urllib.request.urlopen(f"{address}/api?token={TOKEN}", timeout=2).close()
                    break
                except (urllib.error.URLError, ConnectionError, TimeoutError):
                    assert server.poll() is None, (folder / "log.txt").read_text()
                    time.sleep(0.25)
            yield address, folder / "notebooks"
        finally:
            server.terminate()


@pytest.fixture(scope="module")
def chromium():
    with sync_playwright() as play:
        browser = play.chromium.launch(
            executable_path=CHROMIUM,
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-sync"],
        )
        yield browser
        browser.close()


# Of what the kernel says, all that no reader should see: exceptions and warnings, of callbacks too.
WATCH = r"""() => {
    window.kitCells = window.jupyterapp.shell.currentWidget.content;
    window.kitSession = window.jupyterapp.shell.currentWidget.sessionContext;
    window.kitRan = 0;
    window.kitTrouble = [];
    window.kitSession.iopubMessage.connect((_, message) => {
        const {header: {msg_type: kind}, content} = message;
        if (kind === "execute_input") window.kitRan += 1;
        if (kind === "error") window.kitTrouble.push(`${content.ename}: ${content.evalue}`);
        // The page's own widget manager, where it asks for widgets before the kernel has any: nothing a reader sees.
        if (kind === "stream" && content.name === "stderr" && !/^(No such comm: [-0-9a-f]+\s*)+$/.test(content.text))
            window.kitTrouble.push(content.text);
    });
}"""
IDLE = "() => window.kitSession.session.kernel.status === 'idle'"
# After an exception the cells below it do not run.
ALL_RAN = f"""() => {{
    const code = window.kitCells.widgets.filter(c => c.model.type === "code" && c.model.sharedModel.source.trim());
    return (window.kitRan >= code.length || window.kitTrouble.length > 0) && ({IDLE})();
}}"""
OUTPUTS = """() => window.kitCells.widgets.flatMap((cell, i) =>
    cell.model.type === "code" ? cell.model.outputs.toJSON().map(output => [i, output]) : [])"""
# Share of a picture that is not of the colour of its corner.
INK = """() => { window.kitInk = image => {
    const canvas = new OffscreenCanvas(image.naturalWidth || 1, image.naturalHeight || 1);
    const context = canvas.getContext("2d");
    context.drawImage(image, 0, 0);
    const pixels = new Uint32Array(context.getImageData(0, 0, canvas.width, canvas.height).data.buffer);
    return pixels.filter(pixel => pixel !== pixels[0]).length / pixels.length;
} }"""
# Words that a line's end breaks: those that would fit on a line of their own.
BROKEN_WORDS = """() => {
    const found = [];
    for (const block of document.querySelectorAll(".jp-OutputArea-output pre, .kit-report p, .kit-panel p")) {
        const walker = document.createTreeWalker(block, NodeFilter.SHOW_TEXT);
        while (walker.nextNode()) for (const word of walker.currentNode.data.matchAll(/[^\\s\\-\u2013/]+/g)) {
            const range = document.createRange();
            range.setStart(walker.currentNode, word.index);
            range.setEnd(walker.currentNode, word.index + word[0].length);
            const lines = [...range.getClientRects()].filter(box => box.width > 1).map(box => Math.round(box.top));
            if (new Set(lines).size > 1) found.push(word[0]);
        }
    }
    return found;
}"""
# Each cell is brought into sight, as cells out of sight are not drawn; then what it shows is asked for.
TOUR = """async () => {
    const found = {pictures: [], broken: [], clipped: []};
    for (let i = 0; i < window.kitCells.widgets.length; i++) {
        const cell = window.kitCells.widgets[i];
        if (cell.model.type !== "code") continue;
        await window.kitCells.scrollToItem(i);
        await new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)));
        const images = [...cell.node.querySelectorAll(".jp-OutputArea img")];
        await Promise.all(images.map(image => image.decode().catch(() => null)));
        for (const image of images) found.pictures.push({
            cell: i, width: image.naturalWidth, seen: image.checkVisibility(), whole: image.complete,
            words: [image.alt, image.ariaLabel, image.title].find(words => words) || "", ink: window.kitInk(image),
        });
        const broken = ".jupyter-widgets-error-widget, [data-mime-type$='.stderr'], [data-mime-type$='.error']";
        for (const part of cell.node.querySelectorAll(broken)) found.broken.push([i, part.innerText]);
        const edge = cell.node.getBoundingClientRect().right;
        for (const part of cell.node.querySelectorAll(".jp-OutputArea p, .jp-OutputArea table")) {
            const room = part.closest(".kit-scroll") || part;
            if (room.getBoundingClientRect().right > edge + 1) found.clipped.push([i, part.innerText.slice(0, 60)]);
        }
    }
    return found;
}"""


def run_all(chromium, lab, name, ready="", width=1280):
    """Open a notebook in a page of its own, run all its cells, and wait until all have run and `ready` is there."""
    address, _ = lab
    page = chromium.new_page(viewport={"width": width, "height": 1500})
    # A workspace of its own, so that no other notebook is open beside it.
    page.goto(f"{address}/lab/workspaces/{name.split('.')[0]}/tree/{name}?token={TOKEN}")
    page.locator(".jp-NotebookPanel").wait_for(timeout=60_000)
    # Cells that are run before the kernel answers are dropped.
    page.get_by_text("| Idle").wait_for(timeout=60_000)
    page.evaluate(WATCH)
    page.evaluate(INK)
    page.get_by_role("menuitem", name="Run", exact=True).click()
    page.get_by_role("menuitem", name="Run All Cells", exact=True).click()
    try:
        page.wait_for_function(ALL_RAN, timeout=120_000)
        if ready and not trouble(page):
            page.locator(ready).first.wait_for(timeout=60_000)
    except TimeoutError:
        ARTEFACTS.mkdir(exist_ok=True)
        page.screenshot(path=ARTEFACTS / f"not_ready_{name[:2]}.png")
        raise
    return page


def opened(chromium, lab, name, ready, width=1280):
    """A notebook whose cells have all run; in the end, after all that was done to it, nothing went wrong."""
    page = run_all(chromium, lab, name, ready, width)
    yield page
    no_error(page)
    page.close()


@pytest.fixture(scope="module")
def page(chromium, lab):
    yield from opened(chromium, lab, "01_which_brightness_class.ipynb", ".kit-verdict")


@pytest.fixture(scope="module")
def cloth_page(chromium, lab):
    yield from opened(chromium, lab, "02_does_cloth_pay.ipynb", ".kit-payoff")


@pytest.fixture(scope="module")
def evening_page(chromium, lab):
    yield from opened(chromium, lab, "03_when_can_the_show_start.ipynb", ".kit-start")


@pytest.fixture(scope="module")
def lesson_page(chromium, lab):
    # As wide as a tablet held upright.
    yield from opened(chromium, lab, "05_light_for_neighbours.ipynb", "text=Guess first", width=800)


@pytest.fixture(scope="module")
def place_page(chromium, lab):
    yield from opened(chromium, lab, "04_where_does_it_stand.ipynb", ".kit-place")


def trouble(page: Page):
    """What went wrong by now: what the kernel said, what stands in any cell, seen or not, and what is drawn."""
    page.wait_for_function(IDLE, timeout=60_000)
    found = [f"kernel: {said}" for said in page.evaluate("window.kitTrouble")]
    for cell, output in page.evaluate(OUTPUTS):
        if output["output_type"] == "error" or output.get("name") == "stderr":
            found.append(f"cell {cell}: {output.get('evalue') or output.get('text')}")
    return found


def no_error(page: Page):
    assert trouble(page) == []
    assert page.evaluate(TOUR)["broken"] == []


def ink(picture: bytes):
    """Share of a screenshot's middle that is not white."""
    with Image.open(io.BytesIO(picture)) as image:
        pixels = np.asarray(image.convert("L"))
    height, width = pixels.shape
    middle = pixels[height // 5 : -height // 5, width // 5 : -width // 5]
    return float((middle < 245).mean())


def keep_screenshot(page: Page, name: str, at):
    """Store what the page shows at a picture, once it is drawn; fail where the page or the picture is empty."""
    at.scroll_into_view_if_needed()
    at.evaluate("image => image.decode && image.decode()")
    ARTEFACTS.mkdir(exist_ok=True)
    # A page may be white for a moment after it was scrolled.
    for _ in range(20):
        page.evaluate("() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
        shares = ink(page.screenshot(path=ARTEFACTS / f"{name}.png")), ink(at.screenshot())
        if min(shares) > EMPTY:
            return
        page.wait_for_timeout(250)
    pytest.fail(f"{name}.png: {shares[0]:.1%} of its middle is not white, {shares[1]:.1%} of the picture's")


def handle(page: Page, label: str):
    """The handle of the slider that `label` stands before."""
    row = page.locator(".widget-slider", has=page.get_by_text(label, exact=True))
    return row.locator("[role=slider]").first


def picture(page: Page):
    """The panel's first picture."""
    return page.locator(".kit-panel img.kit-picture").first


def test_run_all_shows_words_pictures_and_numbers_without_an_error(page):
    expect(page.locator(".kit-verdict").first).to_contain_text("8,000 lm: borderline, 2 chances in 10")
    expect(page.locator(".kit-numbers").first).to_contain_text("red brick")
    expect(page.get_by_text("all together (independent deviations)")).to_be_attached(timeout=60_000)
    assert picture(page).evaluate("i => i.naturalWidth") >= 800
    no_error(page)
    keep_screenshot(page, "which_brightness_class", picture(page))


def test_a_slider_moved_by_keyboard_changes_picture_and_verdict(page):
    before, words = picture(page).get_attribute("src"), page.locator(".kit-verdict").first.text_content()
    slider = handle(page, "second machine (lm)")
    slider.focus()
    for _ in range(8):
        page.keyboard.press("ArrowRight")
    expect(page.locator(".kit-verdict").first).to_contain_text("10,000 lm")
    assert picture(page).get_attribute("src") != before
    assert page.locator(".kit-verdict").first.text_content() != words


def test_feet_and_metres_switch_and_reset(page):
    page.get_by_role("button", name="metres").click()
    expect(page.get_by_text("distance (m)", exact=True).first).to_be_visible()
    expect(page.get_by_text("its picture is 15 m wide").first).to_be_visible()
    page.get_by_role("button", name=RESET).click()
    expect(page.get_by_text("distance (ft)", exact=True).first).to_be_visible()
    expect(page.locator(".kit-verdict").first).to_contain_text("8,000 lm: borderline, 2 chances in 10")
    expect(page.get_by_text("its picture is 48 ft wide").first).to_be_visible()


# An update puts a new picture in the old one's place. When it is there and decoded, the reader sees it.
CLOCK = """() => {
    if (window.kitLoads) return;
    window.kitLoads = [];
    document.addEventListener("keydown", () => { window.kitStart = performance.now(); }, true);
    new MutationObserver(async records => {
        const added = records.flatMap(record => [...record.addedNodes]).filter(node => node.querySelector);
        const images = added.flatMap(node => [node, ...node.querySelectorAll("img.kit-picture")]);
        const first = images.find(node => node.matches(".kit-panel img.kit-picture"));
        if (!first) return;
        await first.decode();
        window.kitLoads.push(performance.now() - window.kitStart);
    }).observe(document.body, {childList: true, subtree: true});
}"""


def follows_slider(page, label, presses):
    """Press keys on a slider, four to the right, four to the left, and compare pictures; store how soon they came.

    Each place of the slider has a picture of its own, the same each time: a late answer would show. The times from key
    press to the new picture [ms] are no pass mark.
    """
    handle(page, label).focus()
    page.evaluate(CLOCK)
    times, pictures, drawn = [], [], {0: picture(page).get_attribute("src")}
    place = 0
    for i in range(presses):
        page.evaluate("window.kitLoads.length = 0")
        right = i % 8 < 4
        page.keyboard.press("ArrowRight" if right else "ArrowLeft")
        place += 1 if right else -1
        page.wait_for_function("window.kitLoads.length > 0", timeout=60_000)
        # A press that draws twice must not lend its second picture to the next press: what it asks for more is asked
        # when the kernel has answered, so that is waited for, and for the answer to it.
        for _ in range(2):
            page.wait_for_function(IDLE, timeout=60_000)
            page.wait_for_timeout(200)
        loads = page.evaluate("window.kitLoads")
        times.append(loads[-1])
        pictures.append(len(loads))
        now = picture(page).get_attribute("src")
        assert drawn.setdefault(place, now) == now, f"press {i}: not the picture of before"
    assert len(set(drawn.values())) == len(drawn)
    ARTEFACTS.mkdir(exist_ok=True)
    record = {"median_ms": round(statistics.median(times)), "all_ms": [round(t) for t in times], "pictures": pictures}
    name = page.url.split("/")[-1].split(".")[0]
    (ARTEFACTS / f"slider_to_picture_{name}.json").write_text(json.dumps(record))


def test_each_place_of_the_slider_has_its_picture(page):
    follows_slider(page, "ambient light (lx)", presses=16)


def test_the_fabric_notebook_runs_and_shows_words_pictures_and_numbers(cloth_page):
    expect(cloth_page.locator(".kit-payoff").first).to_contain_text("This cloth is worth 29,000 lumens")
    expect(cloth_page.locator(".kit-routes").first).to_contain_text("smaller picture")
    assert picture(cloth_page).evaluate("i => i.naturalWidth") >= 800
    expect(cloth_page.get_by_text("On the front under cloth", exact=True)).to_be_attached(timeout=90_000)
    no_error(cloth_page)
    keep_screenshot(cloth_page, "does_cloth_pay", picture(cloth_page))


def test_more_layers_and_rain_by_keyboard_change_words_and_picture(cloth_page):
    before, words = picture(cloth_page).get_attribute("src"), cloth_page.locator(".kit-payoff").first.text_content()
    handle(cloth_page, "layers").focus()
    cloth_page.keyboard.press("ArrowRight")
    expect(cloth_page.locator(".kit-payoff").first).not_to_have_text(words)
    expect(picture(cloth_page)).not_to_have_attribute("src", before)
    drier = cloth_page.locator(".kit-routes").first.text_content()
    wet = cloth_page.get_by_label("wet: rain on cloth and wall")
    wet.focus()
    cloth_page.keyboard.press("Space")
    expect(cloth_page.locator(".kit-routes").first).not_to_have_text(drier)
    cloth_page.get_by_role("button", name=RESET).click()
    expect(cloth_page.locator(".kit-payoff").first).to_contain_text("This cloth is worth 29,000 lumens")
    assert not wet.is_checked()


def test_a_picture_file_that_is_not_there_is_answered_in_words(cloth_page):
    cloth_page.get_by_label("picture", exact=True).select_option("a picture file")
    expect(cloth_page.locator("p[role=alert]")).to_contain_text("picture file")
    cloth_page.get_by_role("button", name=RESET).click()
    expect(cloth_page.locator("p[role=alert]")).to_have_count(0)


def test_each_place_of_the_slider_has_its_night_pictures(cloth_page):
    follows_slider(cloth_page, "light output (lm)", presses=12)


def test_the_evening_notebook_runs_and_shows_words_pictures_and_numbers(evening_page):
    expect(evening_page.locator(".kit-start").first).to_contain_text(
        re.compile(
            r"Sat 5 Dec 2026: not enough at any hour \(the sun sets at 16:16\).*bright enough \(1\.9\d of 2 cd/m²"
        )
    )
    expect(evening_page.locator(".kit-hours").first).to_contain_text("porch light shaded")
    expect(evening_page.locator(".kit-panel img.kit-picture")).to_have_count(2)
    no_error(evening_page)
    keep_screenshot(evening_page, "when_can_the_show_start", picture(evening_page))


def test_another_date_and_a_lamp_switched_off_by_keyboard_change_words_and_picture(evening_page):
    words = evening_page.locator(".kit-start").first
    before, text = picture(evening_page).get_attribute("src"), words.text_content()
    handle(evening_page, "evening of").focus()
    evening_page.keyboard.press("ArrowRight")
    expect(words).to_contain_text("Sun 6 Dec 2026")
    expect(picture(evening_page)).not_to_have_attribute("src", before)
    table = evening_page.locator(".kit-hours").first
    expect(table).to_contain_text("porch light off")
    evening_page.get_by_label("porch light", exact=True).select_option("off")
    expect(table).not_to_contain_text("porch light off", timeout=60_000)
    evening_page.get_by_role("button", name=RESET).click()
    expect(words).to_have_text(text, timeout=60_000)


def test_a_time_zone_that_is_not_there_is_answered_in_words(evening_page):
    zone = evening_page.get_by_label("time zone", exact=True)
    zone.fill("Europe/Berlinn")
    zone.press("Enter")
    expect(evening_page.locator("p[role=alert]")).to_contain_text("near: Europe/Berlin")
    evening_page.get_by_role("button", name=RESET).click()
    expect(evening_page.locator("p[role=alert]")).to_have_count(0)


# What the busy sign shows, looked at 50 times a second.
BUSY = """() => {
    window.kitBusy = [];
    window.kitLook = setInterval(() => {
        const sign = document.querySelector(".kit-panel .kit-busy");
        const look = sign && getComputedStyle(sign, "::before");
        if (look && look.visibility === "visible") window.kitBusy.push(look.content);
    }, 20);
}"""


def test_a_slow_answer_shows_that_it_is_working(evening_page):
    """After half a second; here after none, so that a fast machine shows it too."""
    evening_page.add_style_tag(content=".kit-busy::before { animation-delay: 0s !important; }")
    evening_page.evaluate(BUSY)
    before = picture(evening_page).get_attribute("src")
    handle(evening_page, "latitude (°)").focus()
    evening_page.keyboard.press("ArrowRight")
    evening_page.wait_for_function("window.kitBusy.length > 0", timeout=60_000)
    assert set(evening_page.evaluate("window.kitBusy")) == {'"Working ..."'}
    expect(picture(evening_page)).not_to_have_attribute("src", before)
    expect(evening_page.locator(".kit-panel .kit-busy")).to_have_count(0)
    evening_page.evaluate("clearInterval(window.kitLook)")
    evening_page.get_by_role("button", name=RESET).click()
    expect(picture(evening_page)).to_have_attribute("src", before)


def test_each_place_of_the_slider_has_its_evening(evening_page):
    follows_slider(evening_page, "light output (lm)", presses=6)


def test_the_notebook_of_places_runs_and_shows_words_drawing_and_numbers(place_page):
    expect(place_page.locator(".kit-place").first).to_contain_text(
        "8,000 lumens may or may not be enough for this front: 2 chances in 10"
    )
    expect(place_page.locator(".kit-zones").first).to_contain_text("animation")
    assert picture(place_page).evaluate("i => i.naturalWidth") >= 800
    expect(place_page.get_by_text("beside.png").first).to_be_attached(timeout=90_000)
    no_error(place_page)
    keep_screenshot(place_page, "where_does_it_stand", picture(place_page))


def test_tilt_and_two_machines_by_keyboard_change_words_and_drawing(place_page):
    words = place_page.locator(".kit-place").first
    before, text = picture(place_page).get_attribute("src"), words.text_content()
    handle(place_page, "tilt up (°)").focus()
    for _ in range(6):
        place_page.keyboard.press("ArrowRight")
    expect(words).to_contain_text("(keystone)")
    expect(picture(place_page)).not_to_have_attribute("src", before)
    place_page.get_by_label("machines", exact=True).select_option("two, one on the other")
    expect(place_page.locator("p[role=alert]")).to_contain_text("tilt")
    place_page.get_by_role("button", name=RESET).click()
    expect(place_page.locator("p[role=alert]")).to_have_count(0)
    expect(words).to_have_text(text)


def test_each_place_of_the_slider_has_its_drawing(place_page):
    follows_slider(place_page, "distance (ft)", presses=12)


def test_a_lesson_is_guessed_moved_and_checked_by_keyboard_alone(lesson_page):
    lesson = lesson_page.locator(".jp-OutputArea", has=lesson_page.get_by_text("twice as far from the wall")).first
    slider = lesson.locator("[role=slider]").first
    expect(slider).not_to_be_visible()
    lesson.get_by_role("button").first.focus()
    lesson_page.keyboard.press("Space")
    expect(lesson.locator(".kit-said").first).to_contain_text("Not quite")
    lesson_page.keyboard.press("Tab")
    lesson_page.keyboard.press("Tab")
    lesson_page.keyboard.press("Space")
    expect(lesson.locator(".kit-said").first).to_contain_text("Right")
    expect(slider).to_be_visible()
    # From the last answer, Tab leads on to what can be moved.
    lesson_page.keyboard.press("Tab")
    expect(slider).to_be_focused()
    said = lesson.locator(".kit-outcome").text_content()
    lesson_page.keyboard.press("ArrowRight")
    expect(lesson.locator(".kit-outcome")).not_to_have_text(said)
    assert lesson.locator("img.kit-picture").evaluate("i => i.naturalWidth") >= 600
    # Past the slider's figure, which may be typed over, and a picture that is wider than its place.
    for _ in range(4):
        lesson_page.keyboard.press("Tab")
        if lesson_page.evaluate("document.activeElement.tagName") == "BUTTON":
            break
    lesson_page.keyboard.press("Space")
    expect(lesson.locator(".kit-said").nth(1)).to_contain_text("Not quite")
    no_error(lesson_page)
    keep_screenshot(lesson_page, "light_for_neighbours", lesson.locator("img.kit-picture"))


PAGES = ["home_page", "page", "cloth_page", "evening_page", "place_page", "lesson_page"]


@pytest.fixture(scope="module")
def home_page(chromium, lab):
    yield from opened(chromium, lab, "00_start_here.ipynb", "")


@pytest.mark.parametrize("fixture", PAGES)
def test_every_picture_in_the_page_has_a_text_of_its_own(request, fixture):
    """For those who cannot see it: in the page, where a screen reader finds it; in words, and not those of another."""
    pictures = request.getfixturevalue(fixture).evaluate(TOUR)["pictures"]
    assert pictures
    for picture in pictures:
        assert not picture["seen"] or (picture["whole"] and picture["width"] >= 300 and picture["ink"] > EMPTY), picture
    texts = [picture["words"] for picture in pictures]
    assert [text for text in texts if says_too_little(text)] == []
    assert len(set(texts)) == len(texts)


@pytest.mark.parametrize("fixture", PAGES)
def test_no_sentence_runs_past_the_edge_and_tables_scroll_within_themselves(request, fixture):
    page = request.getfixturevalue(fixture)
    assert page.evaluate(TOUR)["clipped"] == []
    page.evaluate(
        """() => {
            const wide = document.createElement("p");
            wide.style.whiteSpace = "nowrap";
            wide.textContent = "words ".repeat(400);
            window.kitWide = wide;
            window.kitCells.widgets.findLast(cell => cell.node.querySelector(".jp-OutputArea-output"))
                .node.querySelector(".jp-OutputArea-output").append(wide);
        }"""
    )
    # The check itself: it sees a sentence that does.
    page.evaluate("window.kitWide.style.width = 'max-content'")
    assert len(page.evaluate(TOUR)["clipped"]) == 1
    page.evaluate("window.kitWide.remove()")


@pytest.mark.parametrize("fixture", PAGES)
def test_no_line_ends_inside_a_word(request, fixture):
    page = request.getfixturevalue(fixture)
    assert page.evaluate(BROKEN_WORDS) == []
    # The check itself: it sees a word that is broken, as the page breaks prints by itself.
    page.evaluate(
        """() => {
            const block = document.querySelector(".kit-report p, .kit-panel p");
            window.kitWide = block.cloneNode();
            window.kitWide.style = "width: 30px; word-break: break-all; font-family: monospace";
            window.kitWide.textContent = "extraordinarily";
            block.after(window.kitWide);
        }"""
    )
    assert page.evaluate(BROKEN_WORDS) == ["extraordinarily"]
    page.evaluate("window.kitWide.remove()")


def test_nothing_pops_up_and_no_page_ends_in_white_space(lesson_page):
    expect(lesson_page.locator(".Toastify__toast, .jp-toast, .jp-Dialog")).to_have_count(0)
    assert lesson_page.evaluate("window.kitCells.notebookConfig.scrollPastEnd") is False
    end = lesson_page.evaluate(
        """async () => {
            const outer = window.kitCells.node.querySelector(".jp-WindowedPanel-outer");
            outer.scrollTop = outer.scrollHeight;
            await new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)));
            const last = window.kitCells.widgets.at(-1).node.getBoundingClientRect();
            return outer.getBoundingClientRect().bottom - last.bottom;
        }"""
    )
    assert 0 <= end < 150


# A menu's choices, as wide as their letters, against the room beside its arrow; and labels.
CUT = """() => {
    const pen = new OffscreenCanvas(1, 1).getContext("2d");
    const labels = [...document.querySelectorAll(".kit-panel .widget-label")].filter(label =>
        label.scrollWidth > label.clientWidth + 1 || label.scrollHeight > 32).map(label => label.innerText);
    return labels.concat([...document.querySelectorAll(".kit-panel select")].flatMap(menu => {
        const look = getComputedStyle(menu);
        pen.font = look.font;
        const room = menu.clientWidth - parseFloat(look.paddingLeft) - parseFloat(look.paddingRight);
        return [...menu.options].map(option => option.text).filter(text => pen.measureText(text).width > room);
    }));
}"""


@pytest.mark.parametrize("fixture", ["page", "cloth_page", "evening_page", "place_page"])
def test_no_label_and_no_choice_of_a_menu_is_cut(request, fixture):
    page = request.getfixturevalue(fixture)
    page.locator(".kit-panel").scroll_into_view_if_needed()
    assert page.locator(".kit-panel select").count() >= 3
    assert page.evaluate(CUT) == []
    # The check itself: a menu of half the width.
    page.evaluate("document.querySelector('.kit-panel select').style.maxWidth = '80px'")
    assert page.evaluate(CUT)
    page.evaluate("document.querySelector('.kit-panel select').style.maxWidth = ''")


CONTROLS = {"slider", "combobox", "textbox", "checkbox", "button", "radio", "spinbutton", "listbox", "image"}


def controls(page: Page, inside: str):
    """Role and name, as a screen reader is told them, of each control and picture in an element."""
    session = page.context.new_cdp_session(page)
    whole = session.send("Runtime.evaluate", {"expression": f"document.querySelector({inside!r})"})["result"]
    tree = session.send("Accessibility.queryAXTree", {"objectId": whole["objectId"]})["nodes"]
    found = [(node["role"]["value"], node.get("name", {}).get("value", "").strip()) for node in tree if "role" in node]
    session.detach()
    return [(role, name) for role, name in found if role in CONTROLS]


@pytest.mark.parametrize(
    ("fixture", "least"), [("home_page", 8), ("page", 18), ("cloth_page", 18), ("evening_page", 17), ("place_page", 13)]
)
def test_a_screen_reader_is_told_the_name_of_every_control(request, fixture, least):
    page = request.getfixturevalue(fixture)
    # What is out of sight is not in the tree.
    page.locator(".kit-panel").first.scroll_into_view_if_needed()
    page.wait_for_timeout(500)
    found = controls(page, ".kit-panel")
    assert len(found) >= least
    assert [role for role, name in found if not name] == []
    assert len({name for role, name in found if role == "slider"}) >= (0 if fixture == "home_page" else 4)


def test_a_control_without_a_name_is_noticed(page):
    page.evaluate("document.querySelector('.kit-panel').insertAdjacentHTML('beforeend', '<input id=bare>')")
    assert ("textbox", "") in controls(page, ".kit-panel")
    page.evaluate("document.getElementById('bare').remove()")


# What has the focus: its name for a screen reader, and whether it lies in the panel.
FOCUS = """() => { const at = document.activeElement; return [at.closest(".kit-panel") !== null,
    at.ariaLabel || at.labels?.[0]?.innerText || at.innerText || at.closest(".widget-text")?.innerText || ""]; }"""


@pytest.mark.parametrize("fixture", ["page", "cloth_page", "evening_page", "place_page"])
def test_tab_leads_through_all_controls_of_a_panel_without_a_mouse(request, fixture):
    page = request.getfixturevalue(fixture)
    page.evaluate("document.querySelector('.kit-panel :is([role=slider], select)').focus()")
    met = []
    for _ in range(80):
        inside, name = page.evaluate(FOCUS)
        if not inside:
            break
        met.append(name.strip())
        page.keyboard.press("Tab")
    labels = [text.strip("\u200b ") for text in page.locator(".kit-panel .widget-label:visible").all_inner_texts()]
    assert len(labels) >= 13
    assert {label for label in labels if label not in {"lengths in", ""}} <= set(met)
    assert {"feet", "metres", RESET} <= set(met)
    assert "" not in met


FAULTS = {
    "an exception in a late cell": "1 / 0",
    "a warning": "import warnings\nwarnings.warn('odd')",
    "words to standard error": "import sys\nprint('odd', file=sys.stderr)",
    "an exception after a pause": "import time\ntime.sleep(0.5)\nraise ValueError('late')",
    "an exception in a callback": "import asyncio\nasyncio.get_running_loop().call_later(0.1, lambda: 1 / 0)",
}


@pytest.mark.parametrize("fault", FAULTS)
def test_what_goes_wrong_in_a_late_cell_is_noticed(chromium, lab, fault):
    cells = [nbformat.v4.new_code_cell("print('first')")]
    cells += [nbformat.v4.new_markdown_cell("Words.\n\n" * 60) for _ in range(4)]
    cells += [nbformat.v4.new_code_cell(FAULTS[fault]), nbformat.v4.new_code_cell("print('last')")]
    _, folder = lab
    name = f"{fault.replace(' ', '_')}.ipynb"
    kernel = {"kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"}}
    nbformat.write(nbformat.v4.new_notebook(cells=cells, metadata=kernel), folder / name)
    page = run_all(chromium, lab, name)
    if "callback" in fault:
        page.wait_for_timeout(500)
    with pytest.raises(AssertionError):
        no_error(page)
    page.close()


def test_an_empty_picture_is_noticed(chromium):
    page = chromium.new_page(viewport={"width": 800, "height": 600})
    page.set_content("<h1>Words alone</h1><img width=600 height=400>")
    assert ink(page.screenshot()) < EMPTY
    page.set_content("<div style='background: linear-gradient(to right, black, white); height: 600px'></div>")
    assert ink(page.screenshot()) > 0.5
    page.close()
