"""The projector: stated light output, the factors on its way to the wall, leak, scatter and zones.

Stated lumens are not lumens on the wall. A `Projector` carries a chain of named `Factor` values, each with low, nominal
and high and a source; none is applied that was not given. The factors are independent of each other; their product's
band is that of draws (`kit.bands`), as JCGM 101:2008 has it, doi:10.59161/JCGM101-2008.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import reduce
from typing import Any, Self

import numpy as np

from kit import fields, reference
from kit.arrays import Array
from kit.bands import Levels, worked_out
from kit.errors import InputError
from kit.results import pick
from kit.source.spectra import light_source_names
from kit.words import capital

LEVELS = ("low", "nominal", "high")

# What a first-time buyer can count on: see the notes in the table for each option.
TYPICAL_OPTIONS = {
    "rating": "known maker", "picture mode": "standard", "power mode": "full", "ageing": "first seasons",
    "lens": "middle of zoom", "housing window": "plain pane", "dust": "clean",
}  # fmt: skip
LIGHT_SOURCE = fields.OneOf(label="light source", options=light_source_names, optional=True, meaning="None: daylight")
CLAIM = "cheap machine with a claim"
COLOUR_SHARE = fields.Band(
    label="colour light over white", of=fields.Number(above=0.0, high=1.5), default=1.0,
    meaning="light of full red, green and blue together over that of white (IDMS 15.4); low, nominal, high",
)  # fmt: skip


class NumberOrRange(fields.Number):
    """A number, or the range (lowest, highest) within which it can be set."""

    def _checked(self, field: str, value: Any) -> Any:
        return fields.Range(of=self)._checked(field, value) if is_many(value) else super()._checked(field, value)


# A machine may deliver more than is stated.
SHARE_DELIVERED = fields.Number(label="share delivered", above=0.0, high=1.5)
ZOOM = NumberOrRange(**vars(fields.THROW_RATIO))
RESOLUTION = fields.Vector(label="resolution", length=2, of=fields.Number(low=1, whole=True), default=(1920, 1200))
LENS_SHIFT = fields.Vector(label="lens shift", length=2, meaning="of the picture off the axis, in widths and heights")
SEQUENTIAL_CONTRAST = fields.CONTRAST.but(label="sequential contrast", meaning="full white over black", endless=True)
ZONES = fields.Many(
    label="lens zones", of=fields.Vector(of=fields.Number(above=0.0)), least=3, most=3,
    meaning="three rows of three readings, any one unit",
)  # fmt: skip
CHECKERBOARD_CONTRAST = fields.CONTRAST.but(label="checkerboard contrast", meaning="white over black of a checkerboard")


class Factor(fields.Declared):
    """One factor between stated lumens and lumens on the wall, such as ``"housing window: plain pane"``."""

    thing = "factor"
    name: str = fields.declared(fields.NAME)
    low: float = fields.declared(SHARE_DELIVERED)
    nominal: float = fields.declared(SHARE_DELIVERED)
    high: float = fields.declared(SHARE_DELIVERED)
    source: str = fields.declared(fields.SOURCE)

    def _agree(self, where: str) -> None:
        if not self.low <= self.nominal <= self.high:
            raise InputError(where, (self.low, self.nominal, self.high), "low <= nominal <= high")


CHAIN = fields.Many(label="losses", of=fields.Is(kind=Factor), meaning="on the light's way to the wall")


class Projector(fields.Declared):
    """A video projector, described by figures of its data sheet or of a light meter.

    Notes
    -----
    A pair of throw ratios is the range of a zoom lens; `at` sets it. What the checkerboard of 16 zones, measured in the
    dark, lacks to the sequential contrast is light scattered inside the lens; not given: none. The lens zones are
    readings of a white picture on a perpendicular wall at the centres of nine equal parts, top row first, left to
    right as the audience sees it (IEC 61947-1).

    Examples
    --------
    >>> import kit
    >>> zoom = kit.Projector(light_output=4000, throw_ratio=(1.2, 2.0), sequential_contrast=2000)
    >>> zoom.at(1.5).throw_ratio
    1.5
    >>> zoom.leak()
    0.0005
    """

    light_output: float = fields.declared(fields.LIGHT_OUTPUT)
    throw_ratio: float | tuple[float, float] = fields.declared(ZOOM)
    resolution: tuple[int, int] = fields.declared(RESOLUTION)
    lens_shift: tuple[float, float] = fields.declared(LENS_SHIFT, default=(0.0, 0.0))
    sequential_contrast: float = fields.declared(SEQUENTIAL_CONTRAST, default=math.inf)
    checkerboard_contrast: float | None = fields.declared(CHECKERBOARD_CONTRAST, default=None)
    zones: tuple[tuple[float, float, float], ...] | None = fields.declared(ZONES, default=None)
    colour_share: Levels = fields.declared(COLOUR_SHARE)
    light_source: str | None = fields.declared(LIGHT_SOURCE, default=None)
    chain: tuple[Factor, ...] = fields.declared(CHAIN, default=())

    def _agree(self, where: str) -> None:
        if self.checkerboard_contrast is not None and self.checkerboard_contrast > self.sequential_contrast:
            right = f"at most the sequential contrast, {self.sequential_contrast:g}"
            raise InputError("checkerboard_contrast", self.checkerboard_contrast, right)

    @property
    def aspect(self) -> float:
        """Picture width over picture height."""
        return self.resolution[0] / self.resolution[1]

    def at(self, throw_ratio: float) -> Self:
        """Return this projector with its zoom set to one `throw_ratio` of its range."""
        ratio = fields.THROW_RATIO.check("throw_ratio", throw_ratio)
        if isinstance(self.throw_ratio, tuple):
            short, long = self.throw_ratio
            if not short <= ratio <= long:
                raise InputError("throw_ratio", throw_ratio, f"{short:g} to {long:g}, the range of this lens")
            return self.set_to(ratio, self.lens_shift, zoom=self.throw_ratio)
        return replace(self, throw_ratio=ratio)

    def set_to(self, throw_ratio: float, lens_shift: tuple[float, float], *, zoom: tuple[float, float]) -> Self:
        """Return this projector with its lens set within a range of `zoom`; a typical chain gets what that costs.

        A shift darkens the far edge of the picture most; it counts evenly, with a band down to what is left there.
        """
        (low, high), shift = zoom, math.hypot(*lens_shift)
        chain = [factor for factor in self.chain if not factor.name.startswith("lens shift: ")]
        where = [k for k, factor in enumerate(chain) if factor.name.startswith("lens: ") and "zoom" in factor.name]
        if low < high and low <= throw_ratio <= high and where:
            names = f"lens: zoom at {throw_ratio:.2f}", f"lens shift: {shift:.2f}"
            bands = lens_light(zoom, throw_ratio, shift).T.tolist()
            chain[where[0] : where[0] + 1] = [
                Factor(name=name, low=least, nominal=usual, high=most, source="between rows of light_losses.csv")
                for name, (least, usual, most) in zip(names, bands, strict=True)
            ]
        return replace(self, throw_ratio=throw_ratio, lens_shift=lens_shift, chain=tuple(chain))

    def fixed_throw_ratio(self) -> float:
        """Return the one throw ratio in use, or raise `InputError` for a zoom that is not set."""
        if isinstance(self.throw_ratio, tuple):
            raise InputError("throw_ratio", self.throw_ratio, "one throw ratio; set the zoom with projector.at(1.2)")
        return self.throw_ratio

    def coloured(self) -> Self:
        """Return this machine as full colours have it: their light, the black of the whole, scatter of their own."""
        (low, usual, high), source = self.colour_share, "colour light output or projector_classes.csv"
        own = Factor(name="colour light: of full colours over white", low=low, nominal=usual, high=high, source=source)
        chain, sequential, scatter = (*self.chain, own), self.sequential_contrast * usual, self.scatter()
        checkerboard = 1.0 / (1.0 / sequential + scatter / 2.0) if scatter else None
        return replace(self, chain=chain, sequential_contrast=sequential, checkerboard_contrast=checkerboard)

    def transmission(self) -> Levels:
        """Return the chain's product as (low, nominal, high), dimensionless; see `combine`."""
        return combine([(f.low, f.nominal, f.high) for f in self.chain])

    def delivered(self) -> Levels:
        """Return the lumens that reach the wall as (low, nominal, high): stated light output times the chain [lm]."""
        low, nominal, high = self.transmission()
        return self.light_output * low, self.light_output * nominal, self.light_output * high

    def leak(self) -> float:
        """Return the share of the white picture's light that a black picture lets through."""
        return 1.0 / self.sequential_contrast

    def scatter(self) -> float:
        """Return light scattered on black, over white, at full picture level: black / white = leak + scatter / 2."""
        if self.checkerboard_contrast is None:
            return 0.0
        return 2.0 * (1.0 / self.checkerboard_contrast - 1.0 / self.sequential_contrast)


