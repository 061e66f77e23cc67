"""Does covering the masonry pay? The bare wall and the wall under cloth, at night, side by side."""

import contextlib
import os
from dataclasses import replace
from functools import cached_property, lru_cache

import numpy as np
import xarray as xr

from kit.answers.scenes import DRAWS, LIGHT_SOURCE, MACHINE, Wanted
from kit.answers.show import ROOMS_DARK, Show
from kit.decision.payoff import PayOff, check_reach, pay_off
from kit.decision.verdict import Target
from kit.errors import InputError
from kit.eye.light_map import Scene
from kit.eye.night import Screen, daylight_picture, night_view, on_screen
from kit.eye.pattern_vision import pattern_frame, seen
from kit.eye.picture_file import Picture, load_picture
from kit.fields import AMBIENT, DISTANCE, FLAG, LENGTH, THROW_RATIO, Number, OneOf, Text, declared
from kit.fields import AVERAGE_PICTURE_LEVEL as LEVEL
from kit.results import Frame, Result
from kit.source.spectra import AMBIENT as STREET_LIGHTS
from kit.source.spectra import light_source
from kit.wall.cloth import ALL_MASONRY as MASONRY
from kit.wall.cloth import CHOICES, EVERYTHING, Cloth, Covering, Hanging, cloth_names, cover, pattern_behind
from kit.wall.facade import Facade
from kit.wall.texture import Pattern

DAYLIGHT, WHITE, FILE = "the house by daylight", "all white", "a picture file"
BARE_AND_CLOTH = "bare wall and cloth"
DOUBLE_BARE, DOUBLE_CLOTH = "once and twice the lumens, bare", "once and twice the lumens, cloth"
PAIR = OneOf(label="side by side", options=(BARE_AND_CLOTH, DOUBLE_BARE, DOUBLE_CLOTH))
STREET_LIGHT = OneOf(label="street light", options=tuple(STREET_LIGHTS))
LAYERS = Number(label="layers", low=1.0, whole=True, steps=(1.0, 4.0, 1.0), default=1)
GAP = LENGTH.but(
    label="gap to wall", low=0.0, default=0.0, steps=(0.0, 1.0, 0.05), feet=(0.0, 3.5, 0.25),
    meaning="of air between cloth and wall",
)  # fmt: skip


class ClothChoice(Wanted):
    """What hangs before which wall, in which light, and what stands side by side; None: as the show says."""

    cloth: str = declared(OneOf(label="cloth", options=cloth_names), default="white cotton")
    layers: int = declared(LAYERS)
    lining: bool = declared(FLAG, label="black lining behind it", default=False)
    gap: float = declared(GAP)
    cover: str = declared(OneOf(label="cover", options=CHOICES), default=None)
    wet: bool = declared(FLAG, label="wet: rain on cloth and wall", default=False)
    light_output: float = declared(MACHINE, default=None)
    distance: float = declared(DISTANCE, default=None)
    throw_ratio: float = declared(THROW_RATIO, default=None)
    ambient: float = declared(AMBIENT, default=None)
    rooms_dark: bool = declared(ROOMS_DARK, default=None)
    ambient_light: str = declared(STREET_LIGHT, default="warm white led street lamp")
    light_source: str = declared(LIGHT_SOURCE, default=None)
    picture: str = declared(OneOf(label="picture", options=(DAYLIGHT, WHITE, FILE)), default=DAYLIGHT)
    file: str = declared(Text(label="picture file", example="my_house.jpg", empty=True), default="")
    pair: str = declared(PAIR, default=BARE_AND_CLOTH)

    def on(self, show: Show) -> "ClothChoice":
        """Return the choice with what is not chosen as in `show`; without masonry, cloth covers what it may."""
        what = self.cover or (MASONRY if show.masonry else EVERYTHING)
        return show.filled(replace(self, cover=what))


class Weighing(Result):
    """Night pictures side by side, on the dry front of `scene`, and the decision on cloth, made when first asked."""

    choice: ClothChoice
    show: Show
    scene: Scene
    covering: Covering
    target: Target
    spacing: float
    views: tuple[xr.Dataset, xr.Dataset]
    titles: tuple[str, str]
    screen: Screen

    @cached_property
    def payoff(self) -> PayOff:
        """The decision on cloth."""
        return pay_off(self.scene, self.covering, self.target, spacing=self.spacing, draws=DRAWS)

    def coverings(self, units: str = "m") -> Frame:
        """Return area, cloth, weight and price for all that the cloth may cover, a row for each choice."""
        import pandas as pd

        frames = {}
        for what in CHOICES:
            with contextlib.suppress(InputError):  # there is nothing of the kind on this front
                frames[what] = cover(self.show.house, self.covering.cloth, what).frame(units)
        found = pd.concat(frames.values()).set_index(pd.Index(frames, name="cover"))
        return found.__finalize__(next(iter(frames.values())))

    def pattern(self, units: str = "m") -> Frame | str:
        """Return how the main wall's own pattern is seen from the walk, bare and through cloth, or why not."""
        wall, bare, cloth = self.show.wall, self.payoff.route("as it is"), self.payoff.route("cloth")
        pattern = Pattern.of(wall)
        if pattern is None:
            return f"No pattern is known for {wall.name}."
        (left, right, bottom, top), behind = self.show.house.bounds, pattern_behind(pattern, self.covering.cloth)
        views = {
            name: seen(
                one, distance=self.show.full.walk, luminance=route.luminance * LEVEL.default,
                picture_size=(right - left, top - bottom), picture_contrast=bare.contrast,
            )
            for name, one, route in (("bare wall", pattern, bare), ("through cloth", behind, cloth))
        }  # fmt: skip
        return pattern_frame(views, units)

    def frame(self, units: str = "m") -> Frame:
        """Return the routes to a brighter wall."""
        return self.payoff.frame(units)

    def sentence(self, units: str = "m") -> str:
        """Return what the cloth is worth, what it is, and whether the front under it is bright enough."""
        under = f"The front under cloth: {self.payoff.under.sentence(units)}"
        return f"{self.payoff.sentence(units)} {self.covering.sentence(units)} {under}"


