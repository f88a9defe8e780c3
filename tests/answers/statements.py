"""What every answer's JSON holds: statements with keys, and the same words as sentences."""

from __future__ import annotations

from typing import Any

from bpvet.wording.keys import all_keys


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
    assert keys <= named <= all_keys()
