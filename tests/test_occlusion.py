"""What hides a point: three ways to ask, held to each other and to geometry by hand."""

import numpy as np
import pytest
import shapely
from fronts import BACK, BOUNDS, CORNERS, PLAIN, on_plane, random_front, star
from hypothesis import given
from hypothesis import strategies as st

import kit
from kit.wall.occlusion import (
    Obstacle,
    Occluders,
    blocks,
    convex,
    covers,
    first_met,
    hidden_corners,
    hidden_directions,
    reached,
    shadow_rings,
)
from kit.wall.points import FrontRaster, Planes
from kit.wall.raster import Grid

seeds = st.integers(0, 2**32 - 1)
# A lens before all that the random fronts have, and one between their patches and the wall.
NEAR, FAR = (0.0, 1.1), (3.0, 9.0)


def square(name, left, bottom, right, top, z=0.0, **more):
    return kit.Patch(
        name, on_plane([(left, bottom), (right, bottom), (right, top), (left, top)], z, 0, 0), PLAIN, **more
    )


def places_for(rng, depth, count):
    return np.column_stack([rng.uniform(-6, 6, count), rng.uniform(0, 6, count), rng.uniform(*depth, count)])


# Many points against many places


@pytest.mark.property
@given(seeds, st.sampled_from([NEAR, FAR]))
def test_what_hides_a_point_is_what_a_ray_meets_first(seed, depth):
    front = random_front(seed, returns=bool(seed % 2))
    rng = np.random.default_rng(seed)
    raster = FrontRaster.over(front, BOUNDS, 0.7)
    points = raster.at(raster.patch >= 0)
    places = places_for(rng, depth, 5)
    found = Occluders.of(front).hidden(points.position, points.plane, places)
    assert found.shape == (5, points.patch.size)
    for place, hidden in zip(places, found, strict=True):
        # From the place: the point itself is met at 1, up to rounding.
        np.testing.assert_array_equal(hidden, first_met(front, place, points.position) < 1 - 1e-9)
        # From the point, which lies on its own patch.
        np.testing.assert_array_equal(hidden, first_met(front, points.position, place) < 1)
    # Whether places are asked for together or one by one makes no difference.
    for i in range(len(places)):
        one = Occluders.of(front).hidden(points.position, points.plane, places[i : i + 1])
        np.testing.assert_array_equal(one[0], found[i])


def runs_through(obstacle, start, end):
    """Whether a segment runs through an upright prism, by its plan and its heights."""
    low, high = np.array(obstacle.heights)
    with np.errstate(divide="ignore"):
        ends = np.sort((np.array([low, high]) - start[1]) / (end[1] - start[1]))
    first, last = max(0.0, ends[0]), min(1.0, ends[1])
    if first >= last:
        return False
    plan = np.array([start, end])[:, [0, 2]]
    cut = shapely.LineString([plan[0] + t * (plan[1] - plan[0]) for t in (first, last)])
    return cut.intersection(shapely.Polygon(obstacle.area)).length > 0


@pytest.mark.property
@given(seeds)
def test_obstacles_hide_what_lies_behind_them(seed):
    rng = np.random.default_rng(seed)
    things = [
        Obstacle(
            name=f"thing {i}",
            area=star(rng, rng.uniform((-4, 3), (4, 6)), rng.uniform(0.3, 2.0), int(rng.integers(3, 9))).tolist(),
            heights=np.sort(rng.uniform(0, 5, 2)).tolist(),
            blocks=i != 1,
        )
        for i in range(3)
    ]
    front = kit.Facade([BACK])
    raster = FrontRaster.over(front, BOUNDS, 0.9)
    points = raster.at(raster.patch >= 0)
    places = places_for(rng, (2.0, 9.0), 4)
    # Not what lets light through: people.
    found = Occluders.of(front, things).hidden(points.position, points.plane, places)
    for place, hidden in zip(places, found, strict=True):
        expected = [any(runs_through(t, p, place) for t in things if t.blocks) for p in points.position]
        np.testing.assert_array_equal(hidden, expected)
    # What the front hides and what obstacles hide add up.
    rough = random_front(seed)
    over = FrontRaster.over(rough, BOUNDS, 0.9)
    at = over.at(over.patch >= 0)
    whole = Occluders.of(rough, things)
    alone = Occluders(blocks=tuple(block for block in whole.blocks if block.plane is None))
    one, other, both = (pieces.hidden(at.position, at.plane, places) for pieces in (Occluders.of(rough), alone, whole))
    np.testing.assert_array_equal(both, one | other)


