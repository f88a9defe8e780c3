"""Near names, for the fix of a finding or an error; a suggestion is never applied."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from difflib import get_close_matches

from bpvet.reasons import reason
from bpvet.records.tables import OTHER_WORDS, plain_name


def nearest(text: str, known: Iterable[str], n: int = 3) -> tuple[str, ...]:
    """Return up to `n` of the `known` names that look most like `text`, nearest first.

    Examples
    --------
    >>> nearest("A71", ["A17", "B3"])
    ('A17',)
    >>> nearest("osc", ["doppler", "oscillometric"])
    ('oscillometric',)
    """
    names = list(dict.fromkeys(known))
    preferred = OTHER_WORDS.get(
        plain_name(text).replace("_", " "), OTHER_WORDS.get(plain_name(text))
    )
    if preferred in names:
        return (str(preferred),)
    by_folded: dict[str, list[str]] = {}
    for name in names:
        by_folded.setdefault(name.casefold(), []).append(name)
    found = get_close_matches(text.casefold()[:100], list(by_folded), n=n, cutoff=0.6)
    return tuple(name for folded in found for name in by_folded[folded])[:n]


def did_you_mean(names: Sequence[str]) -> str:
    """Return ``Did you mean "a" or "b"?``, or "" without names."""
    if not names:
        return ""
    return reason("near.did_you_mean", names=either(names))


def either(names: Sequence[str]) -> str:
    """Return names in quotation marks, joined by commas and a last "or"."""
    quoted = [f'"{name}"' for name in names]
    return quoted[0] if len(quoted) == 1 else f"{', '.join(quoted[:-1])} or {quoted[-1]}"
