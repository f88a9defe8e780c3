"""What two methods against each other come to, in sentences that say how sure they are."""

from __future__ import annotations

from bpvet.answers.statement import Statement
from bpvet.facts.measuring import judged
from bpvet.facts.sources import fact, marked
from bpvet.maths.estimate import Estimate
from bpvet.models.agreement.device import (
    MET,
    NO_REFERENCE,
    NOT_ASSESSABLE,
    NOT_MET,
    CriterionResult,
)
from bpvet.models.agreement.result import Agreement
from bpvet.printing import number, probability
from bpvet.wording.en.phrases import capital, counted, interval, listed, percent

#: Fewer animals than this say little about animals in general.
FEW_ANIMALS = int(judged("agreement.few_animals"))
#: A proportional bias is told when its p is below this.
_TOLD = judged("agreement.told")
_NOT_SHARED = (
    "A trend that is given d0 and s_d uses them as the prior of the difference between the "
    "methods. It does not use the shared visit noise: it takes the noise of each session as "
    "separate, so two methods at one visit count for somewhat more than they should."
)
#: Limits that reach further than this: not interchangeable reading by reading, mmHg.
APART = judged("agreement.apart")


def agreement_statements(agree: Agreement) -> tuple[Statement, ...]:
    """Return what is told by topic, most useful first; what has nothing to say is left out."""
    shared = agree.offset.shared_visit_share.estimate
    statements = (
        Statement("answers.interchangeable", can_be_read_as_one(agree)),
        Statement("answers.bias", bias(agree)),
        Statement("answers.limits", limits(agree)),
        Statement("answers.shares", shares(agree)),
        Statement("answers.proportional", proportional(agree)),
        Statement("answers.repeatability", repeatability(agree)),
        Statement("criteria.devices", criteria(agree)),
        Statement("bridged.offset", bridged(agree)),
        Statement("bridged.not_shared", _NOT_SHARED if shared else ""),
        Statement("basis.pairs", basis(agree)),
        *(Statement("basis.note", note) for note in agree.notes),
    )
    return tuple(statement for statement in statements if statement.text)


def can_be_read_as_one(agree: Agreement) -> str:
    """Whether one method may stand for the other."""
    reach = max(abs(_value(agree.lower)), abs(_value(agree.upper)))
    unit = agree.data.unit
    return (
        f"{_names(agree)} are not interchangeable reading by reading: in 95 % of cases they "
        f"differ by up to {number(reach, 0)} {unit}. Whether that matters is for the vet to judge; "
        "follow each animal by one method."
        if reach > APART
        else f"{_names(agree)} lie within {number(reach, 0)} {unit} of each other in 95 % of "
        "cases in these data. Whether that is close enough is for the vet to judge."
    )


def bias(agree: Agreement) -> str:
    """Which method reads higher on average, and how surely."""
    estimate = agree.bias
    first, second = agree.data.labels
    size, unit = abs(_value(estimate)), agree.data.unit
    if estimate.lower is None or estimate.upper is None:
        return ""
    where = _interval(agree, estimate)
    if estimate.lower <= 0 <= estimate.upper:
        return (
            f"It is not clear which reads higher on average: {second} minus {first} is "
            f"{number(estimate.estimate, 0)} {unit} ({where})."
        )
    side = "higher" if _value(estimate) > 0 else "lower"
    return (
        f"{capital(second)} readings are on average {number(size, 0)} {unit} {side} than {first} "
        f"({second} minus {first}: {where})."
    )


def limits(agree: Agreement) -> str:
    """Where a single reading by one method lies beside one by the other."""
    first, second = agree.data.labels
    better = agree.limits(intervals="better")
    named = [
        f"{name} limit {number(limit.estimate, 0)} ({_interval(agree, ends)})"
        for name, limit, ends in zip(
            ("lower", "upper"), (agree.lower, agree.upper), better, strict=True
        )
    ]
    how = better[0].how
    return (
        f"The limits of agreement for single readings, {second} minus {first}, in "
        f"{agree.data.unit}: {listed(named)}; these intervals are {how}."
    )


def shares(agree: Agreement) -> str:
    """How many differences are small."""
    unit = agree.data.unit
    parts = [
        f"{share.count} of {share.n} lie within {reach} {unit} (single readings: "
        f"{probability(share.single.estimate)} expected{_shares_from(share.single)})"
        for reach, share in agree.within.items()
    ]
    return f"Of the {agree.data.points_are}, {listed(parts)}."


