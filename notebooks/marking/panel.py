"""The panel that marks the photo of a front, by mouse, keyboard or typed coordinates; marks are kept on the disk."""

import base64
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import anywidget
import cv2
import ipywidgets as widgets
import numpy as np
import traitlets

from kit.answers.show import Show, save_show
from kit.errors import InputError
from kit.fields import Is, Many, PathOf
from kit.measure.outline import Marks, fit_wall
from kit.measure.photo import load_photo
from kit.views import page
from kit.views.drawing import draw_house
from kit.wall.facade import Surface
from sliders.panel import for_visitors, styled


class Canvas(anywidget.AnyWidget):
    """The photo, and the marks in it as the text of their file."""

    _esm = Path(__file__).with_suffix(".js")
    photo, marks = traitlets.Unicode().tag(sync=True), traitlets.Unicode().tag(sync=True)


class MarkPanel:
    """Marks in a photo, each kept in a file beside it as soon as it is set, and the front that they make.

    Parameters
    ----------
    path : str or Path
        Of the photo; the marks of ``front.jpg`` are kept in ``front.json``, and their front in ``front.show.toml``.
    surfaces : sequence of Surface
        Of one's own, that parts may name.
    """

    def __init__(self, path: str | Path, surfaces: Sequence[Surface] = ()) -> None:
        self.surfaces = Many(of=Is(kind=Surface)).check("surfaces", surfaces)
        photo, self.file = load_photo(path), Path(PathOf().check("path", path)).absolute().with_suffix(".json")
        marks = Marks.load(self.file) if self.file.exists() else Marks(size=photo.size, focal=photo.focal)
        codes = np.rint(255.0 * photo.picture.rgb[..., ::-1] ** (1.0 / 2.2)).astype(np.uint8)
        data = base64.b64encode(cv2.imencode(".jpg", codes)[1].tobytes()).decode()
        self.canvas, self.told = Canvas(photo=f"data:image/jpeg;base64,{data}", marks=marks.text()), widgets.HTML()
        self.canvas.observe(self._changed, names="marks")
        self._changed(None)

    def _changed(self, change: Any) -> None:
        """Keep the marks, and say how far they make a front, or what is wrong: then the file stays as it was."""
        drawn, words, name = "", "", self.file.stem
        try:
            marks = Marks.parse(self.canvas.marks)
            keep = change and not for_visitors()
            if keep:
                marks.save(self.file)
            wall = fit_wall(marks)
            words = wall.sentence()
            house = wall.house(name, self.surfaces)
            drawn = page.show(draw_house(house), f"The front of {name}, as it is marked in its photo").data
            if keep:
                save_show(Show(house=house), self.file.with_suffix(".show.toml"), overwrite=True)
        except InputError as error:
            words = f"{words} {error}"
        self.told.value = f"<div role='status'>{page.paragraphs(words)}{drawn}</div>"

    def widget(self) -> widgets.VBox:
        """Return the photo with its controls, and what the marks say."""
        return styled([self.canvas, self.told])
