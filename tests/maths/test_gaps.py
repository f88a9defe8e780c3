"""Many dates are asked for gap by gap, and answer as each does by itself."""

from __future__ import annotations

import numpy as np
import pytest

import bpvet
from tests.models.small_records import drug, records, rows

SESSIONS = [
    ("2025-06-01", [171, 168, 175]),
    ("2025-06-20", [181, 176]),
    ("2025-09-03", [152, 149, 158, 155]),
    ("2025-09-04", [160]),
    ("2026-02-14", [139, 148, 144]),
]


def _trend(sessions, **choices):
    courses = [drug("2025-07-01"), drug("2025-10-01", "telmisartan", stopped_on="2026-01-10")]
    return bpvet.fit_trend(records(rows(sessions), courses), "A1", **choices)


@pytest.mark.parametrize("count", [1, 2, 5])
def test_many_dates_answer_as_each_by_itself(count):
    trend = _trend(SESSIONS[:count])
    # From before the first session to after the newest, the sessions' own dates among them.
    days = np.arange(np.datetime64("2025-04-01"), np.datetime64("2026-05-01"))
    found = trend.at(days)
    alone = [trend.at(day) for day in days]
    np.testing.assert_allclose(found.means, [one.means for one in alone], rtol=1e-12)
    np.testing.assert_allclose(found.sds, [one.sds for one in alone], rtol=1e-10)


def test_dates_in_any_order_answer_alike():
    trend = _trend(SESSIONS)
    days = np.arange(np.datetime64("2025-04-01"), np.datetime64("2026-05-01"))
    order = np.random.default_rng(1).permutation(days.size)
    found, shuffled = trend.at(days), trend.at(days[order])
    np.testing.assert_allclose(shuffled.means, found.means[order], rtol=1e-12)
    np.testing.assert_allclose(shuffled.sds, found.sds[order], rtol=1e-10)


def test_noise_next_to_none_leaves_no_negative_variance():
    trend = _trend(SESSIONS, fixed={"sv": 1e-6, "sr": 1e-6, "sw": 5.0})
    days = np.arange(np.datetime64("2025-06-01"), np.datetime64("2026-02-15"))
    found = trend.at(days)
    alone = [trend.at(day) for day in days]
    np.testing.assert_allclose(found.mean, [one.mean for one in alone], rtol=1e-9)
    np.testing.assert_allclose(found.sd, [one.sd for one in alone], rtol=1e-8, atol=1e-5)
