"""Files: the same bytes for the same picture, whole or not at all."""

from __future__ import annotations

import io
import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from pathlib import Path

import matplotlib
import numpy as np
import pytest
from matplotlib.figure import Figure
from PIL import Image
from pypdf import PdfReader

from bpvet.errors import CallError
from bpvet.figures import save, trend
from bpvet.figures.pictures import SignMark
from bpvet.figures.style import DARK
from tests.figures.example_pictures import EXAMPLES

SVG = "{http://www.w3.org/2000/svg}"
WRITERS = {"svg": save.svg_bytes, "pdf": save.pdf_bytes, "png": save.png_bytes}


@pytest.mark.parametrize("kind", WRITERS)
def test_the_same_picture_gives_the_same_bytes(kind: str) -> None:
    first = WRITERS[kind](EXAMPLES["three_courses"]())
    assert WRITERS[kind](EXAMPLES["three_courses"]()) == first


def test_another_process_and_settings_give_the_same_bytes(tmp_path: Path) -> None:
    code = (
        "import sys; sys.path.insert(0, '.');"
        "from tests.figures.example_pictures import EXAMPLES; from bpvet.figures import save;"
        "sys.stdout.buffer.write(save.svg_bytes(EXAMPLES['two_sessions']()))"
    )
    (tmp_path / "matplotlibrc").write_text(
        "font.size: 20\nlines.linewidth: 9\ntext.color: red\nsvg.fonttype: none\n"
    )
    environment = {**os.environ, "MATPLOTLIBRC": str(tmp_path), "PYTHONHASHSEED": "7"}
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        check=True,
        env=environment,
        cwd=Path(__file__).parents[2],
        timeout=120,
    )
    assert done.stdout == save.svg_bytes(EXAMPLES["two_sessions"]())


def test_drawing_leaves_the_settings_of_the_user_alone() -> None:
    before = dict(matplotlib.rcParams)
    save.svg_bytes(EXAMPLES["one_session"]())
    assert dict(matplotlib.rcParams) == before


