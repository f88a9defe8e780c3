"""Pages as PDF: text, pages, nothing fetched, and a clear word where it cannot be made."""

from __future__ import annotations

import io
import sys
from pathlib import Path

import pytest

from bpvet.errors import CallError
from bpvet.reports import pdf
from bpvet.reports.files import refuse_foreign

from .made import Made

MARK = "animal 0123456789"
PAGE = "<!DOCTYPE html><html lang=en><title>T</title><body><p>Words{}</p></body></html>"


@pytest.fixture
def setter() -> None:
    pytest.importorskip("weasyprint", exc_type=ImportError)


def pages_of(content: bytes) -> list[str]:
    from pypdf import PdfReader

    return [page.extract_text() for page in PdfReader(io.BytesIO(content)).pages]


@pytest.mark.usefixtures("setter")
@pytest.mark.parametrize(("paper", "points"), [("a4", (595, 842)), ("letter", (612, 792))])
def test_a_report_on_paper(urgent: Made, paper: str, points: tuple[int, int]) -> None:
    from pypdf import PdfReader

    content = pdf.pdf_bytes(urgent.page.read_text(encoding="utf-8"), MARK, paper)
    reader = PdfReader(io.BytesIO(content))
    box = reader.pages[0].mediabox
    assert (round(box.width), round(box.height)) == points
    texts = [page.extract_text() for page in reader.pages]
    assert "Urgent" in texts[0]
    assert "When again?" in texts[0]
    assert len(texts) <= 12
    assert all(text.strip() for text in texts)
    assert "import bpvet" not in "".join(texts)
    assert pdf.pdf_bytes(urgent.page.read_text(encoding="utf-8"), MARK, paper) == content


@pytest.mark.usefixtures("setter")
def test_nothing_is_fetched(tmp_path: Path) -> None:
    secret = tmp_path / "secret.svg"
    secret.write_text('<svg xmlns="http://www.w3.org/2000/svg"><text>secret</text></svg>')
    image = f'<img src="{secret.as_uri()}"><img src="http://127.0.0.1:1/x.png">'
    assert pages_of(pdf.pdf_bytes(PAGE.format(image), MARK, "a4")) == ["Words"]


@pytest.mark.usefixtures("setter")
def test_its_own_file_is_known_again_and_another_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "a.pdf"
    path.write_bytes(pdf.pdf_bytes(PAGE.format(""), MARK, "a4"))
    refuse_foreign(path, MARK)
    with pytest.raises(CallError, match="another report"):
        refuse_foreign(path, "animal abcdefabcd")
    path.write_bytes(b"%PDF-1.7\nmine\n%%EOF\n")
    with pytest.raises(CallError, match="not written by this report"):
        refuse_foreign(path, MARK)


def test_without_the_extra_it_says_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    with pytest.raises(CallError, match=r"pip install 'bpvet\[pdf\]', or print the page"):
        pdf.refuse_without_setter()


def test_without_the_systems_library_it_says_which(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "weasyprint.py").write_text("raise OSError('cannot load library pango')")
    monkeypatch.delitem(sys.modules, "weasyprint", raising=False)
    monkeypatch.syspath_prepend(str(tmp_path))
    with pytest.raises(CallError, match="library Pango, which was not found"):
        pdf.refuse_without_setter()
