"""Which place for the lens is best: places spread over the stands, and an optimiser that moves the best about."""

from collections.abc import Callable, Sequence
from functools import cached_property, partial
from typing import ClassVar

import numpy as np
import shapely
import xarray as xr
from scipy.optimize import differential_evolution

from kit.arrays import Array, ArrayLike, Index, Mask, unbeaten
from kit.errors import InputError
from kit.fields import LENGTH, NAME, Declared, Is, Many, Number, Numbers, OneOf, Range, declared
from kit.quantities import attrs
from kit.results import Format, Frame, Result, make_frame
from kit.source.placement import Placement
from kit.source.projector import Projector
from kit.stage.aim import Lens
from kit.stage.likely import Likely
from kit.stage.places import SLACK, Front, Limits, bounds, evaluated, excesses, placement_of
from kit.units import edge
from kit.wall.facade import Facade
from kit.wall.occlusion import AREA, OBSTACLES, Obstacle
from kit.wall.points import check_in_front
from kit.words import Phrases, join, percent, plain, short

Objective = str | Callable[[xr.Dataset], ArrayLike]

# What is best, the more the better.
OBJECTIVES: dict[str, Callable[[xr.Dataset], xr.DataArray]] = {
    "illuminance": lambda places: places["illuminance_median"] * places["delivered_light"],
    "sharpness": lambda places: -places["coarsest_element"], "keystone": lambda places: -places["keystone"],
    "pixels": lambda places: places["pixel_share"],
}  # fmt: skip
# Of the optimiser: how many places it moves at a time, and how often.
POPULATION, GENERATIONS = 24, 40
# So many places in a stand are looked at for whether they are in front of the house.
SURE = 500
ONE_DIGIT, THREE = partial(plain, digits=1), partial(short, digits=3)
say = Phrases(__file__)

COUNT = Number(label="candidates", low=1, high=1e7, whole=True, default=2000, meaning="places that are tried")


class Stand(Declared):
    """Where the lens may be: on the ground, on a roof, on a post."""

    thing: ClassVar[str] = "stand"

    name: str = declared(NAME)
    area: tuple[tuple[float, float], ...] = declared(AREA)
    heights: tuple[float, float] = declared(
        Range(label="heights", of=LENGTH, meaning="lowest and highest position of the lens above the ground line")
    )

    @cached_property
    def box(self) -> Array:
        """Lowest and highest x, y and z of the lens, shape (3, 2) [m]."""
        (left, near), (right, far) = np.min(self.area, axis=0), np.max(self.area, axis=0)
        return np.array([(left, right), self.heights, (near, far)])


STANDS = Many(label="stands", of=Is(kind=Stand), least=1)


def candidates(stands: Sequence[Stand], count: int, facade: Facade, *, obstacles: Sequence[Obstacle] = ()) -> Array:
    """Return positions spread evenly (Halton) in `stands`, outside obstacles, as many in each, shape (count, 3) [m]."""
    places, things = STANDS.check("stands", stands), OBSTACLES.check("obstacles", obstacles)
    total = COUNT.but(low=len(places)).check("count", count)
    found = []
    for stand, size in zip(places, np.bincount(np.arange(total) % len(places)).tolist(), strict=True):
        # Few candidates could all miss a part of the stand that lies in the house.
        points = _fill(stand, max(size, SURE), things)
        check_in_front(facade, points, f"stand {stand.name!r}: area", "an area")
        found.append(points[:size])
    return np.concatenate(found)


