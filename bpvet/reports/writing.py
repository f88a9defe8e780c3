"""Writing a report: notebook, page and parameters, all of them or none.

Every report is made the same way: a notebook whose first cell reads the parameters beside it is
run on what was read and fitted already, and its outputs become one page. The reports differ in
what their `bpvet.reports.kind.ReportKind` declares.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Generic

from bpvet.files import write_all
from bpvet.frozen import dataclass, replace
from bpvet.records.outputs import Inputs, inputs_of, refuse_changed
from bpvet.records.read import read
from bpvet.records.read_options import ReadOptions
from bpvet.records.records import Records
from bpvet.reports.files import cells_digest, made_folder, refuse_foreign
from bpvet.reports.kind import Answer, Names, Outline, Parameters, ReportKind
from bpvet.reports.page import NOTEBOOK_ONLY, page
from bpvet.reports.pdf import pdf_bytes, refuse_without_setter
from bpvet.reports.running import quiet, run, sealed, text_of
from bpvet.reports.way import Way
from bpvet.wording.en.pages.heads import FOREWORD, GO_ON

if TYPE_CHECKING:
    from nbformat import NotebookNode

#: Code cells at the head of every notebook that import, read the parameters and compute.
READY = 2
#: Kind ("markdown" or "code"), source and tags of a cell.
Cell = tuple[str, str, tuple[str, ...]]


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
    def spec_fields(self) -> dict[str, Any]:
        """What the parameters of every report begin with, by name.

        All speak for one date, also where midnight passes meanwhile.
        """
        as_of = str(self.records.as_of)
        return {"records": self.path, "as_of": as_of, "reading": self.reading}


def opened(path: str | os.PathLike[str], way: Way) -> Source:
    """Read the records of a report.

    Parameters
    ----------
    path : str or path
        A folder, or a single readings file.
    way : Way

    Raises
    ------
    CallError
        For an unknown option, or where there are no records.
    RecordsError
        Where a finding of the record check stops the work.
    """
    inputs = inputs_of(path, way.reading.columns, way.also_read)
    records = read(path, as_of=way.as_of, **way.reading.to_plain()).require_usable()
    return Source(os.fspath(path), way.reading, records, inputs)


@dataclass(frozen=True)
class Written(Generic[Answer]):
    """A report as it was written.

    Parameters
    ----------
    notebook, page, parameters, pdf : Path
        The files; `pdf` is None unless one was asked for.
    answer
        What the report says, as numbers and sentences.
    """

    notebook: Path
    page: Path
    parameters: Path
    pdf: Path | None
    answer: Answer


def write_report(
    kind: ReportKind[Parameters, Answer],
    path: str | os.PathLike[str],
    out: str | os.PathLike[str],
    spec: Parameters,
    way: Way | None = None,
) -> Written[Answer]:
    """Read records, and write the notebook of a report, executed, and the same as one page.

    Parameters
    ----------
    kind : ReportKind
    path : str or path
        The records: a folder, or a single readings file.
    out : str or path
        Folder to write into; it is made if it is not there, and other files in it are left
        alone.
    spec : ReportSpec
        The report's choices, of the kind's own class; where the records are is filled in.
    way : Way, optional

    Raises
    ------
    CallError
        For an unknown option or animal, or where a file is in the way or cannot be written.
    RecordsError
        Where a finding of the record check stops the work, or the records cannot give such a
        report.
    FitError
        Where what the report is of could not be fitted.
    """
    way = way or Way()
    source = opened(path, way)
    settled = spec.settled(source.records)
    return write(kind, source, replace(settled, **source.spec_fields), Path(out), way)


def write(
    kind: ReportKind[Parameters, Answer],
    source: Source,
    spec: Parameters,
    folder: Path,
    way: Way,
) -> Written[Answer]:
    """Fit, run a report's notebook on that, and put it, its page and its parameters in place.

    Parameters
    ----------
    kind : ReportKind
    source : Source
        The records, read.
    spec : ReportSpec
        What the report is asked for, its paths as they were given.
    folder : Path
        As `write_report` takes it.
    way : Way

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
    given = kind.fitted(source.records, spec)
    names = kind.names(source.records, spec, given)
    if way.paper:
        refuse_without_setter()
    mark, files = kind.mark(names), names.files(bool(way.paper))
    paths = {ending: folder / name for ending, name in files.items()}
    refuse = partial(_refuse, paths.values(), source.inputs, "" if way.force else mark)
    with made_folder(folder):
        refuse()
        published = spec.seen_from(folder)
        digest = published.digest(mark, source.records.digest)
        # The page last: whoever opens it finds what belongs to it.
        contents = {"json": published.to_json(mark, digest).encode()}
        with sealed((folder, *filter(None, [source.inputs.folder]))), quiet():
            known = {**_imported(kind.outline), "asked": spec, **given}
            made = run(notebook(kind, names, digest), known, READY)
            refuse_changed(source.inputs)
            contents["ipynb"] = text_of(made).encode()
            html = page(made, names.title, mark, digest)
            if way.paper:
                contents["pdf"] = pdf_bytes(html, mark, way.paper)
            contents["html"] = html.encode()
        outputs = {files[ending]: content for ending, content in contents.items()}
        write_all(folder, outputs, replace=True, check=refuse)
    return Written(paths["ipynb"], paths["html"], paths["json"], paths.get("pdf"), given["answer"])


