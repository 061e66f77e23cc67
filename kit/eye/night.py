r"""Night picture: how the front looks to the audience with a picture on it, and how to show that on a screen.

Each point of the front sends four lights to the eye, each of its own colour: the picture, the black that the projector
cannot avoid, the ambient light on the wall, and the veil in the eye. They are added as X, Y, Z in cd/m2.

A screen cannot show these luminances: one tone curve translates them, the same for all options that are compared, the
one factor that makes what is just visible at night just visible on the screen (G. Ward, A contrast-based scalefactor
for luminance display, Graphics Gems IV (1994) 415-421, from memory),

.. math:: m = \frac{1}{L_d} \left(\frac{1.219 + (L_d/2)^{0.4}}{1.219 + L_a^{0.4}}\right)^{2.5}

with :math:`L_d` the screen's white and :math:`L_a` the luminance that the eye is adapted to, here the logarithmic mean
over all the options together. What eyes lose of colour and detail in the dark is left out: below about 3 cd/m2 the real
front looks greyer. A picture's red, green and blue drive the projector's own. The screen is sRGB (IEC 61966-2-1).
"""

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from typing import Literal

import numpy as np
import xarray as xr
from scipy.ndimage import map_coordinates

from kit import reference
from kit.arrays import Array, Extent, NDArray
from kit.blocks import Memory
from kit.errors import InputError
from kit.eye.colorimetry import gain_of, primary_matrix, reflected_white
from kit.eye.glare import picture_spread, spread_by
from kit.eye.light_map import EXTENT, Scene, light_map
from kit.eye.picture_file import Picture
from kit.fields import Is, Many
from kit.light.cast import blended, cast_light
from kit.quantities import labelled
from kit.results import Frame, Result, check_made, make_frame
from kit.source.spectra import CHANNELS, LightSource, ambient_spectrum, tristimulus
from kit.wall.facade import Facade
from kit.wall.raster import Grid, visible
from kit.wall.surface_spectra import surface_spectrum
from kit.words import Phrases, join, percent

say = Phrases(__file__)
Fit = Literal["front", "projector"]


def night_view(
    scene: Scene, picture: Picture, source: LightSource, *, fit: Fit = "front",
    ambient_light: str = "warm white led street lamp", spacing: float = 0.075, extent: Extent | None = None,
) -> xr.Dataset:  # fmt: skip
    """Return what the audience sees with `picture` on the front.

    Parameters
    ----------
    scene : Scene
        Its average picture level is replaced by that of the picture, as far as it lands on the front.
    source : LightSource
        Of all its projectors.
    fit : {"front", "projector"}
        Whether the picture is laid over the front in elevation, edge to edge, as content drawn on a photograph of it;
        or fills the picture of each projector, stretched to its shape.
    ambient_light : str
        Colour of ambient light and veil, see `ambient_spectrum`.

    Returns
    -------
    xarray.Dataset
        That of `light_map` with ``xyz`` (y, x, channel) [cd/m2], everything the eye gets, NaN where there is no wall;
        and ``drive`` (y, x, primary), the picture's linear drive where it lands, 0 where there is no light for it; of
        several projectors the mean by their light.
    """
    scene = replace(scene, black_detail=None)  # what the eye spreads of this picture is worked out below
    first = light_map(scene, spacing, extent=extent)
    weights = np.nan_to_num(first["illuminance"].values)
    # Light from the ground falls into shadows too, and no picture changes it.
    drive = np.where((weights > 0.0)[..., None], _drive(scene, picture, first, fit, extent), 0.0)
    total = weights.sum()
    level = float((weights[..., None] * drive).sum() / (3.0 * total)) if total else 0.0
    light = light_map(replace(scene, average_picture_level=min(level, 1.0)), spacing, extent=extent)

    index, around = light["patch"].values, ambient_spectrum(ambient_light)
    surfaces = [patch.surface for patch in scene.facade.patches]
    spectra = {surface: surface_spectrum(surface) for surface in set(surfaces)}
    colours = {s: (primary_matrix(source, light), reflected_white(around, light)) for s, light in spectra.items()}
    # The last row serves the index -1, where there is no wall.
    matrices = np.array([*(colours[s][0] for s in surfaces), np.full((3, 3), np.nan)])
    whites = np.array([*(colours[s][1] for s in surfaces), np.full(3, np.nan)])
    gain = np.array([*map(gain_of, surfaces), np.nan])[index] / np.pi
    # What the ground sends back is the same whatever a point shows.
    bright = (light["illuminance"].values + light.attrs["light_from_ground"]) * gain
    dark = light["black_illuminance"].values * gain
    # Full white is what the projector is stated to give, its own leak and scatter included.
    # What its white has above its colours, white alone has.
    share = np.average([machine.colour_share[1] for machine, _ in scene.projectors], weights=light["delivered_light"])
    shown = share * drive + (1.0 - share) * drive.min(axis=-1, keepdims=True)
    mixed = dark[..., None] + shown * (bright - dark)[..., None]
    xyz = np.einsum("yxij,yxj->yxi", matrices[index], mixed)
    xyz += whites[index] * (light["ambient_illuminance"].sum("source", skipna=False).values[..., None] / np.pi)
    if scene.ambient.eye is not None:
        # What leaves a point for others is missing there: the eye spreads light and makes none.
        kernel = picture_spread(scene.facade, index.shape, float(light.attrs["spacing"]), scene.ambient.viewer)
        xyz = spread_by(kernel, xyz) + (1.0 - kernel.sum()) * xyz
    veil = tristimulus(around)
    xyz += veil * (light["veiling_luminance"].sum("source", skipna=False).values[..., None] / veil[1])
    seen, wanted = labelled("xyz", ("y", "x", "channel"), xyz), labelled("drive", ("y", "x", "primary"), drive)
    return light.assign(xyz=seen, drive=wanted, channel=["X", "Y", "Z"], primary=list(CHANNELS))