@pytest.mark.analytic
def test_nothing_hides_where_nothing_stands():
    points = np.array([(0.0, 1.0, 0.0), (1.0, 1.0, 0.0)])
    nothing = Occluders(blocks=())
    assert not nothing.hidden(points, np.zeros(2, int), np.array([(0.0, 1.0, 5.0)])).any()
    # A wall hides none of its own points, nor those of a patch in its plane.
    flat = Occluders.of(kit.Facade([BACK, square("door", 0, 0, 1, 2)]))
    assert not flat.hidden(points, np.zeros(2, int), np.array([(0.0, 1.0, 5.0), (4.9, 0.1, 0.01)])).any()


@pytest.mark.analytic
def test_patches_that_count_as_one_plane_hide_nothing_of_it_however_far_they_part():
    """A skin over the wall that leans by less than a micrometre a metre stands 2 micrometres before it at x = 5.5."""
    front = kit.Facade([BACK, kit.Patch("skin", on_plane([(4, 1), (6, 1), (6, 3), (4, 3)], 0, 4e-7, 0), PLAIN)])
    assert Planes.of(front).members == ((0, 1),)
    place = np.array([(5.5, 2.0, 5.0)])
    assert not Occluders.of(front).hidden(np.array([(5.5, 2.0, 0.0)]), np.zeros(1, int), place).any()


@pytest.mark.analytic
def test_the_box_of_an_obstacle_holds_it():
    (block,) = blocks(Obstacle(name="hedge", area=[(-3, 4), (2, 5), (1, 7)], heights=(0.5, 1.5)))
    np.testing.assert_allclose(block.box, [(-3, 0.5, 4), (2, 1.5, 7)], rtol=1e-12)


