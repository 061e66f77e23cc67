"""Show files: a house and all around it in one file, read with every mistake at once, written whole or not at all."""

import json
import os
import tomllib
from dataclasses import fields, replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from killed import killed
from show_schema import FILE, show_schema

import kit
from kit.fields import specs
from kit.light.ambient import PICTURE
from kit.toml_file import Reader

ROOT = Path(__file__).parents[1]
HOUSES = [
    *sorted((ROOT / "notebooks" / "houses").glob("[bdl]*.toml")),
    *sorted((ROOT / "tests" / "houses").glob("*.toml")),
]
SHOWS = sorted((ROOT / "tests" / "shows").glob("*.toml"))

WALL = """
[[patch]]
name = "wall"
rectangle = { left = -20, bottom = 0, width = 40, height = 19 }
surface = "red brick"
"""
SMALL = f"""
name = "small"
units = "ft"
{WALL}
"""
EVERYTHING = f"""
name = "small"
units = "ft"
ambient = 0.5
ambient_band = [0.4, 0.65]
distance = "35 ft"
walk = 45
rooms_dark = true
{WALL}
[place]
town = "Chicago"
facing = 90
night_sky = "rural sky"
evening_sky = "hazy sky"
ground = "snow"

[target]
district = "bright"
purpose = "passive viewing"
share = 0.7
confidence = 0.8
black_detail = 1.5

[[lamp]]
name = "porch light"
position = [0, 7, 2]
flux = 500

[[lamp]]
name = "flood"
file = "lamp.ies"
position = [-30, "10 ft", 20]
pan = 40
tilt = 60

[[string]]
name = "gutter"
path = [[-20, 19, 0.5], [20, 19, 0.5]]

[[stand]]
name = "lawn"
area = [[-20, 20], [20, 20], [20, 40], [-20, 40]]
heights = [1, 3]

[[obstacle]]
name = "tree"
area = [[-10, 30], [-8, 30], [-8, 32]]
heights = [0, 12]

[[viewer]]
name = "on the walk"
eye = [5, 5.5, 47]
age = 60

[[machine]]
name = "ours"
lumens = 5000
throw_ratio = [1.2, 2.0]
kind = "cheap machine with a claim"
colour_light_output = 5000
panel = "transmissive liquid crystal"
picture_mode = "brightest"
power_mode = "eco"
ageing = "mid-life"
housing_window = "none"
dust = "clean"
zones = [[8, 9, 8], [9, 10, 9], [8, 9, 7]]

[[machine]]
name = "new"
lumens = 9000
throw_ratio = 0.5
lens_shift = [0, 0.6]
resolution = [3840, 2160]
kind = "stated by the standard"
colour_light_output = 4500
panel = "micromirror single panel"
picture_mode = "standard"
power_mode = "full"
ageing = "new"
housing_window = "plain pane"
dust = "clean"
light_source = "three laser"
zones = [[1, 1, 1], [1, 1, 1], [1, 1, 1]]
price = 3000

[[cloth]]
name = "white cotton"
per_square_foot = 0.5
"""
LAMP = "IESNA:LM-63-2002\nTILT=NONE\n1 -1 1 3 1 1 2 0 0 0\n1 1 10\n0 45 90\n0\n100 70 0\n"
# All of its light goes ahead, to horizontal 0.
ROAD = LAMP.replace("1 -1 1 3 1", "1 -1 1 3 3").replace("\n0\n100 70 0", "\n0 90 180\n100 70 0\n50 0 0\n50 0 0")


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "lamp.ies").write_text(LAMP, encoding="ascii")
    (tmp_path / "road.ies").write_text(ROAD, encoding="ascii")
    (tmp_path / "my_house.toml").write_text(SMALL, encoding="utf-8")
    return tmp_path


def opened(folder, text, name="show.toml"):
    (folder / name).write_text(text, encoding="utf-8")
    return kit.open_show(folder / name)


def refused(folder, text, name="show.toml"):
    with pytest.raises(kit.InputError) as caught:
        opened(folder, text, name)
    return str(caught.value)


# What is read


def test_a_house_by_its_path_is_a_complete_show(folder):
    show = opened(folder, 'house = "my_house.toml"')
    assert show.house == kit.load_house("my_house.toml")
    assert (show.units, show.path, show.house_file) == ("ft", folder / "show.toml", folder / "my_house.toml")
    for field in fields(show):
        if field.name not in ("house", "units", "path", "house_file", "taken"):
            assert getattr(show, field.name) is None, field.name
    # The house file by itself says the same, and so does a show file in another folder.
    (folder / "there").mkdir()
    assert kit.open_show("my_house.toml") == show == opened(folder / "there", 'house = "../my_house.toml"')


