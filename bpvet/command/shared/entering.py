"""Entering something into a record folder from the command line, and what the animal needs now."""

from __future__ import annotations

import argparse
import shlex
import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bpvet.command.shared.output import printable, say, tell_recovered
from bpvet.errors import Ambiguous, BpvetError, CallError, NothingLeft
from bpvet.frozen import dataclass

if TYPE_CHECKING:
    from bpvet.answers.room.result import RoomAnswer
    from bpvet.answers.trend.result import TrendAnswer
    from bpvet.answers.trend.unseen import UnseenAnswer
    from bpvet.records.entries.adding import Entry
    from bpvet.records.records import Records


@dataclass(frozen=True)
class Target:
    """Where something is entered, and of whom.

    Parameters
    ----------
    folder : Path
    records : Records
        As they are before.
    animal, name, species : str
        The animal's id, and its name and species as far as they are known.
    """

    folder: Path
    records: Records
    animal: str
    name: str
    species: str

    @property
    def who(self) -> str:
        """The animal, for a sentence."""
        return f"{self.name} ({self.animal})" if self.name else self.animal


def opened_folder(path: str) -> tuple[Path, Records]:
    """Return a record folder that may be added to, and its records as they are.

    Raises
    ------
    CallError, RecordsError
        As `bpvet.records.entries.adding.record_folder` and `usable_records`.
    """
    from bpvet.records.entries.adding import record_folder, usable_records

    folder = record_folder(path)
    tell_recovered(folder)
    return folder, usable_records(folder)


def target(path: str, text: str) -> Target:
    """Return whom an entry is of: an animal that these records know.

    Parameters
    ----------
    path : str
        The record folder.
    text : str
        The animal's id, or its name if only one bears it.

    Raises
    ------
    CallError
        No animal, or more than one, is meant; or nothing may be added to the folder.
    """
    folder, records = opened_folder(path)
    try:
        animal = records.animal(text)
    except Ambiguous:
        raise
    except CallError as error:
        raise CallError(
            f"{error} If it is new here, enter it first: bpvet add {shlex.quote(path)} --animal "
            f"{shlex.quote(text)} --species cat"
        ) from None
    animals = records.animals
    row = animals[animals["animal"] == animal].iloc[0]
    species = str(row["species"] or row["species_written"])
    return Target(folder, records, animal, str(row["name"]), species)


def add_session(
    aim: Target,
    rows: Sequence[Mapping[str, str]],
    answer: RoomAnswer,
    arguments: argparse.Namespace,
) -> Entry:
    """Add a session to the records, if it is read back as the one that was taken.

    Parameters
    ----------
    aim : Target
    rows : sequence of mapping of str to str
        Its readings.
    answer : RoomAnswer
        What it came to in the room.
    arguments : Namespace
        With ``rule``, and what `accepting` needs.

    Raises
    ------
    CallError
        It is refused, or cannot be written.
    """
    from bpvet.records.entries.adding import add_entry
    from bpvet.visits.added_session import check_added_session

    fates = [reading.fate for reading in answer.readings]

    def judge(records: Records, name: str) -> list[str]:
        return check_added_session(records, name, fates, arguments.rule)

    return add_entry(aim.folder, "readings", rows, accepting(arguments), judge)


def accepting(arguments: argparse.Namespace) -> Callable[[Sequence[str]], None]:
    """Return what is done with the questions of the check: asked, told, or refused."""
    from bpvet.wording.en.command.entries import ADDED_ANYWAY, ASK, LOOK_FIRST

    def accept(notes: Sequence[str]) -> None:
        listed = "\n".join(f"  {note}" for note in notes)
        if arguments.sure:
            say(f"{ADDED_ANYWAY}\n{listed}", arguments.quiet)
            return
        asks = sys.stdin is not None and sys.stdin.isatty() and sys.stderr.isatty()
        if asks and not arguments.json:
            print(printable(f"{LOOK_FIRST}\n{listed}"), file=sys.stderr)
            print(ASK, end="", file=sys.stderr, flush=True)
            if sys.stdin.readline().strip().casefold() in ("yes", "y"):
                return
            raise CallError("It was not added.")
        raise CallError(
            f"It was not added; please look at this first:\n{listed}\n"
            "If it is right as it stands, say so: --sure."
        )

    return accept


def entered_words(found: Entry, what: str) -> str:
    """Return that something was added, where it is, and how it is taken back."""
    from bpvet.wording.en.command.entries import ADDED

    folder = shlex.quote(str(found.file.parent))
    undo = f"bpvet add {folder} --cancel {found.entry} --reason WHY"
    return ADDED.format(what=what, file=found.file.name, undo=undo)


def now(
    folder: Path, animal: str, rule: str, guideline: str
) -> TrendAnswer | UnseenAnswer | BpvetError:
    """Return what the records, as they are now, say of an animal; or why they cannot."""
    from bpvet.answers.trend.unseen import unseen_answer
    from bpvet.models.trend.fit import fit_trend
    from bpvet.records.read import read

    try:
        records = read(folder).require_usable()
        try:
            trend = fit_trend(records, animal, rule=rule)
        except NothingLeft as error:
            return unseen_answer(records, animal, str(error), guideline)
        return trend.answer(guideline=guideline)
    except BpvetError as error:
        return error


def now_text(found: TrendAnswer | UnseenAnswer | BpvetError) -> str:
    """Return the answer to "what now?" in five lines."""
    from bpvet.command.trend import short_text
    from bpvet.records.finding_codes import Code
    from bpvet.wording.en.command.entries import NO_READING_YET, NOT_KNOWN

    if isinstance(found, BpvetError):
        kinds = {finding.kind for finding in getattr(found, "findings", ())}
        if kinds == {Code.NO_READINGS_FILE.kind}:
            return NO_READING_YET
        return printable(NOT_KNOWN.format(reason=str(found).splitlines()[0]))
    return short_text(found)


def now_json(found: TrendAnswer | UnseenAnswer | BpvetError) -> dict[str, Any]:
    """Return the same as plain JSON values."""
    from bpvet.answers.json_values import plain
    from bpvet.wording.en.trend.short import short_statements

    if isinstance(found, BpvetError):
        return {"urgent": [], "statements": [], "withheld": str(found)}
    values = found.to_dict()
    statements = plain(short_statements(found))
    return {"urgent": values["urgent"], "statements": statements, "withheld": None}


def entry_json(found: Entry | None) -> dict[str, Any] | None:
    """Return what was added as plain JSON values."""
    if found is None:
        return None
    return {
        "table": found.table,
        "entry": found.entry,
        "file": found.file.name,
        "rows": [dict(row) for row in found.rows],
        "asked": list(found.notes),
    }
