"""What is written of treatments, of readings and of an animal's end, and not worked out from.

"STOPPED in september" in a note reads as a drug that is still given, nobody is to ring up the owner
of a cat of which a note says that it died, and "real value 210" beside 150 is told of nowhere else.
Each is a question (`GROUPS`), and is answered by an entry where it belongs: a stop, another dose or
a start within `_NEAR`, a date of leaving, a reading of that value, or, of an animal that is said to
be dead and of a pressure, a later visit.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from bpvet.facts.drugs import drug, drug_name
from bpvet.facts.remarks import (
    doubts_reading,
    goes_without,
    heads_pressure,
    names_medicine,
    pressure_drugs_in,
    pressures_in,
    says_changed,
    says_left,
    says_not_given,
    says_sedated,
)
from bpvet.facts.signs.signs import SignItem
from bpvet.facts.words import TREND_CONDITIONS
from bpvet.records.animal_rows import animal_rows
from bpvet.records.animals import has_date
from bpvet.records.finding_codes import Code
from bpvet.records.records import Records
from bpvet.visits.signs.cells import Asked, Place, asked_cells, in_their_time, places
from bpvet.visits.uncounted.groups import newest_days, starts

#: What remarks are about; no group of signs.
TREATMENT, LEFT, PRESSURE, DOUBT = "treatment", "left", "pressure", "doubt"
GROUPS = (LEFT, PRESSURE, DOUBT, TREATMENT)
#: Tables whose notes, reasons and columns that are not ours may tell of a pressure.
_OF_VISITS = ("readings", "observations", "contacts")
#: What `Sign.table` says of a cell that names or doses a drug, of the animals' own row, and of an
#: observation or contact that tells of an end.
IN_DRUG, IN_ANIMALS, IN_ENTRY = "treatments drug", "animals row", "ending entry"
#: Likewise of a date of leaving that lies after today.
LEFT_AHEAD = "leaving ahead"
_NEAR = np.timedelta64(30, "D")
_NO_DAY = np.datetime64("NaT", "D")
_LONGEST = 120

#: Where it stands, what `Sign.table` says, and the question.
Remark = tuple[Place, str, SignItem]
#: First and last day of each treatment of an animal, and its drug.
_Spans = dict[str, list[tuple[np.datetime64, np.datetime64, str]]]


def remarks(
    records: Records, animal: str | None = None, cells: Sequence[Asked] | None = None
) -> Iterator[Remark]:
    """Yield what is asked of treatments and of leaving, of one animal or of all.

    `cells` are those of `asked_cells`, where they are at hand.
    """
    cells = list(asked_cells(records, animal)) if cells is None else cells
    treated = records.columns("treatments", animal)
    usable = treated.take(treated.is_text("set_aside", ""))
    rows = in_their_time(records, usable, "started_on")
    names = {text: drug_name(text) for text in rows.different("drug")[0]}
    stops = rows.days("stopped_on")
    spans: _Spans = defaultdict(list)
    for row, stop, text in zip(places(rows, "started_on"), stops, rows["drug"], strict=True):
        spans[row[0]].append((row[1], stop, names[text]))
    written = (rows[name] for name in ("drug", "dose", "note"))
    for row, stop, *texts in zip(places(rows, "started_on"), stops, *written, strict=True):
        ends = not np.isnat(stop) and stop <= records.as_of
        name = names[texts[0]]
        later = any(start > row[1] for start, _, taken in spans[row[0]] if taken == name)
        if not (ends or later):
            yield from _of_treatment(row, texts)
    lives = _Lives(records, animal)
    yield from _of_notes(cells, lives, spans)
    yield from _of_pressures(cells, lives)
    yield from _of_doubts(cells, lives)
    yield from _of_animals(records, lives, animal)


def _of_treatment(row: Place, texts: list[str]) -> Iterator[Remark]:
    """Yield what a row of treatment that is on says of its end."""
    written, dose, note = texts
    known = drug(written)
    if known is not None and known.kind != "pressure":
        return
    name = drug_name(written)
    doubted = "?" in written or (known is None and bool(pressure_drugs_in(written)))
    for text, asks, table in (
        (written, doubted, IN_DRUG),
        (dose, says_not_given(dose), IN_DRUG),
        (note, says_not_given(note), "treatments note"),
    ):
        if asks:
            yield _remark(row, table, text, TREATMENT, name)


def _of_notes(cells: Sequence[Asked], lives: _Lives, spans: _Spans) -> Iterator[Remark]:
    for asked in cells:
        texts = asked.texts
        leaving = {text for text in texts if says_left(text)}
        treating = set() if asked.name == "treatments note" else {*filter(_may_treat, texts)}
        if not (leaving or treating):
            continue
        for text, row in asked.cells(asked.among(leaving | treating)):
            if text in leaving and lives.may_have_ended(row):
                yield _remark(row, asked.name, text, LEFT)
            if text in treating and not _answered(text, row[1], spans[row[0]]):
                yield _remark(row, asked.name, text, TREATMENT)


def _of_pressures(cells: Sequence[Asked], lives: _Lives) -> Iterator[Remark]:
    """Yield the notes from the newest day on with a pressure that its readings do not have."""
    for asked in cells:
        if asked.name.split()[0] not in _OF_VISITS:
            continue
        heading = f"{asked.heading.replace('_', ' ')}: " if asked.heading else ""
        # A number alone is no note, but under a heading that speaks of pressure.
        plain = not heading or heads_pressure(heading)
        noted = (text for text in asked.texts if plain or not text.replace(".", "").isdecimal())
        named = {text: pressures_in(heading + text) for text in noted}
        named = {text: pressures for text, pressures in named.items() if pressures}
        if not named:
            continue
        for text, row in asked.cells(asked.among(named)):
            new = [value for value in named[text] if lives.is_new(value, row)]
            if not new:
                continue
            start = max(0, text.find(str(new[0])) - _LONGEST // 2) if len(text) > _LONGEST else 0
            quoted = heading + text if text.isdecimal() else text[start:]
            yield _remark(row, asked.name, quoted, PRESSURE, ", ".join(map(str, new)))


def _of_doubts(cells: Sequence[Asked], lives: _Lives) -> Iterator[Remark]:
    """Yield the notes of the newest day that doubt a reading which counts, or that it was awake."""
    for asked in cells:
        if asked.name != "readings note":
            continue
        rows = asked.rows
        doubting = {text for text in asked.texts if doubts_reading(text)}
        sedated = {text for text in asked.texts if says_sedated(text)}
        if not (doubting or sedated):
            continue
        keep = asked.among(sedated) & rows.among("condition", TREND_CONDITIONS)
        keep |= asked.among(doubting)
        keep &= rows.is_text("excluded", "") & rows.is_text("set_aside", "")
        for text, row in asked.cells(keep):
            noted = any(lives.is_new(value, row) for value in pressures_in(text))
            if lives.is_newest(row) and not noted:
                yield _remark(row, asked.name, text, DOUBT)


def _may_treat(text: str) -> bool:
    return bool(pressure_drugs_in(text)) or (names_medicine(text) and says_changed(text))


def _answered(
    text: str, day: np.datetime64, spans: list[tuple[np.datetime64, np.datetime64, str]]
) -> bool:
    """Return whether the treatments say what a note of a day says."""
    named = pressure_drugs_in(text)
    mine = [(start, stop) for start, stop, name in spans if name in named or not named]
    if any(abs(date - day) <= _NEAR for span in mine for date in span if not np.isnat(date)):
        return True
    on = any(start <= day and not stop < day for start, stop in mine)
    # An animal on nothing goes without nothing.
    return not says_changed(text) if on else goes_without(text) and not named


def _of_animals(records: Records, lives: _Lives, animal: str | None) -> Iterator[Remark]:
    """Yield what the animals table, the signs and the contacts say of an animal's end."""
    frame = records.columns("animals", animal)
    for whose, name, left in zip(
        frame["animal"], frame["name"], frame["left_written"], strict=True
    ):
        row: Place = (str(whose), _NO_DAY, "", 0)
        for text in (str(left), str(name) if says_left(str(name)) else ""):
            if text and lives.may_have_ended(row):
                table = LEFT_AHEAD if text == left and has_date(text) else IN_ANIMALS
                yield _remark(row, table, text, LEFT)
    unread = records.findings.by_code(Code.UNKNOWN_WORD)
    outcomes = {(finding.file, finding.line): finding.value for finding in unread}
    signs = in_their_time(records, records.columns("observations", animal), "seen_on")
    calls = in_their_time(records, records.columns("contacts", animal), "date")
    for text, row in (
        *zip(signs["sign"], places(signs, "seen_on"), strict=True),
        *((outcomes.get(row[2:], ""), row) for row in places(calls, "date")),
    ):
        if says_left(text) and lives.may_have_ended(row):
            yield _remark(row, IN_ENTRY, text, LEFT)


