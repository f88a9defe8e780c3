"""Words have one home: no file outside `bpvet/wording` holds prose.

Prose is a string of three words or more that is no docstring, no message of an error, no pattern
and no help of a command, and that is not excused by name.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from textwrap import dedent

import bpvet

PACKAGE = Path(bpvet.__file__).parent
#: Three words of letters, blanks between them.
_PROSE = re.compile(r"(?<![\w-])[A-Za-z][a-z’']*[,;:]? [A-Za-z][a-z’']*[,;:]? [A-Za-z][a-z’']*")
#: What a command says of itself; tables of its options' helps end in ``_HELP``.
_HELP = {"COMMANDS", "ABOUT", "EPILOG", "USAGE"}
#: Calls that declare a command's options, with their help.
_HELPERS = ("argument", "option_group", "options.force", "whole_number")
#: Methods that raise an error of a call with the words they are given.
_REFUSING = ("refuse", "refuse_left")
#: Classes whose texts are codes that JSON gives, and no words; `Word` is the contract's.
_CODES = {"Code"}
_CODES_OF = {"Word"}
#: Constants and functions that hold what is read in records, code of other programs and notebooks,
#: or names that frames and JSON give: no language changes them.
_READ = {
    "answers/fhir/fhir.py": {"SESSION_MEAN"},
    "answers/fhir/resources.py": {"UNWRITABLE"},
    "answers/room/chart_line.py": {"_head"},
    "command/completion.py": {"_bash", "_fish"},
    "command/shared/source_lines.py": {"_CODES"},
    "command/shared/typed_readings.py": {"NO_REASON"},
    "reports/agreement/report.py": {"OUTLINE"},
    "reports/animal/report.py": {"OUTLINE"},
    "reports/audit/report.py": {"OUTLINE"},
    "reports/clinic/report.py": {"OUTLINE"},
    "facts/codes.py": {"BESIDE", "READING_COUNT", "READING_SPREAD", "EXCLUDED"},
    "facts/signs/denials.py": {"_NOUN_NEGATIONS"},
    "facts/signs/doubts.py": {"_BOTH_SIDES", "_FAR"},
    "facts/signs/exams.py": {"_NO_LONGER"},
    "facts/signs/times.py": {"_AS_BEFORE", "_AT_PRESENT"},
    "facts/signs/tokens.py": {"_MONTHS"},
    "facts/words.py": {"METHOD_WORDS", "TAKEN_BY", "CONDITION_WORDS"},
    "figures/marks.py": {"draw_readings"},
    "figures/svg.py": {"_FONTS", "rules"},
    "maths/agreement/components.py": {"READINGS"},
    "mixed/estimates.py": {"component_names", "correlation_name"},
    "models/clinic/over_time.py": {"NOT_YET_DUE", "SEVERAL_TOGETHER"},
    "models/kidney/recorded.py": {"_DIAGNOSIS", "_MAY_BE"},
    "models/trend/columns.py": {"METHOD_OFFSET", "CONDITION_OFFSET"},
    "records/headings/heading_words.py": {"_WORDS"},
    "records/headings/mapping_file.py": {"LAYOUTS"},
    "records/headings/settled.py": {"FILE_AN_ANIMAL"},
    "records/table_files.py": {"MOMENT"},
}
#: Functions that make the message of an error of a call or of a data file for whoever raises it.
_MESSAGES = {
    "answers/sheet/sheet.py": {"refuse_left"},
    "facts/sources.py": {"_faults"},
    "locks.py": {"_held_words"},
    "mixed/design.py": {"_meaning_of"},
    "mixed/formula_guard.py": {"_check_text", "_column"},
    "mixed/predictions.py": {"_animal_predictions"},
    "mixed/steps.py": {"_first_line"},
    "records/formats/encodings.py": {"encoding_trouble"},
    "records/headings/mapping_file.py": {"not_ours"},
    "visits/defaults.py": {"nothing_left"},
}


def prose(path: Path) -> Iterator[tuple[int, str]]:
    """Yield line and text of each string of three words or more that nothing excuses."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    name = path.relative_to(PACKAGE).as_posix() if path.is_relative_to(PACKAGE) else ""
    excused: set[int] = set()
    for node in ast.walk(tree):
        if _excuses(node) or _is_named(node, name):
            excused |= {id(inner) for inner in ast.walk(node)}
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            excused.add(id(node.value))
    for node in ast.walk(tree):
        if not isinstance(node, ast.Constant) or id(node) in excused:
            continue
        if isinstance(node.value, str) and _PROSE.search(node.value):
            yield node.lineno, node.value


