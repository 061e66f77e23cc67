"""TOML files that people type: read with all their mistakes at once, in plain words; written whole or not at all.

What a file may hold is a `Record`: its fields, each declared as in `kit.fields`. Lengths are in the file's own unit, or
say theirs as text: ``"5 ft 6 in"``, ``"1,68 m"``; they come out in metres.
"""

import difflib
import json
import os
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from kit.errors import InputError
from kit.fields import MISSING, Many, Number, OneOf, Spec
from kit.files import read_file, write_files
from kit.units import metres_per
from kit.words import join

# A house of 800 parts stays far below all of these; what does not is a mistake or a trap. A line holds a patch's
# openings, a table so many fields; items are those of all lists of a file, such as corners. Signs are those that make
# a reader of TOML work: they are counted before it begins.
MOST_BYTES, MOST_LETTERS, MOST_FIELDS, MOST_ITEMS, MOST_SIGNS = 1_000_000, 200_000, 1000, 6000, 80_000
# Names joined by dots, each of which may be quoted, of which TOML allows any number.
CHAIN = re.compile(r"""(?:\.\s*(?:[\w-]+|"(?:\\.|[^"\\\n])*"|'[^'\n]*')\s*){20}""")
# So many mistakes fit on a page, and so many are looked for; so many letters of a list a line of a message bears whole.
MOST_MISTAKES, ENOUGH, LINE = 8, 400, 140
LONGEST = 200

WORDS = tomllib.loads(Path(__file__).with_suffix(".toml").read_text(encoding="utf-8"))
UNIT_OF = {word: unit for unit, words in WORDS["units"].items() for word in words.split()}
_NUMBER = r"(\d+ +\d+/\d+|\d+/\d+|\d+(?:[.,]\d+)?|[.,]\d+)"
_UNIT = f"({'|'.join(sorted(UNIT_OF, key=len, reverse=True))})?"
_LENGTH = re.compile(rf"([+-]?) *{_NUMBER} *{_UNIT}\.?(?: *(?:, |and )? *{_NUMBER} *{_UNIT}\.?)?")
# What editors, phones and rulers make of the signs that count.
_SIGNS = str.maketrans("′’‘″”“−\xa0", "'''\"\"\"- ") | str.maketrans({"½": " 1/2", "¼": " 1/4", "¾": " 3/4"})


class _Missing:
    def __repr__(self) -> str:
        return "(missing)"


def metres(unit: str) -> float:
    """Return the length of one unit of a file [m]."""
    return {"cm": 0.01, "mm": 0.001}.get(unit) or metres_per(unit)


def parse_length(words: str, unit: str) -> float | None:
    """Return a length that stands as text in `unit`, which is also that of a number alone; None: it may be anything."""
    signs = words.translate(_SIGNS).replace("''", '"').strip().lower()
    found = _LENGTH.fullmatch(signs) if len(signs) <= 60 else None
    if not found:
        return None
    sign, first, one, second, other = found.groups()
    big, small = UNIT_OF.get(one, unit), UNIT_OF.get(other, "in")
    length, more = parse_number(first), parse_number(second or "0")
    if length is None or more is None:
        return None
    if second and (not one or length % 1 or not more < WORDS["smaller"].get(f"{big} {small}", 0.0)):
        return None
    total = length * (metres(big) / metres(unit)) + more * (metres(small) / metres(unit))
    return -total if sign == "-" else total


def parse_number(words: str) -> float | None:
    """Return a number with a decimal point or comma, or a fraction; None for 1,250, which is one thing or another."""
    whole, _, part = words.rpartition(" ")
    if re.fullmatch(r"\d+/\d+", part):
        over, under = map(int, part.split("/"))
        return float(whole or 0) + over / under if under else None
    plain = re.fullmatch(r"[+-]?(\d+([.,]\d+)?|[.,]\d+)", words) and not re.fullmatch(r"[1-9]\d{0,2},\d{3}", words)
    return float(words.replace(",", ".")) if plain else None


def _in_words(length: str) -> str:
    """Return a length with its units in letters, which need no care within quotes."""
    signs = length.translate(_SIGNS).replace("''", '"')
    return " ".join(signs.replace("'", " ft ").replace('"', " in ").split())


def choices(value: Any, names: Iterable[str], more: str = "") -> str:
    """Return what is right instead of `value`: all names where a line holds them, else the nearest, then `more`."""
    known = list(dict.fromkeys(names))
    near = difflib.get_close_matches(str(value).strip().lower()[:100], known, cutoff=0.5)
    every = ", ".join(known)
    if len(every) <= LINE:
        return f"one of {every}" + (f" (did you mean {near[0]!r}?)" if near else "")
    return (join([repr(name) for name in near], "or") if near else f"one of {len(known)} names") + more


