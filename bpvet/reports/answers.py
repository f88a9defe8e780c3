"""Every answer of a trend: as sentences under plain headings, and as a table of numbers."""

from __future__ import annotations

from collections.abc import Iterator

from bpvet.answers.drug_words import treatment
from bpvet.answers.parts import (
    EffectAnswer,
    Estimate,
    LatestAnswer,
    TreatmentAnswer,
    TrendAnswer,
)
from bpvet.answers.phrases import capital, percent, value
from bpvet.answers.sentences import TOPICS, sentence
from bpvet.facts.words import LAB_QUANTITIES, QUANTITY_WORDS
from bpvet.printing import number, probability
from bpvet.reports.markup import (
    NONE,
    Column,
    Shown,
    heading,
    lines,
    paragraph,
    scrolling,
    table,
    tag,
)

#: The topics' headings; what is urgent stands at the head of the report.
HEADINGS = {
    "usual": "How high is it usually?",
    "target": "Is it at target?",
    "category": "In which category?",
    "drugs": "Did the drug work?",
    "slope": "Is it creeping up?",
    "surprise": "Was the newest one a surprise?",
    "recheck": "When to measure again?",
    "next_session": "What will the next one read?",
    "share": "How much of the time was it that low?",
    "companions": "What if it is counted otherwise?",
    "others": "Which other sessions are there?",
}

Estimated = tuple[str, str, str, str, str]
Chance = tuple[str, str]


def answers(answer: TrendAnswer) -> Shown:
    """Return every sentence of the answer under its question."""
    parts, said = [], []
    for topic in TOPICS:
        paragraphs = _paragraphs(answer, topic)
        if topic in HEADINGS and paragraphs:
            question = HEADINGS[topic]
            if topic == "target" and answer.target.kind == "raised":
                question = "Is it raised?"
            part = heading(3, question) + "".join(map(paragraph, paragraphs))
            parts.append(tag("section", part))
            said += [question, *paragraphs]
    return Shown(tag("div", "".join(parts), class_="answers"), lines(*said))


def _paragraphs(answer: TrendAnswer, topic: str) -> list[str]:
    if topic == "drugs":
        return [treatment(answer, one) for one in answer.treatments]
    return [text for text in [sentence(answer, topic)] if text]


def numbers(answer: TrendAnswer) -> Shown:
    """Return the numbers behind the sentences: estimates, probabilities, and variability.

    Parameters
    ----------
    answer : TrendAnswer
    """
    estimates, chances = list(_estimates(answer)), list(_chances(answer))
    caption = f"Estimates with {percent(answer.level)} intervals"
    columns = (
        Column("Of"),
        Column("Estimate", True),
        Column("Lower", True),
        Column("Upper", True),
        Column("Unit"),
    )
    html = table(caption, columns, estimates, wide=True)
    html += table("Probabilities and shares", (Column("Of"), Column("Per cent", True)), chances)
    html += scrolling("Variability from visit to visit", answer.variability._repr_html_())
    text = ("  ".join(filter(None, row)) for row in (*estimates, *chances))
    return Shown(tag("div", html, class_="numbers"), lines(caption, *text))


def _estimates(answer: TrendAnswer) -> Iterator[Estimated]:
    latest, unit, change, digits = answer.latest, answer.unit, answer.change_unit, _digits(answer)
    yield _row(f"Usual {QUANTITY_WORDS[answer.quantity]}, {latest.date}", latest, unit, digits)
    for name, joined in answer.bridges.items():
        yield _row(f"Difference between {name}, estimated", joined, change)
    if answer.first_visit is not None:
        yield _row("First-visit excitement", answer.first_visit, change)
    if answer.slope.span_days > 0:
        each = answer.slope
        held = Estimate(each.per_30_days, each.lower, each.upper, 0.0)
        yield _row("Change apart from drugs", held, f"{change} in 30 days")
        over = f"The same over the {each.span_days} days of the record"
        yield _row(over, each.rise_over_record, change)
    for spell in answer.treatments:
        yield from _treatment_rows(spell, change)
    for course in answer.courses:
        if course.kind == "increment" and course.knowable:
            name = f"{capital(course.drug)}, dose changed {course.started_on}: full effect on top"
            yield _row(name, course.effect, change)
    found, after, one = answer.surprise, answer.next_session, _one(answer)
    if found.expected is not None and found.lower is not None and found.upper is not None:
        held = Estimate(found.expected, found.lower, found.upper, 0.0)
        name = f"{capital(one)} of {found.date}, as those before led one to expect"
        yield _row(name, held, unit, digits)
    held = Estimate(after.mean, after.lower, after.upper, 0.0)
    rests = f", mean of {after.readings} readings" if one == "session" else ""
    yield _row(f"Next {one}, {after.date}{rests}", held, unit, digits)


def _one(answer: TrendAnswer) -> str:
    """Return what one entry of the series is called."""
    return "value" if answer.quantity in LAB_QUANTITIES else "session"


def _digits(answer: TrendAnswer) -> int:
    """Return the decimals of a value in a table: one at least."""
    return max(1, answer.decimals)


def _row(
    name: str, held: Estimate | EffectAnswer | LatestAnswer, unit: str, digits: int = 1
) -> Estimated:
    estimate, lower, upper = (number(v, digits) for v in (held.estimate, held.lower, held.upper))
    return (name, estimate, lower, upper, unit)


def _treatment_rows(one: TreatmentAnswer, unit: str) -> Iterator[Estimated]:
    name = f"{capital(one.drug)} from {one.started_on}"
    if not one.knowable:
        yield (f"{name}: cannot be known", NONE, NONE, NONE, unit)
        return
    yield _row(f"{name}: effect at the latest session", one.effect_now, unit)
    yield _row(f"{name}: full effect", one.effect, unit)
    yield _row(f"{name}: full effect, were it twice as fast", one.effect_at_half_tau, unit)
    yield _row(f"{name}: full effect, were it half as fast", one.effect_at_double_tau, unit)


def _chances(answer: TrendAnswer) -> Iterator[Chance]:
    found, unit, share = answer.target, answer.unit, answer.share_at_target
    rise = "3 %" if answer.quantity in LAB_QUANTITIES else f"1 {unit}"
    if found.value is not None:
        yield f"Usual at or below {number(found.value, 0)} {unit}", probability(found.p_at_or_below)
        yield f"Usual below {number(found.floor, 0)} {unit}", probability(found.p_below_floor)
    for name, p in (answer.category.probability or {}).items():
        yield f"Usual in the category {name}", probability(p)
    for one in answer.treatments:
        if one.knowable:
            name = f"{capital(one.drug)} from {one.started_on}"
            yield (
                f"{name} lowers by 10 {answer.change_unit} or more",
                probability(one.p_lower_by_10),
            )
    if answer.slope.span_days > 0:
        yield "Rising at all", probability(answer.slope.p_rising)
        yield f"Rising by more than {rise} in 30 days", probability(answer.slope.p_rising_by_1)
    if answer.surprise.tail is not None:
        seen = value(answer.surprise.observed, answer)
        yield f"A {_one(answer)} as far out as {seen}", probability(answer.surprise.tail)
    if share.value is not None:
        yield (
            f"Share of days at or below {number(share.value, 0)} {unit}",
            probability(share.expected),
        )
        if share.interpolated is not None:
            yield "The same by straight lines", probability(share.interpolated)
