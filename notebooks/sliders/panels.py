"""The panels of the four notebooks: two brightness classes, cloth, an evening, where the projector stands."""

import math
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from functools import partial
from typing import Any

import ipywidgets as widgets

from kit.answers.classes import Choice, Comparison, compare
from kit.answers.cloths import FILE, ClothChoice, Weighing, weigh
from kit.answers.deciding import PlanChoice, Plans, plans
from kit.answers.evenings import OFF, ON, SEASON, SHADED, EveningChoice, EveningPlan, plan_evening
from kit.answers.outdoors import KeepChoice, Outdoors, keep_outdoors
from kit.answers.show import Show
from kit.answers.stands import Arrangement, StandChoice, arrange
from kit.decision.costs import parts_sentence
from kit.decision.evening import source_frame, start_frame, start_sentence, switching_frame, switching_sentence
from kit.decision.several import RACK
from kit.errors import InputError
from kit.fields import OneOf, Spec, specs
from kit.views.charts import side_by_side
from kit.views.drawing import MapBoard, NightBoard
from kit.views.page import caution, paragraphs, picture, tables, words
from kit.views.plans import PlanBoard
from kit.views.sheet import decision_sheet
from kit.words import chances, join
from sliders.deciding import draw_front, draw_lawn, draw_nights, shortlist, wishes
from sliders.evening import draw_evening, draw_season, draw_sources
from sliders.housing import draw_housing, draw_inside
from sliders.panel import CAUTIONS, LABEL, Panel, button, for_visitors, layout, say

MARKS = {"enough": "✓", "borderline": "~", "not enough": "✗"}


class ClassPanel(Panel):
    """Two brightness classes side by side on one front; see `Panel` and `compare`."""

    name = "classes"
    choice_type = Choice
    answer = staticmethod(compare)

    _board: MapBoard | None = None

    def __init__(self, show: Show | None = None, **given: Any) -> None:
        super().__init__(show, **given)
        self.menus = {which: self._menu(which) for which in ("first", "second")}

    def _menu(self, which: str) -> widgets.Dropdown:
        """Return a menu of the show's machines; what is chosen moves the sliders of the first or second machine."""
        known = {machine.name: machine for machine in self.of.full.machines}
        own = self.of.pair[which == "second"].name
        menu = widgets.Dropdown(options=list(known), value=own, description=f"{which} is", style=LABEL, layout=layout())

        def take(change: Any) -> None:
            machine = known[change["new"]]
            at = self.of.stands_at(machine)
            mine = {f"{which}_{name}": value for name, value in at.items() if f"{which}_{name}" in self.fields}
            self.show(replace(self.choice, **mine))

        menu.observe(take, names="value")
        return menu

    def widget(self) -> widgets.VBox:
        """Return everything in the order in which it is read, the machines of the list above their sliders."""
        box = super().widget()
        style, first, message, words, *rest = box.children
        row = widgets.HBox(list(self.menus.values()), layout=widgets.Layout(flex_flow="row wrap"))
        box.children = (style, first, message, words, row, *rest)
        return box

    def page(self, result: Comparison) -> Iterator[tuple[str, str]]:
        """Yield the maps, then the verdicts in words and in figures."""
        units, target = result.show.units, result.target
        if self._board is None or (self._board.target, self._board.units) != (target, units):
            self._board = MapBoard(target, units=units, facade=result.show.house)
        about = say("maps", titles=result.titles)
        yield "picture", picture(self._board.draw(result.maps, result.titles), f"Four maps of the front. {about}")
        pairs = list(zip(result.titles, result.verdicts, strict=True))
        cards = "".join(
            words(
                "kit-card", verdict.sentence(units), f"{result.picture_sentence(i, units)} {result.colour_sentence(i)}",
                title=f"{MARKS[verdict.status]} {title}: {verdict.status}, {chances(verdict.chance)}",
            )
            for i, (title, verdict) in enumerate(pairs)
        )  # fmt: skip
        yield "words", f"<div class='kit-verdict'>{cards}</div>"
        yield "caption", paragraphs(about)
        yield "tables", "".join(tables("kit-numbers", (verdict.frame(units), title)) for title, verdict in pairs)


