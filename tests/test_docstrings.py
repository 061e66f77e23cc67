"""The examples in docstrings give what they say, and the most used names have one."""

import doctest
import importlib
from pathlib import Path

import numpy as np
import pytest

import kit

ROOT = Path(__file__).parents[1]
WITH_EXAMPLES = [
    ".".join(path.relative_to(ROOT).with_suffix("").parts)
    for path in sorted((ROOT / "kit").rglob("*.py"))
    if ">>> " in path.read_text(encoding="utf-8")
]


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_examples_give_what_they_say(name, monkeypatch):
    monkeypatch.chdir(ROOT)  # where the house files are
    with np.printoptions(legacy=False):  # a library that loads with colour changes how numbers print
        found = doctest.testmod(importlib.import_module(name))
    assert found.attempted
    assert not found.failed


@pytest.mark.parametrize(
    "name",
    [*("Facade", "Patch", "Projector", "Surface", "cover", "light_map", "load_house", "pay_off"), "typical_projector"],
)
def test_the_most_used_names_have_an_example(name):
    assert ">>> " in getattr(kit, name).__doc__
