"""A clinic's report: a notebook that a researcher can go on from, and the same as a page.

The notebook reads its parameters from a file beside it and uses the public library alone, so
that no value of the records ever stands in a cell. Its cells call the functions named here.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from bpvet.answers.clinic.cohort import CohortAnswer, checked_level, cohort_answer
from bpvet.facts.words import QUANTITY_WORDS
from bpvet.figures.clinic.panels_picture import CohortPicture
from bpvet.figures.save import svg_bytes
from bpvet.models.clinic.cohort import ClinicCohort, clinic_cohort
from bpvet.pictures import clinic as cohort_pictures
from bpvet.pictures import clinic_panels as cohort_panels
from bpvet.records.read_options import ReadOptions
from bpvet.records.records import Records
from bpvet.reports.animal.methods import statement
from bpvet.reports.asked import Asked, Held, filled, finite, truth
from bpvet.reports.clinic.over_time import over_time
from bpvet.reports.clinic.summary import cautions, now, sentences
from bpvet.reports.clinic.tables import animals, computed, entry, fit, flow, grid, variance
from bpvet.reports.kind import Names, Outline, ReportKind
from bpvet.reports.markup import Shown, lines
from bpvet.reports.picture import drawn
from bpvet.reports.writing import Files, Target, opened, write
from bpvet.wording.en.phrases import capital

__all__ = [
    "KIND",
    "OUTLINE",
    "Parameters",
    "Written",
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
    "write_cohort_report",
]


@dataclass(frozen=True)
class Parameters(Asked):
    """What a clinic's report is asked for.

    Parameters
    ----------
    records, as_of, reading
        As `bpvet.reports.asked.Asked` takes them.
    quantity, rule : str
    pseudonyms : bool
        As `bpvet.clinic_cohort` takes them.
    level : float
        Of the intervals.
    """

    quantity: str
    rule: str
    pseudonyms: bool
    level: float

    @property
    def cohort(self) -> dict[str, Any]:
        """The named arguments of `bpvet.clinic_cohort`."""
        return {name: getattr(self, name) for name in ("quantity", "rule", "pseudonyms")}


def parameters(path: str | os.PathLike[str]) -> Parameters:
    """Return the parameters in a file, as a clinic's report wrote it.

    Raises
    ------
    CallError
        Where the file cannot be read, is no such file, or holds a value of another kind.
    """
    held = Held(path)
    return Parameters(
        records=held.records(),
        as_of=held.as_of(),
        reading=held.reading(),
        quantity=held.get("quantity", "a quantity", filled),
        rule=held.get("rule", "a rule", filled),
        pseudonyms=held.get("pseudonyms", "true or false", truth),
        level=held.get("level", "a number", finite),
    )


@dataclass(frozen=True)
class Written(Files):
    """A clinic's report as it was written.

    Parameters
    ----------
    notebook, page, parameters, pdf
        The files; `pdf` is None unless one was asked for.
    study : ClinicCohort
        The sessions and the fit.
    answer : CohortAnswer
        What the report says, as numbers and sentences.
    """

    study: ClinicCohort
    answer: CohortAnswer

    @property
    def level(self) -> float:
        """Of the intervals."""
        return self.answer.level


def write_cohort_report(
    source_path: str | os.PathLike[str],
    out: str | os.PathLike[str],
    *,
    quantity: str = "systolic",
    rule: str = "guideline",
    pseudonyms: bool = False,
    level: float = 0.95,
    as_of: object = None,
    reading: ReadOptions | None = None,
    force: bool = False,
    paper: str = "",
) -> Written:
    """Write a clinic's notebook, executed, and the same as one self-contained page.

    Parameters
    ----------
    source_path : str or path
        The records: a folder, or a single readings file.
    out : str or path
        Folder to write into; it is made if it is not there, and other files in it are left
        alone.
    quantity, rule, pseudonyms
        As `bpvet.clinic_cohort` takes them. With pseudonyms neither notebook nor page holds an
        id or a name; the file of parameters says where the records are, and is not to be passed
        on.
    level : float
        Of the intervals.
    as_of : date or text, optional
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
        Where a finding of the record check stops the work.
    FitError
        Where there are too few animals for a cohort, or no fit can be had.
    """
    source = opened(source_path, as_of, reading)
    asked = Parameters(
        **source.asked, quantity=quantity, rule=rule, pseudonyms=pseudonyms, level=level
    )
    files, given = write(KIND, source, asked, Target(Path(out), force, paper))
    return Written(**vars(files), study=given["study"], answer=given["answer"])


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

KIND = ReportKind("cohort", OUTLINE, _fitted, _names)


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
