"""Operators by the residuals of the cohort's fit: what it allows for, and what is left to them."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from bpvet.maths.crossed import crossed
from bpvet.mixed.cohort import fit_cohort
from bpvet.models.audit.operators import Operators, operators
from bpvet.models.audit.readings import MOST_PLACES, plain_readings
from bpvet.visits.sessions import sessions

from .test_audit import audit, clinic


def of(table: pd.DataFrame) -> Operators:
    return operators(table, 0.95)[0]


def test_they_are_the_crossed_means_of_the_fit_s_residuals() -> None:
    table = sessions(clinic(gap=12.0), "guideline").reset_index(drop=True)
    found = of(table)
    assert (
        found.basis == "residuals of the clinic's mixed model, which allows for animal and months"
    )
    fit = fit_cohort(table, "systolic ~ months")
    slope = dict(fit.fixed["estimate"])
    line = slope["Intercept"] + slope["months"] * table["months"]
    sr2 = float(table["systolic_ss"].sum() / (table["systolic_n"] - 1).sum())
    whole = crossed(
        table["systolic"] - line,
        sr2 / table["systolic_n"],
        np.ones((len(table), 1)),
        pd.factorize(table["animal"])[0],
        (table["operator"] == "CD").to_numpy(dtype=np.int64),
    )
    shown = [one.effect.estimate for one in found.effects]
    assert shown == pytest.approx(whole.effect.tolist(), abs=1e-9)


def test_a_trend_through_time_is_not_laid_on_people() -> None:
    """CD took over when pressures had risen by 40: without the fit CD would seem to read high."""
    table = sessions(clinic(visits=8), "guideline").reset_index(drop=True)
    table["systolic"] = table["systolic"] + 20 * table["months"]
    table["operator"] = np.where(table["months"] > 3.2, "CD", "AB")
    plain = table.groupby("operator")["systolic"].mean()
    assert plain["CD"] - plain["AB"] > 40
    low, high = (one.effect.estimate or 0.0 for one in of(table).effects)
    assert abs(high - low) < 10


def test_where_no_model_can_be_fitted_that_is_said() -> None:
    table = sessions(clinic(animals=2, visits=2, readings=1), "guideline").reset_index(drop=True)
    found = of(table)
    assert found.reason is not None or "mixed model" in found.basis


def test_readings_one_by_one_begin_with_the_first() -> None:
    one = audit(clinic(first=10.0)).order[0]
    assert one.places[0].minus_rest == one.first_minus_rest
    assert [held.place for held in one.places] == [1, 2, 3, 4, 5, 6]
    assert len(one.places) <= MOST_PLACES
    # By hand, from the readings: the third of each session less the mean of all after the first.
    rows = plain_readings(clinic(first=10.0), "guideline", ("clinic",))
    wide = rows.assign(k=rows.groupby("key").cumcount()).pivot(
        index="key", columns="k", values="systolic"
    )
    third = float((wide[2] - wide[[1, 2, 3, 4, 5]].mean(axis=1)).mean())
    assert one.places[2].minus_rest.estimate == pytest.approx(third)
