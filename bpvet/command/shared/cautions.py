"""The cautions on a terminal: five, the rest when asked for, and the one footnote."""

from __future__ import annotations

from collections.abc import Sequence

from bpvet.command.shared.options import argument
from bpvet.command.shared.output import wrapped
from bpvet.facts.cautions import SHOWN, parted
from bpvet.facts.sources import footnotes
from bpvet.wording.en.command.tables import CAUTIONS, MORE_CAUTIONS

EVERY_CAUTION = argument(
    "--cautions",
    action="store_true",
    help=f"print every caution, not only the first {SHOWN}",
)


def cautions_block(
    texts: Sequence[str], *, every: bool = False, beside: Sequence[str] = ()
) -> tuple[str, ...]:
    """Return the cautions as a block of text, and the footnote of figures from memory as another.

    Parameters
    ----------
    texts : sequence of str
        As an answer holds them.
    every : bool
        Whether all are printed.
    beside : sequence of str
        What else is printed: a mark in it asks for the footnote too.
    """
    first, rest = parted(texts)
    shown = [wrapped(text, "  ", "- ") for text in (*first, *(rest if every else ()))]
    if rest and not every:
        shown.append(MORE_CAUTIONS.format(count=len(rest)))
    notes = footnotes(*beside, *first, *rest)
    return ("\n".join([CAUTIONS, *shown]), *map(wrapped, notes))
