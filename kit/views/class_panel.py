"""The panel of the first notebook: two brightness classes side by side.

`compare` is the named function behind the sliders: a `Choice` in, a `Comparison` out, no widgets involved.
"""

from __future__ import annotations

import html
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import xarray as xr

from kit import reference
from kit.decision.verdict import Target, Verdict, judge
from kit.eye.light_map import light_map
from kit.source.placement import picture_width
from kit.source.projector import TYPICAL_OPTIONS
from kit.units import length_text
from kit.views.drawing import MapBoard
from kit.views.panel import (
    RESOLUTION,
    Panel,
    ambient_slider,
    count,
    menu,
    slider,
    street_scene,
    target_menus,
    unit_buttons,
)
from kit.wall.facade import Facade, Surface

MARKS = {"enough": "✓", "borderline": "~", "not enough": "✗"}


@dataclass(frozen=True, kw_only=True)
class Choice:
    """What the sliders say. Lengths in metres, whatever unit is shown.

    Parameters
    ----------
    first, second : float
        Stated light output of the two classes [lm].
    distance : float
        Lens to the plane of the front wall [m].
    throw_ratio : float
        Distance / picture width.
    wall : str
        Surface of the main wall, a name of ``reference_data/surfaces.csv``.
    ambient : float
        Ambient light on the front [lx].
    picture_mode, ageing, housing_window : str
        Options of ``reference_data/light_losses.csv``.
    district, purpose : str
        Name the target, see `Target.from_reference`.
    units : {"ft", "m"}
        Shown on axes and in words.
    """

    first: float = 4000.0
    second: float = 8000.0
    distance: float = 12.0396  # 39.5 ft, a step of the slider
    throw_ratio: float = 0.8
    wall: str = "red brick"
    ambient: float = 0.861  # low density walkway minimum, reference_data/ambient_levels.csv
    picture_mode: str = TYPICAL_OPTIONS["picture mode"]
    ageing: str = TYPICAL_OPTIONS["ageing"]
    housing_window: str = TYPICAL_OPTIONS["housing window"]
    district: str = "dark"
    purpose: str = "basic decision making"
    units: str = "ft"


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """Maps and verdicts for the two classes of a `Choice`; judged when first asked, so that pictures come first."""

    choice: Choice
    target: Target
    light: xr.Dataset

    @cached_property
    def verdicts(self) -> tuple[Verdict, Verdict]:
        """The two verdicts."""
        small, large = (judge(light, self.target) for light in self.maps)
        return small, large

    @property
    def maps(self) -> tuple[xr.Dataset, xr.Dataset]:
        """The two maps, each on (y, x)."""
        return self.light.isel(light_output=0), self.light.isel(light_output=1)

    def sentences(self) -> tuple[str, str]:
        """Return the two verdicts in words."""
        return self.verdicts[0].sentence, self.verdicts[1].sentence

    def picture_text(self) -> str:
        """Return what the picture is, in words: its size, what it covers, what is lost beside the front."""
        choice = self.choice
        width = float(picture_width(choice.distance, choice.throw_ratio))
        across, down = RESOLUTION
        lost = 1.0 - float(self.light["picture_share"].sum())
        front = self.verdicts[0].front
        return (
            f"The picture is {length_text(width, choice.units, 0)} wide and "
            f"{length_text(width * down / across, choice.units, 0)} high. It reaches {front.lit_share:.0%} of "
            f"the front; {max(0.0, lost):.0%} of its light goes past the front or falls where nobody sees it."
        )


def compare(house: Facade, choice: Choice, *, wall_patches: tuple[str, ...], spacing: float = 0.075) -> Comparison:
    """Return maps and verdicts for the two classes of `choice`.

    Parameters
    ----------
    house : Facade
    choice : Choice
    wall_patches : tuple of str
        The patches that `choice.wall` covers.
    spacing : float
        Pixel size of the maps [m].

    Raises
    ------
    InputError
        For a choice that makes no picture.
    """
    scene = street_scene(
        house.cover(Surface.from_reference(choice.wall), patches=wall_patches),
        light_output=(choice.first, choice.second),
        distance=choice.distance,
        throw_ratio=choice.throw_ratio,
        ambient=choice.ambient,
        options={
            "picture mode": choice.picture_mode,
            "ageing": choice.ageing,
            "housing window": choice.housing_window,
        },
    )
    target = Target.from_reference(district=choice.district, purpose=choice.purpose)
    return Comparison(choice=choice, target=target, light=light_map(scene, spacing))