class Search(Result, eq=False):
    """The places that were looked at, and the best."""

    places: xr.Dataset  # as from `evaluate`, with a coordinate `stand`: candidates, then what the optimiser found
    index: int  # of the best by the objective
    pareto: Index  # feasible, and beaten by no other in light, coarsest element and keystone at once; the best first
    objective: str
    projector: Projector
    middle: float  # of the front, from which places to the side are counted [m]
    remark: str = ""  # of the objective

    @property
    def best(self) -> xr.Dataset:
        """The figures of the best place."""
        return self.places.isel(candidate=self.index)

    @property
    def placement(self) -> tuple[Projector, Placement]:
        """The best place as `kit.Scene` takes it."""
        return placement_of(self.projector, self.places, self.index)

    def frame(self, units: str = "m", *, rows: int = 8) -> Frame:
        """Return the best place and the rest of the Pareto set: at most `rows`, spread evenly over the set."""
        others = self.pareto[self.pareto != self.index]
        chosen = np.unique(np.linspace(0, len(others) - 1, min(max(rows - 1, 0), len(others))).round().astype(int))
        some = self.places.isel(candidate=[self.index, *others[chosen]])
        across, up, away = (some["position"].values - (self.middle, 0.0, 0.0)).T
        columns: dict[str, tuple[ArrayLike, Format]] = {
            "stand": (some["stand"], str), "to the right [m]": (across, ONE_DIGIT), "up [m]": (up, ONE_DIGIT),
            "off the wall [m]": (away, ONE_DIGIT), "throw ratio": (some["throw_ratio"], ".2f"),
            "tilt [°]": (some["tilt"], ONE_DIGIT), "pan [°]": (some["pan"], ONE_DIGIT),
            "illuminance [lx]": (OBJECTIVES["illuminance"](some), ONE_DIGIT),
            "largest pixel [mm]": (some["coarsest_element"], short),
            "corners off by [°]": (some["keystone"], ONE_DIGIT), "picture used": (some["pixel_share"], percent),
            "light on the front, about": (some["flux_share"], percent),
        }  # fmt: skip
        values = {name: value for name, (value, _) in columns.items()}
        return make_frame(values, {name: form for name, (_, form) in columns.items()}, "stand", units)

    def sentence(self, units: str = "m") -> str:
        """Return the best place in words."""
        small, inch = edge("mm", units)
        x, y, z = (self.best["position"].values - (self.middle, 0.0, 0.0)).tolist()
        one = {str(name): float(value) for name, value in self.best.data_vars.items() if not value.ndim}
        left = {factor.name.partition(":")[0]: factor.nominal for factor in self.placement[0].chain}
        lens = say("lens", zoom=left["lens"], shift=left["lens shift"]) if "lens shift" in left else ""
        median, lowest = (one["delivered_light"] * one[f"illuminance_{name}"] for name in ("median", "lowest"))
        aside = say("aside", units, x=abs(x), side="right" if x > 0 else "left")
        return say(
            "best", units, search=self, stand=self.best["stand"].item(), z=z, y=y, median=median, lowest=lowest,
            aside=aside if abs(x) >= 0.05 * edge("m", units)[1] else "in line with", small=small, lens=lens, **one,
            dot=one["coarsest_element"] / inch, good=int(self.places["feasible"].sum()),
            count=self.places.sizes["candidate"],
        )  # fmt: skip


