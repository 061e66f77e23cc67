"""Feet, inches and foot-lamberts, for the edge of the kit only: everything inside is SI.

The factors come from ``reference_data/constants.csv``.
"""

from kit.errors import InputError
from kit.fields import Number
from kit.reference import value

LENGTHS, DIGITS = ("m", "ft"), Number(low=0, high=20, whole=True)


def metres_per(unit: str) -> float:
    """Return the length of one `unit`, "m", "ft" or "in" [m]; any other: `InputError`."""
    names = {"ft": "foot", "in": "inch"}
    if unit not in ("m", *names):
        raise InputError("units", unit, '"m", "ft" or "in"')
    return 1.0 if unit == "m" else value("constants", names[unit])


def foot_lamberts(luminance: float) -> float:
    """Return a luminance given in cd/m2 [fL]; shape and type follow the argument."""
    return luminance / value("constants", "foot-lambert")


def length_text(length: float, unit: str, digits: int = 1) -> str:
    """Return a length given in metres as text in `unit`, for example ``"42.7 ft"``."""
    return f"{length / metres_per(unit):.{DIGITS.check('digits', digits)}f} {unit}"


def edge(unit: str, units: str) -> tuple[str, float]:
    """Return the label of an SI unit, such as "mm", where lengths are in `units`, and how many `unit` one of it is."""
    if not isinstance(units, str) or units not in LENGTHS:
        raise InputError("units", units, '"m" or "ft"')
    signs = {"m2": "m²", "cd/m2": "cd/m²", "kg/m2": "kg/m²", "USD/m2": "USD/m²"}
    if units == "m":
        return signs.get(unit, unit), 1.0
    foot, inch, pound = metres_per("ft"), metres_per("in"), value("constants", "pound")
    return {
        "m": ("ft", foot), "mm": ("in", 1e3 * inch), "m2": ("sq ft", foot**2), "kg": ("lb", pound),
        "m/s": ("mph", 5280 * foot / 3600), "N": ("lbf", pound * value("constants", "standard gravity")),
    }.get(unit, (signs.get(unit, unit), 1.0))  # fmt: skip
