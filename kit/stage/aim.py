r"""How a machine points, and how it is set, wherever its lens stands.

For each position of the lens the rest follows from one rule:

1. The machine stands level and square to the wall. Lens shift moves the picture's centre towards the middle of the
   target, as far as the lens allows.
2. Tilt and pan do what is left, without roll, so that the picture's centre lies on that middle exactly.
3. The zoom makes the smallest picture that still covers the target's corners.

Tilt counts from level, upwards positive; pan from square to the wall, to the right as the audience sees it.

Tilt and pan in closed form
---------------------------
In the square frame (right, up, towards the wall) let the middle lie along :math:`(a, b, 1)`. In the machine's own
frame the picture's centre lies along :math:`(p, q, 1)`, with :math:`p = shift_{across} w` and
:math:`q = shift_{up} h` for a picture of :math:`w \times h` at unit depth. The rotation keeps lengths, so the middle
is at :math:`n (a, b, 1)` with :math:`n^2 = (1 + p^2 + q^2) / (1 + a^2 + b^2)`. Tilt :math:`t` alone decides the
height, pan :math:`\psi` the rest:

.. math::
    \sin t + q \cos t = n b = e, \qquad g = \cos t - q \sin t = \sqrt{1 + q^2 - e^2},

    \cos t = \frac{g + q e}{1 + q^2}, \quad \sin t = \frac{e - q g}{1 + q^2}, \qquad
    \psi = \arctan a - \arctan (p / g).

Pan is zero for :math:`p = a \sqrt{(1 + q^2) / (1 + b^2)}`, tilt for :math:`q = b \sqrt{(1 + p^2) / (1 + a^2)}`.

The picture that just holds a front, from how far away or with which zoom, is that of a machine level and square to the
wall. A lens that stands near the ground leaves the strip below itself: its shift says where its lower edge lies.
"""

from collections.abc import Sequence
from functools import cached_property

import numpy as np
from scipy.optimize.elementwise import find_root
from scipy.spatial import ConvexHull

from kit.arrays import Array, Index
from kit.errors import InputError
from kit.fields import ANGLE, THROW_RATIO, Declared, Frozen, Number, Range, declared
from kit.source.beam import Beam
from kit.source.projector import Projector
from kit.wall.facade import Facade, Patch
from kit.wall.raster import SAME_PLANE

# The zoom is found to this share of its range: far below what a zoom ring can be set to.
FINEST = 2.0**-42
# At the end of its range a zoom may fit exactly: rounding, in shares of the picture.
EXACT = 1e-12

# NaN marks what cannot be.
QUIET = np.errstate(divide="ignore", invalid="ignore", over="ignore")

# The shift that most machines have, at most [picture heights]: the lower edge level with the lens.
MOST_SHIFT = 0.5
# A lens below this share of the front's height stands near the ground.
LOW = 0.25

SHIFTS = Range(of=Number(label="lens shift", meaning="of the picture's centre"), default=(0.0, 0.0))
TURNS = Range(of=ANGLE.but(low=-90.0, high=90.0), default=(-90.0, 90.0))
ACROSS = SHIFTS.but(label="lens shift across", meaning="picture widths to the right; not given: none")
UP = SHIFTS.but(label="lens shift up", meaning="picture heights up; not given: none")
TILT = TURNS.but(label="tilt", meaning="of the machine, up from level; not given: not limited")
PAN = TURNS.but(label="pan", meaning="of the machine, to the right from square to the wall; not given: not limited")


class Lens(Declared):
    """What a lens and its mount can do; each a range (lowest, highest), tilt and pan as the audience sees them."""

    throw_ratio: tuple[float, float] = declared(Range(label="throw ratio", of=THROW_RATIO))
    shift_across: tuple[float, float] = declared(ACROSS)
    shift_up: tuple[float, float] = declared(UP)
    tilt: tuple[float, float] = declared(TILT)
    pan: tuple[float, float] = declared(PAN)


