"""The sample photos: small, marked as invented, of no place; and what is read of them, against the truth."""

import json
import math

import numpy as np
import photo_renderer as renderer
import pytest
from PIL import ExifTags, Image

import kit

PHOTOS = sorted(renderer.PHOTOS.glob("*.jpg"))


def spots(name):
    parts = kit.Marks.load(renderer.PHOTOS / f"{name}.json").parts
    found = {part.name: part.corners for part in parts}
    return found["wall"], [corners for name, corners in found.items() if name != "wall"]


def photo(name):
    return kit.load_photo(renderer.PHOTOS / f"{name}.jpg")


@pytest.mark.parametrize("path", PHOTOS, ids=lambda path: path.stem)
def test_a_sample_is_small_says_that_it_is_invented_and_names_no_place(path):
    assert path.stat().st_size < 150_000
    with Image.open(path) as image:
        exif = image.getexif()
        assert exif[ExifTags.Base.ImageDescription] == renderer.ABOUT
        assert not exif.get_ifd(ExifTags.IFD.GPSInfo)
    assert photo(path.stem).exposure


def test_the_outline_comes_out_within_2_cm_on_a_front_of_12_m():
    wall = kit.fit_wall(kit.Marks.load(renderer.PHOTOS / "front.json"))
    truth = kit.load_house(renderer.PHOTOS / "truth.toml")
    for part in wall.marks.parts:
        true = np.array(truth.patch(part.name).outline)
        assert np.abs(wall.places(part.corners, part.depth) - true).max() < 0.02, part.name
    surface = kit.Surface(name="our brick", reflectance=0.19, kind="brick")
    house = wall.house("by photo", (surface,))
    assert house.bounds == pytest.approx(truth.bounds, abs=0.02)


def reflectance():
    return kit.read_reflectance(photo("paper"), *spots("paper"), name="our brick", kind="brick")


def test_the_reflectance_comes_out_within_a_tenth():
    found, true = reflectance(), renderer.truth()
    low, value, high = found.figures["reflectance of our brick"]
    assert value == pytest.approx(true, rel=0.10)
    assert low < true < high


def test_the_light_of_the_night_comes_out_within_a_third_of_a_stop():
    wall, _ = spots("paper")
    surface = kit.Surface(name="our brick", reflectance=renderer.truth(), kind="brick")
    found = kit.read_ambient(photo("night"), surface, wall, without={"porch": photo("night_porch_off")}).figures
    for name, true in (
        ("light on the wall [lx]", renderer.STREET + renderer.PORCH),
        ("light without these lamps [lx]", renderer.STREET),
    ):
        low, value, high = found[name]
        assert abs(math.log2(value / true)) < 1 / 3, name
        assert low < true < high
    share = renderer.PORCH / (renderer.STREET + renderer.PORCH)
    assert found["share of porch"][1] == pytest.approx(share, abs=0.03)


def test_the_test_shot_says_what_arrives():
    _, sheets = spots("shot")
    given = {"lumens": renderer.STATED, "area": renderer.AREA, "distance": 5.0}
    found = kit.read_shot(photo("white"), photo("black"), sheets, reflectance().surface, **given).figures
    low, value, high = found["share of the stated lumens that arrives"]
    assert low < renderer.ARRIVING < high
    assert abs(math.log2(value / renderer.ARRIVING)) < 1 / 3
    white = renderer.STATED * renderer.ARRIVING / renderer.AREA
    assert found["black over white"][1] == pytest.approx((white * renderer.BLACK + 0.2) / (white + 0.2), rel=0.1)


def test_marks_of_the_sample_are_on_whole_pixels():
    """A person can do no better; so what is read of them is no better than that either."""
    known = json.loads((renderer.PHOTOS / "front.json").read_text())["known"]
    assert all(value == round(value) for point in known for value in point[:2])