class ClothPanel(Panel):
    """The bare wall and the wall under cloth, with four routes to a brighter wall; see `Panel` and `weigh`."""

    name = "cloth"
    choice_type = ClothChoice
    answer = staticmethod(weigh)

    _board: NightBoard | None = None

    def follow(self, name: str) -> None:
        """Show the picture file whose name is typed."""
        if name == "file" and self.controls["file"].value.strip():
            with self._silence():
                self.controls["picture"].value = FILE

    def page(self, result: Weighing) -> Iterator[tuple[str, str]]:
        """Yield the night pictures, then the decision in words and in figures."""
        units = result.show.units
        if self._board is None or self._board.units != units:
            self._board = NightBoard(units=units, facade=result.show.house)
        about = say("night", titles=result.titles)
        yield "picture", picture(self._board.draw(result.views, result.screen.images, result.titles), about)
        yield "caption", paragraphs(f"{about} {result.screen.sentence(units)} {say('dim room')}")
        payoff = result.payoff
        under = f"The front under cloth: {payoff.under.sentence(units)}"
        yield "words", words("kit-payoff", payoff.sentence(units), payoff.covering.sentence(units), under)
        ways = payoff.frame(units), "Ways to a brighter wall"
        yield "tables", tables("kit-routes", ways, (payoff.patches_frame(), "Where the cloth hangs"))


# How an evening is drawn, its light and its contrast side by side; and how a season is.
EVENING = {"left": 0.06, "right": 0.99, "bottom": 0.26, "top": 0.92, "wspace": 0.17}
SEASONS = {"left": 0.075, "right": 1.05, "bottom": 0.14, "top": 0.91}
HOUSING = {"left": 0.055, "right": 0.985, "bottom": 0.14, "top": 0.9, "wspace": 0.24}


class EveningPanel(Panel):
    """When the show can start: what each source of light gives, the evening, the season, and what a lamp costs.

    See `Panel` and `plan_evening`.
    """

    name = "evening"
    choice_type = EveningChoice
    answer = staticmethod(plan_evening)
    caution = f"{say('lamps')} {CAUTIONS}"
    pictures = ("evening", "season")
    live = False

    def declarations(self) -> dict[str, Spec]:
        """Return the fields of the choice, with the season's days."""
        first, last = self.given.get("season", SEASON)
        fields = super().declarations()
        names = [lamp.name for lamp in self.of.luminaires()]
        lamps = {f"lamp: {name}": OneOf(label=name, options=(ON, SHADED, OFF)) for name in names}
        gone = ("off", "shaded") if self.of.strings else ("off", "shaded", "strings")
        found = {name: spec for name, spec in (fields | lamps).items() if name not in gone}
        return found | {"date": fields["date"].but(first=first, last=last)}

    def values(self, choice: EveningChoice) -> dict[str, Any]:
        """Return what the controls show, lamp by lamp."""
        lamps = {}
        for lamp in self.of.luminaires():
            state = OFF if lamp.name in choice.off else SHADED if lamp.name in choice.shaded else ON
            lamps[f"lamp: {lamp.name}"] = state
        return {name: lamps[name] if name in lamps else getattr(choice, name) for name in self.fields}

    def made(self, values: dict[str, Any]) -> EveningChoice:
        """Return the choice that the controls make."""
        rest = {name: value for name, value in values.items() if not name.startswith("lamp: ")}
        lamps = {name.removeprefix("lamp: "): value for name, value in values.items() if name not in rest}
        states = {state: tuple(name for name, is_so in lamps.items() if is_so == state) for state in (OFF, SHADED)}
        return EveningChoice(**rest, off=states[OFF], shaded=states[SHADED])

    def page(self, result: EveningPlan) -> Iterator[tuple[str, str]]:
        """Yield the evening, then words, the season, and figures."""
        tonight, start = result.tonight, start_sentence(result.tonight)
        evening = side_by_side(
            (9.6, 4.2), *(partial(draw, tonight) for draw in (draw_sources, draw_evening)), **EVENING
        )
        yield "evening", picture(evening.paint([]), f"{say('evening')} {start}")
        yield "words", words("kit-start", *filter(None, (start, result.weather, switching_sentence(result.lamps))))
        season = side_by_side((9.6, 3.6), partial(draw_season, result.calendar), **SEASONS)
        self._boards = evening, season
        yield "season", picture(season.paint([]), say("season"))
        yield "caption", paragraphs(say("charts"))
        costs = switching_frame(result.lamps), "What one lamp costs"
        sources = source_frame(tonight, result.clock), f"Where the light comes from at {result.clock:%H:%M}"
        yield "tables", tables("kit-hours", costs, sources, (start_frame(result.calendar), "The season"))


