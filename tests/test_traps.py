"""Files that never end or grow, and texts made to be slow: one error, soon, and in little memory.

Soon is as soon as a large house is read, or some times that, in the same run and way: no machine's speed counts.
"""

import itertools
import os
import re
import resource

import pytest
from pace import LARGE, TRIES, processor_time

import kit
from kit.sky.photometric_file import MOST_BYTES as MOST_PHOTOMETRIC
from kit.sky.photometric_file import parse_ies, parse_ldt
from kit.toml_file import ENOUGH, MOST_BYTES, MOST_FIELDS, MOST_ITEMS, MOST_LETTERS, MOST_SIGNS

# Each of these takes at most 2.5 times as long as the large house; what is quadratic takes 10 times, or hangs.
TIMES, MEGABYTES = 6.0, 50.0
TOP = 'name = "a"\nunits = "m"\n'
WALL = "rectangle = { left = 0, bottom = 0, width = 8, height = 4 }\n"
IES = "IESNA:LM-63-2002\nTILT=NONE\n1 -1 1 {} {} 1 2 0 0 0\n1 1 10\n"


def patch(i, more=WALL, surface="red brick"):
    return f'[[patch]]\nname = "p{i}"\nsurface = "{surface}"\n{more}'


def openings(count):
    one = "[[{0:.4f}, 1], [{1:.4f}, 1], [{0:.4f}, 2]]"
    return WALL + f"holes = [{', '.join(one.format(0.1 + k * 2e-3, 0.101 + k * 2e-3) for k in range(count))}]\n"


def corners(count):
    return f"corners = [{', '.join(f'[{k / 1000}, {k % 2}]' for k in range(count))}]\n"


