"""What a home-owner installs: the wheel holds the kit and its reference tables, nothing else, and works alone."""

import email
import importlib.util
import json
import os
import subprocess
import sys
import sysconfig
import tomllib
import zipfile
from pathlib import Path

import pytest

import kit
from kit import reference

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def pip(*arguments):
    command = [sys.executable, "-m", "pip", "--disable-pip-version-check", "--quiet", *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    folder = tmp_path_factory.mktemp("wheel")
    # Where the build's own package is there, nothing is fetched.
    isolation = ["--no-build-isolation"] if importlib.util.find_spec("hatchling") else []
    pip("wheel", "--no-deps", *isolation, "--wheel-dir", folder, ROOT)
    (built,) = folder.iterdir()
    return built


@pytest.fixture(scope="module")
def contents(wheel):
    with zipfile.ZipFile(wheel) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


@pytest.fixture(scope="module")
def installed(wheel, tmp_path_factory):
    folder = tmp_path_factory.mktemp("installed")
    pip("install", "--no-deps", "--no-index", "--target", folder, wheel)
    return folder


def test_the_wheel_holds_the_kit_and_its_tables_byte_for_byte_and_nothing_else(contents):
    kinds = ("py", "pyi", "css", "js", "html", "toml", "csv", "txt")
    files = (path for kind in kinds for path in (ROOT / "kit").rglob(f"*.{kind}"))
    expected = {path.relative_to(ROOT).as_posix(): path for path in files}
    expected |= {f"kit/reference_data/{path.name}": path for path in (ROOT / "reference_data").iterdir()}
    for name in ("brick_two_storey", "machines"):
        expected[f"kit/houses/{name}.toml"] = ROOT / "notebooks" / "houses" / f"{name}.toml"
    about = f"facade_light_kit-{PROJECT['version']}.dist-info/"
    # So: no tests, notebooks, caches or notes.
    assert {name for name in contents if not name.startswith(about)} == set(expected)
    assert [name for name, path in expected.items() if contents[name] != path.read_bytes()] == []
    assert {name.removeprefix(about) for name in contents if name.startswith(about)} == {
        "METADATA",
        "RECORD",
        "WHEEL",
        "licenses/LICENSE",
    }
    assert contents[f"{about}licenses/LICENSE"] == (ROOT / "LICENSE").read_bytes()


def test_the_metadata_are_those_of_the_project(contents, wheel):
    assert wheel.name == f"facade_light_kit-{PROJECT['version']}-py3-none-any.whl"
    (raw,) = (data for name, data in contents.items() if name.endswith("/METADATA"))
    metadata = email.message_from_bytes(raw)
    for field, key in (("Name", "name"), ("Version", "version"), ("Summary", "description")):
        assert metadata[field] == PROJECT[key]
    assert metadata["Requires-Python"] == PROJECT["requires-python"]
    assert metadata["License-Expression"] == PROJECT["license"] == "MIT"
    assert metadata["License-File"] == "LICENSE"
    needs = [need for need in metadata.get_all("Requires-Dist") if "extra ==" not in need]
    assert sorted(needs) == sorted(PROJECT["dependencies"])
    extras = [need.partition(";")[0].strip() for need in metadata.get_all("Requires-Dist") if "extra == 'test'" in need]
    assert sorted(extras) == sorted(PROJECT["optional-dependencies"]["test"])
    assert metadata["Description-Content-Type"] == "text/markdown"
    # As many words as the README has: the text may be wrapped, none may be lost.
    assert metadata.get_payload(decode=True).split() == (ROOT / "README.md").read_bytes().split()


HOUSE = """
name = "Our house"
units = "ft"
[[patch]]
name = "wall"
rectangle = { left = -10, bottom = 0, width = 20, height = 15 }
surface = "red brick"
[[patch]]
name = "porch"
rectangle = { left = 4, bottom = 0, width = 4, height = 8 }
depth = 3
surface = "white trim"
"""
ANSWERS = """
front = kit.parse_house(HOUSE)
projector = kit.typical_projector(4000, 1.4)
place = kit.Placement(position=(0, 1, 10), aim=(0, 2, 0))
scene = kit.Scene(facade=front, projectors=[(projector, place)], ambient=kit.Ambient(vertical_illuminance=1.0))
light = kit.light_map(scene, 0.1)
verdict = kit.judge(light)
answers = {
    "tables": {name: len(reference.table(name)) for name in reference.tables()},
    "patches": [patch.name for patch in front.patches],
    "shape": [light.sizes["y"], light.sizes["x"]],
    "white": float(light.white_luminance.sum()),
    "sentence": verdict.sentence(),
}
"""
SCRIPT = f"""
import importlib, json, pkgutil, sys
import kit
from kit import reference
HOUSE = {HOUSE!r}
{ANSWERS}
# Every name that the kit offers is there, not only those that the answers need.
answers["names"] = [name for name in kit.__all__ if getattr(kit, name) is not None]
for module in pkgutil.walk_packages(kit.__path__, "kit."):
    importlib.import_module(module.name)
answers["places"] = sorted({{str(m.__file__) for n, m in sys.modules.items() if n.partition(".")[0] == "kit"}})
answers["path"] = sys.path
print(json.dumps(answers))
"""


def test_the_installed_kit_answers_as_the_checkout_does_without_the_checkout(installed, tmp_path):
    packages = [installed, *dict.fromkeys(map(sysconfig.get_path, ("purelib", "platlib")))]
    # Without `site`, path files do not apply: neither does an editable install of the checkout.
    done = subprocess.run(
        [sys.executable, "-S", "-c", SCRIPT],
        capture_output=True,
        text=True,
        timeout=120,
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(map(str, packages)), "MPLBACKEND": "agg"},
    )
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert str(ROOT) not in found["path"]
    assert found["places"][0] == str(installed / "kit" / "__init__.py")
    rooms = [path.relative_to(ROOT / "kit") for path in (ROOT / "kit").rglob("*.py")]
    assert {Path(place).relative_to(installed / "kit") for place in found["places"]} == set(rooms)
    assert set(found["names"]) == set(kit.__all__)
    assert set(found["tables"]) == {path.stem for path in (ROOT / "reference_data").glob("*.csv")}
    assert all(found["tables"].values())
    here = {"kit": kit, "reference": reference, "HOUSE": HOUSE}
    exec(ANSWERS, here)
    # The same code on the same machine: no tolerance.
    assert {name: found[name] for name in here["answers"]} == here["answers"]
