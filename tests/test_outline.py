"""A front from one photo, against an independent homography, an independent camera and the truth of rendered fronts."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from photo_renderer import Camera

import kit

SIZE = (1600, 1200)
CORNERS = np.array([(-5.5, 0.2, 0), (5.5, 0.2, 0), (4, 4.6, 0), (-4, 4.6, 0)], float)


def on_wall(z=0.0):
    return np.array([(-6, 0, z), (6, 0, z), (6, 6, z), (-6, 6, z)], float)


def marked(camera, places=CORNERS, *, rounded=False, **more):
    pixels = camera.pixels(places)
    pixels = np.rint(pixels) if rounded else pixels
    known = [(*p, *place[:2]) for p, place in zip(pixels, places, strict=True)]
    return kit.Marks(size=camera.size, known=known, **more)


@pytest.fixture
def camera():
    return Camera((1, 1.6, 12.5), (0.4, 2.7, 0), SIZE, roll=0.7)


@st.composite
def cameras(draw, bend=0.0):
    position = [draw(st.floats(*ends)) for ends in ((-5, 5), (1, 4), (11, 25))]
    aim = [draw(st.floats(*ends)) for ends in ((-0.5, 0.5), (2.5, 3.5))]
    return Camera(position, (*aim, 0.0), SIZE, draw(st.floats(20, 28)), draw(st.floats(-5, 5)), bend)


def seen(camera, points):
    pixels = camera.pixels(points)
    return bool(np.all((pixels >= 0) & (pixels <= SIZE)))


@pytest.mark.reference
def test_the_homography_is_that_of_an_independent_implementation(camera):
    from skimage.transform import ProjectiveTransform

    rng = np.random.default_rng(3)
    places = np.column_stack([rng.uniform(-6, 6, 9), rng.uniform(0, 6, 9), np.zeros(9)])
    pixels = camera.pixels(places) + rng.normal(0, 1, (9, 2))
    known = [(*p, *place[:2]) for p, place in zip(pixels, places, strict=True)]
    probe = camera.pixels(np.column_stack([rng.uniform(-6, 6, 50), rng.uniform(0, 6, 50), np.zeros(50)]))
    # OpenCV takes points in single precision; nine do not fit exactly, and the two weigh what is left differently.
    for count, near in ((4, 1e-4), (9, 0.01)):
        wall = kit.fit_wall(kit.Marks(size=SIZE, known=known[:count]))
        other = ProjectiveTransform.from_estimate(pixels[:count], places[:count, :2])
        np.testing.assert_allclose(wall.places(probe)[:, :2], other(probe), rtol=0, atol=near)


@pytest.mark.property
@given(camera=cameras(), depth=st.floats(-1.0, 3.0))
def test_places_and_depths_come_back_from_any_camera(camera, depth):
    points = on_wall(depth) * (0.8, 0.8, 1.0)
    if not (seen(camera, CORNERS) and seen(camera, points)):
        return
    wall = kit.fit_wall(marked(camera, focal=camera.scale / camera.half / 2 * np.hypot(36, 24)))
    np.testing.assert_allclose(wall.camera, camera.position, rtol=0, atol=1e-3)
    np.testing.assert_allclose(wall.places(camera.pixels(points), depth), points, rtol=0, atol=1e-4)


@pytest.mark.property
@given(camera=cameras(), bend=st.floats(-0.12, 0.08))
def test_the_lens_is_found_by_lines_that_are_straight(camera, bend):
    camera.bend = bend
    if not (seen(camera, CORNERS) and seen(camera, on_wall())):
        return
    lines = []
    for ends in (((-6, 0.1), (6, 0.1)), ((-6, 5.9), (6, 5.9)), ((-5.9, 0.1), (-5.9, 5.9))):
        x, y = (np.linspace(one, other, 7) for one, other in zip(*ends, strict=True))
        lines.append(camera.pixels(np.column_stack([x, y, np.zeros(7)])).tolist())
    wall = kit.fit_wall(marked(camera, straight=lines))
    assert wall.bend == pytest.approx(bend, abs=1e-3)
    np.testing.assert_allclose(wall.places(camera.pixels(on_wall())), on_wall(), rtol=0, atol=0.002)
    assert "straightened" in wall.sentence()


@pytest.mark.analytic
def test_what_a_pixel_is_worth_is_what_random_marks_show(camera):
    marks = marked(camera)
    wall, corners = kit.fit_wall(marks), camera.pixels(on_wall())
    rng, off = np.random.default_rng(1), []
    for _ in range(400):
        known = np.array(marks.known)
        known[:, :2] += rng.normal(0, 1, (4, 2))
        off.append(kit.fit_wall(dataclasses.replace(marks, known=known.tolist())).places(corners) - on_wall())
    spread = np.sqrt((np.array(off) ** 2).sum(axis=2).mean(axis=0))
    # 400 draws know a spread within 4%; the kit's is linear in the marks.
    np.testing.assert_allclose(wall.doubt(corners), spread, rtol=0.15)


def test_a_front_of_12_metres_comes_out_within_2_cm_by_marks_on_whole_pixels(camera):
    camera.bend = -0.05
    lines = [
        np.rint(camera.pixels(np.column_stack([np.linspace(-6, 6, 9), np.full(9, y), np.zeros(9)]))) for y in (0.1, 5.9)
    ]
    wall = kit.fit_wall(marked(camera, rounded=True, straight=[line.tolist() for line in lines], focal=26.0))
    bay = np.array([(-5, 0, 1.2), (-2, 0, 1.2), (-2, 2.5, 1.2), (-5, 2.5, 1.2)])
    assert np.abs(wall.places(np.rint(camera.pixels(on_wall()))) - on_wall()).max() < 0.02
    assert np.abs(wall.places(np.rint(camera.pixels(bay)), 1.2) - bay).max() < 0.02
    # Without its depth it would be taken for larger than it is: by 1.2 m of 12.5 m.
    flat = wall.places(camera.pixels(bay))
    assert np.ptp(flat[:, 0]) == pytest.approx(3.0 * 12.5 / 11.3, rel=0.01)


def test_a_second_distance_is_a_check_that_refuses(camera):
    ends = camera.pixels(np.array([(-3.0, 1.0, 0), (2.0, 3.0, 0)])).ravel()
    right = float(np.hypot(5.0, 2.0))
    wall = kit.fit_wall(marked(camera, checks=[(*ends, right)]))
    assert wall.misses["check 1"] == pytest.approx(0.0, abs=1e-6)
    assert "The tape agrees" in wall.sentence()
    kit.fit_wall(marked(camera, checks=[(*ends, right * 1.014)]))
    with pytest.raises(kit.InputError, match=r"checks 1 = 5\.\d+: expected 5\.385 m"):
        kit.fit_wall(marked(camera, checks=[(*ends, right * 1.02)]))


def test_words_say_what_is_assumed_and_what_is_not_checked(camera):
    wall = kit.fit_wall(marked(camera))
    assert "within 0.0 cm (four always do)" in wall.sentence()
    assert "straight lines straight" in wall.sentence()
    assert "No second distance" in wall.sentence()
    assert "Without a focal length" in wall.sentence()
    five = marked(camera, np.vstack([CORNERS, (0.0, 2.0, 0.0)]))
    off = np.array(five.known)
    off[4, 2] += 0.1
    wall = kit.fit_wall(dataclasses.replace(five, known=off.tolist()))
    assert 2.0 < 100 * wall.misses["known point 5"] < 10.0
    assert "four always do" not in wall.sentence()
    assert list(wall.frame()["out [cm]"]) == pytest.approx([100 * miss for miss in wall.misses.values()])


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("order", "said"),
    [
        ([0, 1, 2], "four points and more"),
        ([0, 1, 3, 2], "in the order"),
        ([1, 0, 3, 2], "in the order"),
        ([0, 0, 1, 2], "on a line"),
    ],
)
def test_points_in_another_order_or_on_a_line_are_refused(camera, order, said):
    known = np.array(marked(camera).known)
    known = np.column_stack([known[: len(order), :2], known[order, 2:]])
    with pytest.raises(kit.InputError, match=said):
        kit.fit_wall(kit.Marks(size=SIZE, known=known.tolist()))


@pytest.mark.bad_input
def test_points_on_one_line_of_the_wall_are_refused(camera):
    line = np.column_stack([np.linspace(-5, 5, 5), np.linspace(1, 2, 5), np.zeros(5)])
    with pytest.raises(kit.InputError, match="on a line"):
        kit.fit_wall(marked(camera, line))


@pytest.mark.bad_input
def test_depth_asks_for_a_focal_length_and_less_than_the_distance_of_the_camera(camera):
    pixels = camera.pixels(on_wall() * 0.5)
    with pytest.raises(kit.InputError, match="a focal length"):
        kit.fit_wall(marked(camera)).places(pixels, 1.0)
    with pytest.raises(kit.InputError, match="the camera's distance"):
        kit.fit_wall(marked(camera, focal=26.0)).places(pixels, 13.0)


@pytest.mark.bad_input
def test_a_mark_in_the_sky_is_no_place_of_the_wall():
    steep = Camera((0, 1.6, 3), (2.5, 1.6, 0), SIZE)
    wall = kit.fit_wall(marked(steep, np.array([(1, 0.5, 0), (3, 0.5, 0), (3, 2.5, 0), (1, 2.5, 0)], float)))
    beyond = steep.pixels(np.array([(20000.0, 1.0, 0)]))[0]
    with pytest.raises(kit.InputError, match="horizon"):
        wall.places([(beyond[0] + 5, beyond[1])])


@pytest.fixture
def house(camera):
    bay = np.array([(-5, 0, 1.2), (-2, 0, 1.2), (-2, 2.5, 1.2), (-5, 2.5, 1.2)])
    parts = [
        kit.MarkedPart(name="wall", surface="our brick", corners=camera.pixels(on_wall()).tolist()),
        kit.MarkedPart(name="bay", surface="white paint", corners=camera.pixels(bay).tolist(), depth=1.2),
    ]
    return marked(camera, focal=26.0, parts=parts)


def test_marked_parts_are_a_house_with_sides_and_surfaces_of_ones_own_that_a_file_holds(house, tmp_path):
    brick = kit.Surface(name="our brick", reflectance=0.16, low=0.13, high=0.2, kind="brick")
    front = kit.fit_wall(house).house("a house", (brick,))
    assert front.bounds == pytest.approx((-6, 6, 0, 6), abs=1e-3)
    assert front.patch("wall").surface == brick
    assert np.array(front.patch("bay").outline)[:, 2] == pytest.approx(1.2)
    assert sum(patch.name.startswith("bay, return") for patch in front.patches) == 4
    assert kit.open_show(kit.save_show(kit.Show(house=front), tmp_path / "a.toml")).house == front


def test_marks_come_back_from_their_file(house, tmp_path):
    house.save(tmp_path / "marks.json")
    assert kit.Marks.load(tmp_path / "marks.json") == house
    assert [path.name for path in tmp_path.iterdir()] == ["marks.json"]


@pytest.mark.bad_input
@pytest.mark.parametrize(
    "text", ["", "{", "[]", '{"size": [9, 9], "sise": 1}', '{"size": "a"}', '{"parts": [3]}', "[" * 100_000]
)
def test_a_broken_file_of_marks_is_one_error(text, tmp_path):
    (tmp_path / "marks.json").write_text(text)
    with pytest.raises(kit.InputError):
        kit.Marks.load(tmp_path / "marks.json")
