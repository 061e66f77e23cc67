"""Colour on the wall: what a surface makes of the light of a projector (CIE 1931 2 degree observer).

All is read off `primary_matrix`, the link between drive and colour: with an illuminance E of white light on the wall,
linear drive rgb has the luminance ``E / pi * (M @ rgb)[1]``.
"""

import math
from collections.abc import Iterable
from functools import cache, lru_cache

import numpy as np
import shapely

from kit.arrays import Array
from kit.errors import InputError
from kit.fields import REFLECTANCE, SHARE, Frozen, Is, Many, Number
from kit.results import Frame, Result, make_frame
from kit.source.spectra import CHANNELS, LightSource, Spectrum, light_source, tristimulus
from kit.wall.facade import Surface
from kit.wall.surface_spectra import surface_spectrum
from kit.words import Phrases

Chromaticity = tuple[float, float]
say = Phrases(__file__)

# Squares along an edge of each face of the RGB cube: Rec. 709 is then 0.01% below the limit of ever finer faces.
FACE_STEPS = 40
# Step of the CIELAB grid on which a solid is compared with another; Rec. 709 holds 50 000 points of it.
GRID_STEP = 2.5

ILLUMINANCE = Number(unit="lx", above=0.0)


def reflected_white(spd: Spectrum, reflectance: Spectrum) -> Array:
    """Return X, Y, Z of `spd` after reflection, with Y = 1 on an ideal white diffuser; shape (3,)."""
    return tristimulus(spd, reflectance) / tristimulus(spd)[1]


def primary_matrix(source: LightSource, reflectance: Spectrum | None = None) -> Array:
    """Return the matrix from linear drive of red, green, blue to X, Y, Z on the wall; of white on white Y is 1."""
    white = sum(tristimulus(channel)[1] for channel in source.channels)
    return np.stack([tristimulus(channel, reflectance) for channel in source.channels], axis=1) / white


@lru_cache(maxsize=1024)
def tint(source: str | None, surface: Surface) -> float:
    """Return the reflectance of a surface for a projector's white over that for daylight; 1 for a source not said."""
    if source is None or not surface.reflectance:
        return 1.0
    return float(primary_matrix(light_source(source), surface_spectrum(surface))[1].sum() / surface.reflectance)


class Gamut(Frozen, kw_only=False):
    """The colours of a projector on a wall over those of Rec. 709."""

    area_share: float  # of the triangle of primaries in the CIE 1931 (x, y) diagram
    volume_share: float  # of the solid in CIELAB, small on a dark wall: its white is the projector's on ideal white
    volume_covered: float  # what the two have in common


def gamut(matrix: Array, white: Chromaticity, *, black_share: float = 0.0) -> Gamut:
    """Return how much of Rec. 709 is left of the colours that a `primary_matrix` makes; of primaries without any:
    `InputError`.
    `white`: chromaticity of CIELAB's reference white of Y = 1; `black_share`: luminance of black over that of white
    without it, in [0, 1], of the colour of white: leak and ambient light add it to every colour.
    """
    import colour

    SHARE.check("black_share", black_share)
    if not np.all(np.isfinite(matrix)) or abs(np.linalg.det(matrix)) < 1e-12:
        raise InputError("matrix", np.asarray(matrix).tolist(), "three primaries of different colour")
    black = black_share * matrix.sum(axis=1)
    reference, _ = rec709()
    ours, theirs = (shapely.Polygon(colour.XYZ_to_xy(corners)).area for corners in (matrix.T + black, reference.T))
    volume, points = _rec709_solid()
    drive = (points * colour.xy_to_XYZ(white) - black) @ np.linalg.inv(matrix).T
    inside = np.all((drive >= -1e-9) & (drive <= 1.0 + 1e-9), axis=-1)
    return Gamut(ours / theirs, lab_volume(matrix, white, black=black) / volume, float(inside.mean()))


