"""Reports and pages of results that somebody holds: what their `report` methods, and a user, call.

A notebook reads its records again, so that a report is made of a result *and* of where its records
are: they, and what is fitted to them, have to be the result's own.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any, TypeVar

from bpvet.answers.owner.owner import OwnerAnswer
from bpvet.answers.sheet.sheet import SheetAnswer
from bpvet.answers.trend.unseen import unseen_answer
from bpvet.errors import CallError, FitError, NothingLeft
from bpvet.files import write_all
from bpvet.frozen import field_names, replace
from bpvet.models.agreement.result import Agreement
from bpvet.models.audit.audit import Audit
from bpvet.models.clinic.cohort import ClinicCohort
from bpvet.models.trend.fit import fit_trend
from bpvet.models.trend.trend import Trend
from bpvet.records.read_options import ReadOptions
from bpvet.records.records import Records
from bpvet.reports.agreement import report as agreement_report
from bpvet.reports.animal import report as animal_report
from bpvet.reports.audit import report as audit_report
from bpvet.reports.clinic import report as clinic_report
from bpvet.reports.files import made_folder, refuse_foreign
from bpvet.reports.kind import ReportKind
from bpvet.reports.letter.letter import Wanted, letter_of, unseen_letter
from bpvet.reports.letter.page import LETTER
from bpvet.reports.naming import slug
from bpvet.reports.owner import OWNER
from bpvet.reports.paper import PAPERS, PaperKind
from bpvet.reports.sheet import SHEET
from bpvet.reports.spec import ReportSpec
from bpvet.reports.way import Way
from bpvet.reports.writing import Written, opened, write

Content = TypeVar("Content")
Folder = str | os.PathLike[str]

_READING = field_names(ReadOptions)


def report(
    result: Trend | Agreement | Audit | ClinicCohort,
    folder: Folder,
    records: Folder,
    *,
    paper: str = "",
    force: bool = False,
    **choices: Any,
) -> Written[Any]:
    """Write the report of a result: its notebook, executed, and the same as one page.

    Parameters
    ----------
    result : Trend, Agreement, Audit or ClinicCohort
    folder : str or path
        To write into; it is made if it is not there.
    records : str or path
        Where the records are that the result was made of: the notebook reads them again.
    paper : str
        ``a4`` or ``letter``: the page is set as a PDF too.
    force : bool
        Whether files there that are not this report's own may be replaced.
    **choices
        As `bpvet.read` takes them, where the records were read so: columns, dates, unit, encoding.
        Of a trend guideline, level and edition, of a cohort level; of an agreement, which does not
        know them itself, as_of, and condition and rule where they were not the usual ones.

    Raises
    ------
    CallError
        Where the result is another than these records and choices give, or a file is in the way.

    Examples
    --------
    >>> import bpvet, tempfile
    >>> from bpvet.records.example import write_example
    >>> folder = tempfile.TemporaryDirectory()
    >>> names = write_example(folder.name + "/clinic")
    >>> audit = bpvet.audit(bpvet.read(folder.name + "/clinic", as_of="2026-11-01"))
    >>> audit.report(folder.name + "/quality", folder.name + "/clinic").page.name
    'audit.html'
    >>> folder.cleanup()
    """
    reading = {name: choices.pop(name) for name in _READING if name in choices}
    given = choices.pop("as_of", None)
    kind, name, spec, as_of, digest = _spec_of(result, choices)
    way = Way(as_of=as_of or given, reading=ReadOptions(**reading), force=force, paper=paper)
    source = opened(records, way)
    spec = replace(spec.settled(source.records), **source.spec_fields)
    if digest not in (None, source.records.digest):
        raise CallError(f"{os.fspath(records)} does not hold the records that the result is of.")
    if kind.fitted(source.records, spec)[name].summary() != result.summary():
        raise CallError(
            "The report would be of another result. Give what this one was made with, as far as "
            "it does not know it itself (an agreement's as_of, condition and rule)."
        )
    return write(kind, source, spec, Path(folder), way)


def _spec_of(
    result: object, choices: Mapping[str, Any]
) -> tuple[ReportKind[Any, Any], str, ReportSpec, str | None, str | None]:
    """Return a result's kind of report, its name in it, what it was asked, its date and digest."""
    if isinstance(result, Trend):
        series, context = result.series, result.context
        if context.fixed is not None:
            raise CallError("There is no report of a trend whose noise SDs were held fixed.")
        trend = animal_report.Parameters(
            animal=series.animal,
            method=None if result.logarithmic else series.method,
            quantity=series.quantity,
            condition=series.condition or None,
            bridge=tuple(context.bridge),
            rule=context.rule,
            priors=context.given,
            **choices,
        )
        records = result.records
        return animal_report.KIND, "trend", trend, str(records.as_of), records.digest
    if isinstance(result, Agreement):
        data = result.data
        options = {"quantity": data.quantity, "linked": data.linked, "reference": result.reference}
        agree = agreement_report.Parameters(options={**options, "level": result.level, **choices})
        return agreement_report.KIND, "agree", agree, None, data.digest
    if isinstance(result, Audit):
        audit = audit_report.Parameters(options={"rule": result.rule, "level": result.level})
        return audit_report.KIND, "quality", audit, result.as_of, result.digest
    if isinstance(result, ClinicCohort):
        names = ("quantity", "rule", "pseudonyms")
        parameters: dict[str, Any] = {name: getattr(result, name) for name in names}
        cohort = clinic_report.Parameters(**parameters, **choices)
        return clinic_report.KIND, "study", cohort, result.as_of, result.digest
    raise CallError(f"There is no report of {type(result).__name__}.")


