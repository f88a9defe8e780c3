"""What clinics head their columns with, in plain English; used to propose and never to replace."""

from __future__ import annotations

import re

from bpvet.records.tables import column_named

_WHO = r"(?:animal|patient|pet|pt|case|chart|record|file|hospital|clinic)"
_NO = r"(?:id|no|nr|num|number|ref|reference|code|identifier)"
_START = r"(?:start|started|began|begin|from|given from|prescribed|date)"
#: For each table, the words that a heading of each column may be; the first that fits is taken.
#: A heading is compared in small letters, with single spaces for all other marks.
_WORDS: dict[str, dict[str, str]] = {
    "readings": {
        "animal": rf"{_WHO}|{_WHO} {_NO}|{_NO}|microchip(?: {_NO})?|(?:{_WHO} )?name",
        "taken_at": r"(?:visit|bp|measurement|measured|reading|exam|examination|session|test)? ?"
        r"(?:date|day|datetime|date time|date and time|timestamp|time)(?: (?:of|taken|measured)"
        r"(?: (?:visit|measurement|reading|exam|examination))?)?|when|visit|measured(?: on| at)?"
        r"|taken(?: on)?|seen(?: on)?",
        "method": r"(?:bp |measurement |measuring )?(?:method|device|machine|technique|instrument"
        r"|equipment|monitor|modality|unit used)(?: used)?|doppler or oscillometric|how",
        "systolic": r"(?:systolic|sys|syst|sbp|sap|bp|nibp|blood pressure|pressure|bp reading"
        r"|bp value)(?: (?:bp|sbp|pressure|blood pressure|arterial pressure|value|reading|result"
        r"|mmhg|mm hg|kpa))*|(?:bp|doppler) (?:systolic|sys)(?: mmhg)?",
        "diastolic": r"(?:diastolic|dia|diast|dbp|dap)(?: (?:bp|pressure|blood pressure"
        r"|mmhg|kpa))*",
        "mean": r"(?:map|mbp|mean|mean (?:arterial|blood) pressure|mean bp)(?: (?:mmhg|kpa))*",
        "heart_rate": r"(?:hr|heart rate|pulse|pulse rate|pr|bpm)(?: bpm| min)?",
        "reading": r"(?:reading|measurement|attempt|order|sequence|repeat) ?(?:no|nr|number"
        r"|order)?",
        "session": r"session(?: (?:id|no|label))?|visit (?:id|no|number)",
        "excluded": r"exclude|excluded|discard|discarded|reject|rejected|invalid|ignore|outlier",
        "setting": r"setting|place|where|at home|home or clinic|environment",
        "state": r"state|awake|sedated|sedation|consciousness",
        "site": r"(?:cuff |measurement )?(?:site|limb|leg|position of cuff)"
        r"|cuff (?:location|place)",
        "side": r"side|left or right|l r",
        "cuff_width_cm": r"cuff(?: (?:size|width|no|number))?(?: cm)?",
        "limb_circumference_cm": r"(?:limb|leg|tail)? ?circumference(?: cm)?",
        "posture": r"posture|position|body position|lying or standing|recumbency",
        "demeanour": r"demeanou?r|temperament|behaviou?r|stress(?: (?:level|score))?|mood|anxiety"
        r"|calm|compliance",
        "operator": r"operator|nurse|rvn|vet|tech|technician|clinician|staff|initials|by|who"
        r"|(?:measured|taken|recorded|done) by",
        "instrument": r"(?:bp )?(?:device|machine|instrument|monitor)"
        r" (?:name|no|nr|number|id|model|make|serial(?: (?:no|number))?)",
        "note": r"notes?|comments?|remarks?|free text",
        "systolic_mean": r"(?:mean|average|avg)(?: (?:systolic|sys|sbp|sap|bp|of readings))+"
        r"|average|avg",
        "systolic_n": r"n|count|(?:no|number) of (?:readings|measurements)",
        "systolic_sd": r"sd|standard deviation|std(?: dev)?",
    },
    "animals": {
        "animal": rf"{_WHO}|{_WHO} {_NO}|{_NO}|microchip(?: {_NO})?",
        "species": r"species|kind|animal type|type|cat or dog",
        "name": rf"(?:{_WHO} )?name",
        "breed": r"breed(?: (?:name|description))?",
        "sex": r"sex|gender|m f",
        "neutered": r"neutered|neuter status|spayed|castrated|desexed|altered|entire",
        "birth_date": r"dob|date of birth|birth ?date|born|birthday",
        "clinic": r"clinic|practice|branch|hospital",
        "left_on": r"(?:date (?:of )?)?(?:death|died|deceased|euthanasia|left)(?: date| on)?",
    },
    "treatments": {
        "animal": rf"{_WHO}|{_WHO} {_NO}|{_NO}|(?:{_WHO} )?name",
        "drug": r"(?:drug|medication|medicine|med|meds|treatment|product|preparation|item)"
        r"(?: name)?",
        "started_on": rf"{_START}(?: (?:date|on|started))?",
        "stopped_on": r"(?:stop|stopped|end|ended|until|to|finish|finished|discontinued)"
        r"(?: (?:date|on))?",
        "dose": r"dose|dosage|amount|strength|quantity",
        "dose_unit": r"(?:dose )?units?",
        "product": r"product(?: name)?|brand|preparation|formulation|manufacturer|pharmacy",
        "purpose": r"purpose|reason|indication|for|why",
        "note": r"notes?|comments?|remarks?|directions|instructions",
    },
    "missed": {
        "animal": rf"{_WHO}|{_WHO} {_NO}|{_NO}|(?:{_WHO} )?name",
        "from": rf"{_START}(?: (?:date|on))?|first day|missed(?: (?:from|on))?",
        "to": r"to|until|end|ended|last day|end date",
        "what": r"what|kind|missed or late",
        "drug": r"drug|medication|medicine|med|meds|treatment",
        "note": r"notes?|comments?|remarks?|reason",
    },
    "contacts": {
        "animal": rf"{_WHO}|{_WHO} {_NO}|{_NO}|(?:{_WHO} )?name",
        "date": r"(?:call|contact)? ?(?:date|day|on)|when|called(?: on)?",
        "outcome": r"outcome|result|answer|reply|status",
        "note": r"notes?|comments?|remarks?",
    },
    "labs": {
        "animal": rf"{_WHO}|{_WHO} {_NO}|{_NO}|(?:{_WHO} )?name",
        "sampled_on": r"(?:sample|sampling|test|collection|collected|result|report)? ?"
        r"(?:date|day)(?: (?:of sample|collected|taken))?|sampled|collected(?: on)?",
        "analyte": r"analyte|test|test name|parameter|assay|item|component|what",
        "value": r"value|result|results|concentration|level|reading",
        "unit": r"units?|unit of measure",
    },
    "observations": {
        "animal": rf"{_WHO}|{_WHO} {_NO}|{_NO}|(?:{_WHO} )?name",
        "seen_on": r"(?:seen|observed|exam|examination|visit)? ?(?:date|day|on)|when|seen",
        "sign": r"signs?|clinical signs?|findings?|observations?|problems?|symptoms?|complaints?",
        "status": r"status|present|outcome",
        "note": r"notes?|comments?|remarks?",
    },
    "cancelled": {},
}
#: "BP 1", "Reading 2", "SBP (3)", "Sys. #4": readings side by side.
_NUMBERED = re.compile(
    r"(?:(?P<other>dia|diastolic|dbp|map|mean|hr|heart rate|pulse)|(?:bp|sbp|sap|sys|systolic"
    r"|reading|measurement|measure|value|doppler|pressure|r|m|s)(?: reading| value)?)"
    r" ?(?P<number>[1-9][0-9]?)"
)
_OTHERS = {
    **dict.fromkeys(("dia", "diastolic", "dbp"), "diastolic"),
    **dict.fromkeys(("map", "mean"), "mean"),
    **dict.fromkeys(("hr", "heart rate", "pulse"), "heart_rate"),
}


def bare_words(heading: str) -> str:
    """Return a heading in small letters, with single spaces for all other marks.

    Examples
    --------
    >>> bare_words("Pet_ID (No.)")
    'pet id no'
    """
    return " ".join(re.findall(r"[^\W_]+", heading.casefold()))


def columns_by_words(table: str, heading: str) -> tuple[str, ...]:
    """Return our columns of a table that a heading may be meant for, by its words alone.

    Examples
    --------
    >>> columns_by_words("readings", "Pet ID"), columns_by_words("readings", "BP #2")
    (('animal',), ('systolic_2',))
    """
    words = bare_words(heading)
    found = [name for name, pattern in _WORDS[table].items() if re.fullmatch(pattern, words)]
    if table == "readings" and (match := _NUMBERED.fullmatch(words)):
        what = _OTHERS.get(match["other"] or "", "systolic")
        found.insert(0, f"{what}_{match['number']}")
    return tuple(name for name in found if column_named(table, name))
