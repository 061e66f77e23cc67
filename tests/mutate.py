"""Mutation testing, on demand: spoil rooms of the kit, one small change at a time, and run their own tests alone.

    python -m pip install mutmut==3.8.1
    python tests/mutate.py source/placement light eye/glare

A room is a file of the kit, or a folder of them. Each change is tried in a process of its own, forked from one in which
the packages are loaded already, on a copy of the checkout; only tests that run the changed lines are run, quickest
first, until one fails. What no test notices is listed. ``--share 0.2`` tries a fifth of the changes.

Changed are operators, comparisons, numbers, conditions, arguments, assignments and names in quotes, by the rules of
mutmut. Left alone are annotations, decorators and what reads as a sentence or follows ``raise``: words are no physics.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import gc
import importlib
import json
import os
import random
import re
import resource
import shutil
import signal
import sys
import tempfile
import time
import tomllib
import traceback
from collections.abc import Iterator, Set
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import libcst as cst
from libcst.metadata import MetadataWrapper, PositionProvider
from mutmut.mutation.mutators import mutation_operators

ROOT = Path(__file__).resolve().parents[1]
TESTS = Path(__file__).with_name("mutate.toml")
REFUSALS = Path("tests/test_refusals.py")
COPIED = ("kit", "tests", "reference_data", "notebooks/houses", "pyproject.toml", "README.md", "DEVELOPERS.md")
# Packages that do not bear being forked once they are loaded.
NOT_AHEAD = {"mitsuba", "drjit", "playwright", "greenlet", "kit", "conftest"}
# Arguments of declarations that are words for people.
FOR_PEOPLE = {"label", "meaning", "symbol", "unit", "reading", "nothing", "form", "name", "title"}
MEMORY = 8 * 1024**3  # of one mutant's process [bytes]
TYPES = re.compile(r"(NDArray|tuple|list|dict|Callable|Mapping|Sequence|Literal|TypeVar)\b[\[(]")
KILLED, SURVIVED, TIMEOUT, UNTESTED = "killed", "survived", "timeout", "untested"


@dataclass(frozen=True)
class Mutant:
    """One change: the lines that it touches, what stood there and what stands there now."""

    source: str
    first: int
    last: int
    was: str
    becomes: str


class Visitor(cst.CSTVisitor):
    """Collects what may be put in place of each node."""

    METADATA_DEPENDENCIES = (PositionProvider,)

    def __init__(self) -> None:
        self.changes: list[tuple[cst.CSTNode, cst.CSTNode, int, int]] = []

    def on_visit(self, node: cst.CSTNode) -> bool:
        if _left_alone(node):
            return False
        where = self.get_metadata(PositionProvider, node, None)
        if where is not None:
            for kind, operator in mutation_operators:
                if isinstance(node, kind):
                    found = list(operator(node))
                    # One change of a name in quotes will do.
                    for changed in found[:1] if isinstance(node, cst.BaseString) else found:
                        if not _is_idle(node, changed):
                            self.changes.append((node, changed, where.start.line, where.end.line))
        return True


def _left_alone(node: cst.CSTNode) -> bool:
    if isinstance(node, cst.Annotation | cst.Decorator | cst.Raise | cst.Import | cst.ImportFrom | cst.TypeAlias):
        return True
    if isinstance(node, cst.If):
        return cst.Module([]).code_for_node(node.test) in ("TYPE_CHECKING",)
    if isinstance(node, cst.Call):
        return cst.Module([]).code_for_node(node.func) in ("len", "isinstance", "cast", "TypeVar", "np.errstate")
    if isinstance(node, cst.SimpleString | cst.ConcatenatedString | cst.FormattedString):
        text = cst.Module([]).code_for_node(node)
        return isinstance(node, cst.SimpleString) and (" " in text or len(text) < 3 or text[:3] in ('"""', 'r""'))
    if isinstance(node, cst.Arg) and node.keyword is not None:
        return node.keyword.value in FOR_PEOPLE
    return False


