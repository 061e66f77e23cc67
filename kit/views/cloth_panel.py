"""The panel of the second notebook: the bare wall and the wall under cloth, side by side."""

from __future__ import annotations

from collections.abc import Iterator

from kit.answers.cloths import FILE, ClothChoice, Weighing, weigh
from kit.views.drawing import NightBoard
from kit.views.page import paragraphs, picture, tables, words
from kit.views.panel import Panel


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
        units, (one, other) = result.show.units, result.titles
        if self._board is None or self._board.units != units:
            self._board = NightBoard(units=units, facade=result.show.house)
        about = f"How it looks from the street at night: {one} on the left, {other} on the right."
        yield "picture", picture(self._board.draw(result.views, result.screen.images, result.titles), about)
        yield "caption", paragraphs(f"{about} {result.screen.sentence(units)} Look at it in a dim room.")
        payoff = result.payoff
        under = f"The front under cloth: {payoff.under.sentence(units)}"
        yield "words", words("kit-payoff", payoff.sentence(units), payoff.covering.sentence(units), under)
        ways = payoff.frame(units), "Ways to a brighter wall"
        yield "tables", tables("kit-routes", ways, (payoff.patches_frame(), "Where the cloth hangs"))
