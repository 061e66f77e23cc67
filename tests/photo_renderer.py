"""Photos of an invented front, by rays through a camera of known place and lens, for tests and for the notebook.

    python tests/photo_renderer.py     makes the sample photos of the notebook and the file of their truth

Nothing of the kit is imported but what draws the truth: rays, lens, exposure and EXIF are written here once more. The
camera of the samples keeps to K = 14, one of the two constants that are usual; the kit takes the other, 12.5.
"""

from pathlib import Path

import numpy as np
from PIL import ExifTags, Image
from reference_renderer import axes

PHOTOS = Path(__file__).parents[1] / "notebooks" / "photos"
ABOUT = "An invented house, rendered: no such place exists."
GREY, CAMERA_K = 0.1812, 14.0


class Camera:
    """A pinhole with one radial coefficient, over half the diagonal; `focal` as on a frame of 36 x 24 mm."""

    def __init__(self, position, aim, size, focal=26.0, roll=0.0, bend=0.0):
        self.position, self.size, self.bend = np.array(position, float), size, bend
        self.axes = np.array(axes(position, aim, -roll))
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


# The sample photos. Corners as (left, right, bottom, top, forward), in metres; reflectances in linear sRGB.

BRICK, MORTAR, CREAM, WHITE, DARK, SHEET = (
    np.array(rgb)
    for rgb in (
        (0.27, 0.145, 0.1),
        (0.32, 0.28, 0.24),
        (0.62, 0.55, 0.42),
        (0.74, 0.74, 0.72),
        (0.05, 0.055, 0.06),
        (0.87, 0.87, 0.87),
    )
)
PARTS = {
    "wall": ((-6.0, 6.0, 0.0, 6.0, 0.0), "our brick"),
    "bay": ((-5.2, -2.2, 0.0, 2.8, 1.2), "cream siding"),
    "garage door": ((-4.9, -2.5, 0.0, 2.2, 1.2), "white garage door"),
    "front door": ((0.2, 1.2, 0.0, 2.1, 0.0), "dark door"),
    "lower window": ((2.6, 4.2, 1.0, 2.4, 0.0), "bare window"),
    "upper window left": ((-4.4, -3.0, 3.6, 4.8, 0.0), "bare window"),
    "upper window middle": ((-0.7, 0.7, 3.6, 4.8, 0.0), "bare window"),
    "upper window right": ((3.0, 4.4, 3.6, 4.8, 0.0), "bare window"),
}
KNOWN = [(-5.6, 0.3, 0.0), (5.6, 0.3, 0.0), (4.4, 4.8, 0.0), (-4.4, 4.8, 0.0)]
FRONT = Camera((1.0, 1.6, 12.5), (0.4, 2.7, 0.0), (2000, 1500), roll=0.6, bend=-0.05)
NEAR = Camera((0.3, 1.5, 3.2), (0.0, 1.4, 0.0), (800, 600), roll=-1.0)
SHEETS = [(-1.0, -0.58, 0.9, 1.2), (0.62, 1.04, 0.95, 1.25), (-0.2, 0.22, 2.0, 2.3)]
SPOT = (-0.45, 0.45, 1.1, 1.8)
SHOT = Camera((0.5, 1.5, 5.0), (0.0, 1.4, 0.0), (800, 600))
SHOT_SHEETS = [(-1.3, -0.88, 0.8, 1.1), (0.9, 1.32, 0.9, 1.2), (-0.2, 0.22, 1.9, 2.2)]


def corners(left, right, bottom, top, depth=0.0):
    return [(left, bottom, depth), (right, bottom, depth), (right, top, depth), (left, top, depth)]


def bricks(at):
    """A running bond of bricks of 24 cm by 7 cm between joints of 1 cm, each brick a little lighter or darker."""
    row = np.floor(at[:, 1] / 0.08)
    along = at[:, 0] / 0.25 + 0.5 * (row % 2)
    joint = (at[:, 1] % 0.08 < 0.01) | (along % 1.0 < 0.04)
    tone = 1.0 + 0.12 * np.sin(12.9898 * np.floor(along) + 78.233 * row)
    return np.where(joint[:, None], MORTAR, BRICK * tone[:, None])


def truth():
    """Luminous reflectance of the wall of bricks: its mean over many of them."""
    at = np.random.default_rng(5).uniform((-6, 0, 0), (6, 6, 0), (400_000, 3))
    return float((bricks(at).mean(axis=0) * (0.2126, 0.7152, 0.0722)).sum())