def test_without_a_path_my_show_is_opened_and_without_one_the_invented_house(folder):
    demo = kit.open_show()
    assert demo.house.name == "brick two-storey"
    assert demo.units == "ft"
    assert demo.path.name == "demo_show.toml"
    opened(folder, 'house = "my_house.toml"', "my_show.toml")
    assert kit.open_show().house.name == "small"
    # A broken one is told, and never replaced by the invented house.
    assert "my_show.toml" in refused_without_a_path(folder, 'house = "no.toml"')
    (folder / "my_show.toml").unlink()
    (folder / "my_show.toml").symlink_to("nowhere.toml")
    with pytest.raises(kit.InputError, match=r"my_show.toml"):
        kit.open_show()


def refused_without_a_path(folder, text):
    (folder / "my_show.toml").write_text(text, encoding="utf-8")
    with pytest.raises(kit.InputError) as caught:
        kit.open_show()
    return str(caught.value)


def test_everything_that_a_show_may_say_is_kept(folder):
    show = opened(folder, EVERYTHING)
    foot = 0.3048
    assert {field.name for field in fields(show) if getattr(show, field.name) is None} == {"house_file"}
    assert (show.ambient, show.facing, show.night_sky, show.ground) == (0.5, 90, "rural sky", "new snow")
    assert show.ambient_band == (0.4, 0.65)
    assert (show.latitude, show.longitude, show.timezone) == (41.85, -87.65, "America/Chicago")
    # Rounding only, here and below.
    assert (show.distance, show.walk) == pytest.approx((35 * foot, 45 * foot), rel=1e-12)
    porch, flood = show.lamps
    assert (porch.kind, porch.flux) == ("porch light", 500)
    assert porch.luminaire().distribution == kit.typical_luminaire("porch light", position=(0, 0, 1)).distribution
    assert flood.luminaire().position == pytest.approx((-30 * foot, 10 * foot, 20 * foot), rel=1e-12)
    assert flood.luminaire().distribution.flux() == pytest.approx(kit.load_distribution("lamp.ies").flux(), rel=1e-12)
    assert flood.luminaire().pan == 40
    (string,) = show.strings
    assert string.length == pytest.approx(40 * foot, rel=1e-12)
    assert (string.spacing, string.node_flux) == (0.075, 4)  # a typical one
    assert [lamp.name for lamp in show.luminaires()] == ["porch light", "flood"]
    assert show.stands[0].heights == pytest.approx((foot, 3 * foot), rel=1e-12)
    assert show.obstacles[0].blocks
    assert show.obstacles[0].area[2] == pytest.approx((-8 * foot, 32 * foot), rel=1e-12)
    assert show.viewers[0].age == 60
    ours, new = show.machines
    options = {"rating": "stated by the standard", "ageing": "new"}
    usual = kit.typical_projector(
        9000, 0.5, resolution=(3840, 2160), lens_shift=(0, 0.6), options=options, panel="micromirror single panel",
        colour_share=0.5, light_source="three laser",
    )  # fmt: skip
    # Measured zones take the place of usual corners.
    assert show.aimed(new)[0] == replace(usual, zones=[[1, 1, 1]] * 3)
    assert show.aimed(replace(new, zones=None))[0] == usual
    assert ours.losses == {
        "rating": "cheap machine with a claim", "picture mode": "brightest", "power mode": "eco", "ageing": "mid-life",
        "housing window": "none", "dust": "clean",
    }  # fmt: skip
    assert (ours.zoom, new.zoom) == ((1.2, 2.0), (0.5, 0.5))
    assert (new.light_source, new.price) == ("three laser", 3000)
    # 0.3048 m to a foot.
    assert show.cloth("white cotton").price == pytest.approx((0.5 / foot**2,) * 3, rel=1e-12)
    assert show.cloth("black lining") == kit.Cloth.from_reference("black lining")
    # Named as in earlier files.
    assert (show.district, show.purpose) == ("a floodlit wall in a bright district", "a picture to look at in passing")
    assert show.target() == kit.Target(white_luminance=12, contrast=7, share=0.7, confidence=0.8)
    assert show.black_detail == pytest.approx(1.5 * foot, rel=1e-12)
    site = show.site()
    assert (site.facing, site.ground_reflectance) == (90, kit.Surface.from_reference("new snow").reflectance)
    assert show.assumed == ()
    assert show.full == show


