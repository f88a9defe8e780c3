"""``bpvet due``: the clinic's list, which animals to see next, why, and by when."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from bpvet.command.shared import options
from bpvet.command.shared.cautions import EVERY_CAUTION, cautions_block
from bpvet.command.shared.opening import (
    inputs_read,
    named_priors,
    read_options,
    tell_findings,
    usable,
)
from bpvet.command.shared.output import (
    counted,
    print_json,
    printable,
    progress,
    say,
    tell_recovered,
    wrapped,
    writable,
)
from bpvet.errors import CallError
from bpvet.files import write_all, write_whole

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from bpvet.answers.due.due import Due, DueRow
    from bpvet.answers.sheet.sheet import SheetAnswer
    from bpvet.facts.priors.table import PriorTable

    Rooms = Callable[[], Mapping[str, SheetAnswer]]

ABOUT = """\
Every animal of the clinic once, the most pressing first: what is urgent, what is overdue,
what is due within --days, and whose eyes, blood or urine are due. With -o it goes into a
file (.csv, .xlsx, .parquet, .jsonl, .ics or .html), or as page, table and calendar into a
folder, where each row leads to a sheet for the room, written beside it, and to the animal's
own page if that is there. With --parts PATH is a folder of folders, such as one a clinic,
which are read and fitted one by one; all records of an animal must lie in one of them.

examples:
  bpvet due records
  bpvet due records -o due.ics --pseudonyms
  bpvet due records -o morning
  bpvet due clinics --parts --processes 4 -o due.parquet
