"""The words of the kit in one table, made from the declarations in the code itself."""

import dataclasses
import re
from functools import cache
from pathlib import Path

import kit
from kit.fields import Band, Number, Range, Spec, Vector, specs
from kit.quantities import QUANTITIES
from kit.results import Frame, make_frame
from kit.units import edge


def glossary() -> Frame:
    """Return every number that the kit takes or gives: name, symbol, unit, meaning, and where it is at home.

    Returns
    -------
    pandas.DataFrame
        Indexed by name, in alphabetical order; ``where`` names the types that take a number, and the room of the kit
        that computes it. A name that means two things has two rows.

    Examples
    --------
    >>> import kit
    >>> kit.glossary().loc["throw_ratio", "meaning"]
    'distance from lens to wall over picture width'
    """
    rows: list[dict[str, str]] = []
    for kind in _types():
        for name, spec in specs(kind).items():
            inner = _number(spec)
            if inner is not None:
                meaning = spec.meaning or inner.meaning or spec.label or inner.label
                _add(rows, name, inner.symbol, inner.unit, meaning, f"kit.{kind.__name__}")
    for name, found in QUANTITIES.items():
        unit = {"1": "", "degree": "degrees"}.get(found.unit, edge(found.unit, "m")[0])
        _add(rows, name, found.symbol, unit, found.meaning, _room(name))
    return make_frame(sorted(rows, key=lambda row: row["name"]), index="name")


def _add(rows: list[dict[str, str]], name: str, symbol: str, unit: str, meaning: str, where: str) -> None:
    """Add a number, or another place of one that has a row; a meaning that only repeats the name goes with any."""
    for row in rows:
        if (row["name"], row["unit"]) == (name, unit) and (
            row["meaning"] == meaning or name in map(_bare, (meaning, row["meaning"]))
        ):
            row["symbol"] = row["symbol"] or symbol
            row["meaning"] = meaning if _bare(row["meaning"]) == name else row["meaning"]
            row["where"] += f", {where}"
            return
    rows.append({"name": name, "symbol": symbol, "unit": unit, "meaning": meaning, "where": where})


def _bare(meaning: str) -> str:
    return meaning.replace(" ", "_")


def _types() -> list[type]:
    """Return the public dataclasses, in the order in which light travels."""
    public = (getattr(kit, name) for names in kit.PUBLIC.values() for name in names)
    return [kind for kind in public if isinstance(kind, type) and dataclasses.is_dataclass(kind)]


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
    """Return the first room along the path of light that labels a quantity: by its name, or by a table of names."""
    told, made = f'"{name}"', f'f"{name.split("_")[0]}_{{'
    for room, text in _sources().items():
        if re.search(rf"labelled\(\s*({told}|\w)", text) and (told in text or made in text):
            return room
    return ""