def test_a_black_detail_of_a_show_counts_the_veil_of_the_picture_on_every_page():
    show = replace(kit.open_show(SHOWS[0]), rooms_dark=True)
    veiled = replace(show, black_detail=0.5)
    assert any("veil that a picture throws" in words for words in show.assumed)
    assert not any("veil that a picture throws" in words for words in veiled.assumed)
    for answer, lights in (
        (kit.arrange, lambda found: [found.light]), (kit.compare, lambda found: found.maps),
        (kit.weigh, lambda found: [kit.light_map(found.scene, 0.3)]),
    ):  # fmt: skip
        for bare, own in zip(lights(answer(show)), lights(answer(veiled)), strict=True):
            assert PICTURE in own["source"].values
            assert PICTURE not in bare["source"].values
            assert float(own["contrast"].median()) < float(bare["contrast"].median())
    assert "lumens" in kit.weigh(veiled).payoff.sentence()  # which looks at the wall alone as well


def test_lengths_of_a_show_are_in_its_own_unit_or_that_of_its_house(folder):
    walk = 'house = "my_house.toml"\nwalk = 30\n'
    # 0.3048 m to a foot; rounding only.
    assert opened(folder, walk).walk == pytest.approx(30 * 0.3048, rel=1e-12)
    metres = opened(folder, f'{walk}units = "m"\n')
    assert (metres.walk, metres.units) == (30, "m")
    inches = opened(folder, walk.replace("30", "360") + 'units = "in"\n')
    assert inches.walk == pytest.approx(30 * 0.3048, rel=1e-12)
    assert inches.units == "ft"


# What is assumed


def test_what_is_missing_is_assumed_and_listed(folder):
    show = opened(folder, 'house = "my_house.toml"')
    assert len(show.assumed) == 23
    corners = "86% as bright as its centre; the worst one of five machines measured, 74%"
    assert f"corners of a picture: {corners}" in show.assumed
    assert "light of the street: 0.86 lx, the least that a walkway has" in show.assumed
    assert "place: 42.0° N 87.0° W, as none is said" in show.assumed
    assert "machines: 4,000 lm and 8,000 lm, throw ratio 0.8, of no maker" in show.assumed
    assert (
        "where a machine does not say: known maker (rating), standard (picture mode), full (power mode), first seasons "
        "(ageing), plain pane (housing window), clean (dust), a panel not known and colours as is usual"
    ) in show.assumed
    assert "claim" not in show.sentence()
    full = show.full
    assert (full.ambient, full.facing, full.timezone) == (0.861, 180, "America/Chicago")
    assert [machine.lumens for machine in full.machines] == [4000, 8000]
    assert full.lamps == ()
    assert show.site() == full.site()
    assert show.target() == kit.Target()
    assert "white: as bright as a floodlit wall in a dark district" in show.assumed
    assert show.assumed[-2:] == ("good on at least 80% of the front", "sure enough: 9 chances in 10")
    assert full.full == full
    assert not [words for words in full.assumed if words.startswith(("light", "place", "time", "target"))]


def test_each_thing_that_is_said_is_no_longer_assumed(folder):
    everything = opened(folder, EVERYTHING)
    none = kit.Show(house=everything.house)
    for name in specs(none):
        # A band goes with a light that is said: what it is without one stands in doubts.csv.
        if name not in ("house", "units", "latitude", "longitude", "rooms_dark", "ambient_band"):
            said = replace(none, **{name: getattr(everything, name)})
            # Machines say what they are, what they lose, and how bright their corners are.
            assert len(said.assumed) == len(none.assumed) - (3 if name == "machines" else 1), name
    # That rooms are lit is assumed where there are shades.
    bungalow = kit.Show(house=kit.load_house(ROOT / "notebooks" / "houses" / "light_bungalow.toml"))
    told = "rooms behind shades: lit, if it is not said"
    assert told in bungalow.assumed and told not in none.assumed  # noqa: PT018
    assert told not in replace(bungalow, rooms_dark=True).assumed
    there = replace(none, latitude=61.0, longitude=10.5)
    assert len(there.assumed) == len(none.assumed) - 1
    assert "time zone: Europe/Oslo, that of the nearest town that has one" in there.assumed


