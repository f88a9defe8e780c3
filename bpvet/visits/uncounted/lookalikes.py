"""Rows that stand under an id that looks like an animal's, and may be its own.

Ids are never joined: a slip of a letter makes an animal of its own, without a species and a past,
and the animal that it was meant for looks as if nobody had seen it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

import numpy as np

from bpvet.equality import Content
from bpvet.frozen import dataclass
from bpvet.records.finding_codes import Code
from bpvet.records.records import Records
from bpvet.visits.uncounted.naming import named_in, whose_names

_WORDS = re.compile(r"\w+")


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
    animal's name is one that looks like its id, and so is what holds either among further words.
    """
    asked = records.findings.by_code(Code.NOT_LISTED, Code.IDS_ALIKE)
    if not asked:
        return {}
    similar: dict[str, dict[str, None]] = {}
    whose = whose_names(records)
    for found in asked:
        values = dict(found.values)
        written, near = values["animal"], values.get("near", ())
        if found.code is Code.IDS_ALIKE:
            near = (values["other"],)
        else:
            near = (*near, *_worded(written, whose))
        for animal in near:
            if _digits(animal) == _digits(written) or _is_name(records, animal, written):
                similar.setdefault(animal, {})[written] = None
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


def _worded(written: str, whose: Mapping[str, list[str]]) -> Iterator[str]:
    """Yield the other animals whose id, or name, stands in an id as words."""
    names = {*named_in(written, whose), written.strip().casefold(), *_WORDS.findall(written)}
    for name in names & whose.keys():
        yield from (animal for animal in whose[name] if animal != written)


def _is_name(records: Records, animal: str, written: str) -> bool:
    """Whether an id is an animal's name, or holds it and no number."""
    name = records.rows_by_animal[animal].name.strip().casefold()
    if not name:
        return False
    found = written.strip().casefold()
    return found == name or (not _digits(found) and bool(set(named_in(found, {name: []}))))


def _digits(text: str) -> str:
    return "".join(filter(str.isdigit, text))
