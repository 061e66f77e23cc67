"""Spoilt house files: each gives a front, or exactly one `InputError` that a home-owner can read, and soon.

Few examples run by default; ``FUZZ_EXAMPLES=10000 pytest tests/test_fuzz_house_file.py`` looks longer, and at others
each time.
"""

import json
import math
import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pace import TRIES, pace, processor_time

import kit
from kit import reference
from kit.wall.facade import kinds

HOUSES = [
    path.read_text(encoding="utf-8") for path in sorted(Path(__file__).parents[1].glob("notebooks/houses/[bdl]*.toml"))
]
# Their houses stay where they are.
SHOWS = [
    path.read_text(encoding="utf-8").replace('house = "../houses/', f'house = "{path.parents[1] / "houses"}/')
    for path in sorted((Path(__file__).parent / "shows").glob("*.toml"))
]
FILE = "our house.toml"
# As much as fits under a panel, in so many lines; and in how many times that of a large house an answer comes.
LONGEST, LINES, SOON = 600, 10, 10

EXAMPLES = int(os.environ.get("FUZZ_EXAMPLES", "0"))
some = settings(
    max_examples=EXAMPLES or 60,
    derandomize=not EXAMPLES,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.function_scoped_fixture],
)
# What is loaded at the first use is not the time of a file.
kit.parse_house(HOUSES[0], FILE)


def outcome(load, *arguments):
    """Return the front, or the text of the one error; fail on all else."""
    answers = []

    def attempt():
        try:
            answers.append(load(*arguments))
        except kit.InputError as caught:
            answers.append(caught)

    assert any(processor_time(attempt) < SOON * pace() for _ in range(TRIES))
    found = answers[0]
    if isinstance(found, kit.Show):
        found = found.house
    if isinstance(found, kit.Facade):
        assert all(map(math.isfinite, found.bounds))
        assert all(0 < patch.area < math.inf for patch in found.patches)
        return found
    assert type(found) is kit.InputError
    # One error, not one "during handling of" another.
    assert found.__cause__ is None
    assert found.__context__ is None or found.__suppress_context__
    message = str(found)
    lines = message.split("\n")
    assert len(lines) <= LINES
    assert max(map(len, lines)) < LONGEST, message
    assert FILE in message
    assert "expected" in message
    assert "pydantic" not in message
    return message


def parsed(text):
    return outcome(kit.parse_house, text, FILE)


class Raw(str):
    """Text that stands in the file as it is."""


