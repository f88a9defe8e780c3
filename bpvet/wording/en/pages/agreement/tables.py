"""The tables of an agreement's page: numbers, animals, criteria, and what a trend may take."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from bpvet.answers.agreement.agreement import AgreementAnswer
from bpvet.facts.measuring import judgements
from bpvet.facts.sources import Fact, fact, marked
from bpvet.maths.estimate import Estimate
from bpvet.models.agreement.device import CriterionResult
from bpvet.models.agreement.result import Agreement
from bpvet.models.agreement.tables import statistics_of
from bpvet.printing import number, probability
from bpvet.wording.en.pages.cells import ESTIMATE, ends, with_level
from bpvet.wording.en.pages.shapes import Column, Table
from bpvet.wording.en.phrases import capital

#: Where a reader finds what such a page does not hold.
AUDIT_SAYS = (
    "How readings differ by place (home against clinic, calmed against awake) is in the report on "
    "the quality of measuring: bpvet audit."
)


def statistics_table(answer: AgreementAnswer) -> Table:
    """Return every statistic with its interval, and how the interval was made."""
    agree = answer.agreement
    rows = []
    for name, value, unit in _statistics(agree):
        digits = 1 if unit else 3
        rows.append((name, *ends(value, digits), unit, value.how or value.reason or ""))
    columns = (Column("Statistic"), *ESTIMATE, Column("Unit"), Column("Interval"))
    caption = with_level(agree.level, "Bias, limits of agreement, lines and the rest")
    return Table(caption, columns, rows)


def _statistics(agree: Agreement) -> Iterator[tuple[str, Estimate, str]]:
    yield from statistics_of(agree)
    for name, label in zip(agree.methods, agree.data.labels, strict=True):
        yield f"SD of repeated readings, {label}", agree.reading_sd[name], agree.data.unit
    yield "SD of the points' differences", agree.point_sd, agree.data.unit
    yield "product-moment correlation", agree.correlation, ""


def components_table(agree: Agreement) -> Table | None:
    """Return the variance components; None where no model was fitted."""
    fit = agree.fit
    if fit is None:
        return None
    rows = []
    for i, term in enumerate(fit.terms):
        name = term.replace("first", agree.data.labels[0]).replace("second", agree.data.labels[1])
        at_zero = "estimated at zero" if term in fit.at_zero else ""
        variance = float(fit.variance[i])
        rows.append((name, number(variance, 1), number(float(np.sqrt(variance)), 1), at_zero))
    unit = agree.data.unit
    columns = (
        Column("Component"),
        Column(f"Variance, {unit}²", number=True),
        Column(f"SD, {unit}", number=True),
        Column("Note"),
    )
    return Table("Variance components", columns, rows)


def plain_figures(agree: Agreement) -> tuple[str, ...]:
    """Return what simpler sums say, a sentence each."""
    sums = agree.by_sums
    slope = agree.proportional
    parts = []
    if sums is not None:
        bias, lower, upper = (number(figure) for figure in sums)
        parts.append(
            f"By Bland and Altman's sums, as a companion: bias {bias}, limits {lower} to {upper} "
            f"{agree.data.unit}."
        )
    if slope.p is not None:
        parts.append(f"Difference on mean: p {number(slope.p, 3)}, {slope.n} animals.")
    return tuple(parts)


def animals_table(answer: AgreementAnswer) -> Table:
    """Return the animals by both methods, in the order of the records."""
    agree = answer.agreement
    data = agree.data
    first, second = data.animal_means()
    visits = np.bincount(data.point_animal)
    rows = [
        (name, str(count), number(left), number(right), number(right - left))
        for name, count, left, right in zip(data.animals, visits, first, second, strict=True)
    ]
    unit = data.unit
    columns = (
        Column("Animal"),
        Column("Points", number=True),
        *(Column(f"{capital(label)}, {unit}", number=True) for label in data.labels),
        Column(f"Difference, {unit}", number=True),
    )
    caption = f"Each animal's mean by both methods (points are {data.points_are})"
    return Table(caption, columns, rows)


def criteria_table(answer: AgreementAnswer) -> Table | None:
    """Return the guideline's criteria, item by item; None where none is asked."""
    found = answer.agreement.criteria
    if not found:
        return None
    columns = (
        Column("Criterion"),
        Column("Bound", number=True),
        Column("Found", number=True),
        Column("Verdict"),
        Column("How surely"),
    )
    caption = "The guideline's criteria for devices, each as met, not met or not assessable"
    return Table(caption, columns, [_criterion(result) for result in found])


def _criterion(result: CriterionResult) -> tuple[str, str, str, str, str]:
    digits = 2 if result.key == "r" else 1
    bound = "" if result.bound is None else f"{result.bound:g}"
    sure = {True: "its whole interval", False: "its interval crosses the bound", None: ""}
    shown = number(result.value.estimate, digits)
    how = result.reason or sure[result.settled]
    return marked(result.words, result.remembered), bound, shown, result.verdict, how


def offset_table(answer: AgreementAnswer) -> Table:
    """Return what a trend that joins both methods may take from here."""
    agree = answer.agreement
    found, unit = agree.offset, agree.data.unit
    share = found.shared_visit_share
    shared = probability(share.estimate) if share.estimate is not None else "–"
    if share.lower is not None and share.upper is not None:
        shared += f" ({probability(share.lower)} to {probability(share.upper)})"
    given = "as the mean of the prior of the difference"
    rows = [
        ("d0: mean difference", number(found.d0), unit, given),
        ("its standard error", number(found.d0_se), unit, "with s_d, in the SD of that prior"),
        (
            f"s_d: SD of an animal's own difference ({found.s_d_is})",
            number(found.s_d.estimate),
            unit,
            "with d0's error, in the SD of that prior",
        ),
        ("both together, for a new animal", number(found.sd_of_new), unit, "as the SD of it"),
        ("visit noise shared by both methods", shared, "", found.reason or "not used by a trend"),
    ]
    columns = (Column("Figure"), Column("Value", number=True), Column("Unit"), Column("Handed on"))
    caption = "What a trend that joins both methods can be given"
    how = (
        "It is handed on only on request: Priors(…, method_offset=agree.offset.prior()), and "
        'bpvet.fit_trend(…, bridge=("methods",), priors=…).'
    )
    return Table(caption, columns, rows, notes=(how,))


def choices(answer: AgreementAnswer) -> Table:
    """Return the choices behind an agreement."""
    agree = answer.agreement
    rows = [
        ("Difference", f"{agree.data.labels[1]} minus {agree.data.labels[0]}"),
        ("Replicates", "linked" if agree.linked else "unlinked"),
        ("Level of the intervals", f"{100 * agree.level:g} %"),
        ("Reference", agree.reference or "none"),
        ("Version", answer.version),
        ("Fingerprint of the records", agree.data.digest[:16]),
    ]
    return Table("Choices", (Column("Choice"), Column("Used")), rows, notes=(AUDIT_SAYS,))


def agreement_facts(agree: Agreement) -> Iterator[tuple[str, Fact]]:
    """Yield what each figure behind an agreement is of, and the figure."""
    for result in agree.criteria:
        yield f"Criterion, {result.words}", fact(result.fact_id)
    yield from judgements("agreement")
