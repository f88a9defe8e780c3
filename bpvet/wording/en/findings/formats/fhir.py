"""Bundles of FHIR: what is passed over, what is changed, and what is not final."""

from __future__ import annotations

from bpvet.facts.codes import loinc
from bpvet.facts.protocol import MMHG_PER_KPA
from bpvet.records.cells import SomeLines
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words
from bpvet.wording.en.findings.phrases import NOTHING_TO_DO, lines_named
from bpvet.wording.en.findings.wording import Wording

WORDS = Wording()


@WORDS.of(Code.NO_PRESSURES)
def _no_pressures() -> Words:
    return Words(
        "The resources hold no blood pressure that is understood.",
        f"A reading is an Observation coded {loinc('panel')} or {loinc('systolic')} in LOINC.",
    )


@WORDS.of(Code.RESOURCES_NOT_READ)
def _not_read(kinds: tuple[tuple[str, int], ...], more: int) -> Words:
    listed = ", ".join(f"{count} {name}" for name, count in kinds)
    rest = f" and {more} more kinds" if more else ""
    return Words(
        f"Resources that are not understood are not read: {listed}{rest}.",
        "Nothing to do, unless one of them holds a blood pressure.",
    )


@WORDS.of(Code.DERIVED_MEANS)
def _derived(lines: SomeLines) -> Words:
    return Words(
        f"{lines_named(lines)}: means or panels of values that are given one by one.",
        "Nothing to do: the values themselves are read.",
    )


@WORDS.of(Code.SINGLE_VALUES)
def _single_values(lines: SomeLines) -> Words:
    return Words(
        f"{lines_named(lines)}: single values of the same animal and moment as one before. They "
        "are read as one reading with it.",
        NOTHING_TO_DO,
    )


@WORDS.of(Code.KPA_BY_CODE)
def _kilopascal(lines: SomeLines) -> Words:
    return Words(
        f"{lines_named(lines)}: pressures in kPa, multiplied by {MMHG_PER_KPA:.5f} to mmHg.",
        NOTHING_TO_DO,
    )


@WORDS.of(Code.NOT_FINAL)
def _not_final(lines: SomeLines) -> Words:
    return Words(
        f"{lines_named(lines)}: not final yet, and read as they stand.",
        "Read the records again when they are final.",
    )


@WORDS.of(Code.VOID)
def _void(lines: SomeLines) -> Words:
    return Words(
        f"{lines_named(lines)}: marked as an error or cancelled; no number is used.",
        "Nothing to do, unless the mark is wrong.",
    )
