"""The words of any finding, by its code."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import import_module
from types import MappingProxyType

from bpvet.records.finding_codes import Code
from bpvet.records.findings import NamedValues, Outcome, Words
from bpvet.wording.en.findings.phrases import IDLE
from bpvet.wording.en.findings.wording import Wording

#: What was done about a cell, as the sentence that ends the reason.
OUTCOMES = MappingProxyType(
    {
        Outcome.ROW: "The row is set aside.",
        Outcome.CELL: "This value is set aside, the rest of the row is kept.",
        Outcome.KEPT: "",
    }
)


def words_of(code: Code, each: Sequence[NamedValues], outcome: Outcome) -> list[Words]:
    """Return reason and fix of findings (k,); what was done about them ends the reasons.

    Equal values are worded once.
    """
    found, end = wording_of(code).by_code[code], OUTCOMES[outcome]
    made: dict[NamedValues, Words] = {}
    for named in each:
        if named not in made:
            reason, fix, _ = found if isinstance(found, Words) else found(**dict(named))
            made[named] = Words(f"{reason} {end}".rstrip(), fix, asks=fix not in IDLE)
    return [made[named] for named in each]


def wording_of(code: Code) -> Wording:
    """Return the words of the check that a code is of: those of the others are not loaded."""
    check = code.key.rpartition(".")[0]
    found: Wording = import_module(f"{__package__}.{check}").WORDS
    return found
