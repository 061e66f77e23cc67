"""The wall's own pattern: bricks and mortar differ, and the picture lies over that fixed contrast.

How the eye sees it is `kit.eye.pattern_vision`.
"""

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Self

from kit import reference
from kit.errors import InputError
from kit.fields import LENGTH, NAME, REFLECTANCE, Declared, declared
from kit.wall.facade import Surface

# Of boards, which have no length: any does.
ENDLESS = {"unit_length": 1.0, "head_joint": 0.0}
# Of a brick's face, and of a joint, which boards have none of.
SIZE, GAP = LENGTH.but(above=0.0), LENGTH.but(low=0.0)


class Pattern(Declared):
    """Units in running bond, with joints between them; or boards with a line of shadow under each."""

    thing = "pattern"
    name: str = declared(NAME)
    unit_reflectance: float = declared(REFLECTANCE, meaning="of the brick's face")
    joint_reflectance: float = declared(REFLECTANCE, meaning="of the mortar")
    course_height: float = declared(SIZE, meaning="from bed joint to bed joint: a unit's face and one joint")
    joint_height: float = declared(GAP, meaning="of the bed joint, less than the course height")
    unit_length: float = declared(SIZE, meaning="of a unit's face")
    head_joint: float = declared(GAP, meaning="width of the joint between two units of a course; 0 for boards")

    def _agree(self, where: str) -> None:
        if self.joint_height >= self.course_height:
            right = f"less than the course height of {self.course_height:g} m"
            raise InputError(f"{where}: joint_height", self.joint_height, right)

    @classmethod
    def from_reference(cls, name: str, *, unit_reflectance: float, joint_reflectance: float) -> Self:
        """Return a pattern of ``reference_data/masonry_patterns.csv``, as ``"modular brick"``; else `InputError`."""
        reference.row("masonry_patterns", name, quantity="course height")
        rows = (row for row in reference.table("masonry_patterns") if row.name == name)
        sizes = ENDLESS | {row.quantity.replace(" ", "_"): row.value for row in rows}
        return cls(name=name, unit_reflectance=unit_reflectance, joint_reflectance=joint_reflectance, **sizes)

    @classmethod
    def with_mean(cls, name: str, mean_reflectance: float, joint_reflectance: float) -> Self:
        """Return a pattern of the reference table of a mean reflectance over the whole wall, as a measured one keeps
        it, by the units' own; where none has it: `InputError`.
        """
        where = f"pattern {name!r}: mean_reflectance"
        mean = REFLECTANCE.check(where, mean_reflectance)
        plain = cls.from_reference(name, unit_reflectance=0.0, joint_reflectance=joint_reflectance)
        share = plain.joint_share
        unit = (mean - share * plain.joint_reflectance) / (1.0 - share)
        if not 0.0 <= unit <= 1.0:
            low, high = share * plain.joint_reflectance, share * plain.joint_reflectance + 1.0 - share
            right = f"{low:.3f} to {high:.3f} with joints of {plain.joint_reflectance:g} on {share:.1%} of the wall"
            raise InputError(where, mean_reflectance, right)
        return replace(plain, unit_reflectance=unit)

    @classmethod
    def of(cls, surface: Surface) -> Self | None:
        """Return the pattern of a surface by its kind and name: units in mortar, or painted over; None: not known."""
        name = "concrete block" if "block" in surface.name.split() else {"brick": "modular brick"}.get(surface.kind)
        if name is None:
            return None
        painted = "painted" in surface.name
        joint = surface.reflectance if painted else reference.value("surfaces", "mortar")
        try:
            return cls.with_mean(name, surface.reflectance, joint)
        except InputError:  # darker than its mortar alone would make it
            return None

    @property
    def joint_share(self) -> float:
        """Share of the wall that joints take up."""
        return 1.0 - (1.0 - self.joint_height / self.course_height) * (1.0 - self._head_share)

    @property
    def reflectance(self) -> float:
        """Mean over the wall."""
        share = self.joint_share
        return share * self.joint_reflectance + (1.0 - share) * self.unit_reflectance

    @property
    def ratio(self) -> float:
        """Lighter over darker, 1 or more; infinite where the darker is black."""
        low, high = sorted((self.unit_reflectance, self.joint_reflectance))
        return 1.0 if low == high else high / low if low > 0.0 else math.inf

    @property
    def amplitude(self) -> float:
        """Amplitude of the courses' fundamental over the mean, the modulation that the eye is shown, up to 2.

        Up the wall, the bed joint is a bar of share D of the course, and between the bars lie units together with
        their head joints (share H of the length): 2 |joint - unit| (1 - H) sin(pi D) / pi, for running bond too.
        """
        step = abs(self.joint_reflectance - self.unit_reflectance) * (1.0 - self._head_share)
        wave = math.sin(math.pi * (self.joint_height / self.course_height))
        return 2.0 * step * wave / math.pi / self.reflectance if step > 0.0 else 0.0

    @property
    def _head_share(self) -> float:
        return self.head_joint / (self.unit_length + self.head_joint)


def behind(pattern: Pattern, combine: Callable[[float], float]) -> Pattern:
    """Return the pattern as seen through a layer; `combine`: reflectance of both together, by that of the backing."""
    unit, joint = combine(pattern.unit_reflectance), combine(pattern.joint_reflectance)
    return replace(pattern, name=f"{pattern.name} behind a layer", unit_reflectance=unit, joint_reflectance=joint)
