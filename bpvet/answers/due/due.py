"""The clinic's list: which animals to see next, why, and by when."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from bpvet import __version__
from bpvet.answers.due.bands import BANDS, LATER, band_name, band_of, need_of
from bpvet.answers.json_values import plain
from bpvet.answers.trend.recorded import unread_files
from bpvet.answers.trend.safety import (
    RecheckAnswer,
    UrgentAnswer,
    recheck_answer,
    urgent_answers,
)
from bpvet.equality import Content
from bpvet.errors import CallError
from bpvet.facts.categories import DEFAULT
from bpvet.facts.cautions import cautions_for
from bpvet.facts.priors.priors import Priors
from bpvet.facts.priors.table import PriorTable
from bpvet.facts.sources import fact
from bpvet.frozen import dataclass, replace
from bpvet.garbage import garbage_waits
from bpvet.models.clinic.cohort import pseudonyms_of
from bpvet.models.safety.checks_due import checks_due
from bpvet.models.safety.clinic import AnimalSafety, clinic_safety
from bpvet.models.safety.safety import Safety
from bpvet.printing import Brief, ShortTable, Tabled, number, probability
from bpvet.records.outputs import inputs_of
from bpvet.records.records import Records

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


_DAY = np.timedelta64(1, "D")
#: Rows that are printed of many.
_MOST_SHOWN = 30


@dataclass(frozen=True)
class DueCheck:
    """An examination of eyes, blood or urine: its window, why, and whose interval it is."""

    what: str
    rule: str
    earliest: np.datetime64
    latest: np.datetime64
    overdue_days: int
    why: str
    grade: str


@dataclass(frozen=True)
class LastSession:
    """The latest date: the highest session mean as measured, and the usual pressure then, mmHg.

    `sd` is the posterior SD of the usual pressure: how far it may lie from `estimate`.
    """

    date: np.datetime64
    value: float | None
    bound: str
    estimate: float | None
    sd: float | None


@dataclass(frozen=True)
class Contact:
    """The newest contact with the owner; `moves` tells whether it moves the row down."""

    date: np.datetime64
    outcome: str
    note: str
    moves: bool
    text: str


@dataclass(frozen=True, eq=False, repr=False)
class DueRow(Brief, Content):
    """One animal of the clinic's list.

    Parameters
    ----------
    animal, name, species : str
        With pseudonyms `animal` is a number and `name` is blank.
    band : str
        One of `bpvet.answers.due.bands.BANDS`.
    read_first : bool
        Whether what is asked would be urgent if it is so: it is read before anything is planned.
    earliest, latest : datetime64[D] or None
        The window for measuring again; `earliest` is None where only a last day is asked. None,
        as is all else of a window, where `read_first` and it would not end within two days, unless
        what is urgent asks for it within three: a far date beside a note that may tell of
        blindness would read as time enough.
    state : str or None
        Row of the table of windows.
    why : str
        What is urgent, or why the window is so.
    what : tuple of str
        From ``measure``, ``eyes``, ``bloods`` and ``urine``.
    guideline, guideline_name, grade : str or None
        Whose window it is, and the grade of its evidence.
    remembered : bool
        Whether that figure is from memory and not yet checked.
    overdue_days : int
    last : LastSession or None
        None for an animal without a session.
    p_at_target : float or None
        Probability that the usual pressure is at or below the target; of treated animals alone,
        and None where something urgent withholds it.
    p_below_raised : float or None
        The same of the guideline's raised bound.
    treated : bool
    contact : Contact or None
    urgent : tuple of UrgentAnswer
        Every urgent line, the most pressing first.
    open_questions : tuple of str
        What is to be read or corrected before anything is planned; `why` holds it too.
    checks : tuple of DueCheck
        The next examination of eyes, blood and urine.
    """

    animal: str
    name: str
    species: str
    band: str
    read_first: bool
    earliest: np.datetime64 | None
    latest: np.datetime64 | None
    state: str | None
    why: str
    what: tuple[str, ...]
    guideline: str | None
    guideline_name: str | None
    grade: str | None
    remembered: bool
    overdue_days: int
    last: LastSession | None
    p_at_target: float | None
    p_below_raised: float | None
    treated: bool
    contact: Contact | None
    urgent: tuple[UrgentAnswer, ...]
    open_questions: tuple[str, ...]
    checks: tuple[DueCheck, ...]

    @property
    def asked(self) -> tuple[DueCheck, ...]:
        """The examinations that `what` names."""
        return tuple(check for check in self.checks if check.what in self.what)


@dataclass(frozen=True, eq=False, repr=False)
class Due(Tabled, Content):
    """The clinic's list, the most pressing first.

    Parameters
    ----------
    rows : tuple of DueRow
        Every animal that has not left, once.
    as_of : datetime64[D]
    days : int
        Windows that end within so many days are on the list.
    guideline : str
    left : int
        Animals that have left: they are not on it.
    nameless : int
        Readings and signs without an animal's id: no row of it knows of them.
    unread : tuple of str
        Files beside the records that are not read: neither does it of what stands in them.
    pseudonyms : bool
    cautions : tuple of str
    version, data_digest : str
        The digest is blank with pseudonyms.
    """

    rows: tuple[DueRow, ...]
    as_of: np.datetime64
    days: int
    guideline: str
    left: int
    nameless: int
    unread: tuple[str, ...]
    pseudonyms: bool
    cautions: tuple[str, ...]
    version: str
    data_digest: str

    @cached_property
    def listed(self) -> tuple[DueRow, ...]:
        """The rows that ask for something: all but those of later."""
        return tuple(row for row in self.rows if row.band != LATER)

    def to_list(self) -> list[dict[str, Any]]:
        """Return the rows as plain JSON values: what ``bpvet due --json`` prints."""
        return [plain(row) for row in self.rows]

    to_dict = to_list

    def plot(self, ax: Axes | None = None, *, width_mm: float = 160.0) -> Figure | Axes:
        """Return the windows for measuring again, or draw them in an Axes of yours."""
        from bpvet.figures.drawing import plotted
        from bpvet.pictures.due import due_picture

        return plotted(due_picture(self), ax, width_mm)

    def report(
        self, folder: str | Path, records: str | Path, *, force: bool = False
    ) -> tuple[Path, ...]:
        """Write the list as page, table and calendar; nothing in `records` is written over.

        Parameters
        ----------
        folder : str or path
        records : str or path
            Where they are.
        force : bool
            Whether files that are not an earlier list may be replaced.

        Returns
        -------
        tuple of Path
            The page first.
        """
        from bpvet.reports.due import write_due

        return write_due(self, Path(folder), inputs_of(records), force)

    def to_frame(self) -> pd.DataFrame:
        """Return one row an animal, flat: the columns of the CSV."""
        from bpvet.answers.due.table import due_frame

        return due_frame(self)

    def summary(self) -> ShortTable:
        """Return how many animals are in each band."""
        counts = {band: sum(row.band == band for row in self.rows) for band in BANDS}
        rows = tuple((band_name(band), str(count)) for band, count in counts.items() if count)
        return ShortTable(f"Due on {self.as_of}: {len(self.rows)} animals", ("band", "n"), rows)

    def _table(self) -> ShortTable:
        from bpvet.wording.en.due import LIST_COLUMNS, list_title

        rows = tuple(
            (
                row.animal,
                band_name(row.band),
                str(row.latest or "–"),
                "–" if row.last is None else number(row.last.estimate, 0),
                probability(row.p_at_target),
            )
            for row in self.listed[:_MOST_SHOWN]
        )
        left = len(self.rows) - len(rows)
        return ShortTable(
            list_title(self),
            LIST_COLUMNS,
            rows,
            (f"… and {left} more",) if left > 0 else (),
        )


@garbage_waits()
def due(
    records: Records,
    guideline: str = DEFAULT,
    *,
    days: int | None = None,
    rule: str = "guideline",
    priors: Priors | PriorTable | None = None,
    pseudonyms: bool = False,
    as_of: Any = None,
) -> Due:
    """Return which animals of a clinic to see next, why, and by when.

    Parameters
    ----------
    records : Records
    guideline : str
        Key of the guideline whose windows come first; an animal of a species that it does not
        speak of is judged by the default.
    days : int, optional
        Windows that end within so many days are due; 14 by default.
    rule, priors
        As `bpvet.fit_trends` takes them.
    pseudonyms : bool
        Whether numbers stand in place of ids and names.
    as_of : date, optional
        The date to speak for; by default that of the records.

    Returns
    -------
    Due
        Every animal once but for those that left, the most pressing first; among equals in the
        order of window, date and id.

    Raises
    ------
    CallError
        For an unknown guideline or rule, or days below 0.
    RecordsError
        Where the records have findings that stop the work.

    Examples
    --------
    >>> import bpvet, pandas as pd
    >>> readings = pd.DataFrame(
    ...     {"animal": ["A17"] * 2, "taken_at": ["2026-03-01"] * 2, "method": ["doppler"] * 2,
    ...      "systolic": [192, 190]}
    ... )
    >>> animals = pd.DataFrame({"animal": ["A17"], "species": ["cat"]})
    >>> records = bpvet.Records.from_frames(readings, animals=animals, as_of="2026-03-02")
    >>> [(one.animal, one.band, one.what) for one in due(records).rows]
    [('A17', 'now', ('measure', 'eyes'))]
    """
    if as_of is not None:
        records = records.speaking_on(as_of)
    reach = reach_of(days)
    rows = ranked_rows(records, guideline, reach, rule, priors)
    return due_of(rows, Origin.of(records), guideline, reach, pseudonyms)


def reach_of(days: int | None) -> int:
    """Return how many days ahead the list looks: those given, or the default.

    Raises
    ------
    CallError
        They are below 0.
    """
    reach = int(fact("project.due.reach").value or 0) if days is None else days
    if reach < 0:
        raise CallError(f"days must be 0 or more, not {days}.")
    return reach


def left_by(records: Records) -> int:
    """Return how many animals have left by the date of the records."""
    return sum(animal.left(records.as_of) for animal in records.rows_by_animal.values())


def nameless_rows(records: Records) -> int:
    """Return how many readings and signs stand without an animal's id."""
    tables = (records.readings, records.observations)
    return sum(int((frame["animal"] == "").to_numpy(dtype=bool).sum()) for frame in tables)


