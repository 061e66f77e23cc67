"""Heat and water in a weather housing: its walls, its ducts, and how warm and how damp it gets inside.

The machine's body and the water in the air change slowly; the air's own temperature is at each moment where what warms
and what cools it are level. Water condenses on what is colder than the dew point, by Lewis, and runs off.
"""

import math
from collections.abc import Iterator
from functools import cache, cached_property, partial
from typing import Any, NamedTuple

import numpy as np

from kit import reference
from kit.arrays import Array, ArrayLike
from kit.bands import drawn, normal_draws
from kit.errors import InputError
from kit.fields import FLAG, LENGTH, SHARE, Declared, Number, OneOf, Vector, declared
from kit.housing.window import GLASS, THICKNESS, TILT
from kit.reference import value

# Whether the fans take the house's air, and what of it the house gains.
CLOSED, LOOP = "closed", "a balanced pair to the house"
AIR = {CLOSED: (False, 0.0), "outside air": (False, 0.0), LOOP: (True, 0.0)}
AIR |= {"supply from the house only": (True, -1.0), "exhaust to the house only": (False, 1.0)}
WALLS = OneOf(label="walls", options=lambda: reference.names("housing", "wall"), default="plywood and 25 mm foam")
FLOW = Number(label="air flow", unit="m³/s", low=0.0, high=2.0, steps=(0.0, 0.15, 0.005), meaning="of the fans")
RUN_ON = Number(label="fans run on", unit="min", low=0.0, high=720.0, steps=(0.0, 60.0, 5.0), default=10.0)
WATTS = Number(label="power", unit="W", low=0.0, high=50_000.0, steps=(0.0, 1500.0, 10.0))
SIDES, RESTS = LENGTH.but(above=0.0, high=5.0), "while the fans rest"
BOX, PANE, ZERO = (0.7, 0.5, 0.8), (0.3, 0.25), 273.15
of_table, of_air = (cache(partial(value, name)) for name in ("housing", "constants"))
of_row = cache(partial(reference.row, "housing"))


@cache
def moist() -> Any:
    """Return the psychrometric library in SI units: ASHRAE Handbook Fundamentals 2017, chapter 1."""
    import psychrolib

    psychrolib.SetUnitSystem(psychrolib.SI)
    return psychrolib


def water(temperature: ArrayLike, humidity: ArrayLike = 1.0) -> Array:
    """Return the water on a kg of dry air at degrees Celsius; above 90, near boiling, as at 90, more than any has."""
    kept, pressure = np.clip(np.asarray(temperature, float), -100.0, 90.0), of_air("standard pressure of air")
    return np.asarray(moist().GetHumRatioFromRelHum(kept, humidity, pressure))


def humidity_of(temperature: ArrayLike, ratio: ArrayLike) -> Array:
    """Return the relative humidity of air with so much water, 1 where it is fog; above 200 degrees as at 200."""
    kept, pressure = np.clip(temperature, -100.0, 200.0), of_air("standard pressure of air")
    return np.asarray(np.minimum(moist().GetRelHumFromHumRatio(kept, ratio, pressure), 1.0))


