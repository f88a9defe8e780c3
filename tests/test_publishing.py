"""Sets of files: all or none after an end at any moment, one writer at a time, nothing lost."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Mapping
from pathlib import Path

import pytest

from bpvet import locks, publishing
from bpvet.errors import CallError
from bpvet.locks import JOURNAL, LOCK, locked, unfinished
from bpvet.publishing import publish, recovered

posix = pytest.mark.skipif(os.name != "posix", reason="signals of another kind")
OLD = {"p.json": b"old parameters", "a.ipynb": b"old notebook", "a.html": b"old page"}
NEW = {"p.json": b"new parameters", "a.ipynb": b"new notebook", "a.html": b"new page"}

#: Publishes a set and kills itself before the step that was asked for.
_RUN = """\
import os, signal, sys
from pathlib import Path
from bpvet.publishing import publish
folder, step = Path(sys.argv[1]), int(sys.argv[2])
done = 0
def watch(event, arguments):
    global done
    if event in ("open", "os.chmod", "os.link", "os.rename", "os.remove"):
        if os.path.dirname(str(arguments[0])) == str(folder):
            done += 1
            if done == step:
                os.kill(os.getpid(), signal.SIGKILL)
sys.addaudithook(watch)
new = {name: name.encode() * 1000 for name in ("p.json", "a.ipynb", "a.html")}
publish(folder, new, replace=True)
print(done)
"""


def held(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def fill(folder: Path, contents: Mapping[str, bytes]) -> None:
    for path in folder.iterdir():
        path.unlink()
    for name, content in contents.items():
        (folder / name).write_bytes(content)


def run(folder: Path, step: int) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-c", _RUN, str(folder), str(step)]
    return subprocess.run(command, capture_output=True, text=True)


@posix
@pytest.mark.parametrize("before", [OLD, {}, {"p.json": b"old"}], ids=["all", "none", "one"])
def test_killed_before_each_step_the_next_finishes_or_takes_back(
    tmp_path: Path, before: Mapping[str, bytes]
) -> None:
    new = {name: name.encode() * 1000 for name in NEW}
    fill(tmp_path, before)
    steps = int(run(tmp_path, 0).stdout)
    assert held(tmp_path) == new
    met, finished = set(), 0
    for step in range(1, steps + 1):
        fill(tmp_path, before)
        assert run(tmp_path, step).returncode == -signal.SIGKILL
        for name in before:
            assert (tmp_path / name).read_bytes() in (before[name], new[name])
        left = [name for name in os.listdir(tmp_path) if unfinished(name) and name != LOCK]
        said = recovered(tmp_path)
        assert bool(said) == bool(left), left
        assert held(tmp_path) in (before, new)
        met.add(held(tmp_path) == new)
        finished += "in place now" in "".join(said)
        assert recovered(tmp_path) == []
    assert met == {True, False}
    assert finished > 3


def stopped(folder: Path, before: Mapping[str, bytes], monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave a folder as if the work had ended after the first of three files was moved."""
    fill(folder, before)

    class Ended(BaseException):
        pass

    place, moved = publishing._placed, []

    def ends(*given: object) -> None:
        if moved:
            raise Ended
        moved.append(place(*given))  # type: ignore[arg-type, func-returns-value]

    with monkeypatch.context() as patched:
        patched.setattr(publishing, "_placed", ends)
        patched.setattr(publishing, "_taken_back", lambda *_: None)
        patched.setattr(Path, "unlink", lambda *_, **__: None)
        with pytest.raises(Ended):
            publish(folder, NEW, replace=True)
    (folder / LOCK).unlink()


def test_what_was_changed_since_is_kept_beside(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stopped(tmp_path, OLD, monkeypatch)
    (tmp_path / "a.ipynb").write_bytes(b"mine")
    first, second = recovered(tmp_path)
    assert '"a.html" and 2 more' in first
    assert "in place now" in first
    assert second == '"a.ipynb" had been changed since, and is kept as "a.kept-1.ipynb".'
    assert held(tmp_path) == NEW | {"a.kept-1.ipynb": b"mine"}


@pytest.mark.parametrize("before", [OLD, {}], ids=["old", "none"])
def test_what_cannot_be_finished_is_taken_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, before: Mapping[str, bytes]
) -> None:
    stopped(tmp_path, before, monkeypatch)
    (move,) = [one for one in publishing._moves_in(tmp_path / JOURNAL) if one.name == "a.html"]
    (tmp_path / move.part).write_bytes(b"new")
    (said,) = recovered(tmp_path)
    assert "as they were before" in said
    assert held(tmp_path) == before