class _Lives:
    """Which animals have left, the newest day with a usable reading of each, and what was read.

    Parameters
    ----------
    records : Records
    animal : str or None
        The one that is asked about; None for all.
    """

    def __init__(self, records: Records, animal: str | None) -> None:
        readings = records.columns("readings", animal)
        self._day, self._systolic = readings.days("date"), readings["systolic"]
        self._counts = readings.is_text("excluded", "")
        usable = readings.is_text("set_aside", "") & (self._day <= records.as_of)
        self._animals, self._whose = readings.different("animal")
        days = newest_days(self._whose[usable], self._day[usable], len(self._animals))
        met = zip(self._animals, days, np.isnat(days).tolist(), strict=True)
        self._newest = {animal: day for animal, day, never in met if not never}
        rows = animal_rows(records).items()
        self._gone = {animal for animal, row in rows if row.left(records.as_of)}

    def may_have_ended(self, row: Place) -> bool:
        """Return whether what is written somewhere may be of an end: no visit is later."""
        return row[0] not in self._gone and self.is_newest(row)

    def is_newest(self, row: Place) -> bool:
        """Return whether no usable reading is newer than what is written somewhere."""
        whose, day = row[:2]
        return not day < self._newest.get(whose, day)

    def is_new(self, pressure: float, row: Place) -> bool:
        """Return whether no reading of a row's day, or of the newest, has a pressure, mmHg.

        One between readings that count is nothing new, nor is what is written on an older day.
        """
        if not self.is_newest(row):
            return False
        whose, day = row[:2]
        newest = self._newest.get(whose, _NO_DAY)
        rows = np.asarray(self._rows.get(whose, ()), dtype=np.int64)
        rows = rows[(self._day[rows] == newest) | (self._day[rows] == day)]
        values, counts = self._systolic[rows].round(), self._counts[rows]
        counted = values[counts & ~np.isnan(values)]
        between = counted.size and counted.min() <= pressure <= counted.max()
        return not between and pressure not in values

    @cached_property
    def _rows(self) -> Mapping[str, NDArray[np.int64]]:
        """The readings' rows of each animal."""
        order = np.argsort(self._whose, kind="stable")
        code = self._whose[order]
        groups = zip(code[starts(code)].tolist(), np.split(order, starts(code)[1:]), strict=False)
        return {self._animals[code]: rows for code, rows in groups}


def _remark(row: Place, table: str, text: str, group: str, drug_named: str = "") -> Remark:
    return row, table, SignItem(text[:_LONGEST], drug_named, group, "unclear")
