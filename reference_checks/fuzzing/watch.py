"""One call of the command line under watch: what it may never do, and that it did not.

A call may end with 0, 1 or 2. It may not raise, print a traceback, take longer than ten seconds,
open a file for writing outside its own folder, start another program, speak to a network, or
change its input.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
import resource
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import bpvet.command.main as command_line
from bpvet.command.main import main

SECONDS = 10.0
#: Seconds that a call may wait for others on the machine.
_WAITING = 30.0
#: Growth of this process's memory that a small input may cause, in bytes.
MEMORY = 1 << 30
#: Looked up now: within the hook it would wait for itself.
_SPARE = Path(tempfile.gettempdir()).resolve()
#: What nobody may do while records are read.
FORBIDDEN = ("os.system", "os.exec", "os.posix_spawn", "subprocess.Popen", "socket.connect")
_WRITES = ("os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.link", "os.symlink", "os.chmod")


class Broken(AssertionError):
    """What a call did that it may not."""


@dataclass(frozen=True)
class Said:
    """What a call printed, and how it ended."""

    status: int
    out: str
    err: str
    seconds: float


class Watch:
    """Looks on while commands run; one a process, as what was hooked stays hooked.

    Parameters
    ----------
    programs : bool
        Whether the calls may start a program and speak to it, as a report's notebook needs.
    """

    def __init__(self, programs: bool = False) -> None:
        self._forbidden = () if programs else FORBIDDEN
        self._allowed: Path | None = None
        self._seen: list[str] = []
        sys.addaudithook(self._heard)
        # What nobody foresaw is to be seen as it is, not as the sentence that a user reads.
        command_line._unforeseen = _raised  # type: ignore[attr-defined]

    def run(
        self, arguments: Sequence[str], records: Path, own: Path, seconds: float = SECONDS
    ) -> Said:
        """Run one call and return what it said.

        Parameters
        ----------
        arguments : sequence of str
            The call, without the program's name.
        records : Path
            The input: a file or a folder; it must be the same afterwards.
        own : Path
            The only folder that may be written into.
        seconds : float
            Longest that it may take.

        Raises
        ------
        Broken
        """
        return self.watched(lambda: main(list(arguments)), records, own, seconds)

    def watched(
        self, call: Callable[[], int], records: Path, own: Path, seconds: float = SECONDS
    ) -> Said:
        """Run anything that ends with a status as `run` runs a command, and return what it said."""
        before = digest(records)
        grown = peak()
        out, err = io.StringIO(), io.StringIO()
        started = time.process_time(), time.monotonic()
        with self._looking(own), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            try:
                status = call()
            except (Exception, SystemExit) as error:
                raise Broken(f"it raised {type(error).__name__}: {error}") from error
        taken = time.process_time() - started[0], time.monotonic() - started[1]
        # Of a machine that does much else, only what this process took is told; a hang shows too.
        said = Said(status, out.getvalue(), err.getvalue(), max(taken[0], taken[1] - _WAITING))
        self._judge(said, peak() - grown, seconds)
        if digest(records) != before:
            raise Broken("the input was changed")
        return said

    def _judge(self, said: Said, grown: int, seconds: float) -> None:
        if self._seen:
            raise Broken(f"it did what it may not: {'; '.join(self._seen)}")
        if said.status not in (0, 1, 2):
            raise Broken(f"it ended with {said.status}: {said.err[-300:]}")
        if "Traceback (most recent" in said.out + said.err:
            raise Broken("it printed a traceback")
        if "Warning: " in said.err:
            # What a library warns of is noise to a reader, or a slip of ours.
            raise Broken(f"it printed a warning: {said.err[-300:]}")
        if said.status and not said.err.strip() and not said.out.strip():
            raise Broken(f"it ended with {said.status} and said nothing")
        if grown > MEMORY:
            raise Broken(f"memory grew by {grown >> 20} MB")
        if said.seconds > seconds:
            raise Broken(f"it took {said.seconds:.1f} s")

    @contextlib.contextmanager
    def _looking(self, own: Path) -> Iterator[None]:
        self._seen.clear()
        self._allowed = own.resolve()
        try:
            yield
        finally:
            self._allowed = None

    def _heard(self, event: str, given: tuple[Any, ...]) -> None:
        if self._allowed is None:
            return
        if event in self._forbidden:
            self._seen.append(event)
        elif (event == "open" and _is_writing(given)) or (
            event in _WRITES and not _within_a_folder(given)
        ):
            self._note_place(event, given[0])

    def _note_place(self, event: str, place: Any) -> None:
        allowed = self._allowed
        if isinstance(place, int) or allowed is None:
            return
        # What is looked up here must not be heard again.
        self._allowed = None
        try:
            path = Path(os.path.realpath(os.fsdecode(place)))
            if not path.is_relative_to(allowed) and not _harmless(path):
                self._seen.append(f"{event} {path}")
        finally:
            self._allowed = allowed


def _raised(given: Sequence[str], error: Exception) -> tuple[str, int]:
    raise error


def peak() -> int:
    """Return the peak memory of this program in bytes.

    Where the system tells it: what `resource` tells begins with the parent's.
    """
    status = Path("/proc/self/status")
    if status.exists():
        return int(status.read_text().partition("VmHWM:")[2].split()[0]) * 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def digest(place: Path) -> str:
    """Return a digest of a file, or of every file of a folder with its name."""
    found = hashlib.sha256()
    files = sorted(place.rglob("*")) if place.is_dir() else [place]
    for file in files:
        if file.is_file():
            found.update(os.fsencode(file) + b"\0" + file.read_bytes())
    return found.hexdigest()


def _is_writing(given: tuple[Any, ...]) -> bool:
    _, mode, flags = given
    if isinstance(mode, str):
        return any(letter in mode for letter in "wxa+")
    return bool(flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT))


def _within_a_folder(given: tuple[Any, ...]) -> bool:
    """Whether the place is told from a folder that is open already, as when a tree is removed."""
    return any(isinstance(part, int) and part >= 0 for part in given[-1:])


def _harmless(path: Path) -> bool:
    """Whether a place is no one's file: devices, byte code, parts of a workbook being written.

    Such a part is a file of a name of its library's, or one without any name, which shows as the
    folder itself being opened.
    """
    spare = path == _SPARE or (path.parent == _SPARE and path.match("openpyxl.*"))
    return str(path) == os.devnull or "__pycache__" in path.parts or spare
