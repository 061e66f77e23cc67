"""What a declaration has to refuse: values outside its domain and of other types, for the generated tests."""

import math
from functools import singledispatch

from kit.decision.evening import ClockTime
from kit.fields import Band, Day, Flag, Is, Many, Number, Numbers, OneOf, Range, Spec, Text, Vector
from kit.wall.facade import Outline, Outlines
from kit.wall.occlusion import Plan


@singledispatch
def wrong(spec):
    """Values that `spec.check` has to refuse."""
    if not spec.optional:
        yield None
    yield object()


@wrong.register
def _(spec: Number):
    yield from wrong.dispatch(Spec)(spec)
    yield from (math.nan, -math.inf, True, "4", b"4", [], 10**400)
    if not spec.endless:
        yield math.inf
    if spec.above is not None:
        yield spec.above
    elif spec.low > -math.inf:
        yield spec.low - max(1e-9, 1e-9 * abs(spec.low))
    if spec.high < math.inf:
        yield spec.high + max(1e-9, 1e-9 * abs(spec.high))
    if spec.whole:
        yield (spec.above if spec.above is not None else spec.low) + 1.5


@wrong.register
def _(spec: Vector):
    yield from wrong.dispatch(Spec)(spec)
    good = spec.of.low if spec.of.low > -math.inf else 1.0 + (spec.of.above or 0.0)
    yield from ((good,) * (spec.length - 1), (good,) * (spec.length + 1), "x" * spec.length, good)
    yield from ((*(good,) * (spec.length - 1), bad) for bad in (math.nan, math.inf, None, "a"))


@wrong.register
def _(spec: Numbers):
    yield from wrong.dispatch(Spec)(spec)
    yield from ("4", True, {}, 1j, [None], [math.nan], math.inf, -math.inf, [[1.0], [1.0, 2.0]])
    if spec.of.above is not None:
        yield [spec.of.above]
    elif spec.of.low > -math.inf:
        yield [spec.of.low - 1e-6 * max(1.0, abs(spec.of.low))]
    if spec.of.high < math.inf:
        yield [spec.of.high + 1e-6 * max(1.0, abs(spec.of.high))]


@wrong.register
def _(spec: Range):
    yield from wrong.dispatch(Spec)(spec)
    good = spec.of.low if spec.of.low > -math.inf else 1.0 + (spec.of.above or 0.0)
    yield from ((good,), (good, good, good), (good + 1.0, good), (good, math.nan), good, "ab")


@wrong.register
def _(spec: Band):
    yield from wrong.dispatch(Spec)(spec)
    good = spec.of.low if spec.of.low > -math.inf else 1.0 + (spec.of.above or 0.0)
    yield from ((good, good), (good, good + 2e-3, good + 1e-3), (good, math.nan, good), "abc", math.nan)


@wrong.register
def _(spec: OneOf):
    yield from wrong.dispatch(Spec)(spec)
    yield from ("no such name", 3, ())


@wrong.register
def _(spec: Text):
    yield from wrong.dispatch(Spec)(spec)
    yield from (3, b"a", " ")
    if not spec.empty:
        yield ""


@wrong.register
def _(spec: Flag):
    yield from wrong.dispatch(Spec)(spec)
    yield from (0, 1, "true")


@wrong.register
def _(spec: Day):
    yield from wrong.dispatch(Spec)(spec)
    yield from (20261205, "", "soon", "2026-02-30")


@wrong.register
def _(spec: Is):
    yield from wrong.dispatch(Spec)(spec)
    yield from (3.0, "text", [])


@wrong.register
def _(spec: Many):
    yield from wrong.dispatch(Spec)(spec)
    yield from (3.0, "text", [object()])
    if spec.least:
        yield []


@wrong.register
def _(spec: ClockTime):
    yield from wrong.dispatch(Text)(spec)
    yield from ("25:00", "24:01", "05:60", "5:00", "0500", "05:00:00", "-1:00", "noon", "\u00b2\u00b3:00", 15)


@wrong.register
def _(spec: Outline):
    yield from wrong.dispatch(Spec)(spec)
    yield from ("square", 3, [(0, 0), (2, 0)], [(0, 0), (2, 0), (0, 0)], [(0, 0), (2, 0), "ab"])
    yield from ([(0, 0), (2, 0), bad] for bad in ((2,), (2, "2"), (2, float("nan")), (2, 1, 0, 0)))


@wrong.register
def _(spec: Outlines):
    yield from ([ring] for ring in wrong.dispatch(Outline)(spec))


@wrong.register
def _(spec: Plan):
    yield from wrong.dispatch(Spec)(spec)
    yield from ("square", 3, [(0, 0), (2, 0)], [(0, 0), (2, 0), "ab"], [(0, 0), (2, 2), (2, 0), (0, 2)])
    yield from ([(0, 0), (2, 0), bad] for bad in ((2,), (2, "2"), (2, float("nan")), (2, 1, 0), (1, 0)))
