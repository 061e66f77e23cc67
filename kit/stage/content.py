r"""Content map: what may be shown where, and the raster that the content is made for.

Zones
-----
Each patch of a front is good for one of three kinds of content:

- ``animation``: figures that move, fine detail,
- ``slow light``: washes of colour and slow fades, which need neither fine detail nor a sure contrast,
- ``nothing``: content there is lost.

`content_zones` states the rule. Brightness and contrast are those of `judge`, with its band. How far a wall's own
pattern hides detail is the rule of `kit.eye.pattern_vision`; how many tones must be left, and how coarse a picture
element may be, are in ``reference_data/content_zones.csv`` and are weak: practice, not a standard.

Raster
------
A picture is addressed by column and row: column 0 is left and row 0 on top as the picture is addressed, the top left
corner of the picture is (0, 0) and the centre of the top left pixel (0.5, 0.5). With the lens at :math:`L`, the unit
vectors forward, right and up of its picture, and the picture's window at unit depth, pixel :math:`(c, r)` of
:math:`C \times R` sends the ray

.. math::

    v = forward + s\, right + t\, up, \quad s = left + (right - left)\, c / C, \quad t = top - (top - bottom)\, r / R

which meets the plane :math:`n \cdot X = o` at depth :math:`d = (o - n \cdot L) / (n \cdot v)`. So :math:`1/d` is linear
in column and row: which of two patches the lens sees first is decided at each pixel's centre by two affine functions,
and a patch's outline is a polygon on the raster too. Both are exact to rounding; nothing is sampled.
"""

from __future__ import annotations

import csv
import io
import math
import re
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, get_args

import numpy as np
import shapely
import xarray as xr
from numpy.typing import ArrayLike, NDArray

from kit import reference
from kit.blocks import in_blocks
from kit.decision.verdict import Part, Target, checked_target, judge
from kit.errors import InputError, numbers
from kit.eye.light_map import Scene
from kit.eye.pattern_vision import PatternView, seen
from kit.source.placement import Placement, picture_position, picture_window
from kit.source.projector import Projector
from kit.wall.facade import Facade, Patch
from kit.wall.points import check_in_front
from kit.wall.raster import MAX_PIXELS, SAME_PLANE, Grid, Window, clip
from kit.wall.texture import Pattern

Array = NDArray[np.float64]
Zone = Literal["animation", "slow light", "nothing"]
ZONES: tuple[Zone, ...] = get_args(Zone)
# The mask of the pixels that miss the front. Together with the zones it covers every pixel once.
BESIDE = "beside"

# What lies nearer to the lens than this is in the lens [m].
NEAREST = 1e-3
# Points of a patch at which the size of a picture element is looked at, at most.
SAMPLES = 400
# Longest part of a file's name that comes from a patch's name.
LONGEST = 40


# Pixel and wall


def pixel_position(projector: Projector, placement: Placement, points: ArrayLike) -> tuple[Array, Array]:
    """Return which place of the raster lands on each wall point.

    Parameters
    ----------
    projector, placement
    points : array, shape (..., 3)
        World axes [m].

    Returns
    -------
    column, row : array, shape (...)
        In pixels from the picture's top left corner; below 0 or beyond the resolution outside the picture, NaN behind
        the lens. Whether something stands between is not looked at.
    """
    across, up, _ = picture_position(projector, placement, points)
    columns, rows = projector.resolution
    return (across + 0.5) * columns, (0.5 - up) * rows


def pixel_rays(projector: Projector, placement: Placement, column: ArrayLike, row: ArrayLike) -> Array:
    """Return the rays that leave the lens through places of the raster; column and row broadcast.

    Returns
    -------
    array, shape (..., 3)
        World axes; their part along the lens axis is 1.
    """
    forward, right, up = placement.frame()
    left, right_end, bottom, top = picture_window(projector)
    columns, rows = projector.resolution
    s, t = np.broadcast_arrays(
        left + np.asarray(column, float) * ((right_end - left) / columns),
        top - np.asarray(row, float) * ((top - bottom) / rows),
    )
    return np.asarray(forward + s[..., None] * right + t[..., None] * up)


