r"""Obtrusive light: what a show sends to the neighbours and to the road.

Three lights reach a window across the street, or a driver's eye: straight from a projector's beam, straight from lamps
and strings of light, and from the front, of which each piece of area :math:`dA` and luminance :math:`L` gives

.. math:: dE = L \cos\theta_1 \cos\theta_2 \, dA / r^2,

with the angles from the wall's normal and from that of the pane. The wall is a perfect diffuser here: a surface's
`gain` holds towards the audience only and is left out.

Not counted: light by way of the ground, the sky or other houses, and the ambient light that is there without the
show. Patches of the front hide lenses and lamps, and not their own light; hedges, fences, cars, and what of the house
is no patch hide nothing.

The limits are those of CIE 150 for planned lighting; its environmental zones E1 to E4 are natural, rural, suburban and
urban surroundings. Light at a driver's eye makes a veil, and what can just be seen has to be brighter by the threshold
increment, :math:`65\%\,L_v / L^{0.8}` (from memory), at the luminance L to which the road's surroundings adapt the eye.
EN 12193 limits that, and the intensity that a lens turns towards eyes.
"""

import math
from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import Any, Literal, get_args

import numpy as np
import xarray as xr

from kit import reference
from kit.arrays import Array, ArrayLike
from kit.bands import worked_out
from kit.decision.chance import judged_points
from kit.errors import InputError
from kit.eye.glare import veiling_luminance
from kit.eye.light_map import Scene, black_share, light_map
from kit.fields import NAME, POINT, Declared, Frozen, Is, Many, OneOf, Vector, declared
from kit.light.ambient import ASIDE
from kit.light.cast import Cast, cast_light
from kit.light.lamps import LAMPS, Lamp, source_illuminance, sources
from kit.results import Frame, Result, banded, make_frame
from kit.source.projector import LEVELS
from kit.stage.content import missing
from kit.wall.facade import Facade
from kit.wall.occlusion import covers, first_met
from kit.wall.points import WallPoints
from kit.wall.raster import SAME_PLANE
from kit.words import Phrases, capital, join

Status = Literal["within", "borderline", "exceeds"]
STATUSES: tuple[Status, ...] = get_args(Status)
say = Phrases(__file__)

NOMINAL = LEVELS.index("nominal")
ZONES = ("natural", "rural", "suburban", "urban")
CURFEWS = ("before", "after")
# So many pixels away, the sum over pixels is within 1% of the integral; nearer it is refused.
NEAREST = 4
# Between the given points a road is looked at in steps of this length, longer on a road of more steps than that [m].
ROAD_STEP, ROAD_STEPS = 0.25, 4000

ENVIRONMENTAL_ZONE = OneOf(label="surroundings", options=ZONES, meaning="environmental zones E1 to E4 of CIE 150")
CURFEW = OneOf(label="curfew", options=CURFEWS)
FACING = Vector(
    label="faces",
    meaning="outward normal of the pane, or the driver's line of sight, of any length but 0; (0, 0, -1) looks at the "
    "front from across the street, (0, 0, 1) is a window in line with the front",
)


class Receiver(Declared):
    """Where light may trouble someone: a neighbour's window, a driver's eye."""

    thing = "receiver"
    name: str = declared(NAME)
    position: tuple[float, float, float] = declared(POINT)
    facing: tuple[float, float, float] = declared(FACING)

    def _agree(self, where: str) -> None:
        if not 1e-6 < math.hypot(*self.facing) < 1e6:
            right = "a direction (x, y, z) other than (0, 0, 0)"
            raise InputError(f"{where}: facing", self.facing, right)

    @property
    def normal(self) -> Array:
        """Unit vector along `facing`, shape (3,)."""
        return np.array(self.facing) / math.hypot(*self.facing)

    def misplaced(self, right: str) -> InputError:
        """Return the error for a receiver in an impossible position; `right` says which would be possible."""
        return InputError(f"receiver {self.name!r}: position", self.position, right)


RECEIVERS = Many(label="receivers", of=Is(kind=Receiver), least=1, unique="name")
ROAD = Many(label="road", of=Is(kind=Receiver), least=2)


