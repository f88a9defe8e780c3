"""The records of `cases.json`: invented readings, no animal is real."""

import json
from pathlib import Path

PRIORS = {
    "sv_median": 11, "sv_log_sd": 0.5, "sr_median": 7, "sr_log_sd": 0.4,
    "sw_median": 6, "sw_log_sd": 0.5, "first_visit": [5, 8],
    "slope_sd_per_30_days": 2, "wander_days": 60,
}  # fmt: skip
DRUG = {"drug": "amlodipine", "start_day": 14, "stop_day": None, "tau_days": 3}


def case(name, sessions, course_from=None, fixed=None, tau=3):
    """Return one case; sessions are (day, readings, above, below)."""
    days = [one[0] for one in sessions]
    keys = ("day", "readings", "above", "below")
    out = {
        "name": name,
        "t0_day": days[-1],
        "ask_days": [days[-1], days[0]],
        "next_session": {"day": days[-1] + 28, "readings": 5},
        "priors": PRIORS,
        "courses": [] if course_from is None else [{**DRUG, "start_day": course_from}],
        "sessions": [dict(zip(keys, (*one, [], [])[:4], strict=True)) for one in sessions],
    }
    if fixed:
        out["fixed_parameters"] = dict(zip(("sv", "sr", "sw"), fixed, strict=True))
    return out


MIXED = [(0, [241, 249, 245]), (14, [268, 259, 263, 270]), (35, [291, 296], [300, 300])]
OLDER = [(0, [294], [300] * 3), (12, [203, 211, 206, 199]), (40, [187, 181, 190, 185, 183])]
TIGHT = [(0, [262, 262, 263]), (20, [281, 281, 280]), (41, [297, 298], [300, 300])]
EDGE = [(0, [262, 263, 262, 262]), (30, [299, 300], [300, 300])]
TWO = [(0, [], [300] * 4), (21, [], [300] * 3), (50, [271, 280, 277])]
ALL = [(0, [], [300] * 4), (21, [], [300] * 4)]
NEWEST_BARE = [(0, [250, 262, 257]), (28, [], [300] * 4)]
LOW = [(0, [118, 112, 121]), (20, [], [], [60] * 3), (45, [74, 66], [], [60])]
BOTH = [(0, [160, 150, 149]), (30, [210, 190, 185], [220], [170])]
SEVERE = [(0, [], [260] * 4), (9, [], [260] * 4), (30, [178, 170, 181]), (60, [166, 171, 160])]
THREE = [(0, [], [260] * 3), (14, [], [260] * 3), (40, [], [260] * 3), (70, [255, 251], [260])]
CASES = [
    case("mixed_in_the_newest", MIXED),
    case("mixed_in_the_newest_treated", MIXED, 14),
    case("in_an_older_session", OLDER),
    case("in_an_older_session_treated", OLDER, 0),
    case("low_reading_sd", TIGHT),
    case("low_reading_sd_treated", TIGHT, 20),
    case("readings_at_the_edge", EDGE),
    case("two_sessions_without_a_number", TWO),
    case("nothing_but_bounds", ALL),
    case("newest_without_a_number", NEWEST_BARE),
    case("newest_without_a_number_treated", NEWEST_BARE, 0),
    case("below_the_gauge", LOW),
    case("bounds_at_both_ends", BOTH),
    case("two_without_a_number_then_treated", SEVERE, 9),
    case("fixed_reading_sd_of_1", TIGHT, fixed=(11, 1, 6)),
    case("fixed_two_without_a_number", TWO, fixed=(11, 7, 6)),
    case("fixed_nothing_but_bounds", ALL, fixed=(11, 7, 6)),
    case("fixed_nothing_but_bounds_treated", ALL, 0, fixed=(11, 7, 6)),
    case("fixed_two_without_a_number_then_treated", SEVERE, 9, fixed=(11, 7, 6)),
    case("fixed_three_without_a_number", THREE[:3], fixed=(11, 7, 6)),
    case("fixed_three_without_a_number_treated", THREE[:3], 14, fixed=(11, 7, 6)),
    case("fixed_below_the_gauge", LOW, fixed=(8, 5, 4)),
]
if __name__ == "__main__":
    place = Path(__file__).with_name("cases.json")
    place.write_text(json.dumps(CASES, indent=1) + "\n")
