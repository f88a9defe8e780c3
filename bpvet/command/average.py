"""``bpvet average``: the in-room sum. Standard library only, all the way down."""

from __future__ import annotations

import argparse
import csv
import io
import re
from datetime import date, datetime
from pathlib import Path

from bpvet.answers.chart_line import short
from bpvet.answers.room import RoomAnswer, room_answer
from bpvet.answers.room_parts import ReadingFate, Spread
from bpvet.command import options
from bpvet.command.output import counted, print_json, refuse_existing, say, wrapped
from bpvet.command.typed_readings import one_line, typed_readings
from bpvet.errors import CallError
from bpvet.facts.sources import AS_REMEMBERED
from bpvet.facts.words import METHOD_WORDS, METHODS, SETTINGS, SPECIES, STATES
from bpvet.files import write_whole
from bpvet.printing import ShortTable
from bpvet.records.findings import shown
from bpvet.records.tables import column_names

SUMMARY = "the in-room sum: mean, spread, whether to go on, a line for the chart"
ABOUT = """\
What the readings of one session come to, which of them count, whether to go on, and a
line for the chart.

readings, in order of taking, with spaces between:
  158              a number, mmHg
  over300 under40  beyond what the gauge can show (">300" needs its quotation marks,
                   or the terminal takes it for something else)
  no-sound         no sound was obtained
  158/92/114/180   oscillometric: systolic/diastolic/mean/heart rate, as far as given
  158x             shall not count; --exclude 2=moved says why the second shall not

examples:
  bpvet average 165 158 160 --method doppler
  bpvet average 165 171 158 160 --method doppler --exclude 2=moved
  bpvet average 165 158 160 --method doppler --save readings-a17.csv --animal A17
"""

#: Options that go into the saved readings as they are typed, and the columns they fill.
_TEXTS = {
    "session": "a name for this session, where there are several a day",
    "site": "where the cuff sat, such as tail or foreleg",
    "side": "left or right",
    "posture": "such as on the side, or sternal",
    "demeanour": "such as calm, or tense",
    "operator": "who measured",
    "note": "anything else",
}
_SIZES = {
    "cuff_width_cm": "width of the cuff",
    "limb_circumference_cm": "round the limb or tail under it",
    "cuff_above_heart_cm": "how far it sat above the heart",
}
_MOMENT = re.compile(r"\d{4}-\d{2}-\d{2}([T ]\d{2}:\d{2}(:\d{2})?)?", re.ASCII)
_SIGNS = {"at least": "> ", "at most": "< "}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.usage = "bpvet average READING [READING ...] --method M [options]"
    parser.add_argument("readings", nargs="+", metavar="READING", help="as said below")
    parser.add_argument("--method", required=True, choices=METHODS, help="how it was measured")
    parser.add_argument(
        "--exclude",
        action="append",
        default=[],
        metavar="N=WHY",
        help="reading N shall not count; may be given again",
    )
    parser.add_argument("--species", choices=SPECIES, default="", help="of the animal")
    options.add_rule(parser)
    options.add_guideline(parser)
    chart = parser.add_argument_group("for the chart and for --save")
    chart.add_argument("--animal", default="", metavar="ID", help="id of the animal")
    chart.add_argument(
        "--taken-at",
        default="",
        metavar="WHEN",
        help="2026-03-01 or 2026-03-01T10:15 (saved readings: now, if left out)",
    )
    chart.add_argument("--setting", choices=SETTINGS, default="", help="where")
    chart.add_argument("--state", choices=STATES, default="", help="of the animal")
    chart.add_argument("--save", metavar="FILE", help="write the readings into a new CSV file")
    for name, help in _TEXTS.items():
        chart.add_argument(_option(name), default="", metavar="TEXT", help=help)
    for name, help in _SIZES.items():
        chart.add_argument(_option(name), type=float, metavar="CM", help=help)
    options.add_ways_out(parser)


def run(arguments: argparse.Namespace) -> int:
    """Print the sum, and save the readings where that was asked for."""
    readings = typed_readings(
        arguments.readings, arguments.method, arguments.exclude, arguments.species
    )
    animal, taken_at = _whose_and_when(arguments)
    answer = room_answer(
        readings,
        arguments.method,
        rule=arguments.rule,
        guideline_key=arguments.guideline,
        species=arguments.species,
        setting=arguments.setting,
        state=arguments.state,
        animal=animal,
        taken_at=taken_at,
    )
    saved = _save(arguments, answer) if arguments.save is not None else None
    if arguments.json:
        print_json({**answer.to_dict(), "saved": None if saved is None else str(saved)})
        return 0
    print(room_text(answer))
    if saved is not None:
        say(_saved_words(saved, answer), arguments.quiet)
    return 0


