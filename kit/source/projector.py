"""The projector: stated light output, the factors on its way to the wall, leak, scatter and zones.

Stated lumens are not lumens on the wall. A `Projector` carries a chain of named `Factor` values, each
with low, nominal and high and a source; none is applied that was not given. `typical_chain` reads the
documented one from ``reference_data/light_losses.csv``.

The factors are independent of each other, so their product's band is taken as the root of the summed
squares of the relative (logarithmic) deviations, the rule for a product in JCGM 100:2008 (GUM),
clause 5.1.2. Multiplying all the lows instead would describe a machine in which everything went wrong at once.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from kit import reference
from kit.errors import InputError, number, numbers, text

LEVELS = ("low", "nominal", "high")

# What a first-time buyer can count on: see the notes in the table for each option.
TYPICAL_OPTIONS = {
    "rating": "as stated",
    "picture mode": "standard",
    "ageing": "first seasons",
    "lens": "middle of zoom",
    "housing window": "plain pane",
    "dust": "clean",
}


@dataclass(frozen=True, kw_only=True)
class Factor:
    """One factor between stated lumens and lumens on the wall.

    Parameters
    ----------
    name : str
        For example ``"housing window: plain pane"``.
    low, nominal, high : float
        Transmitted share, 0 < low <= nominal <= high <= 1.5 (a unit may deliver more than stated).
    source : str
        Where the numbers come from.
    """

    name: str
    low: float
    nominal: float
    high: float
    source: str

    def __post_init__(self) -> None:
        where = f"factor {text('factor name', self.name)!r}"
        text(f"{where}: source", self.source)
        for level in LEVELS:
            number(f"{where}: {level}", getattr(self, level), above=0.0, maximum=1.5)
        if not self.low <= self.nominal <= self.high:
            raise InputError(where, (self.low, self.nominal, self.high), "low <= nominal <= high")


@dataclass(frozen=True, kw_only=True)
class Projector:
    """A video projector, described by figures of its data sheet or of a light meter.

    Parameters
    ----------
    light_output : float or sequence of float
        Stated light output [lm], above 0. A sequence is a sweep: maps get a leading dimension.
    throw_ratio : float or (float, float)
        Distance / picture width, above 0. A pair is the range of a zoom lens; `at` sets it.
    resolution : (int, int)
        Picture elements across and down; gives the aspect.
    lens_shift : (float, float)
        Picture centre against the lens axis: picture widths to the right, picture heights up, as the
        audience sees it.
    sequential_contrast : float
        Full white over full black, one after the other, measured; above 1. Infinite: no leak.
    checkerboard_contrast : float, optional
        White over black zones of a 16-zone checkerboard, measured in the dark; at most
        `sequential_contrast`. What it lacks to that is light scattered inside the lens.
        Not given: no scatter.
    zones : 3 x 3 floats, optional
        Illuminance readings of a white picture on a perpendicular wall at the centres of nine equal
        zones, any one unit, top row first, left to right as the audience sees it (IEC 61947-1).
    chain : sequence of Factor
        Applied to `light_output`; empty: what is stated reaches the wall.

    Raises
    ------
    InputError
        For any value outside its domain.
    """

    light_output: float | tuple[float, ...]
    throw_ratio: float | tuple[float, float]
    resolution: tuple[int, int] = (1920, 1200)
    lens_shift: tuple[float, float] = (0.0, 0.0)
    sequential_contrast: float = math.inf
    checkerboard_contrast: float | None = None
    zones: tuple[tuple[float, ...], ...] | None = None
    chain: tuple[Factor, ...] = ()

    def __post_init__(self) -> None:
        fix = object.__setattr__
        fix(self, "light_output", sweep("light_output", self.light_output, above=0.0, unit="lm"))
        if is_many(self.throw_ratio):
            short, long = (number("throw_ratio", r, above=0.0) for r in numbers("throw_ratio", self.throw_ratio, 2))
            if short > long:
                raise InputError("throw_ratio", self.throw_ratio, "a range (shortest, longest)")
            fix(self, "throw_ratio", (short, long))
        else:
            fix(self, "throw_ratio", number("throw_ratio", self.throw_ratio, above=0.0))
        across, down = numbers("resolution", self.resolution, 2)
        if across < 1 or down < 1 or across != int(across) or down != int(down):
            raise InputError("resolution", self.resolution, "two whole numbers of 1 or more")
        fix(self, "resolution", (int(across), int(down)))
        fix(self, "lens_shift", numbers("lens_shift", self.lens_shift, 2))
        if self.sequential_contrast != math.inf:
            number("sequential_contrast", self.sequential_contrast, above=1.0)
        if self.checkerboard_contrast is not None:
            number(
                "checkerboard_contrast",
                self.checkerboard_contrast,
                above=1.0,
                maximum=self.sequential_contrast,
            )
        if self.zones is not None:
            if not is_many(self.zones) or len(self.zones) != 3:
                raise InputError("zones", self.zones, "three rows of three readings, top row first")
            rows = tuple(numbers(f"zones[{i}]", row, 3) for i, row in enumerate(self.zones))
            for row in rows:
                for reading in row:
                    number("zones", reading, above=0.0)
            fix(self, "zones", rows)
        if not is_many(self.chain):
            raise InputError("chain", self.chain, "a sequence of kit.Factor values")
        fix(self, "chain", tuple(self.chain))
        for factor in self.chain:
            if not isinstance(factor, Factor):
                raise InputError("chain", factor, "kit.Factor values")

    @property
    def aspect(self) -> float:
        """Picture width over picture height."""
        return self.resolution[0] / self.resolution[1]

    def at(self, throw_ratio: float) -> Projector:
        """Return this projector with its zoom set to one `throw_ratio` of its range."""
        ratio = number("throw_ratio", throw_ratio, above=0.0)
        if isinstance(self.throw_ratio, tuple):
            short, long = self.throw_ratio
            if not short <= ratio <= long:
                raise InputError("throw_ratio", throw_ratio, f"{short:g} to {long:g}, the range of this lens")
        return replace(self, throw_ratio=ratio)

    def fixed_throw_ratio(self) -> float:
        """Return the one throw ratio in use, or raise `InputError` for a zoom that is not set."""
        if isinstance(self.throw_ratio, tuple):
            raise InputError("throw_ratio", self.throw_ratio, "one throw ratio; set the zoom with projector.at(1.2)")
        return self.throw_ratio

    def transmission(self) -> tuple[float, float, float]:
        """Return the chain's product as (low, nominal, high), dimensionless.

        Low and high combine the factors' relative deviations in quadrature (JCGM 100:2008, 5.1.2).
        """
        return combine([(f.low, f.nominal, f.high) for f in self.chain])

    def leak(self) -> float:
        """Return the share of the white picture's light that a black picture lets through."""
        return 1.0 / self.sequential_contrast

    def scatter(self) -> float:
        """Return the lens scatter on a black spot, as a share of white, at full average picture level.

        On a checkerboard half the picture is white: black / white = leak + scatter / 2.
        """
        if self.checkerboard_contrast is None:
            return 0.0
        return 2.0 * (1.0 / self.checkerboard_contrast - 1.0 / self.sequential_contrast)