class Compared(Frozen):
    """A figure with its likely band beside its limit: light and wall are independent."""

    value: float
    low: float
    high: float
    limit: float

    @classmethod
    def of(cls, by_light: Array, by_wall: Array, limit: float) -> "Compared":
        """Return a figure with its band, from what the `LEVELS` of light and those of the wall make it, each alone."""
        value = float(by_light[1])
        if value == 0.0:
            return cls(value=0.0, low=0.0, high=float(max(by_light[2], by_wall[2])), limit=limit)
        low, _, high = worked_out(lambda light, wall: light * wall / value, by_light, by_wall)
        return cls(value=value, low=low, high=high, limit=limit)

    @property
    def status(self) -> Status:
        """``within``: even the high end keeps the limit; ``exceeds``: even the low end does not."""
        return "exceeds" if self.low > self.limit else "borderline" if self.high > self.limit else "within"


class ReceiverLight(Frozen):
    """The light that a show sends to a receiver [lx]: straight from each projector, from the front, from lamps."""

    receiver: Receiver
    distance: float  # to the nearest visible pixel of the front [m]
    beams: tuple[float, ...]
    reflected: float
    lamps: float
    beside: float  # of the beams, what passes the house: a mask or a shade takes it away, and the front stays as bright
    total: Compared
    intensity: Compared  # of the brightest lens towards it [cd]

    @property
    def origin(self) -> str:
        """Where most of it comes from, in words."""
        lights = (sum(self.beams), self.reflected, self.lamps)
        return say(("from beams", "from the house", "from lamps")[int(np.argmax(lights))])


class RoadLight(Result):
    """The light of all beams across the line of sight of drivers [lx], along a road from its first point [m]."""

    along: tuple[float, ...]
    illuminance: tuple[float, ...]
    beside: tuple[float, ...]  # of it, what passes the house; the rest is on its way to the front
    veil: tuple[float, ...]  # that it makes in a young eye [cd/m2]
    adaptation: float  # [cd/m2]

    @property
    def threshold_increment(self) -> float:
        """Largest along the road, as a share: by so much more must differ what can just be seen."""
        factor, power = (reference.value("eye", f"threshold increment {name}") for name in ("factor", "exponent"))
        return factor * max(self.veil) / self.adaptation**power

    @property
    def largest(self) -> float:
        """Largest illuminance at the eye [lx]."""
        return max(self.illuminance)

    @property
    def where(self) -> float:
        """Of the largest illuminance, from the first point of the road [m]."""
        return self.along[self.illuminance.index(self.largest)]

    @property
    def stretches(self) -> tuple[tuple[float, float], ...]:
        """From where to where along the road a beam reaches the eyes [m], each end up to one step short."""
        lit = np.flatnonzero(np.array(self.illuminance) > 0.0)
        runs = np.split(lit, np.flatnonzero(np.diff(lit) > 1) + 1) if lit.size else []
        return tuple((self.along[run[0]], self.along[run[-1]]) for run in runs)

    def frame(self, units: str = "m") -> Frame:
        """Return the light step by step along the road; lengths in ``"m"`` or ``"ft"``."""
        where = "along the road [m]"
        columns = {where: self.along, "beams [lx]": self.illuminance, "past the house [lx]": self.beside}
        return make_frame(columns, {where: ".1f"}, units=units)

    def sentence(self, units: str = "m") -> str:
        """Return the finding in words; lengths in ``"m"`` or ``"ft"``."""
        if not self.stretches:
            return say("no beam", units)
        where = join([say("stretch", units, ends=ends) for ends in self.stretches])
        return say("road", units, road=self, where=where, allowed=_driver("threshold increment"))


