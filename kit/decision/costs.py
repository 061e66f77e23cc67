"""What a way costs as a whole: each item as typed, or a guess of ``reference_data/prices.csv`` with a band."""

from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from itertools import product

from kit import reference
from kit.fields import Frozen, Number
from kit.results import pick
from kit.source.projector import Levels
from kit.words import Phrases, band, join, short

say = Phrases(__file__)


class Item(Frozen):
    """One thing to pay for: low, usual and high; all three the same where it is `typed`."""

    name: str
    price: Levels
    typed: bool


@cache
def priced() -> dict[str, Number]:
    """Return what may be typed of the table, by its first word: each, or for a square metre of cloth."""
    rows = (row for row in reference.table("prices") if row.group != "projector")
    return {r.name.split()[0]: Number(label=r.name, meaning=r.note, unit=r.unit, low=0.0, optional=True) for r in rows}


def items(group: str, costs: Mapping[str, float] | None, area: float = 1.0, count: float = 1.0) -> tuple[Item, ...]:
    """Return the items of a group, for so much cloth [m2], or so many pieces but of what plays; `costs` are typed."""
    said = {name: pick("costs", name, priced()).check(f"costs: {name}", one) for name, one in (costs or {}).items()}
    found = []
    for row in (row for row in reference.table("prices") if row.group == group):
        one = said.get(row.name.split()[0])
        times = area if row.unit == "USD/m2" else 1.0 if row.name == "player" else count
        low, usual, high = (times * (end if one is None else one) for end in (row.low, row.value, row.high))
        found.append(Item(name=row.name, price=(low, usual, high), typed=one is not None))
    return tuple(found)


def total(items: Iterable[Item]) -> Levels:
    """Return what items cost together: low is all that is low together, high likewise [USD]."""
    low, usual, high = map(sum, zip((0.0, 0.0, 0.0), *(item.price for item in items), strict=True))
    return low, usual, high


def swayed(best: Sequence[Item], others: Iterable[Sequence[Item]]) -> tuple[str, ...]:
    """Return the guesses each of which alone, at an end of its band, makes one of `others` cheaper than `best`."""

    def cost(items: Sequence[Item], name: str, end: int) -> float:
        return sum(item.price[end if item.name == name and not item.typed else 1] for item in items)

    rivals = [tuple(items) for items in others]
    guesses = dict.fromkeys(item.name for items in (best, *rivals) for item in items if not item.typed)
    turned = ((name, cost(other, name, k) < cost(best, name, k)) for name, other, k in product(guesses, rivals, (0, 2)))
    return tuple(dict.fromkeys(name for name, turns in turned if turns))


def parts_sentence(items: Sequence[Item]) -> str:
    """Return what a way costs and of what, in words; what is a guess says so."""
    return f"{dollars(total(items))}: {join([say('typed' if i.typed else 'guess', item=i) for i in items])}"


def hangs(names: Sequence[str]) -> str:
    """Return whether a ranking by cost hangs on guesses, in words."""
    return say("hangs", names=join(names)) if names else say("holds")


def dollars(levels: Levels) -> str:
    """Return a cost with its band, or alone where that is nothing, in words."""
    return f"{short(levels[1], 3) if levels[0] == levels[2] else band(*levels)} USD"