def _excuses(node: ast.AST) -> bool:
    """Whether a node holds messages of errors, the help of a command, or codes."""
    if isinstance(node, ast.ClassDef):
        return node.name in _CODES or any(ast.unparse(one) in _CODES_OF for one in node.bases)
    if isinstance(node, (ast.Raise, ast.Assert)):
        return True
    if isinstance(node, ast.Call):
        called = ast.unparse(node.func)
        return called.endswith(("Error", *_HELPERS, *_REFUSING, "re.compile"))
    if isinstance(node, (ast.Assign, ast.AnnAssign)):
        targets = node.targets if isinstance(node, ast.Assign) else [node.target]
        return any(map(_is_help, targets))
    return False


def _is_named(node: ast.AST, file: str) -> bool:
    """Whether a node is one of `_READ` or of `_MESSAGES`."""
    return any(_bears(node, name) for listed in (_READ, _MESSAGES) for name in listed.get(file, ()))


def _bears(node: ast.AST, name: str) -> bool:
    if isinstance(node, ast.FunctionDef):
        return node.name == name
    targets: list[ast.expr] = []
    if isinstance(node, (ast.Assign, ast.AnnAssign)):
        targets = node.targets if isinstance(node, ast.Assign) else [node.target]
    return any(isinstance(target, ast.Name) and target.id == name for target in targets)


def _is_help(target: ast.expr) -> bool:
    return isinstance(target, ast.Name) and (target.id in _HELP or target.id.endswith("_HELP"))


def _measured() -> dict[str, int]:
    """Return how many strings of prose each file outside the wording holds, where it holds any."""
    counts = {
        path.relative_to(PACKAGE).as_posix(): sum(1 for _ in prose(path))
        for path in sorted(PACKAGE.rglob("*.py"))
    }
    return {name: n for name, n in counts.items() if n and not name.startswith("wording/")}


def test_no_prose_stands_outside_the_wording() -> None:
    assert _measured() == {}, "word it in bpvet/wording/en"


def test_what_is_excused_by_name_is_there() -> None:
    """A name in the lists that holds nothing any more would hide the next sentence."""
    for listed in (_READ, _MESSAGES):
        for file, names in listed.items():
            tree = ast.parse((PACKAGE / file).read_text(encoding="utf-8"))
            for name in names:
                found = [node for node in ast.walk(tree) if _bears(node, name)]
                held = (one for node in found for one in ast.walk(node))
                texts = [one.value for one in held if isinstance(one, ast.Constant)]
                assert any(_PROSE.search(str(text)) for text in texts), (file, name)


def test_what_counts_as_prose(tmp_path: Path) -> None:
    code = '''
        """Docstrings are not counted at all."""
        ABOUT = "nor is what a command says of itself"
        USAGE = "bpvet command PATH and options"
        _TEXTS_HELP = {"note": "what an option is for"}
        def one(found):
            if not found:
                raise ValueError(f"nor is what an error says of {found}")
            key = "at or-below", "two words", "a_key.of_it"
            return f"this is counted once for {found}" + "and this is too"
    '''
    path = tmp_path / "one.py"
    path.write_text(dedent(code))
    assert [line for line, _ in prose(path)] == [10, 10]
