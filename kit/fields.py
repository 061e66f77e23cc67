"""What a user gives, declared once: label, symbol, unit, domain, default and step of each number.

A `Declared` names the declaration of each of its fields with `declared` and checks them all; a function calls
``DISTANCE.check("distance", distance)``. The message of a refusal, the control of a panel, the generated refusal tests
and the glossary follow from the declaration.
"""

import dataclasses
import inspect
import math
import tomllib
import unicodedata
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from datetime import date
from functools import cache, cached_property, wraps
from itertools import islice
from pathlib import Path
from types import UnionType
from typing import Any, ClassVar, Literal, Union, dataclass_transform, get_args, get_origin

import numpy as np

from kit.arrays import Array
from kit.errors import InputError

MISSING = dataclasses.MISSING


@dataclass_transform(frozen_default=True, kw_only_default=True)
class Frozen:
    """Base of all the kit's types: each is a frozen dataclass, without a decorator, its fields given by name."""

    def __init_subclass__(cls, *, kw_only: bool = True, eq: bool = True) -> None:
        dataclasses.dataclass(frozen=True, kw_only=kw_only, eq=eq)(cls)


class Spec(Frozen):
    """What a field may be."""

    label: str = ""  # for people, without the unit
    meaning: str = ""  # a phrase for the glossary; empty: the label says it all
    optional: bool = False  # whether None is right: not given, not known
    # By a factory: `dataclasses` takes a plain MISSING to mean that this field itself has no default.
    default: Any = dataclasses.field(default_factory=lambda: MISSING)

    def check(self, field: str, value: Any) -> Any:
        """Return `value` in its own type, or raise `InputError` naming `field`."""
        if value is None and self.optional:
            return None
        return self._checked(field, value)

    def _checked(self, field: str, value: Any) -> Any:
        """Return the same where None is not right; each kind of declaration has its own."""
        raise NotImplementedError

    def ends(self) -> tuple[Any, ...]:
        """Return the values at the ends of the field's control, or all that may be chosen."""
        return ()

    def but(self, **changes: Any) -> Any:
        """Return the same declaration with some of it changed, as for one use of it."""
        return dataclasses.replace(self, **changes)


class Number(Spec):
    """A real, finite number."""

    symbol: str = ""
    unit: str = ""  # SI; empty: dimensionless
    low: float = -math.inf
    high: float = math.inf
    above: float | None = None  # open lower limit, in place of `low`
    whole: bool = False
    endless: bool = False  # whether infinity is right too
    steps: tuple[float, float, float] | None = None  # lowest and highest value of a slider, and its step
    feet: tuple[float, float, float] | None = None  # the same in feet, for a length
    ratio: bool = False  # whether those are powers of ten
    form: str = ""  # how the slider shows its value, as ".0%"; empty: with the decimals of its step
    reading: Callable[[float], str] | None = None  # words for a value, where the number alone says little

    def ends(self) -> tuple[Any, ...]:
        """Return the lowest and the highest value of the slider."""
        if self.steps is None:
            return ()
        low, high, _ = self.steps
        return (10.0**low, 10.0**high) if self.ratio else (low, high)

    @cached_property
    def limits(self) -> str:
        """Where the number lies, in words; empty: anywhere."""
        low = f"above {self.above:g}" if self.above is not None else f"{self.low:g} or more"
        if self.high == math.inf:
            return low if self.above is not None or self.low > -math.inf else ""
        return f"from {self.low:g} to {self.high:g}" if self.above is None else f"{low} and up to {self.high:g}"

    def _checked(self, field: str, value: Any) -> Any:
        if self.endless and isinstance(value, float) and value == math.inf:
            return value
        right = f"a number {self.limits}" if self.limits else "a finite number"
        right += f" {self.unit}" if self.unit else ""
        # Of numpy only single real numbers pass: it would turn a bool, or a list of one with a warning, into a float.
        kind, dimensions = getattr(getattr(value, "dtype", None), "kind", "f"), getattr(value, "ndim", 0)
        if isinstance(value, bool | str | bytes) or kind not in "fiuO" or dimensions:
            raise InputError(field, value, right)
        try:
            found = float(value)
        except (TypeError, ValueError, OverflowError):
            raise InputError(field, value, right) from None
        too_low = found <= self.above if self.above is not None else found < self.low
        if not math.isfinite(found) or too_low or found > self.high:
            raise InputError(field, value, right)
        if self.whole and found != int(found):
            low = self.low if self.above is None else self.above + 1
            limits = f" of {low:g} or more" if self.high == math.inf else f" from {low:g} to {self.high:g}"
            raise InputError(field, value, f"a whole number{'' if low == -math.inf else limits}")
        return int(found) if self.whole else found


