"""Notebooks stay small, tidy and free of formulas; nbval runs them and compares their text."""

import ast
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


def test_notebooks_are_numbered_and_there_is_a_first_one():
    assert NOTEBOOKS
    assert [int(path.name[:2]) for path in NOTEBOOKS] == list(range(1, len(NOTEBOOKS) + 1))
