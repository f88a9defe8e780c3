"""What a start loads, and that a command's parser alone says what the whole program's says."""

import contextlib
import gc
import io
import json
import os
import shutil
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bpvet.command.main import COMMANDS, _parsed, main, parser
from bpvet.command.shared.loading import loading
from bpvet.command.shared.options import Parser
from bpvet.command.shared.terminal import columns

#: Libraries, and modules of the standard library that cost a start a millisecond or more.
LIBRARIES = {"numpy", "pandas", "scipy", "pyarrow", "matplotlib", "statsmodels", "formulaic"} | {
    *("nbformat", "nbclient", "nbconvert", "openpyxl", "python_calamine", "tqdm", "sqlalchemy")
}
SLOW = {"typing", "pathlib", "tempfile", "json", "datetime", "importlib.resources", "html"} | {
    *("tomllib", "difflib", "hashlib", "email", "socket", "shutil", "sqlite3", "zipfile")
}
AVERAGE = ("average", "165", "158", "--method", "doppler")


def loaded(*argv: object) -> set[str]:
    """The modules that are loaded when the program ends."""
    code = (
        "import sys; from bpvet.command.main import main\n"
        "status = main(sys.argv[1:])\n"
        "print('\\n'.join(['', *sys.modules]), file=sys.stderr); sys.exit(status)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *map(str, argv)], capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    return set(done.stderr.split("\n"))


def libraries(modules: set[str]) -> set[str]:
    return {name.partition(".")[0] for name in modules} & LIBRARIES


@pytest.mark.parametrize("argv", [("--help",), ("--version",), AVERAGE])
def test_the_quickest_calls_load_what_they_use(argv: tuple[str, ...]) -> None:
    bare = subprocess.run(
        [sys.executable, "-c", "import sys; print(*sys.modules)"], capture_output=True, text=True
    )
    found = loaded(*argv) - set(bare.stdout.split())
    assert libraries(found) == set()
    # A data file that is not as it was compiled is parsed, in a checkout that was never built too.
    assert found & SLOW <= ({"tomllib", "datetime", "typing"} if argv == AVERAGE else set())
    commands = {name for name in COMMANDS if f"bpvet.command.{name}" in found}
    assert commands == ({"average"} if argv == AVERAGE else set())


def test_the_version_needs_no_parser() -> None:
    assert "argparse" not in loaded("--version")


@pytest.mark.parametrize("command", COMMANDS)
def test_help_of_a_command_loads_no_library_and_no_other_command(command: str) -> None:
    found = loaded(command, "--help")
    assert libraries(found) == set()
    assert {name for name in COMMANDS if f"bpvet.command.{name}" in found} == {command}


def test_checking_and_sessions_load_no_scipy(clinic: Path) -> None:
    for command in ("check", "sessions"):
        assert libraries(loaded(command, clinic)) == {"numpy", "pandas", "pyarrow"}


def test_a_trend_loads_of_scipy_the_compiled_functions_alone(clinic: Path) -> None:
    found = loaded("trend", clinic, "--animal", "A17", "--quiet")
    # Nobody is handed a frame, and pandas would cost more than all that is worked out.
    assert libraries(found) == {"numpy", "pyarrow", "scipy"}
    # The package would load what NumPy leaves until it is asked for.
    assert not found & {"scipy.special", "scipy.linalg", "scipy.stats", "scipy.optimize"}
    assert not found & {"scipy.sparse", "scipy.ndimage", "numpy.f2py", "numpy.testing"}
    # No reading of this animal lies beyond the gauge.
    assert not found & {f"bpvet.maths.{name}" for name in ("bounds", "censored", "propagation")}
    forms = ("workbook.sheets", "fhir.rows", "json_lines", "arrow_tables")
    assert not found & {f"bpvet.records.formats.{name}" for name in forms}
    assert not found & {"sqlite3", "bpvet.figures", "bpvet.reports"}


def told(call) -> tuple[object, str, str]:
    """What a parser makes of a call: its arguments or its status, and what it printed."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            arguments, others = call()
            result: object = (vars(arguments), others)
        except SystemExit as ended:
            result = ended.code
    return result, out.getvalue(), err.getvalue()


WHOLE = parser()
WORDS = [
    *("records", "-", "--", "", "x y", "-o", "-q", "-hv", "--help", "--version", "--animal", "A17"),
    *("--method", "doppler", "dop", "--json", "--nothing", "--rule=no", "--level", "2", "0.9"),
    *("--as-of", "2026-13-01", "160", "158x", "--exclude", "2=moved", "--animal=--", "\x1b[2J"),
]


@given(st.sampled_from(sorted(COMMANDS)), st.lists(st.sampled_from(WORDS), max_size=6))
def test_one_commands_parser_is_the_whole_one(command: str, words: list[str]) -> None:
    call = [command, *words]
    assert told(lambda: _parsed(call)) == told(lambda: WHOLE.parse_known_args(call))


@pytest.mark.parametrize(
    "words",
    [
        *(["--help"], ["-h"], ["--version"], ["avrage"], ["--nothing"], [], ["--", "x"], ["-hv"]),
        *(["--nothing", "trend", "x"], ["--", "trend", "--help"], ["--version", "trend"]),
    ],
)
def test_a_call_that_begins_with_no_command_is_told_the_same(words: list[str]) -> None:
    assert told(lambda: _parsed(words)) == told(lambda: WHOLE.parse_known_args(words))


def test_the_list_of_commands_is_that_of_the_whole_parser(monkeypatch) -> None:
    for width in ("40", "80", "200"):
        monkeypatch.setenv("COLUMNS", width)
        assert parser(full=False).format_help() == parser().format_help()


@pytest.mark.parametrize("width", ["", "0", "-3", "x", "1", "57", "400"])
def test_the_width_is_as_the_library_tells_it(monkeypatch, width: str) -> None:
    monkeypatch.setenv("COLUMNS", width)
    assert columns() == shutil.get_terminal_size().columns


def test_help_is_as_wide_as_argparse_makes_it(monkeypatch) -> None:
    monkeypatch.setenv("COLUMNS", "61")
    made = Parser(prog="p")
    made.add_argument("--long", help="word " * 40)
    assert max(map(len, made.format_help().splitlines())) <= 59


def test_looking_for_garbage_goes_on_after_loading() -> None:
    code = textwrap.dedent("""
        import gc, json
        from bpvet.command.shared.loading import loading
        with loading():
            within = gc.isenabled()
            import decimal
        after, kept = gc.isenabled(), gc.get_freeze_count()
        gc.disable()
        with loading():
            pass
        print(json.dumps([within, after, kept > 1000, gc.isenabled()]))
    """)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert json.loads(done.stdout) == [False, True, True, False]


def test_loading_tells_an_error_and_looks_for_garbage_again() -> None:
    assert gc.isenabled()
    with pytest.raises(ModuleNotFoundError), loading():
        raise ModuleNotFoundError
    gc.unfreeze()
    assert gc.isenabled()


def test_a_program_that_calls_a_command_looks_for_its_garbage_as_before(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """What is frozen is seen by nobody: neither by the collector nor by who asks for referrers."""
    kept = gc.get_freeze_count()
    assert main(["average", "165", "158", "160", "--method", "doppler"]) == 0
    assert "Systolic 161 mmHg" in capsys.readouterr().out
    assert gc.get_freeze_count() == kept


def test_a_start_writes_nothing(tmp_path: Path) -> None:
    """Nothing is kept between starts but what Python keeps of modules."""
    env = os.environ | {"HOME": str(tmp_path), "XDG_CACHE_HOME": str(tmp_path / "cache")}
    command = [sys.executable, "-B", "-m", "bpvet", *AVERAGE]
    subprocess.run(command, env=env, cwd=tmp_path, capture_output=True, check=True)
    assert list(tmp_path.rglob("*")) == []
