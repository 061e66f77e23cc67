"""Spectra: of surfaces, of projector light sources, and of light that is there without the projector.

Only what is published or assumed is stored (``reference_data/surface_spectra.csv``,
``reference_data/light_source_spectra.csv``); spectra are computed from it when first needed and remembered.
Every `Spectrum` says where it comes from.

Surfaces are smooth and kept every 5 nm (`WAVELENGTHS`). Laser lines are narrower than that, so light sources are
kept every 1 nm (`FINE`), each value being the mean over its own nanometre, and all integrals run over `FINE`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache, cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from kit import reference
from kit.errors import InputError, number, text

if TYPE_CHECKING:
    pass

Array = NDArray[np.float64]

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


@dataclass(frozen=True, kw_only=True)
class Spectrum:
    """A spectral reflectance, or the relative spectral power of a light.

    Parameters
    ----------
    name : str
    wavelengths : sequence of float
        Ascending [nm], no step above 20 nm, from 400 or less to 700 or more.
    values : sequence of float
        As many, each finite and 0 or more.
    origin : {"measured", "recovered", "parametric", "assumed flat", "combined"}
        Recovered: the smoothest one that has a known colour.
    source : str
        Where the values come from.

    Raises
    ------
    InputError
        For a gap, wavelengths out of order or twice, or a value that is none.
    """

    name: str
    wavelengths: tuple[float, ...]
    values: tuple[float, ...]
    origin: str
    source: str

    def __post_init__(self) -> None:
        where = f"spectrum {text('spectrum name', self.name)!r}"
        text(f"{where}: source", self.source)
        if self.origin not in ORIGINS:
            raise InputError(f"{where}: origin", self.origin, f"one of {', '.join(ORIGINS)}")
        waves = _many(f"{where}: wavelengths", self.wavelengths)
        waves = tuple(number(f"{where}: wavelengths", item, above=0.0, unit="nm") for item in waves)
        values = _many(f"{where}: values", self.values)
        if len(values) != len(waves):
            raise InputError(f"{where}: values", f"{len(values)} values", f"{len(waves)}, one for each wavelength")
        values = tuple(
            number(f"{where}: value at {wave:g} nm", item, minimum=0.0)
            for wave, item in zip(waves, values, strict=True)
        )
        for before, after in pairwise(waves):
            if after <= before:
                right = f"wavelengths that ascend; {before:g} nm stands before it"
                raise InputError(f"{where}: wavelengths", after, right)
            if after - before > WIDEST_STEP:
                right = f"no step above {WIDEST_STEP:g} nm; nothing is known between {before:g} and {after:g} nm"
                raise InputError(f"{where}: wavelengths", (before, after), right)
        if waves[0] > MUST_COVER[0] or waves[-1] < MUST_COVER[1]:
            right = f"wavelengths from {MUST_COVER[0]:g} nm or less to {MUST_COVER[1]:g} nm or more"
            raise InputError(f"{where}: wavelengths", (waves[0], waves[-1]), right)
        object.__setattr__(self, "wavelengths", waves)
        object.__setattr__(self, "values", values)

    def on(self, wavelengths: ArrayLike = WAVELENGTHS) -> Array:
        """Return the values at `wavelengths` [nm], same shape.

        Interpolation is piecewise cubic and monotone (PCHIP): it holds for uneven steps and never leaves the range
        of its neighbours, so a reflectance stays between 0 and 1, which the Sprague interpolation of CIE 167 does
        not promise; and thinning measured spectra to 10 nm costs a third of what linear interpolation does.
        Where the spectrum ends inside 380 to 400 or 700 to 780 nm, its end value is kept, as CIE 15 has it for
        want of better.
        """
        from scipy.interpolate import PchipInterpolator

        within = np.clip(np.asarray(wavelengths, float), self.wavelengths[0], self.wavelengths[-1])
        with np.errstate(over="ignore"):  # it divides by slopes; in the far tail of a line they are all but zero
            curve = PchipInterpolator(self.wavelengths, self.values)
        return np.asarray(curve(within), float)

    @cached_property
    def fine(self) -> Array:
        """Values on `FINE`, remembered; read-only."""
        values = self.on(FINE)
        values.flags.writeable = False
        return values

    def as_reflectance(self) -> Spectrum:
        """Return this spectrum if no value is above 1, else raise `InputError` naming the wavelength."""
        top = int(np.argmax(self.values))
        field = f"spectrum {self.name!r}: reflectance at {self.wavelengths[top]:g} nm"
        number(field, self.values[top], minimum=0.0, maximum=1.0)
        return self


@dataclass(frozen=True, kw_only=True)
class LightSource:
    """The light of a projector: spectral power of each channel at full drive.

    Parameters
    ----------
    name : str
    red, green, blue : Spectrum
        Relative power, in one unit: their sum is the white.
    source : str
        Where the spectra come from.
    """

    name: str
    red: Spectrum
    green: Spectrum
    blue: Spectrum
    source: str

    def __post_init__(self) -> None:
        where = f"light source {text('light source name', self.name)!r}"
        text(f"{where}: source", self.source)
        for channel, spectrum in zip(CHANNELS, self.channels, strict=True):
            if not isinstance(spectrum, Spectrum):
                raise InputError(f"{where}: {channel}", spectrum, "a Spectrum")
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
def colour_matching() -> Array:
    """Return the CIE 1931 2 degree colour-matching functions on `FINE`, shape (401, 3), as colour-science has them."""
    import colour

    shape = colour.SpectralShape(FINE[0], FINE[-1], 1)
    values = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().trim(shape).values
    values.flags.writeable = False
    return values


def tristimulus(light: Spectrum, reflectance: Spectrum | None = None) -> Array:
    """Return X, Y, Z of `light`, reflected if a reflectance is given; shape (3,), in the light's own unit.

    The sum runs over 380 to 780 nm every 1 nm (CIE 15).
    """
    spectrum = light.fine
    if reflectance is not None:
        spectrum = spectrum * reflectance.as_reflectance().fine
    return spectrum @ colour_matching()


@cache
def ambient_spectrum(name: str) -> Spectrum:
    """Return the relative spectral power of light that is not the projector's.

    Parameters
    ----------
    name : str
        ``"sodium street lamp"``, ``"warm white led street lamp"``, ``"cool white led street lamp"`` or
        ``"daylight"``.

    Raises
    ------
    InputError
        For another name.

    References
    ----------
    CIE 015:2018 as carried by colour-science.
    """
    import colour

    if name not in AMBIENT:
        raise InputError("ambient light", name, f"one of {', '.join(AMBIENT)}")
    key, source = AMBIENT[name]
    table = colour.SDS_ILLUMINANTS[key]
    if key == "D65":  # CIE defines it between its table values by linear interpolation
        values = np.interp(FINE, table.wavelengths, table.values)
        return spectrum(name, FINE, values, "parametric", source)
    return spectrum(name, table.wavelengths, table.values, "measured", source)


def light_source_names() -> tuple[str, ...]:
    """Return the names that `light_source` knows."""
    rows = [row for row in reference.table("light_source_spectra") if row.quantity == "x"]
    return tuple(row.group if row.name == "white" else f"{row.group}, {row.name}" for row in rows)


@cache
def light_source(name: str) -> LightSource:
    """Return the light of a projector by the kind of its light source.

    Parameters
    ----------
    name : str
        One of `light_source_names`, for example ``"lamp"`` or, in its brightest colour mode,
        ``"lamp, brightest white"``.

    Raises
    ------
    InputError
        For another name, or if no powers of the channels give the white of the table.

    Notes
    -----
    The emission is a sum of Gaussians, each averaged over every nanometre; bands split it into the channels. The
    three powers are solved so that the sum has the chromaticity of the table.
    """
    from scipy.special import ndtr

    if name not in light_source_names():
        raise InputError("light source", name, f"one of: {'; '.join(light_source_names())}")
    kind, _, mode = name.partition(", ")
    parts: dict[str, dict[str, float]] = {}
    for row in reference.table("light_source_spectra"):
        if row.group == kind:
            parts.setdefault(row.name, {})[row.quantity] = row.value
    emission = np.zeros_like(FINE)
    for part in parts.values():
        if "peak" in part:
            deviation = part["width"] / (2.0 * math.sqrt(2.0 * math.log(2.0)))
            below, above = ((FINE + end - part["peak"]) / deviation for end in (-0.5, 0.5))
            emission += part["weight"] * (ndtr(above) - ndtr(below))
    bands = [parts[f"{channel} band"] for channel in CHANNELS]
    inside = [(band["from"] <= FINE) & (band["to"] > FINE) for band in bands]
    split = np.where(np.stack(inside), emission, 0.0)
    white = parts[mode or "white"]
    x, y = white["x"], white["y"]
    powers = np.linalg.solve((split @ colour_matching()).T, [x / y, 1.0, (1.0 - x - y) / y])
    if np.any(powers <= 0.0):
        raise InputError(f"light source {name!r}: white", (x, y), "a chromaticity between those of its channels")
    source = "sum of Gaussians and bands from light_source_spectra.csv; from memory, no product measured"
    spectra = [
        spectrum(f"{name}: {channel}", FINE, values, "parametric", source)
        for channel, values in zip(CHANNELS, powers[:, None] * split, strict=True)
    ]
    return LightSource(name=name, red=spectra[0], green=spectra[1], blue=spectra[2], source=source)


def measured(name: str, known: dict[str, float], source: str) -> Spectrum:
    """A spectrum that colour-science carries."""
    import colour

    if "chart patch" in known:
        patches = tuple(colour.SDS_COLOURCHECKERS["BabelColor Average"].values())
        patch = patches[int(known["chart patch"]) - 1]
        return spectrum(name, patch.wavelengths, patch.values, "measured", source)
    from colour.quality.cfi2017 import load_TCS_CIE2017

    samples = load_TCS_CIE2017(colour.SpectralShape(WAVELENGTHS[0], WAVELENGTHS[-1], 5))
    values = samples.values[:, int(known["cfi 2017 sample"]) - 1]
    return spectrum(name, samples.wavelengths, values, "measured", source)


def flat(name: str, source: str) -> Spectrum:
    """Return a spectrum that is the same all over."""
    return spectrum(name, WAVELENGTHS, np.full(len(WAVELENGTHS), 0.5), "assumed flat", source)


def spectrum(name: str, wavelengths: Iterable[Any], values: Iterable[Any], origin: str, source: str) -> Spectrum:
    """Return a spectrum from any sequences of numbers."""
    return Spectrum(name=name, wavelengths=tuple(wavelengths), values=tuple(values), origin=origin, source=source)


def _many(field: str, value: Any) -> tuple[Any, ...]:
    right = "two or more numbers"
    if isinstance(value, str) or not isinstance(value, Iterable):
        raise InputError(field, value, right)
    items = tuple(value)
    if len(items) < 2:
        raise InputError(field, items, right)
    return items