@pytest.mark.parametrize(
    ("place", "zone"),
    [
        ((48.2, 16.4), "Europe/Vienna"),
        ((42, -88), "America/Chicago"),
        ((-33, 151), "Australia/Sydney"),
        ((65, -18), "Atlantic/Reykjavik"),
        ((-17.5, -179.9), "Pacific/Fiji"),
    ],
)
def test_a_missing_time_zone_is_that_of_the_nearest_town(folder, place, zone):
    show = replace(kit.open_show("my_house.toml"), latitude=place[0], longitude=place[1])
    assert show.full.timezone == zone


def test_the_rooms_behind_shades_are_lit_unless_it_is_said():
    """The worse for a picture; a switch puts all out, and what the house says of a window stands."""
    lit = kit.Show(house=kit.load_house(ROOT / "notebooks" / "houses" / "light_bungalow.toml"))
    windows = [p.name for p in lit.house.patches if p.surface.transmittance]
    usual = kit.reference.value("shades", "lit room")
    assert windows
    assert [lit.front.patch(name).room_light for name in windows] == [usual] * len(windows)
    dark = replace(lit, rooms_dark=True)
    assert {p.room_light for p in dark.front.patches if p.name in windows} == {0.0}
    one = [replace(p, room_light=7.0) if p.name == windows[0] else p for p in lit.house.patches]
    said = replace(lit, house=replace(lit.house, patches=tuple(one)))
    assert [said.front.patch(name).room_light for name in windows] == [7.0, *[usual] * (len(windows) - 1)]
    assert replace(said, rooms_dark=True).front.patch(windows[0]).room_light == 0.0


def test_a_zone_alone_stands_for_its_town(folder):
    show = opened(folder, 'house = "my_house.toml"\n[place]\ntimezone = "Europe/Vienna"')
    assert (show.full.latitude, show.full.longitude) == (48.22, 16.33)
    assert "place: 48.2° N 16.3° E" in show.assumed


def test_a_lamp_from_a_file_faces_what_it_is_said_to_face(folder):
    lamp = 'house = "my_house.toml"\n[[lamp]]\nname = "road lamp"\nfile = "road.ies"\nposition = [0, 20, 10]\n'
    away, to = (opened(folder, f"{lamp}towards = [{x}, {z}]") for x, z in ((0, '"12 m"'), (0, 0)))
    (one,) = away.luminaires()
    assert one.towards == pytest.approx((0, 12), rel=1e-12)
    np.testing.assert_allclose(one.axes()[1], (0, 0, 1), atol=1e-12)
    # The rear of the lamp is dark from 45 degrees on; of the light ahead the wall gets all.
    assert to.lamp_light > 2 * away.lamp_light
    kit.save_show(to, folder / "saved.toml")
    assert "towards = [0, 0]" in (folder / "saved.toml").read_text(encoding="utf-8")
    assert kit.open_show(folder / "saved.toml").lamps == to.lamps
    # What was written as `pan` means what it did: C0 of the table along the front, whatever the format's front is.
    (turned,) = opened(folder, f"{lamp}pan = 0").luminaires()
    np.testing.assert_allclose(turned.axes()[1], (1, 0, 0), atol=1e-12)
    kit.save_show(opened(folder, f"{lamp}pan = 0"), folder / "other.toml")
    assert "pan = 0" in (folder / "other.toml").read_text(encoding="utf-8")


def test_named_lamps_make_the_light_of_the_street_unless_it_is_measured(folder):
    dark = opened(folder, 'house = "my_house.toml"\nlamp = []')
    assert (dark.lamps, dark.full.ambient) == ((), 0.0)
    lamp = '[[lamp]]\nname = "street lamp"\nposition = [0, 20, 40]'
    lit = opened(folder, f'house = "my_house.toml"\n{lamp}')
    # Straight before the middle: 4,000 lm at 12 m, 60 degrees or so off straight down, are about 4 lx.
    assert 1.0 < lit.full.ambient < 8.0
    assert f"light of the street: {lit.full.ambient:.2g} lx, the median on the front of the lamps named" in lit.assumed
    measured = opened(folder, f'house = "my_house.toml"\nambient = 2\n{lamp}')
    assert measured.full.ambient == 2


