from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

import kit
from kit.source.beam import CORNERS, zone_gain

PERPENDICULAR = (0.0, 0.0, 1.0)
PLACE = kit.Placement(position=(0, 0, 5), aim=(0, 0, 0))
AXES = ("position", "forward", "right", "up", "centre", "size")
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
    return (projector, kit.Placement(position=position, aim=aim, roll=number(-180, 180)), tilt / np.linalg.norm(tilt))


def window(projector):
    """Left, right, bottom and top of the picture on the plane 1 m from the lens, by the throw ratio and the shift."""
    width = 1.0 / projector.throw_ratio
    height = width * projector.resolution[1] / projector.resolution[0]
    across, up = projector.lens_shift[0] * width, projector.lens_shift[1] * height
    return across - width / 2, across + width / 2, up - height / 2, up + height / 2


def picture_ray(placement, projector, across, up):
    """The ray through a place in the picture (0 to 1 both ways), by the placement's axes."""
    forward, right, upward = placement.frame()
    left, right_end, bottom, top = window(projector)
    return forward + (left + across * (right_end - left)) * right + (bottom + up * (top - bottom)) * upward


def landed(placement, projector, normal, across, up):
    """Where the ray at a place in the picture (0 to 1 both ways) meets the plane through the aim."""
    ray = picture_ray(placement, projector, across, up)
    position = np.array(placement.position)
    reach = normal @ (np.array(placement.aim) - position) / (normal @ ray)
    return position + reach * ray, reach


def illuminance(projector, placement, points, normals):
    return kit.Beam.of(projector, placement).illuminance(points, normals)


@pytest.mark.analytic
@pytest.mark.parametrize(("distance", "ratio", "width"), [(6.0, 1.5, 4.0), (9.0, 0.6, 15.0), (7.5, 2.5, 3.0)])
def test_picture_width_is_distance_over_throw_ratio(distance, ratio, width):
    # Rounding only.
    assert kit.picture_width(distance, ratio) == pytest.approx(width, rel=1e-12)
    assert kit.throw_ratio_for(width, distance) == pytest.approx(ratio, rel=1e-12)


@pytest.mark.analytic
def test_throw_functions_broadcast():
    distances, ratios = np.array([4.0, 6.0, 8.0]), np.array([[1.0], [2.0]])
    widths = kit.picture_width(distances, ratios)
    np.testing.assert_array_equal(widths, [[4, 6, 8], [2, 3, 4]])
    np.testing.assert_array_equal(kit.throw_ratio_for(widths, distances)[:, 1], ratios[:, 0])


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
def test_a_point_is_found_on_the_ray_that_it_lies_on(pose, across, up, depth):
    projector, placement, _ = pose
    ray = picture_ray(placement, projector, across, up)
    position, forward = np.array(placement.position), placement.frame()[0]
    points = np.array([[position + depth * ray, position - depth * ray, position - depth * forward]])
    landing = kit.Beam.of(projector, placement).on(points)
    found = landing.across, landing.up, landing.depth
    assert [part.shape for part in found] == [(1, 3)] * 3
    # Rounding only: positions of up to 15 m against a depth of 1 cm lose three digits.
    assert [part[0, 0] for part in found] == pytest.approx([across - 0.5, up - 0.5, depth], rel=1e-9, abs=1e-9)
    columns, rows = projector.resolution
    assert landing.column[0, 0] == pytest.approx(columns * across, rel=1e-9, abs=1e-6)
    assert landing.row[0, 0] == pytest.approx(rows * (1 - up), rel=1e-9, abs=1e-6)
    # There is no picture behind the lens.
    assert np.isnan([part[0, 1:] for part in found]).all()
    assert not landing.inside()[0, 1:].any()


@pytest.mark.property
@given(poses(), st.floats(-0.7, 0.7), st.floats(-0.7, 0.7))
def test_rays_and_landing_are_inverse_to_each_other(pose, across, up):
    projector, placement, normal = pose
    beam = kit.Beam.of(projector, placement)
    columns, rows = projector.resolution
    rays = np.stack([beam.rays(across, up), beam.pixel_rays(columns * (across + 0.5), rows * (0.5 - up))])
    np.testing.assert_allclose(rays[0], rays[1], rtol=1e-12, atol=1e-12)
    # The part along the axis is 1.
    np.testing.assert_allclose(rays @ beam.forward, 1.0, rtol=1e-12)
    where = beam.land(rays, normal, normal @ np.array(placement.aim))
    assume(np.isfinite(where).all())
    landing = beam.on(where)
    assume(float(landing.depth.max()) < 1e3)
    # Rounding only, magnified where the ray grazes the wall and lands far off.
    np.testing.assert_allclose(landing.across, across, atol=1e-9)
    np.testing.assert_allclose(landing.up, up, atol=1e-9)
    # And back: the ray through the place in the picture of a point passes through it.
    there = np.array(placement.position) + landing.depth[..., None] * beam.rays(landing.across[0], landing.up[0])
    np.testing.assert_allclose(there, where, rtol=1e-9, atol=1e-9)


