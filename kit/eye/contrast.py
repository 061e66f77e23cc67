"""Contrast at the eye: white over black, with ambient light and the veil in both."""

import numpy as np
from numpy.typing import ArrayLike

from kit.arrays import Array


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
