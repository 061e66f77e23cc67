"""The show file: a house and all that the pages need beside it, in one TOML file.

    house = "my_house.toml"          # relative to this file; or name, units and [[patch]] as in a house file
    ambient = 0.5                    # lx on the front, by a light meter held against it
    ambient_band = [0.4, 0.65]       # what it may be, in 9 of 10 such houses; left out: half to twice

    [place]
    town = "Chicago"                 # of `kit.towns()`; or latitude, longitude and timezone
    facing = 180                     # where the front looks: 0 north, 90 east

    [[machine]]
    name = "the neighbour's"
    lumens = 5000
    throw_ratio = [1.2, 2.0]         # or one number

``house`` alone is a complete show file; what is missing is assumed, and `Show.assumed` says so. Every field is in
``notebooks/houses/show.schema.json``. Lengths are in ``units``, or those of the house file, or say their own.
"""

import contextlib
import math
import os
from collections.abc import Mapping
from dataclasses import field, replace
from functools import cached_property
from pathlib import Path
from typing import Any, ClassVar, Literal, TypeVar

import numpy as np

from kit import fields, reference, toml_file
from kit.answers.lists import towns
from kit.answers.scenes import CONFIDENCE, DISTRICT, KIND, LIGHT_SOURCE, PURPOSE, SHARE_WANTED
from kit.decision.costs import priced
from kit.decision.measure import Reading, with_reflectance
from kit.decision.verdict import NO_WALLS, Target, rung_target
from kit.errors import InputError
from kit.eye.light_map import DETAIL, Doubt, Scene
from kit.fields import AMBIENT, LENGTH, NAME, Declared, Frozen, Is, Many, Number, OneOf, Spec, declared, specs
from kit.housing.window import DIRT, GLASS, TILT, Pane
from kit.light.ambient import Ambient
from kit.light.cast import Pairs
from kit.light.lamps import Lamp, lamp_map
from kit.results import Frame, Result, make_frame
from kit.sky import luminaire
from kit.sky.luminaire import LedString, Luminaire, typical_luminaire
from kit.sky.photometric_file import load_distribution
from kit.sky.site import SKY_TYPE, TIMEZONE, Site
from kit.source import projector
from kit.source.placement import Placement
from kit.stage.aim import fitting_distance, fitting_throw_ratio, usual_shift
from kit.stage.audience import Viewer, windscreen
from kit.stage.search import Stand
from kit.toml_file import Reader, Record, Values, table
from kit.wall.cloth import MASONRY, Cloth, cloth_names
from kit.wall.facade import Facade, Surface
from kit.wall.house_file import HOUSE, UNIT, house_parts, load_house, read_front, unit_of
from kit.wall.occlusion import Obstacle
from kit.wall.points import FrontRaster
from kit.wall.raster import exposed
from kit.wall.surface_names import find_surface, kind_of
from kit.words import Phrases, capital, join

# Where a show is looked for, and the invented house that stands in for one, in no town.
MINE, DEMO, SHORTLIST = "my_show.toml", Path("houses", "demo_show.toml"), "machines.toml"
PLACES = (Path(__file__).parents[1], Path(__file__).parents[2] / "notebooks")
# How what is not said is taken, and the first words of a page.
say, assumed = Phrases(__file__), Phrases(str(Path(__file__).with_name("assumed")))
# On a lake, where nobody lives.
INVENTED = {"latitude": 42.0, "longitude": -87.0, "timezone": "America/Chicago"}
Choice = TypeVar("Choice")


LAMPS = OneOf(label="kind of lamp", options=lambda: reference.names("luminaires", "luminaire"), empty=True)
SKY = OneOf(
    label="night sky", options=lambda: tuple(r.name for r in reference.table("sky") if r.quantity == "brightness")
)
GROUND = OneOf(
    label="ground in front", options=lambda: reference.names("surfaces", "ground"), former={"snow": "new snow"}
)
COLOUR_LIGHT = fields.LIGHT_OUTPUT.but(
    label="colour light output", meaning="light of full red, green and blue together, which data sheets may state"
)
PANEL = OneOf(label="kind of panel", options=lambda: reference.names("projector_classes", "panel"))
# The losses that a machine may say, by the groups of their table.
LOSSES = {"kind": "rating"}
LOSSES |= {of.replace(" ", "_"): of for of in ("picture mode", "power mode", "ageing", "housing window", "dust")}
PRICE = Number(label="price", low=0.0, meaning="of one machine, in US dollars as all prices of the kit")
SHIFTS = fields.Range(label="lens shift up, least and most", of=Number(low=-10.0, high=10.0), optional=True)
AMBIENT_BAND = fields.Range(of=AMBIENT, label="low and high of ambient (lx)", optional=True)
WALK = LENGTH.but(label="walk", low=0.0, meaning="from the wall to where people walk")
ROOMS_DARK = fields.FLAG.but(label="rooms behind shades are dark", meaning="whether no light is on behind any shade")
AREA = Many(of=fields.Vector(length=2, of=LENGTH), least=3, label="corners: to the right, and from the wall")


