"""Why something is not given, or what it is called: a code to decide on, and its words.

Standard library only: the in-room sum uses them too.
"""

from __future__ import annotations

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Self


class Reason(str):
    """A reason as it is printed and stored, with the code by which its words were chosen.

    Decide on `code`, never on the words: they are worded in `bpvet.wording.en.reasons`.

    Examples
    --------
    >>> found = reason("kidney.old", name="creatinine")
    >>> found.code, str(found)
    ('kidney.old', 'no creatinine in the last 24 months')
    """

    __slots__ = ("code",)
    code: str

    def __new__(cls, code: str, text: str) -> Self:
        self = super().__new__(cls, text)
        self.code = code
        return self

    def __reduce__(self) -> tuple[type[Reason], tuple[str, str]]:
        return type(self), (self.code, str(self))


def reason(code: str, **values: object) -> Reason:
    """Return a reason by its code, and the values that its words speak of.

    Raises
    ------
    KeyError
        For a code without words, or words that speak of what is not given.
    """
    from bpvet.wording.en.reasons import REASONS

    return Reason(code, REASONS[code].format(**values))
