"""One valid call of each public callable, and what is wrong with its answers where an argument is spoiled.

``python tests/soak.py api --minutes 60`` tries every mutation of every argument, then of two at once until the time is
over; it prints counts, and each bad answer once. ``test_api.py`` tries some of them.
"""

from __future__ import annotations

import collections
import dataclasses
import inspect
import io
import math
import os
import random
import resource
import signal
import tempfile
import time
import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, redirect_stdout
from functools import partial
from pathlib import Path
from typing import Any

import matplotlib as mpl

mpl.use("Agg")

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import xarray as xr
from examples import EXAMPLES

import kit
import sliders
from kit.answers.show import Shortlist

ROOT = Path(__file__).parents[1]
HOUSE, LONGEST, SOON = ROOT / "notebooks/houses/brick_two_storey.toml", 300, 10.0
# What a process may ask for in all, in a long run [bytes].
MOST_MEMORY = 10 * 2**30
Call = tuple[Callable[..., Any], dict[str, Any]]


class TooLong(BaseException):
    """A call that does not end."""


class Made:
    """Things to call with, each made once."""

    def __getattr__(self, name: str) -> Any:
        value = MADE[name]()
        setattr(self, name, value)
        return value


made = Made()
MADE: dict[str, Callable[[], Any]] = {
    "folder": lambda: Path(tempfile.mkdtemp(prefix="kit-api-")),
    "light": lambda: kit.light_map(EXAMPLES[kit.Scene](), 0.5),
    "view": lambda: kit.night_view(
        EXAMPLES[kit.Scene](), EXAMPLES[kit.Picture](), kit.light_source("three led"), spacing=1.0
    ),
    "verdict": lambda: kit.judge(made.light, draws=64),
    "house": lambda: kit.load_house(HOUSE),
    "show": EXAMPLES[kit.Show],
    "covering": lambda: kit.cover(EXAMPLES[kit.Facade](), EXAMPLES[kit.Cloth]()),
    "season": lambda: kit.evenings(
        dataclasses.replace(EXAMPLES[kit.Scene](), ambient=kit.Ambient(vertical_illuminance=0.1)),
        EXAMPLES[kit.Site](),
        "2026-12-05",
        "2026-12-06",
        spacing=1.0,
        step=60.0,
    ),
    "switched": lambda: kit.switching(
        dataclasses.replace(EXAMPLES[kit.Scene](), ambient=kit.Ambient(lamps=[EXAMPLES[kit.Luminaire]()])),
        EXAMPLES[kit.Site](),
        "2026-12-05 18:30",
        spacing=1.0,
        step=60.0,
    ),
    "strings": lambda: dataclasses.replace(
        EXAMPLES[kit.Scene](), ambient=kit.Ambient(lamps=[EXAMPLES[kit.LedString]()])
    ),
    "dimming": lambda: kit.string_dimming(made.strings, spacing=1.0),
    "machine": lambda: dataclasses.replace(EXAMPLES[kit.Projector](), chain=()),
    "places": lambda: kit.evaluate(made.wall, made.machine, EXAMPLES[kit.Lens](), [(2.0, 1.0, 8.0)]),
    "wall": EXAMPLES[kit.Facade],
    "searched": lambda: kit.search(made.wall, made.machine, EXAMPLES[kit.Lens](), [EXAMPLES[kit.Stand]()], count=20),
}


SPOT = [(2, 2), (12, 2), (12, 12), (2, 12)]


def bright() -> kit.Exposure:
    """The exposure of a photo of less light."""
    return dataclasses.replace(EXAMPLES[kit.Exposure](), speed=1600.0)


def marks_file() -> Path:
    """A file of marks."""
    EXAMPLES[kit.Marks]().save(made.folder / "read.json")
    return made.folder / "read.json"


def example(kind: type) -> Call:
    """A call of a type with declared fields, by what its example holds."""
    thing = EXAMPLES[kind]()
    return kind, {f.name: getattr(thing, f.name) for f in dataclasses.fields(kind) if f.init}


def show_folder() -> Path:
    """Return a folder with one show file, which cannot be read: it is told soon, and once."""
    folder = made.folder / "shows"
    folder.mkdir(exist_ok=True)
    (folder / "wrong.toml").write_text("ambient = -1")
    return folder


