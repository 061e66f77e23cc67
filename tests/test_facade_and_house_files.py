import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import assume, given
from hypothesis import strategies as st

import kit
from kit import reference
from kit.wall.facade import kinds, split_at
from kit.wall.raster import SAME_PLANE, Grid, exposed, exposed_area, visible

HOUSES = Path(__file__).parents[1] / "notebooks" / "houses"
PLAIN = kit.Surface(name="plain", reflectance=0.5)
SQUARE = [(0, 0), (2, 0), (2, 2), (0, 2)]


# Patches


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("outline", "holes", "area"),
    [
        (SQUARE, [], 4.0),
        (SQUARE[::-1], [], 4.0),
        ([*SQUARE, SQUARE[0]], [], 4.0),  # closed by hand
        ([(0, 0), (4, 0), (2, 3)], [], 6.0),
        ([(0, 0), (3, 0), (3, 1), (1, 1), (1, 3), (0, 3)], [], 5.0),  # an L
        (SQUARE, [[(0.5, 0.5), (1.5, 0.5), (1.5, 1.5), (0.5, 1.5)]], 3.0),
        ([(0, 0, 0), (2, 0, 0), (2, 3, -4), (0, 3, -4)], [], 10.0),  # leans back: 5 m along the slope
        ([(0, 0, 0), (0, 0, -2), (0, 3, -2), (0, 3, 0)], [], 6.0),  # edge-on
    ],
)
def test_area_is_the_true_area_without_the_holes(outline, holes, area):
    # Rounding only.
    assert kit.Patch("p", outline, PLAIN, holes=holes).area == pytest.approx(area, rel=1e-12)


@pytest.mark.analytic
def test_plane_of_a_patch_faces_the_audience_whatever_the_order_of_its_corners():
    ring = [(0, 0, 1), (2, 0, 1), (2, 3, -3), (0, 3, -3)]
    for outline in (ring, ring[::-1]):
        patch = kit.Patch("roof", outline, PLAIN)
        # Three up, four back: normal (0, 4, 3) / 5; z = 1 - 4/3 y. Rounding only.
        np.testing.assert_allclose(patch.normal, (0, 0.8, 0.6), atol=1e-12)
        np.testing.assert_allclose(patch.depth_plane(), (1, 0, -4 / 3), atol=1e-12)
        assert patch.offset == pytest.approx(0.6, rel=1e-12)
        assert patch.faces_audience


def test_a_patch_seen_edge_on_does_not_face_the_audience():
    side = kit.Patch("side", [(1, 0, 0), (1, 0, -2), (1, 3, -2), (1, 3, 0)], PLAIN)
    assert not side.faces_audience
    with pytest.raises(kit.InputError, match="patches"):
        kit.Facade([side])


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("outline", "holes", "field"),
    [
        ([(0, 0), (1, 1), (2, 2)], (), "outline.*enclose an area"),
        ([(0, 0), (2, 2), (2, 0), (0, 2)], (), "outline.*do not cross"),
        ([(0, 0, 0), (2, 0, 0), (2, 2, 0), (0, 2, 0.5)], (), "outline, corner.*one plane.*triangles"),
        ([(0, 0), (2, 0), (2, math.nan)], (), r"outline, corner 3\[1\]"),
        (SQUARE, [[(1, 1), (3, 1), (3, 1.5), (1, 1.5)]], "holes 1.*inside"),
        (SQUARE, [[(0.5, 0.5), (1, 1), (1, 0.5), (0.5, 1)]], "holes 1.*uncrossed"),
        (SQUARE, [SQUARE], "holes = 1: expected holes that leave some"),
        (SQUARE, [SQUARE, SQUARE], "holes 2.*overlaps no other"),
        (SQUARE, [[(0.2, 0.2), (1, 0.2), (1, 1)], [(0.9, 0.2), (1.5, 0.2), (0.9, 1)]], "holes 2.*overlaps no other"),
        (SQUARE, [[(0.5, 0.5, 1), (1, 0.5, 1), (1, 1, 1)]], "holes 1, corner 1.*one plane"),
        (SQUARE, [[(0.5, 0.5), (1, 0.5)]], "holes 1.*three"),
    ],
)
def test_patches_that_cannot_be_are_refused_by_name(outline, holes, field):
    with pytest.raises(kit.InputError, match=field) as caught:
        kit.Patch("door", outline, PLAIN, holes=holes)
    assert "patch 'door'" in str(caught.value)


