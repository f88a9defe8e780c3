"""What a cohort says of its variances, R² and degrees of freedom, from its own components."""

from __future__ import annotations

import numpy as np
import pytest

from bpvet.mixed.cohort import fit_cohort
from bpvet.mixed.tables import p_value, short_table
from tests.mixed.cohort_data import readings

CLASSES = ["doppler", "oscillometric"]


@pytest.fixture(scope="module")
def frame():
    return readings(1)


@pytest.fixture(scope="module")
def fit(frame):
    return fit_cohort(frame, "systolic ~ months + treated", visit_by="method", residual_by="method")


def components(fit):
    return fit.variance.set_index("component")["estimate"]


def test_correlations_within_animals_and_sessions_are_shares_of_the_variance(fit):
    part = components(fit)
    for name in CLASSES:
        visit, residual = part[f"visit: {name}"], part[f"residual: {name}"]
        whole = part["animal"] + visit + residual
        assert fit.icc.loc[name, "same_animal"] == pytest.approx(part["animal"] / whole)
        assert fit.icc.loc[name, "same_session"] == pytest.approx(1 - residual / whole)
    assert (fit.icc["same_group"] == 0).all()


def test_correlation_within_a_group_and_one_class_of_readings(frame):
    grouped = fit_cohort(readings(3, clinics=5), "systolic ~ months", group="clinic")
    part = components(grouped)
    (row,) = grouped.icc.to_dict("records")
    assert row["same_group"] == pytest.approx(part["group"] / part.sum())
    assert row["same_animal"] == pytest.approx((part["group"] + part["animal"]) / part.sum())
    # Where visits differ by method and readings do not, the visits' share is the readings' mean.
    mixed = fit_cohort(frame, "systolic ~ months", visit_by="method")
    part, share = components(mixed), frame["method"].value_counts(normalize=True)
    visit = sum(share[name] * part[f"visit: {name}"] for name in CLASSES)
    whole = part["animal"] + visit + part["residual"]
    assert mixed.icc.loc["all", "same_session"] == pytest.approx(1 - part["residual"] / whole)


def test_r_squared_from_the_components_and_the_fitted_values(frame, fit):
    beta, part = fit.fixed["estimate"], components(fit)
    fixed = beta["months"] * frame["months"] + beta["treated"] * frame["treated"]
    share = frame["method"].value_counts(normalize=True)
    visit, residual = (
        sum(share[name] * part[f"{kind}: {name}"] for name in CLASSES)
        for kind in ("visit", "residual")
    )
    whole = fixed.var() + part["animal"] + visit + residual
    assert fit.r2["marginal"] == pytest.approx(fixed.var() / whole)
    assert fit.r2["conditional"] == pytest.approx(1 - residual / whole)


def test_shares_are_the_same_in_another_unit(frame, fit):
    other = fit_cohort(
        frame.assign(systolic=frame["systolic"] * 0.13332 + 7, months=frame["months"] * 30.4375),
        "systolic ~ months + treated",
        visit_by="method",
        residual_by="method",
    )
    np.testing.assert_allclose(other.icc, fit.icc, rtol=1e-5)
    np.testing.assert_allclose(other.r2, fit.r2, rtol=1e-5)


def test_degrees_of_freedom_have_a_decimal_below_a_hundred(fit):
    many = fit_cohort(readings(5, animals=60), "systolic ~ months + treated")
    met = set()
    for one in (fit, many):
        shown = {row[0]: row[4] for row in short_table(one).rows}
        for term, df in one.fixed["df"].items():
            met.add(df < 100)
            assert shown[term] == (f"{df:.1f}" if df < 100 else f"{df:.0f}")
    assert met == {True, False}


@pytest.mark.parametrize(
    ("p", "shown"),
    [(0.0312, "0.031"), (0.001, "0.001"), (0.00099, "< 0.001"), (1.0, "1.000"), (np.nan, "–")],
)
def test_p_values_as_papers_print_them(p, shown):
    assert p_value(p) == shown
