"""The trend's figure: its numbers as artists, its words without a clash."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from matplotlib.artist import Artist
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon
from matplotlib.text import Text

from bpvet.errors import CallError
from bpvet.figures import trend
from bpvet.figures.axes import days
from bpvet.figures.pictures import CourseSpan, Level, Panel, SessionMarks, SignMark, TrendPicture
from bpvet.figures.style import METHOD_STYLES
from bpvet.wording.en.pictures.drawn import TREND
from tests.figures.example_pictures import EXAMPLES, on, sessions
from tests.figures.picture_strategies import lab_pictures, pictures
from tests.figures.text_boxes import faults

WIDTHS = (160.0, 85.0)


def labelled(figure: Figure, label: str) -> list[Artist]:
    return figure.findobj(lambda artist: artist.get_label() == label)


def points(figure: Figure, label: str) -> set[tuple[float, float]]:
    """Return day and value of all marks of one label."""
    return {
        (float(x), float(y))
        for line in labelled(figure, label)
        if isinstance(line, Line2D)
        for x, y in zip(line.get_xdata(), line.get_ydata(), strict=True)
    }


def all_words(figure: Figure) -> str:
    return " ".join(text.get_text() for text in figure.findobj(Text)).replace("\n", " ")


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", EXAMPLES)
def test_no_words_meet_or_leave_the_figure(name: str, width: float) -> None:
    assert faults(trend.draw(EXAMPLES[name](), width)) == []


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(picture=pictures(), width=st.sampled_from((80.0, 85.0, 160.0, 210.0)))
def test_no_words_meet_whatever_the_record(picture: TrendPicture, width: float) -> None:
    figure = trend.draw(picture, width)
    assert faults(figure) == []
    assert figure.get_size_inches()[0] * 25.4 == pytest.approx(width)


@settings(max_examples=20, deadline=None, suppress_health_check=list(HealthCheck))
@given(picture=lab_pictures(), width=st.sampled_from((80.0, 85.0, 160.0, 210.0)))
def test_no_words_meet_under_any_laboratory_values(picture: TrendPicture, width: float) -> None:
    assert faults(trend.draw(picture, width)) == []


@pytest.mark.parametrize("value", [1e-40, 1e-9, 999_999_999_999_999.0])
@pytest.mark.parametrize("width", [80.0, 160.0])
def test_a_laboratory_value_of_many_digits_leaves_room_for_the_panel(
    value: float, width: float
) -> None:
    base = EXAMPLES["with_laboratory"]()
    marks = replace(base.panels[1].sessions, mean=value * np.array([0.0, 1, 2, 1, 3]))
    panel = replace(base.panels[1], sessions=marks, levels=())
    assert faults(trend.draw(replace(base, panels=(base.panels[0], panel)), width)) == []


def test_laboratory_panels_share_the_dates_and_the_courses_of_the_pressure() -> None:
    picture = EXAMPLES["with_laboratory"]()
    figure = trend.draw(picture)
    upper, lower = figure.axes[1:3]
    assert upper.get_xlim() == lower.get_xlim()
    started = days(picture.courses[0].started_on)[0]
    for axes in (upper, lower):
        upright = {
            float(line.get_xdata()[0])
            for line in axes.lines
            if len(line.get_xdata()) == 2 and line.get_xdata()[0] == line.get_xdata()[1]
        }
        assert started in upright


def test_a_panel_made_higher_by_its_names_keeps_its_ticks_within_the_figure() -> None:
    base = EXAMPLES["with_laboratory"]()
    marks = replace(base.panels[1].sessions, mean=100 + np.linspace(0, 2, 5))
    levels = tuple(Level(f"stage {n} " * 9, 99 + n / 2, 99.5 + n / 2) for n in range(8))
    panel = replace(base.panels[1], sessions=marks, levels=levels, unit="mg/dL")
    picture = replace(base, panels=(base.panels[0], *[panel] * 4))
    assert faults(trend.draw(picture, 80.0)) == []


def test_the_overlap_check_sees_an_overlap() -> None:
    figure = trend.draw(EXAMPLES["one_session"]())
    figure.text(0.5, 0.5, "one")
    figure.text(0.5, 0.5, "other")
    figure.text(0.99, 0.5, "outside")
    found = faults(figure)
    assert any("'one' meets 'other'" in fault for fault in found)
    assert any("'outside' leaves" in fault for fault in found)


@pytest.mark.parametrize("name", EXAMPLES)
def test_every_session_is_drawn_at_its_date_and_mean(name: str) -> None:
    picture = EXAMPLES[name]()
    figure = trend.draw(picture)
    shown = [panel.sessions for panel in picture.panels]
    expected = {pair for one in shown for pair in zip(days(one.date), one.mean, strict=True)}
    assert points(figure, "session means") == expected


def test_spread_is_drawn_from_low_to_high() -> None:
    picture = EXAMPLES["two_sessions"]()
    spread = labelled(trend.draw(picture), "session means, spread")
    drawn = [tuple(line.get_ydata()) for line in spread if isinstance(line, Line2D)]
    marks = picture.panels[0].sessions
    assert drawn == list(zip(marks.low, marks.high, strict=True))


def test_readings_are_drawn_by_their_fate() -> None:
    picture = EXAMPLES["three_courses"]()
    figure, marks = trend.draw(picture), picture.panels[0].readings
    at = days(marks.date)
    for fate in ("used", "left out"):
        chosen = (marks.fate == fate) & (marks.bound == "")
        expected = set(zip(at[chosen], marks.value[chosen], strict=True))
        assert points(figure, f"readings {fate}") == expected
    bound = marks.bound == "at least"
    assert points(figure, "readings at least") == set(
        zip(at[bound], marks.value[bound], strict=True)
    )


def test_a_far_excluded_reading_stays_at_the_edge_and_says_its_value() -> None:
    figure = trend.draw(EXAMPLES["three_courses"]())
    top = figure.axes[1].get_ylim()[1]
    ((_, value),) = points(figure, "readings excluded, beyond the scale")
    assert value < top < 300
    assert "excluded: 300" in all_words(figure)


def test_a_used_reading_far_off_is_within_the_scale() -> None:
    figure = trend.draw(EXAMPLES["many_signs"]())
    assert figure.axes[1].get_ylim()[1] > 331


def test_silent_readings_are_named() -> None:
    assert "no sound" in all_words(trend.draw(EXAMPLES["all_excluded_but_one"]()))


@pytest.mark.parametrize(("method", "marker"), [("doppler", "o"), ("oscillometric", "s")])
def test_method_is_told_by_its_marker(method: str, marker: str) -> None:
    base = EXAMPLES["two_sessions"]()
    panel = replace(base.panels[0], sessions=replace(base.panels[0].sessions, method=method))
    for means in labelled(trend.draw(replace(base, panels=(panel,))), "session means"):
        assert isinstance(means, Line2D)
        assert means.get_marker() == marker
        assert means.get_markerfacecolor() == METHOD_STYLES[method].colour


def test_other_sessions_are_hollow_and_named() -> None:
    picture = EXAMPLES["both_methods"]()
    figure = trend.draw(picture)
    for other in picture.panels[0].others:
        marks = [line for line in labelled(figure, other.name) if isinstance(line, Line2D)]
        assert {line.get_markerfacecolor() for line in marks} == {"none"}
        assert [float(line.get_ydata()[0]) for line in marks] == list(other.mean)
        assert other.name in all_words(figure)


def test_bands_hold_the_picture_s_numbers() -> None:
    picture = EXAMPLES["forty_sessions"]()
    band = picture.panels[0].band
    assert band is not None
    figure = trend.draw(picture)
    for label, low, high in (
        ("inner band", band.low_inner, band.high_inner),
        ("outer band", band.low_outer, band.high_outer),
    ):
        (area,) = labelled(figure, label)
        rim = area.get_paths()[0].vertices[:, 1]
        assert rim.min() == pytest.approx(low.min())
        assert rim.max() == pytest.approx(high.max())
    (centre,) = labelled(figure, "centre")
    assert np.array_equal(centre.get_ydata(), band.centre)


def test_every_line_survives_a_fax() -> None:
    for name in EXAMPLES:
        figure = trend.draw(EXAMPLES[name]())
        for line in figure.findobj(Line2D):
            if line.get_visible() and line.get_linestyle() != "None":
                assert line.get_linewidth() >= 1.0
        assert all(text.get_fontsize() >= 8.0 for text in figure.findobj(Text) if text.get_text())


def test_courses_run_from_start_to_stop_and_bear_their_dose() -> None:
    picture = EXAMPLES["three_courses"]()
    figure = trend.draw(picture)
    course = picture.courses[0]
    (bar,) = labelled(figure, course.label)
    assert isinstance(bar, Polygon)
    across = bar.get_xy()[:, 0]
    assert across.min() == pytest.approx(days(course.started_on)[0])
    assert across.max() == pytest.approx(days(course.stopped_on)[0])
    assert all(one.label in all_words(figure) for one in picture.courses)


def test_an_ongoing_course_reaches_today_and_no_further() -> None:
    picture = EXAMPLES["two_sessions"]()
    figure = trend.draw(picture)
    (bar,) = labelled(figure, picture.courses[0].label)
    assert bar.get_xy()[:, 0].max() == pytest.approx(days(picture.as_of)[0])


def test_consecutive_doses_of_a_drug_share_a_lane() -> None:
    picture = EXAMPLES["forty_sessions"]()
    figure = trend.draw(picture)
    heights = [labelled(figure, one.label)[0].get_xy()[:, 1].max() for one in picture.courses[:2]]
    assert heights[0] == heights[1]


def test_words_that_say_what_the_figure_is() -> None:
    words = all_words(trend.draw(EXAMPLES["three_courses"]()))
    for part in ("Doppler", "mmHg", "ACVIM consensus 2018", "hypertensive", "95 %", "first visit"):
        assert part in words
    assert "target 150, set for this animal" in words
    assert "as of 20 November 2025" in words
    assert "retinal detachment resolved" in words


def test_levels_of_several_quantities_are_told_apart() -> None:
    words = all_words(trend.draw(EXAMPLES["with_laboratory"]()))
    assert "Levels of systolic pressure (dotted lines): ACVIM consensus 2018" in words
    assert "Levels of creatinine (dotted lines): IRIS 2019" in words


def test_a_bridge_is_said() -> None:
    base = EXAMPLES["two_sessions"]()
    panel = replace(base.panels[0], note="The join between the methods is estimated.")
    assert panel.note in all_words(trend.draw(replace(base, panels=(panel,))))


def test_two_methods_of_one_date_stand_on_it_and_differ_by_shape() -> None:
    dates = on("2025-05-05", "2025-06-05")
    osc = sessions(dates, [[150.0, 152], [148, 151]], method="oscillometric")
    shown = sessions(dates, [[151.0, 153], [149, 152]])
    panel = Panel("Systolic", "systolic", "mmHg", shown, words=TREND)
    picture = TrendPicture("x", np.datetime64("2025-06-06"), (replace(panel, others=(osc,)),))
    figure = trend.draw(picture)
    shown, hollow = (labelled(figure, name) for name in ("session means", "oscillometric"))
    for one, other in zip(shown, hollow, strict=True):
        assert isinstance(one, Line2D)
        assert isinstance(other, Line2D)
        assert list(one.get_xdata()) == list(other.get_xdata())
        assert one.get_transform() == one.axes.transData
        assert {one.get_marker(), other.get_marker()} == {"o", "s"}


def test_text_is_never_read_as_mathematics() -> None:
    figure = trend.draw(EXAMPLES["long_text"]())
    assert "$x^2$" in all_words(figure)
    assert not any(text.get_parse_math() for text in figure.findobj(Text) if text.get_text())


def test_caption_writes_out_what_was_shortened() -> None:
    picture = EXAMPLES["long_text"]()
    words = trend.caption(picture)
    assert words.startswith("Long text.")
    assert "a" * 300 in words
    assert "高血圧" in words


def test_caption_of_a_figure_that_holds_everything_is_left_alone() -> None:
    assert trend.caption(EXAMPLES["two_sessions"]()) == "Two sessions."


def test_what_lies_beyond_the_dates_is_said_not_drawn() -> None:
    base = EXAMPLES["two_sessions"]()
    old = CourseSpan(
        "benazepril", "5 mg", np.datetime64("2019-01-01"), np.datetime64("2019-02-01"), True
    )
    sign = SignMark(np.datetime64("2020-03-04"), "seizure")
    picture = replace(base, courses=(*base.courses, old), signs=(sign,))
    words = trend.caption(picture)
    assert "benazepril 5 mg (from 1 January 2019 to 1 February 2019)" in words
    assert "seizure (4 March 2020)" in words
    figure = trend.draw(picture)
    assert not labelled(figure, old.label)
    assert "seizure" not in all_words(figure)


def test_a_crowd_of_courses_is_cut_and_written_out() -> None:
    base = EXAMPLES["two_sessions"]()
    started = np.datetime64("2026-01-10")
    crowd = tuple(
        CourseSpan(f"drug {i}", "", started, np.datetime64("NaT"), False) for i in range(30)
    )
    picture = replace(base, courses=crowd)
    drawn = [one.label for one in crowd if labelled(trend.draw(picture), one.label)]
    said = re.findall(r"drug \d+(?= \(not drawn\))", trend.caption(picture))
    assert sorted(drawn + said) == sorted(one.label for one in crowd)


def test_an_empty_panel_is_still_a_figure() -> None:
    nothing = SessionMarks("none", "doppler", "clinic", [], [], [], [], [], [], [])
    picture = TrendPicture(
        "Nobody",
        np.datetime64("2026-01-01"),
        (Panel("Systolic", "systolic", "mmHg", nothing, words=TREND),),
    )
    assert faults(trend.draw(picture)) == []


@pytest.mark.parametrize("width", [0.0, 79.0, float("nan"), 5000.0])
def test_an_illegible_width_is_refused(width: float) -> None:
    with pytest.raises(CallError, match="mm wide"):
        trend.draw(EXAMPLES["one_session"](), width)


def test_the_figure_belongs_to_no_window() -> None:
    assert trend.draw(EXAMPLES["one_session"]()).canvas.manager is None


def test_the_key_names_what_is_drawn_where_it_is_no_systolic_pressure() -> None:
    base = EXAMPLES["two_sessions"]()
    shown = base.panels[0]
    rate = replace(base, panels=(replace(shown, quantity="heart_rate", unit="/min"),))
    assert "Doppler session mean of the heart rate" in all_words(trend.draw(rate))
    assert "session mean of the" not in all_words(trend.draw(base))
    labs = EXAMPLES["with_laboratory"]().panels[1]
    alone = replace(base, panels=(labs,))
    assert "creatinine, as recorded" in all_words(trend.draw(alone))