class TypedLength(Number):
    """A length that stays in the file's unit, so that sums of such lengths are rounded once."""


class Record(Spec):
    """A table of declared `fields`; those without a default, and not optional, have to be there."""

    fields: Mapping[str, Spec]


class Named(Spec):
    """Tables `of` one kind by names that people choose; `label` is what one of them is."""

    of: Record


class Values(dict[str, Any]):
    """The right fields of a record; `whole` where nothing in it was wrong."""

    where: str = ""  # what stands before a field in a message
    given: frozenset[str] = frozenset()  # all names that were typed
    whole: bool = True


class Reader:
    """One file on its way in: its unit of length, and its mistakes so far."""

    def __init__(self, file: str, fields: Mapping[str, Spec]) -> None:
        self.file, self.fields, self.unit = file, fields, "m"
        self.mistakes: list[InputError] = []
        self.items = 0  # of all lists so far

    @property
    def over(self) -> bool:
        """Whether so much is wrong that no more is looked for."""
        return len(self.mistakes) >= ENOUGH or self.items > MOST_ITEMS

    def wrong(self, field: str, value: Any, right: str) -> None:
        """Note a mistake; `finish` raises it."""
        self.mistakes.append(InputError(field, value, right))

    @contextmanager
    def noting(self) -> Iterator[None]:
        """Note what is refused inside, and go on after it."""
        try:
            yield
        except InputError as error:
            self.mistakes.append(error)

    def finish(self) -> None:
        """Raise all mistakes as one `InputError`: the only one as it is, several in a line each."""
        found, more = self.mistakes[:MOST_MISTAKES], min(len(self.mistakes), ENOUGH) - MOST_MISTAKES
        if len(found) == 1:
            raise InputError(f"{self.file}: {found[0].field}", found[0].value, found[0].right)
        if found:
            count = f"{min(len(self.mistakes), ENOUGH)} mistakes{' or more' if len(self.mistakes) >= ENOUGH else ''}"
            error = InputError(self.file, count, "none")
            lines = [f"{self.file} has {error.value}:", *(f"- {mistake}" for mistake in found)]
            error.args = ("\n".join(lines + ([f"- and {more} more"] if more > 0 else [])),)
            raise error

    def parse(self, source: str) -> dict[str, Any] | None:
        """Return what the text holds, evident slips of TOML mended and noted; None where one is beyond mending."""
        signs = sum(map(source.count, "\n.,=["))
        if len(source) > MOST_BYTES or signs > MOST_SIGNS:
            given = f"{len(source):,} letters, {signs:,} of them . , = [ or ends of lines"
            self.wrong("text", given, f"at most {MOST_BYTES:,} letters, {MOST_SIGNS:,} of these")
            return None
        lines = source.replace("\r\n", "\n").split("\n")
        lists = "|".join(name for name, spec in self.fields.items() if isinstance(spec, Many))
        alone = [i for i, line in enumerate(lines) if re.fullmatch(rf" *\[ *({lists}) *\] *(#.*)?", line[:1000])]
        for i in alone:
            name = lines[i].partition("#")[0].strip(" []")
            lines[i] = f"[[{name}]]"
        for i, line in enumerate(lines):
            if len(line) > MOST_LETTERS or CHAIN.search(line):
                self.wrong(f"line {i + 1}", line, f"up to {MOST_LETTERS:,} letters, and 20 names joined by dots")
                return None
        if alone:
            self.wrong(f"line {alone[0] + 1}", f"[{name}]", f"[[{name}]] in double brackets, each time")
        for _ in range(MOST_MISTAKES):
            try:
                return tomllib.loads("\n".join(lines))
            except RecursionError:
                message, place = "nested too deeply", ""
            except ValueError as error:  # TOMLDecodeError, or a number of thousands of digits
                message, _, place = str(error).partition(" (at ")
            at = re.match(r"line (\d+)", place)
            i = min(int(at[1]), len(lines)) - 1 if at else -1
            if message == "Unclosed array":  # which is found where the next field begins
                i = next((k for k in range(i, max(i - 9, -1), -1) if lines[k].count("[") > lines[k].count("]")), i)
            given, right = lines[i].strip(), ""
            # Each mended slip is another pass over the whole.
            if at and len(lines[i]) <= 1000 and len(source) < MOST_BYTES // 5 and signs < MOST_SIGNS // MOST_MISTAKES:
                right = _mend(lines, i, message)
            self.wrong(f"line {i + 1}" if at else "text", given if at else message, right or f"valid TOML ({message})")
            if not right:
                break
        return None

    def record(self, fields: Mapping[str, Spec], content: Any, where: str = "") -> Values:
        """Return the right fields of a table; what is wrong, missing or unknown is noted."""
        values, before = Values(), len(self.mistakes)
        values.where = where
        if self.over:
            values.whole = False
            return values
        if isinstance(content, dict) and len(content) > MOST_FIELDS:
            self.wrong(where.rstrip(": ,") or "text", f"{len(content)} fields", f"at most {MOST_FIELDS}")
        elif isinstance(content, dict):
            values.given = frozenset(content)
            meant = {self._unknown(name, content, fields, where) for name in content if name not in fields}
            for name, spec in fields.items():
                if name in content:
                    found = self.read(spec, f"{where}{name}", content[name])
                    values |= {} if found is None else {name: found}
                elif spec.default is MISSING and not spec.optional and name not in meant:
                    self.wrong(f"{where}{name}", _Missing(), "this field to be there")
        else:
            self.wrong(where.rstrip(": ,"), content, "a table in braces or brackets")
        values.whole = len(self.mistakes) == before
        return values

    def _unknown(self, name: str, content: Mapping[str, Any], fields: Mapping[str, Spec], where: str) -> str:
        """Note a field that is not there to be given; return the one that was surely meant."""
        near = [key for key in difflib.get_close_matches(name[:100].lower(), fields, cutoff=0.6) if key not in content]
        inside = [key for key, spec in fields.items() if isinstance(spec, Record) and name in spec.fields]
        right = f"no such field here, but {', '.join(fields)}"
        if inside:
            right = f"this within {inside[0]} = {{ ... }}"
        elif name in self.fields and self.fields is not fields:
            right = "this at the top of the file, before the first line in brackets"
        elif near:
            right = f"another name (did you mean {near[0]}?)"
        self.wrong(f"{where}{name}", "a table" if isinstance(content[name], dict | list) else content[name], right)
        return (inside or near or [""])[0]

    def read(self, spec: Spec, field: str, value: Any) -> Any:
        """Return a value as `spec` wants it, lengths in metres; None, and a mistake noted, for a wrong one."""
        before = len(self.mistakes)
        match spec, value:
            case Record(), _:
                return self.record(spec.fields, value, f"{field}{',' if ': ' in field else ':'} ")
            case Named(), dict() if len(value) <= MOST_FIELDS:
                return {key: self.record(spec.of.fields, own, f"{spec.label} {key!r}: ") for key, own in value.items()}
            case Many(), list() if self.items > MOST_ITEMS:
                return None  # an earlier list has said so
            case Many(), list():
                self.items += len(value)
                if not spec.least <= len(value) <= spec.most or self.items > MOST_ITEMS:
                    few = len(value) < spec.least
                    right = f"at least {spec.least} of them" if few else f"at most {spec.most} of them"
                    self.wrong(field, value, f"{right}, and {MOST_ITEMS:,} items of all lists" if not few else right)
                    return None
                if isinstance(spec.of, Record):
                    names = (item.get("name") if isinstance(item, dict) else None for item in value)
                    called = (repr(name) if isinstance(name, str) else f"number {i}" for i, name in enumerate(names, 1))
                    where = (f"{field} {which}: " for which in called)
                    return [self.record(spec.of.fields, item, each) for item, each in zip(value, where, strict=True)]
                items = [self.read(spec.of, f"{field} {i}", item) for i, item in enumerate(value, 1)]
                return items if len(self.mistakes) == before else None
            case ((Named() | Many()), _):
                right = "a list in square brackets" if isinstance(spec, Many) else "a table in braces or brackets"
                self.wrong(field, value, right)
                return None
        with self.noting():
            return self._checked(spec, field, value)
        return None

    def _checked(self, spec: Spec, field: str, value: Any) -> Any:
        inner = innermost(spec)
        if isinstance(inner, Number):
            length = inner.unit == "m"
            value = self._numbers(field, value, length)
            found = (_local(spec, self.unit) if length else spec).check(field, value)
            return times(found, metres(self.unit)) if length and not isinstance(inner, TypedLength) else found
        if isinstance(value, str) and len(value) > LONGEST:
            raise InputError(field, value, f"at most {LONGEST} letters")
        if isinstance(inner, OneOf) and isinstance(value, str) and value not in ("", *inner.names(), *inner.former):
            raise InputError(field, value, choices(value, inner.names()))
        return spec.check(field, value)

    def _numbers(self, field: str, value: Any, length: bool, depth: int = 3) -> Any:
        """Return `value` with its texts as numbers."""
        if isinstance(value, list) and depth and len(value) <= 1000:
            return [self._numbers(field, item, length, depth - 1) for item in value]
        if not isinstance(value, str):
            return value
        found = parse_length(value, self.unit) if length else parse_number(value)
        if found is None:
            texts = ', or text such as "5 ft 6 in" or "1.68 m"' if length else ""
            raise InputError(field, value, f"a number such as 5.5{texts}")
        return found


