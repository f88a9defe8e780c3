"""Conditional modes of groups, animals and visits, with SDs given all parameters.

The SDs are those of the random effects given the readings, the fixed effects and the variances
(lme4's `condVar`); they are joint, so that an animal's SD holds its group's uncertainty too.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from bpvet.mixed.contributions import Variances, animal_blocks, weights
from bpvet.mixed.criterion import Value
from bpvet.mixed.moments import Moments, SessionArrays
from bpvet.mixed.stacks import Array, Codes


class GroupEffects(NamedTuple):
    """Group effects (groups,) and their conditional variances."""

    mean: Array
    variance: Array


class AnimalEffects(NamedTuple):
    """Effects of animals (N, q), their covariance (N, q, q), and that with the group (N, q)."""

    mean: Array
    covariance: Array
    with_group: Array


class VisitEffects(NamedTuple):
    """Visit effects of sessions (J,) and their conditional variances."""

    mean: Array
    variance: Array


def group_effects(value: Value, variances: Variances, intercept: int) -> GroupEffects:
    """Return the groups' effects, from the sums Uᵀ V⁻¹ U of `value`."""
    edge = value.products[:, :, intercept]
    precision = edge[:, intercept]
    variance = variances.group / (1.0 + variances.group * precision)
    return GroupEffects(variance * (edge @ value.residual), variance)


def animal_effects(
    moments: Moments, value: Value, variances: Variances, groups: GroupEffects
) -> AnimalEffects:
    """Return the animals' intercepts and slopes (deviations from the fixed part)."""
    intercept = int(moments.z[0])
    blocks = animal_blocks(moments, weights(moments, variances).weight, variances.factor)
    combination = np.repeat(value.residual[None], len(groups.mean), axis=0)
    combination[:, intercept] -= groups.mean
    c = combination[moments.group] if len(combination) > 1 else combination
    mean = (blocks.ka @ c[:, :, None])[:, :, 0]
    towards = blocks.ka[:, :, intercept]
    variance = groups.variance[moments.group]
    covariance = blocks.k + variance[:, None, None] * towards[:, :, None] * towards[:, None]
    return AnimalEffects(mean, covariance, -variance[:, None] * towards)


def visit_effects(
    left: Array,
    z: Array,
    animal: Codes,
    variance: tuple[Array, Array],
    animals: AnimalEffects,
    group_variance: Array,
) -> VisitEffects:
    """Return what was peculiar to each session.

    Parameters
    ----------
    left : (J,) float
        Session mean less fixed part, group and animal effects.
    z : (J, q) float
        Session means of the random columns.
    animal : (J,) int
    variance : pair of (J,) float
        Visit variance, and reading variance over count.
    animals : AnimalEffects
    group_variance : (N,) float
        Conditional variance of each animal's group effect.
    """
    visit, reading = variance
    shrink = visit / (visit + reading)
    below = np.einsum("ji,jik,jk->j", z, animals.covariance[animal], z)
    below += 2.0 * np.einsum("ji,ji->j", z, animals.with_group[animal]) + group_variance[animal]
    return VisitEffects(shrink * left, visit * (1.0 - shrink) + shrink**2 * below)


def cluster_scores(
    arrays: SessionArrays, variances: Variances, combination: Array, cluster: Codes, clusters: int
) -> Array:
    """Return Σ Uᵀ V⁻¹ (y − Xβ) by cluster of animals, (clusters, m).

    Parameters
    ----------
    arrays : SessionArrays
        On the scale of the moments.
    variances : Variances
    combination : (N, m) float
        Each animal's residual combination, its own and its group's effects taken off.
    cluster : (N,) int
    clusters : int
    """
    reading = variances.residual[arrays.residual]
    visit = np.where(arrays.visit >= 0, np.append(variances.visit, 0.0)[arrays.visit], 0.0)
    left = np.einsum("jm,jm->j", arrays.u, combination[arrays.animal])
    scores = arrays.u * (left / (visit + reading / arrays.count))[:, None]
    owner = cluster[arrays.animal]
    if arrays.deviations is not None and arrays.session_of_row is not None:
        rows, session = arrays.deviations, arrays.session_of_row
        inside = np.einsum("nm,nm->n", rows, combination[arrays.animal[session]])
        scores = np.concatenate([scores, rows * (inside / reading[session])[:, None]])
        owner = np.concatenate([owner, cluster[arrays.animal[session]]])
    columns = [np.bincount(owner, column, clusters) for column in scores.T]
    return np.stack(columns, axis=1)


def combinations(
    value: Value, animals: AnimalEffects, groups: GroupEffects, group: Codes, z: Codes
) -> Array:
    """Return y − Xβ less group and animal effects as combinations of u's columns, (N, m)."""
    result = np.repeat(value.residual[None], len(animals.mean), axis=0)
    result[:, z[0]] -= groups.mean[group]
    result[:, z] -= animals.mean
    return result
