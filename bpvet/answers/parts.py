"""The parts of a trend's answer: frozen numbers, each with the reason where it is missing.

Every number is in the unit of the series unless it says otherwise; probabilities are 0 to 1;
a number that cannot be given is None, and `reason` beside it says why.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from bpvet.answers.plain import plain
from bpvet.answers.statement import Statement
from bpvet.answers.verdicts import Surprise, Verdict
from bpvet.equality import Content
from bpvet.facts.words import DECIMALS, LAB_QUANTITIES
from bpvet.maths.mixture import Mixture
from bpvet.models.kidney.result import Kidney
from bpvet.models.trend.variability import Variability
from bpvet.printing import Brief
from bpvet.records.findings import Finding

Number = float | None


@dataclass(frozen=True, eq=False)
class Estimate(Content):
    """An estimate with its interval at the answer's level, and its SD (None on a log scale)."""

    estimate: float
    lower: float
    upper: float
    sd: Number

    @classmethod
    def of(cls, mixture: Mixture, level: float) -> Estimate:
        """Return the mean, central interval and SD of one distribution."""
        lower, upper = mixture.interval(level)
        sd = float(mixture.sd) if mixture.scale == "plain" else None
        return cls(float(mixture.mean), float(lower), float(upper), sd)


@dataclass(frozen=True, eq=False)
class SessionAnswer(Content):
    """A session as it entered the trend, or as it stands beside it."""

    date: np.datetime64
    method: str
    condition: str
    label: str
    n_taken: int
    n_used: int
    mean: Number
    sd: Number
    bound: str
    flags: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class LatestAnswer(Content):
    """Usual value at the latest session; `sd` is None on a log scale.

    Where most readings lie beyond the gauge, `only` is ``at least`` or ``at most``, the end of the
    interval that is known: the other numbers are the prior's, and are not told.
    """

    date: np.datetime64
    estimate: float
    lower: float
    upper: float
    sd: Number
    only: str = ""

    @property
    def end(self) -> float:
        """The end that is known, where only one is."""
        return self.upper if self.only == "at most" else self.lower


@dataclass(frozen=True, eq=False)
class UrgentAnswer(Content):
    """An urgent line: the rule and which of its conditions fits, the words, its date and age.

    `withholds` is ``all``, ``verdicts``, ``target`` or blank; `fact` is the id of the fact behind
    the number that it names, blank without one; `value` is the measured number that it rests on,
    in its unit, and `signs` are the signs, as written.
    """

    rule: str
    text: str
    on: np.datetime64
    age_days: int
    why: str
    withholds: str
    fact: str
    value: Number
    signs: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class SignAnswer(Content):
    """A sign as it stands: one a term, by its newest row; see `bpvet.visits.signs.states`."""

    text: str
    term: str
    group: str
    reading: str
    longstanding: bool
    first_seen: np.datetime64
    seen_on: np.datetime64
    asked_only: bool
    table: str


@dataclass(frozen=True, eq=False)
class NotUsed(Content):
    """A row of the records that no sentence of the answer speaks of, and why."""

    table: str
    date: np.datetime64
    text: str
    reason: str


@dataclass(frozen=True, eq=False)
class PressureStep(Content):
    """The session means on either side of a change of drug, mmHg."""

    before: float
    after: float


@dataclass(frozen=True, eq=False)
class CategoryAnswer(Content):
    """Probability of each category of the named guideline, or why it is withheld.

    `remembered` says whether any of its bounds is from memory, not yet checked.
    """

    guideline: str
    name: str
    probability: dict[str, float] | None
    withheld: str | None
    remembered: bool


@dataclass(frozen=True, eq=False)
class SettleAnswer(Content):
    """How likely some further visits settle a question that is open today.

    `visits` further visits by the same method under the same condition, `gap_days` apart, of
    `readings` readings each. `chance` is the probability that a report after them gives a
    verdict, and `by_verdict` that of each verdict, in the words of the question's `verdict`.
    """

    visits: int
    gap_days: int
    readings: int
    chance: float
    by_verdict: dict[str, float]


