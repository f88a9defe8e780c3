"""``bpvet average``: the in-room sum. Standard library only, all the way down.

What writes, asks at the terminal or adds to records is loaded where that was asked for.
"""

from __future__ import annotations

import argparse
import sys

from bpvet.command.shared import options
from bpvet.command.shared.loading import loading
from bpvet.command.shared.output import counted, print_json, printable, say, wrapped
from bpvet.errors import BpvetError, CallError
from bpvet.facts.words import METHOD_WORDS, METHODS, SETTINGS, SPECIES, STATES

TYPE_CHECKING = False
if TYPE_CHECKING:
    from pathlib import Path

    from bpvet.answers.room.result import ReadingFate, RoomAnswer, RoomReading, Spread
    from bpvet.command.shared.entering import Target
    from bpvet.command.shared.live import Sum, Taken
    from bpvet.printing import ShortTable

ABOUT = """\
What the readings of one session come to, which of them count, whether to go on, and a
line for the chart.

readings, in order of taking, with spaces between:
  158              a number, mmHg
  over300 under40  beyond what the gauge can show (">300" needs its quotation marks,
                   or the terminal misreads it)
  no-sound         no sound was obtained
  158/92/114/180   oscillometric: systolic/diastolic/mean/heart rate, as far as given
  158x             does not count; --exclude 2=moved says why the second does not

examples:
  bpvet average 165 158 160 --method doppler
  bpvet average 165 171 158 160 --method doppler --exclude 2=moved
  bpvet average 165 158 160 --method doppler --save readings-a17.csv --animal A17
  bpvet average --live --method doppler --into records --animal A17

--live takes them one by one, a line each, as they are taken (the word help shows more).
--into adds the session to a folder of records, as a file of its own, and answers in five
lines what the animal needs now.
"""

#: Options that go into the saved readings as they are typed, and the columns they fill.
_TEXTS = {
    "session": "a name for this session, if there are several a day",
    "site": "where the cuff sat, such as tail or foreleg",
    "side": "left or right",
    "posture": "such as on the side, or sternal",
    "demeanour": "such as calm, or tense",
    "operator": "who measured",
    "instrument": "the device, as the clinic calls it",
    "note": "anything else",
}
_SIZES = {
    "cuff_width_cm": "width of the cuff",
    "limb_circumference_cm": "circumference of the limb or tail under the cuff",
    "cuff_above_heart_cm": "how far it sat above the heart",
}
_INTERRUPTED = 130
_SIGNS = {"at least": "> ", "at most": "< "}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.usage = "bpvet average READING [READING ...] --method M [options]"
    parser.add_argument("readings", nargs="*", metavar="READING", help="as described below")
    parser.add_argument(
        "--live", action="store_true", help="take the readings one by one, a line each"
    )
    parser.add_argument("--method", required=True, choices=METHODS, help="how it was measured")
    parser.add_argument(
        "--exclude",
        action="append",
        default=[],
        metavar="N=WHY",
        help="reading N does not count; may be repeated",
    )
    parser.add_argument("--species", choices=SPECIES, default="", help="of the animal")
    options.add_rule(parser)
    options.add_guideline(parser)
    chart = parser.add_argument_group("for the chart, --save and --into")
    chart.add_argument(
        "--animal", default="", metavar="ID", help="id of the animal, or its name in the records"
    )
    chart.add_argument(
        "--taken-at",
        default="",
        metavar="WHEN",
        help="2026-03-01 or 2026-03-01T10:15 (default for saved readings: now)",
    )
    chart.add_argument("--setting", choices=SETTINGS, default="", help="where")
    chart.add_argument("--state", choices=STATES, default="", help="of the animal")
    chart.add_argument("--save", metavar="FILE", help="write the readings into a new CSV file")
    chart.add_argument(
        "--into", metavar="FOLDER", help="add the session to a folder of records, in a new file"
    )
    options.add_sure(chart)
    for name, help in _TEXTS.items():
        chart.add_argument(_option(name), default="", metavar="TEXT", help=help)
    for name, help in _SIZES.items():
        chart.add_argument(_option(name), type=float, metavar="CM", help=help)
    options.add_plain(chart)
    options.add_ways_out(parser)


