"""From records to trends: which series, which priors, one pass over all of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bpvet.errors import CallError
from bpvet.facts.priors.priors import Priors
from bpvet.facts.priors.table import PriorTable
from bpvet.facts.words import LAB_METHOD, LAB_QUANTITIES
from bpvet.frozen import field_names, replace
from bpvet.models.trend.columns import noise_groups
from bpvet.models.trend.designs import all_columns
from bpvet.models.trend.fitting import Fitting
from bpvet.models.trend.posteriors import posteriors
from bpvet.models.trend.trend import Context, Trend
from bpvet.records.records import Records
from bpvet.visits.labs.series import lab_series
from bpvet.visits.series import Series, Source
from bpvet.visits.series import series as series_of
from bpvet.visits.session_columns import SessionColumns, of_animal
from bpvet.visits.sessions import session_store
from bpvet.visits.treatments.courses import courses as treatments_of


def fit_trend(
    records: Records,
    animal: str,
    method: str | None = None,
    quantity: str = "systolic",
    *,
    rule: str = "guideline",
    condition: str | None = None,
    bridge: Sequence[str] = (),
    priors: Priors | PriorTable | None = None,
    fixed: Mapping[str, float] | None = None,
    as_of: Any = None,
) -> Trend:
    """Fit the trend of one animal by one method under one condition.

    Parameters
    ----------
    records : Records
        As `bpvet.read` or `Records.from_frames` give them.
    animal : str
        Its id, or an unambiguous name.
    method : str or None
        ``doppler`` or ``oscillometric``; by default that of the latest session that may enter
        a trend; of two methods on its date, the one with more sessions in the year before.
    quantity : str
        ``systolic``, ``diastolic``, ``mean``, ``heart_rate`` or ``pulse_pressure``; or of the
        laboratory ``creatinine``, ``sdma``, ``upc``, ``phosphate`` or ``weight``, which are
        modelled as logarithms and answered on their own scale.
    rule : str
        Which readings count: ``guideline`` or ``all``.
    condition : str or None
        ``clinic``, ``home`` or ``calmed``; by default that with most sessions by the method.
    bridge : sequence of str
        ``methods``, ``conditions``: join them through an estimated difference.
    priors, fixed
        What stands in for the default priors, and noise SDs held fixed, as `Fitting` has them.
    as_of : date or None
        The date to speak for; by default that of the records.

    Returns
    -------
    Trend

    Raises
    ------
    CallError
        Where no session is left, or a name is not known.
    RecordsError
        Where the records have findings that stop the work.
    FitError
        Where the noise SDs could not be integrated.
    """
    fitting = Fitting(rule, tuple(bridge), priors, fixed, as_of)
    return fit_series(*_series_of(records, animal, (method, quantity, condition), fitting))[0]


def fit_beside(trend: Trend, quantity: str) -> Trend:
    """Return the animal's trend of a laboratory value, fitted once and kept with its other trend.

    Parameters
    ----------
    trend : Trend
        Another trend of the animal.
    quantity : str
        Of the laboratory; what it raises is as in `fit_trend`.
    """
    if quantity not in trend.beside:
        trend.beside[quantity] = fit_trend(trend.records, trend.series.animal, quantity=quantity)
    return trend.beside[quantity]


def _series_of(
    records: Records,
    animal: str,
    which: tuple[str | None, str, str | None],
    fitting: Fitting,
) -> tuple[list[Series], list[Context]]:
    """Return the series of one animal, and where it came from; `which`: method … condition."""
    records = fitting.usable(records)
    key, rule, bridge = records.animal(animal), fitting.rule, tuple(fitting.bridge)
    rows, treatments = session_store(records, rule).of_animal(key), treatments_of(records, key)
    method, quantity, condition = which
    series = (
        _lab_series(records, key, method, quantity, condition, bridge)
        if quantity in LAB_QUANTITIES
        else series_of(
            records,
            key,
            method=method,
            quantity=quantity,
            condition=condition,
            bridge=bridge,
            source=Source(rows, {key: treatments}),
        )
    )
    row = records.rows_by_animal.get(key)
    context = Context(
        records=records,
        rows=rows,
        treatments=treatments,
        rule=rule,
        bridge=bridge,
        priors=priors_for(series, "" if row is None else row.measured_before, fitting.priors),
        fixed=fitting.fixed,
        given=fitting.priors,
    )
    return [series], [context]


def fit_series(series: Sequence[Series], contexts: Sequence[Context]) -> list[Trend]:
    """Fit several series in one pass over all of them.

    Parameters
    ----------
    series, contexts : sequences of one length
        The series and where they came from; all with the same noise SDs held fixed, or none.

    Notes
    -----
    Source: the state-space form of Harvey (1989); priors and rules as documented with
    `Priors`. The noise SDs are integrated by `bpvet.maths.quadrature.integrate`.
    """
    timed = [
        with_taus(animal_series, context.priors[0])
        for animal_series, context in zip(series, contexts, strict=True)
    ]
    columns = all_columns(timed, [context.priors[0] for context in contexts])
    fits = posteriors(timed, [context.priors for context in contexts], columns, contexts[0].fixed)
    return [Trend(*parts) for parts in zip(timed, columns, fits, contexts, strict=True)]


def with_taus(series: Series, priors: Priors) -> Series:
    """Return the series with the time constants that the priors name, drug by drug."""
    taus = [priors.tau_days.get(course.drug, course.tau_days) for course in series.courses]
    if all(course.tau_days == tau for course, tau in zip(series.courses, taus, strict=True)):
        return series
    pairs = zip(series.courses, taus, strict=True)
    return replace(series, courses=tuple(replace(course, tau_days=tau) for course, tau in pairs))


def priors_for(
    series: Series, measured_before: str, given: Priors | PriorTable | None
) -> tuple[Priors, ...]:
    """Return the priors of each method of a series: those given, else the defaults.

    Parameters
    ----------
    series : Series
    measured_before : str
        Whether the animal was measured before these records: ``yes``, ``no`` or blank, as
        `Priors.for_animal` takes it.
    given : Priors, PriorTable or None
        One for every series, or a table; None for the defaults.
    """
    return PriorChoice(given).of(series, measured_before)


class PriorChoice:
    """The priors of series; those of one kind of series are made once, and shared.

    Parameters
    ----------
    given : Priors, PriorTable or None
        As in `priors_for`.
    """

    def __init__(self, given: Priors | PriorTable | None) -> None:
        self._given = given
        self._table = given if isinstance(given, PriorTable) else PriorTable({})
        self._known: dict[tuple[str, ...], tuple[Priors, ...]] = {}

    def of(self, series: Series, measured_before: str) -> tuple[Priors, ...]:
        """Return the priors of each method of a series; arguments as in `priors_for`."""
        methods = noise_groups(series)
        key = (series.species, series.quantity, measured_before, *methods)
        if key not in self._known:
            chosen = [
                self._given
                if isinstance(self._given, Priors)
                else self._table[series.species, method, series.quantity]
                for method in methods
            ]
            self._known[key] = tuple(priors.for_animal(measured_before) for priors in chosen)
        return self._known[key]


def animal_sessions(records: Records, animal: str, rule: str = "guideline") -> SessionColumns:
    """Return the sessions of one animal, with the columns of `bpvet.sessions`."""
    return of_animal(session_store(records, rule).of_animal(animal))


def _lab_series(
    records: Records,
    animal: str,
    method: str | None,
    quantity: str,
    condition: str | None,
    bridge: tuple[str, ...],
) -> Series:
    if method not in (None, LAB_METHOD) or condition or bridge:
        raise CallError(
            f"{quantity} is a series of single values: it takes no method, condition or bridge."
        )
    return lab_series(records, animal, quantity)


def refit(trend: Trend, series: Series) -> Trend:
    """Return the trend of a changed series: fewer sessions, other values, other taus."""
    # The latest session's method leads, and fewer sessions may have another one there.
    priors_by_group = dict(zip(noise_groups(trend.series), trend.context.priors, strict=True))
    priors = tuple(priors_by_group[method] for method in noise_groups(series))
    return fit_series([series], [replace(trend.context, priors=priors)])[0]


def subset(series: Series, keep: NDArray[np.bool_]) -> Series:
    """Return the series of the sessions where `keep` (n,) is true; visits keep their index."""
    parts: dict[str, Any] = {
        name: getattr(series, name)[keep]
        for name in field_names(series)
        if isinstance(getattr(series, name), np.ndarray)
    }
    newest = np.flatnonzero(parts["date"] == parts["date"][-1])
    # On a date that holds both, the method of the whole series stays (it was chosen by time).
    same_method = [i for i in newest if parts["methods"][i] == series.method]
    last = same_method[-1] if same_method else newest[-1]
    parts["method"], parts["condition"] = (
        str(parts["methods"][last]),
        str(parts["conditions"][last]),
    )
    return replace(series, **parts)
