"""How much of the reference data was seen in a source: `python tests/provenance.py` counts it, table by table."""

from collections import Counter

from kit import reference


def count() -> dict[str, Counter[str]]:
    """Return for each table how many of its rows have which status; the last entry is all of them."""
    found = {name: Counter(row.status for row in reference.table(name)) for name in reference.tables()}
    return found | {"all": sum(found.values(), Counter())}


if __name__ == "__main__":
    for name, rows in count().items():
        parts = ", ".join(f"{rows[status]:3} {status}" for status in ("seen", "chosen", "from memory"))
        known = (rows["seen"] + rows["chosen"]) / rows.total()
        print(f"{name:22} {rows.total():4} rows: {parts}; {known:.0%} seen, computed or chosen")
