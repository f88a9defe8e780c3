"""Plans of visits and studies: rows of tables, and notes beside them."""

from __future__ import annotations

#: In braces stands what is told of.
WORDS = {
    "plan.difference": "difference of the arms",
    "plan.effect": "full effect of a drug started after visit {visit}",
    "plan.ordinary": "the same, ordinary scatter",
    "plan.per_arm": "animals per arm",
    "plan.priors": "Priors: {source}.",
    "plan.sd": "SD of one animal",
    "plan.simulated": (
        "Simulated: {studies} studies, standard error of the power {error}, animals per arm "
        "{least} to {most}."
    ),
    "plan.slope": "slope per 30 days",
    "plan.study_title": "To distinguish arms that differ by {difference} {unit}",
    "plan.title": "A new animal: {visits} visits of {readings} readings, every {days} days",
    "plan.usual": "usual value at the last visit",
}