class Machine(Declared):
    """A projector in hand or on the list."""

    thing: ClassVar[str] = "machine"
    name: str = declared(NAME)
    lumens: float = declared(fields.LIGHT_OUTPUT)
    throw_ratio: float | tuple[float, float] = declared(projector.ZOOM, default=0.8)
    lens_shift: tuple[float, float] | None = declared(projector.LENS_SHIFT, default=None)
    resolution: tuple[int, int] = declared(projector.RESOLUTION)
    light_source: str = declared(LIGHT_SOURCE, default="laser phosphor")
    kind: str | None = declared(KIND)
    panel: str | None = declared(PANEL, default=None)
    colour_light_output: float | None = declared(COLOUR_LIGHT, default=None)
    picture_mode: str | None = declared(projector.loss("picture mode"))
    power_mode: str | None = declared(projector.loss("power mode"))
    ageing: str | None = declared(projector.loss("ageing"))
    housing_window: str | None = declared(projector.loss("housing window"))
    pane: str | None = declared(GLASS, label="pane", default=None, meaning="its glass, ray by ray, for housing_window")
    pane_tilt: float = declared(TILT)
    dust: str | None = declared(projector.loss("dust"))
    zones: Any = declared(projector.ZONES, default=None)
    price: float | None = declared(PRICE, default=None)
    shift_up: tuple[float, float] | None = declared(SHIFTS, default=None)
    hours: float | None = declared(Number(label="life of its light", unit="h", above=0.0), default=None)
    power: float | None = declared(Number(label="mains power", unit="W", above=0.0), default=None)
    noise: float | None = declared(Number(label="noise", unit="dB", low=0.0, high=120.0), default=None)
    used: bool = declared(fields.FLAG, label="used", default=False)

    def _agree(self, where: str) -> None:
        if (self.colour_light_output or 0.0) > 1.5 * self.lumens:
            right = "at most 1.5 times its lumens"
            raise InputError(f"machine {self.name!r}: colour_light_output", self.colour_light_output, right)

    @property
    def zoom(self) -> tuple[float, float]:
        """Shortest and longest throw ratio."""
        ratio = self.throw_ratio
        return ratio if isinstance(ratio, tuple) else (ratio, ratio)

    @property
    def aspect(self) -> float:
        """Width over height of the picture."""
        return self.resolution[0] / self.resolution[1]

    @property
    def losses(self) -> dict[str, str]:
        """What it says of its losses, by groups of ``reference_data/light_losses.csv``."""
        own = {"housing window": "none"} if self.pane else {}  # the pane is worked out
        return own | {group: said for name, group in LOSSES.items() if (said := getattr(self, name)) is not None}


class ShowLamp(Declared):
    """A lamp in its place: of a typical `kind`, or as the photometric `file` of its maker says."""

    thing: ClassVar[str] = "lamp"
    name: str = declared(NAME)
    position: tuple[float, float, float] = declared(fields.POINT)
    kind: str = declared(LAMPS, default="")
    file: str = declared(fields.Text(label="photometric file", empty=True), default="")
    flux: float | None = declared(luminaire.FLUX, default=None, meaning="that leaves it; None: as kind or file says")
    towards: tuple[float, float] | None = declared(luminaire.TOWARDS, default=None)
    front: float | None = declared(luminaire.FRONT, default=None)
    pan: float | None = declared(luminaire.PAN, default=None)
    tilt: float = declared(luminaire.TILT, default=0.0)
    dimming: float = declared(fields.DIMMING)
    shielded: float | None = declared(luminaire.SHIELDED, default=None)
    spectrum: str = declared(luminaire.LIGHT_NAME)

    def _agree(self, where: str) -> None:
        if bool(self.kind) == bool(self.file):
            given = "both" if self.kind else "neither"
            right = f"one of the two; a kind is one of {', '.join(LAMPS.names())}"
            raise InputError(f"lamp {self.name!r}: kind or file", given, right)

    def luminaire(self) -> Luminaire:
        """Return the lamp; a file that cannot be read raises `InputError`."""
        given = {name: getattr(self, name) for name in specs(self) if name not in ("name", "kind", "file")}
        if self.file:
            shape = load_distribution(self.file)
            if self.towards is None and self.pan is None and shape.horizontal.size > 1:
                right = "a point that its front faces, or pan: the light of its file is not alike all round"
                raise InputError(f"lamp {self.name!r}: towards", None, right)
            return Luminaire(name=self.name, distribution=shape, **given)
        return replace(typical_luminaire(self.kind, called=self.name, position=self.position), **given)


_string = dict(specs(LedString))
for _name, _quantity in {"spacing": "spacing", "node_flux": "flux"}.items():
    _string[_name] = _string[_name].but(default=reference.value("luminaires", "pixel node", quantity=_quantity))
