"""What photos say of light: a wall's reflectance beside sheets of paper, its luminance by the exposure, a test shot.

A camera that is set for the luminance L = K N^2 / (t S) makes a middle grey of it; what is twice as bright has twice
that drive. Within one photo only ratios are taken, and none of it matters.
"""

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from kit import reference
from kit.arrays import Array
from kit.bands import EDGE, worked_out
from kit.decision.measure import Reading
from kit.errors import InputError
from kit.eye.colorimetry import rec709
from kit.fields import LENGTH, LIGHT_OUTPUT, NAME, Is, Many, Number, OneOf
from kit.measure.photo import SPOT, Exposure, Photo
from kit.results import Frame, Result, banded, make_frame
from kit.source.projector import Levels
from kit.source.spectra import CHANNELS, WAVELENGTHS, Spectrum
from kit.wall.facade import Surface
from kit.wall.surface_spectra import recover
from kit.words import Phrases, band, capital

say = Phrases(__file__)
AREA, SURE = Number(unit="m2", above=0.0), (1.0, 1.0, 1.0)
# Of the mean: an edge of a shadow within a sheet, a sheet off the plane of the others. Brightest over darkest sheet;
# what the light of one sheet may count for, which grows with how far beyond them a place lies.
UNEVEN, OFF, APART, BEYOND = 0.15, 0.08, 2.5, 4.0


class PhotoReading(Result):
    """What photos say: figures (the middle 90%), readings for `kit.with_measurement`, notes, perhaps a surface."""

    figures: dict[str, Levels]  # low, usual and high: the middle 90%
    notes: tuple[str, ...]  # what is assumed
    readings: tuple[Reading, ...]
    surface: Surface | None = None  # of the smoothest spectrum, where a wall was compared with paper

    def frame(self, units: str = "m") -> Frame:
        """Return the figures, a row each; `units` change nothing."""
        rows = [{"what": name, **banded("value", levels)} for name, levels in self.figures.items()]
        found = make_frame(rows, index="what")
        found["standard uncertainty"] = (found["high value"] - found["low value"]) / (2.0 * EDGE)
        return found

    def sentence(self, units: str = "m") -> str:
        """Return the figures and what is assumed, in words; `units` change nothing."""
        said = "; ".join(f"{name} {band(*levels)}" for name, levels in self.figures.items())
        return " ".join([f"{capital(said)}.", *self.notes])


def read_reflectance(
    photo: Photo, wall: Any, sheets: Any, *, name: str, kind: str = "", sheet: str = "printer paper"
) -> PhotoReading:
    """Return the reflectance of a wall in a photo by comparison with sheets of paper fixed to it.

    Parameters
    ----------
    wall, sheets : sequence of (right, down); sequence of such places
        Corners [pixels]. Of one sheet the light is taken as even, by two as even across their line.
    name, kind, sheet : str
        Of the surface, see `Surface`; what sheets are, of ``reference_data/photography.csv``, taken as neutral. For a
        clipped place, a sheet in shadow or across its edge, a wall brighter than white: `InputError`.
    """
    (places, paper), name = _sheets(sheets, sheet), NAME.check("name", name)
    around, spread = _light_at(photo, places, np.mean(SPOT.check("wall", wall), axis=0))
    ratio = photo.spot("wall", wall).mean(axis=0) / around
    alone = {1: "one sheet", 2: "two sheets"}.get(len(places), "")
    doubts = _row(alone) if alone else SURE, [level**spread for level in _row("sheet in place")], _curve(photo)

    def levels(share: float) -> Levels:
        if share * paper[1] >= 1.0:
            raise InputError("wall", f"{share:.2f} of the paper", "a wall below white: is a sheet in shadow?")
        low, value, high = worked_out(lambda own, shade, lies, curve: own * shade * lies * share**curve, paper, *doubts)
        return low, value, min(high, 1.0)

    x, y, z = (float(one) for one in rec709()[0] @ ratio)
    low, value, high = found = levels(y)
    notes, own = [say("sheet", sheet=sheet, share=paper[1])], None
    notes += [say(note) for note in (alone, "" if photo.linear else "curve") if note]
    try:
        own = Spectrum(name, WAVELENGTHS, recover(x / (x + y + z), y / (x + y + z), value), "recovered", photo.name)
    except InputError:
        notes.append(say("colour"))
    channels = {f"in {c} of sRGB": levels(float(r)) for c, r in zip(CHANNELS, ratio, strict=True)}
    return PhotoReading(
        figures={f"reflectance of {name}": found} | channels,
        notes=tuple(notes),
        readings=(_reading("reflectance", found, 1.0, name),),
        surface=Surface(name=name, reflectance=value, low=low, high=high, kind=kind, spectrum=own),
    )


