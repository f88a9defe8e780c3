"""Rows of treatment, and the spells that rows of one drug form.

Rules: the docstring of this folder. What had to be decided on the way is said as findings.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import groupby
from typing import Any

import numpy as np
import pandas as pd

from bpvet.facts.drugs import Drug, default_tau, drug, drug_name, purpose_overrides
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, finding_of
from bpvet.records.parsing.frames import cells_are
from bpvet.visits.treatments.doses import parse_dose

#: Rows of one drug with gaps of at most so many days form one spell.
SPELL_GAP_DAYS = 1

_ONGOING = np.datetime64("NaT", "D")


@dataclass(frozen=True)
class Row:
    """A usable row of treatment, its drug looked up."""

    animal: str
    name: str
    known: Drug | None
    modelled: bool
    started_on: np.datetime64
    stopped_on: np.datetime64
    stop_is_blank: bool
    dose: str
    unit: str
    file: str
    line: int
    written: str
    purpose: str = ""
    product: str = ""

    @property
    def shown(self) -> str:
        """The dose as written, its unit added unless it is there."""
        if not self.unit or not self.dose or self.unit.casefold() in self.dose.casefold():
            return self.dose
        return f"{self.dose} {self.unit}"

    @property
    def asked(self) -> bool:
        """Whether the drug is off the list, and no purpose says whether it acts on pressure."""
        return self.known is None and _override(self.purpose) is None

    @property
    def tau_days(self) -> float:
        """Time constant of the drug, days."""
        return self.known.tau_days if self.known else default_tau()[0]


@dataclass(frozen=True)
class Spell:
    """Rows of one drug that follow each other, and where they start and end."""

    rows: tuple[Row, ...]
    started_on: np.datetime64
    stopped_on: np.datetime64


@lru_cache(maxsize=4096)
def _known(name: str) -> Drug | None:
    return drug(name)


@lru_cache(maxsize=4096)
def _override(purpose: str) -> bool | None:
    return purpose_overrides(purpose)


def treatment_rows(table: pd.DataFrame, as_of: Any) -> list[Row]:
    """Return the usable rows of treatment that had started by `as_of`, a later stop left open."""
    if not len(table):
        return []
    usable = table[cells_are(table, "set_aside", "") & ~table["future"].to_numpy(dtype=bool)]
    usable = usable[usable["started_on"].notna() & (usable["started_on"] <= pd.Timestamp(as_of))]
    columns = ("animal", "drug", "dose", "dose_unit", "product", "purpose", "file", "line")
    start = usable["started_on"].to_numpy(dtype="datetime64[D]")
    stop = usable["stopped_on"].to_numpy(dtype="datetime64[D]")
    blank_stop = np.isnat(stop)
    stop = np.where(stop > np.datetime64(as_of, "D"), _ONGOING, stop)
    cells = zip(*(usable[name] for name in columns), strict=True)
    rows = []
    for (animal, written, dose, unit, product, purpose, file, line), started, stopped, blank in zip(
        cells, start, stop, blank_stop, strict=True
    ):
        known = _known(written)
        override = _override(purpose)
        # A name off the list says nothing of pressure: it makes no animal treated.
        by_kind = known is not None and known.kind == "pressure"
        rows.append(
            Row(
                animal=animal,
                name=known.name if known else drug_name(written),
                known=known,
                modelled=by_kind if override is None else override,
                started_on=started,
                stopped_on=stopped,
                stop_is_blank=bool(blank),
                dose=dose,
                unit=unit,
                file=file,
                line=int(line),
                written=written,
                purpose=purpose,
                product=product,
            )
        )
    return rows


def distinct_starts(rows: list[Row], findings: list[Finding]) -> list[Row]:
    """Make rows of one drug that start together one row, and say so."""
    result = []
    for _, group in groupby(rows, key=lambda row: row.started_on):
        together = list(group)
        first = together[0]
        if len(together) > 1:
            findings.append(_started_together(together))
            stops = [row.stopped_on for row in together]
            same_dose = len({parse_dose(row.dose, row.unit) or row.shown for row in together}) == 1
            doses = dict.fromkeys(row.shown for row in together if row.shown)
            products = {_plain(row.product): row.product for row in together if row.product}
            first = replace(
                first,
                modelled=any(row.modelled for row in together),
                stopped_on=_latest(stops),
                stop_is_blank=any(row.stop_is_blank for row in together),
                # Two different doses at once are no one number: joined, they parse as none.
                dose=first.dose if same_dose else "; ".join(doses),
                unit=first.unit if same_dose else "",
                # Two products at once are none that another could be held against.
                product=next(iter(products.values())) if len(products) == 1 else "",
            )
        result.append(first)
    return result


def ended(rows: list[Row]) -> list[Row]:
    """End each row whose stop is blank at the drug's next start."""
    following = [row.started_on for row in rows[1:]] + [_ONGOING]
    return [
        replace(row, stopped_on=start) if row.stop_is_blank else row
        for row, start in zip(rows, following, strict=True)
    ]


