"""What each place for the lens gives: light, picture elements, keystone, shadow; for one machine or for thousands.

All figures over the target are taken at a sample of its points, and are exact at them.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import shapely
import xarray as xr

from kit.arrays import Array, ArrayLike, Index, Mask
from kit.blocks import share_out
from kit.errors import InputError
from kit.fields import ANGLE, LENGTH, NAME, POINT, SHARE, Declared, Frozen, Many, Number, Numbers, declared
from kit.quantities import labelled
from kit.results import check_made
from kit.source.beam import Beam, Landing
from kit.source.placement import Placement
from kit.source.projector import Projector, lens_light
from kit.stage.aim import QUIET, Goal, Lens, aimed, zoomed
from kit.wall.facade import Facade
from kit.wall.occlusion import OBSTACLES, Block, Obstacle, Occluders, blocks, crosses
from kit.wall.points import WallPoints, check_in_front
from kit.wall.raster import SAME_PLANE

# Pairs of candidate and point that are worked on together stay in the processor's cache.
PAIRS = 1 << 16
# Rounding, in the unit of whatever is limited.
SLACK = 1e-9
# Places across and up the picture whose rays are followed through the people, and how far one that meets no wall [m].
RAYS, FAR = (16, 10), 1e3
CORNERS = ("bottom left", "bottom right", "top right", "top left")
# Dimensions of the figures that are not one number for each candidate.
MORE = {"position": ("axis",), "aim": ("axis",), "corner_angle": ("corner",)}

POINTS = Number(label="points", low=20, high=1e5, default=200, meaning="about as many sample the target")
AUDIENCE = POINT.but(label="audience", optional=True, meaning="an eye that looks at the front")
TARGET = Many(label="target", of=NAME, least=1, optional=True)


class Limits(Declared):
    """What a place must keep to; None where anything will do."""

    keystone: float | None = declared(
        ANGLE, low=0.0, high=90.0, default=None, label="keystone",
        meaning="largest deviation of the picture's corners on the wall from a right angle",
    )  # fmt: skip
    blocked: float | None = declared(
        SHARE, default=0.5, optional=True, label="blocked", meaning="largest share of the target that lies in shadow"
    )
    reached: float | None = declared(
        SHARE, default=1.0, optional=True, label="reached", meaning="least share of the target within the picture"
    )
    focus_depth: float | None = declared(
        LENGTH, low=0.0, default=None, label="focus depth", meaning="depth along the lens axis that is sharp at once"
    )
    people: float | None = declared(SHARE, default=None, label="people", meaning="largest share of the beam on people")


class Front(Frozen, eq=False):
    """All that does not depend on where the lens is; the points of the target come first."""

    goal: Goal
    points: WallPoints
    share: Array  # of the target that each of its points stands for, as the audience sees it
    area: Array  # of the wall behind each point [m2] where its light counts as light on judged parts, else 0
    occluders: Occluders
    people: tuple[Block, ...]
    audience: tuple[float, float, float] | None

    @classmethod
    def of(
        cls, facade: Facade, target: Sequence[str] | None, obstacles: Sequence[Obstacle],
        audience: Sequence[float] | None, points: float,
    ) -> "Front":  # fmt: skip
        """Return the front of the arguments of `evaluate`, checked."""
        wanted = POINTS.check("points", points)
        things, eye = OBSTACLES.check("obstacles", obstacles), AUDIENCE.check("audience", audience)
        judged = [i for i, p in enumerate(facade.patches) if p.faces_audience and p.judged]
        members = _members(facade, target, judged)
        goal = Goal.of([facade.patches[i] for i in members])
        (left, bottom), (right, top) = goal.rectangle[0, :2], goal.rectangle[2, :2]
        at = WallPoints.sample(facade, members, (left, right, bottom, top), wanted)
        share, area = at.weight / at.weight.sum(), at.area
        if set(members) != set(judged):
            area = np.zeros(len(area))
            if judged:
                more = WallPoints.sample(facade, judged, facade.bounds, wanted)
                at = replace(
                    at, position=np.append(at.position, more.position, axis=0),
                    patch=np.append(at.patch, more.patch), weight=np.append(at.weight, more.weight),
                )  # fmt: skip
                area = np.append(area, more.area)
        return cls(
            goal=goal, points=at, share=share, area=area, occluders=Occluders.of(facade, things),
            people=tuple(b for o in things if not o.blocks for b in blocks(o)), audience=eye,
        )  # fmt: skip


def evaluate(
    facade: Facade, projector: Projector, lens: Lens, positions: ArrayLike, *, target: Sequence[str] | None = None,
    obstacles: Sequence[Obstacle] = (), audience: Sequence[float] | None = None, limits: Limits | None = None,
    points: float = 200,
) -> xr.Dataset:  # fmt: skip
    """Return what each position of the lens gives.

    Parameters
    ----------
    projector : Projector
        Its resolution and zones are used; `lens` takes the place of its throw ratio and lens shift.
    positions : array, shape (candidate, 3)
        Of the lens [m], world axes.
    target : sequence of str, optional
        Names of the patches to be lit; all that are judged if not given.
    audience : (x, y, z), optional
        An eye [m], for pixels_per_degree.
    limits : Limits, optional
    points : int
        About as many points sample the target, 20 or more.

    Returns
    -------
    xarray.Dataset
        On (candidate,); what each variable is, and its unit, stand in its attributes. ``feasible``: all limits are kept
        and some of the target is lit; ``fails_...``: that one is not. ``corner_angle`` is NaN, and ``keystone``
        infinite, where the picture has no end on the main plane. ``reached_share`` is 1 only where all corners of the
        target are within the picture. The light is 0, and picture elements (`Landing.element`, tilt included) are NaN,
        where no point of the target is lit. A position that cannot be aimed at all has NaN and fails tilt and pan.

    Raises
    ------
    InputError
        For a position behind or inside the front, or a target that is not there or not seen.

    Notes
    -----
    ``delivered_light`` follows zoom and shift where the chain has a zoom of ``light_losses.csv``. ``flux_share``
    estimates what `picture_share` of `light_map` sums to over the judged parts: each point is in the light or not, and
    stands for its part of the wall. On the two houses that come with the kit it is off by 0.05 in the root mean square
    and at most 0.17 at 200 points, a quarter of that at 1,000.
    """
    front = Front.of(facade, target, obstacles, audience, points)
    given = Numbers(of=Number(low=-1e9, high=1e9)).check("positions", positions)
    if given.ndim != 2 or given.shape[1] != 3 or not len(given):
        raise InputError("positions", given.shape, "an array of shape (candidate, 3) in m, with at least one candidate")
    check_in_front(facade, given, "positions", "a lens")
    return evaluated(front, projector, lens, given, limits or Limits())


def describe(
    facade: Facade, projector: Projector, placement: Placement, *, target: Sequence[str] | None = None,
    obstacles: Sequence[Obstacle] = (), audience: Sequence[float] | None = None, points: float = 200,
) -> xr.Dataset:  # fmt: skip
    """Return the figures of one machine as it stands, points, and is set: as `evaluate`, without limits.

    Parameters
    ----------
    facade, target, obstacles, audience, points
        As for `evaluate`.
    projector : Projector
        With its zoom set.
    """
    front = Front.of(facade, target, obstacles, audience, points)
    check_in_front(facade, placement.position, "position", "a lens")
    beam = Beam.of(projector, placement)
    batch = {name: getattr(beam, name)[None] for name in ("position", "forward", "right", "up", "centre", "size")}
    out = figures(front, replace(beam, **batch)) | {"aim": np.array([placement.aim])}
    return _dataset(batch["position"], out).isel(candidate=0)


def placement_of(projector: Projector, places: xr.Dataset, index: int) -> tuple[Projector, Placement]:
    """Return a candidate of `evaluate` that can be aimed as `kit.Scene` takes it, with zoom and shift set."""
    check_made("places", places, "shift_across", "kit.evaluate")
    if "zoom" not in places.attrs:
        raise InputError("places", "without its attribute zoom", "the Dataset that kit.evaluate returns, attrs and all")
    count = places.sizes["candidate"]
    if not 0 <= index < count:
        raise InputError("index", index, f"0 to {count - 1}")
    one = places.isel(candidate=index)
    if not np.isfinite(one["aim"].values).all():
        raise InputError("index", index, "a candidate that can be aimed at the target")
    shift = (float(one["shift_across"]), float(one["shift_up"]))
    fixed = projector.set_to(float(one["throw_ratio"]), shift, zoom=places.attrs["zoom"])
    return fixed, Placement(position=tuple(one["position"].values), aim=tuple(one["aim"].values))


def evaluated(front: Front, projector: Projector, lens: Lens, positions: Array, limits: Limits) -> xr.Dataset:
    """Return what `evaluate` returns, of positions that have been checked."""
    step = max(1, PAIRS // len(front.area))
    # Neighbours in plan go together: what can shade them is then soon found.
    strips = np.array_split(np.argsort(positions[:, 0], kind="stable"), max(1, int(np.sqrt(len(positions) / step))))
    order = np.concatenate([part[np.argsort(positions[part, 2], kind="stable")] for part in strips])
    throw = np.empty(len(positions))
    out: dict[str, Array] = {}

    def zoom(chosen: Index) -> None:
        throw[chosen] = zoomed(front.goal, lens, projector, positions[chosen])

    def light(chosen: Index) -> None:
        found = figures(front, aimed(front.goal, lens, projector, positions[chosen], throw[chosen]))
        for name, values in found.items():
            out.setdefault(name, np.empty((len(positions), *values.shape[1:])))[chosen] = values

    share_out(zoom, np.array_split(order, -(-len(order) * len(front.goal.corners) // PAIRS)))
    share_out(light, np.array_split(order, -(-len(order) // step)))
    # As set, so that it stays within the lens's range to the last digit.
    out["throw_ratio"] = throw
    usual = projector.set_to(lens.throw_ratio[0], (0.0, 0.0), zoom=lens.throw_ratio)
    out["delivered_light"] = np.full(len(throw), usual.delivered()[1])
    if usual.chain != projector.chain:
        lost = lens_light(lens.throw_ratio, throw, np.hypot(out["shift_across"], out["shift_up"]))
        out["delivered_light"] *= lost[1].prod(axis=0)
    fails: dict[str, Any] = {f"fails_{name}": over > SLACK for name, over in excesses(out, lens, limits).items()}
    feasible = (out["illuminance_median"] > 0.0) & ~np.logical_or.reduce([*fails.values()])
    return _dataset(positions, {**out, **fails, "feasible": feasible}).assign_attrs(zoom=lens.throw_ratio)


def beams(places: xr.Dataset, projector: Projector) -> Beam:
    """Return the beams, batch (candidate,), of places that `evaluated` returns."""
    data = {name: places[name].values for name in ("position", "aim", "throw_ratio", "shift_across", "shift_up")}
    forward = data["aim"] - data["position"]
    forward /= np.linalg.norm(forward, axis=1, keepdims=True)
    right = np.cross(forward, (0.0, 1.0, 0.0))
    right /= np.linalg.norm(right, axis=1, keepdims=True)
    size = np.stack([1.0 / data["throw_ratio"], 1.0 / (projector.aspect * data["throw_ratio"])], axis=1)
    return Beam(
        position=data["position"], forward=forward, right=right, up=np.cross(right, forward), size=size,
        centre=size * np.stack([data["shift_across"], data["shift_up"]], axis=1),
        resolution=projector.resolution, zones=projector.zones,
    )  # fmt: skip


def lit_points(points: WallPoints, occluders: Occluders, beam: Beam) -> tuple[Landing, Mask, Array]:
    """Return how beams meet points, which are in the picture, and the light there past all shadows [lx/lm]."""
    landing = beam.on(points.position, points.normal)
    reached = landing.inside(SLACK)
    lit = reached & (landing.height > SAME_PLANE)
    lit &= ~occluders.hidden(points.position, points.plane, beam.position)
    return landing, reached, np.where(lit, landing.flat_illuminance(), 0.0)


def bounds(lens: Lens, limits: Limits) -> dict[str, tuple[str, float | None, float | None]]:
    """Return what each limit is on: the variable, the least and the greatest value; None where anything will do."""
    return {
        "tilt": ("tilt", *lens.tilt), "pan": ("pan", *lens.pan), "reached": ("reached_share", limits.reached, None),
        "keystone": ("keystone", None, limits.keystone), "blocked": ("blocked_share", None, limits.blocked),
        "focus_depth": ("depth_range", None, limits.focus_depth), "people": ("people_share", None, limits.people),
    }  # fmt: skip


def excesses(places: Mapping[Any, Any], lens: Lens, limits: Limits) -> dict[str, Array]:
    """Return by how much each place exceeds each limit; at most 0 where it does not, infinite without an aim."""
    found = {}
    for name, (variable, low, high) in bounds(lens, limits).items():
        values = np.asarray(places[variable])
        over = np.full(values.shape, -np.inf)
        for end, sign in ((low, -1.0), (high, 1.0)):
            if end is not None:
                over = np.maximum(over, sign * (values - end))
        found[name] = np.where(np.isnan(over), np.inf, over)
    return found


@QUIET
def figures(front: Front, beam: Beam) -> dict[str, Array]:
    """Return the figures of a few machines, on (candidate,): a beam of batch (candidate,); see `evaluate`."""
    goal = front.goal
    aims = np.isfinite(beam.forward[:, 0])
    side, rise, ahead = goal.square @ beam.forward.T
    away = np.linalg.norm(goal.middle - beam.position, axis=1)
    along = beam.forward @ goal.outline.T
    shift = beam.centre / beam.size
    angle = _corner_angles(goal, beam)
    off = np.abs(angle - 90.0).max(axis=1)
    result = {
        "throw_ratio": 1.0 / beam.size[:, 0], "shift_across": shift[:, 0], "shift_up": shift[:, 1],
        "tilt": np.degrees(np.arctan2(rise, np.hypot(side, ahead))), "pan": np.degrees(np.arctan2(side, ahead)),
        "aim": beam.position + beam.forward * away[:, None], "corner_angle": angle,
        "keystone": np.where(np.isfinite(off), off, np.inf),
        "pixel_share": _area_in_picture(beam.on(goal.rectangle)), "people_share": _people_share(front, beam),
        "depth_range": along.max(axis=1) - along.min(axis=1),
    }  # fmt: skip

    landing, reached, light = lit_points(front.points, front.occluders, beam)
    lit = light > 0.0
    result["flux_share"] = np.minimum(light @ front.area, 1.0)

    target = np.s_[:, : len(front.share)]
    lit, reached, light = lit[target], reached[target], light[target]
    within = reached @ front.share
    # Between the outermost points and the target's edge the picture may end: then it is not quite all.
    corners = beam.on(goal.outline, goal.facing)
    inside = corners.inside(SLACK)
    whole = inside.all(axis=1)
    result["reached_share"] = np.where(whole, 1.0, np.minimum(within, 1.0 - 0.5 * front.share.min()))
    result["blocked_share"] = np.where(within > 0, (reached & ~lit) @ front.share / within, 0.0)
    some = lit.any(axis=1)
    ordered = np.sort(np.where(lit, light, np.inf), axis=1)
    last = np.maximum(lit.sum(axis=1), 1)
    row = np.arange(len(last))
    median = 0.5 * (ordered[row, (last - 1) // 2] + ordered[row, last // 2])
    result["illuminance_median"] = np.where(some, median, 0.0)
    result["illuminance_lowest"] = np.where(some, ordered[:, 0], 0.0)

    # On a plane elements are largest and smallest at corners, which points may miss by much on a narrow board.
    count = np.append(lit, inside & (corners.height > SAME_PLANE), axis=1)
    both = (landing.element(), corners.element())
    longest, shortest = (np.append(points[target], ends, axis=1) for points, ends in zip(*both, strict=True))
    result["finest_element"] = np.where(some, 1e3 * np.where(count, shortest, np.inf).min(axis=1), np.nan)
    result["coarsest_element"] = np.where(some, 1e3 * np.where(count, longest, 0.0).max(axis=1), np.nan)
    if front.audience is not None:
        widest = np.where(lit, landing.element(front.audience)[0][target], 0.0).max(axis=1)
        result["pixels_per_degree"] = np.where(some, np.radians(1.0) / widest, np.nan)
    for values in result.values():
        values[~aims] = np.nan
    return result


def _corner_angles(goal: Goal, beam: Beam) -> Array:
    """Return the angles at the corners of the pictures on the main plane, shape (candidate, 4) [deg]."""
    landed = beam.land(beam.corners(), goal.normal, goal.normal @ goal.middle)
    landed[goal.before(beam.position) <= 0] = np.nan
    edge = np.roll(landed, -1, axis=1) - landed
    back = -np.roll(edge, 1, axis=1)
    cosine = np.sum(edge * back, axis=2) / np.sqrt(np.sum(edge**2, axis=2) * np.sum(back**2, axis=2))
    return np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))


def _area_in_picture(landing: Landing) -> Array:
    """Return the share of the picture that quadrangles, shape (candidate, 4), take in it."""
    x, y = landing.across, landing.up
    area = 0.5 * np.abs(np.sum(x * np.roll(y, -1, axis=1) - np.roll(x, -1, axis=1) * y, axis=1))
    beyond = np.flatnonzero(np.isfinite(area) & ~landing.inside(SLACK).all(axis=1))
    if beyond.size:
        image = shapely.polygons(np.stack([x[beyond], y[beyond]], axis=2))
        area[beyond] = shapely.area(shapely.intersection(image, shapely.box(-0.5, -0.5, 0.5, 0.5)))
    return area


def _people_share(front: Front, beam: Beam) -> Array:
    """Return the share of each picture's rays that meet people before the main plane; each carries equal light."""
    if not front.people:
        return np.zeros(len(beam.position))
    s, t = ((np.arange(size) + 0.5) / size - 0.5 for size in RAYS)
    rays = beam.rays(*(part.ravel() for part in np.meshgrid(s, t)))
    height = front.goal.before(beam.position)[:, None]
    towards = -(rays @ front.goal.normal)
    reach = np.where(towards > height / FAR, height / towards, FAR)
    met = np.zeros(reach.shape, dtype=bool)
    for block in front.people:
        start = beam.position @ block.faces[:, :3].T + block.faces[:, 3]
        met |= crosses((start[:, [k]], start[:, [k]] + reach * (rays @ f[:3])) for k, f in enumerate(block.faces))
    return met.mean(axis=1)


def _dataset(positions: Array, out: Mapping[str, Any]) -> xr.Dataset:
    """Return figures on (candidate,) with their names and units."""
    given = {"position": positions.copy(), **out}
    data = {name: labelled(name, ("candidate", *MORE.get(name, ())), values) for name, values in given.items()}
    return xr.Dataset(data, coords={"axis": list("xyz"), "corner": list(CORNERS)})


def _members(facade: Facade, target: Sequence[str] | None, judged: list[int]) -> list[int]:
    """Return the indices of the patches to be lit."""
    names = TARGET.check("target", target)
    if names is None:
        if not judged:
            raise InputError("target", target, "names of patches to be lit, or a front with judged patches")
        return judged
    for name in names:
        if not facade.patch(name).faces_audience:
            raise InputError("target", name, "patches that face the audience")
    return [i for i, p in enumerate(facade.patches) if p.name in names]
