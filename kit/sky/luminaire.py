r"""Lamps near the house: what they put on the front, and what they put in the viewer's eye.

A lamp is a point that sends intensity :math:`I` in each direction. A wall point at distance :math:`r`, with incidence
angle :math:`\beta` to the wall's normal, receives

.. math:: E = I \cos\beta / r^2 .

The law of a point holds beyond about five times the largest length of the lamp's luminous part; nearer, a real lamp
gives less. Light that comes by way of the ground, the sky or other walls is not counted, nor is anything that stands
between lamp and front other than the front's own depth.

How a lamp is turned
--------------------
A lamp with `turn` and `tilt` 0 hangs as it was measured: its axis (:math:`\theta = 0`) points straight down, its C0
half-plane to the right along the front (+x), C90 towards the house (-z). `turn` turns the lamp about the vertical,
counter-clockwise as seen from above; `tilt` then lifts its axis towards its own C90. So ``turn=0, tilt=90`` is a
floodlight that points straight at the house, and ``turn=180, tilt=90`` one that points at the audience.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from kit import reference
from kit.errors import InputError, number, numbers, text
from kit.sky.photometric_file import Distribution, beam, cutoff, isotropic
from kit.source.projector import is_many
from kit.source.spectra import AMBIENT
from kit.wall.raster import SAME_PLANE

Array = NDArray[np.float64]

# More nodes than a long front carries; beyond, the spacing is surely a slip.
MOST_NODES = 10_000


@dataclass(frozen=True, kw_only=True)
class Luminaire:
    """A lamp in its place.

    Parameters
    ----------
    name : str
    position : (float, float, float)
        World axes [m], see `kit.facade`.
    distribution : Distribution
    flux : float, optional
        That leaves the luminaire [lm]. Not given: that of the distribution.
    turn, tilt : float
        See the top of this module [deg].
    dimming : float
        Share of the full light, 0 to 1.
    shielded : float, optional
        Angle from straight down, above which a shield holds all light back [deg]. The shielded light is lost.
    spectrum : str
        One of the names of `kit.source.spectra.ambient_spectrum`, or empty: unknown.
    """

    name: str
    position: tuple[float, float, float]
    distribution: Distribution
    flux: float | None = None
    turn: float = 0.0
    tilt: float = 0.0
    dimming: float = 1.0
    shielded: float | None = None
    spectrum: str = ""

    def __post_init__(self) -> None:
        where = f"lamp {text('lamp name', self.name)!r}"
        fix = object.__setattr__
        fix(self, "position", numbers(f"{where}: position", self.position, 3, unit="m"))
        if not isinstance(self.distribution, Distribution):
            raise InputError(f"{where}: distribution", self.distribution, "a kit.Distribution")
        if self.flux is not None:
            fix(self, "flux", number(f"{where}: flux", self.flux, minimum=0.0, unit="lm"))
        fix(self, "turn", number(f"{where}: turn", self.turn, minimum=-360.0, maximum=360.0, unit="degrees"))
        fix(self, "tilt", number(f"{where}: tilt", self.tilt, minimum=-180.0, maximum=180.0, unit="degrees"))
        fix(self, "dimming", number(f"{where}: dimming", self.dimming, minimum=0.0, maximum=1.0))
        if self.shielded is not None:
            limit = number(f"{where}: shielded", self.shielded, minimum=0.0, maximum=180.0, unit="degrees")
            fix(self, "shielded", limit)
        if self.spectrum and self.spectrum not in AMBIENT:
            raise InputError(f"{where}: spectrum", self.spectrum, f"one of {', '.join(AMBIENT)}")

    def dimmed(self, share: float) -> Luminaire:
        """Return the same lamp with its dimming set to `share`."""
        return replace(self, dimming=share)

    def frame(self) -> tuple[Array, Array, Array]:
        """Return the unit vectors (axis, C0, C90) of the lamp in world axes, each of shape (3,)."""
        turn, tilt = math.radians(self.turn), math.radians(self.tilt)
        down, level = np.array([0.0, -1.0, 0.0]), np.array([-math.sin(turn), 0.0, -math.cos(turn)])
        axis = math.cos(tilt) * down + math.sin(tilt) * level
        return axis, np.array([math.cos(turn), 0.0, -math.sin(turn)]), math.cos(tilt) * level - math.sin(tilt) * down

    def intensity(self, directions: ArrayLike) -> Array:
        """Return the intensity towards unit vectors `directions`, shape (..., 3), in world axes [cd]."""
        towards = np.asarray(directions, float)
        axis, c0, c90 = self.frame()
        theta = np.degrees(np.arccos(np.clip(towards @ axis, -1.0, 1.0)))
        if self.distribution.horizontal.size > 1:
            phi: ArrayLike = np.degrees(np.arctan2(towards @ c90, towards @ c0))
        else:
            phi = 0.0
        result = self.distribution.intensity(theta, phi)
        result *= self.dimming * (1.0 if self.flux is None else self.flux / self.distribution.flux())
        if self.shielded is not None:
            result = np.where(-towards[..., 1] >= math.cos(math.radians(self.shielded)), result, 0.0)
        return result


@dataclass(frozen=True, kw_only=True)
class LedString:
    """A string of light-emitting nodes along a line.

    Parameters
    ----------
    name : str
    path : sequence of (x, y, z)
        Corners of the line [m], two or more: a roof line, a gutter, turns round a tree.
    spacing : float
        Between nodes along the line [m].
    node_flux : float
        Of one node at full white [lm].
    dimming : float
        Share of full white, 0 to 1; nodes are dimmed by switching them fast, so light is proportional to it.
    facing : (float, float, float), optional
        Each node lights evenly the half-space about this direction: (0, 0, 1) is away from the house. Not given:
        all round.

    Raises
    ------
    InputError
        For a value out of its domain, or more than `MOST_NODES` nodes.
    """

    name: str
    path: tuple[tuple[float, float, float], ...]
    spacing: float
    node_flux: float
    dimming: float = 1.0
    facing: tuple[float, float, float] | None = None

    def __post_init__(self) -> None:
        where = f"string {text('string name', self.name)!r}"
        fix = object.__setattr__
        if not is_many(self.path) or len(self.path) < 2:
            raise InputError(f"{where}: path", self.path, "two or more corners (x, y, z) in metres")
        path = tuple(numbers(f"{where}: path, corner {i}", c, 3, unit="m") for i, c in enumerate(self.path, 1))
        fix(self, "path", path)
        fix(self, "spacing", number(f"{where}: spacing", self.spacing, above=0.0, unit="m"))
        fix(self, "node_flux", number(f"{where}: node_flux", self.node_flux, minimum=0.0, unit="lm"))
        fix(self, "dimming", number(f"{where}: dimming", self.dimming, minimum=0.0, maximum=1.0))
        if self.facing is not None:
            facing = numbers(f"{where}: facing", self.facing, 3)
            if not 1e-6 < math.hypot(*facing) < 1e6:
                raise InputError(f"{where}: facing", self.facing, "a direction (x, y, z) other than (0, 0, 0)")
            fix(self, "facing", facing)
        if not 0.0 < self.length / self.spacing < MOST_NODES - 1:
            raise InputError(
                f"{where}: path, spacing",
                (round(self.length, 3), self.spacing),
                f"a line longer than 0 m with at most {MOST_NODES} nodes",
            )

    @property
    def length(self) -> float:
        """Of the line [m]."""
        return sum(math.dist(*ends) for ends in pairwise(self.path))

    def dimmed(self, share: float) -> LedString:
        """Return the same string with its dimming set to `share`."""
        return replace(self, dimming=share)

    def nodes(self) -> Array:
        """Return the positions of the nodes, shape (n, 3) [m]: the first at the start of the line."""
        corners = np.array(self.path)
        along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(corners, axis=0), axis=1))])
        # A hair of slack, so that 1 m in steps of 0.1 m has 11 nodes.
        at = self.spacing * np.arange(int(along[-1] / self.spacing + 1e-9) + 1)
        return np.stack([np.interp(at, along, corners[:, k]) for k in range(3)], axis=1)

    def flux(self) -> float:
        """Return the light of all nodes at this dimming [lm]."""
        return self.node_flux * self.dimming * len(self.nodes())

    @property
    def node_intensity(self) -> float:
        """Of one node where it shines at all [cd]."""
        return self.node_flux * self.dimming / ((4.0 if self.facing is None else 2.0) * math.pi)


def typical_luminaire(
    name: str,
    *,
    position: tuple[float, float, float],
    level: str = "nominal",
    called: str | None = None,
    **more: Any,
) -> Luminaire:
    """Return a lamp of ``reference_data/luminaires.csv``.

    Parameters
    ----------
    name : str
        For example ``"street lamp"``.
    position : (float, float, float)
        As in `Luminaire`, as is anything in `more` (`turn`, `tilt`, `dimming`, `shielded`, `spectrum`).
    level : {"low", "nominal", "high"}
        Of the flux.
    called : str, optional
        Name of this one; that of its kind if not given.

    Raises
    ------
    InputError
        For an unknown name or level.
    """
    if level not in ("low", "nominal", "high"):
        raise InputError("level", level, "low, nominal or high")
    shape = _typical_shape(name, level)
    return Luminaire(name=name if called is None else called, position=position, distribution=shape, **more)


def headlamps(
    name: str, *, position: tuple[float, float], towards: tuple[float, float], level: str = "nominal"
) -> tuple[Luminaire, Luminaire]:
    """Return the two headlamps of a car, level and at their usual height.

    Parameters
    ----------
    name : str
        Of the car.
    position, towards : (float, float)
        Of the car's nose, and a point that it drives towards, as (x, z) [m].
    level : {"low", "nominal", "high"}
        Of the flux.

    Raises
    ------
    InputError
        For a car that drives nowhere.
    """
    text("car: name", name)
    x, z = numbers("position", position, 2, unit="m")
    ahead = np.array(numbers("towards", towards, 2, unit="m")) - (x, z)
    length = float(np.hypot(*ahead))
    if length < SAME_PLANE:
        raise InputError("towards", towards, "a point apart from the position")
    turn = math.degrees(math.atan2(-ahead[0], -ahead[1]))
    height, apart = (reference.value("luminaires", "headlamp", quantity=q) for q in ("height", "spacing"))
    aside = 0.5 * apart / length * np.array([ahead[1], -ahead[0]])
    left, right = (
        typical_luminaire(
            "headlamp", called=f"{name}, {side}", position=(float(x + s * aside[0]), height, float(z + s * aside[1])),
            turn=turn, tilt=90.0, level=level,
        )
        for side, s in (("left", 1.0), ("right", -1.0))
    )  # fmt: skip
    return left, right


@cache
def _typical_shape(name: str, level: str) -> Distribution:
    row = reference.row("luminaires", name, group="luminaire", quantity="flux")
    flux = row.value if level == "nominal" else getattr(row, level)
    known = {r.quantity: r.value for r in reference.table("luminaires") if r.name == name and r.group == "luminaire"}
    if "beam angle" in known:
        return beam(flux, known["beam angle"], name=name)
    if "cut-off angle" in known:
        return cutoff(flux, known["cut-off angle"], name=name)
    return isotropic(flux, name=name)


# In the eye
