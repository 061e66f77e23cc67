"""Refusals, generated from the declarations: whatever a field may not be is answered by one short `InputError`."""

import dataclasses
import time
import warnings
from dataclasses import dataclass

import pytest
from domains import domains, stored
from examples import ARGUMENTS, EXAMPLES
from pace import TRIES, pace, processor_time
from spoil import wrong

import kit
from kit.fields import Number, Text, check_fields, declared, specs

# Fits under a panel; and how soon all values of one field are refused, in times of reading a large house.
LONGEST, SOON = 300, 5.0
# So many fields are declared by now: one that loses its declaration is missed here.
FIELDS = 180

pytestmark = pytest.mark.bad_input

CASES = [pytest.param(kind, name, id=f"{kind.__name__}.{name}") for kind in EXAMPLES for name in specs(kind)]


def faults(make, name, spec, soon=SOON):
    """What is not as it should be where `make` gets a value that the field `name` may not have, and its time."""
    found = []
    for _ in range(TRIES):
        spent = processor_time(lambda: found.append(answers(make, name, spec))) / pace()
        if spent < soon:
            return found[-1]
    return [*found[-1], f"{name}: took {spent:.1f} times as long as a large house"]


def answers(make, name, spec):
    """What is not as it should be in the answers themselves."""
    found = []
    for value in wrong(spec):
        said = f"{name} = {repr(value)[:60]}"
        with warnings.catch_warnings(record=True) as warned:
            warnings.simplefilter("always")
            try:
                made = make(value)
                # A generated value may be right for another use of a declaration; what is kept tells.
                found.append(f"{said}: accepted as {repr(getattr(made, name, made))[:60]}")
            except kit.InputError as error:
                message = str(error)
                if name not in error.field:
                    found.append(f"{said}: {message} does not name the field")
                if len(message) > LONGEST:
                    found.append(f"{said}: {len(message)} characters: {message[:80]}")
                if error.__context__ is not None and not error.__suppress_context__:
                    found.append(f"{said}: raised while {error.__context__!r} was handled")
            except Exception as error:
                found.append(f"{said}: {type(error).__name__}: {str(error)[:80]}")
        found += [f"{said}: warns {warning.message}" for warning in warned]
    return found


@pytest.mark.parametrize(("kind", "name"), CASES)
def test_a_field_that_cannot_be_used_is_refused_by_name(kind, name):
    good = EXAMPLES[kind]()
    assert faults(lambda value: dataclasses.replace(good, **{name: value}), name, specs(kind)[name]) == []


@pytest.mark.parametrize(
    ("function", "name"), [pytest.param(f, name, id=f"{f.__name__}({name})") for f, name in ARGUMENTS]
)
def test_an_argument_that_cannot_be_used_is_refused_by_name(function, name):
    spec, call = ARGUMENTS[function, name]
    assert faults(call, name, spec) == []


@pytest.mark.regression
@pytest.mark.parametrize("owner", domains())
def test_what_is_accepted_is_what_was(owner):
    """Where a limit moves on purpose: ``python tests/domains.py``."""
    assert domains()[owner] == stored().get(owner)


@pytest.mark.regression
def test_no_domain_is_stored_of_what_is_not_there():
    assert list(stored()) == list(domains())


def test_every_public_type_with_declared_fields_has_an_example():
    public = [getattr(kit, name) for name in kit.PUBLIC]
    declaring = [kind for kind in public if isinstance(kind, type) and dataclasses.is_dataclass(kind) and specs(kind)]
    assert [kind.__name__ for kind in declaring if kind not in EXAMPLES] == []


def test_every_example_is_valid_and_of_its_type():
    for kind, make in EXAMPLES.items():
        assert type(make()) is kind
        assert specs(kind), f"{kind.__name__} declares nothing"


def test_no_declared_field_is_lost():
    assert len(CASES) >= FIELDS


# The check itself: what it has to notice.


@dataclass(frozen=True, kw_only=True)
class Careful:
    size: float = declared(Number(above=0.0))
    name: str = declared(Text(), default="a")

    def __post_init__(self):
        check_fields(self, "box")


@dataclass(frozen=True, kw_only=True)
class Careless(Careful):
    def __post_init__(self):
        pass


@dataclass(frozen=True, kw_only=True)
class Nameless(Careful):
    def __post_init__(self):
        try:
            super().__post_init__()
        except kit.InputError as error:
            raise kit.InputError("box", error.value, error.right) from None


@dataclass(frozen=True, kw_only=True)
class Talkative(Careful):
    def __post_init__(self):
        try:
            super().__post_init__()
        except kit.InputError as error:
            error.args = (f"{error}{'!' * 300}",)
            raise


@dataclass(frozen=True, kw_only=True)
class Warning_(Careful):
    def __post_init__(self):
        warnings.warn("odd", stacklevel=1)
        super().__post_init__()


@dataclass(frozen=True, kw_only=True)
class Crashing(Careful):
    def __post_init__(self):
        if not self.size > 0:
            raise ValueError("size")
        super().__post_init__()


@dataclass(frozen=True, kw_only=True)
class Slow(Careful):
    def __post_init__(self):
        until = time.process_time() + pace() / 4
        while time.process_time() < until:
            pass
        super().__post_init__()


@pytest.mark.parametrize(
    ("kind", "noticed"),
    [
        (Careful, None),
        (Careless, "accepted as"),
        (Nameless, "does not name"),
        (Talkative, "characters"),
        (Warning_, "warns odd"),
        (Crashing, "Error"),
        (Slow, "took"),
    ],
)
def test_the_check_notices(kind, noticed):
    values = {"size": 1.0, "name": "b"}
    found = faults(lambda value: kind(**values | {"size": value}), "size", specs(kind)["size"], soon=0.5)
    assert not found if noticed is None else any(noticed in fault for fault in found)
