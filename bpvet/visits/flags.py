"""What must be said beside a session's mean: flags of `bpvet.visits.choice`, session by session."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bpvet.facts.protocol import (
    CEILING,
    CONSISTENT_CV,
    ENOUGH_READINGS,
    MAX_READINGS,
    MIN_READINGS,
    PULSE_DISAGREES,
    STILL_FALLING_MMHG,
    limits,
)
from bpvet.facts.words import KEPT_OUT_CONDITIONS, QUANTITY_WORDS, READING_QUANTITIES
from bpvet.reasons import reason
from bpvet.records.parsing.arrow import arrow_of, numpy_of, text_column
from bpvet.records.parsing.coded import Coded
from bpvet.records.parsing.columns import each
from bpvet.visits.choice import BOUND_FLAGS, Flag, joined_flags
from bpvet.visits.part import Part
from bpvet.visits.placement import Codes

#: Words for a demeanour that raises pressure; "tense" in the sense of the contract.
TENSE_WORDS = (
    *("tense", "anxious", "nervous", "stressed", "fearful", "frightened", "fractious"),
    *("agitated", "aggressive", "struggling", "struggled"),
)

_TENSE = re.compile(rf"(?<!not )(?<!never )(?<!no longer )\b({'|'.join(TENSE_WORDS)})\b")

Booleans = NDArray[np.bool_]


def cuff_flag(species: str = "") -> str:
    """Return the flag of a session whose cuff is too narrow or too wide for the limb."""
    bounds = limits("cuff_ratio", species)
    return reason("flag.cuff", low=100 * bounds.note_low, high=100 * bounds.note_high)


def flag_columns(
    part: Part, of: Codes, columns: dict[str, Any], missed: Booleans
) -> dict[str, Any]:
    """Return the columns `flags`, `go_on` and `tense` of a sessions frame.

    Parameters
    ----------
    part : Part
        Placed readings with their `fate`, session by session in order of taking.
    of : (n,) array of int
        Session of each, from 0.
    columns : dict
        The other columns of the sessions frame, each of one entry a session.
    missed : (s,) array of bool
        Whether each session lies in a stretch in which doses were missed.

    Returns
    -------
    dict
    """
    count = len(columns["n_taken"])
    used = part.bears("fate", "used")

    def any_of(true: Booleans) -> Booleans:
        if not true.any():
            return np.zeros(count, dtype=bool)
        return np.bincount(of, weights=true, minlength=count) > 0

    n_used, n_systolic = columns["n_used"], columns["systolic_n"]
    n = np.where(n_systolic > 0, n_systolic, n_used)
    with np.errstate(invalid="ignore"):
        inconsistent = columns["systolic_sd"] > CONSISTENT_CV * columns["systolic"]
    falling = _falling(part, of, used, columns["summary"])
    tense = any_of(part.passes("demeanour", _is_tense))
    excluded = columns["n_excluded"] == columns["n_taken"]
    systolic = part.numbers("systolic")
    ceiling = used & (systolic == CEILING) & part.bears("systolic_bound", "")
    silent = part.bears("systolic_bound", "no sound") & (used | part.bears("fate", "no sound"))

    flags: dict[str, Any] = {
        Flag.ALL_EXCLUDED: excluded,
        Flag.NONE_USED: (n_used == 0) & ~excluded,
        Flag.FEW: (n > 0) & (n < MIN_READINGS),
        Flag.MANY: columns["n_taken"] > MAX_READINGS,
        Flag.SUMMARY_ONLY: columns["summary"],
        Flag.INCONSISTENT: inconsistent,
        Flag.FALLING: falling,
        Flag.AT_CEILING: any_of(ceiling),
        **_bound_flags(columns),
        Flag.NO_SOUND: any_of(silent),
        Flag.COUNTED_PULSE: any_of(used & _pulse_disagrees(part)),
        Flag.REVERSED: any_of(used & (part.numbers("diastolic") >= systolic)),
        Flag.TENSE: tense,
        Flag.MISSED: missed,
        cuff_flag(): _cuff_unfit(columns),
        **_kept_out(columns["condition"]),
    }
    go_on = _go_on(n, inconsistent, falling)
    return {"flags": _joined(flags), "go_on": _joined(go_on), "tense": tense}


def _go_on(n: Codes, inconsistent: Booleans, falling: Booleans) -> dict[str, Booleans]:
    """Return why more readings should have been taken, as `bpvet.visits.choice.go_on_reasons`."""
    return {
        Flag.FEW: n < MIN_READINGS,
        Flag.NOT_ENOUGH: (n >= MIN_READINGS) & (n < ENOUGH_READINGS),
        Flag.INCONSISTENT: inconsistent,
        Flag.STILL_FALLING: falling,
    }


def _kept_out(condition: Coded) -> dict[str, Booleans]:
    """Return the flags of sessions under conditions that no trend takes."""
    return {
        reason("flag.kept_out", state=name): condition.bears(name) for name in KEPT_OUT_CONDITIONS
    }


def _joined(flags: dict[str, Any]) -> Coded:
    """Join the words that hold of each session: built once for each combination."""
    code = np.zeros(len(next(iter(flags.values()))), dtype=np.int64)
    for bit, hold in enumerate(flags.values()):
        if np.any(hold):
            code |= np.asarray(hold, dtype=np.int64) << bit
    # Few combinations are met, and are numbered faster than all are sorted.
    met = arrow_of(code).dictionary_encode()
    distinct = np.sort(numpy_of(met.dictionary))
    which = np.searchsorted(distinct, numpy_of(met.dictionary)).astype(np.int32)
    words = list(flags)
    joined = [
        joined_flags(word for bit, word in enumerate(words) if (int(value) >> bit) & 1)
        for value in distinct
    ]
    return Coded(each(which, numpy_of(met.indices)), text_column(joined))


def _falling(part: Part, of: Codes, used: Booleans, summary: Booleans) -> Booleans:
    """Return `bpvet.visits.choice.still_falling` for every session; never of a summary row."""
    falling = np.zeros(len(summary), dtype=bool)
    value = part.numbers("systolic")
    row = np.flatnonzero(used & ~np.isnan(value) & ~summary[of])
    if not len(row):
        return falling
    value, session = value[row], of[row]
    start = np.append(0, np.flatnonzero(session[1:] != session[:-1]) + 1)
    last = np.append(start[1:], len(session)) - 1
    before = value.copy()
    before[last] = np.inf
    lowest_before = np.minimum.reduceat(before, start)
    fell = value[start] - value[last] > STILL_FALLING_MMHG
    falling[session[start]] = (value[last] < lowest_before) & fell
    return falling


def _pulse_disagrees(part: Part) -> Booleans:
    counted, rate = part.numbers("counted_pulse"), part.numbers("heart_rate")
    if np.isnan(counted).all():
        return np.zeros(len(part), dtype=bool)
    with np.errstate(invalid="ignore"):
        apart = np.abs(rate - counted) > PULSE_DISAGREES * counted
    return apart & part.bears("heart_rate_bound", "")


def _cuff_unfit(columns: dict[str, Any]) -> Booleans:
    """Return whether the cuff's width is no good share of the limb's circumference."""
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = columns["cuff_width_cm"] / columns["limb_circumference_cm"]
    return ~np.isnan(ratio) & ~limits("cuff_ratio").usual(ratio)


def _is_tense(demeanour: str) -> bool:
    """Return whether a demeanour is that of a tense animal."""
    return _TENSE.search(demeanour.casefold()) is not None


def _bound_flags(columns: dict[str, Any]) -> dict[str, Booleans]:
    flags = {}
    for quantity in READING_QUANTITIES:
        bound = columns[f"{quantity}_bound"]
        named = "" if quantity == "systolic" else f"{QUANTITY_WORDS[quantity]}, "
        for value, words in BOUND_FLAGS.items():
            flags[named + words] = bound.bears(value)
    return flags
