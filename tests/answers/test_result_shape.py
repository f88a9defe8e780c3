"""Public results have one shape: summary, frame, dictionary, figure, answer and report."""

from __future__ import annotations

import inspect
import json
import pickle
from collections.abc import Callable
from dataclasses import is_dataclass

import pandas as pd
import pytest
from matplotlib.figure import Figure

import bpvet
from bpvet.printing import ShortTable
from tests.models.agreement.test_situation import clinic
from tests.models.kidney_records import creatinine, with_labs
from tests.models.small_clinic import write_clinic

#: What each result has beside a short repr. An answer is numbers and words: it has a dictionary,
#: and is shown by what made it. Trends are told by their answers, and drawn in several panels.
SHAPE = {
    "Agreement": "summary to_frame to_dict plot answer report",
    "AgreementAnswer": "to_dict",
    "Audit": "summary to_frame to_dict plot answer report",
    "AuditAnswer": "to_dict",
    "ClinicCohort": "summary to_frame to_dict plot answer report",
    "Cohort": "summary to_frame to_dict plot",
    "CohortAnswer": "to_dict",
    "Due": "summary to_frame to_dict plot report",
    "FhirBundle": "to_dict",
    "Joint": "summary to_frame to_dict plot",
    "Kidney": "summary to_frame to_dict plot",
    "OverTime": "summary to_frame to_dict plot",
    "OwnerAnswer": "to_dict report",
    "Plan": "summary to_frame to_dict plot answer",
    "SheetAnswer": "to_dict report",
    "Situation": "summary to_frame to_dict plot",
    "Study": "summary to_frame to_dict plot",
    "Trend": "summary to_frame plot answer report",
    "TrendAnswer": "to_dict",
    "Trends": "summary to_frame",
    "Variability": "summary to_frame to_dict plot",
}
#: What goes in, and what results are made of.
PARTS = {"Course", "Finding", "Mixture", "PriorTable", "Priors", "Records", "Series"}
#: Signatures that users rely on, with more than two arguments by place.
BY_PLACE = {"fit_cohort", "fit_joint", "fit_trend", "fit_trends"}
BY_PLACE |= {"plan", "read", "sessions", "variability"}
#: Three that none can do without: of what, where to, and where from.
BY_PLACE |= {"letter", "report"}


@pytest.fixture(scope="module")
def results(tmp_path_factory) -> dict[str, object]:
    records = bpvet.read(write_clinic(tmp_path_factory.mktemp("shape")), as_of="2026-12-01")
    kidneys = with_labs(creatinine([150, 162, 171, 168, 190]))
    trend, plan = bpvet.fit_trend(records, "K1"), bpvet.plan(bpvet.Priors.default("cat", "doppler"))
    agree, audit, clinics = (
        make(records) for make in (bpvet.agreement, bpvet.audit, bpvet.clinic_cohort)
    )
    return {
        "Agreement": agree,
        "AgreementAnswer": agree.answer(),
        "Audit": audit,
        "AuditAnswer": audit.answer(),
        "ClinicCohort": clinics,
        "Cohort": clinics.cohort,
        "CohortAnswer": clinics.answer(),
        "Due": bpvet.due(records),
        "FhirBundle": bpvet.fhir_bundle(records),
        "Joint": bpvet.fit_joint(kidneys, "A1"),
        "Kidney": bpvet.kidney(kidneys, "A1"),
        "OverTime": bpvet.over_time(records),
        "OwnerAnswer": bpvet.owner(records, "K1"),
        "Plan": plan,
        "SheetAnswer": bpvet.sheet(records, "K1"),
        "Situation": bpvet.situation(clinic()),
        "Study": plan.study(20.0, animals=5),
        "Trend": trend,
        "TrendAnswer": trend.answer(),
        "Trends": bpvet.Trends({("K1", "doppler", "clinic", "systolic"): trend}),
        "Variability": bpvet.variability([0, 20, 50], [180, 140, 170]),
    }


def _classes() -> set[str]:
    public = {name: getattr(bpvet, name) for name in bpvet.__all__}
    return {
        name
        for name, one in public.items()
        if isinstance(one, type) and not issubclass(one, Exception)
    }


def test_every_public_class_is_named_here() -> None:
    assert {*SHAPE, *PARTS} == _classes()


