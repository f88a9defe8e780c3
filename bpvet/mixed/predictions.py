"""What a fitted cohort predicts of groups, animals and sessions, on the user's scale."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.errors import CallError
from bpvet.maths.special import ndtri
from bpvet.mixed.contributions import Variances, animal_blocks, weights
from bpvet.mixed.criterion import Criterion, Value
from bpvet.mixed.design import numbers_of
from bpvet.mixed.optimiser import Point
from bpvet.mixed.random_effects import (
    AnimalEffects,
    GroupEffects,
    animal_effects,
    cluster_scores,
    combinations,
    group_effects,
    visit_effects,
)
from bpvet.mixed.rows import Rows
from bpvet.mixed.steps import CohortData, Kept, session_arrays

if TYPE_CHECKING:
    from bpvet.mixed.result import Cohort

Array = NDArray[np.float64]


def check_share(value: float, name: str) -> None:
    """Raise a CallError unless an interval's level is between 0 and 1."""
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0.0 < value < 1.0:
        raise CallError(f"{name} is a number between 0 and 1, such as 0.95, not {value!r}.")


def group_frame(data: CohortData, criterion: Criterion, point: Point) -> pd.DataFrame:
    """Return the groups' effects."""
    spec = data.spec
    if spec.group is None:
        raise CallError("The fit has no groups.")
    effects = group_effects(point.value, point.variances, criterion.intercept)
    size = data.scaling.size
    return pd.DataFrame(
        {"effect": size * effects.mean, "effect_sd": size * np.sqrt(effects.variance)},
        index=pd.Index(spec.levels[spec.group], name=spec.group),
    )


class _PartOfAnimals(NamedTuple):
    labels: pd.Index[Any]
    group: NDArray[np.int64]
    effects: AnimalEffects
    sessions: NDArray[Any]
    readings: NDArray[Any]


def _effects_of_part(
    kept: Kept, value: Value, variances: Variances, groups: GroupEffects
) -> _PartOfAnimals:
    moments = kept.moments
    effects = animal_effects(moments, value, variances, groups)
    ones = moments.entries[:, 0, moments.z[0]]
    sessions = moments.summing(np.ones(len(moments.count)))(ones)
    readings = moments.summing(moments.count)(ones)
    return _PartOfAnimals(kept.animals, moments.group, effects, sessions, readings)


def _effects(data: CohortData, point: Point, intercept: int) -> tuple[_PartOfAnimals, GroupEffects]:
    """Return all animals' effects on the scale of the moments, in order of their codes."""
    groups = group_effects(point.value, point.variances, intercept)
    ask = partial(_effects_of_part, value=point.value, variances=point.variances, groups=groups)
    parts = data.executor.gather(ask, data.parts)
    if len(parts) == 1:
        return parts[0], groups
    labels = parts[0].labels.append([part.labels for part in parts[1:]])
    effects = AnimalEffects(
        *(np.concatenate([part.effects[i] for part in parts]) for i in range(3))
    )
    joined = _PartOfAnimals(
        labels,
        np.concatenate([part.group for part in parts]),
        effects,
        np.concatenate([part.sessions for part in parts]),
        np.concatenate([part.readings for part in parts]),
    )
    if data.rows is None:
        return joined, groups
    order = labels.get_indexer(data.rows.animals)
    effects = AnimalEffects(*(array[order] for array in effects))
    return _PartOfAnimals(
        labels[order],
        joined.group[order],
        effects,
        joined.sessions[order],
        joined.readings[order],
    ), groups


def animal_frame(data: CohortData, criterion: Criterion, point: Point) -> pd.DataFrame:
    """Return the animals' effects on the user's scale, and what they rest on."""
    animals, _ = _effects(data, point, criterion.intercept)
    back = data.scaling.effects
    mean = animals.effects.mean @ back.T
    variance = np.einsum("ij,njk,ik->ni", back, animals.effects.covariance, back)
    frame: dict[str, Any] = {}
    if data.spec.group is not None:
        levels = np.array(data.spec.levels[data.spec.group], dtype=object)
        frame[data.spec.group] = levels[animals.group]
    frame["sessions"] = animals.sessions.astype(np.int64)
    frame["readings"] = animals.readings.astype(np.int64)
    for i, name in enumerate(["intercept", *data.spec.slopes]):
        frame[name] = mean[:, i]
        frame[f"{name}_sd"] = np.sqrt(np.maximum(variance[:, i], 0.0))
    return pd.DataFrame(frame, index=pd.Index(animals.labels, name="animal"))


def _rows(data: CohortData, what: str) -> Rows:
    if data.rows is None:
        raise CallError(f"{what} needs the data in one frame; this fit read them in parts.")
    return data.rows