class ClassPanel(Panel):
    """Two brightness classes side by side on one front.

    Parameters
    ----------
    house : Facade
    wall_patches : sequence of str
        The patches whose surface the reader may change: the main wall and what matches it.
    start : Choice, optional
        What the sliders show first, and after a reset.
    spacing : float
        Pixel size of the maps [m].
    """

    choice_type = Choice
    split = 6

    _board: MapBoard | None = None

    def _controls(self) -> dict[str, Any]:
        return {
            "first": count("first class (lm)", 500, 12000, 250),
            "second": count("second class (lm)", 500, 20000, 250),
            "distance": self._distance(),
            "throw_ratio": slider("throw ratio", 0.3, 2.5, 0.05, ".2f"),
            "wall": menu("main wall", reference.names("surfaces")),
            "ambient": ambient_slider(),
            "picture_mode": menu("picture mode", reference.names("light_losses", "picture mode")),
            "ageing": menu("age of the lamp", reference.names("light_losses", "ageing")),
            "housing_window": menu("housing window", reference.names("light_losses", "housing window")),
            **target_menus(),
            "units": unit_buttons(),
        }

    def _compute(self, choice: Choice) -> Comparison:
        return compare(self.house, choice, wall_patches=self.wall_patches, spacing=self.spacing)

    def _render(self, result: Comparison) -> None:
        choice = result.choice
        board = self._board
        if board is None or board.target != result.target or board.units != choice.units:
            self._board = board = MapBoard(result.target, units=choice.units)
        titles = [f"{lumens:,.0f} lm" for lumens in (choice.first, choice.second)]
        self.picture.value = board.draw(result.maps, titles)
        self.caption.value = (
            f"<p>Luminance of white above, contrast below; {titles[0]} on the left, {titles[1]} on the right. "
            "Stripes mark what misses the target.</p>"
        )
        self.words.value = _words(result)
        self.numbers.value = "".join(_table(verdict) for verdict in result.verdicts)


def _words(result: Comparison) -> str:
    blocks = "".join(
        "<div style='flex:1 1 360px; border-left:6px solid #444; padding:0 12px; margin:4px 8px 4px 0'>"
        f"<div style='font-size:1.25em'><b>{MARKS[v.status]} {v.stated_light_output:,.0f} lm: {v.status}</b></div>"
        f"<div style='line-height:1.35'>{html.escape(v.sentence)}</div></div>"
        for v in result.verdicts
    )
    target = result.target
    return (
        f"<div class='kit-verdict' style='display:flex; flex-wrap:wrap'>{blocks}</div>"
        f"<p style='line-height:1.35'>{html.escape(result.picture_text())} Wanted: white of "
        f"{target.white_luminance:g} cd/m² and a contrast of {target.contrast:g}:1.</p>"
    )


def _table(verdict: Verdict) -> str:
    head = ("surface", "share", "lit", "passes", "white, cd/m² (likely)", "contrast (likely)", "verdict")
    rows = ""
    for part in (*verdict.surfaces, verdict.front):
        cells = (
            part.name if part.kind == "surface" else "the whole front",
            f"{part.share_of_front:.0%}",
            f"{part.lit_share:.0%}",
            f"{part.passing_share:.0%}",
            part.band("white_luminance"),
            part.band("contrast"),
            f"{MARKS[part.status]} {part.status}",
        )
        rows += (
            "<tr>"
            + "".join(
                f"<td style='padding:0 8px; white-space:nowrap; line-height:1.4'>{html.escape(c)}</td>" for c in cells
            )
            + "</tr>"
        )
    header = "".join(f"<th scope='col' style='padding:0 8px; text-align:left; line-height:1.4'>{h}</th>" for h in head)
    return (
        f"<table class='kit-numbers'><caption style='text-align:left'><b>{verdict.stated_light_output:,.0f} lm</b>"
        f"</caption><thead><tr>{header}</tr></thead><tbody>{rows}</tbody></table>"
    )
