"""What is on record and not counted, in sentences: it may be the newest visit.

None of it may read as reassurance; each is told before any number.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from bpvet.answers.statement import Statement
from bpvet.answers.trend.recorded import RecordedAnswer
from bpvet.answers.trend.result import TrendAnswer
from bpvet.facts.labs import ANALYTES
from bpvet.facts.protocol import MIN_READINGS
from bpvet.facts.sources import credit, fact
from bpvet.printing import number
from bpvet.visits.signs.states import SignState
from bpvet.visits.uncounted.backdated import Backdated
from bpvet.visits.uncounted.broken import BrokenLine
from bpvet.visits.uncounted.excluded import ExcludedReadings
from bpvet.visits.uncounted.later import LaterRows
from bpvet.visits.uncounted.set_aside import RowsAside
from bpvet.visits.uncounted.unborn import Unborn
from bpvet.visits.uncounted.uncounted import NoSystolic, Uncounted
from bpvet.visits.uncounted.units import OddUnit
from bpvet.visits.uncounted.unmeasured import UnmeasuredDay
from bpvet.visits.uncounted.weights import WeightJump
from bpvet.wording.en.phrases import capital, counted, day, listed
from bpvet.wording.en.trend.recorded import remark_statements

#: Of lines that cannot be read so many are named.
_NAMED = 3
#: A row that is set aside, in words: itself, and what it is of.
_TREATMENT, _MISSED = ("row", " of treatment"), ("row", " of missed doses")
_VALUE = ("laboratory value", "")


def uncounted(answer: TrendAnswer) -> Iterator[Statement]:
    """Rows that cannot be used, or stand under an id that looks like this one."""
    yield from uncounted_statements(answer.recorded.uncounted)
    yield from remark_statements(answer.signs)
    yield from unread_statements(answer.recorded)


def uncounted_statements(found: Uncounted) -> Iterator[Statement]:
    """Yield what is told of rows that may be the animal's and that no number here rests on."""
    if found.signs_since:
        yield _signs_since(found.signs_since)
    if found.broken:
        yield _broken(found.broken)
    if found.unmeasured:
        yield _unmeasured(found.unmeasured)
    if found.partly is not None:
        unread = counted(found.partly.rows, "further reading")
        are, them = ("is", "it") if found.partly.rows == 1 else ("are", "them")
        text = (
            f"Of {day(found.partly.date)} {unread} {are} on record and cannot be used: the mean of "
            f"that day does not know of {them}."
        )
        yield Statement("unmeasured.part", f"{text} bpvet check says why.", outside=text)
    if found.excluded is not None:
        yield _excluded(found.excluded)
    if found.no_systolic is not None:
        yield _no_systolic(found.no_systolic)
    if found.later is not None:
        yield _later(found.later)
    if found.backdated is not None:
        yield _backdated(found.backdated)
    if found.unborn is not None:
        yield _unborn(found.unborn)
    if found.weights is not None:
        yield _weights(found.weights)
    yield from map(_unit, found.units)
    if found.lookalikes:
        ids = (
            f"“{alike.written}” ({counted(alike.rows, 'row')}, the newest of {day(alike.newest)})"
            for alike in found.lookalikes
        )
        yield Statement(
            "lookalikes",
            f"Not counted here, under an id that looks like this one or is its name: "
            f"{listed([*ids])}. If they are of this animal, write its id in one way.",
        )
    yield from _set_aside(found.aside)


def unread_statements(found: RecordedAnswer) -> Iterator[Statement]:
    """Yield that files beside the records are not read: the newest pressure may stand in one."""
    if found.unread_files:
        named = listed([f"“{file}”" for file in found.unread_files])
        text = (
            f"Not read: {named}. Whatever pressures, signs, treatments or laboratory values may "
            "stand there, nothing told here knows of them."
        )
        yield Statement("asked.files", f"{text} bpvet check says why.", outside=text)


def _signs_since(signs: tuple[SignState, ...]) -> Statement:
    """Return what is told of an animal with a new sign that was not measured since."""
    terms = {sign.term: day(sign.seen_on) for sign in reversed(signs)}
    named = listed([f"{term} ({when})" for term, when in terms.items()])
    are = "is" if len(terms) == 1 else "are"
    return Statement(
        "unmeasured.sign",
        f"{capital(named)} {are} recorded, and no pressure that can be used since: no number told "
        "here is of that, nor does the window for the next visit know of it. A vet decides whether "
        "the animal is to be seen sooner.",
    )


