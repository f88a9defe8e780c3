"""One animal's report: a notebook that a researcher can go on from, and the same as a page.

The notebook reads its parameters from a file beside it and uses the public library alone, so
that no value of the records ever stands in a cell. Its cells call the functions named here.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bpvet.answers.trend.result import TrendAnswer
from bpvet.answers.trend.unseen import urgent_of
from bpvet.errors import FitError, NothingLeft
from bpvet.facts.priors.priors import Priors
from bpvet.facts.priors.table import PriorTable
from bpvet.facts.words import QUANTITY_WORDS
from bpvet.models.trend.fit import fit_trend
from bpvet.records.animal_rows import animal_rows
from bpvet.records.read_options import ReadOptions
from bpvet.records.records import Records
from bpvet.reports.animal.answers import answers, companions, numbers
from bpvet.reports.animal.brief import brief
from bpvet.reports.animal.kidneys import together
from bpvet.reports.animal.methods import cautions, computed, sources, statement
from bpvet.reports.animal.parameters import Parameters, parameters
from bpvet.reports.animal.recorded import (
    findings,
    labs,
    readings_table,
    sessions_table,
    signs,
    treatments,
)
from bpvet.reports.animal.summary import now
from bpvet.reports.animal.unused import not_used
from bpvet.reports.kind import Names, Outline, ReportKind
from bpvet.reports.markup import fold
from bpvet.reports.naming import slug
from bpvet.reports.picture import about_figure, figure
from bpvet.reports.writing import Files, Target, opened, write

__all__ = [
    "KIND",
    "OUTLINE",
    "Written",
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
    "write_report",
]


@dataclass(frozen=True)
class Written(Files):
    """A report as it was written.

    Parameters
    ----------
    notebook, page, parameters, pdf
        The files; `pdf` is None unless one was asked for.
    answer : TrendAnswer
        What the report says, as numbers and sentences.
    """

    answer: TrendAnswer

    @property
    def sentences(self) -> tuple[str, ...]:
        """Every sentence of the report's answers, the urgent first."""
        return self.answer.sentences


def write_report(
    source_path: str | os.PathLike[str],
    animal: str,
    out: str | os.PathLike[str],
    *,
    method: str | None = None,
    quantity: str = "systolic",
    condition: str | None = None,
    bridge: Sequence[str] = (),
    rule: str = "guideline",
    guideline: str = "acvim2018",
    edition: str = "iris2019",
    level: float = 0.95,
    as_of: object = None,
    reading: ReadOptions | None = None,
    priors: Priors | PriorTable | None = None,
    force: bool = False,
    paper: str = "",
    also_read: Iterable[str | os.PathLike[str] | None] = (),
) -> Written:
    """Write an animal's notebook, executed, and the same as one self-contained page.

    Parameters
    ----------
    source_path : str or path
        The records: a folder, or a single readings file.
    animal : str
        Its id, or an unambiguous name.
    out : str or path
        Folder to write into; it is made if it is not there, and other files in it are left
        alone.
    method, quantity, condition, bridge, rule, priors
        As `bpvet.fit_trend` takes them.
    guideline, edition, level
        As `Trend.answer` takes them.
    as_of
        As `bpvet.read` takes it. The date is kept with the report: run again later, its notebook
        still speaks for that date.
    reading : ReadOptions, optional
        How the records are read; kept with the report too.
    force : bool
        Whether to replace files that are not this animal's own report, or whose notebook was
        changed since.
    paper : str
        Paper on which the page is set as a PDF too, ``a4`` or ``letter``; blank for no PDF.
    also_read : iterable of str or path
        Further files that were read, such as that of the priors: they are never written over.

    Returns
    -------
    Written

    Raises
    ------
    CallError
        For an unknown animal or option, or where a file is in the way or cannot be written.
    RecordsError
        Where a finding of the record check stops the work.
    FitError
        Where the trend could not be fitted.
    """
    source = opened(source_path, as_of, reading, also_read)
    asked = Parameters(
        **source.asked,
        animal=source.records.animal(animal),
        method=method,
        quantity=quantity,
        condition=condition,
        bridge=tuple(bridge),
        rule=rule,
        guideline=guideline,
        edition=edition,
        level=level,
        priors=priors,
    )
    files, given = write(KIND, source, asked, Target(Path(out), force, paper))
    return Written(**vars(files), answer=given["answer"])


def _fitted(records: Records, asked: Parameters) -> dict[str, Any]:
    try:
        trend = fit_trend(records, asked.animal, **asked.trend)
        return {"records": records, "trend": trend, "answer": trend.answer(**asked.answer)}
    except (NothingLeft, FitError) as error:
        raise urgent_of(records, asked.animal, error, asked.guideline) from None


def _names(records: Records, asked: Parameters, _: object) -> Names:
    name = animal_rows(records)[asked.animal].name
    who = f"{name} ({asked.animal})" if name else asked.animal
    title = f"{who}: {QUANTITY_WORDS[asked.quantity]} over months"
    return Names(slug(asked.animal), title, asked.animal)


OUTLINE = Outline(
    title="One animal's blood pressure over months",
    imports="""import bpvet
from bpvet.reports.animal import report""",
    work="""records = bpvet.read(asked.records, **asked.read)
trend = bpvet.fit_trend(records, asked.animal, **asked.trend)
answer = trend.answer(**asked.answer)""",
    now="now(trend, answer)",
    sections={
        "Through time": ("figure(trend, answer)", "brief(trend, answer)"),
        "More": (
            'fold("The answers", report.answers(answer), report.numbers(answer), '
            "report.companions(trend, answer), columns=True)",
            'fold("The sessions", report.sessions_table(trend, answer), '
            "report.readings_table(trend))",
            'fold("Kidney values, treatments and signs", report.labs(trend), '
            "report.together(trend, answer), "
            "report.treatments(trend), report.signs(trend), report.not_used(answer))",
            'fold("What the record check says", report.findings(answer))',
            'fold("How it was computed, and what it assumes", report.computed(answer), '
            "report.about_figure(trend, answer), columns=True)",
            'fold("Cautions", report.cautions(answer), columns=True)',
            'fold("Sources", report.sources(answer), columns=True)',
        ),
    },
    go_on="""\
`trend.at("2026-03-01")` is the usual pressure on a date, `trend.next_session(date, readings=5)`
what a session may read, `trend.plot()` the figure, `answer.to_dict()` every number,
`records.readings` the readings as a data frame.""",
    shown=(
        "trend",
        "from bpvet.reports.framing import framed\n\nframed(trend.to_frame(level=asked.level))",
    ),
)
KIND = ReportKind("animal", OUTLINE, _fitted, _names)
