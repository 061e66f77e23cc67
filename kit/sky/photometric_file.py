r"""Where a lamp sends its light: photometric files and a few simple shapes.

Two open formats are read: IESNA LM-63-1986, -1991, -1995, ANSI/IES LM-63-2002 and -2019 (``.ies``), and EULUMDAT
(``.ldt``; A. Stockmar, EULUMDAT file format, 1990, from memory) with symmetries 0 to 4. Angles are those of the
C-planes: :math:`\theta` from the lamp's axis (0 is straight down for a lamp that hangs as it was measured),
:math:`\varphi` round it, counter-clockwise as seen from above. Flux is the zonal sum with the mean of the ends of each
zone, :math:`\Phi = \sum_i 2\pi (\cos\theta_i - \cos\theta_{i+1}) (I_i + I_{i+1}) / 2`.

The front of a lamp is a C-plane: C0 in LM-63 type C, where lamps are alike left and right of the plane of 0 and 180
degrees (C90 where the file has 90 to 270); C90 in EULUMDAT, whose C0 lies along the lamp, by practice, as the format
does not say. Types A and B of LM-63 are turned into C-planes: the beam is the axis, C90 its upper side, C0 the right as
seen along the beam (from memory: type A turns about an upright pole, type B about a level one).
"""

import math
import re
import tomllib
from functools import cached_property
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np
from scipy.ndimage import map_coordinates

from kit.arrays import Array, ArrayLike
from kit.errors import InputError
from kit.fields import ANGLE, NAME, Declared, Number, Numbers, declared, together
from kit.files import read_file
from kit.units import metres_per

# Real files stay below 1 MB and 70 000 values; what is far larger is a mistake or a trap. 1e9 cd is a searchlight.
MOST_BYTES, MOST_VALUES, MOST_INTENSITY, LONGEST_NUMBER = 1_500_000, 1_000_000, 1e9, 40
# How far the integrated flux may lie from the file's own before it is refused as one in other units.
ABSURD = 10.0
# Angles closer than this are one angle [deg].
SAME_ANGLE = 1e-6

HEADS = tomllib.loads(Path(__file__).with_suffix(".toml").read_text(encoding="utf-8"))

THETA = Numbers(of=ANGLE.but(low=0.0, high=180.0), meaning="from the axis, ascending, shape (v,); no light beyond")
PHI = Numbers(
    of=ANGLE, meaning="round the axis, ascending, shape (h,): 0 alone (the same all round); 0 to 90, 0 to 180 or 90 to "
    "270, the other parts alike; or 0 to 360, the last step of which may be left out",
)  # fmt: skip
CANDELA = Numbers(of=Number(unit="cd", low=0.0, high=MOST_INTENSITY), most=MOST_VALUES)
FLUX = Number(label="lumens", symbol="Φ", unit="lm", above=0.0)
EFFICIENCY = Number(above=0.0, high=2.0, meaning="stated share of the lamps' flux that leaves the luminaire")
SIZE = Number(unit="m", low=0.0, meaning="largest length of the luminous part; 0: not stated")
FRONT = ANGLE.but(low=0.0, high=360.0, meaning="C-plane that is its front")
CUTOFF, BEAM = ANGLE.but(low=1.0, high=180.0), ANGLE.but(low=5.0, high=170.0)


