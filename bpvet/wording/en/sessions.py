"""What each column of the sessions' table means, and its unit: the table's data dictionary."""

from __future__ import annotations

from collections.abc import Iterable

from bpvet.facts.words import QUANTITIES
from bpvet.records.table_files import DATE, MOMENT, ColumnWords

_MMHG, _CM, _PER_MINUTE = "mmHg", "cm", "per minute"
_SEVERAL = 'where the readings of a session differ, joined by "; "'
_WORDS = {
    "animal": ("id of the animal", ""),
    "species": ("species, blank where it is not known", ""),
    "breed": ("breed, as recorded", ""),
    "age_years": ("age on the date", "years"),
    "sex": ("sex, as recorded", ""),
    "clinic": ("clinic, as recorded", ""),
    "date": ("date of the session, by the local clock", DATE),
    "method": ("doppler or oscillometric", ""),
    "condition": ("clinic, home, calmed, sedated or anaesthetised", ""),
    "session": ("number of the session of this animal, in order of time, from 1", ""),
    "label": ("name of the session, as recorded, where there are several a day", ""),
    "operator": (f"who measured; {_SEVERAL}", ""),
    "instrument": (f"the device as the clinic calls it; {_SEVERAL}", ""),
    "site": (f"where the cuff sat; {_SEVERAL}", ""),
    "demeanour": (f"demeanour; {_SEVERAL}", ""),
    "months": ("since the animal's first session, of 30.4375 days each", "months"),
    "treated": ("whether a drug that acts on pressure was on, by the records", ""),
    "n_taken": ("readings taken, whatever became of them", "readings"),
    "flags": ('what must be said beside the numbers, joined by "; "', ""),
    "first_time": ("time of the first reading; blank without times", MOMENT),
    "side": (f"side of the cuff; {_SEVERAL}", ""),
    "posture": (f"posture; {_SEVERAL}", ""),
    "setting": (f"where it was measured; {_SEVERAL}", ""),
    "state": (f"state of the animal; {_SEVERAL}", ""),
    "cuff_width_cm": ("width of the cuff, the first that is given", _CM),
    "limb_circumference_cm": ("round the limb or tail under it, the first that is given", _CM),
    "cuff_above_heart_cm": ("how far the cuff sat above the heart, the first given", _CM),
    "n_used": ("readings used", "readings"),
    "n_left_out": ("readings left out by the rule", "readings"),
    "n_excluded": ("readings excluded by the clinic", "readings"),
    "n_no_sound": ("readings without a sound", "readings"),
    "n_set_aside": ("readings set aside, as bpvet check says", "readings"),
    "n_below_gauge": ("of these, those lower than any animal has", "readings"),
    "summary": ("whether it holds a row that gives a mean in place of readings", ""),
    "line": ("position of its first row in the input", ""),
    "go_on": ("why more readings should have been taken; blank where there were enough", ""),
    "tense": ("whether the animal is recorded as tense", ""),
}
_OF_QUANTITY = {
    "": "mean of the used readings; a bound stands at its value",
    "_ss": "sum of squares of the used readings about their mean; blank where not known",
    "_numbers": "used readings that are numbers",
    "_numbers_mean": "mean of the used readings that are numbers",
    "_numbers_ss": "sum of squares of the used readings that are numbers about their mean",
    "_beyond": "used readings beyond the gauge",
    "_bound": "at least, at most, or both, where the mean is a bound; else blank",
    "_n": "used readings",
    "_median": "median of the used readings; blank with one beyond the gauge",
    "_sd": "standard deviation of the used readings; blank with fewer than two or a bound",
}


def session_words(columns: Iterable[str]) -> list[ColumnWords]:
    """Return what columns of the sessions' table mean, in their order.

    Parameters
    ----------
    columns : iterable of str
        Names; one that is not known is of the input, kept as it stands.
    """
    return [ColumnWords(name, *_words(name)) for name in columns]


def _words(name: str) -> tuple[str, str]:
    if name in _WORDS:
        return _WORDS[name]
    for quantity in sorted(QUANTITIES, key=len, reverse=True):
        suffix = name.removeprefix(quantity)
        if name.startswith(quantity) and suffix in _OF_QUANTITY:
            unit = _PER_MINUTE if quantity == "heart_rate" else _MMHG
            units = {"_ss": f"({unit})²", "_bound": "", "_n": "readings", "_beyond": ""}
            units |= {"_numbers": "readings", "_numbers_ss": f"({unit})²"}
            what = quantity.replace("_", " ")
            what = "mean pressure" if quantity == "mean" else what
            return f"{what}: {_OF_QUANTITY[suffix]}", units.get(suffix, unit)
    return "a column of the input that is not ours, kept as it stands", ""
