"""The report on two methods against each other: a notebook, and the same as a page.

The notebook reads its parameters from a file beside it and uses the public library alone, so
that no value of the records ever stands in a cell. Its cells call the functions named here.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bpvet.answers.agreement.agreement import AgreementAnswer, agreement_answer
from bpvet.facts.words import QUANTITY_WORDS
from bpvet.models.agreement.agreement import agreement
from bpvet.pictures.agreement import agreement_picture
from bpvet.records.read_options import ReadOptions
from bpvet.records.records import Records
from bpvet.reports.agreement.summary import now
from bpvet.reports.agreement.tables import (
    animals,
    cautions,
    computed,
    criteria,
    numbers,
    offset,
    sources,
)
from bpvet.reports.animal.methods import statement
from bpvet.reports.clinic.parameters import ClinicParameters, parameters
from bpvet.reports.clinic.parts import pictured, said
from bpvet.reports.kind import Names, Outline, ReportKind
from bpvet.reports.markup import Shown
from bpvet.reports.writing import Files, Target, opened, write

__all__ = [
    "KIND",
    "OUTLINE",
    "Written",
    "animals",
    "answers",
    "cautions",
    "computed",
    "criteria",
    "figure",
    "now",
    "numbers",
    "offset",
    "parameters",
    "sources",
    "statement",
    "write_agreement_report",
]


@dataclass(frozen=True)
class Written(Files):
    """A report as it was written.

    Parameters
    ----------
    notebook, page, parameters, pdf
        The files; `pdf` is None unless one was asked for.
    answer : AgreementAnswer
        What the report says, as numbers and sentences.
    """

    answer: AgreementAnswer


def write_agreement_report(
    source_path: str | os.PathLike[str],
    out: str | os.PathLike[str],
    *,
    quantity: str = "systolic",
    condition: str | None = None,
    rule: str = "guideline",
    linked: bool = False,
    reference: str | None = None,
    level: float = 0.95,
    as_of: object = None,
    reading: ReadOptions | None = None,
    force: bool = False,
    paper: str = "",
) -> Written:
    """Write the notebook of two methods, executed, and the same as one self-contained page.

    Parameters
    ----------
    source_path : str or path
        The records: a folder, or a single readings file.
    out : str or path
        Folder to write into; it is made if it is not there, and other files in it are left
        alone.
    quantity, condition, rule, linked, reference, level
        As `bpvet.agreement` takes them.
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
        Where a finding of the record check stops the work, or fewer than two animals were
        measured by both methods at one visit.
    FitError
        Where the variance components could not be fitted.
    """
    source = opened(source_path, as_of, reading)
    options = {
        "quantity": quantity,
        "condition": condition,
        "rule": rule,
        "linked": linked,
        "reference": reference,
        "level": level,
    }
    asked = ClinicParameters(**source.asked, options=options)
    files, given = write(KIND, source, asked, Target(Path(out), force, paper))
    return Written(**vars(files), answer=given["answer"])


def _fitted(records: Records, asked: ClinicParameters) -> dict[str, Any]:
    agree = agreement(records, **asked.options)
    return {"records": records, "agree": agree, "answer": agreement_answer(agree)}


def _names(_: Records, asked: ClinicParameters, given: Mapping[str, Any]) -> Names:
    data = given["agree"].data
    stem = "agreement" if data.quantity == "systolic" else f"agreement-{data.quantity}"
    title = f"{data.labels[1]} against {data.labels[0]}: {QUANTITY_WORDS[data.quantity]}"
    return Names(stem.replace("_", "-"), title)


OUTLINE = Outline(
    title="Two methods against each other",
    imports="""import bpvet
from bpvet.answers.agreement.agreement import agreement_answer
from bpvet.reports.agreement import report""",
    work="""records = bpvet.read(asked.records, **asked.read)
agree = bpvet.agreement(records, **asked.options)
answer = agreement_answer(agree)""",
    now="now(answer, records)",
    sections={
        "The figure": ("figure(answer)",),
        "The answers": ("answers(answer)",),
        "The numbers": ("numbers(answer)",),
        "The animals": ("animals(answer)",),
        "The guideline's criteria for devices": ("criteria(answer)",),
        "For a trend that joins both methods": ("offset(answer)",),
        "How it was computed, and what it assumes": ("computed(answer)",),
        "Cautions": ("cautions(answer)",),
        "Sources": ("sources(answer)",),
    },
    go_on="""\
`agree.limits(readings=5)` are the limits for means of five readings, `agree.deming("estimated")`
Deming's line with the errors' ratio taken from the readings, `agree.plot()` the figure,
`agree.offset.prior()` what `Priors(method_offset=…)` takes, `agree.to_dict()` every number.""",
    shown=("agree", "from bpvet.reports.framing import framed\n\nframed(agree.to_frame())"),
)

KIND = ReportKind("agreement", OUTLINE, _fitted, _names)


def figure(answer: AgreementAnswer) -> Shown:
    """Return the figure: differences against means, and one method against the other."""
    return pictured(agreement_picture(answer.agreement), "")


def answers(answer: AgreementAnswer) -> Shown:
    """Return what the numbers say, in sentences."""
    return said(answer.sections["answers"])
