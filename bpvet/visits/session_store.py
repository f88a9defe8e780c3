"""Every session of some records as arrays: where each animal's stand, and codes for texts.

Frames are made of it for users, when they are asked for, and not between steps.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache, cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.equality import Content
from bpvet.records.parsing.coded import Coded
from bpvet.records.parsing.columns import bits, constant, each
from bpvet.records.records import copies_on_write

if TYPE_CHECKING:
    import pandas as pd

Codes = NDArray[np.int64]
#: Rows whose texts are written at a time.
_ROWS = 1 << 15
#: Rows by which columns are first told apart.
_FEW = 64


class SessionStore:
    """The columns of `bpvet.sessions`, animals one after another.

    Parameters
    ----------
    columns : mapping of str to (n,) array, Coded or Series
        By name, in the order of the frame.
    frame : DataFrame, optional
        The same as a frame, where it is there already.
    """

    def __init__(self, columns: Mapping[str, Any], frame: pd.DataFrame | None = None) -> None:
        self._columns = dict(columns)
        self._arrays: dict[str, NDArray[Any]] = {}
        self._coded: dict[str, tuple[Codes, NDArray[np.object_]]] = {}
        if frame is not None:
            vars(self)["frame"] = frame

    @classmethod
    def of_frame(cls, frame: pd.DataFrame) -> SessionStore:
        """Return the store of a frame as from `bpvet.sessions`."""
        return cls({name: frame[name] for name in frame.columns}, frame)

    @property
    def names(self) -> tuple[str, ...]:
        """The columns, in the order of the frame."""
        return tuple(self._columns)

    def __len__(self) -> int:
        return len(next(iter(self._columns.values())))

    def array(self, name: str) -> NDArray[Any]:
        """Return one column (n,) as an array, read-only; texts are objects, dates days."""
        if name not in self._arrays:
            column = self._columns[name]
            if isinstance(column, Coded):
                codes, texts = self.coded(name)
                found = texts[codes]
            else:
                found = np.asarray(column)
            if name == "date":
                found = found.astype("datetime64[D]")
            found = found.view()
            found.setflags(write=False)
            self._arrays[name] = found
        return self._arrays[name]

    def coded(self, name: str) -> tuple[Codes, NDArray[np.object_]]:
        """Return a column of texts as the place of each row's text (n,) among different texts."""
        if name not in self._coded:
            column = self._columns[name]
            if isinstance(column, Coded):
                codes, texts = column.codes, column.texts
            else:
                # A column of a user's frame, in which texts may be missing.
                codes, texts = column.astype(object).factorize()
            self._coded[name] = codes.astype(np.int64), np.asarray(texts, dtype=object)
        return self._coded[name]

    @cached_property
    def frame(self) -> pd.DataFrame:
        """The sessions as `bpvet.sessions` gives them."""
        import pandas as pd

        alike: dict[Any, Any] = {}
        columns = {
            name: (_text if isinstance(column, Coded) else _numbers)(column, alike)
            for name, column in self._columns.items()
        }
        return pd.DataFrame(columns, copy=False)

    @cached_property
    def bounds(self) -> Mapping[str, tuple[int, int]]:
        """Start and stop of each animal's sessions, by its id."""
        codes, ids = self.coded("animal")
        start = np.flatnonzero(np.diff(codes, prepend=-1))
        stop = np.append(start[1:], len(codes))[: len(start)]
        names = ids[codes[start]].tolist()
        return dict(zip(names, zip(start.tolist(), stop.tolist(), strict=True), strict=True))

    def of_animal(self, animal: str) -> AnimalSessions:
        """Return the sessions of one animal; none of an animal that has none."""
        return AnimalSessions(self, *self.bounds.get(animal, (0, 0)))


class AnimalSessions(Content):
    """All sessions of one animal: rows of a store, a frame once it is asked for.

    Parameters
    ----------
    store : SessionStore
        Where they stand.
    start, stop : int
        The first of them, and the one after the last.
    """

    def __init__(self, store: SessionStore, start: int, stop: int) -> None:
        self.store, self.rows = store, slice(start, stop)

    @classmethod
    def of_frame(cls, frame: pd.DataFrame) -> AnimalSessions:
        """Return the sessions that a frame holds, counted from 0."""
        return cls(SessionStore.of_frame(frame), 0, len(frame))

    def __len__(self) -> int:
        return self.rows.stop - self.rows.start

    def array(self, name: str) -> NDArray[Any]:
        """Return one column (n,), as `SessionStore.array`."""
        return self.store.array(name)[self.rows]

    def coded(self, name: str) -> tuple[Codes, NDArray[np.object_]]:
        """Return a column of texts, as `SessionStore.coded`; some texts may be of other animals."""
        codes, texts = self.store.coded(name)
        return codes[self.rows], texts

    @cached_property
    def frame(self) -> pd.DataFrame:
        """The sessions as `bpvet.sessions` gives them, counted from 0."""
        return self.store.frame.iloc[self.rows].reset_index(drop=True)

    def _content(self) -> tuple[Any, ...]:
        return (self.frame,)

    def __reduce__(self) -> tuple[Any, ...]:
        """Pickle these sessions alone, and not those of the other animals."""
        return AnimalSessions.of_frame, (self.frame,)


