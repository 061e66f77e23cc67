"""What people choose from and look up: surfaces with their colours, towns with their time zones, all numbers."""

import dataclasses
import re
from dataclasses import replace
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

import kit
from kit import reference
from kit.fields import Band, Number, Range, Vector, specs
from kit.quantities import QUANTITIES
from kit.results import Frame, make_frame
from kit.source.spectra import ambient_spectrum, tristimulus
from kit.units import edge
from kit.wall.facade import Surface
from kit.wall.surface_names import OTHER_NAMES
from kit.wall.surface_spectra import surface_spectrum


def surfaces() -> Frame:
    """Return every surface of the kit, those of a kind together.

    Returns
    -------
    pandas.DataFrame
        Indexed by name: ``kind``, ``reflectance`` with ``low`` and ``high``, ``status`` ("seen" or "from memory"),
        ``darkest``, ``colour`` and ``lightest`` of its band by daylight, as ``"#rrggbb"`` of sRGB, where an ideal white
        wall is white, and ``also called``.

    Examples
    --------
    >>> import kit
    >>> kit.surfaces().loc["dark stone", ["kind", "colour", "also called"]].tolist()
    ['stone', '#616161', 'basalt']
    """
    return _surfaces().copy()


@cache
def _surfaces() -> Frame:
    import colour

    daylight = ambient_spectrum("daylight")
    rows, white = [], tristimulus(daylight)[1]
    for row in reference.table("surfaces"):
        plain, seen = Surface.from_reference(row.name), {}
        for name, share in {"darkest": row.low, "colour": row.value, "lightest": row.high}.items():
            light = tristimulus(daylight, surface_spectrum(replace(plain, reflectance=share))) / white
            levels = np.rint(255 * np.clip(colour.XYZ_to_sRGB(light), 0.0, 1.0)).astype(int)
            seen[name] = "#" + bytes(levels.tolist()).hex()
        rows.append(
            {
                "name": row.name, "kind": row.group, "reflectance": row.value, "low": row.low, "high": row.high,
                "status": row.status, **seen, "also called": ", ".join(OTHER_NAMES.get(row.name, ())),
            }
        )  # fmt: skip
    return make_frame(rows, index="name")


def towns() -> Frame:
    """Return the towns after which time zones are named: where they are, and their zone.

    Returns
    -------
    pandas.DataFrame
        Indexed by town, in alphabetical order: ``country`` (ISO 3166), ``latitude`` and ``longitude`` [deg, north and
        east positive], ``timezone``. From the file ``zone.tab`` of the IANA time zone database, to a minute of arc.

    Examples
    --------
    >>> import kit
    >>> town = kit.towns().loc["Vienna"]
    >>> f"{town.latitude} {town.longitude} {town.timezone}"
    '48.22 16.33 Europe/Vienna'
    """
    return _towns().copy()


@cache
def _towns() -> Frame:
    rows = []
    for line in (files("tzdata") / "zoneinfo" / "zone.tab").read_text(encoding="utf-8").splitlines():
        found = re.match(r"(\w\w)\t([+-])(\d\d)(\d\d)(\d\d)?([+-])(\d{3})(\d\d)(\d\d)?\t([^\t]+)", line)
        if found:
            country, *place, timezone = found.groups()
            latitude, longitude = (
                round(float(f"{sign}1") * (int(degrees) + int(minutes) / 60 + int(seconds or 0) / 3600), 2)
                for sign, degrees, minutes, seconds in (place[:4], place[4:])
            )
            town = {"town": timezone.rpartition("/")[2].replace("_", " "), "country": country}
            rows.append(town | {"latitude": latitude, "longitude": longitude, "timezone": timezone})
    return make_frame(sorted(rows, key=lambda row: row["town"]), index="town")


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
    for kind in sorted((getattr(kit, name) for name in kit.PUBLIC), key=lambda kind: str(kind.__module__)):
        for name, spec in specs(kind).items() if dataclasses.is_dataclass(kind) else ():
            inner: Any = spec.of if isinstance(spec, Vector | Range | Band) else spec
            if isinstance(inner, Number):
                meaning = spec.meaning or inner.meaning or spec.label or inner.label
                _add(rows, name, inner.symbol, inner.unit, meaning, f"kit.{kind.__name__}")
    for name, found in QUANTITIES.items():
        unit = {"1": "", "degree": "degrees"}.get(found.unit, edge(found.unit, "m")[0])
        _add(rows, name, found.symbol, unit, found.meaning, "computed")
    return make_frame(sorted(rows, key=lambda row: row["name"]), index="name")


def _add(rows: list[dict[str, str]], name: str, symbol: str, unit: str, meaning: str, where: str) -> None:
    """Add a number, or another place of one that has a row; a meaning that only repeats the name goes with any."""
    for row in rows:
        bare = [said.replace(" ", "_") == name for said in (row["meaning"], meaning)]
        if (row["name"], row["unit"]) == (name, unit) and (row["meaning"] == meaning or any(bare)):
            row["symbol"] = row["symbol"] or symbol
            row["meaning"] = meaning if bare[0] else row["meaning"]
            row["where"] += f", {where}"
            return
    rows.append({"name": name, "symbol": symbol, "unit": unit, "meaning": meaning, "where": where})
