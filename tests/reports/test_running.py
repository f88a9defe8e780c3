"""Running a notebook: a clear error if it fails, and nothing of the user's own set-up in it."""

from __future__ import annotations

import asyncio
import sys
from pathlib import Path

import nbformat
import pytest

import bpvet
from bpvet.errors import BpvetError
from bpvet.reports import running
from bpvet.reports.running import KERNEL_METADATA, WarmKernel, run, text_of


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


#: Modules that a kernel, or what it starts, imports or looks for as it starts.
STARTERS = (
    *("random", "json", "numpy", "pandas", "ipykernel", "IPython", "bpvet", "sitecustomize"),
    *("usercustomize", "matplotlib", "zmq", "debugpy", "os", "docrepr", "appnope", "startup"),
)


def traps(folder: Path, sprung: Path) -> Path:
    """Fill a folder with modules that tell when they are imported."""
    folder.mkdir(exist_ok=True)
    for name in STARTERS:
        text = f"open({str(sprung)!r}, 'a').write({str(folder / name)!r} + '\\n')\n"
        (folder / f"{name}.py").write_text(text)
    (folder / "matplotlibrc").write_text("backend: module://startup\n")
    (folder / "ipython_kernel_config.py").write_text((folder / "startup.py").read_text())
    return folder


def test_no_file_of_any_folder_of_a_report_is_a_module(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sprung = tmp_path / "sprung"
    names = ("work", "records", "current", "path", "home")
    work, records, current, path, home = (traps(tmp_path / name, sprung) for name in names)
    monkeypatch.chdir(current)
    monkeypatch.setenv("PYTHONPATH", str(path))
    monkeypatch.setenv("PYTHONSTARTUP", str(path / "startup.py"))
    monkeypatch.setenv("PYTHONWARNINGS", "error::startup.X")
    monkeypatch.setenv("PYTHONBREAKPOINT", "startup.x")
    monkeypatch.setenv("MPLBACKEND", "module://startup")
    monkeypatch.setenv("MATPLOTLIBRC", str(path))
    for name in ("IPYTHONDIR", "JUPYTER_CONFIG_DIR", "JUPYTER_CONFIG_PATH"):
        monkeypatch.setenv(name, str(home))
    # As in an editable install whose folder is that of the records.
    monkeypatch.setattr(sys, "path", [*sys.path, str(records)])
    code = "import bpvet, random, json, numpy, matplotlib.pyplot, sys; bpvet.__file__, sys.path"
    made = run(notebook(code), work, [records])
    (output,) = made.cells[0].outputs
    where, looked = eval(output.data["text/plain"], {})
    assert not sprung.exists(), sprung.read_text()
    assert Path(where) == Path(bpvet.__file__)
    assert not set(looked) & {str(work), str(records), str(current), str(path), ""}


def test_a_bpvet_that_is_not_installed_is_found_and_nothing_else_beside_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As on an editable install, or a checkout that is named in the path, in any folder."""
    beside = Path(bpvet.__file__).parent.parent
    monkeypatch.chdir(beside)
    module = "bpvet.reports.animal.report"
    code = f"import importlib.util as u, {module}\nbpvet.__file__, u.find_spec('tests')"
    made = run(notebook(code), tmp_path)
    (output,) = made.cells[0].outputs
    assert eval(output.data["text/plain"], {}) == (bpvet.__file__, None)


def test_the_kernels_environment_is_ours_without_any_set_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("PYTHONSTARTUP", "PYTHONPATH", "JUPYTER_PATH", "MPLBACKEND", "PYTHONINSPECT"):
        monkeypatch.setenv(name, "elsewhere")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setenv("TZ", "UTC")
    found = running._environment(tmp_path)
    assert "elsewhere" not in found.values()
    assert found["TZ"] == "UTC"
    assert found["MPLCONFIGDIR"] == str(tmp_path / "cache" / "bpvet" / "matplotlib")
    for name in ("IPYTHONDIR", "JUPYTER_RUNTIME_DIR", "JUPYTER_DATA_DIR", "JUPYTER_CONFIG_DIR"):
        assert Path(found[name]).parent == tmp_path


def test_without_a_cache_folder_the_fonts_are_private_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "file"))
    assert running._environment(tmp_path)["MPLCONFIGDIR"] == str(tmp_path / "fonts")


def test_a_warm_kernel_runs_each_notebook_as_if_it_were_the_first(tmp_path: Path) -> None:
    first, second = tmp_path / "first", tmp_path / "second"
    with WarmKernel() as kernel:
        for folder in (first, second):
            folder.mkdir()
        run(notebook("left = 1"), first, kernel=kernel)
        with pytest.raises(BpvetError, match="failed in cell 1: ZeroDivisionError"):
            run(notebook("1 / 0"), second, kernel=kernel)
        code = "import os\n'left' in globals(), os.path.basename(os.getcwd())"
        made = run(notebook(code), second, kernel=kernel)
        (output,) = made.cells[0].outputs
        assert output.data["text/plain"] == "(False, 'second')"
        assert made.cells[0].execution_count == 1
        with pytest.raises(BpvetError):
            run(notebook("import os; os._exit(1)"), second, kernel=kernel)
        again = run(notebook("6 * 7"), first, kernel=kernel)
        assert again.cells[0].outputs[0].data["text/plain"] == "42"
