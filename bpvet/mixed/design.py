"""A formula becomes arrays, by the formula library or, for products of columns, directly."""

from __future__ import annotations

import re
import warnings
from collections.abc import Collection, Mapping
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.equality import Content
from bpvet.errors import CallError, FormulaError
from bpvet.frozen import dataclass, field
from bpvet.mixed.formula_guard import Formula

MOST_COLUMNS = 200

Recipe = tuple[tuple[tuple[str, bool], ...], ...]


@dataclass(frozen=True, eq=False)
class Design(Content):
    """How columns of X follow from columns of the data.

    Parameters
    ----------
    names : tuple of str
        Columns of X.
    terms : dict
        Columns (their places) of each term of the formula, by its name.
    levels : dict
        Levels of each text column.
    spec : object
        The library's specification; None where the library was not asked.
    recipe : tuple or None
        Where X is made of products of columns alone: for each block of its columns the factors,
        as (name, reduced). Such X is made directly, a tenth of the library's time.
    numbers : tuple of str
        The formula's other columns, those of numbers and truth values.
    classes : dict
        Levels of each column of numbers or truth values within ``C(…)``.
    """

    names: tuple[str, ...]
    terms: dict[str, tuple[int, ...]]
    levels: dict[str, tuple[str, ...]]
    spec: Any = field(compare=False)
    recipe: Recipe | None = None
    numbers: tuple[str, ...] = ()
    classes: dict[str, tuple[Any, ...]] = field(default_factory=dict)

    def matrix(self, frame: pd.DataFrame) -> NDArray[np.float64]:
        """Return X (n, p) for the rows of a frame that holds the formula's columns.

        Raises
        ------
        CallError
            Where a row lacks a value, holds a level that the fit never saw, lies beyond the
            range of a spline, or gives a column of X that is no finite number.
        """
        ready = pd.DataFrame(
            {name: self._column(frame, name) for name in (*self.levels, *self.numbers)},
            index=pd.RangeIndex(len(frame)),
        )
        if not len(ready):
            return np.empty((0, len(self.names)))
        try:
            x = self.matrix_of(prepared(ready, self.levels, tuple(self.classes)))
        except FormulaError as error:
            raise CallError(str(error)) from None
        strange = ~np.isfinite(x)
        if strange.any():
            row, column = np.argwhere(strange)[0]
            raise CallError(
                f"Row {frame.index[row]}: the design's column {self.names[column]} is no finite "
                "number there."
            )
        return x

    def _column(self, frame: pd.DataFrame, name: str) -> NDArray[Any]:
        """Return the values of one column, text as labels."""
        if name not in self.levels and name not in self.classes:
            return numbers_of(frame, name)
        column = _filled(frame, name)
        codes, found = pd.factorize(column)
        if name in self.levels:
            known: tuple[Any, ...] = self.levels[name]
            values = np.array([str(value) for value in found], dtype=object)
        else:
            known = self.classes[name]
            values = np.array(list(found), dtype=object)
        strange = set(values).difference(known)
        if strange:
            first = min(str(value) for value in strange)
            listed = ", ".join(str(level) for level in known[:12]) + ", …" * (len(known) > 12)
            raise CallError(
                f'Column {name}: "{first}" is not among the levels of the fit ({listed}).'
            )
        kind = object if name in self.levels else np.array(known).dtype
        return values.astype(kind)[codes]

    def matrix_of(self, ready: pd.DataFrame) -> NDArray[np.float64]:
        """Return X for a frame whose text columns are categories of the design's levels.

        Raises
        ------
        FormulaError
            Where the formula cannot be evaluated on these rows.
        """
        if self.spec is not None or self.recipe is None:
            return _evaluated(self.spec, ready, self.spec)[1]
        return _followed(self.recipe, ready, self.levels, len(self.names))


def _filled(frame: pd.DataFrame, name: str) -> pd.Series[Any]:
    """Return a column of a frame after checking that every row has a value."""
    if name not in frame.columns:
        raise CallError(f'The frame has no column "{name}", which the formula needs.')
    column: Any = frame[name]
    if isinstance(column, pd.DataFrame):
        raise CallError(f"The frame has more than one column {name}.")
    missing = column.isna().to_numpy(dtype=bool)
    if not pd.api.types.is_numeric_dtype(column.dtype):
        missing = missing | (column == "").to_numpy(dtype=bool, na_value=False)
    if missing.any():
        row = frame.index[int(np.flatnonzero(missing)[0])]
        raise CallError(f"Row {row} has no {name}, which the formula needs.")
    return column


def numbers_of(frame: pd.DataFrame, name: str) -> NDArray[np.float64]:
    """Return a column of a frame as numbers (n,).

    Raises
    ------
    CallError
        Where it is not there, lacks a value, or holds anything else.
    """
    column = _filled(frame, name).infer_objects()
    if not pd.api.types.is_numeric_dtype(column.dtype) or column.dtype.kind == "c":
        raise CallError(f"Column {name} must hold numbers, as it did in the fit.")
    return column.to_numpy(dtype=float)


