"""One thing that is told: its key, by which it is chosen, and its words."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Statement:
    """One thing that is told.

    Parameters
    ----------
    key : str
        Topic and what is said of it, such as ``target.above``; stable, for choosing and testing.
    text : str
        One to four sentences.
    """

    key: str
    text: str

    @property
    def topic(self) -> str:
        """The first word of the key."""
        return self.key.partition(".")[0]
