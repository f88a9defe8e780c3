"""A clinic: why sessions and terms are not counted, rows of tables, and notes beside them."""

from __future__ import annotations

#: In braces stands what is told of.
WORDS = {
    "cohort.session": "session {why}",
    "cohort.renin": "renin group",
    "cohort.too_few": "too few: {few}",
    "cohort.between.visit": "Between visits",
    "cohort.between.residual": "Between readings",
    "cohort.all_treated": "every session is on a pressure-acting drug",
    "cohort.animals_level": "Between animals, level",
    "cohort.animals_slope": "Between animals, slope",
    "cohort.at_zero": "the fit puts it at zero",
    "cohort.correlation": "Correlation of level and slope between animals",
    "cohort.excluded": "reading excluded by the clinic",
    "cohort.few_animals": (
        "at least {animals} animals are needed, {followed} of them with two sessions or more; "
        "here they are {here} and {here_followed}"
    ),
    "cohort.few_by_method": "there are too few sessions by one method ({method}: {sessions})",
    "cohort.few_dates": (
        "only {animals} of the animals have {dates} dates or more, and {least} are needed"
    ),
    "cohort.first_by": "First counted session by {method}",
    "cohort.first_days": "every session is on an animal's first day",
    "cohort.first_mean": "{quantity}, mean of the first counted session",
    "cohort.followed": "From first to last counted session",
    "cohort.left_out": "first of four or more readings, left out by the rule",
    "cohort.may_be_zero": "the interval begins at zero: these records do not exclude that",
    "cohort.measured": "measured {condition}",
    "cohort.needs_sd": "an SD that it needs is zero",
    "cohort.no_session": "animal without any session on record",
    "cohort.no_sex": "Sex not recorded",
    "cohort.no_sound": "reading without a sound",
    "cohort.no_species": "species not recorded",
    "cohort.no_value": "without a used value of {quantity}",
    "cohort.none_at_home": "sessions at home: there are none with a used value",
    "cohort.none_before": (
        "treatment before entry: no animal was on a pressure-acting drug at its first counted "
        "session"
    ),
    "cohort.none_calmed": "sessions after a calming drug: there are none with a used value",
    "cohort.none_treated": "no session is on a pressure-acting drug",
    "cohort.not_determined": "these sessions do not determine it",
    "cohort.not_in_model": "not in the model",
    "cohort.not_repeated": "by one method no session holds two readings",
    "cohort.not_told_apart": "these sessions cannot distinguish it from the other terms",
    "cohort.on_at_entry": "On a pressure-acting drug at entry",
    "cohort.on_ever": "On one at any counted session",
    "cohort.one_method": "every session is by one method ({method})",
    "cohort.open_ended": "these records do not bound it on both sides",
    "cohort.reading_without": "reading without {quantity}",
    "cohort.sessions_each": "Counted sessions of an animal",
    "cohort.set_aside": "reading set aside by the record check",
    "cohort.slope_at_edge": (
        "the records do not tell slopes of their own from one slope (their SD, or their "
        "correlation with the level, lies at its edge)"
    ),
    "cohort.slope_failed": "a fit with a slope for each animal failed",
    "cohort.unit_a_month": "{unit} a month",
    "cohort.visits_and_readings": "Between visits and readings together",
    "over_time.share": "share of measured",
    "over_time.title": "{animals} animals begun on a pressure drug",
}
