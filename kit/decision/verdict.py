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
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from kit import reference
from kit.bands import in_quadrature
from kit.errors import InputError
from kit.eye.contrast import contrast_end
from kit.fields import CONTRAST, WHITE_LUMINANCE, check_fields, declared
from kit.results import Result, make_frame
from kit.words import band, capital, join, percent, short

if TYPE_CHECKING:
    import pandas as pd

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

    white_luminance: float = declared(WHITE_LUMINANCE, default=4.0)
    contrast: float = declared(CONTRAST, default=15.0)

    def __post_init__(self) -> None:
        check_fields(self)

    @classmethod
    def from_reference(cls, *, district: str = "dark", purpose: str = "basic decision making") -> Target:
        """Return the target for a district brightness and a purpose named in the reference data."""
        return cls(
            white_luminance=reference.row("luminance_targets", district, group="district brightness").value,
            contrast=reference.row("contrast_categories", purpose).value,
        )


def checked_target(target: Target | None) -> Target:
    """Return `target`, or the default one for None; anything else: `InputError`."""
    if target is None:
        return Target()
    if not isinstance(target, Target):
        raise InputError("target", target, "a kit.Target")
    return target


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

    def sentence(self, units: str = "m") -> str:
        """Return what would mend it, in words; the same in any `units`."""
        options = []
        if self.light_output is not None:
            options.append(f"{short(self.light_output)} lumens")
        if self.reflectance is not None:
            options.append(f"a surface of reflectance {self.reflectance:.2f}{_like(self.reflectance)}")
        if self.ambient_illuminance is not None:
            options.append(f"at most {short(self.ambient_illuminance)} lx of ambient light")
        if self.picture_width is not None:
            options.append(f"a picture {self.picture_width:.2f} times as wide")
        if not options:
            return "Neither more lumens nor another surface mends it: the projector's own black is too bright."
        return f"What would mend it: {join(options, 'or')}."


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
        None where the nominal median meets the target, for coverage, or where no light comes back at all.
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
        return "not lit" if figure is None else band(figure.low, figure.median, figure.high)

    def row(self) -> dict[str, Any]:
        """Return the figures as a row of the frame of a `Verdict`."""
        row: dict[str, Any] = {
            "part": "the whole front" if self.kind == "front" else self.name,
            "share of front": self.share_of_front,
            "lit": self.lit_share,
            "pass": self.passing_share,
        }
        for name, figure in (("white [cd/m²]", self.white_luminance), ("contrast", self.contrast)):
            row[f"low {name}"] = np.nan if figure is None else figure.low
            row[name] = np.nan if figure is None else figure.median
            row[f"high {name}"] = np.nan if figure is None else figure.high
        return row | {"verdict": self.status}

    def sentence(self, target: Target) -> str:
        """Return the verdict on this part as a sentence for someone who never heard of a lux."""
        name = "The front as a whole" if self.kind == "front" else capital(self.name)
        if self.white_luminance is None or self.contrast is None or self.criterion == "coverage":
            return f"{name}: not enough. The picture reaches only {percent(self.lit_share)} of it."
        white, contrast = self.white_luminance, self.contrast
        text = (
            f"{name}: {self.status}. White reaches {short(white.median)} cd/m²"
            f" (likely {short(white.low)} to {short(white.high)}; {short(target.white_luminance)} wanted),"
            f" contrast {short(contrast.median)}:1 (likely {short(contrast.low)} to {short(contrast.high)};"
            f" {short(target.contrast)}:1 wanted)."
        )
        if self.shortfall == np.inf:
            text += " Most of it sends no light back; only another surface mends that."
        elif self.shortfall > 1.0:
            text += f" Its {self.criterion} falls short by a factor of {self.shortfall:.1f}."
        elif self.criterion:
            text += f" Its {self.criterion} could fall short on a bad day."
        if self.remedy is not None:
            text += f" {self.remedy.sentence()}"
        return text


@dataclass(frozen=True, kw_only=True)
class Verdict(Result):
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

    def sentence(self, units: str = "m") -> str:
        """Return the verdict in words: the front first, then what passes and what does not."""
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
                text += f" {word} {share:.0%} of it: {join([p.name for p in parts])}."
        if bad:
            largest = max(bad, key=lambda p: p.area)
            if largest.criterion == "coverage":
                text += f" The picture reaches only {largest.lit_share:.0%} of the {largest.name}."
            elif largest.shortfall == np.inf:
                text += f" Most of the {largest.name} sends no light back; only another surface mends that."
            elif largest.shortfall > 1:
                text += f" The {largest.name} is short by a factor of {largest.shortfall:.1f} in {largest.criterion}."
                if largest.remedy is not None:
                    text += f" {largest.remedy.sentence(units)}"
        return text

    def frame(self, units: str = "m", *, kind: Literal["surface", "patch"] = "surface") -> pd.DataFrame:
        """Return the figures, a row for each surface or patch, the whole front last; the same in any `units`."""
        parts = (*(self.surfaces if kind == "surface" else self.patches), self.front)
        shares = dict.fromkeys(("share of front", "lit", "pass"), ".0%")
        formats = shares | {"white [cd/m²]": "band", "contrast": "band"}
        return make_frame([part.row() for part in parts], formats, index="part")


