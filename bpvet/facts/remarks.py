"""What notes say of treatments, of an animal's end and of a pressure: asked about, never used.

A drug whose stop stands in a note alone reads as one that is still given, an animal whose death
does is rung up, and beside "real value 210" the 150 that is counted reads as the truth. Words are
sought, not understood: what is found is a question for who reads it.
"""

from __future__ import annotations

import re
from functools import cache, lru_cache

from bpvet.facts.drugs import drug, drugs, near_drugs
from bpvet.facts.protocol import limits

#: A drug that ended, was not given, or is only planned.
_NOT_GIVEN = re.compile(
    r"\b(?:stop(?:s|ped|ping)?|discontinu\w*|ceas\w+|finish\w*|ended|withdr[ae]w\w*|wean\w*"
    r"|taper\w*|no longer|never|(?:not|n[o']t|isnt|wont|cant)\b.{0,12}\b(?:giv\w+|tak\w+|tolerat\w+"
    r"|start\w*|collect\w*|dispens\w*|compl\w+|on it)|ran out|run out|refus\w+|miss(?:ed|es|ing)"
    r"|abgesetzt|ausgeschlichen|gestopp?t|arr[êe]t[ée]\w*|suspendid\w+|sospes\w+|interromp\w+"
    r"|interrump\w+|nicht (?:mehr )?(?:gegeben|bekommen|erhalten)|plus donn[ée]e?"
    r"|skip\w*|forg[eo]t\w*|chang(?:e|ed|ing)|switch\w*|swap\w*|replac\w*|on hold|paus\w+"
    r"|d/c\w*|off|(?:to|will|may|might) (?:be )?start\w*|start if|plan(?:ned)?)\b|\?",
    re.IGNORECASE,
)
#: Medicines that an animal went without, or brought up.
_WITHOUT = re.compile(
    r"\b(?:(?:\w{1,8}n'?t|not) (?:had|got)|(?:no|without|out of)"
    r"|(?:vomit|spit|spat|bring|brought)\w*) (?:up |out |the |any |her |his |more ){0,3}"
    r"(?:meds?|medicines?|medications?|tablets?|pills?)\b"
    r"|\bevery other week\b",
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
    r"|destroyed|re-?homed|rainbow bridge|verstorben|gestorben|eingeschl[äa]e?fert"
    r"|d[ée]c[ée]d[ée]e?|overleden|ingeslapen|fallecid[oa]|falleció|decedut[oa]|no longer with us"
    r"|erl[öo]e?st|est morte?|ge[ëe]uthana\w+|muert[oa]|murió|eutana\w+|mort[oa]|faleceu"
    r"|falecid[oa]|död|dött|avliva[dt]s?|avlivet|aflivet|død|zmar[łl]\w*)\b|†",
    re.IGNORECASE,
)
_DAY_NAMED = (
    r"(?:\d{1,2}[./-]\d{1,2}(?![\w/]*\s*(?:tab|pill|cap))|\d{4}-\d\d|\d{1,2}(?:st|nd|rd|th)\b"
    r"|(?:\d{1,2}\.? ?)?(?:jan|feb|mar|apr|may|june?|july?|aug|sept?|oct|nov|dec)\w*"
    r"|(?:mon|tues?|wed(?:nes)?|thu(?:rs?)?|fri|sat(?:ur)?|sun)(?:day)?|yesterday|today|tonight"
    r"|(?:last |over)?night|(?:this |the )?(?:morning|afternoon|evening|weekend|week|month|year))\b"
)
#: "passed 25/11", of the animal; what is passed otherwise stands before or behind it.
_PASSED = re.compile(
    r"(?<!\bnot )(?<!n't )(?<!\blast )(?<!urine )(?<!stool )(?<!stools )(?<!faeces )(?<!feces )"
    r"(?<!motion )(?<!motions )(?<!\bpoo )(?<!\bpee )(?<!\bwee )(?<!test )(?<!exam )(?<!stone )"
    rf"\bpassed,?:? (?:(?:on|over|in|during|last|this|early|late|the)[ ,]+){{0,3}}{_DAY_NAMED}"
    r"|\bpassed,? (?:peacefully|suddenly|at home|in (?:his|her|its|their) sleep|over (?:the )?)\b"
    r"|\b(?:sadly|unfortunately) passed\b|^\W*(?:has |he |she )?passed\W*$",
    re.IGNORECASE,
)
#: A whole number of two or three digits, perhaps with a diastolic or a second one behind it; no
#: part of a date, a time of day, a decimal or a code.
_NUMBER = re.compile(
    r"(?:(?<![\w.,:/#£$€+-])|(?<=\d[-–])(?<!\d\d\d\d[-–])|(?<=bp)|(?<=sys)|(?<=sap))(\d{2,3})"
    r"(?=(?:/\d{2,3}){0,2}(?![\w/:]|[.,]\d)|[-–]\d{2,3}(?![\w.:/-])|\s*mm ?hg\b)",
    re.IGNORECASE,
)
#: Letters before a number that are looked at: no clause is longer, and a cell may be.
_CLAUSE = 80
_RANGE_BEGUN = re.compile(r"\d{2,3}[-–]$")
#: What behind a number says that it is no pressure.
_OTHER_UNIT = re.compile(
    r"[/\d]*[-\s]*(?:%|°|/ ?min|(?:[ckm]?m|inch(?:es)?|kg|kilos?|lbs?|pounds?|m?g|mcg|µg|ug|grams?"
    r"|ml|iu|units?|bpm|hr|heart rate|x|times|kpa|[mµu]?mol\w*|/\s*[dm]?l|s|secs?|seconds?|min"
    r"|mins|minutes?|h|hrs|hours?|d|days?|wks?|weeks?|mo|months?|yrs?|years?|tabs?|tablets?|pills?"
    r"|doses?|euros?|eur|th)\b)(?!\s*hg\b)",
    re.IGNORECASE,
)
#: What stands before a number of something else, or of another time, as far as the clause goes.
_NOT_NOW = re.compile(
    r"\b(?:targets?|goals?|aim\w*|if|unless|until|till|last (?:time|visit|week|month|year|check)"
    r"|prev\w*|historic\w*|(?:down|up) from)\b\.?[^.;,]*$",
    re.IGNORECASE,
)
_OTHER_QUANTITY = re.compile(
    r"\b(?:hr|heart|pulse|rate|puls|fc|hf|rr|resp\w*|cuff|size|crea\w*|krea\w*|sdma|urea|bun|gluc\w*"
    r"|glyc\w*|fructosamine|t4|tt4|alt|alp|alkp|ast|ggt|pcv|hct|usg|upc|na|sodium|chol\w*|albumin"
    r"|protein|tp|phos\w*|cortisol|spo2|sats?|temp\w*|weight|weigh\w*|wt|bw|gewicht|age|aged|room"
    r"|kennel|cage|ward|ref|case|invoice|chip|microchip|tel\w*|phone|mobile|ring|no|nr|box|map|mean"
    r"|dia|diast\w*|dap|dbp)\b\.?\s*(?:was|is|of|at|about|approx\.?|ca\.?|now|only|rising|rose|up)?"
    r"[\s:=~>≥<-]*(?:from\s*)?(?:\d+\s*(?:->|→|to)\s*)?$",
    re.IGNORECASE,
)
#: Words of other quantities in the heading of a column.
_OTHER_HEADING = re.compile(r"\b(?:hr|heart|pulse|rate|map|mean|dia\w*|dap|no|nr|number)\b", re.I)
#: A run of digits as long as a telephone's.
_LONG_NUMBER = re.compile(
    r"(?:\+\d|\b0\d)(?:[ -]?\d){5,20}|(?:\b\d{1,4}[ -]){0,4}\b\d{5,}(?:[ -]\d{1,9}){0,4}"
    r"|\b\d{3}[ -]\d{3}[ -]\d{4}\b"
)
#: What makes a pressure of a number that few animals have.
_OF_PRESSURE = re.compile(
    r"\b(?:b\.?p|s[ab]p|systol\w*|sys|pressure|mm ?hg|doppler|osc\w*|real|really|true|truly"
    r"|actual\w*|correct\w*|should|meant|repeat\w*|again|reading|read|value|blutdruck|tension|wrong"
    r"|typo)(?:\b|(?=\d))|^\W*\d+\W*$",
    re.IGNORECASE,
)
#: A reading that who wrote it did not trust, or of which more stands elsewhere.
_DOUBT = re.compile(
    r"\b(?:(?:don'?t|do not|can'?t|cannot) (?:trust|rely|believe)|unreliable|dubious|doubtful"
    r"|not (?:reliable|accurate)|inaccurate|mistyped|typo|typing error|faulty|guess(?:ed)?"
    r"|(?:cuff|probe) (?:slipped|fell|came off)|wrong (?:animal|cat|dog|patient|pet|cuff|chart)"
    r"|(?:on|see) (?:the |old )?(?:paper|card|chart|sheet|diary)"
    r"|higher (?:later|after\w*|on repeat|by|before))\b",
    re.IGNORECASE,
)
#: An animal that was not awake.
_SEDATED = re.compile(
    r"\b(?<!no )(?<!not )(?<!without )(?<!before )(?<!for )(?<!consent )(?<!pre[ -])(?<!post[ -])"
    r"(?:sedat\w+|ga|ana?esth\w+|under gas|gabapentin|trazodone|butorphanol"
    r"|(?:dex)?medetomidine|acepromazine|acp|ketamine|propofol|alfaxalone|isoflurane|sevoflurane)\b",
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
    if _NOT_GIVEN.search(text) or _NOTHING.fullmatch(text) or goes_without(text):
        return True
    few = len(text.split()) <= _FEW_WORDS
    return bool(_DOSE.search(text)) and bool(few or _OF_DOSE.search(text))


def goes_without(text: str) -> bool:
    """Return whether a note seems to say that an animal had no medicines, or brought them up.

    Examples
    --------
    >>> goes_without("hasn't had any meds for a week"), goes_without("tablets twice a day")
    (True, False)
    """
    return bool(_WITHOUT.search(text))


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
    >>> says_left("passed 25/11"), says_left("passed stool 25/11")
    (True, False)
    """
    # Few texts have the word: all else is looked through once.
    passed = "passed" in text.casefold() and _PASSED.search(text)
    return bool(_LEFT.search(text) or passed)


def pressures_in(text: str) -> tuple[int, ...]:
    """Return the numbers of a note that may be a systolic pressure, mmHg, in order.

    Not those of a date, a time, another quantity or unit, a target or an earlier visit. What is no
    usual pressure is one where the note speaks of pressure or of a mistake.

    Examples
    --------
    >>> pressures_in("real value 210 - pls check"), pressures_in("BP 190/110, HR 220, cuff 3")
    ((210,), (190,))
    >>> pressures_in("20/11/26 14:30, 4.5 kg, crea 180, target 140"), pressures_in("doppler 60")
    ((), (60,))
    """
    if not any(map(str.isdigit, text)):
        return ()
    text = _LONG_NUMBER.sub(" ", text)
    bounds, of_pressure = limits("systolic"), _OF_PRESSURE.search(text) is not None
    found: dict[int, None] = {}
    # Of a note that says one thing a thousand times each thing is looked at once.
    looked_at: dict[tuple[str, str], None] = {}
    for match in _NUMBER.finditer(text):
        before = text[max(0, match.start() - _CLAUSE) : match.start()]
        value, around = int(match[1]), (before, text[match.start() : match.end() + _CLAUSE])
        if value in found or around in looked_at:
            continue
        looked_at[around] = None
        before = _RANGE_BEGUN.sub("", before)
        possible = not bounds.sets_aside(value) if of_pressure else bool(bounds.usual(value))
        told_apart = (
            _OTHER_UNIT.match(text, match.end())
            or _OTHER_QUANTITY.search(before)
            or _NOT_NOW.search(before)
        )
        if possible and not told_apart:
            found[value] = None
    return tuple(found)


def doubts_reading(text: str) -> bool:
    """Return whether a note seems to doubt its reading, or to say that more stands elsewhere.

    Examples
    --------
    >>> doubts_reading("don't trust"), doubts_reading("rest on paper"), doubts_reading("calm")
    (True, True, False)
    """
    return bool(_DOUBT.search(text))


def says_sedated(text: str) -> bool:
    """Return whether a note seems to say that the animal was sedated or anaesthetised.

    Examples
    --------
    >>> says_sedated("under sedation"), says_sedated("GA dental"), says_sedated("no sedation")
    (True, True, False)
    """
    return bool(_SEDATED.search(text))


def heads_pressure(heading: str) -> bool:
    """Return whether the heading of a column that is not ours may be that of a pressure.

    Examples
    --------
    >>> heads_pressure("BP recheck"), heads_pressure("MAP reading"), heads_pressure("pain")
    (True, False, False)
    """
    return bool(_OF_PRESSURE.search(heading)) and not _OTHER_HEADING.search(heading)


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


@lru_cache(maxsize=65536)
def _named(word: str) -> tuple[str, ...]:
    if len(word) < _SHORT_NAME:
        return ()
    known = drug(word)
    if known is not None:
        return (known.name,) if known.kind == "pressure" else ()
    begun = tuple(name for name in _pressure_names() if name.startswith(word))
    near = near_drugs(word, "pressure") if len(word) > _SHORT_NAME + 2 else ()
    return begun[:1] or tuple(name for name in near if name in _pressure_names())[:1]
