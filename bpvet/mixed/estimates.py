"""What a fitted cohort can tell, as frames on the user's scale."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from itertools import product
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.errors import CallError
from bpvet.maths.special import ndtri
from bpvet.mixed.columns import ModelSpec
from bpvet.mixed.criterion import Criterion
from bpvet.mixed.inference import Satterthwaite
from bpvet.mixed.optimiser import Point
from bpvet.mixed.steps import CohortData, slope_places

if TYPE_CHECKING:
    from bpvet.mixed.result import Cohort

Array = NDArray[np.float64]

# A variance whose logarithm has limits this far away is as good as not known.
_FARTHEST = 100.0


def effect_names(spec: ModelSpec) -> list[str]:
    """Return the names of an animal's effects in `variance`."""
    return ["animal", *(f"animal: {slope}" for slope in spec.slopes)]


def component_names(spec: ModelSpec, has_visits: bool) -> list[str]:
    """Return the names of the likelihood's variances and covariances, in its order."""
    names = effect_names(spec)
    inner = ["intercept", *spec.slopes]
    found = [
        names[i] if i == j else f"animal: covariance of {inner[j]} and {inner[i]}"
        for i in range(len(names))
        for j in range(i + 1)
    ]
    found += ["group"] if spec.group else []
    found += _class_names("visit", spec.visit_by, spec) if has_visits else []
    return found + _class_names("residual", spec.residual_by, spec)


def _class_names(what: str, by: str | None, spec: ModelSpec) -> list[str]:
    return [what] if by is None else [f"{what}: {level}" for level in spec.levels[by]]


def user_covariance(data: CohortData, point: Point) -> Array:
    """Return G on the user's scale."""
    factor = data.scaling.effects @ point.variances.factor
    return factor @ factor.T


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


def shares(data: CohortData, point: Point) -> Shares:
    """Return the variances, that of an animal's effects averaged over the readings."""
    total, shift, size = data.total, data.shift, data.scaling.size**2
    places = list(slope_places(data.spec))
    mean = total.first / total.weight
    square = total.second / total.weight
    square = square + np.outer(shift, mean) + np.outer(mean, shift) + np.outer(shift, shift)
    moments = np.ones((1 + len(places), 1 + len(places)))
    moments[0, 1:] = moments[1:, 0] = (mean + shift)[places]
    moments[1:, 1:] = square[np.ix_(places, places)]
    v = point.variances
    return Shares(
        animal=float((user_covariance(data, point) * moments).sum()),
        group=v.group * size,
        visit=v.visit * size,
        residual=v.residual * size,
        readings_visit=total.visit / max(float(total.visit.sum()), 1.0),
        readings_residual=total.residual / total.weight,
    )


def fitted_variance(data: CohortData, coefficients: Array) -> float:
    """Return the variance of Xβ over the readings, with divisor n − 1."""
    total, p = data.total, len(coefficients)
    mean = total.first[:p] / total.weight
    spread = total.second[:p, :p] - total.weight * np.outer(mean, mean)
    return float(coefficients @ spread @ coefficients / (total.weight - 1.0))


def icc_frame(data: CohortData, point: Point) -> pd.DataFrame:
    """Return intraclass correlations, for each class where scatter differs between classes."""
    s, spec = shares(data, point), data.spec
    visits = dict(zip(_class_names("", spec.visit_by, spec), s.visit, strict=False))
    rows = []
    for name, residual in zip(_class_names("", spec.residual_by, spec), s.residual, strict=True):
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
    data: CohortData, criterion: Criterion, point: Point, rule: Satterthwaite, correlated: bool
) -> pd.DataFrame:
    """Return the variance components with Wald limits."""
    spec, q = data.spec, criterion.random
    # The matrix that carries φ of the moments to the user's scale.
    random, effects = criterion.random, data.scaling.effects
    row, column = np.tril_indices(random)
    rest = int(criterion.grouped) + criterion.visits + criterion.residuals
    back = np.eye(len(row) + rest) * data.scaling.size**2
    kron = np.kron(effects, effects) @ criterion.spread[: random * random, : len(row)]
    back[: len(row), : len(row)] = kron.reshape(random, random, -1)[row, column]
    natural = back @ criterion.natural(point.variances)
    change = back @ point.parametrisation.jacobian(point.psi)
    lower = np.tril_indices(q)
    names = component_names(spec, data.has_visits)
    z = float(ndtri(0.975))
    rows: list[dict[str, Any]] = []
    for parameter in range(len(names)):
        if parameter < len(lower[0]) and lower[0][parameter] != lower[1][parameter]:
            continue
        value = max(float(natural[parameter]), 0.0)
        se = float(np.sqrt(max(change[parameter] @ rule.parameters @ change[parameter], 0.0)))
        rows.append(_component(names[parameter], value, z * se / value if value > 0 else np.inf))
    single = [lower[0][i] == lower[1][i] for i in range(len(lower[0]))]
    after = sum(single)
    if correlated:
        for parameter in (i for i, mine in enumerate(single) if not mine):
            pair = int(lower[1][parameter]), int(lower[0][parameter])
            rows.insert(after, _correlation(data, natural, change, rule, parameter, pair, z))
            after += 1
    return pd.DataFrame(rows, columns=["component", "estimate", "sd", "lower", "upper"])


