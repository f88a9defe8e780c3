"""Profile intervals of a fitted cohort, on the user's scale."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from bpvet.errors import CallError
from bpvet.maths.estimate import Estimate
from bpvet.mixed.estimates import correlation_name, effect_names
from bpvet.mixed.profile_likelihood import (
    coefficient_interval,
    correlation_interval,
    effect_interval,
    scalar_interval,
)

if TYPE_CHECKING:
    from bpvet.mixed.result import Cohort


def profile_frame(cohort: Cohort, level: float, parameters: Sequence[str] | None) -> pd.DataFrame:
    """Return profile intervals of the named parameters (all by default)."""
    components = list(cohort.variance["component"])
    known = [*components, *cohort.terms]
    wanted = known if parameters is None else list(parameters)
    strange = [name for name in wanted if name not in known]
    if strange:
        raise CallError(f'There is no parameter "{strange[0]}"; there are {", ".join(known)}.')
    rows = []
    by_ml = cohort.by_maximum_likelihood() if set(wanted) & set(cohort.terms) else cohort
    for name in wanted:
        fixed = name in cohort.terms and name not in components
        row = _fixed(by_ml, name, level) if fixed else _component(cohort, name, level)
        rows.append({"parameter": name} | row)
    return pd.DataFrame(rows, columns=["parameter", "estimate", "lower", "upper", "by"])


def _row(estimate: float, ends: Estimate, by: str) -> dict[str, Any]:
    return {"estimate": estimate, "lower": ends.lower, "upper": ends.upper, "by": by}


def _fixed(cohort: Cohort, name: str, level: float) -> dict[str, Any]:
    scaling = cohort.data.scaling
    column = cohort.terms.index(name)
    row = scaling.coefficients[column]
    spread = float(np.linalg.norm(row @ cohort.point.value.root))
    inner = coefficient_interval(cohort.likelihood, cohort.point, row, spread, level)
    ends = inner.times(scaling.size).plus(float(scaling.start[column]))
    return _row(float(cohort.coefficients[column]), ends, "ML")


def _component(cohort: Cohort, name: str, level: float) -> dict[str, Any]:
    data, point, criterion = cohort.data, cohort.point, cohort.likelihood
    frame = cohort.variance.set_index("component")
    columns = {c: frame[c].to_dict() for c in ("estimate", "sd", "upper")}
    by = "REML" if cohort.reml else "ML"
    scale = np.asarray(np.linalg.inv(data.scaling.effects), dtype=float)
    effects = effect_names(data.spec)
    for j in range(len(effects)):
        for i in range(j):
            if name == correlation_name(data.spec, (i, j)):
                ends = correlation_interval(criterion, point, (i, j), scale, level)
                return _row(columns["estimate"][name], ends, by)
    estimate = float(columns["sd"][name])
    upper = float(columns["upper"][name]) ** 0.5
    spread = (upper - estimate) / 2.0 if np.isfinite(upper) else 0.3 * estimate
    spread = min(max(spread, 1e-3 * estimate), 2.0 * estimate)
    if name in effects:
        effect = effects.index(name)
        step = spread if spread > 0 else 0.1 / float(np.linalg.norm(scale[:, effect]))
        ends = effect_interval(criterion, point, effect, scale, step, level, cohort.correlated)
        return _row(estimate, ends, by)
    alone = [c for c in frame.index if c not in effects and "correlation" not in c]
    inner = spread / data.scaling.size
    ends = scalar_interval(criterion, point, alone.index(name), inner or 0.1, level)
    return _row(estimate, ends.times(data.scaling.size), by)
