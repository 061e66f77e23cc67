"""From a scene to a map: illuminance, luminance of white and black, contrast at the eye.

The black that the eye sees is not dark. Three kinds of light fill it:

- what the panel leaks when it shows black (sequential contrast),
- what a bright picture scatters: inside the lens (checkerboard contrast), and by way of the wall and the
  ground back to the wall (`bounce_factor`); both grow with the picture's average level,
- ambient light on the wall, and the veil that lamps in view spread over the image in the eye.

`white_luminance` and `black_luminance` are what the projectors make; ambient light and veil are added to
both in the contrast:

    contrast = (L_white + L_ambient + L_veil) / (L_black + L_ambient + L_veil)

Light of several projectors adds up, white and black. Where their pictures are blended (`Scene.blend`), the white of
each is faded in the overlap, and the black is not: a panel cannot go below its leak, so the black is brighter there.

With L = reflectance x E / pi in every term but the veil, **the wall's reflectance cancels where there is no
veil**: a dark wall has the same contrast as a white one. It fails on luminance, and on the veil.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from kit.blocks import in_blocks
from kit.errors import InputError, number, numbers
from kit.eye.ambient import Ambient, ambient_light
from kit.light.cast import blended, cast_light
from kit.source.placement import Placement
from kit.source.projector import LEVELS, Projector, combine, is_many
from kit.wall.facade import Facade, Surface
from kit.wall.raster import Window

Array = NDArray[np.float64]


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
    blend : bool
        Whether pictures that overlap fade into each other, for pictures side by side; machines that are stacked for
        more light are not blended. At each wall point the white of every projector is kept by its distance to its own
        picture's nearest edge over the sum of these distances (`kit.light.cast.blended`), so the weights add up to
        1 and equal machines make an even white. Black: the leak of each stays and adds; what a lens scatters follows
        its faded white. Seams are taken to be perfectly aligned.
    """

    facade: Facade
    projectors: tuple[tuple[Projector, Placement], ...]
    ambient: Ambient = field(default_factory=Ambient)
    picture_level: float = 0.5
    ground_reflectance: float = 0.0
    blend: bool = False

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
        if not isinstance(self.blend, bool):
            raise InputError("blend", self.blend, "true or false")


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

        and, without (y, x): ambient_illuminance [lx] (on (y, x) too where lamps or a sky are given),
        veil_luminance [cd/m2], reflectance_low,
        reflectance_high and picture_share on patch_index (the share of each projector's lumens on the
        wall that lands there; of its light before it is blended), chain (projector, step, level), light_band (level).

        A sweep in `light_output`, `vertical_illuminance` or `reflectance` adds a leading dimension
        ``light_output``, ``ambient`` or ``sweep`` to what depends on it.

    Raises
    ------
    InputError
        For a lens behind or inside the front, or a picture that misses it.
    """
    facade = scene.facade
    cast = cast_light(facade, scene.projectors, facade.bounds if extent is None else _checked_extent(extent), spacing)
    grid, patch, slot, units, share = cast.grid, cast.patch, cast.slot, cast.units, cast.share
    faded: tuple[Array, ...] | None = None
    white_share = share
    if scene.blend and len(units) > 1:
        faded, white_share = blended(facade, scene.projectors, cast)

    flux = _swept_flux(scene)
    ambient = np.atleast_1d(np.asarray(scene.ambient.vertical_illuminance, float))
    surfaces = [p.surface for p in facade.patches]
    reflectance, low, high = (_swept(surfaces, name) for name in ("reflectance", "low", "high"))
    gain = np.array([s.gain for s in surfaces])

    transmission = np.array([p.transmission() for p, _ in scene.projectors])
    lumens = flux * transmission[:, 1, None]  # (projector, light_output)

    used = white_share.sum(axis=1)
    dark = np.array(
        [
            projector.leak() + projector.scatter() * scene.picture_level * used[i]
            for i, (projector, _) in enumerate(scene.projectors)
        ]
    )
    # (light_output, sweep)
    bounce = np.zeros((lumens.shape[1], reflectance.shape[0]))
    if scene.ground_reflectance > 0:
        exitance = np.einsum("pl,pk,sk->ls", lumens, white_share, reflectance) / cast.seen_area
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
    veil, lamps = scene.ambient.veil(), None
    if scene.ambient.lamps or scene.ambient.sky is not None:
        sources = ambient_light(replace(scene.ambient, vertical_illuminance=0.0), facade, grid)
        veil, lamps = float(sources["veil_luminance"].sum()), sources["illuminance"].values.sum(axis=0)
    plain = bool(np.all(gain == 1.0))

    def work(area: Window) -> None:
        block = area[0]
        index = slot[block]
        rho = reflectance_map[:, block]
        for i, table in enumerate(rho_table):
            table.take(index, out=rho[i], mode="clip")  # the other modes go by way of a copy
        e, e_dark = illuminance[:, block], black_illuminance[:, :, block]
        np.multiply(lumens[0, :, None, None], units[0][block], out=e)
        np.multiply(dark[0], e[:, None], out=e_dark)
        for i in range(1, len(units)):
            more = lumens[i, :, None, None] * units[i][block]
            e += more
            e_dark += dark[i] * more[:, None]
        if faded is not None:
            np.sum([lumens[i, :, None, None] * unit[block] for i, unit in enumerate(faded)], axis=0, out=e)
        if has_bounce:
            e_dark += bounce[:, :, None, None]
        diffuse = rho * (1.0 / np.pi)
        towards = diffuse if plain else diffuse * gain_table.take(index)
        w, b = white[:, :, block], black[:, :, block]
        np.multiply(towards, e[:, None], out=w)
        np.multiply(towards, e_dark, out=b)
        extra = diffuse * (
            ambient[:, None, None, None] if lamps is None else ambient[:, None, None, None] + lamps[block]
        )
        if veil:
            extra += veil
        c = contrast[:, :, :, block]
        np.add(w[:, None], extra, out=c)
        below = np.add(b[:, None], extra, out=extra[None] if nl == 1 else None)
        with np.errstate(divide="ignore", invalid="ignore"):
            np.divide(c, below, out=c)

    in_blocks(work, (slice(0, shape[0]), slice(0, shape[1])), nl * na * ns)
    if veil == 0.0 and not (lamps is None and ambient.all() and reflectance.all()):
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
        "judged": ("patch_index", [p.judged for p in facade.patches]),
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
            "patch": (("y", "x"), patch.copy(), {"long_name": "index of the visible patch", "units": "1"}),
            "ambient_illuminance": labelled(
                ambient if lamps is None else ambient[:, None, None] + lamps,
                ("ambient",),
                "illuminance from ambient light",
                "lx",
                () if lamps is None else ("y", "x"),
            ),
            "veil_luminance": (
                (),
                float(veil),
                {"long_name": "veiling luminance in the eye", "units": "cd/m2"},
            ),
            "reflectance_low": labelled(low, ("sweep",), "lowest likely reflectance", "1", ("patch_index",)),
            "reflectance_high": labelled(high, ("sweep",), "highest likely reflectance", "1", ("patch_index",)),
            "picture_share": (
                ("projector", "patch_index"),
                share.copy(),  # the cast is remembered; what the caller changes must not be
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
        low, nominal, high = combine(table.tolist())
        lines.append(f"{'all together (deviations in quadrature)':44}{low:6.2f}{nominal:9.2f}{high:6.2f}")
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
