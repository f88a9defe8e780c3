"""What stands under an animal's figure: three sentences, a line a drug, kidneys, signs, questions.

Nothing that must be read is left to the folds below.
"""

from __future__ import annotations

from bpvet.answers.parts import TrendAnswer
from bpvet.models.trend.trend import Trend
from bpvet.reports.markup import Shown, heading, lines, paragraph, prose, tag, together
from bpvet.wording.en.pages.animal.brief import THREE, three_sentences, told_lines


def brief(trend: Trend, answer: TrendAnswer) -> Shown:
    """Return what is to be read with the figure.

    Parameters
    ----------
    trend : Trend
    answer : TrendAnswer
        Its answer.
    """
    three, told = three_sentences(answer), list(told_lines(trend, answer))
    rows = "".join(
        tag("li", tag("strong", prose(f"{lead}.")) + together(f" {detail}".rstrip()))
        for lead, detail in told
    )
    html = heading(2, THREE) + "".join(map(paragraph, three)) + tag("ul", rows, class_="told")
    return Shown(tag("section", html, class_="brief"), lines(*three, *(" ".join(o) for o in told)))
