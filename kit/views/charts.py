"""Charts: surfaces on the ladder, places for a projector; and charts side by side."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from textwrap import fill
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter

from kit.answers.scenes import IN_SHORT
from kit.decision.verdict import Ladder, rungs
from kit.stage.search import Search
from kit.units import edge
from kit.views.drawing import COLOURS, Board, axes_of

SIZE = (8.0, 4.2)  # inches
# The colours of a curve and of its band.
DARK, MIDDLE = map(tuple, matplotlib.colormaps[COLOURS]((0.1, 0.55)))
SMALL: dict[str, Any] = {"fontsize": 8}
PLAIN = {"facecolor": "white", "edgecolor": "none", "pad": 1.0, "alpha": 0.85}


def side_by_side(size: tuple[float, float], *draw: Callable[[Axes], object], **margins: float) -> Board:
    """Return charts on one board; size in inches at 100 dots, margins as of `Figure.subplots_adjust`."""
    board = Board(size)
    board.figure.subplots_adjust(**margins)
    for ax, one in zip(board.figure.subplots(1, len(draw), squeeze=False)[0], draw, strict=True):
        one(ax)
    board.keep()
    return board


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
            x = max(step.value, 1.2 * x)  # so that no name covers another
            ax.axvline(step.value, color=DARK, linewidth=0.8, linestyle=":")
            ax.text(x, -0.7, IN_SHORT[step.name], rotation=50, va="bottom", **SMALL)
        ax.set(
            xscale="log", xlim=(0.7 * min(ends), 1.4 * max(ends)), ylim=(len(lit) - 0.4, -0.6), xlabel=label,
            yticks=range(len(lit)), yticklabels=[fill(name, 34) for name in lit],
        )  # fmt: skip
        ax.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
        ax.xaxis.set_minor_formatter("")
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
    ax, (small, size) = axes_of(ax, SIZE), edge("mm", units)
    places = found.places
    good = places["feasible"].values
    element, keystone = places["coarsest_element"].values / size, places["keystone"].values
    light = (places["illuminance_median"] * places["delivered_light"]).values
    dots = ax.scatter(element[good], light[good], c=keystone[good], s=12, cmap=COLOURS, linewidths=0)
    ring: dict[str, Any] = {"facecolors": "none", "edgecolors": "black", "linewidths": 0.8}
    ax.scatter(element[found.pareto], light[found.pareto], s=46, **ring, label="not beaten in all three")
    best: dict[str, Any] = {"color": "white", "markeredgecolor": "black", "markersize": 12}
    ax.plot(element[found.index], light[found.index], "P", **best, label=f"best for {found.objective}")
    ax.set(
        xlabel=f"largest pixel on the front ({small})", ylabel="illuminance on the front, median (lx)",
        title="Every dot is a place for the projector",
    )  # fmt: skip
    ax.figure.colorbar(dots, ax=ax, label="keystone: corners off by (°)", pad=0.015)
    ax.legend(fontsize=8)
    return ax
