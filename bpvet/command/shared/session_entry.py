"""A session that was taken in the room: added to a folder of records, or saved in a file."""

from __future__ import annotations

import argparse
import re
import shlex
import sys
from pathlib import Path

from bpvet.answers.room.result import RoomAnswer
from bpvet.command.shared.entering import (
    Target,
    add_session,
    entered_words,
    entry_json,
    now,
    now_json,
    now_text,
)
from bpvet.command.shared.options import option
from bpvet.command.shared.output import counted, print_json, printable, say, wrapped, writable
from bpvet.command.shared.session_rows import (
    SIZES,
    TEXTS,
    reading_rows,
    readings_csv,
    shared_cells,
)
from bpvet.command.shared.session_text import room_text
from bpvet.errors import BpvetError
from bpvet.files import write_whole
from bpvet.wording.en.command.entries import NOT_ADDED, saved, what_now


def enter(arguments: argparse.Namespace, answer: RoomAnswer, aim: Target, brief: bool) -> int:
    """Add the session to the records; print it first, so that nothing can be lost."""
    from bpvet.answers.room.expected import expected

    if not arguments.json and not brief:
        print(room_text(answer), flush=True)
    rows = reading_rows(answer.readings, shared_cells(arguments, answer.animal, answer.taken_at))
    try:
        entry = add_session(aim, rows, answer, arguments)
    except (BpvetError, KeyboardInterrupt):
        if arguments.json or brief:
            print(room_text(answer), file=sys.stderr if arguments.json else sys.stdout)
        say(NOT_ADDED.format(again=_again(arguments, answer)))
        raise
    if brief:
        say(entered_words(entry, _what(answer, aim)), arguments.quiet)
        if arguments.json:
            added = {"added": entry_json(entry), "expected": None, "now": None}
            print_json({**answer.to_dict(), "saved": None, **added})
        else:
            print(room_text(answer))
        return 0
    coming = expected(aim.records, aim.animal, answer)
    found = now(aim.folder, aim.animal, arguments.rule, arguments.guideline)
    if arguments.json:
        added = {"added": entry_json(entry), "expected": coming.to_dict(), "now": now_json(found)}
        print_json({**answer.to_dict(), "saved": None, **added})
        return 0
    print(f"\n{wrapped(coming.text)}\n\n{what_now(printable(aim.who))}")
    print(now_text(found), flush=True)
    say(f"\n{entered_words(entry, _what(answer, aim))}", arguments.quiet)
    return 0


def save(arguments: argparse.Namespace, answer: RoomAnswer) -> Path:
    """Write the readings of a session into a new file, and return its path."""
    path = writable(arguments.save, None, replaceable=False)
    shared = shared_cells(arguments, answer.animal, answer.taken_at)
    write_whole(path, readings_csv(answer.readings, shared, arguments.plain))
    return path


def saved_words(path: Path, answer: RoomAnswer) -> str:
    """Return where a session was saved."""
    by_itself = not re.fullmatch(r"readings.*\.csv", path.name, re.IGNORECASE)
    many = counted(len(answer.readings), "reading")
    return saved(many, answer.taken_at, path, by_itself)


def _again(arguments: argparse.Namespace, answer: RoomAnswer) -> str:
    """Return the command that adds a session, with all that was given."""
    words = ["bpvet", "average"]
    signs = {"at least": "over", "at most": "under"}
    for reading in answer.readings:
        beside = (reading.diastolic, reading.mean, reading.heart_rate)
        cells = "/".join("" if value is None else f"{value:.10g}" for value in beside).rstrip("/")
        number = (
            "" if reading.systolic is None else f"{reading.systolic:.10g}{'/' * bool(cells)}{cells}"
        )
        words.append(f"{signs.get(reading.bound, '')}{number}" or "no-sound")
    for reading in answer.readings:
        words += (
            ["--exclude", f"{reading.number}={reading.reason}"]
            if reading.fate == "excluded"
            else []
        )
    for name in ("method", "into", "rule", "guideline", "setting", "state", *TEXTS, *SIZES):
        given = getattr(arguments, name)
        words += [option(name), f"{given}"] if given not in ("", None) else []
    words += ["--animal", answer.animal, "--taken-at", answer.taken_at]
    return shlex.join(words)


def _what(answer: RoomAnswer, aim: Target) -> str:
    many = counted(len(answer.readings), "reading")
    return f"{many} of {aim.who}, {answer.taken_at.replace('T', ' ')}"
