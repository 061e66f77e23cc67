"""The notebooks as pages without code, on a phone; and who may open them. The commands are those of the README."""

import os
import re
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from contextlib import contextmanager

import nbformat
import pytest
from playwright.sync_api import expect
from test_browser import CHROMIUM, ROOT, handle, keep_screenshot, sync_playwright
from test_notebooks import says_too_little

pytestmark = pytest.mark.browser

HOME_NETWORK = ["--Voila.ip=0.0.0.0", "--Voila.auto_token=True", "--VoilaConfiguration.file_denylist=.*"]
FIRST = "/voila/render/01_which_brightness_class.ipynb"
WIDTH, HEIGHT = 390, 844  # of a common phone, in CSS pixels
NO_KERNEL = "/api/kernels/00000000-0000-0000-0000-000000000000"

# What must stand within the width of the phone: words, and the controls with their labels and values.
PANEL = (
    ".kit-verdict, .kit-verdict div, .widget-label, .widget-readout, .jupyter-widgets select, .jupyter-widgets button"
)
BEYOND = """([selector, width]) => [...document.querySelectorAll(selector)]
    .filter(e => e.checkVisibility() && e.getBoundingClientRect().right > width)
    .map(e => `${e.className || e.tagName} "${e.innerText.slice(0, 20)}": ${e.getBoundingClientRect().right}`)"""
# Tables are wider than a phone: a finger moves them sideways.
FIXED = """selector => [...document.querySelectorAll(selector)].filter(e => {
    let box = e.parentElement;
    while (box && !["auto", "scroll"].includes(getComputedStyle(box).overflowX)) box = box.parentElement;
    return !box || box.getBoundingClientRect().right > innerWidth;
}).length"""
PICTURES = """() => [...document.querySelectorAll(".jp-OutputArea img")].map(
    image => [image.alt, image.ariaLabel, image.title].find(words => words) || "")"""
# What went wrong in a cell, which a page says on its standard error, or in a widget.
BROKEN = "[data-mime-type$='.stderr'], [data-mime-type$='.error'], .jupyter-widgets-error-widget"
# A visitor who speaks to the kernel directly asks it to run code, then for its name.
RUN_OWN_CODE = """code => new Promise((done, fail) => {
    const kernel = JSON.parse(document.getElementById("jupyter-config-data").textContent).kernelId;
    const socket = new WebSocket(`ws://${location.host}/api/kernels/${kernel}/channels`);
    const send = (kind, content) => socket.send(JSON.stringify({
        channel: "shell", parent_header: {}, metadata: {}, content,
        header: {msg_id: kind, msg_type: kind, username: "", session: "visitor", version: "5.3", date: ""},
    }));
    socket.onopen = () => {
        send("execute_request", {code, silent: false, store_history: false, user_expressions: {}, allow_stdin: false});
        send("kernel_info_request", {});
    };
    const answers = [];
    socket.onmessage = message => {
        const kind = JSON.parse(message.data).header.msg_type;
        if (kind.endsWith("_reply")) answers.push(kind);
        if (kind === "kernel_info_reply") done(answers);
    };
    socket.onerror = () => fail("no socket");
})"""


@contextmanager
def server(folder, *options):
    """Address and log of a server of pages over a copy of the notebooks."""
    shutil.copytree(ROOT / "notebooks", folder / "notebooks")
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    environment = os.environ | {
        "JUPYTER_CONFIG_DIR": str(folder / "config"),
        "JUPYTER_DATA_DIR": str(folder / "data"),
        "PYTHONPATH": str(ROOT),
    }
    command = [sys.executable, "-m", "voila", "--classic-tree", *options, "--no-browser", f"--port={port}", "notebooks"]
    log = folder / "log.txt"
    with (
        log.open("w") as out,
        subprocess.Popen(command, stdout=out, stderr=out, env=environment, cwd=folder) as process,
    ):
        try:
            for _ in range(240):
                if "is running at" in log.read_text():
                    break
                assert process.poll() is None, log.read_text()
                time.sleep(0.25)
            yield f"http://127.0.0.1:{port}", log
        finally:
            process.terminate()


def status(address):
    """What the server answers, without following it elsewhere."""

    class Stay(urllib.request.HTTPRedirectHandler):
        def redirect_request(self, *_):
            return None

    try:
        with urllib.request.build_opener(Stay, urllib.request.ProxyHandler({})).open(address, timeout=10) as answer:
            return answer.status
    except urllib.error.HTTPError as error:
        with error:
            return error.code


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    folder = tmp_path_factory.mktemp("pages")
    with server(folder) as (address, _):
        late = nbformat.v4.new_code_cell("print('first')"), nbformat.v4.new_code_cell("1 / 0")
        kernel = {"kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"}}
        (folder / "notebooks" / "faults").mkdir()
        nbformat.write(nbformat.v4.new_notebook(cells=late, metadata=kernel), folder / "notebooks/faults/late.ipynb")
        yield address


@pytest.fixture(scope="module")
def home_network(tmp_path_factory):
    """Address and token."""
    with server(tmp_path_factory.mktemp("home"), *HOME_NETWORK) as (address, log):
        yield address, re.search(r"token=([0-9a-f]{32,})", log.read_text())[1]


