"""`bpvet figure --letter` and named widths: what is written, and what is refused."""

import json
import shutil
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


def test_a_letter_says_to_whom_and_why(run, clinic, tmp_path):
    letter = tmp_path / "letter.html"
    argv = ("figure", clinic, "--animal", "A17", "--as-of", AS_OF, "--letter", "-o", letter)
    assert run(*argv, "--to", "A hospital & Co", "--question", "<b>Why</b>?").status == 0
    page = letter.read_text(encoding="utf-8")
    assert "<dd>A hospital &amp; Co</dd>" in page
    assert "<dd>&lt;b&gt;Why&lt;/b&gt;?</dd>" in page
    assert page.count('class="blank"') == 1  # these records name no clinic
    assert "A hospital" in (tmp_path / "letter.csv").read_text(encoding="utf-8")


def test_a_letter_about_an_animal_without_a_session(run, clinic, tmp_path):
    folder = tmp_path / "records"
    folder.mkdir()
    (folder / "readings.csv").write_text(
        "animal,taken_at,method,systolic\nZ,2026-05-01,doppler,150\n"
    )
    (folder / "animals.csv").write_text("animal,species,name\nZ,cat,Other\nN,cat,Wren\n")
    (folder / "observations.csv").write_text("animal,seen_on,sign\nN,2026-05-02,blind\n")
    letter = tmp_path / "letter.html"
    argv = ("figure", folder, "--animal", "Wren", "--as-of", "2026-05-03", "-o")
    ended = run(*argv, letter, "--letter")
    assert ended.status == 0
    page = letter.read_text(encoding="utf-8")
    assert "A vet must see this animal now: “blind”" in page
    assert "No figure: no trend could be fitted" in page
    # A figure alone, and a series that was named, still say that there is none.
    assert run(*argv, tmp_path / "a.svg").status == 2
    assert run(*argv, letter, "--letter", "--force", "--method", "doppler").status == 2


def test_a_letter_as_pdf_is_two_pages_at_most_with_its_words(run, clinic, tmp_path):
    pytest.importorskip("weasyprint", exc_type=ImportError)
    pypdf = pytest.importorskip("pypdf")
    letter = tmp_path / "letter.pdf"
    argv = ("figure", clinic, "--animal", "A17", "--as-of", AS_OF, "--letter", "-o", letter)
    assert run(*argv).status == 0
    first = letter.read_bytes()
    reader = pypdf.PdfReader(letter)
    text = "\n".join(page.extract_text() for page in reader.pages)
    assert len(reader.pages) <= 2
    assert "Pilchard" in reader.pages[0].extract_text()
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
        ("-o", "a.svg", "--to", "A hospital"),
        ("-o", "a.svg", "--question", "Why?"),
        ("-o", "a.svg", "--for-excel"),
        ("-o", "a.svg", "--plain"),
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


LABS = """animal,sampled_on,analyte,value,unit
A17,2026-01-05,creatinine,205,umol/L
A17,2026-02-05,creatinine,210,umol/L
A17,2026-03-02,creatinine,207,umol/L
A17,2026-03-02,potassium,5.7,mmol/L
"""


def _with_labs(clinic, tmp_path):
    folder = tmp_path / "own"
    shutil.copytree(clinic, folder)
    (folder / "labs.csv").write_text(LABS, encoding="utf-8")
    return folder


def test_a_laboratory_value_alone_and_by_an_older_edition(run, clinic, tmp_path):
    clinic = _with_labs(clinic, tmp_path)
    argv = ("figure", clinic, "--animal", "A17", "--as-of", AS_OF, "--json")
    made = {}
    for quantity in ("creatinine", "potassium"):
        image = tmp_path / f"{quantity}.svg"
        made[quantity] = json.loads(run(*argv, "--quantity", quantity, "-o", image).out)["caption"]
        assert image.exists()
    assert "if kidney disease is diagnosed" in made["creatinine"]
    assert "IRIS 2019" in made["creatinine"]
    assert "one value as recorded, not modelled: 5.7 mmol/L" in made["potassium"]
    older = (*argv, "--quantity", "creatinine", "--edition", "iris2017", "-o", tmp_path / "o.svg")
    assert "IRIS 2017" in json.loads(run(*older).out)["caption"]
    wrong = run(*argv, "--edition", "iris2023", "-o", tmp_path / "w.svg")
    assert (wrong.status, "iris2019" in wrong.err) == (2, True)


def test_what_has_no_trend_has_no_letter_and_what_is_not_recorded_no_figure(run, clinic, tmp_path):
    argv = ("figure", clinic, "--animal", "A17", "--as-of", AS_OF, "--quantity", "total_t4")
    none = run(*argv, "-o", tmp_path / "t.svg")
    assert (none.status, "no value of total T4" in none.err) == (2, True)
    letter = run(*argv, "--letter", "-o", tmp_path / "t.html")
    assert (letter.status, "has no trend" in letter.err) == (2, True)
    assert list(tmp_path.glob("t.*")) == []


def test_trend_by_an_older_edition_and_with_joint_trends(run, clinic, tmp_path):
    clinic = _with_labs(clinic, tmp_path)
    argv = ("trend", clinic, "--animal", "A17", "--as-of", AS_OF)
    held = json.loads(run(*argv, "--json", "--edition", "iris2017").out)
    assert held["kidney"]["stage"]["edition"] == "iris2017"
    (joint,) = held["joint"]
    assert joint["marker"] == "creatinine"
    assert joint["marker_per_30_days"]["lower"] < joint["marker_per_30_days"]["upper"]
    assert "Pressure and laboratory values together" in run(*argv).out
