"""Reports as tests ask for them: choices and the way of making them as named arguments."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path
from typing import Any

from bpvet.answers.agreement.agreement import AgreementAnswer
from bpvet.answers.audit.audit import AuditAnswer
from bpvet.answers.clinic.cohort import CohortAnswer
from bpvet.answers.trend.result import TrendAnswer
from bpvet.reports.agreement import report as agreement
from bpvet.reports.animal import report as one
from bpvet.reports.audit import report as audit
from bpvet.reports.clinic import report as cohort
from bpvet.reports.way import Way
from bpvet.reports.writing import Written, write_report

_WAYS = {part.name for part in fields(Way)}
Where = str | Path
#: A report of any kind, as it was written.
Made = Written[Any]


def write_animal(path: Where, animal: str, out: Where, **given: Any) -> Written[TrendAnswer]:
    way, choices = _parted(given)
    asked = one.Parameters(animal=animal, **choices)
    return write_report(one.KIND, path, out, asked, way)


def write_cohort(path: Where, out: Where, **given: Any) -> Written[CohortAnswer]:
    way, choices = _parted(given)
    return write_report(cohort.KIND, path, out, cohort.Parameters(**choices), way)


def write_agreement(path: Where, out: Where, **given: Any) -> Written[AgreementAnswer]:
    way, choices = _parted(given)
    return write_report(agreement.KIND, path, out, agreement.Parameters(options=choices), way)


def write_audit(path: Where, out: Where, **given: Any) -> Written[AuditAnswer]:
    way, choices = _parted(given)
    return write_report(audit.KIND, path, out, audit.Parameters(options=choices), way)


def _parted(given: dict[str, Any]) -> tuple[Way, dict[str, Any]]:
    way = Way(**{name: value for name, value in given.items() if name in _WAYS})
    return way, {name: value for name, value in given.items() if name not in _WAYS}
