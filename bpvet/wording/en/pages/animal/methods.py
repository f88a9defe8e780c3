"""What an animal's report rests on: its choices, its priors, and each figure with its source."""

from __future__ import annotations

import math
from collections.abc import Iterator

from bpvet.answers.trend.result import TrendAnswer
from bpvet.facts.categories import guideline
from bpvet.facts.cautions import cautions as all_cautions
from bpvet.facts.drugs import drug
from bpvet.facts.recheck import rows as recheck_rows
from bpvet.facts.sources import Fact, fact
from bpvet.facts.words import CONDITION_WORDS, LAB_QUANTITIES, METHOD_WORDS, QUANTITY_WORDS
from bpvet.printing import number, probability
from bpvet.wording.en.pages.shapes import Column, Table
from bpvet.wording.en.phrases import CONTEXTS, capital, day, percent


def choices(answer: TrendAnswer) -> Table:
    """Return the choices behind an animal's report."""
    heads = (Column("Choice"), Column("Used"))
    return Table("Choices behind this report", heads, list(_choices(answer)), wide=False)


def priors_table(answer: TrendAnswer) -> Table:
    """Return the priors behind an animal's report, and the noise that was found."""
    return Table("Priors, and the noise found", _PRIOR_COLUMNS, list(_priors(answer)))


def _choices(answer: TrendAnswer) -> Iterator[tuple[str, str]]:
    chosen = guideline(answer.guideline)
    yield (
        "Series",
        (
            f"{QUANTITY_WORDS[answer.quantity]}, {METHOD_WORDS[answer.method]}, "
            f"{CONDITION_WORDS[answer.condition]}"
        ),
    )
    if answer.bridged:
        yield "Joined", ", ".join(answer.bridges)
    yield "Which readings count", f"rule “{answer.rule}”"
    yield "Guideline", f"{answer.guideline_name} ({chosen.key})"
    yield "Intervals", percent(answer.level)
    yield "As of", day(answer.as_of)
    yield "Fingerprint of the records", answer.data_digest
    yield "Version of bpvet", answer.version


_PRIOR_COLUMNS = (
    Column("Of"),
    Column("Prior centre", True),
    Column("Prior SD", True),
    Column("Found", True),
    Column("Unit"),
)


def _priors(answer: TrendAnswer) -> Iterator[tuple[str, ...]]:
    priors, noise = answer.priors, answer.noise
    # Of laboratory values the logarithm is modelled, and has no unit.
    labs = answer.quantity in LAB_QUANTITIES
    unit, digits = ("of the logarithm", 2) if labs else (answer.unit, 1)
    centred = [
        *_level_and_effect(answer),
        ("Change apart from drugs, 30 days", (0.0, priors.slope_sd)),
        ("Effect of a change of dose", (0.0, priors.increment_sd)),
    ]
    if priors.first_visit is not None:
        centred.append(("First-visit excitement", priors.first_visit))
    for change in answer.recorded_changes:
        kind = capital(CONTEXTS.get(change.what, change.what))
        what = f"{kind}, “{change.latest}” minus “{change.other}”"
        centred.append((what, change.prior))
    for of, (centre, sd) in centred:
        yield (of, number(centre, digits), number(sd, digits), "", unit)
    spread = [
        ("SD between visits", priors.sv, noise.sv),
        ("SD between readings", priors.sr, noise.sr),
        ("SD of slow wander", priors.sw, noise.sw),
    ]
    if labs:
        del spread[1]  # a value stands alone
    for of, prior, found in spread:
        factor = f"× or ÷ {number(math.exp(prior[1]), 2)}"
        yield (of, number(prior[0], digits), factor, number(found, digits), unit)
    yield ("Time constant of slow wander", number(priors.wander_days, 0), "", "", "days")
    for name, days in priors.tau_days.items():
        yield (f"Time constant of {name}", number(days, 0), "", "", "days")


def _level_and_effect(answer: TrendAnswer) -> list[tuple[str, tuple[float, float]]]:
    """Return centre and SD of level and effect; of a treated animal, those of each group."""
    priors = answer.priors
    if not priors.groups:
        effect = ("Full effect of a drug", (0.0, priors.effect_sd))
        return [("Level without a drug", priors.level), effect]
    found = []
    for group in priors.groups:
        share = f"{probability(group.weight)} of treated animals"
        found.append((f"Level without a drug, {share}", group.level))
        if group.under_drug is None:
            found.append((f"Full effect of a drug, {share}", (0.0, float(group.effect_sd or 0.0))))
        else:
            found.append((f"Pressure under a drug, {share}", group.under_drug))
    return found


def animal_facts(answer: TrendAnswer) -> Iterator[tuple[str, Fact]]:
    """Yield what each figure behind the answer is of, and the figure, in the order of use."""
    chosen = guideline(answer.guideline)
    if answer.quantity == "systolic":
        yield _of("raised range", chosen.raised.fact)
        yield _of("target", chosen.target.fact)
        yield _of("floor", chosen.floor.fact)
        for category in guideline(chosen.categories_from).categories:
            yield f"Category, {category.name}", fact(category.fact_id)
        if answer.recheck.row is not None:
            for window in recheck_rows()[answer.recheck.row].windows.values():
                if window.fact is not None:
                    yield _of("when again", window.fact)
    for line in answer.urgent:
        if line.fact:
            yield _of("urgent", fact(line.fact))
    if answer.rule == "guideline":
        yield _of("first reading", fact("protocol.discard_first.from"))
    yield _of("readings, minimum", fact("protocol.n.minimum"))
    yield _of("readings, enough", fact("protocol.n.enough"))
    for course in answer.courses:
        known = drug(course.drug)
        if known is not None:
            yield f"Time constant of {known.name}", fact(known.fact_id)
    for caution in all_cautions():
        if caution.text in answer.cautions:
            yield from (_of("caution", found) for found in caution.facts)


def _of(use: str, found: Fact) -> tuple[str, Fact]:
    """Return what a figure is used for and what it is of, and the figure."""
    return (f"{capital(use)}, {found.statistic}" if found.statistic else capital(use)), found
