"""Days without a usable reading in the picture of a trend."""

from __future__ import annotations

from pathlib import Path

import numpy as np

import bpvet
from bpvet.pictures.trend import trend_picture
from bpvet.wording.en.pictures.trend import NO_USABLE_READING


def test_a_day_without_a_usable_reading_after_the_newest_session_is_marked():
    folder = Path(__file__).parents[1] / "scenarios" / "could_not_be_measured"
    trend = bpvet.fit_trend(bpvet.read(folder, as_of="2026-11-30"), "F71")
    picture = trend_picture(trend)
    (mark,) = [one for one in picture.signs if one.label == NO_USABLE_READING]
    assert mark.date == np.datetime64("2026-11-20")
    for words in (picture.caption, picture.alt_text):
        assert "no usable reading on 20 November 2026" in words
    before = bpvet.fit_trend(bpvet.read(folder, as_of="2026-11-19"), "F71")
    assert trend_picture(before).signs == ()
