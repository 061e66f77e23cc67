"""A call that is made again and again in a process of its own, which is killed in the middle."""

import os
import time
import warnings


def killed(call, wait):
    """Fork a process that calls `call` with 0, 1, 2 ... without an end; kill it after a while [s]."""
    begin, ready = os.pipe()
    with warnings.catch_warnings():  # of other threads: the child waits for none of them
        warnings.simplefilter("ignore", DeprecationWarning)
        child = os.fork()
    if child == 0:  # no test runs on in the child
        try:
            os.write(ready, b".")
            for turn in range(100_000):
                call(turn)
        finally:
            os._exit(1)
    assert os.read(begin, 1) == b"."
    time.sleep(wait)
    os.kill(child, 9)
    assert os.WIFSIGNALED(os.waitpid(child, 0)[1]), "the process ended by itself"
    os.close(begin), os.close(ready)
