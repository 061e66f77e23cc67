"""Hourly weather, and how long a machine is outside its limits in it: by which cause, how likely, and what mends it.

An evening is a day from noon to noon, begun steady. All draws have the same weather: boxes differ (`Housing.known`).
"""

from collections.abc import Callable
from dataclasses import field, replace
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from kit.arrays import Array
from kit.bands import HIGH, LOW
from kit.errors import InputError
from kit.fields import SHARE, Day, Number, Numbers, OneOf, PathOf
from kit.files import read_file
from kit.housing.air import WATTS, ZERO, Around, Housing, humidity_of, march, of_table, water
from kit.results import Frame, Result, banded, make_frame
from kit.source.projector import Levels
from kit.words import Phrases, capital, chances, join, short

say = Phrases(__file__)
told: Any = say.told
REMEDIES, CLIMATES = told["remedies"], told["climates"]
CLIMATE = OneOf(label="weather", options=tuple(CLIMATES))
TEMPERATURE = Number(label="outdoors", unit="°C", low=-60.0, high=60.0, steps=(-20.0, 40.0, 1.0), default=5.0)
HUMIDITY = SHARE.but(label="humidity outdoors", above=0.0, steps=(0.1, 1.0, 0.05), form=".0%", default=0.85)
SUN = Number(label="sun at noon", unit="W/m²", low=0.0, high=1500.0, steps=(0.0, 1000.0, 50.0), default=200.0)
LASTS = Number(label="runs for", unit="h", above=0.0, high=6.0, steps=(1.0, 6.0, 0.5), default=4.0)
YEAR = {"temperature": TEMPERATURE, "humidity": HUMIDITY, "sun": SUN}
STEP, BEGIN, DRAWS, SURE, ALLOWED, MOST_BYTES = 300.0, 17.5, 64, 0.9, 0.01, 20_000_000
CAUSES = ("too hot", "too cold", "too damp", "water on the machine", "water on the window")


def invented_weather(climate: str = "invented: damp and mild") -> Frame:
    """Return a year of hourly weather of no place: a formula of year, day and passing weather; see `read_weather`."""
    mean, year, day, dry, summer, winter = CLIMATES[CLIMATE.check("climate", climate)]
    hour = np.arange(8760.0)
    clock, season = hour % 24 - 12.0, -np.cos(2 * np.pi * (hour / 24 - 15) / 365)
    warmth = np.cos(np.pi * (clock - 3) / 12)
    passing = np.sin(np.pi * hour / 56) + np.sin(np.pi * hour / 96)
    temperature = mean + year * season + day * warmth + 2.0 * passing
    dew = temperature - day * (warmth + 1) - dry - 0.8 * np.abs(passing)
    up = np.maximum(0.0, np.cos(np.pi * clock / (12 + 3.5 * season))) * (np.abs(clock) < 8)
    found = temperature, humidity_of(temperature, water(dew)), 0.5 * (summer + winter + (summer - winter) * season) * up
    return make_frame(dict(zip(YEAR, one, strict=True)) for one in zip(*found, strict=True))


def read_weather(path: str | Path) -> Frame:
    """Read a year of hourly weather, an EPW file (``.epw``) or TMY3, without gaps: temperature, humidity and sun."""
    from pvlib import iotools

    file, right = Path(PathOf().check("path", path)), "a weather file, EPW or TMY3"
    read_file("weather", file, right=right, most=MOST_BYTES)
    try:
        epw = file.suffix.lower() == ".epw"
        table = (iotools.read_epw(file) if epw else iotools.read_tmy3(file, map_variables=True))[0]
        found = table[["temp_air", "relative_humidity", "ghi"]].set_axis(list(YEAR), axis=1).reset_index(drop=True)
        dew = table["temp_dew"].to_numpy(float)
    except Exception as error:  # whatever the library makes of a file that is none
        raise InputError("path", str(path), f"{right} ({type(error).__name__})") from None
    wrong = np.flatnonzero((dew > found["temperature"] + 0.5) & (dew < 99.0))  # rounded; 99.9 means that there is none
    if len(wrong):
        right = f"at most the temperature, {found['temperature'][wrong[0]]:g} °C, in hour {wrong[0] + 1:,}"
        raise InputError("path: dew point", float(dew[wrong[0]]), right)
    found["humidity"] = found["humidity"].where(found["humidity"] > 110, found["humidity"].clip(upper=100)) / 100
    evenings(found, "2026-01-01", "2026-01-01")
    return found


def evenings(weather: Frame, first: str, last: str) -> Array:
    """Return temperature, humidity and sun from noon to noon, shape (3, 25, evening), of a checked table."""
    names = [str(name) for name in getattr(weather, "columns", ())]
    if not {*YEAR} <= {*names} or len(weather) not in (8760, 8784):
        right = f"{join([*YEAR])} for each of the 8,760 hours of a year, or 8,784"
        raise InputError("weather", f"{len(weather):,} hours" if names else weather, right)
    ends = [date.fromisoformat(Day().check(*one)).timetuple().tm_yday for one in (("first", first), ("last", last))]
    days = ends[0] - 1 + np.arange((ends[1] - ends[0]) % 365 + 1)
    hours = (24 * days + 12 + np.arange(25)[:, None]) % len(weather)
    return np.stack([Numbers(of=spec).check(f"weather: {name}", weather[name])[hours] for name, spec in YEAR.items()])