class ObtrusiveLight(Result):
    """What a show sends beyond the front, against the limits of CIE 150."""

    environmental_zone: str
    curfew: str
    masked: bool
    receivers: tuple[ReceiverLight, ...]
    luminance: Compared  # average of the front [cd/m2]
    ambient_luminance: Compared  # what of it ambient light makes
    missing: tuple[float, ...]  # share of each projector's white that lands on no patch which the audience sees
    missing_flux: tuple[float, ...]  # that light, or what is left of it on black where the picture is masked [lm]
    road: RoadLight | None = None

    @property
    def status(self) -> Status:
        """The worst of all receivers and the front."""
        figures = (self.luminance, *(figure for one in self.receivers for figure in (one.total, one.intensity)))
        return max((figure.status for figure in figures), key=STATUSES.index)

    @property
    def usable_light(self) -> float:
        """Share of the projectors' light, up to 1, with which every figure's high end keeps its limit; 0: none does."""
        lit = [(self.luminance, self.ambient_luminance.high), *((one.total, one.lamps) for one in self.receivers)]
        lit += [(one.intensity, 0.0) for one in self.receivers]
        over = [(figure, rest) for figure, rest in lit if figure.high > figure.limit]
        if any(rest >= figure.limit for figure, rest in over):
            return 0.0
        return min(((figure.limit - rest) / (figure.high - rest) for figure, rest in over), default=1.0)

    def frame(self, units: str = "m") -> Frame:
        """Return the vertical illuminance at each receiver; lengths in ``"m"`` or ``"ft"``."""
        rows = [
            {"receiver": light.receiver.name, "from front [m]": light.distance}
            | {f"{name} [lx]": beam for name, beam in zip(self._beams("beam"), light.beams, strict=True)}
            | {"reflected [lx]": light.reflected, "lamps [lx]": light.lamps, "lens [cd]": light.intensity.value}
            | banded("total [lx]", (light.total.low, light.total.value, light.total.high))
            | {"limit [lx]": light.total.limit, "verdict": light.total.status}
            for light in self.receivers
        ]
        return make_frame(rows, {"from front [m]": ".1f", "limit [lx]": "g"}, "receiver", units)

    def _beams(self, word: str) -> list[str]:
        count = len(self.missing)
        return [word] if count == 1 else [f"{word} {i}" for i in range(1, count + 1)]

    def sentence(self, units: str = "m") -> str:
        """Return what exceeds which limit and what helps, in a newspaper's words; lengths in ``"m"`` or ``"ft"``."""
        over = [light for light in self.receivers if light.total.status != "within"]
        worst = max(self.receivers, key=lambda light: light.total.value)
        allowed = say("allowed", units, show=self, limit=worst.total.limit)
        parts = [say("over", light=light, gets=say(light.total.status), allowed=allowed) for light in over]
        if not over:
            parts = [say("all within" if len(self.receivers) > 1 else "within", light=worst, allowed=allowed)]
        parts += [say("glare", light=light) for light in self.receivers if light.intensity.status != "within"]
        parts.append(say("front", front=self.luminance, keeps=say(f"front {self.luminance.status}")))
        for name, share in zip(self._beams("projector"), self.missing, strict=True):
            whose = f"{'the ' if len(self.missing) == 1 else ''}{name}'s"
            parts.append(capital(say("masked" if self.masked else "missing", share=share, whose=whose)))
        if self.road is not None:
            parts.append(self.road.sentence(units))
        remedies = self._remedies(over)
        if remedies:
            parts.append(f"What helps: {'; '.join(remedies)}.")
        return " ".join([*parts, say("caution")])

    def _remedies(self, over: Sequence[ReceiverLight]) -> list[str]:
        # Who is met by a beam: its light there, and what of that passes the house.
        lit = [(one.receiver.name, sum(one.beams), one.beside, 0.1 * one.total.value) for one in over]
        if self.road is not None:
            lit.append(("the road", sum(self.road.illuminance), sum(self.road.beside), 0.0))
        met = [(name, beside > 0.5 * beams) for name, beams, beside, least in lit if beams > least]
        past, across = ([name for name, passes in met if passes is way] for way in (True, False))
        keep = self.usable_light if self.status != "within" else math.nan
        lux, _ = limits(self.environmental_zone, "before")
        asked: dict[str, Any] = {
            "mask": past and not self.masked, "shade": past, "move": across, "lower": keep >= 0.01,
            "end": 0.0 < keep < 0.01, "dim others": keep == 0.0,
            "dim lamps": any(light.lamps > 0.5 * light.total.value for light in over),
            "early": self.curfew == "after" and over,
        }  # fmt: skip
        told: dict[str, Any] = {"past": join(past or [""]), "across": join(across or [""]), "lux": lux}
        told["whole"] = f"{math.floor(100 * keep)}%" if keep >= 0.0 else ""
        told["kept"] = say("kept") if all(light.total.high <= lux for light in self.receivers) else ""
        return [say(name, **told) for name, needed in asked.items() if needed]


