"""What the tests of the panels share: the page as it stands, and choices at the ends of each control."""

import base64
import io
import re
from dataclasses import replace

import numpy as np
from PIL import Image

WALLS = ("main wall", "bay")
IMAGE = re.compile(r'<img class="kit-picture" alt="([^"]+)" .*src="data:image/png;base64,([^"]+)">')


def png(panel, name="picture"):
    """The bytes of a picture that a panel shows."""
    return base64.b64decode(IMAGE.fullmatch(panel.parts[name].value)[2])


def alternative(panel, name="picture"):
    """The text of a picture for those who cannot see it."""
    return IMAGE.fullmatch(panel.parts[name].value)[1]


def decoded(data):
    """A picture as an array, shape (y, x, 3)."""
    with Image.open(io.BytesIO(data)) as picture:
        return np.asarray(picture.convert("RGB"))


def text(panel):
    """All words and figures that a panel shows."""
    return " ".join(re.sub(r"<[^>]+>|base64,[^\"]+", " ", part.value) for part in panel.parts.values())


def ends(panel, most=99):
    """The panel's first choice with each control in turn at each end, or at each option of menus up to `most` long."""
    tried = {}
    for name, spec in panel.fields.items():
        values = spec.ends()
        tried[name] = values if len(values) <= most else (values[0], values[-1])
    return [
        (f"{name} = {value}", replace(panel.start, **{name: value}))
        for name, values in tried.items()
        for value in values
        if value != getattr(panel.start, name)
    ]


def shows(panel, label, choice):
    """Show a choice, and hold the page to what every page shows."""
    for name in panel.pictures:
        panel.parts[name].value = ""
    panel.show(choice)
    assert panel.parts["message"].value == "", label
    for name in panel.pictures:
        assert decoded(png(panel, name)).std() > 1.0, label
        assert len(alternative(panel, name).split()) > 8, label
    assert not re.search(r"\b(nan|NaN|inf|None|NaT)\b", text(panel)), label
