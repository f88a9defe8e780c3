"""Whatever escapes a command is one sentence, and what is kept of it tells nothing of records."""

from __future__ import annotations

import resource
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from bpvet.command import sessions
from bpvet.command.main import main
from bpvet.command.shared import diagnostic
from bpvet.command.shared.reporting import _HANDLES
from tests.command.small import write_readings

SECRET = "Pilchard=17"
PROGRAM = "import sys; from bpvet.command.main import main; sys.exit(main())"


@pytest.fixture
def cache(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return tmp_path / "cache" / "bpvet"


def breaks(monkeypatch, error):
    def broken(arguments):
        secret = SECRET
        try:
            raise KeyError(secret)
        except KeyError:
            # As it happens where one error meets another.
            raise error  # noqa: B904

    monkeypatch.setattr(sessions, "run", broken)


def test_what_nobody_foresaw_is_one_sentence_and_a_file(run, clinic, cache, monkeypatch):
    breaks(monkeypatch, ValueError(SECRET))
    ended = run("sessions", clinic, "--animal", SECRET)
    assert (ended.status, ended.out) == (3, "")
    (file,) = cache.iterdir()
    assert str(file) in ended.err
    assert ended.err.count("\n") == 1
    assert "Traceback" not in ended.err
    text = file.read_text(encoding="utf-8")
    assert "ValueError" in text
    assert "KeyError" in text
    assert "bpvet/command/main.py, line " in text
    for private in (
        SECRET,
        str(clinic),
        str(Path.home()),
        str(Path(diagnostic.__file__).parents[2]),
    ):
        assert private not in text + ended.err.replace(str(file), "")


def test_ten_files_are_kept_and_others_stay(run, clinic, cache, monkeypatch):
    breaks(monkeypatch, RuntimeError("x"))
    cache.mkdir(parents=True)
    (cache / "mine.txt").write_text("x")
    first = None
    for _ in range(diagnostic.KEPT + 2):
        assert run("sessions", clinic).status == 3
        first = first or next(cache.glob("error-*"))
    assert len(list(cache.glob("error-*"))) == diagnostic.KEPT
    assert not first.exists()
    assert (cache / "mine.txt").exists()


def test_without_a_place_for_the_file_the_sentence_stays(run, clinic, tmp_path, monkeypatch):
    (tmp_path / "file").write_text("x")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "file"))
    breaks(monkeypatch, RuntimeError("x"))
    ended = run("sessions", clinic)
    assert ended.status == 3
    assert "RuntimeError" in ended.err
    assert "nothing could be written" in ended.err


@pytest.mark.parametrize(
    ("platform", "setting", "expected"),
    [
        ("linux", {"XDG_CACHE_HOME": "/c"}, "/c/bpvet"),
        ("linux", {"XDG_CACHE_HOME": "relative", "HOME": "/h"}, "/h/.cache/bpvet"),
        ("linux", {"HOME": "/h"}, "/h/.cache/bpvet"),
        ("darwin", {"HOME": "/h"}, "/h/Library/Caches/bpvet"),
        ("win32", {"HOME": "/h", "LOCALAPPDATA": "/l"}, "/l/bpvet/Cache"),
        ("win32", {"HOME": "/h"}, "/h/AppData/Local/bpvet/Cache"),
    ],
)
def test_the_folder_of_each_platform(platform, setting, expected, monkeypatch):
    for name in ("XDG_CACHE_HOME", "LOCALAPPDATA"):
        monkeypatch.delenv(name, raising=False)
    for name, value in setting.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr(sys, "platform", platform)
    assert diagnostic.cache_folder().as_posix() == expected


def test_code_of_the_user_is_not_named(tmp_path):
    script = tmp_path / "Pilchard_the_cat.py"
    script.write_text("raise ValueError\n")
    code = compile(script.read_text(), str(script), "exec")
    try:
        exec(code)
    except ValueError as error:
        text = diagnostic.diagnostic(error, "")
    assert "Pilchard" not in text
    assert "other code, line 1" in text


@pytest.mark.parametrize(
    ("module", "call"),
    [
        ("pyarrow", ["check"]),
        ("pandas", ["check"]),
        ("scipy", ["trend", "--animal", "A17"]),
        ("matplotlib", ["figure", "--animal", "A17", "-o", "{out}/f.svg"]),
        ("IPython", ["report", "--animal", "A17", "-o", "{out}/r"]),
        ("nbconvert", ["report", "--animal", "A17", "-o", "{out}/r"]),
    ],
)
def test_a_missing_package_is_named(module, call, clinic, tmp_path):
    code = f"import sys; sys.modules[{module!r}] = None\n{PROGRAM}"
    words = [word.replace("{out}", str(tmp_path)) for word in (call[0], str(clinic), *call[1:])]
    ran = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True)
    assert ran.returncode == 3, ran.stderr
    said = ran.stderr.splitlines()[-1]
    assert f"pip install {module}" in said
    assert "Traceback" not in ran.stderr


