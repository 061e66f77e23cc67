"""How much of the reference data was seen in a source: `python tests/provenance.py` counts it, table by table.

A measured spectrum takes several rows. The last line therefore counts things in place of rows, such as a lamp, a
surface or a part of a machine: known where nothing of it is remembered.
"""

from collections import Counter

from kit import reference


def count() -> dict[str, Counter[str]]:
    """Return for each table how many of its rows have which status; the last entry is all of them."""
    found = {name: Counter(row.status for row in reference.table(name)) for name in reference.tables()}
    return found | {"all": sum(found.values(), Counter())}


def things() -> tuple[int, int]:
    """Return how many things there are in all tables, and of how many no row is from memory."""
    known: dict[tuple[str, str, str], bool] = {}
    for name in reference.tables():
        for row in reference.table(name):
            key = name, row.group, row.name
            known[key] = known.get(key, True) and row.status != "from memory"
    return len(known), sum(known.values())


if __name__ == "__main__":
    for name, rows in count().items():
        parts = ", ".join(f"{rows[status]:3} {status}" for status in ("seen", "chosen", "from memory"))
        known = (rows["seen"] + rows["chosen"]) / rows.total()
        print(f"{name:22} {rows.total():4} rows: {parts}; {known:.0%} seen, computed or chosen")
    many, seen = things()
    print(f"{many} things, of {seen} of which nothing is from memory: {seen / many:.0%}")
