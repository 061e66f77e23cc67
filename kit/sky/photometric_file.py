r"""Where a lamp sends its light: photometric files and a few simple shapes.

Two open formats are read: IESNA LM-63 (``.ies``; 1986, 1991, 1995, 2002, 2019) with type C photometry, and
EULUMDAT (``.ldt``; symmetries 0 to 4). A `Distribution` holds intensities in the file's own table.

Angles are those of the C-planes: :math:`\theta` from the lamp's axis (0 is straight down for a lamp that hangs as
it was measured), :math:`\varphi` round the axis, counter-clockwise as seen from above.

Flux is the zonal sum with the mean of the ends of each zone,

.. math:: \Phi = \sum_i 2\pi (\cos\theta_i - \cos\theta_{i+1}) \frac{I_i + I_{i+1}}{2},

which is exact where the intensity is linear in :math:`\cos\theta` between the angles of the table.
"""

from __future__ import annotations

import math
import re
from bisect import bisect_right
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from kit.errors import InputError
from kit.fields import ANGLE, NAME, Number, Numbers, check_named, declared, together
from kit.files import read_file
from kit.units import metres_per

Array = NDArray[np.float64]

# Real files stay below 1 MB and 70 000 values; what is far larger is a mistake or a trap.
MOST_BYTES = 4_000_000
MOST_VALUES = 1_000_000
LONGEST_NUMBER = 40
# Of a searchlight [cd].
MOST_INTENSITY = 1e9
# How far the integrated flux may lie from the file's own before `Distribution.agrees` says no, and before the file is
# refused as one in other units.
AGREES, ABSURD = 0.05, 10.0
# Angles closer than this are one angle [deg].
SAME_ANGLE = 1e-6

THETA, PHI = Numbers(of=ANGLE.but(low=0.0, high=180.0)), Numbers(of=ANGLE)
CANDELA = Numbers(of=Number(unit="cd", low=0.0, high=MOST_INTENSITY), most=MOST_VALUES)
FLUX = Number(label="lumens", symbol="Φ", unit="lm", above=0.0)
CUTOFF, BEAM = ANGLE.but(low=1.0, high=180.0), ANGLE.but(low=5.0, high=170.0)

EDITIONS = ("1986", "1991", "1995", "2002", "2019")
RANGES = "one angle of 0; or 0 to 90, 0 to 180, 90 to 270, or 0 to 360 degrees, ascending"


