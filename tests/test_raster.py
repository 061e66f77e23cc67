"""Masks on a raster against polygons: pixel by pixel, edge by edge."""

import numpy as np
import pytest
import shapely
from fronts import BACK, BOUNDS, PLAIN, exposed_area, on_plane, random_front, star
from hypothesis import given
from hypothesis import strategies as st

import kit
from kit.wall.raster import MAX_PIXELS, Grid, around, clip, common, exposed, picture_rings, visible, within

seeds = st.integers(0, 2**32 - 1)


# The grid


@pytest.mark.analytic
@pytest.mark.parametrize(
    ("extent", "spacing", "across", "up"),
    [
        ((-6.0, 6.0, 0.0, 3.0), 0.05, 240, 60),
        ((0.0, 2.1, 0.0, 0.3), 0.3, 7, 1),  # 2.1 / 0.3 is a little more than 7 to the computer
        ((0.0, 1.0, 0.0, 1.0), 0.3, 4, 4),  # the last pixel stands over
        ((0.0, 0.2, 0.0, 5.0), 1.0, 1, 5),  # never none
    ],
)
def test_pixels_cover_the_extent_and_have_their_centres_in_the_middle(extent, spacing, across, up):
    grid = Grid.over(extent, spacing)
    assert (grid.x.size, grid.y.size) == (across, up)
    np.testing.assert_allclose(grid.x, extent[0] + spacing * (np.arange(across) + 0.5), rtol=1e-12)
    np.testing.assert_allclose(grid.y, extent[2] + spacing * (np.arange(up) + 0.5), rtol=1e-12)
    assert grid.spacing == spacing


@pytest.mark.bad_input
@pytest.mark.parametrize("extent", [(1, 1, 0, 2), (2, 1, 0, 2), (0, 1, 2, 2), (0, 1, 3, 2)])
def test_an_extent_the_wrong_way_round_is_refused(extent):
    with pytest.raises(kit.InputError, match=r"extent.*left < right, bottom < top"):
        Grid.over(extent, 0.1)


@pytest.mark.bad_input
def test_no_more_pixels_than_fit_in_memory():
    side = MAX_PIXELS**0.5
    assert Grid.over((0, side - 1, 0, side - 1), 1.0).x.size == int(side - 1) + 1
    # Along both axes, and in one row alone.
    for extent in ((0, side + 1, 0, side + 1), (0, 0.1, 0, MAX_PIXELS + 2.0), (0, MAX_PIXELS + 2.0, 0, 0.1)):
        with pytest.raises(kit.InputError, match="spacing"):
            Grid.over(extent, 1.0)
    for spacing in (0.0, -1.0, np.nan, "fine"):
        with pytest.raises(kit.InputError, match="spacing"):
            Grid.over((0, 1, 0, 1), spacing)


# Polygons on it


@pytest.mark.property
@given(seeds)
def test_a_pixel_is_inside_where_its_centre_is(seed):
    rng = np.random.default_rng(seed)
    rings = [star(rng, rng.uniform(-1, 1, 2), rng.uniform(0.2, 3.0), int(rng.integers(3, 12)))]
    if seed % 2:
        rings.append(rings[0].mean(axis=0) + 0.05 * np.array([(-1, -1), (1, -1), (0, 1)]))
    grid = Grid.over((-2.0, 2.5, -1.5, 2.0), float(rng.uniform(0.03, 0.3)))
    expected = shapely.contains_xy(shapely.Polygon(rings[0]), grid.x, grid.y[:, None])
    for hole in rings[1:]:
        expected ^= shapely.contains_xy(shapely.Polygon(hole), grid.x, grid.y[:, None])
    window = grid.window(rings[:1])
    found = np.zeros_like(expected)
    found[window] = grid.inside(rings, window)
    np.testing.assert_array_equal(found, expected)
    # The window holds no row or column beyond those that the outline touches.
    y, x = (np.arange(n)[part] for n, part in zip(found.shape, window, strict=True))
    (left, bottom), (right, top) = rings[0].min(axis=0), rings[0].max(axis=0)
    np.testing.assert_array_equal(x, np.flatnonzero((grid.x >= left) & (grid.x < right)))
    np.testing.assert_array_equal(y, np.flatnonzero((grid.y >= bottom) & (grid.y < top)))