def innermost(spec: Any) -> Any:
    """Return what the items of items of a declaration are."""
    return innermost(spec.of) if hasattr(spec, "of") else spec


def _local(spec: Any, unit: str) -> Any:
    """Return the declaration of lengths as it is in another unit; as many feet as metres will do for a limit."""
    if hasattr(spec, "of"):
        return spec.but(of=_local(spec.of, unit))
    more = {"in": 12.0, "cm": 100.0}.get(unit, 1.0)
    return spec.but(unit=unit, low=spec.low * more, high=spec.high * more)


def times(value: Any, factor: float, digits: int | None = None) -> Any:
    """Return a number, or all numbers in tuples of tuples, times a factor, without what rounding left where asked."""
    if isinstance(value, tuple | list):
        return tuple(times(item, factor, digits) for item in value)
    return value and (value * factor if digits is None else round(value * factor, digits) + 0.0)


def _mend(lines: list[str], i: int, message: str) -> str:
    """Mend an evident slip in line `i`; return what is right there, or nothing where no slip is evident."""
    line = lines[i]
    for slip in WORDS["slip"]:
        put = slip.get("put", lambda found: f'= "{_in_words(found[2])}"')
        lines[i] = re.sub(slip["find"].replace("%end%", WORDS["end"]), put, line)
        if lines[i] != line:
            return f"{slip['right']}: {lines[i].strip()}"
    if line.count("[") > line.count("]"):
        lines[i] += "]"
        return "a closing ]"
    if line.count("{") > line.count("}"):
        after = [k for k in range(i + 1, min(i + 9, len(lines))) if re.match(r"\s*([\w-]+\s*=|\})", lines[k])]
        end = next((k for k in after if "}" in lines[k] and "{" not in lines[k]), i)
        lines[i : end + 1] = [" ".join(lines[i : end + 1]) + (" }" if end == i else ""), *[""] * (end - i)]
        return "all between { and } in one line" if end > i else "a closing }"
    if "overwrite" in message:
        lines[i] = ""
        return "each field once; where another patch begins, [[patch]] is missing above it"
    return ""


