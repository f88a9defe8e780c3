"""The cautions of a page: five to read, the rest folded away and printed, and the one footnote."""

from __future__ import annotations

from typing import TYPE_CHECKING

from bpvet.facts.cautions import licensed, parted
from bpvet.facts.sources import footnotes
from bpvet.reports.markup import Shown, bullets, folded, lines, paragraph, prose, tag
from bpvet.wording.en.pages.heads import MORE_CAUTIONS

if TYPE_CHECKING:
    from bpvet.answers.agreement.agreement import AgreementAnswer
    from bpvet.answers.audit.audit import AuditAnswer
    from bpvet.answers.clinic.cohort import CohortAnswer
    from bpvet.answers.trend.result import TrendAnswer


def cautions(answer: TrendAnswer | CohortAnswer | AgreementAnswer | AuditAnswer) -> Shown:
    """Return what must stand beside the numbers of an answer: all of it, folded after five.

    A folded list is not printed, so it stands there a second time, for paper alone. The footnote of
    figures from memory is left to `footnoted`.
    """
    first, rest = parted(answer.cautions)
    html = bullets(first, "cautions")
    if rest:
        more = "".join(tag("li", prose(text)) for text in rest)
        html += folded(MORE_CAUTIONS.format(count=len(rest)), tag("ul", more, class_="cautions"))
        html += tag("ul", more, class_="printed", hidden="hidden")
    return Shown(html, lines(*first, *rest))


def footnoted(shown: Shown) -> Shown:
    """Return a section with the footnote of figures from memory below it, if it has a mark."""
    notes = footnotes(shown.html)
    html = "".join(paragraph(note, "footnote") for note in notes)
    return Shown(shown.html + html, lines(shown.text, *notes)) if notes else shown


def statement() -> Shown:
    """Return what every report says about itself."""
    return Shown(tag("footer", paragraph(licensed()), class_="statement"), licensed())
