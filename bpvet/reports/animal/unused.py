"""What is on record and stands in no sentence of the answers: each row with the reason."""

from __future__ import annotations

import numpy as np

from bpvet.answers.trend.recorded import NotUsed
from bpvet.answers.trend.result import TrendAnswer
from bpvet.reports.markup import Shown, folded, lines, prose, tag
from bpvet.wording.en.phrases import counted, day

_TABLES = {
    "labs": "Laboratory values",
    "observations": "Signs",
    "treatments": "Treatments",
    "readings": "Readings",
    "animals": "Animals",
    "missed": "Missed doses",
    "contacts": "Contacts",
    "readings note": "Notes of readings",
    "treatments note": "Notes of treatments",
    "observations note": "Notes of signs",
}


def not_used(answer: TrendAnswer) -> Shown:
    """Return the rows that no sentence speaks of, folded away, a line a table and reason.

    A folded list is not printed, so it stands there a second time, for paper alone.

    Parameters
    ----------
    answer : TrendAnswer
    """
    rows = answer.not_used
    if not rows:
        return Shown("", "")
    alike: dict[tuple[str, str], list[NotUsed]] = {}
    for row in rows:
        alike.setdefault((row.table, row.reason), []).append(row)
    told = [
        f"{_TABLES.get(table, table)}, because {reason}: {'; '.join(map(_row, held))}."
        for (table, reason), held in alike.items()
    ]
    caption = f"Also on record, not used here ({counted(len(rows), 'row')})"
    items = "".join(tag("li", prose(text)) for text in told)
    html = folded(caption, tag("ul", items))
    # Its name stands on paper too, where the summary does not.
    html += tag("ul", tag("li", prose(f"{caption}:")) + items, class_="printed", hidden="hidden")
    return Shown(html, lines(caption, *told))


def _row(one: NotUsed) -> str:
    return f"{one.text} ({'no date' if np.isnat(one.date) else day(one.date)})"
