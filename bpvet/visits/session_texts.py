"""The texts of sessions as codes: those that differ within a session are joined."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bpvet.records.parsing.arrow import text_column
from bpvet.records.parsing.coded import Coded
from bpvet.records.parsing.columns import bits, code_type, constant
from bpvet.visits.session_store import compact

Codes = NDArray[np.int64]


class Vocabulary:
    """Different texts, numbered as they are met.

    Parameters
    ----------
    texts : iterable of str
        The first of them.
    """

    def __init__(self, texts: Iterable[str] = ()) -> None:
        self._places = {text: code for code, text in enumerate(texts)}

    def code(self, text: str) -> int:
        """Return the place of a text, which is added where it is new."""
        return self._places.setdefault(text, len(self._places))

    @property
    def texts(self) -> list[str]:
        """All texts in order of their numbers."""
        return list(self._places)


class SessionColumnsByBlock:
    """Columns of all sessions that are filled a block of sessions at a time.

    Parameters
    ----------
    count : int
        Sessions there are.
    """

    def __init__(self, count: int) -> None:
        self._count = count
        self._arrays: dict[str, NDArray[Any]] = {}
        self._vocabularies: dict[str, Vocabulary] = {}

    def vocabulary(self, name: str, texts: Iterable[str] = ()) -> Vocabulary:
        """Return the texts of a column; made of `texts` where it is asked for first."""
        if name not in self._vocabularies:
            self._vocabularies[name] = Vocabulary(texts)
        return self._vocabularies[name]

    def put(self, name: str, rows: slice, values: Any) -> None:
        """Fill some sessions' rows of a column.

        Parameters
        ----------
        name : str
        rows : slice
            The sessions.
        values : array or Coded
            Numbers, or codes into the column's vocabulary; or few texts.
        """
        if isinstance(values, Coded):
            known = self.vocabulary(name)
            code = np.array([known.code(text) for text in values.texts.tolist()], dtype=np.int32)
            values = code[values.codes]
        if name not in self._arrays:
            value = values[0] if len(values) else 0
            self._arrays[name] = constant(value, self._count, values.dtype)
        column = self._arrays[name]
        if column.strides[0] == 0:
            # One value throughout takes no room; nearly half of the columns are such.
            if bool((bits(values) == bits(column[: len(values)])).all()):
                return
            self._arrays[name] = np.empty(self._count, dtype=column.dtype)
            self._arrays[name][: rows.start] = column[: rows.start]
        self._arrays[name][rows] = values

    def columns(self, rows: Codes) -> dict[str, Any]:
        """Return some sessions (k,) of the columns, those of texts as codes; keep nothing."""
        found: dict[str, Any] = dict.fromkeys(self._arrays)
        # A quarter of the columns equal another one, with which they are put in order.
        alike: dict[int, tuple[NDArray[Any], list[str]]] = {}
        for name, column in compact(self._arrays).items():
            alike.setdefault(id(column), (column, []))[1].append(name)
        self._arrays = {}
        while alike:
            _, (column, names) = alike.popitem()
            placed = np.take(column, rows) if column.strides[0] else column
            found |= dict.fromkeys(names, placed)
        for name, known in self._vocabularies.items():
            codes = found[name].astype(code_type(len(known.texts)))
            found[name] = Coded(codes, text_column(known.texts))
        return found


def joined_text(
    of: Codes, code: NDArray[np.integer], words: NDArray[np.object_], count: int, known: Vocabulary
) -> NDArray[np.int32]:
    """Return the distinct texts of each session in order of taking, joined by "; ".

    Parameters
    ----------
    of : (n,) array of int
        Session of each reading, ascending.
    code : (n,) array of int
        Its text as code into `words`.
    words : (k,) array of str
        The different texts, none of them joined.
    count : int
        Sessions there are.
    known : Vocabulary
        Begins with `words`; joined texts are added.

    Returns
    -------
    (count,) array of int
        Codes into the vocabulary.
    """
    blank = known.code("")
    first = np.ones(len(of), dtype=bool)
    np.not_equal(of[1:], of[:-1], out=first[1:])
    if ((code[1:] == code[:-1]) | first[1:]).all():
        # Every session has one text throughout.
        return code[first].astype(np.int32)
    joined = np.full(count, blank, dtype=np.int32)
    given = np.flatnonzero(code != blank)
    # Rows stand session by session, so a text is new where session or text change; the same text
    # may come again later in a session, which the pairs below tell.
    session, text = of[given], code[given]
    new = np.ones(len(given), dtype=bool)
    new[1:] = (session[1:] != session[:-1]) | (text[1:] != text[:-1])
    session, text = session[new], text[new]
    first = np.ones(len(session), dtype=bool)
    first[1:] = session[1:] != session[:-1]
    joined[session[first]] = text[first]
    if first.all():
        return joined
    mixed = np.zeros(count, dtype=bool)
    mixed[session[~first]] = True
    seen: dict[int, dict[str, None]] = {}
    some = mixed[session]
    for session_, which in zip(session[some].tolist(), text[some].tolist(), strict=True):
        seen.setdefault(session_, {})[words[which]] = None
    for session_, met in seen.items():
        joined[session_] = known.code("; ".join(met))
    return joined