def wall_point(
    projector: Projector, placement: Placement, column: ArrayLike, row: ArrayLike, normal: ArrayLike, offset: ArrayLike
) -> Array:
    """Return where places of the raster land on planes: the inverse of `pixel_position`.

    Parameters
    ----------
    projector, placement
    column, row : array, shape (...)
        In pixels from the picture's top left corner; they broadcast.
    normal : array, shape (3,) or (..., 3)
    offset : array, shape () or (...)
        Of the plane ``normal . X = offset``, as `Patch.normal` and `Patch.offset` [m].

    Returns
    -------
    array, shape (..., 3)
        World axes [m]; NaN where the ray does not meet the plane in front of the lens. A patch ends before its plane
        does: see `PictureMap.points`.
    """
    rays = pixel_rays(projector, placement, column, row)
    lens, across = np.asarray(placement.position), np.asarray(normal, float)
    with np.errstate(divide="ignore", invalid="ignore"):
        depth = (np.asarray(offset, float) - across @ lens) / np.sum(across * rays, axis=-1)
    return np.asarray(lens + np.where((depth > 0) & np.isfinite(depth), depth, np.nan)[..., None] * rays)


@dataclass(frozen=True, kw_only=True)
class Corner:
    """A corner of a patch on the raster.

    Attributes
    ----------
    patch, surface : str
    ring : int
        0 for the outline, 1 for the first hole.
    corner : int
        From 1, in the order in which the patch was given.
    position : (float, float, float)
        World axes [m].
    column, row : float
        In pixels from the picture's top left corner; NaN for a corner behind the lens.
    in_picture : bool
        Whether the picture reaches so far, edge included.
    hidden : bool
        Whether another part of the front stands between the lens and the corner, or lies upon it.
    """

    patch: str
    surface: str
    ring: int
    corner: int
    position: tuple[float, float, float]
    column: float
    row: float
    in_picture: bool
    hidden: bool


@dataclass(frozen=True, kw_only=True, eq=False)
class PictureMap:
    """The raster of one projector, and the front on it.

    Attributes
    ----------
    facade : Facade
    projector : Projector
    placement : Placement
    patch : array of int16, shape (row, column)
        Index of the patch that the lens sees first at the pixel's centre, -1 where the ray misses the front. Parts
        that the audience sees edge-on, such as the sides of a bay, are in it as well.
    corners : tuple of Corner
        Of every patch, outline first, then holes.
    """

    facade: Facade
    projector: Projector
    placement: Placement
    patch: NDArray[np.int16]
    corners: tuple[Corner, ...]

    def mask(self, name: str) -> NDArray[np.bool_]:
        """Return where the lens sees the patch called `name`, shape (row, column)."""
        return np.asarray(self.patch == self.facade.patches.index(self.facade.patch(name)))

    def points(self, column: ArrayLike, row: ArrayLike) -> Array:
        """Return the wall points on which places of the raster land.

        Parameters
        ----------
        column, row : array, shape (...)
            In pixels from the picture's top left corner; they broadcast. The centre of the pixel decides on the patch.

        Returns
        -------
        array, shape (..., 3)
            World axes [m]; NaN outside the picture and where the ray misses the front.
        """
        across, down = np.broadcast_arrays(np.asarray(column, float), np.asarray(row, float))
        rows, columns = self.patch.shape
        inside = (across >= 0) & (across <= columns) & (down >= 0) & (down <= rows)
        at = [
            np.minimum(np.where(inside, place, 0.0).astype(np.intp), size - 1)
            for place, size in ((down, rows), (across, columns))
        ]
        index = np.where(inside, self.patch[at[0], at[1]], -1)
        # The last row serves the index -1: no plane at all.
        normals = np.array([*(p.normal for p in self.facade.patches), (np.nan,) * 3])
        offsets = np.array([*(p.offset for p in self.facade.patches), np.nan])
        return wall_point(self.projector, self.placement, across, down, normals[index], offsets[index])


