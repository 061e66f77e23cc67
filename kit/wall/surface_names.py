"""What people call surfaces: words in ``surface_names.toml`` for those of the data, and the kind that a name tells."""

import re
import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path

from kit import reference
from kit.errors import InputError
from kit.toml_file import choices
from kit.wall.facade import Surface, kinds

WORDS = tomllib.loads(Path(__file__).with_suffix(".toml").read_text(encoding="utf-8"))
SAME: dict[str, str] = WORDS["same"]
OTHER_NAMES: dict[str, list[str]] = WORDS["other_names"]


def find_surface(name: str, own: Mapping[str, Surface], field: str = "surface") -> Surface:
    """Return a surface of `own` or of the data by a name that people give it; else `InputError` with near names."""
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
    return frozenset(SAME.get(word, word) for word in alone) - set(WORDS["idle"])
