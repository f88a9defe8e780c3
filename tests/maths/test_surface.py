"""The two ways to the log density agree, at the nodes and at the seven places of a search."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest

from bpvet.maths.gaussian import Array, Batch, eliminate
from bpvet.maths.posterior import PartPrior, parts_of
from bpvet.maths.quadrature import RHO_NODES, integrate
from bpvet.maths.spectrum import basis, even_counts
from bpvet.maths.surface import MOVES, NoisePrior, SharedSurface, Surface
from tests.maths.cases import batch_of, case, hard

#: Days and numbers of readings; two sessions on one day have one and the same wander.
FIVE_EACH = ([0, 0, 9, 31, 200], [5, 5, 5, 5, 5])
SHORT = ([0, 30, 44], [5, 5, 5])
UNEVEN = ([0, 9, 9, 60], [1, 5, 3, 4])


def records(days: list[int], counts: list[int]) -> tuple[Batch, NoisePrior]:
    """Return invented readings of one animal, with a course from the second session on."""
    rng = np.random.default_rng(sum(days) + sum(counts))
    readings = [np.round(150 + 12 * rng.normal() + 7 * rng.normal(size=n)) for n in counts]
    return batch_of(case(days, readings, [(days[1], None, 3.0, 40.0)]))


def side_by_side(*each: tuple[Batch, NoisePrior]) -> tuple[Batch, NoisePrior]:
    """Return several animals of equally many coefficients as one batch, the shorter ones padded."""
    most = max(batch.sessions for batch, _ in each)
    by_session = {"y": 0.0, "x": 0.0, "day": 0.0, "k": 1.0, "group": 0, "live": False}

    def joined(name: str) -> Array:
        parts = []
        for batch, _ in each:
            values = getattr(batch, name)
            if name in by_session:
                more = [(0, 0)] * (values.ndim - 2) + [(0, most - batch.sessions), (0, 0)]
                values = np.pad(values, more, constant_values=by_session[name])
            parts.append(values)
        return np.concatenate(parts, axis=-1)

    batch = Batch(**{part.name: joined(part.name) for part in fields(Batch)})
    pairs = (np.concatenate([getattr(p, n) for _, p in each], axis=-1) for n in ("sv", "sr", "sw"))
    return batch, NoisePrior(*pairs)


BATCHES = {
    "equal counts, one padded": (FIVE_EACH, SHORT),
    "unequal counts": (UNEVEN,),
    "both": (FIVE_EACH, UNEVEN, SHORT),
}


@pytest.mark.parametrize("name", list(BATCHES))
def test_a_shared_spectrum_gives_what_the_filter_gives(name: str) -> None:
    batch, prior = side_by_side(*(records(*one) for one in BATCHES[name]))
    rng = np.random.default_rng(5)
    rho = np.linspace(-6, 5, 7) + np.zeros((batch.y.shape[1], 1))
    lt, lr = (rng.normal(2.3, 0.8, (*rho.shape, 4)) for _ in range(2))
    shared, filtered = Surface.of(batch, prior, rho), Surface(batch, prior, rho)
    assert isinstance(shared, SharedSurface)
    np.testing.assert_allclose(shared.at(lt, lr), filtered.at(lt, lr), rtol=0, atol=1e-9)
    rows = np.flatnonzero(rng.random(rho.size) < 0.6)
    place = lt[..., 0].ravel()[rows], lr[..., 0].ravel()[rows]
    moved = lt[..., :1] + MOVES[:, 0], lr[..., :1] + MOVES[:, 1]
    expected = filtered.at(*moved).reshape(rho.size, -1)[rows].T
    for surface in (shared, filtered):
        np.testing.assert_allclose(surface.seven(rows, *place), expected, rtol=0, atol=1e-9)


def test_blocks_of_animals_and_rows_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    batch, prior = side_by_side(*(records(*one) for one in BATCHES["both"] * 4))
    rho = np.linspace(-6, 5, 7) + np.zeros((12, 1))
    surface = Surface.of(batch, prior, rho)
    lt = np.full((*rho.shape, 3), 2.4)
    rows = np.arange(rho.size)
    place = lt[..., 0].ravel(), lt[..., 0].ravel() - 0.3
    whole = surface.at(lt, lt), surface.seven(rows, *place)
    monkeypatch.setattr("bpvet.maths.surface._BLOCK", 1)
    np.testing.assert_allclose(surface.at(lt, lt), whole[0], rtol=1e-13)
    np.testing.assert_allclose(surface.seven(rows, *place), whole[1], rtol=1e-13)


def test_vectors_are_shared_only_where_counts_are_equal() -> None:
    five, uneven = records(*FIVE_EACH), records(*UNEVEN)
    rho = np.array([[-1.0, 0.5]])
    assert basis(five[0], rho).vector.shape == (1, 1, 5, 5)
    assert basis(uneven[0], rho).vector.shape == (1, 2, 4, 4)
    both, _ = side_by_side(five, uneven)
    np.testing.assert_array_equal(even_counts(both), [True, False])
    found = basis(both, np.repeat(rho, 2, axis=0))
    assert found.vector.shape == (2, 2, 5, 5)
    np.testing.assert_allclose(found.value[0], basis(five[0], rho).value[0], rtol=1e-12)


def test_elimination_leaves_determinant_and_rest() -> None:
    rng = np.random.default_rng(8)
    half = rng.normal(size=(6, 5, 9))
    matrix = half.transpose(0, 2, 1)[:, :5] @ half[:, :, :5] + 4 * np.eye(5)
    matrix = (matrix + matrix.transpose(0, 2, 1)) / 2 + 6 * np.eye(5)
    across, rows = np.triu_indices(5)
    log_det, left = eliminate(np.ascontiguousarray(matrix[:, rows, across].T), 4)
    inner, column = matrix[:, :4, :4], matrix[:, :4, 4]
    np.testing.assert_allclose(log_det, np.linalg.slogdet(inner)[1], rtol=1e-12)
    solved = np.linalg.solve(inner, column[:, :, None])[:, :, 0]
    np.testing.assert_allclose(left, matrix[:, 4, 4] - np.sum(column * solved, axis=1), rtol=1e-12)


def test_a_grid_that_is_widened_changes_no_neighbour() -> None:
    apart = batch_of(hard()["two at 110 and 260"])
    calm = batch_of(case([0, 30], [[148, 151, 155], [152, 149, 150]]))
    together, alone = integrate(*side_by_side(apart, calm)), integrate(*calm)
    assert alone.weight.shape[1] == 25 * RHO_NODES < together.weight.shape[1]
    np.testing.assert_allclose(together.log_marginal[1], alone.log_marginal[0], rtol=1e-12)
    count = alone.weight.shape[1]
    np.testing.assert_allclose(together.weight[1, :count], alone.weight[0], rtol=1e-9, atol=1e-15)
    assert np.all(together.weight[1, count:] == 0)
    own = [PartPrior(np.zeros(3), np.eye(3))] * 2
    batch, prior = side_by_side(apart, calm)
    part = parts_of(batch, prior, together, own)[1]
    (single,) = parts_of(*calm, alone, own[:1])
    np.testing.assert_allclose(part.weight, single.weight, rtol=1e-9)
    np.testing.assert_allclose(part.noise.wander, single.noise.wander, rtol=1e-9)