_price = fields.Band(label="price of cloth, or lowest, usual and highest", of=Number(low=0.0), optional=True)
_cloth = {"name": OneOf(label="cloth", options=cloth_names), "per_square_metre": _price, "per_square_foot": _price}
# The lists of a show by their tables: [[lamp]] is a `ShowLamp` in `Show.lamps`, with these fields.
LISTS: dict[str, tuple[type, dict[str, Spec]]] = {
    "lamp": (ShowLamp, specs(ShowLamp)), "string": (LedString, _string),
    "stand": (Stand, specs(Stand) | {"area": AREA}), "obstacle": (Obstacle, specs(Obstacle) | {"area": AREA}),
    "viewer": (Viewer, specs(Viewer)), "machine": (Machine, specs(Machine)), "cloth": (Cloth, _cloth),
}  # fmt: skip
TARGET: dict[str, Spec] = {"district": DISTRICT, "purpose": PURPOSE, "share": SHARE_WANTED, "confidence": CONFIDENCE}
TARGET["black_detail"] = DETAIL.but(default=None)


def _many(kind: type, least: int = 0) -> Any:
    return declared(Many(of=Is(kind=kind), unique="name", least=least), default=None)


class Show(Declared, Result):
    """A house and all that the pages need beside it; None is not said: `full` assumes it, and `assumed` says so.

    `path` and `house_file` are the files it was read from, `taken` what was understood of words that are not the kit's.

    Examples
    --------
    >>> import kit
    >>> show = kit.open_show("notebooks/houses/light_bungalow.toml")
    >>> show.main_wall, show.assumed[1]
    (('main wall',), 'the front faces south')
    >>> show.ambient, show.full.ambient
    (None, 0.861)
    """

    house: Facade = declared(Is(kind=Facade))
    units: str = declared(fields.UNITS)
    latitude: float | None = declared(fields.LATITUDE, default=None)
    longitude: float | None = declared(fields.LONGITUDE, default=None)
    timezone: str | None = declared(TIMEZONE, default=None)
    facing: float | None = declared(fields.FACING, default=None)
    night_sky: str | None = declared(SKY, default=None)
    evening_sky: str | None = declared(SKY_TYPE, default=None)
    ground: str | None = declared(GROUND, default=None)
    ambient: float | None = declared(AMBIENT, default=None)
    ambient_band: tuple[float, float] | None = declared(AMBIENT_BAND, default=None)
    rooms_dark: bool | None = declared(ROOMS_DARK, default=None)
    lamps: tuple[ShowLamp, ...] | None = _many(ShowLamp)
    strings: tuple[LedString, ...] | None = _many(LedString)
    stands: tuple[Stand, ...] | None = _many(Stand, 1)
    obstacles: tuple[Obstacle, ...] | None = _many(Obstacle)
    viewers: tuple[Viewer, ...] | None = _many(Viewer, 1)
    walk: float | None = declared(WALK, default=None)
    machines: tuple[Machine, ...] | None = _many(Machine, 1)
    distance: float | None = declared(fields.DISTANCE, default=None)
    cloths: tuple[Cloth, ...] | None = _many(Cloth)
    district: str | None = declared(DISTRICT, default=None)
    purpose: str | None = declared(PURPOSE, default=None)
    share: float | None = declared(SHARE_WANTED, default=None)
    confidence: float | None = declared(CONFIDENCE, default=None)
    black_detail: float | None = declared(DETAIL, default=None)
    path: Path | None = field(default=None, compare=False)
    house_file: Path | None = field(default=None, compare=False)
    taken: tuple[str, ...] = field(default=(), compare=False)

    def _agree(self, where: str) -> None:
        for name in ("path", "house_file"):
            fields.PathOf(optional=True).check(name, getattr(self, name))
        Many(of=fields.Text()).check("taken", self.taken)
        if (self.latitude is None) != (self.longitude is None):
            raise InputError("latitude, longitude", (self.latitude, self.longitude), "both or none of the two")
        if self.ambient_band and not (self.ambient and self.ambient_band[0] <= self.ambient <= self.ambient_band[1]):
            raise InputError("ambient_band", self.ambient_band, "low and high on either side of ambient, above 0")

    @cached_property
    def full(self) -> Any:
        """The same show with what is not said filled in; the distance stays None."""
        left, right, *_ = self.house.bounds
        middle = self.middle
        guess: dict[str, Any] = {
            "facing": 180.0, "night_sky": "suburban sky", "ground": "grass", "ambient": AMBIENT.default, "cloths": (),
            "machines": tuple(Machine(name=f"{light:,.0f} lm", lumens=light) for light in (4000.0, 8000.0)),
            **{name: spec.default for name, spec in TARGET.items()}, "lamps": (), "strings": (), "obstacles": (),
            "rooms_dark": False, "evening_sky": "clear sky",
        }  # fmt: skip
        if self.latitude is not None:
            guess["timezone"] = _nearest_zone(self.latitude, self.longitude)
        else:
            there = towns().query("timezone == @self.timezone").to_dict("records") if self.timezone else []
            guess |= there[0] if there else INVENTED
        if self.lamps is not None and self.ambient is None:
            guess["ambient"] = self.lamp_light
        near = max(corner[2] for patch in self.house.patches for corner in patch.outline)
        guess["walk"] = walk = self.walk or near + 15.0
        lawn = ((left, near + 2.0), (right, near + 2.0), (right, walk), (left, walk))
        guess["stands"] = (Stand(name="lawn", area=lawn, heights=(0.2, 1.0)),)
        guess["viewers"] = (
            Viewer(name="on the walk", eye=(middle + 2.0, 1.6, walk + 0.7)),
            windscreen((middle - 4.0, 1.2, walk + 5.0), name="in a car"),
            Viewer(name="across the street", eye=(middle + 4.0, 4.5, walk + 9.0)),
        )
        return replace(self, **{name: guess[name] for name in guess if getattr(self, name, "") is None})

    @property
    def middle(self) -> float:
        """The middle of the front, from which places to the side are counted [m]."""
        left, right, *_ = self.house.bounds
        return 0.5 * (left + right)

    @cached_property
    def lamp_light(self) -> float:
        """Median on the front of the light of the lamps that are named [lx]."""
        raster = FrontRaster.over(self.house, self.house.bounds, 0.25)
        ground = reference.value("surfaces", self.ground or "grass")
        lamps = [lamp.luminaire() for lamp in self.lamps or ()]
        return float(np.nanmedian(lamp_map(raster, lamps, ground, self.obstacles or ())))

    @cached_property
    def assumed(self) -> tuple[str, ...]:
        """What is not said and how it is taken, a phrase each."""
        full = self.full
        unsaid = {group for group in LOSSES.values() for machine in full.machines if group not in machine.losses}
        left = [f"{option} ({group})" for group, option in projector.TYPICAL_OPTIONS.items() if group in unsaid]
        more = {"panel": "a panel not known", "colour_light_output": "colours as is usual"}
        left += [said for name, said in more.items() if any(getattr(m, name) is None for m in full.machines)]
        told = {
            "full": full, "light": say("least" if self.lamps is None else "median"), "left": join(left or [""]),
            "place": _place(full) + ("" if self.timezone else ", as none is said"),
            "machines": join([machine.name for machine in full.machines]),
            "corner": projector.usual_zones(1.0)[0][0],
            "worst": reference.value("projector_classes", "worst corner over centre"),
        }  # fmt: skip
        idle = {
            "losses": not left,
            "corners": all(m.zones for m in full.machines),
            "rooms_dark": self.front == self.house,
        }
        gaps = [name for name in assumed.told if getattr(self, name, None) is None and not idle.get(name)]
        return (*self.taken, *(assumed(name, self.units, **told) for name in gaps))

    def frame(self, units: str = "m") -> Frame:
        """Return what is assumed, a row each; `units` change nothing."""
        parts = (words.partition(": ") for words in self.assumed)
        return make_frame([{"assumed": what, "as": how} for what, _, how in parts])

    def sentence(self, units: str | None = None) -> str:
        """Return what every page begins with: house and wall, light, place and target; `units` are the show's own."""
        left, right, bottom, top = self.house.bounds
        wall = [self.house.patch(name).surface for name in self.main_wall[:1]]
        first = say(
            "first", units or self.units, show=self, full=self.full, target=self.target(), wide=right - left,
            high=top - bottom, wall="".join(say("wall", wall=surface) for surface in wall), place=_place(self.full),
        )  # fmt: skip
        claims = (projector.warning(machine.name, machine.kind) for machine in self.full.machines)
        return capital(" ".join([first, *claims])).strip()

    @cached_property
    def front(self) -> Facade:
        """The house with light in the rooms behind its shades, where it is not said: the worse for a picture."""
        light = 0.0 if self.rooms_dark else reference.value("shades", "lit room")
        mine = [p for p in self.house.patches if p.surface.transmittance and (self.rooms_dark or p.room_light is None)]
        lit = tuple(replace(p, room_light=light) if p in mine else p for p in self.house.patches)
        return replace(self.house, patches=lit) if mine else self.house

    @cached_property
    def main_wall(self) -> tuple[str, ...]:
        """The patches of the surface that most of the front has: no windows, doors, roofs, nor what is not judged."""
        shown = {name: shape.area for name, shape in exposed(self.house).items() if shape.area > 0}
        walls = [p for p in self.house.patches if p.name in shown and p.judged and p.surface.kind not in NO_WALLS]
        areas = {p.surface: 0.0 for p in walls}
        for patch in walls:
            areas[patch.surface] += shown[patch.name]
        largest = max(areas, key=lambda surface: areas[surface], default=None)
        return tuple(p.name for p in walls if p.surface == largest)

    @cached_property
    def masonry(self) -> tuple[str, ...]:
        """The patches of brick, stone, stucco and concrete: what cloth may cover."""
        return tuple(p.name for p in self.house.patches if p.faces_audience and p.judged and p.surface.kind in MASONRY)

    def site(self) -> Site:
        """Return the place, with its sky and the ground in front."""
        full = self.full
        return Site(
            **{name: getattr(full, name) for name in ("latitude", "longitude", "timezone", "facing")},
            sky_type=full.evening_sky,
            sky_brightness=reference.value("sky", full.night_sky, quantity="brightness"),
            ground_reflectance=reference.value("surfaces", full.ground),
        )

    def target(self) -> Target:
        """Return what is wanted."""
        full = self.full
        return rung_target(full.district, full.purpose, share=full.share, confidence=full.confidence)

    def luminaires(self) -> tuple[Luminaire, ...]:
        """Return the lamps that are said; none where nothing is."""
        return tuple(lamp.luminaire() for lamp in self.lamps or ())

    @property
    def even(self) -> float:
        """Light on the front that no lamp named explains, taken as even [lx]."""
        return self.full.ambient if self.lamps is None else max(0.0, self.full.ambient - self.lamp_light)

    def light(self, even: float, lamps: tuple[Lamp, ...] = ()) -> Ambient:
        """Return even light and lamps as the first viewer sees them."""
        return Ambient(vertical_illuminance=even, lamps=lamps, eye=self.full.viewers[0].eye if lamps else None)

    @property
    def machine(self) -> Machine:
        """The brightest machine: that of the pages which speak of one."""
        return max(self.full.machines, key=lambda machine: machine.lumens)

    def stands_at(self, machine: Machine) -> dict[str, Any]:
        """Return where a machine stands, its lens so that the picture fits, as near the middle as may be; its light."""
        middle, ratio = self.middle, sum(machine.zoom) / 2.0
        x, height, (near, far) = middle, fields.LENS_HEIGHT.default, (0.0, math.inf)
        if self.stands:
            across, heights, (near, far) = self.stands[0].box
            x, height = float(np.clip(middle, *across)), float(np.clip(height, *heights))
        if machine.lens_shift is None:
            shift = usual_shift(self.house, height=height, aspect=machine.aspect)
        else:
            shift = machine.lens_shift[1]
        lens = {"x": x, "height": height, "shift_up": shift, "aspect": machine.aspect}
        distance = self.distance or float(np.clip(fitting_distance(self.house, ratio, **lens), near, far))
        if machine.zoom[0] < machine.zoom[1]:
            ratio = float(np.clip(fitting_throw_ratio(self.house, distance, **lens), *machine.zoom))
        return {
            "distance": distance, "throw_ratio": ratio, "shift_up": shift, "side": x - middle, "height": height,
            "light_output": machine.lumens, "light_source": machine.light_source,
            "kind": machine.kind or projector.TYPICAL_OPTIONS["rating"],
        }  # fmt: skip

    def _machines(self) -> tuple[tuple[str, Machine], ...]:
        """Return the machines of choices, by what their fields begin with."""
        return ("", self.machine), ("first_", self.pair[0]), ("second_", self.pair[1])

    def filled(self, choice: Choice) -> Choice:
        """Return a choice with what is not chosen, None, as the show says; a wall may stay None: as it is."""
        known: dict[str, Any] = {name: getattr(self.full, name) for name in CHOSEN}
        known["even"] = self.even
        for which, machine in self._machines():
            known |= {f"{which}{name}": value for name, value in self.stands_at(machine).items()}
        gaps = {name: known[name] for name in specs(choice) if getattr(choice, name) is None and name in known}
        return replace(choice, **gaps)  # type: ignore[type-var]

    def fitted(self, choice: Choice, how: Literal["distance", "throw_ratio"]) -> Choice:
        """Return a whole choice whose pictures just hold the front, by moving the machines or by their zoom."""
        changes = {}
        if getattr(choice, "tilt", 0.0):
            raise InputError("tilt", choice.tilt, "0 degrees: a picture that is fitted is level")  # type: ignore[attr-defined]
        for which, machine in self._machines():
            if hasattr(choice, f"{which}{how}"):
                at = {name: getattr(choice, f"{which}{name}", value) for name, value in self.stands_at(machine).items()}
                wide = getattr(choice, "wide", 1.0)  # pictures side by side are fitted as one
                lens = {"x": self.middle + at["side"], "aspect": machine.aspect * wide}
                lens |= {name: at[name] for name in ("height", "shift_up")}
                if how == "distance":
                    changes[f"{which}{how}"] = fitting_distance(self.house, at["throw_ratio"] / wide, **lens)
                else:
                    changes[f"{which}{how}"] = wide * fitting_throw_ratio(self.house, at["distance"], **lens)
        return replace(choice, **changes)  # type: ignore[type-var]

    def beyond_zoom(self, choice: Any) -> tuple[str, ...]:
        """Return, in words, which machines of a whole choice have a throw ratio that their lens has not."""
        said = {}
        for which, machine in self._machines():
            name, (low, high) = machine.name, machine.zoom
            ratio = getattr(choice, f"{which}throw_ratio", low)
            if not low - 1e-9 <= ratio <= high + 1e-9:
                has = f"{low:g}" if low == high else f"{low:g} to {high:g}"
                said[name] = f"{name}: a throw ratio of {ratio:.2f} takes another lens; its own has {has}."
        return tuple(said.values())

    def chosen(self, choice: Any) -> "Show":
        """Return the show as a choice has it: wall, light, place and target; what is assumed in both stays so."""
        given = {name: getattr(choice, name) for name in CHOSEN if getattr(choice, name, None) is not None}
        told = {name: value for name, value in given.items() if value != getattr(self.full, name)}
        if told.keys() & CHOSEN[:3]:  # a place is told as a whole
            told |= {name: given[name] for name in CHOSEN[:3] if name in given}
        told |= {"ambient_band": None} if "ambient" in told else {}
        return replace(self, house=self.walled(choice.wall), **told)

    def measured(self, *readings: Reading) -> "Show":
        """Return the show with readings of its surfaces and of the ambient light, and their bands, as its own.

        Raises `InputError` for a surface that the front has not, and for others: `kit.with_measurement` takes those.
        """
        show = self
        for one in readings:
            low, high = (one.amount * end for end in one.doubt)
            if OneOf(options=("ambient light", "reflectance")).check("readings: of", one.of) == "reflectance":
                show = replace(show, house=with_reflectance(show.house, one.surface, (low, one.amount, high))[0])
            else:
                show = replace(show, ambient=one.value, ambient_band=(low, high) if one.value else None)
        return show

    def walled(self, wall: str | None) -> Facade:
        """Return the house with another surface on its main wall; None: as it is."""
        if wall is None:
            return self.house
        surface = find_surface(wall, {own.name: own for own in self.house.surfaces()}, "wall")
        if not self.main_wall:
            raise InputError("wall", wall, "None for a front that has no wall, but windows, doors and roofs")
        return self.house.cover(surface, patches=self.main_wall)

    @property
    def wall(self) -> Surface:
        """The surface that most of the front has."""
        name = next(iter(self.main_wall), self.house.patches[0].name)
        return self.house.patch(name).surface

    @property
    def pair(self) -> tuple[Machine, Machine]:
        """The two machines that are compared: the first and the brightest, or the next; one alone is both."""
        first, *more = self.full.machines
        return first, self.machine if self.machine is not first else (more or [first])[0]

    def aimed(self, machine: Machine, **changes: float) -> tuple[projector.Projector, Placement]:
        """Return a machine, its losses typical if not said, in its place; `changes` are as `stands_at`, or `tilt`."""
        at = {"tilt": 0.0, **self.stands_at(machine)} | changes
        x, rise = self.middle + at["side"], at["distance"] * math.tan(math.radians(at["tilt"]))
        across = 0.0 if machine.lens_shift is None else machine.lens_shift[0]
        made = projector.typical_projector(
            at["light_output"], at["throw_ratio"],
            resolution=machine.resolution, lens_shift=(across, at["shift_up"]), options=machine.losses,
            light_source=machine.light_source, panel=machine.panel,
            colour_share=machine.colour_light_output and machine.colour_light_output / machine.lumens,
        )  # fmt: skip
        made = replace(made, zones=machine.zones or made.zones)
        made = made.set_to(at["throw_ratio"], made.lens_shift, zoom=machine.zoom)
        if machine.pane and machine.housing_window is None:
            made = Pane(glass=machine.pane, tilt=machine.pane_tilt, dirt=machine.dust or DIRT.default).before(made)
        return made, Placement(position=(x, at["height"], at["distance"]), aim=(x, at["height"] + rise, 0.0))

    def scene(self, machines: Pairs, ambient: Ambient, *, blend: bool = False) -> Scene:
        """Return machines before the front, with the ground that is there, and what stands in the light."""
        ground, (low, high) = reference.value("surfaces", self.full.ground), self.ambient_band or (0.0, 0.0)
        doubt = Doubt(even_light=(low / self.ambient, high / self.ambient)) if self.ambient and low else Doubt()
        if self.black_detail and ambient.eye is None:
            ambient = replace(ambient, eye=self.full.viewers[0].eye)
        return Scene(
            facade=self.front, projectors=tuple(machines), ambient=ambient, ground_reflectance=ground, blend=blend,
            obstacles=self.full.obstacles, doubt=doubt, black_detail=self.black_detail,
        )  # fmt: skip

    def grounds(self) -> tuple[tuple[str, Any, tuple[float, float], bool | None], ...]:
        """Return where machines may stand, and what stands in the light, as `kit.views.plans.PlanBoard` draws it."""
        return (
            *((s.name, s.area, s.heights, None) for s in self.full.stands),
            *((o.name, o.area, o.heights, o.blocks) for o in self.full.obstacles),
        )

    def cloth(self, name: str) -> Cloth:
        """Return a cloth at the price that it has here."""
        return next((cloth for cloth in self.cloths or () if cloth.name == name), None) or Cloth.from_reference(name)


