"""What is written runs: docstring examples, the README's Python, and its two commands."""

from __future__ import annotations

import doctest
import importlib
import pkgutil
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import bpvet
from bpvet.records.example import write_example

ROOT = Path(__file__).parent.parent
MODULES = sorted(
    module.name
    for module in pkgutil.walk_packages(bpvet.__path__, "bpvet.")
    if not module.name.endswith("__main__")
)


@pytest.mark.parametrize("name", MODULES)
def test_docstring_examples_run(name):
    result = doctest.testmod(importlib.import_module(name))
    assert result.failed == 0


def _blocks(language: str) -> list[str]:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    return re.findall(rf"^```{language}\n(.*?)^```", text, flags=re.DOTALL | re.MULTILINE)


def test_readme_python_runs(tmp_path, monkeypatch, capsys):
    write_example(tmp_path / "example-records")
    monkeypatch.chdir(tmp_path)
    for block in _blocks("python"):
        exec(compile(block, "README.md", "exec"), {})
    assert "usual systolic pressure" in capsys.readouterr().out


def test_readme_commands_are_found():
    script = ROOT / ".ci" / "readme_commands.py"
    done = subprocess.run([sys.executable, script], capture_output=True, text=True, check=True)
    main, tests = done.stdout.strip().splitlines()
    assert "bpvet report example-records --animal A17" in main
    assert "pytest" in tests


def test_readme_says_what_the_library_says():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    folder = ROOT / "bpvet" / "records" / "example_records"
    records = bpvet.read(folder, as_of="2026-11-01")
    usual = bpvet.fit_trend(records, "A17").answer().sentences
    quoted = re.search(r'"(By Doppler, .*?)"', text)
    assert quoted is not None
    assert any(sentence.startswith(quoted.group(1)) for sentence in usual)


def test_links_and_pictures_of_the_documents_exist():
    for name in ("README.md", "DEVELOPERS.md"):
        text = (ROOT / name).read_text(encoding="utf-8")
        for target in re.findall(r"\]\(([^)#]+)\)", text):
            assert (ROOT / target).exists(), f"{name} points to {target}"


def test_the_input_is_never_written_to(tmp_path):
    folder = tmp_path / "records"
    write_example(folder)
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    records = bpvet.read(folder, as_of="2026-11-01")
    bpvet.fit_trend(records, "A17").answer()
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
    shutil.rmtree(folder)
