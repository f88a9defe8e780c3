"""One thing that is told: its key, by which it is chosen, and its words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True)
class Statement:
    """One thing that is told; ``--json`` prints it as ``{"key": …, "text": …}``.

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


def texts_of(statements: Iterable[Statement]) -> tuple[str, ...]:
    """Return the words of statements, without their keys: what ``sentences`` holds."""
    return tuple(one.text for one in statements)


def sections_of(
    statements: Sequence[Statement], topics: Sequence[str]
) -> Mapping[str, tuple[str, ...]]:
    """Return the words of statements by topic; empty where nothing is told of one."""
    return MappingProxyType(
        {topic: texts_of(one for one in statements if one.topic == topic) for topic in topics}
    )
