"""Every series of a clinic, fitted in batches: the same numbers as one at a time."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import islice
from typing import Unpack

import numpy as np
import pandas as pd

from bpvet.errors import CallError
from bpvet.facts.priors.priors import Priors
from bpvet.facts.words import DECIMALS, LAB_QUANTITIES, METHODS, TREND_CONDITIONS, Bound
from bpvet.garbage import garbage_waits
from bpvet.maths.mixture import Mixture
from bpvet.maths.posterior import Posterior
from bpvet.models.trend.columns import Columns, noise_groups
from bpvet.models.trend.designs import all_columns
from bpvet.models.trend.fit import PriorChoice, with_taus
from bpvet.models.trend.fitting import FitOptions, Fitting
from bpvet.models.trend.newest import usual_newest
from bpvet.models.trend.posteriors import posteriors
from bpvet.models.trend.trend import Context, Trend
from bpvet.printing import ShortTable, Tabled, number
from bpvet.records.records import Records
from bpvet.visits.labs.series import all_lab_series
from bpvet.visits.series import Series, Source, all_series
from bpvet.visits.sessions import session_store
from bpvet.visits.treatments.courses import Treatments, all_courses

Key = tuple[str, str, str, str]
_Job = tuple[list[Series], list[tuple[Priors, ...]], list[Columns], Mapping[str, float] | None]

#: Values held at once by a batch; sessions of a batch are few where its series are long.
_BATCH_VALUES = 600_000
_MOST_ANIMALS = 128
_NODES = 425
_KEYS = ("animal", "method", "condition", "quantity")
#: Trends that are printed of many: the numbers of each are worked out for it.
_MOST_SHOWN = 30


class Trends(Tabled, Mapping[Key, Trend]):
    """Trends by (animal, method, condition, quantity): a mapping that prints a line for each.

    Parameters
    ----------
    trends : mapping or iterable of (key, Trend)
        In the order in which they are to stand.

    Examples
    --------
    >>> import bpvet, pandas as pd
    >>> readings = pd.DataFrame(
    ...     {"animal": ["A17"] * 4, "method": "doppler", "systolic": [162, 158, 150, 154],
    ...      "taken_at": ["2026-03-01", "2026-03-01", "2026-03-15", "2026-03-15"]}
    ... )
    >>> animals = pd.DataFrame({"animal": ["A17"], "species": ["cat"]})
    >>> records = bpvet.Records.from_frames(readings, animals=animals, as_of="2026-03-20")
    >>> trends = bpvet.fit_trends(records)
    >>> ("A17", "doppler", "clinic", "systolic") in trends
    True
    >>> trends.to_frame()[["animal", "sessions", "usual", "unit"]].round(1)
      animal  sessions  usual  unit
    0    A17         2  150.4  mmHg
    """

    __slots__ = ("_trends",)

    def __init__(self, trends: Mapping[Key, Trend] | Iterable[tuple[Key, Trend]] = ()) -> None:
        self._trends = dict(trends)

    def __getitem__(self, key: Key) -> Trend:
        return self._trends[key]

    def __iter__(self) -> Iterator[Key]:
        return iter(self._trends)

    def __len__(self) -> int:
        return len(self._trends)

    def __contains__(self, key: object) -> bool:
        return key in self._trends

    def to_frame(self, level: float = 0.95) -> pd.DataFrame:
        """Return one row a series: its latest usual value, in full precision.

        Parameters
        ----------
        level : float
            Probability that the interval holds.

        Returns
        -------
        DataFrame
            In the order of the trends: animal, method, condition, quantity, sessions, latest_date,
            usual (at that date), lower, upper, sd (in the unit) and unit. Where
            three quarters of a record's readings or more lie beyond the gauge, only the end that
            they tell of is given, as in `Trend.one_sided`; the rest is NaN, and so is the SD of
            laboratory values.
        """
        trends = list(self.values())
        usual = usual_newest(trends)
        numbers = np.array(
            [_numbers(*each, level) for each in zip(trends, usual, strict=True)]
        ).reshape(-1, 4)
        keys = pd.DataFrame(list(self), columns=list(_KEYS), dtype="str")
        dates = np.array([trend.latest_date for trend in trends], dtype="datetime64[s]")
        return keys.assign(
            sessions=np.array([trend.series.y.size for trend in trends], dtype=np.int64),
            latest_date=pd.to_datetime(dates),
            **dict(zip(("usual", "lower", "upper", "sd"), numbers.T, strict=True)),
            unit=pd.array([trend.series.unit for trend in trends], dtype="str"),
        )

    def _table(self) -> ShortTable:
        rows = []
        for key, trend in islice(self.items(), _MOST_SHOWN):
            latest, only = trend.latest, trend.one_sided
            places = DECIMALS.get(trend.series.quantity, 0)
            ends = " to ".join(number(float(end), places) for end in latest.interval(0.95))
            centre = number(float(latest.mean), places)
            if only:
                known = latest.interval(0.95)[only == Bound.AT_MOST]
                centre, ends = f"{only} {number(float(known), places)}", ""
            numbers = (centre, ends, trend.series.unit)
            rows.append((*key, str(trend.series.y.size), str(trend.latest_date), *numbers))
        left = len(self) - len(rows)
        return ShortTable(
            f"{len(self)} trends",
            (*_KEYS, "sessions", "latest", "usual", "95 % interval", "unit"),
            tuple(rows),
            (f"… and {left} more",) if left > 0 else (),
        )


def _numbers(trend: Trend, usual: Mixture, level: float) -> tuple[float, float, float, float]:
    """Return usual value, ends of its interval and SD, NaN where they are not to be told."""
    low, high = (float(end) for end in usual.interval(level))
    if trend.one_sided:
        least = trend.one_sided == Bound.AT_LEAST
        return (np.nan, low, np.nan, np.nan) if least else (np.nan, np.nan, high, np.nan)
    return float(usual.mean), low, high, float(usual.sd)


@garbage_waits()
def fit_trends(
    records: Records,
    quantities: Iterable[str] = ("systolic",),
    methods: Iterable[str] = METHODS,
    conditions: Iterable[str] = TREND_CONDITIONS,
    *,
    processes: int = 1,
    progress: bool | None = None,
    **fitting: Unpack[FitOptions],
) -> Trends:
    """Fit the trend of every series of every animal.

    Parameters
    ----------
    records : Records
    quantities, methods, conditions : iterables of str
        Those to take; a method that does not give a quantity has no series of it. Laboratory
        quantities have one series an animal, whatever the methods and conditions.
    processes : int
        Processes to share the batches; the numbers do not depend on it.
    progress : bool or None
        Whether to show a progress bar on standard error; by default only on a terminal.
    **fitting
        ``rule``, ``bridge``, ``priors``, ``fixed`` and ``as_of``, as in `bpvet.fit_trend`.

    Returns
    -------
    Trends
        A mapping of `Trend` by (animal, method, condition, quantity), sorted.

    Raises
    ------
    CallError
        Where a name is not known or `processes` is no positive number.
    FitError
        Where the noise SDs of a series could not be integrated.
    """
    if processes < 1:
        raise CallError(f"processes must be 1 or more, not {processes}.")
    how = Fitting(**fitting)
    found = _series_of_all(how.usable(records), (quantities, methods, conditions), how)
    keys, contexts = list(found), [context for _, context in found.values()]
    trends = fit_clinic([series for series, _ in found.values()], contexts, processes, progress)
    return Trends(zip(keys, trends, strict=True))


def _series_of_all(
    records: Records, which: tuple[Iterable[str], Iterable[str], Iterable[str]], fitting: Fitting
) -> dict[Key, tuple[Series, Context]]:
    """Return each series and where it came from, sorted; `which`: quantities … conditions."""
    quantities, (rule, bridge) = tuple(which[0]), (fitting.rule, tuple(fitting.bridge))
    treatments = all_courses(records)
    store = session_store(records, rule, treatments)
    series = all_series(
        records,
        quantities=[quantity for quantity in quantities if quantity not in LAB_QUANTITIES],
        methods=which[1],
        conditions=which[2],
        bridge=bridge,
        source=Source(store, treatments),
    )
    labs = [quantity for quantity in quantities if quantity in LAB_QUANTITIES]
    series |= {
        (each.animal, each.method, each.condition, each.quantity): each
        for each in all_lab_series(records, labs, treatments)
    }
    nothing, choice = Treatments((), (), (), ()), PriorChoice(fitting.priors)
    before = {row.animal: row.measured_before for row in records.rows_by_animal.values()}
    return {
        key: (
            series[key],
            Context(
                records=records,
                rows=store.of_animal(key[0]),
                treatments=treatments.get(key[0], nothing),
                rule=rule,
                bridge=bridge,
                priors=choice.of(series[key], before.get(key[0], "")),
                fixed=fitting.fixed,
                given=fitting.priors,
            ),
        )
        for key in sorted(series)
    }


def fit_clinic(
    series: Sequence[Series],
    contexts: Sequence[Context],
    processes: int = 1,
    progress: bool | None = False,
) -> list[Trend]:
    """Fit many series in batches; the same numbers as one at a time.

    Parameters
    ----------
    series, contexts : sequences of one length
        Series and where they came from; all with the same noise SDs held fixed, or none.
    processes, progress
        As in `fit_trends`.
    """
    timed = [
        with_taus(animal_series, context.priors[0])
        for animal_series, context in zip(series, contexts, strict=True)
    ]
    columns = all_columns(timed, [context.priors[0] for context in contexts])
    batches = list(_batches(timed, columns))
    jobs: list[_Job] = [
        (
            [timed[i] for i in batch],
            [contexts[i].priors for i in batch],
            [columns[i] for i in batch],
            contexts[0].fixed,
        )
        for batch in batches
    ]
    fits: dict[int, Posterior] = {}
    for batch, found in zip(batches, _results(jobs, processes, progress), strict=True):
        fits.update(zip(batch, found, strict=True))
    return [Trend(timed[i], columns[i], fits[i], contexts[i]) for i in range(len(timed))]


def _batches(series: Sequence[Series], columns: Sequence[Columns]) -> Iterator[list[int]]:
    """Yield series of one length and as many coefficients together.

    Nothing is padded then, so that no digit of an animal depends on those it is fitted beside.
    """
    shapes = [
        (len(noise_groups(animal_series)), animal_series.y.size, len(animal_columns.terms))
        for animal_series, animal_columns in zip(series, columns, strict=True)
    ]
    batch: list[int] = []
    shape = (0, 0, 0)
    for i in sorted(range(len(series)), key=lambda i: (shapes[i], i)):
        _, sessions, terms = shapes[i]
        most = max(1, min(_MOST_ANIMALS, _BATCH_VALUES // (_NODES * (sessions + terms**2))))
        if batch and (len(batch) >= most or shape != shapes[i]):
            yield batch
            batch = []
        batch.append(i)
        shape = shapes[i]
    if batch:
        yield batch


def _results(
    jobs: Sequence[_Job], processes: int, progress: bool | None
) -> Iterator[list[Posterior]]:
    shown = sys.stderr.isatty() if progress is None else progress
    results = _run(jobs, min(processes, len(jobs)))
    if not shown:
        return results
    from tqdm import tqdm

    return iter(tqdm(results, total=len(jobs), desc="trends", unit="batch", file=sys.stderr))


def _run(jobs: Sequence[_Job], processes: int) -> Iterator[list[Posterior]]:
    if processes <= 1:
        yield from map(_fit, jobs)
        return
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        yield from pool.map(_fit, jobs)


def _fit(job: _Job) -> list[Posterior]:
    return posteriors(*job)
