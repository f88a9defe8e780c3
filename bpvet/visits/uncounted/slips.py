"""What the answers ask of an animal, as findings: where it stands in the files."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from bpvet.facts.protocol import SESSION_GAP_HOURS
from bpvet.facts.remarks import says_not_given
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, finding_of
from bpvet.records.records import Records
from bpvet.visits.latest_date import JUDGED_CONDITIONS
from bpvet.visits.signs.remarks import DOUBT, IN_DRUG, LEFT, PRESSURE, TREATMENT, remarks
from bpvet.visits.treatments.courses import all_courses
from bpvet.visits.uncounted.backdated import backdated_rows
from bpvet.visits.uncounted.groups import first_rows, newest_days, ranks
from bpvet.visits.uncounted.weights import weight_jumps

_IN_TEXT = {
    LEFT: Code.LEFT_IN_TEXT,
    PRESSURE: Code.PRESSURE_IN_TEXT,
    DOUBT: Code.DOUBT_IN_TEXT,
    TREATMENT: Code.TREATMENT_IN_TEXT,
}


def slips(records: Records) -> tuple[Finding, ...]:
    """Return what answers ask of an animal and the record check has no finding of.

    Answers say these of one animal; whoever looks for slips wants them of all, with their lines:
    what may be a slip of its newest visit, and what is written of a treatment or of the animal's
    end where nothing is worked out from it.

    Parameters
    ----------
    records : Records
    """
    return (
        *_backdated(records),
        *_without_systolic(records),
        *_across_midnight(records),
        *_pounds(records),
        *_doses(records),
        *_remarks(records),
    )


def _backdated(records: Records) -> Iterator[Finding]:
    for animal, found in backdated_rows(records).items():
        yield finding_of(
            Code.BACKDATED,
            found.file,
            found.line,
            animal=animal,
            rows=found.rows,
            date=str(found.date),
            above=str(found.above),
            exchanged=found.exchanged,
        )


def _without_systolic(records: Records) -> Iterator[Finding]:
    """Yield the animals whose newest date has readings, and no systolic pressure among them."""
    rows = records.columns("readings")
    blank = np.isnan(rows["systolic"]) & rows.is_text("systolic_bound", "")
    usable = rows.is_text("set_aside", "") & rows.is_text("excluded", "")
    usable &= ~rows.is_text("animal", "") & ~rows["duplicate"] & ~rows["future"]
    usable &= rows.among("condition", JUDGED_CONDITIONS)
    if not (blank & usable).any():
        return
    animals, whose = rows.coded("animal")
    has = np.zeros(len(animals), dtype=bool)
    has[whose[blank & usable]] = True
    near = usable & has[whose]
    rows, whose, blank = rows.take(near), whose[near], blank[near]
    day = rows.days("date")
    newest = np.flatnonzero(day == newest_days(whose, day, len(animals))[whose])
    has[whose[newest[~blank[newest]]]] = False
    firsts = newest[first_rows(whose[newest])]
    first = rows.take(firsts[has[whose[firsts]]])
    columns = (first[name] for name in ("file", "line", "animal"))
    for file, line, animal, on in zip(*columns, first.days("date"), strict=True):
        yield finding_of(Code.NEWEST_WITHOUT_SYSTOLIC, file, int(line), animal=animal, date=str(on))


def _across_midnight(records: Records) -> Iterator[Finding]:
    """Yield the readings that follow those of the day before as soon as those of one session."""
    rows = records.columns("readings")
    gap = np.timedelta64(SESSION_GAP_HOURS, "h")
    since = rows["taken_at"] - rows["date"]
    keep = rows["timed"] & ((since < gap) | (since > np.timedelta64(24, "h") - gap))
    keep &= rows.is_text("set_aside", "") & ~rows["duplicate"] & ~rows.is_text("animal", "")
    rows = rows.take(keep)
    animals, whose = rows.different("animal")
    order = np.lexsort((rows["taken_at"], ranks(animals)[whose]))
    rows, whose = rows.take(order), whose[order]
    waited, day = np.diff(rows["taken_at"]), rows.days("date")
    near = (waited < gap) & (day[1:] != day[:-1]) & (whose[1:] == whose[:-1])
    before = np.flatnonzero(near)
    after = rows.take(before + 1)
    columns = (after[name] for name in ("file", "line", "animal"))
    for file, line, animal, wait, last in zip(*columns, waited[before], day[before], strict=True):
        yield finding_of(
            Code.ACROSS_MIDNIGHT,
            file,
            int(line),
            animal=animal,
            before=str(last),
            minutes=int(wait / np.timedelta64(1, "m")),
        )


def _pounds(records: Records) -> Iterator[Finding]:
    for animal, found in weight_jumps(records).items():
        yield finding_of(
            Code.POUNDS,
            found.file,
            found.line,
            animal=animal,
            earlier=found.earlier,
            on=str(found.earlier_on),
            later=found.later,
        )


def _doses(records: Records) -> Iterator[Finding]:
    """Yield the doses whose decimal point may stand in another place than the one before."""
    for given in all_courses(records).values():
        yield from (finding for finding in given.findings if finding.code is Code.DOSE_BY_TENS)


def _remarks(records: Records) -> Iterator[Finding]:
    for (_, _, file, line), table, item in remarks(records):
        # Of a drug's name that is off the list there is a finding.
        off_the_list = table == IN_DRUG and not says_not_given(item.text)
        if file and not off_the_list:
            values: dict[str, Any] = {"text": item.text}
            if item.group == PRESSURE:
                values["numbers"] = item.term
            yield finding_of(_IN_TEXT[item.group], file, line, value=item.text, **values)
