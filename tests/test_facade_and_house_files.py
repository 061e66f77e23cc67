import json
import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from fronts import exposed_area
from hypothesis import assume, given
from hypothesis import strategies as st

import kit
from kit import reference
from kit.toml_file import parse_length, table
from kit.wall.facade import kinds, split_at
from kit.wall.house_file import house_parts
from kit.wall.raster import SAME_PLANE, Grid, exposed, visible
from kit.wall.surface_names import OTHER_NAMES, find_surface

HOUSES = Path(__file__).parents[1] / "notebooks" / "houses"
FRONTS = Path(__file__).parent / "houses"
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


@pytest.mark.analytic
@pytest.mark.parametrize("turn", [0.0, 0.3, 1.0, 2.5])
def test_the_normal_of_a_patch_seen_edge_on_lies_across_the_view_to_the_last_digit(turn):
    # Upright sides and slanting ones: rounding must not make one of them face the audience.
    along = np.array((np.cos(turn), np.sin(turn), 0.0))
    patch = kit.Patch("side", [tuple(s * along + (0, 0, z)) for s, z in ((0, 0), (3, 0), (3, -2), (0, -2))], PLAIN)
    assert patch.normal[2] == 0.0
    # Rounding only.
    assert abs(float(patch.normal @ (-np.sin(turn), np.cos(turn), 0.0))) == pytest.approx(1.0, rel=1e-12)
    assert patch.area == pytest.approx(6.0, rel=1e-12)


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
        found = kit.Surface.from_reference(row.name)
        assert (found.name, found.kind) == (row.name, row.group)
        assert (found.low, found.reflectance, found.high) == (row.low, row.value, row.high)
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
    metres = kit.parse_house(GOOD.replace('units = "ft"', 'units = "m"\nunits_checked = true'))
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
    assert kit.parse_house(GOOD).patch("bay").surface.kind == "brick"  # as its name says
    assert kit.parse_house(GOOD.replace("our brick", "our wall")).patch("bay").surface.kind == ""
    unknown = kit.parse_house(GOOD.replace("high = 0.20", 'high = 0.20\nkind = ""'))
    assert unknown.patch("bay").surface.kind == ""
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
    "wrong syntax": (broken('units = "ft"', "units = 'ft'' #"), ["valid TOML", "line 3"]),
    "key twice": (
        broken('units = "ft"', 'units = "ft"\nunits = "m"'),
        ["line 4", "each field once", "[[patch]] is missing"],
    ),
    "no units": (broken('units = "ft"', ""), ["units", "to be there"]),
    "wrong unit": (broken('"ft"', '"yards"'), ["units", "'yards'", "one of ft, m, in, cm"]),
    "no patch": ('name = "a"\nunits = "m"', ["patch", "to be there"]),
    "patch is no list": ('name = "a"\nunits = "m"\npatch = 3', ["patch", "3", "list"]),
    "patch is a table": ('name = "a"\nunits = "m"\npatch = { name = "x" }', ["patch", "list"]),
    "unknown surface": (
        broken('"white siding"', '"white sidding"'),
        ["patch 'gable'", "surface", "'white sidding'", "'white siding'"],
    ),
    "patch name twice": (broken('"gable"', '"main wall"'), ["patch 'main wall': name", "no other"]),
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
    "endless": (broken("[0, 30]", "[0, inf]"), ["patch 'gable'", "corners 3[1]", "inf"]),
    "text for a number": (
        broken("width = 40", 'width = "forty"'),
        ["patch 'main wall'", "width", "'forty'", "a number such as 5.5", '"5 ft 6 in"'],
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
    "unknown field of the house": (broken('units = "ft"', 'units = "ft"\ncolour = "red"'), ["colour", "'red'"]),
    "hole outside": (broken("[6, 3]", "[60, 3]"), ["patch 'bay'", "holes 1", "inside"]),
    "recess without a hole": (broken("depth = 2\n", "depth = -2\n"), ["patch 'bay'", "depth", "hole", "'main wall'"]),
    "negative thickness": (broken("depth = 2", "depth = 2\nthickness = -1"), ["patch 'bay'", "thickness", "-1"]),
    "reflectance above 1": (broken("0.16", "1.6"), ["surface 'our brick'", "reflectance", "1.6", "from 0 to 1"]),
    "reflectance in words": (broken("0.16", '"dark"'), ["our brick", "reflectance", "'dark'", "a number"]),
    "no gain at all": (broken("high = 0.20", "high = 0.20\ngain = 0"), ["surface 'our brick'", "gain", "above 0"]),
    "band the wrong way round": (broken("low = 0.12", "low = 0.18"), ["surface 'our brick'", "0.18"]),
    "unknown kind": (
        broken("high = 0.20", 'high = 0.20\nkind = "bricks"'),
        ["surface 'our brick'", "kind", "'bricks'", "one of", "brick"],
    ),
    "kind is a number": (broken("high = 0.20", "high = 0.20\nkind = 3"), ["our brick", "kind", "3", "one of brick"]),
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
    for name, reason in (("no such.toml", "no such file"), ("latin.toml", "UTF-8"), ("", "a folder")):
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


# What a home-owner types


ALSO = {
    "5.5": 5.5, "5,5": 5.5, "5.5 ft": 5.5, "5,5 feet": 5.5, "5'6\"": 5.5, "5' 6": 5.5, "5’ 6”": 5.5, "5′6″": 5.5,
    "5 ft 6 in": 5.5, "5 ft. 6 in.": 5.5, "5 feet, 6 inches": 5.5, "66 in": 5.5, "66\"": 5.5, "66''": 5.5,
    "5 1/2 ft": 5.5, "5½ ft": 5.5, "5' 6 1/2\"": 5.5 + 0.5 / 12, "-5'6\"": -5.5, "−5.5 ft": -5.5,
    "1.6764 m": 5.5, "167.64 cm": 5.5, "1 m 67,64 cm": 5.5, "1676.4 mm": 5.5, ".5": 0.5, "1/2": 0.5, "11,5": 11.5,
}  # fmt: skip


@pytest.mark.analytic
@pytest.mark.parametrize("words", ALSO)
def test_lengths_are_understood_as_they_are_said(words):
    # 12 inches to a foot, 0.3048 m to a foot, by definition; rounding only.
    assert parse_length(words, "ft") == pytest.approx(ALSO[words], rel=1e-12)
    assert parse_length(words, "ft") * 0.3048 == pytest.approx(
        parse_length(words, "in") * 0.0254 if any(c.isalpha() or c in "'\"’′" for c in words) else ALSO[words] * 0.3048
    )


@pytest.mark.bad_input
@pytest.mark.parametrize(
    "words",
    ["", "x", "forty", "5-6", "5 6", "1,250", "5' 14\"", "5.5' 6\"", "5 1/0", "5 yd", "6 in 5 ft", "5 6 ft", "9" * 99],
)
def test_lengths_that_may_be_anything_are_refused_with_what_is_right(words):
    assert parse_length(words, "ft") is None
    with pytest.raises(kit.InputError, match=r"main wall': rectangle, width = .*5\.5, or text such as \"5 ft 6 in\""):
        kit.parse_house(broken("width = 40", f"width = {json.dumps(words)}"))


@pytest.mark.analytic
@pytest.mark.parametrize("unit", ["ft", "m", "in", "cm"])
def test_lengths_with_a_unit_of_their_own_are_the_same_in_every_file(unit):
    text = GOOD.split("[[patch]]", maxsplit=2)
    wall = text[1].replace("-20", '"-20 ft"').replace("40", '"12.192 m"').replace("20 }", '"20\' 0\\"" }')
    front = kit.parse_house(text[0].replace('"ft"', f'"{unit}"') + "[[patch]]" + wall)
    # Rounding only.
    assert front.bounds == pytest.approx((-6.096, 6.096, 0, 6.096), rel=1e-12)


NAMED = {
    "gray siding": "grey siding", "grey siding": "grey siding", "siding, grey": "grey siding",
    "Gray vinyl siding": "grey siding",
    "stone": "grey stone", "dark window": "bare window", "bare window": "bare window", "dark panes": "bare window",
    "dark widow": None,
    "stucco": "beige stucco", "white door": "white door", "red bricks": "red brick", "white render": "white stucco",
    "barn-red weatherboard": "red siding", "window with closed white blinds": "window with white shade",
    "window with white inner shutters": "window with white shade", "timber, dark": "dark wood", "lawn": "grass",
    "asphalt shingles": "asphalt shingle roof", "off-white stucco": "white stucco",
    "off-white fabric": "off-white fabric",
}  # fmt: skip


@pytest.mark.parametrize("name", NAMED)
def test_other_names_of_surfaces_are_understood_or_the_nearest_are_named(name):
    text = broken('"white siding"', json.dumps(name))
    if NAMED[name] is None:
        with pytest.raises(kit.InputError, match=r"patch 'gable': surface = 'dark widow': expected .*window"):
            kit.parse_house(text)
    else:
        assert kit.parse_house(text).patch("gable").surface == kit.Surface.from_reference(NAMED[name])


def test_other_names_mean_surfaces_that_are_there_and_one_each():
    assert OTHER_NAMES.keys() <= set(reference.names("surfaces"))
    others = [name for names in OTHER_NAMES.values() for name in names]
    assert len(others) == len(set(others))
    assert not set(others) & set(reference.names("surfaces"))
    for name, known in OTHER_NAMES.items():
        for other in known:
            assert find_surface(other, {}).name == name
    for name in reference.names("surfaces"):
        assert find_surface(name.replace("grey", "gray"), {}).name == name


@pytest.mark.bad_input
def test_a_surface_of_one_of_several_shades_is_asked_for():
    with pytest.raises(kit.InputError, match=r"expected one of red brick, dark red brick, .*glazed brick"):
        kit.parse_house(broken('"white siding"', '"brick"'))
    with pytest.raises(kit.InputError, match=r"expected one of white door, white garage door, red door, dark door"):
        kit.parse_house(broken('"white siding"', '"front door"'))
    with pytest.raises(kit.InputError, match=r"kit.surfaces\(\) shows all"):
        kit.parse_house(broken('"white siding"', '"plutonium"'))


MANY = """
name = "Our house"
units = "ft"
[[patch]]
name = "wall"
rectangle = { left = 0, bottom = 0, width = 40, hieght = 20 }
surface = "brik"
[[patch]]
name = "window"
rectangle = { left = 5, bottom = 10, width = -4, height = 5 }
surface = "drk window"
colour = "red"
[[patch]]
name = "door"
surface = "white door"
judged = "no"
"""


@pytest.mark.bad_input
def test_all_mistakes_of_a_file_are_told_at_once():
    with pytest.raises(kit.InputError) as caught:
        kit.parse_house(MANY, "our_house.toml")
    head, *lines = str(caught.value).split("\n")
    assert head == "our_house.toml has 7 mistakes:"
    for line, words in zip(
        lines,
        (
            ("patch 'wall': rectangle, hieght", "20", "did you mean height?"),
            ("patch 'window': colour", "'red'", "name, surface, rectangle"),
            ("patch 'window': rectangle, width", "-4", "above 0"),
            ("patch 'door': judged", "'no'", "true or false"),
            ("patch 'wall': surface", "'brik'", "brick"),
            ("patch 'window': surface", "'drk window'", "bare window"),
            ("patch 'door': rectangle or corners", "neither"),
        ),
        strict=True,
    ):
        for word in words:
            assert word in line
        assert " ... " not in line
        assert len(line) < 300


@pytest.mark.bad_input
def test_of_very_many_mistakes_the_first_eight_are_told_and_the_rest_counted():
    patches = "".join(f'[[patch]]\nname = "p{i}"\nsurface = "x"\ncorners = 3\n' for i in range(30))
    with pytest.raises(kit.InputError) as caught:
        kit.parse_house(f'name = "a"\nunits = "m"\n{patches}')
    lines = str(caught.value).split("\n")
    assert (len(lines), lines[-1]) == (10, "- and 52 more")


SLIPS = {
    'units = "ft': ["closing quote", 'units = "ft"'],
    "units = ft": ["quotes round text", 'units = "ft"'],
    'units = ft"': ["quotes round text", 'units = "ft"'],
    "units = “ft”": ["straight quotes", 'units = "ft"'],
    'units: "ft"': ["= in place of the colon"],
    'units = "ft"\nunits_checked = True': ["small letters", "units_checked = true"],
}
WALLS = {
    "width = 40,5": ["a point in place of the decimal comma", "width = 40.5,"],
    "width = 40 ft": ["quotes round a length with its unit", '"40 ft"'],
    "width = 40'6\"": ["quotes round a length with its unit", '"40 ft 6 in"'],
    'width = "40\'6""': ["quotes round a length with its unit", '"40 ft 6 in"'],
    "width = 40.": ["a digit after the point", "width = 40.0"],
    "bottom = .5, width = 40": ["a digit before the point", "bottom = 0.5"],
}


@pytest.mark.bad_input
@pytest.mark.parametrize("slip", [*SLIPS, *WALLS])
def test_slips_of_toml_are_told_in_plain_words_and_with_the_other_mistakes(slip):
    text = (
        broken('units = "ft"', slip)
        if slip in SLIPS
        else broken("width = 40", slip).replace("bottom = 0, bottom", "bottom")
    )
    words = SLIPS.get(slip) or WALLS[slip]
    with pytest.raises(kit.InputError) as caught:
        kit.parse_house(text)
    assert str(caught.value).startswith("house file: line ")
    with pytest.raises(kit.InputError) as both:
        kit.parse_house(text.replace("white siding", "white sidding"))
    assert "has 2 mistakes" in str(both.value)
    assert "patch 'gable': surface = 'white sidding'" in str(both.value)
    for word in words:
        assert word in str(caught.value)
        assert word in str(both.value)


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("old", "new", "word"),
    [
        ("[[patch]]", "[patch]", "[[patch]] in double brackets"),
        ('[surfaces."our brick"]', "[surfaces.our brick]", "quotes round the name of a surface"),
        ("bottom = 0, width", "bottom = 0 width", "a comma between two fields"),
        ("height = 20 }", "height = 20, }", "no comma before }"),
        ("height = 20 }", "height = 20", "a closing }"),
        ("height = 20 }", "height = 20 ]", "braces round fields with names"),
        ("rectangle = { left = -20", "rectangle = ( left = -20", "braces round fields with names"),
        (
            "{ left = -20, bottom = 0, width = 40, height = 20 }",
            "{ -20, 0, 40, 20 }",
            "names in the braces: rectangle =",
        ),
        ("left = -20, bottom = 0,", "left: -20, bottom: 0,", "= in place of the colon"),
        ("[20, 20], [0, 30]]", "(20, 20), [0, 30]]", "square brackets"),
        ("[20, 20], [0, 30]]", "[20, 20], [0, 30]", "line 17 = 'corners"),
        ("[20, 20], [0, 30]]", "[20, 20], [0, 30]", "a closing ]"),
        ('name = "gable"', 'name = "the "high" gable"', "single quotes round text with quotes in it"),
        ("depth = 2\n", "depth = 2\nwidth = 3\n", "this within rectangle = {"),
        ("width = 40, height = 20 }", "width = 40,\n  height = 20\n}", "all between { and } in one line"),
        ("[20, 20], [0, 30]", "[20, 20] [0, 30]", "a comma between two lists"),
        ("depth = 2\n", "depth = 2\nunits_checked = true\n", "at the top of the file"),
        ("depth = 2\n", "depht = 2\n", "did you mean depth?"),
        ('surface = "white siding"\n', 'surface = "white siding"\nname = "c"\n', "[[patch]] is missing above it"),
    ],
)
def test_what_is_left_out_or_too_much_is_told_in_plain_words(old, new, word):
    with pytest.raises(kit.InputError, match=re.escape(word)) as caught:
        kit.parse_house(GOOD.replace(old, new) if old == "[[patch]]" else broken(old, new))
    assert "\n" not in str(caught.value)


