"""The parameters of a cohort's report: plain JSON, from which its notebook's first cell works."""

from __future__ import annotations

from typing import Any

from bpvet.frozen import dataclass
from bpvet.reports.spec import ReportSpec, choice, filled, finite, truth


@dataclass(frozen=True, kw_only=True)
class Parameters(ReportSpec):
    """What a cohort's report is asked for.

    Parameters
    ----------
    records, as_of, reading
        As `bpvet.reports.spec.ReportSpec` takes them.
    quantity, rule : str
    pseudonyms : bool
        As `bpvet.clinic_cohort` takes them. With pseudonyms neither notebook nor page holds an id
        or a name; the file of parameters says where the records are, and is not to be passed on.
    level : float
        Of the intervals.
    """

    quantity: str = choice(filled, default="systolic")
    rule: str = choice(filled, default="guideline")
    pseudonyms: bool = choice(truth, default=False)
    level: float = choice(finite, default=0.95)

    @property
    def cohort(self) -> dict[str, Any]:
        """The named arguments of `bpvet.clinic_cohort`."""
        return {name: getattr(self, name) for name in ("quantity", "rule", "pseudonyms")}


#: Reads the parameters in a file, as a cohort's report wrote it.
parameters = Parameters.from_file