def weigh(show: Show, choice: ClothChoice | None = None, *, spacing: float = 0.075) -> Weighing:
    """Return the decision on cloth and the pair of night pictures for a choice.

    Parameters
    ----------
    show, choice, spacing
        As for `kit.compare`; the spacing is that of the pictures too.

    Raises
    ------
    InputError
        For a choice that makes no picture, nothing to cover, or a picture file that cannot be used.
    """
    choice = (choice or ClothChoice()).on(show)
    as_chosen = show.chosen(choice)
    dry, cloth = as_chosen.front, show.cloth(choice.cloth)
    covering = _covering(dry, cloth, choice.cover, choice.layers, choice.lining, choice.gap, choice.wet)
    lens = {name: getattr(choice, name) for name in ("light_output", "distance", "throw_ratio")}
    machine = replace(show.machine, light_source=choice.light_source)
    scene = as_chosen.scene([as_chosen.aimed(machine, **lens)], as_chosen.light(choice.ambient))
    bare, clothed = replace(scene, facade=covering.bare), replace(scene, facade=covering.facade)
    lumens, twice = f"{choice.light_output:,.0f} lm", f"{2 * choice.light_output:,.0f} lm"
    pairs = {
        BARE_AND_CLOTH: ((bare, f"{lumens}, bare wall"), (clothed, f"{lumens}, {choice.cloth}")),
        DOUBLE_BARE: ((bare, f"{lumens}, bare wall"), (_doubled(bare), f"{twice}, bare wall")),
        DOUBLE_CLOTH: ((clothed, f"{lumens}, {choice.cloth}"), (_doubled(clothed), f"{twice}, {choice.cloth}")),
    }
    (first, title), (second, other_title) = pairs[choice.pair]
    picture, source = _picture(choice, dry), light_source(choice.light_source)
    one, other = (
        night_view(s, picture, source, ambient_light=choice.ambient_light, spacing=spacing, extent=dry.bounds)
        for s in (first, second)
    )
    # All that can be wrong is found here, before a picture is shown.
    check_reach(one, covering.patches)
    return Weighing(
        choice=choice, show=as_chosen, scene=scene, covering=covering, target=as_chosen.target(), spacing=spacing,
        views=(one, other), titles=(title, other_title), screen=on_screen((one, other)),
    )  # fmt: skip


# A slider that leaves the cloth or the picture alone need not work it out again.
_by_daylight = lru_cache(maxsize=4)(daylight_picture)


@lru_cache(maxsize=4)
def _covering(house: Facade, cloth: Cloth, what: str, layers: int, lining: bool, gap: float, wet: bool) -> Covering:
    left, right, bottom, top = house.bounds
    under = Cloth.from_reference("black lining") if lining else None
    # The cloth's open edges are those of the whole hanging, taken as wide and high as the front.
    how = Hanging(layers=layers, lining=under, gap=gap, span=(right - left, top - bottom), wet=wet)
    return cover(house, cloth, what, how=how, spectral=True)


def _doubled(scene: Scene) -> Scene:
    pairs = tuple((replace(p, light_output=2.0 * p.light_output), place) for p, place in scene.projectors)
    return replace(scene, projectors=pairs)


def _picture(choice: ClothChoice, house: Facade) -> Picture:
    if choice.picture == DAYLIGHT:
        return _by_daylight(house)
    if choice.picture == WHITE:
        return Picture(name="white", rgb=np.ones((1, 1, 3), np.float32))
    if not choice.file.strip():
        raise InputError("picture file", choice.file, "the path of a picture, for example my_house.jpg")
    path = os.path.expanduser(choice.file.strip())  # of an unknown user, or too long: no such file
    return _from_file(path, os.stat(path).st_mtime_ns if os.path.isfile(path) else 0)


@lru_cache(maxsize=2)
def _from_file(path: str, changed: int) -> Picture:
    return load_picture(path, transparent="black")