def calls() -> dict[str, Callable[[], Call]]:
    """A valid call of each public callable by name, made when it is wanted; all arguments by name."""
    of, scene = EXAMPLES, EXAMPLES[kit.Scene]
    found: dict[str, Callable[[], Call]] = {}
    for name in kit.PUBLIC:
        kind = getattr(kit, name)
        if isinstance(kind, type) and kind in EXAMPLES:
            found[name] = partial(example, kind)
    choices = {
        "compare": kit.Choice,
        "weigh": kit.ClothChoice,
        "plan_evening": kit.EveningChoice,
        "arrange": kit.StandChoice,
        "keep_outdoors": kit.KeepChoice,
    }
    for name, kind in choices.items():
        more = {"season": ("2026-12-05", "2026-12-06")} if name == "plan_evening" else {}
        found[name] = lambda name=name, kind=kind, more=more: (
            getattr(kit, name),
            {"show": made.show, "choice": kind()} | ({} if name == "keep_outdoors" else {"spacing": 1.0}) | more,
        )
        found[f"{kind.__name__}.on"] = lambda kind=kind: (kind().on, {"show": made.show})
    panels = "ClassPanel", "ClothPanel", "EveningPanel", "StandPanel", "HousingPanel"
    found |= {name: lambda name=name: (getattr(sliders, name), {"show": made.show}) for name in panels}
    little = Shortlist(machines=(kit.Machine(name="little", lumens=1000, throw_ratio=(0.8, 2), price=500),))
    own = {
        "DecidePanel": lambda: (
            partial(sliders.DecidePanel, shortlist=little, draws=16, points=30.0),
            {"show": made.show},
        ),
        "MakePanel": lambda: (sliders.MakePanel, {"path": made.folder / "made.toml"}),
        "open_show": lambda: (kit.open_show, {"path": HOUSE}),
        "load_shortlist": lambda: (kit.load_shortlist, {"path": ROOT / "notebooks" / "houses" / "machines.toml"}),
        "plans": lambda: (
            kit.plans,
            {
                "show": made.show,
                "choice": kit.PlanChoice(two=False),
                "budget": 1e6,
                "shortlist": little,
                "draws": 16,
                "points": 30.0,
            },
        ),
        "verdicts": lambda: (
            kit.verdicts,
            {"folder": show_folder(), "out": made.folder / "out.csv", "cluster": "", "jobs": 1, "spacing": 1.0},
        ),
        "decision_sheet": lambda: (
            kit.decision_sheet,
            {"show": made.show, "chosen": [], "date": "2026-12-05", "paper": "A4", "spacing": 1.0},
        ),
        "sheets": lambda: (
            kit.sheets,
            {"path": show_folder(), "out": made.folder / "out", "date": "2026-12-05", "paper": "A4", "jobs": 1},
        ),
        "save_show": lambda: (kit.save_show, {"show": made.show, "path": made.folder / "a.toml", "overwrite": True}),
        "evenings": lambda: (
            kit.evenings,
            {
                "scene": scene(),
                "site": of[kit.Site](),
                "first": "2026-12-05",
                "last": "2026-12-05",
                "every": 1,
                "begin": "17:00",
                "hours": 1.0,
                "step": 30.0,
                "target": of[kit.Target](),
                "spacing": 1.0,
                "passing": [of[kit.Passing]()],
                "banded": False,
            },
        ),
        "source_frame": lambda: (kit.source_frame, {"result": made.season, "clock": "2026-12-05 18:00"}),
        "start_frame": lambda: (kit.start_frame, {"result": made.season, "part": "the whole front", "every": 1}),
        "start_sentence": lambda: (
            kit.start_sentence,
            {"result": made.season, "date": "2026-12-05", "part": "the whole front"},
        ),
        "switching": lambda: (
            kit.switching,
            {
                "scene": scene(),
                "site": of[kit.Site](),
                "clock": "2026-12-05 18:30",
                "shield": 60.0,
                "target": of[kit.Target](),
                "spacing": 1.0,
                "part": "the whole front",
                "begin": "17:00",
                "hours": 1.0,
                "step": 30.0,
            },
        ),
        "switching_frame": lambda: (kit.switching_frame, {"result": made.switched}),
        "measure_first": lambda: (
            kit.measure_first,
            {"light": made.light, "target": of[kit.Target](), "surface": "brick"},
        ),
        "with_measurement": lambda: (
            kit.with_measurement,
            {
                "scene": scene(),
                "readings": [kit.Reading(of="reflectance", value=1.0, against=5.0, surface="brick")],
                "target": of[kit.Target](),
                "spacing": 1.0,
            },
        ),
        "pay_off": lambda: (
            kit.pay_off,
            {
                "scene": scene(),
                "covering": made.covering,
                "target": of[kit.Target](),
                "spacing": 1.0,
                "ambient_left": 0.5,
                "costs": {"shade": 30.0},
            },
        ),
        "projector_price": lambda: (kit.projector_price, {"light_output": 3000.0}),
        "compare_setups": lambda: (
            kit.compare_setups,
            {"setups": {"one": scene()}, "target": of[kit.Target](), "spacing": 1.0},
        ),
        "stacked": lambda: (
            kit.stacked,
            {"projector": of[kit.Projector](), "placement": of[kit.Placement](), "count": 2, "gap": 0.3},
        ),
        "judge": lambda: (kit.judge, {"light": made.light, "target": of[kit.Target](), "draws": 64}),
        "ladder": lambda: (kit.ladder, {"verdict": made.verdict}),
        "rung_target": lambda: (
            kit.rung_target,
            {"white": "a floodlit wall in a dark district", "contrast": "a picture that can be followed", "share": 0.8},
        ),
        "string_dimming": lambda: (
            kit.string_dimming,
            {"scene": made.strings, "target": of[kit.Target](), "spacing": 1.0, "dimmings": [0.5]},
        ),
        "InputError": lambda: (kit.InputError, {"field": "a", "value": 3, "right": "four"}),
        "colour_frame": lambda: (
            kit.colour_frame,
            {"colours": [kit.wall_colour(kit.light_source("lamp"), of[kit.Surface]())]},
        ),
        "wall_colour": lambda: (
            kit.wall_colour,
            {
                "source": kit.light_source("lamp"),
                "surface": of[kit.Surface](),
                "white_illuminance": 100.0,
                "black_share": 0.0,
            },
        ),
        "veiling_luminance": lambda: (kit.veiling_luminance, {"illuminance": 1.0, "angle": 10.0, "age": 40.0}),
        "chain_frame": lambda: (kit.chain_frame, {"light": made.light}),
        "light_map": lambda: (kit.light_map, {"scene": scene(), "spacing": 1.0, "extent": (0.0, 4.0, 0.0, 3.0)}),
        "dim_vision": lambda: (kit.dim_vision, {"luminance": 1.0, "lights": None, "luminances": (0.1, 1.0)}),
        "base_colours": lambda: (
            kit.base_colours,
            {"view": made.view, "facade": made.wall, "source": kit.light_source("three led")},
        ),
        "daylight_picture": lambda: (kit.daylight_picture, {"facade": made.wall, "spacing": 0.5}),
        "night_view": lambda: (
            kit.night_view,
            {
                "scene": scene(),
                "picture": of[kit.Picture](),
                "source": of[kit.LightSource](),
                "fit": "front",
                "ambient_light": "warm white led street lamp",
                "spacing": 1.0,
                "extent": (0.0, 4.0, 0.0, 3.0),
            },
        ),
        "on_screen": lambda: (kit.on_screen, {"views": [made.view]}),
        "load_picture": lambda: (
            kit.load_picture,
            {"path": ROOT / "notebooks/which_brightness_class.png", "transparent": "black"},
        ),
        "keep": lambda: (
            kit.keep,
            {
                "box": of[kit.Housing](),
                "weather": kit.invented_weather(),
                "first": "2026-12-05",
                "last": "2026-12-05",
                "power": 100.0,
                "lasts": 2.0,
            },
        ),
        "invented_weather": lambda: (kit.invented_weather, {"climate": "invented: damp and mild"}),
        "read_weather": lambda: (kit.read_weather, {"path": mild(made.folder / "mild.epw")}),
        "headlamps": lambda: (
            kit.headlamps,
            {"name": "car", "position": (0.0, 20.0), "towards": (0.0, 0.0), "level": "nominal"},
        ),
        "typical_luminaire": lambda: (
            kit.typical_luminaire,
            {"name": "porch light", "position": (0, 2, 1), "level": "nominal", "called": "lamp", "flux": 600.0},
        ),
        "load_distribution": lambda: (kit.load_distribution, {"path": photometric()}),
        "picture_width": lambda: (kit.picture_width, {"distance": 8.0, "throw_ratio": 1.5}),
        "throw_ratio_for": lambda: (kit.throw_ratio_for, {"width": 8.0, "distance": 8.0}),
        "typical_chain": lambda: (kit.typical_chain, {"options": None}),
        "typical_projector": lambda: (
            kit.typical_projector,
            {
                "light_output": 3000.0,
                "throw_ratio": 1.5,
                "options": {},
                "resolution": (1920, 1200),
                "lens_shift": (0.0, 0.5),
            },
        ),
        "light_source": lambda: (kit.light_source, {"name": "three led"}),
        "audience_table": lambda: (
            kit.audience_table,
            {"scene": scene(), "viewers": [of[kit.Viewer]()], "target": of[kit.Target](), "spacing": 0.5},
        ),
        "windscreen": lambda: (kit.windscreen, {"eye": (0.0, 1.2, 20.0), "name": "car", "age": 40.0}),
        "beam_table": lambda: (kit.beam_table, {"projector": of[kit.Projector](), "distances": [1.0, 2.0]}),
        "keep_out": lambda: (kit.keep_out, {"scene": scene(), "eye_heights": (1.0, 1.9), "walk": 10.0}),
        "content_parts": lambda: (
            kit.content_parts,
            {
                "light": made.light,
                "target": of[kit.Target](),
                "scene": scene(),
                "viewer": (2.0, 1.6, 15.0),
                "patterns": {"brick": of[kit.Pattern]()},
            },
        ),
        "picture_map": lambda: (kit.picture_map, {"scene": scene(), "projector_index": 0}),
        "save_masks": lambda: (
            kit.save_masks,
            {
                "folder": made.folder / "masks",
                "scene": scene(),
                "parts": {"wall": "animation"},
                "patches": True,
                "overwrite": True,
            },
        ),
        "obtrusive_light": lambda: (
            kit.obtrusive_light,
            {
                "scene": scene(),
                "receivers": [of[kit.Receiver]()],
                "environmental_zone": "suburban",
                "curfew": "after",
                "lamps": [of[kit.LedString]()],
                "road": None,
                "masked": True,
                "spacing": 0.5,
            },
        ),
        "road_light": lambda: (
            kit.road_light,
            {
                "scene": scene(),
                "road": [of[kit.Receiver](), kit.Receiver(name="far", position=(2, 2, 30), facing=(0, 0, -1))],
                "masked": False,
                "spacing": 0.5,
            },
        ),
        "describe": lambda: (
            kit.describe,
            {
                "facade": made.wall,
                "projector": of[kit.Projector](),
                "placement": of[kit.Placement](),
                "target": ["wall"],
                "obstacles": [of[kit.Obstacle]()],
                "audience": (2.0, 1.6, 15.0),
                "points": 50,
            },
        ),
        "evaluate": lambda: (
            kit.evaluate,
            {
                "facade": made.wall,
                "projector": made.machine,
                "lens": of[kit.Lens](),
                "positions": [(2.0, 1.0, 8.0)],
                "target": ["wall"],
                "obstacles": [of[kit.Obstacle]()],
                "audience": (2.0, 1.6, 15.0),
                "limits": of[kit.Limits](),
                "points": 50,
            },
        ),
        "placement_of": lambda: (kit.placement_of, {"projector": made.machine, "places": made.places, "index": 0}),
        "search": lambda: (
            kit.search,
            {
                "facade": made.wall,
                "projector": made.machine,
                "lens": of[kit.Lens](),
                "stands": [of[kit.Stand]()],
                "obstacles": [],
                "objective": "illuminance",
                "count": 20,
                "target": ["wall"],
                "audience": (2.0, 1.6, 15.0),
                "limits": of[kit.Limits](),
                "points": 50,
                "units": "m",
            },
        ),
        "load_photo": lambda: (
            kit.load_photo,
            {"path": ROOT / "notebooks/which_brightness_class.png", "linear": False},
        ),
        "Marks.parse": lambda: (kit.Marks.parse, {"text": of[kit.Marks]().text(), "where": "marks: text"}),
        "fit_wall": lambda: (kit.fit_wall, {"marks": of[kit.Marks]()}),
        "Marks.load": lambda: (kit.Marks.load, {"path": marks_file()}),
        "Marks.save": lambda: (of[kit.Marks]().save, {"path": made.folder / "marks.json"}),
        "Wall.places": lambda: (kit.fit_wall(of[kit.Marks]()).places, {"corners": [(500, 500)], "depth": 0.5}),
        "Wall.doubt": lambda: (kit.fit_wall(of[kit.Marks]()).doubt, {"corners": [(500, 500)]}),
        "Wall.house": lambda: (kit.fit_wall(of[kit.Marks]()).house, {"name": "ours", "surfaces": (of[kit.Surface](),)}),
        "Photo.spot": lambda: (of[kit.Photo]().spot, {"field": "corners", "corners": SPOT}),
        "read_reflectance": lambda: (
            kit.read_reflectance,
            {
                "photo": of[kit.Photo](),
                "wall": SPOT,
                "sheets": [SPOT],
                "name": "wall",
                "kind": "brick",
                "sheet": "grey card",
            },
        ),
        "read_ambient": lambda: (
            kit.read_ambient,
            {
                "taken": of[kit.Photo](),
                "surface": of[kit.Surface](),
                "wall": SPOT,
                "without": {"lamp": dataclasses.replace(of[kit.Photo](), exposure=bright())},
            },
        ),
        "read_shot": lambda: (
            kit.read_shot,
            {
                "white": of[kit.Photo](),
                "black": dataclasses.replace(of[kit.Photo](), exposure=bright()),
                "sheets": [SPOT],
                "surface": of[kit.Surface](),
                "lumens": 3000.0,
                "area": 10.0,
                "distance": 5.0,
                "sheet": "printer paper",
            },
        ),
        "Show.measured": lambda: (made.show.measured, {}),
        "foot_lamberts": lambda: (kit.foot_lamberts, {"luminance": 4.0}),
        "length_text": lambda: (kit.length_text, {"length": 4.0, "unit": "ft", "digits": 1}),
        "draw_ladder": lambda: (kit.draw_ladder, {"found": kit.ladder(made.verdict)}),
        "draw_tradeoff": lambda: (kit.draw_tradeoff, {"found": made.searched, "units": "m"}),
        "MapBoard": lambda: (kit.MapBoard, {"target": of[kit.Target](), "units": "m", "facade": made.wall}),
        "NightBoard": lambda: (kit.NightBoard, {"units": "m", "facade": made.wall}),
        "PlanBoard": lambda: (kit.PlanBoard, {"facade": made.wall, "units": "ft", "reach": 20.0}),
        "draw_house": lambda: (kit.draw_house, {"facade": made.wall, "ax": None, "units": "m"}),
        "report": lambda: (kit.report, {"thing": made.verdict, "units": "m", "title": "verdict"}),
        "show": lambda: (kit.show, {"ax": kit.draw_house(made.wall), "alt": "a front of one wall"}),
        "draw_lamp": lambda: (kit.draw_lamp, {"lamp": of[kit.Luminaire](), "facade": made.wall, "units": "m"}),
        "cover": lambda: (
            kit.cover,
            {
                "facade": made.wall,
                "cloth": of[kit.Cloth](),
                "what": "all masonry",
                "how": of[kit.Hanging](),
                "storey": 2.0,
                "spectral": False,
            },
        ),
        "hang": lambda: (
            kit.hang,
            {"cloth": of[kit.Cloth](), "wall": of[kit.Surface](), "how": of[kit.Hanging](), "spectral": False},
        ),
        "hanging_frame": lambda: (
            kit.hanging_frame,
            {"wall": of[kit.Surface](), "cloths": ["white cotton"], "gap": 0.3, "units": "ft"},
        ),
        "pattern_behind": lambda: (
            kit.pattern_behind,
            {"pattern": of[kit.Pattern](), "cloth": of[kit.Cloth](), "how": of[kit.Hanging]()},
        ),
        "wet_front": lambda: (kit.wet_front, {"facade": made.wall}),
        "wet_surface": lambda: (kit.wet_surface, {"wall": of[kit.Surface]()}),
        "split_at": lambda: (kit.split_at, {"patch": of[kit.Patch](), "height": 1.0}),
        "with_returns": lambda: (kit.with_returns, {"patch": of[kit.Patch](), "back": -1.0}),
        "load_house": lambda: (kit.load_house, {"path": HOUSE}),
        "parse_house": lambda: (kit.parse_house, {"source": HOUSE.read_text(encoding="utf-8"), "file": "a.toml"}),
        "stack": lambda: (kit.stack, {"layers": [of[kit.Layer]()]}),
        "surface_spectrum": lambda: (kit.surface_spectrum, {"surface": of[kit.Surface]()}),
        # What the types do.
        "Surface.from_reference": lambda: (kit.Surface.from_reference, {"name": "red brick"}),
        "Cloth.from_reference": lambda: (kit.Cloth.from_reference, {"name": "white cotton"}),
        "Pattern.from_reference": lambda: (
            kit.Pattern.from_reference,
            {"name": "modular brick", "unit_reflectance": 0.2, "joint_reflectance": 0.5},
        ),
        "Facade.patch": lambda: (made.wall.patch, {"name": "wall"}),
        "Facade.cover": lambda: (made.wall.cover, {"surface": of[kit.Surface](), "patches": ["wall"]}),
        "Site.utc": lambda: (of[kit.Site]().utc, {"clock": "2026-12-05 18:30", "second": False}),
        "Site.clock": lambda: (of[kit.Site]().clock, {"times": np.datetime64("2026-12-05T18:30")}),
        "Site.sky": lambda: (of[kit.Site]().sky, {"clock": "2026-12-05 18:30"}),
        "Site.sky_at": lambda: (of[kit.Site]().sky_at, {"times": np.datetime64("2026-12-05T18:30")}),
        "Distribution.intensity": lambda: (of[kit.Distribution]().intensity, {"theta": 10.0, "phi": 0.0}),
        "Picture.resized": lambda: (of[kit.Picture]().resized, {"width": 2, "height": 2}),
        "Projector.at": lambda: (of[kit.Projector]().at, {"throw_ratio": 1.5}),
        "Beam.of": lambda: (kit.Beam.of, {"projector": of[kit.Projector](), "placement": of[kit.Placement]()}),
        "Spectrum.on": lambda: (of[kit.Spectrum]().on, {"wavelengths": [500.0]}),
        "Layer.over": lambda: (of[kit.Layer]().over, {"backing": of[kit.Layer]()}),
        "Covering.wind_force": lambda: (made.covering.wind_force, {"wind_speed": 10.0}),
        "Covering.frame": lambda: (made.covering.frame, {"units": "ft"}),
        "Covering.sentence": lambda: (made.covering.sentence, {"units": "ft"}),
        "Verdict.frame": lambda: (made.verdict.frame, {"units": "ft"}),
        "Verdict.patch": lambda: (made.verdict.patch, {"name": "wall"}),
        "Verdict.surface": lambda: (made.verdict.surface, {"name": "brick"}),
        "Verdict.sentence": lambda: (made.verdict.sentence, {"units": "ft"}),
        "LedString.dimmed": lambda: (of[kit.LedString]().dimmed, {"share": 0.5}),
        "Luminaire.dimmed": lambda: (of[kit.Luminaire]().dimmed, {"share": 0.5}),
        "Show.walled": lambda: (made.show.walled, {"wall": "red brick"}),
        "Show.cloth": lambda: (made.show.cloth, {"name": "white cotton"}),
        "Show.sentence": lambda: (made.show.sentence, {"units": "ft"}),
    }
    return found | own


