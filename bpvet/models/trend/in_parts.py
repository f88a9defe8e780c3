"""The trends of more animals than one machine's memory takes, part by part."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path
from secrets import token_hex
from typing import Any

import pandas as pd

from bpvet.errors import CallError
from bpvet.frozen import dataclass, replace
from bpvet.models.records_in_parts import (
    Codes,
    Executor,
    Paths,
    Reading,
    animal_codes,
    gathered,
    naming,
    paths_of,
    refuse_shared,
)
from bpvet.models.trend.trends import fit_trends

#: What of `fit_trends` holds for every part alike.
_FITTING = ("quantities", "methods", "conditions", "rule", "bridge", "priors", "fixed")


@dataclass(frozen=True)
class _Job:
    """A part, how it is read and fitted, and the file that its frame goes into, if any."""

    path: str
    reading: Reading
    fitting: Mapping[str, Any]
    level: float
    file: Path | None = None


def fit_trends_in_parts(
    parts: Paths,
    *,
    output: str | os.PathLike[str] | None = None,
    executor: Executor | int | None = None,
    as_of: Any = None,
    reading: Mapping[str, Any] | None = None,
    level: float = 0.95,
    **fitting: Any,
) -> list[pd.DataFrame] | list[Path]:
    """Fit the trend of every series of every animal, part by part: the digits of `fit_trends`.

    A process holds the records and trends of one part at a time. All records of an animal must
    lie in one part. Findings that stop no work are not told here: look at the parts with
    ``bpvet check`` before. A part whose worker is killed is worked on again.

    Parameters
    ----------
    parts : path, or sequence of paths
        What `bpvet.read` takes, each; of one path its folders. Every worker must read them.
    output : path, optional
        A new folder, for one Parquet file a part; put in place whole when all are done. Every
        worker must be able to write beside it.
    executor : int or Executor, optional
        So many processes of this machine, or `bpvet.mixed.executors.OnCluster` of a Dask client.
    as_of, reading
        One date for all parts, by default today, and how they are read: keywords of `bpvet.read`.
    level : float
        Probability that the intervals hold.
    **fitting
        As `bpvet.fit_trends` takes them, but for ``as_of``, ``processes`` and ``progress``.

    Returns
    -------
    list of DataFrame, or list of Path
        Of each part, in order, what `Trends.to_frame` gives; with `output` files that hold it.

    Raises
    ------
    CallError
        An animal is in two parts, which it names; `output` is there; an argument is not known.
    RecordsError, FitError
        As `bpvet.read` and `bpvet.fit_trends` raise them; the message names the part.

    Examples
    --------
    >>> import bpvet, tempfile
    >>> from bpvet.records.example import write_example
    >>> names = write_example(home := tempfile.mkdtemp())
    >>> [frame] = bpvet.fit_trends_in_parts([home], as_of="2026-11-01", methods=["doppler"])
    >>> "A17" in set(frame["animal"])
    True
    """
    if unknown := sorted(set(fitting) - set(_FITTING)):
        raise CallError(f"{unknown[0]} is none of {', '.join(_FITTING)}.")
    # What can be gone through once would be empty for the second part.
    kept = {name: _kept(value) for name, value in fitting.items()}
    jobs = [_Job(path, Reading.by(as_of, reading), kept, level) for path in paths_of(parts)]
    return _done(jobs, executor) if output is None else _files(jobs, executor, parts, Path(output))


def _done(jobs: Sequence[_Job], executor: Executor | int | None) -> list[pd.DataFrame]:
    """Work on all parts, and return the frames of those that were not written."""
    done = gathered(_fit, jobs, executor)
    paths, codes = [job.path for job in jobs], [found for _, found in done]
    refuse_shared(paths, codes, jobs[0].reading, executor)
    return [frame for frame, _ in done if frame is not None]


def _files(
    jobs: Sequence[_Job], executor: Executor | int | None, parts: Paths, target: Path
) -> list[Path]:
    """Work on all parts, each into its file of a new folder, and return the files."""
    names = [f"trends-{i:06d}.parquet" for i in range(len(jobs))]
    read = [*(job.path for job in jobs), *([parts] if isinstance(parts, str | os.PathLike) else [])]
    with _put_in_place(target, read) as folder:
        _done(
            [replace(job, file=folder / name) for job, name in zip(jobs, names, strict=True)],
            executor,
        )
        # What a killed worker had begun.
        for stray in set(os.listdir(folder)) - set(names):
            (folder / stray).unlink()
    return [target / name for name in names]


def _kept(value: Any) -> Any:
    return tuple(value) if isinstance(value, Iterator) else value


def _fit(job: _Job) -> tuple[pd.DataFrame | None, Codes]:
    """Return the trends of a part as a frame, unless it was written, and the animals' codes."""
    with naming(job.path):
        records = job.reading.of(job.path)
        frame = fit_trends(records, progress=False, **job.fitting).to_frame(job.level)
    if job.file is None:
        return frame, animal_codes(records)
    content = BytesIO()
    frame.to_parquet(content, index=False)
    # Whole or not at all: a part may be begun again while a worker given up for lost still writes.
    begun = job.file.with_name(f"{job.file.name}.{token_hex(4)}")
    with _writing(job.file):
        begun.write_bytes(content.getvalue())
        os.replace(begun, job.file)
    return None, animal_codes(records)


@contextmanager
def _writing(target: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise CallError(f'"{target}" cannot be written: {error.strerror}.') from None


@contextmanager
def _put_in_place(target: Path, read: Sequence[str | os.PathLike[str]]) -> Iterator[Path]:
    """Give a new folder beside a place; put it there at the end, or take it away after an error."""
    if target.exists():
        raise CallError(f'"{target}" is there already: name a folder that is not.')
    if {Path(path).resolve() for path in read} & set(target.resolve().parents):
        raise CallError(f'"{target}" lies among the parts, and results are no records.')
    folder = target.with_name(f".{target.name}-{token_hex(4)}")
    with _writing(target):
        folder.mkdir()
    try:
        yield folder
        with _writing(target):
            folder.rename(target)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
