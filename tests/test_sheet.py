"""The decision sheet: one page on both papers, readable in grey and by a screen reader, the same for the same input."""

import base64
import io
import re
import shutil
import sys
from itertools import pairwise

import numpy as np
import pypdf
import pypdfium2
import pytest
from panels import ROOT
from PIL import Image
from test_many import many_threads
from test_plans import QUICK, demo, shortlist

import kit
from kit.__main__ import main
from kit.answers import many
from kit.stage.content import save_masks
from kit.views import sheet as room

try:
    import weasyprint  # noqa: F401
except OSError:
    pytest.skip("needs Pango (Debian: apt-get install libpango-1.0-0 libpangoft2-1.0-0)", allow_module_level=True)

FRONT = ROOT / "tests" / "shows" / "split_level.toml"
DAY = "2026-12-05"
WALL = """
name = "w"
units = "m"
[[patch]]
name = "a"
surface = "white stucco"
rectangle = { left = 0, bottom = 0, width = 4, height = 3 }
"""
SIZES = {"A4": (595.3, 841.9), "letter": (612.0, 792.0)}  # ISO 216; 8.5 by 11 inches; in points


@pytest.fixture(scope="module")
def show():
    return kit.open_show(FRONT)


@pytest.fixture(scope="module")
def sheet(show):
    return kit.decision_sheet(show, date=DAY, spacing=0.15)


@pytest.fixture(scope="module")
def pdfs(sheet):
    return {paper: sheet.pdf(paper) for paper in SIZES}


@pytest.fixture(scope="module", params=SIZES)
def pdf(request, pdfs):
    return pypdf.PdfReader(io.BytesIO(pdfs[request.param])), request.param


def pictures(html):
    """The pictures of a page by their names, with their texts."""
    found = re.findall(r'<img src="data:image/png;base64,([^"]+)" alt="([^"]+)" class="(\w+)[^"]*"', html)
    return {name: (Image.open(io.BytesIO(base64.b64decode(data))), alt) for data, alt, name in found}


def grey(picture):
    return np.asarray(picture.convert("L"), float)


# The paper


def test_each_sheet_is_one_page_of_its_paper(pdf):
    reader, paper = pdf
    assert len(reader.pages) == 2
    for page in reader.pages:
        assert tuple(map(float, page.mediabox[2:])) == pytest.approx(SIZES[paper], abs=0.1)
    first, second = (" ".join(page.extract_text().split()) for page in reader.pages)
    for words in ("what to do, what it costs", "How sure it is", "What it takes", "What it rests on", "certificate"):
        assert words in first
    assert "for who makes the pictures" in second
    assert "for who makes the pictures" not in first


def test_letters_shrink_until_the_first_sheet_has_one_page_and_longer_ones_run_on(sheet, monkeypatch):
    monkeypatch.setattr(room, "LETTERS", (6.5, 5.0))

    def pages(times):
        longer = sheet.html.replace("Mind the ladder.", times * "Mind the ladder. ")
        made = pypdf.PdfReader(io.BytesIO(type(sheet)(html=longer, masks={}, paper="A4").pdf()))
        sizes = []

        def note(text, _, matrix, font, size):
            sizes.append(abs(size * matrix[3]) if text.strip() else 0.0)

        made.pages[0].extract_text(visitor_text=note)
        return ["for who makes" in page.extract_text() for page in made.pages].index(True), max(sizes)

    (one, large), (same, small), (more, _) = map(pages, (1, 200, 3000))
    assert (one, same) == (1, 1)
    assert small == pytest.approx(large * 5.0 / 6.5, rel=0.01)
    assert more > 1  # nothing is cut


def test_no_text_lies_beyond_the_paper_and_no_picture_is_cut(pdfs, sheet):
    for data in pdfs.values():
        for page in pypdfium2.PdfDocument(data):
            (wide, high), text = page.get_size(), page.get_textpage()
            boxes = np.array([text.get_charbox(k) for k in range(text.count_chars())])
            assert boxes[:, :2].min() >= 14.0  # half a centimetre
            assert boxes[:, 2].max() <= wide - 14.0
            assert boxes[:, 3].max() <= high - 14.0
    for name, (picture, _) in pictures(sheet.html).items():
        rim = grey(picture)
        edges = np.concatenate([rim[0], rim[-1], rim[:, 0], rim[:, -1]])
        assert edges.min() > 250, name


# Who cannot see, and who prints in grey


def test_the_pdf_is_tagged_with_headings_in_order_and_a_text_for_each_picture(pdf):
    reader, _ = pdf
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert reader.metadata.title.startswith("Split-level")
    assert b"pdfuaid" in root["/Metadata"].get_object().get_data()
    tags = list(walk(root["/StructTreeRoot"]))
    levels = [int(tag["/S"][2]) for tag in tags if re.fullmatch(r"/H\d", tag["/S"])]
    assert levels[0] == 1
    assert len(levels) > 10
    assert all(b <= a + 1 for a, b in pairwise(levels))
    texts = [str(tag["/Alt"]) for tag in tags if tag["/S"] == "/Figure"]
    assert len(texts) == 5
    assert all(len(text) > 40 for text in texts)
    assert any("our brick" in text.lower() for text in texts)  # the ladder, in words
    assert sum(tag["/S"] == "/TH" for tag in tags) > 10


