"""The words of the kit in one table, made from the declarations in the code itself."""

from __future__ import annotations

import dataclasses
import importlib
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import kit
from kit.fields import Band, Number, Range, Spec, Vector, specs
from kit.quantities import QUANTITIES
from kit.results import make_frame

if TYPE_CHECKING:
    import pandas as pd


def glossary() -> pd.DataFrame:
    """Return every number that the kit takes or gives: name, symbol, unit, meaning, and where it is at home.

    Returns
    -------
    pandas.DataFrame
        Indexed by name, in alphabetical order; ``where`` names the type that takes a number, or the room of the kit
        that computes it.

    Examples
    --------
    >>> import kit
    >>> kit.glossary().loc["throw_ratio", "meaning"]
    'distance from lens to wall over picture width'
    """
    rows = {}
    for kind in _types():
        for name, spec in specs(kind).items():
            inner = _number(spec)
            if inner is not None and name not in QUANTITIES:
                row = rows.setdefault(name, {"name": name, "symbol": "", "unit": "", "meaning": "", "where": ""})
                row["symbol"] = row["symbol"] or inner.symbol
                row["unit"] = row["unit"] or inner.unit
                row["meaning"] = row["meaning"] or spec.meaning or inner.meaning or spec.label or inner.label
                row["where"] += f"{', ' if row['where'] else ''}kit.{kind.__name__}"
    for name, found in QUANTITIES.items():
        unit = "" if found.unit == "1" else found.unit
        rows[name] = {
            "name": name,
            "symbol": found.symbol,
            "unit": unit,
            "meaning": found.meaning,
            "where": _room(name),
        }
    return make_frame(sorted(rows.values(), key=lambda row: row["name"]), index="name")


def _types() -> list[type]:
    """Return the public dataclasses, in the order in which light travels."""
    found = []
    for room, names in kit.PUBLIC.items():
        module = importlib.import_module(f"kit.{room}")
        kinds = (getattr(module, name) for name in names)
        found += [kind for kind in kinds if isinstance(kind, type) and dataclasses.is_dataclass(kind)]
    return found


def _number(spec: Spec) -> Number | None:
    """Return the declaration of the number in a field, None where it is none."""
    if isinstance(spec, Number):
        return spec
    return spec.of if isinstance(spec, Vector | Range | Band) else None


@cache
def _sources() -> dict[str, str]:
    """Return the text of each room that labels quantities."""
    here = Path(__file__).parents[1]
    rooms = (path for folder in kit.FOLDERS for path in sorted((here / folder).glob("*.py")))
    texts = {f"kit.{path.parent.name}.{path.stem}": path.read_text(encoding="utf-8") for path in rooms}
    return {room: text for room, text in texts.items() if "kit.quantities" in text}


def _room(name: str) -> str:
    """Return the first room along the path of light that computes a quantity."""
    return next((room for room, text in _sources().items() if f'"{name}"' in text), "")
