"""Large arrays: worked on in pieces that stay in the processor's cache, by two threads; the last results, kept."""

from collections import OrderedDict
from collections.abc import Callable, Hashable, Sequence
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from threading import Lock
from typing import Any, Generic, TypeVar

# Two threads share this many bands of rows, so that neither waits long for the other; fewer points go in one piece.
BANDS, FEW = 8, 1 << 16

Kept = TypeVar("Kept")


def share_out(work: Callable[[Any], object], blocks: Sequence[Any]) -> None:
    """Call `work` on each block; two threads share them where there are several."""
    if len(blocks) < 4:
        for block in blocks:
            work(block)
    else:
        with ThreadPoolExecutor(max_workers=2) as pool:
            list(pool.map(work, blocks))


def in_bands(work: Callable[[int, int], object], rows: int, columns: int) -> None:
    """Call `work`, which lets go of the interpreter, on bands of rows, first to one after last, in two threads."""
    if rows * columns < FEW:
        work(0, rows)
        return
    edges = [rows * i // BANDS for i in range(BANDS + 1)]
    share_out(lambda band: work(*band), list(pairwise(edges)))


class Memory(Generic[Kept]):
    """Keeps the `keep` results that were asked for last, each of a size of at most `most`."""

    def __init__(self, *, keep: int, most: int) -> None:
        self.keep, self.most = keep, most
        self._kept: OrderedDict[Hashable, Kept] = OrderedDict()
        self._lock = Lock()

    def get(self, key: Hashable, size: int, make: Callable[[], Kept]) -> Kept:
        """Return what is kept under `key`, or what `make` returns, which is then kept unless it is too large."""
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
        made = make()
        if size <= self.most:
            with self._lock:
                self._kept[key] = made
                while len(self._kept) > self.keep:
                    self._kept.popitem(last=False)
        return made
