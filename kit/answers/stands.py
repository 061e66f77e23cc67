"""Where does the projector stand, and is it one or two?

`arrange` takes a `StandChoice` and returns an `Arrangement`: no widgets, no plots.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import xarray as xr

from kit import fields
from kit.answers import scenes
from kit.decision.several import Comparison, compare_setups, stacked
from kit.decision.verdict import Target, Verdict, judge
from kit.errors import InputError
from kit.eye.light_map import Scene, light_map
from kit.light.ambient import Ambient
from kit.results import Result
from kit.source.placement import Placement
from kit.source.projector import Projector, typical_projector
from kit.stage.audience import Audience, Viewer, audience_table, windscreen
from kit.stage.beam_safety import KeepOuts, keep_out
from kit.stage.content import ContentParts, content_parts
from kit.stage.places import describe
from kit.stage.search import Stand
from kit.units import edge, length_text
from kit.wall.facade import Facade
from kit.wall.occlusion import Obstacle
from kit.words import capital, percent, short

if TYPE_CHECKING:
    import pandas as pd

ONE, STACKED, SIDE_BY_SIDE = "one", "two, one on the other", "two, side by side"
# How wide two pictures side by side overlap, as a share of their width.
OVERLAP = 0.12
SETUP = fields.OneOf(label="machines", options=(ONE, STACKED, SIDE_BY_SIDE), default=ONE)
TILT = fields.ANGLE.but(
    label="tilt up", low=-89.0, high=89.0, default=0.0, steps=(-10.0, 25.0, 0.5), meaning="of the machine, upwards"
)


@dataclass(frozen=True, kw_only=True)
class Garden(fields.Declared):
    """What is in front of a house: where a lens may stand, what stands in the light, who watches from where."""

    thing = "garden"
    stands: tuple[Stand, ...] = fields.declared(fields.Many(of=fields.Is(kind=Stand)))
    obstacles: tuple[Obstacle, ...] = fields.declared(fields.Many(of=fields.Is(kind=Obstacle)))
    viewers: tuple[Viewer, ...] = fields.declared(fields.Many(of=fields.Is(kind=Viewer), least=1))
    walk: float = fields.declared(fields.LENGTH)

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
class StandChoice(fields.Declared):
    """How many machines, where they stand, how they point, and what the wall is."""

    setup: str = fields.declared(SETUP)
    light_output: float = fields.declared(scenes.MACHINE, label="each", default=8000.0)
    distance: float = fields.declared(fields.DISTANCE)
    side: float = fields.declared(scenes.ASIDE)
    height: float = fields.declared(fields.LENS_HEIGHT)
    throw_ratio: float = fields.declared(fields.THROW_RATIO, default=0.8)
    shift_up: float = fields.declared(scenes.SHIFT_UP)
    tilt: float = fields.declared(TILT)
    wall: str | None = fields.declared(scenes.WALL, default="white fabric")
    ambient: float = fields.declared(fields.AMBIENT)
    district: str = fields.declared(scenes.DISTRICT)
    purpose: str = fields.declared(scenes.PURPOSE)
    units: str = fields.declared(fields.UNITS, default="ft")

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.setup == STACKED and self.tilt:
            raise InputError("tilt", self.tilt, "0 degrees for stacked machines: lens shift brings them into line")


@dataclass(frozen=True, kw_only=True)
class Arrangement(Result):
    """A set-up in its place; what takes longer is worked out when first asked.

    `light` is from `light_map`; `spacing` is that of the maps [m].
    """

    choice: StandChoice
    scene: Scene
    target: Target
    light: xr.Dataset
    garden: Garden
    spacing: float

    @cached_property
    def figures(self) -> xr.Dataset:
        """What the first machine gives, from `describe`."""
        garden = self.garden
        return describe(
            self.scene.facade,
            *self.scene.projectors[0],
            obstacles=garden.obstacles,
            audience=garden.viewers[0].eye,
            points=120,
        )

    @cached_property
    def verdict(self) -> Verdict:
        """On the front."""
        return judge(self.light, self.target)

    @cached_property
    def parts(self) -> ContentParts:
        """What each patch can carry."""
        return content_parts(self.light, self.target, scene=self.scene, viewer=self.garden.viewers[0].eye)

    @cached_property
    def audience(self) -> Audience:
        """What each viewer sees."""
        return audience_table(self.scene, self.garden.viewers, self.target, spacing=self.spacing)

    @cached_property
    def keep_out(self) -> KeepOuts:
        """Where eyes are in the beam."""
        return keep_out(self.scene, walk=self.garden.walk)

    @cached_property
    def compared(self) -> Comparison:
        """Two machines against one of the same light, at this place and without tilt."""
        choice = self.choice
        half = choice.light_output * (0.5 if choice.setup == ONE else 1.0)
        both = replace(choice, light_output=half, tilt=0.0)
        setups = {
            f"one of {2 * half:,.0f} lm": replace(both, setup=ONE, light_output=2 * half),
            f"two of {half:,.0f} lm, stacked": replace(both, setup=STACKED),
            # Another lens, so that the two pictures together are as wide as the one.
            f"two of {half:,.0f} lm, side by side": replace(
                both, setup=SIDE_BY_SIDE, throw_ratio=choice.throw_ratio * (2.0 - OVERLAP)
            ),
        }
        scenes = {name: stand_scene(self.scene.facade, one, self.scene.ambient) for name, one in setups.items()}
        return compare_setups(scenes, self.target, spacing=self.spacing)

    def frame(self, units: str = "m") -> pd.DataFrame:
        """Return what each patch can carry."""
        return self.parts.frame(units)

    def sentence(self, units: str = "m") -> str:
        """Return whether it is enough, and what the picture is."""
        return f"{self.verdict.sentence(units)} {self.picture_sentence(units)}"

    def picture_sentence(self, units: str = "m") -> str:
        """Return what the picture is, in words."""
        names = ("pixel_share", "finest_element", "coarsest_element", "pixels_per_degree", "keystone", "blocked_share")
        pixels, finest, coarsest, fine, keystone, blocked = (float(self.figures[name]) for name in names)
        small, size = edge("mm", units)
        lost = max(0.0, 1.0 - float(self.light["picture_share"].sum()) / len(self.scene.projectors))
        text = (
            f"The picture reaches {percent(self.verdict.front.lit_share)} of the front; {percent(lost)} of the light "
            f"goes past it. {capital(percent(pixels))} of the picture elements land on the front's rectangle"
        )
        if math.isfinite(coarsest):
            text += (
                f", each {short(finest / size)} to {short(coarsest / size)} {small}; from the walk {fine:.0f} go to a "
                "degree (60 look smooth)"
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
            text += f"{capital(percent(blocked))} of what it reaches lies in shadow. "
        return f"{text}It has to be sharp over {length_text(float(self.figures['depth_range']), units)} of depth."


def stand_scene(house: Facade, choice: StandChoice, ambient: Ambient) -> Scene:
    """Return the scene of `choice`; a lens that is not in front of the wall: `InputError`."""
    left, right, *_ = house.bounds
    x = 0.5 * (left + right) + choice.side
    machine = typical_projector(
        choice.light_output, choice.throw_ratio, resolution=scenes.RESOLUTION, lens_shift=(0.0, choice.shift_up)
    )
    pairs: tuple[tuple[Projector, Placement], ...] = ((machine, _standing(x, choice)),)
    if choice.setup == STACKED:
        pairs = stacked(machine, _standing(x, choice), 2)
    elif choice.setup == SIDE_BY_SIDE:
        half = 0.5 * (choice.distance / choice.throw_ratio) * (1.0 - OVERLAP)
        pairs = tuple((machine, _standing(x + way * half, choice)) for way in (-1.0, 1.0))
    return scenes.on_grass(house, pairs, ambient, blend=choice.setup == SIDE_BY_SIDE)


def _standing(x: float, choice: StandChoice) -> Placement:
    rise = choice.distance * math.tan(math.radians(choice.tilt))
    return Placement(position=(x, choice.height, choice.distance), aim=(x, choice.height + rise, 0.0))


def arrange(
    house: Facade,
    choice: StandChoice,
    *,
    wall_patches: tuple[str, ...],
    garden: Garden | None = None,
    spacing: float = 0.15,
) -> Arrangement:
    """Return what a set-up gives in its place.

    Parameters
    ----------
    wall_patches : tuple of str
        The patches that `choice.wall` covers.
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
    front = scenes.walled(house, choice.wall, wall_patches)
    scene = stand_scene(front, choice, Ambient(vertical_illuminance=choice.ambient))
    return Arrangement(
        choice=choice,
        scene=scene,
        target=scenes.target_for(choice),
        light=light_map(scene, spacing),
        garden=garden,
        spacing=spacing,
    )
