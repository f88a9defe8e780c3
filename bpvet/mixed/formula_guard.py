"""The guard of formulas: what a formula may say, so that none runs code that it brings along.

The formula library evaluates Python, so that text from a file or a command line must pass here
first: a short text, a few operators, names that are columns, numbers, and a handful of functions.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Hashable, Iterable, Sequence
from functools import lru_cache
from typing import Any

from bpvet.equality import Content
from bpvet.errors import FormulaError
from bpvet.frozen import dataclass

LONGEST = 500
MOST_OPERATORS = 6
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
# Of these the outcome would be several columns, or none.
_NO_OUTCOME = frozenset(("C", "poly", "bs", "cr"))
_LARGEST_BASIS = 50


@dataclass(frozen=True, eq=False)
class Formula(Content):
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
    classes, plain : tuple of str
        Columns of the right side within ``C(…)``, and those used outside of it.
    """

    text: str
    response: str
    response_columns: tuple[str, ...]
    columns: tuple[str, ...]
    right: Any
    left: Any
    calls: frozenset[str]
    classes: tuple[str, ...] = ()
    plain: tuple[str, ...] = ()

    def _content(self) -> tuple[Any, ...]:
        # What the library parsed follows from the text, and cannot be compared.
        return self.text, self.response_columns, self.columns


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
    known = frozenset(str(column) for column in columns)
    _check_text(text)
    return _read(text, known)


# A clinic's cohort is fitted with the same formula many times over.
@lru_cache(maxsize=64)
def _read(text: str, known: frozenset[str]) -> Formula:
    from formulaic import Formula as Parser

    try:
        parsed = Parser(text)
        left, right = list(parsed.lhs), list(parsed.rhs)
    except AttributeError:
        raise FormulaError(f'Formula "{text}": write it as "outcome ~ terms".') from None
    # The parser names no errors of its own.
    except Exception as error:
        found = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise FormulaError(f'Formula "{text}" cannot be read: {found}') from None
    if len(left) != 1 or len(left[0].factors) != 1:
        raise FormulaError(f'Formula "{text}": the left side must be one outcome.')
    outcome, terms = _Found(known), _Found(known)
    outcome.look_at(left)
    terms.look_at(right)
    strange = sorted(outcome.calls & _NO_OUTCOME)
    if strange:
        raise FormulaError(f'Formula "{text}": the outcome may not call {strange[0]}.')
    return Formula(
        text,
        next(iter(left[0].factors)).expr,
        tuple(outcome.columns),
        tuple(terms.columns),
        parsed.rhs,
        parsed.lhs,
        frozenset(outcome.calls | terms.calls),
        tuple(terms.classes),
        tuple(terms.plain),
    )


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
    for position, mark in enumerate(text):
        inside = any(stack)
        if quote:
            quote = "" if mark == quote else quote
        elif mark in "'\"":
            quote = mark
        elif mark in "({":
            before = text[:position].rstrip()[-1:]
            stack.append(mark == "{" or before.isalnum() or before == "_")
        elif mark in ")}" and stack:
            stack.pop()
        out.append(" " if inside or quote else mark)
    return "".join(out)


class _Found:
    """What factors use, each of them having been looked at: columns and calls, in order."""

    def __init__(self, known: frozenset[str]) -> None:
        self.known = known
        self.columns: dict[str, None] = {}
        self.classes: dict[str, None] = {}
        self.plain: dict[str, None] = {}
        self.calls: set[str] = set()

    def look_at(self, terms: Sequence[Any]) -> None:
        for term in terms:
            for factor in term.factors:
                method = factor.eval_method.value
                if method == "literal":
                    if factor.expr not in ("0", "1"):
                        raise FormulaError(f'Formula: the number "{factor.expr}" is not a term.')
                elif method == "lookup":
                    self._column(factor.expr, self.plain)
                else:
                    self._python(factor.expr)

    def _column(self, name: str, used: dict[str, None]) -> None:
        if name not in self.known:
            from difflib import get_close_matches

            near = get_close_matches(name, sorted(self.known), n=3)
            hint = f" Did you mean {', '.join(near)}?" if near else ""
            raise FormulaError(f'Formula: the data have no column "{name}".{hint}')
        self.columns[name] = None
        used[name] = None

    def _python(self, expression: str) -> None:
        try:
            tree = ast.parse(expression.strip(), mode="eval").body
        except (SyntaxError, ValueError, RecursionError, MemoryError):
            raise FormulaError(f'Formula: "{expression}" cannot be read.') from None
        if _calls(tree, "C"):
            self.calls.add("C")
            self._column(_classes_column(tree, expression), self.classes)
        else:
            self._node(tree, expression)

    def _node(self, node: ast.expr, part: str) -> None:
        if isinstance(node, ast.Name):
            self._column(node.id, self.plain)
        elif isinstance(node, ast.Constant):
            _check_constant(node, part)
        else:
            for child in _parts(node, part, self.calls):
                self._node(child, part)


def _calls(node: ast.expr, name: str) -> bool:
    return isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == name


def _classes_column(node: ast.expr, part: str) -> str:
    """Return the column that ``C(…)`` takes: its levels must be known before any row is.

    A column by its name, and the one option that is no list; anything else that the library would
    take (contrasts, levels) depends on rows, or is more than the guard lets through.
    """
    assert isinstance(node, ast.Call)
    if len(node.args) != 1 or not isinstance(node.args[0], ast.Name):
        raise FormulaError(
            f'Formula: "{part}": C takes the name of one column; its first level, or the first '
            "of a categorical column, is the reference."
        )
    for word in node.keywords:
        value = word.value.value if isinstance(word.value, ast.Constant) else None
        if word.arg != "spans_intercept" or not isinstance(value, bool):
            raise FormulaError(f'Formula: "{part}": C takes no {word.arg or "stars"} here.')
    return node.args[0].id


def _check_options(node: ast.Call, name: str, part: str) -> None:
    """Raise a FormulaError unless a call has one argument, and numbers or words as options."""
    if not node.args or (name not in WHOLE_COLUMN_CALLS and (node.args[1:] or node.keywords)):
        # A second argument of log and its kind would be where to write the result.
        raise FormulaError(f'Formula: "{part}": {name} takes one argument.')
    options = [*node.args[1:], *(word.value for word in node.keywords)]
    named = [*[""] * len(node.args[1:]), *(str(word.arg) for word in node.keywords)]
    for option, option_name in zip(options, named, strict=True):
        value = option
        if isinstance(value, ast.UnaryOp) and isinstance(value.op, ast.USub):
            value = value.operand
        if not isinstance(value, ast.Constant) or option_name.startswith("_"):
            raise FormulaError(f'Formula: "{part}": options of {name} are numbers and words.')
        _check_constant(value, part)
        size = value.value if isinstance(value.value, (int, float)) else 0
        if option_name in ("", "df", "degree") and not abs(size) <= _LARGEST_BASIS:
            raise FormulaError(f'Formula: "{part}" asks for more than {_LARGEST_BASIS} columns.')


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
        if name == "C":
            raise FormulaError(f'Formula: "{part}": C(…) stands by itself, as a factor of a term.')
        calls.add(name)
        _check_options(node, name, part)
        return node.args[:1]
    raise FormulaError(
        f'Formula: "{part}" is more than names, numbers, + - * / and a few functions.'
    )
