"""A clinic's animals over time on treatment as a picture: shares with their intervals."""

from __future__ import annotations

from bpvet.errors import CallError
from bpvet.figures.clinic.audit_picture import AuditPicture
from bpvet.frozen import replace
from bpvet.maths.estimate import Estimate
from bpvet.models.clinic.over_time import HORIZONS, Incidence, OverTime, ShareAt
from bpvet.pictures.audit import of_panels, rows_panel
from bpvet.wording.en.pictures import over_time as words

#: Of every interval of a share.
_LEVEL = 0.95
_WHOLE = (0.0, 100.0)


def over_time_picture(found: OverTime) -> AuditPicture:
    """Return the share at target at each horizon, and what the wait for target ended in.

    Raises
    ------
    CallError
        Where no share is known, or all are of so few animals that none is shown.
    """
    texts, panels = words.over_time_words(found), []
    for horizon in HORIZONS:
        at = [share for share in found.shares if share.horizon == horizon]
        if any(share.share is not None for share in at):
            names = [words.share_name(share) for share in at]
            heading = words.horizon_heading(horizon)
            shares = [_percent(share) for share in at]
            panels.append(rows_panel(texts, heading, names, shares, span=_WHOLE))
    events = [event for event in found.incidence if event.share is not None]
    if events:
        names = [words.incidence_name(event) for event in events]
        shares = [_percent(event) for event in events]
        axis = replace(texts, axis=words.INCIDENCE_AXIS)
        panels.append(rows_panel(axis, words.INCIDENCE_HEADING, names, shares, span=_WHOLE))
    if not panels:
        raise CallError("no share of animals at target is known that could be drawn.")
    return of_panels(texts, panels, _LEVEL)


def _percent(share: ShareAt | Incidence) -> Estimate:
    return Estimate(share.share, share.lower, share.upper).times(100)
