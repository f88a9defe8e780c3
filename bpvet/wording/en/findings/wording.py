"""What a module of this folder is: the words of a check's findings, each under its code."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TypeVar

from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words

_Made = TypeVar("_Made", bound=Callable[..., Words])


class Wording:
    """The words of a check's findings.

    Parameters
    ----------
    fixed : mapping of Code to Words, optional
        Words that are the same for every finding of a code.

    Attributes
    ----------
    by_code : dict of Code
        These, and functions that make the words of a finding's values, which they take by name.
    """

    def __init__(self, fixed: Mapping[Code, Words] | None = None) -> None:
        self.by_code: dict[Code, Words | Callable[..., Words]] = dict(fixed or {})

    def of(self, *codes: Code) -> Callable[[_Made], _Made]:
        """Return a decorator of the function that makes the words of some codes."""

        def named(made: _Made) -> _Made:
            self.by_code.update(dict.fromkeys(codes, made))
            return made

        return named