def _is_idle(node: cst.CSTNode, changed: cst.CSTNode) -> bool:
    """Whether a change touches words for people, a type alone, or the type into which numbers come anyway."""
    if isinstance(node, cst.Assign) and TYPES.match(cst.Module([]).code_for_node(node.value)):
        return True
    if not isinstance(node, cst.Call) or not isinstance(changed, cst.Call):
        return False
    kept = {id(arg) for arg in changed.args}
    gone = [arg for arg in node.args if id(arg) not in kept]
    return bool(gone) and all(
        _left_alone(arg) or _left_alone(arg.value) or (isinstance(arg.value, cst.Name) and arg.value.value == "float")
        for arg in gone
    )


def mutants(source: str) -> list[Mutant]:
    """Return all changes of a file's source that still compile, each once."""
    module = cst.parse_module(source)
    visitor = Visitor()
    wrapper = MetadataWrapper(module, unsafe_skip_copy=True)
    wrapper.visit(visitor)
    code = wrapper.module.code_for_node
    found: dict[str, Mutant] = {}
    for node, changed, first, last in visitor.changes:
        result = wrapper.module.deep_replace(node, changed)
        text = result.code
        if text == source or text in found:
            continue
        with contextlib.suppress(SyntaxError):
            compile(text, "room", "exec", dont_inherit=True)
            was, becomes = (" ".join(code(part).split()) for part in (node, changed))
            found[text] = Mutant(text, first, last, was, becomes)
    return list(found.values())


def rooms(names: list[str]) -> list[Path]:
    """Return the files of the kit that are named, in order; a folder stands for all of its files."""
    found: list[Path] = []
    for name in names:
        place = ROOT / "kit" / name
        files = [path for path in sorted(place.glob("*.py")) if path.stem != "__init__"]
        if not files and (path := place.with_suffix(".py")).is_file():
            files = [path]
        if not files:
            sys.exit(f"{name}: no room or folder of kit/")
        found += files
    return found


def own_tests(room: str, table: dict[str, list[str]]) -> list[str]:
    """Return the files of a room's own tests: those of the table, or the one of the room's name."""
    names = table.get(room, [f"test_{room.split('/')[-1]}.py"])
    missing = [name for name in names if not (ROOT / "tests" / name).is_file()]
    return [] if missing else [*(f"tests/{name}" for name in names), str(REFUSALS)]


def defined(source: str) -> set[str]:
    """Return the names of all classes and functions of a file."""
    kinds = ast.ClassDef | ast.FunctionDef
    return {node.name for node in ast.walk(ast.parse(source)) if isinstance(node, kinds)}


class Plugin:
    """What the tests are run with: nothing is shrunk, and each test's time and lines are kept, if asked for.

    Of the generated refusals only those of the room's own types and functions are run, whose names are `names`.
    """

    def __init__(self, names: Set[str] = frozenset(), coverage: Any = None) -> None:
        self.coverage = coverage
        self.names = names
        self.seconds: dict[str, float] = {}

    def pytest_collection_modifyitems(self, items: list[Any]) -> None:
        if self.names:
            items[:] = [item for item in items if item.path.name != REFUSALS.name or self._own(item)]

    def _own(self, item: Any) -> bool:
        case = getattr(item, "callspec", None)
        return case is not None and re.split(r"[.(]", case.id)[0] in self.names

    def pytest_configure(self) -> None:
        from hypothesis import Phase, settings

        phases = (Phase.explicit, Phase.generate)
        settings.register_profile("mutation", settings.get_profile("kit"), phases=phases, database=None)
        settings.load_profile("mutation")

    def pytest_runtest_logstart(self, nodeid: str) -> None:
        if self.coverage is not None:
            self.coverage.switch_context(nodeid)

    def pytest_runtest_logreport(self, report: Any) -> None:
        self.seconds[report.nodeid] = self.seconds.get(report.nodeid, 0.0) + report.duration


