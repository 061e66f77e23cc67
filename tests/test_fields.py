"""What a declaration accepts, refuses and says."""

import dataclasses
import inspect
import math
from dataclasses import dataclass
from datetime import date

import numpy as np
import pytest
from spoil import wrong

import kit
from kit import fields
from kit.errors import InputError
from kit.fields import (
    NAME,
    Band,
    Day,
    Declared,
    Flag,
    Is,
    Many,
    Number,
    Numbers,
    OneOf,
    Range,
    Spec,
    Text,
    Vector,
    check_fields,
    declared,
    specs,
    together,
)

SHARED = {name: spec for name, spec in vars(fields).items() if isinstance(spec, Spec)}
ANY, POSITIVE, UNIT = Number(), Number(above=0.0, unit="m"), Number(low=0.0, high=1.0)
WHOLE = Number(low=1, high=9, whole=True)
LEVELS = Numbers(of=Number(low=0.0, unit="lx"))
KINDS = {
    "any number": ANY,
    "above": POSITIVE,
    "above, up to": Number(above=0.0, high=10.0),
    "from, to": UNIT,
    "whole": WHOLE,
    "whole, above": Number(above=0, high=10, whole=True),
    "whole, any": Number(whole=True),
    "endless": Number(above=1.0, endless=True),
    "tiny": Number(low=1e-6),
    "huge": Number(low=1e12, high=1e15),
    "vector": Vector(),
    "two shares": Vector(length=2, of=UNIT),
    "two lengths": Vector(length=2, of=POSITIVE),
    "numbers": Numbers(),
    "levels": LEVELS,
    "lengths": Numbers(of=POSITIVE),
    "shares": Numbers(of=UNIT),
    "range": Range(),
    "range of lengths": Range(of=POSITIVE),
    "range of shares": Range(of=UNIT),
    "band": Band(),
    "band of shares": Band(of=UNIT),
    "one of": OneOf(options=("low", "high")),
    "one of many": OneOf(options=lambda: [f"surface number {i}" for i in range(60)]),
    "text": Text(),
    "text or none": Text(empty=True),
    "flag": Flag(),
    "day": Day(first="2026-11-01", last="2027-01-06"),
    "type": Is(kind=Range),
    "types": Is(kind=(Range, Band)),
    "many types": Many(of=Is(kind=Range), least=1),
    "many numbers": Many(of=ANY),
    "optional": Number(optional=True),
}


@pytest.mark.parametrize(
    ("spec", "given", "kept"),
    [
        (ANY, 3, 3.0),
        (ANY, -0.5, -0.5),
        (ANY, np.float32(0.5), 0.5),
        (ANY, np.int64(4), 4.0),
        (ANY, np.array(4.5), 4.5),
        (POSITIVE, 5e-324, 5e-324),
        (UNIT, 0, 0.0),
        (UNIT, 1, 1.0),
        (WHOLE, 1, 1),
        (WHOLE, 9.0, 9),
        (Number(low=0.0, endless=True), math.inf, math.inf),
        (Number(optional=True), None, None),
        (Vector(), (1, 2, 3), (1.0, 2.0, 3.0)),
        (Vector(length=2), np.array([1.0, 2.0]), (1.0, 2.0)),
        (Vector(length=2, of=UNIT), [0, 1], (0.0, 1.0)),
        (Range(), [1, 2], (1.0, 2.0)),
        (Range(), (2, 2), (2.0, 2.0)),
        (Band(), 3, (3.0, 3.0, 3.0)),
        (Band(), [1, 2, 3], (1.0, 2.0, 3.0)),
        (Band(), (2, 2, 2), (2.0, 2.0, 2.0)),
        (OneOf(options=("low", "high")), "high", "high"),
        (OneOf(options=lambda: ["a"], empty=True), "", ""),
        (Text(), "bay", "bay"),
        (Text(empty=True), "", ""),
        (Flag(), True, True),
        (Flag(), False, False),
        (Day(), "2026-12-05", "2026-12-05"),
        (Day(), date(2026, 12, 5), "2026-12-05"),
        (Is(kind=Range), Range(), Range()),
        (Is(kind=(Range, Band)), Band(), Band()),
        (Many(of=ANY), iter([1, 2]), (1.0, 2.0)),
        (Many(of=ANY), [], ()),
        (Many(of=ANY, least=1), [1], (1.0,)),
        (Many(of=Is(kind=Text), unique="label"), [Text(label="a"), Text(label="b")], None),
    ],
)
def test_what_is_right_is_kept_in_its_own_type(spec, given, kept):
    found = spec.check("field", given)
    if kept is not None:
        assert found == kept
        assert type(found) is type(kept)


