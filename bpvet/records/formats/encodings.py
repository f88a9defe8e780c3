"""A file's bytes to UTF-8, by its mark or as stated; an encoding is never detected."""

from __future__ import annotations

import codecs

from bpvet.errors import CallError
from bpvet.reasons import reason
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, finding_of
from bpvet.records.headings.near_names import did_you_mean, nearest

#: Marks at the start of a file, and what each says.
MARKS = {
    codecs.BOM_UTF8: "utf-8-sig",
    codecs.BOM_UTF16_LE: "utf-16",
    codecs.BOM_UTF16_BE: "utf-16",
}
#: Encodings of eight bits that files without a mark come in. They cannot be told apart for certain,
#: so a word is shown in each.
CANDIDATES = ("cp1252", "mac-roman", "cp1250")
_BETWEEN_WORDS = (b",", b";", b"\t", b"|", b"\n", b"\r", b" ", b'"')
NAMES = {"utf-8-sig": reason("encoding.marked"), "utf-8": "UTF-8", "utf-16": "UTF-16"}


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
        findings.append(finding_of(Code.ARCHIVE_NOT_TEXT, file, stops=True))
        return None, ""
    marked = next((code for mark, code in MARKS.items() if data.startswith(mark)), None)
    # A mark is certain; without one, valid UTF-8 is UTF-8, and the stated encoding is for the
    # rest, so that a folder may hold files of both kinds.
    tries = [marked] if marked else ["utf-8", *([encoding] if encoding else [])]
    for code in tries:
        try:
            text = data if code == "utf-8" and data.isascii() else data.decode(code).encode("utf-8")
        except UnicodeError as error:
            failed, where = code, getattr(error, "start", 0)
            continue
        if b"\0" not in text:
            return text, NAMES.get(code, code)
        failed, where = "", text.index(b"\0")
    line = data[:where].count(b"\n") + 1
    utf_16 = _utf_16(data)
    if failed:
        name = NAMES.get(failed.removesuffix("-sig"), failed)
        choices = () if utf_16 else _choices(data, where)
        findings.append(
            finding_of(
                Code.NOT_IN_ENCODING,
                file,
                line,
                stops=True,
                encoding=name,
                utf_16=utf_16,
                choices=choices,
            )
        )
    else:
        findings.append(finding_of(Code.NUL_BYTES, file, line, stops=True, utf_16=utf_16))
    return None, ""


def _choices(data: bytes, where: int) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Return what encodings make of the word at a place: each word with the codes that read it so.

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
    return tuple((word, tuple(read[word])) for word in words)


def _utf_16(data: bytes) -> str:
    """Return as which UTF-16 a text without a mark looks, "" where it does not."""
    top = data[:2000]
    odd, even = top[1::2].count(0), top[::2].count(0)
    if 2 * max(odd, even) < len(top) // 2 or min(odd, even):
        return ""
    return "utf-16-le" if odd else "utf-16-be"


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