_own = specs(Show)
_places = ("latitude", "longitude", "timezone", "facing", "night_sky", "evening_sky", "ground")
_town = fields.Text(label="town, of kit.towns(); or latitude, longitude and timezone", optional=True)
PLACE: dict[str, Spec] = {"town": _town, **{name: _own[name] for name in _places}}
SCALARS: dict[str, Spec] = {
    "ambient": AMBIENT, "ambient_band": AMBIENT_BAND,
    "distance": fields.DISTANCE.but(meaning="from the lens to the wall; left out: the picture fits the front"),
    "walk": _own["walk"], "rooms_dark": _own["rooms_dark"],
}  # fmt: skip
# What pages let one choose in place of what the show says.
CHOSEN = (*_places[:6], "ambient", "rooms_dark", *TARGET, "units")
SHOW: dict[str, Spec] = {
    "house": fields.Text(label="house file, seen from this file; or name, units and [[patch]] as there", optional=True),
    **HOUSE, **SCALARS,
    "place": Record(fields=PLACE, label="where the house stands", optional=True),
    "target": Record(fields=TARGET, label="what is wanted", optional=True),
    **{name: Many(of=Record(fields=own), default=()) for name, (_, own) in LISTS.items()},
}  # fmt: skip
BY_PATH = {name: spec for name, spec in SHOW.items() if name not in HOUSE} | {"units": UNIT.but(optional=True)}