class Vector(Spec):
    """So many finite numbers, such as a position."""

    length: int = 3
    of: Number = Number()

    def _checked(self, field: str, value: Any) -> tuple[float, ...]:
        right = f"{self.length} finite numbers" + (f" in {self.of.unit}" if self.of.unit else "")
        try:
            items = tuple(islice(value, self.length + 1))
        except TypeError:
            raise InputError(field, value, right) from None
        if len(items) != self.length:
            raise InputError(field, value, right)
        return tuple(self.of.check(f"{field}[{i}]", item) for i, item in enumerate(items))


class Numbers(Spec):
    """One number or an array of them, of any shape, at most so many."""

    of: Number = Number()
    most: int = 100_000_000

    def _checked(self, field: str, value: Any) -> Array:
        limits = f"of {self.of.limits}" if self.of.limits.endswith("or more") else self.of.limits
        right = " ".join(filter(None, ("finite numbers", limits, self.of.unit)))
        try:
            given = np.asarray(value)
        except (TypeError, ValueError):  # rows of different lengths
            raise InputError(field, value, right) from None
        if given.dtype.kind not in "iuf":
            raise InputError(field, value, right)
        enough = given >= self.of.low if self.of.above is None else given > self.of.above
        inside = enough & (given <= self.of.high) & np.isfinite(given)
        if not np.all(inside):
            raise InputError(field, value if given.size < 10 else given[~inside].flat[0].item(), right)
        if given.size > self.most:
            raise InputError(field, f"{given.size} numbers", f"at most {self.most:,} numbers")
        result = given.astype(np.float64)
        result.flags.writeable = False
        return result


class Range(Vector):
    """A lowest and a highest number."""

    length: int = 2

    def _checked(self, field: str, value: Any) -> tuple[float, float]:
        low, high = super()._checked(field, value)
        if low > high:
            raise InputError(field, (low, high), "a range (lowest, highest)")
        return low, high


class Band(Spec):
    """A value that is not known exactly: one number, or (low, nominal, high)."""

    of: Number = Number()

    def _checked(self, field: str, value: Any) -> tuple[float, float, float]:
        if isinstance(value, str) or not hasattr(value, "__iter__"):
            only = self.of.check(field, value)
            return only, only, only
        given = Vector(of=Number(unit=self.of.unit)).check(field, value)
        names = ("low", "nominal", "high")
        low, nominal, high = (self.of.check(f"{field}, {n}", v) for n, v in zip(names, given, strict=True))
        if not low <= nominal <= high:
            raise InputError(field, (low, nominal, high), "low <= nominal <= high")
        return low, nominal, high


class OneOf(Spec):
    """One of some names; a function of names is asked when a value is checked, so that no table is read before."""

    options: Sequence[str] | Callable[[], Sequence[str]] = ()
    empty: bool = False  # whether no name at all is right too: not known
    reading: Callable[[str], str] | None = None  # words for a name in a menu, such as the name with its value
    nothing: str = "not given"  # words for None in a menu, where that is right
    former: Mapping[str, str] = dataclasses.field(default_factory=dict, hash=False)  # names of earlier files

    def names(self) -> tuple[str, ...]:
        """Return what may be chosen."""
        return tuple(self.options() if callable(self.options) else self.options)

    def ends(self) -> tuple[Any, ...]:
        """Return all that may be chosen."""
        return (*((None,) if self.optional else ()), *self.names())

    def menu(self) -> list[tuple[str, str | None]]:
        """Return what may be chosen as a menu shows it: words and value."""
        read = self.reading or str
        return [(self.nothing if value is None else read(value), value) for value in self.ends()]

    def _checked(self, field: str, value: Any) -> str:
        if self.empty and isinstance(value, str) and not value:
            return value
        value = self.former.get(value, value) if isinstance(value, str) else value
        if not isinstance(value, str) or value not in self.names():
            raise InputError(field, value, f"one of {', '.join(self.names())}")
        return value


