"""The verdict: is it enough, for each patch, each kind of surface and the front as a whole?

Two criteria, both from outside the kit: the luminance of white against the brightness of the surroundings,
and the contrast at the eye by purpose. A part of the front is judged by its median: half of its lit area, as
the audience sees it, does better. The band from low to high combines the light losses and the reflectance,
which are independent of each other, in quadrature (JCGM 100:2008, 5.1.2):

- ``enough``: both criteria hold at the low end of the band,
- ``not enough``: one of them fails even at the high end,
- ``borderline``: between.

A part of which the picture reaches less than half fails on ``coverage``, whatever the light.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from kit import reference
from kit.errors import InputError, number

Array = NDArray[np.float64]
Status = Literal["enough", "borderline", "not enough"]


@dataclass(frozen=True, kw_only=True)
class Target:
    """What counts as enough.

    Parameters
    ----------
    white_luminance : float
        Of projected white [cd/m2], above 0. The default suits a dark district (CIE 94-1993).
    contrast : float
        At the eye, above 1. The default is the second of the four categories of ANSI/INFOCOMM 3M-2011.
    """

    white_luminance: float = 4.0
    contrast: float = 15.0

    def __post_init__(self) -> None:
        number("white_luminance", self.white_luminance, above=0.0, unit="cd/m2")
        number("contrast", self.contrast, above=1.0)

    @classmethod
    def from_reference(cls, *, district: str = "dark", purpose: str = "basic decision making") -> Target:
        """Return the target for a district brightness and a purpose named in the reference data."""
        return cls(
            white_luminance=reference.row("luminance_targets", district, group="district brightness").value,
            contrast=reference.row("contrast_categories", purpose).value,
        )


@dataclass(frozen=True, kw_only=True)
class Figure:
    """One quantity over the lit part: worst, median and best point, and the median's band."""

    worst: float
    median: float
    best: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True)
class Remedy:
    """What alone would bring the median point to the target; None where it cannot.

    Parameters
    ----------
    light_output : float or None
        Stated light output of all projectors together [lm].
    reflectance : float or None
        Of the surface, in [0, 1].
    ambient_illuminance : float or None
        On the front [lx], at most.
    picture_width : float or None
        Relative to the present picture, with the same lumens.
    """

    light_output: float | None
    reflectance: float | None
    ambient_illuminance: float | None
    picture_width: float | None


