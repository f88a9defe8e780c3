"""The command line as a whole: help, version, exit statuses, pipes, start-up."""

import json
import subprocess
import sys

import pytest

from bpvet import __version__
from bpvet.command import average, main
from bpvet.command.main import COMMANDS
from bpvet.errors import FitError, RecordsError
from bpvet.records.finding_codes import Code
from bpvet.records.findings import finding_of

HEAVY = ("numpy", "pandas", "scipy", "pyarrow", "matplotlib", "statsmodels", "nbformat")


def process(*argv, **more):
    command = [sys.executable, "-m", "bpvet", *argv]
    return subprocess.run(command, capture_output=True, text=True, encoding="utf-8", **more)


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help_with_an_example(run, command):
    ended = run(command, "--help")
    assert ended.status == 0
    assert f"  bpvet {command} " in ended.out
    assert "example" in ended.out
    assert "--json" in ended.out


def test_help_names_every_command(run):
    said = run("--help").out
    assert all(f"\n    {command}" in said for command in COMMANDS)


def test_version(run):
    assert run("--version").out == f"bpvet {__version__}\n"


def test_no_command_is_a_wrong_call(run):
    ended = run()
    assert (ended.status, ended.out) == (2, "")
    assert "commands:" in ended.err


@pytest.mark.parametrize("argv", [["avrage"], ["--nothing"], ["check", "a", "b"], ["check"]])
def test_wrong_calls_are_said_shortly(run, argv):
    ended = run(*argv)
    assert (ended.status, ended.out) == (2, "")
    assert ended.err.count("\n") <= 2


def test_errors_have_their_status(run, monkeypatch):
    def fails(error):
        def command(_arguments):
            raise error

        monkeypatch.setattr(average, "run", command)
        return run("average", 160, "--method", "doppler")

    fit = fails(FitError("no mode was found"))
    assert (fit.status, fit.err) == (1, "bpvet average: no mode was found\n")
    many = [finding_of(Code.UNSOUND_PART, "r.csv", line) for line in range(30)]
    stopped = fails(RecordsError("\n".join(map(str, many)), many))
    assert stopped.status == 1
    assert "and 20 more" in stopped.err
    assert fails(KeyboardInterrupt()).status == 130
    full = fails(OSError(28, "No space left on device"))
    assert (full.status, full.err) == (1, "bpvet: No space left on device.\n")
    assert fails(BrokenPipeError()).err == ""


def test_a_closed_pipe_is_quiet(clinic):
    line = f'"{sys.executable}" -m bpvet sessions "{clinic}" --json --quiet | head -c 1'
    done = subprocess.run(line, shell=True, capture_output=True, text=True)
    assert (done.stdout, done.stderr) == ("[", "")


def test_a_poor_terminal_gets_question_marks(clinic):
    done = subprocess.run(
        [sys.executable, "-m", "bpvet", "average", "over300", "--method", "doppler"],
        capture_output=True,
        env={"PYTHONIOENCODING": "ascii", "PATH": ""},
    )
    assert done.returncode == 0, done.stderr
    assert b"statement?)" in done.stdout


@pytest.mark.parametrize(
    ("redirect", "status", "says"),
    [(">/dev/full", 1, "bpvet: No space left on device.\n"), (">&-", 0, "")],
)
def test_an_output_that_takes_nothing(redirect, status, says):
    line = f'"{sys.executable}" -m bpvet average 160 --method doppler {redirect}'
    done = subprocess.run(line, shell=True, capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (status, says)


def test_python_m_bpvet():
    done = process("average", "160", "158", "162", "--method", "doppler", "--json")
    assert done.returncode == 0
    assert json.loads(done.stdout)["systolic"]["mean"] == 160.0
    assert process("average", "1650", "--method", "doppler").returncode == 2


@pytest.mark.parametrize("argv", [["--help"], ["--version"], ["trend", "--help"]])
def test_help_loads_the_standard_library_only(argv):
    code = (
        "import sys; from bpvet.command.main import main\n"
        f"main({argv!r})\n"
        "print('\\n'.join(sys.modules), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    loaded = {name.partition(".")[0] for name in done.stderr.split()}
    assert "bpvet" in loaded
    assert not loaded & set(HEAVY)


def test_every_command_module_is_whole():
    for name, summary in COMMANDS.items():
        command = main._command(name)
        assert summary
        assert not summary.endswith(".")
        assert "bpvet " in command.ABOUT.partition("\n\n")[2]
