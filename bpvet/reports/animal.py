"""One animal's report: a notebook that a researcher can go on from, and the same as a page.

The notebook reads its parameters from a file beside it and uses the public library alone, so
that no value of the records ever stands in a cell. Its cells call the functions named here.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from bpvet.answers.parts import TrendAnswer
from bpvet.facts.prior_table import PriorTable
from bpvet.facts.priors import Priors
from bpvet.facts.words import QUANTITY_WORDS
from bpvet.models.fit import fit_trend
from bpvet.records.read import read
from bpvet.records.read_options import ReadOptions
from bpvet.reports.answers import answers, numbers
from bpvet.reports.basis import cautions, computed, sources, statement
from bpvet.reports.files import make_folder
from bpvet.reports.naming import digest_of, slug
from bpvet.reports.now import now
from bpvet.reports.parameters import Parameters, parameters, path_from, reading_from
from bpvet.reports.picture import figure
from bpvet.reports.recorded import (
    findings,
    labs,
    readings_table,
    sessions_table,
    signs,
    treatments,
)
from bpvet.reports.writing import Files, Outline, Plan, write

__all__ = [
    "OUTLINE",
    "Written",
    "answers",
    "cautions",
    "computed",
    "figure",
    "findings",
    "labs",
    "now",
    "numbers",
    "parameters",
    "readings_table",
    "sessions_table",
    "signs",
    "sources",
    "statement",
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
    level: float = 0.95,
    as_of: object = None,
    reading: ReadOptions | None = None,
    priors: Priors | PriorTable | None = None,
    force: bool = False,
    paper: str = "",
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
    guideline, level
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
    reading = reading or ReadOptions()
    records = read(source_path, as_of=as_of, **reading.to_plain()).require_usable()
    key, folder = records.animal(animal), Path(out)
    asked = Parameters(
        records="",
        animal=key,
        method=method,
        quantity=quantity,
        condition=condition,
        bridge=tuple(bridge),
        rule=rule,
        guideline=guideline,
        level=level,
        as_of=str(records.as_of),
        reading=reading,
        priors=priors,
    )
    # Whatever is wrong with the call is said here, before a kernel is started.
    answer = fit_trend(records, key, **asked.trend).answer(**asked.answer)
    plan = _plan(answer)
    make_folder(folder)
    place = path_from(folder, Path(source_path))
    asked = replace(asked, records=place, reading=reading_from(folder, reading))
    files = write(plan, folder, asked.to_json(plan.mark), force, paper)
    return Written(**vars(files), answer=answer)


def _plan(answer: TrendAnswer) -> Plan:
    digest = digest_of(answer.animal)
    who = f"{answer.name} ({answer.animal})" if answer.name else answer.animal
    return Plan(
        mark=f"animal {digest}",
        stem=slug(answer.animal),
        parameters_name=f"parameters-{digest}.json",
        title=f"{who}: {QUANTITY_WORDS[answer.quantity]} over months",
        outline=OUTLINE,
    )


OUTLINE = Outline(
    title="One animal's blood pressure over months",
    imports="""import bpvet
from bpvet.reports import animal as report""",
    work="""records = bpvet.read(asked.records, **asked.read)
trend = bpvet.fit_trend(records, asked.animal, **asked.trend)
answer = trend.answer(**asked.answer)""",
    now="now(trend, answer)",
    sections={
        "Through time": ("figure(trend, answer)",),
        "The answers": ("answers(answer)", "numbers(answer)"),
        "The sessions": ("sessions_table(trend, answer)", "readings_table(trend)"),
        "Treatments, signs and laboratory values": (
            "treatments(trend)",
            "signs(trend)",
            "labs(trend)",
        ),
        "What the record check says": ("findings(answer)",),
        "How it was computed, and what it assumes": ("computed(answer)",),
        "Cautions": ("cautions(answer)",),
        "Sources": ("sources(answer)",),
    },
    go_on="""\
`trend.at("2026-03-01")` is the usual pressure on a date, `trend.next_session(date, readings=5)`
what a session may read, `trend.plot()` the figure, `answer.to_dict()` every number,
`records.readings` the readings as a data frame.""",
    shown=("trend", "trend.to_frame(level=asked.level)"),
)
