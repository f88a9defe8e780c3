"""Writing a report: notebook, page and parameters, all of them or none.

Every report is made the same way: a notebook whose first cell reads the parameters beside it is
run on what was read and fitted already, and its outputs become one page. The reports differ in
what their `bpvet.reports.kind.ReportKind` declares.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bpvet.files import write_all
from bpvet.records.outputs import Inputs, inputs_of, refuse_changed
from bpvet.records.read import read
from bpvet.records.read_options import ReadOptions
from bpvet.records.records import Records
from bpvet.reports.files import cells_digest, made_folder, refuse_foreign
from bpvet.reports.kind import Names, Outline, Parameters, ReportKind
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
class Source:
    """Records, and how a report reads them.

    Parameters
    ----------
    path : str
        As it was given.
    reading : ReadOptions
        How they are read.
    records : Records
        What was read; no finding stops the work.
    inputs : Inputs
        The files that were read, as they were before; they are never written over.
    """

    path: str
    reading: ReadOptions
    records: Records
    inputs: Inputs

    @property
    def asked(self) -> dict[str, Any]:
        """What the parameters of every report begin with, by name.

        All speak for one date, also where midnight passes meanwhile.
        """
        as_of = str(self.records.as_of)
        return {"records": self.path, "as_of": as_of, "reading": self.reading}


def opened(
    path: str | os.PathLike[str],
    as_of: object,
    reading: ReadOptions | None,
    also_read: Iterable[str | os.PathLike[str] | None] = (),
) -> Source:
    """Read the records of a report.

    Parameters
    ----------
    path : str or path
        A folder, or a single readings file.
    as_of, reading
        As `bpvet.read` takes them.
    also_read : iterable of str or path
        Further files that were read: they are never written over.

    Raises
    ------
    CallError
        For an unknown option, or where there are no records.
    RecordsError
        Where a finding of the record check stops the work.
    """
    reading = reading or ReadOptions()
    inputs = inputs_of(path, reading.columns, also_read)
    records = read(path, as_of=as_of, **reading.to_plain()).require_usable()
    return Source(os.fspath(path), reading, records, inputs)


@dataclass(frozen=True)
class Target:
    """Where a report goes.

    Parameters
    ----------
    folder : Path
        It is made if it is not there; other files in it are left alone.
    force : bool
        Whether to replace files that are not this report's own, or whose notebook was changed.
    paper : str
        Paper on which the page is set as a PDF too, ``a4`` or ``letter``; blank for no PDF.
    """

    folder: Path
    force: bool = False
    paper: str = ""


@dataclass(frozen=True)
class Files:
    """Where a report was written; `pdf` is None unless one was asked for."""

    notebook: Path
    page: Path
    parameters: Path
    pdf: Path | None


def write(
    kind: ReportKind[Parameters], source: Source, asked: Parameters, target: Target
) -> tuple[Files, dict[str, Any]]:
    """Fit, run a report's notebook on that, and put it, its page and its parameters in place.

    Parameters
    ----------
    kind : ReportKind
    source : Source
    asked : Asked
        What the report is asked for, its paths as they were given.
    target : Target

    Returns
    -------
    Files
    dict
        What was fitted, by name.

    Raises
    ------
    CallError
        For a wrong call, where a file is in the way or cannot be written, or a PDF is asked for
        and what makes it is not installed; nothing is then replaced.
    RecordsError
        Where the records were changed meanwhile.
    BpvetError
        Where a cell fails; and what `kind.fitted` raises.
    """
    given = kind.fitted(source.records, asked)
    names = kind.names(source.records, asked, given)
    folder, inputs, mark = target.folder, source.inputs, kind.mark(names)
    endings = ("ipynb", "html", *(["pdf"] if target.paper else []))
    files = {ending: f"{names.stem}.{ending}" for ending in endings} | {"json": names.parameters}
    if target.paper:
        refuse_without_setter()

    def refuse() -> None:
        for name in files.values():
            inputs.refuse(folder / name)
            if not target.force:
                refuse_foreign(folder / name, mark)

    with made_folder(folder):
        refuse()
        published = asked.seen_from(folder)
        digest = published.digest(mark, source.records.digest)
        never = (folder, *([] if inputs.folder is None else [inputs.folder]))
        with sealed(never), quiet():
            known = {**_imported(kind.outline), "asked": asked, **given}
            made = run(notebook(kind, names, digest), known, READY)
            refuse_changed(inputs)
            html = page(made, names.title, mark, digest)
            contents = {files["json"]: published.to_json(mark, digest).encode()}
            contents[files["ipynb"]] = text_of(made).encode()
            if target.paper:
                contents[files["pdf"]] = pdf_bytes(html, mark, target.paper)
        # The page last: whoever opens it finds what belongs to it.
        contents[files["html"]] = html.encode()
        write_all(folder, contents, replace=True, check=refuse)
    places = {ending: folder / name for ending, name in files.items()}
    return Files(places["ipynb"], places["html"], places["json"], places.get("pdf")), given


def _imported(outline: Outline) -> dict[str, object]:
    """Return what a notebook's first cell imports, by name."""
    names: dict[str, object] = {}
    exec(outline.imports, names)
    return names


def notebook(kind: ReportKind[Any], names: Names, digest: str) -> NotebookNode:
    """Return a report's notebook before it is run; no value of the records stands in it.

    Parameters
    ----------
    kind : ReportKind
    names : Names
    digest : str
        Digest of the run, kept in the metadata.
    """
    import nbformat

    v4: Any = nbformat.v4  # its package bears no types
    made: NotebookNode = v4.new_notebook()
    for count, (form, text, tags) in enumerate(_cells(kind.outline, names), start=1):
        new = v4.new_markdown_cell if form == "markdown" else v4.new_code_cell
        metadata = {"tags": list(tags)} if tags else {}
        made.cells.append(new(text, id=f"cell-{count:02d}", metadata=metadata))
    marks = {"report": kind.mark(names), "cells": cells_digest(made), "digest": digest}
    made.metadata["bpvet"] = marks
    return made


def _cells(outline: Outline, names: Names) -> Iterator[Cell]:
    """Yield kind, source and tags of each cell, from top to bottom."""
    yield "markdown", _FOREWORD.format(title=outline.title), (NOTEBOOK_ONLY,)
    asked = f'asked = report.parameters("{names.parameters}")'
    yield "code", f"{outline.imports}\n\n{asked}", ()
    yield "code", outline.work, ()
    yield "code", f"report.{outline.now}", ()
    for title, calls in outline.sections.items():
        yield "markdown", f"## {title}", ()
        yield from (("code", f"report.{call}", ()) for call in calls)
    yield "code", "report.statement()", ()
    yield "markdown", f"## Go on from here\n\n{outline.go_on}", (NOTEBOOK_ONLY,)
    yield from (("code", code, (NOTEBOOK_ONLY,)) for code in outline.shown)