class Text(Spec):
    """A name of at least one letter, or `empty`: not named."""

    empty: bool = False
    example: str = ""  # what a line for it shows while it is empty

    def _checked(self, field: str, value: Any) -> str:
        if not isinstance(value, str) or not (value.strip() or (self.empty and not value)):
            raise InputError(field, value, "a name of at least one letter")
        # Controls, ends of lines, halves of characters: none is typed on purpose, and files and terminals obey them.
        if not value.isprintable() and any(unicodedata.category(c) in ("Cc", "Cs", "Zl", "Zp") for c in value):
            raise InputError(field, value, "a name in one line, without control characters")
        return value


class Flag(Spec):
    """True or false."""

    def ends(self) -> tuple[Any, ...]:
        """Return both."""
        return False, True

    def _checked(self, field: str, value: Any) -> bool:
        if not isinstance(value, bool):
            raise InputError(field, value, "true or false")
        return value


class Day(Spec):
    """A date, written as ``"2026-12-05"``."""

    first: str = ""  # where a slider of days begins and ends; empty: there is none
    last: str = ""

    def days(self) -> list[str]:
        """Return the days of the slider."""
        if not self.first:
            return []
        first, last = (date.fromisoformat(day).toordinal() for day in (self.first, self.last))
        return [date.fromordinal(day).isoformat() for day in range(first, last + 1)]

    def ends(self) -> tuple[Any, ...]:
        """Return the first and the last day of the slider."""
        return (self.first, self.last) if self.first else ()

    def _checked(self, field: str, value: Any) -> str:
        try:
            return date.fromisoformat(str(value) if isinstance(value, date) else value).isoformat()
        except (TypeError, ValueError):
            raise InputError(field, value, "a date such as '2026-12-05'") from None


NOUNS = {"str": "text", "Dataset": "Dataset as kit.light_map and others return it"}


class Is(Spec):
    """A value of one of the kit's types."""

    kind: type | tuple[type, ...] = object

    def noun(self) -> str:
        """Return the types' names as people write them."""
        kinds = self.kind if isinstance(self.kind, tuple) else (self.kind,)
        names = ((kind.__name__, kind.__module__.startswith("kit")) for kind in kinds)
        return " or ".join(f"kit.{name}" if ours else NOUNS.get(name, name) for name, ours in names)

    def _checked(self, field: str, value: Any) -> Any:
        if not isinstance(value, self.kind):
            raise InputError(field, value, f"a {self.noun()}")
        return value


class PathOf(Is):
    """The path of a file or a folder: text in one line, or a `Path`."""

    kind: type | tuple[type, ...] = (str, Path)

    def _checked(self, field: str, value: Any) -> Any:
        NAME.check(field, str(super()._checked(field, value)))
        return value


class Many(Spec):
    """A sequence of so many things, each of which is right; no two agree in the attribute `unique`."""

    of: Spec = Spec()
    least: int = 0
    most: int = 1000
    unique: str = ""

    def _checked(self, field: str, value: Any) -> tuple[Any, ...]:
        noun = f"{self.of.noun()} values" if isinstance(self.of, Is) else "values"
        endless = not isinstance(value, Iterable) or getattr(value, "ndim", 1) == 0
        if isinstance(value, str | bytes | Mapping) or endless:
            raise InputError(field, value, f"a list of {noun}")
        # An item of the wrong type is blamed on the whole field: "lamps", not "lamps[3]", is what was typed.
        where = (lambda i: field) if isinstance(self.of, Is) else (lambda i: f"{field}[{i}]")
        found = tuple(self.of.check(where(i), item) for i, item in enumerate(islice(value, self.most + 1)))
        if len(found) > self.most:
            raise InputError(field, found, f"at most {self.most:,} {noun}")
        if len(found) < self.least:
            least = str(self.least) if self.least > 1 else "one of"
            raise InputError(field, found, f"at least {least} {noun}")
        if self.unique:
            for name, count in Counter(getattr(item, self.unique) for item in found).items():
                if count > 1:
                    raise InputError(f"{field}: {self.unique}", name, f"a {self.unique} that no other has")
        return found


