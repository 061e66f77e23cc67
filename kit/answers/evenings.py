"""When can the show start? One evening, the season around it, and what each lamp costs.

`plan_evening` takes an `EveningChoice` and returns an `EveningPlan`: no widgets, no plots.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd
import xarray as xr

from kit import fields, reference
from kit.answers.scenes import DISTRICT, MACHINE, PURPOSE, WALL, street_scene, target_for, walled
from kit.decision.evening import NO_LAMP, evenings, start_sentence, switching, switching_frame
from kit.decision.verdict import Target
from kit.eye.light_map import Scene
from kit.light.ambient import Ambient
from kit.results import Result
from kit.sky.luminaire import LedString, Luminaire, typical_luminaire
from kit.sky.site import Site
from kit.wall.facade import Facade
from kit.words import compass

ON, SHADED, OFF = "on", "shaded", "off"
# A shade that holds back what a luminaire sends above this angle from straight down [deg].
SHADE = 60.0
# The season is looked at one evening in so many, and at moments so far apart [min].
EVERY, STEP = 3, 10.0
THROW_RATIO = 0.8  # a common lens
SEASON = ("2026-11-01", "2027-01-06")


def bearing(direction: float) -> str:
    """Return a direction from north clockwise [deg] in words: ``"south 180°"``."""
    return f"{compass(direction)} {direction:.0f}°"


LAMP = fields.OneOf(options=(ON, SHADED, OFF))
SKY = fields.OneOf(
    label="night sky",
    options=lambda: [name for name in reference.names("sky", "sky glow") if name.endswith(" sky")],
    default="suburban sky",
)


@dataclass(frozen=True, kw_only=True)
class Street(fields.Declared):
    """The lamps of a street and of a show, and where the audience stands."""

    thing = "street"
    street_lamp: Luminaire = fields.declared(fields.Is(kind=Luminaire))
    porch_light: Luminaire = fields.declared(fields.Is(kind=Luminaire))
    neighbour: Luminaire = fields.declared(fields.Is(kind=Luminaire))
    strings: tuple[LedString, ...] = fields.declared(fields.Many(of=fields.Is(kind=LedString)))
    eye: tuple[float, float, float] = fields.declared(fields.POINT)


def invented_street(house: Facade) -> Street:
    """Return an invented street in front of a house: put your own lamps in their place.

    A street lamp at the kerb, a porch light beside the door, a floodlight on the neighbour's wall that points along the
    front, a string of pixel nodes under the roof line, and a viewer on the far pavement.
    """
    left, right, *_ = house.bounds
    doors = [patch for patch in house.patches if "door" in patch.surface.name]
    x, depth = 0.5 * (left + right), 0.0
    if doors:
        corners = np.array(doors[0].outline)
        x, depth = float(corners[:, 0].max()) + 0.3, float(corners[:, 2].max())
    height, spacing, flux, lamp, flood = (
        reference.value("luminaires", name, quantity=quantity)
        for name, quantity in (
            ("porch light", "height"), ("pixel node", "spacing"), ("pixel node", "flux"), ("street lamp", "height"),
            ("floodlight", "height"),
        )
    )  # fmt: skip
    eaves = max(corner[1] for patch in house.patches[:1] for corner in patch.outline)
    out = max(corner[2] for patch in house.patches for corner in patch.outline)
    # In front of whatever reaches that height, such as the edge of a roof.
    at_eaves = [
        patch
        for patch in house.patches
        if min(corner[1] for corner in patch.outline) <= eaves <= max(corner[1] for corner in patch.outline)
    ]
    edge = max(corner[2] for patch in at_eaves for corner in patch.outline) + 0.15
    return Street(
        street_lamp=typical_luminaire("street lamp", position=(left - 1.0, lamp, 11.0)),
        porch_light=typical_luminaire("porch light", position=(x, height, depth + 0.15)),
        neighbour=typical_luminaire(
            "floodlight", called="neighbour's floodlight", position=(right + 8.0, flood, 4.0), pan=60.0, tilt=60.0
        ),
        strings=(
            LedString(
                name="LED string", path=((left, eaves, edge), (right, eaves, edge)), spacing=spacing, node_flux=flux
            ),
        ),
        eye=(0.5 * (left + right) + 3.0, 1.6, out + 14.0),
    )


@dataclass(frozen=True, kw_only=True)
class EveningChoice(fields.Declared):
    """When and where, which lamps are on, and what the machine and the wall are."""

    date: str = fields.declared(fields.Day(label="evening of"), default="2026-12-05")
    latitude: float = fields.declared(fields.LATITUDE, default=42.0, steps=(-70.0, 70.0, 0.5))
    longitude: float = fields.declared(fields.LONGITUDE, default=-88.0, steps=(-180.0, 180.0, 0.5))
    timezone: str = fields.declared(
        fields.Text(label="time zone", example="America/Chicago", empty=True), default="America/Chicago"
    )
    facing: float = fields.declared(fields.FACING, default=180.0, steps=(0.0, 345.0, 15.0), reading=bearing)
    night_sky: str = fields.declared(SKY)
    light_output: float = fields.declared(MACHINE, default=8000.0)
    distance: float = fields.declared(fields.DISTANCE)
    wall: str | None = fields.declared(WALL, default="white fabric")
    street_lamp: str = fields.declared(LAMP, label="street lamp", default=ON)
    porch_light: str = fields.declared(LAMP, label="porch light", default=ON)
    neighbour: str = fields.declared(LAMP, label="neighbour's light", default=OFF)
    strings: float = fields.declared(
        fields.DIMMING, label="LED strings", default=0.1, steps=(0.0, 1.0, 0.01), form=".0%"
    )
    district: str = fields.declared(DISTRICT)
    purpose: str = fields.declared(PURPOSE)
    units: str = fields.declared(fields.UNITS, default="ft")


@dataclass(frozen=True, kw_only=True)
class EveningPlan(Result):
    """One evening, from `evenings`; the season around it and the lamps are looked at when first asked.

    `season` is its first and its last date, `spacing` that of the front [m].
    """

    choice: EveningChoice
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
            self.scene, self.site, *self.season, every=EVERY, step=STEP, target=self.target, spacing=self.spacing
        )

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

    def frame(self, units: str = "m") -> pd.DataFrame:
        """Return what switching each lamp off, or shading it, would buy."""
        return switching_frame(self.lamps)

    def sentence(self, units: str = "m") -> str:
        """Return when the show can start, and which lamp matters most."""
        return f"{start_sentence(self.tonight)} {self.lamp_sentence()}"

    def lamp_sentence(self) -> str:
        """Return which change of a lamp buys most, in words."""
        contrast = self.lamps["contrast"].sel(level="nominal").to_series()
        now = contrast.pop("as it is")
        single = contrast.drop(NO_LAMP, errors="ignore")
        if single.empty:
            return "No lamp is on, and the strings are off: only the sky and the neighbours' windows are left."
        best = single.idxmax()
        if single[best] < 1.02 * now:
            return f"At {self.clock:%H:%M} no lamp by itself changes much: contrast stays near {now:.0f}:1."
        return (
            f"At {self.clock:%H:%M} one change buys most: {best}. It takes contrast from {now:.1f}:1 to "
            f"{single[best]:.1f}:1."
        )


def plan_evening(
    house: Facade,
    choice: EveningChoice,
    *,
    wall_patches: tuple[str, ...],
    street: Street | None = None,
    season: tuple[str, str] = SEASON,
    spacing: float = 0.3,
) -> EveningPlan:
    """Return one evening and the season for `choice`.

    Parameters
    ----------
    wall_patches : tuple of str
        The patches that `choice.wall` covers.
    street : Street, optional
        An invented one if not given.
    season : (str, str)
        First and last date.
    spacing : float
        Pixel size of the front [m].

    Raises
    ------
    InputError
        For a choice that cannot be: an unknown time zone, a picture that misses the front.
    """
    street = invented_street(house) if street is None else street
    lamps: list[Luminaire | LedString] = []
    for lamp, state in (
        (street.street_lamp, choice.street_lamp),
        (street.porch_light, choice.porch_light),
        (street.neighbour, choice.neighbour),
    ):
        if state != OFF:
            lamps.append(lamp if state == ON else replace(lamp, shielded=SHADE))
    if choice.strings:
        lamps += [replace(string, dimming=string.dimming * choice.strings) for string in street.strings]
    scene = street_scene(
        walled(house, choice.wall, wall_patches),
        light_output=choice.light_output,
        distance=choice.distance,
        throw_ratio=THROW_RATIO,
        ambient=Ambient(lamps=tuple(lamps), eye=street.eye),
    )
    site = Site(
        latitude=choice.latitude,
        longitude=choice.longitude,
        timezone=choice.timezone,
        facing=choice.facing,
        sky_brightness=reference.value("sky", choice.night_sky, quantity="brightness"),
    )
    target = target_for(choice)
    return EveningPlan(
        choice=choice,
        scene=scene,
        site=site,
        target=target,
        season=season,
        spacing=spacing,
        tonight=evenings(scene, site, choice.date, target=target, spacing=spacing),
    )
