"""What do I do, what does it cost, how sure is it? Combinations of all that can be done, and those that none beats.

A plan is a machine of the shortlist, or two on one picture, in a place that `search` finds, the size of its picture,
cloth on some of the front, lamps off or shaded, strings dimmed, rooms dark, start, and rung that is wanted: wishes and
no remedies. Each draw is one house, the same for all. Limits are no costs: a plan that puts a beam into eyes on the
walk, a machine into the way out of a door, or more light of its picture beyond the front than is allowed
(`kit.obtrusive_light`, at two invented windows) is none.
"""

import math
from collections import Counter
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import replace
from functools import cache, cached_property
from itertools import compress, product
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
import shapely

from kit import fields
from kit.answers.evenings import SHADE, neighbours
from kit.answers.scenes import Wanted
from kit.answers.show import Machine, Shortlist, Show, shortlist_of
from kit.arrays import Array, unbeaten
from kit.bands import normal_draws
from kit.blocks import Memory, share_out
from kit.decision.chance import Target, Trials
from kit.decision.costs import Item, dollars, hangs, items, parts_sentence, swayed, total
from kit.decision.measure import WITH, read_together
from kit.decision.payoff import projector_price
from kit.decision.verdict import DRAWS, rung_target, rungs
from kit.errors import InputError
from kit.eye.light_map import Scene, light_map
from kit.fields import declared
from kit.light.ambient import ROOMS
from kit.results import Frame, Result
from kit.source.placement import Placement
from kit.source.projector import Projector
from kit.stage.aim import Lens
from kit.stage.beam_safety import keep_out
from kit.stage.obtrusive_light import obtrusive_light
from kit.stage.places import POINTS, Limits, placement_of
from kit.stage.search import search
from kit.wall.cloth import CHOICES, Cloth, Covering, cover
from kit.words import Phrases, join, percent

say = Phrases(__file__)
BUDGET = fields.Number(label="budget", unit="USD", low=0.0, high=1e7, default=3500.0, steps=(0.0, 20000.0, 100.0))
# Places that are tried for each machine, and kept; sizes of a picture; LED strings over what the show has; lamps.
TRIED, PLACES, SIZES, STRINGS, LAMPS = 200, 3, (1.0, 0.8), (1.0, 0.5, 0.0), 3
# Whose lamps can be shaded at most, and by their owner; others can be switched off.
NOT_MINE = ("street", "neighbour", "town")
# A way out is a door of at most this width, kept free so far beside it [m].
WAY_OUT, BESIDE = 2.0, 0.6
SURROUNDINGS = {"city sky": "urban", "rural sky": "rural", "natural sky": "natural"}
# Draws are sorted into so many cases by what a reading would tell; so small a chance gained may be luck.
CASES, LUCK = 8, 0.02
CLOCK = tuple(f"{hour}:{minute:02d}" for hour in range(16, 24) for minute in (0, 30))
NO_CLOTH, CLOTH, SHADED = "no cloth", "white cotton", ", shaded"
COSTS = ["low cost", "cost", "high cost"]


class PlanChoice(Wanted):
    """The budget and the wishes; None: as the show says."""

    budget: float = declared(BUDGET)
    two: bool = declared(fields.FLAG, label="also two machines on one picture", default=True)
    date: str = declared(fields.Day(label="evening of"), default="2026-12-05")
    start: str = declared(fields.OneOf(label="start", options=CLOCK), default="18:00")


class Way(NamedTuple):
    """What plans share: a machine in its place, the size of its picture, cloth; `told` is what tables have of it."""

    machine: Machine
    pair: tuple[Projector, Placement]
    told: dict[str, Any]


class State(NamedTuple):
    """What is done about lamps, strings, and rooms behind shades: True, as they are."""

    off: tuple[str, ...]
    shaded: tuple[str, ...]
    strings: float
    rooms: bool

    def left(self, names: Iterable[str], strings: Iterable[str]) -> list[float]:
        """Return what is left of each source of light."""
        gone = {*self.off, *self.shaded, *(f"{name}{SHADED}" for name in names if name not in self.shaded)}
        left = dict.fromkeys(strings, self.strings) | dict.fromkeys(gone, 0.0) | {ROOMS: float(self.rooms)}
        return [left.get(name, 1.0) for name in names]


