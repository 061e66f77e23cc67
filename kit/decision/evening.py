"""When can the show start? Contrast and verdict against the clock, over one evening or a season.

The clock is that of the wall: an evening begins at a stated time of its date and runs for so many hours, across
midnight if they last, and whether daylight saving begins or ends meanwhile or not. Where sun and moon stand decides
what they add to the lamps of the street; all moments of a season are computed at once.
"""

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr

from kit import reference
from kit.arrays import Array, Index, Mask
from kit.blocks import Memory
from kit.decision.chance import Draws
from kit.decision.verdict import STATES, Target, levels_of
from kit.decision.washout import PAIRS, WHOLE, LitFront
from kit.errors import InputError
from kit.eye.glare import moon_glare, sights_to, veils_of
from kit.eye.light_map import Scene
from kit.fields import NAME, SPACING, Declared, Is, Many, Number, OneOf, Text, declared
from kit.light.lamps import LAMPS, Lamp
from kit.quantities import attrs, labelled
from kit.results import Format, check_made, make_frame
from kit.sky.ephemeris import Positions
from kit.sky.luminaire import Luminaire
from kit.sky.site import GLOW, MOON, TWILIGHT, Site, Times, clock_times
from kit.source.projector import LEVELS
from kit.wall.points import Planes, middle
from kit.words import Phrases, chances

say = Phrases(__file__)
MINUTE = np.timedelta64(60, "s")
SKY = (TWILIGHT, GLOW, MOON)
# A time at which each of them may be drawn; their light is that of the moment.
NOON = np.datetime64("2026-06-21T12:00")
# Of evenings times moments; five years in steps of five minutes. Beyond it is surely a slip.
MOST_MOMENTS = 500_000
# No lamp's name makes a change of this name.
NO_LAMP = "no lamp at all"
FLAGS = "not_enough borderline enough"
# In the name of a lamp that is for others to change; and what a change of contrast has to be to matter: our choice.
NOT_YOURS, MATTERS = ("street", "town", "neighbour", "neighbor"), 1.02


class ClockTime(Text):
    """A time of the clock from ``"00:00"`` to ``"24:00"``."""

    def _checked(self, field: str, value: Any) -> str:
        if not (isinstance(value, str) and re.fullmatch("([01][0-9]|2[0-3]):[0-5][0-9]|24:00", value)):
            raise InputError(field, value, "a time of the clock from '00:00' to '24:00'")
        return value


CLOCK = ClockTime(label="time of the clock")
SHIELD = Number(label="shade", unit="degrees", low=0.0, high=180.0, meaning="angle from straight down that stays lit")
EVERY = Number(label="days from one evening to the next", low=1.0, high=366.0, whole=True)
HOURS = Number(label="hours", above=0.0, high=24.0, meaning="that an evening lasts")
STEP = Number(label="step", unit="minutes", low=1.0 / 60.0, high=24.0 * 60.0, meaning="from moment to moment")
NTH = Number(label="every", low=1.0, whole=True, meaning="evening is shown")


class Passing(Declared):
    """Light that comes and goes: cars that turn at the corner, a motion sensor next door."""

    thing = "passing light"
    name: str = declared(NAME)
    lamps: tuple[Lamp, ...] = declared(LAMPS, least=1, unique="name", meaning="on while it lasts")
    seconds: float = declared(Number(label="seconds", unit="s", above=0.0, meaning="that one event lasts"))
    per_hour: float = declared(Number(label="times an hour", low=0.0, meaning="how often; together an hour at most"))
    begin: str = declared(CLOCK, default="00:00", meaning="time of the clock from which on they happen")
    end: str = declared(CLOCK, default="24:00", meaning="to which; across midnight if earlier, all day if the same")

    def _agree(self, where: str) -> None:
        if self.share > 1.0:
            raise InputError(f"{where}: seconds, per_hour", (self.seconds, self.per_hour), "an hour of light at most")

    @property
    def share(self) -> float:
        """Share of the time between `begin` and `end` during which it is there."""
        return self.seconds * self.per_hour / 3600.0

    def happens(self, clock: Times) -> Mask:
        """Return whether it can happen at times of the clock."""
        begin, end = clock_minutes("begin", self.begin), clock_minutes("end", self.end)
        minute = (clock - clock.astype("M8[D]")) / MINUTE
        after, before = minute >= begin, minute < end
        return after & before if begin < end else after | before


EVENTS = Many(label="passing light", of=Is(kind=Passing), unique="name")