def picture_map(scene: Scene, projector_index: int = 0) -> PictureMap:
    """Return which part of the front each pixel of a projector lands on, and where the corners lie on its raster.

    Parameters
    ----------
    scene : Scene
    projector_index : int
        Counted from 0.

    Raises
    ------
    InputError
        For a projector that is not there, a zoom that is not set, a lens behind or inside the front, a picture that
        misses the front, or more than `kit.wall.raster.MAX_PIXELS` pixels.
    """
    if not isinstance(scene, Scene):
        raise InputError("scene", scene, "a kit.Scene")
    count = len(scene.projectors)
    if isinstance(projector_index, bool) or projector_index not in range(count):
        raise InputError("projector_index", projector_index, f"a whole number from 0 to {count - 1}")
    projector, placement = scene.projectors[projector_index]
    facade = scene.facade
    columns, rows = projector.resolution
    if columns * rows > MAX_PIXELS:
        raise InputError("resolution", projector.resolution, f"at most {MAX_PIXELS} pixels")
    check_in_front(facade, placement.position, f"projector {projector_index + 1}: position", "a lens")
    patch = _first_seen(facade, projector, placement)
    if patch.max() < 0:
        raise InputError(
            f"projector {projector_index + 1}: position, aim, lens_shift",
            (placement.position, placement.aim, projector.lens_shift),
            "a picture that meets the front; this one misses it",
        )
    return PictureMap(
        facade=facade,
        projector=projector,
        placement=placement,
        patch=patch,
        corners=_corners(facade, projector, placement),
    )


def _first_seen(facade: Facade, projector: Projector, placement: Placement) -> NDArray[np.int16]:
    """Return the index of the patch that the lens sees first, -1 where there is none, shape (row, column)."""
    columns, rows = projector.resolution
    grid = Grid(x=np.arange(0.5, columns, dtype=np.float64), y=np.arange(0.5, rows, dtype=np.float64), spacing=1.0)
    lens = np.asarray(placement.position)
    forward, right, up = placement.frame()
    left, right_end, bottom, top = picture_window(projector)
    start = forward + left * right + top * up
    per_column, per_row = right * ((right_end - left) / columns), -up * ((top - bottom) / rows)

    drawn: list[tuple[int, list[Array], Window, tuple[float, ...], float]] = []
    for i, patch in enumerate(facade.patches):
        height = float(patch.normal @ lens) - patch.offset
        if abs(height) <= SAME_PLANE:
            continue  # edge-on to the lens
        rings = []
        for ring in patch.rings:
            ahead = clip(ring, forward, float(forward @ lens) + NEAREST)
            if len(ahead) >= 3:
                rings.append(np.stack(pixel_position(projector, placement, ahead), axis=1))
        if not rings:
            continue
        window = grid.window(rings)
        # One over the depth: at the raster's corner, for each column, for each row.
        nearness = tuple(float(patch.normal @ step) / -height for step in (start, per_column, per_row))
        # What lies in one plane with an earlier patch lies upon it.
        drawn.append((i, rings, window, nearness, 1.0 - SAME_PLANE / abs(height)))

    index = np.full((rows, columns), -1, dtype=np.int16)

    def work(block: Window) -> None:
        nearest = np.zeros((block[0].stop - block[0].start, columns))
        for i, rings, (down, across), (base, by_column, by_row), margin in drawn:
            area = slice(max(down.start, block[0].start), min(down.stop, block[0].stop)), across
            if area[0].start >= area[0].stop or across.start >= across.stop:
                continue
            local = slice(area[0].start - block[0].start, area[0].stop - block[0].start), across
            mine = (base + by_row * grid.y[area[0]])[:, None] + by_column * grid.x[across]
            mask = grid.inside(rings, area)
            mask &= mine > nearest[local] * margin
            np.copyto(nearest[local], mine, where=mask)
            np.copyto(index[area], np.int16(i), where=mask)

    in_blocks(work, (slice(0, rows), slice(0, columns)))
    return index


def _corners(facade: Facade, projector: Projector, placement: Placement) -> tuple[Corner, ...]:
    places = [
        (i, ring, corner)
        for i, patch in enumerate(facade.patches)
        for ring, corners in enumerate(patch.rings)
        for corner in range(1, len(corners) + 1)
    ]
    points = np.concatenate([ring for patch in facade.patches for ring in patch.rings])
    column, row = pixel_position(projector, placement, points)
    columns, rows = projector.resolution
    inside = (column >= 0) & (column <= columns) & (row >= 0) & (row <= rows)
    hidden = _hidden(facade, points, np.array([i for i, _, _ in places]), np.asarray(placement.position))
    return tuple(
        Corner(
            patch=facade.patches[i].name,
            surface=facade.patches[i].surface.name,
            ring=ring,
            corner=corner,
            position=tuple(points[k].tolist()),
            column=float(column[k]),
            row=float(row[k]),
            in_picture=bool(inside[k]),
            hidden=bool(hidden[k]),
        )
        for k, (i, ring, corner) in enumerate(places)
    )


