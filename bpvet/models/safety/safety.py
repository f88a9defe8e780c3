"""What comes before any trend: what is urgent, what that withholds, and when to measure again."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache, cached_property

import numpy as np

from bpvet.errors import CallError, FitError
from bpvet.facts.categories import Guideline, guideline
from bpvet.facts.sources import fact
from bpvet.frozen import dataclass
from bpvet.models.safety.case import AnimalCase
from bpvet.models.safety.recheck import Recheck, Standing, recheck
from bpvet.models.safety.standing import below_judged, standing
from bpvet.models.trend.fit import fit_trend
from bpvet.models.trend.outlook import Surprise, surprise
from bpvet.models.trend.trend import Trend
from bpvet.visits.labs.events import KidneyStage
from bpvet.visits.labs.history import days_between
from bpvet.visits.latest_date import urgent_number
from bpvet.visits.seen import AnimalRecord, Gathered, animal_record
from bpvet.visits.signs.remarks import GROUPS as REMARKS
from bpvet.visits.signs.remarks import PRESSURE
from bpvet.visits.signs.states import ALARMING, LASTING, SignState
from bpvet.visits.urgency import Urgent, UrgentRule, urgent

#: What is to be found out before a date is given: whether a sign that is asked about is there;
#: whether a pressure in a note is right; how an animal is that has a new sign and was not measured
#: since; whether a sign that was entered as present is still there; what a line says that cannot be
#: counted; and whose newer rows are that stand under an id like its own.
READ_FIRST = ("asked", "noted", "since", "still", "line", "alike")


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

    @property
    def asks(self) -> tuple[SignState, ...]:
        """Signs that would be urgent if they are there, and that nobody has said are there.

        What notes, unclear rows and rows that are set aside seem to say of eye, brain or weakness:
        `asks_now`, then `asks_still`; not what is recorded as present.
        """
        return (*self.asks_now, *self.asks_still)

    @cached_property
    def asks_now(self) -> tuple[SignState, ...]:
        """Those of `asks` about the latest date and not long ago, or without a readable date."""
        current = self.found.seen.current
        return tuple(sign for sign in self._unsaid if np.isnat(sign.seen_on) or current(sign))

    @cached_property
    def asks_still(self) -> tuple[SignState, ...]:
        """Those of `asks` that nobody has answered since: the newest of each term.

        Of the eye and acute ones of the brain as long as nothing entered answers them; others as
        long as the animal has not been seen since.
        """
        if not self._unsaid:
            return ()
        seen, asked = self.found.seen, {sign.term for sign in self.asks_now}
        found: dict[str, SignState] = {}
        for sign in self._unsaid:
            stays = sign.group in LASTING or seen.of_latest(sign)
            if stays and sign.term not in asked:
                found.setdefault(sign.term, sign)
        return tuple(found.values())

    @cached_property
    def asks_whether_still(self) -> tuple[SignState, ...]:
        """Signs entered as present of which nobody has said what became of them, one a term.

        Of eye, brain or weakness, about the latest date or since, however long ago but for the last
        two days, where no urgent line names them; not those of `Uncounted.signs_since`, which are
        told by themselves. None where a sign of the eye or the brain is urgent: its line asks to
        look at the animal, and its window is short.
        """
        if any(line.rule in (UrgentRule.SIGN_CURRENT, UrgentRule.SIGN_OPEN) for line in self.lines):
            return ()
        named = {sign.text for line in self.lines for sign in line.signs}
        named |= {sign.text for sign in self.found.uncounted.signs_since}
        # Whoever entered it within two days knows how the animal is.
        lately = self.standing.as_of - np.timedelta64(_soon(), "D")
        return tuple(
            sign
            for sign in self.found.seen.signs
            if sign.reading == "present"
            and sign.group in ALARMING
            and not sign.seen_on >= lately
            and not (sign.longstanding or sign.asked_only or sign.text in named)
            and self.found.seen.of_latest(sign)
        )

    @cached_property
    def _unsaid(self) -> tuple[SignState, ...]:
        """Signs that may be there, of whatever day, the newest first."""
        signs = self.found.seen.signs
        if not signs:
            return ()
        listed = {sign.text for line in self.lines for sign in line.signs}
        present = {sign.term for sign in signs if sign.reading == "present" and not sign.asked_only}
        return tuple(
            sign
            for sign in signs
            if sign.reading == "unclear"
            and sign.group in ALARMING
            and not (sign.term in present or sign.text in listed)
        )

    @property
    def unread(self) -> tuple[SignState, ...]:
        """Entries about the latest date that are not understood, and that no urgent line names."""
        listed = {sign.text for line in self.lines for sign in line.signs}
        return tuple(
            sign
            for sign in self.found.seen.signs
            if sign.reading == "unread" and not sign.asked_only and sign.text not in listed
            if self.found.seen.of_latest(sign)
        )

    @cached_property
    def noted_otherwise(self) -> bool:
        """Whether a note gives a pressure of a higher category than the latest date, or a low one.

        Categories are those of the default guideline.
        """
        noted = [sign for sign in self.remarks if sign.group == PRESSURE]
        return self._worse([float(number) for sign in noted for number in sign.term.split(", ")])

    @property
    def noted_now(self) -> bool:
        """Whether such a note is no older than a sign that is current."""
        most = urgent_number("sign_current_days")
        return self.noted_otherwise and any(
            np.isnat(sign.seen_on) or self.found.seen.age(sign.seen_on) <= most
            for sign in self.remarks
            if sign.group == PRESSURE
        )

    @cached_property
    def first(self) -> tuple[str, ...]:
        """What is to be found out before anything is planned: those of `READ_FIRST` that fit."""
        fits = (
            self.asks,
            self.noted_otherwise,
            self.found.uncounted.signs_since,
            self.asks_whether_still,
            self.found.uncounted.broken,
            self._newer_alike,
        )
        return tuple(name for name, found in zip(READ_FIRST, fits, strict=True) if found)

    @property
    def _newer_alike(self) -> bool:
        latest = self.found.seen.latest
        return any(
            latest is None or alike.newest >= latest.date
            for alike in self.found.uncounted.lookalikes
        )

    @property
    def read_first(self) -> bool:
        """Whether something is asked, or not measured since, that would be urgent if it is so.

        No far date may stand beside it: it is read before anything is planned.
        """
        return bool(self.first)

    @property
    def withholds_date(self) -> bool:
        """Whether a date for the next visit would read as time enough beside what is asked.

        One that has passed, or that is due at once, would not; nor does that of a rule that
        withholds every routine date (three days at most).
        """
        again = self.recheck
        if again is None or again.row.kind == "all" or not self.read_first:
            return False
        return days_between(self.standing.as_of, again.latest) > _soon()

    @property
    def excluded_otherwise(self) -> bool:
        """Whether the clinic lately excluded readings of a higher category than the latest date."""
        seen, excluded = self.found.seen, self.found.uncounted.excluded
        if excluded is None or seen.age(excluded.date) > urgent_number("sign_current_days"):
            return False
        return excluded.higher and self._worse([value for value, _ in excluded.values])

    @property
    def kidney_leap(self) -> KidneyStage | None:
        """The newest kidney value's stage where it leaps and its species has bounds, or None."""
        newest = self.found.kidneys.stage
        return newest if newest.leaps and self.found.seen.has_facts else None

    def _worse(self, pressures: list[float]) -> bool:
        """Whether one is of a higher category than the latest date, or low where that is not."""
        latest = self.found.seen.latest
        if not pressures or not self.found.seen.has_facts:
            return False
        chosen, low = guideline(), urgent_number("low")
        highest = None if latest is None else latest.highest
        lowest = None if latest is None else latest.lowest
        counted = chosen.categories[0] if highest is None else chosen.category_of(highest)
        falls = min(pressures) < low <= (low if lowest is None else lowest)
        return max(pressures) >= counted.high or falls

    @property
    def remarks(self) -> tuple[SignState, ...]:
        """What is written of its treatments or its end where nothing is worked out from it."""
        return tuple(sign for sign in self.found.seen.signs if sign.group in REMARKS)

    def withheld(self, what: str) -> str | None:
        """Return the first rule that withholds something, or None.

        Parameters
        ----------
        what : str
            ``all`` (any routine date), ``verdicts`` or ``target`` ("at target").
        """
        holding = {"all": ("all",), "verdicts": ("all", "verdicts")}
        ways = holding.get(what, ("all", "verdicts", "target"))
        return next((line.rule for line in self.lines if line.withholds in ways), None)


