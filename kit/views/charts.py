"""Charts: what each source gives, contrast against the clock, the season at a glance, places for a projector.

Nothing here computes light. Sources differ in hatching as well as in colour, and the season has the same scale of
contrast as the maps of a front. A chart has a frame, which seldom changes, and content, which is all that a
`ChartBoard` draws again.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, ClassVar

import matplotlib
import numpy as np
import pandas as pd
import xarray as xr
from matplotlib.colors import LogNorm
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch as Swatch
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from matplotlib.ticker import FuncFormatter, MultipleLocator

from kit.decision.evening import pick
from kit.decision.washout import WHOLE
from kit.errors import InputError
from kit.sky.site import GLOW, MOON, TWILIGHT
from kit.views.drawing import COLOURS, SCALES, Board
from kit.words import capital

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from kit.stage.search import Search

HATCHES = ("", "///", "...", "\\\\\\", "xxx", "---", "ooo", "+++")
DAY = 24 * 60
SKY = {GLOW: 1, MOON: 2, TWILIGHT: 3}
SMALL: dict[str, Any] = {"fontsize": 8}
PLAIN = {"facecolor": "white", "edgecolor": "none", "pad": 1.0, "alpha": 0.85}


@dataclass(frozen=True, kw_only=True)
class Chart:
    """A chart of evenings.

    Parameters
    ----------
    result : xarray.Dataset
        From `kit.evenings`.
    """

    result: xr.Dataset

    @property
    def key(self) -> tuple[Any, ...]:
        """All that the frame depends on."""
        raise NotImplementedError

    def frame(self, ax: Axes) -> None:
        """Draw axes, scales and legend."""
        raise NotImplementedError

    def content(self, ax: Axes) -> list[Any]:
        """Draw what is computed, and return its artists."""
        raise NotImplementedError

    def draw(self, ax: Axes | None) -> Axes:
        """Draw all of it."""
        ax = _axes(ax)
        self.frame(ax)
        self.content(ax)
        return ax


class ChartBoard(Board):
    """Charts side by side, redrawn fast: a frame is drawn again only when it changes.

    Parameters
    ----------
    size : (float, float)
        Of the figure [inches at 100 dots].
    columns : int
    **margins
        As for `matplotlib.figure.Figure.subplots_adjust`.
    """

    def __init__(self, size: tuple[float, float], *, columns: int, **margins: float) -> None:
        super().__init__(size)
        self.columns, self.margins = columns, margins
        self._keys: tuple[Any, ...] = ()

    def draw(self, *charts: Chart) -> bytes:
        """Return the charts, one for each column, as a PNG picture."""
        keys = tuple(chart.key for chart in charts)
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


@dataclass(frozen=True, kw_only=True)
class SourceChart(Chart):
    """What each source puts on the front through one evening, as stacked bars.

    Parameters
    ----------
    date : str or date, optional
        The first evening if not given.
    bars : int
        At most.
    """

    date: Any = None
    bars: int = 10

    @cached_property
    def evening(self) -> xr.Dataset:
        """The bars' moments, with the sources that are there."""
        one = pick(self.result, self.date, WHOLE)
        one = one.isel(minute=slice(None, None, max(1, -(-one.sizes["minute"] // self.bars))))
        one = one.isel(source=one["ambient_illuminance"].max("minute").values > 0)
        # The sky goes on top, so that what stays all night stands on the ground.
        return one.isel(source=np.argsort([SKY.get(str(name), 0) for name in one["source"].values], kind="stable"))

    @cached_property
    def top(self) -> float:
        """Where the scale ends [lx]: above all bars of the dark hours."""
        total = self.evening["ambient_illuminance"].values.sum(axis=0)
        return _round_up(1.15 * total[total <= 3.0 * total.min()].max())

    @property
    def key(self) -> tuple[Any, ...]:
        """Sources, scale and hours."""
        clock = _minutes(self.evening)
        return (*self.evening["source"].values, self.top, clock[0], clock[-1], clock.size)

    @property
    def styles(self) -> list[dict[str, Any]]:
        """Colour and hatching of each source, from the ground up."""
        names = self.evening["source"].values
        shades = matplotlib.colormaps[COLOURS](np.linspace(0.15, 0.98, max(2, names.size)))
        return [
            {"label": str(name), "facecolor": shades[k], "hatch": HATCHES[k % len(HATCHES)]}
            | {"edgecolor": "0.15", "linewidth": 0.5}
            for k, name in enumerate(names)
        ]

    def frame(self, ax: Axes) -> None:
        """Draw axes and legend."""
        clock, width = _minutes(self.evening), self._width()
        _clock_axis(ax.xaxis, 120)
        ax.set(
            xlim=(clock[0] - width, clock[-1] + width), ylim=(0.0, self.top), xlabel="clock",
            ylabel="on the front (lx)", title="Ambient light, source by source",
        )  # fmt: skip
        _legend(ax, [Swatch(**style) for style in self.styles[::-1]])

    def content(self, ax: Axes) -> list[Any]:
        """Draw the bars; those that would dwarf the rest, by day and in early twilight, are cut and carry a number."""
        lux, clock, half = self.evening["ambient_illuminance"].values, _minutes(self.evening), 0.5 * self._width()
        ends = np.minimum(np.vstack([np.zeros(clock.size), np.cumsum(lux, axis=0)]), 1.1 * self.top)
        artists: list[Any] = []
        for style, low, high in zip(self.styles, ends[:-1], ends[1:], strict=True):
            boxes = [
                Path([(x - half, a), (x + half, a), (x + half, b), (x - half, b), (x - half, a)], closed=True)
                for x, a, b in zip(clock, low, high, strict=True)
                if b > a
            ]
            if boxes:
                artists.append(ax.add_patch(PathPatch(Path.make_compound_path(*boxes), **style)))
        for x, value in zip(clock, lux.sum(axis=0), strict=True):
            if value > self.top:
                words = f"{value:,.0f}" if value >= 10 else f"{value:.1f}"
                artists.append(ax.text(x, 0.97 * self.top, words, ha="center", va="top", **SMALL, bbox=PLAIN))
        return artists

    def _width(self) -> float:
        clock = _minutes(self.evening)
        return float(0.8 * (clock[1] - clock[0] if clock.size > 1 else 30.0))


@dataclass(frozen=True, kw_only=True)
class EveningChart(Chart):
    """Contrast against the clock, with its likely band, what is wanted, and when the show can start.

    Parameters
    ----------
    date : str or date, optional
        The first evening if not given.
    part : str
        Of the front.
    """

    date: Any = None
    part: str = WHOLE

    @cached_property
    def evening(self) -> xr.Dataset:
        """The evening on that part."""
        return pick(self.result, self.date, self.part)

    @property
    def wanted(self) -> float:
        """The contrast that is wanted."""
        return float(self.result.attrs["wanted_contrast"])

    @property
    def key(self) -> tuple[Any, ...]:
        """What is wanted, how high the scale goes, hours, and what passes."""
        clock = _minutes(self.evening)
        return self.wanted, self.top, clock[0], clock[-1], tuple(self.evening["passing"].values)

    @cached_property
    def top(self) -> float:
        """Where the scale ends."""
        highest = float(np.nanmax(self.evening["contrast"].values, initial=2.0))
        return _round_up(max(SCALES["contrast"].high, 2.0 * self.wanted, 1.3 * highest), decades=True)

    @property
    def styles(self) -> list[dict[str, Any]]:
        """Of the contrast, and of the contrast while each passing light is there."""
        dark, _ = _tones()
        names = self.evening["passing"].values
        dashed = [{"color": dark, "linestyle": "--", "label": f"while {name} passes"} for name in names]
        return [{"color": dark, "linewidth": 2, "label": "contrast"}, *dashed]

    def frame(self, ax: Axes) -> None:
        """Draw axes, legend, and what is wanted."""
        clock = _minutes(self.evening)
        ax.set(
            xlim=(clock[0], clock[-1]), yscale="log", ylim=(1.0, self.top), xlabel="clock",
            ylabel="contrast at the eye (x : 1)",
        )  # fmt: skip
        ax.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
        ax.yaxis.set_minor_formatter(FuncFormatter(lambda *_: ""))
        _clock_axis(ax.xaxis, 120)
        line = ax.axhline(self.wanted, color="black", linewidth=1, linestyle="-.", label=f"wanted: {self.wanted:g}:1")
        _, middle = _tones()
        likely = Swatch(color=middle, alpha=0.35, linewidth=0, label="likely")
        _legend(ax, [*(Line2D([], [], **style) for style in self.styles), likely, line])

    def content(self, ax: Axes) -> list[Any]:
        """Draw the curves, and what happens at which minute."""
        one, clock = self.evening, _minutes(self.evening)
        low, nominal, high = (one["contrast"].sel(level=level).values for level in ("low", "nominal", "high"))
        _, middle = _tones()
        artists: list[Any] = [ax.fill_between(clock, low, high, color=middle, alpha=0.35, linewidth=0)]
        for values, style in zip((nominal, *one["contrast_passing"].values), self.styles, strict=True):
            artists += ax.plot(clock, values, **style)
        day = one["date"].values.astype("M8[D]")
        for name, line, height in (("earliest", "-", 0.98), ("sunset", ":", 0.02), ("moonrise", "--", 0.4)):
            when = one[name].sel(level="nominal").values if name == "earliest" else one[name].values
            if np.isnat(when):
                continue
            x = (when - day) / np.timedelta64(60, "s")
            strong = name == "earliest"
            artists.append(
                ax.axvline(x, color="black" if strong else "0.35", linestyle=line, linewidth=1.6 if strong else 1.0)
            )
            words = f"{'start' if strong else name} {pd.Timestamp(when):%H:%M}"
            where: dict[str, Any] = {"va": "top" if strong else "bottom", "transform": ax.get_xaxis_transform()}
            artists.append(ax.text(x, height, words, rotation=90, ha="right", **where, **SMALL))
        stamp = pd.Timestamp(day)
        title = f"{capital(self.part)}, {stamp:%A} {stamp.day} {stamp:%B %Y}"
        artists.append(ax.text(0.5, 1.02, title, ha="center", va="bottom", fontsize=12, transform=ax.transAxes))
        return artists


@dataclass(frozen=True, kw_only=True)
class SeasonChart(Chart):
    """The season as a map of date and clock: contrast, earliest start, sunset and moonrise.

    Where daylight saving begins within an evening the clock has a gap, which stays white; where it ends, the hour that
    comes twice shows its second turn.

    Parameters
    ----------
    part : str
        Of the front.
    """

    part: str = WHOLE
    LINES: ClassVar[tuple[tuple[str, Any, str], ...]] = (("sunset", ":", "sunset"), ("earliest", "-", "earliest start"))
    MOON: ClassVar[dict[str, Any]] = {
        "marker": "o", "color": "white", "markeredgecolor": "black", "markersize": 5, "label": "moonrise",
    }  # fmt: skip

    def __post_init__(self) -> None:
        if self.result["date"].size < 2:
            raise InputError("result", f"{self.result['date'].size} evening", "two evenings or more")
        parts = [str(name) for name in self.result["part"].values]
        if self.part not in parts:
            raise InputError("part", self.part, f"one of {', '.join(parts)}")

    @cached_property
    def season(self) -> xr.Dataset:
        """The season on that part."""
        return self.result.sel(part=self.part)

    @cached_property
    def clock(self) -> np.ndarray:
        """Minutes after midnight of each evening's date, shape (date, minute)."""
        return (self.season["clock"].values - self._days()[:, None]) / np.timedelta64(60, "s")

    @property
    def key(self) -> tuple[Any, ...]:
        """Part, dates, hours, and what is wanted."""
        return self.part, tuple(self._days()), self._edges(), self.result.attrs["wanted_contrast"]

    def frame(self, ax: Axes) -> None:
        """Draw axes, the colour scale and the legend."""
        days, at = self._days(), self._at()
        ticks = [i for i, day in enumerate(days) if str(day)[8:] in ("01", "15")]
        if at.size > 1 and at[1] > 1:
            ticks = list(range(0, days.size, 4))
        stamps = [pd.Timestamp(days[i]) for i in ticks]
        ax.set_xticks([at[i] for i in ticks], [f"{stamp.day} {stamp:%b}" for stamp in stamps])
        _clock_axis(ax.yaxis, 120)
        left, right, first, last = self._edges()
        ax.set(xlim=(left, right), ylim=(first, last), xlabel="evening of", ylabel="clock")
        ax.set_title(f"The season: {self.part}", loc="left")
        scale = SCALES["contrast"]
        figure = ax.get_figure()
        assert figure is not None
        shades = matplotlib.cm.ScalarMappable(norm=LogNorm(scale.low, scale.high), cmap=COLOURS)
        bar = figure.colorbar(shades, ax=ax, label=scale.label, pad=0.015, extend="both")
        bar.set_ticks(list(scale.ticks), labels=[f"{tick:g}" for tick in scale.ticks])
        bar.ax.minorticks_off()
        for colour, width in (("white", 3.5), ("black", 1.5)):
            bar.ax.axhline(self.result.attrs["wanted_contrast"], color=colour, linewidth=width)
        lines = [Line2D([], [], color="black", linewidth=1.6, linestyle=s, label=t) for _, s, t in self.LINES]
        moon = Line2D([], [], linestyle="", **self.MOON)
        ax.legend(handles=[*lines, moon], **SMALL, ncols=3, loc="lower right", bbox_to_anchor=(1.0, 1.0), frameon=False)

    def content(self, ax: Axes) -> list[Any]:
        """Draw contrast, and what happens at which minute."""
        season, at, days = self.season, self._at(), self._days()
        left, right, first, last = self._edges()
        step = self._step()
        column = np.rint((self.clock - self.clock.min()) / step).astype(int)
        values = np.full((days.size, column.max() + 1), np.nan)
        values[np.arange(days.size)[:, None], column] = season["contrast"].sel(level="nominal").values
        scale = SCALES["contrast"]
        artists: list[Any] = [
            ax.imshow(
                values.T, origin="lower", aspect="auto", cmap=COLOURS, norm=LogNorm(scale.low, scale.high),
                interpolation="nearest", extent=(left, right, first, last),
            )
        ]  # fmt: skip
        for name, style, _ in self.LINES:
            when = season[name].sel(level="nominal").values if name == "earliest" else season[name].values
            y = np.where(np.isnat(when), np.nan, (when - days) / np.timedelta64(60, "s"))
            if np.isfinite(y).any():
                artists += ax.plot(at, y, color="white", linewidth=4)
                artists += ax.plot(at, y, color="black", linestyle=style, linewidth=1.6)
        rise = season["moonrise"].values
        up = ~np.isnat(rise)
        if up.any():
            artists += ax.plot(at[up], ((rise - days) / np.timedelta64(60, "s"))[up], linestyle="", **self.MOON)
        return artists

    def _days(self) -> Any:
        return self.season["date"].values.astype("M8[D]")

    def _at(self) -> np.ndarray:
        days = self._days()
        return (days - days[0]).astype(int)

    def _step(self) -> float:
        steps = self.season["minute"].values
        return float(steps[1] - steps[0]) if steps.size > 1 else 1.0

    def _edges(self) -> tuple[float, float, float, float]:
        at, half = self._at(), 0.5 * self._step()
        gap = 0.5 * float(at[1])
        low, high = float(self.clock.min()), float(self.clock.max())
        return float(at[0]) - gap, float(at[-1]) + gap, low - half, high + half


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
    return SourceChart(result=result, date=date, bars=bars).draw(ax)


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
    return EveningChart(result=result, date=date, part=part).draw(ax)


def draw_season(result: xr.Dataset, ax: Axes | None = None, *, part: str = WHOLE) -> Axes:
    """Draw the season as a map of date and clock: contrast, earliest start, sunset and moonrise.

    Parameters
    ----------
    result : xarray.Dataset
        From `kit.evenings`, of two evenings or more.
    ax : matplotlib Axes, optional
    part : str
        Of the front.
    """
    return SeasonChart(result=result, part=part).draw(ax)


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
    ax = _axes(ax)
    one = result.sel(part=part)
    percent = 100.0 * result["dimming"].values
    low, nominal, high = (one["contrast"].sel(level=level).values for level in ("low", "nominal", "high"))
    dark, middle = _tones()
    ax.fill_between(percent, low, high, color=middle, alpha=0.35, linewidth=0, label="likely")
    ax.plot(percent, nominal, color=dark, linewidth=2, label="contrast")
    wanted = result.attrs["wanted_contrast"]
    ax.axhline(wanted, color="black", linewidth=1, linestyle="-.", label=f"wanted: {wanted:g}:1")
    most = float(one["most_dimming"].sel(level="nominal"))
    if most < 1.0:
        ax.axvline(100.0 * most, color="black", linewidth=1.6)
        ax.text(100.0 * most, 0.97, f" {most:.0%}", va="top", transform=ax.get_xaxis_transform())
    ax.set(
        xlabel="light of the LED strings (% of full white)", ylabel="contrast at the eye (x : 1)", ylim=(0.0, None),
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


def _round_up(value: float, *, decades: bool = False) -> float:
    """Return a round number at or above `value`, so that a scale seldom changes."""
    decade = 10.0 ** math.floor(math.log10(value)) if value > 0 else 1.0
    steps = (1.0, 3.0, 10.0) if decades else (1.0, 1.5, 2.0, 3.0, 5.0, 7.0, 10.0)
    return next((step * decade for step in steps if step * decade >= value), 10.0 * decade)


def _tones() -> tuple[Any, Any]:
    """Return the colours of a curve and of its band."""
    dark, middle = matplotlib.colormaps[COLOURS]((0.1, 0.55))
    return tuple(dark), tuple(middle)


def _legend(ax: Axes, handles: list[Any]) -> None:
    """Draw a legend below the axes, where no content hides it."""
    ax.legend(handles=handles, **SMALL, loc="upper center", bbox_to_anchor=(0.5, -0.15), ncols=3)


def _minutes(one: xr.Dataset) -> np.ndarray:
    """Return clock times in minutes after midnight of the evening's date."""
    return np.asarray((one["clock"].values - one["date"].values) / np.timedelta64(60, "s"))


def _clock_axis(axis: Any, step: int) -> None:
    axis.set_major_locator(MultipleLocator(step))
    axis.set_major_formatter(FuncFormatter(lambda value, _: f"{int(value) % DAY // 60:02d}:{int(value) % 60:02d}"))