def _hidden(facade: Facade, points: Array, owner: NDArray[np.intp], lens: Array) -> NDArray[np.bool_]:
    """Return which of `points`, shape (n, 3), on the patches `owner`, another patch hides from the lens."""
    result = np.zeros(len(points), dtype=bool)
    normals = np.array([p.normal for p in facade.patches])
    for j, patch in enumerate(facade.patches):
        above = points @ patch.normal - patch.offset
        height = float(patch.normal @ lens) - patch.offset
        # A corner may lie a little off its patch's plane, and does not hide itself or what it is joined to.
        off = max(SAME_PLANE, *(float(np.abs(ring @ patch.normal - patch.offset).max()) for ring in patch.rings))
        behind = (above * height < 0) & (np.abs(above) > off)
        beneath = (np.abs(above) <= SAME_PLANE) & (np.abs(normals[owner] @ patch.normal) > 1.0 - 1e-12) & (owner < j)
        candidates = np.flatnonzero(behind | beneath)
        if not candidates.size:
            continue
        # Where the line of sight meets the patch's plane.
        step = np.where(beneath, 1.0, height / np.where(behind, height - above, 1.0))[candidates, None]
        met = np.delete(lens + (points[candidates] - lens) * step, np.abs(patch.normal).argmax(), axis=1)
        outline, *holes = (
            shapely.Polygon(np.delete(ring, np.abs(patch.normal).argmax(), axis=1)) for ring in patch.rings
        )
        # A line of sight along an edge is free.
        covered = shapely.contains_xy(outline, met)
        for hole in holes:
            covered &= ~shapely.intersects_xy(hole, met)
        result[candidates] |= covered
    return result


# Zones


@dataclass(frozen=True, kw_only=True)
class PatchZone:
    """What one patch is good for.

    Attributes
    ----------
    name, surface : str
        Of the patch.
    zone : {"animation", "slow light", "nothing"}
    reasons : tuple of str
        In words; what decided comes first.
    share_of_front : float
        Of the visible front.
    part : Part or None
        Verdict on the patch; None where the audience sees none of it.
    element_size : float or None
        Of a picture element on the patch, along its longer side, median [m]; None where no light lands.
    element_angle : float or None
        That it subtends for the viewer, the coarsest projector's [arcmin].
    view : PatternView or None
        How the viewer sees the patch's own pattern; None where none was given, or no light lands.
    """

    name: str
    surface: str
    zone: Zone
    reasons: tuple[str, ...]
    share_of_front: float
    part: Part | None
    element_size: float | None
    element_angle: float | None
    view: PatternView | None


@dataclass(frozen=True, kw_only=True)
class Zones:
    """What each part of a front is good for. ``print(zones)`` shows sentence and table."""

    target: Target
    viewer: tuple[float, float, float]
    patches: tuple[PatchZone, ...]

    def patch(self, name: str) -> PatchZone:
        """Return what one patch is good for, or raise `InputError` with the names there are."""
        for patch in self.patches:
            if patch.name == name:
                return patch
        raise InputError("patch name", name, f"one of {', '.join(p.name for p in self.patches)}")

    def by_patch(self) -> dict[str, Zone]:
        """Return the zone of each patch by name; what `save_masks` takes, and may be changed by hand before."""
        return {p.name: p.zone for p in self.patches}

    def share(self, zone: Zone) -> float:
        """Return the share of the visible front that is of one zone; an unknown one: `InputError`."""
        return sum(p.share_of_front for p in self.patches if p.zone == _checked_zone("zone", zone))

    @property
    def sentence(self) -> str:
        """The zones in words."""
        carry, wash, rest = (self.share(zone) for zone in ZONES)
        return f"{carry:.0%} of this front can carry animation, {wash:.0%} only slow light, {rest:.0%} nothing."

    def table(self) -> str:
        """Return a text table, one line for each patch that the audience sees, with the first reason."""
        lines = [f"{'':24}{'share':>6}  {'good for':12}{'element mm':>11}{'arcmin':>8}{'steps':>7}  why"]
        for p in self.patches:
            if p.part is None:
                continue
            size = "-" if p.element_size is None else f"{1000 * p.element_size:.1f}"
            angle = "-" if p.element_angle is None else f"{p.element_angle:.1f}"
            steps = "-" if p.view is None or p.view.steps is None else f"{p.view.steps:.1f}"
            lines.append(
                f"{p.name[:23]:24}{p.share_of_front:>6.0%}  {p.zone:12}{size:>11}{angle:>8}{steps:>7}  {p.reasons[0]}"
            )
        return "\n".join(lines)

    def __str__(self) -> str:
        return f"{self.sentence}\n\n{self.table()}"


