"""The words of the kit in one table, made from the declarations in the code itself."""

import dataclasses

import kit
from kit.fields import Band, Number, Range, Spec, Vector, specs
from kit.quantities import QUANTITIES
from kit.results import Frame, make_frame
from kit.units import edge


def glossary() -> Frame:
    """Return every number that the kit takes or gives: name, symbol, unit, meaning, and who takes it.

    Returns
    -------
    pandas.DataFrame
        Indexed by name, in alphabetical order; ``where`` names the types that take a number, or says that it is
        computed. A name that means two things has two rows.

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
        _add(rows, name, found.symbol, unit, found.meaning, "computed")
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