def judge(light: xr.Dataset, target: Target | None = None) -> Verdict:
    """Judge a map of light against a target.

    Parameters
    ----------
    light : xarray.Dataset
        From `light_map`.
    target : Target
        The default target if not given.

    Returns
    -------
    Verdict

    Raises
    ------
    InputError
        For a map that is not one of `light_map`, or of which no part counts.
    """
    target = checked_target(target)
    if not isinstance(light, xr.Dataset) or "white_luminance" not in light or "patch" not in light:
        raise InputError("light", type(light).__name__, "the Dataset that kit.light_map returns")
    data = light.variables  # quicker than a labelled array with its coordinates each time
    points = judged_points(light)
    seen, patch = points.seen, points.patch
    veil = float(data["veiling_luminance"].values.sum())
    stated = float(light.attrs["stated_light_output"])
    white, black, contrast, rho, illuminance = (
        data[name].values.ravel()[seen]
        for name in ("white_luminance", "black_luminance", "contrast", "reflectance", "illuminance")
    )
    ambient_lux = data["ambient_illuminance"].values.sum(axis=0).ravel()[seen]
    light_band, walls = (light[name] for name in ("light_band", "reflectance_band"))
    rows = np.empty((len(_ROWS), seen.size))
    point = dict(zip(_ROWS, rows, strict=True))
    point["white"][:], point["contrast"][:] = white, contrast
    ambient = rho * (ambient_lux / np.pi)
    point["ambient now"][:] = ambient_lux
    base_white, base_black = white + ambient, black + ambient
    with np.errstate(divide="ignore", invalid="ignore"):
        for end, sign in (("low", -1), ("high", 1)):
            factor = float(light_band.sel(level=end))
            ratio = np.where(rho > 0, walls.sel(level=end).values[patch] / rho, 1.0)
            point[f"white {end}"][:] = white * in_quadrature((factor, ratio), sign)
            point[f"contrast {end}"][:] = contrast_end(white, black, ambient, veil, contrast, factor, ratio, sign)
        # The factor on all the light, at each point, that would just do.
        headroom = white - target.contrast * black
        point["need"][:] = np.where(headroom > 0, (target.contrast - 1.0) * (ambient + veil) / headroom, np.inf)
        point["need for luminance"][:] = target.white_luminance / white
        np.maximum(point["need"], point["need for luminance"], out=point["need"])
        # The reflectance that would do: luminance grows with it, and the veil matters less.
        gap = base_white - target.contrast * base_black
        by_veil = np.where(gap > 0, rho * veil * (target.contrast - 1.0) / gap, np.inf)
        by_veil = np.where(contrast >= target.contrast, 0.0, by_veil)
        point["reflectance"][:] = np.maximum(rho * point["need for luminance"], by_veil)
        limit = headroom / (target.contrast - 1.0) - veil
        point["ambient"][:] = np.where(ambient > 0, ambient_lux * limit / ambient, np.inf)

    lit = illuminance > 0
    passing = lit & (white >= target.white_luminance) & (contrast >= target.contrast)

    def part(name: str, kind: Literal["patch", "surface", "front"], member: slice) -> Part:
        count = member.stop - member.start
        bright = rows[:, member]
        if not lit[member].all():
            bright = bright[:, lit[member]]
        return _part(
            name,
            kind,
            bright,
            target,
            stated,
            area=count * float(light.attrs["spacing"]) ** 2,
            share_of_front=count / seen.size,
            lit_share=bright.shape[1] / count,
            passing_share=float(passing[member].sum()) / count,
        )

    names = data["patch_name"].values
    return Verdict(
        target=target,
        front=part(str(light.attrs["front"]), "front", slice(0, seen.size)),
        surfaces=tuple(part(name, "surface", run) for name, run in points.surfaces),
        patches=tuple(part(str(names[i]), "patch", run) for i, run in sorted(_runs(patch))),
        stated_light_output=stated,
    )


@dataclass(frozen=True, kw_only=True)
class Points:
    """The points of a map that are judged, surface by surface and patch by patch.

    Attributes
    ----------
    seen : array, shape (n,)
        Index into the map, read row by row.
    patch : array, shape (n,)
        Index of the patch at each.
    surfaces : tuple of (str, slice)
        Each kind of surface, and where its points are.
    """

    seen: NDArray[np.intp]
    patch: NDArray[np.intp]
    surfaces: tuple[tuple[str, slice], ...]