def lab_volume(matrix: Array, white: Chromaticity, *, black: Array | None = None) -> float:
    """Return the volume in CIELAB of all colours ``matrix @ rgb + black``, rgb from 0 to 1, whose surface is that of
    the RGB cube: of triangles, even in lightness of a grey, each with the centre (divergence theorem).
    """
    import colour

    # Even steps of the cube root: even steps of light would leave the dark end coarse.
    edge = np.linspace(0.0, 1.0, FACE_STEPS + 1) ** 3
    first, second = np.meshgrid(edge, edge, indexing="ij")
    total = 0.0
    for axis in range(3):
        for end, sign in ((0.0, -1.0), (1.0, 1.0)):
            # (axis, axis + 1, axis + 2) is a right-handed order, so the normal points along +axis.
            rgb = np.empty((*first.shape, 3))
            rgb[..., axis], rgb[..., (axis + 1) % 3], rgb[..., (axis + 2) % 3] = end, first, second
            lab = colour.XYZ_to_Lab(rgb @ matrix.T + (0.0 if black is None else black), white) - (50.0, 0.0, 0.0)
            a, b, c, d = lab[:-1, :-1], lab[1:, :-1], lab[1:, 1:], lab[:-1, 1:]
            for corners in ((a, b, c), (a, c, d)):
                total += sign * np.linalg.det(np.stack(corners, axis=-2)).sum() / 6.0
    return abs(float(total))


@cache
def rec709() -> tuple[Array, Chromaticity]:
    """Return matrix and white of Rec. 709 (ITU-R BT.709, white D65), as colour-science has them."""
    import colour

    space = colour.RGB_COLOURSPACES["ITU-R BT.709"]
    x, y = space.whitepoint
    return np.array(colour.normalised_primary_matrix(space.primaries, space.whitepoint)), (float(x), float(y))


class WallColour(Result):
    """What a surface makes of the light of a projector."""

    surface: str
    source: str
    origin: str  # of the surface's spectrum: see `kit.source.spectra.Spectrum`
    reflectance: float  # luminous, under the projector's white
    chromaticity: dict[str, Chromaticity]  # on the wall, of white, red, green and blue
    luminance: dict[str, float]  # the same, for the given illuminance of white, black light included [cd/m2]
    gamut: Gamut
    white_difference: float  # CIEDE2000 between the wall's white, of Y = 100, and D65, to which an eye is adapted
    neutral_share: float | None  # of white's luminance, left when channels are turned down until it is D65; or never
    neutral_drive: tuple[float, float, float] | None  # the linear drive that does it

    def frame(self, units: str = "m") -> Frame:
        """Return the colour as a frame of one row, see `colour_frame`; `units` change nothing."""
        return colour_frame([self])

    def sentence(self, units: str = "m") -> str:
        """Return in words what the wall does to colour; `units` change nothing."""
        return f"{say('wall', wall=self)} {say('tinted' if self.neutral_share is None else 'neutral', wall=self)}"


