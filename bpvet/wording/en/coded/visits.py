"""Sessions, flags and laboratory values: why something is not used, and what is asked."""

from __future__ import annotations

#: In braces stands what is told of.
WORDS = {
    "flag.cuff": "cuff width outside {low:.0f} to {high:.0f} % of the limb's circumference",
    "flag.kept_out": "{state}: kept out of trends",
    "kidney.not_stable": "creatinine is not stable",
    "kidney.stage_old": "no creatinine or SDMA in the last 24 months",
    "kidney.stage_species": "no bounds for the species",
    "kidney.stage_unit": "no bounds for the unit",
    "labs.bound": "a bound is no number",
    "labs.no_trend": " There are values that no trend is made of: {why}.",
    "labs.unit": '"{unit}" is not a unit that is read',
    "labs.zero": "0 has no per cent",
    "visits.left_out_first": "the first of {taken} taken: left out under rule guideline",
    "visits.no_place": "no usable number, animal, method or date",
    "visits.same_numbers": (
        "Another session of {date} holds the same numbers, {numbers} ({file}): is it this one?"
    ),
}
