"""``bpvet audit``: the quality of measuring, as a notebook and a page."""

from __future__ import annotations

import argparse

from bpvet.command.shared import options
from bpvet.command.shared.cautions import EVERY_CAUTION
from bpvet.command.shared.opening import usable
from bpvet.command.shared.output import progress
from bpvet.command.shared.reporting import answered, report_arguments, way_of

ABOUT = """\
Looks at how a clinic measures: readings per session, first readings, end digits, scatter by method,
operator and site, cuffs, home against clinic, and what would help most, in mmHg. Nobody is
ranked. With -o it writes a self-contained page, and the notebook behind it; without, it
prints the sentences.

example:
  bpvet audit records --as-of 2026-11-01 -o quality
"""


USAGE = "bpvet audit PATH [-o DIR] [options]"
ARGUMENTS = (
    *report_arguments(required=False),
    options.RULE,
    options.LEVEL,
    EVERY_CAUTION,
    options.WAYS_OUT,
)


def run(arguments: argparse.Namespace) -> None:
    """Look at the measuring, and write the report or print what was found."""
    from bpvet.wording.en.command.written import WAITING

    way = way_of(arguments)
    chosen = {"rule": arguments.rule, "level": arguments.level}
    if arguments.output is None:
        from bpvet.answers.audit.audit import audit_answer
        from bpvet.models.audit.audit import audit

        return answered(arguments, audit_answer(audit(usable(arguments), **chosen)))
    progress(WAITING["audit"], arguments.quiet)
    from bpvet.reports.audit.report import KIND, Parameters
    from bpvet.reports.writing import write_report

    spec = Parameters(options=chosen)
    written = write_report(KIND, arguments.path, arguments.output, spec, way)
    return answered(arguments, written.answer, written)
