"""Readings one by one as they are taken, each answered at once. Standard library only.

A line is a reading, or one of a few plain words; an empty line ends. What to expect of the animal
is kept back: nothing is told here but what is urgent, whether to go on, and why. However it ends,
by an empty line, the end of the input or an interruption, every reading that was entered is there.
"""

from __future__ import annotations

import re
import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from bpvet.answers.room.result import RoomAnswer, RoomReading
from bpvet.command.shared.output import counted, say, wrapped
from bpvet.command.shared.typed_readings import given_reason, typed_reading
from bpvet.errors import CallError
from bpvet.facts.sources import footnotes
from bpvet.frozen import dataclass, replace
from bpvet.printing import escaped
from bpvet.records.findings import shown
from bpvet.wording.en.command.live import (
    HELP,
    NONE_NOW,
    NONE_YET,
    READING_TAKEN_BACK,
    TAKEN_BACK,
    ended,
    entered,
    half_line,
    still_urgent,
)
from bpvet.wording.en.command.typed import AFTER_THEM

#: How the taking of readings ended.
DONE, END, INTERRUPTED = "done", "end", "interrupted"

_BACK = re.compile(r"back", re.IGNORECASE)
_LIST, _HELP = re.compile(r"list", re.IGNORECASE), re.compile(r"help|\?", re.IGNORECASE)
_SILENT = re.compile(r"silent|no[ -]?sound", re.IGNORECASE)
_NOT = re.compile(r"not\b\s*(?:([0-9]{1,3})\b)?\s*(.*)", re.IGNORECASE | re.DOTALL)
_COUNTS = re.compile(r"counts\s+([0-9]{1,3})", re.IGNORECASE)


@dataclass(frozen=True)
class Taken:
    """The readings of a session, how the taking ended, and the lines that were not understood."""

    readings: tuple[RoomReading, ...]
    ended: str
    unread: tuple[str, ...]


#: Gives the in-room sum of the readings so far.
Sum = Callable[[list[RoomReading]], RoomAnswer]


class Session:
    """Readings being taken: what was entered, step by step, and what has been told.

    Parameters
    ----------
    method, species : str
        As `bpvet.command.shared.typed_readings.typed_reading` takes them.
    sum_of : callable
        The in-room sum.
    """

    def __init__(self, method: str, species: str, sum_of: Sum) -> None:
        self._method, self._species, self._sum = method, species, sum_of
        self._steps: list[tuple[RoomReading, ...]] = [()]
        self._told: set[str] = set()
        self._urgent: set[str] = set()

    @property
    def readings(self) -> tuple[RoomReading, ...]:
        """The readings so far, in order of taking."""
        return self._steps[-1]

    def step(self, line: str) -> list[str]:
        """Do what a line says; return what is to be told, each a paragraph.

        Raises
        ------
        CallError
            The line is neither a reading nor one of the words; nothing has changed.
        """
        text = line.strip()
        if _HELP.fullmatch(text):
            return HELP.splitlines()
        if _LIST.fullmatch(text):
            return self._listed()
        if _BACK.fullmatch(text):
            return self._back()
        if found := _COUNTS.fullmatch(text):
            return self._changed(self._number_of(found.group(1)), "")
        if found := _NOT.fullmatch(text):
            number = self._number_of(found.group(1) or str(len(self.readings)))
            reason = given_reason(found.group(2).strip(" =:"), shown(text))
            if not reason:
                raise CallError(f"Say why reading {number} does not count: not {number} moved")
            return self._changed(number, reason)
        if len(text.split()) > 1 and all(re.match(r"[0-9]", word) for word in text.split()):
            raise CallError(f"{shown(text)}: one reading a line.")
        word = "no-sound" if _SILENT.fullmatch(text) else text
        try:
            reading = typed_reading(word, self._method, self._species, len(self.readings) + 1)
        except CallError as error:
            if re.match(r"[<>≤≥]?\s*[0-9]", text):
                raise
            raise CallError(
                f'{str(error).replace(AFTER_THEM, "")} The word "help" shows the words.'
            ) from None
        self._steps.append((*self.readings, reading))
        return self._advice(entered(len(self.readings), _written(reading)))

    def _number_of(self, text: str) -> int:
        number, many = int(text), len(self.readings)
        if not many:
            raise CallError("There is no reading yet.")
        if not 1 <= number <= many:
            raise CallError(f"There is no reading {number}, only {many}.")
        return number

    def _back(self) -> list[str]:
        if len(self._steps) == 1:
            raise CallError("There is nothing to take back.")
        gone = self._steps.pop()
        if len(gone) > len(self.readings):
            done = READING_TAKEN_BACK.format(number=len(gone), reading=_written(gone[-1]))
        else:
            done = TAKEN_BACK
        return self._advice(done) if self.readings else [done, NONE_NOW]

    def _changed(self, number: int, reason: str) -> list[str]:
        readings = list(self.readings)
        if readings[number - 1].excluded == reason:
            raise CallError(f"Reading {number} {'does not count' if reason else 'counts'} already.")
        readings[number - 1] = replace(readings[number - 1], excluded=reason)
        self._steps.append(tuple(readings))
        return self._advice(entered(number, _written(readings[number - 1]), reason))

    def _listed(self) -> list[str]:
        if not self.readings:
            return [NONE_YET]
        return [
            entered(number, _written(reading), reading.excluded or None)
            for number, reading in enumerate(self.readings, start=1)
        ]

    def _advice(self, done: str) -> list[str]:
        """Return what is urgent, what was done, what has not been told yet, whether to go on."""
        answer = self._sum(list(self.readings))
        texts: list[str] = []
        for finding in answer.urgent:
            if finding.rule in self._urgent:
                texts.append(still_urgent(finding.rule))
            else:
                texts.append(f"Urgent: {finding.text}")
        self._urgent = {finding.rule for finding in answer.urgent}
        fresh = [*answer.words.cautions, *answer.words.notes]
        texts += [done, *(text for text in fresh if text not in self._told), *answer.words.go_on]
        notes = footnotes(*texts)
        texts += [text for text in notes if text not in self._told]
        self._told.update((*fresh, *notes))
        return texts


