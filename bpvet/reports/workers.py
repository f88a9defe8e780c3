"""Processes that make reports beside this one: branched off it where that is safe, else begun anew.

A branch has all that this process has loaded and read, for nothing; one begun anew loads and reads
all again, which costs what several reports do. Branching is safe on Linux while no thread of Python
but the main one runs: the allocator's, Arrow's and the linear algebra's own threads are idle then,
and those libraries set themselves right in a branch. Should one ever hang all the same, it is ended
and what it had is made here.
"""

from __future__ import annotations

import multiprocessing
import os
import sys
import threading
import warnings
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from contextlib import contextmanager
from typing import Any, Generic, TypeVar

Job = TypeVar("Job")
Answer = TypeVar("Answer")

#: Jobs to each process that is begun anew, at the least: to begin costs what some four do.
_WORTH = 8
#: Seconds after which processes that have finished nothing are taken to hang.
_PATIENCE = 600.0


def may_branch() -> bool:
    """Return whether processes can be branched off this one."""
    alone = threading.active_count() == 1
    return sys.platform == "linux" and alone and threading.current_thread().name == "MainThread"


def made(work: Callable[[Job], Answer], jobs: Sequence[Job], processes: int) -> list[Answer]:
    """Return the answer of each job, in order, several worked on at once.

    Parameters
    ----------
    work : function of a job
        It, the jobs and the answers can be pickled; it is handed to each process once.
    jobs : sequence
        Each is taken by whoever is free, this process among them.
    processes : int
        The most that work at once, this one counted.

    Raises
    ------
    concurrent.futures.process.BrokenProcessPool
        Where a process was killed.
    Exception
        What a job raises.
    """
    jobs = list(jobs)
    branching = may_branch()
    # What the first loads, and sets up, the branches have.
    first = [work(job) for job in jobs[:1]] if branching else []
    left = jobs[len(first) :]
    beside = min(processes - 1, len(left) if branching else len(left) // _WORTH)
    if beside < 1:
        return first + [work(job) for job in left]
    return first + _Beside(work, left, beside, "fork" if branching else "spawn").answers()


class _Beside(Generic[Job, Answer]):
    """Jobs that some processes and this one work on."""

    def __init__(
        self, work: Callable[[Job], Answer], jobs: Sequence[Job], processes: int, way: str
    ) -> None:
        self._work, self._jobs = work, jobs
        before = set(multiprocessing.active_children())
        # What it needs itself is begun as the processes are.
        with _safe_path(), warnings.catch_warnings():
            # Of threads, which are those that `may_branch` knows of.
            warnings.simplefilter("ignore", DeprecationWarning)
            self._pool = ProcessPoolExecutor(
                processes,
                mp_context=multiprocessing.get_context(way),
                initializer=_begin,
                initargs=(work,),
            )
            self._parts: list[Future[Answer]] = [self._pool.submit(_answer, job) for job in jobs]
        self._processes = set(multiprocessing.active_children()) - before

    def answers(self) -> list[Answer]:
        """Return the answers in order; the processes are at an end then."""
        here: dict[int, Answer] = {}
        try:
            # From the end: what no process has begun.
            for i in reversed(range(len(self._jobs))):
                if self._parts[i].cancel():
                    here[i] = self._work(self._jobs[i])
            for i in self._stuck():
                here[i] = self._work(self._jobs[i])
            return [
                here[i] if i in here else future.result() for i, future in enumerate(self._parts)
            ]
        finally:
            self._pool.shutdown(cancel_futures=True)

    def _stuck(self) -> list[int]:
        """Wait for what the processes have; return the places of what they will never finish."""
        left = {future for future in self._parts if not future.done()}
        while left:
            done, left = wait(left, _PATIENCE, FIRST_COMPLETED)
            if not done:
                for process in self._processes:
                    process.kill()
                return [i for i, future in enumerate(self._parts) if future in left]
        return []


@contextmanager
def _safe_path() -> Iterator[None]:
    """Let processes that are begun meanwhile take no module from the current folder."""
    before = os.environ.get("PYTHONSAFEPATH")
    os.environ["PYTHONSAFEPATH"] = "1"
    try:
        yield
    finally:
        if before is None:
            del os.environ["PYTHONSAFEPATH"]
        else:
            os.environ["PYTHONSAFEPATH"] = before


#: What a process that works beside another does with a job.
_WORK: list[Callable[[Any], Any]] = []


def _begin(work: Callable[[Any], Any]) -> None:
    _WORK[:] = [work]


def _answer(job: Any) -> Any:
    return _WORK[0](job)
