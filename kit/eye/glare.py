r"""The veil in the viewer's eye: light that the eye itself spreads over what it looks at.

A little of the light of a lamp, the moon, the sky above the roof or the picture is scattered in the eye and lies over
every point of the front, white and black alike. The front and obstacles hide lamps from the eye; trees hide no sky and
no moon, people nothing.
"""

from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache, partial
from itertools import product
from typing import Any

import numpy as np
from scipy.signal import fftconvolve

from kit import reference
from kit.arrays import Array, ArrayLike, Mask, Point
from kit.blocks import Memory, share_out
from kit.errors import InputError
from kit.fields import AGE, PIGMENT, Numbers
from kit.light.ambient import ASIDE, AT_EYE, Ambient
from kit.light.lamps import Lamp, source_illuminance, sources
from kit.sky.luminaire import Luminaire
from kit.sky.site import GLOW, TWILIGHT, Sky
from kit.source.beam import Beam
from kit.wall.facade import Facade
from kit.wall.occlusion import Obstacle, Occluders, hidden_directions
from kit.wall.points import FrontRaster, check_in_front, middle
from kit.wall.raster import SAME_PLANE

# About the line of sight to the middle of the front, for the light of the sky; along one, for that of beams in fog.
RINGS, SECTORS, HAZE_STEPS = 96, 240, 48
# A finer raster is filled in between so many points, the sky's veil between few. Pairs of point and source that are
# worked on together stay in the processor's cache.
POINTS, SKY_POINTS, PAIRS = 1 << 16, 400, 1 << 15
_recent: Memory[Array] = Memory(keep=64, most=1 << 17)


def veiling_luminance(
    illuminance: ArrayLike, angle: ArrayLike, *, age: float | None = None, pigment: float | None = None
) -> Array:
    r"""Return the luminance that a glare source spreads over the image in the eye [cd/m2].

    `illuminance` is that at the eye [lx], `angle` that between source and line of sight, 0.1 to 100 [deg]; they
    broadcast. `age` of the viewer [years], 0 if not given; `pigment` of the iris: 0 very dark, 0.5 brown (if not
    given), 1 blue, 1.2 very light. The CIE general disability glare equation (CIE 146:2002; J. J. Vos, Clin. Exp.
    Optom. 86 (2003) 363, doi:10.1111/j.1444-0938.2003.tb03080.x):

    .. math:: L_v / E = 10 / \theta^3 + (5 / \theta^2 + 0.1\,p / \theta)(1 + (A / 62.5)^4) + 0.0025\,p .
    """
    theta, light = Numbers(of=ASIDE).check("angle", angle), Numbers(of=AT_EYE).check("illuminance", illuminance)
    iris = PIGMENT.default if pigment is None else PIGMENT.check("pigment", pigment)
    return light * _spread(theta, 0.0 if age is None else AGE.check("age", age), iris)


def contrast_at_eye(white: ArrayLike, black: ArrayLike, ambient: ArrayLike, veil: ArrayLike) -> Array:
    """Return white over black with `ambient` light and `veil` on both [cd/m2]; 1 where there is no light at all."""
    rest = np.asarray(ambient, float) + np.asarray(veil, float)
    below = np.asarray(black, float) + rest
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        result = (np.asarray(white, float) + rest) / below
    return np.where((below == 0.0) & np.isnan(result), 1.0, result)


def _spread(angle: Array, age: float, pigment: float) -> Array:
    """Return veil over illuminance at the eye by angle [deg]; nearer than the relation holds, as at its end."""
    names = ("near", "middle", "wide", "even", "age reference", "age exponent")
    near, middle, wide, even, years, exponent = (reference.value("eye", f"glare {name}") for name in names)
    aged, u = 1.0 + (age / years) ** exponent, 1.0 / np.maximum(angle, ASIDE.low)
    return np.asarray(((near * u + middle * aged) * u + wide * pigment * aged) * u + even * pigment)


def veils_of(sights: Array, towards: Array, light: Array, radius: ArrayLike, ambient: Ambient) -> Array:
    """Return the veil of each source over each line of sight, shape (sight, source) [cd/m2].
    `sights`, (sight, 3), `towards`, (source, 3): unit vectors from the eye; `light`: illuminance on a plane that faces
    each source; `radius`: half the angle that it fills [deg]: within its limb the veil is that at the limb.
    """
    cosine = sights @ towards.T
    angle = np.maximum(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))), radius)
    return np.asarray(np.maximum(cosine, 0.0) * light * _spread(angle, ambient.age or 0.0, ambient.pigment))