def _nearest_zone(latitude: float, longitude: Any) -> str:
    """Return the time zone that is named after the nearest town."""
    known = towns()
    here, there, apart = np.radians(latitude), np.radians(known["latitude"]), np.radians(known["longitude"] - longitude)
    near = np.sin(here) * np.sin(there) + np.cos(here) * np.cos(there) * np.cos(apart)
    return str(known["timezone"].loc[near.idxmax()])


def _place(show: Any) -> str:
    ends = ((show.latitude, "NS"), (show.longitude, "EW"))
    return " ".join(f"{abs(value):.1f}° {sides[value < 0]}" for value, sides in ends)


def open_show(path: str | Path | None = None) -> Show:
    """Read a show file; a house file will do.

    Parameters
    ----------
    path : str or Path, optional
        Not given: ``my_show.toml`` in the current folder if it is there, else the invented house of the pages.

    Raises
    ------
    InputError
        For whatever is wrong in it or in the house file that it names, all at once.

    Examples
    --------
    >>> import kit
    >>> kit.open_show("notebooks/houses/brick_two_storey.toml").main_wall
    ('main wall', 'bay')
    """
    if path is None:
        demo = next((place / DEMO for place in PLACES if (place / DEMO).is_file()), DEMO)
        path = MINE if os.path.lexists(MINE) else demo
    source, file = toml_file.read_text("show file", path), Path(path).absolute()
    return replace(_parse(source, file), path=file)


