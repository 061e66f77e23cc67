"""An evening and a season in charts: what each source gives, contrast against the clock, the dimming of strings."""

import math
from itertools import cycle
from typing import Any

import matplotlib
import numpy as np
import pandas as pd
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.colors import LogNorm
from matplotlib.ticker import FuncFormatter, MultipleLocator

from kit.decision.evening import of_part, pick
from kit.decision.washout import WHOLE
from kit.errors import InputError
from kit.results import check_made
from kit.sky.site import GLOW, MOON, TWILIGHT
from kit.views.charts import DARK, MIDDLE, PLAIN, SIZE, SMALL
from kit.views.drawing import COLOURS, HATCHES, SCALES, axes_of, colour_bar
from kit.words import capital

DAY, BARS = 24 * 60, 10  # minutes; bars at most
# The sky goes on top, so that what stays all night stands on the ground.
SKY = {GLOW: 1, MOON: 2, TWILIGHT: 3}
RISE: dict[str, Any] = {"marker": "o", "color": "white", "markeredgecolor": "black", "markersize": 5, "linestyle": ""}


def draw_sources(result: xr.Dataset, ax: Axes | None = None, *, date: Any = None) -> Axes:
    """Draw what each source puts on the front through one evening, as stacked bars.

    Bars that would dwarf the rest, by day and in early twilight, are cut and carry their height as a number.

    Parameters
    ----------
    result : xarray.Dataset
        From `kit.evenings`.
    ax : matplotlib Axes, optional
    date : str or date, optional
        The first evening if not given.
    """
    ax, one = axes_of(ax, SIZE), pick(result, date, WHOLE)
    one = one.isel(minute=slice(None, None, max(1, -(-one.sizes["minute"] // BARS))))
    clock, lux = _after(one["clock"].values, one["date"].values), one["ambient_illuminance"]
    names = sorted(one["source"].values[lux.max("minute") > 0].tolist(), key=lambda name: SKY.get(name, 0))
    total = lux.sum("source").values
    # Above all bars of the dark hours.
    top = _round_up(1.15 * total[total <= 3.0 * total.min()].max())
    width = float(0.8 * (clock[1] - clock[0] if clock.size > 1 else 30.0))
    shades, below, drawn = np.linspace(0.15, 0.98, max(2, len(names))), np.zeros(clock.size), []
    for name, shade, hatch in zip(names, matplotlib.colormaps[COLOURS](shades), cycle(HATCHES), strict=False):
        style: dict[str, Any] = {"facecolor": shade, "edgecolor": "0.15", "linewidth": 0.5, "hatch": hatch}
        light = lux.sel(source=name).values
        drawn.append(ax.bar(clock, light, width, bottom=below, label=name, **style))
        below = below + light
    for x, value in zip(clock, total, strict=True):
        if value > top:
            words = f"{value:,.0f}" if value >= 10 else f"{value:.1f}"
            ax.text(x, 0.97 * top, words, ha="center", va="top", **SMALL, bbox=PLAIN)
    _clock_axis(ax.xaxis)
    ax.set(
        xlim=(clock[0] - width, clock[-1] + width), ylim=(0.0, top), xlabel="clock", ylabel="on the front (lx)",
        title="Ambient light, source by source",
    )  # fmt: skip
    _legend(ax, drawn[::-1])
    return ax


def draw_evening(result: xr.Dataset, ax: Axes | None = None, *, date: Any = None, part: str = WHOLE) -> Axes:
    """Draw contrast against the clock, with its likely band, what is wanted, and when the show can start.

    Parameters
    ----------
    result, ax, date
        As for `draw_sources`.
    part : str
        Of the front.
    """
    ax, one, wanted = axes_of(ax, SIZE), pick(result, date, part), result.attrs["wanted_contrast"]
    clock = _after(one["clock"].values, one["date"].values)
    line, *rest = _contrast(ax, clock, one, wanted)
    passing = [
        ax.plot(clock, values, color=DARK, linestyle="--", label=f"while {name} passes")[0]
        for name, values in zip(one["passing"].values, one["contrast_passing"].values, strict=True)
    ]
    highest = 1.3 * float(np.nanmax(one["contrast"].sel(level=["nominal", "high"])))
    top = _round_up(max(SCALES["contrast"].high, 2.0 * wanted, highest), decades=True)
    solid: dict[str, Any] = {"color": "black", "linewidth": 1.6}
    grey: dict[str, Any] = {"color": "0.35", "linewidth": 1.0}
    for name, time, height, style in (
        ("start, as likely as not", one["earliest"].sel(level="nominal").values, 0.98, solid),
        ("sunset", one["sunset"].values, 0.02, grey | {"linestyle": ":"}),
        ("moonrise", one["moonrise"].values, 0.4, grey | {"linestyle": "--"}),
    ):
        if not np.isnat(time):
            x, words = _after(time, one["date"].values), f"{name} {pd.Timestamp(time):%H:%M}"
            place: dict[str, Any] = {"ha": "right", "va": "top" if height > 0.5 else "bottom", "rotation": 90}
            ax.axvline(x, **style)
            ax.text(x, height, words, transform=ax.get_xaxis_transform(), clip_on=True, **place, **SMALL)
    day = pd.Timestamp(one["date"].values)
    ax.set(xlim=(clock[0], clock[-1]), yscale="log", ylim=(1.0, top), xlabel="clock")
    ax.set_title(f"{capital(part)}, {day:%A} {day.day} {day:%B %Y}")
    ax.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    ax.yaxis.set_minor_formatter(FuncFormatter(lambda *_: ""))
    _clock_axis(ax.xaxis)
    _legend(ax, [line, *passing, *rest])
    return ax


def draw_season(result: xr.Dataset, ax: Axes | None = None, *, part: str = WHOLE) -> Axes:
    """Draw the season as a map of date and clock: contrast, earliest start, sunset and moonrise.

    Where daylight saving begins within an evening the clock has a gap, which stays white; where it ends, the hour that
    comes twice shows its second turn.

    Parameters
    ----------
    result : xarray.Dataset
        From `kit.evenings`, of two evenings or more.
    ax, part
        As for `draw_evening`.
    """
    check_made("result", result, "earliest date", "kit.evenings")
    if result["date"].size < 2:
        raise InputError("result", f"{result['date'].size} evening", "two evenings or more")
    ax, season = axes_of(ax, SIZE), of_part(result, part)
    days, steps = season["date"].values, season["minute"].values
    at = (days - days[0]) / np.timedelta64(1, "D")
    clock = _after(season["clock"].values, days[:, None])
    step = float(steps[1] - steps[0]) if steps.size > 1 else 1.0
    gap = 0.5 * float(at[1])
    edges = (float(at[0]) - gap, float(at[-1]) + gap, clock.min() - 0.5 * step, clock.max() + 0.5 * step)
    column = np.rint((clock - clock.min()) / step).astype(int)
    values = np.full((days.size, column.max() + 1), np.nan)
    values[np.arange(days.size)[:, None], column] = season["contrast"].sel(level="nominal").values
    shown: dict[str, Any] = {"origin": "lower", "aspect": "auto", "interpolation": "nearest", "extent": edges}
    scale = SCALES["contrast"]
    ax.imshow(values.T, **shown, norm=LogNorm(scale.low, scale.high), cmap=COLOURS)
    when = {"sunset": season["sunset"].values, "earliest start": season["earliest"].sel(level="nominal").values}
    for (name, times), dashes in zip(when.items(), (":", "-"), strict=True):
        ax.plot(at, _after(times, days), color="white", linewidth=4)
        ax.plot(at, _after(times, days), color="black", linewidth=1.6, linestyle=dashes, label=name)
    ax.plot(at, _after(season["moonrise"].values, days), **RISE, label="moonrise")
    stamps = [pd.Timestamp(day) for day in days]
    chosen = range(0, days.size, 4) if at[1] > 1 else [i for i, day in enumerate(stamps) if day.day in (1, 15)]
    ax.set_xticks([at[i] for i in chosen], [f"{stamps[i].day} {stamps[i]:%b}" for i in chosen])
    _clock_axis(ax.yaxis)
    ax.set(xlim=edges[:2], ylim=edges[2:], xlabel="evening of", ylabel="clock")
    ax.set_title(f"The season: {part}", loc="left")
    colour_bar(ax.figure, ax, "contrast", result.attrs["wanted_contrast"], extend="both")
    ax.legend(**SMALL, ncols=3, loc="lower right", bbox_to_anchor=(1.0, 1.0), frameon=False)
    return ax


def draw_dimming(result: xr.Dataset, ax: Axes | None = None, *, part: str = WHOLE) -> Axes:
    """Draw contrast against the dimming of the LED strings.

    Parameters
    ----------
    result : xarray.Dataset
        From `kit.string_dimming`.
    ax, part
        As for `draw_evening`.
    """
    check_made("result", result, "most_dimming", "kit.string_dimming")
    ax, one = axes_of(ax, SIZE), of_part(result, part)
    _contrast(ax, 100.0 * result["dimming"].values, one, result.attrs["wanted_contrast"])
    most = float(one["most_dimming"].sel(level="nominal"))
    if most < 1.0:
        ax.axvline(100.0 * most, color="black", linewidth=1.6)
        ax.text(100.0 * most, 0.97, f" {most:.0%}, as likely as not", va="top", transform=ax.get_xaxis_transform())
    ax.set(xlabel="light of the LED strings (% of full white)", ylim=(0.0, None))
    ax.set_title(f"How far the strings may go: {part}")
    ax.legend(fontsize=8, frameon=False)
    return ax


def _contrast(ax: Axes, x: Any, one: xr.Dataset, wanted: float) -> list[Any]:
    """Draw contrast over `x`, its likely band and what is wanted; return these three."""
    low, nominal, high = one["contrast"].transpose("level", ...).values
    line = ax.plot(x, nominal, color=DARK, linewidth=2, label="contrast")
    likely = ax.fill_between(x, low, high, color=MIDDLE, alpha=0.35, linewidth=0, label="9 cases in 10")
    ax.set_ylabel(SCALES["contrast"].label)
    dashes: dict[str, Any] = {"color": "black", "linewidth": 1, "linestyle": "-."}
    return [*line, likely, ax.axhline(wanted, label=f"wanted: {wanted:g}:1", **dashes)]


def _round_up(value: float, *, decades: bool = False) -> float:
    """Return a round number at or above `value`, so that a scale seldom changes."""
    decade = 10.0 ** math.floor(math.log10(value)) if value > 0 else 1.0
    steps = (1.0, 3.0, 10.0) if decades else (1.0, 1.5, 2.0, 3.0, 5.0, 7.0, 10.0)
    return next((step * decade for step in steps if step * decade >= value), 10.0 * decade)


def _legend(ax: Axes, handles: list[Any]) -> None:
    """Draw a legend below the axes, where no content hides it."""
    ax.legend(handles=handles, **SMALL, loc="upper center", bbox_to_anchor=(0.5, -0.15), ncols=3)


def _after(times: Any, dates: Any) -> Any:
    """Return clock times in minutes after midnight of the evening's date; NaN for never."""
    return (times - dates) / np.timedelta64(60, "s")


def _clock_axis(axis: Any) -> None:
    axis.set_major_locator(MultipleLocator(120))
    axis.set_major_formatter(FuncFormatter(lambda value, _: f"{int(value) % DAY // 60:02d}:{int(value) % 60:02d}"))
