"""``bpvet agreement``: the two methods against each other, as a notebook and a page."""

from __future__ import annotations

import argparse

from bpvet.command.shared import options
from bpvet.command.shared.cautions import EVERY_CAUTION
from bpvet.command.shared.opening import usable
from bpvet.command.shared.output import progress
from bpvet.command.shared.reporting import QUANTITY, answered, report_arguments, way_of
from bpvet.facts.words import TREND_CONDITIONS

ABOUT = """\
Compares Doppler and oscillometric sessions of the same visits: bias and limits of agreement with
their intervals, repeatability, lines, and the guideline's criteria for devices. With -o it writes
a self-contained page, and the notebook behind it; without, it prints the sentences.

example:
  bpvet agreement records --as-of 2026-11-01 -o methods
"""


USAGE = "bpvet agreement PATH [-o DIR] [options]"
ARGUMENTS = (
    *report_arguments(required=False),
    QUANTITY,
    options.argument(
        "--condition", choices=TREND_CONDITIONS, help="default: that of most visits by both methods"
    ),
    options.argument(
        "--linked",
        action="store_true",
        help="readings with the same number by both methods were taken together",
    ),
    options.argument(
        "--reference",
        choices=("direct", "indirect"),
        help="one of the methods is an accepted reference of this kind",
    ),
    options.RULE,
    options.LEVEL,
    EVERY_CAUTION,
    options.WAYS_OUT,
)


def run(arguments: argparse.Namespace) -> None:
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

    spec = Parameters(options=chosen)
    written = write_report(KIND, arguments.path, arguments.output, spec, way)
    return answered(arguments, written.answer, written)