@pytest.mark.analytic
def test_a_point_at_the_foot_of_a_side_is_free_on_that_side():
    """The sides of a bay stand on the wall: points of their feet lie in their planes."""
    front = kit.Facade([BACK, *kit.with_returns(square("bay", 2, 1, 3, 3, 1.0), 0.0)])
    feet, places = np.array([(2.0, 2.0, 0.0), (3.0, 2.0, 0.0)]), np.array([(0.0, 2.0, 5.0), (5.0, 2.0, 5.0)])
    found = Occluders.of(front).hidden(feet, np.zeros(2, int), places)
    assert found.tolist() == [[False, True], [True, False]]


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("point", "place", "hidden"),
    [
        ((0.5, 0.5, 0.0), (0.5, 0.5, 8.0), True),
        # On the level of its top, along one of its sides, along an edge: what only touches it is hidden too.
        ((0.5, 1.0, 0.0), (0.5, 1.0, 8.0), True),
        ((1.0, 0.5, 0.0), (1.0, 0.5, 8.0), True),
        ((1.0, 1.0, 0.0), (1.0, 1.0, 8.0), True),
        ((0.5, 1.001, 0.0), (0.5, 1.001, 8.0), False),
        ((1.001, 0.5, 0.0), (1.001, 0.5, 8.0), False),
        # From within it, from its back, and from between it and the wall.
        ((0.5, 0.5, 0.0), (0.5, 0.5, 2.5), True),
        ((0.5, 0.5, 0.0), (0.5, 0.5, 2.0), False),
        ((0.5, 0.5, 0.0), (0.5, 0.5, 1.5), False),
        # Over its far upper edge: at z = 3 the ray is 1 m high at 3/8 of its rise.
        ((0.5, 0.4, 0.0), (0.5, 2.0 - 0.001, 8.0), True),
        ((0.5, 0.4, 0.0), (0.5, 2.9, 8.0), False),
    ],
)
def test_a_cube_hides_what_lies_behind_it(point, place, hidden):
    """A cube from 0 to 1 along x and y, and 2 to 3 m before the wall."""
    cube = Obstacle(name="cube", area=[(0, 2), (1, 2), (1, 3), (0, 3)], heights=(0.0, 1.0))
    found = Occluders.of(kit.Facade([BACK]), [cube]).hidden(np.array([point]), np.zeros(1, int), np.array([place]))
    assert found.tolist() == [[hidden]]


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"area": "a tree"}, r"obstacle 'tree': area.*three or more corners"),
        ({"area": [(0, 1), (1, 1)]}, r"obstacle 'tree': area.*three or more corners"),
        ({"area": 5}, r"obstacle 'tree': area"),
        ({"area": [(0, 1), (1, 1), (1, "z")]}, r"obstacle 'tree': area\[2\]\[1\] = 'z'"),
        ({"area": [(0, 1), (1, 1, 2), (1, 2)]}, r"obstacle 'tree': area\[1\] = .*2 finite numbers"),
        ({"area": [(0, 1), (4, 1), (1, 3), (2, 3)]}, r"area.*edges that do not cross"),
        ({"area": [(0, 1), (1, 1), (2, 1)]}, r"area.*round an area"),
        ({"heights": (1.0, 1.0)}, r"obstacle 'tree': heights.*top above the bottom"),
    ],
)
def test_an_obstacle_has_a_plan_and_a_height(given, message):
    with pytest.raises(kit.InputError, match=message):
        Obstacle(**{"name": "tree", "area": [(0, 1), (1, 1), (1, 2)], "heights": (0, 4)} | given)


# Pieces


@pytest.mark.property
@given(seeds)
def test_convex_pieces_make_up_the_whole(seed):
    rng = np.random.default_rng(seed)
    outline = star(rng, (0, 0), 3.0, int(rng.integers(5, 10)))
    hole = 0.1 * np.min(np.linalg.norm(outline, axis=1)) * np.array([(-1, -1), (1, -1), (0, 1)])
    for shape in (shapely.Polygon(outline), shapely.Polygon(outline, [hole])):
        pieces = [shapely.Polygon(corners) for corners in convex(shape)]
        # Rounding only.
        assert sum(p.area for p in pieces) == pytest.approx(shape.area, rel=1e-9)
        assert shapely.union_all(pieces).symmetric_difference(shape).area < 1e-9 * shape.area
        for piece in pieces:
            assert piece.convex_hull.area == pytest.approx(piece.area, rel=1e-9)
            assert piece.exterior.is_ccw
    # What is convex already stays in one piece.
    assert len(list(convex(shapely.box(0, 0, 2, 1)))) == 1


# On a raster


@pytest.mark.property
@given(seeds, st.sampled_from([NEAR, FAR]))
def test_the_raster_s_shadows_are_those_of_its_points(seed, depth):
    front = random_front(seed, returns=bool(seed % 2))
    (lens,) = places_for(np.random.default_rng(seed), depth, 1)
    raster = FrontRaster.over(front, (-5.5, 5.5, -0.5, 6.5), 0.17)
    points = raster.at(raster.patch >= 0)
    lit = reached(raster, lens)
    assert not lit[raster.patch < 0].any()
    hidden = Occluders.of(front).hidden(points.position, points.plane, lens[None])[0]
    # A wall that is seen from behind gets nothing, whatever stands between.
    front_of_it = raster.planes.ahead(lens)[points.plane] > 0
    np.testing.assert_array_equal(lit[raster.patch >= 0], front_of_it & ~hidden)