@pytest.fixture(scope="module")
def phone(pages):
    """The first page on a phone that reaches this server and nothing else."""
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        context = browser.new_context(
            viewport={"width": WIDTH, "height": HEIGHT}, is_mobile=True, has_touch=True, device_scale_factor=2
        )
        context.route(lambda url: not url.startswith(pages), lambda route: route.abort())
        page = context.new_page()
        page.goto(pages)
        expect(page.get_by_role("link", name=".ipynb")).to_have_count(len(list((ROOT / "notebooks").glob("*.ipynb"))))
        page.goto(pages + FIRST, wait_until="commit")
        page.locator(".kit-verdict").first.wait_for(timeout=90_000)
        yield page
        browser.close()


def test_a_page_shows_words_and_no_code(phone):
    expect(phone.locator(".kit-verdict").first).to_be_visible()
    expect(phone.locator(".kit-verdict").first).to_contain_text("8,000 lm: not enough")
    expect(phone.get_by_text("all together (independent deviations)")).to_be_attached()
    assert phone.locator(".jp-CodeCell").count() > 5
    assert phone.locator(".jp-CodeCell .jp-InputArea, .jp-InputPrompt, .cm-editor, .highlight").count() == 0
    assert "import kit" not in phone.content()
    assert phone.locator(BROKEN).count() == 0
    keep_screenshot(phone, "page_on_a_phone", phone.locator(".kit-panel img.kit-picture").first)


def test_every_picture_of_a_page_has_a_text(phone):
    texts = phone.evaluate(PICTURES)
    assert len(texts) >= 2
    assert [text for text in texts if says_too_little(text)] == []


def test_what_goes_wrong_in_a_cell_is_noticed(phone, pages):
    page = phone.context.new_page()
    page.goto(f"{pages}/voila/render/faults/late.ipynb", wait_until="commit")
    expect(page.locator(BROKEN).first).to_be_attached(timeout=60_000)
    page.close()


def test_words_and_controls_fit_the_width_of_a_phone(phone):
    assert phone.evaluate("document.scrollingElement.scrollWidth") <= WIDTH
    assert phone.locator(".widget-readout").count() >= 5
    assert phone.evaluate(BEYOND, [PANEL, WIDTH]) == []
    assert phone.locator(".kit-numbers").count() == 2
    assert phone.evaluate(FIXED, ".kit-numbers") == 0


@pytest.mark.practice
@pytest.mark.parametrize("words", [".kit-verdict", ".kit-numbers td", ".widget-label", ".jp-RenderedMarkdown p"])
def test_letters_are_large_enough_to_read(phone, words):
    """12 CSS pixels are common practice for the smallest text on a phone; the page says that it is made for one."""
    assert phone.evaluate("visualViewport.scale") == 1
    assert float(phone.locator(words).first.evaluate("e => parseFloat(getComputedStyle(e).fontSize)")) >= 12


def test_a_slider_moved_by_keyboard_changes_the_verdict(phone):
    words = phone.locator(".kit-verdict").first
    expect(words).not_to_contain_text("10,000 lm:")
    handle(phone, "second class (lm)").focus()
    for _ in range(8):
        phone.keyboard.press("ArrowRight")
    expect(words).to_contain_text("10,000 lm:")


def test_a_visitor_cannot_run_code_of_their_own(phone, tmp_path):
    file = tmp_path / "written_by_a_visitor"
    assert phone.evaluate(RUN_OWN_CODE, f"open({str(file)!r}, 'w').close()") == ["kernel_info_reply"]
    assert not file.exists()


@pytest.mark.parametrize("path", ["/", "/voila/tree/houses", FIRST, "/voila/api/contents/", NO_KERNEL])
def test_on_the_home_network_nothing_opens_without_the_token(home_network, path):
    address, _ = home_network
    refused = {302, 403}  # 302: to the page that asks for the token
    assert status(address + path) in refused
    assert status(f"{address}{path}?token={'0' * 48}") in refused


@pytest.mark.parametrize(
    ("path", "answer"), [("/", 200), ("/voila/tree/houses", 200), ("/voila/api/contents/", 200), (NO_KERNEL, 404)]
)
def test_on_the_home_network_the_token_opens(home_network, path, answer):
    address, token = home_network
    assert status(f"{address}{path}?token={token}") == answer


def test_the_page_that_asks_for_the_token_is_where_one_is_sent(home_network):
    with urllib.request.urlopen(home_network[0] + FIRST, timeout=10) as answer:
        assert "/login?next=" in answer.url
        assert b"password" in answer.read()


def test_files_beside_the_notebooks_are_not_served(home_network):
    """Pictures would be, without a token: the server keeps its tokens for pages."""
    address, token = home_network
    for path in ("which_brightness_class.png", "houses/brick_two_storey.toml"):
        assert (ROOT / "notebooks" / path).exists()
        assert status(f"{address}/voila/files/{path}?token={token}") == 403


@pytest.mark.skipif(sys.platform != "linux", reason="needs a machine that answers on all of 127.0.0.0/8")
def test_only_the_home_network_command_listens_on_other_addresses(pages, home_network):
    elsewhere = home_network[0].replace("127.0.0.1", "127.0.0.2")
    assert status(elsewhere) == 302
    assert status(pages) == 200
    with pytest.raises(urllib.error.URLError, match="refused"):
        status(pages.replace("127.0.0.1", "127.0.0.2"))


def test_the_readme_gives_the_command_that_is_tested():
    command = " ".join(HOME_NETWORK).replace(
        "--VoilaConfiguration.file_denylist=.*", '"--VoilaConfiguration.file_denylist=.*"'
    )
    assert f".venv/bin/voila --classic-tree --no-browser {command} notebooks" in (ROOT / "README.md").read_text()
