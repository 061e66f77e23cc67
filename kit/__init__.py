"""Photometric kit for a light show projected on the front of a house.

From the lens to the eye: `Projector` and its chain of losses, `Placement` and throw, `Facade` with its
surfaces, `Ambient` light, `light_map`, and `judge`. Rooms load when they are first used.
"""

from typing import Any

import lazy_loader

# The folders in the order in which light travels: each imports only from itself and from those before it.
FOLDERS = ("source", "wall", "sky", "light", "eye", "decision", "measure", "stage", "housing", "answers", "views")

# The public names are those of the stub, by the room that defines each.
_load, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
PUBLIC = [name for name in __all__ if name not in ("errors", "reference", "units", *FOLDERS)]


def __getattr__(name: str) -> Any:
    """Return a room or a public name; a function refuses what its hints do not allow."""
    found = _load(name)
    if callable(found) and not isinstance(found, type):
        from kit.fields import guarded

        found = globals()[name] = guarded(found)
    return found