#: What a row is sorted by, and the row.
Ranked = tuple[tuple[Any, ...], DueRow]


def ranked_rows(
    records: Records,
    guideline: str,
    reach: int,
    rule: str,
    priors: Priors | PriorTable | None,
) -> list[Ranked]:
    """Return the row of each animal that has not left, and what it is sorted by; not yet sorted.

    Parameters
    ----------
    records, guideline, rule, priors
        As `due` takes them.
    reach : int
        Windows that end within so many days are due.
    """
    from bpvet.wording.en.due import open_questions

    found = clinic_safety(records, guideline, rule=rule, priors=priors)
    contacts = _contacts(records)
    # One question of all animals before the next: see `bpvet.models.safety.safety.safeties`.
    windows = [
        recheck_answer(animal.safety, animal.row.left_reason, others=False) for animal in found
    ]
    urgent = [urgent_answers(animal.safety, animal.guideline) for animal in found]
    questions = [tuple(open_questions(animal.safety)) for animal in found]
    checks = list(map(_checks, found))
    asked = map(_Asked, windows, urgent, questions, checks, map(_last, found))
    return [
        _row(animal, answers, reach, contacts.get(animal.row.animal))
        for animal, answers in zip(found, asked, strict=True)
    ]


@dataclass(frozen=True)
class Origin:
    """Where a list comes from, and what of it no row knows of: as `Due` names it."""

    as_of: np.datetime64
    digest: str
    left: int
    nameless: int
    unread: tuple[str, ...]

    @classmethod
    def of(cls, records: Records) -> Origin:
        """Return that of a list of these records."""
        left, nameless = left_by(records), nameless_rows(records)
        return cls(records.as_of, records.digest, left, nameless, unread_files(records))


