r"""Where a projector may stand, and which place is best.

For each position of the lens the rest follows from one rule:

1. The machine stands level and square to the wall. Lens shift moves the picture's centre towards the middle of the
   target, as far as the lens allows.
2. Tilt and turn do what is left, without roll, so that the picture's centre lies on that middle exactly.
3. The zoom makes the smallest picture that still covers the target's corners.

Tilt counts from level, upwards positive; turn from square to the wall, to the right as the audience sees it. The
target's corners are those of its bounding rectangle, in elevation and on the plane of its main (largest) patch, and
those of its patches that stand out from this plane.

Tilt and turn in closed form
----------------------------
In the square frame (right, up, towards the wall) let the middle lie along :math:`(a, b, 1)`. In the machine's own
frame the picture's centre lies along :math:`(p, q, 1)`, with :math:`p = shift_{across} w` and
:math:`q = shift_{up} h` for a picture of :math:`w \times h` at unit depth. The rotation keeps lengths, so the middle
is at :math:`n (a, b, 1)` with :math:`n^2 = (1 + p^2 + q^2) / (1 + a^2 + b^2)`. Tilt :math:`t` alone decides the
height, turn :math:`\psi` the rest:

.. math::
    \sin t + q \cos t = n b = e, \qquad g = \cos t - q \sin t = \sqrt{1 + q^2 - e^2},

    \cos t = \frac{g + q e}{1 + q^2}, \quad \sin t = \frac{e - q g}{1 + q^2}, \qquad
    \psi = \arctan a - \arctan (p / g).

Turn is zero for :math:`p = a \sqrt{(1 + q^2) / (1 + b^2)}`, tilt for :math:`q = b \sqrt{(1 + p^2) / (1 + a^2)}`.

Size of a picture element on the wall
-------------------------------------
A ray :math:`D = f + s r + t u` meets a wall of unit normal :math:`n` at the depth :math:`d` with
:math:`-n \cdot D = h / d`, where :math:`h` is the lens's distance from the wall's plane. With
:math:`\alpha = (n \cdot r) d / h` and :math:`\beta = (n \cdot u) d / h`,

.. math::
    \partial X / \partial s = d (r + \alpha D), \qquad \partial X / \partial t = d (u + \beta D),

whose singular values times the pitch of the elements at unit depth are the longest and the shortest extent of an
element. Their product is :math:`d^3 / h` times the pitch squared: the other face of :math:`E = E_1 h / d^3`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
import xarray as xr
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import differential_evolution
from scipy.spatial import ConvexHull

from kit.blocks import share_out
from kit.errors import InputError, number, numbers, text
from kit.source.placement import Placement, picture_window, zone_gain
from kit.source.projector import Projector, is_many
from kit.units import length_text, metres_per
from kit.wall.facade import Facade, Patch
from kit.wall.points import check_in_front, planes_of
from kit.wall.raster import SAME_PLANE, Grid, clip, exposed, visible

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Range = tuple[float, float]
Objective = str | Callable[[xr.Dataset], ArrayLike]

# Pairs of candidate and point that are worked on together stay in the processor's cache.
PAIRS = 1 << 16
# Halvings of the zoom range: far below what a zoom ring can be set to.
HALVINGS = 42
# Rounding, in the unit of whatever is limited.
SLACK = 1e-9
# Rays across and down the picture that are followed through the people.
RAYS = (16, 10)
# How far a ray that meets no wall is followed [m].
FAR = 1e3
CORNERS = ("bottom left", "bottom right", "top right", "top left")
# What is best: the variable, and whether more of it is better.
OBJECTIVES = {
    "illuminance": ("illuminance_median", True),
    "sharpness": ("coarsest_element", False),
    "keystone": ("keystone", False),
    "pixels": ("pixel_share", True),
}
# Of the optimiser: how many places it moves at a time, and how often.
POPULATION, GENERATIONS = 24, 40


@dataclass(frozen=True, kw_only=True)
class Stand:
    """Where the lens may be: on the ground, on a roof, on a post.

    Parameters
    ----------
    name : str
    area : sequence of (x, z)
        Corners of the plan [m]: across the front, and from the wall towards the audience.
    heights : (float, float)
        Lowest and highest position of the lens above the ground line [m].
    """

    name: str
    area: tuple[tuple[float, float], ...]
    heights: Range

    def __post_init__(self) -> None:
        where = f"stand {text('stand name', self.name)!r}"
        object.__setattr__(self, "area", _plan(where, self.area))
        object.__setattr__(self, "heights", _range(f"{where}: heights", self.heights, unit="m"))


@dataclass(frozen=True, kw_only=True)
class Obstacle:
    """Something in front of the house: a tree, a car; or the people on the walk.

    Parameters
    ----------
    name : str
    area : sequence of (x, z)
        Corners of the plan [m].
    heights : (float, float)
        Bottom and top above the ground line [m].
    blocks : bool
        Whether it stops light. False for people: the share of the beam that meets them is reported.
    """

    name: str
    area: tuple[tuple[float, float], ...]
    heights: Range
    blocks: bool = True

    def __post_init__(self) -> None:
        where = f"obstacle {text('obstacle name', self.name)!r}"
        object.__setattr__(self, "area", _plan(where, self.area))
        object.__setattr__(self, "heights", _range(f"{where}: heights", self.heights, unit="m"))
        if self.heights[0] == self.heights[1]:
            raise InputError(f"{where}: heights", self.heights, "a top above the bottom")
        if not isinstance(self.blocks, bool):
            raise InputError(f"{where}: blocks", self.blocks, "true or false")


@dataclass(frozen=True, kw_only=True)
class Lens:
    """What a lens and its mount can do; each a range (lowest, highest).

    Parameters
    ----------
    throw_ratio : (float, float)
        Distance / picture width, above 0.
    shift_across, shift_up : (float, float)
        As `Projector.lens_shift`: picture widths to the right, picture heights up. Not given: none.
    tilt, turn : (float, float)
        Of the machine [deg]: up from level, and to the right from square to the wall, as the audience sees it;
        -90 to 90. Not given: not limited.
    """

    throw_ratio: Range
    shift_across: Range = (0.0, 0.0)
    shift_up: Range = (0.0, 0.0)
    tilt: Range = (-90.0, 90.0)
    turn: Range = (-90.0, 90.0)

    def __post_init__(self) -> None:
        fix = object.__setattr__
        fix(self, "throw_ratio", _range("throw_ratio", self.throw_ratio, above=0.0))
        for field in ("shift_across", "shift_up"):
            fix(self, field, _range(field, getattr(self, field)))
        for field in ("tilt", "turn"):
            fix(self, field, _range(field, getattr(self, field), minimum=-90.0, maximum=90.0, unit="degrees"))


@dataclass(frozen=True, kw_only=True)
class Limits:
    """What a place must keep to; None where anything will do.

    Parameters
    ----------
    keystone : float, optional
        Largest deviation of the picture's corners on the wall from a right angle [deg].
    blocked : float, optional
        Largest share of the target that lies in shadow, 0 to 1.
    reached : float, optional
        Least share of the target within the picture, 0 to 1.
    focus_depth : float, optional
        Depth along the lens axis that is sharp at once [m].
    people : float, optional
        Largest share of the beam that meets people, 0 to 1.
    """

    keystone: float | None = None
    blocked: float | None = None
    reached: float | None = 1.0
    focus_depth: float | None = None
    people: float | None = None

    def __post_init__(self) -> None:
        for field, most, unit in (
            ("keystone", 90.0, "degrees"),
            ("blocked", 1.0, ""),
            ("reached", 1.0, ""),
            ("focus_depth", np.inf, "m"),
            ("people", 1.0, ""),
        ):
            value = getattr(self, field)
            if value is not None:
                object.__setattr__(self, field, number(field, value, minimum=0.0, maximum=most, unit=unit))


@dataclass(frozen=True, kw_only=True)
class _Sheet:
    """A convex piece of a patch: its plane, and planes through its edges, inside where they are positive."""

    plane: Array  # (4,): normal and minus offset
    edges: Array  # (edge, 4)
    box: Array  # (2, 3)
    group: int  # of patches that share its plane, -1 for one that is seen edge-on


@dataclass(frozen=True, kw_only=True)
class _Block:
    """A convex piece of an obstacle: its faces, inside where they are positive."""

    faces: Array  # (face, 4)
    box: Array  # (2, 3)


@dataclass(frozen=True, kw_only=True)
class _Front:
    """All that does not depend on where the lens is.

    The points of the target come first; `share` is the part of the target, in elevation, that each stands for, and
    `area` the wall behind each point [m2] where its light counts as light on the front, else 0.
    """

    rectangle: Array  # (4, 3)
    middle: Array  # (3,)
    normal: Array  # (3,), of the main plane
    square: Array  # (3, 3): right, up, towards the wall
    corners: Array  # (corner, 3): what the picture has to cover
    outline: Array  # (corner, 3): of the target
    points: Array  # (point, 3)
    share: Array  # (point of the target,)
    area: Array  # (point,)
    planes: Array  # (plane, 4)
    plane: NDArray[np.intp]  # (point,)
    sheets: tuple[_Sheet, ...]
    blocks: tuple[_Block, ...]
    people: tuple[_Block, ...]
    audience: Array | None


def evaluate(
    facade: Facade,
    projector: Projector,
    lens: Lens,
    positions: ArrayLike,
    *,
    target: Sequence[str] | None = None,
    obstacles: Sequence[Obstacle] = (),
    audience: Sequence[float] | None = None,
    limits: Limits | None = None,
    points: int = 200,
) -> xr.Dataset:
    """Return what each position of the lens gives.

    Parameters
    ----------
    facade : Facade
    projector : Projector
        Its resolution and zones are used; `lens` takes the place of its throw ratio and lens shift.
    lens : Lens
    positions : array, shape (candidate, 3)
        Of the lens [m], world axes.
    target : sequence of str, optional
        Names of the patches to be lit; all that are judged if not given.
    obstacles : sequence of Obstacle
    audience : (x, y, z), optional
        An eye [m], for pixels_per_degree.
    limits : Limits, optional
    points : int
        About as many points sample the target, 20 or more; the figures over the target are exact at them.

    Returns
    -------
    xarray.Dataset
        On (candidate,):

        ============================ ============================================================================
        feasible                     all limits are kept
        fails_...                    tilt, turn, reached, keystone, blocked, focus_depth, people: that one is not
        throw_ratio                  as set
        shift_across, shift_up       as set, as in `Projector.lens_shift`
        tilt, turn [deg]             of the machine
        position, aim [m]            (candidate, axis), for `kit.Placement`
        corner_angle [deg]           (candidate, corner), of the picture on the main plane; NaN where it has none
        keystone [deg]               largest deviation from 90; infinite where the picture has no end
        reached_share                of the target: within the picture; 1 only where all its corners are
        blocked_share                of the target within the picture: hidden by an obstacle or by the front itself
        people_share                 of the beam: meets an obstacle that does not block, before the main plane
        pixel_share                  of the picture: the image of the target's rectangle, after pre-warp
        flux_share                   of the light: lands on visible judged parts of the front
        illuminance_median, _lowest  per lumen [lx/lm], over lit points of the target; 0 where none is
        finest_, coarsest_element    of the picture on lit points of the target [mm]; NaN where none is
        pixels_per_degree            lowest over lit points of the target, seen from `audience` if given;
                                     common practice takes 60, a minute of arc each, for what an eye of 20/20 resolves
        depth_range [m]              of the target, along the lens axis
        ============================ ============================================================================

        A position that cannot be aimed at all, as from behind the main plane, has NaN and fails tilt and turn.

    Raises
    ------
    InputError
        For a position behind or inside the front, or a target that is not there or not seen.
    """
    front = _front(facade, target, obstacles, audience, points)
    given = _positions(positions)
    check_in_front(facade, given, "positions", "a lens")
    return _evaluate(front, projector, lens, given, limits or Limits())


def describe(
    facade: Facade,
    projector: Projector,
    placement: Placement,
    *,
    target: Sequence[str] | None = None,
    obstacles: Sequence[Obstacle] = (),
    audience: Sequence[float] | None = None,
    points: int = 200,
) -> xr.Dataset:
    """Return the figures of one machine that stands, points, and is set as it is.

    Parameters
    ----------
    facade, target, obstacles, audience, points
        As for `evaluate`.
    projector : Projector
        With its zoom set.
    placement : Placement

    Returns
    -------
    xarray.Dataset
        As from `evaluate` for one candidate, without its limits.

    Raises
    ------
    InputError
        As for `evaluate`; for a zoom that is not set.
    """
    front = _front(facade, target, obstacles, audience, points)
    position = np.array([placement.position])
    check_in_front(facade, position, "position", "a lens")
    left, right, bottom, top = picture_window(projector)
    window = (0.5 * (left + right), 0.5 * (bottom + top), right - left, top - bottom)
    frame = tuple(axis[None] for axis in placement.frame())
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        out = _figures(front, projector, position, frame, tuple(np.array([part]) for part in window))
    out["aim"] = np.array([placement.aim])
    return _labelled(position, out).isel(candidate=0)


def placement_of(projector: Projector, places: xr.Dataset, index: int) -> tuple[Projector, Placement]:
    """Return a candidate of `evaluate` as `kit.Scene` takes it, with zoom and shift set.

    Raises
    ------
    InputError
        For an index out of range, or a candidate that cannot be aimed.
    """
    count = places.sizes["candidate"]
    if not 0 <= index < count:
        raise InputError("index", index, f"0 to {count - 1}")
    one = places.isel(candidate=index)
    if not np.isfinite(one["aim"].values).all():
        raise InputError("index", index, "a candidate that can be aimed at the target")
    shift = (float(one["shift_across"]), float(one["shift_up"]))
    fixed = replace(projector, throw_ratio=float(one["throw_ratio"]), lens_shift=shift)
    return fixed, Placement(position=tuple(one["position"].values), aim=tuple(one["aim"].values))


def candidates(stands: Sequence[Stand], count: int, facade: Facade, *, obstacles: Sequence[Obstacle] = ()) -> Array:
    """Return positions spread evenly over `stands`, the same each time, equally many in each.

    They are points of a Halton sequence (low discrepancy) inside areas and heights and outside all obstacles.

    Parameters
    ----------
    stands : sequence of Stand
    count : int
        In all; at least one for each stand.
    facade : Facade
    obstacles : sequence of Obstacle

    Returns
    -------
    array, shape (count, 3) [m]

    Raises
    ------
    InputError
        For a stand behind or inside the front, or with no room beside the obstacles.
    """
    return np.concatenate(_spread(stands, count, facade, obstacles))


@dataclass(frozen=True, kw_only=True, eq=False)
class Search:
    """The places that were looked at, and the best.

    Attributes
    ----------
    places : xarray.Dataset
        As from `evaluate`, candidates first, then what the optimiser found; with a coordinate ``stand``.
    index : int
        The best by the objective.
    pareto : array of int
        Feasible places that no other beats in illuminance, coarsest element and keystone at once; the best first, by
        the objective.
    objective : str
    projector : Projector
    """

    places: xr.Dataset
    index: int
    pareto: NDArray[np.intp]
    objective: str
    projector: Projector

    @property
    def best(self) -> xr.Dataset:
        """The figures of the best place."""
        return self.places.isel(candidate=self.index)

    @property
    def placement(self) -> tuple[Projector, Placement]:
        """The best place as `kit.Scene` takes it."""
        return placement_of(self.projector, self.places, self.index)

    @property
    def lumens(self) -> float:
        """Light that reaches the wall [lm]: the nominal chain, the brightest of a sweep."""
        return float(np.max(self.projector.light_output)) * self.projector.transmission()[1]

    def table(self, units: str = "m", *, rows: int = 8) -> str:
        """Return the best place and the rest of the Pareto set as a text table.

        Parameters
        ----------
        units : {"m", "ft"}
        rows : int
            At most as many, spread evenly over the set.
        """
        metre = metres_per(units)
        others = [i for i in self.pareto.tolist() if i != self.index]
        chosen = np.unique(np.linspace(0, len(others) - 1, min(max(rows - 1, 0), len(others))).round().astype(int))
        lines = [
            f"{'stand':16}{'x ' + units:>7}{'up ' + units:>7}{'off ' + units:>8}{'throw':>7}{'tilt':>6}{'turn':>6}"
            f"{'lux':>7}{'element mm':>12}{'keystone':>10}{'raster':>8}{'light':>7}"
        ]
        for i in [self.index, *(others[k] for k in chosen)]:
            one = self.places.isel(candidate=i)
            x, y, z = one["position"].values / metre
            lines.append(
                f"{str(one['stand'].values)[:15]:16}{x:>7.1f}{y:>7.1f}{z:>8.1f}{float(one['throw_ratio']):>7.2f}"
                f"{_plain(float(one['tilt']), 1):>6}{_plain(float(one['turn']), 1):>6}"
                f"{float(one['illuminance_median']) * self.lumens:>7.1f}"
                f"{float(one['coarsest_element']):>12.1f}{float(one['keystone']):>10.1f}"
                f"{float(one['pixel_share']):>8.0%}{float(one['flux_share']):>7.0%}"
            )
        return "\n".join(lines)

    def sentence(self, units: str = "m") -> str:
        """Return the best place in words; `units` is ``"m"`` or ``"ft"``."""
        one = self.best
        x, y, z = one["position"].values
        side = "right" if x > 0 else "left"
        where = "in line with x = 0" if abs(x) < 0.05 else f"{length_text(abs(x), units)} to the {side} of x = 0"
        text_ = (
            f"Best for {self.objective}: {one['stand'].values!s}, {length_text(z, units)} from the wall, {where}, "
            f"lens {length_text(y, units)} up. Throw ratio {float(one['throw_ratio']):.2f}, shift "
            f"{_plain(float(one['shift_across']), 2)} across and {_plain(float(one['shift_up']), 2)} up, tilt "
            f"{_plain(float(one['tilt']), 1)}°, turn {_plain(float(one['turn']), 1)}°. "
            f"{self.lumens:,.0f} lumens on the wall give {float(one['illuminance_median']) * self.lumens:.0f} lx there "
            f"(lowest {float(one['illuminance_lowest']) * self.lumens:.0f} lx); a picture element is at most "
            f"{float(one['coarsest_element']):.1f} mm, the picture's corners are off by {float(one['keystone']):.1f}°, "
            f"and {float(one['pixel_share']):.0%} of the raster is used."
        )
        feasible = int(self.places["feasible"].sum())
        return f"{text_} {feasible:,} of {self.places.sizes['candidate']:,} places would do."


def search(
    facade: Facade,
    projector: Projector,
    lens: Lens,
    stands: Sequence[Stand],
    *,
    obstacles: Sequence[Obstacle] = (),
    objective: Objective = "illuminance",
    count: int = 2000,
    target: Sequence[str] | None = None,
    audience: Sequence[float] | None = None,
    limits: Limits | None = None,
    points: int = 200,
) -> Search:
    """Return the best place for a projector.

    Candidates spread over the stands are evaluated; differential evolution (scipy) then moves the best of them
    about in their stand. The result is the same each time and never worse than the best candidate.

    Parameters
    ----------
    facade, projector, lens, obstacles, target, audience, limits, points
        As for `evaluate`.
    stands : sequence of Stand
    objective : {"illuminance", "sharpness", "keystone", "pixels"} or callable
        Largest median illuminance, smallest of the coarsest picture elements, least keystone, largest share of the
        raster; or a function that takes the Dataset of `evaluate` and returns a number for each candidate, the more
        the better.
    count : int
        Of candidates.

    Raises
    ------
    InputError
        As for `evaluate` and `candidates`. Where no place keeps to all limits, it names the limit that binds: the
        one without which most places would do, else the two that fail most; and by how much it fails at the
        nearest place.
    """
    limits = limits or Limits()
    front = _front(facade, target, obstacles, audience, points)
    spread = _spread(stands, count, facade, obstacles)
    owner = np.repeat(np.arange(len(spread)), [len(part) for part in spread])
    places = _evaluate(front, projector, lens, np.concatenate(spread), limits)
    worth = _worth(objective, places)
    feasible = places["feasible"].values & np.isfinite(worth)
    if not feasible.any():
        raise _no_place(places, lens, limits)
    best = int(np.where(feasible, worth, -np.inf).argmax())
    home = int(owner[best])

    stand = stands[home]
    free = _room(stand, facade, obstacles)
    plan = np.array(stand.area)
    bounds = [
        (plan[:, 0].min(), plan[:, 0].max()),
        stand.heights,
        (plan[:, 1].min(), plan[:, 1].max()),
    ]
    # Only what has a width is varied: a lens on a table has one height.
    vary = [k for k, (low, high) in enumerate(bounds) if high > low]

    def whole(moved: Array) -> Array:
        full = np.tile([low for low, _ in bounds], (moved.shape[1], 1))
        full[:, vary] = moved.T
        return full

    def badness(moved: Array) -> Array:
        at = whole(moved)
        # Any place that keeps to all limits is better than any that does not; those are led back by what they exceed.
        result = np.full(len(at), 2e9)
        inside = free(at)
        if inside.any():
            found = _evaluate(front, projector, lens, at[inside], limits)
            value = _worth(objective, found)
            over = sum(np.clip(excess, 0.0, 1e6) for excess in _excesses(found, lens, limits).values())
            good = found["feasible"].values & np.isfinite(value)
            result[inside] = np.where(good, -np.where(good, value, 0.0), 1e9 + over)
        return result

    mine = owner == home
    order = np.flatnonzero(mine)[np.argsort(np.where(feasible, -worth, np.inf)[mine], kind="stable")]
    start = places["position"].values[order[:POPULATION]]
    if len(start) < POPULATION:
        more = _fill(stand, POPULATION - len(start), free)
        start = np.concatenate([start, more])
    refined = differential_evolution(
        badness,
        [bounds[k] for k in vary],
        init=start[:, vary],
        maxiter=GENERATIONS,
        vectorized=True,
        updating="deferred",
        polish=False,
        seed=1,
    )
    if refined.fun < -worth[best]:
        found = _evaluate(front, projector, lens, whole(refined.x[:, None]), limits)
        places = xr.concat([places, found], "candidate")
        owner = np.append(owner, home)
        worth = np.append(worth, _worth(objective, found))
        feasible = np.append(feasible, True)
        best = len(owner) - 1
    places = places.assign_coords(stand=("candidate", [stands[k].name for k in owner.tolist()]))
    pareto = _pareto(places, feasible)
    return Search(
        places=places,
        index=best,
        pareto=pareto[np.argsort(-worth[pareto], kind="stable")],
        objective=objective if isinstance(objective, str) else getattr(objective, "__name__", "your objective"),
        projector=projector,
    )


def _evaluate(front: _Front, projector: Projector, lens: Lens, positions: Array, limits: Limits) -> xr.Dataset:
    """Return what `evaluate` returns, of positions that have been checked."""
    size = len(positions)
    out: dict[str, Array] = {
        name: np.full((size, *shape), np.nan)
        for name, shape in {
            **dict.fromkeys(("throw_ratio", "shift_across", "shift_up", "tilt", "turn", "keystone"), ()),
            **dict.fromkeys(("reached_share", "blocked_share", "people_share", "pixel_share", "flux_share"), ()),
            **dict.fromkeys(("illuminance_median", "illuminance_lowest", "depth_range"), ()),
            **dict.fromkeys(("finest_element", "coarsest_element", "pixels_per_degree"), ()),
            "aim": (3,),
            "corner_angle": (4,),
        }.items()
    }
    step = max(1, PAIRS // len(front.points))
    # Neighbours go together: what can shade them is then soon found.
    order = _neighbours(positions, step)
    throw, a, b = np.empty((3, size))

    def aim(chosen: NDArray[np.intp]) -> None:
        throw[chosen], a[chosen], b[chosen] = _zoom(front, projector.aspect, lens, positions[chosen])

    def light(chosen: NDArray[np.intp]) -> None:
        at = positions[chosen]
        frame, window = _aimed(front, _pose(throw[chosen], projector.aspect, lens, a[chosen], b[chosen]))
        for name, values in _figures(front, projector, at, frame, window).items():
            out[name][chosen] = values

    _in_blocks(aim, order, max(1, PAIRS // len(front.corners)))
    _in_blocks(light, order, step)
    # As set, so that it stays within the lens's range to the last digit.
    out["throw_ratio"] = throw
    if front.audience is None:
        del out["pixels_per_degree"]
    fails: dict[str, Any] = {f"fails_{name}": over > SLACK for name, over in _excesses(out, lens, limits).items()}
    return _labelled(positions, {**out, **fails, "feasible": ~np.logical_or.reduce(list(fails.values()))})


def _labelled(positions: Array, out: Mapping[str, Any]) -> xr.Dataset:
    """Return figures on (candidate,) with their names and units."""

    def labelled(name: str, values: Array) -> tuple[tuple[str, ...], Array, dict[str, str]]:
        more = {"position": ("axis",), "aim": ("axis",), "corner_angle": ("corner",)}.get(name, ())
        words = _WORDS.get(name)
        return ("candidate", *more), values, {"long_name": words[0], "units": words[1]} if words else {}

    return xr.Dataset(
        {name: labelled(name, values) for name, values in {"position": positions.copy(), **out}.items()},
        coords={"axis": list("xyz"), "corner": list(CORNERS)},
    )


def _in_blocks(work: Callable[[NDArray[np.intp]], None], order: NDArray[np.intp], step: int) -> None:
    """Call `work` on runs of `step` candidates.

    The array library lets go of the interpreter while it computes, so two threads share them.
    """

    def quiet(block: NDArray[np.intp]) -> None:
        # NaN marks what cannot be; and a thread starts with the warnings on.
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            work(block)

    share_out(quiet, [order[start : start + step] for start in range(0, len(order), step)])


_WORDS = {
    "position": ("position of the lens", "m"),
    "throw_ratio": ("throw ratio", "1"),
    "shift_across": ("lens shift to the right, in picture widths", "1"),
    "shift_up": ("lens shift up, in picture heights", "1"),
    "tilt": ("tilt up from level", "deg"),
    "turn": ("turn to the right from square to the wall", "deg"),
    "aim": ("point on the lens axis", "m"),
    "corner_angle": ("angle of the picture's corner on the wall", "deg"),
    "keystone": ("largest deviation of a corner from a right angle", "deg"),
    "reached_share": ("share of the target within the picture", "1"),
    "blocked_share": ("share of the target within the picture that is hidden from the lens", "1"),
    "people_share": ("share of the beam that meets people", "1"),
    "pixel_share": ("share of the raster used after pre-warp", "1"),
    "flux_share": ("share of the light that lands on the front", "1"),
    "illuminance_median": ("median illuminance per lumen", "lx/lm"),
    "illuminance_lowest": ("lowest illuminance per lumen", "lx/lm"),
    "finest_element": ("shortest extent of a picture element on the wall", "mm"),
    "coarsest_element": ("longest extent of a picture element on the wall", "mm"),
    "pixels_per_degree": ("lowest number of picture elements per degree of view", "1/deg"),
    "depth_range": ("depth of the target along the lens axis", "m"),
}


def _pose(
    throw: Array, aspect: float, lens: Lens, a: Array, b: Array
) -> tuple[Array, Array, Array, Array, Array, Array, Array, Array]:
    """Return shift (p, q) at unit depth, size (w, h) there, cosine and sine of tilt, and of turn.

    The derivation is at the top of this module; NaN where no tilt brings the centre to the middle.
    """
    w = 1.0 / throw
    h = w / aspect
    across, up = lens.shift_across, lens.shift_up
    q = np.clip(b, up[0] * h, up[1] * h)
    p = np.clip(a * np.sqrt((1.0 + q * q) / (1.0 + b * b)), across[0] * w, across[1] * w)
    q = np.clip(b * np.sqrt((1.0 + p * p) / (1.0 + a * a)), up[0] * h, up[1] * h)
    qq = 1.0 + q * q
    e = b * np.sqrt((p * p + qq) / (1.0 + a * a + b * b))
    g = np.sqrt(qq - e * e)
    norm = np.sqrt((1.0 + a * a) * (p * p + g * g))
    return p, q, w, h, (g + q * e) / qq, (e - q * g) / qq, (g + a * p) / norm, (a * g - p) / norm


def _covers(relative: Array, pose: tuple[Array, ...]) -> Mask:
    """Return whether the picture covers all corners, which are given in the square frame, shape (candidate, n, 3)."""
    p, q, w, h, cos_tilt, sin_tilt, cos_turn, sin_turn = (part[:, None] for part in pose)
    right, up, ahead = relative[..., 0], relative[..., 1], relative[..., 2]
    along = cos_turn * ahead + sin_turn * right
    depth = cos_tilt * along + sin_tilt * up
    x = cos_turn * right - sin_turn * ahead - p * depth
    y = cos_tilt * up - sin_tilt * along - q * depth
    # A hair of slack: at the end of its range a zoom may fit exactly.
    half = depth * (0.5 * (1.0 + 1e-12))
    return np.all((np.abs(x) <= w * half) & (np.abs(y) <= h * half), axis=1)


def _zoom(front: _Front, aspect: float, lens: Lens, positions: Array) -> tuple[Array, Array, Array]:
    """Return the longest throw ratio with which the picture covers the corners, the shortest where none does.

    Then the direction (a, b) of the middle in the square frame; NaN from behind the main plane.
    """
    to_middle = (front.middle - positions) @ front.square.T
    before = (positions - front.middle) @ front.normal > SAME_PLANE
    ahead = np.where(before & (to_middle[:, 2] > SAME_PLANE), to_middle[:, 2], np.nan)
    a, b = to_middle[:, 0] / ahead, to_middle[:, 1] / ahead
    relative = (front.corners - positions[:, None]) @ front.square.T
    short, long = (np.full(len(a), ratio) for ratio in lens.throw_ratio)
    fits = _covers(relative, _pose(long, aspect, lens, a, b))
    throw = np.where(fits, long, short)
    between = np.flatnonzero(~fits & _covers(relative, _pose(short, aspect, lens, a, b)))
    if between.size and lens.throw_ratio[0] < lens.throw_ratio[1]:
        at, there = relative[between], (a[between], b[between])
        start, end = short[between], long[between]
        for _ in range(HALVINGS):
            middle = 0.5 * (start + end)
            fits = _covers(at, _pose(middle, aspect, lens, *there))
            start, end = np.where(fits, middle, start), np.where(fits, end, middle)
        throw[between] = start
    return np.where(np.isfinite(a), throw, np.nan), a, b


def _aimed(front: _Front, pose: tuple[Array, ...]) -> tuple[tuple[Array, ...], tuple[Array, ...]]:
    """Return (forward, right, up), each of shape (candidate, 3), and the picture (p, q, w, h) at unit depth."""
    *window, cos_tilt, sin_tilt, cos_turn, sin_turn = pose
    across, up, ahead = front.square
    heading = cos_turn[:, None] * ahead + sin_turn[:, None] * across
    right = cos_turn[:, None] * across - sin_turn[:, None] * ahead
    cosine, sine = cos_tilt[:, None], sin_tilt[:, None]
    return (cosine * heading + sine * up, right, cosine * up - sine * heading), tuple(window)


def _figures(
    front: _Front, projector: Projector, positions: Array, frame: tuple[Array, ...], window: tuple[Array, ...]
) -> dict[str, Array]:
    """Return the figures of a few machines, on (candidate,); see `evaluate`.

    `frame` holds forward, right and up, each of shape (candidate, 3), NaN where there is no aim; `window` the middle
    (p, q) and the size (w, h) of the picture at unit depth.
    """
    result: dict[str, Array] = {}
    forward, right, up = frame
    p, q, w, h = window
    aimed = np.isfinite(forward[:, 0])
    result["throw_ratio"], result["shift_across"], result["shift_up"] = 1.0 / w, p / w, q / h
    side, rise, ahead = front.square @ forward.T
    result["tilt"] = np.degrees(np.arctan2(rise, np.hypot(side, ahead)))
    result["turn"] = np.degrees(np.arctan2(side, ahead))
    result["aim"] = positions + forward * np.linalg.norm(front.middle - positions, axis=1)[:, None]

    # The picture's own corners on the main plane.
    ends = [(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)]
    ray = np.stack(
        [forward + (p + s * w)[:, None] * right + (q + t * h)[:, None] * up for s, t in ends], axis=1
    )  # (candidate, corner, 3)
    towards, away = -(ray @ front.normal), ((positions - front.middle) @ front.normal)[:, None]
    reach = np.where((towards > 1e-9) & (away > 0), away / towards, np.nan)
    landed = reach[..., None] * ray
    edge = np.roll(landed, -1, axis=1) - landed
    before = -np.roll(edge, 1, axis=1)
    cosine = np.sum(edge * before, axis=2) / np.sqrt(np.sum(edge**2, axis=2) * np.sum(before**2, axis=2))
    angle = np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))
    result["corner_angle"] = angle
    off = np.abs(angle - 90.0).max(axis=1)
    result["keystone"] = np.where(np.isfinite(off), off, np.where(aimed, np.inf, np.nan))

    def seen(points: Array) -> tuple[Array, Array, Array]:
        """Return depth, and place at unit depth, of world points in each picture, shape (candidate, point)."""
        depth, s, t = (axis @ points.T - np.sum(axis * positions, axis=1)[:, None] for axis in (forward, right, up))
        depth[~(depth > 0)] = np.nan
        s /= depth
        t /= depth
        return depth, s, t

    # Half a picture, and a hair, as in `_covers`.
    half = 0.5 * (1.0 + 1e-9)
    _, s, t = seen(front.rectangle)
    image = np.stack([(s - p[:, None]) / w[:, None], (t - q[:, None]) / h[:, None]], axis=2)
    result["pixel_share"] = _area_in_picture(image)
    _, s, t = seen(front.outline)
    x, y = (s - p[:, None]) / w[:, None], (t - q[:, None]) / h[:, None]
    along = forward @ front.outline.T
    result["depth_range"] = along.max(axis=1) - along.min(axis=1)

    # Light at the points of the front.
    depth, s, t = seen(front.points)
    height = (positions @ front.planes[:, :3].T + front.planes[:, 3])[:, front.plane]
    across, upward = (s - p[:, None]) / w[:, None], (t - q[:, None]) / h[:, None]
    reached = (np.abs(across) <= half) & (np.abs(upward) <= half)
    lit = reached & (height > SAME_PLANE)
    lit &= ~_hidden(front, positions)
    light = height / (depth * depth * depth)
    light /= (w * h)[:, None]
    if projector.zones is not None:
        light *= zone_gain(projector.zones, np.nan_to_num(across), np.nan_to_num(upward))
    light[~lit] = 0.0
    result["flux_share"] = light @ front.area

    count = len(front.share)
    target = np.s_[:, :count]
    lit, reached, light = lit[target], reached[target], light[target]
    number_lit = lit.sum(axis=1)
    within = reached @ front.share
    # Between the outermost points and the target's edge the picture may end: then it is not quite all.
    all_in = np.all((np.abs(x) <= half) & (np.abs(y) <= half), axis=1)
    share = np.where(all_in, 1.0, np.minimum(within, 1.0 - 0.5 * front.share.min()))
    result["reached_share"] = np.where(aimed, share, np.nan)
    dark = np.where(within > 0, (reached & ~lit) @ front.share / within, 0.0)
    result["blocked_share"] = np.where(aimed, dark, np.nan)
    ordered = np.sort(np.where(lit, light, np.inf), axis=1)
    row = np.arange(len(positions))
    some = number_lit > 0
    last = np.maximum(number_lit, 1)
    median = 0.5 * (ordered[row, (last - 1) // 2] + ordered[row, last // 2])
    result["illuminance_median"] = np.where(aimed, np.where(some, median, 0.0), np.nan)
    result["illuminance_lowest"] = np.where(aimed, np.where(some, ordered[:, 0], 0.0), np.nan)

    # Picture elements there: the map's Gram matrix, divided by depth squared.
    depth, s, t, height = depth[target], s[target], t[target], height[target]
    slant = depth / height
    which = front.plane[:count]
    alpha = slant * (right @ front.planes[:, :3].T)[:, which]
    beta = slant * (up @ front.planes[:, :3].T)[:, which]
    length = 1.0 + s * s + t * t
    ss = 1.0 + alpha * (2.0 * s + alpha * length)
    tt = 1.0 + beta * (2.0 * t + beta * length)
    st = beta * s + alpha * t + alpha * beta * length
    pitch = w / projector.resolution[0]
    square = depth * depth

    def extent(ss: Array, st: Array, tt: Array, scale: Array) -> tuple[Array, Array]:
        middle, swing = 0.5 * (ss + tt), np.hypot(0.5 * (ss - tt), st)
        longest = np.where(lit, (middle + swing) * scale, 0.0).max(axis=1)
        # By the determinant: the difference would lose digits at grazing incidence.
        shortest = np.where(lit, (ss * tt - st * st) / (middle + swing) * scale, np.inf).min(axis=1)
        return np.where(some, pitch * np.sqrt(longest), np.nan), np.where(some, pitch * np.sqrt(shortest), np.nan)

    coarsest, finest = extent(ss, st, tt, square)
    result["coarsest_element"], result["finest_element"] = 1e3 * coarsest, 1e3 * finest
    if front.audience is not None:
        view = front.points[:count] - front.audience
        distance = np.linalg.norm(view, axis=1)
        view = view / distance[:, None]
        # What lies along the line of sight is not seen.
        ray_seen = (view @ front.points[:count].T).diagonal() - positions @ view.T
        ray_seen /= depth
        u, v = right @ view.T + alpha * ray_seen, up @ view.T + beta * ray_seen
        widest, _ = extent(ss - u * u, st - u * v, tt - v * v, square / distance**2)
        result["pixels_per_degree"] = np.radians(1.0) / widest
    result["people_share"] = np.where(aimed, 0.0, np.nan)
    if front.people:
        result["people_share"] = _people_share(front, positions, frame, window)
    return result


def _people_share(front: _Front, positions: Array, frame: tuple[Array, ...], window: tuple[Array, ...]) -> Array:
    """Return the share of each picture's rays that meet people before the main plane; each carries equal light."""
    (forward, right, up), (p, q, w, h) = frame, window
    s, t = ((np.arange(size) + 0.5) / size - 0.5 for size in RAYS)
    s, t = (part.ravel() for part in np.meshgrid(s, t))
    height = ((positions - front.middle) @ front.normal)[:, None]
    x, y = p[:, None] + w[:, None] * s, q[:, None] + h[:, None] * t
    met = np.zeros(x.shape, dtype=bool)

    def along(normals: Array) -> Array:
        """Return the change of a linear form along each ray, to unit depth."""
        return (forward @ normals)[:, None] + x * (right @ normals)[:, None] + y * (up @ normals)[:, None]

    towards = -along(front.normal)
    reach = np.where(towards > height / FAR, height / towards, FAR)
    for block in front.people:
        start = positions @ block.faces[:, :3].T + block.faces[:, 3]
        met |= _crosses((start[:, [k]], start[:, [k]] + reach * along(face[:3])) for k, face in enumerate(block.faces))
    return np.where(np.isfinite(forward[:, 0]), met.mean(axis=1), np.nan)


