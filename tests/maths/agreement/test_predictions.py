"""Each animal's own difference: the plain dense formula, and a hand-worked balanced case."""

from __future__ import annotations

import numpy as np
import pytest

from bpvet.maths.agreement.components import components
from bpvet.maths.agreement.predictions import animal_differences
from bpvet.maths.agreement.restricted import Cells


def cells(seed: int, animals: int = 6) -> Cells:
    """Return two to four cells of one to three readings by each of two conditions."""
    rng = np.random.default_rng(seed)
    rows = []
    for animal in range(animals):
        level, own = rng.normal(150, 15), rng.normal(0, 8, 2)
        for which in (0, 1):
            for _ in range(rng.integers(2, 5)):
                count = int(rng.integers(1, 4))
                y = level + own[which] - 15 * which + rng.normal(0, 6) + rng.normal(0, 5, count)
                rows.append((y.mean(), count, np.sum((y - y.mean()) ** 2), animal, which))
    table = np.array(rows)
    codes = table[:, 3].astype(int), table[:, 4].astype(int), np.arange(len(rows))
    return Cells(table[:, 0], table[:, 1], table[:, 2], *codes, codes[2])


@pytest.mark.parametrize("seed", [1, 4])
def test_like_the_dense_formula(seed: int) -> None:
    data = cells(seed)
    fit = components(data)
    of = {term: np.maximum(fit.of(term), 0.0) for term in fit.terms}
    same = data.animal[:, None] == data.animal[None, :]
    v = of["animal"] * same
    x = np.zeros((data.mean.size, 2))
    for m, name in enumerate(("first", "second")):
        rows = data.method == m
        x[rows, m] = 1
        v = v + of[f"animal × {name}"] * (same & rows[:, None] & rows[None, :])
        extra = of.get(f"visit × {name}", 0.0) + of[f"reading by {name}"] / data.count
        v[np.diag_indices_from(v)] += np.where(rows, extra, 0.0)
    w = np.linalg.inv(v)
    beta = np.linalg.solve(x.T @ w @ x, x.T @ w @ data.mean)
    codes, difference, variance = animal_differences(data, fit)
    assert codes.tolist() == list(range(6))
    for code, value, spread in zip(codes, difference, variance, strict=True):
        own = np.where(data.method == 1, of["animal × second"], -of["animal × first"])
        c = own * (data.animal == code)
        rest = np.array([-1, 1]) - c @ w @ x
        expected = beta[1] - beta[0] + c @ w @ (data.mean - x @ beta)
        assert value == pytest.approx(expected, abs=1e-6)
        prior = of["animal × first"] + of["animal × second"]
        error = prior - c @ w @ c + rest @ np.linalg.inv(x.T @ w @ x) @ rest
        assert spread == pytest.approx(error, abs=1e-5)


def test_what_is_known_better_is_drawn_less() -> None:
    data = cells(2, animals=10)
    fit = components(data)
    _, difference, variance = animal_differences(data, fit)
    mean, _, _ = fit.bias
    plain = [
        data.mean[(data.animal == a) & (data.method == 1)].mean()
        - data.mean[(data.animal == a) & (data.method == 0)].mean()
        for a in range(10)
    ]
    assert np.std(difference) < np.std(plain)
    assert abs(difference.mean() - mean) < 1.0
    assert np.all(variance > 0)
