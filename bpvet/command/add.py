"""``bpvet add``: one entry more in a record folder, as a new file; or one taken back."""

from __future__ import annotations

import argparse
import re
from collections.abc import Mapping
from datetime import date, datetime
from pathlib import Path
from typing import Any

from bpvet.command.shared import options
from bpvet.command.shared.entering import (
    Target,
    accepting,
    add_session,
    entered_words,
    entry_json,
    now,
    now_json,
    now_text,
    opened_folder,
    target,
)
from bpvet.command.shared.options import option
from bpvet.command.shared.output import print_json, printable, say, wrapped
from bpvet.command.shared.session_rows import reading_rows
from bpvet.command.shared.typed_readings import moment, one_line, typed_readings
from bpvet.errors import CallError
from bpvet.facts.signs.signs import STATUSES
from bpvet.facts.words import METHODS, SETTINGS, SPECIES, STATES
from bpvet.records.findings import shown

ABOUT = """\
Adds one entry to a folder of records, as a new file of its own; nothing that is there is
changed. It is checked as ever before it is written, and answered in five lines. What was
added can be taken back by its id: the row stays, is listed by check, and used by nothing.

examples:
  bpvet add records --animal A17 --treatment amlodipine --on 2026-03-01
  bpvet add records --animal A17 --sign "retinal detachment" --on 2026-03-01
  bpvet add records --animal A17 --lab creatinine --value 180 --unit µmol/L --on 2026-03-01
  bpvet add records --animal A17 --reading 165 158 160 --method doppler
  bpvet add records --animal A17 --missed missed --on 2026-03-01 --until 2026-03-03
  bpvet add records --animal A17 --contact booked --on 2026-03-01
  bpvet add records --animal N04 --species cat --name Sprat
  bpvet add records --cancel 20260301-101500-3f9a2c --reason "wrong animal"
"""

#: What each kind of entry begins with: its table, and the options that go with it by column.
_KINDS: dict[str, tuple[str, dict[str, str]]] = {
    "reading": (
        "readings",
        {
            "on": "taken_at",
            "method": "method",
            "setting": "setting",
            "state": "state",
            "session": "session",
            "site": "site",
            "operator": "operator",
            "note": "note",
        },
    ),
    "treatment": (
        "treatments",
        {
            "on": "started_on",
            "until": "stopped_on",
            "dose": "dose",
            "dose_unit": "dose_unit",
            "product": "product",
            "purpose": "purpose",
            "note": "note",
        },
    ),
    "missed": ("missed", {"on": "from", "until": "to", "drug": "drug", "note": "note"}),
    "sign": ("observations", {"on": "seen_on", "status": "status", "note": "note"}),
    "lab": ("labs", {"on": "sampled_on", "value": "value", "unit": "unit"}),
    "contact": ("contacts", {"on": "date", "note": "note"}),
    "species": (
        "animals",
        {"name": "name", "breed": "breed", "sex": "sex", "birth_date": "birth_date"},
    ),
}
#: The column that the option of a kind itself fills.
_OWN = {
    "treatment": "drug",
    "missed": "what",
    "sign": "sign",
    "lab": "analyte",
    "contact": "outcome",
    "species": "species",
}
#: Columns whose option must be given.
_NEEDED = {"lab": ("value",), "reading": ("method",)}
_DATES = ("started_on", "stopped_on", "from", "to", "seen_on", "sampled_on", "date", "birth_date")
_BOUNDED = re.compile(r"(<|>)=?\s*([0-9.]+)", re.ASCII)
_OTHERS = ("on", "until", *dict.fromkeys(name for _, cells in _KINDS.values() for name in cells))


_TEXTS_HELP = {
    "value": "of the laboratory, a number",
    "unit": "of the laboratory value, such as µmol/L",
    "dose": "as written on the label",
    "dose_unit": "unit of the dose",
    "product": "of the treatment, as the clinic calls it",
    "purpose": "what the treatment is for",
    "drug": "whose doses were missed (every pressure drug)",
    "session": "a name for the session, if there are several a day",
    "site": "where the cuff sat",
    "operator": "who measured",
    "name": "of a new animal",
    "breed": "of a new animal",
    "sex": "of a new animal",
    "birth_date": "of a new animal, YYYY-MM-DD",
    "note": "anything else",
}