def obtrusive_light(
    scene: Scene, *, receivers: Sequence[Receiver], environmental_zone: str, curfew: str, lamps: Iterable[Lamp] = (),
    road: Sequence[Receiver] | None = None, masked: bool = False, spacing: float = 0.1,
) -> ObtrusiveLight:  # fmt: skip
    """Return what a show sends beyond the front, and compare it with the limits of CIE 150.

    Parameters
    ----------
    scene : Scene
        All projectors show full white.
    receivers : sequence of Receiver
        At least one, each with a name of its own; none on a patch of the front, and none nearer to it than
        `NEAREST` pixels where the front lights it.
    environmental_zone : {"natural", "rural", "suburban", "urban"}
    curfew : {"before", "after"}
    lamps : sequence of Luminaire or LedString
        Of the show, whose direct light counts at the receivers. What lamps put on the front counts where the scene's
        ambient light holds it.
    road : sequence of Receiver, optional
        See `road_light`.
    masked : bool
        Whether picture elements whose ray meets no patch are black. Black still is what the projector leaks and what
        its lens scatters of the white on the front.
    spacing : float
        Pixel size of the raster on the front [m].

    Raises
    ------
    InputError
        For an unknown zone or curfew, or a receiver on the front, at a lens or at a lamp.
    """
    wanted: tuple[Receiver, ...] = RECEIVERS.check("receivers", receivers)
    lux, luminance = limits(environmental_zone, curfew)
    shining: tuple[Lamp, ...] = LAMPS.check("lamps", lamps)
    cast, beams, beside, dark = _beams(scene, wanted, masked, spacing)
    light, on_wall = light_map(scene, spacing), cast.raster.patch >= 0
    front = cast.raster.at(on_wall)
    # For each level of the wall's reflectance, shape (level, pixel).
    bright = _levels(light, "reflectance_band")[:, front.patch] * light["illuminance"].values[on_wall] / np.pi
    machines = [projector for projector, _ in scene.projectors]
    losses = np.array([machine.transmission() for machine in machines])
    losses /= losses[:, [NOMINAL]]
    results = []
    for receiver, straight, past in zip(wanted, beams, beside, strict=True):
        distance = _distance(front, bright[LEVELS.index("high")], receiver, spacing)
        reflected = surface_illuminance(bright, front.position, front.normal, front.area, receiver)
        nominal, direct = float(reflected[NOMINAL]), _lamp_light(scene.facade, shining, receiver)
        by_light = straight @ losses + direct + nominal * _levels(light, "light_band")
        away, cosine = _lenses(scene, [receiver])
        lens = np.where(cosine > 0.0, straight * away**2 / np.maximum(cosine, 1e-9), 0.0)[0]
        candela, most = lens.max() * losses[int(lens.argmax())], _driver("intensity", environmental_zone)
        results.append(ReceiverLight(
            receiver=receiver, distance=distance, beams=tuple(straight.tolist()), reflected=nominal, lamps=direct,
            beside=float(past.sum()), total=Compared.of(by_light, straight.sum() + direct + reflected, lux),
            intensity=Compared.of(candela, candela[[NOMINAL] * len(LEVELS)], most),
        ))  # fmt: skip
    off = np.array([missing(scene.facade, (pair,)) for pair in scene.projectors])
    average, ambient = _average_luminance(light, luminance)
    return ObtrusiveLight(
        environmental_zone=environmental_zone, curfew=curfew, masked=masked, receivers=tuple(results),
        luminance=average, ambient_luminance=ambient, missing=tuple(off.tolist()),
        missing_flux=tuple((off * dark * [machine.delivered()[1] for machine in machines]).tolist()),
        road=None if road is None else road_light(scene, road, environmental_zone, masked=masked, spacing=spacing),
    )  # fmt: skip


