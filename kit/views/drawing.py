"""Pictures of a front and of the light on it. Nothing here computes light.

Colours run from dark to light, perceptually uniform (viridis), so they read in greyscale and with any colour
vision. Points that miss the target carry diagonal stripes, which do not need colour at all.
"""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

import matplotlib
import numpy as np
import xarray as xr
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import LogNorm
from matplotlib.figure import Figure
from matplotlib.patches import Patch as Swatch
from matplotlib.patches import PathPatch
from matplotlib.path import Path

from kit.decision.verdict import Target
from kit.errors import InputError
from kit.units import metres_per
from kit.wall.facade import Facade
from kit.wall.raster import elevation_rings

if TYPE_CHECKING:
    from matplotlib.axes import Axes

COLOURS = "viridis"


@dataclass(frozen=True, kw_only=True)
class Scale:
    """How one quantity is drawn: label, unit, fixed limits of the logarithmic colour scale."""

    label: str
    low: float
    high: float
    ticks: tuple[float, ...]


SCALES = {
    "white_luminance": Scale(label="luminance of white (cd/m²)", low=0.3, high=30.0, ticks=(0.3, 1, 3, 10, 30)),
    "contrast": Scale(label="contrast at the eye (x : 1)", low=2.0, high=100.0, ticks=(2, 5, 10, 20, 50, 100)),
}


def draw_house(facade: Facade, ax: Axes | None = None, *, units: str = "m") -> Axes:
    """Draw a front in elevation, coloured by surface: darker where it reflects less.

    Parameters
    ----------
    facade : Facade
    ax : matplotlib Axes, optional
        A new figure is made where none is given.
    units : {"m", "ft"}
        Of the axes.

    Returns
    -------
    matplotlib Axes
    """
    if ax is None:
        ax = Figure(figsize=(9.0, 5.2), layout="constrained").subplots()
    metre = 1.0 / metres_per(units)
    colours = matplotlib.colormaps[COLOURS]
    order = sorted(
        (p for p in facade.patches if p.faces_audience), key=lambda p: max(corner[2] for corner in p.outline)
    )
    shade = {s.name: float(np.mean(s.reflectance)) for s in facade.surfaces()}
    for patch in order:
        path = Path.make_compound_path(*(Path(ring * metre, closed=False) for ring in _closed(patch)))
        colour = colours(shade[patch.surface.name])
        ax.add_patch(PathPatch(path, facecolor=colour, edgecolor="0.25", linewidth=0.7))
    swatches = [
        Swatch(facecolor=colours(value), edgecolor="0.25", label=f"{name}: reflectance {value:.2f}")
        for name, value in sorted(shade.items(), key=lambda item: item[1])
    ]
    left, right, bottom, top = (limit * metre for limit in facade.bounds)
    margin = 0.03 * (right - left)
    ax.set(
        xlim=(left - margin, right + margin),
        ylim=(bottom - margin, top + margin),
        aspect="equal",
        xlabel=f"across the front ({units})",
        ylabel=f"height ({units})",
        title=facade.name,
    )
    ax.legend(handles=swatches, loc="center left", bbox_to_anchor=(1.01, 0.5), frameon=False)
    return ax


def draw_map(light: xr.Dataset, name: str, target: Target, ax: Axes | None = None, *, units: str = "m") -> Axes:
    """Draw one map of `light` on its fixed colour scale, with stripes where it misses the target.

    Parameters
    ----------
    light : xarray.Dataset
        One map on (y, x) from `light_map`.
    name : {"white_luminance", "contrast"}
    target : Target
    ax : matplotlib Axes, optional
    units : {"m", "ft"}
        Of the axes.

    Raises
    ------
    InputError
        For another name.
    """
    if name not in SCALES:
        raise InputError("name", name, f"one of {', '.join(SCALES)}")
    if ax is None:
        ax = Figure(figsize=(7.5, 4.8), layout="constrained").subplots()
    image = ax.imshow(_colours(light, name, target), extent=_extent(light, units), origin="lower")
    image.set_interpolation("nearest")
    _label(ax, units)
    figure = ax.get_figure()
    assert figure is not None
    _colour_bar(figure, [ax], name, target)  # type: ignore[arg-type]
    return ax


def show(ax: Axes, alt: str) -> Any:
    """Return the figure of `ax` as a picture for a notebook, with a text for those who cannot see it."""
    from IPython.display import Image

    figure = ax.get_figure()
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", dpi=90, bbox_inches="tight")  # type: ignore[union-attr]
    return Image(buffer.getvalue(), format="png", alt=alt)


