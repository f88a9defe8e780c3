"""The answers of an agreement: every number as plain values, and the sentences of its page."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from bpvet import __version__
from bpvet.answers.agreement.sentences import sections_of
from bpvet.equality import Content
from bpvet.facts.cautions import cautions_for
from bpvet.models.agreement.result import Agreement
from bpvet.printing import Brief


@dataclass(frozen=True, eq=False, repr=False)
class AgreementAnswer(Brief, Content):
    """What `bpvet agreement --json` prints.

    Parameters
    ----------
    agreement : Agreement
        The numbers.
    sections : mapping of str to tuple of str
        What they say, by topic, most useful first.
    cautions : tuple of str
        What must stand beside them.
    version : str
        Of this program.
    """

    agreement: Agreement
    sections: Mapping[str, tuple[str, ...]]
    cautions: tuple[str, ...]
    version: str

    @property
    def sentences(self) -> tuple[str, ...]:
        """Every sentence, topic by topic."""
        return tuple(sentence for said in self.sections.values() for sentence in said)

    def to_dict(self) -> dict[str, Any]:
        """Return every answer as plain JSON values, named as in the library."""
        return self.agreement.to_dict() | {
            "sentences": list(self.sentences),
            "cautions": list(self.cautions),
            "version": self.version,
        }


def agreement_answer(agree: Agreement) -> AgreementAnswer:
    """Return the answers of an agreement.

    Parameters
    ----------
    agree : Agreement
    """
    situations = ["two_methods"] if agree.reference else ["two_methods", "agreement"]
    if any(one.remembered for one in agree.criteria):
        situations.append("remembered")
    wanted = cautions_for(situations)
    return AgreementAnswer(
        agreement=agree,
        sections=sections_of(agree),
        cautions=tuple(
            one.text for one in wanted if one.applies in situations or one.id == "licensed"
        ),
        version=__version__,
    )