@pytest.mark.parametrize("units", ["ft", "m"])
def test_the_first_line_says_wall_light_place_and_target_in_one_sentence(folder, units):
    show = opened(folder, EVERYTHING)
    size = {"ft": "40.0 ft wide and 19.0 ft high", "m": "12.2 m wide and 5.8 m high"}[units]
    assert show.sentence(units) == (
        f"Small, {size}; main wall red brick (reflectance 0.15); light of the street 0.50 lx; 41.9° N 87.7° W, the "
        "front faces east; wanted: white of 12 cd/m², contrast of 7:1. Ours is a cheap machine with a claim: in tests, "
        "half of them gave less than 20% of what they state, and nearly nine in ten less than 80%. "
        "Buy none that you cannot give back, and measure it."
    )
    assert show.sentence() == show.sentence("ft")
    with pytest.raises(kit.InputError, match="units"):
        show.sentence("yards")


def test_what_is_taken_for_another_name_is_said(folder):
    text = SMALL.replace("red brick", "gray siding") + WALL.replace('"wall"', '"other"').replace("-20", "20")
    own = '\n[surfaces."our stone"]\nreflectance = 0.3\n'
    show = opened(folder, text.replace('surface = "red brick"', 'surface = "our stone"') + own)
    assert show.taken == ("'gray siding' is taken as grey siding", "'our stone' is taken as a kind of stone")
    assert show.assumed[:2] == show.taken


@pytest.mark.parametrize(
    ("name", "wall", "masonry"),
    [
        ("brick_two_storey", ("main wall", "bay"), ("main wall", "bay")),
        ("light_bungalow", ("main wall",), ()),
        ("split_level", ("brick half", "garage"), ("brick half", "garage", "chimney")),
        ("town_house", ("upper wall", "bay"), ("upper wall", "lower wall", "plinth", "bay")),
        ("farmhouse", ("wall",), ()),
    ],
)
def test_the_house_knows_its_main_wall_and_its_masonry(name, wall, masonry):
    (path,) = (path for path in HOUSES if path.stem == name)
    show = kit.open_show(path)
    assert (show.main_wall, show.masonry) == (wall, masonry)


def test_a_front_of_windows_alone_has_no_main_wall(folder):
    show = opened(folder, SMALL.replace("red brick", "bare window").replace("height = 19", "height = 9"))
    assert (show.main_wall, show.masonry) == ((), ())
    assert "main wall" not in show.sentence()


# What is wrong


@pytest.mark.bad_input
def test_all_mistakes_of_a_show_and_its_house_are_told_at_once(folder):
    (folder / "my_house.toml").write_text(SMALL.replace("red brick", "brik").replace("left", "lft"), encoding="utf-8")
    message = refused(
        folder,
        'house = "my_house.toml"\nambient = -1\n[place]\ntown = "Chicagoo"\n[[machine]]\nname = "a"\nlumen = 5\n'
        "[[lamp]]\nname = 'x'\nposition = [0, 1]\n[[viewer]]\nname = 'y'\n",
    )
    head, *lines = message.split("\n")
    assert head == "show.toml has 8 mistakes:"
    for line, words in zip(
        lines,
        (
            ("my_house.toml: patch 'wall': rectangle, lft", "did you mean left"),
            ("my_house.toml: patch 'wall': surface", "'brik'"),
            ("ambient", "-1", "0 or more"),
            ("lamp 'x': position", "[0, 1]"),
            ("viewer 'y': eye", "to be there"),
            ("machine 'a': lumen", "did you mean lumens"),
            ("place: town", "'Chicagoo'", "'Chicago'"),
        ),
        strict=False,
    ):
        for word in words:
            assert word in message, (word, line)


