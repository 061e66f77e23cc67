"""Light of the sky on the ground and on a wall: sun and twilight, stars, moon, and the glow of towns.

Each source has its own relation, in lx for a clear sky; clouds take from the sun and the moon (a tenth is left under a
thick layer) and add to the glow of a town. Arrays broadcast; `kit.sky.site` checks what a user gives. Elevations are
those of geometry, without refraction. Sources: P. M. Janiczek and J. A. DeYoung, Computer programs for sun and moon
illuminance with contingent tables and diagrams, U.S. Naval Observatory Circular 171 (1987) (from memory). K. Krisciunas
and B. E. Schaefer, PASP 103 (1991) 1033, doi:10.1086/132921. R. H. Garstang, PASP 98 (1986) 364, doi:10.1086/131768.
Constants: ``reference_data/sky.csv``.
"""

from functools import cache
from typing import Any

import numpy as np
from numpy.polynomial import Polynomial
from scipy.interpolate import RegularGridInterpolator

from kit import reference
from kit.arrays import Array, ArrayLike


def horizontal_illuminance(elevation: ArrayLike) -> Array:
    """Return the light of sun and clear sky on open, level ground [lx], by the `elevation` of the sun's centre [deg].
    Log10 E is a cubic of the elevation in six pieces down to -18 degrees (Janiczek and DeYoung 1987), blended where
    they meet, which differ there by 0.2 to 1.0%; below, what is above starlight falls off exponentially. Moon and towns
    come on top.
    """
    height = np.asarray(elevation, float)
    lowest, curve = _pieces("daylight")[0]
    at_lowest, slope = 10.0 ** curve(lowest / 90.0), curve.deriv()(lowest / 90.0) / 90.0
    star = reference.value("sky", "starlight")
    rate = np.log(10.0) * slope * at_lowest / (at_lowest - star)
    night = star + (at_lowest - star) * np.exp(rate * np.minimum(height - lowest, 0.0))
    return np.where(height < lowest, night, _cubics("daylight", height))[()]


def vertical_from_horizontal(horizontal: ArrayLike, *, ground_reflectance: ArrayLike, sky_view: Any = 0.5) -> Array:
    """Return the light on a wall, E_h (F_sky + rho / 2), under an even sky; `sky_view`: half where nothing stands in
    front, (1 - sin h) / 2 above a long row of dark houses up to the elevation h.
    """
    return np.asarray(horizontal, float) * (np.asarray(sky_view, float) + 0.5 * np.asarray(ground_reflectance, float))


def facing_sky(elevation: ArrayLike, aside: ArrayLike, kind: str) -> Array:
    """Return the light of a sky on an upright wall over that of an even sky that lights the ground as much.

    `elevation`: that of the sun; `aside`: from where the wall looks to the sun [deg]; `kind`: a sky type of ISO
    15469:2004 (CIE S 011) in the tables, of luminance (1 + a exp(b / cos Z)) (1 + c (exp(d chi) - exp(d pi / 2)) + e
    cos^2 chi), Z from the zenith, chi from the sun. Below the horizon it is faded into an even one down to the end of
    civil twilight: no relation is known in which the glow takes an ever larger share, so a wall towards it may get
    more, another less, within a factor of 3.
    """
    height, turn = np.broadcast_arrays(np.asarray(elevation, float), (np.asarray(aside) + 180.0) % 360.0 - 180.0)
    ratio = _facing(kind)(np.stack([np.clip(height, 0.0, 90.0), np.abs(turn)], axis=-1)).reshape(height.shape)
    return 1.0 + np.clip(1.0 + height / reference.value("sky", "civil twilight"), 0.0, 1.0) * (ratio - 1.0)


@cache
def _facing(kind: str) -> RegularGridInterpolator:
    a, b, c, d, e = (value for (name, _), value in sorted(_signed("sky type").items()) if name == kind)
    suns, turns, step = np.arange(0.0, 91.0, 5.0), np.arange(0.0, 181.0, 10.0), np.pi / 180.0
    zenith, around = np.meshgrid((np.arange(90) + 0.5) * step, (np.arange(360) + 0.5) * step, indexing="ij")
    up, level, table = np.cos(zenith), np.sin(zenith), []
    even = (level * up).sum() / (level**2 * np.maximum(np.cos(around), 0.0)).sum()
    for sun in np.radians(suns):
        chi = np.arccos(np.clip(np.sin(sun) * up + np.cos(sun) * level * np.cos(around), -1.0, 1.0))
        glow = 1.0 + c * (np.exp(d * chi) - np.exp(d * np.pi / 2.0)) + e * np.cos(chi) ** 2
        light = (1.0 + a * np.exp(b / up)) * glow * level
        walls = [(light * level * np.maximum(np.cos(around - turn), 0.0)).sum() for turn in np.radians(turns)]
        table.append(even * np.array(walls) / (light * up).sum())
    return RegularGridInterpolator((suns, turns), np.array(table))


