"""One animal's report: a notebook that a researcher can go on from, and the same as a page.

The notebook reads its parameters from a file beside it and uses the public library alone, so
that no value of the records ever stands in a cell. Its cells call the functions named here.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bpvet.answers.parts import TrendAnswer
from bpvet.facts.prior_table import PriorTable
from bpvet.facts.priors import Priors
from bpvet.facts.words import QUANTITY_WORDS
from bpvet.models.fit import fit_trend
from bpvet.records.read import read
from bpvet.reports.answers import answers, numbers
from bpvet.reports.basis import cautions, computed, sources, statement
from bpvet.reports.files import cells_digest, make_folder, refuse_foreign, write_whole
from bpvet.reports.naming import digest_of, slug
from bpvet.reports.now import now
from bpvet.reports.page import NOTEBOOK_ONLY, page
from bpvet.reports.parameters import Parameters, parameters, path_from
from bpvet.reports.picture import figure
from bpvet.reports.recorded import (
    findings,
    labs,
    readings_table,
    sessions_table,
    signs,
    treatments,
)
from bpvet.reports.running import run, text_of

if TYPE_CHECKING:
    from nbformat import NotebookNode

__all__ = [
    "Written",
    "answers",
    "cautions",
    "cells",
    "computed",
    "figure",
    "findings",
    "labs",
    "notebook",
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
class Written:
    """A report as it was written.

    Parameters
    ----------
    notebook, page, parameters : Path
        The files.
    answer : TrendAnswer
        What the report says, as numbers and sentences.
    """

    notebook: Path
    page: Path
    parameters: Path
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
    columns: Mapping[str, str] | str | None = None,
    priors: Priors | PriorTable | None = None,
    force: bool = False,
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
    as_of, columns
        As `bpvet.read` takes them. The date is kept with the report: run again later, its
        notebook still speaks for that date.
    force : bool
        Whether to replace files that are not this animal's own report, or whose notebook was
        changed since.

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
    records = read(source_path, columns=columns, as_of=as_of).require_usable()
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
        columns=columns,
        priors=priors,
    )
    # Whatever is wrong with the call is said here, before a kernel is started.
    answer = fit_trend(records, key, **asked.trend).answer(**asked.answer)
    return _write(asked, Path(source_path), folder, answer, force)


def _write(
    asked: Parameters, source_path: Path, folder: Path, answer: TrendAnswer, force: bool
) -> Written:
    mark, stem = f"animal {digest_of(asked.animal)}", slug(asked.animal)
    names = (f"{stem}.ipynb", f"{stem}.html", f"parameters-{digest_of(asked.animal)}.json")
    written = Written(folder / names[0], folder / names[1], folder / names[2], answer)
    make_folder(folder)
    if not force:
        for name in names:
            refuse_foreign(folder / name, mark)
    asked = replace(asked, records=path_from(folder, source_path))
    given = asked.to_json(mark).encode()
    with _in_place(written.parameters, given):
        made = run(notebook(names[2], mark), folder)
    who = f"{answer.name} ({answer.animal})" if answer.name else answer.animal
    title = f"{who}: {QUANTITY_WORDS[answer.quantity]} over months"
    contents = {
        names[0]: text_of(made).encode(),
        names[1]: page(made, title, mark).encode(),
        names[2]: given,
    }
    write_whole(folder, contents)
    return written


@contextmanager
def _in_place(path: Path, content: bytes) -> Iterator[None]:
    """Put a file where the notebook looks for it; if the run fails, all is as it was before."""
    before = path.read_bytes() if path.exists() else None
    write_whole(path.parent, {path.name: content})
    try:
        yield
    except BaseException:
        if before is None:
            path.unlink(missing_ok=True)
        else:
            write_whole(path.parent, {path.name: before})
        raise


def notebook(parameters_name: str, mark: str) -> NotebookNode:
    """Return the notebook before it is run; the same for every animal but for that name.

    Parameters
    ----------
    parameters_name : str
        Name of the file with the parameters, beside the notebook.
    mark : str
        Kind of the report and digest of the animal's id; tells whose file it is.
    """
    import nbformat

    v4: Any = nbformat.v4  # its package bears no types
    made: NotebookNode = v4.new_notebook()
    for place, (kind, source, tags) in enumerate(cells(parameters_name), start=1):
        new = v4.new_markdown_cell if kind == "markdown" else v4.new_code_cell
        metadata = {"tags": list(tags)} if tags else {}
        made.cells.append(new(source, id=f"cell-{place:02d}", metadata=metadata))
    made.metadata["bpvet"] = {"report": mark, "cells": cells_digest(made)}
    return made


def cells(parameters_name: str) -> Iterator[tuple[str, str, tuple[str, ...]]]:
    """Yield kind, source and tags of each cell, from top to bottom.

    Parameters
    ----------
    parameters_name : str
        Name of the file with the parameters, beside the notebook.
    """
    yield "markdown", _FOREWORD, (NOTEBOOK_ONLY,)
    yield "code", _PARAMETERS.format(name=parameters_name), ()
    yield "code", _WORK, ()
    yield "code", "report.now(trend, answer)", ()
    for title, calls in _SECTIONS.items():
        yield "markdown", f"## {title}", ()
        yield from (("code", f"report.{call}", ()) for call in calls)
    yield "code", "report.statement()", ()
    yield "markdown", _GO_ON, (NOTEBOOK_ONLY,)
    yield "code", "trend", (NOTEBOOK_ONLY,)
    yield "code", "trend.to_frame(level=asked.level)", (NOTEBOOK_ONLY,)


_FOREWORD = """# One animal's blood pressure over months

The parameters stand in the JSON file named below. Change them, or the records, and run all cells
again. To keep changes of your own, save this notebook under another name."""

_PARAMETERS = """import bpvet
from bpvet.reports import animal as report

asked = report.parameters("{name}")"""

_WORK = """records = bpvet.read(asked.records, columns=asked.columns, as_of=asked.as_of)
trend = bpvet.fit_trend(records, asked.animal, **asked.trend)
answer = trend.answer(**asked.answer)"""

_SECTIONS = {
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
}

_GO_ON = """## Go on from here

`trend.at("2026-03-01")` is the usual pressure on a date, `trend.next_session(date, readings=5)`
what a session may read, `trend.plot()` the figure, `answer.to_dict()` every number,
`records.readings` the readings as a data frame."""