WRONG = {
    "empty": ("", ["a name, units and at least one [[patch]]"]),
    "no house at all": ("ambient = 1", ["name", "patch", "to be there"]),
    "house is a number": ("house = 3", ["house"]),
    "no such house": ('house = "my_hose.toml"', ["house file", "no such file", "my_house.toml"]),
    "house and patches": (
        f'house = "my_house.toml"\n{WALL}',
        ["house = 'my_house.toml'", "either a house file or patch"],
    ),
    "[lamp] for [[lamp]]": (
        'house = "my_house.toml"\n[lamp]\nname = "porch light"\nposition = [0, 7, 2]',
        ["[[lamp]]"],
    ),
    "half a place": ('house = "my_house.toml"\n[place]\nlatitude = 40', ["latitude, longitude", "both"]),
    "no such zone": ('house = "my_house.toml"\n[place]\ntimezone = "Chicago"', ["timezone", "America/Chicago"]),
    "no such sky": ('house = "my_house.toml"\n[place]\nnight_sky = "dark"', ["night_sky", "rural sky"]),
    "a lamp of no kind": (
        'house = "my_house.toml"\n[[lamp]]\nname = "x"\nposition = [0, 7, 2]',
        ["lamp 'x': kind or file", "neither", "street lamp"],
    ),
    "no such lamp file": (
        'house = "my_house.toml"\n[[lamp]]\nname = "x"\nfile = "no.ies"\nposition = [0, 7, 2]',
        ["photometric file 'no.ies'", "no such file"],
    ),
    "a lamp file that does not say where its front is": (
        'house = "my_house.toml"\n[[lamp]]\nname = "x"\nfile = "road.ies"\nposition = [0, 7, 2]',
        ["lamp 'x': towards", "a point that its front faces, or pan"],
    ),
    "a lamp that faces two ways": (
        'house = "my_house.toml"\n[[lamp]]\nname = "porch light"\nposition = [0, 7, 2]\npan = 0\ntowards = [1, 2]',
        ["lamp 'porch light': towards, pan", "one of the two"],
    ),
    "a lamp in the wall": (
        'house = "my_house.toml"\n[[lamp]]\nname = "street lamp"\nposition = [0, 7, -2]',
        ["lamp 'street lamp': position"],
    ),
    "two lamps of one name": (
        'house = "my_house.toml"\n' + 2 * '[[lamp]]\nname = "porch light"\nposition = [0, 7, 2]\n',
        ["lamps: name", "'porch light'"],
    ),
    "a crossed stand": (
        'house = "my_house.toml"\n[[stand]]\nname = "x"\narea = [[0, 9], [9, 20], [9, 9], [0, 20]]\nheights = [1, 2]',
        ["stand 'x': area", "do not cross"],
    ),
    "two prices": (
        'house = "my_house.toml"\n[[cloth]]\nname = "white cotton"\nper_square_foot = 1\nper_square_metre = 1',
        ["cloth 'white cotton': price", "one of per_square_metre, per_square_foot"],
    ),
    "no such machine": (
        'house = "my_house.toml"\n[[machine]]\nname = "x"\nlumens = 0\nthrow_ratio = [2, 1]',
        ["machine 'x': lumens", "above 0", "machine 'x': throw_ratio"],
    ),
    "a walk far away": ('house = "my_house.toml"\nwalk = "next door"', ["walk", "'next door'", "5 ft 6 in"]),
    "at the wrong place": (
        'house = "my_house.toml"\n[place]\nfacing = 90\nambient = 3',
        ["place: ambient", "at the top of the file"],
    ),
}


@pytest.mark.bad_input
@pytest.mark.parametrize("case", WRONG)
def test_a_wrong_show_file_is_told_by_file_and_field(folder, case):
    text, words = WRONG[case]
    message = refused(folder, text)
    for word in ("show.toml", "expected", *words):
        assert word in message, message


@pytest.mark.bad_input
def test_a_show_file_that_is_not_there_is_told(folder):
    with pytest.raises(kit.InputError, match=r"show file 'no.toml' = 'no such file': expected one of my_house.toml in"):
        kit.open_show("no.toml")


# What is written


@pytest.mark.property
@pytest.mark.parametrize("path", [*HOUSES, *SHOWS], ids=lambda path: f"{path.parent.name}-{path.stem}")
@pytest.mark.parametrize("by_path", [True, False])
def test_a_show_that_is_saved_and_opened_is_the_same(folder, path, by_path):
    show = kit.open_show(path)
    show = show if by_path else replace(show, house_file=None)
    kit.save_show(show, "saved.toml")
    again = kit.open_show("saved.toml")
    alike(show, again)
    if by_path and show.house_file:
        assert again.house_file.resolve() == show.house_file.resolve()
        assert again.house == show.house
    kit.save_show(again, "again.toml")
    if not by_path:
        assert (folder / "again.toml").read_bytes() == (folder / "saved.toml").read_bytes()


def alike(one, other):
    """Fail unless two shows say the same, lengths to a nanometre."""
    for field in fields(one):
        a, b = getattr(one, field.name), getattr(other, field.name)
        if field.name == "house":
            assert (a.name, [p.name for p in a.patches]) == (b.name, [p.name for p in b.patches])
            for p, q in zip(a.patches, b.patches, strict=True):
                assert (p.surface, p.judged) == (q.surface, q.judged)
                for ring, same in zip(p.rings, q.rings, strict=True):
                    np.testing.assert_allclose(ring, same, atol=1e-9)
        elif field.compare:
            assert near(a, b), field.name


