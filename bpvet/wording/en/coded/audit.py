"""Quality of measuring: what is looked at, rows of tables, and notes beside them."""

from __future__ import annotations

#: In braces stands what is told of.
WORDS = {
    "audit.allowed": "{others} and {last}",
    "audit.allowed.months": "months",
    "audit.allowed.treated": "treatment",
    "audit.allowed.condition": "condition",
    "audit.allowed.animal": "animal",
    "audit.enough": "at least {readings} used readings at every visit",
    "audit.excluded": "readings excluded by hand",
    "audit.few": "fewer than {least} readings taken",
    "audit.few_operators": "needs two operators and two animals or more",
    "audit.half_noise": "half the visit noise (same room, person, cuff and site; time to settle)",
    "audit.half_scatter": "readings that scatter half as much",
    "audit.no_difference": (
        "no difference beyond chance is seen, which does not show that there is none"
    ),
    "audit.no_model": (
        "means about those of their condition: the mixed model could not be fitted ({error})"
    ),
    "audit.not_recorded": "{what} not recorded",
    "audit.not_repeated": "no visit has two readings: their scatter is part of the visits' noise",
    "audit.not_to_judge": (
        "These figures describe how measuring went; they are not for judging people. Operators "
        "see different animals at different times, and small numbers scatter by chance."
    ),
    "audit.one_session": "starts and changes of pressure drugs that rested on one session or none",
    "audit.residuals": "residuals of the clinic's mixed model, which allows for {allowed}",
    "audit.second_visit": "a second visit before deciding",
    "audit.share": "share or interval",
    "audit.spread": "SD of readings in a session",
    "audit.title": "Quality of measuring: {sessions} sessions of {animals} animals",
}
