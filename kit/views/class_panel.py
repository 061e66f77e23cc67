"""The panel of the first notebook: two brightness classes side by side."""

from __future__ import annotations

from collections.abc import Iterator

from kit.answers.classes import Choice, Comparison, compare
from kit.views.drawing import MapBoard
from kit.views.page import paragraphs, picture, tables, words
from kit.views.panel import Panel

MARKS = {"enough": "✓", "borderline": "~", "not enough": "✗"}


class ClassPanel(Panel):
    """Two brightness classes side by side on one front; see `Panel` and `compare`."""

    name = "classes"
    choice_type = Choice
    answer = staticmethod(compare)

    _board: MapBoard | None = None

    def page(self, result: Comparison) -> Iterator[tuple[str, str]]:
        """Yield the maps, then the verdicts in words and in figures."""
        units, target, (one, other) = result.show.units, result.target, result.titles
        if self._board is None or (self._board.target, self._board.units) != (target, units):
            self._board = MapBoard(target, units=units)
        about = (
            f"Luminance of white above, contrast below; {one} on the left, {other} on the right. Stripes mark what "
            "misses the target."
        )
        yield "picture", picture(self._board.draw(result.maps, result.titles), f"Four maps of the front. {about}")
        pairs = list(zip(result.titles, result.verdicts, strict=True))
        cards = "".join(
            words(
                "kit-card", verdict.sentence(units), f"{result.picture_sentence(i, units)} {result.colour_sentence(i)}",
                title=f"{MARKS[verdict.status]} {title}: {verdict.status}",
            )
            for i, (title, verdict) in enumerate(pairs)
        )  # fmt: skip
        yield "words", f"<div class='kit-verdict'>{cards}</div>"
        yield "caption", paragraphs(about)
        yield "tables", "".join(tables("kit-numbers", (verdict.frame(units), title)) for title, verdict in pairs)
