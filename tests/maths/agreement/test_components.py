"""Variance components of two methods: outside answers, a plain dense twin, and the boundary."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

import bpvet.maths.agreement.components as module
from bpvet.errors import FitError
from bpvet.maths.agreement.components import (
    DIFFERENCE_TERMS,
    Components,
    components,
    identified_terms,
)
from bpvet.maths.agreement.restricted import Cells

Rows = dict[str, NDArray[np.float64]]


def single_cells(rows: Rows) -> Cells:
    """Return every reading as a cell of its own."""
    ones = np.ones(rows["y"].size)
    codes = [rows[name].astype(np.int64) for name in ("animal", "method", "visit", "pair")]
    return Cells(rows["y"], ones, 0 * ones, *codes)


def summed_cells(rows: Rows) -> Cells:
    """Return cells of readings that share visit and method."""
    key = rows["visit"] * 2 + rows["method"]
    _, first, of = np.unique(key, return_index=True, return_inverse=True)
    count = np.bincount(of).astype(float)
    mean = np.bincount(of, rows["y"]) / count
    ss = np.bincount(of, (rows["y"] - mean[of]) ** 2)
    codes = [rows[name][first].astype(np.int64) for name in ("animal", "method", "visit", "visit")]
    return Cells(mean, count, ss, *codes)


def clinic(seed: int, animals: int = 9, linked: bool = False) -> Rows:
    """Return readings of animals with one to four visits and two to four readings a method."""
    rng = np.random.default_rng(seed)
    rows, visit = [], 0
    for animal in range(animals):
        level, by = rng.normal(150, 18), rng.normal(0, [5, 8])
        for _ in range(rng.integers(1, 5)):
            visit += 1
            shared, own = rng.normal(0, 7), rng.normal(0, [4, 6])
            together = rng.normal(0, 5 * linked, 6)
            for method in (0, 1):
                for r in range(4 if linked else rng.integers(2, 5)):
                    y = level + by[method] + shared + own[method] + together[r] + 4 * method
                    y += rng.normal(0, (5, 9)[method])
                    rows.append((y, animal, method, visit, visit * 10 + r))
    names = ("y", "animal", "method", "visit", "pair")
    return dict(zip(names, np.array(rows).T, strict=True))


def dense(rows: Rows, terms: tuple[str, ...], variance: NDArray[np.float64]) -> float:
    """Return the restricted log-likelihood by one n × n matrix: the plain twin."""
    same = {name: rows[name][:, None] == rows[name][None, :] for name in ("animal", "visit")}
    same["pair"] = rows["pair"][:, None] == rows["pair"][None, :]
    v = np.zeros((rows["y"].size,) * 2)
    for term, size in zip(terms, variance, strict=True):
        name, _, which = term.partition(" × ")
        if term.startswith("reading"):
            part = np.diag(rows["method"] == (term.endswith("second")))
        else:
            part = same[name]
            if which:
                of = rows["method"] == (which == "second")
                part = part & of[:, None] & of[None, :]
        v += size * part
    x = np.stack([rows["method"] == 0, rows["method"] == 1], axis=1).astype(float)
    w = np.linalg.inv(v)
    a = x.T @ w @ x
    r = rows["y"] - x @ np.linalg.solve(a, x.T @ w @ rows["y"])
    out = (r.size - 2) * np.log(2 * np.pi) + np.linalg.slogdet(v)[1] + np.linalg.slogdet(a)[1]
    return float(-(out + r @ w @ r) / 2)


def agree_with_dense(fit: Components, rows: Rows) -> None:
    """The same value, and no way up: level in what is above zero, falling from what is at it."""
    top = dense(rows, fit.terms, fit.variance)
    assert top == pytest.approx(fit.log_likelihood, abs=1e-7)
    for at, size in enumerate(fit.variance):
        step = np.zeros(fit.variance.size)
        step[at] = 1e-3 * max(size, 1.0)
        up = dense(rows, fit.terms, fit.variance + step) - top
        if size == 0:
            assert up < 0
        else:
            down = dense(rows, fit.terms, fit.variance - step) - top
            assert max(up, down) < 0
            assert abs(up - down) < 0.01 * abs(up + down)


@pytest.mark.parametrize("seed", [1, 2])
def test_visits_and_replicates_like_the_dense_twin(seed: int) -> None:
    rows = clinic(seed)
    fit = components(summed_cells(rows))
    assert len(fit.terms) == 8
    assert "pair" not in fit.terms
    agree_with_dense(fit, rows)
    single = components(Cells(*_unpaired(single_cells(rows))))
    assert single.log_likelihood == pytest.approx(fit.log_likelihood, abs=1e-8)
    np.testing.assert_allclose(single.variance, fit.variance, rtol=1e-4, atol=1e-3)


def _unpaired(cells: Cells) -> tuple[NDArray[np.float64], ...]:
    """Make each reading its own pair by method, so that nothing is linked across methods."""
    each = np.arange(cells.mean.size)
    return cells.mean, cells.count, cells.ss, cells.animal, cells.method, cells.visit, each


def test_linked_readings_like_the_dense_twin() -> None:
    rows = clinic(4, animals=8, linked=True)
    fit = components(single_cells(rows))
    assert "pair" in fit.terms
    agree_with_dense(fit, rows)


def test_balanced_readings_are_the_mean_squares() -> None:
    """Three animals, two readings a method: a hand-worked one-way table for each method.

    Differences of means 11, −14, 6: mean 1, variance 175. Within: first 2 + 2 + 8 = 12 over 3,
    second 0.5 + 4.5 + 2 = 7 over 3.
    """
    first = np.array([[99.0, 101], [121, 119], [142, 138]])
    second = np.array([[110.5, 111.5], [104.5, 107.5], [145, 147]])
    rows = _rows(first, second)
    fit = components(summed_cells(rows))
    bias, se, df = fit.bias
    assert bias == pytest.approx(1)
    assert se == pytest.approx(np.sqrt(175 / 3))
    assert df == pytest.approx(2)
    assert fit.of("reading by first") == pytest.approx(4)
    assert fit.of("reading by second") == pytest.approx(7 / 3)
    # A single difference: 175 + 4/2 + (7/3)/2.
    total, _ = fit.sum_of(dict.fromkeys(DIFFERENCE_TERMS, 1.0))
    assert total == pytest.approx(175 + 2 + 7 / 6)


def _rows(first: NDArray[np.float64], second: NDArray[np.float64]) -> Rows:
    n, k = first.shape
    animal = np.tile(np.repeat(np.arange(n), k), 2).astype(float)
    method = np.repeat([0.0, 1.0], n * k)
    y = np.concatenate([first.ravel(), second.ravel()])
    return {"y": y, "animal": animal, "method": method, "visit": animal, "pair": animal}


def test_a_variance_at_zero_is_named() -> None:
    first = np.array([[100.0, 110.0], [110.0, 100.0], [105.0, 105.0], [104, 107]])
    second = np.array([[100.0, 101.0], [109.0, 110.0], [150.0, 149.0], [90, 92]])
    fit = components(summed_cells(_rows(first, second)))
    assert fit.at_zero
    for term in fit.at_zero:
        assert fit.of(term) == 0
    assert np.all(np.isfinite(fit.covariance))


def test_terms_that_cannot_be_told_apart_are_left_out() -> None:
    one = _rows(np.array([[100.0], [120.0], [141.0]]), np.array([[103.0], [118.0], [150.0]]))
    kept = identified_terms(summed_cells(one))
    assert kept == ("animal", "reading by first", "reading by second")
    mixed = summed_cells(clinic(5))
    assert "visit × second" in identified_terms(mixed)


def test_a_mean_without_its_spread_still_counts() -> None:
    cells = summed_cells(clinic(6))
    ss = cells.ss.copy()
    ss[:4] = np.nan
    less = Cells(cells.mean, cells.count, ss, cells.animal, cells.method, cells.visit, cells.pair)
    assert less.df.sum() < cells.df.sum()
    assert np.isfinite(components(less).log_likelihood)


def test_unit_and_order_change_nothing() -> None:
    rows = clinic(7)
    cells = summed_cells(rows)
    turn = np.random.default_rng(0).permutation(cells.mean.size)
    turned = Cells(
        *(getattr(cells, name)[turn] * size for name, size in (("mean", 10), ("count", 1))),
        cells.ss[turn] * 100,
        *(getattr(cells, name)[turn] for name in ("animal", "method", "visit", "pair")),
    )
    here, there = components(cells), components(turned)
    np.testing.assert_allclose(there.variance, 100 * here.variance, rtol=1e-10, atol=1e-8)
    n = cells.mean.size + cells.df.sum()
    assert there.log_likelihood == pytest.approx(here.log_likelihood - (n - 2) * np.log(10))


def test_what_cannot_be_fitted_is_an_error() -> None:
    with pytest.raises(FitError, match="two animals"):
        components(summed_cells(_rows(np.array([[100.0, 101]]), np.array([[99.0, 98]]))))
    flat = np.full((3, 2), 100.0)
    with pytest.raises(FitError, match="same"):
        components(summed_cells(_rows(flat, flat)))


def test_identical_repeats_are_a_variance_at_zero() -> None:
    first = np.repeat(np.array([[100.0], [121.0], [139.0], [160.0]]), 2, axis=1)
    second = first + np.array([[4.0, 6.0], [-2.0, 1.0], [3.0, 3.0], [9.0, 5.0]])
    assert "reading by first" in components(summed_cells(_rows(first, second))).at_zero


@pytest.mark.parametrize("seed", [9, 12, 19])
def test_the_start_shows_in_no_digit(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    cells = summed_cells(clinic(seed))
    here, starts = components(cells), module._starts
    monkeypatch.setattr(module, "_starts", lambda *given: starts(*given)[::-1])
    np.testing.assert_allclose(
        components(cells).variance, here.variance, rtol=0, atol=1e-10 * here.variance.sum()
    )


def test_a_first_step_that_rounding_cannot_take_is_shortened() -> None:
    """One animal scatters by hundreds and eight never change: Newton's first step goes far out."""
    still = 45 - 2
    many = 2 * (2 + still)
    visit = np.repeat(np.arange(many // 2), 2)
    animal = np.concatenate([[0] * 4, [1] * 2, np.repeat(np.arange(2, 9), 12)])
    cells = Cells(
        mean=np.concatenate([[118.0, 140.0, 183.5, 144.5], np.full(2 * still, 90.0)]),
        count=np.concatenate([[3.0, 2.0, 2.0, 2.0], np.ones(2 * still)]),
        ss=np.concatenate([[1248.0, 3042.0, 24.5, 4512.5], np.zeros(2 * still)]),
        animal=animal,
        method=np.tile([0, 1], many // 2),
        visit=visit,
        pair=visit,
    )
    found = components(cells)
    assert np.isfinite(found.variance).all()
    assert found.log_likelihood == pytest.approx(-380.978399, abs=1e-5)
    level = np.array([one == "animal" for one in found.terms])
    assert found.variance[level] > 100
