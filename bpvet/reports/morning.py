"""A morning's pages: a report of each animal on the clinic's list, in several processes.

Then the list itself, whose rows lead to them. A report that cannot be written takes no other with
it: which one, and why, is told.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from bpvet.answers.due.due import Due, due
from bpvet.answers.sheet.sheet import sheets
from bpvet.errors import BpvetError, CallError
from bpvet.facts.priors.priors import Priors
from bpvet.facts.priors.table import PriorTable
from bpvet.records.outputs import Inputs, inputs_of
from bpvet.records.read import read
from bpvet.records.read_options import ReadOptions
from bpvet.records.records import Records
from bpvet.reports.animal.parameters import Parameters
from bpvet.reports.animal.report import fitted, plan_of
from bpvet.reports.due import write_due
from bpvet.reports.writing import write

#: Bands whose animals are to be seen, or rung up.
_WANTED = ("now", "two_days", "overdue", "due", "checks", "lost")


@dataclass(frozen=True)
class Shared:
    """What the reports of a morning share.

    Parameters
    ----------
    source_path, out : str
    asked : Parameters
        Of any animal.
    force : bool
    paper : str
    also_read : tuple of path
    """

    source_path: str
    out: str
    asked: Parameters
    force: bool
    paper: str
    also_read: tuple[str | os.PathLike[str] | None, ...]


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
    source_path: str | os.PathLike[str],
    out: str | os.PathLike[str],
    *,
    days: int | None = None,
    processes: int | None = None,
    rule: str = "guideline",
    guideline: str = "acvim2018",
    edition: str = "iris2019",
    level: float = 0.95,
    as_of: object = None,
    reading: ReadOptions | None = None,
    priors: Priors | PriorTable | None = None,
    force: bool = False,
    paper: str = "",
    also_read: Sequence[str | os.PathLike[str] | None] = (),
) -> Morning:
    """Write the clinic's list and a report of each animal on it that has a trend.

    Parameters
    ----------
    source_path, rule, guideline, edition, level, as_of, reading, priors, force, paper, also_read
        As `bpvet.reports.animal.report.write_report` takes them.
    out : str or path
        Folder to write into.
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
    reading = reading or ReadOptions()
    inputs = inputs_of(source_path, reading.columns, also_read)
    records = read(source_path, as_of=as_of, **reading.to_plain()).require_usable()
    found = due(records, guideline, days=days, rule=rule, priors=priors)
    wanted = [
        one.animal
        for one in found.rows
        if one.band in _WANTED and one.last is not None and one.last.estimate is not None
    ]
    shared = Shared(
        source_path=os.fspath(source_path),
        out=os.fspath(out),
        asked=Parameters(
            records=os.fspath(source_path),
            animal="",
            method=None,
            quantity="systolic",
            condition=None,
            bridge=(),
            rule=rule,
            guideline=guideline,
            edition=edition,
            level=level,
            # All speak for one date, also where midnight passes meanwhile.
            as_of=str(records.as_of),
            reading=reading,
            priors=priors,
        ),
        force=force,
        paper=paper,
        also_read=tuple(also_read),
    )
    many = min(processes or _processors(), max(len(wanted), 1))
    # The list is refused before any report is made, and written once all pages are there.
    written = write_due(found, Path(out), inputs, force, sheets(records, found))
    reports = _run(shared, wanted, many, (records, inputs))
    if any(one.page is not None for one in reports):
        written = write_due(found, Path(out), inputs, force)
    return Morning(written[0], reports, found)


def _processors() -> int:
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not every system tells which of them may be used
        return os.cpu_count() or 1


def _run(
    shared: Shared, animals: Sequence[str], processes: int, opened: tuple[Records, Inputs]
) -> tuple[OneReport, ...]:
    """Return the reports in the order of the animals, each process a share of them."""
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    # Every so many-th: those that are dear do not stand together. The first share is this
    # process's own, which has all loaded and read.
    first, *others = (animals[i::processes] for i in range(processes))
    if not others:
        return tuple(_share(shared, first, *opened))
    pool = ProcessPoolExecutor(len(others), mp_context=get_context("spawn"))
    try:
        parts = [pool.submit(_read_share, shared, share) for share in others]
        made = {one.animal: one for one in _share(shared, first, *opened)}
        made |= {one.animal: one for part in parts for one in part.result()}
    finally:
        pool.shutdown(cancel_futures=True)
    return tuple(made[animal] for animal in animals)


def _read_share(shared: Shared, animals: Sequence[str]) -> list[OneReport]:
    """Read the records in a process of its own, once for all, and write a share of the reports."""
    asked = shared.asked
    records = read(shared.source_path, as_of=asked.as_of, **asked.reading.to_plain())
    inputs = inputs_of(shared.source_path, asked.reading.columns, shared.also_read)
    return _share(shared, animals, records, inputs)


def _share(
    shared: Shared, animals: Sequence[str], records: Records, inputs: Inputs
) -> list[OneReport]:
    return [_one(shared, animal, records, inputs) for animal in animals]


def _one(shared: Shared, animal: str, records: Records, inputs: Inputs) -> OneReport:
    asked = replace(shared.asked, animal=animal)
    place, force, paper = Path(shared.out), shared.force, shared.paper
    try:
        plan, given = plan_of(records, asked), fitted(records, asked)
        written = write(plan, place, asked, records.digest, inputs, force, paper, given)
    except BpvetError as error:
        return OneReport(animal, None, str(error))
    return OneReport(animal, written.page, "")
