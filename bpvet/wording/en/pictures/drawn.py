"""What figures write by themselves: keys, axes, pointers (`bpvet.figures.words`)."""

from __future__ import annotations

from bpvet.figures.words import (
    AgreementWords,
    EstimatesWords,
    PanelsWords,
    ResidualsWords,
    TrendWords,
)

#: What takes the place of names in a figure of so many rows.
UNNAMED = "{count} rows: too many for their names"
_LEFT_OUT = "Not drawn in so little space: {panels}"

TREND = TrendWords(
    urgent="Urgent: read the text with this figure first",
    as_of="Records as of {day}",
    today="today",
    today_is="today: {day}",
    no_sound="no sound",
    no_sound_on="{day}: no sound was heard",
    enlarged="Enlarged: {first} to {last}",
    shortened="Shortened or not legible in the figure: {items}.",
    beyond="Before or after the dates shown: {items}.",
    not_drawn="{label} (not drawn)",
    began="{label}, from {first}",
    lasted="{label}, from {first} to {last}",
    began_outside="{label} (from {first})",
    lasted_outside="{label} (from {first} to {last})",
    as_recorded="{what}, as recorded",
    session_mean="{method} session mean",
    of_quantity=" of the {what}",
    spread=", ± 1 SD of its readings",
    ticks="; ticks: readings",
    left_out="first reading, left out of the mean",
    beyond_gauge="beyond the gauge",
    excluded="excluded by the clinic",
    in_order=", in this order",
    levels="Levels (dotted lines): {guideline}.",
    levels_of="Levels of {panels} (dotted lines): {guideline}.",
    last_of=" and ",
    hollow="Hollow {shape}{inside}: {name}.",
    shapes={"o": "circles", "s": "squares", "D": "diamonds", "": "marks"},
    insides={
        "home": " with a dot",
        "calmed": " with a dash",
        "sedated": " with a stroke",
        "anaesthetised": " with a cross",
    },
    excluded_far="excluded: {values}",
    reading="{day}: reading {value}",
    reading_left_out="{day}: reading {value}, left out of the mean",
    reading_excluded="{day}: reading {value}, excluded by the clinic",
    mean_of_one="mean of {count} reading",
    mean_of="mean of {count} readings",
    readings="; readings {values}",
    methods={"doppler": "Doppler", "oscillometric": "oscillometric"},
    bounds={"at least": "at least", "at most": "at most"},
    left_out_panels=f"{_LEFT_OUT}.",
)
AGREEMENT = AgreementWords(
    differences="Difference, {second} minus {first}, against the mean of both",
    identity="{second} against {first}",
    marks_are="{name} (marks are {points})",
    readings="Single readings by both methods, paired in order of taking",
    bias="{words} (grey: its interval)",
    limits="{lower}; {upper} (grey: their intervals)",
    equal="Both methods equal",
    mean_axis="Mean of both methods",
    difference_axis="Difference",
)
RESIDUALS = ResidualsWords(
    session="A session: mean minus fitted value, divided by its SD of visit and readings",
    none="No residual; and where normal residuals would lie",
    two_sds="2 SD either way",
    fitted="Residuals against fitted values",
    normal="Residuals against normal ones",
    residual_axis="Residual, SDs",
    fitted_axis="Fitted value, {unit}",
    normal_axis="Expected if normal, SDs",
)
PANELS = PanelsWords(
    axis="Months since the animal's first session",
    states={"urgent": "urgent", "left": "left"},
    session="Session by {method}",
    filled="; filled where a pressure-acting drug was on",
    dashed="; dashed: on one",
    interval="; grey: its {interval}",
    methods={"doppler": "Doppler", "oscillometric": "the oscillometric method"},
    target="target",
    floor="floor",
    to_month="to month {month}",
    and_more="{value} and {count} more",
)
ESTIMATES = EstimatesWords(
    no_interval="Too little is known for an interval", unnamed=UNNAMED, left_out=_LEFT_OUT
)
