"""The panel of the fabric notebook: the bare wall and the wall under cloth, side by side.

`weigh` is the named function behind the sliders: a `ClothChoice` in, a `Weighing` out, no widgets involved.
"""

from __future__ import annotations

import html
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from kit import reference
from kit.decision.payoff import PayOff, check_reach, pay_off
from kit.decision.verdict import Target, judge
from kit.errors import InputError
from kit.eye.light_map import Scene
from kit.eye.night import Screen, daylight_picture, night_view, on_screen
from kit.eye.picture_file import Picture, load_picture, picture_from_array
from kit.source.spectra import AMBIENT, light_source, light_source_names
from kit.views.drawing import NightBoard
from kit.views.panel import (
    CAUTIONS,
    TABLE_STYLE,
    Panel,
    ambient_slider,
    count,
    line,
    menu,
    slider,
    street_scene,
    target_menus,
    tick,
    unit_buttons,
)
from kit.wall.cloth import ALL_MASONRY, CHOICES, CLOTH_CAUTION, Cloth, Covering, Hanging, cloth_names, cover
from kit.wall.facade import Facade, Surface

DAYLIGHT, WHITE, FILE = "the house by daylight", "all white", "a picture file"
BARE_AND_CLOTH, DOUBLE_BARE, DOUBLE_CLOTH = (
    "bare wall and cloth",
    "these lumens and twice as many, bare",
    "these lumens and twice as many, cloth",
)


@dataclass(frozen=True, kw_only=True)
class ClothChoice:
    """What the controls say. Lengths in metres, whatever unit is shown.

    Parameters
    ----------
    cloth : str
        A name of ``reference_data/cloths.csv``.
    layers : int
    lining : bool
        A black cloth behind.
    gap : float
        Between cloth and wall [cm].
    cover : str
        One of `kit.wall.cloth.CHOICES`.
    wet : bool
    light_output : float
        Stated [lm].
    distance : float
        Lens to the plane of the front wall [m].
    throw_ratio : float
    wall : str
        Surface of the main wall, a name of ``reference_data/surfaces.csv``.
    ambient : float
        Ambient light on the front [lx].
    ambient_light, light_source : str
        Their colours, see `kit.spectra`.
    picture : str
        `DAYLIGHT`, `WHITE` or `FILE`.
    file : str
        Path of the picture where `picture` is `FILE`.
    pair : str
        What stands side by side in the night picture.
    district, purpose : str
        Name the target, see `Target.from_reference`.
    units : {"ft", "m"}
    """

    cloth: str = "white cotton"
    layers: int = 1
    lining: bool = False
    gap: float = 0.0
    cover: str = ALL_MASONRY
    wet: bool = False
    light_output: float = 4000.0
    distance: float = 12.0396  # 39.5 ft, a step of the slider
    throw_ratio: float = 0.8
    wall: str = "red brick"
    ambient: float = 0.861  # low density walkway minimum, reference_data/ambient_levels.csv
    ambient_light: str = "warm white led street lamp"
    light_source: str = "laser phosphor"
    picture: str = DAYLIGHT
    file: str = ""
    pair: str = BARE_AND_CLOTH
    district: str = "dark"
    purpose: str = "basic decision making"
    units: str = "ft"


@dataclass(frozen=True, kw_only=True)
class Weighing:
    """The night pictures and the decision for a `ClothChoice`; decided when first asked, so that pictures come first.

    Attributes
    ----------
    choice : ClothChoice
    scene : Scene
        With the dry front.
    covering : Covering
    target : Target
    spacing : float
        Pixel size [m].
    views : (xarray.Dataset, xarray.Dataset)
        From `night_view`.
    titles : (str, str)
    screen : Screen
    """

    choice: ClothChoice
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
        return pay_off(self.scene, self.covering, self.target, spacing=self.spacing)

    @cached_property
    def sentence(self) -> str:
        """The verdict on the covered front, in words."""
        return judge(self.payoff.after, self.target).sentence


def weigh(house: Facade, choice: ClothChoice, *, wall_patches: tuple[str, ...], spacing: float = 0.075) -> Weighing:
    """Return the decision on cloth and the pair of night pictures for a choice.

    Parameters
    ----------
    house : Facade
    choice : ClothChoice
    wall_patches : tuple of str
        The patches whose surface is `choice.wall`.
    spacing : float
        Pixel size of the pictures and maps [m].

    Raises
    ------
    InputError
        For a choice that makes no picture, nothing to cover, or a picture file that cannot be used.
    """
    dry = house.cover(Surface.from_reference(choice.wall), patches=wall_patches)
    left, right, bottom, top = house.bounds
    how = Hanging(
        layers=choice.layers,
        lining=Cloth.from_reference("black lining") if choice.lining else None,
        gap=choice.gap / 100.0,
        # The cloth's open edges are those of the whole hanging, taken as wide and high as the front.
        span=(right - left, top - bottom),
        wet=choice.wet,
    )
    covering = cover(dry, Cloth.from_reference(choice.cloth), choice.cover, how=how, spectral=True)
    scene = street_scene(
        dry,
        light_output=choice.light_output,
        distance=choice.distance,
        throw_ratio=choice.throw_ratio,
        ambient=choice.ambient,
    )
    target = Target.from_reference(district=choice.district, purpose=choice.purpose)
    bare, clothed = replace(scene, facade=covering.bare), replace(scene, facade=covering.facade)
    lumens = f"{choice.light_output:,.0f} lm"
    twice = f"{2 * choice.light_output:,.0f} lm"
    name = choice.cloth
    pairs: dict[str, tuple[tuple[Scene, str], tuple[Scene, str]]] = {
        BARE_AND_CLOTH: ((bare, f"{lumens}, bare wall"), (clothed, f"{lumens}, {name}")),
        DOUBLE_BARE: ((bare, f"{lumens}, bare wall"), (_doubled(bare), f"{twice}, bare wall")),
        DOUBLE_CLOTH: ((clothed, f"{lumens}, {name}"), (_doubled(clothed), f"{twice}, {name}")),
    }
    if choice.pair not in pairs:
        raise InputError("side by side", choice.pair, f"one of {', '.join(pairs)}")
    picture = _picture(choice, dry)
    source = light_source(choice.light_source)
    views = tuple(
        night_view(s, picture, source, ambient_light=choice.ambient_light, spacing=spacing, extent=house.bounds)
        for s, _ in pairs[choice.pair]
    )
    # All that can be wrong is found here, before a picture is shown.
    check_reach(views[0], covering.patches)
    return Weighing(
        choice=choice,
        scene=scene,
        covering=covering,
        target=target,
        spacing=spacing,
        views=views,  # type: ignore[arg-type]
        titles=tuple(title for _, title in pairs[choice.pair]),  # type: ignore[arg-type]
        screen=on_screen(views),
    )


