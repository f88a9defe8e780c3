"""The answers of an agreement: every number as plain values, and the sentences of its page."""

from __future__ import annotations

from typing import Any, ClassVar

from bpvet import __version__
from bpvet.answers.statement import Statement, Worded
from bpvet.equality import Content
from bpvet.facts.cautions import cautions_for
from bpvet.frozen import dataclass
from bpvet.models.agreement.result import Agreement
from bpvet.printing import Brief

#: Topics of the statements, in the order in which they are told.
TOPICS = ("answers", "criteria", "bridged", "basis")


@dataclass(frozen=True, eq=False, repr=False)
class AgreementAnswer(Worded, Brief, Content):
    """What `bpvet agreement --json` prints.

    Parameters
    ----------
    agreement : Agreement
        The numbers.
    statements : tuple of Statement
        What they say, topic by topic, most useful first.
    cautions : tuple of str
        What must stand beside them.
    version : str
        Of this program.
    """

    topics: ClassVar[tuple[str, ...]] = TOPICS

    agreement: Agreement
    statements: tuple[Statement, ...]
    cautions: tuple[str, ...]
    version: str

    def to_dict(self) -> dict[str, Any]:
        """Return every answer as plain JSON values, named as in the library."""
        return self.agreement.to_dict() | self._worded()


def agreement_answer(agree: Agreement) -> AgreementAnswer:
    """Return the answers of an agreement.

    Parameters
    ----------
    agree : Agreement
    """
    from bpvet.wording.en.agreement.agreement import agreement_statements

    situations = ["two_methods"] if agree.reference else ["two_methods", "agreement"]
    if any(criterion.remembered for criterion in agree.criteria):
        situations.append("remembered")
    wanted = cautions_for(situations)
    return AgreementAnswer(
        agreement=agree,
        statements=agreement_statements(agree),
        cautions=tuple(
            caution.text
            for caution in wanted
            if caution.applies in situations or caution.id == "licensed"
        ),
        version=__version__,
    )