@pytest.mark.property
@given(seeds)
def test_a_picture_bounds_the_light(seed):
    rng = np.random.default_rng(seed)
    front = random_front(seed)
    (lens,) = places_for(rng, FAR, 1)
    beam = kit.Beam.of(
        kit.Projector(light_output=1, throw_ratio=float(rng.uniform(0.8, 2.5)), resolution=(1600, 1000)),
        kit.Placement(position=lens, aim=rng.uniform((-2, 1, 0), (2, 5, 0)), roll=float(rng.uniform(-40, 40))),
    )
    raster = FrontRaster.over(front, BOUNDS, 0.17)
    inside = beam.on(raster.points).inside()
    np.testing.assert_array_equal(reached(raster, lens, beam.corners()), reached(raster, lens) & inside)


@pytest.mark.analytic
def test_a_shadow_is_the_outline_seen_from_the_lens():
    """A board 1 m x 1 m, 2 m before the wall, under a lens 4 m before it: twice its size on the wall."""
    board = square("board", 1, 1, 2, 2, 2.0, holes=[[(1.2, 1.2, 2), (1.4, 1.2, 2), (1.4, 1.4, 2), (1.2, 1.4, 2)]])
    lens, out = np.array([0.0, 0.0, 4.0]), np.array([0.0, 0.0, 1.0])
    outline, hole = shadow_rings(board, lens, out, 0.0)
    np.testing.assert_allclose(outline, [(2, 2), (4, 2), (4, 4), (2, 4)], rtol=1e-12)
    np.testing.assert_allclose(hole, [(2.4, 2.4), (2.8, 2.4), (2.8, 2.8), (2.4, 2.8)], rtol=1e-12)
    # What lies in the plane or behind it casts none, nor does what lies behind the lens.
    for plane in (2.0, 3.0):
        assert shadow_rings(board, lens, out, plane) == []
    assert shadow_rings(board, np.array([0.0, 0.0, 1.5]), out, 0.0) == []
    # Of a sheet that stands through the plane of the lens the shadow has no end, and starts at its foot.
    fin = kit.Patch("fin", [(1, 1, 0), (1, 1, 9), (1, 2, 9), (1, 2, 0)], PLAIN)
    (ring,) = shadow_rings(fin, lens, out, 0.0)
    assert ring[:, 0].min() == pytest.approx(1.0)
    assert ring[:, 0].max() > 1e5


@pytest.mark.analytic
def test_a_lens_in_the_plane_of_a_wall_does_not_light_it():
    raster = FrontRaster.over(kit.Facade([BACK]), BOUNDS, 0.5)
    for z, lit in ((1e-7, False), (0.0, False), (-1.0, False), (1e-3, True)):
        assert reached(raster, (0.0, 3.0, z)).all() == lit
        assert reached(raster, (0.0, 3.0, z)).any() == lit


@pytest.mark.analytic
def test_a_patch_that_is_not_quite_plane_casts_no_shadow_on_itself():
    """Corners lie 4 mm before and behind their plane, and the light falls along it."""
    bent = kit.Patch("bent", [(-1, 1, 0.004), (1, 1, -0.004), (1, 3, 0.004), (-1, 3, -0.004)], PLAIN)
    raster = FrontRaster.over(kit.Facade([bent]), (-1.0, 1.0, 1.0, 3.0), 0.05)
    assert reached(raster, (-3.0, 0.0, 0.02)).all()


@pytest.mark.analytic
def test_the_shadow_of_a_board_that_leans_over_the_lens_is_not_missed():
    """Its near edge stands before the lens and its far one behind: seen from the lens it passes to the right."""
    board = kit.Patch("board", [(1, 4, 1), (-1, 4, 4), (-1, 5, 4), (1, 5, 1)], PLAIN)
    front = kit.Facade([square("wall", 2.2, 0, 6, 20), board])
    lens = np.array([0.0, 3.0, 2.0])
    raster = FrontRaster.over(front, (2.2, 6.0, 0.0, 20.0), 0.13)
    # A fifth of the way along the board a point (0.6, y, 1.6) is 0.4 m before the lens, whose wall is 2 m away.
    dark = ~reached(raster, lens)
    at = np.searchsorted(raster.grid.y, [3 + 5 * 1 + 0.6, 3 + 5 * 2 - 0.6]), np.searchsorted(raster.grid.x, 3.0)
    assert dark[at[0], at[1]].all()
    points = raster.at(raster.patch == 0)
    hidden = Occluders.of(front).hidden(points.position, points.plane, lens[None])[0]
    np.testing.assert_array_equal(dark[raster.patch == 0], hidden)
    assert 0.1 < hidden.mean() < 0.9


