"""Dated changes of treatment: starts, stops, other doses, other products."""

from __future__ import annotations

import math
from itertools import groupby

import numpy as np

from bpvet.frozen import dataclass
from bpvet.records.records import Records
from bpvet.visits.treatments.courses import Treatments
from bpvet.visits.treatments.doses import parse_dose
from bpvet.visits.treatments.spells import Row, Spell, product_differs, spells_of

#: Kinds of change, in the order in which those of one day and drug are given.
KINDS = ("start", "stop", "dose", "product")


@dataclass(frozen=True)
class Change:
    """A change of treatment on a day.

    Parameters
    ----------
    date : datetime64[D]
        Its day: the first day of what is new, the last day of what stopped.
    kind : str
        One of `KINDS`.
    drug : str
        Generic name where it is known, else as written.
    modelled : bool
        Whether the drug is modelled as acting on pressure.
    known : bool
        Whether the drug is on the list; one off it may act on pressure.
    raises : bool
        Whether it is known to raise pressure.
    renin : bool
        Whether it acts on the renin–angiotensin system.
    before, after : str
        Dose (or product) as written before and after; blank where there is none.
    file, line : str, int
        The row that begins, or that ended.
    """

    date: np.datetime64
    kind: str
    drug: str
    modelled: bool
    known: bool
    raises: bool
    renin: bool
    before: str
    after: str
    file: str
    line: int


def changes(records: Records, animal: str, treatments: Treatments) -> tuple[Change, ...]:
    """Return the changes of one animal's drugs that bear on its pressure, up to `as of`.

    Those of pressure drugs, of drugs off the list (they may act on pressure), and of drugs known
    to raise it; `Change` tells which. A row that follows another of its drug by at most a day is
    the same treatment gone on: a change of it is another dose or another product, both stated.
    Doses that cannot be compared (words, another unit) and are not written alike are taken as two.

    Parameters
    ----------
    records : Records
    animal : str
        Its id; rows of other animals are passed over.
    treatments : Treatments
        The animal's, as from `bpvet.visits.treatments.courses.courses`.

    Returns
    -------
    tuple of Change
        In order of date, then drug.
    """
    rows = [row for row in treatments.rows if row.animal == animal and _matters(row)]
    rows.sort(key=lambda row: (row.name, row.modelled, row.started_on))
    found: list[Change] = []
    for _, group in groupby(rows, key=lambda row: (row.name, row.modelled)):
        for spell in spells_of(list(group)):
            found += _of_spell(spell)
    past = [change for change in found if change.date <= records.as_of]
    return tuple(
        sorted(past, key=lambda change: (change.date, change.drug, KINDS.index(change.kind)))
    )


def _matters(row: Row) -> bool:
    return row.modelled or row.known is None or row.known.raises


def _of_spell(spell: Spell) -> list[Change]:
    first = spell.rows[0]
    found = [_change(first, first.started_on, "start", "", first.shown)]
    for before, row in zip(spell.rows, spell.rows[1:], strict=False):
        if _other_dose(before, row):
            found.append(_change(row, row.started_on, "dose", before.shown, row.shown))
        if product_differs(before, row):
            found.append(_change(row, row.started_on, "product", before.product, row.product))
    if not np.isnat(spell.stopped_on):
        ended = next(row for row in spell.rows[::-1] if row.stopped_on == spell.stopped_on)
        found.append(_change(ended, spell.stopped_on, "stop", ended.shown, ""))
    return found


def _other_dose(before: Row, row: Row) -> bool:
    if not before.shown or not row.shown:
        return False
    old, new = parse_dose(before.dose, before.unit), parse_dose(row.dose, row.unit)
    if old is None or new is None or old.unit != new.unit:
        return _plain(before.shown) != _plain(row.shown)
    return not math.isclose(old.number, new.number)


def _plain(text: str) -> str:
    return "".join(text.casefold().split())


def _change(row: Row, date: np.datetime64, kind: str, before: str, after: str) -> Change:
    known = row.known
    return Change(
        date=date,
        kind=kind,
        drug=row.name,
        modelled=row.modelled,
        known=known is not None,
        raises=known is not None and known.raises,
        renin=known is not None and known.renin,
        before=before,
        after=after,
        file=row.file,
        line=row.line,
    )