@pytest.mark.bad_input
def test_a_file_that_is_not_there_is_told_with_those_that_are(tmp_path):
    (tmp_path / "houses").mkdir()
    for name in ("my_house.toml", "b.toml", "houses/old_house.toml"):
        (tmp_path / name).write_text(GOOD, encoding="utf-8")
    with pytest.raises(kit.InputError) as caught:
        kit.load_house(tmp_path / "my_hose.toml")
    assert "my_hose.toml" in str(caught.value)
    right = f"one of my_house.toml, houses/old_house.toml, b.toml in {tmp_path}"
    assert caught.value.right == right
    with pytest.raises(kit.InputError, match="no such file"):
        kit.load_house(tmp_path / "nowhere" / "a.toml")
    (tmp_path / "large.toml").write_bytes(b"#" * 3_000_000)
    with pytest.raises(kit.InputError, match=r"3,000,000 bytes.*at most 1 MB"):
        kit.load_house(tmp_path / "large.toml")
    for odd in (None, 3, "a\0b"):
        with pytest.raises(kit.InputError, match=r"house file|^path = "):
            kit.load_house(odd)


PANE = """
[[patch]]
name = "pane"
rectangle = { left = 0, bottom = 5, width = 4, height = 4 }
surface = "bare window"
"""


@pytest.mark.bad_input
def test_a_window_before_its_wall_is_told_with_the_wall():
    head, wall, *_ = GOOD.split("[[patch]]")
    window = PANE
    kit.parse_house(f"{head}[[patch]]{wall}{window}")
    with pytest.raises(
        kit.InputError, match=r"patch 'pane' = 'hidden'.*after 'main wall'.*write the window after the wall"
    ):
        kit.parse_house(f"{head}{window}[[patch]]{wall}")
    # In front of it, or reaching beyond it, a patch is seen whatever the order.
    for change in ("\ndepth = 0.1", ""):
        seen = window.replace("left = 0", "left = 18") if not change else window.strip() + change + "\n"
        kit.parse_house(f"{head}{seen}[[patch]]{wall}")


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("units", "width", "height", "door", "question"),
    [
        ("ft", 312, 228, 84, r'front is 312 ft wide: are these inches \(units = "in"\)\?'),
        ("m", 40, 15, 7, r"door 'door' is 7 m high: are these feet"),
        ("m", 40, 19, 7, r"brick 'wall' is 19 m high: are these feet"),
        ("m", 96, 19, 7, r"front is 96 m wide: are these feet"),
        ("ft", 11, 5, 2, None),
        ("ft", 5, 3, 2, r"front is 5 ft wide: are these metres"),
        ("in", 40, 19, 7, r"front is 40 in wide: are these feet"),
        ("ft", 40, 60, 7, r"brick 'wall' is 60 ft high: is a number wrong\?"),
        ("m", 950, 500, 210, r"are these centimetres"),
        ("ft", 40, 19, 7, None),
        ("m", 12, 6, 2.1, None),
    ],
)
def test_sizes_that_no_house_has_are_questioned_with_the_unit_that_makes_sense(units, width, height, door, question):
    text = f"""
name = "a"
units = "{units}"
[[patch]]
name = "wall"
rectangle = {{ left = 0, bottom = 0, width = {width}, height = {height} }}
surface = "red brick"
[[patch]]
name = "door"
rectangle = {{ left = 0, bottom = 0, width = {door / 2}, height = {door} }}
surface = "white door"
"""
    if question is None:
        kit.parse_house(text)
        return
    with pytest.raises(kit.InputError, match=question) as caught:
        kit.parse_house(text)
    assert "add units_checked = true" in str(caught.value)
    checked = kit.parse_house(text.replace("[[patch]]", "units_checked = true\n[[patch]]", 1))
    assert checked.bounds[1] == pytest.approx(width * {"ft": 0.3048, "m": 1.0, "in": 0.0254, "cm": 0.01}[units])