def due_of(
    ranked: Sequence[Ranked], origin: Origin, guideline: str, reach: int, pseudonyms: bool
) -> Due:
    """Return the list of these rows, the most pressing first.

    Parameters
    ----------
    ranked : sequence of (tuple, DueRow)
        As `ranked_rows` gives them, of one set of records or of several without a common animal.
    origin : Origin
    guideline : str
    reach : int
        Windows that end within so many days are due.
    pseudonyms : bool
        Whether numbers stand in place of ids and names; the digest is what tells them apart.
    """
    rows = [row for _, row in sorted(ranked, key=lambda pair: (*pair[0], pair[1].animal))]
    if pseudonyms:
        called = pseudonyms_of([row.animal for row in rows], origin.digest)
        rows = [_nameless(row, called[row.animal]) for row in rows]
    return Due(
        rows=tuple(rows),
        as_of=origin.as_of,
        days=reach,
        guideline=guideline,
        left=origin.left,
        nameless=origin.nameless,
        unread=origin.unread,
        pseudonyms=pseudonyms,
        cautions=tuple(caution.text for caution in cautions_for(("raised", "treated", "labs"))),
        version=__version__,
        data_digest="" if pseudonyms else origin.digest,
    )


def _nameless(row: DueRow, called: str) -> DueRow:
    """Return a row under a number: what is quoted of the records may name an animal or an owner."""
    from bpvet.wording.en.due import UNNAMED, unquoted

    why, questions = row.why, tuple(map(unquoted, row.open_questions))
    for question, masked in zip(row.open_questions, questions, strict=True):
        why = why.replace(question, masked)
    urgent = tuple(
        replace(
            line,
            text=unquoted(line.text, dict(zip(line.signs, line.terms, strict=True))),
            signs=tuple(term or UNNAMED for term in line.terms),
        )
        for line in row.urgent
    )
    for line, unnamed in zip(row.urgent, urgent, strict=True):
        why = why.replace(line.text, unnamed.text)
    contact = None if row.contact is None else replace(row.contact, note="")
    return replace(
        row,
        animal=called,
        name="",
        why=why,
        open_questions=questions,
        urgent=urgent,
        contact=contact,
    )


