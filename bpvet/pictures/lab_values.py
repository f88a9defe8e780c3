"""Laboratory values and weights as they are drawn under a trend, in the units given.

Nothing is converted and nothing is modelled: an analyte recorded in two units stands there twice.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from bpvet.facts.labs import DRAWN, unit_as_given
from bpvet.facts.stages import Staging, staging
from bpvet.figures.pictures import SessionMarks
from bpvet.frozen import dataclass, field
from bpvet.records.records import Records
from bpvet.wording.en.pictures.lab_values import marks_name, values_name


@dataclass(frozen=True, eq=False)
class LabValues:
    """One animal's values of one analyte in one unit, in order of date.

    Parameters
    ----------
    analyte, unit : str
        The unit as `facts.labs.unit_as_given` spells it.
    date : (n,) datetime64[D]
        Days of sampling.
    value : (n,) float
        As recorded.
    bound : (n,) str
        "", ``at least`` or ``at most``.
    staging : Staging or None
        The stages that are sourced for them.
    """

    analyte: str
    unit: str
    date: np.ndarray = field(repr=False)
    value: np.ndarray = field(repr=False)
    bound: np.ndarray = field(repr=False)
    staging: Staging | None

    @property
    def name(self) -> str:
        """What was measured, in words, with its unit."""
        return values_name(self)

    @property
    def shown_unit(self) -> str:
        """The unit as it is written beside a number: none for a ratio."""
        return "" if self.unit == "ratio" else self.unit

    def marks(self) -> SessionMarks:
        """Return the values as marks of a picture."""
        count = self.value.size
        unknown, blank = np.full(count, np.nan), np.full(count, "", dtype="<U1")
        return SessionMarks(
            name=marks_name(self.analyte),
            method="",
            condition="",
            date=self.date,
            mean=self.value,
            low=unknown,
            high=unknown,
            n=np.ones(count, dtype=np.int64),
            bound=self.bound,
            label=blank,
        )


def lab_values(records: Records, animal: str) -> tuple[LabValues, ...]:
    """Return the animal's values that a figure can show, by analyte and unit.

    Parameters
    ----------
    records : Records
        Rows that were set aside, or are dated after its `as_of`, are left out.
    animal : str
        The animal's id.
    """
    rows = usable_labs(records, animal)
    of_animal = records.rows_of("animals", animal)["species"]
    species = str(of_animal.iloc[0]) if len(of_animal) else ""
    units = [unit_as_given(a, u) for a, u in zip(rows["analyte"], rows["unit"], strict=True)]
    rows = rows.assign(shown=np.array(units, dtype=object))
    found = []
    for analyte in DRAWN:
        of_analyte = rows[rows["analyte"] == analyte]
        for unit in dict.fromkeys(of_analyte["shown"]):
            these = of_analyte[of_analyte["shown"] == unit]
            found.append(
                LabValues(
                    analyte,
                    str(unit),
                    these["sampled_on"].to_numpy(dtype="datetime64[D]"),
                    these["value"].to_numpy(dtype=np.float64),
                    these["value_bound"].to_numpy(dtype=object).astype(str),
                    staging(analyte, species, str(unit)),
                )
            )
    return tuple(found)


def usable_labs(records: Records, animal: str) -> pd.DataFrame:
    """Return the animal's rows of the table `labs` that a report may speak of, by date."""
    rows = records.rows_of("labs", animal)
    rows = rows[rows["set_aside"] == ""]
    rows = rows[~rows["future"].astype(bool) & rows["sampled_on"].notna() & rows["value"].notna()]
    return rows.sort_values("sampled_on", kind="stable")