def _doubled(scene: Scene) -> Scene:
    pairs = tuple((replace(p, light_output=2.0 * p.light_output), place) for p, place in scene.projectors)  # type: ignore[operator]
    return replace(scene, projectors=pairs)


def _picture(choice: ClothChoice, house: Facade) -> Picture:
    if choice.picture == DAYLIGHT:
        return _by_daylight(house)
    if choice.picture == WHITE:
        return picture_from_array("white", np.ones((1, 1, 3)))
    if choice.picture != FILE:
        raise InputError("picture", choice.picture, f"{DAYLIGHT}, {WHITE} or {FILE}")
    if not choice.file.strip():
        raise InputError("picture file", choice.file, "the path of a picture, for example my_house.jpg")
    path = Path(choice.file.strip()).expanduser()
    changed = path.stat().st_mtime_ns if path.is_file() else 0
    return _from_file(str(path), changed)


# A slider that leaves the picture alone need not read or draw it again.
@lru_cache(maxsize=2)
def _from_file(path: str, changed: int) -> Picture:
    return load_picture(path, transparent="black")


@lru_cache(maxsize=4)
def _by_daylight(house: Facade) -> Picture:
    return daylight_picture(house)


class ClothPanel(Panel):
    """The bare wall and the wall under cloth, side by side, with the four routes to a brighter wall.

    Parameters
    ----------
    house : Facade
    wall_patches : sequence of str
        The patches whose surface the reader may change: the main wall and what matches it.
    start : ClothChoice, optional
        What the controls show first, and after a reset.
    spacing : float
        Pixel size of the pictures and maps [m].
    """

    choice_type = ClothChoice
    caution = f"{CLOTH_CAUTION} {CAUTIONS}"
    split = 10

    _board: NightBoard | None = None

    def _controls(self) -> dict[str, Any]:
        return {
            "cloth": menu("cloth", cloth_names()),
            "layers": count("layers", 1, 4),
            "lining": tick("black lining behind it"),
            "gap": slider("gap to wall (cm)", 0.0, 100.0, 5.0, ".0f"),
            "cover": menu("cover", CHOICES),
            "wet": tick("wet: rain on cloth and wall"),
            "light_output": count("light output (lm)", 500, 20000, 250),
            "distance": self._distance(),
            "throw_ratio": slider("throw ratio", 0.3, 2.5, 0.05, ".2f"),
            "wall": menu("main wall", reference.names("surfaces")),
            "ambient": ambient_slider(),
            "ambient_light": menu("street light", AMBIENT),
            "light_source": menu("light source", light_source_names()),
            "picture": menu("picture", (DAYLIGHT, WHITE, FILE)),
            "file": line("picture file", "my_house.jpg"),
            "pair": menu("side by side", (BARE_AND_CLOTH, DOUBLE_BARE, DOUBLE_CLOTH)),
            **target_menus(),
            "units": unit_buttons(),
        }

    def _compute(self, choice: ClothChoice) -> Weighing:
        return weigh(self.house, choice, wall_patches=self.wall_patches, spacing=self.spacing)

    def _render(self, result: Weighing) -> None:
        units = result.choice.units
        if self._board is None or self._board.units != units:
            self._board = NightBoard(units=units)
        self.picture.value = self._board.draw(result.views, result.screen.images, result.titles)
        one, other = result.titles
        self.caption.value = (
            f"<p style='line-height:1.35'>How it looks from the street at night: {html.escape(one)} on the left, "
            f"{html.escape(other)} on the right. {html.escape(result.screen.sentence)} Look at it in a dim room.</p>"
        )
        payoff = result.payoff
        self.words.value = (
            "<div class='kit-payoff' style='border-left:6px solid #444; padding:0 12px; line-height:1.35'>"
            f"<p>{html.escape(payoff.words(units))}</p><p>{html.escape(payoff.covering.sentence(units=units))}</p>"
            f"<p><b>The front under cloth:</b> {html.escape(result.sentence)}</p></div>"
        )
        self.numbers.value = (
            f"<pre class='kit-routes' {TABLE_STYLE}>{html.escape(payoff.table())}\n\n"
            f"{html.escape(payoff.changes())}\n\n{html.escape(payoff.patches())}</pre>"
        )
