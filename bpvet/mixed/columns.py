"""What a cohort's fit asks of a data frame, and the columns it needs, as arrays and codes.

Every row that cannot enter is counted under its reason; none is dropped in silence.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.errors import CallError
from bpvet.frozen import dataclass, replace
from bpvet.mixed.design import Design
from bpvet.mixed.formula_guard import Formula, read_formula

Codes = NDArray[np.int64]

_LONGEST_AS_NUMBERS = 32
# So many rows show whether a column has two labels, and whether their runs are this short.
_FIRST_ROWS, _SHORT_RUN = 64, 16


@dataclass(frozen=True, eq=False)
class ModelSpec:
    """What is asked of the data: the formula, the grouping columns, and their levels.

    Parameters
    ----------
    formula : Formula
    animal : str
    session : str or None
        None where each row stands alone.
    slopes : tuple of str
    visit_by, residual_by, group : str or None
    kind : str
        ``sessions`` (one row a session with its count), ``readings`` or ``plain``.
    levels : dict
        Levels of every text column in the formula and of the class columns. A column of numbers
        may be a class and stand in the formula too: there it is a number.
    design : Design or None
        Filled once the levels are known.
    """

    formula: Formula
    animal: str
    session: str | None
    slopes: tuple[str, ...]
    visit_by: str | None
    residual_by: str | None
    group: str | None
    kind: str
    levels: Mapping[str, tuple[str, ...]]
    design: Design | None = None

    @property
    def own_columns(self) -> tuple[str, ...]:
        """Return the columns of a sessions frame that describe the outcome."""
        if self.kind != "sessions":
            return ()
        name = self.formula.response
        return f"{name}_n", f"{name}_ss", f"{name}_bound"

    @property
    def required(self) -> tuple[str, ...]:
        """Return the columns in which a row must have a value."""
        named: list[str | None] = [*self.formula.response_columns, self.animal]
        named += [*self.formula.columns, *self.slopes]
        named += [self.visit_by, self.residual_by, self.group]
        if self.kind == "readings":
            named.append(self.session)
        if self.kind == "sessions":
            named.append(self.own_columns[0])
        return tuple(dict.fromkeys(name for name in named if name is not None))


class Roles(NamedTuple):
    """Which columns of the data play which part; `ModelSpec` says what each is for."""

    animal: str
    session: str | None = None
    slopes: tuple[str, ...] = ()
    visit_by: str | None = None
    residual_by: str | None = None
    group: str | None = None


def model_spec(columns: list[str], formula: str, roles: Roles) -> ModelSpec:
    """Return the specification after checking that the data have the columns it names."""
    read = read_formula(formula, columns)
    for role in ("animal", "visit_by", "residual_by", "group"):
        name = getattr(roles, role)
        if name is not None and name not in columns:
            raise CallError(f'The data have no column "{name}" (given as {role}).')
    kind = _kind(read, columns, roles.session)
    if kind == "plain" and roles.visit_by is not None:
        raise CallError("visit_by needs sessions of several readings; give session= as well.")
    return ModelSpec(read, *roles, kind, levels={})


def _kind(formula: Formula, columns: list[str], session: str | None) -> str:
    if session is None:
        return "plain"
    if f"{formula.response}_n" in columns:
        return "sessions"
    if session in columns:
        base = formula.response_columns[0]
        if f"{base}_n" in columns:
            raise CallError(
                f'"{formula.response}" of a mean is not the mean of "{formula.response}": '
                "give readings, or session=None where each session holds one."
            )
        return "readings"
    raise CallError(
        f'The data have no column "{session}" (given as session); where each row stands alone, '
        "pass session=None."
    )


@dataclass(frozen=True, eq=False)
class Text:
    """A column of labels as codes, −1 where there is none.

    Rows of one label usually stand together, so that codes are kept by run.

    Parameters
    ----------
    run_codes : (R,) int
        The code of each run of rows.
    heads : (R,) int or None
        First row of each run; None where every row has a code of its own.
    rows : int
    labels : Index
    complete : bool
        Whether every label occurs.
    categorical : bool
        Whether the order of the labels has a meaning.
    gapless : bool
        Whether it is known that no row lacks a label and no label is blank.
    """

    run_codes: NDArray[Any]
    heads: Codes | None
    rows: int
    labels: pd.Index[Any]
    complete: bool = True
    categorical: bool = False
    gapless: bool = False

    @cached_property
    def codes(self) -> NDArray[Any]:
        """Return the code of each row."""
        if self.heads is None:
            return self.run_codes
        return np.repeat(self.run_codes, np.diff(self.heads, append=self.rows))

    @cached_property
    def starts(self) -> NDArray[np.bool_]:
        """Return which rows differ from the row before; the first is among them."""
        starts = np.zeros(self.rows, bool)
        if self.heads is not None:
            starts[self.heads] = True
        elif self.rows:
            starts[0] = True
            np.not_equal(self.codes[1:], self.codes[:-1], out=starts[1:])
        return starts

    def names(self) -> list[str]:
        """Return the labels as text; 3 and 3.0 are one, in columns of numbers.

        A missing number makes a column floating, in one part of the data and not in another.
        """
        if self.labels.dtype.kind == "f" and not self.categorical:
            return [str(int(label)) if label.is_integer() else str(label) for label in self.labels]
        return [str(label) for label in self.labels]

    def taken(self, rows: Any) -> Text:
        """Return the column at some rows."""
        return self._of_codes(at_rows(self.codes, rows))

    def at_heads(self, rows: Codes) -> Text:
        """Return the column at rows in order; quicker where every run begins at one of them."""
        begins = self.starts[rows]
        if self.heads is None or np.count_nonzero(begins) < len(self.heads):
            return self.taken(rows)
        run = np.cumsum(begins, dtype=np.int32) - 1
        return self._of_codes(np.take(self.run_codes, run))

    def _of_codes(self, codes: NDArray[Any]) -> Text:
        return replace(self, run_codes=codes, heads=None, rows=len(codes), complete=False)


def at_rows(values: NDArray[Any], rows: Any) -> NDArray[Any]:
    """Return values at some rows (a slice, a mask or places)."""
    if isinstance(rows, slice) or rows.dtype == bool:
        return values[rows]
    # A third quicker than by an index.
    return np.take(values, rows)


@dataclass(frozen=True, eq=False)
class Table:
    """The needed columns of a frame as arrays: numbers, and labels as codes.

    `kinds` has what each column of numbers was before missing ones made it floating: ``b``
    (truth values), ``i`` (whole) or ``f``.
    """

    numbers: dict[str, NDArray[Any]]
    texts: dict[str, Text]
    kinds: dict[str, str]
    rows: int

    def taken(self, rows: Any) -> Table:
        """Return the table at some rows (a slice, a mask or places)."""
        numbers = {name: at_rows(values, rows) for name, values in self.numbers.items()}
        texts = {name: text.taken(rows) for name, text in self.texts.items()}
        if isinstance(rows, slice):
            size = len(range(*rows.indices(self.rows)))
        else:
            size = int(np.count_nonzero(rows)) if rows.dtype == bool else len(rows)
        return Table(numbers, texts, self.kinds, size)

    def at_heads(self, rows: Codes, names: Collection[str | None], in_order: bool) -> Table:
        """Return some columns at the first rows of sessions, which may stand in order."""
        numbers = {
            name: np.take(values, rows) for name, values in self.numbers.items() if name in names
        }
        texts = {
            name: text.at_heads(rows) if in_order else text.taken(rows)
            for name, text in self.texts.items()
            if name in names
        }
        return Table(numbers, texts, self.kinds, len(rows))

    def frame(
        self,
        names: tuple[str, ...],
        levels: Mapping[str, tuple[str, ...]],
        classes: tuple[str, ...] = (),
    ) -> pd.DataFrame:
        """Return some columns as a frame, labels as categories of these levels.

        Numbers are floating, whose powers do not overflow as whole ones do; those of `classes`
        are of their own kind, by which their levels are named.
        """
        columns: dict[str, Any] = {}
        for name in names:
            if name in self.numbers:
                kind = self.kinds[name] if name in classes else "f"
                columns[name] = _of_kind(self.numbers[name], kind)
            else:
                columns[name] = categories(
                    class_codes(self.texts[name], levels[name]), levels[name]
                )
        return pd.DataFrame(columns, index=pd.RangeIndex(self.rows))

    def labelled(self, names: tuple[str, ...]) -> pd.DataFrame:
        """Return some columns as a frame, labels as text."""
        columns: dict[str, Any] = {}
        for name in names:
            if name in self.numbers:
                columns[name] = _of_kind(self.numbers[name], self.kinds[name])
            else:
                text = self.texts[name]
                labels = np.array(text.names(), dtype=object)
                columns[name] = labels[text.codes] if len(labels) else np.empty(0, object)
        return pd.DataFrame(columns, index=pd.RangeIndex(self.rows))


def _of_kind(values: NDArray[Any], kind: str) -> NDArray[Any]:
    if kind == "f" or values.dtype.kind in "iub":
        return values.astype(float, copy=False) if kind == "f" else values
    return values.astype(bool if kind == "b" else np.int64)


def categories(codes: Codes, levels: tuple[str, ...]) -> pd.Categorical[Any]:
    """Return codes as categories of these levels."""
    return pd.Categorical.from_codes(codes, dtype=pd.CategoricalDtype(list(levels)))


def class_codes(text: Text, levels: tuple[str, ...]) -> NDArray[Any]:
    """Return each row's place among the levels, in few bytes."""
    code_of = {level: code for code, level in enumerate(levels)}
    table = _narrow(np.array([code_of.get(name, -1) for name in text.names()], np.int64))
    return np.take(table, text.codes)