def _refuse(paths: Iterable[Path], inputs: Inputs, mark: str) -> None:
    """Refuse places of what was read and, unless the mark is blank, of what is not the report's."""
    for path in paths:
        inputs.refuse(path)
        if mark:
            refuse_foreign(path, mark)


def _imported(outline: Outline) -> dict[str, object]:
    """Return what a notebook's first cell imports, by name."""
    names: dict[str, object] = {}
    exec(outline.imports, names)
    return names


def notebook(kind: ReportKind[Any, Any], names: Names, digest: str) -> NotebookNode:
    """Return a report's notebook before it is run; no value of the records stands in it.

    Parameters
    ----------
    kind : ReportKind
    names : Names
    digest : str
        Digest of the run, kept in the metadata.
    """
    import nbformat

    # Its package bears no types.
    v4: Any = nbformat.v4
    from_dict: Any = nbformat.from_dict
    made: NotebookNode = v4.new_notebook()
    for count, (form, text, tags) in enumerate(_cells(kind.outline, names), start=1):
        cell: dict[str, Any] = {"id": f"cell-{count:02d}", "cell_type": form, "source": text}
        cell["metadata"] = {"tags": list(tags)} if tags else {}
        if form == "code":
            cell |= {"execution_count": None, "outputs": []}
        # The whole notebook is checked when it is written: not each of its cells too.
        made.cells.append(from_dict(cell))
    marks = {"report": kind.mark(names), "cells": cells_digest(made), "digest": digest}
    made.metadata["bpvet"] = marks
    return made


def _cells(outline: Outline, names: Names) -> Iterator[Cell]:
    """Yield kind, source and tags of each cell, from top to bottom."""
    yield "markdown", FOREWORD.format(title=outline.title), (NOTEBOOK_ONLY,)
    first_cell = f'asked = report.parameters("{names.parameters}")'
    yield "code", f"{outline.imports}\n\n{first_cell}", ()
    yield "code", outline.work, ()
    yield "code", f"report.{outline.now}", ()
    for title, calls in outline.sections.items():
        yield "markdown", f"## {title}", ()
        yield from (("code", f"report.{call}", ()) for call in calls)
    yield "code", "report.statement()", ()
    yield "markdown", f"## {GO_ON}\n\n{outline.go_on}", (NOTEBOOK_ONLY,)
    yield from (("code", code, (NOTEBOOK_ONLY,)) for code in outline.shown)
