"""A step that nobody recorded: its probability against dense arithmetic, and where it may lie."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_normal

import bpvet
from bpvet.models.trend.step import step_places, unrecorded_step
from tests.models.small_records import drug, records, rows

FIXED = {"sv": 11.0, "sr": 7.0, "sw": 6.0}
DATES = [str(np.datetime64("2026-01-05") + 21 * i) for i in range(8)]


def trend(means, treatments=(), fixed=FIXED, dates=DATES, **more):
    parts = (3.0, -2.0, 1.0, 0.0, -2.0)
    readings = rows([(d, [m + p for p in parts]) for d, m in zip(dates, means, strict=True)])
    return bpvet.fit_trend(records(readings, list(treatments), **more), "A1", fixed=fixed)


def densely(own, later):
    """Return P(any) and the usual pressure under a step, from covariances of the session means."""
    series, columns = own.series, own.columns
    (form,) = columns.forms
    x, day, n = columns.sessions(), columns.day, series.y.size
    wander = FIXED["sw"] ** 2 * np.exp(-np.abs(day[:, None] - day) / 60)
    noise = np.diag(FIXED["sv"] ** 2 + FIXED["sr"] ** 2 / series.k)
    centre = x @ form.mean
    plain = (x * form.sd**2) @ x.T + wander + noise
    towards = (columns.rows(np.zeros(1)) * form.sd**2) @ x.T + wander[-1]
    evidence = [multivariate_normal(centre, plain).logpdf(series.y) + np.log(0.7)]
    usual = []
    for i in later:
        column = -(np.arange(n) < i).astype(float)
        cov = plain + 625 * np.outer(column, column)
        weight = np.log(0.3 / len(later))
        evidence.append(multivariate_normal(centre, cov).logpdf(series.y) + weight)
        gain = np.linalg.solve(cov, series.y - centre)
        usual.append((columns.rows(np.zeros(1)) @ form.mean + towards @ gain)[0])
    share = np.exp(np.array(evidence) - max(evidence))
    share /= share.sum()
    return 1 - share[0], float(np.array(usual) @ share[1:] / share[1:].sum())


@pytest.mark.parametrize("jump", [0.0, 25.0, -60.0])
def test_it_is_the_dense_answer(jump):
    own = trend([150 + 4 * (-1) ** i + jump * (i > 4) for i in range(8)])
    found = unrecorded_step(own)
    p, usual = densely(own, list(range(1, 8)))
    assert found.p_any == pytest.approx(p, abs=1e-9)
    assert found.usual.mean == pytest.approx(usual, abs=1e-6)


def test_a_large_step_is_found_where_it_lies_and_changes_no_answer():
    own = trend([150 + 3 * (-1) ** i + 50 * (i > 4) for i in range(8)], fixed=None)
    before = own.latest.mean
    found = unrecorded_step(own)
    assert found.p_any > 0.9
    assert [str(found.after), str(found.before)] == DATES[4:6]
    answer = own.answer()
    assert "companions.step" in {one.key for one in answer.statements}
    assert answer.latest.estimate == before
    assert answer.companions.step.usual.estimate > before


def test_without_a_step_none_is_told():
    answer = trend([150 + 3 * (-1) ** i for i in range(8)], fixed=None).answer()
    assert answer.companions.step.p_any < 0.3
    assert "companions.step" not in {one.key for one in answer.statements}


def test_no_place_lies_near_the_ends_of_a_course():
    means = [150.0] * 8
    # Gaps are of 21 days; of amlodipine 3·tau are 9 days.
    middle = str(np.datetime64(DATES[3]) + 10)
    assert step_places(trend(means, [drug(middle)]).series).tolist() == [1, 2, 3, 5, 6, 7]
    near = str(np.datetime64(DATES[3]) + 5)
    assert step_places(trend(means, [drug(near)]).series).tolist() == [1, 2, 5, 6, 7]
    both = [drug(middle, stopped_on=str(np.datetime64(DATES[6]) + 10))]
    assert step_places(trend(means, both).series).tolist() == [1, 2, 3, 5, 6]


def test_with_no_place_there_is_no_answer():
    own = trend([150.0, 155.0], dates=DATES[:2], treatments=[drug(DATES[0])])
    assert unrecorded_step(own) is None
    assert own.answer().companions.step is None
    assert unrecorded_step(trend([150.0], dates=DATES[:1])) is None


def test_of_a_place_that_says_little_the_nodes_of_the_trend_give_the_factor(monkeypatch):
    own = trend([150 + 3 * (-1) ** i + 35 * (i > 4) for i in range(8)], fixed=None)
    whole = unrecorded_step(own)
    monkeypatch.setattr("bpvet.models.trend.step.MOST_FITTED", 2)
    few = unrecorded_step(own)
    assert few.p_any == pytest.approx(whole.p_any, abs=0.003)
    assert few.usual.mean == pytest.approx(whole.usual.mean, abs=1.0)
    assert (few.after, few.before) == (whole.after, whole.before)
