"""Several projectors: stacked for more light, side by side, one for each storey, and what each way costs.

Illuminance of all machines adds up, and so does their black: two machines on the same wall have twice the white and
twice the black of one, so their contrast against ambient light grows as if one machine had twice the lumens. Where
pictures overlap only at their seams the white is faded (`Scene.blend`) and the black is not, so a dark scene shows the
seams brighter than the rest.

All machines are taken to be perfectly aligned. Outdoors stands move, and seams and stacked pictures drift apart.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from kit.decision.payoff import between_classes, projector_price
from kit.decision.verdict import Part, Status, Target, checked_target, judge, judged_points
from kit.errors import InputError, number, text
from kit.eye.light_map import Scene, light_map
from kit.light.cast import Cast, cast_light
from kit.source.placement import Placement
from kit.source.projector import Projector, is_many
from kit.wall.facade import Facade

Array = NDArray[np.float64]
Band = tuple[float, float, float]
Pairs = tuple[tuple[Projector, Placement], ...]

# Data sheets round a throw ratio: a lens without zoom fits within this share of it.
ROUNDED = 0.01
MOST = 16
STATES: tuple[Status, ...] = ("not enough", "borderline", "enough")


# Ways to set machines up


def stacked(projector: Projector, placement: Placement, count: int, *, gap: float = 0.35) -> Pairs:
    """Return `count` equal projectors one above the other whose pictures coincide on the plane of the wall.

    Parameters
    ----------
    projector : Projector
        One throw ratio. Each lens shift is set so that the pictures coincide on z = 0; on what stands in front of it
        they lie a little apart. Whether the real lens shifts that far is for its data sheet to say.
    placement : Placement
        Of the lowest; its axis square to z = 0, for only then does lens shift alone bring pictures into line.
    count : int
        1 to 16.
    gap : float
        From lens to lens, upwards [m], 0 or more.

    Returns
    -------
    tuple of (Projector, Placement)
        For a `Scene` that is not blended.

    Raises
    ------
    InputError
        For an axis that is not square to the wall, a lens behind it, or a zoom that is not set.
    """
    machine, place = _projector(projector), _placement(placement)
    many = _count(count, 1)
    step = number("gap", gap, minimum=0.0, unit="m")
    ratio = machine.fixed_throw_ratio()
    x, y, depth = place.position
    forward, right, up = place.frame()
    if not depth > 0.0:
        raise InputError("position", place.position, "a lens in front of the plane of the wall, z = 0")
    if abs(forward[2] + 1.0) > 1e-9:
        raise InputError("aim", place.aim, f"an axis square to the wall, such as aim = {(x, y, 0.0)}")
    width = depth / ratio
    across, above = machine.lens_shift
    pairs = []
    for i in range(many):
        raised = i * step
        shift = (across - raised * float(right[1]) / width, above - raised * float(up[1]) * machine.aspect / width)
        moved = replace(place, position=(x, y + raised, depth), aim=(place.aim[0], place.aim[1] + raised, place.aim[2]))
        pairs.append((replace(machine, lens_shift=shift), moved))
    return tuple(pairs)


def side_by_side(
    projector: Projector, facade: Facade, *, distance: float, height: float, overlap: float, count: int = 2
) -> Pairs:
    """Return `count` equal projectors in a row, each for its part of the width of a front.

    Parameters
    ----------
    projector : Projector
        Its zoom is set so that all pictures together are as wide as the front. A lens without zoom has to fit within
        1%, as data sheets round. Lens shift stays as it is.
    facade : Facade
    distance : float
        From the lenses to the plane z = 0, which they look at squarely [m], above 0.
    height : float
        Of the lenses above the ground line [m], 0 or more.
    overlap : float
        Of neighbouring pictures on that plane [m], 0 or more and less than a picture.
    count : int
        2 to 16.

    Returns
    -------
    tuple of (Projector, Placement)
        From left to right, for a `Scene` with ``blend=True``.

    Raises
    ------
    InputError
        For a width that the lens does not make at this distance; the message says at which distance it does.
    """
    machine, front = _projector(projector), _facade(facade)
    away = number("distance", distance, above=0.0, unit="m")
    lens = number("height", height, minimum=0.0, unit="m")
    many = _count(count, 2)
    common = number("overlap", overlap, minimum=0.0, unit="m")
    left, right, _, _ = front.bounds
    width = (right - left + (many - 1) * common) / many
    if common >= width:
        raise InputError("overlap", overlap, f"less than one picture, so less than {right - left:g} m")
    set_to = _fitted(machine, away, width)
    # The picture's middle goes where it is wanted by placing the lens; its shift across is left as it is.
    middles = left + width / 2.0 + (width - common) * np.arange(many) - machine.lens_shift[0] * width
    return tuple((set_to, _square(float(x), lens, away)) for x in middles)


def per_storey(
    projector: Projector, facade: Facade, *, distance: float, heights: tuple[float, ...], lens_height: float
) -> Pairs:
    """Return one projector for each storey of a front: a band as wide as the front, all lenses in one place.

    Parameters
    ----------
    projector : Projector
        Its zoom is set so that the picture covers the band's width and height, whichever asks for more, and its lens
        shift up or down so that the picture's middle is that of the band. A lens without zoom has to fit within 1%.
        Whether the real lens shifts that far is for its data sheet to say.
    facade : Facade
    distance : float
        From the lenses to the plane z = 0, which they look at squarely [m], above 0.
    heights : sequence of float
        Where the bands end, upwards: the foot of the lowest, then the top of each [m]. Two or more.
    lens_height : float
        Above the ground line [m], 0 or more.

    Returns
    -------
    tuple of (Projector, Placement)
        From the lowest band up, for a `Scene` with ``blend=True``: a picture that is higher than its band overlaps its
        neighbours.

    Raises
    ------
    InputError
        For bands that do not rise, or a width that the lens does not make at this distance.
    """
    machine, front = _projector(projector), _facade(facade)
    away = number("distance", distance, above=0.0, unit="m")
    lens = number("lens_height", lens_height, minimum=0.0, unit="m")
    if not is_many(heights) or len(heights) < 2 or len(heights) > MOST + 1:
        raise InputError("heights", heights, f"2 to {MOST + 1} heights in m, from the foot of the lowest band up")
    edges = [number(f"heights[{i}]", value, unit="m") for i, value in enumerate(heights)]
    if any(b <= a for a, b in pairwise(edges)):
        raise InputError("heights", heights, "heights that rise")
    left, right, _, _ = front.bounds
    pairs = []
    for low, high in pairwise(edges):
        width = max(right - left, (high - low) * machine.aspect)
        set_to = _fitted(machine, away, width)
        up = ((low + high) / 2.0 - lens) * machine.aspect / width
        x = (left + right) / 2.0 - machine.lens_shift[0] * width
        pairs.append((replace(set_to, lens_shift=(machine.lens_shift[0], up)), _square(x, lens, away)))
    return tuple(pairs)


# What each way gives


@dataclass(frozen=True, kw_only=True)
class Failure:
    """What is left when one projector is dark.

    Attributes
    ----------
    projector : int
        Which one fails, from 1.
    status : {"enough", "borderline", "not enough"}
    lit_share : float
        Of the front, that a picture still reaches.
    white_luminance, contrast : float
        Medians over what is still lit [cd/m2], [1]; 0 and 1 where nothing is.
    """

    projector: int
    status: Status
    lit_share: float
    white_luminance: float
    contrast: float


@dataclass(frozen=True, kw_only=True)
class Setup:
    """One way to light a front, with what it gives and what it takes.

    Attributes
    ----------
    name : str
    stated_light_output : float
        Of all machines [lm].
    count : int
    front : Part
        The verdict on the front as a whole.
    surfaces : tuple of Part
        And on each kind of surface.
    black : float
        Median luminance of projected black on the lit part that is judged [cd/m2].
    overlap_black, single_black : float or None
        The same where two or more machines reach, and where one does; None where there is no such part.
    overlap_share : float
        Of the lit part, where two or more reach.
    pixels : float
        Picture elements on the visible front, of all machines together; stacked machines show the same picture, so
        they add light and no detail.
    coarsest : float
        Side of a square as large as the largest picture element on the judged part [m]; 0 where none lands.
    price, power : (float, float, float) or None
        Low, nominal, high of all machines [USD], [W]; None where a class is not listed. Lows and highs add up, for
        machines of one make are dear or cheap together.
    failures : tuple of Failure
        With each projector off in turn.
    """

    name: str
    stated_light_output: float
    count: int
    front: Part
    surfaces: tuple[Part, ...]
    black: float
    overlap_black: float | None
    single_black: float | None
    overlap_share: float
    pixels: float
    coarsest: float
    price: Band | None
    power: Band | None
    failures: tuple[Failure, ...]

    @property
    def status(self) -> Status:
        """Verdict on the front as a whole."""
        return self.front.status

    @property
    def worst_failure(self) -> Failure:
        """The failure that leaves least: by verdict, then by what is lit, then by luminance."""
        return min(self.failures, key=lambda f: (STATES.index(f.status), f.lit_share, f.white_luminance))


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """Ways to light one front, side by side. ``print(comparison)`` shows sentence and table."""

    target: Target
    setups: tuple[Setup, ...]

    def setup(self, name: str) -> Setup:
        """Return the setup called `name`, or raise `InputError` with the names there are."""
        for setup in self.setups:
            if setup.name == name:
                return setup
        raise InputError("setup", name, f"one of {', '.join(s.name for s in self.setups)}")

    def table(self) -> str:
        """Return all figures as a text table, one column for each setup."""
        names = list(dict.fromkeys(part.name for setup in self.setups for part in setup.surfaces))
        rows = [("", [setup.name for setup in self.setups])]

        def add(label: str, cells: list[str]) -> None:
            rows.append((label, cells))

        add("stated light output, lm", [f"{s.stated_light_output:,.0f}" for s in self.setups])
        add("verdict on the front", [s.status for s in self.setups])
        add("lit share of the front", [f"{s.front.lit_share:.0%}" for s in self.setups])
        for label, quantity in (("white, cd/m2", "white_luminance"), ("contrast", "contrast")):
            add(f"{label}: front", [s.front.band(quantity) for s in self.setups])  # type: ignore[arg-type]
            for name in names:
                found = [[p for p in s.surfaces if p.name == name] for s in self.setups]
                add(f"  {name}", [p[0].band(quantity) if p else "-" for p in found])  # type: ignore[arg-type]
        add("black, cd/m2: lit part", [_small(s.black) for s in self.setups])
        add("  where pictures overlap", [_small(s.overlap_black) for s in self.setups])
        add("  where one reaches", [_small(s.single_black) for s in self.setups])
        add("overlap, share of lit part", [f"{s.overlap_share:.0%}" for s in self.setups])
        add("picture elements on the front", [f"{s.pixels / 1e6:.2f} million" for s in self.setups])
        add("coarsest of them, mm", [f"{1e3 * s.coarsest:.1f}" for s in self.setups])
        add("price, USD", [_band(s.price, "not listed") for s in self.setups])
        add("electrical power, W", [_band(s.power, "not listed") for s in self.setups])
        add("if one fails: verdict", [s.worst_failure.status for s in self.setups])
        add("  lit share", [f"{s.worst_failure.lit_share:.0%}" for s in self.setups])
        add("  white, cd/m2", [_small(s.worst_failure.white_luminance) for s in self.setups])
        add("  contrast", [f"{s.worst_failure.contrast:.1f}" for s in self.setups])
        first = max(len(label) for label, _ in rows) + 2
        widths = [max(len(cells[i]) for _, cells in rows) + 2 for i in range(len(self.setups))]
        lines = [
            f"{label:{first}}" + "".join(f"{cell:>{width}}" for cell, width in zip(cells, widths, strict=True))
            for label, cells in rows
        ]
        return "\n".join(line.rstrip() for line in lines)

    def sentence(self) -> str:
        """Return the comparison in words."""
        parts = [_setup_text(setup) for setup in self.setups]
        if len(self.setups) > 1:
            priced = [s for s in self.setups if s.price is not None]
            if priced:
                parts.append(f"Cheapest: {_least(priced, lambda s: s.price[1])}.")  # type: ignore[index]
            parts.append(f"Most of the front lit: {_least(self.setups, lambda s: -s.front.lit_share)}.")
            parts.append(f"Brightest where lit: {_least(self.setups, lambda s: -_median(s.front, 'white_luminance'))}.")
            parts.append(f"Best contrast where lit: {_least(self.setups, lambda s: -_median(s.front, 'contrast'))}.")
        return " ".join([*parts, "Prices and power are for planning only; alignment is taken to be perfect."])

    def __str__(self) -> str:
        return f"{self.sentence()}\n\n{self.table()}"


def compare_setups(setups: Mapping[str, Scene], target: Target | None = None, *, spacing: float = 0.1) -> Comparison:
    """Compare ways to light a front: light, black, picture elements, cost, power, and what a failure leaves.

    Parameters
    ----------
    setups : mapping of str to Scene
        By name, for example ``{"two of 4,000 lm, stacked": scene, "one of 8,000 lm": other}``. No sweeps.
    target : Target, optional
        The default target if not given.
    spacing : float
        Pixel size of the maps [m].

    Returns
    -------
    Comparison

    Raises
    ------
    InputError
        For no setup, a scene with sweeps, or one that `light_map` refuses.

    Notes
    -----
    A failure leaves the scene without that projector; where pictures are blended, the blend is set anew for those that
    are left, which takes someone with a computer. Until then the seam stays faded.
    """
    if not isinstance(setups, Mapping) or not setups:
        raise InputError("setups", setups, "at least one scene by name, such as {'one of 8,000 lm': scene}")
    for name, scene in setups.items():
        text("setup name", name)
        if not isinstance(scene, Scene):
            raise InputError(f"setup {name!r}", type(scene).__name__, "a kit.Scene")
    wanted = checked_target(target)
    return Comparison(
        target=wanted, setups=tuple(_setup(name, scene, wanted, spacing) for name, scene in setups.items())
    )


def electrical_power(light_output: float) -> Band | None:
    """Return the likely mains power of a projector of a stated light output [W], low, nominal, high.

    Parameters
    ----------
    light_output : float
        [lm], above 0.

    Returns
    -------
    tuple or None
        From the lumens that one watt gives, between the classes of ``reference_data/projector_classes.csv`` along a
        power law, below the smallest class that of the smallest. None above the largest: nothing is listed.
    """
    found = between_classes("projector_classes", "power", light_output)
    if found is None:
        return None
    worst, nominal, best = found
    return light_output / best, light_output / nominal, light_output / worst


def picture_elements(scene: Scene, spacing: float) -> tuple[float, Cast, Array]:
    """Return how many picture elements land on the visible front, and how large they are.

    Every element of a panel sends the same light when the zones of the lens are left out, so light per lumen tells
    where elements land and how large they are: one of N covers 1 / (N x illuminance per lumen) of wall.

    Parameters
    ----------
    scene : Scene
    spacing : float
        Pixel size of the raster [m].

    Returns
    -------
    count : float
        Of all projectors together, on every patch that the audience sees.
    cast : Cast
        Of the light without zones.
    largest : array, shape (y, x)
        Side of a square as large as the largest element at each point that is judged [m]; 0 where none lands.
    """
    bare = tuple((replace(projector, zones=None), place) for projector, place in scene.projectors)
    cast = cast_light(scene.facade, bare, scene.facade.bounds, spacing)
    elements = np.array([float(math.prod(projector.resolution)) for projector, _ in scene.projectors])
    counts = np.append([patch.judged for patch in scene.facade.patches], False)[cast.patch]  # the last for index -1
    largest = np.zeros(cast.patch.shape)
    for many, unit in zip(elements, cast.units, strict=True):
        lit = counts & (unit > 0.0)
        largest[lit] = np.maximum(largest[lit], 1.0 / np.sqrt(many * unit[lit]))
    return float(elements @ cast.share.sum(axis=1)), cast, largest


def _setup(name: str, scene: Scene, target: Target, spacing: float) -> Setup:
    light = light_map(scene, spacing)
    verdict = judge(light, target)
    pixels, cast, largest = picture_elements(scene, spacing)
    points = judged_points(light).seen
    reach = np.sum([unit.ravel()[points] > 0.0 for unit in cast.units], axis=0)
    black = light["black_luminance"].values.ravel()[points]
    lit = np.count_nonzero(reach)
    stated = [float(p.light_output) for p, _ in scene.projectors]  # type: ignore[arg-type]
    return Setup(
        name=name,
        stated_light_output=sum(stated),
        count=len(stated),
        front=verdict.front,
        surfaces=verdict.surfaces,
        black=_median_of(black[reach > 0]) or 0.0,
        overlap_black=_median_of(black[reach > 1]),
        single_black=_median_of(black[reach == 1]),
        overlap_share=np.count_nonzero(reach > 1) / lit if lit else 0.0,
        pixels=pixels,
        coarsest=float(largest.max()),
        price=_together([projector_price(lumens) for lumens in stated]),
        power=_together([electrical_power(lumens) for lumens in stated]),
        failures=tuple(_failure(scene, i, target, spacing) for i in range(len(stated))),
    )


def _failure(scene: Scene, failing: int, target: Target, spacing: float) -> Failure:
    left = scene.projectors[:failing] + scene.projectors[failing + 1 :]
    if not left:
        return Failure(projector=1, status="not enough", lit_share=0.0, white_luminance=0.0, contrast=1.0)
    front = judge(light_map(replace(scene, projectors=left), spacing), target).front
    return Failure(
        projector=failing + 1,
        status=front.status,
        lit_share=front.lit_share,
        white_luminance=_median(front, "white_luminance"),
        contrast=_median(front, "contrast", dark=1.0),
    )


def _together(bands: list[Band | None]) -> Band | None:
    listed = [band for band in bands if band is not None]
    if len(listed) < len(bands):
        return None
    low, nominal, high = (float(sum(band[i] for band in listed)) for i in range(3))
    return low, nominal, high


def _median_of(values: Array) -> float | None:
    return float(np.median(values)) if values.size else None


def _median(part: Part, quantity: str, dark: float = 0.0) -> float:
    figure = getattr(part, quantity)
    return dark if figure is None else float(figure.median)


# What is asked for


def _projector(projector: Projector) -> Projector:
    if not isinstance(projector, Projector):
        raise InputError("projector", projector, "a kit.Projector")
    return projector


def _placement(placement: Placement) -> Placement:
    if not isinstance(placement, Placement):
        raise InputError("placement", placement, "a kit.Placement")
    return placement


def _facade(facade: Facade) -> Facade:
    if not isinstance(facade, Facade):
        raise InputError("facade", facade, "a kit.Facade")
    return facade


def _count(count: int, least: int) -> int:
    value = number("count", count, minimum=least, maximum=MOST)
    if value != int(value):
        raise InputError("count", count, f"a whole number from {least} to {MOST}")
    return int(value)


def _fitted(projector: Projector, distance: float, width: float) -> Projector:
    """Return `projector` with its zoom set for a picture of `width` at `distance`, or raise `InputError`."""
    given, ratio = projector.throw_ratio, distance / width
    if isinstance(given, tuple):
        (short, long), slack = given, 0.0
        where = f"{short * width:.2f} to {long * width:.2f} m"
    else:
        short, long, slack = given, given, ROUNDED
        where = f"{given * width:.2f} m"
    if not short * (1.0 - slack) <= ratio <= long * (1.0 + slack):
        right = f"{ratio:.2f}, for a picture {width:.2f} m wide from {distance:g} m; this lens makes it from {where}"
        raise InputError("throw_ratio", given, right)
    return replace(projector, throw_ratio=ratio)


def _square(x: float, y: float, distance: float) -> Placement:
    return Placement(position=(x, y, distance), aim=(x, y, 0.0))


# Words


def _setup_text(setup: Setup) -> str:
    front = setup.front
    name = setup.name[:1].upper() + setup.name[1:]
    if front.white_luminance is None or front.contrast is None:
        return f"{name}: not enough. No picture reaches what is judged."
    words = (
        f"{name}: {setup.status}. White {front.white_luminance.median:.2g} cd/m2 and contrast "
        f"{front.contrast.median:.1f}:1 on the {front.lit_share:.0%} of the front that it lights, black "
        f"{_small(setup.black)} cd/m2"
    )
    if setup.overlap_black is not None and setup.single_black is not None:
        words += f" ({_small(setup.overlap_black)} where pictures overlap, {_small(setup.single_black)} elsewhere)"
    words += "."
    if setup.price is not None and setup.power is not None:
        words += f" About {_round(setup.price[1])} USD and {_round(setup.power[1])} W."
    left = setup.worst_failure
    if not left.lit_share:
        words += " If it fails, the front is dark." if setup.count == 1 else " If the wrong one fails, it is dark."
    else:
        words += (
            f" If one machine fails, {left.lit_share:.0%} of the front is still lit, with white "
            f"{left.white_luminance:.2g} cd/m2: {left.status}."
        )
    return words


def _least(setups, key) -> str:  # type: ignore[no-untyped-def]
    """Return the names of the setups that have the least `key`, ties within a thousandth together."""
    best = min(key(setup) for setup in setups)
    return " and ".join(setup.name for setup in setups if key(setup) - best <= 1e-3 * abs(best))


def _small(value: float | None) -> str:
    return "-" if value is None else f"{value:.3g}"


def _round(value: float) -> str:
    return f"{float(f'{value:.2g}'):,.0f}"


def _band(band: Band | None, missing: str) -> str:
    return missing if band is None else f"{_round(band[1])} ({_round(band[0])} to {_round(band[2])})"