def test_corners_off_the_plane_by_less_than_a_tape_measure_resolves_pass():
    kit.Patch("door", [(0, 0, 0), (2, 0, 0), (2, 2, 0), (0, 2, 0.02)], PLAIN)  # 5 mm off the mean plane
    with pytest.raises(kit.InputError, match="one plane"):
        kit.Patch("door", [(0, 0, 0), (2, 0, 0), (2, 2, 0), (0, 2, 0.06)], PLAIN)


@pytest.mark.bad_input
def test_names_of_patches_differ():
    patch = kit.Patch("wall", SQUARE, PLAIN)
    with pytest.raises(kit.InputError, match=r"patches: name = 'wall': .* no other"):
        kit.Facade([patch, patch])


@pytest.mark.bad_input
def test_unknown_patch_is_named_with_those_there_are():
    front = kit.Facade([kit.Patch("wall", SQUARE, PLAIN)])
    for use in (front.patch, lambda name: front.cover(PLAIN, patches=[name])):
        with pytest.raises(kit.InputError, match=r"tower.*wall"):
            use("tower")


def test_cover_changes_the_named_patches_only():
    white = kit.Surface(name="white", reflectance=0.8)
    front = kit.Facade([kit.Patch("a", SQUARE, PLAIN), kit.Patch("b", [(3, 0), (4, 0), (4, 1)], PLAIN)])
    covered = front.cover(white, patches=["b"])
    assert [p.surface.name for p in covered.patches] == ["plain", "white"]
    assert [p.surface.name for p in front.patches] == ["plain", "plain"]
    assert [s.name for s in covered.surfaces()] == ["plain", "white"]
    assert covered.bounds == (0, 4, 0, 2)


@pytest.mark.analytic
@pytest.mark.parametrize("outline", [[(0, 0, 1), (2, 0, 1), (2, 2, 1), (0, 2, 1)], [(0, 0, 1), (2, 0, 1), (1, 2, 1)]])
def test_returns_close_a_body_all_round(outline):
    front, *sides = kit.with_returns(kit.Patch("bay", outline, PLAIN), 0.0)
    assert len(sides) == len(outline)
    assert not any(side.faces_audience for side in sides)
    length = shapely.Polygon([c[:2] for c in outline]).length
    # Depth 1 m all round; rounding only.
    assert sum(side.area for side in sides) == pytest.approx(length, rel=1e-12)
    edges = {frozenset((a, b)) for a, b in zip(outline, [*outline[1:], outline[0]], strict=True)}
    assert all(any(edge <= set(side.outline) for side in sides) for edge in edges)
    assert front.name == "bay"


def test_returns_of_a_roof_that_meets_its_back_plane_leave_no_empty_side():
    patches = kit.with_returns(kit.Patch("roof", [(0, 0, 1), (2, 0, 1), (2, 2, 0), (0, 2, 0)], PLAIN), 0.0)
    assert len(patches) == 4  # the upper edge lies in the back plane: no side there
    assert all(p.area > 0 for p in patches)


@pytest.mark.bad_input
def test_returns_do_not_go_forwards():
    with pytest.raises(kit.InputError, match="back"):
        kit.with_returns(kit.Patch("bay", SQUARE, PLAIN), 0.5)


@pytest.mark.bad_input
@pytest.mark.parametrize("given", [{"low": 0.6}, {"high": 0.4}])
def test_a_band_of_reflectance_is_in_order(given):
    with pytest.raises(kit.InputError, match=r"surface 'paint' = \(.*low <= reflectance <= high"):
        kit.Surface(name="paint", reflectance=0.5, **given)


# What a surface is


def test_kinds_are_the_groups_of_the_reference_surfaces():
    assert set(kinds()) == {row.group for row in reference.table("surfaces")}
    assert len(set(kinds())) == len(kinds())
    assert {"brick", "window", "door", "roof", "fabric", "siding"} < set(kinds())
    for row in reference.table("surfaces"):
        assert kit.Surface.from_reference(row.name).kind == row.group
        assert kit.Surface(name="mine", reflectance=0.5, kind=row.group).kind == row.group
    assert kit.Surface(name="mine", reflectance=0.5).kind == ""


