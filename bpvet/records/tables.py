"""The tables and columns that records have, said once; everything else reads them from here."""

from __future__ import annotations

import re
from functools import cache

from bpvet.facts.analytes import all_analytes
from bpvet.facts.signs.signs import ANSWERS, STATUSES
from bpvet.facts.species import all_species
from bpvet.facts.words import METHODS, READING_QUANTITIES, SETTINGS, SPECIES, STATES
from bpvet.frozen import dataclass


@dataclass(frozen=True)
class Column:
    """A column of one of the tables.

    Parameters
    ----------
    name : str
        Our name for it, as in the contract.
    kind : str
        What its cells are: ``text``, ``word`` (one of `words`), ``number``, ``bounded`` (a number
        or a bound such as "< 0.1"), ``quantity`` (a number, a bound, or "no sound"), ``date``, or
        ``moment`` (a date with or without a time of day).
    required : bool
        Whether a file without this column cannot be used.
    needed : bool
        Whether a row in which this cell is blank is set aside.
    spoils : bool
        Whether an unusable cell sets its whole row aside, or only itself.
    words : tuple of str
        The words that a ``word`` may be.
    meant : tuple of (str, str)
        Other words, in small letters, and which of these they are read as; a finding says so.
    """

    name: str
    kind: str = "text"
    required: bool = False
    needed: bool = False
    spoils: bool = False
    words: tuple[str, ...] = ()
    meant: tuple[tuple[str, str], ...] = ()


#: What a row that bpvet wrote itself is known by: a row of ``cancelled`` takes it back.
_ENTRY = Column("entry")


def _key(name: str, kind: str = "text", words: tuple[str, ...] = ()) -> Column:
    """A column that must be there, and without which a row means nothing."""
    return Column(name, kind, required=True, needed=True, spoils=True, words=words)


TABLES: dict[str, tuple[Column, ...]] = {
    "readings": (
        _key("animal"),
        _key("taken_at", "moment"),
        _key("method", "word", METHODS),
        Column("systolic", "quantity", spoils=True),
        Column("diastolic", "quantity"),
        Column("mean", "quantity"),
        Column("heart_rate", "quantity"),
        Column("counted_pulse", "number"),
        Column("session"),
        Column("reading", "number"),
        Column("excluded"),
        Column("setting", "word", spoils=True, words=SETTINGS),
        Column("state", "word", spoils=True, words=STATES),
        Column("site"),
        Column("side"),
        Column("cuff_width_cm", "number"),
        Column("limb_circumference_cm", "number"),
        Column("cuff_above_heart_cm", "number"),
        Column("posture"),
        Column("demeanour"),
        Column("operator"),
        Column("instrument"),
        Column("note"),
        _ENTRY,
    ),
    "animals": (
        _key("animal"),
        Column("species", "word", required=True, words=SPECIES),
        Column("name"),
        Column("breed"),
        Column("sex"),
        Column("neutered"),
        Column("birth_date", "date"),
        Column("measured_before", "word", words=("yes", "no")),
        Column("target_systolic", "number"),
        Column("clinic"),
        Column("left_on", "date"),
        Column("left_reason", "word", words=("died", "moved", "other")),
        _ENTRY,
    ),
    "treatments": (
        _key("animal"),
        _key("drug"),
        _key("started_on", "date"),
        Column("stopped_on", "date", spoils=True),
        Column("dose"),
        Column("dose_unit"),
        Column("product"),
        Column("purpose"),
        Column("note"),
        _ENTRY,
    ),
    "missed": (
        _key("animal"),
        _key("from", "date"),
        # One that cannot be read would make a long stretch one day.
        Column("to", "date", spoils=True),
        Column("what", "word", spoils=True, words=("missed", "late")),
        Column("drug"),
        Column("note"),
        _ENTRY,
    ),
    "contacts": (
        _key("animal"),
        _key("date", "date"),
        _key("outcome", "word", ("booked", "declined", "no answer", "left")),
        Column("note"),
        _ENTRY,
    ),
    "labs": (
        _key("animal"),
        _key("sampled_on", "date"),
        _key("analyte"),
        _key("value", "bounded"),
        Column("unit", required=True),
        _ENTRY,
    ),
    "observations": (
        _key("animal"),
        _key("seen_on", "date"),
        _key("sign"),
        Column("status", "word", words=STATUSES, meant=tuple(ANSWERS.items())),
        Column("note"),
        _ENTRY,
    ),
    # A cancellation stands whatever its date is: what was entered wrongly was never right.
    "cancelled": (
        _key("entry"),
        Column("cancelled_on", "date", required=True),
        Column("reason", required=True),
    ),
}

