"""The prior of a trend's coefficients: one normal distribution, or a mixture of a few.

The coefficients of a design are the natural ones: level, slope, the full effect of each course,
first-visit excitement, offsets. Within one form of the prior they are a linear map of independent
normal ones, ``natural = transform @ own``. Where a group's pressure under a drug does not depend
on the level before it, the effect is ``Y - level``, and the own coefficients are level and Y: the
design then has the columns ``1 - on`` and ``on`` in place of ``1`` and ``on``.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bpvet.facts.priors.groups import PriorGroup, PriorGroups
from bpvet.facts.priors.priors import Priors
from bpvet.frozen import dataclass, replace
from bpvet.maths.gaussian import Array
from bpvet.visits.series import Course


@dataclass(frozen=True, eq=False)
class PriorForm:
    """One normal prior of the p coefficients of a trend.

    Parameters
    ----------
    weight : float
        Its weight before any reading; the forms of a trend sum to 1.
    transform : (p, p)
        Natural coefficients from the form's own, independent ones.
    mean, sd : (p,)
        Of the own coefficients.
    """

    weight: float
    transform: Array
    mean: Array
    sd: Array

    @property
    def centre(self) -> Array:
        """(p,) prior means of the natural coefficients."""
        return np.asarray(self.transform @ self.mean)

    @property
    def covariance(self) -> Array:
        """(p, p) prior covariance of the natural coefficients."""
        return np.asarray((self.transform * self.sd**2) @ self.transform.T)


@dataclass(frozen=True)
class CourseRole:
    """What the prior of one course of a series rests on.

    Parameters
    ----------
    kind : str
        ``first``: begun with no other course on; ``added``: begun while another is on;
        ``restart``: a later spell of a drug; ``increment``: a change of dose or product;
        ``left``: what is changed when one of several drugs begun together stops.
    like : int
        For a restart, the position of the drug's first spell; else −1.
    """

    kind: str
    like: int = -1


def course_roles(courses: Sequence[Course]) -> tuple[CourseRole, ...]:
    """Return what the prior of each course rests on.

    Another course is on at a start where it began earlier and stops later; a stop on that day is
    not on. That a drug was given before goes before that.
    """
    roles = []
    bases = [i for i, course in enumerate(courses) if course.kind == "base"]
    for course in courses:
        earlier = [j for j in bases if courses[j].started_on < course.started_on]
        same = [j for j in earlier if courses[j].drug == course.drug]
        if course.kind != "base":
            roles.append(CourseRole(course.kind))
        elif same:
            roles.append(CourseRole("restart", same[0]))
        elif any(_on_at(courses[j], course.started_on) for j in earlier):
            roles.append(CourseRole("added"))
        else:
            roles.append(CourseRole("first"))
    return tuple(roles)


def _on_at(course: Course, date: np.datetime64) -> bool:
    return bool(np.isnat(course.stopped_on) or course.stopped_on > date)


def single_form(
    priors: Priors, courses: Sequence[Course], others: Sequence[tuple[float, float]]
) -> PriorForm:
    """Return the one normal prior of level, slope, courses and other terms.

    Parameters
    ----------
    priors : Priors
    courses : sequence of Course
    others : sequence of (float, float)
        Centre and SD of each term after the courses.
    """
    pairs = [priors.level, (0.0, priors.slope_sd)]
    pairs += [
        (0.0, priors.effect_sd if course.kind in ("base", "left") else priors.increment_sd)
        for course in courses
    ]
    mean, sd = np.array([*pairs, *others], dtype=float).T
    return PriorForm(1.0, np.eye(len(mean)), mean, sd)


def bounded_forms(
    groups: PriorGroups,
    priors: Priors,
    courses: Sequence[Course],
    others: Sequence[tuple[float, float]],
) -> tuple[PriorForm, ...]:
    """Return the forms of an untreated animal with a reading beyond the gauge.

    The levels of the groups, those of one level together: one normal about 140 mmHg cannot tell how
    far beyond 300 such an animal lies. Arguments as in `single_form`.
    """
    weights: dict[tuple[float, float], float] = {}
    for group in groups.parts:
        weights[group.level] = weights.get(group.level, 0.0) + group.weight
    forms = []
    for level, weight in weights.items():
        form = single_form(replace(priors, groups=None, level=level), courses, others)
        forms.append(replace(form, weight=weight))
    return tuple(forms)


def group_forms(
    groups: PriorGroups,
    priors: Priors,
    courses: Sequence[Course],
    others: Sequence[tuple[float, float]],
) -> tuple[PriorForm, ...]:
    """Return the form of each group of treated animals; arguments as in `single_form`."""
    roles = course_roles(courses)
    return tuple(_group_form(group, groups, priors, roles, others) for group in groups.parts)


def _group_form(
    group: PriorGroup,
    groups: PriorGroups,
    priors: Priors,
    roles: Sequence[CourseRole],
    others: Sequence[tuple[float, float]],
) -> PriorForm:
    count = 2 + len(roles) + len(others)
    transform = np.eye(count)
    pairs = [group.level, (0.0, priors.slope_sd)]
    for i, role in enumerate(roles, start=2):
        if role.kind == "restart":
            # The drug's first effect and what this time differs from it.
            transform[i] += transform[2 + role.like]
            pairs.append((0.0, groups.restart_sd))
        elif role.kind == "increment":
            pairs.append((0.0, priors.increment_sd))
        elif role.kind in ("added", "left"):
            pairs.append((0.0, groups.added_sd))
        elif group.under_drug is not None:
            transform[i, 0] = -1.0
            pairs.append(group.under_drug)
        else:
            pairs.append((0.0, float(group.effect_sd or 0.0)))
    mean, sd = np.array([*pairs, *others], dtype=float).T
    return PriorForm(group.weight, transform, mean, sd)
