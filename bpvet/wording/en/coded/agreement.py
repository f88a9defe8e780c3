"""Agreement of two methods and of two situations: rows of tables, and notes beside them."""

from __future__ import annotations

#: In braces stands what is told of.
WORDS = {
    "agreement.reading_by": "{what} by {method}",
    "agreement.term.animal": "animal",
    "agreement.term.pair": "pair",
    "agreement.term.reading": "reading",
    "agreement.term.visit": "visit",
    "situation.few_animals": (
        "A comparison of sessions {where} with those in the clinic needs at least two animals with "
        "both within {days} days, by one method; these records have {animals}."
    ),
    "agreement.paired_visits": "paired visits {where}",
    "agreement.at_zero": (
        "Estimated at zero: {terms}. That is a valid result; the intervals take it as known."
    ),
    "agreement.beyond_gauge": (
        "Sessions left out because a reading went beyond the gauge, so that the mean is only "
        "known to lie beyond a bound: {sessions}."
    ),
    "agreement.bias": "bias ({second} − {first})",
    "agreement.concordance": "concordance correlation",
    "agreement.intercept": "intercept, {line}",
    "agreement.linked": (
        "Replicates are linked: readings of one number by both methods share a moment."
    ),
    "agreement.lower": "lower limit of agreement",
    "agreement.lower_better": "lower limit, better interval",
    "agreement.no_number": "Rows dropped for want of a number: {rows}.",
    "agreement.one_method": "Animals left out with readings by one method only: {animals}.",
    "agreement.other_condition": (
        "Paired visits {condition}, left out since conditions are not pooled: {count}."
    ),
    "agreement.per_mean": "difference per unit of mean",
    "agreement.plain": "One reading by each method an animal: plain differences.",
    "agreement.points_animal": "means of one animal",
    "agreement.points_linked": "linked pairs of readings",
    "agreement.points_visit": "means of one visit",
    "agreement.reml": "Limits are for single readings, from variance components (REML).",
    "agreement.repeatability": "repeatability coefficient, {label}",
    "agreement.rule": "Rule {rule} chose the readings.",
    "agreement.sd": "SD of a single difference",
    "agreement.share_within": "share within {reach} {unit}",
    "agreement.single_sessions": (
        "Sessions without a partner by the other method at their visit: {sessions}."
    ),
    "agreement.slope": "slope, {line}",
    "agreement.title": (
        "Agreement of {second} with {first}: {what}; {animals} animals, {points} {points_are}"
    ),
    "agreement.unlinked": (
        "Replicates are unlinked: readings of one method at one visit are exchangeable."
    ),
    "agreement.upper": "upper limit of agreement",
    "agreement.upper_better": "upper limit, better interval",
    "how.predicted": "approximate (prediction drawn towards the mean)",
    "situation.at_zero": (
        "Part of the variation between animals is estimated at zero; the intervals take that as "
        "known."
    ),
    "situation.left_out": "Sessions left out as too far apart in time: {sessions}.",
    "situation.near": (
        "Sessions at most {days} days from one under the other condition; by {method} alone. A "
        "change of treatment between them is not allowed for."
    ),
    "situation.shrunken": (
        "Each animal's own difference is shrunken to the mean, the more so the less is known of it."
    ),
}
