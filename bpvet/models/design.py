"""A formula becomes arrays, without ever running code that the formula brings along.

The formula library evaluates Python, so that text from a file or a command line must pass a guard
first: a short text, a few operators, names that are columns, numbers, and a handful of functions.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.errors import CallError, FormulaError

LONGEST = 500
MOST_OPERATORS = 6
MOST_COLUMNS = 200
CALLS = frozenset(
    ("C", "log", "log2", "log10", "log1p", "exp", "sqrt", "center", "scale", "poly", "bs", "cr")
)
# These look at all rows at once, so that rows cannot be dealt to several machines.
WHOLE_COLUMN_CALLS = frozenset(("center", "scale", "poly", "bs", "cr"))
_OPERATORS = re.compile(r"\*\*|%in%|[*:^/]")
_POWER = re.compile(r"(?:\*\*|\^)\s*([^\s+\-*:/^)~]*)")
_WILDCARD = re.compile(r"(?<![\w.])\.(?![\w.])")
_ARITHMETIC = (ast.Add, ast.Sub, ast.Mult, ast.Div, ast.UAdd, ast.USub)
_LONGEST_STRING = 40


@dataclass(frozen=True, eq=False)
class Formula:
    """A formula that passed the guard.

    Parameters
    ----------
    text : str
        As given.
    response : str
        The left side, as text.
    response_columns, columns : tuple of str
        Columns the left and the right side need.
    right : object
        The library's parsed right side.
    left : object
        The library's parsed left side.
    calls : frozenset of str
        Functions that are called.
    """

    text: str
    response: str
    response_columns: tuple[str, ...]
    columns: tuple[str, ...]
    right: Any
    left: Any
    calls: frozenset[str]


Recipe = tuple[tuple[tuple[str, bool], ...], ...]


@dataclass(frozen=True, eq=False)
class Design:
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
        The library's specification.
    recipe : tuple or None
        Where X is made of products of columns alone: for each block of its columns the factors,
        as (name, reduced). Such X is made directly, a tenth of the library's time.
    """

    names: tuple[str, ...]
    terms: dict[str, tuple[int, ...]]
    levels: dict[str, tuple[str, ...]]
    spec: Any
    recipe: Recipe | None = None

    def matrix(self, frame: pd.DataFrame) -> NDArray[np.float64]:
        """Return X (n, p) for the rows of a frame that holds the formula's columns.

        Raises
        ------
        CallError
            Where a text column holds a value that the fit never saw.
        """
        for name, levels in self.levels.items():
            strange = set(frame[name].dropna().astype(str).unique()) - set(levels)
            if strange:
                raise CallError(
                    f'Column {name}: "{sorted(strange)[0]}" is not among the levels of the '
                    f"fit ({', '.join(levels)})."
                )
        return self.matrix_of(prepared(frame, self.levels))

    def matrix_of(self, ready: pd.DataFrame) -> NDArray[np.float64]:
        """Return X for a frame whose text columns are categories of the design's levels."""
        with np.errstate(all="ignore"):
            matrix = self.spec.get_model_matrix(ready, context=_functions())
        return _numbers(matrix)


def read_formula(text: str, columns: Iterable[Hashable]) -> Formula:
    """Return a formula after checking that it is harmless and its columns exist.

    Parameters
    ----------
    text : str
        Such as ``systolic ~ months * treated + method``.
    columns : iterable of str
        Columns of the data.

    Raises
    ------
    FormulaError
        Naming the part that is refused.

    Examples
    --------
    >>> read_formula("y ~ a + log(b)", ["y", "a", "b"]).columns
    ('a', 'b')
    """
    from formulaic import Formula as Parser

    known = {str(column) for column in columns}
    _check_text(text)
    try:
        parsed = Parser(text)
        left, right = list(parsed.lhs), list(parsed.rhs)
    except AttributeError:
        raise FormulaError(f'Formula "{text}": write it as "outcome ~ terms".') from None
    except Exception as error:
        found = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise FormulaError(f'Formula "{text}" cannot be read: {found}') from None
    if len(left) != 1 or len(left[0].factors) != 1:
        raise FormulaError(f'Formula "{text}": the left side must be one outcome.')
    calls: set[str] = set()
    response = _checked(left, known, calls)
    needed = _checked(right, known, calls)
    expression = next(iter(left[0].factors)).expr
    return Formula(text, expression, response, needed, parsed.rhs, parsed.lhs, frozenset(calls))


