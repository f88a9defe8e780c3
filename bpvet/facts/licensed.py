"""The caution that stands on everything, the in-room sum too, which loads no other."""

from __future__ import annotations

from bpvet.facts.sources import table


def licensed() -> str:
    """Return the caution that stands on every output that may be kept.

    Examples
    --------
    >>> print(licensed().partition(";")[0])
    This supports the judgement of a licensed veterinarian and does not replace it
    """
    return str(table("cautions")["licensed"]["text"])
