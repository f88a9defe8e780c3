"""What is read back from disk is what it should be, or is refused at once."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from bpvet.errors import CallError
from bpvet.reading_back import MOST_BYTES, ReadBackError, text_of_file, toml_table
from bpvet.records.headings.mapping_file import parsed, text_of
from bpvet.reports.files import refuse_foreign

LARGE_TOML = {
    "a" + ".a" * 200_000 + " = 1": "dots",
    "[" + "a." * 100_000 + "a]": "dots",
    "x = " + "1" * 5000: "digits",
    "x = 1" + "_1" * 400: "digits",
    "x = 0x" + "f" * 900: "digits",
    "x = 1." + "1" * 900: "digits",
    "x = " + "[" * 100_000: "nested",
    "x = " + "{a=" * 50_000: "nested",
    "x = " + "[" * 40 + "]" * 40: "nested",
    "x = 9999-99-99": "not TOML",
    "x = ": "not TOML",
}


@pytest.mark.parametrize("text", LARGE_TOML, ids=lambda text: text[:12])
def test_toml_beyond_the_limits_is_refused_at_once(text: str) -> None:
    started = time.process_time()
    with pytest.raises(ReadBackError, match=LARGE_TOML[text]):
        toml_table(text)
    assert time.process_time() - started < 1


def test_what_is_within_the_limits_is_read() -> None:
    assert toml_table("# " + "." * 99 + '\n[columns]\n"Puls......" = "systolic"') == {
        "columns": {"Puls......": "systolic"}
    }


def test_a_file_that_is_too_long_or_no_file_is_refused(tmp_path: Path) -> None:
    long = tmp_path / "long.toml"
    long.write_bytes(b"#" * (MOST_BYTES + 1))
    with pytest.raises(CallError, match="too long"):
        text_of(long)
    with pytest.raises(ReadBackError, match="no plain file"):
        text_of_file(tmp_path)
    long.write_bytes(b"\xff\xfe")
    with pytest.raises(CallError, match="not UTF-8"):
        text_of(long)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "p.toml")
    with pytest.raises(CallError, match="no plain file"):
        text_of(tmp_path / "p.toml")


def test_a_mapping_file_of_many_digits_is_a_wrong_call() -> None:
    with pytest.raises(CallError, match="more than 60 digits in line 2"):
        parsed("m.toml", "\nunit = " + "1" * 5000)


@pytest.mark.parametrize("name", ["report.json", "report.ipynb"])
def test_a_mark_is_not_sought_in_what_is_nested_without_end(name: str, tmp_path: Path) -> None:
    (tmp_path / name).write_text("[" * 100_000)
    with pytest.raises(CallError, match="was not written by this report"):
        refuse_foreign(tmp_path / name, "animal 0123")
