"""House files: a front in TOML, written with a tape measure.

    name = "Our house"
    units = "ft"                     # or "m"; for every length in the file

    [surfaces."our brick"]           # only for surfaces that the reference data do not have
    reflectance = 0.16
    low = 0.12
    high = 0.20
    kind = "brick"                   # what it is: decides colour, what rain darkens, what cloth may cover

    [[patch]]
    name = "main wall"
    rectangle = { left = -20, bottom = 0, width = 40, height = 20 }
    surface = "our brick"

    [[patch]]
    name = "gable"
    corners = [[-20, 20], [20, 20], [0, 30]]
    surface = "white siding"

    [[patch]]
    name = "bay"
    rectangle = { left = 4, bottom = 1, width = 8, height = 8 }
    depth = 2                        # in front of the wall
    surface = "our brick"

x counts from any upright line of your choice to the right, y from the ground line up. A corner may carry its
own depth as a third number, for a roof that leans back. A patch in front of the wall is closed off backwards
to the wall, so that its shadow is whole; `thickness` says how far back instead (a post, a board; 0: a sheet).
`judged = false` leaves a patch out of the verdict, as for a roof that shows nothing.
Patches in one plane lie on top of each other in the order of the file: windows after their wall.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Annotated, Any, Literal

import pydantic
import shapely
from pydantic import BaseModel, ConfigDict, Field

from kit.errors import InputError
from kit.units import metres_per
from kit.wall.facade import Facade, Patch, Ring, Surface, with_returns
from kit.wall.raster import SAME_PLANE

Length = Annotated[float, Field(allow_inf_nan=False, ge=-1000.0, le=1000.0)]
Size = Annotated[float, Field(allow_inf_nan=False, gt=0.0, le=1000.0)]
Corner = Annotated[list[Length], Field(min_length=2, max_length=3)]
Outline = Annotated[list[Corner], Field(min_length=3, max_length=1000)]
Name = Annotated[str, Field(min_length=1, max_length=200, pattern=r"\S")]

# What is right, where pydantic's own words would not help a home-owner.
RIGHT = {
    "missing": "this field to be there",
    "extra_forbidden": "no such field here; see the list in the README",
    "float_type": "a number",
    "string_type": "text in quotes",
    "bool_type": "true or false",
    "literal_error": '"ft" or "m"',
    "list_type": "a list in square brackets",
    "model_type": "a table in braces or brackets",
    "model_attributes_type": "a table in braces or brackets",
}


class _Record(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)


class _Rectangle(_Record):
    left: Length
    bottom: Length
    width: Size
    height: Size

    def corners(self) -> list[list[float]]:
        right, top = self.left + self.width, self.bottom + self.height
        return [[self.left, self.bottom], [right, self.bottom], [right, top], [self.left, top]]


class _Surface(_Record):
    """As `Surface`, which knows what each number may be."""

    reflectance: float
    low: float | None = None
    high: float | None = None
    gain: float | None = None
    kind: str = ""


class _Patch(_Record):
    name: Name
    surface: Name
    rectangle: _Rectangle | None = None
    corners: Outline | None = None
    depth: Length = 0.0
    thickness: Annotated[float, Field(allow_inf_nan=False, ge=0.0, le=1000.0)] | None = None
    holes: list[Outline] = []
    judged: bool = True


class _House(_Record):
    name: Name
    units: Literal["ft", "m"]
    patch: Annotated[list[_Patch], Field(min_length=1, max_length=2000)]
    surfaces: dict[Name, _Surface] = {}


def load_house(path: str | Path) -> Facade:
    """Read a house file.

    Parameters
    ----------
    path : str or Path
        A TOML file as described at the top of this module.

    Returns
    -------
    Facade
        In metres, whatever the file's units.

    Raises
    ------
    InputError
        For anything that is wrong with the file; names the file, the patch, the field, the value and what
        is right.

    Examples
    --------
    >>> import kit
    >>> house = kit.load_house("notebooks/houses/brick_two_storey.toml")
    >>> house.patch("main wall").surface.name
    'red brick'
    """
    file = Path(path)
    try:
        source = file.read_text(encoding="utf-8-sig")
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "not text in UTF-8"
        raise InputError("house file", str(path), f"a TOML file that can be read ({reason})") from None
    return parse_house(source, file.name)


def parse_house(source: str, file: str = "house file") -> Facade:
    """Read a front from the text of a house file; `file` is the name used in errors. See `load_house`."""
    try:
        content = tomllib.loads(source)
    except RecursionError:
        raise InputError(file, "nested too deeply", "valid TOML") from None
    except ValueError as error:  # TOMLDecodeError, or a number of thousands of digits
        raise InputError(file, str(error), "valid TOML") from None
    if not content:
        raise InputError(file, "", "a name, units and at least one [[patch]]; the file is empty")
    try:
        house = _House.model_validate(content)
    except pydantic.ValidationError as error:
        raise _plain(error, content, file) from None
    scale = metres_per(house.units)
    try:
        return _facade(house, scale)
    except InputError as error:
        raise InputError(f"{file}: {error.field}", error.value, error.right) from None


def _facade(house: _House, scale: float) -> Facade:
    own = {name: Surface(name=name, **s.model_dump(exclude_none=True)) for name, s in house.surfaces.items()}
    patches: list[Patch] = []
    for item in house.patch:
        where = f"patch {item.name!r}"
        if (item.rectangle is None) == (item.corners is None):
            given = "both" if item.corners else "neither"
            raise InputError(f"{where}: rectangle or corners", given, "one of the two")
        try:
            surface = own.get(item.surface) or Surface.from_reference(item.surface)
        except InputError as error:
            raise InputError(f"{where}: surface", error.value, error.right) from None
        corners = item.corners if item.rectangle is None else item.rectangle.corners()
        assert corners is not None
        patch = Patch(
            item.name,
            _metres(corners, item.depth, scale),
            surface,
            tuple(_metres(hole, item.depth, scale) for hole in item.holes),
            item.judged,
        )
        deepest = min(corner[2] for corner in patch.outline)
        back = min(deepest, 0.0)
        if item.thickness is not None:
            back = deepest - item.thickness * scale
        if max(corner[2] for corner in patch.outline) - back > SAME_PLANE:
            patches += with_returns(patch, back)
        else:
            patches.append(patch)
    facade = Facade(tuple(patches), name=house.name)
    _refuse_hidden(facade)
    return facade


def _metres(corners: list[list[float]], depth: float, scale: float) -> Ring:
    return tuple((c[0] * scale, c[1] * scale, (c[2] if len(c) == 3 else depth) * scale) for c in corners)


def _refuse_hidden(facade: Facade) -> None:
    """Raise `InputError` for a patch that lies wholly behind another: surely a forgotten hole."""
    seen = [p for p in facade.patches if p.faces_audience]
    shapes = shapely.STRtree([p.elevation for p in seen])
    depths = [(min(z), max(z)) for z in ([c[2] for c in p.outline] for p in seen)]
    for patch, shape, (_, nearest) in zip(seen, shapes.geometries, depths, strict=True):
        for i in sorted(shapes.query(shape, predicate="covered_by")):
            other = seen[i]
            if depths[i][0] > nearest + SAME_PLANE:
                raise InputError(
                    f"patch {patch.name!r}: depth",
                    round(nearest, 4),
                    f"a patch that can be seen; it lies behind {other.name!r} (a recess needs a hole there)",
                )


def _plain(error: pydantic.ValidationError, content: dict[str, Any], file: str) -> InputError:
    """Return the first of pydantic's errors in words for someone with a tape measure."""
    first = error.errors(include_url=False)[0]
    place = list(first["loc"])
    field = file
    if place[:1] == ["patch"] and len(place) > 1 and isinstance(place[1], int):
        item = content["patch"][place[1]]
        name = item.get("name") if isinstance(item, dict) else None
        field += f": patch {name!r}" if isinstance(name, str) else f": patch number {place[1] + 1}"
        place = place[2:]
    label = ""
    for step in place:
        label += f" {step + 1}" if isinstance(step, int) else f"{', ' if label else ''}{step}"
    value = None if first["type"] == "missing" else first["input"]
    message = RIGHT.get(first["type"], first["msg"][:1].lower() + first["msg"][1:])
    return InputError(f"{field}: {label}" if label else field, value, message)
