"""Newest laboratory values that are unusual as written, and would be plausible in another unit.

A creatinine of 9.2 is the first stage in µmol/L and the last in mg/dL: what is told of the kidneys
rests on the unit that stands there.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from bpvet.equality import Content
from bpvet.facts.labs import other_units
from bpvet.frozen import dataclass
from bpvet.records.finding_codes import Code
from bpvet.records.parsing.codes import as_one
from bpvet.records.records import Records
from bpvet.visits.uncounted.groups import newest_days


@dataclass(frozen=True, eq=False)
class OddUnit(Content):
    """One value, the newest of its analyte.

    Parameters
    ----------
    analyte : str
    value : float
        As given, in `unit`.
    unit : str
    date : datetime64[D]
    others : tuple of str
        Units in which it would be plausible.
    """

    analyte: str
    value: float
    unit: str
    date: np.datetime64
    others: tuple[str, ...]


def odd_units(records: Records, animal: str | None = None) -> Mapping[str, tuple[OddUnit, ...]]:
    """Return those values of each animal that has any, as the record check finds them.

    Parameters
    ----------
    records : Records
    animal : str, optional
        Of this animal alone.
    """
    unusual = records.findings.by_code(Code.UNUSUAL_LAB)
    if not unusual:
        return {}
    places = {(finding.file, finding.line): dict(finding.values) for finding in unusual}
    rows = records.columns("labs", animal)
    rows = rows.take(rows.is_text("set_aside", "") & ~rows["future"])
    (_, whose), (_, of_analyte) = rows.different("animal"), rows.different("analyte")
    day = rows.days("sampled_on")
    pairs, pair = np.unique(as_one((whose, of_analyte), len(rows)), return_inverse=True)
    near = rows.take(
        np.isin(rows["line"], [line for _, line in places if line])
        & (day == newest_days(pair, day, len(pairs))[pair])
    )
    found: dict[str, list[OddUnit]] = {}
    columns = (near[name] for name in ("file", "line", "animal", "analyte"))
    for file, line, whom, analyte, on in zip(*columns, near.days("sampled_on"), strict=True):
        given = places.get((file, int(line)))
        if given is None:
            continue
        value, _, unit = given["value_given"]
        if others := other_units(analyte, unit, value):
            found.setdefault(whom, []).append(OddUnit(analyte, value, unit, on, others))
    return {whom: tuple(values) for whom, values in found.items()}
