r"""Obtrusive light: what a show sends to the neighbours and to the road.

Three lights reach a window across the street, or a driver's eye:

- straight from a projector's beam, where the receiver stands in it and nothing of the front hides it,
- from the front, which sends back what it gets. Every piece of wall of area :math:`dA` and luminance :math:`L` gives

  .. math:: dE = L \cos\theta_1 \cos\theta_2 \, dA / r^2,

  with :math:`\theta_1` at the wall's normal and :math:`\theta_2` at the normal of the pane. The wall is a perfect
  diffuser here: a surface's `gain` holds towards the audience only and is left out,
- straight from lamps and strings of light.

Not counted: light by way of the ground, the sky or other houses, and the ambient light that is there without the
show. Hedges, fences and cars hide nothing, nor does the front hide its own light from a receiver; it hides lenses and
lamps. What is behind the front's patches, the body of the house, hides nothing either where it is no patch.

The limits are those of CIE 150 for planned lighting, by environmental zone: natural, rural, suburban and urban
surroundings are its zones E1 to E4. Its limit for drivers, the threshold increment, needs the luminance of the road and
is left out: `road_light` gives the light at the eye, and nothing to compare it with.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Literal

import numpy as np
import xarray as xr
from numpy.typing import ArrayLike, NDArray

from kit import reference
from kit.bands import in_quadrature
from kit.decision.verdict import judged_points
from kit.errors import InputError
from kit.eye.light_map import Scene, black_share, light_map
from kit.fields import FLAG, NAME, POINT, Declared, Is, Many, OneOf, Vector, declared
from kit.light.cast import Cast, cast_light
from kit.light.lamps import LAMPS, Lamp, source_illuminance, sources
from kit.results import Result, banded, make_frame
from kit.source.projector import LEVELS
from kit.units import edge, length_text
from kit.wall.facade import Facade
from kit.wall.occlusion import covers, first_met
from kit.wall.points import WallPoints
from kit.wall.raster import SAME_PLANE
from kit.words import capital, join, percent, short

if TYPE_CHECKING:
    import pandas as pd

Array = NDArray[np.float64]
Status = Literal["within", "borderline", "exceeds"]

NOMINAL = LEVELS.index("nominal")
ZONES = ("natural", "rural", "suburban", "urban")
CURFEWS = ("before", "after")
# So many pixels away, the sum over pixels is within 1% of the integral; nearer it is refused.
NEAREST = 4
# Between the given points a road is looked at in steps of this length, longer on a road of more steps than that [m].
ROAD_STEP, ROAD_STEPS = 0.25, 4000
CAUTION = "Local codes decide, not these limits; all figures are estimates."

ENVIRONMENTAL_ZONE = OneOf(label="surroundings", options=ZONES, meaning="environmental zones E1 to E4 of CIE 150")
CURFEW = OneOf(label="curfew", options=CURFEWS)
FACING = Vector(
    label="faces",
    meaning="outward normal of the pane, or the driver's line of sight, of any length but 0; (0, 0, -1) looks at the "
    "front from across the street, (0, 0, 1) is a window in line with the front",
)


@dataclass(frozen=True, kw_only=True)
class Receiver(Declared):
    """Where light may trouble someone: a neighbour's window, a driver's eye."""

    thing = "receiver"
    name: str = declared(NAME)
    position: tuple[float, float, float] = declared(POINT)
    facing: tuple[float, float, float] = declared(FACING)

    def __post_init__(self) -> None:
        super().__post_init__()
        if not 1e-6 < math.hypot(*self.facing) < 1e6:
            right = "a direction (x, y, z) other than (0, 0, 0)"
            raise InputError(f"receiver {self.name!r}: facing", self.facing, right)

    @property
    def normal(self) -> Array:
        """Unit vector along `facing`, shape (3,)."""
        return np.array(self.facing) / math.hypot(*self.facing)

    def misplaced(self, right: str) -> InputError:
        """Return the error for a receiver in an impossible position; `right` says which would be possible."""
        return InputError(f"receiver {self.name!r}: position", self.position, right)


RECEIVERS = Many(label="receivers", of=Is(kind=Receiver), least=1, unique="name")
ROAD = Many(label="road", of=Is(kind=Receiver), least=2)


@dataclass(frozen=True, kw_only=True)
class Compared:
    """A figure with its likely band, beside its limit; all in one unit.

    ``low`` and ``high`` combine the projectors' losses and the wall's reflectance, which are independent of each
    other, in quadrature (JCGM 100:2008, 5.1.2).
    """

    value: float
    low: float
    high: float
    limit: float

    @classmethod
    def of(cls, by_light: Array, by_wall: Array, limit: float) -> Compared:
        """Return a figure with its band, from what the `LEVELS` of light and those of the wall make it, each alone."""
        low, (value, _), high = np.transpose([by_light, by_wall])
        if value == 0.0:
            return cls(value=0.0, low=0.0, high=float(high.max()), limit=limit)
        with np.errstate(divide="ignore"):
            least, most = (float(value * in_quadrature(end / value, sign)) for end, sign in ((low, -1), (high, 1)))
        return cls(value=float(value), low=least, high=most, limit=limit)

    @property
    def status(self) -> Status:
        """``within``: even the high end keeps the limit; ``exceeds``: even the low end does not."""
        return "exceeds" if self.low > self.limit else "borderline" if self.high > self.limit else "within"

    def row(self, name: str, unit: str) -> dict[str, float | str]:
        """Return the figures as a part of a row of a frame; `name` and `unit` make the column's name."""
        band = banded(f"{name} [{unit}]", (self.low, self.value, self.high))
        return {**band, f"limit [{unit}]": self.limit, "verdict": self.status}


