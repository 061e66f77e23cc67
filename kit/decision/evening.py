"""When can the show start? Contrast and verdict against the clock, over one evening or a season.

The clock is that of the wall: an evening begins at a stated time of its date and runs for so many hours, across
midnight if they last, and whether daylight saving begins or ends meanwhile or not. Where sun and moon stand decides
what they add to the lamps of the street; all moments of a season are computed at once.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import NDArray

from kit import reference
from kit.decision.verdict import Target, checked_target
from kit.decision.washout import WHOLE, LitFront, lit_front
from kit.errors import InputError
from kit.eye.glare import moon_veil, sky_veils, source_veils
from kit.eye.light_map import Scene
from kit.fields import NAME, Is, Many, Number, Text, check_fields, declared
from kit.light.ambient import source_maps
from kit.light.lamps import Lamp
from kit.quantities import attrs, labelled
from kit.results import make_frame
from kit.sky.luminaire import LedString, Luminaire
from kit.sky.site import GLOW, MOON, TWILIGHT, Site, Sky, Times, clock_times
from kit.source.projector import LEVELS
from kit.words import percent

Array = NDArray[np.float64]
Days = NDArray[np.datetime64]

MINUTE = np.timedelta64(60, "s")
# Of evenings times moments; five years in steps of five minutes. Beyond it is surely a slip.
MOST_MOMENTS = 500_000
# No lamp's name makes a change of this name.
NO_LAMP = "no lamp at all"
STATES = ("not enough", "borderline", "enough")
FLAGS = "not_enough borderline enough"


@dataclass(frozen=True, kw_only=True)
class ClockTime(Text):
    """A time of the clock from ``"00:00"`` to ``"24:00"``."""

    def checked(self, field: str, value: Any) -> str:
        """Return `value` if it is such a time."""
        clock_minutes(field, value)
        return str(value)


CLOCK = ClockTime(label="time of the clock")
SHIELD = Number(label="shade", unit="degrees", low=0.0, high=180.0, meaning="angle from straight down that stays lit")
EVERY = Number(label="days from one evening to the next", low=1.0, high=366.0, whole=True)
HOURS = Number(label="hours", above=0.0, high=24.0, meaning="that an evening lasts")
STEP = Number(label="step", unit="minutes", low=1.0 / 60.0, high=24.0 * 60.0, meaning="from moment to moment")


@dataclass(frozen=True, kw_only=True)
class Passing:
    """Light that comes and goes: cars that turn at the corner, a motion sensor next door.

    Parameters
    ----------
    name : str
    lamps : sequence of Luminaire or LedString
        On while it lasts.
    seconds : float
        That one event lasts, above 0.
    per_hour : float
        Events in an hour, 0 or more; together with `seconds` at most the whole hour.
    begin, end : str
        Clock times between which they happen, such as ``"16:00"``; across midnight if `end` is the earlier, all day if
        they are the same.
    """

    name: str = declared(NAME)
    lamps: tuple[Lamp, ...] = declared(Many(of=Is(kind=(Luminaire, LedString)), least=1, unique="name"))
    seconds: float = declared(Number(label="seconds", unit="s", above=0.0))
    per_hour: float = declared(Number(label="times an hour", low=0.0))
    begin: str = declared(CLOCK, default="00:00")
    end: str = declared(CLOCK, default="24:00")

    def __post_init__(self) -> None:
        where = f"passing light {self.name!r}"
        check_fields(self, where)
        if self.share > 1.0:
            raise InputError(f"{where}: seconds, per_hour", (self.seconds, self.per_hour), "an hour of light at most")

    @property
    def share(self) -> float:
        """Share of the time between `begin` and `end` during which it is there."""
        return self.seconds * self.per_hour / 3600.0

    def happens(self, clock: Times) -> NDArray[np.bool_]:
        """Return whether it can happen at times of the clock."""
        begin, end = clock_minutes("begin", self.begin), clock_minutes("end", self.end)
        minute = (clock - clock.astype("M8[D]")) / MINUTE
        if begin < end:
            return (minute >= begin) & (minute < end)
        return (minute >= begin) | (minute < end)


def evenings(
    scene: Scene,
    site: Site,
    first: Any,
    last: Any = None,
    *,
    every: int = 1,
    begin: str = "15:00",
    hours: float = 10.0,
    step: float = 5.0,
    target: Target | None = None,
    spacing: float = 0.3,
    passing: Iterable[Passing] = (),
) -> xr.Dataset:
    """Return contrast and verdict against the clock, over one evening or many.

    Parameters
    ----------
    scene : Scene
        Its ambient light is there all the time; instead of that light's sky comes the sky of each moment.
    site : Site
    first, last : str, date or numpy.datetime64
        Dates; one evening if `last` is not given.
    every : int
        Days from one evening to the next.
    begin : str
        Clock time at which an evening begins, such as ``"15:00"``.
    hours : float
        That it lasts, above 0 up to 24.
    step : float
        Between moments [minutes], above 0.
    target : Target, optional
    spacing : float
        Pixel size of the front [m].
    passing : sequence of Passing
        Each is looked at by itself, on top of all the rest.

    Returns
    -------
    xarray.Dataset
        Dimensions ``date``; ``minute``, minutes after `begin` that have passed; ``part``, the whole front and each
        kind of surface; ``level``, low, nominal and high end of the likely band; ``source``; ``passing``.

        ============================== ========================================================
        clock, utc (date, minute)      of the wall, and UTC
        sun_elevation, moon_elevation  without refraction [deg]
        ambient_illuminance (source, .) mean over the front that counts [lx]
        veiling_luminance (source, ..) in the eye [cd/m2]
        contrast (..., part, level)    median of the part
        status (..., part)             0 not enough, 1 borderline, 2 enough
        white_luminance (part, level)  the same at any hour [cd/m2]
        lit_share (part,)              that a picture reaches
        earliest (date, part, level)   first minute of the clock that meets both targets; NaT for never
        dark_enough (...)              the same for contrast alone: when the sky lets the picture be seen
        until (...)                    first later moment of the clock that misses one; NaT where none does
        passing_minutes (...)          minutes that pass from `earliest` to `until`, or to the end of the evening
        sunset, sunrise, moonrise,
        moonset (date,)                by the clock, on a level horizon; NaT where not in the evening
        contrast_passing (passing, ..) nominal contrast while the passing light is there; NaN when it never is
        ============================== ========================================================

        ``earliest`` at level low is when the verdict becomes ``enough``, at level high when it may be. Between two
        steps it is found to the minute, by whole minutes from the earlier one; light that is too much for less than a
        step can be missed, and ``until`` is one of the steps. Rise and set are interpolated between steps: with 5
        minutes to the second, with an hour to a minute, near the polar circles less well. An evening that begins in an
        hour that comes twice begins in the first.

    Raises
    ------
    InputError
        For dates out of 1900 to 2100 or in reverse order, a begin that the clock skips, more than `MOST_MOMENTS`, or a
        scene that `light_map` refuses.
    """
    target = checked_target(target)
    _check_scene(scene, site)
    events = Many(of=Is(kind=Passing), unique="name").check("passing", passing)
    dates, minutes, utc = _moments(site, first, first if last is None else last, every, begin, hours, step)
    clock = site.clock(utc)
    sky = site.sky_at(utc)

    front = lit_front(scene, spacing)
    study = _Study(front, scene)
    contrast = study.contrast(sky)
    level = ["nominal"]
    with_events = np.full((len(events), *utc.shape, len(front.parts)), np.nan)
    for i, event in enumerate(events):
        when = event.happens(clock)
        if when.any():
            more = _Study(front, scene, event.lamps)
            with_events[i][when] = more.contrast(site.sky_at(utc[when]), level)[..., 0]

    white = front.enough_white(target)
    dark = contrast >= target.contrast
    passes = dark & white
    # What fails at the high end fails; what holds at the low end is enough.
    status = np.where(passes[..., 0], 2, np.where(passes[..., 2], 1, 0)).astype(np.int8)
    earliest_dark = _earliest(study, site, utc, minutes, dark, target)
    earliest = np.where(white, earliest_dark, np.datetime64("NaT", "s"))
    until, lasts = _lasts(utc, earliest, passes)
    names, lux, veils = study.sources(sky)
    place = sky.positions
    axes, many = ("date", "minute"), ("date", "minute", "part", "level")
    return xr.Dataset(
        {
            "sun_elevation": labelled("sun_elevation", axes, place.sun_elevation),
            "moon_elevation": labelled("moon_elevation", axes, place.moon_elevation),
            "moon_illuminated": labelled("moon_illuminated", axes, place.moon_illuminated),
            "ambient_illuminance": labelled("ambient_illuminance", ("source", *axes), lux),
            "veiling_luminance": labelled("veiling_luminance", ("source", *axes), veils),
            "contrast": labelled("contrast", many, contrast),
            "status": (many[:3], status, attrs("status") | {"flag_values": [0, 1, 2], "flag_meanings": FLAGS}),
            "white_luminance": labelled("white_luminance", ("part", "level"), front.white_luminance),
            "lit_share": labelled("lit_share", "part", front.lit_share),
            **{
                name: labelled(name, ("date", "part", "level"), site.clock(when))
                for name, when in (("earliest", earliest), ("dark_enough", earliest_dark), ("until", until))
            },
            "passing_minutes": labelled("passing_minutes", ("date", "part", "level"), lasts),
            **{
                name: labelled(name, "date", site.clock(when))
                for name, when in _horizon(utc, place.sun_elevation, place.moon_elevation).items()
            },
            "contrast_passing": labelled("contrast_passing", ("passing", *many[:3]), with_events),
            "passing_share": labelled("passing_share", "passing", [event.share for event in events]),
        },
        coords={
            "date": ("date", dates.astype("M8[s]"), {"long_name": "date on which the evening begins"}),
            "minute": ("minute", minutes, {"long_name": f"minutes after {begin}"}),
            "part": list(front.parts),
            "level": list(LEVELS),
            "source": names,
            "passing": [event.name for event in events],
            "clock": (axes, clock, {"long_name": f"clock of {site.timezone}"}),
            "utc": (axes, utc),
        },
        attrs={
            "front": scene.facade.name,
            "timezone": site.timezone,
            "begin": begin,
            "wanted_contrast": target.contrast,
            "wanted_white_luminance": target.white_luminance,
            "stated_light_output": float(sum(p.light_output for p, _ in scene.projectors)),
        },
    )


def start_sentence(result: xr.Dataset, date: Any = None, part: str = WHOLE, units: str = "m") -> str:
    """Return when the show can start on one evening, for someone who never heard of a lux.

    Parameters
    ----------
    result : xarray.Dataset
        From `evenings`.
    date : str, date or numpy.datetime64, optional
        The first if not given.
    part : str
        Of the front.
    units : {"m", "ft"}
        Nothing here is a length.
    """
    one = pick(result, date, part)
    day = _day(one["date"].values)
    about = "" if part == WHOLE else f" on the {part}"
    facts = [
        f"{word} {_hour(one[name].values)}"
        for name, word in (("sunset", "the sun sets at"), ("moonrise", "the moon rises at"))
        if not np.isnat(one[name].values)
    ]
    told = f" ({', '.join(facts)})" if facts else ""
    low, nominal, high = (one["earliest"].sel(level=level).values for level in LEVELS)
    if not np.isnat(nominal):
        start = f"{day}: the show can start{about} at {_hour(nominal)}{told}."
        likely = (
            f"between {_hour(high)} and {_hour(low)}" if not np.isnat(low) else f"from {_hour(high)} at the earliest"
        )
        text = f"{start} Likely {likely}." if low != high else start
        end = one["until"].sel(level="nominal").values
        return text if np.isnat(end) else f"{text} From {_hour(end)} on it falls short again."
    if not np.isnat(high):
        return (
            f"{day}: the show may or may not do{about}, from {_hour(high)} at the earliest{told}. At its likely best "
            "it meets what is wanted, at its likely middle it does not."
        )
    nominal = one["dark_enough"].sel(level="nominal").values
    white = float(one["white_luminance"].sel(level="nominal"))
    wanted = result.attrs["wanted_white_luminance"]
    if float(one["lit_share"]) < 0.5:
        return (
            f"{day}: not enough{about} at any hour; the picture reaches only {percent(float(one['lit_share']))} of it."
        )
    if white < wanted:
        dark = "contrast never suffices either" if np.isnat(nominal) else f"contrast would do from {_hour(nominal)} on"
        return (
            f"{day}: not enough{about} at any hour{told}. White reaches {white:.1f} of the {wanted:g} cd/m² wanted, "
            f"whatever the clock says; {dark}."
        )
    best = float(one["contrast"].sel(level="nominal").max())
    return (
        f"{day}: not enough{about} at any hour{told}. Contrast reaches at best {best:.1f}:1 of the "
        f"{result.attrs['wanted_contrast']:g}:1 wanted."
    )


def start_frame(result: xr.Dataset, part: str = WHOLE, every: int = 1) -> pd.DataFrame:
    """Return the earliest start of each evening, or of one in so many.

    Parameters
    ----------
    result : xarray.Dataset
        From `evenings`.
    part : str
        Of the front.
    every : int
        1 shows all.

    Returns
    -------
    pandas.DataFrame
        A row for each date; times of the clock, NaT for never: ``may start`` when it may be enough, ``start`` when it
        likely is, ``surely`` when it is.
    """
    _check_result(result, "dark_enough", "kit.evenings")
    step = Number(label="every", low=1.0, whole=True).check("every", every)
    rows = []
    for date in result["date"].values[::step]:
        one = pick(result, date, part)
        start = {level: one["earliest"].sel(level=level).values for level in LEVELS}
        rows.append(
            {
                "evening": date,
                "sunset": one["sunset"].values,
                "moonrise": one["moonrise"].values,
                "moon lit": float(one["moon_illuminated"].mean()),
                "dark from": one["dark_enough"].sel(level="nominal").values,
                "start": start["nominal"],
                "may start": start["high"],
                "surely": start["low"],
            }
        )
    frame = make_frame(rows, {"moon lit": ".0%"} | dict.fromkeys(_TIMES, _hour))
    return frame.set_index(frame.pop("evening").map(_day).rename("evening"))


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
    light = at["ambient_illuminance"].values, at["veiling_luminance"].values
    rows = [(str(name), float(lux), float(veil)) for name, lux, veil in zip(at["source"].values, *light, strict=True)]
    rows = [row for row in rows if row[1] > 0 or row[2] > 0]
    rows.append(("all", float(light[0].sum()), float(light[1].sum())))
    names = ("source", "on the front [lx]", "veil [cd/m²]")
    table = [dict(zip(names, row, strict=True)) for row in rows]
    frame = make_frame(table, {"on the front [lx]": ".3f", "veil [cd/m²]": ".4f"}, index="source")
    frame.attrs["title"] = at["clock"].dt.strftime("%Y-%m-%d %H:%M").item()
    return frame


def moment(result: xr.Dataset, clock: Any) -> tuple[int, int]:
    """Return the indices (date, minute) of the moment nearest to a time of the clock; none near: `InputError`."""
    _check_result(result, "earliest", "kit.evenings")
    right = f"a time from {result['clock'].values.flat[0]} to {result['clock'].values.flat[-1]}"
    wanted = _clock_time("clock", clock)
    away = np.abs(result["clock"].values - wanted)
    i, j = np.unravel_index(int(away.argmin()), away.shape)
    steps = result["minute"].values
    near = (steps[1] - steps[0] if steps.size > 1 else 1.0) * MINUTE.astype(float)
    if away[i, j].astype(float) > near:
        raise InputError("clock", str(clock), right)
    return int(i), int(j)


def switching(
    scene: Scene,
    site: Site,
    clock: Any,
    *,
    shield: float = 60.0,
    target: Target | None = None,
    spacing: float = 0.3,
    part: str = WHOLE,
    begin: str = "15:00",
    hours: float = 10.0,
    step: float = 5.0,
) -> xr.Dataset:
    """Return what switching each lamp off, or shading it, would buy on one evening.

    Parameters
    ----------
    scene : Scene
        With `lamps` in its ambient light.
    site : Site
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
        On (change,), "as it is" first: ambient_illuminance of all sources [lx], veiling_luminance [cd/m2], contrast
        and status at `clock`, earliest start of that evening (level).
    """
    _check_scene(scene, site)
    lamps = scene.ambient.lamps
    SHIELD.check("shield", shield)
    changes: list[tuple[str, tuple[Lamp, ...]]] = [("as it is", lamps)]
    for lamp in lamps:
        rest = tuple(other for other in lamps if other is not lamp)
        changes.append((f"{lamp.name} off", rest))
        if isinstance(lamp, Luminaire):
            shaded = replace(lamp, shielded=min(shield, 180.0 if lamp.shielded is None else lamp.shielded))
            changes.append((f"{lamp.name} shaded", (*rest, shaded)))
        else:
            changes.append((f"{lamp.name} at half", (*rest, lamp.dimmed(lamp.dimming / 2.0))))
    if len(lamps) > 1:
        changes.append((NO_LAMP, ()))
    target = checked_target(target)
    time = _clock_time("clock", clock)
    # A time after midnight belongs to the evening before.
    early = (time - time.astype("M8[D]")) < clock_minutes("begin", begin) * MINUTE
    date = time.astype("M8[D]") - np.timedelta64(int(early), "D")
    _, minutes, utc = _moments(site, date, date, 1, begin, hours, step)
    away = np.abs(site.clock(utc)[0] - time)
    if away.min() > step * MINUTE:
        raise InputError("clock", str(time), f"a time in the {hours:g} hours after {begin}")
    j = int(away.argmin())
    sky = site.sky_at(utc)
    front = lit_front(scene, spacing)
    i = _part_index(front.parts, part)
    white = front.enough_white(target)[i]
    rows = []
    for _, kept in changes:
        study = _Study(front, replace(scene, ambient=replace(scene.ambient, lamps=kept)))
        contrast = study.contrast(sky)
        dark = contrast >= target.contrast
        start = _earliest(study, site, utc, minutes, dark, target)[0, i]
        passes = dark[0, j, i] & white
        _, found, over = study.sources(sky)
        rows.append((
            found[:, 0, j].sum(), over[:, 0, j].sum(), contrast[0, j, i], 2 if passes[0] else int(passes[2]),
            site.clock(np.where(white, start, _NEVER)),
        ))  # fmt: skip
    lux, veils, contrasts, states, starts = zip(*rows, strict=True)
    return xr.Dataset(
        {
            "ambient_illuminance": labelled("ambient_illuminance", "change", list(lux)),
            "veiling_luminance": labelled("veiling_luminance", "change", list(veils)),
            "contrast": labelled("contrast", ("change", "level"), np.array(contrasts)),
            "status": labelled("status", "change", list(states)),
            "earliest": labelled("earliest", ("change", "level"), np.array(starts)),
        },
        coords={"change": [name for name, _ in changes], "level": list(LEVELS)},
        attrs={"clock": str(time).replace("T", " "), "part": part},
    )


def switching_frame(result: xr.Dataset) -> pd.DataFrame:
    """Return what `switching` found, a row for each change."""
    _check_result(result, "change", "kit.switching")
    one = result.sel(level="nominal")
    frame = make_frame(
        [
            {"change": str(name), "on the front [lx]": lux, "contrast": contrast, "start": start, "verdict": STATES[k]}
            for name, lux, contrast, start, k in zip(
                one["change"].values,
                one["ambient_illuminance"].values.tolist(),
                one["contrast"].values.tolist(),
                one["earliest"].values,
                one["status"].values.tolist(),
                strict=True,
            )
        ],
        {"on the front [lx]": ".2f", "contrast": ".1f", "start": _hour},
        index="change",
    )
    frame.attrs["title"] = result.attrs["clock"][:16]
    return frame


class _Study:
    """A front under the lamps of a scene and any sky."""

    def __init__(self, front: LitFront, scene: Scene, more: Sequence[Lamp] = ()) -> None:
        ambient = replace(scene.ambient, sky=None, lamps=(*scene.ambient.lamps, *more))
        self.front, self.ambient, self.facade = front, ambient, scene.facade
        self.names = ambient.sources()
        maps = source_maps(ambient, front.raster).reshape(len(self.names), -1)
        self.means = maps[:, front.judged].mean(axis=1)
        self.lamps = maps.sum(axis=0)[front.lit]
        self.veils, _ = source_veils(ambient, scene.facade)
        self.sky_veil = sky_veils(ambient, scene.facade)

    def contrast(self, sky: Sky, levels: Sequence[str] = LEVELS) -> Array:
        """Return the median contrast, shape (..., part, level)."""
        even, moon = sky.twilight() + sky.glow(), sky.moon(self.front.raster.planes.normal)
        veil = self.veils.sum() + self.sky_veil * sky.luminance() + moon_veil(self.ambient, self.facade, sky)[0]
        plane = self.front.raster.plane.ravel()[self.front.lit]
        flat, planes = even.reshape(-1, 1), moon.reshape(-1, moon.shape[-1])

        def lux(block: slice) -> Array:
            return self.lamps + flat[block] + planes[block][:, plane]

        found = self.front.contrast(flat.size, lux, veil.ravel(), levels)
        return found.reshape(*even.shape, *found.shape[1:])

    def sources(self, sky: Sky) -> tuple[list[str], Array, Array]:
        """Return names of all sources, their mean light [lx] and their veil [cd/m2], shape (source, ...)."""
        planes = self.front.raster.plane.ravel()[self.front.judged]
        normals = self.front.raster.planes.normal
        moon = sky.moon(normals) @ (np.bincount(planes, minlength=len(normals)) / planes.size)
        over, luminances = moon_veil(self.ambient, self.facade, sky)[0], sky.luminances()
        found = {
            TWILIGHT: (sky.twilight(), self.sky_veil * luminances[TWILIGHT]),
            GLOW: (sky.glow(), self.sky_veil * luminances[GLOW]),
            MOON: (moon, over),
        }
        found |= {
            name: (np.full(moon.shape, mean), np.full(moon.shape, veil))
            for name, mean, veil in zip(self.names, self.means, self.veils, strict=True)
        }
        lux, veils = (np.array([pair[k] for pair in found.values()]) for k in (0, 1))
        return list(found), lux, veils


def _earliest(
    study: _Study, site: Site, utc: Times, minutes: Array, dark: NDArray[np.bool_], target: Target
) -> NDArray[np.datetime64]:
    """Return the first minute at which contrast is enough, UTC, shape (date, part, level)."""
    at = dark.argmax(axis=1)
    result = np.where(dark.any(axis=1), np.take_along_axis(utc[:, :, None, None], at[:, None], axis=1)[:, 0], _NEVER)
    # Between the last moment that fails and the first that holds, minute by minute.
    gap = float(np.diff(minutes).max()) if minutes.size > 1 else 0.0
    unsure = np.argwhere(dark.any(axis=1) & (at > 0)) if gap > 1.0 else np.empty((0, 3), int)
    if not len(unsure):
        return result
    i, part, level = unsure.T
    after = utc[i, at[i, part, level] - 1]
    tried = after[:, None] + np.arange(1, int(np.ceil(gap))) * MINUTE
    times, back = np.unique(tried, return_inverse=True)
    found = study.contrast(site.sky_at(times))
    holds = found[back.reshape(tried.shape), part[:, None], level[:, None]] >= target.contrast
    holds &= tried < result[i, part, level][:, None]
    sooner = holds.any(axis=1)
    result[tuple(unsure[sooner].T)] = tried[sooner, holds[sooner].argmax(axis=1)]
    return result


_NEVER = np.datetime64("NaT", "s")


def _lasts(
    utc: Times, earliest: NDArray[np.datetime64], passes: NDArray[np.bool_]
) -> tuple[NDArray[np.datetime64], Array]:
    """Return the first later moment that fails, NaT for none, and the minutes to it or to the end, NaN for never."""
    later = (utc[:, :, None, None] >= earliest[:, None]) & ~passes
    first = np.take_along_axis(utc[:, :, None, None], later.argmax(axis=1)[:, None], axis=1)[:, 0]
    end = np.where(later.any(axis=1), first, utc[:, -1, None, None])
    minutes: Array = (end - earliest) / MINUTE
    ends = later.any(axis=1) & ~np.isnat(earliest)
    return np.where(ends, first, _NEVER), np.where(np.isnat(earliest), np.nan, minutes)


def _horizon(utc: Times, sun: Array, moon: Array) -> dict[str, Any]:
    """Return the first crossing of the horizon of each evening, UTC, shape (date,), NaT for none."""
    edge = -reference.value("sky", "rise and set")
    result = {}
    for name, height, rises in (
        ("sunset", sun, False), ("sunrise", sun, True), ("moonrise", moon, True), ("moonset", moon, False),
    ):  # fmt: skip
        up = height >= edge
        crosses = (up[:, 1:] & ~up[:, :-1]) if rises else (~up[:, 1:] & up[:, :-1])
        found = np.full(len(utc), _NEVER)
        if crosses.size:
            rows = np.flatnonzero(crosses.any(axis=1))
            at = crosses[rows].argmax(axis=1)
            before, after = height[rows, at], height[rows, at + 1]
            share = (edge - before) / (after - before)
            seconds = (utc[rows, at + 1] - utc[rows, at]).astype(float) * share
            found[rows] = utc[rows, at] + np.round(seconds).astype("m8[s]")
        result[name] = found
    return result


def _part_index(parts: Sequence[str], part: str) -> int:
    if part not in parts:
        raise InputError("part", part, f"one of {', '.join(parts)}")
    return list(parts).index(part)


def pick(result: xr.Dataset, date: Any, part: str) -> xr.Dataset:
    """Return one evening of `evenings` for one part of the front; no date: the first. Unknown: `InputError`."""
    _check_result(result, "dark_enough", "kit.evenings")
    _part_index([str(name) for name in result["part"].values], part)
    if date is None:
        return result.isel(date=0).sel(part=part)
    day = _day_of("date", date)
    if day not in result["date"].values.astype("M8[D]"):
        raise InputError("date", str(day), "one of the evenings of this result")
    return result.sel(date=day.astype("M8[s]"), part=part)


def _moments(
    site: Site, first: Any, last: Any, every: int, begin: str, hours: float, step: float
) -> tuple[Days, Array, Times]:
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


def _check_scene(scene: Scene, site: Site) -> None:
    Is(kind=Scene).check("scene", scene)
    Is(kind=Site).check("site", site)


def _check_result(result: xr.Dataset, needed: str, origin: str) -> None:
    if not isinstance(result, xr.Dataset) or needed not in result:
        raise InputError("result", type(result).__name__, f"the Dataset that {origin} returns")


def clock_minutes(field: str, clock: str) -> int:
    """Return a clock time such as ``"18:30"`` in minutes after midnight, 0 to 1440; another text: `InputError`."""
    parts = clock.split(":") if isinstance(clock, str) else []
    if len(parts) == 2 and all(part.isascii() and part.isdigit() and len(part) == 2 for part in parts):
        hour, minute = int(parts[0]), int(parts[1])
        if minute < 60 and 60 * hour + minute <= 24 * 60:
            return 60 * hour + minute
    raise InputError(field, clock, "a time of the clock from '00:00' to '24:00'")


# Columns of times of the clock.
_TIMES = ("sunset", "moonrise", "dark from", "start", "may start", "surely")


def _hour(when: Any) -> str:
    if pd.isna(when):
        return "-"
    return pd.Timestamp(when).strftime("%H:%M")


def _day(when: Any) -> str:
    stamp = pd.Timestamp(when)
    return f"{stamp:%a} {stamp.day} {stamp:%b %Y}"