def _crosses(forms: Iterable[tuple[Array, Array]]) -> Mask:
    """Return whether a segment runs through a convex body.

    `forms` are the values at the segment's start and end of the linear forms that are positive inside; clipping
    by parameter (Cyrus and Beck 1978).
    """
    enter: Array | float = 0.0
    leave: Array | float = 1.0
    for start, end in forms:
        out, gone = start < 0, end < 0
        at = start / (start - end)
        enter = np.maximum(enter, np.where(out, np.where(gone, 2.0, at), 0.0))
        leave = np.minimum(leave, np.where(gone, np.where(out, -1.0, at), 1.0))
    return np.asarray(enter < leave)


def _hidden(front: _Front, positions: Array) -> Mask:
    """Return whether an obstacle, or the front's own depth, hides each point from each lens."""
    points = front.points
    hidden = np.zeros((len(positions), len(points)), dtype=bool)
    bodies: list[_Sheet | _Block] = [*front.sheets, *front.blocks]
    if not bodies:
        return hidden
    boxes = np.array([body.box for body in bodies])
    near = _may_cross(points, positions.min(axis=0), positions.max(axis=0), boxes)
    for k in np.flatnonzero(near.any(axis=1)):
        body, which = bodies[k], near[k]
        if isinstance(body, _Sheet):
            here = points @ body.plane[:3] + body.plane[3]
            which = which & (np.abs(here) > SAME_PLANE)
            if body.group >= 0:
                which &= front.plane != body.group
        chosen = np.flatnonzero(which)
        if not chosen.size:
            continue
        at = points[chosen]
        if isinstance(body, _Sheet):
            here, lens = here[chosen], positions @ body.plane[:3] + body.plane[3]
            hit = (here > 0) != (lens > 0)[:, None]
            # Where the segment meets the plane, the form of an edge is a mean of its values at both ends.
            here, lens = np.abs(here), np.abs(lens)[:, None]
            for edge in body.edges:
                hit &= (positions @ edge[:3] + edge[3])[:, None] * here + lens * (at @ edge[:3] + edge[3]) >= 0
        else:
            start, end = (x @ body.faces[:, :3].T + body.faces[:, 3] for x in (at, positions))
            hit = _crosses((start[:, i], end[:, [i]]) for i in range(len(body.faces)))
        hidden[:, chosen] |= hit
    return hidden


