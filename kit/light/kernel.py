"""Passes over many points: light per lumen of one beam, the maps of a scene, and whether it is enough in many draws.

They are compiled when first used, kept on disk, and let go of the interpreter meanwhile. All compiled functions stand
in this one file, because the compiler's cache looks for changes in no other.
"""

from functools import partial
from typing import Any

import numba
import numpy as np

from kit.arrays import Array, Mask


def compiled(function: Any) -> Any:
    """Return `function` compiled on its first call, and kept on disk where there is a place for that."""
    make = partial(numba.njit, nogil=True, error_model="numpy")  # division by 0 gives infinity or NaN, as in numpy
    try:
        return make(cache=True)(function)
    except RuntimeError:  # neither the package nor the user's cache can be written to
        return make()(function)


@compiled
def _zone_weights(place: float) -> tuple[float, float, float]:
    return place * (4.5 * place - 1.5), 1.0 - 9.0 * place * place, place * (4.5 * place + 1.5)


@compiled
def unit_rows(
    first: int, last: int, plane: Any, lit: Mask, x: Array, y: Array, axes: Array, strength: Array,
    window: Array, zones: Array, result: Array,
) -> None:  # fmt: skip
    """Write the illuminance per lumen of a beam into rows `first` to `last` of `result` [lx/lm].
    `plane`: -1, NaN in the result, where there is no wall; `axes`, shape (plane, 3, 3): distance forward, to the right
    and up: how it grows with x and y, and at (0, 0); `strength`: illuminance times depth cubed on each plane; `window`:
    left, width, bottom, height of the picture at unit depth; `zones`: `zone_table`, or (0, 0).
    """
    for row in range(first, last):
        for column in range(x.size):
            k = plane[row, column]
            if k < 0:
                result[row, column] = float("nan")
            elif not lit[row, column]:
                result[row, column] = 0.0
            else:
                ahead = axes[k, 0]
                depth = ahead[0] * x[column] + (ahead[1] * y[row] + ahead[2])
                light = strength[k] / (depth * depth * depth)
                if zones.size:
                    right, up = axes[k, 1], axes[k, 2]
                    s = (right[0] * x[column] + (right[1] * y[row] + right[2])) / depth
                    t = (up[0] * x[column] + (up[1] * y[row] + up[2])) / depth
                    across = _zone_weights((s - window[0]) / window[1] - 0.5)
                    above = _zone_weights((t - window[2]) / window[3] - 0.5)
                    root, least = 0.0, zones[0, 0]
                    for i in range(3):
                        for j in range(3):
                            root += above[i] * zones[i, j] * across[j]
                            least = min(least, zones[i, j])
                    light /= max(root, least) ** 2
                result[row, column] = light


@compiled
def map_rows(
    first: int, last: int, patch: Any, units: Array, faded: Array, lumens: Array, dark: Array, bounce: float,
    reflectance: Array, facing: Array, tints: Array, ambient: Array, veil: Array, result: Array,
) -> None:  # fmt: skip
    """Write six maps into rows `first` to `last` of `result`, shape (6, y, x): see `light_map`.
    `patch`: -1, NaN in the result, where there is no wall; `units`, `faded`, shape (projector, y, x): illuminance per
    lumen, and after blending; `lumens`, `dark`: delivered light of each projector [lm], and the share of it in black;
    `facing`: luminance per illuminance of each patch; `tints`, shape (projector, patch): a factor on that; `ambient`
    [lx], `veil`, shape (y, x).
    """
    illuminance, black_illuminance, white, black, contrast, diffuse = result
    for row in range(first, last):
        for column in range(patch.shape[1]):
            i = patch[row, column]
            if i < 0:
                for k in range(6):
                    result[k, row, column] = float("nan")
                continue
            e, e_dark, sent, sent_dark = 0.0, 0.0, 0.0, 0.0
            for p in range(lumens.size):
                full, black_light = lumens[p] * faded[p, row, column], dark[p] * lumens[p] * units[p, row, column]
                e, e_dark = e + full, e_dark + black_light
                sent, sent_dark = sent + tints[p, i] * full, sent_dark + tints[p, i] * black_light
            rest = reflectance[i] * ambient[row, column] / 3.141592653589793 + veil[row, column]
            bright, low = facing[i] * (sent + bounce), facing[i] * (sent_dark + bounce)
            below = low + rest
            illuminance[row, column], black_illuminance[row, column] = e, e_dark + bounce
            white[row, column], black[row, column] = bright, low
            diffuse[row, column] = reflectance[i]
            # No light at all in white or black: nothing to tell apart.
            contrast[row, column] = 1.0 if below == 0.0 and bright + rest == 0.0 else (bright + rest) / below


@compiled
def good_points(
    white: Array, room: Array, gives: Array, factors: Array, veil_factors: Array, light: Array, veils: Array,
    left: Array, levels: Array, result: Array,
) -> None:  # fmt: skip
    """Write how many points are good into `result`, shape (target, state, draw): what `Trials.good` counts.

    `white`, `room` for light of others, `gives`, luminance per illuminance, shape (draw, point); `factors`,
    `veil_factors`, shape (draw, source), on `light` [lx] and `veils`, shape (source, point); `left`, shape
    (state, source): what a state leaves of each; `levels`, shape (target,): white that is wanted.
    """
    each, here = np.empty(light.shape), np.empty(white.shape[1])
    for d in range(len(white)):
        for k in range(len(light)):
            for p in range(here.size):
                each[k, p] = gives[d, p] * factors[d, k] * light[k, p] + veil_factors[d, k] * veils[k, p]
        for s in range(len(left)):
            here[:] = 0.0
            for k in range(len(light)):
                if left[s, k] != 0.0:
                    for p in range(here.size):
                        here[p] += left[s, k] * each[k, p]
            for t in range(len(levels)):
                good = 0
                for p in range(here.size):
                    good += (here[p] <= room[d, p]) & (white[d, p] >= levels[t])
                result[t, s, d] = good
