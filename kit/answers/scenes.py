"""What the answers share: what may be chosen on every page, and how it is asked."""

from kit import reference
from kit.fields import LENGTH, LIGHT_OUTPUT, SHARE, OneOf, Text
from kit.source.spectra import light_source_names

# The categories of the tables in plain words, which are ours.
PLAIN = {
    "dark": "quiet, dark street", "medium": "lit street", "bright": "bright town centre",
    "passive viewing": "shapes and colours in passing",
    "basic decision making": "clear figures and large letters",
    "analytical decision making": "fine drawing", "full motion video": "film",
}  # fmt: skip


def _with_value(table: str, group: str | None, unit: str) -> OneOf:
    """Return the declaration of a name of a reference table whose menu shows the values too."""
    return OneOf(
        options=lambda: reference.names(table, group),
        reading=lambda name: f"{PLAIN.get(name, name)} ({reference.value(table, name, group=group):g}{unit})",
    )


LIGHT_SOURCE = OneOf(label="light source", options=light_source_names)
# Looked up among the surfaces of the house and of the kit where it is used.
WALL = Text(label="main wall", optional=True, meaning="surface of the main wall and of what matches it")
DISTRICT = _with_value("luminance_targets", "district brightness", " cd/m²").but(
    label="surroundings", default="dark", meaning="how bright the district is (CIE 94): the white that is wanted"
)
PURPOSE = _with_value("contrast_categories", None, ":1").but(
    label="contrast for",
    default="basic decision making",
    meaning="what is shown (ANSI/INFOCOMM 3M): the contrast that is wanted",
)  # fmt: skip
MACHINE = LIGHT_OUTPUT.but(label="light output")
SHIFT_UP = SHARE.but(
    label="lens shift up", low=-10.0, high=10.0, default=0.5, steps=(-0.5, 0.7, 0.01),
    meaning="of the picture in picture heights; 0.5: its lower edge is level with the lens",
)  # fmt: skip
ASIDE = LENGTH.but(
    label="to the right", default=0.0, steps=(-6.0, 6.0, 0.1), feet=(-20.0, 20.0, 0.5),
    meaning="of the middle of the front, as the audience sees it",
)  # fmt: skip
