"""Hand-worked small examples, checked with Python fractions."""
# ruff: noqa  (kept as it was run)

import json
from fractions import Fraction as Q
from math import sqrt


def fr(x):
    return {"fraction": str(x), "value": float(x)}


def rosendaal(days, y, lo, hi, gap=None):
    inside = total = Q(0)
    segs = []
    for d0, d1, a, b in zip(days, days[1:], y, y[1:]):
        n = Q(d1 - d0)
        if gap and n > gap:
            segs.append("skipped")
            continue
        total += n
        if a == b:
            part = n if (lo is None or a >= lo) and (hi is None or a <= hi) else Q(0)
        else:
            L = Q(-(10**9)) if lo is None else Q(lo)
            H = Q(10**9) if hi is None else Q(hi)
            s, e = min(a, b), max(a, b)
            part = n * max(Q(0), min(e, H) - max(s, L)) / (e - s)
        inside += part
        segs.append(str(part) + " of " + str(n) + " days")
    return {
        "segments": segs,
        "days_inside": str(inside),
        "days_counted": str(total),
        "share": fr(inside / total),
    }


def block(days, y, hi, lo, lam, target, k):
    y = [Q(v) for v in y]
    n = len(y)
    m = sum(y) / n
    ss = sum((v - m) ** 2 for v in y)
    var = ss / (n - 1)
    d = [b - a for a, b in zip(y, y[1:])]
    w = [Q(b - a) for a, b in zip(days, days[1:])]
    t = [Q(v) for v in days]
    tm = sum(t) / n
    sxx = sum((v - tm) ** 2 for v in t)
    sxy = sum((a - tm) * b for a, b in zip(t, y))
    b1 = sxy / sxx
    rss = ss - sxy**2 / sxx
    e = [y[0]]
    for v in y[1:]:
        e.append(lam * v + (1 - lam) * e[-1])
    up = [max(Q(0), y[0] - target - k)]
    dn = [max(Q(0), target - k - y[0])]
    for v in y[1:]:
        up.append(max(Q(0), up[-1] + v - target - k))
        dn.append(max(Q(0), dn[-1] + target - k - v))
    return {
        "days": list(days),
        "session_means": [str(v) for v in y],
        "rosendaal_at_or_under_%s" % hi: rosendaal(days, y, None, Q(hi)),
        "rosendaal_%s_to_%s" % (lo, hi): rosendaal(days, y, Q(lo), Q(hi)),
        "rosendaal_at_or_under_%s_gaps_over_56_days_skipped" % hi: rosendaal(
            days, y, None, Q(hi), 56
        ),
        "mean": fr(m),
        "sd": {"squared": str(var), "value": sqrt(var)},
        "cv_percent": {"squared": str(var / m**2 * 10000), "value": 100 * sqrt(var) / float(m)},
        "average_real_variability": dict(
            fr(sum(abs(v) for v in d) / (n - 1)),
            what="mean absolute difference of consecutive session means",
        ),
        "average_real_variability_time_weighted": dict(
            fr(sum(a * abs(v) for a, v in zip(w, d)) / sum(w)),
            what="sum(gap*|difference|)/sum(gap)",
        ),
        "successive_variation": {
            "squared": str(sum(v * v for v in d) / (n - 1)),
            "value": sqrt(sum(v * v for v in d) / (n - 1)),
            "what": "root of the mean squared consecutive difference",
        },
        "least_squares_slope_per_30_days": fr(30 * b1),
        "residual_sd_about_the_line": {
            "squared": str(rss / (n - 2)),
            "value": sqrt(rss / (n - 2)),
            "what": "divisor n-2",
        },
        "ewma": {"lambda": str(lam), "start": "first session mean", "values": [str(v) for v in e]},
        "cusum": {
            "target": str(target),
            "allowance_k": str(k),
            "upper": [str(v) for v in up],
            "lower": [str(v) for v in dn],
            "what": "C+ = max(0, C+ + y - target - k), C- = max(0, C- + target - k - y), both start at 0 before the first session",
        },
    }


CONV = "VIM_i = SD_i * (M / mean_i)^beta, beta = least-squares slope of log SD on log mean over the animals, M = plain mean of the animals' means (Rothwell et al. 2010, Lancet 375:895-905, convention as remembered, unverified)"


def vim(means, sds, beta, how):
    M = sum(Q(v) for v in means) / len(means)
    return {
        "what": CONV,
        "animal_means": means,
        "animal_sds": sds,
        "beta": beta,
        "M": str(M),
        "vim": [float(s * (float(M) / m) ** beta) for m, s in zip(means, sds)],
        "worked": how,
    }


SESSION = lambda r: {
    "readings": r,
    "mean": str(Q(sum(r), len(r))),
    "sum_of_squares": str(sum((Q(v) - Q(sum(r), len(r))) ** 2 for v in r)),
    "sd": sqrt(sum((Q(v) - Q(sum(r), len(r))) ** 2 for v in r) / (len(r) - 1))
    if len(r) > 1
    else None,
}
if True:
    out = {
        "note": "Hand-worked (fractions); no outside program. Rosendaal: straight line between session means, share of days in range (Rosendaal et al. 1993, Thromb Haemost 69:236-239).",
        "A": dict(
            block([0, 20, 50], [180, 140, 170], 160, 120, Q(1, 4), Q(160), Q(5)),
            worked="0-20 d: 180 to 140 falls 2 a day, at 160 after 10 d: 10 of 20 d inside. 20-50 d: rises 1 a day, at 160 after 20 d: 20 of 30. 30/50 = 3/5. Differences -40, 30: ARV 35, weighted (20*40+30*30)/50 = 34, successive variation sqrt((1600+900)/2).",
        ),
        "B": dict(
            block([0, 10, 10 + 60, 90], [150, 150, 180, 165], 165, 140, Q(1, 5), Q(160), Q(4)),
            worked="0-10 d all 10 inside; 10-70 d: 150 to 180 reaches 165 halfway, 30 of 60; 70-90 d: 180 to 165 touches 165 only at the end, 0 of 20. 40/90 = 4/9; with gaps over 56 days skipped 10/30 = 1/3.",
        ),
        "vim_beta_1": vim(
            [100, 200, 400],
            [2, 4, 8],
            1.0,
            "SD doubles with the mean: beta 1, M = 700/3, every VIM = 14/3",
        ),
        "sessions": [SESSION([165, 158, 160]), SESSION([150]), SESSION([171, 168, 166, 165, 170])],
        "reference_change_value": {
            "cv_analytical_percent": 3,
            "cv_within_animal_percent": 4,
            "z": 1.959963984540054,
            "rcv_percent": 1.959963984540054 * sqrt(2) * 5,
            "worked": "sqrt(3^2+4^2) = 5; z*sqrt(2)*5",
        },
    }
print(json.dumps(out, indent=1))