def near(a, b):
    if isinstance(a, tuple):
        return isinstance(b, tuple) and len(a) == len(b) and all(map(near, a, b))
    if isinstance(a, float):
        return isinstance(b, float) and abs(a - b) <= 1e-9 * max(1.0, abs(a))
    if hasattr(a, "__dataclass_fields__"):
        return type(a) is type(b) and all(near(getattr(a, f.name), getattr(b, f.name)) for f in fields(a))
    return a == b


def test_everything_is_saved_and_opened_again(folder):
    show = opened(folder, EVERYTHING)
    (folder / "there").mkdir()
    for name, units in (("saved.toml", "ft"), ("there/saved.toml", "m")):
        kit.save_show(replace(show, units=units), name)
        alike(replace(show, units=units), kit.open_show(name))
    assert 'file = "../lamp.ies"' in (folder / "there" / "saved.toml").read_text(encoding="utf-8")
    cotton = kit.Cloth.from_reference("white cotton")
    kit.save_show(replace(show, cloths=(cotton,)), "cloth.toml")
    assert kit.open_show("cloth.toml").cloths == (cotton,)
    with pytest.raises(kit.InputError, match=r"cloths.*of the kit"):
        kit.save_show(replace(show, cloths=(replace(cotton, reflectance=0.5),)), "other.toml")
    none = kit.Show(house=show.house, lamps=(), strings=(), obstacles=(), cloths=())
    kit.save_show(none, "none.toml")
    assert kit.open_show("none.toml").lamps == ()
    alike(none, kit.open_show("none.toml"))


def test_a_house_that_was_changed_is_written_out_and_its_file_left_alone(folder):
    show = opened(folder, 'house = "my_house.toml"')
    fabric = kit.Surface.from_reference("white fabric")
    changed = replace(show, house=show.house.cover(fabric, patches=["wall"]))
    kit.save_show(changed, "changed.toml")
    again = kit.open_show("changed.toml")
    assert again.house.patch("wall").surface == fabric
    assert again.house_file is None
    assert (folder / "my_house.toml").read_text(encoding="utf-8") == SMALL


@pytest.mark.bad_input
def test_what_is_there_is_replaced_only_when_asked_and_never_through_a_link(folder):
    show = opened(folder, 'house = "my_house.toml"')
    with pytest.raises(kit.InputError, match=r"show.toml.*is there.*overwrite=True"):
        kit.save_show(show, "show.toml")
    kit.save_show(replace(show, ambient=3.0), "show.toml", overwrite=True)
    assert kit.open_show("show.toml").ambient == 3.0
    (folder / "link.toml").symlink_to("my_house.toml")
    (folder / "a folder").mkdir()
    for name in ("link.toml", "a folder"):
        with pytest.raises(kit.InputError, match="a file of its own"):
            kit.save_show(show, name, overwrite=True)
    for name in ("no folder/show.toml", "a\0b.toml"):
        with pytest.raises(kit.InputError, match=r"show file|path"):
            kit.save_show(show, name)
    with pytest.raises(kit.InputError, match="path"):
        kit.save_show(show, None)
    with pytest.raises(kit.InputError, match="show"):
        kit.save_show(show.house, "a.toml")
    assert (folder / "my_house.toml").read_text(encoding="utf-8") == SMALL
    assert sorted(path.name for path in folder.iterdir()) == [
        "a folder",
        "lamp.ies",
        "link.toml",
        "my_house.toml",
        "road.ies",
        "show.toml",
    ]


def test_a_save_that_fails_leaves_the_old_file_and_nothing_else(folder, monkeypatch):
    show = opened(folder, 'house = "my_house.toml"')
    before = (folder / "show.toml").read_bytes()

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(kit.InputError, match="No space left"):
        kit.save_show(replace(show, ambient=3.0), "show.toml", overwrite=True)
    assert (folder / "show.toml").read_bytes() == before
    assert sorted(path.name for path in folder.iterdir()) == ["lamp.ies", "my_house.toml", "road.ies", "show.toml"]


@pytest.mark.skipif(not hasattr(os, "fork"), reason="kills a forked process, which is quick")
def test_a_killed_save_leaves_the_old_show_or_the_new_one(folder):
    opened(folder, 'house = "my_house.toml"\nambient = 0')
    show = kit.open_show("show.toml")
    for wait in (0.0, 0.013, 0.05):
        killed(lambda turn: kit.save_show(replace(show, ambient=float(turn % 7)), "show.toml", overwrite=True), wait)
        assert kit.open_show("show.toml").ambient in range(7)