@pytest.mark.analytic
@pytest.mark.parametrize("turn", [0, 1, 2])
@pytest.mark.parametrize("first", [True, False])
@pytest.mark.parametrize("z", [0.0, 2.0, -2.0])
def test_a_shadow_does_not_depend_on_which_corner_or_patch_comes_first(turn, first, z):
    """Halfway between lens and wall all is twice as large: of a splinter only the tip's shadow reaches the raster."""
    corners = [(1.5, 2, z + 3), (0.2, 2.1, z + 3), (0.2, 1.9, z + 3)]
    splinter = kit.Patch("splinter", [*corners[turn:], *corners[:turn]], PLAIN)
    wall = square("wall", -6, 0, 6, 6, z)
    patches = [splinter, wall] if first else [wall, splinter]
    raster = FrontRaster.over(kit.Facade(patches), (2.5, 3.5, 3.0, 5.0), 0.01)
    dark = ~reached(raster, (0.0, 0.0, z + 6.0))
    # The tip lands at (3, 4); at x = 2.5 the shadow is 0.2 / 1.3 x 0.25 x 2 m high. Pixel centres count.
    assert dark.sum() * 1e-4 == pytest.approx(0.5 * 0.5 * 0.5 * 0.4 / 2.6, rel=0.03)
    assert raster.grid.x[dark.any(axis=0)].max() == pytest.approx(3.0, abs=0.1)


# Along rays


@pytest.mark.analytic
def test_what_a_ray_meets_first_is_told_as_a_share_of_the_way():
    front = kit.Facade([BACK, square("board", -1, 1, 1, 3, 2.0)])
    eye = np.array([0.0, 2.0, 6.0])
    ends = np.array([
        (0.0, 2.0, 0.0),  # through the board to the wall: 4 of 6 m
        (0.0, 2.0, 4.0),  # the board lies 4 m away, twice as far
        (4.0, 2.0, 0.0),  # beside the board: the wall itself
        (0.0, 2.0, 9.0),  # away from all
        (9.0, 2.0, 0.0),  # beside the wall
        (9.0, 2.0, 6.0),  # along the board
    ])  # fmt: skip
    np.testing.assert_allclose(first_met(front, eye, ends), [4 / 6, 2, 1, np.inf, np.inf, np.inf], rtol=1e-12)
    # Many starts towards one end; what the ray starts on is not met.
    starts = np.array([(0.0, 2.0, 0.0), (0.0, 2.0, 2.0), (4.0, 2.0, 0.0)])
    np.testing.assert_allclose(first_met(front, starts, eye), [1 / 3, np.inf, np.inf], rtol=1e-12)
    assert first_met(front, eye, np.array([0.0, 2.0, 0.0])).shape == (1,)


@pytest.mark.analytic
def test_what_a_ray_starts_on_is_not_met_whatever_other_rays_there_are():
    # Half a micrometre behind the wall, within what counts as on it; one of the rays is very long.
    start = np.array([(0.0, 2.0, -5e-7), (0.0, 2.0, -5e-7), (0.0, 2.0, -2e-6)])
    end = np.array([(0.0, 2.0, 6.0), (0.0, 2.0, 6000.0), (0.0, 2.0, 6.0)])
    found = first_met(kit.Facade([BACK]), start, end)
    assert np.isinf(found[:2]).all()
    assert found[2] == pytest.approx(2e-6 / 6, rel=1e-5)


