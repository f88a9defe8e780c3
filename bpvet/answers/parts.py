"""The parts of a trend's answer: frozen numbers, each with the reason where it is missing.

Every number is in the unit of the series unless it says otherwise; probabilities are 0 to 1;
a number that cannot be given is None, and `reason` beside it says why.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from bpvet.answers.plain import plain
from bpvet.facts.words import DECIMALS, LAB_QUANTITIES
from bpvet.maths.mixture import Mixture
from bpvet.models.variability import Variability
from bpvet.records.findings import Finding

Number = float | None


@dataclass(frozen=True)
class Estimate:
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


@dataclass(frozen=True)
class SessionAnswer:
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


@dataclass(frozen=True)
class LatestAnswer:
    """Usual value at the latest session; `sd` is None on a log scale."""

    date: np.datetime64
    estimate: float
    lower: float
    upper: float
    sd: Number


@dataclass(frozen=True)
class UrgentAnswer:
    """An urgent line: the sentence, the id of the rule, and what it rests on."""

    text: str
    rule: str
    kind: str
    date: np.datetime64
    value: Number
    signs: tuple[str, ...]


@dataclass(frozen=True)
class CategoryAnswer:
    """Probability of each category of the named guideline, or why it is withheld.

    `remembered` says whether any of its bounds is from memory, not yet checked.
    """

    guideline: str
    name: str
    probability: dict[str, float] | None
    withheld: str | None
    remembered: bool


@dataclass(frozen=True)
class TargetAnswer:
    """Is it at target?

    `kind` is ``own``, ``guideline`` or ``raised`` (untreated: the bound of the raised range).
    `visits_to_settle` is the number of further weekly visits after which the answer would be
    settled if the estimate stayed: 0 where it is, None where more visits would hardly settle it.
    """

    guideline: str
    kind: str | None
    value: Number
    p_at_or_below: Number
    floor: Number
    p_below_floor: Number
    verdict: str | None
    visits_to_settle: int | None
    remembered: bool
    reason: str | None


@dataclass(frozen=True)
class SlopeAnswer:
    """Change apart from the drugs: per 30 days, and over the span of the record.

    In per cent for laboratory values, where `p_rising_by_1` is of a rise by 3 % a month.
    """

    per_30_days: float
    lower: float
    upper: float
    p_rising: float
    p_rising_by_1: float
    rise_over_record: Estimate
    span_days: int
    verdict: str


@dataclass(frozen=True)
class EffectAnswer:
    """A full effect, with the probability that it lowers by 10 or more."""

    estimate: float
    lower: float
    upper: float
    p_lower_by_10: float


@dataclass(frozen=True)
class CourseAnswer:
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
    effect_now: Estimate
    effect: EffectAnswer
    before_mean: Number
    after_mean: Number


@dataclass(frozen=True)
class TreatmentAnswer:
    """A spell on one drug, base and dose changes summed, and the verdict.

    `verdict` is ``has lowered``, ``fall unlikely``, ``cannot tell yet`` or ``cannot be known``.
    The effect under half and under double tau shows how far it leans on tau.
    """

    drug: str
    started_on: np.datetime64
    stopped_on: np.datetime64
    changed_on: np.datetime64
    tau_days: float
    finished: bool
    knowable: bool
    effect_now: Estimate
    effect: EffectAnswer
    effect_at_half_tau: EffectAnswer
    effect_at_double_tau: EffectAnswer
    p_lower_by_10: float
    verdict: str
    before_sessions: int
    before_mean: Number
    after_mean: Number


@dataclass(frozen=True)
class SurpriseAnswer:
    """The newest session under the fit to the earlier ones."""

    date: np.datetime64
    observed: float
    expected: Number
    lower: Number
    upper: Number
    tail: Number
    words: str | None
    reason: str | None


@dataclass(frozen=True)
class NextSessionAnswer:
    """Mean to expect of a session not taken yet."""

    date: np.datetime64
    method: str
    readings: int
    mean: float
    lower: float
    upper: float


@dataclass(frozen=True)
class ShareAnswer:
    """Share of the period at or below the value that control is judged by."""

    value: Number
    expected: Number
    interpolated: Number
    days: int
    reason: str | None


@dataclass(frozen=True)
class RecheckAnswer:
    """When again."""

    guideline: str
    state: str | None
    counted_from: np.datetime64 | None
    guideline_by: np.datetime64 | None
    model: np.datetime64 | None
    model_reason: str | None
    by: np.datetime64 | None
    overdue_days: int
    remembered: bool
    reason: str | None


@dataclass(frozen=True)
class CompanionAnswer:
    """The latest usual value under another way of counting, and whether it moves enough to show."""

    latest_with_medians: Number
    latest_without_tense: Number
    tense_sessions: int
    shown: tuple[str, ...]


@dataclass(frozen=True)
class PriorsAnswer:
    """The priors used, as plain numbers."""

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
    tau_days: dict[str, float]


@dataclass(frozen=True)
class NoiseAnswer:
    """Posterior means of the visit, reading and wander SD."""

    sv: float
    sr: float
    sw: float


@dataclass(frozen=True)
class ApartAnswer:
    """One series of a bridged trend on its own: its usual value at its own latest session."""

    method: str
    condition: str
    sessions: int
    date: np.datetime64
    estimate: float
    lower: float
    upper: float


@dataclass(frozen=True)
class OtherSeries:
    """Another series of the same animal, shown beside and never joined unasked."""

    method: str
    condition: str
    sessions: int
    first: np.datetime64
    last: np.datetime64


@dataclass(frozen=True)
class TrendAnswer:
    """The answers of one trend.

    Numbers are in `unit`; intervals hold probability `level`; what cannot be given is None
    with its reason beside it. `to_dict` gives plain JSON values.
    """

    animal: str
    name: str
    species: str
    breed: str
    method: str
    condition: str
    quantity: str
    unit: str
    bridged: bool
    bridges: dict[str, Estimate]
    apart: tuple[ApartAnswer, ...]
    as_of: np.datetime64
    level: float
    rule: str
    guideline: str
    guideline_name: str
    treated: bool
    sessions: tuple[SessionAnswer, ...]
    latest: LatestAnswer
    urgent: tuple[UrgentAnswer, ...] | None
    urgent_reason: str | None
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
    first_visit: Estimate | None
    noise: NoiseAnswer
    priors: PriorsAnswer
    assumptions: tuple[str, ...]
    sentences: tuple[str, ...]
    cautions: tuple[str, ...]
    other_series: tuple[OtherSeries, ...]
    findings: tuple[Finding, ...]
    version: str
    data_digest: str

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
        shown["variability"] = self.variability.to_dict()
        return shown