class Housing(Declared):
    """A weather housing: a box, its window, and where its air comes from; no flow stated: an inline fan in each duct.

    Fans blow while the machine runs and a while after; heater and dehumidifier work while they rest.
    """

    size: tuple[float, float, float] = declared(Vector(of=SIDES), label="inside: across, high, deep", default=BOX)
    wall: str = declared(WALLS)
    air: str = declared(OneOf(label="air", options=tuple(AIR)), default=LOOP)
    duct_diameter: float = declared(SIDES, label="duct diameter", default=0.1016)
    duct_length: float = declared(LENGTH, label="length of each duct", low=0.0, high=100.0, default=4.0)
    flow: float | None = declared(FLOW, default=None)
    run_on: float = declared(RUN_ON)
    leaks: float = declared(Number(label="air changes by gaps", unit="1/h", above=0.0, high=100.0), default=0.3)
    dehumidifier: bool = declared(FLAG, label="small dehumidifier", default=False, meaning=RESTS)
    heater: float = declared(WATTS, label="heater", default=0.0, steps=(0.0, 200.0, 10.0), meaning=RESTS)
    absorptance: float = declared(SHARE, label="absorptance of the outside for sun", default=0.6)
    glass: str = declared(GLASS)
    thickness: float = declared(THICKNESS)
    tilt: float = declared(TILT)
    pane_size: tuple[float, float] = declared(Vector(length=2, of=SIDES), label="pane: across, high", default=PANE)

    def _agree(self, where: str) -> None:
        for name, own in (("duct_diameter", (self.duct_diameter,) * 2), ("pane_size", self.pane_size)):
            if own[0] > self.size[0] or own[1] > self.size[1]:
                right = f"at most the box, {self.size[0]:g} m across and {self.size[1]:g} m high"
                raise InputError(name, getattr(self, name), right)

    @property
    def areas(self) -> tuple[float, float]:
        """Of the walls and of the pane [m²]."""
        x, y, z = self.size
        return 2.0 * (x * y + y * z + z * x) - math.prod(self.pane_size), math.prod(self.pane_size)

    @cached_property
    def air_flow(self) -> float:
        """Flow of the fans [m³/s]: as stated, or where a fan's pressure is what its duct takes (Darcy and Weisbach)."""
        if self.air == CLOSED or self.flow is not None:
            return 0.0 if self.air == CLOSED else self.flow or 0.0
        import fluids

        across, density, speed = self.duct_diameter, of_air("density of air"), 4.0 / (math.pi * self.duct_diameter**2)
        shut, free = (of_table("inline fan", quantity=of) for of in ("shut-off pressure", "free flow"))
        flow, turbulence = free, speed * across / of_air("viscosity of air")
        for _ in range(50):  # the friction hardly changes with the flow
            friction = fluids.friction_factor(flow * turbulence, of_table("roughness of duct") / across)
            losses = of_table("losses of bends and ends") + fluids.K_from_f(friction, self.duct_length, across)
            flow = math.sqrt(shut / (shut / free**2 + fluids.dP_from_K(losses, density, speed)))
        return flow

    def known(self, draws: int) -> dict[str, Array]:
        """Return each value that is not known: first as given, then so many draws of it."""
        rows = [one for one in reference.table("housing") if one.group == "doubt" or one.name == self.wall]
        normal = np.zeros((len(rows), 1 + draws))
        normal[:, 1:] = normal_draws(len(rows), draws) if draws else 0.0
        found = {row.name: drawn(z, *row.band) for z, row in zip(normal, rows, strict=True)}
        return found | {"wall": found.pop(self.wall)}


class Around(NamedTuple):
    """Outdoors [°C], [kg/kg] and sun on the ground [W/m²], step by step; the machine [W], whether fans blow: 0 or 1."""

    temperature: Array
    water: Array
    sun: Array
    power: Array
    blows: Array


