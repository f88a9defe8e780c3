"""The line for the chart that ``bpvet average`` prints, read back to every reading that it holds.

Its format is stated where it is written, in the answers; the readings in it are complete, so that
its mean is not needed. A line that does not fit the format to the last mark is not read.
"""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.frozen import dataclass
from bpvet.records.parsing.columns import TEXT

_LINE = (
    r"^(?:(?P<when>[0-9]{4}-[0-9]{2}-[0-9]{2}(?:[T ][0-9:.]+)?) )?"
    r'(?:animal "(?P<animal>(?:[^"]|"")*)" )?'
    r"Systolic(?:[^(;]*) \((?P<method>Doppler|oscillometric), "
    r"(?:(?P<condition>home|calmed|sedated|anaesthetised), )?"
    r"mean of [0-9]+ of (?P<taken>[0-9]+) readings?(?:, SD [0-9.]+)?; (?P<readings>[^\x1e]+)\)$"
)
_END = r"(?P<left> left out)?(?: excluded \"(?P<excluded>(?:[^\"]|\"\")*)\")?$"
_NUMBER = r"[0-9]+(?:\.[0-9]+)?"
_READING = (
    rf"^(?P<systolic>no sound|(?:[<>] )?{_NUMBER})(?:/(?P<diastolic>(?:{_NUMBER})?))?"
    rf"(?:/(?P<mean>(?:{_NUMBER})?))?(?:/(?P<heart_rate>(?:{_NUMBER})?))?{_END}"
)
_PARTS = ("systolic", "diastolic", "mean", "heart_rate", "excluded")
#: Conditions as a line has them, and the columns that say the same.
_STATES = ("calmed", "sedated", "anaesthetised")


@dataclass(frozen=True, eq=False)
class ChartLines:
    """What lines for the chart hold.

    Parameters
    ----------
    row : array of int (m,)
        Which of the n cells each reading comes from, in order.
    columns : dict of str to pyarrow arrays of text (m,)
        The readings under our column names; ``reading`` is the order within its line. A cell that
        is no such line is one row, its text in ``systolic``.
    readable : array of bool (n,)
        Which cells are lines for the chart.
    """

    row: NDArray[np.int64]
    columns: dict[str, pa.Array]
    readable: NDArray[np.bool_]


def read_chart_lines(cells: pa.Array) -> ChartLines:
    """Return every reading of a column of lines for the chart.

    Parameters
    ----------
    cells : pyarrow array of text (n,)
        The cells, without white space around them; "" holds no line.
    """
    n = len(cells)
    found = pc.extract_regex(cells, _LINE)
    pieces, row = _split_readings(_group(found, "readings"))
    each = pc.extract_regex(pieces, _READING)
    fits = pc.is_valid(each).to_numpy(zero_copy_only=False)
    counted = np.bincount(row[fits], minlength=n)
    taken = pc.cast(pc.if_else(pc.is_valid(found), _group(found, "taken"), "0"), pa.int64())
    readable = pc.is_valid(found).to_numpy(zero_copy_only=False)
    whole = np.bincount(row, minlength=n)
    readable &= (counted == whole) & (counted == taken.to_numpy(zero_copy_only=False))
    kept = np.flatnonzero(readable[row])
    others = np.flatnonzero(~readable)
    order = np.argsort(np.concatenate([row[kept], others]), kind="stable")
    source = np.concatenate([row[kept], others])[order]
    # The text of a cell that is no line stands as systolic.
    elsewhere = cells.take(pa.array(others)).cast(TEXT)
    blank = pa.array([""] * len(others), TEXT)
    columns = {
        name: pa.concat_arrays(
            [_group(each, name).take(pa.array(kept)), elsewhere if name == "systolic" else blank]
        ).take(pa.array(order))
        for name in _PARTS
    }
    columns["excluded"] = pc.replace_substring(columns["excluded"], '""', '"')
    columns |= _of_line(found, readable, source)
    columns["reading"] = _order(source, readable)
    return ChartLines(source, columns, readable)


def _split_readings(texts: pa.Array) -> tuple[pa.Array, NDArray[np.int64]]:
    """Return the readings of each text (n,), and which text each is of.

    They are split at commas outside of quotation marks: the parts of a text between marks are in
    turn outside and inside, a doubled mark being an empty part outside.
    """
    parts = pc.split_pattern(texts, '"')
    flat = parts.flatten()
    offsets = parts.offsets.to_numpy()
    position = np.arange(len(flat)) - np.repeat(offsets[:-1], np.diff(offsets))
    apart = pc.replace_substring(flat, ", ", "\x1e")
    flat = pc.if_else(pa.array(position % 2 == 0), apart, flat)
    again = pc.binary_join(
        pa.ListArray.from_arrays(pa.array(offsets, pa.int32()), flat.cast(TEXT)),
        pa.scalar('"', TEXT),
    )
    readings = pc.split_pattern(again, "\x1e")
    many = np.diff(readings.offsets.to_numpy())
    return readings.flatten(), np.repeat(np.arange(len(texts)), many)


def _of_line(
    found: pa.StructArray, readable: NDArray[np.bool_], source: NDArray[np.int64]
) -> dict[str, pa.Array]:
    """Return what a line says of all its readings (m,); blank where it cannot be read."""
    condition = _group(found, "condition")
    home = pc.equal(condition, "home")
    lines = {
        "animal": pc.replace_substring(_group(found, "animal"), '""', '"'),
        "taken_at": _group(found, "when"),
        "method": pc.utf8_lower(_group(found, "method")),
        "setting": pc.if_else(home, condition, ""),
        "state": pc.if_else(pc.is_in(condition, pa.array(_STATES, TEXT)), condition, ""),
    }
    blanked = {name: pc.if_else(pa.array(readable), cells, "") for name, cells in lines.items()}
    return {name: cells.cast(TEXT).take(pa.array(source)) for name, cells in blanked.items()}


def _order(source: NDArray[np.int64], readable: NDArray[np.bool_]) -> pa.Array:
    """Return the order (m,) of each reading within its line as text; "" where it has none."""
    first = np.flatnonzero(np.diff(source, prepend=-1))
    many = np.diff(np.append(first, len(source)))
    position = np.arange(len(source)) - np.repeat(first, many) + 1
    return pc.if_else(pa.array(readable[source]), pc.cast(pa.array(position), TEXT), "").cast(TEXT)


def _group(found: pa.StructArray, name: str) -> pa.Array:
    return pc.coalesce(pc.struct_field(found, [name]), "").cast(TEXT)
