"""A language that nobody speaks: English with every letter accented, to find stray sentences.

What `bpvet/wording/en` says is accented where its modules are loaded, and everything else is left
as it is. Whatever comes out of a command without accents was then worded elsewhere, or stands in
the records. And whatever comes out otherwise than in English, but for the accents, was decided by
comparing English: a translation would change it.

``python -m tests.wording.pseudo FOLDER`` runs `LINES` in a folder and prints what each wrote, as
JSON; with ``--accented`` it does so in the language of this module.
"""

from __future__ import annotations

import ast
import contextlib
import html
import importlib.machinery
import importlib.util
import io
import json
import os
import re
import shlex
import shutil
import sys
from collections.abc import Iterator, Sequence
from dataclasses import replace
from importlib.abc import MetaPathFinder
from pathlib import Path
from types import CodeType, ModuleType
from typing import Any

from bpvet.facts.sources import TOPICS

WORDING = "bpvet.wording.en"
_PLAIN = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
_ACCENTED = "áḃćḋéḟǵḣíĵḱĺḿńóṕɋŕśṫúṽẃẋýźÁḂĆḊÉḞǴḢÍĴḰĹḾŃÓṔɊŔŚṪÚṼẂẊÝŹ"
_ACCENT = str.maketrans(_PLAIN, _ACCENTED)
_STRIP = str.maketrans(_ACCENTED, _PLAIN)
#: What braces hold is filled in by `str.format`; units are no words either.
_KEPT = re.compile(r"(\{[^}]*\}|\b(?:mmHg|kPa|mmol/L|µmol/L|mg/dL|kg|min|bpvet)\b)")
#: An identifier, as of a fact or a code: no word either.
_IDENTIFIER = re.compile(r"[a-z0-9]+(?:[._][a-z0-9_]+)+")
#: Calls whose strings are codes, names of facts or of columns, and patterns.
_CODES = re.compile(
    r"^(fact|judged|getattr|astype|removeprefix|removesuffix|compile|datetime64|timedelta64|array"
    r"|zeros|full|strftime|partition|split|startswith|endswith|source|limits|residuals|guideline"
    r"|to_numpy|to_datetime|index|statements_on|sort_values|to_dict|rename|groupby|set_index|drop|isin"
    r"|reindex|merge|rows_of|own_rows)$"
)
#: Names of constants and of arguments that hold codes.
_CODED = re.compile(
    r"^(key|keys|dtype|kind|intervals|FIRST|BEHIND|COLUMNS|TOPICS\w*|_STANDS_OUT|_LISTED"
    r"|_OWN_PLACE|_SITUATIONS|_ALWAYS|_OF_ONE|_BESIDE|names)$"
)


def accented(text: str) -> str:
    """Return a text with every letter accented, but for units and what braces hold."""
    if _IDENTIFIER.fullmatch(text):
        return text
    parts = _KEPT.split(text)
    return "".join(part if i % 2 else part.translate(_ACCENT) for i, part in enumerate(parts))


def plain(text: str) -> str:
    """Return a text without the accents of `accented`."""
    return text.translate(_STRIP)


class _Accents(ast.NodeTransformer):
    """Accents the words of a module: its string constants, but for those that are codes."""

    def visit_Constant(self, node: ast.Constant) -> ast.AST:
        if isinstance(node.value, str):
            return ast.copy_location(ast.Constant(accented(node.value)), node)
        return node

    def visit_Expr(self, node: ast.Expr) -> ast.AST:
        return node if isinstance(node.value, ast.Constant) else self.generic_visit(node)

    def visit_FormattedValue(self, node: ast.FormattedValue) -> ast.AST:
        node.value = self.visit(node.value)
        return node

    def visit_Compare(self, node: ast.Compare) -> ast.AST:
        return node

    def visit_Subscript(self, node: ast.Subscript) -> ast.AST:
        node.value = self.visit(node.value)
        return node

    def visit_Dict(self, node: ast.Dict) -> ast.AST:
        node.values = [self.visit(value) for value in node.values]
        return node

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.AST:
        if node.value is not None and not _coded([node.target]):
            node.value = self.visit(node.value)
        return node

    def visit_Assign(self, node: ast.Assign) -> ast.AST:
        if _coded(node.targets):
            return node
        targets = node.targets[0]
        if isinstance(targets, ast.Tuple) and isinstance(node.value, ast.Tuple):
            values = zip(targets.elts, node.value.elts, strict=True)
            node.value.elts = [
                value if _coded([target]) else self.visit(value) for target, value in values
            ]
            return node
        node.value = self.visit(node.value)
        return node

    def visit_For(self, node: ast.For) -> ast.AST:
        # A name runs over codes, as of columns or topics.
        if not (isinstance(node.target, ast.Name) and node.target.id in ("name", "topic")):
            node.iter = self.visit(node.iter)
        node.body = [self.visit(one) for one in node.body]
        return node

    def visit_keyword(self, node: ast.keyword) -> ast.AST:
        if node.arg is None or not _CODED.match(node.arg):
            node.value = self.visit(node.value)
        return node

    def visit_Call(self, node: ast.Call) -> ast.AST:
        called = ast.unparse(node.func).rpartition(".")[2]
        node.func = self.visit(node.func)
        node.keywords = [self.visit(one) for one in node.keywords]
        if called in ("Statement", "NotUsed", "get"):  # the first is a code
            node.args[1:] = [self.visit(one) for one in node.args[1:]]
        elif not _CODES.match(called):
            node.args = [self.visit(one) for one in node.args]
        return node