def walk(tag):
    tag = tag.get_object()
    if not isinstance(tag, dict):
        return
    if "/S" in tag:
        yield tag
    below = tag.get("/K", [])
    for one in below if isinstance(below, list) else [below]:
        yield from walk(one)


@pytest.mark.browser
def test_a_checker_of_accessibility_finds_nothing_in_the_page(sheet, tmp_path):
    from axe_playwright_python.sync_playwright import Axe
    from playwright.sync_api import sync_playwright

    chromium = shutil.which("chromium") or pytest.skip("needs Chromium")
    (tmp_path / "sheet.html").write_text(sheet.html, encoding="utf-8")
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        for width in (1280, 390):  # a phone
            page = browser.new_page(viewport={"width": width, "height": 900})
            page.goto(f"file://{tmp_path}/sheet.html")
            found = Axe().run(page)
            assert found.violations_count == 0, found.generate_report()
            assert page.evaluate("document.documentElement.scrollWidth") <= width
        page.set_content("<html><img src='a.png'></html>")
        assert Axe().run(page).violations_count > 0
        browser.close()


def test_in_grey_what_differs_still_differs(sheet, show):
    found = {name: grey(picture) for name, (picture, _) in pictures(sheet.html).items()}
    # Kinds of content, and what lies beside the front: levels that a printer keeps apart.
    levels, counts = np.unique(found["map"], return_counts=True)
    large = levels[counts > 0.02 * found["map"].size]
    content = kit.arrange(show, spacing=0.15).parts
    wanted = len({part.kind for part in content.patches if part.part is not None}) + 1
    assert len(large) >= wanted
    assert min(np.diff(large)) > 40
    # Bars and beams stand out from paper, by the contrast that WCAG 2.1 asks of graphics, 3:1; light is what it is.
    for name in ("ladder", "front"):
        dark = np.percentile(found[name][found[name] < 250], 40)
        assert 1.05 / ((dark / 255) ** 2.2 + 0.05) > 3.0, name
    assert np.ptp(found["nights"]) > 200


# What it says


def test_the_sheet_says_what_the_pages_say(sheet, show):
    made = kit.arrange(show, spacing=0.15)
    text = re.sub(r"\s+", " ", sheet.html).replace("&#39;", "'")
    said = [made.verdict.sentence("ft"), kit.measure_first(made.light, made.target).sentence("ft")]
    said += [made.keep_out.sentence("ft"), show.sentence(), DAY, *show.assumed]
    for words in said:
        assert words in text
    corners = kit.picture_map(made.scene).corners.query("patch == 'front door'")
    assert f"<td>{round(corners['column'].min())} to {round(corners['column'].max())}</td>" in text
    assert "projector of 8,000 lumens: 4,500 (2,500 to 8,000), guess" in text
    assert "brick sends back 0.16: as typed" in text
    assert "grey siding sends back 0.32 (0.16 to 0.52): general trade knowledge, no edition (from memory)" in text
    first = next(shape for shape, _ in [pictures(sheet.html)["nights"]])
    assert first.size[0] > 500


def test_a_price_that_is_typed_is_told_as_such_and_one_beyond_all_classes_is_not_known(tmp_path):
    for lumens, more, said in ((3000, "price = 700", ": 700, typed"), (90000, "", "not known: no class")):
        machine = f'[[machine]]\nname = "m"\nlumens = {lumens}\n{more}\n'
        (tmp_path / "a.toml").write_text(WALL + machine)
        assert said in kit.decision_sheet(kit.open_show(tmp_path / "a.toml"), date=DAY, spacing=0.3).html


def test_the_same_input_makes_the_same_bytes_and_another_day_changes_only_the_date(sheet, show, pdfs):
    later = kit.decision_sheet(show, date="2027-01-09", spacing=0.15)
    assert later.html != sheet.html
    assert later.html.replace("2027-01-09", DAY) == sheet.html
    assert sheet.pdf() == pdfs["letter"]
    assert later.paper == "letter"  # lengths are in feet


def test_what_is_saved_are_the_sheets_and_the_masks_of_the_raster(sheet, show, tmp_path):
    made = kit.arrange(show, spacing=0.15)
    folder = sheet.save(tmp_path / "new")
    masks = save_masks(tmp_path / "masks", made.scene, made.parts, patches=True)
    for mask in masks:
        assert (folder / "pictures" / mask.name).read_bytes() == mask.read_bytes()
    assert {path.name for path in folder.iterdir()} == {"sheet.html", "sheet.pdf", "pictures"}
    assert (folder / "sheet.pdf").read_bytes().startswith(b"%PDF")
    with pytest.raises(kit.InputError, match=r"one without sheet.html, or overwrite=True"):
        sheet.save(folder)


