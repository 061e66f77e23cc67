"""Where does the projector stand, and is it one or two?"""

import math
from dataclasses import replace
from functools import cached_property

import xarray as xr

from kit import fields
from kit.answers import scenes
from kit.answers.show import ROOMS_DARK, Show
from kit.decision.several import Comparison, compare_setups, stacked
from kit.decision.verdict import Target, Verdict, judge
from kit.errors import InputError
from kit.eye.light_map import Scene, light_map
from kit.fields import declared
from kit.results import Frame, Result
from kit.source.placement import Placement
from kit.source.projector import Projector
from kit.stage.aim import Lens
from kit.stage.audience import Audience, audience_table
from kit.stage.beam_safety import KeepOuts, keep_out, stray_warning
from kit.stage.content import ContentParts, content_parts, missing
from kit.stage.likely import Likely
from kit.stage.places import Limits, describe
from kit.stage.search import Search, search
from kit.units import edge
from kit.words import Phrases, capital

say = Phrases(__file__)
ONE, STACKED, SIDE_BY_SIDE = "one", "two, one on the other", "two, side by side"
# How wide two pictures side by side overlap, as a share of their width.
OVERLAP = 0.12
SETUP = fields.OneOf(label="machines", options=(ONE, STACKED, SIDE_BY_SIDE), default=ONE)
# What may be looked for in a place, and how `search` calls it.
CHANCE = "chance that it is enough"
OBJECTIVES = {
    "no search": "illuminance", CHANCE: "", "most light": "illuminance", "small dots": "sharpness",
    "square corners": "keystone", "dots that are used": "pixels",
}  # fmt: skip
BEST_FOR = fields.OneOf(label="best place for", options=tuple(OBJECTIVES), default="no search")
TILT = fields.ANGLE.but(
    label="tilt up", low=-89.0, high=89.0, default=0.0, steps=(-10.0, 25.0, 0.5), meaning="of the machine, upwards"
)


class StandChoice(scenes.Wanted):
    """How many machines, where they stand, how they point, and what the wall is; None: as the show says."""

    setup: str = declared(SETUP)
    light_output: float = declared(scenes.MACHINE, label="each", default=None)
    distance: float = declared(fields.DISTANCE, default=None)
    side: float = declared(scenes.ASIDE, default=None)
    height: float = declared(fields.LENS_HEIGHT, default=None)
    throw_ratio: float = declared(fields.THROW_RATIO, default=None)
    shift_up: float = declared(scenes.SHIFT_UP, default=None)
    tilt: float = declared(TILT)
    ambient: float = declared(fields.AMBIENT, default=None)
    rooms_dark: bool = declared(ROOMS_DARK, default=None)
    best_for: str = declared(BEST_FOR)

    def _agree(self, where: str) -> None:
        if self.setup == STACKED and self.tilt:
            raise InputError("tilt", self.tilt, "0 degrees for stacked machines: lens shift brings them into line")

    @property
    def wide(self) -> float:
        """How wide the pictures are together, over one of them."""
        return 2.0 - OVERLAP if self.setup == SIDE_BY_SIDE else 1.0


