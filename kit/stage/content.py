r"""Content: what may be shown where, and the raster that it is made for.

Each patch of a front is good for one of three kinds of content: ``animation`` (figures that move, fine detail),
``slow light`` (washes of colour and slow fades, which need neither fine detail nor a sure contrast) or ``nothing``
(content there is lost). `content_parts` states the rule. How many tones must be left over a wall's own pattern, and how
coarse a picture element may be, are in ``reference_data/content_parts.csv`` and are weak: practice, not a standard.

A picture is addressed by column and row: its top left corner is (0, 0) and the centre of the top left pixel (0.5, 0.5).
The ray :math:`v` through a place of the picture is linear in column and row, and meets the plane
:math:`n \cdot X = o` at depth :math:`d = (o - n \cdot L) / (n \cdot v)` from the lens :math:`L`. So :math:`1/d` is
linear too: which of two patches the lens sees first is decided at each pixel's centre by two affine functions, and a
patch's outline is a polygon on the raster. Both are exact to rounding; nothing is sampled.
"""

import math
import os
import re
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any, Literal, get_args

import numpy as np
import xarray as xr

from kit import reference
from kit.arrays import Array, NDArray, Point
from kit.blocks import in_bands
from kit.decision.verdict import Part, Target, judge
from kit.errors import InputError
from kit.eye.light_map import Scene
from kit.eye.pattern_vision import PatternView, seen
from kit.fields import POINT, Frozen, Is, OneOf
from kit.files import write_files
from kit.light.cast import Cast, Machines, cast_light
from kit.results import Frame, Result, check_made, make_frame, pick
from kit.source.beam import Beam
from kit.wall.facade import Facade, Patch
from kit.wall.occlusion import hidden_corners
from kit.wall.points import check_in_front
from kit.wall.raster import MAX_PIXELS, SAME_PLANE, Grid, Window, clip, common
from kit.wall.texture import Pattern
from kit.words import Phrases, capital, percent, shares

Kind = Literal["animation", "slow light", "nothing"]
# Of the projector whose picture elements are coarsest on a patch, median angle [arcmin] and size [m]; and the size of
# the largest element of all [m].
Element = tuple[float, float, float]
KINDS: tuple[Kind, ...] = get_args(Kind)
KIND = OneOf(label="content", options=KINDS, meaning="what a part of the front is good for")
# The mask of the pixels that miss the front. Together with the kinds it covers every pixel once.
BESIDE = "beside"
say = Phrases(__file__)

# What lies nearer to the lens than this is in the lens [m].
NEAREST = 1e-3
# Columns of a picture whose pixels are only counted.
COARSE = 240
# Longest part of a file's name that comes from a patch's name, in letters.
LONGEST = 40


class PictureMap(Frozen, eq=False):
    """The raster of one projector, and the front on it."""

    facade: Facade
    beam: Beam
    patch: NDArray[np.int16]  # (row, column): index of the patch that the lens sees first, at the pixel's centre; or -1
    corners: Frame  # a row for each corner of every patch, columns as in `HEAD`; what lies upon a corner hides it too


def picture_map(scene: Scene, projector_index: int = 0) -> PictureMap:
    """Return which part of the front each pixel of a projector lands on, and where the corners lie on its raster.

    Parameters
    ----------
    projector_index : int
        Counted from 0.

    Raises
    ------
    InputError
        For a projector that is not there, a zoom that is not set, a lens behind or inside the front, a picture that
        misses it, or too many pixels.
    """
    count = len(scene.projectors)
    if projector_index not in range(count):
        raise InputError("projector_index", projector_index, f"a whole number from 0 to {count - 1}")
    projector, placement = scene.projectors[projector_index]
    if math.prod(projector.resolution) > MAX_PIXELS:
        raise InputError("resolution", projector.resolution, f"at most {MAX_PIXELS} pixels")
    where = f"projector {projector_index + 1}: position"
    check_in_front(scene.facade, placement.position, where, "a lens")
    beam = Beam.of(projector, placement)
    front, things = len(scene.facade.patches), [face for thing in scene.obstacles for face in thing.faces]
    patch = _first_seen(patches := (*scene.facade.patches, *things), front, beam)
    if patch.max() < 0:
        given = (placement.position, placement.aim, projector.lens_shift)
        raise InputError(f"{where}, aim, lens_shift", given, "a picture that meets the front; this one misses it")
    return PictureMap(facade=scene.facade, beam=beam, patch=patch, corners=_corners(patches, front, beam))


