"""The parts of a page as HTML: words, tables, pictures with their texts, cautions. No widgets."""

from __future__ import annotations

import base64
import html
import io
import struct
from typing import TYPE_CHECKING, Any

from kit.errors import InputError, text
from kit.results import Result, html_table

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

    from kit.answers.show import Show

# Tables keep their columns and scroll within themselves; their sentences wrap.
TABLES = """
.kit-report p { margin: 0.4em 0; max-width: 62em; white-space: pre-line; }
.jp-OutputArea-output pre { word-break: normal; overflow-wrap: anywhere; }
.kit-scroll { overflow-x: auto; max-width: 100%; margin: 6px 0; }
table.kit-table { border-collapse: collapse; table-layout: auto; width: max-content; max-width: none; margin: 0;
  font-variant-numeric: tabular-nums; }
.kit-table caption { text-align: left; font-weight: bold; padding: 4px 8px; }
.kit-scroll .kit-table tr > * { text-align: left; vertical-align: top; padding: 2px 10px; max-width: 34em;
  white-space: normal; border-bottom: 1px solid #8886; }
"""
# The library gives sliders, and figures that may be typed over, no names that a screen reader could say.
NAMES = """const name = () => {
  for (const one of document.querySelectorAll('.widget-slider :is([role=slider], .widget-readout):not([aria-label])')) {
    one.setAttribute('aria-label', one.closest('.widget-slider').querySelector('.widget-label').textContent);
    if (!one.hasAttribute('role')) one.setAttribute('role', 'textbox');
  }
};
name();
new MutationObserver(name).observe(this.closest('.kit-panel') || document.body, {childList: true, subtree: true})"""
# Words wrap, pictures fit, cautions stand out.
STYLE = f"""<style onload="{NAMES}">{TABLES}
.kit-panel .widget-html-content {{ line-height: 1.45; white-space: normal; min-width: 0; max-width: 100%;
  overflow-x: auto; }}
.kit-panel p {{ margin: 0.4em 0; max-width: 62em; white-space: pre-line; }}
.kit-words {{ border-left: 6px solid currentColor; padding: 0 12px; }}
.kit-verdict {{ display: flex; flex-wrap: wrap; gap: 8px; }}
.kit-card {{ flex: 1 1 360px; }}
.kit-title {{ font-size: 1.25em; font-weight: bold; }}
.kit-caution {{ border: 2px solid #8a6d00; background: #fff6d6; color: #111; padding: 6px 14px; margin: 6px 0;
  font-size: 1.1em; line-height: 1.5; max-width: 62em; box-sizing: border-box; }}
.kit-panel .widget-toggle-buttons {{ display: flex; align-items: center; }}
.kit-stale {{ opacity: 0.45; }}
.kit-busy::before {{ content: "Working ..."; font-weight: bold; visibility: hidden;
  animation: kit-late 0s 0.5s forwards; }}
@keyframes kit-late {{ to {{ visibility: visible; }} }}
@media (max-width: 600px) {{
  .kit-panel .widget-inline-hbox {{ flex-flow: row wrap; height: auto; }}
  .kit-panel .widget-inline-hbox > .widget-label {{ flex: 1 0 100%; width: 100% !important; text-align: left; }}
}}
</style>"""


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
    return f"<div class='kit-first'>{paragraphs(told.first_line(units))}{more}</div>"


def caution(*texts: str) -> str:
    """Return cautions in a box of their own."""
    first, *rest = texts
    return f"<div class='kit-caution'><p><b>Caution.</b> {html.escape(first)}</p>{paragraphs(*rest)}</div>"


def tables(name: str, *frames: tuple[pd.DataFrame, str]) -> str:
    """Return frames, each with its title, as tables, together called `name`."""
    return f"<div class='{name}'>{''.join(html_table(frame, title) for frame, title in frames)}</div>"


def picture(png: bytes, alt: str, name: str = "kit-picture") -> str:
    """Return a PNG picture with its size and its text, called `name`.

    With its size said, the page keeps the place of a picture that is replaced, and does not jump. Where a screen is too
    narrow for its letters, it is moved sideways and not made smaller.
    """
    width, height = struct.unpack(">2I", png[16:24])
    said = html.escape(text("alt", alt), quote=True)
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
