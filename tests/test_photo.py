"""Photos from files: light, turn, bits, exposure by EXIF, what is refused, and that no place is ever read."""

import dataclasses
import io
import sys

import cv2
import numpy as np
import pytest
from photo_renderer import GREY, encoded, exif, save
from PIL import ExifTags, Image

import kit
from kit import reference

SIZE = (120, 80)
WHOLE = [(0, 0), (120, 0), (120, 80), (0, 80)]


def flat(level=0.2, size=SIZE):
    """Codes of an even grey of this drive."""
    return encoded(np.full((*size[::-1], 3), level / GREY), 1.0, 1.0, 1.0, k=1.0)


@pytest.fixture
def photo(tmp_path):
    def build(codes=None, name="a.jpg", **tags):
        codes = flat() if codes is None else codes
        save(tmp_path / name, codes, exif(codes.shape[1::-1], **tags))
        return kit.load_photo(tmp_path / name)

    return build


def test_exposure_and_focal_length_come_from_the_file(photo):
    found = photo(f_number=1.8, time=1 / 30, speed=400, bias=-1.0)
    assert (found.exposure.f_number, found.exposure.speed, found.exposure.bias) == (1.8, 400.0, -1.0)
    assert found.exposure.time == pytest.approx(1 / 30)
    assert (found.focal, found.missing, found.size) == (26.0, "", SIZE)


@pytest.mark.published
def test_a_bright_day_is_what_the_exposure_relation_says():
    """F/16 at t = 1/S is 3200 cd/m2 with K = 12.5: ISO 2720 as restated in the documentation of colour-hdri."""
    assert kit.Exposure(f_number=16, time=1 / 125, speed=125).luminance == pytest.approx(3200.0, rel=1e-12)
    row = reference.row("photography", "meter constant")
    assert (row.low, row.value, row.high, row.status) == (10.6, 12.5, 13.4, "seen")


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("tags", "why"),
    [
        ({"ExposureTime": None}, "has no ExposureTime"),
        ({"FNumber": None, "ISOSpeedRatings": None}, "has no FNumber, ISOSpeedRatings"),
        ({"ExposureTime": 0.0}, "has no ExposureTime"),
        ({"ShutterSpeedValue": 3.0}, "contradicts itself (ShutterSpeedValue)"),
        ({"ApertureValue": 5.0}, "contradicts itself (ApertureValue)"),
        ({"ExifImageWidth": 4000}, "another size"),
        ({"DateTime": "2026:11:20 18:00:00"}, "changed later"),
        ({"Flash": 9}, "flash"),
    ],
)
def test_an_exposure_that_cannot_be_trusted_is_refused_with_its_reason(photo, tags, why):
    found = photo(**tags)
    assert found.exposure is None
    assert why in found.missing
    with pytest.raises(kit.InputError, match="exposure") as refused:
        kit.read_ambient(found, kit.Surface(name="wall", reflectance=0.5), WHOLE)
    assert why in str(refused.value)
    typed = dataclasses.replace(found, exposure=kit.Exposure(f_number=2, time=0.01, speed=100))
    assert kit.read_ambient(typed, kit.Surface(name="wall", reflectance=0.5), WHOLE).figures


def test_what_a_camera_sets_twice_and_what_is_no_change_is_taken(photo):
    assert photo(DateTime="2026:11:20 12:00:00", ShutterSpeedValue=6.64).exposure
    assert photo(ShutterSpeedValue=None, ApertureValue=None, Flash=None, DateTimeOriginal=None).exposure


def test_a_photo_without_exif_has_no_exposure_and_serves_all_the_same(tmp_path):
    save(tmp_path / "a.png", flat())
    found = kit.load_photo(tmp_path / "a.png")
    assert found.exposure is None
    assert found.spot("wall", WHOLE).mean() == pytest.approx(0.2, rel=0.01)


def test_where_a_photo_was_taken_is_never_read(tmp_path, monkeypatch):
    about = exif(SIZE)
    about.get_ifd(ExifTags.IFD.GPSInfo)[ExifTags.GPS.GPSLatitude] = (12.0, 34.0, 56.789)
    save(tmp_path / "a.jpg", flat(), about)
    with Image.open(tmp_path / "a.jpg") as image:
        assert image.getexif().get_ifd(ExifTags.IFD.GPSInfo)  # it is there
    asked, get = [], Image.Exif.get_ifd
    monkeypatch.setattr(Image.Exif, "get_ifd", lambda self, tag: asked.append(tag) or get(self, tag))
    found = kit.load_photo(tmp_path / "a.jpg")
    assert set(asked) == {ExifTags.IFD.Exif}
    assert "56.7" not in repr(found)


