"""Points on the wall: on the front's planes, and together as much of it as the audience sees."""

import numpy as np
import pytest
import shapely
from fronts import BACK, BOUNDS, PLAIN, on_plane, random_front
from hypothesis import given
from hypothesis import strategies as st

import kit
from kit.wall.points import FrontRaster, Planes, WallPoints, check_in_front, middle
from kit.wall.raster import exposed

seeds = st.integers(0, 2**32 - 1)


def box(name, left, bottom, right, top, *plane):
    return kit.Patch(
        name, on_plane([(left, bottom), (right, bottom), (right, top), (left, top)], *(plane or (0, 0, 0))), PLAIN
    )


# Leans back by 0.75 m in a metre of height: 1.25 m of wall for each metre seen.
ROOF = box("roof", -4, 4, 4, 6, 3.0, 0.0, -0.75)
HOUSE = kit.Facade(
    [
        box("wall", -4, 0, 4, 4),
        ROOF,
        box("door", 0, 0, 1, 2),
        *kit.with_returns(box("bay", -3, 1, -1, 3, 1.0, 0, 0), 0.0),
        # In the plane of the wall within rounding, and beyond it.
        box("window", 2, 1, 3, 2, 1e-8, 0, 0),
        box("sill", 2, 0.5, 3, 0.7, 1e-3, 0, 0),
        # Before the bay's front, in its plane, and hidden behind it.
        box("shutter", -2, 1, -1, 3, 1.0, 0, 0),
        box("hidden", -2, 1.5, -1.5, 2, 0.5, 0, 0),
    ]
)
NAMES = [patch.name for patch in HOUSE.patches]
AREAS = {"wall": 32 - 4 - 2 - 1 - 0.2, "roof": 16, "door": 2, "bay": 2, "window": 1, "sill": 0.2, "shutter": 2}


# Planes


@pytest.mark.analytic
def test_patches_of_one_plane_are_one_group():
    planes = Planes.of(HOUSE)
    groups = [{NAMES[i] for i in members} for members in planes.members]
    assert groups == [{"wall", "door", "window"}, {"roof"}, {"bay", "shutter"}, {"sill"}, {"hidden"}]
    # Each patch knows its group; edge-on ones, and the index -1, have none.
    for i, name in enumerate(NAMES):
        group = [k for k, names in enumerate(groups) if name in names]
        assert planes.of_patch[i] == (group[0] if group else -1)
    assert planes.of_patch[-1] == -1
    assert planes.of_patch.size == len(NAMES) + 1


@pytest.mark.analytic
def test_a_plane_is_told_by_normal_offset_and_slope():
    planes = Planes.of(HOUSE)
    # 3-4-5: up by 1 and back by 0.75.
    np.testing.assert_allclose(planes.normal[1], (0, 0.6, 0.8), atol=1e-12)
    np.testing.assert_allclose(planes.slope[1], (3, 0, -0.75), atol=1e-12)
    # Through (0, 4, 0).
    assert planes.offset[1] == pytest.approx(2.4, rel=1e-12)
    np.testing.assert_allclose(planes.slope[2], (1, 0, 0), atol=1e-12)
    # How far a place lies before each: 2 m before the wall, 1 m before the bay, on the roof, 0.5 m beyond it.
    ahead = planes.ahead([(0.0, 4.0, 2.0), (1.0, 5.0, -0.75), (1.0, 5.3, -0.35)])
    assert ahead.shape == (3, 5)
    np.testing.assert_allclose(ahead[0, [0, 2]], (2, 1), rtol=1e-12)
    np.testing.assert_allclose(ahead[1:, 1], (0, 0.5), atol=1e-12)


# The front on a raster


@pytest.fixture(scope="module")
def raster():
    return FrontRaster.over(HOUSE, (-5.0, 5.0, -1.0, 7.0), 0.1)


@pytest.mark.analytic
def test_points_stand_for_the_exact_area_of_what_is_seen(raster):
    """Edges lie on those of pixels, so that nothing is lost; the roof is larger than it looks."""
    points = raster.at(raster.patch >= 0)
    for name, area in AREAS.items():
        here = points.patch == NAMES.index(name)
        # Rounding only.
        assert points.weight[here].sum() == pytest.approx(area, rel=1e-9)
        assert points.area[here].sum() == pytest.approx(area * (1.25 if name == "roof" else 1.0), rel=1e-9)
    assert set(np.unique(points.patch)) == {NAMES.index(name) for name in AREAS}
    assert points.weight.sum() == pytest.approx(48, rel=1e-9)
    assert raster.seen_area == pytest.approx(32 + 20, rel=1e-9)
    assert raster.seen_area == pytest.approx(points.area.sum(), rel=1e-9)
    np.testing.assert_allclose(raster.pixel_area[[0, 1]], (0.01, 0.0125), rtol=1e-12)
    assert raster.pixel_area[NAMES.index("bay, return 1")] == 0.0


