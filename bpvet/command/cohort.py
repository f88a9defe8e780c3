"""``bpvet cohort``: a clinic's animals together, as a notebook and a page."""

from __future__ import annotations

import argparse

from bpvet.command.shared import options
from bpvet.command.shared.loading import loading
from bpvet.command.shared.output import print_json, printable, progress
from bpvet.command.shared.reporting import (
    QUANTITY,
    print_report,
    report_arguments,
    way_of,
    written_files,
)

ABOUT = """\
Fits one model to the sessions of all animals (awake, in the clinic) and writes it into a folder:
a self-contained page, and the notebook behind it. It says who was counted and who not,
and how the estimates move with the choices made. Treated animals differ in more than treatment:
nothing here is the effect of a drug.

example:
  bpvet cohort records --as-of 2026-11-01 -o clinic
"""


USAGE = "bpvet cohort PATH -o DIR [options]"
ARGUMENTS = (
    *report_arguments(),
    QUANTITY,
    options.RULE,
    options.LEVEL,
    options.argument(
        "--pseudonyms",
        action="store_true",
        help="call the animals animal 01, animal 02, … and leave names, places and dates out",
    ),
    options.WAYS_OUT,
)


def run(arguments: argparse.Namespace) -> None:
    """Write the report and say where the page is."""
    from bpvet.wording.en.command.written import KEEP_PARAMETERS, WAITING

    way = way_of(arguments)
    progress(WAITING["cohort"], arguments.quiet)
    # What a report of thousands is made of stays until the end, as what is loaded for it does.
    with loading():
        from bpvet.reports.clinic.report import KIND, Parameters
        from bpvet.reports.writing import write_report

        spec = Parameters(
            quantity=arguments.quantity,
            rule=arguments.rule,
            pseudonyms=arguments.pseudonyms,
            level=arguments.level,
        )
        written = write_report(KIND, arguments.path, arguments.output, spec, way)
    if arguments.json:
        print_json(written_files(written) | written.answer.to_dict())
        return
    print_report(written)
    if arguments.pseudonyms:
        print(printable(KEEP_PARAMETERS.format(file=written.parameters)))
