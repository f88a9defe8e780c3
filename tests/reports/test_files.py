"""Whose a file is: another's is left alone."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from bpvet.errors import CallError
from bpvet.reports import files
from bpvet.reports.files import PAGE_MARKER, made_folder, refuse_foreign

MARK, OTHER = "animal 0123456789", "animal abcdefabcd"


def notebook(mark: str, source: str = "x = 1", digest_of: str = "x = 1") -> str:
    cells = [{"cell_type": "code", "source": source, "outputs": []}]
    written = [{"cell_type": "code", "source": digest_of}]
    mark_ = {"report": mark, "cells": files.cells_digest({"cells": written})}
    return json.dumps({"cells": cells, "metadata": {"bpvet": mark_}})


CONTENTS = {
    "a.html": PAGE_MARKER.format(mark=MARK),
    "a.json": json.dumps({"bpvet_report": MARK}),
    "a.ipynb": notebook(MARK),
}


@pytest.mark.parametrize("name", CONTENTS)
def test_its_own_file_may_be_replaced(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text(CONTENTS[name])
    refuse_foreign(tmp_path / name, MARK)
    refuse_foreign(tmp_path / f"none-{name}", MARK)


@pytest.mark.parametrize("name", CONTENTS)
def test_the_report_of_another_animal_is_left_alone(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text(CONTENTS[name])
    with pytest.raises(CallError, match="another report"):
        refuse_foreign(tmp_path / name, OTHER)


@pytest.mark.parametrize("name", CONTENTS)
@pytest.mark.parametrize(
    "content",
    [
        *(b"", b"\xff\xfe", b"[]", b"{", b'{"metadata": 1}', b"hello", b"[" * 200_000),
        b'{"metadata": {"bpvet": {"report": "animal 0123456789", "cells": ""}}, "cells": [1]}',
    ],
    ids=range(8),
)
def test_a_foreign_file_is_left_alone(tmp_path: Path, name: str, content: bytes) -> None:
    (tmp_path / name).write_bytes(content)
    with pytest.raises(CallError, match="not written by this report"):
        refuse_foreign(tmp_path / name, MARK)


def test_a_notebook_that_somebody_went_on_with_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "a.ipynb").write_text(notebook(MARK, source="x = 2"))
    with pytest.raises(CallError, match=r"changed.*another name.*--force"):
        refuse_foreign(tmp_path / "a.ipynb", MARK)


def test_a_source_is_the_same_as_a_text_or_as_lines() -> None:
    whole = [{"cell_type": "code", "source": "a\nb"}]
    lines = [{"cell_type": "code", "source": ["a\n", "b"]}]
    assert files.cells_digest({"cells": whole}) == files.cells_digest({"cells": lines})


def test_a_folder_or_a_link_in_the_way_is_said(tmp_path: Path) -> None:
    (tmp_path / "a.html").mkdir()
    (tmp_path / "b.html").symlink_to(tmp_path / "elsewhere")
    for name in ("a.html", "b.html"):
        with pytest.raises(CallError, match="not an ordinary file"):
            refuse_foreign(tmp_path / name, MARK)


def test_a_marker_far_down_in_a_page_is_no_mark(tmp_path: Path) -> None:
    (tmp_path / "a.html").write_text(" " * 5000 + PAGE_MARKER.format(mark=MARK))
    with pytest.raises(CallError):
        refuse_foreign(tmp_path / "a.html", MARK)


def test_a_file_where_the_folder_should_be_is_said(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("x")
    with pytest.raises(CallError, match="is a file"), made_folder(tmp_path / "out"):
        pass
    with (
        pytest.raises(CallError, match="cannot be written"),
        made_folder(tmp_path / "out" / "in"),
    ):
        pass


def test_folders_that_were_made_go_again_where_the_work_fails(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    with pytest.raises(FileNotFoundError), made_folder(tmp_path / "a" / "b" / "c"):
        (tmp_path / "a" / "b" / "c").rename(tmp_path / "none" / "c")
    assert list(tmp_path.rglob("*")) == [tmp_path / "a"]