class Goal(Frozen, eq=False):
    """What the picture has to cover: arrays of points, shape (n, 3) [m], but for the normal of the main plane."""

    rectangle: Array  # that bounds the target in elevation, on the plane of its main (largest) patch
    normal: Array
    outline: Array  # corners of the target's patches
    facing: Array  # normals there
    corners: Array  # of the rectangle, and of the patches that stand out from the plane

    @classmethod
    def of(cls, patches: Sequence[Patch]) -> "Goal":
        """Return the goal of a picture that covers `patches`."""
        outline = np.concatenate([p.rings[0] for p in patches])
        main = max(patches, key=lambda p: p.area)
        z0, zx, zy = main.depth_plane()
        (left, bottom), (right, top) = outline[:, :2].min(axis=0), outline[:, :2].max(axis=0)
        x, y = np.array([left, right, right, left]), np.array([bottom, bottom, top, top])
        rectangle = corners = np.stack([x, y, z0 + zx * x + zy * y], axis=1)
        out = outline[np.abs(outline @ main.normal - main.offset) > SAME_PLANE]
        if len(out):
            corners = np.concatenate([rectangle, out])
            # A picture is convex, so the hull is enough.
            corners = corners[ConvexHull(corners).vertices]
        facing = np.concatenate([np.tile(p.normal, (len(p.rings[0]), 1)) for p in patches])
        return cls(rectangle=rectangle, normal=main.normal, outline=outline, facing=facing, corners=corners)

    @cached_property
    def middle(self) -> Array:
        """Middle of the rectangle, shape (3,) [m]."""
        return np.asarray(self.rectangle.mean(axis=0))

    @cached_property
    def square(self) -> Array:
        """Unit vectors of a machine that stands level and square to the wall, right, up and ahead, shape (3, 3)."""
        ahead = -np.array([self.normal[0], 0.0, self.normal[2]]) / np.hypot(self.normal[0], self.normal[2])
        return np.array([np.cross(ahead, (0.0, 1.0, 0.0)), (0.0, 1.0, 0.0), ahead])

    def before(self, positions: Array) -> Array:
        """Return how far positions, shape (n, 3), lie in front of the main plane, shape (n,) [m]."""
        return np.asarray((positions - self.middle) @ self.normal)


@QUIET
def zoomed(goal: Goal, lens: Lens, projector: Projector, positions: Array) -> Array:
    """Return the longest throw ratio whose picture covers the corners, else the shortest; NaN from behind the plane."""

    def beyond(throw: Array, which: Index) -> Array:
        """Return by how much a corner lies beyond the picture's edge, in shares of the picture; 1 for far off."""
        landing = aimed(goal, lens, projector, positions[which], throw).on(goal.corners)
        place = np.maximum(np.abs(landing.across), np.abs(landing.up))
        return np.fmin(place.max(axis=1) - 0.5 * (1.0 + EXACT), 1.0)

    near = {"xatol": FINEST * (lens.throw_ratio[1] - lens.throw_ratio[0]), "xrtol": 0.0, "fatol": 0.0, "frtol": 0.0}
    found = find_root(beyond, lens.throw_ratio, args=(np.arange(len(positions)),), tolerances=near)
    # Without a root between them both are the ends of the range.
    throw = np.where(found.f_bracket[1] <= 0.0, found.bracket[1], found.bracket[0])
    return np.where(np.isfinite(_towards(goal, positions)[0]), throw, np.nan)


def aimed(goal: Goal, lens: Lens, projector: Projector, positions: Array, throw: Array) -> Beam:
    """Return the beams, batch (n,), of machines aimed by the rule at the top; NaN where no tilt does it."""
    a, b = _towards(goal, positions)
    w = 1.0 / throw
    h = w / projector.aspect
    across, up = lens.shift_across, lens.shift_up
    q = np.clip(b, up[0] * h, up[1] * h)
    p = np.clip(a * np.sqrt((1.0 + q * q) / (1.0 + b * b)), across[0] * w, across[1] * w)
    q = np.clip(b * np.sqrt((1.0 + p * p) / (1.0 + a * a)), up[0] * h, up[1] * h)
    qq = 1.0 + q * q
    e = b * np.sqrt((p * p + qq) / (1.0 + a * a + b * b))
    g = np.sqrt(qq - e * e)
    norm = np.sqrt((1.0 + a * a) * (p * p + g * g))
    cos_tilt, sin_tilt, cos_pan, sin_pan = (
        part[:, None] for part in ((g + q * e) / qq, (e - q * g) / qq, (g + a * p) / norm, (a * g - p) / norm)
    )
    right, upward, ahead = goal.square
    heading = cos_pan * ahead + sin_pan * right
    return Beam(
        position=positions, forward=cos_tilt * heading + sin_tilt * upward, right=cos_pan * right - sin_pan * ahead,
        up=cos_tilt * upward - sin_tilt * heading, centre=np.stack([p, q], axis=1), size=np.stack([w, h], axis=1),
        resolution=projector.resolution, zones=projector.zones,
    )  # fmt: skip


def _towards(goal: Goal, positions: Array) -> tuple[Array, Array]:
    """Return the direction (a, b) of the middle in the square frame; NaN from behind the main plane."""
    right, up, ahead = goal.square @ (goal.middle - positions).T
    ahead = np.where((goal.before(positions) > SAME_PLANE) & (ahead > SAME_PLANE), ahead, np.nan)
    return right / ahead, up / ahead


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