@dataclass(frozen=True, eq=False)
class TargetAnswer(Content):
    """Is it at target?

    `kind` is ``own``, ``guideline`` or ``raised`` (no blood-pressure drug on record: the bound of
    the raised range). `p_target` is the probability of lying at or below the target (the animal's
    own first) even then. Home and calmed series are judged on `judged_offset` more than was
    measured, in every probability here. `verdict` is None where an urgent rule withholds it, and
    `withheld` is then that rule. `settle` is how likely further visits settle it, for some numbers
    of visits; empty where it is settled or no verdict may be given.
    """

    guideline: str
    kind: str | None
    value: Number
    p_at_or_below: Number
    p_target: Number
    floor: Number
    p_below_floor: Number
    judged_offset: float
    verdict: Verdict | None
    withheld: str | None
    settle: tuple[SettleAnswer, ...]
    remembered: bool
    reason: str | None


@dataclass(frozen=True, eq=False)
class SlopeAnswer(Content):
    """Change apart from the drugs: per 30 days, and over the span of the record.

    In per cent for laboratory values, where `p_rising_by_1` is of a rise by 3 % a month. `verdict`
    is None where an urgent rule withholds it, and `withheld` is then that rule. `settle` is as in
    `TargetAnswer`; empty for laboratory values.
    """

    per_30_days: float
    lower: float
    upper: float
    p_rising: float
    p_rising_by_1: float
    rise_over_record: Estimate
    span_days: int
    verdict: Verdict | None
    withheld: str | None
    settle: tuple[SettleAnswer, ...]


@dataclass(frozen=True, eq=False)
class EffectAnswer(Content):
    """A full effect, with the probabilities that it lowers and that it raises by 10 or more."""

    estimate: float
    lower: float
    upper: float
    p_lower_by_10: float
    p_higher_by_10: float


@dataclass(frozen=True, eq=False)
class CourseAnswer(Content):
    """One course: a base or a dose change."""

    drug: str
    kind: str
    started_on: np.datetime64
    stopped_on: np.datetime64
    dose: str
    tau_days: float
    finished: bool
    knowable: bool
    before_sessions: int
    effect_now: Estimate | None
    effect: EffectAnswer | None
    before_mean: Number
    after_mean: Number


@dataclass(frozen=True, eq=False)
class PlainAnswer(Content):
    """Plain means on a drug less those before it, beside the model's estimate.

    `cause` is what the largest part of the gap is put down to, one of
    `bpvet.models.trend.plain_means.CAUSES`; `told` says whether both are told: they part by more
    than one posterior SD, and the verdict or its sign would be another by the plain means.
    """

    difference: float
    model: float
    cause: str
    before_high: bool
    told: bool


@dataclass(frozen=True, eq=False)
class TreatmentAnswer(Content):
    """A spell on one drug, base and dose changes summed, and the verdict.

    `verdict` is ``has lowered``, ``fall unlikely`` (so far no fall of 10 shows), ``cannot tell
    yet`` or ``cannot be known``; of what cannot be known yet there is no effect, and `reason` says
    why; of kidney values, where a rise is what matters, it is ``has risen`` or ``rise unlikely``
    in place of the first two. It is None where an urgent rule withholds it, and `withheld` is then
    that rule. The effect under half and under double tau shows how far it leans on tau.
    `told_by_readings` is the share of the effect's variance that sessions after the start removed.
    `settle` is as in `SlopeAnswer`.
    """

    drug: str
    started_on: np.datetime64
    stopped_on: np.datetime64
    changed_on: np.datetime64
    tau_days: float
    finished: bool
    knowable: bool
    effect_now: Estimate | None
    effect: EffectAnswer | None
    effect_at_half_tau: EffectAnswer | None
    effect_at_double_tau: EffectAnswer | None
    p_lower_by_10: Number
    verdict: Verdict | None
    withheld: str | None
    reason: str | None
    told_by_readings: Number
    settle: tuple[SettleAnswer, ...]
    before_sessions: int
    before_mean: Number
    after_mean: Number
    plain: PlainAnswer | None


