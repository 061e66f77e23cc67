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
from test_browser import BROKEN_WORDS, CHROMIUM, CUT, ROOT, handle, keep_screenshot, sync_playwright
from test_notebooks import says_too_little

from kit.__main__ import main

pytestmark = pytest.mark.browser

FIRST = "/voila/render/01_which_brightness_class.ipynb"
WIDTH, HEIGHT = 390, 844  # of a common phone, in CSS pixels
NO_KERNEL = "/api/kernels/00000000-0000-0000-0000-000000000000"

# What must stand within the width of the phone: words, and the controls with their labels and values.
PANEL = (
    ".kit-words, .kit-first, .kit-caution, .kit-panel p, .widget-label, .widget-readout, .jupyter-widgets select, "
    ".jupyter-widgets button, .jupyter-widgets input"
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
    """Address, token and log of a server of pages over a copy of the notebooks: the command of the README."""
    shutil.copytree(ROOT / "notebooks", folder / "notebooks")
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    environment = os.environ | {
        "JUPYTER_CONFIG_DIR": str(folder / "config"),
        "JUPYTER_DATA_DIR": str(folder / "data"),
        "PYTHONPATH": str(ROOT),
    }
    command = [sys.executable, "-m", "kit", "pages", "notebooks", *options, "--no-browser", f"--port={port}"]
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
            yield f"http://127.0.0.1:{port}", re.search(r"token=([0-9a-f]{32,})", log.read_text())[1], log
        finally:
            process.terminate()


def status(address):
    """What the server answers, without following it elsewhere."""

    class Stay(urllib.request.HTTPRedirectHandler):
        def redirect_request(self, *_):
            return None

    try:
        with urllib.request.build_opener(Stay, urllib.request.ProxyHandler({})).open(address, timeout=60) as answer:
            return answer.status
    except urllib.error.HTTPError as error:
        with error:
            return error.code


def write_notebook(path, *sources):
    kernel = {"kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"}}
    cells = [nbformat.v4.new_code_cell(source) for source in sources]
    nbformat.write(nbformat.v4.new_notebook(cells=cells, metadata=kernel), path)


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    """Address and token, on this machine alone."""
    folder = tmp_path_factory.mktemp("pages")
    with server(folder) as (address, token, _):
        (folder / "notebooks" / "faults").mkdir()
        write_notebook(folder / "notebooks/faults/late.ipynb", "print('first')", "1 / 0")
        yield address, token


@pytest.fixture(scope="module")
def home_network(tmp_path_factory):
    """Address and token."""
    with server(tmp_path_factory.mktemp("home"), "--home-network") as (address, token, _):
        yield address, token


@pytest.fixture(scope="module")
def chromium():
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"])
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def sent():
    """What pages on the phone sent to other hosts."""
    return []


@pytest.fixture(scope="module")
def visitor(chromium, pages, sent):
    """A phone with the token, which reaches this server and nothing else."""
    address, token = pages
    context = chromium.new_context(
        viewport={"width": WIDTH, "height": HEIGHT}, is_mobile=True, has_touch=True, device_scale_factor=2
    )
    context.route(
        lambda url: not url.startswith(address), lambda route: (sent.append(route.request.url), route.abort())
    )
    page = context.new_page()
    page.goto(f"{address}/?token={token}")
    assert "/voila/render/00_start_here.ipynb" in page.url
    for path in sorted((ROOT / "notebooks").glob("0[1-9]*.ipynb")):
        expect(page.locator(f"a[href='{path.name}']").first).to_be_attached(timeout=60_000)
    page.close()
    return context


def visit(visitor, address, name, ready):
    """Open a page and wait until what is asked for is there, and every picture is drawn."""
    page = visitor.new_page()
    page.goto(f"{address}/voila/render/{name}.ipynb", wait_until="commit")
    page.locator(ready).first.wait_for(timeout=90_000)
    page.wait_for_function("document.querySelector('#rendered_cells').checkVisibility()", timeout=60_000)
    page.locator("text=This page stops when nobody has used it for 30 minutes").wait_for(timeout=60_000)
    page.evaluate("Promise.all([...document.images].map(image => image.decode().catch(() => null)))")
    return page


@pytest.fixture(scope="module")
def phone(visitor, pages):
    """The first page on a phone."""
    page = visit(visitor, pages[0], "01_which_brightness_class", ".kit-verdict")
    yield page
    page.close()


PHONE_PAGES = {
    "01_which_brightness_class": ".kit-verdict",
    "02_does_cloth_pay": ".kit-payoff",
    "03_when_can_the_show_start": ".kit-start",
    "04_where_does_it_stand": ".kit-place",
}


