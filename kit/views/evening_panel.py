"""The panel of the third notebook: when can the show start?

`plan_evening` is the named function behind the sliders: an `EveningChoice` in, an `EveningPlan` out, no widgets
involved.
"""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from kit import reference
from kit.decision.evening import (
    NO_LAMP,
    evenings,
    source_table,
    start_sentence,
    start_table,
    switching,
    switching_table,
)
from kit.decision.verdict import Target
from kit.errors import InputError
from kit.eye.light_map import Scene
from kit.sky.luminaire import LedString, Luminaire, typical_luminaire
from kit.sky.site import Site
from kit.views.charts import draw_evening, draw_season, draw_sources
from kit.views.drawing import png
from kit.views.panel import (
    CAUTIONS,
    TABLE_STYLE,
    Panel,
    count,
    days,
    line,
    menu,
    slider,
    street_scene,
    target_menus,
    unit_buttons,
)
from kit.wall.facade import Facade, Surface

ON, SHADED, OFF = "on", "shaded", "off"
# A shade that holds back what a luminaire sends above this angle from straight down [deg].
SHADE = 60.0
COMPASS = tuple(
    (name, float(45 * i))
    for i, name in enumerate(
        ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
    )
)  # fmt: skip
# The chart of a season looks at one evening in so many, and at moments so far apart [min].
EVERY, STEP = 3, 10.0
# Lens to picture width: a common lens.
THROW_RATIO = 0.8


@dataclass(frozen=True, kw_only=True)
class Street:
    """The lamps of a street and of a show, and where the audience stands.

    Parameters
    ----------
    street_lamp, porch_light, neighbour : Luminaire
        Neighbour: a floodlight on the house next door or across the street.
    strings : sequence of LedString
        Their own drive counts as 100%.
    eye : (float, float, float)
        Of the viewer [m].
    """

    street_lamp: Luminaire
    porch_light: Luminaire
    neighbour: Luminaire
    strings: tuple[LedString, ...]
    eye: tuple[float, float, float]


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
    height, spacing, flux = (
        reference.value("luminaires", name, quantity=quantity)
        for name, quantity in (("porch light", "height"), ("pixel node", "spacing"), ("pixel node", "flux"))
    )
    lamp = reference.value("luminaires", "street lamp", quantity="height")
    flood = reference.value("luminaires", "floodlight", quantity="height")
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
            "floodlight", called="neighbour's floodlight", position=(right + 8.0, flood, 4.0), turn=60.0, tilt=60.0
        ),
        strings=(
            LedString(
                name="LED string", path=((left, eaves, edge), (right, eaves, edge)), spacing=spacing, node_flux=flux
            ),
        ),
        eye=(0.5 * (left + right) + 3.0, 1.6, out + 14.0),
    )


@dataclass(frozen=True, kw_only=True)
class EveningChoice:
    """What the sliders say. Lengths in metres, whatever unit is shown.

    Parameters
    ----------
    date : str
        Of the evening, such as ``"2026-12-05"``.
    latitude, longitude : float
        [deg], north and east positive.
    zone : str
        Name of the time zone.
    facing : float
        Direction in which the front faces, from north clockwise [deg].
    night_sky : str
        A sky of ``reference_data/sky.csv``.
    street_lamp, porch_light, neighbour : {"on", "shaded", "off"}
    string_drive : int
        Of the LED strings [% of full white].
    light_output : float
        Stated [lm].
    distance : float
        Lens to the plane of the front wall [m].
    wall : str
        Surface of the main wall, a name of ``reference_data/surfaces.csv``.
    district, purpose : str
        Name the target, see `Target.from_reference`.
    units : {"ft", "m"}
        Of the distance.
    """

    date: str = "2026-12-05"
    latitude: float = 42.0
    longitude: float = -88.0
    zone: str = "America/Chicago"
    facing: float = 180.0
    night_sky: str = "suburban sky"
    street_lamp: str = ON
    porch_light: str = ON
    neighbour: str = OFF
    string_drive: int = 10
    light_output: float = 8000.0
    distance: float = 12.0396  # 39.5 ft, a step of the slider
    wall: str = "white fabric"
    district: str = "dark"
    purpose: str = "basic decision making"
    units: str = "ft"