def missing(facade: Facade, machines: Machines) -> float:
    """Return the share of all light that would land on no part of the front, by `COARSE` columns of each picture."""
    missed, lumens = [], [machine.delivered()[1] for machine, _ in machines]
    for machine, place in machines:
        size = COARSE, max(1, round(COARSE / machine.aspect))
        beam = Beam.of(replace(machine, resolution=size), place)
        across, down = ((np.arange(many) + 0.5) / many - 0.5 for many in size)
        beside = _first_seen(facade.patches, len(facade.patches), beam) < 0
        missed.append(float(np.mean(beside * beam.gain(across, -down[:, None]))))
    return float(np.average(missed, weights=lumens))


def _first_seen(patches: Sequence[Patch], front: int, beam: Beam) -> NDArray[np.int16]:
    """Return the index of the patch that the lens sees first, -1 for none or what is beyond `front`, (row, column)."""
    columns, rows = beam.resolution
    grid = Grid(x=np.arange(0.5, columns, dtype=np.float64), y=np.arange(0.5, rows, dtype=np.float64), spacing=1.0)
    lens, forward = beam.position, beam.forward
    # The ray to the raster's corner, and its steps.
    rays = beam.pixel_rays(0.0, 0.0), beam.right * (beam.size[0] / columns), -beam.up * (beam.size[1] / rows)
    drawn: list[tuple[int, list[Array], Window, tuple[float, ...], float]] = []
    for i, patch in enumerate(patches):
        above = float(patch.normal @ lens) - patch.offset
        if abs(above) <= SAME_PLANE:
            continue  # edge-on to the lens
        ahead = [clip(ring, forward, float(forward @ lens) + NEAREST) for ring in patch.rings]
        landed = [beam.on(ring) for ring in ahead if len(ring) >= 3]
        if landed:
            rings = [np.stack([landing.column, landing.row], axis=1) for landing in landed]
            # One over the depth: at the raster's corner, for each column, for each row.
            nearness = tuple(float(patch.normal @ ray) / -above for ray in rays)
            # What lies in one plane with an earlier patch lies upon it.
            drawn.append((i, rings, grid.window(rings), nearness, 1.0 - SAME_PLANE / abs(above)))

    index = np.full((rows, columns), -1, dtype=np.int16)

    def work(top: int, end: int) -> None:
        nearest = np.zeros((end - top, columns))
        for i, rings, window, (base, by_column, by_row), margin in drawn:
            area = common((slice(top, end), slice(0, columns)), window)
            if area is not None:
                down, across = area
                before = nearest[down.start - top : down.stop - top, across]
                mine = (base + by_row * grid.y[down])[:, None] + by_column * grid.x[across]
                mask = grid.inside(rings, area) & (mine > before * margin)
                np.copyto(before, mine, where=mask)
                np.copyto(index[area], np.int16(i if i < front else -1), where=mask)

    in_bands(work, rows, columns)
    return index


def _corners(patches: Sequence[Patch], front: int, beam: Beam) -> Frame:
    import pandas as pd

    rows = [
        (i, patch.name, patch.surface.name, ring, corner, *point)
        for i, patch in enumerate(patches[:front])
        for ring, points in enumerate(patch.rings)
        for corner, point in enumerate(points, 1)
    ]
    found = pd.DataFrame(rows, columns=["index", "patch", "surface", "ring", "corner", *AXES])
    points, patch = found[list(AXES)].to_numpy(), found.pop("index").to_numpy()
    landing = beam.on(points)
    hidden = hidden_corners(patches, points, patch, beam.position)
    return found.assign(column=landing.column, row=landing.row, in_picture=landing.inside(), hidden=hidden)


