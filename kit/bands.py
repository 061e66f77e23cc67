"""Bands of what is not known exactly: independent relative deviations, in quadrature (JCGM 100:2008, 5.1.2)."""

from collections.abc import Iterable

import numpy as np
from numpy.typing import ArrayLike, NDArray


def in_quadrature(ratios: Iterable[ArrayLike], sign: int) -> NDArray[np.float64]:
    """Return the factor of independent deviations, each a ratio to nominal, taken to the side of `sign`.

    `ratios` (iterable of array): 0 or more; they broadcast. On which side of 1 each lies does not matter; one of 0
    leaves nothing at the low end and knows no high one: infinite; `sign` ({-1, 1}): -1 for the low end, 1 for the
    high one.
    """
    with np.errstate(divide="ignore"):
        return np.asarray(np.exp(sign * np.sqrt(sum(np.log(np.asarray(ratio, float)) ** 2 for ratio in ratios))))
