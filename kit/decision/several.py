"""Several projectors: stacked for more light, one for each storey, and what each way costs.

Illuminance of all machines adds up, and so does their black: two machines on the same wall have twice the white and
twice the black of one, so their contrast against ambient light grows as if one machine had twice the lumens. Where
pictures overlap only at their seams the white is faded (`Scene.blend`) and the black is not, so a dark scene shows the
seams brighter than the rest.

All machines are taken to be perfectly aligned. Outdoors stands move, and seams and stacked pictures drift apart.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from kit.arrays import Array
from kit.decision.chance import judged_points
from kit.decision.payoff import between_classes, projector_price
from kit.decision.verdict import STATES, Part, Status, Target, judge, judged_front, levels_of
from kit.errors import InputError
from kit.eye.light_map import Scene, black_share, light_map
from kit.fields import LENGTH, NAME, Frozen, Is, Number
from kit.light.cast import Cast, Machines, cast_light
from kit.results import Format, Frame, Result, banded, make_frame
from kit.source.placement import Placement
from kit.source.projector import Levels, Projector
from kit.words import Phrases, capital, join, percent

say = Phrases(__file__)
RACK = say("rack")
COUNT = Number(label="machines", low=1, high=16, whole=True)
GAP = LENGTH.but(label="gap", low=0.0, meaning="from lens to lens, upwards")


def stacked(projector: Projector, placement: Placement, count: int, *, gap: float = 0.35) -> Machines:
    """Return `count` equal projectors one above the other whose pictures coincide on the wall; they are not blended.

    Parameters
    ----------
    projector : Projector
        Each lens shift is set so that the pictures coincide on z = 0; on what stands in front of it they lie a little
        apart. Whether the real lens shifts that far is for its data sheet to say.
    placement : Placement
        Of the lowest; its axis square to z = 0, for only then does lens shift alone bring pictures into line.
    count, gap : int, float
        1 to 16; from lens to lens, upwards [m], 0 or more.

    Raises
    ------
    InputError
        For an axis that is not square to the wall, a lens behind it, or a zoom that is not set.
    """
    many, step = COUNT.check("count", count), GAP.check("gap", gap)
    ratio = projector.fixed_throw_ratio()
    x, y, depth = placement.position
    forward, right, up = placement.frame()
    if not depth > 0.0:
        raise InputError("position", placement.position, "a lens in front of the plane of the wall, z = 0")
    if abs(forward[2] + 1.0) > 1e-9:
        raise InputError("aim", placement.aim, f"an axis square to the wall, such as aim = {(x, y, 0.0)}")
    width = depth / ratio
    across, above = projector.lens_shift

    def raised(by: float) -> tuple[Projector, Placement]:
        shift = (across - by * float(right[1]) / width, above - by * float(up[1]) * projector.aspect / width)
        ahead, height, end = placement.aim
        place = replace(placement, position=(x, y + by, depth), aim=(ahead, height + by, end))
        return replace(projector, lens_shift=shift), place

    return tuple(raised(i * step) for i in range(many))


class Failure(Frozen):
    """What is left when one projector, counted from 1, is dark: medians over what is still lit [cd/m2], [1]."""

    projector: int
    status: Status
    lit_share: float
    white_luminance: float = 0.0
    contrast: float = 1.0
    chance: float = 0.0


class Setup(Frozen):
    """One way to light a front, with what it gives and what it takes."""

    name: str
    stated_light_output: float  # of all machines [lm]
    count: int
    front: Part
    surfaces: tuple[Part, ...]
    black: float  # median luminance of projected black on the lit part that is judged [cd/m2]
    overlap_black: float | None  # the same where two or more machines reach; None where there is no such part
    single_black: float | None  # and what the brightest of them alone would leave at the same points
    overlap_share: float  # of the lit part, where two or more reach
    pixels: float  # stacked machines show the same picture: more light and no more detail
    coarsest: float
    price: Levels | None  # of all machines [USD]; lows and highs add up, as machines of one make are dear together
    power: Levels | None  # [W]; None where a class is not listed
    failures: tuple[Failure, ...]  # with each projector off in turn

    @property
    def worst_failure(self) -> Failure:
        """The failure that leaves least: by verdict, then by what is lit, then by luminance."""
        return min(self.failures, key=lambda f: (STATES.index(f.status), f.lit_share, f.white_luminance))

    def row(self) -> dict[str, Any]:
        """Return the figures as a row of the frame of a `Comparison`."""
        left = self.worst_failure
        row: dict[str, Any] = {
            "setup": self.name, "stated light output [lm]": self.stated_light_output,
            "verdict on the front": self.front.status, "chance": self.front.chance, "lit": self.front.lit_share,
        }  # fmt: skip
        for name, unit, quantity in (("white", " [cd/m²]", "white_luminance"), ("contrast", "", "contrast")):
            for part in (self.front, *self.surfaces):
                levels = levels_of(getattr(part, quantity))
                row |= banded(f"{name}{unit}" if part is self.front else f"{name}, {part.name}{unit}", levels)
        return row | {
            "black [cd/m²]": self.black, "black where pictures overlap [cd/m²]": self.overlap_black,
            "black there of one alone [cd/m²]": self.single_black, "overlap, share of the lit part": self.overlap_share,
            "pixels on the front": self.pixels, "longest of them [mm]": 1e3 * self.coarsest,
            **banded("price [USD]", self.price), **banded("electrical power [W]", self.power),
            "if one fails: verdict": left.status, "if one fails: lit": left.lit_share,
            "if one fails: white [cd/m²]": left.white_luminance, "if one fails: contrast": left.contrast,
        }  # fmt: skip

    def sentence(self) -> str:
        """Return what this way gives, in words."""
        name, left = capital(self.name), self.worst_failure
        if self.front.white_luminance is None:
            return say("unlit", called=name)
        both = self.overlap_black is not None and self.single_black is not None
        told = [say("lit", called=name, setup=self, overlap=say("overlap", setup=self) if both else "")]
        if self.price is not None and self.power is not None:
            told.append(say("price", setup=self))
        fate = "fails" if left.lit_share else "one dark" if self.count == 1 else "some dark"
        return " ".join([*told, say(fate, left=left)])


class Comparison(Result):
    """Ways to light one front, side by side."""

    target: Target
    setups: tuple[Setup, ...]

    def frame(self, units: str = "m") -> Frame:
        """Return all figures, a row for each setup; as text each has a column."""
        shares = ("lit", "overlap, share of the lit part", "if one fails: lit")
        counts = ("stated light output [lm]", "pixels on the front")
        formats: dict[str, Format] = {"chance": ".0%", **dict.fromkeys(shares, percent)}
        formats |= dict.fromkeys(counts, ",.0f")
        frame = make_frame([setup.row() for setup in self.setups], formats, "setup", units)
        frame.attrs["across"] = True
        return frame

    def sentence(self, units: str = "m") -> str:
        """Return the comparison in words; the same in any `units`."""
        parts = [setup.sentence() for setup in self.setups]
        merits: dict[str, Callable[[Setup], float]] = {
            "Cheapest": lambda s: -s.price[1] if s.price else -math.inf,
            "Most of the front lit": lambda s: s.front.lit_share,
            "Brightest where lit": lambda s: _median(s.front, "white_luminance"),
            "Best contrast where lit": lambda s: _median(s.front, "contrast"),
        }
        for words, key in merits.items() if len(self.setups) > 1 else ():
            best = max(map(key, self.setups))  # ties within a thousandth together
            names = [setup.name for setup in self.setups if math.isclose(key(setup), best, rel_tol=1e-3)]
            parts += [f"{words}: {join(names)}."] if best > -math.inf else []
        parts.append(say("planning"))
        return " ".join([*parts, RACK] if any(setup.count > 1 for setup in self.setups) else parts)


def compare_setups(setups: Mapping[str, Scene], target: Target | None = None, *, spacing: float = 0.1) -> Comparison:
    """Compare ways to light a front: light, black, picture elements, cost, power, and what a failure leaves.

    Parameters
    ----------
    setups : mapping of str to Scene
        By name, for example ``{"two of 4,000 lm, stacked": scene, "one of 8,000 lm": other}``.
    target : Target, optional
        The default target if not given.
    spacing : float
        Pixel size of the maps [m].

    Raises
    ------
    InputError
        For no setup, or a scene that `light_map` refuses.

    Notes
    -----
    A failure leaves the scene without that projector; where pictures are blended, the blend is set anew for those that
    are left, which takes someone with a computer. Until then the seam stays faded.
    """
    if not isinstance(setups, Mapping) or not setups:
        raise InputError("setups", setups, "at least one scene by name, such as {'one of 8,000 lm': scene}")
    wanted = target or Target()
    scenes = {NAME.check("setup name", name): Is(kind=Scene).check(f"setup {name!r}", s) for name, s in setups.items()}
    return Comparison(target=wanted, setups=tuple(_setup(name, one, wanted, spacing) for name, one in scenes.items()))


def electrical_power(light_output: float) -> Levels | None:
    """Return the likely mains power [W], low, nominal, high, of a projector of a stated light output [lm], or None."""
    found = between_classes("projector_classes", "power", light_output)
    if found is None:
        return None
    worst, nominal, best = found
    return light_output / best, light_output / nominal, light_output / worst


def picture_elements(cast: Cast) -> tuple[float, float]:
    """Return how many picture elements land on the visible front, and the longest extent where it is judged [m]."""
    judged = np.array([patch.judged for patch in cast.raster.facade.patches])
    count = largest = 0.0
    for points, landing in cast.landings():
        longest, shortest = landing.element()
        count += float(np.sum(points.area / (longest * shortest)))
        largest = max(largest, float(np.max(longest, initial=0.0, where=judged[points.patch])))
    return count, largest


def _setup(name: str, scene: Scene, target: Target, spacing: float) -> Setup:
    light = light_map(scene, spacing)
    verdict = judge(light, target)
    # The light that has just been cast for the map.
    cast = cast_light(scene.facade, scene.projectors, scene.facade.bounds, spacing, scene.obstacles)
    pixels, coarsest = picture_elements(cast)
    points = judged_points(light).seen
    reach = np.sum([unit.ravel()[points] > 0.0 for unit in cast.units], axis=0)
    black = light["black_luminance"].values.ravel()[points]
    machines, level = [projector for projector, _ in scene.projectors], scene.average_picture_level
    weight = light["delivered_light"].values * black_share(machines, level, light["landed_share"].values)
    leaks = weight[:, None] * cast.units.reshape(len(weight), -1)[:, points][:, reach > 1]
    lit = np.count_nonzero(reach)
    stated = [machine.light_output for machine in machines]
    return Setup(
        name=name, stated_light_output=verdict.stated_light_output, count=len(stated), front=verdict.front,
        surfaces=verdict.surfaces, black=_median_of(black[reach > 0]) or 0.0,
        overlap_black=_median_of(black[reach > 1]),
        single_black=_median_of(black[reach > 1] * leaks.max(axis=0) / leaks.sum(axis=0)) if leaks.any() else None,
        overlap_share=np.count_nonzero(reach > 1) / lit if lit else 0.0, pixels=pixels, coarsest=coarsest,
        price=_together([projector_price(lumens) for lumens in stated]),
        power=_together([electrical_power(lumens) for lumens in stated]),
        failures=tuple(_failure(scene, i, target, spacing) for i in range(len(stated))),
    )  # fmt: skip


def _failure(scene: Scene, failing: int, target: Target, spacing: float) -> Failure:
    left = scene.projectors[:failing] + scene.projectors[failing + 1 :]
    if not left:
        return Failure(projector=1, status="not enough", lit_share=0.0)
    front = judged_front(light_map(replace(scene, projectors=left), spacing), target)
    return Failure(
        projector=failing + 1, status=front.status, lit_share=front.lit_share,
        white_luminance=_median(front, "white_luminance"), contrast=_median(front, "contrast", dark=1.0),
        chance=front.chance,
    )  # fmt: skip


def _together(bands: Sequence[Levels | None]) -> Levels | None:
    return None if None in bands else tuple(np.sum(np.array(bands, float), axis=0).tolist())


def _median_of(values: Array) -> float | None:
    return float(np.median(values)) if values.size else None


def _median(part: Part, quantity: str, dark: float = 0.0) -> float:
    figure = getattr(part, quantity)
    return dark if figure is None else float(figure.median)
