"""Running a notebook in this process: real outputs, clear errors, and nothing of it left behind."""

from __future__ import annotations

import asyncio
import builtins
import gc
import os
import sys
import threading
import warnings
from importlib.machinery import PathFinder
from pathlib import Path

import nbformat
import pytest

import bpvet
from bpvet.errors import BpvetError
from bpvet.reports.running import KERNEL_METADATA, run, sealed, text_of

from .conftest import in_kernel


def notebook(*sources: str) -> nbformat.NotebookNode:
    cells = [nbformat.v4.new_code_cell(one, id=f"cell-{i}") for i, one in enumerate(sources)]
    return nbformat.v4.new_notebook(cells=cells)


def state() -> dict[str, object]:
    """Return what of this process a notebook could leave changed."""
    return {
        "modules": sys.modules["__main__"],
        "finders": list(sys.meta_path),
        "path": list(sys.path),
        "streams": (sys.stdout, sys.stderr, sys.displayhook, sys.excepthook),
        "names": {name for name in vars(builtins) if name != "_"},
        "prompts": hasattr(sys, "ps1"),
        "collecting": gc.isenabled(),
        "filters": list(warnings.filters),
        "folder": os.getcwd(),
        "environment": dict(os.environ),
    }


def test_it_runs_from_a_running_loop_and_leaves_the_process_as_it_was() -> None:
    given = notebook("import bpvet", "bpvet.__version__")
    run(given)  # what is loaded once stays loaded
    before = state()

    async def asked() -> nbformat.NotebookNode:
        return run(given)

    made = asyncio.run(asked())
    (output,) = made.cells[1].outputs
    assert output.data["text/plain"] == repr(bpvet.__version__)
    assert made.metadata["kernelspec"] == KERNEL_METADATA["kernelspec"]
    assert "execution" not in text_of(made).replace("execution_count", "")
    assert "outputs" not in str(given.cells[0].outputs)
    assert given.metadata == {}
    assert state() == before


SHOWING = """\
class Both:
    def _repr_html_(self):
        return "<b>one</b>"

    def __repr__(self):
        return "one\\ntwo"

"""
SOURCES = (
    *("import sys", "print('a'); print('b'); 3", f"{SHOWING}Both()", "None", "7;"),
    *("[f'{i:030d}' for i in range(9)]", "print('x', file=sys.stderr); {'a': 1}", "x = 5\nx"),
    *("def f():\n    return 6\nf()", "len('%')", "'a' 'b'"),
)


def test_outputs_are_those_of_a_kernel(tmp_path: Path) -> None:
    given = notebook(*SOURCES)
    assert text_of(run(given)) == text_of(in_kernel(given, tmp_path))


def test_what_is_given_is_not_made_again() -> None:
    cells = ("raise ValueError('made again')", "raise ValueError", "a + 1")
    made = run(notebook(*cells), {"a": 41}, 2)
    assert [cell.execution_count for cell in made.cells] == [1, 2, 3]
    assert [len(cell.outputs) for cell in made.cells] == [0, 0, 1]
    assert made.cells[2].outputs[0].data["text/plain"] == "42"


def test_each_notebook_is_run_as_if_it_were_the_first() -> None:
    run(notebook("left = 1\nleft"))
    made = run(notebook("{'left', '_1', 'In'} & {*globals()}, _, len(In), Out"))
    assert made.cells[0].outputs[0].data["text/plain"] == "({'In'}, '', 2, {})"
    assert made.cells[0].execution_count == 1


