"""What the answers share: what may be chosen on every page, and how it is asked."""

import tomllib
from pathlib import Path
from typing import Any, Self

from kit import reference
from kit.decision.verdict import Target, rungs
from kit.errors import InputError
from kit.fields import LENGTH, LIGHT_OUTPUT, SHARE, UNITS, Declared, OneOf, Text, declared, specs
from kit.source.projector import loss
from kit.source.spectra import light_source_names

# The rungs of the ladder in few words, and how earlier files call them.
RUNGS = tomllib.loads(Path(__file__).with_name("rungs.toml").read_text(encoding="utf-8"))
IN_SHORT: dict[str, str] = RUNGS["in_short"]
# Of a verdict that follows a slider.
DRAWS = 512


def _rung(group: str, unit: str) -> OneOf:
    """Return the declaration of a rung of the ladder, whose menu shows the values too."""
    return OneOf(
        options=lambda: tuple(rung.name for rung in rungs(group)), former=RUNGS["former"][group],
        reading=lambda name: f"{IN_SHORT[name]} ({reference.value('ladder', name, group=group):g}{unit})",
    )  # fmt: skip


LIGHT_SOURCE = OneOf(label="light source", options=light_source_names)
KIND = loss("rating", "kind of machine").but(meaning="how its stated light is to be taken")
# Looked up among the surfaces of the house and of the kit where it is used.
WALL = Text(label="main wall", optional=True, meaning="surface of the main wall and of what matches it")
DISTRICT = _rung("white", " cd/m²").but(
    label="as bright as", default="a floodlit wall in a dark district",
    meaning="rung of the ladder that is wanted of white",
)  # fmt: skip
PURPOSE = _rung("contrast", ":1").but(
    label="contrast for", default="a picture that can be followed",
    meaning="what is shown: rung of the ladder that is wanted of contrast",
)  # fmt: skip
SHARE_WANTED, CONFIDENCE = (specs(Target)[name] for name in ("share", "confidence"))
MACHINE = LIGHT_OUTPUT.but(label="light output")
SHIFT_UP = SHARE.but(
    label="lens shift up", low=-10.0, high=10.0, default=0.5, steps=(-0.5, 0.7, 0.01),
    meaning="of the picture in picture heights; 0.5: its lower edge is level with the lens",
)  # fmt: skip
ASIDE = LENGTH.but(
    label="to the right", default=0.0, steps=(-6.0, 6.0, 0.1), feet=(-20.0, 20.0, 0.5),
    meaning="of the middle of the front, as the audience sees it",
)  # fmt: skip


class Wanted(Declared):
    """What is chosen on every page: the wall, and what counts as enough; None: as the show says."""

    wall: str | None = declared(WALL, default=None)
    district: str = declared(DISTRICT, default=None)
    purpose: str = declared(PURPOSE, default=None)
    share: float = declared(SHARE_WANTED, default=None)
    confidence: float = declared(CONFIDENCE, default=None)
    units: str = declared(UNITS, default=None)

    def on(self, show: Any) -> Self:
        """Return the choice with what is not chosen as in `show`: its first machines, each where it fits."""
        if not hasattr(show, "filled"):  # the room of shows imports this one
            raise InputError("show", show, "a kit.Show")
        return show.filled(self)