@dataclass(frozen=True, kw_only=True)
class ReceiverLight:
    """The light that a show sends to a receiver.

    Attributes
    ----------
    receiver : Receiver
    distance : float
        To the nearest visible point of the front [m], to a pixel.
    beams : tuple of float
        Illuminance straight from each projector [lx].
    reflected, lamps : float
        From the front, and straight from lamps and strings [lx].
    beside : float
        Of `beams`: what passes the house, so that a mask or a shade takes it away and the front stays as bright [lx].
    total : Compared
        All of it against the limit [lx].
    """

    receiver: Receiver
    distance: float
    beams: tuple[float, ...]
    reflected: float
    lamps: float
    beside: float
    total: Compared

    @property
    def origin(self) -> str:
        """Where most of it comes from, in words."""
        parts = {
            "straight from the beam": sum(self.beams),
            "reflected by the house": self.reflected,
            "from the lamps": self.lamps,
        }
        return max(parts, key=lambda name: parts[name])


@dataclass(frozen=True, kw_only=True)
class RoadLight(Result):
    """The light of the beams in the eyes of drivers along a road.

    Attributes
    ----------
    along : tuple of float
        Where it was looked at, from the first point of the road [m].
    illuminance : tuple of float
        There, across the line of sight, from all beams [lx].
    beside : tuple of float
        Of that, what passes the house [lx]; the rest is on its way to the front.
    """

    along: tuple[float, ...]
    illuminance: tuple[float, ...]
    beside: tuple[float, ...]

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

    @property
    def length(self) -> float:
        """Of all stretches together [m]."""
        return sum(end - start for start, end in self.stretches)

    def frame(self, units: str = "m") -> pd.DataFrame:
        """Return the light step by step along the road; lengths in ``"m"`` or ``"ft"``."""
        unit, metres = edge("m", units)
        names = (f"along the road [{unit}]", "beams [lx]", "past the house [lx]")
        steps = zip((a / metres for a in self.along), self.illuminance, self.beside, strict=True)
        return make_frame([dict(zip(names, step, strict=True)) for step in steps], {names[0]: ".1f"})

    def sentence(self, units: str = "m") -> str:
        """Return the finding in words; lengths in ``"m"`` or ``"ft"``."""
        edge("m", units)
        if not self.stretches:
            return "No beam meets a driver's eyes on the road."
        where = join([f"from {length_text(a, units)} to {length_text(b, units)}" for a, b in self.stretches])
        return (
            f"On the road a beam meets drivers' eyes {where} along the line, with up to {short(self.largest)} lx at "
            f"{length_text(self.where, units)}; no limit is checked for that, none at all is best."
        )


