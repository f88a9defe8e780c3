"""An audit's first screens: what to change first, and one table whose zero rows are a sentence."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

import bpvet
from bpvet.answers.audit.audit import AuditAnswer, audit_answer
from bpvet.facts.words import METHOD_WORDS
from bpvet.models.audit.audit import Audit
from bpvet.printing import number
from bpvet.reports.audit.sections import TOPICS, findings, first, topics
from bpvet.wording.en.phrases import capital
from tests.reports.conftest import AS_OF


@pytest.fixture(scope="module")
def answer(clinic: Path) -> AuditAnswer:
    return audit_answer(bpvet.audit(bpvet.read(clinic, as_of=AS_OF)))


def plain(text: str) -> str:
    return text.replace("\N{NO-BREAK SPACE}", " ")


def with_audit(answer: AuditAnswer, **changed: object) -> AuditAnswer:
    audit: Audit = replace(answer.audit, **changed)  # type: ignore[arg-type]
    return replace(answer, audit=audit)


def test_every_breach_is_a_row_and_every_other_item_is_in_one_sentence(answer: AuditAnswer) -> None:
    said = plain(findings(answer).text)
    (never,) = (line for line in said.splitlines() if line.startswith("Not once"))
    assert any(item.count for item in answer.audit.protocol)
    assert not all(item.count for item in answer.audit.protocol)
    for item in answer.audit.protocol:
        name = METHOD_WORDS[item.method]
        row = f"{capital(item.words)}, {name}  {item.count} of {item.n} ("
        assert (row in said) == bool(item.count)
        part = re.split("; nor ", never)[
            [one.method for one in answer.audit.taken].index(item.method)
        ]
        assert (item.words in part) == (not item.count)
    assert "not ruled out" in never


def test_the_table_has_the_answers_numbers(answer: AuditAnswer) -> None:
    said, audit = plain(findings(answer).text), answer.audit
    for one in audit.order:
        assert f"{METHOD_WORDS[one.method]}  {number(one.first_minus_rest.estimate)} mmHg" in said
    for spread in (one for one in audit.spreads if not one.by):
        ends = f"{number(spread.sd.lower)} to {number(spread.sd.upper)}"
        assert f"{number(spread.sd.estimate)} mmHg  {ends}" in said
    html = findings(answer).html
    assert html.count("<table") == 1
    assert "Not known from these records: calmed against awake." in html


def test_what_to_change_first_leads_with_the_largest_gain_that_is_best_known(
    answer: AuditAnswer,
) -> None:
    told = first(answer).text.splitlines()
    most = max(answer.audit.precision, key=lambda one: one.pairs)
    assert told[0].startswith(capital(most.changes[0].words))
    assert number(most.changes[0].sd.estimate) in told[0]
    shares = [float(share) for line in told for share in re.findall(r"sessions \((\d+) %", line)]
    assert shares == sorted(shares, reverse=True)
    assert len(shares) == 3
    assert any("rested on one session" in line for line in told)
    assert first(answer).html.startswith("<ol>")


def test_where_nothing_was_broken_that_is_no_praise(answer: AuditAnswer) -> None:
    kept = tuple(replace(item, count=0) for item in answer.audit.protocol)
    held = with_audit(
        answer,
        protocol=kept,
        precision=(),
        cuffs=(),
        decisions=replace(answer.audit.decisions, count=0),
    )
    assert "shows only what is recorded" in first(held).text
    said = plain(findings(held).text)
    assert all(item.words in said for item in kept)


def test_what_is_not_recorded_is_named(answer: AuditAnswer) -> None:
    held = with_audit(answer, operators=(), times=())
    assert "operators and the time of day" in plain(findings(held).text)


def test_every_topic_is_folded_on_a_screen_and_open_on_paper(answer: AuditAnswer) -> None:
    html = topics(answer).html
    assert html.count('<details class="fold"><summary>') == len(TOPICS)
    assert html.count("<figure>") == 5
