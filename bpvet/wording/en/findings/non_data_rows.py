"""Rows that belong to no table: comments, totals, the header again, and empty ones."""

from __future__ import annotations

from bpvet.printing import shown
from bpvet.records.cells import SomeLines
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Words
from bpvet.wording.en.findings.phrases import NOTHING_TO_DO, lines_named
from bpvet.wording.en.findings.wording import Wording

WORDS = Wording()


@WORDS.of(Code.EMPTY_ROWS)
def _empty(rows: int) -> Words:
    empty = "One row is" if rows == 1 else f"{rows} rows are"
    skipped = "was" if rows == 1 else "were"
    return Words(f"{empty} empty and {skipped} skipped.", NOTHING_TO_DO)


def _skipped(lines: SomeLines, text: str, like_one: str, like_many: str) -> Words:
    single = lines.many == 1
    verb = (
        f"looks like {like_one}, not like a row" if single else f"look like {like_many}, not rows"
    )
    return Words(
        f"{lines_named(lines)} {verb}, and {'was' if single else 'were'} skipped: {shown(text)}.",
        "Nothing to do, unless it is a row after all: then fill in what it lacks.",
    )


@WORDS.of(Code.COMMENT_ROWS)
def _comments(lines: SomeLines, text: str) -> Words:
    return _skipped(lines, text, "a comment", "comments")


@WORDS.of(Code.TOTAL_ROWS)
def _totals(lines: SomeLines, text: str) -> Words:
    return _skipped(lines, text, "a total of other rows", "totals of other rows")


@WORDS.of(Code.HEADER_AGAIN)
def _header_again(lines: SomeLines, text: str) -> Words:
    return _skipped(lines, text, "the header again", "the header again")