def factorised(column: pd.Series[Any]) -> Text:
    """Return a column of labels as codes, in order of appearance, in few bytes.

    Rows of one animal usually stand together, so that only the heads of runs are looked up.
    """
    if isinstance(column.dtype, pd.CategoricalDtype):
        codes, labels = _narrow(column.cat.codes.to_numpy()), column.cat.categories
        return Text(codes, None, len(column), labels, complete=False, categorical=True)
    strings = _arrow_strings(column)
    if strings is not None:
        return _factorised_strings(column, strings)
    heads = None
    if len(column) > 1:
        # Python objects are compared one by one: quicker by NumPy than by pandas.
        values: Any = column.to_numpy() if column.dtype == object else column.array
        change = np.ones(len(values), bool)
        unequal = values[1:] != values[:-1]
        change[1:] = pd.Series(unequal).to_numpy(dtype=bool, na_value=True)
        heads = np.flatnonzero(change)
    if heads is None or len(heads) > len(column) // 2:
        codes, labels = pd.factorize(column)
        return Text(_narrow(codes), None, len(column), pd.Index(labels))
    codes, labels = pd.factorize(column.iloc[heads])
    return Text(_narrow(codes), heads, len(column), pd.Index(labels))


def _arrow_strings(column: pd.Series[Any]) -> Any:
    """Return a column of text without gaps as one Arrow array; None for any other column."""
    dtype = column.dtype
    if not (isinstance(dtype, pd.StringDtype) and dtype.storage == "pyarrow" and len(column) > 1):
        return None
    import pyarrow as pa

    strings = pa.array(column)
    if isinstance(strings, pa.ChunkedArray):
        if strings.num_chunks != 1:
            return None
        strings = strings.chunk(0)
    return None if strings.null_count else strings