@dataclass(frozen=True, kw_only=True)
class ObtrusiveLight(Result):
    """What a show sends beyond the front, against the limits of CIE 150.

    Attributes
    ----------
    environmental_zone, curfew, masked
        As asked for.
    receivers : tuple of ReceiverLight
    luminance : Compared
        Average luminance of the front [cd/m2].
    ambient_luminance : Compared
        Of that, what ambient light makes, beside the same limit [cd/m2].
    missing : tuple of float
        Share of each projector's light, on full white, that lands on no patch which the audience sees: it goes beside
        or over the house, to the ground, or on faces that are hidden or seen edge-on. Known as well as the raster
        knows edges.
    missing_flux : tuple of float
        Of each projector [lm]; what is left of it on black where the picture is masked.
    road : RoadLight or None
    """

    environmental_zone: str
    curfew: str
    masked: bool
    receivers: tuple[ReceiverLight, ...]
    luminance: Compared
    ambient_luminance: Compared
    missing: tuple[float, ...]
    missing_flux: tuple[float, ...]
    road: RoadLight | None = None

    def receiver(self, name: str) -> ReceiverLight:
        """Return the light at the receiver called `name`, or raise `InputError` with the names there are."""
        found = {light.receiver.name: light for light in self.receivers}
        return found[OneOf(options=tuple(found)).check("receiver", name)]

    @property
    def status(self) -> Status:
        """The worst of all receivers and the front."""
        found = {self.luminance.status, *(light.total.status for light in self.receivers)}
        return "exceeds" if "exceeds" in found else "borderline" if "borderline" in found else "within"

    @property
    def usable_light(self) -> float:
        """Share of the projectors' light, up to 1, with which even the high end of every figure keeps its limit.

        0 where lamps or ambient light alone reach a limit.
        """
        pairs = [(light.total, light.lamps) for light in self.receivers]
        shares = [1.0]
        for figure, rest in (*pairs, (self.luminance, self.ambient_luminance.high)):
            if figure.high > figure.limit:
                shares.append(max(0.0, figure.limit - rest) / (figure.high - rest) if figure.high > rest else 0.0)
        return min(shares)

    def frame(self, units: str = "m") -> pd.DataFrame:
        """Return the vertical illuminance at each receiver; lengths in ``"m"`` or ``"ft"``."""
        unit, metres = edge("m", units)
        away = f"from front [{unit}]"
        rows = [
            {"receiver": light.receiver.name, away: light.distance / metres}
            | {f"{name} [lx]": beam for name, beam in zip(self._beams("beam"), light.beams, strict=True)}
            | {"reflected [lx]": light.reflected, "lamps [lx]": light.lamps}
            | light.total.row("total", "lx")
            for light in self.receivers
        ]
        return make_frame(rows, {away: ".1f", "total [lx]": "band", "limit [lx]": "g"}, index="receiver")

    def front_frame(self) -> pd.DataFrame:
        """Return the average luminance of the front, with the show and by ambient light alone."""
        parts = {"with the show": self.luminance, "ambient light alone": self.ambient_luminance}
        rows = [{"front": name, **part.row("average luminance", "cd/m²")} for name, part in parts.items()]
        return make_frame(rows, {"average luminance [cd/m²]": "band", "limit [cd/m²]": "g"}, index="front")

    def missing_frame(self) -> pd.DataFrame:
        """Return the light of each projector that misses the house."""
        sent = zip(self._beams("projector"), self.missing, self.missing_flux, strict=True)
        rows = [{"projector": name, "misses": share, "sent there [lm]": flux} for name, share, flux in sent]
        return make_frame(rows, {"misses": ".0%", "sent there [lm]": ",.0f"}, index="projector")

    def _beams(self, word: str) -> list[str]:
        count = len(self.missing)
        return [word] if count == 1 else [f"{word} {i}" for i in range(1, count + 1)]

    def sentence(self, units: str = "m") -> str:
        """Return what exceeds which limit and what helps, in a newspaper's words; lengths in ``"m"`` or ``"ft"``."""
        edge("m", units)
        when = f"{self.curfew} curfew in {self.environmental_zone} surroundings"
        over = [light for light in self.receivers if light.total.status != "within"]
        parts = []
        for light in over:
            verb = "gets" if light.total.status == "exceeds" else "may get"
            parts.append(
                f"{capital(light.receiver.name)} {verb} more light than the {light.total.limit:g} lx that CIE 150 "
                f"allows {when}: about {short(light.total.value)} lx, most of it {light.origin}."
            )
        if not over:
            worst = max(self.receivers, key=lambda light: light.total.value)
            allowed = f"less than the {worst.total.limit:g} lx that CIE 150 allows {when}"
            name, most = worst.receiver.name, short(worst.total.value)
            parts.append(
                f"{capital(name)} gets {most} lx, {allowed}."
                if len(self.receivers) == 1
                else f"Each place gets {allowed}; {name} gets most, {most} lx."
            )
        bright = {"within": "keeps", "borderline": "may exceed", "exceeds": "exceeds"}[self.luminance.status]
        parts.append(
            f"On full white the front averages {short(self.luminance.value)} cd/m² and {bright} the limit of "
            f"{self.luminance.limit:g} cd/m²."
        )
        for name, share in zip(self._beams("projector"), self.missing, strict=True):
            whose = f"{'the ' if len(self.missing) == 1 else ''}{name}'s"
            parts.append(
                f"{capital(percent(share))} of {whose} picture lies beside the house and is masked."
                if self.masked
                else f"{capital(percent(share))} of {whose} light misses the house."
            )
        if self.road is not None:
            parts.append(self.road.sentence(units))
        remedies = self._remedies(over)
        if remedies:
            parts.append(f"What helps: {'; '.join(remedies)}.")
        return " ".join([*parts, CAUTION])

    def _remedies(self, over: Sequence[ReceiverLight]) -> list[str]:
        # Who is met by a beam, as (name, whether it passes the house).
        met = [
            (light.receiver.name, light.beside > 0.5 * sum(light.beams))
            for light in over
            if sum(light.beams) > 0.1 * light.total.value
        ]
        if self.road is not None and self.road.largest > 0.0:
            met.append(("the road", sum(self.road.beside) > 0.5 * sum(self.road.illuminance)))
        past = [name for name, passes in met if passes]
        across = [name for name, passes in met if not passes]
        result = []
        if past:
            if not self.masked:
                result.append(f"mask the picture beside the house, which takes the beam off {join(past)}")
            result.append(f"shade the lens towards {join(past)}")
        if across:
            result.append(f"move the projector, whose beam crosses {join(across)} on its way to the house")
        if self.status != "within":
            keep = self.usable_light
            if keep >= 0.01:
                result.append(f"lower the light to {math.floor(100 * keep)}%")
            elif keep > 0.0:
                result.append("lower the light to less than 1%, which ends the show")
            else:
                result.append("dim what else shines there, which reaches a limit without the projectors")
        if any(light.lamps > 0.5 * light.total.value for light in over):
            result.append("dim or shade the lamps")
        if self.curfew == "after" and over:
            lux, _ = limits(self.environmental_zone, "before")
            keeps = all(light.total.high <= lux for light in self.receivers)
            also = ", which this show keeps" if keeps else ""
            result.append(f"switch off before curfew, until when {lux:g} lx are allowed{also}")
        return result


