"""Imports run downwards only; heavy libraries stay in their rooms; the front door is lazy."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import bpvet

PACKAGE = Path(bpvet.__file__).parent
FLOOR = {
    "errors": 1,
    "files": 1,
    "printing": 1,
    "facts": 1,
    "records": 2,
    "maths": 2,
    "figures": 2,
    "visits": 3,
    "models": 4,
    "answers": 5,
    "reports": 6,
    "command": 7,
    "__main__": 7,
}
#: Rooms on one floor that know nothing of each other.
APART = {"records", "maths", "figures"}
#: The one arrow that points up: `trend.answer()`, which the contract promises.
EXCEPTIONS = {
    ("models/trend.py", "bpvet.answers.parts"),
    ("models/trend.py", "bpvet.answers.trend"),
}
FORBIDDEN = {
    "pandas": {"facts", "maths", "figures"},
    "matplotlib": set(FLOOR) - {"figures"},
    "formulaic": set(FLOOR) - {"models"},
    "nbclient": set(FLOOR) - {"reports"},
    "nbformat": set(FLOOR) - {"reports"},
    "nbconvert": set(FLOOR) - {"reports"},
}


def _files() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def _imports(path: Path) -> list[tuple[str, bool]]:
    """Every imported module of a file, and whether only a type checker sees it."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    guarded = {
        id(inner)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"
        for inner in ast.walk(node)
    }
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found += [(alias.name, id(node) in guarded) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            found.append((str(node.module), id(node) in guarded))
    return found


@pytest.mark.parametrize("path", _files(), ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_run_downwards(path):
    inside = path.relative_to(PACKAGE)
    room = inside.parts[0].removesuffix(".py")
    if room == "__init__":
        return
    for module, _ in _imports(path):
        parts = module.split(".")
        if parts[0] != "bpvet" or len(parts) == 1:
            continue
        target = parts[1]
        if (inside.as_posix(), module) in EXCEPTIONS or target == room:
            continue
        assert FLOOR[target] <= FLOOR[room], f"{inside} imports {module}, which lies above it"
        assert not {room, target} <= APART, f"{inside} imports {module}, its neighbour"


@pytest.mark.parametrize("path", _files(), ids=lambda path: str(path.relative_to(PACKAGE)))
def test_heavy_libraries_stay_in_their_rooms(path):
    room = path.relative_to(PACKAGE).parts[0].removesuffix(".py")
    for module, only_types in _imports(path):
        top = module.split(".")[0]
        if not only_types:
            assert room not in FORBIDDEN.get(top, set()), f"{path} imports {module}"
        assert module != "matplotlib.pyplot"


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
    "FhirBundle",
    "Finding",
    "FitError",
    "FormulaError",
    "Mixture",
    "Plan",
    "PriorTable",
    "Priors",
    "Records",
    "RecordsError",
    "Series",
    "Situation",
    "Trend",
    "TrendAnswer",
    "__version__",
    "agreement",
    "audit",
    "clinic_cohort",
    "cohort_answer",
    "fhir_bundle",
    "fit_cohort",
    "fit_trend",
    "fit_trends",
    "learn_priors",
    "plan",
    "read",
    "readings_used",
    "sessions",
    "situation",
    "trend_answer",
]
