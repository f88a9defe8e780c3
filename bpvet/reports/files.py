"""Whose a report's file is: another's, or one that was changed, is never replaced unasked."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from hashlib import sha256
from pathlib import Path
from typing import Any

from bpvet.errors import CallError
from bpvet.locks import unwritable
from bpvet.reports.spec import plain_json

#: In the head of a page: the kind of report and a digest of whose it is.
PAGE_MARKER = '<meta name="bpvet-report" content="{mark}">'
#: Below it: the digest of the run, which its notebook and parameters bear too.
DIGEST_MARKER = '<meta name="bpvet-digest" content="{digest}">'
_MARKER_WITHIN = 4096
#: Bytes of a notebook or of parameters beyond which they are not looked at, and so not ours.
_LONGEST = 100_000_000
_PDF_MARK = re.compile(rb"/ID \[ ?\(([a-z]+ [0-9a-f]+)\)")
_PAGE_MARKER = re.compile(re.escape(PAGE_MARKER).replace(r"\{mark\}", r"([a-z]+ [0-9a-f]+)"))


@contextmanager
def made_folder(folder: Path) -> Iterator[None]:
    """Make a folder, with the folders above it; if the work fails, those that were made go again.

    Raises
    ------
    CallError
        Where it is a file, or may not be made or written into.
    """
    new = [path for path in (folder, *folder.parents) if not os.path.lexists(path)]
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except FileExistsError as error:
        raise CallError(f"{folder} is a file; a report is written into a folder.") from error
    except (OSError, ValueError) as error:
        raise unwritable(folder, error) from error
    try:
        yield
    except BaseException:
        with suppress(OSError):
            for path in new:
                path.rmdir()
        raise


def refuse_foreign(path: Path, mark: str) -> None:
    """Raise a `CallError` unless `path` is free, or holds an unchanged file of this report.

    Parameters
    ----------
    path : Path
        Where a file is to be written: ``.html``, ``.ipynb``, ``.json`` or ``.pdf``.
    mark : str
        Kind of the report and a digest of whose it is.
    """
    if not path.exists() and not path.is_symlink():
        return
    if path.is_symlink() or not path.is_file():
        raise CallError(f"{path} exists and is not an ordinary file. Name another folder.")
    found = _mark_in(path)
    if found == mark:
        return
    if found == f"{mark}, changed":
        raise CallError(
            f"{path} was changed after it was written, and those changes would be lost. Save it "
            "under another name, or replace it with --force (force=True)."
        )
    if found:
        raise CallError(
            f"{path} belongs to another report. Name another folder, or replace it with --force "
            "(force=True)."
        )
    raise CallError(
        f"{path} is there and was not written by this report. Name another folder, or replace it "
        "with --force (force=True)."
    )


def _mark_in(path: Path) -> str:
    """Return the mark that a file bears, with ", changed" for an edited notebook; else blank."""
    try:
        if path.suffix == ".pdf":
            with path.open("rb") as file:
                file.seek(max(os.path.getsize(path) - _MARKER_WITHIN, 0))
                identifier = _PDF_MARK.search(file.read(_MARKER_WITHIN))
            return identifier[1].decode("ascii") if identifier else ""
        if path.suffix == ".html":
            with path.open("rb") as file:
                found = _PAGE_MARKER.search(file.read(_MARKER_WITHIN).decode("utf-8", "replace"))
            return found[1] if found else ""
        content = plain_json(path, _LONGEST, "a report")
        if path.suffix == ".json":
            return str(content.get("bpvet_report", ""))
        mark = content["metadata"]["bpvet"]
        changed = mark["cells"] != cells_digest(content)
        return f"{mark['report']}, changed" if changed else str(mark["report"])
    except (OSError, CallError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return ""


def cells_digest(notebook: Mapping[str, Any]) -> str:
    """Return a digest of a notebook's cells as written, without their outputs."""
    written = [
        [cell["cell_type"], "".join(cell["source"])]  # a source is a text, or its lines
        for cell in notebook["cells"]
    ]
    return sha256(json.dumps(written).encode()).hexdigest()