def veil_over(sights: Array, towards: Array, light: Array, radius: ArrayLike, ambient: Ambient) -> Array:
    """Return the sum of `veils_of` over all sources, shape (sight,)."""
    result, step = np.empty(len(sights)), max(1, PAIRS // max(1, len(towards)))

    def work(first: int) -> None:
        some = slice(first, first + step)
        result[some] = veils_of(sights[some], towards, light, radius, ambient).sum(axis=1)

    share_out(work, range(0, len(sights), step))
    return result


@lru_cache(maxsize=4)
def picture_spread(facade: Facade, shape: tuple[int, ...], step: float, ambient: Ambient, hole: float = 0.0) -> Array:
    """Return the veil that 1 cd/m2 of one point of a map makes by its way to another, for `spread_by`: as in the middle
    of the front, on z = 0, 20% too little in the far corner of one seen from its side; none within a `hole` [m].
    """
    eye, kernel, aim = ambient.eye or (0.0, 0.0, 1.0), np.zeros(()), np.array(middle(facade))
    (sight,), _ = sights_to(eye, [aim])
    y, x = (step * np.arange(1 - n, n) for n in shape)
    # The mean of 3 x 3 places in each point: near its source the light falls off steeply.
    for up, right in product((-step / 3.0, 0.0, step / 3.0), repeat=2):
        aside = np.stack(np.broadcast_arrays(x + right, y[:, None] + up, 0.0), axis=-1)
        towards, away = sights_to(eye, aim - aside)
        light = (step / (3.0 * away)) ** 2 * np.abs(towards[..., 2])
        light[np.maximum(np.abs(aside[..., 0]), np.abs(aside[..., 1])) < 0.5 * hole - 1e-9] = 0.0
        kernel = kernel + veils_of(sight[None], towards.reshape(-1, 3), light.ravel(), 0.0, ambient)[0]
    return np.asarray(kernel.reshape(y.size, x.size))


def spread_by(kernel: Array, values: Array) -> Array:
    """Return a map, shape (y, x, ...), spread in the eye by a kernel of `picture_spread`; NaN beside the wall."""
    flat = np.nan_to_num(values).reshape(*values.shape[:2], -1)
    spread = fftconvolve(flat, kernel[..., None], mode="same", axes=(0, 1)).reshape(values.shape)
    return np.where(np.isnan(values), np.nan, np.maximum(spread, 0.0))


def sights_to(eye: Point, points: ArrayLike) -> tuple[Array, Array]:
    """Return unit vectors from the eye to points, shape (..., 3), and their distance [m]; an eye on one is refused."""
    ray = np.asarray(points, float) - eye
    away = np.linalg.norm(ray, axis=-1, keepdims=True)
    if np.any(away < SAME_PLANE):
        raise InputError("eye", eye, "a point apart from the front and from all lamps")
    return ray / away, away[..., 0]


def lamp_glare(lamp: Lamp, eye: Point, free: Mask | bool = True) -> tuple[Array, Array, Array]:
    """Return direction, light at the eye and `radius` of the shining points of a lamp; no light of one not `free`."""
    towards, away = sights_to(eye, sources(lamp))
    size = lamp.size if isinstance(lamp, Luminaire) else 0.0
    return towards, free * source_illuminance(lamp, eye), np.degrees(np.arctan(0.5 * size / away))


@lru_cache(maxsize=8)
def sky_glare(facade: Facade, eye: Point) -> tuple[Array, Array, Array]:
    """Return the same of each cell of a sky of 1 cd/m2 that neither front nor horizon hides; trees would hide more."""
    (sight,), _ = sights_to(eye, [middle(facade)])
    aside = np.cross(sight, (0.0, 1.0, 0.0) if abs(sight[1]) < 0.9 else (1.0, 0.0, 0.0))
    aside /= np.linalg.norm(aside)
    edges = np.append(0.0, np.geomspace(ASIDE.low, 180.0, RINGS))
    theta = np.radians(0.5 * (edges[1:] + edges[:-1]))[:, None, None]
    phi = 2.0 * np.pi * (np.arange(SECTORS)[:, None] + 0.5) / SECTORS
    around = np.cos(phi) * aside + np.sin(phi) * np.cross(aside, sight)
    directions = (np.cos(theta) * sight + np.sin(theta) * around).reshape(-1, 3)
    light = np.repeat(-2.0 * np.pi / SECTORS * np.diff(np.cos(np.radians(edges))), SECTORS)
    seen = np.flatnonzero(directions[:, 1] > 0.0)
    seen = seen[~hidden_directions(facade, eye, directions[seen])]
    return directions[seen], light[seen], np.degrees(np.sqrt(light[seen] / np.pi))


def moon_glare(ambient: Ambient, facade: Facade, sky: Sky) -> tuple[Array, Array, float]:
    """Return the same of the moon at each of the times of `sky`, read in order; no light where the front hides it."""
    towards, light = sky.moon_direction().reshape(-1, 3), np.array(sky.moon_normal(), float).ravel()
    there = np.flatnonzero(light)
    if ambient.eye is None:
        light[:] = 0.0
    elif there.size:
        light[there[hidden_directions(facade, ambient.eye, towards[there])]] = 0.0
    return towards, light, 0.5 * reference.value("sky", "disc of the moon")


def filled(raster: FrontRaster, most: int, values: Callable[[Array], Array]) -> Array:
    """Return what `values` has for points, shape (n, 3), on all points of a raster: asked for `most` or so of them."""
    shape, every = raster.patch.shape, max(1, round((raster.patch.size / most) ** 0.5))
    some = [np.unique([*range(0, count, every), count - 1]) for count in shape]
    points, y, x = raster.points[np.ix_(*some)], raster.grid.y[some[0]], raster.grid.x[some[1]]
    # Beside the wall, where nothing is looked at, a point near it stands in.
    points = np.where(np.isnan(points), np.stack(np.broadcast_arrays(x, y[:, None], 0.0), axis=-1), points)
    found = values(points.reshape(-1, 3)).reshape(points.shape[:2])
    between = zip(shape, some, strict=True)
    rows, columns = (np.array([np.interp(np.arange(n), k, unit) for unit in np.eye(k.size)]) for n, k in between)
    return np.asarray(rows.T @ found @ columns) if every > 1 else found


def haze_veil(raster: FrontRaster, eye: Point, beams: Iterable[Beam], lumens: Iterable[float], haze: float) -> Array:
    """Return the light of beams in fog or rain of an extinction [1/m] that comes back to the eye, (y, x) [cd/m2]: once
    scattered, about back to the lens: a viewer far aside gets less; what thick fog scatters twice is left out.
    """
    back = haze / reference.value("weather", "extinction over backscatter")
    steps = (np.arange(HAZE_STEPS)[:, None] + 0.5) / HAZE_STEPS

    def along(points: Array) -> Array:
        way, total = eye + steps[..., None] * (points - eye), np.zeros(len(points))
        length = sights_to(eye, points)[1]
        for beam, light in zip(beams, lumens, strict=True):
            landing, from_lens = beam.on(way), np.linalg.norm(way - beam.position, axis=-1)
            left = np.exp(-haze * (from_lens + steps * length))
            arrives = np.where(landing.inside(), beam.unit_illuminance * from_lens / landing.depth**3 * left, 0.0)
            total += back * light * length / HAZE_STEPS * arrives.sum(axis=0)
        return total

    return filled(raster, SKY_POINTS, along)


def source_veils(ambient: Ambient, raster: FrontRaster, obstacles: Sequence[Obstacle] = ()) -> Array:
    """Return the veil of each source of `Ambient.sources` over each point of the front, shape (source, y, x) [cd/m2].

    Without an eye only what is known by its light there (`Glare`) counts, which is one number for all; else NaN where
    there is no wall. An eye behind or inside the front, or where a lamp is, is refused.
    """
    eye, known = ambient.eye, {"age": ambient.age, "pigment": ambient.pigment}
    even = sum(float(veiling_luminance(g.illuminance, g.angle, **known)) for g in ambient.glare)
    if eye is None:
        given = np.array([even, *(0.0 for _ in ambient.sources()[1:])])
        return np.broadcast_to(given[:, None, None], (given.size, *raster.patch.shape))
    check_in_front(raster.facade, eye, "eye", "a viewer")
    wall = np.where(raster.patch < 0, np.nan, 1.0)

    def over(what: Any, most: int, glare: Any) -> Array:
        def make() -> Array:
            towards, light, radius = glare()
            return filled(raster, most, lambda at: veil_over(sights_to(eye, at)[0], towards, light, radius, ambient))

        return _recent.get((*raster.key, what, eye, *known.values()), raster.patch.size, make)

    maps = [even * wall]
    if ambient.sky is not None:
        light = ambient.sky.luminances()
        one = over(None, SKY_POINTS, lambda: sky_glare(raster.facade, eye)) * wall
        maps += [float(light[name]) * one for name in (TWILIGHT, GLOW)]
        towards, moon, radius = moon_glare(ambient, raster.facade, ambient.sky)
        maps += [over((*towards[0], *moon), POINTS, lambda: (towards, moon, radius)) * wall]
    things, here = Occluders.of(raster.facade, obstacles), np.array([eye])
    for lamp in ambient.lamps:
        full, places = lamp.dimmed(1.0), sources(lamp)
        free = ~things.hidden(places, np.full(len(places), -2), here)[0]
        glare = partial(lamp_glare, full, eye, free)
        maps += [lamp.dimming * over((full, free.tobytes()), POINTS, glare) * wall]
    return np.array(maps)
