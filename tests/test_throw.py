import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

import kit
from kit.source.placement import (
    picture_corners,
    picture_position,
    picture_window,
    unit_illuminance,
    wall_illuminance,
    zone_gain,
)

PERPENDICULAR = (0.0, 0.0, 1.0)
readings = st.lists(st.lists(st.floats(1.0, 100.0), min_size=3, max_size=3), min_size=3, max_size=3)


@st.composite
def poses(draw):
    """A projector anywhere in front of a wall, pointing roughly at it, and the wall's normal."""
    number = lambda low, high: draw(st.floats(low, high))  # noqa: E731
    position = (number(-5, 5), number(0, 5), number(4, 15))
    aim = (number(-4, 4), number(0, 5), number(-1, 1))
    tilt = np.array([number(-0.4, 0.4), number(-0.4, 0.4), 1.0])
    projector = kit.Projector(
        light_output=1000,
        throw_ratio=number(0.7, 3.0),
        resolution=(draw(st.sampled_from([(1920, 1080), (1024, 768), (800, 800)]))),
        lens_shift=(number(-0.5, 0.5), number(-0.6, 0.6)),
    )
    return (
        projector,
        kit.Placement(position=position, aim=aim, roll=number(-180, 180)),
        tilt / np.linalg.norm(tilt),
    )


def landed(placement, projector, normal, across, up):
    """Where the ray at a place in the picture (0 to 1 both ways) meets the plane through the aim."""
    forward, right, upward = placement.frame()
    left, right_end, bottom, top = picture_window(projector)
    ray = forward + (left + across * (right_end - left)) * right + (bottom + up * (top - bottom)) * upward
    position = np.array(placement.position)
    reach = normal @ (np.array(placement.aim) - position) / (normal @ ray)
    return position + reach * ray, reach


@pytest.mark.analytic
@pytest.mark.parametrize(("distance", "ratio", "width"), [(6.0, 1.5, 4.0), (9.0, 0.6, 15.0), (7.5, 2.5, 3.0)])
def test_picture_width_is_distance_over_throw_ratio(distance, ratio, width):
    # Rounding only.
    assert kit.picture_width(distance, ratio) == pytest.approx(width, rel=1e-12)
    assert kit.throw_distance(width, ratio) == pytest.approx(distance, rel=1e-12)
    assert kit.throw_ratio_for(width, distance) == pytest.approx(ratio, rel=1e-12)


@pytest.mark.analytic
def test_throw_functions_broadcast():
    distances, ratios = np.array([4.0, 6.0, 8.0]), np.array([[1.0], [2.0]])
    widths = kit.picture_width(distances, ratios)
    np.testing.assert_array_equal(widths, [[4, 6, 8], [2, 3, 4]])
    np.testing.assert_array_equal(kit.throw_distance(widths, ratios)[1], distances)


@pytest.mark.analytic
def test_picture_on_the_wall_is_as_wide_and_high_as_the_throw_ratio_says(wall):
    projector = kit.Projector(light_output=1000, throw_ratio=1.5, resolution=(1600, 1000))
    place = kit.Placement(position=(0, 5, 9), aim=(0, 5, 0))
    light = kit.light_map(kit.Scene(facade=wall(10, 10), projectors=[(projector, place)]), 0.01)
    lit = light["illuminance"].values > 0
    # 9 m / 1.5 = 6 m wide and 3.75 m high; either end is found to half a pixel of 1 cm.
    assert lit.any(axis=0).sum() * 0.01 == pytest.approx(6.0, abs=0.0101)
    assert lit.any(axis=1).sum() * 0.01 == pytest.approx(3.75, abs=0.0101)


