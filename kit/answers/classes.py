"""Which brightness class is enough? Two machines side by side on one front.

`compare` takes a `Choice` and returns a `Comparison`: no widgets, no plots.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import xarray as xr

from kit import reference
from kit.answers.scenes import DISTRICT, MACHINE, PURPOSE, RESOLUTION, WALL, street_scene, target_for, walled
from kit.decision.verdict import Target, Verdict, judge
from kit.eye.light_map import light_map
from kit.fields import AMBIENT, DISTANCE, THROW_RATIO, UNITS, Declared, OneOf, declared
from kit.light.ambient import Ambient
from kit.results import Result
from kit.source.placement import picture_width
from kit.source.projector import TYPICAL_OPTIONS
from kit.units import length_text
from kit.wall.facade import Facade
from kit.words import percent

if TYPE_CHECKING:
    import pandas as pd


def _loss(label: str, group: str) -> OneOf:
    options = lambda: reference.names("light_losses", group)  # noqa: E731
    return OneOf(label=label, options=options, default=TYPICAL_OPTIONS[group], meaning=f"light lost by {group}")


@dataclass(frozen=True, kw_only=True)
class Choice(Declared):
    """Two brightness classes, the place, the wall, and what counts as enough."""

    first: float = declared(MACHINE, label="first class", default=4000.0, steps=(500.0, 12000.0, 250.0))
    second: float = declared(MACHINE, label="second class", default=8000.0)
    distance: float = declared(DISTANCE)
    throw_ratio: float = declared(THROW_RATIO, default=0.8)
    wall: str | None = declared(WALL, default=None)
    ambient: float = declared(AMBIENT)
    picture_mode: str = declared(_loss("picture mode", "picture mode"))
    ageing: str = declared(_loss("age of the lamp", "ageing"))
    housing_window: str = declared(_loss("housing window", "housing window"))
    district: str = declared(DISTRICT)
    purpose: str = declared(PURPOSE)
    units: str = declared(UNITS, default="ft")


@dataclass(frozen=True, kw_only=True)
class Comparison(Result):
    """Maps of two machines from `light_map`, and verdicts, which are judged when first asked: pictures come first."""

    choice: Choice
    target: Target
    maps: tuple[xr.Dataset, xr.Dataset]

    @cached_property
    def verdicts(self) -> tuple[Verdict, Verdict]:
        """The two verdicts."""
        first, second = (judge(light, self.target) for light in self.maps)
        return first, second

    @property
    def titles(self) -> tuple[str, str]:
        """The two machines by their light."""
        return f"{self.choice.first:,.0f} lm", f"{self.choice.second:,.0f} lm"

    def frame(self, units: str = "m") -> pd.DataFrame:
        """Return the figures of both machines, one row for each surface, the whole front last."""
        import pandas as pd

        tables = [verdict.frame(units) for verdict in self.verdicts]
        found = pd.concat(tables, keys=self.titles)
        found.attrs = tables[0].attrs
        return found

    def sentence(self, units: str = "m") -> str:
        """Return both verdicts in words, and what the picture is."""
        return " ".join([*(verdict.sentence(units) for verdict in self.verdicts), self.picture_sentence(units)])

    def picture_sentence(self, units: str = "m") -> str:
        """Return what the picture is, in words: its size, what it covers, what is lost beside the front."""
        width = float(picture_width(self.choice.distance, self.choice.throw_ratio))
        across, down = RESOLUTION
        lost = max(0.0, 1.0 - float(self.maps[0]["picture_share"].sum()))
        return (
            f"The picture is {length_text(width, units, 0)} wide and {length_text(width * down / across, units, 0)} "
            f"high. It reaches {percent(self.verdicts[0].front.lit_share)} of the front; {percent(lost)} of its light "
            "goes past the front or falls where nobody sees it."
        )


def compare(house: Facade, choice: Choice, *, wall_patches: tuple[str, ...], spacing: float = 0.075) -> Comparison:
    """Return maps and verdicts for the two classes of `choice`.

    Parameters
    ----------
    wall_patches : tuple of str
        The patches that `choice.wall` covers.
    spacing : float
        Pixel size of the maps [m].

    Raises
    ------
    InputError
        For a choice that makes no picture.
    """
    front = walled(house, choice.wall, wall_patches)
    options = {"picture mode": choice.picture_mode, "ageing": choice.ageing, "housing window": choice.housing_window}
    first, second = (
        light_map(
            street_scene(
                front,
                light_output=light_output,
                distance=choice.distance,
                throw_ratio=choice.throw_ratio,
                ambient=Ambient(vertical_illuminance=choice.ambient),
                options=options,
            ),
            spacing,
        )
        for light_output in (choice.first, choice.second)
    )
    return Comparison(choice=choice, target=target_for(choice), maps=(first, second))
