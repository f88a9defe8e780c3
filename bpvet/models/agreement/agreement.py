"""Two methods against each other, from records or from plain data."""

from __future__ import annotations

import pandas as pd

from bpvet.errors import CallError
from bpvet.facts.words import UNITS
from bpvet.maths.agreement.components import components
from bpvet.models.agreement.device import REFERENCES
from bpvet.models.agreement.paired_data import PlainColumns, from_frame, from_records
from bpvet.models.agreement.result import Agreement
from bpvet.records.records import Records

__all__ = ["Agreement", "agreement"]


def agreement(
    data: Records | pd.DataFrame,
    quantity: str = "systolic",
    *,
    animal: str = "animal",
    method: str = "method",
    replicate: str | None = None,
    visit: str | None = None,
    methods: tuple[str, str] | None = None,
    linked: bool = False,
    condition: str | None = None,
    rule: str = "guideline",
    unit: str = "mmHg",
    reference: str | None = None,
    level: float = 0.95,
) -> Agreement:
    """Compare two methods.

    Parameters
    ----------
    data : Records or DataFrame
        Paired visits are taken of records; plain data have a row a reading.
    quantity : str
        A quantity of the records, or the column of the values.
    animal, method, replicate, visit : str
        Columns of plain data, as `PlainColumns` has them.
    methods : (str, str), optional
        Differences are the second minus the first; by default the two in alphabetical order.
    linked : bool
        Whether replicate r of both methods was taken together, and saw the same true value.
    condition, rule : str
        Of records: by default the condition with most paired visits, and which readings count.
    unit : str
        Unit of plain data.
    reference : str, optional
        ``direct`` or ``indirect`` where a method is an accepted reference of that kind.
    level : float
        Probability of the intervals.

    Raises
    ------
    CallError, RecordsError, FitError
        For a wrong call; for fewer than two animals measured by both methods at one visit; for
        variance components that cannot be fitted.

    Examples
    --------
    >>> frame = pd.DataFrame({"cat": [1, 1, 2, 2, 3, 3], "by": ["D", "O"] * 3,
    ...                       "mmHg": [120, 124, 140, 150, 162, 166]})
    >>> agreement(frame, "mmHg", animal="cat", method="by").bias.estimate
    6.0
    """
    _check(level, reference)
    if isinstance(data, Records):
        paired = from_records(data, quantity, methods, condition, rule, linked)
    else:
        columns = PlainColumns(quantity, animal, method, replicate, visit)
        paired = from_frame(data, columns, methods, linked, UNITS.get(quantity, unit))
    fit = None if paired.single else components(paired.cells)
    return Agreement(paired, fit, level, reference)


def _check(level: float, reference: str | None) -> None:
    if not 0 < level < 1:
        raise CallError(f"an interval needs a level between 0 and 1, not {level}.")
    if reference is not None and reference not in REFERENCES:
        raise CallError(f"reference= is one of {', '.join(REFERENCES)}, or nothing.")