@pytest.mark.property
@given(poses(), st.floats(-0.3, 1.3), st.floats(-0.3, 1.3), st.floats(0.01, 50))
def test_picture_position_finds_the_ray_that_a_point_lies_on(pose, across, up, depth):
    projector, placement, _ = pose
    forward, right, upward = placement.frame()
    left, right_end, bottom, top = picture_window(projector)
    ray = forward + (left + across * (right_end - left)) * right + (bottom + up * (top - bottom)) * upward
    position = np.array(placement.position)
    points = np.array([[position + depth * ray, position - depth * ray, position - depth * forward]])
    found = picture_position(projector, placement, points)
    assert [part.shape for part in found] == [(1, 3)] * 3
    # Rounding only: positions of up to 15 m against a depth of 1 cm lose three digits.
    assert [part[0, 0] for part in found] == pytest.approx([across - 0.5, up - 0.5, depth], rel=1e-9, abs=1e-9)
    # There is no picture behind the lens.
    assert np.isnan([part[0, 1:] for part in found]).all()


@pytest.mark.analytic
def test_picture_position_at_corners_and_centre_of_a_shifted_picture():
    projector = kit.Projector(light_output=1, throw_ratio=2.0, resolution=(1600, 1000), lens_shift=(0.25, 0.5))
    place = kit.Placement(position=(1, 2, 8), aim=(1, 2, 0))
    # 4 m x 2.5 m; a quarter of the width to the right and half the height up: centre at (2, 3.25).
    points = np.array([(0, 2, 0), (4, 4.5, 0), (2, 3.25, 0), (6, 3.25, 0), (2, 3.25, 8), (2, 3.25, 9)])
    across, up, depth = picture_position(projector, place, points)
    # Rounding only; in the lens's own plane and behind it there is no picture.
    np.testing.assert_allclose(across, [-0.5, 0.5, 0, 1, np.nan, np.nan], atol=1e-12)
    np.testing.assert_allclose(up, [-0.5, 0.5, 0, 0, np.nan, np.nan], atol=1e-12)
    np.testing.assert_allclose(depth, [8, 8, 8, 8, np.nan, np.nan], atol=1e-12)
    light = wall_illuminance(projector, place, points, PERPENDICULAR)
    assert (light > 0).tolist()[2:] == [True, False, False, False]


@pytest.mark.property
@given(poses(), st.floats(0.02, 0.98), st.floats(0.02, 0.98))
def test_illuminance_agrees_with_the_intensity_form(pose, across, up):
    projector, placement, normal = pose
    point, reach = landed(placement, projector, normal, across, up)
    assume(reach > 0.1)
    ray = point - np.array(placement.position)
    distance = np.linalg.norm(ray)
    axis = np.array(placement.aim) - np.array(placement.position)
    cos_axis = ray @ axis / (distance * np.linalg.norm(axis))
    cos_wall = -(ray @ normal) / distance
    assume(cos_wall > 0.02)
    # A panel evenly lit over width x height at 1 m sends intensity E1 / cos^3 off the axis.
    width = 1 / projector.throw_ratio
    intensity = 1 / (width * width / projector.aspect) / cos_axis**3
    expected = intensity * cos_wall / distance**2
    # The same algebra by another road; only rounding, which grazing incidence magnifies up to 50 times.
    assert wall_illuminance(projector, placement, point, normal) == pytest.approx(expected, rel=1e-9)


@pytest.mark.property
@given(poses(), st.floats(0.02, 0.98), st.floats(0.02, 0.98))
def test_illuminance_is_the_flux_of_a_small_part_of_the_picture_over_its_area_on_the_wall(pose, across, up):
    projector, placement, normal = pose
    h = 5e-4
    places = [(across - h, up - h), (across + h, up - h), (across + h, up + h), (across - h, up + h)]
    corners, reaches = zip(*(landed(placement, projector, normal, s, t) for s, t in places), strict=True)
    point, reach = landed(placement, projector, normal, across, up)
    assume(min(*reaches, reach) > 0.1)
    assume(max(reaches) < 100)
    area = np.linalg.norm(np.cross(corners[2] - corners[0], corners[3] - corners[1])) / 2
    expected = (2 * h) ** 2 / area  # Every part of the picture carries flux by its size in the picture.
    # The part is 1/1000 of the picture wide. Its error is of second order in its relative change of
    # depth, which is at most h x (picture size at unit depth) x reach / perpendicular distance x 3.
    perpendicular = normal @ (np.array(placement.position) - np.array(placement.aim))
    change = h * 2 * max(1 / projector.throw_ratio, unit_illuminance(projector) ** -0.5) * reach / perpendicular
    result = wall_illuminance(projector, placement, point, normal)
    assert result == pytest.approx(expected, rel=1e-7 + 6 * change**2)


