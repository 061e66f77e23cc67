"""The panel of the third notebook: when can the show start?"""

from collections.abc import Iterator
from typing import Any

from kit.answers.evenings import OFF, ON, SEASON, SHADED, EveningChoice, EveningPlan, plan_evening
from kit.decision.evening import source_frame, start_frame, start_sentence, switching_frame, switching_sentence
from kit.fields import OneOf, Spec
from kit.views.charts import ChartBoard, evening_chart, season_chart, source_chart
from kit.views.page import paragraphs, picture, tables, words
from kit.views.panel import CAUTIONS, Panel


class EveningPanel(Panel):
    """When the show can start: what each source of light gives, the evening, the season, and what a lamp costs.

    See `Panel` and `plan_evening`.
    """

    name = "evening"
    choice_type = EveningChoice
    answer = staticmethod(plan_evening)
    caution = (
        "Your own lamps first: a street lamp is the town's to change, a neighbour's the neighbour's. Paths, stairs and "
        "ways out stay lit. A shade must let a lamp's heat out. LED strings on a roof line mean a ladder, and mains "
        f"power in the wet: a licensed electrician's matter. {CAUTIONS}"
    )
    pictures = ("evening", "season")
    live = False

    _boards: tuple[ChartBoard, ChartBoard] | None = None

    def declarations(self) -> dict[str, Spec]:
        """Return the fields of the choice, with the season's days."""
        first, last = self.given.get("season", SEASON)
        fields = super().declarations()
        lamps = {
            f"lamp: {lamp.name}": OneOf(label=lamp.name, options=(ON, SHADED, OFF)) for lamp in self.of.luminaires()
        }
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
        if self._boards is None:
            self._boards = evening_board(), season_board()
        evening, season = self._boards
        tonight, start = result.tonight, start_sentence(result.tonight)
        drawn = evening.draw(source_chart(tonight), evening_chart(tonight))
        about = "Left: light on the front through the evening, source by source. Right: contrast against the clock."
        yield "evening", picture(drawn, f"{about} {start}")
        yield "words", words("kit-start", *filter(None, (start, result.weather, switching_sentence(result.lamps))))
        about = "The season as a map of date and clock: bright where contrast is high; earliest starts and moonrises."
        yield "season", picture(season.draw(season_chart(result.calendar)), about)
        about = (
            "Left: light on the front, source by source, through the evening; bars that would dwarf the rest are "
            "cut and carry their height. Right: contrast against the clock. Below: the season, bright where "
            "contrast is high; the black line is the earliest start, dots are moonrises."
        )
        yield "caption", paragraphs(about)
        costs = switching_frame(result.lamps), "What one lamp costs"
        sources = source_frame(tonight, result.clock), f"Where the light comes from at {result.clock:%H:%M}"
        yield "tables", tables("kit-hours", costs, sources, (start_frame(result.calendar), "The season"))


def evening_board() -> ChartBoard:
    """Return what an evening is drawn on: its light and its contrast side by side."""
    return ChartBoard((9.6, 4.2), columns=2, left=0.06, right=0.99, bottom=0.26, top=0.92, wspace=0.17)


def season_board() -> ChartBoard:
    """Return what a season is drawn on."""
    return ChartBoard((9.6, 3.6), columns=1, left=0.075, right=1.05, bottom=0.14, top=0.91)
