"""The columns of sessions that series are cut from, of many animals at once."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bpvet.facts.words import TREND_CONDITIONS
from bpvet.frozen import dataclass
from bpvet.visits.beyond import parsed
from bpvet.visits.context import RECORDED, one_value
from bpvet.visits.defaults import Rows, latest
from bpvet.visits.session_store import Sessions

#: Longer than any date counted in days, so that dates of all animals fit on one number line.
_STRETCH = 10_000_000


@dataclass(frozen=True, eq=False)
class SeriesColumns:
    """The columns of sessions that series need, taken out of a store once."""

    store: Sessions
    date: NDArray[np.datetime64]
    first_time: NDArray[np.datetime64]
    session: Rows
    tense: NDArray[np.bool_]
    visit: Rows
    may_enter: NDArray[np.bool_]
    recorded: tuple[tuple[Rows, NDArray[np.object_]], ...]

    @classmethod
    def of(cls, store: Sessions) -> SeriesColumns:
        """Return those of all sessions of a store."""
        codes, texts = store.coded("condition")
        return cls(
            store=store,
            date=store.array("date"),
            first_time=store.array("first_time"),
            session=store.array("session"),
            tense=store.array("tense"),
            visit=visits_of(store),
            may_enter=np.isin(texts, TREND_CONDITIONS)[codes],
            recorded=tuple(_single(*store.coded(name)) for name in RECORDED),
        )

    @property
    def method(self) -> NDArray[np.object_]:
        """(n,) method of each session."""
        return self.store.array("method")

    @property
    def condition(self) -> NDArray[np.object_]:
        """(n,) condition of each session."""
        return self.store.array("condition")

    def among(self, name: str, words: Iterable[str]) -> NDArray[np.bool_]:
        """(n,) whether the text of each session is one of these."""
        codes, texts = self.store.coded(name)
        return np.isin(texts.astype(str), tuple(words))[codes]


def _single(codes: Rows, texts: NDArray[np.object_]) -> tuple[Rows, NDArray[np.object_]]:
    """Return coded texts, blank where a session holds two values; each text is read once."""
    return codes, np.array([one_value(str(text)) for text in texts], dtype=object)


@dataclass(frozen=True, eq=False)
class SeriesNumbers:
    """The columns of one quantity, taken out of a store once."""

    quantity: str
    mean: NDArray[np.float64]
    n: NDArray[np.float64]
    ss: NDArray[np.float64]
    median: NDArray[np.float64]
    bound: NDArray[np.object_]
    plain: NDArray[np.bool_]
    beyond: NDArray[np.object_]

    @classmethod
    def of(cls, store: Sessions, quantity: str) -> SeriesNumbers:
        """Return those of one quantity."""
        codes, texts = store.coded(f"{quantity}_bound")
        plain = (texts == "")[codes]
        beyond = np.full(len(store), None, dtype=object)
        if quantity == "systolic" and not plain.all():
            bounded = np.flatnonzero(~plain)
            names = ("beyond", "numbers", "numbers_mean", "numbers_ss")
            known = (store.array(f"systolic_{end}")[bounded] for end in names)
            for row, (text, count, mean, ss) in zip(bounded, zip(*known, strict=True), strict=True):
                beyond[row] = parsed(str(text), float(count), float(mean), float(ss))
        return cls(
            quantity=quantity,
            mean=store.array(quantity).astype(np.float64),
            n=store.array(f"{quantity}_n").astype(np.float64),
            ss=store.array(f"{quantity}_ss").astype(np.float64),
            median=store.array(f"{quantity}_median").astype(np.float64),
            bound=texts[codes],
            plain=plain,
            beyond=beyond,
        )


def entering(columns: SeriesColumns, numbers: SeriesNumbers) -> Rows:
    """Return the sessions that may enter a trend, in session order.

    A bound is never taken for a number: of other quantities than the systolic pressure, whose model
    can hold one, a session with a bound stays out.
    """
    usable = numbers.n > 0
    if numbers.quantity != "systolic":
        usable &= numbers.plain
    return np.flatnonzero(columns.may_enter & usable)


def visits_of(store: Sessions) -> Rows:
    """Return the index of each session's date (n,) among the animal's visits.

    A visit is a date with a clinic or calmed session, by any method, with a used number. From 0;
    −1 for sessions at home, under sedation or anaesthesia, or without a used number.
    """
    codes, texts = store.coded("condition")
    counts = np.isin(texts, ("clinic", "calmed"))[codes] & (store.array("n_used") > 0)
    index = np.full(len(store), -1, dtype=np.int64)
    row = np.flatnonzero(counts)
    if not len(row):
        return index
    animal = store.coded("animal")[0][row]
    day = store.array("date")[row].astype(np.int64)
    # One number line for all animals: each has a stretch longer than any date.
    distinct, which = np.unique(animal * _STRETCH + day, return_inverse=True)
    whose = (distinct + _STRETCH // 2) // _STRETCH
    index[row] = which - np.searchsorted(whose, whose)[which]
    return index


def grouped(columns: SeriesColumns, rows: Rows, bridge: tuple[str, ...]) -> tuple[Rows, Rows]:
    """Return rows series by series, and where each starts; what is bridged does not split."""
    split = ["animal"]
    split += [] if "methods" in bridge else ["method"]
    split += [] if "conditions" in bridge else ["condition"]
    key = np.zeros(len(rows), dtype=np.int64)
    for name in split:
        codes, texts = columns.store.coded(name)
        key = key * len(texts) + codes[rows]
    order = np.argsort(key, kind="stable")
    return rows[order], np.flatnonzero(np.diff(key[order], prepend=-1))


class SeriesTexts:
    """The texts of series, made from codes: most series have one text throughout."""

    def __init__(self, columns: SeriesColumns, numbers: SeriesNumbers, rows: Rows) -> None:
        self._columns, self._numbers, self._rows = columns, numbers, rows
        self._codes, self._words = {}, {}
        for name in ("animal", "species", "method", "condition"):
            codes, texts = columns.store.coded(name)
            self._codes[name] = codes[rows]
            self._words[name] = [str(text) for text in texts.tolist()]

    def has_bound(self, start: Rows) -> list[bool]:
        """Whether each series that starts there holds a bound."""
        return self._any(~self._numbers.plain[self._rows], start)

    def has_recorded(self, start: Rows) -> list[bool]:
        """Whether each series that starts there has anything recorded of its measuring."""
        filled = np.zeros(len(self._rows), dtype=bool)
        for codes, texts in self._columns.recorded:
            filled |= (texts != "").astype(bool)[codes[self._rows]]
        return self._any(filled, start)

    @staticmethod
    def _any(true: NDArray[np.bool_], start: Rows) -> list[bool]:
        found = np.logical_or.reduceat(true, start) if len(start) else true[:0]
        return [bool(flag) for flag in found]

    def newest(self, span: slice) -> tuple[str, str, str, str]:
        """Return animal, species, method and condition of the latest session of a series."""
        at = span.stop - 1
        method = self._codes["method"][span]
        if (method != method[-1]).any():
            rows = self._rows[span]
            columns = self._columns
            at = span.start + latest(
                columns.date[rows], columns.first_time[rows], columns.method[rows]
            )
        animal, species, how, where = (
            self._words[name][self._codes[name][at]] for name in self._codes
        )
        return animal, species, how, where

    def of(self, name: str, span: slice) -> NDArray[np.str_]:
        """Return the texts (n,) of a series."""
        codes, words = self._codes[name][span], self._words[name]
        if (codes == codes[0]).all():
            return alike(words[codes[0]], codes.size)
        return _frozen(np.array([words[code] for code in codes.tolist()]))

    def bound(self, span: slice) -> NDArray[np.str_]:
        """Return what is known of the bounds (n,) of a series."""
        return _frozen(self._numbers.bound[self._rows[span]].astype(str))

    def beyond(self, span: slice) -> NDArray[np.object_]:
        """Return `Series.beyond` (n,) of a series."""
        return _frozen(self._numbers.beyond[self._rows[span]])

    def recorded(self, span: slice) -> NDArray[np.str_]:
        """Return `Series.recorded` (n, 4) of a series."""
        rows = self._rows[span]
        columns = [texts[codes[rows]] for codes, texts in self._columns.recorded]
        return _frozen(np.stack(columns, axis=1).astype(str))


def _frozen(array: NDArray[Any]) -> NDArray[Any]:
    array.setflags(write=False)
    return array


def alike(text: str, length: int) -> NDArray[np.str_]:
    """Return an array (length,) of one text, read-only; those of one text share their memory."""
    return _repeated(text, 1 << max(6, (length - 1).bit_length()))[:length]


@lru_cache(maxsize=64)
def _repeated(text: str, length: int) -> NDArray[np.str_]:
    return _frozen(np.full(length, text))
