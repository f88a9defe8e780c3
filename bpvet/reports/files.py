"""Whose a report's file is: another's, or one that was changed, is never replaced unasked."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from hashlib import sha256
from pathlib import Path
from typing import Any

from bpvet.errors import CallError
from bpvet.files import unwritable

#: In the head of a page: the kind of report and a digest of whose it is.
PAGE_MARKER = '<meta name="bpvet-report" content="{mark}">'
_MARKER_WITHIN = 4096
_PDF_MARK = re.compile(rb"/ID \[ ?\(([a-z]+ [0-9a-f]+)\)")
_PAGE_MARKER = re.compile(re.escape(PAGE_MARKER).replace(r"\{mark\}", r"([a-z]+ [0-9a-f]+)"))


def make_folder(folder: Path) -> Path:
    """Make a folder, with the folders above it, unless it is there.

    Raises
    ------
    CallError
        Where it is a file, or may not be made or written into.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except FileExistsError as error:
        raise CallError(f"{folder} is a file; a report is written into a folder.") from error
    except OSError as error:
        raise unwritable(folder, error) from error
    return folder


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
        raise CallError(f"{path} is there and is no plain file. Name another folder.")
    found = _mark_in(path)
    if found == mark:
        return
    if found == f"{mark}, changed":
        what = "was changed after it was written, and those changes would be lost"
        mend = "Save it under another name"
    elif found:
        what, mend = "belongs to another report", "Name another folder"
    else:
        what, mend = "is there and was not written by this report", "Name another folder"
    raise CallError(f"{path} {what}. {mend}, or replace it with --force (force=True).")


def _mark_in(path: Path) -> str:
    """Return the mark that a file bears, with ", changed" for an edited notebook; else blank."""
    if path.suffix == ".pdf":
        return _mark_in_pdf(path)
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        return ""
    if path.suffix == ".html":
        found = _PAGE_MARKER.search(text[:_MARKER_WITHIN])
        return found[1] if found else ""
    try:
        held = json.loads(text)
        if path.suffix == ".json":
            return str(held.get("bpvet_report", ""))
        mark = held["metadata"]["bpvet"]
        changed = mark["cells"] != cells_digest(held)
        return f"{mark['report']}, changed" if changed else str(mark["report"])
    except (ValueError, KeyError, TypeError, AttributeError):
        return ""


def _mark_in_pdf(path: Path) -> str:
    """Return the mark in the identifier at the end of a PDF of ours; blank in any other file."""
    try:
        found = _PDF_MARK.search(path.read_bytes()[-_MARKER_WITHIN:])
    except OSError:
        return ""
    return found[1].decode("ascii") if found else ""


def cells_digest(notebook: Mapping[str, Any]) -> str:
    """Return a digest of a notebook's cells as written, without their outputs."""
    written = [
        [cell["cell_type"], "".join(cell["source"])]  # a source is a text, or its lines
        for cell in notebook["cells"]
    ]
    return sha256(json.dumps(written).encode()).hexdigest()
