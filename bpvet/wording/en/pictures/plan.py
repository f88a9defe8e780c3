"""What the pictures of plans say: how well visits know an animal, and the power of a study."""

from __future__ import annotations

from bpvet.models.plan.plan import Plan
from bpvet.models.plan.schedule import Precision
from bpvet.models.plan.study import Study
from bpvet.printing import number
from bpvet.wording.en.phrases import counted, percent
from bpvet.wording.en.pictures.audit import AuditWords


def plan_words(plan: Plan) -> AuditWords:
    """Return the words of the picture of a plan for a new animal."""
    readings = counted(plan.readings, "reading")
    return AuditWords(
        title=f"A new animal: how well visits of {readings} would know it",
        axis=f"{plan.unit} from the estimate",
        line_is="The estimate",
        marks_are="Where the truth will lie, with {share} probability",
        words=(
            "How far from the estimate the truth may lie after more and fewer visits of "
            f"{readings}, every {counted(plan.every_days, 'day')}"
        ),
        note=f"before any reading is taken. Priors: {plan.priors.source}.",
        ends=True,
    )


#: Headings of the panels.
USUAL = "The usual value on the day of the last visit"
EFFECT = "The full effect of a drug begun after half of the visits"


def visits_name(unit: str, visits: int, precision: Precision, planned: int) -> str:
    """Return a number of visits with the half-width of the interval; that `planned` is named."""
    named = ", this plan" if visits == planned else ""
    return f"{counted(visits, 'visit')}{named}: ± {number(precision.half_width, 1)} {unit}"


def study_words(study: Study) -> AuditWords:
    """Return the words of the picture of a study's power."""
    difference = f"{number(study.effect, 1)} {study.plan.unit}"
    asked = "" if study.wanted is None else f"The power asked for, {percent(study.wanted)}"
    return AuditWords(
        title=f"Power to distinguish arms that differ by {difference}",
        axis="% of studies that find the difference",
        line_is=asked,
        marks_are="Share of simulated studies, with its {share} interval of simulation",
        words="How often a study of two arms finds the difference, by its animals per arm",
        note=(
            f"{study.replicates} simulated studies of {counted(study.plan.visits, 'visit')} an "
            f"animal; SD between animals of the full effect {number(study.response_sd, 1)} "
            f"{study.plan.unit}. Animals per arm: {_range(study)}. The formula is exact for its "
            "assumptions, and has no interval."
        ),
        ends=True,
        no_interval="By the formula, without an interval",
    )


#: Headings of the panels.
SIMULATED = "Estimated effects, simulated"
FORMULA = "Plain changes, by the usual formula"


def animals_name(study: Study, animals: int) -> str:
    """Return a number of animals; that of the study is named."""
    return f"{animals} per arm, this study" if animals == study.animals else f"{animals} per arm"


def _range(study: Study) -> str:
    least, most = study.animals_range
    return str(study.animals) if least == most else f"{study.animals} ({least} to {most})"
