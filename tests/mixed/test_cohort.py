"""The cohort model: outside programs' answers, one model in three data layouts, clear errors."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from bpvet.errors import CallError, FitError, FormulaError
from bpvet.mixed.cohort import fit_cohort
from reference_checks.mixed import answers
from reference_checks.mixed.compare import CASES, data, differences, our_fit, reference
from tests.mixed.cohort_data import as_sessions, readings

FORMULA = "systolic ~ months * treated + method"
WHOLE = {"slope": "months", "visit_by": "method", "residual_by": "method"}


@pytest.fixture(scope="module")
def frame():
    return readings(1)


@pytest.fixture(scope="module")
def fit(frame):
    return fit_cohort(frame, FORMULA, **WHOLE)


@pytest.mark.parametrize(
    ("case", "name"),
    [(case, name) for case in CASES for name in case.fits],
    ids=lambda value: value if isinstance(value, str) else value.file,
)
def test_reference(case, name):
    answers = {fit["name"]: fit for fit in reference(case.file)["fits"]}
    ours = our_fit(case, name)
    profiles = case.file in ("dyestuff", "oxide")
    found = differences(case, name, answers[name], ours, profiles)
    assert found
    assert [d for d in found if not d.size <= d.tolerance] == []
    if "singular" in answers[name]:
        assert ours.boundary == answers[name]["singular"]


@pytest.mark.parametrize("reml", [True, False])
def test_statsmodels_agrees(reml):
    import statsmodels.formula.api as smf

    sleep = data("sleepstudy")
    ours = fit_cohort(
        sleep, "Reaction ~ Days", animal="Subject", session=None, slope="Days", reml=reml
    )
    model = smf.mixedlm("Reaction ~ Days", sleep, groups=sleep["Subject"], re_formula="~Days")
    theirs = model.fit(reml=reml, method="bfgs", gtol=1e-6)
    assert ours.criterion == pytest.approx(-2 * theirs.llf, abs=1e-6)
    np.testing.assert_allclose(ours.fixed["estimate"], theirs.fe_params, rtol=1e-6)
    np.testing.assert_allclose(ours.fixed["se"], theirs.bse_fe, rtol=1e-4)
    np.testing.assert_allclose(ours.animal_covariance, theirs.cov_re, rtol=1e-3)


def test_one_model_in_three_layouts(frame, fit):
    sessions = fit_cohort(as_sessions(frame), FORMULA, **WHOLE)
    assert sessions.criterion == pytest.approx(fit.criterion, abs=1e-7)
    np.testing.assert_allclose(sessions.fixed, fit.fixed, rtol=1e-5)
    assert (sessions.n_animals, sessions.n_sessions, sessions.n_readings) == (
        fit.n_animals,
        fit.n_sessions,
        fit.n_readings,
    )
    shuffled = fit_cohort(frame.sample(frac=1, random_state=1), FORMULA, **WHOLE)
    assert shuffled.criterion == pytest.approx(fit.criterion, abs=1e-8)
    # A column that wobbles by nothing at all within sessions takes the road of row moments.
    row = frame.assign(months=frame["months"] + 1e-13 * np.arange(len(frame)))
    assert fit_cohort(row, FORMULA, **WHOLE).criterion == pytest.approx(fit.criterion, abs=1e-6)


def test_units_carry_over(frame, fit):
    other = fit_cohort(
        frame.assign(systolic=frame["systolic"] * 0.13332 + 7, months=frame["months"] * 30.4375),
        FORMULA,
        **WHOLE,
    )
    unit = np.array([0.13332] * 3 + [0.13332] * 2)
    days = np.array([1, 30.4375, 1, 1, 30.4375])
    order = ["Intercept", "months", "treated", "method[T.oscillometric]", "months:treated"]
    expected = fit.fixed.loc[order, "se"].to_numpy() * unit / days
    np.testing.assert_allclose(other.fixed.loc[order, "se"], expected, rtol=1e-6)
    np.testing.assert_allclose(other.fixed["df"], fit.fixed["df"], rtol=1e-5)


def test_unknown_scatter_adds_the_mean_alone(frame):
    one = as_sessions(frame)
    blank = one.assign(systolic_ss=one["systolic_ss"].where(one.index > 4))
    bound = one.assign(systolic_bound=np.where(one.index > 4, "", "at least"))
    fits = [fit_cohort(each, "systolic ~ months") for each in (one, blank, bound)]
    extra = int((one["systolic_n"] - 1)[:5].sum())
    assert [f.n_readings for f in fits] == [len(frame), len(frame) - extra, len(frame) - extra]
    assert fits[1].criterion == pytest.approx(fits[2].criterion, abs=1e-9)
    all_bound = fit_cohort(one.assign(systolic_bound="at least"), "systolic ~ months", session=None)
    assert all_bound.n_readings == len(one)
    with pytest.raises(FitError, match="cannot be told apart"):
        fit_cohort(one.assign(systolic_bound="at least", systolic_n=3), "systolic ~ months")


def test_infinite_values_are_left_out(frame):
    odd = frame.copy()
    odd.loc[0, "months"], odd.loc[1, "months"] = np.inf, -np.inf
    assert fit_cohort(odd, "systolic ~ months").left_out.to_dict() == {"no months": 2}


def test_missing_values_are_said(frame):
    holed = frame.copy()
    holed.loc[:3, "systolic"] = np.nan
    holed.loc[10:11, "method"] = ""
    cohort = fit_cohort(holed, "systolic ~ method")
    assert cohort.left_out.to_dict() == {"no systolic": 4, "no method": 2}
    assert cohort.n_readings == len(frame) - 6
    assert "4 with no systolic, 2 with no method" in str(cohort)


def test_groups_and_two_slopes():
    frame = readings(3, animals=60, clinics=6, sessions=8)
    frame["warmth"] = np.cos(frame["months"])
    cohort = fit_cohort(
        frame, "systolic ~ months + warmth", group="clinic", slope=("months", "warmth")
    )
    names = list(cohort.variance["component"])
    assert names[:4] == ["group", "animal", "animal: months", "animal: warmth"] or set(names) >= {
        "group",
        "animal: months",
        "animal: warmth",
        "visit",
        "residual",
    }
    assert len(cohort.groups) == 6
    assert cohort.animals.loc["A003", "clinic"] == "clinic 3"
    with pytest.raises(CallError, match="more than one"):
        fit_cohort(frame.assign(clinic=frame["method"]), "systolic ~ 1", group="clinic")


def test_answers(frame, fit):
    assert list(fit.fixed.columns) == ["estimate", "se", "df", "t", "p", "lower", "upper"]
    assert fit.fixed.index.name == "term"
    assert list(fit.variance.columns) == ["component", "estimate", "sd", "lower", "upper"]
    assert len(fit.animals) == fit.n_animals
    assert len(fit.sessions) == fit.n_sessions
    assert fit.log_likelihood == pytest.approx(-fit.criterion / 2)
    assert 0 < fit.r2["marginal"] < fit.r2["conditional"] < 1
    assert list(fit.icc.index) == ["doppler", "oscillometric"]
    whole = fit.to_frame()
    assert set(whole["part"]) == {"fixed", "variance"}
    assert "SD residual: doppler" in str(fit)
    assert fit._repr_html_().startswith("<table>")


def test_handed_out_frames_do_not_reach_the_fit(fit):
    frame = fit.fixed
    frame.loc["months", "estimate"] = 99.0
    assert fit.fixed.loc["months", "estimate"] != 99.0


def test_contrasts_and_marginal_means(fit):
    means = fit.marginal_means("method")
    treated = fit.marginal_means("treated", at={"treated": [0, 1], "months": 6})
    difference = fit.contrasts("method")
    term = fit.fixed.loc["method[T.oscillometric]"]
    assert difference["estimate"].iloc[0] == pytest.approx(term["estimate"])
    assert difference["se"].iloc[0] == pytest.approx(term["se"])
    gap = means["estimate"].diff().iloc[1]
    assert gap == pytest.approx(term["estimate"])
    # At six months: treated + 6 · months:treated.
    own = fit.contrast({"treated": 1.0, "months:treated": 6.0})
    assert treated["estimate"].diff().iloc[1] == pytest.approx(own["estimate"].iloc[0])
    with pytest.raises(CallError, match="say at which values"):
        fit.marginal_means("months")
    test = fit.test("method")
    assert test["f"] == pytest.approx(term["t"] ** 2)
    assert test["p"] == pytest.approx(term["p"], rel=1e-6)


def test_predictions(frame, fit):
    rows = frame.drop_duplicates(["animal", "session"])
    population = fit.predict(rows)
    np.testing.assert_allclose(population["estimate"], fit.sessions["population"], rtol=1e-9)
    own = fit.predict(rows, level="animal")
    np.testing.assert_allclose(own["estimate"], fit.sessions["fitted"], rtol=1e-9)
    assert (own["se"] < population["se"] + 15).all()
    with pytest.raises(CallError, match="not in the fit"):
        fit.predict(rows.assign(animal="stranger"), level="animal")
    left = fit.residuals()
    np.testing.assert_allclose(left, fit.sessions["mean"] - fit.sessions["fitted"])
    assert 0.5 < fit.residuals("standardised").std() < 1.5


def test_error_of_prediction_is_henderson():
    """The SE of a prediction against the inverse of the mixed-model equations."""
    frame = readings(5, animals=8)
    cohort = fit_cohort(frame, "systolic ~ months")
    sessions = cohort.sessions
    v = cohort.variance.set_index("component")["estimate"]
    n, animals = len(sessions), list(cohort.animals.index)
    x = np.column_stack([np.ones(n), frame.drop_duplicates(["animal", "session"])["months"]])
    z = (sessions["animal"].to_numpy()[:, None] == np.array(animals)).astype(float)
    weight = 1 / (v["visit"] + v["residual"] / sessions["readings"].to_numpy())
    both = np.column_stack([x, z])
    equations = both.T @ (both * weight[:, None])
    equations[2:, 2:] += np.eye(len(animals)) / v["animal"]
    expected = np.sqrt(np.einsum("ni,ij,nj->n", both, np.linalg.inv(equations), both))
    rows = frame.drop_duplicates(["animal", "session"])
    np.testing.assert_allclose(cohort.predict(rows, level="animal")["se"], expected, rtol=1e-7)


def test_sandwich_by_animal():
    frame = readings(6, animals=10)
    plain = as_sessions(frame)
    cohort = fit_cohort(plain, "systolic ~ months", session=None, robust=True)
    v = cohort.variance.set_index("component")["estimate"]
    x = np.column_stack([np.ones(len(plain)), plain["months"]])
    bread, meat = np.zeros((2, 2)), np.zeros((2, 2))
    left = plain["systolic"].to_numpy() - x @ cohort.fixed["estimate"].to_numpy()
    for animal in plain["animal"].unique():
        mine = (plain["animal"] == animal).to_numpy()
        inverse = np.linalg.inv(v["animal"] + v["residual"] * np.eye(mine.sum()))
        bread += x[mine].T @ inverse @ x[mine]
        score = x[mine].T @ inverse @ left[mine]
        meat += np.outer(score, score)
    cov = np.linalg.inv(bread) @ meat @ np.linalg.inv(bread) * 10 / 9
    np.testing.assert_allclose(cohort.fixed["se"], np.sqrt(np.diag(cov)), rtol=1e-6)


def test_compare(frame):
    small = fit_cohort(frame, "systolic ~ months + method")
    large = fit_cohort(frame, "systolic ~ months + method", residual_by="method")
    test = large.compare(small).iloc[1]
    assert test["df"] == 1
    assert test["chisq"] == pytest.approx(small.criterion - large.criterion)
    other = fit_cohort(frame, "systolic ~ months")
    with pytest.raises(CallError, match="different fixed effects"):
        other.compare(small)
    with pytest.raises(CallError, match="by ML"):
        small.compare(other.by_maximum_likelihood())
    with pytest.raises(CallError, match="different data"):
        small.compare(fit_cohort(frame[:-1], "systolic ~ months + method"))
    with pytest.raises(CallError, match="as many parameters"):
        small.compare(small)
    ml = other.by_maximum_likelihood().compare(small.by_maximum_likelihood())
    assert ml["df"].iloc[1] == 1


def test_profile_of_variances_and_effects():
    cohort = fit_cohort(readings(7, animals=15), "systolic ~ months", reml=False)
    got = cohort.profile(parameters=["visit", "months"]).set_index("parameter")
    assert (got["lower"] < got["estimate"]).all()
    assert (got["estimate"] < got["upper"]).all()
    with pytest.raises(CallError, match="no parameter"):
        cohort.profile(parameters=["nothing"])


def test_files(tmp_path, fit):
    fit.to_csv(tmp_path / "fit.csv")
    again = pd.read_csv(tmp_path / "fit.csv")
    np.testing.assert_allclose(again["estimate"], fit.to_frame()["estimate"], rtol=1e-12)
    text = fit.to_latex(tmp_path / "fit.tex")
    assert (tmp_path / "fit.tex").read_text(encoding="utf-8") == text
    assert r"\toprule" in text
    assert "method[T.oscillometric]" in text


@pytest.mark.parametrize(
    ("call", "error", "words"),
    [
        ({"formula": "systolic ~ months + twice"}, FitError, "combinations of one another"),
        ({"formula": "systolic ~ months + same"}, FitError, "does not vary"),
        ({"formula": "same ~ months"}, FitError, "does not vary about the fixed effects"),
        ({"formula": "systolic ~ nothing"}, FormulaError, "no column"),
        ({"formula": "method ~ months"}, CallError, "holds no numbers"),
        ({"animal": "owner"}, CallError, "given as animal"),
        ({"session": "when"}, CallError, "session=None"),
        ({"slope": "method"}, CallError, "column of numbers"),
        ({"slope": ("months", "months")}, CallError, "two different"),
        ({"residual_by": "nothing"}, CallError, "given as residual_by"),
        ({"residual_by": "systolic"}, CallError, "one value within a session"),
        ({"df": "many"}, CallError, "df is one of"),
        ({"df": "kenward_roger", "reml": False}, CallError, "need REML"),
        ({"animal": "one"}, FitError, "say nothing about the variance of animal"),
        ({"session": "one"}, FitError, "cannot be told apart"),
        ({"slope": "session", "session": "one"}, FitError, "cannot be told apart"),
    ],
)
def test_clear_errors(frame, call, error, words):
    odd = frame.assign(twice=2 * frame["months"] + 1, same=5.0, one="x")
    arguments = {"formula": "systolic ~ months"} | call
    with pytest.raises(error, match=words):
        fit_cohort(odd, **arguments)


def test_outliers_of_a_million(frame):
    wild = frame.copy()
    wild.loc[7, "systolic"] = 1e6
    cohort = fit_cohort(wild, "systolic ~ months")
    assert np.isfinite(cohort.fixed.to_numpy()).all()
    assert cohort.boundary


def test_far_away_origin_changes_nothing(frame):
    near = fit_cohort(frame, "systolic ~ months", slope="months")
    far = fit_cohort(
        frame.assign(systolic=frame["systolic"] + 1e6, months=frame["months"] + 24_000),
        "systolic ~ months",
        slope="months",
    )
    assert far.criterion == pytest.approx(near.criterion, abs=1e-4)
    assert far.fixed.loc["months", "se"] == pytest.approx(near.fixed.loc["months", "se"], rel=1e-5)


def test_many_animals_and_many_kinds_of_session():
    """Codes are kept in few bytes; products of animals and kinds are larger than those."""
    animals = 9000
    frame = pd.DataFrame(
        {
            "animal": np.repeat(np.char.add("a", np.arange(animals).astype(str)), 3),
            "session": np.tile([0, 1, 2], animals),
            "method": np.tile(["x", "y", "x"], animals),
            "bp": np.random.default_rng(0).normal(size=3 * animals),
            "bp_n": np.tile([2, 3, 4], animals),
            "bp_ss": np.tile([1.0, 2.0, 3.0], animals),
        }
    )
    cohort = fit_cohort(frame, "bp ~ 1", visit_by="method", residual_by="method")
    assert cohort.n_animals == animals
    assert cohort.n_readings == 9 * animals


def test_means_contrasts_and_predictions_beside_r():
    found = answers.differences()
    assert len(found) > 100
    assert [d for d in found if not d.size <= d.tolerance] == []
