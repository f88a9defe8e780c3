"""Slow answers for records with readings beyond the gauge: plain grids, and nothing of bpvet.

Written from the text of the model alone. For given noise SDs the sessions without a bound are
conditioned on by dense matrices; the visit pressures of the sessions with a bound are then summed
over a grid of their own, as are the three log-SDs where they are not fixed. One normal prior at a
time; the groups are weighed by their evidence.

Usage: ``python brute_force.py [name ...]`` writes the answers beside this file as ``answers.json``
(all cases: some minutes).
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
from scipy.optimize import brentq
from scipy.special import log_ndtr, logsumexp, ndtr

HERE = Path(__file__).resolve().parent
TREATED = [
    (0.60, (130.0, 16.0), 20.0, None),
    (0.06, (195.0, 50.0), 10.0, None),
    (0.34, (195.0, 50.0), None, (150.0, 30.0)),
]
UNTREATED = [(0.6, (130.0, 16.0), None, None), (0.4, (195.0, 50.0), None, None)]
#: Points of the grid of log-SDs (visit, reading, wander) and how many prior SDs it reaches.
GRID = {"points": (15, 33, 11), "reach": (5.0, 5.5, 4.5)}


def on(course, day):
    """Return how far a course has risen at a day."""
    start, stop, tau = course["start_day"], course["stop_day"], course["tau_days"]
    if day <= start:
        return 0.0
    if stop is None or day <= stop:
        return 1 - np.exp(-(day - start) / tau)
    return (1 - np.exp(-(stop - start) / tau)) * np.exp(-(day - stop) / tau)


def parts(case):
    """Return each group: weight, and mean and covariance of level, slope, effect, first visit."""
    prior = case["priors"]
    for weight, level, effect_sd, under in TREATED if case["courses"] else UNTREATED:
        mean = [level[0], 0.0]
        cov = np.diag([level[1] ** 2, prior["slope_sd_per_30_days"] ** 2, 0, 0])
        if under is not None:
            # The pressure under the drug is drawn for itself: effect = that less the level.
            mean += [under[0] - level[0]]
            cov[2, 2] = under[1] ** 2 + level[1] ** 2
            cov[0, 2] = cov[2, 0] = -(level[1] ** 2)
        else:
            mean += [0.0]
            cov[2, 2] = (effect_sd or 0.0) ** 2
        cov[3, 3] = prior["first_visit"][1] ** 2
        yield weight, np.array([*mean, prior["first_visit"][0]]), cov


def row(case, day, visit):
    """Return the weights of level, slope, effect and first visit; visit None: a usual pressure."""
    course = case["courses"][0] if case["courses"] else None
    rise = 0.0 if course is None else on(course, day)
    fading = 0.0 if visit is None else np.exp(-visit / 1.5)
    return [1.0, (day - case["t0_day"]) / 30, rise, fading]


def questions(case):
    """Return name -> (row, day of the wander or None, readings of a session or None)."""
    last, number = case["t0_day"], len(case["sessions"])
    ahead = case["next_session"]
    asked = {
        f"usual_pressure_day_{last}": (row(case, last, None), last, None),
        f"usual_pressure_day_{case['ask_days'][1]}": (
            row(case, case["ask_days"][1], None),
            case["ask_days"][1],
            None,
        ),
        "level_untreated_at_t0": ([1.0, 0, 0, 0], None, None),
        "slope_per_30_days": ([0, 1.0, 0, 0], None, None),
        "next_session_mean": (row(case, ahead["day"], number), ahead["day"], ahead["readings"]),
    }
    if case["courses"]:
        asked["full_effect_of_spell_1"] = ([0, 0, 1.0, 0], None, None)
    return asked


def limits(session):
    """Return the bounds of a session, above and below."""
    return session.get("above", []), session.get("below", [])


def log_likelihood(session, c, sr):
    """Return the log-likelihood of a session's readings at visit pressures c."""
    above, below = limits(session)
    value = sum((log_ndtr((c - u) / sr) for u in above), np.zeros_like(c))
    value = value + sum((log_ndtr((b - c) / sr) for b in below), np.zeros_like(c))
    for reading in session["readings"]:
        value = value - 0.5 * ((reading - c) / sr) ** 2 - np.log(sr) - 0.5 * np.log(2 * np.pi)
    return value


