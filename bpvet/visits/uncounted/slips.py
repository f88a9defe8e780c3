"""What the answers ask of an animal, as findings: where it stands in the files."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from bpvet.facts.remarks import says_not_given
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, finding_of
from bpvet.records.records import Records
from bpvet.visits.latest_date import JUDGED_CONDITIONS
from bpvet.visits.signs.remarks import IN_DRUG, LEFT, PRESSURE, TREATMENT, remarks
from bpvet.visits.uncounted.backdated import backdated_rows

_IN_TEXT = {
    LEFT: Code.LEFT_IN_TEXT,
    PRESSURE: Code.PRESSURE_IN_TEXT,
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
    return (*_backdated(records), *_without_systolic(records), *_remarks(records))


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


def _remarks(records: Records) -> Iterator[Finding]:
    for (_, _, file, line), table, item in remarks(records):
        # Of a drug's name that is off the list there is a finding.
        off_the_list = table == IN_DRUG and not says_not_given(item.text)
        if file and not off_the_list:
            values: dict[str, Any] = {"text": item.text}
            if item.group == PRESSURE:
                values["numbers"] = item.term
            yield finding_of(_IN_TEXT[item.group], file, line, value=item.text, **values)
