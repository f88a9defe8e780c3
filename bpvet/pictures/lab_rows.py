"""Kidney values and weight as small rows of a picture: each with its newest value in words."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from bpvet.figures.pictures import SmallRow
from bpvet.frozen import dataclass
from bpvet.pictures.lab_values import LabValues, lab_values
from bpvet.records.records import Records
from bpvet.wording.en.pictures.lab_values import (
    detail,
    heading,
    lead,
    rows_alt_text,
    rows_caption,
)


@dataclass(frozen=True)
class LabRows:
    """Rows for a picture, and what its caption and alternative text say of them.

    Parameters
    ----------
    rows : tuple of SmallRow
        By analyte in the order of `facts.labs.DRAWN`, then by unit as first recorded.
    caption, alt_text : str
        Sentences; blank without a row.
    """

    rows: tuple[SmallRow, ...] = ()
    caption: str = ""
    alt_text: str = ""


def lab_rows(
    records: Records, animal: str, without: str = "", only: Collection[str] | None = None
) -> LabRows:
    """Return rows of one animal's laboratory values and weights.

    Parameters
    ----------
    records : Records
    animal : str
        The animal's id.
    without : str
        An analyte that the picture shows already; blank if none.
    only : collection of str, optional
        The analytes that get a row; all by default.
    """
    values = [
        lab
        for lab in lab_values(records, animal)
        if lab.analyte != without and (only is None or lab.analyte in only)
    ]
    if not values:
        return LabRows()
    return LabRows(
        tuple(_rows(values)), " ".join(rows_caption(values)), " ".join(rows_alt_text(values))
    )


def _rows(values: list[LabValues]) -> Iterator[SmallRow]:
    seen: set[str] = set()
    for lab in values:
        # The key of a mark: a second unit of one analyte has its own.
        key = f"{lab.analyte} in {lab.unit or 'no unit'}" if lab.analyte in seen else lab.analyte
        seen.add(lab.analyte)
        yield SmallRow(
            heading(lab.analyte), key, lab.shown_unit, lab.marks(), lead(lab), detail(lab)
        )
