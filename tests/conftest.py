from fractions import Fraction

import pytest
from hypothesis import settings

import kit
from kit.answers import cloths, scenes
from kit.blocks import Memory
from kit.decision import evening, washout

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


@pytest.fixture
def few_draws(monkeypatch):
    """Answers of pages from a few draws: for tests of what a page shows, not of how sure it is.

    Ask for it before the page is made.
    """
    for room in (scenes, cloths, washout):
        monkeypatch.setattr(room, "DRAWS", 32)
    monkeypatch.setattr(evening, "_recent", Memory(keep=4, most=0))
