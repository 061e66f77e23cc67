"""Start the pages: ``python -m kit lab`` to read and change them, ``python -m kit pages`` to read them without code.

``python -m kit check FILE`` says what is wrong with a show file, and what is assumed; ``python -m kit verdict FOLDER``
judges all show files of a folder, and writes one table; ``python -m kit sheet FOLDER``, or of a file, writes sheets.

The pages without code list no files, open with a token only, fetch nothing from elsewhere, and stop when left alone.
"""

import argparse
import json
import math
import re
import tempfile
import webbrowser
from datetime import date
from pathlib import Path
from typing import Any

import kit

# What a newcomer should not meet: a question about news, and white space past the end of a page.
SETTINGS = {
    "@jupyterlab/apputils-extension:notification": {"fetchNews": "false", "checkForUpdates": False},
    "@jupyterlab/notebook-extension:tracker": {"scrollPastEnd": False},
}
POLICY = "default-src 'self' 'unsafe-inline' 'unsafe-eval' data: blob:"


def lab(path: str, options: list[str]) -> None:
    """Start JupyterLab at a page."""
    from jupyterlab.labapp import LabApp

    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "overrides.json").write_text(json.dumps(SETTINGS), encoding="utf-8")
        LabApp.launch_instance([path, f"--LabApp.app_settings_dir={folder}", *options])


def pages(path: str, options: list[str], minutes: float, most: int) -> None:
    """Start the pages of a folder without code: so many at once, each until nobody has used it for so many minutes."""
    try:
        from voila.app import Voila
        from voila.shutdown_kernel_handler import VoilaShutdownKernelHandler
    except ImportError:
        raise SystemExit("The pages without code need one package more: pip install -e '.[pages]'") from None
    from nbformat.v4 import new_markdown_cell
    from tornado.web import HTTPError, RedirectHandler

    class Left(VoilaShutdownKernelHandler):  # type: ignore[misc]
        def check_xsrf_cookie(self) -> None:
            """Let a page that is closed say so without the cookie: the name of its kernel is secret enough."""

    class Pages(Voila):  # type: ignore[misc]
        def init_settings(self) -> dict[str, Any]:
            self.voila_configuration.prelaunch_hook = self.prepare
            return {**super().init_settings(), "headers": {"Content-Security-Policy": POLICY}}

        def init_handlers(self) -> list[Any]:
            # No list of files, and no files: the first page leads to all others.
            home = RedirectHandler, {"url": "/voila/render/00_start_here.ipynb", "permanent": False}
            kept = [one for one in super().init_handlers() if not re.search("tree|contents|files|shutdown", one[0])]
            return [("/", *home), (r"/voila/api/shutdown/(.*)", Left), *kept]

        def prepare(self, _: Any, notebook: Any, cwd: str) -> Any:
            """Return a page as it is shown, unless too many are open."""
            if len(self.kernel_manager) >= most:
                raise HTTPError(503, reason=f"{most} pages are open: close one, then load this one again")
            shown = [cell for cell in notebook.cells if "jupyterlab" not in cell.metadata.get("tags", [])]
            note = f"*This page stops when nobody has used it for {minutes:g} minutes: load it again.*"
            notebook.cells = [*shown, new_markdown_cell(note)]
            return notebook

        def launch_browser(self) -> None:
            webbrowser.open(self.display_url)

    cull = {"cull_idle_timeout": round(60 * minutes), "cull_interval": math.ceil(2 * minutes), "cull_connected": True}
    set_up = [f"--MappingKernelManager.{name}={value}" for name, value in cull.items()]
    Pages.launch_instance([path, "--Voila.auto_token=True", *set_up, *options])


def headless(given: argparse.Namespace) -> str:
    """Return what is to be said of a show file, or of what is made of a folder."""
    if given.what == "check":
        return str(kit.open_show(given.path))
    out = given.out or {"verdict": "verdicts.csv", "sheet": "sheets"}[given.what]
    if given.what == "verdict":
        found = kit.verdicts(given.path, out, cluster=given.cluster, jobs=given.jobs)
    else:
        found = kit.sheets(given.path, out, date=given.date or f"{date.today()}", paper=given.paper, jobs=given.jobs)
    bad = found[found["error"] != ""]
    return "\n".join([f"{len(found) - len(bad)} houses in {out}, {len(bad)} not read", *bad["error"]])


def main(arguments: list[str] | None = None) -> None:
    """Do what the command line says."""
    parser = argparse.ArgumentParser(prog="python -m kit", description=__doc__, epilog="More options go to the server.")
    parser.add_argument("what", choices=("lab", "pages", "check", "verdict", "sheet"))
    parser.add_argument(
        "path", help="a folder of pages, or for lab a page; check: a show file; verdict: a folder; sheet: either"
    )
    parser.add_argument("--out", help="verdict: the table, .csv or .parquet; sheet: a folder")
    parser.add_argument("--date", help="sheet: that it bears; today's if not given")
    parser.add_argument("--paper", help="sheet: A4 or letter; letter if not given and lengths are in feet")
    parser.add_argument("--cluster", default="", help="verdict: address of a dask scheduler, in place of all cores")
    parser.add_argument("--jobs", type=int, help="verdict, sheet: processes, as many as cores if not given")
    parser.add_argument("--home-network", action="store_true", help="pages: open to all on the network with the token")
    parser.add_argument("--minutes", type=float, default=30.0, help="pages: until one that nobody uses stops")
    parser.add_argument("--most", type=int, default=8, help="pages: open at once, each takes some 200 MB of memory")
    given, options = parser.parse_known_args(arguments)
    if not Path(given.path).exists():
        parser.error(f"path = {given.path}: there is nothing of this name in {Path.cwd()}")
    if not (0 < given.minutes < 1e6 and given.most >= 1):
        parser.error(f"minutes = {given.minutes:g}, most = {given.most}: some minutes, and at least one page")
    if given.what in ("check", "verdict", "sheet"):
        try:
            print(headless(given))
        except kit.InputError as error:
            raise SystemExit(str(error)) from None
    elif given.what == "lab":
        lab(given.path, options)
    else:
        pages(given.path, [*["--Voila.ip=0.0.0.0"] * given.home_network, *options], given.minutes, given.most)


if __name__ == "__main__":
    main()
