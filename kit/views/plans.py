"""Plan, section and elevation of a set-up, to scale: where the machine stands and what its picture covers."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from textwrap import fill
from typing import Any

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch, Polygon, Rectangle
from matplotlib.text import Text
from matplotlib.ticker import MaxNLocator
from matplotlib.transforms import Bbox

from kit.fields import LENGTH, guarded
from kit.light.cast import Pairs
from kit.sky.luminaire import Luminaire
from kit.source.beam import Beam
from kit.source.placement import Placement
from kit.source.projector import Projector
from kit.units import edge, length_text, metres_per
from kit.views.charts import PLAIN
from kit.views.drawing import COLOURS, Board, axes_of, path_of, seen_parts
from kit.wall.facade import Facade
from kit.words import Phrases

Ground = tuple[str, Sequence[tuple[float, float]], tuple[float, float], bool | None]
Named = Sequence[tuple[str, float, float]]

# Beams of a second machine differ by hatching too; there are no more.
HATCHES = (None, "///")


def draw_way(ax: Axes | None = None) -> Axes:
    """Draw how light travels through the kit, from the lamp to the eye, with the unit at each step."""
    ax = axes_of(ax, (9.6, 3.1))
    ax.set(xlim=(0, 10), ylim=(0, 3.2))
    ax.axis("off")
    told: dict[str, Any] = Phrases(__file__).told
    for i, (name, unit, about) in enumerate(told["way"]):
        x = 0.1 + 2.0 * i
        ax.add_patch(Rectangle((x, 1.5), 1.5, 1.2, facecolor=str(0.95 - 0.08 * i), edgecolor="black"))
        ax.text(x + 0.75, 2.35, name, ha="center", va="center", fontsize=12, fontweight="bold")
        ax.text(x + 0.75, 1.85, unit, ha="center", va="center", fontsize=10)
        ax.text(x + 0.75, 1.38, about, ha="center", va="top", fontsize=9)
        if i:
            _arrow(ax, (x - 0.5, 2.1), (x, 2.1))
    ax.text(6.85, 0.1, told["aside"], ha="center", fontsize=10)
    for x in (4.85, 8.85):
        _arrow(ax, (6.85, 0.35), (x, 0.8), style="--")
    return ax


def draw_lamp(
    lamp: Luminaire, facade: Facade, ax: Axes | None = None, *, units: str = "m", section: bool = False
) -> Axes:
    """Draw in plan, or in `section`, which way a lamp shines: as far each way as it sends light; the house is dark.

    Both are drawn side by side where no axes are given; those of the plan are returned.
    """
    if ax is None:
        ax, aside = Figure(figsize=(9.6, 4.8), layout="constrained").subplots(1, 2)
        draw_lamp(lamp, facade, aside, units=units, section=True)
    rise, turn = np.meshgrid(np.radians(np.arange(-89.0, 90.0)), np.radians(np.arange(0.0, 361.0, 2.0)), indexing="ij")
    rays = np.stack([np.cos(rise) * np.sin(turn), np.sin(rise), np.cos(rise) * np.cos(turn)], axis=-1)
    names, seen = ("across the front", "height", "from the wall"), (2, 1) if section else (0, 2)
    # All light that goes one way as this view has it: about the line of sight.
    rays = rays[..., [1, 0, 2]] if section else rays
    light = np.sum(lamp.dimmed(1.0).intensity(rays) * np.cos(rise), axis=0)
    unit, size = edge("m", units)
    x, y = ((lamp.position[i] + 4.0 * light / (light.max() or 1.0) * rays[89, :, i]) / size for i in seen)
    for corners in (np.array(patch.outline)[:, seen] / size for patch in facade.patches):
        ax.fill(*corners.T, facecolor="0.4", edgecolor="0.4")
    ax.fill(x, y, facecolor="0.85", edgecolor="black")
    ax.plot(*(lamp.position[i] / size for i in seen), "ko")
    across, up = (f"{names[i]} ({unit})" for i in seen)
    ax.set(aspect="equal", xlabel=across, ylabel=up, title=f"{lamp.name}, {'section' if section else 'plan'}")
    return ax


def _arrow(ax: Axes, start: tuple[float, float], end: tuple[float, float], style: str = "-") -> None:
    ax.annotate("", end, start, arrowprops={"arrowstyle": "->", "linewidth": 1.4, "linestyle": style})


REACH = LENGTH.but(label="reach", above=0.0, high=1e4)


class PlanBoard(Board):
    """Plan, section and elevation, redrawn fast.

    Parameters
    ----------
    units : {"m", "ft"}
        Of axes and dimensions.
    reach : float
        How far in front of the wall the drawing goes [m].
    grounds : sequence of (name, ((x, z), ...), (bottom, top), blocks)
        Areas on the ground: ``blocks`` None for where a lens may be, True for what stands in the light, False for where
        people walk.
    eyes : sequence of (name, (x, y, z))
        Of viewers.
    size : (float, float)
        Width and height in inches, at 100 dots.
    """

    @guarded
    def __init__(
        self, facade: Facade, *, units: str = "m", reach: float = 25.0, grounds: Sequence[Ground] = (),
        eyes: Sequence[tuple[str, tuple[float, float, float]]] = (), size: tuple[float, float] = (9.6, 5.6),
    ) -> None:  # fmt: skip
        super().__init__(size)
        self.facade, self.units, self.reach = facade, units, REACH.check("reach", reach)
        self._metre = 1.0 / metres_per(units)
        left, right, _, top = facade.bounds
        # Wide enough for every viewer.
        aside = max([0.25 * (right - left) + 2.0, *(1.0 + max(left - x, x - right) for _, (x, _, _) in eyes)])
        height = 1.25 * top + 1.0
        grid = self.figure.add_gridspec(
            2, 2, width_ratios=(right - left + 2 * aside, reach + 1.0), left=0.58 / size[0], right=0.985,
            bottom=0.476 / size[1], top=1.0 - 0.308 / size[1], wspace=0.16, hspace=0.3,
        )  # fmt: skip
        self.plan: Axes = self.figure.add_subplot(grid[:, 0])
        self.elevation: Axes = self.figure.add_subplot(grid[0, 1])
        self.section: Axes = self.figure.add_subplot(grid[1, 1])
        m = self._metre
        across, up, away = ((left - aside) * m, (right + aside) * m), (-0.5 * m, height * m), f"from the wall ({units})"
        self.plan.set(xlim=across, ylim=(reach * m, -1.5 * m), xlabel=f"across the front ({units})", ylabel=away)
        self.elevation.set(xlim=across, ylim=up, ylabel=f"height ({units})")
        self.section.set(xlim=(-1.5 * m, reach * m), ylim=up, xlabel=away, ylabel=f"height ({units})")
        for ax, title in ((self.plan, "Plan"), (self.elevation, "Front, with the picture"), (self.section, "Section")):
            ax.set(aspect="equal", title=title)
            ax.tick_params(direction="in", top=True, right=True)
            ax.xaxis.set_major_locator(MaxNLocator(5, integer=True))
            ax.yaxis.set_major_locator(MaxNLocator(7, integer=True))
            ax.title.set_fontsize(11)
        self._house()
        self._grounds(grounds)
        for _, (x, y, z) in eyes:
            self.plan.plot([x * m], [z * m], "k^", markersize=5)
            self.section.plot([z * m], [y * m], "k^", markersize=5)
        self._beams: list[dict[str, Any]] = []
        # What stands is named beside it, other areas within, at their corner.
        named = [(name, (max if stops else min)(at)[0], max(z for _, z in at)) for name, at, _, stops in grounds]
        self.labels = self._labels([(name, x, z) for name, (x, _, z) in eyes], named)
        self.keep()

    def draw(self, projectors: Pairs) -> bytes:
        """Return the drawing of a set-up, of not more projectors than there are `HATCHES`, as a PNG picture."""
        for artist in (artist for beam in self._beams for artist in beam.values()):
            artist.remove()
        self._beams = [self._beam(k, *pair) for k, pair in enumerate(projectors[: len(HATCHES)])]
        return self.paint([*(artist for beam in self._beams for artist in beam.values()), *self.labels])

    def _beam(self, k: int, projector: Projector, placement: Placement) -> dict[str, Any]:
        """Draw a machine, its beam and picture, and its distance."""
        m, beam = self._metre, Beam.of(projector, placement)
        # A corner that never meets the wall is drawn at its foot.
        corners = m * np.nan_to_num(beam.land(beam.corners(), (0.0, 0.0, 1.0), 0.0), nan=0.0)
        x, y, z = m * beam.position
        ends = corners[[corners[:, 0].argmin(), corners[:, 0].argmax()]]
        highest, lowest, middle = corners[:, 1].max(), corners[:, 1].min(), corners.mean(axis=0)
        dimension = max(self.plan.get_xlim()) - (0.06 + 0.1 * k) * np.ptp(self.plan.get_xlim())
        colour = matplotlib.colormaps[COLOURS](0.75 - 0.3 * k)
        style: dict[str, Any] = {"edgecolor": "black", "linewidth": 1.0, "hatch": HATCHES[k], "animated": True}
        style["facecolor"] = (*colour[:3], 0.3)
        line: dict[str, Any] = {"color": "black", "animated": True}
        thin: dict[str, Any] = line | {"linewidth": 0.8}
        (lens,), (foot,), (side,) = (
            ax.plot(*at, "s", markersize=size, **line)
            for ax, at, size in ((self.plan, (x, z), 6), (self.elevation, (x, y), 5), (self.section, (z, y), 6))
        )
        return {
            "plan": self.plan.add_patch(Polygon([(x, z), *ends[:, [0, 2]]], **style)),
            "elevation": self.elevation.add_patch(Polygon(corners[:, :2], **style)),
            "section": self.section.add_patch(Polygon([(z, y), (0.0, highest), (0.0, lowest)], **style)),
            "axis": self.plan.plot([x, middle[0]], [z, middle[2]], linestyle="-.", **thin)[0],
            "lens": lens, "foot": foot, "side": side,
            "arrow": self.plan.plot([dimension, dimension], [0.0, z], marker="_", markersize=9, **thin)[0],
            "distance": self.plan.text(
                dimension, 0.5 * z, length_text(placement.position[2], self.units, 1), ha="center", va="center",
                rotation=90, fontsize=9, bbox=PLAIN | {"alpha": 1.0}, animated=True,
            ),
        }  # fmt: skip

    def _house(self) -> None:
        m = self._metre
        left, right, *_ = self.facade.bounds
        top = max(corner[1] for patch in self.facade.patches for corner in patch.outline if corner[2] < 0.5)
        style: dict[str, Any] = {"facecolor": "none", "edgecolor": "0.4", "hatch": "////", "linewidth": 0.0}
        self.plan.add_patch(Rectangle((left * m, -1.5 * m), (right - left) * m, 1.5 * m, **style))
        self.plan.plot([left * m, right * m], [0.0, 0.0], color="black", linewidth=2)
        self.section.add_patch(Rectangle((-1.5 * m, 0.0), 1.5 * m, top * m, **style))
        self.section.plot([0.0, 0.0], [0.0, top * m], color="black", linewidth=2)
        self.section.axhline(0.0, color="black", linewidth=1)
        self.elevation.axhline(0.0, color="black", linewidth=1)
        for _, seen in seen_parts(self.facade):
            self.elevation.add_patch(PathPatch(path_of(seen, m), facecolor="white", edgecolor="0.35", linewidth=0.6))
        for patch in self.facade.patches:
            x, y, z = np.array([*patch.outline, patch.outline[0]]).T * m
            if z.max() > 0.15 * m:
                self.plan.plot(x, z, color="0.35", linewidth=0.8)
                self.section.plot(z, y, color="0.35", linewidth=0.8)

    def _grounds(self, grounds: Sequence[Any]) -> None:
        m = self._metre
        for _, area, (bottom, top), blocks in grounds:
            corners = np.array(area, float)
            style: dict[str, Any] = {"facecolor": "0.8" if blocks else "none", "edgecolor": "0.3", "linewidth": 0.8}
            if not blocks:
                style |= {"linestyle": "--"} if blocks is None else {"hatch": "...", "linewidth": 0.4}
            self.plan.add_patch(Polygon(corners * m, **style))
            near, deep = corners[:, 1].min(), np.ptp(corners[:, 1])
            self.section.add_patch(Rectangle((near * m, bottom * m), deep * m, (top - bottom) * m, **style))

    def _labels(self, eyes: Named, areas: Named) -> list[Any]:
        """Write names beside their places in the plan: within it, and on no other name, viewer or distance."""
        labels = []
        self.plan.apply_aspect()
        plan, renderer = self.plan.get_window_extent(), self.canvas.get_renderer()
        # Where the distances of the machines stand, and the viewers.
        taken = [Bbox([(plan.x1 - 0.1 * len(HATCHES) * plan.width, plan.y0), (plan.x1, plan.y1)])]
        places = [self.plan.transData.transform((x * self._metre, z * self._metre)) for _, x, z in eyes]
        taken += [Bbox([at, at]).padded(4.0) for at in places]
        low, high = (end / self._metre for end in self.plan.get_xlim())
        for name, beside, z in (*eyes, *areas):
            x = min(max(beside, low), high)  # of what begins beyond the plan, where the plan begins
            label = self.plan.annotate(
                fill(name, 20), (x * self._metre, z * self._metre), xytext=(0, 0), textcoords="offset points",
                fontsize=8, bbox=PLAIN, arrowprops={"arrowstyle": "-", "linewidth": 0.4}, animated=True,
            )  # fmt: skip
            for up, side in product(sorted(range(-312, 319, 15), key=lambda up: abs(up - 3)), (5, -30, -60, -90, 40)):
                label.set_position((side, up))
                label.update_positions(renderer)
                box = Text.get_window_extent(label).padded(1.0)
                if plan.contains(*box.min) and plan.contains(*box.max) and not any(map(box.overlaps, taken)):
                    break
            else:
                label.set_visible(False)
            taken.append(box)
            labels.append(label)
        return labels
