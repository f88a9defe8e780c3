"""The published figures of urgent lines and of the recheck rule, as sections of the page."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from reference_checks.coverage.patients import (
    EXCITEMENT,
    HARD_VISIT_SD,
    VISIT_SD,
    WANDER_SD,
)

Found = Mapping[str, Any]
#: Urgent lines in 100 visits that are hoped for, at most.
GOALS = {"nominal": 2.0, "harder": 5.0}
HEADING = "\n## Urgent lines in animals that are well\n"
_BUDGET = {
    "nominal": "nominal",
    "harder": "harder: visit SD 14, tails of t3",
    "nominal_words": "nominal, with past reactions and words",
    "harder_words": "harder, with past reactions and words",
}
_EVENTS = {"events": "nominal", "events_harder": "harder"}
_EVENT = {"rise": "rises to 190 to 200", "fall": "falls to 85 to 95 on a drug", "sign": "a sign"}
_COST = {
    "clinic": ("nominal clinic", "the rule, middle of the window"),
    "clinic_latest": ("nominal clinic", "the rule, its latest day"),
    "clinic_30": ("nominal clinic", "every 30 days"),
    "clinic_90": ("nominal clinic", "every 90 days"),
    "clinic_180": ("nominal clinic", "every 180 days"),
    "hard": ("hard to control", "the rule, middle of the window"),
    "hard_latest": ("hard to control", "the rule, its latest day"),
    "hard_30": ("hard to control", "every 30 days"),
    "hard_90": ("hard to control", "every 90 days"),
    "hard_180": ("hard to control", "every 180 days"),
}


def sections(found: Found) -> str:
    """Return the sections, from what `safety.json` holds."""
    return f"{HEADING}\n{_budget(found)}\n\n{_delays(found)}\n\n{_cost(found)}\n"


def goal_of(key: str) -> float:
    """Return the goal of a world of the alarm budget, urgent lines in 100 visits."""
    return GOALS[key.removesuffix("_words")]


def _budget(found: Found) -> str:
    rows = ["| world | animals | visits | urgent lines in 100 visits | goal | by rule |", _bar(6)]
    for key, words in _BUDGET.items():
        for one in found[key]:
            rules = ", ".join(f"{rule} {n}" for rule, n in _most(one["rules"])) or "none"
            cells = (
                f"{words}; {one['who']}",
                one["animals"],
                one["visits"],
                f"{one['per_100']:.1f} ± {one['se']:.1f}",
                f"≤ {goal_of(key):g}",
                rules,
            )
            rows.append(_row(cells))
    return (
        "Written by `python -m reference_checks.coverage.safety_run` "
        f"({found['animals']} animals a world, {found['days']} days); the worlds are in\n"
        "`patients.py` and `clinic.py`. Each animal comes when the rule of rechecks asks, at the "
        "middle of the window. At each visit its\n"
        "records up to then go the whole way: frames, sessions, trends, urgent lines. Counted are "
        "visits on which the true usual\n"
        "pressure lies at 120 to 150; a line is counted at every visit at which it is said. "
        "After ± stands one standard error.\n\n"
        "Two cats to a dog, 3 to 17 years old, three in five by Doppler, a half on a drug from "
        "the first visit on. Sizes are published\n"
        f"ones: levels of healthy animals by species, method and age, 154 ± 17 on a drug; visit SD "
        f"{VISIT_SD:g}, slow wander {WANDER_SD:g}, readings 9 (Doppler)\n"
        f"and 13.3 (oscillometer); the first visits stand {EXCITEMENT['cat'][0]:g} ± "
        f"{EXCITEMENT['cat'][1]:g} (cats) or {EXCITEMENT['dog'][0]:g} ± {EXCITEMENT['dog'][1]:g} "
        "(dogs) higher and settle over 1.5 visits. The harder world\n"
        f"has visit SD {HARD_VISIT_SD:g} and t-distributed visits and readings (3 df). With past "
        "reactions and words: creatinine 60 % higher after\n"
        "the drug began in a third of the treated; words unread or unclear at one visit in ten, "
        "weak ones at one in twenty.\n\n"
        + "\n".join(rows)
        + "\n\n"
        + "\n".join(f"- {one}" for one in judged(found))
    )


def judged(found: Found) -> list[str]:
    """Return a sentence a world: whether the goal is met, and which rule says most."""
    told = []
    for key, words in _BUDGET.items():
        whole, goal = found[key][0], goal_of(key)
        missed = [
            f"{one['who']} {one['per_100']:.1f}" for one in found[key] if one["per_100"] > goal
        ]
        verdict = f"goal missed ({'; '.join(missed)})" if missed else "goal met"
        most = _most(whole["rules"])
        share = f"`{most[0][0]}` says {most[0][1]} of {whole['lines']} lines" if most else "no line"
        told.append(
            f"{words}: {verdict}; {share}; {whole['lines_at_first_two_visits']} at an animal's "
            "first two visits."
        )
    return told


def _delays(found: Found) -> str:
    rows = [
        "| world | what begins | animals | told within two years | told at the first visit | "
        "visits, median (90th percentile) | days, median (90th percentile) |",
        _bar(7),
    ]
    for key, words in _EVENTS.items():
        for one in found[key]:
            cells = (
                words,
                _EVENT[one["event"]],
                one["animals"],
                f"{one['told_percent']:.0f} %",
                f"{one['first_visit_percent']:.0f} %",
                _two(one["visits"]),
                _two(one["days"]),
            )
            rows.append(_row(cells))
    return (
        "## From becoming urgent to the first urgent line\n\n"
        "The same animals, of which each becomes urgent between day 150 and 350. Counted from the "
        "day on which the usual pressure passes\n"
        "180 or 100, or the sign's first day (it is written down at the next visit, in ten "
        "wordings), to the visit at which a line says so:\n"
        "`severe`; `low` or `low_on_treatment`; `sign_current` or `sign_open`. No owner comes "
        "sooner than the rule asks, so the days are those of\n"
        "the rule's windows; an owner who sees something comes sooner.\n\n" + "\n".join(rows)
    )


def _cost(found: Found) -> str:
    rows = [
        "| clinic | visits | visits a year, median (90th percentile) | mean | treated | untreated |"
        " wait after a visit above target, days | wait on any day above target, days | days above "
        "target |",
        _bar(9),
    ]
    for key, (clinic, visits) in _COST.items():
        one = found[key][0]
        cells = (
            clinic,
            visits,
            _two(one["visits_a_year"], 1),
            f"{one['mean']:.1f} ± {one['se']:.1f}" if "_" not in key else f"{one['mean']:.1f}",
            _two(one["treated"], 1),
            _two(one["untreated"], 1),
            _two(one["wait_after_a_visit"]),
            _two(one["wait_on_any_day"]),
            f"{one['days_above_percent']:.0f} %",
        )
        rows.append(_row(cells))
    states = []
    for key in ("clinic", "hard"):
        of = found[key][0]["states"]
        total = sum(of.values())
        named = ", ".join(f"{name} {100 * n / total:.0f} %" for name, n in _most(of)[:6])
        states.append(f"- {_COST[key][0]}: windows by state: {named}.")
    return (
        "## What the rule of rechecks costs\n\n"
        "Nominal clinic: cats of seven years and more log-normal about 145 (in practice the median "
        "is 150, a fifth lie at 180 or more),\n"
        "the others as above. Hard to control: usual pressure about 188 without a drug, and a drug "
        "takes 8 ± 6 off. Kidney stages: a half none,\n"
        "a third 1 or 2, a sixth 3 or 4. The vet begins a drug, or adds to it (three times at "
        "most), after two sessions in a row of 160 or more,\n"
        "and takes half of it back after one below 100. Above target: a true usual pressure above "
        "160. A wait is the days to the next visit:\n"
        "after a visit above target, and on any day above target. Each is median (90th percentile)."
        "\n\n" + "\n".join(rows) + "\n\n" + "\n".join(states)
    )


def _most(counts: Mapping[str, int]) -> list[tuple[str, int]]:
    return sorted(counts.items(), key=lambda one: -one[1])


def _two(pair: list[float | None], digits: int = 0) -> str:
    middle, high = pair
    return "–" if middle is None else f"{middle:.{digits}f} ({high:.{digits}f})"


def _row(cells: tuple[object, ...]) -> str:
    return "| " + " | ".join(str(one) for one in cells) + " |"


def _bar(columns: int) -> str:
    return "|" + "---|" * columns
