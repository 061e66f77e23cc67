"""The last few results of one kind, kept for whoever asks again; safe to use from several threads."""

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Generic, TypeVar

Kept = TypeVar("Kept")


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
