r"""Eyes and traffic: how much light a beam puts in an eye, where on the ground an eye meets it, what goes to the sky.

An eye at distance :math:`r` that looks into the lens, at angle :math:`\beta` off the axis, gets

.. math:: E = \Phi E_1 / (r^2 \cos^3 \beta)

(`kit.throw`), so :math:`\Phi E_1 / r^2` on the axis and more towards the corners of a wide picture.

**This is no safety certificate and no hazard assessment.** It is geometry and illuminance. Whether light harms an eye
is decided by how small and how bright the source looks, for how long and in which colours; that needs the lens's
opening and spectrum, which no data sheet tells, so the luminance of the source is not given here. Image projectors are
put into risk groups by IEC 62471-5, assessed 1 m from the lens: risk group 2 includes machines for home use, risk
group 3 is not for the household. The maker's label decides. Never look into the lens.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from kit import reference
from kit.errors import InputError, number, numbers
from kit.eye.glare import Point, hidden
from kit.eye.light_map import Scene
from kit.source.placement import Placement, picture_window, unit_illuminance, wall_illuminance, zone_gain
from kit.source.projector import Projector, is_many
from kit.units import check_lengths, length_text, metres_per
from kit.wall.points import check_in_front
from kit.wall.raster import SAME_PLANE

Array = NDArray[np.float64]
Band = tuple[float, float, float]

# The lens is taken to be a point; nearer than this it does not look like one [m].
NEAREST = 0.5
# Rays across and up with which the picture is looked through: a share is known to about a hundredth.
RAYS = (240, 150)
# A beam that leaves this flat goes on for so long that it meets no wall in any useful place.
FLATTEST = 1e-6

CAUTION = (
    "No safety certificate and no hazard assessment: never look into the lens, and let no child do it. Risk groups of "
    "IEC 62471-5 are assessed 1 m from the lens; group 2 includes machines for home use, group 3 is not for the "
    "household; the maker's label decides. Optical instruments make it worse."
)
SKY = (
    "Light past the roof can dazzle pilots. Mask the picture there; a masked picture still sends its black. Laser "
    "machines outdoors may need leave from the authority for aviation, near an airfield any machine: ask before you "
    "build."
)


@dataclass(frozen=True, kw_only=True)
class Exposure:
    """Light at an eye that looks into a lens.

    Attributes
    ----------
    distance : float
        From the lens [m].
    on_axis : (float, float, float)
        Low, nominal, high [lx]: delivered lumens x E1 / distance^2. Lens shift may put the axis at the picture's edge
        or beyond it.
    brightest : (float, float, float)
        The same in the brightest direction of the picture [lx].
    picture_width, picture_height : float
        On a plane square to the axis [m].
    """

    distance: float
    on_axis: Band
    brightest: Band
    picture_width: float
    picture_height: float


@dataclass(frozen=True, kw_only=True)
class BeamTable:
    """Light at the eye in a beam against distance. ``print(table)`` shows sentence and table, in metres.

    Attributes
    ----------
    exposures : tuple of Exposure
    sunlight, office : float
        Illuminance to compare with [lx].
    like_sunlight, like_office : float
        Distance at which the brightest direction has as much, nominal [m]; may be less than `NEAREST`, where it is
        only a figure of speech.
    """

    exposures: tuple[Exposure, ...]
    sunlight: float
    office: float
    like_sunlight: float
    like_office: float

    def table(self, units: str = "m") -> str:
        """Return the figures as a text table; lengths in ``"m"`` or ``"ft"``."""
        check_lengths(units)
        wide = "brightest in the picture, lx"
        lines = [f"{'from lens':>10}{'picture':>18}{'on the axis, lx':>18}{wide:>36}{'x sunlight':>12}{'x office':>10}"]
        for e in self.exposures:
            picture = f"{length_text(e.picture_width, units)} x {length_text(e.picture_height, units)}"
            low, nominal, high = e.brightest
            likely = f"{_short(nominal)} ({_short(low)} to {_short(high)})"
            lines.append(
                f"{length_text(e.distance, units):>10}{picture:>18}{_short(e.on_axis[1]):>18}{likely:>36}"
                f"{_short(nominal / self.sunlight):>12}{_short(nominal / self.office):>10}"
            )
        return "\n".join(lines)

    def sentence(self, units: str = "m") -> str:
        """Return the findings in words; lengths in ``"m"`` or ``"ft"``."""
        check_lengths(units)
        near, *_, far = sorted((self.exposures[0], *self.exposures), key=lambda e: e.distance)
        words = f"An eye in the beam gets up to {_short(near.brightest[1])} lx at {length_text(near.distance, units)}"
        if far.distance > near.distance:
            words += f" and {_short(far.brightest[1])} lx at {length_text(far.distance, units)}"
        desk, sun = (length_text(length, units) for length in (self.like_office, self.like_sunlight))
        return (
            f"{words}. As much as on an office desk ({self.office:,.0f} lx) it is at {desk}, as much as full sun on a "
            f"wall ({self.sunlight:,.0f} lx) at {sun}. That compares light, not danger: this light comes from a lens, "
            f"which the eye sees as a small and very bright spot. {CAUTION}"
        )

    def __str__(self) -> str:
        return f"{self.sentence()}\n\n{self.table()}"


def beam_table(projector: Projector, distances: Iterable[float]) -> BeamTable:
    """Return the light at an eye in the beam, against distance.

    Parameters
    ----------
    projector : Projector
        One light output, one throw ratio. The band is that of its chain of losses; a machine that delivers what is
        stated, with a clean lens and without a housing, is at or above the high end.
    distances : sequence of float
        From the lens [m], `NEAREST` or more.

    Returns
    -------
    BeamTable

    Raises
    ------
    InputError
        For a sweep or a zoom that is not set, no distance, or one that is too near.
    """
    if not isinstance(projector, Projector):
        raise InputError("projector", projector, "a kit.Projector")
    lumens = _lumens(projector)
    if not is_many(distances):
        raise InputError("distances", distances, "a list of distances in m")
    given = [number(f"distances[{i}]", d, minimum=NEAREST, unit="m") for i, d in enumerate(distances)]
    if not given:
        raise InputError("distances", distances, "at least one distance in m")
    unit = unit_illuminance(projector)
    peak = _peak(projector)
    left, right, bottom, top = picture_window(projector)
    exposures = []
    for away in given:
        low, nominal, high = (flux * unit / away**2 for flux in lumens)
        exposures.append(
            Exposure(
                distance=away,
                on_axis=(low, nominal, high),
                brightest=(low * peak, nominal * peak, high * peak),
                picture_width=(right - left) * away,
                picture_height=(top - bottom) * away,
            )
        )
    sunlight, office = (reference.value("exposure", name, group="comparison") for name in ("sunlight", "office"))
    at_one = lumens[1] * unit * peak
    return BeamTable(
        exposures=tuple(exposures),
        sunlight=sunlight,
        office=office,
        like_sunlight=math.sqrt(at_one / sunlight),
        like_office=math.sqrt(at_one / office),
    )


def eye_illuminance(scene: Scene, eye: Point) -> tuple[Band, ...]:
    """Return the light that each projector puts on an eye that looks into its lens [lx].

    Parameters
    ----------
    scene : Scene
        Full white, not blended: the most that can come. No sweeps.
    eye : (float, float, float)
        World axes [m], in front of the house and `NEAREST` or more from every lens.

    Returns
    -------
    tuple of (float, float, float)
        For each projector low, nominal and high by its chain; 0 outside its beam. Nothing in between is counted, not
        even the front's own posts.

    Raises
    ------
    InputError
        For an eye behind the wall, inside the front or too near to a lens.
    """
    pairs = _pairs(scene)
    point = numbers("eye", eye, 3, unit="m")
    check_in_front(scene.facade, point, "eye", "an eye")
    result: list[Band] = []
    for i, (projector, placement) in enumerate(pairs, 1):
        towards = np.subtract(placement.position, point)
        away = float(np.linalg.norm(towards))
        if away < NEAREST:
            raise InputError(
                "eye", eye, f"a place {NEAREST:g} m or more from lens {i}; this one is {away:.2f} m from it"
            )
        unit = float(wall_illuminance(projector, placement, point, towards / away))
        low, nominal, high = (flux * unit for flux in _lumens(projector))
        result.append((low, nominal, high))
    return tuple(result)


@dataclass(frozen=True, kw_only=True)
class KeepOut:
    """Where people have an eye inside the beam of one projector.

    Attributes
    ----------
    lens : (float, float, float)
        [m].
    ground : shapely geometry
        In plan, x and z [m]: an eye at one of the heights asked for is in the beam above this ground. Empty if none is.
    nearest, farthest : float or None
        Of that ground from the lens, along the ground [m]; None if it is empty.
    width : float
        Of that ground along the front [m].
    up_to_wall : bool
        Whether it reaches up to the wall: no one walks along the wall outside the beam.
    clearance : float or None
        Height of the beam's lower edge over the walk [m], below 0 where it has met the ground before; None without a
        walk, or for one behind the lens.
    lens_height : float or None
        Which the lens needs to keep the beam above the eyes on the walk, with the picture where it is now [m]; None
        likewise.
    sky_share : float
        Of the light on full white that misses the front and rises, known to about a hundredth.
    sky_angles : (float, float) or None
        Of that light above the horizon, least and greatest [deg].
    """

    lens: Point
    ground: Any
    nearest: float | None
    farthest: float | None
    width: float
    up_to_wall: bool
    clearance: float | None
    lens_height: float | None
    sky_share: float
    sky_angles: tuple[float, float] | None


@dataclass(frozen=True, kw_only=True)
class KeepOuts:
    """Where people have an eye inside a beam, for each projector. ``print`` shows sentence and table, in metres.

    Attributes
    ----------
    eye_heights : (float, float)
        Lowest and highest [m].
    walk : float or None
        From the plane of the wall [m].
    zones : tuple of KeepOut
    """

    eye_heights: tuple[float, float]
    walk: float | None
    zones: tuple[KeepOut, ...]

    def table(self, units: str = "m") -> str:
        """Return the figures as a text table; lengths in ``"m"`` or ``"ft"``."""
        check_lengths(units)
        lines = [
            f"{'':12}{'lens height':>12}{'eyes in beam from':>19}{'to':>9}{'width':>9}{'edge over walk':>16}"
            f"{'lens height needed':>20}{'to the sky':>12}{'at':>14}"
        ]
        for i, zone in enumerate(self.zones, 1):
            cells = [
                "-" if value is None else length_text(value, units)
                for value in (zone.lens[1], zone.nearest, zone.farthest, zone.width, zone.clearance, zone.lens_height)
            ]
            angles = "-" if zone.sky_angles is None else f"{zone.sky_angles[0]:.0f} to {zone.sky_angles[1]:.0f} deg"
            widths = (12, 19, 9, 9, 16, 20)
            lines.append(
                f"{f'projector {i}':12}"
                + "".join(f"{cell:>{width}}" for cell, width in zip(cells, widths, strict=True))
                + f"{zone.sky_share:>12.0%}{angles:>14}"
            )
        return "\n".join(lines)

    def sentence(self, units: str = "m") -> str:
        """Return the findings in words; lengths in ``"m"`` or ``"ft"``."""
        check_lengths(units)
        low, high = (length_text(height, units) for height in self.eye_heights)
        parts = []
        for i, zone in enumerate(self.zones, 1):
            whose = "the beam" if len(self.zones) == 1 else f"beam {i}"
            if zone.nearest is None or zone.farthest is None:
                parts.append(f"No eye between {low} and {high} above the ground is in {whose}.")
            else:
                near, far, wide = (length_text(v, units) for v in (zone.nearest, zone.farthest, zone.width))
                parts.append(
                    f"Eyes between {low} and {high} above the ground are in {whose} from {near} to {far} from the lens,"
                    f" over ground up to {wide} wide{', up to the wall' if zone.up_to_wall else ''}: fence it off "
                    "while the show runs."
                )
            if zone.clearance is not None and zone.lens_height is not None and self.walk is not None:
                walk = f"On the walk {length_text(self.walk, units)} from the wall"
                if zone.clearance >= self.eye_heights[1]:
                    edge = length_text(zone.clearance, units)
                    parts.append(f"{walk} the lower edge of {whose} is {edge} up, above all these eyes.")
                else:
                    raised = length_text(_up(zone.lens_height, units), units)
                    parts.append(
                        f"{walk} {whose} is above all these eyes with the lens at {raised} and the picture where it is."
                    )
            if zone.sky_angles is not None:
                parts.append(
                    f"{zone.sky_share:.0%} of the light of {whose} passes the house and rises to the sky, at up to "
                    f"{zone.sky_angles[1]:.0f} degrees."
                )
        if any(zone.sky_angles is not None for zone in self.zones):
            parts.append(SKY)
        return " ".join([*parts, "A child on someone's shoulders is higher; hills and steps are not counted.", CAUTION])

    def __str__(self) -> str:
        return f"{self.sentence()}\n\n{self.table()}"


def keep_out(scene: Scene, *, eye_heights: tuple[float, float] | None = None, walk: float | None = None) -> KeepOuts:
    """Return over which ground people have an eye inside a beam, and what goes to the sky.

    The beam is the pyramid from the lens to the picture on the plane z = 0, whatever of the front stands in it; the
    ground is level. Light that passes beside the house goes on behind that plane: see `kit.spill`.

    Parameters
    ----------
    scene : Scene
        No sweeps.
    eye_heights : (float, float), optional
        Lowest and highest eye above the ground [m]; from small children to tall adults if not given
        (``reference_data/exposure.csv``).
    walk : float, optional
        Where people walk past, along the front: distance from the plane z = 0 [m], above 0.

    Returns
    -------
    KeepOuts

    Raises
    ------
    InputError
        For heights that do not rise, or a picture of which some rays do not go towards the wall.

    Notes
    -----
    Exact: the part of the pyramid between the two heights is convex, and so is its plan, the hull of its corners.
    """
    pairs = _pairs(scene)
    if eye_heights is None:
        lowest = reference.row("exposure", "child", group="eye height").low
        highest = reference.row("exposure", "adult", group="eye height").high
    else:
        lowest, highest = (
            number(f"eye_heights[{i}]", height, minimum=0.0, unit="m")
            for i, height in enumerate(numbers("eye_heights", eye_heights, 2, unit="m"))
        )
    if lowest > highest:
        raise InputError("eye_heights", eye_heights, "(lowest, highest)")
    path = None if walk is None else number("walk", walk, above=0.0, unit="m")
    zones = []
    for i, (projector, placement) in enumerate(pairs, 1):
        check_in_front(scene.facade, placement.position, f"projector {i}: position", "a lens")
        zones.append(_zone(scene, i, projector, placement, (lowest, highest), path))
    return KeepOuts(eye_heights=(lowest, highest), walk=path, zones=tuple(zones))


def _zone(
    scene: Scene,
    which: int,
    projector: Projector,
    placement: Placement,
    heights: tuple[float, float],
    walk: float | None,
) -> KeepOut:
    lens = np.array(placement.position)
    forward, right, up = placement.frame()
    left, right_end, bottom, top = picture_window(projector)
    corners = np.array(
        [forward + s * right + t * up for s, t in ((left, bottom), (right_end, bottom), (right_end, top), (left, top))]
    )
    if not lens[2] > SAME_PLANE or np.any(-corners[:, 2] <= FLATTEST * np.linalg.norm(corners, axis=1)):
        raise InputError(
            f"projector {which}: position, aim, lens_shift",
            (placement.position, placement.aim, projector.lens_shift),
            "a picture all of whose rays go towards the plane of the wall, z = 0",
        )
    landed = lens + corners * (lens[2] / -corners[:, 2])[:, None]
    ground = _plan(lens, landed, *heights)
    here = shapely.Point(lens[0], lens[2])
    clearance = needed = None
    if walk is not None and walk < lens[2]:
        # All corners lie on z = 0, so the section at the walk is the picture shrunk towards the lens.
        part = walk / lens[2]
        foot = float(landed[:, 1].min())
        clearance = foot + (float(lens[1]) - foot) * part
        needed = foot + (heights[1] - foot) / part
    share, angles = _sky(scene, projector, placement)
    empty = ground.is_empty
    plan = shapely.get_coordinates(ground)
    return KeepOut(
        lens=placement.position,
        ground=ground,
        nearest=None if empty else float(ground.distance(here)),
        farthest=None if empty else float(np.hypot(*(plan - (lens[0], lens[2])).T).max()),
        width=0.0 if empty else float(np.ptp(plan[:, 0])),
        up_to_wall=not empty and bool(plan[:, 1].min() < SAME_PLANE),
        clearance=clearance,
        lens_height=needed,
        sky_share=share,
        sky_angles=angles,
    )


def _plan(lens: Array, landed: Array, low: float, high: float) -> Any:
    """Return the plan (x, z) of the pyramid from `lens` to four corners, between two heights."""
    edges = [(lens, corner) for corner in landed]
    edges += [(landed[i - 1], landed[i]) for i in range(len(landed))]
    found = [corner for corner in (lens, *landed) if low <= corner[1] <= high]
    for start, end in edges:
        for level in (low, high):
            if min(start[1], end[1]) < level < max(start[1], end[1]):
                found.append(start + (end - start) * (level - start[1]) / (end[1] - start[1]))
    return shapely.MultiPoint([(point[0], point[2]) for point in found]).convex_hull


def _sky(scene: Scene, projector: Projector, placement: Placement) -> tuple[float, tuple[float, float] | None]:
    """Return the share of the light that misses the front and rises, and between which angles [deg]."""
    forward, right, up = placement.frame()
    left, right_end, bottom, top = picture_window(projector)
    across, above = ((np.arange(many) + 0.5) / many - 0.5 for many in RAYS)
    s = (left + right_end) / 2.0 + (right_end - left) * across
    t = (bottom + top) / 2.0 + (top - bottom) * above
    rays = forward + s[:, None] * right + t[:, None, None] * up
    rays /= np.linalg.norm(rays, axis=-1, keepdims=True)
    rising = (rays[..., 1] > 0.0) & ~hidden(scene.facade, placement.position, rays)
    if not rising.any():
        return 0.0, None
    # Every picture element sends the same light, but for the zones of the lens.
    weight = np.ones(rising.shape)
    if projector.zones is not None:
        weight = zone_gain(projector.zones, across, above[:, None])
    angles = np.degrees(np.arcsin(rays[..., 1][rising]))
    return float(weight[rising].sum() / weight.sum()), (float(angles.min()), float(angles.max()))


def _peak(projector: Projector) -> float:
    """Return the illuminance at the eye in the brightest direction over that on the axis, at one distance."""
    left, right, bottom, top = picture_window(projector)
    # Both ends belong to it: without zones the brightest ray is one of the corners.
    across, above = (np.linspace(-0.5, 0.5, many + 1) for many in RAYS)
    s = (left + right) / 2.0 + (right - left) * across
    t = ((bottom + top) / 2.0 + (top - bottom) * above)[:, None]
    gain = (1.0 + s * s + t * t) ** 1.5
    if projector.zones is not None:
        gain = gain * zone_gain(projector.zones, across, above[:, None])
    return float(gain.max())


# What is asked for


def _pairs(scene: Scene) -> tuple[tuple[Projector, Placement], ...]:
    if not isinstance(scene, Scene):
        raise InputError("scene", type(scene).__name__, "a kit.Scene")
    return scene.projectors


def _lumens(projector: Projector) -> Band:
    """Return the delivered light output, low, nominal, high [lm]."""
    if isinstance(projector.light_output, tuple):
        raise InputError("light_output", projector.light_output, "one light output")
    low, nominal, high = projector.transmission()
    return projector.light_output * low, projector.light_output * nominal, projector.light_output * high


def _up(length: float, units: str) -> float:
    """Return a length rounded up to the tenth that is printed."""
    metre = metres_per(units)
    return math.ceil(10.0 * length / metre - 1e-9) / 10.0 * metre


def _short(value: float) -> str:
    """Return a figure with two significant figures, thousands in groups."""
    return f"{float(f'{value:.2g}'):,g}"
