"""An animal without any session of a trend, in words."""

from __future__ import annotations

from bpvet.answers.statement import Statement
from bpvet.answers.trend.unseen import UnseenAnswer
from bpvet.frozen import replace
from bpvet.models.safety.safety import Safety
from bpvet.records.records import Records
from bpvet.visits.treatments.courses import Treatments
from bpvet.wording.en.safety.urgent import urgent_statements
from bpvet.wording.en.trend.control import recheck_statement
from bpvet.wording.en.trend.recorded import (
    drug_statements,
    named_in_urgent,
    remark_statements,
    sign_statements,
)
from bpvet.wording.en.trend.uncounted import uncounted_statements, unread_statements
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
    statements = _statements(answer)
    return replace(
        answer,
        statements=statements,
        sentences=tuple(statement.text for statement in statements),
        not_used=not_used(records, answer.animal, found, treatments, statements),
    )


def no_usual(answer: UnseenAnswer) -> str:
    """Return that no usual pressure can be given, and why."""
    return f"No usual pressure can be given: {answer.reason}"


def _statements(answer: UnseenAnswer) -> tuple[Statement, ...]:
    statements = list(urgent_statements(answer.urgent))
    statements += uncounted_statements(answer.recorded.uncounted)
    statements += remark_statements(answer.signs)
    statements += unread_statements(answer.recorded)
    statements.append(Statement("usual.none", no_usual(answer)))
    statements.append(recheck_statement(answer.recheck, answer.as_of))
    statements += sign_statements(answer.signs, named_in_urgent(answer.urgent))
    statements += answer.kidney_statements
    statements += drug_statements(answer.recorded)
    return tuple(statements)
