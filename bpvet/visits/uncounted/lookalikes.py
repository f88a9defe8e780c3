"""Rows that stand under an id that looks like an animal's, and may be its own.

Ids are never joined: a slip of a letter makes an animal of its own, without a species and a past,
and the animal that it was meant for looks as if nobody had seen it.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from bpvet.equality import Content
from bpvet.frozen import dataclass
from bpvet.records.finding_codes import Code
from bpvet.records.records import Records


@dataclass(frozen=True, eq=False)
class Lookalike(Content):
    """An id that looks like an animal's, or is its name, and is in no animals table.

    Parameters
    ----------
    written : str
        The id as written.
    rows : int
        Its readings and observations.
    newest : datetime64[D]
        Their newest date.
    """

    written: str
    rows: int
    newest: np.datetime64


def lookalikes(records: Records) -> Mapping[str, tuple[Lookalike, ...]]:
    """Return the ids that look like that of each animal, of those that have any, in order.

    By the findings of the record check; ids whose digits differ are taken for two animals. An
    animal's name is one that looks like its id.
    """
    asked = records.findings.by_code(Code.NOT_LISTED, Code.IDS_ALIKE)
    if not asked:
        return {}
    similar: dict[str, dict[str, None]] = {}
    named: dict[str, list[str]] = {}
    for animal, row in records.rows_by_animal.items():
        if row.name:
            named.setdefault(row.name.casefold(), []).append(animal)
    for found in asked:
        values = dict(found.values)
        near = (values["other"],) if found.code is Code.IDS_ALIKE else values["near"]
        alike = [animal for animal in near if _digits(animal) == _digits(values["animal"])]
        for animal in (*alike, *named.get(values["animal"].strip().casefold(), ())):
            similar.setdefault(animal, {})[values["animal"]] = None
    if not similar:
        return {}
    dates: dict[str, list[np.datetime64]] = {}
    for table, dated in (("readings", "date"), ("observations", "seen_on")):
        rows = records.columns(table)
        written = {id_ for ids in similar.values() for id_ in ids}
        rows = rows.take(rows.among("animal", written) & (rows.days(dated) <= records.as_of))
        for id_, date in zip(rows["animal"], rows.days(dated), strict=True):
            dates.setdefault(id_, []).append(date)
    return {
        animal: tuple(
            Lookalike(id_, len(dates[id_]), max(dates[id_])) for id_ in ids if id_ in dates
        )
        for animal, ids in similar.items()
    }


def _digits(text: str) -> str:
    return "".join(filter(str.isdigit, text))
