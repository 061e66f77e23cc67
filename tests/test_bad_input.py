import math

import numpy as np
import pytest

import kit
from kit.source.projector import Factor

PLAIN = kit.Surface(name="plain", reflectance=0.5)
WALL = kit.Patch("wall", [(-4, 0), (4, 0), (4, 5), (-4, 5)], PLAIN)
BAY = kit.with_returns(kit.Patch("bay", [(-1, 1, 2), (1, 1, 2), (1, 3, 2), (-1, 3, 2)], PLAIN), 0.0)
GOOD = {"light_output": 3000, "throw_ratio": 1.5}
PLACE = {"position": (0, 2, 8), "aim": (0, 2, 0)}

pytestmark = pytest.mark.bad_input


def light(facade=None, projector=None, placement=None, spacing=0.5, **more):
    facade = facade or kit.Facade([WALL])
    pair = (kit.Projector(**(projector or GOOD)), kit.Placement(**(placement or PLACE)))
    return kit.light_map(kit.Scene(facade=facade, projectors=[pair]), spacing, **more)


def test_the_good_scene_is_good():
    assert light()["illuminance"].max() > 0
    assert light(kit.Facade([WALL, *BAY]))["illuminance"].max() > 0


@pytest.mark.parametrize("value", [0, -3000, math.nan, math.inf, None, "bright", "3000", b"3000", True, 1j, {}])
def test_light_output_is_a_number_above_zero(value):
    with pytest.raises(kit.InputError, match="light_output"):
        kit.Projector(light_output=value, throw_ratio=1.5)


@pytest.mark.parametrize(
    ("value", "field"),
    [
        ([], "light_output"),
        ([1000, -1], r"light_output\[1\]"),
        (np.array([1.0, np.nan]), r"light_output\[1\]"),
    ],
)
def test_a_sweep_of_light_output_holds_numbers_above_zero(value, field):
    with pytest.raises(kit.InputError, match=field):
        kit.Projector(light_output=value, throw_ratio=1.5)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("throw_ratio", 0),
        ("throw_ratio", -1.5),
        ("throw_ratio", math.nan),
        ("throw_ratio", "1.5"),
        ("throw_ratio", (1, 2, 3)),
        ("throw_ratio", (0, 2)),
        ("resolution", (0, 1080)),
        ("resolution", (1920.5, 1080)),
        ("resolution", 1080),
        ("resolution", "1920x1080"),
        ("resolution", (1920, math.inf)),
        ("lens_shift", 0.5),
        ("lens_shift", (0.5,)),
        ("lens_shift", (0, math.nan)),
        ("sequential_contrast", 1),
        ("sequential_contrast", -math.inf),
        ("sequential_contrast", math.nan),
        ("sequential_contrast", "high"),
        ("sequential_contrast", None),
        ("checkerboard_contrast", 1),
        ("checkerboard_contrast", 0),
        ("checkerboard_contrast", math.nan),
        ("zones", [[1, 2, 3]]),
        ("zones", [[1, 2, 3], [4, 5, 6], [7, 8]]),
        ("zones", [[1, 2, 3], [4, 0, 6], [7, 8, 9]]),
        ("zones", [[1, 2, 3], [4, math.nan, 6], [7, 8, 9]]),
        ("zones", 9),
        ("zones", "abc"),
        ("chain", [0.9]),
        ("chain", ["rating"]),
        ("chain", 0.9),
    ],
)
def test_projector_names_the_field_that_cannot_be(field, value):
    with pytest.raises(kit.InputError, match=field):
        kit.Projector(**(GOOD | {field: value}))