def combine(factors: Iterable[Sequence[float]]) -> Levels:
    """Return the product of independent factors, each (low, nominal, high), with its band."""
    return worked_out(lambda *values: reduce(np.multiply, values, 1.0), *factors)


def lens_light(zoom: tuple[float, float], throw_ratio: Any, shift: Any) -> Array:
    """Return low, nominal and high of what a zoom at a throw ratio, and a shift, leave, shape (level, loss, ...)."""

    def between(group: str, options: tuple[str, ...], at: Any) -> list[Any]:
        rows = [reference.row("light_losses", option, group=group) for option in options]
        known = np.linspace(0.0, 1.0, len(rows))
        return [np.interp(at, known, [getattr(row, end) for row in rows]) for end in ("low", "value", "high")]

    low, high = zoom
    place, ends = (throw_ratio - low) / (high - low), ("wide end", "middle", "long end")
    zooms = between("lens", tuple(f"{end} of zoom" for end in ends), place)
    # The row for half a picture is the most that is known.
    return np.stack([zooms, between("lens shift", ("none", "half a picture"), 2.0 * shift)], axis=1)


def loss(group: str, label: str = "") -> fields.OneOf:
    """Return the declaration of an option of a group of ``reference_data/light_losses.csv``, None: the usual one."""
    return fields.OneOf(
        label=label or group, options=lambda: reference.names("light_losses", group), optional=True, default=None,
        nothing="as the show says", meaning=f"light lost by {group}",
    )  # fmt: skip


