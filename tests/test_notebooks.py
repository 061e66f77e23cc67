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
            assert output.output_type == "stream", cell.source


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


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.name)
def test_every_picture_has_a_text_for_those_who_cannot_see_it(path):
    for cell in nbformat.read(path, as_version=4).cells:
        if cell.cell_type == "code" and "kit.show(" in cell.source:
            assert re.search(r'"[^"]{25,}"', cell.source), cell.source
