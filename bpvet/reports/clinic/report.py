"""A clinic's report: a notebook that a researcher can go on from, and the same as a page.

The notebook reads its parameters from a file beside it and uses the public library alone, so
that no value of the records ever stands in a cell. Its cells call the functions named here.
"""

from __future__ import annotations

from typing import Any

from bpvet.answers.clinic.cohort import CohortAnswer, checked_level, cohort_answer
from bpvet.models.clinic.cohort import clinic_cohort
from bpvet.records.records import Records
from bpvet.reports.cautions import cautions, statement
from bpvet.reports.clinic.parameters import Parameters, parameters
from bpvet.reports.clinic.sections import (
    animals,
    caterpillar,
    computed,
    entry,
    fit,
    flow,
    grid,
    now,
    over_time,
    panels,
    residuals,
    scatter,
    sentences,
    variance,
)
from bpvet.reports.kind import Names, Outline, ReportKind
from bpvet.wording.en.pages.cohort.head import cohort_title
from bpvet.wording.en.pages.outlines import COHORT_WORDS

__all__ = [
    "KIND",
    "OUTLINE",
    "Parameters",
    "animals",
    "caterpillar",
    "cautions",
    "computed",
    "entry",
    "fit",
    "flow",
    "grid",
    "now",
    "over_time",
    "panels",
    "parameters",
    "residuals",
    "scatter",
    "sentences",
    "statement",
    "variance",
]


def _fitted(records: Records, spec: Parameters) -> dict[str, Any]:
    checked_level(spec.level)
    study = clinic_cohort(records, **spec.cohort)
    return {"records": records, "study": study, "answer": cohort_answer(study, spec.level)}


def _names(_: Records, spec: Parameters, __: object) -> Names:
    words = ("cohort", spec.quantity, *(["pseudonyms"] if spec.pseudonyms else []))
    stem = "-".join(word.replace("_", "-") for word in words if word != "systolic")
    return Names(stem, cohort_title(spec.quantity))


_HEADS = COHORT_WORDS.heads
OUTLINE = Outline(
    title=COHORT_WORDS.title,
    imports="""import bpvet
from bpvet.reports.clinic import report""",
    work="""records = bpvet.read(asked.records, **asked.read)
study = bpvet.clinic_cohort(records, **asked.cohort)
answer = bpvet.cohort_answer(study, asked.level)""",
    now="now(answer)",
    sections={
        _HEADS["panels"]: ("panels(answer)",),
        _HEADS["sentences"]: ("sentences(answer)",),
        _HEADS["flow"]: ("flow(answer)",),
        _HEADS["entry"]: ("entry(answer)",),
        _HEADS["over_time"]: ("over_time(answer)",),
        _HEADS["fit"]: ("fit(answer)",),
        _HEADS["grid"]: ("grid(answer)",),
        _HEADS["scatter"]: ("scatter(answer)", "variance(answer)"),
        _HEADS["animals"]: ("caterpillar(answer)", "animals(answer)"),
        _HEADS["residuals"]: ("residuals(answer)",),
        _HEADS["computed"]: ("computed(answer)",),
        _HEADS["cautions"]: ("cautions(answer)",),
    },
    go_on=COHORT_WORDS.go_on,
    shown=("study.cohort",),
)

KIND: ReportKind[Parameters, CohortAnswer] = ReportKind("cohort", OUTLINE, _fitted, _names)