def road_light(
    scene: Scene, road: Sequence[Receiver], environmental_zone: str = ZONES[0], *, masked: bool = False,
    spacing: float = 0.1,
) -> RoadLight:  # fmt: skip
    """Return the light of the beams in the eyes of drivers along a road.

    Parameters
    ----------
    scene, masked, spacing
        As for `obtrusive_light`.
    road : sequence of Receiver
        Two or more points along the line that drivers' eyes follow, with the lines of sight there. Between them
        position and line of sight change evenly.
    environmental_zone : str
        To which the eyes adapt; the darkest if not given.

    Raises
    ------
    InputError
        For fewer than two points, opposite lines of sight in a row, or a point on the front or at a lens.
    """
    given: tuple[Receiver, ...] = ROAD.check("road", road)
    corners = np.cumsum([0.0, *(math.dist(a.position, b.position) for a, b in pairwise(given))])
    if not corners[-1]:
        raise InputError("road", given[0].position, "points apart from each other")
    step = max(ROAD_STEP, corners[-1] / ROAD_STEPS)
    counts = np.ceil(np.diff(corners) / step).astype(int)
    parts = [np.linspace(*ends, count, endpoint=False) for ends, count in zip(pairwise(corners), counts, strict=True)]
    along = np.concatenate([*parts, corners[-1:]])
    positions, normals = (
        np.stack([np.interp(along, corners, column) for column in np.transpose(rows)], axis=1).tolist()
        for rows in ([point.position for point in given], [point.normal for point in given])
    )
    points = [Receiver(name="road", position=at, facing=sight) for at, sight in zip(positions, normals, strict=True)]
    _, beams, beside, _ = _beams(scene, points, masked, spacing)
    angle = np.degrees(np.arccos(_lenses(scene, points)[1]))
    veil = veiling_luminance(beams, np.clip(angle, ASIDE.low, ASIDE.high))
    light, past, over = (tuple(part.sum(axis=1).tolist()) for part in (beams, beside, veil))
    adaptation = _driver("adaptation", ENVIRONMENTAL_ZONE.check("environmental_zone", environmental_zone))
    return RoadLight(along=tuple(along.tolist()), illuminance=light, beside=past, veil=over, adaptation=adaptation)


def _driver(what: str, zone: str = "") -> float:
    return reference.value("ambient_levels", f"{what}, {zone} surroundings" if zone else what, group="en 12193")


def _lenses(scene: Scene, receivers: Sequence[Receiver]) -> tuple[Array, Array]:
    """Return distances to lenses [m] and cosines from the line of sight, shape (receiver, projector)."""
    ray = np.array([p.position for _, p in scene.projectors]) - np.array([r.position for r in receivers])[:, None]
    away = np.linalg.norm(ray, axis=-1)
    return away, np.clip(np.einsum("rpk,rk->rp", ray, [r.normal for r in receivers]) / away, -1.0, 1.0)


def limits(environmental_zone: str, curfew: str) -> tuple[float, float]:
    """Return the limits of CIE 150:2017: illuminance on properties [lx], average luminance of a front [cd/m2]."""
    around = f"{ENVIRONMENTAL_ZONE.check('environmental_zone', environmental_zone)} surroundings"
    at_property = reference.value("ambient_levels", f"{CURFEW.check('curfew', curfew)} curfew, {around}")
    return at_property, reference.value("ambient_levels", f"facade, {around}")


def surface_illuminance(
    luminance: ArrayLike, points: ArrayLike, normals: ArrayLike, areas: ArrayLike, receiver: Receiver
) -> Array:
    """Return the light of pieces of a diffuse surface of luminance (..., n) [cd/m2] at a receiver, shape (...) [lx]."""
    away, facing = _sight(points, normals, receiver)
    if np.any(away < SAME_PLANE):
        raise receiver.misplaced("a receiver off the surface that shines")
    return np.asarray(np.asarray(luminance, float) @ (np.asarray(areas, float) * facing / away**4))


def _sight(points: ArrayLike, normals: ArrayLike, receiver: Receiver) -> tuple[Array, Array]:
    """Return distances of pieces of a surface [m], and the product of both cosines with them squared; 0 for a back."""
    ray = np.array(receiver.position) - np.asarray(points, float).reshape(-1, 3)
    leaves, arrives = np.sum(ray * np.asarray(normals, float), axis=1), -(ray @ receiver.normal)
    return np.linalg.norm(ray, axis=1), np.maximum(leaves, 0.0) * np.maximum(arrives, 0.0)