def _may_cross(points: Array, low: Array, high: Array, boxes: Array) -> Mask:
    """Return whether a segment from a point to anywhere between `low` and `high` may meet a box, (box, point)."""

    def forms() -> Iterable[tuple[Array, Array]]:
        for k in range(3):
            below = boxes[:, 0, k, None] - points[:, k] - SAME_PLANE
            above = boxes[:, 1, k, None] - points[:, k] + SAME_PLANE
            yield above, above - (low[k] - points[:, k])
            yield -below, (high[k] - points[:, k]) - below

    return _crosses(forms())


def _area_in_picture(image: Array) -> Array:
    """Return the area within the picture of quadrangles in it, shape (candidate, 4, 2), from -0.5 to 0.5."""
    x, y = image[..., 0], image[..., 1]
    area = 0.5 * np.abs(np.sum(x * np.roll(y, -1, axis=1) - np.roll(x, -1, axis=1) * y, axis=1))
    beyond = np.flatnonzero(np.isfinite(area) & (np.abs(image) > 0.5 + 1e-9).any(axis=(1, 2)))
    if beyond.size:
        area[beyond] = shapely.area(
            shapely.intersection(shapely.polygons(image[beyond]), shapely.box(-0.5, -0.5, 0.5, 0.5))
        )
    return area


