"""What people choose from: surfaces with their colours, and towns with their time zones."""

import re
from dataclasses import replace
from functools import cache
from importlib.resources import files

import numpy as np

from kit import reference
from kit.results import Frame, make_frame
from kit.source.spectra import ambient_spectrum, tristimulus
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
    rows = []
    for row in reference.table("surfaces"):
        plain, seen = Surface.from_reference(row.name), {}
        for name, share in {"darkest": row.low, "colour": row.value, "lightest": row.high}.items():
            wall = replace(plain, reflectance=share)
            light = tristimulus(daylight, surface_spectrum(wall)) / tristimulus(daylight)[1]
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