def test_the_next_that_publishes_says_what_it_finished(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stopped(tmp_path, OLD, monkeypatch)
    with pytest.warns(UserWarning, match="in place now"):
        publish(tmp_path, {"other": b"1"})
    assert held(tmp_path) == NEW | {"other": b"1"}


def test_an_error_on_the_way_leaves_all_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(tmp_path, OLD)
    replace = os.replace

    def refused(source: Path, place: Path) -> None:
        if place.name == "a.html":
            raise PermissionError(13, "Permission denied", str(source), None, str(place))
        replace(source, place)

    with monkeypatch.context() as patched:
        patched.setattr(os, "replace", refused)
        with pytest.raises(CallError, match=r'a\.html" cannot be written: Permission denied'):
            publish(tmp_path, NEW, replace=True)
    assert held(tmp_path) == OLD


def test_none_is_written_where_one_is_there_already(tmp_path: Path) -> None:
    fill(tmp_path, {"a.html": b"mine"})
    with pytest.raises(CallError, match=r'a\.html" is there already'):
        publish(tmp_path, NEW)
    assert held(tmp_path) == {"a.html": b"mine"}


def test_what_is_refused_at_the_last_moment_leaves_all_as_it_was(tmp_path: Path) -> None:
    fill(tmp_path, OLD)

    def refuse() -> None:
        assert (tmp_path / LOCK).exists()
        raise CallError("changed meanwhile")

    with pytest.raises(CallError, match="changed meanwhile"):
        publish(tmp_path, NEW, replace=True, check=refuse)
    assert held(tmp_path) == OLD


def move(**values: str) -> dict[str, str]:
    names = {"name": "a", "part": ".bpvet-1.part", "back": "", "new": "1", "old": ""}
    return names | values


@pytest.mark.parametrize(
    "content",
    [
        "[" * 90_000,
        "{}",
        '{"moves": []}',
        json.dumps({"moves": [move(name="../far")]}),
        json.dumps({"moves": [move(part="readings.csv")]}),
        json.dumps({"moves": [move(back="../../x.part")]}),
        json.dumps({"moves": [move(name=".bpvet-lock")]}),
        json.dumps({"moves": [{**move(), "more": "x"}]}),
        json.dumps({"moves": [move()] * 100}),
    ],
    ids=range(9),
)
def test_a_journal_that_is_none_of_ours_moves_nothing(tmp_path: Path, content: str) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "far").write_bytes(b"far")
    (tmp_path / "out" / "readings.csv").write_bytes(b"mine")
    (tmp_path / "out" / JOURNAL).write_text(content)
    (said,) = recovered(tmp_path / "out")
    assert "stay as they were" in said
    assert held(tmp_path / "out") == {"readings.csv": b"mine"}
    assert (tmp_path / "far").read_bytes() == b"far"


def test_many_writers_leave_one_set(tmp_path: Path) -> None:
    def write(mark: str) -> None:
        for _ in range(15):
            publish(tmp_path, {name: mark.encode() * 5000 for name in NEW}, replace=True)

    threads = [threading.Thread(target=write, args=(mark,)) for mark in "abcd"]
    for one in threads:
        one.start()
    while any(one.is_alive() for one in threads):
        time.sleep(0.01)
    assert set(held(tmp_path)) == set(NEW)
    assert len(set(held(tmp_path).values())) == 1


def lock_of(pid: int, host: str = "") -> str:
    return json.dumps({"pid": pid, "host": host or socket.gethostname()})


def test_another_that_is_writing_is_told(tmp_path: Path) -> None:
    with (
        locked(tmp_path),
        pytest.raises(CallError, match=rf"Another bpvet is writing .*process {os.getpid()} on"),
        locked(tmp_path, seconds=0.1),
    ):
        pass
    assert held(tmp_path) == {}


@posix
@pytest.mark.parametrize(
    ("content", "age", "broken"),
    [
        (lock_of(2**22 + 1), 0, True),  # a process that cannot be
        ("this process", 0, True),  # its number was given to another, who locks nothing
        (lock_of(1, "elsewhere"), 0, False),
        (lock_of(1, "elsewhere"), 3600, True),
        ("", 0, False),  # just being made
        ("", 60, True),
        ("[" * 900, 60, True),
    ],
)
def test_a_lock_that_was_left_behind_is_told_from_one_that_is_held(
    tmp_path: Path, content: str, age: int, broken: bool
) -> None:
    path = tmp_path / LOCK
    # The number of a process would make test processes disagree on the names of the tests.
    content = lock_of(os.getpid()) if content == "this process" else content
    path.write_text(content)
    then = time.time() - age
    os.utime(path, (then, then))
    if broken:
        publish(tmp_path, {"a": b"1"})
        assert held(tmp_path) == {"a": b"1"}
    else:
        with pytest.raises(CallError, match="Another bpvet is writing"), locked(tmp_path, 0.1):
            pass
        assert path.read_text() == content


def test_a_disk_without_locks_still_has_the_processes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(locks, "hold", lambda *_, **__: None)
    (tmp_path / LOCK).write_text(lock_of(os.getppid()))
    with pytest.raises(CallError, match="Another bpvet"), locked(tmp_path, 0.1):
        pass
    (tmp_path / LOCK).write_text(lock_of(2**22 + 1))
    with locked(tmp_path, 0.1):
        pass
    assert held(tmp_path) == {}
