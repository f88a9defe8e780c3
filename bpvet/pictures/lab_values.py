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
    labs = records.columns("labs", animal)
    usable = labs.is_text("set_aside", "") & ~labs["future"].astype(bool)
    usable &= ~np.isnat(labs.days("sampled_on")) & ~np.isnan(labs["value"])
    labs = labs.take(usable)
    labs = labs.take(np.argsort(labs.days("sampled_on"), kind="stable"))
    of_animal = records.columns("animals", animal)["species"]
    species = str(of_animal[0]) if len(of_animal) else ""
    pairs = zip(labs["analyte"], labs["unit"], strict=True)
    kinds = [(analyte, unit_as_given(analyte, unit)) for analyte, unit in pairs]
    found = []
    for analyte in DRAWN:
        for unit in dict.fromkeys(unit for one, unit in kinds if one == analyte):
            these = labs.take(np.array([kind == (analyte, unit) for kind in kinds], dtype=bool))
            found.append(
                LabValues(
                    analyte,
                    str(unit),
                    these.days("sampled_on"),
                    these["value"].astype(np.float64),
                    these["value_bound"].astype(str),
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
