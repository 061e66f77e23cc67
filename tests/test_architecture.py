import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PHYSICS = (
    "errors",
    "units",
    "reference",
    "projector",
    "throw",
    "facade",
    "raster",
    "ambient",
    "cast",
    "light",
    "verdict",
    "house_file",
    "spectra",
    "layers",
    "cloth",
    "texture",
    "colorimetry",
    "picture_file",
    "payoff",
    "night",
    "ephemeris",
    "sky",
    "photometric_file",
    "luminaire",
    "glare",
    "site",
    "washout",
    "evening",
    "spill",
    "mesopic",
    "placement",
    "several",
    "content_map",
    "audience",
    "beam",
    "lessons",
)
PANELS = ("panel", "class_panel", "cloth_panel", "evening_panel", "place_panel", "lesson_panel")
PICTURES = ("drawing", "charts", "plans")
FRONT = {"matplotlib", "ipywidgets", "IPython", "jupyterlab", *(f"kit.{name}" for name in (*PICTURES, *PANELS))}


def imported(path):
    """Names of the modules that a file imports anywhere in it, inside functions too."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            module = f"kit.{node.module}" if node.level and node.module else node.module or "kit"
            yield module
            yield from (f"{module}.{alias.name}" for alias in node.names)


def matches(name, modules):
    return any(name == module or name.startswith(f"{module}.") for module in modules)


def run(code):
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", code], cwd=ROOT, capture_output=True, text=True, timeout=120
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.split()


def test_every_module_has_its_place():
    names = {path.stem for path in (ROOT / "kit").glob("*.py")} - {"__init__"}
    assert names == {*PHYSICS, *PICTURES, *PANELS}


@pytest.mark.parametrize("name", PHYSICS)
def test_physics_imports_no_plots_and_no_widgets(name):
    found = list(imported(ROOT / "kit" / f"{name}.py"))
    assert found
    assert [module for module in found if matches(module, FRONT)] == []


def test_drawings_import_no_widgets():
    found = list(imported(ROOT / "kit" / "drawing.py"))
    assert any(matches(module, {"matplotlib"}) for module in found)
    assert [module for module in found if matches(module, {"ipywidgets", *(f"kit.{name}" for name in PANELS)})] == []


def test_the_import_finder_finds_imports(tmp_path):
    path = tmp_path / "sample.py"
    path.write_text("def f():\n    from matplotlib import pyplot\nfrom kit import panel\nfrom . import drawing\n")
    found = set(imported(path))
    assert {m for m in FRONT if any(matches(f, {m}) for f in found)} == {
        "matplotlib",
        "kit.panel",
        "kit.drawing",
    }


def test_importing_the_kit_is_light():
    loaded = run("import sys, kit; print(*sys.modules)")
    assert "kit" in loaded
    heavy = {"colour", "matplotlib", "xarray", "pandas", "numpy", "shapely", "ipywidgets"}
    assert heavy.isdisjoint(loaded)


SCENE = """
front = kit.load_house("notebooks/houses/brick_two_storey.toml")
pair = (kit.typical_projector(4000, 1.4), kit.Placement(position=(0, 1, 15), aim=(0, 1, 0)))
verdict = kit.judge(kit.light_map(kit.Scene(facade=front, projectors=[pair]), 0.2))
"""


def test_light_and_verdict_load_neither_colour_nor_plots_nor_widgets():
    loaded = run(f"import sys, kit\n{SCENE}\nassert verdict.sentence\nprint(*sys.modules)")
    assert "kit.light" in loaded
    assert {"colour", "matplotlib", "ipywidgets", "IPython", "kit.drawing", "kit.panel"}.isdisjoint(loaded)


GUARD = """
import sys
def guard(event, args):
    if event.startswith("socket.") and event not in ("socket.__new__",):
        raise RuntimeError(f"network: {event}")
sys.addaudithook(guard)
"""


def test_nothing_is_fetched_at_import_or_while_computing():
    modules = ", ".join(f"kit.{name}" for name in (*PHYSICS, *PICTURES))
    assert run(f"{GUARD}\nimport kit, {modules}\n{SCENE}\nprint('done')") == ["done"]


def test_the_network_guard_guards():
    attempt = "try:\n    socket.getaddrinfo('localhost', 80)\nexcept RuntimeError:\n    print('held')"
    code = f"{GUARD}\nimport socket\n{attempt}"
    assert run(code) == ["held"]