def day(at):
    return 9000.0 + 500.0 * at[:, 0] + 300.0 * at[:, 1]


STREET, PORCH = 0.9, 1.3  # [lx] at the spot


def street(at):
    return STREET * (1.0 + 0.05 * at[:, 0])


def with_porch(at):
    return street(at) + PORCH * np.exp(-0.02 * ((at[:, 0]) ** 2 + (at[:, 1] - 1.45) ** 2))


STATED, ARRIVING, AREA, BLACK = 3000.0, 0.58, 9.0, 1.0 / 250.0


def machine(at):
    return STATED * ARRIVING / AREA * (1.06 - 0.04 * at[:, 0] ** 2 - 0.03 * (at[:, 1] - 1.5) ** 2)


def pixels(camera, *box):
    return np.rint(camera.pixels(corners(*box))).tolist()


def make():
    """Make the photos, the marks in the first of them on whole pixels, and the front as it is."""
    import kit

    PHOTOS.mkdir(exist_ok=True)
    colours = {"our brick": bricks, "cream siding": CREAM, "white garage door": WHITE}
    front = [(*box, colours.get(surface, DARK)) for box, surface in PARTS.values()]
    sheets = [(*box, 0.0, SHEET) for box in SHEETS]
    close = [(-6.0, 6.0, 0.0, 6.0, 0.0, bricks), *sheets]
    shot = [(-6.0, 6.0, 0.0, 6.0, 0.0, bricks), *((*box, 0.0, SHEET) for box in SHOT_SHEETS)]
    for name, camera, panels, light, how in (
        ("front", FRONT, front, day, {"f_number": 2.2, "time": 1 / 640, "speed": 50}),
        ("paper", NEAR, close, day, {"f_number": 2.2, "time": 1 / 1600, "speed": 50}),
        ("night", NEAR, close, with_porch, {"f_number": 1.8, "time": 1 / 2, "speed": 800}),
        ("night_porch_off", NEAR, close, street, {"f_number": 1.8, "time": 1, "speed": 800}),
        ("white", SHOT, shot, lambda at: machine(at) + 0.2, {"f_number": 1.8, "time": 1 / 60, "speed": 100}),
        ("black", SHOT, shot, lambda at: BLACK * machine(at) + 0.2, {"f_number": 1.8, "time": 1 / 2, "speed": 800}),
    ):
        sky = (400.0, 450.0, 520.0) if light is day else (0.0, 0.0, 0.0)
        codes = encoded(luminance(camera, panels, light, beyond=sky), **how, noise=0.01)
        save(PHOTOS / f"{name}.jpg", codes, exif(camera.size, **how), quality=70)
    lines = [[(x, y, 0.0) for x in np.linspace(-6.0, 6.0, 9)] for y in (0.02, 5.98)]
    known = np.rint(FRONT.pixels(KNOWN))
    check = np.rint(FRONT.pixels([(0.2, 0.0, 0.0), (4.2, 2.4, 0.0)]))
    kit.Marks(
        size=FRONT.size,
        known=[(*pixel, *place[:2]) for pixel, place in zip(known, KNOWN, strict=True)],
        straight=[np.rint(FRONT.pixels(line)).tolist() for line in lines],
        checks=[(*check.ravel(), round(float(np.hypot(4.0, 2.4)), 2))],
        focal=26.0,
        parts=[
            kit.MarkedPart(name=name, surface=surface, corners=pixels(FRONT, *box), depth=box[4])
            for name, (box, surface) in PARTS.items()
        ],
    ).save(PHOTOS / "front.json")
    for name, camera, boxes in (("paper", NEAR, SHEETS), ("shot", SHOT, SHOT_SHEETS)):
        spots = {"wall": SPOT} | {f"sheet {i}": box for i, box in enumerate(boxes, 1)}
        parts = [kit.MarkedPart(name=n, surface="none", corners=pixels(camera, *box)) for n, box in spots.items()]
        kit.Marks(size=camera.size, parts=parts).save(PHOTOS / f"{name}.json")
    own = {"our brick": kit.Surface(name="our brick", reflectance=round(truth(), 3), kind="brick")}
    patches = []
    for name, (box, surface) in PARTS.items():
        patch = kit.Patch(name, corners(*box), own.get(surface) or kit.Surface.from_reference(surface))
        patches += kit.with_returns(patch, 0.0) if box[4] else [patch]
    show = kit.Show(house=kit.Facade(patches, name="the invented front as it is"))
    kit.save_show(show, PHOTOS / "truth.toml", overwrite=True)


if __name__ == "__main__":
    make()
