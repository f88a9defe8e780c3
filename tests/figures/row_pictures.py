"""A picture with thin lines of drugs and small rows of values, made of numbers alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bpvet.figures.pictures import CourseSpan, DrugTrack, SessionMarks, SmallRow, TrendPicture
from tests.figures.example_pictures import on, three_courses


def tracks_and_rows() -> TrendPicture:
    """Return one with a thin line a drug and small rows; one value of a row is a bound."""
    base = three_courses()
    dates = on("2025-01-10", "2025-03-28", "2025-06-20", "2025-09-12", "2025-11-07")

    def row(name: str, unit: str, values: list[float], detail: str, bounds: list[str]) -> SmallRow:
        unknown = [np.nan] * 5
        marks = SessionMarks(
            name, "", "", dates, values, unknown, unknown, [1] * 5, bounds, [""] * 5
        )
        return SmallRow(name, name.lower(), unit, marks, f"{name} {values[-1]:g} {unit}", detail)

    rows = (
        row(
            "Creatinine",
            "µmol/L",
            [168.0, 181, 190, 214, 231],
            "7 November 2025, +17 (+8 %) since 12 September 2025; in the range of stage 2",
            [""] * 5,
        ),
        row(
            "SDMA", "µg/dL", [14.0, 16, 20, 19, 21], "7 November 2025", ["", "", "at least", "", ""]
        ),
        row("Weight", "kg", [4.2] * 5, "7 November 2025, unchanged", [""] * 5),
    )
    by_drug: dict[str, list[CourseSpan]] = {}
    for span in base.courses:
        by_drug.setdefault(span.drug, []).append(span)
    tracks = tuple(DrugTrack(drug, tuple(own), own[-1].label) for drug, own in by_drug.items())
    doses = "; ".join(span.label for span in base.courses)
    return replace(base, tracks=tracks, rows=rows, caption=f"Treatment as written: {doses}.")
