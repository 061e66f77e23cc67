"""What the kit returns, declared once in ``quantities.csv``: name, symbol, unit, meaning of each computed quantity.

Maps and tables take their ``long_name`` and ``units`` from here (`attrs`, `labelled`), the glossary its rows. A unit of
``"1"`` is dimensionless, an empty one that of a time of the clock.
"""

import csv
from collections.abc import Sequence
from pathlib import Path
from types import SimpleNamespace
from typing import Any

with Path(__file__).with_suffix(".csv").open(encoding="utf-8", newline="") as _file:
    QUANTITIES = {row.pop("name"): SimpleNamespace(**row) for row in csv.DictReader(_file)}


def attrs(name: str) -> dict[str, str]:
    """Return ``long_name`` and ``units`` of a declared quantity as xarray keeps them."""
    found = QUANTITIES[name]
    return {"long_name": found.meaning} | ({"units": found.unit} if found.unit else {})


def labelled(name: str, dims: str | Sequence[str], values: Any) -> tuple[str | tuple[str, ...], Any, dict[str, str]]:
    """Return (dims, values, attributes) of a declared quantity, as `xarray.Dataset` takes them."""
    return dims if isinstance(dims, str) else tuple(dims), values, attrs(name)
