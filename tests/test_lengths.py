"""Functions of the whole package stay short enough to be read, and take few arguments."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import bpvet

PACKAGE = Path(bpvet.__file__).parent
LONGEST, MOST = 60, 7
#: Functions whose arguments users rely on.
SIGNATURES = {"agreement", "fit_cohort", "fit_trend", "from_frames", "plan"}


def _functions() -> Iterator[tuple[str, ast.FunctionDef]]:
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef):
                yield f"{path.relative_to(PACKAGE).as_posix()}: {node.name}", node


def _arguments(node: ast.FunctionDef) -> list[str]:
    given = node.args
    named = [*given.posonlyargs, *given.args, *given.kwonlyargs]
    extra = [one for one in (given.vararg, given.kwarg) if one is not None]
    return [one.arg for one in (*named, *extra) if one.arg not in ("self", "cls")]


def test_no_function_is_long() -> None:
    """Docstrings count."""
    lines = {name: (node.end_lineno or 0) - node.lineno + 1 for name, node in _functions()}
    long = {name: count for name, count in lines.items() if count > LONGEST}
    assert long == {}


def test_no_function_takes_many_arguments() -> None:
    many = {
        name: len(_arguments(node))
        for name, node in _functions()
        if node.name not in SIGNATURES and len(_arguments(node)) > MOST
    }
    assert many == {}, "more become a frozen options object"
