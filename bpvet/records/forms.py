"""What a file is, by its first bytes: a name is a claim and not a fact."""

from __future__ import annotations

import re

from bpvet.records.encodings import MARKS

#: The first bytes of each form that is not text.
_MAGIC = (
    (b"PK\x03\x04", "archive"),
    (b"PK\x05\x06", "archive"),
    (b"PAR1", "parquet"),
    (b"ARROW1", "arrow"),
    (b"\xff\xff\xff\xff", "arrow stream"),
    (b"SQLite format 3\x00", "sqlite"),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "old workbook"),
    (b"FEA1", "old feather"),
    (b"%PDF", "PDF"),
    (b"\x1f\x8b", "gzip"),
)
_JSON = re.compile(rb'\s*(\{\s*["}]|\[\s*(\{|\]|$))')


def form_of(data: bytes) -> str:
    """Return what a file's content is.

    Returns
    -------
    str
        ``archive`` (a workbook is one), ``parquet``, ``arrow``, ``arrow stream``, ``sqlite``,
        ``json``, ``old workbook``, ``old feather``, ``PDF``, ``gzip``, or ``text``.

    Examples
    --------
    >>> form_of(b"animal,systolic"), form_of(b' {"animal": 1}'), form_of(b"PAR1")
    ('text', 'json', 'parquet')
    """
    for magic, form in _MAGIC:
        if data.startswith(magic):
            return form
    body = data[:10_000]
    for mark in MARKS:
        if body.startswith(mark):
            body = body[len(mark) :].replace(b"\0", b"")
            break
    return "json" if _JSON.match(body) else "text"
