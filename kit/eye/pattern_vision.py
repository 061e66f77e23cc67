"""How the eye sees the wall's own pattern under the picture.

Published: the contrast sensitivity of the eye (P. G. J. Barten, Contrast Sensitivity of the Human Eye and Its Effects
on Image Quality, SPIE 1999, doi:10.1117/3.353254, as carried by colour-science), and that bars are seen when their
fundamental is (F. W. Campbell & J. G. Robson, J. Physiol. 197 (1968) 551, doi:10.1113/jphysiol.1968.sp008574, from
memory). Our own simple rule: detail of the picture that differs by less than bricks and mortar do drowns while the
pattern is visible.

The threshold is that of Barten's standard observer: 20 to 30 years old, good sight, both eyes. The fundamental of the
courses alone counts, which holds above the peak of sensitivity (1 to 2 cycles/deg at 1 to 10 cd/m2: bricks from 4 to 7
m on); nearer, edges show bars earlier, and the figures are too low. Left out: shadow and colour of the joints, the head
joints' own pattern, and a veil in the eye, which lowers the amplitude.
"""

import math
from collections.abc import Mapping

import numpy as np
from scipy.optimize import brentq

from kit.arrays import Array, ArrayLike
from kit.results import Format, Frame, Result, make_frame
from kit.units import edge
from kit.wall.texture import Pattern
from kit.words import Phrases, short

say = Phrases(__file__)

# Where the distance at which a pattern vanishes is looked for, in courses: from within reach to beyond any eye.
NEAREST, FARTHEST, STEPS = 1.0, 1e5, 500


class PatternView(Result):
    """How the eye sees a pattern from a distance [m]."""

    pattern: Pattern
    distance: float
    frequency: float  # of the courses [cycles/deg]
    amplitude: float  # modulation of their fundamental
    threshold: float  # that which is seen half of the time; infinite where nothing is
    times_threshold: float
    visible: bool
    vanishing_distance: float  # beyond which the pattern is no longer visible [m]; 0 if it is visible from nowhere
    hidden_detail: float  # our rule: what is below this contrast (x:1) drowns: the pattern's own ratio while visible
    steps: float | None  # of it in the picture's contrast, log(contrast) / log(hidden detail); None: none was given

    def frame(self, units: str = "m") -> Frame:
        """Return the view as a frame of one row, see `pattern_frame`."""
        return pattern_frame({self.pattern.name: self}, units)

    def sentence(self, units: str = "m") -> str:
        """Return in words whether the pattern shows, and what it hides."""
        unit, per = edge("m", units)
        if not self.visible:
            return say("unseen", units, view=self)
        seen = say("seen", units, view=self, gone=short(self.vanishing_distance / per), unit=unit)
        held = "" if self.steps is None else say("held", steps=_steps_text(self.steps))
        return f"{seen} {say('drowned' if math.isinf(self.hidden_detail) else 'hides', view=self, held=held)}"


def pattern_frame(views: Mapping[str, PatternView], units: str = "m") -> Frame:
    """Return patterns and how the eye sees them as a frame, one row by the name of each."""
    gone = "gone beyond [m]"
    rows = [
        {
            "pattern": name, "lighter over darker": view.pattern.ratio, "times visible": view.times_threshold,
            gone: view.vanishing_distance, "shades over the pattern": view.steps,
        }
        for name, view in views.items()
    ]  # fmt: skip
    formats: dict[str, Format] = {"lighter over darker": ".2f", "shades over the pattern": _steps_text}
    return make_frame(rows, formats | dict.fromkeys(("times visible", gone), ".0f"), "pattern", units)


def seen(
    pattern: Pattern, *, distance: float, luminance: float, picture_size: tuple[float, float],
    picture_contrast: float | None = None,
) -> PatternView:  # fmt: skip
    """Return how the eye sees a pattern from a distance [m], straight in front.

    `luminance` is the mean over the lit wall, as the eye sees it [cd/m2]; `picture_size` is width and height of the lit
    part [m], at least one course high, which set the pupil, and how many courses the eye takes together;
    `picture_contrast` is white over black of the picture on this wall.
    """
    width, height = picture_size

    def sensitivity(d: ArrayLike) -> Array:
        course, *field = (subtended(length, d) for length in (pattern.course_height, width, height))
        return contrast_sensitivity(1.0 / course, luminance, *field)

    # The greatest distance at which it is above the threshold; nothing is seen from as many courses away as the last.
    far = pattern.course_height * np.geomspace(NEAREST, FARTHEST, STEPS)
    above, gone = np.flatnonzero(pattern.amplitude * sensitivity(far) > 1.0), 0.0
    if above.size:
        gone = brentq(lambda d: float(pattern.amplitude * sensitivity(d)) - 1.0, *far[above[-1] : above[-1] + 2])
    here = float(sensitivity(distance))
    times = pattern.amplitude * here
    hidden, held = pattern.ratio if times > 1.0 else 1.0, math.log(picture_contrast or 1.0)
    steps = 0.0 if held == 0.0 else held / math.log(hidden) if hidden > 1.0 else math.inf
    return PatternView(
        pattern=pattern, distance=distance, frequency=1.0 / float(subtended(pattern.course_height, distance)),
        amplitude=pattern.amplitude, threshold=1.0 / here if here > 0.0 else math.inf,
        times_threshold=times, visible=times > 1.0,
        vanishing_distance=float(gone),
        hidden_detail=hidden, steps=None if picture_contrast is None else steps,
    )  # fmt: skip


def subtended(length: ArrayLike, distance: ArrayLike) -> Array:
    """Return the angle of a length seen from straight in front of its middle [deg]; arrays broadcast [m]."""
    return np.degrees(2.0 * np.arctan2(np.asarray(length, float) / 2.0, np.asarray(distance, float)))


def contrast_sensitivity(frequency: ArrayLike, luminance: ArrayLike, width: ArrayLike, height: ArrayLike) -> Array:
    """Return one over the modulation that Barten's standard observer just sees of a sine pattern.
    Of a frequency [cycles/deg], mean luminance [cd/m2], width and height [deg], which broadcast and give pupil, blur
    and light on the retina, with the Stiles-Crawford correction; every constant is the default of colour-science.
    """
    from colour import contrast

    # Where one of frequency, luminance and size goes to its end, terms become 0 or infinite and the result 0.
    with np.errstate(all="ignore"):
        pupil = contrast.pupil_diameter_Barten1999(luminance, width, height)
        blur, light = contrast.sigma_Barten1999(d=pupil), contrast.retinal_illuminance_Barten1999(luminance, pupil)
        csf = contrast.contrast_sensitivity_function_Barten1999(u=frequency, sigma=blur, E=light, X_0=width, Y_0=height)
        return np.asarray(csf)


def _steps_text(steps: float) -> str:
    return "all" if math.isinf(steps) else f"{steps:.1f}"
