"""Blood pressure of cats and dogs over months: what the visits say, with its uncertainty.

The front door: names, no work. Each name is loaded from its room when it is first used, so
that the command line starts at once.
"""

from __future__ import annotations

#: Set here, for `typing` is a tenth of the time that the command line takes to start.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from bpvet.answers.agreement.agreement import AgreementAnswer as AgreementAnswer
    from bpvet.answers.audit.audit import AuditAnswer as AuditAnswer
    from bpvet.answers.clinic.cohort import CohortAnswer as CohortAnswer
    from bpvet.answers.clinic.cohort import cohort_answer as cohort_answer
    from bpvet.answers.due.due import Due as Due
    from bpvet.answers.due.due import due as due
    from bpvet.answers.due.in_parts import due_in_parts as due_in_parts
    from bpvet.answers.fhir.fhir import FhirBundle as FhirBundle
    from bpvet.answers.fhir.fhir import fhir_bundle as fhir_bundle
    from bpvet.answers.owner.owner import OwnerAnswer as OwnerAnswer
    from bpvet.answers.owner.owner import owner as owner
    from bpvet.answers.sheet.sheet import SheetAnswer as SheetAnswer
    from bpvet.answers.sheet.sheet import sheet as sheet
    from bpvet.answers.trend.result import TrendAnswer as TrendAnswer
    from bpvet.answers.trend.trend import trend_answer as trend_answer
    from bpvet.errors import BpvetError as BpvetError
    from bpvet.errors import CallError as CallError
    from bpvet.errors import FitError as FitError
    from bpvet.errors import FormulaError as FormulaError
    from bpvet.errors import RecordsError as RecordsError
    from bpvet.facts.priors.priors import Priors as Priors
    from bpvet.facts.priors.table import PriorTable as PriorTable
    from bpvet.maths.mixture import Mixture as Mixture
    from bpvet.mixed.cohort import Cohort as Cohort
    from bpvet.mixed.cohort import fit_cohort as fit_cohort
    from bpvet.models.agreement.agreement import Agreement as Agreement
    from bpvet.models.agreement.agreement import agreement as agreement
    from bpvet.models.agreement.situation import Situation as Situation
    from bpvet.models.agreement.situation import situation as situation
    from bpvet.models.audit.audit import Audit as Audit
    from bpvet.models.audit.audit import audit as audit
    from bpvet.models.clinic.cohort import ClinicCohort as ClinicCohort
    from bpvet.models.clinic.cohort import clinic_cohort as clinic_cohort
    from bpvet.models.clinic.over_time import OverTime as OverTime
    from bpvet.models.clinic.over_time import over_time as over_time
    from bpvet.models.kidney.joint import Joint as Joint
    from bpvet.models.kidney.joint import fit_joint as fit_joint
    from bpvet.models.kidney.kidney import kidney as kidney
    from bpvet.models.kidney.result import Kidney as Kidney
    from bpvet.models.plan.plan import Plan as Plan
    from bpvet.models.plan.plan import plan as plan
    from bpvet.models.plan.study import Study as Study
    from bpvet.models.trend.fit import fit_trend as fit_trend
    from bpvet.models.trend.in_parts import fit_trends_in_parts as fit_trends_in_parts
    from bpvet.models.trend.learning import learn_priors as learn_priors
    from bpvet.models.trend.trend import Trend as Trend
    from bpvet.models.trend.trends import Trends as Trends
    from bpvet.models.trend.trends import fit_trends as fit_trends
    from bpvet.models.trend.variability import Variability as Variability
    from bpvet.models.trend.variability import variability as variability
    from bpvet.records.findings import Finding as Finding
    from bpvet.records.read import read as read
    from bpvet.records.records import Records as Records
    from bpvet.reports.results import letter as letter
    from bpvet.reports.results import report as report
    from bpvet.visits.readings import readings_used as readings_used
    from bpvet.visits.series import Course as Course
    from bpvet.visits.series import Series as Series
    from bpvet.visits.sessions import sessions as sessions
    from bpvet.visits.signs.signs import signs as signs

