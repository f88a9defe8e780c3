"""The report on two methods against each other: a notebook, and the same as a page.

The notebook reads its parameters from a file beside it and uses the public library alone, so
that no value of the records ever stands in a cell. Its cells call the functions named here.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

from bpvet.answers.agreement.agreement import AgreementAnswer, agreement_answer
from bpvet.facts.words import QUANTITY_WORDS
from bpvet.frozen import dataclass
from bpvet.models.agreement.agreement import agreement
from bpvet.records.records import Records
from bpvet.reports.agreement.sections import (
    animals,
    answers,
    computed,
    criteria,
    figure,
    now,
    numbers,
    offset,
    sources,
)
from bpvet.reports.cautions import cautions, statement
from bpvet.reports.kind import Names, Outline, ReportKind
from bpvet.reports.spec import Options, Value
from bpvet.wording.en.pages.outlines import AGREEMENT_WORDS

__all__ = [
    "KIND",
    "OUTLINE",
    "Parameters",
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
]


@dataclass(frozen=True, kw_only=True)
class Parameters(Options):
    """What a report on two methods is asked for: the named arguments of `bpvet.agreement`."""

    DEFAULTS: ClassVar[Mapping[str, Value]] = {
        "quantity": "systolic",
        "condition": None,
        "rule": "guideline",
        "linked": False,
        "reference": None,
        "level": 0.95,
    }


#: Reads the parameters in a file, as such a report wrote it.
parameters = Parameters.from_file


def _fitted(records: Records, spec: Parameters) -> dict[str, Any]:
    agree = agreement(records, **spec.options)
    return {"records": records, "agree": agree, "answer": agreement_answer(agree)}


def _names(_: Records, spec: Parameters, given: Mapping[str, Any]) -> Names:
    data = given["agree"].data
    stem = "agreement" if data.quantity == "systolic" else f"agreement-{data.quantity}"
    title = f"{data.labels[1]} against {data.labels[0]}: {QUANTITY_WORDS[data.quantity]}"
    return Names(stem.replace("_", "-"), title)


_HEADS = AGREEMENT_WORDS.heads
OUTLINE = Outline(
    title=AGREEMENT_WORDS.title,
    imports="""import bpvet
from bpvet.answers.agreement.agreement import agreement_answer
from bpvet.reports.agreement import report""",
    work="""records = bpvet.read(asked.records, **asked.read)
agree = bpvet.agreement(records, **asked.options)
answer = agreement_answer(agree)""",
    now="now(answer, records)",
    sections={
        _HEADS["figure"]: ("figure(answer)",),
        _HEADS["answers"]: ("answers(answer)",),
        _HEADS["numbers"]: ("numbers(answer)",),
        _HEADS["animals"]: ("animals(answer)",),
        _HEADS["criteria"]: ("criteria(answer)",),
        _HEADS["offset"]: ("offset(answer)",),
        _HEADS["computed"]: ("computed(answer)",),
        _HEADS["cautions"]: ("cautions(answer)",),
        _HEADS["sources"]: ("sources(answer)",),
    },
    go_on=AGREEMENT_WORDS.go_on,
    shown=("agree", "from bpvet.reports.framing import framed\n\nframed(agree.to_frame())"),
)

KIND: ReportKind[Parameters, AgreementAnswer] = ReportKind("agreement", OUTLINE, _fitted, _names)
