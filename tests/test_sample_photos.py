"""The sample photos: small, marked as invented, of no place; and what is read of them, against the truth."""

import json

import numpy as np
import photo_renderer as renderer
import pytest
from PIL import ExifTags, Image

import kit

PHOTOS = sorted(renderer.PHOTOS.glob("*.jpg"))


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


def test_marks_of_the_sample_are_on_whole_pixels():
    """A person can do no better; so what is read of them is no better than that either."""
    known = json.loads((renderer.PHOTOS / "front.json").read_text())["known"]
    assert all(value == round(value) for point in known for value in point[:2])