@pytest.mark.bad_input
@pytest.mark.parametrize("spec", KINDS.values(), ids=KINDS)
def test_a_declaration_refuses_what_it_calls_wrong(spec):
    values = list(wrong(spec))
    assert len(values) >= 3
    for value in values:
        with pytest.raises(InputError, match="our field") as caught:
            spec.check("our field", value)
        assert len(str(caught.value)) <= 300, value
        assert caught.value.__suppress_context__ or caught.value.__context__ is None


@pytest.mark.bad_input
@pytest.mark.parametrize(
    ("spec", "given", "field", "right"),
    [
        (POSITIVE, 0, "f", "a number above 0 m"),
        (UNIT, 1.0000001, "f", "a number from 0 to 1"),
        (UNIT, -5e-324, "f", "a number from 0 to 1"),
        (Number(above=0.0, high=10.0), 10.1, "f", "a number above 0 and up to 10"),
        (ANY, 10**400, "f", "a finite number"),
        (ANY, np.True_, "f", "a finite number"),
        (ANY, np.array([4.0]), "f", "a finite number"),
        (ANY, np.complex128(1), "f", "a finite number"),
        (WHOLE, 2.5, "f", "a whole number from 1 to 9"),
        (Number(above=0, whole=True), 2.5, "f", "a whole number of 1 or more"),
        (Vector(), (1, 2), "f", "3 finite numbers"),
        (Vector(of=POSITIVE), (1, 2), "f", "3 finite numbers in m"),
        (Vector(of=POSITIVE), (1, 2, 0), "f[2]", "a number above 0 m"),
        (Range(), (2, 1), "f", "a range (lowest, highest)"),
        (Range(of=UNIT), (0, 2), "f[1]", "a number from 0 to 1"),
        (Band(), (1, 3, 2), "f", "low <= nominal <= high"),
        (Band(), (2, 1, 3), "f", "low <= nominal <= high"),
        (Band(of=UNIT), (0.5, 1, 2), "f, high", "a number from 0 to 1"),
        (OneOf(options=("low", "high")), "middle", "f", "one of low, high"),
        (Text(), "", "f", "a name of at least one letter"),
        (Flag(), 1, "f", "true or false"),
        (Flag(), np.True_, "f", "true or false"),
        (Day(), "2026-02-30", "f", "a date such as '2026-12-05'"),
        (Is(kind=kit.Patch), "bay", "f", "a kit.Patch"),
        (Is(kind=(kit.Patch, kit.Facade)), None, "f", "a kit.Patch or kit.Facade"),
        (Many(of=Is(kind=kit.Patch)), "bay", "f", "a list of kit.Patch values"),
        (Many(of=Is(kind=kit.Patch)), ["bay"], "f", "a kit.Patch"),
        (Many(of=Is(kind=kit.Patch), least=1), [], "f", "at least one of kit.Patch values"),
        (Many(of=Number(), least=2), [1], "f", "at least 2 values"),
        (Many(of=UNIT), [0, 1, 2], "f[2]", "a number from 0 to 1"),
        (Many(of=UNIT), {0: 1}, "f", "a list of values"),
        (Many(of=Is(kind=Text), unique="label"), [Text(label="a")] * 2, "f: label", "a label that no other has"),
        (Numbers(of=POSITIVE), [1, 0], "f", "finite numbers above 0 m"),
        (Numbers(of=UNIT), 1.1, "f", "finite numbers from 0 to 1"),
        (Numbers(of=Number(above=0.0, high=2.0)), 3, "f", "finite numbers above 0 and up to 2"),
        (LEVELS, [1.0, -1.0], "f", "finite numbers of 0 or more lx"),
        (Numbers(most=3), [1, 2, 3, 4], "f", "at most 3 numbers"),
    ],
)
def test_a_refusal_names_the_field_and_says_what_is_right(spec, given, field, right):
    with pytest.raises(InputError) as caught:
        spec.check("f", given)
    assert caught.value.field == field
    assert caught.value.right == right


