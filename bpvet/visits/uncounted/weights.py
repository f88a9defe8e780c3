"""Weights that jump by as much as a pound is of a kilogram: one of two may be in the other unit.

4.2 kg and then 8.0, written under kg and weighed in pounds, is a fall to 3.6 that nobody sees.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from bpvet.equality import Content
from bpvet.facts.labs import factor
from bpvet.facts.sources import fact
from bpvet.frozen import dataclass
from bpvet.records.records import Records


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
    keep = (frame["analyte"] == pounds.quantity) & (frame["set_aside"] == "") & ~frame["future"]
    keep &= (
        (frame["value_bound"] == "")
        & (frame["value"] > 0)
        & frame["sampled_on"].notna()
        & (frame["animal"] != "")
    )
    rows = frame.loc[keep.to_numpy(dtype=bool)]
    units = {unit: factor(pounds.quantity, str(unit)) for unit in rows["unit"].unique()}
    kilograms = rows["value"] * rows["unit"].map(units).to_numpy(dtype=float)
    rows = rows.assign(kilograms=kilograms).dropna(subset=["kilograms"])
    rows = rows.sort_values(["animal", "sampled_on"], kind="stable")
    of_animal = rows.groupby("animal", sort=False, observed=True)
    before = of_animal[["kilograms", "sampled_on"]].shift()
    pound, near = fact("unit.pound").value or 1.0, pounds.value or 0.0
    # How far the step is from that of a pound to a kilogram, or back, as a factor.
    step = np.abs(np.log(rows["kilograms"] / before["kilograms"]))
    jumped = np.abs(step + np.log(pound)) <= np.log1p(near / 100)
    newest = of_animal["sampled_on"].transform("max")
    memory = pd.Timedelta(days=fact("project.weight.memory").value or 0)
    jumped &= before["sampled_on"] >= newest - memory
    found = {}
    grown = (fact("project.category.youngest").value or 0) * 365.25
    for index in rows.index[jumped.to_numpy(dtype=bool)]:
        row, first = rows.loc[index], before.loc[index]
        whose, since = str(row["animal"]), np.datetime64(first["sampled_on"], "D")
        born = records.rows_by_animal[whose].birth_date
        grows = (since - born) / np.timedelta64(1, "D") < grown
        if not (grows and row["kilograms"] > first["kilograms"]):
            found[whose] = WeightJump(
                float(first["kilograms"]),
                float(row["kilograms"]),
                since,
                np.datetime64(row["sampled_on"], "D"),
                str(row["file"]),
                int(row["line"]),
            )
    return found
