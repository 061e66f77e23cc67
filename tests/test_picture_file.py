import io
import math
import os
import re
import struct
import zlib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from PIL import Image, ImageCms
from test_traps import cost

import kit
from kit.errors import InputError
from kit.eye import picture_file
from kit.eye.picture_file import FORMATS, MOST_PIXELS, Picture, load_picture

EXIF_ORIENTATION = 0x0112
RAMP = np.arange(256, dtype=np.uint8).reshape(16, 16)
COLOURS = np.random.default_rng(1).integers(0, 256, (12, 20, 3), dtype=np.uint8)


def srgb_light(code):
    """IEC 61966-2-1 written out, apart from the library that the kit uses."""
    code = np.asarray(code, float)
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


def chunk(name, data):
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def png(kind, depth, width, height, rows, *chunks):
    """A PNG written by hand: what Pillow does not write, or what no picture should be."""
    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, depth, kind, 0, 0, 0))
    body = chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + head + b"".join(chunks) + body


def s15(*values):
    return b"XYZ \0\0\0\0" + b"".join(struct.pack(">i", round(v * 65536)) for v in values)


# Colorants of sRGB under D50 (ICC sRGB profile, v4 appearance data; Bradford).
RED, GREEN, BLUE = (0.4360, 0.2225, 0.0139), (0.3851, 0.7169, 0.0971), (0.1431, 0.0606, 0.7141)


def icc(gamma, *, space=b"RGB ", primaries=(RED, GREEN, BLUE)):
    """A minimal ICC profile, version 2: three colorants or none, and one exponent."""
    curve = b"curv\0\0\0\0" + struct.pack(">IH", 1, round(gamma * 256))
    tags = {b"wtpt": s15(0.9642, 1.0, 0.8249), b"cprt": b"text\0\0\0\0none\0"}
    tags[b"desc"] = b"desc\0\0\0\0" + struct.pack(">I", 5) + b"test\0" + bytes(78)
    if space == b"RGB ":
        tags |= {c + b"XYZ": s15(*xyz) for c, xyz in zip((b"r", b"g", b"b"), primaries, strict=True)}
        tags |= {c + b"TRC": curve for c in (b"r", b"g", b"b")}
    else:
        tags[b"kTRC"] = curve
    table, body = b"", b""
    start = 128 + 4 + 12 * len(tags)
    for name, data in tags.items():
        table += name + struct.pack(">II", start + len(body), len(data))
        body += data + bytes(-len(data) % 4)
    head = struct.pack(">I4sI4s4s4s", start + len(body), b"none", 0x02100000, b"mntr", space, b"XYZ ")
    head += struct.pack(">6H", 2026, 11, 25, 0, 0, 0) + b"acsp" + bytes(28) + s15(0.9642, 1.0, 0.8249)[8:]
    return head + bytes(128 - len(head)) + struct.pack(">I", len(tags)) + table + body


@pytest.fixture
def file(tmp_path):
    """Write an image, an array or bytes to a file and return its path."""

    def write(content, name="picture.png", **options):
        path = tmp_path / name
        if isinstance(content, bytes):
            path.write_bytes(content)
        else:
            image = content if isinstance(content, Image.Image) else Image.fromarray(content)
            image.save(path, **options)
        return path

    return write


def refused(path, *words, **options):
    with pytest.raises(InputError) as caught:
        load_picture(path, **options)
    message = str(caught.value)
    # A message keeps the beginning of a name of thousands of letters.
    for word in (f"picture {path.name!r}"[:60], "expected", *words):
        assert word in message, message
    return message


# What light a code value means


@pytest.mark.published
def test_the_published_code_value_of_middle_grey_is_decoded(file):
    # IEC 61966-2-1: 0.4613561 encodes 0.18. As 16-bit grey the code is 30235 (0.461357), within half a step;
    # the slope there is 0.8, so half a step is 0.6e-5.
    path = file(np.full((2, 3), round(0.4613561 * 65535), np.uint16))
    np.testing.assert_allclose(load_picture(path).rgb, 0.18, atol=0.6e-5)


@pytest.mark.published
@pytest.mark.parametrize("name", ["ramp.png", "ramp.tif", "ramp.bmp", "ramp.gif", "ramp.webp"])
def test_every_8_bit_code_is_decoded_by_iec_61966_2_1(file, name):
    options = {"lossless": True} if name.endswith("webp") else {}
    picture = load_picture(file(RAMP, name, **options))
    assert (picture.name, picture.width, picture.height) == (name, 16, 16)
    # Tolerance: float32.
    np.testing.assert_allclose(picture.rgb, np.repeat(srgb_light(RAMP / 255)[..., None], 3, axis=-1), rtol=2e-7)


