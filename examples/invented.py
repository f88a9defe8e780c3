"""The invented records that every example draws: those that `bpvet example` writes."""

from __future__ import annotations

from tempfile import TemporaryDirectory

import bpvet
from bpvet.records.example import write_example


def records() -> bpvet.Records:
    """Return the example records, as they stood on 1 November 2026."""
    with TemporaryDirectory() as folder:
        write_example(folder)
        return bpvet.read(folder, as_of="2026-11-01")
