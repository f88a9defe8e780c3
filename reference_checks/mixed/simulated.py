"""Simulated cohorts, boundary ones included: does every fit reach the best optimum there is?

The slow twin starts a quasi-Newton search, on plain factors and SDs, from many random places.

    OMP_NUM_THREADS=1 python -m reference_checks.mixed.simulated --cohorts 1000
"""

from __future__ import annotations

import argparse
import sys
import time
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import minimize

from bpvet.errors import FitError
from bpvet.mixed.cohort import Cohort, fit_cohort
from bpvet.mixed.contributions import Variances
from bpvet.mixed.criterion import Criterion
from bpvet.mixed.parametrisation import Parametrisation, full_parametrisation

Array = NDArray[np.float64]
FORMULA = "systolic ~ months + method"


class Result(NamedTuple):
    """How far our optimum lies above the twin's (below zero: ours is better)."""

    above: float
    boundary: bool
    animals: int
    steps: int


def cohort(seed: int) -> tuple[pd.DataFrame, dict[str, Any]]:
    """Return the readings of an invented cohort of 20 to 200 animals, and how to fit them."""
    rng = np.random.default_rng(seed)
    animals = int(rng.integers(20, 201))
    number = rng.integers(1, 7, animals)
    number[:3] = 5
    animal = np.repeat(np.arange(animals), number)
    n = len(animal)
    months = rng.uniform(0, 12, n)
    method = rng.integers(0, 2, n)
    # A third of the SDs are zero and a third small, so that boundaries are common.
    sds = rng.choice([0.0, 0.3, 1.0], 4) * np.array([12.0, 1.5, 8.0, 1.0])
    rho = rng.choice([-1.0, -0.5, 0.0, 0.8])
    level = rng.normal(size=animals)
    tilt = rho * level + np.sqrt(1 - rho**2) * rng.normal(size=animals)
    wide = np.where(method == 1, 1.6, 1.0)
    middle = 150 + sds[0] * level[animal] + sds[1] * tilt[animal] * months + 4 * method
    middle = middle + sds[2] * rng.normal(size=n) * wide + sds[3] * rng.normal(size=5)[animal % 5]
    count = rng.integers(1, 6, n)
    row = np.repeat(np.arange(n), count)
    frame = pd.DataFrame(
        {
            "animal": animal[row],
            "clinic": animal[row] % 5,
            "session": row,
            "months": months[row],
            "method": np.where(method == 1, "oscillometric", "doppler")[row],
            "systolic": middle[row] + 6 * rng.normal(size=len(row)) * wide[row],
        }
    )
    models: list[dict[str, Any]] = [
        {},
        {"slope": "months"},
        {"slope": "months", "correlated": False},
        {"residual_by": "method"},
        {"slope": "months", "visit_by": "method", "residual_by": "method"},
        {"group": "clinic"},
    ]
    options = models[seed % len(models)] | {"reml": bool(rng.integers(2))}
    return frame, options


def twin(fit: Cohort, starts: int, seed: int) -> float:
    """Return the lowest criterion (on the scale of the moments) from many random starts."""
    criterion, rng = fit.likelihood, np.random.default_rng(seed)
    q = criterion.random
    rows, columns = np.tril_indices(q) if fit.correlated else (np.arange(q), np.arange(q))
    scalars = int(criterion.grouped) + criterion.visits + criterion.residuals
    start_chart = full_parametrisation(q, True, scalars, criterion.grouped, criterion.visits)
    patterns = np.zeros((len(rows), q, q))
    patterns[range(len(rows)), rows, columns] = 1.0
    best = np.inf
    for _ in range(starts):
        size = rng.choice([0.05, 0.4, 1.0], len(rows) + scalars)
        theta = rng.normal(size=len(size)) * size
        theta[-criterion.residuals :] = rng.uniform(0.2, 1.0, criterion.residuals)
        found = minimize(
            _plain,
            theta,
            args=(criterion, start_chart, patterns),
            jac=True,
            method="BFGS",
            options={"gtol": 1e-8, "maxiter": 400},
        )
        best = min(best, float(found.fun))
    return best


def _plain(
    theta: Array, criterion: Criterion, chart: Parametrisation, patterns: Array
) -> tuple[float, Array]:
    """Return criterion and gradient in plain entries of L and plain SDs."""
    entries = len(patterns)
    factor = np.einsum("f,fij->ij", theta[:entries], patterns)
    sds = theta[entries:]
    rest = sds[1:] if criterion.grouped else sds
    squares = rest**2
    group = float(sds[0] ** 2) if criterion.grouped else 0.0
    visits = criterion.visits
    residual = np.maximum(squares[visits:], 1e-12)
    variances = Variances(factor, group, squares[:visits], residual)
    try:
        value = criterion.value(variances)
    except FitError:
        return 1e10, np.zeros(len(theta))
    slope = criterion.derivatives(variances, value).gradient
    lower = np.tril_indices(criterion.random)
    changes = [pattern @ factor.T + factor @ pattern.T for pattern in patterns]
    inner = [float(change[lower] @ slope[: len(lower[0])]) for change in changes]
    return value.criterion, np.concatenate([inner, 2.0 * sds * slope[len(lower[0]) :]])


def checked(seed: int, starts: int = 8) -> Result:
    """Return how one simulated cohort's fit stands beside its twin."""
    frame, options = cohort(seed)
    fit = fit_cohort(frame, FORMULA, **options)
    above = fit.point.value.criterion - twin(fit, starts, seed)
    return Result(above, fit.boundary, fit.n_animals, fit.outcome.steps)


def main() -> int:
    """Return 0 where every fit is within 1e-6 of its twin, or better."""
    parser = argparse.ArgumentParser(description=__doc__, allow_abbrev=False)
    parser.add_argument("--cohorts", type=int, default=1000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--starts", type=int, default=8)
    chosen = parser.parse_args()
    begin, results, failures = time.time(), [], []
    for seed in range(chosen.first, chosen.first + chosen.cohorts):
        try:
            results.append((checked(seed, chosen.starts), seed))
        except FitError as error:
            failures.append((seed, str(error)))
    worst = max(results)
    behind = [(seed, result.above) for result, seed in results if result.above > 1e-6]
    boundary = sum(result.boundary for result, _ in results)
    print(
        f"{len(results)} cohorts fitted, {boundary} on a boundary, {len(failures)} refused; "
        f"worst above the twin {worst[0].above:.1e} (tolerance 1e-06, seed {worst[1]}); "
        f"behind: {behind or 'none'}; {time.time() - begin:.0f} s"
    )
    for seed, message in failures:
        print(f"seed {seed}: {message}")
    return int(bool(behind or failures))


if __name__ == "__main__":
    sys.exit(main())
