"""Weights that jump by as much as a pound is of a kilogram: one of two may be in the other unit.

4.2 kg and then 8.0, written under kg and weighed in pounds, is a fall to 3.6 that nobody sees.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from bpvet.equality import Content
from bpvet.facts.labs import factor
from bpvet.facts.sources import fact
from bpvet.records.parsing.frames import cells_are
from bpvet.records.records import Records

#: Weights that a jump takes.
_PAIR = 2


@dataclass(frozen=True, eq=False)
class WeightJump(Content):
    """Two weights of one animal, of dates one after the other.

    Parameters
    ----------
    earlier, later : float
        In kg by the unit that stands beside them.
    earlier_on, later_on : datetime64[D]
    file : str
    line : int
        Of the later.
    """

    earlier: float
    later: float
    earlier_on: np.datetime64
    later_on: np.datetime64
    file: str
    line: int


def weight_jumps(records: Records, animal: str | None = None) -> Mapping[str, WeightJump]:
    """Return the newest such jump among the weights that a loss is sought in, by animal.

    An animal that grows up may double its weight: of such a rise nothing is asked.

    Parameters
    ----------
    records : Records
    animal : str, optional
        Of this animal alone.
    """
    frame, pounds = records.rows_of("labs", animal), fact("project.weight.pounds")
    keep = cells_are(frame, "analyte", pounds.quantity) & cells_are(frame, "set_aside", "")
    keep &= cells_are(frame, "value_bound", "") & ~cells_are(frame, "animal", "")
    keep &= ~frame["future"].to_numpy(dtype=bool) & (frame["value"].to_numpy(dtype=float) > 0)
    keep &= ~np.isnat(frame["sampled_on"].to_numpy(dtype="datetime64[D]"))
    at = np.flatnonzero(keep)
    units = frame["unit"].to_numpy(dtype=object)[at].tolist()
    factors = {unit: factor(pounds.quantity, str(unit)) for unit in dict.fromkeys(units)}
    scale = np.array([factors[unit] or np.nan for unit in units], dtype=np.float64)
    at, scale = at[~np.isnan(scale)], scale[~np.isnan(scale)]
    if at.size < _PAIR:
        return {}
    kilograms = frame["value"].to_numpy(dtype=float)[at] * scale
    date = frame["sampled_on"].to_numpy(dtype="datetime64[D]")[at]
    code, names = pd.factorize(frame["animal"].to_numpy(dtype=object)[at], sort=True)
    order = np.lexsort((date, code))
    at, kilograms, date, code = at[order], kilograms[order], date[order], code[order]
    pound, near = fact("unit.pound").value or 1.0, pounds.value or 0.0
    # How far the step is from that of a pound to a kilogram, or back, as a factor.
    step = np.abs(np.diff(np.log(kilograms)))
    jumped = (code[1:] == code[:-1]) & (np.abs(step + np.log(pound)) <= np.log1p(near / 100))
    newest = date[np.searchsorted(code, code[1:], side="right") - 1]
    memory = np.timedelta64(int(fact("project.weight.memory").value or 0), "D")
    jumped &= date[:-1] >= newest - memory
    found = {}
    grown = (fact("project.category.youngest").value or 0) * 365.25
    for first in np.flatnonzero(jumped).tolist():
        row, whose, since = first + 1, str(names[code[first]]), date[first]
        born = records.rows_by_animal[whose].birth_date
        grows = (since - born) / np.timedelta64(1, "D") < grown
        if not (grows and kilograms[row] > kilograms[first]):
            found[whose] = WeightJump(
                float(kilograms[first]),
                float(kilograms[row]),
                since,
                date[row],
                str(frame["file"].iloc[at[row]]),
                int(frame["line"].iloc[at[row]]),
            )
    return found