def test_each_result_has_its_methods(results) -> None:
    assert set(results) == set(SHAPE)
    for name, one in results.items():
        assert type(one).__name__ == name
        for method in SHAPE[name].split():
            assert callable(getattr(one, method, None)), f"{name}.{method}()"


def test_what_the_methods_give(results) -> None:
    for name, one in results.items():
        methods = SHAPE[name].split()
        if "summary" in methods:
            table = one.summary()
            assert isinstance(table, ShortTable), name
            assert str(table) == table.text()
            assert "<table>" in table._repr_html_()
        if "to_frame" in methods:
            frame = one.to_frame()
            assert isinstance(frame, pd.DataFrame), name
            assert len(frame), name
            # A copy: what is written into it is not in the next.
            frame.iloc[0, 0] = None
            assert one.to_frame().iloc[0, 0] is not None, name
        if "to_dict" in methods:
            shown = one.to_dict()
            assert json.dumps(shown, allow_nan=False), name
        if "answer" in methods and name != "Plan":
            assert type(one.answer()).__name__ == f"{name.removeprefix('Clinic')}Answer"
    answer = results["Plan"].answer("cat", "doppler", within=9.0)
    assert (type(answer).__name__, answer.within) == ("PlanAnswer", 9.0)


def test_figures_are_asked_for_by_one_signature(results) -> None:
    for name, one in results.items():
        if "plot" not in SHAPE[name].split():
            assert not hasattr(one, "plot"), name
            continue
        first, *others = inspect.signature(one.plot).parameters.values()
        assert (first.name, first.default) == ("ax", None), name
        assert all(other.kind is other.KEYWORD_ONLY for other in others), name
        axes = Figure(figsize=(12, 14)).add_subplot()
        assert one.plot(axes) is axes, name
        assert isinstance(one.plot(), Figure), name


def test_reports_are_asked_for_by_one_signature(results) -> None:
    for name, one in results.items():
        if "report" not in SHAPE[name].split():
            assert not hasattr(one, "report"), name
            continue
        first, *others = inspect.signature(one.report).parameters.values()
        assert first.name == "folder", name
        by_place = [other.name for other in others if other.kind is other.POSITIONAL_OR_KEYWORD]
        # A sheet of paper holds all that it needs.
        assert by_place == ([] if name in ("SheetAnswer", "OwnerAnswer") else ["records"]), name


def test_what_is_pickled_is_equal_also_when_it_was_used(results) -> None:
    for name, one in results.items():
        again = pickle.loads(pickle.dumps(one))
        assert type(again) is type(one), name
        assert again == one, name
        assert repr(again) == repr(one), name


def test_the_numbers_are_those_of_the_result(results) -> None:
    plan, study, joint = results["Plan"], results["Study"], results["Joint"]
    assert plan.to_frame().loc["usual", "sd"] == plan.usual.sd == plan.to_dict()["usual"]["sd"]
    assert plan.to_frame().loc["effect", "half_width"] == plan.effect.half_width
    assert study.to_frame().loc["plain changes", "power"] == study.formula.power
    assert study.to_dict()["animals_range"] == list(study.animals_range)
    frame = joint.to_frame()
    assert frame.loc["latest_pressure", "value"] == joint.latest_pressure.mean
    assert frame.loc["doubling_months", "unit"] == "months"
    assert tuple(frame.loc["correlation", ["value", "lower", "upper"]]) == joint.correlation


def test_reprs_are_short_and_results_are_frozen(results) -> None:
    for name, one in results.items():
        assert 0 < len(repr(one).splitlines()) <= 40, name
        if is_dataclass(one):
            assert type(one).__dataclass_params__.frozen, name


def test_beyond_two_arguments_stand_by_name() -> None:
    functions = {name: getattr(bpvet, name) for name in set(bpvet.__all__) - {"__version__"}}
    by_place = {
        name
        for name, one in functions.items()
        if not isinstance(one, type) and len(_places(one)) > 2
    }
    assert by_place <= BY_PLACE


def _places(function: Callable[..., object]) -> list[str]:
    parameters = inspect.signature(function).parameters.items()
    return [name for name, one in parameters if one.kind is one.POSITIONAL_OR_KEYWORD]