class Kept(Result):
    """How long a machine is outside its limits, and what would mend it."""

    box: Housing
    found: Array  # hours outside by cause, and by any: all as given, then in each draw, shape (cause or any, draw)
    curves: Array  # air [°C] and humidity, step by step: low, all as given on a middling day, high, shape (2, 3, step)
    hours: float  # of all evenings, from noon to noon
    again: Callable[[Housing], "Kept"] = field(repr=False)

    @property
    def chance(self) -> float:
        """Chance that it is outside for no longer than is allowed."""
        return float(np.mean(self.found[-1, 1:] <= ALLOWED * self.hours))

    @property
    def band(self) -> Levels:
        """Hours outside, low, all as given, and high."""
        low, high = np.quantile(self.found[-1, 1:], (LOW, HIGH))
        return float(low), float(self.found[-1, 0]), float(high)

    @cached_property
    def remedies(self) -> list[tuple[str, "Kept"]]:
        """What each change of the box alone would bring, in the same draws, the best first."""
        boxes = {words: replace(self.box, **change) for words, change in REMEDIES.items()}
        tried = [(words, self.again(box)) for words, box in boxes.items() if box != self.box]
        return sorted(tried, key=lambda one: (-one[1].chance, one[1].band[1]))

    def sentence(self, units: str = "m") -> str:
        """Return whether the machine stays within its limits, what goes wrong, and what mends it."""
        why = [f"{name} {short(one)} h" for name, one in zip(CAUSES, self.found[:, 0], strict=False) if one > 0.0]
        low, out, high = self.band
        text = say(
            "kept", chance=capital(chances(self.chance)), allowed=ALLOWED, hours=self.hours, low=low, out=out,
            high=high, why=f": {join(why)}" if why else "",
        )  # fmt: skip
        if self.chance >= SURE:
            return text
        good = [f"{words} ({chances(kept.chance)})" for words, kept in self.remedies[:3] if kept.chance >= SURE]
        best, kept = min(self.remedies, key=lambda one: one[1].band[1])
        mends = say("mends", told=join(good, "or")) if good else say("helps", told=best, left=kept.band[1])
        return f"{text} {mends}"

    def frame(self, units: str = "m") -> Frame:
        """Return the hours outside, as it is and with each change, and the chance to stay within."""
        both = (("as it is", self), *self.remedies)
        rows = [{"what": name} | banded("hours outside", one.band) | {"chance": one.chance} for name, one in both]
        return make_frame(rows, {"chance": ".0%"}, "what")


def keep(box: Housing, weather: Frame, first: str, last: str, *, power: float, lasts: float = 4.0) -> Kept:
    """Return how long a machine in a box is outside its limits in all evenings from a `first` to a `last` day.

    Parameters
    ----------
    weather : pandas.DataFrame
        Of `read_weather` or `invented_weather`; with gaps, or too short: `InputError`.
    first, last : str
        Such as ``"2026-12-05"``; of the year nothing but the day counts.
    power, lasts : float
        Of the machine [W], and for how long it runs [h], from half past five.
    """
    return kept(box, evenings(weather, first, last), WATTS.check("power", power), LASTS.check("lasts", lasts))


def kept(box: Housing, hours: Array, power: float, lasts: float) -> Kept:
    """Return the same in weather as of `evenings`."""
    clock = np.arange(0.0, 24.0, STEP / 3600.0)
    hour, part = clock.astype(int), (clock % 1.0)[:, None]
    temperature, humidity, sun = ((1.0 - part) * hours[:, hour] + part * hours[:, hour + 1])[..., None]
    since, outdoors = (clock - (BEGIN - 12.0) + 1e-9)[:, None, None], water(temperature, humidity)
    runs, most = (since >= 0.0) & (since < lasts), of_table("highest", group="limit")
    low, high = ([of_table(f"{end} {of}") - ZERO for of in ("at rest", "running")] for end in ("lowest", "highest"))
    least, hottest, watts = (np.where(runs, ends[1], ends[0]) for ends in (low, high, (0.0, power)))

    def tried(one: Housing) -> Kept:
        blows = ((since >= 0.0) & (since < lasts + one.run_on / 60.0)).astype(float)
        steps = march(one, Around(temperature, outdoors, sun, watts, blows), one.known(DRAWS), STEP)
        seen = [(air, state[1], wet[1], wet[0]) for state, (air, _, _, wet, _) in steps]
        air, ratio, body, pane = (np.stack(one) for one in zip(*seen, strict=True))
        damp = humidity_of(air, ratio)
        wrong = [air > hottest, air < least, damp > most, body, pane & runs]
        found = np.stack([*wrong, np.any(wrong, axis=0)]).sum(axis=(1, 2)) * STEP / 3600.0
        both = np.stack([air, damp])
        ends = np.quantile(both[..., 1:], (LOW, HIGH), axis=(2, 3))
        curves = np.stack([ends[0], np.median(both[..., 0], axis=2), ends[1]], axis=1)
        return Kept(box=one, found=found, curves=curves, hours=24.0 * hours.shape[2], again=tried)

    return tried(box)
