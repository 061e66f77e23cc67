"""One valid example of each type whose fields are declared, and a call for each declared argument of a function.

`test_refusals.py` spoils them, field by field. A type is added as ``EXAMPLES[kit.Thing] = lambda: kit.Thing(...)``, an
argument as ``ARGUMENTS[kit.function, "spacing"] = SPACING, lambda spacing: kit.function(..., spacing=spacing)``;
both sorted by folder.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd

import kit
from kit.decision import several
from kit.decision.evening import CLOCK, EVENTS, EVERY, HOURS, SHIELD, STEP
from kit.decision.payoff import AMBIENT_LEFT
from kit.decision.several import electrical_power
from kit.decision.washout import DIMMINGS
from kit.eye.light_map import EXTENT
from kit.fields import FLAG, LENGTH, LIGHT_OUTPUT, SPACING, Is, Spec
from kit.housing.air import WATTS
from kit.housing.season import LASTS
from kit.light.lamps import LAMPS
from kit.sky.site import Sky
from kit.stage.audience import VIEWERS
from kit.stage.beam_safety import DISTANCES, EYE_HEIGHTS, WALK
from kit.stage.obtrusive_light import CURFEW, ENVIRONMENTAL_ZONE, RECEIVERS, ROAD
from kit.wall.cloth import WIND

EXAMPLES: dict[type, Callable[[], Any]] = {}
ARGUMENTS: dict[tuple[Callable[..., Any], str], tuple[Spec, Callable[[Any], Any]]] = {}

# source

EXAMPLES[kit.Factor] = lambda: kit.Factor(name="pane", low=0.8, nominal=0.9, high=1.0, source="a light meter")
EXAMPLES[kit.LightSource] = lambda: kit.LightSource(
    name="lamp", source="none", **dict.fromkeys(("red", "green", "blue"), EXAMPLES[kit.Spectrum]())
)
EXAMPLES[kit.Placement] = lambda: kit.Placement(position=(2, 1.5, 6), aim=(2, 1.5, 0), roll=1)
EXAMPLES[kit.Projector] = lambda: kit.Projector(
    light_output=3000,
    throw_ratio=1.5,
    sequential_contrast=1500,
    checkerboard_contrast=200,
    zones=[[8, 9, 8], [9, 10, 9], [8, 9, 7]],
    chain=[EXAMPLES[kit.Factor]()],
)
EXAMPLES[kit.Spectrum] = lambda: kit.Spectrum(
    name="flat", wavelengths=range(400, 701, 20), values=[1] * 16, origin="assumed flat", source="none"
)

# wall

EXAMPLES[kit.Cloth] = lambda: kit.Cloth(name="sheet", reflectance=0.6, transmittance=0.3, weight=0.2, price=(1, 2, 3))
EXAMPLES[kit.Facade] = lambda: kit.Facade([EXAMPLES[kit.Patch]()])
EXAMPLES[kit.Hanging] = lambda: kit.Hanging(layers=2, lining=EXAMPLES[kit.Cloth](), gap=0.1, span=(3, 2), wet=True)
EXAMPLES[kit.Layer] = lambda: kit.Layer(
    reflectance=[0.6, 0.5], transmittance=[0.3, 0.2], back_reflectance=0.5, back_transmittance=0.2
)
EXAMPLES[kit.Obstacle] = lambda: kit.Obstacle(name="tree", area=[(0, 8), (1, 8), (1, 9)], heights=(0, 3), blocks=True)
EXAMPLES[kit.Patch] = lambda: kit.Patch(
    "wall", [(0, 0), (4, 0), (4, 3), (0, 3)], EXAMPLES[kit.Surface](), holes=[[(1, 1), (2, 1), (2, 2)]]
)
EXAMPLES[kit.Pattern] = lambda: kit.Pattern.of(kit.Surface.from_reference("red brick"))
EXAMPLES[kit.Surface] = lambda: kit.Surface(name="brick", reflectance=0.2, low=0.1, high=0.3, kind="brick")
ARGUMENTS[kit.split_at, "height"] = LENGTH, lambda height: kit.split_at(EXAMPLES[kit.Patch](), height)
ARGUMENTS[kit.Covering.wind_force, "wind_speed"] = (
    WIND,
    lambda speed: kit.cover(EXAMPLES[kit.Facade](), EXAMPLES[kit.Cloth]()).wind_force(speed),
)
EXAMPLES[kit.Obstacle] = lambda: kit.Obstacle(name="hedge", area=[(0, 4), (4, 4), (4, 5), (0, 5)], heights=(0, 1))

# sky

EXAMPLES[kit.Distribution] = lambda: kit.Distribution(
    name="lamp", vertical=[0, 45, 90], horizontal=[0], candela=[[3, 2, 1]], stated_flux=10, efficiency=0.8
)
EXAMPLES[kit.LedString] = lambda: kit.LedString(
    name="gutter", path=[(-3, 4, 0.1), (3, 4, 0.1)], spacing=0.1, node_flux=10, facing=(0, 0, 1)
)
EXAMPLES[kit.Luminaire] = lambda: kit.typical_luminaire("porch light", position=(0, 2, 1), flux=600, shielded=80)
EXAMPLES[kit.Site] = lambda: kit.Site(
    latitude=42, longitude=-88, timezone="America/Chicago", facing=180, extinction=0.2
)
EXAMPLES[Sky] = lambda: EXAMPLES[kit.Site]().sky("2026-12-05 18:30")

# light

EXAMPLES[kit.Ambient] = lambda: kit.Ambient(
    vertical_illuminance=1, glare=[EXAMPLES[kit.Glare]()], age=40, lamps=[EXAMPLES[kit.Luminaire]()], eye=(3, 1.6, 16)
)
EXAMPLES[kit.Glare] = lambda: kit.Glare(illuminance=1, angle=10)

# eye

EXAMPLES[kit.Picture] = lambda: kit.Picture(name="grey", rgb=[[[0.5, 0.5, 0.5]]])
EXAMPLES[kit.Doubt] = kit.Doubt
EXAMPLES[kit.Scene] = lambda: kit.Scene(
    facade=EXAMPLES[kit.Facade](),
    projectors=[(EXAMPLES[kit.Projector](), EXAMPLES[kit.Placement]())],
    average_picture_level=0.4,
    ground_reflectance=0.2,
)

ARGUMENTS[kit.light_map, "spacing"] = SPACING, lambda spacing: kit.light_map(EXAMPLES[kit.Scene](), spacing)
ARGUMENTS[kit.light_map, "extent"] = EXTENT, lambda extent: kit.light_map(EXAMPLES[kit.Scene](), 1.0, extent=extent)

# decision

_PAY_OFF = {"ambient_left": AMBIENT_LEFT, "spacing": SPACING}
for _name, _spec in _PAY_OFF.items():
    ARGUMENTS[kit.pay_off, _name] = (
        _spec,
        lambda value, name=_name: kit.pay_off(
            EXAMPLES[kit.Scene](),
            kit.cover(EXAMPLES[kit.Facade](), EXAMPLES[kit.Cloth]()),
            **{"spacing": 1.0} | {name: value},
        ),
    )
ARGUMENTS[kit.projector_price, "light_output"] = LIGHT_OUTPUT, kit.projector_price
ARGUMENTS[electrical_power, "light_output"] = LIGHT_OUTPUT, electrical_power
ARGUMENTS[kit.compare_setups, "spacing"] = (
    SPACING,
    lambda spacing: kit.compare_setups({"one": EXAMPLES[kit.Scene]()}, spacing=spacing),
)
_STACK = {
    "projector": (Is(kind=kit.Projector), EXAMPLES[kit.Projector]()),
    "placement": (Is(kind=kit.Placement), EXAMPLES[kit.Placement]()),
    "count": (several.COUNT, 2),
    "gap": (several.GAP, 0.3),
}
for _name, (_spec, _) in _STACK.items():
    ARGUMENTS[kit.stacked, _name] = (
        _spec,
        lambda value, name=_name: kit.stacked(**{k: v for k, (_, v) in _STACK.items()} | {name: value}),
    )
EXAMPLES[kit.Passing] = lambda: kit.Passing(
    name="car", lamps=[EXAMPLES[kit.Luminaire]()], seconds=5, per_hour=4, begin="16:00", end="22:00"
)
EXAMPLES[kit.Target] = lambda: kit.Target(white_luminance=4, contrast=15)
EXAMPLES[kit.Reading] = lambda: kit.Reading(
    of="reflectance", value=1.0, against=5.0, surface="red brick", doubt=(0.9, 1.1)
)
_EVENING = {"every": EVERY, "begin": CLOCK, "hours": HOURS, "step": STEP, "spacing": SPACING, "passing": EVENTS}
for _name, _spec in _EVENING.items():
    ARGUMENTS[kit.evenings, _name] = (
        _spec,
        lambda value, name=_name: kit.evenings(
            EXAMPLES[kit.Scene](), EXAMPLES[kit.Site](), "2026-12-05", **{"spacing": 1.0} | {name: value}
        ),
    )
ARGUMENTS[kit.switching, "shield"] = (
    SHIELD,
    lambda shield: kit.switching(EXAMPLES[kit.Scene](), EXAMPLES[kit.Site](), "2026-12-05 18:30", shield=shield),
)
for _name, _spec in {"dimmings": DIMMINGS, "spacing": SPACING}.items():
    ARGUMENTS[kit.string_dimming, _name] = (
        _spec,
        lambda value, name=_name: kit.string_dimming(
            dataclasses.replace(EXAMPLES[kit.Scene](), ambient=kit.Ambient(lamps=[EXAMPLES[kit.LedString]()])),
            **{name: value},
        ),
    )

# measure

_PAPER = [(2, 2), (12, 2), (12, 12), (2, 12)]
EXAMPLES[kit.Exposure] = lambda: kit.Exposure(f_number=2, time=0.5, speed=800, bias=-1)
EXAMPLES[kit.Photo] = lambda: kit.Photo(
    name="a.jpg", picture=kit.Picture(name="a.jpg", rgb=np.linspace(0.2, 0.22, 2400).reshape(20, 40, 3)), size=(40, 20),
    exposure=EXAMPLES[kit.Exposure](), focal=26,
)  # fmt: skip
EXAMPLES[kit.MarkedPart] = lambda: kit.MarkedPart(
    name="wall", surface="red brick", corners=[(100, 700), (900, 700), (900, 300), (100, 300)], depth=0.5
)
EXAMPLES[kit.Marks] = lambda: kit.Marks(
    size=(1000, 800), known=[(100, 700, 0, 0), (900, 700, 4, 0), (900, 300, 4, 2), (100, 300, 0, 2)],
    straight=[[(100, 700), (500, 700), (900, 700)]], checks=[(100, 700, 900, 700, 4)], focal=26,
    parts=[EXAMPLES[kit.MarkedPart]()],
)  # fmt: skip

# stage

EXAMPLES[kit.Viewer] = lambda: kit.Viewer(name="neighbour", eye=(2, 2, 20), transmittance=0.8, age=60)
ARGUMENTS[kit.audience_table, "viewers"] = (
    VIEWERS,
    lambda viewers: kit.audience_table(EXAMPLES[kit.Scene](), viewers, spacing=0.5),
)
for _name in ("patches", "overwrite"):
    ARGUMENTS[kit.save_masks, _name] = (
        FLAG,
        lambda value, name=_name: kit.save_masks(
            "masks", EXAMPLES[kit.Scene](), {"wall": "animation"}, **{name: value}
        ),
    )
EXAMPLES[kit.Receiver] = lambda: kit.Receiver(name="window", position=(2, 2, 20), facing=(0, 0, -1))
_OBTRUSIVE = {
    "receivers": (RECEIVERS, [EXAMPLES[kit.Receiver]()]),
    "environmental_zone": (ENVIRONMENTAL_ZONE, "suburban"),
    "curfew": (CURFEW, "after"),
    "lamps": (LAMPS, [EXAMPLES[kit.LedString]()]),
    "masked": (FLAG, True),
}
for _name, (_spec, _) in _OBTRUSIVE.items():
    ARGUMENTS[kit.obtrusive_light, _name] = (
        _spec,
        lambda value, name=_name: kit.obtrusive_light(
            EXAMPLES[kit.Scene](), spacing=0.5, **{k: v for k, (_, v) in _OBTRUSIVE.items()} | {name: value}
        ),
    )
ARGUMENTS[kit.road_light, "road"] = ROAD, lambda road: kit.road_light(EXAMPLES[kit.Scene](), road, spacing=0.5)
ARGUMENTS[kit.beam_table, "distances"] = DISTANCES, lambda at: kit.beam_table(EXAMPLES[kit.Projector](), at)
ARGUMENTS[kit.keep_out, "eye_heights"] = (
    EYE_HEIGHTS,
    lambda heights: kit.keep_out(EXAMPLES[kit.Scene](), eye_heights=heights),
)
ARGUMENTS[kit.keep_out, "walk"] = WALK, lambda walk: kit.keep_out(EXAMPLES[kit.Scene](), walk=walk)
EXAMPLES[kit.Lens] = lambda: kit.Lens(
    throw_ratio=(0.7, 1.3), shift_across=(-0.1, 0.1), shift_up=(0, 0.5), tilt=(-15, 15), pan=(-20, 20)
)
EXAMPLES[kit.Limits] = lambda: kit.Limits(keystone=0.2, blocked=0.1, reached=0.9, focus_depth=4, people=0.1)
EXAMPLES[kit.Stand] = lambda: kit.Stand(name="lawn", area=[(-8, 8), (8, 8), (8, 20), (-8, 20)], heights=(0.3, 1.5))

# housing

EXAMPLES[kit.Feed] = lambda: kit.Feed(nodes=50, length=5)
EXAMPLES[kit.Housing] = lambda: kit.Housing(size=(1, 1, 1), flow=0.03, dehumidifier=True, heater=20)
EXAMPLES[kit.Pane] = lambda: kit.Pane(glass="acrylic", thickness=0.003, tilt=5)
_YEAR = pd.DataFrame(0.5, index=range(8760), columns=["temperature", "humidity", "sun"])
for _name, _spec in (("power", WATTS), ("lasts", LASTS)):
    ARGUMENTS[kit.keep, _name] = (
        _spec,
        lambda value, name=_name: kit.keep(
            kit.Housing(), _YEAR, "2026-12-05", "2026-12-05", **{"power": 100.0} | {name: value}
        ),
    )

# answers

EXAMPLES[kit.Choice] = lambda: kit.Choice(wall="red brick")
EXAMPLES[kit.ClothChoice] = lambda: kit.ClothChoice(wall="red brick")
EXAMPLES[kit.EveningChoice] = lambda: kit.EveningChoice(wall="red brick")
EXAMPLES[kit.KeepChoice] = lambda: kit.KeepChoice(temperature=3, power=300)
EXAMPLES[kit.PlanChoice] = lambda: kit.PlanChoice(wall="red brick", budget=1500)
EXAMPLES[kit.Machine] = lambda: kit.Machine(
    name="ours", lumens=5000, throw_ratio=(1.2, 2), price=900, shift_up=(0, 0.6), hours=4000, power=300, noise=35
)
EXAMPLES[kit.Show] = lambda: kit.Show(
    house=EXAMPLES[kit.Facade](), latitude=42, longitude=-88, lamps=[EXAMPLES[kit.ShowLamp]()], ambient=1, walk=15
)
EXAMPLES[kit.ShowLamp] = lambda: kit.ShowLamp(
    name="porch", kind="porch light", position=(0, 2, 1), flux=600, towards=(0, 9), front=0
)
EXAMPLES[kit.StandChoice] = lambda: kit.StandChoice(wall="red brick")

# views
