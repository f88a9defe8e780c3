"""Laboratory values as recorded: names, units, what cannot be, bounds, and two of one day.

A value without a unit, or one that no animal has in the unit written, is set aside by name; both
units are named, and none is chosen. Nothing is converted but to compare two rows of one day.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bpvet.facts.analytes import all_analytes
from bpvet.facts.labs import ANALYTES as KNOWN
from bpvet.facts.labs import (
    factor,
    known_units,
    lab_limits,
    limited_by_species,
    unit_as_given,
)
from bpvet.facts.words import LAB_QUANTITIES, SPECIES
from bpvet.records.animals import Animals
from bpvet.records.checked_table import CheckedTable
from bpvet.records.checks.row_findings import WRITTEN, OfCell, OfRow
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Outcome
from bpvet.records.parsing.codes import as_one
from bpvet.records.parsing.columns import distinct, is_text, of_texts
from bpvet.records.parsing.numbers import BOUND_WORDS
from bpvet.records.parsing.values import Mask, Values
from bpvet.records.tables import ANALYTES, WITHOUT_UNIT, plain_name

#: Short names of analytes that are met: asked about, never taken for ours unasked.
_SHORT = {word: key for key, analyte in all_analytes().items() for word in analyte.other_words}
#: Names that are compared with ours; a file may hold a million of them.
_MOST_COMPARED = 2000
#: Two values of one day that differ by less than this share are one value in two units.
_SAME = 0.01
_AT_LEAST, _AT_MOST = 1, 2


def check_labs(checked: CheckedTable, values: Values, animals: Animals) -> None:
    """Name the analytes alike; set aside what has no unit, or what no animal has in its unit.

    Parameters
    ----------
    checked : CheckedTable
        The cells of the table `labs`.
    values : dict
        Their values, as `bpvet.records.parsing.values.parse` gives them; `analyte` is replaced.
    animals : Animals
        The animals, whose species the limits of a weight depend on.
    """
    if checked.n == 0:
        return
    texts, code = distinct(values["analyte"])
    read = [plain_name(text) if plain_name(text) in ANALYTES else text for text in texts]
    values["analyte"] = of_texts(read, code)
    _ask_names(checked, texts, read, code)
    of_row = np.array(read, dtype=object)[code]
    without = checked.blank("unit") & ~np.isin(of_row, WITHOUT_UNIT)
    checked.report(
        without & checked.has("unit") & ~checked.broken,
        "unit",
        Code.NO_UNIT,
        Outcome.ROW,
        analyte=OfRow(lambda row: str(of_row[row])),
    )
    checked.report(values["value"] < 0, "value", Code.LAB_BELOW_ZERO, Outcome.ROW)
    scale = np.full(checked.n, np.nan)
    for analyte, unit, rows in _kinds(checked, values):
        scale[rows] = factor(analyte, unit) or np.nan
        if factor(analyte, unit) is None:
            never = unit in all_analytes()[analyte].never
            found = Code.IMPOSSIBLE_UNIT if never else Code.UNKNOWN_UNIT
            outcome = Outcome.ROW if never else Outcome.KEPT
            checked.report(rows, "unit", found, outcome, analyte=analyte, unit=unit)
        _judge(checked, values, analyte, unit, rows, animals)
    _report_bounds(checked, values)
    _report_same_day(checked, values, scale)


def nearly_named(texts: Sequence[str]) -> dict[str, str]:
    """Return the known analyte of each name that is nearly one, or a short word for one."""
    near = {}
    for text in [text for text in texts if text not in ANALYTES][:_MOST_COMPARED]:
        plain = plain_name(text)
        fits = [_SHORT[plain]] if plain in _SHORT else []
        fits = fits or difflib.get_close_matches(plain, ANALYTES, n=1, cutoff=0.8)
        fits = fits or _worded(plain)
        if fits:
            near[text] = fits[0]
    return near


def _worded(plain: str) -> list[str]:
    """Return the analyte that a longer name has among its words ("creatinine (serum)").

    A single letter in a longer name is no short name ("vitamin K"), and what is measured in urine
    is another thing.
    """
    words = [word for word in re.split(r"[\W_]+", plain) if len(word) > 1]
    if any(word.startswith("urin") for word in words):
        return []
    return [_SHORT.get(word, word) for word in words if word in _SHORT or word in ANALYTES][:1]


def _ask_names(
    checked: CheckedTable, texts: list[str], read: list[str], code: NDArray[np.integer]
) -> None:
    """Ask about analytes that are not known and are named nearly as one that is."""
    near = nearly_named(
        [text for text, name in zip(texts, read, strict=True) if name not in ANALYTES]
    )
    is_near = np.array([text in near for text in texts], dtype=bool)
    checked.report(
        is_near[code],
        "analyte",
        Code.ANALYTE_NEARLY,
        written=WRITTEN,
        near=OfCell(lambda v: near[v.strip()]),
    )


def _kinds(checked: CheckedTable, values: Values) -> Iterator[tuple[str, str, NDArray[np.int64]]]:
    """Yield each analyte known here with each unit it was given in, and the usable rows."""
    names, analyte = distinct(values["analyte"])
    units, unit = distinct(values["unit"])
    usable = checked.usable & ~np.isnan(values["value"])
    for name in KNOWN:
        if name not in names:
            continue
        rows = np.flatnonzero(usable & (analyte == names.index(name)))
        order = np.argsort(unit[rows], kind="stable")
        cuts = np.flatnonzero(np.diff(unit[rows][order])) + 1
        for of_unit in np.split(rows[order], cuts):
            if len(of_unit):
                yield name, unit_as_given(name, units[unit[of_unit[0]]]), of_unit


def _judge(
    checked: CheckedTable,
    values: Values,
    analyte: str,
    unit: str,
    rows: NDArray[np.int64],
    animals: Animals,
) -> None:
    """Set aside what no animal has in this unit, and note what few have."""
    value, bound = values["value"], values["value_bound"]
    scale, kinds = 1.0, [("", rows)]
    printed = unit
    if limited_by_species(analyte):
        scale, printed = factor(analyte, unit) or np.nan, known_units(analyte)[0]
        species = _species(values, animals, rows)
        kinds = [(kind, rows[species == kind]) for kind in ("", *SPECIES)]
    for kind, mine in kinds:
        found = lab_limits(analyte, printed, kind)
        if found is None:
            continue
        few, sign = value[mine] * scale, bound[mine]
        below = (few < found.aside_low) & (sign != _AT_LEAST)
        above = (few > found.aside_high) & (sign != _AT_MOST)
        named: dict[str, Any] = {"analyte": analyte, "species": kind, "limits_in": printed}
        given = _given(value, bound, lambda row: unit)
        checked.report(
            mine[below | above],
            "value",
            Code.IMPOSSIBLE_LAB,
            Outcome.ROW,
            **named,
            possible=(found.aside_low, found.aside_high),
            value_given=given,
        )
        odd = ~below & ~above & (sign == 0) & ((few < found.note_low) | (few > found.note_high))
        checked.report(
            mine[odd],
            "value",
            Code.UNUSUAL_LAB,
            **named,
            usual=(found.note_low, found.note_high),
            value_given=given,
        )


def _species(values: Values, animals: Animals, rows: NDArray[np.int64]) -> NDArray[np.object_]:
    ids, code = distinct(values["animal"])
    known = dict(zip(animals["animal"], animals["species"], strict=True))
    each = np.array([known.get(animal, "") for animal in ids], dtype=object)
    each[~np.isin(each, SPECIES)] = ""
    return each[code[rows]]


def _given(
    value: NDArray[np.float64], bound: NDArray[np.int8], unit_of: Callable[[int], str]
) -> OfRow:
    """Return a value as it was given, by row: its number, its sign and its unit."""
    return OfRow(lambda row: (float(value[row]), str(BOUND_WORDS[bound[row]]), unit_of(row)))


def _report_bounds(checked: CheckedTable, values: Values) -> None:
    """Report which values are bounds, or zero, and so no numbers of a trend."""
    modelled = np.zeros(checked.n, dtype=bool)
    for name in LAB_QUANTITIES:
        modelled |= is_text(values["analyte"], name)
    bound, usable = values["value_bound"] > 0, checked.usable
    for mask, is_modelled in ((modelled, True), (~modelled, False)):
        checked.report(
            bound & usable & mask,
            "value",
            Code.LAB_BOUND,
            written=WRITTEN,
            modelled=is_modelled,
        )
    checked.report(modelled & usable & (values["value"] == 0) & ~bound, "value", Code.LAB_ZERO)


def _report_same_day(checked: CheckedTable, values: Values, scale: NDArray[np.float64]) -> None:
    """Report which rows give an analyte that an earlier row of the same animal and day gives."""
    rows = np.flatnonzero(checked.usable)
    keys = (distinct(values[name])[1][rows] for name in ("animal", "analyte"))
    day = values["sampled_on"].view(np.int64)[rows]
    _, first, group = np.unique(
        as_one((*keys, day), len(rows)), return_index=True, return_inverse=True
    )
    earlier = np.zeros(checked.n, dtype=np.int64)
    earlier[rows] = rows[first[group]]
    later = rows[earlier[rows] != rows]
    same = _equal(checked, values, scale, later, earlier[later])
    checked.report(later[same], "analyte", Code.SAME_VALUE_AGAIN)
    units = values["unit"]
    given = _given(values["value"], values["value_bound"], lambda row: str(units[row].as_py()))
    checked.report(
        later[~same],
        "value",
        Code.VALUES_DISAGREE,
        value_given=given,
        earlier=OfRow(lambda row: given.make(int(earlier[row]))),
    )


def _equal(
    checked: CheckedTable,
    values: Values,
    scale: NDArray[np.float64],
    later: NDArray[np.int64],
    earlier: NDArray[np.int64],
) -> Mask:
    """Return which pairs of rows (m,) hold one value, as written or in one unit."""
    value, bound = values["value"], values["value_bound"]
    unit = distinct(values["unit"])[1]
    written = (value[later] == value[earlier]) & (unit[later] == unit[earlier])
    turned = np.where(np.isnan(scale), np.nan, value * scale)
    with np.errstate(invalid="ignore"):
        near = np.abs(turned[later] - turned[earlier]) <= _SAME * np.abs(turned[earlier])
    # In one unit, two numbers that differ at all were written as two.
    return (written | (near & (unit[later] != unit[earlier]))) & (bound[later] == bound[earlier])
