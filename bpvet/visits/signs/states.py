"""From rows of signs to how each stands: one sign a term, by its newest row.

A resolved detachment does not resolve a blindness; a newer "eyes: normal" answers all signs of
the eye. Where rows of one day disagree the more careful counts. A newer row that is not
clear answers nothing: what was present before it stands beside it. What a note asks is answered by
an entry of its term: present from the note's day on, absent or resolved on a later day (of one day
the more careful counts), or by a newer normal examination.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

import numpy as np

from bpvet.frozen import dataclass, replace
from bpvet.visits.signs.signs import Sign

#: Groups of damage to the eye or the brain that stays open until it is answered.
EYE_OR_BRAIN = ("eye", "brain", "brain_other")
#: Groups of which a sign that may be there is asked about before any visit is planned.
ALARMING = (*EYE_OR_BRAIN, "weak")
#: Groups of which what a note tells stays asked although the animal was seen since: a visit does
#: not show by itself that it sees, or had no more fits.
LASTING = ("eye", "brain")
#: Readings of one day, the more careful last.
_CARE = ("other", "denied", "past", "unread", "unclear", "present")
#: Which groups a normal examination of a group answers.
_ANSWERS = {
    "eye": ("eye", "look"),
    "look": ("eye", "look"),
    "brain": ("brain", "brain_other"),
    "brain_other": ("brain", "brain_other"),
    "heart": ("heart",),
    "kidney": ("kidney",),
}


@dataclass(frozen=True)
class SignState:
    """A sign as it stands on the date that is spoken for.

    Parameters
    ----------
    text : str
        As written in its newest row.
    term, group : str
        As in the list of terms; blank term where the words are not understood.
    reading : str
        ``present``, ``denied``, ``past``, ``unclear``, ``unread`` or ``other``.
    longstanding : bool
        Whether the vet has judged it known and unchanged.
    first_seen, seen_on : datetime64[D]
        Dates of the first row in which it is present (or unclear, unread), and of its newest row.
    asked_only : bool
        Whether it stands in a note or in a row that is set aside: asked about and never used.
    table : str
        The table of its newest row.
    """

    text: str
    term: str
    group: str
    reading: str
    longstanding: bool
    first_seen: np.datetime64
    seen_on: np.datetime64
    asked_only: bool
    table: str


def sign_states(signs: Iterable[Sign]) -> tuple[SignState, ...]:
    """Return how each sign of one animal stands, the newest first.

    Parameters
    ----------
    signs : iterable of Sign
        Its rows, as `bpvet.visits.signs.signs.animal_signs` gives them.
    """
    rows = list(signs)
    kept: dict[tuple[str, ...], list[Sign]] = {}
    for sign in rows:
        noted = sign.is_note
        # Words that are not understood are told one by one; so is what stands in notes.
        apart_by = () if sign.term and not noted else (sign.text.casefold(), str(sign.seen_on))
        kept.setdefault((sign.term, "note" if noted else "", *apart_by), []).append(sign)
    normal = _normal(rows)
    states = [state for group in kept.values() for state in _states(group, normal)]
    if any(state.asked_only for state in states):
        entered = _entered(rows)
        states = [_answered(state, entered) for state in states]
    # Without a date (NaT) as the oldest: it compares with nothing.
    dated = [state for state in states if not np.isnat(state.seen_on)]
    undated = [state for state in states if np.isnat(state.seen_on)]
    newest = sorted(dated, key=lambda state: (state.seen_on, state.text), reverse=True)
    return (*newest, *undated)


def _normal(rows: list[Sign]) -> dict[str, np.datetime64]:
    """Return the newest date on which each group was found normal as a whole."""
    found: dict[str, np.datetime64] = {}
    for sign in rows:
        whole = sign.reading == "denied" and sign.term.endswith("examination")
        if not whole or sign.is_note:
            continue
        for group in _ANSWERS.get(sign.group, ()):
            found[group] = max(found.get(group, sign.seen_on), sign.seen_on)
    return found


def _entered(rows: list[Sign]) -> dict[tuple[str, bool], np.datetime64]:
    """Return the newest day on which each term was entered, and whether as present."""
    found: dict[tuple[str, bool], np.datetime64] = {}
    for sign in rows:
        if sign.is_note or not sign.term or sign.reading not in ("present", "denied", "past"):
            continue
        key = sign.term, sign.reading == "present"
        found[key] = max(found.get(key, sign.seen_on), sign.seen_on)
    return found


def _answered(state: SignState, entered: Mapping[tuple[str, bool], np.datetime64]) -> SignState:
    """Return what a note asks, answered where an entry of its term answers it.

    ``other`` where the sign itself is entered, and told by itself; ``past`` where it has gone.
    """
    if not state.asked_only or state.reading not in ("present", "unclear"):
        return state
    there, gone = entered.get((state.term, True)), entered.get((state.term, False))
    if there is not None and there >= state.seen_on:
        return replace(state, reading="other")
    if gone is not None and gone > state.seen_on:
        return replace(state, reading="past")
    return state


def _states(rows: list[Sign], normal: dict[str, np.datetime64]) -> Iterator[SignState]:
    """Yield how a sign stands, and what an unclear newest row does not answer.

    A blindness is not over because a later row of it cannot be read ("resolvd").
    """
    state = _state(rows, normal)
    yield state
    clear = [sign for sign in rows if sign.reading not in ("unclear", "unread")]
    if clear and state.reading == "unclear" and not state.asked_only:
        before = _state(clear, normal)
        if before.reading == "present" and not before.longstanding:
            yield before


def _state(rows: list[Sign], normal: dict[str, np.datetime64]) -> SignState:
    newest_day = max(sign.seen_on for sign in rows)
    # Rows without a date (NaT, equal to nothing) stand by themselves.
    of_day = [sign for sign in rows if sign.seen_on == newest_day] or rows
    # A sign that the vet has judged longstanding outweighs another row of its day; that word beside
    # a denial judges nothing and outweighs nothing.
    newest = max(of_day, key=lambda sign: (_is_judged(sign), _CARE.index(sign.reading)))
    # The dates of the rows in which a sign lives, after the last that answered it.
    examined = normal.get(newest.group)
    answers = [row.seen_on for row in rows if row.reading in ("denied", "past")]
    answers += [examined] if examined is not None else []
    last_seen = max(row.seen_on for row in rows)
    last = max((day for day in answers if day < last_seen), default=None)
    alive = [row.seen_on for row in rows if row.reading in ("present", "unclear", "unread")]
    living = [day for day in alive if last is None or day > last]
    answered = newest.group in normal and bool(normal[newest.group] > newest.seen_on)
    reading = newest.reading
    # What the vet has judged longstanding stays told, whatever else was found normal since.
    answered = answered and newest.status != "longstanding"
    if answered and reading in ("present", "unclear"):
        reading = "past"
    return SignState(
        term=newest.term,
        group=newest.group,
        text=newest.text,
        reading=reading,
        longstanding=_is_judged(newest),
        first_seen=min(living, default=newest.seen_on),
        seen_on=newest.seen_on,
        asked_only=newest.is_note,
        table=newest.table,
    )


def _is_judged(sign: Sign) -> bool:
    return sign.status == "longstanding" and sign.reading == "present"
