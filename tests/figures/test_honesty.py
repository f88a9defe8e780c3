"""No picture lies: examples, scenarios and generated records, read back from what is drawn."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from matplotlib.figure import Figure

import bpvet
from bpvet.answers.trend.result import TrendAnswer
from bpvet.errors import CallError
from bpvet.figures import trend
from bpvet.figures.marking import KINDS
from bpvet.figures.pictures import DrugTrack, SignMark, SmallRow, TrendPicture, Window
from bpvet.figures.save import figure_bytes, svg_bytes
from bpvet.pictures.answered import answered_picture
from bpvet.pictures.kidney import joint_picture, kidney_picture
from bpvet.records.example import example_texts
from tests.figures.example_pictures import EXAMPLES, band, on, panel, readings, sessions
from tests.figures.honest import (
    beyond_today,
    floor_out_of_view,
    marks_of,
    met_letters,
    misplaced,
    unnamed_colours,
    words_of,
)
from tests.figures.picture_strategies import lab_pictures, pictures
from tests.figures.row_pictures import tracks_and_rows
from tests.figures.text_boxes import faults
from tests.scenarios.told import FOLDERS, expected, opened

ANIMALS = sorted(
    line.split(",")[0]
    for line in example_texts()["animals.csv"].decode("utf-8-sig").splitlines()[1:]
)


@pytest.fixture(scope="module")
def examples(tmp_path_factory: pytest.TempPathFactory) -> bpvet.Records:
    folder: Path = tmp_path_factory.mktemp("examples")
    for name, content in example_texts().items():
        (folder / name).write_bytes(content)
    return bpvet.read(folder, as_of="2026-11-01")


def lies(picture: TrendPicture, width: float = 160.0) -> list[str]:
    """Return in words all that a drawing of a picture has wrong."""
    figure = trend.draw(picture, width)
    svg = figure_bytes(figure, "svg", picture.title, picture.alt_text)
    marks = marks_of(svg)
    return [
        *misplaced(marks),
        *beyond_today(picture, marks),
        *floor_out_of_view(picture, marks),
        *unnamed_colours(svg),
        *met_letters(figure),
        *faults(figure),
        *_unsaid(picture, svg, width),
        *_uncounted(picture, svg),
    ]


def _unsaid(picture: TrendPicture, svg: bytes, width: float) -> list[str]:
    """Return what the alternative text says and neither the drawing nor its caption shows."""
    shown = words_of(svg)
    kept = f"{shown} {trend.caption(picture, width)}"
    wanted = [span.label for span in picture.courses] + [sign.label for sign in picture.signs]
    wanted += [track.words for track in picture.tracks]
    wanted += [words for row in picture.rows for words in (row.lead, row.detail)]
    wanted += [picture.newest] if width >= 160 else []
    wanted += ["Urgent:"] if picture.urgent else []
    target = picture.panels[0].target
    wanted += [target.words.split(",")[0]] if target is not None else []
    return [f"{one!r} is not in the picture" for one in wanted if one and one not in kept]


def _uncounted(picture: TrendPicture, svg: bytes) -> list[str]:
    """Return complaints where a session with a number has no mark of its own, or too many."""
    marks = [one for one in marks_of(svg) if one.panel != "near"]
    drawn = sum(one.kind in ("session", "lab") for one in marks)
    held = sum(
        int(np.isfinite(one.mean).sum())
        for shown in picture.panels
        for one in (shown.sessions, *shown.others)
    )
    held += sum(int(np.isfinite(row.values.mean).sum()) for row in picture.rows)
    return [] if drawn == held else [f"{drawn} marks for {held} sessions"]


def _some(names: Sequence[str], each: int) -> list[object]:
    """Return every so-maniest name as it is, and the others for the full run alone."""
    return [
        name if place % each == 0 else pytest.param(name, marks=pytest.mark.slow)
        for place, name in enumerate(names)
    ]


@pytest.mark.parametrize("width", [160.0, 85.0])
@pytest.mark.parametrize("animal", _some(ANIMALS, 3))
def test_the_examples_do_not_lie(examples: bpvet.Records, animal: str, width: float) -> None:
    try:
        picture = _pictured(examples, animal)
    except CallError:
        return  # no session that a trend could be of
    assert lies(picture, width) == []


@cache
def _pictured(records: bpvet.Records, animal: str) -> TrendPicture:
    # Every other animal with its laboratory values as panels, the others with them as small rows.
    labs = ANIMALS.index(animal) % 2 == 1
    return answered_picture(bpvet.fit_trend(records, animal), labs=labs)


@pytest.mark.parametrize("folder", _some(FOLDERS, 5))
def test_the_scenarios_do_not_lie(folder: str) -> None:
    whole = expected(folder)
    records = opened(folder, whole["at"][-1]["as_of"])
    more = {name: whole[name] for name in ("quantity", "condition", "method") if name in whole}
    try:
        fitted = bpvet.fit_trend(records, whole["animal"], **more)
    except CallError:
        return
    picture = answered_picture(fitted)
    assert lies(picture) == []
    answer = fitted.answer()
    assert isinstance(answer, TrendAnswer)
    newest = [one.mean for one in answer.sessions][-1]
    assert newest is not None
    assert f"{newest:.0f}" in words_of(svg_bytes(picture)) or answer.quantity != "systolic"


@pytest.mark.parametrize("width", [160.0, 85.0])
@pytest.mark.parametrize("made", [bpvet.kidney, bpvet.fit_joint])
def test_kidney_values_and_joint_trends_do_not_lie(
    examples: bpvet.Records, made: Callable[..., bpvet.Kidney | bpvet.Joint], width: float
) -> None:
    pictured = kidney_picture if made is bpvet.kidney else joint_picture
    picture = pictured(made(examples, "A17"))
    assert len(picture.panels) >= 2
    assert lies(picture, width) == []


def test_rows_stand_at_the_numbers_of_their_result(examples: bpvet.Records) -> None:
    plan = bpvet.plan(bpvet.Priors.default("cat", "doppler"))
    found, study = bpvet.over_time(examples), plan.study(20.0)
    varied = bpvet.variability([0, 20, 50, 90], [180, 140, 170, 165])
    shares = found.to_frame()
    three = 100 * shares[shares["horizon"] == "three_months"][["lower", "share", "upper"]]
    frame = varied.to_frame()
    spread = frame[(frame["unit"] == "mmHg") & frame["estimate"].notna()].drop("mean")
    power = 100 * study.power_curve([study.animals])[["lower", "power", "upper"]]
    half = plan.usual.half_width
    wanted = {
        found: three.dropna().to_numpy(),
        varied: spread[["lower", "estimate", "upper"]].to_numpy(),
        study: power.to_numpy(),
        plan: np.array([[-half, 0.0, half]]),
    }
    for result, rows in wanted.items():
        drawn = _drawn_rows(result.plot())
        for row in rows:
            close = np.isclose(drawn, row, equal_nan=True).all(axis=1)
            assert close.any(), (type(result).__name__, row)


def _drawn_rows(figure: Figure) -> np.ndarray:
    """Return low end, estimate and high end (n, 3) of the rows of a figure's first panel."""
    axes = figure.axes[1]
    (marks,) = (line for line in axes.lines if line.get_label() == "estimates")
    (whiskers,) = (line for line in axes.collections if line.get_label() == "intervals")
    ends = {segment[0][1]: segment[:, 0] for segment in whiskers.get_segments() if len(segment)}
    unknown = (np.nan, np.nan)
    return np.array(
        [
            (ends.get(y, unknown)[0], x, ends.get(y, unknown)[1])
            for x, y in zip(*marks.get_data(), strict=True)
        ]
    )


