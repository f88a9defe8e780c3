"""Layouts that are not one row a reading: dates that head the columns, several numbers a cell."""

from __future__ import annotations

from bpvet.printing import shown
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words
from bpvet.wording.en.findings.phrases import NOTHING_TO_DO
from bpvet.wording.en.findings.settled import WHICH_ORDER, as_column
from bpvet.wording.en.findings.values import both_readings
from bpvet.wording.en.findings.wording import Wording

WORDS = Wording()


@WORDS.of(Code.HEADED_BY_WHICH_DATES)
def _which_dates(head: str) -> Words:
    return Words(
        f"Dates head the columns, and {shown(head)} could be {both_readings(head)}.", WHICH_ORDER
    )


@WORDS.of(Code.NOTHING_UNDER_DATES)
def _nothing_under_dates(rows: int) -> Words:
    many, skipped = (f"{rows} rows have", "were") if rows > 1 else ("One row has", "was")
    return Words(f"{many} no reading under any date and {skipped} skipped.", NOTHING_TO_DO)


@WORDS.of(Code.SEVERAL_NUMBERS)
def _several_numbers(cells: int, such_as: str, head: str) -> Words:
    many = f"{cells} cells hold" if cells > 1 else "One cell holds"
    return Words(
        f"{many} several numbers, such as {shown(such_as)}: readings one after the other, or "
        "systolic over diastolic? The rows are set aside.",
        f"Say which. For readings: {as_column(head, 'systolic_list')}. For the two pressures the "
        'same with "systolic_diastolic".',
    )
