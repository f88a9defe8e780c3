"""The nested rule against a far finer dense one, for the hard records of its tolerances."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import roots_hermite

from bpvet.errors import FitError
from bpvet.maths.gaussian import Batch, coefficients, whiten
from bpvet.maths.posterior import NEGLIGIBLE, PartPrior, _heavy, parts_of
from bpvet.maths.quadrature import GAUSS_NODES, HERMITE_NODES, HERMITE_WEIGHTS, integrate
from bpvet.maths.spectrum import log_product
from bpvet.maths.surface import noise_at, separate
from tests.maths.cases import asked, batch_of, case, hard
from tests.maths.dense import integrated, log_likelihood


def _answers(one):
    batch, prior = batch_of(one)
    nodes = integrate(batch, prior)
    own = PartPrior(one.prior_mean, np.eye(batch.terms))
    (posterior,) = parts_of(batch, prior, nodes, [own])
    days, rows = asked(one)
    usual = posterior.usual(rows[:3], days[:3] - one.day[-1])
    return posterior, usual, posterior.combination(rows[3])


@pytest.mark.parametrize("name", list(hard()))
def test_hard_records_meet_the_stated_tolerances(name):
    one = hard()[name]
    days, rows = asked(one)
    dense = integrated(one, days, rows)
    posterior, usual, slope = _answers(one)
    # Tolerances for hard records: mean 0.005 SD, SD 0.5 %, probabilities 0.003,
    # ends 0.5 mmHg.
    lower, upper = usual.interval(0.95)
    for j in range(4):
        centre, sd = dense.summary(j)
        own = (usual.mean[j], usual.sd[j]) if j < 3 else (slope.mean, slope.sd)
        assert abs(own[0] - centre) < 0.005 * sd
        assert abs(own[1] / sd - 1) < 0.005
    for j in range(3):
        assert abs(usual.below(160.0)[j] - dense.below(j, 160.0)) < 0.003
        assert abs(lower[j] - dense.quantile(j, 0.025)) < 0.5
        assert abs(upper[j] - dense.quantile(j, 0.975)) < 0.5
    assert abs(posterior.log_marginal - dense.log_marginal) < 0.01


def test_fixed_noise_equals_dense_readings():
    one = case(
        [0, 3, 40, 41, 200],
        [[150, 160, 155], [171.0], [140, 139, 150, 161], [130, 131], [145, 150]],
        [(3, None, 3.0, 40.0), (40, 100, 5.0, 15.0)],
    )
    batch, prior = batch_of(one)
    for sv, sr, sw in [(11, 7, 6), (0.5, 30, 12), (25, 2, 0.1)]:
        noise = noise_at(prior, *(np.array([[np.log(value)]]) for value in (sv, sr, sw)))
        own = coefficients(batch, noise.reading, whiten(batch, noise)).log_likelihood[0, 0]
        assert own == pytest.approx(log_likelihood(one, sv, sr, sw), abs=1e-8)


def test_padding_and_neighbours_change_nothing():
    short = case([0, 9], [[150, 160], [170, 171, 180]])
    long = case(
        np.arange(6) * 11.0, [[150 + i, 149, 160 - i] for i in range(6)], [(11, None, 3.0, 40.0)]
    )
    alone = [integrate(*batch_of(one)) for one in (short, long)]
    (a, pa), (b, pb) = batch_of(short), batch_of(long)

    def padded(values, fill):
        out = np.full((*values.shape[:-2], 6, 1), fill, dtype=values.dtype)
        out[..., : values.shape[-2], :] = values
        return out

    x = np.zeros((4, 6, 1))
    x[:3, :2] = a.x
    both = Batch(
        y=np.hstack([padded(a.y, 0.0), b.y]),
        x=np.concatenate([x, b.x], axis=2),
        day=np.hstack([padded(a.day, 0.0), b.day]),
        k=np.hstack([padded(a.k, 1.0), b.k]),
        group=np.zeros((6, 2), dtype=np.int64),
        live=np.hstack([padded(a.live, False), b.live]),
        prior_sd=np.hstack([np.vstack([a.prior_sd, [[1.0]]]), b.prior_sd]),
        wander_days=np.array([60.0, 60.0]),
        scatter_df=np.hstack([a.scatter_df, b.scatter_df]),
        scatter_ss=np.hstack([a.scatter_ss, b.scatter_ss]),
        constant=np.concatenate([a.constant, b.constant]),
        used=np.concatenate([a.used, b.used]),
    )
    prior = type(pa)(
        np.concatenate([pa.sv, pb.sv], axis=2),
        np.concatenate([pa.sr, pb.sr], axis=2),
        np.hstack([pa.sw, pb.sw]),
    )
    together = integrate(both, prior)
    for i, single in enumerate(alone):
        assert together.log_marginal[i] == pytest.approx(single.log_marginal[0], abs=1e-9)
        np.testing.assert_allclose(together.weight[i], single.weight[0], atol=1e-9)
        np.testing.assert_allclose(together.log_sv[i], single.log_sv[0], atol=1e-9)


def test_rho_is_the_log_ratio_of_wander_to_visit():
    lt, rho = np.array([[2.5]]), np.array([[-0.7]])
    log_sv, log_sw = separate(lt, rho)
    assert (log_sw - log_sv)[0, 0] == pytest.approx(-0.7)
    total = 0.5 * np.log(np.exp(2 * log_sv) + np.exp(2 * log_sw))
    assert total[0, 0] == pytest.approx(2.5)


def test_the_grid_is_widened_where_weight_reaches_its_end():
    nodes = integrate(*batch_of(case([0, 30], [[110, 112, 108], [260, 262, 258]])))
    by_rho = nodes.weight[0].reshape(-1, 25).sum(axis=1)
    assert by_rho.size > 17
    assert max(by_rho[0], by_rho[-1]) < 1e-6


def test_no_numbers_where_the_readings_are_not_finite():
    batch, prior = batch_of(case([0, 30], [[110.0], [np.nan]]))
    with pytest.raises(FitError):
        integrate(batch, prior)


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("size", [1.0, 1e60, 1e-60])
def test_logarithms_of_products_that_a_double_cannot_hold(size: float) -> None:
    values = np.random.default_rng(4).uniform(1, 9, (3, 2, 21)) * size
    values[0, 0] /= size
    expected = [[math.fsum(map(math.log, row)) for row in rows] for rows in values.tolist()]
    np.testing.assert_allclose(log_product(np.moveaxis(values, -1, 0)), expected, rtol=1e-13)


@pytest.mark.parametrize("spread", [0.1, 3.0, 12.0, 40.0])
def test_nodes_are_left_out_from_the_lightest_while_all_together_weigh_next_to_nothing(spread):
    rng = np.random.default_rng(11)
    weight = np.exp(-rng.exponential(spread, (16, 425)))
    weight[:, ::7] = weight[:, 1:2]  # several of one weight
    weight /= weight.sum(axis=1, keepdims=True)
    for row, kept in zip(weight, _heavy(weight), strict=True):
        lightest = np.sort(row)
        first = lightest[np.cumsum(lightest) >= NEGLIGIBLE][0]
        np.testing.assert_array_equal(kept, row >= first)


def test_the_rule_is_that_of_gauss_and_hermite() -> None:
    nodes, weights = roots_hermite(GAUSS_NODES)
    np.testing.assert_allclose(HERMITE_NODES, nodes, rtol=1e-15)
    np.testing.assert_allclose(HERMITE_WEIGHTS, weights, rtol=1e-14)