@pytest.mark.property
@given(seeds)
def test_polygons_that_share_edges_neither_overlap_nor_leave_a_gap(seed):
    """A square cut from an inner point on a pixel's centre: cuts run through centres of pixels."""
    rng = np.random.default_rng(seed)
    grid = Grid.over((0.0, 8.0, 0.0, 8.0), 0.5)
    middle = 0.25 + 0.5 * rng.integers(2, 14, 2)
    corners = np.array([(0.25, 0.25), (7.75, 0.25), (7.75, 7.75), (0.25, 7.75)])
    whole = grid.inside([corners], grid.window([corners]))
    count = np.zeros((16, 16), int)
    for i in range(4):
        piece = np.array([corners[i], corners[(i + 1) % 4], middle])
        window = grid.window([piece])
        count[window] += grid.inside([piece], window)
    np.testing.assert_array_equal(count[grid.window([corners])], whole.astype(int))
    assert count.max() == 1


# What the audience sees


@pytest.mark.property
@given(seeds)
def test_each_pixel_shows_the_nearest_patch(seed):
    front = random_front(seed)
    grid = Grid.over(BOUNDS, 0.17)
    x, y = np.meshgrid(grid.x, grid.y)
    depth = np.full((len(front.patches), *x.shape), -np.inf)
    for i, patch in enumerate(front.patches):
        z0, zx, zy = patch.depth_plane()
        on = shapely.contains_xy(patch.elevation, x, y)
        depth[i][on] = (z0 + zx * x + zy * y)[on]
    expected = np.where(np.isfinite(depth).any(axis=0), depth.argmax(axis=0), -1)
    found = visible(front, grid)
    np.testing.assert_array_equal(found, expected)
    # Two bytes a pixel: maps may have millions.
    assert found.dtype == np.int16


@pytest.mark.analytic
@pytest.mark.parametrize("order", [(0, 1, 2), (0, 2, 1), (2, 1, 0)])
def test_in_one_plane_the_last_of_the_list_is_seen(order):
    boxes = [
        kit.Patch(name, on_plane([(a, a), (b, a), (b, b), (a, b)], 1.0, 0.2, -0.1), PLAIN)
        for name, a, b in (("outer", 0, 4), ("middle", 1, 3), ("inner", 1.5, 2.5))
    ]
    # One that lies before the others stays in front wherever it is listed; one seen edge-on is not seen.
    post = kit.Patch("post", [(0.5, 0.0, 3.0), (0.9, 0.0, 3.0), (0.9, 4.0, 3.0), (0.5, 4.0, 3.0)], PLAIN)
    edge = kit.Patch("edge", [(2.2, 0, 0), (2.2, 4, 0), (2.2, 4, 4), (2.2, 0, 4)], PLAIN)
    front = kit.Facade([post, edge, *(boxes[i] for i in order)])
    index = visible(front, Grid.over((0, 4, 0, 4), 0.1))
    counts = {p.name: int((index == i).sum()) for i, p in enumerate(front.patches)}
    assert counts["post"] == 4 * 40
    assert counts["edge"] == 0
    side = {"outer": 40, "middle": 20, "inner": 10}
    free = dict.fromkeys(side, 0)
    for k, name in enumerate(boxes[i].name for i in order):
        later = [boxes[i].name for i in order[k + 1 :]]
        # Each later one that is smaller cuts its whole out of this one; a larger one hides it.
        if all(side[other] < side[name] for other in later):
            free[name] = side[name] ** 2 - max([side[other] ** 2 for other in later], default=0)
    free["outer"] -= 4 * 40 if free["outer"] else 0
    assert {name: counts[name] for name in side} == free


