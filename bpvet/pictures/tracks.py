"""The treatments of a picture as thin lines: one a drug, with what it is given today."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bpvet.figures.pictures import CourseSpan, DrugTrack
from bpvet.wording.en.pictures.tracks import ended_words, given_words


def drug_tracks(spans: Sequence[CourseSpan], as_of: np.datetime64) -> tuple[DrugTrack, ...]:
    """Return a track for each drug: those going on first, of them those that act on pressure.

    Parameters
    ----------
    spans : sequence of CourseSpan
    as_of : datetime64[D]
        The day whose dose stands at the right.
    """
    by_drug: dict[str, list[CourseSpan]] = {}
    for span in sorted(spans, key=lambda one: one.started_on):
        by_drug.setdefault(span.drug, []).append(span)
    tracks = [
        DrugTrack(drug, tuple(own), _words(drug, own, as_of)) for drug, own in by_drug.items()
    ]
    return tuple(sorted(tracks, key=lambda one: _rank(one, as_of)))


def _rank(track: DrugTrack, as_of: np.datetime64) -> tuple[bool, bool, np.datetime64]:
    modelled = any(span.modelled for span in track.spans)
    return not _going_on(track.spans, as_of), not modelled, track.spans[0].started_on


def _going_on(spans: Sequence[CourseSpan], as_of: np.datetime64) -> list[CourseSpan]:
    return [
        one
        for one in spans
        if one.started_on <= as_of and (np.isnat(one.stopped_on) or one.stopped_on >= as_of)
    ]


def _words(drug: str, spans: Sequence[CourseSpan], as_of: np.datetime64) -> str:
    """Return a drug with the dose it is given on a day, or until when it was given."""
    now = _going_on(spans, as_of)
    if not now:
        return ended_words(max(spans, key=lambda one: one.stopped_on))
    doses = list(dict.fromkeys(one.dose for one in now))
    return given_words(drug, doses, modelled=any(one.modelled for one in now))
