import pytest
import xarray as xr

import kit
import sliders
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


def test_checkerboard_contrast_is_no_higher_than_sequential():
    with pytest.raises(kit.InputError, match="checkerboard_contrast"):
        kit.Projector(**GOOD, sequential_contrast=300, checkerboard_contrast=301)


@pytest.mark.parametrize("aim", [(0, 2, 8), (0, 9, 8)], ids=["where the lens is", "straight above it"])
def test_a_placement_has_an_axis_that_is_not_upright(aim):
    with pytest.raises(kit.InputError, match=r"^aim"):
        kit.Placement(**PLACE | {"aim": aim})


@pytest.mark.parametrize(("low", "nominal", "high"), [(0.95, 0.9, 1.0), (0.8, 0.9, 0.85)])
def test_the_band_of_a_factor_is_in_order(low, nominal, high):
    with pytest.raises(kit.InputError, match=r"factor 'pane' = \(.*low <= nominal <= high"):
        Factor(name="pane", low=low, nominal=nominal, high=high, source="a light meter")


def test_lens_zones_are_three_rows():
    with pytest.raises(kit.InputError, match=r"zones.*at most 3 values"):
        kit.Projector(**GOOD, zones=[[1, 2, 3]] * 4)
    with pytest.raises(kit.InputError, match=r"zones.*at least 3 values"):
        kit.Projector(**GOOD, zones=[[1, 2, 3]] * 2)


def test_unknown_surface_is_named_with_near_ones():
    with pytest.raises(kit.InputError, match=r"'red brik'.*'red brick'"):
        kit.Surface.from_reference("red brik")
    for name in ("", None, 3, "Red Brick"):
        with pytest.raises(kit.InputError, match="name = "):
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


@pytest.mark.parametrize("spacing", [1e-4, 1e-9, 5e-324])
def test_a_raster_that_would_not_fit_is_refused_before_it_is_made(spacing):
    with pytest.raises(kit.InputError, match=r"spacing.*at most \d+ pixels"):
        light(spacing=spacing)


@pytest.mark.parametrize(
    "extent",
    [
        (0, 0, 0, 5),
        (4, -4, 0, 5),
        (100, 101, 0, 1),  # shows nothing of the front
    ],
)
def test_extent_has_four_limits_and_shows_some_of_the_front(extent):
    with pytest.raises(kit.InputError, match="extent"):
        light(extent=extent)


@pytest.mark.parametrize(
    "projectors",
    [
        [kit.Projector(**GOOD)],
        (kit.Projector(**GOOD), kit.Placement(**PLACE)),
        [(kit.Placement(**PLACE), kit.Projector(**GOOD))],
    ],
    ids=["no placement", "a pair alone", "swapped"],
)
def test_a_scene_takes_pairs_of_projector_and_placement(projectors):
    with pytest.raises(kit.InputError, match=r"projectors.*a pair"):
        kit.Scene(facade=kit.Facade([WALL]), projectors=projectors)


@pytest.mark.parametrize("unit", ["yd", "", None, 3])
def test_unknown_units_are_refused(unit):
    with pytest.raises(kit.InputError, match="units"):
        kit.units.metres_per(unit)


def test_a_front_shows_something():
    with pytest.raises(kit.InputError, match=r"patches.*faces the audience"):
        kit.Facade([])


def test_one_number_stands_where_a_sweep_could():
    with pytest.raises(kit.InputError, match=r"light_output = \[1000, 2000\]: expected a number above 0 lm"):
        kit.Projector(light_output=[1000, 2000], throw_ratio=1.5)
    with pytest.raises(kit.InputError, match=r"reflectance = \(0.1, 0.2\): expected a number from 0 to 1"):
        kit.Surface(name="paint", reflectance=(0.1, 0.2))


def test_the_message_names_field_value_and_what_is_right():
    with pytest.raises(kit.InputError) as caught:
        kit.Projector(light_output=-5, throw_ratio=1.5)
    assert str(caught.value) == "light_output = -5: expected a number above 0 lm"
    assert isinstance(caught.value, ValueError)


def test_a_table_of_another_kind_is_no_candidate_and_no_dimming():
    with pytest.raises(kit.InputError, match=r"^places = 'Dataset': expected the Dataset that kit.evaluate returns$"):
        kit.placement_of(kit.Projector(**GOOD), xr.Dataset(), 0)
    with pytest.raises(kit.InputError, match=r"^result = 'Dataset': .* kit.string_dimming returns$"):
        sliders.draw_dimming(xr.Dataset())
    with pytest.raises(kit.InputError, match=r"^result = 'Dataset': .* kit.evenings returns$"):
        sliders.draw_season(xr.Dataset())


@pytest.mark.parametrize(("given", "named"), [((1j, 3, "four"), "field"), (("a", 3, None), "right")])
def test_an_error_itself_is_told_in_words(given, named):
    with pytest.raises(kit.InputError, match=rf"^{named} = .*: expected a text$"):
        raise kit.InputError(*given)


@pytest.mark.parametrize("letters", [0, 30, 90, 150, 5000])
def test_what_cannot_be_printed_makes_no_error_longer(letters):
    """Each control character is written as four or more."""
    words = "\x16" * letters + "\u2028" * letters
    for given in ((words, 1, "one"), ("a", words, "one"), ("a", 1, words), (words, words, words)):
        assert len(str(kit.InputError(*given))) <= 300