HOUSES = {
    "a key of 16,000 parts": "a" + ".a" * 16_000 + " = 1",
    "a key of 16,000 quoted parts": "a" + ' . "a b"' * 16_000 + " = 1",
    "a key within braces of 16,000 parts": TOP + "x = { a" + ".a" * 16_000 + " = 1 }",
    "a table of 16,000 parts": TOP + "[a" + ".a" * 16_000 + "]",
    "many tables of 19 parts": "".join(f"[{'a.' * 18}b{i}]\n" for i in range(20_000)),
    "as many as are read": "".join(f"[{'a.' * 18}b{i}]\n" for i in range(MOST_SIGNS // 21)),
    "lists in lists": "a = " + "[" * (MOST_SIGNS - 10),
    "tables in tables": "a = " + "{a=" * (MOST_LETTERS // 3 - 10),
    "60,000 openings": TOP + patch(0, openings(60_000)),
    "20 patches of 900 openings": TOP + "".join(patch(i, openings(900)) for i in range(20)),
    "33,000 patches": TOP + "".join(patch(i) for i in range(33_000)),
    "800 patches over each other": TOP + "".join(patch(i) for i in range(800)),
    "800 patches behind each other": TOP
    + "".join(patch(i, f"{WALL}depth = {-i / 100}\nthickness = 0\n") for i in range(800)),
    "100,000 corners": TOP + patch(0, corners(100_000)),
    "200 patches of 1,000 corners": TOP + "".join(patch(i, corners(1000)) for i in range(200)),
    "800 unknown surfaces": TOP + "".join(patch(i, surface=f"rde brikc {i}") for i in range(800)),
    "15 patches of 990 unknown fields": TOP
    + "".join(patch(i, WALL + "".join(f"k{j} = 1\n" for j in range(MOST_FIELDS - 10))) for i in range(15)),
    "9 patches of 149 openings over each other": TOP + "".join(patch(i, openings(149)) for i in range(9)),
    "100,000 fields": TOP + "".join(f"k{i} = 1\n" for i in range(100_000)),
    "100,000 fields of a patch": TOP + patch(0) + "".join(f"k{i} = 1\n" for i in range(60_000)),
    "30,000 surfaces": TOP + "".join(f"[surfaces.s{i}]\nreflectance = 0\n" for i in range(30_000)),
    "a list of numbers": TOP + "x = [" + "1,\n" * 300_000 + "]",
    "slips after a list of numbers": TOP + "x = [" + "1," * (MOST_SIGNS - 100) + "]\n" + "y = (1)\n" * 8,
    "slips after a long comment": TOP + "#" + "x" * (MOST_LETTERS - 1000) + "\n" + "y = (1)\n" * 8,
    "a long number": TOP + "x = " + "1" * (MOST_LETTERS - 10),
    "a long text": TOP + 'x = "' + "x" * 900_000 + '"',
    "a long comment": TOP + "#" + "x" * 900_000,
    "quotes": '"' * 99_999,
    "beginnings": "x = [\n" * 160_000,
    "larger than a file may be": TOP + "#\n" * MOST_BYTES,
}
DIGITS = " 1.5" * (MOST_PHOTOMETRIC // 4)
LAMPS = {
    "numbers too many": (parse_ies, IES.format(3, 1) + "0 45 90\n0\n1 1 1" + DIGITS),
    "numbers too few": (parse_ies, IES.format(70_000, 7) + DIGITS),
    "angles too many": (parse_ies, IES.format(10**9, 10**9) + DIGITS),
    "lines": (parse_ies, "\n" * MOST_PHOTOMETRIC),
    "keys": (parse_ies, "[LUMINAIRE]\n" * (MOST_PHOTOMETRIC // 12)),
    "spaces": (parse_ies, "IESNA" + " " * MOST_PHOTOMETRIC),
    "a long number": (parse_ies, IES.format(3, 1) + "9" * MOST_PHOTOMETRIC),
    "lines of the other kind": (parse_ldt, "1\n" * (MOST_PHOTOMETRIC // 2)),
    "commas": (parse_ldt, "," * MOST_PHOTOMETRIC),
    "blank lines": (parse_ldt, "\n" * (MOST_PHOTOMETRIC - 1) + "x"),
    "blank lines of the other kind": (parse_ies, "\n" * (MOST_PHOTOMETRIC - 9) + "TILT=NONE"),
}
CASES = {name: (kit.parse_house, text) for name, text in HOUSES.items()} | {f"lamp: {k}": v for k, v in LAMPS.items()}


def cost(call, *given):
    """What a call says, its processor time [s] and what it adds to the memory [MB], in a process of its own."""
    begin, end = os.pipe()
    if (child := os.fork()) == 0:
        resource.setrlimit(resource.RLIMIT_CPU, (20, 20))
        before, answer = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, []

        def attempt():
            try:
                answer.append(f"accepted: {call(*given)!r}"[:80])
            except kit.InputError as error:
                answer.append(f"InputError: {error}")
            except BaseException as error:
                answer.append(f"{type(error).__name__}: {error}"[:200])

        spent, (said,) = processor_time(attempt), answer
        grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
        os.write(end, f"{spent} {grown} {said}".encode())
        os._exit(0)
    os.close(end)
    with os.fdopen(begin) as stream:
        answer = stream.read()
    assert os.waitpid(child, 0)[1] == 0, "stopped after 20 s"
    spent, grown, said = answer.split(" ", 2)
    return said, float(spent), float(grown)


def cost_soon(large, call, *given):
    """What a call says, and what it adds to the memory [MB]; some tries to be soon, which noise has not all of."""
    for _ in range(TRIES):
        said, spent, grown = cost(call, *given)
        if spent < TIMES * large:
            return said, grown
    raise AssertionError(f"{spent / large:.0f} times as long as a large house: {said[:100]}")


pytestmark = [pytest.mark.bad_input, pytest.mark.skipif(not hasattr(os, "fork"), reason="measures forked processes")]


@pytest.fixture(scope="module", autouse=True)
def warm():
    """Whatever is loaded at the first call."""
    with pytest.raises(kit.InputError):
        kit.parse_house(TOP + patch(0) + "x = 1")
    with pytest.raises(kit.InputError):
        parse_ies(IES.format(3, 1) + "0 45 90\n0\n1 1 x")


@pytest.fixture(scope="module")
def large(warm):
    """Processor time of reading a large house [s], the best of a few."""
    return min(cost(kit.parse_house, LARGE)[1] for _ in range(TRIES))


@pytest.mark.parametrize("name", CASES)
def test_what_is_made_to_be_slow_is_refused_soon_and_in_little_memory(large, name):
    call, text = CASES[name]
    said, grown = cost_soon(large, call, text)
    assert said.startswith("InputError: "), said
    assert len(said) <= len("InputError: ") + 300 * (1 + said.count("\n"))
    assert grown < MEGABYTES, said


def test_what_takes_quadratic_time_would_be_noticed(large, monkeypatch):
    monkeypatch.setattr("kit.toml_file.CHAIN", re.compile("(?!)"))
    monkeypatch.setattr("test_traps.TRIES", 1)
    with pytest.raises(AssertionError, match="times as long as a large house"):
        cost_soon(large, kit.parse_house, "a" + ".a" * 20_000 + " = 1")


def test_no_more_mistakes_are_looked_for_than_anybody_mends():
    with pytest.raises(kit.InputError) as caught:
        kit.parse_house(HOUSES["800 unknown surfaces"])
    head, *_, last = str(caught.value).split("\n")
    assert head == f"house file has {ENOUGH} mistakes or more:"
    assert last == f"- and {ENOUGH - 8} more"
    with pytest.raises(kit.InputError) as caught:
        kit.parse_house(TOP + "".join(patch(i, openings(900)) for i in range(5)))
    assert str(caught.value) == (
        "house file: patch 'p1': holes 499 = [[1.096, 1], [1.097, 1], [1.096, 2]]: "
        f"expected at most 1000 of them, and {MOST_ITEMS:,} items of all lists"
    )


def test_what_a_house_may_have_is_read():
    """Just within each limit."""
    many = MOST_ITEMS // 4 // 5
    walls = "".join(
        patch(i, f"rectangle = {{ left = {i}, bottom = 0, width = 1, height = 4 }}\n") for i in range(1, 50)
    )
    assert len(kit.parse_house(TOP + patch(0, openings(many)) + walls).patches) == 50
    path = "/".join([".."] * 40)
    with pytest.raises(kit.InputError, match=r"house = '\.\./.*no such field"):
        kit.parse_house(f'house = "{path}"\n' + TOP + patch(0))


LOADERS = {kit.load_house: ".toml", kit.open_show: ".toml", kit.load_distribution: ".ies", kit.load_picture: ".png"}


@pytest.mark.parametrize("load", LOADERS, ids=lambda load: load.__name__)
def test_only_plain_files_of_some_size_are_read(large, tmp_path, load):
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "endless").symlink_to("/dev/zero")
    with (tmp_path / f"large{LOADERS[load]}").open("wb") as stream:
        stream.truncate(300_000_000)  # takes no room on the disk
    for path in ("/dev/zero", tmp_path / "pipe", tmp_path / "endless", tmp_path, tmp_path / f"large{LOADERS[load]}"):
        said, grown = cost_soon(large, load, path)
        assert said.startswith("InputError: "), said
        assert grown < MEGABYTES


def test_lists_without_end_and_too_many_parts_are_refused(large):
    plain = kit.Surface(name="plain", reflectance=0.5)
    triangle = [(0, 0), (1, 0), (1, 1)]
    part = kit.Patch("part", triangle, plain)
    calls = {
        "patches": lambda: kit.Facade(itertools.repeat(part)),
        "outline": lambda: kit.Patch("part", itertools.cycle(triangle), plain),
        "holes": lambda: kit.Patch("part", triangle, plain, holes=itertools.repeat(triangle)),
        "position": lambda: kit.Placement(position=itertools.count(), aim=(0, 0, 0)),
        "chain": lambda: kit.Projector(light_output=1, throw_ratio=1, chain=itertools.repeat(3)),
    }
    for field, call in calls.items():
        said, grown = cost_soon(large, call)
        assert said.startswith("InputError: "), said
        assert field in said
        assert len(said) <= len("InputError: ") + 300
        assert grown < MEGABYTES
