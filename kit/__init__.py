"""Photometric kit for a light show projected on the front of a house.

From the lens to the eye: `Projector` and its chain of losses, `Placement` and throw, `Facade` with its
surfaces, `Ambient` light, `light_map`, and `judge`. Rooms load when they are first used.
"""

import ast
from pathlib import Path
from typing import Any

import lazy_loader

# The folders in the order in which light travels: each imports only from itself and from those before it.
FOLDERS = ("source", "wall", "sky", "light", "eye", "decision", "measure", "stage", "housing", "answers", "views")

# The public names, by the room that defines each, as the stub has them.
_STUB = ast.parse(Path(__file__).with_suffix(".pyi").read_text(encoding="utf-8"))
PUBLIC: dict[str, list[str]] = {}
for _node in _STUB.body:
    if isinstance(_node, ast.ImportFrom) and _node.module:
        PUBLIC.setdefault(_node.module, []).extend(alias.name for alias in _node.names)

_load, __dir__, __all__ = lazy_loader.attach(
    __name__, submodules=["errors", "reference", "units", *FOLDERS], submod_attrs=PUBLIC
)


def __getattr__(name: str) -> Any:
    """Return a room or a public name; a function refuses what its hints do not allow."""
    found = _load(name)
    if callable(found) and not isinstance(found, type):
        from kit.fields import guarded

        found = globals()[name] = guarded(found)
    return found