def proportional(agree: Agreement) -> str:
    """Whether the difference goes with the size of what is measured."""
    found = agree.proportional
    if found.p is None or found.slope.lower is None or found.slope.upper is None:
        return ""
    unit = agree.data.unit
    rise = number(10 * _value(found.slope))
    ends = f"{number(10 * found.slope.lower)} to {number(10 * found.slope.upper)}"
    if found.p >= _TOLD:
        return (
            f"The difference does not clearly change with the level: {rise} {unit} for each 10 "
            f"{unit} ({percent(agree.level)} interval {ends}); with few animals this is only weak "
            "evidence that it does not."
        )
    return (
        f"The difference changes with the level: {rise} {unit} for each 10 {unit} of the mean "
        f"({percent(agree.level)} interval {ends}), so no one bias holds at all levels."
    )


def repeatability(agree: Agreement) -> str:
    """How far two readings of one method lie apart."""
    parts = []
    for name, label in zip(agree.methods, agree.data.labels, strict=True):
        estimate = agree.repeatability[name]
        if estimate.estimate is not None:
            parts.append(f"{number(estimate.estimate, 0)} {agree.data.unit} by {label}")
    if not parts:
        return "How well each method repeats itself is not known: no reading was repeated."
    return (
        "In 95 % of cases two readings of one animal by one method at one visit are less than "
        f"{listed(parts)} apart. The two methods cannot agree better than that."
    )


_VERDICTS = {MET: "met", NOT_MET: "not met", NOT_ASSESSABLE: "not assessable"}


def criteria(agree: Agreement) -> str:
    """The guideline's criteria for devices, met or not, and what that is worth."""
    if not agree.criteria:
        return "The guideline's criteria for devices are in mmHg and are not applied here."
    verdicts = []
    for verdict in (MET, NOT_MET, NOT_ASSESSABLE):
        named = [_item(result) for result in agree.criteria if result.verdict == verdict]
        if named:
            verdicts.append(f"{_VERDICTS[verdict]}: {'; '.join(named)}")
    first = "The guideline's criteria for devices. "
    worth = (
        f"This is not a validation: {NO_REFERENCE}."
        if agree.reference is None
        else "Acceptance also needs a published study."
    )
    return f"{first}{'. '.join(capital(text) for text in verdicts)}. {worth}"


def _item(result: CriterionResult) -> str:
    criterion = fact(result.fact_id)
    share = " %" if criterion.unit == "%" else ""
    name = criterion.statistic or criterion.text
    if result.bound is not None:
        name = f"{name} {result.bound:g}{share}"
    name = marked(name, result.remembered)
    if result.verdict == NOT_ASSESSABLE:
        return f"{name} ({result.reason})"
    digits = 2 if result.key == "r" else 1
    sure = "" if result.settled is not False else ", its interval crosses the bound"
    return f"{name} ({number(result.value.estimate, digits)}{share}{sure})"


def bridged(agree: Agreement) -> str:
    """What a trend that joins the methods may take from here."""
    found, unit = agree.offset, agree.data.unit
    most = "" if found.s_d_is == "estimated" else "at most "
    sentence = (
        f"A trend that joins the methods can use from here: mean difference d0 "
        f"{number(found.d0, 1)} {unit} (standard error {number(found.d0_se, 1)}), SD of an "
        f"animal's own difference s_d {most}{number(found.s_d.estimate, 1)} {unit}; for an animal "
        f"not in these data, both together {number(found.sd_of_new, 1)} {unit}."
    )
    share = found.shared_visit_share
    if share.estimate is None:
        return f"{sentence} The visit noise that both share cannot be estimated: {found.reason}."
    shared = f"{probability(share.estimate)}{_shares_from(share)}"
    return f"{sentence} Visit noise shared by both: {shared}."


def basis(agree: Agreement) -> str:
    """What it rests on."""
    data = agree.data
    animals = len(data.animals)
    text = (
        f"This is based on {data.first.size} {data.points_are} of {counted(animals, 'animal')} "
        f"({data.source})."
    )
    if animals < FEW_ANIMALS:
        text += " So few animals say little about animals in general."
    return text


def _shares_from(e: Estimate) -> str:
    if e.lower is None or e.upper is None:
        return ""
    return f", {probability(e.lower)} to {probability(e.upper)}"


def _names(agree: Agreement) -> str:
    return capital(listed(agree.data.labels))


def _value(e: Estimate) -> float:
    return float(e.estimate or 0.0)


def _interval(agree: Agreement, e: Estimate) -> str:
    if e.lower is None or e.upper is None:
        return f"no interval: {e.reason}"
    return interval(agree.level, e.lower, e.upper)
