"""What each declared field and argument accepts, as text; ``python tests/domains.py`` stores it in domains.txt.

The refusals follow from the declarations, so that a limit that slips is refused and accepted with all tests green: this
is the second place where it stands. Read the difference before you commit it.
"""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

from examples import ARGUMENTS, EXAMPLES

from kit.fields import MISSING, OneOf, Spec, specs

STORED = Path(__file__).with_name("domains.txt")
WORDS = {"label", "meaning", "symbol", "reading", "nothing", "form"}


def told(value: Any) -> str:
    """Return a part of a declaration as text."""
    if isinstance(value, Spec):
        return domain(value)
    if isinstance(value, type):
        return value.__name__
    if isinstance(value, tuple | list):
        return f"({', '.join(map(told, value))})"
    if dataclasses.is_dataclass(value) or callable(value):
        return "..."
    return repr(value)


def domain(spec: Spec) -> str:
    """Return what a declaration accepts, and its default and its steps."""
    parts = []
    for field in dataclasses.fields(spec):
        value = getattr(spec, field.name)
        default = field.default if field.default is not MISSING else field.default_factory()  # type: ignore[misc]
        if field.name == "options" and isinstance(spec, OneOf):
            parts.append(f"options={'those of a table' if callable(value) else told(spec.names())}")
        elif field.name not in WORDS and value is not MISSING and value != default:
            parts.append(f"{field.name}={told(value)}")
    return f"{type(spec).__name__}({', '.join(parts)})"


def domains() -> dict[str, dict[str, str]]:
    """Return the domains of all declared fields and arguments, by type and function."""
    found = {kind.__name__: {name: domain(spec) for name, spec in specs(kind).items()} for kind in EXAMPLES}
    for (function, name), (spec, _) in ARGUMENTS.items():
        found.setdefault(f"{function.__name__}()", {})[name] = domain(spec)
    return dict(sorted(found.items()))


def written(found: dict[str, dict[str, str]]) -> str:
    """Return domains as the text that is stored."""
    return "\n".join(
        f"{owner}\n" + "".join(f"    {name}: {spec}\n" for name, spec in found[owner].items()) for owner in found
    )


def stored() -> dict[str, dict[str, str]]:
    """Return the domains that are stored."""
    found: dict[str, dict[str, str]] = {}
    for block in STORED.read_text(encoding="utf-8").split("\n\n"):
        owner, *lines = block.strip().split("\n")
        found[owner] = dict(line.strip().split(": ", 1) for line in lines)
    return found


if __name__ == "__main__":
    STORED.write_text(written(domains()), encoding="utf-8")