def test_of_many_numbers_the_first_that_is_wrong_is_shown():
    with pytest.raises(InputError) as caught:
        LEVELS.check("levels", [*range(100), -7.0, -8.0])
    assert caught.value.value == -7.0


def test_numbers_are_a_copy_that_cannot_be_written_to():
    mine = np.array([[1, 2], [3, 4]])
    kept = LEVELS.check("levels", mine)
    mine[0, 0] = 9
    assert kept.dtype == np.float64
    assert kept.tolist() == [[1, 2], [3, 4]]
    with pytest.raises(ValueError, match="read-only"):
        kept[0, 0] = 5


def test_names_are_asked_for_when_a_value_is_checked():
    asked = []

    def options():
        asked.append(True)
        return ["a"]

    spec = OneOf(options=options)
    assert not asked
    assert spec.check("f", "a") == "a"
    assert asked


def test_the_ends_of_a_control_and_the_words_of_a_menu():
    assert ANY.ends() == ()
    assert Number(steps=(1.0, 5.0, 0.5)).ends() == (1.0, 5.0)
    assert Number(steps=(-2.0, 1.0, 0.02), ratio=True).ends() == (0.01, 10.0)
    assert Flag().ends() == (False, True)
    menu = OneOf(options=("m", "ft"), optional=True, nothing="none", reading=str.upper)
    assert menu.ends() == (None, "m", "ft")
    assert menu.menu() == [("none", None), ("M", "m"), ("FT", "ft")]
    days = Day(first="2026-12-30", last="2027-01-02")
    assert days.ends() == ("2026-12-30", "2027-01-02")
    assert days.days() == ["2026-12-30", "2026-12-31", "2027-01-01", "2027-01-02"]
    assert Day().days() == []
    assert Day().ends() == ()


def test_a_declaration_is_changed_for_one_use_and_stays_as_it_is_elsewhere():
    assert UNIT.but(high=2.0).check("f", 2) == 2.0
    with pytest.raises(InputError):
        UNIT.check("f", 2)


@dataclass(frozen=True, kw_only=True)
class Box:
    name: str = declared(Text())
    size: float = declared(POSITIVE)
    share: float = declared(UNIT, default=0.5)
    limit: float | None = declared(POSITIVE, default=None)
    parts: tuple = declared(Many(of=ANY), default=list)
    note: str = ""

    def __post_init__(self):
        check_fields(self, "box")


class Named(Declared):
    thing = "box"
    name: str = declared(Text())
    share: float = declared(UNIT, default=0.5)


def test_declared_fields_are_checked_and_kept_in_their_type():
    box = Box(name="a", size=3)
    assert box == Box(name="a", size=3.0, share=0.5, limit=None, parts=(), note="")
    assert type(box.size) is float
    assert list(specs(Box)) == list(specs(box)) == ["name", "size", "share", "limit", "parts"]
    assert specs(Box)["limit"].optional
    assert not specs(Box)["size"].optional
    # What a use changes stays with that use.
    assert POSITIVE.default is UNIT.default is fields.MISSING


def test_a_field_without_a_default_has_to_be_given():
    with pytest.raises(TypeError, match="size"):
        Box(name="a")


@pytest.mark.bad_input
def test_the_first_wrong_field_is_named_with_what_it_belongs_to():
    with pytest.raises(InputError) as caught:
        Box(name="a", size=0, share=2)
    assert str(caught.value) == "box: size = 0: expected a number above 0 m"
    with pytest.raises(InputError) as caught:
        Named(name="hall", share=2)
    assert str(caught.value) == "box 'hall': share = 2: expected a number from 0 to 1"
    with pytest.raises(InputError, match="box name = 3"):
        Named(name=3)
    with pytest.raises(InputError, match=r"box: parts\[1\] = 'b'"):
        Box(name="a", size=1, parts=[1, "b"])