@dataclass(frozen=True, eq=False)
class _Asked:
    """What is asked of an animal, before its place in the list is known: fields of `DueRow`."""

    again: RecheckAnswer
    urgent: tuple[UrgentAnswer, ...]
    questions: tuple[str, ...]
    checks: tuple[DueCheck, ...]
    last: LastSession | None


def _checks(animal: AnimalSafety) -> tuple[DueCheck, ...]:
    from bpvet.wording.en.due import check_text

    return tuple(
        DueCheck(
            what=check.what,
            rule=check.rule,
            earliest=check.earliest,
            latest=check.latest,
            overdue_days=check.overdue_days(animal.safety.standing.as_of),
            why=check_text(check),
            grade="J",
        )
        for check in checks_due(animal.safety, animal.sessions, animal.treatments)
    )


def _row(
    animal: AnimalSafety,
    asked: _Asked,
    reach: int,
    newest: tuple[np.datetime64, str, str] | None,
) -> tuple[tuple[Any, ...], DueRow]:
    """Return an animal's row, and what it is sorted by."""
    from bpvet.wording.en.due import why_of

    safety, standing = animal.safety, animal.safety.standing
    until = standing.as_of + np.timedelta64(reach, "D")
    soon = [check for check in asked.checks if check.latest <= until]
    band = band_of(safety, reach, bool(soon))
    contact, withheld = _contact(newest, safety), safety.withheld("target") is not None
    row = DueRow(
        animal=animal.row.animal,
        name=animal.row.name,
        species=animal.row.species or animal.row.species_written,
        band=band,
        read_first=safety.read_first,
        earliest=asked.again.earliest,
        latest=asked.again.latest,
        state=asked.again.state,
        why=why_of(band, asked.urgent, asked.again, [check.why for check in soon], asked.questions),
        what=tuple(_what(band, asked.checks, until)),
        guideline=asked.again.guideline,
        guideline_name=asked.again.guideline_name,
        grade=asked.again.grade,
        remembered=asked.again.remembered,
        overdue_days=asked.again.overdue_days,
        last=asked.last,
        # Beside what is urgent nothing stands that could reassure.
        p_at_target=standing.p_target if standing.treated and not withheld else None,
        p_below_raised=None if standing.p_raised is None or withheld else 1 - standing.p_raised,
        treated=standing.treated,
        contact=contact,
        urgent=asked.urgent,
        open_questions=asked.questions,
        checks=asked.checks,
    )
    moved = contact.outcome if contact is not None and contact.moves else ""
    soonest = min((check.latest for check in soon), default=None)
    return need_of(safety, band, moved, soonest), row


