"""The tests lie as the package does: who looks for the tests of a module finds them at once."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import bpvet

TESTS = Path(__file__).parent
PACKAGE = Path(bpvet.__file__).parent
#: Folders of tests that no layer has: whole record folders, told from file to sentence.
WHOLE = ("scenarios",)
#: Layers whose tests go in by the front door, whatever they are about.
FRONT = ("command", "reports", "wording")
#: Folders with data and caches, in which no test lies.
DATA = ("baseline", "__pycache__")
FOLDERS = sorted(
    path.relative_to(TESTS)
    for path in TESTS.rglob("*/")
    if not {*WHOLE, *DATA} & set(path.relative_to(TESTS).parts)
)
LAYERED = sorted(
    path.relative_to(TESTS)
    for path in TESTS.rglob("test_*.py")
    if path.parent != TESTS and path.relative_to(TESTS).parts[0] not in (*WHOLE, *FRONT)
)


def _imported(path: Path) -> set[Path]:
    """Return the folders of the package out of which a test imports, as paths under it."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names = []
        if isinstance(node, ast.ImportFrom) and node.module and not node.level:
            names = [node.module, *(f"{node.module}.{one.name}" for one in node.names)]
        elif isinstance(node, ast.Import):
            names = [one.name for one in node.names]
        for name in names:
            parts = name.split(".")[1:]
            module = PACKAGE.joinpath(*parts).with_suffix(".py") if parts else PACKAGE
            if name.startswith("bpvet.") and module.is_file():
                found.add(module.parent.relative_to(PACKAGE))
    return found


@pytest.mark.parametrize("folder", FOLDERS, ids=str)
def test_every_folder_of_tests_is_a_folder_of_the_package(folder: Path) -> None:
    assert (PACKAGE / folder).is_dir()


@pytest.mark.parametrize("path", LAYERED, ids=str)
def test_a_test_lies_with_the_topic_that_it_imports(path: Path) -> None:
    """Where all that a test takes of its layer is of one topic, it lies in that topic's folder."""
    of_layer = {one for one in _imported(TESTS / path) if one.parts[0:1] == path.parts[:1]}
    topics = {one for one in of_layer if len(one.parts) > 1}
    if len(of_layer) == len(topics) == 1:
        assert path.parent == topics.pop()
