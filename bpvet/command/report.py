"""``bpvet report``: one animal's notebook, executed, and the same as one page."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from bpvet.command.shared import options
from bpvet.command.shared.opening import named_priors
from bpvet.command.shared.output import counted, print_json, printable, progress, say
from bpvet.command.shared.reporting import (
    print_report,
    report_arguments,
    way_of,
    written_files,
)
from bpvet.errors import CallError

if TYPE_CHECKING:
    from bpvet.reports.animal.parameters import Parameters
    from bpvet.reports.way import Way

ABOUT = """\
Writes one animal's report into a folder: a self-contained page, and the notebook
behind it. Nothing is opened, and nothing is loaded from anywhere.

With --due it writes the clinic's list and a report of each animal on it, several at once.

examples:
  bpvet report records --animal Pilchard -o pilchard
  bpvet report records --due -o morning
"""


USAGE = "bpvet report PATH --animal A -o DIR [options]"
ARGUMENTS = (
    *report_arguments(),
    options.OPTIONAL_ANIMAL,
    options.option_group(
        "many animals",
        options.argument(
            "--due", action="store_true", help="the clinic's list, and each animal on it"
        ),
        options.argument(
            "--processes",
            type=options.whole_number("a number from 1 to 256", 1, 256),
            metavar="N",
            help="reports made at once with --due",
        ),
    ),
    options.series(),
    *options.JUDGED_BY,
    options.WAYS_OUT,
)


def run(arguments: argparse.Namespace) -> int:
    """Write the report and say where the page is."""
    from bpvet.facts.categories import guideline
    from bpvet.wording.en.command.written import WAITING

    # What is wrong with the call is said before the work is done.
    _refuse(arguments)
    guideline(arguments.guideline)
    way = way_of(arguments)
    spec = _parameters(arguments)
    if arguments.due:
        return _morning(arguments, spec, way)
    progress(WAITING["report"], arguments.quiet)
    from bpvet.reports.animal.report import KIND
    from bpvet.reports.writing import write_report

    written = write_report(KIND, arguments.path, arguments.output, spec, way)
    if arguments.json:
        print_json(written_files(written))
    else:
        print_report(written)
    return 0


def _parameters(arguments: argparse.Namespace) -> Parameters:
    """Return what is asked of the report; of many, of each."""
    from bpvet.reports.animal.parameters import Parameters

    return Parameters(
        animal=arguments.animal or "",
        method=arguments.method,
        quantity=arguments.quantity,
        condition=arguments.condition,
        bridge=tuple(arguments.bridge),
        rule=arguments.rule,
        guideline=arguments.guideline,
        edition=arguments.edition,
        level=arguments.level,
        priors=named_priors(arguments),
    )


def _refuse(arguments: argparse.Namespace) -> None:
    """Refuse options that do not go together."""
    if arguments.due and arguments.animal is not None:
        raise CallError("--due is for every animal on the list; leave out --animal.")
    if not arguments.due and arguments.animal is None:
        raise CallError("Whose report? Name an animal with --animal, or all with --due.")
    if arguments.processes is not None and not arguments.due:
        raise CallError("--processes is for many reports; add --due.")
    chosen = arguments.method or arguments.condition or arguments.bridge
    if arguments.due and (chosen or arguments.quantity != "systolic"):
        raise CallError("--due reports each animal's own systolic series: choose no other.")


def _morning(arguments: argparse.Namespace, spec: Parameters, way: Way) -> int:
    """Write the list and its reports; say where they are, and which could not be written."""
    from bpvet.wording.en.command.written import MORNING_WRITTEN, NO_REPORT, WAITING

    progress(WAITING["morning"], arguments.quiet)
    from bpvet.reports.morning import write_morning

    written = write_morning(
        arguments.path,
        arguments.output,
        spec,
        way,
        processes=arguments.processes,
    )
    failed = [report for report in written.reports if report.page is None]
    for report in failed:
        say(NO_REPORT.format(animal=report.animal, reason=report.error))
    if arguments.json:
        reports = [
            {
                "animal": report.animal,
                "page": None if report.page is None else str(report.page),
                "error": report.error or None,
            }
            for report in written.reports
        ]
        print_json({"list": str(written.list), "reports": reports})
    else:
        many = counted(len(written.reports) - len(failed), "report")
        print(printable(MORNING_WRITTEN.format(file=written.list, reports=many)))
    return 1 if failed else 0
