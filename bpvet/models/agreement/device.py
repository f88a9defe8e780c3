"""The guideline's criteria for devices, item by item, and what figures cannot say of them."""

from __future__ import annotations

from collections.abc import Mapping

from bpvet.facts.devices import DeviceCriterion, device_criteria
from bpvet.frozen import dataclass
from bpvet.maths.agreement.comparison import estimated
from bpvet.maths.estimate import Estimate
from bpvet.reasons import reason

MET, NOT_MET, NOT_ASSESSABLE = "met", "not met", "not assessable"
NO_REFERENCE = reason("agreement.no_reference")
#: Kinds of reference, and the criterion of numbers that goes with each.
REFERENCES = {"direct": "n.direct", "indirect": "n.indirect"}


@dataclass(frozen=True)
class CriterionResult:
    """One criterion held against the figures.

    Parameters
    ----------
    key, words : str
        The criterion, as in `bpvet.facts.devices.device_criteria`.
    bound : float or None
        Its bound; shares are in per cent.
    value : Estimate
        The figure, in the criterion's unit.
    verdict : str
        ``met``, ``not met`` or ``not assessable``.
    settled : bool or None
        Whether the figure's whole interval lies on the verdict's side; None where that cannot
        be said.
    reason : str or None
        Why it is not assessable.
    fact_id : str
        The fact behind it.
    remembered : bool
        Whether its bound is as remembered, yet to be checked against the paper.
    """

    key: str
    words: str
    bound: float | None
    value: Estimate
    verdict: str
    settled: bool | None
    reason: str | None
    fact_id: str
    remembered: bool


def criteria_results(
    figures: Mapping[str, Estimate], animals: int, reference: str | None
) -> tuple[CriterionResult, ...]:
    """Return every criterion of the guideline.

    Parameters
    ----------
    figures : mapping
        ``bias``, ``sd``, ``r``, ``within10``, ``within20`` (shares in per cent).
    animals : int
        Animals compared.
    reference : str or None
        ``direct`` or ``indirect`` when the first or second method is an accepted reference of
        that kind; None when neither is: the figures are then judged, the numbers of animals
        are not, and nothing of it is a validation.
    """
    return tuple(_result(criterion, figures, animals, reference) for criterion in device_criteria())


def _result(
    criterion: DeviceCriterion, figures: Mapping[str, Estimate], animals: int, reference: str | None
) -> CriterionResult:
    why: str | None = None
    value = figures.get(criterion.key, estimated(None))
    if criterion.key in REFERENCES.values():
        value = estimated(float(animals))
        if reference is None:
            why = NO_REFERENCE
        elif REFERENCES[reference] != criterion.key:
            why = reason("agreement.other_reference", kind=reference)
    elif criterion.bound is None:
        why = reason("agreement.no_figure")
    elif value.estimate is None:
        why = value.reason
    met = None if why or value.estimate is None else criterion.met(value.estimate)
    verdict = NOT_ASSESSABLE if met is None else MET if met else NOT_MET
    return CriterionResult(
        key=criterion.key,
        words=criterion.words,
        bound=criterion.bound,
        value=value,
        verdict=verdict,
        settled=None if met is None else _settled(criterion, value, met),
        reason=why if met is None else None,
        fact_id=criterion.fact.id,
        remembered=criterion.fact.remembered,
    )


def _settled(criterion: DeviceCriterion, value: Estimate, met: bool) -> bool | None:
    """Return whether every value in the interval would get the same verdict."""
    if value.lower is None or value.upper is None or criterion.bound is None:
        return None
    same = criterion.met(value.lower) is met and criterion.met(value.upper) is met
    # A bias may be too far on either side: an interval across zero holds small ones too.
    crosses = value.lower <= 0 <= value.upper and criterion.sense == "at most" and not met
    return same and not crosses
