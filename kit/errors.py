"""The one exception that bad input raises."""

import math
import unicodedata
from itertools import islice
from typing import Any


class InputError(ValueError):
    """A value that cannot be used.

    The message always names the field, the value that was given and what would be right, so that a
    reader with a tape measure can mend it without a traceback.

    Parameters
    ----------
    field : str
        Name of the field, with its place in front where there is one (``"patch 'bay': depth"``).
    value : object
        The value that was given.
    right : str
        What would be right, as a phrase that can follow "expected".
    """

    def __init__(self, field: str, value: Any, right: str) -> None:
        for name, words in (("field", field), ("right", right)):
            if not isinstance(words, str):
                raise InputError(name, words, "a text")
        self.field, self.value, self.right = field, value, right
        # 300 characters are what fits under a panel: a long list of names gives way to field and value.
        given = f"{_shortly(field, 130)} = "
        given += f"{_shown(value, min(120, 287 - len(given) - len(_shortly(right, 100))))}: expected "
        super().__init__(given + _shortly(right, max(100, 300 - len(given))))


def _shown(value: Any, longest: int) -> str:
    try:
        return _shortly(repr(value), longest)
    except (RecursionError, ValueError):  # nested too deeply, or a number of thousands of digits
        return f"a {type(value).__name__} too long to show"


def _shortly(words: str, longest: int) -> str:
    """Return `words` in one line, without their middle where they are longer than a message can bear."""
    half = (longest - 5) // 2
    ends = words if len(words) <= 2 * longest else words[:longest] + words[-longest:]
    clean = "".join(c if c.isprintable() else repr(c)[1:-1] for c in ends)
    return clean if len(clean) <= longest else f"{clean[:half]} ... {clean[-half:]}"


def number(
    field: str, value: Any, *, minimum: float = -math.inf, maximum: float = math.inf, above: float | None = None,
    unit: str = "",
) -> float:  # fmt: skip
    """Return `value` as a float, or raise `InputError` naming `field`.

    `field`: name used in the message; `value` (object): anything; only real, finite numbers pass (neither a bool
    nor a text is a number here); `minimum`, `maximum`: closed limits; `above` (float, optional): open lower limit;
    used in place of `minimum`; `unit`: unit named in the message.
    """
    low = f"above {above:g}" if above is not None else f"{minimum:g} or more"
    if maximum == math.inf:
        right = "a finite number" if above is None and minimum == -math.inf else f"a number {low}"
    elif above is None:
        right = f"a number from {minimum:g} to {maximum:g}"
    else:
        right = f"a number {low} and up to {maximum:g}"
    right += f" {unit}" if unit else ""
    # Of numpy only single real numbers pass: it would turn a bool, or a list of one with a warning, into a float.
    kind, dimensions = getattr(getattr(value, "dtype", None), "kind", "f"), getattr(value, "ndim", 0)
    if isinstance(value, bool | str | bytes) or kind not in "fiuO" or dimensions:
        raise InputError(field, value, right)
    try:
        result = float(value)
    except (TypeError, ValueError, OverflowError):
        raise InputError(field, value, right) from None
    too_low = result <= above if above is not None else result < minimum
    if not math.isfinite(result) or too_low or result > maximum:
        raise InputError(field, value, right)
    return result


def numbers(field: str, value: Any, length: int, *, unit: str = "") -> tuple[float, ...]:
    """Return `value` as a tuple of `length` finite floats, or raise `InputError`."""
    right = f"{length} finite numbers" + (f" in {unit}" if unit else "")
    try:
        items = tuple(islice(value, length + 1))
    except TypeError:
        raise InputError(field, value, right) from None
    if len(items) != length:
        raise InputError(field, value, right)
    return tuple(number(f"{field}[{i}]", item, unit=unit) for i, item in enumerate(items))


def text(field: str, value: Any) -> str:
    """Return `value` if it is a string of letters in one line, or raise `InputError`."""
    if not isinstance(value, str) or not value.strip():
        raise InputError(field, value, "a name of at least one letter")
    # Controls, ends of lines, halves of characters: none is typed on purpose, and files and terminals obey them.
    if not value.isprintable() and any(unicodedata.category(c) in ("Cc", "Cs", "Zl", "Zp") for c in value):
        raise InputError(field, value, "a name in one line, without control characters")
    return value
