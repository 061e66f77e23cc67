"""What is not known exactly: what a band means, and the random draws that come from it.

**Low and high of every band mean the middle 90%**: one case in twenty lies below, one above; nominal is the median.
Between and beyond them lies a lognormal distribution in two pieces, one on either side of the median; for what is a
share, such as a reflectance, it is the odds that are so distributed, which keeps the share between 0 and 1. Draws are
the points of a Sobol sequence, scrambled always alike: the same input gives the same words.
"""

from collections.abc import Callable, Iterable
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from kit.arrays import Array

Levels = tuple[float, float, float]
LOW, HIGH = 0.05, 0.95
# Of the normal distribution, where one case in twenty lies above.
EDGE = 1.6448536269514722
# Of what is worked out from a few inputs.
DRAWS = 2048
# So many inputs share one sequence, so that one more leaves the draws of the others as they are.
AT_ONCE = 64
# A share whose band ends at 0 or 1 comes this near to it, relative to nominal, in one case of twenty.
NEAREST = 1e-3


@lru_cache(maxsize=8)
def normal_draws(inputs: int, draws: int) -> Array:
    """Return standard normal numbers, shape (input, draw), read-only; `draws` is a power of 2."""
    from scipy.special import ndtri
    from scipy.stats import qmc

    columns = AT_ONCE * -(-inputs // AT_ONCE)
    even = qmc.Sobol(columns, scramble=True, rng=1).random(draws)
    result = np.ascontiguousarray(ndtri(0.5 + (1.0 - 1e-10) * (even - 0.5)).T[:inputs])
    result.flags.writeable = False
    return result


def drawn(normal: ArrayLike, low: ArrayLike, nominal: ArrayLike, high: ArrayLike) -> Array:
    """Return a value for each standard normal number, by the band of the value; all broadcast."""
    z, middle = np.asarray(normal, float), np.asarray(nominal, float)
    end = np.where(z < 0.0, low, high)
    return np.asarray(middle * np.divide(end, middle, out=np.ones_like(z * end), where=middle > 0.0) ** (abs(z) / EDGE))


def drawn_share(normal: ArrayLike, low: ArrayLike, nominal: ArrayLike, high: ArrayLike) -> Array:
    """Return the same for a share from 0 to 1; one of 0 or 1 is certain."""
    middle = np.asarray(nominal, float)
    known = (middle <= 0.0) | (middle >= 1.0)
    inside = np.where(known, 0.5, middle)
    ends = np.maximum(low, NEAREST * inside), inside, np.minimum(high, 1.0 - NEAREST * (1.0 - inside))
    below, odds, above = (share / (1.0 - share) for share in ends)
    found = drawn(normal, below, odds, above)
    return np.where(known, middle, found / (1.0 + found))


def worked_out(function: Callable[..., Any], *bands: Iterable[float], by: Callable[..., Array] = drawn) -> Levels:
    """Return the band of a function, monotone in each input, of inputs with `bands`; `by`: `drawn_share` for shares."""
    lows, middles, highs = zip(*bands, strict=True) if bands else ((), (), ())
    usual = float(function(*middles))
    doubtful = [k for k, (low, high) in enumerate(zip(lows, highs, strict=True)) if low != high]
    if len(doubtful) < 2:  # the ends are its own
        low, _, high = sorted((function(*lows), usual, function(*highs)))
    else:
        values = list(middles)
        for k, z in zip(doubtful, normal_draws(len(doubtful), DRAWS), strict=True):
            values[k] = by(z, lows[k], middles[k], highs[k])
        low, high = np.quantile(function(*values), (LOW, HIGH))
    return min(float(low), usual), usual, max(float(high), usual)