def search(
    facade: Facade, projector: Projector, lens: Lens, stands: Sequence[Stand], *, obstacles: Sequence[Obstacle] = (),
    objective: Objective = "illuminance", count: int = 2000, target: Sequence[str] | None = None,
    audience: Sequence[float] | None = None, limits: Limits | None = None, points: float = 200,
    units: str = "m",
) -> Search:  # fmt: skip
    """Return the best place for a projector.

    Candidates spread over the stands are evaluated; differential evolution (scipy) then moves the best of them
    about in their stand. The result is the same each time and never worse than the best candidate.

    Parameters
    ----------
    facade, projector, lens, obstacles, target, audience, limits, points
        As for `evaluate`.
    objective : {"illuminance", "sharpness", "keystone", "pixels"} or callable
        Largest median illuminance, smallest of the coarsest picture elements, least keystone, largest share of the
        raster; a `Likely`, for the chance that it is enough; or any function that takes the Dataset of `evaluate` and
        returns a number for each candidate, the more the better.
    count : int
        Of candidates.
    units : {"m", "ft"}
        Of the lengths in a refusal.

    Raises
    ------
    InputError
        As for `evaluate` and `candidates`. Where no place keeps to all limits, it names the limit that binds: the
        one without which most places would do, else the two that fail most; and by how much it fails at the
        nearest place.
    """
    rules = limits or Limits()
    stands, obstacles = STANDS.check("stands", stands), OBSTACLES.check("obstacles", obstacles)
    front = Front.of(facade, target, obstacles, audience, points)
    positions = candidates(stands, count, facade, obstacles=obstacles)
    owner = np.sort(np.arange(len(positions)) % len(stands))  # candidates come stand by stand
    places = evaluated(front, projector, lens, positions, rules)
    worth = _worth(objective, places)
    feasible = places["feasible"].values & np.isfinite(worth)
    if not feasible.any():
        raise _no_place(places, lens, rules, units, [thing.name for thing in obstacles if thing.blocks])
    best = int(np.where(feasible, worth, -np.inf).argmax())
    home = int(owner[best])
    free = _room(stands[home], obstacles)

    def badness(moved: Array) -> Array:
        at = moved.T
        # Any place that keeps to all limits is better than any that does not; those are led back by what they exceed.
        result = np.full(len(at), 2e9)
        inside = free(at)
        if inside.any():
            found = evaluated(front, projector, lens, at[inside], rules)
            value = _worth(objective, found)
            over = sum(np.clip(excess, 0.0, 1e6) for excess in excesses(found, lens, rules).values())
            good = found["feasible"].values & np.isfinite(value)
            result[inside] = np.where(good, -np.where(good, value, 0.0), 1e9 + over)
        return result

    order = np.argsort(np.where(feasible, -worth, np.inf)[owner == home], kind="stable")
    start = positions[owner == home][order[:POPULATION]]
    if len(start) < POPULATION:
        start = np.append(start, _fill(stands[home], POPULATION - len(start), obstacles), axis=0)
    how = {"maxiter": GENERATIONS, "vectorized": True, "updating": "deferred", "polish": False, "seed": 1}
    refined = differential_evolution(badness, stands[home].box, init=start, **how)
    if refined.fun < -worth[best]:
        best, owner, worth = len(owner), np.append(owner, home), np.append(worth, -refined.fun)
        places = xr.concat([places, evaluated(front, projector, lens, refined.x[None], rules)], "candidate")
    # What no other feasible place beats in illuminance, coarsest element and keystone at once.
    costs = -np.stack([OBJECTIVES[name](places) for name in ("illuminance", "sharpness", "keystone")], axis=1)
    among = np.flatnonzero(np.isfinite(worth) & places["feasible"].values & np.isfinite(costs).all(axis=1))
    pareto = among[unbeaten(costs[among])]
    return Search(
        places=places.assign_coords(stand=("candidate", [stands[k].name for k in owner.tolist()])),
        index=best,
        pareto=pareto[np.argsort(-worth[pareto], kind="stable")],
        objective=objective if isinstance(objective, str) else getattr(objective, "__name__", "your objective"),
        projector=projector,
        middle=0.5 * (facade.bounds[0] + facade.bounds[1]),
        remark=objective.words(places.isel(candidate=best)) if isinstance(objective, Likely) else "",
    )