class Crate(Declared):
    """A crate.

    Raises
    ------
    InputError
        For a crate in a crate.
    """

    thing = "crate"

    name: str = declared(NAME)
    size: float = declared(POSITIVE, meaning="of the longest side")
    shares: tuple = declared(Vector(length=2, label="shares", of=UNIT), default=(0.5, 1.0))
    note: str = ""


class Plain(Declared):
    """A thing without a name."""

    share: float = declared(UNIT, default=None)


def test_a_declared_dataclass_checks_itself_and_calls_itself_by_name():
    assert Crate(name="a", size=2, shares=[0, 1]) == Crate(name="a", size=2.0, shares=(0.0, 1.0), note="")
    assert Plain().share is None
    with pytest.raises(InputError) as caught:
        Crate(name="a", size=0)
    assert caught.value.field == "crate 'a': size"
    with pytest.raises(InputError) as caught:
        Crate(name="", size=0)
    assert caught.value.field == "crate name"
    with pytest.raises(InputError) as caught:
        Plain(share=2)
    assert caught.value.field == "share"


def test_a_declared_dataclass_documents_its_fields_between_its_head_and_the_rest():
    lines = inspect.cleandoc(Crate.__doc__).split("\n")
    assert lines[0] == "A crate."
    assert lines[2:4] == ["Parameters", "----------"]
    assert lines[4:6] == ["name : text", "    Name."]
    assert lines[6:8] == ["size : number", "    Of the longest side [m]; above 0."]
    assert lines[8].startswith("shares : vector, optional")
    assert "from 0 to 1" in lines[9]
    assert lines[10:] == ["", "Raises", "------", "InputError", "    For a crate in a crate."]
    assert inspect.cleandoc(Plain.__doc__).split("\n")[0] == "A thing without a name."
    assert "share : number, optional" in Plain.__doc__


def test_arrays_are_brought_to_one_shape():
    low, high = together(low=np.zeros((2, 1)), high=np.ones(3))
    assert low.shape == high.shape == (2, 3)
    with pytest.raises(InputError, match=r"low, high = '\(2,\), \(3,\)'"):
        together(low=np.zeros(2), high=np.zeros(3))


@pytest.mark.parametrize("spec", SHARED.values(), ids=SHARED)
def test_a_shared_declaration_is_sound(spec):
    assert spec.label or spec is fields.FLAG
    default = spec.default
    if default is not fields.MISSING and not callable(default):
        assert spec.check("f", default) == default
    for end in spec.ends():
        assert spec.check("f", end) == end
    if isinstance(spec, Number) and spec.steps is not None:
        low, high, step = spec.steps
        assert low < high
        assert 0 < step <= high - low
    if isinstance(spec, Number) and spec.feet is not None:
        foot = 0.3048
        low, high, step = spec.feet
        assert spec.check("f", low * foot) < spec.check("f", high * foot)
        # Both sliders reach about as far: within one step of the coarser one.
        assert spec.steps is not None
        for here, there in zip(spec.steps[:2], (low, high), strict=True):
            assert abs(here - there * foot) <= max(step * foot, spec.steps[2])
        # Where a slider begins is one of its steps.
        if default is not fields.MISSING:
            assert (default / foot - low) / step == pytest.approx(round((default / foot - low) / step), abs=1e-6)


@pytest.mark.parametrize("spec", SHARED.values(), ids=SHARED)
def test_a_shared_declaration_refuses_what_it_calls_wrong(spec):
    for value in wrong(spec):
        with pytest.raises(InputError):
            spec.check("f", value)


def test_every_declaration_can_be_changed():
    for spec in {**SHARED, **KINDS}.values():
        assert dataclasses.replace(spec) == spec


class Apart(Declared, eq=False):
    size: float = declared(POSITIVE)


def test_a_type_that_compares_by_identity_does():
    one, other = Apart(size=1.0), Apart(size=2.0)
    assert one != other
    assert len({one, other, Apart(size=1.0)}) == 3
    assert Plain(share=0.5) == Plain(share=0.5) != Plain(share=0.6)
