"""``bpvet report``: one animal's notebook, executed, and the same as one page."""

from __future__ import annotations

import argparse

from bpvet.command import options
from bpvet.command.opening import named_priors
from bpvet.command.output import print_json, progress
from bpvet.command.reporting import add_report, print_report, report_options, written_files

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
    add_report(parser)
    options.add_animal(parser)
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
    given = report_options(arguments)
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
        priors=priors,
        **given,
    )
    if arguments.json:
        print_json(written_files(written))
    else:
        print_report(written)
    return 0
