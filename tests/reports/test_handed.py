"""What a report's cells are handed is what its first cells make, read from the published files."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import nbformat
import pytest

from bpvet.reports import writing
from bpvet.reports.agreement import report as agreement
from bpvet.reports.animal import report as animal
from bpvet.reports.audit import report as audit
from bpvet.reports.clinic import report as cohort

from .conftest import AS_OF, in_kernel
from .made import write_agreement, write_animal, write_audit, write_cohort

WRITERS: dict[str, Callable[..., Any]] = {
    "animal": lambda *given: write_animal(given[0], "B04", given[1], as_of=AS_OF, level=0.9),
    "agreement": lambda *given: write_agreement(*given, as_of=AS_OF, level=0.9),
    "audit": lambda *given: write_audit(*given, as_of=AS_OF, level=0.9),
    "cohort": lambda *given: write_cohort(*given, as_of=AS_OF, level=0.9),
}

MODULES = {"animal": animal, "agreement": agreement, "audit": audit, "cohort": cohort}


@pytest.mark.parametrize("name", MODULES)
def test_a_kind_s_cells_call_what_its_module_offers(name: str) -> None:
    module: Any = MODULES[name]
    kind = module.KIND
    assert (kind.name, kind.outline) == (name, module.OUTLINE)
    calls = [call for calls in kind.outline.sections.values() for call in calls]
    code = "\n".join(f"report.{call}" for call in (kind.outline.now, *calls))
    called = {part.partition("(")[0] for part in code.split("report.")[1:]}
    assert called | {"parameters", "statement"} <= set(module.__all__)
    assert all(callable(getattr(module, one)) for one in called)


@pytest.mark.parametrize("kind", WRITERS)
def test_the_first_cells_make_what_the_others_were_handed(
    kind: str, clinic: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    handed: dict[str, Any] = {}

    def run(notebook: nbformat.NotebookNode, given: Mapping[str, object], given_cells: int) -> Any:
        handed.update(given, given_cells=given_cells)
        return notebook

    monkeypatch.setattr(writing, "run", run)
    written = WRITERS[kind](clinic, tmp_path / "out")
    cells = nbformat.read(written.notebook, as_version=4).cells
    first = [cell.source for cell in cells if cell.cell_type == "code"][: handed.pop("given_cells")]
    monkeypatch.chdir(tmp_path / "out")
    made: dict[str, Any] = {}
    for source in first:
        exec(source, made)
    assert made.keys() == handed.keys()
    assert made["report"] is handed["report"]
    for name in ("records", "answer"):
        assert made[name] == handed[name], name
    assert made["records"] is not handed["records"]
    plain = [json.dumps(names["answer"].to_dict()) for names in (made, handed)]
    assert plain[0] == plain[1]
    assert written.answer is handed["answer"]


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["agreement", "audit", "cohort"])
def test_the_notebook_runs_again_by_itself_with_the_same_bytes(
    kind: str, clinic: Path, tmp_path: Path
) -> None:
    written = WRITERS[kind](clinic, tmp_path / "out")
    before = written.notebook.read_text(encoding="utf-8")
    again = in_kernel(nbformat.reads(before, as_version=4), tmp_path / "out")
    assert writing.text_of(again) == before
