"""The panel of the fourth notebook: where does the projector stand, and is it one or two?

`place` is the named function behind the sliders: a `PlaceChoice` in, a `Placed` out, no widgets involved.
"""

from __future__ import annotations

import html
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import xarray as xr

from kit import reference
from kit.decision.several import Comparison, compare_setups, stacked
from kit.decision.verdict import Target, Verdict, judge
from kit.errors import InputError
from kit.eye.ambient import Ambient
from kit.eye.light_map import Scene, light_map
from kit.source.placement import Placement
from kit.source.projector import typical_projector
from kit.stage.audience import Audience, Viewer, audience_table, windscreen
from kit.stage.beam_safety import KeepOuts, keep_out
from kit.stage.content import Zones, content_zones
from kit.stage.search import Obstacle, Stand, describe
from kit.units import length_text
from kit.views.panel import (
    CAUTIONS,
    RESOLUTION,
    TABLE_STYLE,
    Panel,
    ambient_slider,
    count,
    menu,
    slider,
    target_menus,
    unit_buttons,
)
from kit.views.plans import PlanBoard
from kit.wall.facade import Facade, Surface

ONE, STACKED, SIDE_BY_SIDE = "one", "two, one on the other", "two, side by side"
# Two machines side by side: how far each stands from the middle, as a share of the picture's width, and how wide the
# pictures overlap.
OVERLAP = 0.12


@dataclass(frozen=True, kw_only=True)
class Garden:
    """What is in front of a house: where a lens may stand, what stands in the light, who watches from where."""

    stands: tuple[Stand, ...]
    obstacles: tuple[Obstacle, ...]
    viewers: tuple[Viewer, ...]
    walk: float

    def grounds(self) -> tuple[tuple[str, Any, tuple[float, float], bool | None], ...]:
        """Return all areas as `kit.views.plans.PlanBoard` draws them."""
        return (
            *((s.name, s.area, s.heights, None) for s in self.stands),
            *((o.name, o.area, o.heights, o.blocks) for o in self.obstacles),
        )


