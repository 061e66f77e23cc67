"""How much of the reference data was seen in a source: `python tests/provenance.py` counts it, table by table."""

from collections import Counter

from kit import reference


def count() -> dict[str, Counter[str]]:
    """Return for each table how many of its rows have which status; the last entry is all of them."""
    found = {name: Counter(row.status for row in reference.table(name)) for name in reference.tables()}
    return found | {"all": sum(found.values(), Counter())}


if __name__ == "__main__":
    for name, rows in count().items():
        print(f"{name:22} {rows['seen']:4} of {rows.total():4} seen ({rows['seen'] / rows.total():.0%})")
