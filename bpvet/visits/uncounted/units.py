"""Newest laboratory values that are unusual as written, and would be plausible in another unit.

A creatinine of 9.2 is the first stage in µmol/L and the last in mg/dL: what is told of the kidneys
rests on the unit that stands there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from bpvet.equality import Content
from bpvet.facts.labs import other_units
from bpvet.records.finding_codes import Code
from bpvet.records.parsing.frames import cells_are
from bpvet.records.records import Records


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
    frame = records.rows_of("labs", animal)
    frame = frame[cells_are(frame, "set_aside", "") & ~frame["future"].to_numpy(dtype=bool)]
    newest = frame.groupby(["animal", "analyte"])["sampled_on"].transform("max")
    rows = frame[(frame["sampled_on"] == newest).to_numpy(dtype=bool)]
    found: dict[str, list[OddUnit]] = {}
    for row in rows[rows["line"].isin([line for _, line in places])].to_dict("records"):
        given = places.get((row["file"], row["line"]))
        if given is None:
            continue
        value, _, unit = given["value_given"]
        analyte, day = str(row["analyte"]), np.datetime64(row["sampled_on"], "D")
        if others := other_units(analyte, unit, value):
            odd = OddUnit(analyte, value, unit, day, others)
            found.setdefault(str(row["animal"]), []).append(odd)
    return {whose: tuple(values) for whose, values in found.items()}
