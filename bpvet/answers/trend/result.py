"""The answers of one trend as a whole: what ``bpvet trend --json`` prints.

Every number is in the unit of the series unless it says otherwise; probabilities are 0 to 1;
a number that cannot be given is None, and `reason` beside it says why.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from bpvet.answers.json_values import plain
from bpvet.answers.statement import Statement
from bpvet.answers.trend.companions import CompanionAnswer
from bpvet.answers.trend.control import CategoryAnswer, ShareAnswer, TargetAnswer
from bpvet.answers.trend.drugs import CourseAnswer, TreatmentAnswer
from bpvet.answers.trend.joined import (
    ApartAnswer,
    LeftOutAnswer,
    OtherSeries,
    RecordedChangeAnswer,
)
from bpvet.answers.trend.priors import NoiseAnswer, PriorsAnswer
from bpvet.answers.trend.recorded import NotUsed, RecordedAnswer
from bpvet.answers.trend.safety import RecheckAnswer, UrgentAnswer
from bpvet.answers.trend.usual import (
    LatestAnswer,
    NextSessionAnswer,
    SessionAnswer,
    SlopeAnswer,
    SurpriseAnswer,
)
from bpvet.equality import Content
from bpvet.facts.words import DECIMALS, LAB_QUANTITIES, Bound
from bpvet.maths.estimate import Estimate
from bpvet.models.kidney.result import Kidney
from bpvet.models.trend.variability import Variability
from bpvet.printing import Brief
from bpvet.reasons import reason
from bpvet.records.findings import Finding
from bpvet.records.records import Records
from bpvet.visits.signs.states import SignState


def _one_end(shown: dict[str, Any]) -> None:
    """Make the numbers null that readings beyond the gauge leave open, with the reason beside."""
    only = shown["only"]
    shown["reason"] = str(reason("one_end")) if only else None
    if not only:
        return
    known = "upper" if only == Bound.AT_MOST else "lower"
    for name in {"estimate", "mean", "lower", "upper", "sd"} & shown.keys() - {known}:
        shown[name] = None


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
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
    signs: tuple[SignState, ...]
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
    assumptions: tuple[str, ...] = ()
    statements: tuple[Statement, ...] = ()
    sentences: tuple[str, ...] = ()
    not_used: tuple[NotUsed, ...] = ()
    cautions: tuple[str, ...] = ()
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
        shown = {field.name: plain(getattr(self, field.name)) for field in fields(self)}
        # They stand among the statements.
        del shown["kidney_statements"]
        shown["variability"] = self.variability.to_dict()
        for name in ("latest", "next_session"):
            _one_end(shown[name])
        shown["kidney"] = self.kidney.to_dict()
        return shown


def identity_of(records: Records, animal: str) -> dict[str, Any]:
    """Return who the animal is, and the date that is spoken for: fields of an answer."""
    row = records.rows_of("animals", animal).iloc[0]
    names = ("name", "species", "species_written", "breed")
    return {"animal": animal, "as_of": records.as_of} | {name: str(row[name]) for name in names}