def test_no_window_library_is_loaded() -> None:
    code = (
        "import sys; from bpvet.figures import save, trend;"
        "print('matplotlib.pyplot' in sys.modules, 'pandas' in sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.split() == ["False", "False"]


def test_svg_is_well_formed_bears_its_description_and_its_letters_as_text() -> None:
    picture = replace(EXAMPLES["long_text"](), title="A & <b> \x00", alt_text="<script> \ud800 é")
    content = save.svg_bytes(picture)
    root = ElementTree.fromstring(content)
    svg = "{http://www.w3.org/2000/svg}"
    title, described = root.find(f"{svg}title"), root.find(f"{svg}desc")
    assert title is not None
    assert title.text == "A & <b>"
    assert described is not None
    assert described.text is not None
    assert described.text.startswith("<script>")
    assert described.text.endswith("é")
    assert root.attrib["role"] == "img"
    assert root.attrib["aria-labelledby"] == title.attrib["id"]
    assert root.attrib["width"].endswith("pt")
    words = [element.text for element in root.iter(f"{svg}text")]
    assert "amlodipine 1.25 mg sid" in words
    assert "Records as of 20 November 2025" in words
    assert not [element for element in root.iter() if element.tag.endswith("}script")]
    for told in (b"Matplotlib v", b"dc:date", b"dc:creator"):
        assert told not in content


def test_every_colour_of_a_drawing_has_its_shade_on_a_dark_page() -> None:
    for name in EXAMPLES:
        drawn = save.svg_bytes(EXAMPLES[name]()).decode().partition("</style>")[2]
        assert set(re.findall(r"(?:fill|stroke): (#[0-9a-f]{6})", drawn)) <= set(DARK)


def test_a_doubtful_band_is_hatched_in_its_colour() -> None:
    base = EXAMPLES["forty_sessions"]()
    band = base.panels[0].band
    assert band is not None
    doubted = replace(band, doubtful=np.arange(band.date.size) > 80)
    panel = replace(base.panels[0], band=doubted)
    root = ElementTree.fromstring(save.svg_bytes(replace(base, panels=(panel,))))
    svg = "{http://www.w3.org/2000/svg}"
    hatches = [one.attrib["style"] for one in root.findall(f".//{svg}pattern/{svg}path")]
    assert hatches
    assert all("stroke: #9cc8e2" in style for style in hatches)


def test_two_drawings_of_one_page_share_no_id() -> None:
    wide, narrow = (save.svg_bytes(EXAMPLES["three_courses"](), width) for width in (160.0, 85.0))
    ids = [re.findall(rb' id="([^"]+)"', one) for one in (wide, narrow)]
    assert all(len(set(one)) == len(one) for one in ids)
    assert not set(ids[0]) & set(ids[1])


def test_what_xml_cannot_hold_is_left_out_of_the_words_of_a_mark() -> None:
    base = EXAMPLES["two_sessions"]()
    sign = SignMark(np.datetime64("2026-01-20"), "\x05 seizure \ud800 <b>")
    drug = replace(base.courses[0], drug="am\x00lo", dose="2.5 m\x07g")
    content = save.svg_bytes(replace(base, signs=(sign,), courses=(drug,)))
    titles = [one.text for one in ElementTree.fromstring(content).iter() if one.tag[-5:] == "title"]
    assert "20 January 2026: seizure <b>" in titles


def test_a_session_leads_to_its_row_where_it_is_asked_to() -> None:
    base = EXAMPLES["two_sessions"]()
    shown = replace(base.panels[0].sessions, session=[4, 9])
    picture = replace(base, panels=(replace(base.panels[0], sessions=shown),))
    assert b"<a " not in save.svg_bytes(picture)
    linked = save.svg_bytes(picture, links=True)
    assert re.findall(rb'<a href="(#[^"]+)"', linked) == [b"#session-4", b"#session-9"]
    # What has links inside is no picture to a reader's program.
    assert b'role="graphics-document' in linked


def test_pdf_bears_its_title_and_its_letters_can_be_read() -> None:
    picture = EXAMPLES["three_courses"]()
    reader = PdfReader(io.BytesIO(save.pdf_bytes(picture)))
    assert reader.metadata is not None
    assert reader.metadata.title == picture.title
    assert reader.metadata.subject == picture.alt_text
    assert reader.metadata.creation_date is None
    assert reader.metadata.producer is None
    words = reader.pages[0].extract_text()
    assert "amlodipine" in words
    width = float(reader.pages[0].mediabox.width)
    assert width == pytest.approx(160 / 25.4 * 72, abs=0.5)


@pytest.mark.parametrize("width", [160.0, 85.0])
def test_png_has_300_dots_an_inch(width: float) -> None:
    picture = EXAMPLES["forty_sessions"]()
    image = Image.open(io.BytesIO(save.png_bytes(picture, width)))
    assert image.info["dpi"] == pytest.approx((300, 300), abs=0.1)
    assert image.width == pytest.approx(width / 25.4 * 300, abs=1)
    assert image.info["Title"] == picture.title
    assert "Software" not in image.info


def test_bands_differ_in_grey() -> None:
    image = Image.open(io.BytesIO(save.png_bytes(EXAMPLES["both_methods"]()))).convert("L")
    greys = np.unique(np.asarray(image), return_counts=True)
    common = {int(grey) for grey, count in zip(*greys, strict=True) if count > 5000}
    # Outer and inner band of the oscillometric method: luminance of their two tints.
    outer, inner = (
        Image.new("RGB", (1, 1), tint).convert("L").getpixel((0, 0))
        for tint in ("#fae3d2", "#f0bd96")
    )
    assert {outer, inner} <= common
    assert outer - inner > 25


@pytest.mark.parametrize("suffix", ["svg", "pdf", "png", "SVG"])
def test_save_writes_the_format_of_the_suffix(tmp_path: Path, suffix: str) -> None:
    picture = EXAMPLES["one_session"]()
    path = save.save(picture, tmp_path / f"trend.{suffix}")
    assert path.read_bytes() == WRITERS[suffix.lower()](picture)
    assert [one.name for one in tmp_path.iterdir()] == [path.name]


def test_save_replaces_an_older_file(tmp_path: Path) -> None:
    path = tmp_path / "trend.svg"
    path.write_text("old")
    save.save(EXAMPLES["one_session"](), path)
    assert b"<svg" in path.read_bytes()


@pytest.mark.parametrize("name", ["trend.jpg", "trend", "trend.svg.txt"])
def test_another_suffix_is_refused_by_name(tmp_path: Path, name: str) -> None:
    with pytest.raises(CallError, match=r"\.svg, \.pdf, \.png"):
        save.save(EXAMPLES["one_session"](), tmp_path / name)
    assert not list(tmp_path.iterdir())


def test_a_missing_folder_is_said(tmp_path: Path) -> None:
    with pytest.raises(CallError, match="cannot be written"):
        save.save(EXAMPLES["one_session"](), tmp_path / "nowhere" / "trend.svg")


def test_a_failed_write_leaves_nothing_behind(tmp_path: Path) -> None:
    path = tmp_path / "trend.svg"
    path.mkdir()
    with pytest.raises(CallError, match="cannot be written"):
        save.save(EXAMPLES["one_session"](), path)
    assert [one.name for one in tmp_path.iterdir()] == ["trend.svg"]


def test_a_drawn_figure_can_be_written_too() -> None:
    picture = EXAMPLES["one_session"]()
    written = save.figure_bytes(trend.draw(picture), "svg", picture.title, picture.alt_text)
    assert written == save.svg_bytes(picture)
    with pytest.raises(CallError, match="not as 'gif'"):
        save.figure_bytes(trend.draw(picture), "gif")


@pytest.mark.parametrize(("count", "told"), [(999, 999), (1_000, 1)])
def test_marks_in_their_thousands_tell_their_look_once(count: int, told: int) -> None:
    figure, at = Figure(), np.arange(count)
    look = {"marker": "o", "mfc": "#1a1a1a", "mec": "#d55e00"}
    figure.add_axes((0.1, 0.1, 0.8, 0.8)).plot(at, at % 7, ls="none", **look)
    root = ElementTree.fromstring(save.figure_bytes(figure, "svg"))
    groups = [
        group for group in root.iter(f"{SVG}g") if len(list(group.iter(f"{SVG}use"))) == count
    ]
    # Every group around the marks, and the marks themselves: what a mark looks like it has there.
    looks = [one.get("style", "") for group in groups[-2:] for one in (group, *group)]
    assert looks.count("fill: #1a1a1a; stroke: #d55e00") == told
