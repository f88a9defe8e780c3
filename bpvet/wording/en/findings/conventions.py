"""The mapping file: what it names and is not there, and options that go before it."""

from __future__ import annotations

from types import MappingProxyType

from bpvet.printing import shown
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words, WordsByCode
from bpvet.records.headings.near_names import did_you_mean
from bpvet.records.read_options import DATE_ORDERS
from bpvet.wording.en.findings.phrases import NOTHING_TO_DO


def _fix(near: tuple[str, ...]) -> str:
    return did_you_mean(near) or "Nothing to do, or delete it."


def _no_such_heading(name: str, near: tuple[str, ...]) -> Words:
    return Words(f"No file has a column headed {shown(name)}.", _fix(near))


def _no_such_file(name: str, near: tuple[str, ...]) -> Words:
    return Words(f"There is no file {shown(name)} among the records.", _fix(near))


def _overruled(so: str) -> Words:
    return Words(f"{so}, as the option says, not as this file says.", NOTHING_TO_DO)


WORDS: WordsByCode = MappingProxyType(
    {
        Code.NO_SUCH_HEADING: _no_such_heading,
        Code.NO_SUCH_FILE: _no_such_file,
        Code.DATES_OVERRULED: lambda order: _overruled(f"Dates are read {DATE_ORDERS[order]}"),
        Code.UNIT_OVERRULED: lambda unit: _overruled(f"Pressures are read in {unit}"),
        Code.ENCODING_OVERRULED: lambda encoding: _overruled(
            f"Files that are not UTF-8 are read as {encoding}"
        ),
        Code.COLUMN_OVERRULED: lambda theirs, ours: _overruled(
            f"The column {shown(theirs)} is read as {ours}"
        ),
    }
)
