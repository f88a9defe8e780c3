"""A clinic's report: a notebook that a researcher can go on from, and the same as a page.

The notebook reads its parameters from a file beside it and uses the public library alone, so
that no value of the records ever stands in a cell. Its cells call the functions named here.
"""

from __future__ import annotations

import json
import os
from dataclasses import dataclass, fields, replace
from functools import partial
from pathlib import Path
from typing import Any

from bpvet.answers.cohort import CohortAnswer, checked_level, cohort_answer
from bpvet.answers.phrases import capital
from bpvet.errors import CallError
from bpvet.facts.words import QUANTITY_WORDS
from bpvet.figures.cohort import svg
from bpvet.figures.cohort_picture import CohortPicture
from bpvet.models import cohort_pictures
from bpvet.models.clinic_cohort import ClinicCohort, clinic_cohort
from bpvet.records.read import read
from bpvet.records.read_options import ReadOptions
from bpvet.reports.basis import statement
from bpvet.reports.cohort_now import cautions, now, sentences
from bpvet.reports.cohort_tables import animals, computed, entry, fit, flow, grid, variance
from bpvet.reports.files import make_folder
from bpvet.reports.markup import Shown
from bpvet.reports.naming import digest_of
from bpvet.reports.parameters import path_from, reading_from
from bpvet.reports.picture import drawn
from bpvet.reports.writing import Files, Outline, Plan, write

__all__ = [
    "Parameters",
    "OUTLINE",
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
    "parameters",
    "residuals",
    "scatter",
    "sentences",
    "statement",
    "trajectories",
    "variance",
    "write_cohort_report",
]


@dataclass(frozen=True)
class Parameters:
    """What a clinic's report is asked for.

    Parameters
    ----------
    records : str
        Path of the records, from the notebook's folder where that is possible.
    as_of : str
        The date that the report speaks for, YYYY-MM-DD.
    reading : ReadOptions
        How the records are read.
    quantity, rule : str
    pseudonyms : bool
        As `bpvet.clinic_cohort` takes them.
    level : float
        Of the intervals.
    """

    records: str
    as_of: str
    reading: ReadOptions
    quantity: str
    rule: str
    pseudonyms: bool
    level: float

    def to_json(self, mark: str) -> str:
        """Return the parameters as JSON text that bears the mark of its report."""
        held = {part.name: getattr(self, part.name) for part in fields(self)}
        held["reading"] = self.reading.to_plain()
        return json.dumps({"bpvet_report": mark} | held, indent=2, ensure_ascii=False) + "\n"

    @property
    def read(self) -> dict[str, Any]:
        """The named arguments of `bpvet.read`."""
        return {"as_of": self.as_of} | self.reading.to_plain()

    @property
    def cohort(self) -> dict[str, Any]:
        """The named arguments of `bpvet.clinic_cohort`."""
        return {name: getattr(self, name) for name in ("quantity", "rule", "pseudonyms")}


def parameters(path: str | os.PathLike[str]) -> Parameters:
    """Return the parameters in a file, as a clinic's report wrote it.

    Raises
    ------
    CallError
        Where the file cannot be read, or is no such file.
    """
    try:
        held = json.loads(Path(path).read_text(encoding="utf-8"))
        given = {part.name: held[part.name] for part in fields(Parameters)}
        return Parameters(**{**given, "reading": ReadOptions(**given["reading"])})
    except OSError as error:
        raise CallError(f"{path} cannot be read: {error.strerror}.") from error
    except (KeyError, TypeError, ValueError) as error:
        raise CallError(f"{path} does not hold the parameters of a report: {error}.") from error


@dataclass(frozen=True)
class Written(Files):
    """A clinic's report as it was written.

    Parameters
    ----------
    notebook, page, parameters, pdf
        The files; `pdf` is None unless one was asked for.
    study : ClinicCohort
        The sessions and the fit.
    level : float
        Of the intervals.
    """

    study: ClinicCohort
    level: float

    @property
    def answer(self) -> CohortAnswer:
        """What the report says, as numbers and sentences; worked out when it is asked for."""
        return cohort_answer(self.study, self.level)


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
    options = reading or ReadOptions()
    records = read(source_path, as_of=as_of, **options.to_plain()).require_usable()
    asked = Parameters(
        records="",
        as_of=str(records.as_of),
        reading=options,
        quantity=quantity,
        rule=rule,
        pseudonyms=pseudonyms,
        level=level,
    )
    # Whatever is wrong with the call is said here, before a kernel is started.
    checked_level(level)
    study = clinic_cohort(records, **asked.cohort)
    plan, folder = _plan(asked), Path(out)
    make_folder(folder)
    place = path_from(folder, Path(source_path))
    asked = replace(asked, records=place, reading=reading_from(folder, asked.reading))
    files = write(plan, folder, asked.to_json(plan.mark), force, paper)
    return Written(**vars(files), study=study, level=level)


def _plan(asked: Parameters) -> Plan:
    parts = ("cohort", asked.quantity, *(["pseudonyms"] if asked.pseudonyms else []))
    stem = "-".join(part.replace("_", "-") for part in parts if part != "systolic")
    return Plan(
        mark=f"cohort {digest_of(stem)}",
        stem=stem,
        parameters_name=f"{stem}-parameters.json",
        title=f"{capital(QUANTITY_WORDS[asked.quantity])} of a clinic's animals over months",
        outline=OUTLINE,
    )


OUTLINE = Outline(
    title="A clinic's animals over months",
    imports="""import bpvet
from bpvet.reports import cohort as report""",
    work="""records = bpvet.read(asked.records, **asked.read)
study = bpvet.clinic_cohort(records, **asked.cohort)
answer = bpvet.cohort_answer(study, asked.level)""",
    now="now(answer)",
    sections={
        "Through time": ("trajectories(answer)",),
        "What the numbers say": ("sentences(answer)",),
        "Who was counted, and who not": ("flow(answer)",),
        "The animals at entry": ("entry(answer)",),
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


def trajectories(answer: CohortAnswer) -> Shown:
    """Return the figure of the animals through time, with the population's lines."""
    return _figure(cohort_pictures.trajectories(answer.study, answer.level))


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
    return drawn(partial(svg, picture), picture.alt_text, picture.caption)
