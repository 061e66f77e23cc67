"""The parts of a page as HTML: words, tables, pictures with their texts, cautions. No widgets."""

from __future__ import annotations

import base64
import html
import io
import struct
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kit.errors import InputError
from kit.fields import NAME
from kit.results import Result, html_table

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

    from kit.answers.show import Show


def _file(name: str) -> str:
    return Path(__file__).with_name(name).read_text(encoding="utf-8")


# Tables keep their columns and scroll within themselves; their sentences wrap.
TABLES = "\n" + _file("tables.css")
# The script runs once the style has come into a page.
STYLE = f'<style onload="{html.escape(_file("names.js"))}">{TABLES}{_file("panel.css")}</style>'


def paragraphs(*texts: str) -> str:
    """Return texts as paragraphs."""
    return "".join(f"<p>{html.escape(text)}</p>" for text in texts)


def words(name: str, *texts: str, title: str = "") -> str:
    """Return texts as a block called `name`, under a title if there is one."""
    head = f"<div class='kit-title'>{html.escape(title)}</div>" if title else ""
    return f"<div class='kit-words {name}'>{head}{paragraphs(*texts)}</div>"


def assumptions(told: Show, units: str | None = None) -> str:
    """Return what a page begins with: for which house, in which light, and what is assumed."""
    items = "".join(f"<li>{html.escape(item)}</li>" for item in told.assumed)
    more = f"<details><summary>What is assumed here</summary><ul>{items}</ul></details>" if items else ""
    return f"<div class='kit-first'>{paragraphs(told.sentence(units))}{more}</div>"


def caution(*texts: str) -> str:
    """Return cautions in a box of their own."""
    first, *rest = texts
    return f"<div class='kit-caution'><p><b>Caution.</b> {html.escape(first)}</p>{paragraphs(*rest)}</div>"


def tables(name: str, *frames: tuple[pd.DataFrame, str]) -> str:
    """Return frames, each with its title, as tables, together called `name`."""
    return f"<div class='{name}'>{''.join(html_table(frame, title) for frame, title in frames)}</div>"


def picture(png: bytes, alt: str, name: str = "kit-picture") -> str:
    """Return a PNG picture with its text and its size, so that the page does not jump; called `name`.

    Where a screen is too narrow for its letters, it is moved sideways and not made smaller.
    """
    width, height = struct.unpack(">2I", png[16:24])
    said = html.escape(NAME.check("alt", alt), quote=True)
    data = base64.b64encode(png).decode("ascii")
    return (
        f'<img class="{name}" alt="{said}" width="{width}" height="{height}" decoding="sync" '
        f'style="display: block; max-width: max(100%, 800px); height: auto" src="data:image/png;base64,{data}">'
    )


def show(ax: Axes, alt: str) -> Any:
    """Return the figure of `ax` as a picture for a notebook.

    Parameters
    ----------
    alt : str
        What the picture shows, for those who cannot see it; stands in the page.
    """
    if not hasattr(ax, "get_figure"):
        raise InputError("ax", ax, "the axes that a function of the kit returns")
    from IPython.display import HTML

    figure, buffer = ax.get_figure(), io.BytesIO()
    figure.savefig(buffer, format="png", dpi=90, bbox_inches="tight")  # type: ignore[union-attr]
    return HTML(picture(buffer.getvalue(), alt, "kit-figure"))


def report(thing: Result | pd.DataFrame | str, *, units: str | None = None, title: str = "") -> Any:
    """Return a result for a notebook: words that wrap, and a table that keeps its columns.

    Parameters
    ----------
    thing : Result, pandas.DataFrame or str
        A result is shown in words and figures, a frame as a table, a text as a paragraph.
    units : {"m", "ft"}, optional
        Of a result; not given: metres, or those of a show.
    title : str
        Of the table.
    """
    from IPython.display import HTML

    if isinstance(thing, str):
        content = paragraphs(thing)
    elif isinstance(thing, Result):
        unit = str(units or getattr(thing, "units", "m"))
        content = paragraphs(thing.sentence(unit)) + html_table(thing.frame(unit), title)
    elif hasattr(thing, "columns"):
        content = html_table(thing, title)
    else:
        raise InputError("thing", thing, "a result of the kit, a frame, or a text")
    return HTML(f"<style>{TABLES}</style><div class='kit-report'>{content}</div>")
