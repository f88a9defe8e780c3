"""What is on record and stands in no sentence of the answers: each row with the reason."""

from __future__ import annotations

from bpvet.answers.parts import TrendAnswer
from bpvet.reports.markup import Shown, folded, lines, prose, tag
from bpvet.wording.en.pages.animal.unused import unused_caption, unused_lines


def not_used(answer: TrendAnswer) -> Shown:
    """Return the rows that no sentence speaks of, folded away, a line a table and reason.

    A folded list is not printed, so it stands there a second time, for paper alone.

    Parameters
    ----------
    answer : TrendAnswer
    """
    told, caption = unused_lines(answer), unused_caption(answer)
    if not told:
        return Shown("", "")
    items = "".join(tag("li", prose(text)) for text in told)
    html = folded(caption, tag("ul", items))
    # Its name stands on paper too, where the summary does not.
    html += tag("ul", tag("li", prose(f"{caption}:")) + items, class_="printed", hidden="hidden")
    return Shown(html, lines(caption, *told))
