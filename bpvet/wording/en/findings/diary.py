"""A home diary: lines not filled in, tablets that were missed, and what looks like a dose."""

from __future__ import annotations

from types import MappingProxyType

from bpvet.printing import shown
from bpvet.records.cells import SomeLines
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words, WordsByCode
from bpvet.wording.en.findings.phrases import NOTHING_TO_DO, lines_named


def _empty_lines(lines: int) -> Words:
    what = "One line of the diary is" if lines == 1 else f"{lines} lines of the diary are"
    passed = "is" if lines == 1 else "are"
    return Words(f"{what} not filled in yet and {passed} passed over.", NOTHING_TO_DO)


def _missed(lines: SomeLines) -> Words:
    return Words(
        f"{lines_named(lines)} of the diary: a tablet was missed or late. It stands among the "
        "missed doses.",
        NOTHING_TO_DO,
    )


def _ask(text: str, why: str) -> Words:
    return Words(
        f"The diary says {shown(text)}: {why}. It is kept as it stands, and changes nothing.",
        "Ask the owner what was given. If doses were missed, write missed; a change of treatment "
        "goes among the treatments, by the vet.",
    )


def _unclear(text: str) -> Words:
    return _ask(text, "neither given, missed nor late")


def _dose(text: str) -> Words:
    return _ask(text, "what looks like a dose")


WORDS: WordsByCode = MappingProxyType(
    {
        Code.DIARY_LINES_EMPTY: _empty_lines,
        Code.DIARY_MISSED: _missed,
        Code.DIARY_UNCLEAR: _unclear,
        Code.DIARY_DOSE: _dose,
    }
)
