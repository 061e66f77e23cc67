"""Spectral reflectance of surfaces: the best that is known of each."""

import math
from functools import cache, lru_cache

import numpy as np
from scipy.optimize import lsq_linear

from kit import reference
from kit.arrays import Array
from kit.errors import InputError
from kit.source.spectra import FINE, MUNSELL_HUES, WAVELENGTHS, Spectrum, ambient_spectrum, colour_matching, tristimulus
from kit.wall.facade import Surface


@lru_cache(maxsize=256)  # a slider of reflectance would fill an endless one
def surface_spectrum(surface: Surface) -> Spectrum:
    """Return the spectral reflectance of a surface, every 5 nm unless it brings its own.

    The best that is known comes first: the surface's own spectrum; the surface of that name in
    ``reference_data/surface_spectra.csv``; the typical surface of its kind; a flat one. The spectrum is then lightened
    or darkened so that its luminous reflectance under CIE D65 (CIE 1931 2 degree observer) is the surface's nominal
    reflectance. Darker: R' = R rho / rho0. Lighter: R' = 1 - (1 - R)(1 - rho) / (1 - rho0), which stays at or below 1.
    Both are linear in R, so the result has exactly the reflectance rho.
    """
    name, own, target = surface.name, surface.spectrum, surface.reflectance
    base = _base(name, surface.kind) if own is None else own.as_reflectance()
    daylight = ambient_spectrum("daylight")
    before = float(tristimulus(daylight, base)[1] / tristimulus(daylight)[1])
    values = np.array(base.values)
    if target < before:
        values = values * (target / before)
    elif before < target:
        values = 1.0 - (1.0 - values) * (1.0 - target) / (1.0 - before)
    # Both rules stay within 0 and 1 but for rounding in the last digit.
    return Spectrum(name, base.wavelengths, np.clip(values, 0.0, 1.0), base.origin, base.source)


@cache
def _base(name: str, kind: str) -> Spectrum:
    """Spectrum of a named surface, of a typical one of its kind, or a flat one; of no particular lightness."""
    import colour
    from colour.quality.cfi2017 import load_TCS_CIE2017

    table = reference.table("surface_spectra")
    rows, typical = [row for row in table if row.name == name], ""
    first = next((row.name for row in table if row.group == kind), "")
    if not rows and first:
        rows, typical = [row for row in table if row.name == first], f"taken as {first}; "
    known = {row.quantity: row.value for row in rows}
    source = f"{typical}{rows[0].source}, {rows[0].edition}" if rows else "nothing known of its colour"
    if "chart patch" in known:
        table = tuple(colour.SDS_COLOURCHECKERS["BabelColor Average"].values())[int(known["chart patch"]) - 1]
        return Spectrum(name, table.wavelengths, table.values, "measured", source)
    if "cfi 2017 sample" in known:
        samples = load_TCS_CIE2017(colour.SpectralShape(WAVELENGTHS[0], WAVELENGTHS[-1], 5))
        values = samples.values[:, int(known["cfi 2017 sample"]) - 1]
        return Spectrum(name, samples.wavelengths, values, "measured", source)
    points = {float(q.split()[2]): value for q, value in known.items() if q.startswith("reflectance at ")}
    if points and "x" not in known:  # the smoothest curve through points alone is straight between them
        values = np.interp(WAVELENGTHS, list(points), list(points.values()))
        return Spectrum(name, WAVELENGTHS, values, "recovered", source)
    if not rows or ("x" not in known and known["munsell chroma"] == 0.0):
        return Spectrum(name, WAVELENGTHS, np.full(len(WAVELENGTHS), 0.5), "assumed flat", source)
    # Of the sample whose spectrum it is; what is expected of a surface of that name may span many.
    reflectance = known.get("reflectance") or reference.value("surfaces", rows[0].name, quantity="reflectance")
    if "x" in known:
        x, y = known["x"], known["y"]
    else:
        x, y = _munsell(known["munsell hue"], known["munsell chroma"], reflectance)
    return Spectrum(name, WAVELENGTHS, recover(x, y, reflectance, points), "recovered", source)


def recover(x: float, y: float, reflectance: float, points: dict[float, float] | None = None) -> Array:
    """Return the smoothest spectral reflectance with a given colour, on `WAVELENGTHS`; where none has it: `InputError`.

    `x`, `y`, `reflectance`: under D65, CIE 1931 2 degree observer; `points`: published reflectances by wavelength of
    the grid [nm]. The least sum of squared steps within 0 and 1 (J. Meng, F. Simon, J. Hanika, C. Dachsbacher, Computer
    Graphics Forum 34 (2015), doi:10.1111/cgf.12676): of the objectives in colour-science the one that comes closest to
    published spectra of bricks, and quadratic, so a bounded linear solver finds it in milliseconds.
    """
    daylight = ambient_spectrum("daylight").fine
    # From grid points to every nanometre; linear, which on a curve this smooth is 1e-4 from what `on` does.
    spread = np.stack([np.interp(FINE, WAVELENGTHS, unit) for unit in np.eye(len(WAVELENGTHS))])
    weighted = colour_matching() * daylight[:, None]
    given = points or {}
    through = np.equal.outer(list(given), WAVELENGTHS).astype(float).reshape(-1, len(WAVELENGTHS))
    conditions = np.vstack([(spread @ weighted).T / weighted[:, 1].sum(), through])
    goal = np.array([x / y * reflectance, reflectance, (1.0 - x - y) / y * reflectance, *given.values()])
    steps = np.diff(np.eye(len(WAVELENGTHS)), axis=0)
    heavy = 1e4  # the conditions count that much more than smoothness, and so hold to 1e-6
    system, wanted = np.vstack([steps, heavy * conditions]), np.append(np.zeros(len(steps)), heavy * goal)
    found = lsq_linear(system, wanted, bounds=(0.0, 1.0)).x
    if np.abs(conditions @ found - goal).max() > 1e-4:
        raise InputError("colour", (x, y, reflectance), "a colour that some surface can have under D65")
    return np.clip(found, 0.0, 1.0)


def _munsell(hue: float, chroma: float, reflectance: float) -> tuple[float, float]:
    """Chromaticity under D65 of a Munsell notation (which holds for illuminant C), adapted after Bradford."""
    import colour

    index = math.ceil(hue / 10.0) - 1
    value = float(colour.munsell_value(100.0 * reflectance, method="ASTM D1535"))
    notation = f"{hue - 10.0 * index:.2f}{MUNSELL_HUES[index]} {value:.2f}/{chroma:.1f}"
    whites = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]
    xyz = colour.xyY_to_XYZ(colour.munsell_colour_to_xyY(notation))
    before, after = (colour.xy_to_XYZ(whites[light]) for light in ("C", "D65"))
    x, y = colour.XYZ_to_xy(colour.chromatic_adaptation(xyz, before, after, method="Von Kries", transform="Bradford"))
    return float(x), float(y)