def compact(columns: Mapping[str, Any]) -> dict[str, Any]:
    """Return columns of which those of one value take no room, and equal ones are the same array.

    Parameters
    ----------
    columns : mapping of str to (n,) array or Coded
    """
    found: dict[str, Any] = {}
    met: list[NDArray[Any]] = []
    for name, column in columns.items():
        found[name] = column
        if not isinstance(column, np.ndarray) or column.dtype.kind not in "bifM" or not len(column):
            continue
        if column.strides[0] == 0:
            continue
        if (bits(column) == bits(column[:1])).all():
            found[name] = constant(column[0], len(column), column.dtype)
            continue
        for kept_column in met:
            # The first few tell nearly all that differ.
            if kept_column is column or (
                kept_column.dtype == column.dtype
                and all(
                    np.array_equal(bits(kept_column)[:many], bits(column)[:many])
                    for many in (_FEW, len(column))
                )
            ):
                found[name] = kept_column
                break
        else:
            met.append(column)
    return found


@cache
def _throughout(value: bytes, dtype: str, count: int) -> pd.Series[Any]:
    """Return one value (count,) that takes no room, kept so that whoever writes writes a copy."""
    import pandas as pd

    return pd.Series(constant(np.frombuffer(value, dtype)[0], count, dtype), copy=False)


def _numbers(column: Any, alike: dict[Any, Any]) -> Any:
    """Return a column for a frame; the same array twice is shared until one is written into.

    `alike` is as in `_text`.
    """
    import pandas as pd

    if not isinstance(column, np.ndarray) or not copies_on_write():
        # Older versions of pandas would write into every column that shares the array.
        return column if isinstance(column, pd.Series) else np.array(column)
    if len(column) and column.strides[0] == 0:
        return _throughout(column[:1].tobytes(), column.dtype.str, len(column))
    if id(column) not in alike:
        alike[id(column)] = pd.Series(column, copy=False)
    return alike[id(column)]


def _text(column: Coded, alike: dict[Any, Any]) -> Any:
    """Return codes as texts; columns of one text throughout share it.

    `alike` holds what was made so far.
    """
    import pandas as pd

    codes, like = column.codes, _no_texts()
    # An array of pyarrow's is never written into: what is changed in a frame is made anew.
    if getattr(like.dtype, "storage", "") != "pyarrow" or len(codes) == 0 or (codes < 0).any():
        return pd.Index(column.texts, dtype="str").array.take(codes)
    throughout = column.cells[int(codes[0])].as_py() if (codes == codes[0]).all() else None
    if throughout is None or throughout not in alike:
        whole = pa.chunked_array([_taken(column.cells, codes)])
        made = type(like)._from_sequence(whole, dtype=like.dtype)
        if throughout is None:
            return made
        alike[throughout] = made
    return alike[throughout].view()


@cache
def _no_texts() -> Any:
    """Return no texts, as a column of a frame holds them."""
    import pandas as pd

    return pd.Index([], dtype="str").array


def _taken(texts: pa.Array, codes: NDArray[np.integer]) -> pa.Array:
    """Return the texts (n,) of codes, in memory of numpy's: what sessions were made in is free."""
    lengths = pc.binary_length(texts).to_numpy()
    ends = np.zeros(len(codes) + 1, dtype=np.int64)
    np.cumsum(each(lengths, codes), out=ends[1:])
    letters = np.empty(int(ends[-1]), dtype=np.uint8)
    for start in range(0, len(codes), _ROWS):
        some = codes[start : start + _ROWS]
        block = texts.take(pa.array(some))
        first, last = ends[start], ends[start + len(some)]
        if last > first:
            letters[first:last] = np.frombuffer(block.buffers()[2], np.uint8)[: last - first]
    buffers = [None, pa.py_buffer(ends), pa.py_buffer(letters)]
    return pa.Array.from_buffers(texts.type, len(codes), buffers)


#: Sessions that are asked for columns: of all animals, or of one.
Sessions = SessionStore | AnimalSessions
