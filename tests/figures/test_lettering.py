"""Words are made fit to draw, whatever they hold."""

from __future__ import annotations

import warnings

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.font_manager import FontProperties

from bpvet.figures.lettering import BOX, ELLIPSIS, block, height_mm, plain, settable, width_mm
from bpvet.figures.style import MM_PER_POINT


@pytest.mark.parametrize(
    ("given_text", "kept"),
    [
        ("two\nlines\r\nand\ta tab", "two lines and a tab"),
        ("<script>&$x^2$\\frac", "<script>&$x^2$\\frac"),
        ("Žofie µg Ωmega", "Žofie µg Ωmega"),
        ("高血圧", BOX * 3),
        ("dose אבג mg", f"dose {BOX} mg"),
        ("a\u202eb\u200dc", "abc"),
        ("e\u0301", "é"),
        ("\x00\x1b[31m", "[31m"),
        ("\ud800", BOX),
        ("", ""),
    ],
)
def test_plain_keeps_what_the_font_can_set(given_text: str, kept: str) -> None:
    assert plain(given_text) == kept


def test_settable_says_whether_letters_were_lost() -> None:
    assert settable("amlodipine 0.625 mg\n½ tablet")
    assert not settable("薬")
    assert not settable("אבג")


@given(st.text(max_size=80))
@settings(deadline=None)
def test_plain_words_draw_without_a_warning(text: str) -> None:
    kept = plain(text)
    assert plain(kept) == kept
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        RendererAgg(10, 10, 100).get_text_width_height_descent(
            kept or "x", FontProperties(family="DejaVu Sans"), False
        )


@given(st.text(max_size=400), st.floats(8, 150), st.integers(1, 4))
@settings(deadline=None)
def test_a_block_stays_within_its_room(text: str, space: float, most: int) -> None:
    made = block(text, space, most)
    assert len(made.lines) <= most
    assert all(width_mm(line) <= space for line in made.lines)
    assert made.width == max((width_mm(line) for line in made.lines), default=0.0)
    if made.whole:
        assert "".join(made.lines).replace(" ", "") == plain(text).replace(" ", "")
    elif settable(text):
        assert made.text.endswith(ELLIPSIS)


def test_lines_break_between_words_and_keep_the_per_cent_sign() -> None:
    assert block("severely hypertensive", 25.0).lines == ("severely", "hypertensive")
    space = width_mm("with 50") + 0.5
    assert block("with 50 %", space).lines == ("with", "50 %")


def test_width_is_that_of_the_drawn_words_with_a_little_to_spare() -> None:
    words = "severely hypertensive"
    font = FontProperties(family="DejaVu Sans", size=8)
    drawn, _, _ = RendererAgg(2000, 100, 300).get_text_width_height_descent(words, font, False)
    assert 1.0 <= width_mm(words) / (drawn / 300 * 72 * MM_PER_POINT) <= 1.05


def test_height_follows_the_lines() -> None:
    assert height_mm(2) == pytest.approx(2 * 8 * 1.2 * 25.4 / 72)
