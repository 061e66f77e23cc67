"""Photographs: the light in them, linear, and how the camera was set. Where a photo was taken is never looked at."""

import io
import math
import warnings
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from PIL import Image, ImageFile
from PIL.ExifTags import TAGS

from kit import reference
from kit.arrays import Array
from kit.errors import InputError
from kit.eye.picture_file import MOST_BYTES, MOST_PIXELS, Picture, check_scan, less_kept, light_of, load_picture
from kit.fields import FLAG, NAME, Declared, Is, Many, Number, Text, Vector, declared
from kit.files import read_file

# Of a JPEG or HEIC; a JPEG of more than `MOST_PIXELS` is decoded at half its size.
MOST_PHOTO, FEWER_JPEG = 110_000_000, "at most 110 megapixels as JPEG or HEIC, 34 in another file"
# Of a camera's private tags it warns on standard error, which a notebook shows.
cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_ERROR)
READABLE = "a whole JPEG, PNG, TIFF, HEIC, DNG or other raw photo"
RAW = (".dng", ".nef", ".cr2", ".cr3", ".arw", ".raf", ".rw2", ".orf", ".pef")
PIXEL = Number(unit="pixels", low=0.0, high=65_535.0)
SIZE = Vector(length=2, of=PIXEL.but(low=1.0, whole=True), label="width and height of the photo")
SPOT = Many(of=Vector(length=2, of=PIXEL), least=3, most=100, label="corners: to the right, and down")
FOCAL = Number(label="focal length", unit="mm", above=1.0, high=3000.0, meaning="as on 36 x 24 mm")
# What is looked at of a place, its least pixels, and how many may be cut off: of code 250 and more, or 10 and less.
INNER, FEWEST, MOST_CUT, BRIGHTEST, DARKEST = 0.8, 16, 0.01, 0.956, 0.003
EXPOSURE = {"time": "ExposureTime", "f_number": "FNumber", "speed": "ISOSpeedRatings"}
EXIF, STEP, LATER = 0x8769, 0.35, 60.0  # a third of a stop, the step of dials; seconds from taking to writing


class Exposure(Declared):
    """How a photo was exposed: by its EXIF, or as the camera shows it; `bias` was added to what its meter asked."""

    thing = "exposure"
    f_number: float = declared(Number(label="f-number", symbol="N", low=0.5, high=128.0))
    time: float = declared(Number(label="exposure time", symbol="t", unit="s", above=0.0, high=3600.0))
    speed: float = declared(Number(label="ISO speed", symbol="S", low=1.0, high=1e7))
    bias: float = declared(Number(label="stops of exposure bias", low=-10.0, high=10.0), default=0.0)

    @property
    def luminance(self) -> float:
        """Luminance that the camera was set for: K N^2 / (t S) (ISO 2720) [cd/m2]."""
        return reference.value("photography", "meter constant") * self.f_number**2 / (self.time * self.speed)


class Photo(Declared):
    """A photo, upright: its light, and the `size` of its file in pixels, in which places are told."""

    thing = "photo"
    name: str = declared(NAME)
    picture: Picture = declared(Is(kind=Picture))
    size: tuple[int, int] = declared(SIZE)
    exposure: Exposure | None = declared(Is(kind=Exposure), default=None)
    missing: str = declared(Text(empty=True), default="no EXIF", meaning="why it has no exposure to be trusted")
    focal: float | None = declared(FOCAL, default=None)
    linear: bool = declared(FLAG, default=False, meaning="whether no camera bent its light")

    def spot(self, field: str, corners: Any) -> Array:
        """Return the drive of the pixels well inside a place, shape (n, 3); a clipped one raises `InputError`."""
        ring = np.array(SPOT.check(field, corners))
        if np.any(ring > self.size):
            raise InputError(field, corners, f"corners within the photo's {self.size[0]} x {self.size[1]} pixels")
        ring = (ring.mean(axis=0) * (1.0 - INNER) + INNER * ring) * (self.picture.width / self.size[0])
        (left, top), (right, bottom) = ring.min(axis=0).astype(int), ring.max(axis=0).astype(int) + 1
        part = self.picture.rgb[top:bottom, left:right]
        outline = np.rint(ring - (left + 0.5, top + 0.5)).astype(np.int32)
        found = part[cv2.fillPoly(np.zeros(part.shape[:2], np.uint8), [outline], 1) > 0].astype(float)
        if len(found) < FEWEST:
            raise InputError(field, f"{len(found)} pixels", f"a place of {FEWEST} pixels and more, without its edges")
        if np.mean(found.max(axis=1) >= BRIGHTEST) > MOST_CUT:
            raise InputError(field, "clipped: too bright for the camera", "a darker photo, of 1 or 2 stops less")
        if np.mean(found.max(axis=1) <= DARKEST) > MOST_CUT:
            raise InputError(field, "black", "a brighter photo: a longer exposure, the camera on a stand")
        return found


