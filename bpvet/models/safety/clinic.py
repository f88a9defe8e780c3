"""Every animal of a clinic: what is urgent, and when to measure again, in one pass over all.

The same as one animal at a time. What is dear is the fit to the sessions before the newest one:
it is made only where it could change a window or its reasons.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

from bpvet.errors import FitError
from bpvet.facts.categories import DEFAULT, Guideline, guideline
from bpvet.facts.priors.priors import Priors
from bpvet.facts.priors.table import PriorTable
from bpvet.frozen import dataclass, replace
from bpvet.garbage import garbage_waits
from bpvet.maths.newest import session_ahead
from bpvet.models.safety.case import AnimalCase
from bpvet.models.safety.recheck import fitting, may_matter, recheck
from bpvet.models.safety.safety import Safety, safeties
from bpvet.models.safety.standing import below_judged, keep_dates, tails
from bpvet.models.trend.fit import PriorChoice
from bpvet.models.trend.newest import ASKED, side_by_side, usual_newest
from bpvet.models.trend.outlook import Surprise, before_newest, newest_asked, surprise_of
from bpvet.models.trend.trend import Context, Trend
from bpvet.models.trend.trends import fit_clinic
from bpvet.records.animal_rows import AnimalRow, animal_rows
from bpvet.records.records import Records
from bpvet.visits.clinic_sessions import clinic_sessions
from bpvet.visits.seen import AnimalRecord, Gathered, animal_record
from bpvet.visits.series import Series
from bpvet.visits.session_columns import SessionColumns
from bpvet.visits.session_store import SessionStore
from bpvet.visits.sessions import session_store
from bpvet.visits.shown_series import ShownSeries
from bpvet.visits.treatments.courses import Treatments, all_courses
from bpvet.visits.urgency import Urgent, urgent

#: Animals that go through a fit together: as many as make its calls cheap.
_FITTED = 256
_NEEDED = ("method", "first_time", "systolic_n")
_NO_TREATMENTS = Treatments((), (), (), ())


@dataclass(frozen=True, eq=False)
class AnimalSafety:
    """What comes before any trend of one animal of a clinic.

    Parameters
    ----------
    row : AnimalRow
        What the animals table says of it.
    safety : Safety
    trend : Trend or None
        Its systolic trend, by the defaults of `bpvet.fit_trend`; None where none can be fitted.
    sessions : SessionColumns
    treatments : Treatments
    guideline : Guideline
        The one asked for, or the default where that does not speak of the species.
    """

    row: AnimalRow
    safety: Safety
    trend: Trend | None
    sessions: SessionColumns
    treatments: Treatments
    guideline: Guideline


@garbage_waits()
def clinic_safety(
    records: Records,
    guideline_key: str = DEFAULT,
    *,
    rule: str = "guideline",
    priors: Priors | PriorTable | None = None,
) -> list[AnimalSafety]:
    """Return what comes before any trend of every animal that has not left, in their order.

    Parameters
    ----------
    records : Records
    guideline_key : str
    rule, priors
        As `bpvet.fit_trends` takes them.

    Raises
    ------
    CallError
        For an unknown guideline or rule.
    RecordsError
        Where the records have findings that stop the work.
    """
    guideline(guideline_key)
    clinic = Clinic.of(records, rule=rule, priors=priors)
    keep_dates(clinic.sessions)
    trends = clinic.trends(clinic.series)
    rows = dict(clinic.present())
    of_animals = {animal: clinic.of_animal(animal) for animal in rows}
    cases = [
        AnimalCase(records, animal, *known, trends.get(animal))
        for animal, known in of_animals.items()
    ]
    chosen = [_guideline(guideline_key, row.species) for row in rows.values()]
    judged = safeties(cases, chosen, clinic.gathered, newest=_not_yet)
    return _with_surprises(
        [
            AnimalSafety(row, found, trends.get(animal), *of_animals[animal], key)
            for (animal, row), found, key in zip(rows.items(), judged, chosen, strict=True)
        ]
    )


@dataclass(frozen=True, eq=False)
class AnimalUrgency:
    """What is urgent of one animal of a clinic, without any window.

    Parameters
    ----------
    row : AnimalRow
        What the animals table says of it.
    found : AnimalRecord
        Signs, changes of treatment and laboratory values.
    lines : tuple of Urgent
        The most pressing first.
    treatments : Treatments
    guideline : Guideline
        The one asked for, or the default where that does not speak of the species.
    """

    row: AnimalRow
    found: AnimalRecord
    lines: tuple[Urgent, ...]
    treatments: Treatments
    guideline: Guideline


@garbage_waits()
def clinic_urgency(clinic: Clinic, guideline_key: str = DEFAULT) -> list[AnimalUrgency]:
    """Return what is urgent of every animal that has not left, in their order.

    The same lines as `clinic_safety` gives; a trend is fitted only of the few animals whose lines
    rest on one.

    Parameters
    ----------
    clinic : Clinic
    guideline_key : str

    Raises
    ------
    CallError
        For an unknown guideline.
    """
    guideline(guideline_key)
    asking: dict[str, None] = {}

    def noted(animal: str) -> Callable[[float], float]:
        """Return a probability that is not known yet; whose it is is noted once it is asked for."""

        def below(_: float) -> float:
            asking[animal] = None
            return 0.0

        return below

    found: dict[str, AnimalUrgency] = {}
    for animal, row in clinic.present():
        chosen, (sessions, given) = _guideline(guideline_key, row.species), clinic.of_animal(animal)
        record = animal_record(clinic.records, animal, sessions, given, clinic.gathered)
        below = noted(animal) if animal in clinic.series else None
        found[animal] = AnimalUrgency(
            row, record, urgent(record.seen, chosen, below), given, chosen
        )
    trends = clinic.trends(asking)
    for animal in asking:
        animal_safety, trend = found[animal], trends.get(animal)
        below = None if trend is None else below_judged(trend)
        found[animal] = replace(
            animal_safety, lines=urgent(animal_safety.found.seen, animal_safety.guideline, below)
        )
    return list(found.values())


@dataclass(frozen=True, eq=False)
class Clinic:
    """What is read of all animals of a clinic, before any of them is judged.

    Parameters
    ----------
    records : Records
    how : Fitted
        How trends are fitted.
    gathered : Gathered
        Signs and laboratory values.
    store : SessionStore
        Sessions of all animals.
    sessions : dict of str to SessionColumns
        Of each animal that has any.
    nothing : SessionColumns
        The same without any session.
    treatments : mapping of str to Treatments
        Of each animal that has any.
    series : ShownSeries
        The systolic series that is shown of an animal, of each that has one.
    """

    records: Records
    how: Fitted
    gathered: Gathered
    store: SessionStore
    sessions: dict[str, SessionColumns]
    nothing: SessionColumns
    treatments: Mapping[str, Treatments]
    series: ShownSeries

    @classmethod
    def of(
        cls,
        records: Records,
        rule: str = "guideline",
        priors: Priors | PriorTable | None = None,
    ) -> Clinic:
        """Return what the records say of all animals.

        Parameters
        ----------
        records : Records
        rule, priors
            As `bpvet.fit_trends` takes them.

        Raises
        ------
        CallError
            For an unknown rule.
        RecordsError
            Where the records have findings that stop the work.
        """
        records.require_usable()
        treatments, gathered = all_courses(records), Gathered.of(records)
        store = session_store(records, rule, treatments)
        by_animal, nothing = clinic_sessions(store, _NEEDED)
        series = ShownSeries(records, store, by_animal, treatments)
        how = Fitted(rule, priors)
        return cls(records, how, gathered, store, by_animal, nothing, treatments, series)

    def present(self) -> Iterator[tuple[str, AnimalRow]]:
        """Yield every animal that has not left, and its row of the animals table."""
        for animal, row in animal_rows(self.records).items():
            if not row.left(self.records.as_of):
                yield animal, row

    def of_animal(self, animal: str) -> tuple[SessionColumns, Treatments]:
        """Return the sessions and the treatments of one animal."""
        sessions = self.sessions.get(animal, self.nothing)
        return sessions, self.treatments.get(animal, _NO_TREATMENTS)

    @garbage_waits()
    def trends(self, animals: Iterable[str]) -> dict[str, Trend]:
        """Return the systolic trends of some animals, by the defaults of one animal.

        Those without a series, and those whose trend cannot be fitted, are not in it.

        Parameters
        ----------
        animals : iterable of str
        """
        rows, choice = animal_rows(self.records), PriorChoice(self.how.priors)

        def context(series_: Series) -> Context:
            return Context(
                records=self.records,
                rows=self.store.of_animal(series_.animal),
                treatments=self.treatments.get(series_.animal, _NO_TREATMENTS),
                rule=self.how.rule,
                bridge=(),
                priors=choice.of(series_, rows[series_.animal].measured_before),
                fixed=None,
                given=self.how.priors,
            )

        def shape(series_: Series) -> tuple[int, ...]:
            return len(series_.courses), series_.y.size

        series = self.series.of(animals)
        fitted: dict[str, Trend] = {}
        for batch in side_by_side(series, shape, alike=2, together=_FITTED):
            fitted |= {trend.series.animal: trend for trend in _fit(batch, [*map(context, batch)])}
        shown = list(fitted.values())
        for fitted_trend, usual in zip(shown, usual_newest(shown), strict=True):
            # Where the trend itself would keep it once it is asked for.
            vars(fitted_trend)["latest"] = usual
        return fitted


def _guideline(key: str, species: str) -> Guideline:
    known = guideline(key)
    speaks = not species or species in known.species
    return guideline(key if speaks else DEFAULT, species or None)


def _not_yet(trend: Trend) -> Surprise | None:
    """Stand in for the newest session's surprise until it is known whether it matters."""
    return None


