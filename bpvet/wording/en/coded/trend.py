"""Trends, ranks and variability: rows of tables, and notes beside them."""

from __future__ import annotations

#: In braces stands what is told of.
WORDS = {
    "companions.slope": "Theil–Sen slope",
    "variability.few": "needs {least} sessions, not {sessions}",
    "variability.title": "Visit-to-visit variability of {sessions} session{s}",
    "table.estimate": "estimate",
    "table.from": "{level:g} % from",
    "table.to": "to",
    "table.unit": "unit",
    "companions.ewma": "smoothed level (EWMA) outside its limits",
    "companions.left_out": "Left out, as beyond the gauge: {sessions}.",
    "companions.no_verdict": (
        "These know no drugs and no change of method; no verdict rests on them."
    ),
    "companions.sd": "SD from visit to visit",
    "companions.title": "Beside the trend, without a model",
    "companions.used": "sessions used",
    "ranks.as_slope": "no interval: that of the slope says the same",
    "ranks.p": "{method}; a p has no interval",
    "ranks.test": "Mann–Kendall S {s}, tau-b {tau}, two-sided p {p} ({method}).",
    "ranks.title": "Trend by ranks of {sessions} session{s}",
    "trend.first_visit": "first-visit excitement",
    "trend.full_effect": "{drug} from {since}, full effect",
    "trend.level": "level then without pressure drugs",
    "trend.not_known_yet": "cannot be known yet",
    "trend.slope": "slope per 30 days",
    "variability.arv": "average real variability",
    "variability.arv_by_days": "average real variability by days",
    "variability.assumes": (
        "Intervals assume that sessions scatter independently and normally about one steady "
        "value (about a straight line for the SD about one)."
    ),
    "variability.counts_equally": (
        "Sessions of {least} to {most} readings count equally: those of few readings add some "
        "extra scatter."
    ),
    "variability.cv": "coefficient of variation",
    "variability.mean": "mean of the sessions",
    "variability.reference_change": "reference change value",
    "variability.residual_sd": "SD about a straight line",
    "variability.successive": "successive variation",
    "variability.vim": "variability independent of the mean",
}