def spells_of(rows: list[Row]) -> list[Spell]:
    """Join rows of one drug, sorted by start, whose gaps are at most `SPELL_GAP_DAYS`."""
    spells: list[Spell] = []
    for row in rows:
        if spells and _follows(row, spells[-1]):
            before = spells[-1]
            stop = _latest([before.stopped_on, row.stopped_on])
            spells[-1] = Spell((*before.rows, row), before.started_on, stop)
        else:
            spells.append(Spell((row,), row.started_on, row.stopped_on))
    return spells


def dose_differs(before: Row, row: Row) -> bool:
    """Return whether two rows give two doses: both a number in one unit, and not the same."""
    old, new = parse_dose(before.dose, before.unit), parse_dose(row.dose, row.unit)
    if old is None or new is None or old.unit != new.unit:
        return False
    return not math.isclose(old.number, new.number)


def moved_point(before: Row, row: Row) -> bool:
    """Return whether a dose and the one before it differ by one, two or three decimal places."""
    old, new = parse_dose(before.dose, before.unit), parse_dose(row.dose, row.unit)
    if old is None or new is None or old.unit != new.unit:
        return False
    places = abs(math.log10(new.number / old.number))
    return any(math.isclose(places, whole, abs_tol=1e-9) for whole in (1, 2, 3))


def product_differs(before: Row, row: Row) -> bool:
    """Return whether two rows are of two products: both stated, and not the same."""
    both = bool(before.product and row.product)
    return both and _plain(before.product) != _plain(row.product)


def _plain(product: str) -> str:
    return " ".join(product.casefold().split())


def _follows(row: Row, spell: Spell) -> bool:
    if np.isnat(spell.stopped_on):
        return True
    return bool(row.started_on - spell.stopped_on <= np.timedelta64(SPELL_GAP_DAYS, "D"))


def _latest(stops: Sequence[np.datetime64]) -> np.datetime64:
    """Return the latest stop; NaT (ongoing) if any is."""
    return np.max(np.array(stops, dtype="datetime64[D]"))


def drug_off_the_list(row: Row) -> Finding:
    """Return the finding about a drug that is not on the list and whose purpose does not tell."""
    return finding_of(
        Code.DRUG_OFF_THE_LIST, row.file, row.line, "drug", row.written, written=row.written
    )


def modelled_off_the_list(row: Row) -> Finding:
    """Return the finding about a drug off the list whose purpose names blood pressure."""
    tau = default_tau()[0]
    return _at(Code.DRUG_FOR_PRESSURE, row, "drug", row.written, written=row.written, days=tau)


def dose_not_stated(row: Row) -> Finding:
    """Return the finding about a dose that is blank, or not read."""
    return _at(Code.DOSE_NOT_STATED, row, "dose", row.shown, dose=row.shown, drug=row.name)


def unit_differs(before: Row, row: Row) -> Finding:
    """Return the finding about a dose in another unit than the one before it."""
    doses = {"dose": row.shown, "before": before.shown}
    return _at(Code.DOSE_UNIT_DIFFERS, row, "dose", row.shown, **doses, drug=row.name)


def dose_by_tens(before: Row, row: Row) -> Finding:
    """Return the finding about a dose whose decimal point may stand in another place."""
    doses = {"dose": row.shown, "before": before.shown}
    return _at(Code.DOSE_BY_TENS, row, "dose", row.shown, **doses, drug=row.name)


def product_not_stated(before: Row, row: Row) -> Finding:
    """Return the finding about two rows of which one names its product."""
    values = {"stated": row.product or before.product, "on": str(row.started_on)}
    return _at(Code.PRODUCT_NOT_STATED, row, "product", row.product, **values, drug=row.name)


def not_told_apart(row: Row, drugs: tuple[str, ...]) -> Finding:
    """Return the finding about drugs that start on one day."""
    return _at(Code.NOT_TOLD_APART, row, "drug", row.written, drugs=drugs)


def _started_together(rows: list[Row]) -> Finding:
    on, lines = str(rows[-1].started_on), tuple(row.line for row in rows)
    return _at(
        Code.ROWS_TOGETHER, rows[-1], "started_on", on, drug=rows[0].name, on=on, lines=lines
    )


def _at(code: Code, row: Row, column: str, value: str, **values: Any) -> Finding:
    return finding_of(code, row.file, row.line, column, value, **values)