def _check_text(text: str) -> None:
    if not isinstance(text, str):
        raise FormulaError("A formula is a text such as 'systolic ~ months + method'.")
    if len(text) > LONGEST:
        raise FormulaError(f"The formula has {len(text)} characters; at most {LONGEST} are read.")
    bare = re.sub(r"`[^`]*`", "x", text)
    for mark, what in (("|", "a bar"), ("[", "a square bracket")):
        if mark in bare:
            raise FormulaError(f'Formula: {what} ("{mark}") has no meaning here.')
    operators = _OPERATORS.findall(bare)
    if len(operators) > MOST_OPERATORS:
        raise FormulaError(
            f"The formula has {len(operators)} of * : ** ^ / %in%; at most "
            f"{MOST_OPERATORS} are read."
        )
    formula_level = _without_python(bare)
    if _WILDCARD.search(formula_level):
        raise FormulaError('Formula: "." does not stand for all columns here; name them.')
    for power in _POWER.findall(formula_level):
        if power not in ("2", "3"):
            raise FormulaError(f'Formula: a power of terms is 2 or 3, not "{power}".')


def _without_python(text: str) -> str:
    """Return the text with arguments of calls and braces blanked: formula operators only."""
    out: list[str] = []
    stack: list[bool] = []
    quote = ""
    for place, mark in enumerate(text):
        inside = any(stack)
        if quote:
            quote = "" if mark == quote else quote
        elif mark in "'\"":
            quote = mark
        elif mark in "({":
            before = text[:place].rstrip()[-1:]
            stack.append(mark == "{" or before.isalnum() or before == "_")
        elif mark in ")}" and stack:
            stack.pop()
        out.append(" " if inside or quote else mark)
    return "".join(out)


def _checked(terms: Sequence[Any], known: set[str], calls: set[str]) -> tuple[str, ...]:
    """Return the columns that terms need, each factor having been looked at."""
    needed: dict[str, None] = {}
    for term in terms:
        for factor in term.factors:
            method = factor.eval_method.value
            if method == "literal":
                if factor.expr not in ("0", "1"):
                    raise FormulaError(f'Formula: the number "{factor.expr}" is not a term.')
            elif method == "lookup":
                if factor.expr not in known:
                    raise FormulaError(_no_column(factor.expr, known))
                needed[factor.expr] = None
            else:
                _check_python(factor.expr, known, needed, calls)
    return tuple(needed)


def _no_column(name: str, known: set[str]) -> str:
    from difflib import get_close_matches

    near = get_close_matches(name, sorted(known), n=3)
    hint = f" Did you mean {', '.join(near)}?" if near else ""
    return f'Formula: the data have no column "{name}".{hint}'


def _check_python(
    expression: str, known: set[str], needed: dict[str, None], calls: set[str]
) -> None:
    try:
        tree = ast.parse(expression.strip(), mode="eval").body
    except (SyntaxError, ValueError, RecursionError, MemoryError):
        raise FormulaError(f'Formula: "{expression}" cannot be read.') from None
    _check_node(tree, expression, known, needed, calls)


def _check_node(
    node: ast.expr, part: str, known: set[str], needed: dict[str, None], calls: set[str]
) -> None:
    if isinstance(node, ast.Name):
        if node.id not in known:
            raise FormulaError(_no_column(node.id, known))
        needed[node.id] = None
        return
    if isinstance(node, ast.Constant):
        _check_constant(node, part)
        return
    for child in _parts(node, part, calls):
        _check_node(child, part, known, needed, calls)


def _check_constant(node: ast.Constant, part: str) -> None:
    value = node.value
    number = isinstance(value, (bool, int, float)) and not isinstance(value, complex)
    short = isinstance(value, str) and len(value) <= _LONGEST_STRING
    if not (number or short):
        raise FormulaError(f'Formula: "{part}" holds a value that is not allowed.')


def _parts(node: ast.expr, part: str, calls: set[str]) -> list[ast.expr]:
    """Return the parts of an allowed node, which are to be looked at next."""
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, _ARITHMETIC):
        return [node.operand]
    if isinstance(node, ast.BinOp) and isinstance(node.op, _ARITHMETIC):
        return [node.left, node.right]
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Pow):
        power = node.right
        if not (isinstance(power, ast.Constant) and power.value in (1, 2, 3, 4)):
            raise FormulaError(f'Formula: a power in "{part}" is not a number from 1 to 4.')
        return [node.left]
    if isinstance(node, ast.Call):
        name = node.func.id if isinstance(node.func, ast.Name) else "this"
        if name not in CALLS or any(word.arg is None for word in node.keywords):
            known = ", ".join(sorted(CALLS))
            raise FormulaError(f'Formula: "{part}" may not call {name}; only {known}.')
        calls.add(name)
        return [*node.args, *(word.value for word in node.keywords)]
    raise FormulaError(
        f'Formula: "{part}" is more than names, numbers, + - * / and a few functions.'
    )


def _functions() -> dict[str, Any]:
    """Return what the library lacks of the functions we allow."""
    return {"log1p": np.log1p, "sqrt": np.sqrt}


