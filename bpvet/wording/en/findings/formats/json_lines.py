"""Files of JSON: what is not sound, and numbers that JSON does not have."""

from __future__ import annotations

from bpvet.records.cells import SomeLines
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words
from bpvet.wording.en.findings.phrases import lines_named
from bpvet.wording.en.findings.wording import Wording

_ONE_A_LINE = "Write one object a line, with one plain value under each name."
WORDS = Wording(
    {
        Code.TOO_MANY_NAMES: Words(
            "The objects have more names between them than a table has columns.", _ONE_A_LINE
        ),
        Code.NO_OBJECT: Words("No line holds an object.", _ONE_A_LINE),
    }
)


@WORDS.of(Code.UNSOUND_JSON)
def _unsound(why: str) -> Words:
    return Words(f"This is not sound JSON: {why}.", _ONE_A_LINE)


@WORDS.of(Code.NOT_JSON_NUMBERS)
def _not_numbers(lines: SomeLines) -> Words:
    return Words(
        f"{lines_named(lines)}: NaN and Infinity are not JSON, and are taken as they stand.",
        "Write null for what is missing.",
    )
