"""Signs that a vet writes down, by what they may be damage of: eye, brain, or weakness.

Phrases are matched whole, so that "murmur" or "retinal scar" is nothing here. Words such as
"left", "acute" or "suspected" are tolerated. A cell may hold several signs, joined by commas,
"and" or the like. Whether a sign is present is the status column's to say: a cell that itself
denies something or speaks of the past ("no seizure", "history of collapse") matches nothing.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from functools import cache

from bpvet.facts.sources import table

#: The most pressing first: a cell that names several is of the first it names one of.
GROUPS = ("eye", "brain", "weak")

_SEPARATORS = re.compile(r"[,;/+&\n]|\band\b|\bwith\b|\bor\b")


def sign_group(text: str) -> str | None:
    """Return what a sign may be damage of.

    Parameters
    ----------
    text : str
        The sign as written.

    Returns
    -------
    str or None
        ``eye``, ``brain``, ``weak`` (weakness, collapse or fainting), or None for any other.

    Examples
    --------
    >>> sign_group("Acute retinal detachment, left eye")
    'eye'
    >>> sign_group("murmur") is None, sign_group("no seizure") is None
    (True, True)
    """
    plain = unicodedata.normalize("NFKC", text).casefold()
    if not set(_words(plain)).isdisjoint(table("signs")["negations"]):
        return None
    phrases = [_phrase(plain), *(_phrase(part) for part in _SEPARATORS.split(plain))]
    found = {_by_phrase().get(phrase) for phrase in phrases}
    return next((group for group in GROUPS if group in found), None)


@cache
def _by_phrase() -> Mapping[str, str]:
    return {_phrase(phrase): group for group in GROUPS for phrase in table("signs")[group]}


@cache
def _tolerated() -> frozenset[str]:
    return frozenset(table("signs")["tolerated"])


def _phrase(text: str) -> str:
    return " ".join(word for word in _words(text) if word not in _tolerated())


def _words(text: str) -> list[str]:
    # "haemorrhage" may come with the joined letter.
    return re.findall(r"[a-z]+", text.replace("æ", "ae").replace("œ", "oe"))
