"""Weights that jump by as much as a pound is of a kilogram: one of two may be in the other unit.

4.2 kg and then 8.0, written under kg and weighed in pounds, is a fall to 3.6 that nobody sees.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from bpvet.equality import Content
from bpvet.facts.labs import factor
from bpvet.facts.sources import fact
from bpvet.frozen import dataclass
from bpvet.records.records import Records
from bpvet.records.table_columns import TableColumns
from bpvet.visits.uncounted.groups import newest_days, ranks


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
    pounds = fact("project.weight.pounds")
    rows, kilograms = _weights(records, animal, pounds.quantity)
    animals, whose = rows.different("animal")
    order = np.lexsort((rows.days("sampled_on"), ranks(animals)[whose]))
    rows, kilograms, whose = rows.take(order), kilograms[order], whose[order]
    day = rows.days("sampled_on")
    pound, near = fact("unit.pound").value or 1.0, pounds.value or 0.0
    # How far the step is from that of a pound to a kilogram, or back, as a factor.
    step = np.abs(np.log(kilograms[1:] / kilograms[:-1]))
    jumped = np.abs(step + np.log(pound)) <= np.log1p(near / 100)
    memory = np.timedelta64(int(fact("project.weight.memory").value or 0), "D")
    newest = newest_days(whose, day, len(animals))[whose]
    jumped &= (whose[1:] == whose[:-1]) & (day[:-1] >= newest[1:] - memory)
    found = {}
    grown = (fact("project.category.youngest").value or 0) * 365.25
    for before in np.flatnonzero(jumped).tolist():
        whom, since, after = animals[whose[before]], day[before], before + 1
        born = records.rows_by_animal[whom].birth_date
        grows = (since - born) / np.timedelta64(1, "D") < grown
        if not (grows and kilograms[after] > kilograms[before]):
            found[whom] = WeightJump(
                float(kilograms[before]),
                float(kilograms[after]),
                since,
                day[after],
                rows["file"][after],
                int(rows["line"][after]),
            )
    return found


def _weights(
    records: Records, animal: str | None, quantity: str
) -> tuple[TableColumns, NDArray[np.float64]]:
    """Return the rows of weights that a loss is sought in, and the weights in kg (n,)."""
    rows = records.columns("labs", animal)
    keep = rows.is_text("analyte", quantity) & rows.is_text("set_aside", "") & ~rows["future"]
    keep &= rows.is_text("value_bound", "") & (rows["value"] > 0) & ~rows.is_text("animal", "")
    rows = rows.take(keep & ~np.isnat(rows["sampled_on"]))
    units, unit = rows.different("unit")
    scale = np.array([factor(quantity, text) or np.nan for text in units], dtype=np.float64)[unit]
    known = np.isfinite(scale)
    return rows.take(known), (rows["value"] * scale)[known]