def _component(name: str, value: float, reach: float) -> dict[str, Any]:
    """Return a variance with its limits, `reach` away on the log scale (too far: none above)."""
    far = not reach < _FARTHEST
    return {
        "component": name,
        "estimate": value,
        "sd": float(np.sqrt(value)),
        "lower": 0.0 if far else value * float(np.exp(-reach)),
        "upper": np.nan if far else value * float(np.exp(reach)),
    }


def correlation_name(spec: ModelSpec, pair: tuple[int, int]) -> str:
    """Return the name of a correlation in `variance`."""
    inner = ["intercept", *spec.slopes]
    return f"animal: correlation of {inner[pair[0]]} and {inner[pair[1]]}"


def _correlation(
    data: CohortData,
    natural: Array,
    change: Array,
    rule: Satterthwaite,
    parameter: int,
    pair: tuple[int, int],
    z: float,
) -> dict[str, Any]:
    first, second = (i * (i + 1) // 2 + i for i in pair)
    name = correlation_name(data.spec, pair)
    nothing = {"component": name, "estimate": np.nan, "sd": np.nan}
    a, b = natural[first], natural[second]
    if a <= 0 or b <= 0:
        return nothing | {"lower": np.nan, "upper": np.nan}
    rho = float(np.clip(natural[parameter] / np.sqrt(a * b), -1.0, 1.0))
    slope = change[parameter] / np.sqrt(a * b)
    slope = slope - 0.5 * rho * (change[first] / a + change[second] / b)
    se = float(np.sqrt(max(slope @ rule.parameters @ slope, 0.0)))
    if 1.0 - rho**2 < 1e-10:
        return nothing | {"estimate": rho, "lower": np.nan, "upper": np.nan}
    middle, reach = np.arctanh(rho), z * se / (1.0 - rho**2)
    limits = {"lower": float(np.tanh(middle - reach)), "upper": float(np.tanh(middle + reach))}
    return nothing | {"estimate": rho} | limits


def reference_rows(
    cohort: Cohort, by: str | Sequence[str], at: Mapping[str, Any]
) -> tuple[list[str], Array]:
    """Return names and contrasts (r, p) of the marginal means at levels of some columns."""
    design, spec = cohort.data.spec.design, cohort.data.spec
    assert design is not None
    wanted = [by] if isinstance(by, str) else list(by)
    values: dict[str, list[Any]] = {}
    for name in spec.formula.columns:
        given = at.get(name)
        if given is not None:
            values[name] = list(given) if np.ndim(given) else [given]
        elif name in design.levels:
            values[name] = list(design.levels[name])
        elif name in design.classes and name not in spec.formula.plain:
            values[name] = list(design.classes[name])
        elif name in wanted:
            raise CallError(f'Column "{name}" holds numbers: say at which values, with at=.')
        else:
            names, total = cohort.terms, cohort.data.total
            if name not in names:
                raise CallError(f'Say at which value of "{name}" the means are wanted, with at=.')
            column = names.index(name)
            values[name] = [float(total.first[column] / total.weight + cohort.data.shift[column])]
    if not wanted:
        raise CallError("Say by which columns the means are wanted.")
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


def comparison(
    first: Cohort, second: Cohort, test: Callable[[float, float, int], tuple[float, float]]
) -> pd.DataFrame:
    """Return both fits and their likelihood-ratio test."""
    small, large = sorted((first, second), key=lambda fit: fit.parameters)
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
    a, b = small.data.total, large.data.total
    mean = [
        fit.data.total.first[-1] / fit.data.total.weight + fit.data.shift[-1]
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
    a, b = small.data.spec, large.data.spec
    terms = set(small.terms) <= set(large.terms) or _same_span(small, large)
    slopes = set(a.slopes) <= set(b.slopes)
    correlated = large.correlated or not small.correlated or not a.slopes
    classes = a.visit_by in (None, b.visit_by) and a.residual_by in (None, b.residual_by)
    visits = large.data.has_visits or not small.data.has_visits
    return terms and slopes and correlated and classes and visits and a.group in (None, b.group)


def _same_span(small: Cohort, large: Cohort) -> bool:
    """Return whether the smaller fit's X lies in the span of the larger's."""
    if small.data.rows is None or large.data.rows is None:
        return False
    x, within = large.data.rows.x, small.data.rows.x
    if len(x) != len(within):
        return False
    left = within - x @ np.linalg.lstsq(x, within, rcond=None)[0]
    return bool(np.abs(left).max() < 1e-8 * max(1.0, float(np.abs(within).max())))