def run(arguments: argparse.Namespace) -> int:
    """Print the sum, and save or add the readings where that was asked for."""
    _refuse(arguments)
    animal, taken_at = _whose_and_when(arguments)
    aim = None
    if arguments.into is not None:
        from bpvet.command.shared.entering import target

        aim = target(arguments.into, animal)
        animal = aim.animal
        _take_species(arguments, aim)
        # What is wrong with a text is said while the animal is still there.
        _shared(arguments, animal, taken_at)
    if arguments.save is not None:
        from pathlib import Path

        from bpvet.command.shared.whose import own_id

        animal, said = own_id(Path(arguments.save).parent, animal)
        if said:
            say(said, arguments.quiet)

    def sum_of(readings: list[RoomReading]) -> RoomAnswer:
        return _sum(arguments, readings, animal, taken_at)

    if not arguments.live:
        with loading():
            from bpvet.command.shared.typed_readings import typed_readings

        typed = typed_readings(
            arguments.readings, arguments.method, arguments.exclude, arguments.species
        )
        return _told(arguments, sum_of(typed), aim)
    from bpvet.command.shared.live import Session, taken_live

    session = Session(arguments.method, arguments.species, sum_of)
    taken = taken_live(session, aim.who if aim else animal, arguments.quiet)
    return _after_live(arguments, taken, sum_of, aim)


def _after_live(
    arguments: argparse.Namespace, taken: Taken, sum_of: Sum, aim: Target | None
) -> int:
    """Tell how the taking ended, then what it comes to; nothing that was entered is lost."""
    from bpvet.command.shared.live import INTERRUPTED, ended_words
    from bpvet.printing import shown

    if said := ended_words(taken):
        say(said, arguments.quiet)
    if not taken.readings:
        if taken.ended == INTERRUPTED:
            return _INTERRUPTED
        raise CallError("No reading was given, so there is nothing to work out.")
    answer = sum_of(list(taken.readings))
    if taken.unread and not sys.stdin.isatty():
        listed = ", ".join(map(shown, taken.unread))
        print(room_text(answer), file=sys.stderr if arguments.json else sys.stdout)
        raise CallError(
            f"Not understood: {listed}. A reading may be missing, so nothing was written: correct "
            "it and take them in again."
        )
    if taken.ended != INTERRUPTED:
        return _told(arguments, answer, aim)
    # What the check asks about is asked of nobody now.
    _told(argparse.Namespace(**{**vars(arguments), "sure": True}), answer, aim, brief=True)
    return _INTERRUPTED


def _told(
    arguments: argparse.Namespace, answer: RoomAnswer, aim: Target | None, brief: bool = False
) -> int:
    """Print the sum; write it where that was asked for, and say what the animal needs now."""
    if aim is not None:
        return _entered(arguments, answer, aim, brief)
    saved = _save(arguments, answer) if arguments.save is not None else None
    if arguments.json:
        print_json({**answer.to_dict(), "saved": None if saved is None else str(saved)})
        return 0
    print(room_text(answer))
    if saved is not None:
        say(_saved_words(saved, answer), arguments.quiet)
    return 0


def _entered(arguments: argparse.Namespace, answer: RoomAnswer, aim: Target, brief: bool) -> int:
    """Add the session to the records; print it first, so that nothing can be lost."""
    from bpvet.answers.room.expected import expected
    from bpvet.command.shared.entering import (
        add_session,
        entered_words,
        entry_json,
        now,
        now_json,
        now_text,
    )

    if not arguments.json and not brief:
        print(room_text(answer), flush=True)
    rows = reading_rows(answer.readings, _shared(arguments, answer.animal, answer.taken_at))
    try:
        entry = add_session(aim, rows, answer, arguments)
    except (BpvetError, KeyboardInterrupt):
        if arguments.json or brief:
            print(room_text(answer), file=sys.stderr if arguments.json else sys.stdout)
        say(f"These readings are not in the records. To add them: {_again(arguments, answer)}")
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
    print(f"\n{wrapped(coming.text)}\n\nWhat now, with all records of {printable(aim.who)}:")
    print(now_text(found), flush=True)
    say(f"\n{entered_words(entry, _what(answer, aim))}", arguments.quiet)
    return 0


def _again(arguments: argparse.Namespace, answer: RoomAnswer) -> str:
    """Return the command that adds a session, with all that was given."""
    import shlex

    words = ["bpvet", "average"]
    signs = {"at least": "over", "at most": "under"}
    for one in answer.readings:
        beside = (one.diastolic, one.mean, one.heart_rate)
        cells = "/".join("" if value is None else f"{value:.10g}" for value in beside).rstrip("/")
        number = "" if one.systolic is None else f"{one.systolic:.10g}{'/' * bool(cells)}{cells}"
        words.append(f"{signs.get(one.bound, '')}{number}" or "no-sound")
    for one in answer.readings:
        words += ["--exclude", f"{one.number}={one.reason}"] if one.fate == "excluded" else []
    for name in ("method", "into", "rule", "guideline", "setting", "state", *_TEXTS, *_SIZES):
        given = getattr(arguments, name)
        words += [_option(name), f"{given}"] if given not in ("", None) else []
    words += ["--animal", answer.animal, "--taken-at", answer.taken_at]
    return shlex.join(words)


