"""An animal without any session of a trend: what is urgent, signs, kidneys, and when to measure."""

from __future__ import annotations

from typing import Any

import numpy as np

from bpvet import __version__
from bpvet.answers.json_values import plain
from bpvet.answers.statement import Statement
from bpvet.answers.trend.recorded import NotUsed, RecordedAnswer, kidney_told, recorded_answer
from bpvet.answers.trend.result import TrendAnswer, identity_of
from bpvet.answers.trend.safety import (
    RecheckAnswer,
    UrgentAnswer,
    recheck_answer,
    urgent_answers,
)
from bpvet.equality import Content
from bpvet.errors import BpvetError, CallError, FitError
from bpvet.facts.categories import guideline as guideline_of
from bpvet.facts.cautions import cautions_for
from bpvet.frozen import dataclass, field_names
from bpvet.models.kidney.kidney import kidney_of
from bpvet.models.kidney.result import Kidney
from bpvet.models.safety.case import AnimalCase
from bpvet.models.safety.safety import safety
from bpvet.models.trend.fit import animal_sessions
from bpvet.printing import Brief
from bpvet.records.findings import Finding
from bpvet.records.records import Records
from bpvet.visits.signs.states import SignState
from bpvet.visits.treatments.courses import courses

_OWN = {"reason", "kidney_statements"}


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class UnseenAnswer(Brief, Content):
    """What can be answered of an animal without a session that may enter a trend.

    `to_dict` gives the keys of `TrendAnswer`, null where a session would be needed, and `reason`.
    """

    animal: str
    name: str
    species: str
    species_written: str
    breed: str
    as_of: np.datetime64
    guideline: str
    guideline_name: str
    reason: str
    urgent: tuple[UrgentAnswer, ...]
    signs: tuple[SignState, ...]
    recheck: RecheckAnswer
    kidney: Kidney
    kidney_statements: tuple[Statement, ...]
    recorded: RecordedAnswer
    statements: tuple[Statement, ...] = ()
    sentences: tuple[str, ...] = ()
    not_used: tuple[NotUsed, ...] = ()
    cautions: tuple[str, ...]
    findings: tuple[Finding, ...]
    version: str
    data_digest: str

    def to_dict(self) -> dict[str, Any]:
        """Return every answer as plain JSON values."""
        shown: dict[str, Any] = {
            name: None for name in field_names(TrendAnswer) if name not in _OWN
        }
        names = (name for name in field_names(self) if name != "kidney_statements")
        given = {name: plain(getattr(self, name)) for name in names if name != "kidney"}
        return shown | given | {"kidney": self.kidney.to_dict()}


def unseen_answer(
    records: Records,
    animal: str,
    reason: str,
    guideline: str = "acvim2018",
    edition: str = "iris2019",
) -> UnseenAnswer:
    """Return what can be answered of an animal without a session that may enter a trend.

    Parameters
    ----------
    records : Records
    animal : str
        Its id.
    reason : str
        Why no trend can be fitted, a sentence.
    guideline : str
        Key of the guideline that names floor and intervals.
    edition : str
        Edition of the kidney stages, as `bpvet.kidney` takes it.

    Raises
    ------
    CallError
        For an unknown guideline, or one that does not speak of the species.
    """
    from bpvet.wording.en.trend.unseen import worded

    who = identity_of(records, animal)
    chosen = guideline_of(guideline, who["species"] or None)
    left_reason = records.rows_by_animal[animal].left_reason
    sessions, treatments = animal_sessions(records, animal), courses(records, animal)
    found = safety(AnimalCase(records, animal, sessions, treatments, None), chosen)
    kidneys = kidney_of(records, found.found, None, edition=edition)
    answer = UnseenAnswer(
        **who,
        guideline=chosen.key,
        guideline_name=chosen.name,
        reason=reason,
        urgent=urgent_answers(found, chosen),
        signs=found.found.seen.signs,
        recheck=recheck_answer(found, left_reason),
        kidney=kidneys,
        kidney_statements=kidney_told(found, sessions, kidneys),
        recorded=recorded_answer(records, animal, sessions, treatments, found, None),
        cautions=tuple(caution.text for caution in cautions_for()),
        findings=(*records.findings.about({}), *treatments.findings),
        version=__version__,
        data_digest=records.digest,
    )
    return worded(answer, records, found, treatments)


def urgent_of(records: Records, animal: str, error: BpvetError, guideline: str) -> BpvetError:
    """Return the error of an animal without a trend, with whatever is urgent of it first."""
    answer = unseen_answer(records, animal, str(error), guideline)
    urgent = [statement.text for statement in answer.statements if statement.topic == "urgent"]
    kind = FitError if isinstance(error, FitError) else CallError
    return kind(" ".join([*urgent, str(error)]))