@pytest.mark.analytic
def test_directions_that_end_on_the_front_are_hidden():
    front = kit.Facade([kit.Patch("wall", CORNERS, PLAIN)])
    # To the wall's foot, over its top, aside, back, and just within and beyond its edge at x = 5.
    rays = np.array([(0, -1, -5), (0, 9, -5), (9, 0, -5), (0, 0, 5), (4.999, 0, -5), (5.001, 0, -5)], float)
    rays /= np.linalg.norm(rays, axis=1)[:, None]
    expected = [True, False, False, False, True, False]
    assert hidden_directions(front, (0.0, 1.6, 5.0), rays).tolist() == expected
    assert (
        hidden_directions(front, (0.0, 1.6, 5.0), rays.reshape(3, 2, 3)).tolist()
        == np.reshape(expected, (3, 2)).tolist()
    )
    assert hidden_directions(front, (0.0, 1.6, 5.0), rays[0]).shape == ()


@pytest.mark.analytic
@pytest.mark.parametrize("plane", [(0.0, 0.0, 0.0), (2.0, 0.3, -0.2), (0.0, 8.0, 0.0)])
def test_a_patch_covers_its_inside_and_its_edges_where_they_count(plane):
    ring = on_plane([(1, 1), (2, 1), (2, 2), (1, 2)], *plane)
    frame = kit.Patch("frame", on_plane([(0, 0), (3, 0), (3, 3), (0, 3)], *plane), PLAIN, holes=[ring])
    inside, edge, beside = [(0.5, 0.5), (2.5, 1.5)], [(0, 1.5), (3, 3), (1, 1.5)], [(1.5, 1.5), (4, 1), (-0.1, 1)]
    at = np.array(on_plane([*inside, *edge, *beside], *plane))
    assert covers(frame, at).tolist() == [True, True, True, True, True, False, False, False]
    assert covers(frame, at, edge=False).tolist() == [True, True] + [False] * 6


@pytest.mark.analytic
def test_a_patch_that_stands_edge_on_covers_points_too():
    side = kit.Patch("side", [(1, 0, 0), (1, 0, 2), (1, 3, 2), (1, 3, 0)], PLAIN)
    assert covers(side, np.array([(1.0, 1.0, 1.0), (1.0, 1.0, 3.0), (1.0, 4.0, 1.0)])).tolist() == [True, False, False]


# Corners


LENS = np.array([0.0, 2.0, 8.0])


def corners_hidden(front, *points):
    """`points`: (place, name of its patch)."""
    names = [patch.name for patch in front.patches]
    places = np.array([place for place, _ in points], float)
    return hidden_corners(front.patches, places, np.array([names.index(name) for _, name in points]), LENS).tolist()


@pytest.mark.analytic
def test_a_corner_behind_another_patch_is_hidden():
    hole = [(-0.2, 1.8, 2), (0.2, 1.8, 2), (0.2, 2.2, 2), (-0.2, 2.2, 2)]
    front = kit.Facade([BACK, square("board", -1, 1, 1, 3, 2.0, holes=[hole])])
    # The board's right edge, at 1, is seen before 8/6 on the wall.
    assert corners_hidden(
        front,
        ((1.3, 2, 0), "wall"),
        ((1.35, 2, 0), "wall"),
        ((0, 2, 0), "wall"),  # through the hole
        ((0.9, 2, 2), "board"),  # before the wall
    ) == [True, False, False, False]


@pytest.mark.analytic
def test_a_line_of_sight_along_an_edge_is_free():
    front = kit.Facade([BACK, square("board", -1, 1, 1, 3, 2.0)])
    edge = (8 / 6, 2.0, 0.0)
    assert corners_hidden(front, (edge, "wall")) == [False]
    # A shadow counts its edge: rays and segments do.
    assert first_met(front, LENS, np.array(edge))[0] == pytest.approx(0.75)


