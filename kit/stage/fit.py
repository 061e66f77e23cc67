"""The picture that just holds a front: from how far away, or with which zoom, and how the lens is shifted.

The machine stands level and square to the wall. A lens that stands near the ground leaves the strip below itself: where
its lower edge lies is for its shift to say.
"""

import numpy as np

from kit.arrays import Array
from kit.errors import InputError
from kit.wall.facade import Facade

# The shift that most machines have, at most [picture heights]: the lower edge level with the lens.
MOST_SHIFT = 0.5
# A lens below this share of the front's height stands near the ground.
LOW = 0.25


def usual_shift(house: Facade, *, height: float, aspect: float) -> float:
    """Return the lens shift upwards that holds the front's middle from a lens at `height` [m], 0 to `MOST_SHIFT`."""
    corners = _corners(house)
    (left, bottom), (right, top) = corners[:, :2].min(axis=0), corners[:, :2].max(axis=0)
    high = max(top - min(bottom, height), (right - left) / aspect)
    return float(np.clip((0.5 * (bottom + top) - height) / high, 0.0, MOST_SHIFT))


def fitting_distance(house: Facade, throw_ratio: float, **lens: float) -> float:
    """Return how far from the wall the picture holds the front [m]; `lens` as for `_needs`."""
    depth, need = _needs(house, **lens)
    return float((depth + throw_ratio * need).max())


def fitting_throw_ratio(house: Facade, distance: float, **lens: float) -> float:
    """Return the longest throw ratio that holds the front from a distance [m], in front of all that stands out."""
    depth, need = _needs(house, **lens)
    if distance <= depth.max():
        raise InputError("distance", distance, f"more than the {depth.max():.2f} m that the front stands out")
    return float(((distance - depth) / need).min())


def _needs(house: Facade, *, x: float, height: float, shift_up: float, aspect: float) -> tuple[Array, Array]:
    """Return for each corner how far it stands out, and how wide the picture has to be there [m]."""
    corners = _corners(house)
    up, bottom = corners[:, 1] - height, corners[:, 1].min()
    above, below = 0.5 + shift_up, 0.5 - shift_up
    if height - bottom <= LOW * (corners[:, 1].max() - bottom):
        up = np.maximum(up, 0.0)
    if (above <= 0 and (up > 0).any()) or (below <= 0 and (up < 0).any()):
        raise InputError("lens shift up", shift_up, "one with which the picture reaches the front")
    with np.errstate(divide="ignore", invalid="ignore"):
        tall = np.where(up > 0, up / above, np.where(up < 0, -up / below, 0.0))
    return corners[:, 2], np.maximum(np.maximum(2.0 * np.abs(corners[:, 0] - x), aspect * tall), 1e-3)


def _corners(house: Facade) -> Array:
    """Return the corners of what is judged, or of all that is seen where nothing is, shape (n, 3) [m]."""
    seen = [patch for patch in house.patches if patch.faces_audience]
    return np.concatenate([patch.rings[0] for patch in [p for p in seen if p.judged] or seen])