def wall_colour(
    source: LightSource, surface: Surface, *, white_illuminance: float = 100.0, black_share: float = 0.0,
    colour_share: float = 1.0,
) -> WallColour:  # fmt: skip
    """Return colour and luminance of a surface in the light of a projector; a gain scales luminance and leaves colour.

    Parameters
    ----------
    source, surface : LightSource, Surface
        A surface of reflectance 0 has no colour: `InputError`.
    white_illuminance : float
        Of the projector's white on the wall, above 0 [lx].
    black_share : float
        Luminance of black over that of white without it, 0 to 1: leak and ambient light.
    colour_share : float
        Light of full colours together over that of white: what white has above it, a machine adds where all three are
        on.

    Examples
    --------
    >>> import kit
    >>> brick = kit.wall_colour(kit.light_source("lamp"), kit.Surface.from_reference("red brick"))
    >>> f"{brick.luminance['white']:.1f} cd/m² at 100 lx; {brick.neutral_share:.0%} left when white is made neutral"
    '4.7 cd/m² at 100 lx; 46% left when white is made neutral'
    """
    import colour

    ILLUMINANCE.check("white_illuminance", white_illuminance)
    SHARE.check("black_share", black_share)
    REFLECTANCE.but(above=0.0).check(f"surface {surface.name!r}: reflectance", surface.reflectance)
    reflectance = surface_spectrum(surface)
    matrix = primary_matrix(source, reflectance)
    left = gamut(matrix, source.white, black_share=black_share)
    white = matrix.sum(axis=1)
    shown = np.array([white, *matrix.T]) + black_share * white
    names, per_y = ("white", *CHANNELS), white_illuminance / math.pi * gain_of(surface)

    _, neutral = rec709()
    seen = colour.XYZ_to_Lab(white / white[1], neutral)
    difference = colour.delta_E(seen, np.array([100.0, 0.0, 0.0]), method="CIE 2000")
    # D65 of Y = 1 needs this drive. Scaled until the strongest channel, black light included, is at full.
    drive = np.linalg.solve(matrix, colour.xy_to_XYZ(neutral))
    least, full = (1.0 - colour_share) * drive.min(), drive.max()
    pure = (drive - least) / (full - least)
    red, green, blue = ((1.0 + black_share) * pure - black_share).tolist()
    possible = min(red, green, blue, drive.min()) >= 0.0
    return WallColour(
        surface=surface.name, source=source.name, origin=reflectance.origin, reflectance=float(white[1]),
        chromaticity={name: (float(x), float(y)) for name, (x, y) in zip(names, colour.XYZ_to_xy(shown), strict=True)},
        luminance=dict(zip(names, (per_y * shown[:, 1]).tolist(), strict=True)),
        gamut=left, white_difference=float(difference),
        neutral_share=float(colour_share / ((full - least) * white[1])) if possible else None,
        neutral_drive=(red, green, blue) if possible else None,
    )  # fmt: skip


def gain_of(surface: Surface) -> float:
    """Return the luminance of a surface over that of a diffuse one of its reflectance; 1 for one that is black."""
    return surface.luminance_factor / surface.reflectance if surface.reflectance > 0.0 else 1.0


def colour_frame(colours: Iterable[WallColour]) -> Frame:
    """Return walls as a frame with one row for each."""
    rows = [
        {
            "surface": item.surface, "light source": item.source, "spectrum": item.origin,
            "white x": item.chromaticity["white"][0], "white y": item.chromaticity["white"][1],
            "reflectance": item.reflectance, "white [cd/m²]": item.luminance["white"],
            "area [Rec. 709]": item.gamut.area_share, "volume [Rec. 709]": item.gamut.volume_share,
            "CIEDE2000 to D65": item.white_difference, "left when neutral": item.neutral_share,
        }
        for item in Many(of=Is(kind=WallColour), least=1).check("colours", colours)
    ]  # fmt: skip
    shares = dict.fromkeys(("area [Rec. 709]", "volume [Rec. 709]", "left when neutral"), ".0%")
    digits = dict.fromkeys(("white x", "white y", "reflectance"), ".3f")
    return make_frame(rows, shares | digits | {"CIEDE2000 to D65": ".1f"}, index="surface")


@cache
def _rec709_solid() -> tuple[float, Array]:
    """Return the volume of Rec. 709 in CIELAB, and X, Y, Z over those of white, shape (n, 3), of a grid inside it."""
    import colour

    matrix, white = rec709()
    axes = [np.arange(low, high, GRID_STEP) + GRID_STEP / 2 for low, high in ((0, 100), (-100, 110), (-120, 110))]
    lab = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
    xyz = np.asarray(colour.Lab_to_XYZ(lab, white), float)
    drive = xyz @ np.linalg.inv(matrix).T
    inside = np.all((drive >= 0.0) & (drive <= 1.0), axis=-1)
    return lab_volume(matrix, white), xyz[inside] / colour.xy_to_XYZ(white)
