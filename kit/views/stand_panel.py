"""The panel of the fourth notebook: where does the projector stand, and is it one or two?"""

import math
from collections.abc import Iterator

from kit.answers.stands import Arrangement, StandChoice, arrange
from kit.decision.several import RACK
from kit.views.page import caution, paragraphs, picture, tables, words
from kit.views.panel import CAUTIONS, Panel
from kit.views.plans import PlanBoard


class StandPanel(Panel):
    """Where the projector stands: plan, section and elevation, and what comes of it; see `Panel` and `arrange`."""

    name = "place"
    choice_type = StandChoice
    answer = staticmethod(arrange)
    # What the words on eyes in the beam do not say.
    caution = (
        "A stand or post in the garden needs a foundation and a housing that local code and a licensed electrician "
        "accept; nothing may fall on the walk. "
        f"{RACK} {CAUTIONS}"
    )

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
        about = "Plan, elevation and section, to one scale each, of lens, beam, picture, house, garden and viewers."
        yield "picture", picture(self._board.draw(result.scene.projectors), about)
        told = (result.verdict.sentence(units), result.picture_sentence(units), result.search_sentence(units))
        yield "words", words("kit-place", *filter(None, told))
        yield "caution", caution(result.keep_out.sentence(units), self.caution)
        about = (
            "Plan, elevation and section to one scale each. Square: lens. Dashed: where a lens may stand. Grey: "
            "what stops the light. Dotted: where people walk. Triangles: viewers."
        )
        yield "caption", paragraphs(about)
        parts = result.parts.frame(units), "What each part can carry"
        yield "tables", tables("kit-zones", parts, (result.audience.frame(units), "Who sees what"))
