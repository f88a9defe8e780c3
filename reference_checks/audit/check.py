"""Lay the audit's statistics beside answers from outside; print the worst differences."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from itertools import product
from pathlib import Path

import numpy as np
import pandas as pd

from bpvet.maths.crossed import crossed
from bpvet.maths.digits import end_digits

HERE = Path(__file__).parent
#: Absolute: what two optimisers found, and shares counted one by one.
FOUND, COUNTED = 1e-8, 1e-12
#: Relative: a p of a likelihood ratio. Ours without operators has a variance of e^-20, not of 0.
RATIO = 1e-5

#: What is compared, the difference, and its tolerance.
Row = tuple[str, float, float]


def operator_rows() -> Iterator[Row]:
    """Animals and operators crossed, by lme4."""
    frame = pd.read_csv(HERE / "operators.csv", dtype={"animal": str})
    theirs = json.loads((HERE / "operators.json").read_text())
    animal = pd.factorize(frame["animal"])[0]
    operator, names = pd.factorize(frame["operator"], sort=True)
    columns = np.column_stack([np.ones(len(frame)), frame["home"]])
    fit = crossed(frame["y"], 0 * frame["y"], columns, animal, operator)
    assert names.tolist() == theirs["operators"]
    yield "log-likelihood", abs(fit.log_likelihood - theirs["loglik_reml"]), FOUND
    ours = {"animal": fit.animal_sd, "operator": fit.operator_sd, "Residual": fit.session_sd}
    for name, sd in ours.items():
        yield "SDs", abs(sd - theirs["sd"][name]), FOUND
    yield "operators' effects", float(np.abs(fit.effect - theirs["effects"]).max()), FOUND
    yield "p of operators", abs(fit.p / theirs["p_operators"] - 1), RATIO


def digit_rows() -> Iterator[Row]:
    """The exact end-digit test, one turn after another."""
    rng = np.random.default_rng(1)
    for step, sessions in ((2, 4), (2, 5), (1, 3)):
        session = np.repeat(np.arange(sessions), 3)
        values = step * rng.integers(120 // step, 180 // step, session.size)
        ours = end_digits(values, session, step)
        yield "end digits, exact p", abs((ours.p or 0) - counted(values, session, step)), COUNTED


def counted(values: np.ndarray, session: np.ndarray, step: int) -> float:
    def uneven(readings: np.ndarray) -> float:
        shown = [int(np.sum(readings % 10 == digit)) for digit in range(0, 10, step)]
        fair = len(readings) / len(shown)
        return sum((count - fair) ** 2 / fair for count in shown)

    observed, hits, all_ways = uneven(values), 0, 0
    for turns in product(range(0, 10, step), repeat=int(session.max()) + 1):
        all_ways += 1
        hits += uneven(values + np.array(turns)[session]) >= observed - 1e-9
    return hits / all_ways


def main() -> int:
    worst: dict[str, tuple[float, float]] = {}
    for kind, difference, tolerance in (*operator_rows(), *digit_rows()):
        worst[kind] = (max(difference, worst.get(kind, (0.0, 0.0))[0]), tolerance)
    print(f"{'compared':42} {'worst difference':>16} {'tolerance':>10}")
    for kind, (difference, tolerance) in worst.items():
        over = "" if difference <= tolerance else "  EXCEEDED"
        print(f"{kind:42} {difference:16.1e} {tolerance:10.0e}{over}")
    return int(any(difference > tolerance for difference, tolerance in worst.values()))


if __name__ == "__main__":
    sys.exit(main())
