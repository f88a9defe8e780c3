"""Facts and priors: how a figure was obtained, and what is said beside it."""

from __future__ import annotations

#: In braces stands what is told of.
WORDS = {
    "facts.above": "above {low:g}",
    "facts.below": "below {high:g}",
    "facts.newer": "A newer edition exists; its bounds were not seen.",
    "priors.caller": "given by the caller",
    "priors.defaults": "defaults (judgements of this project)",
    "priors.learned": "# Priors learned from a clinic's records by bpvet; used only when named.",
    "priors.widened": "defaults for a {species}, widened: the species is not known",
}