class Arrangement(Result):
    """A set-up in its place, its map, and the spacing of maps [m]; the rest is worked out when first asked."""

    choice: StandChoice
    show: Show
    scene: Scene
    target: Target
    light: xr.Dataset
    spacing: float

    @cached_property
    def figures(self) -> xr.Dataset:
        """What the first machine gives where nothing stands in its light, from `describe`."""
        eye = self.show.full.viewers[0].eye
        return describe(self.scene.facade, *self.scene.projectors[0], audience=eye, points=120)

    @cached_property
    def places(self) -> Search | str:
        """The best places for the machine where one may stand, tilted and panned at need; or why there is none."""
        around, machine, projector = self.show.full, self.show.machine, self.scene.projectors[0][0]
        shift = (0.0, max(0.0, self.choice.shift_up))
        lens = Lens(throw_ratio=machine.zoom, shift_up=shift, tilt=(-5.0, 20.0), pan=(-20.0, 20.0))
        best_for = self.choice.best_for
        try:
            found = search(
                self.scene.facade, replace(projector, throw_ratio=machine.throw_ratio), lens, around.stands,
                obstacles=around.obstacles, limits=Limits(keystone=15.0, blocked=0.1, reached=0.9),
                audience=around.viewers[0].eye, units=around.units,
                objective=Likely(self.scene, self.target) if best_for == CHANCE else OBJECTIVES[best_for],
            )  # fmt: skip
            return replace(found, objective="most light" if best_for == "no search" else best_for)
        except InputError as error:
            return str(error)

    @cached_property
    def verdict(self) -> Verdict:
        """On the front."""
        return judge(self.light, self.target, draws=scenes.DRAWS)

    @cached_property
    def parts(self) -> ContentParts:
        """What each patch can carry."""
        return content_parts(self.light, self.target, scene=self.scene, viewer=self.show.full.viewers[0].eye)

    @cached_property
    def audience(self) -> Audience:
        """What each viewer sees."""
        return audience_table(self.scene, self.show.full.viewers, self.target, spacing=self.spacing)

    @cached_property
    def keep_out(self) -> KeepOuts:
        """Where eyes are in the beam."""
        return keep_out(self.scene, walk=self.show.full.walk)

    @cached_property
    def compared(self) -> Comparison:
        """Two machines against one of the same light, at this place and without tilt."""
        choice = self.choice
        half = choice.light_output * (0.5 if choice.setup == ONE else 1.0)
        both = replace(choice, light_output=half, tilt=0.0)
        # Another lens, so that the two pictures together are as wide as the one.
        longer = choice.throw_ratio * (2.0 - OVERLAP)
        setups = {
            f"one of {2 * half:,.0f} lm": replace(both, setup=ONE, light_output=2 * half),
            f"two of {half:,.0f} lm, stacked": replace(both, setup=STACKED),
            f"two of {half:,.0f} lm, side by side": replace(both, setup=SIDE_BY_SIDE, throw_ratio=longer),
        }
        scenes = {name: stand_scene(self.show, one) for name, one in setups.items()}
        return compare_setups(scenes, self.target, spacing=self.spacing)

    def frame(self, units: str = "m") -> Frame:
        """Return what each patch can carry."""
        return self.parts.frame(units)

    def sentence(self, units: str = "m") -> str:
        """Return whether it is enough, what the picture is, and the best place where one is looked for."""
        text = f"{self.verdict.sentence(units)} {self.picture_sentence(units)}"
        return f"{text} {self.search_sentence(units)}".strip()

    def search_sentence(self, units: str = "m") -> str:
        """Return the best place in words, or why there is none; nothing where none is looked for."""
        if self.choice.best_for == "no search":
            return ""
        return f"No place: {self.places}" if isinstance(self.places, str) else self.places.sentence(units)

    def picture_sentence(self, units: str = "m") -> str:
        """Return what the picture is, in words."""
        names = ("finest_element", "coarsest_element", "pixels_per_degree", "keystone", "blocked_share")
        finest, coarsest, fine, keystone, blocked = (float(self.figures[name]) for name in names)
        small, size = edge("mm", units)
        lost = missing(self.scene.facade, self.scene.projectors)
        dots, off = math.isfinite(coarsest), math.isfinite(keystone)
        told = say(
            "picture", units, lit=self.verdict.front.lit_share, lost=lost, deep=float(self.figures["depth_range"]),
            dots=say("dots", small=small, fine=fine, ends=(finest / size, coarsest / size)) if dots else "",
            corners=say("endless" if not off else "keystone" if keystone >= 0.05 else "square", keystone=keystone),
            shadow=capital(say("shadow", blocked=blocked)) if blocked >= 0.005 else "",
        )  # fmt: skip
        return f"{told} {stray_warning(lost, max(area.sky_share for area in self.keep_out.areas))}".strip()


def stand_scene(show: Show, choice: StandChoice) -> Scene:
    """Return the scene of a whole `choice`; a lens that is not in front of the wall: `InputError`."""
    names = ("light_output", "distance", "throw_ratio", "shift_up", "side", "height", "tilt")
    lens = {name: getattr(choice, name) for name in names}
    machine, place = show.aimed(show.machine, **lens)
    pairs: tuple[tuple[Projector, Placement], ...] = ((machine, place),)
    if choice.setup == STACKED:
        pairs = stacked(machine, place, 2)
    elif choice.setup == SIDE_BY_SIDE:
        half = 0.5 * (lens["distance"] / lens["throw_ratio"]) * (1.0 - OVERLAP)
        pairs = tuple(show.aimed(show.machine, **lens | {"side": lens["side"] + way * half}) for way in (-1.0, 1.0))
    return show.scene(pairs, show.light(choice.ambient), blend=choice.setup == SIDE_BY_SIDE)


def arrange(show: Show, choice: StandChoice | None = None, *, spacing: float = 0.075) -> Arrangement:
    """Return what a set-up gives in its place.

    Parameters
    ----------
    show, choice, spacing
        As for `kit.compare`.

    Raises
    ------
    InputError
        For a picture that misses the front, or a choice that cannot be.
    """
    choice = (choice or StandChoice()).on(show)
    as_chosen = show.chosen(choice)
    scene = stand_scene(as_chosen, choice)
    return Arrangement(
        choice=choice, show=as_chosen, scene=scene, target=as_chosen.target(), light=light_map(scene, spacing),
        spacing=spacing,
    )  # fmt: skip
