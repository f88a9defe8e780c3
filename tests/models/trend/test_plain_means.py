"""Plain means before and on a drug, laid beside the model's effect."""

from __future__ import annotations

from dataclasses import replace

import pytest

import bpvet
from bpvet.facts.priors.priors import Priors
from bpvet.models.trend.plain_means import PlainDifference, plain_difference
from tests.models.small_records import drug, records, rows, steady

DATES = ("2026-01-10", "2026-02-10", "2026-03-12", "2026-04-14", "2026-05-20")
WITHOUT = replace(Priors.default("cat", "doppler"), groups=None)


def found(means: list[float], started_on: str, priors: Priors = WITHOUT) -> PlainDifference | None:
    sessions = [
        one for date, mean in zip(DATES, means, strict=True) for one in steady(mean, [date])
    ]
    held = records(rows(sessions), [drug(started_on)])
    trend = bpvet.fit_trend(held, "A1", priors=priors)
    return plain_difference(trend, trend.treatments[0])


def test_the_plain_difference_is_that_of_the_session_means() -> None:
    one = found([200.0, 190.0, 150.0, 148.0, 152.0], "2026-02-20")
    assert one is not None
    assert one.plain == pytest.approx(150 - 195, abs=1e-9)
    assert one.before_sessions == 2


def test_the_two_are_apart_where_the_gap_is_more_than_one_sd() -> None:
    believed = found([200.0, 198.0, 150.0, 148.0, 151.0], "2026-02-20")
    doubted = found(
        [200.0, 198.0, 150.0, 148.0, 151.0], "2026-02-20", replace(WITHOUT, effect_sd=3)
    )
    assert believed is not None
    assert doubted is not None
    # Under a narrow prior of effects little of fifty is believed.
    assert abs(doubted.plain - doubted.model) > doubted.sd
    assert doubted.apart is True
    for one in (believed, doubted):
        assert one.apart == (abs(one.plain - one.model) > one.sd)
    exact = replace(doubted, plain=-20.0, model=-15.0, sd=5.0)
    assert exact.apart is False
    assert replace(exact, sd=4.9).apart is True


def test_without_a_session_on_either_side_there_is_none() -> None:
    means = [200.0, 190.0, 150.0, 148.0, 152.0]
    assert found(means, "2026-01-01") is None
    assert found(means, "2026-06-01") is None
