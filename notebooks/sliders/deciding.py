"""Plans in pictures: chance against cost, and which machine fits on which ground; what other wishes would take."""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from functools import partial
from itertools import product
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

from kit.answers.deciding import NO_CLOTH, Plans
from kit.errors import InputError
from kit.results import make_frame
from kit.stage.aim import fitting_distance
from kit.units import edge
from kit.views.charts import DARK, MIDDLE, side_by_side
from kit.views.sheet import nights

# Columns of a night picture.
WIDE = 260


def draw_front(found: Plans, ax: Axes) -> Axes:
    """Draw the plans that none beats: chance against cost with its band, the budget, the chance that is wanted."""
    table, best = found.table, found.winner()
    if found.searched.money:
        over = np.abs(table[["low cost", "high cost"]].to_numpy().T - table["cost"].to_numpy())
        ax.errorbar(table["cost"], table["chance"], xerr=over, fmt="none", ecolor="0.8", zorder=1)
        ax.axvline(found.choice.budget, color=DARK, linestyle="--", linewidth=1)
    x = table["cost"] if found.searched.money else table["share"]
    ax.scatter(x, table["chance"], s=30, color=MIDDLE, edgecolors="black", zorder=2)
    ax.scatter(x[best], table.loc[best, "chance"], s=130, marker="*", color=DARK, zorder=3)
    for number in {best, *found.budgets().index, table.index[-1]}:
        ax.annotate(str(number), (x[number], table.loc[number, "chance"]), (5, 5), textcoords="offset points")
    ax.axhline(found.target.confidence, color="black", linestyle=":", linewidth=1)
    ax.set(ylim=(-0.03, 1.08), ylabel="chance that it is enough", title="Plans that no other beats")
    ax.set(xlabel="USD, if all guesses come low or high" if found.searched.money else "share of the front, surely")
    return ax


def draw_lawn(found: Plans, ax: Axes) -> Axes:
    """Draw from where each machine's picture just holds the front, over the grounds where one may stand."""
    show, (unit, metre) = found.show, edge("m", found.show.units)
    machines, names = found.searched.shortlist.machines, []
    for stand in show.full.stands:
        ax.axvspan(*(stand.box[2] / metre), color="0.9")
    for row, one in enumerate(machines):
        at = show.stands_at(one)
        shift = float(np.clip(at["shift_up"], *(one.shift_up or (-10.0, 10.0))))
        lens: dict[str, float] = {"x": show.middle, "height": at["height"], "shift_up": shift, "aspect": one.aspect}
        with suppress(InputError):  # no shift brings the picture up: no bar
            near, far = (fitting_distance(show.front, ratio, **lens) / metre for ratio in one.zoom)
            ax.barh(row, max(far - near, 0.1 / metre), left=near, height=0.5, color=MIDDLE, edgecolor="black")
        ways = [way.told["distance"] / metre for way in found.searched.ways if way.machine == one]
        ax.scatter(ways, [row] * len(ways), color=DARK, s=14, zorder=3)
        names.append(one.name if ways else f"{one.name} ✗")
    ax.axvline(show.full.walk / metre, color="black", linestyle=":", linewidth=1)
    ax.set_yticks(range(len(machines)), names)
    ax.set(xlabel=f"from the wall ({unit})", title="Where its picture just holds the front", xlim=(0.0, None))
    ax.invert_yaxis()
    return ax


def draw_nights(found: Plans, picked: Sequence[int]) -> Any:
    """Return night pictures of some plans, by daylight colours of the house, on one tone curve."""

    def draw(plan: int, image: Any, ax: Axes) -> None:
        ax.imshow(image)
        ax.set(xticks=[], yticks=[], title=f"plan {plan}")

    images = nights(found.show, [found.scene(plan) for plan in picked], WIDE)
    every = [partial(draw, *one) for one in zip(picked, images, strict=True)]
    return side_by_side((9.6, 3.0), *every, left=0.01, right=0.99, bottom=0.02, top=0.9, wspace=0.04)


def wishes(found: Plans) -> pd.DataFrame:
    """Return what wins within the budget with a later start, or on another rung; the first row is as wished."""
    wished, searched, rows = (found.choice.start, found.choice.district), found.searched, list[dict[str, Any]]()
    others = [*product(searched.sites, wished[1:]), *product(wished[:1], searched.targets)]
    for start, rung in dict.fromkeys((wished, *others)):
        with suppress(InputError):  # nothing of it keeps the limits, or the budget
            other = replace(found, table=searched.unbeaten(start, rung), target=searched.targets[rung])
            best = other.table.loc[other.winner(), ["start", "rung", "machine", "cloth", "cost", "chance", "share"]]
            rows.append(best.to_dict())
    return make_frame(rows, {"cost": ",.0f", "chance": ".0%", "share": ".0%"})


def shortlist(found: Plans) -> pd.DataFrame:
    """Return the machines, ranked by the chance of each alone; where each can stand, or why it fits nowhere."""
    searched, (unit, metre), rows = found.searched, edge("m", found.show.units), list[dict[str, Any]]()
    alone = searched.wished(found.choice.start, found.choice.district).query("state == 0 and count == 1")
    for one in searched.shortlist.machines:
        mine = [k for k, w in enumerate(searched.ways) if (w.machine, w.told["cloth"]) == (one, NO_CLOTH)]
        away = [searched.ways[k].told["distance"] / metre for k in mine]
        fits = f"{min(away):.1f} to {max(away):.1f} {unit} from the wall" if mine else searched.unfit[one.name]
        best = alone.loc[alone["way"].isin(mine), ["chance", "share"]].max().to_dict()
        row = {"machine": one.name, **best, "fits": fits, "lm": one.lumens, "price [USD]": one.price}
        more = {"W": one.power, "h": one.hours, "dB": one.noise, "condition": "used" if one.used else "new"}
        rows.append(row | more)
    rows.sort(key=lambda row: [-np.nan_to_num(row[name], nan=-1.0) for name in ("chance", "share")])
    formats = {"chance": ".0%", "share": ".0%"} | dict.fromkeys(("lm", "price [USD]", "W", "h", "dB"), ",.0f")
    return make_frame(rows, formats, index="machine")