def evenings(
    scene: Scene, site: Site, first: Any, last: Any = None, *, every: int = 1, begin: str = "15:00",
    hours: float = 10.0, step: float = 5.0, target: Target | None = None, spacing: float = 0.3,
    passing: Iterable[Passing] = (), banded: bool = True,
) -> xr.Dataset:  # fmt: skip
    """Return contrast and verdict against the clock, over one evening or many.

    Parameters
    ----------
    scene : Scene
        Its ambient light is there all the time; instead of that light's sky comes the sky of each moment.
    first, last : str, date or numpy.datetime64
        Dates; one evening if `last` is not given.
    every : int
        Days from one evening to the next.
    begin : str
        Clock time at which an evening begins, such as ``"15:00"``.
    hours, step : float
        That it lasts, above 0 up to 24; minutes from moment to moment, above 0.
    target, spacing
        As for `kit.compare_setups`.
    passing : sequence of Passing
        Each is looked at by itself, on top of all the rest.
    banded : bool
        Whether contrast has its band too, which takes most of the time of a season; low and high are NaN without.

    Returns
    -------
    xarray.Dataset
        Dimensions ``date``; ``minute``, minutes after `begin` that have passed; ``part``, the whole front and each
        kind of surface; ``level``, low, nominal and high; ``source``; ``passing``. What each variable is, and its
        unit, stand in its attributes. ``status`` is 0 for not enough, 1 for borderline, 2 for enough; times of the
        clock are NaT where there is none.

        ``earliest`` at level low is when the verdict becomes ``enough``, at level high when it may be, at level nominal
        when it is as likely as not; ``dark_enough`` is the same for contrast alone, ``until`` the first later moment at
        which it no longer is. Between two steps it is found to the minute; light that is too much for less than a step
        can be missed, and ``until`` is one of the steps. Rise and set are interpolated between steps: with 5 minutes to
        the second, with an hour to a minute, near the polar circles less well. An evening that begins in an hour that
        comes twice begins in the first.

    Raises
    ------
    InputError
        For dates out of 1900 to 2100 or in reverse order, a begin that the clock skips, more than `MOST_MOMENTS`, or a
        scene that `light_map` refuses.
    """
    target = target or Target()
    events = EVENTS.check("passing", passing)
    dates, minutes, utc = _moments(site, first, first if last is None else last, every, begin, hours, step)
    clock = site.clock(utc)
    study = _study(scene, site, target, spacing)
    front, contrast = study.front, study.contrast(utc, banded=banded)
    with_events = np.full((len(events), *utc.shape, len(front.parts)), np.nan)
    for found, event in zip(with_events, events, strict=True):
        when = event.happens(clock)
        if when.any():
            found[when] = _study(scene, site, target, spacing, event.lamps).median(utc[when])

    chance = study.chance(utc)
    passes, dark = (front.levels(one) for one in chance)
    earliest, earliest_dark = (_earliest(study, site, utc, minutes, k, one) for k, one in enumerate((passes, dark)))
    until, lasts = _lasts(utc, earliest, passes)
    times = {"earliest": earliest, "dark_enough": earliest_dark, "until": until}
    names, lux, veils = study.sources(utc)
    place = site.sky_at(utc).positions
    rises = _horizon(utc, place.sun_elevation, place.moon_elevation)
    axes, many, each = ("date", "minute"), ("date", "minute", "part", "level"), ("date", "part", "level")
    data = {
        **{name: (axes, getattr(place, name)) for name in ("sun_elevation", "moon_elevation", "moon_illuminated")},
        **{name: (each, site.clock(when)) for name, when in times.items()},
        **{name: ("date", site.clock(when)) for name, when in rises.items()},
        "sun_all_day": ("date", _sun_all_day(place, site.latitude)), "contrast": (many, contrast),
        "chance": (many[:3], chance[0]),
        "ambient_illuminance": (("source", *axes), lux), "veiling_luminance": (("source", *axes), veils),
        "white_luminance": (("part", "level"), [levels_of(part.white_luminance) for part in front.verdict]),
        "lit_share": ("part", [part.lit_share for part in front.verdict]),
        "passing_minutes": (each, lasts), "contrast_passing": (("passing", *many[:3]), with_events),
        "passing_share": ("passing", [event.share for event in events]),
    }  # fmt: skip
    flags = attrs("status") | {"flag_values": [0, 1, 2], "flag_meanings": FLAGS}
    return xr.Dataset(
        {name: labelled(name, *found) for name, found in data.items()} | {"status": (many[:3], _status(passes), flags)},
        coords={
            "date": ("date", dates.astype("M8[s]"), {"long_name": "date on which the evening begins"}),
            "minute": ("minute", minutes, {"long_name": f"minutes after {begin}"}), "part": list(front.parts),
            "level": list(LEVELS), "source": names, "passing": [event.name for event in events],
            "clock": (axes, clock, {"long_name": f"clock of {site.timezone}"}), "utc": (axes, utc),
        },
        attrs={
            "front": scene.facade.name, "timezone": site.timezone, "begin": begin,
            "wanted_contrast": target.contrast, "wanted_share": target.share,
            "wanted_white_luminance": target.white_luminance,
            "stated_light_output": float(sum(p.light_output for p, _ in scene.projectors)),
        },
    )  # fmt: skip


