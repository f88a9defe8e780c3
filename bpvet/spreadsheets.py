"""Text that a spreadsheet would take for a formula: an apostrophe before it, and off it again.

A spreadsheet runs a cell that begins with one of ``= + - @`` (or their full-width forms), also
after blanks; where it takes another separator than the file's, whatever stands after a semicolon,
a tab or a line break begins a cell too. An apostrophe before it makes it a text. Taking it off
gives back every text as it was, also one that began with an apostrophe. Standard library only.

The patterns are written so that Python and RE2 (Arrow) read them alike.
"""

from __future__ import annotations

import re

#: What begins a formula: signs, and their small and full-width forms.
_SIGNS = "=+@\ufe62\ufe63\ufe66\ufe6b\uff0b\uff0d\uff1d\uff20\\-"
#: What splits a cell for a spreadsheet that takes another separator.
_SPLITS = ";\\t\\r\\n"
#: What may stand before it unseen: blanks, control characters, marks of no width.
_UNSEEN = (
    "\\x00-\\x08\\x0b\\x0c\\x0e-\\x20\\x7f-\u00a0\u00ad\u1680\u2000-\u200f\u2028-\u202f"
    "\u205f-\u2069\u3000\ufeff"
)
#: At the start of a cell, and after a split within it: what comes before the formula, and its sign.
_AT_START = f"[{_UNSEEN}{_SPLITS}']*[{_SIGNS}\\t\\r\\n]"
_WITHIN = f"[{_UNSEEN}']*[{_SIGNS}]"

#: Patterns of an apostrophe that stands before a formula; the groups are what is kept of it.
GUARDS = ((f"^'({_AT_START})", "\\1"), (f"([{_SPLITS}])'({_WITHIN})", "\\1\\2"))

_NEEDED_AT_START = re.compile(_AT_START)
_NEEDED_WITHIN = re.compile(f"([{_SPLITS}])(?={_WITHIN})")
_TAKEN_OFF = tuple((re.compile(pattern), kept) for pattern, kept in GUARDS)


def guarded(text: str) -> str:
    """Return a text with an apostrophe before whatever a spreadsheet would take for a formula.

    Examples
    --------
    >>> guarded("=1+1"), guarded(" -5"), guarded("calm; =1"), guarded("a-b")
    ("'=1+1", "' -5", "calm;' =1", 'a-b')
    """
    within = _NEEDED_WITHIN.sub("\\1'", text)
    return f"'{within}" if _NEEDED_AT_START.match(within) else within


def unguarded(text: str) -> str:
    """Return a text as it was before `guarded`.

    Examples
    --------
    >>> unguarded("'=1+1"), unguarded("''=1"), unguarded("'tis")
    ('=1+1', "'=1", "'tis")
    """
    for pattern, kept in _TAKEN_OFF:
        text = pattern.sub(kept, text)
    return text
