"""What the commands that write reports share: their options, and what they print."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bpvet.command.shared import options
from bpvet.command.shared.cautions import cautions_block
from bpvet.command.shared.opening import read_options
from bpvet.command.shared.output import (
    handles_left,
    print_json,
    printable,
    tell_recovered,
    wrapped,
)
from bpvet.errors import BpvetError, CallError
from bpvet.facts.words import QUANTITIES

if TYPE_CHECKING:
    from bpvet.answers.agreement.agreement import AgreementAnswer
    from bpvet.answers.audit.audit import AuditAnswer
    from bpvet.reports.way import Way
    from bpvet.reports.writing import Written

#: Files that a report has open at once, and some more.
_HANDLES = 80
#: For a report on many animals.
QUANTITY = options.argument(
    "--quantity", choices=QUANTITIES, default="systolic", help="default: systolic"
)


def report_arguments(required: bool = True) -> tuple[options.Argument, ...]:
    """Return PATH, where the report goes, and in which forms."""
    return (
        *options.PATH,
        options.argument(
            "-o",
            "--output",
            required=required,
            metavar="DIR",
            help="folder to write the report into",
        ),
        options.force("replace files there that are not this report's own"),
        *options.PDF,
    )


def way_of(arguments: argparse.Namespace) -> Way:
    """Return how a report is made, whatever it says.

    What an earlier command left unfinished in the report's folder is finished first.

    Raises
    ------
    CallError
        A PDF is asked for, and no report; or a paper, and no PDF.
    """
    from bpvet.reports.way import Way

    if arguments.pdf and arguments.output is None:
        raise CallError("--pdf is for a report; add -o DIR.")
    if arguments.output is not None and not handles_left(_HANDLES):
        # Cells that can open no more files fail with words that help nobody.
        from bpvet.wording.en.command.failures import MANY_OPEN

        raise BpvetError(f"For a report {MANY_OPEN}")
    if arguments.output is not None:
        tell_recovered(Path(arguments.output))
    return Way(
        as_of=arguments.as_of,
        reading=read_options(arguments),
        force=arguments.force,
        paper=options.pdf_paper(arguments),
        also_read=(getattr(arguments, "priors", None),),
    )


def answered(
    arguments: argparse.Namespace,
    answer: AgreementAnswer | AuditAnswer,
    written: Written[Any] | None = None,
) -> None:
    """Print where the report is, or without one what it would say."""
    if arguments.json:
        print_json(({} if written is None else written_files(written)) | answer.to_dict())
    elif written is not None:
        print_report(written)
    else:
        for sentence in answer.sentences:
            print(wrapped(sentence, indent="  ", first="- "))
        print()
        beside = answer.sentences
        blocks = cautions_block(answer.cautions, every=arguments.cautions, beside=beside)
        print("\n\n".join(blocks))


def print_report(written: Written[Any]) -> None:
    """Print where a report was written."""
    from bpvet.wording.en.command.written import report_written

    for line in report_written(written.page, written.notebook, written.pdf):
        print(printable(line))


def written_files(written: Written[Any]) -> dict[str, Any]:
    """Return where a report was written, as JSON values."""
    return {
        "page": str(written.page),
        "notebook": str(written.notebook),
        "parameters": str(written.parameters),
        "pdf": None if written.pdf is None else str(written.pdf),
    }
