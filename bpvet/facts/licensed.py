"""The caution that stands on everything, the in-room sum too, which loads no other."""

from __future__ import annotations


def licensed() -> str:
    """Return the caution that stands on every output that may be kept.

    Examples
    --------
    >>> print(licensed().partition(";")[0])
    This supports the judgement of a licensed veterinarian and does not replace it
    """
    from bpvet.wording.en.facts import LICENSED

    return LICENSED
