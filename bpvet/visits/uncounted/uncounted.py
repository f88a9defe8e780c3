"""All that stands in an animal's records, or may be its own, and that no number rests on."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from bpvet.equality import Content
from bpvet.frozen import dataclass
from bpvet.records.records import Records
from bpvet.visits.latest_date import LatestDate
from bpvet.visits.signs.states import SignState
from bpvet.visits.uncounted.backdated import Backdated, backdated_rows
from bpvet.visits.uncounted.broken import BrokenLine, broken_lines
from bpvet.visits.uncounted.excluded import ExcludedReadings, excluded_readings
from bpvet.visits.uncounted.later import LaterRows, later_rows
from bpvet.visits.uncounted.lookalikes import Lookalike, lookalikes
from bpvet.visits.uncounted.set_aside import RowsAside, rows_aside
from bpvet.visits.uncounted.unborn import Unborn, unborn_rows
from bpvet.visits.uncounted.units import OddUnit, odd_units
from bpvet.visits.uncounted.unmeasured import UnmeasuredDay, unmeasured_days
from bpvet.visits.uncounted.weights import WeightJump, weight_jumps
from bpvet.visits.urgency import Seen

#: Groups of signs after which a pressure wants measuring, and that no urgent line tells of.
_TO_MEASURE = ("weak", "look", "bleeding")


@dataclass(frozen=True, eq=False)
class NoSystolic(Content):
    """The latest date, where no systolic pressure was read.

    Parameters
    ----------
    date : datetime64[D]
    mean, diastolic : float or None
        The highest that were read instead, mmHg.
    """

    date: np.datetime64
    mean: float | None
    diastolic: float | None


@dataclass(frozen=True, eq=False)
class Uncounted(Content):
    """What of one animal is on record and not counted.

    Parameters
    ----------
    unmeasured : tuple of UnmeasuredDay
        Days after the latest date (all, without one) on which no reading can be used.
    partly : UnmeasuredDay or None
        The latest date, where not all of its readings can be used.
    excluded : ExcludedReadings or None
        Readings of the latest date, or of a later day, that the clinic excluded, where they stand
        higher than the others or leave few.
    no_systolic : NoSystolic or None
        The latest date, where no systolic pressure was read: it is a visit, and no number is of it.
    later : LaterRows or None
        Rows dated after today.
    backdated : Backdated or None
        Last readings that may bear last year's date: they are counted, and perhaps a year off.
    unborn : Unborn or None
        Readings dated before its birth date: they are counted, and one of the dates is wrong.
    weights : WeightJump or None
        Weights that may stand in two units: they are counted, and a loss may be hidden.
    units : tuple of OddUnit
        Newest laboratory values that may stand in another unit: they are counted as written.
    lookalikes : tuple of Lookalike
        Ids that look like its own, with rows that may be its own.
    aside : RowsAside
        Rows that cannot be used.
    broken : tuple of BrokenLine
        Lines that cannot be counted and that name it; those of days before its latest date only
        where they may tell of a sign.
    signs_since : tuple of SignState
        Signs of `_TO_MEASURE` that are present, of days after the latest date: nobody has measured
        the animal since. Those of eye and brain are urgent by themselves.
    """

    unmeasured: tuple[UnmeasuredDay, ...]
    partly: UnmeasuredDay | None
    excluded: ExcludedReadings | None
    no_systolic: NoSystolic | None
    later: LaterRows | None
    backdated: Backdated | None
    unborn: Unborn | None
    weights: WeightJump | None
    units: tuple[OddUnit, ...]
    lookalikes: tuple[Lookalike, ...]
    aside: RowsAside
    broken: tuple[BrokenLine, ...]
    signs_since: tuple[SignState, ...]

    @property
    def may_be_newer(self) -> bool:
        """Whether the animal may have been seen since its latest date."""
        found = (self.unmeasured, self.later, self.backdated, self.unborn, self.lookalikes)
        return any(found) or bool(self.broken) or self.aside.pressing

    @property
    def partly_counted(self) -> bool:
        """Whether readings of the newest visit that do not count may say something else."""
        higher = self.excluded is not None and self.excluded.higher
        return self.partly is not None or higher


@dataclass(frozen=True, eq=False)
class UncountedRows:
    """What of every animal is on record and not counted, read once; by animal, where it has any."""

    days: Mapping[str, tuple[UnmeasuredDay, ...]]
    excluded: Mapping[str, ExcludedReadings]
    later: Mapping[str, LaterRows]
    backdated: Mapping[str, Backdated]
    unborn: Mapping[str, Unborn]
    weights: Mapping[str, WeightJump]
    units: Mapping[str, tuple[OddUnit, ...]]
    lookalikes: Mapping[str, tuple[Lookalike, ...]]
    aside: Mapping[str, RowsAside]
    broken: Mapping[str, tuple[BrokenLine, ...]]

    @classmethod
    def read(cls, records: Records, animal: str | None = None) -> UncountedRows:
        """Return those of all animals of some records, or of this animal alone."""
        return cls(
            unmeasured_days(records, animal),
            excluded_readings(records, animal),
            later_rows(records, animal),
            backdated_rows(records, animal),
            unborn_rows(records, animal),
            weight_jumps(records, animal),
            odd_units(records, animal),
            lookalikes(records),
            rows_aside(records, animal),
            broken_lines(records, animal),
        )

    def of(self, seen: Seen) -> Uncounted:
        """Return those of an animal, by what urgency is judged on."""
        animal, latest = seen.animal, seen.latest
        days, date = self.days.get(animal, ()), None if latest is None else latest.date
        excluded = self.excluded.get(animal)
        if excluded is not None and date is not None and excluded.date < date:
            excluded = None
        return Uncounted(
            unmeasured=tuple(
                day for day in days if not day.used and (date is None or day.date > date)
            ),
            partly=next((day for day in days if day.used and day.date == date), None),
            excluded=excluded,
            no_systolic=_no_systolic(latest),
            later=self.later.get(animal),
            backdated=self.backdated.get(animal),
            unborn=self.unborn.get(animal),
            weights=self.weights.get(animal),
            units=self.units.get(animal, ()),
            lookalikes=self.lookalikes.get(animal, ()),
            aside=self.aside.get(animal, RowsAside()),
            broken=tuple(
                line
                for line in self.broken.get(animal, ())
                if line.sign or date is None or not line.date < date
            ),
            signs_since=tuple(sign for sign in seen.signs if _since(seen, sign)),
        )


def _since(seen: Seen, sign: SignState) -> bool:
    """Whether a sign that pressure may stand behind is there, and was not when last measured."""
    since = seen.latest is None or bool(sign.seen_on > seen.latest.date)
    return since and sign.group in _TO_MEASURE and seen.there_now(sign)


def _no_systolic(latest: LatestDate | None) -> NoSystolic | None:
    if latest is None or latest.has_systolic:
        return None
    return NoSystolic(latest.date, latest.highest_of("mean"), latest.highest_of("diastolic"))
