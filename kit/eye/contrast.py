"""Contrast at the eye: white over black, with ambient light and the veil in both."""

import numpy as np
from numpy.typing import ArrayLike

from kit.arrays import Array
from kit.bands import in_quadrature


def contrast_at_eye(white: ArrayLike, black: ArrayLike, ambient: ArrayLike, veil: ArrayLike) -> Array:
    """Return (L_white + L_ambient + L_veil) / (L_black + L_ambient + L_veil).

    All are luminances, `ambient` that of ambient light on the wall [cd/m2]; they broadcast. 1 where there is no light
    at all in white or black: nothing to tell apart. Infinite for a black without any.
    """
    rest = np.asarray(ambient, float) + np.asarray(veil, float)
    below = np.asarray(black, float) + rest
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        result = (np.asarray(white, float) + rest) / below
    return np.where((below == 0.0) & np.isnan(result), 1.0, result)


def contrast_end(
    white: Array, black: Array, ambient: Array, veil: Array | float, contrast: Array, light: float, wall: Array,
    sign: int,
) -> Array:  # fmt: skip
    """Return the low (`sign` -1) or the high end (1) of the likely `contrast`, see `contrast_at_eye`.

    `light` and `wall` are light and reflectance at this end, relative to nominal; the two deviations, which are
    independent, are taken in quadrature. All arrays broadcast.
    """
    if isinstance(veil, float) and veil == 0.0:
        # The wall cancels, however dark it is.
        return contrast_at_eye(light * white, light * black, ambient, veil)
    with np.errstate(divide="ignore", invalid="ignore"):
        by_light = contrast_at_eye(light * white, light * black, ambient, veil) / contrast
        by_wall = contrast_at_eye(wall * (white + ambient), wall * (black + ambient), 0.0, veil) / contrast
        spread = in_quadrature((by_light, by_wall), sign)
        # Nothing dilutes a black without any light, and a wall that sends nothing back has nothing to spread.
        return np.where(np.isfinite(spread), contrast * spread, contrast)
