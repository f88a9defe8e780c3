"""Signs that ask: what is not understood or unclear, and what notes seem to say of signs."""

from __future__ import annotations

from types import MappingProxyType

from bpvet.printing import prose_date, shown
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words, WordsByCode

#: Letters of a sign or a note that are shown.
_LONGEST = 100


def _listed(pieces: tuple[str, ...]) -> str:
    return ", ".join(shown(text, _LONGEST) for text in pieces)


def _not_understood(pieces: tuple[str, ...]) -> Words:
    return Words(
        f"{_listed(pieces)} is not understood.",
        "Write it in other words, or in the usual terms of the trade.",
    )


def _unclear(pieces: tuple[str, ...]) -> Words:
    return Words(
        f"{_listed(pieces)} is unclear: is it there, or not?",
        "Say so under status: present, absent, resolved or longstanding, with a plain sign.",
    )


def _in_note(day: str, note: str) -> Words:
    return Words(
        f"A note of {prose_date(day)} says {shown(note, _LONGEST)}.",
        "If it is a sign, enter it among the observations.",
    )


WORDS: WordsByCode = MappingProxyType(
    {
        Code.SIGN_NOT_UNDERSTOOD: _not_understood,
        Code.SIGN_UNCLEAR: _unclear,
        Code.SIGN_IN_NOTE: _in_note,
    }
)