@dataclass(frozen=True, kw_only=True)
class Part:
    """The verdict on one part of the front.

    Attributes
    ----------
    name, kind
        Kind is ``"patch"``, ``"surface"`` or ``"front"``.
    area : float
        As the audience sees it [m2].
    share_of_front, lit_share, passing_share : float
        Of the visible front; of the part that a picture reaches; of the part that meets both criteria.
    white_luminance, contrast : Figure or None
        None where nothing is lit.
    status : {"enough", "borderline", "not enough"}
    criterion : {"", "white luminance", "contrast", "white luminance and contrast", "coverage"}
        What fails, or may fail within the band.
    shortfall : float
        By which factor the nominal median misses the target it misses most; at most 1 when it does not.
    remedy : Remedy or None
        None where the nominal median meets the target, or for coverage.
    """

    name: str
    kind: Literal["patch", "surface", "front"]
    area: float
    share_of_front: float
    lit_share: float
    passing_share: float
    white_luminance: Figure | None
    contrast: Figure | None
    status: Status
    criterion: str
    shortfall: float
    remedy: Remedy | None

    def band(self, quantity: Literal["white_luminance", "contrast"]) -> str:
        """Return a figure's median and band as text, for example ``"2.0 (1.4 to 2.8)"``."""
        figure: Figure | None = getattr(self, quantity)
        if figure is None:
            return "not lit"
        return f"{_short(figure.median)} ({_short(figure.low)} to {_short(figure.high)})"

    def sentence(self, target: Target) -> str:
        """Return the verdict on this part as a sentence for someone who never heard of a lux."""
        name = "The front as a whole" if self.kind == "front" else self.name[:1].upper() + self.name[1:]
        if self.white_luminance is None or self.contrast is None or self.criterion == "coverage":
            return f"{name}: not enough. The picture reaches only {self.lit_share:.0%} of it."
        white, contrast = self.white_luminance, self.contrast
        text = (
            f"{name}: {self.status}. White reaches {_short(white.median)} cd/m2"
            f" (likely {_short(white.low)} to {_short(white.high)}; {_short(target.white_luminance)} wanted),"
            f" contrast {_short(contrast.median)}:1 (likely {_short(contrast.low)} to {_short(contrast.high)};"
            f" {_short(target.contrast)}:1 wanted)."
        )
        if self.shortfall > 1.0:
            text += f" Its {self.criterion} falls short by a factor of {self.shortfall:.1f}."
        elif self.criterion:
            text += f" Its {self.criterion} could fall short on a bad day."
        if self.remedy is not None:
            text += f" {_remedy_text(self.remedy)}"
        return text


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """The verdict on a front: as a whole, by kind of surface, by patch.

    ``print(verdict)`` shows the sentence and the table of surfaces.
    """

    target: Target
    front: Part
    surfaces: tuple[Part, ...]
    patches: tuple[Part, ...]
    stated_light_output: float

    @property
    def status(self) -> Status:
        """Status of the front as a whole."""
        return self.front.status

    def surface(self, name: str) -> Part:
        """Return the verdict on one kind of surface, or raise `InputError` with the names there are."""
        return _named(self.surfaces, "surface name", name)

    def patch(self, name: str) -> Part:
        """Return the verdict on one patch, or raise `InputError` with the names there are."""
        return _named(self.patches, "patch name", name)

    @property
    def sentence(self) -> str:
        """The verdict in words: the front first, then what passes and what does not."""
        good = [p for p in self.surfaces if p.status == "enough"]
        maybe = [p for p in self.surfaces if p.status == "borderline"]
        bad = [p for p in self.surfaces if p.status == "not enough"]
        opening = {
            "enough": "is enough for most of this front",
            "borderline": "may or may not be enough for this front",
            "not enough": "is not enough for most of this front",
        }[self.status]
        text = f"{self.stated_light_output:,.0f} lumens {opening}."
        for parts, word in ((good, "Good on"), (maybe, "Borderline on"), (bad, "Not enough on")):
            if parts:
                share = sum(p.share_of_front for p in parts)
                text += f" {word} {share:.0%} of it: {_join([p.name for p in parts])}."
        if bad:
            largest = max(bad, key=lambda p: p.area)
            if largest.criterion == "coverage":
                text += f" The picture reaches only {largest.lit_share:.0%} of the {largest.name}."
            elif largest.shortfall > 1:
                text += (
                    f" The {largest.name} is short by a factor of {largest.shortfall:.1f} in {largest.criterion}."
                )
                if largest.remedy is not None:
                    text += f" {_remedy_text(largest.remedy)}"
        return text

    def table(self, kind: Literal["surface", "patch"] = "surface") -> str:
        """Return the figures as a text table, one line for each surface or patch."""
        lines = [
            f"{'':28}{'share':>6}{'lit':>6}{'pass':>6}{'white cd/m2 (likely)':>24}{'contrast (likely)':>22}  verdict"
        ]
        for part in (*(self.surfaces if kind == "surface" else self.patches), self.front):
            lines.append(
                f"{part.name[:27]:28}{part.share_of_front:>6.0%}{part.lit_share:>6.0%}{part.passing_share:>6.0%}"
                f"{part.band('white_luminance'):>24}{part.band('contrast'):>22}  {part.status}"
                + (f": {part.criterion}" if part.criterion else "")
            )
        return "\n".join(lines)

    def __str__(self) -> str:
        return f"{self.sentence}\n\n{self.table()}"