def _factorised_strings(column: pd.Series[Any], strings: Any) -> Text:
    """Return `factorised` of an Arrow array: its own kernels leave out copies that pandas makes."""
    found = _two_labels(strings)
    heads = None
    if found is None:
        heads = _heads(strings)
        if len(heads) > len(strings) // 2:
            heads = None
        found = _looked_up(strings if heads is None else strings.take(heads))
    codes, labels = found
    dtype: Any = column.dtype
    return Text(
        _narrow(codes),
        heads,
        len(strings),
        pd.Index(dtype.__from_arrow__(labels)),
        gapless=bool(np.all(np.diff(_ends(labels)) > 0)),
    )


def _two_labels(strings: Any) -> tuple[NDArray[Any], Any] | None:
    """Return the codes and labels of a column of two labels in short runs; None of any other.

    To compare every text with both labels is quicker then than to look up the head of each run.
    """
    import pyarrow.compute as pc

    n = len(strings)
    few = strings[:_FIRST_ROWS].dictionary_encode()
    runs = 1 + np.count_nonzero(np.diff(few.indices.to_numpy()))
    if len(few.dictionary) != 2 or runs * _SHORT_RUN < len(few):
        return None
    labels = strings.take(np.linspace(0, n - 1, _FIRST_ROWS).astype(np.int64)).unique()
    if len(labels) != 2:
        return None
    first, second = (_truth(pc.equal(strings, label)) for label in labels)
    return (second, labels) if np.all(first | second) else None


