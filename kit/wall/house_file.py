"""House files: a front in TOML, written with a tape measure; README and ``show.schema.json`` have all their fields.

    name = "Our house"
    units = "ft"                     # or "m", "in", "cm"; for every length in the file

    [[patch]]
    name = "main wall"
    rectangle = { left = -20, bottom = 0, width = "40 ft", height = 20 }
    surface = "red brick"

x counts from any upright line to the right, y from the ground line up. A patch in front of the wall is closed off
backwards to the wall, so that its shadow is whole; `thickness` says how far back instead (a post, a board; 0: a sheet).
Patches in one plane lie on top of each other in the order of the file: windows after their wall.
"""

import math
from collections import Counter
from collections.abc import Mapping
from itertools import chain, compress
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from kit import reference
from kit.errors import InputError
from kit.fields import FLAG, NAME, REFLECTANCE, Many, OneOf, Spec, Vector
from kit.toml_file import Named, Reader, Record, TypedLength, Values, metres, read_text, table, times, toml
from kit.wall.facade import GAIN, KIND, ROOM, SHADE, Facade, Patch, Ring, Surface, with_returns
from kit.wall.raster import SAME_PLANE
from kit.wall.surface_names import find_surface, kind_of

# What a house front measures, from the garden wall to the block of flats [m].
WIDTHS, HEIGHTS = (2.0, 60.0), (1.0, 30.0)
# How high one part of it may be, by its kind.
TALLEST = {"door": 4.5, "window": 4.0}
TALL = 16.0
UNIT_NAMES = {"ft": "feet", "m": "metres", "in": "inches", "cm": "centimetres"}


class Corner(Vector):
    """A corner of a patch: [x, y] or [x, y, depth]."""

    def _checked(self, field: str, value: Any) -> tuple[float, ...]:
        if not isinstance(value, list) or len(value) not in (2, 3):
            raise InputError(field, value, "[x, y], or [x, y, depth]")
        return Vector(length=len(value), of=self.of)._checked(field, value)


PLACE = TypedLength(label="length", unit="m", low=-1000.0, high=1000.0)
SIZE = PLACE.but(above=0.0)
UNIT = OneOf(label="unit of all lengths in this file", options=tuple(UNIT_NAMES))
CORNERS = Many(of=Corner(of=PLACE), least=3, label="corners in order round it, [x, y] or [x, y, depth]")
RECTANGLE = Record(fields={"left": PLACE, "bottom": PLACE, "width": SIZE, "height": SIZE}, label="rectangle")
SURFACE: dict[str, Spec] = {
    "reflectance": REFLECTANCE, "low": REFLECTANCE.but(optional=True), "high": REFLECTANCE.but(optional=True),
    "gain": GAIN.but(optional=True), "kind": KIND, "transmittance": SHADE.but(optional=True),
}  # fmt: skip
PATCH: dict[str, Spec] = {
    "name": NAME,
    "surface": NAME.but(label="one of the kit's, or of your own"),
    "rectangle": RECTANGLE.but(optional=True),
    "corners": CORNERS.but(optional=True),
    "depth": PLACE.but(default=0.0, meaning="in front of the wall"),
    "thickness": PLACE.but(low=0.0, optional=True, meaning="of a post or a board; left out: back to the wall"),
    "holes": Many(of=CORNERS, default=(), label="openings"),
    "judged": FLAG.but(default=True, meaning="whether a verdict counts the patch"),
    "room": OneOf(label="room behind a shade", options=("lit", "dark"), optional=True),
    "room_light": ROOM.but(optional=True),
}
HOUSE: dict[str, Spec] = {
    "name": NAME, "units": UNIT, "units_checked": FLAG.but(default=False, meaning="take unusual sizes as they are"),
    "surfaces": Named(of=Record(fields=SURFACE), label="surface", default=()),
    "patch": Many(of=Record(fields=PATCH), least=1, most=800),
}  # fmt: skip


