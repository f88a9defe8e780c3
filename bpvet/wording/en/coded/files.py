"""What became of files that an earlier run was writing when it was stopped."""

from __future__ import annotations

#: In braces stands what is told of.
WORDS = {
    "publishing.finished": (
        'An earlier bpvet was stopped while it wrote "{name}" and {more} more into "{folder}": '
        "they are in place now."
    ),
    "publishing.incomplete": (
        'An earlier bpvet was stopped before its files in "{folder}" were complete: they stay as '
        "they were, and what it left behind was removed."
    ),
    "publishing.kept": '"{name}" had been changed since, and is kept as "{kept}".',
    "publishing.taken_back": (
        'An earlier bpvet was stopped while it wrote "{name}" and {more} more into "{folder}": '
        "they could not be completed, and are as they were before."
    ),
}
