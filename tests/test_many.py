"""A folder of show files: each judged once, whatever stops in between."""

import json
import os
import shutil
import signal
import subprocess
import sys
import threading
import time

import pandas as pd
import pytest
from panels import HOUSES, ROOT

import kit
from kit.answers import many

SPACING = 0.3


@pytest.fixture
def folder(tmp_path):
    """Five fronts that differ in their light, one that cannot be read, and what is no show."""
    text = (HOUSES / "light_bungalow.toml").read_text()
    for k in range(5):
        (tmp_path / f"house_{k}.toml").write_text(f"ambient = {0.2 + k}\n{text}")
    (tmp_path / "wrong.toml").write_text("ambient = -3\n")
    (tmp_path / "house_1.classes.toml").write_text("version = 1\n")
    shutil.copy(ROOT / "README.md", tmp_path)
    return tmp_path


def by_hand(folder, k):
    show = kit.open_show(folder / f"house_{k}.toml")
    light = kit.light_map(show.scene([show.aimed(show.machine)], show.light(0.2 + k)), SPACING)
    return kit.judge(light, show.target(), draws=512)


def test_each_house_is_judged_and_a_bad_file_is_told_and_what_is_done_is_not_done_again(folder, capsys, monkeypatch):
    found = kit.verdicts(folder, folder / "out.csv", jobs=2, spacing=SPACING)
    assert found["file"].tolist() == [*(f"house_{k}.toml" for k in range(5)), "wrong.toml"]
    assert found["chance"].iloc[3] == by_hand(folder, 3).chance
    assert found["chance"].iloc[:5].is_monotonic_decreasing
    assert "ambient" in found["error"].iloc[5]
    assert "wrong.toml" in found["error"].iloc[5]
    assert found["error"].iloc[:5].eq("").all()
    told = pd.read_csv(folder / "out.csv", keep_default_na=False)
    assert told["error"].tolist() == found["error"].tolist()
    assert "6/6" in capsys.readouterr().err

    # Killed while the last line was written: that house and no other is judged again; a changed file is, too.
    log = folder / "out.jsonl"
    whole = log.read_text()
    log.write_text(whole[:-40])
    (folder / "house_0.toml").write_text((folder / "house_0.toml").read_text().replace("ambient = 0.2", "ambient = 90"))
    lost = json.loads(whole.splitlines()[-1])["file"]
    judged = []
    row = many.verdict_row
    monkeypatch.setattr(many, "verdict_row", lambda *call: judged.append(call[0]) or row(*call))
    monkeypatch.setattr(many, "ProcessPoolExecutor", lambda jobs, _: many_threads())
    again = kit.verdicts(folder, folder / "out.csv", spacing=SPACING)
    assert {os.path.basename(path) for path in judged} == {lost, "house_0.toml"}
    assert again["chance"].iloc[0] < found["chance"].iloc[0]
    pd.testing.assert_frame_equal(again.iloc[1:], found.iloc[1:])
    assert len(log.read_text().splitlines()) == 6


def many_threads():
    from concurrent.futures import ThreadPoolExecutor

    return ThreadPoolExecutor(1)


def test_on_a_cluster_nothing_is_lost_and_nothing_twice_when_a_worker_dies(folder):
    from distributed import LocalCluster

    text = (folder / "house_0.toml").read_text()
    for k in range(5, 16):
        (folder / f"house_{k}.toml").write_text(text)
    out, killed = folder / "out.parquet", []
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None, silence_logs=50) as cluster:

        def kill():
            log = out.with_suffix(".jsonl")
            while not (log.is_file() and log.read_text().count("\n") > 2):
                time.sleep(0.01)
            worker = cluster.workers[0]
            killed.append((worker.pid, log.read_text().count("\n")))
            os.kill(worker.pid, signal.SIGKILL)

        killer = threading.Thread(target=kill, daemon=True)
        killer.start()
        found = kit.verdicts(folder, out, cluster=cluster.scheduler_address, spacing=SPACING)
        killer.join(timeout=20)
    assert killed
    assert killed[0][1] < 17  # in the middle
    assert len(found) == 17
    assert not found["file"].duplicated().any()
    assert found["error"].ne("").sum() == 1
    files = [json.loads(line)["file"] for line in out.with_suffix(".jsonl").read_text().splitlines()]
    assert sorted(files) == sorted(found["file"])
    pd.testing.assert_frame_equal(pd.read_parquet(out), found)


@pytest.mark.bad_input
def test_what_cannot_be_run_is_refused(folder, tmp_path_factory, monkeypatch):
    for call, field in (
        ((tmp_path_factory.mktemp("none"), folder / "a.csv"), "folder"),
        ((folder, folder / "a.xls"), "out"),
        ((folder, folder / "nowhere" / "a.csv"), "out"),
    ):
        with pytest.raises(kit.InputError) as error:
            kit.verdicts(*call)
        assert error.value.field == field
    with pytest.raises(kit.InputError, match="jobs"):
        kit.verdicts(folder, folder / "a.csv", jobs=0)
    monkeypatch.setattr(many, "PATIENCE", "1s")
    for address in ("now", "http://a:1", "tcp://127.0.0.1", "\u00fc", "tcp://127.0.0.1:9"):
        with pytest.raises(kit.InputError, match="cluster"):
            kit.verdicts(folder, folder / "a.csv", cluster=address)


def command(*arguments, folder):
    run = [sys.executable, "-m", "kit", *map(str, arguments)]
    return subprocess.run(
        run, cwd=folder, capture_output=True, text=True, timeout=240, env=os.environ | {"PYTHONPATH": str(ROOT)}
    )


def test_the_commands_check_a_file_and_judge_a_folder(folder):
    right, wrong = command("check", "house_1.toml", folder=folder), command("check", "wrong.toml", folder=folder)
    assert right.returncode == 0
    assert "light of the street 1.2 lx" in right.stdout
    assert wrong.returncode == 1
    assert "ambient" in wrong.stderr
    assert "Traceback" not in wrong.stderr
