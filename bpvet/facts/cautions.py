"""What a report must say beside its figures."""

from __future__ import annotations

from functools import cache

from bpvet.errors import CallError
from bpvet.facts.licensed import licensed as licensed
from bpvet.facts.sources import Fact, as_remembered, fact, table
from bpvet.frozen import dataclass

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

#: When a caution is shown: always, or in one of these situations.
SITUATIONS = (
    "always",
    # A session or the usual pressure is at or above 160 mmHg.
    "raised",
    # Sessions were taken where an animal may be excited: not all at home.
    "situational",
    # Both methods are shown or joined; or they are laid against each other.
    "two_methods",
    "agreement",
    # A pressure-acting course is shown; the latest session is below the floor while one is on.
    "treated",
    "low_on_treatment",
    # A figure of the guideline is from memory and unchecked.
    "remembered",
    "sighthound",
    # There are fewer than three sessions.
    "few_visits",
    # Sessions of this method are shown.
    "doppler",
    "oscillometric",
    # Kidney values are shown, or treatment of pressure changed.
    "labs",
    # Calmed sessions or a calming drug are shown.
    "calming",
    # Readings were left out, excluded or set aside.
    "left_out",
)
#: So many cautions are read first: on a terminal the rest is asked for, on a page it is folded.
SHOWN = 5


@dataclass(frozen=True)
class Caution:
    """A caution.

    Parameters
    ----------
    id, text : str
        Its id and its sentence.
    applies : str
        The situation (`SITUATIONS`) in which it is shown.
    facts : tuple of Fact
        The facts behind the numbers in the sentence.
    """

    id: str
    text: str
    applies: str
    facts: tuple[Fact, ...] = ()


@cache
def cautions() -> tuple[Caution, ...]:
    """Return every caution, in the order in which a report shows them; the footnote is last."""
    from bpvet.wording.en.facts import CAUTIONS

    stated = (
        Caution(id, CAUTIONS[id], entry["applies"], tuple(map(fact, entry.get("facts", ()))))
        for id, entry in table("cautions").items()
    )
    return (*stated, Caution("remembered", as_remembered(), "remembered"))


def cautions_for(situations: Collection[str] = ()) -> tuple[Caution, ...]:
    """Return the cautions that a report carries: those for always, and for its situations.

    Parameters
    ----------
    situations : collection of str
        Of `SITUATIONS`.

    Raises
    ------
    CallError
        If a situation is not known.

    Examples
    --------
    >>> [caution.id for caution in cautions_for(["calming"]) if caution.applies != "always"]
    ['calming']
    """
    unknown = sorted(set(situations) - set(SITUATIONS))
    if unknown:
        raise CallError(
            f"Unknown situation {', '.join(unknown)}; there are {', '.join(SITUATIONS)}."
        )
    shown = {"always", *situations}
    return tuple(caution for caution in cautions() if caution.applies in shown)


def parted(texts: Sequence[str], most: int = SHOWN) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the cautions that are read first, and the rest; both in their order.

    The caution of licensed practice (`licensed`) is always among the first. The footnote of
    figures from memory is in neither: whoever prints the cautions prints it once, with
    `bpvet.facts.sources.footnotes`.

    Parameters
    ----------
    texts : sequence of str
        As an answer holds them.
    most : int
        So many are read first, at least 1.

    Examples
    --------
    >>> first, rest = parted(["a", "b", licensed(), "c"], 2)
    >>> len(first), rest
    (2, ('b', 'c'))
    """
    shown = [text for text in texts if text != as_remembered()]
    always = licensed()
    if len(shown) <= most:
        return tuple(shown), ()
    kept = [text for text in shown if text != always][: most - (always in shown)]
    first = [text for text in shown if text in kept or text == always]
    return tuple(first), tuple(text for text in shown if text not in first)
