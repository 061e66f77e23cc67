"""What is kept of results, for how long, and by how many at once."""

import threading

import pytest

from kit.blocks import Memory


class Maker:
    """Makes a new object each time, and counts."""

    def __init__(self):
        self.count = 0

    def __call__(self):
        self.count += 1
        return object()


@pytest.fixture
def make():
    return Maker()


def test_what_was_made_is_returned_again(make):
    memory = Memory(keep=2, most=10)
    first = memory.get("a", 1, make)
    assert memory.get("a", 1, make) is first
    assert memory.get("b", 1, make) is not first
    assert make.count == 2
    # None is a result too.
    assert memory.get("c", 1, lambda: None) is None
    assert memory.get("c", 1, make) is None


def test_what_was_asked_for_longest_ago_goes_first(make):
    memory = Memory(keep=2, most=10)
    a, b = (memory.get(key, 1, make) for key in "ab")
    # Asked for again: now the other is the older.
    assert memory.get("a", 1, make) is a
    memory.get("c", 1, make)
    assert make.count == 3
    assert memory.get("a", 1, make) is a
    assert memory.get("b", 1, make) is not b
    assert make.count == 4


@pytest.mark.parametrize(("size", "kept"), [(9, True), (10, True), (11, False)])
def test_what_is_too_large_is_made_each_time(make, size, kept):
    memory = Memory(keep=2, most=10)
    small = memory.get("small", 1, make)
    large = memory.get("large", size, make)
    assert (memory.get("large", size, make) is large) is kept
    # It pushes nothing out either.
    assert memory.get("small", 1, make) is small


def test_a_memory_may_keep_nothing(make):
    memory = Memory(keep=0, most=10)
    memory.get("a", 1, make)
    memory.get("a", 1, make)
    assert make.count == 2


def test_what_fails_is_not_kept_and_harms_nothing(make):
    memory = Memory(keep=2, most=10)

    def fail():
        raise RuntimeError("no result")

    with pytest.raises(RuntimeError, match="no result"):
        memory.get("a", 1, fail)
    found = memory.get("a", 1, make)
    assert memory.get("a", 1, make) is found


def test_what_makes_a_result_may_ask_the_memory_itself(make):
    memory = Memory(keep=2, most=10)
    found = []
    # In a thread of its own: a lock that is held while something is made would wait for itself for ever.
    thread = threading.Thread(
        target=lambda: found.append(memory.get("outer", 1, lambda: memory.get("inner", 1, make))), daemon=True
    )
    thread.start()
    thread.join(10)
    assert found
    assert memory.get("inner", 1, make) is found[0]
    assert make.count == 1


def test_many_threads_get_what_belongs_to_their_key():
    memory = Memory(keep=3, most=10)
    start, wrong = threading.Barrier(8), []

    def ask(seed):
        start.wait(10)
        for i in range(3000):
            key = (seed + i * i) % 5
            if memory.get(key, 1, lambda key=key: [key]) != [key]:
                wrong.append(key)

    threads = [threading.Thread(target=ask, args=(seed,), daemon=True) for seed in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert not any(thread.is_alive() for thread in threads)
    assert wrong == []
    # No more than are to be kept.
    makers = [Maker() for _ in range(5)]
    for key, maker in enumerate(makers):
        memory.get(key, 1, maker)
    assert sum(maker.count == 0 for maker in makers) <= 3
