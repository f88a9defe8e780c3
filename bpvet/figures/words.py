"""What figures write by themselves, whatever they show: keys, axes, pointers, in one language.

A figure knows no language. Its picture brings these words with it
(`bpvet.wording.en.pictures.drawn`); braces stand for what the figure puts in.
"""

from __future__ import annotations

from collections.abc import Mapping

from bpvet.frozen import dataclass


@dataclass(frozen=True)
class TrendWords:
    """The words of the figure of one animal through time.

    Parameters
    ----------
    urgent : str
        Sends the reader to what is urgent.
    as_of, today, today_is : str
        The figure's ``{day}``; the flag of that day, and what a pointer shows of it.
    no_sound, no_sound_on : str
        The flag of a session without a sound, and what a pointer shows, with its ``{day}``.
    enlarged : str
        Heading of the enlarged weeks, ``{first}`` to ``{last}``.
    shortened, beyond : str
        What the caption adds: what was cut, and what lies outside, ``{items}``.
    not_drawn : str
        A ``{label}`` that found no place.
    began, lasted : str
        A treatment's ``{label}`` with its ``{first}`` day, and with ``{last}`` where it ended.
    began_outside, lasted_outside : str
        The same of one beyond the dates shown.
    as_recorded : str
        The key of a laboratory value, ``{what}``.
    session_mean, of_quantity, spread, ticks : str
        The key of sessions by ``{method}``: of another quantity than systolic pressure ``{what}``,
        with their spread, with ticks.
    left_out, beyond_gauge, excluded, in_order : str
        The key of readings that are no ticks; and, of several, that they stand in order.
    levels, levels_of, last_of : str
        Whose the levels are, ``{guideline}``; of which ``{panels}``; before the last of a list.
    hollow : str
        The key of sessions by ``{name}``, drawn as hollow ``{shape}`` with something ``{inside}``.
    shapes, insides : mapping of str to str
        Shapes by matplotlib's letter, blank for any other; what stands inside by condition.
    excluded_far : str
        Excluded readings beyond the scale, ``{values}``.
    reading, reading_left_out, reading_excluded : str
        What a pointer shows of a reading, its ``{day}`` and ``{value}``.
    mean_of_one, mean_of, readings : str
        How many readings a mean is of, ``{count}``; and which, ``{values}``.
    methods, bounds : mapping of str to str
        Methods, and ``at least`` and ``at most``, by their codes.
    left_out_panels : str
        What is written where ``{panels}`` found no space.
    """

    urgent: str
    as_of: str
    today: str
    today_is: str
    no_sound: str
    no_sound_on: str
    enlarged: str
    shortened: str
    beyond: str
    not_drawn: str
    began: str
    lasted: str
    began_outside: str
    lasted_outside: str
    as_recorded: str
    session_mean: str
    of_quantity: str
    spread: str
    ticks: str
    left_out: str
    beyond_gauge: str
    excluded: str
    in_order: str
    levels: str
    levels_of: str
    last_of: str
    hollow: str
    shapes: Mapping[str, str]
    insides: Mapping[str, str]
    excluded_far: str
    reading: str
    reading_left_out: str
    reading_excluded: str
    mean_of_one: str
    mean_of: str
    readings: str
    methods: Mapping[str, str]
    bounds: Mapping[str, str]
    left_out_panels: str


@dataclass(frozen=True)
class AgreementWords:
    """The words of the figure of two methods.

    Parameters
    ----------
    differences, identity : str
        Headings: of the difference of ``{first}`` and ``{second}``, and of one against the other.
    marks_are : str
        An animal's ``{name}``, and that its marks are ``{points}``.
    readings : str
        The key of single readings.
    bias, limits : str
        The key of the levels, ``{words}``, ``{lower}`` and ``{upper}``, with their intervals.
    equal : str
        The key of the line of equality.
    mean_axis, difference_axis : str
        Names of the axes.
    """

    differences: str
    identity: str
    marks_are: str
    readings: str
    bias: str
    limits: str
    equal: str
    mean_axis: str
    difference_axis: str


@dataclass(frozen=True)
class EstimatesWords:
    """The words of a figure of estimates one below the other.

    Parameters
    ----------
    no_interval : str
        The key of an estimate without an interval.
    unnamed : str
        What is written where rows, ``{count}`` of them, stand without their names.
    left_out : str
        What is written where ``{panels}`` found no space.
    """

    no_interval: str
    unnamed: str
    left_out: str


@dataclass(frozen=True)
class ResidualsWords:
    """The words of the figure of residuals.

    Parameters
    ----------
    session, none, two_sds : str
        The key: a session; no residual; two SDs either way.
    fitted, normal : str
        Headings of the panels.
    residual_axis, fitted_axis, normal_axis : str
        Names of the axes; of the fitted value with its ``{unit}``.
    """

    session: str
    none: str
    two_sds: str
    fitted: str
    normal: str
    residual_axis: str
    fitted_axis: str
    normal_axis: str


@dataclass(frozen=True)
class PanelsWords:
    """The words of a clinic's small panels.

    Parameters
    ----------
    axis : str
        Of all panels: months.
    states : mapping of str to str
        How an animal stands, by `AnimalPanel.state`.
    session, filled : str
        The key of sessions by ``{method}``; and what a filled mark is.
    dashed, interval : str
        The key of the population: which line is dashed, and what is grey, ``{interval}``.
    methods : mapping of str to str
        Methods by their codes.
    target, floor : str
        Names of the lines across.
    to_month, and_more : str
        What lies beyond the axes: up to which ``{month}``; a ``{value}`` and ``{count}`` more.
    """

    axis: str
    states: Mapping[str, str]
    session: str
    filled: str
    dashed: str
    interval: str
    methods: Mapping[str, str]
    target: str
    floor: str
    to_month: str
    and_more: str