@pytest.mark.parametrize("turn", [1, 3, 6, 8])
def test_a_turned_photo_is_put_upright(tmp_path, turn):
    upright = flat()
    upright[:20, :30] = 90
    stored = np.rot90(upright, {1: 0, 3: 2, 6: 1, 8: 3}[turn])
    about = exif(stored.shape[1::-1], Orientation=turn)
    save(tmp_path / "a.jpg", np.ascontiguousarray(stored), about, quality=95)
    found = kit.load_photo(tmp_path / "a.jpg")
    assert found.size == SIZE
    assert found.exposure
    assert found.spot("corner", [(0, 0), (30, 0), (30, 20), (0, 20)]).mean() == pytest.approx(0.1022, rel=0.03)
    assert found.spot("rest", [(60, 40), (120, 40), (120, 80), (60, 80)]).mean() == pytest.approx(0.2, rel=0.03)


@pytest.mark.parametrize("name", ["a.png", "a.tif"])
def test_files_of_16_bits_are_read_as_srgb_or_as_linear(tmp_path, name):
    drive = np.linspace(0.05, 0.9, 120)[None, :, None] * np.array([1.0, 0.8, 0.6]) * np.ones((80, 1, 1))
    codes = encoded(drive / GREY, 1, 1, 1, k=1.0, bits=16)
    cv2.imwrite(str(tmp_path / name), codes[..., ::-1])
    np.testing.assert_allclose(kit.load_photo(tmp_path / name).picture.rgb, drive, atol=1e-4)
    cv2.imwrite(str(tmp_path / name), np.rint(drive[..., ::-1] * 65535).astype(np.uint16))
    found = kit.load_photo(tmp_path / name, linear=True)
    np.testing.assert_allclose(found.picture.rgb, drive, atol=1e-4)
    assert found.linear


def test_grey_files_are_read(tmp_path):
    Image.fromarray(flat()[..., 0]).save(tmp_path / "a.png")
    assert kit.load_photo(tmp_path / "a.png").spot("wall", WHOLE).mean() == pytest.approx(0.2, rel=0.01)
    cv2.imwrite(str(tmp_path / "b.tif"), np.full((80, 120), 20000, np.uint16))
    found = kit.load_photo(tmp_path / "b.tif", linear=True)
    assert found.spot("wall", WHOLE).mean() == pytest.approx(20000 / 65535, rel=1e-3)


def test_heic_is_read_with_its_extra_or_asks_for_it(tmp_path, monkeypatch):
    heif = pytest.importorskip("pillow_heif")
    image = Image.fromarray(flat())
    heif.from_pillow(image).save(tmp_path / "a.heic", quality=95, exif=exif(SIZE).tobytes())
    found = kit.load_photo(tmp_path / "a.heic")
    assert found.spot("wall", WHOLE).mean() == pytest.approx(0.2, rel=0.02)
    assert found.exposure.f_number == pytest.approx(1.8)
    monkeypatch.setitem(sys.modules, "pillow_heif", None)
    with pytest.raises(kit.InputError, match="pip install pillow-heif"):
        kit.load_photo(tmp_path / "a.heic")


@pytest.fixture
def negative(tmp_path):
    """A minimal DNG of an even grey sensor (Adobe DNG 1.4), 0.2 of its white level."""
    tifffile = pytest.importorskip("tifffile")
    extra = [
        (50706, "B", 4, (1, 4, 0, 0), True), (50708, "s", 0, "Invented", True),
        (33421, "H", 2, (2, 2), True), (33422, "B", 4, (0, 1, 1, 2), True),
        (50717, "H", 1, 65535, True), (50714, "H", 1, 0, True), (50778, "H", 1, 21, True),
        (50721, "2i", 9, (1, 1, 0, 1, 0, 1, 0, 1, 1, 1, 0, 1, 0, 1, 0, 1, 1, 1), True),
        (50728, "2I", 3, (1, 1, 1, 1, 1, 1), True),
    ]  # fmt: skip
    cells = np.full((160, 240), round(0.2 * 65535), np.uint16)
    tifffile.imwrite(tmp_path / "a.dng", cells, photometric=32803, extratags=extra)
    return tmp_path / "a.dng"


def test_a_raw_file_is_read_with_its_extra_or_asks_for_it(negative, monkeypatch):
    pytest.importorskip("rawpy")
    found = kit.load_photo(negative)
    assert found.size == SIZE
    assert found.linear
    assert np.ptp(found.spot("wall", WHOLE).mean(axis=1)) < 0.01
    assert "raw" in found.missing
    monkeypatch.setitem(sys.modules, "rawpy", None)
    with pytest.raises(kit.InputError, match="pip install rawpy"):
        kit.load_photo(negative)