@pytest.mark.bad_input
def test_a_patch_far_from_all_others_is_blamed_itself():
    window = PANE.replace("left = 0", "left = 160")
    with pytest.raises(kit.InputError, match=r"patch 'pane' = '140 ft from the rest': expected a place on the front"):
        kit.parse_house(f"{GOOD}{window}")


# What is written is what was read


def same(one, other):
    assert [p.name for p in one.patches] == [p.name for p in other.patches]
    for a, b in zip(one.patches, other.patches, strict=True):
        assert (a.surface, a.judged) == (b.surface, b.judged)
        for ring, again in zip(a.rings, b.rings, strict=True):
            np.testing.assert_allclose(ring, again, atol=1e-9)


def house_toml(front, units="m"):
    """A front as the text of a house file."""
    top, tables = house_parts(front, units)
    return table("", top) + "".join(tables)


@pytest.mark.property
@pytest.mark.parametrize(
    "path",
    sorted([*(path for path in HOUSES.glob("[bdl]*.toml") if path.stem != "demo_show"), *FRONTS.glob("*.toml")]),
    ids=lambda path: path.stem,
)
@pytest.mark.parametrize("units", ["ft", "m", "in", "cm"])
def test_a_house_that_is_written_and_read_is_the_same(path, units):
    front = kit.load_house(path)
    text = house_toml(front, units)
    again = kit.parse_house(text)
    same(front, again)
    assert again.name == front.name
    assert house_toml(again, units) == text