def conditioned(case, mean, cov, sv, sr, sw, asked):
    """Condition on the sessions without a bound.

    Returns their log density, mean and covariance of (visit pressures with a bound, answers), and
    how many of them are visit pressures.
    """
    sessions = list(enumerate(case["sessions"]))
    bound = [(j, s) for j, s in sessions if any(limits(s))]
    plain = [(j, s) for j, s in sessions if not any(limits(s))]
    rows = [row(case, s["day"], j) for j, s in plain + bound] + [q[0] for q in asked.values()]
    days = [s["day"] for _, s in plain + bound] + [q[1] for q in asked.values()]
    noise = [sv**2 + sr**2 / len(s["readings"]) for _, s in plain] + [sv**2] * len(bound)
    noise += [0.0 if q[2] is None else sv**2 + sr**2 / q[2] for q in asked.values()]
    rows, wander = np.array(rows), np.array([day is not None for day in days], dtype=float)
    at = np.array([0 if day is None else day for day in days], dtype=float)
    ou = np.exp(-np.abs(at[:, None] - at) / case["priors"]["wander_days"])
    whole = rows @ cov @ rows.T + sw**2 * ou * wander[:, None] * wander + np.diag(noise)
    centre, n = rows @ mean, len(plain)
    y = np.array([np.mean(s["readings"]) for _, s in plain])
    left, among = y - centre[:n], whole[:n, :n]
    gain = np.linalg.solve(among, whole[:n, n:]).T if n else np.zeros((len(rows), 0))
    log_p = 0.0
    if n:
        log_p = -0.5 * (
            np.linalg.slogdet(among)[1]
            + left @ np.linalg.solve(among, left)
            + n * np.log(2 * np.pi)
        )
    for _, s in plain:
        k = len(s["readings"])
        spread = np.sum((np.array(s["readings"]) - np.mean(s["readings"])) ** 2)
        log_p += -(k - 1) / 2 * np.log(2 * np.pi * sr**2) - np.log(k) / 2 - spread / (2 * sr**2)
    after = whole[n:, n:] - gain @ whole[:n, n:]
    return log_p, centre[n:] + gain @ left, after, [s for _, s in bound]


def summed(sessions, mean, cov, sr, points):
    """Sum over the visit pressures: log evidence, grid points (m, N) and log masses (N,)."""
    m = len(sessions)
    inverse, log_det = np.linalg.inv(cov), np.linalg.slogdet(cov)[1]
    box = []
    for i, session in enumerate(sessions):
        edge = [mean[i], *session["readings"], *limits(session)[0], *limits(session)[1]]
        reach = 8 * sr + 5 * np.sqrt(cov[i, i])
        box.append((min(edge) - reach, max(edge) + reach))

    def density(axes):
        value = 0.0
        for i, (axis, session) in enumerate(zip(axes, sessions, strict=True)):
            shape = [-1 if j == i else 1 for j in range(m)]
            value = value + log_likelihood(session, axis, sr).reshape(shape)
        left = [
            (axis - mean[i]).reshape([-1 if j == i else 1 for j in range(m)])
            for i, axis in enumerate(axes)
        ]
        for i in range(m):
            for j in range(m):
                value = value - 0.5 * inverse[i, j] * left[i] * left[j]
        return value - 0.5 * (log_det + m * np.log(2 * np.pi))

    for _ in range(4):
        axes = [np.linspace(low, high, 40) for low, high in box]
        value = density(axes)
        held = np.nonzero(value > value.max() - 32)
        step = [axis[1] - axis[0] for axis in axes]
        box = [
            (
                max(low, axes[i][held[i].min()] - step[i]),
                min(high, axes[i][held[i].max()] + step[i]),
            )
            for i, (low, high) in enumerate(box)
        ]
    axes = [np.linspace(low, high, points) for low, high in box]
    value = density(axes) + np.log(np.prod([axis[1] - axis[0] for axis in axes]))
    held = np.nonzero(value > value.max() - 32)
    log_mass = value[held]
    return logsumexp(log_mass), np.stack([axes[i][held[i]] for i in range(m)]), log_mass


def binned(centre, mass, count=240):
    """Return a few hundred points that stand for many: their mean is kept, sum for sum."""
    low, high = centre.min(), centre.max()
    if len(centre) <= count or high - low < 1e-9:
        return centre, mass
    place = (centre - low) / (high - low) * (count - 1)
    left = np.minimum(place.astype(int), count - 2)
    share = place - left
    total = np.bincount(left, mass * (1 - share), count) + np.bincount(
        left + 1, mass * share, count
    )
    return np.linspace(low, high, count), total