@pytest.mark.analytic
@pytest.mark.parametrize("name", ["c.png", "c.tif", "c.bmp", "c.webp"])
def test_colours_come_in_order(file, name):
    options = {"lossless": True} if name.endswith("webp") else {}
    picture = load_picture(file(COLOURS, name, **options))
    np.testing.assert_allclose(picture.rgb, srgb_light(COLOURS / 255), rtol=2e-7)
    assert (picture.width, picture.height) == (20, 12)


@pytest.mark.analytic
def test_a_jpeg_is_decoded_within_its_own_loss(file):
    flat = np.full((32, 48, 3), (200, 100, 50), np.uint8)
    picture = load_picture(file(flat, "flat.jpg", quality=95))
    # A flat JPEG comes back within 2 codes: luma and chroma are whole numbers.
    low, high = srgb_light((flat - 2.0) / 255), srgb_light((flat + 2.0) / 255)
    assert np.all((picture.rgb >= low) & (picture.rgb <= high))


@pytest.mark.analytic
@pytest.mark.parametrize("name", ["deep.png", "deep.tif", "lzw.tif", "big.tif"])
def test_16_bit_grey_keeps_its_16_bits(file, name):
    codes = np.array([[0, 1, 255, 256, 30235], [40000, 40001, 65279, 65534, 65535]], np.uint16)
    options = {"compression": "tiff_lzw"} if name == "lzw.tif" else {}
    picture = load_picture(file(codes.astype(">u2") if name == "big.tif" else codes, name, **options))
    np.testing.assert_allclose(picture.rgb[..., 1], srgb_light(codes / 65535), rtol=2e-7)
    assert len(np.unique(picture.rgb)) == codes.size


@pytest.mark.analytic
def test_black_and_white_palette_and_low_depth_grey(file):
    bits = np.array([[True, False, True]])
    np.testing.assert_array_equal(load_picture(file(bits)).rgb[0, :, 0], [1, 0, 1])
    palette = Image.fromarray(COLOURS).quantize(16)
    codes = np.asarray(palette.convert("RGB"))
    for name in ("p.png", "p.gif"):
        np.testing.assert_allclose(load_picture(file(palette, name)).rgb, srgb_light(codes / 255), rtol=2e-7)
    two_bits = file(png(0, 2, 4, 1, b"\0\x1b"), "two.png")
    np.testing.assert_allclose(load_picture(two_bits).rgb[0, :, 2], srgb_light(np.arange(4) / 3), rtol=2e-7)


@pytest.mark.bad_input
def test_16_bit_colour_is_refused_since_it_would_be_cut(file):
    value = struct.pack(">H", 40000)
    for kind, channels in ((2, 3), (4, 2), (6, 4)):
        refused(file(png(kind, 16, 1, 1, b"\0" + value * channels)), "16 bits", "8-bit RGB")


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("bits", "photometric"),
    [(16, 0), (12, 1)],  # white at 0; 12 bits that would be read as 16
)
def test_a_grey_tiff_that_would_be_read_wrongly_is_refused(file, bits, photometric):
    tags = {256: 2, 257: 1, 258: bits, 259: 1, 262: photometric, 273: 0, 277: 1, 278: 1, 279: 4 if bits == 16 else 3}
    tags[273] = 8 + 2 + 12 * len(tags) + 4
    entries = b"".join(struct.pack("<HHII", tag, 4, 1, value) for tag, value in tags.items())
    body = b"II*\0" + struct.pack("<IH", 8, len(tags)) + entries + bytes(4) + bytes(4)
    refused(file(body, "deep.tif"), "grey TIFF", "black at 0")


# Orientation