def start_sentence(result: xr.Dataset, date: Any = None, part: str = WHOLE) -> str:
    """Return when the show can start on one evening, for someone who never heard of a lux.

    Parameters
    ----------
    result : xarray.Dataset
        From `evenings`.
    date : str, date or numpy.datetime64, optional
        The first if not given.
    part : str
        Of the front.
    """
    one, wanted = pick(result, date, part), result.attrs
    low, nominal, high = (one["earliest"].sel(level=level).values for level in LEVELS)
    all_day = {1: [say("up")], -1: [say("down")]}.get(int(one["sun_all_day"]), [])
    rises = {name: one[name].values for name in ("sunset", "moonrise")}
    facts = all_day + [say(name, at=_hour(when)) for name, when in rises.items() if not np.isnat(when)]
    middle = one.sel(level="nominal")
    dark, end = middle["dark_enough"].values, middle["until"].values
    said = {
        **wanted, "day": _day(one["date"].values), "about": "" if part == WHOLE else f" on the {part}",
        "told": f" ({', '.join(facts)})" if facts else "", "start": _hour(nominal),
        "first": _hour(high), "sure": _hour(low), "end": _hour(end), "dark": _hour(dark),
        "lit": float(one["lit_share"]), "white": float(middle["white_luminance"]),
        "contrast": float(middle["contrast"].max()),
        "likely": say("likely", chance=float(one["chance"].max()), **wanted),
    }  # fmt: skip
    if np.isnat(high):
        dim = "dim" if said["white"] < wanted["wanted_white_luminance"] else "washed"
        clear = dim if np.isnat(dark) else "dim but clear"
        return say("never", **said) + say("reaches" if said["lit"] < wanted["wanted_share"] else clear, **said)
    if np.isnat(nominal):
        return say("may", **said)
    asked = {"can": True, "perhaps" if np.isnat(low) else "surely": low != high, "until": not np.isnat(end)}
    return " ".join(say(name, **said) for name, needed in asked.items() if needed)


def start_frame(result: xr.Dataset, part: str = WHOLE, every: int = 1) -> pd.DataFrame:
    """Return the earliest start of each evening, or of one in so many, from the result of `evenings`.

    A row for each date; times of the clock, NaT for never: ``may start`` when it may be enough, ``start`` when it is as
    likely as not, ``surely`` when it is; ``best chance``, the highest of the evening.
    """
    check_made("result", result, "dark_enough", "kit.evenings")
    one = of_part(result, part).isel(date=slice(None, None, NTH.check("every", every)))
    nominal = one.sel(level="nominal")
    columns = {
        "sunset": one["sunset"], "moonrise": one["moonrise"], "moon lit": one["moon_illuminated"].mean("minute"),
        "dark from": nominal["dark_enough"], "start": nominal["earliest"],
        "may start": one["earliest"].sel(level="high"), "surely": one["earliest"].sel(level="low"),
        "best chance": one["chance"].max("minute"),
    }  # fmt: skip
    formats = {name: ".0%" if name in ("moon lit", "best chance") else _hour for name in columns}
    return make_frame({"evening": [*map(_day, one["date"].values)], **columns}, formats, "evening")


def source_frame(result: xr.Dataset, clock: Any) -> pd.DataFrame:
    """Return what each source of light gives at one time, all together last.

    Parameters
    ----------
    result : xarray.Dataset
        From `evenings`.
    clock : str, datetime or numpy.datetime64
        Time of the clock; the nearest moment is shown.
    """
    i, j = moment(result, clock)
    at = result.isel(date=i, minute=j)
    columns = {"on the front [lx]": at["ambient_illuminance"].values, "veil [cd/m²]": at["veiling_luminance"].values}
    formats = dict(zip(columns, (".3f", ".4f"), strict=True))
    frame = make_frame({"source": at["source"].values.tolist(), **columns}, formats, "source")
    total, frame = frame.sum(), frame[(frame > 0).any(axis=1)]
    frame.loc["all"] = total
    frame.attrs["title"] = at["clock"].dt.strftime("%Y-%m-%d %H:%M").item()
    return frame