class ContentPart(Frozen):
    """What one patch is good for, and why: what decided comes first."""

    name: str
    surface: str
    kind: Kind
    reasons: tuple[str, ...]
    share_of_front: float
    part: Part | None  # the verdict; None where the audience sees none of it
    element_size: float | None  # these three [m], [arcmin], [m] as in `Element`; None where no light lands
    element_angle: float | None
    coarsest_element: float | None
    view: PatternView | None  # how its own pattern is seen


class ContentParts(Result):
    """What each part of a front is good for."""

    target: Target
    viewer: Point
    patches: tuple[ContentPart, ...]

    def patch(self, name: str) -> ContentPart:
        """Return what one patch is good for, or raise `InputError` with the names there are."""
        return pick("patch name", name, {patch.name: patch for patch in self.patches})

    def by_patch(self) -> dict[str, Kind]:
        """Return the kind of each patch by name; what `save_masks` takes, and may be changed by hand before."""
        return {p.name: p.kind for p in self.patches}

    def share(self, kind: Kind) -> float:
        """Return the share of the visible front that is of one kind; an unknown one: `InputError`."""
        KIND.check("kind", kind)
        return sum(p.share_of_front for p in self.patches if p.kind == kind)

    def frame(self, units: str = "m") -> Frame:
        """Return a row for each patch that the audience sees, with the first reason; lengths in ``"m"`` or ``"ft"``."""
        rows = [
            {
                "part": p.name, "share of front": p.share_of_front, "good for": p.kind,
                "pixel [mm]": 1e3 * (p.element_size or np.nan),
                "largest pixel [mm]": 1e3 * (p.coarsest_element or np.nan),
                "pixel as seen [1/60 °]": p.element_angle or np.nan,
                "shades over the pattern": np.nan if p.view is None or p.view.steps is None else p.view.steps,
                "why": p.reasons[0],
            }
            for p in self.patches
            if p.part is not None
        ]  # fmt: skip
        return make_frame(rows, {"share of front": percent}, "part", units)

    def sentence(self, units: str = "m") -> str:
        """Return the kinds in words; the same in any `units`."""
        carry, wash, rest = shares([self.share(kind) for kind in KINDS])
        return capital(say("parts", carry=carry, wash=wash, rest=rest))


