"""Series joined through an estimated difference, against plain dense arithmetic on a dense grid."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.special import logsumexp

import bpvet
from bpvet.models.trend.outlook import surprise
from bpvet.wording.en.trend.statements import sentence
from reference_checks.answers.dense import Animal, Session, posterior
from reference_checks.answers.drawn import DAY_0
from tests.models.small_records import records, rows

DOPPLER = [("2026-01-10", [150, 156, 149]), ("2026-03-14", [162, 158, 160]),
           ("2026-06-01", [158, 150, 155])]  # fmt: skip
OTHER = [("2026-02-07", [138, 149, 141]), ("2026-06-01", [150, 139, 146, 151])]
HOME = [("2026-02-20", [136, 131, 135]), ("2026-04-10", [133, 140, 137])]


def _both_methods() -> bpvet.Trend:
    readings = rows(DOPPLER) + rows(OTHER, method="oscillometric")
    held = records(readings, measured_before="yes")
    return bpvet.fit_trend(held, "A1", rule="all", bridge=("methods",))


def _dense(points: int = 41, width: float = 6.0) -> tuple[float, float, float, float, float]:
    """Mean and SD of the latest usual pressure and of the offset, and the log marginal.

    Trapezoid rule on a grid of z = (log sd − log median)/log-SD, shared by the two methods;
    each session's mean has its method's visit and reading noise, the oscillometric ones the
    offset too. Doppler is the latest session's method (tie), on whose scale the answer is.
    """
    sessions = sorted(
        [(date, 0, values) for date, values in DOPPLER] + [(date, 1, v) for date, v in OTHER]
    )
    start = np.datetime64(sessions[-1][0])
    day = np.array([float((np.datetime64(one[0]) - start).astype(int)) for one in sessions])
    method = np.array([one[1] for one in sessions])
    y = np.array([np.mean(one[2]) for one in sessions])
    k = np.array([float(len(one[2])) for one in sessions])
    ss = np.array([np.sum((np.array(one[2]) - np.mean(one[2])) ** 2) for one in sessions])
    x = np.column_stack([np.ones(5), day / 30, method])
    prior_mean, prior_sd = np.array([140.0, 0.0, 0.0]), np.array([35.0, 2.0, 12.0])
    medians_v, medians_r = np.array([11.0, 11.0]), np.array([7.0, 10.0])
    lsd_v, lsd_r, lsd_w = 0.5, np.array([0.40, 0.45]), 0.5
    z = np.linspace(-width, width, points)
    za, zb, zc = (part.ravel() for part in np.meshgrid(z, z, z, indexing="ij"))
    sv = medians_v * np.exp(lsd_v * za)[:, None]
    sr = medians_r * np.exp(lsd_r * zb[:, None])
    sw = 6.0 * np.exp(lsd_w * zc)
    base = (x * prior_sd**2) @ x.T
    ou = np.exp(-np.abs(day[:, None] - day) / 60)
    cov = base + sw[:, None, None] ** 2 * ou
    i = np.arange(5)
    cov[:, i, i] += sv[:, method] ** 2 + sr[:, method] ** 2 / k
    left = y - x @ prior_mean
    ask = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    cross = (ask * prior_sd**2) @ x.T + np.zeros((za.size, 2, 5))
    cross[:, 0] += sw[:, None] ** 2 * np.exp(-np.abs(day) / 60)
    right = np.broadcast_to(left[:, None], (za.size, 5, 1))
    solved = np.linalg.solve(cov, np.concatenate([right, cross.transpose(0, 2, 1)], axis=2))
    log_f = -0.5 * (5 * np.log(2 * np.pi) + np.linalg.slogdet(cov)[1] + solved[:, :, 0] @ left)
    of = sr[:, method]
    log_f += np.sum(
        -0.5 * (k - 1) * np.log(2 * np.pi * of**2) - 0.5 * np.log(k) - ss / (2 * of**2), axis=1
    )
    log_f += -0.5 * (za**2 + zb**2 + zc**2) - 1.5 * np.log(2 * np.pi) + 3 * np.log(z[1] - z[0])
    total = logsumexp(log_f)
    weight = np.exp(log_f - total)
    mean = ask @ prior_mean + np.einsum("gan,gn->ga", cross, solved[:, :, 0])
    own = (ask**2) @ prior_sd**2 + np.column_stack([sw**2, 0 * sw])
    var = own - np.einsum("gan,gna->ga", cross, solved[:, :, 1:])
    centre = weight @ mean
    sd = np.sqrt(weight @ (var + (mean - centre) ** 2))
    return centre[0], sd[0], centre[1], sd[1], float(total)


def test_joined_methods_equal_the_dense_grid():
    trend = _both_methods()
    latest, latest_sd, offset, offset_sd, log_marginal = _dense()
    assert trend.series.method == "doppler"
    assert trend.latest.mean == pytest.approx(latest, abs=0.001 * latest_sd)
    assert trend.latest.sd == pytest.approx(latest_sd, rel=1e-3)
    (joined,) = trend.offsets.values()
    assert joined.mean == pytest.approx(offset, abs=0.001 * offset_sd)
    assert joined.sd == pytest.approx(offset_sd, rel=1e-3)
    assert trend.log_marginal_likelihood == pytest.approx(log_marginal, abs=1e-3)


def test_the_join_is_said_everywhere_and_never_made_unasked():
    trend = _both_methods()
    answer = trend.answer()
    assert answer.bridged
    assert answer.bridges
    assert "joined" in sentence(answer, "usual")
    from bpvet.pictures.trend import trend_picture

    picture = trend_picture(trend)
    assert "joined" in picture.panels[0].note
    assert "joined" in picture.caption
    # Each method keeps its own mark, and its own answer stands beside.
    assert [one.method for one in picture.panels[0].others] == ["oscillometric"]
    assert set(picture.panels[0].sessions.date) == {np.datetime64(one[0]) for one in DOPPLER}
    own = bpvet.fit_trend(trend.records, "A1", "doppler", rule="all")
    beside = {one.method: one for one in answer.apart}
    assert beside["doppler"].estimate == pytest.approx(own.latest.mean)
    assert beside["oscillometric"].sessions == 2
    assert "Each series on its own" in sentence(answer, "usual")
    assert all("joined" in one.lower() for one in answer.sentences)
    alone = bpvet.fit_trend(trend.records, "A1", "doppler").answer()
    assert not alone.bridged
    assert not alone.apart
    assert not alone.bridges


def test_conditions_join_with_their_own_priors():
    readings = rows(DOPPLER) + rows(HOME, setting="home")
    held = records(readings, measured_before="yes")
    trend = bpvet.fit_trend(held, "A1", bridge=("conditions",))
    assert trend.series.y.size == 5
    (name,) = trend.offsets
    assert name == "home minus clinic"
    place = trend.columns.terms.index("offset home minus clinic")
    assert trend.columns.forms[0].mean[place] == -15
    assert trend.columns.forms[0].sd[place] == 15
    # The latest session is in the clinic, so home sessions carry the whole difference.
    assert trend.columns.sessions()[:, place].tolist() == [0, 1, 0, 1, 0]
    (offset,) = trend.offsets.values()
    assert offset.mean < -10


@pytest.mark.parametrize("latest", ["doppler", "oscillometric"])
@pytest.mark.parametrize("setting", ["clinic", "home"])
def test_the_newest_session_is_expected_on_its_own_scale(latest, setting):
    """Under the earlier sessions, whose latest may be by the other method or in the other place."""
    kinds = [
        ("doppler", "clinic"),
        ("oscillometric", "home"),
        ("doppler", "home"),
        ("oscillometric", "clinic"),
        (latest, setting),
    ]
    sessions = tuple(
        Session(24 * i, (150.0 + 3 * i, 158.0 - 2 * i, 149.0 + i), method, condition)
        for i, (method, condition) in enumerate(kinds)
    )
    animal = Animal(sessions, rule="all")
    rows = [
        {
            "animal": "A1",
            "taken_at": str(DAY_0 + one.day * np.timedelta64(1, "D")),
            "method": one.method,
            "setting": one.condition,
            "systolic": value,
        }
        for one in sessions
        for value in one.readings
    ]
    held = bpvet.Records.from_frames(
        pd.DataFrame(rows), animals=pd.DataFrame([{"animal": "A1", "species": "cat"}])
    )
    bridge = ("methods", "conditions")
    whole = bpvet.fit_trend(held, "A1", rule="all", bridge=bridge)
    seen = surprise(whole)
    expected = posterior(animal.earlier(), coarse=True).session(
        sessions[-1].day, 3.0, animal.visits[-1], sessions[-1]
    )
    assert seen is not None
    assert seen.expected.mean == pytest.approx(expected.mean, abs=0.001 * expected.sd)
    assert seen.expected.sd == pytest.approx(expected.sd, rel=0.001)
    below = expected.below(float(np.mean(sessions[-1].readings)))
    assert seen.tail == pytest.approx(2 * min(below, 1 - below), abs=0.001)


@pytest.mark.parametrize(("latest", "finished"), [(8, False), (9, True)])
def test_a_response_is_finished_after_three_time_constants(latest, finished):
    dates = ["2026-05-01", str(np.datetime64("2026-06-01") + latest)]
    readings = rows([(one, [150, 152, 149]) for one in dates])
    given = [{"animal": "A1", "drug": "amlodipine", "started_on": "2026-06-01"}]
    (spell,) = bpvet.fit_trend(records(readings, given), "A1").treatments
    assert spell.finished == finished
