"""A front from one photo: four points whose places are known make a plane of it, and what is marked becomes a house.

The front and the photo are a homography apart, once the lens is taken out (Brown's first radial coefficient, by
straight lines). What stands forward is seen too far out; the camera's place, by the focal length, puts that right.
"""

import json
from dataclasses import asdict
from functools import cached_property
from itertools import combinations
from pathlib import Path
from typing import Any, Self

import cv2
import numpy as np
import shapely
from scipy.optimize import minimize_scalar

from kit.arrays import Array
from kit.errors import InputError
from kit.fields import LENGTH, NAME, Declared, Is, Many, Number, Vector, declared
from kit.measure.photo import FOCAL, SIZE, SPOT
from kit.results import Frame, Result, make_frame
from kit.toml_file import read_text, table, toml, write_text
from kit.wall.facade import Facade, Surface
from kit.wall.house_file import SURFACE, parse_house
from kit.words import Phrases

say = Phrases(__file__)
# How far a mark is from what is meant [pixels]; how far a second distance may be from the tape: a choice of this kit.
# Of the extent of four points squared, the least triangle that three of them make.
CARE, SHARE, LEAST, FLATTEST = 1.0, 0.015, 0.03, 0.005
ANY, DEPTH = Number(low=-65_535.0, high=65_535.0), LENGTH.but(low=-100.0, high=100.0, meaning="forward of the wall")
KNOWN = Many(of=Vector(length=4, of=ANY), most=20, meaning="points in the photo, and x, y on the wall [m]")
CHECKS = Many(of=Vector(length=5, of=ANY), most=50, meaning="two points in the photo, their distance [m]")


class MarkedPart(Declared):
    """A part of the front, marked by its corners in the photo."""

    thing = "part"
    name: str = declared(NAME)
    surface: str = declared(NAME.but(label="surface"))
    corners: tuple[tuple[float, float], ...] = declared(SPOT)
    depth: float = declared(DEPTH, default=0.0, label="depth")


class Marks(Declared):
    """What is marked in the photo of a front, in pixels to the right and down from its upper left corner.

    Examples
    --------
    >>> import kit
    >>> corners = [(100, 700, 0, 0), (900, 700, 4, 0), (900, 300, 4, 2), (100, 300, 0, 2)]
    >>> wall = kit.fit_wall(kit.Marks(size=(1000, 800), known=corners))
    >>> wall.places([(500, 500)]).round(3).tolist()
    [[2.0, 1.0, 0.0]]
    """

    size: tuple[int, int] = declared(SIZE)
    known: tuple[tuple[float, ...], ...] = declared(KNOWN, default=())
    straight: tuple[Any, ...] = declared(Many(of=SPOT, most=50), default=(), meaning="points along straight lines")
    checks: tuple[tuple[float, ...], ...] = declared(CHECKS, default=())
    focal: float | None = declared(FOCAL, default=None)
    parts: tuple[MarkedPart, ...] = declared(Many(of=Is(kind=MarkedPart), unique="name"), default=())
    points: tuple[Any, ...] = declared(SPOT.but(least=0), default=(), meaning="points of nothing yet")

    def text(self) -> str:
        """Return the marks as the text of their file."""
        return json.dumps(asdict(self), indent=1, ensure_ascii=False)

    def save(self, path: str | Path) -> None:
        """Write the marks to a file, whole or not at all."""
        write_text("marks file", Path(path).absolute(), self.text())

    @classmethod
    def load(cls, path: str | Path) -> Self:
        """Read marks from a file."""
        return cls.parse(read_text("marks file", path), f"marks file {str(path)!r}")

    @classmethod
    def parse(cls, text: str, where: str = "marks: text") -> Self:
        """Read marks from the text of their file, which `where` names in errors."""
        try:
            told = json.loads(text)
            return cls(**told | {"parts": [MarkedPart(**part) for part in told.get("parts", ())]})
        except InputError:
            raise
        except (ValueError, TypeError, AttributeError, RecursionError) as error:
            raise InputError(where, str(error)[:80], "marks as Marks.save writes them") from None


