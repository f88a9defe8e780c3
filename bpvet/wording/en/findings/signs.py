"""Signs that ask: what is not understood or unclear, and what notes seem to say of signs."""

from __future__ import annotations

from bpvet.printing import prose_date, shown
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words
from bpvet.wording.en.findings.wording import Wording

WORDS = Wording()

#: Letters of a sign or a note that are shown.
_LONGEST = 100


def _listed(pieces: tuple[str, ...]) -> str:
    return ", ".join(shown(text, _LONGEST) for text in pieces)


@WORDS.of(Code.SIGN_NOT_UNDERSTOOD)
def _not_understood(pieces: tuple[str, ...]) -> Words:
    return Words(
        f"{_listed(pieces)} is not understood.",
        "Write it in other words, or in the usual terms of the trade.",
    )


@WORDS.of(Code.SIGN_UNCLEAR)
def _unclear(pieces: tuple[str, ...]) -> Words:
    return Words(
        f"{_listed(pieces)} is unclear: is it there, or not?",
        "Say so under status: present, absent, resolved or longstanding, with a plain sign.",
    )


@WORDS.of(Code.SIGN_IN_NOTE)
def _in_note(day: str, note: str) -> Words:
    return Words(
        f"A note of {prose_date(day)} says {shown(note, _LONGEST)}.",
        "If it is a sign, enter it among the observations.",
    )