class Screen(Result):
    """Options translated for a screen, all by one tone curve."""

    images: tuple[NDArray[np.uint8], ...]  # of shape (y, x, 3), sRGB, row 0 on top; black where there is no wall
    adaptation: float  # luminance that the eye is taken to be adapted to [cd/m2]
    brightest: float  # that is shown as the screen's white [cd/m2]
    cut: tuple[float, ...]  # share of each front too bright or too saturated for it, drawn as near as it gets

    def frame(self, units: str = "m") -> Frame:
        """Return how each picture was made; `units` change nothing."""
        both = {"eye adapted to [cd/m²]": self.adaptation, "screen's white stands for [cd/m²]": self.brightest}
        rows = [{"picture": number, **both, "beyond the screen": cut} for number, cut in enumerate(self.cut, 1)]
        return make_frame(rows, {"beyond the screen": ".0%"}, index="picture")

    def sentence(self, units: str = "m") -> str:
        """Return in words how the pictures were made; `units` change nothing."""
        return say("screen", screen=self, cut=join([*map(percent, self.cut)]))


def on_screen(views: Sequence[xr.Dataset]) -> Screen:
    """Return options, each a `night_view`, as pictures for an sRGB screen, all by one tone curve and one adaptation."""
    for view in Many(of=Is(kind=xr.Dataset), least=1).check("views", views):
        check_made("views", view, "xyz", "kit.night_view")
    fronts = [view["xyz"].values for view in views]
    luminance = np.concatenate([xyz[..., 1].ravel() for xyz in fronts])
    luminance = luminance[luminance > 0]
    if not luminance.size:
        raise InputError("views", "no light at all", "a front with some light on it")
    adaptation = float(np.exp(np.mean(np.log(luminance))))
    white = reference.value("constants", "white of a screen")
    scale = ward_scale(adaptation, white)
    to_rgb, table = _screen()
    images, cut = [], []
    for xyz in fronts:
        rgb = (xyz * scale) @ to_rgb.T
        wall = np.isfinite(rgb[..., 0])
        outside = wall & ((rgb < -1e-3) | (rgb > 1.0 + 1e-3)).any(axis=-1)
        cut.append(float(outside.sum() / max(1, wall.sum())))
        # Counted above, so the cut is not silent.
        level = np.clip(np.nan_to_num(rgb, nan=0.0), 0.0, 1.0)
        images.append(table[np.rint(level * (len(table) - 1)).astype(np.intp)][::-1])
    return Screen(images=tuple(images), adaptation=adaptation, brightest=1.0 / scale, cut=tuple(cut))


