"""Three groups for treated animals: what they are, when they apply, and against dense algebra."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import bpvet
from bpvet.facts.priors.groups import PriorGroup, PriorGroups
from bpvet.facts.priors.priors import Priors
from bpvet.facts.priors.table import PriorTable
from bpvet.models.trend.columns import columns_of
from bpvet.models.trend.forms import course_roles
from bpvet.models.trend.posteriors import posteriors
from bpvet.visits.treatments.courses import Course
from tests.models.small_records import drug, records, rows, steady

CAT = Priors.default("cat", "doppler")
DATES = ("2026-01-06", "2026-02-03", "2026-04-20", "2026-06-12", "2026-07-01")
HELD = {"sv": 11.0, "sr": 7.0, "sw": 6.0}


def course(name: str, start: str, stop: str = "NaT", kind: str = "base") -> Course:
    return Course(
        drug=name,
        kind=kind,
        started_on=np.datetime64(start, "D"),
        stopped_on=np.datetime64(stop, "D"),
        tau_days=5.0,
        spell=0,
        dose="",
        known_drug=True,
    )


def trend(
    values: list[float], drugs: list[dict[str, object]], as_of: str = "2026-11-01", **more
) -> bpvet.Trend:
    readings = [
        row for date, value in zip(DATES, values, strict=False) for row in steady(value, [date])
    ]
    return bpvet.fit_trend(records(rows(readings), drugs, as_of=as_of), "A1", **more)


def test_roles_of_courses():
    courses = [
        course("amlodipine", "2026-01-01", "2026-03-01"),
        course("amlodipine", "2026-02-01", "2026-03-01", "increment"),
        course("telmisartan", "2026-02-10"),  # amlodipine is on
        course("amlodipine", "2026-05-01", "2026-06-01"),  # that drug was given before
        course("benazepril", "2026-06-01"),  # telmisartan is on
        course("amlodipine", "2026-08-01"),  # of the first, whatever came between
    ]
    found = [(role.kind, role.like) for role in course_roles(courses)]
    assert found == [
        *(("first", -1), ("increment", -1), ("added", -1), ("restart", 0), ("added", -1)),
        ("restart", 0),
    ]
    alone = [course("amlodipine", "2026-01-01", "2026-03-01"), course("telmisartan", "2026-03-01")]
    # A stop on that day is not on.
    assert [role.kind for role in course_roles(alone)] == ["first", "first"]


def _dense(held: bpvet.Trend) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return log evidence by group, and mean and variance of each natural coefficient.

    The correlated form: covariances of the natural coefficients, and plain conditioning on the
    session means; no filter and no own coefficients.
    """
    series, columns = held.series, held.columns
    x, day = columns.sessions(), columns.day
    gap = np.abs(day[:, None] - day)
    noise = HELD["sw"] ** 2 * np.exp(-gap / columns.wander_days)
    noise += np.diag(HELD["sv"] ** 2 + HELD["sr"] ** 2 / series.k)
    evidence, means, variances = [], [], []
    for form in columns.forms:
        prior = form.covariance
        v = x @ prior @ x.T + noise
        left = series.y - x @ form.centre
        solved = np.linalg.solve(v, np.column_stack([left, x @ prior]))
        evidence.append(
            np.log(form.weight) - 0.5 * (left @ solved[:, 0] + np.linalg.slogdet(2 * np.pi * v)[1])
        )
        means.append(form.centre + prior @ x.T @ solved[:, 0])
        variances.append(np.diag(prior - prior @ x.T @ solved[:, 1:]))
    return np.array(evidence), np.array(means), np.array(variances)


DRUGS = [
    drug("2026-02-08", stopped_on="2026-04-01"),
    drug("2026-06-05", dose="1", dose_unit="mg"),
    drug("2026-06-20", dose="2", dose_unit="mg"),
]


@settings(max_examples=20)
@given(st.lists(st.floats(100, 280), min_size=5, max_size=5))
def test_the_diagonal_form_equals_the_correlated_one(values):
    held = trend([round(value) for value in values], DRUGS, fixed=HELD)
    assert len(held.columns.forms) == 3
    evidence, means, variances = _dense(held)
    shares = np.exp(evidence - np.logaddexp.reduce(evidence))
    np.testing.assert_allclose(held.posterior.shares, shares, rtol=1e-9, atol=1e-14)
    for part, mean, variance in zip(held.posterior.parts, means, variances, strict=True):
        own = part.combination(np.eye(len(held.columns.terms)))
        np.testing.assert_allclose(own.means[:, 0], mean, rtol=1e-11, atol=1e-10)
        np.testing.assert_allclose(own.sds[:, 0] ** 2, variance, rtol=1e-10)
    centre = shares @ means
    spread = np.sqrt(shares @ (variances + (means - centre) ** 2))
    found = held.posterior.combination(np.eye(len(held.columns.terms)))
    np.testing.assert_allclose(found.mean, centre, rtol=1e-10, atol=1e-9)
    np.testing.assert_allclose(found.sd, spread, rtol=1e-9)