@dataclass(frozen=True, eq=False)
class Fitted:
    """How all trends are fitted.

    Parameters
    ----------
    rule : str
    priors : Priors, PriorTable or None
        As `bpvet.fit_trends` takes them.
    """

    rule: str
    priors: Priors | PriorTable | None


def _fit(series: Sequence[Series], contexts: Sequence[Context]) -> list[Trend]:
    """Fit series side by side; one that cannot be fitted takes no other with it."""
    try:
        # By equal shapes: no digit of an animal depends on the animals beside it.
        return fit_clinic(series, contexts)
    except FitError:
        if len(series) == 1:
            return []
        half = len(series) // 2
        return _fit(series[:half], contexts[:half]) + _fit(series[half:], contexts[half:])


def _with_surprises(found: Sequence[AnimalSafety]) -> list[AnimalSafety]:
    """Return all with the newest session's tails where they can change anything."""
    asked = [
        (i, animal.trend)
        for i, animal in enumerate(found)
        if animal.trend and _matters(animal.safety)
    ]
    before = {i: series for i, trend in asked if (series := before_newest(trend)) is not None}
    trends = dict(asked)
    whole = list(found)

    def shape(i: int) -> tuple[int, ...]:
        return len(trends[i].columns.terms), before[i].y.size

    for batch in side_by_side(sorted(before), shape, alike=2, together=_FITTED):
        fits = _fit([before[i] for i in batch], [trends[i].context for i in batch])
        earlier = {fit.series.animal: fit for fit in fits}
        known = [i for i in batch if trends[i].series.animal in earlier]
        pairs = [(trends[i], earlier[trends[i].series.animal]) for i in known]
        for i, surprise in zip(known, _surprises(pairs), strict=True):
            standing = found[i].safety.standing.with_tails(*tails(surprise))
            again = recheck(standing, found[i].guideline.key)
            judged = replace(found[i].safety, standing=standing, recheck=again)
            whole[i] = replace(found[i], safety=judged)
    return whole


