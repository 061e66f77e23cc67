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
from kit.errors import InputError, number, text
from kit.eye.ambient import GLOW, MOON, TWILIGHT, ambient_light, check_lamps, moon_veil, sky_veils
from kit.eye.light_map import Scene
from kit.sky.luminaire import LedString, Luminaire
from kit.sky.site import Site, Sky, Times, clock_times
from kit.source.projector import LEVELS

Array = NDArray[np.float64]
Days = NDArray[np.datetime64]

MINUTE = np.timedelta64(60, "s")
# Of evenings times moments; five years in steps of five minutes. Beyond it is surely a slip.
MOST_MOMENTS = 500_000
# No lamp's name makes a change of this name.
NO_LAMP = "no lamp at all"
STATES = ("not enough", "borderline", "enough")


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

    name: str
    lamps: tuple[Luminaire | LedString, ...]
    seconds: float
    per_hour: float
    begin: str = "00:00"
    end: str = "24:00"

    def __post_init__(self) -> None:
        where = f"passing light {text('passing light: name', self.name)!r}"
        lamps = check_lamps(self.lamps)
        if not lamps:
            raise InputError(f"{where}: lamps", self.lamps, "at least one lamp")
        object.__setattr__(self, "lamps", lamps)
        number(f"{where}: seconds", self.seconds, above=0.0, unit="s")
        number(f"{where}: per_hour", self.per_hour, minimum=0.0)
        if self.share > 1.0:
            raise InputError(f"{where}: seconds, per_hour", (self.seconds, self.per_hour), "an hour of light at most")
        clock_minutes(f"{where}: begin", self.begin)
        clock_minutes(f"{where}: end", self.end)

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
        illuminance (source, ...)      mean over the front that counts [lx]
        veil_luminance (source, ...)   in the eye [cd/m2]
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
    if not isinstance(passing, Iterable):
        raise InputError("passing", passing, "a sequence of kit.Passing values")
    events = tuple(passing)
    for event in events:
        if not isinstance(event, Passing):
            raise InputError("passing", event, "kit.Passing values")
        if sum(other.name == event.name for other in events) > 1:
            raise InputError("passing: name", event.name, "a name that no other passing light has")
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
    place, moon = sky.positions, "of the moon's centre, without refraction"
    axes, many = ("date", "minute"), ("date", "minute", "part", "level")
    return xr.Dataset(
        {
            "sun_elevation": (axes, place.sun_elevation, _about("of the sun's centre, without refraction", "degree")),
            "moon_elevation": (axes, place.moon_elevation, _about(moon, "degree")),
            "moon_illuminated": (axes, place.moon_illuminated, _about("lit share of the moon's disc", "1")),
            "illuminance": (("source", *axes), lux, _about("mean illuminance on the front", "lx")),
            "veil_luminance": (("source", *axes), veils, _about("veiling luminance in the eye", "cd/m2")),
            "contrast": (many, contrast, _about("median contrast at the eye", "1")),
            "status": (
                many[:3],
                status,
                {"long_name": "verdict", "flag_values": [0, 1, 2], "flag_meanings": "not_enough borderline enough"},
            ),
            "white_luminance": (
                ("part", "level"),
                front.white_luminance,
                _about("median luminance of projected white", "cd/m2"),
            ),
            "lit_share": ("part", front.lit_share, _about("share that a picture reaches", "1")),
            "earliest": (("date", "part", "level"), site.clock(earliest), {"long_name": "earliest start"}),
            "dark_enough": (
                ("date", "part", "level"),
                site.clock(earliest_dark),
                {"long_name": "when contrast is first enough"},
            ),
            "until": (("date", "part", "level"), site.clock(until), {"long_name": "when a target is missed again"}),
            "passing_minutes": (
                ("date", "part", "level"),
                lasts,
                _about("minutes from the earliest start until a target is missed", "min"),
            ),
            **{
                name: ("date", site.clock(when), {"long_name": name})
                for name, when in _horizon(utc, place.sun_elevation, place.moon_elevation).items()
            },
            "contrast_passing": (
                ("passing", *many[:3]),
                with_events,
                _about("median contrast while the passing light is there", "1"),
            ),
            "passing_share": ("passing", [e.share for e in events], _about("share of the time", "1")),
        },
        coords={
            "date": ("date", dates.astype("M8[s]"), {"long_name": "date on which the evening begins"}),
            "minute": ("minute", minutes, {"long_name": f"minutes after {begin}"}),
            "part": list(front.parts),
            "level": list(LEVELS),
            "source": names,
            "passing": [event.name for event in events],
            "clock": (axes, clock, {"long_name": f"clock of {site.zone}"}),
            "utc": (axes, utc),
        },
        attrs={
            "front": scene.facade.name,
            "zone": site.zone,
            "begin": begin,
            "wanted_contrast": target.contrast,
            "wanted_white_luminance": target.white_luminance,
            "stated_light_output": float(sum(np.sum(p.light_output) for p, _ in scene.projectors)),
        },
    )


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
    one = pick(result, date, part)
    day = _day(one["date"].values)
    about = "" if part == WHOLE else f" on the {part}"
    facts = [
        f"{word} {_hour(one[name].values)}"
        for name, word in (("sunset", "the sun sets at"), ("moonrise", "the moon rises at"))
        if not np.isnat(one[name].values)
    ]
    told = f" ({', '.join(facts)})" if facts else ""
    low, nominal, high = one["earliest"].values
    if not np.isnat(nominal):
        start = f"{day}: the show can start{about} at {_hour(nominal)}{told}."
        likely = (
            f"between {_hour(high)} and {_hour(low)}" if not np.isnat(low) else f"from {_hour(high)} at the earliest"
        )
        text = f"{start} Likely {likely}." if low != high else start
        end = one["until"].values[1]
        return text if np.isnat(end) else f"{text} From {_hour(end)} on it falls short again."
    if not np.isnat(high):
        return (
            f"{day}: the show may or may not do{about}, from {_hour(high)} at the earliest{told}. At its likely best "
            "it meets what is wanted, at its likely middle it does not."
        )
    nominal = one["dark_enough"].values[1]
    white = float(one["white_luminance"][1])
    wanted = result.attrs["wanted_white_luminance"]
    if float(one["lit_share"]) < 0.5:
        return f"{day}: not enough{about} at any hour; the picture reaches only {float(one['lit_share']):.0%} of it."
    if white < wanted:
        dark = "contrast never suffices either" if np.isnat(nominal) else f"contrast would do from {_hour(nominal)} on"
        return (
            f"{day}: not enough{about} at any hour{told}. White reaches {white:.1f} of the {wanted:g} cd/m2 wanted, "
            f"whatever the clock says; {dark}."
        )
    best = float(one["contrast"].values[:, 1].max())
    return (
        f"{day}: not enough{about} at any hour{told}. Contrast reaches at best {best:.1f}:1 of the "
        f"{result.attrs['wanted_contrast']:g}:1 wanted."
    )


