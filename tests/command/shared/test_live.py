"""Readings taken one by one, on a terminal as a technician types them, and through a pipe."""

from __future__ import annotations

import json
import os
import re
import select
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from bpvet.answers.room.result import RoomAnswer, RoomReading
from bpvet.answers.room.room import room_answer
from bpvet.command.shared.live import Session
from bpvet.errors import CallError
from bpvet.records.read import read
from bpvet.visits.sessions import sessions
from tests.command.small import Ended, write_readings

pty = pytest.importorskip("pty")
NOW = "2026-03-20T10:15"
INTO = ["--method", "doppler", "--animal", "Pilchard", "--taken-at", NOW]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "records"
    rows = [f"A17,2026-0{month}-05T10:00,doppler,{150 + month}" for month in (1, 2)]
    write_readings(place, "\n".join(rows))
    (place / "animals.csv").write_text("animal,species,name\nA17,cat,Pilchard\n")
    return place


def summed(readings: list[RoomReading]) -> RoomAnswer:
    return room_answer(readings, "doppler")


@pytest.fixture
def taking() -> Session:
    return Session("doppler", "cat", summed)


class Terminal:
    """The command on a terminal of its own: what is typed, and what it shows."""

    def __init__(self, *words: object) -> None:
        self.pid, self.file = pty.fork()
        if self.pid == 0:
            # Tests that run in the background inherit an ignored Ctrl-C; a terminal never does.
            signal.signal(signal.SIGINT, signal.SIG_DFL)
            os.environ |= {"COLUMNS": "100", "LINES": "40"}
            os.execv(sys.executable, [sys.executable, "-m", "bpvet", *map(str, words)])
        self.shown = ""

    def until(self, words: str, seconds: float = 120.0) -> str:
        """Read until the words are shown; return all that was shown since the last call."""
        end = time.monotonic() + seconds
        start = len(self.shown)
        while words not in self.shown[start:]:
            left = end - time.monotonic()
            assert left > 0, self.shown
            if not select.select([self.file], [], [], left)[0]:
                continue
            try:
                data = os.read(self.file, 4096)
            except OSError:
                data = b""
            assert data, f"ended before {words!r}: {self.shown}"
            self.shown += data.decode("utf-8", "replace").replace("\r\n", "\n")
        return self.shown[start:]

    def type(self, text: str) -> None:
        os.write(self.file, text.encode())

    def status(self, seconds: float = 120.0) -> int:
        """Read to the end, and return the exit status."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            try:
                data = os.read(self.file, 4096)
            except OSError:
                break
            if not data:
                break
            self.shown += data.decode("utf-8", "replace").replace("\r\n", "\n")
        _, status = os.waitpid(self.pid, 0)
        os.close(self.file)
        return os.waitstatus_to_exitcode(status)


def piped(text: str, *words: object) -> Ended:
    done = subprocess.run(
        [sys.executable, "-m", "bpvet", "average", "--live", *map(str, words)],
        input=text,
        capture_output=True,
        text=True,
    )
    assert "Traceback" not in done.stderr
    return Ended(done.returncode, done.stdout, done.stderr)


def added(folder: Path) -> list[Path]:
    return sorted(folder.glob("*-added-*.csv"))


# The words


def test_each_reading_is_answered_with_whether_to_go_on_and_why(taking: Session) -> None:
    assert taking.step("165")[0] == "1: 165"
    assert "at least one more reading" in " ".join(taking.step("158\n"))
    assert "Go on if the animal lets you" in " ".join(taking.step("160"))
    for value in (159, 161, 160):
        told = taking.step(f"{value}")
    assert told[-1].startswith("Enough: five readings count")


def test_nothing_is_told_of_the_mean_or_the_range_before_the_end(taking: Session) -> None:
    told = " ".join(line for value in (141, 150, 158) for line in taking.step(f"{value}"))
    assert "In the range" not in told
    assert "149" not in told
    assert "150 mmHg" not in told


def test_words_of_the_room(taking: Session) -> None:
    for line in ("165", "silent", "over300", "< 40"):
        taking.step(line)
    assert taking.step("not 2 the cat moved")[0] == "2: no sound, does not count: the cat moved"
    taking.step("not tense")
    held = taking.readings
    assert [one.excluded for one in held] == ["", "the cat moved", "", "tense"]
    assert [(one.systolic, one.bound) for one in held[2:]] == [
        (300.0, "at least"),
        (40.0, "at most"),
    ]
    taking.step("counts 2")
    assert taking.readings[1].excluded == ""
    taking.step("back")
    assert taking.readings[1].excluded == "the cat moved"
    assert taking.step("list")[1] == "2: no sound, does not count: the cat moved"
    for _ in range(6):
        taking.step("back")
    assert taking.readings == ()
    with pytest.raises(CallError, match="nothing to take back"):
        taking.step("back")


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("16O", "write 160"),
        ("1650", "A digit too many"),
        ("165 158", "one reading a line"),
        ("not", "Say why reading 1"),
        ("not 1", "Say why reading 1"),
        ("not 1 no", "would not exclude"),
        ("not 4 moved", "There is no reading 4"),
        ("counts 1", "counts already"),
        ("undo it all", "shows the words"),
        ("0", "write no-sound"),
        ("\x1b[2J", "not a number"),
    ],
)
def test_what_is_not_understood_changes_nothing(taking: Session, line: str, says: str) -> None:
    taking.step("165")
    before = taking.readings
    with pytest.raises(CallError, match=re.escape(says)):
        taking.step(line)
    assert taking.readings == before


def test_of_a_collapsed_cat_the_urgent_line_comes_first_and_stays(taking: Session) -> None:
    first = taking.step("62")
    assert first[0].startswith("Urgent: The pressure may be too low")
    assert taking.step("silent")[0].startswith("Still urgent")
    # Of a mean above 90 it is not said; when it falls again it is said in full again.
    for line in ("140", "138", "139", "140"):
        told = taking.step(line)
    assert not told[0].startswith(("Urgent", "Still"))
    for line in ("40", "41", "40", "42", "41"):
        told = taking.step(line)
    assert any(one.startswith(("Urgent: ", "Still urgent")) for one in told)


# Through a pipe


def test_lines_from_a_pipe(folder: Path) -> None:
    ended = piped("165\n158\nnot moved\n160\n\n170\n", "--method", "doppler")
    assert ended.status == 0
    assert ended.out.startswith("Systolic 162.5 mmHg, the mean of 2 of 3 readings\n")
    assert "3: 160" in ended.err
    assert "170" not in ended.out + ended.err


def test_into_a_folder_from_a_pipe(folder: Path) -> None:
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    ended = piped("165\n158\n160\n", *INTO, "--into", folder)
    assert ended.status == 0, ended.err
    (file,) = added(folder)
    assert {name: (folder / name).read_bytes() for name in before} == before
    (session,) = sessions(read(folder)).to_dict("records")[-1:]
    assert session["systolic"] == 161
    assert session["n_taken"] == 3
    out = ended.out
    assert out.index("For the chart:") < out.index("Expected from 2 earlier Doppler sessions")
    assert out.index("Expected from") < out.index("What now") < out.index("Measure again")
    assert f"--cancel {file.stem.partition('-added-')[2]}" in ended.err
    # The range is kept back until the readings are down.
    assert "Expected" not in ended.err


def test_json_of_a_session_that_was_added(folder: Path) -> None:
    ended = piped("165\n158\n160\n", *INTO, "--into", folder, "--json")
    shown = json.loads(ended.out)
    assert shown["added"]["file"] == added(folder)[0].name
    assert shown["expected"]["lower"] < shown["expected"]["mean"] < shown["expected"]["upper"]
    assert [one["key"] for one in shown["now"]["statements"]][-1] == "short.recheck"
    assert shown["systolic"]["mean"] == 161


def test_a_line_that_is_not_understood_writes_nothing(folder: Path) -> None:
    ended = piped("165\n16O\n160\n\n", *INTO, "--into", folder)
    assert ended.status == 2
    assert "nothing was written" in ended.err
    assert "Systolic 162" in ended.out
    assert added(folder) == []


def test_a_last_line_without_an_end_is_said(folder: Path) -> None:
    ended = piped("165\n158\n160", "--method", "doppler")
    assert "has no line end" in ended.err
    assert "the mean of 3 of 3" in ended.out


@pytest.mark.parametrize("text", ["", "\n", "help\n\n"])
def test_without_a_reading_there_is_nothing(folder: Path, text: str) -> None:
    ended = piped(text, *INTO, "--into", folder)
    assert ended.status == 2
    assert "No reading was given" in ended.err
    assert added(folder) == []


def test_an_order_to_end_keeps_what_was_entered(folder: Path) -> None:
    process = subprocess.Popen(
        [sys.executable, "-m", "bpvet", "average", "--live", *INTO, "--into", str(folder)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        bufsize=1,
    )
    assert process.stdin is not None
    assert process.stderr is not None
    process.stdin.write("165\n158\n")
    process.stdin.flush()
    while "2: 158" not in process.stderr.readline():
        pass
    process.send_signal(signal.SIGTERM)
    out, said = process.communicate(timeout=120)
    assert process.returncode == 130
    assert "Kept: 2 readings (165, 158)" in said
    assert read(added(folder)[0]).readings["systolic"].tolist() == [165, 158]
    assert "For the chart:" in out


# On a terminal


@pytest.fixture
def terminal(folder: Path) -> Iterator[Callable[..., Terminal]]:
    started: list[Terminal] = []

    def start(*words: object) -> Terminal:
        started.append(Terminal("average", "--live", *words))
        return started[-1]

    yield start
    for one in started:
        try:
            os.kill(one.pid, signal.SIGKILL)
            os.waitpid(one.pid, 0)
        except (ProcessLookupError, ChildProcessError):
            continue


def test_a_session_as_a_technician_types_it(
    folder: Path, terminal: Callable[..., Terminal]
) -> None:
    room = terminal(*INTO, "--into", folder)
    assert "Readings of Pilchard (A17)" in room.until("1> ")
    room.type("172\r")
    assert "Go on" in room.until("2> ")
    room.type("158\r")
    room.until("3> ")
    room.type("1600\r")
    assert "Not taken" in room.until("3> ")
    room.type("160\r")
    room.until("4> ")
    room.type("silent\r")
    room.until("5> ")
    room.type("not 4 tail moved\r")
    room.until("5> ")
    room.type("190\r")
    room.until("6> ")
    room.type("back\r")
    assert "Taken back: 5: 190" in room.until("5> ")
    room.type("\r")
    room.until("To take it back")
    assert room.status() == 0
    rows = read(added(folder)[0]).readings
    assert rows["systolic"].tolist()[:3] == [172, 158, 160]
    assert rows["systolic_bound"].tolist() == ["", "", "", "no sound"]
    assert rows["excluded"].tolist() == ["", "", "", "tail moved"]
    assert "Expected from 2 earlier" in room.shown


def test_the_end_of_the_input_ends_as_an_empty_line_does(
    folder: Path, terminal: Callable[..., Terminal]
) -> None:
    room = terminal(*INTO, "--into", folder)
    room.until("1> ")
    room.type("165\r")
    room.until("2> ")
    room.type("158\r")
    room.until("3> ")
    room.type("16\x04\x04")
    said = room.until("To take it back")
    assert '"16" was not finished with Enter, and is not taken' in said
    assert "Kept: 2 readings (165, 158)" in said
    assert room.status() == 0
    assert read(added(folder)[0]).readings["systolic"].tolist() == [165, 158]


def test_an_interruption_keeps_the_readings_and_says_so(
    folder: Path, terminal: Callable[..., Terminal]
) -> None:
    room = terminal(*INTO, "--into", folder)
    room.until("1> ")
    room.type("165\r")
    room.until("2> ")
    room.type("15\x03")
    said = room.until("For the chart")
    assert "Ended by an interruption. Kept: 1 reading (165)" in said
    assert room.status() == 130
    assert f"--cancel {added(folder)[0].stem.partition('-added-')[2]}" in room.shown
    assert read(added(folder)[0]).readings["systolic"].tolist() == [165]


def test_an_interruption_without_a_folder_still_shows_the_line(
    terminal: Callable[..., Terminal],
) -> None:
    room = terminal("--method", "doppler")
    room.until("1> ")
    room.type("165\r")
    room.until("2> ")
    room.type("\x03")
    room.until("Systolic 165 mmHg (Doppler, mean of 1 of 1 reading; 165)")
    assert room.status() == 130


def test_what_the_check_asks_about_is_asked(
    folder: Path, terminal: Callable[..., Terminal]
) -> None:
    (folder / "animals.csv").write_text(
        "animal,species,name,left_on\nA17,cat,Pilchard,2026-03-01\n"
    )
    for answer, many in (("no", 0), ("yes", 1)):
        room = terminal(*INTO, "--into", folder)
        room.until("1> ")
        room.type("165\r")
        room.until("2> ")
        room.type("\r")
        assert "after the animal left" in room.until("Type yes: ")
        room.type(f"{answer}\r")
        status = room.status()
        assert (status, len(added(folder))) == ((0, 1) if many else (2, 0))
        assert many or "These readings are not in the records" in room.shown
