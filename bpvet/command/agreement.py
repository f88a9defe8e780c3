"""``bpvet agreement``: the two methods against each other, as a notebook and a page."""

from __future__ import annotations

import argparse

from bpvet.command.shared import options
from bpvet.command.shared.cautions import add_cautions
from bpvet.command.shared.opening import usable
from bpvet.command.shared.output import progress
from bpvet.command.shared.reporting import add_quantity, add_report, answered, way_of
from bpvet.facts.words import TREND_CONDITIONS

ABOUT = """\
Compares Doppler and oscillometric sessions of the same visits: bias and limits of agreement with
their intervals, repeatability, lines, and the guideline's criteria for devices. With -o it writes
a self-contained page, and the notebook behind it; without, it prints the sentences.

example:
  bpvet agreement records --as-of 2026-11-01 -o methods
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes."""
    parser.usage = "bpvet agreement PATH [-o DIR] [options]"
    add_report(parser, required=False)
    add_quantity(parser)
    parser.add_argument(
        "--condition",
        choices=TREND_CONDITIONS,
        help="default: that of most visits by both methods",
    )
    parser.add_argument(
        "--linked",
        action="store_true",
        help="readings with the same number by both methods were taken together",
    )
    parser.add_argument(
        "--reference",
        choices=("direct", "indirect"),
        help="one of the methods is an accepted reference of this kind",
    )
    options.add_rule(parser)
    options.add_level(parser)
    add_cautions(parser)
    options.add_ways_out(parser)


def run(arguments: argparse.Namespace) -> int:
    """Compare, and write the report or print what was found."""
    from bpvet.wording.en.command.written import WAITING

    way = way_of(arguments)
    chosen = {
        name: getattr(arguments, name)
        for name in ("quantity", "condition", "rule", "linked", "reference", "level")
    }
    if arguments.output is None:
        from bpvet.answers.agreement.agreement import agreement_answer
        from bpvet.models.agreement.agreement import agreement

        return answered(arguments, agreement_answer(agreement(usable(arguments), **chosen)))
    progress(WAITING["agreement"], arguments.quiet)
    from bpvet.reports.agreement.report import KIND, Parameters
    from bpvet.reports.writing import write_report

    asked = Parameters(options=chosen)
    written = write_report(KIND, arguments.path, arguments.output, asked, way)
    return answered(arguments, written.answer, written)
