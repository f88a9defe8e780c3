"""Plans as sentences that a tired vet reads once and understands."""

from __future__ import annotations

import math

from bpvet.answers.plan.result import (
    FurtherAnswer,
    OpenQuestion,
    PlanAnswer,
    SpellPrecision,
)
from bpvet.answers.statement import Statement, texts_of
from bpvet.facts.words import CONDITION_WORDS, QUANTITY_WORDS, TAKEN_BY
from bpvet.frozen import replace
from bpvet.models.plan.schedule import Precision
from bpvet.models.plan.study import Study
from bpvet.models.safety.safety import Safety
from bpvet.printing import a_or_an, number, probability
from bpvet.wording.en.phrases import capital, counted, day, percent
from bpvet.wording.en.safety.urgent import urgent_statements
from bpvet.wording.en.trend.recorded import asking_statements, remark_statements
from bpvet.wording.en.trend.settle import settle_words
from bpvet.wording.en.trend.uncounted import uncounted_statements

#: Shares of the SD before the visits: from here on they tell almost nothing, or little.
_ALMOST_ALL, _MOST = 0.9, 0.7
_GAPS = {1: "daily", 7: "weekly", 14: "fortnightly"}


def worded_plan(answer: PlanAnswer) -> PlanAnswer:
    """Return a plan for a new animal with what is told of it, and what it rests on."""
    statements = plan_statements(answer)
    return replace(
        answer, statements=statements, sentences=texts_of(statements), notes=plan_notes(answer)
    )


def worded_further(answer: FurtherAnswer, safety: Safety) -> FurtherAnswer:
    """Return a plan for an animal already measured with what is told of it, and its grounds."""
    statements = further_statements(answer, safety)
    return replace(
        answer, statements=statements, sentences=texts_of(statements), notes=further_notes(answer)
    )


def plan_statements(answer: PlanAnswer) -> tuple[Statement, ...]:
    """Return what is told of a plan for a new animal."""
    statements = [
        Statement("plan.usual", _usual(answer)),
        Statement("plan.fewest", _fewest(answer)),
        Statement("plan.readings", _readings(answer)),
        Statement("plan.effect", _effect(answer)),
        Statement("plan.slope", _slope(answer)),
    ]
    if answer.study is not None:
        statements.append(Statement("plan.study", _study(answer, answer.study)))
    return tuple(statements)


def further_statements(answer: FurtherAnswer, safety: Safety) -> tuple[Statement, ...]:
    """Return what is told of a plan for an animal already measured.

    First what cannot wait for it, and what it does not know of.
    """
    return (
        *urgent_statements(answer.urgent),
        *uncounted_statements(safety.found.uncounted),
        *remark_statements(safety.remarks),
        *asking_statements(safety.asks),
        Statement("plan.known", _now(answer)),
        Statement("plan.further", _further(answer)),
        Statement("plan.fewest", _fewest_further(answer)),
        *(Statement("plan.drug", _spell(answer, spell)) for spell in answer.effects),
        Statement("plan.slope", _slope(answer)),
        *(
            Statement(f"plan.open_{question.question}", _open(answer, question))
            for question in answer.open_questions
        ),
    )


def plan_notes(answer: PlanAnswer) -> tuple[str, ...]:
    """Return what a plan for a new animal rests on."""
    notes = [
        _counting(answer.readings),
        "A fit has to estimate the animal's scatter from its readings; in simulations its interval "
        "is about as wide as planned here, and the SD up to 6 % larger.",
    ]
    if answer.study is not None:
        notes.append(
            f"Responses are taken to vary between the animals of an arm with an SD of "
            f"{number(answer.study.response_sd, 0)} {answer.unit} (--response-sd changes it), and "
            "no animal is lost: add as many as may be. A fit that has to estimate each animal's "
            "scatter needs about 6 % more animals."
        )
    return (*notes, f"Priors: {answer.priors.source}.")


def further_notes(answer: FurtherAnswer) -> tuple[str, ...]:
    """Return what a plan for an animal already measured rests on."""
    return (
        _counting(answer.readings),
        "Planned for what is known of the animal's scatter now, with no change of drug or dose.",
        f"Priors: {answer.priors_source}.",
    )


