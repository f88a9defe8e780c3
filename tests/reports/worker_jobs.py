"""Jobs for processes that work beside one another; a module of its own, so that each finds them."""

from __future__ import annotations

import os
import signal
import threading
import time

PARENT = os.environ.setdefault("BPVET_TEST_PARENT", str(os.getpid()))


def beside() -> bool:
    """Whether this is not the process that asked."""
    return str(os.getpid()) != PARENT


def square(job: int) -> tuple[int, bool]:
    time.sleep(0.02)  # or one process would be done before another has begun
    return job * job, beside()


def killed(job: int) -> int:
    if beside():
        os.kill(os.getpid(), signal.SIGKILL)
    time.sleep(0.05)  # this process does not take all of them before another is killed
    return job


def hanging(job: int) -> int:
    if beside():
        threading.Event().wait()
    return job


def failing(job: int) -> int:
    if job == 3:
        raise ValueError("of the third")
    return job