@pytest.mark.analytic
def test_of_patches_in_one_plane_the_later_hides_corners_that_lie_within_it():
    within, on_edge, beside = (0.5, 0.5, 0.0), (0.0, 1.0, 0.0), (-0.5, 1.0, 0.0)
    for patches, hidden in (((BACK, square("door", 0, 0, 1, 2)), True), ((square("door", 0, 0, 1, 2), BACK), False)):
        front = kit.Facade(patches)
        assert corners_hidden(front, (within, "wall"), (on_edge, "wall"), (beside, "wall")) == [hidden, False, False]
    # Its own corners, and those of what lies on top of it, are not hidden.
    front = kit.Facade([BACK, square("door", 0, 0, 1, 2)])
    assert corners_hidden(front, ((0, 2, 0), "door"), ((0.5, 1, 0), "door"), ((-5, 0, 0), "wall")) == [False] * 3


@pytest.mark.analytic
def test_what_a_patch_is_joined_to_does_not_hide_its_corners():
    """A bay closed off backwards: its front's corners are those of its returns, and the far returns hide the wall."""
    bay = kit.with_returns(square("bay", 2, 1, 3, 3, 1.0), 0.0)
    front = kit.Facade([BACK, *bay])
    assert corners_hidden(front, *((corner, "bay") for corner in bay[0].outline)) == [False] * 4
    # On the wall at the bay's foot: on the side of the lens free, on the other side not.
    assert corners_hidden(front, ((1.99, 2, 0), "wall"), ((3.01, 2, 0), "wall")) == [False, True]


@pytest.mark.analytic
def test_what_a_corner_touches_with_its_point_does_not_hide_it():
    """A ledge ends at the middle of a side wall, which it meets at a right angle."""
    side = kit.Patch("side", [(3, 0, 0), (3, 0, 4), (3, 6, 4), (3, 6, 0)], PLAIN)
    front = kit.Facade([BACK, square("ledge", 1, 2, 3, 2.5, 2.0), side])
    assert corners_hidden(front, ((3, 2, 2), "ledge"), ((1, 2, 2), "ledge")) == [False, False]


@pytest.mark.analytic
def test_a_corner_off_its_plane_by_what_a_tape_measure_resolves_is_not_hidden_by_its_own_patch():
    bent = kit.Patch("bent", [(-1, 1, 0.004), (1, 1, -0.004), (1, 3, 0.004), (-1, 3, -0.004)], PLAIN)
    front = kit.Facade([bent])
    assert corners_hidden(front, *((corner, "bent") for corner in bent.outline)) == [False] * 4
    # Just within its edges: behind its mean plane by less than its corners are.
    assert corners_hidden(front, ((0.9, 1.1, -0.004), "bent"), ((0.9, 1.1, -0.1), "bent")) == [False, True]


@pytest.mark.property
@given(seeds)
def test_corners_nowhere_in_particular_are_hidden_where_a_ray_meets_something_first(seed):
    front = random_front(seed, returns=bool(seed % 2))
    raster = FrontRaster.over(front, BOUNDS, 0.7)
    points = raster.at(raster.patch >= 0)
    (lens,) = places_for(np.random.default_rng(seed), FAR, 1)
    expected = first_met(front, lens, points.position) < 1 - 1e-9
    np.testing.assert_array_equal(hidden_corners(front.patches, points.position, points.patch, lens), expected)


@pytest.mark.property
def test_a_shadow_keeps_within_the_box_that_says_whether_it_is_looked_at():
    """Of many small boards only those that can shade the window are projected; none may be missed."""
    boards = [square(f"board {i}", -4.5 + i, 1 + 0.4 * i, -4.2 + i, 1.5 + 0.4 * i, 0.5 + 0.3 * i) for i in range(9)]
    front = kit.Facade([BACK, *boards])
    lens = np.array([-5.0, 0.5, 1.9])
    raster = FrontRaster.on(front, Grid.over(BOUNDS, 0.053))
    points = raster.at(raster.patch >= 0)
    hidden = Occluders.of(front).hidden(points.position, points.plane, lens[None])[0]
    front_of_it = raster.planes.ahead(lens)[points.plane] > 0
    np.testing.assert_array_equal(reached(raster, lens)[raster.patch >= 0], front_of_it & ~hidden)