class Plans(Result):
    """Plans that no other beats on cost, chance and share of the front, the cheapest first.

    `table` has a row for each, numbered from 1: low cost, cost, high cost [USD], NaN where a price is not known; chance
    that it is enough, and share of the front that is good as surely as is wanted; machine, lumens, count, of them on
    one picture; stand, x, height, distance [m]; size of the picture, 1: as large as the front takes; cloth; off, shaded
    (names of lamps), strings (share left), rooms (whether lit); start, rung. `done`, `scene` and `parts` take a number,
    `winner` gives one; ``searched.table`` has all that was tried.
    """

    choice: PlanChoice
    show: Show
    target: Target
    table: Frame
    searched: "Searched"

    def within(self, budget: float) -> Frame:
        """Return the plans of the list within a budget; all where prices are missing."""
        return self.table[self.table["cost"] <= budget] if self.searched.money else self.table

    def winner(self, budget: float | None = None) -> int:
        """Return the number of the cheapest plan within a budget that is enough; where none is, of the likeliest."""
        limit = self.choice.budget if budget is None else BUDGET.check("budget", budget)
        if (some := self.within(limit)).empty:
            raise InputError("budget", limit, f"{self.table['cost'].min():,.0f} USD or more, the cheapest plan")
        return int(picked(some, self.target.confidence))

    def done(self, plan: int, units: str = "m") -> str:
        """Return what is done in a plan, in words."""
        row = self.table.loc[plan].to_dict()
        parts = [say("two" if row["count"] > 1 else "machine", units, **row)]
        parts += [say("size", **row)] if row["size"] < 1.0 else []
        parts += [row["cloth"]] if row["cloth"] != NO_CLOTH else []
        parts += [f"{name} {how}" for how in ("off", "shaded") for name in row[how]]
        parts += [say("strings", **row)] if row["strings"] < 1.0 else []
        return "; ".join([*parts, *([] if row["rooms"] else ["rooms behind shades dark"])])

    def scene(self, plan: int) -> Scene:
        """Return the scene of a plan; two machines on one picture are one of all their light."""
        return self.searched.scene(self.table.loc[plan])

    def parts(self, plan: int) -> tuple[Item, ...] | None:
        """Return all that a plan takes; None where the price of its machine is not known."""
        return self.searched.parts(self.table.loc[plan])

    def budgets(self) -> Frame:
        """Return who wins from which budget on, and what each further 100 USD bought since the last."""
        order = [self.winner(cost) for cost in self.table["cost"]] if self.searched.money else []
        found = self.table.loc[list(dict.fromkeys(order)), ["cost", "chance"]].copy()
        found["each further 100 USD bought"] = 100.0 * found["chance"].diff() / found["cost"].diff()
        found.attrs["formats"] = {"from [USD]": ",.0f", "chance": ".0%", "each further 100 USD bought": ".1%"}
        return found.rename(columns={"cost": "from [USD]"})

    def frame(self, units: str = "m") -> Frame:
        """Return the plans, a row each."""
        found = self.table[[*COSTS, "chance", "share"]].copy()
        found["what is done"] = [self.done(plan, units) for plan in found.index]
        found.attrs["formats"] = {"chance": ".0%", "share of front": ".0%"}
        return found.rename(columns={"share": "share of front"})

    @cached_property
    def guesses(self) -> tuple[str, ...]:
        """The guesses on which the winner hangs: each alone makes another plan that is as good the cheaper one."""
        best = self.winner()
        good = self.table["chance"] >= min(self.table.loc[best, "chance"], self.target.confidence)
        parts = {plan: self.parts(plan) or () for plan in self.table.index[good]}
        return swayed(parts.pop(best), parts.values())

    @cached_property
    def reading(self) -> dict[str, Any] | None:
        """The cheapest reading that changes which plan is right, and its worth; None where none does.

        `of`, `price` [USD], `right` (plans, in how many houses), and `chance` and `cost` of what is done then [1, USD].
        """
        searched, some, sure = self.searched, self.within(self.choice.budget), self.target.confidence
        enough = pd.DataFrame({plan: searched.enough(row) for plan, row in some.iterrows()})
        best, found, mean = some.loc[self.winner()], list[dict[str, Any]](), enough.mean(axis=1)
        prices = {item.name: item.price[1] for item in items("reading", dict(searched.shortlist.costs))}
        lamps = [lamp.name for lamp in searched.sites[self.choice.start].lamps]
        for name, rows in read_together(searched.names, searched.trials[0].names, lamps).items():
            tool = next((WITH[key] for key in WITH if name.startswith(key)), None)
            if tool is None or len(some) < 2:
                continue
            # Draws in the order of what the reading shows: that mix of its inputs on which the plans hang most.
            seen = searched.normal[rows].T
            order = np.argsort(seen @ np.linalg.lstsq(seen, mean - mean.mean(), rcond=None)[0], kind="stable")
            # What is chosen in half of the houses is looked at in the other half: else luck would look like knowledge.
            halves = [(case[k::2], case[1 - k :: 2]) for case in np.array_split(order, CASES) for k in (0, 1)]
            right = [picked(some.assign(chance=enough.iloc[half].mean()), sure) for half, _ in halves]
            chance = float(np.mean([enough[k].iloc[rest].mean() for k, (_, rest) in zip(right, halves, strict=True)]))
            cost, price = float(some.loc[right, "cost"].mean()), prices["tape" if tool == "tape" else "meter"]
            if chance > best["chance"] + LUCK or (cost + price < best["cost"] and chance > best["chance"] - LUCK):
                often = Counter(right).most_common()
                told = join([f"plan {k} in {percent(n / len(halves))} of houses" for k, n in often])
                found.append({"of": name, "price": price, "right": told, "chance": chance, "cost": cost})
        return min(found, key=lambda one: (one["price"], one["cost"] - 1e4 * one["chance"]), default=None)

    def sentence(self, units: str = "m") -> str:
        """Return what to do, what it costs, how sure it is, and what would change that."""
        number, money, reading = self.winner(), self.searched.money, self.reading
        best = self.table.loc[number].to_dict()
        told: dict[str, Any] = {"number": number, "done": self.done(number, units), "chance": best["chance"]}
        told |= {"wanted": self.target.share, "budget": self.choice.budget, "hangs": hangs(self.guesses)}
        told["head"] = say("sure" if best["chance"] >= self.target.confidence else "likeliest")
        told["cost"] = dollars(tuple(best[name] for name in COSTS))
        parts = [say("within" if money else "moneyless", **told)]
        parts += [say("high", high=best["high cost"])] if best["high cost"] > self.choice.budget else []
        was = {"before": best["chance"], "was": best["cost"]}
        parts.append(say("reading", **reading, **was) if reading and money else say("no reading"))
        parts += [say("unfit", machine=name, why=why) for name, why in self.searched.unfit.items()]
        return " ".join([*parts, say("limits", zone=self.searched.zone, origin=self.searched.shortlist.origin)])


