"""An animal without any session of a trend, in words."""

from __future__ import annotations

from dataclasses import replace

from bpvet.answers.statement import Statement
from bpvet.answers.trend.unseen import UnseenAnswer
from bpvet.models.safety.safety import Safety
from bpvet.records.records import Records
from bpvet.visits.treatments.courses import Treatments
from bpvet.wording.en.safety.urgent import urgent_statements
from bpvet.wording.en.trend.control import recheck_statement
from bpvet.wording.en.trend.recorded import (
    aside_statements,
    drug_statements,
    named_in_urgent,
    sign_statements,
    unmeasured_statements,
)
from bpvet.wording.en.trend.unused import not_used


def worded(
    answer: UnseenAnswer, records: Records, found: Safety, treatments: Treatments
) -> UnseenAnswer:
    """Return the answer with all that is told of it, and the rows of which nothing is told.

    Parameters
    ----------
    answer : UnseenAnswer
        Its numbers and codes.
    records, found, treatments
        As `bpvet.wording.en.trend.unused.not_used` takes them.
    """
    told = _statements(answer)
    return replace(
        answer,
        statements=told,
        sentences=tuple(one.text for one in told),
        not_used=not_used(records, answer.animal, found, treatments, told),
    )


def no_usual(answer: UnseenAnswer) -> str:
    """Return that no usual pressure can be given, and why."""
    return f"No usual pressure can be given: {answer.reason}"


def _statements(answer: UnseenAnswer) -> tuple[Statement, ...]:
    said = list(urgent_statements(answer.urgent))
    said += unmeasured_statements(answer.recorded.unmeasured)
    said += aside_statements(answer.recorded.aside)
    said.append(Statement("usual.none", no_usual(answer)))
    said.append(recheck_statement(answer.recheck, answer.as_of))
    said += sign_statements(answer.signs, named_in_urgent(answer.urgent))
    said += answer.kidney_statements
    said += drug_statements(answer.recorded)
    return tuple(said)