def content_zones(
    light: xr.Dataset,
    target: Target | None = None,
    *,
    scene: Scene,
    viewer: tuple[float, float, float] | None = None,
    patterns: Mapping[str, Pattern] | None = None,
) -> Zones:
    """Return what each patch of a front is good for.

    The rule, patch by patch, first that holds:

    1. ``nothing``: the audience sees none of the patch; the patch faces away from the viewer; the picture reaches less
       than half of it; it sends no light back; or `judge` finds luminance or contrast not enough, which means that
       even the high end of the band misses the target.
    2. ``slow light``: `judge` finds it borderline (the low end of the band misses the target); or the wall's own
       pattern drowns detail, because the picture's contrast holds fewer steps of the pattern's ratio than
       ``fewest steps for animation``; or a picture element subtends more than ``coarsest for animation``.
    3. ``animation``: the rest.

    Every patch that the audience sees is judged, whether or not it counts for a verdict.

    Parameters
    ----------
    light : xarray.Dataset
        From `light_map` of `scene`, without leading dimensions.
    target : Target
        The default target if not given.
    scene : Scene
        That `light` is of; gives raster, lens and depth.
    viewer : (float, float, float), optional
        Eye of the one in the audience who stands nearest [m]; in front of the front. Not given: the scene's
        ``ambient.eye``.
    patterns : mapping of str to Pattern, optional
        The wall's own patterns, by name of patch or surface; a patch's own comes first. What is not named has none.

    Raises
    ------
    InputError
        For a map with a sweep or of another front, no viewer or one behind the front, or a pattern of an unknown part.

    Notes
    -----
    A picture element's size is that of its image on the patch, tilt included, and its angle that of this image seen by
    the viewer: medians over the lit points, the longer of the two directions, of the coarsest projector that lights
    the patch. The pattern is taken as seen from straight in front, at the viewer's distance from the middle of the lit
    part. Whether one part of the front hides another from the viewer is not looked at; the map is an elevation.

    References
    ----------
    ``reference_data/content_zones.csv`` (both limits weak), ``reference_data/eye.csv``; see `judge` and
    `kit.eye.pattern_vision.seen`.
    """
    if not isinstance(scene, Scene):
        raise InputError("scene", scene, "a kit.Scene")
    if not isinstance(light, xr.Dataset) or "patch" not in light or "patch_name" not in light.coords:
        raise InputError("light", type(light).__name__, "the Dataset that kit.light_map returns")
    facade, target = scene.facade, checked_target(target)
    names = [p.name for p in facade.patches]
    if light["patch_name"].values.tolist() != names:
        raise InputError("light", light["patch_name"].values.tolist(), f"a map of the scene's front: {names}")
    eye = scene.ambient.eye if viewer is None else viewer
    if eye is None:
        raise InputError("viewer", None, "where the nearest viewer's eye is, (x, y, z) in metres")
    x, y, z = numbers("viewer", eye, 3, unit="m")
    check_in_front(facade, (x, y, z), "viewer", "a viewer")
    given = _checked_patterns(patterns, facade)

    everything = light.assign_coords(judged=("patch_index", np.ones(len(names), dtype=bool)))
    parts = {part.name: part for part in judge(everything, target).patches}
    data = light.variables
    index, illuminance = data["patch"].values, data["illuminance"].values
    xs, ys = light["x"].values, light["y"].values
    ambient = np.broadcast_to(data["ambient_illuminance"].values, index.shape)
    zones = []
    for i, patch in enumerate(facade.patches):
        part = parts.get(patch.name)
        size = angle = view = pattern = None
        lit = np.nonzero((index == i) & (illuminance > 0)) if part is not None else ()
        faces = float(patch.normal @ np.array((x, y, z))) > patch.offset
        if part is not None and part.contrast is not None and faces:
            z0, zx, zy = patch.depth_plane()
            across, up = xs[lit[1]], ys[lit[0]]
            points = np.stack([across, up, z0 + zx * across + zy * up], axis=1)
            size, angle = _element(scene, data["picture_share"].values[:, i], patch, points, np.array((x, y, z)))
            pattern = given.get(patch.name, given.get(patch.surface.name))
            if pattern is not None:
                level = scene.picture_level
                mean = level * data["white_luminance"].values[lit] + (1.0 - level) * data["black_luminance"].values[lit]
                mean = mean + data["reflectance"].values[lit] * ambient[lit] / np.pi
                spacing = float(light.attrs["spacing"])
                view = _view(
                    pattern,
                    distance=float(np.linalg.norm(points.mean(axis=0) - (x, y, z))),
                    luminance=float(np.median(mean)),
                    width=float(np.ptp(across)) + spacing,
                    height=float(np.ptp(up)) + spacing,
                    contrast=part.contrast.median,
                )
        zone, reasons = _decide(patch, part, target, faces, size, angle, pattern, view)
        zones.append(
            PatchZone(
                name=patch.name,
                surface=patch.surface.name,
                zone=zone,
                reasons=reasons,
                share_of_front=0.0 if part is None else part.share_of_front,
                part=part,
                element_size=size,
                element_angle=angle,
                view=view,
            )
        )
    return Zones(target=target, viewer=(x, y, z), patches=tuple(zones))