def toml(value):
    if isinstance(value, Raw):
        return str(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(key)} = {toml(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(toml, value)) + "]"
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else repr(value)


def house_text(house):
    lines = []
    for key, value in house.items():
        if key == "patch" and isinstance(value, list) and all(isinstance(item, dict) for item in value):
            for item in value:
                lines += ["[[patch]]", *(f"{json.dumps(name)} = {toml(part)}" for name, part in item.items())]
        else:
            lines.insert(0, f"{json.dumps(key)} = {toml(value)}")
    return "\n".join(lines) + "\n"


def nested(depth, inside=1):
    for _ in range(depth):
        inside = [inside]
    return inside


# What a hand, an editor or a program may put where a value belongs.
WRONG = [
    math.nan, math.inf, -math.inf, 0, 0.0, -0.0, -1, 1, 1e-300, 5e-324, 1e-9, 1e300, -1e300, 999.9, 1000, 1000.1,
    10**30, -(10**400), Raw("1e400"), Raw("9" * 5000), Raw("0x" + "f" * 5000), Raw("0b1"), Raw("1_000"),
    Raw("1979-05-27"), Raw("07:32:00"), Raw("2026-13-45"), Raw("1979-05-27T00:32:00+99:99"), Raw("ft"), Raw("+"),
    Raw("'"), Raw('"""'), Raw("["), Raw("{"), Raw("]"), Raw("1,5"), Raw("12' 6\""), Raw("\ud800"), True, False, "", " ",
    "x", "12 ft", "white", "red brick", "redbrick", "\0", "a\nb", "\x1b[2J", "ä" * 199, "x" * 200, "x" * 2000,
    "[" * 50, [], [[]], [1], [[0, 0]], [[0, 0]] * 1200, [0] * 3000, nested(20), nested(90), nested(300), {}, {"": 1},
    {"left": 0}, {"a": {"b": {"c": [{}]}}}, {"x" * 3000: 1}, {"a\nb": 1},
]  # fmt: skip
anything = st.one_of(
    st.sampled_from(WRONG),
    st.floats(-1500, 1500),
    st.integers(-(10**6), 10**6),
    st.text(max_size=6),
    st.recursive(st.floats() | st.booleans(), lambda inner: st.lists(inner, max_size=4), max_leaves=8),
)


# Lines of the houses that come with the kit, spoilt


@st.composite
def spoilt_texts(draw, texts=HOUSES):
    lines = draw(st.sampled_from(texts)).splitlines()
    for _ in range(draw(st.integers(1, 5))):
        at, other = (draw(st.integers(0, len(lines) - 1)) for _ in range(2))
        line = lines[at]
        kind = draw(st.sampled_from(["drop", "double", "swap", "value", "number", "number", "key", "insert", "cut"]))
        numbers = [k for k, word in enumerate(line.split(" ")) if any(c.isdigit() for c in word)]
        if kind == "drop":
            del lines[at : at + draw(st.integers(1, 4))]
            lines = lines or [""]
        elif kind == "double":
            lines.insert(other, line)
        elif kind == "swap":
            lines[at], lines[other] = lines[other], line
        elif kind == "value" and "=" in line:
            lines[at] = f"{line.partition('=')[0]}= {toml(draw(anything))}"
        elif kind == "number" and numbers:
            words = line.split(" ")
            k = draw(st.sampled_from(numbers))
            old = words[k].strip("[],}")
            words[k] = words[k].replace(old, toml(draw(anything)))
            lines[at] = " ".join(words)
        elif kind == "key":
            key = draw(
                st.sampled_from(["depth", "holes", "judged", "deepth", "a.b.c", '"a\\nb"', "k" * 700, "corners"])
            )
            lines.insert(at, f"{key} = {toml(draw(anything))}")
        elif kind == "insert":
            i = draw(st.integers(0, len(line)))
            lines[at] = line[:i] + draw(st.text(max_size=4)) + line[i:]
        elif kind == "cut":
            lines[at] = line[: draw(st.integers(0, len(line)))]
    return draw(st.sampled_from(["\n", "\n", "\r\n"])).join(lines)


@pytest.mark.property
@some
@given(spoilt_texts())
def test_a_spoilt_house_gives_a_front_or_one_short_error(text):
    parsed(text)


@pytest.mark.property
@some
@given(spoilt_texts(SHOWS))
def test_a_spoilt_show_gives_a_show_or_one_short_error(tmp_path, text):
    path = tmp_path / FILE
    path.write_bytes(text.encode(errors="replace"))
    outcome(kit.open_show, path)


@pytest.mark.property
@some
@given(
    st.sampled_from(HOUSES), st.lists(st.tuples(st.integers(0, 5000), st.binary(max_size=5)), min_size=1, max_size=4)
)
def test_any_bytes_in_a_file_give_a_front_or_one_short_error(tmp_path, text, changes):
    data = text.encode()
    for at, added in changes:
        data = data[:at] + added + data[at + 1 :]
    path = tmp_path / FILE
    path.write_bytes(data)
    outcome(kit.load_house, path)


# Houses made from parts


surfaces = st.sampled_from(reference.names("surfaces"))
lengths = st.floats(0.25, 9.0) | st.integers(1, 9)


@st.composite
def houses(draw):
    """A right house: parts side by side, so none hides another, some of them with a hole and in front of the wall."""
    own = draw(st.booleans())
    house = {
        "name": draw(st.sampled_from(["Our house", "Zuhause", "家", "a" * 200])),
        "units": draw(st.sampled_from(["m", "ft"])),
        "units_checked": True,
    }
    if own:
        low, middle, high = sorted(draw(st.floats(0, 1)) for _ in range(3))
        house["surfaces"] = {
            "mine": {"reflectance": middle, "low": low, "high": high, "kind": draw(st.sampled_from(kinds()))}
        }
    house["patch"] = []
    for i in range(draw(st.integers(1, 6))):
        left, bottom = 10 * i - 30, draw(st.integers(-2, 2))
        width, height = draw(lengths), draw(lengths)
        patch = {"name": f"part {i}", "surface": "mine" if own and draw(st.booleans()) else draw(surfaces)}
        if draw(st.booleans()):
            patch["rectangle"] = {"left": left, "bottom": bottom, "width": width, "height": height}
        else:
            patch["corners"] = [
                [left, bottom],
                [left + width, bottom],
                [left + width, bottom + height],
                [left, bottom + height],
            ]
        if draw(st.booleans()):
            patch["depth"] = draw(st.floats(-3, 3) | st.integers(-3, 3))
        if draw(st.booleans()):
            patch["thickness"] = draw(st.just(0) | st.floats(0, 2))
        if draw(st.booleans()):
            middle = (left + width / 2, bottom + height / 2)
            patch["holes"] = [
                [[middle[0] + dx * width / 4, middle[1] + dy * height / 4] for dx, dy in ((-1, -1), (1, -1), (0, 1))]
            ]
        if draw(st.booleans()):
            patch["judged"] = draw(st.booleans())
        house["patch"].append(patch)
    return house


@pytest.mark.property
@some
@given(houses())
def test_a_right_house_is_a_front_with_its_areas(house):
    front = parsed(house_text(house))
    assert isinstance(front, kit.Facade), front
    metre = 1.0 if house["units"] == "m" else 0.3048  # the international foot, by definition
    for item in house["patch"]:
        rectangle = item.get("rectangle")
        width, height = (
            (rectangle["width"], rectangle["height"])
            if rectangle
            else (item["corners"][2][k] - item["corners"][0][k] for k in (0, 1))
        )
        # A triangle of half the width and half the height: an eighth of it all.
        area = width * height * (7 / 8 if "holes" in item else 1) * metre**2
        assert front.patch(item["name"]).area == pytest.approx(area, rel=1e-9)  # rounding of sums up to 60 over 0.25


def places(value, path=()):
    """Paths of all that a house holds."""
    if path:
        yield path
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        yield from places(inner, (*path, key))


def put(value, path, new):
    """Return `value` with what is at `path` replaced, or gone for None."""
    if not path:
        return new
    copy = dict(value) if isinstance(value, dict) else list(value)
    inner = put(copy[path[0]], path[1:], new)
    if inner is None:
        del copy[path[0]]
    else:
        copy[path[0]] = inner
    return copy


@st.composite
def spoilt_houses(draw):
    house = draw(houses())
    for _ in range(draw(st.integers(1, 3))):
        found = list(places(house))
        if found:
            house = put(house, draw(st.sampled_from(found)), draw(st.none() | anything))
    return house


@pytest.mark.property
@some
@given(spoilt_houses())
def test_a_house_with_wrong_parts_gives_a_front_or_one_short_error(house):
    parsed(house_text(house))


corner_numbers = st.integers(-4, 4) | st.sampled_from([0.5, 1e-9, 1e-6, 1e-3, 5e-324, 1000.0, -1000.0])
rings = st.lists(st.lists(corner_numbers, min_size=2, max_size=3), min_size=3, max_size=8)


@pytest.mark.property
@some
@given(st.lists(st.tuples(rings, st.lists(rings, max_size=2), corner_numbers), min_size=1, max_size=3))
def test_crossed_flat_and_empty_outlines_give_a_front_or_one_short_error(parts):
    patches = [
        {"name": str(i), "surface": "concrete", "corners": corners, "holes": holes, "depth": depth, "thickness": 0.5}
        for i, (corners, holes, depth) in enumerate(parts)
    ]
    parsed(house_text({"name": "a", "units": "m", "units_checked": True, "patch": patches}))


# Single things that have gone wrong, or might


PLAIN = {"name": "p", "surface": "concrete", "rectangle": {"left": 0, "bottom": 0, "width": 1, "height": 1}}


def one(**more):
    return house_text({"name": "a", "units": "m", "units_checked": True, "patch": [PLAIN | more]})


def many(count, **more):
    """So many squares of 0.9 beside each other."""
    size = {"width": 0.9, "height": 0.9}
    patches = [
        {"name": f"p{i}", "surface": "concrete", "rectangle": {"left": i % 50, "bottom": i // 50} | size} | more
        for i in range(count)
    ]
    return house_text({"name": "a", "units": "m", "units_checked": True, "patch": patches})


def holes(count):
    ring = ((0.1, 0.1), (0.5, 0.1), (0.5, 0.5))
    rings = [[[i % 50 + x, i // 50 + y] for x, y in ring] for i in range(count)]
    return one(rectangle={"left": 0, "bottom": 0, "width": 100, "height": 100}, holes=rings)


def bare(**patch):
    return house_text({"name": "a", "units": "m", "patch": [{"name": "p", "surface": "concrete"} | patch]})


SIDE = {"surface": "concrete", "corners": [[0, 0, 0], [0, 0, -1], [0, 1, -1]], "thickness": 0}
SIDES = house_text({"name": "a", "units": "m", "patch": [SIDE | {"name": f"{i}{'q' * 150}"} for i in range(20)]})

SINGLE = {
    "number of 5,000 digits": (one(depth=Raw("9" * 5000)), "valid TOML"),
    "the same in hexadecimal": (one(depth=Raw("0x" + "f" * 5000)), "depth"),
    "lists in lists in lists": ("a = " + "[" * 70_000, "valid TOML"),
    "tables in tables in tables": ("a = " + "{a=" * 60_000, "valid TOML"),
    "a key of 5,000 parts": (one() + "a" + ".a" * 5000 + " = 1", "20 names joined by dots"),
    "a table of 3,000 parts": (one() + "[a" + ".a" * 3000 + "]\nb = 1", "20 names joined by dots"),
    "a key of 100,000 letters": (one() + "k" * 100_000 + " = 1", "no such field"),
    "a key of two lines": (one() + '"a\\nb" = 1', "no such field"),
    "a house name of 100,000 letters": (house_text({"name": "x" * 100_000, "units": "m", "patch": [PLAIN]}), "200"),
    "a patch name of 100,000 letters": (one(name="x" * 100_000), "200"),
    "a text of 2,000 letters for a length": (one(depth="x" * 2000), "a number"),
    "an unknown surface": (one(surface="plutonium"), "surface = 'plutonium'"),
    "an unknown surface with a long name": (one(surface="z" * 200), "surface"),
    "1,000 crossing corners": (bare(corners=[[i % 7, i % 11] for i in range(1000)]), "do not cross"),
    "1,001 corners": (bare(corners=[[i % 7, i % 11] for i in range(1001)]), "at most 1000"),
    "10,000 numbers for patches": ('name = "a"\nunits = "m"\npatch = [' + "1," * 10_000 + "]", "at most 800"),
    "7,000 patches": (many(7000), "at most 1,000,000"),
    "20 sides and no front": (SIDES, "faces the audience"),
    "as small as a number can be": (
        one(rectangle={"left": 0, "bottom": 0, "width": 5e-324, "height": 5e-324}),
        "outline",
    ),
}


@pytest.mark.bad_input
@pytest.mark.parametrize("case", SINGLE)
def test_single_things_that_cannot_be_used_are_refused_shortly(case):
    text, word = SINGLE[case]
    found = parsed(text)
    assert isinstance(found, str)
    assert word in found, found


LARGE = {"500 patches": many(500), "300 bays": many(300, depth=0.5), "500 holes": holes(500)}


@pytest.mark.parametrize("case", LARGE)
def test_large_houses_are_read_soon(case):
    assert isinstance(parsed(LARGE[case]), kit.Facade)


def test_a_file_with_a_byte_order_mark_is_read(tmp_path):
    path = tmp_path / FILE
    path.write_bytes(b"\xef\xbb\xbf" + HOUSES[0].encode())  # as some editors write UTF-8
    assert isinstance(outcome(kit.load_house, path), kit.Facade)
