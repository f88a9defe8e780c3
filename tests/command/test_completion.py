"""Shell completion: made from the parser, and true in a real shell."""

import shutil
import subprocess
import sys

import pytest

from bpvet.command.completion import SHELLS, words
from bpvet.command.main import COMMANDS, parser


def completed(run, line: str, folder) -> list[str]:
    """What bash offers at the end of a line."""
    script = run("completion", "bash").out
    given = line.split(" ")
    listed = " ".join(f"'{word}'" for word in given)
    code = (
        f"{script}\nCOMP_WORDS=({listed}); COMP_CWORD={len(given) - 1}; _bpvet 2>/dev/null\n"
        'printf "%s\\n" "${COMPREPLY[@]}"'
    )
    done = subprocess.run(
        ["bash", "--norc", "-c", code], capture_output=True, text=True, cwd=folder, check=True
    )
    return done.stdout.split()


@pytest.mark.parametrize("shell", SHELLS)
def test_every_command_and_option_is_there(run, shell):
    text = run("completion", shell).out
    for command in words(parser()):
        for option in command.options:
            for name in option.option_strings:
                assert (
                    f"-l {name[2:]} " if shell == "fish" and name[:2] == "--" else name[1:]
                ) in text
    assert all(name in text for name in COMMANDS)


@pytest.mark.skipif(shutil.which("bash") is None, reason="bash is not here")
def test_in_bash(run, tmp_path):
    (tmp_path / "records").mkdir()
    (tmp_path / "my file.csv").write_text("")
    assert completed(run, "bpvet tr", tmp_path) == ["trend"]
    assert completed(run, "bpvet trend --meth", tmp_path) == ["--method"]
    assert completed(run, "bpvet trend --method d", tmp_path) == ["doppler"]
    assert completed(run, "bpvet figure rec", tmp_path) == ["records"]
    assert completed(run, "bpvet figure records -o my", tmp_path) == ["my", "file.csv"]
    assert completed(run, "bpvet trend records --animal ", tmp_path) == []
    assert completed(run, "bpvet completion z", tmp_path) == ["zsh"]


@pytest.mark.parametrize("shell", SHELLS)
def test_a_shell_takes_it(run, shell):
    path = shutil.which(shell)
    if path is None:
        pytest.skip(f"{shell} is not here")
    text = run("completion", shell).out
    done = subprocess.run([path, "-n"], input=text, capture_output=True, text=True, timeout=20)
    assert (done.returncode, done.stderr) == (0, "")


def test_it_loads_the_standard_library_only():
    code = (
        "import sys; from bpvet.command.main import main; main(['completion', 'bash'])\n"
        "print(*{name.partition('.')[0] for name in sys.modules}, file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert not set(done.stderr.split()) & {"numpy", "pandas", "matplotlib", "scipy", "pyarrow"}


@pytest.mark.skipif(shutil.which("fish") is None, reason="fish is not here")
def test_in_fish(run, tmp_path):
    file = tmp_path / "bpvet.fish"
    file.write_text(run("completion", "fish").out)

    def offered(line: str) -> list[str]:
        code = f"source {file}; complete -C '{line}'"
        done = subprocess.run(["fish", "-c", code], capture_output=True, text=True, cwd=tmp_path)
        return [one.partition("\t")[0] for one in done.stdout.splitlines()]

    assert offered("bpvet tr") == ["trend"]
    assert offered("bpvet trend --meth") == ["--method"]
    assert offered("bpvet trend --method ") == ["doppler", "oscillometric"]
    assert "animal\u2019s" in file.read_text()