def run_tests(tests: list[str], plugin: Plugin) -> int:
    """Run tests in this process, which is of no further use afterwards."""
    import pytest

    options = ["-x", "-q", "-o", "addopts=", "--strict-markers", "--no-header", "--tb=short"]
    # Plugins are there before pytest comes to them; they need no rewriting.
    options += ["-W", "ignore::pytest.PytestAssertRewriteWarning"]
    if os.environ.get("NUMBA_DISABLE_JIT"):  # what is compiled divides by 0 without a word
        options += ["-W", "ignore::RuntimeWarning"]
    for name in ("xdist", "nbval", "benchmark", "cacheprovider"):
        options += ["-p", f"no:{name}"]
    return int(pytest.main([*options, *tests], plugins=[plugin]))


def forked(task: Any, cpu: float, verbose: bool = False) -> tuple[int, bytes]:
    """Run `task`, which returns a code and bytes, in a process of its own; return its wait status and the bytes."""
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(read)
        code = 99
        try:
            # Processor time: a busy machine is no hang. The alarm ends what waits without working.
            resource.setrlimit(resource.RLIMIT_CPU, (int(cpu) + 1, int(cpu) + 5))
            resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
            signal.alarm(60 + 20 * int(cpu))
            if not verbose:
                quiet = os.open(os.devnull, os.O_WRONLY)
                os.dup2(quiet, 1)
                os.dup2(quiet, 2)
            code, said = task()
            with os.fdopen(write, "wb") as file:
                file.write(said)
        except BaseException:
            traceback.print_exc()
        finally:
            sys.stdout.flush()
            os._exit(code)
    os.close(write)
    with os.fdopen(read, "rb") as file:
        said = file.read()
    return os.waitpid(child, 0)[1], said


def survey(file: Path, tests: list[str], verbose: bool) -> dict[str, Any]:
    """Return, of the unchanged room: seconds of each test, tests by line, and the modules that were loaded."""

    def task() -> tuple[int, bytes]:
        import coverage

        watch = coverage.Coverage(data_file=None, config_file=False, include=[str(file)])
        watch.start()
        plugin = Plugin(defined(file.read_text(encoding="utf-8")), watch)
        code = run_tests(tests, plugin)
        watch.stop()
        lines = watch.get_data().contexts_by_lineno(str(file))
        loaded = [
            name for name, module in sys.modules.items() if "site-packages" in str(getattr(module, "__file__", ""))
        ]
        return code, json.dumps({"seconds": plugin.seconds, "lines": lines, "loaded": loaded}).encode()

    status, said = forked(task, 600.0, verbose)
    if status != 0:
        sys.exit(f"{file.name}: its own tests fail before anything is changed: {' '.join(tests)}")
    return json.loads(said)


def load_ahead(names: list[str]) -> None:
    """Load packages once, so that no mutant has to wait for them."""
    import warnings

    for name in names:
        if name.split(".")[0] not in NOT_AHEAD and "pytestplugin" not in name and "pytest_plugin" not in name:
            with contextlib.suppress(Exception), warnings.catch_warnings():
                warnings.simplefilter("ignore")
                importlib.import_module(name)
    # What is there to stay need not be searched for garbage in each process.
    gc.collect()
    gc.freeze()


def outcome(file: Path, mutant: Mutant, stamp: int, tests: list[str], cpu: float) -> str:
    """Return what the tests say to a mutant."""
    file.write_text(mutant.source, encoding="utf-8")
    # A time of its own for each, by which Python tells that what it has compiled is stale.
    os.utime(file, (stamp, stamp))
    status, _ = forked(lambda: (run_tests(tests, Plugin()), b""), cpu)
    if os.WIFSIGNALED(status):
        return TIMEOUT
    # Passed, failed; 2 to 4: not even collected, as where a test's name follows from the room.
    if os.WEXITSTATUS(status) not in range(5):
        sys.exit(f"{file.name}: the tests did not run: {mutant.was}  ->  {mutant.becomes}")
    return SURVIVED if os.WEXITSTATUS(status) == 0 else KILLED


