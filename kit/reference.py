"""The reference tables: published and assumed values, each with its band, unit and provenance.

A table is a CSV file in ``reference_data``: lines that begin with ``#`` say what it holds, then comes one
header that all tables share, then one row for each (group, name, quantity). A status of ``"from memory"``
says that nobody has checked the value against a copy of its source.
"""

import csv
import difflib
from functools import cache
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from kit.errors import InputError

Unit = Literal[
    "1", "1/h", "1/m", "arcmin", "cd", "cd/m2", "deg", "(cd/m2)/lx", "J/(kg K)", "J/K", "J/kg", "K", "kg", "kg/day",
    "kg/m2", "kg/m3", "lm", "lm/W", "lx", "m", "m/s", "m/s2", "m2/s", "m3/s", "mag", "mag/arcsec2", "nm", "ohm/m", "Pa",
    "s", "USD", "USD/kWh", "USD/m2", "W", "W/(m2 K)", "W/K", "years",
]  # fmt: skip

# Inside an installed package, or at the top of a checkout.
PLACES = (Path(__file__).parent / "reference_data", Path(__file__).parents[1] / "reference_data")

Text = Annotated[str, Field(pattern=r"^\S(.*\S)?$")]
Name = Annotated[str, Field(pattern=r"^[^\sA-Z]([^A-Z]*[^\sA-Z])?$")]  # lower case words
Number = Annotated[float, Field(allow_inf_nan=False, ge=0.0)]
Status = Literal["seen", "chosen", "from memory"]


class Row(BaseModel):
    """One value of a reference table, in `unit` (``"1"`` is dimensionless), with its band and where it comes from;
    `status` is "seen" where it was read in, or computed from, a public copy of the source; "chosen": a choice of ours.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    group: Name
    name: Name
    quantity: Name
    value: Number
    low: Number
    high: Number
    unit: Unit
    source: Text
    edition: Text
    locator: Text
    status: Status
    note: str

    @property
    def band(self) -> tuple[float, float, float]:
        """Low, nominal and high."""
        return self.low, self.value, self.high

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if not self.low <= self.value <= self.high:
            raise ValueError("low <= value <= high")
        if self.quantity in ("reflectance", "transmittance") and self.high > 1.0:
            raise ValueError(f"a {self.quantity} of at most 1")
        return self


def read_table(path: str | Path) -> tuple[Row, ...]:
    """Return the rows of the table at `path`, each of them checked: a wrong one is a `ValueError`."""
    with open(path, encoding="utf-8-sig", newline="") as file:
        rows = csv.DictReader((line for line in file if not line.startswith("#")), restkey="more", strict=True)
        return tuple(map(Row.model_validate_strings, rows))


def tables() -> tuple[str, ...]:
    """Return the names of the tables that come with the kit."""
    return tuple(sorted(path.stem for path in folder().glob("*.csv")))


@cache
def table(table_name: str) -> tuple[Row, ...]:
    """Return the rows of a table of the kit, for example ``"surfaces"``; unknown: `InputError`."""
    if table_name not in tables():
        raise InputError("table", table_name, f"one of {', '.join(tables())}")
    return read_table(folder() / f"{table_name}.csv")


def names(table_name: str, group: str | None = None) -> tuple[str, ...]:
    """Return the names in a table, or in one `group` of it, each once and in the table's order."""
    return tuple(dict.fromkeys(item.name for item in _in_group(table_name, group)))


def row(table_name: str, name: str, *, group: str | None = None, quantity: str | None = None) -> Row:
    """Return the one row that fits, such as ``row("surfaces", "red brick")``; none, or several: `InputError`."""
    candidates = _in_group(table_name, group)
    known = tuple(dict.fromkeys(item.name for item in candidates))
    found = [item for item in candidates if item.name == name]
    if not found:
        near = difflib.get_close_matches(str(name).strip().lower(), known)
        hint = f"{' or '.join(map(repr, near))}, or another " if near else ""
        raise InputError(f"{table_name}: name", name, f"{hint}one of: {'; '.join(known)}")
    fitting = [item for item in found if quantity in (None, item.quantity)]
    if len(fitting) != 1:
        choices = "; ".join(f"{item.group}: {item.quantity}" for item in found)
        given = (name, group, quantity)
        raise InputError(f"{table_name}: name, group, quantity", given, f"{name!r} with one of {choices}")
    return fitting[0]


def value(table_name: str, name: str, *, group: str | None = None, quantity: str | None = None) -> float:
    """Return the nominal value of the row that `row` finds, in that row's unit."""
    return row(table_name, name, group=group, quantity=quantity).value


def folder() -> Path:
    """Return where the tables are."""
    for place in PLACES:
        if place.is_dir():
            return place
    raise InputError("reference data", [str(place) for place in PLACES], "a folder at one of these places")


def _in_group(table_name: str, group: str | None) -> list[Row]:
    rows = table(table_name)
    found = [item for item in rows if group in (None, item.group)]
    if not found:
        groups = dict.fromkeys(item.group for item in rows)
        raise InputError(f"{table_name}: group", group, f"one of {', '.join(groups)}")
    return found