@dataclass(frozen=True, eq=False)
class SurpriseAnswer(Content):
    """The newest session under the fit to the earlier ones.

    `bound` is ``at least``, ``at most`` or both where `observed` is a bound.
    """

    date: np.datetime64
    observed: float
    expected: Number
    lower: Number
    upper: Number
    tail: Number
    words: Surprise | None
    withheld: str | None
    reason: str | None
    bound: str = ""


@dataclass(frozen=True, eq=False)
class NextSessionAnswer(Content):
    """Mean to expect of a session not taken yet."""

    date: np.datetime64
    method: str
    readings: int
    mean: float
    lower: float
    upper: float
    only: str = ""

    @property
    def end(self) -> float:
        """The end that is known, where only one is; `only` as in `LatestAnswer`."""
        return self.upper if self.only == "at most" else self.lower


@dataclass(frozen=True, eq=False)
class ShareAnswer(Content):
    """Share of the period at or below the value that control is judged by.

    `left_out` sessions have a reading beyond the gauge: no straight line is drawn through them.
    """

    value: Number
    expected: Number
    interpolated: Number
    days: int
    reason: str | None
    left_out: int = 0


@dataclass(frozen=True, eq=False)
class OtherWindow(Content):
    """What another guideline says of the same state, days counted from the same date."""

    guideline: str
    name: str
    earliest: np.datetime64
    latest: np.datetime64
    grade: str
    remembered: bool


@dataclass(frozen=True, eq=False)
class RecheckAnswer(Content):
    """When again: a window, whose it is, and why; or, with nothing else, why there is none.

    `state` and `row` are those of `bpvet.facts.recheck`; `guideline` is the key of the guideline
    whose interval it is, ``project`` for a judgement. `by`, `guideline_by`, `model` and
    `model_reason` are kept for one release: the trend no longer shortens a window.
    """

    state: str | None
    row: str | None
    earliest: np.datetime64 | None
    latest: np.datetime64 | None
    counted_from: np.datetime64 | None
    guideline: str | None
    guideline_name: str | None
    grade: str | None
    remembered: bool
    reason: str
    overdue_days: int
    others: tuple[OtherWindow, ...]
    by: np.datetime64 | None = None
    guideline_by: np.datetime64 | None = None
    model: np.datetime64 | None = None
    model_reason: str | None = None


@dataclass(frozen=True, eq=False)
class LastThreeAnswer(Content):
    """The plain mean of the last three sessions, with the t interval of three means.

    Sessions with a bound are passed over: `passed_over` counts those newer than the oldest of the
    three. `changed` names the drugs that began, changed or stopped between the first and the last.
    `estimate` is None with fewer than three, the ends where all three are equal; `reason` says so.
    """

    first: np.datetime64 | None
    last: np.datetime64 | None
    estimate: Number
    lower: Number
    upper: Number
    passed_over: int
    changed: tuple[str, ...]
    reason: str | None


@dataclass(frozen=True, eq=False)
class StepAnswer(Content):
    """A step that nobody recorded: how probable any is, and the likeliest place.

    `after` and `before` are the sessions between which it would lie, `usual` the usual value at
    the latest session if there were one, all places weighed; `told` says whether it is told.
    """

    p_any: float
    after: np.datetime64
    before: np.datetime64
    p_there: float
    usual: Estimate
    told: bool


@dataclass(frozen=True, eq=False)
class RecordedChangeAnswer(Content):
    """A recorded change of measuring that the trend allows for.

    `difference` is the latest value minus the other one; `prior` the centre and SD that were
    allowed for it; `not_told_apart` names the drugs on whose start it falls.
    """

    what: str
    latest: str
    other: str
    sessions: int
    difference: Estimate
    prior: tuple[float, float]
    not_told_apart: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class CompanionAnswer(Content):
    """The latest usual value under another way of counting, and whether it moves enough to show.

    `bounded` sessions have a reading beyond the gauge, and so no median.
    """

    latest_with_medians: Number
    latest_without_tense: Number
    tense_sessions: int
    shown: tuple[str, ...]
    last_three: LastThreeAnswer
    step: StepAnswer | None
    bounded: int = 0


