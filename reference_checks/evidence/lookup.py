"""Looking up figures that no user meets, beside the facts of the package."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from bpvet.facts.sources import TOPICS, Fact, facts, facts_from

HOME = Path(__file__).parent
#: The data file that holds questions, and no facts.
MATTERS = "matters"


@dataclass(frozen=True)
class Matter:
    """A contested matter: the question, and each position as a sourced fact."""

    id: str
    question: str
    positions: tuple[Fact, ...]


@cache
def evidence(topic: str) -> dict[str, Fact]:
    """Return the figures of one topic by id, each checked as a fact of the package is."""
    path = HOME / f"{topic}.toml"
    if not path.exists():
        return {}
    return facts_from(tomllib.loads(path.read_text(encoding="utf-8")), topic)


def topics() -> tuple[str, ...]:
    """Return the topics that have evidence."""
    return tuple(path.stem for path in sorted(HOME.glob("*.toml")) if path.stem != MATTERS)


def every(topic: str | None = None) -> tuple[Fact, ...]:
    """Return the facts of the package and the evidence, of one topic or of all."""
    chosen = tuple(dict.fromkeys((*TOPICS, *topics()))) if topic is None else (topic,)
    found: list[Fact] = []
    for name in chosen:
        found += facts(name) if name in TOPICS else ()
        found += evidence(name).values()
    return tuple(found)


def known(id: str) -> Fact:
    """Return a fact of the package or of the evidence; an unknown id is a `KeyError`."""
    found = {one.id: one for one in every(id.partition(".")[0])}
    return found[id]


def matters() -> tuple[Matter, ...]:
    """Return what is contested among the sources, each position with its fact."""
    entries = tomllib.loads((HOME / f"{MATTERS}.toml").read_text(encoding="utf-8"))
    return tuple(
        Matter(id, entry["question"], tuple(known(position) for position in entry["positions"]))
        for id, entry in entries.items()
    )
