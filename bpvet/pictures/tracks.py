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
    for span in sorted(spans, key=lambda course: course.started_on):
        by_drug.setdefault(span.drug, []).append(span)
    tracks = [
        DrugTrack(drug, tuple(courses), _words(drug, courses, as_of))
        for drug, courses in by_drug.items()
    ]
    return tuple(sorted(tracks, key=lambda track: _rank(track, as_of)))


def _rank(track: DrugTrack, as_of: np.datetime64) -> tuple[bool, bool, np.datetime64]:
    modelled = any(span.modelled for span in track.spans)
    return not _going_on(track.spans, as_of), not modelled, track.spans[0].started_on


def _going_on(spans: Sequence[CourseSpan], as_of: np.datetime64) -> list[CourseSpan]:
    return [
        span
        for span in spans
        if span.started_on <= as_of and (np.isnat(span.stopped_on) or span.stopped_on >= as_of)
    ]


def _words(drug: str, spans: Sequence[CourseSpan], as_of: np.datetime64) -> str:
    """Return a drug with the dose it is given on a day, or until when it was given."""
    now = _going_on(spans, as_of)
    if not now:
        return ended_words(max(spans, key=lambda span: span.stopped_on))
    doses = list(dict.fromkeys(span.dose for span in now))
    return given_words(drug, doses, modelled=any(span.modelled for span in now))
