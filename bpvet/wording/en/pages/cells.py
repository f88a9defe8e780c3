"""Estimates and their intervals as cells of a table, and how its caption names the level."""

from __future__ import annotations

from bpvet.maths.estimate import Estimate
from bpvet.printing import number
from bpvet.wording.en.pages.shapes import Column
from bpvet.wording.en.phrases import percent

#: An estimate in a table, and how its interval was made.
ESTIMATE = (Column("Estimate", number=True), Column("From", number=True), Column("To", number=True))


def ends(value: Estimate, digits: int = 1) -> tuple[str, str, str]:
    """Return an estimate and the ends of its interval as cells."""
    return (
        number(value.estimate, digits),
        number(value.lower, digits),
        number(value.upper, digits),
    )


def with_level(level: float, words: str) -> str:
    """Return a caption that says which intervals stand in the table."""
    return f"{words}, with {percent(level)} intervals"
