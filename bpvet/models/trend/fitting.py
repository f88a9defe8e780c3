"""How trends are fitted: what one trend, those of a clinic and those of records in parts share."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, TypedDict

from bpvet.facts.priors.priors import Priors
from bpvet.facts.priors.table import PriorTable
from bpvet.frozen import dataclass
from bpvet.records.records import Records


class FitOptions(TypedDict, total=False):
    """The keywords that `Fitting` is made of, each with its default where it is not given."""

    rule: str
    bridge: Sequence[str]
    priors: Priors | PriorTable | None
    fixed: Mapping[str, float] | None
    as_of: Any


@dataclass(frozen=True)
class Fitting:
    """How a trend is fitted, whatever it is of.

    Parameters
    ----------
    rule : str
        Which readings count: ``guideline`` or ``all``.
    bridge : sequence of str
        ``methods``, ``conditions``: join them through an estimated difference.
    priors : Priors, PriorTable or None
        Replaces the defaults.
    fixed : mapping or None
        Noise SDs held fixed: ``{"sv": …, "sr": …, "sw": …}``, all three.
    as_of : date or None
        The date to speak for; by default that of the records.
    """

    rule: str = "guideline"
    bridge: Sequence[str] = ()
    priors: Priors | PriorTable | None = None
    fixed: Mapping[str, float] | None = None
    as_of: Any = None

    def usable(self, records: Records) -> Records:
        """Return the records that speak for the date; RecordsError where they stop the work."""
        speaking = records if self.as_of is None else records.speaking_on(self.as_of)
        return speaking.require_usable()
