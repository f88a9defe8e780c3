"""Laboratory values as events, in words: a rise and what it is laid beside, never a verdict."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from bpvet.answers.statement import Statement
from bpvet.answers.trend.recorded import PressureStep
from bpvet.facts.sources import credit, fact
from bpvet.facts.species import plural_of
from bpvet.facts.words import QUANTITY_WORDS
from bpvet.models.kidney.result import Kidney
from bpvet.models.safety.safety import Safety
from bpvet.printing import number
from bpvet.visits.labs.events import (
    AcuteRise,
    KidneyStage,
    MissingKidneyValues,
    PotassiumAlarm,
    WeightLoss,
)
from bpvet.visits.labs.history import Change, LabValue
from bpvet.visits.labs.kidney_reaction import KidneyReaction, Tolerance
from bpvet.visits.seen import Kidneys
from bpvet.wording.en.kidney.stage import kidney_stage_statements
from bpvet.wording.en.phrases import day, drugs_named, listed

_KIND = {"start": "began", "dose": "changed its dose", "product": "changed its product"}


def lab_value(value: LabValue) -> str:
    """Return a value as it was given, with its unit and its bound."""
    sign = {"at least": "> ", "at most": "< "}.get(value.bound, "")
    unit = "" if value.unit in ("", "ratio") else f" {value.unit}"
    return f"{sign}{value.value:g}{unit}"


def potassium_value(alarm: PotassiumAlarm) -> str:
    """Return the potassium as it was given."""
    return lab_value(alarm.value)


def _step(change: Change) -> str:
    least = "at least " if change.at_least else ""
    return f"{least}{change.absolute:+.3g}, {change.percent:+.0f} %"


def _from_to(before: LabValue, after: LabValue) -> str:
    """Return two values, the unit once where it is one."""
    first = lab_value(before)
    if before.unit == after.unit and before.unit not in ("", "ratio"):
        first = first.removesuffix(f" {before.unit}")
    return f"from {first} to {lab_value(after)}"


def rise_of(rise: AcuteRise) -> str:
    """Return a rise as part of a sentence whose subject is the marker."""
    days = rise.change.days
    within = "in one day" if days == 1 else f"in {days} days"
    return (
        f"rose {_from_to(rise.first, rise.second)} ({_step(rise.change)}) {within}, up to "
        f"{day(rise.second.date)}"
    )


def reaction_rise(reaction: KidneyReaction) -> str:
    """Return a kidney reaction as part of a sentence, without what it is laid beside."""
    marker = QUANTITY_WORDS[reaction.after.analyte]
    days = "1 day" if reaction.days == 1 else f"{reaction.days} days"
    return (
        f"{marker} rose {_from_to(reaction.before, reaction.after)} ({_step(reaction.change)}) "
        f"in {days} after {reaction.drug} {_KIND[reaction.kind]}"
    )


def _tolerated(tolerance: Tolerance) -> str:
    unit = " %" if tolerance.unit == "%" else f" {tolerance.unit}"
    least = "less than" if tolerance.strict else "up to"
    return f"{credit(fact(tolerance.fact_id))} tolerates {least} {tolerance.limit:g}{unit}"


def reaction_statement(reaction: KidneyReaction, pressure: str) -> Statement:
    """Return a kidney reaction beside the tolerances, and what pressure did meanwhile.

    Parameters
    ----------
    reaction : KidneyReaction
    pressure : str
        What pressure did, as part of a sentence; blank where it is not known.
    """
    parts = [f"{reaction_rise(reaction)}{f'; {pressure}' if pressure else ''}."]
    parts += [f"The {_tolerated(tolerance)}." for tolerance in reaction.tolerances]
    if reaction.anti_inflammatory:
        drugs = listed(reaction.anti_inflammatory)
        parts.append(f"An anti-inflammatory drug was on then: {drugs}.")
    if reaction.renin:
        parts.append(f"Two drugs of the renin group were on then: {listed(reaction.renin)}.")
    parts.append("The vet decides.")
    text = " ".join(parts)
    named = drugs_named([reaction.drug, *reaction.anti_inflammatory, *reaction.renin])
    return Statement("kidney.reaction", text[:1].upper() + text[1:], tells=named)


def last_kidney_values(missing: MissingKidneyValues | None) -> str:
    """Return since when kidney values are missing, as part of a sentence."""
    if missing is None or missing.last is None:
        return "kidney values are not on record"
    return f"kidney values are not on record since {day(missing.last)}"


def kidney_told(
    found: Safety, staged: Kidney, steps: Mapping[str, PressureStep]
) -> tuple[Statement, ...]:
    """Return what the laboratory values say, with what pressure did meanwhile.

    Parameters
    ----------
    found : Safety
        What comes before any trend: laboratory values, and what is urgent.
    staged : Kidney
        Its stage and substages.
    steps : mapping of str to PressureStep
        What pressure did between two values, by the date of the later one.
    """
    pressure = {on: _meanwhile(step) for on, step in steps.items()}
    return (
        *kidney_statements(found.found.kidneys, pressure, staged),
        *kidney_stage_statements(staged, quiet=found.withheld("verdicts") is not None),
    )


def _meanwhile(step: PressureStep) -> str:
    gap = step.after - step.before
    moved = "fell" if gap < 0 else "rose"
    return (
        f"pressure {moved} by {number(abs(gap), 0)} meanwhile "
        f"({number(step.before, 0)} to {number(step.after, 0)} mmHg)"
    )


def kidney_statements(
    kidneys: Kidneys, pressure: dict[str, str], staged: Kidney
) -> tuple[Statement, ...]:
    """Return what the laboratory values and weights say, apart from what is urgent.

    Parameters
    ----------
    kidneys : Kidneys
    pressure : dict
        What pressure did between two values, by the date of the later one, as part of a sentence.
    staged : Kidney
        What is told already: the newest values alone are told where it gives no stage, or a lower
        one.
    """
    # The bounds are of cats and dogs: none is laid on another species.
    stage = () if staged.species_written else (*_range(kidneys.stage, staged),)
    first, last = (stage, ()) if kidneys.stage.leaps else ((), stage)
    return (
        *first,
        *(
            reaction_statement(reaction, pressure.get(str(reaction.after.date), ""))
            for reaction in kidneys.reactions
            if reaction.is_reaction
        ),
        *_potassium(kidneys.potassium),
        *_weight(kidneys.weight),
        *(() if staged.species_written else _protein(kidneys.protein)),
        *last,
    )


def _potassium(found: PotassiumAlarm | None) -> Iterator[Statement]:
    """Say that a potassium is to be repeated; what is urgent of it is told elsewhere."""
    if found is None or found.level != "repeat":
        return
    bound = fact("kidney.potassium.repeat")
    yield Statement(
        "kidney.potassium",
        f"Potassium was {potassium_value(found)} on {day(found.value.date)}: from {bound.value:g} "
        f"mmol/L on it is repeated ({credit(bound)}). Haemolysis and some breeds raise it falsely.",
    )


def _weight(lost: WeightLoss | None) -> Iterator[Statement]:
    """Say that weight fell, by which creatinine understates the kidneys."""
    if lost is None:
        return
    yield Statement(
        "kidney.weight",
        f"Weight fell by {number(lost.percent, 0)} % ({_from_to(lost.highest, lost.newest)}) "
        f"in {lost.days} days, up to {day(lost.newest.date)}: with less muscle, creatinine "
        "understates the kidneys.",
    )


def _protein(newest_two: tuple[LabValue, LabValue] | None) -> Iterator[Statement]:
    """Say that the two newest ratios of protein, the newer first, lie in the high range."""
    if newest_two is None:
        return
    newer, older = newest_two
    yield Statement(
        "kidney.protein",
        f"The two newest urine protein to creatinine ratios, {lab_value(older)} "
        f"({day(older.date)}) and {lab_value(newer)} ({day(newer.date)}), lie in the "
        "proteinuric range.",
    )


def _range(newest: KidneyStage, staged: Kidney) -> Iterator[Statement]:
    """Say where the newest value alone lies, where it is higher than what is told already."""
    if newest.leaps:
        yield leap_statement(newest, staged.species)
        return
    value = newest.value
    if newest.stage is None or value is None or not staged.is_above(newest.stage):
        return
    named = f"newest {QUANTITY_WORDS[value.analyte]} alone, {lab_value(value)} ({day(value.date)})"
    where = _stage(newest, staged.species)
    yield Statement(
        "kidney.range",
        f"The {named}, lies in the range of {where}."
        if staged.diagnosed
        else f"If kidney disease is diagnosed, the {named}, would lie in {where}.",
    )


def leap_statement(newest: KidneyStage, species: str) -> Statement:
    """Return where a value lies that is far beyond what was known, and where the one before lay.

    Parameters
    ----------
    newest : KidneyStage
        Which `leaps`.
    species : str
        As recorded; may be blank.
    """
    value, before = newest.value, newest.before
    assert value is not None  # what leaps has a value
    earlier = "no earlier one is on record"
    if before is not None:
        earlier = f"the one before, {lab_value(before)} ({day(before.date)}), lay in that of stage "
        earlier += str(newest.before_stage)
    return Statement(
        "kidney.range",
        f"The newest {QUANTITY_WORDS[value.analyte]} alone, {lab_value(value)} "
        f"({day(value.date)}), lies in the range of {_stage(newest, species)}; {earlier}.",
    )


def _stage(newest: KidneyStage, species: str) -> str:
    """Return the stage of the newest value, whose it is, and how sure."""
    sure = "" if newest.confirmed else "; one value, not confirmed"
    blank = f"; the species is not recorded: the bounds of {plural_of('')}"
    return f"stage {newest.stage} ({newest.edition}{sure}{'' if species else blank})"
