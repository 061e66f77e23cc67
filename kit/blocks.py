"""Work on large arrays in pieces that stay in the processor's cache, shared between two threads."""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from typing import Any

# Two threads share this many bands of rows, so that neither waits long for the other; fewer points go in one piece.
BANDS, FEW = 8, 1 << 16


def share_out(work: Callable[[Any], object], blocks: Sequence[Any]) -> None:
    """Call `work` on each block; two threads share them where there are several."""
    if len(blocks) < 4:
        for block in blocks:
            work(block)
    else:
        with ThreadPoolExecutor(max_workers=2) as pool:
            list(pool.map(work, blocks))


def in_bands(work: Callable[[int, int], object], rows: int, columns: int) -> None:
    """Call `work` on bands of rows, from the first to the one after the last; two threads share them.

    For work that lets go of the interpreter. What is done sooner than threads begin is done in one piece.
    """
    if rows * columns < FEW:
        work(0, rows)
        return
    edges = [rows * i // BANDS for i in range(BANDS + 1)]
    share_out(lambda band: work(*band), list(pairwise(edges)))