def declared(spec: Spec, **changes: Any) -> Any:
    """Return a dataclass field that is declared by `spec`, some of it changed; None as a default: optional."""
    if changes.get("default", MISSING) is None:
        changes["optional"] = True
    mine = dataclasses.replace(spec, **changes) if changes else spec
    given: dict[str, Any] = {"default_factory" if callable(mine.default) else "default": mine.default}
    return dataclasses.field(**given, metadata={"spec": mine})


def specs(kind: Any) -> dict[str, Spec]:
    """Return the declared fields of a dataclass, or of an instance of one, by name."""
    return {field.name: field.metadata["spec"] for field in dataclasses.fields(kind) if "spec" in field.metadata}


def check_fields(thing: Any, where: str = "") -> None:
    """Check the declared fields of a frozen dataclass in order, the checked value in its place; `where` names it."""
    for name, spec in specs(thing).items():
        field = f"{where}: {name}" if where else name
        object.__setattr__(thing, name, spec.check(field, getattr(thing, name)))


def together(**arrays: Any) -> tuple[Array, ...]:
    """Return arrays of numbers in the shape to which they broadcast, or raise `InputError`."""
    try:
        return np.broadcast_arrays(*arrays.values())
    except ValueError:
        shapes = ", ".join(str(np.shape(array)) for array in arrays.values())
        raise InputError(", ".join(arrays), shapes, "arrays whose shapes broadcast together") from None


def by_type(hint: Any) -> Spec | None:
    """Return the declaration that a type hint stands for; None where it says too little."""
    origin, kinds = get_origin(hint), get_args(hint)
    if origin in (Union, UnionType):
        some = tuple(kind for kind in kinds if kind is not type(None))
        plain = all(isinstance(kind, type) and not get_args(kind) for kind in some)
        found = by_type(some[0]) if len(some) == 1 else Is(kind=some) if plain else None
        found = PathOf() if some == (str, Path) else found
        return found and found.but(optional=len(some) < len(kinds))
    if origin is Literal:
        return OneOf(options=kinds)
    if origin is tuple and set(kinds) <= {int, float}:
        return Vector(length=len(kinds), of=Number(whole=kinds[0] is int))
    if origin in (tuple, Sequence, Iterable) and len({*kinds} - {...}) == 1:
        of, count = by_type(kinds[0]), len(kinds) if origin is tuple and kinds[-1] is not ... else 0
        return of and (Many(of=of, least=count, most=count) if count else Many(of=of))
    if hint in (int, float):
        return Number(whole=hint is int)
    if hint is bool:
        return FLAG
    kind = origin if origin is Mapping else hint
    return Is(kind=kind) if isinstance(kind, type) and kind not in (object, Any, inspect.Parameter.empty) else None


def guarded(call: Callable[..., Any]) -> Callable[..., Any]:
    """Return a function that refuses, by the hints of its parameters, what cannot be meant, before it begins."""

    @cache
    def known() -> tuple[list[str], dict[str, Spec]]:
        found: dict[str, Spec] = {}
        for name, one in inspect.signature(call).parameters.items():
            with suppress(NameError):  # a name for the type checker alone
                hint = one.annotation
                spec = by_type(eval(hint, inspect.unwrap(call).__globals__) if isinstance(hint, str) else hint)
                if spec and one.kind not in (one.VAR_POSITIONAL, one.VAR_KEYWORD):
                    found[name] = spec
        return list(inspect.signature(call).parameters), found

    @wraps(call)
    def checked(*args: Any, **given: Any) -> Any:
        order, specs = known()
        named = [*zip(order, args, strict=False), *given.items()]
        right = [specs[name].check(name, value) if name in specs else value for name, value in named]
        first = len(named) - len(given)
        return call(*right[:first], *args[first:], **dict(zip(given, right[first:], strict=True)))

    return checked