def _excesses(places: Mapping[Any, Any], lens: Lens, limits: Limits) -> dict[str, Array]:
    """Return by how much each place exceeds each limit; at most 0 where it does not, infinite without an aim."""

    def values(name: str) -> Array:
        return np.asarray(places[name])

    found = {
        name: np.maximum(low - values(name), values(name) - high)
        for name, (low, high) in (("tilt", lens.tilt), ("turn", lens.turn))
    }
    never = np.full(len(values("tilt")), -np.inf)
    found["reached"] = never if limits.reached is None else limits.reached - values("reached_share")
    for name, limit, variable in (
        ("keystone", limits.keystone, "keystone"),
        ("blocked", limits.blocked, "blocked_share"),
        ("focus_depth", limits.focus_depth, "depth_range"),
        ("people", limits.people, "people_share"),
    ):
        found[name] = never if limit is None else values(variable) - limit
    return {name: np.where(np.isnan(excess), np.inf, excess) for name, excess in found.items()}


def _no_place(places: xr.Dataset, lens: Lens, limits: Limits) -> InputError:
    """Return the error that says which limit keeps all places out."""
    if places["feasible"].any():
        return InputError("objective", "nothing finite", "a number for at least one place that keeps to all limits")
    excesses = _excesses(places, lens, limits)
    fails = {name: excess > SLACK for name, excess in excesses.items()}
    count = places.sizes["candidate"]
    others = {name: ~np.logical_or.reduce([f for k, f in fails.items() if k != name]) for name in fails}
    freed = {name: int(ok.sum()) for name, ok in others.items()}
    most = max(freed, key=lambda name: freed[name])
    if freed[most]:
        among, names = others[most], [most]
        why = f"without this limit alone {freed[most]:,} of {count:,} places would do"
    else:
        among = np.ones(count, dtype=bool)
        names = sorted(fails, key=lambda name: -int(fails[name].sum()))[:2]
        why = f"no place of {count:,} keeps to all limits, nor would one without any single limit; most fail " + (
            " and ".join(f"{name} ({int(fails[name].sum()):,})" for name in names)
        )
    near = int(np.where(among, sum(np.clip(excesses[name], 0.0, 1e6) for name in names), np.inf).argmin())
    x, y, z = places["position"].values[near]
    shown, wanted = [], []
    for name in names:
        variable, unit, right = {
            "tilt": ("tilt", "degrees", f"{lens.tilt[0]:g} to {lens.tilt[1]:g} degrees"),
            "turn": ("turn", "degrees", f"{lens.turn[0]:g} to {lens.turn[1]:g} degrees"),
            "reached": ("reached_share", "", f"{limits.reached} or more"),
            "keystone": ("keystone", "degrees", f"{limits.keystone} degrees or less"),
            "blocked": ("blocked_share", "", f"{limits.blocked} or less"),
            "focus_depth": ("depth_range", "m", f"{limits.focus_depth} m or less"),
            "people": ("people_share", "", f"{limits.people} or less"),
        }[name]
        shown.append(float(f"{float(places[variable][near]):.4g}"))
        over = float(excesses[name][near])
        wanted.append(f"{right} (the nearest place misses it by {f'{max(over, 0.0):.3g} {unit}'.strip()})")
    return InputError(
        "limits: " + " and ".join(names),
        shown[0] if len(shown) == 1 else tuple(shown),
        f"{'; '.join(wanted)}, with the lens at x {x:.2f}, y {y:.2f}, z {z:.2f} m; {why}",
    )