def _parse(source: str, file: Path) -> Show:
    """Return the show that a text describes; `file` is where it stands."""
    reader = Reader(file.name, SHOW)
    content = reader.parse(source)
    told: dict[str, Any] = {}
    if content and isinstance(content.get("house"), str):
        told["house_file"] = house_file = Path(os.path.abspath(file.parent / content["house"]))
        inner = Reader(house_file.name, HOUSE)
        with reader.noting():
            told["house"], about = read_front(inner, inner.parse(toml_file.read_text("house file", house_file)), HOUSE)
            told["taken"] = _taken(about)
        reader.mistakes += [InputError(f"{inner.file}: {m.field}", m.value, m.right) for m in inner.mistakes]
        reader.unit = unit_of(content, inner.unit)
        twice = [name for name in HOUSE if name in content and name != "units"]
        if twice:
            reader.wrong("house", content["house"], f"either a house file or {', '.join(twice)} in this one")
        values = reader.record(BY_PATH, {name: value for name, value in content.items() if name not in twice})
    else:
        told["house"], values = read_front(reader, content, SHOW)
        told["taken"] = _taken(values)
    place = values.get("place", {})
    told |= {name: values[name] for name in SCALARS if name in values} | values.get("target", {}) | place
    told["units"] = "ft" if reader.unit in ("ft", "in") else "m"
    with reader.noting():
        if told.pop("town", None):
            known, town = towns(), place.pop("town")
            if town not in known.index:
                right = toml_file.choices(town, known.index, "; or latitude, longitude and timezone")
                raise InputError("place: town", town, right)
            told |= known.loc[town, ["latitude", "longitude", "timezone"]].to_dict() | place
    for name in (name for name in LISTS if name in values):
        told[f"{name}s"] = found = []
        for item in (item for item in values[name] if item.whole):
            with reader.noting():
                found.append(_made(name, item, file.parent))
    if not reader.mistakes:
        with reader.noting():
            show = Show(**told)
            _ = show.full  # what lies in the wall, such as a lamp, is found here
            return show
    reader.finish()
    raise AssertionError("finish raises")


