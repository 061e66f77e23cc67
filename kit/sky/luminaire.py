r"""Lamps near the house: luminaires and LED strings in their places, and where each sends its light.

A lamp with `tilt` 0 hangs as it was measured: its axis (:math:`\theta = 0`, the beam of a floodlight) points straight
down. Say where it faces by `towards`, a point (x, z) on the ground: its front, as `kit.sky.photometric_file` knows it
from the file, or the C-plane that `front` names, faces that point, and `tilt` lifts the axis towards it: 90 is level.

`pan` is the other way, by the table's own angles whatever the front is: at 0 the C0 half-plane points to the right
along the front (+x), C90 towards the house (-z); it turns the lamp about the vertical, counter-clockwise as seen from
above, and `tilt` lifts the axis towards C90. So ``pan=0, tilt=90`` points straight at the house. A road lamp from an
LM-63 file with ``pan=0`` therefore faces along the house.
"""

import math
from dataclasses import replace
from functools import cache
from itertools import pairwise
from typing import Any, Self

import numpy as np

from kit import reference
from kit.arrays import Array, ArrayLike, Point
from kit.errors import InputError
from kit.fields import ANGLE, DIMMING, LENGTH, NAME, POINT, Declared, Is, Many, Number, OneOf, Vector, declared
from kit.sky.photometric_file import FRONT, Distribution, beam, cutoff, load_distribution
from kit.source.spectra import AMBIENT
from kit.wall.raster import SAME_PLANE

# More nodes than a long front carries; beyond, the spacing is surely a slip.
MOST_NODES = 10_000

FLUX = Number(label="light of a lamp", symbol="Φ", unit="lm", low=0.0)
NODE_SPACING = Number(label="between nodes", unit="m", above=0.0)
PAN = ANGLE.but(label="pan", low=-360.0, high=360.0, optional=True)
PAN = PAN.but(
    meaning="in place of towards: C0 of its table from along the front, counter-clockwise from above; None: 0"
)
TILT = ANGLE.but(label="tilt", low=-180.0, high=180.0)
SHIELDED = ANGLE.but(low=0.0, high=180.0, meaning="from straight down; light above it is lost in a shield")
FACING = Vector(label="faces", meaning="direction of the half-space that each node lights evenly; None: all round")
PATH = Many(of=POINT, least=2, meaning="corners of the line: a roof line, a gutter, turns round a tree")
SIZE = LENGTH.but(label="size", low=0.0, default=0.1, meaning="across its shining part: in the eye it is no point")
LIGHT_NAME = OneOf(label="colour of the light", options=tuple(AMBIENT), empty=True, default="")
LEVEL = OneOf(label="flux", options=("low", "nominal", "high"), default="nominal")
ON_GROUND = Vector(length=2, of=LENGTH)
TOWARDS = ON_GROUND.but(label="towards", optional=True, meaning="a place on the ground (x, z) that its front faces")
FRONT = FRONT.but(optional=True, meaning="C-plane that is its front, with `towards`; None: as its file's format has it")


class Luminaire(Declared):
    """A lamp in its place; how it is turned: top of `kit.sky.luminaire`."""

    thing = "lamp"
    name: str = declared(NAME)
    position: Point = declared(POINT)
    distribution: Distribution = declared(Is(kind=Distribution, meaning="where it sends its light"))
    flux: float | None = declared(FLUX, default=None, meaning="that leaves it; None: that of the distribution")
    towards: tuple[float, float] | None = declared(TOWARDS, default=None)
    front: float | None = declared(FRONT, default=None)
    pan: float | None = declared(PAN, default=None)
    tilt: float = declared(TILT, default=0.0)
    dimming: float = declared(DIMMING)
    shielded: float | None = declared(SHIELDED, default=None)
    spectrum: str = declared(LIGHT_NAME)
    size: float = declared(SIZE)

    def _agree(self, where: str) -> None:
        if self.towards is None:
            if self.front is not None:
                raise InputError(f"{where}: front", self.front, "None without towards: nothing says where it faces")
        elif self.pan is not None:
            raise InputError(f"{where}: towards, pan", (self.towards, self.pan), "one of the two")
        elif math.dist(self.towards, self.position[::2]) < SAME_PLANE:
            raise InputError(f"{where}: towards", self.towards, "a point apart from the lamp's own place")

    def dimmed(self, share: float) -> Self:
        """Return the same lamp with its dimming set to `share`."""
        return replace(self, dimming=share)

    def axes(self) -> tuple[Array, Array, Array]:
        """Return the unit vectors (axis, C0, C90) of the lamp in world axes, each of shape (3,)."""
        pan, tilt, front = math.radians(self.pan or 0.0), math.radians(self.tilt), math.pi / 2.0
        if self.towards is not None:
            pan = math.atan2(self.position[0] - self.towards[0], self.position[2] - self.towards[1])
            front = math.radians(self.distribution.front if self.front is None else self.front)
        down, level = np.array([0.0, -1.0, 0.0]), np.array([-math.sin(pan), 0.0, -math.cos(pan)])
        axis, ahead = math.cos(tilt) * down + math.sin(tilt) * level, math.cos(tilt) * level - math.sin(tilt) * down
        right = np.array([math.cos(pan), 0.0, -math.sin(pan)])
        sine, cosine = math.sin(front), math.cos(front)
        return axis, sine * right + cosine * ahead, sine * ahead - cosine * right

    def intensity(self, directions: ArrayLike) -> Array:
        """Return the intensity towards unit vectors `directions`, shape (..., 3), in world axes [cd]."""
        towards = np.asarray(directions, float)
        axis, c0, c90 = self.axes()
        theta = np.degrees(np.arccos(np.clip(towards @ axis, -1.0, 1.0)))
        same_all_round = self.distribution.horizontal.size == 1
        phi = 0.0 if same_all_round else np.degrees(np.arctan2(towards @ c90, towards @ c0))
        result = self.distribution.intensity(theta, phi)
        result *= self.dimming * (1.0 if self.flux is None else self.flux / self.distribution.flux())
        if self.shielded is not None:
            result = np.where(-towards[..., 1] >= math.cos(math.radians(self.shielded)), result, 0.0)
        return result


