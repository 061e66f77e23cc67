"""Every public callable, every argument spoiled: one short `InputError` that names it, soon and without a warning."""

import time
import warnings
from pathlib import Path

import pytest
from api_calls import ANYTHING, CALLED, RESULTS, WITHOUT, Tally, calls, fault, sweep

import kit
from kit.fields import FLAG, Is, Many, Number, PathOf, Vector, by_type, guarded

pytestmark = pytest.mark.bad_input

TABLE = calls()
# Time for each callable [s], where three calls take no longer, and the share of all values that is tried.
SOON, SHARE = 0.25, 0.04


def test_each_public_name_has_a_call():
    public = set(kit.PUBLIC)
    assert public - set(TABLE) - set(RESULTS) - set(WITHOUT) == set()
    assert len(TABLE) > 150


@pytest.fixture
def elsewhere(tmp_path, monkeypatch):
    """A folder for what names of files lead to."""
    monkeypatch.chdir(tmp_path)


def test_what_cannot_be_meant_is_refused_by_name(elsewhere):
    tally = Tally()
    for seed, name in enumerate(TABLE):
        sweep(tally, [name], share=SHARE, seed=seed, deadline=time.monotonic() + SOON, least=tally.calls + 3)
    print(f"{tally.calls} calls of {len(TABLE)} callables")
    assert tally.calls > 500
    assert list(tally.bad.values()) == []


# The check itself.


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda a: None, "accepts"),
        (lambda a: a.b, "AttributeError"),
        (lambda a: 1 // 0, "ZeroDivisionError"),
        (lambda a: kit.units.metres_per("x"), "does not name it"),
        (lambda a: warnings.warn("odd", stacklevel=1), "warns"),
        (lambda a: [None for _ in iter(int, 1)], "takes more than"),
    ],
)
def test_the_check_notices(call, said, monkeypatch):
    monkeypatch.setattr("api_calls.SOON", 0.1)
    assert said in fault(call, {"a": 1j}, ("a",), "accepts" in said)


def test_what_a_message_may_call_an_argument_is_used():
    """An alias that no argument has would hide nothing, and one more is one too many."""
    arguments = {argument for make in TABLE.values() for argument in make()[1]}
    assert set(CALLED) - arguments == set()
    assert {name for name, _ in ANYTHING} <= set(TABLE)


# What a hint stands for


def test_a_hint_stands_for_a_declaration():
    for hint, spec in {
        float: Number(), int: Number(whole=True), bool: FLAG, str: Is(kind=str), float | None: Number(optional=True),
        tuple[float, float]: Vector(length=2, of=Number()), kit.Scene | None: Is(kind=kit.Scene, optional=True),
        kit.Luminaire | kit.LedString: Is(kind=(kit.Luminaire, kit.LedString)), str | Path: PathOf(),
    }.items():  # fmt: skip
        assert by_type(hint) == spec
    assert by_type(tuple[str, str]) == Many(of=Is(kind=str), least=2, most=2)
    assert by_type(tuple[str, ...]) == Many(of=Is(kind=str))
    for hint in (object, float | tuple[float, float], tuple[str, kit.Scene]):
        assert by_type(hint) is None


def test_a_guarded_function_checks_what_it_is_given_and_no_more():
    def call(a: float, /, b: str = "b", *more: int, c: "Nothing" = 3, **others: float) -> tuple[object, ...]:  # noqa: F821
        """What it says."""
        return a, b, more, c, others

    kept = guarded(call)
    assert kept.__doc__ == "What it says."
    assert kept(1, "x", 3, c=4, d="5") == (1.0, "x", (3,), 4, {"d": "5"})
    with pytest.raises(kit.InputError, match=r"^a = '1': expected a finite number$"):
        kept("1")
    with pytest.raises(kit.InputError, match=r"^b = 3: expected a text$"):
        kept(1, b=3)
    with pytest.raises(TypeError, match="missing"):
        kept()


@pytest.mark.parametrize("path", ["", " ", "a\nb", "a\0", 3, b"a", None])
def test_a_path_is_text_in_one_line(path):
    with pytest.raises(kit.InputError, match=r"^file = "):
        PathOf().check("file", path)


def test_options_are_those_of_the_hint():
    with pytest.raises(kit.InputError, match=r"^transparent = 'white': expected one of refuse, black$"):
        kit.load_picture("a.png", transparent="white")


@pytest.mark.parametrize("zone", ["localtime", "right/UTC", "posix/UTC", "posixrules", "Factory"])
def test_zones_of_one_machine_alone_are_refused(zone):
    with pytest.raises(kit.InputError, match="IANA"):
        kit.Site(latitude=42, longitude=-88, timezone=zone, facing=180)


@pytest.mark.parametrize("clock", ["now", "today", ["2026-12-05", "now"]])
def test_a_clock_says_when(clock):
    with pytest.raises(kit.InputError, match="a time of the clock such as"):
        kit.Site(latitude=42, longitude=-88, timezone="America/Chicago", facing=180).utc(clock)
