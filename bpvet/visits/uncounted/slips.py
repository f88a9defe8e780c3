"""What the answers ask of an animal's newest visit, as findings: where it stands in the files."""

from __future__ import annotations

from collections.abc import Iterator

from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, finding_of
from bpvet.records.records import Records
from bpvet.visits.latest_date import JUDGED_CONDITIONS
from bpvet.visits.uncounted.backdated import backdated_rows


def slips(records: Records) -> tuple[Finding, ...]:
    """Return what may be a slip of an animal's newest visit, an animal each.

    Answers say these of one animal; whoever looks for slips wants them of all, with their lines.

    Parameters
    ----------
    records : Records
    """
    return (*_backdated(records), *_without_systolic(records))


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
