"""Pictures to project: from a file or an array to the light that each pixel asks of the projector.

A picture is held as drive: the share of full white that each of the three channels sends out, linear in
light, with the primaries and the white of sRGB (which are those of Rec. 709).
"""

import io
import math
import re
import struct
import warnings
import zlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal, Self

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms, ImageFile, ImageOps, UnidentifiedImageError
from scipy.sparse import csr_array

from kit.errors import InputError
from kit.fields import NAME, Declared, Number, declared
from kit.files import read_file

# Four times what a home projector shows; larger files are mistakes or traps. So many are kept, and so many rows turned
# into light at once: a file costs up to 440 MB while it is read (WebP, whose decoder copies: 600 MB), and then 107 MB.
MOST_PIXELS, MOST_ACROSS, MOST_KEPT, ROWS = 34_000_000, 65_535, 4096 * 2176, 256
MOST_BYTES = 140_000_000
# Of a JPEG's scan: codes of many kinds. And its marks: of frames, of a scan, of its end.
MORE, MARK = bytes(range(255)), re.compile(rb"\xff[^\x00\xff\xd0-\xd7]")
FRAMES, SCAN, END = (0xC0, 0xC1, 0xC2), 0xDA, 0xD9

# Nothing that runs a program of its own (EPS, PDF) and nothing seldom tested.
FORMATS = ("PNG", "JPEG", "WEBP", "TIFF", "BMP", "GIF")
MODES = ("1", "L", "LA", "P", "PA", "RGB", "RGBA", "I;16", "I;16L", "I;16B")
READABLE = "a PNG, JPEG, WebP, TIFF, BMP or GIF picture"
FEWER = f"at most {MOST_PIXELS // 1_000_000} million pixels: make it smaller (a projector shows 2 to 8 million)"

# PNG's gAMA of an sRGB picture, 1/2.2, and how far from it a file may state it and still mean sRGB.
FILE_GAMMA, GAMMA_TOLERANCE = 1 / 2.2, 0.005
# The coding-independent code points (PNG's cICP) of sRGB: primaries, transfer, matrix, full range.
SRGB_CODE_POINTS = bytes([1, 13, 0, 1])
TIFF_BITS, TIFF_PHOTOMETRIC = 258, 262

PIXELS = Number(unit="pixels", low=1.0, high=MOST_PIXELS, whole=True)

Array = NDArray[np.float32]


class Picture(Declared, eq=False):
    """A picture to project: drive of red, green and blue `rgb`, shape (height, width, 3), row 0 on top.

    Drive is linear light over that of full white, in [0, 1]: floating-point numbers, kept as a read-only float32 copy.
    """

    thing = "picture"
    name: str = declared(NAME)
    rgb: Array

    def _agree(self, where: str) -> None:
        where = f"{where}: rgb"
        right = "floating-point numbers from 0 to 1, of shape (height, width, 3)"
        try:
            given = np.asarray(self.rgb)
        except (TypeError, ValueError):
            raise InputError(where, type(self.rgb).__name__, right) from None
        if given.dtype.kind != "f" or given.ndim != 3 or given.shape[2] != 3 or given.size == 0:
            raise InputError(where, f"{given.dtype} of shape {given.shape}", right)
        if given.shape[0] * given.shape[1] > MOST_PIXELS:
            raise InputError(where, f"{given.shape[1]} x {given.shape[0]} pixels", FEWER)
        with np.errstate(over="ignore"):  # what float32 cannot hold becomes infinite, and is refused
            rgb = np.array(given, np.float32, order="C")
        low, high = float(rgb.min()), float(rgb.max())
        if not (low >= 0.0 and high <= 1.0):  # also where one of them is not a number
            raise InputError(where, f"values from {low:g} to {high:g}", right)
        rgb.setflags(write=False)
        object.__setattr__(self, "rgb", rgb)

    @property
    def width(self) -> int:
        """Number of columns."""
        return self.rgb.shape[1]

    @property
    def height(self) -> int:
        """Number of rows."""
        return self.rgb.shape[0]

    def resized(self, width: int, height: int) -> Self:
        """Return the picture on another grid, each pixel the mean light of its area; more than can be: `InputError`."""
        columns, rows = PIXELS.check("resized: width", width), PIXELS.check("resized: height", height)
        if columns * rows > MOST_PIXELS:
            raise InputError("resized: width, height", (width, height), FEWER)
        across, down = _area_weights(self.width, columns), _area_weights(self.height, rows)
        channels = [down @ (across @ self.rgb[..., i].T).T for i in range(3)]
        return replace(self, rgb=np.stack(channels, axis=-1))


