"""Blood pressure of cats and dogs over months: what the visits say, with its uncertainty.

The front door: names, no work. Each name is loaded from its room when it is first used, so
that the command line starts at once.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from bpvet.answers.agreement import AgreementAnswer as AgreementAnswer
    from bpvet.answers.audit import AuditAnswer as AuditAnswer
    from bpvet.answers.cohort import CohortAnswer as CohortAnswer
    from bpvet.answers.cohort import cohort_answer as cohort_answer
    from bpvet.answers.fhir import FhirBundle as FhirBundle
    from bpvet.answers.fhir import fhir_bundle as fhir_bundle
    from bpvet.answers.parts import TrendAnswer as TrendAnswer
    from bpvet.answers.trend import trend_answer as trend_answer
    from bpvet.errors import BpvetError as BpvetError
    from bpvet.errors import CallError as CallError
    from bpvet.errors import FitError as FitError
    from bpvet.errors import FormulaError as FormulaError
    from bpvet.errors import RecordsError as RecordsError
    from bpvet.facts.prior_table import PriorTable as PriorTable
    from bpvet.facts.priors import Priors as Priors
    from bpvet.maths.mixture import Mixture as Mixture
    from bpvet.models.agreement import Agreement as Agreement
    from bpvet.models.agreement import agreement as agreement
    from bpvet.models.audit import Audit as Audit
    from bpvet.models.audit import audit as audit
    from bpvet.models.clinic_cohort import ClinicCohort as ClinicCohort
    from bpvet.models.clinic_cohort import clinic_cohort as clinic_cohort
    from bpvet.models.cohort import Cohort as Cohort
    from bpvet.models.cohort import fit_cohort as fit_cohort
    from bpvet.models.fit import fit_trend as fit_trend
    from bpvet.models.learning import learn_priors as learn_priors
    from bpvet.models.plan import Plan as Plan
    from bpvet.models.plan import plan as plan
    from bpvet.models.situation import Situation as Situation
    from bpvet.models.situation import situation as situation
    from bpvet.models.trend import Trend as Trend
    from bpvet.models.trends import fit_trends as fit_trends
    from bpvet.records.findings import Finding as Finding
    from bpvet.records.read import read as read
    from bpvet.records.records import Records as Records
    from bpvet.visits.readings import readings_used as readings_used
    from bpvet.visits.series import Course as Course
    from bpvet.visits.series import Series as Series
    from bpvet.visits.sessions import sessions as sessions

__version__ = "0.1.0"

_ROOMS = {
    "Agreement": "bpvet.models.agreement",
    "AgreementAnswer": "bpvet.answers.agreement",
    "Audit": "bpvet.models.audit",
    "AuditAnswer": "bpvet.answers.audit",
    "BpvetError": "bpvet.errors",
    "CallError": "bpvet.errors",
    "ClinicCohort": "bpvet.models.clinic_cohort",
    "Cohort": "bpvet.models.cohort",
    "CohortAnswer": "bpvet.answers.cohort",
    "Course": "bpvet.visits.series",
    "FhirBundle": "bpvet.answers.fhir",
    "Finding": "bpvet.records.findings",
    "FitError": "bpvet.errors",
    "FormulaError": "bpvet.errors",
    "Mixture": "bpvet.maths.mixture",
    "Plan": "bpvet.models.plan",
    "PriorTable": "bpvet.facts.prior_table",
    "Priors": "bpvet.facts.priors",
    "Records": "bpvet.records.records",
    "RecordsError": "bpvet.errors",
    "Series": "bpvet.visits.series",
    "Situation": "bpvet.models.situation",
    "Trend": "bpvet.models.trend",
    "TrendAnswer": "bpvet.answers.parts",
    "agreement": "bpvet.models.agreement",
    "audit": "bpvet.models.audit",
    "clinic_cohort": "bpvet.models.clinic_cohort",
    "cohort_answer": "bpvet.answers.cohort",
    "fhir_bundle": "bpvet.answers.fhir",
    "fit_cohort": "bpvet.models.cohort",
    "fit_trend": "bpvet.models.fit",
    "fit_trends": "bpvet.models.trends",
    "learn_priors": "bpvet.models.learning",
    "plan": "bpvet.models.plan",
    "read": "bpvet.records.read",
    "readings_used": "bpvet.visits.readings",
    "sessions": "bpvet.visits.sessions",
    "situation": "bpvet.models.situation",
    "trend_answer": "bpvet.answers.trend",
}

__all__ = [*_ROOMS, "__version__"]


def __getattr__(name: str) -> Any:
    try:
        room = _ROOMS[name]
    except KeyError:
        raise AttributeError(f"module 'bpvet' has no attribute {name!r}") from None
    value = getattr(import_module(room), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