USAGE = "bpvet add FOLDER --animal A WHAT [options]"
ARGUMENTS = (
    options.argument("path", metavar="FOLDER", help="a folder of records in CSV files"),
    options.argument("--animal", default="", metavar="A", help="its id, or its name"),
    options.option_group(
        "what is added, one of these",
        options.argument(
            "--reading", nargs="+", metavar="R", help="readings of one session, as taken"
        ),
        options.argument("--treatment", metavar="DRUG", help="a drug that was begun, or changed"),
        options.argument(
            "--missed", choices=("missed", "late"), help="doses that were missed, late"
        ),
        options.argument("--sign", metavar="SIGN", help="what was seen, such as seizure"),
        options.argument("--lab", metavar="ANALYTE", help="a laboratory value, such as creatinine"),
        options.argument(
            "--contact",
            choices=("booked", "declined", "no answer", "left"),
            help="what a call to the owner came to",
        ),
        options.argument("--species", choices=SPECIES, help="a new animal, --animal being its id"),
        options.argument("--cancel", metavar="ID", help="take back the entry of this id"),
        options.argument("--list", action="store_true", help="show what can be taken back"),
    ),
    options.option_group(
        "more about it",
        options.argument(
            "--on", "--taken-at", metavar="DATE", help="when, YYYY-MM-DD (readings: now)"
        ),
        options.argument(
            "--until", metavar="DATE", help="last day of a treatment or of missed doses"
        ),
        options.argument("--method", choices=METHODS, help="of the readings"),
        options.argument("--setting", choices=SETTINGS, help="of the readings"),
        options.argument("--state", choices=STATES, help="of the animal at the readings"),
        options.argument("--status", choices=STATUSES, help="of the sign"),
        *(
            options.argument(option(name), metavar="TEXT", help=help)
            for name, help in _TEXTS_HELP.items()
        ),
        options.argument("--reason", metavar="WHY", help="why the entry is taken back"),
        options.SURE,
    ),
    options.RULE,
    options.GUIDELINE,
    options.WAYS_OUT,
)


def run(arguments: argparse.Namespace) -> None:
    """Add the entry, and say what the animal needs now."""
    kind = _kind(arguments)
    if kind == "list":
        return _list(arguments)
    if kind == "cancel":
        return _cancel(arguments)
    text = one_line(arguments.animal, "--animal")
    if not text:
        raise CallError("--animal says whose it is.")
    if kind == "reading":
        return _add_readings(arguments, text)
    cells = _cells(arguments, kind)
    if kind == "species":
        folder, records = opened_folder(arguments.path)
        animals = records.animals
        if text in set(animals["animal"]):
            listed = animals[animals["animal"] == text].iloc[0]
            if listed["species"] or listed["species_written"]:
                raise CallError(f"{shown(text)} is an animal of these records already.")
        aim = Target(folder, records, text, "", arguments.species)
    else:
        aim = target(arguments.path, text)
    from bpvet.records.entries.adding import add_entry

    table = _KINDS[kind][0]
    row = {"animal": aim.animal, **cells}
    found = add_entry(aim.folder, table, [row], accepting(arguments))
    return _answer(arguments, aim, found, f"{_described(row)}, {table} of {aim.who}")


def _answer(arguments: argparse.Namespace, aim: Target, found: Any, what: str) -> None:
    """Say what the animal needs now, and what was added."""
    answer = now(aim.folder, aim.animal, arguments.rule, arguments.guideline)
    if arguments.json:
        print_json({"added": entry_json(found), "now": now_json(answer)})
        return
    print(now_text(answer), flush=True)
    say(f"\n{entered_words(found, what)}", arguments.quiet)


def _add_readings(arguments: argparse.Namespace, text: str) -> None:
    from bpvet.answers.room.result import RoomVisit
    from bpvet.answers.room.room import room_answer
    from bpvet.command.shared.session_text import room_text

    aim = target(arguments.path, text)
    if not arguments.method:
        raise CallError("--reading needs --method: doppler or oscillometric.")
    taken_at = (
        moment(arguments.on, "--on")
        if arguments.on
        else datetime.now().isoformat(timespec="minutes")
    )
    typed = typed_readings(arguments.reading, arguments.method, (), aim.species)
    answer = room_answer(
        typed,
        arguments.method,
        RoomVisit(
            species=aim.species,
            setting=arguments.setting or "",
            state=arguments.state or "",
            animal=aim.animal,
            taken_at=taken_at,
        ),
        rule=arguments.rule,
        guideline_key=arguments.guideline,
    )
    shared = {"animal": aim.animal, **_cells(arguments, "reading"), "taken_at": taken_at}
    found = add_session(aim, reading_rows(answer.readings, shared), answer, arguments)
    if not arguments.json:
        print(f"{room_text(answer)}\n")
    return _answer(arguments, aim, found, f"{len(typed)} readings of {aim.who}, {taken_at}")


