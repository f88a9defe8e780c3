"""``bpvet sheet``: one page to take into the room, without what is expected."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from bpvet.command.shared import options
from bpvet.command.shared.one_page import PAGE, page_bytes, page_path
from bpvet.command.shared.opening import usable
from bpvet.command.shared.output import print_json, printable, wrapped
from bpvet.files import write_whole

if TYPE_CHECKING:
    from bpvet.answers.sheet.sheet import SheetAnswer

ABOUT = """\
How this animal was measured last time, boxes for seven readings, ticks for doses, eyes and
nerves, and the protocol in five lines, on one sheet of paper. What is expected is kept back
until the readings are down. Without -o it prints how it was measured.

examples:
  bpvet sheet records --animal Pilchard -o sheet.html
  bpvet sheet records --animal Pilchard -o sheet.pdf --paper letter
"""


USAGE = "bpvet sheet PATH --animal A [-o FILE] [options]"
ARGUMENTS = (
    *options.PATH,
    options.ANIMAL,
    *PAGE,
    options.GUIDELINE,
    options.WAYS_OUT,
)


def run(arguments: argparse.Namespace) -> None:
    """Write the sheet, or print how the animal was measured last time."""
    from bpvet.facts.categories import guideline
    from bpvet.wording.en.command.written import SHEET_WRITTEN

    # What is wrong with the call is said before the work is done.
    guideline(arguments.guideline)
    path = page_path(arguments, "sheet")
    from bpvet.answers.sheet.sheet import sheet

    found = sheet(usable(arguments), arguments.animal, guideline=arguments.guideline)
    if path is not None:
        from bpvet.reports.sheet import SHEET

        write_whole(path, page_bytes(SHEET, found, path, arguments), arguments.force)
    if arguments.json:
        print_json(found.to_dict())
    elif path is not None:
        print(printable(SHEET_WRITTEN.format(file=path)))
    else:
        print(sheet_text(found))


def sheet_text(found: SheetAnswer) -> str:
    """Return as text what is urgent, how it was measured last time, and the protocol."""
    from bpvet.facts.cautions import licensed
    from bpvet.facts.sources import footnotes
    from bpvet.wording.en.command.tables import HOW_TO_MEASURE, URGENT_LINE
    from bpvet.wording.en.sheet import (
        BACK,
        last_head,
        protocol_credit,
        protocol_lines,
        sheet_rows,
    )

    who = f"{found.name} ({found.animal})" if found.name else found.animal
    urgent = [wrapped(URGENT_LINE.format(text=finding.text)) for finding in found.urgent]
    rows = [wrapped(f"{row.what}: {row.last}", "    ", "  ") for row in sheet_rows(found)]
    how = protocol_lines(found.species)
    steps = [wrapped(line, "     ", f"  {number}. ") for number, line in enumerate(how, start=1)]
    notes = " ".join((BACK, protocol_credit(found.species)))
    return "\n\n".join(
        [
            *urgent,
            "\n".join([wrapped(f"{who}. {last_head(found)}"), *rows]),
            "\n".join([HOW_TO_MEASURE, *steps]),
            *map(wrapped, (notes, *footnotes(notes), licensed())),
        ]
    )