def content_parts(
    light: xr.Dataset, target: Target | None = None, *, scene: Scene, viewer: Point | None = None,
    patterns: Mapping[str, Pattern] | None = None,
) -> ContentParts:  # fmt: skip
    """Return what each patch of a front is good for, whether or not it counts for a verdict.

    The rule, patch by patch, first that holds:

    1. ``nothing``: the audience sees none of the patch; the patch faces away from the viewer; the picture reaches less
       of it than the target's share; it sends no light back; or `judge` finds it not enough.
    2. ``slow light``: `judge` finds it borderline; or the wall's own
       pattern drowns detail, because the picture's contrast holds fewer steps of the pattern's ratio than
       ``fewest steps for animation``; or a picture element subtends more than ``coarsest for animation``.
    3. ``animation``: the rest.

    Parameters
    ----------
    light : xarray.Dataset
        From `light_map` of `scene`.
    target : Target, optional
        The default target if not given.
    viewer : (float, float, float), optional
        Eye of the one in the audience who stands nearest [m]. Not given: the scene's ``ambient.eye``.
    patterns : mapping of str to Pattern, optional
        The wall's own patterns, by name of patch or surface; a patch's own comes first. What is not named has the one
        of its kind (`Pattern.of`).

    Raises
    ------
    InputError
        For a map of another front, no viewer or one behind the front, or a pattern of an unknown part.

    Notes
    -----
    The size of a picture element is the longest extent of its image on the patch, tilt included (`Landing.element`),
    and its angle that of this image seen by the viewer: medians over the points that a projector lights, of the
    coarsest projector. The pattern is taken as seen from straight in front, at the viewer's distance from the middle of
    the lit part. Whether one part of the front hides another from the viewer is not looked at; the map is an elevation.
    """
    check_made("light", light, "patch patch_name", "kit.light_map")
    facade, target = scene.facade, target or Target()
    names = [p.name for p in facade.patches]
    if light["patch_name"].values.tolist() != names:
        raise InputError("light", light["patch_name"].values.tolist(), f"a map of the scene's front: {names}")
    eye: Point = POINT.check("viewer", scene.ambient.eye if viewer is None else viewer)
    check_in_front(facade, eye, "viewer", "a viewer")
    patterns = {} if patterns is None else patterns
    known = OneOf(options=sorted({name for p in facade.patches for name in (p.name, p.surface.name)}))
    for name, pattern in patterns.items():
        Is(kind=Pattern).check(f"patterns: {known.check('patterns', name)!r}", pattern)

    everything = light.assign_coords(judged=("patch_index", np.ones(len(names), dtype=bool)))
    parts = {part.name: part for part in judge(everything, target).patches}
    cast = _cast_of(light, scene)
    elements = _elements(cast, eye)
    masonry = {row.group for row in reference.table("masonry_patterns")}
    found = []
    for i, patch in enumerate(facade.patches):
        part, element, view = parts.get(patch.name), None, None
        given = patterns.get(patch.name, patterns.get(patch.surface.name))
        own = given or Pattern.of(patch.surface)
        faces = float(patch.normal @ np.array(eye)) > patch.offset
        if part is not None and part.contrast is not None and faces:
            element = elements[i]
            if own is not None:
                view = _view(own, light, cast, i, scene.average_picture_level, eye, part.contrast.median)
        kind, reasons = _decide(patch, part, target, faces, element, view)
        if kind != "nothing" and given is None and (own or patch.surface.kind in masonry):
            reasons.append(say("taken" if own else "unknown", own=own))
        angle, size, largest = element or (None, None, None)
        content = ContentPart(
            name=patch.name, surface=patch.surface.name, kind=kind, reasons=tuple(reasons),
            share_of_front=0.0 if part is None else part.share_of_front, part=part, element_size=size,
            element_angle=angle, coarsest_element=largest, view=view,
        )  # fmt: skip
        found.append(content)
    return ContentParts(target=target, viewer=eye, patches=tuple(found))


def _cast_of(light: xr.Dataset, scene: Scene) -> Cast:
    """Return the light of each projector on the points of a map; it is remembered from when the map was made."""
    step, bounds = float(light.attrs["spacing"]), scene.facade.bounds
    grid, axes = Grid.over(bounds, step), (light["x"].values, light["y"].values)
    if not all(map(np.array_equal, (grid.x, grid.y), axes)):
        left, right, bottom, top = (float(end) for axis in axes for end in (axis[0] - step / 2, axis[-1] + step / 2))
        bounds = left, right, bottom, top
    return cast_light(scene.facade, scene.projectors, bounds, step, scene.obstacles)


def _elements(cast: Cast, eye: Point) -> dict[int, Element]:
    """Return the picture elements on each patch that is lit, by its index."""
    found: dict[int, Element] = {}
    for points, landing in cast.landings():
        sizes, angles = landing.element()[0], 60.0 * np.degrees(landing.element(eye)[0])
        for i in np.unique(points.patch).tolist():
            mine = points.patch == i
            before = found.get(i, (0.0, 0.0, 0.0))
            angle, size = max((float(np.median(angles[mine])), float(np.median(sizes[mine]))), before[:2])
            found[i] = angle, size, max(before[2], float(sizes[mine].max()))
    return found


