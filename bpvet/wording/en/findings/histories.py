"""What the tables say together and may be a slip: drugs, animals and sessions."""

from __future__ import annotations

from bpvet.printing import shown
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words
from bpvet.records.headings.near_names import either
from bpvet.wording.en.findings.phrases import ONE_WAY, SPELL_SO
from bpvet.wording.en.findings.wording import Wording

WORDS = Wording()


@WORDS.of(Code.DRUG_NEARLY)
def _drug_nearly(written: str, near: tuple[str, ...]) -> Words:
    return Words(
        f"{shown(written)} is not a drug known here, but is spelled nearly as {either(near)}. It "
        "is kept as it is written, and is not taken as a pressure drug unless its purpose names "
        "blood pressure.",
        SPELL_SO,
    )


@WORDS.of(Code.DRUG_OFF_THE_LIST)
def _drug_off_the_list(written: str) -> Words:
    return Words(
        f"{shown(written)} is not on the drug list and is not taken as a pressure drug; if it is "
        "one, write purpose = blood pressure.",
        'Write its generic name, or the purpose: "blood pressure", or "not for pressure".',
    )


@WORDS.of(Code.SAME_ANIMAL)
def _same_animal(written: str, other: str) -> Words:
    return Words(
        f"{shown(written)} has the name, the species and the birth date of {shown(other)}. They "
        "are kept as two animals.",
        ONE_WAY,
    )


@WORDS.of(Code.SESSIONS_OVERLAP)
def _sessions_overlap(written: str) -> Words:
    return Words(
        f"The session {shown(written)} begins before an earlier one of that animal, day and method "
        "has ended. Both are kept.",
        "Correct the label or the times, if these readings belong together.",
    )