def limited(count, *words):
    def limit():
        resource.setrlimit(resource.RLIMIT_NOFILE, (count, count))

    return subprocess.run(
        [sys.executable, "-c", PROGRAM, *map(str, words)],
        capture_output=True,
        text=True,
        preexec_fn=limit,
    )


@pytest.mark.parametrize("count", range(5, 9))
def test_few_file_handles_are_said(count, clinic, tmp_path):
    figure = tmp_path / "f.svg"
    ran = limited(count, "figure", clinic, "--animal", "A17", "-o", figure)
    if count > 6 and ran.returncode == 0:
        # How few are enough is the libraries' own matter: then all is there.
        assert figure.read_text(encoding="utf-8").rstrip().endswith("</svg>")
        return
    assert ran.returncode == 1
    assert "oo many open files" in ran.stderr or "too many files are open" in ran.stderr
    assert "Traceback" not in ran.stderr


def test_a_report_asks_for_handles_before_it_begins(clinic, tmp_path):
    ran = limited(_HANDLES, "report", clinic, "--animal", "A17", "-o", tmp_path / "r")
    assert ran.returncode == 1
    assert ran.stderr == (
        "bpvet report: For a report too many files are open. Close some programs, or raise the "
        "limit (ulimit -n).\n"
    )
    assert not (tmp_path / "r").exists()


@pytest.mark.parametrize(
    "words",
    [
        ("check", "a\x1b[2Jb"),
        ("check", "a\nb\x1b[2J"),
        ("sessions", ".", "--animal", "a\x1b[2Jb"),
        ("check", ".", "--dates", "\x1b[2J"),
        ("check", ".", "--as-of", "\x1b[2J\n"),
        ("check", ".", "--unknown\x1b[2J"),
        ("\x1b[2J",),
        ("check", ".", "--columns", "a=\x1b[2J"),
        ("check", ".", "--encoding", "\x1b[2J"),
        ("average", "\x1b[2J", "--method", "doppler"),
        ("average", "150", "--method", "doppler", "--save", "no\x1b[2J/x", "--animal", "A"),
        ("check", "sqlite:///\x1b[2J.db"),
    ],
)
def test_control_characters_of_an_argument_are_shown_escaped(words, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(write_readings(tmp_path / "r", "A,2026-01-01,doppler,150"))
    assert main(list(words)) == 2
    said = capsys.readouterr().err
    assert "\\x1b[2J" in said
    assert all(letter.isprintable() or letter == "\n" for letter in said)
    assert said.count("\n") <= 2


def test_a_schema_that_is_not_utf8_is_said(run, tmp_path):
    file = tmp_path / "clinic.db"
    with sqlite3.connect(file) as connection:
        connection.execute("create table readings (animal, taken_at, method, systolic, xxyyzz)")
        connection.execute("insert into readings values ('A', '2026-01-01', 'doppler', 150, 1)")
    connection.close()
    file.write_bytes(file.read_bytes().replace(b"xxyyzz", b"xx\xff\xfezz"))
    ended = run("check", file)
    assert ended.status == 1
    assert "not UTF-8" in " ".join(ended.out.split())
    ended = run("check", f"sqlite:///{file}")
    assert ended.status == 1
    assert "not UTF-8" in ended.err


@pytest.mark.parametrize("doubled", ["animal", "taken_at", "method", "note"])
def test_a_doubled_heading_beside_chart_lines_is_a_finding(doubled, run, tmp_path):
    file = tmp_path / "readings.csv"
    line = "A17 2026-01-05 doppler: 185 mmHg (186 184)"
    file.write_text(f"chart_line,{doubled},{doubled}\n{line},,\n")
    ended = run("check", file)
    assert ended.status == 1
    assert f'"{doubled}" appears 2 times' in " ".join(ended.out.split())


@pytest.mark.parametrize("option", ["--dates=--", "--columns=--", "--encoding=--", "--as-of=--"])
def test_two_dashes_are_no_value(option, run, clinic):
    ended = run("check", clinic, option)
    assert (ended.status, ended.out) == (2, "")
    assert "expected one argument" in ended.err


def test_what_was_written_is_told_without_doing_anything_to_a_terminal(run, clinic, tmp_path):
    ended = run("sessions", clinic, "-o", tmp_path / "a\x1b[2J.csv")
    assert ended.status == 0
    assert "\\x1b[2J.csv" in ended.err
    assert "\x1b" not in ended.err