class Declared(Frozen, eq=False):
    """Base of the types whose fields are declared: they check themselves, by `_agree` also what the fields say
    together, and document their fields. `thing` is what a message calls one: "patch".
    """

    thing: ClassVar[str] = ""

    def __init_subclass__(cls, **options: bool) -> None:
        fields = {name: field for name, field in vars(cls).items() if isinstance(field, dataclasses.Field)}
        fields |= getattr(cls, "__dataclass_fields__", {})  # what its base declares comes last in what it says
        known = ((name, field.metadata["spec"]) for name, field in fields.items() if "spec" in field.metadata)
        rows = [line for name, spec in known for line in _about(name, spec)]
        for name, own in list(vars(cls).items()):
            if not name.startswith("_") and inspect.isfunction(getattr(own, "__func__", own)):
                inner = guarded(getattr(own, "__func__", own))
                setattr(cls, name, type(own)(inner) if hasattr(own, "__func__") else inner)
        head, mark, tail = (cls.__doc__ or "").partition("\n\n")
        if rows:
            cls.__doc__ = "\n".join([head, "", "    Parameters", "    ----------", *rows]) + mark + tail
        super().__init_subclass__(**options)

    def __post_init__(self) -> None:
        where, name = self.thing, specs(self).get("name")
        if where and name:  # which is checked first, as messages have it
            where = f"{where} {name.check(f'{where} name', getattr(self, 'name', None))!r}"
        check_fields(self, where)
        self._agree(where)

    def _agree(self, where: str) -> None:
        """Refuse fields, each of which is right, that do not go together; `where` names the whole."""


def _kind(spec: Spec) -> str:
    """Return what a field holds, as a docstring says it."""
    if isinstance(spec, Many):
        return f"sequence of {_kind(spec.of)}"
    return spec.noun() if isinstance(spec, Is) else type(spec).__name__.lower()


def _about(name: str, spec: Spec) -> list[str]:
    """Return a field as lines of a docstring."""
    of: Any = getattr(spec, "of", spec)
    unit = f" [{of.unit}]" if getattr(of, "unit", "") else ""
    kind = f"{_kind(spec)}{', optional' if spec.optional or spec.default is not MISSING else ''}"
    words = spec.meaning or getattr(of, "meaning", "") or spec.label or getattr(of, "label", "")
    domain = f"; {of.limits}" if isinstance(of, Number) and of.limits else ""
    about = f"{words[:1].upper()}{words[1:]}{unit}{domain}".strip("; ")
    return [f"    {name} : {kind}", *([f"        {about}."] if about else [])]


# What several rooms ask for. A use may narrow or widen a declaration: `declared(LENGTH, low=0.0)`.

_NUMBERS: dict[str, Number] = {
    name: Number().but(**{k: tuple(v) if isinstance(v, list) else v for k, v in told.items()})
    for name, told in tomllib.loads(Path(__file__).with_suffix(".toml").read_text(encoding="utf-8")).items()
}
NAME = Text(label="name")
SOURCE = Text(label="source", meaning="where the values come from")
FLAG = Flag()
LENGTH = _NUMBERS["length"]
POINT = Vector(label="position", of=LENGTH.but(low=-1e9, high=1e9), meaning="x to the right, y up, z to the audience")
SHARE = _NUMBERS["share"]
ANGLE = _NUMBERS["angle"]
SPACING = _NUMBERS["spacing"]
LIGHT_OUTPUT = _NUMBERS["light_output"]
THROW_RATIO = _NUMBERS["throw_ratio"]
DISTANCE = _NUMBERS["distance"]
LENS_HEIGHT = _NUMBERS["lens_height"]
AMBIENT = _NUMBERS["ambient"]
REFLECTANCE = _NUMBERS["reflectance"]
WHITE_LUMINANCE = _NUMBERS["white_luminance"]
CONTRAST = _NUMBERS["contrast"]
AVERAGE_PICTURE_LEVEL = _NUMBERS["average_picture_level"]
DIMMING = _NUMBERS["dimming"]
AGE = _NUMBERS["age"]
PIGMENT = _NUMBERS["pigment"]
LATITUDE = _NUMBERS["latitude"]
LONGITUDE = _NUMBERS["longitude"]
FACING = _NUMBERS["facing"]
UNITS = OneOf(label="lengths in", options=("ft", "m"), default="m", reading={"ft": "feet", "m": "metres"}.__getitem__)