class Wall(Declared, Result, eq=False):
    """The plane of a front in its photo: `matrix` from straightened pixels to metres, and `bend`, the lens's."""

    marks: Marks
    matrix: Array
    bend: float

    def places(self, corners: Any, depth: float = 0.0) -> Array:
        """Return the places (n, 3) [m] of points in the photo that stand so far forward of the wall."""
        points = np.array(SPOT.but(least=1).check("corners", corners))
        found = _homogeneous(points, self.marks, self.bend) @ self.matrix.T
        if np.any(found[:, 2] <= 1e-9):
            raise InputError("corners", corners, "points of the wall, below its horizon")
        on, camera = found * (1.0, 1.0, 0.0) / found[:, 2:], self.camera
        if depth and (camera is None or depth >= camera[2]):
            right = "less than the camera's distance, which a focal length tells (mm, of a frame of 36 x 24 mm)"
            raise InputError("depth", depth, right)
        return np.asarray(on if camera is None else on + (camera - on) * (depth / camera[2]))

    @cached_property
    def camera(self) -> Array | None:
        """Where the camera stood [m], if its axis went through the photo's middle; None without a focal length."""
        if self.marks.focal is None:
            return None
        known, lens = np.array(self.marks.known), _lens(self.marks, 2.0 * self.marks.focal / np.hypot(36.0, 24.0))
        flat = _homogeneous(known[:, :2], self.marks, self.bend)[:, :2].copy()
        _, turn, shift = cv2.solvePnP(np.column_stack([known[:, 2:], np.zeros(len(known))]), flat, lens, np.zeros(4))
        return np.asarray(-cv2.Rodrigues(turn)[0].T @ shift).ravel()

    @cached_property
    def misses(self) -> dict[str, float]:
        """How far known points and second distances come out from what they are [m]; of four points, none can."""
        known = np.array(self.marks.known)
        off = np.hypot(*(self.places(known[:, :2])[:, :2] - known[:, 2:]).T)
        found = {f"known point {i}": float(miss) for i, miss in enumerate(off, 1)}
        for i, (*ends, distance) in enumerate(self.marks.checks, 1):
            one, other = self.places((ends[:2], ends[2:]))
            found[f"check {i}"] = float(np.linalg.norm(other - one)) - distance
        return found

    def doubt(self, corners: Any) -> Array:
        """Return by how much places (n,) may be out if each known point is marked a pixel beside it [m]."""
        known, found = np.array(self.marks.known), self.places(corners)
        moves = np.eye(2 * len(known)).reshape(-1, len(known), 2)
        others = (_fitted(known + np.pad(CARE * move, ((0, 0), (0, 2))), self.marks, self.bend) for move in moves)
        return np.asarray(np.sqrt(sum(((other.places(corners) - found) ** 2).sum(axis=1) for other in others)))

    def house(self, name: str = "our house", surfaces: tuple[Surface, ...] = ()) -> Facade:
        """Return the front of the marked parts; `surfaces`: those of one's own that they name."""
        text = table("", {"name": name, "units": "m"})
        for own in surfaces:
            said = {field: getattr(own, field) for field in SURFACE if getattr(own, field) is not None}
            text += table(f"\n[surfaces.{toml(own.name)}]", said)
        for part in self.marks.parts:
            ring = self.places(part.corners, part.depth)[:, :2].round(4) + 0.0
            said = {"name": part.name, "surface": part.surface, "corners": ring.tolist(), "depth": part.depth}
            text += table("\n[[patch]]", said)
        return parse_house(text, "marks")

    def frame(self, units: str = "m") -> Frame:
        """Return a row for each known point and each check: how far it is out."""
        rows = [{"what": name, "out [cm]": 100.0 * miss} for name, miss in self.misses.items()]
        return make_frame(rows, {"out [cm]": ".1f"}, index="what")

    def sentence(self, units: str = "m") -> str:
        """Return how far the plane can be trusted and what is assumed, in words."""
        known, stood = np.array(self.marks.known)[:, :2], self.camera
        off = 100.0 * max(miss for name, miss in self.misses.items() if name.startswith("known"))
        return say(
            "wall", units, off=off, pixel=100.0 * self.doubt(known).max(),
            always=say("four") if len(known) == 4 else "",
            lens=say("bent" if self.marks.straight else "pinhole", bend=self.bend),
            tape=say("checked" if self.marks.checks else "unchecked"),
            camera=say("flat") if stood is None else say("camera", units, away=float(stood[2])),
        )  # fmt: skip