@pytest.mark.analytic
def test_the_slack_of_the_picture_is_a_share_of_its_size():
    projector = kit.Projector(light_output=1, throw_ratio=2.0, resolution=(1600, 1000))
    beam = kit.Beam.of(projector, kit.Placement(position=(0, 0, 8), aim=(0, 0, 0)))
    # 4 m x 2.5 m: a tenth wider is 20 cm on either side, a tenth higher 12.5 cm.
    points = [(2, 0, 0), (2.19, 0, 0), (2.21, 0, 0), (0, 1.37, 0), (0, 1.38, 0), (0, 0, 9)]
    assert beam.on(points).inside().tolist() == [True, False, False, False, False, False]
    assert beam.on(points).inside(0.1).tolist() == [True, True, False, True, False, False]


@pytest.mark.analytic
@given(poses())
def test_without_roll_the_picture_is_level_and_roll_turns_it_about_the_axis(pose):
    _, placement, _ = pose
    x, y, z = np.subtract(placement.aim, placement.position)
    level, length = np.hypot(x, z), np.sqrt(x * x + y * y + z * z)
    # forward x (0, 1, 0), and what is square to both: up, whichever way the lens points.
    across, upward = np.array((-z, 0, x)) / level, np.array((-x * y, level**2, -z * y)) / (level * length)
    turn = np.radians(placement.roll)
    expected = [
        np.array((x, y, z)) / length,
        np.cos(turn) * across - np.sin(turn) * upward,
        np.cos(turn) * upward + np.sin(turn) * across,
    ]
    # Rounding only.
    np.testing.assert_allclose(placement.frame(), expected, atol=1e-12)


@pytest.mark.property
@pytest.mark.parametrize("length", [1e-3, 1.0, 1e3])
def test_what_counts_as_straight_up_is_an_angle(length):
    # A millionth of the way, however far away the aim is.
    for way in (1.0, -1.0):
        with pytest.raises(kit.InputError, match="straight above or below"):
            kit.Placement(position=(0, 0, 0), aim=(5e-7 * length, way * length, 0))
        frame = np.array(kit.Placement(position=(0, 0, 0), aim=(0, way * length, 2e-6 * length), roll=20).frame())
        # Unit vectors, square to each other; the small part of the axis has lost six digits.
        np.testing.assert_allclose(frame @ frame.T, np.eye(3), atol=1e-9)


# Elements


@pytest.mark.property
@given(poses(), st.floats(0.02, 0.98), st.floats(0.02, 0.98), st.booleans())
def test_an_element_is_the_map_from_picture_to_wall_by_differences(pose, across, up, seen):
    projector, placement, normal = pose
    point, reach = landed(placement, projector, normal, across, up)
    assume(0.1 < reach < 100)
    perpendicular = normal @ (np.array(placement.position) - np.array(placement.aim))
    assume(perpendicular > 0.3)
    # By a hundredth of an element to either side, in steps of the picture's width over its columns both ways.
    columns, rows = projector.resolution
    h = 0.01
    step = np.array([(h / columns, 0), (0, h / rows)])
    ends = [
        [landed(placement, projector, normal, across + way * a, up + way * b)[0] for way in (1, -1)] for a, b in step
    ]
    shape = np.stack([(one - other) / (2 * h) for one, other in ends], axis=1)
    eye = None
    if seen:
        eye = point + np.array((1.0, 0.5, 7.0))
        view = point - eye
        distance = np.linalg.norm(view)
        view /= distance
        # What is seen of it lies across the line of sight, as an angle.
        shape = (shape - np.outer(view, view @ shape)) / distance
    sizes = np.linalg.svd(shape, compute_uv=False)
    longest, shortest = kit.Beam.of(projector, placement).on(point, normal).element(eye)
    # Central differences of a hundredth of an element: the error is of second order, far below the rounding of points
    # 10 m away, 1e-15 of that over 1e-5 m; which the short side of a slanting element feels most.
    assert float(longest) == pytest.approx(sizes[0], rel=1e-7)
    assert float(shortest) == pytest.approx(sizes[1], rel=1e-7, abs=1e-7 * sizes[0])


