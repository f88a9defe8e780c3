"""An agreement as a short table, as a frame, and as plain values."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from bpvet.facts.words import QUANTITY_WORDS
from bpvet.maths.agreement.comparison import root, variance_interval
from bpvet.maths.agreement.components import Components
from bpvet.maths.estimate import Estimate, values_of
from bpvet.models.agreement.device import NO_REFERENCE
from bpvet.printing import ShortTable, number
from bpvet.reasons import reason

if TYPE_CHECKING:
    from bpvet.models.agreement.result import Agreement

_COLUMNS = ["statistic", "estimate", "lower", "upper", "unit", "how", "reason"]
_NUMBERS = _COLUMNS[1:4]


def statistics_of(agree: Agreement) -> list[tuple[str, Estimate, str]]:
    """Return each statistic with its name and unit, in the order of the table."""
    unit, better = agree.data.unit, agree.limits(intervals="better")
    rows: list[tuple[str, Estimate, str]] = [
        (
            reason("agreement.bias", second=agree.data.labels[1], first=agree.data.labels[0]),
            agree.bias,
            unit,
        ),
        (reason("agreement.sd"), agree.sd, unit),
        (reason("agreement.lower"), agree.lower, unit),
        (reason("agreement.upper"), agree.upper, unit),
        (reason("agreement.lower_better"), better[0], unit),
        (reason("agreement.upper_better"), better[1], unit),
    ]
    for name, label in zip(agree.methods, agree.data.labels, strict=True):
        rows.append(
            (reason("agreement.repeatability", label=label), agree.repeatability[name], unit)
        )
    rows.append((reason("agreement.concordance"), agree.concordance, ""))
    rows.append((reason("agreement.per_mean"), agree.proportional.slope, ""))
    for reach, share in agree.within.items():
        rows.append(
            (reason("agreement.share_within", reach=reach, unit=unit).rstrip(), share.observed, "")
        )
    for line in (agree.deming(), agree.passing_bablok()):
        rows.append((reason("agreement.slope", line=line.words), line.slope, ""))
        rows.append((reason("agreement.intercept", line=line.words), line.intercept, unit))
    return rows


def table_of(agree: Agreement) -> ShortTable:
    """Return the short table."""
    data = agree.data
    what = QUANTITY_WORDS.get(data.quantity, data.quantity)
    title = reason(
        "agreement.title",
        second=data.labels[1],
        first=data.labels[0],
        what=what,
        animals=len(data.animals),
        points=data.first.size,
        points_are=data.points_are,
    )
    rows = []
    for name, e, unit in statistics_of(agree):
        digits = 1 if unit == "mmHg" else 3
        numbers = (number(figure, digits) for figure in (e.estimate, e.lower, e.upper))
        rows.append((name, *numbers, unit, e.how or (e.reason or "")))
    columns = ("", "estimate", f"{100 * agree.level:g} % from", "to", "unit", "interval")
    last = () if agree.reference else (f"{NO_REFERENCE[0].upper()}{NO_REFERENCE[1:]}.",)
    return ShortTable(title, columns, tuple(rows), (*agree.notes, *last))


def frame_of(agree: Agreement) -> pd.DataFrame:
    """Return one row a statistic, in full precision."""
    rows = [
        (name, e.estimate, e.lower, e.upper, unit, e.how, e.reason or "")
        for name, e, unit in statistics_of(agree)
    ]
    frame = pd.DataFrame(rows, columns=_COLUMNS)
    frame[_NUMBERS] = frame[_NUMBERS].astype(float)
    return frame


def dict_of(agree: Agreement) -> dict[str, Any]:
    """Return plain values for JSON, named as in the library."""
    data, better = agree.data, agree.limits(intervals="better")
    return {
        "methods": list(agree.methods),
        "difference": f"{data.methods[1]} minus {data.methods[0]}",
        "quantity": data.quantity,
        "unit": data.unit,
        "level": agree.level,
        "replicates": "linked" if agree.linked else "unlinked",
        "source": data.source,
        "animals": len(data.animals),
        "points": int(data.first.size),
        "points_are": data.points_are,
        "bias": values_of(agree.bias),
        "sd": values_of(agree.sd),
        "lower": values_of(agree.lower),
        "upper": values_of(agree.upper),
        "lower_better": values_of(better[0]),
        "upper_better": values_of(better[1]),
        "by_sums": None if agree.by_sums is None else list(agree.by_sums),
        "repeatability": {name: values_of(e) for name, e in agree.repeatability.items()},
        "reading_sd": {name: values_of(e) for name, e in agree.reading_sd.items()},
        "concordance": values_of(agree.concordance),
        "correlation": values_of(agree.correlation),
        "proportional": values_of(agree.proportional),
        "within": {str(reach): values_of(share) for reach, share in agree.within.items()},
        "deming": values_of(agree.deming()),
        "passing_bablok": values_of(agree.passing_bablok()),
        "criteria": [values_of(criterion) for criterion in agree.criteria],
        "reference": agree.reference,
        "offset": values_of(agree.offset),
        "variance": {} if agree.fit is None else _variances(agree.fit, agree.level),
        "log_likelihood": _log_likelihood(agree.fit),
        "notes": list(agree.notes),
        "data_digest": data.digest,
    }


def _log_likelihood(fit: Components | None) -> float | None:
    """Return it; None without a fit, or where readings without scatter leave it without a top."""
    if fit is None or any(term.startswith("reading") for term in fit.at_zero):
        return None
    return fit.log_likelihood


def _variances(fit: Components, level: float) -> dict[str, Any]:
    return {
        term: {
            "variance": float(fit.variance[i]),
            "sd": float(np.sqrt(fit.variance[i])),
            "sd_interval": values_of(root(variance_interval(*fit.sum_of({term: 1.0}), level))),
            "at_zero": term in fit.at_zero,
        }
        for i, term in enumerate(fit.terms)
    }
