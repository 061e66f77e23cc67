"""Drawings of fronts, maps and plans: surfaces told apart, straight edges, names that do not lie on each other."""

import io
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
import shapely
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text
from PIL import Image

import kit
import sliders
from kit.views.drawing import MapBoard, NightBoard, _grown, path_of, seen_parts

ROOT = Path(__file__).parents[1]
OURS = [ROOT / "notebooks/houses" / f"{name}.toml" for name in ("brick_two_storey", "light_bungalow")]
HOUSES = [*OURS, *sorted((ROOT / "tests/houses").glob("*.toml"))]
SHOWS = [None, *sorted((ROOT / "tests/shows").glob("*.toml"))]


def name(path):
    return path.stem if path else "demo"


def grey(figure):
    """A figure in shades of grey, from 0 to 1, row 0 at the bottom as in the figure's own pixels."""
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    return np.asarray(canvas.buffer_rgba())[::-1, :, :3] @ np.array([0.2126, 0.7152, 0.0722]) / 255


@pytest.mark.parametrize("path", HOUSES, ids=name)
def test_every_two_surfaces_of_a_drawn_house_can_be_told_apart_in_greyscale(path):
    house = kit.load_house(path)
    ax = kit.draw_house(house)
    pixels = grey(ax.get_figure())
    samples = {}
    for swatch, text in zip(ax.get_legend().legend_handles, ax.get_legend().get_texts(), strict=True):
        box = swatch.get_window_extent()
        left, bottom = round(box.x0) + 2, round(box.y0) + 2
        samples[text.get_text()] = pixels[bottom : bottom + 16, left : left + 32]
    assert len(samples) == len(house.surfaces())
    for (one, a), (other, b) in combinations(samples.items(), 2):
        # By their shade, or by their hatching: its share, and where it lies.
        assert np.abs(a - b).mean() > 0.05, (one, other)


def test_surfaces_without_hatching_could_not_be_told_apart():
    """The check itself: two dark bricks, plain, are the same grey."""
    assert np.abs(np.full((16, 32), 0.12**0.5) - np.full((16, 32), 0.14**0.5)).mean() < 0.05


def test_what_is_seen_of_a_front_covers_it_once():
    house = kit.load_house(ROOT / "notebooks/houses/brick_two_storey.toml")
    parts = [seen for _, seen in seen_parts(house)]
    whole = shapely.union_all([patch.elevation for patch in house.patches if patch.faces_audience])
    assert sum(part.area for part in parts) == pytest.approx(whole.area, rel=1e-12)
    assert sum(patch.elevation.area for patch, _ in seen_parts(house)) > 1.05 * whole.area


def test_of_two_patches_in_one_plane_the_later_is_seen(wall):
    front = wall()
    window = kit.Patch("window", [(-1, 1), (1, 1), (1, 3), (-1, 3)], front.patches[0].surface)
    seen = {patch.name: part.area for patch, part in seen_parts(kit.Facade([*front.patches, window]))}
    assert seen == {"window": pytest.approx(4.0), "wall": pytest.approx(36.0)}


def test_a_hole_stays_open_in_the_path():
    ring = shapely.box(0, 0, 4, 4).difference(shapely.box(1, 1, 3, 3))
    path = path_of(ring, 2.0)
    assert path.contains_point((1.0, 1.0))
    assert path.get_extents().bounds == (0, 0, 8, 8)
    assert len(path.vertices) == 10


def stairs(house, facade):
    """Largest distance of the drawn right-hand gable edge from a straight line [pixels], on a coarse raster."""
    place = kit.Placement(position=(0.0, 0.3, 16.0), aim=(0.0, 0.3, 0.0))
    scene = kit.Scene(facade=house, projectors=[(kit.typical_projector(8000, 0.8), place)])
    light = kit.light_map(scene, 0.4)
    board = MapBoard(kit.Target(white_luminance=4.0, contrast=15.0), units="m", facade=facade)
    with Image.open(io.BytesIO(board.draw([light, light], ["one", "other"]))) as picture:
        pixels = np.asarray(picture.convert("L"))[::-1]
    ax = board.axes[0]
    # From 2 ft above the eaves to 2 ft below the ridge.
    rows = np.arange(*(int(ax.transData.transform((0.0, feet * 0.3048))[1]) for feet in (21, 28)))
    middle, end = (int(ax.transData.transform((x, 0.0))[0]) for x in (0.3, ax.get_xlim()[1]))
    # From the middle of the gable to the right, the last that is not white.
    last = [middle + np.flatnonzero(pixels[row, middle : end - 3] < 235).max() for row in rows]
    line = np.polyval(np.polyfit(rows, last, 1), rows)
    return float(np.abs(last - line).max())


def test_the_edge_of_a_gable_is_drawn_straight_whatever_the_raster():
    house = kit.load_house(ROOT / "notebooks/houses/brick_two_storey.toml")
    assert stairs(house, house) < 1.5
    assert stairs(house, None) > 4.0


def boxes(board):
    """Where the names in a plan stand [pixels]."""
    return [Text.get_window_extent(label) for label in board.labels]


def hold(board, machines):
    """Names lie within the plan, on no other name and on no distance."""
    board.draw(machines)
    found, plan = boxes(board), board.plan.get_window_extent()
    for one, other in combinations(found, 2):
        assert not one.overlaps(other)
    for box in found:
        assert plan.contains(*box.min)
        assert plan.contains(*box.max)
        for artists in board._beams[: len(machines)]:
            assert not box.overlaps(artists["distance"].get_window_extent())