def _view(
    pattern: Pattern, light: xr.Dataset, cast: Cast, index: int, level: float, eye: Point, contrast: float
) -> PatternView | None:
    """Return how the pattern is seen; None on a strip that is lower than one course and shows no pattern."""
    lit = (cast.raster.patch == index) & (light["illuminance"].values > 0)
    points = cast.raster.at(lit).position
    width, height, _ = (np.ptp(points, axis=0) + light.attrs["spacing"]).tolist()
    if height < pattern.course_height:
        return None
    names = ("white_luminance", "black_luminance", "reflectance")
    white, black, reflectance = (light[name].values[lit] for name in names)
    around = reflectance * light["ambient_illuminance"].values.sum(axis=0)[lit] / np.pi
    return seen(
        pattern,
        distance=float(np.linalg.norm(points.mean(axis=0) - eye)),
        luminance=float(np.median(level * white + (1.0 - level) * black + around)),
        picture_size=(width, height),
        # A black without any light leaves room for every step.
        picture_contrast=min(max(contrast, 1.0), 1e12),
    )


def _decide(
    patch: Patch, part: Part | None, target: Target, faces: bool, element: Element | None, view: PatternView | None
) -> tuple[Kind, list[str]]:
    """Return the kind of one patch and why; the rule of `content_parts`."""
    if part is None:
        return "nothing", [say("hidden" if patch.faces_audience else "edge-on")]
    lost = {
        "away": not faces, "no picture": part.white_luminance is None or element is None,
        "partly": part.criterion == "coverage", "dark": part.white_luminance and part.white_luminance.high == 0.0,
    }  # fmt: skip
    for why, so in lost.items():
        if so:
            return "nothing", [say(why, part=part)]
    figures = {name: say(name, part=part, target=target) for name in ("white luminance", "contrast")}
    concerned = [] if part.status == "enough" else [text for name, text in figures.items() if name in part.criterion]
    if part.status == "not enough":
        return "nothing", [f"not enough: {text}" for text in concerned]

    limits, remarks = [f"borderline: {text}" for text in concerned], list[str]()
    fewest, coarsest = (reference.value("content_parts", f"{of} for animation") for of in ("fewest steps", "coarsest"))
    if view is not None and view.steps is not None and view.steps < fewest:
        limits.append(say("drowned", view=view, fewest=fewest))
    angle = element[0]  # type: ignore[index]
    if angle > coarsest:
        limits.append(say("coarse", angle=angle, coarsest=coarsest))
    elif angle > reference.value("eye", "normal acuity"):
        remarks.append(say("dots", angle=angle))
    if limits:
        return "slow light", limits + remarks
    return "animation", [f"enough: {'; '.join(figures.values())}", *remarks]


HEAD = Path(__file__).with_name("front_csv.txt")
AXES, PIXEL, FLAGS = ("x_m", "y_m", "z_m"), ("column", "row"), ("in_picture", "hidden")
COLUMNS = ("patch", "surface", "content", "ring", "corner", *AXES, *PIXEL, *FLAGS)


def save_masks(
    folder: str | Path, scene: Scene, parts: ContentParts | Mapping[str, str], *, patches: bool = False,
    overwrite: bool = False,
) -> tuple[Path, ...]:  # fmt: skip
    """Write what the one who makes the content needs, and return the files.

    For each projector: ``animation.png``, ``slow_light.png``, ``nothing.png`` and ``beside.png`` (pixels that miss the
    front, or land on an obstacle), at the projector's resolution, 8-bit grey, 255 where the pixel's centre is of the
    kind and 0 elsewhere, so that every pixel is 255 in one of the four; and ``front.csv`` with the corners. More than
    one projector: each gets a folder of its own, ``projector_1`` and so on.

    Parameters
    ----------
    folder : str or Path
        Made where it is not there.
    parts : ContentParts or mapping of str to str
        The kind of every patch by name, as `ContentParts.by_patch` returns and as changed by hand.
    patches : bool
        One more picture for each patch that the lens sees at a pixel's centre, ``patch_007_bay_window.png``: number in
        the order of the front, from 1, and name as far as file names allow.
    overwrite : bool
        Whether files of these names may be replaced. Others in the folder are left alone.

    Raises
    ------
    InputError
        For a folder that cannot be made or written, files that are there, a kind or patch that is unknown or missing,
        and whatever `picture_map` refuses. All files are written, or none: see `kit.files.write_files`.
    """
    chosen = _checked_kinds(parts, scene.facade)
    where = f"folder {str(folder)!r}"
    base, many = Path(folder), len(scene.projectors) > 1
    made = {
        f"projector_{k + 1}/{name}" if many else name: make
        for k in range(len(scene.projectors))
        for name, make in mask_files(picture_map(scene, k), chosen, patches).items()
    }
    taken = [] if overwrite else [name for name in made if os.path.lexists(base / name)]
    if taken:
        raise InputError(where, f"{taken[0]} is there", "a folder without these files, or overwrite=True")
    write_files(where, base, made)
    return tuple(base / name for name in made)


