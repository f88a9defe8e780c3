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
    frame = records.readings
    blank = (frame["systolic"].isna() & (frame["systolic_bound"] == "")).to_numpy(dtype=bool)
    counts = (frame["set_aside"] == "") & (frame["excluded"] == "") & (frame["animal"] != "")
    counts &= ~frame["duplicate"] & ~frame["future"] & frame["condition"].isin(JUDGED_CONDITIONS)
    usable = counts.to_numpy(dtype=bool)
    if not (blank & usable).any():
        return
    near = frame["animal"].isin(frame["animal"][blank & usable].unique()).to_numpy(dtype=bool)
    rows = frame.loc[near & usable, ["animal", "date", "file", "line"]]
    rows = rows.assign(blank=blank[near & usable])
    newest = rows[rows["date"] == rows.groupby("animal", observed=True)["date"].transform("max")]
    for animal, of_day in newest.groupby("animal", sort=False, observed=True):
        if of_day["blank"].all():
            first = of_day.iloc[0]
            yield finding_of(
                Code.NEWEST_WITHOUT_SYSTOLIC,
                str(first["file"]),
                int(first["line"]),
                animal=str(animal),
                date=str(first["date"].date()),
            )


def _across_midnight(records: Records) -> Iterator[Finding]:
    """Yield the readings that follow those of the day before as soon as those of one session."""
    frame = records.readings
    gap = np.timedelta64(SESSION_GAP_HOURS, "h")
    since = frame["taken_at"] - frame["date"]
    keep = frame["timed"] & ((since < gap) | (since > np.timedelta64(24, "h") - gap))
    keep &= (frame["set_aside"] == "") & ~frame["duplicate"] & (frame["animal"] != "")
    rows = frame.loc[keep.to_numpy(dtype=bool), ["animal", "taken_at", "date", "file", "line"]]
    rows = rows.sort_values(["animal", "taken_at"], kind="stable")
    before = rows.groupby("animal", sort=False, observed=True)[["taken_at", "date"]].shift()
    waited = rows["taken_at"] - before["taken_at"]
    near = ((waited < gap) & (rows["date"] != before["date"])).to_numpy(dtype=bool)
    for row, wait, last in zip(
        rows[near].to_dict("records"), waited[near], before["date"][near], strict=True
    ):
        yield finding_of(
            Code.ACROSS_MIDNIGHT,
            str(row["file"]),
            int(row["line"]),
            animal=str(row["animal"]),
            before=str(last.date()),
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