def moment(result: xr.Dataset, clock: Any) -> tuple[int, int]:
    """Return the indices (date, minute) of the moment nearest to a time of the clock; none near: `InputError`."""
    check_made("result", result, "earliest", "kit.evenings")
    times, steps = result["clock"].values, result["minute"].values
    away = np.abs(times - _clock_time("clock", clock))
    i, j = np.unravel_index(int(away.argmin()), away.shape)
    if away[i, j] / MINUTE > (steps[1] - steps[0] if steps.size > 1 else 1.0):
        raise InputError("clock", str(clock), f"a time from {times.flat[0]} to {times.flat[-1]}")
    return int(i), int(j)


def switching(
    scene: Scene, site: Site, clock: Any, *, shield: float = 60.0, target: Target | None = None, spacing: float = 0.3,
    part: str = WHOLE, begin: str = "15:00", hours: float = 10.0, step: float = 5.0,
) -> xr.Dataset:  # fmt: skip
    """Return what switching each lamp off, or shading it, would buy on one evening.

    Parameters
    ----------
    scene : Scene
        With `lamps` in its ambient light.
    clock : str, datetime or numpy.datetime64
        Time of the clock at which contrasts are compared.
    shield : float
        Angle from straight down above which a shade holds a luminaire's light back [deg], 0 to 180.
    target, spacing, begin, hours, step
        As for `evenings`.
    part : str
        Of the front.

    Returns
    -------
    xarray.Dataset
        On (change,), "as it is" first: ambient_illuminance of all sources [lx], veiling_luminance [cd/m2], contrast,
        chance and status at `clock`, earliest start of that evening (level).
    """
    lamps = scene.ambient.lamps
    SHIELD.check("shield", shield)
    changes: dict[str, tuple[Lamp, ...]] = {"as it is": lamps}
    for lamp in lamps:
        # In its place among the others, dark as it is: the same draws.
        changes[f"{lamp.name} off"] = tuple(lamp.dimmed(0.0) if other is lamp else other for other in lamps)
        word, less = "at half", lamp.dimmed(lamp.dimming / 2.0)
        if isinstance(lamp, Luminaire):
            limits = (shield, lamp.shielded)
            word, less = "shaded", replace(lamp, shielded=min(angle for angle in limits if angle is not None))
        changes[f"{lamp.name} {word}"] = tuple(less if other is lamp else other for other in lamps)
    if len(lamps) > 1:
        changes[NO_LAMP] = tuple(lamp.dimmed(0.0) for lamp in lamps)
    target = target or Target()
    time = _clock_time("clock", clock)
    # A time after midnight belongs to the evening before.
    date = (time - clock_minutes("begin", begin) * MINUTE).astype("M8[D]")
    _, minutes, utc = _moments(site, date, date, 1, begin, hours, step)
    away = np.abs(site.clock(utc)[0] - time)
    if away.min() > step * MINUTE:
        raise InputError("clock", str(time), f"a time in the {hours:g} hours after {begin}")
    j = int(away.argmin())
    then, rows = utc[0, [j]], []
    for kept in changes.values():
        study = _study(replace(scene, ambient=replace(scene.ambient, lamps=kept)), site, target, spacing)
        i = study.front.parts.index(OneOf(options=study.front.parts).check("part", part))
        chance = study.chance(utc)[0]
        passes = study.front.levels(chance)
        start = _earliest(study, site, utc, minutes, 0, passes)[0, i]
        _, lux, veils = study.sources(then)
        contrast = study.contrast(then, banded=True)[0, i]
        likely = chance[0, j, i], _status(passes[0, j, i])
        rows.append((lux.sum(), veils.sum(), contrast, *likely, site.clock(start)))
    names = ("ambient_illuminance", "veiling_luminance", "contrast", "chance", "status", "earliest")
    columns = dict(zip(names, map(np.array, zip(*rows, strict=True)), strict=True))
    return xr.Dataset(
        {name: labelled(name, ("change", "level")[: found.ndim], found) for name, found in columns.items()},
        coords={"change": list(changes), "level": list(LEVELS)},
        attrs={"clock": str(time).replace("T", " "), "part": part},
    )


