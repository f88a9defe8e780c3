"""`bpvet cohort`: a thin command over the clinic's report."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from bpvet.reports import writing
from tests.models.small_clinic import AS_OF, write_clinic


@pytest.fixture(autouse=True)
def unrun(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the notebook be as if it had run: the report's own tests run it."""
    monkeypatch.setattr(writing, "run", lambda notebook, *_: notebook)


def test_it_says_where_the_page_is(run, tmp_path: Path) -> None:
    records, out = write_clinic(tmp_path / "records"), tmp_path / "out"
    ended = run("cohort", records, "-o", out, "--as-of", AS_OF)
    assert ended.status == 0
    assert f'The report is in "{out / "cohort.html"}"' in ended.out
    quiet = run("cohort", records, "-o", out, "--as-of", AS_OF, "--quiet", "--rule", "all")
    assert (quiet.status, quiet.err) == (0, "")


def test_json_alone_is_on_the_output(run, tmp_path: Path) -> None:
    records, out = write_clinic(tmp_path / "records"), tmp_path / "out"
    ended = run(
        *("cohort", records, "-o", out, "--as-of", AS_OF, "--json"),
        *("--level", "0.9", "--pseudonyms"),
    )
    assert ended.status == 0

    def refuse(text: str) -> None:
        raise AssertionError(text)

    held = json.loads(ended.out, parse_constant=refuse)
    assert held["page"] == str(out / "cohort-pseudonyms.html")
    assert held["level"] == 0.9
    assert held["flow"]["sessions"] == 38
    held = {
        name: value
        for name, value in held.items()
        if name not in ("page", "notebook", "parameters")
    }
    assert "K1" not in json.dumps(held)


def test_what_may_not_be_passed_on_is_said(run, tmp_path: Path) -> None:
    records = write_clinic(tmp_path / "records")
    ended = run("cohort", records, "-o", tmp_path / "out", "--as-of", AS_OF, "--pseudonyms")
    assert "it says where the records are" in ended.out


@pytest.mark.parametrize(
    ("more", "status", "said"),
    [
        (("--quantity", "diastolic"), 1, "at least 5 animals are needed"),
        (("--quantity", "weight"), 2, "invalid choice"),
        (("--level", "95"), 2, "for 95 % write 0.95"),
        (("--as-of", "2025-01-01"), 1, "too few sessions"),
    ],
)
def test_what_cannot_be_done_ends_in_words(
    run, tmp_path: Path, more: tuple[str, ...], status: int, said: str
) -> None:
    records = write_clinic(tmp_path / "records")
    ended = run("cohort", records, "-o", tmp_path / "out", "--as-of", AS_OF, *more)
    assert ended.status == status
    assert said in ended.err
    assert not (tmp_path / "out").exists()