def up(half_width: float) -> str:
    """Return a half-width in whole units, rounded up: what is said to be reached is reached.

    Examples
    --------
    >>> up(15.02), up(12.0)
    ('16', '12')
    """
    return str(math.ceil(half_width - 1e-9))


def visits_of(count: int, every_days: float, further: str = "") -> str:
    """Return visits with their gap; `further` stands before what they are called.

    Examples
    --------
    >>> visits_of(7, 7), visits_of(1, 7, "further "), visits_of(12, 10)
    ('seven weekly visits', 'one further visit', '12 visits every 10 days')
    """
    if count == 1:
        return f"one {further}visit"
    gap = _GAPS.get(int(every_days))
    if gap is None:
        return f"{counted(count, f'{further}visit')} every {number(every_days, 0)} days"
    return counted(count, f"{further}{gap} visit")


def _usual(answer: PlanAnswer) -> str:
    what = QUANTITY_WORDS[answer.quantity]
    seen = visits_of(answer.visits, answer.every_days)
    last = "on the day of the last" if answer.visits > 1 else "on that day"
    animal = answer.species or "animal"
    return (
        f"{_who(answer)} by {TAKEN_BY[answer.method]}: after {seen} of "
        f"{counted(answer.readings, 'reading')} the usual {what} would be known to within "
        f"{_within(answer, answer.usual)} ({percent(answer.level)}) {last}; in {a_or_an(animal)} "
        f"of ordinary scatter to within {_within(answer, answer.ordinary)}."
    )


def _who(answer: PlanAnswer) -> str:
    animal = answer.species or "animal of unknown species"
    if answer.used_to_it:
        return capital(f"{a_or_an(animal)} used to being measured,")
    return f"A new {animal} measured"


def _fewest(answer: PlanAnswer) -> str:
    wanted = f"±{number(answer.within, 0)} {answer.unit}"
    if answer.fewest_visits is not None:
        count = visits_of(answer.fewest_visits, answer.every_days)
        are = "is" if answer.fewest_visits == 1 else "are"
        return f"For {wanted}, {count} of {counted(answer.readings, 'reading')} {are} enough."
    return (
        f"{wanted} is out of reach: {visits_of(answer.most_visits, answer.every_days)} would leave "
        f"±{up(answer.closest)} {answer.unit}, because the usual value itself wanders, and "
        "visits long ago say little about today."
    )


def _readings(answer: PlanAnswer) -> str:
    row = next(row for row in answer.table if row.visits == answer.visits)
    single, three, ten = (up(row.usual[key]) for key in ("1", "3", "10"))
    return (
        f"With one reading a visit it would be ±{single} {answer.unit}, with three ±{three}, with "
        f"ten ±{ten}: more visits help more than more readings."
    )


def _effect(answer: PlanAnswer) -> str:
    if answer.effect is None:
        return (
            "One visit says nothing about a drug: some visits must come before it and some after."
        )
    drug = answer.drug or "a drug"
    text = (
        f"If {drug} is started after {counted(answer.before, 'visit')}, its full effect would be "
        f"known to within {_within(answer, answer.effect)}."
    )
    if answer.fall_seen is None:
        return f"{text} No fall would be recognised with probability {probability(answer.seen)}."
    return (
        f"{text} A true fall of {number(answer.fall_seen, 0)} {answer.unit} would be recognised "
        f'("has lowered") with probability {probability(answer.seen)}.'
    )


def _slope(answer: PlanAnswer | FurtherAnswer) -> str:
    slope = answer.slope
    left = slope.sd / slope.sd_before
    much = "almost nothing" if left >= _ALMOST_ALL else "little" if left >= _MOST else "something"
    when = "now" if isinstance(answer, FurtherAnswer) else "before any visit"
    return (
        f"They say {much} about a slow rise or fall: ±{number(slope.half_width, 1)} {answer.unit} "
        f"a month (SD {number(slope.sd, 1)}; {when} {number(slope.sd_before, 1)})."
    )