# Plans


@pytest.fixture(scope="module")
def planned():
    return kit.plans(demo(), budget=4000, shortlist=shortlist(ladder=55.0), **QUICK)


def test_a_sheet_of_plans_tells_the_right_one_in_full_beside_others(planned):
    best = planned.winner()
    made = kit.decision_sheet(planned, date=DAY, spacing=0.15)
    text = re.sub(r"\s+", " ", made.html).replace("&#39;", "'")
    light = kit.light_map(planned.scene(best), 0.15)
    for words in (
        planned.sentence("m"),
        kit.judge(light, planned.target).sentence("m"),
        f"Plan {best}, on a finer map",
    ):
        assert words in text
    told = re.findall(r'<th scope="row">plan (\d+)</th><td>(.*?)\.</td>', text)
    numbers = [int(number) for number, _ in told]
    assert numbers[0] == best
    assert set(numbers) <= {best, *planned.budgets().index}
    assert [words.lower() for _, words in told] == [planned.done(k, "m").lower() for k in numbers]
    for item in planned.parts(best):
        assert f"{item.name}: " in text


def test_up_to_four_plans_are_those_that_are_chosen_on_one_tone_curve_and_on_one_page(planned):
    chosen = planned.table.index[::-1][:4].tolist()
    made = kit.decision_sheet(planned, chosen, date=DAY, spacing=0.15)
    assert re.findall(r'<th scope="row">plan (\d+)', made.html) == [str(k) for k in chosen]
    assert [f"Plan {k}, at night" in made.html for k in chosen] == [True] * len(chosen)
    assert "cotton" in planned.done(chosen[0], "m")
    assert "ladder: 55.0, typed" in made.html
    for paper in SIZES:
        assert len(pypdf.PdfReader(io.BytesIO(made.pdf(paper))).pages) == 2
    for wrong in ([len(planned.table) + 1], [0], [1.5], [1, 1, 2, 2, 3], ["1"]):
        with pytest.raises(kit.InputError, match="chosen"):
            kit.decision_sheet(planned, wrong, date=DAY)


# Many, and what is wrong


def test_the_command_writes_a_sheet_for_each_file_and_tells_the_bad_one(tmp_path, monkeypatch, capsys):
    for name in ("one", "two"):
        (tmp_path / f"{name}.toml").write_text(WALL)
    (tmp_path / "wrong.toml").write_text("ambient = -3\n")
    monkeypatch.setattr(many, "ProcessPoolExecutor", lambda jobs, _: many_threads())
    monkeypatch.chdir(tmp_path)
    main(["sheet", ".", "--out", "made", "--date", DAY])
    told = capsys.readouterr()
    assert "2 houses in made, 1 not read" in told.out
    assert "ambient" in told.out
    assert "3/3" in told.err
    written = {path: path.stat().st_mtime_ns for path in (tmp_path / "made").rglob("sheet.*")}
    assert len(written) == 4
    assert DAY in (tmp_path / "made" / "one" / "sheet.html").read_text(encoding="utf-8")
    (tmp_path / "two.toml").write_text(f"ambient = 2\n{WALL}")  # what is done is not done again
    found = kit.sheets(tmp_path, "made", date=DAY)
    now = {path: path.stat().st_mtime_ns for path in written}
    assert {path.parent.name for path in written if now[path] != written[path]} == {"two"}
    assert found["error"].ne("").tolist() == [False, False, True]
    alone = kit.sheets(tmp_path / "one.toml", "made", date=DAY)
    assert alone["sheet"].tolist() == [str(tmp_path / "made" / "one")]


@pytest.mark.bad_input
def test_what_makes_no_sheet_is_refused(sheet, show, tmp_path, monkeypatch):
    for given, field in (({"date": "today"}, "date"), ({"date": DAY, "paper": "A5"}, "paper")):
        with pytest.raises(kit.InputError) as error:
            kit.decision_sheet(show, **given)
        assert error.value.field == field
        with pytest.raises(kit.InputError):
            kit.sheets(FRONT, tmp_path / "out", **given)
    with pytest.raises(kit.InputError, match="in no folder"):
        kit.sheets(FRONT, tmp_path / "none" / "out", date=DAY)
    with pytest.raises(kit.InputError, match="paper"):
        sheet.pdf("A5")
    monkeypatch.setitem(sys.modules, "weasyprint", None)  # not there
    with pytest.raises(kit.InputError, match="apt-get install libpango"):
        sheet.pdf()
    with pytest.raises(kit.InputError, match="sheet"):
        sheet.save(tmp_path / "no")
    assert not (tmp_path / "no").exists()
