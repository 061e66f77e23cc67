"""Notebooks stay small, tidy and free of formulas; nbval runs them and compares their text."""

import ast
import re
from pathlib import Path

import nbformat
import pytest

NOTEBOOKS = sorted((Path(__file__).parents[1] / "notebooks").glob("*.ipynb"))


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.name)
def test_no_pictures_and_no_widget_state_are_stored(path):
    assert path.stat().st_size < 60_000
    notebook = nbformat.read(path, as_version=4)
    assert "widgets" not in notebook.metadata
    for cell in notebook.cells:
        for output in cell.get("outputs", []):
            assert set(output.get("data", {})) <= {"text/html", "text/plain"}, cell.source
            assert output.output_type != "error", cell.source
            assert "data:image" not in str(output), cell.source


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.name)
def test_cells_call_the_kit_and_compute_nothing_themselves(path):
    for cell in nbformat.read(path, as_version=4).cells:
        if cell.cell_type == "code":
            arithmetic = [node for node in ast.walk(ast.parse(cell.source)) if isinstance(node, ast.BinOp)]
            assert not arithmetic, cell.source
            assert len(cell.source.splitlines()) <= 9, cell.source


def test_notebooks_are_numbered_and_begin_with_the_home_page():
    assert NOTEBOOKS[0].name == "00_start_here.ipynb"
    assert [int(path.name[:2]) for path in NOTEBOOKS] == list(range(len(NOTEBOOKS)))


def texts(path):
    return [cell.source for cell in nbformat.read(path, as_version=4).cells if cell.cell_type == "markdown"]


def test_the_home_page_links_to_every_page_and_every_page_links_home():
    home = "\n".join(texts(NOTEBOOKS[0]))
    for path in NOTEBOOKS[1:]:
        assert f"]({path.name})" in home, path.name
        assert "](00_start_here.ipynb)" in "\n".join(texts(path)), path.name


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.name)
def test_links_lead_to_pages_that_are_there(path):
    for target in re.findall(r"\]\((?!http)([^)#]+)\)", "\n".join(texts(path))):
        assert (path.parent / target).exists(), target


def says_too_little(text):
    """Whether a picture's text is no description: a few words, a name of a file or of a thing in the code."""
    words = set(re.findall(r"[^\W\d_]{2,}", text.lower())) - {
        "image",
        "picture",
        "plot",
        "figure",
        "chart",
        "graph",
        "of",
    }
    return len(words) < 6 or re.search(r"\w_\w|\.(png|jpe?g|svg)\b", text) is not None


@pytest.mark.parametrize(
    "text", ["", "a" * 25, "a picture of the picture of a figure", "house_front_with_light_on_it", "house.png " * 9]
)
def test_what_is_no_text_for_a_picture_is_noticed(text):
    assert says_too_little(text)


def picture_texts(source):
    """The text of each picture that a cell shows; None where it is none that stands in the cell."""
    tree = ast.parse(source)
    named = {
        target.id: node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Assign)
        for target in node.targets
        if isinstance(target, ast.Name)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and ast.unparse(node.func) == "kit.show":
            alt = next((word.value for word in node.keywords if word.arg == "alt"), None) or (*node.args, None, None)[1]
            alt = named.get(alt.id) if isinstance(alt, ast.Name) else alt
            yield alt.value if isinstance(alt, ast.Constant) and isinstance(alt.value, str) else None


def test_every_picture_has_a_text_of_its_own_for_those_who_cannot_see_it():
    texts = [
        (path.name, text)
        for path in NOTEBOOKS
        for cell in nbformat.read(path, as_version=4).cells
        if cell.cell_type == "code"
        for text in picture_texts(cell.source)
    ]
    assert len(texts) >= 5
    assert [(name, text) for name, text in texts if text is None or says_too_little(text)] == []
    assert len({text for _, text in texts}) == len(texts)


def test_pages_hold_no_checks_for_developers():
    for path in NOTEBOOKS:
        for cell in nbformat.read(path, as_version=4).cells:
            assert "assert" not in cell.source, (path.name, cell.source)
