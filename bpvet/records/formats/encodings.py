"""A file's bytes to UTF-8, by its mark or as stated; an encoding is never detected."""

from __future__ import annotations

import codecs

from bpvet.errors import CallError
from bpvet.records.findings import Finding, shown, whole
from bpvet.records.headings.near_names import did_you_mean, nearest
from bpvet.records.headings.settled import at_the_top

#: Marks at the start of a file, and what each says.
MARKS = {
    codecs.BOM_UTF8: "utf-8-sig",
    codecs.BOM_UTF16_LE: "utf-16",
    codecs.BOM_UTF16_BE: "utf-16",
}
#: Encodings of eight bits that files without a mark come in, and whose they are. They cannot be
#: told apart for certain, so a word is shown in each.
CANDIDATES = {
    "cp1252": "Windows, western Europe",
    "mac-roman": "old Macintosh",
    "cp1250": "Windows, central Europe",
}
SAVE_AS_UTF8 = "Or save the file as CSV UTF-8."
NOT_TEXT = "Save it as CSV with the encoding UTF-8 and read that."
_BETWEEN_WORDS = (b",", b";", b"\t", b"|", b"\n", b"\r", b" ", b'"')
NAMES = {"utf-8-sig": "UTF-8 with a mark", "utf-8": "UTF-8", "utf-16": "UTF-16"}


def as_utf8(
    file: str, data: bytes, encoding: str | None, findings: list[Finding]
) -> tuple[bytes | None, str]:
    """Return a file's text as UTF-8 without a mark, and the name of the encoding it was in.

    Parameters
    ----------
    file : str
        Name of the file, for the findings.
    data : bytes
        Its content.
    encoding : str or None
        Encoding of a file that is not UTF-8 and bears no mark.
    findings : list of Finding
        A stopping finding is added here where the text cannot be read; the text is then None.
    """
    if data.startswith(b"PK\x03\x04"):
        mend = "Save the sheet as CSV (UTF-8) and read that."
        findings.append(
            whole(file, "This is a workbook or an archive, not text.", mend, "not text")
        )
        return None, ""
    marked = next((code for mark, code in MARKS.items() if data.startswith(mark)), None)
    # A mark is certain; without one, valid UTF-8 is UTF-8, and the stated encoding is for the
    # rest, so that a folder may hold files of both kinds.
    tries = [marked] if marked else ["utf-8", *([encoding] if encoding else [])]
    for code in tries:
        try:
            text = data if code == "utf-8" and data.isascii() else _decoded(data, code)
        except UnicodeError as error:
            failed, where = code, getattr(error, "start", 0)
            continue
        if b"\0" not in text:
            return text, NAMES.get(code, code)
        failed, where = "", text.index(b"\0")
    line = data[:where].count(b"\n") + 1
    wide = _which_order_of_bytes(data)
    if failed:
        name = NAMES.get(failed, failed).removesuffix(" with a mark")
        reason, kind, mend = f"The text is not {name}.", "encoding", wide or _which(data, where)
    else:
        reason, kind = "This is not a text file: it holds NUL bytes.", "not text"
        mend = wide or NOT_TEXT
    findings.append(whole(file, reason, mend, kind, line))
    return None, ""


def _which(data: bytes, where: int) -> str:
    """Return which encodings would read the word at a place, what each makes of it, and how to say.

    Those that make letters of it stand first; nothing is chosen.
    """
    start, end = where, where
    while start > 0 and where - start < 20 and data[start - 1 : start] not in _BETWEEN_WORDS:
        start -= 1
    while end < len(data) and end - where < 20 and data[end : end + 1] not in _BETWEEN_WORDS:
        end += 1
    read: dict[str, list[str]] = {}
    for code in CANDIDATES:
        try:
            word = data[start:end].decode(code)
        except UnicodeError:
            continue
        read.setdefault(word, []).append(code)
    words = sorted(read, key=lambda word: not word.isalpha())
    said = [f"{shown(word)} in {' or '.join(map(_named, read[word]))}" for word in words]
    if not said:
        return SAVE_AS_UTF8
    first = read[words[0]][0]
    ends = f"{', '.join(said[:-1])} or {said[-1]}" if len(said) > 1 else said[0]
    return (
        f"A word there is {ends}. Say which is right, here for {first}: --encoding {first}; or "
        + at_the_top(f'encoding = "{first}"')
        + f". {SAVE_AS_UTF8}"
    )


def _named(code: str) -> str:
    return f"{code} ({CANDIDATES[code]})"


def _which_order_of_bytes(data: bytes) -> str:
    """Return how it is said that a text is UTF-16 without a mark, "" where it is not."""
    top = data[:2000]
    odd, even = top[1::2].count(0), top[::2].count(0)
    if 2 * max(odd, even) < len(top) // 2 or min(odd, even):
        return ""
    code = "utf-16-le" if odd else "utf-16-be"
    line = at_the_top(f'encoding = "{code}"')
    return f"It looks like UTF-16 without a mark. If so, say it: --encoding {code}; or {line}."


def _decoded(data: bytes, code: str) -> bytes:
    return data.decode(code).encode("utf-8")


def check_encoding(encoding: str | None) -> None:
    """Raise a `CallError` unless the encoding is a known one of text, or None."""
    if encoding is not None and (wrong := encoding_trouble(encoding)):
        raise CallError(wrong)


def encoding_trouble(encoding: str) -> str:
    """Return what is wrong with the name of an encoding, "" where it is a known one of text."""
    try:
        # "".encode refuses codecs that are not text encodings, which lookup alone lets pass.
        "a".encode(encoding)
        b"a\0".decode(encoding)
    except UnicodeError:
        return ""
    except (LookupError, TypeError, ValueError):
        known = [*CANDIDATES, "latin-1", "utf-8", "utf-16", "utf-16-le", "utf-16-be"]
        hint = did_you_mean(nearest(str(encoding), known, n=1))
        return f'The encoding "{encoding}" is not known. {hint}'.rstrip()
    return ""
