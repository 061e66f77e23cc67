"""What the README says is there and works: the pages, the two commands, the house of six measurements."""

import re
from pathlib import Path

import pytest

import kit

ROOT = Path(__file__).parents[1]
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_pages_are_those_that_are_there():
    named = set(re.findall(r"^\| `(\d\d_\w+)` \|", TEXT, re.MULTILINE))
    assert named == {path.stem for path in (ROOT / "notebooks").glob("*.ipynb")}


def test_the_house_of_six_measurements_gets_a_verdict():
    (recipe,) = re.findall(r"```toml\n(.*?)```", TEXT, re.DOTALL)
    house = kit.parse_house(recipe)
    left, right, bottom, top = house.bounds
    # 38 ft by 18 ft.
    assert (right - left, top - bottom) == pytest.approx((11.5824, 5.4864), rel=1e-12)
    middle = 0.5 * (left + right)
    place = kit.Placement(position=(middle, 0.3, 12.0), aim=(middle, 0.3, 0.0))
    scene = kit.Scene(facade=house, projectors=[(kit.typical_projector(8000, 0.8), place)])
    verdict = kit.judge(kit.light_map(scene, 0.1))
    assert [part.name for part in verdict.surfaces] == ["red brick", "window with white shade"]


def test_the_two_commands_set_everything_up():
    commands = re.findall(r"```sh\n(.*?)```", TEXT, re.DOTALL)
    run, test = commands[:2]
    assert "pip install -q -e . &&" in run
    assert (ROOT / run.split()[-1]).is_file()
    assert "pip install -q -e '.[test]' && .venv/bin/pytest" in test