def inside(box: Housing, state: Array, around: Around, known: dict[str, Array]) -> tuple[Any, ...]:
    """Return the air [°C] of a box in a state, body [°C] and water [kg/kg], shape (2, ...), the state to which it tends
    and in which times [s], whether water condenses on pane, body and walls, and what warms the air [W].
    """
    body, ratio = state
    heat, density, film = of_air("specific heat of air"), of_air("density of air"), of_table("inner film of air")
    (walls, pane), (x, y, z), out, rests = box.areas, box.size, around.temperature, 1.0 - around.blows
    house, skin, power = known["house"] - ZERO, known["skin"], around.power * known["heat"]
    fans = density * box.air_flow * known["flow"] * around.blows
    gaps = density * x * y * z * box.leaks / 3600.0 * known["leak"]
    comes, wet = (house, water(house, known["damp"])) if AIR[box.air][0] else (out, around.water)
    shell = known["wall"] * walls + known["pane"] * pane
    # Top and half of a long side take the sun; half of it is what the pane lets in.
    lit = box.absorptance * known["wall"] / of_table("outer film of air") * (x * z + 0.5 * max(x, z) * y) + 0.5 * pane
    # The dehumidifier works between two humidities, the more the damper: so much the faster does the water settle.
    full, (low, _, high) = water(body), of_row("humidity that it holds").band
    damp, may = (ratio / full - low) / (high - low), rests * box.dehumidifier
    most = of_table("small", quantity="water removed") / 86400.0 / water(27.0, 0.6)
    works, faster = may * np.clip(damp, 0.0, 1.0), may * most * (damp + low / (high - low)) * (np.abs(damp - 0.5) < 0.5)
    sun, dry = known["sun"] * around.sun * lit, works * most
    on = (1.0 - known["share"]) * power + rests * box.heater
    on = on + works * of_table("small", quantity="power") + of_air("latent heat of water") * dry * ratio
    moves = heat * (fans + gaps) + shell + skin
    level = (heat * (fans * comes + gaps * out) + shell * out + on + sun) / moves
    air, loose = level + skin / moves * body, skin * (1.0 - skin / moves)
    cold = [air - known[part] / film * (air - out) for part in ("pane", "wall")]
    through, brought, condenses = fans + gaps + dry + faster, fans * wet + gaps * around.water + faster * ratio, []
    on_pane, on_walls = water(np.stack(cold))
    for passes, most in ((pane * film, on_pane), (skin, full), (walls * film, on_walls)):
        condenses.append(ratio > most)
        through = through + condenses[-1] * passes / heat
        brought = brought + condenses[-1] * passes / heat * most
    ends = np.stack(np.broadcast_arrays((skin * level + known["share"] * power) / loose, brought / through))
    times = np.stack(np.broadcast_arrays(known["body"] / loose, density * x * y * z / through))
    gains = heat * fans * (comes - air), (heat * gaps + shell) * (out - air), skin * (body - air), on, sun
    return air, ends, times, condenses, gains


def steady(box: Housing, around: Around, known: dict[str, Array]) -> Array:
    """Return the state in which nothing changes any more."""
    state = np.stack(np.broadcast_arrays(around.temperature, around.water, around.power, known["flow"])[:2])
    for _ in range(50):  # a quarter of the way each time, since the dehumidifier answers to both
        state = state + 0.25 * (inside(box, state, around, known)[1] - state)
    return state


def march(box: Housing, around: Around, known: dict[str, Array], seconds: float) -> Iterator[tuple[Array, Any]]:
    """Yield the state, and what `inside` says, at each step, so many seconds apart; it nears its end exponentially."""
    state = steady(box, Around(*(part[0] for part in around)), known)
    for there in zip(*around, strict=True):
        now = inside(box, state, Around(*there), known)
        yield state, now
        state = now[1] + (state - now[1]) * np.exp(-seconds / now[2])


def house_pressure(net: ArrayLike, *, volume: float = 500.0) -> Array:
    """Return how far a house of so many m³ is above the pressure outdoors [Pa] that fans bring `net` air [m³/s]."""
    rate, power = (of_table("leakage", quantity=of) for of in ("air changes at 50 pa", "exponent"))
    return np.asarray(np.sign(net) * 50.0 * (np.abs(net) * 3600.0 / (rate * volume)) ** (1.0 / power))


def cooler_swing(box: Housing, power: float, outdoors: float, wanted: float) -> tuple[float, float]:
    """Return lowest and highest temperature [°C] in a closed box that a small window air conditioner cools."""
    names = ("cooling", "coil", "least time", "differential")
    cooling, coil, least, apart = (of_table("small window air conditioner", quantity=of) for of in names)
    thin, loss = of_table("fans and air in the box"), np.dot([of_table(box.wall), of_table("pane")], box.areas)
    draws = cooling / (26.7 + ZERO - coil)  # stated at 80 °F
    off, on = outdoors + power / loss, (loss * outdoors + power + draws * (coil - ZERO)) / (loss + draws)
    low = high = wanted
    for _ in range(100):
        low = max(on, min(wanted - apart, on + (high - on) * math.exp(-least * (loss + draws) / thin)))
        high = min(off, max(wanted + apart, off + (low - off) * math.exp(-least * loss / thin)))
    return float(low), float(high)