def read_text(what: str, path: Any) -> str:
    """Return the text of a TOML file, or raise `InputError`: for one that is not there, with those that are."""
    file, where = Path(path), f"{what} {str(path)!r}"
    try:
        if not os.path.lexists(file):
            folder = file.parent.resolve()
            there = [str(p.relative_to(folder)) for p in (*folder.glob("*.toml"), *folder.glob("houses/*.toml"))]
            there.sort(key=lambda name: (-difflib.SequenceMatcher(None, name, file.name).ratio(), name))
            names = f"one of {', '.join(there[:5])}{f' and {len(there) - 5} more' if len(there) > 5 else ''}"
            raise InputError(where, "no such file", f"{names if there else 'a TOML file'} in {folder}")
        return read_file(where, file, right="a TOML file", most=MOST_BYTES).decode("utf-8-sig")
    except InputError:
        raise
    except (OSError, ValueError) as error:
        right = "text in UTF-8" if isinstance(error, UnicodeDecodeError) else "the path of a TOML file"
        raise InputError(where, "a file that cannot be read", right) from None


def write_text(what: str, path: Path, text: str) -> None:
    """Write a file: whatever happens meanwhile, it is the old one or the new one; a link or a folder is refused."""
    where = f"{what} {str(path)!r}"
    if not path.parent.is_dir():
        raise InputError(where, "in no folder", "a file in a folder that is there")
    write_files(where, path.parent, {path.name: text.encode})


def toml(value: Any) -> str:
    """Return a value as TOML, tables in braces."""
    if isinstance(value, bool | str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, Mapping):
        return f"{{ {', '.join(f'{key} = {toml(item)}' for key, item in value.items())} }}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(toml, value))}]"
    return str(int(value)) if value == int(value) else repr(float(value))


def table(header: str, values: Mapping[str, Any]) -> str:
    """Return a table of a TOML file with a field in each line; no header: its top."""
    return "\n".join(([header] if header else []) + [f"{key} = {toml(value)}" for key, value in values.items()]) + "\n"


def written(spec: Spec, value: Any, unit: str) -> Any:
    """Return a value as it stands in a file: lengths in its unit, without what rounding left."""
    inner = innermost(spec)
    return times(value, 1.0 / metres(unit), 10) if isinstance(inner, Number) and inner.unit == "m" else value
