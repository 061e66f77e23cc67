"""One valid example of each type whose fields are declared, and a call for each declared argument of a function.

`test_refusals.py` spoils them, field by field. A type is added as ``EXAMPLES[kit.Thing] = lambda: kit.Thing(...)``, an
argument as ``ARGUMENTS[kit.function, "spacing"] = SPACING, lambda spacing: kit.function(..., spacing=spacing)``;
both sorted by folder.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import kit
from kit.fields import Spec

EXAMPLES: dict[type, Callable[[], Any]] = {}
ARGUMENTS: dict[tuple[Callable[..., Any], str], tuple[Spec, Callable[[Any], Any]]] = {}

# source

EXAMPLES[kit.Factor] = lambda: kit.Factor(name="pane", low=0.8, nominal=0.9, high=1.0, source="a light meter")
EXAMPLES[kit.LightSource] = lambda: kit.light_source("lamp")
EXAMPLES[kit.Projector] = lambda: kit.Projector(
    light_output=3000,
    throw_ratio=1.5,
    sequential_contrast=1500,
    checkerboard_contrast=200,
    zones=[[8, 9, 8], [9, 10, 9], [8, 9, 7]],
    chain=[EXAMPLES[kit.Factor]()],
)
EXAMPLES[kit.Spectrum] = lambda: kit.light_source("lamp").red

# wall

EXAMPLES[kit.Facade] = lambda: kit.Facade([EXAMPLES[kit.Patch]()])
EXAMPLES[kit.Patch] = lambda: kit.Patch(
    "wall", [(0, 0), (4, 0), (4, 3), (0, 3)], EXAMPLES[kit.Surface](), holes=[[(1, 1), (2, 1), (2, 2)]]
)
EXAMPLES[kit.Surface] = lambda: kit.Surface(name="brick", reflectance=0.2, low=0.1, high=0.3, kind="brick")

# sky

# light

# eye

# decision

# stage

# answers

# views
