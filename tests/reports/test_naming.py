"""Names of files: safe everywhere, and never shared."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bpvet.reports.naming import DIGEST_LENGTH, LONGEST, digest_of, slug

ODD = (
    *("../../x", "=1+1", "<script>", "a" * 300, "😺", "", " ", "..", ".", ".hidden", "-rf", "a/b"),
    *(
        "C:\\x",
        "a\x00b",
        "a\nb",
        "CON",
        "con",
        "nul.txt",
        "NUL.0",
        "con.",
        "LPT1",
        "a.",
        "a..b",
        "é",
        "x" * 61,
    ),
    *("A17-0123456789", "$(rm)", "a b", "\ud800"),
)
ids = st.one_of(st.text(max_size=80), st.sampled_from(ODD), st.from_regex(r"[A-Za-z0-9._-]+"))


@pytest.mark.parametrize("animal", ["A17", "007", "B-04", "a.b", "x_1", "x" * LONGEST])
def test_a_plain_id_is_its_own_name(animal: str) -> None:
    assert slug(animal) == animal


@pytest.mark.parametrize("animal", ODD)
def test_an_odd_id_becomes_a_plain_name_with_its_digest(animal: str) -> None:
    assert slug(animal).endswith(f"-{digest_of(animal)}")


@given(ids)
def test_a_name_is_safe_on_every_system(animal: str) -> None:
    name = slug(animal)
    assert re.fullmatch(r"[A-Za-z0-9_][A-Za-z0-9._-]*", name)
    assert len(name) <= LONGEST + 1 + DIGEST_LENGTH
    assert ".." not in name
    assert not name.endswith(".")
    assert name.split(".")[0].upper() not in {"CON", "PRN", "AUX", "NUL", "COM1", "LPT9"}


@given(ids, ids)
def test_two_ids_never_share_a_name(one: str, other: str) -> None:
    assert (slug(one) == slug(other)) == (one == other)


@given(ids)
def test_no_id_can_take_the_name_made_from_another(animal: str) -> None:
    name = slug(animal)
    if name != animal:
        assert slug(name) != name
