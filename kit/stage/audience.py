"""The audience: what each viewer sees, from the pavement, a car or a window upstairs.

The wall is a diffuser, so its luminance is the same from everywhere; what differs from place to place is the veil that
lamps spread in the eye, how fine the picture elements look, the angle of view, and a pane in between.

A clean pane takes the same share of everything that passes it, the front, its black and the lamps that make the veil:
it lowers the luminance and leaves the contrast as it is. **Dirt, scratches and rain on it scatter light into the eye
and add a veil that is not counted here**, nor are reflections of what is lit on the viewer's own side.

Not counted either: trees, cars and heads in the way, and parts of the front that its own depth hides from a place
beside it; the map is that of the front in elevation.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kit import reference
from kit.decision.several import picture_elements
from kit.decision.verdict import Part, Status, Target, checked_target, judge
from kit.errors import InputError, number, numbers, text
from kit.eye.glare import Point, line_of_sight, middle
from kit.eye.light_map import Scene, light_map
from kit.units import check_lengths, length_text
from kit.wall.points import check_in_front, wall_points

Array = NDArray[np.float64]

PANES = "A clean pane dims the picture and keeps its contrast; dirt and rain on it add a veil that is not counted."


@dataclass(frozen=True, kw_only=True)
class Viewer:
    """Someone who looks at the middle of the front.

    Parameters
    ----------
    name : str
    eye : (float, float, float)
        World axes [m], see `kit.facade`.
    transmittance : float
        Of the pane in between, above 0 and up to 1: no pane.
    age : float, optional
        0 to 120 [years]; the veil grows with it. Not given: a young eye.
    """

    name: str
    eye: Point
    transmittance: float = 1.0
    age: float | None = None

    def __post_init__(self) -> None:
        where = f"viewer {text('viewer name', self.name)!r}"
        fix = object.__setattr__
        fix(self, "eye", numbers(f"{where}: eye", self.eye, 3, unit="m"))
        fix(self, "transmittance", number(f"{where}: transmittance", self.transmittance, above=0.0, maximum=1.0))
        if self.age is not None:
            fix(self, "age", number(f"{where}: age", self.age, minimum=0.0, maximum=120.0, unit="years"))


def windscreen(eye: Point, *, name: str = "in a car", age: float | None = None) -> Viewer:
    """Return a viewer behind a car's windscreen that passes just as much light as it has to.

    The transmittance, 0.70, is that of FMVSS 205, from memory: ``reference_data/exposure.csv``. A windscreen stands
    raked and then passes less.
    """
    return Viewer(name=name, eye=eye, age=age, transmittance=reference.value("exposure", "windscreen"))


def upstairs_neighbour(eye: Point, *, name: str = "upstairs neighbour", age: float | None = None) -> Viewer:
    """Return a viewer behind a clean double window: ``reference_data/exposure.csv``, weak."""
    return Viewer(name=name, eye=eye, age=age, transmittance=reference.value("exposure", "double window"))


@dataclass(frozen=True, kw_only=True)
class View:
    """What one viewer sees.

    Attributes
    ----------
    viewer : Viewer
    distance : float
        From the eye to the middle of the front [m].
    angle : float
        Of the line of sight off the front's normal [deg].
    veil_luminance : float
        In the eye, behind the pane [cd/m2].
    front : Part
        The verdict on the front as a whole, with luminance behind the pane and the veil from this place.
    pixels_per_degree : float
        Of the coarsest picture element, seen square on: a slanted view makes it look narrower, never wider.
    wanted_pixels_per_degree : float
        With which the elements cannot be told apart by an eye of normal acuity.
    """

    viewer: Viewer
    distance: float
    angle: float
    veil_luminance: float
    front: Part
    pixels_per_degree: float
    wanted_pixels_per_degree: float

    @property
    def status(self) -> Status:
        """Verdict on the front as a whole."""
        return self.front.status

    @property
    def white_luminance(self) -> float:
        """Median of projected white on the lit part, at the eye [cd/m2]; 0 where nothing is lit."""
        return 0.0 if self.front.white_luminance is None else self.front.white_luminance.median

    @property
    def contrast(self) -> float:
        """Median on the lit part, at the eye; 1 where nothing is lit."""
        return 1.0 if self.front.contrast is None else self.front.contrast.median

    @property
    def smooth(self) -> bool:
        """Whether even the coarsest picture elements are too fine to be told apart."""
        return self.pixels_per_degree >= self.wanted_pixels_per_degree


@dataclass(frozen=True, kw_only=True)
class Audience:
    """What each viewer sees. ``print(audience)`` shows sentence and table, with lengths in metres."""

    target: Target
    views: tuple[View, ...]

    def view(self, name: str) -> View:
        """Return what the viewer called `name` sees, or raise `InputError` with the names there are."""
        for view in self.views:
            if view.viewer.name == name:
                return view
        raise InputError("viewer", name, f"one of {', '.join(v.viewer.name for v in self.views)}")

    def table(self, units: str = "m") -> str:
        """Return the figures as a text table, one line for each viewer; lengths in ``"m"`` or ``"ft"``."""
        check_lengths(units)
        wide = max(24, *(len(view.viewer.name) + 2 for view in self.views))
        lines = [
            f"{'viewer':{wide}}{'distance':>10}{'off axis':>10}{'pane':>6}{'white cd/m2':>20}{'veil cd/m2':>12}"
            f"{'contrast':>20}{'pixels/deg':>12}  front"
        ]
        for view in self.views:
            lines.append(
                f"{view.viewer.name:{wide}}{length_text(view.distance, units):>10}{view.angle:>6.0f} deg"
                f"{view.viewer.transmittance:>6.2f}{view.front.band('white_luminance'):>20}"
                f"{view.veil_luminance:>12.3f}{view.front.band('contrast'):>20}{view.pixels_per_degree:>12.0f}"
                f"  {view.status}"
            )
        return "\n".join(lines)

    def sentence(self, units: str = "m") -> str:
        """Return what each viewer sees in words; lengths in ``"m"`` or ``"ft"``."""
        check_lengths(units)
        parts = []
        for view in self.views:
            name = view.viewer.name[:1].upper() + view.viewer.name[1:]
            fine = "no picture elements are seen" if view.smooth else "picture elements can be seen"
            parts.append(
                f"{name}, {length_text(view.distance, units, 0)} away: {view.status}, white "
                f"{view.white_luminance:.2g} cd/m2, contrast {view.contrast:.1f}:1, {fine} "
                f"({view.pixels_per_degree:.0f} to a degree; {view.wanted_pixels_per_degree:.0f} look smooth)."
            )
        if any(view.viewer.transmittance < 1.0 for view in self.views):
            parts.append(PANES)
        return " ".join(parts)

    def __str__(self) -> str:
        return f"{self.sentence()}\n\n{self.table()}"


def audience_table(
    scene: Scene, viewers: Iterable[Viewer], target: Target | None = None, *, spacing: float = 0.1
) -> Audience:
    """Return what each viewer sees of a scene.

    Parameters
    ----------
    scene : Scene
        Without sweeps. Eye and age of its ambient light are replaced by the viewer's; glare that is known only by its
        light at an eye (`kit.Glare`) cannot be moved and is the same for all.
    viewers : sequence of Viewer
        At least one, each with a name of its own.
    target : Target, optional
        The default target if not given. It is not lowered behind a pane, though what is around the front is seen
        through the same pane.
    spacing : float
        Pixel size of the map [m].

    Returns
    -------
    Audience

    Raises
    ------
    InputError
        For an eye behind the wall or inside the front, and for a scene that `light_map` or `judge` refuses.

    Notes
    -----
    An eye of normal acuity tells details of 1 arcmin apart, so 60 picture elements to a degree look smooth, from the
    same practice of the letter chart (``reference_data/eye.csv``); good young eyes see finer ones.
    """
    if not isinstance(scene, Scene):
        raise InputError("scene", type(scene).__name__, "a kit.Scene")
    if isinstance(viewers, str | bytes) or not isinstance(viewers, Iterable):
        raise InputError("viewers", viewers, "a list of kit.stage.audience.Viewer values")
    people = tuple(viewers)
    names = [viewer.name if isinstance(viewer, Viewer) else None for viewer in people]
    for viewer, name in zip(people, names, strict=True):
        if name is None:
            raise InputError("viewers", viewer, "kit.stage.audience.Viewer values")
        if names.count(name) > 1:
            raise InputError("viewers", name, "a name that no other viewer has")
    if not people:
        raise InputError("viewers", people, "at least one kit.stage.audience.Viewer")
    wanted = checked_target(target)
    for viewer in people:
        check_in_front(scene.facade, viewer.eye, f"viewer {viewer.name!r}: eye", "an eye")
    where, sizes = _elements(scene, spacing)
    return Audience(
        target=wanted, views=tuple(_view(scene, viewer, wanted, spacing, where, sizes) for viewer in people)
    )


def _view(scene: Scene, viewer: Viewer, target: Target, spacing: float, where: Array, sizes: Array) -> View:
    around = replace(scene.ambient, eye=viewer.eye, age=viewer.age)
    light = light_map(replace(scene, ambient=around), spacing)
    passed = viewer.transmittance
    # The pane takes its share of all that makes the contrast, which stays.
    behind = light.assign(
        {
            name: light[name] * passed
            for name in ("white_luminance", "black_luminance", "ambient_illuminance", "veil_luminance")
        }
    )
    eye, sight = line_of_sight(viewer.eye, middle(scene.facade))
    away = np.linalg.norm(where - eye, axis=1)
    # The angle that a square as large as the element covers.
    coarsest = float((2.0 * np.arctan(0.5 * sizes / away)).max())
    return View(
        viewer=viewer,
        distance=math.dist(viewer.eye, middle(scene.facade)),
        angle=math.degrees(math.acos(min(1.0, max(-1.0, -float(sight[2]))))),
        veil_luminance=float(behind["veil_luminance"]),
        front=judge(behind, target).front,
        pixels_per_degree=1.0 / math.degrees(coarsest),
        wanted_pixels_per_degree=60.0 / reference.value("eye", "normal acuity"),
    )


def _elements(scene: Scene, spacing: float) -> tuple[Array, Array]:
    """Return lit points that are judged, shape (n, 3) [m], and the side of the largest picture element at each [m]."""
    _, cast, largest = picture_elements(scene, spacing)
    rows, columns = np.nonzero(largest)
    if not rows.size:
        raise InputError("scene: picture", 0.0, "a picture that reaches some of the front that is judged")
    points = wall_points(scene.facade, cast.patch[rows, columns], cast.grid.x[columns], cast.grid.y[rows])
    return points, largest[rows, columns]