def moon_normal(*, elevation: ArrayLike, phase_angle: ArrayLike, extinction: ArrayLike | None = None) -> Array:
    """Return the direct light of the moon on a surface that faces it [lx]; none from below the horizon.

    `phase_angle`: 0 (full) to 180 (new) [deg]; `extinction` of the air towards the zenith [mag], not given: clear air.
    Log10 of the full moon's light on level ground is a cubic of its elevation in three pieces, as Urban and Seidelmann
    have it (Explanatory Supplement to the Astronomical Almanac, 2013, page 518), as is its phase: 10^(-0.00868 alpha -
    2.2e-9 alpha^4) is left. Other air than theirs, 0.165 mag as its light overhead lies below the 0.313 lx outside the
    atmosphere, counts by 10^(-0.4 k X), X = (1 - 0.96 cos^2 h)^-0.5 (Krisciunas and Schaefer 1991).

    All is taken to come from the moon itself: light on the ground over sin h, or sin 6 where it is lower. A wall that
    faces a low moon so gets too much, 1.5 times at 5 degrees; one that faces away lacks what the air scatters, 0.01 to
    0.03 lx. Left out: the moon's distance (-11 to +16%).
    """
    height, phase = np.asarray(elevation, float), np.asarray(phase_angle, float)
    names = ("full moon", "phase, linear", "phase, fourth power", "one foot-candle", "air mass", "low moon")
    full, linear, fourth, one, flat, low = (reference.value("sky", name, group="moon") for name in names)
    level = _cubics("moonlight", height) * 10.0 ** -(linear * phase + fourth * phase**4)
    light = level / np.sin(np.radians(np.clip(height, low, 90.0)))
    if extinction is not None:
        # The table holds the sizes of the two negative magnitudes.
        outside = reference.value("constants", "foot-candle") * 10.0 ** (-0.4 * (one - full))
        clear = 10.0 ** (-0.4 * np.asarray(extinction, float)) * outside / _cubics("moonlight", 90.0)
        light = light * clear ** ((1.0 - flat * np.cos(np.radians(height)) ** 2) ** -0.5)
    return np.where(height > 0.0, light, 0.0)[()]


def sky_luminance(magnitudes: ArrayLike) -> Array:
    """Return the luminance of a sky of so many mag/arcsec2 in V [cd/m2]: 10.8e4 x 10^(-0.4 m) (Garstang 1986)."""
    return reference.value("sky", "sky of magnitude 0") * 10.0 ** (-0.4 * np.asarray(magnitudes, float))


def _cubics(group: str, elevation: ArrayLike) -> Array:
    """Return 10 to the pieces of a curve, blended where they meet; below the lowest end, that at this end."""
    half_width = reference.value("sky", "joint between pieces")
    (lowest, curve), *higher = _pieces(group)
    above = np.maximum(elevation, lowest)
    log = curve(above / 90.0)
    for end, curve in higher:
        step = np.clip((above - end) / (2.0 * half_width) + 0.5, 0.0, 1.0)
        log = log + (curve(above / 90.0) - log) * step**2 * (3.0 - 2.0 * step)
    return np.asarray(10.0**log)


def _signed(group: str) -> dict[tuple[str, str], float]:
    rows = (row for row in reference.table("sky") if row.group == group)
    found = {(row.name, row.quantity.removesuffix(", negative")): row for row in rows}
    return {key: row.value if key[1] == row.quantity else -row.value for key, row in found.items()}


@cache
def _pieces(group: str) -> tuple[tuple[float, Polynomial], ...]:
    """Lower end of each piece [deg], rising, and log10 of the illuminance [lx] there by elevation / 90 degrees."""
    signed = _signed(group)
    ends = sorted((end, name) for (name, quantity), end in signed.items() if quantity == "lower end")
    return tuple((end, Polynomial([signed[name, f"coefficient {i}"] for i in range(4)])) for end, name in ends)