def _broken(lines: tuple[BrokenLine, ...]) -> Statement:
    """Return what is told of lines that cannot be counted and that name the animal."""
    named = _lines(lines)
    names, what = ("names", "it says") if len(lines) == 1 else ("name", "they say")
    text = (
        f"{capital(listed(named))} cannot be counted and {names} this animal: nothing told here "
        f"knows what {what}. It may be a newer pressure, or a sign."
    )
    return Statement("unmeasured.line", f"{text} bpvet check shows it.", outside=text)


def _lines(lines: tuple[BrokenLine, ...]) -> list[str]:
    named = [f"line {line.line} of “{line.file}”" for line in lines[:_NAMED]]
    more = len(lines) - _NAMED
    return [*named, counted(more, "further line")] if more > 0 else named


def _unmeasured(days: tuple[UnmeasuredDay, ...]) -> Statement:
    """Return what is told of days after the newest session without a usable reading."""
    rows = sum(unmeasured.rows for unmeasured in days)
    when, that = f"On {day(days[0].date)}", "that day"
    if len(days) > 1:
        when = f"On {counted(len(days), 'day')} from {day(days[0].date)} to {day(days[-1].date)}"
        that = "those days"
    text = (
        f"{when} {counted(rows, 'reading')} {'is' if rows == 1 else 'are'} on record and none can "
        f"be used: no pressure told here is of {that}, and the window for the next visit does not "
        "know of it. A vet decides whether the animal is to be seen sooner."
    )
    return Statement("unmeasured", f"{text} bpvet check says why.", outside=text)


def _excluded(found: ExcludedReadings) -> Statement:
    """Return what is told of readings of the newest visit that the clinic excluded."""
    numbers = listed([f"{bound} {number(value, 0)}".strip() for value, bound in found.values])
    text = (
        f"On {day(found.date)} the clinic excluded {counted(found.rows, 'reading')}"
        f"{f' ({numbers} mmHg)' if numbers else ''}"
    )
    if found.higher and found.highest is not None:
        text = f"{text}; none that counts reads above {number(found.highest, 0)}"
    if found.kept < MIN_READINGS:
        left = f"{capital(counted(found.kept, 'reading'))} {_is(found.kept)} left of that day"
        asked, least = fact("protocol.n.minimum"), counted(MIN_READINGS, "reading")
        text = f"{text}. {left}; at least {least} are asked for ({credit(asked)})"
    return Statement("unmeasured.excluded", f"{text}.")


def _no_systolic(found: NoSystolic) -> Statement:
    """Return what is told of a newest visit without a systolic pressure."""
    read = ((found.mean, "mean"), (found.diastolic, "diastolic"))
    named = [
        f"the {name} was {number(read_so, 0)}" for read_so, name in read if read_so is not None
    ]
    instead = f" ({listed(named)} mmHg)" if named else ""
    return Statement(
        "no_systolic",
        f"On {day(found.date)} no systolic pressure that can be used was read{instead}: what is "
        "told here of systolic pressure is of earlier days. A vet decides whether the animal is "
        "to be seen sooner.",
    )


def _later(found: LaterRows) -> Statement:
    """Return what is told of rows whose date nobody can have written."""
    parts = [counted(found.readings, "reading")] if found.readings else []
    if found.observations:
        parts.append(f"{counted(found.observations, 'row')} of the observations")
    when = day(found.first)
    if found.last != found.first:
        when = f"{when} to {day(found.last)}"
    are, they, dates = ("is", "it is", "the date")
    if found.readings + found.observations > 1:
        are, they, dates = ("are", "they are", "the dates")
    text = (
        f"{capital(listed(parts))} {are} dated after today ({when}) and not counted. If {they} of "
        "a day that has been, the animal was seen since, and no number told here is of that day"
    )
    return Statement("later", f"{text}: correct {dates}.", outside=f"{text}.")