@pytest.mark.parametrize("name", [name for name in EXAMPLES if name != "long_text"])
def test_the_pictures_of_the_tests_do_not_lie(name: str) -> None:
    assert lies(EXAMPLES[name]()) == []


@settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
@given(picture=pictures(), width=st.sampled_from((85.0, 160.0)))
def test_no_mark_moves_and_no_letter_is_met_whatever_the_record(
    picture: TrendPicture, width: float
) -> None:
    marks = marks_of(svg_bytes(picture, width))
    assert list(misplaced(marks)) == []
    assert met_letters(trend.draw(picture, width)) == []
    assert {one.kind for one in marks} <= set(KINDS)


def _crowded() -> TrendPicture:
    """Return a record of two years with ten daily visits in it."""
    sparse = np.datetime64("2024-03-01") + np.arange(0, 700, 60)
    daily = np.datetime64("2025-05-03") + np.arange(10)
    dates = np.unique(np.concatenate([sparse, daily]))
    values = [[150.0 + (7 * i) % 20, 148, 152] for i in range(dates.size)]
    return TrendPicture(
        "Ten daily visits",
        np.datetime64("2026-03-01"),
        (panel(sessions(dates, values), readings(dates, values)),),
    )


def test_ten_daily_visits_stand_on_their_days_and_are_enlarged_below() -> None:
    picture = _crowded()
    assert lies(picture) == []
    marks = marks_of(svg_bytes(picture))
    near = [one for one in marks if one.panel == "near" and one.kind == "session"]
    assert [one.date for one in near] == [f"2025-05-{day:02}" for day in range(3, 13)]
    drawn = [one.left for one in near]
    assert np.diff(drawn) == pytest.approx(np.full(9, drawn[1] - drawn[0]), abs=1e-4)
    assert "Enlarged: 3 May 2025 to 12 May 2025" in words_of(svg_bytes(picture))