def switching_frame(result: xr.Dataset) -> pd.DataFrame:
    """Return what `switching` found, a row for each change."""
    check_made("result", result, "change", "kit.switching")
    one = result.sel(level="nominal")
    columns = {
        "change": one["change"].values.tolist(), "on the front [lx]": one["ambient_illuminance"],
        "contrast": one["contrast"], "start": one["earliest"], "chance": one["chance"],
        "verdict": [STATES[k] for k in one["status"].values],
    }  # fmt: skip
    formats: dict[str, Format] = {"on the front [lx]": ".2f", "contrast": ".1f", "start": _hour, "chance": ".0%"}
    frame = make_frame(columns, formats, "change")
    frame.attrs["title"] = result.attrs["clock"][:16]
    return frame


def switching_sentence(result: xr.Dataset) -> str:
    """Return which change of a lamp buys most, in words: your own lamps first, with the reason where it surprises."""
    check_made("result", result, "change", "kit.switching")
    at, names = result.attrs["clock"][11:16], ("contrast", "ambient_illuminance", "veiling_luminance", "chance")
    figures = zip(*(result.sel(level="nominal")[name].values.tolist() for name in names), strict=True)
    found = dict(zip(result["change"].values.tolist(), figures, strict=True))
    (now, *_, likely), _ = found.pop("as it is"), found.pop(NO_LAMP, None)
    if not found:
        return say("no lamp")
    own = [name for name in found if not any(word in name.lower() for word in NOT_YOURS)]
    mine, best = (max(some, key=lambda name: found[name][0], default="") for some in (own, found))
    theirs, brightest = best not in own, min(found, key=lambda name: found[name][1])
    if mine and found[mine][0] >= MATTERS * now:
        text = say("own" if theirs else "one", at=at, mine=mine, now=now, then=found[mine][0])
        same = chances(likely) == chances(found[mine][3])
        text += "." if same else say("likelier", then=found[mine][3], now=likely)
    else:
        text = say("own little" if theirs else "little", at=at, now=now)
    told = {"best": best, "brightest": brightest, "contrast": found[best][0]}
    parts = [*(["theirs"] if theirs else [])]
    if brightest != best:
        parts.append("dazzles" if found[best][2] < found[brightest][2] else "small")
    return " ".join([text, *(say(name, **told) for name in parts if found[best][0] >= MATTERS * now)])


_recent: Memory["_Study"] = Memory(keep=4, most=0)
_skies: Memory[Memory[Array]] = Memory(keep=2, most=0)


def _study(scene: Scene, site: Site, target: Target, spacing: float, more: Sequence[Lamp] = ()) -> "_Study":
    """Return the study of a scene without its sky and with more lamps; the last ones are remembered."""
    lamps = (*scene.ambient.lamps, *more)
    bare = replace(scene, ambient=replace(scene.ambient, sky=None, lamps=lamps))
    key = bare, site, target, SPACING.check("spacing", spacing)
    return _recent.get(key, 0, lambda: _Study(*key))