@pytest.mark.bad_input
@pytest.mark.parametrize("name", ["a.jpg", "a.dng", "a.heic"])
@pytest.mark.parametrize("data", [b"", b"no photo at all", b"\0\0\0\x18ftypheic" + 40 * b"\0", 100 * b"II*\0"])
def test_what_is_no_photo_is_one_error(tmp_path, name, data):
    (tmp_path / name).write_bytes(data)
    with pytest.raises(kit.InputError, match="JPEG"):
        kit.load_photo(tmp_path / name)


@pytest.mark.bad_input
def test_a_truncated_photo_is_refused(tmp_path):
    buffer = io.BytesIO()
    noise = np.random.default_rng(1).integers(0, 255, (80, 120, 3)).astype(np.uint8)
    Image.fromarray(noise).save(buffer, "JPEG", exif=exif(SIZE))
    for share in (0.3, 0.6, 0.95):
        (tmp_path / "a.jpg").write_bytes(buffer.getvalue()[: int(share * buffer.tell())])
        with pytest.raises(kit.InputError, match=r"truncated|damaged|no photo"):
            kit.load_photo(tmp_path / "a.jpg")


@pytest.mark.bad_input
def test_a_photo_of_200_megapixels_is_refused_before_it_is_decoded(tmp_path, monkeypatch):
    Image.new("1", (20_000, 10_000)).save(tmp_path / "a.png")
    monkeypatch.setattr(Image.Image, "load", lambda self: pytest.fail("decoded"))
    with pytest.raises(kit.InputError, match="110 megapixels as JPEG or HEIC, 34"):
        kit.load_photo(tmp_path / "a.png")


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("level", "corners", "said"),
    [
        (0.98, WHOLE, "clipped"),
        (0.001, WHOLE, "black"),
        (0.2, [(0, 0), (130, 0), (130, 80)], "within the photo's 120 x 80"),
        (0.2, [(10, 10), (13, 10), (13, 13)], "16 pixels and more"),
        (0.2, [(10, 10), (90, 70)], "at least 3"),
    ],
)
def test_a_place_that_says_nothing_is_refused(photo, level, corners, said):
    with pytest.raises(kit.InputError, match=said):
        photo(flat(level)).spot("wall", corners)


def test_the_edges_of_a_place_are_left_out(photo):
    codes = flat()
    codes[:, :5], codes[:, -5:] = 255, 0
    assert photo(codes, "a.png").spot("wall", WHOLE).mean() == pytest.approx(0.2, rel=0.01)


def test_places_are_told_in_the_pixels_of_the_file_where_a_smaller_picture_is_kept(photo, monkeypatch):
    monkeypatch.setattr("kit.eye.picture_file.MOST_KEPT", 120 * 80 // 4)
    codes = flat()
    codes[40:, :] = 60
    found = photo(codes)
    assert (found.size, found.picture.width) == (SIZE, 60)
    assert found.spot("wall", [(0, 0), (120, 0), (120, 36), (0, 36)]).mean() == pytest.approx(0.2, rel=0.02)


def test_a_large_jpeg_is_decoded_at_half_its_size_and_places_are_told_in_its_own_pixels(photo, monkeypatch):
    codes = flat()
    codes[40:, :] = 60
    whole = photo(codes)
    monkeypatch.setattr("kit.measure.photo.MOST_PIXELS", 120 * 80 - 1)
    found = photo(codes)
    assert (found.size, found.picture.width, found.exposure) == (SIZE, 60, whole.exposure)
    place = [(0, 0), (120, 0), (120, 36), (0, 36)]
    assert found.spot("wall", place).mean() == pytest.approx(whole.spot("wall", place).mean(), rel=0.005)


@pytest.mark.bad_input
def test_a_large_jpeg_closed_early_is_refused(photo, tmp_path, monkeypatch):
    photo(np.random.default_rng(5).integers(0, 255, (80, 120, 3)).astype(np.uint8))
    monkeypatch.setattr("kit.measure.photo.MOST_PIXELS", 120 * 80 - 1)
    (file,) = tmp_path.glob("*.jp*g")
    data = file.read_bytes()
    file.write_bytes(data[: len(data) * 2 // 3] + b"\xff\xd9")
    with pytest.raises(kit.InputError, match="without all of its rows"):
        kit.load_photo(file)


def test_private_tags_of_a_camera_are_passed_over_in_silence(tmp_path, capfd):
    tifffile = pytest.importorskip("tifffile")
    codes = np.full((80, 120, 3), 20_000, np.uint16)
    tifffile.imwrite(tmp_path / "a.tif", codes, photometric="rgb", extratags=[(65_000, "s", 0, "made up", True)])
    assert kit.load_photo(tmp_path / "a.tif", linear=True).size == (120, 80)
    assert capfd.readouterr() == ("", "")