@pytest.mark.analytic
@given(poses(), st.floats(0.02, 0.98), st.floats(0.02, 0.98))
def test_the_area_of_an_element_is_the_other_face_of_its_light(pose, across, up):
    projector, placement, normal = pose
    point, reach = landed(placement, projector, normal, across, up)
    assume(reach > 0.1)
    beam = kit.Beam.of(projector, placement)
    landing = beam.on(point, normal)
    assume(float(landing.height) > 0.05)
    longest, shortest = landing.element()
    columns, rows = projector.resolution
    # E = E1 h / d^3, and each element carries one of so many parts of the light.
    assert float(longest * shortest * landing.illuminance()) == pytest.approx(1 / (columns * rows), rel=1e-9)
    pitch = 1 / projector.throw_ratio / columns
    assert float(longest * shortest) == pytest.approx(pitch**2 * float(landing.depth**3 / landing.height), rel=1e-9)
    assert shortest <= longest
    # Seen from an eye, the area shrinks with the square of the distance and the slant of the view.
    eye = point + 9.0 * normal + np.array((2.0, -1.0, 0.0))
    view = point - eye
    distance = np.linalg.norm(view)
    wide, narrow = landing.element(eye)
    seen = abs(view @ normal) / distance / distance**2
    assert float(wide * narrow) == pytest.approx(float(longest * shortest) * seen, rel=1e-9)


@pytest.mark.analytic
def test_elements_of_a_picture_that_slants_by_hand():
    # 6 m up the axis of a picture 1 m wide at 1 m, 100 columns: pitch 6 cm. The wall leans back by 60 degrees.
    projector = kit.Projector(light_output=1, throw_ratio=1.0, resolution=(100, 100))
    place = kit.Placement(position=(0, 0, 6), aim=(0, 0, 0))
    lean = np.array((0.0, np.sin(np.pi / 3), 0.5))
    longest, shortest = kit.Beam.of(projector, place).on((0, 0, 0), lean).element()
    assert (float(longest), float(shortest)) == pytest.approx((0.06 / 0.5, 0.06), rel=1e-12)
    # From the lens the slant does not show: an element covers its own share of the picture.
    seen = kit.Beam.of(projector, place).on((0, 0, 0), lean).element(place.position)
    assert [float(angle) for angle in seen] == pytest.approx([0.01, 0.01], rel=1e-12)
    # Along the wall its length is not seen at all.
    wide, narrow = kit.Beam.of(projector, place).on((0, 0, 0), lean).element(tuple(4.0 * np.array((0, 0.5, -lean[1]))))
    assert (float(wide), float(narrow)) == pytest.approx((0.06 / 4, 0.0), abs=1e-12)


# Many at once


@pytest.mark.property
@given(st.lists(poses(), min_size=2, max_size=5), st.integers(0, 99))
def test_many_beams_at_once_are_each_alone(found, drawn):
    first = found[0][0]
    beams = [kit.Beam.of(replace(first, throw_ratio=p.throw_ratio, lens_shift=p.lens_shift), q) for p, q, _ in found]
    parts = {name: np.stack([getattr(beam, name) for beam in beams]) for name in AXES}
    for batch in ((len(beams),), (1, len(beams), 1)):
        many = replace(beams[0], **{name: values.reshape(*batch, *values.shape[1:]) for name, values in parts.items()})
        rng = np.random.default_rng(drawn)
        points = np.stack([rng.uniform(-5, 5, (4, 3)), rng.uniform(0, 5, (4, 3)), rng.uniform(-1, 1, (4, 3))], axis=-1)
        normals = np.broadcast_to(found[0][2], points.shape)
        landing = many.on(points, normals)
        both = {
            "across": landing.across,
            "up": landing.up,
            "column": landing.column,
            "row": landing.row,
            "depth": landing.depth,
            "height": landing.height,
            "illuminance": landing.illuminance(),
            "longest": landing.element()[0],
            "shortest": landing.element()[1],
            "angle": landing.element((1.0, 1.6, 20.0))[0],
            "inside": landing.inside(),
        }
        rays, corners = many.rays(*CORNERS.T * 0.7), many.corners()
        lands = many.land(rays, (0.0, 0.0, 1.0), -2.0)
        assert np.shape(many.unit_illuminance) == batch
        for i, beam in enumerate(beams):
            alone = beam.on(points, normals)
            one = {name: getattr(alone, name) for name in ("across", "up", "column", "row", "depth", "height")} | {
                "illuminance": beam.illuminance(points, normals),
                "longest": alone.element()[0],
                "shortest": alone.element()[1],
                "angle": alone.element((1.0, 1.6, 20.0))[0],
                "inside": alone.inside(),
            }
            for name, values in both.items():
                assert values.shape == (*batch, 4, 3), name
                # Rounding only: sums of products of other sizes.
                np.testing.assert_allclose(
                    values.reshape(len(beams), 4, 3)[i], one[name], rtol=1e-8, atol=1e-9, err_msg=name
                )
            for several, single in (
                (rays, beam.rays(*CORNERS.T * 0.7)),
                (corners, beam.corners()),
                (lands, beam.land(beam.rays(*CORNERS.T * 0.7), (0.0, 0.0, 1.0), -2.0)),
            ):
                assert several.shape == (*batch, 4, 3)
                np.testing.assert_allclose(several.reshape(len(beams), 4, 3)[i], single, rtol=1e-9, atol=1e-9)