def warning(name: str, kind: str | None) -> str:
    """Return what a buyer has to know of the stated light of a kind of machine, in words; mostly nothing."""
    tests = "in tests, half of them gave less than 20% of what they state, and nearly nine in ten less than 80%."
    advice = f"is a {CLAIM}: {tests} Buy none that you cannot give back, and measure it."
    return f"{capital(name)} {advice}" if kind == CLAIM else ""


def typical_chain(options: Mapping[str, str] | None = None, *, light_source: str | None = None) -> tuple[Factor, ...]:
    """Return the documented chain from stated lumens to lumens on the wall.

    `options` are changes to the defaults, group to option of ``reference_data/light_losses.csv``, for example
    ``{"power mode": "eco"}``. By its `light_source` a machine ages: a lamp faster than a laser, which None is taken as.
    """
    for group in options or {}:
        pick("chain", group, TYPICAL_OPTIONS)
    lamp, chain = ("factor of a lamp",) if (light_source or "").startswith("lamp") else (), list[Factor]()
    for group, option in (TYPICAL_OPTIONS | dict(options or {})).items():
        row = _first("light_losses", option, group, *lamp, "factor")
        source = f"{row.source}, {row.edition}, {row.locator} ({row.status})"
        chain.append(Factor(name=f"{group}: {option}", low=row.low, nominal=row.value, high=row.high, source=source))
    return tuple(chain)


def _first(table: str, name: str, group: str, *quantities: str) -> reference.Row:
    """Return the row of the first of some quantities that there is."""
    rows = {row.quantity: row for row in reference.table(table) if (row.group, row.name) == (group, name)}
    return next((rows[of] for of in quantities if of in rows), None) or reference.row(table, name, group=group)


def typical_projector(
    light_output: float, throw_ratio: float | tuple[float, float], *, options: Mapping[str, str] | None = None,
    resolution: tuple[int, int] = (1920, 1200), lens_shift: tuple[float, float] = (0.0, 0.5),
    light_source: str | None = None, panel: str | None = None, colour_share: Any = None,
) -> Projector:  # fmt: skip
    """Return a `Projector` of no particular make: documented contrast figures, corners and chain of losses.

    Parameters
    ----------
    light_output, throw_ratio, resolution, lens_shift
        As of `Projector`: stated lumens [lm], and (least, most) of a zoom.
    options : mapping, optional
        Changes to the chain, by `light_source`, as for `typical_chain`.
    light_source, panel : str, optional
        Kinds of ``reference_data/light_source_spectra.csv`` and ``projector_classes.csv``; None: not known.
    colour_share : optional
        Light of full colours together over that of white, (low, nominal, high); None: as is usual for both.

    Examples
    --------
    >>> import kit
    >>> projector = kit.typical_projector(4000, 1.2)
    >>> [round(share, 2) for share in projector.transmission()]  # of the stated lumens: low, nominal, high
    [0.4, 0.63, 0.82]
    """
    sequential, checkerboard = (
        reference.value("projector_classes", panel or name, group="panel" if panel else "default", quantity=name)
        for name in ("sequential contrast", "checkerboard contrast")
    )
    if colour_share is None:
        three = ("colour light of three colours",) if (light_source or "").startswith("three") else ()
        group = ("panel", panel) if panel else ("default", "colour light")
        colour_share = _first("projector_classes", group[1], group[0], *three, "colour light").band
    return Projector(
        light_output=light_output, throw_ratio=throw_ratio, resolution=resolution, lens_shift=lens_shift,
        colour_share=colour_share, sequential_contrast=sequential, checkerboard_contrast=checkerboard,
        zones=usual_zones(resolution[0] / resolution[1]), light_source=light_source,
        chain=typical_chain(options, light_source=light_source),
    )  # fmt: skip


def usual_zones(aspect: float) -> tuple[Levels, Levels, Levels]:
    """Return nine readings of a round lens that is dimmer towards all corners, by their mean over the middle one."""
    corner = 1.0 - 1.5 * (1.0 - reference.value("projector_classes", "mean over centre"))
    side = (1.0 + corner * aspect**2) / (1.0 + aspect**2)
    return (outer := (corner, 1.0 + corner - side, corner)), (side, 1.0, side), outer


def is_many(value: Any) -> bool:
    """Return whether `value` is a sequence of numbers rather than one number."""
    # A numpy array without dimensions can be asked for an iterator, and has none.
    return not isinstance(value, str | bytes) and hasattr(value, "__iter__") and getattr(value, "ndim", 1) > 0
