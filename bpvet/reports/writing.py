"""Writing a report: notebook, page and parameters, all of them or none.

Every report is made the same way: a notebook whose first cell reads the parameters beside it is
run on what was read and fitted already, and its outputs become one page. The reports differ in
their cells.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bpvet.files import write_all
from bpvet.records.outputs import Inputs, refuse_changed
from bpvet.reports.asked import Asked
from bpvet.reports.files import cells_digest, made_folder, refuse_foreign
from bpvet.reports.page import NOTEBOOK_ONLY, page
from bpvet.reports.pdf import pdf_bytes, refuse_without_setter
from bpvet.reports.running import quiet, run, sealed, text_of

if TYPE_CHECKING:
    from nbformat import NotebookNode

#: Code cells at the head of every notebook that import, read the parameters and compute.
READY = 2
#: Kind ("markdown" or "code"), source and tags of a cell.
Cell = tuple[str, str, tuple[str, ...]]


_FOREWORD = """# {title}

The parameters are in the JSON file named below. Change them, or the records, and run all cells
again. To keep changes of your own, save this notebook under another name."""


@dataclass(frozen=True)
class Outline:
    """What a report's notebook holds, from top to bottom; its calls are those of one module.

    Parameters
    ----------
    title : str
        Heading of the notebook; the page's own stands in the answers.
    imports : str
        Code that imports what the others need, that module as ``report``.
    work : str
        Code that reads the records as ``asked`` says, and computes.
    now : str
        The call that gives the head of the page, without ``report.``.
    sections : mapping of str to tuple of str
        Headings, and the calls below each.
    go_on : str
        What a researcher may call next; the notebook alone has it, with what follows.
    shown : tuple of str
        Code whose values the notebook shows at its end.
    """

    title: str
    imports: str
    work: str
    now: str
    sections: Mapping[str, tuple[str, ...]]
    go_on: str
    shown: tuple[str, ...]


@dataclass(frozen=True)
class Plan:
    """A report before it is written.

    Parameters
    ----------
    mark : str
        Kind of the report and a digest of whose it is, such as "animal 3f2a91c0de"; it tells
        whose file a file is.
    stem : str
        Name of notebook and page without their endings.
    parameters_name : str
        Name of the file with the parameters.
    title : str
        Title of the page, as text.
    outline : Outline
        What the notebook holds.
    """

    mark: str
    stem: str
    parameters_name: str
    title: str
    outline: Outline


@dataclass(frozen=True)
class Files:
    """Where a report was written; `pdf` is None unless one was asked for."""

    notebook: Path
    page: Path
    parameters: Path
    pdf: Path | None


def write(
    plan: Plan,
    folder: Path,
    asked: Asked,
    records: str,
    inputs: Inputs,
    force: bool,
    paper: str,
    given: Mapping[str, object],
) -> Files:
    """Run a report's notebook on what was fitted and put it, its page and its parameters in place.

    Parameters
    ----------
    plan : Plan
    folder : Path
        It is made if it is not there; other files in it are left alone.
    asked : Asked
        What the report is asked for, its paths as they were given.
    records : str
        Digest of the records that it was asked of.
    inputs : Inputs
        The files that were read, as they were before; they are never written over.
    force : bool
        Whether to replace files that are not this report's own, or whose notebook was changed.
    paper : str
        Paper on which the page is set as a PDF too, ``a4`` or ``letter``; blank for no PDF.
    given : mapping of str to object
        What the cells that read and compute would make, by name.

    Raises
    ------
    CallError
        Where a file is in the way or cannot be written, or a PDF is asked for and what makes
        it is not installed; nothing is then replaced.
    RecordsError
        Where the records were changed meanwhile.
    BpvetError
        Where a cell fails.
    """
    names = (f"{plan.stem}.ipynb", f"{plan.stem}.html", plan.parameters_name)
    pdf = f"{plan.stem}.pdf" if paper else ""
    if pdf:
        refuse_without_setter()
    places = [folder / name for name in filter(None, (*names, pdf))]

    def refuse() -> None:
        for place in places:
            inputs.refuse(place)
            if not force:
                refuse_foreign(place, plan.mark)

    with made_folder(folder):
        refuse()
        published = asked.seen_from(folder)
        digest = published.digest(plan.mark, records)
        never = (folder, *([] if inputs.folder is None else [inputs.folder]))
        with sealed(never), quiet():
            known = {**_imported(plan.outline), "asked": asked, **given}
            made = run(notebook(plan, digest), known, READY)
            refuse_changed(inputs)
            html = page(made, plan.title, plan.mark, digest)
            contents = {names[2]: published.to_json(plan.mark, digest).encode()}
            contents[names[0]] = text_of(made).encode()
            if pdf:
                contents[pdf] = pdf_bytes(html, plan.mark, paper)
        # The page last: whoever opens it finds what belongs to it.
        contents[names[1]] = html.encode()
        write_all(folder, contents, replace=True, check=refuse)
    return Files(places[0], places[1], places[2], folder / pdf if pdf else None)


def _imported(outline: Outline) -> dict[str, object]:
    """Return what a notebook's first cell imports, by name."""
    names: dict[str, object] = {}
    exec(outline.imports, names)
    return names


def notebook(plan: Plan, digest: str = "") -> NotebookNode:
    """Return a report's notebook before it is run; no value of the records stands in it.

    Parameters
    ----------
    plan : Plan
    digest : str
        Digest of the run, kept in the metadata.
    """
    import nbformat

    v4: Any = nbformat.v4  # its package bears no types
    made: NotebookNode = v4.new_notebook()
    for place, (kind, source, tags) in enumerate(_cells(plan), start=1):
        new = v4.new_markdown_cell if kind == "markdown" else v4.new_code_cell
        metadata = {"tags": list(tags)} if tags else {}
        made.cells.append(new(source, id=f"cell-{place:02d}", metadata=metadata))
    made.metadata["bpvet"] = {"report": plan.mark, "cells": cells_digest(made)}
    if digest:
        made.metadata["bpvet"]["digest"] = digest
    return made


def _cells(plan: Plan) -> Iterator[Cell]:
    """Yield kind, source and tags of each cell, from top to bottom."""
    outline = plan.outline
    yield "markdown", _FOREWORD.format(title=outline.title), (NOTEBOOK_ONLY,)
    asked = f'asked = report.parameters("{plan.parameters_name}")'
    yield "code", f"{outline.imports}\n\n{asked}", ()
    yield "code", outline.work, ()
    yield "code", f"report.{outline.now}", ()
    for title, calls in outline.sections.items():
        yield "markdown", f"## {title}", ()
        yield from (("code", f"report.{call}", ()) for call in calls)
    yield "code", "report.statement()", ()
    yield "markdown", f"## Go on from here\n\n{outline.go_on}", (NOTEBOOK_ONLY,)
    yield from (("code", code, (NOTEBOOK_ONLY,)) for code in outline.shown)