class StandPanel(Panel):
    """Where the projector stands: plan, section and elevation, and what comes of it; see `Panel` and `arrange`."""

    name = "place"
    choice_type = StandChoice
    answer = staticmethod(arrange)
    caution = f"{say('stand')} {RACK} {CAUTIONS}"

    _board: PlanBoard
    _drawn: tuple[str, float] | None = None

    def page(self, result: Arrangement) -> Iterator[tuple[str, str]]:
        """Yield the drawing, then words, who has the beam in the eye, and figures."""
        units, around, distance = result.show.units, result.show, result.choice.distance
        far = max([v.eye[2] for v in around.full.viewers] + [s.box[2, 1] for s in around.full.stands] + [distance])
        reach = 5.0 * math.ceil(max(10.0, far + 2.0) / 5.0)
        if self._drawn != (units, reach):
            eyes = [(viewer.name, viewer.eye) for viewer in around.full.viewers]
            self._board = PlanBoard(around.house, units=units, grounds=around.grounds(), eyes=eyes, reach=reach)
            self._drawn = units, reach
        yield "picture", picture(self._board.draw(result.scene.projectors), say("plan"))
        told = (result.verdict.sentence(units), result.picture_sentence(units), result.search_sentence(units))
        yield "words", words("kit-place", *filter(None, told))
        yield "caution", caution(result.keep_out.sentence(units), self.caution)
        yield "caption", paragraphs(say("signs"))
        parts = result.parts.frame(units), "What each part can carry"
        yield "tables", tables("kit-zones", parts, (result.audience.frame(units), "Who sees what"))


class HousingPanel(Panel):
    """What keeps the machine alive outdoors: an evening in its housing; see `Panel` and `keep_outdoors`."""

    name = "housing"
    choice_type = KeepChoice
    answer = staticmethod(keep_outdoors)
    live = False

    def __init__(self, show: Show | None = None, **given: Any) -> None:
        super().__init__(show, **given)
        self.buttons = self.buttons[2:]  # there is no picture to fit

    def declarations(self) -> dict[str, Spec]:
        """Return the fields of the choice that the panel shows."""
        return {name: specs(KeepChoice)[name].but(optional=False) for name in say("housing controls").split()}

    def page(self, result: Outdoors) -> Iterator[tuple[str, str]]:
        """Yield words, the picture, cautions and figures."""
        one, units, kept = result.choice, result.choice.units, result.kept
        inside = [partial(draw_inside, kept, humidity=which, lasts=one.lasts, units=units) for which in (False, True)]
        self._board = side_by_side((9.6, 3.4), *inside, partial(draw_housing, one, units=units), **HOUSING)
        yield "words", words("kit-housing", kept.sentence(units), *result.notes(units))
        yield "picture", picture(self._board.paint([]), say("inside"))
        yield "caution", caution(*say("housing").splitlines(), say("cautions"))
        yield "caption", paragraphs(say("inside"))
        mends = kept.frame(units), "Outside its limits, as it is and with one change"
        yield "tables", tables("kit-mends", mends, (result.load, f"Power, and energy of {one.evenings} evenings"))