def _worth(objective: Objective, places: xr.Dataset) -> Array:
    """Return how good each place is, the more the better."""
    if callable(objective):
        result = np.asarray(objective(places), dtype=float)
        if result.shape != (places.sizes["candidate"],):
            raise InputError(
                "objective", result.shape, f"one number for each of {places.sizes['candidate']} candidates"
            )
        return result
    if objective not in OBJECTIVES:
        raise InputError("objective", objective, f"one of {', '.join(OBJECTIVES)}, or a function")
    name, more = OBJECTIVES[objective]
    return places[name].values if more else -places[name].values


def _pareto(places: xr.Dataset, feasible: Mask) -> NDArray[np.intp]:
    """Return the feasible places that no other beats in illuminance, coarsest element and keystone at once."""
    costs = np.stack(
        [-places["illuminance_median"].values, places["coarsest_element"].values, places["keystone"].values], axis=1
    )
    chosen = np.flatnonzero(feasible & np.isfinite(costs).all(axis=1))
    chosen = chosen[np.lexsort(costs[chosen].T[::-1])]
    kept = np.empty((len(chosen), 3))
    index: list[int] = []
    for i in chosen.tolist():
        # In this order only an earlier one can be as good in everything.
        if not np.any(np.all(kept[: len(index)] <= costs[i], axis=1)):
            kept[len(index)] = costs[i]
            index.append(i)
    return np.array(index, dtype=np.intp)


