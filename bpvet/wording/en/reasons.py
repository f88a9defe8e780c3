"""Why something is not given, by the codes of `bpvet.reasons`; no capital, no full stop."""

from __future__ import annotations

from bpvet.wording.en.coded import (
    agreement,
    audit,
    clinic,
    facts,
    files,
    kidney,
    maths,
    mixed,
    plan,
    records,
    trend,
    visits,
)

#: In braces stands what is said of the animal or the value.
REASONS = {
    **agreement.WORDS,
    **audit.WORDS,
    **clinic.WORDS,
    **facts.WORDS,
    **files.WORDS,
    **kidney.WORDS,
    **maths.WORDS,
    **mixed.WORDS,
    **plan.WORDS,
    **records.WORDS,
    **trend.WORDS,
    **visits.WORDS,
    "agreement.no_figure": "it cannot be computed",
    "agreement.no_reference": "neither method is the reference",
    "agreement.other_reference": "the reference is {kind}",
    "agreement.concordance_at_end": "no interval at a concordance of 0 or 1",
    "agreement.share_at_end": "no interval at a share of 0 or 1",
    "agreement.no_visit_noise": "no visit noise was found by one of the methods",
    "agreement.few_paired_visits": "needs animals with two or more paired visits",
    "agreement.one_value": "one method gave only one value",
    "agreement.no_correlation_interval": ("no interval: it needs four animals with one point each"),
    "agreement.several_points": "no interval: animals have several points",
    "agreement.no_repeats": "no repeated readings by this method",
    "agreement.no_sd_interval": "the SD of a difference has no interval",
    "category.low": "it lies lower than the categories speak of",
    "category.sighthound": (
        "{breed} is a sighthound: sighthounds normally run higher, and no reference range for "
        "this breed is on file"
    ),
    "category.species": "no categories are on file for this species ({species})",
    "category.unborn": (
        "the birth date on record lies after a visit, so that the age is not known, and the "
        "categories are for adults; one of the two dates is wrong"
    ),
    "category.young": "the animal is under one year of age; the categories are for adults",
    "cohort.no_digest": "left out with pseudonyms: it could tell whose records these are",
    "effect.none_before": "no session before it started, nor long enough after it stopped",
    "effect.none_on": "no session once it had half of its effect",
    "kidney.acute": "creatinine is not stable: it rose lately as in an acute injury",
    "kidney.no_marker": "no creatinine or SDMA is on record",
    "kidney.unread_unit": "no {name} is in a unit that is read",
    "kidney.old": "no {name} in the last 24 months",
    "kidney.bound": "the newest {name} is a bound, no number",
    "kidney.close": "two {name} values at least {days} days apart are needed",
    "kidney.species": "no bounds are on file for this species ({species})",
    "kidney.no_species": "the species is not recorded",
    "kidney.unit": "the edition prints no bounds for {name} in {unit}",
    "kidney.no_ratio": "no urine protein to creatinine ratio is on record",
    "kidney.urine": "“{text}” was noted near a sample: protein may come from there",
    "kidney.ratio_old": "no ratio in the last 24 months",
    "kidney.ratio_bound": "the newest ratio is a bound or 0",
    "kidney.ratio_close": "two samples over at least {days} days are needed",
    "kidney.no_pressure": "no usual pressure is known",
    "kidney.one_visit": "one visit does not give a substage",
    "kidney.low": "it lies lower than the substages speak of",
    "last_three.few": "there are fewer than three {what} with a plain mean",
    "last_three.equal": "the three {what} are equal, which is no measure of scatter",
    "one_end": (
        "three quarters of the readings or more lie beyond the gauge: only one end of the "
        "interval is known"
    ),
    "recheck.left": "the animal left the practice",
    "recheck.left_because": "the animal left the practice ({why})",
    "recheck.read_first": "no date for the next visit is given until that is read",
    "recheck.species": "no intervals are on file for this species ({species})",
    "recheck.not_shortened": "the trend does not shorten a window",
    "room.both_ends": "readings went beyond both ends of the gauge",
    "room.none_counts": "no reading counts",
    "room.not_awake": "the animal was {how}, and the ranges speak of awake animals",
    "share.one_date": "all sessions are of one date",
    "share.bounded": "sessions with a reading beyond the gauge have no mean to draw a line through",
    "surprise.none_earlier": "there is no earlier {what} to compare with",
    "systolic_only": "judged on systolic pressure only",
    "target.species": "no target is on file for this species ({species})",
}