@pytest.mark.analytic
def test_gain_is_stated_against_a_perfect_diffuser_whatever_the_reflectance(wall, straight):
    grey, paint = kit.Surface(name="grey screen", reflectance=0.4, gain=1.2), kit.Surface(name="paint", reflectance=0.4)
    assert (grey.luminance_factor, paint.luminance_factor) == (1.2, 0.4)
    front = wall()
    scene = kit.Scene(facade=front, projectors=[straight()])
    light = kit.light_map(replace(scene, facade=front.cover(grey, patches=["wall"])), 0.5)
    # Rounding only.
    np.testing.assert_allclose(light["white_luminance"], 1.2 * light["illuminance"] / np.pi, rtol=1e-12)


# Cutting a patch


@st.composite
def outlines(draw):
    """A simple polygon round the origin: corners at rising angles; then shifted."""
    count = draw(st.integers(3, 9))
    radii = [draw(st.floats(0.5, 5.0)) for _ in range(count)]
    x0, y0 = draw(st.floats(-5, 5)), draw(st.floats(0, 5))
    turns = [2 * math.pi * (i + draw(st.floats(0.0, 0.6))) / count for i in range(count)]
    return [(x0 + r * math.cos(a), y0 + r * math.sin(a)) for r, a in zip(radii, turns, strict=True)]


SLOPES = st.sampled_from([(0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.3, 0.5, 0.0), (0.0, 0.0, -1.5), (-1.0, 0.4, -0.7)])


def leaning(name, outline, plane, surface=PLAIN, holes=()):
    z0, zx, zy = plane
    rings = [[(x, y, z0 + zx * x + zy * y) for x, y in ring] for ring in (outline, *holes)]
    return kit.Patch(name, rings[0], surface, holes=rings[1:])


@pytest.mark.property
@given(outlines(), SLOPES, st.floats(-0.2, 1.2), st.booleans())
def test_the_pieces_of_a_cut_patch_make_up_the_patch(outline, plane, share, with_hole):
    shape = shapely.Polygon(outline)
    assume(shape.is_valid and shape.area > 0.5)
    holes = []
    if with_hole:
        middle = shape.representative_point()
        reach = 0.5 * shape.exterior.distance(middle)
        assume(reach > 0.02)
        holes = [[(middle.x + dx * reach, middle.y + dy * reach) for dx, dy in ((-1, 0), (0, -1), (1, 0), (0, 1))]]
    patch = leaning("gable", outline, plane, holes=holes)
    _, bottom, _, top = shape.bounds
    level = bottom + share * (top - bottom)
    pieces = split_at(patch, level)
    if len(pieces) == 1:
        assert pieces == (patch,)
        # Beyond the patch, or so near its tip that what is cut off is thinner than a micrometre.
        assert not bottom + 1e-4 < level < top - 1e-4
        return
    assert bottom < level < top
    names = [p.name for p in pieces]
    assert len(set(names)) == len(names)
    assert all(name.partition(" ")[0].rstrip(",") == "gable" for name in names)
    lower = [p for p in pieces if ", lower" in p.name]
    upper = [p for p in pieces if ", lower" not in p.name]
    assert names == [p.name for p in lower + upper]
    assert (names[0], upper[0].name) == ("gable, lower", "gable")
    # Slivers thinner than a micrometre are dropped: at most that times the length of all edges.
    lost = 1e-5 + 1e-9
    assert sum(p.area for p in pieces) == pytest.approx(patch.area, abs=lost)
    below = shape.intersection(shapely.box(-99, -99, 99, level)).difference(shapely.Polygon(holes[0] if holes else []))
    # The true area is larger than that in elevation by the slope.
    steep = math.sqrt(1 + plane[1] ** 2 + plane[2] ** 2)
    assert sum(p.area for p in lower) == pytest.approx(below.area * steep, abs=lost)
    # Rounding only, here and below.
    assert max(c[1] for p in lower for c in p.outline) <= level + 1e-9
    assert min(c[1] for p in upper for c in p.outline) >= level - 1e-9
    for piece in pieces:
        np.testing.assert_allclose(np.array(piece.outline) @ patch.normal, patch.offset, atol=1e-9)
        assert (piece.surface, piece.judged) == (patch.surface, patch.judged)