@dataclass(frozen=True, eq=False)
class PriorGroupAnswer(Content):
    """One group of the prior of a treated animal, and what the readings make of it.

    Parameters
    ----------
    weight : float
        Its weight before the readings.
    level : (float, float)
        Centre and SD of the untreated level.
    effect_sd : float or None
        SD of the full effect of a first spell about zero, where it has one.
    under_drug : (float, float) or None
        Else centre and SD of the pressure under the drug.
    share : float
        Its weight after the readings.
    """

    weight: float
    level: tuple[float, float]
    effect_sd: float | None
    under_drug: tuple[float, float] | None
    share: float


@dataclass(frozen=True, eq=False)
class PriorsAnswer(Content):
    """The priors used, as plain numbers.

    `groups` stand in for `level` and `effect_sd` where it is not empty.
    """

    source: str
    level: tuple[float, float]
    slope_sd: float
    effect_sd: float
    increment_sd: float
    sv: tuple[float, float]
    sr: tuple[float, float]
    sw: tuple[float, float]
    wander_days: float
    first_visit: tuple[float, float] | None
    change_sd: dict[str, float]
    tau_days: dict[str, float]
    groups: tuple[PriorGroupAnswer, ...] = ()


@dataclass(frozen=True, eq=False)
class NoiseAnswer(Content):
    """Posterior means of the visit, reading and wander SD."""

    sv: float
    sr: float
    sw: float


@dataclass(frozen=True, eq=False)
class ApartAnswer(Content):
    """One series of a bridged trend on its own: its usual value at its own latest session."""

    method: str
    condition: str
    sessions: int
    date: np.datetime64
    estimate: float
    lower: float
    upper: float


@dataclass(frozen=True, eq=False)
class OtherSeries(Content):
    """Another series of the same animal, shown beside and never joined unasked.

    `usual` is its own usual value at its newest session where that is of the shown series' newest
    date and by the other method, else None.
    """

    method: str
    condition: str
    sessions: int
    first: np.datetime64
    last: np.datetime64
    usual: Number = None


@dataclass(frozen=True, eq=False)
class DrugRow(Content):
    """A drug as recorded: generic name where it is known, and its days."""

    drug: str
    started_on: np.datetime64
    stopped_on: np.datetime64


@dataclass(frozen=True, eq=False)
class SinceChange(Content):
    """Plain means of the shown series before and after the last change of a pressure drug."""

    kind: str
    drug: str
    date: np.datetime64
    before_mean: float
    before_sessions: int
    after_mean: float
    after_sessions: int


@dataclass(frozen=True, eq=False)
class HomeClinic(Content):
    """Plain means of home (or calmed) and clinic sessions of one method within a year."""

    condition: str
    mean: float
    sessions: int
    clinic_mean: float
    clinic_sessions: int


@dataclass(frozen=True, eq=False)
class ContextAnswer(Content):
    """What differs between the newest session and the earlier ones, and since when."""

    what: str
    latest: str
    earlier: tuple[str, ...]
    since: np.datetime64
    divides: bool


@dataclass(frozen=True, eq=False)
class RecordedAnswer(Content):
    """What is recorded beside the series, and bears on how its numbers are read.

    Parameters
    ----------
    treatments_table : bool
        Whether there is a table of treatments at all.
    unlisted, raising, others : tuple of DrugRow
        Drugs off the list; drugs known to raise pressure; other drugs that may move it.
    pregnant_renin : tuple of str
        Drugs of the renin group on beside a recorded pregnancy.
    since_change : SinceChange or None
    home_clinic : tuple of HomeClinic
    below_floor : float or None
        Latest session mean, where it lies from 100 mmHg to the floor on a drug.
    context : tuple of ContextAnswer
    swings : bool
        Whether sessions swing far more than visits usually do.
    missed : tuple of str
        Missed or late doses, as recorded.
    """

    treatments_table: bool
    unlisted: tuple[DrugRow, ...]
    raising: tuple[DrugRow, ...]
    others: tuple[DrugRow, ...]
    pregnant_renin: tuple[str, ...]
    since_change: SinceChange | None
    home_clinic: tuple[HomeClinic, ...]
    below_floor: Number
    context: tuple[ContextAnswer, ...]
    swings: bool
    missed: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class LeftOutAnswer(Content):
    """A laboratory value that is not part of the trend: as given, and why it is left out."""

    date: np.datetime64
    value: float
    unit: str
    bound: str
    reason: str