@pytest.mark.property
@given(seeds)
def test_points_lie_on_their_patches(seed):
    front = random_front(seed, returns=True)
    raster = FrontRaster.over(front, (-5.5, 5.5, -0.5, 6.5), 0.31)
    points = raster.points
    np.testing.assert_array_equal(np.isnan(points).any(axis=-1), raster.patch < 0)
    for i, patch in enumerate(front.patches):
        mine = points[raster.patch == i]
        # Rounding of coordinates of some metres.
        np.testing.assert_allclose(mine @ patch.normal, patch.offset, atol=1e-12)
        rows, columns = np.nonzero(raster.patch == i)
        np.testing.assert_array_equal(mine[:, 0], raster.grid.x[columns])
        np.testing.assert_array_equal(mine[:, 1], raster.grid.y[rows])
    # What stands over the wall belongs to no plane.
    np.testing.assert_array_equal(raster.plane < 0, raster.patch < 0)
    np.testing.assert_array_equal(
        raster.plane[raster.patch >= 0], raster.planes.of_patch[raster.patch[raster.patch >= 0]]
    )
    for k, window in enumerate(raster.windows):
        outside = raster.plane.copy()
        outside[window] = -1
        assert not (outside == k).any()


@pytest.mark.analytic
def test_places_in_elevation_are_lifted_onto_any_patch(raster):
    wall, roof, bay = (NAMES.index(name) for name in ("wall", "roof", "bay"))
    index = np.array([wall, roof, bay, -1])
    expected = [(1, 5, 0), (1, 5, -0.75), (1, 5, 1), (np.nan,) * 3]
    for lifted in (raster.planes.lift(index, x, y) for x, y in ((1.0, 5.0), ([1.0], np.full(4, 5.0)))):
        np.testing.assert_allclose(lifted[:3], expected[:3], atol=1e-12)
        assert np.isnan(lifted[3, 2])
    # A row of places against a column of them.
    assert raster.planes.lift(np.array(roof), np.arange(3.0), np.arange(2.0)[:, None]).shape == (2, 3, 3)


@pytest.mark.property
def test_a_mask_and_an_index_pick_the_same_points(raster):
    mask = np.zeros(raster.patch.shape, bool)
    mask[12:70:7, 11:90:5] = True
    mask &= raster.patch >= 0
    index = np.flatnonzero(mask)
    by_mask, by_index = raster.at(mask), raster.at(index)
    for name in ("position", "patch", "weight", "plane", "normal", "area"):
        np.testing.assert_array_equal(getattr(by_mask, name), getattr(by_index, name))
    np.testing.assert_array_equal(by_mask.position, raster.points[mask])
    np.testing.assert_array_equal(by_mask.patch, raster.patch[mask])
    np.testing.assert_array_equal(by_mask.plane, raster.plane[mask])
    # An index says in which order, and which ones twice.
    turned = raster.at(index[::-1])
    np.testing.assert_array_equal(turned.position, by_mask.position[::-1])
    some = raster.at(index[[3, 3, 0]])
    np.testing.assert_array_equal(some.position, by_mask.position[[3, 3, 0]])
    np.testing.assert_array_equal(some.weight, by_mask.weight[[3, 3, 0]])
    assert raster.at(np.zeros_like(mask)).position.shape == (0, 3)
    for row, normal in zip(by_mask.patch, by_mask.normal, strict=True):
        np.testing.assert_allclose(normal, HOUSE.patches[row].normal, atol=1e-12)


# A sparse sample