def test_the_garden_of_the_demo_fits_either_house():
    show = kit.open_show()
    house = kit.load_house(ROOT / "notebooks/houses/light_bungalow.toml")
    left, right, *_ = house.bounds
    (post,) = (stand for stand in show.full.stands if stand.name == "post")
    assert (
        left / 3 + 2 * right / 3
        > max(x for x, _ in post.area)
        > min(x for x, _ in post.area)
        > 2 * left / 3 + right / 3
    )
    eyes = [(viewer.name, viewer.eye) for viewer in show.full.viewers]
    board = kit.PlanBoard(house, grounds=show.grounds(), eyes=eyes, reach=27.0)
    hold(board, [(kit.typical_projector(8000, 1.0), kit.Placement(position=(0, 1, 12), aim=(0, 1, 0)))])
    # Every viewer stands within the plan.
    assert all(board.plan.get_xlim()[0] < x < board.plan.get_xlim()[1] for _, (x, _, _) in eyes)
    assert all(label.get_visible() for label in board.labels)


@pytest.mark.parametrize("units", ["ft", "m"])
@pytest.mark.parametrize("path", SHOWS, ids=name)
def test_names_in_a_plan_do_not_overlap(path, units):
    show = kit.open_show(path)
    eyes = [(viewer.name, viewer.eye) for viewer in show.full.viewers]
    board = kit.PlanBoard(show.house, units=units, grounds=show.grounds(), eyes=eyes, reach=27.0)
    assert len(board.labels) == len(eyes) + len(show.grounds()) >= 2
    left, right, *_ = show.house.bounds
    machines = [
        (kit.typical_projector(8000, 1.0), kit.Placement(position=(x, 1.0, 12.0), aim=(x, 1.0, 0.0)))
        for x in (0.6 * left + 0.4 * right, 0.4 * left + 0.6 * right)
    ]
    for count in (1, 2):
        hold(board, machines[:count])


def test_names_in_a_crowded_plan_of_a_narrow_front_do_not_overlap():
    """A front of 5.2 m that begins at x = 0, with six viewers side by side whose names are long."""
    surface = kit.Surface(name="plain", reflectance=0.5)
    front = kit.Facade([kit.Patch("wall", [(0, 0), (5.2, 0), (5.2, 11), (0, 11)], surface)])
    eyes = [(f"viewer {i} at the window across the street", (0.8 * i, 1.6, 9.0)) for i in range(6)]
    board = kit.PlanBoard(front, eyes=eyes, reach=14.0)
    assert len(boxes(board)) == 6
    hold(board, [(kit.typical_projector(4000, 1.0), kit.Placement(position=(2.6, 1, 8), aim=(2.6, 1, 0)))])


@pytest.mark.analytic
def test_colours_reach_one_cell_past_the_edge_and_not_round_to_the_other_side():
    outside = np.ones((5, 4), dtype=bool)
    outside[0, 1:3] = False
    picture = np.zeros((5, 4, 4), np.uint8)
    picture[0, 1:3] = (10, 20, 30, 255), (40, 50, 60, 255)
    grown = _grown(picture, outside)
    assert grown[..., 0].tolist() == [[10, 10, 40, 40], [0, 10, 40, 0], [0] * 4, [0] * 4, [0] * 4]
    np.testing.assert_array_equal(picture[1:], 0)


def test_the_edge_of_a_gable_is_straight_at_night_too():
    """Against the black of the night, with a colour that reaches to the edge itself."""
    show = kit.open_show(ROOT / "notebooks/houses/demo_show.toml")
    found = kit.weigh(show, kit.ClothChoice())
    board = NightBoard(units="ft", facade=show.house)
    with Image.open(io.BytesIO(board.draw(found.views, found.screen.images, found.titles))) as picture:
        pixels = np.asarray(picture.convert("L"))[::-1]
    to_pixels = board.axes[0].transData.transform
    for feet in np.arange(20, 29.5, 0.5):
        # 20 ft of half a width at the eaves, none at the ridge, 11 ft above.
        for x in (20 * (30 - feet) / 11, -20 * (30 - feet) / 11):
            column, row = to_pixels((x, feet)).astype(int)
            inside, beyond = (column - 3, column + 3) if x > 0 else (column + 3, column - 3)
            assert pixels[row, inside] > 100
            assert pixels[row, beyond] < 20


@pytest.mark.parametrize("panel", [sliders.ClassPanel, sliders.ClothPanel, sliders.EveningPanel, sliders.StandPanel])
def test_letters_of_the_pages_pictures_are_large_enough_to_be_shown_smaller(panel):
    """8 points at 100 dots to the inch, on pictures of at most 960 pixels, of which a narrow page shows 800."""
    shown = panel(kit.open_show(ROOT / "notebooks/houses/demo_show.toml"))
    boards = getattr(shown, "_boards", None) or (shown._board,)
    for board in boards:
        texts = [text for text in board.figure.findobj(Text) if text.get_text().strip()]
        assert texts
        assert min(text.get_fontsize() for text in texts) >= 8
        assert board.figure.dpi == 100
        assert board.canvas.get_width_height()[0] <= 960
