"""One animal's report: a notebook that a researcher can go on from, and the same as a page.

The notebook reads its parameters from a file beside it and uses the public library alone, so
that no value of the records ever stands in a cell. Its cells call the functions named here.
"""

from __future__ import annotations

from typing import Any

from bpvet.answers.trend.result import TrendAnswer
from bpvet.answers.trend.unseen import urgent_of
from bpvet.errors import FitError, NothingLeft
from bpvet.models.trend.fit import fit_trend
from bpvet.records.animal_rows import animal_rows
from bpvet.records.records import Records
from bpvet.reports.animal.parameters import Parameters, parameters
from bpvet.reports.animal.sections import (
    answers,
    brief,
    companions,
    computed,
    findings,
    labs,
    not_used,
    now,
    numbers,
    readings_table,
    sessions_table,
    signs,
    sources,
    together,
    treatments,
)
from bpvet.reports.cautions import cautions, statement
from bpvet.reports.kind import Names, Outline, ReportKind
from bpvet.reports.markup import fold
from bpvet.reports.naming import slug
from bpvet.reports.picture import about_figure, figure
from bpvet.wording.en.pages.heads import animal_title
from bpvet.wording.en.pages.outlines import ANIMAL_WORDS

__all__ = [
    "KIND",
    "OUTLINE",
    "Parameters",
    "about_figure",
    "answers",
    "brief",
    "cautions",
    "companions",
    "computed",
    "figure",
    "findings",
    "fold",
    "labs",
    "not_used",
    "now",
    "numbers",
    "parameters",
    "readings_table",
    "sessions_table",
    "signs",
    "sources",
    "statement",
    "together",
    "treatments",
]


def _fitted(records: Records, spec: Parameters) -> dict[str, Any]:
    try:
        trend = fit_trend(records, spec.animal, **spec.trend)
        return {"records": records, "trend": trend, "answer": trend.answer(**spec.answer)}
    except (NothingLeft, FitError) as error:
        raise urgent_of(records, spec.animal, error, spec.guideline) from None


def _names(records: Records, spec: Parameters, _: object) -> Names:
    name = animal_rows(records)[spec.animal].name
    who = f"{name} ({spec.animal})" if name else spec.animal
    title = animal_title(who, spec.quantity)
    return Names(slug(spec.animal), title, spec.animal)


_HEADS = ANIMAL_WORDS.heads
OUTLINE = Outline(
    title=ANIMAL_WORDS.title,
    imports="""import bpvet
from bpvet.reports.animal import report""",
    work="""records = bpvet.read(asked.records, **asked.read)
trend = bpvet.fit_trend(records, asked.animal, **asked.trend)
answer = trend.answer(**asked.answer)""",
    now="now(trend, answer)",
    sections={
        _HEADS["time"]: ("figure(trend, answer)", "brief(trend, answer)"),
        _HEADS["more"]: (
            f'fold("{_HEADS["answers"]}", report.answers(answer), report.numbers(answer), '
            "report.companions(trend, answer), columns=True)",
            f'fold("{_HEADS["sessions"]}", report.sessions_table(trend, answer), '
            "report.readings_table(trend))",
            f'fold("{_HEADS["kidneys"]}", report.labs(trend), '
            "report.together(trend, answer), "
            "report.treatments(trend), report.signs(trend), report.not_used(answer))",
            f'fold("{_HEADS["check"]}", report.findings(answer))',
            f'fold("{_HEADS["computed"]}", report.computed(answer), '
            "report.about_figure(trend, answer), columns=True)",
            f'fold("{_HEADS["cautions"]}", report.cautions(answer), columns=True)',
            f'fold("{_HEADS["sources"]}", report.sources(answer), columns=True)',
        ),
    },
    go_on=ANIMAL_WORDS.go_on,
    shown=(
        "trend",
        "from bpvet.reports.framing import framed\n\nframed(trend.to_frame(level=asked.level))",
    ),
)
KIND: ReportKind[Parameters, TrendAnswer] = ReportKind("animal", OUTLINE, _fitted, _names)