def _made(name: str, item: Values, folder: Path) -> Any:
    """Return what a table of one of `LISTS` describes."""
    kind, own = LISTS[name]
    if kind is Cloth:
        prices = {"per_square_metre": 1.0, "per_square_foot": 1.0 / toml_file.metres("ft") ** 2}
        given = [toml_file.times(item[unit], size) for unit, size in prices.items() if unit in item]
        if len(given) != 1:
            raise InputError(f"{item.where}price", len(given), f"one of {', '.join(prices)}")
        return replace(Cloth.from_reference(item["name"]), price=given[0])
    if kind is ShowLamp:
        if "file" in item:
            item["file"] = os.path.abspath(folder / item["file"])
        elif "kind" not in item and item["name"] in LAMPS.names():
            item["kind"] = item["name"]
        ShowLamp(**item).luminaire()
    return kind(**{name: spec.default for name, spec in own.items() if spec.default is not fields.MISSING} | item)


def _taken(values: Values) -> tuple[str, ...]:
    """Return what was understood of the surfaces of a house that are not the kit's."""
    own = dict(values.get("surfaces", ()))
    typed = {item["surface"] for item in values.get("patch", ()) if "surface" in item}
    other = sorted(typed - own.keys() - set(reference.names("surfaces")))
    meant = {name: find_surface(name, {}).name for name in other}
    meant |= {name: f"a kind of {kind_of(name)}" for name, told in own.items() if kind_of(name) and "kind" not in told}
    return tuple(f"{name!r} is taken as {what}" for name, what in meant.items())


