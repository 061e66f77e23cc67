"""Charts: what each source gives, contrast against the clock, the season at a glance, places for a projector.

Nothing here computes light. Sources differ in hatching as well as in colour, and the season has the same scale of
contrast as the maps of a front. A chart has a frame, which seldom changes, and content, which is all that a
`ChartBoard` draws again.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any

import matplotlib
import numpy as np
import pandas as pd
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.colors import LogNorm
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch as Swatch
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from matplotlib.ticker import FuncFormatter, MultipleLocator

from kit.answers.scenes import IN_SHORT
from kit.decision.evening import pick
from kit.decision.verdict import Ladder, rungs
from kit.decision.washout import WHOLE
from kit.errors import InputError
from kit.fields import Frozen, OneOf
from kit.results import check_made
from kit.sky.site import GLOW, MOON, TWILIGHT
from kit.stage.search import Search
from kit.units import edge
from kit.views.drawing import COLOURS, HATCHES, SCALES, Board, colour_bar
from kit.words import capital

DAY = 24 * 60
# The colours of a curve and of its band.
DARK, MIDDLE = map(tuple, matplotlib.colormaps[COLOURS]((0.1, 0.55)))
# The sky goes on top, so that what stays all night stands on the ground.
SKY = {GLOW: 1, MOON: 2, TWILIGHT: 3}
BOX = np.array([Path.MOVETO, Path.LINETO, Path.LINETO, Path.LINETO, Path.CLOSEPOLY], dtype=Path.code_type)
SMALL: dict[str, Any] = {"fontsize": 8}
PLAIN = {"facecolor": "white", "edgecolor": "none", "pad": 1.0, "alpha": 0.85}
RISE: dict[str, Any] = {"marker": "o", "color": "white", "markeredgecolor": "black", "markersize": 5, "linestyle": ""}


class Chart(Frozen, kw_only=False):
    """`frame` draws axes, scales and legend, which depend on `key` alone; `content` draws and returns the rest."""

    key: tuple[Any, ...]
    frame: Callable[[Axes], object]
    content: Callable[[Axes], list[Any]]

    def draw(self, ax: Axes | None) -> Axes:
        """Draw all of it."""
        ax = _axes(ax)
        self.frame(ax)
        self.content(ax)
        return ax


class ChartBoard(Board):
    """Charts side by side, redrawn fast; size in inches at 100 dots, margins as of `Figure.subplots_adjust`."""

    def __init__(self, size: tuple[float, float], *, columns: int, **margins: float) -> None:
        super().__init__(size)
        self.columns, self.margins = columns, margins
        self._keys: list[tuple[Any, ...]] = []

    def draw(self, *charts: Chart) -> bytes:
        """Return the charts, one for each column, as a PNG picture."""
        keys = [chart.key for chart in charts]
        if keys != self._keys:
            self.start()
            self.axes = self.figure.subplots(1, self.columns, squeeze=False)[0]
            self.figure.subplots_adjust(**self.margins)
            for chart, ax in zip(charts, self.axes, strict=True):
                chart.frame(ax)
            self.keep()
            self._keys = keys
        artists = [artist for chart, ax in zip(charts, self.axes, strict=True) for artist in chart.content(ax)]
        drawn = self.paint(artists)
        for artist in artists:
            artist.remove()
        return drawn


def source_chart(result: xr.Dataset, *, date: Any = None, bars: int = 10) -> Chart:
    """Return the chart that `draw_sources` draws."""
    one = pick(result, date, WHOLE)
    every = max(1, -(-one.sizes["minute"] // bars))
    clock, light = _minutes(one)[::every], one["ambient_illuminance"].values[:, ::every]
    all_names = one["source"].values.astype(str).tolist()
    there = [k for k in range(len(all_names)) if light[k].max() > 0]
    there.sort(key=lambda k: SKY.get(all_names[k], 0))
    names, lux = [all_names[k] for k in there], light[there]
    total = lux.sum(axis=0)
    # Above all bars of the dark hours.
    top = _round_up(1.15 * total[total <= 3.0 * total.min()].max())
    width = float(0.8 * (clock[1] - clock[0] if clock.size > 1 else 30.0))
    shades = matplotlib.colormaps[COLOURS](np.linspace(0.15, 0.98, max(2, len(names))))
    styles = [
        {"facecolor": shades[k], "edgecolor": "0.15", "linewidth": 0.5, "hatch": HATCHES[k % len(HATCHES)]}
        for k in range(len(names))
    ]

    def frame(ax: Axes) -> None:
        _clock_axis(ax.xaxis, 120)
        ax.set(
            xlim=(clock[0] - width, clock[-1] + width), ylim=(0.0, top), xlabel="clock", ylabel="on the front (lx)",
            title="Ambient light, source by source",
        )  # fmt: skip
        _legend(ax, [Swatch(label=name, **style) for name, style in zip(names[::-1], styles[::-1], strict=True)])

    def content(ax: Axes) -> list[Any]:
        ends = np.minimum(np.vstack([np.zeros(clock.size), np.cumsum(lux, axis=0)]), 1.1 * top)
        left, right = clock - 0.5 * width, clock + 0.5 * width
        artists: list[Any] = []
        for style, low, high in zip(styles, ends[:-1], ends[1:], strict=True):
            corners = np.stack([[left, right, right, left, left], [low, low, high, high, low]], axis=-1)
            boxes = Path(corners.swapaxes(0, 1).reshape(-1, 2), np.tile(BOX, clock.size))
            artists.append(ax.add_patch(PathPatch(boxes, **style)))
        for x, value in zip(clock, total, strict=True):
            if value > top:
                words = f"{value:,.0f}" if value >= 10 else f"{value:.1f}"
                artists.append(ax.text(x, 0.97 * top, words, ha="center", va="top", **SMALL, bbox=PLAIN))
        return artists

    return Chart((*names, top, clock[0], clock[-1], clock.size), frame, content)


def evening_chart(result: xr.Dataset, *, date: Any = None, part: str = WHOLE) -> Chart:
    """Return the chart that `draw_evening` draws."""
    one = pick(result, date, part)
    clock, wanted = _minutes(one), result.attrs["wanted_contrast"]
    low, nominal, high = (one["contrast"].sel(level=level).values for level in ("low", "nominal", "high"))
    top = _round_up(max(SCALES["contrast"].high, 2.0 * wanted, 1.3 * float(np.nanmax([nominal, high]))), decades=True)
    passing = one["passing"].values.astype(str).tolist()
    styles: list[dict[str, Any]] = [{"color": DARK, "linewidth": 2, "label": "contrast"}]
    styles += [{"color": DARK, "linestyle": "--", "label": f"while {name} passes"} for name in passing]

    def frame(ax: Axes) -> None:
        ax.set(
            xlim=(clock[0], clock[-1]), yscale="log", ylim=(1.0, top), xlabel="clock",
            ylabel="contrast at the eye (x : 1)",
        )  # fmt: skip
        ax.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
        ax.yaxis.set_minor_formatter(FuncFormatter(lambda *_: ""))
        _clock_axis(ax.xaxis, 120)
        line = ax.axhline(wanted, color="black", linewidth=1, linestyle="-.", label=f"wanted: {wanted:g}:1")
        likely = Swatch(color=MIDDLE, alpha=0.35, linewidth=0, label="9 cases in 10")
        _legend(ax, [*(Line2D([], [], **style) for style in styles), likely, line])

    def content(ax: Axes) -> list[Any]:
        artists: list[Any] = [ax.fill_between(clock, low, high, color=MIDDLE, alpha=0.35, linewidth=0)]
        for values, style in zip((nominal, *one["contrast_passing"].values), styles, strict=True):
            artists += ax.plot(clock, values, **style)
        solid: dict[str, Any] = {"color": "black", "linewidth": 1.6}
        grey: dict[str, Any] = {"color": "0.35", "linewidth": 1.0}
        for name, time, height, style in (
            ("start, as likely as not", one["earliest"].sel(level="nominal").values, 0.98, solid),
            ("sunset", one["sunset"].values, 0.02, grey | {"linestyle": ":"}),
            ("moonrise", one["moonrise"].values, 0.4, grey | {"linestyle": "--"}),
        ):
            if np.isnat(time):
                continue
            x, words = _after(time, one["date"].values), f"{name} {pd.Timestamp(time):%H:%M}"
            place: dict[str, Any] = {"ha": "right", "va": "top" if height > 0.5 else "bottom", "rotation": 90}
            artists.append(ax.axvline(x, **style))
            artists.append(ax.text(x, height, words, transform=ax.get_xaxis_transform(), **place, **SMALL))
        day = pd.Timestamp(one["date"].values)
        title = f"{capital(part)}, {day:%A} {day.day} {day:%B %Y}"
        artists.append(ax.text(0.5, 1.02, title, ha="center", va="bottom", fontsize=12, transform=ax.transAxes))
        return artists

    return Chart((wanted, top, clock[0], clock[-1], *passing), frame, content)


def season_chart(result: xr.Dataset, *, part: str = WHOLE) -> Chart:
    """Return the chart that `draw_season` draws."""
    if result["date"].size < 2:
        raise InputError("result", f"{result['date'].size} evening", "two evenings or more")
    parts = [str(name) for name in result["part"].values]
    if part not in parts:
        raise InputError("part", part, f"one of {', '.join(parts)}")
    season, wanted, scale = result.sel(part=part), result.attrs["wanted_contrast"], SCALES["contrast"]
    days, steps = season["date"].values, season["minute"].values
    at = (days - days[0]) / np.timedelta64(1, "D")
    clock = _after(season["clock"].values, days[:, None])
    step = float(steps[1] - steps[0]) if steps.size > 1 else 1.0
    gap = 0.5 * float(at[1])
    edges = (float(at[0]) - gap, float(at[-1]) + gap, clock.min() - 0.5 * step, clock.max() + 0.5 * step)
    lines: dict[str, dict[str, Any]] = {
        "sunset": {"color": "black", "linewidth": 1.6, "linestyle": ":"},
        "earliest start": {"color": "black", "linewidth": 1.6},
    }

    def frame(ax: Axes) -> None:
        stamps = [pd.Timestamp(day) for day in days]
        chosen = range(0, days.size, 4) if at[1] > 1 else [i for i, day in enumerate(stamps) if day.day in (1, 15)]
        ax.set_xticks([at[i] for i in chosen], [f"{stamps[i].day} {stamps[i]:%b}" for i in chosen])
        _clock_axis(ax.yaxis, 120)
        ax.set(xlim=edges[:2], ylim=edges[2:], xlabel="evening of", ylabel="clock")
        ax.set_title(f"The season: {part}", loc="left")
        colour_bar(ax.figure, ax, "contrast", wanted, extend="both")
        handles = [*(Line2D([], [], label=name, **line) for name, line in lines.items())]
        handles.append(Line2D([], [], label="moonrise", **RISE))
        ax.legend(handles=handles, **SMALL, ncols=3, loc="lower right", bbox_to_anchor=(1.0, 1.0), frameon=False)

    def content(ax: Axes) -> list[Any]:
        column = np.rint((clock - clock.min()) / step).astype(int)
        values = np.full((days.size, column.max() + 1), np.nan)
        values[np.arange(days.size)[:, None], column] = season["contrast"].sel(level="nominal").values
        shown: dict[str, Any] = {"origin": "lower", "aspect": "auto", "interpolation": "nearest", "extent": edges}
        artists: list[Any] = [ax.imshow(values.T, **shown, norm=LogNorm(scale.low, scale.high), cmap=COLOURS)]
        when = {"sunset": season["sunset"].values, "earliest start": season["earliest"].sel(level="nominal").values}
        for name, times in when.items():
            artists += ax.plot(at, _after(times, days), color="white", linewidth=4)
            artists += ax.plot(at, _after(times, days), **lines[name])
        return artists + ax.plot(at, _after(season["moonrise"].values, days), **RISE)

    return Chart((part, *days.tolist(), *edges, wanted), frame, content)


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
    return source_chart(result, date=date, bars=bars).draw(ax)


def draw_evening(result: xr.Dataset, ax: Axes | None = None, *, date: Any = None, part: str = WHOLE) -> Axes:
    """Draw contrast against the clock, with its likely band, what is wanted, and when the show can start.

    Parameters
    ----------
    result, ax, date
        As for `draw_sources`.
    part : str
        Of the front.
    """
    return evening_chart(result, date=date, part=part).draw(ax)


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
    return season_chart(result, part=part).draw(ax)


def draw_dimming(result: xr.Dataset, ax: Axes | None = None, *, part: str = WHOLE) -> Axes:
    """Draw contrast against the dimming of the LED strings.

    Parameters
    ----------
    result : xarray.Dataset
        From `kit.string_dimming`.
    ax : matplotlib Axes, optional
    part : str
        Of the front.
    """
    check_made("result", result, "most_dimming", "kit.string_dimming")
    ax = _axes(ax)
    one = result.sel(part=OneOf(options=result["part"].values.tolist()).check("part", part))
    percent = 100.0 * result["dimming"].values
    low, nominal, high = (one["contrast"].sel(level=level).values for level in ("low", "nominal", "high"))
    ax.fill_between(percent, low, high, color=MIDDLE, alpha=0.35, linewidth=0, label="9 cases in 10")
    ax.plot(percent, nominal, color=DARK, linewidth=2, label="contrast")
    wanted = result.attrs["wanted_contrast"]
    ax.axhline(wanted, color="black", linewidth=1, linestyle="-.", label=f"wanted: {wanted:g}:1")
    most = float(one["most_dimming"].sel(level="nominal"))
    if most < 1.0:
        ax.axvline(100.0 * most, color="black", linewidth=1.6)
        ax.text(100.0 * most, 0.97, f" {most:.0%}, as likely as not", va="top", transform=ax.get_xaxis_transform())
    ax.set(
        xlabel="light of the LED strings (% of full white)", ylabel="contrast at the eye (x : 1)", ylim=(0.0, None),
        title=f"How far the strings may go: {part}",
    )  # fmt: skip
    ax.legend(fontsize=8, frameon=False)
    return ax


def draw_ladder(found: Ladder, axes: Sequence[Axes] | None = None) -> Axes:
    """Draw how bright white is on each surface, and below it the contrast, each among the rungs of its ladder.

    A bar holds the middle 90%, a mark stands at nominal. Returned are the first of the axes.

    Parameters
    ----------
    found : Ladder
        From `kit.ladder`.
    axes : two matplotlib Axes, optional
    """
    if axes is None:
        axes = Figure(figsize=(8.0, 7.6), layout="constrained").subplots(2, 1)
    lit = {name: levels for name, levels in found.levels.items() if levels[0][2] > 0.0}
    labels = ("white", "white (cd/m²): how bright"), ("contrast", "contrast (x : 1): how clear")
    for k, (ax, (group, label)) in enumerate(zip(axes, labels, strict=True)):
        # What has no end runs out of the picture.
        bars, steps = np.minimum([levels[k] for levels in lit.values()], 1e9).reshape(-1, 3), rungs(group)
        low, nominal, high = bars.T
        ax.barh(range(len(lit)), high - low, left=low, height=0.5, color=MIDDLE, edgecolor="black")
        ax.plot(nominal, range(len(lit)), "D", color="white", markeredgecolor="black", markersize=7)
        x, ends = 0.0, [steps[0].value, steps[-1].value, *bars[bars < 1e9]]
        for step in steps:
            x = max(step.value, 1.15 * x)  # so that no name covers another
            ax.axvline(step.value, color=DARK, linewidth=0.8, linestyle=":")
            ax.text(x, -0.7, IN_SHORT[step.name], rotation=50, va="bottom", **SMALL)
        ax.set(
            xscale="log", xlim=(0.7 * min(ends), 1.4 * max(ends)), ylim=(len(lit) - 0.4, -0.6), xlabel=label,
            yticks=range(len(lit)), yticklabels=list(lit),
        )  # fmt: skip
        ax.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    return axes[0]


def draw_tradeoff(found: Search, ax: Axes | None = None, *, units: str = "m") -> Axes:
    """Draw what each feasible place gives: light against the size of a pixel on the wall, keystone as colour.

    Places that no other beats in all three at once are ringed; the best by the objective carries a cross.

    Parameters
    ----------
    found : Search
        From `kit.search`.
    ax : matplotlib Axes, optional
    units : {"m", "ft"}
        Of the size: millimetres or inches.
    """
    ax, (small, size) = _axes(ax), edge("mm", units)
    places = found.places
    good = places["feasible"].values
    element, keystone = places["coarsest_element"].values / size, places["keystone"].values
    light = (places["illuminance_median"] * places["delivered_light"]).values
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
        xlabel=f"largest pixel on the front ({small})", ylabel="illuminance on the front, median (lx)",
        title="Every dot is a place for the projector",
    )  # fmt: skip
    ax.figure.colorbar(dots, ax=ax, label="keystone: corners off by (°)", pad=0.015)
    ax.legend(fontsize=8)
    return ax


def _axes(ax: Axes | None) -> Axes:
    return Figure(figsize=(8.0, 4.2), layout="constrained").subplots() if ax is None else ax


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


def _minutes(one: xr.Dataset) -> Any:
    return _after(one["clock"].values, one["date"].values)


def _clock_axis(axis: Any, step: int) -> None:
    axis.set_major_locator(MultipleLocator(step))
    axis.set_major_formatter(FuncFormatter(lambda value, _: f"{int(value) % DAY // 60:02d}:{int(value) % 60:02d}"))