def load_house(path: str | Path) -> Facade:
    """Read a house file, TOML as described at the top of this module, whatever its units.

    Parameters
    ----------
    path : str or Path
        Of a regular file of at most 1 MB.

    Raises
    ------
    InputError
        One for whatever is wrong with it: each mistake with the patch, the field, the value and what is right.

    Examples
    --------
    >>> import kit
    >>> house = kit.load_house("notebooks/houses/brick_two_storey.toml")
    >>> house.patch("main wall").surface.name
    'red brick'
    """
    return parse_house(read_text("house file", path), Path(path).name)


def parse_house(source: str, file: str = "house file") -> Facade:
    """Read a front from the text of a house file; `file` is the name used in errors. See `load_house`."""
    reader = Reader(file, HOUSE)
    front, _ = read_front(reader, reader.parse(source), HOUSE)
    reader.finish()
    assert front is not None
    return front


def read_front(reader: Reader, content: Any, fields: Mapping[str, Spec]) -> tuple[Facade | None, Values]:
    """Return the front that a file's content describes, None where it has mistakes, and all that is in `fields`."""
    if not content:
        if content is not None:
            reader.wrong("text", "", "a name, units and at least one [[patch]]; the file is empty")
        return None, Values()
    reader.unit = unit_of(content)
    values = reader.record(fields, content)
    own: dict[str, Surface] = {}
    for name, told in dict(values.get("surfaces", ())).items():
        own[name] = Surface(name="known", reflectance=0.5)  # a wrong one is no mistake of its patches
        with reader.noting():
            if told.whole:
                own[name] = Surface(**{"name": name, "kind": kind_of(name)} | told)
    given = values.get("patch", ())
    built = [_patch(reader, item, own) for item in given]
    names = Counter(item["name"] for item in given if "name" in item)
    for name in names - Counter(dict.fromkeys(names, 1)):
        reader.wrong(f"patch {name!r}: name", name, "a name that no other patch has")
    try:
        front = Facade(tuple(chain.from_iterable(built)), name=values.get("name", "?"))
    except InputError as error:
        if not reader.mistakes:
            reader.mistakes.append(error)
        return None, values
    before = len(reader.mistakes)
    _note_hidden(front, reader)
    if all(built) and len(reader.mistakes) == before and "units" in values and not values.get("units_checked"):
        _question_sizes(front, reader)
    return (None if reader.mistakes else front), values


def unit_of(content: Mapping[str, Any], otherwise: str = "m") -> str:
    """Return the unit of the lengths in a file; what is none is noted when its field is read."""
    units = content.get("units")
    return units if isinstance(units, str) and units in UNIT_NAMES else otherwise


def _patch(reader: Reader, given: Values, own: dict[str, Surface]) -> tuple[Patch, ...]:
    """Return a patch and the sides that close it off; none where a mistake has been noted."""
    if reader.over:
        return ()
    before, where, scale = len(reader.mistakes), given.where, metres(reader.unit)
    if given.given and ("rectangle" in given.given) == ("corners" in given.given):
        both = "both" if "corners" in given.given else "neither"
        reader.wrong(f"{where}rectangle or corners", both, "one of the two")
    if "surface" in given:
        try:
            surface = own[given["surface"]] = find_surface(given["surface"], own)
        except InputError as error:
            reader.wrong(f"{where}surface", error.value, error.right)
    if not given.whole or len(reader.mistakes) > before:
        return ()
    corners = given.get("corners")
    if corners is None:
        left, bottom, width, height = given["rectangle"].values()
        right, top = left + width, bottom + height
        corners = [(left, bottom), (right, bottom), (right, top), (left, top)]

    def ring(points: Any) -> Ring:
        return tuple(times((*point, given.get("depth", 0.0))[:3], scale) for point in points)

    holes = tuple(map(ring, given.get("holes", ())))
    said = sorted(given.given & {"room", "room_light"})
    if len(said) > 1 or (said and not surface.transmittance):
        reader.wrong(f"{where}{', '.join(said)}", given["surface"], "one of the two, of a surface with a transmittance")
    lit = reference.value("shades", "lit room")
    light = {"lit": lit, "dark": 0.0}.get(given.get("room", ""), given.get("room_light"))
    try:
        patch = Patch(given["name"], ring(corners), surface, holes, given.get("judged", True), light)
        near, far = (f(corner[2] for corner in patch.outline) for f in (max, min))
        back = far - given["thickness"] * scale if "thickness" in given else min(far, 0.0)
        return with_returns(patch, back) if near - back > SAME_PLANE else (patch,)
    except InputError as error:
        typed = times(error.value, 1.0 / scale, 4) if isinstance(error.value, tuple | float) else error.value
        reader.wrong(error.field, typed, error.right)
        return ()