@pytest.mark.analytic
def test_cutting_a_gable_a_wall_with_a_window_hole_and_a_wall_with_a_door():
    gable = kit.Patch("gable", [(0, 0), (4, 0), (2, 4)], PLAIN)
    # Halfway up it is half as wide: 3/4 of the area lies below. Rounding only.
    assert [p.area for p in split_at(gable, 2.0)] == pytest.approx([6.0, 2.0], rel=1e-12)
    wall = kit.Patch("wall", [(0, 0), (4, 0), (4, 4), (0, 4)], PLAIN, holes=[[(1, 1), (3, 1), (3, 3), (1, 3)]])
    pieces = split_at(wall, 2.0)
    assert [(p.name, p.area) for p in pieces] == [("wall, lower", pytest.approx(6.0)), ("wall", pytest.approx(6.0))]
    pieces = split_at(wall, 3.5)  # above the hole, which stays one
    assert [(len(p.holes), p.area) for p in pieces] == [(1, pytest.approx(10.0)), (0, pytest.approx(2.0))]
    door = kit.Patch("wall", [(0, 0), (4, 0), (4, 4), (0, 4)], PLAIN, holes=[[(1, 0), (2, 0), (2, 2), (1, 2)]])
    found = {p.name: p.area for p in split_at(door, 1.0)}
    assert found == pytest.approx({"wall, lower": 1.0, "wall, lower 2": 2.0, "wall": 11.0})
    # Two holes side by side.
    pair = [[(1, 1), (2, 1), (2, 3), (1, 3)], [(2, 1), (3, 1), (3, 3), (2, 3)]]
    found = split_at(kit.Patch("wall", [(0, 0), (4, 0), (4, 4), (0, 4)], PLAIN, holes=pair), 2.0)
    assert [p.area for p in found] == pytest.approx([6.0, 6.0], rel=1e-12)


@pytest.mark.parametrize("level", [-1.0, 0.0, 1e-9, 2.0, 2.0 - 1e-9, 5.0])
def test_a_level_at_the_edge_or_beyond_leaves_the_patch_as_it_is(level):
    patch = kit.Patch("wall", SQUARE, PLAIN)
    (same,) = split_at(patch, level)
    assert same is patch


def test_a_tip_too_thin_to_be_wall_is_not_cut_off():
    gable = kit.Patch("gable", [(0, 0), (4, 0), (2, 4)], PLAIN)
    (same,) = split_at(gable, 4 - 2e-6)
    assert same is gable


# What is not hidden


@st.composite
def fronts(draw):
    """Polygons on a few planes, some the same, some crossing."""
    count = draw(st.integers(2, 5))
    patches = []
    for i in range(count):
        outline = draw(outlines())
        shape = shapely.Polygon(outline)
        assume(shape.is_valid and shape.area > 0.5)
        holes = []
        if draw(st.booleans()):
            middle = shape.representative_point()
            reach = 0.7 * shape.exterior.distance(middle)
            if reach > 0.05:
                ends = ((-1, 0), (0, -1), (1, 0), (0, 1))
                holes = [[(middle.x + dx * reach, middle.y + dy * reach) for dx, dy in ends]]
        patches.append(leaning(f"patch {i}", outline, draw(SLOPES), holes=holes))
    return kit.Facade(patches)


@pytest.mark.property
@given(fronts())
def test_what_is_exposed_is_what_the_raster_shows(front):
    shapes = exposed(front)
    grid = Grid.over(front.bounds, 0.1917)
    index = visible(front, grid)
    x, y = np.meshgrid(grid.x, grid.y)
    near = np.zeros(x.shape, dtype=bool)
    for patch in front.patches:
        # On an edge, or where two planes meet within what counts as one, rounding decides.
        near |= shapely.dwithin(shapely.points(x, y), patch.elevation.boundary, 1e-7)
        for other in front.patches:
            z0, zx, zy = np.subtract(patch.depth_plane(), other.depth_plane())
            near |= np.abs(np.abs(z0 + zx * x + zy * y) - SAME_PLANE) < 1e-8
    assert near.mean() < 0.02
    for i, patch in enumerate(front.patches):
        inside = shapely.contains_xy(shapes[patch.name], x, y)
        np.testing.assert_array_equal(inside[~near], (index == i)[~near], err_msg=patch.name)
    # Nothing is seen twice. Rounding only.
    union = shapely.union_all([p.elevation for p in front.patches]).area
    total = sum(shape.area for shape in shapes.values())
    assert total <= union * (1 + 1e-9)
    # Nothing is lost but the micrometre in which two planes pass for one.
    assert total == pytest.approx(union, rel=1e-4)


