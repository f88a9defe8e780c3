"""What a fitted cohort can tell, as frames on the user's scale."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from itertools import product
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import ndtri

from bpvet.errors import CallError
from bpvet.maths.criterion import Criterion, Value
from bpvet.maths.inference import Satterthwaite
from bpvet.maths.optimise import Point
from bpvet.maths.partition import Variances, animal_blocks, weights
from bpvet.maths.predictions import (
    AnimalEffects,
    GroupEffects,
    animal_effects,
    cluster_scores,
    combinations,
    group_effects,
    visit_effects,
)
from bpvet.models.cohort_columns import Question
from bpvet.models.cohort_fit import Kept, Prepared, session_arrays, slope_places
from bpvet.models.cohort_rows import Rows

if TYPE_CHECKING:
    from bpvet.models.cohort import Cohort

Array = NDArray[np.float64]


def effect_names(asked: Question) -> list[str]:
    """Return the names of an animal's effects in `variance`."""
    return ["animal", *(f"animal: {slope}" for slope in asked.slopes)]


def component_names(asked: Question, has_visits: bool) -> list[str]:
    """Return the names of the likelihood's variances and covariances, in its order."""
    names = effect_names(asked)
    inner = ["intercept", *asked.slopes]
    found = [
        names[i] if i == j else f"animal: covariance of {inner[j]} and {inner[i]}"
        for i in range(len(names))
        for j in range(i + 1)
    ]
    found += ["group"] if asked.group else []
    found += _class_names("visit", asked.visit_by, asked) if has_visits else []
    return found + _class_names("residual", asked.residual_by, asked)


def _class_names(what: str, by: str | None, asked: Question) -> list[str]:
    return [what] if by is None else [f"{what}: {level}" for level in asked.levels[by]]


def user_covariance(ready: Prepared, point: Point) -> Array:
    """Return G on the user's scale."""
    factor = ready.scaling.effects @ point.variances.factor
    g: Array = factor @ factor.T
    return g


class Shares(NamedTuple):
    """Variances, and the share of the readings in each class of visit and residual SD."""

    animal: float
    group: float
    visit: Array
    residual: Array
    readings_visit: Array
    readings_residual: Array

    @property
    def total(self) -> float:
        """Return the variance of a reading about the fixed part, averaged over readings."""
        inner = float(self.visit @ self.readings_visit + self.residual @ self.readings_residual)
        return self.animal + self.group + inner


def shares(ready: Prepared, point: Point) -> Shares:
    """Return the variances, that of an animal's effects averaged over the readings."""
    total, shift, size = ready.total, ready.shift, ready.scaling.size**2
    places = list(slope_places(ready.asked))
    mean = total.first / total.weight
    square = total.second / total.weight
    square = square + np.outer(shift, mean) + np.outer(mean, shift) + np.outer(shift, shift)
    moments = np.ones((1 + len(places), 1 + len(places)))
    moments[0, 1:] = moments[1:, 0] = (mean + shift)[places]
    moments[1:, 1:] = square[np.ix_(places, places)]
    v = point.variances
    return Shares(
        animal=float((user_covariance(ready, point) * moments).sum()),
        group=v.group * size,
        visit=v.visit * size,
        residual=v.residual * size,
        readings_visit=total.visit / max(float(total.visit.sum()), 1.0),
        readings_residual=total.residual / total.weight,
    )


def fitted_variance(ready: Prepared, coefficients: Array) -> float:
    """Return the variance of Xβ over the readings, with divisor n − 1."""
    total, p = ready.total, len(coefficients)
    mean = total.first[:p] / total.weight
    spread = total.second[:p, :p] - total.weight * np.outer(mean, mean)
    return float(coefficients @ spread @ coefficients / (total.weight - 1.0))


def icc_frame(ready: Prepared, point: Point) -> pd.DataFrame:
    """Return intraclass correlations, for each class where scatter differs between classes."""
    s, asked = shares(ready, point), ready.asked
    visits = dict(zip(_class_names("", asked.visit_by, asked), s.visit, strict=False))
    rows = []
    for name, residual in zip(_class_names("", asked.residual_by, asked), s.residual, strict=True):
        if name in visits or len(s.visit) == 0:
            visit = float(visits.get(name, 0.0))
        else:
            visit = float(s.visit @ s.readings_visit)
        all_of_it = s.animal + s.group + visit + float(residual)
        rows.append(
            {
                "class": name.lstrip(": ") or "all",
                "same_animal": (s.animal + s.group) / all_of_it,
                "same_session": (s.animal + s.group + visit) / all_of_it,
                "same_group": s.group / all_of_it,
            }
        )
    return pd.DataFrame(rows).set_index("class")


