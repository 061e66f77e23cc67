"""The eye's own brightness in dim light: what the photometer's figures mean on a dark front.

Every luminance of the kit is photopic: light weighted as by the cones of an eye by day, V(lambda). A show on a dark
front has 0.1 to 3 cd/m2, where an eye sees with cones and rods together (mesopic, 0.005 to 5 cd/m2). Rods answer to
bluer light, V'(lambda), so light that is rich in blue is worth more there than a photometer says, and red light less;
but a detail that is looked at falls on the fovea, where there are no rods, and targets that come from practice were
measured with photometers: compare them with photopic figures.

This is system MES2 of CIE 191:2010 (constants read in a package that carries them, the text from memory; see
``reference_data/eye.csv``): L_mes = (m L_p + (1 - m) L_s V'0) / (m + (1 - m) V'0) with V'0 = V'(555 nm) = 683/1699, and
m = a + b log10 L_mes, between 0 and 1, for the field that the eye is adapted to. It is found round after round, for
light that is more or less white: below a ratio of 0.26 (orange or red light alone) it has several solutions, above 18
(blue light alone) no end. It describes how well and how fast something beside the line of sight is seen, not how bright
it looks.
"""

from collections.abc import Mapping, Sequence

import numpy as np

from kit import reference
from kit.arrays import Array, ArrayLike
from kit.errors import InputError
from kit.fields import NAME, Many, Number
from kit.results import Frame, Result, make_frame
from kit.source.spectra import LightSource, Spectrum, colour_matching, light_source
from kit.wall.facade import Surface
from kit.wall.surface_spectra import surface_spectrum
from kit.words import Phrases

LUMINANCE = Number(label="luminance", unit="cd/m²", low=0.0)
RATIO = Number(label="S/P ratio", low=0.3, high=15.0, meaning="of light that is more or less white")
ROUNDS = 300  # more than the ends of the range take to come within 1e-13
LUMINANCE_ROW = Many(of=Number(unit="cd/m²", above=0.0), least=1)
say = Phrases(__file__)
WORTH = say("table")

LUMINANCES = (0.1, 0.3, 1.0, 3.0, 5.0)
SOURCES = ("lamp", "laser phosphor", "three laser")
WALLS = ("red brick", "white painted brick")
EYES = "CIE 1924 Photopic Standard Observer", "CIE 1951 Scotopic Standard Observer"


def scotopic_photopic_ratio(light: Spectrum | LightSource, reflectance: Spectrum | None = None) -> float:
    """Return the S/P ratio of a light, or of a projector's white, as reflected: 1700 sum(s V') / (683 sum(s V))."""
    channels = light.channels if isinstance(light, LightSource) else (light,)
    power = np.sum([channel.fine for channel in channels], axis=0)
    sent = power if reflectance is None else power * reflectance.as_reflectance().fine
    photopic, scotopic = sent @ colour_matching(*EYES)
    return float(reference.value("eye", "maximum efficacy of rods over cones") * scotopic / photopic)


def mesopic_luminance(photopic: ArrayLike, ratio: ArrayLike) -> Array:
    """Return what photopic luminances of S/P ratios are worth to an eye adapted to them [cd/m2]; both broadcast."""
    light, sp = np.broadcast_arrays(np.asarray(photopic, float), np.asarray(ratio, float))
    a, b = (reference.value("eye", f"adaptation {name}") for name in ("at 1 cd/m2", "per decade"))
    peak = reference.value("eye", "scotopic efficiency at 555 nm")
    m = np.full(light.shape, 0.5)
    with np.errstate(divide="ignore"):  # no light: m becomes 0
        for _ in range(ROUNDS):
            seen = light * ((m + (1.0 - m) * peak * sp) / (m + (1.0 - m) * peak))
            m = np.clip(a + b * np.log10(seen), 0.0, 1.0)
    return seen[()]


def white_ratios() -> dict[str, float]:
    """Return the S/P ratio of the white of typical projectors on typical walls, by ``"wall, light source"``."""
    walls = {wall: surface_spectrum(Surface.from_reference(wall)) for wall in WALLS}
    pairs = ((wall, source) for wall in WALLS for source in SOURCES)
    return {f"{wall}, {name}": scotopic_photopic_ratio(light_source(name), walls[wall]) for wall, name in pairs}


class DimVision(Result):
    """What a photometer's figures mean to an eye adapted to a photopic luminance."""

    luminance: float  # of which `sentence` speaks [cd/m2]
    ratios: dict[str, float]  # S/P of each light: the rows of `frame`
    luminances: tuple[float, ...]  # of which it has a column each

    def frame(self, units: str = "m") -> Frame:
        """Return by how much each light is worth more or less beside the line of sight than a photometer says."""
        worth = mesopic_luminance(self.luminances, np.reshape(list(self.ratios.values()), (-1, 1))) / self.luminances
        columns = [f"at {level:g} cd/m²" for level in self.luminances]
        rows = [
            {"light": name, "S/P": ratio, **dict(zip(columns, (line - 1.0).tolist(), strict=True))}
            for (name, ratio), line in zip(self.ratios.items(), worth, strict=True)
        ]
        formats = dict.fromkeys(columns, lambda change: f"{change:+.0%}" if abs(change) >= 0.005 else "0%")
        return make_frame(rows, {"S/P": ".2f", **formats}, index="light")

    def sentence(self, units: str = "m") -> str:
        """Return in words what the figures mean at `luminance`; `units` change nothing."""
        lower, upper = (reference.value("eye", f"{end} end") for end in ("lower", "upper"))
        vision = "day" if self.luminance >= upper else "between" if self.luminance > lower else "night"
        at = np.format_float_positional(self.luminance, precision=2, fractional=False, trim="-")
        return f"{say(vision, at=at)} {WORTH}"


def dim_vision(
    luminance: float, lights: Mapping[str, float] | None = None, *, luminances: Sequence[float] = LUMINANCES
) -> DimVision:
    """Return what a photometer's figures mean to an eye that is adapted to a photopic `luminance` [cd/m2].

    `lights` are S/P ratios by name; not given: those of the white of typical projectors on typical walls. `luminances`
    are those to compare with, above 0 [cd/m2].
    """
    lights = white_ratios() if lights is None else lights
    if not isinstance(lights, Mapping) or not lights:
        raise InputError("lights", lights, "the S/P ratio of at least one light, by its name")
    ratios = {NAME.check("light", name): RATIO.check(f"light {name!r}: ratio", v) for name, v in lights.items()}
    level, levels = LUMINANCE.check("luminance", luminance), LUMINANCE_ROW.check("luminances", luminances)
    return DimVision(luminance=level, ratios=ratios, luminances=levels)
