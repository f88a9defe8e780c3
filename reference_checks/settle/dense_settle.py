"""The chance that m more visits settle a question, by dense algebra and a large Monte Carlo.

It shares nothing with bpvet: no filter, no quadrature rule, no fixed points. Under each group of
the prior and each value of the noise SDs the covariance of past sessions, further sessions and the
quantity asked is written down in full and conditioned. Sessions that have not been made are drawn
at random; each time the report written after them is worked out, its prior standing at the date of
its own latest session, and it is counted whether the probability passes a bound of the verdict.

    python dense_settle.py           # reads cases.json beside it and writes answers.json

Noise SDs are held fixed, or summed over an even grid of their logarithms (two thirds of
an SD apart, to 3.3 SDs either side; points below 1e-5 of the weight are left out).
"""

import json
import pathlib

import numpy as np
from scipy.special import ndtr

HERE = pathlib.Path(__file__).parent
# Weight, level, effect of the first drug, or pressure under it: systolic pressure.
GROUPS = (
    (0.60, (130, 16), (0, 20), None),
    (0.06, (195, 50), (0, 10), None),
    (0.34, (195, 50), None, (150, 30)),
)
ADDED, RESTART = 25.0, 15.0
# What a verdict takes: at or below threshold with at most / at least these probabilities.
BOUNDS = {"usual": (None, 0.1, 0.9), "drug": (-10.0, 0.05, 0.9), "slope": (1.0, 0.1, 0.9)}
GAPS = {"usual": 14, "drug": 14, "slope": 28}
READINGS = 5
FIXED_DRAWS, GRID_DRAWS = 100_000, 10_000


def on(course, t):
    start, stop, tau = course["start"], course["stop"], course["tau"]
    if t <= start:
        return 0.0
    if stop is None or t <= stop:
        return 1.0 - np.exp(-(t - start) / tau)
    return (1.0 - np.exp(-(stop - start) / tau)) * np.exp(-(t - stop) / tau)


class Prior:
    """Independent primitives of one group, and what the model says in terms of them."""

    def __init__(self, case, group):
        p = case["priors"]
        self.case, self.courses = case, case["courses"]
        level, effect, under = (p["level"], None, None) if group is None else GROUPS[group][1:]
        self.prims = [tuple(level), (0.0, p["slope_sd"])]
        self.effects = []  # each course's effect: {primitive: factor}
        for c in self.courses:
            new, row = len(self.prims), {}
            if c["prior"] == "first" and under is not None:
                row, draw = {0: -1.0}, under
            elif c["prior"] == "first":
                draw = effect
            elif c["prior"] == "added":
                draw = (0.0, ADDED)
            elif c["prior"] == "increment":
                draw = (0.0, p["increment_sd"])
            else:  # a later spell of an earlier course's drug
                row, draw = dict(self.effects[c["prior"]]), (0.0, RESTART)
            self.prims.append(tuple(draw))
            self.effects.append({**row, new: 1.0})
        self.first = len(self.prims)
        if p["first_visit"] is not None:
            self.prims.append(tuple(p["first_visit"]))
        self.mean, self.sd = np.array(self.prims, float).T

    def effect_row(self, courses):
        row = np.zeros(len(self.prims))
        for i in courses:
            for j, factor in self.effects[i].items():
                row[j] += factor
        return row

    def pressure_row(self, t, t0, visit=None):
        row = np.zeros(len(self.prims))
        row[0], row[1] = 1.0, (t - t0) / 30.0
        for i, c in enumerate(self.courses):
            row += on(c, t) * self.effect_row([i])
        if visit is not None and self.first < len(self.prims):
            row[self.first] = np.exp(-visit / 1.5)
        return row


def joint(case, prior, question, t0, ahead, sv, sr, sw):
    """Log evidence, and mean and covariance of (quantity, further sessions) given the records."""
    past = [s["day"] for s in case["sessions"]]
    n, m = len(past), len(ahead)
    t = np.array([*past, *ahead], float)
    rows = [prior.pressure_row(x, t0, j) for j, x in enumerate(t)]
    days, asked = list(t), question
    if asked == "usual":
        rows.append(prior.pressure_row(t[-1], t0))
        days.append(t[-1])
    elif asked == "drug":
        rows.append(prior.effect_row(case["spell"]))
    else:
        rows.append(np.eye(len(prior.prims))[1])
    rows = np.array(rows)
    mean = rows @ prior.mean
    cov = (rows * prior.sd**2) @ rows.T
    d = np.array(days)
    k = len(d)
    cov[:k, :k] += sw**2 * np.exp(-np.abs(d[:, None] - d) / case["priors"]["wander_days"])
    counts = np.array([len(s["readings"]) for s in case["sessions"]] + [READINGS] * m, float)
    cov[np.arange(n + m), np.arange(n + m)] += sv**2 + sr**2 / counts
    y = np.array([np.mean(s["readings"]) for s in case["sessions"]])
    solved = np.linalg.solve(cov[:n, :n], np.c_[y - mean[:n], cov[:n, n:]])
    evidence = -0.5 * (np.linalg.slogdet(cov[:n, :n])[1] + (y - mean[:n]) @ solved[:, 0])
    for s in case["sessions"]:  # the scatter within sessions tells the reading SD
        r = np.array(s["readings"], float)
        evidence -= (r.size - 1) * np.log(sr) + np.sum((r - r.mean()) ** 2) / (2 * sr**2)
    order = [m, *range(m)]  # the quantity first
    after = (mean[n:] + cov[n:, :n] @ solved[:, 0])[order]
    spread = (cov[n:, n:] - cov[n:, :n] @ solved[:, 1:])[np.ix_(order, order)]
    return evidence, after, spread


