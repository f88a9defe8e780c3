"""How often the intervals of bias and limits hold the truth, with unequal replicates.

Worlds drawn from the model: animals 18, animal × method 5 and 7, readings 6 and 9 mmHg, bias 4,
two to five readings by each method. `python coverage.py [worlds]` prints shares in per cent.
"""

from __future__ import annotations

import sys

import numpy as np

from bpvet.maths.agreement.comparison import BLAND_ALTMAN, LIMIT, MOVER, SATTERTHWAITE, about
from bpvet.maths.agreement.comparison import component_limits as limits_of
from bpvet.maths.agreement.components import DIFFERENCE_TERMS, components
from bpvet.maths.agreement.restricted import Cells

BIAS, OWN, READING = 4.0, (5.0, 7.0), (6.0, 9.0)
SPREAD = float(np.sqrt(sum(sd**2 for sd in (*OWN, *READING))))
TRUE_LIMITS = (BIAS - LIMIT * SPREAD, BIAS + LIMIT * SPREAD)


def world(rng: np.random.Generator, animals: int) -> Cells:
    rows = []
    for animal in range(animals):
        level, own = rng.normal(150, 18), rng.normal(0, OWN)
        for method in (0, 1):
            count = int(rng.integers(2, 6))
            mean = level + own[method] + BIAS * method
            y = mean + rng.normal(0, READING[method], count)
            rows.append((y.mean(), count, np.sum((y - y.mean()) ** 2), animal, method))
    table = np.array(rows)
    animal_codes, method_codes = table[:, 3].astype(int), table[:, 4].astype(int)
    return Cells(*table[:, :3].T, animal_codes, method_codes, animal_codes, animal_codes)


def held(animals: int, worlds: int) -> tuple[float, float, float, float]:
    """Return coverage of bias, of limits by both kinds of interval, and boundary fits, shares."""
    rng = np.random.default_rng(animals)
    found = np.zeros(4)
    for _ in range(worlds):
        fit = components(world(rng, animals))
        estimate, se, df = fit.bias
        df = df if np.isfinite(df) else animals - 1
        bias = about(estimate, se, df, 0.95, SATTERTHWAITE)
        found[0] += (bias.lower or 0) < BIAS < (bias.upper or 0)
        variance = fit.sum_of(dict.fromkeys(DIFFERENCE_TERMS, 1.0))
        for place, how in ((1, BLAND_ALTMAN), (2, MOVER)):
            both = limits_of((estimate, se, df), variance, 0.95, how)
            for ours, true in zip(both, TRUE_LIMITS, strict=True):
                found[place] += ((ours.lower or 0) < true < (ours.upper or 0)) / 2
        found[3] += bool(fit.at_zero)
    bias_share, plain, better, zero = (100 * found / worlds).tolist()
    return bias_share, plain, better, zero


if __name__ == "__main__":
    worlds = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    print("animals     bias   Bland–Altman    MOVER   fits with a zero, %")
    for animals in (8, 15, 40):
        bias, plain, better, zero = held(animals, worlds)
        print(f"{animals:7d} {bias:8.1f} {plain:14.1f} {better:8.1f} {zero:10.1f}")