def _no_place(places: xr.Dataset, lens: Lens, limits: Limits, units: str, things: list[str]) -> InputError:
    """Return the error that says which limit keeps all places out."""
    if places["feasible"].any():
        return InputError("objective", "nothing finite", "a number for at least one place that keeps to all limits")
    if not np.isfinite(places["tilt"]).any():
        return InputError("stands", "behind the plane of the target", "a stand from which the target can be aimed at")
    if things and np.nanmin(places["blocked_share"]) == 1.0:
        right = "obstacles that leave some of the front in view of a stand; from everywhere these hide all of it"
        return InputError("obstacles", ", ".join(things), right)
    over = excesses(places, lens, limits)
    fails = {name: excess > SLACK for name, excess in over.items()}
    count = places.sizes["candidate"]
    others = {name: ~np.logical_or.reduce([f for k, f in fails.items() if k != name]) for name in fails}
    most = max(others, key=lambda name: int(others[name].sum()))
    among, names = others[most], [most]
    why = say("alone", good=int(among.sum()), count=count)
    if not among.any():
        among, names = ~among, sorted(fails, key=lambda name: -int(fails[name].sum()))[:2]
        why = say("many", count=count, failing=join([f"{int(fails[name].sum()):,}" for name in names]))
    near = int(np.where(among, sum(np.clip(over[name], 0.0, 1e6) for name in names), np.inf).argmin())
    sign, metre = edge("m", units)
    x, y, z = places["position"].values[near] / metre
    given, wanted = [], []
    for name in names:
        variable, least, greatest = bounds(lens, limits)[name]
        unit, size = edge(attrs(variable)["units"], units)
        ends = [_amount(end / size, unit, "{:.4g}".format) for end in (least, greatest) if end is not None]
        given.append(say(name, amount=_amount(float(places[variable][near]) / size, unit)))
        right = " to ".join(ends) if len(ends) > 1 else f"{ends[0]} or {'more' if greatest is None else 'less'}"
        wanted.append(f"{right} (off by {_amount(float(over[name][near]) / size, unit)})")
    right = f"{join(wanted)}, nearest at ({x:.1f}, {y:.1f}, {z:.1f}) {sign}; {why}"
    return InputError("limits: " + " and ".join(names), join(given), right)


def _amount(value: float, unit: str, write: Callable[[float], str] = THREE) -> str:
    """Return a limit, or by how much it is missed, in words."""
    return f"{write(100.0 * value)}%" if unit == "1" else f"{write(value)} {unit.replace('degree', 'degrees')}"


def _worth(objective: Objective, places: xr.Dataset) -> Array:
    """Return how good each place is, the more the better."""
    if not callable(objective):
        objective = OBJECTIVES[OneOf(options=tuple(OBJECTIVES)).check("objective", objective)]
    result = objective(places)
    if not isinstance(result, np.ndarray | xr.DataArray) or result.dtype.kind != "f":
        result = Numbers().check("objective", result)
    result = np.asarray(result, dtype=float)
    if result.shape != (places.sizes["candidate"],):
        raise InputError("objective", result.shape, f"one number for each of {places.sizes['candidate']} candidates")
    return result


def _fill(stand: Stand, size: int, obstacles: Sequence[Obstacle]) -> Array:
    """Return `size` points of the stand, outside all obstacles."""
    from scipy.stats import qmc  # takes as long to load as all the rest

    free, (low, high) = _room(stand, obstacles), stand.box.T
    halton = qmc.Halton(3, scramble=False)
    found, tried = np.empty((0, 3)), 0
    while len(found) < size:
        if tried > 1000 * (size + 100):
            raise InputError(f"stand {stand.name!r}: area", stand.area, "an area with room beside the obstacles")
        batch = 2 * size + 64
        points = low + halton.random(batch) * (high - low)
        found, tried = np.concatenate([found, points[free(points)]]), tried + batch
    return found[:size]


def _room(stand: Stand, obstacles: Sequence[Obstacle]) -> Callable[[Array], Mask]:
    """Return the function that says which points lie in the stand and outside all obstacles."""
    plan = shapely.Polygon(stand.area)
    bodies = [(shapely.Polygon(o.area), o.heights) for o in obstacles]
    shapely.prepare([plan, *(body for body, _ in bodies)])

    def free(points: Array) -> Mask:
        x, y, z = points.T
        inside = shapely.intersects_xy(plan, x, z) & (y >= stand.heights[0]) & (y <= stand.heights[1])
        for body, (bottom, top) in bodies:
            inside &= ~(shapely.intersects_xy(body, x, z) & (y >= bottom) & (y <= top))
        return np.asarray(inside)

    return free