@pytest.mark.property
@given(poses(), st.integers(0, 99))
def test_many_points_at_once_are_each_alone(pose, drawn):
    projector, placement, normal = pose
    rng = np.random.default_rng(drawn)
    points = rng.uniform((-5, 0, -1), (5, 5, 1), (3, 2, 3))
    normals = normal + rng.uniform(-0.1, 0.1, points.shape)
    normals /= np.linalg.norm(normals, axis=-1)[..., None]
    beam, eye = kit.Beam.of(projector, placement), (1.0, 1.6, 20.0)
    many = beam.on(points, normals)
    figures = (*many.element(eye), *many.element(), many.illuminance(), many.height)
    for at in np.ndindex(points.shape[:-1]):
        alone = beam.on(points[at], normals[at])
        expected = (*alone.element(eye), *alone.element(), alone.illuminance(), alone.height)
        # Rounding only, which grazing incidence magnifies.
        np.testing.assert_allclose([part[at] for part in figures], expected, rtol=1e-7, atol=1e-12)


@pytest.mark.analytic
def test_what_a_beam_is_where_nothing_is_said():
    one = kit.Beam.of(kit.Projector(light_output=1, throw_ratio=1.0), PLACE)
    bare = kit.Beam(**{name: getattr(one, name) for name in AXES})
    assert (bare.resolution, bare.zones) == ((1, 1), None)
    assert bare.gain(0.3, -0.2) == 1.0
    # All beams share the corners.
    with pytest.raises(ValueError, match="read-only"):
        CORNERS[0, 0] = 0.0


@pytest.mark.bad_input
def test_what_needs_the_walls_normals_says_so():
    landing = kit.Beam.of(kit.Projector(light_output=1, throw_ratio=1.0), PLACE).on((0, 0, 0))
    assert float(landing.depth) == 5.0
    for ask in (landing.illuminance, landing.element, lambda: landing.height):
        with pytest.raises(TypeError, match="normals"):
            ask()


# Light


@pytest.mark.analytic
def test_places_at_corners_and_centre_of_a_shifted_picture():
    projector = kit.Projector(light_output=1, throw_ratio=2.0, resolution=(1600, 1000), lens_shift=(0.25, 0.5))
    place = kit.Placement(position=(1, 2, 8), aim=(1, 2, 0))
    # 4 m x 2.5 m; a quarter of the width to the right and half the height up: centre at (2, 3.25).
    points = np.array([(0, 2, 0), (4, 4.5, 0), (2, 3.25, 0), (6, 3.25, 0), (2, 3.25, 8), (2, 3.25, 9)])
    landing = kit.Beam.of(projector, place).on(points, PERPENDICULAR)
    # Rounding only; in the lens's own plane and behind it there is no picture.
    np.testing.assert_allclose(landing.across, [-0.5, 0.5, 0, 1, np.nan, np.nan], atol=1e-12)
    np.testing.assert_allclose(landing.up, [-0.5, 0.5, 0, 0, np.nan, np.nan], atol=1e-12)
    np.testing.assert_allclose(landing.depth, [8, 8, 8, 8, np.nan, np.nan], atol=1e-12)
    assert (landing.illuminance() > 0).tolist()[2:] == [True, False, False, False]


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
    assert illuminance(projector, placement, point, normal) == pytest.approx(expected, rel=1e-9)


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
    change = (
        h
        * 2
        * max(1 / projector.throw_ratio, float(kit.Beam.of(projector, placement).unit_illuminance) ** -0.5)
        * reach
        / perpendicular
    )
    result = illuminance(projector, placement, point, normal)
    assert result == pytest.approx(expected, rel=1e-7 + 6 * change**2)


