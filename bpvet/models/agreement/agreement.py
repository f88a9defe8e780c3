"""Two methods against each other, from records or from plain data."""

from __future__ import annotations

import pandas as pd

from bpvet.errors import CallError
from bpvet.facts.words import UNITS
from bpvet.maths.agreement.components import components
from bpvet.models.agreement.device import REFERENCES
from bpvet.models.agreement.paired_data import from_frame, from_records
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
        Records (their paired visits are taken), or plain data with a row a reading.
    quantity : str
        What to compare: a quantity of the records, or the column of the values.
    animal, method, replicate, visit : str
        Columns of plain data; without `replicate` readings keep their order, without `visit`
        each animal was seen once.
    methods : (str, str), optional
        First and second method; differences are the second minus the first. By default Doppler
        and oscillometric, or the two in the data in alphabetical order.
    linked : bool
        Whether replicate r of one method was taken together with replicate r of the other, so
        that both saw the same true value; a stated choice, unlinked by default.
    condition, rule : str
        Of records: the condition (that with most paired visits by default), and which readings
        count.
    unit : str
        Unit of plain data.
    reference : str, optional
        ``direct`` or ``indirect`` if one of the methods is an accepted reference of that kind;
        without it no figure here is a validation.
    level : float
        Probability of the intervals.

    Returns
    -------
    Agreement

    Raises
    ------
    CallError
        When the call is wrong.
    RecordsError
        When the records have fewer than two animals measured by both methods at one visit.
    FitError
        When the variance components cannot be fitted.

    Examples
    --------
    >>> frame = pd.DataFrame({"cat": [1, 1, 2, 2, 3, 3], "by": ["D", "O"] * 3,
    ...                       "mmHg": [120, 124, 140, 150, 162, 166]})
    >>> agree = agreement(frame, "mmHg", animal="cat", method="by")
    >>> agree.bias.estimate
    6.0
    """
    if not 0 < level < 1:
        raise CallError(f"an interval needs a level between 0 and 1, not {level}.")
    if reference is not None and reference not in REFERENCES:
        raise CallError(f"reference= is one of {', '.join(REFERENCES)}, or nothing.")
    if isinstance(data, Records):
        paired = from_records(data, quantity, methods, condition, rule, linked)
    else:
        known = UNITS.get(quantity, unit)
        paired = from_frame(
            data, quantity, animal, method, replicate, methods, visit, linked, known
        )
    fit = None if paired.single else components(paired.cells)
    return Agreement(paired, fit, level, reference)