def obtrusive_light(
    scene: Scene,
    *,
    receivers: Sequence[Receiver],
    environmental_zone: str,
    curfew: str,
    lamps: Iterable[Lamp] = (),
    road: Sequence[Receiver] | None = None,
    masked: bool = False,
    spacing: float = 0.1,
) -> ObtrusiveLight:
    """Return what a show sends beyond the front, and compare it with the limits of CIE 150.

    Parameters
    ----------
    scene : Scene
        All projectors show full white.
    receivers : sequence of Receiver
        At least one, each with a name of its own; none on a patch of the front, and none nearer to it than
        `NEAREST` pixels where the front lights it.
    environmental_zone : {"natural", "rural", "suburban", "urban"}
        Zones E1 to E4.
    curfew : {"before", "after"}
    lamps : sequence of Luminaire or LedString
        Of the show, whose direct light counts at the receivers. What lamps put on the front counts where the scene's
        ambient light holds it.
    road : sequence of Receiver, optional
        See `road_light`.
    masked : bool
        Whether picture elements beside the house are black: those whose ray meets no patch. A black element still
        sends what the projector leaks and what its lens scatters of the white on the front.
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
    cast = _cast(scene, wanted, masked, spacing)
    light = light_map(scene, spacing)
    on_wall = cast.raster.patch >= 0
    front = cast.raster.at(on_wall)
    bands = light["reflectance_band"].sel(level=list(LEVELS)).values
    # For each level of the wall's reflectance, shape (level, pixel).
    bright = bands[:, front.patch] * light["illuminance"].values[on_wall] / np.pi
    machines = [projector for projector, _ in scene.projectors]
    losses = np.array([machine.transmission() for machine in machines])
    losses /= losses[:, [NOMINAL]]
    beams, beside = _beams(scene, cast, wanted, masked)
    results = []
    for receiver, straight, past in zip(wanted, beams, beside, strict=True):
        distance = _distance(front, bright[LEVELS.index("high")], receiver, spacing)
        reflected = surface_illuminance(bright, front.position, front.normal, front.area, receiver)
        nominal, direct = float(reflected[NOMINAL]), _lamp_light(scene.facade, shining, receiver)
        by_light = straight @ losses + direct + nominal * light["light_band"].sel(level=list(LEVELS)).values
        results.append(
            ReceiverLight(
                receiver=receiver,
                distance=distance,
                beams=tuple(straight.tolist()),
                reflected=nominal,
                lamps=direct,
                beside=float(past.sum()),
                total=Compared.of(by_light, straight.sum() + direct + reflected, lux),
            )
        )
    used = cast.share.sum(axis=1)
    # A picture wholly on the front may cover a little more than itself where the raster rounds edges up.
    missing = np.maximum(0.0, 1.0 - used)
    dark = black_share(machines, 1.0, used) if masked else 1.0
    average, ambient = _average_luminance(light, luminance)
    return ObtrusiveLight(
        environmental_zone=environmental_zone,
        curfew=curfew,
        masked=masked,
        receivers=tuple(results),
        luminance=average,
        ambient_luminance=ambient,
        missing=tuple(missing.tolist()),
        missing_flux=tuple((missing * dark * [machine.delivered()[1] for machine in machines]).tolist()),
        road=None if road is None else road_light(scene, road, masked=masked, spacing=spacing),
    )


def road_light(scene: Scene, road: Sequence[Receiver], *, masked: bool = False, spacing: float = 0.1) -> RoadLight:
    """Return the light of the beams in the eyes of drivers along a road.

    Parameters
    ----------
    scene, masked, spacing
        As for `obtrusive_light`.
    road : sequence of Receiver
        Two or more points along the line that drivers' eyes follow, in order, with the lines of sight there. Between
        them position and line of sight change evenly.

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
    cast = _cast(scene, points, masked, spacing)
    beams, beside = (part.sum(axis=1).tolist() for part in _beams(scene, cast, points, masked))
    return RoadLight(along=tuple(along.tolist()), illuminance=tuple(beams), beside=tuple(beside))


