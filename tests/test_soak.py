"""The long attempts of `soak.py`, each for a moment: that they begin with what is right, and notice what is wrong."""

import random
import types
import warnings

import ipywidgets as widgets
import pytest
from soak import PNG, change, fault, files, growth, sums_mended

import kit

LOADS = {"house": kit.load_house, "show": kit.open_show, "lamp": kit.load_distribution, "picture": kit.load_picture}


@pytest.mark.parametrize("what", LOADS)
def test_the_files_to_begin_with_are_read(tmp_path, what):
    path = tmp_path / ("first.toml" if what in ("house", "show") else "first")
    for data in files(what):
        path.write_bytes(data)
        more = {"transparent": "black"} if what == "picture" else {}
        assert fault(lambda path: LOADS[what](path, **more), str(path), kit.InputError) == ("", True)  # noqa: B023


def short(_):
    raise kit.InputError("a", "b", "c")


def wordy(_):
    error = kit.InputError("a", "b", "c")
    error.args = ("x" * 400,)
    raise error


@pytest.mark.parametrize(
    ("load", "said"),
    [
        (lambda _: 1 // 0, "ZeroDivisionError at test_soak.py"),
        (lambda _: warnings.warn("odd", stacklevel=1), "warns odd"),
        (wordy, "400 letters"),
        (short, ""),
    ],
)
def test_a_bad_answer_is_noticed(load, said):
    assert fault(load, "a", kit.InputError)[0].startswith(said)
    assert bool(fault(load, "a", kit.InputError)[0]) is bool(said)


def test_check_sums_of_a_spoilt_png_are_mended(tmp_path):
    whole = next(data for data in files("picture") if data.startswith(PNG))
    assert sums_mended(whole) == whole
    spoilt = bytearray(whole)
    spoilt[29] ^= 1
    assert sums_mended(bytes(spoilt)) == whole
    assert sums_mended(b"GIF89a") == b"GIF89a"
    (tmp_path / "a").write_bytes(sums_mended(whole[:60]))
    with pytest.raises(kit.InputError):
        kit.load_picture(tmp_path / "a")


def test_growth_of_a_panel_is_noticed():
    kept, tick = [], widgets.Checkbox()
    tick.observe(lambda _: kept.append(bytearray(b"x") * 4_000_000), names="value")
    leaky = types.SimpleNamespace(controls={"tick": tick}, parts={"message": widgets.HTML()})
    grown, refused = growth(leaky, 40, random.Random(1))
    assert grown > 80
    assert not refused


def test_changes_move_each_kind_of_control():
    kinds = widgets.Dropdown(options=[("a", 1), ("b", 2), ("c", 3)]), widgets.IntSlider(), widgets.FloatLogSlider()
    chance = random.Random(1)
    for one in (*kinds, widgets.FloatSlider(), widgets.Checkbox(), widgets.Text()):
        seen = set()
        for _ in range(9):
            change([one], chance)
            seen.add(one.value)
        assert len(seen) > 1
