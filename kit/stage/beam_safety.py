r"""Eyes and traffic: how much light a beam puts in an eye, where on the ground an eye meets it, what goes to the sky.

An eye at distance :math:`r` that looks into the lens, at angle :math:`\beta` off the axis, gets

.. math:: E = \Phi E_1 / (r^2 \cos^3 \beta)

(`kit.source.beam`), so :math:`\Phi E_1 / r^2` on the axis and more towards the corners of a wide picture.

**This is no safety certificate and no hazard assessment.** It is geometry and illuminance. Whether light harms an eye
is decided by how small and how bright the source looks, for how long and in which colours; that needs the lens's
opening and spectrum, which no data sheet tells, so the luminance of the source is not given here. Image projectors are
put into risk groups by IEC 62471-5, assessed 1 m from the lens: see the words of ``caution``.
"""

import math
from collections.abc import Iterable
from typing import Any

import numpy as np
import shapely

from kit import reference
from kit.arrays import Array, Point
from kit.errors import InputError
from kit.eye.light_map import Scene
from kit.fields import LENGTH, Frozen, Many, Range
from kit.results import Frame, Result, banded, make_frame
from kit.source.beam import Beam
from kit.source.placement import Placement
from kit.source.projector import Levels, Projector
from kit.toml_file import times
from kit.units import edge
from kit.wall.facade import Facade
from kit.wall.occlusion import hidden_directions
from kit.wall.points import check_in_front
from kit.wall.raster import SAME_PLANE
from kit.words import Phrases, capital, join

# The lens is taken to be a point; nearer than this it does not look like one [m].
NEAREST = 0.5
# Rays across and up with which the picture is looked through: a share is known to about a hundredth.
RAYS = (240, 150)
# A beam that leaves this flat goes on for so long that it meets no wall in any useful place.
FLATTEST = 1e-6

DISTANCES = Many(label="distances from the lens", of=LENGTH.but(low=NEAREST), least=1)
EYE_HEIGHTS = Range(label="eye heights", of=LENGTH.but(low=0.0), optional=True)
WALK = LENGTH.but(label="walk", low=0.01, high=1e9, optional=True, meaning="from the wall's plane to who walks past")

say = Phrases(__file__)
# Light past the front that is worth a warning beside the verdict, as a share of all: our choice.
MUCH = 0.1


def stray_warning(past: float, sky: float = 0.0) -> str:
    """Return what a result warns of where much of the light goes past the front, `sky` of it upwards; else nothing."""
    if past < MUCH and sky < MUCH:
        return ""
    return say("stray", past=max(past, sky), up=say("up", sky=sky) if sky >= 0.005 else "")


class BeamTable(Result):
    """Light at the eye in a beam against distance [m], with an office to compare with [lx]."""

    distances: tuple[float, ...]
    intensity: Levels  # on the axis, which lens shift may put beyond the picture [cd]
    peak: float  # light in the brightest direction over that on the axis, at one distance
    picture: tuple[float, float]  # width and height 1 m from the lens, square to the axis [m]
    office: float

    def on_axis(self, distance: float) -> Levels:
        """Return the light on the axis at a distance, low, nominal, high [lx]."""
        return times(self.intensity, distance**-2)

    def brightest(self, distance: float) -> Levels:
        """Return the light in the brightest direction of the picture at a distance, low, nominal, high [lx]."""
        return times(self.on_axis(distance), self.peak)

    def reach(self, illuminance: float) -> float:
        """Return how far the brightest direction has so much light, nominal [m]; a figure of speech below `NEAREST`."""
        return math.sqrt(self.brightest(1.0)[1] / illuminance)

    def frame(self, units: str = "m") -> Frame:
        """Return the light at each distance; lengths in ``"m"`` or ``"ft"``."""
        lengths = ("from lens [m]", "picture width [m]", "picture height [m]")
        rows = [
            dict(zip(lengths, (away * size for size in (1.0, *self.picture)), strict=True))
            | {"on the axis [lx]": self.on_axis(away)[1]}
            | banded("brightest in the picture [lx]", self.brightest(away))
            | {"times an office desk": self.brightest(away)[1] / self.office}
            for away in self.distances
        ]
        return make_frame(rows, dict.fromkeys(lengths, ".1f"), units=units)

    def sentence(self, units: str = "m") -> str:
        """Return the findings in words; lengths in ``"m"`` or ``"ft"``."""
        ends = dict.fromkeys((min(self.distances), max(self.distances)))
        found = join([say("lux", units, lux=self.brightest(away)[1], away=away) for away in ends])
        told = say("table", units, found=found, office=self.office, reach=self.reach(self.office))
        return f"{told} {say('caution')}"


