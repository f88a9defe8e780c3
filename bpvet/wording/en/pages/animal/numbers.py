"""The numbers behind an animal's sentences, as tables."""

from __future__ import annotations

from collections.abc import Iterator

from bpvet.answers.trend.drugs import EffectAnswer, TreatmentAnswer
from bpvet.answers.trend.result import TrendAnswer
from bpvet.answers.trend.usual import LatestAnswer
from bpvet.facts.words import LAB_QUANTITIES, QUANTITY_WORDS
from bpvet.maths.estimate import Estimate
from bpvet.printing import number, probability
from bpvet.wording.en.pages.shapes import NONE, Column, Table
from bpvet.wording.en.phrases import CONTEXTS, capital, percent, value

#: Heads of estimates with their ends.
ESTIMATE_COLUMNS = (
    Column("Of"),
    Column("Estimate", True),
    Column("Lower", True),
    Column("Upper", True),
    Column("Unit"),
)

Estimated = tuple[str, str, str, str, str]
Chance = tuple[str, str]


#: Above what the model and its companions say of themselves.
VARIABILITY = "Variability from visit to visit"
WITHOUT_MODEL = "Beside the trend, without a model"


def estimates_table(answer: TrendAnswer) -> Table:
    """Return the estimates behind the sentences."""
    caption = f"Estimates with {percent(answer.level)} intervals"
    return Table(caption, ESTIMATE_COLUMNS, list(_estimates(answer)))


def chances_table(answer: TrendAnswer) -> Table:
    """Return the probabilities and shares behind the sentences."""
    columns = (Column("Of"), Column("Per cent", True))
    return Table("Probabilities and shares", columns, list(_chances(answer)), wide=False)


def _estimates(answer: TrendAnswer) -> Iterator[Estimated]:
    latest, unit, change = answer.latest, answer.unit, answer.change_unit
    digits = max(1, answer.decimals)
    yield _row(f"Usual {QUANTITY_WORDS[answer.quantity]}, {latest.date}", latest, unit, digits)
    for name, joined in answer.bridges.items():
        yield _row(f"Difference between {name}, estimated", joined, change)
    for moved in answer.recorded_changes:
        what = CONTEXTS.get(moved.what, moved.what)
        name = f"{capital(what)}, “{moved.latest}” minus “{moved.other}”, estimated"
        yield _row(name, moved.difference, change)
    if answer.first_visit is not None:
        yield _row("First-visit excitement", answer.first_visit, change)
    if answer.slope.span_days > 0:
        each = answer.slope
        estimate = Estimate(each.per_30_days, each.lower, each.upper, 0.0)
        yield _row("Change apart from drugs", estimate, f"{change} in 30 days")
        over = f"The same over the {each.span_days} days of the record"
        yield _row(over, each.rise_over_record, change)
    for spell in answer.treatments:
        yield from _treatment_rows(spell, change)
    for course in answer.courses:
        if course.kind != "base" and course.effect is not None:
            what = "dose changed" if course.kind == "increment" else "alone from"
            name = f"{capital(course.drug)}, {what} {course.started_on}: full effect on top"
            yield _row(name, course.effect, change)
    three = answer.companions.last_three
    if three.estimate is not None and three.lower is not None and three.upper is not None:
        estimate = Estimate(three.estimate, three.lower, three.upper, None)
        yield _row(f"Plain mean of the last three {_entry_word(answer)}s", estimate, unit, digits)
    found, after, noun = answer.surprise, answer.next_session, _entry_word(answer)
    if found.expected is not None and found.lower is not None and found.upper is not None:
        estimate = Estimate(found.expected, found.lower, found.upper, 0.0)
        name = f"{capital(noun)} of {found.date}, predicted from those before"
        yield _row(name, estimate, unit, digits)
    coming = after.mean, after.lower, after.upper
    to_come = LatestAnswer(after.date, *coming, 0.0, after.only)
    rests = "" if answer.quantity in LAB_QUANTITIES else f", mean of {after.readings} readings"
    yield _row(f"Next {noun}, {after.date}{rests}", to_come, unit, digits)


def _entry_word(answer: TrendAnswer) -> str:
    """Return what one entry of the series is called."""
    return "value" if answer.quantity in LAB_QUANTITIES else "session"


def _row(
    name: str, estimated: Estimate | EffectAnswer | LatestAnswer, unit: str, digits: int = 1
) -> Estimated:
    estimate, lower, upper = (
        number(v, digits) for v in (estimated.estimate, estimated.lower, estimated.upper)
    )
    if only := getattr(estimated, "only", ""):
        # Most readings lie beyond the gauge: one end is known.
        estimate = f"{only} {upper if only == 'at most' else lower}"
        lower = upper = NONE
    return (name, estimate, lower, upper, unit)


def _treatment_rows(spell: TreatmentAnswer, unit: str) -> Iterator[Estimated]:
    name = f"{capital(spell.drug)} from {spell.started_on}"
    if spell.effect is None or spell.effect_now is None:
        yield (f"{name}: cannot be known yet", NONE, NONE, NONE, unit)
        return
    yield _row(f"{name}: effect at the latest session", spell.effect_now, unit)
    yield _row(f"{name}: full effect", spell.effect, unit)
    if spell.plain is not None:
        plain = number(spell.plain.difference, 1)
        yield (f"{name}: plain mean on it less that before it", plain, NONE, NONE, unit)
    if spell.effect_at_half_tau is not None and spell.effect_at_double_tau is not None:
        yield _row(
            f"{name}: full effect, if it acted twice as fast", spell.effect_at_half_tau, unit
        )
        yield _row(
            f"{name}: full effect, if it acted half as fast", spell.effect_at_double_tau, unit
        )


def _chances(answer: TrendAnswer) -> Iterator[Chance]:
    found, unit, share = answer.target, answer.unit, answer.share_at_target
    rise = "3 %" if answer.quantity in LAB_QUANTITIES else f"1 {unit}"
    if found.value is not None:
        yield f"Usual at or below {number(found.value, 0)} {unit}", probability(found.p_at_or_below)
        yield f"Usual below {number(found.floor, 0)} {unit}", probability(found.p_below_floor)
    for name, p in (answer.category.probability or {}).items():
        yield f"Usual in the category {name}", probability(p)
    for spell in answer.treatments:
        if spell.effect is not None:
            name = f"{capital(spell.drug)} from {spell.started_on}"
            by = f"by 10 {answer.change_unit} or more"
            if answer.quantity in LAB_QUANTITIES:
                yield f"{name}: higher {by}", probability(spell.effect.p_higher_by_10)
            yield f"{name} lowers {by}", probability(spell.p_lower_by_10)
        if spell.told_by_readings is not None:
            name = f"{capital(spell.drug)} from {spell.started_on}"
            yield f"{name}: told by the readings", probability(max(spell.told_by_readings, 0.0))
    if answer.slope.span_days > 0:
        yield "Rising at all", probability(answer.slope.p_rising)
        yield f"Rising by more than {rise} in 30 days", probability(answer.slope.p_rising_by_1)
    if answer.companions.step is not None:
        yield "A step that nobody recorded", probability(answer.companions.step.p_any)
    if answer.surprise.tail is not None:
        seen = f"{answer.surprise.bound} {value(answer.surprise.observed, answer)}".lstrip()
        yield f"A {_entry_word(answer)} as far off as {seen}", probability(answer.surprise.tail)
    if share.value is not None:
        yield (
            f"Share of days at or below {number(share.value, 0)} {unit}",
            probability(share.expected),
        )
        if share.interpolated is not None:
            yield "The same by straight lines", probability(share.interpolated)