def load_picture(path: str | Path, *, transparent: Literal["refuse", "black"] = "refuse") -> Picture:
    """Return the picture in a PNG, JPEG, WebP, TIFF, BMP or GIF file, as linear drive.

    It may be black and white, grey (8 or 16 bits), palette or RGB (8 bits per channel). One that is transparent
    somewhere is refused; with `transparent` as ``"black"`` each pixel's light is multiplied by its opacity. What would
    be read wrongly is refused: an animation or several pages, CMYK, 16-bit colour (it would be cut to 8 bits), a colour
    space other than sRGB that cannot be converted. The picture is named as the file and turned as its EXIF orientation
    says. sRGB is decoded by IEC 61966-2-1 as carried by colour-science; a file without a colour profile counts as sRGB.
    An embedded ICC profile other than sRGB is converted with relative colorimetric intent, at 8 bits; a colour that
    sRGB does not hold becomes the nearest that it holds. Of a JPEG that carries several pictures (previews, depth
    maps), the first is the picture. Of one of more than 4096 x 2176 pixels a smaller one is kept, whose pixels are the
    mean light of the areas they cover.
    """
    ImageFile.LOAD_TRUNCATED_IMAGES = False  # what sets type for a sheet turns it on
    data = read_file("picture", path, right=READABLE, most=MOST_BYTES)
    name = Path(path).name
    where = f"picture {name!r}"
    try:
        with warnings.catch_warnings():
            # Odd metadata is common and harmless; a picture too large is not.
            warnings.simplefilter("ignore")
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(data), formats=FORMATS) as image:
                _check_header(where, image, data)
                if image.format == "PNG":
                    _check_rows(where, data)
                if image.format in ("JPEG", "MPO"):
                    check_scan(where, data)
                return Picture(name=name, rgb=light_of(where, image, transparent))
    except InputError:
        raise
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise InputError(where, "too many pixels", FEWER) from None
    except UnidentifiedImageError:
        raise InputError(where, "no picture that can be read", READABLE) from None
    except Exception as error:
        # The decoders raise whatever the damage leads them to: OSError, SyntaxError, struct.error, KeyError...
        detail = f"{type(error).__name__}: {error}"
        raise InputError(where, f"a damaged or truncated picture ({detail})", f"{READABLE} that is whole") from None


def _check_header(where: str, image: ImageFile.ImageFile, data: bytes) -> None:
    """Refuse, before anything is decoded, what is too large or would be decoded wrongly."""
    if image.width * image.height > MOST_PIXELS or max(image.size) > MOST_ACROSS:
        raise InputError(where, f"{image.width} x {image.height} pixels", FEWER)
    if image.format != "MPO" and getattr(image, "is_animated", False):
        raise InputError(where, f"{image.format} with several frames or pages", "one picture: save one frame of it")
    if image.mode == "CMYK":
        raise InputError(where, "a CMYK picture, made for print", "RGB: save it as RGB")
    if image.mode not in MODES:
        raise InputError(where, f"a picture of mode {image.mode}", "RGB or grey: save it as 8-bit RGB")
    if image.format == "GIF" and image.tile and image.tile[0][1] != (0, 0, *image.size):
        raise InputError(where, "a GIF that its picture does not fill", "one picture of its whole size")
    # Pillow keeps the high byte of 16-bit colour and drops the low one without a word.
    tags: Any = getattr(image, "tag_v2", {})
    bits = tuple(tags.get(TIFF_BITS, ()))
    raw = str(image.tile[0].args) if image.tile else ""
    deep_grey = image.mode.startswith("I;16")
    if not deep_grey and (";16" in raw or any(item > 8 for item in bits)):
        raise InputError(where, "a colour picture of 16 bits per channel", "8 bits per channel: save it as 8-bit RGB")
    if deep_grey and bits and (bits != (16,) or tags.get(TIFF_PHOTOMETRIC) != 1):
        raise InputError(where, f"a grey TIFF of {bits[0]} bits, or white at 0", "16 bits with black at 0, or 8 bits")
    if raw in ("L;2", "L;4") and "transparency" in image.info:  # Pillow compares unscaled with scaled values
        raise InputError(where, "a transparent grey picture of 2 or 4 bits", "8 bits: save it as 8-bit RGB")
    if image.format == "PNG":
        # What it states, by other means than an ICC profile, of its colours; any of these comes before gAMA.
        _, coded, points = data[: image.tile[0].offset if image.tile else 0].partition(b"cICP")
        gamma = image.info.get("gamma", FILE_GAMMA)
        stated = coded or "srgb" in image.info or "icc_profile" in image.info
        if coded and not points.startswith(SRGB_CODE_POINTS):
            raise InputError(where, "a PNG in another colour space (cICP)", "sRGB: save it as sRGB")
        if not stated and abs(gamma - FILE_GAMMA) > GAMMA_TOLERANCE:
            raise InputError(where, f"a PNG of file gamma {gamma:g}", "sRGB: save it as sRGB")