class Distribution(Declared, eq=False):
    """Luminous intensity by direction, in the angles of the file's own table."""

    thing = "distribution"
    name: str = declared(NAME)
    vertical: Array = declared(THETA, most=MOST_VALUES)
    horizontal: Array = declared(PHI, most=MOST_VALUES)
    candela: Array = declared(CANDELA, meaning="intensities for the rated lumens, shape (h, v)")
    stated_flux: float | None = declared(FLUX, default=None, meaning="of the lamps; None: absolute photometry")
    efficiency: float | None = declared(EFFICIENCY, default=None)
    size: float = declared(SIZE, default=0.0)
    front: float = declared(FRONT, default=90.0)

    def _agree(self, where: str) -> None:
        v, h = self.vertical, self.horizontal
        if v.ndim != 1 or v.size < 2 or np.any(np.diff(v) <= 0):
            raise InputError(f"{where}: vertical", v, "two or more ascending angles from 0 to 180 degrees")
        if h.ndim != 1 or not h.size or np.any(np.diff(h) <= 0) or not _known_range(h):
            right = "one angle of 0; or 0 to 90, 0 to 180, 90 to 270, or 0 to 360 degrees, ascending"
            raise InputError(f"{where}: horizontal", h, right)
        if self.candela.shape != (h.size, v.size):
            raise InputError(f"{where}: candela", self.candela.shape, f"an array of shape {(h.size, v.size)}")
        if not self.flux() > 0:
            raise InputError(f"{where}: candela", "0 in all directions", "some light")

    @cached_property
    def _full(self) -> tuple[Array, Array]:
        """Horizontal angles of a full turn with both ends, and intensities there."""
        h, table = self.horizontal, self.candela
        if h.size == 1:
            return np.array([0.0, 360.0]), np.concatenate([table, table])
        if h[0] > SAME_ANGLE:  # 90 to 270: with its mirror image, -90 to 270
            return np.concatenate([180.0 - h[::-1], h[1:]]), np.concatenate([table[::-1], table[1:]])
        while h[-1] < 180.0 + SAME_ANGLE:  # 0 to 90, then 0 to 180
            h, table = np.concatenate([h, 2.0 * h[-1] - h[-2::-1]]), np.concatenate([table, table[-2::-1]])
        if h[-1] < 360.0 - SAME_ANGLE:
            h, table = np.append(h, 360.0), np.concatenate([table, table[:1]])
        return h, table

    def flux(self) -> float:
        """Return the flux that leaves the luminaire, by zonal integration [lm]."""
        return _flux(self.vertical, *self._full)

    @property
    def flux_ratio(self) -> float | None:
        """Flux over what the file says leaves the luminaire, or its lamps where it says no more; None: absolute."""
        return None if self.stated_flux is None else self.flux() / (self.stated_flux * (self.efficiency or 1.0))

    def intensity(self, theta: ArrayLike, phi: ArrayLike = 0.0) -> Array:
        """Return the intensity [cd], linear between the angles of the table: from the axis, and round it [deg]."""
        down, turn = together(theta=THETA.check("theta", theta), phi=PHI.check("phi", phi))
        v, (h, table) = self.vertical, self._full
        if self.horizontal.size == 1:
            result = np.interp(down, v, table[0])
        else:
            row = np.interp((turn.ravel() - h[0]) % 360.0 + h[0], h, np.arange(h.size, dtype=float))
            column = np.interp(down.ravel(), v, np.arange(v.size, dtype=float))
            result = map_coordinates(table, [row, column], order=1, mode="nearest").reshape(down.shape)
        return np.where((down >= v[0]) & (down <= v[-1]), result, 0.0)


def _flux(theta: Array, phi: Array, table: Array) -> float:
    rings = np.trapezoid(table, -np.cos(np.radians(theta)))
    return float(np.trapezoid(rings, np.radians(phi)))


def cutoff(flux: float, cutoff_angle: float = 180.0, *, name: str = "even") -> Distribution:
    """Return an even intensity up to `cutoff_angle` from the axis, 1 to 180 [deg], none beyond; `flux` in lm."""
    end = CUTOFF.check("cutoff_angle", cutoff_angle)
    level = FLUX.check("flux", flux) / (2.0 * math.pi * (1.0 - math.cos(math.radians(end))))
    theta, candela = np.array([0.0, end]), np.full((1, 2), level)
    return Distribution(name=name, vertical=theta, horizontal=np.zeros(1), candela=candela)


def beam(flux: float, beam_angle: float, *, name: str = "beam") -> Distribution:
    """Return a beam of `flux` [lm], I0 cos^m; `beam_angle`, 5 to 170 [deg], is between directions of half the peak."""
    half = BEAM.check("beam_angle", beam_angle) / 2.0
    power = math.log(0.5) / math.log(math.cos(math.radians(half)))
    peak = FLUX.check("flux", flux) * (power + 1.0) / (2.0 * math.pi)
    # Steps of a tenth of a degree: the straight lines between them lie within 1e-3 of the narrowest beam's peak.
    angles = np.linspace(0.0, 90.0, 901)
    cosine = np.where(angles < 90.0, np.cos(np.radians(angles)), 0.0)
    return Distribution(name=name, vertical=angles, horizontal=np.zeros(1), candela=(peak * cosine**power)[None])


