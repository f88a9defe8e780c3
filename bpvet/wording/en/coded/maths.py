"""Why an estimate or its interval is missing, and how intervals were made."""

from __future__ import annotations

#: In braces stands what is told of.
WORDS = {
    "charts.few_sessions": "limits from the same sessions need {least} of them, not {n}",
    "charts.no_scatter": "the sessions show no scatter to set limits by",
    "clusters.few_animals": "an interval needs two animals or more",
    "clusters.nothing": "there is nothing to compare",
    "comparison.correlation_at_end": "no interval at a correlation of 0 or 1",
    "comparison.few_degrees": "less than one degree of freedom: no useful interval",
    "comparison.few_different": "needs three animals that differ, by each method",
    "comparison.few_levels": "needs three animals at different levels",
    "comparison.no_variance": "a variance at zero has no interval of this kind",
    "comparison.nothing": "there is nothing to count",
    "crossed.no_upper_end": "no upper end: too few operators or sessions",
    "how.bland_altman": "approximate (Bland and Altman)",
    "how.clustered": "approximate (standard error by animal)",
    "how.effective": "approximate (effective count, by animal)",
    "how.fisher": "approximate (Fisher's z)",
    "how.mover": "approximate (MOVER)",
    "how.one_animal": "approximate (one animal, counted as independent)",
    "how.repeated": "{how}; points of one animal counted as independent)",
    "how.satterthwaite": "approximate (Satterthwaite)",
    "how.shrunken": "approximate (drawn towards the mean)",
    "lines.apart": "the methods do not vary together",
    "lines.deming": "Deming's line, ratio of error variances {ratio:g}",
    "lines.few_animals": "an interval needs four animals or more",
    "lines.few_for_ranks": "too few points for an interval by ranks",
    "lines.few_points": "too few points that differ",
    "lines.passing_bablok": "Passing and Bablok's line",
    "ranks.equal": "all days or all values are equal",
    "ranks.few_sessions": (
        "{n} sessions are too few for a {level:g} % interval: the span of all slopes holds "
        "{reached:.0f} %"
    ),
    "ranks.one_day": "needs sessions on two different days",
    "spread.alone": "needs other animals: one does not show how SD changes with the mean",
    "spread.as_drawn": "no interval: the straight lines between sessions are taken as drawn",
    "spread.equal": "the values are all equal: an interval needs some scatter",
    "spread.few_animals": "needs three animals with scatter and with different means",
    "spread.few_sessions": "needs {least} sessions, and there are {n} sessions",
    "spread.long_gaps": "every stretch between sessions is longer than the longest gap allowed",
    "spread.no_power": "the mean is not above zero: it has no power",
    "spread.no_session": "needs {least} sessions, and there are no sessions",
    "spread.no_share": "the mean is not above zero: no share of it can be taken",
    "spread.no_upper_end": "the scatter is too large for an upper end",
    "spread.on_a_line": "the values lie on a line: an interval needs some scatter",
    "spread.one_day": "all sessions are on one day: there is no period between them",
    "spread.one_session": "needs {least} sessions, and there is {n} session",
}