def _checked_patterns(patterns: Mapping[str, Pattern] | None, facade: Facade) -> dict[str, Pattern]:
    if patterns is None:
        return {}
    if not isinstance(patterns, Mapping):
        raise InputError("patterns", patterns, "a mapping from a name of a patch or surface to a kit.Pattern")
    known = dict.fromkeys([p.name for p in facade.patches] + [p.surface.name for p in facade.patches])
    for name, pattern in patterns.items():
        if name not in known:
            raise InputError("patterns", name, f"a patch or surface: one of {', '.join(known)}")
        if not isinstance(pattern, Pattern):
            raise InputError(f"patterns: {name!r}", pattern, "a kit.Pattern")
    return dict(patterns)


def _element(scene: Scene, share: Array, patch: Patch, points: Array, eye: Array) -> tuple[float | None, float | None]:
    """Return size [m] and angle [arcmin] of a picture element on `patch`, of the coarsest projector that lights it."""
    found: list[tuple[float, float]] = []
    few = points[:: math.ceil(len(points) / SAMPLES)]
    # A small step, so that an element near the horizon of a raked wall has a size too.
    step = 1e-3
    for (projector, placement), lands in zip(scene.projectors, share, strict=True):
        if lands <= 0:
            continue
        column, row = pixel_position(projector, placement, few)
        columns, rows = projector.resolution
        inside = (column >= 0) & (column <= columns) & (row >= 0) & (row <= rows)
        if not inside.any():
            continue
        column, row, here = column[inside], row[inside], few[inside]
        sizes, angles = [], []
        for right, down in ((step, 0.0), (0.0, step)):
            there = wall_point(projector, placement, column + right, row + down, patch.normal, patch.offset)
            one, other = here - eye, there - eye
            sizes.append(np.linalg.norm(there - here, axis=1) / step)
            turn = np.arctan2(np.linalg.norm(np.cross(one, other), axis=1), np.sum(one * other, axis=1))
            angles.append(60.0 * np.degrees(turn) / step)
        found.append((float(np.nanmedian(np.max(angles, axis=0))), float(np.nanmedian(np.max(sizes, axis=0)))))
    if not found:
        return None, None
    angle, size = max(found)
    return size, angle


def _view(
    pattern: Pattern, *, distance: float, luminance: float, width: float, height: float, contrast: float
) -> PatternView | None:
    """Return how the pattern is seen; None on a strip that is lower than one course and shows no pattern."""
    if height < pattern.course_height:
        return None
    # A black without any light leaves room for every step.
    bounded = min(max(contrast, 1.0), 1e12)
    return seen(pattern, distance=distance, luminance=luminance, picture_size=(width, height), picture_contrast=bounded)