@dataclass(frozen=True, kw_only=True, eq=False)
class Distribution:
    """Luminous intensity by direction.

    Parameters
    ----------
    name : str
    vertical : array, shape (v,)
        Angles from the lamp's axis [deg], ascending within 0 to 180. There is no light outside their range.
    horizontal : array, shape (h,)
        Angles round the axis [deg]: one of 0 (the same all round), or 0 to 90 (both halves and both ends alike),
        0 to 180 or 90 to 270 (two halves alike), or 0 to 360; the last step of a full turn may be left out.
    candela : array, shape (h, v)
        Intensities [cd], for the rated lumens; 0 or more.
    stated_flux : float, optional
        Of the lamps, as the file states it [lm]. Not given: absolute photometry.
    efficiency : float, optional
        Share of `stated_flux` that leaves the luminaire, as the file states it.
    multiplier : float
        By which the file's numbers were multiplied to give `candela`.
    size : float
        Largest stated length of the luminous part [m]; 0 where it is not stated.

    Raises
    ------
    InputError
        For an array of another shape, a value out of its domain, or no light at all.
    """

    name: str = declared(NAME)
    vertical: Array = declared(THETA.but(most=MOST_VALUES))
    horizontal: Array = declared(PHI.but(most=MOST_VALUES))
    candela: Array = declared(CANDELA)
    stated_flux: float | None = declared(FLUX, default=None)
    efficiency: float | None = declared(Number(above=0.0, high=2.0), default=None)
    multiplier: float = declared(Number(above=0.0), default=1.0)
    size: float = declared(Number(unit="m", low=0.0), default=0.0)
    _flux: float = field(init=False, repr=False)

    def __post_init__(self) -> None:
        where = check_named(self, "distribution")
        v, h, table = self.vertical, self.horizontal, self.candela
        if v.ndim != 1 or v.size < 2 or np.any(np.diff(v) <= 0):
            raise InputError(f"{where}: vertical", v, "two or more ascending angles from 0 to 180 degrees")
        if h.ndim != 1 or not h.size or np.any(np.diff(h) <= 0) or not _known_range(h):
            raise InputError(f"{where}: horizontal", h, RANGES)
        if table.shape != (h.size, v.size):
            raise InputError(f"{where}: candela", table.shape, f"an array of shape {(h.size, v.size)}")
        cosine = np.cos(np.radians(v))
        full_h, full = self._full
        rings = (full[:, 1:] + full[:, :-1]) @ (np.pi * (cosine[:-1] - cosine[1:]))
        flux = rings[0] if full_h.size == 1 else np.diff(full_h) @ (rings[1:] + rings[:-1]) / 720.0
        object.__setattr__(self, "_flux", float(flux))
        if not self._flux > 0:
            raise InputError(f"{where}: candela", "0 in all directions", "some light")

    @cached_property
    def _full(self) -> tuple[Array, Array]:
        """Horizontal angles of a full turn with both ends, and intensities there; one angle if all are alike."""
        h, table = self.horizontal, self.candela
        if h.size == 1:
            return h, table
        if h[0] > SAME_ANGLE:  # 90 to 270: with its mirror image, -90 to 270
            return np.concatenate([180.0 - h[::-1], h[1:]]), np.concatenate([table[::-1], table[1:]])
        while h[-1] < 180.0 + SAME_ANGLE:  # 0 to 90, then 0 to 180
            h = np.concatenate([h, 2.0 * h[-1] - h[-2::-1]])
            table = np.concatenate([table, table[-2::-1]])
        if h[-1] < 360.0 - SAME_ANGLE:
            h, table = np.append(h, 360.0), np.concatenate([table, table[:1]])
        return h, table

    def flux(self) -> float:
        """Return the flux that leaves the luminaire, by zonal integration [lm]."""
        return self._flux

    @property
    def flux_ratio(self) -> float | None:
        """Integrated flux over what the file says leaves the luminaire; None for absolute photometry.

        A file that does not state an efficiency is compared with the lumens of its lamps: the ratio then is the
        luminaire's efficiency, and should not exceed 1.
        """
        if self.stated_flux is None:
            return None
        return self._flux / (self.stated_flux * (self.efficiency or 1.0))

    @property
    def agrees(self) -> bool | None:
        """Whether `flux_ratio` is 1 within `AGREES`, or at most that where no efficiency is stated; None: no ratio."""
        ratio = self.flux_ratio
        if ratio is None:
            return None
        return ratio <= 1.0 + AGREES and (self.efficiency is None or ratio >= 1.0 - AGREES)

    def intensity(self, theta: ArrayLike, phi: ArrayLike = 0.0) -> Array:
        """Return the intensity towards directions [cd], linear in both angles between those of the table.

        Parameters
        ----------
        theta : array
            From the lamp's axis [deg], 0 to 180.
        phi : array
            Round the axis [deg], any turn; broadcasts with `theta`.

        Raises
        ------
        InputError
            For an angle outside its domain.
        """
        down, round_ = together(theta=THETA.check("theta", theta), phi=PHI.check("phi", phi))
        v, (h, table) = self.vertical, self._full
        if h.size == 1:
            result = np.interp(down, v, table[0])
        else:
            from scipy.ndimage import map_coordinates

            row = np.interp((round_.ravel() - h[0]) % 360.0 + h[0], h, np.arange(h.size, dtype=float))
            column = np.interp(down.ravel(), v, np.arange(v.size, dtype=float))
            result = map_coordinates(table, [row, column], order=1, mode="nearest").reshape(down.shape)
        return np.where((down >= v[0]) & (down <= v[-1]), result, 0.0)


# Simple shapes


def isotropic(flux: float, *, name: str = "all round") -> Distribution:
    """Return the same intensity in all directions, ``flux / (4 pi)``; `flux` in lm."""
    level = FLUX.check("flux", flux) / (4.0 * math.pi)
    return _axial(name, np.array([0.0, 180.0]), np.full(2, level))


