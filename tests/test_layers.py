"""Imports run downwards, in no circle; heavy libraries stay in their layer; the front is lazy."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import bpvet

PACKAGE = Path(bpvet.__file__).parent
#: The layers from below; what stands on one line knows nothing of its neighbours.
LAYERS = (
    {
        "errors",
        "files",
        "frozen",
        "garbage",
        "equality",
        "locks",
        "places",
        "publishing",
        "printing",
        "reading_back",
        "reasons",
    }
    | {"spreadsheets"},
    {"facts"},
    {"records"},
    {"maths"},
    {"figures"},
    {"visits"},
    {"mixed"},
    {"models"},
    {"answers"},
    {"wording"},
    {"pictures"},
    {"reports"},
    {"command", "__main__"},
)
LAYER = {name: place for place, names in enumerate(LAYERS) for name in names}
#: Layers that know nothing of each other, though one of them is written below.
APART = {"records", "maths", "figures"}
#: Methods that reach up, or round: two lines each, and what they reach.
REACHING = {
    ("bpvet.models.trend.trend", "answer"): "bpvet.answers.trend.trend",
    ("bpvet.models.trend.trend", "plot"): "bpvet.pictures.answered",
    ("bpvet.models.trend.trend", "companions"): "bpvet.models.trend.companions",
    ("bpvet.models.agreement.result", "plot"): "bpvet.pictures.agreement",
    ("bpvet.models.agreement.situation", "plot"): "bpvet.pictures.audit",
    ("bpvet.models.audit.audit", "plot"): "bpvet.pictures.audit",
    ("bpvet.models.clinic.cohort", "plot"): "bpvet.pictures.clinic",
    ("bpvet.mixed.result", "plot"): "bpvet.pictures.clinic",
    ("bpvet.answers.due.due", "plot"): "bpvet.pictures.due",
    ("bpvet.models.clinic.over_time", "plot"): "bpvet.pictures.over_time",
    ("bpvet.models.kidney.joint", "plot"): "bpvet.pictures.kidney",
    ("bpvet.models.kidney.result", "plot"): "bpvet.pictures.kidney",
    ("bpvet.models.plan.plan", "plot"): "bpvet.pictures.plan",
    ("bpvet.models.plan.study", "plot"): "bpvet.pictures.plan",
    ("bpvet.models.trend.variability", "plot"): "bpvet.pictures.variability",
    ("bpvet.answers.due.due", "report"): "bpvet.reports.due",
    ("bpvet.models.trend.trend", "report"): "bpvet.reports.results",
    ("bpvet.models.agreement.result", "report"): "bpvet.reports.results",
    ("bpvet.models.audit.audit", "report"): "bpvet.reports.results",
    ("bpvet.models.clinic.cohort", "report"): "bpvet.reports.results",
    ("bpvet.answers.sheet.sheet", "report"): "bpvet.reports.results",
    ("bpvet.answers.owner.owner", "report"): "bpvet.reports.results",
    ("bpvet.models.plan.plan", "study"): "bpvet.models.plan.study",
    ("bpvet.models.plan.plan", "answer"): "bpvet.answers.plan.plan",
    ("bpvet.models.agreement.result", "answer"): "bpvet.answers.agreement.agreement",
    ("bpvet.models.audit.audit", "answer"): "bpvet.answers.audit.audit",
    ("bpvet.models.clinic.cohort", "answer"): "bpvet.answers.clinic.cohort",
    ("bpvet.records.records", "from_frames"): "bpvet.records.read",
    ("bpvet.printing", "probability"): "bpvet.wording.en.facts",
    # Facts are words only for who prints them.
    ("bpvet.facts.licensed", "licensed"): "bpvet.wording.en.facts",
    ("bpvet.facts.cautions", "cautions"): "bpvet.wording.en.facts",
    ("bpvet.facts.sources", "figure"): "bpvet.wording.en.facts",
    ("bpvet.facts.sources", "words"): "bpvet.wording.en.facts",
    ("bpvet.facts.sources", "as_remembered"): "bpvet.wording.en.facts",
    # A finding is words only for who asks for them.
    ("bpvet.records.findings", "__str__"): "bpvet.wording.en.findings.phrases",
    ("bpvet.records.findings", "worded"): "bpvet.wording.en.findings.all_checks",
    # A reason is a code, whose words are asked for.
    ("bpvet.reasons", "reason"): "bpvet.wording.en.reasons",
    # An answer is printed with its sentences: what makes it asks for them.
    ("bpvet.answers.trend.trend", "trend_answer"): "bpvet.wording.en.trend.statements",
    ("bpvet.answers.trend.unseen", "unseen_answer"): "bpvet.wording.en.trend.unseen",
    ("bpvet.answers.trend.safety", "urgent_answers"): "bpvet.wording.en.safety.urgent",
    ("bpvet.answers.trend.safety", "_reason"): "bpvet.wording.en.safety.recheck",
    ("bpvet.answers.trend.recorded", "_missed"): "bpvet.wording.en.trend.recorded",
    ("bpvet.answers.trend.recorded", "kidney_told"): "bpvet.wording.en.kidney.events",
    ("bpvet.answers.agreement.agreement", "agreement_answer"): (
        "bpvet.wording.en.agreement.agreement"
    ),
    ("bpvet.answers.audit.audit", "audit_answer"): "bpvet.wording.en.audit",
    ("bpvet.answers.clinic.cohort", "cohort_answer"): "bpvet.wording.en.clinic",
    ("bpvet.answers.plan.plan", "plan_answer"): "bpvet.wording.en.plan",
    ("bpvet.answers.plan.plan", "further_answer"): "bpvet.wording.en.plan",
    ("bpvet.answers.due.calendar", "_summary"): "bpvet.wording.en.due",
    ("bpvet.answers.due.bands", "band_name"): "bpvet.wording.en.due",
    ("bpvet.answers.due.due", "_table"): "bpvet.wording.en.due",
    ("bpvet.answers.due.due", "_nameless"): "bpvet.wording.en.due",
    ("bpvet.answers.due.due", "ranked_rows"): "bpvet.wording.en.due",
    ("bpvet.answers.due.due", "_checks"): "bpvet.wording.en.due",
    ("bpvet.answers.due.due", "_row"): "bpvet.wording.en.due",
    ("bpvet.answers.due.due", "_contact"): "bpvet.wording.en.due",
    ("bpvet.answers.sheet.sheet", "sheet"): "bpvet.wording.en.due",
    ("bpvet.answers.owner.owner", "owner"): "bpvet.wording.en.due",
    ("bpvet.answers.room.room", "_answered"): "bpvet.wording.en.room",
    ("bpvet.answers.room.urgent", "room_urgent"): "bpvet.wording.en.room",
    ("bpvet.answers.room.expected", "expected"): "bpvet.wording.en.room",
}
#: Libraries, and the layers in which they may be imported.
ONLY_IN = {
    "pandas": set(LAYER) - {"facts", "maths", "figures"},
    "matplotlib": {"figures"},
    "formulaic": {"mixed"},
    "IPython": {"reports"},
    "nbclient": {"reports"},
    "nbformat": {"reports"},
    "nbconvert": {"reports"},
}
#: Files of one folder, beside its subfolders.
MOST_FILES = 24


def _name(path: Path) -> str:
    inside = path.relative_to(PACKAGE.parent).with_suffix("")
    return ".".join(inside.parts).removesuffix(".__init__")


FILES = {_name(path): path for path in sorted(PACKAGE.rglob("*.py"))}


def _imports(name: str) -> Iterator[tuple[str, str, bool]]:
    """Yield each import of a module: what, in which function (or ""), and whether for types alone.

    An import inside a function counts like any other.
    """
    tree = ast.parse(FILES[name].read_text(encoding="utf-8"))
    guarded = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"
        for inner in ast.walk(node)
    }
    within = {
        id(inner): node.name
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef)
        for inner in ast.walk(node)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name}: relative import"
            inner = [f"{node.module}.{alias.name}" for alias in node.names]
            found = [one if one in FILES else str(node.module) for one in inner]
        else:
            continue
        for one in found:
            yield one, within.get(id(node), ""), id(node) in guarded


def _own_imports(name: str) -> list[str]:
    """The modules of bpvet that a module needs, but for the methods that are named as reaching."""
    return [
        one
        for one, function, guarded in _imports(name)
        if one in FILES
        and one not in {"bpvet", name}
        and not guarded
        and REACHING.get((name, function)) != one
    ]


@pytest.mark.parametrize("name", [one for one in FILES if one != "bpvet"])
def test_imports_run_downwards(name: str) -> None:
    layer = name.split(".")[1]
    for one in _own_imports(name):
        target = one.split(".")[1]
        if target == layer:
            continue
        assert LAYER[target] <= LAYER[layer], f"{name} imports {one}, which lies above it"
        assert not {layer, target} <= APART, f"{name} imports {one}, its neighbour"


def test_no_circle_anywhere() -> None:
    """Every module can be put after all that it imports, inside a layer too."""
    left = {name: set(_own_imports(name)) for name in FILES}
    while ready := [name for name, needs in left.items() if not needs & set(left)]:
        for name in ready:
            del left[name]
    assert left == {}, "in a circle, or on top of one"


def test_methods_that_reach_up_still_do() -> None:
    """A name in the list that reaches nothing any more would hide the next circle."""
    for (name, function), target in REACHING.items():
        assert (target, function) in {(one, inside) for one, inside, _ in _imports(name)}


@pytest.mark.parametrize("name", list(FILES))
def test_heavy_libraries_stay_in_their_layers(name: str) -> None:
    layer = [*name.split("."), "bpvet"][1]
    for module, _, guarded in _imports(name):
        top = module.split(".")[0]
        if not guarded and top in ONLY_IN:
            assert layer in ONLY_IN[top], f"{name} imports {module}"
        assert module != "matplotlib.pyplot"


def test_no_folder_is_too_full() -> None:
    folders = {path.parent for path in FILES.values()}
    full = {
        str(folder.relative_to(PACKAGE)): count
        for folder in folders
        if (count := sum(1 for one in folder.glob("*.py") if one.name != "__init__.py"))
        > MOST_FILES
    }
    assert full == {}


def test_public_names_are_these():
    assert sorted(bpvet.__all__) == sorted(PUBLIC)
    for name in bpvet.__all__:
        assert getattr(bpvet, name) is not None


def test_the_front_door_loads_only_the_standard_library():
    code = "import sys; before = set(sys.modules); import bpvet; print(*set(sys.modules) - before)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    tops = {name.split(".")[0] for name in done.stdout.split()}
    assert tops <= set(sys.stdlib_module_names) | {"bpvet"}


PUBLIC = [
    "Agreement",
    "AgreementAnswer",
    "Audit",
    "AuditAnswer",
    "BpvetError",
    "CallError",
    "ClinicCohort",
    "Cohort",
    "CohortAnswer",
    "Course",
    "Due",
    "FhirBundle",
    "Finding",
    "FitError",
    "FormulaError",
    "Joint",
    "Kidney",
    "Mixture",
    "OverTime",
    "OwnerAnswer",
    "Plan",
    "PriorTable",
    "Priors",
    "Records",
    "RecordsError",
    "Series",
    "SheetAnswer",
    "Situation",
    "Study",
    "Trend",
    "Trends",
    "TrendAnswer",
    "Variability",
    "__version__",
    "agreement",
    "audit",
    "clinic_cohort",
    "cohort_answer",
    "due",
    "due_in_parts",
    "fhir_bundle",
    "fit_cohort",
    "fit_joint",
    "fit_trend",
    "fit_trends",
    "fit_trends_in_parts",
    "kidney",
    "learn_priors",
    "letter",
    "over_time",
    "owner",
    "plan",
    "read",
    "readings_used",
    "report",
    "sessions",
    "sheet",
    "signs",
    "situation",
    "trend_answer",
    "variability",
]