def _what(answer: RoomAnswer, aim: Target) -> str:
    many = counted(len(answer.readings), "reading")
    return f"{many} of {aim.who}, {answer.taken_at.replace('T', ' ')}"


def _sum(
    arguments: argparse.Namespace, readings: list[RoomReading], animal: str, taken_at: str
) -> RoomAnswer:
    with loading():
        from bpvet.answers.room.result import RoomVisit
        from bpvet.answers.room.room import room_answer

    return room_answer(
        readings,
        arguments.method,
        RoomVisit(
            species=arguments.species,
            setting=arguments.setting,
            state=arguments.state,
            animal=animal,
            taken_at=taken_at,
            cuff_width_cm=arguments.cuff_width_cm,
            limb_circumference_cm=arguments.limb_circumference_cm,
        ),
        rule=arguments.rule,
        guideline_key=arguments.guideline,
    )


def _refuse(arguments: argparse.Namespace) -> None:
    """Refuse what does not go together, before anything is taken."""
    if arguments.live and (arguments.readings or arguments.exclude):
        raise CallError(
            "--live takes the readings one by one: leave out the readings and --exclude."
        )
    if not arguments.live and not arguments.readings:
        raise CallError("Give the readings, such as 165 158 160, or --live.")
    if arguments.into is not None and arguments.save is not None:
        raise CallError("--save writes a file, --into adds to a folder: give one of the two.")


def _take_species(arguments: argparse.Namespace, aim: Target) -> None:
    """Take the species that the records have; another one must not be given."""
    if arguments.species and aim.species and arguments.species != aim.species:
        from bpvet.printing import shown

        raise CallError(
            f"--species {arguments.species}: in the records {shown(aim.animal)} is a {aim.species}."
        )
    arguments.species = arguments.species or (aim.species if aim.species in SPECIES else "")


def room_text(answer: RoomAnswer) -> str:
    """Return the in-room sum as text: what is urgent, the number, what to do, the line."""
    from bpvet.facts.sources import footnotes

    words = answer.words
    urgent = tuple(f"Urgent: {one.text}" for one in answer.urgent)
    said = [words.cautions, words.go_on, words.notes, (words.range,)]
    blocks = [*map(wrapped, urgent), "\n".join(_numbers(answer)), _table(answer).text()]
    blocks += ["\n".join(map(wrapped, lines)) for lines in said if lines]
    blocks += map(wrapped, footnotes(*urgent, *(line for lines in said for line in lines)))
    blocks += map(wrapped, answer.cautions)
    return "\n\n".join([*blocks, f"For the chart:\n{answer.chart_line}"])


def _numbers(answer: RoomAnswer) -> list[str]:
    from bpvet.answers.room.chart_line import short

    systolic = answer.systolic
    if systolic.mean is None:
        return ["No number: no reading counts."]
    bound = f"{systolic.bound} " if systolic.bound else ""
    count = f"{systolic.n} of {counted(answer.n_taken, 'reading')}"
    lines = [f"Systolic {bound}{short(systolic.mean)} mmHg, the mean of {count}"]
    lines += [f"  spread: {_spread_words(systolic)}"] if systolic.sd is not None else []
    beside = {"Diastolic": answer.diastolic, "Mean pressure": answer.mean}
    for name, one in {**beside, "Heart rate": answer.heart_rate}.items():
        if one is not None and one.mean is not None:
            sd = f", SD {short(one.sd)}" if one.sd is not None else ""
            of = counted(one.n, "reading")
            lines.append(f"{name} {short(one.mean)} {one.unit} (mean of {of}{sd})")
    return lines


def _spread_words(one: Spread) -> str:
    from bpvet.answers.room.chart_line import short

    lowest, highest = one.lowest or 0.0, one.highest or 0.0
    return (
        f"SD {short(one.sd or 0.0)} ({100 * (one.cv or 0.0):.0f} % of the mean); "
        f"{short(lowest)} to {short(highest)}, a range of {short(highest - lowest)} "
        f"({100 * (one.relative_range or 0.0):.0f} %)"
    )