def ward_scale(adaptation: float, white: float) -> float:
    """Return the share of a screen's white [cd/m2] that stands for each cd/m2 of the scene [m2/cd]; see the module."""
    names = ("offset", "inner exponent", "exponent")
    offset, inner, outer = (reference.value("constants", f"visibility threshold {name}") for name in names)
    return ((offset + (white / 2.0) ** inner) / (offset + adaptation**inner)) ** outer / white


def daylight_picture(facade: Facade, *, spacing: float = 0.03) -> Picture:
    """Return the front as it looks by daylight, to be projected onto itself: flat colours, no sun and no shade.

    It is for ``fit="front"``: over the front's bounds, in pixels of `spacing` [m], black where there is no wall. An
    ideal white wall would be full white; a colour beyond the screen's primaries is drawn as near as they get.
    """
    grid = Grid.over(facade.bounds, spacing)
    index = visible(facade, grid)
    daylight = ambient_spectrum("daylight")
    to_rgb, _ = _screen()
    colours = [to_rgb @ reflected_white(daylight, surface_spectrum(p.surface)) for p in facade.patches]
    table = np.clip(np.array([*colours, np.zeros(3)]), 0.0, 1.0)
    return Picture(name=f"{facade.name} by daylight", rgb=table[index][::-1])


class BaseColours(Result, eq=False):
    """What becomes of a picture on each visible, lit patch.

    `patches` by name: median ``luminance`` at the eye, and ``brightest`` with this patch's colour turned up until one
    channel is full [cd/m2]; saturation s_uv ``wanted``, of the picture's own mean colour against D65, and ``seen``,
    against the projector's white on an ideal white wall (CIE 015:2018: 13 times the distance in u'v').
    """

    patches: Frame

    def frame(self, units: str = "m") -> Frame:
        """Return a row for each patch; `units` change nothing."""
        names = {"luminance": "luminance [cd/m²]", "brightest": "at most [cd/m²]"}
        names |= {"wanted": "colour strength in the picture", "seen": "colour strength as seen"}
        frame = self.patches.rename(columns=names)
        frame.attrs["formats"] = dict.fromkeys(names.values(), ".2f")
        return frame

    def sentence(self, units: str = "m") -> str:
        """Return in words how bright the picture is, and where it loses most of its colour; `units` change nothing."""
        found = self.patches
        if found.empty:
            return say("unlit")
        words = say("bright", low=found.luminance.min(), high=found.luminance.max())
        kept = (found.seen / found.wanted)[found.wanted > 0.0]
        if kept.empty:
            return words
        return f"{words} {say('fades', patch=str(kept.idxmin()), share=kept.min())}"


def base_colours(view: xr.Dataset, facade: Facade, source: LightSource) -> BaseColours:
    """Return for each visible, lit patch how bright and how saturated a picture comes out in a `night_view`, such as
    that of the daylight picture on its own front under cloth, by the `facade` and `source` of that view.
    """
    import pandas as pd

    check_made("view", view, "patch xyz drive", "kit.night_view")
    white = primary_matrix(source).sum(axis=1)
    from_rgb = np.linalg.inv(_screen()[0])
    d65 = from_rgb.sum(axis=1)
    index, lit = view["patch"].values, np.nan_to_num(view["illuminance"].values) > 0
    xyz, drive = view["xyz"].values, view["drive"].values
    result = {}
    for i, patch in enumerate(facade.patches):
        here = (index == i) & lit
        if not here.any():
            continue
        colour, seen = np.median(drive[here], axis=0), np.median(xyz[here], axis=0)
        matrix = primary_matrix(source, surface_spectrum(patch.surface)) * (gain_of(patch.surface) / np.pi)
        illuminance = float(np.median((view["illuminance"] - view["black_illuminance"]).values[here]))
        peak = float(colour.max())
        full = colour / peak if peak > 0 else np.ones(3)
        added = illuminance * (matrix @ (full - colour))[1]
        saturation = _saturation(from_rgb @ colour, d65) if peak > 0 else 0.0, _saturation(seen, white)
        result[patch.name] = float(seen[1]), float(seen[1] + added), *saturation
    columns = ["luminance", "brightest", "wanted", "seen"]
    patches = pd.DataFrame.from_dict(result, orient="index", columns=columns).rename_axis("patch")
    return BaseColours(patches=patches)


