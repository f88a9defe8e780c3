"""How a report is made, whatever it says: what all that write one are given alike."""

from __future__ import annotations

import os

from bpvet.frozen import dataclass, field
from bpvet.records.read_options import ReadOptions


@dataclass(frozen=True)
class Way:
    """How a report is made, whatever it says.

    Parameters
    ----------
    as_of : date or text, optional
        As `bpvet.read` takes it. The date is kept with the report: run again later, its notebook
        still speaks for that date.
    reading : ReadOptions
        How the records are read; kept with the report too.
    force : bool
        Whether to replace files that are not this report's own, or whose notebook was changed.
    paper : str
        Paper on which the page is set as a PDF too, ``a4`` or ``letter``; blank for no PDF.
    also_read : tuple of path
        Further files that were read, such as that of the priors: they are never written over.
    """

    as_of: object = None
    reading: ReadOptions = field(default_factory=ReadOptions)
    force: bool = False
    paper: str = ""
    also_read: tuple[str | os.PathLike[str] | None, ...] = ()