def combine(factors: Iterable[Sequence[float]]) -> tuple[float, float, float]:
    """Return the product of factors, each (low, nominal, high), with their deviations in quadrature."""
    rows = list(factors)
    nominal = math.prod(middle for _, middle, _ in rows)
    down = math.sqrt(sum(math.log(middle / low) ** 2 for low, middle, _ in rows))
    up = math.sqrt(sum(math.log(high / middle) ** 2 for _, middle, high in rows))
    return nominal * math.exp(-down), nominal, nominal * math.exp(up)


def typical_chain(options: Mapping[str, str] | None = None) -> tuple[Factor, ...]:
    """Return the documented chain from stated lumens to lumens on the wall.

    Parameters
    ----------
    options : mapping, optional
        Changes to the defaults, group to option, for example ``{"picture mode": "brightest"}``.
        Groups and options are those of ``reference_data/light_losses.csv``.

    Raises
    ------
    InputError
        For an unknown group or option; the message lists the known ones.
    """
    chosen = dict(TYPICAL_OPTIONS)
    for group, option in (options or {}).items():
        if group not in chosen:
            raise InputError("chain", group, f"one of {', '.join(chosen)}")
        chosen[group] = option
    factors = []
    for group, option in chosen.items():
        row = reference.row("light_losses", option, group=group)
        factors.append(
            Factor(
                name=f"{group}: {option}",
                low=row.low,
                nominal=row.value,
                high=row.high,
                source=f"{row.source}, {row.edition}, {row.locator} ({row.status})",
            )
        )
    return tuple(factors)


def typical_projector(
    light_output: float | Sequence[float],
    throw_ratio: float | tuple[float, float],
    *,
    options: Mapping[str, str] | None = None,
    resolution: tuple[int, int] = (1920, 1200),
    lens_shift: tuple[float, float] = (0.0, 0.5),
) -> Projector:
    """Return a projector of no particular make: documented contrast figures and chain of losses.

    Parameters
    ----------
    light_output, throw_ratio, resolution, lens_shift
        As for `Projector`.
    options : mapping, optional
        Changes to the typical chain, as for `typical_chain`.
    """
    sequential, checkerboard = (
        reference.value("projector_classes", quantity, group="default")
        for quantity in ("sequential contrast", "checkerboard contrast")
    )
    return Projector(
        light_output=light_output,  # type: ignore[arg-type]
        throw_ratio=throw_ratio,
        resolution=resolution,
        lens_shift=lens_shift,
        chain=typical_chain(options),
        sequential_contrast=sequential,
        checkerboard_contrast=checkerboard,
    )


def is_many(value: Any) -> bool:
    """Return whether `value` is a sequence of numbers rather than one number."""
    return not isinstance(value, str | bytes) and (
        isinstance(value, Sequence) or (hasattr(value, "__iter__") and getattr(value, "ndim", 1) > 0)
    )


def sweep(field: str, value: Any, **limits: Any) -> float | tuple[float, ...]:
    """Return one checked number, or a tuple of them if `value` is a one-dimensional sequence."""
    if not is_many(value):
        return number(field, value, **limits)
    result = tuple(number(f"{field}[{i}]", item, **limits) for i, item in enumerate(value))
    if not result:
        raise InputError(field, value, "at least one number")
    return result