class LedString(Declared):
    """A string of at most `MOST_NODES` lights along a line, dimmed by fast switching: light in proportion."""

    thing = "string"
    name: str = declared(NAME)
    path: tuple[Point, ...] = declared(PATH)
    spacing: float = declared(NODE_SPACING)
    node_flux: float = declared(FLUX, meaning="of one node at full white")
    dimming: float = declared(DIMMING)
    facing: Point | None = declared(FACING, default=None)

    def _agree(self, where: str) -> None:
        if self.facing is not None and not 1e-6 < math.hypot(*self.facing) < 1e6:
            raise InputError(f"{where}: facing", self.facing, "a direction (x, y, z) other than (0, 0, 0)")
        if not 0.0 < self.length / self.spacing < MOST_NODES - 1:
            right = f"a line longer than 0 m with at most {MOST_NODES} nodes"
            raise InputError(f"{where}: path, spacing", (round(self.length, 3), self.spacing), right)

    @property
    def length(self) -> float:
        """Of the line [m]."""
        return sum(math.dist(*ends) for ends in pairwise(self.path))

    def dimmed(self, share: float) -> Self:
        """Return the same string with its dimming set to `share`."""
        return replace(self, dimming=share)

    def nodes(self) -> Array:
        """Return the positions of the nodes, shape (n, 3) [m]: the first at the start of the line."""
        corners = np.array(self.path)
        along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(corners, axis=0), axis=1))])
        # Rounding must not cost the last node: 1 m in steps of 0.1 m has 11.
        at = self.spacing * np.arange(int(along[-1] / self.spacing + 1e-9) + 1)
        return np.stack([np.interp(at, along, corners[:, k]) for k in range(3)], axis=1)

    def flux(self) -> float:
        """Return the light of all nodes, dimmed as they are [lm]."""
        return self.node_flux * self.dimming * len(self.nodes())

    @property
    def node_intensity(self) -> float:
        """Of one node where it shines at all [cd]."""
        return self.node_flux * self.dimming / ((4.0 if self.facing is None else 2.0) * math.pi)


def typical_luminaire(
    name: str, *, position: Point, level: str = "nominal", called: str | None = None, **more: Any
) -> Luminaire:
    """Return a lamp of ``reference_data/luminaires.csv``, for example a ``"street lamp"``.

    `position` [m] and `more` (`towards`, `tilt`, `dimming`, `shielded`, `spectrum`) are as in `Luminaire`. `level` is
    "low", "nominal" or "high", of the flux, and `called` the name of this one; not given: that of its kind.
    """
    shape = _typical_shape(name, LEVEL.check("level", level))
    return Luminaire(name=name if called is None else called, position=position, distribution=shape, **more)


def headlamps(
    name: str, *, position: tuple[float, float], towards: tuple[float, float], level: str = "nominal"
) -> tuple[Luminaire, Luminaire]:
    """Return the two headlamps of a car of that `name`, level and at their usual height.

    `position` is that of the car's nose, `towards` a point that it drives towards, as (x, z) [m]; `level` is "low",
    "nominal" or "high", of the flux.
    """
    NAME.check("car: name", name)
    x, z = ON_GROUND.check("position", position)
    ahead = np.array(ON_GROUND.check("towards", towards)) - (x, z)
    length = float(np.hypot(*ahead))
    if length < SAME_PLANE:
        raise InputError("towards", towards, "a point apart from the position")
    height, apart = (reference.value("luminaires", "headlamp", quantity=q) for q in ("height", "spacing"))
    across, along = (0.5 * apart / length * ahead).tolist()

    def lamp(side: str, sign: float) -> Luminaire:
        return typical_luminaire(
            "headlamp", called=f"{name}, {side}", position=(x + sign * along, height, z - sign * across),
            pan=math.degrees(math.atan2(-across, -along)), tilt=90.0, level=level,
        )  # fmt: skip

    return lamp("left", 1.0), lamp("right", -1.0)


@cache
def _typical_shape(name: str, level: str) -> Distribution:
    band = reference.row("luminaires", name, group="luminaire", quantity="flux").band
    flux = band[LEVEL.names().index(level)]
    if name == "headlamp":
        table = load_distribution(reference.folder() / "headlamp.ies")
        return replace(table, name=name, candela=table.candela * (flux / table.flux()))
    angles = {r.quantity: r.value for r in reference.table("luminaires") if (r.group, r.name) == ("luminaire", name)}
    for quantity, shape in (("beam angle", beam), ("cut-off angle", cutoff)):
        if quantity in angles:
            return shape(flux, angles[quantity], name=name)
    return cutoff(flux, name=name)