def variance_frame(
    ready: Prepared, criterion: Criterion, point: Point, rule: Satterthwaite, correlated: bool
) -> pd.DataFrame:
    """Return the variance components with Wald limits."""
    asked, q = ready.asked, criterion.random
    back = _back_to_user(ready, criterion)
    natural = back @ criterion.natural(point.variances)
    change = back @ point.chart.jacobian(point.psi)
    lower = np.tril_indices(q)
    names = component_names(asked, ready.has_visits)
    z = float(ndtri(0.975))
    rows: list[dict[str, Any]] = []
    for place in range(len(names)):
        if place < len(lower[0]) and lower[0][place] != lower[1][place]:
            continue
        value = max(float(natural[place]), 0.0)
        se = float(np.sqrt(max(change[place] @ rule.parameters @ change[place], 0.0)))
        spread = np.exp(z * se / value) if value > 0 else np.nan
        rows.append(_component(names[place], value, value / spread, value * spread))
    own = [lower[0][i] == lower[1][i] for i in range(len(lower[0]))]
    after = sum(own)
    if correlated:
        for place in (i for i, mine in enumerate(own) if not mine):
            pair = int(lower[1][place]), int(lower[0][place])
            rows.insert(after, _correlation(ready, natural, change, rule, place, pair, z))
            after += 1
    return pd.DataFrame(rows, columns=["component", "estimate", "sd", "lower", "upper"])


def _component(name: str, value: float, lower: float, upper: float) -> dict[str, Any]:
    if value == 0.0:
        lower, upper = 0.0, np.nan
    return {
        "component": name,
        "estimate": value,
        "sd": float(np.sqrt(value)),
        "lower": lower,
        "upper": upper,
    }


def correlation_name(asked: Question, pair: tuple[int, int]) -> str:
    """Return the name of a correlation in `variance`."""
    inner = ["intercept", *asked.slopes]
    return f"animal: correlation of {inner[pair[0]]} and {inner[pair[1]]}"


