"""What the picture of a clinic's animals over time on treatment says."""

from __future__ import annotations

from collections.abc import Sequence

from bpvet.facts.categories import guideline
from bpvet.models.clinic.over_time import Incidence, OverTime, ShareAt
from bpvet.printing import number
from bpvet.wording.en.phrases import capital, counted
from bpvet.wording.en.pictures.audit import AuditWords

_HIDDEN = "few"
#: What an animal may come to while it is waited for.
_EVENTS = {"at target": "at target", "died": "died", "left": "left the clinic"}


def over_time_words(found: OverTime) -> AuditWords:
    """Return the words of the picture; its axis is that of the shares at target."""
    waited = ""
    if found.waited is not None and found.median_days is not None:
        waited = (
            f" Of {counted(found.waited, 'animal')} above target before, half would be at target "
            f"by day {number(found.median_days, 0)} if none died or left."
        )
    return AuditWords(
        title=f"{capital(counted(found.started, 'animal'))} begun on a pressure drug",
        axis="% at target, of those measured then",
        line_is="",
        marks_are="Share, with its {share} interval",
        words="Animals at target some months after a pressure drug was begun",
        note=(
            f"target: the animal's own, else of the {guideline(found.guideline).name}. Those not "
            "measured, dead or gone are in no share, and their number stands in the name. Drugs "
            "are not compared: who was given which says more than the drug. Target is seen at a "
            f"session, and was reached some time before.{waited}"
        ),
        ends=True,
        no_interval="Share without an interval",
    )


#: Of the events that end the wait for target.
INCIDENCE_AXIS = "% of the animals above target before the drug"
INCIDENCE_HEADING = "What came first, by then"


def horizon_heading(horizon: str) -> str:
    """Return when the shares are of."""
    return f"{capital(horizon.replace('_', ' '))} after the start"


def share_name(share: ShareAt) -> str:
    """Return of whom a share is, and of how many."""
    who = share.drug_class or "all"
    begun, counts = _shown([share.started]), share.counts
    measured = [counts["at target"], counts["above"]]
    if any(count is None for count in measured):
        return f"{who} ({begun} begun)"
    return f"{who} ({begun} begun, {_shown(measured)} measured)"


def incidence_name(event: Incidence) -> str:
    """Return an event by its day, and how many were still waited for."""
    return f"{_EVENTS[event.event]} by day {event.day} ({_shown([event.at_risk])} still waited for)"


def _shown(counts: Sequence[int | None]) -> str:
    known = [count for count in counts if count is not None]
    return str(sum(known)) if len(known) == len(counts) else _HIDDEN
