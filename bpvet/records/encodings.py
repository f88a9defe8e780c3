"""A file's bytes to UTF-8, by its mark or as stated; an encoding is never detected."""

from __future__ import annotations

import codecs

from bpvet.errors import CallError
from bpvet.records.findings import Finding, whole
from bpvet.records.suggest import did_you_mean, nearest

#: Marks at the start of a file, and what each says.
MARKS = {
    codecs.BOM_UTF8: "utf-8-sig",
    codecs.BOM_UTF16_LE: "utf-16",
    codecs.BOM_UTF16_BE: "utf-16",
}
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
        if b"\0" in text:
            line = text[: text.index(b"\0")].count(b"\n") + 1
            mend = "Save it as CSV with the encoding UTF-8 and read that."
            findings.append(
                whole(file, "This is not a text file: it holds NUL bytes.", mend, "not text", line)
            )
            return None, ""
        return text, NAMES.get(code, code)
    findings.append(
        whole(
            file,
            f"The text is not {NAMES.get(failed, failed).removesuffix(' with a mark')}.",
            "Save it as CSV UTF-8, or say how it is encoded: --encoding cp1252 on the command "
            'line, encoding="cp1252" in Python (Windows, western Europe).',
            "encoding",
            data[:where].count(b"\n") + 1,
        )
    )
    return None, ""


def _decoded(data: bytes, code: str) -> bytes:
    return data.decode(code).encode("utf-8")


def check_encoding(encoding: str | None) -> None:
    """Raise a `CallError` unless the encoding is a known one of text, or None."""
    if encoding is None:
        return
    try:
        # "".encode refuses codecs that are not text encodings, which lookup alone lets pass.
        "a".encode(encoding)
        b"a".decode(encoding)
    except (LookupError, TypeError, ValueError):
        known = ["cp1252", "cp1250", "latin-1", "mac-roman", "utf-8", "utf-16"]
        hint = did_you_mean(nearest(str(encoding), known, n=1))
        raise CallError(f'The encoding "{encoding}" is not known. {hint}'.rstrip()) from None
