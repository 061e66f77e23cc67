"""Many houses: a folder of show files, a verdict on each, one table; what stops goes on where it stopped."""

import json
import os
import re
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from importlib.util import find_spec
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from kit.answers.show import open_show
from kit.decision.verdict import judge
from kit.errors import InputError
from kit.eye.light_map import light_map
from kit.fields import SPACING, Number
from kit.files import fingerprint
from kit.results import Frame
from kit.toml_file import write_text

KINDS, PATIENCE = (".csv", ".parquet"), "10s"
JOBS = Number(label="jobs", low=1, high=256, whole=True, optional=True)


def verdict_row(path: str, spacing: float) -> dict[str, Any]:
    """Return the verdict on a show as it stands, its brightest machine before it."""
    show = open_show(path)
    scene = show.scene([show.aimed(show.machine)], show.light(show.full.ambient))
    found = judge(light_map(scene, spacing), show.target(), draws=512)
    figures = {"lit": found.front.lit_share, "verdict": found.status, "chance": found.chance}
    return {"house": show.house.name, "machine": show.machine.name, **figures, "words": found.sentence(show.units)}


def _tried(work: Callable[..., dict[str, Any]], path: str, mark: str, *given: Any) -> dict[str, Any]:
    """Return what is found of a file, or what is wrong with it."""
    row: dict[str, Any] = {"file": Path(path).name, "mark": mark, "error": ""}
    try:
        return row | work(path, *given)
    except InputError as error:
        return row | {"error": str(error)}


@contextmanager
def _workers(cluster: str, jobs: int | None, work: Callable[..., Any]) -> Iterator[Callable[[Any], Iterator[Any]]]:
    """Give a function that yields the result of each of some calls as it comes: of a dask cluster, or of all cores."""
    if cluster:
        try:
            from distributed import Client
            from distributed import as_completed as completed
        except ImportError:
            raise InputError("cluster", cluster, "one package more: pip install -e '.[cluster]'") from None
        with Client(cluster, timeout=PATIENCE) as at:
            # The houses of a worker that dies go to another one.
            yield lambda calls: (one.result() for one in completed([at.submit(work, *c, pure=False) for c in calls]))
    else:
        # Anew, not a copy of this process and its threads.
        with ProcessPoolExecutor(jobs or os.cpu_count(), get_context("spawn")) as pool:
            yield lambda calls: (one.result() for one in as_completed([pool.submit(work, *call) for call in calls]))


def verdicts(
    folder: str | Path, out: str | Path, *, cluster: str = "", jobs: int | None = None, spacing: float = 0.1
) -> Frame:
    """Judge all show files of a folder, and write one table, a row for each; one that cannot be read says why there.

    Parameters
    ----------
    folder, out : str or Path
        With the show files; of the table, ``.csv`` or ``.parquet``. What is done stands beside it in ``.jsonl`` as it
        comes: the same call again does only what is left, new or changed.
    cluster : str
        Address of a dask scheduler, whose workers see the folder; empty: the cores of this machine.
    jobs, spacing : int, float
        Processes, as many as cores if not given; pixel size of the maps [m].

    Raises
    ------
    InputError
        For a folder without show files, a table of another kind, or a cluster that does not answer.
    """
    table, step = Path(out), SPACING.check("spacing", spacing)
    if table.suffix == ".parquet" and not find_spec("pyarrow"):
        raise InputError("out", str(out), "one package more for Parquet: pip install -e '.[cluster]'; or a .csv")
    if table.suffix not in KINDS or not table.absolute().parent.is_dir():
        raise InputError("out", str(out), f"a file in a folder that is there, {' or '.join(KINDS)}")
    found = each(folder, table.with_suffix(".jsonl"), verdict_row, step, cluster=cluster, jobs=jobs)
    found.to_parquet(table) if table.suffix == ".parquet" else found.to_csv(table, index=False)
    return found


def each(
    folder: str | Path, log: Path, work: Callable[..., Any], *given: Any, cluster: str = "", jobs: int | None = None
) -> Frame:
    """Return what `work` finds of each show file of a folder, a row each, or what is wrong with it; of one file, too.

    What is done stands in `log` as it comes: the same call again does only what is left, new or changed.
    """
    import pandas as pd
    from tqdm import tqdm

    many, there = JOBS.check("jobs", jobs), Path(folder).absolute()
    if cluster and not re.fullmatch(r"(tcp|tls)://[\w.:\[\]-]+:\d{1,5}", cluster, re.ASCII):
        raise InputError("cluster", cluster, "the address of a dask scheduler, such as tcp://192.168.1.5:8786")
    # Neither shortlists nor settings of panels.
    files = sorted(f for f in there.glob("*.toml") if "." not in f.stem and f.name != "machines.toml")
    files = [there] if there.is_file() else files
    if not files:
        raise InputError("folder", str(folder), "a folder with show files, *.toml")
    marks = {file.name: " ".join([fingerprint(file), *map(str, given)]) for file in files}
    lines = log.read_text(encoding="utf-8").split("\n")[:-1] if log.is_file() else []  # the last may have been cut
    done = {row["file"]: row for row in map(json.loads, lines) if marks.get(row["file"]) == row["mark"]}
    write_text("table", log, "".join(f"{json.dumps(row)}\n" for row in done.values()))
    left = [(work, str(file), marks[file.name], *given) for file in files if file.name not in done]
    try:
        with _workers(cluster, many, _tried) as results, log.open("a", 1, encoding="utf-8") as kept:
            for row in tqdm(results(left), total=len(files), initial=len(done), unit="house"):
                kept.write(f"{json.dumps(row)}\n")
                done[row["file"]] = row
    except OSError as error:
        raise InputError("cluster", cluster, f"the address of a dask scheduler ({error})") from None
    return pd.DataFrame([done[file.name] for file in files]).drop(columns="mark")