def cutoff(flux: float, cutoff_angle: float, *, name: str = "shielded") -> Distribution:
    """Return the same intensity in all directions up to `cutoff_angle` from the axis, and none beyond.

    The intensity is ``flux / (2 pi (1 - cos(cutoff_angle)))``.

    Parameters
    ----------
    flux : float
        Leaving the luminaire [lm].
    cutoff_angle : float
        1 to 180 [deg].
    """
    end = CUTOFF.check("cutoff_angle", cutoff_angle)
    level = FLUX.check("flux", flux) / (2.0 * math.pi * (1.0 - math.cos(math.radians(end))))
    return _axial(name, np.array([0.0, end]), np.full(2, level))


def beam(flux: float, beam_angle: float, *, name: str = "beam") -> Distribution:
    """Return a beam, ``I = I0 cos(theta)^m``, whose intensity is half of I0 at half the `beam_angle`.

    I0 is ``flux (m + 1) / (2 pi)``; a beam angle of 120 degrees is the light of a flat, evenly bright disc.

    Parameters
    ----------
    flux : float
        Leaving the luminaire [lm].
    beam_angle : float
        Between opposite directions of half the peak intensity, 5 to 170 [deg].
    """
    half = BEAM.check("beam_angle", beam_angle) / 2.0
    power = math.log(0.5) / math.log(math.cos(math.radians(half)))
    peak = FLUX.check("flux", flux) * (power + 1.0) / (2.0 * math.pi)
    # Steps of a tenth of a degree: the straight lines between them lie within 1e-3 of the narrowest beam's peak.
    angles = np.linspace(0.0, 90.0, 901)
    cosine = np.where(angles < 90.0, np.cos(np.radians(angles)), 0.0)
    return _axial(name, angles, peak * cosine**power)


def _axial(name: str, vertical: Array, intensity: Array) -> Distribution:
    return Distribution(name=name, vertical=vertical, horizontal=np.zeros(1), candela=intensity[None])


# Files


def load_distribution(path: str | Path) -> Distribution:
    r"""Read a photometric file, LM-63 or EULUMDAT.

    Parameters
    ----------
    path : str or Path
        Ends in ``.ies`` or ``.ldt``; else a line that begins with TILT= tells the two apart. Text in UTF-8 or
        Latin-1.

    Returns
    -------
    Distribution
        See `parse_ies` and `parse_ldt` for what is read and what is not.

    Raises
    ------
    InputError
        For whatever cannot be used, with file, line, field and what is right.

    Examples
    --------
    >>> import kit, pathlib, tempfile
    >>> lines = "IESNA:LM-63-2002", "TILT=NONE", "1 -1 1 3 1 1 2 0 0 0", "1 1 10", "0 45 90", "0", "100 70 0"
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = pathlib.Path(folder, "lamp.ies")
    ...     _ = file.write_text("\n".join(lines))
    ...     lamp = kit.load_distribution(file)
    >>> f"{lamp.flux():.0f} lm", lamp.intensity([0.0, 22.5, 90.0]).tolist()
    ('312 lm', [100.0, 85.0, 0.0])
    """
    data = read_file("photometric file", path, right="an .ies or .ldt file", most=MOST_BYTES)
    file = Path(path)
    try:
        source = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        source = data.decode("latin-1")
    suffix = file.suffix.lower()
    if suffix == ".ies" or (suffix != ".ldt" and re.search(r"(?mi)^\s*TILT\s*=", source)):
        return parse_ies(source, file.name)
    return parse_ldt(source, file.name)