def test_a_written_house_keeps_names_holes_and_surfaces_of_its_own():
    text = GOOD.replace("Our house", 'a \\"b\\" \\u00e9 #').replace("high = 0.20", 'high = 0.20\nkind = ""\ngain = 1.1')
    front = kit.parse_house(text.replace("depth = 2\n", "depth = 2\nthickness = 0.5\njudged = false\n"))
    assert front.name == 'a "b" é #'
    again = kit.parse_house(house_toml(front, "ft"))
    same(front, again)
    assert again.patch("bay").surface.gain == 1.1
    odd = kit.parse_house(GOOD.replace('units = "ft"', 'units = "m"\nunits_checked = true'))
    same(odd, kit.parse_house(house_toml(odd, "cm")))


@pytest.mark.bad_input
def test_a_front_that_no_house_file_holds_is_not_written():
    leaning_only = kit.Facade([kit.Patch("roof", [(0, 0, 0), (4, 0, 0), (4, 3, -2), (0, 3, -2)], PLAIN)])
    two = kit.Facade(
        [
            kit.Patch("a", SQUARE, PLAIN),
            kit.Patch("b", [(3, 0), (5, 0), (5, 2)], kit.Surface(name="plain", reflectance=0.6)),
        ]
    )
    for front in (leaning_only, two):
        with pytest.raises(kit.InputError, match="front"):
            house_toml(front)
    with pytest.raises(kit.InputError, match="units"):
        house_toml(two, "yards")


