"""The chance that further visits settle a question: the later report, and fixed points."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import qmc

from bpvet.facts.priors.priors import Priors
from bpvet.maths import settling as maths
from bpvet.maths.posterior import Posterior
from bpvet.maths.settling import Standing
from bpvet.maths.sobol import MOST_DIMENSIONS, sobol_points
from bpvet.models.trend.fit import fit_trend, refit
from bpvet.models.trend.settling import (
    Asked,
    _ahead,
    effect_asked,
    settling,
    slope_asked,
    usual_asked,
)
from bpvet.models.trend.trend import Trend
from reference_checks.settle.check import dense_rows, one_visit_rows
from tests.models.small_records import drug, records, rows, steady

DATES = ["2026-01-10", "2026-02-07", "2026-03-14", "2026-05-02", "2026-08-01"]
HELD = {"sv": 11.0, "sr": 7.0, "sw": 6.0}
CAT = Priors.default("cat", "doppler")


def trend(values: list[float], treatments=(), *, dates=DATES, **more) -> Trend:
    readings = [row for one, value in zip(dates, values, strict=False)
                for row in steady(value, [one])]  # fmt: skip
    return fit_trend(records(rows(readings), list(treatments)), "A1", **more)


def questions(one: Trend) -> list[Asked]:
    return [
        usual_asked(160.0),
        slope_asked(one),
        *(effect_asked(one, spell) for spell in one.treatments),
    ]


def test_the_points_are_sobols_moved_by_half_a_step():
    theirs = qmc.Sobol(MOST_DIMENSIONS, scramble=False).random(256) + 0.5 / 256
    np.testing.assert_array_equal(sobol_points(MOST_DIMENSIONS), theirs)
    np.testing.assert_array_equal(sobol_points(3), theirs[:, :3])
    with pytest.raises(ValueError, match="62"):
        sobol_points(MOST_DIMENSIONS + 1)


def longer(one: Trend, values: np.ndarray, gap: int) -> Trend:
    """The trend as it is once further sessions of five readings have read `values`."""
    series, count = one.series, values.size

    def added(name: str, new: object) -> np.ndarray:
        held = getattr(series, name)
        return np.concatenate([held, np.full(count, new, dtype=held.dtype)])

    ahead = series.date[-1] + np.arange(1, count + 1) * np.timedelta64(gap, "D")
    more = replace(
        series,
        date=np.concatenate([series.date, ahead]),
        y=np.concatenate([series.y, values]),
        ss=added("ss", 0.0),
        k=added("k", 5.0),
        # Their scatter is not known ahead, and tells nothing of noise SDs held fixed.
        scatter_known=added("scatter_known", False),
        bound=added("bound", ""),
        visit=np.concatenate([series.visit, series.visit.max() + np.arange(1, count + 1)]),
        session=np.concatenate([series.session, 1000 + np.arange(count)]),
        methods=added("methods", series.method),
        conditions=added("conditions", series.condition),
        median=np.concatenate([series.median, values]),
        tense=added("tense", False),
    )
    return refit(one, more)


@pytest.mark.parametrize(
    "treatments",
    [
        [],
        [drug("2026-02-07")],
        [drug("2026-01-20", stopped_on="2026-03-01"), drug("2026-05-02")],
        [drug("2026-01-10"), drug("2026-05-02", "telmisartan")],
        [
            drug("2026-02-07", dose="1", dose_unit="mg", stopped_on="2026-05-02"),
            drug("2026-05-02", dose="2", dose_unit="mg"),
        ],
    ],
)
def test_the_later_report_is_the_one_that_a_fit_would_give(treatments):
    now = trend([196, 170, 166, 158, 161], treatments, fixed=HELD)
    read, gap = np.array([[150.0, 171.0, 158.0], [128.0, 140.0, 119.0]]), 14
    ahead = _ahead(now, 3, gap, 5)
    standing = Standing.of(now.posterior)
    asked = questions(now)
    usual = now.columns.rows(ahead.day[-1:])[0]
    later = maths.later_report(
        standing,
        ahead,
        [
            maths.Question(
                usual if one.vector is None else one.vector,
                one.vector is None,
                one.threshold,
                one.low,
                one.sure,
            )
            for one in asked
        ],
    )
    for values in read:
        then = longer(now, values, gap)
        held = [then.latest, then.slope, *(spell.effect for spell in then.treatments)]
        for i, (one, mixture) in enumerate(zip(asked, held, strict=True)):
            expected = float(mixture.below(one.threshold))
            assert later.at_or_below(i, values[None])[0] == pytest.approx(expected, abs=1e-8)


def test_the_same_records_give_the_same_chances_to_the_digit():
    one, two = (trend([170, 162, 158, 166, 157], [drug("2026-02-07")]) for _ in range(2))
    assert settling(one, questions(one)) == settling(two, questions(two))


@given(st.floats(-30, 30), st.integers(1, 5))
@settings(max_examples=8, deadline=None)
def test_a_constant_on_everything_changes_nothing(constant, visits):
    values = [150.0, 141.0, 139.0, 144.0, 138.0]
    plain = trend(values, priors=CAT)
    moved = replace(CAT, level=(CAT.level[0] + constant, CAT.level[1]))
    other = trend([value + constant for value in values], priors=moved)
    (one,) = settling(plain, [usual_asked(140.0)], (visits,))
    (two,) = settling(other, [usual_asked(140.0 + constant)], (visits,))
    assert two[0].at_or_below == pytest.approx(one[0].at_or_below, abs=1 / 256 + 1e-12)
    assert two[0].above == pytest.approx(one[0].above, abs=1 / 256 + 1e-12)


def test_a_question_far_from_open_is_settled_and_by_its_own_side():
    one = trend([150, 151, 149, 150, 150])
    (high, low) = settling(one, [usual_asked(200.0), usual_asked(100.0)], (2,))
    assert (high[0].at_or_below, high[0].above) == (1.0, 0.0)
    assert low[0].at_or_below == 0.0
    assert low[0].above > 0.99
    assert high[0].chance == 1.0


def test_the_slope_is_at_rest_where_it_does_not_rise():
    falling = trend([200, 190, 180, 170, 160])
    ((three, twelve),) = settling(falling, [slope_asked(falling)], (3, 12), 28)
    assert twelve.above < twelve.at_or_below
    assert three.chance < twelve.chance


def test_a_drug_begun_after_a_visit_is_settled_by_visits_that_show_it():
    just = trend([200, 198, 201, 199, 205], [drug("2026-07-20")])
    (effect,) = settling(just, [effect_asked(just, just.treatments[0])], (1, 4))
    assert effect[1].chance > effect[0].chance > 0


def test_nothing_asked_nothing_told():
    assert settling(trend([150]), []) == ()


def test_light_nodes_change_no_chance_by_much(monkeypatch):
    one = trend([170, 162, 158, 166, 157], [drug("2026-02-07")])
    held = settling(one, questions(one))
    monkeypatch.setattr(maths, "LIGHT", 1e-9)
    for plain, full in zip(held, settling(one, questions(one)), strict=True):
        for a, b in zip(plain, full, strict=True):
            assert a.chance == pytest.approx(b.chance, abs=0.02)


def test_one_visit_agrees_with_the_reference_integral():
    for what, off, tolerance in one_visit_rows():
        assert abs(off) <= tolerance, what


def test_two_and_four_visits_agree_with_dense_algebra():
    found = list(dense_rows("untreated_near_the_bound"))
    assert len(found) >= 20
    for what, off, tolerance in found:
        assert abs(off) <= tolerance, what


def test_one_run_of_the_filter_is_for_all_forms_of_the_same_sessions():
    now = trend([196, 170, 166, 158, 161], [drug("2026-02-07")])
    parts = now.posterior.parts
    assert len(parts) == 3
    # Parts that do not know that they hold the same sessions are gone through one by one.
    apart = [replace(one, batch=replace(one.batch, k=one.batch.k.copy())) for one in parts]
    each = Standing.of(Posterior(tuple(apart)))
    once = Standing.of(now.posterior)
    assert set(once.base.tolist()) == {0}
    assert each.base.tolist() == [0, 1, 2]
    np.testing.assert_array_equal(once.form, each.form)
    for question in questions(now):
        ahead = _ahead(now, 2, 14, 5)
        usual = now.columns.rows(ahead.day[-1:])[0]
        asked = maths.Question(
            usual if question.vector is None else question.vector,
            question.vector is None,
            question.threshold,
            question.low,
            question.sure,
        )
        read = np.array([[150.0, 171.0], [128.0, 119.0]])
        told = [
            maths.later_report(one, ahead, [asked]).at_or_below(0, read) for one in (once, each)
        ]
        np.testing.assert_allclose(*told, rtol=0, atol=1e-10)
