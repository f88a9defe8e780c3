"""The five answers that a letter gives room to: from the frozen answer, the urgent first."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

from bpvet.answers.drug_words import NOT_A_REASON, treatment
from bpvet.answers.parts import TrendAnswer
from bpvet.answers.sentences import sentence

#: So many are said; urgent ones beyond that are said all the same.
SAID = 5

_BETWEEN = re.compile(r"(?<=[.!?]) (?=[A-Z])")
#: Beginnings of later sentences that stay, because the first alone would mislead.
_KEPT = (NOT_A_REASON, "The response is unfinished", "It lies below", "Only ", "No session lies")


def five(answer: TrendAnswer) -> tuple[str, ...]:
    """Return what matters most of an answer, at the length of a letter.

    What is urgent is never left out nor shortened; after it come the usual pressure, the
    target, the drugs (those still given first, the newest first), a surprising session, the
    next visit and the slope, until there are five.

    Parameters
    ----------
    answer : TrendAnswer

    Returns
    -------
    tuple of str
        Five texts of one or two sentences; fewer where there is less to say.
    """
    urgent = [f"Urgent: {one.text}" for one in answer.urgent or ()]
    return tuple([*urgent, *_others(answer)][: max(SAID, len(urgent))])


def _others(answer: TrendAnswer) -> Iterator[str]:
    """Yield what is not urgent, in the order of its weight; blank topics left out."""
    joined = " (Joined series.)" if answer.bridged else ""
    texts = [_start(sentence(answer, "usual"), 2), _start(sentence(answer, "target"), 2)]
    given = sorted(
        answer.treatments, key=lambda one: (np.isnat(one.stopped_on), one.started_on), reverse=True
    )
    texts += [_start(treatment(answer, one), 1) for one in given]
    if answer.surprise.words not in (None, "as expected"):
        texts.append(sentence(answer, "surprise"))
    texts += [sentence(answer, "recheck"), _start(sentence(answer, "slope"), 2)]
    texts += [sentence(answer, "category"), sentence(answer, "next_session")]
    yield from (f"{text}{joined}" for text in texts if text)


def _start(text: str, most: int) -> str:
    """Return the first sentences of an answer, and those of the rest that must stay with them."""
    parts = _BETWEEN.split(text)
    return " ".join(parts[:most] + [one for one in parts[most:] if one.startswith(_KEPT)])