def _check_rows(where: str, data: bytes) -> None:
    """Refuse a PNG whose rows end too early, which the decoder leaves black without a word."""
    width, height, depth, colour, _, _, interlaced = struct.unpack(">IIBBBBB", data[16:29])
    bits = depth * {2: 3, 4: 2, 6: 4}.get(colour, 1)
    passes = zip(
        (0, 4, 0, 2, 0, 1, 0), (0, 0, 4, 0, 2, 0, 1), (8, 8, 4, 4, 2, 2, 1), (8, 8, 8, 4, 4, 2, 2), strict=True
    )
    needed = 0
    for left, top, across, down in passes if interlaced else ((0, 0, 1, 1),):
        columns, rows = -(-(width - left) // across), -(-(height - top) // down)
        needed += rows * (1 + (columns * bits + 7) // 8) if columns > 0 else 0
    at, stream = 8, zlib.decompressobj()
    while needed > 0 and at + 8 <= len(data):
        size, kind = struct.unpack(">I4s", data[at : at + 8])
        packed = data[at + 8 : at + 8 + size] if kind == b"IDAT" else b""
        while packed and needed > 0:
            needed -= len(stream.decompress(packed, 1 << 20))
            packed = stream.unconsumed_tail
        at += size + 12
    if needed > 0:
        raise InputError(where, "a PNG without all of its rows", f"{READABLE} that is whole")


def check_scan(where: str, data: bytes, scale: int = 1) -> None:
    """Refuse a JPEG whose rows end too early, which the decoder leaves grey without a word; seen at 1 / `scale`.

    What is put before the end of a scan that is whole is passed over; in another it becomes some of what is missing.
    And all scans together bring each coefficient of each component to its last bit.
    """
    missing: dict[int, set[int]] = {}
    at, kind = 2, 0
    while kind != END and (found := MARK.search(data, at)):
        at, kind = found.end(), data[found.end() - 1]
        if kind in FRAMES:
            missing = {data[at + 8 + 3 * i]: set(range(64)) for i in range(data[at + 7])}
        elif kind == SCAN:
            first, last, bits = data[at + 3 + 2 * data[at + 2] :][:3]
            for component in data[at + 3 : at + 3 + 2 * data[at + 2] : 2] if bits % 16 == 0 else b"":
                missing[component] -= set(range(first, last + 1))
        at += int.from_bytes(data[at : at + 2])
    seen, end = [], data.rfind(b"\xff\xd9")
    for more in (b"", MORE):
        with Image.open(io.BytesIO(data[:end] + more + data[end:]), formats=("JPEG",)) as image:
            image.draft(image.mode, (image.width // scale, image.height // scale))
            seen.append(image.histogram())
    if seen[0] != seen[1] or any(missing.values()):
        raise InputError(where, "a JPEG without all of its rows", f"{READABLE} that is whole")


def less_kept(width: int, height: int) -> float:
    """Return how much smaller, along a side, a picture is kept than it is."""
    return min(1.0, math.sqrt(MOST_KEPT / (width * height)))


def light_of(where: str, image: Image.Image, transparent: str = "refuse") -> Array:
    """Return the light of a picture that Pillow has opened, upright; smaller where it is larger than what is kept."""
    profile = image.info.get("icc_profile")
    # Refused before the pixels are touched, where the profile is of no use.
    transform = _transform(where, profile, image.mode) if profile else None
    image.load()
    ImageOps.exif_transpose(image, in_place=True)
    (width, height), clear = image.size, 0
    less = less_kept(width, height)
    columns, rows = int(less * width), int(less * height)
    across, down = _area_weights(width, columns), _area_weights(height, rows)
    rgb = np.zeros((rows, columns, 3), np.float32)
    for top in range(0, height, ROWS):
        part = slice(top, min(top + ROWS, height))
        light, opacity = _light(image.crop((0, part.start, width, part.stop)), transform)
        if opacity is not None:
            clear += int(np.count_nonzero(opacity < 1.0))
            light = light * (opacity if light.ndim == 2 else opacity[..., None])
        if less == 1.0:
            rgb[part] = light if light.ndim == 3 else light[..., None]
            continue
        at, weight = slice(part.start * rows // height, -(-part.stop * rows // height)), down[:, part]
        for i in range(3):
            rgb[at, :, i] += weight[at] @ (across @ (light if light.ndim == 2 else light[..., i]).T).T
    if clear and transparent == "refuse":
        right = 'an opaque picture, or transparent="black" (a projector shows no light there)'
        raise InputError(where, f"transparent in {clear / (width * height):.2%} of its pixels", right)
    return np.minimum(rgb, 1.0, out=rgb)  # sums of shares, rounded


def _light(image: Image.Image, transform: Callable[[Image.Image], Image.Image] | None) -> tuple[Array, Array | None]:
    """Return the light of pixels, and their opacity where some may let light through."""
    from colour.models import eotf_sRGB

    if image.mode.startswith("I;16"):
        drive = np.asarray(image).astype(np.uint16)  # in this machine's byte order
        key = image.info.get("transparency")
        opacity = None if key is None else (drive != key).astype(np.float32)
    else:
        alpha = image.convert("RGBA").getchannel("A") if image.has_transparency_data else None
        opacity = None if alpha is None else np.asarray(alpha, np.float32) / 255
        colours = image.convert(_colour_mode(image.mode))
        drive = np.asarray(colours if transform is None else transform(colours))
    top = np.iinfo(drive.dtype).max
    return np.asarray(eotf_sRGB(np.arange(top + 1) / top), np.float32)[drive], opacity


def _colour_mode(mode: str) -> str:
    return "L" if mode in ("1", "L", "LA") else "RGB"


def _transform(where: str, profile: bytes, mode: str) -> Callable[[Image.Image], Image.Image] | None:
    """Return the conversion from an ICC profile to sRGB, or None where there is nothing to convert."""
    right = "a picture in sRGB: save it with the profile converted to sRGB"
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        space = str(source.profile.xcolor_space).strip()
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError) as error:
        raise InputError(where, f"a picture with a broken colour profile ({error})", right) from None
    deep_grey = mode.startswith("I;16")
    input_mode = {"RGB": "RGB", "GRAY": "L"}.get(space)
    if input_mode is None or (input_mode == "L" and not deep_grey and _colour_mode(mode) != "L"):
        raise InputError(where, f"a picture of mode {mode} with a colour profile for {space}", right)
    target = ImageCms.createProfile("sRGB")
    intent = ImageCms.Intent.RELATIVE_COLORIMETRIC
    exact = ImageCms.Flags.NOOPTIMIZE  # the quick tables for grey profiles are wrong by up to 10 codes near black
    try:
        transform = ImageCms.buildTransform(source, target, input_mode, "RGB", intent, exact)
    except (ImageCms.PyCMSError, ValueError) as error:
        raise InputError(where, f"a colour profile that cannot be converted ({error})", right) from None
    # A profile of sRGB itself, whatever it is called, moves no colour by more than rounding: the file stays exact.
    if input_mode == "RGB":
        probe = np.mgrid[0:256:15, 0:256:15, 0:256:15].astype(np.uint8).reshape(3, 18, -1).transpose(1, 2, 0).copy()
    else:
        probe = np.arange(256, dtype=np.uint8)[None]
    there = np.asarray(transform.apply(Image.fromarray(probe))).astype(int)
    if np.abs(there - (probe if probe.ndim == 3 else probe[..., None])).max() <= 1:
        return None
    if deep_grey:
        raise InputError(where, "a 16-bit grey picture with a colour profile", "8 bits, or sRGB without a profile")
    return lambda colours: transform.apply(colours.convert(input_mode))


def _area_weights(old: int, new: int) -> Any:
    """Return the sparse matrix (new, old) of the share that each old cell has in each new one."""
    # On a ruler of old * new marks both grids have whole edges, so the shares are exact.
    edges = np.union1d(np.arange(old + 1) * new, np.arange(new + 1) * old)
    start = edges[:-1]
    return csr_array((np.diff(edges) / old, (start // old, start // new)), shape=(new, old))