@pytest.mark.analytic
def test_light_needs_a_wall_ahead_that_faces_the_lens():
    projector = kit.Projector(light_output=1, throw_ratio=1.0)
    assert illuminance(projector, PLACE, (0, 0, 0), PERPENDICULAR) > 0
    assert illuminance(projector, PLACE, (0, 0, 9), PERPENDICULAR) == 0  # behind the lens
    assert illuminance(projector, PLACE, (0, 0, 0), (0, 0, -1.0)) == 0  # the wall's other side
    assert illuminance(projector, PLACE, (4, 0, 0), PERPENDICULAR) == 0  # beside the picture


def lit_limits(projector, placement):
    """Left, right, bottom, top of the light on the plane z = 0, to a centimetre."""
    x, y = np.meshgrid(np.arange(-8, 8, 0.01) + 0.005, np.arange(-8, 8, 0.01) + 0.005)
    points = np.stack([x, y, np.zeros_like(x)], axis=-1)
    lit = illuminance(projector, placement, points, PERPENDICULAR) > 0
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
    at = (np.arange(300) + 0.5) / 300 - 0.5
    # The edge of what is held at the brightest reading falls between the nodes of either quadrature.
    assert zone_gain(zones, at[None, :], at[:, None]).mean() == pytest.approx(1.0, rel=2e-3)


@pytest.mark.property
@given(readings, st.floats(-0.5, 0.5), st.floats(-0.5, 0.5))
def test_zone_gain_is_positive_and_nowhere_above_the_brightest_reading(zones, across, up):
    centres = np.array([-1 / 3, 0, 1 / 3])
    brightest = zone_gain(zones, centres[None, :], centres[:, None]).max()
    # Rounding only.
    assert 0.0 < zone_gain(zones, across, up) <= brightest * (1 + 1e-9)


@pytest.mark.published
@pytest.mark.parametrize("shift", [(0.0, 0.0), (0.0, 0.5), (0.2, -0.3)])
@pytest.mark.parametrize("half", [0.3, 0.6, 1.0])
def test_a_lens_that_follows_the_fourth_power_of_the_cosine_is_met_to_its_corners(half, shift):
    """A reading held beyond the outer centres was up to 30% too bright there with a half angle of 31 degrees."""
    # The cosine-fourth law of a lens, as in every textbook of optics (from memory); `half`: tangent at the edge.

    def field(across, up):
        x, y = 2.0 * half * (across + shift[0]), 2.0 * half * 0.625 * (up + shift[1])
        return (1.0 + x**2 + y**2) ** -2.0

    centres, at = np.array([-1 / 3, 0, 1 / 3]), np.linspace(-0.5, 0.5, 21)
    zones = field(centres[None, :], -centres[:, None])
    nodes, weights = np.polynomial.legendre.leggauss(60)
    mean = 0.25 * weights @ field(0.5 * nodes, 0.5 * nodes[:, None]) @ weights
    expected = field(at[None, :], at[:, None]) / mean
    found = zone_gain(zones, at[None, :], at[:, None])
    capped = expected > zones.max() / mean
    # Between two centres the field may be brighter than at either: what is held there is missing from the mean.
    np.testing.assert_allclose(found[~capped], expected[~capped], rtol=0.015 if capped.any() else 1e-9)
    assert (found[capped] > 0.88 * expected[capped]).all()
    if shift == (0.0, 0.0):
        assert not capped.any()
        if half == 0.6:
            held = zones[0, 1] / zones.mean() / expected[-1, 10], zones[0, 0] / zones.mean() / expected[-1, -1]
            assert 1.1 < held[0] < 1.3 < held[1] < 1.5


@pytest.mark.analytic
def test_zone_gain_takes_the_readings_at_the_zone_centres_top_row_first_left_to_right():
    zones = np.array([[10.0, 20, 30], [40, 50, 60], [70, 80, 90]])
    centres = np.array([-1 / 3, 0, 1 / 3])
    gain = zone_gain(zones, centres[None, :], -centres[:, None])
    # Rounding only.
    np.testing.assert_allclose(gain / gain[1, 1] * 50.0, zones, rtol=1e-12)