def save_show(show: Show, path: str | Path, *, overwrite: bool = False) -> Path:
    """Write a show file, whole or not at all, and return its path.

    Parameters
    ----------
    show : Show
        Its house is named by its file if that still holds it, and written out otherwise.
    overwrite : bool
        Whether a file that is there may be replaced.

    Raises
    ------
    InputError
        For a file that is there, for what is no plain file, and for a front or a cloth that no file can hold.
    """
    file = Path(path).absolute()
    if not overwrite and os.path.lexists(file):
        raise InputError(f"show file {str(path)!r}", "a file that is there", "another name, or overwrite=True")
    text = _show_toml(show, file.parent)
    if _parse(text, file).cloths != show.cloths:
        raise InputError("cloths", [cloth.name for cloth in show.cloths or ()], "cloths of the kit, at prices of yours")
    toml_file.write_text("show file", file, text)
    return file


def _show_toml(show: Show, folder: Path) -> str:
    """Return the text of a show file that stands in `folder`."""
    top: dict[str, Any] = {}
    with contextlib.suppress(InputError):
        if show.house_file and load_house(show.house_file) == show.house:
            top = {"house": _seen_from(folder, show.house_file), "units": show.units}
    tables: list[str] = []
    if not top:
        top, tables = house_parts(show.house, show.units)
    said = {name: getattr(show, name) for name in specs(show) if getattr(show, name) is not None}
    top |= {name: toml_file.written(spec, said[name], show.units) for name, spec in SCALARS.items() if name in said}
    top |= {name: [] for name in LISTS if said.get(f"{name}s") == ()}
    for header, own in (("place", PLACE), ("target", TARGET)):
        given = {name: toml_file.written(spec, said[name], show.units) for name, spec in own.items() if name in said}
        tables += [table(f"\n[{header}]", given)] if given else []
    for header, (_, own) in LISTS.items():
        tables += [table(f"\n[[{header}]]", _typed(one, own, folder, show.units)) for one in said.get(f"{header}s", ())]
    return table("", top) + "".join(tables)


def _typed(item: Any, own: Mapping[str, Spec], folder: Path, units: str) -> dict[str, Any]:
    """Return the fields of a table of one of `LISTS`."""
    if isinstance(item, Cloth):
        return {"name": item.name, "per_square_metre": item.price if len(set(item.price)) > 1 else item.price[0]}
    said = {name: spec for name, spec in own.items() if getattr(item, name) is not None}
    typed = {name: toml_file.written(spec, getattr(item, name), units) for name, spec in said.items()}
    if typed.get("file"):
        typed["file"] = _seen_from(folder, typed["file"])
    return {name: value for name, value in typed.items() if value != own[name].default}


def _seen_from(folder: Path, file: str | Path) -> str:
    return Path(os.path.relpath(str(file), str(folder))).as_posix()


class Shortlist(Frozen):
    """Machines, prices that are known, by the first words of ``prices.csv``, and where both were read."""

    machines: tuple[Machine, ...]
    costs: tuple[tuple[str, float], ...] = ()
    origin: str = "those of the show file"


def load_shortlist(path: str | Path) -> Shortlist:
    """Read a shortlist; whatever is wrong in it, such as two machines of one name, is told at once by `InputError`.

    Examples
    --------
    >>> import kit
    >>> [machine.name for machine in kit.load_shortlist("notebooks/houses/machines.toml").machines][:2]
    ['office machine', 'short-throw laser']
    """
    listed, costs = Many(of=Record(fields=specs(Machine)), least=1, most=40), Record(fields=priced(), optional=True)
    form, file = {"machine": listed, "costs": costs}, Path(path).absolute()
    reader = Reader(file.name, form)
    content = reader.parse(toml_file.read_text("shortlist", path))
    values = reader.record(form, content) if content is not None else {}
    with reader.noting():
        found = [_made("machine", item, file.parent) for item in values.get("machine", ()) if item.whole]
        machines = Many(of=Is(kind=Machine), unique="name").check("machine", found)
    reader.finish()
    known = tuple(values.get("costs", {}).items())
    invented = ", which is invented" if file.parent.parent in PLACES else ""
    return Shortlist(machines=machines, costs=known, origin=f"those of {file.name}{invented}")


def shortlist_of(show: Show) -> Shortlist:
    """Return the shortlist beside a show file; else the machines that the show has; else the invented ones."""
    beside = (show.path or Path(MINE)).absolute().with_name(SHORTLIST)
    if beside.is_file():
        return load_shortlist(beside)
    if show.machines:
        return Shortlist(machines=show.machines)
    there = [place / "houses" / SHORTLIST for place in PLACES]
    return load_shortlist(next((file for file in there if file.is_file()), there[0]))