def load_photo(path: str | Path, *, linear: bool = False) -> Photo:
    """Read a photo, its exposure and its focal length, in up to 1 GB.

    At most 34 megapixels, as JPEG or HEIC 110; a JPEG of more than 34 is decoded at half its width and height.

    Parameters
    ----------
    path : str or Path
        JPEG, PNG or TIFF of 8 or 16 bits, HEIC (needs `pillow-heif`), DNG or another raw file (needs `rawpy`).
    linear : bool
        Whether the codes of a TIFF or PNG are in proportion to light, and not sRGB. For a file that is no such photo,
        damaged, or too large: `InputError`.
    """
    from colour.models import eotf_sRGB

    ImageFile.LOAD_TRUNCATED_IMAGES = False  # as in `load_picture`
    data, name = read_file("photo", path, right=READABLE, most=MOST_BYTES), Path(path).name
    where = f"photo {name!r}"
    try:
        if Path(path).suffix.lower() in RAW:
            return _raw(name, data)
        if data[4:8] == b"ftyp":
            import pillow_heif

            pillow_heif.register_heif_opener()
        with warnings.catch_warnings(action="ignore"), Image.open(io.BytesIO(data)) as image:  # odd EXIF is common
            jpeg, heif = image.format in ("JPEG", "MPO"), image.format == "HEIF"
            _few(image.size, MOST_PHOTO if jpeg or heif else MOST_PIXELS)
            wide, high = image.size
            codes: Any = np.zeros(0, np.uint8)
            if linear or image.format in ("PNG", "TIFF"):
                codes = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_ANYDEPTH | cv2.IMREAD_COLOR)
            if codes.dtype == np.uint16 and image.info.get("icc_profile") and not linear:
                raise InputError(where, "16 bits with a colour profile", "sRGB without one, or linear=True")
            if linear or codes.dtype == np.uint16:
                share = np.linspace(0.0, 1.0, np.iinfo(codes.dtype).max + 1)
                light = share if linear else np.asarray(eotf_sRGB(share))
                picture = _kept(name, light.astype(np.float32)[codes[..., ::-1]])
            else:
                halved = jpeg and wide * high > MOST_PIXELS
                if halved:
                    check_scan(where, data, scale=2)
                    image.draft(image.mode, (wide // 2, high // 2))
                own = heif or halved
                picture = Picture(name=name, rgb=light_of(where, image)) if own else load_picture(path)
            exif = image.getexif()
            size = (wide, high) if (wide > high) == (picture.width > picture.height) else (high, wide)
            about = _exif({**exif, **exif.get_ifd(EXIF)}, size)
            return Photo(name=name, picture=picture, size=size, linear=linear, **about)
    except InputError:
        raise
    except ImportError as error:
        right = f"a JPEG, or what reads it: pip install {str(error.name).replace('_', '-')}"
        raise InputError(where, "a HEIC or raw file", right) from None
    except Image.DecompressionBombError:
        raise InputError(where, "too many pixels", FEWER_JPEG) from None
    except Exception as error:  # decoders raise whatever the damage leads them to
        raise InputError(where, f"damaged or no photo ({type(error).__name__})", READABLE) from None


def _few(size: tuple[int, int], most: int) -> None:
    if size[0] * size[1] > most:
        raise InputError("photo", f"{size[0]} x {size[1]} pixels", FEWER_JPEG)


def _kept(name: str, rgb: Any) -> Picture:
    """Return light as a picture, no larger than what a picture file keeps."""
    less = less_kept(*rgb.shape[:2])
    return Picture(name=name, rgb=cv2.resize(rgb, None, fx=less, fy=less, interpolation=cv2.INTER_AREA))


def _raw(name: str, data: bytes) -> Photo:
    """Return the light in a raw file, four cells of its sensor in each pixel."""
    import rawpy

    with rawpy.imread(io.BytesIO(data)) as raw:
        _few((raw.sizes.raw_width, raw.sizes.raw_height), MOST_PIXELS)
        how: dict[str, Any] = {"gamma": (1, 1), "no_auto_bright": True, "use_camera_wb": True, "output_bps": 16}
        codes = raw.postprocess(half_size=True, **how)
    picture, why = _kept(name, codes.astype(np.float32) / 65535.0), "of a raw file it is not read"
    return Photo(name=name, picture=picture, size=codes.shape[1::-1], missing=why, linear=True)


def _exif(tags: dict[int, Any], size: tuple[int, int]) -> dict[str, Any]:
    """Return exposure, or why it is not to be trusted, and focal length, by the tags of a photo of this size."""
    import pandas as pd

    said = {TAGS.get(tag, ""): value for tag, value in tags.items()}

    def real(name: str, missing: float = math.nan) -> float:
        try:
            found = float(np.ravel(said[name])[0])
        except (KeyError, TypeError, ValueError, ZeroDivisionError, IndexError):
            return missing
        return found if abs(found) < 1e9 else missing

    focal, given = real("FocalLengthIn35mmFilm"), {name: real(tag) for name, tag in EXPOSURE.items()}
    about: dict[str, Any] = {"focal": focal if 1.0 < focal <= 3000.0 else None}
    gone = [EXPOSURE[name] for name, value in given.items() if not value > 0.0]
    if gone:
        return about | {"missing": f"its EXIF has no {', '.join(gone)}"}
    # The same once more in stops, and what only a picture has that was edited; what is not there is not a number.
    stops = {"ShutterSpeedValue": -math.log2(given["time"]), "ApertureValue": 2.0 * math.log2(given["f_number"])}
    twice = [name for name, value in stops.items() if abs(real(name) - value) > STEP]
    sizes = {side for side in (real("ExifImageWidth"), real("ExifImageHeight")) if side > 0.0}
    times = [str(said.get(name)) for name in ("DateTimeOriginal", "DateTime")]
    taken, changed = pd.to_datetime(times, format="%Y:%m:%d %H:%M:%S", errors="coerce")
    for wrong, why in (
        (twice, f"contradicts itself ({', '.join(twice)})"),
        (sizes and sizes != set(size), "is of a photo of another size: this one is cut or made smaller"),
        ((changed - taken).total_seconds() > LATER, "says that it was changed later"),
        (real("Flash") % 2.0 == 1.0, "says that its flash lit the wall"),
    ):
        if wrong:
            return about | {"missing": f"its EXIF {why}"}
    return about | {"exposure": Exposure(**given, bias=real("ExposureBiasValue", 0.0)), "missing": ""}