@pytest.fixture(scope="module", params=PHONE_PAGES)
def each(request, visitor, pages):
    """Each page with a panel, in turn."""
    if request.param in FIRST:
        yield request.getfixturevalue("phone")
        return
    page = visit(visitor, pages[0], request.param, PHONE_PAGES[request.param])
    yield page
    page.close()


def test_a_page_shows_words_and_no_code(phone):
    expect(phone.locator(".kit-verdict").first).to_be_visible()
    expect(phone.locator(".kit-verdict").first).to_contain_text("8,000 lm: borderline, 2 chances in 10")
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
    page.goto(f"{pages[0]}/voila/render/faults/late.ipynb", wait_until="commit")
    expect(page.locator(BROKEN).first).to_be_attached(timeout=60_000)
    page.close()


def test_words_and_controls_fit_the_width_of_a_phone(each):
    assert each.evaluate("document.scrollingElement.scrollWidth") <= WIDTH
    assert each.locator(".widget-readout").count() >= 5
    assert each.evaluate(BEYOND, [PANEL, WIDTH]) == []
    assert each.locator(".kit-table").count() >= 2
    assert each.evaluate(FIXED, ".kit-table") == 0
    assert each.evaluate(BROKEN_WORDS) == []


def test_no_choice_of_a_menu_is_cut(each):
    assert each.locator(".jupyter-widgets select").count() >= 4
    assert each.evaluate(CUT) == []
    # The check itself: a menu of half the width.
    each.evaluate("document.querySelector('.jupyter-widgets select').style.maxWidth = '80px'")
    assert each.evaluate(CUT)
    each.evaluate("document.querySelector('.jupyter-widgets select').style.maxWidth = ''")


SMALLEST = 8 * 100 / 72  # letters of a board's picture before it is made smaller [pixels]; test_drawings.py holds it
SCALES = """() => [...document.querySelectorAll("img.kit-picture, img.kit-figure")].map(
    image => image.getBoundingClientRect().width / image.naturalWidth)"""


@pytest.mark.practice
def test_letters_in_pictures_stay_legible_and_pictures_move_sideways(each):
    """9 CSS pixels: a footnote's size, the least that is common for marks on axes."""
    scales = each.evaluate(SCALES)
    assert scales
    assert min(scales) * SMALLEST > 9
    assert each.evaluate(FIXED, "img.kit-picture, img.kit-figure") == 0


def test_nothing_speaks_of_another_programme_or_of_files_of_the_machine(each):
    shown = each.locator("body").inner_text()
    assert "JupyterLab" not in shown
    assert "Run All" not in shown
    assert str(ROOT) not in shown


def test_a_page_sends_nothing_to_another_host(each, visitor, sent):
    each.wait_for_timeout(500)
    assert sent == []
    # The check itself: a page without the server's policy would.
    bare = visitor.new_page()
    bare.set_content("<img src='https://picture.invalid/a.png'>")
    bare.wait_for_timeout(500)
    bare.close()
    assert len(sent) == 1
    sent.clear()


@pytest.mark.practice
@pytest.mark.parametrize("words", [".kit-verdict", ".kit-numbers td", ".widget-label", ".jp-RenderedMarkdown p"])
def test_letters_are_large_enough_to_read(phone, words):
    """12 CSS pixels are common practice for the smallest text on a phone; the page says that it is made for one."""
    assert phone.evaluate("visualViewport.scale") == 1
    assert float(phone.locator(words).first.evaluate("e => parseFloat(getComputedStyle(e).fontSize)")) >= 12


def test_a_slider_moved_by_keyboard_changes_the_verdict(phone):
    words = phone.locator(".kit-verdict").first
    expect(words).not_to_contain_text("10,000 lm:")
    handle(phone, "second machine (lm)").focus()
    for _ in range(8):
        phone.keyboard.press("ArrowRight")
    expect(words).to_contain_text("10,000 lm:")


def test_a_visitor_cannot_run_code_of_their_own(phone, tmp_path):
    file = tmp_path / "written_by_a_visitor"
    assert phone.evaluate(RUN_OWN_CODE, f"open({str(file)!r}, 'w').close()") == ["kernel_info_reply"]
    assert not file.exists()


FILES = ["/voila/tree/houses", "/voila/api/contents/", "/voila/files/which_brightness_class.png"]


@pytest.mark.parametrize("where", ["pages", "home_network"])
@pytest.mark.parametrize("path", [FIRST, NO_KERNEL])
def test_nothing_opens_without_the_token(request, where, path):
    address, token = request.getfixturevalue(where)
    refused = {302, 403}  # 302: to the page that asks for the token
    assert status(address + path) in refused
    assert status(f"{address}{path}?token={'0' * 48}") in refused
    assert status(f"{address}{NO_KERNEL}?token={token}") == 404