def beam_table(projector: Projector, distances: Iterable[float]) -> BeamTable:
    """Return the light at an eye in the beam, against distance.

    Parameters
    ----------
    projector : Projector
        Its zoom set. The band is that of its chain of losses; a machine that delivers what is stated, with a clean
        lens and without a housing, is at or above the high end.
    distances : sequence of float
        From the lens [m], `NEAREST` or more.

    Raises
    ------
    InputError
        For a zoom that is not set, no distance, or one that is too near.
    """
    given = DISTANCES.check("distances", distances)
    beam = Beam.of(projector, Placement(position=(0.0, 0.0, 1.0), aim=(0.0, 0.0, 0.0)))
    # Both ends belong to the picture: without zones the brightest ray is one of the corners.
    across, up = np.meshgrid(*(np.linspace(-0.5, 0.5, many + 1) for many in RAYS))
    return BeamTable(
        distances=given,
        intensity=times(projector.delivered(), float(beam.unit_illuminance)),
        # A ray whose part along the axis is 1 is 1 / cos(beta) long.
        peak=float((np.linalg.norm(beam.rays(across, up), axis=-1) ** 3 * beam.gain(across, up)).max()),
        picture=(float(beam.size[0]), float(beam.size[1])),
        office=reference.value("exposure", "office"),
    )


class KeepOut(Frozen):
    """Where people have an eye inside the beam of one projector; lengths in m, None where there is no such place."""

    lens: Point
    ground: Any  # shapely geometry in plan, x and z: above it an eye at one of the heights asked for is in the beam
    nearest: float | None  # of that ground from the lens
    farthest: float | None
    width: float  # of that ground along the front
    up_to_wall: bool  # whether it reaches up to the wall: no one walks along the wall outside the beam
    clearance: float | None  # of the beam's lower edge over the walk, below 0 where it has met the ground before
    lens_height: float | None  # that keeps that edge above the eyes there, with the picture where it is
    sky_share: float  # of the light on full white that misses the front and rises, to a hundredth
    sky_angles: tuple[float, float] | None  # least and greatest above the horizon [deg]


class KeepOuts(Result):
    """Where people have an eye between two heights [m] inside a beam, for each projector; `walk` is that asked for."""

    eye_heights: tuple[float, float]
    walk: float | None
    areas: tuple[KeepOut, ...]

    def frame(self, units: str = "m") -> Frame:
        """Return the figures, a row for each projector; lengths in ``"m"`` or ``"ft"``."""
        formats = {
            "lens height [m]": ".1f", "eyes in beam from [m]": ".1f", "eyes in beam to [m]": ".1f", "width [m]": ".1f",
            "edge over walk [m]": ".1f", "lens height needed [m]": ".1f", "to the sky": ".0%",
            "lowest there [°]": ".0f", "highest there [°]": ".0f",
        }  # fmt: skip
        figures = [
            (area.lens[1], area.nearest, area.farthest, area.width, area.clearance, area.lens_height, area.sky_share)
            + (area.sky_angles or (math.nan, math.nan))
            for area in self.areas
        ]
        columns = dict(zip(formats, np.array(figures, float).T, strict=True))
        names = [f"projector {i}" for i in range(1, len(figures) + 1)]
        return make_frame({"beam": names, **columns}, formats, "beam", units)

    def sentence(self, units: str = "m") -> str:
        """Return the findings in words; lengths in ``"m"`` or ``"ft"``."""
        tenth = edge("m", units)[1] / 10.0
        parts = []
        for i, area in enumerate(self.areas, 1):
            told: dict[str, Any] = {"eyes": self.eye_heights, "area": area, "walk": self.walk}
            told["beam"] = "the beam" if len(self.areas) == 1 else f"beam {i}"
            told["wall"] = say("up to the wall") if area.up_to_wall else ""
            parts.append(say("clear" if area.nearest is None else "fence", units, **told))
            if area.clearance is not None and area.lens_height is not None:
                # Told no lower than it has to be.
                told["raised"] = tenth * math.ceil(area.lens_height / tenth - 1e-9)
                parts.append(say("above" if area.clearance >= self.eye_heights[1] else "raise", units, **told))
            if area.sky_angles is not None:
                parts.append(capital(say("sky", **told)))
        if any(area.sky_angles is not None for area in self.areas):
            parts.append(say("pilots"))
        return " ".join([*parts, say("higher"), say("caution")])