def _truth(values: Any) -> NDArray[np.bool_]:
    """Return an Arrow array of truth values without gaps as one of NumPy's."""
    bits = np.frombuffer(values.buffers()[1], np.uint8)
    return np.unpackbits(bits, count=len(values), bitorder="little").view(bool)


def _looked_up(strings: Any) -> tuple[NDArray[Any], Any]:
    """Return the codes and labels of texts, in order of appearance."""
    if _ascending(strings):
        # Identifiers in order differ from one another: they need not be looked up.
        return np.arange(len(strings)), strings
    encoded = strings.dictionary_encode()
    return encoded.indices.to_numpy(), encoded.dictionary


def _ascending(strings: Any) -> bool:
    """Return whether each text of an Arrow array sorts after the one before."""
    import pyarrow.compute as pc

    # A few of them tell most columns whose texts come in another order.
    lengths = (min(32, len(strings)), len(strings))
    return all(pc.all(pc.less(strings[: n - 1], strings[1:n])).as_py() for n in lengths)


def _ends(strings: Any) -> NDArray[Any]:
    """Return where the texts of an Arrow array begin in its letters, and the end of the last."""
    import pyarrow as pa

    size = np.int64 if pa.types.is_large_string(strings.type) else np.int32
    ends = np.frombuffer(strings.buffers()[1], size)
    return ends[strings.offset : strings.offset + len(strings) + 1]


def _heads(strings: Any) -> Codes:
    """Return where runs of equal texts begin in an Arrow array, (runs,).

    Texts of one length, as identifiers often are, are compared as whole numbers: many times
    faster than as texts.
    """
    import pyarrow.compute as pc

    n, ends = len(strings), _ends(strings)
    length = _shared_length(ends)
    if 0 < length <= _LONGEST_AS_NUMBERS:
        differ = _words_differ(strings.buffers()[2], int(ends[0]), n, length)
    else:
        differ = _truth(pc.not_equal(strings[1:], strings[:-1]))
    return np.append(0, np.flatnonzero(differ) + 1)


def _shared_length(ends: NDArray[Any]) -> int:
    """Return the length that all texts between these offsets have; 0 where lengths differ."""
    n, length = len(ends) - 1, int(ends[1] - ends[0])
    alike = int(ends[-1] - ends[0]) == n * length and np.all(np.diff(ends) == length)
    return length if alike else 0


def _words_differ(letters: Any, begin: int, n: int, length: int) -> NDArray[np.bool_]:
    """Return where n texts of one length, in a buffer, differ from the text before, (n − 1,)."""
    width = max(width for width in (1, 2, 4, 8) if width <= length)
    differ = np.zeros(n - 1, bool)
    for at in (*range(0, length - width, width), length - width):
        words = np.ndarray(n, f"u{width}", letters, begin + at, (length,))
        differ |= words[1:] != words[:-1]
    return differ


def _narrow(codes: NDArray[Any]) -> NDArray[Any]:
    largest = int(codes.max(initial=0))
    size = np.int16 if largest < 2**15 else np.int32 if largest < 2**31 else np.int64
    return codes.astype(size)


