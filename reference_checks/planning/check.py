"""The usual two-sample formula against base R and statsmodels; a plan against animals fitted.

    python reference_checks/planning/check.py

prints the worst difference of each kind beside its tolerance, and ends with status 1 if one is
exceeded. `answers.R` wrote `power.csv`. The plan is laid beside a thousand simulated animals
that go through the whole engine; `realised.py` does so with more, for more schedules.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from statsmodels.stats.power import TTestIndPower

sys.path.insert(0, str(Path(__file__).parents[2]))

from bpvet.facts.priors.priors import Priors
from bpvet.models.plan.plan import plan
from bpvet.models.plan.sample_size import formula_animals, formula_power
from bpvet.models.plan.schedule import Schedule
from reference_checks.planning.realised import new_animals

HERE = Path(__file__).parent
ANIMALS = 1000

#: What is compared, the difference, and its tolerance.
Row = tuple[str, float, float]


def r_rows() -> Iterator[Row]:
    """Sizes and powers of base R."""
    with (HERE / "power.csv").open(encoding="utf-8") as file:
        table = np.genfromtxt(file, delimiter=",", names=True, comments="#", skip_header=1)
    for row in table:
        difference, sd, level = row["delta"], row["sd"], row["sig"]
        count = formula_animals(difference, sd, row["power"], level)
        yield "animals an arm, R", abs(count - row["n"]), 0.0
        reached = formula_power(difference, sd, int(row["n"]), level)
        yield "power, R", abs(reached - row["reached"]), 1e-9


def statsmodels_rows() -> Iterator[Row]:
    """Powers of statsmodels, for arms of two to thousands."""
    outside = TTestIndPower()
    for size in (0.01, 0.1, 0.35, 0.75, 1.5, 3.0):
        for count in (2, 3, 7, 20, 64, 500, 4000):
            for level in (0.001, 0.05, 0.2):
                theirs = outside.power(size, count, level)
                ours = formula_power(size, 1.0, count, level)
                yield "power, statsmodels", abs(ours - theirs), 1e-9


def study_rows() -> Iterator[Row]:
    """Simulated power where all animals are alike, in its standard errors."""
    alike = Priors.default("dog", "oscillometric")
    known = Priors(
        alike.level, alike.slope_sd, alike.effect_sd, alike.increment_sd,
        *((pair[0], 1e-6) for pair in (alike.sv, alike.sr, alike.sw)),
    )  # fmt: skip
    for visits, count in ((2, 40), (4, 20), (8, 60)):
        found = plan(known, visits).study(15.0, animals=count, replicates=20_000)
        theirs = TTestIndPower().power(found.difference / found.sd, count, 0.05)
        yield (
            "simulated power, in standard errors",
            abs(found.power - theirs) / found.power_error,
            4,
        )


def realised_rows() -> Iterator[Row]:
    """Animals through the whole engine: per cent above or below the plan."""
    cat = Priors.default("cat", "doppler")
    for visits in (2, 6):
        held = plan(cat, visits).usual
        found = new_animals(cat, Schedule(visits, 5, 7), ANIMALS)
        yield "SD realised, per cent off the plan", 100 * abs(found.sd / held.sd - 1), 8.0
        off = 100 * abs(found.half_width / held.half_width - 1)
        yield "half-width realised, per cent off", off, 6.0


def main() -> int:
    worst: dict[str, tuple[float, float]] = {}
    for rows in (r_rows, statsmodels_rows, study_rows, realised_rows):
        for kind, difference, tolerance in rows():
            worst[kind] = (max(difference, worst.get(kind, (0.0, 0.0))[0]), tolerance)
    print(f"{'compared':40} {'worst difference':>16} {'tolerance':>10}")
    for kind, (difference, tolerance) in worst.items():
        over = "" if difference <= tolerance else "  EXCEEDED"
        print(f"{kind:40} {difference:16.2g} {tolerance:10.2g}{over}")
    return int(any(difference > tolerance for difference, tolerance in worst.values()))


if __name__ == "__main__":
    sys.exit(main())
