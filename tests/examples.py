"""One valid example of each type whose fields are declared, and a call for each declared argument of a function.

`test_refusals.py` spoils them, field by field. A type is added as ``EXAMPLES[kit.Thing] = lambda: kit.Thing(...)``, an
argument as ``ARGUMENTS[kit.function, "spacing"] = SPACING, lambda spacing: kit.function(..., spacing=spacing)``;
both sorted by folder.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from kit.fields import Spec

EXAMPLES: dict[type, Callable[[], Any]] = {}
ARGUMENTS: dict[tuple[Callable[..., Any], str], tuple[Spec, Callable[[Any], Any]]] = {}

# source

# wall

# sky

# light

# eye

# decision

# stage

# answers

# views