def _neighbours(positions: Array, size: int) -> NDArray[np.intp]:
    """Return an order in which runs of `size` positions lie close together in plan."""
    strips = max(1, int(np.sqrt(len(positions) / size)))
    by_x = np.argsort(positions[:, 0], kind="stable")
    return np.concatenate(
        [part[np.argsort(positions[part, 2], kind="stable")] for part in np.array_split(by_x, strips)]
    )


def _positions(positions: ArrayLike) -> Array:
    try:
        given = np.array(positions, dtype=float)
    except (TypeError, ValueError):
        raise InputError("positions", positions, "an array of shape (candidate, 3) in m") from None
    if given.ndim != 2 or given.shape[1] != 3 or not len(given):
        raise InputError("positions", given.shape, "an array of shape (candidate, 3) in m, with at least one candidate")
    if not np.isfinite(given).all():
        bad = int(np.argmax(~np.isfinite(given).all(axis=1)))
        raise InputError(f"positions[{bad}]", tuple(given[bad].tolist()), "3 finite numbers in m")
    return given


def _front(
    facade: Facade,
    target: Sequence[str] | None,
    obstacles: Sequence[Obstacle],
    audience: Sequence[float] | None,
    points: int,
) -> _Front:
    """Return what `evaluate` needs that does not depend on where the lens is."""
    wanted = number("points", points, minimum=20, maximum=1e5)
    _check_all("obstacles", obstacles, Obstacle)
    judged = [i for i, p in enumerate(facade.patches) if p.faces_audience and p.judged]
    if target is None:
        members = judged
        if not members:
            raise InputError("target", target, "names of patches to be lit, or a front with judged patches")
    else:
        if isinstance(target, str) or not is_many(target) or not len(target):
            raise InputError("target", target, "a list of names of patches")
        names = {facade.patch(name).name for name in target}
        members = [i for i, p in enumerate(facade.patches) if p.name in names]
        for i in members:
            if not facade.patches[i].faces_audience:
                raise InputError("target", facade.patches[i].name, "patches that face the audience")
    chosen = [facade.patches[i] for i in members]
    outline = np.concatenate([p.rings[0] for p in chosen])
    main = max(chosen, key=lambda p: p.area)
    z0, zx, zy = main.depth_plane()
    (left, bottom), (right, top) = outline[:, :2].min(axis=0), outline[:, :2].max(axis=0)
    rectangle = np.array(
        [(x, y, z0 + zx * x + zy * y) for x, y in ((left, bottom), (right, bottom), (right, top), (left, top))]
    )
    corners = rectangle
    out = outline[np.abs(outline @ main.normal - main.offset) > SAME_PLANE]
    if len(out):
        corners = np.concatenate([rectangle, out])
        # A picture is convex, so the hull is enough.
        corners = corners[ConvexHull(corners).vertices]
    heading = -np.array([main.normal[0], 0.0, main.normal[2]])
    heading /= np.linalg.norm(heading)
    square = np.array([np.cross(heading, (0.0, 1.0, 0.0)), (0.0, 1.0, 0.0), heading])

    index, at, share = _sample(facade, members, (left, right, bottom, top), wanted)
    area, share = share, share / share.sum()
    if set(members) != set(judged):
        area = np.zeros(len(at))
        if judged:
            more, there, its_area = _sample(facade, judged, facade.bounds, wanted)
            index, at, area = np.append(index, more), np.append(at, there, axis=0), np.append(area, its_area)
    groups = planes_of(facade)
    group_of = {i: k for k, group in enumerate(groups) for i in group}
    planes = [facade.patches[group[0]] for group in groups]
    return _Front(
        rectangle=rectangle,
        middle=rectangle.mean(axis=0),
        normal=main.normal,
        square=square,
        corners=corners,
        outline=outline,
        points=at,
        share=share,
        area=area / np.array([p.normal[2] for p in facade.patches])[index],
        planes=np.array([(*p.normal, -p.offset) for p in planes]),
        plane=np.array([group_of[int(i)] for i in index], dtype=np.intp),
        sheets=tuple(s for i, p in enumerate(facade.patches) for s in _sheets(p, group_of.get(i, -1))),
        blocks=tuple(b for o in obstacles if o.blocks for b in _blocks(o)),
        people=tuple(b for o in obstacles if not o.blocks for b in _blocks(o)),
        audience=None if audience is None else np.array(numbers("audience", audience, 3, unit="m")),
    )


