"""The codes of all findings of the record check, by check, and the kinds that group them.

A code stays when its words change. A finding is entered here first and is worded under its code in
the module of `bpvet.wording.en.findings` that bears the check's name; what the program decides by
is a code or a kind, never a word of a sentence.
"""

from __future__ import annotations

from enum import Enum, StrEnum


class Kind(StrEnum):
    """What findings are grouped by; the text is what `Finding.kind` and the JSON give."""

    BROKEN_LINE = "broken line"
    NOT_IN_MMHG = "not in mmHg"
    WHITE_SPACE = "white space"


class Code(Enum):
    """What was found: the check and the case, and the kind it is grouped under.

    Attributes
    ----------
    key : str
        The name of the check's module in the wording, a point, and the case.
    kind : Kind
        The kind; blank where each finding brings its own.
    """

    # A finding whose two sentences are made by whoever finds it, such as a reader of a format.
    AS_FOUND = "as_found", ""

    # A table's cells.
    WHITE_SPACE = "cells.white_space", Kind.WHITE_SPACE
    BROKEN_LINE = "cells.broken_line", Kind.BROKEN_LINE

    key: str
    kind: str

    def __init__(self, key: str, kind: str) -> None:
        self.key = key
        self.kind = kind
