"""What people call surfaces: other words for those of the reference data, and the kind that a name speaks of."""

import re
from collections.abc import Mapping
from functools import cache

from kit import reference
from kit.errors import InputError
from kit.toml_file import choices
from kit.wall.facade import Surface, kinds

# Words that say the same.
SAME = {
    "gray": "grey", "tan": "beige", "sand": "beige", "ivory": "cream", "offwhite": "cream",
    "clapboard": "siding", "weatherboard": "siding", "weatherboarding": "siding", "cladding": "siding",
    "render": "stucco", "rendering": "stucco", "plaster": "stucco", "timber": "wood", "wooden": "wood",
    "glass": "window", "pane": "window", "blind": "shade", "shutter": "shade",
}  # fmt: skip
# Words that say nothing about how light a surface is.
IDLE = {"a", "the", "of", "and", "with", "closed", "vinyl", "barn", "inner", "coloured", "colored", "plain"}
# Names that mean one surface and share no words with it; of several shades the middle one.
OTHER_NAMES = {
    "bare window": ("dark window", "black window", "clear window", "uncovered window", "window without shade"),
    "window with white shade": ("white window", "white shade", "shaded window"),
    "window with closed blinds grey": ("grey shade", "window with grey shade"),
    "window with dark curtain": ("dark curtain", "window with curtain"),
    "grey stone": ("stone", "field stone", "fieldstone", "granite"), "light stone": ("limestone", "sandstone"),
    "dark stone": ("basalt",), "beige stucco": ("stucco",), "white stucco": ("cream stucco",),
    "concrete": ("cement",), "concrete block": ("cinder block", "block"),
    "dark siding": ("black siding", "charcoal siding", "brown siding", "dark brown siding", "navy siding"),
    "dark door": ("black door", "navy door", "dark green door"), "wood door": ("brown door",),
    "asphalt shingle roof": ("shingle", "dark shingle", "asphalt shingle", "dark shingle roof", "shingle roof"),
    "clay tile roof": ("tile roof", "tiled roof", "clay tile", "roof tile"),
    "bedsheet cotton": ("bedsheet", "bed sheet", "white sheet"), "off-white fabric": ("canvas",),
    "white trim": ("trim", "white frame", "white post"), "grass": ("lawn",), "concrete paving": ("paving",),
}  # fmt: skip


def find_surface(name: str, own: Mapping[str, Surface], field: str = "surface") -> Surface:
    """Return a surface of `own` or of the reference data by its name or another that people give it.

    Raises `InputError` for a name that is none, or may be several; it says the nearest, and those of the same kind.
    """
    if name in own:
        return own[name]
    if name in reference.names("surfaces"):
        return Surface.from_reference(name)
    meant = _by_words().get(_words(name))
    if meant:
        return Surface.from_reference(meant)
    alike = [row.name for row in reference.table("surfaces") if row.group == kind_of(name)]
    more = "; kit.surfaces() shows all, and [surfaces] takes one of your own"
    raise InputError(field, name, choices(name, alike or (*own, *reference.names("surfaces")), more))


def kind_of(name: str) -> str:
    """Return the one kind of surface that a name speaks of, or nothing."""
    found = {word for word in _words(name) if word in kinds()}
    return found.pop() if len(found) == 1 else ""


@cache
def _by_words() -> dict[frozenset[str], str]:
    known = {_words(name): name for name in reference.names("surfaces")}
    return {_words(other): name for name, others in OTHER_NAMES.items() for other in others} | known


def _words(name: str) -> frozenset[str]:
    """Return a name as a set of words, each as it is said most often and one of a thing."""
    said = (SAME.get(word, word) for word in re.split("[ ,-]+", name.lower().replace("off-white", "offwhite")))
    alone = (word[:-1] if word.endswith("s") and not word.endswith("ss") else word for word in said)
    return frozenset(SAME.get(word, word) for word in alone) - IDLE