def plans(
    show: Show, choice: PlanChoice | None = None, *, budget: float | None = None, shortlist: Shortlist | None = None,
    draws: int = 1024, points: float = 150,
) -> Plans:  # fmt: skip
    """Search combinations of all that can be done, and return those that no other beats.

    Parameters
    ----------
    show, choice : Show, PlanChoice
        The house and what is around it; the wishes, as the show says if not given; `budget` in place of theirs [USD].
    shortlist : Shortlist, optional
        Not given: ``machines.toml`` beside the show file, else the machines of the show, else invented ones.
    draws, points : int, float
        Houses in which each plan is tried, a power of 2; points over the extent of the front.

    Raises
    ------
    InputError
        For no machine that fits, no plan that keeps the limits, and none within the budget: with the cheapest.

    Examples
    --------
    >>> import kit
    >>> found = kit.plans(kit.open_show("notebooks/houses/light_bungalow.toml"), budget=3000, draws=16)
    >>> len(found.searched.table) > 1000, bool(found.table.loc[found.winner(), "cost"] <= 3000)
    (True, True)
    """
    if DRAWS.check("draws", draws).bit_count() != 1:
        raise InputError("draws", draws, "a power of 2, such as 512 or 2048")
    choice = (choice or PlanChoice()).on(show)
    limit = choice.budget if budget is None else BUDGET.check("budget", budget)
    asked, found = replace(choice, budget=BUDGET.default), shortlist or shortlist_of(show)
    key = show, asked, found, draws, POINTS.check("points", points)
    searched = _recent.get(key, 0, lambda: Searched(show.chosen(asked), *key[1:]))
    table = searched.unbeaten(choice.start, choice.district)
    least = table["cost"].iloc[0]
    if searched.money and least > limit:
        dearer = [f"{name} keeps out one of {min(c):,.0f}" for name, c in searched.refused.items() if min(c) < least]
        binds = f"the limit on {join(dearer)}" if dearer else "no limit keeps out a cheaper one"
        parts = parts_sentence(searched.parts(table.iloc[0]) or ())
        raise InputError("budget", limit, say("budget", least=math.ceil(least), binds=binds, parts=parts))
    told: dict[str, Any] = {"choice": replace(choice, budget=limit), "show": searched.show, "target": searched.target}
    return Plans(**told, table=table, searched=searched)


