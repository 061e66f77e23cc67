"""When can the show start? One evening, the season around it, and what each lamp costs."""

from dataclasses import replace
from functools import cached_property

import numpy as np
import pandas as pd
import xarray as xr

from kit import fields, reference
from kit.answers.scenes import MACHINE, Wanted
from kit.answers.show import ROOMS_DARK, SKY, Show
from kit.decision.evening import Passing, evenings, start_sentence, switching, switching_frame, switching_sentence
from kit.decision.verdict import Target
from kit.decision.washout import string_dimming
from kit.errors import InputError
from kit.eye.light_map import Scene
from kit.fields import declared
from kit.results import Result
from kit.sky.luminaire import LedString, headlamps
from kit.sky.site import SKY_TYPE, Site
from kit.stage.obtrusive_light import ObtrusiveLight, Receiver, obtrusive_light
from kit.words import compass, join, percent

ON, SHADED, OFF = "on", "shaded", "off"
# A shade that holds back what a luminaire sends above this angle from straight down [deg].
SHADE = 60.0
# The season is looked at one evening in so many, and at moments so far apart [min].
EVERY, STEP = 3, 10.0
SEASON = ("2026-11-01", "2027-01-06")

NAMES = fields.Many(of=fields.NAME)
CLEAR = "clear"
AIR = fields.OneOf(label="air", options=lambda: (CLEAR, *reference.names("weather", "air")), meaning="fog or rain")


class EveningChoice(Wanted):
    """When and where, which lamps are on, and what the machine and the wall are; None: as the show says."""

    date: str = declared(fields.Day(label="evening of"), default="2026-12-05")
    latitude: float = declared(fields.LATITUDE, default=None, steps=(-70.0, 70.0, 0.5))
    longitude: float = declared(fields.LONGITUDE, default=None, steps=(-180.0, 180.0, 0.5))
    timezone: str = declared(fields.Text(label="time zone", example="America/Chicago", empty=True), default=None)
    facing: float = declared(
        fields.FACING, default=None, steps=(0.0, 345.0, 15.0), reading=lambda way: f"{compass(way)} {way:.0f}°"
    )
    night_sky: str = declared(SKY, default=None)
    evening_sky: str = declared(SKY_TYPE, default=None)
    light_output: float = declared(MACHINE, default=None)
    distance: float = declared(fields.DISTANCE, default=None)
    throw_ratio: float = declared(fields.THROW_RATIO, default=None)
    even: float = declared(fields.AMBIENT, label="even light", default=None)
    air: str = declared(AIR, default=CLEAR)
    rooms_dark: bool = declared(ROOMS_DARK, default=None)
    off: tuple[str, ...] = declared(NAMES, label="lamps off", default=None)
    shaded: tuple[str, ...] = declared(NAMES, label="lamps shaded", default=())
    strings: float = declared(fields.DIMMING, label="LED strings", default=0.1, steps=(0.0, 1.0, 0.01), form=".0%")

    def on(self, show: Show) -> "EveningChoice":
        """Return the choice with what is not chosen as in `show`; lamps that it dims to nothing are off."""
        off = self.off if self.off is not None else tuple(lamp.name for lamp in show.lamps or () if not lamp.dimming)
        return show.filled(replace(self, off=off))