@pytest.mark.property
@given(seeds)
def test_what_is_exposed_is_what_is_seen_and_covers_the_front_once(seed):
    front = random_front(seed)
    shapes = exposed(front)
    spacing = 0.05
    grid = Grid.over(BOUNDS, spacing)
    index = visible(front, grid)
    for i, patch in enumerate(front.patches):
        inside = shapely.contains_xy(shapes[patch.name], grid.x, grid.y[:, None])
        # Both go by the pixel's centre; only rounding can tell them apart.
        np.testing.assert_array_equal(index == i, inside)
        # Foreshortened as the audience sees it.
        assert exposed_area(front, patch.name) == pytest.approx(shapes[patch.name].area / patch.normal[2], rel=1e-12)
    # Rounding of the cuts.
    whole = shapely.union_all([patch.elevation for patch in front.patches])
    assert sum(shape.area for shape in shapes.values()) == pytest.approx(whole.area, rel=1e-9)


@pytest.mark.analytic
def test_of_two_planes_that_cross_each_hides_the_other_beyond_the_line():
    """A square at z = 0 and one that leans through it along x = 1, to the right before it."""
    flat = kit.Patch("flat", [(-2, 0), (2, 0), (2, 1), (-2, 1)], PLAIN)
    leaning = kit.Patch("leaning", on_plane([(-2, 0), (2, 0), (2, 1), (-2, 1)], -1.0, 1.0, 0.0), PLAIN)
    for patches in ((flat, leaning), (leaning, flat)):
        front = kit.Facade(patches)
        shapes = exposed(front)
        assert shapes["flat"].bounds == pytest.approx((-2, 0, 1, 1), abs=1e-5)
        assert shapes["leaning"].bounds == pytest.approx((1, 0, 2, 1), abs=1e-5)
        # 1 m2 in elevation, at 45 degrees.
        assert exposed_area(front, "leaning") == pytest.approx(2**0.5, rel=1e-5)
        index = visible(front, Grid.over((-2, 2, 0, 1), 0.1))
        assert (index == patches.index(flat)).sum() == 300
        assert (index == patches.index(leaning)).sum() == 100


@pytest.mark.analytic
def test_what_is_seen_edge_on_has_no_exposed_area():
    front = kit.Facade([BACK, *kit.with_returns(kit.Patch("bay", [(0, 1, 1), (1, 1, 1), (1, 2, 1)], PLAIN), 0.0)])
    assert set(exposed(front)) == {"wall", "bay"}
    assert exposed_area(front, "bay, return 1") == 0.0
    assert exposed_area(front, "wall") == pytest.approx(60 - 0.5, rel=1e-12)


@pytest.mark.bad_input
def test_edges_that_cross_only_as_the_audience_sees_them_are_refused():
    """The corners lie in one plane to the millimetre that a tape resolves, but that plane is seen nearly edge-on."""
    corners = [(0, -16, 19), (0, 0, 0), (1, 0, 18), (1, 1, 18)]
    with pytest.raises(kit.InputError, match=r"patch 'wall': outline.*nearly edge-on that its edges cross"):
        kit.Patch("wall", [tuple(0.3048 * c for c in corner) for corner in corners], PLAIN)
    text = """
        name = "house"
        units = "ft"
        units_checked = true
        [[patch]]
        name = "wall"
        surface = "red brick"
        corners = [[0, -16, 19], [0, 0, 0], [1, 0], [1, 1]]
        depth = 18
    """
    with pytest.raises(kit.InputError, match="its edges cross"):
        kit.parse_house(text)


# Pictures and windows


@pytest.mark.analytic
def test_a_picture_lands_where_its_corner_rays_do():
    rays = np.array([(-1.0, -0.5, -1.0), (1.0, -0.5, -1.0), (1.0, 0.5, -1.0), (-1.0, 0.5, -1.0)])
    (ring,) = picture_rings(rays, np.array([1.0, 2.0, 6.0]), np.array([0.0, 0.0, 1.0]), 2.0)
    np.testing.assert_allclose(ring, [(-3, 0), (5, 0), (5, 4), (-3, 4)], rtol=1e-12)
    # From behind, and where all of it looks away, nothing lands.
    for lens, away in ((1.0, 1.0), (6.0, -1.0)):
        assert picture_rings(rays * (1, 1, away), np.array([1.0, 2.0, lens]), np.array([0.0, 0.0, 1.0]), 2.0) == []