# The fronts as their owners told them


HALVES = {"brick half": (26, 19), "siding half": (26, 10), "garage": (20, 10), "garage door": (16, 7)}
TOLD = {
    "split_level": (52, 24, "ft", HALVES | {"left window": (5, 4), "front door": (3, 7), "chimney": (3, 24)}),
    "town_house": (5.2, 11, "m", {"plinth": (5.2, 0.6), "bay": (2.4, 5.4), "left window, second floor": (1.1, 1.9)}),
    "farmhouse": (14, 9, "m", {"wall": (14, 5.4), "post 5": (0.15, 2.6)}),
}


@pytest.mark.parametrize("name", TOLD)
def test_fronts_told_in_plain_words_load_and_get_a_verdict(name):
    width, height, unit, parts = TOLD[name]
    front = kit.load_house(FRONTS / f"{name}.toml")
    metre = {"ft": 0.3048, "m": 1.0}[unit]
    left, right, bottom, top = front.bounds
    # Rounding only.
    assert ((right - left) / metre, (top - bottom) / metre) == pytest.approx((width, height), rel=1e-12)
    for patch, size in parts.items():
        x0, y0, x1, y1 = front.patch(patch).elevation.bounds
        assert ((x1 - x0) / metre, (y1 - y0) / metre) == pytest.approx(size, rel=1e-12)
    projector = kit.typical_projector(8000, 0.8)
    middle = 0.5 * (left + right)
    place = kit.Placement(position=(middle, 0.3, 12), aim=(middle, 0.3, 0))
    street = kit.Ambient(vertical_illuminance=1.0)
    scene = kit.Scene(facade=front, projectors=[(projector, place)], ambient=street)
    verdict = kit.judge(kit.light_map(scene, 0.1))
    assert verdict.sentence("ft")
    assert {part.name for part in verdict.surfaces} <= {surface.name for surface in front.surfaces()}