@pytest.mark.parametrize("level", [100, 120, 140, 160, 180, 200, 220, 240, 260, 300])
def test_the_groups_alone_never_say_has_lowered(level):
    # P(effect <= -10) before any reading on the drug, whatever the level before it; model.md.
    held = trend([level] * 4, [drug(DATES[3])], fixed=HELD)
    columns = columns_of(held.series, CAT, grouped=True)
    assert len(columns.forms) == 3
    known = posteriors([held.series], [(CAT,)], [columns], {"sv": 1e-3, "sr": 1e-3, "sw": 1e-3})[0]
    assert known.combination(columns.unit("course 0")).below(-10.0) <= 0.874


def test_an_untreated_animal_has_one_normal():
    before = trend([150, 152, 149], [])
    # Begun on the day of the latest session, which comes before the first dose.
    begun = trend([150, 152, 149], [drug(DATES[2])])
    for held in (before, begun):
        assert len(held.columns.forms) == len(held.posterior.parts) == 1
        assert held.columns.forms[0].sd[0] == 35.0
    # To rounding: the course is a column of zeros.
    assert before.latest.mean == pytest.approx(begun.latest.mean, rel=1e-13)
    np.testing.assert_allclose(before.posterior.weight, begun.posterior.weight, atol=1e-12)


@pytest.mark.parametrize(
    ("change", "kept"),
    [
        ({"sv": (12.0, 0.5)}, True),
        ({"tau_days": {"amlodipine": 9.0}}, True),
        ({"sr": (5.0, 0.4), "sw": (3.0, 0.5)}, True),
        ({"first_visit": None}, True),
        ({"level": (141.0, 35.0)}, False),
        ({"effect_sd": 39.0}, False),
        ({"groups": None}, False),
    ],
)
def test_another_level_or_effect_switches_the_groups_off(change, kept):
    priors = replace(CAT, **change)
    assert (priors.groups is not None) == kept
    held = trend([190, 150, 152], [drug("2026-01-20")], priors=priors)
    assert len(held.columns.forms) == (3 if kept else 1)


@pytest.mark.parametrize("quantity", ["heart_rate", "pulse_pressure"])
def test_other_quantities_have_no_groups(quantity):
    assert Priors.default("cat", "oscillometric", quantity).groups is None


def test_the_groups_of_other_pressures_are_scaled():
    for quantity, scale in (("diastolic", 0.6), ("mean", 0.75)):
        groups = Priors.default("dog", "oscillometric", quantity).groups
        effects = [one.effect_sd for one in groups.parts[:2]]
        expected = [scale * value for value in (20, 10, 25, 15)]
        assert [*effects, groups.added_sd, groups.restart_sd] == pytest.approx(expected)


def test_a_table_with_groups_comes_back(tmp_path):
    own = PriorTable({("cat", "doppler", "systolic"): CAT}, "clinic")
    assert PriorTable.load(own.save(tmp_path / "clinic.toml")) == own


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: PriorGroup(0.5, (130.0, 16.0)),
        lambda: PriorGroup(0.5, (130.0, 16.0), 20.0, (150.0, 30.0)),
        lambda: PriorGroup(-0.5, (130.0, 16.0), 20.0),
        lambda: PriorGroup(0.5, (float("nan"), 16.0), 20.0),
        lambda: PriorGroups((), ((140.0, 35.0), 40.0)),
        lambda: PriorGroups((PriorGroup(0.5, (130.0, 16.0), 20.0),), ((140.0, 35.0), 40.0)),
        lambda: replace(CAT, groups=3),
    ],
)
def test_groups_that_are_none_are_refused(wrong):
    with pytest.raises(bpvet.CallError):
        wrong()


def test_the_answer_says_which_groups_there_are_and_what_became_of_them():
    held = trend([205, 160, 158, 155], [drug("2026-01-20")])
    groups = held.answer().priors.groups
    assert [one.weight for one in groups] == [0.60, 0.06, 0.34]
    assert sum(one.share for one in groups) == pytest.approx(1)
    assert groups[2].share > 0.8
    assert trend([205, 200], []).answer().priors.groups == ()
