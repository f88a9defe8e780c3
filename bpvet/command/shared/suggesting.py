"""``bpvet check --suggest``: a mapping proposed for other people's headings, never applied."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from bpvet.command.shared.output import print_json, printable, say

if TYPE_CHECKING:
    from bpvet.records.headings.proposal import Proposal


def suggest(arguments: argparse.Namespace) -> int:
    """Print the text of a mapping file that could be saved beside the records."""
    from bpvet.wording.en.command.written import proposal_told

    proposal = proposed(arguments)
    if arguments.json:
        print_json(proposal.to_dict())
        return 0
    print("\n".join(map(printable, proposal.toml().splitlines())))
    unsure = sum(not line.sure for line in proposal.lines)
    say(proposal_told(len(proposal.lines), unsure), arguments.quiet)
    return 0


def proposed(arguments: argparse.Namespace) -> Proposal:
    """Return the proposal for the files at PATH.

    Raises
    ------
    CallError, RecordsError
        As `bpvet.read` does.
    """
    from bpvet.command.shared.opening import read_options
    from bpvet.records.formats.files import load
    from bpvet.records.headings.conventions import conventions
    from bpvet.records.headings.proposal import propose

    options = read_options(arguments)
    settled = conventions(arguments.path, options)
    loaded = load(arguments.path, settled.columns, settled.encoding, options.query)
    return propose(loaded.sheets)
