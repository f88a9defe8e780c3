"""A morning's pages: a report of each animal on the clinic's list, in several processes.

Then the list itself, whose rows lead to them. A report that cannot be written takes no other with
it: which one, and why, is told.
"""

from __future__ import annotations

import os
from pathlib import Path

from bpvet.answers.due.due import Due, due
from bpvet.answers.sheet.sheet import sheets
from bpvet.errors import BpvetError, CallError
from bpvet.frozen import dataclass, replace
from bpvet.reports.animal.parameters import Parameters
from bpvet.reports.animal.report import KIND
from bpvet.reports.due import write_due
from bpvet.reports.way import Way
from bpvet.reports.workers import made
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
    # The list is refused before any report is made, and written once all pages are there.
    written = write_due(found, folder, source.inputs, way.force, sheets(records, found))
    reports = tuple(made(Maker(shared, source), wanted, processes or _processors()))
    if any(report.page is not None for report in reports):
        written = write_due(found, folder, source.inputs, way.force)
    return Morning(written[0], reports, found)


def _processors() -> int:
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not every system tells which of them may be used
        return os.cpu_count() or 1


class Maker:
    """Makes one report after another; in another process it reads the records anew.

    Parameters
    ----------
    shared : Shared
    source : Source, optional
        The records, read; it is not pickled.
    """

    def __init__(self, shared: Shared, source: Source | None = None) -> None:
        self._shared, self._source = shared, source

    def __reduce__(self) -> tuple[type[Maker], tuple[Shared]]:
        return Maker, (self._shared,)

    def __call__(self, animal: str) -> OneReport:
        """Write an animal's report, or return why there is none."""
        shared = self._shared
        if self._source is None:
            # The date that the others speak for, also where midnight passes meanwhile.
            way = replace(shared.way, as_of=shared.spec.as_of)
            self._source = opened(shared.spec.records, way)
        try:
            spec = replace(shared.spec, animal=animal)
            written = write(KIND, self._source, spec, shared.folder, shared.way)
        except BpvetError as error:
            return OneReport(animal, None, str(error))
        return OneReport(animal, written.page, "")