def parse_ies(source: str, file: str = "ies file") -> Distribution:
    """Read a distribution from the text of an LM-63 file; `file` is the name used in errors.

    The intensities are the file's numbers times candela multiplier and ballast factor (and, in files of 1986 and
    1991, the ballast-lamp factor); the stated flux is that of all lamps times the ballast factor. The factors of
    TILT=INCLUDE are checked and left out: they hold for discharge lamps in a luminaire that is tilted away from how it
    was measured.

    Raises
    ------
    InputError
        For TILT=file, type A or B photometry, or anything out of its domain.

    References
    ----------
    ANSI/IES LM-63-2002 and -2019, IESNA LM-63-1986, -1991, -1995.
    """
    lines = _lines(source, file)
    year = _version(lines[0], file)
    at = next((i for i, line in enumerate(lines) if re.match(r"\s*TILT\s*=", line, re.IGNORECASE)), None)
    if at is None:
        raise InputError(f"{file}: TILT", "no such line", "a line TILT=NONE or TILT=INCLUDE, as LM-63 asks")
    tilt = lines[at].split("=", 1)[1].strip()
    where = f"{file}, line {at + 1}"
    tokens = _Tokens(lines[at + 1 :], file, at + 2, comma=" ")
    if tilt.upper() == "INCLUDE":
        tokens.whole("lamp-to-luminaire geometry", 1, 3)
        pairs = tokens.whole("number of tilt angles", 1, MOST_VALUES)
        tokens.numbers("tilt angles", pairs)
        tokens.numbers("tilt multiplying factors", pairs, low=0.0)
    elif tilt.upper() != "NONE":
        raise InputError(f"{where}: TILT", _short(tilt), "NONE or INCLUDE; a second file is not read")
    lamps = tokens.whole("number of lamps", 1, 10_000)
    lumens = tokens.number("lumens per lamp", low=-1.0, high=1e9)
    if lumens <= 0 and lumens != -1.0:
        raise tokens.refuse("lumens per lamp", lumens, "a number above 0, or -1 for absolute photometry")
    factor = tokens.number("candela multiplier", above=0.0, high=1e9)
    count_v = tokens.whole("number of vertical angles", 2, MOST_VALUES)
    count_h = tokens.whole("number of horizontal angles", 1, MOST_VALUES)
    if count_v * count_h > MOST_VALUES:
        raise tokens.refuse("number of angles", (count_v, count_h), f"at most {MOST_VALUES} intensities")
    kind = tokens.whole("photometric type", 1, 3)
    if kind != 1:
        right = "1 (type C); ask the maker for a type C file, types A and B turn round another axis"
        raise tokens.refuse("photometric type", f"{kind} (type {'CBA'[kind - 1]})", right)
    units = tokens.whole("units type", 1, 2)
    # Negative lengths stand for round shapes.
    lengths = [tokens.number(f"luminous {side}", low=-1e3, high=1e3) for side in ("width", "length", "height")]
    ballast = tokens.number("ballast factor", above=0.0, high=1e3)
    # Since 1995 the next number is no factor but a mark for future use.
    extra = tokens.number("ballast-lamp factor", low=0.0, high=1e3)
    factor *= ballast
    if year < 1995:
        if extra == 0:
            raise tokens.refuse("ballast-lamp factor", extra, "a number above 0")
        factor *= extra
    tokens.number("input watts", low=0.0, high=1e9)
    tokens.check_left("vertical angles, horizontal angles and candela values", count_v + count_h + count_v * count_h)
    vertical = tokens.angles("vertical angles", count_v)
    horizontal = tokens.angles("horizontal angles", count_h)
    values = tokens.numbers("candela values", count_h * count_v, low=0.0, high=MOST_INTENSITY)
    tokens.check_end()
    return _checked(
        file,
        name=_keyword(lines[:at], "LUMINAIRE") or _keyword(lines[:at], "LUMCAT") or file,
        vertical=vertical,
        horizontal=horizontal,
        values=values.reshape(count_h, count_v),
        multiplier=factor,
        stated_flux=None if lumens == -1.0 else lamps * lumens * ballast,
        efficiency=None,
        size=max(map(abs, lengths)) * metres_per("ft" if units == 1 else "m"),
    )