def _distance(front: WallPoints, brightest: Array, receiver: Receiver, spacing: float) -> float:
    """Return the distance to the nearest pixel; too near for the sum over the pixels that shine: `InputError`."""
    away, facing = _sight(front.position, front.normal, receiver)
    counts = (facing > 0.0) & (brightest > 0.0)
    # The length of a pixel along a slope.
    if np.any(away[counts] < NEAREST * spacing / front.normal[counts, 2]):
        right = f"a receiver {NEAREST} pixels or more from the front, or a smaller spacing than {spacing:g} m"
        raise receiver.misplaced(right)
    return float(away.min())


def _levels(light: xr.Dataset, name: str) -> Array:
    return np.asarray(light[name].sel(level=list(LEVELS)))


def _beams(scene: Scene, receivers: Sequence[Receiver], masked: bool, step: float) -> tuple[Cast, Array, Array, Array]:
    """Return the cast, light straight at receivers, what of it passes the house [lx], share of white sent beside."""
    positions, normals = (np.array([getattr(one, name) for one in receivers]) for name in ("position", "normal"))
    for patch in scene.facade.patches:
        on = (np.abs(positions @ patch.normal - patch.offset) < SAME_PLANE) & covers(patch, positions)
        if on.any():
            right = f"a receiver off the front; this one is on patch {patch.name!r}"
            raise receivers[int(on.argmax())].misplaced(right)
    cast = cast_light(scene.facade, scene.projectors, scene.facade.bounds, step, scene.obstacles)
    machines = [projector for projector, _ in scene.projectors]
    black = black_share(machines, 1.0, cast.share.sum(axis=1)) if masked else np.ones(len(machines))
    beams, beside = np.zeros((2, len(receivers), len(machines)))
    for i, (machine, beam) in enumerate(zip(machines, cast.beams, strict=True)):
        at_lens = np.linalg.norm(positions - beam.position, axis=1) < SAME_PLANE
        if at_lens.any():
            raise receivers[int(at_lens.argmax())].misplaced(f"a receiver apart from lens {i + 1}")
        first = first_met(scene.facade, beam.position, positions)
        white = machine.delivered()[1] * beam.illuminance(positions, normals)
        # One on the way to the front gets what the front gets, masked or not.
        beside[:, i] = np.where(np.isinf(first), white * black[i], 0.0)
        beams[:, i] = beside[:, i] + np.where((first >= 1.0) & np.isfinite(first), white, 0.0)
    return cast, beams, beside, black


def _lamp_light(facade: Facade, lamps: Sequence[Lamp], receiver: Receiver) -> float:
    """Return the light straight from lamps that the front does not hide [lx]."""
    here = np.array(receiver.position)
    total = 0.0
    for lamp in lamps:
        places = sources(lamp)
        if np.any(np.linalg.norm(places - here, axis=1) < SAME_PLANE):
            raise receiver.misplaced(f"a receiver apart from {lamp.name!r}")
        total += source_illuminance(lamp, here, receiver.normal)[first_met(facade, places, here) >= 1.0].sum()
    return float(total)


def _average_luminance(light: xr.Dataset, limit: float) -> tuple[Compared, Compared]:
    """Return the mean luminance of the judged front as the audience sees it, and ambient light's part [cd/m2]."""
    points = judged_points(light)
    rho, white = (light[name].values.ravel()[points.seen] for name in ("reflectance", "white_luminance"))
    ambient = rho * light["ambient_illuminance"].values.sum(axis=0).ravel()[points.seen] / np.pi
    bands = _levels(light, "reflectance_band")[:, points.patch] / np.where(rho > 0.0, rho, 1.0)
    bare = np.full(len(LEVELS), ambient.mean())
    by_light = white.mean() * _levels(light, "light_band") + bare
    by_wall, bare_by_wall = ((bands * part).mean(axis=1) for part in (white + ambient, ambient))
    return Compared.of(by_light, by_wall, limit), Compared.of(bare, bare_by_wall, limit)