def judge(light: xr.Dataset, target: Target | None = None) -> Verdict:
    """Judge a map of light against a target.

    Parameters
    ----------
    light : xarray.Dataset
        From `light_map`, without leading dimensions: pick one of a sweep with ``light.isel(...)``.
    target : Target
        The default target if not given.

    Returns
    -------
    Verdict

    Raises
    ------
    InputError
        For a map that still has a sweep, or that is not one of `light_map`.
    """
    target = target or Target()
    if not isinstance(light, xr.Dataset) or "white_luminance" not in light or "patch" not in light:
        raise InputError("light", type(light).__name__, "the Dataset that kit.light_map returns")
    if light["contrast"].dims != ("y", "x"):
        raise InputError(
            "light", light["contrast"].dims, 'one map on (y, x); pick one with light.isel(light_output=0)'
        )
    index = light["patch"].values
    seen = index >= 0
    patch = index[seen].astype(int)
    white = light["white_luminance"].values[seen]
    black = light["black_luminance"].values[seen]
    rho = light["reflectance"].values[seen]
    lit = light["illuminance"].values[seen] > 0
    ambient_lux = float(light["ambient_illuminance"])
    ambient = rho * ambient_lux / np.pi
    veil = float(light["veil_luminance"])
    stated = float(light["light_output"]) if "light_output" in light.coords else light.attrs["stated_light_output"]

    points = _Points(
        white=white,
        contrast=light["contrast"].values[seen],
        white_band=np.empty((2, white.size)),
        contrast_band=np.empty((2, white.size)),
        need=np.empty((3, white.size)),
        ambient_limit=np.empty(white.size),
        reflectance_need=np.empty(white.size),
    )
    light_band = light["light_band"].values
    limits = (light["reflectance_low"].values[patch], light["reflectance_high"].values[patch])
    with np.errstate(divide="ignore", invalid="ignore"):
        for i, (factor, limit, sign) in enumerate(((light_band[0], limits[0], -1), (light_band[2], limits[1], 1))):
            ratio = np.where(rho > 0, limit / rho, 1.0)
            points.white_band[i] = white * _spread(factor, ratio, sign)
            by_light = (factor * white + ambient + veil) / (factor * black + ambient + veil)
            by_wall = (ratio * (white + ambient) + veil) / (ratio * (black + ambient) + veil)
            points.contrast_band[i] = points.contrast * _spread(
                by_light / points.contrast, by_wall / points.contrast, sign
            )
        # The factor on all the light, at each point, that would just do.
        points.need[0] = target.white_luminance / white
        headroom = white - target.contrast * black
        points.need[1] = np.where(
            headroom > 0, (target.contrast - 1.0) * (ambient + veil) / headroom, np.inf
        )
        points.need[2] = np.maximum(points.need[0], points.need[1])
        # The reflectance that would do: luminance grows with it, and the veil matters less.
        gap = (white + ambient) - target.contrast * (black + ambient)
        by_veil = np.where(gap > 0, rho * veil * (target.contrast - 1.0) / gap, np.inf)
        by_veil = np.where(points.contrast >= target.contrast, 0.0, by_veil)
        points.reflectance_need[:] = np.maximum(rho * points.need[0], by_veil)
        limit_luminance = headroom / (target.contrast - 1.0) - veil
        points.ambient_limit[:] = np.where(ambient > 0, ambient_lux * limit_luminance / ambient, np.inf)

    def part(name: str, kind: Literal["patch", "surface", "front"], member: NDArray[np.bool_]) -> Part:
        return _part(name, kind, member, lit, points, target, stated, ambient_lux, float(light.attrs["spacing"]))

    names = light["patch_name"].values
    surface_names = light["surface_name"].values
    present = [i for i in range(len(names)) if (patch == i).any()]
    kinds = list(dict.fromkeys(surface_names[present]))
    kind_of = np.array([kinds.index(n) if n in kinds else -1 for n in surface_names])
    return Verdict(
        target=target,
        front=part(str(light.attrs["front"]), "front", np.ones(patch.size, dtype=bool)),
        surfaces=tuple(part(str(name), "surface", kind_of[patch] == k) for k, name in enumerate(kinds)),
        patches=tuple(part(str(names[i]), "patch", patch == i) for i in present),
        stated_light_output=float(stated),
    )


@dataclass(frozen=True, kw_only=True)
class _Points:
    """Figures at each visible point; bands are (low, high), need is (luminance, contrast, both)."""

    white: Array
    contrast: Array
    white_band: Array
    contrast_band: Array
    need: Array
    ambient_limit: Array
    reflectance_need: Array


def _spread(one: Array | float, other: Array | float, sign: int) -> Array:
    """Return the factor of two independent relative deviations, taken to the side of `sign`."""
    deviation = np.sqrt(np.log(one) ** 2 + np.log(other) ** 2)
    return np.exp(sign * deviation)


