"""The keys of all statements, by topic: what pages, letters and tiles choose by, in any language.

A key stays when its words change; a statement under a new key is entered here first.
"""

from __future__ import annotations

from types import MappingProxyType

from bpvet.facts.recheck import rows
from bpvet.visits.urgency import UrgentRule

#: What is told under each topic; a blank stands for the topic alone.
KEYS = MappingProxyType(
    {
        # One animal.
        "urgent": tuple(rule.value for rule in UrgentRule),
        "unmeasured": ("", "part", "excluded", "sign", "line"),
        "no_systolic": ("",),
        "later": ("",),
        "backdated": ("", "unborn"),
        "unit": ("weight", "lab"),
        "lookalikes": ("",),
        "set_aside": ("",),
        "asked": ("left", "pressure", "doubt", "treatment", "files"),
        "species": ("no_facts", "blank"),
        "usual": ("", "none", "new_dog"),
        "target": ("at", "below", "above", "not_settled", "withheld"),
        "category": ("", "withheld"),
        "recheck": ("none", "first", *dict.fromkeys(row.state for row in rows().values())),
        "signs": ("present", "longstanding", "unclear", "unread", "note"),
        "kidney": (
            *("reaction", "potassium", "weight", "protein", "range", "stage", "rate", "ratio"),
            *("upc", "damage", "pressure", "no_stage", "no_protein"),
        ),
        "drug": ("has_lowered", "no_fall", "cannot_tell", "cannot_be_known", "withheld", "lab"),
        "effect": (*("one_high_session", "same_time", "assumption", "plain_means", "unrecorded"),),
        "drugs": ("unlisted", "raising", "pregnancy", "others"),
        "since_change": ("",),
        "below_floor": ("",),
        "context": (
            *("missed", "home", "change", "swings"),
            *("site", "side", "cuff", "posture", "operator", "instrument"),
        ),
        "slope": ("rising", "no_rise", "cannot_tell", "lab"),
        "surprise": ("none", "unusual", "very_unusual"),
        "next_session": ("",),
        "share": ("",),
        "companions": ("medians", "tense", "last_three", "step"),
        "others": ("",),
        "joint": ("creatinine", "sdma", "upc", "weight"),
        # In five lines.
        "short": ("urgent", "signs", "number", "change", "kidney", "recheck"),
        # Plans.
        "plan": (
            *("usual", "fewest", "readings", "effect", "slope", "study"),
            *("known", "further", "drug", "open_target", "open_drug", "open_slope"),
        ),
        # Two methods.
        "answers": (
            *("interchangeable", "bias", "limits", "shares", "proportional", "repeatability"),
        ),
        "criteria": ("devices",),
        "bridged": ("offset", "not_shared"),
        "basis": ("pairs", "note", "sessions"),
        # The quality of measuring.
        "precision": ("visit", "unknown"),
        "protocol": ("readings", "kept", "decisions"),
        "order": ("first",),
        "digits": ("end",),
        "spread": ("readings",),
        "operators": ("compared",),
        "cuffs": ("ratio",),
        "times": ("day",),
        "situations": ("condition",),
        # A cohort.
        "cohort": (
            *("counted", "months", "treated", "method", "scatter", "slopes", "explained"),
            *("choices", "left_out"),
        ),
    }
)


def all_keys() -> frozenset[str]:
    """Return every key in full, such as ``target.above``."""
    return frozenset(
        f"{topic}.{code}" if code else topic for topic, codes in KEYS.items() for code in codes
    )