def _decide(
    patch: Patch,
    part: Part | None,
    target: Target,
    faces: bool,
    size: float | None,
    angle: float | None,
    pattern: Pattern | None,
    view: PatternView | None,
) -> tuple[Zone, tuple[str, ...]]:
    """Return the zone of one patch and why; the rule of `content_zones`."""
    if part is None:
        if not patch.faces_audience:
            return "nothing", ("the audience sees it edge-on",)
        return "nothing", ("the audience sees none of it: hidden, or smaller than a pixel of the map",)
    if not faces:
        return "nothing", ("it faces away from where the viewer stands",)
    white, contrast = part.white_luminance, part.contrast
    if white is None or contrast is None:
        return "nothing", ("no picture reaches it",)
    if part.criterion == "coverage":
        return "nothing", (f"the picture reaches only {part.lit_share:.0%} of it",)
    if white.high == 0.0:
        return "nothing", ("it sends no light back",)
    figures = {
        "white luminance": f"white of {part.band('white_luminance')} cd/m2, {target.white_luminance:g} wanted",
        "contrast": f"contrast of {part.band('contrast')}, {target.contrast:g} wanted",
    }
    concerned = [text for name, text in figures.items() if name in part.criterion]
    if part.status == "not enough":
        return "nothing", tuple(f"not enough: {text}" for text in concerned)

    coarsest = reference.value("content_zones", "coarsest for animation")
    fewest = reference.value("content_zones", "fewest steps for animation")
    element = "" if size is None or angle is None else f"picture elements of {1000 * size:.1f} mm, {angle:.1f} arcmin"
    limits = [f"borderline: {text}" for text in concerned if part.status == "borderline"]
    if pattern is not None and view is not None and view.steps is not None and view.steps < fewest:
        limits.append(
            f"its own pattern ({pattern.name}, {pattern.ratio:.1f}:1) drowns detail: the picture's contrast holds "
            f"{view.steps:.1f} steps above it, {fewest:g} wanted"
        )
    if angle is not None and angle > coarsest:
        limits.append(f"too coarse: {element}, at most {coarsest:.1f} wanted")
    remarks = []
    if angle is not None and reference.value("eye", "normal acuity") < angle <= coarsest:
        remarks.append(f"single elements can be made out from near: {element}")
    if pattern is None and patch.surface.kind in {row.group for row in reference.table("masonry_patterns")}:
        remarks.append("its own pattern was not given and is not counted")
    if limits:
        return "slow light", (*limits, *remarks)
    return "animation", (f"enough: {'; '.join(figures.values())}", *remarks)


# Hand-over


HEAD = """\
# The corners of a house front on the raster of one projector.
# The comment ends with the first line that does not begin with this sign; then comes a header, then a row per corner.
# picture: {columns} columns, {rows} rows; lens at x {x:.3f}, y {y:.3f}, z {z:.3f} m
# patch: part of the front; surface: what it is made of; zone: what it is good for ({zones})
# ring: 0 outline, 1 and up its holes; corner: from 1, in order round the ring
# x_m, y_m, z_m: metres; x to the right as the audience sees the front, y up from the ground, z towards the audience
# column, row: pixels from the top left corner of the picture, whose first pixel has its centre at 0.5, 0.5; beyond the
#   picture they go on; empty where the corner lies behind the lens
# in_picture: 1 where the picture reaches the corner; hidden: 1 where another part of the front hides it from the lens
"""
COLUMNS = (
    "patch", "surface", "zone", "ring", "corner", "x_m", "y_m", "z_m", "column", "row", "in_picture", "hidden",
)  # fmt: skip


def save_masks(
    folder: str | Path,
    scene: Scene,
    zones: Zones | Mapping[str, str],
    *,
    patches: bool = False,
    overwrite: bool = False,
) -> tuple[Path, ...]:
    """Write what the one who makes the content needs, and return the files.

    For each projector: ``animation.png``, ``slow_light.png``, ``nothing.png`` and ``beside.png`` (pixels that miss the
    front), at the projector's resolution, 8-bit grey, 255 where the pixel's centre is of the zone and 0 elsewhere, so
    that every pixel is 255 in one of the four; and ``front.csv`` with the corners. More than one projector: each gets a
    folder of its own, ``projector_1`` and so on.

    Parameters
    ----------
    folder : str or Path
        Made where it is not there.
    scene : Scene
    zones : Zones or mapping of str to str
        Of every patch by name, as `Zones.by_patch` returns and as changed by hand.
    patches : bool
        One more picture for each patch that the lens sees at a pixel's centre, ``patch_007_bay_window.png``: number in
        the order of the front, from 1, and name as far as file names allow.
    overwrite : bool
        Whether files of these names may be replaced. Others in the folder are left alone.

    Raises
    ------
    InputError
        For a folder that cannot be made or written, files that are there, a zone or patch that is unknown or missing,
        and whatever `picture_map` refuses. Nothing is written before all files are found to be free.
    """
    if not isinstance(scene, Scene):
        raise InputError("scene", scene, "a kit.Scene")
    for field, value in (("patches", patches), ("overwrite", overwrite)):
        if not isinstance(value, bool):
            raise InputError(field, value, "true or false")
    chosen = _checked_zones(zones, scene.facade)
    try:
        base = Path(folder)
    except TypeError:
        raise InputError("folder", folder, "the path of a folder") from None

    writers: dict[Path, Callable[[], bytes]] = {}
    for k in range(len(scene.projectors)):
        own = base if len(scene.projectors) == 1 else base / f"projector_{k + 1}"
        writers |= {own / name: make for name, make in _files(picture_map(scene, k), chosen, patches).items()}
    try:
        taken = [path for path in writers if path.exists() or path.is_symlink()]
        if taken and not overwrite:
            right = "a folder without these files, or overwrite=True"
            raise InputError("folder", str(folder), f"{right} ({', '.join(path.name for path in taken[:3])} is there)")
        for path, make in writers.items():
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(make())
    except (OSError, ValueError) as error:  # ValueError: a zero in the path
        if isinstance(error, InputError):
            raise
        why = getattr(error, "strerror", None) or str(error)
        raise InputError("folder", str(folder), f"a folder that can be written ({why})") from None
    return tuple(writers)