def start_table(result: xr.Dataset, part: str = WHOLE, every: int = 1) -> str:
    """Return the earliest start of each evening, or of one in so many, as a text table.

    Parameters
    ----------
    result : xarray.Dataset
        From `evenings`.
    part : str
        Of the front.
    every : int
        1 shows all.
    """
    _check_result(result, "dark_enough", "kit.evenings")
    step = int(number("every", every, minimum=1.0))
    rows = [f"{'':17}{'sunset':>8}{'moonrise':>10}{'moon lit':>10}{'dark from':>11}{'start':>8}  likely"]
    for date in result["date"].values[::step]:
        one = pick(result, date, part)
        low, nominal, high = one["earliest"].values
        likely = "never" if np.isnat(high) else f"{_hour(high)} to {'never' if np.isnat(low) else _hour(low)}"
        lit = float(one["moon_illuminated"].mean())
        rows.append(
            f"{_day(date):17}{_hour(one['sunset'].values):>8}{_hour(one['moonrise'].values):>10}{lit:>10.0%}"
            f"{_hour(one['dark_enough'].values[1]):>11}{_hour(nominal):>8}  {likely}"
        )
    return "\n".join(rows)


def source_table(result: xr.Dataset, clock: Any) -> str:
    """Return what each source of light gives at one time, as a text table.

    Parameters
    ----------
    result : xarray.Dataset
        From `evenings`.
    clock : str, datetime or numpy.datetime64
        Time of the clock; the nearest moment is shown.
    """
    i, j = moment(result, clock)
    at = result.isel(date=i, minute=j)
    lines = [f"{at['clock'].dt.strftime('%Y-%m-%d %H:%M').item():24}{'on the front, lx':>18}{'veil, cd/m2':>13}"]
    for name, lux, veil in zip(at["source"].values, at["illuminance"].values, at["veil_luminance"].values, strict=True):
        if lux > 0 or veil > 0:
            lines.append(f"{name!s:24}{lux:>18.3f}{veil:>13.4f}")
    lines.append(f"{'all':24}{float(at['illuminance'].sum()):>18.3f}{float(at['veil_luminance'].sum()):>13.4f}")
    return "\n".join(lines)


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
        On (change,), "as it is" first: illuminance of all ambient light [lx], veil_luminance [cd/m2], contrast and
        status at `clock`, earliest start of that evening (level).
    """
    _check_scene(scene, site)
    lamps = scene.ambient.lamps
    number("shield", shield, minimum=0.0, maximum=180.0, unit="degrees")
    changes: list[tuple[str, tuple[Luminaire | LedString, ...]]] = [("as it is", lamps)]
    for lamp in lamps:
        rest = tuple(other for other in lamps if other is not lamp)
        changes.append((f"{lamp.name} off", rest))
        if isinstance(lamp, Luminaire):
            shaded = replace(lamp, shielded=min(shield, 180.0 if lamp.shielded is None else lamp.shielded))
            changes.append((f"{lamp.name} shaded", (*rest, shaded)))
        else:
            changes.append((f"{lamp.name} at half", (*rest, replace(lamp, drive=lamp.drive / 2.0))))
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
            "illuminance": ("change", list(lux), _about("mean ambient light on the front", "lx")),
            "veil_luminance": ("change", list(veils), _about("veiling luminance in the eye", "cd/m2")),
            "contrast": (("change", "level"), np.array(contrasts)),
            "status": ("change", list(states)),
            "earliest": (("change", "level"), np.array(starts)),
        },
        coords={"change": [name for name, _ in changes], "level": list(LEVELS)},
        attrs={"clock": str(time).replace("T", " "), "part": part},
    )


def switching_table(result: xr.Dataset) -> str:
    """Return what `switching` found as a text table."""
    _check_result(result, "change", "kit.switching")
    rows = [f"{result.attrs['clock'][:16]:32}{'on the front, lx':>18}{'contrast':>10}{'start':>8}  verdict"]
    for i, name in enumerate(result["change"].values):
        one = result.isel(change=i)
        rows.append(
            f"{name!s:32}{float(one['illuminance']):>18.2f}{float(one['contrast'][1]):>10.1f}"
            f"{_hour(one['earliest'].values[1]):>8}  {STATES[int(one['status'])]}"
        )
    return "\n".join(rows)


class _Study:
    """A front under the lamps of a scene and any sky."""

    def __init__(self, front: LitFront, scene: Scene, more: Sequence[Luminaire | LedString] = ()) -> None:
        ambient = replace(scene.ambient, sky=None)
        if more:
            ambient = replace(ambient, lamps=(*ambient.lamps, *more))
        self.front, self.ambient, self.facade = front, ambient, scene.facade
        found = ambient_light(ambient, scene.facade, front.grid)
        self.names = [str(name) for name in found["source"].values]
        maps = found["illuminance"].values.reshape(len(self.names), -1)
        self.means = maps[:, front.judged].mean(axis=1)
        self.lamps = maps.sum(axis=0)[front.lit]
        self.veils = found["veil_luminance"].values
        self.sky_veil = sky_veils(ambient, scene.facade)

    def contrast(self, sky: Sky, levels: Sequence[str] = LEVELS) -> Array:
        """Return the median contrast, shape (..., part, level)."""
        even, moon = sky.twilight() + sky.glow(), sky.moon(self.front.normals)
        veil = self.veils.sum() + self.sky_veil * sky.luminance() + moon_veil(self.ambient, self.facade, sky)[0]
        plane = self.front.planes()
        flat, planes = even.reshape(-1, 1), moon.reshape(-1, moon.shape[-1])

        def lux(block: slice) -> Array:
            return self.lamps + flat[block] + planes[block][:, plane]

        found = self.front.contrast(flat.size, lux, veil.ravel(), levels)
        return found.reshape(*even.shape, *found.shape[1:])

    def sources(self, sky: Sky) -> tuple[list[str], Array, Array]:
        """Return names of all sources, their mean light [lx] and their veil [cd/m2], shape (source, ...)."""
        twilight, glow = sky.twilight(), sky.glow()
        planes = self.front.plane[self.front.judged]
        moon = sky.moon(self.front.normals) @ (np.bincount(planes, minlength=len(self.front.normals)) / planes.size)
        share = sky.twilight_share()
        veil = self.sky_veil * sky.luminance()
        shape = (len(self.names), *twilight.shape)
        still, veils = (
            np.broadcast_to(np.reshape(v, (-1, *(1,) * twilight.ndim)), shape) for v in (self.means, self.veils)
        )
        over = moon_veil(self.ambient, self.facade, sky)[0]
        return (
            [TWILIGHT, MOON, GLOW, *self.names],
            np.concatenate([[twilight, moon, glow], still]),
            np.concatenate([[veil * share, over, veil * (1.0 - share)], veils]),
        )


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
    days = number("every", every, minimum=1.0, maximum=366.0, unit="days")
    if days != int(days):
        raise InputError("every", every, "a whole number of days")
    dates = np.arange(start, end + np.timedelta64(1, "D"), np.timedelta64(int(days), "D"))
    length = number("hours", hours, above=0.0, maximum=24.0) * 60.0
    gap: float = number("step", step, minimum=1.0 / 60.0, maximum=24.0 * 60.0, unit="minutes")
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
    if not isinstance(scene, Scene):
        raise InputError("scene", type(scene).__name__, "a kit.Scene")
    if not isinstance(site, Site):
        raise InputError("site", site, "a kit.Site")


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


def _hour(when: Any) -> str:
    if np.isnat(when):
        return "-"
    return pd.Timestamp(when).strftime("%H:%M")


def _day(when: Any) -> str:
    stamp = pd.Timestamp(when)
    return f"{stamp:%a} {stamp.day} {stamp:%b %Y}"


def _about(long_name: str, units: str) -> dict[str, str]:
    return {"long_name": long_name, "units": units}
