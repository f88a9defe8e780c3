"""The words of any finding, by its code."""

from __future__ import annotations

from collections.abc import Sequence
from types import MappingProxyType

from bpvet.records.finding_codes import Code
from bpvet.records.findings import NamedValues, Outcome, Words, WordsByCode
from bpvet.wording.en.findings import (
    animals,
    cancelled,
    cells,
    conventions,
    diary,
    duplicates,
    folder,
    headers,
    histories,
    labs,
    layouts,
    missed,
    non_data_rows,
    plausible,
    rows,
    signs,
    slips,
    treatments,
    values,
)
from bpvet.wording.en.findings.formats import (
    archive,
    arrow_tables,
    database,
    encodings,
    fhir,
    files,
    json_lines,
    separated,
    workbook,
)
from bpvet.wording.en.findings.phrases import IDLE

#: What was done about a cell, as the sentence that ends the reason.
OUTCOMES = MappingProxyType(
    {
        Outcome.ROW: "The row is set aside.",
        Outcome.CELL: "This value is set aside, the rest of the row is kept.",
        Outcome.KEPT: "",
    }
)


WORDS: WordsByCode = MappingProxyType(
    {
        **animals.WORDS.by_code,
        **archive.WORDS.by_code,
        **arrow_tables.WORDS.by_code,
        **cancelled.WORDS.by_code,
        **cells.WORDS.by_code,
        **conventions.WORDS.by_code,
        **database.WORDS.by_code,
        **diary.WORDS.by_code,
        **duplicates.WORDS.by_code,
        **encodings.WORDS.by_code,
        **fhir.WORDS.by_code,
        **files.WORDS.by_code,
        **folder.WORDS.by_code,
        **headers.WORDS.by_code,
        **histories.WORDS.by_code,
        **json_lines.WORDS.by_code,
        **labs.WORDS.by_code,
        **layouts.WORDS.by_code,
        **missed.WORDS.by_code,
        **non_data_rows.WORDS.by_code,
        **plausible.WORDS.by_code,
        **rows.WORDS.by_code,
        **separated.WORDS.by_code,
        **signs.WORDS.by_code,
        **slips.WORDS.by_code,
        **treatments.WORDS.by_code,
        **values.WORDS.by_code,
        **workbook.WORDS.by_code,
    }
)


def words_of(code: Code, each: Sequence[NamedValues], outcome: Outcome) -> list[Words]:
    """Return reason and fix of findings (k,); what was done about them ends the reasons.

    Equal values are worded once.
    """
    found, end = WORDS[code], OUTCOMES[outcome]
    made: dict[NamedValues, Words] = {}
    for named in each:
        if named not in made:
            reason, fix, _ = found if isinstance(found, Words) else found(**dict(named))
            made[named] = Words(f"{reason} {end}".rstrip(), fix, asks=fix not in IDLE)
    return [made[named] for named in each]