def picked(some: Frame, confidence: float) -> Any:
    """Return the index of the cheapest plan that is enough; where none is, of the likeliest."""
    sure = some[some["chance"] >= confidence]
    if len(sure):
        return sure.sort_values(["cost", "chance"], ascending=[True, False], kind="stable").index[0]
    return some.sort_values(["chance", "share", "cost"], ascending=[False, False, True], kind="stable").index[0]


class Searched:
    """All plans of a show for some wishes, tried: `table`, with the numbers of `ways` and `states`."""

    def __init__(self, show: Show, choice: PlanChoice, shortlist: Shortlist, draws: int, points: float) -> None:
        self.show, self.choice, self.shortlist = show, choice, shortlist
        left, right, bottom, top = show.house.bounds
        self.spacing = math.sqrt((right - left) * (top - bottom) / points)
        self.zone = SURROUNDINGS.get(show.full.night_sky, "suburban")
        self.refused: dict[str, list[float]] = {}  # what each refused way would cost, by the limit
        self.unfit: dict[str, str] = {}
        self.keeps = cache(self._keeps)
        self.strings = [string.name for string in show.strings or ()]
        self.lit = {lamp.name: lamp for lamp in show.luminaires() if lamp.dimming}
        kinds = {one.name: f"{one.name} {one.kind}" for one in show.lamps or () if one.name in [*self.lit][:LAMPS]}
        self.theirs = [name for name, kind in kinds.items() if any(word in kind for word in NOT_MINE)]
        dims = STRINGS if any(string.dimming for string in show.strings or ()) else (1.0,)
        rooms = (True, False) if any(patch.shines_like for patch in show.front.patches) else (True,)
        mine = [name for name in kinds if name not in self.theirs]
        off, shaded = ([tuple(compress(n, on)) for on in product((0, 1), repeat=len(n))] for n in (mine, self.theirs))
        self.states = [State(*what) for what in product(off, shaded, dims, rooms)]
        wanted = {"share": choice.share, "confidence": choice.confidence}
        self.targets = {rung.name: rung_target(rung.name, choice.purpose, **wanted) for rung in rungs("white")}
        self.target = self.targets[choice.district]
        self.covers: dict[str, Covering | None] = {NO_CLOTH: None}
        cloth = (show.cloths or (Cloth.from_reference(CLOTH),))[0]
        for what in CHOICES:
            with suppress(InputError):  # there is nothing of the kind on this front
                one = cover(show.front, cloth, what)
                if all(other is None or other.patches != one.patches for other in self.covers.values()):
                    self.covers[f"{cloth.name} over {what}"] = one
        later = [clock for clock in CLOCK if clock > choice.start][1:4:2]
        self.sites = {start: self._ambient(start) for start in (choice.start, *later)}
        doors = [[x for x, *_ in p.outline] for p in show.front.patches if p.surface.kind == "door"]
        exits = [(min(x) - BESIDE, max(x) + BESIDE) for x in doors if max(x) - min(x) <= WAY_OUT]
        ways_out = shapely.union_all([shapely.box(left, 0.0, right, show.full.walk) for left, right in exits])
        self.stands = [
            replace(stand, name=f"{stand.name}{f', part {k}' if k > 1 else ''}", area=part.exterior.coords[:-1])
            for stand in show.full.stands
            for k, part in enumerate(shapely.get_parts(shapely.Polygon(stand.area) - ways_out), 1)
        ]
        ways = [way for machine in shortlist.machines for way in self._ways(machine)]
        self.ways = [way._replace(told=way.told | {"cloth": cloth}) for cloth, way in product(self.covers, ways)]
        if not ways:
            raise self._none()
        # What is there without the picture is the same for all ways under one cloth.
        tasks = [*product(range(len(self.ways)), [choice.start]), *product(range(len(self.ways))[:: len(ways)], later)]
        found: dict[tuple[int, str], Any] = dict.fromkeys(tasks)

        def ready(task: Any) -> None:
            found[task] = Trials(light_map(self._scene(self.ways[task[0]], 1, self.sites[task[1]]), self.spacing))

        share_out(ready, tasks)
        self.trials = [found[k, choice.start] for k in range(len(self.ways))]
        self._there = {(self.ways[k].told["cloth"], start): found[k, start] for k, start in tasks}
        # A lamp with a shade is as bright as it is without.
        self.names = [*dict.fromkeys(n.removesuffix(SHADED) for trials in self.trials for n in trials.inputs)]
        self.normal = normal_draws(len(self.names), draws)
        self.table = self._tried()
        self.money = bool(self.table["cost"].notna().all())

    def _none(self) -> InputError:
        why = "; ".join([*(f"{name} {why}" for name, why in self.unfit.items()), *self.refused])
        names = [machine.name for machine in self.shortlist.machines]
        return InputError("machines", names, f"one that fits somewhere and keeps the limits ({why})")

    def wished(self, start: str, rung: str) -> Frame:
        """Return all that was tried with these wishes."""
        return self.table[(self.table["start"] == start) & (self.table["rung"] == rung)]

    def unbeaten(self, start: str, rung: str) -> Frame:
        """Return the plans with these wishes that no other beats, from 1; without money where a price lacks."""
        # Light beyond the front is looked at where it matters: what is unbeaten and too bright makes room for others.
        some = self.wished(start, rung)
        while len(some):
            costs = some[["cost", "chance", "share"]].to_numpy() * (float(self.money), -1.0, -1.0)
            found = some.iloc[unbeaten(np.nan_to_num(costs))]
            ways = list(dict.fromkeys(found[["way", "count"]].itertuples(index=False, name=None)))
            share_out(self.keeps, ways)
            bad = [key for key in ways if not self.keeps(key)]
            if not bad:
                does = pd.DataFrame([way.told for way in self.ways]), pd.DataFrame(self.states)
                told = found.join(does[0], on="way").join(does[1], on="state")
                return told.set_index(pd.RangeIndex(1, len(told) + 1, name="plan"))
            some = some[~pd.MultiIndex.from_frame(some[["way", "count"]]).isin(bad)]
        raise self._none()

    def _ambient(self, start: str) -> Any:
        """Return all light at a start, with each lamp that can be shaded twice: with a shade, and without."""
        shaded = [replace(self.lit[n], name=f"{n}{SHADED}", shielded=SHADE) for n in self.theirs]
        light = self.show.light(self.show.even, (*self.lit.values(), *shaded, *(self.show.strings or ())))
        return replace(light, sky=self.show.site().sky(f"{self.choice.date} {start}"))

    def _ways(self, machine: Machine) -> list[Way]:
        """Return a machine in its best places that keep eyes on the walk out of the beam."""
        show, around, shift = self.show, self.show.full, machine.lens_shift
        usual = (0.0, max(0.0, float(show.stands_at(machine)["shift_up"]))) if shift is None else (shift[1], shift[1])
        across = (0.0, 0.0) if shift is None else (shift[0], shift[0])
        turned = {"tilt": (-15.0, 20.0), "pan": (-20.0, 20.0), "shift_across": across}
        lens = Lens(throw_ratio=machine.zoom, shift_up=machine.shift_up or usual, **turned)
        projector = replace(show.aimed(machine)[0], throw_ratio=machine.throw_ratio)
        # What reaches little more of the front than has to be good is hardly ever enough.
        limits = Limits(keystone=15.0, blocked=0.1, reached=0.5 * (1.0 + self.choice.share), people=0.0)
        how = {"obstacles": around.obstacles, "units": show.units, "points": 100, "count": TRIED}
        try:
            found = search(show.front, projector, lens, self.stands, limits=limits, **how)
        except InputError as error:
            limit = error.field.startswith("limits")
            self.unfit[machine.name] = f"fits nowhere: {f'{error.value}, wanted is {error.right}' if limit else error}"
            return []
        places, ways = 0, list[Way]()
        for k in found.pareto.tolist():
            lens_set, place = placement_of(projector, found.places, k)
            told = {"machine": machine.name, "lumens": machine.lumens, "stand": str(found.places["stand"].values[k])}
            told |= dict(zip(("x", "height", "distance"), place.position, strict=True)) | {"cloth": NO_CLOTH}
            way, ratio = Way(machine, (lens_set, place), told), lens_set.fixed_throw_ratio()
            ground = keep_out(self._scene(way, 1, show.light(0.0))).areas[0].ground
            if not ground.is_empty and ground.bounds[3] > around.walk:
                self._refuse("eyes in the beam", way, 1)
                continue
            for size in (one for one in SIZES if one == 1.0 or ratio / one <= machine.zoom[1]):
                zoomed = lens_set.set_to(ratio / size, lens_set.lens_shift, zoom=machine.zoom)
                ways.append(Way(machine, (zoomed, place), told | {"size": size}))
            if (places := places + 1) == PLACES:
                break
        if not ways:
            self.unfit[machine.name] = say("in the way")
        return ways

    def _refuse(self, limit: str, way: Way, count: int) -> None:
        self.refused.setdefault(limit, []).append(total(self._parts(way, count, 0) or ())[1])

    def _keeps(self, key: tuple[int, int]) -> bool:
        """Return whether the light of so many machines on a picture keeps within limits beyond the front."""
        way, count = self.ways[key[0]], key[1]
        scene, windows = self._scene(way, count, self.show.light(0.0)), neighbours(self.show)
        how: dict[str, Any] = {"environmental_zone": self.zone, "curfew": "before", "spacing": self.spacing}
        sent = obtrusive_light(scene, receivers=windows, masked=True, **how)
        figures = (sent.luminance, *(one for light in sent.receivers for one in (light.total, light.intensity)))
        kept = all(figure.value <= figure.limit for figure in figures)
        if not kept:
            self._refuse("light beyond the front", way, count)
        return kept

    def _scene(self, way: Way, count: int, ambient: Any) -> Scene:
        machine = replace(way.pair[0], light_output=count * way.pair[0].light_output)
        scene, covering = self.show.scene([(machine, way.pair[1])], ambient), self.covers[way.told["cloth"]]
        return replace(scene, facade=covering.facade) if covering else scene

    def _good(self, k: int, count: int, some: list[State]) -> Array:
        """Return the share of the front that is good, shape (start, rung, state, draw): a state's light is a sum."""
        from kit.light.kernel import good_points

        trials, size = self.trials[k], self.trials[k].points.seen.size
        normal = self.normal[[self.names.index(n.removesuffix(SHADED)) for n in trials.inputs]]
        full = trials.brighter(trials.draws(normal), count)
        white, black, _ = trials.luminances(full, np.arange(size))
        left = np.array([state.left(trials.names, self.strings) for state in some])
        levels, contrast = np.array([one.white_luminance for one in self.targets.values()]), self.target.contrast
        found = np.empty((len(self.sites), levels.size, len(some), len(white)))
        room, gives = (white - contrast * black) / (contrast - 1.0), full.wall[:, trials.points.patch] / np.pi
        for (start, site), result in zip(self.sites.items(), found, strict=True):
            there, same = self._there[self.ways[k].told["cloth"], start], len(site.sources())
            pairs = (there.ambient, trials.ambient), (there.veils, trials.veils)
            light = [np.concatenate([one[:same], own[same:]]) for one, own in pairs]
            good_points(white, room, gives, full.sources, full.veils, *light, left, levels, result)
        return found / size

    def _tried(self) -> Frame:
        """Return all plans; what asks for less to be done comes first, and so is told of two that are as good."""
        shape = len(self.ways), 1 + self.choice.two, len(self.sites), len(self.targets), len(self.states)
        found, costs = np.empty((2, *shape)), np.empty((*shape[:2], 3))
        target, last = self.target, self.normal.shape[1]
        rank = last - math.ceil(target.confidence * last - 1e-9)

        def work(at: tuple[int, int]) -> None:
            way, count = at[0], at[1] + 1
            good, parts = self._good(way, count, self.states), self._parts(self.ways[way], count, 0)
            found[0][at] = np.mean(good >= target.least_of(1), axis=-1)
            found[1][at] = np.partition(good, rank, axis=-1)[..., rank]
            costs[at] = math.nan if parts is None else total(parts)

        share_out(work, list(np.ndindex(*shape[:2])))
        way, more, start, rung, state = (axis.ravel() for axis in np.indices(shape))
        shaded, each = (
            np.array([len(one.shaded) for one in self.states]),
            total(items("lamp", dict(self.shortlist.costs))),
        )
        table = pd.DataFrame(costs[way, more] + shaded[state, None] * each, columns=COSTS)
        table = table.assign(way=way, count=more + 1, state=state, chance=found[0].ravel(), share=found[1].ravel())
        return table.assign(start=np.array([*self.sites])[start], rung=np.array([*self.targets])[rung])

    def parts(self, row: Any) -> tuple[Item, ...] | None:
        """Return all that a plan of the table takes; None where the price of its machine is not known."""
        return self._parts(self.ways[row["way"]], row["count"], len(self.states[row["state"]].shaded))

    def _parts(self, way: Way, count: int, shaded: int) -> tuple[Item, ...] | None:
        costs, machine, covering = dict(self.shortlist.costs), way.machine, self.covers[way.told["cloth"]]
        price = projector_price(machine.lumens) if machine.price is None else (machine.price,) * 3
        if price is None:
            return None
        name = f"{f'{count} x ' if count > 1 else ''}{machine.name}{' (used)' if machine.used else ''}"
        low, usual, high = (count * one for one in price)
        found, area = [Item(name=name, price=(low, usual, high), typed=machine.price is not None)], 0.0
        if covering:
            typed, area = covering.cloth.price[0] == covering.cloth.price[2], covering.cloth_area[1]
            found.append(Item(name="fabric", price=covering.price, typed=typed))
        groups = ("machine", 1.0, count), ("cloth", area, 1), ("lamp", 1.0, shaded)
        return (*found, *(one for group, *much in groups if all(much) for one in items(group, costs, *much)))

    def enough(self, row: Any) -> Array:
        """Return in which draws a plan of the table is enough."""
        good = self._good(row["way"], row["count"], [self.states[row["state"]]])
        at = [*self.sites].index(row["start"]), [*self.targets].index(row["rung"]), 0
        return np.asarray(good[at] >= self.targets[row["rung"]].least_of(1))

    def scene(self, row: Any) -> Scene:
        """Return the scene of a plan of the table; two machines on one picture are one of all their light."""
        state, ambient = self.states[row["state"]], self.sites[row["start"]]
        left = dict(zip(ambient.sources(), state.left(ambient.sources(), self.strings), strict=True))
        lamps = tuple(lamp.dimmed(left[lamp.name] * lamp.dimming) for lamp in ambient.lamps if left[lamp.name])
        scene = self._scene(self.ways[row["way"]], row["count"], replace(ambient, lamps=lamps))
        dark = tuple(replace(p, room_light=0.0) if p.room_light else p for p in scene.facade.patches)
        return scene if state.rooms else replace(scene, facade=replace(scene.facade, patches=dark))


_recent: Memory[Searched] = Memory(keep=2, most=0)