@dataclass(frozen=True, kw_only=True)
class EveningPlan:
    """One evening and the season around it; the season and the lamps are looked at when first asked."""

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
        sunset = self.tonight["sunset"].values[0]
        if np.isnat(sunset):
            return pd.Timestamp(self.tonight["clock"].values[0, self.tonight["minute"].size // 2])
        return min(
            (pd.Timestamp(sunset) + pd.Timedelta(hours=1)).floor("5min"),
            pd.Timestamp(self.tonight["clock"].values[0, -1]),
        )

    @cached_property
    def lamps(self) -> xr.Dataset:
        """What switching each lamp off, or shading it, would buy."""
        return switching(
            self.scene, self.site, self.clock, shield=SHADE, target=self.target, spacing=self.spacing, step=STEP
        )

    @property
    def sentence(self) -> str:
        """When the show can start, in words."""
        return start_sentence(self.tonight)

    def lamp_sentence(self) -> str:
        """Return which change of a lamp buys most, in words."""
        found = self.lamps
        if found.sizes["change"] < 2:
            return "No lamp is on, and the strings are off: only the sky and the neighbours' windows are left."
        now = float(found["contrast"][0, 1])
        single = [i for i, name in enumerate(found["change"].values) if i and name != NO_LAMP]
        best = max(single, key=lambda i: float(found["contrast"][i, 1]))
        after = float(found["contrast"][best, 1])
        if after < 1.02 * now:
            return f"At {self.clock:%H:%M} no lamp by itself changes much: contrast stays near {now:.0f}:1."
        return (
            f"At {self.clock:%H:%M} one change buys most: {found['change'].values[best]}. It takes contrast from "
            f"{now:.1f}:1 to {after:.1f}:1."
        )


def plan_evening(
    house: Facade,
    choice: EveningChoice,
    *,
    wall_patches: tuple[str, ...],
    street: Street | None = None,
    season: tuple[str, str] = ("2026-11-01", "2027-01-06"),
    spacing: float = 0.3,
) -> EveningPlan:
    """Return one evening and the season for `choice`.

    Parameters
    ----------
    house : Facade
    choice : EveningChoice
    wall_patches : tuple of str
        The patches whose surface is `choice.wall`.
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
    front = house.cover(Surface.from_reference(choice.wall), patches=wall_patches)
    scene = street_scene(
        front, light_output=choice.light_output, distance=choice.distance, throw_ratio=THROW_RATIO, ambient=0.0
    )
    lamps: list[Luminaire | LedString] = []
    for lamp, state in (
        (street.street_lamp, choice.street_lamp),
        (street.porch_light, choice.porch_light),
        (street.neighbour, choice.neighbour),
    ):
        if state not in (ON, SHADED, OFF):
            raise InputError(lamp.name, state, f"{ON}, {SHADED} or {OFF}")
        if state != OFF:
            lamps.append(lamp if state == ON else replace(lamp, shielded=SHADE))
    if choice.string_drive:
        lamps += [replace(string, drive=string.drive * choice.string_drive / 100.0) for string in street.strings]
    site = Site(
        latitude=choice.latitude,
        longitude=choice.longitude,
        zone=choice.zone,
        facing=choice.facing,
        sky_brightness=reference.value("sky", choice.night_sky, quantity="brightness"),
    )
    scene = replace(scene, ambient=replace(scene.ambient, lamps=tuple(lamps), eye=street.eye))
    target = Target.from_reference(district=choice.district, purpose=choice.purpose)
    return EveningPlan(
        choice=choice,
        scene=scene,
        site=site,
        target=target,
        season=season,
        spacing=spacing,
        tonight=evenings(scene, site, choice.date, target=target, spacing=spacing),
    )


class EveningPanel(Panel):
    """When the show can start: what each source of light gives, the evening, the season, and what a lamp costs.

    Parameters
    ----------
    house : Facade
    wall_patches : sequence of str
        The patches whose surface the reader may change: the main wall and what matches it.
    start : EveningChoice, optional
        What the controls show first, and after a reset.
    street : Street, optional
        An invented one if not given.
    season : (str, str)
        First and last date of the season.
    spacing : float
        Pixel size of the front [m].
    """

    choice_type = EveningChoice
    caution = (
        "Mind the steps in the dark when you switch lamps off: paths, stairs and ways out stay lit, and street lamps "
        f"are the town's to change. {CAUTIONS}"
    )
    split = 8
    pictures = 2
    live = False

    def __init__(
        self,
        house: Facade,
        *,
        wall_patches: Sequence[str],
        start: EveningChoice | None = None,
        street: Street | None = None,
        season: tuple[str, str] = ("2026-11-01", "2027-01-06"),
        spacing: float = 0.3,
    ) -> None:
        self.street = invented_street(house) if street is None else street
        self.season = season
        super().__init__(house, wall_patches=wall_patches, start=start or EveningChoice(), spacing=spacing)

    def _controls(self) -> dict[str, Any]:
        skies = [name for name in reference.names("sky", "sky glow") if name.endswith(" sky")]
        states = (ON, SHADED, OFF)
        return {
            "date": days("evening of", *self.season),
            "latitude": slider("latitude (°)", -70.0, 70.0, 0.5, ".1f"),
            "longitude": slider("longitude (°)", -180.0, 180.0, 0.5, ".1f"),
            "zone": line("time zone", "America/Chicago"),
            "facing": menu("front faces", COMPASS),
            "night_sky": menu("night sky", skies),
            "light_output": count("light output (lm)", 500, 20000, 250),
            "distance": self._distance(),
            "wall": menu("main wall", reference.names("surfaces")),
            "street_lamp": menu("street lamp", states),
            "porch_light": menu("porch light", states),
            "neighbour": menu("neighbour's light", states),
            "string_drive": count("LED strings (%)", 0, 100),
            **target_menus(),
            "units": unit_buttons(),
        }

    def _compute(self, choice: EveningChoice) -> EveningPlan:
        return plan_evening(
            self.house,
            choice,
            wall_patches=self.wall_patches,
            street=self.street,
            season=self.season,
            spacing=self.spacing,
        )

    def _render(self, result: EveningPlan) -> None:
        self.picture.value = evening_picture(result)
        self.caption.value = (
            "<p style='line-height:1.35'>Left: light on the front, source by source, through the evening; bars that "
            "would dwarf the rest are cut and carry their height. Right: contrast against the clock. Below: the "
            "season, bright where contrast is high; the black line is the earliest start, dots are moonrises.</p>"
        )
        self.words.value = (
            "<div class='kit-start' style='border-left:6px solid #444; padding:0 12px; line-height:1.35'>"
            f"<p style='font-size:1.2em'><b>{html.escape(result.sentence)}</b></p>"
            f"<p>{html.escape(result.lamp_sentence())}</p></div>"
        )
        self.further[0].value = season_picture(result)
        self.numbers.value = (
            f"<pre class='kit-hours' {TABLE_STYLE}>{html.escape(switching_table(result.lamps))}\n\n"
            f"{html.escape(source_table(result.tonight, result.clock))}\n\n"
            f"{html.escape(start_table(result.calendar))}</pre>"
        )


def evening_picture(plan: EveningPlan) -> bytes:
    """Return light and contrast of one evening, side by side, as a PNG picture."""
    figure = Figure(figsize=(9.6, 4.0), dpi=100)
    left, right = figure.subplots(1, 2)
    figure.subplots_adjust(left=0.06, right=0.99, bottom=0.27, top=0.92, wspace=0.17)
    draw_sources(plan.tonight, left)
    draw_evening(plan.tonight, right)
    return _png(figure)


def season_picture(plan: EveningPlan) -> bytes:
    """Return the season as a PNG picture."""
    figure = Figure(figsize=(9.6, 3.6), dpi=100)
    ax = figure.subplots()
    figure.subplots_adjust(left=0.075, right=1.05, bottom=0.14, top=0.91)
    draw_season(plan.calendar, ax)
    return _png(figure)


def _png(figure: Figure) -> bytes:
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    return png(canvas)