@pytest.mark.analytic
def test_exposed_area_by_hand():
    wall = kit.Patch("wall", [(0, 0), (6, 0), (6, 4), (0, 4)], PLAIN)
    window = kit.Patch("window", [(1, 1), (3, 1), (3, 2), (1, 2)], PLAIN)
    bay = leaning("bay", [(2, 0), (5, 0), (5, 3), (2, 3)], (1.0, 0.0, 0.0))
    front = kit.Facade([wall, window, bay])
    # Wall 24 less bay 9 less the window's half beside the bay, 1. Rounding only.
    assert exposed_area(front, "wall") == pytest.approx(14.0, rel=1e-12)
    assert exposed_area(front, "window") == pytest.approx(1.0, rel=1e-12)
    assert exposed_area(front, "bay") == pytest.approx(9.0, rel=1e-12)
    # In one plane the later one lies on top.
    assert exposed_area(kit.Facade([window, wall]), "window") == 0.0
    # A screen that leans through the wall's plane at x = 3 hides the half of it that it stands before.
    screen = leaning("screen", [(0, 0), (6, 0), (6, 4), (0, 4)], (-1.5, 0.5, 0.0))
    front = kit.Facade([wall, screen])
    # Depths within a micrometre count as one: 2e-6 m along x, times 4 m.
    assert exposed_area(front, "wall") == pytest.approx(12.0, abs=1e-5)
    assert exposed_area(front, "screen") == pytest.approx(12.0 * math.sqrt(1.25), abs=1e-5)
    closed = kit.Facade(kit.with_returns(bay, 0.0))
    assert exposed_area(closed, "bay, return 1") == 0.0
    assert set(exposed(closed)) == {"bay"}
    with pytest.raises(kit.InputError, match="patch name"):
        exposed_area(front, "tower")


@pytest.mark.analytic
def test_elevation_has_its_holes_cut_out_wherever_they_lie():
    at_the_edge = [[(1, 0), (2, 0), (2, 2), (1, 2)]]
    pair = [[(1, 1), (2, 1), (2, 3), (1, 3)], [(2, 1), (3, 1), (3, 3), (2, 3)]]
    for holes, area in ((at_the_edge, 14.0), (pair, 12.0), ([], 16.0)):
        patch = leaning("wall", [(0, 0), (4, 0), (4, 4), (0, 4)], (0.0, 0.0, -1.0), holes=holes)
        assert patch.elevation.is_valid
        # Rounding only; a slope of one.
        assert patch.elevation.area == pytest.approx(area, rel=1e-12)
        assert patch.area == pytest.approx(area * math.sqrt(2), rel=1e-12)
        assert exposed_area(kit.Facade([patch]), "wall") == pytest.approx(patch.area, rel=1e-12)


# House files

GOOD = """
name = "Our house"
units = "ft"

[surfaces."our brick"]
reflectance = 0.16
low = 0.12
high = 0.20

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
depth = 2
surface = "our brick"
holes = [[[5, 2], [6, 2], [6, 3]]]
"""


@pytest.mark.analytic
def test_feet_become_metres_exactly():
    front = kit.parse_house(GOOD)
    # The international foot is 0.3048 m by definition; the products are formed alike, so no tolerance.
    assert front.patch("main wall").outline[0] == (-20 * 0.3048, 0.0, 0.0)
    assert front.patch("bay").outline[2] == (12 * 0.3048, 9 * 0.3048, 2 * 0.3048)
    assert front.patch("bay").holes[0][2] == (6 * 0.3048, 3 * 0.3048, 2 * 0.3048)
    metres = kit.parse_house(GOOD.replace('units = "ft"', 'units = "m"'))
    for here, there in zip(front.patches, metres.patches, strict=True):
        assert here.outline == tuple(tuple(c * 0.3048 for c in corner) for corner in there.outline)
        # Rounding only.
        assert here.area == pytest.approx(there.area * 0.3048**2, rel=1e-12)


