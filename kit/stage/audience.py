"""The audience: what each viewer sees, from the pavement, a car or a window upstairs.

The wall is a diffuser, so its luminance is the same from everywhere; what differs from place to place is the veil, how
fine the picture elements look, the angle of view, and a pane in between. A clean pane lowers the luminance and leaves
the contrast as it is. **Dirt, scratches and rain on it add a veil that is not counted here**, nor are reflections of
what is lit on the viewer's own side, what stands in the way, and parts that the front's own depth hides from aside.
"""

import math
from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from kit import reference
from kit.arrays import Point
from kit.decision.chance import judged_points
from kit.decision.verdict import BANDED, Part, Target, judged_front
from kit.errors import InputError
from kit.eye.light_map import Scene, light_map
from kit.fields import AGE, NAME, PIGMENT, POINT, Declared, Frozen, Is, Many, Number, declared
from kit.light.cast import cast_light
from kit.results import Frame, Result, make_frame
from kit.source.beam import Landing
from kit.wall.points import check_in_front, middle
from kit.words import Phrases

TRANSMITTANCE = Number(label="transmittance", above=0.0, high=1.0, default=1.0, meaning="of a pane between; 1: no pane")
say = Phrases(__file__)


class Viewer(Declared):
    """Someone who looks at the front, from one point of it to the other."""

    thing = "viewer"
    name: str = declared(NAME)
    eye: Point = declared(POINT)
    transmittance: float = declared(TRANSMITTANCE)
    age: float | None = declared(AGE, default=None)
    pigment: float = declared(PIGMENT)


VIEWERS = Many(label="viewers", of=Is(kind=Viewer), least=1, unique="name")


def windscreen(eye: Point, *, name: str = "in a car", age: float | None = None) -> Viewer:
    """Return a viewer behind a car's windscreen that passes as much as it has to (FMVSS 205); raked it passes less."""
    return Viewer(name=name, eye=eye, age=age, transmittance=reference.value("exposure", "windscreen"))


class View(Frozen):
    """What one viewer sees of the front as a whole: luminance behind the pane, and the mean veil in that eye."""

    viewer: Viewer
    distance: float  # to the middle of the front [m]
    angle: float  # of that line of sight off the front's normal [deg]
    veiling_luminance: float
    front: Part
    pixels_per_degree: float  # of the coarsest element that is judged, by its longest extent as seen from there
    wanted_pixels_per_degree: float  # with which an eye of normal acuity cannot tell the elements apart

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


class Audience(Result):
    """What each viewer sees."""

    target: Target
    views: tuple[View, ...]

    def frame(self, units: str = "m") -> Frame:
        """Return the figures, a row for each viewer; lengths in ``"m"`` or ``"ft"``."""
        formats = {"distance [m]": ".1f", "off axis [°]": ".0f", "pane": ".2f", "veil [cd/m²]": ".3f"}
        rows = [
            {"viewer": view.viewer.name, "distance [m]": view.distance, "off axis [°]": view.angle}
            | {"pane": view.viewer.transmittance, "veil [cd/m²]": view.veiling_luminance}
            | {name: value for name, value in view.front.row().items() if name.endswith(BANDED)}
            | {"pixels per degree": view.pixels_per_degree, "front": view.front.status}
            for view in self.views
        ]
        return make_frame(rows, formats | {"pixels per degree": ".0f"}, "viewer", units)

    def sentence(self, units: str = "m") -> str:
        """Return what each viewer sees in words; lengths in ``"m"`` or ``"ft"``."""
        parts = [say("view", units, view=view, dots=say("smooth" if view.smooth else "coarse")) for view in self.views]
        panes = any(view.viewer.transmittance < 1.0 for view in self.views)
        return " ".join([*parts, say("panes")] if panes else parts)


def audience_table(
    scene: Scene, viewers: Iterable[Viewer], target: Target | None = None, *, spacing: float = 0.1
) -> Audience:
    """Return what each viewer sees of a scene.

    Parameters
    ----------
    scene : Scene
        Eye, age and pigment of its ambient light are replaced by the viewer's; glare that is known only by its light at
        an eye (`kit.Glare`) cannot be moved and is the same for all.
    viewers : sequence of Viewer
        At least one, each with a name of its own.
    target, spacing
        As for `kit.compare_setups`; the target is not lowered behind a pane: all around is seen through it too.

    Raises
    ------
    InputError
        For an eye behind the wall or inside the front, a picture that shows nothing of what is judged, and for a scene
        that `light_map` or `judge` refuses.
    """
    people: tuple[Viewer, ...] = VIEWERS.check("viewers", viewers)
    wanted = target or Target()
    facade = scene.facade
    for viewer in people:
        check_in_front(facade, viewer.eye, f"viewer {viewer.name!r}: eye", "an eye")
    cast = cast_light(facade, scene.projectors, facade.bounds, spacing, scene.obstacles)
    judged = np.append([patch.judged for patch in facade.patches], False)[cast.raster.patch]  # the last for index -1
    landings = [landing for points, landing in cast.landings(judged) if points.patch.size]
    if not landings:
        raise InputError("scene: picture", 0.0, "a picture that reaches some of the front that is judged")
    return Audience(target=wanted, views=tuple(_view(scene, viewer, wanted, spacing, landings) for viewer in people))


def _view(scene: Scene, viewer: Viewer, target: Target, spacing: float, landings: list[Landing]) -> View:
    around = replace(scene.ambient, eye=viewer.eye, age=viewer.age, pigment=viewer.pigment)
    light = light_map(replace(scene, ambient=around), spacing)
    # The pane takes its share of all that makes the contrast, which stays.
    names = [
        "white_luminance",
        "black_luminance",
        "delivered_light",
        "bounce",
        "ambient_illuminance",
        "veiling_luminance",
    ]
    behind = light.assign({name: light[name] * viewer.transmittance for name in names})
    aim, veil = middle(scene.facade), behind["veiling_luminance"].sum("source").values
    distance = math.dist(viewer.eye, aim)
    return View(
        viewer=viewer, distance=distance,
        angle=math.degrees(math.acos(min(1.0, max(-1.0, (viewer.eye[2] - aim[2]) / distance)))),
        veiling_luminance=float(veil.ravel()[judged_points(behind).seen].mean()), front=judged_front(behind, target),
        pixels_per_degree=math.radians(1.0) / max(float(landing.element(viewer.eye)[0].max()) for landing in landings),
        wanted_pixels_per_degree=60.0 / reference.value("eye", "normal acuity"),
    )  # fmt: skip
