"""Pictures of a front and of the light on it.

Colours run from dark to light, perceptually uniform (viridis), so they read in greyscale and with any colour
vision. Points that miss the target carry diagonal stripes, which do not need colour at all.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from textwrap import fill
from typing import Any

import matplotlib
import numpy as np
import shapely
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import LogNorm
from matplotlib.figure import Figure
from matplotlib.patches import Patch as Swatch
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from PIL import Image
from scipy.ndimage import distance_transform_edt

from kit.decision.verdict import Target
from kit.fields import Frozen, guarded
from kit.units import metres_per
from kit.wall.facade import Facade, Patch

COLOURS = "viridis"
HATCHES = ("", "///", "...", "\\\\\\", "xxx", "---", "ooo", "+++")


class Scale(Frozen):
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
    """Draw a front in elevation, coloured by surface: darker where it reflects less, and hatched differently each.

    Parameters
    ----------
    ax : matplotlib Axes, optional
        A new figure is made where none is given.
    units : {"m", "ft"}
        Of the axes.
    """
    ax, metre = axes_of(ax, (9.0, 5.2)), 1.0 / metres_per(units)
    surfaces = sorted(facade.surfaces(), key=lambda surface: float(np.mean(surface.reflectance)))
    styles = {}
    for i, surface in enumerate(surfaces):
        value = float(np.mean(surface.reflectance))
        styles[surface.name] = {
            # By its root: by reflectance itself all that is dark would look alike.
            "facecolor": matplotlib.colormaps[COLOURS](value**0.5), "edgecolor": "white" if value < 0.25 else "0.25",
            "hatch": HATCHES[i % len(HATCHES)], "hatch_linewidth": 0.5, "linewidth": 0.0,
            "label": fill(f"{surface.name}: reflectance {value:.2f}", 52),
        }  # fmt: skip
    for patch, seen in seen_parts(facade):
        ax.add_patch(PathPatch(path_of(seen, metre), **styles[patch.surface.name]))
        ax.add_patch(PathPatch(path_of(seen, metre), facecolor="none", edgecolor="0.25", linewidth=0.7))
    left, right, bottom, top = (limit * metre for limit in facade.bounds)
    rim = 0.03 * (right - left)
    ax.set(xlim=(left - rim, right + rim), ylim=(bottom - rim, top + rim), aspect="equal", title=facade.name)
    _label(ax, units)
    beside: dict[str, Any] = {"loc": "center left", "bbox_to_anchor": (1.01, 0.5), "frameon": False}
    ax.legend(handles=[Swatch(**style) for style in styles.values()], **beside, handlelength=3, handleheight=1.6)
    return ax


class Board:
    """A figure, so many inches at 100 dots, redrawn fast: what stays is drawn once and kept as a picture."""

    def __init__(self, size: tuple[float, float]) -> None:
        self.size = size
        self.start()

    def start(self) -> None:
        """Begin with an empty figure."""
        self.figure = Figure(figsize=self.size, dpi=100)
        self.canvas = FigureCanvasAgg(self.figure)

    def keep(self) -> None:
        """Draw what there is, and keep it as what stays."""
        if (engine := self.figure.get_layout_engine()) is not None:
            engine.execute(self.figure)
            self.figure.set_layout_engine("none")
        self.canvas.draw()
        self._empty = self._kept = self.canvas.copy_from_bbox(self.figure.bbox)

    def keep_also(self, artists: Iterable[Any]) -> None:
        """Draw what seldom changes over what stays, and keep that too, in place of what was kept so before."""
        self.canvas.restore_region(self._empty)  # type: ignore[attr-defined]
        for artist in artists:
            artist.axes.draw_artist(artist)
        self._kept = self.canvas.copy_from_bbox(self.figure.bbox)

    def paint(self, artists: Iterable[Any], images: Iterable[tuple[Axes, Any]] = ()) -> bytes:
        """Return what stays, images (y, x, 4), row 0 at the bottom, each in its axes, and artists over it, as PNG."""
        self.canvas.restore_region(self._kept)  # type: ignore[attr-defined]
        pixels = np.asarray(self.canvas.buffer_rgba())
        for ax, image in images:
            # By hand: the plotting library would blend each picture, which takes longer than all the rest.
            (left, low), (right, high) = ax.get_window_extent().get_points().round().astype(int)
            box = np.s_[len(pixels) - high + 1 : len(pixels) - low - 1, left + 1 : right - 1]
            size = (int(right - left), int(high - low))
            whole = Image.fromarray(image[::-1]).resize(size, Image.Resampling.NEAREST)
            pixels[box] = np.asarray(whole)[1:-1, 1:-1]
        for artist in artists:
            artist.axes.draw_artist(artist)
        made = io.BytesIO()
        # Compressed quickly rather than well: a slider waits for it.
        Image.fromarray(pixels).convert("RGB").save(made, "PNG", compress_level=1)
        return made.getvalue()


class PairBoard(Board):
    """Pictures of a front, two options side by side, in so many rows; with a facade, straight edges over them."""

    outside, edges = "white", True

    def __init__(self, *, units: str, size: tuple[float, float], rows: int, facade: Facade | None = None) -> None:
        super().__init__(size)
        self.units, self.rows, self.facade = units, rows, facade
        self._extent: tuple[float, ...] = ()

    def scales(self, axes: Any) -> None:
        """Draw the scales that stay; `axes` in rows of two."""

    def pair(self, views: Sequence[xr.Dataset], pictures: Sequence[Any], titles: Sequence[str]) -> bytes:
        """Return two views of one extent as PNG; pictures (y, x, 4), row 0 at the bottom, are two to a row."""
        extent = _extent(views[0], self.units)
        if extent != self._extent:
            self._build(extent)
            self._extent = extent
        if list(titles) != [artist.get_text() for artist in self.titles]:
            for artist, title in zip(self.titles, titles, strict=True):
                artist.set_text(title)
            self.keep_also(self.titles)
        if self.facade:
            outside = views[0].variables["patch"].values < 0
            pictures = [_grown(picture, outside) for picture in pictures]
        return self.paint(self._over, zip(self.axes, pictures, strict=True))

    def _straight(self, ax: Axes) -> list[Any]:
        """Return what hides the steps of a raster: what lies round the front, and the edges of all that is seen."""
        assert self.facade is not None
        metre, parts = 1.0 / metres_per(self.units), [seen for _, seen in seen_parts(self.facade)]
        left, right, bottom, top = (limit / metre for limit in (*ax.get_xlim(), *ax.get_ylim()))
        line = 0.004 * (right - left)  # the frame of the axes stays
        frame = shapely.box(left + line, bottom + line, right - line, top - line)
        rest, whole = path_of(frame.difference(shapely.union_all(parts)), metre), shapely.GeometryCollection(parts)
        drawn = [PathPatch(rest, facecolor=self.outside, linewidth=0.0, animated=True)]
        if self.edges:
            drawn.append(PathPatch(path_of(whole, metre), facecolor="none", edgecolor="0.08", animated=True))
        return [ax.add_patch(artist) for artist in drawn]

    def _build(self, extent: tuple[float, ...]) -> None:
        self.start()
        self.figure.set_layout_engine("constrained")
        axes = self.figure.subplots(self.rows, 2, sharex=True, sharey=True, squeeze=False)
        self.axes = list(axes.flat)
        for ax in self.axes:
            ax.set(xlim=extent[:2], ylim=extent[2:], aspect="equal")
            _label(ax, self.units)
            ax.label_outer()
        self.titles = [ax.set_title("title", fontsize=11, animated=True) for ax in axes[0]]
        self._over = [artist for ax in self.axes for artist in self._straight(ax)] if self.facade else []
        self.scales(axes)
        self.keep()


class MapBoard(PairBoard):
    """Four maps, luminance of white above and contrast below, two options side by side.

    Parameters
    ----------
    target : Target
        Marked on the colour scales, and where the stripes begin.
    units : {"m", "ft"}
        Of the axes.
    facade : Facade, optional
        Drawn with straight edges over the maps.
    """

    @guarded
    def __init__(self, target: Target, *, units: str = "m", facade: Facade | None = None) -> None:
        super().__init__(units=units, size=(8.8, 6.4), rows=len(SCALES), facade=facade)
        self.target = target

    def scales(self, axes: Any) -> None:
        """Draw the colour scales."""
        for row, name in zip(axes, SCALES, strict=True):
            wanted = getattr(self.target, name)
            bar = colour_bar(self.figure, list(row), name, wanted)
            if SCALES[name].low <= wanted <= SCALES[name].high:
                place: dict[str, Any] = {"ha": "right", "va": "center", "transform": bar.get_yaxis_transform()}
                bar.text(-0.25, wanted, f"{wanted:g}\nwanted", fontsize=8, **place)

    def draw(self, maps: Sequence[xr.Dataset], titles: Sequence[str]) -> bytes:
        """Return two maps from `light_map`, over the same extent, as a PNG picture."""
        lines = self.facade is None
        return self.pair(maps, [_colours(light, name, self.target, lines) for name in SCALES for light in maps], titles)


class NightBoard(PairBoard):
    """Two night pictures side by side.

    Parameters
    ----------
    units, facade
        As for `MapBoard`.
    """

    outside, edges = "black", False

    @guarded
    def __init__(self, *, units: str = "m", facade: Facade | None = None) -> None:
        super().__init__(units=units, size=(9.6, 4.2), rows=1, facade=facade)

    def draw(self, views: Sequence[xr.Dataset], images: Sequence[Any], titles: Sequence[str]) -> bytes:
        """Return two options as a PNG picture: from `night_view`, over the same extent, and from `kit.on_screen`."""
        opaque = np.full(images[0].shape[:2], 255, np.uint8)
        return self.pair(views, [np.dstack([image[::-1], opaque]) for image in images], titles)


def seen_parts(facade: Facade) -> list[tuple[Patch, Any]]:
    """Return the patches of a front, nearest first, each with what is seen of it: a shapely geometry in x and y."""
    facing = (patch for patch in facade.patches if patch.faces_audience)
    result, nearer = [], shapely.Polygon()
    for patch in reversed(sorted(facing, key=lambda patch: max(corner[2] for corner in patch.outline))):
        result.append((patch, patch.elevation.difference(nearer)))
        nearer = nearer.union(patch.elevation)
    return result


def path_of(area: Any, metre: float) -> Path:
    """Return a shapely geometry as a path, a metre drawn as `metre`."""
    whole = shapely.get_parts(shapely.orient_polygons(area))
    rings = [ring for part in whole if part.geom_type == "Polygon" for ring in (part.exterior, *part.interiors)]
    return Path.make_compound_path(*(Path(metre * np.array(ring.coords), closed=True) for ring in rings))


def _colours(light: xr.Dataset, name: str, target: Target, lines: bool = True) -> np.ndarray:
    """Return a map as colours, shape (y, x, 4): stripes where what counts misses the target, `lines` round patches."""
    scale = SCALES[name]
    values, patch = light.variables[name].values, light.variables["patch"].values
    level = np.log(np.clip(np.nan_to_num(values), scale.low, scale.high) / scale.low) / np.log(scale.high / scale.low)
    result = matplotlib.colormaps[COLOURS](level, bytes=True)
    judged = np.append(light.variables["judged"].values.astype(bool), False)[patch]
    diagonal = np.arange(patch.shape[0])[:, None] + np.arange(patch.shape[1])
    stripe = judged & (values < getattr(target, name)) & (diagonal % 8 < 2)
    result[stripe, :3] = result[stripe, :3] // 2 + 127
    if lines:
        edge = np.zeros(patch.shape, dtype=bool)
        edge[1:] |= patch[1:] != patch[:-1]
        edge[:, 1:] |= patch[:, 1:] != patch[:, :-1]
        result[edge] = (20, 20, 20, 255)
    result[patch < 0] = (255, 255, 255, 255)
    return result


def _grown(picture: Any, outside: Any) -> Any:
    """Return a picture whose colours reach a cell further into what is outside, shape (y, x): beyond straight edges."""
    away, (y, x) = distance_transform_edt(outside, return_indices=True)
    return np.where((away > 1.0)[..., None], picture, picture[y, x])


def _extent(light: xr.Dataset, units: str) -> tuple[float, ...]:
    half, metre = light.attrs["spacing"] / 2.0, 1.0 / metres_per(units)
    x, y = light.variables["x"].values, light.variables["y"].values
    ends = x[0] - half, x[-1] + half, y[0] - half, y[-1] + half
    return tuple(float(end * metre) for end in ends)


def axes_of(ax: Axes | None, size: tuple[float, float]) -> Axes:
    """Return axes, where there are none those of a new figure of so many inches."""
    return Figure(figsize=size, layout="constrained").subplots() if ax is None else ax


def _label(ax: Axes, units: str) -> None:
    ax.set(xlabel=f"across the front ({units})", ylabel=f"height ({units})")


def colour_bar(figure: Any, axes: Any, name: str, wanted: float, **more: Any) -> Axes:
    """Draw the scale of one of `SCALES` beside axes, with a line at what is wanted."""
    scale = SCALES[name]
    mappable = matplotlib.cm.ScalarMappable(norm=LogNorm(scale.low, scale.high), cmap=COLOURS)
    bar = figure.colorbar(mappable, ax=axes, label=scale.label, pad=0.015, **more)
    bar.set_ticks(list(scale.ticks), labels=[f"{tick:g}" for tick in scale.ticks])
    bar.ax.minorticks_off()
    for colour, width in (("white", 3.5), ("black", 1.5)):
        if scale.low <= wanted <= scale.high:
            bar.ax.axhline(wanted, color=colour, linewidth=width)
    return bar.ax