#: Why an end of an interval is not told.
ONE_END = (
    "three quarters of the readings or more lie beyond the gauge: only one end of the interval is "
    "known"
)


def _one_end(shown: dict[str, Any]) -> None:
    """Make the numbers null that readings beyond the gauge leave open, with the reason beside."""
    only = shown["only"]
    shown["reason"] = ONE_END if only else None
    if not only:
        return
    known = "upper" if only == "at most" else "lower"
    for name in {"estimate", "mean", "lower", "upper", "sd"} & shown.keys() - {known}:
        shown[name] = None


@dataclass(frozen=True, eq=False, repr=False)
class TrendAnswer(Brief, Content):
    """The answers of one trend.

    Numbers are in `unit`; intervals hold probability `level`; what cannot be given is None
    with its reason beside it. `left_out` holds laboratory values that the trend cannot use;
    `visits` is the number of dates with a used session in the clinic, by any method, up to the
    latest session.
    `to_dict` gives plain JSON values.
    """

    animal: str
    name: str
    species: str
    species_written: str
    breed: str
    method: str
    condition: str
    quantity: str
    unit: str
    bridged: bool
    bridges: dict[str, Estimate]
    recorded_changes: tuple[RecordedChangeAnswer, ...]
    apart: tuple[ApartAnswer, ...]
    as_of: np.datetime64
    level: float
    rule: str
    guideline: str
    guideline_name: str
    treated: bool
    sessions: tuple[SessionAnswer, ...]
    latest: LatestAnswer
    urgent: tuple[UrgentAnswer, ...]
    signs: tuple[SignAnswer, ...]
    category: CategoryAnswer
    target: TargetAnswer
    slope: SlopeAnswer
    courses: tuple[CourseAnswer, ...]
    treatments: tuple[TreatmentAnswer, ...]
    surprise: SurpriseAnswer
    next_session: NextSessionAnswer
    share_at_target: ShareAnswer
    variability: Variability
    companions: CompanionAnswer
    recheck: RecheckAnswer
    kidney: Kidney
    kidney_statements: tuple[Statement, ...]
    recorded: RecordedAnswer
    first_visit: Estimate | None
    noise: NoiseAnswer
    priors: PriorsAnswer
    assumptions: tuple[str, ...]
    statements: tuple[Statement, ...]
    sentences: tuple[str, ...]
    not_used: tuple[NotUsed, ...]
    cautions: tuple[str, ...]
    other_series: tuple[OtherSeries, ...]
    left_out: tuple[LeftOutAnswer, ...]
    findings: tuple[Finding, ...]
    version: str
    data_digest: str
    measured_before: str
    visits: int

    @property
    def change_unit(self) -> str:
        """Unit of the slope, of effects and of joins: per cent for laboratory values."""
        return "%" if self.quantity in LAB_QUANTITIES else self.unit

    @property
    def decimals(self) -> int:
        """Decimals of a value in prose."""
        return DECIMALS.get(self.quantity, 0)

    def to_dict(self) -> dict[str, Any]:
        """Return every answer as plain JSON values."""
        shown = {part.name: plain(getattr(self, part.name)) for part in fields(self)}
        # They stand among the statements.
        del shown["kidney_statements"]
        shown["variability"] = self.variability.to_dict()
        for name in ("latest", "next_session"):
            _one_end(shown[name])
        shown["kidney"] = self.kidney.to_dict()
        return shown