def mask_files(picture: PictureMap, chosen: Mapping[str, Kind], patches: bool) -> dict[str, Callable[[], bytes]]:
    """Return the files of one projector: by name, what makes the content."""
    # The last entry serves the index -1.
    kind_of = np.array([KINDS.index(chosen[p.name]) for p in picture.facade.patches] + [len(KINDS)], dtype=np.int8)
    kind = kind_of[picture.patch]
    files = {f"{name.replace(' ', '_')}.png": partial(_png, kind, k) for k, name in enumerate((*KINDS, BESIDE))}
    if patches:
        for i in np.unique(picture.patch[picture.patch >= 0]).tolist():
            files[f"patch_{i + 1:03d}{_safe(picture.facade.patches[i].name)}.png"] = partial(_png, picture.patch, i)
    return {**files, "front.csv": partial(_front, picture, chosen)}


def _png(values: NDArray[Any], wanted: int) -> bytes:
    """Return a picture that is white where an array has the value that is wanted."""
    import cv2

    return cv2.imencode(".png", np.where(values == wanted, np.uint8(255), np.uint8(0)))[1].tobytes()


def _front(picture: PictureMap, chosen: Mapping[str, Kind]) -> bytes:
    columns, rows = picture.beam.resolution
    x, y, z = picture.beam.position
    table = picture.corners.assign(content=picture.corners["patch"].map(chosen))
    for name in ("patch", "surface"):
        table[name] = table[name].replace(r"^(?=[=+\-@])", "'", regex=True)
    for names, digits in ((AXES, 6), (PIXEL, 4)):
        table[[*names]] = table[[*names]].map(f"{{:.{digits}f}}".format, na_action="ignore")
    head = HEAD.read_text(encoding="utf-8").format(columns=columns, rows=rows, x=x, y=y, z=z, kinds=", ".join(KINDS))
    text = table.astype(dict.fromkeys(FLAGS, int)).to_csv(columns=[*COLUMNS], index=False, lineterminator="\n")
    return (head + text).encode()


def _safe(name: str) -> str:
    """Return what is left of a patch's name in a file's name; the number in front keeps two names apart."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    words = re.sub(r"[^a-z0-9]+", "_", plain).strip("_")[:LONGEST].strip("_")
    return f"_{words}" if words else ""


def _checked_kinds(parts: ContentParts | Mapping[str, str], facade: Facade) -> dict[str, Kind]:
    given = parts.by_patch() if isinstance(parts, ContentParts) else parts
    if not isinstance(given, Mapping):
        raise InputError("parts", parts, "what content_parts returns, or a mapping from patch name to kind")
    patch = OneOf(options=tuple(p.name for p in facade.patches))
    kinds = {patch.check("parts", name): KIND.check(f"parts: {name!r}", kind) for name, kind in given.items()}
    for name in patch.names():
        if name not in kinds:
            raise InputError("parts", list(given), f"a kind for each patch; {name!r} has none")
    return kinds
