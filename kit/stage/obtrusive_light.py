r"""Light that leaves the front: what a show sends to the neighbours and to the road.

Three lights reach a window across the street, or a driver's eye:

- straight from a projector's beam, where the place stands in it and nothing of the front hides it,
- from the front, which sends back what it gets. Every piece of wall of area :math:`dA` and luminance :math:`L` gives

  .. math:: dE = L \cos\theta_1 \cos\theta_2 \, dA / r^2,

  with :math:`\theta_1` at the wall's normal and :math:`\theta_2` at the normal of the pane. The wall is a perfect
  diffuser here: a surface's `gain` holds towards the audience only and is left out,
- straight from lamps and strings of light.

Not counted: light by way of the ground, the sky or other houses, and the ambient light that is there without the
show. Hedges, fences and cars hide nothing, nor does the front hide its own light from a place; it hides lenses and
lamps. What is behind the front's patches, the body of the house, hides nothing either where it is no patch.

The limits are those of CIE 150 for planned lighting, by zone: natural, rural, suburban and urban surroundings are its
zones E1 to E4. Its limit for drivers, the threshold increment, needs the luminance of the road and is left out:
`road_light` gives the light at the eye, and nothing to compare it with.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Literal

import numpy as np
import xarray as xr
from numpy.typing import ArrayLike, NDArray

from kit import reference
from kit.errors import InputError, numbers, text
from kit.eye.light_map import Scene, light_map
from kit.light.lamps import lamp_illuminance
from kit.sky.luminaire import LedString, Luminaire
from kit.source.placement import wall_illuminance
from kit.units import check_lengths, length_text
from kit.wall.facade import Facade
from kit.wall.occlusion import covers, first_met
from kit.wall.points import wall_points
from kit.wall.raster import SAME_PLANE

Array = NDArray[np.float64]
Status = Literal["within", "borderline", "exceeds"]

ZONES = ("natural", "rural", "suburban", "urban")
CURFEWS = ("before", "after")
# So many pixels away, the sum over pixels is within 1% of the integral; nearer it is refused.
NEAREST = 4
# Between the given points a road is looked at in steps of this length, longer on a road of more steps than that [m].
ROAD_STEP, ROAD_STEPS = 0.25, 4000
CAUTION = "Local codes decide, not these limits; all figures are estimates."


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where light may trouble someone: a neighbour's window, a driver's eye.

    Parameters
    ----------
    name : str
    position : (float, float, float)
        World axes [m], see `kit.facade`.
    facing : (float, float, float)
        Outward normal of the pane, or the driver's line of sight; any length but 0. ``(0, 0, -1)`` looks at the
        front from across the street, ``(0, 0, 1)`` is a window in line with the front.
    """

    name: str
    position: tuple[float, float, float]
    facing: tuple[float, float, float]

    def __post_init__(self) -> None:
        where = f"place {text('place name', self.name)!r}"
        fix = object.__setattr__
        fix(self, "position", numbers(f"{where}: position", self.position, 3, unit="m"))
        fix(self, "facing", numbers(f"{where}: facing", self.facing, 3))
        if not 1e-6 < math.hypot(*self.facing) < 1e6:
            raise InputError(f"{where}: facing", self.facing, "a direction (x, y, z) other than (0, 0, 0)")

    @property
    def normal(self) -> Array:
        """Unit vector along `facing`, shape (3,)."""
        return np.array(self.facing) / math.hypot(*self.facing)


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

    @property
    def status(self) -> Status:
        """``within``: even the high end keeps the limit; ``exceeds``: even the low end does not."""
        return "exceeds" if self.low > self.limit else "borderline" if self.high > self.limit else "within"


