"""Generated pictures: every length of record, and words of every kind."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import strategies as st

from bpvet.figures.pictures import (
    FATES,
    Band,
    CourseSpan,
    GuideLine,
    Level,
    Panel,
    ReadingMarks,
    SessionMarks,
    SignMark,
    TrendPicture,
)
from bpvet.wording.en.pictures.drawn import TREND
from tests.figures.example_pictures import ACVIM, BAND_WORDS, STAGES, two_sessions

_START = np.datetime64("2024-01-01")
words = st.one_of(
    st.sampled_from(
        (
            "first visit",
            "very unusual",
            "amlodipine 0.625 mg once a day",
            "$x^2$ \\frac{a}{b}",
            "<script>alert('x')</script>",
            "M" * 300,
            "a b " * 80,
            "אבג دواء",
            "高血圧 🐈",
            "two\nlines\tand a tab",
        )
    ),
    st.text(max_size=60),
)


@st.composite
def session_marks(draw: st.DrawFn, span: int) -> SessionMarks:
    n = draw(st.integers(0, 40))
    days = sorted(draw(st.lists(st.integers(0, span), min_size=n, max_size=n)))
    mean = np.array(draw(st.lists(st.floats(30, 330), min_size=n, max_size=n)))
    sd = np.array(draw(st.lists(st.sampled_from((0.0, 4.0, 30.0, np.nan)), min_size=n, max_size=n)))
    labels = [""] * n
    for index in draw(st.sets(st.integers(0, max(0, n - 1)), max_size=min(n, 4))):
        labels[index] = draw(words)
    bounds = draw(
        st.lists(st.sampled_from(("", "", "at least", "at most")), min_size=n, max_size=n)
    )
    return SessionMarks(
        draw(words),
        draw(st.sampled_from(("doppler", "oscillometric", ""))),
        draw(st.sampled_from(("clinic", "home", "calmed", "sedated", ""))),
        _START + np.array(days, dtype="timedelta64[D]"),
        mean,
        mean - sd,
        mean + sd,
        np.full(n, 4),
        bounds,
        labels,
    )


@st.composite
def panels(draw: st.DrawFn, span: int) -> Panel:
    shown = draw(session_marks(span))
    k = draw(st.integers(0, 4))
    n = k * shown.date.size
    readings = ReadingMarks(
        np.repeat(shown.date, k),
        draw(st.lists(st.sampled_from((88.0, 120.0, 160.0, 331.0)), min_size=n, max_size=n)),
        draw(st.lists(st.sampled_from(FATES), min_size=n, max_size=n)),
        draw(st.lists(st.sampled_from(("", "at least")), min_size=n, max_size=n)),
    )
    band = None
    if shown.date.size and draw(st.booleans()):
        centre, sd = np.sort(shown.mean), draw(st.floats(2, 60))
        ends = [centre + z * sd for z in (-0.67, 0.67, -1.96, 1.96)]
        band = Band(shown.date, centre, *ends, BAND_WORDS)
    named = tuple(Level(draw(words), level.low, level.high) for level in ACVIM)
    return Panel(
        draw(words),
        "systolic",
        draw(st.sampled_from(("mmHg", "/min", ""))),
        shown,
        readings,
        tuple(draw(st.lists(session_marks(span), max_size=2))),
        band,
        draw(st.sampled_from(((), ACVIM, named))),
        draw(words),
        draw(st.none() | st.builds(GuideLine, st.sampled_from((150.0, 160.0)), words)),
        draw(st.none() | st.builds(GuideLine, st.just(120.0), words)),
        draw(st.just("") | words),
        words=TREND,
    )


@st.composite
def pictures(draw: st.DrawFn) -> TrendPicture:
    span = draw(st.sampled_from((0, 1, 40, 1100, 6000)))
    day = st.integers(-60, span + 60).map(lambda n: _START + np.timedelta64(n, "D"))
    course = st.builds(
        CourseSpan, words, words, day, day | st.just(np.datetime64("NaT")), st.booleans()
    )
    return TrendPicture(
        draw(words),
        draw(day),
        tuple(draw(st.lists(panels(span), min_size=1, max_size=2))),
        tuple(draw(st.lists(course, max_size=8))),
        tuple(draw(st.lists(st.builds(SignMark, day, words), max_size=8))),
        draw(words),
        draw(words),
    )


@st.composite
def lab_panels(draw: st.DrawFn, span: int) -> Panel:
    """Return a panel of single values of any size, with stages or without."""
    n = draw(st.integers(0, 30))
    days = sorted(draw(st.lists(st.integers(-60, span + 400), min_size=n, max_size=n)))
    size = draw(st.sampled_from((0.2, 5.0, 25.0, 200.0, 9000.0)))
    share = st.floats(0.0, 3.0) | st.just(1.0)
    values = size * np.array(draw(st.lists(share, min_size=n, max_size=n)), dtype=np.float64)
    blank, unknown = [""] * n, [np.nan] * n
    marks = SessionMarks(
        draw(words),
        "",
        "",
        _START + np.array(days, dtype="timedelta64[D]"),
        values,
        unknown,
        unknown,
        [1] * n,
        blank,
        blank,
    )
    levels, edition = draw(st.sampled_from(((), STAGES))), "IRIS 2019 kidney guidance"
    scaled = tuple(Level(one.name, one.low * size / 200, one.high * size / 200) for one in levels)
    quantity = draw(st.sampled_from(("creatinine", "upc", "potassium", "weight")))
    unit = draw(st.sampled_from(("µmol/L", "", "kg")) | words)
    heading = draw(st.just("Urine protein to creatinine ratio") | words)
    whose = edition if levels else ""
    return Panel(heading, quantity, unit, marks, levels=scaled, guideline=whose, words=TREND)


@st.composite
def lab_pictures(draw: st.DrawFn) -> TrendPicture:
    """Return a picture with one to eight panels of laboratory values under the pressure."""
    above = two_sessions()
    day = st.integers(-60, 400).map(lambda n: _START + np.timedelta64(n, "D"))
    course = st.builds(CourseSpan, words, words, day, st.just(np.datetime64("NaT")), st.booleans())
    below = draw(st.lists(lab_panels(draw(st.sampled_from((0, 40, 1100)))), min_size=1, max_size=8))
    return replace(
        above,
        panels=(above.panels[0], *below),
        courses=tuple(draw(st.lists(course, max_size=2))),
    )