def summary(weight, centre, sd):
    """Return mean, SD and three quantiles of a mixture of normals."""
    weight = weight / weight.sum()
    mean = weight @ centre
    spread = np.sqrt(weight @ (sd**2 + (centre - mean) ** 2))
    found = []
    for p in (0.025, 0.5, 0.975):

        def gap(x, p=p):
            return weight @ ndtr((x - centre) / sd) - p

        found.append(brentq(gap, mean - 8 * spread, mean + 8 * spread, xtol=1e-6))
    return {"mean": mean, "sd": spread, "quantiles_025_500_975": found}


def nodes(case):
    """Return (sv, sr, sw, log prior mass) of the grid of noise SDs, or of the one fixed."""
    if "fixed_parameters" in case and not case.get("integrated"):
        fixed = case["fixed_parameters"]
        return [(fixed["sv"], fixed["sr"], fixed["sw"], 0.0)]
    prior, axes = case["priors"], []
    for count, reach in zip(GRID["points"], GRID["reach"], strict=True):
        z = np.linspace(-reach, reach, count)
        axes.append([(x, -0.5 * x * x + np.log((z[1] - z[0]) / np.sqrt(2 * np.pi))) for x in z])
    sd = {
        name: lambda z, name=name: prior[f"{name}_median"] * np.exp(prior[f"{name}_log_sd"] * z)
        for name in ("sv", "sr", "sw")
    }
    return [
        (sd["sv"](a), sd["sr"](b), sd["sw"](c), p + q + r)
        for a, p in axes[0]
        for b, q in axes[1]
        for c, r in axes[2]
    ]


def answers(case, points=None):
    """Return the answers of a case."""
    asked = questions(case)
    bounded = sum(any(limits(s)) for s in case["sessions"])
    points = points or {1: 201, 2: 81, 3: 41}[bounded]
    where = nodes(case)
    groups = list(parts(case))
    evidence = np.full((len(groups), len(where)), -np.inf)
    kept, top = {}, -np.inf
    for i, (sv, sr, sw, log_prior) in enumerate(where):
        for g, (weight, mean, cov) in enumerate(groups):
            log_p, centre, among, sessions = conditioned(case, mean, cov, sv, sr, sw, asked)
            known = log_p + log_prior + np.log(weight)
            m = len(sessions)
            # Readings are densities of at most 1/(sr √2π), bounds at most 1: nothing to be summed
            # where even that is far below what has been found.
            numbers = sum(len(s["readings"]) for s in sessions)
            if known - numbers * np.log(sr * np.sqrt(2 * np.pi)) < top - 26:
                continue
            found, c, log_mass = summed(sessions, centre[:m], among[:m, :m], sr, points)
            evidence[g, i] = known + found
            top = max(top, evidence[g, i])
            if evidence[g, i] < top - 26:
                continue
            gain = np.linalg.solve(among[:m, :m], among[:m, m:]).T
            inner = centre[m:, None] + gain @ (c - centre[:m, None])
            left = np.diag(among[m:, m:] - gain @ among[:m, m:])
            mass = np.exp(log_mass - found)
            kept[g, i] = [(*binned(u, mass), np.sqrt(v)) for u, v in zip(inner, left, strict=True)]
    total = logsumexp(evidence)
    share = {key: np.exp(evidence[key] - total) for key in kept}
    out = {
        "log_evidence": total,
        "log_evidence_by_group": [
            logsumexp(e) - np.log(g[0]) for e, g in zip(evidence, groups, strict=True)
        ],
        "group_posterior": [np.exp(logsumexp(e) - total) for e in evidence],
    }
    for q, name in enumerate(asked):
        use = [key for key in kept if share[key] > 1e-9]
        out[name] = summary(
            np.concatenate([share[key] * kept[key][q][1] for key in use]),
            np.concatenate([kept[key][q][0] for key in use]),
            np.concatenate([np.full(len(kept[key][q][0]), kept[key][q][2]) for key in use]),
        )
    return out


def rounded(value):
    """Return numbers to ten digits."""
    if isinstance(value, dict):
        return {key: rounded(one) for key, one in value.items()}
    if isinstance(value, list):
        return [rounded(one) for one in value]
    return float(f"{value:.10g}")


def main(names):
    """Write the answers of the named cases, or of all, beside this file."""
    from concurrent.futures import ProcessPoolExecutor

    cases = {case["name"]: case for case in json.loads((HERE / "cases.json").read_text())}
    place = HERE / "answers.json"
    known = json.loads(place.read_text()) if place.exists() else {}
    wanted = names or list(cases)
    with ProcessPoolExecutor(1) as pool:
        for name, found in zip(wanted, pool.map(answers, map(cases.get, wanted)), strict=True):
            known[name] = rounded(found)
            place.write_text(json.dumps(known, indent=1) + "\n")
            print(name, known[name]["log_evidence"], flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
