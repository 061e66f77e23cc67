"""Charts: what each source gives, contrast against the clock, the season at a glance, places for a projector.

Nothing here computes light. Sources differ in hatching as well as in colour, and the season has the same scale of
contrast as the maps of a front.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import matplotlib
import numpy as np
import pandas as pd
import xarray as xr
from matplotlib.colors import LogNorm
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MultipleLocator

from kit.decision.evening import pick
from kit.decision.washout import WHOLE
from kit.errors import InputError
from kit.stage.search import Search
from kit.views.drawing import COLOURS, SCALES

if TYPE_CHECKING:
    from matplotlib.axes import Axes

HATCHES = ("", "///", "...", "\\\\\\", "xxx", "---", "ooo", "+++")
DAY = 24 * 60


def draw_sources(result: xr.Dataset, ax: Axes | None = None, *, date: Any = None, bars: int = 10) -> Axes:
    """Draw what each source puts on the front through one evening, as stacked bars.

    Bars that would dwarf the rest, by day and in early twilight, are cut and carry their height as a number.

    Parameters
    ----------
    result : xarray.Dataset
        From `kit.evenings`.
    ax : matplotlib Axes, optional
    date : str or date, optional
        The first evening if not given.
    bars : int
        At most.
    """
    ax = _axes(ax)
    one = pick(result, date, WHOLE)
    at = _spread(one["minute"].size, bars)
    lux, clock = one["illuminance"].values[:, at], _minutes(one, at)
    there = lux.max(axis=1) > 0
    names = [str(name) for name in one["source"].values[there]]
    lux = lux[there]
    # The sky goes on top, so that what stays all night stands on the ground.
    order = np.argsort(lux.std(axis=1), kind="stable")
    total = lux.sum(axis=0)
    dark = total <= 3.0 * total.min()
    top = 1.3 * total[dark].max()
    width = 0.8 * (clock[1] - clock[0] if clock.size > 1 else 30.0)
    base = np.zeros(clock.size)
    shades = matplotlib.colormaps[COLOURS](np.linspace(0.15, 0.98, max(2, len(names))))
    for k, i in enumerate(order):
        ax.bar(
            clock, np.minimum(lux[i], np.maximum(0.0, 1.2 * top - base)), width, bottom=base, label=names[i],
            color=shades[k], edgecolor="0.15", linewidth=0.5, hatch=HATCHES[k % len(HATCHES)],
        )  # fmt: skip
        base += lux[i]
    for x, value in zip(clock, total, strict=True):
        if value > top:
            ax.text(
                x, 0.97 * top, f"{value:,.0f}" if value >= 10 else f"{value:.1f}", ha="center", va="top", fontsize=8,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0, "alpha": 0.85},
            )  # fmt: skip
    _clock_axis(ax.xaxis, 120)
    ax.set(ylim=(0.0, top), xlabel="clock", ylabel="on the front (lx)", title="Ambient light, source by source")
    handles, labels = ax.get_legend_handles_labels()
    ax.legend(handles[::-1], labels[::-1], fontsize=8, loc="upper center", bbox_to_anchor=(0.5, -0.16), ncols=3)
    return ax


def draw_evening(result: xr.Dataset, ax: Axes | None = None, *, date: Any = None, part: str = WHOLE) -> Axes:
    """Draw contrast against the clock, with its likely band, what is wanted, and when the show can start.

    Parameters
    ----------
    result : xarray.Dataset
        From `kit.evenings`.
    ax : matplotlib Axes, optional
    date : str or date, optional
        The first evening if not given.
    part : str
        Of the front.
    """
    ax = _axes(ax)
    one = pick(result, date, part)
    clock = _minutes(one)
    low, nominal, high = one["contrast"].values.T
    dark, middle = (matplotlib.colormaps[COLOURS](v) for v in (0.1, 0.55))
    ax.fill_between(clock, low, high, color=middle, alpha=0.35, linewidth=0, label="likely")
    ax.plot(clock, nominal, color=dark, linewidth=2, label="contrast")
    for i, name in enumerate(one["passing"].values):
        ax.plot(clock, one["contrast_passing"].values[i], color=dark, linestyle="--", label=f"while {name} passes")
    wanted = result.attrs["wanted_contrast"]
    ax.axhline(wanted, color="black", linewidth=1, linestyle="-.", label=f"wanted: {wanted:g}:1")
    day = one["date"].values.astype("M8[D]")
    for name, style, height in (("earliest", "-", 0.98), ("sunset", ":", 0.02), ("moonrise", "--", 0.4)):
        when = one[name].values[1] if name == "earliest" else one[name].values
        if not np.isnat(when):
            x = (when - day) / np.timedelta64(60, "s")
            strong = name == "earliest"
            ax.axvline(x, color="black" if strong else "0.35", linestyle=style, linewidth=1.6 if strong else 1.0)
            ax.text(
                x, height, f"{'start' if strong else name} {pd.Timestamp(when):%H:%M}", rotation=90, fontsize=8,
                ha="right", va="top" if strong else "bottom", transform=ax.get_xaxis_transform(),
            )  # fmt: skip
    top = max(2.0 * wanted, 1.3 * float(np.nanmax(high, initial=2.0)))
    ax.set(
        xlim=(clock[0], clock[-1]), yscale="log", ylim=(1.0, top), xlabel="clock", ylabel="contrast at the eye (x : 1)"
    )
    ax.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    _clock_axis(ax.xaxis, 120)
    stamp = pd.Timestamp(day)
    ax.set_title(f"{part[:1].upper()}{part[1:]}, {stamp:%A} {stamp.day} {stamp:%B %Y}")
    ax.legend(fontsize=8, loc="lower right")
    return ax


def draw_season(result: xr.Dataset, ax: Axes | None = None, *, part: str = WHOLE) -> Axes:
    """Draw the season as a map of date and clock: contrast, earliest start, sunset and moonrise.

    Where daylight saving begins within an evening the clock has a gap, which stays white; where it ends, the hour that
    comes twice shows its second turn.

    Parameters
    ----------
    result : xarray.Dataset
        From `kit.evenings`, of two evenings or more.
    ax : matplotlib Axes, optional
    part : str
        Of the front.
    """
    if result["date"].size < 2:
        raise InputError("result", f"{result['date'].size} evening", "two evenings or more")
    ax = _axes(ax)
    parts = [str(name) for name in result["part"].values]
    if part not in parts:
        raise InputError("part", part, f"one of {', '.join(parts)}")
    season = result.sel(part=part)
    days = season["date"].values.astype("M8[D]")
    clock = (season["clock"].values - days[:, None]) / np.timedelta64(60, "s")
    steps = season["minute"].values
    step = float(steps[1] - steps[0]) if steps.size > 1 else 1.0
    first = float(clock.min())
    column = np.rint((clock - first) / step).astype(int)
    values = np.full((days.size, column.max() + 1), np.nan)
    values[np.arange(days.size)[:, None], column] = season["contrast"].sel(level="nominal").values
    scale = SCALES["contrast"]
    gap = float((days[1] - days[0]).astype(int))
    x = (days - days[0]).astype(int)
    image = ax.imshow(
        values.T, origin="lower", aspect="auto", cmap=COLOURS, norm=LogNorm(scale.low, scale.high),
        interpolation="nearest",
        extent=(x[0] - gap / 2, x[-1] + gap / 2, first - step / 2, first + (values.shape[1] - 0.5) * step),
    )  # fmt: skip
    for name, style, label in (("sunset", ":", "sunset"), ("earliest", "-", "earliest start")):
        when = season[name].values[:, 1] if name == "earliest" else season[name].values
        y = np.where(np.isnat(when), np.nan, (when - days) / np.timedelta64(60, "s"))
        if np.isfinite(y).any():
            ax.plot(x, y, color="white", linewidth=4)
            ax.plot(x, y, color="black", linestyle=style, linewidth=1.6, label=label)
    rise = season["moonrise"].values
    up = ~np.isnat(rise)
    if up.any():
        ax.plot(
            x[up], ((rise - days) / np.timedelta64(60, "s"))[up], "o", color="white", markeredgecolor="black",
            markersize=5, label="moonrise",
        )  # fmt: skip
    ticks = [i for i, day in enumerate(days) if str(day)[8:] in ("01", "15")] if gap == 1 else range(0, days.size, 4)
    ax.set_xticks([x[i] for i in ticks], [f"{pd.Timestamp(days[i]).day} {pd.Timestamp(days[i]):%b}" for i in ticks])
    _clock_axis(ax.yaxis, 120)
    ax.set(xlabel="evening of", ylabel="clock", title=f"The season: {part}")
    ax.set_ylim(first - step / 2, first + (values.shape[1] - 0.5) * step)
    figure = ax.get_figure()
    assert figure is not None
    bar = figure.colorbar(image, ax=ax, label=scale.label, pad=0.015, extend="both")
    bar.set_ticks(list(scale.ticks), labels=[f"{tick:g}" for tick in scale.ticks])
    bar.ax.minorticks_off()
    bar.ax.axhline(result.attrs["wanted_contrast"], color="white", linewidth=3.5)
    bar.ax.axhline(result.attrs["wanted_contrast"], color="black", linewidth=1.5)
    ax.legend(fontsize=8, loc="lower right", ncols=3)
    return ax


def draw_drive(result: xr.Dataset, ax: Axes | None = None, *, part: str = WHOLE) -> Axes:
    """Draw contrast against the drive of the LED strings.

    Parameters
    ----------
    result : xarray.Dataset
        From `kit.string_drive`.
    ax : matplotlib Axes, optional
    part : str
        Of the front.
    """
    ax = _axes(ax)
    one = result.sel(part=part)
    percent = 100.0 * result["drive"].values
    low, nominal, high = one["contrast"].transpose("level", "drive").values
    dark, middle = (matplotlib.colormaps[COLOURS](v) for v in (0.1, 0.55))
    ax.fill_between(percent, low, high, color=middle, alpha=0.35, linewidth=0, label="likely")
    ax.plot(percent, nominal, color=dark, linewidth=2, label="contrast")
    wanted = result.attrs["wanted_contrast"]
    ax.axhline(wanted, color="black", linewidth=1, linestyle="-.", label=f"wanted: {wanted:g}:1")
    most = float(one["most_drive"].sel(level="nominal"))
    if most < 1.0:
        ax.axvline(100.0 * most, color="black", linewidth=1.6)
        ax.text(100.0 * most, 0.97, f" {most:.0%}", va="top", transform=ax.get_xaxis_transform())
    ax.set(
        xlabel="drive of the LED strings (% of full white)", ylabel="contrast at the eye (x : 1)", ylim=(0.0, None),
        title=f"How far the strings may go: {part}",
    )  # fmt: skip
    ax.legend(fontsize=8, frameon=False)
    return ax


def draw_tradeoff(found: Search, ax: Axes | None = None) -> Axes:
    """Draw what each feasible place gives: light against the size of a picture element, keystone as colour.

    Places that no other beats in all three at once are ringed; the best by the objective carries a cross.

    Parameters
    ----------
    found : Search
        From `kit.search`.
    ax : matplotlib Axes, optional
    """
    ax = _axes(ax)
    places = found.places
    good = places["feasible"].values
    element, light = places["coarsest_element"].values, places["illuminance_median"].values * found.lumens
    keystone = places["keystone"].values
    dots = ax.scatter(element[good], light[good], c=keystone[good], s=12, cmap=COLOURS, linewidths=0)
    best = found.pareto
    ax.scatter(
        element[best], light[best], s=46, facecolors="none", edgecolors="black", linewidths=0.8,
        label="not beaten in all three",
    )  # fmt: skip
    ax.plot(
        element[found.index], light[found.index], "P", color="white", markeredgecolor="black", markersize=12,
        label=f"best for {found.objective}",
    )  # fmt: skip
    ax.set(
        xlabel="largest picture element on the front (mm)", ylabel="illuminance on the front, median (lx)",
        title="Every dot is a place for the projector",
    )  # fmt: skip
    figure = ax.get_figure()
    assert figure is not None
    figure.colorbar(dots, ax=ax, label="keystone: corners off by (°)", pad=0.015)
    ax.legend(fontsize=8)
    return ax


def _axes(ax: Axes | None) -> Axes:
    return Figure(figsize=(8.0, 4.2), layout="constrained").subplots() if ax is None else ax


def _spread(size: int, most: int) -> np.ndarray:
    return np.arange(0, size, max(1, -(-size // most)))


def _minutes(one: xr.Dataset, at: Any = slice(None)) -> np.ndarray:
    """Return clock times in minutes after midnight of the evening's date."""
    return (one["clock"].values[at] - one["date"].values) / np.timedelta64(60, "s")


def _clock_axis(axis: Any, step: int) -> None:
    axis.set_major_locator(MultipleLocator(step))
    axis.set_major_formatter(FuncFormatter(lambda value, _: f"{int(value) % DAY // 60:02d}:{int(value) % 60:02d}"))