def fit_wall(marks: Marks) -> Wall:
    """Return the plane of a front in its photo, and how far it can be trusted.

    `marks` have four known points and more: the corners of a door, or of a taped rectangle. Points on a line or in
    another order, or a second distance out by more than 1.5% and 3 cm (our choice), raise `InputError`.
    """
    known = np.array(marks.known).reshape(-1, 4)
    for points in (known[:, :2], known[:, 2:]):
        areas = [min(shapely.Polygon(c).area for c in combinations(four, 3)) for four in combinations(points, 4)]
        if not areas or max(areas) <= FLATTEST * np.ptp(points, axis=0).max() ** 2:
            raise InputError("known", known.tolist(), "four points and more, of which no three of four are on a line")
    wall = _fitted(known, marks, _bend(marks))
    sides = _homogeneous(known[:, :2], marks, wall.bend) @ wall.matrix[2]
    if np.any(sides <= 0.0) or np.linalg.det(wall.matrix) >= 0.0:  # down in the photo is up on the wall: it mirrors
        raise InputError("known", known.tolist(), "points in the order that they have on the wall, seen from in front")
    for i, check in enumerate(marks.checks, 1):
        miss = wall.misses[f"check {i}"]
        if abs(miss) > max(LEAST, SHARE * check[4]):
            right = f"{check[4] + miss:.3f} m, as the known points have it: look at both"
            raise InputError(f"checks {i}", check[4], right)
    return wall


def _fitted(known: Array, marks: Marks, bend: float) -> Wall:
    flat = _homogeneous(known[:, :2], marks, bend)
    matrix, _ = cv2.findHomography(flat[:, :2].copy(), known[:, 2:], 0)
    if matrix is None:
        raise InputError("known", known.tolist(), "points that a plane can have")
    return Wall(marks=marks, matrix=matrix * np.sign(flat.mean(axis=0) @ matrix[2]), bend=bend)


def _lens(marks: Marks, focal: float) -> Array:
    """Return the matrix of a lens whose focal length is so many half diagonals."""
    along = focal * np.hypot(*marks.size) / 2.0
    return np.array([[along, 0.0, marks.size[0] / 2.0], [0.0, along, marks.size[1] / 2.0], [0.0, 0.0, 1.0]])


def _homogeneous(points: Array, marks: Marks, bend: float) -> Array:
    """Return where points (n, 2) would be with a lens that draws straight lines straight, and 1 for each."""
    lens = _lens(marks, 1.0)
    found = cv2.undistortPoints(points.reshape(-1, 1, 2).copy(), lens, np.array([bend, 0.0, 0.0, 0.0]), P=lens)
    return np.column_stack([found[:, 0] if bend else points, np.ones(len(points))])


def _bend(marks: Marks) -> float:
    """Return the coefficient, over half the diagonal, with which lines are straightest; no lines: 0."""

    def crooked(bend: float) -> float:
        lines = (_homogeneous(np.array(line), marks, bend) for line in marks.straight)
        return sum(float(np.linalg.svd(line - line.mean(axis=0), compute_uv=False)[1]) ** 2 for line in lines)

    return float(minimize_scalar(crooked, bounds=(-0.4, 0.4), method="bounded").x) if marks.straight else 0.0
