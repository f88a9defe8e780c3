"""Laboratory values as recorded: names, units, what cannot be, bounds, and two of one day.

A value without a unit, or one that no animal has in the unit written, is set aside by name; both
units are named, and none is chosen. Nothing is converted but to compare two rows of one day.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.facts.analytes import all_analytes
from bpvet.facts.labs import ANALYTES as KNOWN
from bpvet.facts.labs import (
    factor,
    known_units,
    lab_limits,
    limited_by_species,
    other_units,
    unit_as_given,
)
from bpvet.facts.words import LAB_QUANTITIES, SPECIES
from bpvet.records.checks.row_findings import OfRow
from bpvet.records.findings import shown
from bpvet.records.headings.near_names import either
from bpvet.records.ledger import Ledger
from bpvet.records.parsing.columns import distinct, is_text, of_texts
from bpvet.records.parsing.values import Mask, Values
from bpvet.records.tables import ANALYTES, WITHOUT_UNIT, plain_name

#: Short names of analytes that are met: asked about, never taken for ours unasked.
_SHORT = {word: key for key, one in all_analytes().items() for word in one.other_words}
#: Names that are compared with ours; a file may hold a million of them.
_MOST_COMPARED = 2000
#: Two values of one day that differ by less than this share are one value in two units.
_SAME = 0.01
_AT_LEAST, _AT_MOST = 1, 2


def check_labs(ledger: Ledger, values: Values, animals: pd.DataFrame) -> None:
    """Name the analytes alike; set aside what has no unit, or what no animal has in its unit.

    Parameters
    ----------
    ledger : Ledger
        The cells of the table `labs`.
    values : dict
        Their values, as `bpvet.records.parsing.values.parse` gives them; `analyte` is replaced.
    animals : DataFrame
        The animals, whose species the limits of a weight depend on.
    """
    if ledger.n == 0:
        return
    texts, code = distinct(values["analyte"])
    read = [plain_name(text) if plain_name(text) in ANALYTES else text for text in texts]
    values["analyte"] = of_texts(read, code)
    _ask_names(ledger, texts, read, code)
    _say_no_unit(ledger, np.array(read, dtype=object)[code])
    ledger.say(
        (values["value"] < 0),
        "value",
        "A laboratory value is not below 0.",
        "Correct it.",
        "impossible value",
        "row",
    )
    scale = np.full(ledger.n, np.nan)
    for analyte, unit, rows in _kinds(ledger, values):
        scale[rows] = factor(analyte, unit) or np.nan
        _say_unit(ledger, analyte, unit, rows)
        _judge(ledger, values, analyte, unit, rows, animals)
    _say_bounds(ledger, values)
    _say_same_day(ledger, values, scale)


def _ask_names(
    ledger: Ledger, texts: list[str], read: list[str], code: NDArray[np.integer]
) -> None:
    """Ask about analytes that are not known and are named nearly as one that is."""
    near = {}
    for text in [text for text, name in zip(texts, read, strict=True) if name not in ANALYTES][
        :_MOST_COMPARED
    ]:
        plain = plain_name(text)
        fits = [_SHORT[plain]] if plain in _SHORT else []
        fits = fits or difflib.get_close_matches(plain, ANALYTES, n=1, cutoff=0.8)
        if fits:
            near[text] = fits[0]
    alike = np.array([text in near for text in texts], dtype=bool)
    if not alike.any():
        return
    ledger.say(
        alike[code],
        "analyte",
        lambda v: (
            f"{shown(v.strip())} is not an analyte known here; {near[v.strip()]} is. It is kept "
            "as it is written, and no trend and no warning uses it."
        ),
        "If that is what is meant, write it so.",
        "analyte named nearly so",
    )


def _say_no_unit(ledger: Ledger, analyte: NDArray[np.object_]) -> None:
    ratio = np.isin(analyte, WITHOUT_UNIT)

    def mend(row: int) -> str:
        name = analyte[row]
        units = f": {either(known_units(name))}" if name in KNOWN else ""
        return f"Write the unit as the laboratory gives it{units}."

    ledger.say(
        ledger.blank("unit") & ~ratio & ledger.has("unit") & ~ledger.broken,
        "unit",
        "The value has no unit, and none is guessed.",
        OfRow(mend),
        "blank",
        "row",
    )


def _kinds(ledger: Ledger, values: Values) -> Iterator[tuple[str, str, NDArray[np.int64]]]:
    """Yield each analyte known here with each unit it was given in, and the usable rows."""
    names, analyte = distinct(values["analyte"])
    units, unit = distinct(values["unit"])
    usable = ledger.usable & ~np.isnan(values["value"])
    for name in KNOWN:
        if name not in names:
            continue
        rows = np.flatnonzero(usable & (analyte == names.index(name)))
        order = np.argsort(unit[rows], kind="stable")
        cuts = np.flatnonzero(np.diff(unit[rows][order])) + 1
        for part in np.split(rows[order], cuts):
            if len(part):
                yield name, unit_as_given(name, units[unit[part[0]]]), part


def _say_unit(ledger: Ledger, analyte: str, unit: str, rows: NDArray[np.int64]) -> None:
    """Say which values stand in a unit that is not read for their analyte."""
    if factor(analyte, unit) is not None:
        return
    written = shown(unit)
    named = either(known_units(analyte))
    if unit in all_analytes()[analyte].never:
        ledger.say(
            rows,
            "unit",
            f"{KNOWN[analyte].capitalize()} is not given in {unit}.",
            f"Is it in {named}? Write the unit as the laboratory gives it.",
            "impossible unit",
            "row",
        )
        return
    ledger.say(
        rows,
        "unit",
        f"{written} is not a unit of {KNOWN[analyte]} known here. The value is kept and shown as "
        "it is, and no trend and no warning uses it.",
        f"It is read in {named}.",
        "unknown unit",
    )


def _judge(
    ledger: Ledger,
    values: Values,
    analyte: str,
    unit: str,
    rows: NDArray[np.int64],
    animals: pd.DataFrame,
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
        span = f"{found.aside_low:g} to {found.aside_high:g} {printed}".replace(" ratio", "")
        of = f" of a {kind}" if kind else ""
        ledger.say(
            mine[below | above],
            "value",
            OfRow(
                lambda row, span=span, of=of: (  # type: ignore[misc]
                    f"{_text(value[row], bound[row], unit)} is not plausible as "
                    f"{KNOWN[analyte]}{of}: {span} is what can be."
                )
            ),
            OfRow(lambda row: _slip(analyte, unit, value[row])),
            "impossible value",
            "row",
        )
        odd = ~below & ~above & (sign == 0) & ((few < found.note_low) | (few > found.note_high))
        usual = f"{found.note_low:g} to {found.note_high:g} {printed}".replace(" ratio", "")
        ledger.say(
            mine[odd],
            "value",
            OfRow(
                lambda row, usual=usual, of=of: (  # type: ignore[misc]
                    f"{_text(value[row], 0, unit)} is unusual for {KNOWN[analyte]}{of}: outside "
                    f"{usual}. It is kept."
                )
            ),
            OfRow(
                lambda row: (
                    f"{_slip(analyte, unit, value[row])} Nothing to do if it is right."
                    if other_units(analyte, unit, value[row])
                    else "Check it against the laboratory's sheet; nothing to do if it is right."
                )
            ),
            "unusual value",
        )


def _species(values: Values, animals: pd.DataFrame, rows: NDArray[np.int64]) -> NDArray[np.object_]:
    ids, code = distinct(values["animal"])
    known = dict(zip(animals["animal"], animals["species"], strict=True))
    each = np.array([known.get(one, "") for one in ids], dtype=object)
    each[~np.isin(each, SPECIES)] = ""
    return each[code[rows]]


def _text(value: float, bound: int, unit: str) -> str:
    sign = {_AT_LEAST: "> ", _AT_MOST: "< "}.get(int(bound), "")
    return f"{sign}{value:.6g} {unit}".removesuffix(" ratio").rstrip()


def _slip(analyte: str, unit: str, value: float) -> str:
    """Return what an implausible value may have been meant for, as a question."""
    others = other_units(analyte, unit, value)
    if others:
        return (
            f"{value:.6g} {either(others)} would be plausible: is that the unit? "
            "Write it as the laboratory gives it."
        )
    return "A slip of the keys, or a lost decimal mark? Correct it."


def _say_bounds(ledger: Ledger, values: Values) -> None:
    """Say which values are bounds, or zero, and so no numbers of a trend."""
    modelled = np.zeros(ledger.n, dtype=bool)
    for name in LAB_QUANTITIES:
        modelled |= is_text(values["analyte"], name)
    bound, usable = values["value_bound"] > 0, ledger.usable
    for mask, more in ((modelled, "; a trend leaves it out"), (~modelled, "")):
        ledger.say(
            bound & usable & mask,
            "value",
            lambda v, more=more: (  # type: ignore[misc]
                f"{shown(v.strip())} is a bound. It is kept as one{more}."
            ),
            "Nothing to do.",
            "laboratory bound",
        )
    ledger.say(
        modelled & usable & (values["value"] == 0) & ~bound,
        "value",
        "The value is 0. It is kept; a trend, which is of per cent, leaves it out.",
        'If it was too low to be measured, write it as a bound, such as "< 0.1".',
        "laboratory zero",
    )


def _say_same_day(ledger: Ledger, values: Values, scale: NDArray[np.float64]) -> None:
    """Say which rows give an analyte that an earlier row of the same animal and day gives."""
    rows = np.flatnonzero(ledger.usable)
    if len(rows) == 0:
        return
    frame = pd.DataFrame(
        {name: distinct(values[name])[1][rows] for name in ("animal", "analyte")}
        | {"day": values["sampled_on"][rows]}
    )
    again = frame.duplicated().to_numpy()
    if not again.any():
        return
    group = frame.groupby(["animal", "analyte", "day"], sort=False).ngroup().to_numpy()
    _, first = np.unique(group, return_index=True)
    earlier = np.zeros(ledger.n, dtype=np.int64)
    earlier[rows] = rows[first[group]]
    later = rows[again]
    same = _equal(ledger, values, scale, later, earlier[later])
    ledger.say(
        later[same],
        "analyte",
        "An earlier row gives this analyte and value on the same day. Both are kept.",
        "If it is the same sample, delete one.",
        "perhaps a duplicate",
    )
    units = values["unit"]

    def words(row: int) -> str:
        one, other = (
            _text(values["value"][at], values["value_bound"][at], str(units[at].as_py()))
            for at in (row, int(earlier[row]))
        )
        return f"This row gives {one}, and an earlier row {other} on the same day. Both are kept."

    ledger.say(
        later[~same],
        "value",
        OfRow(words),
        "If one of the two is a slip, correct it; if both were measured, nothing to do.",
        "values disagree",
    )


def _equal(
    ledger: Ledger,
    values: Values,
    scale: NDArray[np.float64],
    one: NDArray[np.int64],
    other: NDArray[np.int64],
) -> Mask:
    """Return which pairs of rows (m,) hold one value, as written or in one unit."""
    value, bound = values["value"], values["value_bound"]
    unit = distinct(values["unit"])[1]
    written = (value[one] == value[other]) & (unit[one] == unit[other])
    turned = np.where(np.isnan(scale), np.nan, value * scale)
    with np.errstate(invalid="ignore"):
        near = np.abs(turned[one] - turned[other]) <= _SAME * np.abs(turned[other])
    # In one unit, two numbers that differ at all were written as two.
    found: Mask = (written | (near & (unit[one] != unit[other]))) & (bound[one] == bound[other])
    return found