def _sample(
    facade: Facade, members: list[int], extent: tuple[float, float, float, float], wanted: float
) -> tuple[NDArray[np.intp], Array, Array]:
    """Return about as many visible points of the patches as wanted: index of the patch, place, area in elevation."""
    shapes = exposed(facade)
    seen = {i: shapes[facade.patches[i].name] for i in members}
    area_of = np.zeros(len(facade.patches))
    area_of[members] = [shape.area for shape in seen.values()]
    if not area_of.sum() > 0:
        raise InputError("target", [facade.patches[i].name for i in members], "patches of which the audience sees some")
    grid = Grid.over(extent, float(np.sqrt(area_of.sum() / wanted)))
    raster = visible(facade, grid)
    rows, columns = np.nonzero(np.isin(raster, members))
    index = raster[rows, columns].astype(np.intp)
    x, y = grid.x[columns], grid.y[rows]
    # What is so slender that it slips between the points gets one.
    missed = np.array([i for i in members if area_of[i] > 0 and i not in index], dtype=np.intp)
    if missed.size:
        more = [seen[i].representative_point() for i in missed.tolist()]
        index, x, y = np.append(index, missed), np.append(x, [m.x for m in more]), np.append(y, [m.y for m in more])
    planes = np.array([p.depth_plane() if p.faces_audience else (0.0, 0.0, 0.0) for p in facade.patches])[index]
    at = np.stack([x, y, planes[:, 0] + planes[:, 1] * x + planes[:, 2] * y], axis=1)
    # Each patch counts with its exact area, however its edges fall between the points.
    return index, at, (area_of / np.maximum(np.bincount(index, minlength=len(area_of)), 1))[index]


