"""Running a notebook: a clear error if it fails, and nothing of the user's own set-up in it."""

from __future__ import annotations

import asyncio
from pathlib import Path

import nbformat
import pytest

from bpvet.errors import BpvetError
from bpvet.reports import running
from bpvet.reports.running import KERNEL_METADATA, run, text_of


def notebook(*sources: str) -> nbformat.NotebookNode:
    cells = [nbformat.v4.new_code_cell(one, id=f"cell-{i}") for i, one in enumerate(sources)]
    return nbformat.v4.new_notebook(cells=cells)


def test_it_runs_from_a_running_loop_apart_from_the_folders_files(tmp_path: Path) -> None:
    (tmp_path / "bpvet.py").write_text("raise SystemExit('a file of the folder was imported')")
    (tmp_path / "data.txt").write_text("held")
    given = notebook("import bpvet, os", "open('data.txt').read(), bpvet.__version__")

    async def asked() -> nbformat.NotebookNode:
        return run(given, tmp_path)

    made = asyncio.run(asked())
    (output,) = made.cells[1].outputs
    assert output.data["text/plain"].startswith("('held', ")
    assert made.metadata["kernelspec"] == KERNEL_METADATA["kernelspec"]
    assert "execution" not in text_of(made).replace("execution_count", "")
    assert "outputs" not in str(given.cells[0].outputs)
    assert given.metadata == {}


def test_a_cell_that_fails_is_named_with_its_reason(tmp_path: Path) -> None:
    with pytest.raises(BpvetError, match=r"failed in cell 2: ValueError: no such animal") as caught:
        run(notebook("1", "raise ValueError('no such animal')", "2"), tmp_path)
    assert "\x1b" not in str(caught.value)
    assert list(tmp_path.iterdir()) == []


def test_a_kernel_that_does_not_start_is_an_error_of_ours(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(running.sys, "executable", str(tmp_path / "no-python"))
    with pytest.raises(BpvetError, match="could not be run"):
        run(notebook("1"), tmp_path)


def test_a_long_path_has_no_socket(tmp_path: Path) -> None:
    assert running._sockets(tmp_path / ("x" * 120)) == {}


def test_the_kernel_finds_this_bpvet_and_no_start_up_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PYTHONSTARTUP", "start.py")
    monkeypatch.setenv("PYTHONPATH", "elsewhere")
    found = running._environment(tmp_path)
    assert "PYTHONSTARTUP" not in found
    assert found["IPYTHONDIR"] == str(tmp_path)
    assert found["PYTHONPATH"].endswith("elsewhere")