def letter(
    records: Records,
    animal: str,
    folder: Folder,
    *,
    to: str = "",
    question: str = "",
    guideline: str = "acvim2018",
    **page: Any,
) -> Path:
    """Write an animal's letter for a colleague, and beside it the same as a table.

    Parameters
    ----------
    records : Records
    animal : str
        Its id, or an unambiguous name. Without a session that may enter a trend the letter says
        so, and what else is known.
    folder : str or path
    to, question : str
        Addressee and reason; blank leaves lines to write on.
    guideline : str
        Key of the guideline.
    **page
        ``paper`` ("a4" or "letter"), ``pdf`` and ``force`` (replace what is there), or none.

    Returns
    -------
    Path
        Of the letter.
    """
    animal, wanted = records.require_usable().animal(animal), Wanted(to, question)
    table = f"letter-{slug(animal)}.csv"
    try:
        trend = fit_trend(records, animal)
        whole = letter_of(trend, trend.answer(guideline=guideline), table, wanted)
    except (FitError, NothingLeft) as error:
        answer = unseen_answer(records, animal, str(error), guideline)
        whole = unseen_letter(records, answer, table, wanted=wanted)
    return written_page(LETTER, whole, folder, beside={table: whole.table}, **page)


def page(answer: SheetAnswer | OwnerAnswer, folder: Folder, **choices: Any) -> Path:
    """Write the sheet for the room, or the owner's page; choices as `written_page` takes them."""
    if isinstance(answer, SheetAnswer):
        return written_page(SHEET, answer, folder, **choices)
    return written_page(OWNER, answer, folder, **choices)


def written_page(
    kind: PaperKind[Content],
    content: Content,
    folder: Folder,
    *,
    paper: str = "a4",
    pdf: bool = False,
    force: bool = False,
    beside: Mapping[str, bytes] | None = None,
) -> Path:
    """Write a page for paper into a folder, and return its path.

    Parameters
    ----------
    kind : PaperKind
    content
        What it is of.
    folder : str or path
        It is made if it is not there.
    paper : str
        ``a4`` or ``letter``.
    pdf : bool
        Whether it is written as a PDF; else as a page for a browser.
    force : bool
        Whether a file of its name that is not an earlier one may be replaced.
    beside : mapping of str to bytes, optional
        Further files, by name, which belong to it.

    Raises
    ------
    CallError
        For another paper, or where a file is in the way; nothing is then replaced.
    """
    if paper not in PAPERS:
        raise CallError(f'paper is {" or ".join(PAPERS)}, not "{paper}".')
    folder, more = Path(folder), dict(beside or {})
    ending = "pdf" if pdf else "html"
    name = f"{kind.name}-{slug(kind.animal(content))}.{ending}"

    def refuse() -> None:
        # What belongs to an earlier page goes with it; without that page it is somebody's own.
        for file in (name, *(() if (folder / name).exists() else more)):
            if not force:
                refuse_foreign(folder / file, kind.mark(content))

    with made_folder(folder):
        refuse()
        more[name] = kind.file(content, paper, ending)
        write_all(folder, more, replace=True, check=refuse)
    return folder / name
