"""The glossary: all that is declared, each with a meaning and a place that is there."""

import dataclasses
import re
from pathlib import Path

import pytest

import kit
from kit.fields import Number, specs
from kit.quantities import QUANTITIES

ROOT = Path(__file__).parents[1]
# As people read them; times of the clock and shares have none.
UNITS = {
    "", "1/degree", "1/h", "cd/m²", "degrees", "degrees from north, clockwise", "degrees, east positive", "h",
    "kg/m²", "lm", "lx", "lx/lm", "m", "mag per air mass", "mag/arcsec2", "min", "mm", "m³/s", "pixels", "s", "USD",
    "USD/m²", "V", "W", "W/m²", "years", "°C", "dB",
}  # fmt: skip


@pytest.fixture(scope="module")
def table():
    return kit.glossary()


def public_types():
    public = {name: getattr(kit, name) for name in kit.PUBLIC}
    return {name: kind for name, kind in public.items() if isinstance(kind, type) and dataclasses.is_dataclass(kind)}


def test_each_row_says_what_a_number_is_in_which_unit_and_where(table):
    assert table.columns.tolist() == ["symbol", "unit", "meaning", "where"]
    assert table.index.tolist() == sorted(table.index)
    assert set(table["unit"]) <= UNITS
    for name, row in table.iterrows():
        assert re.fullmatch(r"[a-z_]+", name)
        assert row["meaning"].strip(), name
        assert row["where"].strip(), name
        assert len(row["symbol"]) <= 4, name


def test_every_place_is_there_and_has_the_number(table):
    kinds = public_types()
    for name, where in zip(table.index, table["where"], strict=True):
        for place in where.split(", "):
            thing = place.removeprefix("kit.")
            if thing in kinds:
                assert name in specs(kinds[thing]), (name, place)
            else:
                assert place == "computed"
                assert name in QUANTITIES


def test_nothing_that_is_declared_is_missing(table):
    units = {}
    for name, unit, where in zip(table.index, table["unit"], table["where"], strict=True):
        for place in where.split(", "):
            units.setdefault((name, place), []).append(unit)
    assert {name for name, place in units if place == "computed"} == set(QUANTITIES)
    for title, kind in public_types().items():
        for name, spec in specs(kind).items():
            if isinstance(spec, Number):
                # In one row, and in its own unit.
                assert units[name, f"kit.{title}"] == [spec.unit], (title, name)


def test_one_meaning_has_one_row_and_two_have_two(table):
    assert not table.reset_index().duplicated(["name", "unit", "meaning"]).any()
    # The share that a loss leaves at its worst, and the reflectance of a wall at its darkest.
    low = table.loc["low"]
    assert set(low["where"]) == {"kit.Factor", "kit.Surface"}
    assert low.set_index("where").loc["kit.Surface", ["symbol", "meaning"]].tolist() == ["ρ", "diffuse, photopic"]
    assert low.set_index("where").loc["kit.Factor", ["symbol", "meaning"]].tolist() == ["", "share delivered"]
    # At the eye, and on the front: whoever names it in a message does not compute it.
    assert set(table.loc["illuminance", "where"]) == {"kit.Glare", "computed"}
    # Taken by some and computed by others, and the same thing.
    ratio = table.loc["throw_ratio"]
    assert ratio["meaning"] == "distance from lens to wall over picture width"
    assert {"kit.Projector", "computed"} <= set(ratio["where"].split(", "))


@pytest.mark.parametrize(
    ("name", "unit", "symbol", "where"),
    [
        ("light_output", "lm", "Φ", "kit.Projector"),
        ("average_picture_level", "", "APL", "kit.Scene"),
        ("black_luminance", "cd/m²", "L_b", "computed"),
        ("veiling_luminance", "cd/m²", "L_v", "computed"),
        ("most_dimming", "", "", "computed"),
        ("earliest", "", "", "computed"),
        ("corner_angle", "degrees", "", "computed"),
        ("fails_tilt", "", "", "computed"),
    ],
)
def test_what_one_looks_up(table, name, unit, symbol, where):
    row = table.loc[name]
    assert (row["unit"], row["symbol"]) == (unit, symbol)
    assert where in row["where"].split(", ")
