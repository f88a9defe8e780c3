"""A cohort's linear mixed model, fitted from session statistics.

`fit_cohort` gives a frozen `Cohort`; what it can tell is worked out when it is asked for.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from bpvet.errors import CallError, FitError
from bpvet.frozen import replace
from bpvet.mixed.columns import ModelSpec, Roles, model_spec
from bpvet.mixed.executors import is_executor
from bpvet.mixed.result import Cohort, check_df, fitted
from bpvet.mixed.steps import (
    CohortData,
    Executor,
    Mapped,
    columns_of_file,
    criterion_of,
    prepare,
)

__all__ = ["Cohort", "fit_cohort"]

_SLICES = 8


def fit_cohort(
    data: pd.DataFrame | Sequence[Any],
    formula: str,
    animal: str = "animal",
    session: str | None = "session",
    slope: str | Sequence[str] | None = None,
    correlated: bool = True,
    visit_by: str | None = None,
    residual_by: str | None = None,
    group: str | None = None,
    robust: bool = False,
    reml: bool = True,
    df: str = "satterthwaite",
    map: Any = map,
) -> Cohort:
    """Fit a mixed model to a cohort's sessions, readings, or plain repeated measures.

    Parameters
    ----------
    data : DataFrame, or sequence of DataFrames or paths
        Sessions as `bpvet.sessions` gives them (the outcome beside its ``_n`` and ``_ss``), or
        one row a reading, or with ``session=None`` rows that stand alone. A sequence is the same
        data in parts (frames, Parquet or CSV files); each animal is in one part.
    formula : str
        Such as ``systolic ~ months * treated + method``.
    animal, session : str
        Columns of the animal, and of the session within the animal.
    slope : str or up to two str, optional
        Columns (of the data or of the design) whose coefficient varies between animals.
    correlated : bool
        Whether an animal's intercept and slopes are correlated.
    visit_by, residual_by : str, optional
        Columns with a visit SD, or a reading SD, for each level.
    group : str, optional
        Column of a group, such as the clinic, in which animals nest.
    robust : bool
        Sandwich standard errors by animal (by group where there are groups).
    reml : bool
        REML, or maximum likelihood.
    df : str
        ``satterthwaite``, ``kenward_roger`` (REML only) or ``residual``.
    map : callable or executor
        The built-in `map`, a process pool's, or an object with `scatter` and `gather`
        (`bpvet.mixed.executors`).

    Raises
    ------
    CallError, FormulaError
        If the call cannot be understood.
    FitError
        If the model cannot be fitted to these data; it says why.
    """
    roles = Roles(animal, session, _slopes(slope), visit_by, residual_by, group)
    check_df(df, reml, robust)
    _check_names(roles)
    executor = _executor_of(map)
    spec = model_spec(_columns(data), formula, roles)
    prepared = _prepared(data, spec, executor, correlated)
    return _without_pool(fitted(prepared, correlated, reml, df, robust))


def _executor_of(mapping: Any) -> Executor:
    """Return what the parts of the data are sent out with."""
    if is_executor(mapping):
        return mapping
    if not callable(mapping):
        raise CallError("map is a mapping function, or an object with scatter and gather.")
    return Mapped(mapping)


def _without_pool(fit: Cohort) -> Cohort:
    """Return a fit whose answers need no worker that may be gone by then, as far as can be."""
    if isinstance(fit.data.executor, Mapped):
        # The parts are here: answers asked for later need no pool.
        here = fit.data._replace(executor=Mapped(_BUILT_IN))
        return replace(fit, data=here, likelihood=criterion_of(here, fit.reml))
    # What most readers want is worked out while the workers are there.
    # Naming them works them out.
    fit.fixed, fit.variance  # noqa: B018
    return fit


def _prepared(data: Any, spec: ModelSpec, executor: Executor, correlated: bool) -> CohortData:
    """Return the data ready to fit, after checking that visit and reading SDs can be told apart."""
    plain = isinstance(executor, Mapped) and executor.mapping is _BUILT_IN
    prepared = prepare(data, spec, executor, correlated, 1 if plain else _SLICES)
    if spec.visit_by is not None and not prepared.has_visits:
        raise FitError(
            "Each session holds one reading, so that visit and reading scatter cannot be told "
            "apart: pass session=None, and residual_by in place of visit_by."
        )
    return prepared


_BUILT_IN = map


def _slopes(slope: Any) -> tuple[str, ...]:
    slopes = (slope,) if isinstance(slope, str) else () if slope is None else slope
    named = isinstance(slopes, (tuple, list)) and all(isinstance(name, str) for name in slopes)
    if not named or len(slopes) > 2 or len(set(slopes)) < len(slopes):
        raise CallError("slope takes one name, or two different ones.")
    return tuple(slopes)


def _check_names(roles: Roles) -> None:
    if not isinstance(roles.animal, str):
        raise CallError("animal is the name of a column.")
    for name in (roles.session, roles.visit_by, roles.residual_by, roles.group):
        if name is not None and not isinstance(name, str):
            raise CallError(
                f"session, visit_by, residual_by and group are names of columns, not {name!r}."
            )


def _columns(data: Any) -> list[str]:
    """Return the names of the columns; one that is no text cannot be asked for."""
    if isinstance(data, pd.DataFrame):
        return _texts(data)
    given = isinstance(data, Sequence) and not isinstance(data, str)
    kinds = (pd.DataFrame, str, Path)
    if not given or not len(data) or not all(isinstance(part, kinds) for part in data):
        raise CallError("data is a DataFrame, or a sequence of DataFrames or paths.")
    if isinstance(data[0], pd.DataFrame):
        return _texts(data[0])
    return columns_of_file(data[0])


def _texts(frame: pd.DataFrame) -> list[str]:
    return [name for name in frame.columns if isinstance(name, str)]
