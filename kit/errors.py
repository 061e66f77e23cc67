"""The one exception that bad input raises."""

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
        try:
            shown = repr(value)
        except (RecursionError, ValueError):  # nested too deeply, or a number of thousands of digits
            shown = f"a {type(value).__name__} too long to show"
        given = f"{_shortly(field, 130)} = "
        given += f"{_shortly(shown, min(120, 287 - len(given) - len(_shortly(right, 100))))}: expected "
        super().__init__(given + _shortly(right, max(100, 300 - len(given))))


def _shortly(words: str, longest: int) -> str:
    """Return `words` in one line, without their middle where they are longer than a message can bear."""
    half = (longest - 5) // 2
    ends = words if len(words) <= 2 * longest else words[:longest] + words[-longest:]
    clean = "".join(c if c.isprintable() else repr(c)[1:-1] for c in ends)
    return clean if len(clean) <= longest else f"{clean[:half]} ... {clean[-half:]}"