@dataclass(frozen=True, kw_only=True)
class PlaceLight:
    """The light that a show sends to a place.

    Attributes
    ----------
    place : Place
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

    place: Place
    distance: float
    beams: tuple[float, ...]
    reflected: float
    lamps: float
    beside: float
    total: Compared


@dataclass(frozen=True, kw_only=True)
class RoadLight:
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

    def sentence(self, units: str = "m") -> str:
        """Return the finding in words; lengths in ``"m"`` or ``"ft"``."""
        check_lengths(units)
        if not self.stretches:
            return "No beam meets a driver's eyes on the road."
        where = " and ".join(
            f"from {length_text(start, units)} to {length_text(end, units)}" for start, end in self.stretches
        )
        return (
            f"On the road a beam meets drivers' eyes {where} along the line, with up to {_short(self.largest)} lx at "
            f"{length_text(self.where, units)}; no limit is checked for that, none at all is best."
        )


@dataclass(frozen=True, kw_only=True)
class Leaving:
    """What a show sends beyond the front, against the limits of CIE 150.

    ``print(leaving)`` shows the sentence and the table, with lengths in metres.

    Attributes
    ----------
    zone, curfew, masked
        As asked for.
    places : tuple of PlaceLight
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

    zone: str
    curfew: str
    masked: bool
    places: tuple[PlaceLight, ...]
    luminance: Compared
    ambient_luminance: Compared
    missing: tuple[float, ...]
    missing_flux: tuple[float, ...]
    road: RoadLight | None = None

    def place(self, name: str) -> PlaceLight:
        """Return the light at the place called `name`, or raise `InputError` with the names there are."""
        for light in self.places:
            if light.place.name == name:
                return light
        raise InputError("place", name, f"one of {', '.join(light.place.name for light in self.places)}")

    @property
    def status(self) -> Status:
        """The worst of all places and the front."""
        found = {self.luminance.status, *(light.total.status for light in self.places)}
        return "exceeds" if "exceeds" in found else "borderline" if "borderline" in found else "within"

    @property
    def usable_light(self) -> float:
        """Share of the projectors' light, up to 1, with which even the high end of every figure keeps its limit.

        0 where lamps or ambient light alone reach a limit.
        """
        pairs = [(light.total, light.lamps) for light in self.places]
        shares = [1.0]
        for figure, rest in (*pairs, (self.luminance, self.ambient_luminance.high)):
            if figure.high > figure.limit:
                shares.append(max(0.0, figure.limit - rest) / (figure.high - rest) if figure.high > rest else 0.0)
        return min(shares)

    def sentence(self, units: str = "m") -> str:
        """Return what exceeds which limit and what helps, in a newspaper's words; lengths in ``"m"`` or ``"ft"``."""
        check_lengths(units)
        when = f"{self.curfew} curfew in {self.zone} surroundings"
        over = [light for light in self.places if light.total.status != "within"]
        parts = []
        for light in over:
            verb = "gets" if light.total.status == "exceeds" else "may get"
            parts.append(
                f"{_capital(light.place.name)} {verb} more light than the {light.total.limit:g} lx that CIE 150 "
                f"allows {when}: about {_short(light.total.value)} lx, most of it {_origin(light)}."
            )
        if not over:
            worst = max(self.places, key=lambda light: light.total.value)
            allowed = f"less than the {worst.total.limit:g} lx that CIE 150 allows {when}"
            most = _short(worst.total.value)
            parts.append(
                f"{_capital(worst.place.name)} gets {most} lx, {allowed}."
                if len(self.places) == 1
                else f"All places get {allowed}; {worst.place.name} gets most, {most} lx."
            )
        bright = {"within": "keeps", "borderline": "may exceed", "exceeds": "exceeds"}[self.luminance.status]
        parts.append(
            f"On full white the front averages {_short(self.luminance.value)} cd/m2 and {bright} the limit of "
            f"{self.luminance.limit:g} cd/m2."
        )
        for count, share in enumerate(self.missing, 1):
            whose = "the projector's" if len(self.missing) == 1 else f"projector {count}'s"
            parts.append(
                f"{share:.0%} of {whose} picture lies beside the house and is masked."
                if self.masked
                else f"{share:.0%} of {whose} light misses the house."
            )
        if self.road is not None:
            parts.append(self.road.sentence(units))
        remedies = self._remedies(over)
        if remedies:
            parts.append(f"What helps: {'; '.join(remedies)}.")
        return " ".join([*parts, CAUTION])

    def _remedies(self, over: Sequence[PlaceLight]) -> list[str]:
        # Who is met by a beam, as (name, whether it passes the house).
        met = [
            (light.place.name, light.beside > 0.5 * sum(light.beams))
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
                result.append(f"mask the picture beside the house, which takes the beam off {_join(past)}")
            result.append(f"shade the lens towards {_join(past)}")
        if across:
            result.append(f"move the projector, whose beam crosses {_join(across)} on its way to the house")
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
            lux, _ = limits(self.zone, "before")
            keeps = all(light.total.high <= lux for light in self.places)
            result.append(
                f"switch off before curfew, until when {lux:g} lx are allowed"
                f"{', which this show keeps' if keeps else ''}"
            )
        return result

    def table(self, units: str = "m") -> str:
        """Return all figures as a text table; lengths in ``"m"`` or ``"ft"``."""
        check_lengths(units)
        count = len(self.missing)
        heads = ["beam"] if count == 1 else [f"beam {i}" for i in range(1, count + 1)]
        wide = max(24, *(len(light.place.name) + 1 for light in self.places))
        lines = [
            f"light leaving the front, {self.curfew} curfew, {self.zone} surroundings"
            f"{', picture masked beside the house' if self.masked else ''}",
            f"{'vertical illuminance, lx':{wide}}{'from front':>11}{''.join(f'{head:>9}' for head in heads)}"
            f"{'reflected':>11}{'lamps':>8}{'total':>8}{'likely':>18}{'limit':>7}  verdict",
        ]
        for light in self.places:
            lines.append(
                f"{light.place.name:{wide}}{length_text(light.distance, units):>11}"
                f"{''.join(f'{_short(beam):>9}' for beam in light.beams)}"
                f"{_short(light.reflected):>11}{_short(light.lamps):>8}{_compared(light.total)}"
            )
        gap = wide + 11 + 9 * count + 19
        lines.append(f"{'average luminance of the front, cd/m2':{gap}}{_compared(self.luminance)}")
        for i, (share, flux) in enumerate(zip(self.missing, self.missing_flux, strict=True), 1):
            name = "projector" if count == 1 else f"projector {i}"
            lines.append(f"light of the {name} that misses the house: {share:.0%}, {flux:,.0f} lm sent there")
        if self.road is not None:
            lines.append(
                f"beam at drivers' eyes on the road: at most {_short(self.road.largest)} lx, "
                f"over {length_text(self.road.length, units)}"
            )
        return "\n".join(lines)

    def __str__(self) -> str:
        return f"{self.sentence()}\n\n{self.table()}"


def leaving(
    scene: Scene,
    *,
    places: Sequence[Place],
    zone: str,
    curfew: str,
    lamps: Iterable[Luminaire | LedString] = (),
    road: Sequence[Place] | None = None,
    masked: bool = False,
    spacing: float = 0.1,
) -> Leaving:
    """Return what a show sends to places beyond the front, and compare it with the limits of CIE 150.

    Parameters
    ----------
    scene : Scene
        Without sweeps. All projectors show full white.
    places : sequence of Place
        At least one, each with a name of its own; none on a patch of the front, and none nearer to it than
        `NEAREST` pixels where the front lights it.
    zone : {"natural", "rural", "suburban", "urban"}
        Zones E1 to E4.
    curfew : {"before", "after"}
    lamps : sequence of Luminaire or LedString
        Of the show, whose direct light counts at the places. What lamps put on the front counts where the scene's
        ambient light holds it.
    road : sequence of Place, optional
        See `road_light`.
    masked : bool
        Whether picture elements beside the house are black: those whose ray meets no patch. A black element still
        sends what the projector leaks and what its lens scatters of the white on the front.
    spacing : float
        Pixel size of the raster on the front [m].

    Returns
    -------
    Leaving

    Raises
    ------
    InputError
        For a scene with sweeps, an unknown zone or curfew, or a place on the front, at a lens or at a lamp.
    """
    wanted = _checked_places("places", places)
    names = [place.name for place in wanted]
    for name in names:
        if names.count(name) > 1:
            raise InputError("places", name, "a name that no other place has")
    lux, luminance = limits(zone, curfew)
    shining = _checked_lamps(lamps)
    light = _checked_map(scene, masked, spacing)
    _off_the_front(scene.facade, wanted)

    beams, beside = _beams(scene, light, wanted, masked)
    front = _front(scene.facade, light)
    transmission = np.array([projector.transmission() for projector, _ in scene.projectors])
    results = []
    for k, place in enumerate(wanted):
        reflected = _reflected(front, place, float(light.attrs["spacing"]))
        direct = _lamp_light(scene.facade, shining, place)
        rest = float(beams[k].sum()) + direct
        total = rest + reflected[1]
        # One of the two off its nominal value.
        by_light = [
            float(beams[k] @ (transmission[:, end] / transmission[:, 1]))
            + direct
            + reflected[1] * float(light["light_band"][end])
            for end in (0, 2)
        ]
        by_wall = [rest + reflected[end] for end in (0, 2)]
        results.append(
            PlaceLight(
                place=place,
                distance=float(np.sqrt(((front.points - place.position) ** 2).sum(axis=1).min())),
                beams=tuple(beams[k].tolist()),
                reflected=reflected[1],
                lamps=direct,
                beside=float(beside[k].sum()),
                total=_banded(total, by_light, by_wall, lux),
            )
        )
    used = light["picture_share"].values.sum(axis=1)
    # A picture wholly on the front covers a hair more than itself where the raster rounds edges up.
    missing = np.maximum(0.0, 1.0 - used)
    sent = missing * _lumens(scene) * (_black(scene, used) if masked else 1.0)
    average, ambient = _average_luminance(light, luminance)
    return Leaving(
        zone=zone,
        curfew=curfew,
        masked=masked,
        places=tuple(results),
        luminance=average,
        ambient_luminance=ambient,
        missing=tuple(missing.tolist()),
        missing_flux=tuple(sent.tolist()),
        road=None if road is None else _road_light(scene, light, road, masked),
    )


def road_light(scene: Scene, road: Sequence[Place], *, masked: bool = False, spacing: float = 0.1) -> RoadLight:
    """Return the light of the beams in the eyes of drivers along a road.

    Parameters
    ----------
    scene, masked, spacing
        As for `leaving`.
    road : sequence of Place
        Two or more points along the line that drivers' eyes follow, in order, with the lines of sight there. Between
        them position and line of sight change evenly.

    Raises
    ------
    InputError
        For fewer than two points, opposite lines of sight in a row, or a point on the front or at a lens.
    """
    return _road_light(scene, _checked_map(scene, masked, spacing), road, masked)


def limits(zone: str, curfew: str) -> tuple[float, float]:
    """Return the limits of CIE 150: vertical illuminance on properties [lx], average luminance of a facade [cd/m2].

    Parameters
    ----------
    zone : {"natural", "rural", "suburban", "urban"}
    curfew : {"before", "after"}
        Of the illuminance; the luminance knows no curfew.

    References
    ----------
    CIE 150:2017, from memory: ``reference_data/ambient_levels.csv``.
    """
    for field, given, known in (("zone", zone, ZONES), ("curfew", curfew, CURFEWS)):
        if not isinstance(given, str) or given not in known:
            raise InputError(field, given, f"one of {', '.join(known)}")
    at_property = reference.value("ambient_levels", f"{curfew} curfew, {zone} surroundings")
    return at_property, reference.value("ambient_levels", f"facade, {zone} surroundings")


def surface_illuminance(
    luminance: ArrayLike, points: ArrayLike, normals: ArrayLike, areas: ArrayLike, place: Place
) -> float:
    """Return the illuminance that pieces of a diffuse surface make at a place [lx], nothing in between.

    Parameters
    ----------
    luminance : array, shape (n,)
        [cd/m2].
    points, normals : array, shape (n, 3)
        Middle of each piece [m], and unit normal on the side that shines.
    areas : array, shape (n,)
        Of each piece [m2], small against its distance squared.
    place : Place
        Gets nothing from pieces behind it, nor from those whose other side it sees.

    Raises
    ------
    InputError
        For a place on one of the pieces' middles.
    """
    if not isinstance(place, Place):
        raise InputError("place", place, "a kit.Place")
    ray = np.array(place.position) - np.asarray(points, float).reshape(-1, 3)
    square = np.einsum("ij,ij->i", ray, ray)
    if np.any(square < SAME_PLANE**2):
        raise InputError(f"place {place.name!r}: position", place.position, "a place off the surface that shines")
    leaves = np.maximum(np.einsum("ij,ij->i", ray, np.broadcast_to(np.asarray(normals, float), ray.shape)), 0.0)
    arrives = np.maximum(-(ray @ place.normal), 0.0)
    return float(np.sum(np.asarray(luminance, float) * np.asarray(areas, float) * leaves * arrives / square**2))


def string_illuminance(string: LedString, points: ArrayLike, normals: ArrayLike) -> Array:
    """Return the illuminance that a string of light makes at points, without shadows [lx].

    Parameters
    ----------
    string : LedString
    points : array, shape (..., 3)
        [m]. Meant for few: every node is worked out for every point.
    normals : array, shape (..., 3)
        Unit normals on the lit side; broadcasts with `points`.

    Raises
    ------
    InputError
        For a point where a node is.
    """
    if not isinstance(string, LedString):
        raise InputError("string", string, "a kit.LedString")
    return _node_light(string, string.nodes(), np.asarray(points, float), np.asarray(normals, float)).sum(axis=-1)


def _node_light(string: LedString, nodes: Array, points: Array, normals: Array) -> Array:
    """Return the illuminance from each node, shape (..., node) [lx]."""
    ray = points[..., None, :] - nodes
    square = np.einsum("...i,...i->...", ray, ray)
    if np.any(square < SAME_PLANE**2):
        raise InputError(f"string {string.name!r}: path", string.path, "a string apart from what it lights")
    arrives = np.maximum(-np.einsum("...ni,...i->...n", ray, np.broadcast_to(normals, points.shape)), 0.0)
    if string.facing is not None:
        arrives = arrives * (ray @ np.array(string.facing) > 0.0)
    return string._intensity() * arrives / square**1.5


# What is asked for


def _checked_places(field: str, places: Any) -> tuple[Place, ...]:
    right = "kit.Place values"
    if isinstance(places, str | bytes) or not isinstance(places, Iterable):
        raise InputError(field, places, f"a list of {right}")
    result = tuple(places)
    for place in result:
        if not isinstance(place, Place):
            raise InputError(field, place, right)
    if not result:
        raise InputError(field, result, "at least one kit.Place")
    return result


def _checked_lamps(lamps: Any) -> tuple[Luminaire | LedString, ...]:
    right = "kit.Luminaire and kit.LedString values"
    if isinstance(lamps, str | bytes) or not isinstance(lamps, Iterable):
        raise InputError("lamps", lamps, f"a list of {right}")
    result = tuple(lamps)
    for lamp in result:
        if not isinstance(lamp, Luminaire | LedString):
            raise InputError("lamps", lamp, right)
    return result


def _checked_map(scene: Scene, masked: bool, spacing: float) -> xr.Dataset:
    if not isinstance(scene, Scene):
        raise InputError("scene", type(scene).__name__, "a kit.Scene")
    if not isinstance(masked, bool):
        raise InputError("masked", masked, "true or false")
    light = light_map(scene, spacing)
    if light["contrast"].dims != ("y", "x"):
        raise InputError("scene", light["contrast"].dims, "one light output, one ambient light, one reflectance")
    return light


def _off_the_front(facade: Facade, places: tuple[Place, ...]) -> None:
    """Raise `InputError` for a place on a patch; one in line with a wall, beside it, is fine."""
    points = np.array([place.position for place in places])
    for patch in facade.patches:
        near = np.abs(points @ patch.normal - patch.offset) < SAME_PLANE
        on = near & covers(patch, points)
        if on.any():
            place = places[int(on.argmax())]
            right = f"a place off the front; this one is on patch {patch.name!r}"
            raise InputError(f"place {place.name!r}: position", place.position, right)


# Straight light


def _lumens(scene: Scene) -> Array:
    """Return what each projector delivers on full white, nominal chain, shape (projector,) [lm]."""
    return np.array([np.asarray(p.light_output, float).item() * p.transmission()[1] for p, _ in scene.projectors])


def _black(scene: Scene, used: Array) -> Array:
    """Return the light of a black picture element over a white one while the front is white, shape (projector,)."""
    return np.array([p.leak() + p.scatter() * u for (p, _), u in zip(scene.projectors, used, strict=True)])


def _beams(scene: Scene, light: xr.Dataset, places: tuple[Place, ...], masked: bool) -> tuple[Array, Array]:
    """Return the light straight from the projectors, and what of it passes the house, both (place, projector) [lx]."""
    positions = np.array([place.position for place in places])
    lumens = _lumens(scene)
    black = _black(scene, light["picture_share"].values.sum(axis=1))
    beams = np.zeros((len(places), len(lumens)))
    beside = np.zeros_like(beams)
    for i, (projector, placement) in enumerate(scene.projectors):
        lens = np.array(placement.position)
        at_lens = np.linalg.norm(positions - lens, axis=1) < SAME_PLANE
        if at_lens.any():
            place = places[int(at_lens.argmax())]
            raise InputError(f"place {place.name!r}: position", place.position, f"a place apart from lens {i + 1}")
        first = first_met(scene.facade, lens, positions)
        unit = [float(wall_illuminance(projector, placement, place.position, place.normal)) for place in places]
        white = np.where(first < 1.0, 0.0, lumens[i] * np.array(unit))
        # A place on the way to the front gets what the front gets, masked or not.
        beside[:, i] = np.where(np.isinf(first), white * (black[i] if masked else 1.0), 0.0)
        beams[:, i] = np.where(np.isinf(first), beside[:, i], white)
    return beams, beside


def _road_light(scene: Scene, light: xr.Dataset, road: Sequence[Place], masked: bool) -> RoadLight:
    given = _checked_places("road", road)
    if len(given) < 2:
        raise InputError("road", len(given), "two or more kit.Place values along the road")
    steps = np.array([math.dist(a.position, b.position) for a, b in pairwise(given)])
    if not steps.any():
        raise InputError("road", given[0].position, "points apart from each other")
    corners = np.concatenate([[0.0], np.cumsum(steps)])
    step = max(ROAD_STEP, corners[-1] / ROAD_STEPS)
    parts = [
        np.linspace(start, end, math.ceil((end - start) / step), endpoint=False) for start, end in pairwise(corners)
    ]
    along = np.concatenate([*parts, corners[-1:]])
    positions, normals = (
        np.stack([np.interp(along, corners, column) for column in np.transpose(rows)], axis=1)
        for rows in ([place.position for place in given], [place.normal for place in given])
    )
    points = tuple(
        Place(name="road", position=tuple(position), facing=tuple(normal))
        for position, normal in zip(positions.tolist(), normals.tolist(), strict=True)
    )
    _off_the_front(scene.facade, points)
    beams, beside = _beams(scene, light, points, masked)
    return RoadLight(
        along=tuple(along.tolist()),
        illuminance=tuple(beams.sum(axis=1).tolist()),
        beside=tuple(beside.sum(axis=1).tolist()),
    )


def _lamp_light(facade: Facade, lamps: tuple[Luminaire | LedString, ...], place: Place) -> float:
    """Return the light straight from lamps that the front does not hide [lx]."""
    here = np.array(place.position)
    total = 0.0
    for lamp in lamps:
        where = lamp.nodes() if isinstance(lamp, LedString) else np.array([lamp.position])
        if np.any(np.linalg.norm(where - here, axis=1) < SAME_PLANE):
            raise InputError(f"place {place.name!r}: position", place.position, f"a place apart from {lamp.name!r}")
        free = first_met(facade, where, here) >= 1.0
        if isinstance(lamp, LedString):
            light = _node_light(lamp, where, here, place.normal)
        else:
            light = np.atleast_1d(lamp_illuminance(lamp, here, place.normal))
        total += float(light[free].sum())
    return total


# The front's light


@dataclass(frozen=True, kw_only=True)
class _Front:
    """The visible front, pixel by pixel: middle, normal, length along its slope, area, luminance for each level."""

    points: Array
    normals: Array
    lengths: Array
    areas: Array
    luminance: Array


def _front(facade: Facade, light: xr.Dataset) -> _Front:
    """Return the front as pieces that shine; `luminance` is of shape (level, pixel) for the reflectance's band."""
    index = light["patch"].values
    seen = index >= 0
    patch = index[seen].astype(np.intp)
    x, y = np.meshgrid(light["x"].values, light["y"].values)
    points = wall_points(facade, patch, x[seen], y[seen])
    normals = np.array([p.normal for p in facade.patches])[patch]
    spacing = float(light.attrs["spacing"])
    levels = np.array([light[name].values for name in ("reflectance_low", "reflectance_high")])[:, patch]
    reflectance = np.array([levels[0], light["reflectance"].values[seen], levels[1]])
    return _Front(
        points=points,
        normals=normals,
        lengths=spacing / normals[:, 2],
        areas=spacing**2 / normals[:, 2],
        luminance=reflectance * light["illuminance"].values[seen] / np.pi,
    )


def _reflected(front: _Front, place: Place, spacing: float) -> tuple[float, float, float]:
    """Return the light of the front at a place for low, nominal and high reflectance [lx]."""
    ray = np.array(place.position) - front.points
    counts = (np.einsum("ij,ij->i", ray, front.normals) > 0.0) & (ray @ place.normal < 0.0)
    counts &= front.luminance[2] > 0.0
    if np.any(np.linalg.norm(ray[counts], axis=1) < NEAREST * front.lengths[counts]):
        raise InputError(
            f"place {place.name!r}: position",
            place.position,
            f"a place {NEAREST} pixels or more from the front, or a smaller spacing than {spacing:g} m",
        )
    low, nominal, high = (
        surface_illuminance(level[counts], front.points[counts], front.normals[counts], front.areas[counts], place)
        for level in front.luminance
    )
    return low, nominal, high


def _average_luminance(light: xr.Dataset, limit: float) -> tuple[Compared, Compared]:
    """Return the mean luminance of the judged front as the audience sees it, and ambient light's part [cd/m2]."""
    index = light["patch"].values
    counts = np.append(light["judged"].values.astype(bool), False)[index]  # the last serves the index -1
    if not counts.any():
        names = light["patch_name"].values[np.unique(index[index >= 0])].tolist()
        raise InputError("judged", names, "at least one visible patch that counts")
    patch = index[counts]
    rho = light["reflectance"].values[counts]
    around = np.broadcast_to(light["ambient_illuminance"].values, index.shape)[counts]
    white, ambient = light["white_luminance"].values[counts], rho * around / np.pi
    ratios = [
        light[level].values[patch] / np.where(rho > 0.0, rho, 1.0) for level in ("reflectance_low", "reflectance_high")
    ]
    total, bare = float((white + ambient).mean()), float(ambient.mean())
    by_light = [float(white.mean()) * float(light["light_band"][end]) + bare for end in (0, 2)]
    by_wall, bare_by_wall = ([float((ratio * part).mean()) for ratio in ratios] for part in (white + ambient, ambient))
    return (
        _banded(total, by_light, by_wall, limit),
        _banded(bare, [bare] * 2, bare_by_wall, limit),
    )


def _banded(value: float, by_light: Sequence[float], by_wall: Sequence[float], limit: float) -> Compared:
    """Return a figure with its band, from the ends that light and wall would give it, each alone."""
    if value == 0.0:
        return Compared(value=0.0, low=0.0, high=max(by_light[1], by_wall[1]), limit=limit)
    ends = []
    for light, wall, sign in zip(by_light, by_wall, (-1.0, 1.0), strict=True):
        apart = [abs(math.log(end / value)) if end > 0.0 else math.inf for end in (light, wall)]
        ends.append(value * math.exp(sign * math.hypot(*apart)))
    return Compared(value=value, low=ends[0], high=ends[1], limit=limit)


# Words


def _short(value: float) -> str:
    """Return a figure with two significant figures, and one that nobody would notice as such."""
    if value == 0.0:
        return "0"
    return "<0.001" if value < 0.001 else f"{float(f'{value:.2g}'):,g}"


def _compared(figure: Compared) -> str:
    likely = f"{_short(figure.low)} to {_short(figure.high)}"
    return f"{_short(figure.value):>8}{likely:>18}{figure.limit:>7g}  {figure.status}"


def _join(items: list[str]) -> str:
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}"


def _capital(name: str) -> str:
    return name[:1].upper() + name[1:]


def _origin(light: PlaceLight) -> str:
    parts = {
        "straight from the beam": sum(light.beams),
        "reflected by the house": light.reflected,
        "from the lamps": light.lamps,
    }
    return max(parts, key=lambda name: parts[name])
