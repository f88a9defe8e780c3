"""What every answer's JSON holds: statements with keys, and the same words as sentences."""

from __future__ import annotations

import re
from typing import Any


def assert_statements(shown: dict[str, Any], keys: set[str]) -> None:
    """Fail unless `statements` are pairs of key and text, the words those of `sentences`.

    Parameters
    ----------
    shown : dict
        An answer as JSON values.
    keys : set of str
        Keys that must be among them.
    """
    assert all(set(one) == {"key", "text"} for one in shown["statements"])
    assert [one["text"] for one in shown["statements"]] == shown["sentences"]
    named = {one["key"] for one in shown["statements"]}
    assert named >= keys
    assert all(re.fullmatch(r"[a-z]\w*(\.\w+)?", key) for key in named)
