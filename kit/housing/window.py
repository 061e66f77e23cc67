r"""The window of a housing: what a pane takes of each ray of the picture, and the ghost that it makes.

Faces mirror by Fresnel's equations, a coated one with a quarter-wave layer; light goes to and fro without interference
(Born and Wolf, Principles of Optics, from memory): :math:`T = (1 - R)^2 \tau / (1 - R^2 \tau^2)` for each polarisation.
"""

import math
from dataclasses import replace
from typing import Any

import numpy as np

from kit import reference
from kit.arrays import Array, ArrayLike
from kit.bands import worked_out
from kit.errors import InputError
from kit.fields import ANGLE, LENGTH, Declared, OneOf, declared
from kit.source.beam import Beam
from kit.source.placement import Placement
from kit.source.projector import TYPICAL_OPTIONS, Factor, Levels, Projector

GLASS = OneOf(label="window", options=lambda: reference.names("housing", "glass"), default="float glass")
THICKNESS = LENGTH.but(label="thickness of the pane", above=0.0, high=0.1, default=0.004)
TILT = ANGLE.but(label="tilt of the pane", low=-60.0, high=60.0, default=0.0, steps=(-30.0, 30.0, 1.0))
TILT = TILT.but(meaning="from square to the lens axis; positive: its top leans away from the lens")
DIRT = OneOf(label="dirt", options=lambda: reference.names("light_losses", "dust"), default=TYPICAL_OPTIONS["dust"])
HERE = Placement(position=(0.0, 0.0, 1.0), aim=(0.0, 0.0, 0.0))
# Places over which the picture's light is summed, the centres of its nine zones, and what slides along a pane.
FINE, ZONES, GRAZING = (np.arange(9) + 0.5) / 9 - 0.5, np.array([-1.0, 0.0, 1.0]) / 3.0, 0.02


def through(cosine: Array, index: ArrayLike, depth: ArrayLike, face: ArrayLike | None = None) -> tuple[Array, ...]:
    """Return what of rays, by the `cosine` of their angle to the normal, gets through a pane, what it throws back, and
    what its ghost has of what gets through; `depth`: absorption times thickness; `face`: reflectance of a coated one.
    """
    n = np.asarray(index, float)
    amplitude = (n - 1.0) / (n + 1.0) if face is None else np.sqrt(face)
    coat = np.sqrt(n * (1.0 + amplitude) / (1.0 - amplitude))  # of the pane's own index where none is stated
    inner, inside = (np.sqrt(1.0 - (1.0 - cosine**2) / one**2) for one in (coat, n))
    wave, left = np.cos(np.pi * inner), np.exp(-np.asarray(depth) / inside)
    total = np.zeros((3, *np.broadcast_shapes(left.shape, wave.shape)))
    for a, b, c in ((cosine, coat * inner, n * inside), (1.0 / cosine, coat / inner, n / inside)):
        first, second = (a - b) / (a + b), (b - c) / (b + c)
        both = 2.0 * first * second * wave
        mirror = (first**2 + second**2 + both) / (1.0 + (first * second) ** 2 + both)
        once, again = 0.5 * (1.0 - mirror) ** 2 * left, (mirror * left) ** 2
        total += once / (1.0 - again), 0.5 * mirror + once * mirror * left / (1.0 - again), once * again
    return total[0], total[1], total[2] / total[0]


class Pane(Declared):
    """The window before a lens; its dirt is what ``light_losses.csv`` has of lens, window and filters together."""

    glass: str = declared(GLASS)
    thickness: float = declared(THICKNESS)
    tilt: float = declared(TILT)
    dirt: str = declared(DIRT)

    def cosines(self, projector: Projector, across: ArrayLike, up: ArrayLike) -> Array:
        """Return the cosine of the angle to the pane's normal of rays through places of the picture: `Beam.rays`."""
        beam, slope = Beam.of(projector, HERE), math.radians(self.tilt)
        rays, normal = beam.rays(across, up), math.cos(slope) * beam.forward + math.sin(slope) * beam.up
        found = np.asarray(rays @ normal / np.linalg.norm(rays, axis=-1))
        if np.min(found) < GRAZING:
            raise InputError("tilt", self.tilt, "so little that every ray of the picture meets the pane")
        return found

    def map(self, projector: Projector, across: ArrayLike, up: ArrayLike, *values: Any) -> Array:
        """Return the transmittance at places of the picture, by values of `bands`; none: as given."""
        index, absorption, *face, dirt = values or [band[1] for band in self.bands()]
        cosine = self.cosines(projector, across, up)
        return through(cosine, index, absorption * self.thickness, *face)[0] * dirt ** (1.0 / cosine)

    def light(self, projector: Projector) -> Levels:
        """Return the share of the whole picture's light that gets through, low, nominal and high."""
        weight = np.broadcast_to(Beam.of(projector, HERE).gain(FINE, FINE[:, None]), (9, 9))

        def mean(*values: ArrayLike) -> Array:
            spread = (np.asarray(one)[..., None, None] for one in values)
            return np.sum(self.map(projector, FINE, FINE[:, None], *spread) * weight, axis=(-2, -1)) / weight.sum()

        return worked_out(mean, *self.bands())

    def before(self, projector: Projector) -> Projector:
        """Return a machine, its zoom set, with the pane's own map, in chain and zones, for window and dust."""
        low, nominal, high = self.light(projector)
        name = f"housing window: {self.glass}, {1e3 * self.thickness:g} mm, tilted {self.tilt:g} degrees, {self.dirt}"
        own = Factor(name=name, low=low, nominal=nominal, high=high, source="Fresnel's equations, housing.csv")
        chain = (one for one in projector.chain if not one.name.startswith(("housing window:", "dust:")))
        zones = np.array(projector.zones or np.ones((3, 3))) * self.map(projector, ZONES, -ZONES[:, None])
        return replace(projector, chain=(*chain, own), zones=tuple(map(tuple, zones.tolist())))

    def ghost(self, projector: Projector, distance: float) -> tuple[float, float]:
        """Return a second picture's share of what gets through, and how far beside it is; a wedge w turns it 2 n w."""
        far, cosine = LENGTH.but(above=0.0).check("distance", distance), self.cosines(projector, 0.0, 0.0)
        index, absorption, *face, _ = (band[1] for band in self.bands())
        inside = np.sqrt(1.0 - (1.0 - cosine**2) / index**2)
        wedge = math.radians(reference.value("housing", self.glass, quantity="wedge") / 60.0)
        aside = 2.0 * self.thickness * np.sqrt(1.0 - inside**2) / inside * cosine + 2.0 * index * wedge * far
        return float(through(cosine, index, absorption * self.thickness, *face)[2]), float(aside)

    def bands(self) -> list[Levels]:
        """Return refractive index, absorption [1/m], where it is coated the reflectance of a face, and dirt."""
        own = [one for one in reference.table("housing") if one.name == self.glass and one.quantity != "wedge"]
        return [one.band for one in (*own, reference.row("light_losses", self.dirt, group="dust"))]
