"""Which brightness class is enough? Two machines side by side on one front."""

from dataclasses import replace
from functools import cached_property, lru_cache

import xarray as xr

from kit.answers import scenes
from kit.answers.show import LOSSES, ROOMS_DARK, Show
from kit.decision.verdict import Target, Verdict, judge
from kit.eye.colorimetry import WallColour, wall_colour
from kit.eye.light_map import light_map
from kit.fields import AMBIENT, DISTANCE, THROW_RATIO, declared
from kit.results import Frame, Result
from kit.source.placement import Placement
from kit.source.projector import Projector, loss, warning
from kit.source.spectra import light_source
from kit.stage.beam_safety import stray_warning
from kit.stage.content import missing
from kit.wall.facade import Surface
from kit.words import Phrases, the

# What is chosen of each machine.
say = Phrases(__file__)
LENS, LIGHT = ("light_output", "throw_ratio", "distance", "shift_up"), ("light_source", "kind")


class Choice(scenes.Wanted):
    """Two machines in their places, the wall, and what counts as enough; None: as the show says."""

    first_light_output: float = declared(scenes.MACHINE, label="first machine", default=None)
    first_throw_ratio: float = declared(THROW_RATIO, default=None)
    first_distance: float = declared(DISTANCE, default=None)
    first_shift_up: float = declared(scenes.SHIFT_UP, default=None)
    first_light_source: str = declared(scenes.LIGHT_SOURCE, default=None)
    first_kind: str = declared(scenes.KIND, default=None)
    second_light_output: float = declared(scenes.MACHINE, label="second machine", default=None)
    second_throw_ratio: float = declared(THROW_RATIO, default=None)
    second_distance: float = declared(DISTANCE, default=None)
    second_shift_up: float = declared(scenes.SHIFT_UP, default=None)
    second_light_source: str = declared(scenes.LIGHT_SOURCE, default=None)
    second_kind: str = declared(scenes.KIND, default=None)
    ambient: float = declared(AMBIENT, default=None)
    rooms_dark: bool = declared(ROOMS_DARK, default=None)
    picture_mode: str | None = declared(loss("picture mode"))
    power_mode: str | None = declared(loss("power mode"))
    ageing: str | None = declared(loss("ageing", "age of the light"))
    housing_window: str | None = declared(loss("housing window"))


class Comparison(Result):
    """Maps of two machines from `light_map`, and verdicts, judged when first asked; choice and show as chosen."""

    choice: Choice
    show: Show
    target: Target
    machines: tuple[tuple[Projector, Placement], ...]
    titles: tuple[str, str]
    maps: tuple[xr.Dataset, xr.Dataset]

    @cached_property
    def verdicts(self) -> tuple[Verdict, Verdict]:
        """The two verdicts."""
        first, second = (judge(light, self.target, draws=scenes.DRAWS) for light in self.maps)
        return first, second

    @cached_property
    def coloured(self) -> tuple[Verdict, Verdict]:
        """The two verdicts on content of full colours: red, green and blue where white would be."""
        ambient, spacing = self.show.light(self.choice.ambient), float(self.maps[0].attrs["spacing"])
        machines = ((machine.coloured(), place) for machine, place in self.machines)
        maps = (light_map(self.show.scene([pair], ambient), spacing) for pair in machines)
        return tuple(judge(light, self.target, draws=scenes.DRAWS) for light in maps)  # type: ignore[return-value]

    def frame(self, units: str = "m") -> Frame:
        """Return the figures of both machines, one row for each surface, the whole front last."""
        import pandas as pd

        tables = [verdict.frame(units) for verdict in self.verdicts]
        return pd.concat(tables, keys=self.titles).__finalize__(tables[0])

    def sentence(self, units: str = "m") -> str:
        """Return both verdicts in words, and what each picture is."""
        return " ".join(f"{self.verdicts[i].sentence(units)} {self.picture_sentence(i, units)}" for i in range(2))

    def picture_sentence(self, i: int, units: str = "m") -> str:
        """Return what the picture of machine 0 or 1 is, in words: its size, what it covers, what is lost."""
        machine, place = self.machines[i]
        lost, width = missing(self.show.house, (self.machines[i],)), place.position[2] / machine.fixed_throw_ratio()
        picture = say(
            "picture", units, away=place.position[2], width=width, height=width / machine.aspect, lost=lost,
            lit=self.verdicts[i].front.lit_share,
        )  # fmt: skip
        claim = warning(self.titles[i], (self.choice.first_kind, self.choice.second_kind)[i])
        return f"{picture} {stray_warning(lost)} {claim}".strip()

    def colour_sentence(self, i: int) -> str:
        """Return in words what a machine's colours get, and what its white keeps if the main wall is to look white."""
        name, wall = (self.choice.first_light_source, self.choice.second_light_source)[i], self.show.wall
        band, white, colour = self.machines[i][0].colour_share, self.verdicts[i], self.coloured[i]
        text = say(
            "colours", share=band[1], about=say("about", band=band) if band[0] < band[2] else "", white=white,
            but=say("same" if white.status == colour.status else "other"), colour=colour,
        )  # fmt: skip
        found = _on_wall(name, wall, band[1]) if wall.reflectance else None
        if found is None or found.neutral_share is None:
            return text
        return f"{text} {say('neutral', wall=the(wall.name), share=found.neutral_share)}"


@lru_cache(maxsize=64)
def _on_wall(source: str, surface: Surface, share: float) -> WallColour:
    return wall_colour(light_source(source), surface, colour_share=share)


def compare(show: Show, choice: Choice | None = None, *, spacing: float = 0.075) -> Comparison:
    """Return maps and verdicts for the two machines of `choice`.

    Parameters
    ----------
    show : Show
        The house and what is around it.
    choice : Choice, optional
        As the show says if not given.
    spacing : float
        Pixel size of the maps [m].

    Raises
    ------
    InputError
        For a choice that makes no picture, or a wall of a surface that is not known.
    """
    choice = (choice or Choice()).on(show)
    as_chosen = show.chosen(choice)
    losses = {name: getattr(choice, name) for name in LOSSES if getattr(choice, name, None) is not None}
    machines, titles = [], []
    for which, machine in zip(("first", "second"), show.pair, strict=True):
        lens = {name: getattr(choice, f"{which}_{name}") for name in LENS}
        losses |= {name: getattr(choice, f"{which}_{name}") for name in LIGHT}
        machines.append(as_chosen.aimed(replace(machine, **losses), **lens))
        lumens = f"{lens['light_output']:,.0f} lm"
        own = lens["light_output"] == machine.lumens and machine.name != lumens
        titles.append(f"{machine.name} ({lumens})" if own else lumens)
    if titles[0] == titles[1]:
        titles = [f"{title}, {which}" for title, which in zip(titles, ("first", "second"), strict=True)]
    ambient = as_chosen.light(choice.ambient)
    one, other = (light_map(as_chosen.scene([machine], ambient), spacing) for machine in machines)
    return Comparison(
        choice=choice, show=as_chosen, target=as_chosen.target(), machines=tuple(machines),
        titles=(titles[0], titles[1]), maps=(one, other),
    )  # fmt: skip