@cache
def _soon() -> int:
    return int(fact("project.due.soon").value or 0)


def safety(case: AnimalCase, chosen: Guideline) -> Safety:
    """Return what comes before any trend of one animal.

    Parameters
    ----------
    case : AnimalCase
    chosen : Guideline
    """
    return safeties([case], [chosen])[0]


def safeties(
    cases: Sequence[AnimalCase],
    chosen: Sequence[Guideline],
    gathered: Gathered | None = None,
    newest: Callable[[Trend], Surprise | None] = surprise,
) -> list[Safety]:
    """Return the same of several animals.

    One question is asked of all of them before the next is: a clinic's answers take a fifth less
    time so, for the processor has at hand what each question takes.

    Parameters
    ----------
    cases, chosen : sequences of one length
    gathered, newest
        As `animal_record` and `standing` take them: for whole clinics.
    """
    found = [
        animal_record(case.records, case.animal, case.sessions, case.treatments, gathered)
        for case in cases
    ]
    below = [None if case.trend is None else below_judged(case.trend) for case in cases]
    seen = [record.seen for record in found]
    lines = list(map(urgent, seen, chosen, below))
    stands = [standing(*each, newest) for each in zip(cases, found, chosen, lines, strict=True)]
    again = [recheck(stand, key.key) for stand, key in zip(stands, chosen, strict=True)]
    return list(map(Safety, found, lines, stands, again))


def systolic_trend(trend: Trend) -> Trend | None:
    """Return the trend itself where it is systolic, else the animal's systolic one, or None."""
    if trend.series.quantity == "systolic":
        return trend
    try:
        return fit_trend(trend.records, trend.series.animal, rule=trend.context.rule)
    except (CallError, FitError):
        return None
