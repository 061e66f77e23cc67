"""Photos of an invented front, by rays through a camera of known place and lens, for tests and for the notebook.

    python tests/photo_renderer.py     makes the sample photos of the notebook and the file of their truth

Nothing of the kit is imported but what draws the truth: rays, lens, exposure and EXIF are written here once more. The
camera of the samples keeps to K = 14, one of the two constants that are usual; the kit takes the other, 12.5.
"""

from pathlib import Path

import numpy as np
from PIL import ExifTags, Image

PHOTOS = Path(__file__).parents[1] / "notebooks" / "photos"
ABOUT = "An invented house, rendered: no such place exists."
GREY, CAMERA_K = 0.1812, 14.0


class Camera:
    """A pinhole with one radial coefficient, over half the diagonal; `focal` as on a frame of 36 x 24 mm."""

    def __init__(self, position, aim, size, focal=26.0, roll=0.0, bend=0.0):
        self.position, self.size, self.bend = np.array(position, float), size, bend
        forward = np.subtract(aim, position, dtype=float)
        forward /= np.linalg.norm(forward)
        right = np.cross(forward, (0.0, 1.0, 0.0))
        right /= np.linalg.norm(right)
        up = np.cross(right, forward)
        cos, sin = np.cos(np.radians(roll)), np.sin(np.radians(roll))
        self.axes = np.array([cos * right + sin * up, cos * up - sin * right, forward])
        self.half = np.hypot(*size) / 2.0
        self.scale = 2.0 * self.half * focal / np.hypot(36.0, 24.0)

    def pixels(self, points):
        """Where points (n, 3) fall, as (right, down)."""
        along = (np.asarray(points, float) - self.position) @ self.axes.T
        flat = along[:, :2] / along[:, 2:] * (1.0, -1.0) * self.scale / self.half
        bent = flat * (1.0 + self.bend * (flat**2).sum(axis=1, keepdims=True))
        return bent * self.half + np.array(self.size) / 2.0

    def rays(self, pixels):
        """Directions (n, 3) of pixels: the lens undone by Newton's steps."""
        bent = (np.asarray(pixels, float) - np.array(self.size) / 2.0) / self.half
        far = np.linalg.norm(bent, axis=1)
        r = far.copy()
        for _ in range(12):
            r -= (r + self.bend * r**3 - far) / (1.0 + 3.0 * self.bend * r**2)
        flat = bent * (r / np.maximum(far, 1e-12))[:, None] * self.half / self.scale
        return flat[:, :1] * self.axes[0] - flat[:, 1:] * self.axes[1] + self.axes[2]


def luminance(camera, panels, light, samples=2, beyond=(0.02, 0.02, 0.02)):
    """Light (height, width, 3) of upright rectangles (left, right, bottom, top, depth, rgb reflectance), in cd/m2.

    `light` gives the illuminance [lx] at points (n, 3); a later panel lies over an earlier one of the same depth.
    """
    width, height = camera.size
    total = np.zeros((height, width, 3))
    for dx in (np.arange(samples) + 0.5) / samples:
        for dy in (np.arange(samples) + 0.5) / samples:
            x, y = np.meshgrid(np.arange(width) + dx, np.arange(height) + dy)
            rays = camera.rays(np.column_stack([x.ravel(), y.ravel()]))
            shown = np.tile(np.array(beyond), (len(rays), 1))
            nearest = np.full(len(rays), np.inf)
            for left, right, bottom, top, depth, rgb in panels:
                far = (depth - camera.position[2]) / rays[:, 2]
                at = camera.position + rays * far[:, None]
                hit = (rays[:, 2] < 0) & (far <= nearest + 1e-9)
                hit &= (at[:, 0] >= left) & (at[:, 0] <= right) & (at[:, 1] >= bottom) & (at[:, 1] <= top)
                colour = rgb(at[hit]) if callable(rgb) else np.array(rgb)
                shown[hit] = colour * np.asarray(light(at[hit]))[..., None] / np.pi
                nearest[hit] = far[hit]
            total += shown.reshape(total.shape)
    return total / samples**2


def encoded(light, f_number, time, speed, k=CAMERA_K, bits=8, noise=0.0, seed=1):
    """Codes of a camera: middle grey for K N^2 / (t S), then sRGB (IEC 61966-2-1, written out)."""
    drive = GREY * light / (k * f_number**2 / (time * speed))
    drive = np.clip(
        drive * (1.0 + noise * np.random.default_rng(seed).standard_normal(light.shape[:2])[..., None]), 0, 1
    )
    code = np.where(drive <= 0.0031308, 12.92 * drive, 1.055 * drive ** (1 / 2.4) - 0.055)
    top = 2**bits - 1
    return np.rint(code * top).astype(np.uint8 if bits == 8 else np.uint16)


def exif(size, f_number=1.8, time=0.01, speed=100, focal=26, bias=0.0, **more):
    """EXIF of a photo; `more` by names of tags, None leaves one out."""
    tags = {
        "FNumber": f_number, "ExposureTime": time, "ISOSpeedRatings": speed, "FocalLengthIn35mmFilm": focal,
        "ExposureBiasValue": bias, "ExifImageWidth": size[0], "ExifImageHeight": size[1],
        "DateTimeOriginal": "2026:11:20 12:00:00", "ShutterSpeedValue": -np.log2(time),
        "ApertureValue": 2 * np.log2(f_number), "Flash": 16,
    } | more  # fmt: skip
    found = Image.Exif()
    found[ExifTags.Base.ImageDescription] = ABOUT
    base = {"DateTime", "Orientation", "Software"}
    inner = found.get_ifd(ExifTags.IFD.Exif)
    for name, value in tags.items():
        if value is not None:
            (found if name in base else inner)[ExifTags.Base[name]] = value
    return found


def save(path, codes, about=None, quality=80):
    Image.fromarray(codes).save(path, quality=quality, **({} if about is None else {"exif": about}))