def nodes_of(case, fixed):
    """Noise SDs with log weights."""
    if fixed:
        return [(tuple(case["fixed"]), 0.0)]
    z = np.arange(-5, 6) * 2 / 3
    p, found = case["priors"], []
    for a in z:
        for b in z:
            for c in z:
                sds = [
                    p[name][0] * np.exp(p[name][1] * x)
                    for name, x in zip(("sv", "sr", "sw"), (a, b, c), strict=True)
                ]
                found.append((tuple(sds), -0.5 * (a * a + b * b + c * c)))
    return found


def chance(case, question, m, fixed, rng):
    gap = GAPS[question]
    t0 = case["sessions"][-1]["day"]
    ahead = [t0 + gap * (i + 1) for i in range(m)]
    threshold, low, sure = BOUNDS[question]
    threshold = case["target"] if threshold is None else threshold
    groups = [0, 1, 2] if case["courses"] else [None]
    now, then, weight = [], [], []
    for g in groups:
        prior = Prior(case, g)
        for sds, log_weight in nodes_of(case, fixed):
            log_weight += 0.0 if g is None else np.log(GROUPS[g][0])
            e, mean, cov = joint(case, prior, question, t0, ahead, *sds)
            now.append((e + log_weight, mean, cov))
            weight.append((prior, sds, log_weight))
    log_w = np.array([x[0] for x in now])
    w = np.exp(log_w - log_w.max())
    keep = np.flatnonzero(w / w.sum() > 1e-5)
    for i in keep:
        prior, sds, log_weight = weight[i]
        e, mean, cov = joint(case, prior, question, ahead[-1], ahead, *sds)
        then.append((e + log_weight, mean, cov))
    w = w[keep] / w[keep].sum()
    draws = FIXED_DRAWS if fixed else GRID_DRAWS
    counts = rng.multinomial(draws, w)
    y = np.concatenate([
        rng.multivariate_normal(now[i][1][1:], now[i][2][1:, 1:], size=c, method="cholesky")
        for i, c in zip(keep, counts, strict=True)
    ])  # fmt: skip
    p = later(then, y, threshold)
    return {
        "chance": float(np.mean((p >= sure) | (p <= low))),
        "at_or_below": float(np.mean(p >= sure)),
        "above": float(np.mean(p <= low)),
        "standard_error": float(np.sqrt(max(np.mean((p >= sure) | (p <= low)), 1 / draws) / draws)),
    }


def later(then, y, threshold):
    """Probability that the report written after y says: at or below."""
    top = np.full(len(y), -np.inf)
    total, share = np.zeros(len(y)), np.zeros(len(y))
    for log_w, mean, cov in then:
        root = np.linalg.cholesky(cov[1:, 1:])
        white = np.linalg.solve(root, (y - mean[1:]).T)
        log_d = log_w - np.log(np.diag(root)).sum() - 0.5 * np.sum(white**2, axis=0)
        gain = np.linalg.solve(root, cov[1:, 0])
        sd = np.sqrt(cov[0, 0] - gain @ gain)
        below = ndtr((threshold - mean[0] - gain @ white) / sd)
        new = np.maximum(top, log_d)
        old, add = np.exp(top - new), np.exp(log_d - new)
        total, share, top = total * old + add, share * old + add * below, new
    return share / total


def main():
    cases = json.loads((HERE / "cases.json").read_text(encoding="utf-8"))
    file = HERE / "answers.json"
    answers = json.loads(file.read_text(encoding="utf-8")) if file.exists() else {}
    for number, (name, case) in enumerate(cases.items()):
        if name in answers:
            continue  # a run that was cut short goes on; without the file, all is made again
        found = {"fixed": {}, "integrated": {}}
        for question in ("usual", "slope", *(["drug"] if case["courses"] else [])):
            plans = (3, 6, 12) if question == "slope" else (1, 2, 4)
            for m in plans:
                for kind in ("fixed", "integrated")[: 1 if m in (1, 3, 12) else 2]:
                    rng = np.random.default_rng((number, m, len(kind)))
                    one = chance(case, question, m, kind == "fixed", rng)
                    held = {key: round(value, 5) for key, value in one.items()}
                    found[kind].setdefault(question, {})[str(m)] = held
                    print(name, question, m, kind, held, flush=True)
        answers[name] = found
        file.write_text(json.dumps(answers, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