def test_a_house_file_gives_names_surfaces_and_returns():
    front = kit.parse_house(GOOD)
    assert front.name == "Our house"
    assert [p.name for p in front.patches if p.faces_audience] == ["main wall", "gable", "bay"]
    assert [p.name for p in front.patches if not p.faces_audience] == [f"bay, return {i}" for i in (1, 2, 3, 4)]
    brick = front.patch("bay").surface
    assert (brick.low, brick.reflectance, brick.high) == (0.12, 0.16, 0.2)
    assert front.patch("gable").surface == kit.Surface.from_reference("white siding")
    sheet = kit.parse_house(GOOD.replace("depth = 2", "depth = 2\nthickness = 0"))
    assert len(sheet.patches) == 3
    board = kit.parse_house(GOOD.replace("depth = 2", "depth = 2\nthickness = 0.5"))
    back = min(c[2] for p in board.patches if "return" in p.name for c in p.outline)
    assert back == pytest.approx(1.5 * 0.3048, rel=1e-12)  # rounding only


@pytest.mark.parametrize(("house", "unit"), [("brick_two_storey", 0.3048), ("light_bungalow", 1.0)])
def test_shipped_houses_load(house, unit):
    path = HOUSES / f"{house}.toml"
    front = kit.load_house(path)
    left, right, bottom, top = front.bounds
    assert bottom == 0.0
    assert 5 < right - left < 20
    assert 3 < top < 12
    main = front.patch("main wall")
    text = path.read_text(encoding="utf-8").split('name = "main wall"')[1]
    width = float(text.split("width = ")[1].split(",")[0])
    height = float(text.split("height = ")[1].split("}")[0])
    # Rounding only.
    assert main.area == pytest.approx(width * height * unit**2, rel=1e-12)


def test_a_house_file_may_say_what_a_surface_of_its_own_is():
    assert kit.parse_house(GOOD).patch("bay").surface.kind == ""
    told = kit.parse_house(GOOD.replace("high = 0.20", 'high = 0.20\nkind = "brick"'))
    assert told.patch("bay").surface.kind == "brick"
    assert told.patch("gable").surface.kind == "siding"
    assert told.patch("bay").surface.gain is None
    screen = kit.parse_house(GOOD.replace("high = 0.20", "high = 0.20\ngain = 1.2"))
    assert screen.patch("bay").surface.luminance_factor == 1.2


def broken(old, new):
    assert GOOD.count(old) >= 1
    return GOOD.replace(old, new, 1)