def _sheets(patch: Patch, group: int) -> Iterable[_Sheet]:
    """Return the patch as convex pieces."""
    normal = patch.normal
    # Two axes of the plane: the world axis that lies nearest to it, and the one square to that.
    k = int(np.argmin(np.abs(normal)))
    first = np.eye(3)[k] - normal[k] * normal
    first /= np.linalg.norm(first)
    axes = np.array([first, np.cross(normal, first)])
    outline, *holes = (ring @ axes.T for ring in patch.rings)
    for piece in _convex(shapely.Polygon(outline, holes)):
        flat = _edges(piece)
        edges = np.column_stack([flat[:, :2] @ axes, flat[:, 2]])
        corners = piece @ axes + patch.offset * normal
        box = np.array([corners.min(axis=0), corners.max(axis=0)])
        yield _Sheet(plane=np.array([*normal, -patch.offset]), edges=edges, box=box, group=group)


def _blocks(obstacle: Obstacle) -> Iterable[_Block]:
    """Return the obstacle as convex pieces."""
    bottom, top = obstacle.heights
    for piece in _convex(shapely.Polygon(obstacle.area)):
        flat = _edges(piece)
        sides = np.column_stack([flat[:, 0], np.zeros(len(flat)), flat[:, 1:]])
        low, high = piece.min(axis=0), piece.max(axis=0)
        yield _Block(
            faces=np.concatenate([sides, [(0.0, 1.0, 0.0, -bottom), (0.0, -1.0, 0.0, top)]]),
            box=np.array([(low[0], bottom, low[1]), (high[0], top, high[1])]),
        )


def _convex(shape: Any) -> Iterable[Array]:
    """Return the corners, shape (n, 2), of convex pieces of a polygon: the whole of it, or triangles."""
    whole = not shape.interiors and shape.convex_hull.area - shape.area <= 1e-12 * shape.area
    for piece in [shape] if whole else shapely.get_parts(shapely.constrained_delaunay_triangles(shape)):
        yield np.array(shapely.orient_polygons(piece).exterior.coords[:-1])


def _edges(corners: Array) -> Array:
    """Return the lines (a, b, c) of a convex polygon in counter-clockwise order, a x + b y + c >= 0 inside."""
    along = np.roll(corners, -1, axis=0) - corners
    inward = np.column_stack([-along[:, 1], along[:, 0]])
    return np.column_stack([inward, -np.sum(inward * corners, axis=1)])


def _spread(stands: Sequence[Stand], count: int, facade: Facade, obstacles: Sequence[Obstacle]) -> list[Array]:
    """Return the candidates of each stand."""
    _check_all("stands", stands, Stand)
    _check_all("obstacles", obstacles, Obstacle)
    if not stands:
        raise InputError("stands", stands, "at least one kit.Stand")
    total = number("count", count, minimum=len(stands), maximum=1e7)
    if total != int(total):
        raise InputError("count", count, "a whole number")
    for stand in stands:
        _check_stand(stand, facade)
    sizes = [len(part) for part in np.array_split(np.arange(int(total)), len(stands))]
    return [_fill(stand, size, _room(stand, facade, obstacles)) for stand, size in zip(stands, sizes, strict=True)]


def _fill(stand: Stand, size: int, free: Callable[[Array], Mask]) -> Array:
    """Return `size` points of the stand that are free."""
    from scipy.stats import qmc  # takes as long to load as all the rest

    plan = np.array(stand.area)
    low = np.array([plan[:, 0].min(), stand.heights[0], plan[:, 1].min()])
    high = np.array([plan[:, 0].max(), stand.heights[1], plan[:, 1].max()])
    halton = qmc.Halton(3, scramble=False)
    found, tried = np.empty((0, 3)), 0
    while len(found) < size:
        if tried > 1000 * (size + 100):
            raise InputError(f"stand {stand.name!r}: area", stand.area, "an area with room beside the obstacles")
        batch = 2 * size + 64
        points = low + halton.random(batch) * (high - low)
        found, tried = np.concatenate([found, points[free(points)]]), tried + batch
    return found[:size]


def _room(stand: Stand, facade: Facade, obstacles: Sequence[Obstacle]) -> Callable[[Array], Mask]:
    """Return the function that says which points lie in the stand and outside all obstacles."""
    plan = shapely.Polygon(stand.area)
    bodies = [(shapely.Polygon(o.area), o.heights) for o in obstacles]
    shapely.prepare([plan, *(body for body, _ in bodies)])

    def free(points: Array) -> Mask:
        x, y, z = points.T
        inside = shapely.intersects_xy(plan, x, z) & (y >= stand.heights[0]) & (y <= stand.heights[1])
        for body, (bottom, top) in bodies:
            inside &= ~(shapely.intersects_xy(body, x, z) & (y >= bottom) & (y <= top))
        return inside

    return free


def _check_stand(stand: Stand, facade: Facade) -> None:
    """Raise `InputError` for a stand of which some lies behind or inside the front."""
    where = f"stand {stand.name!r}: area"
    low, high = stand.heights
    check_in_front(facade, [(x, y, z) for x, z in stand.area for y in (low, high)], where, "an area")
    plan = shapely.Polygon(stand.area)
    for patch in facade.patches:
        if not patch.faces_audience:
            continue
        z0, zx, zy = patch.depth_plane()
        for piece in (p for part in shapely.get_parts(patch.elevation) for p in _convex(part)):
            corners = np.column_stack([piece, z0 + zx * piece[:, 0] + zy * piece[:, 1]])
            # What of it is as high as the stand, and all that lies behind that.
            for normal, offset in (((0.0, 1.0, 0.0), low), ((0.0, -1.0, 0.0), -high)):
                corners = clip(corners, np.array(normal), offset - SAME_PLANE) if len(corners) > 2 else corners[:0]
            if len(corners) < 3:
                continue
            near = corners[:, [0, 2]]
            behind = shapely.MultiPoint(np.concatenate([near, near - (0.0, FAR)])).convex_hull
            if behind.intersection(plan).area > SAME_PLANE:
                right = f"an area in front of the house; some of this one is behind or inside patch {patch.name!r}"
                raise InputError(where, stand.area, right)


def _check_all(field: str, values: Any, kind: type) -> None:
    if not is_many(values):
        raise InputError(field, values, f"a list of kit.{kind.__name__} values")
    for value in values:
        if not isinstance(value, kind):
            raise InputError(field, value, f"kit.{kind.__name__} values")


def _plan(where: str, area: Any) -> tuple[tuple[float, float], ...]:
    if not is_many(area) or len(area) < 3:
        raise InputError(f"{where}: area", area, "three or more corners (x, z) in metres")
    corners = tuple(numbers(f"{where}: area, corner {i}", corner, 2, unit="m") for i, corner in enumerate(area, 1))
    shape = shapely.Polygon(corners)
    if not shape.is_valid or not shape.area > 0:
        raise InputError(f"{where}: area", corners, "corners in order round an area, with edges that do not cross")
    return corners  # type: ignore[return-value]


def _range(field: str, value: Any, *, unit: str = "", **limits: float) -> Range:
    low, high = (number(f"{field}[{i}]", v, unit=unit, **limits) for i, v in enumerate(numbers(field, value, 2)))
    if low > high:
        raise InputError(field, (low, high), "a range (lowest, highest)")
    return low, high


def _plain(value: float, digits: int) -> str:
    """Return a number as text, never as minus nought."""
    return f"{round(value, digits) + 0.0:.{digits}f}"
