"""The population's lines of a clinic's cohort, each over the months in which its sessions lie."""

from __future__ import annotations

import numpy as np
import pandas as pd

from bpvet.models.clinic.cohort import ClinicCohort

_POINTS = 60


def reference_method(study: ClinicCohort) -> str:
    """Return the method of most counted sessions; Doppler if as many are by either."""
    counts = study.counted["method"].value_counts()
    return min(counts.index, key=lambda name: (-counts[name], name))


def population(study: ClinicCohort, level: float = 0.95) -> pd.DataFrame:
    """Return the population's lines, each over the months in which its sessions lie.

    Parameters
    ----------
    study : ClinicCohort
    level : float
        Of the intervals.

    Returns
    -------
    DataFrame
        treated, months, estimate, lower, upper; by the method of most sessions.
    """
    rows, by_drug = study.counted, "treated" in study.cohort.terms
    parts = []
    for state in (False, True) if by_drug else (None,):
        sessions = rows if state is None else rows[rows["treated"] == state]
        months = np.linspace(sessions["months"].min(), sessions["months"].max(), _POINTS)
        on = bool(sessions["treated"].iloc[0]) if state is None else state
        grid = pd.DataFrame({"months": months, "treated": on})
        grid["method"] = reference_method(study)
        found = study.cohort.predict(grid, interval=level)
        parts.append(pd.concat([grid[["treated", "months"]], found], axis=1))
    return pd.concat(parts, ignore_index=True)[["treated", "months", "estimate", "lower", "upper"]]
