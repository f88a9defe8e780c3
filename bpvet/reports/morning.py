"""A morning's pages: a report of each animal on the clinic's list, in several processes.

Then the list itself, whose rows lead to them. A report that cannot be written takes no other with
it: which one, and why, is told.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from bpvet.answers.due.due import Due, due
from bpvet.answers.sheet.sheet import sheets
from bpvet.errors import BpvetError, CallError
from bpvet.frozen import dataclass, replace
from bpvet.reports.animal.parameters import Parameters
from bpvet.reports.animal.report import KIND
from bpvet.reports.due import write_due
from bpvet.reports.way import Way
from bpvet.reports.writing import Source, opened, write

#: Bands whose animals are to be seen, or rung up.
_WANTED = ("now", "two_days", "overdue", "due", "checks", "lost")


@dataclass(frozen=True)
class Shared:
    """What the reports of a morning share.

    Parameters
    ----------
    spec : Parameters
        Of any animal.
    folder : Path
    way : Way
    """

    spec: Parameters
    folder: Path
    way: Way


@dataclass(frozen=True)
class OneReport:
    """A report of the morning: its page, or why there is none.

    Parameters
    ----------
    animal : str
    page : Path or None
    error : str
        Blank where it was written.
    """

    animal: str
    page: Path | None
    error: str


@dataclass(frozen=True)
class Morning:
    """A morning's pages.

    Parameters
    ----------
    list : Path
        The list, which leads to the others.
    reports : tuple of OneReport
        In the order of the list.
    due : Due
    """

    list: Path
    reports: tuple[OneReport, ...]
    due: Due


def write_morning(
    path: str | os.PathLike[str],
    out: str | os.PathLike[str],
    spec: Parameters,
    way: Way | None = None,
    *,
    days: int | None = None,
    processes: int | None = None,
) -> Morning:
    """Write the clinic's list and a report of each animal on it that has a trend.

    Parameters
    ----------
    path, way
        As `bpvet.reports.writing.write_report` takes them.
    out : str or path
        Folder to write into.
    spec : Parameters
        The choices of every report; whose each is comes from the list.
    days : int, optional
        As `bpvet.due` takes it.
    processes : int, optional
        How many reports are made at once; by default one a processor.

    Raises
    ------
    CallError
        For a wrong call, or where the list cannot be written.
    RecordsError
        Where a finding of the record check stops the work.
    """
    if processes is not None and processes < 1:
        raise CallError(f"processes must be 1 or more, not {processes}.")
    way, folder = way or Way(), Path(out)
    source = opened(path, way)
    records = source.records
    found = due(records, spec.guideline, days=days, rule=spec.rule, priors=spec.priors)
    wanted = [
        row.animal
        for row in found.rows
        if row.band in _WANTED and row.last is not None and row.last.estimate is not None
    ]
    shared = Shared(replace(spec, **source.spec_fields), folder, way)
    many = min(processes or _processors(), max(len(wanted), 1))
    # The list is refused before any report is made, and written once all pages are there.
    written = write_due(found, folder, source.inputs, way.force, sheets(records, found))
    reports = _run(shared, wanted, many, source)
    if any(report.page is not None for report in reports):
        written = write_due(found, folder, source.inputs, way.force)
    return Morning(written[0], reports, found)


def _processors() -> int:
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not every system tells which of them may be used
        return os.cpu_count() or 1


def _run(
    shared: Shared, animals: Sequence[str], processes: int, source: Source
) -> tuple[OneReport, ...]:
    """Return the reports in the order of the animals, each process a share of them."""
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    # Every so many-th: those that are dear do not stand together. The first share is this
    # process's own, which has all loaded and read.
    first, *others = (animals[i::processes] for i in range(processes))
    if not others:
        return tuple(_share(shared, first, source))
    with _safe_path():
        pool = ProcessPoolExecutor(len(others), mp_context=get_context("spawn"))
        parts = [pool.submit(_share, shared, share) for share in others]
    try:
        made = {report.animal: report for report in _share(shared, first, source)}
        made |= {report.animal: report for future in parts for report in future.result()}
    finally:
        pool.shutdown(cancel_futures=True)
    return tuple(made[animal] for animal in animals)


@contextmanager
def _safe_path() -> Iterator[None]:
    """Let processes that are started meanwhile take no module from the current folder."""
    before = os.environ.get("PYTHONSAFEPATH")
    os.environ["PYTHONSAFEPATH"] = "1"
    try:
        yield
    finally:
        if before is None:
            del os.environ["PYTHONSAFEPATH"]
        else:
            os.environ["PYTHONSAFEPATH"] = before


def _share(shared: Shared, animals: Sequence[str], source: Source | None = None) -> list[OneReport]:
    """Write the reports of some animals; in a process of its own it reads the records first."""
    if source is None:
        spec = shared.spec
        # The date that the others speak for, also where midnight passes meanwhile.
        source = opened(spec.records, replace(shared.way, as_of=spec.as_of))
    return [_report(shared, animal, source) for animal in animals]


def _report(shared: Shared, animal: str, source: Source) -> OneReport:
    try:
        spec = replace(shared.spec, animal=animal)
        written = write(KIND, source, spec, shared.folder, shared.way)
    except BpvetError as error:
        return OneReport(animal, None, str(error))
    return OneReport(animal, written.page, "")