# A picture that stays where it is need not be laid over the front anew; large ones would hold memory.
_recent: Memory[Array] = Memory(keep=4, most=1 << 17)


def _drive(scene: Scene, picture: Picture, light: xr.Dataset, fit: Fit, extent: Extent | None) -> Array:
    """Return the linear drive that lands on each point, shape (y, x, 3); several projectors mix by their light."""
    x, y = light["x"].values, light["y"].values
    spacing = float(light.attrs["spacing"])
    left, right, bottom, top = scene.facade.bounds
    if fit == "front":
        across = (x - left) / (right - left) + 0.0 * y[:, None]
        down = (top - y[:, None]) / (top - bottom) + 0.0 * x
        size = (right - left) / spacing, (top - bottom) / spacing
        key = picture, x.tobytes(), y.tobytes(), scene.facade.bounds
        return _recent.get(key, across.size, lambda: _sampled(picture, across, down, *size))
    # The same cast as in `light`, remembered.
    area = scene.facade.bounds if extent is None else EXTENT.check("extent", extent)
    cast = cast_light(scene.facade, scene.projectors, area, spacing, scene.obstacles)
    result, lumens = np.zeros((*light["patch"].shape, 3)), np.zeros(light["patch"].shape)
    units = blended(cast)[0] if scene.blend else cast.units
    for (projector, _), beam, unit in zip(scene.projectors, cast.beams, units, strict=True):
        landing = beam.on(cast.raster.points)
        width, height = beam.size * float(np.nanmedian(landing.depth)) / spacing
        drive = _sampled(picture, landing.across + 0.5, 0.5 - landing.up, width, height)
        part = np.nan_to_num(unit) * projector.delivered()[1]
        result += drive * part[..., None]
        lumens += part
    return result / np.where(lumens > 0, lumens, 1.0)[..., None]


def _sampled(picture: Picture, across: Array, down: Array, columns: float, rows: float) -> Array:
    """Return the picture at shares of its width and height, 0 outside, averaged first where the raster is coarser."""
    width, height = min(picture.width, max(1, round(columns))), min(picture.height, max(1, round(rows)))
    if (width, height) != (picture.width, picture.height):
        picture = picture.resized(width, height)
    inside = (across >= 0) & (across <= 1) & (down >= 0) & (down <= 1)
    # Pixel centres lie half a pixel inside the edge; between them light is mixed, at the rim it stays.
    place = np.stack([np.nan_to_num(down) * height - 0.5, np.nan_to_num(across) * width - 0.5])
    result = np.empty((*across.shape, 3))
    for channel in range(3):
        map_coordinates(picture.rgb[..., channel], place, output=result[..., channel], order=1, mode="nearest")
    result[~inside] = 0.0
    return result


def _saturation(xyz: Array, white: Array) -> float:
    """Return s_uv of a colour against a white (CIE 015:2018); 0 for no light at all."""
    import colour

    here, there = (colour.xy_to_Luv_uv(colour.XYZ_to_xy(one)) for one in (xyz, white))
    return float(13.0 * np.hypot(*(here - there))) if xyz.any() else 0.0


@cache
def _screen() -> tuple[Array, NDArray[np.uint8]]:
    """Return the matrix from X, Y, Z (white: Y = 1) to linear sRGB, and its encoding as a table of bytes."""
    import colour

    space = colour.RGB_COLOURSPACES["sRGB"]
    table = np.rint(255.0 * space.cctf_encoding(np.linspace(0.0, 1.0, 1 << 14))).astype(np.uint8)
    return np.asarray(space.matrix_XYZ_to_RGB), table