def test_nine_daily_visits_are_no_crowd() -> None:
    picture = _crowded()
    shown = picture.panels[0]
    keep = shown.sessions.date != np.datetime64("2025-05-07")
    names = ("date", "mean", "low", "high", "n", "bound", "label", "session")
    fewer = replace(shown.sessions, **{n: getattr(shown.sessions, n)[keep] for n in names})
    fewer_panel = replace(shown, sessions=fewer, readings=type(shown.readings).none())
    marks = marks_of(svg_bytes(replace(picture, panels=(fewer_panel,))))
    assert "near" not in {one.panel for one in marks}


def test_the_window_alone_lies_beyond_today() -> None:
    base = EXAMPLES["two_sessions"]()
    words = "next visit between 1 March 2026 and 8 March 2026"
    window = Window(np.datetime64("2026-03-01"), np.datetime64("2026-03-08"), words)
    marks = marks_of(svg_bytes(replace(base, window=window)))
    (today,) = (one for one in marks if one.kind == "today")
    (shown,) = (one for one in marks if one.kind == "window")
    assert (shown.date, shown.until) == ("2026-03-01", "2026-03-08")
    assert [one for one in marks if one.date and one.right > today.right + 0.5] == [shown]
    assert shown.title == words


def test_the_honesty_check_sees_each_lie() -> None:
    picture = EXAMPLES["many_signs"]()
    svg = svg_bytes(picture)
    marks = marks_of(svg)
    moved = [replace(one, left=one.left + 9, right=one.right + 9) for one in marks[:1]]
    assert list(misplaced([*moved, *marks[1:]]))
    later = replace(next(one for one in marks if one.kind == "sign"), date="2031-01-01")
    assert list(beyond_today(picture, [*marks, later]))
    assert list(floor_out_of_view(picture, [one for one in marks if one.kind != "floor"]))
    assert list(unnamed_colours(svg.replace(b"#4a4a4a", b"#ff00ff")))
    figure = trend.draw(picture)
    figure.axes[0].plot([0, 160], [3, 3])
    assert met_letters(figure)


def test_a_pointer_shows_date_mean_readings_and_method() -> None:
    dates = on("2025-05-05", "2025-06-05")
    values = [[150.0, 152, 157], [141, 143, 142]]
    shown = panel(sessions(dates, values), readings(dates, values))
    numbered = replace(
        shown,
        sessions=replace(shown.sessions, session=[1, 2]),
        readings=replace(shown.readings, session=[1, 1, 1, 2, 2, 2]),
    )
    picture = TrendPicture("x", np.datetime64("2025-06-06"), (numbered,))
    titles = [one.title for one in marks_of(svg_bytes(picture)) if one.kind == "session"]
    assert titles == [
        "5 May 2025: 153 mmHg, mean of 3 readings; readings 150, 152, 157; Doppler",
        "5 June 2025: 142 mmHg, mean of 3 readings; readings 141, 143, 142; Doppler",
    ]


def test_bounds_are_told_as_bounds() -> None:
    svg = svg_bytes(EXAMPLES["three_courses"]()).decode()
    told = re.findall(r'<g data-kind="bound"[^>]*data-bound="(\w+)"', svg)
    assert told.count("at_least") == 2  # the session, and its reading
    assert 'data-kind="session" data-date="2025-01-31"' in svg


