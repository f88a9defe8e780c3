"""Odd data: a clear answer or a clear error, never a traceback and never a number that is none."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from bpvet.errors import BpvetError, CallError, FitError, FormulaError
from bpvet.mixed.cohort import fit_cohort
from reference_checks.mixed.simulated import twin
from tests.mixed.cohort_data import as_sessions, readings

FORMULA = "systolic ~ months"
BASE = readings(1, clinics=4)
SESSIONS = as_sessions(BASE)
ROW = np.arange(len(BASE))


def one_in(value: float, every: int = len(BASE)) -> pd.DataFrame:
    """Return the readings, one of every so many replaced by a value."""
    return BASE.assign(systolic=np.where(ROW % every == 3, value, BASE["systolic"]))


ANSWERED = {
    "two animals": (BASE[BASE["animal"] < "A002"], {"slope": "months"}),
    "a reading of a million": (one_in(1e6), {"slope": "months", "residual_by": "method"}),
    "all by method": (one_in(1e6), {"visit_by": "method", "residual_by": "method"}),
    "a reading of minus a million": (one_in(-1e6), {"group": "clinic"}),
    "a seventh are a million": (one_in(1e6, 7), {"slope": "months"}),
    "all alike but one": (BASE.assign(systolic=np.where(ROW == 3, 121.0, 120.0)), {}),
    "noughts and ones": (BASE.assign(systolic=(BASE["systolic"] > 150) * 1.0), {}),
    "no scale": (
        BASE.assign(systolic=150 + np.random.default_rng(0).standard_cauchy(len(BASE))),
        {"slope": "months", "residual_by": "method", "visit_by": "method"},
    ),
    "pure noise": (
        BASE.assign(systolic=np.random.default_rng(0).normal(size=len(BASE))),
        {"slope": "months", "group": "clinic"},
    ),
    "less alike within than between": (
        BASE.assign(systolic=10 * (-1.0) ** ROW + np.random.default_rng(0).normal(size=len(BASE))),
        {"slope": "months"},
    ),
    "large units": (BASE.assign(systolic=BASE["systolic"] * 1e40), {}),
    "small units": (BASE.assign(months=BASE["months"] * 1e-40), {"slope": "months"}),
}


@pytest.mark.parametrize("name", ANSWERED)
def test_an_answer_at_the_optimum(name):
    frame, options = ANSWERED[name]
    fit = fit_cohort(frame, FORMULA, **options)
    assert np.isfinite(fit.fixed[["estimate", "se"]].to_numpy()).all()
    assert fit.point.value.criterion <= twin(fit, starts=3, seed=1) + 1e-6
    assert str(fit)
    assert len(fit.sessions) == fit.n_sessions
    assert not np.isinf(fit.variance.drop(columns="component").to_numpy(float)).any()


SAME = {
    "nothing": BASE,
    "types of Arrow": BASE.convert_dtypes(dtype_backend="pyarrow"),
    "types of pandas": BASE.convert_dtypes(),
    "labels are numbers": BASE.assign(animal=BASE["animal"].str[1:].astype(int)),
    "labels are categories": BASE.assign(
        animal=pd.Categorical(BASE["animal"], categories=[*BASE["animal"].unique(), "nobody"])
    ),
    "sessions are texts": BASE.assign(session="s" + BASE["session"].astype(str)),
    "sessions are halves": BASE.assign(session=BASE["session"] + 0.5),
    "sessions are far apart": BASE.assign(session=BASE["session"] * 2**60),
    "sessions are unsigned": BASE.assign(
        session=BASE["session"].astype("uint64") + np.uint64(2**63 + 5)
    ),
    "sessions may be missing": BASE.assign(session=BASE["session"].astype("Int64")),
    "sessions are dates": BASE.assign(
        session=pd.Timestamp("2020-01-01") + pd.to_timedelta(BASE["session"], unit="D")
    ),
    "an index of words": BASE.set_index(pd.Index(["x"] * len(BASE))),
    "a column that has a number for a name": BASE.assign(**{"x": 1}).rename(columns={"x": 3}),
}


@pytest.mark.parametrize("name", SAME)
def test_the_same_answer_whatever_the_types(name):
    usual = fit_cohort(BASE, FORMULA)
    fit = fit_cohort(SAME[name], FORMULA)
    assert fit.criterion == pytest.approx(usual.criterion, abs=1e-7)
    assert (fit.n_animals, fit.n_sessions) == (usual.n_animals, usual.n_sessions)


def test_missing_labels_are_said():
    holed = BASE["session"].astype("Int64").mask(BASE.index < 4)
    assert fit_cohort(BASE.assign(session=holed), FORMULA).left_out.to_dict() == {"no session": 4}


REFUSED = {
    "one animal": (BASE[BASE["animal"] == "A000"], {}, FitError, "variance of animal"),
    "one session each": (BASE[BASE["session"] == 0], {}, FitError, "animal, visit cannot be told"),
    "one row": (BASE[:1], {}, FitError, "does not vary"),
    "no row": (BASE[:0], {}, CallError, "the data are empty"),
    "no column": (pd.DataFrame(), {}, FormulaError, "no column"),
    "constant": (BASE.assign(systolic=120.0), {}, FitError, "every reading is the same"),
    "constant in sessions": (
        SESSIONS.assign(systolic_ss=0.0),
        {},
        FitError,
        "do not scatter at all",
    ),
    "nothing known": (BASE.assign(systolic=np.nan), {}, CallError, "with no systolic"),
    "too large": (one_in(1e300), {}, CallError, "reaches 1e.300, which is too large"),
    "too small": (BASE.assign(months=BASE["months"] * 1e-200), {}, CallError, "too small"),
    "complex": (BASE.assign(systolic=BASE["systolic"] + 0j), {}, CallError, "holds no numbers"),
    "a column twice": (pd.concat([BASE, BASE["systolic"]], axis=1), {}, CallError, "more than one"),
    "spans of time": (
        BASE.assign(months=pd.to_timedelta(BASE["months"], unit="D")),
        {},
        CallError,
        "holds dates",
    ),
    "a count in words": (SESSIONS.assign(systolic_n="three"), {}, CallError, "must hold numbers"),
    "squares in words": (SESSIONS.assign(systolic_ss="few"), {}, CallError, "must hold numbers"),
    "half a reading": (
        SESSIONS.assign(systolic_n=SESSIONS["systolic_n"] + 0.5),
        {},
        CallError,
        "whole numbers",
    ),
    "a negative square": (SESSIONS.assign(systolic_ss=-1.0), {}, CallError, "below zero"),
    "an effect of each animal": (BASE, {"formula": "systolic ~ animal"}, FitError, "of animal"),
    "a group of each animal": (BASE, {"group": "animal"}, FitError, "animal, group cannot be told"),
    "one group": (BASE.assign(clinic="x"), {"group": "clinic"}, FitError, "variance of group"),
    "no term": (BASE, {"formula": "systolic ~ 0"}, FormulaError, "has no term"),
    "three slopes": (BASE, {"slope": ("a", "b", "c")}, CallError, "two different ones"),
    "a slope that is no name": (BASE, {"slope": 3}, CallError, "slope takes one name"),
    "an animal that is no name": (BASE, {"animal": None}, CallError, "name of a column"),
    "a group that is no name": (BASE, {"group": 3}, CallError, "names of columns, not 3"),
    "a map that is none": (BASE, {"map": 3}, CallError, "mapping function"),
    "a dictionary": (BASE.to_dict("list"), {}, CallError, "data is a DataFrame"),
    "a series": (BASE["systolic"], {}, CallError, "data is a DataFrame"),
    "numbers": ([1, 2], {}, CallError, "data is a DataFrame"),
    "no file": (["/nowhere/a.csv"], {}, CallError, "a.csv: cannot be read"),
    "no parquet": (["/nowhere/a.parquet"], {}, CallError, "a.parquet: cannot be read"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_a_clear_error(name):
    data, options, error, words = REFUSED[name]
    with pytest.raises(error, match=words) as caught:
        fit_cohort(data, **({"formula": FORMULA} | options))
    assert isinstance(caught.value, BpvetError)


@pytest.mark.filterwarnings("default")
def test_a_design_without_bounds_is_refused():
    with pytest.raises(BpvetError, match=r"not a finite number|too large"):
        fit_cohort(BASE, "systolic ~ exp(months * 1000)")


def test_the_order_of_categories_is_kept():
    """The first category is the one that others are compared with, in one frame and in parts."""
    order = ["oscillometric", "doppler"]
    frame = BASE.assign(method=pd.Categorical(BASE["method"], categories=order))
    fit = fit_cohort(frame, "systolic ~ method", residual_by="method")
    usual = fit_cohort(BASE, "systolic ~ method", residual_by="method")
    assert fit.terms == ("Intercept", "method[T.doppler]")
    assert fit.coefficients[1] == pytest.approx(-usual.coefficients[1], rel=1e-6)
    assert list(fit.variance["component"])[-2:] == [f"residual: {name}" for name in order]
    middle = frame["animal"] < "A012"
    parts = fit_cohort([frame[middle], frame[~middle]], "systolic ~ method", residual_by="method")
    assert parts.terms == fit.terms
    assert parts.criterion == pytest.approx(fit.criterion, abs=1e-7)
