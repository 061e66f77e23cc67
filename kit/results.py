"""What every result can do: figures as a frame, one sentence in words, both as text and as a page shows them.

Results are data. A frame holds numbers, with units in the names of its columns; how its columns are written for people
stands in ``frame.attrs["formats"]``, so that a text table, a page and a spreadsheet come from the same numbers.
"""

from __future__ import annotations

import html as markup
import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

from kit.errors import InputError
from kit.fields import Frozen
from kit.units import edge
from kit.words import band, short

if TYPE_CHECKING:
    import pandas as pd

    Frame = pd.DataFrame
else:
    Frame = Any  # pandas takes a while to load, and most answers need no table

Format = str | Callable[[Any], str]
Item = TypeVar("Item")


def make_frame(
    rows: Iterable[Mapping[str, Any]] | Mapping[str, Any], formats: Mapping[str, Format] | None = None,
    index: str = "", units: str = "m",
) -> pd.DataFrame:  # fmt: skip
    """Return rows, or columns by name, as a frame; ``"depth [m]"`` holds SI and is shown as `units` have it.

    `formats` says how a column is written for people: as ``".0%"``, or by a function. A number without one gets two
    significant figures, one between columns ``"low ..."`` and ``"high ..."`` its band.
    """
    import pandas as pd

    frame, names = pd.DataFrame(rows if isinstance(rows, Mapping) else list(rows)), {}
    for name in (name for name in frame.columns if name.endswith("]")):
        what, unit = name[:-1].rsplit("[", 1)
        sign, size = edge(unit, units)
        names[name] = f"{what}[{sign}]"
        if size != 1.0:
            frame[name] /= size
    frame = frame.rename(columns=names)
    frame.attrs["formats"] = {names.get(name, name): form for name, form in (formats or {}).items()}
    return frame.set_index(index) if index else frame


def banded(name: str, band: Sequence[float] | None, size: float = 1.0) -> dict[str, float]:
    """Return (low, nominal, high), in units of `size`, as the three columns of a band; None: not known."""
    low, nominal, high = (math.nan,) * 3 if band is None else (value / size for value in band)
    return {f"low {name}": low, name: nominal, f"high {name}": high}


def shown(frame: pd.DataFrame) -> pd.DataFrame:
    """Return a frame of text as people read it: see `make_frame`; with ``attrs["across"]`` its rows are columns."""
    import pandas as pd

    formats = frame.attrs.get("formats", {})
    bands = {name for name in frame.columns if f"low {name}" in frame.columns}
    hidden = {f"{end} {name}" for name in bands for end in ("low", "high")}
    cells: dict[str, list[str]] = {}
    for name in (name for name in frame.columns if name not in hidden):
        if name in bands:
            ends = zip(frame[f"low {name}"], frame[name], frame[f"high {name}"], strict=True)
            cells[name] = ["-" if _missing(middle) else band(low, middle, high) for low, middle, high in ends]
        else:
            cells[name] = [_cell(value, formats.get(name)) for value in frame[name]]
    words = pd.DataFrame(cells, index=frame.index)
    return words.T if frame.attrs.get("across") else words


def text_table(frame: pd.DataFrame) -> str:
    """Return a frame as a text table that keeps its columns."""
    words = shown(frame)
    words.index.name = words.columns.name = None
    lines = words.to_string(index=not _counted(frame)).split("\n")
    return "\n".join(line.rstrip() for line in lines)


def html_table(frame: pd.DataFrame, caption: str = "") -> str:
    """Return a frame as a table of a page: it keeps its columns, and scrolls within itself where it is too wide."""
    words = shown(frame)
    words.index.name = words.columns.name = None
    table = words.to_html(border=0, classes="kit-table", index=not _counted(frame), justify="left")
    table = re.sub(r"(?<=<td>)(#[0-9a-f]{6})(?=</td>)", r"<span style='background: \1'>&emsp;&emsp;</span> \1", table)
    title = f"<caption>{markup.escape(caption)}</caption>" if caption else ""
    # The style stands in the element: a result is shown in notebooks that load no style sheet of the kit.
    return f"<div class='kit-scroll' style='overflow-x: auto'>{table.replace('<thead>', f'{title}<thead>', 1)}</div>"


def _counted(frame: pd.DataFrame) -> bool:
    """Whether the rows have no names of their own."""
    import pandas as pd

    return isinstance(frame.index, pd.RangeIndex)


def _missing(value: Any) -> bool:
    return value is None or value != value


def _cell(value: Any, form: Format | None) -> str:
    if _missing(value):
        return "-"
    if callable(form):
        return form(value)
    if form is not None:
        return format(value, f"z{form}")  # no minus before a zero
    return value if isinstance(value, str) else str(value) if isinstance(value, bool | int) else short(float(value))


def pick(field: str, name: str, items: Mapping[str, Item]) -> Item:
    """Return the item called `name`, or raise `InputError` with the names there are."""
    if not isinstance(name, str) or name not in items:
        raise InputError(field, name, f"one of {', '.join(items)}")
    return items[name]


def check_made(field: str, found: Any, needed: str, origin: str) -> None:
    """Raise `InputError` unless `found` is a Dataset with all of the `needed` variables, as `origin` returns it."""
    if not set(needed.split()) <= set(getattr(found, "variables", ())):
        raise InputError(field, type(found).__name__, f"the Dataset that {origin} returns")


class Result(Frozen, eq=False):
    """A result of the kit: `frame` and `sentence`; ``print(result)`` shows both, a notebook too."""

    def frame(self, units: str = "m") -> pd.DataFrame:
        """Return the figures, units in the names of the columns; lengths in ``"m"`` or ``"ft"``."""
        raise NotImplementedError

    def sentence(self, units: str = "m") -> str:
        """Return the result in words; `units` as for `frame`."""
        raise NotImplementedError

    def text(self, units: str = "m") -> str:
        """Return words and figures as plain text."""
        return f"{self.sentence(units)}\n\n{text_table(self.frame(units))}"

    def __str__(self) -> str:
        return self.text()

    def _repr_html_(self) -> str:
        return f"<p>{markup.escape(self.sentence())}</p>{html_table(self.frame())}"
