import ast
import subprocess
import sys
from pathlib import Path

import pytest

import kit

ROOT = Path(__file__).parents[1]
# What lies beside the folders: all may use it, and it uses nothing of them.
BESIDE = {path.stem for path in (ROOT / "kit").glob("*.py")} - {"__init__"}
PLOTS, WIDGETS = {"matplotlib", "IPython"}, {"ipywidgets", "jupyterlab"}


def rooms(folder):
    return sorted(path for path in (ROOT / "kit" / folder).glob("*.py") if path.name != "__init__.py")


def imported(path):
    """Names of the modules that a file imports anywhere in it: inside functions and for types alone, too."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            module = f"kit.{node.module}" if node.level and node.module else node.module or "kit"
            yield from (f"{module}.{alias.name}" for alias in node.names)


def folders_of(names):
    """Which folder, or module beside the folders, each name of the kit belongs to."""
    return {name.split(".")[1] for name in names if name.startswith("kit.")}


def run(code):
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", code], cwd=ROOT, capture_output=True, text=True, timeout=120
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.split()


def test_the_folders_are_those_that_are_there():
    there = {path.parent.name for path in (ROOT / "kit").glob("*/*.py")}
    assert there == set(kit.FOLDERS)


@pytest.mark.parametrize("folder", kit.FOLDERS)
def test_a_folder_imports_only_from_itself_and_from_those_before_it(folder):
    allowed = {*BESIDE, *kit.FOLDERS[: kit.FOLDERS.index(folder) + 1]}
    assert rooms(folder)
    for path in rooms(folder):
        assert folders_of(imported(path)) <= allowed, path


def test_what_lies_beside_the_folders_imports_none_of_them():
    for name in BESIDE:
        assert folders_of(imported(ROOT / "kit" / f"{name}.py")) <= BESIDE, name


def test_no_folder_holds_more_than_a_third_of_the_code():
    sizes = {folder: sum(len(path.read_text().splitlines()) for path in rooms(folder)) for folder in kit.FOLDERS}
    assert max(sizes.values()) <= sum(sizes.values()) / 3, sizes


def test_no_room_imports_one_that_imports_it():
    graph = {}
    for folder in kit.FOLDERS:
        for path in rooms(folder):
            me = f"kit.{folder}.{path.stem}"
            graph[me] = {".".join(name.split(".")[:3]) for name in imported(path) if name.startswith("kit.")} - {me}

    def reaches(start, seen):
        for name in graph.get(start, ()):
            if name not in seen:
                seen.add(name)
                reaches(name, seen)
        return seen

    assert [name for name in graph if name in reaches(name, set())] == []


@pytest.mark.parametrize("folder", [folder for folder in kit.FOLDERS if folder != "views"])
def test_physics_imports_no_plots_and_no_widgets(folder):
    for path in rooms(folder):
        assert {name.split(".")[0] for name in imported(path)}.isdisjoint(PLOTS | WIDGETS), path


def test_drawings_import_no_widgets():
    for name in ("drawing", "charts", "plans"):
        found = {module.split(".")[0] for module in imported(ROOT / "kit" / "views" / f"{name}.py")}
        assert found.isdisjoint(WIDGETS), name


def test_the_import_finder_finds_imports(tmp_path):
    path = tmp_path / "sample.py"
    path.write_text(
        "def f():\n    from matplotlib import pyplot\nfrom kit import views\nfrom kit.wall.cloth import hang\n"
    )
    found = set(imported(path))
    assert found == {"matplotlib.pyplot", "kit.views", "kit.wall.cloth.hang"}
    assert folders_of(found) == {"views", "wall"}


def test_every_public_name_is_there():
    assert len(kit.PUBLIC) > 100
    assert {*kit.PUBLIC} <= {*kit.__all__}
    for name in kit.__all__:
        assert getattr(kit, name) is not None


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
    assert "kit.eye.light_map" in loaded
    assert {"colour", "matplotlib", "ipywidgets", "IPython", "kit.views"}.isdisjoint(loaded)


GUARD = """
import sys
def guard(event, args):
    if event.startswith("socket.") and event not in ("socket.__new__",):
        raise RuntimeError(f"network: {event}")
sys.addaudithook(guard)
"""


def test_nothing_is_fetched_at_import_or_while_computing():
    code = "[getattr(kit, name) for name in kit.__all__]"
    assert run(f"{GUARD}\nimport kit\n{code}\n{SCENE}\nprint('done')") == ["done"]


def test_the_network_guard_guards():
    attempt = "try:\n    socket.getaddrinfo('localhost', 80)\nexcept RuntimeError:\n    print('held')"
    code = f"{GUARD}\nimport socket\n{attempt}"
    assert run(code) == ["held"]


def test_no_type_is_made_a_dataclass_a_second_time():
    """A type of the kit derives from `Frozen`, which makes it one; a decorator on top would lose its declarations."""
    found = [path for path in (ROOT / "kit").rglob("*.py") if "@dataclass(" in path.read_text(encoding="utf-8")]
    assert found == []