@pytest.mark.analytic
def test_the_gain_of_a_beam_is_that_of_its_zones():
    zones = np.array([[10.0, 20, 30], [40, 50, 60], [70, 80, 90]])
    beam = kit.Beam.of(kit.Projector(light_output=1, throw_ratio=2, zones=zones), PLACE)
    # The zones at the top left, in the middle and at the right of the middle row, over the middle one.
    gain = beam.gain([-1 / 3, 0, 1 / 3], [1 / 3, 0, 0])
    np.testing.assert_allclose(gain / gain[1], [0.2, 1.0, 1.2], rtol=1e-12)


@pytest.mark.analytic
def test_zones_fall_on_the_wall_as_the_audience_reads_them():
    zones = np.array([[10.0, 20, 30], [40, 50, 60], [70, 80, 90]])
    place = kit.Placement(position=(0, 0, 6), aim=(0, 0, 0))
    even, uneven = (kit.Projector(light_output=1, throw_ratio=2, resolution=(900, 900), zones=z) for z in (None, zones))
    # A picture 3 m wide and high: zone centres 1 m apart.
    points = np.array([[(x, y, 0.0) for x in (-1, 0, 1)] for y in (1, 0, -1)])
    ratio = illuminance(uneven, place, points, PERPENDICULAR) / illuminance(even, place, points, PERPENDICULAR)
    # Rounding only.
    np.testing.assert_allclose(ratio / ratio[1, 1] * 50.0, zones, rtol=1e-12)


@pytest.mark.property
@given(poses())
def test_the_corners_of_the_picture_are_where_its_corners_land(pose):
    projector, placement, _ = pose
    beam = kit.Beam.of(projector, placement)
    corners = beam.land(beam.corners(), PERPENDICULAR, -2.0)
    meets = np.isfinite(corners).all(axis=1)
    np.testing.assert_allclose(corners[meets, 2], -2.0, atol=1e-9)
    landing = beam.on(corners[meets])
    np.testing.assert_allclose(landing.across, np.array([-0.5, 0.5, 0.5, -0.5])[meets], atol=1e-8)
    np.testing.assert_allclose(landing.up, np.array([-0.5, -0.5, 0.5, 0.5])[meets], atol=1e-8)


@pytest.mark.analytic
def test_the_corners_of_a_square_on_picture_by_hand():
    # 12 m away, throw ratio 0.8: 15 m wide, 16:10, lower edge level with the lens.
    projector = kit.Projector(light_output=1000, throw_ratio=0.8, resolution=(1920, 1200), lens_shift=(0.0, 0.5))
    beam = kit.Beam.of(projector, kit.Placement(position=(1.0, 0.5, 12.0), aim=(1.0, 0.5, 0.0)))
    wanted = [(-6.5, 0.5, 0.0), (8.5, 0.5, 0.0), (8.5, 9.875, 0.0), (-6.5, 9.875, 0.0)]
    np.testing.assert_allclose(beam.land(beam.corners(), PERPENDICULAR, 0.0), wanted, atol=1e-12)
    # Each on a plane of its own, as on a bay that stands 1 m and 2 m out.
    out = beam.land(beam.corners(), PERPENDICULAR, [0.0, 1.0, 2.0, 12.5])
    np.testing.assert_allclose(out[:3, 2], [0.0, 1.0, 2.0], atol=1e-12)
    np.testing.assert_allclose(out[1, :2], (1.0 + 7.5 * 11 / 12, 0.5), atol=1e-12)
    assert np.isnan(out[3]).all()


@pytest.mark.analytic
def test_a_plane_through_the_lens_or_behind_it_is_not_met():
    beam = kit.Beam.of(kit.Projector(light_output=1, throw_ratio=1.0), PLACE)
    for offset, met in ((4.999, True), (5.0, False), (5.001, False)):
        assert np.isfinite(beam.land(beam.corners(), PERPENDICULAR, offset)).all() == met
        assert np.isfinite(beam.land(beam.corners(), PERPENDICULAR, offset)).any() == met


@pytest.mark.analytic
def test_a_corner_whose_ray_misses_the_wall_is_no_number():
    projector = kit.Projector(light_output=1000, throw_ratio=0.3, lens_shift=(0.0, 0.0))
    beam = kit.Beam.of(projector, kit.Placement(position=(0.0, 1.0, 10.0), aim=(6.0, 1.0, 8.0)))
    missing = np.isnan(beam.land(beam.corners(), PERPENDICULAR, 0.0)).all(axis=1)
    # The right-hand rays turn away from the wall.
    assert missing.tolist() == [False, True, True, False]
