"""The settings of a panel in a file beside the show file: what was chosen, so that a page comes back as it was."""

import os
from dataclasses import replace
from pathlib import Path
from typing import Any

from kit import toml_file
from kit.answers.show import MINE, PLACES, Show
from kit.errors import InputError
from kit.fields import Number, OneOf, specs
from kit.files import fingerprint
from kit.toml_file import Reader, Record

VERSION = Number(label="version of the file", low=1, high=1, whole=True)


def settings_file(show: Show, panel: str) -> Path:
    """Return the file of a panel's settings: beside the show file; for the invented show in the current folder."""
    path = Path(os.path.abspath(show.path or MINE))
    folder = Path() if path.parent.parent in PLACES else path.parent
    return (folder / f"{path.stem}.{panel}.toml").absolute()


def save_settings(file: Path, choice: Any, panel: str, seen: str) -> str:
    """Write a choice, whole or not at all; return its `fingerprint`. Another window's file, not as `seen`, stays."""
    if fingerprint(file) != seen:
        right = "to be as this page last saw it. Save once more to replace it"
        raise InputError(f"settings file {file.name!r}", "changed meanwhile by another page", right)
    told = {name: getattr(choice, name) for name in specs(choice) if getattr(choice, name) is not None}
    text = toml_file.table("", {"version": 1, "panel": panel}) + toml_file.table("\n[choice]", told)
    toml_file.write_text("settings file", file, text)
    return fingerprint(file)


def load_settings(file: Path, start: Any, panel: str) -> tuple[Any, tuple[str, ...]]:
    """Return `start` as the file changes it, and what of the file could not be used, a phrase each."""
    fields = {name: spec.but(optional=True) for name, spec in specs(start).items()}
    form = {"version": VERSION, "panel": OneOf(label="panel", options=(panel,)), "choice": Record(fields=fields)}
    reader = Reader(file.name, form)
    try:
        content = reader.parse(toml_file.read_text("settings file", file))
        values = reader.record(form, content) if content is not None else {}
        found = {"wall": None} | values["choice"] if {*form} <= values.keys() else {}
        return replace(start, **found), tuple(map(str, reader.mistakes))
    except InputError as error:
        return start, (*map(str, reader.mistakes), str(error))