@pytest.mark.bad_input
def test_colours_far_brighter_than_white_are_refused():
    with pytest.raises(kit.InputError, match=r"machine 'ours': colour_light_output = 6001.*at most 1.5 times"):
        kit.Machine(name="ours", lumens=4000, colour_light_output=6001)
    assert kit.Machine(name="ours", lumens=4000, colour_light_output=6000).colour_light_output == 6000


# The schema


def test_the_schema_beside_the_houses_is_that_of_the_code():
    assert json.loads(FILE.read_text(encoding="utf-8")) == json.loads(json.dumps(show_schema()))


@pytest.mark.parametrize("path", [*HOUSES, *SHOWS], ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_the_schema_takes_what_the_kit_takes(path):
    jsonschema.validate(tomllib.loads(path.read_text(encoding="utf-8")), show_schema())


def test_the_schema_takes_everything_and_refuses_what_is_wrong(folder):
    schema = show_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(tomllib.loads(EVERYTHING), schema)
    for old, new in (
        ('"rural sky"', '"dark sky"'),
        ("lumens = 5000", "lumens = 0"),
        ("hrow_ratio = 0.5", "hrow = 0.5"),
        ("position = [0, 7, 2]", "position = [0, 7]"),
        ("ambient = 0.5", "ambient = -1"),
        ('name = "small"', ""),
    ):
        assert old in EVERYTHING
        wrong = EVERYTHING.replace(old, new, 1)
        refused(folder, wrong)
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(tomllib.loads(wrong), schema)


# A verdict from what is said


@pytest.mark.parametrize("path", SHOWS, ids=lambda path: path.stem)
def test_the_shows_of_the_fronts_get_a_verdict(path):
    show = kit.open_show(path)
    for verdict in kit.compare(show, spacing=0.1).verdicts:
        assert verdict.sentence(show.units)
        assert verdict.target == show.target()
    assert show.site().sky("2026-12-05 20:00").twilight() < 1e-6


# What people choose from


def test_every_surface_has_its_kind_band_and_colour():
    table = kit.surfaces()
    assert table.loc["grey siding", ["kind", "reflectance", "low", "high"]].tolist() == ["siding", 0.32, 0.16, 0.52]
    assert table["status"].isin(["seen", "from memory"]).all()
    # The band is drawn: three colours, from dark to light.
    greens = [table[name].str[3:5].map(lambda level: int(level, 16)) for name in ("darkest", "colour", "lightest")]
    assert (greens[0] < greens[1]).all()
    assert (greens[1] < greens[2]).all()
    assert all(table[name].str.fullmatch("#[0-9a-f]{6}").all() for name in ("darkest", "colour", "lightest"))
    red, green, blue = (int(table.loc["red brick", "colour"][i : i + 2], 16) for i in (1, 3, 5))
    assert red > green > blue
    # A neutral grey of reflectance 0.32 is level 0.6027 of sRGB (IEC 61966-2-1): 1.055 * 0.32 ** (1 / 2.4) - 0.055.
    assert table.loc["grey siding", "colour"] == "#999999"
    kinds = table["kind"].tolist()
    assert [kind for i, kind in enumerate(kinds) if i == 0 or kind != kinds[i - 1]] == list(dict.fromkeys(kinds))
    table.loc["grey siding", "reflectance"] = 1.0
    assert kit.surfaces().loc["grey siding", "reflectance"] == 0.32


@pytest.mark.published
def test_towns_stand_where_they_are():
    table = kit.towns()
    # ISO 6709 in zone.tab of the IANA database: AT +4813+01620, US +415100-0873900, AU -3352+15113.
    assert table.loc["Vienna"].tolist() == ["AT", 48.22, 16.33, "Europe/Vienna"]
    assert table.loc["Chicago", ["latitude", "longitude"]].tolist() == [41.85, -87.65]
    assert table.loc["Sydney", ["latitude", "longitude"]].tolist() == [-33.87, 151.22]
    assert len(table) > 400
    assert table.index.is_unique
    assert table["latitude"].between(-90, 90).all()
    assert table["longitude"].between(-180, 180).all()
    for timezone in table["timezone"]:
        kit.Site(latitude=0, longitude=0, timezone=timezone, facing=0)


def test_a_reader_goes_on_after_a_mistake():
    reader = Reader("a file", {})
    reader.finish()
    with reader.noting():
        raise kit.InputError("a", 1, "2")
    assert [mistake.field for mistake in reader.mistakes] == ["a"]
    with pytest.raises(kit.InputError, match=r"a file: a = 1: expected 2"):
        reader.finish()