def load_distribution(path: str | Path) -> Distribution:
    r"""Read a photometric file, LM-63 or EULUMDAT; see `parse_ies` and `parse_ldt` for what is read and what is not.

    The `path` ends in ``.ies`` or ``.ldt``; else a line that begins with TILT= tells the two apart. Text is in UTF-8 or
    Latin-1. `InputError` names file, line, field and what is right.

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
    is_ies = suffix == ".ies" or (suffix != ".ldt" and re.search(r"(?mi)^[ \t]*TILT[ \t]*=", source))
    return (parse_ies if is_ies else parse_ldt)(source, file.name)


def parse_ies(source: str, file: str = "ies file") -> Distribution:
    """Return the distribution in the text of an LM-63 file of type A, B or C; `file` is the name used in errors.
    Multiplier and ballast factors count; those of TILT=INCLUDE, for discharge lamps tilted away from how they were
    measured, are checked and left out.
    """
    lines = _lines(source, file)
    year = _version(lines[0], file)
    at = next((i for i, line in enumerate(lines) if re.match(r"\s*TILT\s*=", line, re.IGNORECASE)), None)
    if at is None:
        raise InputError(f"{file}: TILT", "no such line", "a line TILT=NONE or TILT=INCLUDE, as LM-63 asks")
    head, tilt = "\n".join(lines[:at]), lines[at].split("=", 1)[1].strip()
    names = [re.findall(rf"(?mi)^[ \t]*\[{key}\][ \t]*(\S.*)$", head) for key in ("LUMINAIRE", "LUMCAT")]
    tokens = _Tokens(lines[at + 1 :], file, at + 2, comma=" ")
    if tilt.upper() == "INCLUDE":
        tokens.number("lamp-to-luminaire geometry", low=1, high=3, whole=True)
        pairs = tokens.number("number of tilt angles", low=1, high=MOST_VALUES, whole=True)
        tokens.numbers("tilt angles", pairs)
        tokens.numbers("tilt multiplying factors", pairs, low=0.0)
    elif tilt.upper() != "NONE":
        raise InputError(f"{file}, line {at + 1}: TILT", tilt, "NONE or INCLUDE; a second file is not read")
    start = tokens.at
    read = [tokens.number(**limits) for limits in HEADS["ies"]]
    lamps, lumens, factor, count_v, count_h, kind, units, *lengths, ballast, extra, _ = read
    if lumens <= 0 and lumens != -1.0:
        where = tokens.where("lumens per lamp", start + 1)
        raise InputError(where, lumens, "a number above 0, or -1 for absolute photometry")
    if year < 1995:  # since then it is a mark for future use
        factor *= Number(above=0.0, high=1e3).check(tokens.where("ballast-lamp factor", start + 11), extra)
    tokens.check_left("vertical angles, horizontal angles and candela values", count_v + count_h + count_v * count_h)
    ends = (0.0, 360.0) if kind == 1 else (-90.0, 90.0)
    vertical = tokens.angles("vertical angles", count_v, *ends)
    horizontal = tokens.angles("horizontal angles", count_h, *ends)
    values = tokens.table("candela values", count_h, count_v)
    if kind > 1:
        for which, angles, first in ("vertical", vertical, -SAME_ANGLE), ("horizontal", horizontal, 0.0):
            if angles.size < 2 or angles[0] > first or angles[-1] <= 0.0:
                right = f"angles from below 0{' or 0' if first == 0.0 else ''} to above 0 in type {'BA'[kind - 2]}"
                raise InputError(f"{file}: {which} angles", tuple(angles[[0, -1]].tolist()), right)
        vertical, horizontal, values = _type_c(vertical, horizontal, values, upright=kind == 3)
    front = 90.0 if kind > 1 or horizontal[0] > SAME_ANGLE else 0.0
    return _checked(
        file, name=[*names[0], *names[1], file][0].strip()[:200], vertical=vertical, horizontal=horizontal, front=front,
        values=values, factor=factor * ballast, stated_flux=None if lumens == -1.0 else lamps * lumens * ballast,
        size=max(map(abs, lengths)) * metres_per("ft" if units == 1 else "m"),
    )  # fmt: skip


def _type_c(v: Array, h: Array, table: Array, *, upright: bool) -> tuple[Array, Array, Array]:
    """Return type A (its pole is upright) or B in C-planes, with its flux; from 0 to the right means both sides."""
    if h[0] == 0.0:
        h, table = np.concatenate([-h[:0:-1], h]), np.concatenate([table[:0:-1], table])
    if not upright:
        v, h, table = h, v, table.T
    theta, phi = np.linspace(0.0, 90.0, 361), np.linspace(0.0, 360.0, 361)
    down, turn = np.radians(theta), np.radians(phi)[:, None]
    right, up = np.sin(down) * np.cos(turn), np.sin(down) * np.sin(turn)
    pole, side = (up, right) if upright else (right, up)
    # As on a globe: latitude from the equator, longitude from the beam.
    latitude, longitude = np.degrees(np.arcsin(pole)), np.degrees(np.arctan2(side, np.cos(down)))
    at = [np.interp(x, own, np.arange(own.size, dtype=float)) for x, own in ((longitude, h), (latitude, v))]
    lit = (latitude >= v[0] - SAME_ANGLE) & (latitude <= v[-1] + SAME_ANGLE)
    lit &= (longitude >= h[0] - SAME_ANGLE) & (longitude <= h[-1] + SAME_ANGLE)
    candela = np.where(lit, map_coordinates(table, at, order=1, mode="nearest"), 0.0)
    # The exact integral, over latitude, of lines between the angles.
    angle = np.radians(v)
    slope = np.diff(np.cos(angle)) / np.diff(angle)
    weight = np.append(0.0, np.sin(angle[1:]) + slope) - np.append(np.sin(angle[:-1]) + slope, 0.0)
    flux = np.trapezoid(table @ weight, np.radians(h))
    return theta, phi, candela * (flux / (_flux(theta, phi, candela) or 1.0))


def parse_ldt(source: str, file: str = "ldt file") -> Distribution:
    """Return the distribution in the text of a EULUMDAT file; `file` is the name used in errors. Of several sets of
    lamps the first counts; an output ratio of 0 is not stated; decimal commas are understood.
    """
    lines = _lines(source, file)

    def line(n: int, what: str, **limits: Any) -> Any:
        given = lines[n - 1].strip() if n <= len(lines) else ""
        return _number(f"{file}, line {n}: {what}", given.replace(",", "."), **limits)

    head = {name: line(**limits) for name, limits in HEADS["ldt"].items()}
    symmetry, planes, count_v, flux = (head[name] for name in ("symmetry", "planes", "gammas", "flux"))
    divisor = (1, 1, 2, 4, 4)[symmetry]
    if planes % divisor or (planes == 1 and not symmetry):
        right = f"a multiple of {divisor}" if symmetry else "more than 1"
        raise InputError(f"{file}, line 4: number of C-planes", planes, f"{right} (symmetry {symmetry})")
    stored = {1: 1, 2: planes // 2 + 1, 3: planes // 2 + 1, 4: planes // 4 + 1}.get(symmetry, planes)
    start = 26 + 6 * head["sets"]
    tokens = _Tokens(lines[start:], file, start + 1, comma=".")
    tokens.check_left("direct ratios, angles and intensities", 10 + planes + count_v + stored * count_v)
    tokens.numbers("direct ratios", 10)
    angles = tokens.angles("C-planes", planes)
    vertical = tokens.angles("gamma angles", count_v)
    table = tokens.table("intensities", stored, count_v)
    horizontal = angles[:stored]
    if symmetry == 1:
        horizontal = np.zeros(1)
    elif symmetry == 3:
        # Stored from C270 through C0 to C90; the mirrored half runs from C90 through C180 to C270.
        listed = angles[(3 * planes // 4 + np.arange(stored)) % planes]
        horizontal, table = ((180.0 - listed) % 360.0)[::-1], table[::-1]
    first, last = {2: (0.0, 180.0), 3: (90.0, 270.0), 4: (0.0, 90.0)}.get(symmetry, horizontal[[0, -1]])
    if not np.allclose(horizontal[[0, -1]], (first, last), rtol=0.0, atol=SAME_ANGLE):
        right = f"angles from {first:g} to {last:g} degrees"
        raise InputError(f"{file}: C-planes", tuple(horizontal[[0, -1]].tolist()), right)
    return _checked(
        file, name=(lines[8].strip() if len(lines) > 8 else "") or file, vertical=vertical, horizontal=horizontal,
        values=table, factor=flux / 1000.0 * head["conversion"], stated_flux=flux,
        efficiency=head["ratio"] / 100.0 or None, size=max(head["length"], head["width"]) / 1000.0,
    )  # fmt: skip


def _checked(file: str, *, values: Array, factor: float, **more: Any) -> Distribution:
    try:
        result = Distribution(candela=values * factor, **more)
    except InputError as error:
        raise InputError(f"{file}: {error.field}", error.value, error.right) from None
    if (result.flux_ratio or 0.0) > ABSURD:
        right = f"about what the intensities add up to ({result.flux():.4g} lm); are they in other units?"
        raise InputError(f"{file}: lumens", result.stated_flux, right)
    return result


class _Tokens:
    """The numbers of a file after its head, taken one after the other, with the lines they stand on."""

    def __init__(self, lines: list[str], file: str, first: int, *, comma: str) -> None:
        self.file, self.at = file, 0
        rows = [line.replace("\x1a", " ").replace(",", comma).split() for line in lines]
        self.items = list(chain.from_iterable(rows))
        self.lines = [n for n, row in enumerate(rows, first) for _ in row] or [first]

    def where(self, what: str, index: int | None = None) -> str:
        """Return where the number with an index stands, or the one that was taken last."""
        at = self.at - 1 if index is None else index
        # What is missing is missed on the last line that has any.
        return f"{self.file}, line {self.lines[min(at, len(self.lines) - 1)]}: {what}"

    def check_left(self, what: str, count: int) -> None:
        left = len(self.items) - self.at
        if left < count:
            raise InputError(self.where(what, len(self.items)), f"{left} numbers", f"{count}; the file ends too early")

    def numbers(self, what: str, count: int, low: float = -math.inf, high: float = math.inf) -> Array:
        self.check_left(what, count)
        start, self.at = self.at, self.at + count
        result = np.array([_float(item) for item in self.items[start : self.at]])
        for i in np.flatnonzero(~((result >= low) & (result <= high) & np.isfinite(result)))[:1].tolist():
            _number(self.where(f"{what}, number {i + 1}", start + i), self.items[start + i], low=low, high=high)
        return result

    def number(self, what: str, **limits: Any) -> Any:
        self.check_left(what, 1)
        self.at += 1
        return _number(self.where(what), self.items[self.at - 1], **limits)

    def angles(self, what: str, count: int, low: float = 0.0, high: float = 360.0) -> Array:
        start = self.at
        result = self.numbers(what, count, low, high)
        for k in np.flatnonzero(np.diff(result) <= 0)[:1].tolist():
            where = self.where(f"{what}, number {k + 2}", start + k + 1)
            raise InputError(where, float(result[k + 1]), f"an angle above the one before it ({result[k]:g} degrees)")
        return result

    def table(self, what: str, rows: int, columns: int) -> Array:
        """Return the intensities, shape (rows, columns), with which the file ends."""
        values = self.numbers(what, rows * columns, low=0.0, high=MOST_INTENSITY)
        left = len(self.items) - self.at
        if left:
            where = self.where("end of the table", self.at)
            raise InputError(where, f"{left} more", "as many numbers as the counts of angles say")
        return values.reshape(rows, columns)


def _float(item: str) -> float:
    try:
        return float(item) if len(item) <= LONGEST_NUMBER else math.nan
    except ValueError:
        return math.nan


def _number(where: str, item: str, **limits: Any) -> Any:
    value = _float(item)
    return Number(**limits).check(where, item if math.isnan(value) else value)


def _lines(source: str, file: str) -> list[str]:
    if "\0" in source or not source.strip():
        given = "bytes that are no text" if "\0" in source else "an empty file"
        raise InputError(file, given, "a photometric file: text in UTF-8 or Latin-1")
    # Not str.splitlines: it also cuts at characters that Latin-1 texts hold.
    return re.split(r"\r\n|\r|\n", source)


def _version(line: str, file: str) -> int:
    """Return the year of the LM-63 edition; a file of 1986 has no such line."""
    match = re.match(r"\s*IES(?:NA)?\s*:?\s*(?:LM-?63-?)?(\d{2}|\d{4})\s*$", line[:200], re.IGNORECASE | re.ASCII)
    editions = ("1986", "1991", "1995", "2002", "2019")
    found = [edition for edition in editions if match is None or edition.endswith(match[1])]
    if not found:
        raise InputError(f"{file}, line 1: edition of LM-63", line, f"one of {', '.join(editions)}")
    return int(found[0])


def _known_range(h: Array) -> bool:
    known = ((0.0, 0.0),) if h.size == 1 else ((0.0, 90.0), (0.0, 180.0), (90.0, 270.0))
    # Or a full turn, of which the last step may be left out.
    turn = abs(h[0]) < SAME_ANGLE and 180.0 < h[-1] <= 360.0 <= h[-1] + np.diff(h, prepend=h[0]).max() + SAME_ANGLE
    return turn or any(np.allclose(h[[0, -1]], ends, rtol=0.0, atol=SAME_ANGLE) for ends in known)