def _backdated(found: Backdated) -> Statement:
    """Return what is asked of rows that may bear last year's date, or month for day."""
    slip = "day and month are exchanged" if found.exchanged else "the year is a slip"
    text = (
        f"The last {counted(found.rows, 'reading')} in “{found.file}” {_is(found.rows)} dated "
        f"{day(found.date)}, after rows of {day(found.above)}. If {slip}, that is the newest "
        "visit, and no answer here takes it for it"
    )
    return Statement("backdated", f"{text}: look at the date.", outside=f"{text}.")


def _unborn(found: Unborn) -> Statement:
    """Return what is told of readings dated before the animal was born."""
    newest = "" if found.rows == 1 else ", the newest"
    text = (
        f"{capital(counted(found.rows, 'reading'))}{newest} of {day(found.newest)}, "
        f"{_is(found.rows)} dated before the birth date on record, {day(found.born)}. One of the "
        "two dates is wrong; if it is the reading's, the animal may have been seen since, and no "
        "answer here knows of it"
    )
    return Statement("backdated.unborn", f"{text}: look at both dates.", outside=f"{text}.")


def _weights(found: WeightJump) -> Statement:
    """Return what is asked of weights that may stand in two units."""
    text = (
        f"The weight on record goes from {number(found.earlier, 2)} kg on {day(found.earlier_on)} "
        f"to {number(found.later, 2)} kg on {day(found.later_on)}, much as a pound is to a "
        "kilogram. If one of the two was weighed in pounds, a loss of weight may be hidden, or one "
        "told that was none"
    )
    return Statement("unit.weight", f"{text}: look at the units.", outside=f"{text}.")


def _unit(found: OddUnit) -> Statement:
    """Return what is asked of a laboratory value that may stand in another unit."""
    unit = "" if found.unit == "ratio" else f" {found.unit}"
    text = (
        f"The newest {ANALYTES[found.analyte]}, {found.value:g}{unit} ({day(found.date)}), is "
        f"unusual as it is written, and would be usual in {' or '.join(found.others)}. All that is "
        "told of it takes the unit that stands there"
    )
    return Statement("unit.lab", f"{text}: look at the unit.", outside=f"{text}.")


def _is(count: int) -> str:
    return "is" if count == 1 else "are"


def _set_aside(found: RowsAside) -> Iterator[Statement]:
    """Yield what is told of rows that cannot be used."""
    kinds = ((found.treatments, _TREATMENT), (found.labs, _VALUE), (found.missed, _MISSED))
    parts = [_rows_aside(rows, kind) for rows, kind in kinds if rows]
    if found.undated:
        parts.append(f"{counted(found.undated, 'reading')} without a usable date")
    if parts:
        alone = found.undated + sum(len(rows) for rows, _ in kinds) == 1
        are, it = ("is", "it") if alone else ("are", "them")
        sentence = f"{capital(listed(parts))} {are} set aside: nothing told here knows of {it}."
        yield Statement("set_aside", f"{sentence} bpvet check says why.", outside=sentence)


def _rows_aside(rows: tuple[str, ...], kind: tuple[str, str]) -> str:
    named = [f"“{text}”" for text in dict.fromkeys(rows) if text]
    what = f" ({listed(named)})" if named else ""
    return f"{counted(len(rows), kind[0])}{kind[1]}{what}"


def but_for_drugs(found: RecordedAnswer) -> str:
    """Return what "no drug is on record" does not know of, for the end of such a sentence."""
    files = () if found.treatments_table else found.unread_files
    unread = [*(f"“{file}”" for file in files), *_lines(found.uncounted.broken)]
    off = [
        f"“{name}”, not on the drug list" for name in dict.fromkeys(r.drug for r in found.unlisted)
    ]
    return _but_for(found.uncounted.aside.treatments, _TREATMENT, unread, off)


def but_for_values(found: RecordedAnswer) -> str:
    """Return what "no creatinine is on record" does not know of, likewise."""
    unread = [*(f"“{file}”" for file in found.unread_files), *_lines(found.uncounted.broken)]
    return _but_for(found.uncounted.aside.labs, _VALUE, unread)


def _but_for(
    rows: tuple[str, ...], kind: tuple[str, str], unread: Sequence[str], off: Sequence[str] = ()
) -> str:
    parts = [f"{counted(len(rows), kind[0])}{kind[1]} set aside"] if rows else []
    parts += off
    if unread:
        parts.append(f"what may stand in {listed(unread)}, not read")
    return f", but for {listed(parts)}" if parts else ""