@pytest.mark.published
@pytest.mark.parametrize("name", ["o.jpg", "o.png", "o.webp", "o.tif"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_all_eight_orientations_come_out_upright(file, orientation, name):
    # EXIF 2.3 (CIPA DC-008), tag 274: where row 0 and column 0 of the stored picture are to be seen.
    upright = np.zeros((16, 32, 3), np.uint8)
    upright[:8, :16] = 255, 0, 0  # red at the top left
    upright[:8, 16:] = 0, 255, 0
    upright[8:, :16] = 0, 0, 255
    stored = {
        1: upright,
        2: upright[:, ::-1],
        3: upright[::-1, ::-1],
        4: upright[::-1],
        5: upright.swapaxes(0, 1),
        6: np.rot90(upright, 1),  # shown after a quarter turn clockwise
        7: upright[::-1, ::-1].swapaxes(0, 1),
        8: np.rot90(upright, -1),
    }[orientation]
    exif = Image.Exif()
    exif[EXIF_ORIENTATION] = orientation
    options = {"o.jpg": {"quality": 100, "subsampling": 0}, "o.webp": {"lossless": True}}.get(name, {})
    picture = load_picture(file(np.ascontiguousarray(stored), name, exif=exif, **options))
    assert picture.rgb.shape == upright.shape
    # JPEG's rounding only; the colours are 1 apart.
    np.testing.assert_allclose(picture.rgb, upright / 255, atol=0.02)


# Colour profiles


@pytest.mark.analytic
def test_an_srgb_profile_changes_nothing(file):
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    for content in (COLOURS, RAMP, RAMP.astype(np.uint16) * 257):
        plain, tagged = load_picture(file(content)), load_picture(file(content, "tagged.png", icc_profile=profile))
        np.testing.assert_array_equal(tagged.rgb, plain.rgb)


@pytest.mark.analytic
@pytest.mark.parametrize("gamma", [1.0, 1.8, 2.5])
@pytest.mark.parametrize("space", [b"RGB ", b"GRAY"])
def test_a_profile_with_another_exponent_is_converted(file, gamma, space):
    codes = RAMP if space == b"GRAY" else np.repeat(RAMP[..., None], 3, axis=-1)
    picture = load_picture(file(codes, icc_profile=icc(gamma, space=space)))
    light = (np.repeat(RAMP[..., None], 3, axis=-1) / 255.0) ** gamma
    back = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    # The conversion ends at 8 bits: half a code, and a tenth for the profile's own 16-bit numbers.
    low, high = (srgb_light(np.clip(back + step, 0, 1)) for step in (-0.6 / 255, 0.6 / 255))
    assert np.all((picture.rgb >= low - 1e-6) & (picture.rgb <= high + 1e-6))


@pytest.mark.analytic
def test_the_primaries_of_a_profile_count(file):
    profile = icc(2.2, primaries=(GREEN, RED, BLUE))  # its "red" is sRGB's green
    red = np.zeros((2, 2, 3), np.uint8)
    red[..., 0] = 255
    for name in ("swap.png", "swap.jpg", "swap.webp", "swap.tif"):
        r, g, b = load_picture(file(red, name, icc_profile=profile)).rgb[0, 0]
        # JPEG's loss and the profile's rounding are a few codes near 0 and 255.
        assert g > 0.97, name
        assert max(r, b) < 0.02, name


@pytest.mark.analytic
def test_a_grey_file_with_an_rgb_profile_is_converted_as_three_equal_channels(file):
    picture = load_picture(file(RAMP, icc_profile=icc(1.0)))
    colour = load_picture(file(np.repeat(RAMP[..., None], 3, axis=-1), icc_profile=icc(1.0)))
    np.testing.assert_array_equal(picture.rgb, colour.rgb)
    assert picture.rgb[8, 0, 0] == pytest.approx(128 / 255, abs=0.01)  # linear: the code is the light


@pytest.mark.bad_input
def test_profiles_that_cannot_be_converted_are_refused(file):
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    refused(file(COLOURS, icc_profile=lab), "colour profile for Lab", "save it")
    refused(file(COLOURS, icc_profile=b"no profile at all"), "broken colour profile", "save it")
    refused(file(COLOURS, icc_profile=icc(2.2, space=b"GRAY")), "colour profile for GRAY")
    refused(file(RAMP.astype(np.uint16), icc_profile=icc(1.8)), "16-bit grey", "without a profile")
    refused(file(COLOURS, icc_profile=icc(2.2)[:200]), "profile")


@pytest.mark.published
def test_a_png_says_by_its_gamma_whether_it_is_srgb(file):
    # PNG specification, third edition: gAMA in units of 1/100000; sRGB is 45455; sRGB, iCCP and cICP precede it.
    row = b"\0" + bytes(range(4))
    gamma = {value: chunk(b"gAMA", struct.pack(">I", value)) for value in (45455, 100000, 55556)}
    plain = load_picture(file(png(0, 8, 4, 1, row))).rgb
    for chunks in ([gamma[45455]], [chunk(b"sRGB", b"\0"), gamma[100000]], [chunk(b"cICP", bytes([1, 13, 0, 1]))]):
        np.testing.assert_array_equal(load_picture(file(png(0, 8, 4, 1, row, *chunks))).rgb, plain)
    for value in (100000, 55556):
        refused(file(png(0, 8, 4, 1, row, gamma[value])), "gamma", "sRGB")
    refused(file(png(0, 8, 4, 1, row, chunk(b"cICP", bytes([9, 16, 0, 1])))), "cICP", "sRGB")


@pytest.mark.bad_input
@pytest.mark.parametrize("name", ["print.jpg", "print.tif"])
def test_cmyk_is_refused_with_the_remedy(file, name):
    refused(file(Image.fromarray(COLOURS).convert("CMYK"), name), "CMYK", "save it as RGB")


@pytest.mark.bad_input
@pytest.mark.parametrize("dtype", [np.float32, np.int32])
def test_numbers_of_unknown_scale_are_refused(file, dtype):
    refused(file(np.ones((2, 2), dtype), "data.tif"), "mode", "8-bit RGB")


# Transparency


def with_alpha(mode, alpha):
    image = Image.fromarray(COLOURS).convert("RGB" if mode == "RGBA" else "L")
    image.putalpha(Image.fromarray(np.asarray(alpha, np.uint8)))
    assert image.mode == mode
    return image


@pytest.mark.analytic
@pytest.mark.parametrize("mode", ["RGBA", "LA"])
def test_an_opaque_alpha_channel_is_no_matter(file, mode):
    image = with_alpha(mode, np.full((12, 20), 255))
    plain = load_picture(file(image.convert(mode.removesuffix("A")), "plain.png")).rgb
    for options in ({}, {"transparent": "black"}):
        np.testing.assert_array_equal(load_picture(file(image), **options).rgb, plain)


@pytest.mark.analytic
@pytest.mark.parametrize("mode", ["RGBA", "LA"])
def test_transparent_pixels_are_refused_or_sent_no_light(file, mode):
    alpha = np.full((12, 20), 255)
    alpha[0, 0], alpha[0, 1] = 0, 51
    path = file(with_alpha(mode, alpha))
    refused(path, "transparent in 0.83%", 'transparent="black"')
    picture = load_picture(path, transparent="black")
    plain = load_picture(file(with_alpha(mode, np.full((12, 20), 255)), "plain.png")).rgb
    np.testing.assert_allclose(picture.rgb, plain * (alpha / 255)[..., None], rtol=2e-7)
    assert not picture.rgb[0, 0].any()


@pytest.mark.analytic
def test_transparent_palette_and_key_colours_are_seen(file):
    palette = Image.fromarray(RAMP).convert("P")
    grey16 = png(0, 16, 2, 1, b"\0" + struct.pack(">HH", 40000, 65535), chunk(b"tRNS", struct.pack(">H", 40000)))
    paths = [
        file(palette, "p.png", transparency=200),
        file(palette, "p.gif", transparency=200),
        file(Image.fromarray(RAMP), "l.png", transparency=200),
        file(Image.fromarray(np.stack([RAMP] * 3, axis=-1)), "rgb.png", transparency=(200, 200, 200)),
        file(grey16, "deep.png"),
    ]
    for path in paths:
        refused(path, "transparent")
        picture = load_picture(path, transparent="black")
        at = (0, 0) if path.name == "deep.png" else (200 // 16, 200 % 16)
        assert not picture.rgb[at].any(), path.name
        assert picture.rgb[-1, -1] == pytest.approx(1.0), path.name
    two_bits = png(0, 2, 4, 1, b"\0\x1b", chunk(b"tRNS", struct.pack(">H", 1)))
    refused(file(two_bits, "two.png"), "2 or 4 bits", "8-bit RGB", transparent="black")


@pytest.mark.bad_input
def test_transparent_is_one_of_two_words(file):
    with pytest.raises(InputError, match=r"^transparent = 'white': expected one of refuse, black"):
        kit.load_picture(file(RAMP), transparent="white")


# What is no picture


@pytest.mark.bad_input
def test_no_file_a_folder_and_no_path(tmp_path, file):
    refused(tmp_path / "none.png", "no such file")
    refused(tmp_path, "a folder")
    os.mkfifo(tmp_path / "pipe.png")  # reading it would wait for ever
    refused(tmp_path / "pipe.png", "not a file")
    refused(tmp_path / "a\0b", "expected")
    refused(tmp_path / ("x" * 5000), "expected")
    for path in (None, 3, b"a.png", ""):
        with pytest.raises(InputError, match="path"):
            kit.load_picture(path)
    assert load_picture(str(file(RAMP))).width == 16  # a text is a path


@pytest.mark.bad_input
def test_other_files_are_refused(file):
    for name, content in {
        "empty.png": b"",
        "text.png": b"not a picture",
        "page.pdf": b"%PDF-1.7\n",
        "drawing.svg": b"<svg xmlns='http://www.w3.org/2000/svg'/>",
        "program.eps": b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 9 9\n%%EndComments\n",
    }.items():
        refused(file(content, name), "PNG, JPEG")
    refused(file(Image.fromarray(COLOURS), "other.ppm"), "PNG, JPEG")  # Pillow would read it
    assert "EPS" not in FORMATS


@pytest.mark.bad_input
@pytest.mark.parametrize("name", ["t.png", "t.jpg", "t.webp", "t.tif", "t.bmp", "t.gif"])
@pytest.mark.parametrize("kept", [0.3, 0.6, 0.9])
def test_a_truncated_file_is_refused(file, name, kept):
    noise = np.random.default_rng(2).integers(0, 256, (64, 64), dtype=np.uint8)
    whole = file(noise, name).read_bytes()
    refused(file(whole[: int(len(whole) * kept)], f"cut-{name}"), "picture")


@pytest.mark.bad_input
@pytest.mark.parametrize("more", [{}, {"progressive": True}, {"subsampling": 0}, {"restart_marker_blocks": 3}])
def test_a_jpeg_that_ends_before_its_rows_do_is_refused(file, more):
    """The decoder leaves the rest grey, or coarse, with a warning that Pillow keeps to itself."""
    noise = np.random.default_rng(2).integers(0, 256, (64, 80, 3), dtype=np.uint8)
    even = np.full((64, 80, 3), 128, np.uint8)
    for picture in (noise, even, noise[..., 0]):
        whole = file(picture, "whole.jpg", **more).read_bytes()
        begins = whole.index(b"\xff\xda") + 16
        # An even one's scans are so short that some of these are within a header, which Pillow refuses by itself.
        parts = () if picture is even and "progressive" in more else (0.2, 0.5, 0.9)
        ends = [begins + int(kept * (len(whole) - begins)) for kept in parts]
        ends += [found.start() for found in re.finditer(rb"\xff\xda", whole)][1:]
        for cut in (whole[:end] for end in ends):
            with Image.open(io.BytesIO(cut + b"\xff\xd9")) as image:
                image.load()  # without a word
            refused(file(cut + b"\xff\xd9", "cut.jpg"), "without all of its rows", "whole")
        for trailer in (b"", b"\0" * 99, b"what a telephone adds \xff\xd9"):
            assert load_picture(file(whole + trailer, "phone.jpg")).height == 64


@pytest.mark.bad_input
def test_a_gif_that_its_picture_does_not_fill_is_refused(file):
    data = bytearray(file(Image.fromarray(COLOURS).quantize(8), "whole.gif").read_bytes())
    assert load_picture(file(bytes(data), "same.gif")).height == 12
    data[6:10] = struct.pack("<HH", 65_535, 255)  # of 60 bytes, 17 million pixels
    refused(file(bytes(data), "small.gif"), "does not fill")


@pytest.mark.bad_input
def test_an_animation_and_several_pages_are_refused(file):
    frames = [Image.fromarray(np.roll(COLOURS, i, axis=1)) for i in range(3)]
    for name in ("a.gif", "a.png", "a.webp", "a.tif"):
        path = file(frames[0], name, save_all=True, append_images=frames[1:])
        refused(path, "several frames or pages", "one frame")
    one = file(frames[0].quantize(8), "one.gif", save_all=True)
    assert load_picture(one).height == 12


@pytest.mark.practice
def test_a_phone_jpeg_with_a_second_picture_shows_the_first(file):
    first, second = Image.new("RGB", (16, 16), "white"), Image.new("RGB", (16, 16), "black")
    path = file(first, "phone.jpg", format="MPO", save_all=True, append_images=[second])
    assert load_picture(path).rgb.min() == 1.0


# Larger than is kept, and less than is said


@pytest.mark.property
@pytest.mark.parametrize("mode", ["RGB", "L", "RGBA", "P", "1", "I;16"])
@pytest.mark.parametrize("size", [(37, 23), (23, 37), (130, 3)])
def test_of_a_large_picture_the_mean_light_of_each_area_is_kept(file, monkeypatch, mode, size):
    rng = np.random.default_rng(2)
    if mode == "I;16":
        image = Image.fromarray(rng.integers(0, 65536, size[::-1], dtype=np.uint16))
    else:
        image = Image.fromarray(rng.integers(0, 256, (*size[::-1], 4), dtype=np.uint8), "RGBA").convert(mode)
    path = file(image, f"large-{size[0]}.png")
    whole = load_picture(path, transparent="black")
    assert (whole.width, whole.height) == size
    for rows in (1, 5, 1000):
        monkeypatch.setattr(picture_file, "MOST_KEPT", 200)
        monkeypatch.setattr(picture_file, "ROWS", rows)
        kept = load_picture(path, transparent="black")
        assert kept.width * kept.height <= 200
        assert kept.width / kept.height == pytest.approx(size[0] / size[1], rel=0.2) or min(size) == 3
        np.testing.assert_allclose(kept.rgb, whole.resized(kept.width, kept.height).rgb, atol=1e-6)


def test_a_large_picture_is_turned_as_it_says(file, monkeypatch):
    exif = Image.Exif()
    exif[EXIF_ORIENTATION] = 6
    path = file(COLOURS, "turned.png", exif=exif)
    whole = load_picture(path)
    monkeypatch.setattr(picture_file, "MOST_KEPT", 60)
    kept = load_picture(path)
    assert kept.height > kept.width
    np.testing.assert_allclose(kept.rgb, whole.resized(kept.width, kept.height).rgb, atol=1e-6)


@pytest.mark.bad_input
@pytest.mark.skipif(not hasattr(os, "fork"), reason="measures forked processes")
def test_the_largest_picture_takes_no_more_memory_than_is_said(file):
    """An even picture: 100 kB that become 34 million pixels; and one of 160 bytes that says so, and has no rows."""
    columns, rows = 5000, MOST_PIXELS // 5000
    path = file(png(6, 8, columns, rows, bytes((4 * columns + 1) * rows)), "even.png")
    assert path.stat().st_size < 200_000
    load_picture(file(RAMP))
    said, whole, grown = cost(lambda: load_picture(path, transparent="black").rgb.shape)
    assert said.startswith("accepted: ("), said
    assert grown < 440
    refused(file(png(0, 8, 1, 65_536, bytes(2 * 65_536)), "strip.png"), "1 x 65536 pixels")
    said, spent, grown = cost(load_picture, file(png(6, 8, columns, rows, b""), "none.png"))
    assert "without all of its rows" in said
    assert grown < 50
    assert spent < whole / 4  # it is not decoded


@pytest.mark.bad_input
def test_a_png_without_all_of_its_rows_is_refused(file, capfd):
    kinds = {0: (1, 2, 4, 8, 16), 2: (8,), 3: (1, 2, 4, 8), 4: (8,), 6: (8,)}
    samples = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}
    palette = chunk(b"PLTE", bytes(range(48)) * 16)
    for kind, depths in kinds.items():
        for depth in depths:
            row = 1 + -(-11 * depth * samples[kind] // 8)
            more = [palette] if kind == 3 else []
            whole = png(kind, depth, 11, 10, bytes(row * 10), *more)
            assert load_picture(file(whole), transparent="black").height == 10
            for rows in (bytes(row * 5), bytes(row * 9), bytes(row * 10 - 1), b""):
                words = refused(file(png(kind, depth, 11, 10, rows, *more)), "without all of its rows", "whole")
                assert "PNG" in words
    for size in (8, 5, 1):  # interlaced: the passes of Adam7 (ISO/IEC 15948, 8.2)
        rows = b"".join(
            bytes(1 + -(-(size - left) // across)) * -(-(size - top) // down)
            for left, top, across, down in [
                (0, 0, 8, 8), (4, 0, 8, 8), (0, 4, 4, 8), (2, 0, 4, 4), (0, 2, 2, 4), (1, 0, 2, 2), (0, 1, 1, 2)
            ]
            if left < size and top < size
        )  # fmt: skip
        for good, told in ((True, rows), (False, rows[:-1]), (False, rows[: len(rows) // 2])):
            data = bytearray(png(0, 8, size, size, told))
            data[28] = 1
            data[29:33] = struct.pack(">I", zlib.crc32(data[12:29]))
            path = file(bytes(data))
            if good:
                assert load_picture(path).width == size
            else:
                refused(path, "without all of its rows")
    assert capfd.readouterr() == ("", "")  # a notebook would show what a decoder says beside the error


@pytest.mark.bad_input
def test_zero_size_is_refused(file):
    refused(file(png(2, 8, 0, 5, b"")), "picture")
    gif = b"GIF89a" + struct.pack("<HHBBB", 0, 0, 0, 0, 0) + b";"
    refused(file(gif, "zero.gif"), "picture")


@pytest.mark.bad_input
@pytest.mark.parametrize("name", ["bomb.png", "bomb.bmp", "bomb.gif", "bomb.tif", "bomb.jpg", "bomb.webp", "just.png"])
def test_a_picture_declared_too_large_is_refused_before_it_is_decoded(file, name, monkeypatch):
    path = file(np.zeros((1, 1, 3), np.uint8), name)
    data = bytearray(path.read_bytes())
    if name == "bomb.png":  # 60000 x 60000, of which only 50 rows follow
        data = png(2, 8, 60000, 60000, bytes(180_001 * 50))
    elif name == "just.png":  # below the size at which Pillow itself warns
        data = png(0, 8, MOST_PIXELS // 1000 + 1, 1000, b"")
    elif name == "bomb.bmp":
        data[18:26] = struct.pack("<ii", 60000, 60000)
    elif name == "bomb.gif":
        data[6:10] = struct.pack("<HH", 60000, 60000)
    elif name == "bomb.jpg":
        at = data.index(b"\xff\xc0")
        data[at + 5 : at + 9] = struct.pack(">HH", 60000, 60000)
    elif name == "bomb.webp":  # VP8X: the canvas, 24 bits each, less 1
        size = (16383).to_bytes(3, "little") * 2
        body = b"WEBPVP8X" + struct.pack("<I", 10) + bytes(4) + size + bytes(data[12:])
        data = b"RIFF" + struct.pack("<I", len(body)) + body
    else:
        for tag in (256, 257):
            data = data.replace(struct.pack("<HHII", tag, 4, 1, 1), struct.pack("<HHII", tag, 4, 1, 60000))
    path.write_bytes(bytes(data))
    assert path.stat().st_size < 100_000
    decoded = []
    monkeypatch.setattr(Image.Image, "load", lambda self: decoded.append(self))
    message = refused(path, "picture")
    if name != "bomb.webp":
        assert "34 million" in message
    assert not decoded


@pytest.mark.bad_input
def test_a_huge_file_is_refused_before_it_is_read(tmp_path):
    path = tmp_path / "huge.png"
    with path.open("wb") as out:
        out.truncate(300_000_000)  # a hole on the disk
    refused(path, "300,000,000 bytes", "at most 140 MB")


# Anything at all


def loads_or_refuses(folder, data):
    path = folder / "fuzz"
    path.write_bytes(data)
    try:
        picture = load_picture(path, transparent="black")
    except InputError as error:
        picture, message = None, str(error)
    if picture is None:
        assert "picture 'fuzz'" in message
    else:
        assert picture.rgb.dtype == np.float32
        assert 0.0 <= picture.rgb.min() <= picture.rgb.max() <= 1.0


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("fuzz")


def saved(kind, **options):
    out = io.BytesIO()
    exif = Image.Exif()
    exif[EXIF_ORIENTATION] = 6
    Image.fromarray(COLOURS).save(out, kind, exif=exif, icc_profile=icc(2.2), **options)
    return out.getvalue()


SEEDS = [saved("PNG"), saved("JPEG"), saved("JPEG", progressive=True), saved("WEBP"), saved("TIFF"), saved("GIF")]
SEEDS += [saved("TIFF", compression="tiff_lzw"), saved("BMP")]
STARTS = [b"", b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff", b"GIF89a", b"BM", b"II*\0", b"MM\0*", b"RIFF\0\0\0\0WEBP"]


@pytest.mark.property
@settings(max_examples=200)
@given(start=st.sampled_from(STARTS), data=st.binary(max_size=300))
def test_any_bytes_load_or_are_refused(folder, start, data):
    loads_or_refuses(folder, start + data)


@pytest.mark.property
@settings(max_examples=300)
@given(
    seed=st.sampled_from(SEEDS),
    changes=st.lists(st.tuples(st.floats(0, 1, exclude_max=True), st.binary(min_size=1, max_size=4)), max_size=6),
    kept=st.just(1.0) | st.floats(0, 1),
)
def test_a_changed_or_truncated_picture_loads_or_is_refused(folder, seed, changes, kept):
    data = bytearray(seed)
    for at, new in changes:
        start = int(at * len(data))
        data[start : start + len(new)] = new
    loads_or_refuses(folder, bytes(data[: int(kept * len(data))]))


@pytest.mark.property
@settings(max_examples=150)
@given(at=st.integers(0, 60), new=st.binary(min_size=1, max_size=8))
def test_a_png_whose_chunks_lie_but_add_up_loads_or_is_refused(folder, at, new):
    # The checksums are mended, so the damage gets past them.
    data = bytearray(SEEDS[0])
    data[8 + at : 8 + at + len(new)] = new
    out, place = bytes(data[:8]), 8
    while place + 8 <= len(data):
        (length,) = struct.unpack(">I", data[place : place + 4])
        length = min(length, len(data))
        out += chunk(bytes(data[place + 4 : place + 8]), bytes(data[place + 8 : place + 8 + length]))
        place += 12 + length
    loads_or_refuses(folder, out)


# Arrays and sizes


drives = hnp.arrays(
    np.float64, hnp.array_shapes(min_dims=2, max_dims=2, max_side=9).map(lambda s: (*s, 3)), elements=st.floats(0, 1)
)


@pytest.mark.property
@given(drives)
def test_an_array_is_kept_and_cannot_be_changed(rgb):
    picture = Picture(name="test", rgb=rgb)
    np.testing.assert_array_equal(picture.rgb, rgb.astype(np.float32))
    rgb[...] = 0.5  # the caller's array is not the picture's
    with pytest.raises(ValueError, match="read-only"):
        picture.rgb[0, 0] = 0.0
    with pytest.raises(AttributeError):
        picture.name = "other"


@pytest.mark.property
@given(drives, st.integers(1, 20), st.integers(1, 20))
def test_a_resized_picture_holds_the_same_mean_light(rgb, width, height):
    picture = Picture(name="test", rgb=rgb)
    other = picture.resized(width, height)
    assert (other.name, other.width, other.height) == ("test", width, height)
    # float32 of the results.
    np.testing.assert_allclose(other.rgb.mean((0, 1), np.float64), picture.rgb.mean((0, 1), np.float64), atol=1e-7)
    assert picture.rgb.min() <= other.rgb.min() * (1 + 1e-6)
    assert other.rgb.max() <= picture.rgb.max() * (1 + 1e-6)


@pytest.mark.analytic
def test_resizing_is_the_mean_over_the_area():
    rgb = np.random.default_rng(3).random((6, 8, 3))
    picture = Picture(name="test", rgb=rgb)
    blocks = rgb.reshape(3, 2, 2, 4, 3).mean((1, 3))
    np.testing.assert_allclose(picture.resized(2, 3).rgb, blocks, rtol=1e-6)
    np.testing.assert_allclose(picture.resized(8, 6).rgb, picture.rgb, rtol=1e-7)
    np.testing.assert_allclose(picture.resized(16, 18).rgb, rgb.repeat(3, 0).repeat(2, 1), rtol=1e-6)
    line = Picture(name="line", rgb=np.array([[[0.0] * 3, [0.6] * 3, [0.9] * 3]]))
    # Three cells on two: by hand, (0 + 0.6 / 2) / 1.5 and (0.6 / 2 + 0.9) / 1.5.
    np.testing.assert_allclose(line.resized(2, 1).rgb[0, :, 0], [0.2, 0.8], rtol=1e-6)


@pytest.mark.analytic
def test_a_fine_checkerboard_shrinks_to_half_the_light_not_to_half_the_code():
    board = np.indices((64, 64)).sum(0) % 2 * np.ones((3, 1, 1))
    small = Picture(name="board", rgb=np.moveaxis(board, 0, -1)).resized(8, 8)
    np.testing.assert_allclose(small.rgb, 0.5, rtol=1e-6)


@pytest.mark.bad_input
@pytest.mark.parametrize(
    "rgb",
    [
        np.zeros((2, 2)),
        np.zeros((2, 2, 4)),
        np.zeros((0, 2, 3)),
        np.zeros((2, 2, 3), np.uint8),
        np.zeros((2, 2, 3), bool),
        np.zeros((2, 2, 3), complex),
        np.full((2, 2, 3), math.nan),
        np.full((2, 2, 3), math.inf),
        np.full((2, 2, 3), 1e300),
        np.full((2, 2, 3), 1.001),
        np.full((2, 2, 3), -0.001),
        np.broadcast_to(0.5, (8000, 8000, 3)),
        "picture",
        None,
    ],
    ids=str,
)
def test_arrays_that_are_no_picture_are_refused(rgb):
    with pytest.raises(InputError, match="picture 'test': rgb"):
        Picture(name="test", rgb=rgb)


@pytest.mark.bad_input
@pytest.mark.parametrize("size", [(0, 1), (1.5, 1), (10**4, 10**4)])
def test_sizes_that_are_none_are_refused(size):
    with pytest.raises(InputError, match=r"resized|width = 1\.5: expected a whole number$"):
        Picture(name="test", rgb=np.zeros((2, 2, 3))).resized(*size)
