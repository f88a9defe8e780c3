"""Kidneys: rows of tables, and notes beside them."""

from __future__ import annotations

#: In braces stands what is told of.
WORDS = {
    "joint.a_month": "{name} a month",
    "joint.pressure": "usual pressure",
    "joint.pressure_a_month": "pressure a month",
    "joint.title": "Pressure and {name} of {animal} together",
    "joint.together": "They move together with probability {probability}.",
    "joint.usual": "usual {name}",
    "kidney.edition": "Edition: {edition}.",
    "kidney.higher": "higher of the markers",
    "kidney.not_recorded": "Not recorded: {what}.",
    "kidney.protein": "protein in urine",
    "kidney.stage_if": "stage, if kidney disease is diagnosed",
    "kidney.the_higher": "{stage}, the higher",
    "kidney.title": "Kidneys of {animal}{kind}; as of {as_of}",
}