def _part(
    name: str,
    kind: Literal["patch", "surface", "front"],
    member: NDArray[np.bool_],
    lit: NDArray[np.bool_],
    points: _Points,
    target: Target,
    stated: float,
    ambient_lux: float,
    spacing: float,
) -> Part:
    bright = member & lit
    count, bright_count = int(member.sum()), int(bright.sum())
    passing = bright & (points.white >= target.white_luminance) & (points.contrast >= target.contrast)
    lit_share = bright_count / count
    white = _figure(points.white, points.white_band, bright) if bright_count else None
    contrast = _figure(points.contrast, points.contrast_band, bright) if bright_count else None
    status: Status = "not enough"
    criterion, shortfall, remedy = "coverage", np.inf if not lit_share else 0.5 / lit_share, None
    if white is not None and contrast is not None and lit_share >= 0.5:
        pairs = (("white luminance", white, target.white_luminance), ("contrast", contrast, target.contrast))
        failing = [label for label, figure, wanted in pairs if figure.high < wanted]
        doubtful = [label for label, figure, wanted in pairs if figure.low < wanted]
        status = "not enough" if failing else "borderline" if doubtful else "enough"
        short = {label: wanted / figure.median for label, figure, wanted in pairs}
        shortfall = max(short.values())
        missed = [label for label, factor in short.items() if factor > 1]
        criterion = " and ".join(failing or missed or doubtful)
        if missed:
            remedy = _remedy(points, bright, stated, ambient_lux)
    return Part(
        name=name,
        kind=kind,
        area=count * spacing**2,
        share_of_front=count / member.size,
        lit_share=lit_share,
        passing_share=float(passing.sum()) / count,
        white_luminance=white,
        contrast=contrast,
        status=status,
        criterion=criterion,
        shortfall=float(shortfall),
        remedy=remedy,
    )


def _figure(values: Array, band: Array, member: NDArray[np.bool_]) -> Figure:
    chosen = values[member]
    return Figure(
        worst=float(chosen.min()),
        median=float(np.median(chosen)),
        best=float(chosen.max()),
        low=float(np.median(band[0, member])),
        high=float(np.median(band[1, member])),
    )


def _remedy(points: _Points, member: NDArray[np.bool_], stated: float, ambient_lux: float) -> Remedy:
    factor = float(np.median(points.need[2, member]))
    reflectance = float(np.median(points.reflectance_need[member]))
    ambient = float(np.median(points.ambient_limit[member]))
    # Less ambient light helps contrast only.
    bright_enough = float(np.median(points.need[0, member])) <= 1.0
    possible = np.isfinite(factor)
    return Remedy(
        light_output=stated * factor if possible else None,
        reflectance=reflectance if reflectance <= 1.0 else None,
        ambient_illuminance=ambient if bright_enough and 0.0 <= ambient < ambient_lux else None,
        picture_width=factor**-0.5 if possible else None,
    )


def _remedy_text(remedy: Remedy) -> str:
    options = []
    if remedy.light_output is not None:
        options.append(f"{_short(remedy.light_output, 2)} lumens")
    if remedy.reflectance is not None:
        options.append(f"a surface of reflectance {remedy.reflectance:.2f}")
    if remedy.ambient_illuminance is not None:
        options.append(f"at most {_short(remedy.ambient_illuminance)} lx of ambient light")
    if remedy.picture_width is not None:
        options.append(f"a picture {remedy.picture_width:.2f} times as wide")
    if not options:
        return "Neither more lumens nor another surface mends it: the projector's own black is too bright."
    return f"What would mend it: {_join(options, 'or')}."


def _join(items: list[str], word: str = "and") -> str:
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} {word} {items[-1]}"


def _short(value: float, digits: int = 2) -> str:
    """Return a figure as a reader wants it: `digits` significant figures, thousands in groups."""
    if not np.isfinite(value):
        return "unlimited"
    if value == 0:
        return "0"
    places = digits - 1 - int(np.floor(np.log10(abs(value))))
    rounded = round(value, places)
    return f"{rounded:,.{max(0, places)}f}"


def _named(parts: tuple[Part, ...], field: str, name: str) -> Part:
    for part in parts:
        if part.name == name:
            return part
    raise InputError(field, name, f"one of {', '.join(p.name for p in parts)}")
