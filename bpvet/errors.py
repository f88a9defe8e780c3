"""The three kinds of error a caller can meet, each with the exit status of the command line.

What a finding can tell is not raised: a row that cannot be used is set aside and said.
"""

from __future__ import annotations

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any


class BpvetError(Exception):
    """Any error that bpvet raises on purpose; its message is meant for the reader."""

    exit_status = 1


class CallError(BpvetError):
    """The call is wrong: an unknown animal, method, option or file (exit status 2)."""

    exit_status = 2


class Ambiguous(CallError):
    """More than one animal may be meant by what was given (exit status 2)."""


class NothingLeft(CallError):
    """No session is left that could enter the series asked for (exit status 2)."""


class FormulaError(CallError):
    """A formula that is refused; the message names the part (exit status 2)."""


class RecordsError(BpvetError):
    """The records have findings that stop the work (exit status 1).

    Attributes
    ----------
    findings : tuple of Finding
        The findings that stop the work, in the order of the input.
    """

    exit_status = 1

    def __init__(self, message: str, findings: Sequence[Any] = ()) -> None:
        super().__init__(message)
        self.findings = tuple(findings)


class FitError(BpvetError):
    """A fit that failed where it matters; it never returns numbers (exit status 1).

    Attributes
    ----------
    outcome : object or None
        What the optimiser or the integration reported.
    """

    exit_status = 1

    def __init__(self, message: str, outcome: object = None) -> None:
        super().__init__(message)
        self.outcome = outcome