def keep_out(scene: Scene, *, eye_heights: tuple[float, float] | None = None, walk: float | None = None) -> KeepOuts:
    """Return over which ground people have an eye inside a beam, and what goes to the sky.

    The beam is the pyramid from the lens to the picture on the plane z = 0, whatever of the front stands in it; the
    ground is level. Light that passes beside the house goes on behind that plane: see `kit.obtrusive_light`.

    Parameters
    ----------
    eye_heights : (float, float), optional
        Lowest and highest eye above the ground [m]; from small children to tall adults if not given
        (``reference_data/exposure.csv``).
    walk : float, optional
        Where people walk past, along the front: distance from the plane z = 0 [m], above 0.

    Raises
    ------
    InputError
        For heights that do not rise, or a picture of which some rays do not go towards the wall.

    Notes
    -----
    Exact: the part of the pyramid between the two heights is convex, and so is its plan, the hull of its corners.
    """
    child, adult = (reference.row("exposure", name, group="eye height") for name in ("child", "adult"))
    heights = EYE_HEIGHTS.check("eye_heights", eye_heights) or (child.low, adult.high)
    path = WALK.check("walk", walk)
    areas = []
    for i, (projector, placement) in enumerate(scene.projectors, 1):
        check_in_front(scene.facade, placement.position, f"projector {i}: position", "a lens")
        beam = Beam.of(projector, placement)
        corners = beam.corners()
        if np.any(-corners[:, 2] <= FLATTEST * np.linalg.norm(corners, axis=1)) or not beam.position[2] > SAME_PLANE:
            given = placement.position, placement.aim, projector.lens_shift
            right = "a picture all of whose rays go towards the plane of the wall, z = 0"
            raise InputError(f"projector {i}: position, aim, lens_shift", given, right)
        areas.append(_area(scene.facade, beam, heights, path))
    return KeepOuts(eye_heights=heights, walk=path, areas=tuple(areas))


def _area(facade: Facade, beam: Beam, heights: tuple[float, float], walk: float | None) -> KeepOut:
    x, y, z = beam.position.tolist()
    landed = beam.land(beam.corners(), (0.0, 0.0, 1.0), 0.0)
    ground = _plan(beam.position, landed, *heights)
    # All corners lie on z = 0, so the section at the walk is the picture shrunk towards the lens.
    foot, part = float(landed[:, 1].min()), walk / z if walk is not None and walk < z else None
    share, angles = _sky(facade, beam)
    empty = ground.is_empty
    plan = shapely.get_coordinates(ground)
    return KeepOut(
        lens=(x, y, z), ground=ground, nearest=None if empty else float(ground.distance(shapely.Point(x, z))),
        farthest=None if empty else float(np.hypot(*(plan - (x, z)).T).max()),
        width=0.0 if empty else float(np.ptp(plan[:, 0])), up_to_wall=not empty and bool(plan[:, 1].min() < SAME_PLANE),
        clearance=None if part is None else foot + (y - foot) * part,
        lens_height=None if part is None else foot + (heights[1] - foot) / part, sky_share=share, sky_angles=angles,
    )  # fmt: skip


def _plan(lens: Array, landed: Array, low: float, high: float) -> Any:
    """Return the plan (x, z) of the pyramid from `lens` to four corners, between two heights."""
    found = [corner for corner in (lens, *landed) if low <= corner[1] <= high]
    for start, end in [*((lens, corner) for corner in landed), *zip(landed, np.roll(landed, 1, axis=0), strict=True)]:
        for level in (low, high):
            if min(start[1], end[1]) < level < max(start[1], end[1]):
                found.append(start + (end - start) * (level - start[1]) / (end[1] - start[1]))
    return shapely.MultiPoint([(point[0], point[2]) for point in found]).convex_hull


def _sky(facade: Facade, beam: Beam) -> tuple[float, tuple[float, float] | None]:
    """Return the share of the light that misses the front and rises, and between which angles [deg]."""
    across, up = np.meshgrid(*((np.arange(many) + 0.5) / many - 0.5 for many in RAYS))
    rays = beam.rays(across, up)
    rays /= np.linalg.norm(rays, axis=-1, keepdims=True)
    rising = (rays[..., 1] > 0.0) & ~hidden_directions(facade, beam.position, rays)
    if not rising.any():
        return 0.0, None
    # Every picture element sends the same light, but for the zones of the lens.
    weight = np.broadcast_to(beam.gain(across, up), rising.shape)
    angles = np.degrees(np.arcsin(rays[..., 1][rising]))
    return float(weight[rising].sum() / weight.sum()), (float(angles.min()), float(angles.max()))