def test_fronts_told_in_plain_words_stand_as_told():
    brick = kit.load_house(FRONTS / "split_level.toml")
    assert brick.patch("brick half").surface.reflectance == 0.16
    assert brick.patch("garage").outline[0][2] == pytest.approx(4 * 0.3048)
    assert brick.patch("right window").surface.name == "bare window"
    town = kit.load_house(FRONTS / "town_house.toml")
    assert town.patch("bay").outline[0][1:] == pytest.approx((3.6, 0.7))
    assert town.patch("bay").outline[2][1] == pytest.approx(9.0)
    assert sum("window" in p.name for p in town.patches) == 6
    farm = kit.load_house(FRONTS / "farmhouse.toml")
    assert sum(p.name.startswith("window") for p in farm.patches) == 7
    assert sum(p.name.startswith("post") and p.faces_audience for p in farm.patches) == 5
    assert farm.patch("porch roof edge").outline[2][1:] == pytest.approx((2.8, 2.4))
    assert farm.patch("roof").outline[2][1] == 9.0


# Rooms behind shades


def with_window(more, surface="window with closed white blinds"):
    return (
        'name = "house"\nunits = "m"\n'
        '[surfaces."my blind"]\nreflectance = 0.6\ntransmittance = 0.2\nkind = "window"\n'
        '[[patch]]\nname = "wall"\nrectangle = {left = 0, bottom = 0, width = 8, height = 5}\nsurface = "red brick"\n'
        f'[[patch]]\nname = "window"\nrectangle = {{left = 1, bottom = 1, width = 1, height = 1}}\n'
        f'surface = "{surface}"\n'
        f"{more}\n"
    )


