"""Records in parts: all of an animal in one part, read and worked on part by part.

A part is whatever `bpvet.read` takes: a folder of records or one file. Workers get paths and give
back little; answers are gathered in the order of the parts, so that they are the same whoever
works on them. A part whose process was killed is worked on again.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from multiprocessing import get_context
from typing import Any, Protocol, TypeVar

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.errors import BpvetError, CallError, FitError
from bpvet.frozen import dataclass, field
from bpvet.mixed.executors import is_executor
from bpvet.records.folder import existing, table_of
from bpvet.records.parsing.dates import date_of, today
from bpvet.records.read import read
from bpvet.records.read_options import ReadOptions
from bpvet.records.records import Records

Codes = NDArray[np.uint64]
Paths = str | os.PathLike[str] | Sequence[str | os.PathLike[str]]
_Job = TypeVar("_Job")
_Answer = TypeVar("_Answer")

#: So often in a row may processes end without a single part done.
_MOST_LOSSES = 3


class Executor(Protocol):
    """Whoever works on parts: `bpvet.mixed.executors.OnCluster`, or what has its method."""

    def gather(self, function: Callable[[Any], Any], parts: Sequence[Any]) -> Sequence[Any]:
        """Return the function of each part, in order."""


@dataclass(frozen=True)
class Reading:
    """How every part is read.

    Parameters
    ----------
    as_of : datetime64[D]
        One date for all parts, also where the work goes on past midnight.
    options : mapping
        Keywords of `bpvet.read`: ``columns``, ``dates``, ``unit``, ``encoding``, ``query``.
    """

    as_of: np.datetime64
    options: Mapping[str, Any] = field(default_factory=dict)

    @classmethod
    def by(cls, as_of: object, options: Mapping[str, Any] | None) -> Reading:
        """Return how parts are read, from what a caller gave; without a date as at today."""
        day = today() if as_of is None else date_of(as_of, "as_of")
        return cls(day, ReadOptions(**(options or {})).to_plain())

    def of(self, path: str) -> Records:
        """Return the usable records of a part."""
        return read(path, as_of=self.as_of, **self.options).require_usable()


@contextmanager
def naming(path: str) -> Iterator[None]:
    """Name the part in whatever error is raised about it."""
    try:
        yield
    except BpvetError as error:
        error.args = (f'Part "{path}": {error}', *error.args[1:])
        raise


def paths_of(parts: Paths) -> list[str]:
    """Return the paths of parts.

    Parameters
    ----------
    parts : path, or sequence of paths
        Of one path its folders, in the order of their names, are the parts; hidden ones are not.

    Raises
    ------
    CallError
        The path is not there, there are no parts, one is named twice, or records lie beside the
        folders, where nobody would read them.
    """
    if not isinstance(parts, (str, os.PathLike)):
        named = [os.fspath(path) for path in parts]
        if not named:
            raise CallError("There are no parts.")
        if twice := [path for path, count in Counter(named).items() if count > 1]:
            raise CallError(f'Part "{twice[0]}" is named more than once.')
        return named
    root = existing(parts)
    inside = sorted(root.iterdir()) if root.is_dir() else []
    folders = [str(path) for path in inside if path.is_dir() and not path.name.startswith(".")]
    if not folders:
        raise CallError(f'"{root}" holds no folders: each folder of records in it is a part.')
    if beside := [path.name for path in inside if path.is_file() and table_of(path.name)]:
        raise CallError(
            f'"{root}" holds parts, and beside them the records "{beside[0]}", which no part '
            "would have: put them into the parts."
        )
    return folders


def gathered(
    function: Callable[[_Job], _Answer], jobs: Sequence[_Job], executor: Executor | int | None
) -> list[_Answer]:
    """Return the function of each job, in their order, whoever works on them.

    Parameters
    ----------
    function : callable
        One that processes can load by its name.
    jobs : sequence
    executor : Executor, int or None
        None works here, a number in so many processes of this machine.

    Raises
    ------
    CallError
        The number is not positive, or the executor is none.
    FitError
        Processes ended again and again before any job was done.
    """
    if executor is None:
        return [function(job) for job in jobs]
    if not isinstance(executor, int):
        if not is_executor(executor):
            raise CallError("executor is a number of processes, or an object with gather.")
        return list(executor.gather(function, jobs))
    if executor < 1:
        raise CallError(f"executor must be 1 process or more, not {executor}.")
    return _in_processes(function, jobs, executor)


def _in_processes(
    function: Callable[[_Job], _Answer], jobs: Sequence[_Job], processes: int
) -> list[_Answer]:
    """Return the function of each job; what a killed process had is worked on by the next."""
    answers: dict[int, _Answer] = {}
    losses = 0
    while left := [i for i in range(len(jobs)) if i not in answers]:
        before = len(answers)
        pool = ProcessPoolExecutor(min(processes, len(left)), mp_context=get_context("spawn"))
        try:
            futures: dict[int, Future[_Answer]] = {}
            # A pool that lost a process fails all that it has not done, and takes nothing more.
            with suppress(BrokenProcessPool):
                for i in left:
                    futures[i] = pool.submit(function, jobs[i])
            for i, future in futures.items():
                with suppress(BrokenProcessPool):
                    answers[i] = future.result()
        finally:
            pool.shutdown(cancel_futures=True)
        losses = losses + 1 if len(answers) == before else 0
        if losses == _MOST_LOSSES:
            raise FitError(
                "Worker processes were ended again and again before a part was done: a part may "
                "need more memory than there is. Make the parts smaller, or use fewer processes."
            )
    return [answers[i] for i in range(len(jobs))]


def animal_codes(records: Records) -> Codes:
    """Return a code of 64 bits for each animal, sorted: the same for an id wherever it is met."""
    ids = np.array(list(records.rows_by_animal), dtype=object)
    return np.sort(pd.util.hash_array(ids, categorize=False))


def refuse_shared(
    parts: Sequence[str], codes: Sequence[Codes], reading: Reading, executor: Executor | int | None
) -> None:
    """Raise a `CallError` that names an animal found in two parts, if there is one.

    Parameters
    ----------
    parts : sequence of str
    codes : sequence of (animals,) uint64
        `animal_codes` of each part.
    reading, executor
        To read those parts again in which one code is met: two ids may share a code.
    """
    every = np.concatenate(codes)
    owner = np.repeat(np.arange(len(parts)), [of_part.size for of_part in codes])
    order = np.argsort(every, kind="stable")
    same = np.flatnonzero(np.diff(every[order]) == 0)
    pairs = {(int(owner[order[i]]), int(owner[order[i + 1]])) for i in same}
    for pair in sorted(pairs):
        names = [parts[i] for i in pair]
        first, second = gathered(_animals, [(name, reading) for name in names], executor)
        if shared := sorted(first & second):
            raise CallError(
                f'Animal "{shared[0]}" is in two parts, "{names[0]}" and "{names[1]}": all '
                "records of an animal must lie in one."
            )


def _animals(job: tuple[str, Reading]) -> set[str]:
    path, reading = job
    return set(reading.of(path).rows_by_animal)
