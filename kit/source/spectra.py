"""Spectra: of surfaces, of projector light sources, and of light that is there without the projector.

What is published or assumed is stored (``surface_spectra.csv``, ``light_source_spectra.csv`` in ``reference_data``);
spectra are computed from it when first needed. Surfaces are smooth and kept every 5 nm (`WAVELENGTHS`). Laser lines are
narrower, so light sources are kept every 1 nm (`FINE`), each value being the mean over its own nanometre, and all
integrals run over `FINE`.
"""

import math
from collections import defaultdict
from functools import cache, cached_property
from itertools import pairwise
from typing import Any, Self

import numpy as np

from kit import reference
from kit.arrays import Array, ArrayLike
from kit.errors import InputError
from kit.fields import NAME, SHARE, SOURCE, Declared, Is, Many, Number, Numbers, OneOf, declared
from kit.results import pick

WAVELENGTHS: Array = np.arange(380.0, 781.0, 5.0)
FINE: Array = np.arange(380.0, 781.0, 1.0)
WAVELENGTHS.flags.writeable = FINE.flags.writeable = False

ORIGINS = ("measured", "recovered", "parametric", "assumed flat", "combined")
# A wider step would hide what lies between: practice (ASTM E308) has weights for 10 and 20 nm and none wider.
WIDEST_STEP = 20.0
# What a spectrum must cover: beyond, the eye has less than 0.5% of its peak sensitivity.
MUST_COVER = (400.0, 700.0)
MUNSELL_HUES = ("R", "YR", "Y", "GY", "G", "BG", "B", "PB", "P", "RP")
CHANNELS = ("red", "green", "blue")

AMBIENT = {
    "sodium street lamp": ("HP1", "CIE 015:2018, high pressure sodium lamp HP1"),
    "warm white led street lamp": ("LED-B1", "CIE 015:2018, typical white LED LED-B1, about 2700 K"),
    "cool white led street lamp": ("LED-B4", "CIE 015:2018, typical white LED LED-B4, about 5100 K"),
    "daylight": ("D65", "CIE standard illuminant D65"),
}


class Spectrum(Declared, kw_only=False):
    """A spectral reflectance, or the relative spectral power of a light: 400 to 700 nm without a gap above 20 nm."""

    thing = "spectrum"
    name: str = declared(NAME)
    wavelengths: Any = declared(Many(of=Number(above=0.0, unit="nm"), least=2), meaning="ascending")
    values: Any = declared(Many(of=Number(low=0.0), least=2), meaning="as many")
    origin: str = declared(OneOf(options=ORIGINS), meaning=f"{', '.join(ORIGINS)}; recovered: smoothest of its colour")
    source: str = declared(SOURCE)

    def _agree(self, where: str) -> None:
        waves = self.wavelengths
        if len(self.values) != len(waves):
            raise InputError(f"{where}: values", f"{len(self.values)} values", f"{len(waves)}, one for each wavelength")
        where = f"{where}: wavelengths"
        for before, after in pairwise(waves):
            if after <= before:
                raise InputError(where, after, f"wavelengths that ascend; {before:g} nm stands before it")
            if after - before > WIDEST_STEP:
                right = f"no step above {WIDEST_STEP:g} nm; nothing is known between {before:g} and {after:g} nm"
                raise InputError(where, (before, after), right)
        if waves[0] > MUST_COVER[0] or waves[-1] < MUST_COVER[1]:
            right = f"wavelengths from {MUST_COVER[0]:g} nm or less to {MUST_COVER[1]:g} nm or more"
            raise InputError(where, (waves[0], waves[-1]), right)

    def on(self, wavelengths: ArrayLike = WAVELENGTHS) -> Array:
        """Return the values at `wavelengths` [nm], same shape.

        Piecewise cubic and monotone (PCHIP): that holds for uneven steps and never leaves the range of its neighbours,
        so a reflectance stays between 0 and 1, which the Sprague interpolation of CIE 167 does not promise. Where the
        spectrum ends inside 380 to 400 or 700 to 780 nm, its end value is kept, as CIE 15 has it for want of better.
        """
        from scipy.interpolate import PchipInterpolator

        within = np.clip(Numbers().check("wavelengths", wavelengths), self.wavelengths[0], self.wavelengths[-1])
        with np.errstate(over="ignore"):  # it divides by slopes; in the far tail of a line they are all but zero
            curve = PchipInterpolator(self.wavelengths, self.values)
        return np.asarray(curve(within), float)

    @cached_property
    def fine(self) -> Array:
        """Values on `FINE`, remembered; read-only."""
        values = self.on(FINE)
        values.flags.writeable = False
        return values

    def as_reflectance(self) -> Self:
        """Return this spectrum if no value is above 1, else raise `InputError` naming the wavelength."""
        top = int(np.argmax(self.values))
        SHARE.check(f"spectrum {self.name!r}: reflectance at {self.wavelengths[top]:g} nm", self.values[top])
        return self