@pytest.mark.analytic
def test_light_needs_a_wall_ahead_that_faces_the_lens():
    projector = kit.Projector(light_output=1, throw_ratio=1.0)
    place = kit.Placement(position=(0, 0, 5), aim=(0, 0, 0))
    assert wall_illuminance(projector, place, (0, 0, 0), PERPENDICULAR) > 0
    assert wall_illuminance(projector, place, (0, 0, 9), PERPENDICULAR) == 0  # behind the lens
    assert wall_illuminance(projector, place, (0, 0, 0), (0, 0, -1.0)) == 0  # the wall's other side
    assert wall_illuminance(projector, place, (4, 0, 0), PERPENDICULAR) == 0  # beside the picture


def lit_limits(projector, placement):
    """Left, right, bottom, top of the light on the plane z = 0, to a centimetre."""
    x, y = np.meshgrid(np.arange(-8, 8, 0.01) + 0.005, np.arange(-8, 8, 0.01) + 0.005)
    points = np.stack([x, y, np.zeros_like(x)], axis=-1)
    lit = wall_illuminance(projector, placement, points, PERPENDICULAR) > 0
    return x[lit].min(), x[lit].max(), y[lit].min(), y[lit].max()


# Limits are pixel centres of a 1 cm raster: within half a pixel of the edge.
HALF_PIXEL = 0.0051


@pytest.mark.analytic
def test_half_a_picture_of_lens_shift_up_puts_the_lower_edge_level_with_the_axis():
    projector = kit.Projector(light_output=1, throw_ratio=2.0, resolution=(1600, 1000), lens_shift=(0, 0.5))
    limits = lit_limits(projector, kit.Placement(position=(1, 0.7, 8), aim=(1, 0.7, 0)))
    # 4 m x 2.5 m.
    np.testing.assert_allclose(limits, (-1.0, 3.0, 0.7, 3.2), atol=HALF_PIXEL)


@pytest.mark.analytic
def test_half_a_picture_of_lens_shift_right_puts_the_left_edge_on_the_axis():
    projector = kit.Projector(light_output=1, throw_ratio=2.0, resolution=(1600, 1000), lens_shift=(0.5, 0))
    limits = lit_limits(projector, kit.Placement(position=(1, 0.7, 8), aim=(1, 0.7, 0)))
    np.testing.assert_allclose(limits, (1.0, 5.0, -0.55, 1.95), atol=HALF_PIXEL)


@pytest.mark.analytic
def test_positive_roll_turns_the_picture_clockwise_for_the_audience():
    # A picture shifted up; a quarter turn clockwise brings it to the right of the axis.
    projector = kit.Projector(light_output=1, throw_ratio=2.0, resolution=(1600, 1000), lens_shift=(0, 0.5))
    limits = lit_limits(projector, kit.Placement(position=(1, 0.7, 8), aim=(1, 0.7, 0), roll=90))
    np.testing.assert_allclose(limits, (1.0, 3.5, -1.3, 2.7), atol=HALF_PIXEL)


@pytest.mark.property
@given(readings)
def test_zone_gain_has_mean_one(zones):
    # Between breaks the gain is a cubic in each direction: Gauss quadrature with four nodes is exact.
    nodes, weights = np.polynomial.legendre.leggauss(4)
    breaks = np.array([-0.5, -1 / 3, 0, 1 / 3, 0.5])
    half = np.diff(breaks)[:, None] / 2
    at = ((breaks[:-1, None] + breaks[1:, None]) / 2 + half * nodes).ravel()
    weight = (half * weights).ravel()
    mean = weight @ zone_gain(zones, at[None, :], at[:, None]) @ weight
    # Rounding only.
    assert mean == pytest.approx(1.0, rel=1e-12)


