"""Cases for the one-animal model: the hard records that its tolerances name, and generated ones."""

from __future__ import annotations

import numpy as np

from bpvet.maths.gaussian import Batch
from bpvet.maths.surface import NoisePrior
from tests.maths.dense import Case, on

CAT = {"sv": (11.0, 0.5), "sr": (7.0, 0.4), "sw": (6.0, 0.5)}


def case(days, readings, courses=(), first_visit=(5.0, 8.0), **noise) -> Case:
    """Build a case; a course is (start, stop or None, tau, prior SD)."""
    day = np.asarray(days, dtype=float)
    t0 = day[-1]
    parts = [np.ones(day.size), (day - t0) / 30]
    mean, sd = [140.0, 0.0], [35.0, 2.0]
    for start, stop, tau, spread in courses:
        parts.append(on(start, tau, day, stop))
        mean.append(0.0)
        sd.append(spread)
    if first_visit:
        parts.append(np.exp(-np.arange(day.size) / 1.5))
        mean.append(first_visit[0])
        sd.append(first_visit[1])
    return Case(
        day=day,
        readings=[np.asarray(one, dtype=float) for one in readings],
        design=np.column_stack(parts),
        prior_mean=np.array(mean),
        prior_sd=np.array(sd),
        **{**CAT, **noise},
    )


def asked(one: Case, courses=()) -> tuple[np.ndarray, np.ndarray]:
    """Days and rows: usual pressure first, latest, two months on, then the slope."""
    t0 = one.day[-1]
    days = np.array([one.day[0], t0, t0 + 60.0])
    rows = np.zeros((4, one.design.shape[1]))
    rows[:3, 0], rows[:3, 1] = 1.0, (days - t0) / 30
    for i, (start, stop, tau, _) in enumerate(courses):
        rows[:3, 2 + i] = on(start, tau, days, stop)
    rows[3, 1] = 1.0
    return np.append(days, np.nan), rows


def hard() -> dict[str, Case]:
    """The hard records that the tolerances in DEVELOPERS.md speak of."""
    rng = np.random.default_rng(20261125)
    forty, eight = np.arange(40) * 25.0, np.arange(8) * 20.0
    wander = np.zeros(40)
    for i in range(40):
        carried = wander[i - 1] * np.exp(-25 / 60) if i else 0.0
        wander[i] = carried + 40 * np.sqrt(1 - np.exp(-50 / 60) * (i > 0)) * rng.normal()

    def sessions(centres, sr, k=5):
        return [np.round(centre + sr * rng.normal(size=k), 1) for centre in centres]

    return {
        "one session of 330": case([0], [[330.0]]),
        "two at 110 and 260": case([0, 30], [[110, 112, 108], [260, 262, 258]]),
        "five alternating 40 either way": case(
            np.arange(5) * 20.0, [140 + 40 * (-1) ** i + np.array([0, 4, -3, 2]) for i in range(5)]
        ),
        "forty with sv 30": case(forty, sessions(150 + 30 * rng.normal(size=40), 7)),
        "forty with sw 40": case(forty, sessions(150 + wander + 8 * rng.normal(size=40), 7)),
        "forty identical readings": case([0], [[150.0] * 40]),
        "twelve equal sessions": case(np.arange(12) * 14.0, [[150, 152, 148, 151, 149]] * 12),
        "sr 0.5": case(eight, sessions(150 + 9 * rng.normal(size=8), 0.5)),
        "sr 40": case(eight, sessions(150 + 9 * rng.normal(size=8), 40)),
    }


def batch_of(one: Case) -> tuple[Batch, NoisePrior]:
    """The case as our arrays, B = 1."""

    def column(values):
        return np.asarray(values, dtype=float)[:, None]

    n = one.y.size
    batch = Batch(
        y=column(one.y - one.design @ one.prior_mean),
        x=np.ascontiguousarray(one.design.T)[:, :, None],
        day=column(one.day - one.day[-1]),
        k=column(one.k),
        group=np.zeros((n, 1), dtype=np.int64),
        live=np.ones((n, 1), dtype=bool),
        prior_sd=column(one.prior_sd),
        wander_days=np.array([one.wander_days]),
        scatter_df=np.array([[np.sum(one.k - 1)]]),
        scatter_ss=np.array([[np.sum(one.ss)]]),
        constant=np.array([-0.5 * np.sum(np.log(one.k))]),
        used=np.array([one.design.shape[1]]),
    )
    sv, sr = (np.array([[[np.log(pair[0])], [pair[1]]]]) for pair in (one.sv, one.sr))
    return batch, NoisePrior(sv, sr, np.array([[np.log(one.sw[0])], [one.sw[1]]]))