@pytest.mark.analytic
def test_a_window_says_in_words_whether_the_room_behind_it_is_lit():
    usual = reference.value("shades", "lit room")
    for more, lux in (("", None), ('room = "lit"', usual), ('room = "dark"', 0.0), ("room_light = 120", 120.0)):
        house = kit.parse_house(with_window(more))
        assert house.patch("window").room_light == lux
        assert kit.parse_house(house_toml(house)) == house
    own = kit.parse_house(with_window("room_light = 30", "my blind"))
    assert own.patch("window").shines_like == pytest.approx(30 * 0.2 / 0.6, rel=1e-12)
    assert kit.parse_house(house_toml(own)) == own
    assert kit.Surface.from_reference("window with white shade").transmittance == 0.095
    assert kit.Surface.from_reference("red brick").transmittance is None


@pytest.mark.parametrize(
    ("more", "surface", "field"),
    [
        ('room = "bright"', "white blind", "room"), ("room_light = -1", "white blind", "room_light"),
        ('room = "lit"\nroom_light = 20', "white blind", "room, room_light"), ('room = "lit"', "dark window", "room"),
    ],
)  # fmt: skip
def test_light_in_a_room_that_cannot_be_is_refused(more, surface, field):
    with pytest.raises(kit.InputError, match=f"patch 'window': {field}"):
        kit.parse_house(with_window(more, surface))


def test_a_shade_gives_no_more_light_than_it_gets():
    for reflectance in (0.7, 0.0):
        with pytest.raises(kit.InputError, match="surface 'shade': reflectance, transmittance"):
            kit.Surface(name="shade", reflectance=reflectance, transmittance=0.4)
