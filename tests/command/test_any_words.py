"""Whatever is typed in the room: an answer or a reason, and a line that can be read back."""

import contextlib
import io
import re

from hypothesis import given, settings
from hypothesis import strategies as st

from bpvet.answers.room.chart_line import quoted
from bpvet.answers.room.result import RoomReading, RoomVisit
from bpvet.answers.room.room import room_answer
from bpvet.command.main import main

PRESSURES = st.integers(60, 320).map(float) | st.integers(600, 3200).map(lambda n: n / 10)
REASONS = st.text(
    st.characters(exclude_categories=("Cc", "Cs", "Zl", "Zp")), min_size=1, max_size=30
)


@st.composite
def readings(draw: st.DrawFn) -> RoomReading:
    """A Doppler reading of any kind."""
    excluded = draw(st.just("") | REASONS)
    if draw(st.integers(0, 9)) == 0:
        return RoomReading(None, excluded=excluded)
    return RoomReading(
        draw(PRESSURES), draw(st.sampled_from(["", "at least", "at most"])), excluded=excluded
    )


READING = re.compile(
    r'(?P<value>no sound|[<>]? ?[0-9.]+)(?: (?P<out>left out)| excluded "(?P<why>(?:[^"]|"")*)")?'
)
WHOSE = re.compile(r'(?:(?P<when>[0-9T:-]+) )?(?:animal "(?P<id>(?:[^"]|"")*)" )?(?=Systolic)')


def read_back(line):
    """The plain slow twin: a reader of the line for the chart, by its documented format."""
    whose = WHOSE.match(line)
    taken = line[line.index("; ", line.index(" (Doppler", whose.end())) + 2 :].removesuffix(")")
    found, at = [], 0
    while at < len(taken):
        one = READING.match(taken, at)
        at = one.end()
        assert taken[at : at + 2] in (", ", "")
        at += 2
        found.append(one)
    return whose, found


@given(st.lists(readings(), min_size=1, max_size=12), REASONS | st.just(""))
@settings(max_examples=300, deadline=None)
def test_the_line_for_the_chart_gives_every_reading_back(taken, animal):
    answer = room_answer(taken, "doppler", RoomVisit(animal=animal, taken_at="2026-03-01T10:15"))
    assert "\n" not in answer.chart_line
    whose, found = read_back(answer.chart_line)
    assert whose["when"] == "2026-03-01T10:15"
    assert (whose["id"] or "").replace('""', '"') == animal
    assert len(found) == len(taken)
    signs = {"": "", "at least": "> ", "at most": "< "}
    for one, given_reading in zip(found, taken, strict=True):
        if given_reading.systolic is None:
            assert one["value"] == "no sound"
        else:
            assert one["value"] == f"{signs[given_reading.bound]}{given_reading.systolic:g}"
        assert (one["why"] or "").replace('""', '"') == given_reading.excluded


@given(st.lists(readings(), min_size=1, max_size=12), st.sampled_from(["guideline", "all"]))
@settings(max_examples=200, deadline=None)
def test_every_reading_has_one_fate_and_the_rest_adds_up(taken, rule):
    answer = room_answer(taken, "doppler", rule=rule)
    fates = [one.fate for one in answer.readings]
    assert answer.n_used == fates.count("used")
    assert answer.n_taken == len(taken)
    assert fates.count("left out") <= (rule == "guideline" and len(taken) >= 4)
    assert (answer.systolic.mean is None) == (answer.n_used == 0)
    assert answer.words.go_on
    assert answer.go_on.more_for_enough >= answer.go_on.more_for_minimum


WORDS = st.one_of(
    st.text(max_size=8),
    st.from_regex(r"[<>]?[0-9]{1,4}(/[0-9]{0,3}){0,4}x?", fullmatch=True),
    st.sampled_from(["no-sound", "over300", "--json", "--exclude", "2=moved", "--rule", "all"]),
)


@given(st.lists(WORDS, max_size=8), st.sampled_from(["doppler", "oscillometric"]))
@settings(max_examples=300, deadline=None)
def test_any_words_are_answered_or_refused(words, method):
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = main(["average", *words, "--method", method])
    assert status in (0, 2)
    assert (status == 2) == (out.getvalue() == "")
    assert (status == 2) <= (err.getvalue() != "")


def test_the_reader_reads_a_line_with_everything():
    line = (
        '2026-03-01 animal "the ""big"" cat" Systolic at least 238 mmHg (Doppler, home, mean of 2 '
        "of 4 readings, SD 88; 190 left out, 176, > 300, no sound excluded "
    )
    line += quoted('a, "b"; c)') + ")"
    whose, found = read_back(line)
    assert whose["id"] == 'the ""big"" cat'
    assert [one["value"] for one in found] == ["190", "176", "> 300", "no sound"]
    assert found[3]["why"] == 'a, ""b""; c)'