def table_of(frame: pd.DataFrame, spec: ModelSpec) -> Table:
    """Return the needed columns of a frame, missing numbers as NaN."""
    numbers: dict[str, NDArray[Any]] = {}
    texts: dict[str, Text] = {}
    kinds: dict[str, str] = {}
    by_label = {spec.animal, spec.visit_by, spec.residual_by, spec.group}
    named = [*spec.required, *spec.own_columns]
    for name in dict.fromkeys(name for name in named if name in frame.columns):
        column = frame[name]
        if isinstance(column, pd.DataFrame):
            raise CallError(f"The data have more than one column {name}.")
        integers = _whole(column)
        if name in by_label:
            texts[name] = factorised(column)
        if name == spec.session and not (integers and _fits_a_code(column)):
            texts[name] = factorised(column)
        elif integers or column.dtype in (bool, float):
            numbers[name] = column.to_numpy()
        elif pd.api.types.is_numeric_dtype(column.dtype) and column.dtype.kind != "c":
            numbers[name] = column.to_numpy(dtype=float, na_value=np.nan)
        elif name not in by_label:
            _refuse_dates(column, name, spec.formula)
            texts[name] = factorised(column)
        if name in numbers:
            integer = pd.api.types.is_integer_dtype(column.dtype)
            truth = pd.api.types.is_bool_dtype(column.dtype)
            kinds[name] = "b" if truth else "i" if integer else "f"
    # A count and a sum of squares are no text.
    for count in spec.own_columns[:2]:
        if count in texts and np.any(texts[count].run_codes >= 0):
            raise CallError(f"Column {count} must hold numbers.")
    return Table(numbers, texts, kinds, len(frame))


def _whole(column: pd.Series[Any]) -> bool:
    if not pd.api.types.is_integer_dtype(column.dtype):
        return False
    # Only pandas' own types of whole numbers can lack one, and looking costs a pass.
    return isinstance(column.dtype, np.dtype) or not column.isna().any()


def _fits_a_code(column: pd.Series[Any]) -> bool:
    dtype = column.to_numpy().dtype
    return dtype.kind == "i" or (dtype.kind == "u" and dtype.itemsize < 8)


def _refuse_dates(column: pd.Series[Any], name: str, formula: Formula) -> None:
    """Raise a CallError for dates that are not mere classes; durations have no order as text."""
    if name in formula.classes and name not in formula.plain and column.dtype.kind == "M":
        return
    if column.dtype.kind in "mM" or isinstance(column.dtype, pd.PeriodDtype):
        raise CallError(f"Column {name} holds dates; use months or another number.")


def usable(table: Table, spec: ModelSpec) -> tuple[Table, NDArray[np.bool_], dict[str, int]]:
    """Return the rows that have a value wherever one is needed, and the others by reason."""
    keep = np.ones(table.rows, bool)
    left_out: dict[str, int] = {}
    for name in spec.required:
        missing = missing_values(table, name)
        if missing is not None and np.any(missing & keep):
            left_out[f"no {name}"] = int((missing & keep).sum())
            keep &= ~missing
    if spec.kind == "sessions":
        empty = keep & (table.numbers[spec.own_columns[0]] < 1)
        if empty.any():
            left_out["no reading"] = int(empty.sum())
            keep &= ~empty
    return (table if keep.all() else table.taken(keep)), keep, left_out


def missing_values(table: Table, name: str) -> NDArray[np.bool_] | None:
    """Return where a column has no value (None where it cannot lack one)."""
    if name in table.texts:
        text = table.texts[name]
        if text.gapless:
            return None
        blank = np.asarray(text.labels == "", dtype=bool)
        if not blank.any() and text.run_codes.min(initial=0) >= 0:
            return None
        return np.append(blank, True)[text.codes]
    values = table.numbers.get(name)
    if values is None or values.dtype.kind != "f":
        return None
    with np.errstate(invalid="ignore", over="ignore"):
        if np.isfinite(values @ values):
            return None
    finite: NDArray[np.bool_] = np.isfinite(values)
    return ~finite
