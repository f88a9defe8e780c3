"""Files of text whose encoding is not what it seems, or which are no text."""

from __future__ import annotations

from bpvet.printing import shown
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words
from bpvet.wording.en.findings.settled import at_the_top
from bpvet.wording.en.findings.wording import Wording

#: Whose the encodings of `bpvet.records.formats.encodings.CANDIDATES` are.
_WHOSE = {
    "cp1252": "Windows, western Europe",
    "mac-roman": "old Macintosh",
    "cp1250": "Windows, central Europe",
}
_SAVE_AS_UTF8 = "Or save the file as CSV UTF-8."
#: Words, each with the encodings that read it so.
_Choices = tuple[tuple[str, tuple[str, ...]], ...]
WORDS = Wording(
    {
        Code.ARCHIVE_NOT_TEXT: Words(
            "This is a workbook or an archive, not text.",
            "Save the sheet as CSV (UTF-8) and read that.",
        ),
    }
)


@WORDS.of(Code.NOT_IN_ENCODING)
def _not_in_encoding(encoding: str, utf_16: str, choices: _Choices) -> Words:
    return Words(f"The text is not {encoding}.", _looks_like(utf_16) or _which(choices))


@WORDS.of(Code.NUL_BYTES)
def _nul_bytes(utf_16: str) -> Words:
    return Words(
        "This is not a text file: it holds NUL bytes.",
        _looks_like(utf_16) or "Save it as CSV with the encoding UTF-8 and read that.",
    )


def _looks_like(utf_16: str) -> str:
    """Return how it is stated that a text is UTF-16 without a mark, "" where it is not."""
    if not utf_16:
        return ""
    line = at_the_top(f'encoding = "{utf_16}"')
    return f"It looks like UTF-16 without a mark. If so, say it: --encoding {utf_16}; or {line}."


def _which(choices: _Choices) -> str:
    """Return which encodings would read a word, what each makes of it, and how it is stated."""
    if not choices:
        return _SAVE_AS_UTF8
    words = [
        f"{shown(word)} in {' or '.join(f'{code} ({_WHOSE[code]})' for code in codes)}"
        for word, codes in choices
    ]
    first = choices[0][1][0]
    ends = f"{', '.join(words[:-1])} or {words[-1]}" if len(words) > 1 else words[0]
    return (
        f"A word there is {ends}. Say which is right, here for {first}: --encoding {first}; or "
        + at_the_top(f'encoding = "{first}"')
        + f". {_SAVE_AS_UTF8}"
    )
