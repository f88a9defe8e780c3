"""Text in lines: as the standard library breaks them, at what may be broken."""

from __future__ import annotations

import textwrap

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bpvet.command.shared.output import wrapped

_PIECES = st.sampled_from([" ", "  ", "\n", "a", "bb-cc", "word", "x" * 70, "y" * 90, "é."])


@given(st.lists(_PIECES, max_size=30), st.sampled_from([("", None), ("  ", None), ("  ", "- ")]))
def test_lines_are_those_of_the_standard_library(
    pieces: list[str], how: tuple[str, str | None]
) -> None:
    text, (indent, first) = "".join(pieces), how
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("COLUMNS", "80")
        found = wrapped(text, indent, first)
    wanted = textwrap.fill(
        text,
        width=80,
        initial_indent=indent if first is None else first,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    )
    assert found == wanted


def test_a_number_keeps_its_unit() -> None:
    assert wrapped("x" * 75 + " 160 mmHg").splitlines() == ["x" * 75, "160 mmHg"]