class _Board:
    """Pictures side by side that are redrawn fast: axes and scales are drawn once and kept as a background."""

    def __init__(self, *, units: str, size: tuple[float, float]) -> None:
        self.units = units
        self.size = size
        self._frame: tuple[float, ...] | None = None

    def _build(self, extent: tuple[float, ...], shape: tuple[int, ...], rows: int) -> list[list[Axes]]:
        self.figure = Figure(figsize=self.size, dpi=100, layout="constrained")
        self.canvas = FigureCanvasAgg(self.figure)
        axes = self.figure.subplots(rows, 2, sharex=True, sharey=True, squeeze=False)
        self.images: list[list[Any]] = []
        for row in axes:
            images = []
            for ax in row:
                blank = np.zeros((*shape, 4), dtype=np.uint8)
                images.append(ax.imshow(blank, extent=extent, origin="lower", interpolation="nearest", animated=True))
                _label(ax, self.units)
                ax.label_outer()
            self.images.append(images)
        self.titles = [ax.set_title("title", fontsize=11, animated=True) for ax in axes[0]]
        return [list(row) for row in axes]

    def _keep(self) -> None:
        """Lay out once, then keep what does not change as a picture."""
        self.canvas.draw()
        self.figure.set_layout_engine("none")
        self.canvas.draw()
        self.empty = self.canvas.copy_from_bbox(self.figure.bbox)

    def _paint(self, pictures: Sequence[Sequence[np.ndarray]], titles: Sequence[str]) -> bytes:
        """Return the board with `pictures`, row by row, as a PNG picture."""
        if list(titles) != [title.get_text() for title in self.titles]:
            self.canvas.restore_region(self.empty)  # type: ignore[attr-defined]
            for artist, title in zip(self.titles, titles, strict=True):
                artist.set_text(title)
                artist.axes.draw_artist(artist)  # type: ignore[union-attr]
            self.background = self.canvas.copy_from_bbox(self.figure.bbox)
        self.canvas.restore_region(self.background)  # type: ignore[attr-defined]
        for row, images in zip(pictures, self.images, strict=True):
            for picture, image in zip(row, images, strict=True):
                image.set_data(picture)
                image.axes.draw_artist(image)
        return png(self.canvas)


class MapBoard(_Board):
    """Four maps, two options side by side, redrawn fast: axes and colour scales stay as they are.

    Parameters
    ----------
    target : Target
        Marked on the colour scales, and where the stripes begin.
    units : {"m", "ft"}
        Of the axes.
    size : (float, float)
        Of the figure [inches at 100 dots].
    """

    def __init__(self, target: Target, *, units: str = "m", size: tuple[float, float] = (8.8, 6.4)) -> None:
        super().__init__(units=units, size=size)
        self.target = target

    def draw(self, maps: Sequence[xr.Dataset], titles: Sequence[str]) -> bytes:
        """Return the board with two maps as a PNG picture.

        Parameters
        ----------
        maps : two xarray.Dataset
            Each one map on (y, x); both over the same extent.
        titles : two str
        """
        frame = (*_extent(maps[0], self.units), *maps[0]["patch"].shape)
        if frame != self._frame:
            axes = self._build(frame[:4], maps[0]["patch"].shape, len(SCALES))
            for row, name in zip(axes, SCALES, strict=True):
                _colour_bar(self.figure, row, name, self.target)
            self._keep()
            self._frame = frame
        return self._paint([[_colours(light, name, self.target) for light in maps] for name in SCALES], titles)


class NightBoard(_Board):
    """Two night pictures side by side, redrawn fast.

    Parameters
    ----------
    units : {"m", "ft"}
        Of the axes.
    size : (float, float)
        Of the figure [inches at 100 dots].
    """

    def __init__(self, *, units: str = "m", size: tuple[float, float] = (9.6, 4.2)) -> None:
        super().__init__(units=units, size=size)

    def draw(self, views: Sequence[xr.Dataset], images: Sequence[np.ndarray], titles: Sequence[str]) -> bytes:
        """Return two options as a PNG picture.

        Parameters
        ----------
        views : two xarray.Dataset
            Both over the same extent; say where the pictures lie.
        images : two arrays of bytes, shape (y, x, 3), row 0 on top
            From `kit.on_screen`.
        titles : two str
        """
        frame = (*_extent(views[0], self.units), *views[0]["patch"].shape)
        if frame != self._frame:
            self._build(frame[:4], views[0]["patch"].shape, 1)
            self._keep()
            self._frame = frame
        opaque = [np.dstack([image[::-1], np.full(image.shape[:2], 255, np.uint8)]) for image in images]
        return self._paint([opaque], titles)