@pytest.mark.analytic
def test_of_a_picture_that_looks_beyond_the_wall_the_part_that_meets_it_is_kept():
    """Half of the rays run away from the wall: the picture has no end there."""
    rays = np.array([(0.0, -0.5, -1.0), (2.0, -0.5, 1.0), (2.0, 0.5, 1.0), (0.0, 0.5, -1.0)])
    (ring,) = picture_rings(rays, np.array([0.0, 0.0, 1.0]), np.array([0.0, 0.0, 1.0]), 0.0)
    shape = shapely.Polygon(ring)
    # Halfway between the corners the rays are level; those within meet the wall as far away as one likes.
    assert shape.bounds[0] == pytest.approx(0.0)
    assert shape.bounds[2] > 1e5
    # The ray a quarter of the way, (0.5, t, -0.5), lands at x = 1 with 2 t to either side.
    cut = shape.intersection(shapely.LineString([(1.0, -9.0), (1.0, 9.0)]))
    assert cut.length == pytest.approx(2.0, rel=1e-6)


@pytest.mark.analytic
def test_a_polygon_is_clipped_to_a_half_space():
    square = np.array([(0.0, 0.0, 0.0), (2.0, 0.0, 0.0), (2.0, 2.0, 0.0), (0.0, 2.0, 0.0)])
    half = clip(square, np.array([1.0, 0.0, 0.0]), 0.5)
    assert shapely.Polygon(half[:, :2]).equals(shapely.box(0.5, 0, 2, 2))
    assert shapely.Polygon(clip(square, np.array([1.0, 1.0, 0.0]), 1.0)[:, :2]).area == pytest.approx(3.5)
    # All of it, none of it; an edge on the border counts as inside.
    assert clip(square, np.array([1.0, 0.0, 0.0]), 0.0) is square
    assert clip(square, np.array([1.0, 0.0, 0.0]), 2.5).shape == (0, 3)


@pytest.mark.analytic
def test_windows_are_joined_cut_and_counted_from_another():
    one, other, far = ((slice(2, 6), slice(1, 4)), (slice(4, 9), slice(3, 8)), (slice(6, 9), slice(4, 5)))
    assert around([one, other]) == (slice(2, 9), slice(1, 8))
    assert common(one, other) == common(other, one) == (slice(4, 6), slice(3, 4))
    # Windows that only touch, in rows or in columns or at a corner, have nothing in common.
    assert common(one, far) is None
    assert common((slice(2, 6), slice(1, 4)), (slice(6, 9), slice(1, 4))) is None
    assert common((slice(2, 6), slice(1, 4)), (slice(2, 6), slice(4, 6))) is None
    assert within((slice(4, 6), slice(3, 4)), one) == (slice(2, 4), slice(2, 3))


@pytest.mark.regression
def test_nothing_is_seen_of_what_lies_under_its_own_copy():
    # Corners that once lost a piece where the copy was cut by its own box.
    flat = [
        (4.108564870130885, 3.5255214575404086), (0.4403322988458356, 4.011071242143978),
        (-1.7263622601639113, 4.751920818037119), (-0.3400000000000001, 3.5255214575404086),
        (0.29281098363006763, -0.2508203087958458), (0.51, 2.9193036748913017),
    ]  # fmt: skip
    hole = [
        (0.08513034274890138, 1.334241683047728), (0.21430184727416926, 1.20507017852246),
        (0.34347335179943717, 1.334241683047728), (0.21430184727416926, 1.4634131875729959),
    ]  # fmt: skip
    beside = [
        (3.8474937845710553, 3.293724555874755), (-1.4867478861615293, 1.6200132575795965),
        (-1.9055039703477314, -2.5412996514638886), (4.264633857657407, -2.7951687365047126),
    ]  # fmt: skip
    outline, opening = (on_plane(ring, 0.0, 0.0, -1.5) for ring in (flat, hole))
    under, upon = (kit.Patch(name, outline, PLAIN, holes=[opening]) for name in ("under", "upon"))
    leaning = kit.Patch("leaning", on_plane(beside, -1.0, 0.4, -0.7), PLAIN)
    assert exposed(kit.Facade([under, leaning, upon]))["under"].area == 0.0