def _coded(targets: Sequence[ast.expr]) -> bool:
    return any(isinstance(one, ast.Name) and bool(_CODED.match(one.id)) for one in targets)


class _Loader(importlib.machinery.SourceFileLoader):
    """Loads a module of the wording in accents, never from what was compiled before."""

    def get_code(self, fullname: str) -> CodeType:
        tree = ast.parse(self.get_data(self.path))
        tree = ast.fix_missing_locations(_Accents().visit(tree))
        return compile(tree, self.path, "exec", dont_inherit=True)


class _Finder(MetaPathFinder):
    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> importlib.machinery.ModuleSpec | None:
        if not fullname.startswith(WORDING):
            return None
        found = importlib.machinery.PathFinder.find_spec(fullname, path)
        if found is not None and found.origin is not None:
            found.loader = _Loader(fullname, found.origin)
        return found


def speak() -> None:
    """Accent the wording from here on; nothing of it may have been loaded.

    What a fact says in words stands beside its number, in the data files (`WORDED`).
    """
    assert not any(name.startswith(WORDING) for name in sys.modules)
    sys.meta_path.insert(0, _Finder())
    from bpvet.facts import sources

    checked = sources._checked

    def spoken(id: str, entry: dict[str, Any]) -> sources.Fact:
        found = checked(id, entry)
        if id.partition(".")[0] not in WORDED:
            return found
        return replace(found, text=accented(found.text), statistic=accented(found.statistic))

    sources._checked = spoken


#: Topics of facts whose texts are words of ours; those of the others are codes.
WORDED = tuple(one for one in TOPICS if one != "code")

#: What is walked: the output's name, and the command. `{day}` is the example's.
LINES = {
    "trend": "trend example --animal B04 --as-of {day}",
    "trend of a kidney value": "trend example --animal B04 --quantity creatinine --as-of {day}",
    "trend --short": "trend example --animal B04 --as-of {day} --short",
    "trend, urgent": "trend severe --animal F40 --as-of 2026-07-21",
    "due": "due example --as-of {day}",
    "check": "check example --as-of {day}",
    "audit": "audit example --as-of {day}",
    "cohort": "cohort example --as-of {day} -o made",
    "agreement": "agreement example --as-of {day}",
    "plan": "plan",
    "plan of an animal": "plan example --animal A17 --as-of {day}",
    "average": "average 165 158 160 --method doppler",
    "sheet": "sheet example --animal B04 --as-of {day}",
    "owner": "owner example --animal B04 --as-of {day}",
    "figure": "figure example --animal B04 --as-of {day} --labs -o made.svg",
    "letter": "figure example --animal B04 --as-of {day} --letter -o made.html",
    "list": "due example --as-of {day} -o made.html",
    "page": "report example --animal B04 --as-of {day} -o made",
}
DAY = "2026-11-01"


def outputs(folder: Path, lines: dict[str, str]) -> Iterator[tuple[str, str]]:
    """Yield the name of each output and what its command wrote, as text without markup."""
    from bpvet.command.main import main

    os.chdir(folder)
    for name, line in lines.items():
        printed, complained = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(printed), contextlib.redirect_stderr(complained):
            try:
                status = main(shlex.split(line.format(day=DAY)))
            except SystemExit as ended:
                status = int(ended.code or 0)
        # What is complained of is no part of it, but where nothing else came.
        text = printed.getvalue() or (complained.getvalue() if status else "")
        for made in sorted(folder.glob("made*")):
            files = sorted(made.rglob("*.html")) if made.is_dir() else [made]
            text += "".join(
                f"\n{shown(one.read_text('utf-8'))}" for one in files if one.suffix != ".csv"
            )
            shutil.rmtree(made) if made.is_dir() else made.unlink()
        yield name, f"status {status}\n{text}"


_SILENT = re.compile(r"<(style|script|defs|metadata|pre)\b.*?</\1>|<!--.*?-->", re.DOTALL)
_SPOKEN = re.compile(r"<[^>]*?\b(?:alt|title|aria-label)=\"([^\"]*)\"[^>]*>|<[^>]*>")


def shown(text: str) -> str:
    """Return what a page or drawing shows or reads aloud, a line a text."""
    bare = _SPOKEN.sub(lambda found: f"\n{found[1] or ''}\n", _SILENT.sub("", text))
    lines = (line.strip() for line in html.unescape(bare).splitlines())
    return "\n\n".join(filter(None, lines))


if __name__ == "__main__":
    if "--accented" in sys.argv:
        speak()
    names = [one for one in sys.argv[2:] if one in LINES] or list(LINES)
    chosen = {name: LINES[name] for name in names}
    print(json.dumps(dict(outputs(Path(sys.argv[1]).resolve(), chosen)), ensure_ascii=False))
