"""Breeds whose pressure runs apart: sighthounds, and what is known of a breed's own pressure."""

from __future__ import annotations

import re
import unicodedata
from functools import cache

from bpvet.facts.sources import Fact, fact, table


def sighthound(breed: str) -> bool:
    """Return whether a breed counts as a sighthound, for which a category is withheld.

    Case, accents, word order and words such as "retired" or "cross" are forgiven. Irish
    wolfhounds are among them although their pressure runs low: no allowance is ever applied.

    Examples
    --------
    >>> sighthound("Greyhound (retired racer)"), sighthound("Labrador")
    (True, False)
    """
    return _key(breed) in map(_key, table("breeds")["sighthounds"])


def breed_range(breed: str) -> Fact | None:
    """Return the range of systolic pressure of a breed, where one with both ends is sourced.

    None is at present: of the breeds that run apart, only means could be read (`breed_mean`).
    """
    return next((figure for figure in _known(breed) if None not in (figure.low, figure.high)), None)


def breed_mean(breed: str) -> Fact | None:
    """Return the mean systolic pressure of a breed, where one is sourced.

    Examples
    --------
    >>> breed_mean("Irish Wolfhound").value
    116.0
    """
    return next((figure for figure in _known(breed) if figure.value is not None), None)


def _known(breed: str) -> tuple[Fact, ...]:
    for name, ids in table("breeds")["known"].items():
        if _key(name) == _key(breed):
            return tuple(fact(id) for id in ids)
    return ()


@cache
def _key(text: str) -> frozenset[str]:
    """Return the words of a breed's name in no order: "Hound, Afghan" is "Afghan hound"."""
    plain = unicodedata.normalize("NFKD", text.casefold())
    bare = "".join(mark for mark in plain if not unicodedata.combining(mark))
    words = set(re.findall(r"[a-z]+", bare)).difference(table("breeds")["tolerated"])
    return frozenset(word.removesuffix("s") for word in words)
