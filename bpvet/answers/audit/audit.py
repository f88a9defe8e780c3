"""The answers of an audit: every number as plain values, and the sentences of its page."""

from __future__ import annotations

from typing import Any, ClassVar

from bpvet import __version__
from bpvet.answers.json_values import plain
from bpvet.answers.statement import Statement, Worded
from bpvet.equality import Content
from bpvet.facts.cautions import cautions_for, licensed
from bpvet.frozen import dataclass
from bpvet.models.audit.audit import NOT_TO_JUDGE, Audit
from bpvet.printing import Brief

#: Topics of the statements, in the order in which they are told.
TOPICS = (
    *("basis", "precision", "protocol", "order", "digits", "spread", "operators", "cuffs"),
    *("times", "situations"),
)


@dataclass(frozen=True, eq=False, repr=False)
class AuditAnswer(Worded, Brief, Content):
    """What `bpvet audit --json` prints.

    Parameters
    ----------
    audit : Audit
        The numbers.
    statements : tuple of Statement
        What they say, topic by topic, most useful first.
    cautions : tuple of str
        What must stand beside them.
    version : str
        Of this program.
    """

    topics: ClassVar[tuple[str, ...]] = TOPICS

    audit: Audit
    statements: tuple[Statement, ...]
    cautions: tuple[str, ...]
    version: str

    def to_dict(self) -> dict[str, Any]:
        """Return every answer as plain JSON values, named as in the library."""
        numbers: dict[str, Any] = plain(self.audit.to_dict())
        return numbers | self._worded()


def audit_answer(audit: Audit) -> AuditAnswer:
    """Return the answers of an audit.

    Parameters
    ----------
    audit : Audit
    """
    from bpvet.wording.en.audit import audit_statements

    situations = ["two_methods"] if len(audit.taken) > 1 else []
    wanted = [caution.text for caution in cautions_for(situations) if caution.applies in situations]
    cautions = (NOT_TO_JUDGE, *wanted, licensed())
    return AuditAnswer(audit, audit_statements(audit), cautions, __version__)