def _correlation(
    ready: Prepared,
    natural: Array,
    change: Array,
    rule: Satterthwaite,
    place: int,
    pair: tuple[int, int],
    z: float,
) -> dict[str, Any]:
    first, second = (i * (i + 1) // 2 + i for i in pair)
    name = correlation_name(ready.asked, pair)
    nothing = {"component": name, "estimate": np.nan, "sd": np.nan}
    a, b = natural[first], natural[second]
    if a <= 0 or b <= 0:
        return nothing | {"lower": np.nan, "upper": np.nan}
    rho = float(np.clip(natural[place] / np.sqrt(a * b), -1.0, 1.0))
    slope = change[place] / np.sqrt(a * b) - 0.5 * rho * (change[first] / a + change[second] / b)
    se = float(np.sqrt(max(slope @ rule.parameters @ slope, 0.0)))
    if 1.0 - rho**2 < 1e-10:
        return nothing | {"estimate": rho, "lower": np.nan, "upper": np.nan}
    middle, reach = np.arctanh(rho), z * se / (1.0 - rho**2)
    limits = {"lower": float(np.tanh(middle - reach)), "upper": float(np.tanh(middle + reach))}
    return nothing | {"estimate": rho} | limits


def _back_to_user(ready: Prepared, criterion: Criterion) -> Array:
    """Return the matrix that carries φ of the moments to the user's scale."""
    q, effects = criterion.random, ready.scaling.effects
    rows, columns = np.tril_indices(q)
    rest = int(criterion.grouped) + criterion.visits + criterion.residuals
    matrix = np.eye(len(rows) + rest) * ready.scaling.size**2
    kron = np.kron(effects, effects) @ criterion.spread[: q * q, : len(rows)]
    matrix[: len(rows), : len(rows)] = kron.reshape(q, q, -1)[rows, columns]
    return matrix


def group_frame(ready: Prepared, criterion: Criterion, point: Point) -> pd.DataFrame:
    """Return the groups' effects."""
    asked = ready.asked
    if asked.group is None:
        raise CallError("The fit has no groups.")
    effects = group_effects(point.value, point.variances, criterion.intercept)
    size = ready.scaling.size
    return pd.DataFrame(
        {"effect": size * effects.mean, "effect_sd": size * np.sqrt(effects.variance)},
        index=pd.Index(asked.levels[asked.group], name=asked.group),
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
    owner = np.repeat(np.arange(moments.animals), np.diff(moments.entry_start))
    sessions = np.bincount(owner, ones, moments.animals)
    readings = np.bincount(owner, ones * moments.count[moments.entry_slot], moments.animals)
    return _PartOfAnimals(kept.animals, moments.group, effects, sessions, readings)


def _effects(ready: Prepared, point: Point, intercept: int) -> tuple[_PartOfAnimals, GroupEffects]:
    """Return all animals' effects on the scale of the moments, in order of their codes."""
    groups = group_effects(point.value, point.variances, intercept)
    ask = partial(_effects_of_part, value=point.value, variances=point.variances, groups=groups)
    parts = ready.crew.collect(ask, ready.parts)
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
    if ready.rows is None:
        return joined, groups
    order = labels.get_indexer(ready.rows.animals)
    effects = AnimalEffects(*(array[order] for array in effects))
    return _PartOfAnimals(
        labels[order],
        joined.group[order],
        effects,
        joined.sessions[order],
        joined.readings[order],
    ), groups


def animal_frame(ready: Prepared, criterion: Criterion, point: Point) -> pd.DataFrame:
    """Return the animals' effects on the user's scale, and what they rest on."""
    part, _ = _effects(ready, point, criterion.intercept)
    back = ready.scaling.effects
    mean = part.effects.mean @ back.T
    variance = np.einsum("ij,njk,ik->ni", back, part.effects.covariance, back)
    frame: dict[str, Any] = {}
    if ready.asked.group is not None:
        levels = np.array(ready.asked.levels[ready.asked.group], dtype=object)
        frame[ready.asked.group] = levels[part.group]
    frame["sessions"] = part.sessions.astype(np.int64)
    frame["readings"] = part.readings.astype(np.int64)
    for i, name in enumerate(["intercept", *ready.asked.slopes]):
        frame[name] = mean[:, i]
        frame[f"{name}_sd"] = np.sqrt(np.maximum(variance[:, i], 0.0))
    return pd.DataFrame(frame, index=pd.Index(part.labels, name="animal"))


def _rows(ready: Prepared, what: str) -> Rows:
    if ready.rows is None:
        raise CallError(f"{what} needs the data in one frame; this fit read them in parts.")
    return ready.rows


def session_frame(cohort: Cohort) -> pd.DataFrame:
    """Return each session's mean beside its fitted values and effects."""
    ready, point = cohort.ready, cohort.point
    rows = _rows(ready, "sessions")
    arrays = ready.scaling.scaled(session_arrays(rows, ready.has_visits))
    part, groups = _effects(ready, point, cohort.likelihood.intercept)
    z = arrays.u[:, ready.scaling.z]
    own = combinations(point.value, part.effects, groups, rows.groups, ready.scaling.z)
    left = np.einsum("jm,jm->j", arrays.u, own[rows.animal])
    v, size = point.variances, ready.scaling.size
    visit = np.append(v.visit, 0.0)[arrays.visit]
    reading = v.residual[rows.residual] / rows.count
    effects = visit_effects(
        left, z, rows.animal, (visit, reading), part.effects, groups.variance[rows.groups]
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


def sandwich(ready: Prepared, criterion: Criterion, point: Point) -> Array:
    """Return the covariance of the fixed effects from the scores of animals (or groups).

    With C clusters the sum is multiplied by C / (C − 1).
    """
    rows = _rows(ready, "robust")
    arrays = ready.scaling.scaled(session_arrays(rows, ready.has_visits))
    part, groups = _effects(ready, point, criterion.intercept)
    own = combinations(point.value, part.effects, groups, rows.groups, ready.scaling.z)
    grouped = ready.asked.group is not None
    cluster = rows.groups if grouped else np.arange(len(rows.animals))
    number = len(groups.mean) if grouped else len(rows.animals)
    scores = cluster_scores(arrays, point.variances, own, cluster, number)
    moved = scores @ criterion.basis @ point.value.root @ point.value.root.T
    result: Array = moved.T @ moved * (number / (number - 1.0))
    return result


def prediction_frame(
    cohort: Cohort, frame: pd.DataFrame, with_animal: bool, interval: float
) -> pd.DataFrame:
    """Return predictions with intervals."""
    design = cohort.ready.asked.design
    assert design is not None
    needed = [name for name in cohort.ready.asked.formula.columns if name not in frame.columns]
    if needed:
        raise CallError(f'The frame has no column "{needed[0]}", which the formula needs.')
    x = design.matrix(frame)
    if with_animal:
        return _animal_predictions(cohort, frame, x, interval)
    result = cohort.estimates(x, list(frame.index), interval)
    result.index = frame.index
    return result[["estimate", "se", "lower", "upper"]]


def _animal_predictions(
    cohort: Cohort, frame: pd.DataFrame, x: Array, interval: float
) -> pd.DataFrame:
    ready, point = cohort.ready, cohort.point
    rows = _rows(ready, "predict by animal")
    code = rows.animals.get_indexer(pd.Index(frame[ready.asked.animal]))
    if np.any(code < 0):
        stranger = frame[ready.asked.animal].to_numpy()[code < 0][0]
        raise CallError(f"Animal {stranger} is not in the fit; predict the population instead.")
    names = ready.scaling.names
    extra = [frame[name].to_numpy(float) for name in ready.asked.slopes if name not in names]
    slopes = np.column_stack(extra) if extra else np.zeros((len(x), 0))
    scaled = ready.scaling.columns_of(x, slopes)
    part, groups = _effects(ready, point, cohort.likelihood.intercept)
    z = scaled[:, ready.scaling.z]
    effects, group = part.effects, rows.groups[code]
    value = x @ cohort.coefficients + ready.scaling.size * (
        np.einsum("ni,ni->n", z, effects.mean[code]) + groups.mean[group]
    )
    leverage = _leverage(cohort, scaled[:, : len(names)], z, code, groups)
    own = np.einsum("ni,nij,nj->n", z, effects.covariance[code], z)
    own += 2.0 * np.einsum("ni,ni->n", z, effects.with_group[code]) + groups.variance[group]
    se = ready.scaling.size * np.sqrt(np.einsum("ni,ni->n", leverage, leverage) + own)
    reach = float(ndtri(0.5 + interval / 2.0)) * se
    columns = {"estimate": value, "se": se, "lower": value - reach, "upper": value + reach}
    return pd.DataFrame(columns, index=frame.index)


def _leverage(
    cohort: Cohort, x: Array, z: Array, code: NDArray[np.int64], groups: GroupEffects
) -> Array:
    """Return how predictions move with the fixed effects, in units of their uncertainty."""
    point, criterion = cohort.point, cohort.likelihood
    order = np.concatenate([kept.animals for kept in cohort.ready.parts])
    ka = np.concatenate([_gain(kept, point.variances) for kept in cohort.ready.parts])
    place = pd.Index(order).get_indexer(_rows(cohort.ready, "predict").animals)
    ka = ka[place][code]
    group = _rows(cohort.ready, "predict").groups[code]
    edge = groups.variance[:, None] * point.value.products[:, :, criterion.intercept]
    by_x = ka @ criterion.basis
    moved_group = (edge @ criterion.basis)[group]
    to_group = ka[:, :, criterion.intercept]
    moved = x - np.einsum("ni,nip->np", z, by_x) - moved_group
    moved += np.einsum("ni,ni->n", z, to_group)[:, None] * moved_group
    result: Array = moved @ point.value.root
    return result


def _gain(kept: Kept, variances: Variances) -> Array:
    weight = weights(kept.moments, variances).weight
    return animal_blocks(kept.moments, weight, variances.factor).ka


def reference_rows(
    cohort: Cohort, by: str | Sequence[str], at: Mapping[str, Any]
) -> tuple[list[str], Array]:
    """Return names and contrasts (r, p) of the marginal means at levels of some columns."""
    design, asked = cohort.ready.asked.design, cohort.ready.asked
    assert design is not None
    wanted = [by] if isinstance(by, str) else list(by)
    values: dict[str, list[Any]] = {}
    for name in asked.formula.columns:
        given = at.get(name)
        if given is not None:
            values[name] = list(given) if np.ndim(given) else [given]
        elif name in design.levels:
            values[name] = list(design.levels[name])
        elif name in wanted:
            raise CallError(f'Column "{name}" holds numbers: say at which values, with at=.')
        else:
            values[name] = [_mean_of(cohort, name)]
    strange = [name for name in [*wanted, *at] if name not in values]
    if strange:
        raise CallError(f'Column "{strange[0]}" is not in the formula.')
    grid = pd.DataFrame(list(product(*values.values())), columns=list(values))
    x = design.matrix(grid)
    cells = list(product(*(values[name] for name in wanted)))
    rows = []
    for cell in cells:
        inside = np.ones(len(grid), bool)
        for name, level in zip(wanted, cell, strict=True):
            inside &= (grid[name] == level).to_numpy()
        rows.append(x[inside].mean(axis=0))
    return [", ".join(str(level) for level in cell) for cell in cells], np.array(rows)


def _mean_of(cohort: Cohort, name: str) -> float:
    """Return the mean over readings of a column of numbers that stands in X by itself."""
    names, total = cohort.terms, cohort.ready.total
    if name not in names:
        raise CallError(f'Say at which value of "{name}" the means are wanted, with at=.')
    place = names.index(name)
    return float(total.first[place] / total.weight + cohort.ready.shift[place])


def comparison(
    one: Cohort, two: Cohort, test: Callable[[float, float, int], tuple[float, float]]
) -> pd.DataFrame:
    """Return both fits and their likelihood-ratio test."""
    small, large = sorted((one, two), key=lambda fit: fit.parameters)
    _refuse_comparison(small, large)
    degrees = large.parameters - small.parameters
    chi, p = test(small.criterion, large.criterion, degrees)
    rows = [
        {
            "formula": fit.formula,
            "parameters": fit.parameters,
            "criterion": fit.criterion,
            "aic": fit.aic,
            "bic": fit.bic,
        }
        for fit in (small, large)
    ]
    frame = pd.DataFrame(rows, index=pd.Index(["smaller", "larger"], name="fit"))
    return frame.assign(chisq=[np.nan, chi], df=[np.nan, degrees], p=[np.nan, p])


def _refuse_comparison(small: Cohort, large: Cohort) -> None:
    a, b = small.ready.total, large.ready.total
    mean = [
        fit.ready.total.first[-1] / fit.ready.total.weight + fit.ready.shift[-1]
        for fit in (small, large)
    ]
    if a.observations != b.observations or not np.isclose(mean[0], mean[1], rtol=1e-9):
        raise CallError(
            f"The fits are of different data: {a.observations} and {b.observations} readings "
            "or other outcomes."
        )
    if small.reml != large.reml:
        raise CallError("One fit is by REML and the other by ML; fit both the same way.")
    if small.reml and set(small.terms) != set(large.terms):
        raise CallError(
            "Fits by REML with different fixed effects cannot be compared: use "
            "reml=False (or by_maximum_likelihood()) for both."
        )
    if small.parameters == large.parameters:
        raise CallError("The fits have as many parameters: neither is nested in the other.")
    if not _nested(small, large):
        raise CallError("The smaller fit is not nested in the larger one.")


def _nested(small: Cohort, large: Cohort) -> bool:
    a, b = small.ready.asked, large.ready.asked
    terms = set(small.terms) <= set(large.terms) or _same_span(small, large)
    slopes = set(a.slopes) <= set(b.slopes)
    correlated = large.correlated or not small.correlated or not a.slopes
    classes = a.visit_by in (None, b.visit_by) and a.residual_by in (None, b.residual_by)
    visits = large.ready.has_visits or not small.ready.has_visits
    return terms and slopes and correlated and classes and visits and a.group in (None, b.group)


def _same_span(small: Cohort, large: Cohort) -> bool:
    """Return whether the smaller fit's X lies in the span of the larger's."""
    if small.ready.rows is None or large.ready.rows is None:
        return False
    x, within = large.ready.rows.x, small.ready.rows.x
    if len(x) != len(within):
        return False
    left = within - x @ np.linalg.lstsq(x, within, rcond=None)[0]
    return bool(np.abs(left).max() < 1e-8 * max(1.0, float(np.abs(within).max())))
