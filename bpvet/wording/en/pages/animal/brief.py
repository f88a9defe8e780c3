"""What stands under an animal's figure: three sentences, a line a drug, kidneys, signs, questions.

Nothing that must be read is left to the folds below: signs that are present, unread or unclear,
notes that are asked about, and findings of the record check stand here.
"""

from __future__ import annotations

from collections.abc import Iterator

from bpvet.answers.trend.result import TrendAnswer
from bpvet.facts.words import QUANTITY_WORDS
from bpvet.models.trend.trend import Trend
from bpvet.wording.en.kidney.stage import stage_in_short
from bpvet.wording.en.phrases import capital, counted, listed
from bpvet.wording.en.trend.control import without_drug
from bpvet.wording.en.trend.statements import statements_on

#: Above them.
THREE = "In three sentences"
#: Topics of the three sentences, the first three of which there is something to say.
TOPICS_OF_THREE = ("recheck", "target", "slope", "surprise", "usual", "category")
_SENTENCES = 3
#: Topics that have a line for each statement, below drugs and kidneys.
TOPICS_OF_LINES = ("species", "signs")

#: What a line on the kidneys leads with, by the key of its first statement.
KIDNEY_LEADS = {
    "kidney.reaction": "Values rose after a change of drug",
    "kidney.potassium": "Potassium: repeat",
    "kidney.weight": "Weight fell",
    "kidney.protein": "Protein in the urine",
}


def three_sentences(answer: TrendAnswer) -> list[str]:
    """Return what comes first, three sentences at most."""
    # A target that is withheld has said so in its tile.
    topics = [
        topic for topic in TOPICS_OF_THREE if topic != "target" or answer.target.verdict is not None
    ]
    firsts = [statement.text for topic in topics for statement in statements_on(answer, topic)[:1]]
    return firsts[:_SENTENCES]


def told_lines(trend: Trend, answer: TrendAnswer) -> Iterator[tuple[str, str]]:
    """Yield a lead and what it rests on: drugs, kidneys, signs, and what the record check found."""
    yield from _drugs(trend, answer)
    yield from _kidneys(answer)
    for topic in TOPICS_OF_LINES:
        for statement in statements_on(answer, topic):
            yield ("Signs and notes" if topic == "signs" else "Species", statement.text)
    if answer.quantity != "systolic":
        yield (
            "Not systolic",
            (
                "The target, the categories and the date of the next visit are judged on systolic "
                "pressure only; this report is of another quantity "
                f"({QUANTITY_WORDS[answer.quantity]})."
            ),
        )
    if answer.findings:
        found = capital(counted(len(answer.findings), "finding"))
        yield ("Record check", f"{found} about this animal's records, listed below.")


def _drugs(trend: Trend, answer: TrendAnswer) -> Iterator[tuple[str, str]]:
    if answer.treatments:
        statements = (
            statement for statement in statements_on(answer, "drugs") if statement.topic == "drug"
        )
        yield from ((statement.lead, statement.short) for statement in statements)
        return
    beside = ""
    if answer.recorded.treatments_table:
        others = sorted({treatment.drug for treatment in trend.context.treatments.others})
        beside = f" Also recorded: {listed(others)}." if others else ""
    yield ("Drugs: none on record", f"{without_drug(answer)}{beside}")


def _kidneys(answer: TrendAnswer) -> Iterator[tuple[str, str]]:
    statements = statements_on(answer, "kidney")
    if not statements:
        return
    stage = stage_in_short(answer.kidney)
    pressing = [statement for statement in statements if statement.key in KIDNEY_LEADS]
    if not pressing:
        yield (
            f"Kidneys: {stage[:1].lower()}{stage[1:]}" if stage else "Kidneys",
            statements[0].text,
        )
        return
    # What presses stands here whole; stages, rates and substages stand among the answers.
    sentences = [statement.text for statement in pressing] + ([f"{stage}."] if stage else [])
    yield (f"Kidneys: {KIDNEY_LEADS[pressing[0].key].lower()}", " ".join(sentences))
