"""A home diary: lines not filled in, tablets that were missed, and what looks like a dose."""

from __future__ import annotations

from bpvet.printing import shown
from bpvet.records.cells import SomeLines
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words
from bpvet.wording.en.findings.phrases import NOTHING_TO_DO, lines_named
from bpvet.wording.en.findings.wording import Wording

WORDS = Wording()


@WORDS.of(Code.DIARY_LINES_EMPTY)
def _empty_lines(lines: int) -> Words:
    what = "One line of the diary is" if lines == 1 else f"{lines} lines of the diary are"
    passed = "is" if lines == 1 else "are"
    return Words(f"{what} not filled in yet and {passed} passed over.", NOTHING_TO_DO)


@WORDS.of(Code.DIARY_MISSED)
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


@WORDS.of(Code.DIARY_UNCLEAR)
def _unclear(text: str) -> Words:
    return _ask(text, "neither given, missed nor late")


@WORDS.of(Code.DIARY_DOSE)
def _dose(text: str) -> Words:
    return _ask(text, "what looks like a dose")
