"""The wall's own pattern: bricks and mortar differ, and the picture lies over that fixed contrast.

What is published: the contrast sensitivity of the eye (Barten 1999), that a pattern of bars is seen when its
fundamental is (Campbell & Robson 1968), and that an eye of 20/20 resolves 1 arcmin. What is our own simple rule:
detail of the picture that differs by less than bricks and mortar do drowns while the pattern is visible; see
`PatternView`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from kit import reference
from kit.errors import InputError, number, numbers, text

# Where the distance at which a pattern vanishes is looked for, in courses: from within reach to beyond any eye.
NEAREST, FARTHEST, STEPS = 1.0, 1e5, 500


@dataclass(frozen=True, kw_only=True)
class Pattern:
    """Units in running bond, with joints between them; or boards with a line of shadow under each.

    Parameters
    ----------
    name : str
    unit_reflectance, joint_reflectance : float
        Of the brick's face and of the mortar, in [0, 1].
    course_height : float
        From bed joint to bed joint: a unit's face and one joint [m].
    joint_height : float
        Of the bed joint [m], 0 or more and less than `course_height`.
    unit_length : float
        Of a unit's face [m].
    head_joint : float
        Width of the joint between two units of a course [m]; 0 for boards.

    Raises
    ------
    InputError
        For a value outside its range.
    """

    name: str
    unit_reflectance: float
    joint_reflectance: float
    course_height: float
    joint_height: float
    unit_length: float
    head_joint: float

    def __post_init__(self) -> None:
        where = f"pattern {text('pattern name', self.name)!r}"

        def fix(field: str, **limits: Any) -> None:
            object.__setattr__(self, field, number(f"{where}: {field}", getattr(self, field), **limits))

        fix("unit_reflectance", minimum=0.0, maximum=1.0)
        fix("joint_reflectance", minimum=0.0, maximum=1.0)
        fix("course_height", above=0.0, unit="m")
        fix("joint_height", minimum=0.0, unit="m")
        fix("unit_length", above=0.0, unit="m")
        fix("head_joint", minimum=0.0, unit="m")
        if self.joint_height >= self.course_height:
            right = f"less than the course height of {self.course_height:g} m"
            raise InputError(f"{where}: joint_height", self.joint_height, right)

    @classmethod
    def from_reference(
        cls, name: str, *, unit_reflectance: float | None = None, joint_reflectance: float | None = None
    ) -> Pattern:
        """Return a pattern of ``reference_data/masonry_patterns.csv``.

        Parameters
        ----------
        name : str
            For example ``"modular brick"``.
        unit_reflectance : float, optional
            In [0, 1]. Not given: red brick, where the pattern is of bricks.
        joint_reflectance : float, optional
            In [0, 1]. Not given: mortar, where the pattern is of masonry.

        Raises
        ------
        InputError
            For an unknown name, or a reflectance that is needed and not given.
        """
        lengths = {quantity: reference.row("masonry_patterns", name, quantity=quantity) for quantity in QUANTITIES}
        group = next(iter(lengths.values())).group
        if unit_reflectance is None:
            if group != "brick":
                right = f"the reflectance of the {group}, 0 to 1 (only bricks have one of their own)"
                raise InputError(f"pattern {name!r}: unit_reflectance", None, right)
            unit_reflectance = reference.value("surfaces", "red brick")
        if joint_reflectance is None:
            if group == "siding":
                right = "the reflectance that the line of shadow seems to have, 0 to 1 (boards have no mortar)"
                raise InputError(f"pattern {name!r}: joint_reflectance", None, right)
            joint_reflectance = reference.value("surfaces", "mortar")
        return cls(
            name=name,
            unit_reflectance=unit_reflectance,
            joint_reflectance=joint_reflectance,
            **{field: lengths[quantity].value for quantity, field in QUANTITIES.items()},
        )

    @classmethod
    def with_mean(cls, name: str, mean_reflectance: float, joint_reflectance: float) -> Pattern:
        """Return a pattern of the reference table whose mean over the wall is a given reflectance.

        The units get the reflectance that leaves the mean: a measured wall keeps what it reflects.

        Parameters
        ----------
        name : str
            For example ``"modular brick"``.
        mean_reflectance, joint_reflectance : float
            Of the whole wall and of the mortar, in [0, 1].

        Raises
        ------
        InputError
            If no reflectance of the units gives that mean.
        """
        where = f"pattern {name!r}: mean_reflectance"
        mean = number(where, mean_reflectance, minimum=0.0, maximum=1.0)
        plain = cls.from_reference(name, unit_reflectance=0.0, joint_reflectance=joint_reflectance)
        share = plain.joint_share
        unit = (mean - share * plain.joint_reflectance) / (1.0 - share)
        if not 0.0 <= unit <= 1.0:
            low, high = share * plain.joint_reflectance, share * plain.joint_reflectance + 1.0 - share
            right = f"{low:.3f} to {high:.3f} with joints of {plain.joint_reflectance:g} on {share:.1%} of the wall"
            raise InputError(where, mean_reflectance, right)
        return replace(plain, unit_reflectance=unit)

    @property
    def joint_share(self) -> float:
        """Share of the wall that joints take up."""
        return 1.0 - (1.0 - self._bed_share) * (1.0 - self._head_share)

    @property
    def reflectance(self) -> float:
        """Mean over the wall."""
        share = self.joint_share
        return share * self.joint_reflectance + (1.0 - share) * self.unit_reflectance

    @property
    def ratio(self) -> float:
        """Lighter over darker, 1 or more; infinite where the darker is black."""
        low, high = sorted((self.unit_reflectance, self.joint_reflectance))
        if low == high:
            return 1.0
        return high / low if low > 0.0 else math.inf

    @property
    def contrast(self) -> float:
        """Michelson contrast: difference of lighter and darker over their sum, 0 to 1."""
        low, high = sorted((self.unit_reflectance, self.joint_reflectance))
        return (high - low) / (high + low) if high > low else 0.0

    @property
    def amplitude(self) -> float:
        """Amplitude of the courses' fundamental over the mean: the modulation that the eye is shown.

        Up the wall, the bed joint is a bar of share D of the course, and between the bars lie units together with
        their head joints (share H of the length). The Fourier series of that square wave has the fundamental
        2 |joint - unit| (1 - H) sin(pi D) / pi, which is exact for running bond too. Up to 2 for a thin light line on
        black.
        """
        step = abs(self.joint_reflectance - self.unit_reflectance) * (1.0 - self._head_share)
        return 2.0 * step * math.sin(math.pi * self._bed_share) / math.pi / self.reflectance if step > 0.0 else 0.0

    @property
    def _bed_share(self) -> float:
        return self.joint_height / self.course_height

    @property
    def _head_share(self) -> float:
        return self.head_joint / (self.unit_length + self.head_joint)


# What the reference table calls the fields of a pattern.
QUANTITIES = {
    "course height": "course_height",
    "bed joint": "joint_height",
    "unit length": "unit_length",
    "head joint": "head_joint",
}


@dataclass(frozen=True, kw_only=True)
class PatternView:
    """How the eye sees a pattern.

    Parameters
    ----------
    frequency : float
        Of the courses [cycles/deg].
    amplitude : float
        Modulation of their fundamental; see `Pattern.amplitude`.
    threshold : float
        Modulation that is seen half of the time (Barten 1999); infinite where nothing is.
    times_threshold : float
        Amplitude over threshold.
    visible : bool
        Whether that is above 1.
    joint_angle : float
        That a bed joint subtends [arcmin].
    joints_resolved : bool
        Whether an eye of 20/20 can tell single joints. A pattern may be visible where they are not.
    vanishing_distance : float
        Beyond which the pattern is no longer visible [m]; 0 if it is visible from nowhere.
    hidden_detail : float
        Our rule: detail of the picture of a contrast below this (x:1) drowns in the pattern. The pattern's own
        ratio while it is visible, else 1.
    steps : float or None
        Our rule: how many times `hidden_detail` the picture's contrast holds, log(contrast) / log(hidden detail);
        infinite where nothing is hidden. None if no contrast was given.
    """

    frequency: float
    amplitude: float
    threshold: float
    times_threshold: float
    visible: bool
    joint_angle: float
    joints_resolved: bool
    vanishing_distance: float
    hidden_detail: float
    steps: float | None


def seen(
    pattern: Pattern,
    *,
    distance: float,
    luminance: float,
    picture_size: tuple[float, float],
    picture_contrast: float | None = None,
) -> PatternView:
    """Return how the eye sees a pattern from a distance, straight in front.

    Parameters
    ----------
    pattern : Pattern
    distance : float
        From the eye to the wall [m], above 0.
    luminance : float
        Mean over the lit wall, as the eye sees it [cd/m2], 0 or more.
    picture_size : (width, height)
        Of the lit part of the wall [m], at least one course high. It sets the pupil, and how many courses the eye
        takes together.
    picture_contrast : float, optional
        White over black of the picture on this wall, 1 or more.

    Raises
    ------
    InputError
        For a value outside its range.

    Notes
    -----
    The threshold is that of Barten's standard observer: 20 to 30 years old, good sight, both eyes. Only the
    fundamental of the courses counts, which is the rule for bars above the peak of sensitivity (1 to 2 cycles/deg at
    1 to 10 cd/m2, so bricks from 4 to 7 m on). Nearer than that, edges show bars earlier than the fundamental
    alone: the figures are then too low. Shadow and colour of the joints and the head joints' own pattern are left
    out. Light from elsewhere lies on bricks and mortar alike and changes nothing but the luminance; a veil in the
    eye lowers the amplitude and is not included.

    References
    ----------
    P. G. J. Barten, Contrast Sensitivity of the Human Eye and Its Effects on Image Quality (SPIE, 1999), as carried
    by colour-science; F. W. Campbell & J. G. Robson, J. Physiol. 197 (1968) 551 (from memory). Acuity:
    ``reference_data/eye.csv``.
    """
    if not isinstance(pattern, Pattern):
        raise InputError("pattern", pattern, "a kit.wall.texture.Pattern")
    distance = number("distance", distance, above=0.0, unit="m")
    luminance = number("luminance", luminance, minimum=0.0, unit="cd/m2")
    width, height = numbers("picture_size", picture_size, 2, unit="m")
    number("picture_size[0]", width, above=0.0, unit="m")
    number("picture_size[1]", height, minimum=pattern.course_height, unit="m (one course)")
    if picture_contrast is not None:
        number("picture_contrast", picture_contrast, minimum=1.0)

    def sensitivity(where: ArrayLike) -> NDArray[np.float64]:
        d = np.asarray(where, float)
        return contrast_sensitivity(
            1.0 / subtended(pattern.course_height, d), luminance, subtended(width, d), subtended(height, d)
        )

    here = float(sensitivity(distance))
    times = pattern.amplitude * here
    joint_angle = 60.0 * float(subtended(pattern.joint_height, distance))
    hidden = pattern.ratio if times > 1.0 else 1.0
    return PatternView(
        frequency=1.0 / float(subtended(pattern.course_height, distance)),
        amplitude=pattern.amplitude,
        threshold=1.0 / here if here > 0.0 else math.inf,
        times_threshold=times,
        visible=times > 1.0,
        joint_angle=joint_angle,
        joints_resolved=joint_angle >= reference.value("eye", "normal acuity"),
        vanishing_distance=_last_above_one(lambda d: pattern.amplitude * sensitivity(d), pattern.course_height),
        hidden_detail=hidden,
        steps=None if picture_contrast is None else _steps(float(picture_contrast), hidden),
    )


def view_table(views: Mapping[str, tuple[Pattern, PatternView]]) -> str:
    """Return patterns and how the eye sees them as a text table.

    Parameters
    ----------
    views : mapping of str to (Pattern, PatternView)
        By the name shown.
    """
    lines = [f"{'':24}{'brick : joint':>15}{'times visible':>15}{'gone beyond':>13}{'steps in the picture':>22}"]
    for name, (pattern, view) in views.items():
        steps = "-" if view.steps is None else "all" if math.isinf(view.steps) else f"{view.steps:.1f}"
        lines.append(
            f"{name[:23]:24}{f'1 : {pattern.ratio:.2f}':>15}{view.times_threshold:>15.0f}"
            f"{f'{view.vanishing_distance:.0f} m':>13}{steps:>22}"
        )
    return "\n".join(lines)


def subtended(length: ArrayLike, distance: ArrayLike) -> NDArray[np.float64]:
    """Return the angle of a length seen from straight in front of its middle [deg]; arrays broadcast [m]."""
    return np.degrees(2.0 * np.arctan2(np.asarray(length, float) / 2.0, np.asarray(distance, float)))


def contrast_sensitivity(
    frequency: ArrayLike, luminance: ArrayLike, width: ArrayLike, height: ArrayLike
) -> NDArray[np.float64]:
    """Return the contrast sensitivity of Barten's standard observer: one over the modulation that is just seen.

    Parameters
    ----------
    frequency : array
        Of a sine pattern [cycles/deg].
    luminance : array
        Mean [cd/m2].
    width, height : array
        Of the pattern [deg]. All four broadcast.

    Notes
    -----
    Luminance and field size give the pupil, the pupil the blur and the light on the retina, with the
    Stiles-Crawford correction; every constant is the default of colour-science. Where one of frequency, luminance
    and size goes to its end, sensitivity goes to 0.

    References
    ----------
    P. G. J. Barten, Contrast Sensitivity of the Human Eye and Its Effects on Image Quality (SPIE, 1999).
    """
    from colour.contrast import (
        contrast_sensitivity_function_Barten1999,
        pupil_diameter_Barten1999,
        retinal_illuminance_Barten1999,
        sigma_Barten1999,
    )

    # At the ends, terms become 0 or infinite and the result 0, as it should.
    with np.errstate(all="ignore"):
        pupil = pupil_diameter_Barten1999(luminance, width, height)
        return np.asarray(
            contrast_sensitivity_function_Barten1999(
                u=frequency,
                sigma=sigma_Barten1999(d=pupil),
                E=retinal_illuminance_Barten1999(luminance, pupil),
                X_0=width,
                Y_0=height,
            )
        )


def behind(pattern: Pattern, combine: Callable[[float], float]) -> Pattern:
    """Return the pattern as seen through a layer in front of it, such as cloth.

    Parameters
    ----------
    pattern : Pattern
    combine : callable
        Reflectance of layer and backing together, of the backing's reflectance.

    Raises
    ------
    InputError
        If `combine` returns no reflectance in [0, 1].
    """
    if not callable(combine):
        raise InputError("combine", combine, "a function of a reflectance that returns a reflectance")
    return replace(
        pattern,
        name=f"{pattern.name} behind a layer",
        unit_reflectance=combine(pattern.unit_reflectance),
        joint_reflectance=combine(pattern.joint_reflectance),
    )


def _last_above_one(times: Callable[[ArrayLike], NDArray[np.float64]], course: float) -> float:
    """Return the greatest distance at which `times` is above 1, or 0."""
    from scipy.optimize import brentq

    distances = course * np.geomspace(NEAREST, FARTHEST, STEPS)
    above = np.flatnonzero(times(distances) > 1.0)
    if above.size == 0:
        return 0.0
    last = int(above[-1])  # never the end: there is nothing to be seen from 100 000 courses away
    return float(brentq(lambda d: float(times(d)) - 1.0, distances[last], distances[last + 1]))


def _steps(contrast: float, hidden: float) -> float:
    if contrast == 1.0:
        return 0.0
    return math.log(contrast) / math.log(hidden) if hidden > 1.0 else math.inf