def parse_ldt(source: str, file: str = "ldt file") -> Distribution:
    """Read a distribution from the text of a EULUMDAT file; `file` is the name used in errors.

    Intensities are stored per 1000 lm of the lamps. With several sets of lamps the first one counts. A stated output
    ratio of 0 counts as not stated. Decimal commas are understood.

    Raises
    ------
    InputError
        For anything out of its domain.

    References
    ----------
    A. Stockmar, EULUMDAT file format, 1990 (from memory).
    """
    lines = _lines(source, file)

    def line(n: int, what: str, **limits: Any) -> Any:
        given = lines[n - 1].strip() if n <= len(lines) else ""
        return _number(f"{file}, line {n}: {what}", given.replace(",", "."), **limits)

    def whole(n: int, what: str, low: int, high: int) -> int:
        return line(n, what, low=low, high=high, whole=True)

    whole(2, "type", 0, 3)
    symmetry = whole(3, "symmetry", 0, 4)
    planes = whole(4, "number of C-planes", 1, MOST_VALUES)
    divisor = {2: 2, 3: 4, 4: 4}.get(symmetry, 1)
    if planes % divisor:
        raise InputError(
            f"{file}, line 4: number of C-planes", planes, f"a multiple of {divisor} (symmetry {symmetry})"
        )
    stored = {0: planes, 1: 1, 2: planes // 2 + 1, 3: planes // 2 + 1, 4: planes // 4 + 1}[symmetry]
    count_v = whole(6, "number of intensities per C-plane", 2, MOST_VALUES)
    if stored * count_v > MOST_VALUES:
        raise InputError(f"{file}, line 6: number of angles", (planes, count_v), f"at most {MOST_VALUES} intensities")
    # Of the luminous area [mm]; a width of 0 stands for a round one.
    size = max(line(n, "length or width of the luminous area", low=0.0, high=1e6) for n in (16, 17)) / 1000.0
    ratio = line(23, "light output ratio", low=0.0, high=200.0) / 100.0
    conversion = line(24, "conversion factor", above=0.0, high=1e6)
    sets = whole(26, "number of lamp sets", 1, 20)
    # A negative number of lamps marks absolute photometry; the flux then is the luminaire's.
    whole(27, "number of lamps", -10_000, 10_000)
    flux = line(29, "total flux of lamps", above=0.0, high=1e9)
    start = 26 + 6 * sets
    tokens = _Tokens(lines[start:], file, start + 1, comma=".")
    tokens.check_left("direct ratios, angles and intensities", 10 + planes + count_v + stored * count_v)
    tokens.numbers("direct ratios", 10)
    angles = tokens.angles("C-planes", planes)
    vertical = tokens.angles("gamma angles", count_v)
    factor = flux / 1000.0 * conversion
    values = tokens.numbers("intensities", stored * count_v, low=0.0, high=MOST_INTENSITY)
    tokens.check_end()
    table = values.reshape(stored, count_v)
    if symmetry == 1:
        horizontal = np.zeros(1)
    elif symmetry == 3:
        # Stored from C270 through C0 to C90; the mirrored half runs from C90 through C180 to C270.
        first = 3 * planes // 4
        listed = angles[(first + np.arange(stored)) % planes]
        horizontal, table = ((180.0 - listed) % 360.0)[::-1], table[::-1]
        _require_range(f"{file}: C-planes", horizontal, 90.0, 270.0)
    else:
        horizontal = angles[:stored]
        if symmetry:
            _require_range(f"{file}: C-planes", horizontal, 0.0, 180.0 if symmetry == 2 else 90.0)
        elif planes == 1:
            raise InputError(f"{file}, line 4: number of C-planes", planes, "more than 1 (symmetry 0)")
    return _checked(
        file,
        name=(lines[8].strip() if len(lines) > 8 else "") or file,
        vertical=vertical,
        horizontal=horizontal,
        values=table,
        multiplier=factor,
        stated_flux=flux,
        efficiency=ratio or None,
        size=size,
    )


def _checked(file: str, *, values: Array, multiplier: float, **more: Any) -> Distribution:
    try:
        result = Distribution(candela=values * multiplier, multiplier=multiplier, **more)
    except InputError as error:
        raise InputError(f"{file}: {error.field}", error.value, error.right) from None
    ratio = result.flux_ratio
    if ratio is not None and ratio > ABSURD:
        right = f"about what the intensities add up to ({result.flux():.4g} lm); are they in other units?"
        raise InputError(f"{file}: lumens", result.stated_flux, right)
    return result


class _Tokens:
    """The numbers of a file after its head, taken one after the other, with the lines they stand on."""

    def __init__(self, lines: list[str], file: str, first: int, *, comma: str) -> None:
        self.file, self.first = file, first
        self.items: list[str] = []
        self.ends: list[int] = []
        for line in lines:
            self.items += line.replace("\x1a", " ").replace(",", comma).split()
            self.ends.append(len(self.items))
        self.at = 0

    def _where(self, what: str, index: int) -> str:
        # An item beyond the last is missed on the last line that has any.
        index = min(index, len(self.items) - 1)
        return f"{self.file}, line {self.first + (bisect_right(self.ends, index) if index >= 0 else 0)}: {what}"

    def refuse(self, what: str, value: Any, right: str) -> InputError:
        """Return the error for the number that was taken last."""
        return InputError(self._where(what, self.at - 1), value, right)

    def check_left(self, what: str, count: int) -> None:
        left = len(self.items) - self.at
        if left < count:
            raise InputError(self._where(what, len(self.items)), f"{left} numbers", f"{count}; the file ends too early")

    def check_end(self) -> None:
        left = len(self.items) - self.at
        if left:
            where = self._where("end of the table", self.at)
            raise InputError(where, f"{left} more", "as many numbers as the counts of angles say")

    def numbers(self, what: str, count: int, **limits: float) -> Array:
        self.check_left(what, count)
        start, self.at = self.at, self.at + count
        low, high = limits.get("low", -math.inf), limits.get("high", math.inf)
        result = np.empty(count)
        for i, item in enumerate(self.items[start : self.at]):
            try:
                value = float(item) if len(item) <= LONGEST_NUMBER else math.nan
            except ValueError:
                value = math.nan
            if not (low <= value <= high and abs(value) < math.inf):
                _number(self._where(f"{what}, number {i + 1}", start + i), item, **limits)
            result[i] = value
        return result

    def number(self, what: str, **limits: Any) -> Any:
        self.check_left(what, 1)
        self.at += 1
        return _number(self._where(what, self.at - 1), self.items[self.at - 1], **limits)

    def whole(self, what: str, low: int, high: int) -> int:
        return self.number(what, low=low, high=high, whole=True)

    def angles(self, what: str, count: int) -> Array:
        start = self.at
        result = self.numbers(what, count, low=0.0, high=360.0)
        wrong = np.flatnonzero(np.diff(result) <= 0)
        if wrong.size:
            k = int(wrong[0]) + 1
            where = self._where(f"{what}, number {k + 1}", start + k)
            raise InputError(where, float(result[k]), f"an angle above the one before it ({result[k - 1]:g} degrees)")
        return result


def _number(where: str, item: str, **limits: Any) -> Any:
    try:
        value: Any = float(item) if 0 < len(item) <= LONGEST_NUMBER else None
    except ValueError:
        value = None
    return Number(**limits).check(where, _short(item) if value is None else value)


def _lines(source: str, file: str) -> list[str]:
    if len(source) > MOST_BYTES:
        raise InputError(file, f"{len(source)} characters", f"at most {MOST_BYTES}")
    if "\0" in source:
        raise InputError(file, "bytes that are no text", "a photometric file: text in UTF-8 or Latin-1")
    if not source.strip():
        raise InputError(file, "an empty file", "a photometric file")
    # Not str.splitlines: it also cuts at characters that Latin-1 texts hold.
    return re.split(r"\r\n|\r|\n", source)


def _version(line: str, file: str) -> int:
    """Return the year of the LM-63 edition; a file of 1986 has no such line."""
    match = re.match(r"\s*IES(?:NA)?\s*:?\s*(?:LM-?63-?)?(\d{2}|\d{4})\s*$", line, re.IGNORECASE | re.ASCII)
    if match is None:
        return 1986
    year = next((edition for edition in EDITIONS if edition.endswith(match[1])), None)
    if year is None:
        raise InputError(f"{file}, line 1: edition of LM-63", _short(line), f"one of {', '.join(EDITIONS)}")
    return int(year)


def _keyword(lines: list[str], key: str) -> str:
    found = (line.strip()[len(key) + 2 :].strip() for line in lines if line.strip().upper().startswith(f"[{key}]"))
    return next((item[:200] for item in found if item), "")


def _known_range(h: Array) -> bool:
    def near(angle: float, other: float) -> bool:
        return abs(angle - other) < SAME_ANGLE

    if h.size == 1:
        return near(h[0], 0.0)
    if near(h[0], 90.0):
        return near(h[-1], 270.0)
    closing = h[-1] > 180.0 and 0.0 <= 360.0 - h[-1] <= np.diff(h).max() + SAME_ANGLE
    return near(h[0], 0.0) and (near(h[-1], 90.0) or near(h[-1], 180.0) or bool(closing))


def _require_range(where: str, angles: Array, first: float, last: float) -> None:
    if abs(angles[0] - first) > SAME_ANGLE or abs(angles[-1] - last) > SAME_ANGLE:
        raise InputError(where, (float(angles[0]), float(angles[-1])), f"angles from {first:g} to {last:g} degrees")


def _short(value: Any) -> str:
    shown = str(value)
    return shown if len(shown) <= LONGEST_NUMBER else shown[:LONGEST_NUMBER] + "..."
