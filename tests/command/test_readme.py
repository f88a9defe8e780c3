"""The README's commands, as a newcomer types them: in a folder where nothing is but the program."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from bpvet.command.main import main

README = Path(__file__).resolve().parents[2] / "README.md"


def typed() -> list[list[str]]:
    """Return the arguments of each call of the program, in order; reports have tests enough."""
    blocks = re.findall(r"^```sh\n(.*?)^```", README.read_text("utf-8"), re.DOTALL | re.MULTILINE)
    calls = [
        one.strip() for text in blocks for line in text.splitlines() for one in line.split("&&")
    ]
    words = [shlex.split(one, comments=True) for one in calls if one.startswith(".venv/bin/bpvet ")]
    return [call[1:] for call in words if call[1] != "report"]


@pytest.mark.slow
def test_commands_run_as_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    calls = typed()
    assert {call[0] for call in calls} == {"example", "check", "trend", "figure", "average", "due"}
    for call in calls:
        assert main(call) == 0, (call, capsys.readouterr().err)
    assert (tmp_path / "due.parquet").is_file()
    assert (tmp_path / "pilchard.svg").is_file()