def _note_hidden(facade: Facade, reader: Reader) -> None:
    """Note patches that nobody can see: behind another, for want of a hole, or under a later one of its plane."""
    seen = [p for p in facade.patches if p.faces_audience]
    shapes = shapely.STRtree([p.elevation for p in seen])
    farthest, nearest = (np.array([f(c[2] for c in p.outline) for p in seen]) for f in (min, max))
    over, under = shapes.query(shapes.geometries, predicate="covers")
    in_front = farthest[over] > nearest[under] + SAME_PLANE
    over, under, in_front = (x[in_front | (over > under)] for x in (over, under, in_front))
    told = set[int]()
    for at in np.lexsort((over, under)):
        k = int(under[at])
        if k in told:
            continue
        patch, other = seen[k], seen[over[at]]
        z0, zx, zy = other.depth_plane()
        if in_front[at]:
            right = f"a patch that can be seen; it lies behind {other.name!r} (a recess needs a hole there)"
            reader.wrong(f"patch {patch.name!r}: depth", round(float(nearest[k]) / metres(reader.unit), 4), right)
            told.add(k)
        elif all(abs(z0 + zx * x + zy * y - z) <= SAME_PLANE for x, y, z in patch.outline):
            what = patch.surface.kind if patch.surface.kind in ("window", "door") else "smaller patch"
            right = f"a place after {other.name!r}, which covers it: write the {what} after the wall"
            reader.wrong(f"patch {patch.name!r}", "hidden", right)
            told.add(k)


def _question_sizes(facade: Facade, reader: Reader) -> None:
    """Note sizes that no house front has, with the unit that would make sense, if there is one."""
    unit, insist = reader.unit, "if it is right, add units_checked = true"
    seen = [p for p in facade.patches if p.faces_audience]
    boxes = {p.name: p.elevation.bounds for p in seen}
    names, sides = list(boxes), np.array(list(boxes.values()))
    ends = {names[k] for k in (*sides[:, 2:].argmin(axis=0), *sides[:, :2].argmax(axis=0))}
    # Of two that are apart, the smaller one.
    for name in sorted(ends, key=lambda end: shapely.box(*boxes[end]).area) if len(boxes) > 1 else ():
        rest = np.delete(sides, names.index(name), axis=0)
        (left, bottom), (right, top) = rest[:, :2].min(axis=0), rest[:, 2:].max(axis=0)
        x0, y0, x1, y1 = boxes[name]
        away = max(x0 - right, left - x1, y0 - top, bottom - y1)
        if away > max(right - left, top - bottom):
            far = f"{away / metres(unit):.4g} {unit} from the rest"
            reader.wrong(f"patch {name!r}", far, f"a place on the front; {insist}")
            return
    left, right, bottom, top = facade.bounds
    sizes = [("the front", "wide", right - left, WIDTHS), ("the front", "high", top - bottom, HEIGHTS)]
    for p, box in zip(seen, sides, strict=True):
        kind = p.surface.kind
        sizes.append((f"the {kind or 'patch'} {p.name!r}", "high", box[3] - box[1], (0.0, TALLEST.get(kind, TALL))))
    for what, how, size, (least, most) in sizes:
        if not least <= size <= most:
            fit = (metres(sign) / metres(unit) for sign in UNIT_NAMES)
            fits = [all(low <= s * length <= high for *_, length, (low, high) in sizes) for s in fit]
            better = [f'are these {name} (units = "{sign}")' for sign, name in compress(UNIT_NAMES.items(), fits)]
            question = better[0] if better else "is a number wrong"
            told = f"{what} is {size / metres(unit):.4g} {unit} {how}"
            reader.wrong("units", unit, f"sizes of a house; {told}: {question}? {insist[0].upper()}{insist[1:]}")
            return


