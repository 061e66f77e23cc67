"""From a scene to a map: illuminance, luminance of white and black, contrast at the eye.

The black that the eye sees is not dark. Three kinds of light fill it:

- what the panel leaks when it shows black (sequential contrast),
- what a bright picture scatters: inside the lens (checkerboard contrast), and by way of the wall and the
  ground back to the wall (`bounce_factor`); both grow with the picture's average level,
- ambient light on the wall, and the veil that lamps in view spread over the image in the eye.

`white_luminance` and `black_luminance` are what the projectors make; ambient light and veil are added to
both in the contrast:

    contrast = (L_white + L_ambient + L_veil) / (L_black + L_ambient + L_veil)

With L = reflectance x E / pi in every term but the veil, **the wall's reflectance cancels where there is no
veil**: a dark wall has the same contrast as a white one. It fails on luminance, and on the veil.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
import xarray as xr
from numpy.typing import NDArray

from kit.ambient import Ambient
from kit.errors import InputError, number, numbers
from kit.facade import Facade, Surface
from kit.projector import LEVELS, Projector, is_many
from kit.raster import (
    SAME_PLANE,
    Grid,
    Mask,
    Window,
    elevation_rings,
    picture_rings,
    shadow_rings,
    visible,
)
from kit.throw import Placement, picture_window, unit_illuminance, zone_gain

Array = NDArray[np.float64]

# Rows are worked through in blocks of about this many points, which stay in the processor's cache.
BLOCK = 1 << 16


@dataclass(frozen=True, kw_only=True)
class Scene:
    """A house front, the projectors in front of it, and the light around.

    Parameters
    ----------
    facade : Facade
    projectors : sequence of (Projector, Placement)
        At least one.
    ambient : Ambient
    picture_level : float
        Average level of the picture on the front while black is looked at, 0 to 1: what scatters. Half
        white, as on the 16-zone checkerboard that projected contrast is measured with. Picture elements
        beside the front are taken to be masked black.
    ground_reflectance : float
        Of the ground in front, 0 to 1; sends a little of a bright wall's light back. 0: not counted.
    """

    facade: Facade
    projectors: tuple[tuple[Projector, Placement], ...]
    ambient: Ambient = field(default_factory=Ambient)
    picture_level: float = 0.5
    ground_reflectance: float = 0.0

    def __post_init__(self) -> None:
        if not isinstance(self.facade, Facade):
            raise InputError("facade", self.facade, "a kit.Facade")
        if not isinstance(self.ambient, Ambient):
            raise InputError("ambient", self.ambient, "a kit.Ambient")
        if not isinstance(self.projectors, Iterable):
            raise InputError("projectors", self.projectors, "a list of (projector, placement)")
        pairs = tuple(self.projectors)
        for pair in pairs:
            if not (
                isinstance(pair, tuple | list)
                and len(pair) == 2
                and isinstance(pair[0], Projector)
                and isinstance(pair[1], Placement)
            ):
                raise InputError("projectors", pair, "a pair (kit.Projector, kit.Placement)")
        if not pairs:
            raise InputError("projectors", pairs, "at least one (projector, placement)")
        object.__setattr__(self, "projectors", tuple((a, b) for a, b in pairs))
        number("picture_level", self.picture_level, minimum=0.0, maximum=1.0)
        number("ground_reflectance", self.ground_reflectance, minimum=0.0, maximum=1.0)


def light_map(
    scene: Scene, spacing: float = 0.05, *, extent: tuple[float, float, float, float] | None = None
) -> xr.Dataset:
    """Return the light on the front of `scene`, as the audience sees it in elevation.

    Parameters
    ----------
    scene : Scene
    spacing : float
        Pixel size [m].
    extent : (left, right, bottom, top), optional
        Part of the front [m]; all of it if not given.

    Returns
    -------
    xarray.Dataset
        On (y, x), coordinates of pixel centres in metres; NaN (index -1) where there is no wall:

        ============================ ==========================================================
        illuminance [lx]             from the projectors on full white, nominal chain
        black_illuminance [lx]       from the projectors on black: leak and scatter
        white_luminance [cd/m2]      reflectance x gain x illuminance / pi
        black_luminance [cd/m2]      the same for black
        contrast [1]                 at the eye, with ambient light and veil in both terms
        reflectance [1]              of the visible surface
        patch                        index into `patch_index`
        ============================ ==========================================================

        and, without (y, x): ambient_illuminance [lx], veil_luminance [cd/m2], reflectance_low,
        reflectance_high and picture_share on patch_index (the share of each projector's lumens on the
        wall that lands there), chain (projector, step, level), light_band (level).

        A sweep in `light_output`, `vertical_illuminance` or `reflectance` adds a leading dimension
        ``light_output``, ``ambient`` or ``sweep`` to what depends on it.

    Raises
    ------
    InputError
        For a lens behind or inside the front, or a picture that misses it.
    """
    facade = scene.facade
    grid = Grid.over(facade.bounds if extent is None else _checked_extent(extent), spacing)
    patch = visible(facade, grid)
    if patch.max() < 0:
        raise InputError("extent", extent, "an extent that shows some of the front")
    planes = _planes(facade)

    flux = _swept_flux(scene)
    ambient = np.atleast_1d(np.asarray(scene.ambient.vertical_illuminance, float))
    surfaces = [p.surface for p in facade.patches]
    reflectance, low, high = (_swept(surfaces, name) for name in ("reflectance", "low", "high"))
    gain = np.array([s.gain for s in surfaces])

    # Light per stated lumen on each point, then where it goes.
    slot = patch.astype(np.intp)
    slot += 1  # 0 where there is no wall
    units, shares = [], []
    pixel_area = grid.spacing**2 / np.array([abs(p.normal[2]) or np.inf for p in facade.patches])
    for number_, (projector, placement) in enumerate(scene.projectors, 1):
        _check_lens(facade, placement, number_)
        unit = _unit_map(facade, planes, slot, grid, projector, placement)
        landed = np.bincount(slot.ravel(), weights=unit.ravel(), minlength=len(facade.patches) + 1)
        if not landed[1:].any():
            raise InputError(
                f"projector {number_}: position, aim, lens_shift",
                (placement.position, placement.aim, projector.lens_shift),
                "a picture that meets the front; this one misses it",
            )
        units.append(unit)
        shares.append(landed[1:] * pixel_area)
    share = np.array(shares)
    transmission = np.array([p.transmission() for p, _ in scene.projectors])
    lumens = flux * transmission[:, 1, None]  # (projector, light_output)

    used = share.sum(axis=1)
    dark = np.array(
        [
            projector.leak() + projector.scatter() * scene.picture_level * used[i]
            for i, (projector, _) in enumerate(scene.projectors)
        ]
    )
    # (light_output, sweep)
    bounce = np.zeros((lumens.shape[1], reflectance.shape[0]))
    if scene.ground_reflectance > 0:
        area = np.bincount(slot.ravel(), minlength=len(facade.patches) + 1)[1:] @ pixel_area
        exitance = np.einsum("pl,pk,sk->ls", lumens, share, reflectance) / area
        bounce = bounce_factor() * scene.ground_reflectance * scene.picture_level * exitance
    has_bounce = bool(bounce.any())

    nl, na, ns = lumens.shape[1], ambient.size, reflectance.shape[0]
    shape = patch.shape
    illuminance = np.empty((nl, *shape))
    black_illuminance = np.empty((nl, ns if has_bounce else 1, *shape))
    white = np.empty((nl, ns, *shape))
    black = np.empty((nl, ns, *shape))
    contrast = np.empty((nl, na, ns, *shape))
    reflectance_map = np.empty((ns, *shape))
    rho_table = np.append(np.full((ns, 1), np.nan), reflectance, axis=1)
    gain_table = np.append(np.nan, gain)
    veil = scene.ambient.veil()
    plain = bool(np.all(gain == 1.0))

    def work(area: Window) -> None:
        block = area[0]
        index = slot[block]
        rho = rho_table.take(index, axis=1)
        reflectance_map[:, block] = rho
        e, e_dark = illuminance[:, block], black_illuminance[:, :, block]
        np.multiply(lumens[0, :, None, None], units[0][block], out=e)
        np.multiply(dark[0], e[:, None], out=e_dark)
        for i in range(1, len(units)):
            more = lumens[i, :, None, None] * units[i][block]
            e += more
            e_dark += dark[i] * more[:, None]
        if has_bounce:
            e_dark += bounce[:, :, None, None]
        rho *= 1.0 / np.pi
        towards = rho if plain else rho * gain_table.take(index)
        w, b = white[:, :, block], black[:, :, block]
        np.multiply(towards, e[:, None], out=w)
        np.multiply(towards, e_dark, out=b)
        extra = rho * ambient[:, None, None, None]
        extra += veil
        c = contrast[:, :, :, block]
        np.add(w[:, None], extra, out=c)
        extra = extra + b[:, None]
        with np.errstate(divide="ignore", invalid="ignore"):
            np.divide(c, extra, out=c)

    _in_blocks(work, (slice(0, shape[0]), slice(0, shape[1])), nl * na * ns)
    if veil == 0.0 and not (ambient.all() and reflectance.all()):
        # No light at all in white or black: nothing to tell apart.
        contrast[np.isnan(contrast) & (patch >= 0)] = 1.0

    present = {
        "light_output": nl > 1 or any(is_many(p.light_output) for p, _ in scene.projectors),
        "ambient": is_many(scene.ambient.vertical_illuminance),
        "sweep": any(is_many(s.reflectance) for s in surfaces),
    }

    def labelled(
        values: Array, lead: tuple[str, ...], long_name: str, units: str, dims: tuple[str, ...] = ("y", "x")
    ) -> tuple[tuple[str, ...], Array, dict[str, str]]:
        """Return `values` with its leading axes named, less those along which nothing is swept."""
        drop = tuple(i for i, name in enumerate(lead) if not present[name])
        kept = tuple(name for name in lead if present[name])
        return (*kept, *dims), values.squeeze(axis=drop), {"long_name": long_name, "units": units}

    coords: dict[str, Any] = {
        "y": ("y", grid.y, {"long_name": "height above the ground line", "units": "m"}),
        "x": ("x", grid.x, {"long_name": "across the front", "units": "m"}),
        "patch_name": ("patch_index", [p.name for p in facade.patches]),
        "surface_name": ("patch_index", [s.name for s in surfaces]),
        "level": ("level", list(LEVELS)),
    }
    if present["light_output"]:
        stated = {"long_name": "stated light output, all projectors", "units": "lm"}
        coords["light_output"] = ("light_output", flux.sum(axis=0), stated)
    if present["ambient"]:
        around = {"long_name": "vertical illuminance of ambient light", "units": "lx"}
        coords["ambient"] = ("ambient", ambient, around)
    steps, chain = _chain_table(scene)
    coords["step"] = ("step", steps)
    weights = lumens.mean(axis=1) * used
    band = (transmission / transmission[:, 1:2]).T @ weights / weights.sum()
    return xr.Dataset(
        {
            "illuminance": labelled(
                illuminance, ("light_output",), "illuminance from the projectors on full white", "lx"
            ),
            "black_illuminance": labelled(
                black_illuminance if has_bounce else black_illuminance[:, 0],
                ("light_output", "sweep") if has_bounce else ("light_output",),
                "illuminance from the projectors on black: leak and scatter",
                "lx",
            ),
            "white_luminance": labelled(white, ("light_output", "sweep"), "luminance of projected white", "cd/m2"),
            "black_luminance": labelled(black, ("light_output", "sweep"), "luminance of projected black", "cd/m2"),
            "contrast": labelled(contrast, ("light_output", "ambient", "sweep"), "contrast at the eye", "1"),
            "reflectance": labelled(reflectance_map, ("sweep",), "diffuse reflectance", "1"),
            "patch": (("y", "x"), patch, {"long_name": "index of the visible patch", "units": "1"}),
            "ambient_illuminance": labelled(ambient, ("ambient",), "vertical illuminance of ambient light", "lx", ()),
            "veil_luminance": (
                (),
                float(veil),
                {"long_name": "veiling luminance in the eye", "units": "cd/m2"},
            ),
            "reflectance_low": labelled(low, ("sweep",), "lowest likely reflectance", "1", ("patch_index",)),
            "reflectance_high": labelled(high, ("sweep",), "highest likely reflectance", "1", ("patch_index",)),
            "picture_share": (
                ("projector", "patch_index"),
                share,
                {"long_name": "share of a projector's light that lands on the patch", "units": "1"},
            ),
            "chain": (
                ("projector", "step", "level"),
                chain,
                {"long_name": "factors from stated to delivered light output", "units": "1"},
            ),
            "light_band": (
                ("level",),
                band,
                {"long_name": "likely illuminance relative to nominal", "units": "1"},
            ),
        },
        coords=coords,
        attrs={"front": facade.name, "stated_light_output": float(flux[:, 0].sum()), "spacing": grid.spacing},
    )


def chain_text(light: xr.Dataset) -> str:
    """Return the way from stated lumens to lumens on the wall as a text table, one line for each factor.

    Parameters
    ----------
    light : xarray.Dataset
        From `light_map`; for a sweep the relative part is shown.
    """
    lines = [f"{'from stated lumens to lumens on the wall':44}{'low':>6}{'nominal':>9}{'high':>6}"]
    for projector, table in enumerate(light["chain"].values, 1):
        if len(light["chain"]) > 1:
            lines.append(f"projector {projector}")
        for step, (low, nominal, high) in zip(light["step"].values[1:], table[1:], strict=True):
            lines.append(f"{step!s:44}{low:6.2f}{nominal:9.2f}{high:6.2f}")
        nominal = table[:, 1].prod()
        down, up = (np.exp(np.sqrt((np.log(table[:, i] / table[:, 1]) ** 2).sum())) for i in (0, 2))
        lines.append(
            f"{'all together (deviations in quadrature)':44}{nominal / down:6.2f}{nominal:9.2f}{nominal * up:6.2f}"
        )
    return "\n".join(lines)


def bounce_factor() -> float:
    """Return the share of a long wall's exitance that level ground in front returns, per reflectance.

    A wall strip of height H and even exitance M lights the ground at distance s with
    M/2 (1 - s / sqrt(s^2 + H^2)). By reciprocity the wall's mean illuminance from a ground of reflectance r
    is r / (M H) times the integral over s of that squared, which is r M (2 - pi/2) / 4. A front of finite
    width gets less, so this is an upper bound.
    """
    return (2.0 - np.pi / 2.0) / 4.0


def _checked_extent(extent: tuple[float, float, float, float]) -> tuple[float, float, float, float]:
    left, right, bottom, top = numbers("extent", extent, 4, unit="m")
    return left, right, bottom, top


def _swept_flux(scene: Scene) -> Array:
    """Return the stated light output, shape (projector, light_output) [lm]."""
    rows = [np.atleast_1d(np.asarray(p.light_output, float)) for p, _ in scene.projectors]
    sizes = {row.size for row in rows} - {1}
    if len(sizes) > 1:
        raise InputError("light_output", [row.size for row in rows], "sweeps of one length")
    size = sizes.pop() if sizes else 1
    return np.array([np.broadcast_to(row, size) for row in rows])


def _swept(surfaces: list[Surface], name: str) -> Array:
    """Return a property of the surfaces, shape (sweep, patch)."""
    sizes = {len(s.reflectance) for s in surfaces if isinstance(s.reflectance, tuple)} - {1}
    if len(sizes) > 1:
        raise InputError("reflectance", sorted(sizes), "sweeps of one length")
    size = sizes.pop() if sizes else 1
    columns = [np.broadcast_to(v, size) if size > 1 else np.ravel(v) for v in (getattr(s, name) for s in surfaces)]
    return np.array(columns, dtype=float).T.copy()


def _planes(facade: Facade) -> list[list[int]]:
    """Return the indices of visible patches, grouped by the plane they lie in."""
    groups: dict[tuple[float, ...], list[int]] = {}
    for i, patch in enumerate(facade.patches):
        if patch.faces_audience:
            key = tuple(round(c / SAME_PLANE) for c in patch.depth_plane())
            groups.setdefault(key, []).append(i)
    return list(groups.values())


def _check_lens(facade: Facade, placement: Placement, count: int) -> None:
    lens = np.array(placement.position)
    where = f"projector {count}: position"
    seen = [p for p in facade.patches if p.faces_audience]
    if all(p.normal @ lens - p.offset <= SAME_PLANE for p in seen):
        raise InputError(where, placement.position, "a lens in front of the house; this one is behind the wall")
    point = shapely.Point(lens[:2])
    for patch in seen:
        z0, zx, zy = patch.depth_plane()
        if z0 + zx * lens[0] + zy * lens[1] < lens[2]:
            continue
        outline, *holes = elevation_rings(patch)
        if shapely.Polygon(outline, holes).covers(point):
            raise InputError(
                where,
                placement.position,
                f"a lens in front of the house; this one is behind or inside patch {patch.name!r}",
            )


def _unit_map(
    facade: Facade,
    planes: list[list[int]],
    slot: NDArray[np.intp],
    grid: Grid,
    projector: Projector,
    placement: Placement,
) -> Array:
    """Return the illuminance per lumen on the wall, shape (y, x), shadows and zones included.

    `slot` is the index of the visible patch plus one, 0 where there is no wall.
    """
    result = np.append(np.nan, np.zeros(len(facade.patches))).take(slot)
    lens = np.array(placement.position)
    forward, right, up = placement.frame()
    left, right_end, bottom, top = picture_window(projector)
    corners = [(left, bottom), (right_end, bottom), (right_end, top), (left, top)]
    directions = np.array([forward + s * right + t * up for s, t in corners])
    e1 = unit_illuminance(projector)
    all_corners = np.concatenate([p.rings[0] for p in facade.patches])
    starts = np.cumsum([0, *(len(p.rings[0]) for p in facade.patches[:-1])])
    plane_of = np.full(len(facade.patches) + 1, -1, dtype=np.int16)
    for k, members in enumerate(planes):
        plane_of[np.array(members) + 1] = k
    plane_at = plane_of.take(slot)
    for k, members in enumerate(planes):
        first = facade.patches[members[0]]
        normal, offset = first.normal, first.offset
        height = float(normal @ lens) - offset
        picture = picture_rings(directions, lens, normal, offset)
        if not picture:
            continue
        own = [grid.window(elevation_rings(facade.patches[i])) for i in members]
        window = _common(grid.window(picture), _around(own))
        if window is None:
            continue
        lit: Mask = grid.inside(picture, window)
        lit &= plane_at[window] == k
        for i in _casters(all_corners, starts, lens, normal, offset, grid, window):
            if i in members:
                continue
            rings = shadow_rings(facade.patches[i], lens, normal, offset)
            area = _common(window, grid.window(rings)) if rings else None
            if area is not None:
                lit[_within(area, window)] &= ~grid.inside(rings, area)

        # X - lens along an axis is linear in x and y on this plane.
        z0, zx, zy = first.depth_plane()

        def linear(axis: Array, area: Window, plane: tuple[float, float, float] = (z0, zx, zy)) -> Array:
            across = (axis[0] + axis[2] * plane[1]) * grid.x[area[1]]
            upward = (axis[1] + axis[2] * plane[2]) * grid.y[area[0]] + (axis[2] * plane[0] - axis @ lens)
            return upward[:, None] + across

        def work(area: Window, lit: Mask = lit, window: Window = window, height: float = height) -> None:
            depth = linear(forward, area)
            light = depth * depth
            light *= depth
            np.divide(e1 * height, light, out=light)
            if projector.zones is not None:
                s = (linear(right, area) / depth - left) / (right_end - left) - 0.5
                t = (linear(up, area) / depth - bottom) / (top - bottom) - 0.5
                light *= zone_gain(projector.zones, s, t)
            np.copyto(result[area], light, where=lit[_within(area, window)])

        areas = [area for mine in own if (area := _common(window, mine)) is not None]
        for i, area in enumerate(areas):
            # A door lies within its wall and is done with it.
            if not any(_common(area, other) == area for j, other in enumerate(areas) if j < i or other != area):
                _in_blocks(work, area)
    return result


def _in_blocks(work: Callable[[Window], None], area: Window, depth: int = 1) -> None:
    """Call `work` on blocks of rows that stay in the processor's cache, `depth` maps deep.

    The array library lets go of the interpreter while it computes, so two threads share the blocks.
    """
    columns = area[1].stop - area[1].start
    rows = max(1, BLOCK // max(1, columns * depth))
    blocks = [
        (slice(start, min(start + rows, area[0].stop)), area[1]) for start in range(area[0].start, area[0].stop, rows)
    ]
    if len(blocks) < 4:
        for block in blocks:
            work(block)
    else:
        with ThreadPoolExecutor(max_workers=2) as pool:
            list(pool.map(work, blocks))


def _casters(
    corners: Array,
    starts: NDArray[np.intp],
    lens: Array,
    normal: Array,
    offset: float,
    grid: Grid,
    window: Window,
) -> NDArray[np.intp]:
    """Return the patches that may cast a shadow into `window` on the plane ``normal . X = offset``.

    `corners` holds the outlines of all patches one after the other, each from its index in `starts`.
    """
    height = float(normal @ lens) - offset
    above = corners @ normal - offset
    high, low = np.maximum.reduceat(above, starts), np.minimum.reduceat(above, starts)
    # Where every corner lies below the lens, the shadow stays within the box of the corners' images.
    scale = height / np.maximum(height - above, 1e-12 * height)
    landed = (lens + (corners - lens) * scale[:, None])[:, :2]
    least, most = np.minimum.reduceat(landed, starts), np.maximum.reduceat(landed, starts)
    x, y = grid.x[window[1]], grid.y[window[0]]
    apart = (least[:, 0] > x[-1]) | (most[:, 0] < x[0]) | (least[:, 1] > y[-1]) | (most[:, 1] < y[0])
    apart &= high < height * (1.0 - 1e-6)
    return np.flatnonzero((high > SAME_PLANE) & (low < height) & ~apart)


def _around(windows: list[Window]) -> Window:
    """Return the smallest window that holds all of them."""
    rows, columns = (slice(min(w[k].start for w in windows), max(w[k].stop for w in windows)) for k in (0, 1))
    return rows, columns


def _within(area: Window, window: Window) -> Window:
    """Return `area` counted from the corner of `window`."""
    rows, columns = (slice(a.start - w.start, a.stop - w.start) for a, w in zip(area, window, strict=True))
    return rows, columns


def _common(one: Window, other: Window) -> Window | None:
    """Return the overlap of two windows, or None."""
    rows = slice(max(one[0].start, other[0].start), min(one[0].stop, other[0].stop))
    columns = slice(max(one[1].start, other[1].start), min(one[1].stop, other[1].stop))
    return (rows, columns) if rows.start < rows.stop and columns.start < columns.stop else None


def _chain_table(scene: Scene) -> tuple[list[str], Array]:
    """Return the step names and the factors, shape (projector, step, level); 1 where not applied."""
    steps = ["stated light output"]
    for projector, _ in scene.projectors:
        steps += [f.name for f in projector.chain if f.name not in steps]
    table = np.ones((len(scene.projectors), len(steps), len(LEVELS)))
    for i, (projector, _) in enumerate(scene.projectors):
        for factor in projector.chain:
            table[i, steps.index(factor.name)] *= [getattr(factor, level) for level in LEVELS]
    return steps, table
