"""The answers of an audit: every number as plain values, and the sentences of its page."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from bpvet import __version__
from bpvet.answers.json_values import plain
from bpvet.answers.statement import Statement, sections_of, texts_of
from bpvet.equality import Content
from bpvet.facts.cautions import cautions_for, licensed
from bpvet.models.audit.audit import NOT_TO_JUDGE, Audit
from bpvet.printing import Brief

#: Topics of the statements, in the order in which they are told.
TOPICS = (
    *("basis", "precision", "protocol", "order", "digits", "spread", "operators", "cuffs"),
    *("times", "situations"),
)


@dataclass(frozen=True, eq=False, repr=False)
class AuditAnswer(Brief, Content):
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

    audit: Audit
    statements: tuple[Statement, ...]
    cautions: tuple[str, ...]
    version: str

    @property
    def sentences(self) -> tuple[str, ...]:
        """The words of the statements."""
        return texts_of(self.statements)

    @property
    def sections(self) -> Mapping[str, tuple[str, ...]]:
        """The words of the statements by topic, for each of `TOPICS`."""
        return sections_of(self.statements, TOPICS)

    def to_dict(self) -> dict[str, Any]:
        """Return every answer as plain JSON values, named as in the library."""
        numbers: dict[str, Any] = plain(self.audit.to_dict())
        return numbers | {
            "statements": plain(self.statements),
            "sentences": list(self.sentences),
            "cautions": list(self.cautions),
            "version": self.version,
        }


def audit_answer(audit: Audit) -> AuditAnswer:
    """Return the answers of an audit.

    Parameters
    ----------
    audit : Audit
    """
    from bpvet.wording.en.audit import audit_statements

    situations = ["two_methods"] if len(audit.taken) > 1 else []
    wanted = [one.text for one in cautions_for(situations) if one.applies in situations]
    cautions = (NOT_TO_JUDGE, *wanted, licensed())
    return AuditAnswer(audit, audit_statements(audit), cautions, __version__)
