"""The trends of more animals than one machine's memory takes, part by part."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from secrets import token_hex
from typing import Any

import pandas as pd

from bpvet.errors import CallError
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
    file: Path | None


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
    ``bpvet check`` before.

    Parameters
    ----------
    parts : path, or sequence of paths
        Folders of records, or files: each what `bpvet.read` takes. Of one path the folders in it
        are the parts. Every worker must be able to read them.
    output : path, optional
        A folder that is not there yet: one Parquet file a part is written into it, and it is put
        in place whole when all parts are done. Every worker must be able to write beside it.
    executor : int or Executor, optional
        So many processes of this machine, or `bpvet.mixed.executors.OnCluster` of a Dask client;
        left out, the parts are worked on here in turn. A part whose worker is killed is worked on
        again; nothing else changes.
    as_of : date, optional
        The date to speak for; today by default, one for all parts.
    reading : mapping, optional
        How the parts are read: keywords of `bpvet.read` but for `as_of`.
    level : float
        Probability that the intervals hold.
    **fitting
        ``quantities``, ``methods``, ``conditions``, ``rule``, ``bridge``, ``priors`` and ``fixed``
        of `bpvet.fit_trends`.

    Returns
    -------
    list of DataFrame, or list of Path
        Of each part, in their order, what `Trends.to_frame` gives; with `output` the files that
        hold it.

    Raises
    ------
    CallError
        An animal is in two parts, which it names; `output` is there; an argument is not known.
    RecordsError, FitError
        As `bpvet.read` and `bpvet.fit_trends` raise them; the message names the part.

    Examples
    --------
    >>> import bpvet, tempfile
    >>> from pathlib import Path
    >>> home = Path(tempfile.mkdtemp())
    >>> for part, animal in (("north", "A17"), ("south", "B2")):
    ...     (home / part).mkdir()
    ...     text = f"animal,taken_at,method,systolic\\n{animal},2026-03-11,doppler,158\\n"
    ...     _ = (home / part / "readings.csv").write_text(text)
    ...     _ = (home / part / "animals.csv").write_text(f"animal,species\\n{animal},cat\\n")
    >>> north, south = bpvet.fit_trends_in_parts(home, as_of="2026-04-01")
    >>> south[["animal", "sessions", "unit"]]
      animal  sessions  unit
    0     B2         1  mmHg
    """
    if unknown := sorted(set(fitting) - set(_FITTING)):
        raise CallError(f"{unknown[0]} is none of {', '.join(_FITTING)}.")
    paths, how = paths_of(parts), Reading.by(as_of, reading)
    # What can be gone through once would be empty for the second part.
    kept = {name: _kept(value) for name, value in fitting.items()}
    if output is None:
        done = gathered(_fit, [_Job(path, how, kept, level, None) for path in paths], executor)
        refuse_shared(paths, [codes for _, codes in done], how, executor)
        return [frame for frame, _ in done if frame is not None]
    target = Path(output)
    names = [f"trends-{i:06d}.parquet" for i in range(len(paths))]
    read = [*paths, parts] if isinstance(parts, (str, os.PathLike)) else paths
    with _put_in_place(target, read) as folder:
        jobs = [
            _Job(path, how, kept, level, folder / name)
            for path, name in zip(paths, names, strict=True)
        ]
        done = gathered(_fit, jobs, executor)
        refuse_shared(paths, [codes for _, codes in done], how, executor)
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