def png(canvas: FigureCanvasAgg) -> bytes:
    """Return what `canvas` shows as a PNG picture (ISO/IEC 15948), compressed quickly rather than well.

    Flat areas and no choice of row filters: a quarter of the time that an image library takes over the same picture,
    which is what a slider waits for.
    """
    pixels = np.asarray(canvas.buffer_rgba())
    height, width, _ = pixels.shape
    # Each row begins with the number of its filter: 0, none.
    rows = np.zeros((height, 1 + 4 * width), dtype=np.uint8)
    rows[:, 1:] = pixels.reshape(height, -1)
    chunks = (
        (b"IHDR", struct.pack(">2I5B", width, height, 8, 6, 0, 0, 0)),
        (b"IDAT", zlib.compress(rows.tobytes(), 1)),
        (b"IEND", b""),
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data)) for kind, data in chunks
    )


def _closed(patch: Any) -> list[Any]:
    return [np.concatenate([ring, ring[:1]]) for ring in elevation_rings(patch)]


@cache
def _colour_table() -> np.ndarray:
    return (matplotlib.colormaps[COLOURS](np.arange(256)) * 255).astype(np.uint8)


def _colours(light: xr.Dataset, name: str, target: Target) -> np.ndarray:
    """Return a map as colours, shape (y, x, 4): stripes where what counts misses the target, lines round patches."""
    scale = SCALES[name]
    values = light.variables[name].values
    patch = light.variables["patch"].values
    table = _colour_table()
    with np.errstate(divide="ignore", invalid="ignore"):
        position = np.log(values / scale.low) * (255.0 / np.log(scale.high / scale.low))
        misses = values < getattr(target, name)
    misses &= np.append(light.variables["judged"].values.astype(bool), False)[patch]
    level = np.clip(np.nan_to_num(position, nan=0.0, posinf=255.0, neginf=0.0), 0, 255).astype(np.uint8)
    result = table[level]
    diagonal = np.arange(patch.shape[0])[:, None] + np.arange(patch.shape[1])
    stripe = misses & (diagonal % 8 < 2)
    result[stripe, :3] = result[stripe, :3] // 2 + 127
    edge = np.zeros(patch.shape, dtype=bool)
    edge[1:] |= patch[1:] != patch[:-1]
    edge[:, 1:] |= patch[:, 1:] != patch[:, :-1]
    result[edge] = (20, 20, 20, 255)
    result[patch < 0] = (255, 255, 255, 255)
    return result


def _extent(light: xr.Dataset, units: str) -> tuple[float, float, float, float]:
    half = light.attrs["spacing"] / 2.0
    x, y = light.variables["x"].values, light.variables["y"].values
    metre = 1.0 / metres_per(units)
    left, right, bottom, top = x[0] - half, x[-1] + half, y[0] - half, y[-1] + half
    return float(left * metre), float(right * metre), float(bottom * metre), float(top * metre)


def _label(ax: Axes, units: str) -> None:
    ax.set(xlabel=f"across the front ({units})", ylabel=f"height ({units})")


def _colour_bar(figure: Figure, axes: list[Axes], name: str, target: Target) -> None:
    scale = SCALES[name]
    mappable = matplotlib.cm.ScalarMappable(norm=LogNorm(scale.low, scale.high), cmap=COLOURS)
    bar = figure.colorbar(mappable, ax=axes, label=scale.label, pad=0.015)
    bar.set_ticks(list(scale.ticks), labels=[f"{tick:g}" for tick in scale.ticks])
    bar.ax.minorticks_off()
    wanted = getattr(target, name)
    if scale.low <= wanted <= scale.high:
        bar.ax.axhline(wanted, color="white", linewidth=3.5)
        bar.ax.axhline(wanted, color="black", linewidth=1.5)
        bar.ax.text(
            -0.25, wanted, f"{wanted:g}\nwanted", ha="right", va="center", fontsize=8,
            transform=bar.ax.get_yaxis_transform(),
        )  # fmt: skip