def judged_points(light: xr.Dataset) -> Points:
    """Return the points of a map from `light_map` that are judged; none: `InputError`."""
    data = light.variables
    index = data["patch"].values
    names, surface_names = data["patch_name"].values, data["surface_name"].values
    judged = np.append(data["judged"].values.astype(bool), False)  # the last serves the index -1
    chosen = judged[index]
    if not chosen.any():
        raise InputError(
            "judged", names[np.unique(index[index >= 0])].tolist(), "at least one visible patch that counts"
        )
    kinds = list(dict.fromkeys(surface_names[np.unique(index[chosen])]))
    kind_of = np.array([kinds.index(n) if n in kinds else -1 for n in surface_names])
    # All points that count in one row, patch by patch and surface by surface, so that each part is a slice.
    seen = np.flatnonzero(chosen)
    patch = index.ravel()[seen].astype(np.intp)
    order = np.lexsort((patch, kind_of[patch]))
    seen, patch = seen[order], patch[order]
    surfaces = tuple((str(kinds[k]), run) for k, run in _runs(kind_of[patch]))
    return Points(seen=seen, patch=patch, surfaces=surfaces)


def _runs(keys: NDArray[np.intp]) -> list[tuple[int, slice]]:
    edges = [0, *(np.flatnonzero(np.diff(keys)) + 1).tolist(), keys.size]
    return [(int(keys[a]), slice(a, b)) for a, b in pairwise(edges)]


# Figures at each point, in the order of the rows they are kept in: six of what is, four of what it takes, and the
# ambient light that there is.
_ROWS = (
    "white",
    "white low",
    "white high",
    "contrast",
    "contrast low",
    "contrast high",
    "need",
    "need for luminance",
    "reflectance",
    "ambient",
    "ambient now",
)


def _part(
    name: str,
    kind: Literal["patch", "surface", "front"],
    bright: Array,
    target: Target,
    stated: float,
    **shares: float,
) -> Part:
    """Judge a part from the figures at its lit points, shape (row, point)."""
    white = contrast = remedy = None
    status: Status = "not enough"
    lit_share = shares["lit_share"]
    criterion, shortfall = "coverage", np.inf if not lit_share else 0.5 / lit_share
    if bright.shape[1]:
        median = dict(zip(_ROWS[:6], np.median(bright[:6], axis=1).tolist(), strict=True))
        white, contrast = _figure(bright, median, "white"), _figure(bright, median, "contrast")
    if white is not None and contrast is not None and lit_share >= 0.5:
        pairs = (("white luminance", white, target.white_luminance), ("contrast", contrast, target.contrast))
        failing = [label for label, figure, wanted in pairs if figure.high < wanted]
        doubtful = [label for label, figure, wanted in pairs if figure.low < wanted]
        status = "not enough" if failing else "borderline" if doubtful else "enough"
        short = {label: wanted / figure.median if figure.median else np.inf for label, figure, wanted in pairs}
        shortfall = max(short.values())
        missed = [label for label, factor in short.items() if factor > 1]
        criterion = " and ".join(failing or missed or doubtful)
        if missed and np.isfinite(shortfall):
            needs = dict(zip(_ROWS[6:], np.median(bright[6:], axis=1).tolist(), strict=True))
            remedy = _remedy(needs, stated)
    return Part(
        name=name,
        kind=kind,
        white_luminance=white,
        contrast=contrast,
        status=status,
        criterion=criterion,
        shortfall=float(shortfall),
        remedy=remedy,
        **shares,
    )


def _figure(bright: Array, median: dict[str, float], name: str) -> Figure:
    values = bright[_ROWS.index(name)]
    return Figure(
        worst=float(values.min()),
        median=median[name],
        best=float(values.max()),
        low=median[f"{name} low"],
        high=median[f"{name} high"],
    )


def _remedy(median: dict[str, float], stated: float) -> Remedy:
    factor, reflectance, ambient = median["need"], median["reflectance"], median["ambient"]
    # Less ambient light helps contrast only.
    bright_enough = median["need for luminance"] <= 1.0
    possible = bool(np.isfinite(factor))
    return Remedy(
        light_output=stated * factor if possible else None,
        reflectance=reflectance if reflectance <= 1.0 else None,
        ambient_illuminance=ambient if bright_enough and 0.0 <= ambient < median["ambient now"] else None,
        picture_width=factor**-0.5 if possible else None,
    )


def _like(reflectance: float) -> str:
    """Return the least light wall covering of the reference data that is light enough, as a phrase."""
    kinds = ("brick", "siding", "stucco", "fabric", "paint")
    light = [row for row in reference.table("surfaces") if row.group in kinds and row.value >= reflectance]
    return f" (about as light as {min(light, key=lambda row: row.value).name})" if light else ""


def _named(parts: tuple[Part, ...], field: str, name: str) -> Part:
    for part in parts:
        if part.name == name:
            return part
    raise InputError(field, name, f"one of {', '.join(p.name for p in parts)}")
