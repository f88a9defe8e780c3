"""Pressure and a laboratory value together: beside the single trends and beside a dense program."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest
from scipy.stats import multivariate_normal

import bpvet
from bpvet.errors import CallError
from bpvet.models.kidney.joint import _fits, _Side, join
from tests.models.kidney_records import creatinine, lab, with_labs
from tests.models.small_records import drug, rows

VALUES = [150.0, 162.0, 171.0, 168.0, 190.0]
DRUG = [drug("2026-03-15")]
NAMES = ("latest_pressure", "latest_marker", "slope_pressure", "slope_marker")


@pytest.mark.parametrize("treatments", [(), DRUG], ids=["untreated", "treated"])
def test_at_zero_correlation_the_margins_are_the_single_trends(treatments):
    records = with_labs(creatinine(VALUES), treatments=treatments)
    joint = bpvet.fit_joint(records, "A1", correlation=0.0)
    singles = [
        (trend.latest, trend.slope)
        for trend in (
            bpvet.fit_trend(records, "A1"),
            bpvet.fit_trend(records, "A1", quantity="creatinine"),
        )
    ]
    for name, one in zip(
        NAMES, (singles[0][0], singles[1][0], singles[0][1], singles[1][1]), strict=True
    ):
        found = getattr(joint, name)
        sd = float(one.spread)
        scale = (
            sd if one.scale == "plain" else float(one.mean) * sd if one.scale == "log" else 100 * sd
        )
        # The pairs of nodes are a few of all: two hundredths of a posterior SD, and its SD to 2 %.
        assert abs(float(found.mean) - float(one.mean)) < 0.03 * scale, name
        assert float(found.spread) == pytest.approx(sd, rel=0.03), name


def test_at_zero_correlation_each_node_is_the_single_trends_to_the_last_digits():
    records = with_labs(creatinine(VALUES))
    trend = bpvet.fit_trend(records, "A1")
    other = bpvet.fit_trend(records, "A1", quantity="creatinine")
    one, two = _Side(trend, trend.posterior.parts[0], 0), _Side(other, other.posterior.parts[0], 1)
    _, means, sds = (part[0] for part in _fits(one, two, np.array([0.0])))
    for place, held, side in ((0, trend.latest, one), (1, other.latest, two)):
        assert means[:, place] == pytest.approx(held.means[side.nodes], abs=1e-8)
        assert sds[:, place] == pytest.approx(held.sds[side.nodes], abs=1e-8)


def _dense(pressure, marker, place, r):
    """Mean and covariance of all values and of the two usual ones, written out term by term."""
    sides, count = [], 0
    for trend, node in zip((pressure, marker), place, strict=True):
        part = trend.posterior.parts[0]
        day = part.batch.day[:, 0] + trend.columns.origin
        sides.append((trend, part, node, day))
        count += day.size
    rows = []
    for which, (trend, part, node, day) in enumerate(sides):
        design = trend.columns.sessions()
        for i, when in enumerate(day):
            noise = (
                part.noise.visit[0, 0, node] + part.noise.reading[0, 0, node] / trend.series.k[i]
            )
            rows.append((which, when, design[i], noise))
        rows.append((which, trend.columns.origin, trend.columns.rows(np.zeros(1))[0], 0.0))
    n = len(rows)
    cov = np.zeros((n, n))
    for i, (a, s, x, noise) in enumerate(rows):
        for j, (b, t, z, _) in enumerate(rows):
            sw = [np.sqrt(side[1].noise.wander[0, side[2]]) for side in sides]
            near = np.exp(-abs(s - t) / 60.0)
            if a == b:
                form = sides[a][0].columns.forms[0]
                cov[i, j] = x @ np.diag(form.sd**2) @ z + sw[a] ** 2 * near
            else:
                sds = [side[0].columns.forms[0].sd[1] for side in sides]
                cov[i, j] = r * (sds[0] * sds[1] * x[1] * z[1] + sw[0] * sw[1] * near)
            if i == j:
                cov[i, j] += noise
    mean = np.array([x @ sides[a][0].columns.forms[0].mean for a, _, x, _ in rows])
    y = np.concatenate([pressure.series.y, [np.nan], marker.series.y, [np.nan]])
    return mean, cov, y


@pytest.mark.parametrize("r", [-0.7, 0.4, 0.95])
def test_a_correlation_gives_what_the_dense_program_gives(r):
    records = with_labs(creatinine(VALUES))
    trend = bpvet.fit_trend(records, "A1")
    other = bpvet.fit_trend(records, "A1", quantity="creatinine")
    one, two = _Side(trend, trend.posterior.parts[0], 0), _Side(other, other.posterior.parts[0], 1)
    log_likelihood, means, sds = (part[0] for part in _fits(one, two, np.array([r])))
    logs = []
    for pair in (0, 77):
        mean, cov, y = _dense(trend, other, (one.nodes[pair], two.nodes[pair]), r)
        seen = np.isfinite(y)
        gain = cov[np.ix_(~seen, seen)] @ np.linalg.inv(cov[np.ix_(seen, seen)])
        usual = mean[~seen] + gain @ (y - mean)[seen]
        left = cov[np.ix_(~seen, ~seen)] - gain @ cov[np.ix_(seen, ~seen)]
        assert means[pair, :2] == pytest.approx(usual, abs=1e-7)
        assert sds[pair, :2] == pytest.approx(np.sqrt(np.diag(left)), abs=1e-7)
        logs.append(multivariate_normal(mean[seen], cov[np.ix_(seen, seen)]).logpdf(y[seen]))
    assert log_likelihood[77] - log_likelihood[0] == pytest.approx(logs[1] - logs[0], abs=1e-7)


def test_what_moves_together_is_found_to():
    day = np.datetime64("2025-01-10") + (np.arange(14) * 45).astype("timedelta64[D]")
    wave = np.sin(np.arange(14) / 2.2)

    def together(sign):
        readings = rows(
            [
                (str(one), [140 + 22 * w + k for k in (4, -2, 0, 2, -2, 1)])
                for one, w in zip(day, wave, strict=True)
            ],
        )
        labs = [
            lab(str(one), "creatinine", round(180 * np.exp(sign * 0.25 * w), 1), "umol/L")
            for one, w in zip(day, wave, strict=True)
        ]
        return bpvet.fit_joint(
            bpvet.Records.from_frames(
                pd.DataFrame(readings),
                labs=pd.DataFrame(labs),
                animals=pd.DataFrame([{"animal": "A1", "species": "cat"}]),
                as_of="2026-11-01",
            ),
            "A1",
        )

    assert together(1).p_together > 0.95
    assert together(-1).p_together < 0.05


def test_its_numbers_print_and_travel():
    joint = bpvet.fit_joint(with_labs(creatinine(VALUES)), "A1")
    shown = joint.to_dict()
    assert json.loads(json.dumps(shown, allow_nan=False)) == shown
    assert sum(joint.weights) == pytest.approx(1)
    assert shown["marker_per_30_days"]["unit"] == "%"
    low = shown["correlation"]["lower"]
    assert -0.95 <= low <= shown["correlation"]["value"] <= shown["correlation"]["upper"] <= 0.95
    assert "correlation" in repr(joint)
    again = join(joint.pressure, joint.marker)
    assert again.to_dict() == shown


def test_calls_that_are_wrong_are_told():
    records = with_labs(creatinine(VALUES))
    with pytest.raises(CallError, match="creatinine"):
        bpvet.fit_joint(records, "A1", "glucose")
    with pytest.raises(CallError, match="between"):
        bpvet.fit_joint(records, "A1", correlation=1.0)
    with pytest.raises(CallError):
        bpvet.fit_joint(records, "A1", "sdma")
