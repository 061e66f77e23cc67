import os
from fractions import Fraction
from functools import lru_cache, partial

# Two processes or more share the cores already: threads of a matrix product would wait for each other, busily.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from hypothesis import settings

import kit
from kit.answers import cloths, scenes
from kit.blocks import Memory
from kit.decision import evening, washout
from kit.stage import audience, content

# Files that take longest, the longest first: one that is begun last keeps all workers waiting. The rest as they come.
SLOW = (
    "test_browser.py", "test_pages.py", "test_every_front.py", "test_settings.py", "test_evening_panel.py",
    "test_panel.py", "test_own_house.py", "test_make_panel.py", "test_stand_panel.py", "test_evening.py", "test_fit.py",
    "test_many.py", "test_words.py", "test_cloth_panel.py", "test_sheet.py", "test_traps.py", "test_light_map.py",
    "test_files.py", "test_housing_panel.py", "test_api.py", "test_wheel.py",
)  # fmt: skip


def pytest_collection_modifyitems(items):
    """Put slow files first, which `--no-loadscope-reorder` keeps there."""
    rank = {name: i for i, name in enumerate(SLOW)}
    items.sort(key=lambda item: rank.get(item.path.name, len(SLOW)))


# The same examples on every machine: a failure here is a failure everywhere.
settings.register_profile("kit", deadline=None, derandomize=True, max_examples=60)
settings.load_profile("kit")


@pytest.fixture(scope="session")
def wall():
    """Builder of a front that is one rectangle in the plane z = 0, centred on x = 0, from y = 0 up."""

    def build(width=8.0, height=5.0, *, reflectance=0.5, low=None, high=None, gain=None):
        surface = kit.Surface(name="plain", reflectance=reflectance, low=low, high=high, gain=gain)
        half = width / 2
        outline = [(-half, 0), (half, 0), (half, height), (-half, height)]
        return kit.Facade([kit.Patch("wall", outline, surface)], name="flat wall")

    return build


@pytest.fixture(scope="session")
def straight():
    """Builder of a projector that looks straight at the plane z = 0 and makes a picture of given size.

    The picture's centre is at (x, y); the lens is 8 m away.
    """

    def build(width=8.0, height=5.0, *, lumens=4000.0, x=0.0, y=None, **more):
        middle = height / 2 if y is None else y
        aspect = Fraction(width / height).limit_denominator(1000)
        resolution = (aspect.numerator, aspect.denominator)
        projector = kit.Projector(light_output=lumens, throw_ratio=8.0 / width, resolution=resolution, **more)
        return projector, kit.Placement(position=(x, middle, 8.0), aim=(x, middle, 0.0))

    return build


@lru_cache(maxsize=12)
def board(kind, *given, **more):
    """A board for one front and one unit, built once: most of a new panel's time goes into its axes and scales."""
    return kind(*given, **more)


@pytest.fixture
def few_draws(monkeypatch):
    """Answers of pages from a few draws: for tests of what a page shows, not of how sure it is.

    Ask for it before the page is made. Panels of one front share their boards.
    """
    from sliders import panels

    for room in (scenes, cloths, washout):
        monkeypatch.setattr(room, "DRAWS", 32)
    monkeypatch.setattr(audience, "judged_front", partial(audience.judged_front, draws=32))
    monkeypatch.setattr(content, "judge", partial(content.judge, draws=32))
    monkeypatch.setattr(evening, "_recent", Memory(keep=evening._recent.keep, most=evening._recent.most))
    for kind in ("MapBoard", "NightBoard"):
        monkeypatch.setattr(panels, kind, partial(board, getattr(panels, kind)))
