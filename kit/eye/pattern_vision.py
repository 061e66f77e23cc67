"""How the eye sees the wall's own pattern under the picture.

What is published: the contrast sensitivity of the eye (Barten 1999), that a pattern of bars is seen when its
fundamental is (Campbell & Robson 1968), and that an eye of 20/20 resolves 1 arcmin. What is our own simple rule:
detail of the picture that differs by less than bricks and mortar do drowns while the pattern is visible; see
`PatternView`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from kit import reference
from kit.errors import InputError
from kit.fields import LENGTH, Is, Number, Vector
from kit.results import Format, Result, make_frame
from kit.units import edge
from kit.wall.texture import Pattern
from kit.words import plain, short

if TYPE_CHECKING:
    import pandas as pd

# Where the distance at which a pattern vanishes is looked for, in courses: from within reach to beyond any eye.
NEAREST, FARTHEST, STEPS = 1.0, 1e5, 500

PATTERN = Is(kind=Pattern)
DISTANCE = LENGTH.but(above=0.0)
LUMINANCE = Number(unit="cd/m2", low=0.0)
SIZE = Vector(length=2, of=LENGTH.but(above=0.0))
PICTURE_CONTRAST = Number(low=1.0, optional=True)


@dataclass(frozen=True, kw_only=True)
class PatternView(Result):
    """How the eye sees a pattern.

    Parameters
    ----------
    pattern : Pattern
    distance : float
        From the eye to the wall [m].
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

    pattern: Pattern
    distance: float
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

    def frame(self, units: str = "m") -> pd.DataFrame:
        """Return the view as a frame of one row, see `pattern_frame`."""
        return pattern_frame({self.pattern.name: self}, units)

    def sentence(self, units: str = "m") -> str:
        """Return in words whether the pattern shows, and what it hides."""
        unit, per = edge("m", units)
        here = f"{plain(self.distance / per)} {unit}"
        if not self.visible:
            return f"From {here} the pattern of {self.pattern.name} cannot be seen: it hides nothing of the picture."
        gone = f"{short(self.vanishing_distance / per)} {unit}"
        words = (
            f"From {here} the pattern of {self.pattern.name} is {short(self.times_threshold)} times as strong as the "
            f"eye needs; it is gone beyond {gone}. "
        )
        if math.isinf(self.hidden_detail):
            return f"{words}All detail of the picture drowns in it."
        words += f"Detail of the picture below {short(self.hidden_detail)}:1 drowns in it"
        return (
            f"{words}." if self.steps is None else f"{words}; its contrast holds {_steps_text(self.steps)} such steps."
        )


def pattern_frame(views: Mapping[str, PatternView], units: str = "m") -> pd.DataFrame:
    """Return patterns and how the eye sees them as a frame, one row by the name of each."""
    unit, per = edge("m", units)
    gone = f"gone beyond [{unit}]"
    rows = [
        {
            "pattern": name,
            "lighter over darker": view.pattern.ratio,
            "times visible": view.times_threshold,
            gone: view.vanishing_distance / per,
            "steps in the picture": view.steps,
        }
        for name, view in views.items()
    ]
    formats: dict[str, Format] = {"lighter over darker": ".2f", "times visible": ".0f", gone: ".0f"}
    formats["steps in the picture"] = _steps_text
    return make_frame(rows, formats, index="pattern")


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
    P. G. J. Barten, Contrast Sensitivity of the Human Eye and Its Effects on Image Quality (SPIE, 1999),
    doi:10.1117/3.353254, as carried by colour-science; F. W. Campbell & J. G. Robson, J. Physiol. 197 (1968) 551,
    doi:10.1113/jphysiol.1968.sp008574 (from memory). Acuity: ``reference_data/eye.csv``.
    """
    PATTERN.check("pattern", pattern)
    distance = DISTANCE.check("distance", distance)
    luminance = LUMINANCE.check("luminance", luminance)
    width, height = SIZE.check("picture_size", picture_size)
    if height < pattern.course_height:
        raise InputError("picture_size[1]", height, f"at least one course, {pattern.course_height:g} m")
    picture_contrast = PICTURE_CONTRAST.check("picture_contrast", picture_contrast)

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
        pattern=pattern,
        distance=distance,
        frequency=1.0 / float(subtended(pattern.course_height, distance)),
        amplitude=pattern.amplitude,
        threshold=1.0 / here if here > 0.0 else math.inf,
        times_threshold=times,
        visible=times > 1.0,
        joint_angle=joint_angle,
        joints_resolved=joint_angle >= reference.value("eye", "normal acuity"),
        vanishing_distance=_last_above_one(lambda d: pattern.amplitude * sensitivity(d), pattern.course_height),
        hidden_detail=hidden,
        steps=None if picture_contrast is None else _steps(picture_contrast, hidden),
    )


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
    P. G. J. Barten, Contrast Sensitivity of the Human Eye and Its Effects on Image Quality (SPIE, 1999),
    doi:10.1117/3.353254.
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


def _steps_text(steps: float) -> str:
    return "all" if math.isinf(steps) else f"{steps:.1f}"
