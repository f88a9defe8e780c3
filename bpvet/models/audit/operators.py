"""Operators: shrunken means of the mixed model's residuals, with intervals; nobody is ranked.

A clinic's sessions are fitted by `bpvet.fit_cohort` with months, treatment and condition; what is
left of each about the population's line is split into the animal's part, the operator's part and
the session's own, since operators cross animals.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import ndtri

from bpvet.errors import BpvetError, FitError
from bpvet.frozen import dataclass
from bpvet.maths.agreement.comparison import estimated
from bpvet.maths.clusters import SHRUNKEN
from bpvet.maths.crossed import crossed
from bpvet.maths.estimate import Estimate
from bpvet.mixed.cohort import fit_cohort
from bpvet.models.audit.spread import reading_variance
from bpvet.reasons import reason

_NO_MORE_THAN_CHANCE = reason("audit.no_difference")
#: What the mixed model allows for, where it varies, and what it is called.
_ALLOWED = {split: reason(f"audit.allowed.{split}") for split in ("months", "treated", "condition")}


@dataclass(frozen=True)
class OperatorEffect:
    """How an operator's sessions lie beside the others' on the same animals, mmHg.

    Parameters
    ----------
    operator : str
    sessions, animals : int
    effect : Estimate
        Drawn towards zero by how little is known.
    """

    operator: str
    sessions: int
    animals: int
    effect: Estimate


@dataclass(frozen=True)
class Operators:
    """The operators of one method.

    Parameters
    ----------
    method : str
    effects : tuple of OperatorEffect
        In alphabetical order: nobody is ranked.
    sd : Estimate or None
        SD between operators, mmHg; 0 where no more than chance is seen, and how much may be.
    p : float or None
        Of operators differing at all.
    session_sd : float or None
        What remains between an animal's sessions, mmHg: visit noise and change through time. It
        says what is left over and answers nothing: no interval.
    basis : str
        What was compared, in words.
    reason : str or None
        Why there is nothing.
    """

    method: str
    effects: tuple[OperatorEffect, ...]
    sd: Estimate | None
    p: float | None
    session_sd: float | None
    basis: str
    reason: str | None


def operators(table: pd.DataFrame, level: float) -> tuple[Operators, ...]:
    """Return operators' effects by method; sessions of several or unknown people are left out.

    Parameters
    ----------
    table : DataFrame
        Sessions awake, as from `bpvet.sessions`.
    level : float
        Probability of the intervals.
    """
    by_one = table[(table["operator"] != "") & ~table["operator"].str.contains("; ", regex=False)]
    rows = by_one[by_one["systolic"].notna() & (by_one["systolic_bound"] == "")]
    return tuple(
        _operators(str(name), of_method, level) for name, of_method in rows.groupby("method")
    )


def _operators(method: str, rows: pd.DataFrame, level: float) -> Operators:
    if rows["operator"].nunique() < 2 or rows["animal"].nunique() < 2:
        why = reason("audit.few_operators")
        return Operators(method, (), None, None, None, "", why)
    rows = rows.reset_index(drop=True)
    residual, basis = _residuals(rows)
    code, names = pd.factorize(rows["operator"], sort=True)
    try:
        # Residuals are split into the animals', the operators' and the sessions' own parts.
        animal = pd.factorize(rows["animal"])[0]
        known = reading_variance(rows) / rows["systolic_n"].to_numpy(dtype=float)
        fit = crossed(residual, known, np.ones((len(rows), 1)), animal, code, level)
    except FitError as error:
        return Operators(method, (), None, None, None, basis, str(error).rstrip("."))
    reach = float(ndtri((1 + level) / 2)) * np.sqrt(fit.variance)
    effects = []
    for index, name in enumerate(names):
        value, far = float(fit.effect[index]), float(reach[index])
        effect = estimated(value, value - far, value + far, SHRUNKEN)
        if fit.operator_sd == 0:
            effect = estimated(0.0, reason=_NO_MORE_THAN_CHANCE)
        here = rows[code == index]
        effects.append(OperatorEffect(str(name), len(here), here["animal"].nunique(), effect))
    return Operators(method, tuple(effects), fit.between, fit.p, fit.session_sd, basis, None)


def _residuals(rows: pd.DataFrame) -> tuple[NDArray[np.float64], str]:
    """Return session means about the population's line of the mixed model, mmHg, and its words.

    Where the model cannot be fitted, means about those of their condition stand in its place.
    """
    named = [name for name in _ALLOWED if rows[name].nunique() > 1]
    try:
        fit = fit_cohort(rows, f"systolic ~ {' + '.join(named) or '1'}", df="residual")
    except BpvetError as error:
        about = rows.groupby("condition")["systolic"].transform("mean")
        why = reason("audit.no_model", error=error)
        return (rows["systolic"] - about).to_numpy(dtype=float), why
    line = fit.predict(rows)["estimate"]
    *others, last = (reason("audit.allowed.animal"), *(_ALLOWED[name] for name in named))
    basis = reason("audit.residuals", allowed=last)
    if others:
        allowed = reason("audit.allowed", others=", ".join(others), last=last)
        basis = reason("audit.residuals", allowed=allowed)
    return (rows["systolic"] - line).to_numpy(dtype=float), basis