def _evaluated(
    spec: Any, ready: pd.DataFrame, known: Any = None
) -> tuple[Any, NDArray[np.float64]]:
    """Return the library's specification and X; whatever it refuses is a FormulaError.

    Its warnings of levels that it does not know are among them: it would drop such rows' levels.
    """
    from formulaic.errors import DataMismatchWarning

    try:
        # A value beyond all bounds is refused by name, and needs no warning besides.
        with warnings.catch_warnings(), np.errstate(all="ignore"):
            warnings.simplefilter("error", DataMismatchWarning)
            matrix = spec.get_model_matrix(ready, context=_functions())
    # What a formula may hold raises whatever it likes: none of it is to reach a user as it is.
    except Exception as error:
        raise FormulaError(_meaning_of(error, known)) from None
    return matrix.model_spec, _numbers(matrix)


def _meaning_of(error: Exception, known: Any) -> str:
    """Return what the library's error means."""
    text = str(error) or type(error).__name__
    named = re.search(r"`([^`]+)`", text)
    factor = named.group(1) if named else "a term"
    if "contains null values" in text:
        return f"Formula: {factor} is not a number in some rows."
    if "extend beyond" in text:
        state = known.transform_state.get(factor, {}) if known is not None else {}
        ends = [state.get(f"{end}_bound") for end in ("lower", "upper")]
        if all(isinstance(end, (int, float)) for end in ends):
            return f"Formula: {factor} was fitted from {ends[0]:g} to {ends[1]:g} and ends there."
        return f"Formula: {factor} is asked for values beyond its bounds."
    if "outside of the nominated levels" in text:
        return "Formula: some rows hold levels that the design does not know."
    return f"Formula: cannot be evaluated: {text.splitlines()[0]}"


def _functions() -> dict[str, Any]:
    """Return what the library lacks of the functions we allow."""
    return {"log1p": np.log1p, "sqrt": np.sqrt}


def prepared(
    frame: pd.DataFrame, levels: Mapping[str, tuple[str, ...]], classes: Collection[str] = ()
) -> pd.DataFrame:
    """Return the frame with text as categories of these levels, other columns as floats.

    Columns of `classes`, those within ``C(…)``, stay what they are: 3 and True are their levels'
    names.
    """
    ready: dict[str, Any] = {}
    for name in frame.columns:
        column = frame[name]
        if name in levels:
            ready[name] = pd.Series(
                pd.Categorical(column.astype(str), categories=list(levels[name])),
                index=frame.index,
            )
        elif name in classes:
            ready[name] = column
        else:
            ready[name] = column.astype(float)
    return pd.DataFrame(ready, index=frame.index)


def make_design(formula: Formula, ready: pd.DataFrame) -> tuple[Design, NDArray[np.float64]]:
    """Return the design and X for the rows of a frame without missing values.

    Parameters
    ----------
    formula : Formula
    ready : DataFrame
        The columns the right side needs: numbers, and text as categories. Numbers within
        ``C(…)`` take every level that they will ever take.
    """
    kept = {
        str(name): tuple(str(level) for level in ready[name].cat.categories)
        for name in ready.columns
        if isinstance(ready[name].dtype, pd.CategoricalDtype)
    }
    classes = {
        name: tuple(np.unique(ready[name].to_numpy()).tolist())
        for name in formula.classes
        if name not in kept
    }
    for levels in (*kept.values(), *classes.values()):
        # The library would make the columns first: as many as rows, for a column of names.
        _refuse_columns(len(levels))
    plain = plain_design(formula, kept)
    if plain is not None and plain.recipe is not None:
        return plain, _followed(plain.recipe, ready, kept, len(plain.names))
    from formulaic import ModelSpec

    # Plain arrays: a data frame of X would take as long to make as X itself.
    spec = ModelSpec(formula=formula.right, na_action="raise", output="numpy")
    try:
        spec, x = _evaluated(spec, ready)
    except FormulaError as error:
        reason = str(error).removeprefix("Formula: ")
        raise FormulaError(f'Formula "{formula.text}": {reason}') from None
    if x.shape[1] == 0:
        raise FormulaError(f'Formula "{formula.text}" has no term; "~ 1" fits a mean.')
    _refuse_columns(x.shape[1])
    terms = {str(term): tuple(places) for term, places in spec.term_indices.items()}
    names = tuple(str(name) for name in spec.column_names)
    numbers = tuple(name for name in formula.columns if name not in kept)
    recipe = _recipe(spec, kept, ready, x, names)
    return Design(names, terms, kept, spec, recipe, numbers, classes), x