def house_parts(facade: Facade, units: str = "m") -> tuple[dict[str, Any], list[str]]:
    """Return the top of a file of a front, and its tables as text; a front that no file can hold: `InputError`."""
    scale = metres(UNIT.check("units", units))
    tables = []
    for surface in dict.fromkeys(p.surface for p in facade.patches):
        if surface.name not in reference.names("surfaces") or surface != Surface.from_reference(surface.name):
            given = {name: getattr(surface, name) for name in SURFACE if getattr(surface, name) is not None}
            tables.append(table(f"\n[surfaces.{toml(surface.name)}]", given))
    backs: dict[str, float] = {}
    for side in facade.patches:
        body = side.name.rpartition(", return ")[0]
        if body and not side.faces_audience:
            backs[body] = min([backs.get(body, math.inf), *(corner[2] for corner in side.outline)])
    for patch in facade.patches:
        if patch.faces_audience or patch.name.rpartition(", return ")[0] not in backs:
            tables.append(table("\n[[patch]]", _typed(patch, backs.get(patch.name), scale)))
    top: dict[str, Any] = {"name": facade.name, "units": units}
    for checked in ({}, {"units_checked": True}):
        try:
            again = parse_house(table("", top | checked) + "".join(tables), "front")
        except InputError as error:
            wrong = str(error)
        else:
            if _alike(facade, again):
                return top | checked, tables
            wrong = facade.name
    raise InputError("front", wrong, "a front as a house file holds it: from such files, or made like those")


def _typed(patch: Patch, back: float | None, scale: float) -> dict[str, Any]:
    """Return the fields of a patch that is closed off backwards to z = `back`, lengths in units of `scale`."""
    flat = len({corner[2] for ring in (patch.outline, *patch.holes) for corner in ring}) == 1

    def ring(corners: Ring) -> list[list[float]]:
        return [list(times(corner[: 2 if flat else 3], 1.0 / scale, 10)) for corner in corners]

    given: dict[str, Any] = {"name": patch.name, "surface": patch.surface.name}
    corners = ring(patch.outline)
    (left, bottom), (right, top) = corners[0][:2], corners[2][:2]
    upright = corners == [[left, bottom], [right, bottom], [right, top], [left, top]]
    if upright and left < right and bottom < top:
        sizes = {"width": round(right - left, 10), "height": round(top - bottom, 10)}
        given["rectangle"] = {"left": left, "bottom": bottom} | sizes
    else:
        given["corners"] = corners
    if flat and patch.outline[0][2]:
        given["depth"] = round(patch.outline[0][2] / scale, 10)
    far = min(corner[2] for corner in patch.outline)
    if abs((far if back is None else back) - min(far, 0.0)) > SAME_PLANE:
        given["thickness"] = 0.0 if back is None else round((far - back) / scale, 10)
    if patch.holes:
        given["holes"] = [ring(hole) for hole in patch.holes]
    given |= {} if patch.room_light is None else {"room_light": patch.room_light}
    return given if patch.judged else given | {"judged": False}


def _alike(one: Facade, other: Facade) -> bool:
    """Whether two fronts are the same but for rounding."""

    def told(front: Facade) -> list[Any]:
        seen = ((p.name, p.faces_audience and (p.surface, p.judged, p.room_light), p.rings) for p in front.patches)
        return [(name, about, [len(ring) for ring in rings]) for name, about, rings in seen]

    here, there = (np.concatenate([ring for p in front.patches for ring in p.rings]) for front in (one, other))
    return told(one) == told(other) and np.allclose(here, there, rtol=0.0, atol=1e-9)