class LightSource(Declared):
    """The light of a projector: relative spectral power of each channel in one unit, not dimmed; the sum is white."""

    thing = "light source"
    name: str = declared(NAME)
    red: Spectrum = declared(Is(kind=Spectrum))
    green: Spectrum = declared(Is(kind=Spectrum))
    blue: Spectrum = declared(Is(kind=Spectrum))
    source: str = declared(SOURCE, meaning="where the spectra come from")

    def _agree(self, where: str) -> None:
        for channel, spectrum in zip(CHANNELS, self.channels, strict=True):
            if not any(spectrum.values):
                raise InputError(f"{where}: {channel}", 0.0, "a spectrum with some power")

    @property
    def channels(self) -> tuple[Spectrum, Spectrum, Spectrum]:
        """Red, green and blue."""
        return self.red, self.green, self.blue

    @cached_property
    def white(self) -> tuple[float, float]:
        """Chromaticity (x, y) of all channels together, CIE 1931 2 degree observer."""
        total = np.sum([tristimulus(channel) for channel in self.channels], axis=0)
        return float(total[0] / total.sum()), float(total[1] / total.sum())


@cache
def colour_matching(*observers: str) -> Array:
    """Return functions of eyes on `FINE`, shape (401, n), as colour-science has them; no names: CIE 1931, 2 deg."""
    import colour

    tables = [colour.SDS_LEFS[name] for name in observers] or [colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]]
    shape = colour.SpectralShape(FINE[0], FINE[-1], 1)
    values = np.column_stack([table.copy().trim(shape).values for table in tables])
    values.flags.writeable = False
    return values


def tristimulus(light: Spectrum, reflectance: Spectrum | None = None) -> Array:
    """Return X, Y, Z of `light`, reflected if a reflectance is given; shape (3,): a sum over nanometres (CIE 15)."""
    return (light.fine if reflectance is None else light.fine * reflectance.as_reflectance().fine) @ colour_matching()


@cache
def ambient_spectrum(name: str) -> Spectrum:
    """Return the relative spectral power of light that is not the projector's: one of `AMBIENT` (CIE 015:2018)."""
    import colour

    key, source = pick("ambient light", name, AMBIENT)
    table = colour.SDS_ILLUMINANTS[key]
    if key == "D65":  # CIE defines it between its table values by linear interpolation
        return Spectrum(name, FINE, np.interp(FINE, table.wavelengths, table.values), "parametric", source)
    return Spectrum(name, table.wavelengths, table.values, "measured", source)


def light_source_names() -> tuple[str, ...]:
    """Return the names that `light_source` knows."""
    rows = (row for row in reference.table("light_source_spectra") if row.quantity == "x")
    return tuple(row.group if row.name == "white" else f"{row.group}, {row.name}" for row in rows)


@cache
def light_source(name: str) -> LightSource:
    """Return the light of a projector by one of `light_source_names`: ``"lamp"`` or ``"lamp, brightest white"``.

    The emission is a sum of Gaussians, each averaged over every nanometre, and of measured lamps; bands split it into
    the channels. The three powers are solved so that the sum has the chromaticity of the table.
    """
    import colour
    from scipy.special import ndtr

    OneOf(options=light_source_names).check("light source", name)
    kind, _, mode = name.partition(", ")
    rows = [row for row in reference.table("light_source_spectra") if row.group == kind]
    parts = defaultdict[str, Any](dict)
    for row in rows:
        parts[row.name][row.quantity] = row.value
    carried = {row.name: row.locator for row in rows if row.quantity == "measured"}
    for lower, upper in pairwise(f"{channel} band" for channel in reversed(CHANNELS)):
        parts[upper].setdefault("from", parts[lower]["to"])
    within = {name: (part.get("from", 0.0) <= FINE) & (part.get("to", math.inf) > FINE) for name, part in parts.items()}
    emission, line = np.zeros_like(FINE), reference.value("light_source_spectra", "laser line")
    for name_of, part in parts.items():
        if name_of in carried:
            table = {**colour.SDS_LIGHT_SOURCES, **colour.SDS_ILLUMINANTS}[carried[name_of]]
            lamp = within[name_of] * np.interp(FINE, table.wavelengths, table.values)
            emission += part["measured"] * lamp / lamp.sum()
        elif "peak" in part:
            deviation = part.get("width", line) / (2.0 * math.sqrt(2.0 * math.log(2.0)))
            below, above = ((FINE + end - part["peak"]) / deviation for end in (-0.5, 0.5))
            emission += part.get("weight", 1.0) * (ndtr(above) - ndtr(below))
    split = np.stack([within[f"{channel} band"] * emission for channel in CHANNELS])
    white = parts[mode or "white"]
    x, y = white["x"], white["y"]
    powers = np.linalg.solve((split @ colour_matching()).T, [x / y, 1.0, (1.0 - x - y) / y])
    if np.any(powers <= 0.0):
        raise InputError(f"light source {name!r}: white", (x, y), "a chromaticity between those of its channels")
    source = "lines, lamps and bands from light_source_spectra.csv; many from memory, no product measured"
    lights = zip(CHANNELS, powers[:, None] * split, strict=True)
    channels = {part: Spectrum(f"{name}: {part}", FINE, values, "parametric", source) for part, values in lights}
    return LightSource(name=name, source=source, **channels)