def plain_design(formula: Formula, levels: dict[str, tuple[str, ...]]) -> Design | None:
    """Return the design of a formula of plain columns and their products; None for any other.

    With an intercept, and with every margin of each product in the formula before it, all factors
    are coded against their first level: the library need not work that out.

    Parameters
    ----------
    formula : Formula
    levels : dict
        Of each of its columns that holds text.
    """
    for each in levels.values():
        _refuse_columns(len(each))
    if formula.classes:
        return None
    seen: set[frozenset[str]] = set()
    recipe: list[tuple[tuple[str, bool], ...]] = []
    for term in formula.right:
        factors = [str(factor.expr) for factor in term.factors if str(factor.expr) != "1"]
        if any(name not in formula.plain or len(levels.get(name, "12")) < 2 for name in factors):
            return None
        margins = (frozenset(factors) - {name} for name in factors if name in levels)
        if not (factors or not seen) or not all(margin in seen for margin in margins):
            return None
        seen.add(frozenset(factors))
        recipe.append(tuple((name, name in levels) for name in factors))
    if not recipe or recipe[0]:
        return None
    blocks = [_recipe_names((block,), levels) for block in recipe]
    names = tuple(name for block in blocks for name in block)
    _refuse_columns(len(names))
    ends = np.cumsum([0, *map(len, blocks)])
    terms = {
        str(term): tuple(range(begin, end))
        for term, begin, end in zip(formula.right, ends[:-1], ends[1:], strict=True)
    }
    numbers = tuple(name for name in formula.columns if name not in levels)
    return Design(names, terms, levels, None, tuple(recipe), numbers, {})


def _followed(
    recipe: Recipe, ready: pd.DataFrame, levels: Mapping[str, tuple[str, ...]], columns: int
) -> NDArray[np.float64]:
    """Return X for a frame whose text columns are categories of these levels, by a recipe."""
    numbers = {str(n): ready[n].to_numpy(dtype=float) for n in ready.columns if n not in levels}
    codes = {name: ready[name].cat.codes.to_numpy() for name in levels}
    x = np.empty((len(ready), columns))
    follow(recipe, x, numbers, codes, levels)
    return x


def _refuse_columns(number: int) -> None:
    if number > MOST_COLUMNS:
        raise FormulaError(
            f"The formula makes {number} columns; at most {MOST_COLUMNS} are fitted."
        )


def _recipe(
    spec: Any,
    levels: dict[str, tuple[str, ...]],
    ready: pd.DataFrame,
    x: NDArray[np.float64],
    names: tuple[str, ...],
) -> Recipe | None:
    """Return the recipe of X, or None where it is more than products, or gives other columns."""
    blocks = []
    for term in spec.structure:
        for scoped in term.scoped_terms:
            factors = [
                (scoped_factor.factor.factor, bool(scoped_factor.reduced))
                for scoped_factor in scoped.factors
            ]
            if scoped.scale != 1 or any(f.eval_method.value != "lookup" for f, _ in factors):
                return None
            blocks.append(tuple((str(f.expr), reduced) for f, reduced in factors))
    recipe = tuple(blocks)
    if _recipe_names(recipe, levels) != names:
        return None
    head = ready.iloc[:200]
    made = _followed(recipe, head, levels, x.shape[1])
    return recipe if np.array_equal(made, x[: len(head)]) else None


def _recipe_names(recipe: Recipe, levels: Mapping[str, tuple[str, ...]]) -> tuple[str, ...]:
    """Return the names of a recipe's columns: a few rows do not tell two orders apart."""
    names = []
    for factors in recipe:
        made = [""]
        for name, reduced in factors:
            if name in levels:
                coded = [f"{name}[{'T.' * reduced}{level}]" for level in levels[name][reduced:]]
            else:
                coded = [name]
            made = [f"{before}:{after}" if before else after for after in coded for before in made]
        names += [name or "Intercept" for name in made]
    return tuple(names)


def follow(
    recipe: Recipe,
    x: NDArray[np.float64],
    numbers: Mapping[str, NDArray[Any]],
    codes: Mapping[str, NDArray[Any]],
    levels: Mapping[str, tuple[str, ...]],
) -> None:
    """Write X (n, p) from columns of numbers and codes of levels, as a recipe says."""
    column_of_x = 0
    for factors in recipe:
        columns: list[NDArray[Any]] | None = None
        for name, reduced in factors:
            if name in levels:
                of_name = [codes[name] == code for code in range(int(reduced), len(levels[name]))]
            else:
                of_name = [numbers[name].astype(float, copy=False)]
            if columns is None:
                columns = of_name
            else:
                columns = [before * after for after in of_name for before in columns]
        for column in [np.ones(1)] if columns is None else columns:
            x[:, column_of_x] = column
            column_of_x += 1


def response_values(formula: Formula, frame: pd.DataFrame) -> NDArray[np.float64]:
    """Return the outcome (n,) of a formula; transforms are applied row by row."""
    from formulaic import ModelSpec

    if formula.response in frame.columns:
        column = frame[formula.response]
        if not pd.api.types.is_numeric_dtype(column.dtype):
            raise CallError(f"Column {formula.response} is the outcome, but it holds no numbers.")
        return column.to_numpy(dtype=float, na_value=np.nan)
    columns = frame[list(formula.response_columns)]
    for name in columns:
        if not pd.api.types.is_numeric_dtype(columns[name].dtype):
            raise CallError(f"Column {name} is the outcome, but it holds no numbers.")
    spec = ModelSpec(formula=formula.left, na_action="ignore", output="numpy")
    values = _evaluated(spec, columns.astype(float))[1]
    return values[:, -1]


def _numbers(matrix: Any) -> NDArray[np.float64]:
    values = np.asarray(matrix, dtype=float)
    return values if values.ndim == 2 else values[:, None]
