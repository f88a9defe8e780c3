"""Facts in words: how a figure reads, how it was obtained, and the cautions of every report.

The facts ask for these where they are printed (`bpvet.facts.sources`, `bpvet.facts.cautions`).
"""

from __future__ import annotations

#: How a figure was obtained, by its grade.
GRADES = {
    "R": "read in the source",
    "S": "read in a later text that restates the source",
    "M": "as remembered",
    "D": "derived from figures of the source",
    "J": "judgement of this project",
}
#: The one footnote of figures from memory, behind their mark.
AS_REMEMBERED = "† As remembered by this project; not yet checked against the paper."
#: Probabilities beyond what two digits tell.
UNLIKELY, LIKELY = "less than 1 %", "more than 99 %"
UNITS = {
    "h": "hours",
    "d": "days",
    "min": "minutes",
    "/min": "per minute",
    "1": "",
    "readings": "readings",
    "animals": "animals",
}
CHECKED_BY = "checked by {who}"

#: By the ids of `cautions.toml`.
CAUTIONS = {
    "low_on_treatment": "A low value on treatment with weakness, collapse or a fast heart needs a "
    "vet at once.",
    "look_for_damage": "At 160 mmHg or above, look at the back of the eye and check the nervous "
    "system, the heart and the kidneys: damage, not the number, sets the urgency.",
    "sighthound": "Sighthounds normally run higher than other dogs, and Irish wolfhounds lower. No "
    "allowance is made: compare with the breed's own range where there is one.",
    "few_visits": "Few visits give wide bands; one or two sessions say little about a trend.",
    "falls_without_drug": "Part of any fall after treatment starts would have come without it: "
    "animals get used to visits, and treatment starts on a high day. Cats on placebo fell by "
    "7 to 12 mmHg.",
    "calming": "A calming drug before the visit changes the reading. Write it down.",
    "two_methods": "Doppler and oscillometric values are not interchangeable: a change of method "
    "can look like a change of pressure.",
    "kidney": "Kidney values move with treatment and with hydration: when pressure treatment "
    "changes, recheck creatinine, potassium and proteinuria.",
    "left_out": "Some readings were left out. They are listed with the reason.",
    "trials_lost_worst": "Trials of these drugs left out the sickest animals or lost them to "
    "follow-up, so the mean falls they report may not hold for this animal.",
    "no_dose": "Treatments and doses are shown as the clinic wrote them; none is recommended.",
    "no_reference": "Comparing Doppler with oscillometric in one clinic does not validate either: "
    "neither is a reference.",
    "situational": "Excitement raises readings by about 18 to 22 mmHg on average, and by far more "
    "in some animals. Write down the animal's mood, the room and the waiting time beside the "
    "value.",
    "doppler": "Doppler gives systolic pressure only. No mean or diastolic is inferred from it.",
    "oscillometric": "Of the three oscillometric pressures the diastolic is the least repeatable.",
    "signs_first": "Sudden blindness, a seizure or disorientation needs a vet at once, at any "
    "value.",
    "one_number": "One session rarely settles anything; urgent lines come first, and what follows "
    "is the vet's decision.",
    "licensed": "This supports the judgement of a licensed veterinarian and does not replace it; "
    "local codes and licensed practice come first. It recommends no drug and no dose.",
    "measurement": "These figures describe measurements. They are not a diagnosis and do not "
    "replace the examination or the history.",
    "conditions": "A change of cuff, site, posture, room or person can look like a change of "
    "pressure.",
    "guidelines_differ": "Categories, targets and intervals are those of the guideline named "
    "beside them. Guidelines differ, and change.",
    "bands": "Shaded bands show where the usual pressure plausibly lies under the stated "
    "assumptions. They are not safety limits.",
}
#: The caution that stands on everything that may be kept.
LICENSED = CAUTIONS["licensed"]


def span(low: str | None, high: str | None, unit: str) -> str:
    """Return a range as text, of numbers as they are printed; blank without either end."""
    if low is None:
        return "" if high is None else f"up to {high}{unit}"
    if high is None:
        return f"{low}{unit} or more"
    # Behind a minus a dash would read as another.
    joint = " to " if low.startswith("−") else "–"
    return f"{low}{joint}{high}{unit}"