def _surprises(pairs: Sequence[tuple[Trend, Trend]]) -> list[Surprise]:
    """Return how surprising the newest sessions are, from trends and the fits to the earlier."""

    def shape(i: int) -> tuple[int, ...]:
        posterior = pairs[i][1].posterior
        batch = posterior.parts[0].batch
        return batch.sessions, batch.terms, batch.scatter_df.shape[0], posterior.weight.size

    found: dict[int, Surprise] = {}
    for indices in side_by_side(range(len(pairs)), shape, alike=3, together=ASKED):
        asked = [newest_asked(*pairs[i]) for i in indices]
        expected = session_ahead(
            [pairs[i][1].posterior for i in indices],
            [question.row for question in asked],
            [question.day for question in asked],
            [question.readings for question in asked],
            [question.group for question in asked],
        )
        for i, question, mixture in zip(indices, asked, expected, strict=True):
            found[i] = surprise_of(pairs[i][0], mixture, question)
    return [found[i] for i in range(len(pairs))]


def _matters(judged: Safety) -> bool:
    """Whether the newest session's tails could change which rows fit."""
    if not may_matter(judged.standing):
        return False
    extreme = judged.standing.with_tails(0.0, 0.0)
    return list(fitting(extreme)) != list(fitting(judged.standing))
