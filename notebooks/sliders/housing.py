"""The housing in pictures: temperature and humidity through the evening, a section to scale."""

import math
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from matplotlib.ticker import FuncFormatter, MultipleLocator

from kit.housing.air import CLOSED, ZERO, Housing, of_table
from kit.housing.season import BEGIN, STEP, Kept
from kit.units import edge, length_text
from kit.views.charts import DARK, MIDDLE
from kit.views.drawing import COLOURS


def draw_inside(kept: Kept, ax: Axes, *, humidity: bool, lasts: float, units: str = "m") -> Axes:
    """Draw temperature or humidity of the air in a housing from noon to noon, the band of its draws and its limits."""
    clock, runs = 720.0 + STEP / 60.0 * np.arange(kept.curves.shape[2]), 60.0 * BEGIN
    times, more, unit = (100.0, 0.0, "%") if humidity else (1.8, 32.0, "°F") if units == "ft" else (1.0, 0.0, "°C")
    (low, usual, high), warm = times * kept.curves[int(humidity)] + more, ("lowest running", "highest running")
    limits = [of_table("highest", group="limit")] if humidity else [of_table(name) - ZERO for name in warm]
    ax.axvspan(runs, runs + 60.0 * lasts, color="0.9")
    ax.fill_between(clock, low, high, color=MIDDLE, alpha=0.35, linewidth=0)
    ax.plot(clock, usual, color=DARK, linewidth=2)
    ax.hlines(times * np.array(limits) + more, *clock[[0, -1]], color="black", linewidth=1, linestyle="-.")
    ax.set(xlim=clock[[0, -1]], xlabel="clock", title=f"{'humidity' if humidity else 'air'} inside ({unit})")
    ax.xaxis.set_major_locator(MultipleLocator(360))
    ax.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value // 60 % 24:02.0f}:{value % 60:02.0f}"))
    return ax


def draw_housing(box: Housing, ax: Axes, *, units: str = "m", spread: float = 0.26) -> Axes:
    """Draw a section to scale: walls, machine, pane, ducts, and a beam of half a height `spread` at 1 m."""
    (unit, size), (_, high, deep), duct = edge("m", units), box.size, box.duct_diameter
    far, front, middle = deep + 0.5, 0.7 * deep, 0.5 * high
    walls: tuple[dict[str, Any], Any] = {"linewidth": 3}, (0.0, deep, 0.0, high)
    ducts = () if box.air == CLOSED else (0.05 * high, 0.95 * high - duct)
    machine = {"facecolor": "0.8"}, (0.15 * deep, front, 0.35 * high, 0.65 * high)
    tubes = (({"hatch": "//"}, (-0.45, 0.0, y, y + duct)) for y in ducts)
    for style, (left, right, bottom, top) in (walls, machine, *tubes):
        place: Any = (left / size, bottom / size), (right - left) / size, (top - bottom) / size
        ax.add_patch(Rectangle(*place, **{"facecolor": "none", "edgecolor": "black"} | style))
    ends, lean = middle + spread * (far - front) * np.array([0.0, -1.0, 1.0]), math.radians(box.tilt)
    colour = matplotlib.colormaps[COLOURS](0.55)
    ax.fill(np.array([front, far, far]) / size, ends / size, color=colour, alpha=0.3)
    half = 0.5 * box.pane_size[1] * np.array([-1.0, 1.0])
    ax.plot((deep + half * math.sin(lean)) / size, (middle + half * math.cos(lean)) / size, color="black", linewidth=4)
    told = (f"{name} {length_text(of, units, 2)}" for name, of in (("deep", deep), ("high", high), ("ducts", duct)))
    ax.set(xlim=(-0.5 / size, far / size), ylim=(-0.15 / size, (high + 0.15) / size), aspect="equal", xlabel=unit)
    ax.set_title(", ".join(told), fontsize=10)
    return ax
