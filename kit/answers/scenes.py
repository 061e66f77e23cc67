"""What the answers share: what may be chosen on every page, and how it is asked."""

from kit import reference
from kit.decision.verdict import Target, rungs
from kit.fields import LENGTH, LIGHT_OUTPUT, SHARE, OneOf, Text, specs
from kit.source.spectra import light_source_names

# The rungs of the ladder in few words, which are ours.
IN_SHORT = {
    "a dark front floodlit in dark surroundings": "dark front, floodlit",
    "a floodlit wall in a dark district": "floodlit wall, dark district",
    "a floodlit wall in a lit district": "floodlit wall, lit district",
    "a floodlit wall in a bright district": "floodlit wall, bright town",
    "an outdoor cinema as found in 1953": "outdoor cinema of 1953",
    "an outdoor cinema in good order": "outdoor cinema in order",
    "a picture indoors that two of three viewers took in 1932": "indoors, 2 of 3 content",
    "a picture indoors that nine of ten viewers took in 1932": "indoors, 9 of 10 content",
    "the cinema of today": "cinema of today",
    "a picture to look at in passing": "shapes and colours in passing",
    "a picture that can be followed": "clear figures and large letters",
    "a picture to study": "fine drawing", "a film in full motion": "film",
    "the best picture of an outdoor cinema": "best outdoor cinema",
}  # fmt: skip
# How earlier files call rungs.
WHITES = {
    "dark": "a floodlit wall in a dark district", "medium": "a floodlit wall in a lit district",
    "bright": "a floodlit wall in a bright district",
}  # fmt: skip
CONTRASTS = {
    "passive viewing": "a picture to look at in passing", "basic decision making": "a picture that can be followed",
    "analytical decision making": "a picture to study", "full motion video": "a film in full motion",
}  # fmt: skip
# Of a verdict that follows a slider.
DRAWS = 512


def _rung(group: str, unit: str, former: dict[str, str]) -> OneOf:
    """Return the declaration of a rung of the ladder, whose menu shows the values too."""
    return OneOf(
        options=lambda: tuple(rung.name for rung in rungs(group)), former=former,
        reading=lambda name: f"{IN_SHORT[name]} ({reference.value('ladder', name, group=group):g}{unit})",
    )  # fmt: skip


LIGHT_SOURCE = OneOf(label="light source", options=light_source_names)
# Looked up among the surfaces of the house and of the kit where it is used.
WALL = Text(label="main wall", optional=True, meaning="surface of the main wall and of what matches it")
DISTRICT = _rung("white", " cd/m²", WHITES).but(
    label="as bright as", default=WHITES["dark"], meaning="rung of the ladder that is wanted of white"
)
PURPOSE = _rung("contrast", ":1", CONTRASTS).but(
    label="contrast for", default=CONTRASTS["basic decision making"],
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
