"""More treated records with dense answers, by the slow twin of `reference_checks/answers`.

    python reference_checks/treated/more.py

writes `more.json`: bridged and treated; two drugs begun on one day; another drug begun with none
on; a drug begun while another is on. The same names of answers as in the other files.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

from reference_checks.answers.dense import Animal, Answer, Dense, Session, Spell, posterior

HERE = Path(__file__).parent
FIXED = (10.0, 6.5, 6.0)
NEXT_DAYS, NEXT_READINGS = 28, 5


def cases() -> dict[str, Animal]:
    """Return the records by name."""
    bridged = Animal(
        (
            Session(0, (191, 186, 194, 189)),
            Session(0, (197, 188, 201, 190, 195), "oscillometric"),
            Session(21, (178, 171, 183, 175, 169), "oscillometric"),
            Session(45, (158, 163, 155, 160)),
            Session(80, (161, 150, 158, 164, 155), "oscillometric"),
            Session(120, (149, 156, 151, 147, 153)),
        ),
        (Spell("amlodipine", 10),),
        rule="all",
    )
    home = Animal(
        (
            Session(0, (176, 183, 179, 181)),
            Session(3, (158, 163, 155), condition="home"),
            Session(24, (141, 136, 147), condition="home"),
            Session(30, (151, 157, 149, 154)),
            Session(75, (139, 144, 137), condition="home"),
        ),
        (Spell("telmisartan", 4),),
        rule="all",
    )
    together = Animal(
        (
            Session(0, (205, 211, 203, 208)),
            Session(14, (168, 161, 172, 165)),
            Session(49, (155, 151, 158, 149)),
        ),
        (Spell("amlodipine", 0), Spell("benazepril", 0)),
        rule="all",
    )
    another = Animal(
        (
            Session(0, (187, 192, 183, 189)),
            Session(20, (181, 176, 185, 179)),
            Session(60, (171, 178, 169, 174)),
            Session(90, (185, 190, 182, 187)),
            Session(110, (156, 151, 159, 153)),
            Session(150, (149, 154, 147, 151)),
        ),
        (Spell("benazepril", 0, 62), Spell("amlodipine", 90)),
        rule="all",
    )
    added = Animal(
        (
            Session(0, (212, 205, 216, 209)),
            Session(21, (181, 174, 186, 178)),
            Session(50, (176, 183, 171, 179)),
            Session(71, (161, 155, 166, 158)),
            Session(110, (152, 157, 149, 155)),
        ),
        (Spell("amlodipine", 0), Spell("telmisartan", 50)),
        rule="all",
    )
    stopped = Animal(
        (
            Session(0, (176, 171, 181, 174)),
            Session(30, (151, 146, 155, 149)),
            Session(62, (143, 149, 139, 146)),
            Session(75, (168, 173, 164, 171)),
        ),
        # Begun while the other is on, which stops afterwards: on the very day it would not be on.
        (Spell("amlodipine", 5, 70), Spell("telmisartan", 40, 70)),
        rule="all",
    )
    return {
        "bridged_methods_and_treated": bridged,
        "bridged_conditions_and_treated": home,
        "two_drugs_begun_on_one_day": together,
        "another_drug_begun_with_none_on": another,
        "a_drug_begun_while_another_is_on": added,
        "both_stopped_on_one_day": stopped,
    }


def as_one(animal: Animal) -> Animal:
    """Return the animal with spells of the same first and last day as one, of the longer tau."""
    spells: dict[tuple[int, int | None], Spell] = {}
    for one in animal.spells:
        held = spells.get((one.start, one.stop))
        if held is None or held.time < one.time:
            spells[one.start, one.stop] = one
    return Animal(animal.sessions, tuple(spells.values()), animal.species, animal.rule)


def _numbers(one: Answer, at: tuple[tuple[str, float], ...] = ()) -> dict[str, Any]:
    out: dict[str, Any] = {
        "mean": one.mean,
        "sd": one.sd,
        "quantiles_025_500_975": [one.quantile(p) for p in (0.025, 0.5, 0.975)],
    }
    return out | {name: one.below(value) for name, value in at}


def _answers(dense: Dense) -> dict[str, Any]:
    animal = dense.animal
    t0, latest = animal.t0, animal.sessions[-1]
    lowered = (("p_lower_by_10", -10.0), ("p_lower_at_all", 0.0))
    out: dict[str, Any] = {
        "log_evidence_of_all_readings": dense.log_evidence,
        "log_evidence_by_group": list(dense.log_by_group),
    }
    for day in (t0, animal.sessions[1].day, t0 + 60):
        below = (("p_at_or_below_160", 160.0),)
        out[f"usual_pressure_day_{day}"] = _numbers(dense.usual(day), below)
    out["level_untreated_at_t0"] = _numbers(dense.coefficient(0))
    out["slope_per_30_days"] = _numbers(dense.coefficient(1))
    for i in range(len(animal.spells)):
        out[f"full_effect_of_spell_{i + 1}"] = _numbers(dense.effect(i), lowered)
        out[f"effect_now_of_spell_{i + 1}"] = _numbers(dense.effect(i, now=True))
    out["first_visit_excitement"] = _numbers(dense.coefficient(2 + len(animal.columns)))
    for i, name in enumerate(animal.joins):
        out[f"join_{name}"] = _numbers(dense.coefficient(3 + len(animal.columns) + i))
    visit = -1 if latest.condition == "home" else max(animal.visits) + 1
    ahead = dense.session(t0 + NEXT_DAYS, NEXT_READINGS, visit, latest)
    out["next_session_mean"] = _numbers(ahead)
    return out


def made(name: str, animal: Animal) -> dict[str, Any]:
    """Return a case with its answers, in the shape of the other files."""
    joined = as_one(animal)
    return {
        "name": name,
        "quantity": "systolic",
        "t0_day": animal.t0,
        "bridge": ["methods", "conditions"] if animal.joins else [],
        "courses": [
            {
                "drug": one.drug,
                "kind": "base",
                "spell": i + 1,
                "start_day": one.start,
                "stop_day": one.stop,
                "tau_days": one.time,
            }
            for i, one in enumerate(animal.spells)
        ],
        "sessions": [
            {
                "day": one.day,
                "readings": list(one.readings),
                "method": one.method,
                "condition": one.condition,
            }
            for one in animal.sessions
        ],
        "fixed_parameters": dict(zip(("sv", "sr", "sw"), FIXED, strict=True)),
        "next_session": {"day": animal.t0 + NEXT_DAYS, "readings": NEXT_READINGS},
        "answers_with_fixed_parameters": _answers(posterior(joined, FIXED)),
        "answers_with_sds_integrated_out": _answers(posterior(joined)),
    }


def main() -> None:
    """Write the cases with their answers."""
    content = [made(name, animal) for name, animal in cases().items()]
    text = json.dumps(content, indent=1)
    (HERE / "more.json").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
