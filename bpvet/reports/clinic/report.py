"""A clinic's report: a notebook that a researcher can go on from, and the same as a page.

The notebook reads its parameters from a file beside it and uses the public library alone, so
that no value of the records ever stands in a cell. Its cells call the functions named here.
"""

from __future__ import annotations

from functools import partial
from typing import Any

from bpvet.answers.clinic.cohort import CohortAnswer, checked_level, cohort_answer
from bpvet.facts.words import QUANTITY_WORDS
from bpvet.figures.clinic.panels_picture import CohortPicture
from bpvet.figures.save import svg_bytes
from bpvet.models.clinic.cohort import clinic_cohort
from bpvet.pictures import clinic as cohort_pictures
from bpvet.pictures import clinic_panels as cohort_panels
from bpvet.records.records import Records
from bpvet.reports.animal.methods import statement
from bpvet.reports.clinic.over_time import over_time
from bpvet.reports.clinic.parameters import Parameters, parameters
from bpvet.reports.clinic.summary import cautions, now, sentences
from bpvet.reports.clinic.tables import animals, computed, entry, fit, flow, grid, variance
from bpvet.reports.kind import Names, Outline, ReportKind
from bpvet.reports.markup import Shown, lines
from bpvet.reports.picture import drawn
from bpvet.wording.en.phrases import capital

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


def _fitted(records: Records, asked: Parameters) -> dict[str, Any]:
    checked_level(asked.level)
    study = clinic_cohort(records, **asked.cohort)
    return {"records": records, "study": study, "answer": cohort_answer(study, asked.level)}


def _names(_: Records, asked: Parameters, __: object) -> Names:
    parts = ("cohort", asked.quantity, *(["pseudonyms"] if asked.pseudonyms else []))
    stem = "-".join(part.replace("_", "-") for part in parts if part != "systolic")
    title = f"{capital(QUANTITY_WORDS[asked.quantity])} of a clinic's animals over months"
    return Names(stem, title)


OUTLINE = Outline(
    title="A clinic's animals over months",
    imports="""import bpvet
from bpvet.reports.clinic import report""",
    work="""records = bpvet.read(asked.records, **asked.read)
study = bpvet.clinic_cohort(records, **asked.cohort)
answer = bpvet.cohort_answer(study, asked.level)""",
    now="now(answer)",
    sections={
        "Every animal through time": ("panels(answer)",),
        "What the numbers say": ("sentences(answer)",),
        "Who was counted, and who not": ("flow(answer)",),
        "The animals at entry": ("entry(answer)",),
        "Over time on treatment": ("over_time(answer)",),
        "The fit": ("fit(answer)",),
        "How the estimates move with the choices": ("grid(answer)",),
        "What readings scatter by": ("scatter(answer)", "variance(answer)"),
        "The animals beside each other": ("caterpillar(answer)", "animals(answer)"),
        "Do the assumptions hold?": ("residuals(answer)",),
        "How it was computed": ("computed(answer)",),
        "Cautions": ("cautions(answer)",),
    },
    go_on="""\
`study.cohort` is the fitted model: `study.cohort.fixed`, `.variance`, `.profile()`, `.animals`,
`.predict(frame)`, `.compare(other)`, `.to_csv(path)`, `.to_latex()`. `study.counted` are the
sessions that it counts, as a data frame; `bpvet.fit_cohort` fits another model to them, and
`answer.to_dict()` is every number of the page.""",
    shown=("study.cohort",),
)

KIND: ReportKind[Parameters, CohortAnswer] = ReportKind("cohort", OUTLINE, _fitted, _names)


def panels(answer: CohortAnswer) -> Shown:
    """Return the animals through time, a small panel each, and all of them in one."""
    shown = [_figure(one) for one in cohort_panels.panels(answer.study, answer.level)]
    return Shown("".join(one.html for one in shown), lines(*(one.text for one in shown)))


def residuals(answer: CohortAnswer) -> Shown:
    """Return the figure of the residuals."""
    return _figure(cohort_pictures.residuals(answer.study))


def caterpillar(answer: CohortAnswer) -> Shown:
    """Return the figure of the animals beside each other."""
    return _figure(cohort_pictures.caterpillar(answer.study, answer.level))


def scatter(answer: CohortAnswer) -> Shown:
    """Return the figure of the SDs between animals, visits and readings."""
    return _figure(cohort_pictures.scatter(answer.study, answer.components, answer.level))


def _figure(picture: CohortPicture) -> Shown:
    return drawn(partial(svg_bytes, picture), picture.alt_text, picture.caption)