def read_ambient(
    taken: Photo | Exposure, surface: Surface, wall: Any = None, *, without: Mapping[str, Photo] | None = None
) -> PhotoReading:
    """Return the luminance of a wall by an exposure and the light on it; with more photos, what each lamp gives of it.

    Parameters
    ----------
    taken, surface : Photo or Exposure, and Surface of the wall
        A photo, in which the place `wall` counts [pixels]; or an exposure for a wall that fills the view, whose
        luminance is K N^2 / (t S), twice that for each stop of bias. A photo without an exposure to be trusted raises
        `InputError` with the reason.
    without : mapping of str to Photo, optional
        By lamp: a photo from the same place with that lamp off.
    """
    full, rest = _luminance(taken, wall), 1.0
    figures = {"luminance of the wall [cd/m²]": _light(full), "light on the wall [lx]": _light(full, surface)}
    for name, photo in (without or {}).items():
        left = _luminance(Is(kind=Photo).check(f"without {name!r}", photo), wall) / full
        rest -= 1.0 - left
        if not (0.0 < left < 1.0 and rest > 0.0):
            raise InputError(f"without {name!r}", f"{left:.0%} of the light", "less than with all lamps: swapped?")
        figures[f"share of {name}"] = worked_out(lambda curve, left=left: 1.0 - left**curve, _curve(photo))
    readings = [_reading("ambient light", _light(rest * full, surface))]
    if rest < 1.0:
        readings.append(_reading("lamps", _light((1.0 - rest) * full, surface)))
        figures["light without these lamps [lx]"] = _light(rest * full, surface)
    return PhotoReading(figures=figures, notes=(say("exposure"),), readings=tuple(readings))


def read_shot(
    white: Photo, black: Photo, sheets: Any, surface: Surface, *, lumens: float, area: float, distance: float,
    sheet: str = "printer paper",
) -> PhotoReading:  # fmt: skip
    """Return what of a machine's stated lumens arrives, its black, and what any other makes of this wall.

    Parameters
    ----------
    white, black, surface : Photo, Photo, Surface of the wall
        Of its full white and its full black on the wall, from one place, with `sheets` spread over the picture.
    lumens, area, distance : float
        What is stated [lm], the area of its picture [m2], and from the wall to its lens [m].
    """
    (places, paper), size = _sheets(sheets, sheet), AREA.check("area", area)
    bright, dark = (np.mean([_luminance(photo, place, "sheets") for place in places]) for photo in (white, black))
    if dark >= bright:
        raise InputError("black", f"{dark / bright:.2f} of white", "less light than white: are they swapped?")
    light = _light(float(bright - dark), Surface(name=sheet, reflectance=paper[1], low=paper[0], high=paper[2]))
    low, value, high = (level * size / LIGHT_OUTPUT.check("lumens", lumens) for level in light)
    doubts = (low, value, high), (surface.low, surface.reflectance, surface.high)
    figures = {
        "illuminance of white [lx]": light,
        "share of the stated lumens that arrives": (low, value, high),
        "black over white": worked_out(lambda curve: (dark / bright) ** curve, _curve(white)),
        "white of 1,000 lm [cd/m²]": worked_out(lambda share, rho: 1000.0 * share * rho / (math.pi * size), *doubts),
    }
    reading = _reading("lumens", light, LENGTH.but(above=0.0).check("distance", distance))
    return PhotoReading(figures=figures, notes=(say("shot"), say("exposure")), readings=(reading,))


