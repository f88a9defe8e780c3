"""What comes before any trend: what is urgent, what that withholds, and when to measure again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from bpvet.errors import CallError, FitError
from bpvet.facts.categories import Guideline
from bpvet.models.safety.recheck import Recheck, Standing, recheck
from bpvet.models.safety.standing import below_judged, standing
from bpvet.models.trend.fit import fit_trend
from bpvet.models.trend.outlook import Surprise, surprise
from bpvet.models.trend.trend import Trend
from bpvet.records.records import Records
from bpvet.visits.seen import AnimalRecord, Gathered, animal_record
from bpvet.visits.session_columns import SessionTable
from bpvet.visits.treatments.courses import Treatments
from bpvet.visits.urgency import Urgent, urgent


@dataclass(frozen=True, eq=False)
class Safety:
    """What comes before any trend.

    Parameters
    ----------
    found : AnimalRecord
        Signs, changes of treatment and laboratory values.
    lines : tuple of Urgent
        The most pressing first.
    standing : Standing
        What the window was decided on.
    recheck : Recheck or None
        None where no window is given.
    """

    found: AnimalRecord
    lines: tuple[Urgent, ...]
    standing: Standing
    recheck: Recheck | None

    def withheld(self, what: str) -> str | None:
        """Return the first rule that withholds something, or None.

        Parameters
        ----------
        what : str
            ``all`` (any routine date), ``verdicts`` or ``target`` ("at target").
        """
        holding = {"all": ("all",), "verdicts": ("all", "verdicts")}
        ways = holding.get(what, ("all", "verdicts", "target"))
        return next((one.rule for one in self.lines if one.withholds in ways), None)


def safety(
    records: Records,
    animal: str,
    sessions: SessionTable,
    treatments: Treatments,
    trend: Trend | None,
    chosen: Guideline,
    gathered: Gathered | None = None,
    newest: Callable[[Trend], Surprise | None] = surprise,
) -> Safety:
    """Return what comes before any trend of one animal.

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
    chosen : Guideline
    gathered, newest
        As `animal_record` and `standing` take them: for whole clinics.
    """
    found = animal_record(records, animal, sessions, treatments, gathered)
    below = None if trend is None else below_judged(trend)
    lines = urgent(found.seen, chosen, below)
    held = standing(records, found, sessions, treatments, trend, chosen, lines, newest)
    return Safety(found, lines, held, recheck(held, chosen.key))


def systolic_trend(trend: Trend) -> Trend | None:
    """Return the trend itself where it is systolic, else the animal's systolic one, or None."""
    if trend.series.quantity == "systolic":
        return trend
    try:
        return fit_trend(trend.records, trend.series.animal, rule=trend.context.rule)
    except (CallError, FitError):
        return None