@pytest.mark.parametrize(
    ("source", "told"),
    [
        ("raise ValueError('no such animal')", "ValueError: no such animal"),
        ("1 +", "SyntaxError: invalid syntax"),
        ("import bpvet\nbpvet.read('/none')", "CallError: There is no file"),
    ],
)
def test_a_cell_that_fails_is_named_with_its_reason(
    source: str, told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    before = state()
    with pytest.raises(BpvetError, match=rf"^The report's notebook failed in cell 2: {told}"):
        run(notebook("1", source, "2"))
    assert capsys.readouterr() == ("", "")
    assert state() == before


def test_an_interrupt_in_a_cell_stays_an_interrupt() -> None:
    before = state()
    with pytest.raises(KeyboardInterrupt):
        run(notebook("1", "raise KeyboardInterrupt"))
    assert state() == before


def test_what_other_threads_print_is_not_of_the_notebook(
    capsys: pytest.CaptureFixture[str],
) -> None:
    source = """\
import threading
other = threading.Thread(target=print, args=("of another thread",))
print("of the cell"); other.start(); other.join()"""
    made = run(notebook(source))
    assert [output.text for output in made.cells[0].outputs] == ["of the cell\n"]
    assert capsys.readouterr().out == "of another thread\n"


def test_two_threads_do_not_swap() -> None:
    def told(name: str) -> nbformat.NotebookNode:
        sources = (f"mine = {name!r}", *("import time; time.sleep(0.002); print(mine); mine",) * 20)
        return notebook(*sources)

    made: dict[str, nbformat.NotebookNode] = {}
    before = state()

    def work(name: str) -> None:
        with sealed([]):
            made[name] = run(told(name))

    threads = [threading.Thread(target=work, args=(name,)) for name in "abcd"]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    for name in "abcd":
        for cell in made[name].cells[1:]:
            printed, value = cell.outputs
            assert (printed.text, value.data["text/plain"]) == (f"{name}\n", repr(name))
    assert state() == before


#: Modules that a run imports or looks for, and one that nothing else has.
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
    for name in ("ipython_config.py", "ipython_kernel_config.py"):
        (folder / name).write_text((folder / "startup.py").read_text())
    begun = folder / "profile_default" / "startup"
    begun.mkdir(parents=True)
    for place in (begun / "00-first.py", begun.parent / "ipython_config.py"):
        place.write_text((folder / "startup.py").read_text())
    return folder


def test_no_file_of_any_folder_of_a_report_is_a_module(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sprung = tmp_path / "sprung"
    names = ("out", "records", "current", "home")
    out, records, current, home = (traps(tmp_path / name, sprung) for name in names)
    monkeypatch.chdir(current)
    monkeypatch.setenv("PYTHONSTARTUP", str(home / "startup.py"))
    monkeypatch.setenv("VIRTUAL_ENV", str(home))
    for name in ("IPYTHONDIR", "JUPYTER_CONFIG_DIR", "JUPYTER_CONFIG_PATH"):
        monkeypatch.setenv(name, str(home))
    # First of all, as for a script that lies in the folder of the records.
    monkeypatch.setattr(sys, "path", ["", str(current), str(records), str(out), *sys.path])
    for name in ("startup", "appnope", "docrepr", "random", "json"):
        monkeypatch.delitem(sys.modules, name, raising=False)
    code = """\
import importlib.util, bpvet, random, json
places = [importlib.util.find_spec(name) for name in ("startup", "docrepr", "usercustomize")]
bpvet.__file__, places"""
    with sealed([out, records]):
        made = run(notebook(code))
        with sealed([home]):
            # The list is this test's own already; a second way of saving it would bring it back.
            sys.path.insert(0, str(home))
            assert PathFinder not in sys.meta_path
            with pytest.raises(ModuleNotFoundError):
                import startup  # noqa: F401
    (output,) = made.cells[0].outputs
    where, places = eval(output.data["text/plain"], {})
    assert not sprung.exists(), sprung.read_text()
    assert (Path(where), places) == (Path(bpvet.__file__), [None, None, None])
    assert PathFinder in sys.meta_path


def test_other_threads_import_as_ever(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "bpvet_of_another_thread.py").write_text("value = 5")
    monkeypatch.syspath_prepend(str(tmp_path))
    found: list[object] = []

    def work() -> None:
        import bpvet_of_another_thread as module

        found.append(module.value)

    with sealed([tmp_path]):
        with pytest.raises(ModuleNotFoundError):
            import bpvet_of_another_thread  # noqa: F401
        other = threading.Thread(target=work)
        other.start()
        other.join()
    assert found == [5]


def test_where_python_is_installed_stays_in_use(monkeypatch: pytest.MonkeyPatch) -> None:
    installed = Path(nbformat.__file__).parent.parent
    monkeypatch.chdir(installed)
    monkeypatch.delitem(sys.modules, "this", raising=False)
    monkeypatch.delitem(sys.modules, "jsonschema", raising=False)
    with sealed([installed]):
        made = run(
            notebook("import importlib.util; importlib.util.find_spec('jsonschema') is None")
        )
    assert made.cells[0].outputs[0].data["text/plain"] == "False"


def test_a_shell_that_cannot_be_had_is_an_error_of_ours(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "gone").mkdir()
    monkeypatch.chdir(tmp_path / "gone")
    (tmp_path / "gone").rmdir()
    before = sys.stdout, sys.meta_path
    with sealed([tmp_path]), pytest.raises(BpvetError, match=r"could not be run: .*No such file"):
        run(notebook("6 * 7"))
    assert (sys.stdout, sys.meta_path) == before