def session_frame(cohort: Cohort) -> pd.DataFrame:
    """Return each session's mean beside its fitted values and effects."""
    data, point = cohort.data, cohort.point
    rows = _rows(data, "sessions")
    arrays = data.scaling.scaled(session_arrays(rows, data.has_visits))
    animals, groups = _effects(data, point, cohort.likelihood.intercept)
    z = arrays.u[:, data.scaling.z]
    combined = combinations(point.value, animals.effects, groups, rows.groups, data.scaling.z)
    left = np.einsum("jm,jm->j", arrays.u, combined[rows.animal])
    v, size = point.variances, data.scaling.size
    visit = np.append(v.visit, 0.0)[arrays.visit]
    reading = v.residual[rows.residual] / rows.count
    effects = visit_effects(
        left, z, rows.animal, (visit, reading), animals.effects, groups.variance[rows.groups]
    )
    return pd.DataFrame(
        {
            "animal": rows.animals.to_numpy()[rows.animal],
            "session": rows.label,
            "readings": rows.count,
            "mean": rows.y,
            "population": rows.x @ cohort.coefficients,
            "fitted": rows.y - size * left,
            "visit": size * effects.mean,
            "visit_sd": size * np.sqrt(np.maximum(effects.variance, 0.0)),
            "noise_sd": size * np.sqrt(visit + reading),
        }
    )


def sandwich(data: CohortData, criterion: Criterion, point: Point) -> Array:
    """Return the covariance of the fixed effects from the scores of animals (or groups).

    With C clusters the sum is multiplied by C / (C − 1).
    """
    rows = _rows(data, "robust")
    arrays = data.scaling.scaled(session_arrays(rows, data.has_visits))
    part, groups = _effects(data, point, criterion.intercept)
    residuals = combinations(point.value, part.effects, groups, rows.groups, data.scaling.z)
    grouped = data.spec.group is not None
    cluster = rows.groups if grouped else np.arange(len(rows.animals))
    number = len(groups.mean) if grouped else len(rows.animals)
    scores = cluster_scores(arrays, point.variances, residuals, cluster, number)
    moved = scores @ criterion.basis @ point.value.root @ point.value.root.T
    return moved.T @ moved * (number / (number - 1.0))


def prediction_frame(
    cohort: Cohort, frame: pd.DataFrame, with_animal: bool, interval: float
) -> pd.DataFrame:
    """Return predictions with intervals."""
    design = cohort.data.spec.design
    assert design is not None
    if not isinstance(frame, pd.DataFrame):
        raise CallError("predict takes a DataFrame that holds the formula's columns.")
    check_share(interval, "interval")
    x = design.matrix(frame)
    if with_animal:
        return _animal_predictions(cohort, frame, x, interval)
    result = cohort.estimates(x, list(frame.index), interval)
    result.index = frame.index
    return result[["estimate", "se", "lower", "upper"]]


def _animal_predictions(
    cohort: Cohort, frame: pd.DataFrame, x: Array, interval: float
) -> pd.DataFrame:
    data, point = cohort.data, cohort.point
    rows = _rows(data, "predict by animal")
    if data.spec.animal not in frame.columns:
        raise CallError(f'The frame has no column "{data.spec.animal}", which names the animals.')
    code = rows.animals.get_indexer(pd.Index(frame[data.spec.animal]))
    if np.any(code < 0):
        stranger = frame[data.spec.animal].to_numpy()[code < 0][0]
        raise CallError(f"Animal {stranger} is not in the fit; predict the population instead.")
    names = data.scaling.names
    extra = [numbers_of(frame, name) for name in data.spec.slopes if name not in names]
    slopes = np.column_stack(extra) if extra else np.zeros((len(x), 0))
    scaled = data.scaling.columns_of(x, slopes)
    part, groups = _effects(data, point, cohort.likelihood.intercept)
    z = scaled[:, data.scaling.z]
    effects, group = part.effects, rows.groups[code]
    value = x @ cohort.coefficients + data.scaling.size * (
        np.einsum("ni,ni->n", z, effects.mean[code]) + groups.mean[group]
    )
    leverage = _leverage(cohort, scaled[:, : len(names)], z, code, groups)
    variance = np.einsum("ni,nij,nj->n", z, effects.covariance[code], z)
    variance += 2.0 * np.einsum("ni,ni->n", z, effects.with_group[code]) + groups.variance[group]
    se = data.scaling.size * np.sqrt(np.einsum("ni,ni->n", leverage, leverage) + variance)
    reach = float(ndtri(0.5 + interval / 2.0)) * se
    columns = {"estimate": value, "se": se, "lower": value - reach, "upper": value + reach}
    return pd.DataFrame(columns, index=frame.index)


def _leverage(
    cohort: Cohort, x: Array, z: Array, code: NDArray[np.int64], groups: GroupEffects
) -> Array:
    """Return how predictions move with the fixed effects, in units of their uncertainty."""
    point, criterion = cohort.point, cohort.likelihood
    order = np.concatenate([kept.animals for kept in cohort.data.parts])
    ka = np.concatenate([_gain(kept, point.variances) for kept in cohort.data.parts])
    position = pd.Index(order).get_indexer(_rows(cohort.data, "predict").animals)
    ka = ka[position][code]
    group = _rows(cohort.data, "predict").groups[code]
    edge = groups.variance[:, None] * point.value.products[:, :, criterion.intercept]
    by_x = ka @ criterion.basis
    moved_group = (edge @ criterion.basis)[group]
    to_group = ka[:, :, criterion.intercept]
    moved = x - np.einsum("ni,nip->np", z, by_x) - moved_group
    moved += np.einsum("ni,ni->n", z, to_group)[:, None] * moved_group
    return moved @ point.value.root


def _gain(kept: Kept, variances: Variances) -> Array:
    weight = weights(kept.moments, variances).weight
    return animal_blocks(kept.moments, weight, variances.factor).ka
