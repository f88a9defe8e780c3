"""The file by which a reader settles what a file of records does not say, and what stands in it."""

from __future__ import annotations

import json

#: The small file beside the records that says how they are written.
FILE_NAME = "bpvet-columns.toml"
#: A layout that is said, since no file shows it.
FILE_AN_ANIMAL = "one file an animal"
#: What a heading is mapped to that is to be kept as text and not read.
UNUSED = "unused"


def quoted(text: str) -> str:
    """Return a text as TOML has it.

    Examples
    --------
    >>> quoted('the "new" one')
    '"the \\\\"new\\\\" one"'
    """
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
