"""What a file is, by its first bytes: a name is a claim and not a fact."""

from __future__ import annotations

import re

from bpvet.records.formats.encodings import MARKS

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
    (b"{\\rtf", "text document"),
    (b"\xff\xd8\xff", "picture"),
    (b"\x89PNG\r\n", "picture"),
    (b"GIF8", "picture"),
    (b"II*\0", "picture"),
    (b"MM\0*", "picture"),
)
#: Pictures and films of telephones: a length, then this word and the kind.
_FILM = re.compile(rb"....ftyp", re.DOTALL)
#: Parts that tell apart what old office programs and password protection put in one container.
_IN_CONTAINER = (
    ("EncryptedPackage", "protected file"),
    ("WordDocument", "text document"),
)
_MARKUP = re.compile(
    rb"\s*<(!doctype|\?xml|html|head|body|meta|style|table|div|svg)\b", re.IGNORECASE
)
_JSON = re.compile(rb'\s*(\{\s*["}]|\[\s*(\{|\]|$))')


def form_of(data: bytes) -> str:
    """Return what a file's content is.

    Returns
    -------
    str
        ``archive`` (a workbook is one), ``parquet``, ``arrow``, ``arrow stream``, ``sqlite``,
        ``json``, ``old workbook``, ``protected file``, ``old feather``, ``PDF``, ``gzip``,
        ``picture``, ``text document``, ``markup`` (a web page or XML), or ``text``.

    Examples
    --------
    >>> form_of(b"animal,systolic"), form_of(b' {"animal": 1}'), form_of(b"PAR1")
    ('text', 'json', 'parquet')
    """
    for magic, form in _MAGIC:
        if data.startswith(magic):
            if form == "old workbook":
                inside = (kind for mark, kind in _IN_CONTAINER if mark.encode("utf-16-le") in data)
                return next(inside, form)
            return form
    if _FILM.match(data):
        return "picture"
    body = data[:10_000]
    for mark in MARKS:
        if body.startswith(mark):
            body = body[len(mark) :].replace(b"\0", b"")
            break
    if _MARKUP.match(body):
        return "markup"
    return "json" if _JSON.match(body) else "text"
