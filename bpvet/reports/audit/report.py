"""The report on the quality of measuring: a notebook, and the same as a page.

The notebook reads its parameters from a file beside it and uses the public library alone, so
that no value of the records ever stands in a cell. Its cells call the functions named here.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bpvet.answers.audit.audit import AuditAnswer, audit_answer
from bpvet.models.audit.audit import audit
from bpvet.records.read_options import ReadOptions
from bpvet.records.records import Records
from bpvet.reports.animal.methods import statement
from bpvet.reports.audit.findings import findings, first
from bpvet.reports.audit.sections import TOPICS, cautions, computed, sources, topics
from bpvet.reports.audit.summary import now
from bpvet.reports.clinic.parameters import ClinicParameters, parameters
from bpvet.reports.kind import Names, Outline, ReportKind
from bpvet.reports.writing import Files, Target, opened, write

__all__ = [
    "KIND",
    "OUTLINE",
    "TOPICS",
    "Written",
    "cautions",
    "computed",
    "findings",
    "first",
    "now",
    "parameters",
    "sources",
    "statement",
    "topics",
    "write_audit_report",
]


@dataclass(frozen=True)
class Written(Files):
    """A report as it was written.

    Parameters
    ----------
    notebook, page, parameters, pdf
        The files; `pdf` is None unless one was asked for.
    answer : AuditAnswer
        What the report says, as numbers and sentences.
    """

    answer: AuditAnswer


def write_audit_report(
    source_path: str | os.PathLike[str],
    out: str | os.PathLike[str],
    *,
    rule: str = "guideline",
    level: float = 0.95,
    as_of: object = None,
    reading: ReadOptions | None = None,
    force: bool = False,
    paper: str = "",
) -> Written:
    """Write the notebook of an audit, executed, and the same as one self-contained page.

    Parameters
    ----------
    source_path : str or path
        The records: a folder, or a single readings file.
    out : str or path
        Folder to write into; it is made if it is not there, and other files in it are left
        alone.
    rule, level
        As `bpvet.audit` takes them.
    as_of
        As `bpvet.read` takes it. The date is kept with the report.
    reading : ReadOptions, optional
        How the records are read.
    force : bool
        Whether to replace files that are not this report's own, or whose notebook was changed.
    paper : str
        Paper on which the page is set as a PDF too, ``a4`` or ``letter``; blank for no PDF.

    Raises
    ------
    CallError
        For an unknown option, or where a file is in the way or cannot be written.
    RecordsError
        Where a finding of the record check stops the work, or no session was taken awake.
    """
    source = opened(source_path, as_of, reading)
    asked = ClinicParameters(**source.asked, options={"rule": rule, "level": level})
    files, given = write(KIND, source, asked, Target(Path(out), force, paper))
    return Written(**vars(files), answer=given["answer"])


def _fitted(records: Records, asked: ClinicParameters) -> dict[str, Any]:
    quality = audit(records, **asked.options)
    return {"records": records, "quality": quality, "answer": audit_answer(quality)}


def _names(*_: object) -> Names:
    return Names("audit", OUTLINE.title)


OUTLINE = Outline(
    title="The quality of measuring",
    imports="""import bpvet
from bpvet.answers.audit.audit import audit_answer
from bpvet.reports.audit import report""",
    work="""records = bpvet.read(asked.records, **asked.read)
quality = bpvet.audit(records, **asked.options)
answer = audit_answer(quality)""",
    now="now(answer)",
    sections={
        "What to change first": ("first(answer)",),
        "All in one table": ("findings(answer)",),
        "More of each": ("topics(answer)",),
        "Cautions": ("cautions(answer)",),
        "How it was computed, and sources": ("computed(answer)", "sources(answer)"),
    },
    go_on="""\
`quality.to_frame()` is the scatter of readings by method, operator, site and demeanour,
`quality.operators` the operators, `bpvet.situation(records, "home")` the situational effect by
animal, `bpvet.sessions(records)` the sessions as a data frame, `answer.to_dict()` every number.""",
    shown=(
        "quality",
        "from bpvet.reports.framing import framed\n\nframed(quality.to_frame())",
    ),
)
KIND = ReportKind("audit", OUTLINE, _fitted, _names)
