"""What the commands share that write one page: where it goes, and as what."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from bpvet.command.shared import options
from bpvet.command.shared.opening import inputs_read
from bpvet.command.shared.output import writable
from bpvet.errors import CallError

if TYPE_CHECKING:
    from bpvet.reports.paper import PaperKind

Content = TypeVar("Content")
_KINDS = ("html", "pdf")
#: Where the page goes, its paper, and ``--force``.
PAGE = (
    options.argument("-o", "--output", metavar="FILE", help="the page to write, .html or .pdf"),
    options.argument("--paper", choices=options.PAPERS, help="default: a4"),
    options.force("replace what is there"),
)


def page_path(arguments: argparse.Namespace, what: str) -> Path | None:
    """Return where a page of its own is to be written, or None; refuse what cannot be.

    Parameters
    ----------
    arguments : Namespace
        With ``output``, ``paper`` and ``force``.
    what : str
        What it is, such as "sheet".

    Raises
    ------
    CallError
        For another kind of file, a paper without a page, or a place that may not be written.
    """
    if arguments.output is None:
        if arguments.paper:
            raise CallError("--paper is for a page; add -o FILE.")
        return None
    path = writable(arguments.output, inputs_read(arguments), arguments.force)
    if path.suffix.lower().removeprefix(".") not in _KINDS:
        raise CallError(f'"{path.name}": the name of a {what} ends in .html or .pdf.')
    if path.suffix.lower() == ".pdf":
        from bpvet.reports.pdf import refuse_without_setter

        refuse_without_setter()
    return path


def page_bytes(
    kind: PaperKind[Content], content: Content, path: Path, arguments: argparse.Namespace
) -> bytes:
    """Return a page as its file holds it: as it is, or as a PDF by the file's ending."""
    paper = arguments.paper or options.PAPERS[0]
    return kind.file(content, paper, path.suffix.lower().removeprefix("."))