def try_room(file: Path, tests: list[str], share: float, verbose: bool) -> Iterator[tuple[Mutant, str]]:
    """Yield each mutant of a room with what came of it."""
    source = file.read_text(encoding="utf-8")
    known = survey(file, tests, verbose)
    load_ahead(known["loaded"])
    seconds: dict[str, float] = known["seconds"]
    by_line = {int(line): names for line, names in known["lines"].items()}
    everything, total = sorted(seconds, key=seconds.__getitem__), sum(seconds.values())
    chosen = mutants(source)
    if share < 1.0:
        chosen = random.Random(0).sample(chosen, round(share * len(chosen)))
    try:
        same = Mutant(source, 1, 1, "", "")
        if outcome(file, same, 999_999_999, everything, 600.0) != SURVIVED:
            sys.exit(f"{file.name}: its own tests fail on the unchanged room when they are run as for a mutant")
        for i, mutant in enumerate(chosen):
            names = {name for line in range(mutant.first, mutant.last + 1) for name in by_line.get(line, ())}
            picked = sorted(names - {""}, key=seconds.__getitem__)
            needed = sum(seconds[name] for name in picked)
            if "" in names or needed > 0.5 * total:  # what runs at import is run by all
                picked, needed = everything, total
            result, stamp = SURVIVED, 1_000_000_000 + 2 * i
            if picked:
                result = outcome(file, mutant, stamp, picked, 10.0 + 5.0 * needed)
            # What is remembered from one test to the next runs in the first one alone: all have a say.
            if result == SURVIVED and len(picked) < len(everything):
                result = outcome(file, mutant, stamp + 1, everything, 10.0 + 5.0 * total)
            yield mutant, UNTESTED if result == SURVIVED and not picked else result
    finally:
        file.write_text(source, encoding="utf-8")


def main() -> int:
    """Mutate the rooms named on the command line; 0 if enough mutants die."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("rooms", nargs="+", help="as source/placement, or a folder as light")
    parser.add_argument(
        "--share", type=float, default=1.0, help="of the changes that are tried, the same ones each time"
    )
    parser.add_argument("--least", type=float, default=0.95, help="share of the mutants that has to die")
    parser.add_argument("--verbose", action="store_true", help="show the tests of the unchanged room")
    given = parser.parse_args()
    table = tomllib.loads(TESTS.read_text(encoding="utf-8"))
    explained = {(e["room"], e["was"], e["becomes"]): e["why"] for e in table.get("explained", [])}
    files = rooms(given.rooms)
    good = True
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder)
        for name in COPIED:
            if (ROOT / name).is_dir():
                shutil.copytree(ROOT / name, copy / name, ignore=shutil.ignore_patterns("__pycache__", "*.pyc"))
            elif (ROOT / name).exists():
                shutil.copy(ROOT / name, copy / name)
        os.chdir(copy)
        os.environ["PYTHONPATH"] = str(copy)
        os.environ["NUMBA_CACHE_DIR"] = str(copy / "numba")
        sys.path[0] = str(copy)
        for path in files:
            room = path.relative_to(ROOT / "kit").with_suffix("").as_posix()
            tests = own_tests(room, table["tests"])
            if not tests:
                print(f"{room}: no tests of its own are there; {TESTS.name} may name them")
                good = False
                continue
            start = time.monotonic()
            counts = dict.fromkeys((KILLED, TIMEOUT, SURVIVED, UNTESTED, "explained"), 0)
            for mutant, result in try_room(copy / path.relative_to(ROOT), tests, given.share, given.verbose):
                why = explained.get((room, mutant.was, mutant.becomes))
                counts["explained" if why and result in (SURVIVED, UNTESTED) else result] += 1
                if result in (SURVIVED, UNTESTED):
                    print(f"  kit/{room}.py:{mutant.first}: {result}: {mutant.was}  ->  {mutant.becomes}")
                    print(f"      explained: {why}" if why else "", end="\n" if why else "", flush=True)
            total = sum(counts.values())
            share = (counts[KILLED] + counts[TIMEOUT] + counts["explained"]) / total if total else 1.0
            good &= share >= given.least
            rest = ", ".join(f"{count} {name}" for name, count in counts.items() if count)
            spent = time.monotonic() - start
            print(f"{room}: {total} mutants, {share:.1%} die ({rest}), {spent:.0f} s", flush=True)
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