def _table(answer: RoomAnswer) -> ShortTable:
    from bpvet.printing import ShortTable

    rows = [(str(r.number), _as_taken(r), _fate(r)) for r in answer.readings]
    return ShortTable("", ("reading", METHOD_WORDS[answer.method], "counts"), tuple(rows))


def _as_taken(reading: ReadingFate) -> str:
    if reading.systolic is None:
        return "no sound"
    values = (reading.diastolic, reading.mean, reading.heart_rate)
    beside = "/".join("" if value is None else f"{value:g}" for value in values).rstrip("/")
    return f"{_SIGNS.get(reading.bound, '')}{reading.systolic:g}{'/' * bool(beside)}{beside}"


def _fate(reading: ReadingFate) -> str:
    if reading.fate == "used":
        return "yes"
    return (
        f"no: {reading.reason}" if reading.fate != "excluded" else f"no, excluded: {reading.reason}"
    )


def _whose_and_when(arguments: argparse.Namespace) -> tuple[str, str]:
    """Return the animal's id and the moment; readings that are saved need both."""
    from bpvet.command.shared.typed_readings import moment, one_line

    animal = one_line(arguments.animal, "--animal")
    taken_at = arguments.taken_at.strip()
    option = "--save" if arguments.save is not None else "--into"
    written = arguments.save is not None or arguments.into is not None
    if written and not animal:
        raise CallError(f"{option} needs --animal: readings without an animal mean nothing.")
    if taken_at:
        return animal, moment(taken_at, "--taken-at")
    if written:
        from datetime import datetime

        return animal, datetime.now().isoformat(timespec="minutes")
    return animal, ""


def _save(arguments: argparse.Namespace, answer: RoomAnswer) -> Path:
    from bpvet.command.shared.output import writable
    from bpvet.files import write_whole

    place = writable(arguments.save, None, mend="")
    shared = _shared(arguments, answer.animal, answer.taken_at)
    write_whole(place, readings_csv(answer.readings, shared, arguments.plain))
    return place


def _shared(arguments: argparse.Namespace, animal: str, taken_at: str) -> dict[str, str]:
    """Return the cells that are the same for all readings."""
    from bpvet.command.shared.typed_readings import one_line

    texts = {name: one_line(getattr(arguments, name), _option(name)) for name in _TEXTS}
    sizes = {name: getattr(arguments, name) for name in _SIZES}
    for name, size in sizes.items():
        if size is not None and not 0 <= size <= 500:
            raise CallError(f"{_option(name)} {size:g} is not a size in cm.")
    return {
        "animal": animal,
        "taken_at": taken_at,
        "method": arguments.method,
        "setting": arguments.setting,
        "state": arguments.state,
        **texts,
        **{name: "" if size is None else f"{size:g}" for name, size in sizes.items()},
    }


def readings_csv(
    readings: tuple[ReadingFate, ...], shared: dict[str, str], plain: bool = False
) -> bytes:
    """Return readings as a file in our layout, one row a reading.

    Parameters
    ----------
    readings : tuple of ReadingFate
        In order of taking.
    shared : dict
        The cells that are the same in every row, by column.
    plain : bool
        As in `bpvet.files.csv_bytes`.
    """
    from bpvet.files import csv_bytes
    from bpvet.records.entries.files import ENTRY
    from bpvet.records.tables import column_names

    heads = [name for name in column_names("readings") if name != ENTRY]
    rows = reading_rows(readings, shared)
    return csv_bytes(heads, ([row.get(name, "") for name in heads] for row in rows), plain)


def reading_rows(readings: tuple[ReadingFate, ...], shared: dict[str, str]) -> list[dict[str, str]]:
    """Return readings as rows of the table, cells by column; as `readings_csv` takes them."""
    rows = []
    for one in readings:
        systolic = "no sound" if one.systolic is None else f"{one.systolic:.10g}"
        cells = {"systolic": f"{_SIGNS.get(one.bound, '')}{systolic}", "reading": str(one.number)}
        for name in ("diastolic", "mean", "heart_rate"):
            value = getattr(one, name)
            cells[name] = "" if value is None else f"{value:.10g}"
        cells["excluded"] = one.reason if one.fate == "excluded" else ""
        rows.append({**shared, **cells})
    return rows


def _saved_words(saved: Path, answer: RoomAnswer) -> str:
    import re

    said = f'Saved {counted(len(answer.readings), "reading")} of {answer.taken_at} in "{saved}".'
    if not re.fullmatch(r"readings.*\.csv", saved.name, re.IGNORECASE):
        said += " In a folder of records only files named readings….csv are read as readings."
    return said


def _option(column: str) -> str:
    return f"--{column.replace('_', '-')}"