def _sheets(sheets: Any, sheet: str) -> tuple[Any, Levels]:
    kinds = OneOf(options=reference.names("photography", "sheet"))
    return Many(of=SPOT, least=1, most=20).check("sheets", sheets), _row(kinds.check("sheet", sheet))


def _row(name: str) -> Levels:
    return reference.row("photography", name).band


def _curve(photo: Photo | Exposure) -> Levels:
    return SURE if getattr(photo, "linear", False) else _row("tone curve")


def _reading(of: str, levels: Levels, against: float | None = None, surface: str = "") -> Reading:
    low, value, high = levels
    return Reading(of=of, value=value, against=against, surface=surface, doubt=(low / value, high / value))


def _light_at(photo: Photo, sheets: Any, place: Array) -> tuple[Array, float]:
    """Return what a sheet would show at a place, per channel, by the plane through all; and its spread over theirs."""
    shown = [photo.spot(f"sheets {i}", sheet) for i, sheet in enumerate(sheets, 1)]
    levels = np.array([pixels.mean(axis=0) for pixels in shown])
    bright = levels.mean(axis=1)
    centres = np.array([np.mean(sheet, axis=0) for sheet in sheets])
    middle, size = centres.mean(axis=0), max(photo.size)
    plane = np.column_stack([np.ones(len(centres)), (centres - middle) / size])
    inverse = np.linalg.pinv(plane, rcond=1e-3)  # of one sheet even, of two even across the line between them
    tests = (
        ([one.mean(axis=1).std() / one.mean() / UNEVEN for one in shown], "an even sheet, none of it in shadow"),
        (bright.max() / bright / APART, "a sheet in the same light as the others, not in shadow"),
        (np.abs(plane @ inverse @ bright - bright) / bright.mean() / OFF, "sheets whose light falls off evenly"),
    )
    for far, right in tests:
        if max(far) > 1.0:
            worst = int(np.argmax(far))
            raise InputError(f"sheets {worst + 1}", f"{bright[worst] / bright.max():.0%} of the brightest", right)
    weights = np.array([1.0, *((place - middle) / size)]) @ inverse
    found = weights @ levels
    if min(found) <= 0.0 or max(abs(weights)) > BEYOND:
        raise InputError("wall", place.tolist(), "a place between the sheets or near them")
    return found, float(np.linalg.norm(weights))


def _luminance(taken: Photo | Exposure, place: Any, field: str = "wall") -> float:
    """Return the luminance of a place [cd/m2]."""
    if isinstance(taken, Exposure):
        return taken.luminance * 2.0**taken.bias
    if taken.exposure is None:
        right = "the camera's own file, or dataclasses.replace(photo, exposure=kit.Exposure(...)) by hand"
        raise InputError(f"photo {taken.name!r}: exposure", taken.missing, right)
    drive = float(rec709()[0][1] @ taken.spot(field, place).mean(axis=0))
    return taken.exposure.luminance * drive / reference.value("photography", "metered grey")


def _light(luminance: float, surface: Surface | None = None) -> Levels:
    """Return a luminance with the doubt of an exposure [cd/m2], or the light on a wall of that luminance [lx]."""
    names = "meter constant", "speed rating", "camera meter"
    doubts = [[level / row[1] for level in row] for row in map(_row, names)]
    wall = (surface.low, surface.reflectance, surface.high) if surface else (math.pi,) * 3
    if not wall[0]:
        raise InputError("surface: low", wall[0], "a wall that sends back some light")
    return worked_out(lambda k, speed, meter, rho: math.pi * luminance * k * speed * meter / rho, *doubts, wall)