def test_checkerboard_contrast_is_no_higher_than_sequential():
    with pytest.raises(kit.InputError, match="checkerboard_contrast"):
        kit.Projector(**GOOD, sequential_contrast=300, checkerboard_contrast=301)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"low": 0}, "low"),
        ({"low": 0.95}, "low <= nominal"),
        ({"high": 1.6}, "high"),
        ({"nominal": math.nan}, "nominal"),
        ({"nominal": "most"}, "nominal"),
        ({"source": " "}, "source"),
        ({"name": ""}, "factor name"),
        ({"name": 3}, "factor name"),
    ],
)
def test_factor_names_the_field_that_cannot_be(change, field):
    values = {"name": "pane", "low": 0.8, "nominal": 0.9, "high": 1.0, "source": "a light meter"}
    with pytest.raises(kit.InputError, match=field):
        Factor(**(values | change))


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("aim", (0, 2, 8)),  # where the lens is
        ("aim", (0, 9, 8)),  # straight above it
        ("aim", (0, 2)),
        ("aim", (0, math.nan, 0)),
        ("aim", "house"),
        ("aim", None),
        ("position", (math.nan, 2, 8)),
        ("position", (0, 2, math.inf)),
        ("position", (0, 2, 8, 1)),
        ("position", 8),
        ("position", ("0", "2", "8")),
        ("roll", math.nan),
        ("roll", 361),
        ("roll", "level"),
        ("roll", None),
    ],
)
def test_placement_names_the_field_that_cannot_be(field, value):
    with pytest.raises(kit.InputError, match=field):
        kit.Placement(**(PLACE | {field: value}))


def test_unknown_surface_is_named_with_near_ones():
    with pytest.raises(kit.InputError, match=r"'red brik'.*'red brick'"):
        kit.Surface.from_reference("red brik")
    for name in ("", None, 3, "Red Brick"):
        with pytest.raises(kit.InputError, match="surfaces: name"):
            kit.Surface.from_reference(name)


def test_reflectance_above_one_is_refused():
    with pytest.raises(kit.InputError, match=r"surface 'paint': reflectance = 1.2: expected .* 0 to 1"):
        kit.Surface(name="paint", reflectance=1.2)


@pytest.mark.parametrize(
    ("position", "aim", "front"),
    [
        ((0, 2, -3), (0, 2, 0), "wall"),  # behind, pointing at the audience
        ((0, 2, -3), (0, 2, -6), "wall"),
        ((0, 2, 0), (0, 2, -6), "wall"),  # in the wall
        ((0, 2, 1), (0, 2, 0), "bay"),  # inside the bay
        ((0.5, 2.5, 1.9), (0, 2, 5), "bay"),
        ((0, 2, 2), (0, 2, 0), "bay"),  # in the bay's front
    ],
)
def test_a_lens_behind_or_inside_the_house_is_refused(position, aim, front):
    facade = kit.Facade([WALL] if front == "wall" else [WALL, *BAY])
    with pytest.raises(kit.InputError, match=r"projector 1: position.*behind"):
        light(facade, placement={"position": position, "aim": aim})


@pytest.mark.parametrize(
    "placement",
    [
        {"position": (0, 2, 8), "aim": (0, 2, 16)},  # away from the house
        {"position": (0, 2, 8), "aim": (30, 2, 0)},
        {"position": (0, 2, 8), "aim": (0, 40, 0)},
        {"position": (40, 2, 8), "aim": (40, 2, 0)},
    ],
)
def test_a_picture_that_misses_the_house_is_refused(placement):
    with pytest.raises(kit.InputError, match=r"projector 1: position, aim, lens_shift.*misses"):
        light(placement=placement)


def test_the_second_projector_is_named_where_it_is_the_bad_one():
    good = (kit.Projector(**GOOD), kit.Placement(**PLACE))
    bad = (kit.Projector(**GOOD), kit.Placement(position=(0, 2, -8), aim=(0, 2, 0)))
    with pytest.raises(kit.InputError, match="projector 2: position"):
        kit.light_map(kit.Scene(facade=kit.Facade([WALL]), projectors=[good, bad]), 0.5)


@pytest.mark.parametrize("spacing", [0, -0.1, math.nan, math.inf, None, "fine", "0.1", True])
def test_spacing_is_a_number_above_zero(spacing):
    with pytest.raises(kit.InputError, match="spacing"):
        light(spacing=spacing)


