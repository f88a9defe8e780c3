"""The mapping file: what it names and is not there, and options that go before it."""

from __future__ import annotations

from bpvet.printing import shown
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words
from bpvet.records.headings.near_names import did_you_mean
from bpvet.records.read_options import DATE_ORDERS
from bpvet.wording.en.findings.phrases import NOTHING_TO_DO
from bpvet.wording.en.findings.wording import Wording

WORDS = Wording()


def _fix(near: tuple[str, ...]) -> str:
    return did_you_mean(near) or "Nothing to do, or delete it."


@WORDS.of(Code.NO_SUCH_HEADING)
def _no_such_heading(name: str, near: tuple[str, ...]) -> Words:
    return Words(f"No file has a column headed {shown(name)}.", _fix(near))


@WORDS.of(Code.NO_SUCH_FILE)
def _no_such_file(name: str, near: tuple[str, ...]) -> Words:
    return Words(f"There is no file {shown(name)} among the records.", _fix(near))


def _overruled(so: str) -> Words:
    return Words(f"{so}, as the option says, not as this file says.", NOTHING_TO_DO)


@WORDS.of(Code.DATES_OVERRULED)
def _dates(order: str) -> Words:
    return _overruled(f"Dates are read {DATE_ORDERS[order]}")


@WORDS.of(Code.UNIT_OVERRULED)
def _unit(unit: str) -> Words:
    return _overruled(f"Pressures are read in {unit}")


@WORDS.of(Code.ENCODING_OVERRULED)
def _encoding(encoding: str) -> Words:
    return _overruled(f"Files that are not UTF-8 are read as {encoding}")


@WORDS.of(Code.COLUMN_OVERRULED)
def _column(theirs: str, ours: str) -> Words:
    return _overruled(f"The column {shown(theirs)} is read as {ours}")