#: Tables that nothing is worked out from: one that is no such table does not stop the work.
UNUSED_TABLES = ("contacts",)
#: Columns that a session known only by its mean may have instead of ``systolic``.
SUMMARY = ("systolic_mean", "systolic_n", "systolic_sd")
#: Columns that hold a whole session, or both pressures, in one cell: "165/158/160" are readings,
#: "165/95 (118)" is a systolic pressure, a diastolic and a mean, and a line for the chart is what
#: ``bpvet average`` prints.
IN_CELL = ("systolic_list", "systolic_diastolic", "chart_line")
#: ``systolic_1`` … ``systolic_99``: the readings of a session side by side.
WIDE = re.compile(rf"({'|'.join(READING_QUANTITIES)})_([1-9][0-9]?)")
#: Analytes that are known by name; others are kept as written.
ANALYTES = tuple(all_analytes())
#: Analytes that are ratios, and so need no unit.
WITHOUT_UNIT = tuple(
    key
    for key, analyte in all_analytes().items()
    if any("" in unit.get("written", ()) for unit in analyte.units.values())
)

#: Columns that we add to a table's own; a foreign column of such a name gets another.
ADDED = {
    "readings": (
        *("file", "line", "timed", "date", "condition", "summary_n", "summary_sd"),
        *(f"{quantity}_bound" for quantity in READING_QUANTITIES),
        *("set_aside", "duplicate", "future"),
    ),
    "animals": ("file", "line", "set_aside", "future", "species_written", "left_written"),
    "treatments": ("file", "line", "set_aside", "future"),
    "missed": ("file", "line", "set_aside", "future"),
    "contacts": ("file", "line", "set_aside", "future"),
    "labs": ("value_bound", "file", "line", "set_aside", "future"),
    "observations": ("file", "line", "set_aside", "future"),
    "cancelled": ("file", "line", "set_aside"),
}

#: Other people's words, used to suggest one of ours and never to replace it unasked.
OTHER_WORDS = {
    "patient": "animal",
    "patient_id": "animal",
    "pet": "animal",
    "pet_id": "animal",
    "id": "animal",
    "animal_id": "animal",
    "date": "taken_at",
    "datetime": "taken_at",
    "time": "taken_at",
    "taken_on": "taken_at",
    "visit_date": "taken_at",
    "device": "method",
    "technique": "method",
    "sbp": "systolic",
    "sap": "systolic",
    "sys": "systolic",
    "dbp": "diastolic",
    "dap": "diastolic",
    "dia": "diastolic",
    "mbp": "mean",
    "map": "mean",
    "hr": "heart_rate",
    "pulse": "heart_rate",
    "medication": "drug",
    "start": "started_on",
    "start_date": "started_on",
    "stop": "stopped_on",
    "stop_date": "stopped_on",
    "test": "analyte",
    "result": "value",
    "units": "unit",
    **{word: name for name, species in all_species().items() for word in species.other_words},
    "osc": "oscillometric",
    "oscillometry": "oscillometric",
    "ultrasound": "doppler",
    "at home": "home",
    "practice": "clinic",
    "conscious": "awake",
    "anesthetized": "anaesthetised",
    "anaesthetized": "anaesthetised",
    "anesthetised": "anaesthetised",
    "sedation": "sedated",
    "gone": "resolved",
    "seen": "present",
    "not seen": "absent",
    "y": "yes",
    "n": "no",
    "true": "yes",
    "false": "no",
    "dead": "died",
    "euthanased": "died",
    "euthanised": "died",
    "euthanized": "died",
}


def column_names(table: str) -> tuple[str, ...]:
    """Return the names of a table's own columns, in the contract's order."""
    return tuple(column.name for column in TABLES[table])


@cache
def known_columns(table: str) -> tuple[str, ...]:
    """Return every fixed name that a header of this table may use."""
    return column_names(table) + (SUMMARY + IN_CELL if table == "readings" else ())


def plain_name(text: str) -> str:
    """Return a header without what does not matter: case, white space, hyphens.

    Examples
    --------
    >>> plain_name(" Heart rate"), plain_name("TAKEN-AT")
    ('heart_rate', 'taken_at')
    """
    return re.sub(r"[\s\-_]+", "_", text.strip().casefold())


def column_named(table: str, heading: str) -> str:
    """Return our name for a heading, or "" where it is none of ours.

    Examples
    --------
    >>> column_named("readings", "Systolic"), column_named("readings", "systolic_3")
    ('systolic', 'systolic_3')
    >>> column_named("readings", "Vet")
    ''
    """
    name = plain_name(heading)
    return name if is_column(table, name) else ""


def is_column(table: str, name: str) -> bool:
    """Return whether a plain name is one of ours, or one of several readings in a row."""
    if name in known_columns(table):
        return True
    return table == "readings" and WIDE.fullmatch(name) is not None