class EveningPlan(Result):
    """One evening; the season (first and last date) around it and the lamps are looked at when first asked."""

    choice: EveningChoice
    show: Show
    scene: Scene
    site: Site
    target: Target
    season: tuple[str, str]
    spacing: float
    tonight: xr.Dataset

    @cached_property
    def calendar(self) -> xr.Dataset:
        """The season, one evening in a few."""
        return evenings(
            self.scene, self.site, *self.season, every=EVERY, step=STEP, target=self.target, spacing=self.spacing,
            banded=False,
        )  # fmt: skip

    @property
    def clock(self) -> pd.Timestamp:
        """When lamps are compared: an hour after sunset, or halfway through the evening."""
        evening = self.tonight.isel(date=0)
        sunset, times = evening["sunset"].values, evening["clock"].values
        if np.isnat(sunset):
            return pd.Timestamp(times[times.size // 2])
        return min((pd.Timestamp(sunset) + pd.Timedelta(hours=1)).floor("5min"), pd.Timestamp(times[-1]))

    @cached_property
    def lamps(self) -> xr.Dataset:
        """What switching each lamp off, or shading it, would buy; from `switching`."""
        return switching(
            self.scene, self.site, self.clock, shield=SHADE, target=self.target, spacing=self.spacing, step=STEP
        )

    @cached_property
    def with_cars(self) -> xr.Dataset:
        """The same evening with an invented car that turns at the corner now and then."""
        lamps = headlamps("a car", position=(self.show.middle + 14.0, 18.0), towards=(self.show.middle, 0.0))
        cars = [Passing(name="a car", lamps=lamps, seconds=4, per_hour=20, begin="15:00", end="22:00")]
        return evenings(self.scene, self.site, self.choice.date, target=self.target, spacing=self.spacing, passing=cars)

    @cached_property
    def dimming(self) -> xr.Dataset | None:
        """What the LED strings may give, from `string_dimming`; None where the show has none, or they are off."""
        if not any(isinstance(lamp, LedString) for lamp in self.scene.ambient.lamps):
            return None
        return string_dimming(self.scene, target=self.target, spacing=self.spacing)

    def obtrusive(self, *, curfew: str = "before", masked: bool = False) -> ObtrusiveLight:
        """Return what leaves the front, for two invented windows and an invented road; see `kit.obtrusive_light`."""
        x, z = self.show.middle, self.show.full.walk + 1.0
        road = [Receiver(name="road", position=(x + along, 1.2, z), facing=(1.0, 0.0, 0.0)) for along in range(-40, 41)]
        return obtrusive_light(
            self.scene, receivers=neighbours(self.show), environmental_zone="suburban", curfew=curfew, masked=masked,
            road=road if curfew == "before" else None,
        )  # fmt: skip

    def frame(self, units: str = "m") -> pd.DataFrame:
        """Return what switching each lamp off, or shading it, would buy."""
        return switching_frame(self.lamps)

    def sentence(self, units: str = "m") -> str:
        """Return when the show can start, and which lamp matters most."""
        return " ".join(filter(None, (start_sentence(self.tonight), self.weather, switching_sentence(self.lamps))))

    @property
    def weather(self) -> str:
        """What fog or rain costs, in words; empty in clear air."""
        if self.scene.visibility is None:
            return ""
        air, left = self.choice.air, percent(self.scene.air(self.scene.projectors[0][1].position))
        return f"In {air} {left} of the picture's light gets to the wall and to you, behind a beam that glows."


def neighbours(show: Show) -> list[Receiver]:
    """Return two invented windows that the light of a show may reach: across the street, and of the house behind."""
    x, z = show.middle, show.full.walk + 1.0
    return [
        Receiver(name="window across the street", position=(x, 4.0, z + 9.0), facing=(0.0, 0.0, -1.0)),
        Receiver(name="window of the house behind", position=(x + 18.0, 7.0, -20.0), facing=(0.0, 0.0, 1.0)),
    ]


def plan_evening(
    show: Show, choice: EveningChoice | None = None, *, season: tuple[str, str] = SEASON, spacing: float = 0.3
) -> EveningPlan:
    """Return one evening and the season for `choice`.

    Parameters
    ----------
    show, choice, spacing
        As for `kit.compare`.
    season : (str, str)
        First and last date.

    Raises
    ------
    InputError
        For a choice that cannot be: an unknown time zone or lamp, a picture that misses the front.
    """
    choice = (choice or EveningChoice()).on(show)
    as_chosen, lamps, names = show.chosen(choice), [], [lamp.name for lamp in show.luminaires()]
    for field in ("off", "shaded"):
        for name in getattr(choice, field):
            if name not in names:
                raise InputError(field, name, f"lamps of the show: {join(names or ['there are none'], 'or')}")
    for lamp in show.luminaires():
        if lamp.name not in (choice.off or ()):
            lit = replace(lamp, dimming=lamp.dimming or 1.0)  # switched on
            lamps.append(replace(lit, shielded=SHADE) if lamp.name in choice.shaded else lit)
    strings = [string.dimmed(string.dimming * choice.strings) for string in show.strings or () if choice.strings]
    lens = {name: getattr(choice, name) for name in ("light_output", "distance", "throw_ratio")}
    ambient = as_chosen.light(choice.even, (*lamps, *strings))
    scene = as_chosen.scene([as_chosen.aimed(show.machine, **lens)], ambient)
    if choice.air != CLEAR:
        scene = replace(scene, visibility=reference.value("weather", choice.air))
    site, target = as_chosen.site(), as_chosen.target()
    return EveningPlan(
        choice=choice, show=as_chosen, scene=scene, site=site, target=target, season=season, spacing=spacing,
        tonight=evenings(scene, site, choice.date, target=target, spacing=spacing),
    )  # fmt: skip