def invented_garden(house: Facade) -> Garden:
    """Return an invented garden and street: a lawn, a post, a young tree, the walk, a parked car with viewers."""
    left, right, *_ = house.bounds
    walk, people = 15.0, 2.0
    return Garden(
        stands=(
            Stand(name="lawn", area=((left, 6.0), (right, 6.0), (right, 14.0), (left, 14.0)), heights=(0.2, 1.0)),
            Stand(name="post", area=((-0.5, 13.0), (0.5, 13.0), (0.5, 14.0), (-0.5, 14.0)), heights=(2.3, 3.5)),
        ),
        obstacles=(
            Obstacle(
                name="tree", area=((right - 2.2, 8.0), (right - 1.2, 8.0), (right - 1.2, 9.0), (right - 2.2, 9.0)),
                heights=(0.0, 3.5),
            ),
            Obstacle(
                name="walk",
                area=((left - 4, walk), (right + 4, walk), (right + 4, walk + 1.5), (left - 4, walk + 1.5)),
                heights=(0.0, people), blocks=False,
            ),
        ),
        viewers=(
            Viewer(name="on the walk", eye=(2.0, 1.6, walk + 0.7)),
            windscreen((-4.0, 1.2, 20.0), name="in a car"),
            Viewer(name="across the street", eye=(4.0, 4.5, 24.0)),
        ),
        walk=walk,
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class PlaceChoice:
    """What the sliders say. Lengths in metres, whatever unit is shown.

    Parameters
    ----------
    setup : str
        One machine, two stacked, or two side by side.
    light_output : float
        Stated, of each machine [lm].
    distance : float
        Lens to the plane of the front wall [m].
    side : float
        Of the lens (of the middle of two), to the right of the middle of the front [m].
    height : float
        Of the lens above the ground line [m].
    throw_ratio : float
        Distance / picture width.
    shift_up : float
        Of the picture, in picture heights; 0.5: its lower edge is level with the lens.
    tilt : float
        Of the machine, upwards [deg].
    wall : str
        Surface of the main wall, a name of ``reference_data/surfaces.csv``.
    ambient : float
        Ambient light on the front [lx].
    district, purpose : str
        Name the target, see `Target.from_reference`.
    units : {"ft", "m"}
    """

    setup: str = ONE
    light_output: float = 8000.0
    distance: float = 12.0396  # 39.5 ft, a step of the slider
    side: float = 0.0
    height: float = 0.3048
    throw_ratio: float = 0.8
    shift_up: float = 0.5
    tilt: float = 0.0
    wall: str = "white fabric"
    ambient: float = 0.861  # low density walkway minimum, reference_data/ambient_levels.csv
    district: str = "dark"
    purpose: str = "basic decision making"
    units: str = "ft"


@dataclass(frozen=True, kw_only=True)
class Placed:
    """A set-up in its place; what takes longer is worked out when first asked."""

    choice: PlaceChoice
    scene: Scene
    target: Target
    light: xr.Dataset
    figures: xr.Dataset
    garden: Garden
    spacing: float

    @cached_property
    def verdict(self) -> Verdict:
        """On the front."""
        return judge(self.light, self.target)

    @cached_property
    def zones(self) -> Zones:
        """What each patch can carry."""
        return content_zones(self.light, self.target, scene=self.scene, viewer=self.garden.viewers[0].eye)

    @cached_property
    def audience(self) -> Audience:
        """What each viewer sees."""
        return audience_table(self.scene, self.garden.viewers, self.target, spacing=self.spacing)

    @cached_property
    def keep_out(self) -> KeepOuts:
        """Where eyes are in the beam."""
        return keep_out(self.scene, walk=self.garden.walk)

    def compared(self, house: Facade) -> Comparison:
        """Return two machines against one of the same light, at this place and without tilt."""
        choice, half = self.choice, 0.5 * self.choice.light_output
        if choice.setup != ONE:
            half = choice.light_output
        both = replace(choice, light_output=half, tilt=0.0)
        setups = {
            f"one of {2 * half:,.0f} lm": replace(both, setup=ONE, light_output=2 * half),
            f"two of {half:,.0f} lm, stacked": replace(both, setup=STACKED),
            # Another lens, so that the two pictures together are as wide as the one.
            f"two of {half:,.0f} lm, side by side": replace(
                both, setup=SIDE_BY_SIDE, throw_ratio=choice.throw_ratio * (2.0 - OVERLAP)
            ),
        }
        scenes = {name: place_scene(house, one, ambient=self.scene.ambient) for name, one in setups.items()}
        return compare_setups(scenes, self.target, spacing=self.spacing)

    def picture_text(self) -> str:
        """Return what the picture is, in words."""
        one, units = self.figures, self.choice.units
        reached = float(one["reached_share"])
        lost = 1.0 - float(self.light["picture_share"].sum()) / len(self.scene.projectors)
        keystone, blocked = float(one["keystone"]), float(one["blocked_share"])
        text = (
            f"The picture reaches {reached:.0%} of the front; {max(0.0, lost):.0%} of the light goes past it. "
            f"{float(one['pixel_share']):.0%} of the picture elements land on the front's rectangle"
        )
        coarsest = float(one["coarsest_element"])
        if math.isfinite(coarsest):
            text += (
                f", each {float(one['finest_element']):.1f} to {coarsest:.1f} mm; from the walk "
                f"{float(one['pixels_per_degree']):.0f} go to a degree (60 look smooth)"
            )
        text += ". "
        if not math.isfinite(keystone):
            text += "Part of the picture never meets the wall. "
        elif keystone >= 0.05:
            text += (
                f"Its corners are off by up to {keystone:.1f}°; the machine's keystone correction has to mend that. "
            )
        else:
            text += "It is square. "
        if blocked >= 0.005:
            text += f"{blocked:.0%} of what it reaches lies in shadow. "
        depth = length_text(float(one["depth_range"]), units)
        return f"{text}It has to be sharp over {depth} of depth."


def place_scene(house: Facade, choice: PlaceChoice, *, ambient: Ambient) -> Scene:
    """Return the scene of `choice`; an unknown set-up or a picture that misses the front: `InputError`."""
    left, right, *_ = house.bounds
    x = 0.5 * (left + right) + choice.side
    machine = typical_projector(
        choice.light_output, choice.throw_ratio, resolution=RESOLUTION, lens_shift=(0.0, choice.shift_up)
    )
    at = _standing(x, choice)
    if choice.setup == ONE:
        pairs: Any = ((machine, at),)
    elif choice.setup == STACKED:
        if choice.tilt:
            raise InputError("tilt", choice.tilt, "0 degrees for stacked machines: lens shift brings them into line")
        pairs = stacked(machine, at, 2)
    elif choice.setup == SIDE_BY_SIDE:
        width = choice.distance / choice.throw_ratio
        half = 0.5 * width * (1.0 - OVERLAP)
        pairs = tuple((machine, _standing(x + s * half, choice)) for s in (-1.0, 1.0))
    else:
        raise InputError("machines", choice.setup, f"{ONE}; {STACKED}; or {SIDE_BY_SIDE}")
    return Scene(
        facade=house,
        projectors=pairs,
        ambient=ambient,
        ground_reflectance=reference.value("surfaces", "grass"),
        blend=choice.setup == SIDE_BY_SIDE,
    )


def _standing(x: float, choice: PlaceChoice) -> Placement:
    rise = choice.distance * math.tan(math.radians(choice.tilt))
    return Placement(position=(x, choice.height, choice.distance), aim=(x, choice.height + rise, 0.0))


def place(
    house: Facade,
    choice: PlaceChoice,
    *,
    wall_patches: tuple[str, ...],
    garden: Garden | None = None,
    spacing: float = 0.15,
) -> Placed:
    """Return what a set-up gives in its place.

    Parameters
    ----------
    house : Facade
    choice : PlaceChoice
    wall_patches : tuple of str
        The patches whose surface is `choice.wall`.
    garden : Garden, optional
        An invented one if not given.
    spacing : float
        Pixel size of the maps [m].

    Raises
    ------
    InputError
        For a picture that misses the front, or a choice that cannot be.
    """
    garden = invented_garden(house) if garden is None else garden
    front = house.cover(Surface.from_reference(choice.wall), patches=wall_patches)
    scene = place_scene(front, choice, ambient=Ambient(vertical_illuminance=choice.ambient))
    projector, placement = scene.projectors[0]
    return Placed(
        choice=choice,
        scene=scene,
        target=Target.from_reference(district=choice.district, purpose=choice.purpose),
        light=light_map(scene, spacing),
        figures=describe(
            front, projector, placement, obstacles=garden.obstacles, audience=garden.viewers[0].eye, points=120
        ),
        garden=garden,
        spacing=spacing,
    )


class PlacePanel(Panel):
    """Where the projector stands: plan, section and elevation, and what comes of it.

    Parameters
    ----------
    house : Facade
    wall_patches : sequence of str
        The patches whose surface the reader may change: the main wall and what matches it.
    start : PlaceChoice, optional
        What the controls show first, and after a reset.
    garden : Garden, optional
        An invented one if not given.
    spacing : float
        Pixel size of the maps [m].
    """

    choice_type = PlaceChoice
    caution = (
        "A stand or post in the garden needs a foundation and a housing that local code and a licensed electrician "
        f"accept; nothing may fall on the walk. These figures are no certificate of safety. {CAUTIONS}"
    )
    split = 8

    _board: PlanBoard | None = None

    def __init__(
        self,
        house: Facade,
        *,
        wall_patches: Sequence[str],
        start: PlaceChoice | None = None,
        garden: Garden | None = None,
        spacing: float = 0.15,
    ) -> None:
        self.garden = invented_garden(house) if garden is None else garden
        super().__init__(house, wall_patches=wall_patches, start=start or PlaceChoice(), spacing=spacing)

    def _controls(self) -> dict[str, Any]:
        return {
            "setup": menu("machines", (ONE, STACKED, SIDE_BY_SIDE)),
            "light_output": count("each (lm)", 500, 20000, 250),
            "distance": self._distance(),
            "side": self._length("side", "to the right", (-20.0, 20.0, 0.5), (-6.0, 6.0, 0.1)),
            "height": self._length("height", "lens height", (0.5, 15.0, 0.5), (0.1, 4.6, 0.1)),
            "throw_ratio": slider("throw ratio", 0.3, 2.5, 0.05, ".2f"),
            "shift_up": slider("lens shift up", -0.5, 0.7, 0.05, ".2f"),
            "tilt": slider("tilt up (°)", -10.0, 25.0, 0.5, ".1f"),
            "wall": menu("main wall", reference.names("surfaces")),
            "ambient": ambient_slider(),
            **target_menus(),
            "units": unit_buttons(),
        }

    def _compute(self, choice: PlaceChoice) -> Placed:
        return place(self.house, choice, wall_patches=self.wall_patches, garden=self.garden, spacing=self.spacing)

    def _render(self, result: Placed) -> None:
        units = result.choice.units
        if self._board is None or self._board.units != units:
            eyes = [(viewer.name, viewer.eye) for viewer in self.garden.viewers]
            self._board = PlanBoard(self.house, units=units, grounds=self.garden.grounds(), eyes=eyes, reach=27.0)
        self.picture.value = self._board.draw(result.scene.projectors)
        verdict = result.verdict
        self.words.value = (
            "<div class='kit-place' style='border-left:6px solid #444; padding:0 12px; line-height:1.35'>"
            f"<p>{html.escape(verdict.sentence)}</p><p>{html.escape(result.picture_text())}</p></div>"
        )
        self.caption.value = (
            "<p style='line-height:1.35'>Plan, elevation and section to one scale each. Square: lens. Dashed: where a "
            "lens may stand. Grey: what stops the light. Dotted: where people walk. Triangles: viewers.</p>"
        )
        self.numbers.value = (
            f"<pre class='kit-zones' {TABLE_STYLE}>{html.escape(result.zones.table())}\n\n"
            f"{html.escape(result.audience.table(units))}</pre>"
            f"<p style='line-height:1.35'>{html.escape(result.keep_out.sentence(units))}</p>"
        )
