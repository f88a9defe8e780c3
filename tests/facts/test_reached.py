"""Every fact of the package is reached by the package: what no user meets is kept as evidence.

A fact is reached where its id, or a pattern that makes it, stands in the code outside of docstrings
or in a table of ids. Words that fill the gaps of a pattern must stand there too.
"""

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest

import bpvet
from bpvet.facts.sources import BLOCK_FILES, TOPICS, facts, table

PACKAGE = Path(bpvet.__file__).parent
#: Data files that name facts, and are no facts themselves.
TABLES = ("guidelines", "drugs", "breeds", "cautions", "recheck", *BLOCK_FILES)
#: Topics that are asked for whole.
WHOLE = ("validation",)
_GAP = "\0"


def _docstrings(tree: ast.AST) -> set[int]:
    """Return the nodes of texts that stand for themselves: docstrings, and nothing else."""
    return {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}


def _texts_of(held: Any) -> Iterator[str]:
    """Yield every key and text of a data file; the facts of a block are not among them."""
    if isinstance(held, dict):
        for key, value in held.items():
            if key != "facts" or not isinstance(value, dict):
                yield key
                yield from _texts_of(value)
    elif isinstance(held, list):
        for one in held:
            yield from _texts_of(one)
    elif isinstance(held, str):
        yield held


@cache
def _written() -> tuple[frozenset[str], frozenset[str]]:
    """Return the texts of code and tables, and the patterns of the code, with a gap for a value."""
    texts, patterns = set(), set()
    for name in TABLES:
        texts |= set(_texts_of(table(name)))
    for path in PACKAGE.rglob("*.py"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        alone = _docstrings(tree)
        for node in ast.walk(tree):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                texts |= set() if id(node) in alone else {node.value}
            elif isinstance(node, ast.JoinedStr):
                parts = (
                    str(one.value) if isinstance(one, ast.Constant) else _GAP for one in node.values
                )
                patterns.add("".join(parts))
    # A table may write a gap itself, as that of a species.
    patterns |= {re.sub(r"\{\w+\}", _GAP, text) for text in texts if re.search(r"\{\w+\}", text)}
    return frozenset(texts), frozenset(patterns)


@cache
def _patterns(kind: str) -> tuple[re.Pattern[str], ...]:
    """Return the patterns of whole ids (``id``) or of what fills a gap of one (``part``)."""
    found = []
    for pattern in _written()[1]:
        topic = pattern.partition(".")[0] in TOPICS and "." in pattern
        # The bounds of a limit, and the stages of an analyte, are named by what they are of.
        limit = re.fullmatch(rf"{_GAP}\.(note|aside)", pattern)
        stages = pattern == f"{_GAP}.{_GAP}."
        part = re.match(r"[a-z][a-z_0-9]{2,}", pattern) and not topic
        fits = topic or limit or stages if kind == "id" else part
        if fits and re.fullmatch(rf"[\w.{_GAP}]+", pattern):
            gap = r"(.+\..+)" if stages or limit else "(.+)"
            made = re.escape(pattern).replace(_GAP, gap, 1).replace(_GAP, "(.+)")
            found.append(re.compile(made + ("[^.]+" if pattern.endswith(".") else "")))
    return tuple(found)


def reached(id: str, kind: str = "id") -> bool:
    """Return whether an id, or a part of one, is written, or made of what is written."""
    if id in _written()[0] or id.partition(".")[0] in WHOLE or id.isdecimal():
        return True
    matches = (pattern.fullmatch(id) for pattern in _patterns(kind))
    return any(match and all(_fills(one) for one in match.groups()) for match in matches)


def _fills(gap: str) -> bool:
    return reached(gap, "id" if gap.partition(".")[0] in TOPICS else "part")


@pytest.mark.parametrize("topic", TOPICS)
def test_every_fact_of_the_package_is_reached(topic: str) -> None:
    assert [found.id for found in facts(topic) if not reached(found.id)] == []
