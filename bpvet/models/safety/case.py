"""One animal with all that what is urgent, and when to measure again, are decided on."""

from __future__ import annotations

from bpvet.frozen import dataclass
from bpvet.models.trend.trend import Trend
from bpvet.records.records import Records
from bpvet.visits.session_columns import SessionTable
from bpvet.visits.treatments.courses import Treatments


@dataclass(frozen=True, eq=False)
class AnimalCase:
    """One animal: its records, and what was made of them.

    Parameters
    ----------
    records : Records
    animal : str
        Its id.
    sessions : DataFrame or SessionColumns
        Its sessions, as `bpvet.sessions` gives them.
    treatments : Treatments
        Its courses and other drugs.
    trend : Trend or None
        The shown series where it is systolic; of any other quantity a systolic trend of the same
        animal; None where none can be fitted.
    """

    records: Records
    animal: str
    sessions: SessionTable
    treatments: Treatments
    trend: Trend | None
