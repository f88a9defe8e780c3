"""Stage, protein in the urine and organ damage in sentences.

A stage is called one only where kidney disease is recorded; else the sentence is conditional. What
withholds a verdict elsewhere withholds the substage by pressure here too: that is the caller's.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from bpvet.answers.statement import Statement
from bpvet.facts.analytes import decimals
from bpvet.facts.sources import credit, fact
from bpvet.facts.species import plural_of
from bpvet.facts.words import QUANTITY_WORDS
from bpvet.models.kidney.rate import Rate
from bpvet.models.kidney.result import DamageStatus, Kidney, MarkerStage, Usual
from bpvet.printing import number, probability
from bpvet.wording.en.phrases import capital, chance, counted, day, interval, listed

#: Probabilities from here on are named.
_SHOWN = 0.01
#: Months from which a doubling is not told as a time.
_NEVER = 600


def kidney_stage_statements(found: Kidney, *, quiet: bool = False) -> tuple[Statement, ...]:
    """Return what is told of stage, protein in the urine, pressure and organ damage.

    Parameters
    ----------
    found : Kidney
    quiet : bool
        Whether something urgent withholds the verdicts on pressure.
    """
    return (
        *_stage(found),
        *_rates(found),
        *_protein(found),
        *_ratio(found),
        *_pressure(found, quiet=quiet),
    )


def stage_in_short(found: Kidney) -> str:
    """Return the stage in a few words for a tile; blank where none is given."""
    if not found.combined:
        return ""
    p = probability(found.combined[found.stage])
    return (
        capital(found.stage) + f": {p}" if found.diagnosed else f"If diagnosed, {found.stage}: {p}"
    )


def _stage(found: Kidney) -> Iterator[Statement]:
    counted = [marker for marker in found.markers if marker.withheld is None]
    if found.combined is None:
        yield from _no_stage(found)
        return
    lies = f"{_shares(found.combined)} by the {_credited(counted)}"
    if found.diagnosis is not None:
        named = f"“{found.diagnosis.text}”, {day(found.diagnosis.on)}"
        first = f"Kidney disease is recorded ({named}); its values lie in {lies}."
    else:
        first = f"{_open(found)}If kidney disease is diagnosed, these values would lie in {lies}."
    parts = [first, *(f"{capital(_usual(marker, found.level))}." for marker in counted)]
    if found.disagree:
        pointed = [
            f"{QUANTITY_WORDS[marker.marker]} points to {marker.likeliest}" for marker in counted
        ]
        parts.append(f"{capital(listed(pointed))}: the higher counts.")
    parts += _beside(found, counted)
    yield Statement("kidney.stage", " ".join(parts))


def _credited(counted: list[MarkerStage]) -> str:
    """Return whose bounds they are; marked where those of either marker are from memory."""
    return max((marker.printed_by for marker in counted), key=len)


def _no_stage(found: Kidney) -> Iterator[Statement]:
    """Say why no stage is given where kidney disease is recorded; else nobody asked for one."""
    if found.diagnosis is not None:
        named = f"“{found.diagnosis.text}”, {day(found.diagnosis.on)}"
        text = f"Kidney disease is recorded ({named}). No stage is given: {found.withheld}."
        yield Statement("kidney.no_stage", text)
    elif found.undecided:
        text = f"{_open(found)}No stage is given: {found.withheld}."
        yield Statement("kidney.no_stage", text)


def _open(found: Kidney) -> str:
    """Say that the records leave the diagnosis open; blank where nothing is recorded of it."""
    if not found.undecided:
        return ""
    named = listed([f"“{sign.text}” ({day(sign.on)})" for sign in found.undecided[:3]])
    verb = "is" if len(found.undecided[:3]) == 1 else "are"
    return f"Whether chronic kidney disease is diagnosed is not known; {named} {verb} recorded. "


def _usual(mark: MarkerStage, level: float) -> str:
    assert mark.usual is not None  # of every marker that is told
    text = (
        f"the usual {QUANTITY_WORDS[mark.marker]} is "
        f"{_value(mark.usual, mark.marker, mark.unit, level)}, from "
        f"{counted(mark.values, 'value')}, the newest of {day(mark.usual.date)}"
    )
    if len(mark.units) > 1:
        text += f"; they were given in {listed(mark.units)}, and joined by the standard factor"
    if mark.apart is not None:
        first, second = mark.apart
        text += (
            f"; on {day(first.date)} two values are given, {first.value:g} {first.unit} and "
            f"{second.value:g} {second.unit}, and both count"
        )
    if mark.between_ranges is not None:
        text += (
            f"; {mark.between_ranges:g} {mark.unit} lies between two printed ranges, and the lower "
            "stage is taken for it"
        )
    return text


def _value(usual: Usual, marker: str, unit: str, level: float) -> str:
    digits = decimals(marker, unit)
    shown = number(usual.estimate, digits)
    unit = "" if unit == "ratio" else f" {unit}"
    return f"{shown}{unit} ({interval(level, usual.lower, usual.upper, digits)})"


def _beside(found: Kidney, counted_markers: list[MarkerStage]) -> Iterator[str]:
    apart = [
        f"{QUANTITY_WORDS[marker.marker]} is not counted ({marker.withheld})"
        for marker in found.markers
        if marker.withheld is not None
    ]
    if apart:
        yield f"{capital(listed(apart))}."
    if found.dehydrated is not None:
        yield (
            f"“{found.dehydrated.text}” was noted on {day(found.dehydrated.on)}: values may read "
            "high for want of water."
        )
    if found.left is not None:
        yield (
            f"The newest values are dated after {day(found.left.on)}, the day on which the animal "
            "left: one of the dates is wrong."
        )
    words = {"fasting": "the samples were fasting", "hydrated": "the animal was well hydrated"}
    missing = [text for name, text in words.items() if name in found.missing]
    if missing and counted_markers:
        yield f"Whether {listed(missing)} is not recorded."


def _rates(found: Kidney) -> Iterator[Statement]:
    """Say that a marker rises, where that is sure, and how soon it would double."""
    sure = float(fact("project.verdict.sure").value or 1)
    for marker in found.markers:
        rate = marker.rate
        if marker.withheld is not None or rate is None or rate.p_rising < sure:
            continue
        yield Statement(
            "kidney.rate",
            f"The usual {QUANTITY_WORDS[marker.marker]} is rising, apart from treatment "
            f"({chance(rate.p_rising)}): by "
            f"{number(rate.percent, 1)} % a month "
            f"({interval(found.level, rate.lower, rate.upper, 1)}). {doubling_words(rate)}",
        )


def doubling_words(rate: Rate) -> str:
    """Return in which time a value doubles at its rate; the later end may be never."""
    middle, soonest, latest = rate.doubling
    if not math.isfinite(middle):
        return ""
    ends = f"{number(soonest, 0)} to {number(latest, 0)}"
    if latest >= _NEVER:
        ends = f"{number(soonest, 0)} or more"
    return f"At that rate it doubles in {number(middle, 0)} months ({ends})."


def _ratio(found: Kidney) -> Iterator[Statement]:
    """Say that a change of the urine ratio is no more than it does from day to day."""
    change = found.proteinuria.change
    if change is None or not change.within or change.after.value == change.before.value:
        return
    moved = "lower" if change.percent < 0 else "higher"
    of = fact("kidney.upc.day_to_day.low").species
    measured = "" if found.species == of else f"; measured in {plural_of(of)}"
    yield Statement(
        "kidney.ratio",
        f"The newest urine protein to creatinine ratio, {change.after.value:g} "
        f"({day(change.after.date)}), is {number(abs(change.percent), 0)} % {moved} than the one "
        f"before, {change.before.value:g}: within day-to-day variation, which near there reaches "
        f"{number(change.needed, 0)} % ({credit(fact('kidney.upc.day_to_day.low'))}{measured}).",
    )


def _protein(found: Kidney) -> Iterator[Statement]:
    protein = found.proteinuria
    if protein.newest is None:
        return
    if protein.probability is None:
        if protein.urine is not None or found.diagnosed:
            text = f"No substage by protein in the urine is given: {protein.withheld}."
            yield Statement("kidney.no_protein", text)
        return
    assert protein.usual is not None
    assert protein.geometric_mean is not None
    yield Statement(
        "kidney.upc",
        f"Protein in the urine: {_shares(protein.probability)} by the {protein.printed_by}. The "
        "usual protein to creatinine ratio is "
        f"{_value(protein.usual, 'upc', 'ratio', found.level)}; the geometric mean of the newest "
        f"{counted(protein.samples, 'sample')}, over {protein.days} days, is "
        f"{number(protein.geometric_mean, 2)}.",
    )


def _pressure(found: Kidney, *, quiet: bool) -> Iterator[Statement]:
    if not found.diagnosed:
        return
    substage, damage = found.pressure, _damage(found)
    if substage.probability is None or quiet:
        yield Statement("kidney.damage", f"{capital(damage)}.")
        return
    assert substage.date is not None
    yield Statement(
        "kidney.pressure",
        f"By its usual pressure on {day(substage.date)} the substage is "
        f"{_shares(substage.probability)} by the {substage.printed_by}. {capital(damage)}.",
    )


def _damage(found: Kidney) -> str:
    damage = found.damage
    if damage.status is DamageStatus.NOT_LOOKED_FOR:
        return "organ damage: no examination of the eyes is recorded"
    assert damage.on is not None
    if damage.status is DamageStatus.NONE_FOUND:
        return f"organ damage: none found when the eyes were looked at on {day(damage.on)}"
    named = listed([f"“{text}”" for text in damage.signs[:4]])
    what = "may be" if damage.status is DamageStatus.PRESENT else "is not clear, see"
    return f"organ damage {what}: {named} (newest {day(damage.on)})"


def _shares(table: Mapping[str, float]) -> str:
    """Return the likely names with their probabilities, the likeliest first.

    Where none reaches the probability from which something is said, "or" stands between them.
    """
    # Of equal ones the later is the worse, and stands first.
    order = list(table)
    ranked = sorted(table.items(), key=lambda pair: (-pair[1], -order.index(pair[0])))
    shown = [pair for pair in ranked if pair[1] >= _SHOWN]
    name, p = shown[0]
    if p >= float(fact("project.verdict.sure").value or 1):
        rest = "".join(f"; {stage} {probability(q)}" for stage, q in shown[1:])
        return f"{name} ({probability(p)}{rest})"
    words = [f"{stage} ({probability(q)})" for stage, q in shown]
    return " or ".join(words)
