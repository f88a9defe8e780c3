"""One thing that is told: its key, by which it is chosen, and its words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import Any, ClassVar

from bpvet.answers.json_values import NOT_PRINTED, plain
from bpvet.frozen import dataclass, field


@dataclass(frozen=True)
class Statement:
    """One thing that is told; ``--json`` prints it as ``{"key": …, "text": …}``.

    Parameters
    ----------
    key : str
        Topic and what is said of it, such as ``target.above``; stable, for choosing and testing.
    text : str
        One to four sentences.
    short : str
        The same under a heading that names the topic, and under its `lead`: what a tile, a list
        or a caption takes; blank where no such place tells of it.
    outside : str
        The same for a reader who cannot change the records, without what asks for that; blank
        where it asks for nothing.
    tells : tuple of (str, str)
        Rows of the records that it names: what is written there, and its ISO date. Of a drug its
        name and start; a blank start where it names the drug and not the spell.
    lead : str
        What stands out above the short text; blank where nothing does.
    """

    key: str
    text: str
    short: str = field(default="", metadata=NOT_PRINTED)
    outside: str = field(default="", metadata=NOT_PRINTED)
    tells: tuple[tuple[str, str], ...] = field(default=(), metadata=NOT_PRINTED)
    lead: str = field(default="", metadata=NOT_PRINTED)

    @property
    def topic(self) -> str:
        """The first word of the key."""
        return self.key.partition(".")[0]


def texts_of(statements: Iterable[Statement]) -> tuple[str, ...]:
    """Return the words of statements, without their keys: what ``sentences`` holds."""
    return tuple(statement.text for statement in statements)


class Worded:
    """An answer with statements, cautions and the version of the program: what it says of itself.

    `topics` are those of its statements, in the order in which they are told.
    """

    topics: ClassVar[tuple[str, ...]] = ()
    statements: tuple[Statement, ...]
    cautions: tuple[str, ...]
    version: str

    @property
    def sentences(self) -> tuple[str, ...]:
        """The words of the statements."""
        return texts_of(self.statements)

    @property
    def sections(self) -> Mapping[str, tuple[str, ...]]:
        """The words of the statements by topic, for each of `topics`."""
        return MappingProxyType(
            {
                topic: texts_of(
                    statement for statement in self.statements if statement.topic == topic
                )
                for topic in self.topics
            }
        )

    def _worded(self) -> dict[str, Any]:
        """Return statements, cautions and version as plain JSON values."""
        return {
            "statements": plain(self.statements),
            "sentences": list(self.sentences),
            "cautions": list(self.cautions),
            "version": self.version,
        }