__version__ = "0.1.0"

_ROOMS = {
    "Agreement": "bpvet.models.agreement.agreement",
    "AgreementAnswer": "bpvet.answers.agreement.agreement",
    "Audit": "bpvet.models.audit.audit",
    "AuditAnswer": "bpvet.answers.audit.audit",
    "BpvetError": "bpvet.errors",
    "CallError": "bpvet.errors",
    "ClinicCohort": "bpvet.models.clinic.cohort",
    "Cohort": "bpvet.mixed.cohort",
    "CohortAnswer": "bpvet.answers.clinic.cohort",
    "Course": "bpvet.visits.series",
    "Due": "bpvet.answers.due.due",
    "FhirBundle": "bpvet.answers.fhir.fhir",
    "Finding": "bpvet.records.findings",
    "FitError": "bpvet.errors",
    "FormulaError": "bpvet.errors",
    "Joint": "bpvet.models.kidney.joint",
    "Kidney": "bpvet.models.kidney.result",
    "Mixture": "bpvet.maths.mixture",
    "OverTime": "bpvet.models.clinic.over_time",
    "OwnerAnswer": "bpvet.answers.owner.owner",
    "Plan": "bpvet.models.plan.plan",
    "PriorTable": "bpvet.facts.priors.table",
    "Priors": "bpvet.facts.priors.priors",
    "Records": "bpvet.records.records",
    "RecordsError": "bpvet.errors",
    "Series": "bpvet.visits.series",
    "SheetAnswer": "bpvet.answers.sheet.sheet",
    "Situation": "bpvet.models.agreement.situation",
    "Study": "bpvet.models.plan.study",
    "Trend": "bpvet.models.trend.trend",
    "Trends": "bpvet.models.trend.trends",
    "TrendAnswer": "bpvet.answers.trend.result",
    "Variability": "bpvet.models.trend.variability",
    "agreement": "bpvet.models.agreement.agreement",
    "audit": "bpvet.models.audit.audit",
    "clinic_cohort": "bpvet.models.clinic.cohort",
    "cohort_answer": "bpvet.answers.clinic.cohort",
    "due": "bpvet.answers.due.due",
    "due_in_parts": "bpvet.answers.due.in_parts",
    "fhir_bundle": "bpvet.answers.fhir.fhir",
    "fit_cohort": "bpvet.mixed.cohort",
    "fit_joint": "bpvet.models.kidney.joint",
    "fit_trend": "bpvet.models.trend.fit",
    "fit_trends": "bpvet.models.trend.trends",
    "fit_trends_in_parts": "bpvet.models.trend.in_parts",
    "kidney": "bpvet.models.kidney.kidney",
    "learn_priors": "bpvet.models.trend.learning",
    "letter": "bpvet.reports.results",
    "over_time": "bpvet.models.clinic.over_time",
    "owner": "bpvet.answers.owner.owner",
    "plan": "bpvet.models.plan.plan",
    "read": "bpvet.records.read",
    "readings_used": "bpvet.visits.readings",
    "report": "bpvet.reports.results",
    "sessions": "bpvet.visits.sessions",
    "sheet": "bpvet.answers.sheet.sheet",
    "signs": "bpvet.visits.signs.signs",
    "situation": "bpvet.models.agreement.situation",
    "trend_answer": "bpvet.answers.trend.trend",
    "variability": "bpvet.models.trend.variability",
}

__all__ = [*_ROOMS, "__version__"]


def __getattr__(name: str) -> Any:
    try:
        room = _ROOMS[name]
    except KeyError:
        raise AttributeError(f"module 'bpvet' has no attribute {name!r}") from None
    from importlib import import_module

    value = getattr(import_module(room), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