@pytest.mark.parametrize("value", [40.0, 49.0, 58.0, 67.0, 76.0, 85.0])
def test_a_band_that_rises_steeply_runs_through_no_name(value: float) -> None:
    dates = on("2024-01-01", "2024-01-01", "2024-01-01", "2024-01-02")
    values = [[129.0], [188.0], [289.0], [value]]
    marks = sessions(dates, values, labels=dict.fromkeys(range(4), "first visit"))
    shown = panel(marks, readings(dates, values), levels=(), target=None, floor=None)
    shown = replace(shown, band=band(dates, np.array([49.0, 129.0, 188.0, 289.0]), 59.6))
    picture = TrendPicture("A steep band", np.datetime64("2023-12-27"), (shown,))
    assert met_letters(trend.draw(picture, 85.0)) == []


def test_a_sign_whose_words_a_pole_would_cross_is_told_in_the_caption() -> None:
    base = EXAMPLES["two_sessions"]()
    day, words = base.as_of - np.timedelta64(150, "D"), "a sign with words of some length"
    dates = (day + np.timedelta64(25 * n, "D") for n in range(7))
    signs = tuple(SignMark(date, f"{words} {n}") for n, date in enumerate(dates))
    picture = replace(base, signs=signs)
    figure = trend.draw(picture, 85.0)
    assert met_letters(figure) == []
    shown = words_of(svg_bytes(picture, 85.0)) + trend.caption(picture, 85.0)
    assert [one.label for one in signs if one.label not in shown.replace("\n", " ")] == []


def test_small_rows_and_tracks_bear_dates_and_values_of_their_own() -> None:
    picture = tracks_and_rows()
    for width in (160.0, 85.0):
        assert lies(picture, width) == []
        marks = marks_of(svg_bytes(picture, width))
        for row in picture.rows:
            own = [one for one in marks if one.panel == row.quantity and one.kind == "lab"]
            assert [one.date for one in own] == [str(date) for date in row.values.date]
            assert [one.value for one in own] == list(row.values.mean)
        doses = {(one.date, one.until) for one in marks if one.kind == "dose"}
        spans = [span for track in picture.tracks for span in track.spans]
        until = ["" if np.isnat(one.stopped_on) else str(one.stopped_on) for one in spans]
        assert doses == {
            (str(span.started_on), end) for span, end in zip(spans, until, strict=True)
        }


@settings(max_examples=8, deadline=None, suppress_health_check=list(HealthCheck))
@given(picture=lab_pictures(), width=st.sampled_from((85.0, 182.0)))
def test_rows_and_tracks_of_any_words_and_values_are_honest(
    picture: TrendPicture, width: float
) -> None:
    rows = tuple(
        SmallRow(one.heading, f"{n}", one.unit, one.sessions, one.heading, one.sessions.name)
        for n, one in enumerate(picture.panels[1:])
    )
    tracks = tuple(DrugTrack(one.drug, (one,), one.label) for one in picture.courses)
    shown = replace(picture, panels=picture.panels[:1], rows=rows, tracks=tracks)
    figure = trend.draw(shown, width)
    assert faults(figure) == []
    assert met_letters(figure) == []
    assert list(misplaced(marks_of(svg_bytes(shown, width)))) == []


def test_a_row_joins_nothing_through_a_bound() -> None:
    picture = tracks_and_rows()
    (row,) = (one for one in picture.rows if (one.values.bound != "").any())
    lines = [
        line
        for axes in trend.draw(picture).figure.axes
        for line in axes.get_children()
        if str(line.get_label()) == f"{row.name}, line"
    ]
    # Five values, the third a bound: the first and the last two are joined.
    assert len(lines) == 2


def test_eight_drugs_make_one_line_each() -> None:
    base = tracks_and_rows()
    first = base.tracks[0]
    eight = tuple(
        replace(first, drug=f"drug {n}", words=f"drug {n} 1 tablet once a day") for n in range(8)
    )
    figure = trend.draw(replace(base, tracks=eight))
    tops = sorted(
        text.get_position()[1]
        for axes in figure.axes
        for text in axes.texts
        if text.get_text().startswith("drug ")
    )
    assert len(tops) == 8
    apart = np.diff(tops)
    assert 3.4 <= apart.min() <= apart.max() < 8.5