"""
#: Animals that are printed of many.
_SHOWN = 30
_TABLES = (".csv", ".xlsx", ".parquet", ".jsonl")


USAGE = "bpvet due PATH [--days N] [-o FILE or DIR] [options]"
ARGUMENTS = (
    *options.PATH,
    options.argument(
        "--days",
        type=options.whole_number("a number of days such as 14", 0, 9999),
        metavar="N",
        help="windows that end within so many days are due (14)",
    ),
    options.argument("--all", action="store_true", help="print every animal, later ones too"),
    options.argument(
        "--pseudonyms",
        action="store_true",
        help="call the animals animal 01, animal 02, … and leave names out",
    ),
    options.RULE,
    options.GUIDELINE,
    options.PRIORS,
    options.argument(
        "--parts",
        action="store_true",
        help="each folder in PATH holds records, read and fitted one by one: one list of all",
    ),
    options.argument(
        "--processes",
        type=options.whole_number("a number of processes such as 4", 1, 999),
        metavar="N",
        help="with --parts: work on so many at once (1); the list is the same",
    ),
    options.argument("-o", "--output", metavar="FILE", help="a file, or a folder, to write"),
    *options.PLAIN,
    options.force("replace files that are there"),
    EVERY_CAUTION,
    options.WAYS_OUT,
)


def run(arguments: argparse.Namespace) -> None:
    """Print the list, or write it."""
    from bpvet.facts.categories import guideline
    from bpvet.wording.en.command.written import DUE_WRITTEN, WAITING

    # What is wrong with the call is said before the work is done.
    guideline(arguments.guideline)
    priors = named_priors(arguments)
    _refuse(arguments)
    progress(WAITING["due"], arguments.quiet)
    found, rooms = (_of_parts if arguments.parts else _of_whole)(arguments, priors)
    written = [] if arguments.output is None else _written(arguments, found, rooms)
    if arguments.json:
        print_json(found.to_list())
    elif written:
        print(printable(DUE_WRITTEN.format(file=written[0])))
    else:
        print(due_text(found, every=arguments.all, every_caution=arguments.cautions))


def _of_whole(arguments: argparse.Namespace, priors: PriorTable | None) -> tuple[Due, Rooms]:
    """Return the list of one set of records, and what makes its sheets for the room."""
    from bpvet.answers.due.due import due

    records = usable(arguments)
    found = due(
        records,
        arguments.guideline,
        days=arguments.days,
        rule=arguments.rule,
        priors=priors,
        pseudonyms=arguments.pseudonyms,
    )

    def rooms() -> Mapping[str, SheetAnswer]:
        from bpvet.answers.sheet.sheet import sheets

        return sheets(records, found)

    return found, rooms


def _of_parts(arguments: argparse.Namespace, priors: PriorTable | None) -> tuple[Due, Rooms]:
    """Return the list of the folders in PATH; how many findings each has goes to stderr."""
    from bpvet.answers.due.due import reach_of
    from bpvet.answers.due.in_parts import Listing, due_and_findings
    from bpvet.models.records_in_parts import Reading, paths_of

    found, findings = due_and_findings(
        paths_of(arguments.path),
        Listing(arguments.guideline, reach_of(arguments.days), arguments.rule, priors),
        Reading.by(arguments.as_of, read_options(arguments).to_plain()),
        arguments.processes,
        arguments.pseudonyms,
    )
    for folder, count in findings.items():
        if count:
            tell_findings(count, folder, arguments.quiet)
    return found, dict


def _kind(arguments: argparse.Namespace) -> str:
    """Return the ending of the file that is asked for; blank for a folder."""
    path = Path(arguments.output)
    ending = path.suffix.lower()
    if path.is_dir() or not ending:
        return ""
    if ending in (*_TABLES, ".ics", ".html"):
        return ending
    listed = ", ".join((*_TABLES, ".ics"))
    raise CallError(
        f'"{path}": the list is written as {listed} or .html, or into a folder, whose name has '
        "no ending."
    )


def _refuse(arguments: argparse.Namespace) -> None:
    """Refuse what could not be written, before the work is done."""
    if arguments.processes and not arguments.parts:
        raise CallError("--processes goes with --parts.")
    if arguments.output is None:
        return
    path, ending = Path(arguments.output), _kind(arguments)
    if not ending and arguments.parts:
        raise CallError(
            f'"{path}": with --parts the list goes into a file, not into a folder with a sheet '
            "for each row."
        )
    if not ending:
        tell_recovered(path)
        return
    inputs = inputs_read(arguments)
    writable(path, inputs, arguments.force)
    if ending in _TABLES:
        from bpvet.records.table_files import written_names

        for name in written_names(path)[1:]:
            writable(path.with_name(name), inputs, arguments.force)


def _written(arguments: argparse.Namespace, found: Due, rooms: Rooms) -> list[Path]:
    """Write the list where it was asked for; return its files, the main one first."""
    from bpvet.reports.due import due_page, pages_in, sheets_in, write_due

    path, ending = Path(arguments.output), _kind(arguments)
    if not ending:
        return list(write_due(found, path, inputs_read(arguments), arguments.force, rooms()))
    if ending in _TABLES:
        from bpvet.records.table_files import table_files
        from bpvet.wording.en.due import column_words

        contents = table_files(path, found.to_frame(), column_words(), arguments.plain)
        write_all(path.parent, contents, arguments.force)
    elif ending == ".ics":
        from bpvet.answers.due.calendar import due_calendar

        write_whole(path, due_calendar(found), arguments.force)
    else:
        beside = path.parent
        page = due_page(found, pages_in(beside, found), sheets_in(beside, found))
        write_whole(path, page.encode("utf-8", "replace"), arguments.force)
    say(f"Wrote {counted(len(found.rows), 'animal')}.", arguments.quiet)
    return [path]


def due_text(found: Due, *, every: bool = False, every_caution: bool = False) -> str:
    """Return the list as text: band by band, an animal a line and why below it.

    Parameters
    ----------
    found : Due
    every : bool
        Whether all animals are printed, later ones too.
    every_caution : bool
        Whether all cautions are printed, or the first five.
    """
    from bpvet.answers.due.bands import BANDS, LATER, band_name
    from bpvet.wording.en.command.tables import due_head, due_later, due_rest
    from bpvet.wording.en.due import nameless_words, unread_words

    shown = found.rows if every else found.listed[:_SHOWN]
    head = due_head(found.as_of, found.days, len(found.rows), found.left)
    unknown = [nameless_words(found.nameless), unread_words(found.unread, found.pseudonyms)]
    parts = [wrapped(head), *map(wrapped, filter(None, unknown))]
    for band in BANDS:
        rows = [row for row in shown if row.band == band]
        if rows:
            parts.append("\n".join([band_name(band).upper(), *(_lines(row) for row in rows)]))
    rest = len(found.listed) - len(shown)
    if rest > 0 and not every:
        parts.append(due_rest(rest))
    later = sum(row.band == LATER for row in found.rows)
    if later and not every:
        parts.append(due_later(later))
    beside = parts[1:]
    return "\n\n".join(
        [*parts, *cautions_block(found.cautions, every=every_caution, beside=beside)]
    )


def _lines(row: DueRow) -> str:
    from bpvet.printing import probability
    from bpvet.wording.en.command.tables import DUE_MORE, DUE_TARGET
    from bpvet.wording.en.due import asked_words, credit_of_row, last_words, who_of

    target = (
        ""
        if row.p_at_target is None
        else DUE_TARGET.format(probability=probability(row.p_at_target))
    )
    contact = "" if row.contact is None else f"; {row.contact.text}"
    line = f"{who_of(row)}: {asked_words(row)}. {last_words(row)}{target}{contact}"
    grade = f" [{credit}]" if (credit := credit_of_row(row)) else ""
    more = DUE_MORE.format(urgent=len(row.urgent) - 1) if len(row.urgent) > 1 else ""
    return "\n".join(
        [wrapped(line, "    ", "  "), wrapped(f"{row.why}{grade}{more}", "      ", "    ")]
    )