def _study(answer: PlanAnswer, study: Study) -> str:
    formula, unit = study.formula, answer.unit
    what = f"two arms whose mean effects differ by {number(study.effect, 0)} {unit}"
    how = (
        f"two-sided t test at {percent(study.significance)}, treatment started after "
        f"{counted(answer.before, 'visit')}"
    )
    if study.wanted is None:
        return (
            f"A study of {study.animals} animals per arm would distinguish {what} with probability "
            f"{_share(study.power)} ({how}; simulated, standard error "
            f"{_share(study.power_error)}). By the usual formula, on each animal's plain change "
            f"(SD {number(formula.sd, 0)} {unit}), with probability {_share(formula.power)}."
        )
    low, high = study.animals_range
    return (
        f"To distinguish {what} with probability {percent(study.wanted)} a study needs "
        f"{study.animals} animals per arm ({how}; simulated, {low} to {high} with the error of the "
        f"simulation). By the usual formula, on each animal's plain change (SD "
        f"{number(formula.sd, 0)} {unit}), it needs {formula.animals}."
    )


def _now(answer: FurtherAnswer) -> str:
    who = f"{answer.name} ({answer.animal})" if answer.name else answer.animal
    return (
        f"{who}, by {TAKEN_BY[answer.method]}, {CONDITION_WORDS[answer.condition]}: the usual "
        f"{QUANTITY_WORDS[answer.quantity]} is known to within ±{up(answer.now)} "
        f"{answer.unit} ({percent(answer.level)}) on {day(answer.latest)}, from "
        f"{counted(answer.sessions, 'session')}."
    )


def _further(answer: FurtherAnswer) -> str:
    seen = visits_of(answer.visits, answer.every_days, "further ")
    return (
        f"After {seen} of {counted(answer.readings, 'reading')} it would be known to within "
        f"{_within(answer, answer.usual)} on the day of the last."
    )


def _fewest_further(answer: FurtherAnswer) -> str:
    wanted = f"±{number(answer.within, 0)} {answer.unit}"
    if answer.fewest_visits == 0:
        return f"It is known to {wanted} already."
    if answer.fewest_visits is None:
        many = visits_of(answer.most_visits, answer.every_days)
        return f"{wanted} is out of reach of {many}: the usual value itself wanders."
    seen = visits_of(answer.fewest_visits, answer.every_days, "further ")
    are = "is" if answer.fewest_visits == 1 else "are"
    return f"For {wanted}, {seen} {are} enough."


def _spell(answer: FurtherAnswer, spell: SpellPrecision) -> str:
    name = f"{capital(spell.drug)} from {day(spell.started_on)}"
    if not spell.knowable:
        return f"{name}: no visit lies before it, and further visits cannot make up for that."
    return (
        f"{name}: its full effect would be known to within {_within(answer, spell.effect)} (SD "
        f"{number(spell.effect.sd, 0)}; now {number(spell.effect.sd_before, 0)})."
    )


def _open(answer: FurtherAnswer, question: OpenQuestion) -> str:
    """Return a question that is open today, and how likely the visits settle it."""
    unit = answer.unit
    if question.question == "target":
        what = f"the usual pressure lies at or below {number(question.value, 0)} {unit}"
    elif question.question == "drug" and question.started_on is not None:
        what = (
            f"{question.drug} from {day(question.started_on)} has lowered it by 10 {unit} or more"
        )
    else:
        what = f"it rises by more than 1 {unit} a month"
    return " ".join([f"Whether {what} is open today.", *settle_words([question.settle])])


def _within(answer: PlanAnswer | FurtherAnswer, reach: Precision) -> str:
    return f"±{up(reach.half_width)} {answer.unit}"


def _share(value: float) -> str:
    return f"{100 * value:.1f} %" if value < 0.1 else probability(value)


def _counting(readings: int) -> str:
    if readings < 3:
        return "Readings are those that count."
    return (
        "Readings are those that count: under the rule guideline the first of four or more is "
        f"left out, so that {counted(readings, 'reading')} take {readings + 1}."
    )
