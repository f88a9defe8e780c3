"""What notes say of treatments and of an animal's end, in a few words: asked about, never used.

A drug whose stop stands in a note alone reads as one that is still given, and an animal whose death
does is rung up. Words are sought, not understood: what is found is a question for who reads it.
"""

from __future__ import annotations

import re
from functools import cache

from bpvet.facts.drugs import drug, drugs, near_drugs

#: A drug that ended, was not given, or is only planned.
_NOT_GIVEN = re.compile(
    r"\b(?:stop(?:s|ped|ping)?|discontinu\w*|ceas\w+|finish\w*|ended|withdr[ae]w\w*|wean\w*"
    r"|taper\w*|no longer|never|(?:not|n[o']t|isnt|wont|cant)\b.{0,12}\b(?:giv\w+|tak\w+|tolerat\w+"
    r"|start\w*|collect\w*|dispens\w*|compl\w+|on it)|ran out|run out|refus\w+|miss(?:ed|es|ing)"
    r"|skip\w*|forg[eo]t\w*|chang(?:e|ed|ing)|switch\w*|swap\w*|replac\w*|on hold|paus\w+"
    r"|d/c\w*|off|(?:to|will|may|might) (?:be )?start\w*|start if|plan(?:ned)?)\b|\?",
    re.IGNORECASE,
)
#: A change of dose, said of a dose or in few words ("increased appetite" is none).
_DOSE = re.compile(
    r"\b(?:halv\w+|doubl\w+|increas\w+|reduc\w+|decreas\w+|up|down)\b", re.IGNORECASE
)
_OF_DOSE = re.compile(r"\b(?:dos\w+|tab\w*|pills?|daily|sid|bid|eod)\b|\d ?mg\b", re.IGNORECASE)
_FEW_WORDS = 2
_BEGAN = re.compile(r"\b(?:start\w*|began|begun|restart\w*|resum\w+|now on)\b", re.IGNORECASE)
_MEDICINES = re.compile(r"\b(?:meds?|medicines?|medications?|tablets?|pills?)\b", re.IGNORECASE)
#: An animal that died or left. A name may be Rip.
_LEFT = re.compile(
    r"\b(?:died|dead|deceased|passed away|put to sleep|put down|pts|euthan\w+|rip|r\.i\.p"
    r"|destroyed|re-?homed)\b|†",
    re.IGNORECASE,
)
#: Letters from which a word that begins a drug's name is a short name for it ("amlo").
_SHORT_NAME = 4
#: A dose of nothing, in whatever unit.
_NOTHING = re.compile(r"\s*0+(?:[.,]0*)?\s*[a-z]*\s*", re.IGNORECASE)


def says_not_given(text: str) -> bool:
    """Return whether a note of a treatment seems to say that it ended, changed, or was not given.

    Examples
    --------
    >>> says_not_given("STOPPED in september"), says_not_given("with food, increased appetite")
    (True, False)
    >>> says_not_given("dose doubled 1 sept"), says_not_given("telmisartan?"), says_not_given("0")
    (True, True, True)
    """
    if _NOT_GIVEN.search(text) or _NOTHING.fullmatch(text):
        return True
    few = len(text.split()) <= _FEW_WORDS
    return bool(_DOSE.search(text)) and bool(few or _OF_DOSE.search(text))


def says_changed(text: str) -> bool:
    """Return whether a note seems to say that some treatment began, ended, or was not given."""
    return says_not_given(text) or bool(_BEGAN.search(text))


def names_medicine(text: str) -> bool:
    """Return whether a text speaks of medicines without saying which."""
    return bool(_MEDICINES.search(text))


def says_left(text: str) -> bool:
    """Return whether a text seems to say that an animal has died or left.

    Examples
    --------
    >>> says_left("PTS at other clinic"), says_left("euthanised"), says_left("ripped cuff")
    (True, True, False)
    """
    return bool(_LEFT.search(text))


def pressure_drugs_in(text: str) -> tuple[str, ...]:
    """Return the pressure drugs that a text seems to name, in full, shortly, or nearly so.

    Examples
    --------
    >>> pressure_drugs_in("amlo stopped 2 weeks ago"), pressure_drugs_in("calm, cuff 3")
    (('amlodipine',), ())
    >>> pressure_drugs_in("Amlodipin 0.625mg SID")
    ('amlodipine',)
    """
    words = re.findall(r"[^\W\d_]+", text.casefold())
    return tuple(dict.fromkeys(name for word in words for name in _named(word)))


@cache
def _pressure_names() -> tuple[str, ...]:
    return tuple(known.name for known in drugs() if known.kind == "pressure")


def _named(word: str) -> tuple[str, ...]:
    if len(word) < _SHORT_NAME:
        return ()
    known = drug(word)
    if known is not None:
        return (known.name,) if known.kind == "pressure" else ()
    begun = tuple(name for name in _pressure_names() if name.startswith(word))
    near = near_drugs(word) if len(word) > _SHORT_NAME + 2 else ()
    return begun[:1] or tuple(name for name in near if name in _pressure_names())[:1]