@pytest.mark.parametrize("spacing", [1e-4, 1e-9, 5e-324])
def test_a_raster_that_would_not_fit_is_refused_before_it_is_made(spacing):
    with pytest.raises(kit.InputError, match=r"spacing.*at most \d+ pixels"):
        light(spacing=spacing)


@pytest.mark.parametrize(
    "extent",
    [
        (0, 0, 0, 5),
        (4, -4, 0, 5),
        (0, 1, 2),
        (0, 1, 0, math.nan),
        "all of it",
        5,
        (100, 101, 0, 1),  # shows nothing of the front
    ],
)
def test_extent_has_four_limits_and_shows_some_of_the_front(extent):
    with pytest.raises(kit.InputError, match="extent"):
        light(extent=extent)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"facade": WALL}, "facade"),
        ({"facade": None}, "facade"),
        ({"projectors": []}, "projectors"),
        ({"projectors": 3}, "projectors"),
        ({"projectors": [kit.Projector(**GOOD)]}, "projectors"),
        ({"projectors": (kit.Projector(**GOOD), kit.Placement(**PLACE))}, "projectors"),
        ({"projectors": [(kit.Placement(**PLACE), kit.Projector(**GOOD))]}, "projectors"),
        ({"ambient": 5}, "ambient"),
        ({"picture_level": 1.1}, "picture_level"),
        ({"picture_level": math.nan}, "picture_level"),
        ({"ground_reflectance": -0.1}, "ground_reflectance"),
        ({"ground_reflectance": "grass"}, "ground_reflectance"),
    ],
)
def test_scene_names_the_field_that_cannot_be(change, field):
    scene = {"facade": kit.Facade([WALL]), "projectors": [(kit.Projector(**GOOD), kit.Placement(**PLACE))]}
    with pytest.raises(kit.InputError, match=f"^{field}"):
        kit.Scene(**(scene | change))


def test_sweeps_of_different_lengths_are_refused():
    pairs = [
        (kit.Projector(light_output=lumens, throw_ratio=1.5), kit.Placement(**PLACE))
        for lumens in ([1000, 2000], [1000, 2000, 3000])
    ]
    with pytest.raises(kit.InputError, match="light_output"):
        kit.light_map(kit.Scene(facade=kit.Facade([WALL]), projectors=pairs), 0.5)
    front = kit.Facade(
        [
            kit.Patch("wall", WALL.outline, kit.Surface(name="a", reflectance=[0.1, 0.2])),
            kit.Patch("door", [(0, 0), (1, 0), (1, 2)], kit.Surface(name="b", reflectance=[0.1, 0.2, 0.3])),
        ]
    )
    with pytest.raises(kit.InputError, match="reflectance"):
        light(front)


@pytest.mark.parametrize("unit", ["yd", "", None, 3])
def test_unknown_units_are_refused(unit):
    with pytest.raises(kit.InputError, match="units"):
        kit.units.metres_per(unit)


@pytest.mark.parametrize(
    ("patches", "field"),
    [([3], "patches"), ([], "patches")],
)
def test_a_front_holds_patches(patches, field):
    with pytest.raises(kit.InputError, match=field):
        kit.Facade(patches)


@pytest.mark.parametrize(
    ("name", "surface", "field"),
    [("", PLAIN, "patch name"), (3, PLAIN, "patch name"), ("door", "red brick", "patch 'door': surface")],
)
def test_a_patch_has_a_name_and_a_surface(name, surface, field):
    with pytest.raises(kit.InputError, match=field):
        kit.Patch(name, WALL.outline, surface)


def test_the_message_names_field_value_and_what_is_right():
    with pytest.raises(kit.InputError) as caught:
        kit.Projector(light_output=-5, throw_ratio=1.5)
    assert str(caught.value) == "light_output = -5: expected a number above 0 lm"
    assert isinstance(caught.value, ValueError)