@pytest.mark.property
@given(readings, st.floats(-0.5, 0.5), st.floats(-0.5, 0.5))
def test_zone_gain_stays_within_the_readings(zones, across, up):
    table = np.array(zones) / np.mean(zones)
    gain = zone_gain(zones, across, up)
    # Rounding only.
    assert table.min() * (1 - 1e-12) <= gain <= table.max() * (1 + 1e-12)


@pytest.mark.analytic
def test_zone_gain_takes_the_readings_at_the_zone_centres_top_row_first_left_to_right():
    zones = np.array([[10.0, 20, 30], [40, 50, 60], [70, 80, 90]])
    centres = np.array([-1 / 3, 0, 1 / 3])
    gain = zone_gain(zones, centres[None, :], -centres[:, None])
    # Rounding only.
    np.testing.assert_allclose(gain * 50.0, zones, rtol=1e-12)


@pytest.mark.analytic
def test_zones_fall_on_the_wall_as_the_audience_reads_them():
    zones = np.array([[10.0, 20, 30], [40, 50, 60], [70, 80, 90]])
    place = kit.Placement(position=(0, 0, 6), aim=(0, 0, 0))
    even, uneven = (kit.Projector(light_output=1, throw_ratio=2, resolution=(900, 900), zones=z) for z in (None, zones))
    # A picture 3 m wide and high: zone centres 1 m apart.
    points = np.array([[(x, y, 0.0) for x in (-1, 0, 1)] for y in (1, 0, -1)])
    ratio = wall_illuminance(uneven, place, points, PERPENDICULAR) / wall_illuminance(
        even, place, points, PERPENDICULAR
    )
    # Rounding only.
    np.testing.assert_allclose(ratio * 50.0, zones, rtol=1e-12)


@pytest.mark.property
@given(poses())
def test_the_corners_of_the_picture_are_where_its_corners_land(pose):
    projector, placement, _ = pose
    corners = picture_corners(projector, placement, depth=-2.0)
    meets = np.isfinite(corners).all(axis=1)
    np.testing.assert_allclose(corners[meets, 2], -2.0, atol=1e-9)
    across, up, _ = picture_position(projector, placement, corners[meets])
    np.testing.assert_allclose(across, np.array([-0.5, 0.5, 0.5, -0.5])[meets], atol=1e-8)
    np.testing.assert_allclose(up, np.array([-0.5, -0.5, 0.5, 0.5])[meets], atol=1e-8)


@pytest.mark.analytic
def test_the_corners_of_a_square_on_picture_by_hand():
    # 12 m away, throw ratio 0.8: 15 m wide, 16:10, lower edge level with the lens.
    projector = kit.Projector(light_output=1000, throw_ratio=0.8, resolution=(1920, 1200), lens_shift=(0.0, 0.5))
    place = kit.Placement(position=(1.0, 0.5, 12.0), aim=(1.0, 0.5, 0.0))
    wanted = [(-6.5, 0.5, 0.0), (8.5, 0.5, 0.0), (8.5, 9.875, 0.0), (-6.5, 9.875, 0.0)]
    np.testing.assert_allclose(picture_corners(projector, place), wanted, atol=1e-12)


@pytest.mark.analytic
def test_a_corner_whose_ray_misses_the_wall_is_no_number():
    projector = kit.Projector(light_output=1000, throw_ratio=0.3, lens_shift=(0.0, 0.0))
    place = kit.Placement(position=(0.0, 1.0, 10.0), aim=(6.0, 1.0, 8.0))
    missing = np.isnan(picture_corners(projector, place)).all(axis=1)
    # The right-hand rays turn away from the wall.
    assert missing.tolist() == [False, True, True, False]
