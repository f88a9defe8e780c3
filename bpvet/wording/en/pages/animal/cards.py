"""What to know now of an animal: four answers in a glance each."""

from __future__ import annotations

from bpvet.answers.trend.result import TrendAnswer
from bpvet.models.trend.trend import Trend
from bpvet.wording.en.pages.shapes import Card
from bpvet.wording.en.phrases import capital, day, value
from bpvet.wording.en.pictures.trend import age_words, doses_on
from bpvet.wording.en.trend.control import target_question
from bpvet.wording.en.trend.statements import statements_on

#: Topics that have a tile, by the lead and the short text of the first that is told of each.
TOPICS_OF_TILES = ("usual", "target", "recheck")


def animal_cards(trend: Trend, answer: TrendAnswer) -> tuple[Card, ...]:
    """Return what to know now: newest, usual, target and when again, each where it is told.

    Parameters
    ----------
    trend : Trend
    answer : TrendAnswer
        Its answer.
    """
    titles = {"usual": "Usual", "target": target_question(answer), "recheck": "When again?"}
    statements = [
        statement for topic in TOPICS_OF_TILES for statement in statements_on(answer, topic)[:1]
    ]
    last = answer.sessions[-1]
    read = "No number" if last.mean is None else value(last.mean, answer)
    lead = capital(f"{last.bound} {read}".strip())
    ago = age_words(answer.as_of, last.date)
    return (
        Card("Newest", lead, f"{day(last.date)}, {ago}; {doses_on(trend)}."),
        *(
            Card(titles[statement.topic], statement.lead, statement.short)
            for statement in statements
        ),
    )