def _kind(arguments: argparse.Namespace) -> str:
    """Return what is to be done, and refuse what does not go with it."""
    given = [name for name in (*_KINDS, "cancel") if getattr(arguments, name) is not None]
    given += ["list"] if arguments.list else []
    listed = ", ".join(f"--{name}" for name in (*_KINDS, "cancel", "list"))
    if len(given) != 1:
        if not given:
            raise CallError(f"Say what is added: one of {listed}.")
        many = " and ".join(f"--{key}" for key in given)
        raise CallError(f"One thing is added at a time: not {many}.")
    (kind,) = given
    fits = _KINDS[kind][1] if kind in _KINDS else {}
    for name in _OTHERS:
        if name != kind and getattr(arguments, name) is not None and name not in fits:
            raise CallError(f"{option(name)} does not go with --{kind}.")
    if arguments.reason is not None and kind != "cancel":
        raise CallError(f"--reason does not go with --{kind}: it is for --cancel.")
    if arguments.animal and kind == "cancel":
        raise CallError("--animal does not go with --cancel: the id says whose entry it is.")
    return kind


def _cells(arguments: argparse.Namespace, kind: str) -> dict[str, str]:
    """Return the cells that the options fill, by column, each as it is written in records."""
    cells: dict[str, str] = {}
    if kind in _OWN:
        subject = one_line(getattr(arguments, kind), f"--{kind}")
        if not subject:
            raise CallError(f"--{kind} is blank.")
        cells[_OWN[kind]] = subject
    for name, column in _KINDS[kind][1].items():
        given = getattr(arguments, name)
        if given is not None:
            cells[column] = one_line(given, option(name))
    for name in _NEEDED.get(kind, ()):
        if not cells.get(name):
            raise CallError(f"--{kind} needs {option(name)}.")
    if "on" in _KINDS[kind][1] and kind != "reading" and arguments.on is None:
        raise CallError(f"--{kind} needs --on: the date, YYYY-MM-DD. None is guessed.")
    for column in _DATES:
        if cells.get(column):
            try:
                options.iso_date(cells[column])
            except argparse.ArgumentTypeError as error:
                raise CallError(f"{column}: {error}.") from None
    if bound := _BOUNDED.fullmatch(cells.get("value", "")):
        cells["value"] = f"{bound.group(1)} {bound.group(2)}"
    return {name: text for name, text in cells.items() if text}


def _described(row: Mapping[str, str]) -> str:
    return ", ".join(
        f"{name.replace('_', ' ')} {text}" for name, text in row.items() if name != "animal"
    )


def _cancel(arguments: argparse.Namespace) -> None:
    """Take an entry back by a row of the table ``cancelled``."""
    from bpvet.records.entries.adding import add_entry
    from bpvet.records.entries.entries import entry_named
    from bpvet.wording.en.command.entries import CANCELLED, what_now

    reason = one_line(arguments.reason or "", "--reason")
    if not reason:
        raise CallError("--cancel needs --reason: why the entry is taken back.")
    folder, records = opened_folder(arguments.path)
    entry = one_line(arguments.cancel, "--cancel")
    cancelled_rows = entry_named(records, entry)
    row = {"entry": entry, "cancelled_on": date.today().isoformat(), "reason": reason}
    found = add_entry(folder, "cancelled", [row], accepting(arguments))
    text = "; ".join(row.text for row in cancelled_rows)
    animal = cancelled_rows[0].animal
    name = next(iter(records.animals.loc[records.animals["animal"] == animal, "name"]), "")
    aim = Target(folder, records, animal, str(name), "")
    answer = now(folder, animal, arguments.rule, arguments.guideline)
    if arguments.json:
        gone = {"entry": entry, "text": text, "reason": reason}
        print_json({"cancelled": gone, "added": entry_json(found), "now": now_json(answer)})
        return
    print(what_now(printable(aim.who), without=True))
    print(now_text(answer), flush=True)
    say(f"\n{CANCELLED.format(what=text, reason=reason, file=found.file.name)}", arguments.quiet)


def _list(arguments: argparse.Namespace) -> None:
    """Show the entries that can be taken back, of all animals or of one."""
    from dataclasses import asdict

    from bpvet.records.entries.entries import entries
    from bpvet.records.read import read
    from bpvet.wording.en.command.entries import NOTHING_TO_CANCEL

    records = read(Path(arguments.path))
    found = entries(records)
    if arguments.animal:
        animal = records.animal(arguments.animal)
        found = tuple(entry for entry in found if entry.animal == animal)
    if arguments.json:
        print_json([asdict(entry) for entry in found])
    elif found:
        print(
            "\n".join(
                wrapped(printable(f"{entry.entry}  {entry.text}"), "    ", "") for entry in found
            )
        )
    else:
        print(NOTHING_TO_CANCEL)
