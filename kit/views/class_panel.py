"""The panel of the first notebook: two brightness classes side by side."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import ipywidgets as widgets

from kit.answers.classes import Choice, Comparison, compare
from kit.answers.show import Show
from kit.views.drawing import MapBoard
from kit.views.page import paragraphs, picture, tables, words
from kit.views.panel import LABEL, Panel, layout
from kit.words import chances

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
        machines = {machine.name: machine for machine in self.of.full.machines}
        own = self.of.pair[which == "second"].name
        menu = widgets.Dropdown(
            options=list(machines), value=own, description=f"{which} is", style=LABEL, layout=layout()
        )

        def take(change: Any) -> None:
            machine = machines[change["new"]]
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
        units, target, (one, other) = result.show.units, result.target, result.titles
        if self._board is None or (self._board.target, self._board.units) != (target, units):
            self._board = MapBoard(target, units=units, facade=result.show.house)
        about = (
            f"Luminance of white above, contrast below; {one} on the left, {other} on the right. Stripes mark what "
            "misses the target."
        )
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