# How plans are drawn; so many are looked at side by side.
DECIDED, MOST = {"left": 0.07, "right": 0.985, "bottom": 0.15, "top": 0.9, "wspace": 0.42}, 4


class DecidePanel(Panel):
    """What to do, what it costs, how sure it is: plans on a shortlist of one's own; see `Panel` and `kit.plans`."""

    name = "decide"
    choice_type = PlanChoice
    answer = staticmethod(plans)
    pictures = ("picture", "nights")
    live = False

    def __init__(self, show: Show | None = None, **given: Any) -> None:
        self.picks = widgets.SelectMultiple(description="look at plans", rows=8, style=LABEL, layout=layout())
        self.picks.observe(self._picked, names="value")
        super().__init__(show, **given)
        self.buttons = self.buttons[2:]  # there is no picture to fit
        if not for_visitors():
            sheet = button("Write the sheet", "The plans that are looked at, on paper", self.write_sheet)
            self.buttons = (*self.buttons, sheet)

    def declarations(self) -> dict[str, Spec]:
        """Return the fields of the choice, the date within a season."""
        fields, (first, last) = super().declarations(), SEASON
        return fields | {"date": fields["date"].but(first=first, last=last)}

    def page(self, result: Plans) -> Iterator[tuple[str, str]]:
        """Yield words, the pictures, what is picked, and figures."""
        units, best = result.show.units, result.winner()
        yield "words", words("kit-decide", result.sentence(units))
        charts = side_by_side((9.6, 3.6), partial(draw_front, result), partial(draw_lawn, result), **DECIDED)
        yield "picture", picture(charts.paint([]), say("plans"))
        frame = result.frame(units)
        takes = (result.budgets(), "Who wins from which budget on"), (wishes(result), "With other wishes")
        yield (
            "tables",
            tables("kit-plans", (frame, "Plans that no other beats"), *takes, (shortlist(result), "The shortlist")),
        )
        money = result.searched.money
        said = [f"{row['cost']:,.0f} USD, " * money + f"{row['chance']:.0%}" for _, row in frame.iterrows()]
        options = [(f"plan {k}: {one}", k) for k, one in zip(frame.index, said, strict=True)]
        with self._silence():
            self._found, self.picks.value = result, ()
            self.picks.options = options
            self.picks.value = (best,)
        yield from self._looked_at()

    def _looked_at(self) -> Iterator[tuple[str, str]]:
        some = self.picks.value[:MOST]
        parts = [say("parts", plan=k, parts=parts_sentence(self._found.parts(k) or ())) for k in some]
        about = say("at night", plans=join([str(k) for k in some]))
        yield "nights", picture(draw_nights(self._found, some).paint([]), about)
        yield "caption", paragraphs(say("plans"), about, *parts)

    def write_sheet(self) -> None:
        """Write the decision sheet of the plans that are looked at, in a folder of today's date beside the settings."""
        with self._lock, self.busy():
            try:
                made = decision_sheet(self._found, self.picks.value[:MOST], date=f"{date.today()}")
                where = made.save(self.file.parent / f"sheet_{date.today()}", overwrite=True)
            except InputError as error:
                self._keep(str(error))
            else:
                self._keep(say("sheet", folder=where.name))

    def _picked(self, _: Any) -> None:
        with self._lock:
            if not self._quiet and self.picks.value:
                for part, content in self._looked_at():
                    self.parts[part].value = content

    def widget(self) -> widgets.VBox:
        """Return everything in the order in which it is read, the plans to look at above their night pictures."""
        box = super().widget()
        at = box.children.index(self.parts["nights"])
        box.children = (*box.children[:at], self.picks, *box.children[at:])
        return box
