"""Throw: where the lens stands and where it points, and how large its picture is at which distance."""

import numpy as np

from kit.arrays import Array, ArrayLike, Point
from kit.errors import InputError
from kit.fields import ANGLE, POINT, Declared, Number, Numbers, declared, together

ROLL = ANGLE.but(label="roll", low=-360.0, high=360.0, default=0.0, meaning="about the axis, clockwise to the audience")
SIZE = Numbers(of=Number(low=1e-6, high=1e9))


class Placement(Declared):
    """Where a projector stands and where it points; not straight up or down."""

    position: Point = declared(POINT, meaning="of the lens; x right, y up, z to the audience")
    aim: Point = declared(POINT, meaning="any other point on the lens axis; lens shift moves the picture off it")
    roll: float = declared(ROLL)

    def _agree(self, where: str) -> None:
        axis = np.subtract(self.aim, self.position)
        length = float(np.linalg.norm(axis))
        if length < 1e-6:
            raise InputError("aim", self.aim, f"a point away from position {self.position}")
        if np.hypot(axis[0], axis[2]) < 1e-6 * length:
            raise InputError("aim", self.aim, "a point that is not straight above or below the lens")

    def frame(self) -> tuple[Array, Array, Array]:
        """Return the unit vectors (forward, right, up) of the picture, each of shape (3,)."""
        forward = np.subtract(self.aim, self.position)
        forward = forward / np.linalg.norm(forward)
        right = np.cross(forward, (0.0, 1.0, 0.0))
        right /= np.linalg.norm(right)
        up = np.cross(right, forward)
        turn = np.radians(self.roll)
        return (forward, np.cos(turn) * right - np.sin(turn) * up, np.cos(turn) * up + np.sin(turn) * right)


def picture_width(distance: ArrayLike, throw_ratio: ArrayLike) -> Array:
    """Return the picture's width [m] on a perpendicular wall at `distance` [m]; broadcasts."""
    far, ratio = together(distance=SIZE.check("distance", distance), throw_ratio=SIZE.check("throw_ratio", throw_ratio))
    return far / ratio


def throw_ratio_for(width: ArrayLike, distance: ArrayLike) -> Array:
    """Return the throw ratio that makes a picture `width` [m] wide at `distance` [m]; broadcasts."""
    far, wide = together(distance=SIZE.check("distance", distance), width=SIZE.check("width", width))
    return far / wide