@pytest.mark.parametrize("where", ["pages", "home_network"])
@pytest.mark.parametrize("path", FILES)
def test_no_files_are_listed_or_served_to_anyone(request, where, path):
    assert (ROOT / "notebooks/which_brightness_class.png").exists()
    address, token = request.getfixturevalue(where)
    assert status(f"{address}{path}?token={token}") == 404


def test_a_foreign_name_of_this_machine_opens_nothing(pages):
    """A page elsewhere whose name leads here has neither the token nor the cookie."""
    asked = urllib.request.Request(pages[0] + FIRST, headers={"Host": "elsewhere.example"})
    with urllib.request.urlopen(asked, timeout=60) as answer:
        assert b"password" in answer.read()


def test_the_first_address_leads_home_and_asks_for_the_token(home_network):
    with urllib.request.urlopen(home_network[0], timeout=60) as answer:
        assert "/login?next=" in answer.url
        assert "00_start_here" in answer.url


@pytest.mark.skipif(sys.platform != "linux", reason="needs a machine that answers on all of 127.0.0.0/8")
def test_only_the_home_network_command_listens_on_other_addresses(pages, home_network):
    elsewhere = home_network[0].replace("127.0.0.1", "127.0.0.2")
    assert status(elsewhere) == 302
    assert status(pages[0]) == 302
    with pytest.raises(urllib.error.URLError, match="refused"):
        status(pages[0].replace("127.0.0.1", "127.0.0.2"))


def test_pages_are_so_many_at_most_and_stop_when_left_or_closed(chromium, tmp_path):
    """One page at a time, a small one, each until nobody has used it for 15 seconds."""
    with server(tmp_path, "--most=1", "--minutes=0.25") as (address, token, _):
        write_notebook(tmp_path / "notebooks/small.ipynb", "print('small')")
        small = f"{address}/voila/render/small.ipynb"
        context = chromium.new_context()
        page = context.new_page()
        page.goto(f"{small}?token={token}", wait_until="commit")
        page.get_by_text("small", exact=True).wait_for(timeout=90_000)
        other = context.new_page()
        answer = other.goto(small, wait_until="commit")
        assert answer.status == 503
        expect(other.locator("body")).to_contain_text("1 pages are open: close one, then load this one again")
        number = "JSON.parse(document.getElementById('jupyter-config-data').textContent).kernelId"
        kernel = f"{address}/api/kernels/{page.evaluate(number)}?token={token}"
        assert status(kernel) == 200
        for _ in range(120):
            if status(kernel) == 404:
                break
            time.sleep(0.5)
        assert status(kernel) == 404
        page.goto(small, wait_until="commit")
        page.get_by_text("small", exact=True).wait_for(timeout=90_000)
        kernel = f"{address}/api/kernels/{page.evaluate(number)}?token={token}"
        assert status(kernel) == 200
        page.goto("about:blank")
        # Closed, it stops at once, and not only when it has been left for long.
        for _ in range(40):
            if status(kernel) == 404:
                break
            time.sleep(0.25)
        assert status(kernel) == 404
        context.close()


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["no_such_folder"], "path = no_such_folder: there is nothing of this name in"),
        (["notebooks", "--minutes=0"], "minutes = 0, most = 8: some minutes"),
        (["notebooks", "--minutes=nan"], "minutes = nan"),
        (["notebooks", "--minutes=inf"], "minutes = inf"),
        (["notebooks", "--most=0"], "at least one page"),
    ],
)
def test_what_the_command_cannot_do_is_told(arguments, said, capsys):
    with pytest.raises(SystemExit, match="2"):
        main(["pages", arguments[0].replace("notebooks", str(ROOT / "notebooks")), *arguments[1:]])
    assert said in capsys.readouterr().err


def test_a_package_that_is_not_installed_is_named(monkeypatch):
    monkeypatch.setitem(sys.modules, "voila.app", None)
    with pytest.raises(SystemExit, match=r"pip install -e '\.\[pages\]'"):
        main(["pages", str(ROOT / "notebooks")])


def test_the_readme_gives_the_commands_that_are_tested():
    commands = "\n".join(re.findall(r"```sh\n(.*?)```", (ROOT / "README.md").read_text(), re.DOTALL))
    assert ".venv/bin/python -m kit lab notebooks/01_which_brightness_class.ipynb" in commands
    assert ".venv/bin/python -m kit pages notebooks\n" in commands
    assert ".venv/bin/python -m kit pages notebooks --home-network --no-browser\n" in commands
