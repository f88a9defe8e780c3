"""What a drawn mark stands for, carried by the mark itself until it is written as a file.

matplotlib gives every artist one free text, its group id. There the mark's meaning travels, as
JSON, through the drawing to `figures.svg`, which turns it into attributes; PNG and PDF ignore it.
"""

from __future__ import annotations

import json

import numpy as np

from bpvet.frozen import dataclass, field_names

_PREFIX = "bpvet:"
#: What a mark can be.
KINDS = (
    *("session", "reading", "bound", "no_sound", "sign", "lab", "dose", "floor", "target", "band"),
    *("today", "window", "beyond"),
)


@dataclass(frozen=True)
class Meaning:
    """What one mark stands for.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    panel : str
        ``main``, ``near`` (the crowded weeks, enlarged) or a quantity.
    date, until : str
        First and last day in ISO form, or a date and time; blank where there is none.
    value, unit : str
        A plain number and its unit; blank where there is none.
    bound : str
        ``at_least`` or ``at_most``; blank where the value is exact.
    title : str
        What a pointer shows.
    session : int
        Number of the session whose row the mark leads to; 0 for none.
    """

    kind: str
    panel: str = "main"
    date: str = ""
    until: str = ""
    value: str = ""
    unit: str = ""
    bound: str = ""
    title: str = ""
    session: int = 0

    @property
    def gid(self) -> str:
        """The meaning as the group id of an artist."""
        values = {name: value for name in field_names(self) if (value := getattr(self, name))}
        return _PREFIX + json.dumps(values, sort_keys=True)


def meaning_of(gid: str | None) -> Meaning | None:
    """Return what an artist with this group id stands for; None where it stands for nothing.

    Examples
    --------
    >>> meaning_of(Meaning("today", date="2026-03-01").gid)
    Meaning(kind='today', panel='main', date='2026-03-01', until='', value='', unit='', bound='', \
title='', session=0)
    >>> meaning_of("axes_1") is None
    True
    """
    if not gid or not gid.startswith(_PREFIX):
        return None
    values = json.loads(gid.removeprefix(_PREFIX))
    return Meaning(**{name: values[name] for name in field_names(Meaning) if name in values})


def iso(date: np.datetime64) -> str:
    """Return a date in ISO form; blank for none."""
    return "" if np.isnat(date) else str(date)


def plain_number(value: float) -> str:
    """Return a number as a program reads it, without what floating point adds.

    Examples
    --------
    >>> plain_number(157.25), plain_number(150.0), plain_number(144.33333333333334)
    ('157.25', '150', '144.333333333')
    """
    return f"{value:.12g}"


def bound_name(bound: str) -> str:
    """Return a bound as an attribute has it.

    Examples
    --------
    >>> bound_name("at least")
    'at_least'
    """
    return bound.replace(" ", "_")