def photometric() -> Path:
    """A photometric file."""
    path = made.folder / "lamp.ies"
    lines = "IESNA:LM-63-2002", "TILT=NONE", "1 -1 1 3 1 1 2 0 0 0", "1 1 10", "0 45 90", "0", "100 70 0"
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


def mild(path: Path) -> Path:
    """A weather file of one mild hour again and again."""
    head = ["LOCATION,Nowhere,-,-,invented,0,42.0,-87.0,-6.0,180.0", *[f"HEAD {i},0" for i in range(7)]]
    days = (str(np.datetime64("2025-01-01") + i // 24).split("-") for i in range(8760))
    times = (f"{y},{int(m)},{int(d)},{i % 24 + 1},60" for i, (y, m, d) in enumerate(days))
    rest = ",".join(["?", "7.0", "4.0", "80", "100500", *["0"] * 25])
    path.write_text("\n".join([*head, *(f"{time},{rest}" for time in times)]), encoding="utf-8")
    return path


# Results, which nobody makes by hand, and what takes no argument.
RESULTS = (
    "Beam",
    "Landing",
    "Figure",
    "Likely",
    "Part",
    "Remedy",
    "Verdict",
    "Covering",
    "FrontRaster",
    "WallPoints",
    "Occluders",
    "PhotoReading",
    "Wall",
)
WITHOUT = ("glossary", "surfaces", "towns", "show_schema", "draw_way")


class Odd:
    """What no argument may be."""

    def __repr__(self) -> str:
        return "odd"


# Whatever the argument: these are refused; and where it is a number, or numbers, these are too.
NEVER: tuple[Any, ...] = (Odd(), 1j)
NO_NUMBER: tuple[Any, ...] = (math.nan, "", "no such thing", 10**400, {}, Path("/"))
# What a message calls an argument, where that is clearer than its name.
CALLED = {
    "source": "text line",
    "white": "ladder",
    "contrast": "ladder",
    "options": "chain",
    "called": "lamp",
    "share": "dimming",
    "setups": "setup",
    "lights": "light",
    "target": "patch",
    "extent": "spacing",
    "patches": "patch",
    "path": "file",
    "wavelengths": "values",
    "name": "cloth light",
    "scene": "lamps",
    "surface": "name",
    "spacing": "extent",
    "choice": "field",
    "positions": "position",
    "cloths": "cloth",
    "what": "patch",
}
# What an error says was given may be anything; a verdict has no lengths.
ANYTHING = {("InputError", "value"), ("Verdict.frame", "units"), ("Verdict.sentence", "units")}
WRONG: tuple[Any, ...] = (
    *NEVER,
    None,
    math.nan,
    math.inf,
    -math.inf,
    10**400,
    1e308,
    -1e308,
    5e-324,
    0,
    -1,
    True,
    "",
    " ",
    "no such thing",
    "a\0b",
    "a\nb",
    "\ud800",
    "x" * 5000,
    b"bytes",
    "now",
    "localtime",
    "right/UTC",
    "2026-13-45",
    "1e400",
    [],
    (),
    {},
    set(),
    [math.nan],
    [None],
    [[]],
    [1.0, [2.0]],
    [10**400],
    [1e308] * 3,
    {"a": None},
    {1: 2},
    iter(()),
    range(0),
    np.array([]),
    np.array(math.nan),
    np.array(["a"]),
    np.zeros((2, 0, 3)),
    np.datetime64("NaT"),
    pd.NaT,
    pd.DataFrame(),
    xr.Dataset(),
    lambda *_: 1.0,
    type,
    Path("/"),
    Path("/dev/zero"),
    Path("~nosuchuser/x"),
    np.float64("nan"),
    np.int64(-(2**63)),
    2**63,
    1e-300,
)


def objects() -> tuple[Any, ...]:
    """Things of the kit, where another thing of the kit belongs."""
    kinds = (kit.Facade, kit.Surface, kit.Scene, kit.Target, kit.Cloth, kit.Projector, kit.Site)
    return tuple(EXAMPLES[kind]() for kind in kinds)


@contextmanager
def limited(seconds: float) -> Iterator[None]:
    """Stop what takes longer than so many seconds of processor time."""

    def stop(*_: Any) -> None:
        raise TooLong

    before = signal.signal(signal.SIGVTALRM, stop)
    signal.setitimer(signal.ITIMER_VIRTUAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        signal.signal(signal.SIGVTALRM, before)


def file_in(value: Any) -> list[str]:
    """The file that a path leads to, which a message about its content names."""
    return [value.replace("_", " ")] if isinstance(value, str) and value.strip() and os.path.isfile(value) else []


def fault(call: Callable[..., Any], given: Mapping[str, Any], spoiled: tuple[str, ...], never: bool) -> str:
    """What is wrong with the answer; empty where all is well."""
    with warnings.catch_warnings(record=True) as warned, redirect_stdout(io.StringIO()):
        warnings.simplefilter("always")
        try:
            with limited(SOON):
                call(**given)
            said = "accepts what it cannot use" if never else ""
        except kit.InputError as error:
            message, said = str(error), ""
            if len(message) > LONGEST and "mistakes:" not in message:
                said = f"{len(message)} characters"
            elif len(spoiled) == 1 and not any(
                word in message.replace("_", " ")
                for name in spoiled
                for word in (name.replace("_", " "), *CALLED.get(name, "-").split(), *file_in(given[name]))
            ):
                said = f"does not name it: {message[:60]}"
        except TooLong:
            said = f"takes more than {SOON:g} s"
        except BaseException as error:
            if isinstance(error, KeyboardInterrupt):
                raise
            said = f"{type(error).__name__}: {str(error)[:60]}"
    plt.close("all")
    return said or (f"warns: {str(warned[0].message)[:60]}" if warned else "")


class Tally:
    """Calls made, and bad answers by callable, arguments and what is wrong."""

    def __init__(self) -> None:
        self.calls, self.bad = 0, dict[tuple[str, str, str], str]()

    def numeric(self, value: Any) -> bool:
        """Whether an argument is a number or numbers."""
        items = list(value)[:1] if isinstance(value, list | tuple) else [value]
        return all(isinstance(item, int | float) and not isinstance(item, bool) for item in items)

    def try_one(self, name: str, call: Callable[..., Any], good: Mapping[str, Any], bad: Mapping[str, Any]) -> None:
        """Make a call, and keep what is wrong with its answer."""
        given, spoiled = {**good, **bad}, tuple(bad)
        self.calls += 1
        never = any(
            given[one] is value
            for one in spoiled if (name, one) not in ANYTHING
            for value in (NEVER + NO_NUMBER if self.numeric(good[one]) else NEVER)
        )  # fmt: skip
        if said := fault(call, given, spoiled, never):
            kind = said.partition(":")[0]
            words = ", ".join(f"{one}={given[one]!r:.60}" for one in spoiled)
            self.bad.setdefault((name, ", ".join(spoiled), kind), f"{name}({words}): {said}")


def mutations(value: Any, extra: tuple[Any, ...] = ()) -> Iterator[Any]:
    """Everything wrong in place of a value, and in place of one of its items."""
    yield from WRONG
    yield from extra
    if isinstance(value, list | tuple) and value:
        for i in range(len(value)):
            yield from ([*value[:i], bad, *value[i + 1 :]] for bad in WRONG[:24])
        yield [*value, *value]
    if isinstance(value, Mapping):
        for key in value:
            yield from (dict(value) | {key: bad} for bad in WRONG[:24])
        yield from (dict(value) | {bad: None} for bad in ("", "no such thing", 3, None))


def sweep(
    tally: Tally, names: list[str], share: float = 1.0, seed: int = 0, deadline: float = math.inf, least: int = 0
) -> None:
    """Spoil each argument of each call, or a share of all values; so many at `least`, and no more after `deadline`."""
    chance, table, extra = random.Random(seed), calls(), objects()
    for name in names:
        call, good = table[name]()
        inspect.signature(call).bind(**good)  # or this table is behind
        for argument, value in good.items():
            for bad in mutations(value, extra):
                if time.monotonic() > deadline and tally.calls >= least:
                    return
                if chance.random() < share:
                    tally.try_one(name, call, good, {argument: bad})


def wander(tally: Tally, deadline: float, seed: int) -> None:
    """Spoil two arguments at once, chosen by chance, until the time is over."""
    chance, table, extra = random.Random(seed), calls(), objects()
    ready = {name: make() for name, make in table.items()}
    while time.monotonic() < deadline:
        name = chance.choice(list(ready))
        call, good = ready[name]
        if not good:
            continue
        spoiled = tuple(chance.sample(list(good), min(2, len(good))))
        bad = {one: chance.choice([*WRONG, *extra, *list(mutations(good[one]))[-20:]]) for one in spoiled}
        tally.try_one(name, call, good, bad)


def try_all(minutes: float, only: Sequence[str] = ()) -> int:
    """Try for so many minutes; return the number of distinct bad answers."""
    begin, tally = time.monotonic(), Tally()
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))  # or a call that wants all ends the run
    os.chdir(made.folder)  # what names of files lead to is written here
    deadline = begin + 60 * minutes
    sweep(tally, list(only) or list(calls()), deadline=deadline)
    print(f"each argument: {tally.calls:,} calls, {len(tally.bad)} distinct bad answers", flush=True)
    if not only:
        wander(tally, deadline, seed=round(begin))
    for line in sorted(tally.bad.values()):
        print(line.encode("ascii", "backslashreplace").decode())
    print(
        f"{tally.calls:,} calls of {len(calls())} callables, {len(tally.bad)} distinct bad answers",
        collections.Counter(k[2][:24] for k in tally.bad),
        flush=True,
    )
    return len(tally.bad)
