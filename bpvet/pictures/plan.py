"""Plans as pictures: how well more and fewer visits know an animal, and the power of a study."""

from __future__ import annotations

import numpy as np

from bpvet.figures.clinic.audit_picture import AuditPicture
from bpvet.maths.estimate import Estimate
from bpvet.models.plan.plan import Plan, plan
from bpvet.models.plan.schedule import Precision
from bpvet.models.plan.study import Study
from bpvet.pictures.audit import of_panels, rows_panel
from bpvet.wording.en.pictures import plan as words

_VISITS = (1, 2, 4, 6, 8, 12)
#: Most rows of a study's power beside its own; probability of the intervals of its simulation.
_ROWS, _LEVEL = 5, 0.95


def plan_picture(planned: Plan) -> AuditPicture:
    """Return the intervals of the usual value and of a drug's effect after so many visits."""
    texts, rows = words.plan_words(planned), _plans(planned)
    widest = max(
        each.half_width for plan_ in rows.values() for each in (plan_.usual, plan_.effect) if each
    )
    panels = []
    for heading, name in ((words.USUAL, "usual"), (words.EFFECT, "effect")):
        known = [(visits, getattr(each, name)) for visits, each in rows.items()]
        drawn = [(visits, precision) for visits, precision in known if precision is not None]
        # A drug of the plan's own that is begun at another visit has no row here.
        planned_too = name == "usual" or planned.before == planned.visits // 2
        visits_of_plan = planned.visits if planned_too else 0
        names = [words.visits_name(planned.unit, *row, visits_of_plan) for row in drawn]
        intervals = [_about_zero(precision) for _, precision in drawn]
        panels.append(rows_panel(texts, heading, names, intervals, span=(-widest, widest)))
    return of_panels(texts, panels, planned.level)


def _plans(planned: Plan) -> dict[int, Plan]:
    """Return plans of more and fewer visits, a drug begun after half of them, by their visits."""
    return {
        visits: plan(
            planned.priors,
            visits,
            planned.readings,
            planned.every_days,
            tau_days=planned.tau_days,
            level=planned.level,
            unit=planned.unit,
        )
        for visits in sorted({*_VISITS, planned.visits})
    }


def _about_zero(precision: Precision) -> Estimate:
    return Estimate(0.0, -precision.half_width, precision.half_width)


def study_picture(study: Study) -> AuditPicture:
    """Return the power of a study by its animals an arm: simulated, and by the usual formula."""
    texts, most = words.study_words(study), study.powers.size + 1
    every = np.linspace(2, most, min(_ROWS, most - 1)).round().astype(int)
    counts = sorted({*every.tolist(), study.animals})
    curve = study.power_curve(counts, _LEVEL) * 100
    names = [words.animals_name(study, animals) for animals in counts]
    simulated = [
        Estimate(float(power), float(lower), float(upper))
        for power, lower, upper in curve[["power", "lower", "upper"]].to_numpy()
    ]
    exact = [Estimate(float(power)) for power in curve["formula"]]
    line = 0.0 if study.wanted is None else 100 * study.wanted
    panels = [
        rows_panel(texts, heading, names, estimates, line, (0.0, 100.0))
        for heading, estimates in ((words.SIMULATED, simulated), (words.FORMULA, exact))
    ]
    return of_panels(texts, panels, _LEVEL)
