"""Executors for `fit_cohort(parts, …, map=executor)`: who holds a cohort's parts and works on them.

An executor has `scatter(function, parts)`, which leaves results where they are and returns
handles, and `gather(function, handles)`, which brings results back in order. Sums are added in
that order, so that a fit has the same digits on any executor over the same parts.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Sequence
from multiprocessing.connection import Connection
from types import TracebackType
from typing import Any, NamedTuple

from bpvet.errors import BpvetError, FitError

_ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


def is_executor(value: Any) -> bool:
    """Return whether an object scatters and gathers as executors do.

    A Dask client has methods of those names that do something else: it belongs in `OnCluster`.
    """
    return hasattr(value, "gather") and not hasattr(value, "submit")


class OnCluster:
    """The workers of a `distributed.Client` that the caller opened and will close.

    Give parts as paths that every worker can read: what a lost worker kept is then made again
    from its file.

    Parameters
    ----------
    client : distributed.Client
    """

    def __init__(self, client: Any) -> None:
        self.client = client

    def scatter(self, function: Callable[[Any], Any], parts: Sequence[Any]) -> Sequence[Any]:
        """Return futures of the function of each part, in order."""
        return [self.client.submit(function, part, pure=False) for part in parts]

    def gather(self, function: Callable[[Any], Any], parts: Sequence[Any]) -> Sequence[Any]:
        """Return the function of each part, in order."""
        return self.client.gather(list(self.scatter(function, parts)))


class Handle(NamedTuple):
    """A result that a local worker keeps."""

    worker: int
    key: int


class Workers:
    """Processes on this machine, each keeping its share of the parts; a context manager.

    Parameters
    ----------
    number : int
        How many processes; each uses one BLAS thread.
    """

    def __init__(self, number: int) -> None:
        context = multiprocessing.get_context("spawn")
        before = {name: os.environ.get(name) for name in _ONE_THREAD}
        os.environ.update(dict.fromkeys(_ONE_THREAD, "1"))
        self._pipes: list[Connection] = []
        self._processes = []
        self._next = 0
        try:
            for _ in range(number):
                ours, theirs = context.Pipe()
                process = context.Process(target=_serve, args=(theirs,), daemon=True)
                process.start()
                theirs.close()
                self._pipes.append(ours)
                self._processes.append(process)
        finally:
            for name, value in before.items():
                if value is None:
                    os.environ.pop(name, None)
                else:
                    os.environ[name] = value

    def scatter(self, function: Callable[[Any], Any], parts: Sequence[Any]) -> Sequence[Any]:
        """Return handles of the function of each part; parts go round the workers in turn."""
        handles = []
        for index, part in enumerate(parts):
            worker = part.worker if isinstance(part, Handle) else index % len(self._pipes)
            handles.append(Handle(worker, self._next))
            self._next += 1
        self._ask(function, parts, handles, [handle.key for handle in handles])
        return handles

    def gather(self, function: Callable[[Any], Any], parts: Sequence[Any]) -> Sequence[Any]:
        """Return the function of each part, in order."""
        handles = [
            part if isinstance(part, Handle) else Handle(index % len(self._pipes), -1)
            for index, part in enumerate(parts)
        ]
        return self._ask(function, parts, handles, [None] * len(parts))

    def release(self, handles: Sequence[Any]) -> None:
        """Forget results that are no longer needed."""
        for worker, pipe in enumerate(self._pipes):
            pipe.send(("release", [h.key for h in handles if h.worker == worker], None, None))

    def _ask(
        self,
        function: Callable[[Any], Any],
        parts: Sequence[Any],
        places: Sequence[Handle],
        keys: Sequence[int | None],
    ) -> list[Any]:
        """Send every worker its share, then read all answers."""
        answers: list[Any] = [None] * len(parts)
        shares: list[list[int]] = [[] for _ in self._pipes]
        for index, handle in enumerate(places):
            shares[handle.worker].append(index)
        try:
            for pipe, share in zip(self._pipes, shares, strict=True):
                arguments = [parts[index] for index in share]
                pipe.send(("apply", function, arguments, [keys[index] for index in share]))
            for pipe, share in zip(self._pipes, shares, strict=True):
                for index, answer in zip(share, pipe.recv(), strict=True):
                    answers[index] = answer
        except (EOFError, BrokenPipeError, ConnectionResetError):
            raise FitError("A worker process ended before the fit did.") from None
        for answer in answers:
            if isinstance(answer, BaseException):
                raise answer
        return answers

    def close(self) -> None:
        """End the processes."""
        for pipe in self._pipes:
            pipe.close()
        for process in self._processes:
            process.join(timeout=10)
            if process.is_alive():
                process.terminate()

    def __enter__(self) -> Workers:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def _serve(pipe: Connection) -> None:
    """Answer until the other end closes."""
    kept: dict[int, Any] = {}
    while True:
        try:
            order, function, parts, keys = pipe.recv()
        except (EOFError, KeyboardInterrupt):
            return
        if order == "release":
            for key in function:
                kept.pop(key, None)
            continue
        pipe.send(
            [_answer(function, part, key, kept) for part, key in zip(parts, keys, strict=True)]
        )


def _answer(
    function: Callable[[Any], Any], item: Any, key: int | None, kept: dict[int, Any]
) -> Any:
    try:
        value = function(kept[item.key] if isinstance(item, Handle) else item)
    except BpvetError as error:
        return type(error)(str(error))
    except Exception as error:
        return FitError(f"A worker failed: {type(error).__name__}: {error}")
    if key is None:
        return value
    kept[key] = value
    return None
