"""Facts and priors: how a figure was obtained, and what is said beside it."""

from __future__ import annotations

#: In braces stands what is told of.
WORDS = {
    "facts.as_remembered": "As remembered by this project; not yet checked against the paper.",
    "facts.derived": "derived from figures of the source",
    "facts.judgement": "judgement of this project",
    "facts.newer": "A newer edition exists; its bounds were not seen.",
    "facts.read": "read in the source",
    "facts.remembered": "as remembered",
    "facts.restated": "read in a later text that restates the source",
    "priors.caller": "given by the caller",
    "priors.defaults": "defaults (judgements of this project)",
    "priors.learned": "# Priors learned from a clinic's records by bpvet; used only when named.",
    "priors.widened": "defaults for a {species}, widened: the species is not known",
}