def prepared(frame: pd.DataFrame, levels: dict[str, tuple[str, ...]]) -> pd.DataFrame:
    """Return the frame with text as categories of these levels, truth values as 0 and 1."""
    ready = {}
    for name in frame.columns:
        column = frame[name]
        if name in levels:
            ready[name] = pd.Series(
                pd.Categorical(column.astype(str), categories=list(levels[name])),
                index=frame.index,
            )
        elif column.dtype == bool or str(column.dtype) == "boolean":
            ready[name] = column.astype(float)
        else:
            ready[name] = column
    return pd.DataFrame(ready, index=frame.index)


def make_design(formula: Formula, ready: pd.DataFrame) -> tuple[Design, NDArray[np.float64]]:
    """Return the design and X for the rows of a frame without missing values.

    Parameters
    ----------
    formula : Formula
    ready : DataFrame
        The columns the right side needs: numbers, and text as categories.
    """
    from formulaic import ModelSpec

    try:
        # Plain arrays: a data frame of X would take as long to make as X itself.
        spec = ModelSpec(formula=formula.right, na_action="raise", output="numpy")
        # A value beyond all bounds is refused by name, and needs no warning besides.
        with np.errstate(all="ignore"):
            matrix = spec.get_model_matrix(ready, context=_functions())
    except Exception as error:
        found = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise FormulaError(f'Formula "{formula.text}" cannot be evaluated: {found}') from None
    if matrix.shape[1] == 0:
        raise FormulaError(f'Formula "{formula.text}" has no term; "~ 1" fits a mean.')
    if matrix.shape[1] > MOST_COLUMNS:
        raise FormulaError(
            f"The formula makes {matrix.shape[1]} columns; at most {MOST_COLUMNS} are fitted."
        )
    spec = matrix.model_spec
    terms = {str(term): tuple(places) for term, places in spec.term_indices.items()}
    kept = {
        str(name): tuple(str(level) for level in ready[name].cat.categories)
        for name in ready.columns
        if isinstance(ready[name].dtype, pd.CategoricalDtype)
    }
    names, x = tuple(str(name) for name in spec.column_names), _numbers(matrix)
    return Design(names, terms, kept, spec, _recipe(spec, kept, ready, x)), x


def _recipe(
    spec: Any, levels: dict[str, tuple[str, ...]], ready: pd.DataFrame, x: NDArray[np.float64]
) -> Recipe | None:
    """Return the recipe of X, or None where it is more than products, or gives other numbers."""
    blocks = []
    for term in spec.structure:
        for scoped in term.scoped_terms:
            factors = [(part.factor.factor, bool(part.reduced)) for part in scoped.factors]
            if scoped.scale != 1 or any(f.eval_method.value != "lookup" for f, _ in factors):
                return None
            blocks.append(tuple((str(f.expr), reduced) for f, reduced in factors))
    recipe = tuple(blocks)
    head = ready.iloc[:200]
    numbers = {str(n): head[n].to_numpy(dtype=float) for n in head.columns if n not in levels}
    codes = {name: head[name].cat.codes.to_numpy() for name in levels}
    made = np.empty((len(head), x.shape[1]))
    try:
        follow(recipe, made, numbers, codes, levels)
    except IndexError:
        return None
    return recipe if np.array_equal(made, x[: len(head)]) else None


def follow(
    recipe: Recipe,
    x: NDArray[np.float64],
    numbers: Mapping[str, NDArray[Any]],
    codes: Mapping[str, NDArray[Any]],
    levels: Mapping[str, tuple[str, ...]],
) -> None:
    """Write X (n, p) from columns of numbers and codes of levels, as a recipe says."""
    place = 0
    for factors in recipe:
        columns: list[NDArray[Any]] = [np.ones(len(x))]
        for name, reduced in factors:
            if name in levels:
                of_name = [codes[name] == code for code in range(int(reduced), len(levels[name]))]
            else:
                of_name = [numbers[name]]
            columns = [before * after for after in of_name for before in columns]
        for column in columns:
            x[:, place] = column
            place += 1
    if place != x.shape[1]:
        raise IndexError("The recipe makes another number of columns.")


def response_values(formula: Formula, frame: pd.DataFrame) -> NDArray[np.float64]:
    """Return the outcome (n,) of a formula; transforms are applied row by row."""
    from formulaic import ModelSpec

    if formula.response in frame.columns:
        column = frame[formula.response]
        if not pd.api.types.is_numeric_dtype(column.dtype):
            raise CallError(f"Column {formula.response} is the outcome, but it holds no numbers.")
        return column.to_numpy(dtype=float, na_value=np.nan)
    with np.errstate(all="ignore"):
        spec = ModelSpec(formula=formula.left, na_action="ignore", output="numpy")
        matrix = spec.get_model_matrix(frame[list(formula.response_columns)], context=_functions())
    values = _numbers(matrix)
    return values[:, -1]


def _numbers(matrix: Any) -> NDArray[np.float64]:
    values = np.asarray(matrix, dtype=float)
    return values if values.ndim == 2 else values[:, None]
