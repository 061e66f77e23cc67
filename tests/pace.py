"""How long this machine takes now to read a large house: what must not take long is held to that, not to seconds."""

import time
from functools import cache

import kit

WALL = "rectangle = {{ left = {}, bottom = {}, width = 1, height = 1 }}"
PATCH = '[[patch]]\nname = "p{}"\nsurface = "red brick"\n' + WALL + "\n"
# As many patches as a house may have, beside each other.
LARGE = 'name = "a"\nunits = "m"\n' + "".join(PATCH.format(i, i % 50, i // 50) for i in range(800))
TRIES = 3


def processor_time(call, *given):
    """Processor time of a call [s], in which a busy machine is no hang."""
    start = time.process_time()
    call(*given)
    return time.process_time() - start


@cache
def pace():
    """Processor time of reading the large house [s], the best of a few."""
    kit.parse_house(LARGE)
    return min(processor_time(kit.parse_house, LARGE) for _ in range(TRIES))