def room_text(answer: RoomAnswer) -> str:
    """Return the in-room sum as text: the number first, then what to do, then the line."""
    words = answer.words
    said = [words.cautions, words.go_on, words.notes, (words.range,)]
    blocks = ["\n".join(_numbers(answer)), _table(answer).text()]
    blocks += ["\n".join(wrapped(_starred(line)) for line in lines) for lines in said if lines]
    if any(AS_REMEMBERED in line for lines in said for line in lines):
        blocks.append(f"* {AS_REMEMBERED}")
    return "\n\n".join([*blocks, f"For the chart:\n{answer.chart_line}"])


def _starred(line: str) -> str:
    """Put a star for what the last line says of every rule that is from memory."""
    return line.replace(f"; {AS_REMEMBERED}", "*")


def _numbers(answer: RoomAnswer) -> list[str]:
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
    lowest, highest = one.lowest or 0.0, one.highest or 0.0
    return (
        f"SD {short(one.sd or 0.0)} ({100 * (one.cv or 0.0):.0f} % of the mean); "
        f"{short(lowest)} to {short(highest)}, a range of {short(highest - lowest)} "
        f"({100 * (one.relative_range or 0.0):.0f} %)"
    )


def _table(answer: RoomAnswer) -> ShortTable:
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
    animal = one_line(arguments.animal, "--animal")
    taken_at = arguments.taken_at.strip()
    if arguments.save is not None and not animal:
        raise CallError("--save needs --animal: readings without an animal mean nothing.")
    if taken_at:
        return animal, _moment(taken_at)
    if arguments.save is not None:
        return animal, datetime.now().isoformat(timespec="minutes")
    return animal, ""


def _moment(text: str) -> str:
    """Return a date, or a date and time, in ISO form with a "T"."""
    if not _MOMENT.fullmatch(text):
        raise CallError(f"--taken-at {shown(text)}: write 2026-03-01 or 2026-03-01T10:15.")
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise CallError(
            f"--taken-at {shown(text)} is not in the calendar or on the clock."
        ) from None
    if moment.date() > date.today():
        raise CallError(f"--taken-at {shown(text)} is in the future.")
    return text.replace(" ", "T")


def _save(arguments: argparse.Namespace, answer: RoomAnswer) -> Path:
    place = refuse_existing(arguments.save, force=False, mend="")
    texts = {name: one_line(getattr(arguments, name), _option(name)) for name in _TEXTS}
    sizes = {name: getattr(arguments, name) for name in _SIZES}
    for name, size in sizes.items():
        if size is not None and not 0 <= size <= 500:
            raise CallError(f"{_option(name)} {size:g} is not a size in cm.")
    shared = {
        "animal": answer.animal,
        "taken_at": answer.taken_at,
        "method": answer.method,
        "setting": arguments.setting,
        "state": arguments.state,
        **texts,
        **{name: "" if size is None else f"{size:g}" for name, size in sizes.items()},
    }
    write_whole(place, readings_csv(answer.readings, shared))
    return place


def readings_csv(readings: tuple[ReadingFate, ...], shared: dict[str, str]) -> bytes:
    """Return readings as a file in our layout, one row a reading.

    Parameters
    ----------
    readings : tuple of ReadingFate
        In order of taking.
    shared : dict
        The cells that are the same in every row, by column.
    """
    text = io.StringIO()
    rows = csv.DictWriter(text, column_names("readings"), restval="", lineterminator="\n")
    rows.writeheader()
    for one in readings:
        systolic = "no sound" if one.systolic is None else f"{one.systolic:.10g}"
        cells = {"systolic": f"{_SIGNS.get(one.bound, '')}{systolic}", "reading": str(one.number)}
        for name in ("diastolic", "mean", "heart_rate"):
            value = getattr(one, name)
            cells[name] = "" if value is None else f"{value:.10g}"
        cells["excluded"] = one.reason if one.fate == "excluded" else ""
        rows.writerow({**shared, **cells})
    return text.getvalue().encode("utf-8")


def _saved_words(saved: Path, answer: RoomAnswer) -> str:
    said = f'Saved {counted(len(answer.readings), "reading")} of {answer.taken_at} in "{saved}".'
    if not re.fullmatch(r"readings.*\.csv", saved.name, re.IGNORECASE):
        said += " In a folder of records only files named readings….csv are read as readings."
    return said


def _option(column: str) -> str:
    return f"--{column.replace('_', '-')}"
