"""``bpvet example``: invented records to try everything on."""

from __future__ import annotations

import argparse
import shlex

from bpvet.command.shared import options
from bpvet.command.shared.output import print_json

ABOUT = """\
Writes the records of an invented clinic into a new folder, to try everything on.

example:
  bpvet example records
"""


ARGUMENTS = (
    options.argument("folder", metavar="DIR", help="a new or empty folder"),
    options.WAYS_OUT,
)


def run(arguments: argparse.Namespace) -> None:
    """Write the records and say what to do with them."""
    from bpvet.records.example import write_example
    from bpvet.wording.en.command.written import EXAMPLE_NEXT, EXAMPLE_WRITTEN

    files = write_example(arguments.folder)
    if arguments.json:
        print_json({"folder": arguments.folder, "files": files})
        return
    folder = shlex.quote(arguments.folder)
    print(EXAMPLE_WRITTEN.format(files=", ".join(files), folder=folder))
    print(f"\n{EXAMPLE_NEXT}")
    print(f"  bpvet check {folder} --as-of 2026-11-01")
    print(f"  bpvet trend {folder} --animal Pilchard --as-of 2026-11-01")