def _what(band: str, checks: Sequence[DueCheck], until: np.datetime64) -> Iterator[str]:
    measured = band not in ("checks", LATER, "no_plan")
    if measured:
        yield "measure"
    for check in checks:
        # Whoever comes for the pressure is looked at for whatever is open by then; a sign of the
        # eye is looked at whenever the animal is there.
        open_ = check.earliest <= until if measured else check.latest <= until
        if open_ or (measured and check.rule == "eyes.open"):
            yield check.what


def _last(animal: AnimalSafety) -> LastSession | None:
    latest = animal.safety.found.seen.latest
    if latest is None:
        return None
    value = latest.highest_measured
    # Where most readings lie beyond the gauge no estimate is known.
    known = animal.trend is not None and not animal.trend.one_sided
    usual = animal.trend.latest if animal.trend is not None and known else None
    estimate, sd = (None, None) if usual is None else (float(usual.mean), float(usual.sd))
    bound = "" if value is None else latest.bound_of(value)
    return LastSession(latest.date, value, bound, estimate, sd)


def _contacts(records: Records) -> Mapping[str, tuple[np.datetime64, str, str]]:
    """Return each animal's newest usable contact: its date, outcome and note."""
    table = records.contacts
    if not len(table):
        return {}
    day = table["date"].to_numpy(dtype="datetime64[D]")
    usable = (table["set_aside"] == "").to_numpy() & ~np.isnat(day) & (day <= records.as_of)
    found: dict[str, tuple[np.datetime64, str, str]] = {}
    for date, keep, animal, outcome, note in zip(
        day, usable, table["animal"], table["outcome"], table["note"], strict=True
    ):
        # Of two on one day the later line is the newer.
        if keep and (animal not in found or date >= found[animal][0]):
            found[str(animal)] = (date, str(outcome), str(note))
    return found


def _contact(newest: tuple[np.datetime64, str, str] | None, safety: Safety) -> Contact | None:
    if newest is None:
        return None
    from bpvet.wording.en.due import contact_text

    date, outcome, note = newest
    standing = safety.standing
    latest = safety.found.seen.latest
    days = [line.on for line in safety.lines] + ([] if latest is None else [latest.date])
    # A contact before what is asked for now has not been about it.
    about = all(date >= day for day in days)
    kept = int(fact("project.due.contact").value or 0)
    moves = bool(about and outcome != "no answer" and standing.as_of - date <= kept * _DAY)
    return Contact(date, outcome, note, moves, contact_text(date, outcome, about, moves, kept))