def limits(environmental_zone: str, curfew: str) -> tuple[float, float]:
    """Return the limits of CIE 150: vertical illuminance on properties [lx], average luminance of a facade [cd/m2].

    Parameters
    ----------
    environmental_zone : {"natural", "rural", "suburban", "urban"}
    curfew : {"before", "after"}
        Of the illuminance; the luminance knows no curfew.

    References
    ----------
    CIE 150:2017, from memory: ``reference_data/ambient_levels.csv``.
    """
    zone = ENVIRONMENTAL_ZONE.check("environmental_zone", environmental_zone)
    at_property = f"{CURFEW.check('curfew', curfew)} curfew, {zone} surroundings"
    front = f"facade, {zone} surroundings"
    return reference.value("ambient_levels", at_property), reference.value("ambient_levels", front)


def surface_illuminance(
    luminance: ArrayLike, points: ArrayLike, normals: ArrayLike, areas: ArrayLike, receiver: Receiver
) -> Array:
    """Return the illuminance that pieces of a diffuse surface make at a receiver, shape (...) [lx].

    Parameters
    ----------
    luminance : array, shape (..., n)
        [cd/m2].
    points, normals : array, shape (n, 3)
        Middle of each piece [m], and unit normal on the side that shines. Nothing stands in between.
    areas : array, shape (n,)
        Of each piece [m2], small against its distance squared.
    receiver : Receiver
        Gets nothing from pieces behind it, nor from those whose other side it sees.

    Raises
    ------
    InputError
        For a receiver on one of the pieces' middles.
    """
    Is(kind=Receiver).check("receiver", receiver)
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