@pytest.mark.property
@given(seeds, st.sampled_from([5.0, 60.0, 900.0]))
def test_a_sample_stands_for_the_whole_of_what_is_seen(seed, wanted):
    front = random_front(seed)
    shapes = exposed(front)
    members = [i for i in range(len(front.patches)) if (seed >> i) % 2 or i == 0]
    points = WallPoints.sample(front, members, BOUNDS, wanted)
    for i, patch in enumerate(front.patches):
        here = points.patch == i
        area = shapes[patch.name].area if i in members else 0.0
        # However few points there are; rounding only.
        assert points.weight[here].sum() == pytest.approx(area, rel=1e-9, abs=1e-15)
        assert points.area[here].sum() == pytest.approx(area / patch.normal[2], rel=1e-9, abs=1e-15)
        np.testing.assert_allclose(points.position[here] @ patch.normal, patch.offset, atol=1e-12)
        if area:
            # Where the audience sees that patch.
            assert shapes[patch.name].distance(shapely.points(points.position[here, :2])).max() == 0
    # Less than a pixel along the border of what is sampled.
    if wanted == 900.0:
        border = sum(shapes[front.patches[i].name].length for i in members)
        area = sum(shapes[front.patches[i].name].area for i in members)
        assert abs(points.patch.size - wanted) <= border / (area / wanted) ** 0.5 + len(members)


@pytest.mark.analytic
def test_what_slips_between_the_points_gets_one():
    slat = box("slat", -4, 2.503, 4, 2.504, 0.5, 0, 0)
    front = kit.Facade([box("wall", -4, 0, 4, 5), slat])
    points = WallPoints.sample(front, [0, 1], front.bounds, 100)
    on_slat = np.flatnonzero(points.patch == 1)
    assert on_slat.size == 1
    assert points.weight[on_slat] == pytest.approx(0.008, rel=1e-6)
    x, y, z = points.position[on_slat[0]]
    assert -4 < x < 4
    assert 2.503 < y < 2.504
    assert z == pytest.approx(0.5)
    assert points.weight.sum() == pytest.approx(40, rel=1e-9)


@pytest.mark.bad_input
def test_patches_that_nobody_sees_have_no_sample():
    hidden = [NAMES.index("hidden"), NAMES.index("bay, return 1")]
    # One seen edge-on beside one that is seen is no matter.
    assert set(WallPoints.sample(HOUSE, [0, hidden[0]], HOUSE.bounds, 50).patch) == {0}
    with pytest.raises(kit.InputError, match=r"target.*'hidden'.*sees some"):
        WallPoints.sample(HOUSE, hidden[:1], HOUSE.bounds, 50)


# Before the front


@pytest.mark.analytic
def test_the_middle_of_a_front_is_that_of_its_extent():
    assert middle(kit.Facade([box("wall", -1, 0, 4, 4), box("post", 4, 0, 5, 7, 2.0, 0, 0)])) == (2.0, 3.5, 0.0)


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("place", "named"),
    [
        ((0.5, 2.0, 8.0), None),
        ((-2.0, 2.0, 1.2), None),  # before the bay
        ((-2.0, 2.0, 0.7), "'bay'"),  # within it
        ((-2.0, 2.0, 1.0), "'bay'"),  # on it
        ((1.5, 2.0, 0.0), "behind"),  # on the wall
        ((1.5, 2.0, -1.0), "behind the wall"),
        ((1.5, 5.0, -0.2), None),  # before the roof, which leans back
        ((1.5, 5.0, -0.9), "behind"),
        ((9.0, 6.0, -1.0), None),  # beside the house, before the plane of the roof
        ((9.0, 2.0, -9.0), "behind the wall"),
    ],
)
def test_what_stands_behind_or_in_the_front_is_refused(place, named):
    if named is None:
        check_in_front(HOUSE, place, "here", "a lamp")
        return
    with pytest.raises(kit.InputError, match=rf"here.*a lamp in front.*{named}") as error:
        check_in_front(HOUSE, [(0, 2, 9), place], "here", "a lamp")
    assert error.value.value == place


@pytest.mark.bad_input
def test_beside_a_wall_its_plane_is_the_border():
    wall = kit.Facade([box("wall", -4, 0, 4, 4)])
    check_in_front(wall, (9.0, 2.0, 1e-3), "here", "a lamp")
    with pytest.raises(kit.InputError, match="behind the wall"):
        check_in_front(wall, (9.0, 2.0, 0.0), "here", "a lamp")


@pytest.mark.analytic
def test_a_place_in_an_opening_is_in_front_of_what_it_shows():
    ring = [(-1, 2, 1), (1, 2, 1), (1, 4, 1), (-1, 4, 1)]
    arch = kit.Patch("arch", [(-2, 1, 1), (2, 1, 1), (2, 5, 1), (-2, 5, 1)], PLAIN, holes=[ring])
    check_in_front(kit.Facade([BACK, arch]), (0, 3, 0.5), "here", "a lamp")
    with pytest.raises(kit.InputError, match="'arch'"):
        check_in_front(kit.Facade([BACK, arch]), (1.5, 3, 0.5), "here", "a lamp")