def _files(picture: PictureMap, chosen: Mapping[str, Zone], patches: bool) -> dict[str, Callable[[], bytes]]:
    """Return the files of one projector: by name, what makes the content."""
    # The last entry serves the index -1.
    zone_of = np.array([ZONES.index(chosen[p.name]) for p in picture.facade.patches] + [len(ZONES)], dtype=np.int8)
    zone = zone_of[picture.patch]

    def mask(values: NDArray[Any], wanted: int) -> Callable[[], bytes]:
        return lambda: _png(values == wanted)

    files = {f"{name.replace(' ', '_')}.png": mask(zone, k) for k, name in enumerate((*ZONES, BESIDE))}
    if patches:
        for i in np.unique(picture.patch[picture.patch >= 0]).tolist():
            files[f"patch_{i + 1:03d}{_safe(picture.facade.patches[i].name)}.png"] = mask(picture.patch, i)
    return files | {"front.csv": lambda: _front(picture, chosen)}


def _png(mask: NDArray[np.bool_]) -> bytes:
    from PIL import Image

    buffer = io.BytesIO()
    Image.fromarray(np.where(mask, np.uint8(255), np.uint8(0))).save(buffer, format="PNG")
    return buffer.getvalue()


def _front(picture: PictureMap, chosen: Mapping[str, Zone]) -> bytes:
    columns, rows = picture.projector.resolution
    x, y, z = picture.placement.position
    text = io.StringIO()
    text.write(HEAD.format(columns=columns, rows=rows, x=x, y=y, z=z, zones=", ".join(ZONES)))
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for c in picture.corners:
        place = ["" if math.isnan(value) else f"{value:.4f}" for value in (c.column, c.row)]
        metres = [f"{value:.6f}" for value in c.position]
        flags = [int(c.in_picture), int(c.hidden)]
        writer.writerow([c.patch, c.surface, chosen[c.patch], c.ring, c.corner, *metres, *place, *flags])
    return text.getvalue().encode("utf-8")


def _safe(name: str) -> str:
    """Return a patch's name as the end of a file's name: small letters, digits and low lines; may be empty.

    The number in front keeps two names apart, whatever is left of them here.
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    words = re.sub(r"[^a-z0-9]+", "_", plain).strip("_")[:LONGEST].strip("_")
    return f"_{words}" if words else ""


def _checked_zones(zones: Zones | Mapping[str, str], facade: Facade) -> dict[str, Zone]:
    if not isinstance(zones, Zones | Mapping):
        raise InputError("zones", zones, "what content_zones returns, or a mapping from patch name to zone")
    given = zones.by_patch() if isinstance(zones, Zones) else zones
    names = [p.name for p in facade.patches]
    for name, zone in given.items():
        if name not in names:
            raise InputError("zones", name, f"a patch of this front: one of {', '.join(names)}")
        _checked_zone(f"zones: {name!r}", zone)
    for name in names:
        if name not in given:
            raise InputError("zones", list(given), f"a zone for each patch; {name!r} has none")
    return {name: _checked_zone(name, given[name]) for name in names}


def _checked_zone(field: str, zone: Any) -> Zone:
    for known in ZONES:
        if isinstance(zone, str) and zone == known:
            return known
    raise InputError(field, zone, f"one of {', '.join(ZONES)}")