def _cast(scene: Scene, receivers: Sequence[Receiver], masked: bool, spacing: float) -> Cast:
    """Return where the light lands; a receiver on a patch, not only in line with one, raises `InputError`."""
    Is(kind=Scene).check("scene", scene)
    FLAG.check("masked", masked)
    points = np.array([receiver.position for receiver in receivers])
    for patch in scene.facade.patches:
        on = (np.abs(points @ patch.normal - patch.offset) < SAME_PLANE) & covers(patch, points)
        if on.any():
            right = f"a receiver off the front; this one is on patch {patch.name!r}"
            raise receivers[int(on.argmax())].misplaced(right)
    return cast_light(scene.facade, scene.projectors, scene.facade.bounds, spacing)


def _beams(scene: Scene, cast: Cast, receivers: Sequence[Receiver], masked: bool) -> tuple[Array, Array]:
    """Return the light straight from projectors, and what of it passes the house, both (receiver, projector) [lx]."""
    positions = np.array([receiver.position for receiver in receivers])
    normals = np.array([receiver.normal for receiver in receivers])
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
    return beams, beside


def _lamp_light(facade: Facade, lamps: Sequence[Lamp], receiver: Receiver) -> float:
    """Return the light straight from lamps that the front does not hide [lx]."""
    here = np.array(receiver.position)
    total = 0.0
    for lamp in lamps:
        places = sources(lamp)
        if np.any(np.linalg.norm(places - here, axis=1) < SAME_PLANE):
            raise receiver.misplaced(f"a receiver apart from {lamp.name!r}")
        free = first_met(facade, places, here) >= 1.0
        total += float(source_illuminance(lamp, here, receiver.normal)[free].sum())
    return total


def _average_luminance(light: xr.Dataset, limit: float) -> tuple[Compared, Compared]:
    """Return the mean luminance of the judged front as the audience sees it, and ambient light's part [cd/m2]."""
    points = judged_points(light)
    rho, white = (light[name].values.ravel()[points.seen] for name in ("reflectance", "white_luminance"))
    ambient = rho * light["ambient_illuminance"].values.sum(axis=0).ravel()[points.seen] / np.pi
    bands = light["reflectance_band"].sel(level=list(LEVELS)).values[:, points.patch] / np.where(rho > 0.0, rho, 1.0)
    bare = np.full(len(LEVELS), ambient.mean())
    by_light = white.mean() * light["light_band"].sel(level=list(LEVELS)).values + bare
    by_wall, bare_by_wall = ((bands * part).mean(axis=1) for part in (white + ambient, ambient))
    return Compared.of(by_light, by_wall, limit), Compared.of(bare, bare_by_wall, limit)
