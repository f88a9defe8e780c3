"""`bpvet figure --letter` and named widths: what is written, and what is refused."""

import json
import sys

import pytest

from tests.command.small import AS_OF


@pytest.mark.parametrize(
    ("name", "mm"), [("column", 85), ("letter", 160), ("page", 180), ("99", 99)]
)
def test_widths_have_names(run, clinic, tmp_path, name, mm):
    image = tmp_path / "a.svg"
    argv = ("figure", clinic, "--animal", "A17", "--as-of", AS_OF, "-o", image, "--json")
    assert json.loads(run(*argv, "--width", name).out)["width_mm"] == mm
    assert f'width="{mm / 25.4 * 72:.2f}'[:9] in image.read_text(encoding="utf-8")


def test_a_letter_and_its_table(run, clinic, tmp_path):
    letter = tmp_path / "letter.html"
    argv = ("figure", clinic, "--animal", "A17", "--as-of", AS_OF, "--letter", "-o", letter)
    ended = run(*argv, "--quiet")
    assert (ended.status, ended.err) == (0, "")
    assert "letter.html" in ended.out
    assert sorted(path.name for path in tmp_path.iterdir()) == ["letter.csv", "letter.html"]
    assert "(192) 186 184 185 186" in letter.read_text(encoding="utf-8")
    assert "kind,date,time" in (tmp_path / "letter.csv").read_text(encoding="utf-8")
    assert run(*argv).status == 2
    held = json.loads(run(*argv, "--force", "--json", "--paper", "letter").out)
    assert held == {"letter": str(letter), "table": str(tmp_path / "letter.csv"), "paper": "letter"}
    assert "size: 215.9mm 279.4mm" in letter.read_text(encoding="utf-8")


def test_a_letter_as_pdf_is_one_page_with_its_words(run, clinic, tmp_path):
    pytest.importorskip("weasyprint", exc_type=ImportError)
    pypdf = pytest.importorskip("pypdf")
    letter = tmp_path / "letter.pdf"
    argv = ("figure", clinic, "--animal", "A17", "--as-of", AS_OF, "--letter", "-o", letter)
    assert run(*argv).status == 0
    first = letter.read_bytes()
    reader = pypdf.PdfReader(letter)
    text = reader.pages[0].extract_text()
    assert len(reader.pages) == 1
    for words in (
        "Pilchard",
        "2026-03-02",
        "(160) 152 150 151 154",
        "amlodipine 0.5 ml",
        "Telephone",
    ):
        assert words in text
    assert run(*argv, "--force").status == 0
    assert letter.read_bytes() == first


def test_a_pdf_without_its_library_writes_nothing(run, clinic, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    for argv in (
        ("figure", "--letter", "-o", tmp_path / "a.pdf"),
        ("report", "--pdf", "-o", tmp_path),
    ):
        ended = run(argv[0], clinic, "--animal", "A17", *argv[1:])
        assert ended.status == 2
        assert "bpvet[pdf]" in ended.err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "more",
    [
        ("-o", "a.svg", "--letter"),
        ("-o", "a.html"),
        ("-o", "a.svg", "--paper", "a4"),
        ("-o", "a.svg", "--for-excel"),
        ("-o", "a.html", "--letter", "--width", "column"),
        ("-o", "a.html", "--letter", "--labs"),
        ("-o", "a.svg", "--width", "wide"),
    ],
)
def test_what_does_not_go_together(run, clinic, tmp_path, monkeypatch, more):
    monkeypatch.chdir(tmp_path)
    ended = run("figure", clinic, "--animal", "A17", *more)
    assert (ended.status, ended.out) == (2, "")
    assert ended.err.startswith("bpvet figure: ")
    assert list(tmp_path.iterdir()) == []


def test_a_table_that_is_there_is_not_replaced(run, clinic, tmp_path):
    (tmp_path / "letter.csv").write_text("mine")
    ended = run("figure", clinic, "--animal", "A17", "--letter", "-o", tmp_path / "letter.html")
    assert ended.status == 2
    assert [path.name for path in tmp_path.iterdir()] == ["letter.csv"]