class _Study:
    """A front under the lamps of a scene and any sky."""

    def __init__(self, scene: Scene, site: Site, target: Target, spacing: float) -> None:
        self.ambient = replace(scene.ambient, sky=site.sky_at(NOON))
        self.facade, self.site = scene.facade, site
        here = site, scene.facade, scene.ambient.eye, scene.ambient.age
        self.skies = _skies.get(here, 0, lambda: Memory(keep=32, most=20_000))
        self.front = front = LitFront(replace(scene, ambient=self.ambient), spacing, target, SKY)
        self.trials = trials = front.trials
        planes, eye, points = Planes.of(scene.facade), self.ambient.eye, front.position
        self.sights = np.zeros_like(points) if eye is None else sights_to(eye, points)[0]
        self.normals, self.plane = planes.normal, planes.of_patch[trials.points.patch]
        # What the planes of each part are of its area: the moon's light on a part is taken as their mean.
        count = len(self.normals)
        self.turned = np.array([np.bincount(self.plane[run], minlength=count) for run in front.runs], float)
        self.turned /= self.turned.sum(axis=1, keepdims=True)
        # Of 1 cd/m2 of sky: light on the front, that by way of the ground, and veil. Where none is, 1 lx stands for it.
        self.clear, glow = scene.air(middle(scene.facade)), trials.names.index(GLOW)
        bright, some = float(site.sky_at(NOON).luminances()[GLOW]), front.some
        self.share, self.sky_veil = trials.ambient[glow] / bright, trials.veils[glow] / bright
        self.ground = self.clear * 0.5 * np.pi * site.ground_reflectance
        self.seen = (self.share - self.ground) / (self.clear * np.pi * (site.sky_view or 1.0))
        none, add = float(not np.any(self.share + self.sky_veil)), np.eye(len(trials.names))[glow] / bright
        self.unit = self.share + none
        one = some._replace(even=some.even + none, sources=some.sources + add, veils=some.veils + add)
        self.room = trials.room(target, some, one, front.runs)

    def lights(self, utc: Times) -> Array:
        """Return twilight and glow [cd/m2], the moon at the eye, of open twilight, of the moon by plane [lx], its way.

        Shape (..., 4 + n planes + 3); remembered, for it is the same whatever the lamps and the machines are.
        """

        def found() -> Array:
            sky = self.site.sky_at(utc)
            even, (towards, light, _) = sky.luminances(), moon_glare(self.ambient, self.facade, sky)
            straight = sky.twilight() - sky.twilight(0.0)
            first = np.stack([even[TWILIGHT], even[GLOW], light.reshape(utc.shape), straight], axis=-1)
            return np.concatenate([first, sky.moon(self.normals), towards.reshape(*utc.shape, 3)], axis=-1)

        return self.skies.get((utc.shape, utc.tobytes()), utc.size, found)

    def _mean(self, values: Array, at: Index | slice | None) -> Array:
        """Return what is known of points `at`, shape (..., point), if there are none its means over the parts."""
        return values if at is not None else np.stack([values[..., run].mean(axis=-1) for run in self.front.runs], -1)

    def _moon(self, lights: Array, at: Index | slice | None) -> Array:
        """Return the moon's veil over points or parts by `lights`, shape (time, part) [cd/m2]."""
        there, radius = np.flatnonzero(lights[:, 2]), 0.5 * reference.value("sky", "disc of the moon")
        sights = self.sights[slice(None) if at is None else at]
        result = np.zeros((len(lights), len(self.front.runs if at is None else sights)))
        if there.size:
            veils = veils_of(sights, lights[there, -3:], lights[there, 2], radius, self.ambient)
            result[there] = self._mean(veils.T, at)
        return result

    def _adds(self, utc: Times, full: Draws, walls: Array, at: Index | slice | None = None) -> Callable[[slice], Array]:
        """Return what makes of a slice of times what the sky adds, (time, draw, part) or points `at` [cd/m2]."""
        turned = self.turned if at is None else np.eye(len(self.normals))[self.plane[at]]
        twilight, glow, moon = (full.sources[:, [self.trials.names.index(name)]] for name in SKY)
        share, seen, veil = (
            self._mean(part[slice(None) if at is None else at], at) for part in (self.share, self.seen, self.sky_veil)
        )
        lit, veil = self.clear * walls / np.pi, veil + 0.0 * walls
        back, all_round = walls / np.pi * self.ground, walls / np.pi * share
        each = twilight * (back + veil), glow * (all_round + veil), 0.0 * veil, twilight * lit * seen
        factors = np.concatenate([each, moon * lit * turned.T[:, None]]).reshape(4 + len(turned.T), -1)
        lights = self.lights(utc).reshape(-1, len(factors) + 3)

        def adds(part: slice) -> Array:
            added = (lights[part, :-3] @ factors).reshape(-1, *walls.shape)
            if lights[part, 2].any():
                added += moon * self._moon(lights[part], at)[:, None]
            return added

        return adds

    def chance(self, utc: Times) -> Array:
        """Return the chance that a part is enough, and that it has contrast enough, shape (2, ..., part)."""
        full, patch = self.front.full, self.trials.points.patch
        walls = np.stack([full.wall[:, patch[run]].mean(axis=1) for run in self.front.runs], axis=1)
        adds, lit = self._adds(utc, full, walls), walls / np.pi * self._mean(self.unit, None)
        unit = lit + self._mean(self.sky_veil, None)
        with np.errstate(invalid="ignore"):  # a black wall without a veil
            found, stands = np.empty((2, self.lights(utc)[..., 0].size, len(self.front.parts))), self.room * unit
        step = max(1, 8 * PAIRS // walls.size)
        for part in (slice(start, start + step) for start in range(0, found.shape[1], step)):
            added = adds(part)
            found[:, part] = [(added <= most).mean(axis=1) for most in stands]
        return found.reshape(2, *utc.shape, -1)

    def median(self, utc: Times) -> Array:
        """Return the median contrast of each part, all as given, shape (..., part)."""
        usual = self.front.usual
        adds = self._adds(utc, usual, usual.wall[:, self.trials.points.patch], slice(None))
        return self.front.contrast(utc.size, lambda part: adds(part)[:, 0]).reshape(*utc.shape, -1)

    def contrast(self, utc: Times, *, banded: bool) -> Array:
        """Return the same with its band, shape (..., part, level); NaN for the ends if it is not `banded`."""
        front, found = self.front, self.median(utc)
        if not banded:
            return np.stack([np.full_like(found, np.nan), found, np.full_like(found, np.nan)], axis=-1)
        patch = self.trials.points.patch[front.sample]

        def more(_: Draws, full: Draws) -> Callable[[slice], Array]:
            return self._adds(utc, full, full.wall[:, patch], front.sample)

        return front.banded(found.reshape(-1, found.shape[-1]), more).reshape(*found.shape, 3)

    def sources(self, utc: Times) -> tuple[list[str], Array, Array]:
        """Return names of all sources, their mean light [lx] and their veil [cd/m2], shape (source, ...)."""
        lights, sky = self.lights(utc), self.sky_veil.mean()
        twilight, glow, *_ = np.moveaxis(lights, -1, 0)
        blocks = np.split(lights.reshape(-1, lights.shape[-1]), range(0, utc.size, 1000)[1:])
        over = np.concatenate([self._moon(block, None)[:, 0] for block in blocks]).reshape(utc.shape)
        rest, ones = [k for k, name in enumerate(self.trials.names) if name not in SKY], np.ones(over.shape)
        lux = [
            self.clear * self.seen.mean() * lights[..., 3] + self.ground * twilight, self.share.mean() * glow,
            self.clear * lights[..., 4:-3] @ self.turned[0],
        ]  # fmt: skip
        lux += [self.trials.ambient[k].mean() * ones for k in rest]
        veils = [sky * twilight, sky * glow, over, *(self.trials.veils[k].mean() * ones for k in rest)]
        return [*SKY, *(self.trials.names[k] for k in rest)], np.array(lux), np.array(veils)


def _status(passes: Mask) -> Any:
    """Return the verdict where white and contrast are enough, shape (..., level): an index of `STATES`."""
    # What fails at the high end fails; what holds at the low end is enough.
    return np.where(passes[..., LEVELS.index("low")], 2, passes[..., LEVELS.index("high")]).astype(np.int8)


def _earliest(study: _Study, site: Site, utc: Times, minutes: Array, which: int, dark: Mask) -> Times:
    """Return the first minute at which a part is enough (`which` 0), or its contrast is, UTC, (date, part, level)."""
    at = dark.argmax(axis=1)
    result = np.where(dark.any(axis=1), utc[np.arange(len(utc))[:, None, None], at], _NEVER)
    # Between the last moment that fails and the first that holds, minute by minute.
    gap = float(np.diff(minutes).max()) if minutes.size > 1 else 0.0
    unsure = np.argwhere(dark.any(axis=1) & (at > 0)) if gap > 1.0 else np.empty((0, 3), int)
    if not len(unsure):
        return result
    i, part, level = unsure.T
    after = utc[i, at[i, part, level] - 1]
    tried = after[:, None] + np.arange(1, int(np.ceil(gap))) * MINUTE
    times, back = np.unique(tried, return_inverse=True)
    found = study.front.levels(study.chance(times)[which])
    holds = found[back.reshape(tried.shape), part[:, None], level[:, None]]
    sooner = holds.any(axis=1)
    result[tuple(unsure[sooner].T)] = tried[sooner, holds[sooner].argmax(axis=1)]
    return result


_NEVER = np.datetime64("NaT", "s")


def _lasts(utc: Times, earliest: Times, passes: Mask) -> tuple[Times, Array]:
    """Return the first later moment that fails, NaT for none, and the minutes to it or to the end, NaN for never."""
    later = (utc[:, :, None, None] >= earliest[:, None]) & ~passes
    ends = later.any(axis=1)
    end = np.where(ends, utc[np.arange(len(utc))[:, None, None], later.argmax(axis=1)], utc[:, -1, None, None])
    minutes: Array = (end - earliest) / MINUTE
    return np.where(ends, end, _NEVER), np.where(np.isnat(earliest), np.nan, minutes)


def _horizon(utc: Times, sun: Array, moon: Array) -> dict[str, Any]:
    """Return the first crossing of the horizon of each evening, UTC, shape (date,), NaT for none."""
    edge = -reference.value("sky", "rise and set")
    result = {}
    for name, height in {"sunset": sun, "sunrise": sun, "moonrise": moon, "moonset": moon}.items():
        up = height >= edge
        before, after = up[:, :-1], up[:, 1:]
        rows, at = np.nonzero(after > before if name.endswith("rise") else after < before)
        rows, first = np.unique(rows, return_index=True)
        at = at[first]
        share = (edge - height[rows, at]) / (height[rows, at + 1] - height[rows, at])
        seconds = (utc[rows, at + 1] - utc[rows, at]).astype(float) * share
        result[name] = np.full(len(utc), _NEVER)
        result[name][rows] = utc[rows, at] + np.round(seconds).astype("m8[s]")
    return result


def _sun_all_day(place: Positions, latitude: float) -> Array:
    """Return on (date,) whether the sun stays up (1) or down (-1) all day, from where it stands halfway."""
    half = place.sun_elevation.shape[1] // 2
    height, azimuth = np.radians([place.sun_elevation[:, half], place.sun_azimuth[:, half]])
    lat, edge = np.radians(latitude), -reference.value("sky", "rise and set")
    declination = np.arcsin(np.sin(lat) * np.sin(height) + np.cos(lat) * np.cos(height) * np.cos(azimuth))
    highest, lowest = (90.0 - np.degrees(np.abs(lat - declination)), np.degrees(np.abs(lat + declination)) - 90.0)
    return np.where(lowest >= edge, 1, np.where(highest < edge, -1, 0)).astype(np.int8)


def of_part(result: xr.Dataset, part: str) -> xr.Dataset:
    """Return what a result says of one part of the front; an unknown one: `InputError`."""
    return result.sel(part=OneOf(options=result["part"].values.tolist()).check("part", part))


def pick(result: xr.Dataset, date: Any, part: str) -> xr.Dataset:
    """Return one evening of `evenings` for one part of the front; no date: the first. Unknown: `InputError`."""
    check_made("result", result, "dark_enough", "kit.evenings")
    found = of_part(result, part)
    if date is None:
        return found.isel(date=0)
    day = _day_of("date", date)
    if day not in result["date"].values.astype("M8[D]"):
        raise InputError("date", str(day), "one of the evenings of this result")
    return found.sel(date=day.astype("M8[s]"))


def _moments(
    site: Site, first: Any, last: Any, every: int, begin: str, hours: float, step: float
) -> tuple[Times, Array, Times]:
    """Return dates, minutes after `begin`, and UTC times, shape (date, minute)."""
    start, end = _day_of("first", first), _day_of("last", last)
    if end < start:
        raise InputError("first, last", (str(start), str(end)), "a first date that is not after the last")
    days = EVERY.check("every", every)
    dates = np.arange(start, end + np.timedelta64(1, "D"), np.timedelta64(days, "D"))
    length = HOURS.check("hours", hours) * 60.0
    gap: float = STEP.check("step", step)
    minutes = gap * np.arange(int(length / gap + 1e-9) + 1.0)
    if dates.size * minutes.size > MOST_MOMENTS:
        given = f"{dates.size} evenings of {minutes.size} moments"
        raise InputError("first, last, step", given, f"at most {MOST_MOMENTS:,} moments in all")
    starts = site.utc(dates.astype("M8[s]") + clock_minutes("begin", begin) * MINUTE)
    return dates, minutes, starts[:, None] + np.round(minutes * 60.0).astype("m8[s]")


def _day_of(field: str, date: Any) -> np.datetime64:
    day = _clock_time(field, date).astype("M8[D]")
    if not np.datetime64("1900-01-02") <= day <= np.datetime64("2099-12-29"):
        raise InputError(field, str(date), "a date such as '2026-12-05', of the years 1900 to 2100")
    return day


def _clock_time(field: str, clock: Any) -> np.datetime64:
    times = clock_times(field, clock)
    if times.ndim:
        raise InputError(field, str(clock), "one time of the clock such as '2026-12-05 18:30'")
    return np.datetime64(times.astype("M8[s]").item(), "s")


def clock_minutes(field: str, clock: str) -> int:
    """Return a clock time such as ``"18:30"`` in minutes after midnight, 0 to 1440; another text: `InputError`."""
    hours, minutes = CLOCK.check(field, clock).split(":")
    return 60 * int(hours) + int(minutes)


def _hour(when: Any) -> str:
    return "-" if pd.isna(when) else f"{pd.Timestamp(when):%H:%M}"


def _day(when: Any) -> str:
    stamp = pd.Timestamp(when)
    return f"{stamp:%a} {stamp.day} {stamp:%b %Y}"