BAD_FILES = {
    "empty": ("", ["empty"]),
    "comment only": ("# nothing yet", ["empty"]),
    "wrong syntax": (broken('units = "ft"', "units = ft"), ["valid TOML", "line 3"]),
    "key twice": (broken('units = "ft"', 'units = "ft"\nunits = "m"'), ["valid TOML"]),
    "no units": (broken('units = "ft"', ""), ["units", "to be there"]),
    "wrong unit": (broken('"ft"', '"yards"'), ["units", "'yards'", '"ft" or "m"']),
    "no patch": ('name = "a"\nunits = "m"', ["patch", "to be there"]),
    "patch is no list": ('name = "a"\nunits = "m"\npatch = 3', ["patch", "3", "list"]),
    "patch is a table": ('name = "a"\nunits = "m"\n[patch]\nname = "x"', ["patch", "list"]),
    "unknown surface": (
        broken('"white siding"', '"white sidding"'),
        ["patch 'gable'", "surface", "'white sidding'", "'white siding'"],
    ),
    "patch name twice": (broken('"gable"', '"main wall"'), ["patches: name", "'main wall'", "no other"]),
    "no patch name": (broken('name = "gable"', ""), ["patch number 2", "name", "to be there"]),
    "empty patch name": (broken('"gable"', '""'), ["patch", "name"]),
    "crossed corners": (
        broken("[[-20, 20], [20, 20], [0, 30]]", "[[0, 0], [2, 2], [2, 0], [0, 2]]"),
        ["patch 'gable'", "outline", "do not cross"],
    ),
    "two corners": (
        broken("[[-20, 20], [20, 20], [0, 30]]", "[[0, 0], [2, 2]]"),
        ["patch 'gable'", "corners", "[[0, 0], [2, 2]]"],
    ),
    "corner of one number": (broken("[0, 30]", "[0]"), ["patch 'gable'", "corners 3", "[0]"]),
    "not a number": (broken("width = 40", "width = nan"), ["patch 'main wall'", "rectangle, width", "nan"]),
    "endless": (broken("[0, 30]", "[0, inf]"), ["patch 'gable'", "corners 3 2", "inf"]),
    "text for a number": (
        broken("width = 40", 'width = "40 ft"'),
        ["patch 'main wall'", "width", "'40 ft'", "a number"],
    ),
    "no width": (broken("width = 40, ", ""), ["patch 'main wall'", "rectangle, width", "to be there"]),
    "negative width": (broken("width = 40", "width = -40"), ["patch 'main wall'", "width", "-40"]),
    "rectangle is a list": (
        broken("{ left = -20, bottom = 0, width = 40, height = 20 }", "[1, 2]"),
        ["patch 'main wall'", "rectangle", "[1, 2]", "table"],
    ),
    "both": (
        broken("depth = 2", "depth = 2\ncorners = [[0, 0], [1, 0], [0, 1]]"),
        ["patch 'bay'", "rectangle or corners", "both"],
    ),
    "neither": (
        broken("corners = [[-20, 20], [20, 20], [0, 30]]", ""),
        ["patch 'gable'", "rectangle or corners", "neither"],
    ),
    "unknown field": (broken("depth = 2", "deepth = 2"), ["patch 'bay'", "deepth", "2"]),
    "unknown field of the house": (
        broken('units = "ft"', 'units = "ft"\ncolour = "red"'),
        ["colour", "'red'"],
    ),
    "hole outside": (broken("[6, 3]", "[60, 3]"), ["patch 'bay'", "holes 1", "inside"]),
    "recess without a hole": (
        broken("depth = 2\n", "depth = -2\n"),
        ["patch 'bay'", "depth", "hole", "'main wall'"],
    ),
    "negative thickness": (
        broken("depth = 2", "depth = 2\nthickness = -1"),
        ["patch 'bay'", "thickness", "-1"],
    ),
    "reflectance above 1": (broken("0.16", "1.6"), ["surface 'our brick'", "reflectance", "1.6", "from 0 to 1"]),
    "reflectance in words": (broken("0.16", '"dark"'), ["our brick", "reflectance", "'dark'", "a number"]),
    "no gain at all": (broken("high = 0.20", "high = 0.20\ngain = 0"), ["surface 'our brick'", "gain", "above 0"]),
    "band the wrong way round": (broken("low = 0.12", "low = 0.18"), ["surface 'our brick'", "0.18"]),
    "unknown kind": (
        broken("high = 0.20", 'high = 0.20\nkind = "bricks"'),
        ["surface 'our brick'", "kind", "'bricks'", "one of", "brick"],
    ),
    "kind is a number": (broken("high = 0.20", "high = 0.20\nkind = 3"), ["our brick", "kind", "3", "text"]),
    "far too large": (broken("width = 40", "width = 1e300"), ["patch 'main wall'", "width", "1e+300"]),
}


@pytest.mark.bad_input
@pytest.mark.parametrize("case", BAD_FILES)
def test_a_bad_house_file_is_refused_naming_file_patch_field_and_value(case, tmp_path):
    text, words = BAD_FILES[case]
    path = tmp_path / "our_house.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(kit.InputError) as caught:
        kit.load_house(path)
    message = str(caught.value)
    for word in ("our_house.toml", "expected", *words):
        assert word in message, message
    assert "pydantic" not in message
    assert "\n" not in message


@pytest.mark.bad_input
def test_a_file_that_cannot_be_read_is_refused_by_its_path(tmp_path):
    (tmp_path / "latin.toml").write_bytes('name = "Häuschen"'.encode("latin-1"))
    for name, reason in (("no such.toml", "No such file"), ("latin.toml", "UTF-8"), ("", "directory")):
        path = tmp_path / name
        with pytest.raises(kit.InputError, match=reason) as caught:
            kit.load_house(path)
        assert str(path) in str(caught.value)


@pytest.mark.bad_input
def test_a_recess_with_its_hole_is_accepted():
    text = broken("depth = 2\n", "depth = -2\n").replace("holes = [[[5, 2], [6, 2], [6, 3]]]", "")
    text = text.replace("height = 20 }\n", "height = 20 }\nholes = [[[4, 1], [12, 1], [12, 9], [4, 9]]]\n", 1)
    front = kit.parse_house(text)
    assert front.patch("bay").offset == pytest.approx(-2 * 0.3048, rel=1e-12)  # rounding only
