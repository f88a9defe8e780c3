"""``bpvet report``: one animal's notebook, executed, and the same as one page."""

from __future__ import annotations

import argparse

from bpvet.command import options
from bpvet.command.opening import named_priors
from bpvet.command.output import print_json, printable, progress

SUMMARY = "one animal's report: a page to read and print, and the notebook behind it"
ABOUT = """\
Writes one animal's report into a folder: a page that needs nothing else, and the notebook
behind it. Nothing is opened, and nothing is loaded from anywhere.

example:
  bpvet report records --animal Pilchard -o pilchard
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.usage = "bpvet report PATH --animal A -o DIR [options]"
    options.add_path(parser, encoding=False)
    options.add_animal(parser)
    parser.add_argument("-o", "--output", required=True, metavar="DIR", help="folder to write into")
    options.add_force(parser, "replace files there that are not this report's own")
    options.add_series(parser)
    options.add_rule(parser)
    options.add_guideline(parser)
    options.add_level(parser)
    options.add_priors(parser)
    options.add_ways_out(parser)


def run(arguments: argparse.Namespace) -> int:
    """Write the report and say where the page is."""
    from bpvet.facts.categories import guideline

    # What is wrong with the call is said before the work is done.
    guideline(arguments.guideline)
    priors = named_priors(arguments)
    progress("Writing the report; this takes some seconds.", arguments.quiet)
    from bpvet.reports.animal import write_report

    written = write_report(
        arguments.path,
        arguments.animal,
        arguments.output,
        method=arguments.method,
        quantity=arguments.quantity,
        condition=arguments.condition,
        bridge=arguments.bridge,
        rule=arguments.rule,
        guideline=arguments.guideline,
        level=arguments.level,
        as_of=arguments.as_of,
        columns=arguments.columns,
        priors=priors,
        force=arguments.force,
    )
    if arguments.json:
        print_json(
            {
                "page": str(written.page),
                "notebook": str(written.notebook),
                "parameters": str(written.parameters),
            }
        )
        return 0
    print(printable(f'The report is in "{written.page}"; open it in any browser.'))
    print(printable(f'The notebook behind it is in "{written.notebook}".'))
    return 0
