"""What the tests of the panels share: shows, the page as it stands, and choices at the ends of each control."""

import base64
import io
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
from PIL import Image

import kit

ROOT = Path(__file__).parents[1]
HOUSES = ROOT / "notebooks" / "houses"
# Every front that the kit is tried on: with all that is said around it, or with nothing said.
FRONTS = [
    *(HOUSES / f"{name}.toml" for name in ("demo_show", "brick_two_storey", "light_bungalow")),
    *sorted((ROOT / "tests" / "shows").glob("*.toml")),
]
IMAGE = re.compile(r'<img class="kit-picture" alt="([^"]+)" .*src="data:image/png;base64,([^"]+)">')


def demo():
    """The show that the pages start with."""
    return kit.open_show(HOUSES / "demo_show.toml")


def without_returns(show):
    """Return a show with those parts of its front alone that look straight ahead: no walls face each other."""
    straight = tuple(patch for patch in show.house.patches if patch.normal[2] == 1.0)
    return replace(show, house=replace(show.house, patches=straight))


def as_first_written():
    """The demo show with the machines, the light and the lamps for which the figures of the pages were first written.

    The lens stands 1 ft above the ground, and the picture's lower edge is level with it.
    """
    show, (left, right) = demo(), (-6.096, 6.096)
    lens = {"throw_ratio": 0.8, "lens_shift": (0.0, 0.5)}
    lamps = (
        kit.ShowLamp(name="street lamp", kind="street lamp", position=(left - 1.0, 6.0, 11.0)),
        kit.ShowLamp(name="porch light", kind="porch light", position=(-1.62024, 2.1, 0.15)),
    )
    (string,) = show.strings
    return replace(
        show,
        ambient=0.861,
        distance=39.5 * 0.3048,
        machines=tuple(kit.Machine(name=f"{lumens:,} lm", lumens=lumens, **lens) for lumens in (4000, 8000)),
        lamps=(*lamps, show.lamps[-1]),
        strings=(replace(string, path=((left, 5.7912, 0.15), (right, 5.7912, 0.15))),),
        viewers=(kit.Viewer(name="on the walk", eye=(2.0, 1.6, 15.7)), *show.viewers[1:]),
        longitude=-88.0,
        district="a floodlit wall in a dark district",
        purpose="a picture that can be followed",
    )


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
    """The panel's first choice with each control in turn at each end, or at each option of a menu, `most` at most.

    A longer menu holds one kind of thing: so many of its options, evenly spread, stand for all.
    """
    start, tried = panel.values(panel.start), []
    for name, spec in panel.fields.items():
        values = spec.ends()
        for value in values[:: max(1, len(values) // most)]:
            if value != start[name]:
                tried.append((f"{name} = {value}", panel.made(start | {name: value})))
    return tried


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