def taken_live(session: Session, who: str, quiet: bool) -> Taken:
    """Take readings from the standard input until it ends.

    Parameters
    ----------
    session : Session
    who : str
        Whose readings they are, for the first line on a terminal; may be blank.
    quiet : bool
        Whether only what is urgent, and what was not understood, is told.

    Raises
    ------
    CallError
        There is no standard input.
    """
    if sys.stdin is None:
        raise CallError("There is no standard input to take readings from.")
    asks = sys.stdin.isatty()
    if hasattr(sys.stdin, "reconfigure"):
        sys.stdin.reconfigure(errors="surrogateescape")
    if asks:
        say(f"Readings{f' of {who}' if who else ''}. {HELP}", quiet)
    unread: list[str] = []
    how = END
    try:
        with _interruptible():
            for line in _lines(session, asks):
                if not line.strip():
                    how = DONE
                    break
                if not line.endswith("\n") and _left_out(line, asks):
                    break
                _answer(session, line, quiet, unread)
    except KeyboardInterrupt:
        how = INTERRUPTED
        print(file=sys.stderr)
    if asks and how == END:
        print(file=sys.stderr)
    return Taken(session.readings, how, tuple(unread))


def ended_words(taken: Taken) -> str:
    """Return what was kept where the taking did not end by an empty line; blank where it did."""
    if taken.ended == DONE:
        return ""
    kept = ", ".join(map(_written, taken.readings))
    return ended(taken.ended, counted(len(taken.readings), "reading"), kept)


def _lines(session: Session, asks: bool) -> Iterator[str]:
    while True:
        if asks:
            print(f"{len(session.readings) + 1}> ", end="", file=sys.stderr, flush=True)
        line = sys.stdin.readline()
        if not line:
            return
        yield line


def _left_out(line: str, asks: bool) -> bool:
    """Say of a last line without a line end what becomes of it; return whether it is left out."""
    if asks:
        say(f"\n{half_line(shown(line), taken=False)}")
        return True
    say(half_line(shown(line), taken=True))
    return False


def _answer(session: Session, line: str, quiet: bool, unread: list[str]) -> None:
    try:
        texts = session.step(line)
    except CallError as error:
        say(escaped(f"Not taken: {error}", kept="\n"))
        unread.append(line.strip())
        return
    for text in texts:
        if not quiet or text.startswith(("Urgent", "Still urgent")):
            print(text if text in HELP else wrapped(text, "   ", ""), file=sys.stderr, flush=True)


@contextmanager
def _interruptible() -> Iterator[None]:
    """Let a closed terminal, or an order to end, be an interruption: what was entered is kept."""

    def interrupt(*_: Any) -> None:
        raise KeyboardInterrupt

    handlers = {}
    for name in ("SIGHUP", "SIGTERM"):
        number = getattr(signal, name, None)
        if number is not None:
            try:
                handlers[number] = signal.signal(number, interrupt)
            except ValueError:
                break  # only the main thread hears signals
    try:
        yield
    finally:
        for number, before in handlers.items():
            signal.signal(number, before)


def _written(reading: RoomReading) -> str:
    if reading.systolic is None:
        return "no sound"
    sign = {"at least": "> ", "at most": "< "}.get(reading.bound, "")
    beside = (reading.diastolic, reading.mean, reading.heart_rate)
    cells = "/".join("" if value is None else f"{value:g}" for value in beside).rstrip("/")
    return f"{sign}{reading.systolic:g}{'/' * bool(cells)}{cells}"
