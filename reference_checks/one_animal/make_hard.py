"""The hard records of the model's definition with dense answers, by the twin of `answers/`.

    python reference_checks/one_animal/make_hard.py

writes `hard.json` (minutes).
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from reference_checks.answers.dense import Animal, Session, posterior

HERE = Path(__file__).parent


def records() -> dict[str, list[tuple[int, list[float]]]]:
    """Return days and readings of each record."""
    rng = np.random.default_rng(20265)
    wander = [0.0]
    for _ in range(39):
        kept = float(np.exp(-25 / 60))
        wander.append(kept * wander[-1] + 40 * float(np.sqrt(1 - kept**2)) * rng.normal())

    def drawn(centres: Any, gap: int, sr: float, count: int = 5) -> list[tuple[int, list[float]]]:
        return [
            (i * gap, [round(float(centre + sr * rng.normal()), 1) for _ in range(count)])
            for i, centre in enumerate(centres)
        ]

    return {
        "one session of 330": [(0, [330.0, 329.0, 331.0])],
        "two at 110 and 260": [(0, [110.0, 112.0, 108.0]), (30, [260.0, 262.0, 258.0])],
        "five alternating 40 either way": [
            (20 * i, [140.0 + 40 * (-1) ** i + off for off in (0.0, 4.0, -3.0, 2.0)])
            for i in range(5)
        ],
        "forty with sv 30": drawn(150 + 30 * rng.normal(size=40), 25, 7),
        "forty with sw 40": drawn(150 + np.array(wander) + 8 * rng.normal(size=40), 25, 7),
        "forty identical readings": [(0, [150.0] * 40)],
        "twelve equal sessions": [(14 * i, [150.0, 152.0, 148.0, 151.0, 149.0]) for i in range(12)],
        "sr 0.5": drawn(150 + 9 * rng.normal(size=8), 20, 0.5),
        "sr 40": drawn(150 + 9 * rng.normal(size=8), 20, 40),
    }


def made(name: str, sessions: list[tuple[int, list[float]]]) -> dict[str, Any]:
    """Return a record with its dense answers."""
    animal = Animal(tuple(Session(day, tuple(held)) for day, held in sessions), rule="all")
    dense = posterior(animal, boxed=True)
    t0, first = animal.t0, animal.sessions[0].day
    asked = {
        f"usual_pressure_day_{day}": dense.usual(day) for day in dict.fromkeys((first, t0, t0 + 60))
    }
    asked["slope_per_30_days"] = dense.coefficient(1)
    answers = {
        key: {
            "mean": one.mean,
            "sd": one.sd,
            "quantiles_025_500_975": [one.quantile(p) for p in (0.025, 0.5, 0.975)],
            "p_at_or_below_160": one.below(160.0),
        }
        for key, one in asked.items()
    }
    return {
        "name": name,
        "t0_day": t0,
        "sessions": [{"day": day, "readings": held} for day, held in sessions],
        "log_evidence": dense.log_evidence,
        "answers": answers,
    }


def main() -> None:
    """Write the records with their answers."""
    text = ",\n".join(json.dumps(made(name, held)) for name, held in records().items())
    (HERE / "hard.json").write_text(f"[\n{text}\n]\n", encoding="utf-8")


if __name__ == "__main__":
    main()
